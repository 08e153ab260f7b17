"""A block over the seam of a closed chain: it holds the links at both ends, and with them becomes one body."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..base.errors import CannotBuild
from ..solid.edges import edges_pair
from ..solid.measure import volume_mm3
from ..solid.mesh import Body, FloatArray, IntArray, Mesh, Pose, merged
from ..solid.posed import Posable, posable, posed_gaps
from ..solid.topology import facts
from .block import rounded_block
from .chain import Chain
from .path import Path
from .row import Row

# "union" of two closed solids of any number of shells.
Union = Callable[[str, Mesh, Mesh], Mesh]

# How deep the block holds an end link, in wires from the link's outer end: as deep as the gap to the next link allows.
HOLDS = (1.6, 1.4, 1.2, 1.0, 0.8)
# Metal of the block beyond the links it holds, its rounded edges, and the space between the two end links, in wires.
OVER, EDGE, APART = 0.25, 0.3, 0.5
NAME = "cover"
# Share of a volume that a union may add or lose by rounding.
ROUNDING = 1e-9


def least_seam_mm(first_length_mm: float, last_length_mm: float, wire_mm: float) -> float:
    """Give the least distance in mm of the centres of the end links under a block: they stand free of each other."""
    return (first_length_mm + last_length_mm) / 2 + APART * wire_mm


def covered(chain: Chain, union: Union | None) -> Chain:
    """Cover the seam of a chain whose first and last links stand either side of it: all that stand at the end stations.

    Without ``union`` the block is a body of its own, which overlaps the end links: for a draft. With it they become one
    body, "cover", at the end of the bodies; ``row`` and ``path`` then tell of the other links only. Raises CannotBuild
    where no block holds the end links and keeps the gap from the next, or the union fails.
    """
    ahead, behind = _end_links(chain.row)
    held = np.concatenate((ahead, behind))
    others = _ready(chain, held)
    block, gap, near = _block(chain, ahead, behind, others)
    names = [body.name for body in chain.bodies]
    least, between = chain.smallest_gap_mm, chain.smallest_gap_between
    if gap < least:
        least, between = gap, (names[near], NAME)
    told = replace(chain, smallest_gap_mm=least, smallest_gap_between=between, closed=True)
    if union is None:
        return replace(
            told,
            bodies=(*chain.bodies, block),
            path=_path(chain.path.origins, chain.path.rotations, block.pose, closed=False),
        )
    whole = _joined([chain.bodies[k] for k in held], block, union)
    between = (_held(between[0], names, held), _held(between[1], names, held))
    if between == (NAME, NAME):  # What was narrowest is now one body.
        least, near = _nearest(chain, whole, others)
        between = (names[near], NAME)
    kept = np.setdiff1d(np.arange(chain.links), held)
    number = np.full(chain.links, len(kept))
    number[kept] = np.arange(len(kept))
    pairs = np.unique(np.sort(number[np.array(chain.joints)], axis=1), axis=0)
    return replace(
        told,
        bodies=(*(chain.bodies[k] for k in kept), whole),
        joints=tuple((int(a), int(b)) for a, b in pairs if a != b),
        row=_inner(chain.row, kept, number),
        path=_path(chain.path.origins[kept], chain.path.rotations[kept], block.pose, closed=True),
        smallest_gap_mm=least,
        smallest_gap_between=between,
        covered=len(held),
    )


def _end_links(row: Row) -> tuple[IntArray, IntArray]:
    """Give the bodies at the first station and those at the last."""
    return np.flatnonzero(row.station == 0), np.flatnonzero(row.station == row.stations - 1)


def _held(name: str, names: list[str], held: IntArray) -> str:
    return NAME if name in [names[int(k)] for k in held] else name


def _block(
    chain: Chain, first: IntArray, last: IntArray, others: tuple[tuple[int, Posable], ...]
) -> tuple[Body, float, int]:
    """Find the deepest block that keeps the gap to the other links. Gives it, its smallest gap, and to which link."""
    wire = chain.spec.wire_mm
    frame = _seam_frame(chain)
    ahead, behind = (
        (np.concatenate([chain.bodies[k].points() for k in end]) - frame.origin) @ frame.rotation
        for end in (first, last)
    )
    best: tuple[Body, float, int] | None = None
    for hold in HOLDS:
        low, high = behind[:, 0].max() - hold * wire, ahead[:, 0].min() + hold * wire
        held = np.concatenate((behind[behind[:, 0] >= low], ahead[ahead[:, 0] <= high]))
        side = np.stack((held[:, 1:].min(axis=0), held[:, 1:].max(axis=0)))
        half = np.concatenate(([(high - low) / 2], (side[1] - side[0]) / 2 + OVER * wire))
        middle = frame.origin + frame.rotation @ np.concatenate(([(low + high) / 2], side.mean(axis=0)))
        body = Body(NAME, rounded_block(half, EDGE * wire), Pose(frame.rotation, middle))
        gap, near = _nearest(chain, body, others)
        if best is None or gap > best[1]:
            best = (body, gap, near)
        if gap >= chain.spec.gap_mm:
            return body, gap, near
    assert best is not None
    raise CannotBuild(
        f"layout.ends: a cover that holds both end links comes within {best[1]:.2f} mm of "
        f"{chain.bodies[best[2]].name}, not the {chain.spec.gap_mm:g} mm asked for; take longer links, a thinner wire, "
        'or ends = "closed"'
    )


def _seam_frame(chain: Chain) -> Pose:
    """Give a frame at the seam: x from the last link to the first, y as the links' own across."""
    on, last = chain.path, chain.links - 1
    x = on.origins[0] - on.origins[last]
    x = x / np.linalg.norm(x)
    one, other = on.rotations[0][:, 1], on.rotations[last][:, 1]
    # On a curve that twists the frames may meet half a turn apart, which no link shows.
    y = one + (other if one @ other >= 0 else -other)
    y = y - (y @ x) * x
    y = y / np.linalg.norm(y)
    return Pose(np.stack((x, y, np.cross(x, y)), axis=1), (on.origins[0] + on.origins[last]) / 2)


def _ready(chain: Chain, held: IntArray) -> tuple[tuple[int, Posable], ...]:
    """Give the links beside the end links that a block could come near, ready to be measured."""
    n, made = chain.links, dict[int, Posable]()
    origins = np.array([body.pose.origin for body in chain.bodies])
    reach = np.array([link.reach_mm for link in chain.pattern.links])[chain.row.kind]
    seam = origins[held].mean(axis=0)
    size = float(np.sqrt(((origins[held] - seam) ** 2).sum(axis=1)).max()) + float(reach[held].max())
    away = np.sqrt(((origins[:n] - seam) ** 2).sum(axis=1))
    near = [int(k) for k in np.flatnonzero(away < size + reach + chain.spec.gap_mm) if k not in held]
    for k in near:
        mesh = chain.bodies[k].mesh
        made.setdefault(id(mesh), posable(mesh))
    return tuple((k, made[id(chain.bodies[k].mesh)]) for k in near)


def _nearest(chain: Chain, block: Body, others: tuple[tuple[int, Posable], ...]) -> tuple[float, int]:
    """Give the smallest gap between a block and the links beside it, and which link has it."""
    ready = posable(block.mesh)
    least, which = np.inf, 0
    for k, mesh in others:
        pose = chain.bodies[k].pose
        turn = block.pose.rotation.T @ pose.rotation
        shift = block.pose.rotation.T @ (pose.origin - block.pose.origin)
        gap = float(posed_gaps(ready, mesh, turn[None], shift[None])[0][0])
        if gap < least:
            least, which = gap, k
    return least, which


def _joined(links: list[Body], block: Body, union: Union) -> Body:
    """Join block and end links. Raises CannotBuild where what comes back is not one closed body that holds them all."""
    whole = union("union", merged([body.placed() for body in links]), block.placed())
    apart, added = sum(volume_mm3(body.mesh) for body in links), volume_mm3(block.mesh)
    closed = len(whole.triangles) > 0 and edges_pair(whole.triangles)
    held = max(apart, added) * (1 + ROUNDING) < volume_mm3(whole) < (apart + added) * (1 - ROUNDING)
    if not closed or facts(whole).shells != 1 or not held:
        raise CannotBuild(
            "layout.ends: the cover could not be joined with its end links to one closed body; change the link's sizes "
            'a little, or choose ends = "closed"'
        )
    pose = block.pose
    points = (whole.points - pose.origin) @ pose.rotation
    return Body(NAME, Mesh(points, whole.triangles), pose)


def _inner(row: Row, kept: IntArray, number: IntArray) -> Row:
    """Give the row of the links that are kept, which have new numbers (n,)."""
    linked = number[row.linked]
    return replace(
        row,
        kind=row.kind[kept],
        roll=row.roll[kept],
        aside_mm=row.aside_mm[kept],
        station=row.station[kept] - 1,
        joint=row.joint[1:-1],
        linked=linked[(linked < len(kept)).all(axis=1)],
    )


def _path(origins: FloatArray, rotations: FloatArray, last: Pose, *, closed: bool) -> Path:
    return Path(np.concatenate((origins, last.origin[None])), np.concatenate((rotations, last.rotation[None])), closed)
