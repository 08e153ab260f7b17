"""Second starts: further gates for links that one set of gates leaves unsteady in print or too far from their feed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.progress import Steps
from ..solid.mesh import Body, FloatArray
from .anchors import Anchors
from .lattice import Lattice
from .reach import Thickness, feed_distance_mm, gates_of, walked
from .sides import Job
from .steadiness import STEADY_SHARE, Column, Sliced, columns_of
from .tries import Hold

# A second start this many half thicknesses from a gate does what that gate does.
APART = 3.0
# A place is worth a gate that brings the worst of both shares down by this factor at least.
WORTH = 0.9


@dataclass(frozen=True, slots=True)
class Limits:
    """What every body must keep: ``gap_mm`` of the print, of which it may sway a share, ``wire_mm`` of the job."""

    gap_mm: float
    wire_mm: Thickness


@dataclass(frozen=True, slots=True)
class Lack:
    """How many times over its limit a body is: the way of its metal, and its sway in print."""

    way: float
    sway: float

    @property
    def worst(self) -> float:
        """Give the worse of both."""
        return max(self.way, self.sway)


def lacking(job: Job, slices: Sequence[Sliced], lattice: Lattice, limits: Limits) -> dict[int, Lack]:
    """Give the bodies that have a gate and still lack one, with what they lack."""
    lacks = {k: need.now() for k, need in _needs(job, slices, lattice, limits)}
    return {k: lack for k, lack in lacks.items() if lack.worst > 1.0}


def second_starts(job: Job, slices: Sequence[Sliced], lattice: Lattice, limits: Limits) -> Steps[tuple[Hold, ...]]:
    """Choose for each body that lacks one where a further gate helps most, other places behind it.

    A place is judged by what it leaves: the sway against its limit, the way of the metal against the feed distance,
    the worse of the two.
    """
    found = []
    for k, need in _needs(job, slices, lattice, limits):
        yield 0.5
        now = need.now().worst
        if now <= 1.0:
            continue
        anchors = job.low[k]
        away = np.linalg.norm(anchors.points[:, None] - need.ends[None], axis=2).min(axis=1)
        rows = np.flatnonzero(away >= APART * anchors.half_mm)
        left = np.array([need.after(anchors, int(row)).worst for row in rows])
        good = left < WORTH * now
        if good.any():
            order = rows[good][np.lexsort((rows[good], np.round(left[good], 2)))]
            found.append(Hold(k, anchors, order, float(job.base.at_mm[k])))
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class _Need:
    """One body with its gates' ends (k, 3), the columns under it, and what it must keep.

    ``way_mm`` (n,) is how far each point of its metal lies from its nearest gate.
    """

    body: Body
    slices: Sliced
    ends: FloatArray
    columns: tuple[Column, ...]
    way_mm: FloatArray
    limit_mm: float
    sway_limit_mm: float
    peel_kpa: float

    def now(self) -> Lack:
        return self._lack(self.way_mm, self.columns)

    def after(self, anchors: Anchors, row: int) -> Lack:
        """Give what is lacking with a gate like the first at an anchor too."""
        place = anchors.points[row]
        way = np.minimum(self.way_mm, walked(self.body, place[None])[1][:, 0])
        further = [replace(one, top=place) for one in self.columns[:1]]
        return self._lack(way, (*self.columns, *further))

    def _lack(self, way_mm: FloatArray, columns: tuple[Column, ...]) -> Lack:
        sway = self.slices.sway_mm(columns, self.peel_kpa) / self.sway_limit_mm if columns else 0.0
        return Lack(float(way_mm.max()) / self.limit_mm, sway)


def _needs(job: Job, slices: Sequence[Sliced], lattice: Lattice, limits: Limits) -> list[tuple[int, _Need]]:
    columns = columns_of(lattice)
    needs = []
    for k, (body, gates) in enumerate(zip(job.bodies, gates_of(job.bodies, lattice), strict=True)):
        if not gates:
            continue
        ends = np.array([gate.end for gate in gates])
        need = _Need(
            body,
            slices[k],
            ends,
            tuple(columns.get(body.name, ())),
            walked(body, ends)[1].min(axis=1),
            feed_distance_mm(body, job.profile, limits.wire_mm),
            STEADY_SHARE * limits.gap_mm,
            job.profile.peel_pressure_kpa,
        )
        needs.append((k, need))
    return needs
