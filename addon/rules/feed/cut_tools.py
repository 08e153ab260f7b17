"""What takes a gate off, and whether it gets there: a threaded saw, a disc, a nipper.

Every tool is judged in the plane of the cut, square to the gate, against all metal that is still there.

A threaded saw is a blade that is let go at one end, pushed through beside the gate, and clamped into its frame again.
It then eats across the gate sideways. So a straight strip of the plane must be free: as wide as the gate plus the
blade, as thick as the blade, ``BLADE_FREE_MM`` long for a short blade and its stroke, and reaching past the gate both
ways. The frame stands over the chain with an arm at either end of the blade; it is not looked at.

A disc comes in straight from one side, in its own plane, until it has passed the gate's far side; its middle and the
mandrel follow the same way, with the handpiece some way up the mandrel and the screw's head on the other face. It may
be held with the mandrel on either side of the plane.

A nipper comes in likewise: two jaws to both sides of the gate, flat towards the link and sloping away from it, its
handles behind.

What is further from the gate than ``FAR_MM`` is out of the tool's way: there is room to lift it over. All of this and
the measures below are common practice, no published source; the mandrel's 2.35 mm is a standard shank, from memory.
"""

from dataclasses import dataclass, replace
from math import pi

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..solid.mesh import FloatArray, IntArray

BoolArray = npt.NDArray[np.bool_]

# A tool keeps this far from links, so that a trembling hand leaves no mark; feed metal it may graze. Our judgement.
KEEP_MM = 0.15
# Metal is looked at this far from the gate.
FAR_MM = 80.0
# A saw blade with its set; how much of it must lie free, and how much of that at least to either side of the gate.
BLADE_WIDE_MM, BLADE_THICK_MM = 0.7, 0.35
BLADE_FREE_MM, BLADE_END_MM = 60.0, 12.0
# How many lines are tried for a blade, and how many of the free ones are measured.
BLADE_DIRECTIONS, MOST_LINES = 144, 8
SAME_PLACE_MM = 0.02
# A disc goes this far past the gate; its mandrel, the screw's head, and the handpiece on the mandrel.
PAST_MM = 0.1
MANDREL_MM, MANDREL_FREE_MM = 2.35, 18.0
HEAD_MM, HEAD_HIGH_MM = 5.0, 2.0
HANDPIECE_MM, HANDPIECE_LONG_MM = 18.0, 100.0
# Jaws: so wide beside the gate, so far past it, so thick; cheeks and handles begin behind. The thickest gate they take.
JAW_WIDE_MM, JAW_PAST_MM, JAW_THICK_MM = 3.0, 1.0, 2.0
CHEEKS_BACK_MM, CHEEKS_WIDE_MM, CHEEKS_THICK_MM = 6.0, 6.0, 4.0
HANDLES_BACK_MM, HANDLES_WIDE_MM, HANDLES_THICK_MM = 18.0, 9.0, 10.0
NIPPED_MM = 2.5
# Free distances are told up to here.
TOLD_MM = 2.0
# How many of the widest free arcs are looked at, and how many directions where none is free.
MOST_ARCS = 3
SEEN_DIRECTIONS = 24
# What bars a tool mostly lies this near.
CLOSE_MM = 30.0


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of a tool that comes in from a side: all within ``radius_mm`` of a line that leads away from the gate.

    ``low_mm`` to ``high_mm`` is how it lies along the gate, counted from the cut towards the link. The line begins
    ``back_mm`` behind the tool's middle. A part that is ``wider`` has the gate's radius on top of its own.
    """

    low_mm: float
    high_mm: float
    radius_mm: float
    back_mm: float = 0.0
    wider: bool = False


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool. ``room_mm`` the clear length of gate it asks for, ``kerf_mm`` what it takes off, ``flat_mm`` how far it
    reaches from the middle of the cut towards the link, ``most_mm`` the thickest gate it cuts.

    ``ways`` are the ways it can be held, each as parts that come in from a side; none for a threaded blade.
    ``past_mm`` how far from the tool's middle its edge lies, less how far that must go past the gate's far side.
    """  # noqa: D205

    name: str
    words: str
    room_mm: float
    kerf_mm: float
    flat_mm: float
    most_mm: float
    ways: tuple[tuple[Part, ...], ...] = ()
    past_mm: float = 0.0

    def middle_mm(self, radius_mm: float) -> float:
        """Give how far from the axis of a gate of this radius the tool's middle is when the gate is cut through."""
        return self.past_mm if any(p.wider for way in self.ways for p in way) else self.past_mm - radius_mm


def saw() -> Tool:
    """Give the threaded saw."""
    return Tool("saw", "threaded saw", 3.0, BLADE_THICK_MM, BLADE_THICK_MM / 2, np.inf)


def disc(disc_mm: float = 22.0, disc_thick_mm: float = 0.7) -> Tool:
    """Give a disc of this diameter and thickness. Raises BadInput for sizes no disc has."""
    if not (np.isfinite(disc_mm) and 5.0 <= disc_mm <= 60.0):
        raise BadInput(f"cutting: a disc of {disc_mm:g} mm does not work; give its diameter, 5 to 60 mm")
    if not (np.isfinite(disc_thick_mm) and 0.1 <= disc_thick_mm <= 2.0):
        raise BadInput(f"cutting: a disc {disc_thick_mm:g} mm thick does not work; give 0.1 to 2 mm")
    half, free = disc_thick_mm / 2, disc_thick_mm / 2 + MANDREL_FREE_MM
    below = (
        Part(-half, half, disc_mm / 2),
        Part(-free, -half, MANDREL_MM / 2),
        Part(half, half + HEAD_HIGH_MM, HEAD_MM / 2),
        Part(-free - HANDPIECE_LONG_MM, -free, HANDPIECE_MM / 2),
    )
    above = tuple(Part(-p.high_mm, -p.low_mm, p.radius_mm) for p in below)
    # The mandrel's screw must stay beside the gate.
    most = disc_mm / 2 - HEAD_MM / 2 - PAST_MM - KEEP_MM
    return Tool("disc", f"{disc_mm:g} mm disc", 4.0, disc_thick_mm, half, most, (below, above), disc_mm / 2 - PAST_MM)


def nipper() -> Tool:
    """Give a flush-cutting nipper."""
    jaws = Part(-JAW_THICK_MM, 0.0, JAW_WIDE_MM, wider=True)
    cheeks = Part(-CHEEKS_THICK_MM, 0.0, CHEEKS_WIDE_MM, back_mm=CHEEKS_BACK_MM)
    handles = Part(-HANDLES_THICK_MM, 0.0, HANDLES_WIDE_MM, back_mm=HANDLES_BACK_MM)
    past = JAW_WIDE_MM - JAW_PAST_MM
    return Tool("nipper", "nipper", JAW_THICK_MM + KEEP_MM, 0.0, 0.0, NIPPED_MM, ((jaws, cheeks, handles),), past)


@dataclass(frozen=True, slots=True, eq=False)
class Metal:
    """Metal seen from a cut, as balls: ``across`` (n, 2) in its plane, ``height`` (n,) towards the link, ``radius``.

    The gate's axis stands at the origin. ``keep`` (n,) is how far a tool stays away, ``owner`` (n,) numbers whose each
    ball is.
    """

    across: FloatArray
    height: FloatArray
    radius: FloatArray
    keep: FloatArray
    owner: IntArray

    def take(self, rows: IntArray | BoolArray) -> "Metal":
        """Give some of the balls."""
        return Metal(self.across[rows], self.height[rows], self.radius[rows], self.keep[rows], self.owner[rows])

    def lower(self, by_mm: float) -> "Metal":
        """Give the same metal seen from a cut that lies ``by_mm`` nearer to the link."""
        return replace(self, height=self.height - by_mm)


@dataclass(frozen=True, slots=True)
class Way:
    """A way of a tool to a gate: its direction as an angle in the plane, and its distance from other metal.

    For a disc or a nipper the angle points to where it comes from, for a saw along the blade, which eats to the left.
    Distances over `TOLD_MM` read so. Below what must be kept it is no way; ``owner`` is then whose metal is nearest, -1
    for the gate itself.
    """

    fits: bool
    clearance_mm: float
    angle: float
    owner: int = -1


def best_way(tool: Tool, metal: Metal, radius_mm: float) -> Way | None:
    """Find a way of a tool to a gate of this radius, well clear of all metal; None where there is none."""
    if 2 * radius_mm > tool.most_mm:
        return None
    if not tool.ways:
        return _threaded(metal, radius_mm)
    middle = tool.middle_mm(radius_mm)
    for held in tool.ways:
        arcs = _free(*_barred_arcs(held, middle, metal, radius_mm))
        if len(arcs):
            widest = arcs[np.argsort(arcs[:, 0] - arcs[:, 1], kind="stable")[:MOST_ARCS]]
            way = _clearest(held, middle, metal, radius_mm, widest.mean(axis=1))
            if way.fits:
                return way
    return None


def nearest_way(tool: Tool, metal: Metal, radius_mm: float, angle: float | None = None) -> Way:
    """Give the way that keeps furthest from metal, or how near one ``angle`` comes: what bars a tool."""
    if 2 * radius_mm > tool.most_mm:
        return Way(False, 0.0, 0.0)
    close = metal.take(np.einsum("ij,ij->i", metal.across, metal.across) < CLOSE_MM**2)
    way = _nearest(tool, close, radius_mm, angle)
    # What bars it may lie further off than is likely.
    return way if way.owner >= 0 else _nearest(tool, metal, radius_mm, angle)


def _nearest(tool: Tool, metal: Metal, radius_mm: float, angle: float | None) -> Way:
    middle, step = tool.middle_mm(radius_mm), 2 * pi / SEEN_DIRECTIONS
    tried = []
    for held in tool.ways or ((),):
        if angle is None:
            rough = _clearest(held, middle, metal, radius_mm, np.arange(SEEN_DIRECTIONS) * step, told_mm=0.0)
            angles = rough.angle + np.linspace(-step, step, SEEN_DIRECTIONS // 2 + 1)
        else:
            angles = np.array([angle])
        tried.append(_clearest(held, middle, metal, radius_mm, angles, told_mm=0.0))
    return replace(max(tried, key=lambda way: way.clearance_mm), fits=False)


def _barred_arcs(
    held: tuple[Part, ...], middle_mm: float, metal: Metal, radius_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Give the angles at which parts that come in straight would meet metal: middles and half widths of arcs."""
    centres, halves = [], []
    x, y = metal.across.T
    direction, away = np.arctan2(y, x), np.sqrt(x * x + y * y)
    for part in held:
        beside = _beside(part.low_mm, part.high_mm, metal)
        whole = metal.radius + metal.keep
        near = beside < whole
        ball = np.sqrt(whole[near] ** 2 - beside[near] ** 2)
        centres.append(direction[near])
        reach = ball + part.radius_mm + part.wider * radius_mm
        halves.append(_barred(away[near], reach, middle_mm + part.back_mm))
    return np.concatenate(centres), np.concatenate(halves)


def _beside(low_mm: float, high_mm: float, metal: Metal) -> FloatArray:
    """Give how far each ball's middle lies above or below a part, (n,)."""
    return np.asarray(np.maximum(np.maximum(low_mm - metal.height, metal.height - high_mm), 0.0))


def _barred(away: FloatArray, reach: FloatArray, begin_mm: float) -> FloatArray:
    """Give the half angle about a point's own direction in which a part that begins at ``begin_mm`` would meet it.

    ``away`` (n,) is the point's distance from the gate, ``reach`` (n,) how near the part's line may not come to it. The
    distance from a half-line to the point grows with the angle between them; this solves it for ``reach``.
    """
    both = np.maximum(2 * away * begin_mm, 1e-12)
    cosine = (away**2 + begin_mm**2 - reach**2) / both
    half = np.arccos(np.clip(cosine, -1.0, 1.0))
    half = np.where(cosine <= -1.0, 2 * pi, half)
    along = away * np.cos(half) > begin_mm
    return np.where(along, np.arcsin(np.clip(reach / np.maximum(away, 1e-12), 0.0, 1.0)), half)


def _threaded(metal: Metal, radius_mm: float) -> Way | None:
    """Find a line for a blade, out of many, on which it and its stroke lie free."""
    half = BLADE_THICK_MM / 2
    beside = _beside(-half, half, metal)
    whole = metal.radius + metal.keep
    near = np.flatnonzero(beside < whole)
    ball = np.sqrt(whole[near] ** 2 - beside[near] ** 2)
    x, y = metal.across[near].T
    # Rods that stand square to the plane are many balls at one place: the largest counts.
    cell = np.round(x / SAME_PLACE_MM) * 1e6 + np.round(y / SAME_PLACE_MM)
    order = np.lexsort((-ball, cell))
    few = order[(np.diff(cell[order], prepend=np.inf) != 0.0) & (np.hypot(x, y) - ball < BLADE_FREE_MM)[order]]
    x, y, ball = x[few], y[few], ball[few]
    angles = np.arange(BLADE_DIRECTIONS) * (2 * pi / BLADE_DIRECTIONS)
    cos, sin = np.cos(angles)[:, None], np.sin(angles)[:, None]
    along, left = cos * x + sin * y, cos * y - sin * x
    # The strip reaches from the far side of the gate on the left to the blade's back on the right.
    out = np.maximum(np.maximum(left - radius_mm, -(radius_mm + BLADE_WIDE_MM) - left), 0.0)
    chord = np.sqrt(np.maximum(ball**2 - out**2, 0.0))
    met = out < ball
    ahead = np.where(met & (along + chord > 0.0), along - chord, BLADE_FREE_MM).min(axis=1, initial=BLADE_FREE_MM)
    behind = np.where(met & (along - chord < 0.0), -along - chord, BLADE_FREE_MM).min(axis=1, initial=BLADE_FREE_MM)
    free = (ahead + behind >= BLADE_FREE_MM) & (np.minimum(ahead, behind) >= radius_mm + BLADE_END_MM)
    if not free.any():
        return None
    angles = angles[free]
    way = _clearest((), 0.0, metal, radius_mm, angles[:: max(1, len(angles) // MOST_LINES)])
    return way if way.fits else None


def _free(centres: FloatArray, halves: FloatArray) -> FloatArray:
    """Give the arcs (k, 2) of a circle that no barred arc, ``centres`` give or take ``halves``, covers."""
    if (halves >= pi).any():
        return np.zeros((0, 2))
    centres, halves = centres[halves > 0.0], halves[halves > 0.0]
    if not len(halves):
        return np.array([[0.0, 2 * pi]])
    begin = np.mod(centres - halves, 2 * pi)
    order = np.argsort(begin, kind="stable")
    begin, end = begin[order], (begin + 2 * halves)[order]
    covered = np.maximum.accumulate(np.concatenate(([end.max() - 2 * pi], end)))[:-1]
    gap = begin > covered + 1e-9
    return np.stack((covered[gap], begin[gap]), axis=1)


def _clearest(
    held: tuple[Part, ...],
    middle_mm: float,
    metal: Metal,
    radius_mm: float,
    angles: FloatArray,
    *,
    told_mm: float = TOLD_MM,
) -> Way:
    """Choose the angle (t,) that keeps furthest from metal; no parts are a threaded blade."""
    least, keep, owner = np.full(len(angles), told_mm), np.zeros(len(angles)), np.full(len(angles), -1)
    blade = (Part(-BLADE_THICK_MM / 2, BLADE_THICK_MM / 2, 0.0),)
    for part in held or blade:
        beside = _beside(part.low_mm, part.high_mm, metal)
        within = metal.radius + metal.keep + told_mm
        near = np.flatnonzero(beside < within)
        if not held:
            flat = np.einsum("ij,ij->i", metal.across[near], metal.across[near])
            near = near[flat < (within[near] + 2 * radius_mm + BLADE_END_MM + BLADE_WIDE_MM) ** 2]
        if not len(near):
            continue
        x, y = metal.across[near].T
        high2, whole = beside[near] ** 2, (metal.radius + metal.keep)[near]
        begin, reach = middle_mm + part.back_mm, part.radius_mm + part.wider * radius_mm
        nearest, found = np.zeros(len(angles), dtype=np.int64), np.zeros(len(angles))
        # One angle at a time keeps what is reckoned with in the processor's cache.
        for k, (cos, sin) in enumerate(zip(np.cos(angles), np.sin(angles), strict=True)):
            along, left = cos * x + sin * y, cos * y - sin * x
            if held:
                before = np.maximum(begin - along, 0.0)
                out2 = np.maximum(np.sqrt(before * before + left * left) - reach, 0.0) ** 2
            else:
                beyond = np.maximum(np.abs(along) - radius_mm - BLADE_END_MM, 0.0)
                out2 = np.maximum(np.maximum(left - radius_mm, -(radius_mm + BLADE_WIDE_MM) - left), 0.0) ** 2
                out2 += beyond * beyond
            spare = np.sqrt(out2 + high2) - whole
            nearest[k] = spare.argmin()
            found[k] = spare[nearest[k]]
        owner = np.where(found < least, metal.owner[near[nearest]], owner)
        keep = np.where(found < least, metal.keep[near[nearest]], keep)
        least = np.minimum(least, found)
    best = int(least.argmax())
    fits = bool(least[best] >= -1e-9)
    return Way(
        fits, float(least[best] + keep[best]), float(np.mod(angles[best], 2 * pi)), -1 if fits else int(owner[best])
    )
