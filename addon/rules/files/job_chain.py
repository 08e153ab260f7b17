"""The table [chain] of a job file: one link and the wanted gap, read and written."""

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from ..base.errors import BadInput
from ..base.tables import Table
from ..chain.own import check_own_size, own_sizes
from ..chain.spec import FAMILIES, SECTIONS, ChainSpec
from ..solid.mesh import Mesh
from .named import Named
from .read import read_bodies
from .triples import triple
from .written import lines_of

ReadBlend = Callable[[Path], tuple[Named, ...]]

MOST_MM = 1000.0
MOST_WIRE_MM = 100.0
SIZES = ("wire_mm", "link_length_mm", "link_width_mm")
ENDS = ("end_wire_mm", "end_link_length_mm", "end_link_width_mm")
_DRAWN = tuple(family for family in FAMILIES if family != "mesh")
# The keys that only some families know; all the others are of every family.
BELONGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        **dict.fromkeys(("section", "wire_width_mm", "corner_mm"), ("curb", "trace", "belcher", "figaro", "box")),
        "strands": ("curb",),
        "facet_mm": ("curb", "figaro"),
        "repeat": ("figaro",),
        "long_link_mm": ("figaro",),
        "stud_mm": ("anchor",),
        "file": ("mesh",),
        "axis": ("mesh",),
        "turn_deg": ("mesh",),
        **dict.fromkeys(ENDS, _DRAWN),
    }
)
KEYS = ("family", *SIZES, "gap_mm", "chord_mm", *BELONGS)


def read_chain(table: Table, folder: Path, read_blend: ReadBlend | None = None) -> ChainSpec:
    """Read the table. ``folder`` is where the file of an own link is looked for; ``read_blend`` as in `read_bodies`.

    Raises BadInput naming the key, and for a key of other families which they are.
    """
    family = table.choice("family", FAMILIES)
    for key, families in BELONGS.items():
        if table.has(key) and family not in families:
            raise BadInput(
                f"{table.name(key)}: belongs to family {_either(families)}, not to {family!r}; leave it out"
                + ("" if families == _DRAWN else ", or change the family")
            )
    plain = ChainSpec(family, math.nan, math.nan, math.nan, table.number("gap_mm", above=0.0, most=20.0, unit="mm"))
    spec = replace(
        plain,
        chord_mm=table.number("chord_mm", plain.chord_mm, least=0.0005, most=1.0, unit="mm"),
        section=table.choice("section", SECTIONS) if table.has("section") else None,
        wire_width_mm=_mm(table, "wire_width_mm", MOST_WIRE_MM),
        corner_mm=table.optional_number("corner_mm", above=0.0, most=MOST_WIRE_MM / 2, unit="mm"),
        strands=table.whole("strands", plain.strands, least=1, most=2),
        facet_mm=table.number("facet_mm", plain.facet_mm, least=0.0, most=MOST_WIRE_MM / 2, unit="mm"),
        repeat=table.whole("repeat", plain.repeat, least=1, most=1000),
        long_link_mm=_mm(table, "long_link_mm", MOST_MM),
        stud_mm=_mm(table, "stud_mm", MOST_WIRE_MM),
        turn_deg=table.optional_number("turn_deg", least=-360.0, most=360.0, unit="degrees"),
        axis=_axis(table),
        end_wire_mm=_mm(table, "end_wire_mm", MOST_WIRE_MM),
        end_link_length_mm=_mm(table, "end_link_length_mm", MOST_MM),
        end_link_width_mm=_mm(table, "end_link_width_mm", MOST_MM),
    )
    if family == "mesh":
        return _own(table, spec, folder, read_blend)
    wire, length, width = (
        table.number(key, above=0.0, most=most, unit="mm")
        for key, most in zip(SIZES, (MOST_WIRE_MM, MOST_MM, MOST_MM), strict=True)
    )
    return replace(spec, wire_mm=wire, link_length_mm=length, link_width_mm=width)


def chain_lines(spec: ChainSpec) -> list[str]:
    """Write the table. What is left to the family's rule, and what its other families know, is not written.

    Raises BadInput for an own link that has no file to name.
    """
    if spec.own is not None and spec.own_file is None:
        raise BadInput("chain.file: the link mesh has no file to name; save it as a .stl beside the job file first")
    plain = ChainSpec(spec.family, spec.wire_mm, spec.link_length_mm, spec.link_width_mm, spec.gap_mm)
    values: dict[str, object] = {key: getattr(spec, key) for key in ("family", *SIZES, "gap_mm")}
    for key in KEYS:
        field = "own_file" if key == "file" else key
        if key not in values and getattr(spec, field) != getattr(plain, field):
            values[key] = getattr(spec, field)
    return ["[chain]", *lines_of(values)]


def _own(table: Table, spec: ChainSpec, folder: Path, read_blend: ReadBlend | None) -> ChainSpec:
    """Read the maker's own link. Sizes that are not written are taken from its shape."""
    if not table.has("file"):
        raise BadInput(f'{table.name("file")}: missing; name the file of the link mesh, for example file = "link.stl"')
    file = table.text("file")
    own = _link_mesh(table, file, folder, read_blend)
    measured = own_sizes(own, spec.axis)
    check_own_size(*measured)
    wire, length, width = (
        table.number(key, size, above=0.0, most=MOST_MM, unit="mm") for key, size in zip(SIZES, measured, strict=True)
    )
    return replace(spec, own=own, own_file=file, wire_mm=wire, link_length_mm=length, link_width_mm=width)


def _link_mesh(table: Table, file: str, folder: Path, read_blend: ReadBlend | None) -> Mesh:
    try:
        bodies = read_bodies(folder / file, read_blend=read_blend)
    except BadInput as error:
        raise BadInput(f"{table.name('file')}: {error}") from None
    if len(bodies) != 1:
        raise BadInput(
            f"{table.name('file')}: {file} holds {len(bodies)} bodies, and one link is one body; keep one of them, or "
            "join them to one closed solid"
        )
    return bodies[0].mesh


def _axis(table: Table) -> tuple[float, float, float] | None:
    raw = table.raw("axis")
    axis = triple(raw)
    if raw is not None and (axis is None or not any(axis)):
        raise BadInput(
            f"{table.name('axis')}: {raw!r} is no direction; write three finite numbers that are not all 0, for "
            "example [1, 0, 0]"
        )
    return axis


def _mm(table: Table, key: str, most: float) -> float | None:
    return table.optional_number(key, above=0.0, most=most, unit="mm")


def _either(words: tuple[str, ...]) -> str:
    return " or ".join(filter(None, (", ".join(words[:-1]), words[-1])))
