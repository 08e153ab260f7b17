"""Bodies that hang together as a group although no two of them are linked, as Borromean rings do.

Bodies that are linked in pairs, or fused, move as one unit. A unit that a straight line out of 26 directions draws away
from all the others is free and is taken off; then the next, until none comes off. What stays is locked, as far as
straight lines can tell: undecided. So is a ring round the doubled wire of a closed chain: it slides off any one link,
but never off the chain.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..base.progress import Steps, part
from ..solid.mesh import Body, IntArray, Mesh
from ..solid.weld import components
from .extents import Extents
from .freeing import PAD_MM, axes, clears

BoolArray = npt.NDArray[np.bool_]


def units(count: int, together: IntArray) -> IntArray:
    """Give each of ``count`` bodies the number of its connected part, (count,), in order of the parts' first bodies.

    ``together`` (p, 2): the pairs that join them.
    """
    label = components(count, together[:, 0], together[:, 1])
    return np.unique(label, return_inverse=True)[1].reshape(-1).astype(np.int64)


def locked_groups(
    bodies: Sequence[Body], sound: BoolArray, unit: IntArray, reach: Extents
) -> Steps[tuple[tuple[int, ...], ...]]:
    """Find the sets of bodies whose units no straight line takes apart.

    ``sound`` (n,): others are left out of it; ``unit`` (n,) from `units`; ``reach`` of the bodies. Two lone bodies are
    not a group: they are a pair, and judged as one.
    """
    rest = np.flatnonzero(sound)
    if len(rest) == 0:
        return ()
    kinds, of_rest = np.unique(unit[rest], return_inverse=True)
    of_rest = of_rest.reshape(-1)
    near = yield from part(reach.only(rest).of_groups(of_rest, len(kinds)).overlapping(), 0.0, 0.1)
    cluster = units(len(kinds), near)
    found: list[tuple[int, ...]] = []
    crowds = [np.flatnonzero(cluster == number) for number in np.flatnonzero(np.bincount(cluster) > 1)]
    for done, crowd in enumerate(crowds):
        members = [rest[of_rest == kind] for kind in crowd]
        if len(members) == 2 and len(members[0]) == len(members[1]) == 1:
            continue
        peeled = _peeled(bodies, members, reach)
        left = yield from part(peeled, 0.1 + 0.9 * done / len(crowds), 0.1 + 0.9 * (done + 1) / len(crowds))
        if left:
            found.append(tuple(sorted(int(number) for unit_left in left for number in unit_left)))
    return tuple(found)


def _peeled(bodies: Sequence[Body], members: list[IntArray], reach: Extents) -> Steps[list[IntArray]]:
    """Take off unit after unit until none comes off; give what is left, empty when all came off."""
    placed: dict[int, Mesh] = {}
    left = list(members)
    stuck = 0
    while stuck < len(left):
        one = left.pop(0)
        if left and not _comes_free(bodies, one, np.concatenate(left), reach, placed):
            left.append(one)
            stuck += 1
        else:
            stuck = 0
        yield 1.0 - len(left) / len(members)
    return left


def _comes_free(
    bodies: Sequence[Body], moving: IntArray, still: IntArray, reach: Extents, placed: dict[int, Mesh]
) -> bool:
    """Tell whether a unit is proven to come off all the others along one of the 26 directions."""
    meets = [_in_the_way(reach, moving, still, line, ahead) for line in range(13) for ahead in (True, False)]
    directions = np.repeat(axes(), 2, axis=0) * np.tile([1.0, -1.0], 13)[:, None]
    for way in np.argsort([len(pairs) for pairs in meets], kind="stable"):
        for number in np.unique(meets[way]):
            if int(number) not in placed:
                placed[int(number)] = bodies[int(number)].placed()
        if all(clears(placed[int(a)], placed[int(b)], directions[way]) for a, b in meets[way]):
            return True
    return False


def _in_the_way(reach: Extents, moving: IntArray, still: IntArray, line: int, ahead: bool) -> IntArray:
    """Give the pairs (p, 2) of a moving and a still body that may meet, by their boxes alone, widest view first."""
    low_a, high_a = reach.low[moving, line, None], reach.high[moving, line, None]
    low_b, high_b = reach.low[None, still, line], reach.high[None, still, line]
    common = np.minimum(high_a, high_b)[..., :2] - np.maximum(low_a, low_b)[..., :2] + PAD_MM
    ahead_of = high_b[..., 2] - low_a[..., 2] if ahead else high_a[..., 2] - low_b[..., 2]
    one, other = np.nonzero((common >= 0.0).all(axis=2) & (ahead_of >= -PAD_MM))
    widest = np.argsort(-common[one, other].prod(axis=1), kind="stable")
    return np.stack([moving[one[widest]], still[other[widest]]], axis=1)
