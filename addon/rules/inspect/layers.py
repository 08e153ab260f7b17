"""Layers of a print: area and regions of every layer, and the islands that begin with nothing under them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.mesh import Body, FloatArray, IntArray
from ..solid.section import box_pairs, cutting, surface_of_all
from .body_findings import as_point
from .finding import Finding
from .regions import Regions, may_cross, outlines_cross, overlapping_by_points, regions

BoolArray = npt.NDArray[np.bool_]

# A smaller region holds no cured resin to speak of: it counts once it has grown. Our judgement.
ISLAND_MM2 = 0.003
# No printer builds as high in layers as fine: the job is in another unit.
MOST_LAYERS = 20_000


@dataclass(frozen=True, slots=True)
class Island:
    """A region of a layer with nothing under it: its layer, a place in it, its area and the body it belongs to."""

    layer: int
    at: tuple[float, float, float]
    area_mm2: float
    body: str


@dataclass(frozen=True, slots=True)
class Peel:
    """Where the film pulls hardest: the largest layer, and the one that is larger than the layer below it by most."""

    area_mm2: float
    layer: int
    jump_mm2: float
    jump_layer: int


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

    def layer_at(self, height_mm: float) -> int:
        """Give the number of the layer at a height, the first or last where there is none."""
        half = (self.heights_mm[1] - self.heights_mm[0]) / 2.0 if len(self.heights_mm) > 1 else 0.0
        above = int(np.searchsorted(self.heights_mm - half, height_mm, side="right"))
        return min(max(above - 1, 0), len(self.heights_mm) - 1)

    def peel(self) -> Peel:
        """Give the largest layer and the largest jump; the first layer lies on the plate, so it is no jump."""
        jumps = np.diff(self.area_mm2, prepend=self.area_mm2[:1])
        # Of alike ones the lowest, whatever the rounding.
        widest, steepest = (int(np.argmax(a >= a.max() * (1.0 - 1e-9))) for a in (self.area_mm2, jumps))
        return Peel(float(self.area_mm2[widest]), widest, float(jumps[steepest]), steepest)


def slice_layers(
    bodies: Sequence[Body],
    layer_mm: float,
    *,
    plate_mm: float = 0.0,
    fused: Sequence[tuple[int, int]] | None = None,
) -> Steps[Layers]:
    """Cut bodies at the middle of every layer above the plate, and find the islands.

    ``plate_mm``: height of the plate; what lies in the first layer stands on it. ``fused``: the only pairs of bodies
    that touch or cross; None when nobody knows. Raises BadInput for open bodies, a layer height that does not work or
    is more than the job is high, or bodies below the plate.
    """
    if not (math.isfinite(layer_mm) and layer_mm > 0.0):
        raise BadInput(f"layers: a layer height of {layer_mm:g} mm does not work; give a number above 0 mm")
    if not bodies:
        raise BadInput("layers: there is no body; give at least one mesh")
    ends = np.array([(z.min(), z.max()) for z in (body.points()[:, 2] for body in bodies)])
    lowest, high = int(np.argmin(ends[:, 0])), float(ends[:, 1].max())
    if ends[lowest, 0] < plate_mm - layer_mm / 2:
        raise BadInput(
            f"layers: {bodies[lowest].name} reaches {plate_mm - ends[lowest, 0]:.3g} mm below the plate; lift the job "
            "by that much"
        )
    if high <= plate_mm:
        raise BadInput("layers: the job has no height over the plate; nothing of it prints")
    if layer_mm > high - plate_mm:
        raise BadInput(
            f"layers: a layer height of {layer_mm:g} mm is more than the {high - plate_mm:.3g} mm the job is high; "
            f"give up to {high - plate_mm:.3g}"
        )
    count = math.ceil((high - plate_mm) / layer_mm)
    if count > MOST_LAYERS:
        raise BadInput(
            f"layers: {high - plate_mm:.4g} mm in layers of {layer_mm:g} mm are {count} layers, more than "
            f"{MOST_LAYERS}; give thicker ones, or mend the unit of the job"
        )
    heights = plate_mm + layer_mm * (np.arange(count) + 0.5)
    every, owner = yield from part(surface_of_all(bodies), 0.0, 0.2)
    of = yield from part(cutting(every, heights), 0.2, 0.5)
    body_of_loop = owner[of.triangle[of.begin[:-1]]]
    found = yield from part(regions(of, may_cross(body_of_loop, len(bodies), fused)), 0.5, 0.8)
    islands = yield from part(_islands(found), 0.8, 1.0)
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


def _islands(found: Regions) -> Steps[IntArray]:
    """Give the regions that are islands, by layer.

    Whether regions of neighbouring layers overlap is first asked of one point inside each, which settles nearly all;
    only for what then seems to float are the outlines tested against each other.
    """
    pairs = box_pairs(found.layer, found.low, found.high, 1)
    yield 0.0
    over = yield from part(overlapping_by_points(found, pairs), 0.0, 0.7)
    tested = over.copy()
    while True:
        based, islands = _propagated(found, pairs[over])
        floating = np.ones(len(found.layer), dtype=bool)
        floating[pairs[over & based[pairs[:, 1]], 0]] = False
        open_pairs = np.flatnonzero(floating[pairs[:, 0]] & ~tested)
        if len(open_pairs) == 0:
            return islands
        tested[open_pairs] = True
        over[open_pairs] = yield from part(outlines_cross(found, pairs[open_pairs]), 0.8, 0.9)


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
