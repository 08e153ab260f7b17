"""Hanging a body on the end link of a chain: where an end link is held, and the place there with the widest gap."""

from dataclasses import dataclass

import numpy as np

from ..solid.mesh import FloatArray, IntArray, Pose
from .clasps import Closure
from .link import SAMPLES, Link, columns, even_parameters
from .measure import Measure

# A hanging body may be swung about the end link's wire where it would otherwise meet its surroundings.
SWINGS_DEG = (0.0, 15.0, -15.0, 30.0, -30.0, 45.0, -45.0, 60.0, -60.0)
LOOK, FINER, ROUNDS = 13, 7, 2
# As near as this to the most forward place of its centreline counts as the end of a link, in wires.
LEVEL = 0.02
DRAWN_MM = 1e-6
DRAW_STEPS = 60


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """Bodies that stand already: ``kind`` (n,) among the links of ``measure``, ``rotations``, ``origins`` (n, 3)."""

    measure: Measure
    kind: IntArray
    rotations: FloatArray
    origins: FloatArray

    def joined_by(self, kind: int, pose: Pose) -> "Stand":
        """Give the same with one body more."""
        return Stand(
            self.measure,
            np.append(self.kind, kind),
            np.concatenate((self.rotations, pose.rotation[None])),
            np.concatenate((self.origins, pose.origin[None])),
        )

    def gaps(self, kind: int, rotations: FloatArray, origins: FloatArray, bodies: IntArray) -> FloatArray:
        """Give the smallest gap (m,) between a kind in m places and some of the bodies."""
        least = np.full(len(origins), np.inf)
        for body in bodies:
            back = self.rotations[body].T
            found = self.measure.gaps(
                int(self.kind[body]), kind, back @ rotations, (origins - self.origins[body]) @ back.T
            )
            least = np.minimum(least, found.gap_mm)
        return least

    def near(self, kind: int, origins: FloatArray, within_mm: float) -> IntArray:
        """Give the bodies that can come within a distance of a kind that stands at any of ``origins`` (m, 3)."""
        reach = np.array([link.reach_mm for link in self.measure.links])
        away = np.sqrt(((self.origins[:, None] - origins[None]) ** 2).sum(axis=2)).min(axis=1)
        return np.flatnonzero(away < reach[self.kind] + reach[kind] + within_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Hung:
    """Where a body hangs, the smallest gap (mm) it has there, and to which body; negative or 0 where it finds no room.

    ``body`` is -1 where nothing is near.
    """

    pose: Pose
    gap_mm: float
    body: int


def end_frame(link: Link, outward: int) -> Pose:
    """Give the place in a link's own frame where its end is held.

    ``outward`` 1 for its end towards +x, -1 for the other. The axes are outward along the chain, along the wire that
    crosses there, and square to both.
    """
    points, first, _ = link.curve(even_parameters(SAMPLES))
    forward = outward * points[:, 0]
    seat = points[forward >= forward.max() - LEVEL * link.wire_mm].mean(axis=0)
    seat[0] = outward * forward.max()
    ahead = np.array([float(outward), 0.0, 0.0])
    across = first[int(forward.argmax())] * [0.0, 1.0, 1.0]
    across = across / np.linalg.norm(across)
    return Pose(np.stack((ahead, across, np.cross(ahead, across)), axis=1), seat)


def swung(angle: FloatArray) -> FloatArray:
    """Give rotations (..., 3, 3) about the end link's wire, y, of angles (...) in radians."""
    c, s, zero, one = np.cos(angle), np.sin(angle), np.zeros_like(angle), np.ones_like(angle)
    return np.stack((columns(c, zero, s), columns(zero, one, zero), columns(-s, zero, c)), axis=-2)


def hang(
    stand: Stand,
    kind: int,
    closure: Closure,
    *,
    body: int,
    outward: int,
    clear_mm: float,
    want_mm: float,
    swings_deg: tuple[float, ...] = SWINGS_DEG,
) -> Hung:
    """Hang a closure on an end link, straight on if that leaves the wanted gap to everything, else swung aside.

    ``clear_mm`` how far it may be drawn from its seat towards contact. Where no swing has the wanted gap, gives the
    best.
    """
    link = stand.measure.links[int(stand.kind[body])]
    local = end_frame(link, outward)
    turn = stand.rotations[body] @ local.rotation
    seat = stand.rotations[body] @ local.origin + stand.origins[body]
    if turn[2, 1] < -1e-9:  # A hook opens upward, away from the plate.
        turn = turn * [1.0, -1.0, -1.0]
    best: Hung | None = None
    for angle in np.radians(swings_deg):
        found = _best_on(stand, kind, closure, turn @ swung(angle), seat, link.wire_mm, clear_mm, want_mm)
        if best is None or found.gap_mm > best.gap_mm:
            best = found
        if best.gap_mm >= want_mm:
            break
    assert best is not None
    return best


def _best_on(
    stand: Stand,
    kind: int,
    closure: Closure,
    turn: FloatArray,
    seat: FloatArray,
    wire_mm: float,
    clear_mm: float,
    want_mm: float,
) -> Hung:
    """Find the widest smallest gap along one direction, from contact with the end link inward."""
    high, low = clear_mm, -clear_mm - wire_mm
    places = np.linspace(high, low, LOOK)
    bodies = stand.near(kind, seat + (np.array([high, low])[:, None] - closure.seat_mm) * turn[:, 0], want_mm + wire_mm)

    def gaps(at: FloatArray) -> FloatArray:
        origins = seat + (at - closure.seat_mm)[:, None] * turn[:, 0]
        return stand.gaps(kind, np.broadcast_to(turn, (len(at), 3, 3)), origins, bodies)

    gap = gaps(places)
    # Only as far as it is free from the end link's wire on: beyond a blocked place lies another loop.
    free = gap > 0
    first = int(free.argmax())
    blocked = np.flatnonzero(~free[first:])
    last = first + int(blocked[0]) if free.any() and len(blocked) else LOOK
    top = first + int(gap[first:last].argmax()) if free.any() else int(gap.argmax())
    at, value, step = float(places[top]), float(gap[top]), (high - low) / (LOOK - 1)
    for _ in range(ROUNDS):
        finer = at + np.linspace(-step, step, FINER)
        found = gaps(finer)
        if found.max() > value:
            at, value = float(finer[found.argmax()]), float(found.max())
        step /= (FINER - 1) / 2
    pose = Pose(turn, seat + (at - closure.seat_mm) * turn[:, 0])
    each = [float(stand.gaps(kind, turn[None], pose.origin[None], np.array([b]))[0]) for b in bodies]
    return Hung(pose, value, int(bodies[int(np.argmin(each))]) if each else -1)


def drawn_to_contact(measure: Measure, link: int, kind: int, closure: Closure, outward: int) -> float:
    """Give the place on the x axis of the end link's seat frame where a closure's seat is when drawn to contact, in mm.

    It is moved outward from its seat by the gap itself again and again, so that no contact is jumped; at most half a
    tenth of a wire in, where even the seat is not free.
    """
    local = end_frame(measure.links[link], outward)
    at = 0.0
    for _ in range(DRAW_STEPS):
        origin = local.origin + (at - closure.seat_mm) * local.rotation[:, 0]
        gap = float(measure.gaps(link, kind, local.rotation[None], origin[None]).gap_mm[0])
        at += gap
        if abs(gap) < DRAWN_MM:
            break
    return at
