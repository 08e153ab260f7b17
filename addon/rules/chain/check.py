"""The door of the chain rules: every size and choice is checked once, and each message names its key and what works.

What only one family knows is checked where its pattern is drawn. Layouts have a door of their own.
"""

import math

import numpy as np

from ..base.errors import BadInput
from .link import Link, even_parameters
from .outline import outline
from .spec import FAMILIES, SECTIONS, ChainSpec
from .sweep import places

MOST_LINKS = 5000
MOST_MM = 1000.0
LEAST_CHORD_MM, MOST_CHORD_MM = 0.0005, 1.0
SIZES = ("wire_mm", "link_length_mm", "link_width_mm", "gap_mm", "chord_mm")
OPTIONAL = (
    "wire_width_mm",
    "corner_mm",
    "long_link_mm",
    "stud_mm",
    "end_wire_mm",
    "end_link_length_mm",
    "end_link_width_mm",
)
MOST_TURN_DEG = 360.0
LOOK = 256
# Polygons in place of the section's outline, no further inside it than this share of the wire.
FINE = 0.002


def check_chain(spec: ChainSpec) -> None:
    """Check the sizes and choices of a chain's links. Raises BadInput naming the key and the range that works."""
    if spec.family not in FAMILIES:
        raise BadInput(f"chain.family: there is no family {spec.family!r}; choose {', '.join(FAMILIES)}")
    for key in SIZES:
        _positive(f"chain.{key}", getattr(spec, key))
    for key in OPTIONAL:
        if getattr(spec, key) is not None:
            _positive(f"chain.{key}", getattr(spec, key))
    if not LEAST_CHORD_MM <= spec.chord_mm <= MOST_CHORD_MM:
        raise BadInput(
            f"chain.chord_mm: {spec.chord_mm:g} does not work; give from {LEAST_CHORD_MM:g} to {MOST_CHORD_MM:g} mm"
        )
    _check_choices(spec)
    if spec.family != "mesh":
        _check_proportions(spec)


def check_link(link: Link) -> None:
    """Check that the wire does not run into itself where its centreline bends tightest.

    Raises BadInput naming the thickest wire that works. A maker's own mesh needs no such check.
    """
    if link.own is not None:
        return
    # A fibre at q from the centreline runs 1 - k.q as fast as it, k the curvature: nowhere may it stand still.
    at = places((link,), even_parameters(LOOK)[None])
    speed = (at.first**2).sum(axis=-1)
    turn = np.stack([(at.second * axis).sum(axis=-1) / speed for axis in (at.out, at.side)], axis=-1)
    corners = outline(link.section, FINE * link.wire_mm).points
    most = float((turn @ corners.T).max())
    if most >= 1:
        bend = 1 / float(np.sqrt((turn**2).sum(axis=-1)).max())
        raise BadInput(
            f"chain.link_width_mm: {link.width_mm:g} makes the wire bend to a radius of {bend:.2f} mm, so tight "
            f"that it runs into itself; give a wider or shorter link, or a wire_mm below {link.wire_mm / most:.2f}"
        )


def _check_choices(spec: ChainSpec) -> None:
    if spec.section not in (None, *SECTIONS):
        raise BadInput(f"chain.section: {spec.section!r} is not one of its words; choose {', '.join(SECTIONS)}")
    if isinstance(spec.strands, bool) or spec.strands not in (1, 2):
        raise BadInput(f"chain.strands: {spec.strands!r} does not work; give 1 or 2")
    if isinstance(spec.repeat, bool) or not isinstance(spec.repeat, int) or spec.repeat < 1:
        raise BadInput(f"chain.repeat: {spec.repeat!r} does not work; give the number of short links, 1 or more")
    if spec.facet_mm != 0:
        _positive("chain.facet_mm", spec.facet_mm)
    if spec.turn_deg is not None:
        turn = _number("chain.turn_deg", spec.turn_deg, "degrees")
        if not abs(turn) <= MOST_TURN_DEG:
            raise BadInput(
                f"chain.turn_deg: {turn:g} does not work; give from -{MOST_TURN_DEG:g} to {MOST_TURN_DEG:g} degrees"
            )


def _check_proportions(spec: ChainSpec) -> None:
    wire, length, width = spec.wire_mm, spec.link_length_mm, spec.link_width_mm
    if width <= 3 * wire:
        raise BadInput(
            f"chain.wire_mm: {wire:g} is too thick for a link {width:g} mm wide, whose opening must take the "
            f"neighbour's wire; give less than {width / 3:.2f} mm, or a link_width_mm above {3 * wire:.2f}"
        )
    if length <= 4 * wire:
        raise BadInput(
            f"chain.wire_mm: {wire:g} is too thick for a link {length:g} mm long, whose opening must take the wire of "
            f"both neighbours; give less than {length / 4:.2f} mm, or a link_length_mm above {4 * wire:.2f}"
        )
    spare = width - 3 * wire
    if spec.gap_mm >= spare:
        raise BadInput(
            f"chain.gap_mm: {spec.gap_mm:g} does not fit: the opening of {width - 2 * wire:g} mm leaves {spare:g} mm "
            f"beside the neighbour's wire; give less than that, or a link_width_mm above {3 * wire + spec.gap_mm:.2f}"
        )


def _positive(name: str, value: object) -> None:
    number = _number(name, value, "mm above 0")
    if not math.isfinite(number) or not 0 < number <= MOST_MM:
        raise BadInput(f"{name}: {number:g} does not work; give a number above 0 and up to {MOST_MM:g} mm")


def _number(name: str, value: object, wanted: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | np.floating | np.integer):
        raise BadInput(f"{name}: must be a number, is {value!r}; give {wanted}")
    return float(value)
