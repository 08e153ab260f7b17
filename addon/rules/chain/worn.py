"""A chain as it is worn: the same links on the wearer's curve, joints drawn nearly to contact, free of collisions."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import Bug, CannotBuild
from ..base.progress import finish
from ..solid.curves import spline
from ..solid.distance import gaps
from ..solid.mesh import Body, FloatArray, Pose
from ..solid.posed import posable
from .chain import Chain, JointFit
from .link import columns, even_parameters
from .measure import Measure
from .path import Path, along, bends_rad, chords_closed, ring, ring_radius
from .placed import RowGaps, extent_mm, row_gaps
from .row import Row, stood
from .turning import roll

# A wrist is broader than it is thick. Our judgement.
WRIST_RATIO = 1.3
# How far each joint is drawn from its best pitch towards contact: as far as the bends leave a gap.
DRAWN = (0.9, 0.75, 0.5, 0.25, 0.0)
POINTS = 256
SIZING_STEPS = 30
CLOSED = 1e-9
# Links at either end that the bodies of a closure could come near.
BESIDE = 4
TOUCH_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class _Held:
    """A body that is no link of the row: it keeps its place to the end link that holds it, or to both."""

    body: Body
    by: int | None


def worn_chain(chain: Chain, *, ratio: float = WRIST_RATIO) -> Chain:
    """Lay the links of a chain round the wearer, inside an oval ``ratio`` times as broad as deep; 1 is round.

    Faces look outward. An open chain leaves room at its ends for the halves of its closure, each as it hangs on its end
    link. The gap is that of the links, by their smooth wires or their meshes. Raises CannotBuild where the chain does
    not bend so far, saying how far it would have to.
    """
    row = _face_out(chain)
    measure = _measure_of(chain)
    held = _held(chain)
    inward = extent_mm(measure.links, row, roll(row.roll))[1] / 2
    seam = _seam_mm(chain, held)
    for share in DRAWN:
        pitches = [fit.best_mm + share * _slack(fit) for fit in chain.fits]
        chords = np.array(pitches)[row.joint]
        path = _oval(chords if row.closed else np.append(chords, seam), inward, ratio)
        found = row_gaps(measure, row, *stood(row, path))
        worn = _worn(chain, row, path, found, held)
        if found.gap_mm > 0 and _ends_free(worn):
            return worn
    raise CannotBuild(
        f"layout: this chain does not bend round an oval {ratio:g} times as broad as deep: a joint would have to bend "
        f"by {np.degrees(_most(path, row)):.0f} degrees; take more links, or look at a rounder one"
    )


def _face_out(chain: Chain) -> Row:
    """Give the row with its faces outward: a chain laid flat is worn like all others."""
    turned = np.radians(chain.pattern.upright_deg) if chain.layout.face == "flat" else 0.0
    return replace(chain.row, roll=chain.row.roll + turned)


def _measure_of(chain: Chain) -> Measure:
    links = chain.pattern.links
    if all(link.plain for link in links):
        return Measure(links, None, exact=True)
    kinds = chain.row.kind
    meshes = [chain.bodies[int((kinds == k).argmax())].mesh for k in range(len(links))]
    return Measure(links, tuple(posable(mesh) for mesh in meshes), exact=True)


def _slack(fit: JointFit) -> float:
    """Give how far a joint can be drawn out from its best pitch, 0 where it never meets."""
    return fit.pulled_mm - fit.best_mm if np.isfinite(fit.pulled_mm) else 0.0


def _held(chain: Chain) -> tuple[_Held, ...]:
    n = chain.links
    found = []
    for k in range(n, len(chain.bodies)):
        by = [a + b - k for a, b in chain.joints if k in (a, b)]
        found.append(_Held(chain.bodies[k], by[0] if len(by) == 1 else None))
    return tuple(found)


def _seam_mm(chain: Chain, held: tuple[_Held, ...]) -> float:
    """Give the distance in mm of the first and last station that leaves room for what hangs between them."""
    ends = chain.path.origins[[0, chain.links - 1]]
    if any(one.by is None for one in held):
        return float(np.linalg.norm(ends[0] - ends[1]))
    rooms = []
    for end, way in ((0, -1.0), (chain.links - 1, 1.0)):
        ahead = chain.path.rotations[end][:, 0] * way
        hung = [one.body.points() for one in held if one.by == end] or [chain.bodies[end].points()]
        rooms.append(max(float(((points - chain.path.origins[end]) @ ahead).max()) for points in hung))
    return sum(rooms) + chain.spec.gap_mm


def _oval(chords: FloatArray, inward_mm: float, ratio: float) -> Path:
    """Stand stations (s,) with given chords round an oval inside of which there is room by ``inward_mm`` less.

    The oval is sized by the secant method until the chords close it.
    """
    if ratio == 1:
        return ring(chords, "out")
    turn = even_parameters(POINTS)
    c, s = np.cos(turn), np.sin(turn)
    normal = columns(c / ratio, s, np.zeros(POINTS))
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    radius = max(ring_radius(chords) - inward_mm, inward_mm) / np.sqrt(ratio)

    def closed(radius: float) -> tuple[Path, float]:
        inside = radius * columns(ratio * c, s, np.zeros(POINTS))
        line = spline(inside + inward_mm * normal, cyclic=True, where="worn")
        walked, scale = chords_closed(line, chords)
        return along(line, walked, "out"), scale

    before = radius * 1.05
    off = closed(before)[1] - 1
    for _ in range(SIZING_STEPS):
        path, scale = closed(radius)
        if abs(scale - 1) < CLOSED:
            return path
        slope = (scale - 1 - off) / (radius - before)
        before, off = radius, scale - 1
        radius = radius - off / slope
    raise Bug(f"no oval of ratio {ratio} closes {len(chords)} chords")


def _worn(chain: Chain, row: Row, path: Path, found: RowGaps, held: tuple[_Held, ...]) -> Chain:
    rotations, origins = stood(row, path)
    links = [replace(chain.bodies[k], pose=Pose(rotations[k], origins[k])) for k in range(chain.links)]
    frames, places = path.rotations[row.station], origins
    before = (chain.path.rotations, chain.path.origins)
    others, looks, stands = [], [], []
    for k, one in enumerate(held):
        old = _frame(*before, one.by, chain.links)
        new = _frame(frames, places, one.by, chain.links)
        turn = new.rotation @ old.rotation.T
        shift = new.origin - turn @ old.origin
        pose = one.body.pose
        others.append(replace(one.body, pose=Pose(turn @ pose.rotation, turn @ pose.origin + shift)))
        looks.append(turn @ chain.path.rotations[chain.links + k])
        stands.append(turn @ chain.path.origins[chain.links + k] + shift)
    if held:
        frames, places = np.concatenate((frames, looks)), np.concatenate((places, stands))
    names = [body.name for body in chain.bodies]
    over, edgewise = np.degrees(np.abs(bends_rad(path)[: len(row.joint), 1:]).max(axis=0))
    return replace(
        chain,
        bodies=(*links, *others),
        path=Path(places, frames, chain.path.closed),
        row=row,
        smallest_gap_mm=found.gap_mm,
        smallest_gap_between=(names[found.between[0]], names[found.between[1]]),
        verified=False,
        bends_deg=(float(over), float(edgewise)),
    )


def _ends_free(chain: Chain) -> bool:
    """Tell whether the bodies of a closure touch neither each other nor any link near the ends.

    A cover that is not yet fused is let into the end links.
    """
    n = chain.links
    others = range(n, len(chain.bodies))
    if not others:
        return True
    near = sorted({k % n for k in range(-BESIDE, BESIDE)})
    loose = {k for k in others if not any(k in pair for pair in chain.joints)}
    table = finish(gaps([chain.bodies[k] for k in (*near, *others)], range_mm=TOUCH_MM))
    numbers = np.array([*near, *others])
    for a, b, gap in zip(numbers[table.a], numbers[table.b], table.gap_mm, strict=True):
        let_in = int(b) in loose and int(a) in (0, n - 1)
        if b >= n and gap <= 0 and not let_in:
            return False
    return True


def _frame(rotations: FloatArray, origins: FloatArray, by: int | None, links: int) -> Pose:
    """Give the frame of an end link, or one between the last and the first."""
    if by is not None:
        return Pose(rotations[by], origins[by])
    x = origins[0] - origins[links - 1]
    y = rotations[0][:, 1] + rotations[links - 1][:, 1]
    z = np.cross(x, y)
    axes = np.stack((x, np.cross(z, x), z), axis=1)
    return Pose(axes / np.linalg.norm(axes, axis=0), (origins[0] + origins[links - 1]) / 2)


def _most(path: Path, row: Row) -> float:
    return float(np.linalg.norm(bends_rad(path)[: len(row.joint)], axis=1).max())
