"""The wire of a link as the maker asks for it, with what a family gives where nothing is asked."""

from ..base.errors import BadInput
from .section import Section
from .spec import ChainSpec

# Our judgement: how much broader than thick a D or rectangle is, and its eased corners' radius by its smaller side.
BROAD = 1.5
EASED = 0.15


def wire_of(spec: ChainSpec, *, kinds: tuple[str, ...], broad_mm: float | None = None) -> Section:
    """Give the section of a link's wire: the one the spec names, out of ``kinds``, else the first of those.

    Without a ``wire_width_mm`` a D or rectangle is ``broad_mm`` broad, or 1.5 times as broad as thick; without a
    ``corner_mm`` its corners have 0.15 of the smaller side. Raises BadInput for a section the family has not, for sizes
    that a section has not, and for a wire too broad to pass through the neighbour's opening.
    """
    kind = kinds[0] if spec.section is None else spec.section
    if kind not in kinds:
        raise BadInput(f"chain.section: a {spec.family} has no section {kind!r}; choose {' or '.join(kinds)}")
    wire = spec.wire_mm
    if kind == "round":
        for key in ("wire_width_mm", "corner_mm"):
            if getattr(spec, key) is not None:
                others = [each for each in kinds if each != "round"]
                advice = f", or choose section {' or '.join(others)}" if others else ""
                raise BadInput(f"chain.{key}: round wire has no such size; leave it out{advice}")
        return Section("round", wire, wire)
    broad = spec.wire_width_mm
    if broad is None:
        broad = BROAD * wire if broad_mm is None else broad_mm
    room = opening_mm(spec) - 2 * spec.gap_mm
    if broad >= room:
        raise BadInput(
            f"chain.wire_width_mm: {broad:g} is too broad to pass through the neighbour's opening of "
            f"{opening_mm(spec):g} mm with a gap of {spec.gap_mm:g} on either side; "
            + (f"give less than {room:.2f}, or " if room > 0 else "give ")
            + f"a link_width_mm above {broad + 2 * (wire + spec.gap_mm):.2f}"
        )
    small = min(wire, broad)
    corner = EASED * small if spec.corner_mm is None else spec.corner_mm
    if corner >= small / 2:
        raise BadInput(
            f"chain.corner_mm: {corner:g} does not fit on a section of {wire:g} x {broad:g} mm; "
            f"give less than {small / 2:.2f}"
        )
    return Section(kind, wire, broad, corner)


def opening_mm(spec: ChainSpec) -> float:
    """Give the inside width of a link, mm."""
    return spec.link_width_mm - 2 * spec.wire_mm
