"""Small chains of our own for the lattice's tests, as the planner gets them."""

from dataclasses import dataclass

import numpy as np
import pytest

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.spec import FeedSpec
from addon.rules.solid.mesh import Body, Mesh, Pose, Wire

BENCH = load_profile("bench")


@dataclass(frozen=True)
class Way:
    origins: np.ndarray
    rotations: np.ndarray
    closed: bool


def curb(a, b, t):
    w = np.pi / 4 * np.cos(t)
    return np.stack((a * np.cos(t), b * np.sin(t) * np.cos(w), b * np.sin(t) * np.sin(w)), axis=1)


def oval(a, b, t):
    return np.stack((a * np.cos(t), b * np.sin(t), 0 * t), axis=1)


def tube(line, radius, around=16):
    """A round tube along a closed line; its section is inscribed, so it lies inside the wire but at tight bends."""
    ahead = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    side = np.cross(ahead, [0.0, 0, 1]) + 1e-3
    side -= (side * ahead).sum(axis=1, keepdims=True) * ahead
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(ahead, side)
    angle = np.arange(around) * 2 * np.pi / around
    points = line[:, None] + radius * (np.cos(angle)[:, None] * side[:, None] + np.sin(angle)[:, None] * up[:, None])
    n = len(line)
    here = np.arange(n)[:, None] * around
    there = np.roll(here, -1, axis=0)
    now = np.arange(around)[None]
    then = np.roll(now, -1, axis=1)
    a, b, c, d = here + now, here + then, there + then, there + now
    return Mesh(points.reshape(-1, 3), np.stack((a, b, c, a, c, d), axis=-1).reshape(-1, 3).astype(np.int64))


def link(family="curb", wire=2.2, length=12.2, width=9.7, samples=96):
    t = np.arange(samples) * 2 * np.pi / samples
    draw = curb if family == "curb" else oval
    line = draw((length - wire) / 2, (width - wire) / 2, t)
    return tube(line, wire / 2), Wire(line, wire / 2)


def ring_way(links, pitch):
    angle = np.arange(links) * 2 * np.pi / links
    radius = pitch / 2 / np.sin(np.pi / links)
    c, s, o = np.cos(angle), np.sin(angle), np.zeros(links)
    ahead, face = np.stack((-s, c, o), axis=1), np.stack((c, s, o), axis=1)
    up = np.broadcast_to([0.0, 0, 1], face.shape)
    return Way(radius * face, np.stack((ahead, up, face), axis=2), closed=True)


def curve_way(points, closed=False):
    """Links at given places, turned along the line through them, face out."""
    p = np.asarray(points, dtype=float)
    step = np.roll(p, -1, axis=0) - np.roll(p, 1, axis=0) if closed else np.gradient(p, axis=0)
    ahead = step / np.linalg.norm(step, axis=1, keepdims=True)
    up = np.array([0.0, 0, 1]) - ahead[:, 2:] * ahead
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    return Way(p, np.stack((ahead, up, np.cross(ahead, up)), axis=2), closed)


def straight_way(links, pitch):
    return curve_way(np.stack((np.arange(links) * pitch, np.zeros(links), np.zeros(links)), axis=1))


def chain(way, family="curb", *, drawn=True, **sizes):
    mesh, wire = link(family, **sizes)
    bodies = []
    for k, (origin, rotation) in enumerate(zip(way.origins, way.rotations, strict=True)):
        turn = 0.0 if family == "curb" else np.pi / 4 * (1 if k % 2 else -1)
        c, s = np.cos(turn), np.sin(turn)
        roll = np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]])
        bodies.append(Body(f"link {k + 1}", mesh, Pose(rotation @ roll, origin), wire if drawn else None))
    return tuple(bodies)


def planned(bodies, way, profile=BENCH, **spec) -> Lattice:
    return finish(plan_lattice(bodies, way, profile, FeedSpec(**spec)))


def codes(findings, severity=None):
    return [f.code for f in findings if severity is None or f.severity == severity]


def outside_boolean():
    """Give the boolean of a general solid library, as the joining takes it."""
    manifold3d = pytest.importorskip("manifold3d")

    def solid(mesh):
        return manifold3d.Manifold(manifold3d.Mesh64(mesh.points, mesh.triangles.astype(np.uint64)))

    def boolean(op, a, b):
        out = {"union": lambda x, y: x + y, "difference": lambda x, y: x - y, "intersect": lambda x, y: x ^ y}[op](
            solid(a), solid(b)
        ).to_mesh64()
        return Mesh(np.array(out.vert_properties)[:, :3], np.array(out.tri_verts, dtype=np.int64))

    return boolean
