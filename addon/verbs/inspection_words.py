"""What an inspection says, for people: the bodies, the gaps down the ladder, the widest webs, each in a table."""

import math
from collections.abc import Sequence

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
        *_pair_lines(inspection.pairs, range_mm),
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


def _pair_lines(pairs: Sequence[Pair], range_mm: float) -> list[str]:
    """List the pairs, the narrowest gap first, each from the model to the cast piece."""
    if not pairs:
        return [f"gaps: no two bodies come nearer than {range_mm:g} mm, and none are linked"]
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
