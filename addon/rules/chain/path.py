"""Where the stations of a chain are: along a line, on a ring, or at given chords along any curve."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import FloatArray
from .frames import rotation_minimising

CHORD_MM = 1e-9
ROUNDS = 200
# Where a station's two neighbours lie this much nearer together than they would in line, it has no direction.
BACK_SHARE = 0.05
UP = np.array([0.0, 0.0, 1.0])


class Way(Protocol):
    """A curve that can be walked. ``at`` gives places (..., 3) mm at lengths walked (...), also beyond its ends."""

    @property
    def cyclic(self) -> bool:
        """Tell whether it leads back to its start."""

    @property
    def length_mm(self) -> float:
        """Give its length."""

    def at(self, walked_mm: FloatArray) -> FloatArray:
        """Give the places (..., 3) at lengths walked (...) from its start."""


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """The place of each station before a link's own roll: ``origins`` (s, 3) mm, ``rotations`` (s, 3, 3).

    The columns of a rotation are the link's axes: along the chain, across the width, normal of the face.
    """

    origins: FloatArray
    rotations: FloatArray
    closed: bool


def straight(chords_mm: FloatArray, face: str) -> Path:
    """Stand stations along x with ``chords_mm`` (s - 1,) between them, centred on the origin, running in +x."""
    stations = len(chords_mm) + 1
    walked = np.concatenate(([0.0], np.cumsum(chords_mm)))
    origins = np.zeros((stations, 3))
    origins[:, 0] = walked - walked[-1] / 2
    ahead = np.broadcast_to([1.0, 0.0, 0.0], (stations, 3))
    return Path(origins, _axes(ahead, np.broadcast_to(UP, (stations, 3)), face), closed=False)


def ring(chords_mm: FloatArray, face: str) -> Path:
    """Stand stations on a circle about the z axis, anticlockwise from +x, ``chords_mm`` (s,) from each to the next.

    Every station looks along the circle; the face looks outward, or up when flat. Raises CannotBuild like
    `ring_radius`.
    """
    radius = ring_radius(chords_mm)
    stations = len(chords_mm)
    turns = 2 * np.arcsin(np.minimum(np.asarray(chords_mm) / (2 * radius), 1.0))
    angle = np.concatenate(([0.0], np.cumsum(turns[:-1])))
    c, s, level = np.cos(angle), np.sin(angle), np.zeros(stations)
    origins = radius * np.stack((c, s, level), axis=1)
    ahead = np.stack((-s, c, level), axis=1)
    return Path(origins, _axes(ahead, np.broadcast_to(UP, (stations, 3)), face), closed=True)


def ring_radius(chords_mm: FloatArray) -> float:
    """Give the radius in mm of the circle on which chords (s,) laid end to end close once round.

    Newton steps on the sum of their angles, 2 asin(chord / 2R), which is convex in the radius: from the inside they
    close in on the root. Raises CannotBuild where one chord is too long to close with the others.
    """
    half = np.asarray(chords_mm, dtype=np.float64) / 2
    longest = float(half.max())
    least = longest * (1 + 1e-12)
    if np.arcsin(np.minimum(half / least, 1.0)).sum() < np.pi:
        raise CannotBuild(
            f"layout.links: the other links of this ring do not reach round a seam of {2 * longest:.1f} mm; "
            "take more links, or a shorter closure"
        )
    return _closing_radius(half, longest)


def along(way: Way, walked_mm: FloatArray, face: str, *, upright: bool = False) -> Path:
    """Stand stations at given lengths (s,) along a curve.

    A station looks along the circle through its neighbours and itself (at equal chords: along the line from one
    neighbour to the other); the first and last of an open chain lean away from their only joint as much as the link
    across it does, as if the bend went on. The upright (face out) or the face normal (flat) starts as near to +z as
    the first station allows and is carried along by rotation-minimising frames; what is left over where a closed
    curve meets itself is spread over all joints. ``upright`` keeps it as near to +z as each station allows instead.
    Raises CannotBuild where the way turns straight back.
    """
    origins = way.at(walked_mm)
    ahead = _ahead(origins, closed=way.cyclic)
    if upright:
        ups = np.asarray(UP - (ahead @ UP)[:, None] * ahead)
        ups /= np.linalg.norm(ups, axis=1)[:, None]
    else:
        # A half turn about its axis carries a link into itself, so no more than a quarter turn is ever left over.
        ups = rotation_minimising(origins, ahead, _upright(ahead[0]), closed=way.cyclic, period=np.pi)
    return Path(origins, _axes(ahead, ups, face), closed=way.cyclic)


def outward(points: FloatArray) -> bool:
    """Tell whether a closed row of points runs anticlockwise seen from above, so that faces look out of it."""
    x, y = points[:, 0], points[:, 1]
    return bool((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() >= 0)


def bends_rad(path: Path) -> FloatArray:
    """Give the turn (j, 3) from each station to the next as axis times angle in radians, in the frame of the first.

    Its parts: twist, bend over the face, bend edgewise. j is s on a closed path, else s - 1.
    """
    before = path.rotations if path.closed else path.rotations[:-1]
    after = np.roll(path.rotations, -1, axis=0) if path.closed else path.rotations[1:]
    turn = np.einsum("nij,nik->njk", before, after)
    axis = np.stack(
        (turn[:, 2, 1] - turn[:, 1, 2], turn[:, 0, 2] - turn[:, 2, 0], turn[:, 1, 0] - turn[:, 0, 1]), axis=1
    )
    sine = np.linalg.norm(axis, axis=1) / 2
    angle = np.arctan2(sine, (np.trace(turn, axis1=1, axis2=2) - 1) / 2)
    return np.asarray(axis / 2 * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-300), 1.0)[:, None])


def chords_closed(way: Way, shares: FloatArray, fixed_mm: FloatArray | float = 0.0) -> tuple[FloatArray, float]:
    """Find lengths (s,) on a closed curve at which each chord is its share (s,) times a scale, plus ``fixed_mm`` (s,).

    Gives the lengths and the scale. Each round stretches every step by how much its chord falls short: the ratio of arc
    to chord hardly depends on where exactly the step lies. Raises CannotBuild where it will not settle: the curve
    doubles back within a link, or is shorter than the fixed chords.
    """
    shares = np.asarray(shares, dtype=np.float64)
    fixed = np.broadcast_to(fixed_mm, shares.shape)
    ratio = np.ones_like(shares)
    scale = 0.0
    for _ in range(ROUNDS):
        scale = float((way.length_mm - ratio @ fixed) / (ratio @ shares))
        if scale <= 0:
            raise CannotBuild(
                f"layout.points: the curve is {way.length_mm:.1f} mm long, too short for its seam of "
                f"{float(fixed.max()):.1f} mm; draw it longer"
            )
        wanted = scale * shares + fixed
        walked = np.concatenate(([0.0], np.cumsum((ratio * wanted)[:-1])))
        places = way.at(walked)
        chord = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
        if float(np.abs(chord - wanted).max()) < CHORD_MM:
            return walked, scale
        ratio = ratio * wanted / np.maximum(chord, 1e-9)
    raise _unsettled(places[int(ratio.argmax())])


def chords_open(way: Way, start_mm: float, chords_mm: FloatArray) -> FloatArray:
    """Find lengths (s,) along a curve from ``start_mm`` on with ``chords_mm`` (s - 1,) from each to the next.

    Raises CannotBuild like `chords_closed`.
    """
    chords_mm = np.asarray(chords_mm, dtype=np.float64)
    step = chords_mm.copy()
    off = chords_mm
    for _ in range(ROUNDS):
        walked = start_mm + np.concatenate(([0.0], np.cumsum(step)))
        places = way.at(walked)
        chord = np.linalg.norm(np.diff(places, axis=0), axis=1)
        off = np.abs(chord - chords_mm)
        if not len(chord) or float(off.max()) < CHORD_MM:
            return walked
        step = step * (chords_mm / np.maximum(chord, 1e-9))
    raise _unsettled(places[int(off.argmax())])


def _closing_radius(half: FloatArray, longest: float) -> float:
    low, high = longest, float(half.sum()) / 2
    # A chord spans at most half the circle, an arc at least its chord: the root lies between.
    radius = high
    for _ in range(100):
        share = np.minimum(half / radius, 1.0)
        over = float(np.arcsin(share).sum()) - np.pi
        low, high = (radius, high) if over > 0 else (low, radius)
        slope = float((share / np.sqrt(np.maximum(1 - share**2, 1e-18))).sum()) / radius
        newton = radius + over / slope
        step = newton if low < newton < high else (low + high) / 2
        if abs(step - radius) <= 1e-15 * radius:
            break
        radius = step
    return radius


def _ahead(origins: FloatArray, *, closed: bool) -> FloatArray:
    """Give the unit direction (s, 3) of the chain at each station.

    Inverted in a unit sphere about the station itself, the circle through it and its neighbours becomes a line, which
    runs along the circle's tangent there.
    """
    chords = np.roll(origins, -1, axis=0) - origins if closed else np.diff(origins, axis=0)
    squared = (chords**2).sum(axis=1)[:, None]
    inverted = chords / squared
    out = inverted if closed else inverted[1:]
    into = np.roll(inverted, 1, axis=0) if closed else inverted[:-1]
    spans = out + into
    size = np.linalg.norm(spans, axis=1)
    in_line = np.linalg.norm(out, axis=1) + np.linalg.norm(into, axis=1)
    back = np.flatnonzero(size < BACK_SHARE * in_line)
    if len(back):
        raise _unsettled(origins[int(back[0]) + (not closed)])
    ahead = spans / np.maximum(size, 1e-300)[:, None]
    if closed:
        return np.asarray(ahead)
    first, last = chords[:1], chords[-1:]
    if not len(ahead):
        return np.asarray(np.repeat(first, 2, axis=0) / np.linalg.norm(first))
    return np.concatenate((_mirrored(ahead[:1], first), ahead, _mirrored(ahead[-1:], last)))


def _mirrored(ahead: FloatArray, chord: FloatArray) -> FloatArray:
    """Give the direction (1, 3) that leans as far to the other side of a chord."""
    return np.asarray(2 * (ahead * chord).sum() / (chord**2).sum() * chord - ahead)


def _unsettled(place: FloatArray) -> CannotBuild:
    x, y, z = place
    return CannotBuild(
        f"layout.points: near ({x:.1f}, {y:.1f}, {z:.1f}) the curve turns back within one link; round that bend"
    )


def _upright(ahead: FloatArray) -> FloatArray:
    up = UP - (UP @ ahead) * ahead
    if np.linalg.norm(up) < 1e-3:
        y = np.array([0.0, 1.0, 0.0])
        up = y - (y @ ahead) * ahead
    return np.asarray(up / np.linalg.norm(up))


def _axes(ahead: FloatArray, up: FloatArray, face: str) -> FloatArray:
    """Put axes into columns: the width upright and the face to the right of the way, or the face up."""
    if face == "flat":
        return np.stack((ahead, np.cross(up, ahead), up), axis=-1)
    return np.stack((ahead, up, np.cross(ahead, up)), axis=-1)
