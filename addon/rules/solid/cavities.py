"""Which shell is a cavity of which: the shells of one mesh sorted out by what lies around them."""

import numpy as np

from .edges import BoolArray
from .measure import normals
from .mesh import FloatArray, IntArray
from .winding import turns_around

# How far off its widest face the place lies that stands for a cavity, as a share of the face's size: off the surface
# of a shell that it may touch, yet inside its own hollow.
_OFF = 1e-5


def owners(corners: FloatArray, shell: IntArray, volume: FloatArray, sound: BoolArray) -> IntArray:
    """Give each shell (s,) the shell it belongs to: a cavity to the smallest shell around it, if that looks outward.

    ``corners`` (m, 3, 3) of triangles, ``shell`` (m,) their shells, and per shell its signed ``volume`` and whether it
    is ``sound``, closed and evenly wound. A sound shell of negative volume is a cavity when the smallest larger shell
    around it has positive volume; every other shell owns itself.
    """
    owner = np.arange(len(volume))
    waiting = np.flatnonzero(sound & (volume < 0))
    if not len(waiting):
        return owner
    order, first, count = by_shell(shell, len(volume))
    low, high = shell_bounds(corners, order, first, count)
    size = np.abs(volume)
    hollow = _hollow_places(corners, order, first, count)
    waiting = waiting[np.argsort(size[waiting], kind="stable")]
    # From the smallest shell up: the first that holds a cavity settles it.
    for host in np.flatnonzero(sound)[np.argsort(size[sound], kind="stable")]:
        asked = waiting[: np.searchsorted(size[waiting], size[host])]
        for axis in range(3):
            asked = asked[(low[asked, axis] >= low[host, axis]) & (high[asked, axis] <= high[host, axis])]
        if len(asked):
            faces = corners[order[first[host] : first[host] + count[host]]]
            held = asked[turns_around(faces, hollow[asked]) != 0]
            if volume[host] > 0:
                owner[held] = host
            waiting = waiting[~np.isin(waiting, held)]
    return owner


def by_shell(shell: IntArray, shells: int) -> tuple[IntArray, IntArray, IntArray]:
    """Give the triangles sorted by shell (m,), and each shell's first place in that row and its count, (s,)."""
    count = np.bincount(shell, minlength=shells)
    return np.argsort(shell, kind="stable"), np.cumsum(count) - count, count


def shell_bounds(
    corners: FloatArray, order: IntArray, first: IntArray, count: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Give the least and greatest coordinates of every shell, each (s, 3); 0 for a shell without triangles."""
    low, high = np.zeros((len(count), 3)), np.zeros((len(count), 3))
    some = count > 0
    if some.any():
        low[some] = np.minimum.reduceat(corners.min(axis=1)[order], first[some], axis=0)
        high[some] = np.maximum.reduceat(corners.max(axis=1)[order], first[some], axis=0)
    return low, high


def _hollow_places(corners: FloatArray, order: IntArray, first: IntArray, count: IntArray) -> FloatArray:
    """Give a place just outside the widest face of every shell, (s, 3): for a cavity, in its hollow."""
    normal = normals(corners)
    area = np.linalg.norm(normal, axis=1)
    places = np.zeros((len(count), 3))
    some = np.flatnonzero(count)
    widest_first = order[np.lexsort((-area[order], np.repeat(np.arange(len(count)), count)))]
    face = widest_first[first[some]]
    step = _OFF / np.sqrt(np.where(area[face] > 0, area[face], 1.0))
    places[some] = corners[face].mean(axis=1) + normal[face] * step[:, None]
    return places
