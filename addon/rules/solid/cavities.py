"""Which shell is a cavity of which: the shells of one mesh sorted out by what lies around them."""

import numpy as np

from ..base.progress import Steps, part
from .edges import BoolArray
from .measure import normals
from .mesh import FloatArray, IntArray
from .sorting import stable_order
from .winding import turns_around

# How far off its widest face the place lies that stands for a cavity, as a share of the face's size: off the surface
# of a shell that it may touch, yet inside its own hollow.
_OFF = 1e-5
# Triangles, and cavities, looked at together.
_TRIANGLES = 1 << 16
_PLACES = 1 << 13


def owners(
    points: FloatArray, triangles: IntArray, shell: IntArray, volume: FloatArray, sound: BoolArray
) -> Steps[IntArray]:
    """Give each shell (s,) the shell it belongs to: a cavity to the smallest shell around it, if that looks outward.

    ``points`` (n, 3), ``triangles`` (m, 3), ``shell`` (m,) their shells, and per shell its signed ``volume`` and
    whether it is ``sound``, closed and evenly wound. A sound shell of negative volume is a cavity when the smallest
    larger shell around it has positive volume; every other shell owns itself.
    """
    owner = np.arange(len(volume))
    waiting = np.flatnonzero(sound & (volume < 0))
    if not len(waiting):
        return owner
    order, first, count = yield from part(by_shell(shell, len(volume)), 0.0, 0.1)
    low, high = yield from part(shell_bounds(points, triangles, order, first, count), 0.1, 0.2)
    hollow = yield from part(_hollow_places(points, triangles, shell, waiting, len(volume)), 0.2, 0.3)
    size = np.abs(volume)
    waiting = waiting[np.argsort(size[waiting], kind="stable")]
    # From the smallest shell up: the first that holds a cavity settles it.
    hosts = np.flatnonzero(sound)[np.argsort(size[sound], kind="stable")]
    for done, host in enumerate(hosts):
        asked = waiting[: np.searchsorted(size[waiting], size[host])]
        for axis in range(3):
            asked = asked[(low[asked, axis] >= low[host, axis]) & (high[asked, axis] <= high[host, axis])]
        if len(asked):
            faces = order[first[host] : first[host] + count[host]]
            turns = yield from part(
                _turns(points, triangles[faces], hollow[asked]),
                0.3 + 0.7 * done / len(hosts),
                0.3 + 0.7 * (done + 1) / len(hosts),
            )
            held = asked[turns != 0]
            if volume[host] > 0:
                owner[held] = host
            waiting = waiting[~np.isin(waiting, held)]
        yield 0.3 + 0.7 * (done + 1) / len(hosts)
    return owner


def by_shell(shell: IntArray, shells: int) -> Steps[tuple[IntArray, IntArray, IntArray]]:
    """Give the triangles sorted by shell (m,), and each shell's first place in that row and its count, (s,)."""
    count = np.bincount(shell, minlength=shells)
    order = yield from stable_order(shell)
    return order, np.cumsum(count) - count, count


def shell_bounds(
    points: FloatArray, triangles: IntArray, order: IntArray, first: IntArray, count: IntArray
) -> Steps[tuple[FloatArray, FloatArray]]:
    """Give the least and greatest coordinates of every shell, each (s, 3); 0 for a shell without triangles."""
    low, high = np.zeros((len(count), 3)), np.zeros((len(count), 3))
    least, most = np.empty((len(triangles), 3)), np.empty((len(triangles), 3))
    for begin in range(0, len(triangles), _TRIANGLES):
        a, b, c = points[triangles[order[begin : begin + _TRIANGLES]].T]
        least[begin : begin + _TRIANGLES] = np.minimum(np.minimum(a, b), c)
        most[begin : begin + _TRIANGLES] = np.maximum(np.maximum(a, b), c)
        yield 0.8 * begin / len(triangles)
    some = count > 0
    if some.any():
        low[some] = np.minimum.reduceat(least, first[some], axis=0)
        yield 0.9
        high[some] = np.maximum.reduceat(most, first[some], axis=0)
    return low, high


def _turns(points: FloatArray, triangles: IntArray, places: FloatArray) -> Steps[IntArray]:
    """Give how often a closed shell winds around every place (k,), some of its faces after others."""
    turns = np.zeros(len(places), dtype=np.int64)
    for start in range(0, len(places), _PLACES):
        here = slice(start, start + _PLACES)
        for begin in range(0, len(triangles), _TRIANGLES):
            turns[here] += turns_around(points[triangles[begin : begin + _TRIANGLES]], places[here])
            yield (start + _PLACES * begin / len(triangles)) / len(places)
    return turns


def _hollow_places(
    points: FloatArray, triangles: IntArray, shell: IntArray, wanted: IntArray, shells: int
) -> Steps[FloatArray]:
    """Give a place just outside the widest face of every wanted shell, (s, 3): for a cavity, in its hollow."""
    is_wanted = np.zeros(shells, dtype=bool)
    is_wanted[wanted] = True
    rows = np.flatnonzero(is_wanted[shell])
    area = np.empty(len(rows))
    for begin in range(0, len(rows), _TRIANGLES):
        normal = normals(points[triangles[rows[begin : begin + _TRIANGLES]]])
        area[begin : begin + _TRIANGLES] = np.sqrt((normal * normal).sum(axis=1))
        yield 0.8 * begin / len(rows)
    widest = np.full(shells, -1.0)
    np.maximum.at(widest, shell[rows], area)
    found = np.flatnonzero(area == widest[shell[rows]])[::-1]
    face = np.zeros(shells, dtype=np.int64)
    face[shell[rows[found]]] = rows[found]
    corners = points[triangles[face[wanted]]]
    normal = normals(corners)
    wide = np.linalg.norm(normal, axis=1)
    step = _OFF / np.sqrt(np.where(wide > 0, wide, 1.0))
    places = np.zeros((shells, 3))
    places[wanted] = corners.mean(axis=1) + normal * step[:, None]
    return places
