"""How good a place of a body is for a gate, figure by figure, and why in words.

Every figure goes from 0, poor, to 1, good. Weights and ranges are our judgement; there is no published source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..solid.mesh import Body, FloatArray, IntArray
from .around import FAR_MM, WAYS, Clouds, Joints, clouds, joints, saw_room, to_joints
from .keep_out import KeepOut, keep_out
from .spec import FeedSpec

# The figures in their order, and what each counts. A start of the print must be held or nothing prints, so it outweighs
# all that can be filed or sawn; thick metal freezes last and hides a tip; a low place has the short gate; a stub in a
# joint spoils how the link moves; saw room and the face are work at the bench.
WEIGHTS = {
    "holding": 5.0,
    "thickness": 3.0,
    "low": 3.0,
    "contact": 2.0,
    "saw": 2.0,
    "face": 1.0,
}
# A tip of this share of the wire stands for all where the maker wrote none, as long gates have it; one this thick on
# bodies that we did not draw.
TIP_SHARE, TIP_MM = 0.75, 1.5
# Beyond this from a joint its wear does not come.
CLEAR_OF_JOINT_MM = 2.0
# A threaded saw takes a clear cut of this, and swings through this much of a turn at ease.
SAW_MM, AT_EASE_DEG = 3.0, 120.0
# From here on a face counts as plane, or as looking outward or inward.
PLANE, LOOKS = 0.7, 0.4
FAR_WORDS_MM = 4.0
# A chain whose ends lie no more than so many steps apart goes round.
CLOSED = 1.2
# Gates may enter a little beside the lowest place.
AT_LOWEST_MM = 0.3


@dataclass(frozen=True, slots=True)
class Score:
    """Why one place is good or poor for a gate: figures 0 to 1, their ``total``, and what they come from.

    ``thick_mm`` of the metal, ``thickest_mm`` of its body; ``above_low_mm`` above the body's lowest place; ``starts``
    tells that printing of ``body`` begins there; ``flat`` the share of the surface around that is plane, ``shows`` 1
    where it looks outward and -1 inward; ``saw_mm`` free for a saw that comes ``saw_from``; ``joint_mm`` from the edge
    of the tip to where ``rubs`` does, negative inside; ``room_mm`` from there to what the maker keeps out. Distances
    may be infinite.
    """

    body: str
    thickness: float
    holding: float
    low: float
    face: float
    saw: float
    contact: float
    keep_out: float
    total: float
    thick_mm: float
    thickest_mm: float
    above_low_mm: float
    starts: bool
    flat: float
    shows: float
    saw_mm: float
    saw_from: str
    joint_mm: float
    rubs: str | None
    room_mm: float

    def words(self) -> tuple[str, ...]:
        """Say it in short lines, the figures with them."""
        lines = [self._metal(), self._held()]
        flat = self.flat >= PLANE
        if self.shows >= LOOKS:
            lines.append(f"{'a flat face' if flat else 'a face'} that looks outward: what is left of the stub shows")
        elif flat:
            lines.append("a flat face, files clean")
        elif self.shows <= -LOOKS:
            lines.append("looks inward, hidden when worn")
        else:
            lines.append("a round edge, filed to shape")
        if self.saw_mm >= SAW_MM:
            most = "or more " if self.saw_mm >= FAR_MM else ""
            lines.append(f"a saw gets in {self.saw_from}: {self.saw_mm:.1f} mm {most}free")
        else:
            lines.append(f"tight for a saw: {self.saw_mm:.1f} mm free {self.saw_from}, {SAW_MM:g} mm are wanted")
        if self.joint_mm <= 0.0:
            lines.append(f"inside the joint: {self.rubs} rubs here, so the stub must be filed flush")
        elif self.rubs is not None and self.joint_mm <= FAR_WORDS_MM:
            lines.append(f"{self.joint_mm:.1f} mm from where {self.rubs} rubs")
        else:
            lines.append("away from every joint")
        if self.room_mm < 0.0:
            lines.append("where you want no gate: it is kept out")
        elif self.room_mm <= FAR_WORDS_MM:
            lines.append(f"{self.room_mm:.1f} mm clear of what you keep out")
        lines.append(f"score {self.total:.2f} of 1")
        return tuple(lines)

    def _metal(self) -> str:
        line = f"metal {self.thick_mm:.1f} mm thick"
        thinner = self.thick_mm < 0.9 * self.thickest_mm
        return f"{line}, {self.thickest_mm:.1f} mm at its thickest" if thinner else line

    def _held(self) -> str:
        if not self.starts:
            return f"{self.above_low_mm:.1f} mm above the lowest place: feeds and steadies, holds no start of the print"
        if self.above_low_mm < AT_LOWEST_MM:
            return f"holds the start of {self.body}"
        return f"holds a start of {self.body}, {self.above_low_mm:.1f} mm above its lowest place"


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places to be scored, seen from their side: where a gate would enter.

    ``body`` (k,), ``surface`` (k, 3), ``facing`` (k, 3) the unit normal there, ``thick_mm`` (k,) of the metal,
    ``flat`` (k,) the share of the surface around that is plane, ``starts`` (k,) whether printing begins there.
    """

    body: IntArray
    surface: FloatArray
    facing: FloatArray
    thick_mm: FloatArray
    flat: FloatArray
    starts: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """What places are scored by: the bodies from one side, ``view`` (3,) being ones or mirrored in z.

    ``outward`` (n, 3) points from the middle of the job, level, and is short where a chain runs straight.
    ``tip_mm`` is the tip that is to fit.
    """

    bodies: tuple[Body, ...]
    view: FloatArray
    around: Clouds
    joints: Joints
    outward: FloatArray
    keep_out: KeepOut
    tip_mm: float


def setting(bodies: Sequence[Body], spec: FeedSpec, view: FloatArray, *, tip_mm: float | None = None) -> Setting:
    """Look at a job from below, or with ``view`` (1, 1, -1) from above.

    ``tip_mm`` is the tip that is to fit; None for the one written, or the usual one.
    """
    bodies = tuple(bodies)
    if tip_mm is None:
        wires = [2 * TIP_SHARE * body.wire.radius_mm for body in bodies if body.wire is not None]
        tip_mm = spec.tip_mm if spec.tip_mm is not None else max(wires, default=TIP_MM)
    here = clouds(bodies)
    found = joints(bodies, here)
    seen = Joints(found.places * view, found.body, found.other, found.first)
    return Setting(
        bodies, view, here.seen(view), seen, _outward(here), keep_out(bodies, spec, above=bool(view[2] < 0)), tip_mm
    )


def _outward(of: Clouds) -> FloatArray:
    """Tell where outward is, (n, 3): from the middle of all, as far as that is square to the way the chain runs."""
    middle = (of.low + of.high) / 2 * [1.0, 1.0, 0.0]
    out = middle - middle.mean(axis=0)
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-6)
    if len(middle) < 3:
        return np.zeros_like(out)
    ahead = np.roll(middle, -1, axis=0) - np.roll(middle, 1, axis=0)
    step = np.linalg.norm(np.diff(middle, axis=0), axis=1).max()
    if np.linalg.norm(middle[-1] - middle[0]) > CLOSED * step:
        ahead[0], ahead[-1] = middle[1] - middle[0], middle[-1] - middle[-2]
    ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-6)
    along = (out * ahead).sum(axis=1, keepdims=True)
    return np.asarray(out * (1.0 - along**2))


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """Scores of many places: each figure of `Score` by name, (k,), and ``total`` (k,)."""

    places: Places
    figures: dict[str, FloatArray]
    total: FloatArray
    thickest_mm: FloatArray
    above_low_mm: FloatArray
    shows: FloatArray
    saw_mm: FloatArray
    saw_way: FloatArray
    joint_mm: FloatArray
    rubs: IntArray
    room_mm: FloatArray

    def one(self, row: int, at: Setting) -> Score:
        """Give the score of one place, with names."""
        p, body = self.places, int(self.places.body[row])
        who = int(self.rubs[row])
        return Score(
            body=at.bodies[body].name,
            **{name: float(values[row]) for name, values in self.figures.items()},
            total=float(self.total[row]),
            thick_mm=float(p.thick_mm[row]),
            thickest_mm=float(self.thickest_mm[row]),
            above_low_mm=float(self.above_low_mm[row]),
            starts=bool(p.starts[row]),
            flat=float(p.flat[row]),
            shows=float(self.shows[row]),
            saw_mm=float(self.saw_mm[row]),
            saw_from=_whence(self.saw_way[row], at.outward[body]),
            joint_mm=float(self.joint_mm[row]),
            rubs=at.bodies[who].name if who >= 0 else None,
            room_mm=float(self.room_mm[row]),
        )


def scored(places: Places, at: Setting, thickest_mm: FloatArray) -> Scores:
    """Score places; ``thickest_mm`` (n,) is the thickest metal of every body. 0 in all where a place is kept out."""
    body, surface = places.body, places.surface
    low, high = at.around.low[body, 2], at.around.high[body, 2]
    above = np.maximum(surface[:, 2] - low, 0.0)
    shows = (places.facing * at.outward[body]).sum(axis=1)
    # Ways begin at the link's own axis, so that alike links are judged alike wherever they stand.
    ahead = np.array([b.pose.rotation[:2, 0] for b in at.bodies])[body]
    begin = np.arctan2(ahead[:, 1], ahead[:, 0])
    width, saw_mm, way = _widest(saw_room(at.around, surface, begin), begin)
    near, who = to_joints(at.joints, body, surface)
    joint = near - at.tip_mm / 2
    room = _room(at, body, surface)
    figures = {
        "thickness": np.clip(places.thick_mm / np.maximum(thickest_mm[body], 1e-9), 0.0, 1.0),
        "holding": places.starts.astype(np.float64),
        "low": np.clip(1.0 - above / np.maximum(high - low, 1e-9), 0.0, 1.0),
        "face": np.clip(0.5 + 0.5 * places.flat - 0.5 * shows, 0.0, 1.0),
        # Under the room a saw wants it is the more trouble the less there is.
        "saw": np.where(width > 0.0, 0.3 + 0.7 * np.minimum(width / AT_EASE_DEG, 1.0), 0.3 * saw_mm / SAW_MM),
        "contact": np.clip(joint / CLEAR_OF_JOINT_MM, 0.0, 1.0),
        "keep_out": np.clip(room / at.tip_mm, 0.0, 1.0),
    }
    total = sum((weight * figures[name] for name, weight in WEIGHTS.items()), np.zeros(len(body)))
    total = np.where(room < 0.0, 0.0, total / sum(WEIGHTS.values()))
    return Scores(places, figures, total, thickest_mm[body], above, shows, saw_mm, way, joint, who, room)


def _room(at: Setting, body: IntArray, surface: FloatArray) -> FloatArray:
    room = np.full(len(body), np.inf)
    if not at.keep_out:
        return room
    for k in np.unique(body):
        rows, pose = np.flatnonzero(body == k), at.bodies[k].pose
        local = (surface[rows] * at.view - pose.origin) @ pose.rotation
        room[rows] = at.keep_out.room_mm(at.bodies[k], local, at.tip_mm)
    return room


def _widest(free: FloatArray, begin_at: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find the widest sector with saw room in ways run round (k, WAYS): its width in degrees, (k,), 0 for none.

    With it how far it is free in its middle, or at most where there is no such sector, (k,), and that way (k, 3):
    zero where all ways are open.
    """
    open_ = free >= SAW_MM
    run, longest = np.zeros(len(free), dtype=np.int64), np.zeros(len(free), dtype=np.int64)
    end = free.argmax(axis=1)
    for way in range(2 * WAYS):
        run = np.where(open_[:, way % WAYS], run + 1, 0)
        longer = run > longest
        longest, end = np.where(longer, run, longest), np.where(longer, way, end)
    longest = np.minimum(longest, WAYS)
    middle = np.where(longest > 0, end - (longest - 1) // 2, end) % WAYS
    angle = begin_at + middle * (2 * np.pi / WAYS)
    round_about = longest[:, None] == WAYS
    way_there = np.where(round_about, 0.0, np.column_stack((np.cos(angle), np.sin(angle), np.zeros(len(angle)))))
    return longest * (360.0 / WAYS), free[np.arange(len(free)), middle], way_there


def _whence(way: FloatArray, outward: FloatArray) -> str:
    """Name where a saw comes from; no way is all ways."""
    if not way.any():
        return "from every side"
    length = float(np.linalg.norm(outward))
    if length < 0.5:
        return "from the side"
    share = float(way @ outward) / length
    return "from outside" if share > 0.5 else "from inside" if share < -0.5 else "along the chain"
