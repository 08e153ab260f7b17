"""Where posts can stand: the places along the rings that have a way past the chain, and how deep the hoop dips there.

A post leans out from the base ring, stands upright beside the chain, and leans back in to the upper ring, which dips to
its head; every lean is steeper than the overhang limit. A dip lies between gates, so that they stay as long as on a
level ring; one that hangs from its flank keeps the saw room.
"""

from dataclasses import dataclass

import numpy as np

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.candidates import BoolArray
from ..solid.mesh import FloatArray, IntArray
from .course import Course
from .gates import Gate
from .lattice import NODE_MM, LatticeSolid
from .plane import turns_left
from .sizes import Sizes
from .skeletons import Rods, Skeletons, clearances, rod_gap
from .standing import Standing
from .upper import BOTTOM, HELD, along, hang_from

LEANS_DEG = (45.0, 0.0)
SPARE_DEG = 5.0
WIDER_MM = (0.0, 1.5, 3.0)
# Posts are tried at the feet of gates and between them, at these shares of the way from one to the next.
BETWEEN = (0.0, 0.42, 0.5, 0.58)
# Its foot is right below, or on the node of the gate before or after it.
FEET = (0, -1, 1)
# A dip is tried as deep as it may be, then at these shares of that, and not at all.
DEPTHS = (1.0, 0.6, 0.3, 0.0)
# The least dip worth a bend in the hoop, as a share of the hoop's radius: its mitres find room.
LEAST_DIP = 0.3
# The foot of a gate that is cut back to a dip stays this near to the hoop's axis, as a share of the hoop's radius.
ASIDE = 0.25
# The hoop's slope is looked for this far to either side of a post, mm.
NEAR_MM = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """Where posts stand: from the course of the base ring at a height to that of the upper ring.

    ``gates`` are all that hang from the upper ring; a dip leaves each ``keep_mm`` clear, or what it has. ``lines`` the
    links and ``standing`` the struts that are kept clear of; of the ``spokes`` all but where they meet the base ring.
    Where there is room for fillets of ``fillet_mm`` at the ends of posts, they are set there.
    """

    base: Course
    base_z_mm: float
    upper: Course
    gates: tuple[Gate, ...]
    keep_mm: float
    sizes: Sizes
    profile: Profile
    lines: Skeletons
    standing: Standing
    spokes: tuple[LatticeSolid, ...]
    fillet_mm: float = 0.0

    @property
    def steepest(self) -> float:
        """Give the slope that carries itself with a little to spare."""
        return float(np.tan(np.radians(min(85.0, self.profile.overhang_deg + SPARE_DEG))))

    @property
    def reach_mm(self) -> float:
        """Give how far apart the heads of two posts may be under a level hoop."""
        return self.profile.bridge_mm + HELD * self.sizes.post_mm

    @property
    def apart_mm(self) -> float:
        """Give how far apart two posts are at least."""
        return self.sizes.post_mm + self.profile.strut_web_aim_mm


@dataclass(frozen=True, slots=True, eq=False)
class Spots:
    """Where n posts can stand, in order: lengths along base and hoop, lines (n, 4, 3), how deep the hoop dips.

    ``foot`` (n,) is where a post begins on the base ring, ``walked`` (n,) where it stands beside the chain, ``heads``
    (n,) where it ends on the hoop; ``slope`` (n,) of the dip's flanks. ``way`` (n, 3): to which side a post stands, how
    steep it leans in degrees (no flatter than prints), and how much further out than it must. ``tight`` (n,) is 1 where
    its fillets find no room beside those of gates, else 0.
    """

    foot: FloatArray
    walked: FloatArray
    heads: FloatArray
    lines: FloatArray
    deep: FloatArray
    slope: FloatArray
    way: FloatArray
    tight: FloatArray

    def take(self, rows: IntArray) -> "Spots":
        """Give some of the places."""
        return Spots(*(getattr(self, key)[rows] for key in Spots.__slots__))


def _places(base: Course, upper: Course, feet_mm: FloatArray, heads_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the places (n,) along the upper ring where a post may end, and along the base ring (n, 3) for its foot.

    The feet are in the order of `FEET`.
    """
    order = np.argsort(feet_mm, kind="stable")
    feet, heads = feet_mm[order], heads_mm[order]
    if base.closed:
        feet = np.append(feet, feet[0] + base.length_mm)
        heads = np.unwrap(np.append(heads, heads[0]), period=upper.length_mm)
        if heads[-1] - heads[0] < 0.5 * upper.length_mm:
            heads[-1] += upper.length_mm
    share = np.array(BETWEEN)
    below = feet[:-1, None] + share * np.diff(feet)[:, None]
    before, after = (np.repeat(x[:, None], len(share), axis=1) for x in (feet[:-1], feet[1:]))
    before[:, 0], after[:, 0] = below[:, 0], below[:, 0]
    walked = np.stack((below, before, after), axis=2).reshape(-1, 3)
    above = (heads[:-1, None] + share * np.diff(heads)[:, None]).ravel()
    if not base.closed:
        walked, above = np.concatenate((walked, np.full((1, 3), feet[-1]))), np.append(above, heads[-1])
    kept = np.diff(walked[:, 0], prepend=-np.inf) > 1e-6
    walked, above = walked[kept], above[kept]
    rising = np.diff(np.maximum.accumulate(above), prepend=-np.inf) > 1e-6
    return walked[rising], above[rising]


def find_spots(setting: Setting, feet_mm: FloatArray, heads_mm: FloatArray) -> Steps[Spots]:
    """Find where posts can stand, with room for fillets where that costs nothing of the dip.

    ``feet_mm`` (g,) are where gates stand on the base ring, ``heads_mm`` (g,) where those of the same bodies hang from
    the upper ring. A gate's node is no place with room: in the corner between gate and post no ball finds a place.
    """
    walked, heads = _places(setting.base, setting.upper, feet_mm, heads_mm)
    if setting.fillet_mm <= 0.0:
        return (yield from _spots(setting, walked, heads, 0.0))
    spots = yield from part(_spots(setting, walked, heads, 0.0), 0.0, 0.5)
    wide = yield from part(_spots(setting, walked, heads, 2 * setting.fillet_mm), 0.5, 1.0)
    row = np.searchsorted(spots.heads, wide.heads)
    as_deep = np.flatnonzero(wide.deep >= spots.deep[row] - 1e-9)
    both = {key: np.array(getattr(spots, key)) for key in Spots.__slots__}
    for key, values in both.items():
        values[row[as_deep]] = getattr(wide, key)[as_deep]
    both["tight"] = np.ones(len(spots.heads))
    both["tight"][row[as_deep]] = 0.0
    return Spots(**both)


def _spots(setting: Setting, walked: FloatArray, heads: FloatArray, more_mm: float) -> Steps[Spots]:
    """Find the places that have a way past the chain, and there the deepest dip that has one.

    By ``more_mm`` over the web the ends of posts keep clear of those of gates.
    """
    n, r = len(walked), setting.sizes.upper_ring_mm / 2
    # Twice the climb: a flank that falls with the course is as steep as one on a level ring.
    slope = setting.steepest + 2.0 * _grade(setting.upper, heads)
    most = _deepest(setting, heads, slope)
    blocked = _blocked(setting, walked, heads, more_mm)
    deep, way, foot = np.full(n, -1.0), np.zeros((n, 3)), np.zeros(n)
    drawn = np.full((n, 4, 3), np.nan)
    tries = [
        (number, (side, lean, wider))
        for wider in WIDER_MM
        for number in range(len(FEET))
        for side in (1.0, -1.0)
        for lean in LEANS_DEG
    ]
    for turn, (number, tried) in enumerate(tries):
        missing = np.flatnonzero((deep < most) & ~blocked[:, number])
        near = turn < len(tries) // len(WIDER_MM)
        if not near and _spanned(heads, deep, slope, setting):
            break
        if not len(missing):
            continue
        spot = np.repeat(missing, len(DEPTHS))
        low = most[spot] * np.tile(DEPTHS, len(missing))
        low[low < LEAST_DIP * r] = 0.0
        fresh = low > deep[spot]
        fresh[1:] &= (spot[1:] != spot[:-1]) | (low[1:] != low[:-1])
        spot, low = spot[fresh], low[fresh]
        some = Spots(
            walked[spot, number],
            walked[spot, 0],
            heads[spot],
            drawn[spot],
            low,
            slope[spot],
            np.tile(tried, (len(spot), 1)),
            np.zeros(len(spot)),
        )
        line = post_lines(setting, some)
        yield (turn + 0.3) / len(tries)
        good = np.flatnonzero(passes(setting, line) & hoop_fits(setting, some))
        for row in good[np.argsort(-low[good], kind="stable")]:
            k = spot[row]
            if low[row] > deep[k] and stands(setting, line[row], float(low[row])):
                deep[k], way[k], drawn[k], foot[k] = low[row], tried, line[row], some.foot[row]
        yield (turn + 1) / len(tries)
    rows = np.flatnonzero(deep >= 0.0)
    return Spots(
        foot[rows],
        walked[rows, 0],
        heads[rows],
        drawn[rows],
        deep[rows],
        slope[rows],
        way[rows],
        np.zeros(len(rows)),
    )


def _blocked(setting: Setting, walked: FloatArray, heads: FloatArray, more_mm: float) -> BoolArray:
    """Tell which feet (n, 3) need not be tried: the same as before, or too near to a gate, or so the head, (n, 3).

    The node of a gate is not too near, unless ``more_mm`` than the web is wanted.
    """
    blocked = np.asarray(walked == walked[:, :1])
    blocked[:, 0] = False
    floor, r = setting.profile.strut_web_mm + more_mm, setting.sizes.post_mm / 2
    node = NODE_MM if more_mm == 0.0 else -1.0
    ends = [(points[[0, -1]], radii[[0, -1]]) for points, radii in setting.standing.rods()]
    if not ends:
        return blocked
    other, thick = np.concatenate([e for e, _ in ends]), np.concatenate([t for _, t in ends])

    def tight(points: FloatArray) -> BoolArray:
        away = np.linalg.norm(points[:, None] - other, axis=2)
        return np.asarray(((away < r + thick + floor) & (away > node)).any(axis=1))

    up = np.array([0.0, 0.0, setting.base_z_mm])
    for number in range(len(FEET)):
        blocked[:, number] |= tight(setting.base.at(walked[:, number]) + up)
    return np.asarray(blocked | tight(setting.upper.at(heads))[:, None])


def _grade(course: Course, at_mm: FloatArray) -> FloatArray:
    """Give the steepest slope of a course near places (n,): its rise over its length seen from above."""
    near = at_mm[:, None] + np.linspace(-NEAR_MM, NEAR_MM, 11)
    if not course.closed:
        near = np.clip(near, 0.0, course.length_mm)
    ahead = course.ahead(near)
    return np.asarray(np.abs(ahead[..., 2] / np.maximum(np.hypot(ahead[..., 0], ahead[..., 1]), 0.1)).max(axis=1))


def _deepest(setting: Setting, heads: FloatArray, slope: FloatArray) -> FloatArray:
    """Give how deep the hoop may dip at each place (n,) for the gates that hang near.

    A gate on a flank loses the dip's depth there, and what the slope adds to the hoop's half thickness.
    """
    r = setting.sizes.upper_ring_mm / 2
    if not setting.gates:
        return np.zeros(len(heads))
    at = hang_from(setting.upper, setting.gates)
    spare = np.array([_spare(gate, setting.keep_mm, r) for gate in setting.gates])
    away = np.maximum(np.abs(along(setting.upper, at, heads[:, None])) - BOTTOM * r, 0.0)
    thicker = r * (np.sqrt(1.0 + slope**2) - 1.0)
    allowed = np.maximum(spare - thicker[:, None], 0.0) + slope[:, None] * away
    return np.asarray(allowed.min(axis=1))


def _spare(gate: Gate, keep_mm: float, radius_mm: float) -> float:
    """Give by how much a gate may be cut back. A bent one keeps its foot, and that of one that leans stays near."""
    start, knee, root = gate.points[:3]
    way = start - knee
    if np.linalg.norm(np.cross(way, knee - root)) > 1e-9:
        return 0.0
    aside = float(np.hypot(way[0], way[1]) / way[2])
    return max(0.0, min(gate.clear_mm - keep_mm, ASIDE * radius_mm / max(aside, 1e-6), float(way[2]) / 2))


def _spanned(heads: FloatArray, deep: FloatArray, slope: FloatArray, setting: Setting) -> bool:
    """Tell whether posts at all the places that have a way leave no span over the limit."""
    found = np.flatnonzero(deep >= 0.0)
    if not len(found):
        return False
    at, run, upper = heads[found], deep[found] / slope[found], setting.upper
    inner = bool((np.diff(at) <= setting.reach_mm + run[1:] + run[:-1]).all())
    if upper.closed:
        return inner and bool(at[0] + upper.length_mm - at[-1] <= setting.reach_mm + run[0] + run[-1])
    return inner and bool(max(at[0], upper.length_mm - at[-1]) <= setting.reach_mm)


def post_lines(setting: Setting, spots: Spots) -> FloatArray:
    """Draw posts (n, 4, 3), NaN where the two leans do not fit under the upper ring."""
    base = setting.base
    side, lean_deg, wider_mm = spots.way.T
    foot = np.array(base.at(spots.foot))
    foot[:, 2] += setting.base_z_mm
    above = np.array(setting.upper.at(spots.heads))
    above[:, 2] -= spots.deep
    ahead = base.ahead(spots.walked)
    out = (side * _outward(base))[:, None] * np.stack((ahead[:, 1], -ahead[:, 0]), axis=1)
    clear = setting.profile.strut_web_aim_mm + setting.sizes.post_mm / 2 + 0.05 + wider_mm
    away = np.maximum(_flank(base, spots.walked, side, setting.lines) + clear, 0.5)
    aside = away[:, None] * out
    slope = np.maximum(np.tan(np.radians(lean_deg)), setting.steepest)
    beside = base.at(spots.walked)[:, :2] + aside
    low = np.column_stack((beside, foot[:, 2] + slope * np.linalg.norm(beside - foot[:, :2], axis=1)))
    high = np.column_stack((above[:, :2] + aside, above[:, 2] - slope * away))
    rise, run = high[:, 2] - low[:, 2], np.linalg.norm(high[:, :2] - beside, axis=1)
    fits = (rise > 0.5) & (rise >= setting.steepest * run)
    return np.where(fits[:, None, None], np.stack((foot, low, high, above), axis=1), np.nan)


def _outward(course: Course) -> float:
    """Tell which side of a course looks out of it: 1 if the right-hand side does, else -1."""
    if not course.closed:
        return 1.0
    return 1.0 if turns_left(course.at(np.linspace(0.0, course.length_mm, 200, endpoint=False))) else -1.0


def _flank(course: Course, walked: FloatArray, side: FloatArray, lines: Skeletons) -> FloatArray:
    """Measure how far the metal of the nearest three links stands out of the course to each ``side`` (k,), (k,) mm."""
    link = np.abs(along(course, course.at_mm, walked[:, None])).argmin(axis=1)
    wide = np.empty(len(walked))
    for way in np.unique(side):
        rows = np.flatnonzero(side == way)
        wide[rows] = _width(course, way * _outward(course), lines)[link[rows]]
    return wide


def _width(course: Course, sign: float, lines: Skeletons) -> FloatArray:
    """Give how far each link and its neighbours stand out to the right of the course, or for -1 to the left, (n,)."""
    n = len(course.at_mm)
    centre, ahead = course.at(course.at_mm), course.ahead(course.at_mm)
    bend = course.bends(course.at_mm)
    reach = np.empty(n)
    # One figure per link and side, taken over the link itself; a link's ends lean out of a bent course.
    for k in range(n):
        offset = lines.line(k)[:, :2] - centre[k, :2]
        right = np.array([ahead[k, 1], -ahead[k, 0]]) * sign
        along = offset @ ahead[k, :2]
        reach[k] = (np.abs(bend[k]) * along**2 / 2 + offset @ right).max() + lines.radius_mm[k]
    if course.closed:
        return np.maximum(reach, np.maximum(np.roll(reach, 1), np.roll(reach, -1)))
    padded = np.concatenate((reach[:1], reach, reach[-1:]))
    return np.maximum(reach, np.maximum(padded[:-2], padded[2:]))


def passes(setting: Setting, line: FloatArray) -> BoolArray:
    """Tell which posts (n, 4, 3) can be drawn and keep the floor from every link, (n,)."""
    fits = np.isfinite(line).all(axis=(1, 2))
    rods = Rods(line[fits], np.full((int(fits.sum()), 3), setting.sizes.post_mm / 2))
    gap, _ = clearances(rods, np.full(len(rods), -1), setting.lines, reach_mm=setting.profile.strut_web_aim_mm + 0.5)
    fits[fits] = gap >= setting.profile.strut_web_mm
    return np.asarray(fits)


def hoop_fits(setting: Setting, spots: Spots) -> BoolArray:
    """Tell at which places (n,) the hoop, dipping, keeps from the links what struts aim for; without a dip at all."""
    fits = np.ones(len(spots.deep), dtype=bool)
    dips = np.flatnonzero(spots.deep > 0.0)
    r = setting.sizes.upper_ring_mm / 2
    run = BOTTOM * r + (spots.deep / spots.slope)[dips]
    at = spots.heads[dips, None] + np.stack(
        (-run, np.full(len(run), -BOTTOM * r), np.full(len(run), BOTTOM * r), run), 1
    )
    points = np.array(setting.upper.at(at))
    points[:, 1:3, 2] -= spots.deep[dips, None]
    gap, _ = clearances(
        Rods(points, np.full((len(dips), 3), r)),
        np.full(len(dips), -1),
        setting.lines,
        reach_mm=setting.profile.strut_web_aim_mm + 0.5,
    )
    fits[dips] = gap >= setting.profile.strut_web_aim_mm
    return np.asarray(fits)


def stands(setting: Setting, line: FloatArray, dip_mm: float) -> bool:
    """Tell whether a post (4, 3) keeps the floor from the struts that stand, its head ``dip_mm`` under the course."""
    floor, r = setting.profile.strut_web_mm, setting.sizes.post_mm / 2
    # Gates are cut back to the dip, so that one at the head shares its node.
    node = line[-1:] + np.array([0.0, 0.0, dip_mm])
    points, radii = (np.concatenate((line, node)), np.full(4, r)) if dip_mm > 0.0 else (line, np.full(3, r))
    if setting.standing.gap(points, radii, floor + 1e-9, node_mm=NODE_MM) < floor:
        return False
    for spoke in setting.spokes:
        points, radii = spoke.rod()
        if np.linalg.norm(line[0] - points[-1]) <= NODE_MM:
            continue
        last = spoke.struts[-1]
        node = (last.d_start_mm + last.d_end_mm) / 2 + NODE_MM
        # What grows from the ring where a spoke meets it is one node with it.
        begin = line[0] - points[-1]
        first = line[1] - line[0]
        b, c = float(begin @ first), float(begin @ begin) - node**2
        share = (-b + np.sqrt(max(b * b - float(first @ first) * c, 0.0))) / float(first @ first) if c < 0.0 else 0.0
        beyond = np.concatenate((line[:1] + min(share, 0.99) * first, line[1:]))
        if rod_gap(beyond, np.full(3, r), points[None], radii[None])[0] < floor:
            return False
    return True
