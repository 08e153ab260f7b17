"""Where the links stand: along a line, on a ring, or at equal chords along any curve."""

from dataclasses import dataclass

import numpy as np

from ..base.errors import CannotBuild
from ..solid.curves import Spline
from ..solid.mesh import FloatArray
from .frames import rotation_minimising

EQUAL_MM = 1e-9
ROUNDS = 200
# Where neighbours of a link come this much nearer to each other than elsewhere, it has no direction to point in.
BACK_SHARE = 0.05
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """The place of each link before its family's own roll: ``origins`` (n, 3) mm, ``rotations`` (n, 3, 3).

    The columns of a rotation are the link's axes: along the chain, across the width, normal of the face.
    """

    origins: FloatArray
    rotations: FloatArray
    closed: bool


def straight(links: int, pitch_mm: float, face: str) -> Path:
    """Stand links along x, centred on the origin, running in +x."""
    origins = np.zeros((links, 3))
    origins[:, 0] = (np.arange(links) - (links - 1) / 2) * pitch_mm
    ahead = np.broadcast_to([1.0, 0.0, 0.0], (links, 3))
    return Path(origins, _axes(ahead, np.broadcast_to(UP, (links, 3)), face), closed=False)


def ring(links: int, pitch_mm: float, face: str) -> Path:
    """Stand links on a circle about the z axis, anticlockwise from +x; the face looks outward, or up when flat."""
    radius = ring_radius(links, pitch_mm)
    angle = np.arange(links) * (2 * np.pi / links)
    c, s, flat = np.cos(angle), np.sin(angle), np.zeros(links)
    origins = radius * np.stack((c, s, flat), axis=1)
    ahead = np.stack((-s, c, flat), axis=1)
    return Path(origins, _axes(ahead, np.broadcast_to(UP, (links, 3)), face), closed=True)


def ring_radius(links: int, pitch_mm: float) -> float:
    """Give the radius in mm of the circle through the link centres; the pitch is a chord of it."""
    return float(pitch_mm / (2 * np.sin(np.pi / links)))


def along(spline: Spline, walked_mm: FloatArray, face: str) -> Path:
    """Stand links at given lengths (n,) along a curve.

    A link points along the chord of its two neighbours; the first and last of an open chain lean away from their only
    joint as much as the link across it does, as if the bend went on. The upright (face out) or the face normal (flat)
    starts as near to +z as the first link allows and is carried along by rotation-minimising frames; what is left
    over where a closed curve meets itself is spread over all joints. Raises CannotBuild where the way turns straight
    back.
    """
    origins = spline.at(walked_mm)
    spans = np.roll(origins, -1, axis=0) - np.roll(origins, 1, axis=0) if spline.cyclic else _spans(origins)
    size = np.linalg.norm(spans, axis=1)
    if float(size.min()) < BACK_SHARE * float(size.max()):
        raise _unsettled(origins[int(size.argmin())])
    ahead = spans / size[:, None]
    up = _upright(ahead[0])
    # A half turn about its axis carries a link into itself, so no more than a quarter turn is ever left over.
    ups = rotation_minimising(origins, ahead, up, closed=spline.cyclic, period=np.pi)
    return Path(origins, _axes(ahead, ups, face), closed=spline.cyclic)


def outward(points: FloatArray) -> bool:
    """Tell whether a closed row of points runs anticlockwise seen from above, so that faces look out of it."""
    x, y = points[:, 0], points[:, 1]
    return bool((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() >= 0)


def equal_chords_closed(spline: Spline, links: int) -> tuple[FloatArray, float]:
    """Find lengths (n,) on a closed curve at which all n chords between neighbours are equal, and that chord in mm.

    Each round stretches every step by how much its chord falls short: the ratio of arc to chord hardly depends on
    where exactly the step lies. Raises CannotBuild where it will not settle: the curve doubles back within a link.
    """
    step = np.full(links, spline.length_mm / links)
    for _ in range(ROUNDS):
        walked = np.concatenate(([0.0], np.cumsum(step[:-1])))
        places = spline.at(walked)
        chord = np.linalg.norm(np.roll(places, -1, axis=0) - places, axis=1)
        if float(chord.max() - chord.min()) < EQUAL_MM:
            return walked, float(chord.mean())
        ratio = step / np.maximum(chord, 1e-9)
        step = ratio * (spline.length_mm / ratio.sum())
    raise _unsettled(places[int((step / np.maximum(chord, 1e-9)).argmax())])


def equal_chords_open(spline: Spline, start_mm: float, links: int, pitch_mm: float) -> FloatArray:
    """Find lengths (n,) along a curve from ``start_mm`` on at which all chords between neighbours are the pitch.

    Raises CannotBuild like `equal_chords_closed`.
    """
    step = np.full(links - 1, pitch_mm)
    for _ in range(ROUNDS):
        walked = start_mm + np.concatenate(([0.0], np.cumsum(step)))
        places = spline.at(walked)
        chord = np.linalg.norm(np.diff(places, axis=0), axis=1)
        if not len(chord) or float(np.abs(chord - pitch_mm).max()) < EQUAL_MM:
            return walked
        step = step * (pitch_mm / np.maximum(chord, 1e-9))
    raise _unsettled(places[int(np.abs(chord - pitch_mm).argmax())])


def _spans(origins: FloatArray) -> FloatArray:
    """Give a vector along the chain at each link of an open one, (n, 3)."""
    chords = origins[1:] - origins[:-1]
    spans = np.concatenate((chords[:1], chords[1:] + chords[:-1], chords[-1:]))
    if len(spans) > 2:
        for end, inner, chord in ((0, 1, chords[0]), (-1, -2, chords[-1])):
            spans[end] = 2 * (spans[inner] @ chord) / (chord @ chord) * chord - spans[inner]
    return np.asarray(spans)


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
