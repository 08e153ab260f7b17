"""Layers of a print: area and regions of every layer, and the islands that begin with nothing under them."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.mesh import Body, FloatArray, IntArray, merged
from ..solid.section import box_pairs, crossings, cutting, expanded, surface
from .body_findings import as_point
from .finding import Finding
from .regions import Regions, regions

BoolArray = npt.NDArray[np.bool_]

# A smaller region holds no cured resin to speak of: it counts once it has grown. Our judgement.
ISLAND_MM2 = 0.003
# The upper of two layers is moved by this much, in no special direction, so that walls that stand straight do not lie
# on each other to the last digit.
NUDGE_MM = np.array([7.3e-8, 4.1e-8])


@dataclass(frozen=True, slots=True)
class Island:
    """A region of a layer with nothing under it: its layer, a place in it, its area and the body it belongs to."""

    layer: int
    at: tuple[float, float, float]
    area_mm2: float
    body: str


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """What a print is made of, layer by layer from the plate up.

    ``heights_mm`` (l,) mid-layer; ``area_mm2`` (l,); ``region_count`` (l,); the ``regions`` themselves; ``islands``
    from the lowest up.
    """

    heights_mm: FloatArray
    area_mm2: FloatArray
    region_count: IntArray
    regions: Regions
    islands: tuple[Island, ...]


def slice_layers(
    bodies: Sequence[Body],
    layer_mm: float,
    *,
    plate_mm: float = 0.0,
    fused: Sequence[tuple[int, int]] | None = None,
) -> Steps[Layers]:
    """Cut bodies at the middle of every layer above the plate, and find the islands.

    ``plate_mm``: height of the plate; what lies in the first layer stands on it. ``fused``: the only pairs of bodies
    that touch or cross; None when nobody knows. Raises BadInput for open bodies, a layer height that does not work, or
    bodies below the plate.
    """
    if not (math.isfinite(layer_mm) and layer_mm > 0.0):
        raise BadInput(f"layers: a layer height of {layer_mm:g} mm does not work; give a number above 0 mm")
    placed = [body.placed() for body in bodies]
    if not placed:
        raise BadInput("layers: there is no body; give at least one mesh")
    low = min(float(mesh.points[:, 2].min()) for mesh in placed)
    high = max(float(mesh.points[:, 2].max()) for mesh in placed)
    if low < plate_mm - layer_mm / 2:
        raise BadInput(
            f"layers: the lowest point lies {plate_mm - low:.3g} mm below the plate; lift the job by that much"
        )
    heights = plate_mm + layer_mm * (np.arange(max(1, math.ceil((high - plate_mm) / layer_mm))) + 0.5)
    for body, mesh in zip(bodies, placed, strict=True):
        surface(mesh, where=body.name)
        yield 0.0
    owner = np.repeat(np.arange(len(placed)), [len(mesh.triangles) for mesh in placed])
    of = yield from part(cutting(surface(merged(placed)), heights), 0.1, 0.5)
    body_of_loop = owner[of.triangle[of.begin[:-1]]]
    found = yield from part(regions(of, _may_cross(body_of_loop, len(placed), fused)), 0.5, 0.8)
    islands = yield from part(_islands(found), 0.8, 1.0)
    count = len(heights)
    return Layers(
        heights,
        np.bincount(found.layer, weights=found.area_mm2, minlength=count).astype(np.float64),
        np.bincount(found.layer, minlength=count),
        found,
        tuple(
            Island(
                int(found.layer[region]),
                as_point(np.append(found.inner[region], heights[found.layer[region]])),
                float(found.area_mm2[region]),
                bodies[int(body_of_loop[found.loops[found.begin[region]]])].name,
            )
            for region in islands
        ),
    )


def island_findings(layers: Layers, severity: str = "stop") -> tuple[Finding, ...]:
    """Say where a print begins in mid-air."""
    return tuple(
        Finding(
            "island", severity, (island.body,),
            f"{island.body}: begins in mid-air at {island.at[2]:.2f} mm, {island.area_mm2:.3f} mm2 with nothing "
            "under it; its first layer floats off. Put a strut there.",
            island.at, island.area_mm2, ISLAND_MM2,
        )
        for island in layers.islands
    )  # fmt: skip


def _may_cross(
    body: IntArray, count: int, fused: Sequence[tuple[int, int]] | None
) -> Callable[[IntArray], BoolArray] | None:
    """Give the test that keeps pairs of loops of bodies that may cross; ``body`` (k,) the body of each loop."""
    if fused is None:
        return None
    cross = np.zeros((count, count), dtype=bool)
    for a, b in fused:
        cross[a, b] = cross[b, a] = True
    return lambda pairs: cross[body[pairs[:, 0]], body[pairs[:, 1]]]


def _islands(found: Regions) -> Steps[IntArray]:
    """Give the regions that are islands, by layer.

    Whether regions of neighbouring layers overlap is first asked of one point inside each, which settles nearly all;
    only for what then seems to float are the outlines tested against each other.
    """
    pairs = box_pairs(found.layer, found.low, found.high, 1)
    over = found.holds(pairs[:, 1], found.inner[pairs[:, 0]]) | found.holds(pairs[:, 0], found.inner[pairs[:, 1]])
    tested = over.copy()
    yield 0.5
    while True:
        based, islands = _propagated(found, pairs[over])
        floating = np.ones(len(found.layer), dtype=bool)
        floating[pairs[over & based[pairs[:, 1]], 0]] = False
        open_pairs = np.flatnonzero(floating[pairs[:, 0]] & ~tested)
        if len(open_pairs) == 0:
            return islands
        tested[open_pairs] = True
        over[open_pairs] = _outlines_cross(found, pairs[open_pairs])
        yield 0.8


def _propagated(found: Regions, over: IntArray) -> tuple[BoolArray, IntArray]:
    """Go up from the plate: a region is based when it stands on the plate or a based one, or is an island told of."""
    based = found.layer == 0
    islands = [np.zeros(0, dtype=np.int64)]
    big = found.area_mm2 > ISLAND_MM2
    layers = int(found.layer[-1]) + 1 if len(found.layer) else 0
    bounds = np.searchsorted(found.layer, np.arange(layers + 1))
    links = np.searchsorted(found.layer[over[:, 0]], np.arange(layers + 1))
    for layer in range(1, layers):
        upper, lower = over[links[layer] : links[layer + 1]].T
        based[upper[based[lower]]] = True
        here = np.arange(bounds[layer], bounds[layer + 1])
        begun = here[big[here] & ~based[here]]
        based[begun] = True
        islands.append(begun)
    return based, np.concatenate(islands)


def _outlines_cross(found: Regions, pairs: IntArray) -> BoolArray:
    """Tell which pairs (p, 2) of regions have loops that cross."""
    counts = found.begin[pairs + 1] - found.begin[pairs]
    row, cell = expanded(np.arange(len(pairs)), np.zeros(len(pairs), dtype=np.int64), counts.prod(axis=1))
    one = found.loops[found.begin[pairs[row, 0]] + cell // counts[row, 1]]
    other = found.loops[found.begin[pairs[row, 1]] + cell % counts[row, 1]]
    cross = crossings(found.of, np.stack([one, other], axis=1), NUDGE_MM)
    met = np.zeros(len(pairs), dtype=bool)
    met[row[cross[:, 0]]] = True
    return met
