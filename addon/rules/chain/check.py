"""The door of the chain rules: every size and choice is checked once, and each message names its key and what works."""

import math

import numpy as np

from ..base.errors import BadInput
from .link import Link, curvature, even_parameters
from .spec import SHAPES, ChainSpec, LayoutSpec

MOST_LINKS = 5000
MOST_MM = 1000.0
LEAST_CHORD_MM, MOST_CHORD_MM = 0.0005, 1.0
FACES = ("out", "flat")
ENDS = ("closed", "open", "cover")
FITS = ("nearest", "ease")
LOOK = 256


def check_chain(spec: ChainSpec) -> None:
    """Check the sizes of one link. Raises BadInput naming the key and the range that works."""
    for key in ("wire_mm", "link_length_mm", "link_width_mm", "gap_mm", "chord_mm"):
        _positive(f"chain.{key}", getattr(spec, key), most=MOST_MM)
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
    if not LEAST_CHORD_MM <= spec.chord_mm <= MOST_CHORD_MM:
        raise BadInput(
            f"chain.chord_mm: {spec.chord_mm:g} does not work; give from {LEAST_CHORD_MM:g} to {MOST_CHORD_MM:g} mm"
        )


def check_link(link: Link) -> None:
    """Check that the wire does not run into itself where its centreline bends tightest.

    Raises BadInput naming the thickest wire that works.
    """
    tightest = 1 / float(curvature(link.curve, even_parameters(LOOK)).max())
    if tightest <= link.wire_mm / 2:
        raise BadInput(
            f"chain.link_width_mm: {link.width_mm:g} makes the ends bend to a radius of {tightest:.2f} mm, tighter "
            f"than half the wire; give a wider or shorter link, or a wire_mm below {2 * tightest:.2f}"
        )


def check_layout(layout: LayoutSpec) -> None:
    """Check the choices of a layout. Raises BadInput naming the key and what works."""
    for key, choices in (("shape", SHAPES), ("face", FACES), ("fit", FITS)):
        value = getattr(layout, key)
        if value not in choices:
            raise BadInput(f"layout.{key}: {value!r} is not one of its words; choose {', '.join(choices)}")
    if layout.shape not in ("straight", "ring", "curve"):
        raise BadInput(
            f"layout.shape: {layout.shape!r} is not available in this version; choose straight, ring or curve"
        )
    _check_size(layout)
    _check_ends(layout)
    for key in ("hand_mm", "clasp_length_mm"):
        if getattr(layout, key) is not None:
            _positive(f"layout.{key}", getattr(layout, key), most=10 * MOST_MM)
    if layout.clasp_length_mm is not None:
        raise BadInput("layout.clasp_length_mm: clasps are not available in this version; leave it out")
    if layout.fit == "ease" and (layout.shape == "curve" or layout.links is not None):
        raise BadInput(
            'layout.fit: "ease" meets a length; it works on a ring with inner_length_mm or straight with length_mm'
        )


def is_closed(layout: LayoutSpec) -> bool:
    """Tell whether the last link is joined to the first."""
    return layout.shape == "ring" or (layout.shape == "curve" and layout.cyclic)


def _check_size(layout: LayoutSpec) -> None:
    asked = [key for key in ("inner_length_mm", "length_mm", "links") if getattr(layout, key) is not None]
    closed = is_closed(layout)
    size = "inner_length_mm" if closed else "length_mm"
    if len(asked) > 1:
        raise BadInput(f"layout: {' and '.join(asked)} are both given; give only one of them")
    if not asked and layout.shape != "curve":
        raise BadInput(f"layout: give {size} or links, to say how long the chain is")
    if layout.shape != "curve" and layout.points:
        raise BadInput('layout.points: only shape = "curve" follows points; leave them out or choose "curve"')
    if asked and asked[0] == "links":
        if isinstance(layout.links, bool) or not isinstance(layout.links, int):
            raise BadInput(f"layout.links: must be a whole number, is {layout.links!r}")
        least = 3 if closed else 2
        if not least <= layout.links <= MOST_LINKS:
            raise BadInput(f"layout.links: {layout.links} does not work; give from {least} to {MOST_LINKS}")
    elif asked:
        if asked[0] != size:
            kind = "a closed chain is measured inside" if closed else "an open chain has no inside"
            raise BadInput(f"layout.{asked[0]}: {kind}; give {size} or links instead")
        _positive(f"layout.{size}", getattr(layout, size), most=1000 * MOST_MM)


def _check_ends(layout: LayoutSpec) -> None:
    if layout.ends is None:
        return
    if layout.ends not in ENDS:
        raise BadInput(f"layout.ends: {layout.ends!r} is not one of its words; choose {', '.join(ENDS)}")
    wanted = "closed" if is_closed(layout) else "open"
    if layout.ends != wanted:
        raise BadInput(
            f"layout.ends: {layout.ends!r} is not available on this layout in this version; "
            f"leave it out or write {wanted!r}"
        )


def _positive(name: str, value: object, *, most: float) -> None:
    if isinstance(value, bool) or not isinstance(value, int | float | np.floating | np.integer):
        raise BadInput(f"{name}: must be a number, is {value!r}; give mm above 0")
    if not math.isfinite(value) or not 0 < value <= most:
        raise BadInput(f"{name}: {float(value):g} does not work; give a number above 0 and up to {most:g} mm")
