"""Splitting the triangles of a surface where it is asked for, without leaving a gap to those that are not split.

Every edge that is marked is cut in half, and a triangle is split by how many of its edges are: into two, three or four
(R. E. Bank, A. H. Sherman and A. Weiser, Refinement algorithms and data structures for regular local mesh refinement,
1983; from memory). No point moves, so the surface stays where it is.
"""

import numpy as np
import numpy.typing as npt

from .mesh import FloatArray, IntArray

BoolArray = npt.NDArray[np.bool_]

# Corners 0, 1, 2 and the middles 3, 4, 5 of the edges from 0, from 1 and from 2.
_FOUR = ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5))
_THREE = ((3, 1, 4), (0, 3, 4), (0, 4, 2))
_TWO = ((0, 3, 2), (3, 1, 2))


def edges_of(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """Give the edges (e, 2), lower point first, and for every triangle the numbers of its three, (t, 3).

    Edge k of a triangle runs from its corner k to the next.
    """
    ends = np.sort(np.stack((triangles, triangles[:, (1, 2, 0)]), axis=2), axis=2).reshape(-1, 2)
    count = np.int64(triangles.max(initial=0)) + 1
    keys, number = np.unique(ends[:, 0] * count + ends[:, 1], return_inverse=True)
    return np.stack(np.divmod(keys, count), axis=1), number.reshape(-1, 3)


def split_edges(
    points: FloatArray, triangles: IntArray, edges: IntArray, of_triangle: IntArray, cut: BoolArray
) -> tuple[FloatArray, IntArray]:
    """Cut the edges where ``cut`` (e,) in half and split the triangles that have them; edges as from `edges_of`.

    Returns points, the given ones first, and triangles.
    """
    middle = np.full(len(edges), -1, dtype=np.int64)
    middle[cut] = len(points) + np.arange(int(cut.sum()))
    grown = np.concatenate((points, points[edges[cut]].mean(axis=1)))
    halves = middle[of_triangle]
    how_many = (halves >= 0).sum(axis=1)
    made = [triangles[how_many == 0]]
    for number, plan in ((3, _FOUR), (2, _THREE), (1, _TWO)):
        rows = np.flatnonzero(how_many == number)
        # Turned so that the cut edges come first.
        here = halves[rows] >= 0
        starts = here if number != 2 else here & here[:, (1, 2, 0)]
        corner = (starts.argmax(axis=1)[:, None] + np.arange(3)) % 3
        six = np.concatenate(
            (np.take_along_axis(triangles[rows], corner, axis=1), np.take_along_axis(halves[rows], corner, axis=1)),
            axis=1,
        )
        made += [six[:, part] for part in plan]
    return grown, np.concatenate(made)
