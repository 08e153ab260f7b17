"""The line a feed ring or runner follows: the chain's own path, seen from above or carried to a height."""

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput, CannotBuild
from ..solid.curves import Spline, spline
from ..solid.mesh import Body, FloatArray, IntArray
from .sections import CHORD_MM

BoolArray = npt.NDArray[np.bool_]

# Feet are looked for this many places to either side of a link's own, then ever finer.
LOOK = 24
ROUNDS = 4
FINEST_MM, COARSEST_MM = 0.25, 4.0
# Bodies nearer to each other than this along the path stand at one station of the chain, side by side.
SAME_MM = 1e-6
# A chain that comes to lie over itself for so many pitches goes along itself, and so does the end of an open one; in
# between, for fewer, it crosses itself.
ALONG = 3.0
# A link stands over those that it overhangs, seen from above: so many pitches beside its place.
OVERHANG = 1.1
# A course whose ends come this near, in pitches, closes to a ring if its ends head the same way by this cosine.
CLOSE, SAME_WAY = 2.5, 0.5


class Route(Protocol):
    """The path of a chain as the feed needs it: places of bodies (n, 3) in order, their axes (n, 3, 3), closed or not.

    Bodies side by side have the same place.
    """

    @property
    def origins(self) -> FloatArray: ...  # noqa: D102

    @property
    def rotations(self) -> FloatArray: ...  # noqa: D102

    @property
    def closed(self) -> bool: ...  # noqa: D102


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A smooth line in space that passes over or under every link.

    ``line`` goes through one place per station; ``at_mm`` (n,) is the length walked to that of each body. ``closed``
    joins its ends. Where the chain lies over itself the line follows it once: bodies that are ``over`` (n,) stand
    above other turns, and ``at_mm`` is the nearest place. ``crosses`` tells that the chain passes over itself at all.
    """

    line: Spline
    at_mm: FloatArray
    closed: bool
    over: BoolArray
    crosses: bool = False

    @property
    def length_mm(self) -> float:
        """Give the length of the line from the first link to the last, or once round."""
        return self.line.length_mm

    @property
    def pitch_mm(self) -> float:
        """Give the mean length between neighbouring stations."""
        stations = len(np.unique(self.at_mm[~self.over]))
        return self.length_mm / (stations if self.closed else max(1, stations - 1))

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give places (..., 3) at lengths walked (...); an open line goes straight on beyond its ends."""
        return self.line.at(walked_mm)

    def ahead(self, walked_mm: FloatArray) -> FloatArray:
        """Give unit tangents (..., 3) at lengths walked (...)."""
        step = self.at(walked_mm + 0.01) - self.at(walked_mm - 0.01)
        return np.asarray(step / np.linalg.norm(step, axis=-1, keepdims=True))

    def nearest(self, points: FloatArray, near_mm: FloatArray) -> FloatArray:
        """Give the length walked to the place straight above or below each point (c, 3), within reach of ``near_mm``.

        Open lines are not left: feet stay between the first link and the last.
        """
        walked = np.array(near_mm, dtype=np.float64)
        reach = 1.5 * self.pitch_mm
        for _ in range(ROUNDS):
            tried = walked[:, None] + np.linspace(-reach, reach, 2 * LOOK + 1)
            if not self.closed:
                tried = np.clip(tried, 0.0, self.length_mm)
            away = self.at(tried)[..., :2] - points[:, None, :2]
            pick = (away**2).sum(axis=2).argmin(axis=1)
            walked = tried[np.arange(len(tried)), pick]
            reach /= LOOK / 2
        return walked

    def sampled(self, over_mm: float) -> tuple[FloatArray, FloatArray]:
        """Give places (k, 3) along the line that keep the chord tolerance, and their lengths walked (k,).

        An open line is drawn ``over_mm`` beyond its first and last link.
        """
        fine = np.linspace(0.0, self.length_mm, max(64, min(20_000, int(self.length_mm / 0.25))))
        bend = self.bends(fine).max()
        step = float(np.clip(np.sqrt(8 * CHORD_MM / max(bend, 1e-9)), FINEST_MM, COARSEST_MM))
        if self.closed:
            count = max(24, int(np.ceil(self.length_mm / step)))
            walked = np.arange(count) * (self.length_mm / count)
        else:
            whole = self.length_mm + 2 * over_mm
            walked = np.linspace(-over_mm, self.length_mm + over_mm, max(2, int(np.ceil(whole / step)) + 1))
        return self.at(walked), walked

    def bends(self, walked_mm: FloatArray) -> FloatArray:
        """Give the curvature in 1/mm at lengths walked (m,)."""
        h = min(0.5, self.length_mm / 50)
        a, b, c = self.at(walked_mm - h), self.at(walked_mm), self.at(walked_mm + h)
        turn = np.linalg.norm(a - 2 * b + c, axis=1)
        return np.asarray(turn / h**2)


def plan_course(bodies: tuple[Body, ...], path: Route, *, apart_mm: float = 0.0) -> Course:
    """Lay a course on the plate, z = 0, under a chain's path.

    Two stretches of it nearer than ``apart_mm`` to each other, seen from above, cannot lie side by side: where the
    chain goes along above itself, the course follows the lowest stretch only. Raises BadInput when path and bodies do
    not belong together, CannotBuild when the chain stands over one place.
    """
    if len(path.origins) != len(bodies):
        raise BadInput(
            f"lattice: the path has {len(path.origins)} places for {len(bodies)} bodies; give one place per body"
        )
    flat = path.origins * [1.0, 1.0, 0.0]
    apart = np.linalg.norm(np.diff(path.origins, axis=0), axis=1)
    if not (apart > SAME_MM).any():
        ahead = path.rotations[0, :, 0] * [1.0, 1.0, 0.0]
        length = float(np.linalg.norm(ahead))
        ahead = ahead / length if length > 1e-6 else np.array([1.0, 0.0, 0.0])
        line = spline(np.stack((flat[0] - 2 * ahead, flat[0] + 2 * ahead)), cyclic=False, where="lattice: path")
        return Course(line, np.full(len(flat), line.length_mm / 2), False, np.zeros(len(flat), dtype=bool))
    step = np.linalg.norm(np.diff(flat, axis=0), axis=1)
    share = np.where(apart > SAME_MM, step / np.maximum(apart, SAME_MM), 1.0)
    if (share < 0.2).any():
        worst = int(share.argmin())
        raise CannotBuild(
            f"lattice: between {bodies[worst].name} and {bodies[worst + 1].name} the chain climbs nearly straight "
            "up, so no ring on the plate can follow it; lay the chain flatter"
        )
    above = _above_itself(path.origins, max(apart_mm, OVERHANG * float(np.median(apart[apart > SAME_MM]))), apart_mm)
    over = _along(above, path.origins, closed=path.closed)
    if over.any():
        return _once(flat, over, closed=path.closed)
    course = through(flat, closed=path.closed and len(np.unique(_stations(flat, closed=path.closed))) > 2)
    return replace(course, crosses=bool(above.any()))


def _above_itself(places: FloatArray, beside_mm: float, higher_mm: float) -> BoolArray:
    """Tell which places (n, 3) of a path stand over another stretch of it: nearer than ``beside_mm`` seen from above.

    What is less than ``higher_mm`` higher lies beside it; with 0 nothing stands over anything.
    """
    above = np.zeros(len(places), dtype=bool)
    if higher_mm <= 0.0:
        return above
    start, way = places[:-1], np.diff(places, axis=0)
    square = np.maximum((way[:, :2] ** 2).sum(axis=1), SAME_MM**2)
    for k, place in enumerate(places):
        away = place - start
        t = np.clip((away[:, :2] * way[:, :2]).sum(axis=1) / square, 0.0, 1.0)
        gap = away - t[:, None] * way
        above[k] = bool(((np.hypot(gap[:, 0], gap[:, 1]) < beside_mm) & (gap[:, 2] > higher_mm)).any())
    return above


def _along(above: BoolArray, places: FloatArray, *, closed: bool) -> BoolArray:
    """Keep of the places above others those of long runs: a short one crosses what it passes over."""
    step = np.linalg.norm(np.diff(places, axis=0), axis=1)
    walked = np.concatenate(([0.0], np.cumsum(step)))
    long = ALONG * float(np.median(step[step > SAME_MM]))
    kept = np.zeros(len(above), dtype=bool)
    for run in _runs(above, closed=closed):
        length = walked[run[-1]] - walked[run[0]]
        if closed and run[-1] < run[0]:
            length += walked[-1]
        at_end = not closed and (run[0] == 0 or run[-1] == len(above) - 1)
        kept[run] = at_end or length >= long
    return kept


def _runs(wanted: BoolArray, *, closed: bool) -> list[IntArray]:
    """Give the runs of neighbouring places where ``wanted`` (n,) holds, as rows in order; round the end if closed."""
    rows = np.flatnonzero(wanted)
    if not len(rows):
        return []
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    if closed and len(runs) > 1 and runs[0][0] == 0 and runs[-1][-1] == len(wanted) - 1:
        runs = [np.concatenate((runs[-1], runs[0])), *runs[1:-1]]
    return runs


def _once(flat: FloatArray, over: BoolArray, *, closed: bool) -> Course:
    """Lay a course under the longest run of places (n, 3) that are not over others; it closes where its ends meet."""
    run = max(_runs(~over, closed=closed), key=len)
    if len(run) < 2:
        raise CannotBuild(
            "lattice: the chain lies over itself everywhere, so no ring on the plate can follow it; lay it out as a "
            "coil or a spiral"
        )
    places = flat[run]
    closes = False
    if len(places) > 3:
        step = np.diff(places, axis=0)
        pitch = float(np.linalg.norm(step, axis=1).max())
        across = places[0] - places[-1]
        ahead = [v / max(float(np.linalg.norm(v)), SAME_MM) for v in (step[-1], across, step[0])]
        near = 0.0 < float(np.linalg.norm(across)) < CLOSE * pitch
        closes = near and min(float(ahead[0] @ ahead[1]), float(ahead[1] @ ahead[2])) > SAME_WAY
    course = through(places, closed=closes)
    left = np.ones(len(flat), dtype=bool)
    left[run] = False
    at = np.empty(len(flat))
    at[run] = course.at_mm
    drawn, walked = course.sampled(over_mm=0.0)
    rows = np.flatnonzero(left)
    away = np.linalg.norm(drawn[None, :, :2] - flat[rows, None, :2], axis=2)
    at[rows] = course.nearest(flat[rows], walked[away.argmin(axis=1)])
    if closes:
        at[rows] = np.mod(at[rows], course.length_mm)
    return Course(course.line, at, closes, left, crosses=True)


def through(places: FloatArray, *, closed: bool) -> Course:
    """Lay a course through places (n, 3); where bodies stand side by side, through the middle of their heights."""
    station = _stations(places, closed=closed)
    many = np.bincount(station)
    middle = np.stack([np.bincount(station, weights=x) / many for x in places.T], axis=1)
    line = spline(middle, cyclic=closed, where="lattice: path")
    at = np.interp(np.arange(len(middle)), line.knots, line.lengths)
    return Course(line, at[station], closed, np.zeros(len(places), dtype=bool))


def _stations(places: FloatArray, *, closed: bool) -> IntArray:
    """Give the number of the station each place stands at (n,): neighbours at one spot, seen from above, share one."""
    step = np.linalg.norm(np.diff(places[:, :2], axis=0), axis=1)
    station = np.concatenate(([0], np.cumsum(step > SAME_MM)))
    if closed and np.linalg.norm(places[-1, :2] - places[0, :2]) <= SAME_MM:
        station[station == station[-1]] = 0
    return np.asarray(station, dtype=np.int64)
