"""What an inspection says, for people: tables of bodies, gaps and webs, and the figures behind one finding."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..rules.chain.chain import Chain
from ..rules.inspect.body_findings import is_too_small
from ..rules.inspect.finding import Finding
from ..rules.inspect.inspection import BodyFacts, Inspection, Pair, WebPatch
from .words import table

# Order goes by the figures as they are shown, so that alike ones stay in the order of the file.
# Rows of each table; what is alike is one row, so this many different ones.
MOST_BODIES, MOST_PAIRS, MOST_WEBS = 8, 12, 6
# Longer names are cut in their middle, where numbered names differ least.
LONGEST_NAME = 28

_JOINTS = {True: "linked", False: "not linked", None: "undecided"}
_NUMBERED = "alike"


def inspection_lines(inspection: Inspection, *, range_mm: float, head: str) -> list[str]:
    """Lay out an inspection; the findings are not among it. ``head``: what drives the metal."""
    return [
        *_body_lines(inspection.bodies),
        *_pair_lines(inspection, range_mm),
        *_web_lines(inspection.webs, head),
    ]


def _body_lines(bodies: Sequence[BodyFacts]) -> list[str]:
    """Say how many bodies there are and how large they are together, then the thinnest first."""
    sides = [
        max(body.bounds_mm[1][axis] for body in bodies) - min(body.bounds_mm[0][axis] for body in bodies)
        for axis in range(3)
    ]
    size = " x ".join(f"{side:.1f}" for side in sides)
    lines = [f"{_count(len(bodies), 'body', 'bodies')}, {size} mm in all"]
    thinnest_first = sorted(bodies, key=lambda body: -math.inf if body.wall_mm is None else round(body.wall_mm, 3))
    named = [
        ([body.name], [f"{body.volume_mm3:.1f}", f"{body.area_mm2:.1f}", _length(body.wall_mm), _surface(body)])
        for body in thinnest_first
    ]
    head = ["body", "volume mm3", "area mm2", "wall mm", "surface"]
    return lines + _alike_table(head, named, right=(1, 2, 3), most=MOST_BODIES)


def _surface(body: BodyFacts) -> str:
    if not body.closed:
        return "open"
    if body.volume_mm3 < 0.0:
        return "inside out"
    if body.genus is None:
        return "uneven"
    return "closed" if body.genus == 0 else f"closed, {_count(body.genus, 'handle', 'handles')}"


def _pair_lines(inspection: Inspection, range_mm: float) -> list[str]:
    """List the pairs, the narrowest gap first, each from the model to the cast piece."""
    pairs = inspection.pairs
    if not pairs:
        low, high = np.swapaxes(np.array([body.bounds_mm for body in inspection.bodies]), 0, 1)
        if is_too_small(low, high):
            return ["gaps: not looked at, see the findings"]
        sound = all(body.genus is not None for body in inspection.bodies)
        linked = "none are linked" if sound else "whether any are linked is not known"
        return [f"gaps: no two bodies come nearer than {range_mm:g} mm, and {linked}"]
    narrowest_first = sorted(pairs, key=lambda pair: math.inf if pair.gap_mm is None else round(pair.gap_mm, 3))
    named = [([pair.a, pair.b], [*_ladder(pair, range_mm), _joint(pair)]) for pair in narrowest_first]
    head = ["body", "body", "model mm", "printed mm", "web mm", "cast mm", "joint"]
    count = f"{_count(len(pairs), 'pair', 'pairs')} nearer than {range_mm:g} mm or linked"
    return [f"gaps: {count}", *_alike_table(head, named, right=(2, 3, 4, 5), most=MOST_PAIRS)]


def _ladder(pair: Pair, range_mm: float) -> list[str]:
    if pair.gap_mm is None:
        return [f"over {range_mm:g}", "-", "-", "-"]
    rungs = pair.ladder
    if pair.gap_mm <= 0.0 or rungs is None:
        return [_length(pair.gap_mm), "-", "-", "-"]
    if rungs.printed_mm <= 0.0:
        return [_length(rungs.model_mm), "closes", "-", "-"]
    return [_length(length) for length in (rungs.model_mm, rungs.printed_mm, rungs.web_mm, rungs.cast_mm)]


def _joint(pair: Pair) -> str:
    if pair.gap_mm is None or pair.gap_mm > 0.0:
        return _JOINTS[pair.linked]
    if pair.depth_mm is None:
        return "fused"
    return f"fused, {_length(pair.depth_mm)} mm deep" if pair.depth_mm > 0.0 else "touching"


def _web_lines(webs: Sequence[WebPatch], head: str) -> list[str]:
    """List the webs that are widest for their thickness: those that break first."""
    if not webs:
        return []
    weakest_first = sorted(webs, key=lambda web: -round(web.width_mm / web.thickness_mm, 1))
    named = [
        (
            [web.a, web.b],
            [
                _length(web.thickness_mm),
                f"{web.width_mm:.2f}" if math.isfinite(web.width_mm) else "no open edge",
                f"{web.area_mm2:.1f}",
                f"{web.width_mm / web.thickness_mm:.1f}" if math.isfinite(web.width_mm) else "-",
            ],
        )
        for web in weakest_first
    ]
    columns = ["body", "body", "thick mm", "wide mm", "area mm2", "wide / thick"]
    title = f"webs of investment, the widest for their thickness first (metal driven by {head})"
    return [title, *_alike_table(columns, named, right=(2, 3, 4, 5), most=MOST_WEBS)]


def _alike_table(
    head: list[str], named: Sequence[tuple[list[str], list[str]]], *, right: Sequence[int], most: int
) -> list[str]:
    """Lay out rows of names and figures; of those with equal figures the first is named and all are counted."""
    first: dict[tuple[str, ...], list[str]] = {}
    counts: dict[tuple[str, ...], int] = {}
    for names, figures in named:
        first.setdefault(tuple(figures), names)
        counts[tuple(figures)] = counts.get(tuple(figures), 0) + 1
    rows = [[*(_short(name) for name in names), *figures] for figures, names in first.items()]
    if len(rows) < len(named):
        head = [*head, _NUMBERED]
        rows = [[*row, str(count)] for row, count in zip(rows, counts.values(), strict=True)]
        right = (*right, len(head) - 1)
    return table(head, rows, right=right, most=most)


def _short(name: str) -> str:
    """Put a name on one line, at most `LONGEST_NAME` characters of it."""
    plain = " ".join(name.split())
    if len(plain) <= LONGEST_NAME:
        return plain
    half = (LONGEST_NAME - 3) // 2
    return f"{plain[: LONGEST_NAME - 3 - half]}...{plain[-half:]}"


def _length(length_mm: float | None) -> str:
    """Say a length to a thousandth; one that is not nothing never reads so."""
    if length_mm is None:
        return "-"
    return "<0.001" if 0.0 < length_mm < 0.001 else f"{length_mm:.3f}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure behind a finding: its name, the figure with its unit, and what it should be, empty where it passes."""

    name: str
    value: str
    wanted: str = ""


def finding_figures(findings: Sequence[Finding], inspection: Inspection) -> tuple[tuple[Figure, ...], ...]:
    """Give what was measured behind each finding: its pair down the gap ladder, the web between it, or the wall.

    A finding about anything else, about bodies that the inspection did not see, or farther apart than it looked, has no
    figures.
    """
    bodies = {body.name: body for body in inspection.bodies}
    pairs = {frozenset((pair.a, pair.b)): pair for pair in inspection.pairs}
    webs = {frozenset((web.a, web.b)): web for web in inspection.webs}
    found = []
    for finding in findings:
        names = frozenset(finding.bodies)
        figures: list[Figure] = []
        if finding.code == "wall-thin" and finding.bodies[0] in bodies:
            figures = _wall_figures(finding, bodies[finding.bodies[0]])
        elif len(names) == 2:
            figures = _gap_figures(finding, pairs[names]) if names in pairs else []
            if finding.code.startswith("web-") and names in webs:
                figures += _web_figures(finding, webs[names])
        found.append(tuple(figures))
    return tuple(found)


def joint_names(chain: Chain) -> dict[frozenset[str], str]:
    """Name the joints between the links of a chain by the numbers of the two, those of a closure left out."""
    named = {}
    for pair in chain.joints:
        one, other = sorted(pair)
        if other >= chain.links:
            continue
        names = frozenset((chain.bodies[one].name, chain.bodies[other].name))
        if chain.closed and other - one > chain.links / 2:
            one, other = other, one
        named[names] = f"joint {one + 1}\u2013{other + 1}"
    return named


def where_words(finding: Finding, joints: Mapping[frozenset[str], str]) -> str:
    """Say in few words which bodies a finding is about: the joint between two neighbours, else the first names."""
    joint = joints.get(frozenset(finding.bodies)) if len(finding.bodies) == 2 else None
    if joint is not None:
        return joint
    return ", ".join(finding.bodies[:3]) + (" ..." if len(finding.bodies) > 3 else "")


def _gap_figures(finding: Finding, pair: Pair) -> list[Figure]:
    if pair.gap_mm is None:
        return []
    rungs = pair.ladder
    if pair.gap_mm <= 0.0 or rungs is None:
        if pair.depth_mm is None:
            return [Figure("Gap in Model", "none, fused")]
        return [Figure("Fused Depth", f"{_length(pair.depth_mm)} mm" if pair.depth_mm > 0.0 else "none, they touch")]
    printed = _wanted(finding) if finding.code == "gap-below-floor" else ""
    figures = [Figure("Gap in Model", f"{_length(rungs.model_mm)} mm")]
    if rungs.printed_mm <= 0.0:
        return [*figures, Figure("Printed", "closes up", printed)]
    mould = _wanted(finding) if finding.code == "web-thin" else ""
    return [
        *figures,
        Figure("Printed", f"{_length(rungs.printed_mm)} mm", printed),
        Figure("Mould Web", f"{_length(rungs.web_mm)} mm", mould),
        Figure("Cast", f"{_length(rungs.cast_mm)} mm"),
        Figure("Finished", f"{_length(rungs.finished_mm)} mm"),
    ]


def _web_figures(finding: Finding, web: WebPatch) -> list[Figure]:
    wanted = _wanted(finding, most=True) if finding.code == "web-weak" else ""
    thickness = Figure("Thickness", f"up to {_length(web.thickness_mm)} mm")
    if not math.isfinite(web.width_mm):
        return [Figure("Web Width", "no open edge", wanted), thickness]
    return [
        Figure("Web Width", f"{_length(web.width_mm)} mm"),
        Figure("Web Depth", f"{_length(web.depth_mm)} mm"),
        thickness,
        Figure("Wide / Thick", f"{web.width_mm / web.thickness_mm:.1f}", wanted),
    ]


def _wall_figures(finding: Finding, body: BodyFacts) -> list[Figure]:
    printed = "-" if finding.value is None else f"{_length(finding.value)} mm"
    return [
        Figure("Wall in Model", "-" if body.wall_mm is None else f"{_length(body.wall_mm)} mm"),
        Figure("Printed", printed, _wanted(finding)),
    ]


def _wanted(finding: Finding, *, most: bool = False) -> str:
    """Say the limit of a finding: what a stop must keep to, what a warning had better keep to."""
    if finding.limit is None:
        return ""
    limit = f"{finding.limit:.3g}"
    if finding.severity == "stop":
        return f"at most {limit}" if most else f"needs {limit}"
    return f"better {'below ' if most else ''}{limit}"
