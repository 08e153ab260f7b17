"""The table [layout] of a job file: how the chain lies and how long it is, read and written."""

from dataclasses import replace

from ..base.errors import BadInput
from ..base.tables import Table
from ..chain.check import MOST_LINKS
from ..chain.layout_check import ENDS, FACES, FITS
from ..chain.spec import CLASPS, SHAPES, LayoutSpec
from .triples import triple
from .written import lines_of

LONGEST_MM = 100_000.0
MOST_POINTS = 200_000
# ISO 8653 counts ring sizes by the length round the inside in mm; its measuring stick runs from 41 to 76. The wider
# range takes children's and thumb rings, and catches sizes of another count. Our judgement.
LEAST_FINGER, MOST_FINGER = 30.0, 100.0
# Ways to say the worn inside length, of which one is given.
INSIDE = ("inner_length_mm", "wrist_mm", "finger_size")
SIZED = (*INSIDE, "length_mm", "links")
KEYS = (
    "shape", *SIZED, "ease_mm", "points", "turn_pitch_mm", "turn_radius_mm", "row_mm", "hand_mm", "clasp",
    "clasp_length_mm", "fit", "face", "ends",
)  # fmt: skip


def read_layout(table: Table) -> LayoutSpec:
    """Read the table, its keys one by one. Raises BadInput naming the key and what works.

    Whether they go together is for `check_layout` to say.
    """
    shape = table.choice("shape", SHAPES)
    ends = table.choice("ends", ENDS) if table.has("ends") else None
    points = _points(table)
    if shape == "curve" and not points:
        raise BadInput(f"{table.name('points')}: missing; give the curve as points = [[x, y, z], ...] in mm")
    joined = bool(points) and points[0] == points[-1]
    layout = LayoutSpec(
        shape,
        inner_length_mm=_inside(table),
        length_mm=_mm(table, "length_mm"),
        links=table.optional_whole("links", least=2, most=MOST_LINKS),
        points=points[:-1] if joined else points,
        cyclic=joined or (bool(points) and ends in ("closed", "cover")),
        face=table.choice("face", FACES, "out"),
        ends=ends,
        fit=table.choice("fit", FITS, "nearest"),
        hand_mm=_mm(table, "hand_mm"),
        clasp=table.choice("clasp", CLASPS) if table.has("clasp") else None,
        clasp_length_mm=_mm(table, "clasp_length_mm"),
        turn_pitch_mm=_mm(table, "turn_pitch_mm"),
        turn_radius_mm=_mm(table, "turn_radius_mm"),
        row_mm=_mm(table, "row_mm"),
    )
    if len(layout.points) == 1:
        raise BadInput(f"{table.name('points')}: all its points lie in one place; give at least two that differ")
    given = [key for key in SIZED if table.has(key)]
    if len(given) > 1:
        raise BadInput(f"{table.name(given[1])}: {given[0]} says the size already; keep one of the two")
    if not given and shape != "curve":
        size = "inner_length_mm" if shape == "ring" else "length_mm, inner_length_mm"
        raise BadInput(f"{table.name(size.split(',')[0])}: missing; give {size} or links")
    return layout


def layout_lines(layout: LayoutSpec) -> list[str]:
    """Write the table: what was asked by wrist or finger size as the inside length it makes."""
    plain = LayoutSpec(layout.shape)
    # A closed curve is told by its first point being given again, whatever its ends.
    points = (*layout.points, layout.points[0]) if layout.cyclic else layout.points
    written = replace(layout, points=points)
    values = {key: getattr(written, key) for key in KEYS if key not in ("wrist_mm", "finger_size", "ease_mm")}
    told = {key: value for key, value in values.items() if key == "shape" or value != getattr(plain, key)}
    return ["[layout]", *lines_of(told)]


def _inside(table: Table) -> float | None:
    """Read the worn inside length, which lies on the wrist or the finger however thick the chain is."""
    ease = table.optional_number("ease_mm", least=0.0, most=1000.0, unit="mm")
    wrist = _mm(table, "wrist_mm")
    if ease is not None and wrist is None:
        raise BadInput(f"{table.name('ease_mm')}: goes with wrist_mm; give wrist_mm too, or inner_length_mm alone")
    if wrist is not None:
        return wrist + (ease or 0.0)
    finger = table.optional_number("finger_size", least=LEAST_FINGER, most=MOST_FINGER, unit="mm round the inside")
    return _mm(table, "inner_length_mm") if finger is None else finger


def _mm(table: Table, key: str) -> float | None:
    return table.optional_number(key, above=0.0, most=LONGEST_MM, unit="mm")


def _points(table: Table) -> tuple[tuple[float, float, float], ...]:
    raw = table.raw("points")
    if raw is None:
        return ()
    name = table.name("points")
    if not isinstance(raw, list) or len(raw) < 2:
        raise BadInput(f"{name}: must be a list of at least two points, [[x, y, z], ...] in mm")
    if len(raw) > MOST_POINTS:
        raise BadInput(f"{name}: {len(raw)} points; {MOST_POINTS} are the most, thin the curve out")
    places = [triple(item) for item in raw]
    for number, (item, place) in enumerate(zip(raw, places, strict=True), start=1):
        if place is None:
            raise BadInput(f"{name}: point {number} is {item!r}; write it as [x, y, z] with three finite numbers in mm")
    return tuple(place for place in places if place is not None)
