"""The table [feed] of a job file: what the maker asks of the lattice, read and written."""

from itertools import starmap
from typing import Any

import numpy as np

from ..base.errors import BadInput
from ..base.tables import Table
from ..feed.lattice import Place
from ..feed.spec import CUTS, TRUNKS, FeedSpec, GatePlace, PinnedGate
from .triples import triple
from .written import lines_of

# The largest of each length in mm.
_LENGTHS = {
    "tip_mm": 20.0,
    "gate_mm": 30.0,
    "gate_length_mm": 60.0,
    "ring_mm": 60.0,
    "upper_ring_mm": 60.0,
    "post_mm": 60.0,
    "spoke_mm": 60.0,
    "hub_mm": 100.0,
    "trunk_length_mm": 100.0,
}
LARGEST_FILLET_MM = 5.0
# What the maker did by hand at places of links.
_PLACES = ("wanted", "barred", "removed")
MOST_TRIANGLES = 10_000_000
KEYS = ("base_ring", "upper_ring", *_LENGTHS, "trunk", "cut", "fillet_mm", "keep_out", "pinned", *_PLACES)
_PINNED = ("body", "above", "points", "shaft_mm", "tip_mm")
_PLACE = ("body", "at", "above")
_GATE_POINTS = 5


def read_feed(table: Table) -> FeedSpec:
    """Read the table. Raises BadInput naming the key and what works."""
    if not table.flag("base_ring", True):
        raise BadInput(f"{table.name('base_ring')}: false leaves the links without metal; leave it out or write true")
    plain = FeedSpec()
    lengths: dict[str, Any] = {
        key: table.optional_number(key, above=0.0, most=most, unit="mm") for key, most in _LENGTHS.items()
    }
    places: dict[str, Any] = {key: tuple(starmap(_gate_place, _tables(table, key, _PLACE))) for key in _PLACES}
    return FeedSpec(
        base_ring=True,
        upper_ring=table.flag("upper_ring", plain.upper_ring),
        **lengths,
        trunk=table.choice("trunk", TRUNKS, plain.trunk),
        cut=table.choice("cut", CUTS, plain.cut),
        fillet_mm=table.number("fillet_mm", plain.fillet_mm, least=0.0, most=LARGEST_FILLET_MM, unit="mm"),
        keep_out=_numbers(table, "keep_out"),
        pinned=tuple(starmap(_pinned, _tables(table, "pinned", _PINNED))),
        **places,
    )


def feed_lines(spec: FeedSpec) -> list[str]:
    """Write the table so that `read_feed` reads it back to the same values; what is as without it is left out."""
    plain = FeedSpec()
    own = {key: getattr(spec, key) for key in (*_LENGTHS, "trunk", "cut", "fillet_mm", "keep_out")}
    lines = ["[feed]", *lines_of({"base_ring": spec.base_ring, "upper_ring": spec.upper_ring})]
    lines += lines_of({key: value for key, value in own.items() if value != getattr(plain, key)})
    for name in ("pinned", *_PLACES):
        keys = _PINNED if name == "pinned" else _PLACE
        for row in getattr(spec, name):
            lines += ["", f"[[feed.{name}]]", *lines_of({key: getattr(row, key) for key in keys})]
    return lines


def _tables(table: Table, key: str, known: tuple[str, ...]) -> list[tuple[Table, str]]:
    rows = table.raw(key)
    if rows is None:
        return []
    if not isinstance(rows, list):
        raise BadInput(f"{table.name(key)}: must be tables; write [[feed.{key}]] before the keys of each")
    names = [f"{table.name(key)}[{k}]" for k in range(len(rows))]
    return [(Table(row, name, known=known), name) for row, name in zip(rows, names, strict=True)]


def _pinned(table: Table, where: str) -> PinnedGate:
    rows = table.raw("points")
    if not isinstance(rows, list) or len(rows) != _GATE_POINTS:
        raise BadInput(f"{where}.points: must be the five points of a gate, [[x, y, z], ...] from its foot to its end")
    a, b, c, d, e = (_place(row, f"{where}.points[{k}]") for k, row in enumerate(rows))
    if not (np.linalg.norm(np.diff(np.array([a, b, c, d, e]), axis=0), axis=1) > 0.0).all():
        raise BadInput(f"{where}.points: two neighbours lie in one place; move one, or take the gate away")
    return PinnedGate(
        table.text("body"),
        table.flag("above", False),
        (a, b, c, d, e),
        table.number("shaft_mm", above=0.0, most=_LENGTHS["gate_mm"], unit="mm"),
        table.number("tip_mm", above=0.0, most=_LENGTHS["tip_mm"], unit="mm"),
    )


def _gate_place(table: Table, where: str) -> GatePlace:
    return GatePlace(table.text("body"), _place(table.raw("at"), f"{where}.at"), table.flag("above", False))


def _place(value: object, where: str) -> Place:
    place = triple(value)
    if place is None:
        raise BadInput(f"{where}: must be a place in mm as three numbers, [x, y, z]")
    return place


def _numbers(table: Table, key: str) -> tuple[int, ...]:
    values = table.raw(key)
    if values is None:
        return ()
    good = isinstance(values, list) and all(
        isinstance(v, int) and not isinstance(v, bool) and 0 <= v < MOST_TRIANGLES for v in values
    )
    if not good or not isinstance(values, list):
        raise BadInput(f"{table.name(key)}: must be numbers of triangles of the link's mesh, from 0, as [4, 5, ...]")
    return tuple(sorted({int(v) for v in values}))
