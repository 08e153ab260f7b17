"""What each family uses of a chain's settings, and the sizes it usually has: the panel shows and reads only these."""

from dataclasses import dataclass

# The wire that the usual sizes below belong to; other wires have them in proportion.
USUAL_WIRE_MM = 2.2


@dataclass(frozen=True, slots=True)
class Family:
    """``length_mm`` and ``width_mm``: usual outside sizes of a link of 2.2 mm wire that leave a gap of 0.4 mm.

    ``broad_mm``: the same two of a link of broad or double wire, None where they are alike. All are our judgement.

    ``fields``: settings that only some families use, in the order of the panel. ``section``: those of the wire's
    section, shown apart; ``kinds`` the sections there are, the first being what the family usually has.
    """

    length_mm: float
    width_mm: float
    fields: tuple[str, ...] = ()
    section: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    broad_mm: tuple[float, float] | None = None


BROAD = ("section", "wire_width_mm", "corner_mm")
# The item that leaves the section to the family; files of the first version hold it as "round".
USUAL_SECTION = "round"
ALL_KINDS = (USUAL_SECTION, "D", "rectangle")
FAMILIES: dict[str, Family] = {
    "curb": Family(12.2, 9.7, ("strands", "facet_mm"), BROAD, ALL_KINDS, broad_mm=(16.0, 14.0)),
    "trace": Family(12.2, 9.7, (), BROAD, ALL_KINDS, broad_mm=(13.0, 12.0)),
    "belcher": Family(13.0, 12.0, (), BROAD, (USUAL_SECTION, "D")),
    "figaro": Family(12.0, 12.5, ("repeat", "long_link_mm", "facet_mm"), BROAD, ALL_KINDS, broad_mm=(14.0, 17.0)),
    "anchor": Family(15.0, 11.0, ("stud_mm",)),
    "box": Family(13.5, 12.5, (), BROAD, (USUAL_SECTION, "D")),
    "rope": Family(16.0, 16.0),
    "weave": Family(14.0, 14.0),
    "mesh": Family(12.2, 9.7, ("turn_deg",)),
}
TAPERED = tuple(family for family in FAMILIES if family != "mesh")
# The families whose wire is broad where no section is chosen, and the section they then have.
BROAD_OF_ITSELF = {"box": "rectangle"}
# The settings a family's own mesh replaces: they are read from it.
READ_FROM_MESH = ("wire_mm", "link_length_mm", "link_width_mm")


def usual_sizes(family: str, wire_mm: float, *, broad: bool = False) -> tuple[float, float]:
    """Give the usual length and width of a family's link at a wire, rounded to a tenth of a millimetre.

    ``broad``: of broad or double wire.
    """
    entry = FAMILIES[family]
    scale = wire_mm / USUAL_WIRE_MM
    length, width = entry.broad_mm if broad and entry.broad_mm else (entry.length_mm, entry.width_mm)
    return round(length * scale, 1), round(width * scale, 1)


def usual_wire(family: str, width_mm: float) -> float:
    """Give the wire that a family's link of this width usually has, rounded to a twentieth of a millimetre."""
    return max(round(20.0 * USUAL_WIRE_MM * width_mm / FAMILIES[family].width_mm) / 20.0, 0.1)


def used(family: str, section: str) -> tuple[str, ...]:
    """Give the settings of some families that this one uses; the sizes of broad wire only where the wire is broad."""
    entry = FAMILIES[family]
    broad = section != USUAL_SECTION or family in BROAD_OF_ITSELF
    return (*entry.fields, *(key for key in entry.section if broad or key == "section"))


def section_item(family: str, section: str | None) -> str:
    """Give the item that stands for a section asked for: what the family has of itself is its usual one."""
    return USUAL_SECTION if section in (None, BROAD_OF_ITSELF.get(family)) else str(section)
