"""Writing what was measured of a chain onto it, and the stamps that date it."""

import math
from typing import Any

import numpy as np

from ..rules.chain.chain import Chain
from ..rules.chain.play import FreePlay, JointPlay
from ..rules.inspect.finding import stops
from ..rules.inspect.play import play_findings
from ..rules.sheet.movement import figure
from .own_link import OwnLink, own_stamp
from .settings import chain_stamp
from .splines import Polyline
from .stamps import stamp

# Turns both ways that differ by less are told as one: the free play is found to a tenth of a degree.
ALIKE_DEG = 0.15


def note_built(group: Any, chain: Chain, line: Polyline | None, own: OwnLink | None) -> None:
    """Write what a rebuild measured onto the chain's settings."""
    figures = group.figures
    figures.links = chain.count
    figures.pitch_mm = chain.pitch_mm
    figures.pitch_low_mm, figures.pitch_high_mm = chain.pitch_interval_mm
    named = [f"{fit.pitch_mm:.2f} mm {fit.name}" for fit in chain.fits] if 1 < len(chain.fits) < 5 else []
    figures.pitches = ", ".join(named)
    figures.gap_mm = chain.smallest_gap_mm
    figures.closed = chain.closed
    worn_round = chain.worn_inner_length_mm is not None or chain.printed_inner_length_mm is not None
    figures.round_worn = worn_round
    worn = chain.worn_inner_length_mm if worn_round else chain.worn_length_mm
    printed = chain.printed_inner_length_mm if worn_round else chain.printed_length_mm
    figures.worn_mm = worn or 0.0
    figures.printed_mm = printed or 0.0
    figures.asked_mm = chain.asked_mm or 0.0
    figures.clasp_mm = chain.clasp_mm
    figures.eased = ""
    if chain.eased_from_mm is not None:
        figures.eased = f"Links eased from {chain.eased_from_mm:.2f} to {chain.spec.link_length_mm:.3f} mm long"
    figures.verified = chain.verified
    figures.stamp = chain_stamp(chain.spec, chain.layout)
    figures.curve_stamp = line_stamp(line)
    figures.stale = False
    figures.own_stamp = own_stamp(own)
    figures.own_sizes = ""
    if own is not None:
        figures.own_sizes = f"{own.length_mm:.1f} x {own.width_mm:.1f} mm, wire {own.wire_mm:.2f} mm"
    figures.own_stale = False
    figures.message = ""
    figures.worn_view = False
    _note_sizes(figures, chain)


def _note_sizes(figures: Any, chain: Chain) -> None:
    figures.sizes.clear()
    for size in chain.sizes:
        row = figures.sizes.add()
        row.links, row.worn_mm, row.printed_mm, row.gap_mm = size.links, size.worn_mm, size.printed_mm, size.gap_mm
        row.pushed_mm = size.pushed_mm or 0.0


def note_play(figures: Any, chain: Chain, play: FreePlay) -> None:
    """Write how far the joints of a chain move, and where that is less than they are asked to."""
    figures.play.clear()
    # Kinds that move alike, such as into a long link and out of it, are told once.
    names: dict[tuple[str, str, str, str], str] = {}
    for joint in play.joints:
        told = _joint_words(joint)
        names[told] = joint.name.split(" (")[0] if told in names else joint.name
    for told, name in names.items():
        row = figures.play.add()
        row.name = name
        row.over, row.edgewise, row.twist, row.slide = told
    least = [min(min(abs(low), abs(high)) for low, high in bends) for bends in zip(*_bends(play), strict=True)]
    over, edgewise = (figure(way, ".0f") for way in least)
    figures.play_short = f"{over} deg, {edgewise} edgewise"
    figures.least_over, figures.least_edge = (f"radius {figure(way, '.1f')} mm" for way in play.least_radius_mm)
    figures.play_stop = "; ".join(finding.text for finding in stops(play_findings(chain, play)))
    figures.play_stamp = figures.stamp


def _joint_words(joint: JointPlay) -> tuple[str, str, str, str]:
    out, back = (figure(abs(way), ".2f") for way in joint.slide_mm)
    return (
        bend_words(joint.bend_y_deg, joint.best_bend_y_deg),
        bend_words(joint.bend_z_deg, joint.best_bend_z_deg),
        bend_words(joint.twist_deg),
        f"{out} mm out, {back} in",
    )


def _bends(play: FreePlay) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return [(joint.bend_y_deg, joint.bend_z_deg) for joint in play.joints]


def bend_words(both: tuple[float, float], best: tuple[float, float] | None = None) -> str:
    """Say how far a joint turns both ways, and further at its best slide where that is more."""
    low, high = both
    if math.isclose(-low, high, abs_tol=ALIKE_DEG) or not math.isfinite(high):
        text = f"{figure(high, '.1f')} deg both ways"
    else:
        text = f"{figure(low, '.1f')} to {figure(high, '.1f')} deg"
    if best is None or best[1] < high + ALIKE_DEG:
        return text
    return f"{text}, {figure(best[1], '.1f')} at best slide"


def line_stamp(line: Polyline | None) -> str:
    """Give the stamp of a followed curve; places count to a thousandth of a millimetre."""
    return "" if line is None else stamp(line.cyclic, np.round(line.points, 3).tobytes())
