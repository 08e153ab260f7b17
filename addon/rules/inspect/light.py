"""Light reach: the share of all directions from which light arrives at a face unblocked.

The sky is sampled in directions spread evenly over the sphere. For each the bodies are drawn into a depth buffer in
parallel projection, every triangle at the centres of the pixels it covers; what then lies at the buffer's depth is
lit. Two opposite directions share one drawing: one takes the farthest depth of every pixel, the other the nearest.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.candidates import near_boxes
from ..solid.measure import bounds_mm, normals
from ..solid.mesh import Body, FloatArray, IntArray
from ..solid.metal import in_metal_of
from ..solid.section import chunks, expanded
from ..solid.surface import Surface, surface_of

BoolArray = npt.NDArray[np.bool_]

FEWEST_DIRECTIONS, MOST_DIRECTIONS = 16, 8192
# A tenth of a narrow gap is seen as it is, and 60 links at 256 directions take seconds. Our judgement.
PIXEL_MM = 0.1
# More pixels across a large job only take time.
USUAL_ACROSS = 2000
# A drawing is at least this many pixels across, corner to corner of the job's box.
FEWEST_ACROSS = 8
# The pixels of one drawing, and the places where it may meet faces, keep the memory under about 1 GB.
MOST_PIXELS = MOST_PLACES = 1 << 24
# Error of n directions over n^(-3/4). The largest seen in 80,000 skies was 4.3 (discs, grooves, wedges, walls and
# triangles of random size and turn, 16 to 8,192 directions), 19 in 20 were under 1.7.
SAMPLING = 4.5
# Share of the weight of what no pixel met that is left open: there the pixel beside tells.
MISSED = 0.5
# Triangles and places worked on at a time: they stay near the processor.
_TRIANGLES = 1 << 15
_PLACES = 1 << 17
# A face that stands this nearly along the light (cosine) gets next to none, and its depth would be lost in rounding.
_EDGE_ON = 1e-6
# Depths this near to each other, as a share of the job's size, are the same place: rounding leaves less.
_SAME_DEPTH = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class LightReach:
    """The light reach of t faces, those of the first body first, each body's in the order of its mesh.

    ``share`` (t,): the cosine-weighted share of the half sphere over a face from which light arrives unblocked, the
    average over the face: 1 where nothing stands over it, as on a convex body. It is the view factor from the face to
    the sky; what faces throw back at each other is left out. ``body`` (t,) the number of the body, ``area_mm2`` (t,)
    the face's area; a face without area has share 1 and is not measured. ``buried`` (t,): faces in the metal of a body
    that theirs touches or crosses, or in its own where it crosses itself: they are no surface of the print.

    Two errors, apart from each other. ``sampling_error``: what the number of directions leaves open on any face; it
    falls with n^(-3/4), as the cap discrepancy of well spread points does (J. Beck 1984; from memory). It holds where
    the sky that is seen has a few smooth edges; most faces are within a third of it. ``pixel_error`` (t,): what the
    pixels leave open, from how many of them met the face in every direction; 99 faces in 100 are within it. A face
    smaller than a pixel is told from the pixel beside it: what a sharp corner hides there may be off by half.
    """

    share: FloatArray
    body: IntArray
    area_mm2: FloatArray
    buried: BoolArray
    sampling_error: float
    pixel_error: FloatArray
    directions: int
    pixel_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Faces:
    """The faces of all bodies: ``points`` (n, 3), each of some face, ``triangles`` (t, 3), ``normal`` (t, 3) unit.

    The normal of a face without area is 0. ``size_mm``: corner to corner of the box round all.
    """

    points: FloatArray
    triangles: IntArray
    normal: FloatArray
    area_mm2: FloatArray
    body: IntArray
    size_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """The faces seen along one line: ``at`` (n, 3) across and up in pixels, and the depth towards the light in mm.

    Pixel centres are whole numbers. ``cosine`` (t,) of the angle between normal and line; ``slope`` (t, 2) how fast
    the depth of a face rises across and up, mm a pixel.
    """

    at: FloatArray
    triangles: IntArray
    cosine: FloatArray
    slope: FloatArray
    width: int
    height: int


@dataclass(frozen=True, slots=True, eq=False)
class _Places:
    """Places (p,) where pixels meet a run of faces: the face's row in the run, the pixel's number, the depth in mm."""

    row: IntArray
    pixel: IntArray
    depth: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Sums:
    """Sums over the directions a face looks to, (t,) each, added to as they come.

    Of the cosine: ``weight``, ``lit`` times the part seen to be lit, ``missed`` where no pixel met the face.
    ``variance`` of ``lit``.
    """

    weight: FloatArray
    lit: FloatArray
    missed: FloatArray
    variance: FloatArray


def light_reach(
    bodies: Sequence[Body],
    *,
    directions: int = 256,
    pixel_mm: float = PIXEL_MM,
    fused: Sequence[tuple[int, int]] | None = None,
) -> Steps[LightReach]:
    """Measure how much light reaches every face of the bodies, which shade themselves and each other.

    ``directions``: over the whole sphere, an even number. ``fused``: the only pairs of bodies that touch or cross, a
    pair of a body and itself where it crosses itself; None when nobody knows, then bodies are only held against each
    other. Faces look to the side from which they are counter-clockwise and block from both, so open meshes are measured
    as they stand. Raises BadInput for no bodies, for a number of directions that is odd or out of range, and for pixels
    that are too fine or too coarse for the job.
    """
    if directions % 2 or not FEWEST_DIRECTIONS <= directions <= MOST_DIRECTIONS:
        raise BadInput(
            f"light reach: {directions} directions do not work; give an even number from {FEWEST_DIRECTIONS} to "
            f"{MOST_DIRECTIONS}"
        )
    faces = yield from part(_gathered(bodies), 0.0, 0.01)
    _check_pixel(pixel_mm, faces)
    buried = yield from part(_buried(bodies, faces, fused), 0.01, 0.02)
    count = len(faces.triangles)
    sums = _Sums(np.zeros(count), np.zeros(count), np.zeros(count), np.zeros(count))
    lines = half_sphere(directions // 2)
    for number, line in enumerate(lines):
        steps = _along(faces, line, pixel_mm, sums)
        yield from part(steps, 0.02 + 0.98 * number / len(lines), 0.02 + 0.98 * (number + 1) / len(lines))
    weight = np.where(sums.weight > 0.0, sums.weight, 1.0)
    # Two standard deviations of what was met; what was missed was told from a pixel beside the face.
    pixel_error = (2.0 * np.sqrt(sums.variance) + MISSED * sums.missed) / weight
    return LightReach(
        share=np.where(sums.weight > 0.0, sums.lit / weight, 1.0),
        body=faces.body,
        area_mm2=faces.area_mm2,
        buried=buried,
        sampling_error=SAMPLING * directions**-0.75,
        pixel_error=np.minimum(pixel_error, 1.0),
        directions=directions,
        pixel_mm=pixel_mm,
    )


def pixel_mm_for(bodies: Sequence[Body]) -> float:
    """Give the size of pixel that suits bodies: `PIXEL_MM`, but no finer or coarser than works for their size."""
    named = [body.points()[body.mesh.triangles] for body in bodies]
    size = float(np.linalg.norm(np.ptp([end(p, axis=(0, 1)) for p in named for end in (np.min, np.max)], axis=0)))
    area = sum(0.5 * float(np.linalg.norm(normals(corners), axis=1).sum()) for corners in named)
    finest = max(size / USUAL_ACROSS, 1.01 * math.sqrt(area / MOST_PLACES))
    return min(max(PIXEL_MM, finest), 0.5 * size / FEWEST_ACROSS) if size > 0.0 else PIXEL_MM


def half_sphere(count: int) -> FloatArray:
    """Give directions (count, 3) of length 1, spread evenly over the half sphere about z.

    Heights are evenly spaced and every step turns by the golden angle (R. Swinbank and R. J. Purser, Fibonacci grids,
    Quarterly Journal of the Royal Meteorological Society 132, 2006; from memory).
    """
    z = 1.0 - (np.arange(count) + 0.5) / count
    turn = math.pi * (3.0 - math.sqrt(5.0)) * np.arange(count)
    out = np.sqrt(1.0 - z * z)
    return np.stack((out * np.cos(turn), out * np.sin(turn), z), axis=1)


def _gathered(bodies: Sequence[Body]) -> Steps[_Faces]:
    """Put the faces of all bodies side by side, leaving out points that no face names."""
    if not bodies:
        raise BadInput("light reach: there is nothing to measure; give at least one body")
    points, triangles, normal, area = [], [], [], []
    count = 0
    for done, body in enumerate(bodies):
        used = np.zeros(len(body.mesh.points), dtype=bool)
        used[body.mesh.triangles] = True
        place = body.points()
        twice = normals(place[body.mesh.triangles])
        length = np.linalg.norm(twice, axis=1)
        points.append(place[used])
        triangles.append((np.cumsum(used) - 1 + count)[body.mesh.triangles])
        normal.append(twice / np.where(length > 0.0, length, 1.0)[:, None])
        area.append(0.5 * length)
        count += len(points[-1])
        yield (done + 1) / len(bodies)
    together, corners = np.concatenate(points), np.concatenate(triangles)
    yield 1.0
    return _Faces(
        points=together,
        triangles=corners,
        normal=np.concatenate(normal),
        area_mm2=np.concatenate(area),
        body=np.repeat(np.arange(len(bodies)), [len(a) for a in area]),
        size_mm=float(np.linalg.norm(np.ptp(together, axis=0))),
    )


def _buried(bodies: Sequence[Body], faces: _Faces, fused: Sequence[tuple[int, int]] | None) -> Steps[BoolArray]:
    """Tell which faces have their middle in the metal of another body, or look into the metal of their own."""
    buried = np.zeros(len(faces.triangles), dtype=np.bool_)
    if fused is None:
        ends = np.array([bounds_mm(body.points()) for body in bodies])
        fused = (yield from part(near_boxes(ends[:, 0], ends[:, 1], 0.0), 0.0, 0.1)).tolist()
    begins = np.searchsorted(faces.body, np.arange(len(bodies) + 1))
    ready: dict[int, Surface] = {}
    pairs = sorted({pair for a, b in fused for pair in ((a, b), (b, a))})
    for nth, (mine, other) in enumerate(pairs):
        begin, end = (0.1 + 0.9 * (nth + one) / len(pairs) for one in (0, 1))
        here = slice(int(begins[mine]), int(begins[mine + 1]))
        metal = bodies[other]
        if id(metal.mesh) not in ready:
            ready[id(metal.mesh)] = yield from part(surface_of(metal.mesh), begin, begin)
        middle = faces.points[faces.triangles[here]].mean(axis=1)
        if mine == other:
            # Off its own surface, to the side it looks to.
            middle += _SAME_DEPTH * faces.size_mm * faces.normal[here]
        seen = (middle - metal.pose.origin) @ np.linalg.inv(metal.pose.rotation).T
        asking = in_metal_of(metal.mesh, ready[id(metal.mesh)], seen)
        buried[here] |= yield from part(asking, begin, end)
    return buried


def _check_pixel(pixel_mm: float, faces: _Faces) -> None:
    """Raise BadInput for pixels so fine that a drawing would not fit the memory, or so coarse that it shows nothing."""
    area = float(faces.area_mm2.sum())
    if not area > 0.0:
        raise BadInput("light reach: the faces have no area; export the bodies again, in mm")
    # A drawing ends on a whole pixel, beyond the last face.
    across = math.isqrt(MOST_PIXELS) - 2
    least = max(faces.size_mm / across, math.sqrt(area / MOST_PLACES))
    most = faces.size_mm / FEWEST_ACROSS
    if not least <= pixel_mm <= most:
        raise BadInput(
            f"light reach: pixels of {pixel_mm:g} mm do not work for a job {faces.size_mm:.4g} mm in size; give a "
            f"number from {_up(least):g} to {-_up(-most):g}"
        )


def _up(length: float) -> float:
    """Round up to two digits."""
    step = 10.0 ** (math.floor(math.log10(abs(length))) - 1)
    return math.ceil(length / step) * step


def _along(faces: _Faces, line: FloatArray, pixel_mm: float, sums: _Sums) -> Steps[None]:
    """Draw the faces along one line and add what is seen from its two ends to the sums."""
    view = yield from part(_seen(faces, line, pixel_mm), 0.0, 0.1)
    ahead = np.full(view.width * view.height, -np.inf)
    yield 0.12
    behind = np.full(view.width * view.height, np.inf)
    ends = ((True, np.flatnonzero(view.cosine > _EDGE_ON)), (False, np.flatnonzero(view.cosine < -_EDGE_ON)))
    runs = [
        (facing[begin : begin + _TRIANGLES], toward)
        for toward, facing in ends
        for begin in range(0, len(facing), _TRIANGLES)
    ]
    yield 0.15
    met: list[list[_Places]] = []
    for run, _ in runs:
        met.append([])
        for places in _drawn(view, run):
            np.maximum.at(ahead, places.pixel, places.depth)
            np.minimum.at(behind, places.pixel, places.depth)
            met[-1].append(places)
            yield 0.15 + 0.6 * len(met) / len(runs)
    same = _SAME_DEPTH * faces.size_mm
    for done, (run, toward) in enumerate(runs):
        pixels, lit = np.zeros(len(run)), np.zeros(len(run))
        for places in met[done]:
            depth = places.depth
            seen = depth >= ahead[places.pixel] - same if toward else depth <= behind[places.pixel] + same
            pixels += np.bincount(places.row, minlength=len(run))
            lit += np.bincount(places.row[seen], minlength=len(run))
        beside = _lit_beside(view, run[pixels == 0.0], ahead if toward else behind, pixel_mm, toward=toward)
        _add(sums, run, np.abs(view.cosine[run]), pixels, lit, beside)
        yield 0.75 + 0.25 * (done + 1) / len(runs)


def _seen(faces: _Faces, line: FloatArray, pixel_mm: float) -> Steps[_View]:
    """Turn the faces so that depth runs along the line, and lay the pixels over them."""
    across = np.cross(line, np.eye(3)[np.argmin(np.abs(line))])
    across /= np.linalg.norm(across)
    frame = np.stack((across, np.cross(line, across), line), axis=1)
    # Not by @: for thin arrays its threads cost more than they save, several times over where other work runs.
    at = np.einsum("ij,jk->ik", faces.points, frame)
    at[:, :2] = (at[:, :2] - at[:, :2].min(axis=0)) / pixel_mm
    width, height = (int(length) for length in np.ceil(at[:, :2].max(axis=0)) + 1.0)
    yield 0.4
    turned = np.einsum("ij,jk->ik", faces.normal, frame)
    cosine = np.ascontiguousarray(turned[:, 2])
    yield 0.7
    steep = np.where(np.abs(cosine) > _EDGE_ON, cosine, 1.0)
    slope = turned[:, :2] * (-pixel_mm / steep)[:, None]
    yield 1.0
    return _View(at, faces.triangles, cosine, slope, width, height)


def _drawn(view: _View, faces: IntArray) -> Iterator[_Places]:
    """Find the pixel centres within faces (k,), row of pixels by row of pixels.

    A row and a column belong to a triangle from its lower bound up to, not with, its upper: a place on the edge of two
    faces belongs to one of them, and none lies between.
    """
    corners = view.triangles[faces]
    up = view.at[:, 1][corners]
    lowest, highest = up.argmin(axis=1), up.argmax(axis=1)
    every = np.arange(len(faces))
    first = np.ceil(up[every, lowest]).astype(np.int64)
    rows = np.ceil(up[every, highest]).astype(np.int64) - first
    crossed = np.flatnonzero(rows)
    low, middle, high = (
        view.at[corners[crossed, corner[crossed]]] for corner in (lowest, 3 - lowest - highest, highest)
    )
    whole, lower, upper = _lean(low, high), _lean(low, middle), _lean(middle, high)
    slope = view.slope[faces[crossed]]
    for some in chunks(rows[crossed], _PLACES):
        of, y = expanded(np.arange(some.start, some.stop), first[crossed[some]], rows[crossed[some]])
        height = y.astype(np.float64)
        one = low[of, 0] + (height - low[of, 1]) * whole[of]
        lean = np.where(height < middle[of, 1], lower[of], upper[of])
        other = middle[of, 0] + (height - middle[of, 1]) * lean
        left = np.ceil(np.minimum(one, other)).astype(np.int64)
        length = np.ceil(np.maximum(one, other)).astype(np.int64) - left
        depth = low[of, 2] + slope[of, 0] * (left - low[of, 0]) + slope[of, 1] * (height - low[of, 1])
        filled = np.flatnonzero(length)
        for piece in chunks(length[filled], _PLACES):
            here = filled[piece]
            span, along = expanded(here, np.zeros(len(here), dtype=np.int64), length[here])
            triangle = of[span]
            yield _Places(
                row=crossed[triangle],
                pixel=(y * view.width + left)[span] + along,
                depth=depth[span] + along * slope[triangle, 0],
            )


def _lean(a: FloatArray, b: FloatArray) -> FloatArray:
    """Give how far edges from a to b (k, 3) go across for every pixel up; 0 for a level one, which no row crosses."""
    rise = b[:, 1] - a[:, 1]
    return np.asarray((b[:, 0] - a[:, 0]) / np.where(rise > 0.0, rise, np.inf))


def _lit_beside(view: _View, faces: IntArray, buffer: FloatArray, pixel_mm: float, *, toward: bool) -> BoolArray:
    """Tell which faces (k,) that no pixel met are lit, by the pixel nearest to the middle of each.

    The plane of the face is taken on to that pixel. The surface beside may bend away from it, so it may lie deeper than
    the buffer by half a pixel and by what it falls over half a pixel, but never by more than two pixels.
    """
    middle = view.at[view.triangles[faces]].mean(axis=1)
    pixel = np.rint(middle[:, :2])
    depth = middle[:, 2] + (view.slope[faces] * (pixel - middle[:, :2])).sum(axis=1)
    there = buffer[(pixel[:, 1] * view.width + pixel[:, 0]).astype(np.int64)]
    bias = np.minimum(0.5 * (pixel_mm + np.linalg.norm(view.slope[faces], axis=1)), 2.0 * pixel_mm)
    return np.asarray(depth >= there - bias if toward else depth <= there + bias)


def _add(
    sums: _Sums, faces: IntArray, cosine: FloatArray, pixels: FloatArray, lit: FloatArray, beside: BoolArray
) -> None:
    """Add what one direction shows of faces (k,): how many pixels met each, how many of them are lit.

    ``beside``: for those that none met, in order, whether they count as lit. If nothing else is known of the part that
    is lit, n places of which m are lit leave it the variance (m + 1)(n - m + 1) / ((n + 2)^2 (n + 3)) (Laplace's rule
    of succession, its beta distribution; from memory).
    """
    met = pixels > 0.0
    part_lit = lit / np.where(met, pixels, 1.0)
    part_lit[~met] = beside
    variance = (lit + 1.0) * (pixels - lit + 1.0) / ((pixels + 2.0) ** 2 * (pixels + 3.0))
    sums.weight[faces] += cosine
    sums.lit[faces] += cosine * part_lit
    sums.missed[faces] += np.where(met, 0.0, cosine)
    sums.variance[faces] += np.where(met, cosine**2 * variance, 0.0)
