"""The upper ring: a hoop above the chain that dips to the heads of the posts which carry it.

Where a post stands between two gates the hoop dips to it: from there its underside rises more steeply than the overhang
limit, so it carries itself, and only the level crown between two dips is a bridge.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from ..base.profile import Profile
from ..inspect.finding import Finding
from ..solid.mesh import FloatArray
from .course import Course
from .gates import Gate
from .lattice import Lattice, LatticeSolid, Strut, place
from .rods import hoop
from .sections import ROUND
from .sizes import Sizes

# Where a leaning post meets the hoop, its metal holds up this share of its diameter of the hoop's lowest line.
HELD = 0.6
# Half the level bottom of a dip, as a share of the hoop's radius: two mitres of 35 degrees find room on it.
BOTTOM = 0.4
# Spans are known this well: lengths along a course are read off a table, and the hoop is drawn straight from point to
# point.
SPAN_MM = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """An upper ring on k posts: ``course`` of its axis but for the dips, ``posts`` (k, 4, 3) lines, foot first.

    At the post ``at_mm`` (k,) along the course the hoop lies ``dip_mm`` (k,) lower: it is level for ``bottom_mm`` to
    either side, and reaches the course again over ``dip_mm / slope`` (k,).
    """

    course: Course
    posts: FloatArray
    at_mm: FloatArray
    dip_mm: FloatArray
    slope: FloatArray
    bottom_mm: float

    def depth(self, walked_mm: FloatArray) -> FloatArray:
        """Give how far the hoop's axis lies under its course at lengths walked (n,)."""
        deepest = np.zeros(len(walked_mm))
        for at, dip, slope in zip(self.at_mm, self.dip_mm, self.slope, strict=True):
            if dip == 0.0:
                continue
            run = dip / slope
            off = along(self.course, at, walked_mm)
            near = np.flatnonzero(np.abs(off) < self.bottom_mm + run)
            flank = np.maximum(np.abs(off[near]) - self.bottom_mm, 0.0) / run
            # The bottom of a dip is level where its course climbs, so that its lowest place is at the post.
            level = self.course.at(at + np.clip(off[near], -self.bottom_mm, self.bottom_mm))[:, 2]
            climb = level - self.course.at(np.array([at]))[0, 2]
            deepest[near] = np.maximum(deepest[near], (dip + climb) * (1.0 - flank))
        return deepest

    def line(self) -> FloatArray:
        """Give the hoop's axis as points (m, 3), every bend of a dip among them, true to the chord tolerance."""
        _, even = self.course.sampled(over_mm=0.0)
        dips = np.flatnonzero(self.dip_mm > 0.0)
        if not len(dips):
            return self._at(even)
        step, whole = float(even[1] - even[0]), self.course.length_mm
        half = np.stack((np.full(len(dips), self.bottom_mm), self.bottom_mm + self.dip_mm[dips] / self.slope[dips]))
        bends = np.concatenate((self.at_mm[dips] - half, self.at_mm[dips] + half)).ravel()
        if self.course.closed:
            bends = np.unique(np.mod(bends, whole))
            bends = np.append(bends, bends[0] + whole)
        else:
            inside = bends[(bends > self.bottom_mm - 1e-6) & (bends < whole - self.bottom_mm + 1e-6)]
            bends = np.unique(np.concatenate(([0.0, whole], inside)))
        # Pieces stay longer than the mitres at their ends.
        count = np.minimum(np.ceil(np.diff(bends) / step), np.floor(np.diff(bends) / self.bottom_mm))
        walked = [
            np.linspace(a, b, max(1, int(n)), endpoint=False)
            for (a, b), n in zip(pairwise(bends), count, strict=True)
        ]  # fmt: skip
        return self._at(np.concatenate(walked if self.course.closed else [*walked, [whole]]))

    def _at(self, walked_mm: FloatArray) -> FloatArray:
        points = np.array(self.course.at(walked_mm))
        points[:, 2] -= self.depth(walked_mm)
        return points

    def hung(self, gates: tuple[Gate, ...]) -> tuple[Gate, ...]:
        """Give the gates of this ring with their feet cut back to its axis."""
        if not gates:
            return ()
        low = self.depth(hang_from(self.course, gates))
        return tuple(_cut_back(gate, float(mm)) for gate, mm in zip(gates, low, strict=True))


def along(course: Course, start: FloatArray, walked_mm: FloatArray) -> FloatArray:
    """Give how far lengths walked (...) lie beyond a start, negative before it, the short way round a closed course."""
    off = walked_mm - start
    if course.closed:
        off = np.mod(off + course.length_mm / 2, course.length_mm) - course.length_mm / 2
    return np.asarray(off)


def hang_from(course: Course, gates: tuple[Gate, ...]) -> FloatArray:
    """Give where along a ring's course gates begin, (g,)."""
    return course.nearest(np.array([g.points[0] for g in gates]), course.at_mm[[g.body for g in gates]])


def upper_hoop(carried: Carried, sizes: Sizes) -> LatticeSolid:
    """Draw the upper ring along its course and down to its posts."""
    line, closed = carried.line(), carried.course.closed
    ends = np.roll(line, -1, axis=0) if closed else line[1:]
    d = sizes.upper_ring_mm
    struts = tuple(Strut("upper", place(a), place(b), d, d) for a, b in zip(line, ends, strict=False))
    return LatticeSolid("upper", hoop(line, d, closed=closed), struts, ROUND.modulus_mm(d), above=True)


def span_findings(lattice: Lattice, profile: Profile) -> list[Finding]:
    """Find where the upper ring spans more between neighbouring posts than the bridge limit.

    Stretches that rise from a post more steeply than the overhang limit carry themselves and do not count.
    """
    posts = [s for s in lattice.solids if s.role == "post"]
    tops = np.array([s.struts[-1].end for s in posts]).reshape(-1, 3)
    held = HELD * min((s.struts[-1].d_end_mm for s in posts), default=0.0)
    found = []
    for upper in (s for s in lattice.solids if s.role == "upper"):
        line = np.array([s.start for s in upper.struts] + [upper.struts[-1].end])
        at = _heads(line, tops, upper.struts[0].d_start_mm / 2)
        span, middle = max(_bridges(line, at, held, profile.overhang_deg), key=lambda row: row[0])
        if span > profile.bridge_mm + SPAN_MM:
            found.append(
                Finding(
                    "bridge",
                    "warn",
                    (),
                    f"the upper ring spans {span:.1f} mm between posts, {profile.bridge_mm:g} mm is the limit; set a "
                    "post there or leave more room for one",
                    at=place(middle),
                    value=span,
                    limit=profile.bridge_mm,
                )
            )
    return found


def _heads(line: FloatArray, tops: FloatArray, radius_mm: float) -> FloatArray:
    """Give where along a hoop's axis (m, 3) posts end in its metal, rising, by their tops (k, 3)."""
    if not len(tops):
        return np.zeros(0)
    step = np.diff(line, axis=0)
    length = np.linalg.norm(step, axis=1)
    share = ((tops[:, None] - line[None, :-1]) * step).sum(axis=2) / length**2
    share = np.clip(share, 0.0, 1.0)
    away = np.linalg.norm(tops[:, None] - line[None, :-1] - share[..., None] * step, axis=2)
    row, piece = np.arange(len(tops)), away.argmin(axis=1)
    at = (np.cumsum(length) - length)[piece] + share[row, piece] * length[piece]
    return np.asarray(np.unique(at[away[row, piece] <= radius_mm]))


def _bridges(line: FloatArray, at: FloatArray, held_mm: float, overhang_deg: float) -> list[tuple[float, FloatArray]]:
    """Give what each stretch of a hoop (m, 3) between posts at ``at`` (k,) bridges, and a place in its middle."""
    walked = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
    whole = float(walked[-1])
    if not len(at):
        level = np.linalg.norm(np.diff(line[:, :2], axis=0), axis=1)
        return [(float(level.sum()), line[0])]
    if np.linalg.norm(line[0] - line[-1]) < 1e-6:
        stretches = [(a, b, held_mm) for a, b in pairwise([*at.tolist(), float(at[0]) + whole])]
        walked, line = np.concatenate((walked, walked[1:] + whole)), np.concatenate((line, line[1:]))
    else:
        inner = [(a, b, held_mm) for a, b in pairwise(at.tolist())]
        stretches = [(0.0, float(at[0]), held_mm / 2), *inner, (float(at[-1]), whole, held_mm / 2)]
    found = []
    for begin, end, held in stretches:
        knots = np.concatenate(([begin], walked[(walked > begin) & (walked < end)], [end]))
        points = np.stack([np.interp(knots, walked, x) for x in line.T], axis=1)
        level = np.linalg.norm(np.diff(points[:, :2], axis=0), axis=1)
        rise = np.diff(points[:, 2])
        # From the highest place on the metal is carried from the far post.
        rise[int(points[:, 2].argmax()) :] *= -1.0
        bridged = level[rise < np.tan(np.radians(overhang_deg)) * level]
        middle = np.array([np.interp((begin + end) / 2, walked, x) for x in line.T])
        found.append((float(bridged.sum()) - held, middle))
    return found


def _cut_back(gate: Gate, low_mm: float) -> Gate:
    """Begin a gate ``low_mm`` further down along its first piece."""
    fall = float(gate.points[0, 2] - gate.points[1, 2])
    if not 0.0 < low_mm < fall:
        return gate
    points = gate.points.copy()
    points[0] += low_mm / fall * (points[1] - points[0])
    short = float(np.linalg.norm(points[0] - gate.points[0]))
    return replace(gate, points=points, clear_mm=gate.clear_mm - short)
