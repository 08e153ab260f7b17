"""An independent three-dimensional heat solve of one pitch of a curb chain freezing in investment.

Run as a script it writes the pinned results beside it (heat_3d.json): of the cases whose inputs have changed, or with
the beginnings of names, of those. It shares nothing with the network of addon/rules/cast: voxels made from the
generator's meshes, finite volumes, and the enthalpy of every cell.

What is solved. Metal fills the cavity at time 0 at one temperature, the mould everywhere at that of the flask. Heat
goes by conduction through metal and mould, and through the interface between them. Over the freezing range latent
heat is given off evenly with temperature, so the solid fraction is (liquidus - T) / (liquidus - solidus); specific heat
there is the mean of both. Densities and conductivities are those of the solid metal and do not change. No flow, no
radiation, no gap that opens.

How. Voxels of one step round the metal, growing outward to a face held at flask temperature. Metal are the cells with
the largest shares of it (27 samples each) that together come nearest to its volume, and their heat content is scaled
to what is left. The steps of a voxel surface have more area than the surface itself: the interface is taken at the
true area, spread by the normal of the smoothed shares and scaled to that of the body. Time by second-order backward
differences with growing steps, each solved by Newton steps on the enthalpy and conjugate gradients.

Shapes, lengths in mm. x runs along the chain, z is up, the face of the chain looks along y. ``alone``: one link in
thick mould. ``chain``: every link of an endless straight chain, one pitch of it between periodic faces. ``gated``: the
same with a gate under each link and a ring rod below, straight too, sizes as the planner gives a chain of that size,
the ring round. ``wire``: an endless straight round wire. ``ball``: a ball as thick as the wire; both have exact
solutions to check the solve itself by.
"""

import hashlib
import json
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

import numpy as np
from scipy.ndimage import uniform_filter
from scipy.sparse import coo_array, csr_array
from scipy.spatial import cKDTree

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))

from addon.rules.base.progress import finish
from addon.rules.cast.materials import load_materials
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.solid.measure import area_mm2, volume_mm3

PINNED = Path(__file__).with_suffix(".json")

SPEC = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
WIRE_MM = SPEC.wire_mm
# Ring rod and gate of the gated chain: axis from the ring's up to the link, as the planner gives this chain.
RING_MM, RING_Z_MM = 3.52, -10.61
GATE_MM, TIP_MM, TIP_FROM_Z_MM, TIP_TO_Z_MM = 2.42, 1.1, -5.639, -4.561
# Even voxels reach this far beyond the metal; then each is larger than the one before, up to the face of the mould.
EVEN_MM, GROWTH, MOULD_MM = 1.0, 1.2, 20.0
FINER = 3
FIRST_S, STEP_SHARE = 0.002, 0.015
PLACES = 12
# Mould is part of a web where the distances to the two links together are at most this much.
WEB_MM = 1.1
MOULD, LINK, GATE, RING = -1, 0, 1, 2
BODIES = ("link", "gate", "ring")
SHOWN_S = (0.25, 0.5, 1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100)


@dataclass(frozen=True)
class Metal:
    """g/cm3, degC, J/g, J/(g K), W/(m K)."""

    density: float
    solidus: float
    liquidus: float
    latent: float
    heat_solid: float
    heat_liquid: float
    conductivity: float

    def enthalpy(self, t):
        """J/mm3 above the solidus."""
        solid = self.heat_solid * (np.minimum(t, self.solidus) - self.solidus)
        range_ = self.heat_in_range * (np.clip(t, self.solidus, self.liquidus) - self.solidus)
        return (
            1e-3 * self.density * (solid + range_ + self.heat_liquid * (np.maximum(t, self.liquidus) - self.liquidus))
        )

    def capacity(self, t):
        """J/(mm3 K), the slope of the enthalpy."""
        above = np.where(t <= self.liquidus, self.heat_in_range, self.heat_liquid)
        return 1e-3 * self.density * np.where(t < self.solidus, self.heat_solid, above)

    @property
    def heat_in_range(self):
        return self.latent / (self.liquidus - self.solidus) + 0.5 * (self.heat_solid + self.heat_liquid)

    def at_solid(self, share):
        """The temperature at a solid fraction."""
        return self.liquidus - share * (self.liquidus - self.solidus)


@dataclass(frozen=True)
class Sand:
    """The mould: W/(m K), J/(cm3 K), and the interface in W/(m2 K), None where the contact is perfect."""

    conductivity: float
    heat: float
    interface: float | None


@dataclass(frozen=True)
class Grid:
    """Finite volumes. mm. ``body`` (n,): MOULD or the number of a metal body; ``store_mm3`` (n,): what holds heat.

    Faces between cells ``i`` and ``j``: area, distances from the middles to the face, and ``touch_mm2``, the area the
    interface counts with. Faces held at flask temperature: ``edge`` cells, their area and distance.
    """

    body: np.ndarray
    store_mm3: np.ndarray
    i: np.ndarray
    j: np.ndarray
    area_mm2: np.ndarray
    from_i_mm: np.ndarray
    from_j_mm: np.ndarray
    touch_mm2: np.ndarray
    edge: np.ndarray
    edge_mm2: np.ndarray
    edge_mm: np.ndarray


@dataclass(frozen=True)
class Frozen:
    """``time_s`` (s,), ``watched_c`` (s, w); seconds to half and to 99 % solid of every cell (NaN in the mould)."""

    time_s: np.ndarray
    watched_c: np.ndarray
    half_s: np.ndarray
    solid_s: np.ndarray
    imbalance: float
    steps: int
    solves: int


def passing(grid, metal, sand):
    """W/K of every face, as the symmetric off-diagonal matrix, its row sums, and of the faces held at the flask's."""
    k = np.where(grid.body == MOULD, sand.conductivity, metal.conductivity) * 1e-3
    resistance = (grid.from_i_mm / k[grid.i] + grid.from_j_mm / k[grid.j]) / grid.area_mm2
    if sand.interface is not None:
        meets = (grid.body[grid.i] == MOULD) != (grid.body[grid.j] == MOULD)
        resistance = resistance + np.where(meets, 1e6 / (sand.interface * grid.touch_mm2), 0.0)
    g, n = 1.0 / resistance, len(grid.body)
    both = (np.concatenate((grid.i, grid.j)), np.concatenate((grid.j, grid.i)))
    between = csr_array(coo_array((np.concatenate((g, g)), both), shape=(n, n)))
    between.indices, between.indptr = between.indices.astype(np.int32), between.indptr.astype(np.int32)
    far = np.bincount(grid.edge, grid.edge_mm2 * k[grid.edge] / grid.edge_mm, n)
    return between, between @ np.ones(n) + far, far


def descend(between, diagonal, right, exact):
    """Solve (diagonal - between) x = right by conjugate gradients with the diagonal as preconditioner.

    In single precision: the Newton steps around it take what is lacking in double.
    """
    diagonal, r = diagonal.astype(np.float32), right.astype(np.float32)
    x = np.zeros_like(r)
    z = r / diagonal
    p, rz = z.copy(), float(r @ z)
    goal = exact * exact * rz
    count = 0
    while rz > goal and count < 500:
        ap = diagonal * p - between @ p
        alpha = np.float32(rz / float(p @ ap))
        x += alpha * p
        r -= alpha * ap
        z = r / diagonal
        new = float(r @ z)
        p *= np.float32(new / rz)
        p += z
        rz, count = new, count + 1
    return x, count


def freeze(
    grid: Grid,
    metal: Metal,
    sand: Sand,
    pour_c: float,
    flask_c: float,
    *,
    watch: Callable[[np.ndarray], list[float]] = lambda _: [],
    step_share: float = STEP_SHARE,
    first_s: float = FIRST_S,
    longest_s: float = 300.0,
) -> Frozen:
    """Step until 99 % of every metal cell is solid."""
    between, sums, far = passing(grid, metal, sand)
    rough = between.astype(np.float32)
    is_metal = grid.body != MOULD
    store = grid.store_mm3

    def heat(t):
        return store * np.where(is_metal, metal.enthalpy(t), 1e-3 * sand.heat * (t - flask_c))

    def slope(t):
        return store * np.where(is_metal, metal.capacity(t), 1e-3 * sand.heat)

    half_j, solid_j = store * metal.enthalpy(metal.at_solid(0.5)), store * metal.enthalpy(metal.at_solid(0.99))
    t = np.where(is_metal, pour_c, flask_c).astype(float)
    before = earlier = heat(t)
    begun, enough = float(before[is_metal].sum()), 2e-7 * float(heat(np.full_like(t, pour_c))[is_metal].sum())
    half, solid = np.full(len(t), np.nan), np.full(len(t), np.nan)
    now, last, out, left = 0.0, 0.0, 0.0, 0.0
    rate = np.zeros_like(t)
    times, watched, solves = [0.0], [watch(t)], 0
    while np.isnan(solid[is_metal]).any() and now < longest_s:
        dt = first_s + step_share * now
        w = dt / last if last else 0.0
        a0, a1, a2 = (1 + 2 * w) / (1 + w), 1 + w, w * w / (1 + w)
        kept = a1 * before - a2 * earlier
        new = t + rate * dt
        for _ in range(30):
            lack = (kept - a0 * heat(new)) / dt + between @ new - sums * new + far * flask_c
            if np.abs(lack).sum() * dt < enough:
                break
            change, count = descend(rough, sums + a0 * slope(new) / dt, lack, 1e-3)
            new += change
            solves += count
        # What leaves in a step, by the same differences as what is stored.
        left = (a2 * left + dt * float((far * (new - flask_c)).sum())) / a0
        out += left
        # Backward differences over uneven steps need the enthalpy of the two steps before.
        earlier, before = before, heat(new)
        # Enthalpy falls evenly through a step, temperature does not where freezing begins or ends.
        for level, found in ((half_j, half), (solid_j, solid)):
            past = is_metal & (earlier > level) & (before <= level)
            found[past] = now + dt * (earlier[past] - level[past]) / (earlier[past] - before[past])
        rate, t, last = (new - t) / dt, new, dt
        now += dt
        times.append(now)
        watched.append(watch(t))
    given = begun - float(before[is_metal].sum())
    taken = float(before[~is_metal].sum()) + out
    return Frozen(np.array(times), np.array(watched), half, solid, abs(given - taken) / given, len(times) - 1, solves)


# Shapes to finite volumes


def radial_grid(edges_mm, metal_to_mm, curvature):
    """Plate (0, per mm2 of one side), cylinder (1, per mm) or ball (2), in shells between edges from the middle out."""
    a, b = edges_mm[:-1], edges_mm[1:]
    middle = 0.5 * (a + b)
    body = np.where(middle < metal_to_mm, LINK, MOULD)
    around = (1.0, 2 * np.pi, 4 * np.pi)[curvature]
    volume = around * (b ** (curvature + 1) - a ** (curvature + 1)) / (curvature + 1)
    area = around * b**curvature
    here = np.arange(len(b) - 1)
    return Grid(
        body, volume, here, here + 1, area[:-1], (b - middle)[:-1], (middle - a)[1:], area[:-1],
        np.array([len(b) - 1]), area[-1:], (b - middle)[-1:],
    )  # fmt: skip


def growing(start, end, step, even_mm=EVEN_MM, growth=GROWTH, mould_mm=MOULD_MM):
    """Edges of even cells from start to end and beyond, growing outward on both sides; and where the even ones are."""
    n = int(np.ceil((end - start + 2 * even_mm) / step))
    first = 0.5 * (start + end) - 0.5 * n * step
    even = first + step * np.arange(n + 1)
    widths = step * growth ** np.arange(1, 60)
    beyond = np.cumsum(widths)
    beyond = beyond[: int(np.searchsorted(beyond, mould_mm)) + 1]
    return np.concatenate((even[0] - beyond[::-1], even, even[-1] + beyond)), slice(len(beyond), len(beyond) + n)


def inside_columns(points, triangles, x, y, z):
    """Tell which places of a grid are inside a closed mesh, by the parity of crossings on rays along z."""
    corners = points[triangles]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    begin = np.stack((np.searchsorted(x, low[:, 0]), np.searchsorted(y, low[:, 1])), axis=1)
    count = np.stack((np.searchsorted(x, high[:, 0]), np.searchsorted(y, high[:, 1])), axis=1) - begin
    total = count.prod(axis=1)
    tri = np.repeat(np.arange(len(total)), total)
    order = np.arange(total.sum()) - np.repeat(np.cumsum(total) - total, total)
    ix = begin[tri, 0] + order // np.maximum(count[tri, 1], 1)
    iy = begin[tri, 1] + order % np.maximum(count[tri, 1], 1)
    a, b, c = (corners[tri, k] for k in range(3))
    px, py = x[ix], y[iy]

    def side(p, q):
        return (q[:, 0] - p[:, 0]) * (py - p[:, 1]) - (q[:, 1] - p[:, 1]) * (px - p[:, 0])

    u, v, w = side(b, c), side(c, a), side(a, b)
    hit = ((u > 0) & (v > 0) & (w > 0)) | ((u < 0) & (v < 0) & (w < 0))
    u, v, w, ix, iy = u[hit], v[hit], w[hit], ix[hit], iy[hit]
    height = (u * a[hit, 2] + v * b[hit, 2] + w * c[hit, 2]) / (u + v + w)
    crossed = np.zeros((len(x), len(y), len(z) + 1), dtype=np.int32)
    np.add.at(crossed, (ix, iy, np.searchsorted(z, height)), 1)
    assert not (crossed.sum(axis=2) % 2).any(), "a ray met an edge: shift the grid"
    return crossed.cumsum(axis=2)[:, :, :-1] % 2 == 1


def voxel_grid(edges, shares, periodic, volumes=None, areas=None):
    """Grid of voxels from edges along x, y, z and the metal share of each body (bodies, nx, ny, nz).

    ``volumes`` and ``areas`` (bodies,): true ones, where they are known better than from the shares (else None).
    """
    shape = shares.shape[1:]
    full = shares.sum(axis=0)
    wide = [np.diff(e) for e in edges]
    volume = wide[0][:, None, None] * wide[1][:, None] * wide[2]
    known = volumes or [None] * len(shares)
    true = [(s * volume).sum() if v is None else v for s, v in zip(shares, known, strict=True)]
    # Metal are the cells with the largest shares that together come nearest to its volume.
    levels, which = np.unique(full, return_inverse=True)
    filled = np.cumsum(np.bincount(which.ravel(), volume.ravel())[::-1])[::-1]
    level = levels[1:][np.abs(filled[1:] - sum(true)).argmin()]
    body = np.where(full >= level, shares.argmax(axis=0), MOULD)
    store = volume.copy()
    for k, metal in enumerate(true):
        mine = body == k
        store[mine] *= metal / volume[mine].sum()
    smooth = uniform_filter(full, 3, mode=("wrap" if periodic else "nearest", "nearest", "nearest"))
    middles = [0.5 * (e[1:] + e[:-1]) for e in edges]
    if periodic:
        step = middles[0][1] - middles[0][0]
        lean = [(np.roll(smooth, -1, 0) - np.roll(smooth, 1, 0)) / (2 * step)]
        lean += np.gradient(smooth, middles[1], middles[2], axis=(1, 2))
    else:
        lean = np.gradient(smooth, *middles)
    number = np.arange(body.size).reshape(shape)
    faces, rims = [], []
    for axis in range(3):
        across = [np.ones(1)] * 3
        for other in {0, 1, 2} - {axis}:
            across[other] = wide[other]
        area = np.broadcast_to(
            across[0][:, None, None] * across[1][:, None] * across[2],
            [1 if a == axis else s for a, s in enumerate(shape)],
        )
        width = np.broadcast_to(wide[axis].reshape([-1 if a == axis else 1 for a in range(len(shape))]), shape)
        a, b = np.moveaxis(number, axis, 0), np.moveaxis(width, axis, 0)
        near = np.broadcast_to(np.moveaxis(area, axis, 0), a.shape)
        if axis == 0 and periodic:
            faces.append((a, np.roll(a, -1, 0), near, b / 2, np.roll(b, -1, 0) / 2))
        else:
            faces.append((a[:-1], a[1:], near[:-1], b[:-1] / 2, b[1:] / 2))
            rims += [(a[end].ravel(), near[end].ravel(), b[end].ravel() / 2) for end in (0, -1)]
    i, j, area, from_i, from_j = (np.concatenate([f[k].ravel() for f in faces]) for k in range(5))
    normal = np.stack([0.5 * (g.ravel()[i] + g.ravel()[j]) for g in lean])
    size = np.abs(normal).sum(axis=0)
    touch = area * np.where(size > 0, np.sqrt((normal**2).sum(axis=0)) / np.where(size > 0, size, 1), 1)
    whose = np.where(
        (body.ravel()[i] == MOULD) != (body.ravel()[j] == MOULD), np.maximum(body.ravel()[i], body.ravel()[j]), MOULD
    )
    for k, area_of_body in enumerate(areas or ()):
        touch[whose == k] *= area_of_body / touch[whose == k].sum()
    edge, edge_area, edge_far = (np.concatenate([r[k] for r in rims]) for k in range(3))
    return Grid(body.ravel(), store.ravel(), i, j, area, from_i, from_j, touch, edge, edge_area, edge_far)


@cache
def generated():
    """Mesh and centreline of a link as it stands in a straight chain, and the pitch."""
    chain = finish(build_chain(SPEC, LayoutSpec("straight", links=3)))
    body = chain.bodies[1]
    return body.pose.apply(body.mesh.points), body.mesh, body.pose.apply(body.wire.centreline), chain.pitch_mm


def rods(x, y, z):
    """Which places are in the ring rod and in the gate of the link at x = 0."""
    ring = np.broadcast_to(
        y * y + (z - RING_Z_MM) ** 2 < (RING_MM / 2) ** 2, np.broadcast_shapes(x.shape, y.shape, z.shape)
    )
    along = np.clip((z - TIP_FROM_Z_MM) / (TIP_TO_Z_MM - TIP_FROM_Z_MM), 0, 1)
    radius = 0.5 * (GATE_MM + along * (TIP_MM - GATE_MM))
    gate = (x * x + y * y < radius**2) & (z > RING_Z_MM) & (z < TIP_TO_Z_MM)
    return ring, gate & ~ring


def densely(line):
    """Eight points for each of a closed line."""
    closed = np.concatenate((line, line[:1]))
    fine = np.linspace(0, len(line), 8 * len(line), endpoint=False)
    return np.stack([np.interp(fine, np.arange(len(closed)), closed[:, k]) for k in range(3)], axis=1)


def rod_areas(points, triangles, line, pitch):
    """What of link, gate and ring touches mould: their own surface less what is inside another, by samples."""
    round_, up = np.meshgrid((np.arange(180) + 0.5) * (2 * np.pi / 180), (np.arange(600) + 0.5) / 600)
    corners = points[triangles]
    middle = corners.mean(axis=1)
    own = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    link = own[~rods(*middle.T)[1]].sum()
    z = RING_Z_MM + up * (TIP_TO_Z_MM - RING_Z_MM)
    along = np.clip((z - TIP_FROM_Z_MM) / (TIP_TO_Z_MM - TIP_FROM_Z_MM), 0, 1)
    radius = 0.5 * (GATE_MM + along * (TIP_MM - GATE_MM))
    x, y = radius * np.cos(round_), radius * np.sin(round_)
    slant = np.hypot(1.0, np.where(along > 0, 0.5 * (GATE_MM - TIP_MM) / (TIP_TO_Z_MM - TIP_FROM_Z_MM), 0.0))
    cell = radius * slant * (TIP_TO_Z_MM - RING_Z_MM) / 600 * (2 * np.pi / 180)
    deep = cKDTree(densely(line)).query(np.stack((x, y, z), axis=-1))[0] < WIRE_MM / 2
    gate = cell[~rods(x, y, z)[0] & ~deep].sum()
    x = (up - 0.5) * pitch
    y, z = RING_MM / 2 * np.cos(round_), RING_Z_MM + RING_MM / 2 * np.sin(round_)
    ring = np.pi * RING_MM * pitch * (1.0 - np.mean((x * x + y * y < (GATE_MM / 2) ** 2) & (z > RING_Z_MM)))
    return [link, gate, ring]


@dataclass(frozen=True)
class Voxels:
    grid: Grid
    middles: tuple[np.ndarray, np.ndarray, np.ndarray]
    pitch_mm: float | None

    def at(self, places):
        """The cell that holds each place (p, 3)."""
        found = []
        for axis, m in enumerate(self.middles):
            value = places[:, axis]
            if axis == 0 and self.pitch_mm is not None:
                value = (value - m[0]) % self.pitch_mm + m[0]
                value = np.where(value > m[-1] + 0.5 * (m[1] - m[0]), value - self.pitch_mm, value)
            found.append(np.abs(m[:, None] - value).argmin(axis=0))
        return np.ravel_multi_index(tuple(found), [len(m) for m in self.middles])

    def places(self):
        return np.stack([g.ravel() for g in np.meshgrid(*self.middles, indexing="ij")], axis=1)


def voxels(shape, step) -> Voxels:
    """Finite volumes of one of the shapes of this module."""
    off = np.zeros(3)
    periodic = shape not in ("alone", "ball")
    if shape in ("wire", "ball"):
        low, high, period = np.full(3, -WIRE_MM / 2), np.full(3, WIRE_MM / 2), 2 * step
    else:
        # A hair off centre, so that no ray meets an edge of the mesh.
        off = np.array([1.3e-4, 2.7e-4, 1.9e-4])
        points, mesh, line, period = generated()
        low, high = points.min(axis=0), points.max(axis=0)
        if shape == "gated":
            low = np.minimum(low, [0, -RING_MM / 2, RING_Z_MM - RING_MM / 2])
    edges, core = [], []
    for axis in range(3):
        if axis == 0 and periodic:
            n = round(period / step)
            edges.append(np.arange(n + 1) * (period / n) - period / 2)
            core.append(slice(0, n))
        else:
            e, c = growing(low[axis], high[axis], step)
            edges.append(e)
            core.append(c)
    edges = [e + o for e, o in zip(edges, off, strict=True)]
    fine = []
    for e, c in zip(edges, core, strict=True):
        even = e[c.start : c.stop + 1]
        finer = (even[1] - even[0]) / FINER
        fine.append(even[0] + finer * (np.arange(FINER * (len(even) - 1)) + 0.5))
    size = tuple(len(f) for f in fine)
    x, y, z = fine[0][:, None, None], fine[1][:, None], fine[2]
    if shape == "wire":
        bodies = [np.broadcast_to(y * y + z * z < (WIRE_MM / 2) ** 2, size)]
        volumes, areas = [np.pi / 4 * WIRE_MM**2 * period], [np.pi * WIRE_MM * period]
    elif shape == "ball":
        bodies = [x * x + y * y + z * z < (WIRE_MM / 2) ** 2]
        volumes, areas = [np.pi / 6 * WIRE_MM**3], [np.pi * WIRE_MM**2]
    else:
        reach = 0
        if periodic:
            reach = int(np.ceil(max(-low[0], high[0]) / period - 0.5))
        link = np.zeros(size, dtype=bool)
        for k in range(-reach, reach + 1):
            link |= inside_columns(points - [k * period, 0, 0], mesh.triangles, *fine)
        bodies, volumes, areas = [link], [volume_mm3(mesh)], [area_mm2(mesh)]
        if shape == "gated":
            areas, volumes = rod_areas(points, mesh.triangles, line, period), [*volumes, None, None]
            ring, gate = rods(x, y, z)
            bodies += [gate & ~link, ring & ~link]
    whole = tuple(len(e) - 1 for e in edges)
    shares = np.zeros((len(bodies), *whole))
    for share, body in zip(shares, bodies, strict=True):
        coarse = body.reshape(*(v for s in size for v in (s // FINER, FINER))).mean(axis=(1, 3, 5))
        share[tuple(core)] = coarse
    middles = tuple(0.5 * (e[1:] + e[:-1]) for e in edges)
    return Voxels(voxel_grid(edges, shares, periodic, volumes, areas), middles, period if periodic else None)


# Cases


@dataclass(frozen=True)
class Case:
    """One run: shape of the module, alloy by name, superheat over the liquidus, flask, contact, voxel step."""

    shape: str
    alloy: str
    superheat_k: float
    flask_c: float
    interface: bool = True
    step_mm: float = 0.2

    @property
    def name(self):
        contact = "" if self.interface else " perfect contact"
        return f"{self.shape} {self.alloy} +{self.superheat_k:g} K{contact} {self.step_mm:g} mm"


POURS = (("tin-bronze", 0.0, 550.0), ("tin-bronze", 100.0, 550.0), ("sterling-silver", 100.0, 600.0))
SHAPES = ("wire", "alone", "chain", "gated")
CASES = (
    *(Case(shape, *pour) for shape in SHAPES for pour in POURS),
    *(Case(shape, *POURS[1], step_mm=0.3) for shape in SHAPES),
    *(Case(shape, *pour, interface=False, step_mm=0.3) for shape in SHAPES for pour in POURS[:2]),
    *(Case(shape, *POURS[1], step_mm=0.15) for shape in ("wire", "chain")),
)


@cache
def used(case: Case) -> tuple[Metal, Sand]:
    """The figures of the tables that a case is solved with."""
    tables = load_materials()
    alloy, mould = tables.alloy(case.alloy), tables.investment("gypsum-bonded")
    metal = Metal(
        density=alloy.density_g_cm3.value,
        solidus=alloy.solidus_c.value,
        liquidus=alloy.liquidus_c.value,
        latent=alloy.latent_heat_kj_kg.value,
        heat_solid=alloy.heat_solid_j_kg_k.value / 1000,
        heat_liquid=alloy.heat_liquid_j_kg_k.value / 1000,
        conductivity=alloy.conductivity_solid_w_m_k.value,
    )
    heat = mould.mould_density_g_cm3.value * mould.heat_j_kg_k.value / 1000
    return metal, Sand(mould.conductivity_w_m_k.value, heat, mould.interface_w_m2_k.value if case.interface else None)


def inputs(case: Case) -> dict:
    """All a case depends on, rounded so that the last digits of a machine do not count."""
    metal, sand = used(case)
    _, mesh, line, pitch = generated()
    return {
        "case": asdict(case),
        "metal": asdict(metal),
        "mould": asdict(sand),
        "pour_c": metal.liquidus + case.superheat_k,
        "spec": {"family": SPEC.family, "wire_mm": SPEC.wire_mm, "link_length_mm": SPEC.link_length_mm,
                 "link_width_mm": SPEC.link_width_mm, "gap_mm": SPEC.gap_mm, "chord_mm": SPEC.chord_mm},
        "layout": {"shape": "straight", "face": "out"},
        "pitch_mm": round(pitch, 4),
        "link_mm3": round(volume_mm3(mesh), 2),
        "link_mm2": round(area_mm2(mesh), 2),
        "line_mm": rounded(line[:: len(line) // 8], 3),
        "ring": {"d_mm": RING_MM, "axis_z_mm": RING_Z_MM, "axis_y_mm": 0.0, "along": "x"},
        "gate": {"d_mm": GATE_MM, "tip_mm": TIP_MM, "axis_x_mm": 0.0, "axis_y_mm": 0.0, "from_z_mm": RING_Z_MM,
                 "tip_from_z_mm": TIP_FROM_Z_MM, "tip_to_z_mm": TIP_TO_Z_MM},
        "voxels": {"even_mm": EVEN_MM, "growth": GROWTH, "mould_mm": MOULD_MM, "samples": FINER**3},
        "time": {"first_s": FIRST_S, "step_share": STEP_SHARE},
        "web_mm": WEB_MM,
    }  # fmt: skip


def rounded(values, places):
    """Plain rounded values; no zero has a sign."""
    return (np.round(values, places) + 0.0).tolist()


def digest(values) -> str:
    """A short checksum of plain values."""
    return hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()[:16]


def round_the_link(line):
    """Twelve places by even shares of the length of the centreline, from its crown at the greatest x."""
    closed = np.concatenate((line, line[:1]))
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))))
    share = np.arange(PLACES) / PLACES
    return share, np.stack([np.interp(share * along[-1], along, closed[:, k]) for k in range(3)], axis=1)


def wire_in_shells(metal, sand, pour_c, flask_c):
    """Seconds to half and to 99 % solid of the wire's middle, solved in fine shells instead of voxels."""
    mould = np.cumsum(0.01 * 1.03 ** np.arange(150))
    inside = np.linspace(0, WIRE_MM / 2, 41)
    shells = radial_grid(np.concatenate((inside, inside[-1] + mould)), inside[-1], 1)
    done = freeze(shells, metal, sand, pour_c, flask_c, first_s=FIRST_S / 4, step_share=STEP_SHARE / 3)
    return float(done.half_s[0]), float(done.solid_s[0])


def web_cells(cells: Voxels, line, pitch):
    """Mould cells between the link at 0 and the next one, in the joint."""
    places = cells.places()
    places[:, 0] = np.where(places[:, 0] < 0, places[:, 0] + pitch, places[:, 0])
    mould = np.flatnonzero(cells.grid.body == MOULD)
    dense = densely(line)
    here, there = cKDTree(dense), cKDTree(dense + np.array([pitch, 0, 0]))
    near = here.query(places[mould])[0] + there.query(places[mould])[0] - WIRE_MM
    return mould[near <= WEB_MM]


def run(case: Case) -> dict:
    """Solve one case: what is written down of it."""
    began = time.process_time()
    metal, sand = used(case)
    pour_c = metal.liquidus + case.superheat_k
    cells = voxels(case.shape, case.step_mm)
    grid = cells.grid
    numbers = [k for k in (LINK, GATE, RING) if (grid.body == k).any()]
    masks = [np.flatnonzero(grid.body == k) for k in numbers]
    web = np.zeros(0, dtype=int)
    if case.shape in ("chain", "gated"):
        _, _, line, pitch = generated()
        web = web_cells(cells, line, pitch)

    def watch(t):
        solid = np.clip((metal.liquidus - t) / (metal.liquidus - metal.solidus), 0, 1)
        shares = [float(np.average(solid[m], weights=grid.store_mm3[m])) for m in masks]
        means = [float(np.average(t[m], weights=grid.store_mm3[m])) for m in masks]
        webs = [float(t[web].max()), float(np.average(t[web], weights=grid.store_mm3[web]))] if len(web) else []
        return shares + means + webs

    done = freeze(grid, metal, sand, pour_c, case.flask_c, watch=watch)
    i, j = grid.body[grid.i], grid.body[grid.j]
    whose = np.where((i == MOULD) != (j == MOULD), np.maximum(i, j), MOULD)
    result = {
        "checksum": digest(inputs(case)),
        "inputs": inputs(case),
        "cells": len(grid.body),
        "metal_mm3": {BODIES[k]: round(float(grid.store_mm3[m].sum()), 2) for k, m in zip(numbers, masks, strict=True)},
        "interface_mm2": {BODIES[k]: round(float(grid.touch_mm2[whose == k].sum()), 2) for k in numbers},
        "time_steps": done.steps,
        "matrix_products": done.solves,
        "imbalance": float(f"{done.imbalance:.2g}"),
        "processor_s": 0.0,
        "bodies": {},
    }
    places = cells.places()
    for n, (k, mine) in enumerate(zip(numbers, masks, strict=True)):
        last, first = mine[done.solid_s[mine].argmax()], mine[done.solid_s[mine].argmin()]
        result["bodies"][BODIES[k]] = {
            "half_solid_s": round(float(np.interp(0.5, done.watched_c[:, n], done.time_s)), 3),
            "solid_99_s": round(float(np.interp(0.99, done.watched_c[:, n], done.time_s)), 3),
            "first_solid_s": round(float(done.solid_s[first]), 3),
            "first_at_mm": rounded(places[first], 2),
            "last_solid_s": round(float(done.solid_s[last]), 3),
            "last_at_mm": rounded(places[last], 2),
        }
    if case.shape == "wire":
        half, solid = wire_in_shells(metal, sand, pour_c, case.flask_c)
        result["in_shells"] = {"half_solid_s": round(half, 3), "solid_99_s": round(solid, 3)}
    else:
        _, _, line, _ = generated()
        share, points = round_the_link(line)
        at = cells.at(points)
        result["round_the_link"] = [
            {"share": round(float(s), 4), "at_mm": rounded(p, 3), "half_solid_s": round(float(done.half_s[c]), 3),
             "solid_99_s": round(float(done.solid_s[c]), 3)}
            for s, p, c in zip(share, points, at, strict=True)
        ]  # fmt: skip
    b = len(numbers)
    shown = [s for s in SHOWN_S if s <= done.time_s[-1]]
    series = {"seconds": shown}
    for n, k in enumerate(numbers):
        series[f"{BODIES[k]}_mean_c"] = np.round(np.interp(shown, done.time_s, done.watched_c[:, b + n]), 1).tolist()
    if len(web):
        hottest = done.watched_c[:, 2 * b]
        result["web"] = {
            "cells": len(web),
            "peak_c": round(float(hottest.max()), 1),
            "peak_at_s": round(float(done.time_s[hottest.argmax()]), 2),
            "mean_peak_c": round(float(done.watched_c[:, 2 * b + 1].max()), 1),
        }
        for n, key in enumerate(("web_hottest_c", "web_mean_c")):
            series[key] = np.round(np.interp(shown, done.time_s, done.watched_c[:, 2 * b + n]), 1).tolist()
    result["series"] = series
    result["processor_s"] = round(time.process_time() - began, 1)
    return result


def pinned() -> dict:
    return json.loads(PINNED.read_text(encoding="utf-8")) if PINNED.exists() else {}


def written(results: dict) -> str:
    """JSON with a line for each value of a case."""
    cases = []
    for name, result in results.items():
        lines = ",\n".join(f"  {json.dumps(key)}: {json.dumps(value)}" for key, value in result.items())
        cases.append(f" {json.dumps(name)}: {{\n{lines}\n }}")
    return "{\n" + ",\n".join(cases) + "\n}\n"


def main(names: list[str]) -> None:
    for case in CASES:
        named = any(case.name.startswith(name) for name in names)
        stale = pinned().get(case.name, {}).get("checksum") != digest(inputs(case))
        if not (named if names else stale):
            continue
        result = run(case)
        known = {**pinned(), case.name: result}
        kept = {c.name: known[c.name] for c in CASES if c.name in known}
        PINNED.write_text(written(kept), encoding="utf-8")
        sys.stdout.write(f"{case.name}: {result['bodies']} {result['imbalance']} {result['processor_s']} s\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1:])
