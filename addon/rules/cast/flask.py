"""Which flask takes the job: its bounding cylinder, upright or leaning, its margins, and what would do if none does."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import FloatArray
from .materials import Flask, SpinArm

# How far a job may lean in its flask: beyond that the far gates no longer lie below what they feed. Our judgement.
MOST_LEAN_DEG = 60
STEEL_G_CM3 = 7.9  # stainless steel, from memory


@dataclass(frozen=True, slots=True)
class Margins:
    """Investment kept around the job, mm, and the metal between the pouring cone and the job.

    ``wall_mm`` 12.7 (half an inch): bench text on lost-wax casting; other bench texts say 10 and 20. ``cover_mm`` over
    the far end, 12 to 20: from memory. ``trunk_mm`` 15 to 20 and ``cone_mm``, how deep the pouring cone reaches in:
    common practice, no published source.
    """

    wall_mm: float = 12.7
    cover_mm: float = 15.0
    trunk_mm: float = 18.0
    cone_mm: float = 10.0

    def needs(self, across_mm: float, tall_mm: float) -> tuple[float, float]:
        """Give the smallest inside diameter and height for a job of this diameter and height (without its trunk)."""
        return across_mm + 2.0 * self.wall_mm, self.cone_mm + self.trunk_mm + tall_mm + self.cover_mm


USUAL_MARGINS = Margins()


@dataclass(frozen=True, slots=True)
class Lean:
    """How a job stands in its flask: leaning by whole degrees towards ``axis`` x or y; 0 where it stands upright.

    ``trunk_more_mm``: by how much the trunk is longer, since the low end of a leaning job comes nearer to the cone.
    """

    deg: int = 0
    axis: str = "x"
    trunk_more_mm: float = 0.0


STANDING = Lean()


@dataclass(frozen=True, slots=True)
class FlaskChoice:
    """The flask a job goes into, what the job needs at least, how it stands in it, and whether it fits."""

    flask: Flask
    needs_diameter_mm: float
    needs_height_mm: float
    findings: tuple[Finding, ...]
    lean: Lean = STANDING

    @property
    def fits(self) -> bool:
        """Tell whether the flask takes the job with its margins."""
        return _holds(self.flask, self.needs_diameter_mm, self.needs_height_mm)


def flask_volume_cm3(flask: Flask) -> float:
    """Give the inside volume of a flask."""
    return math.pi / 4.0 * flask.diameter_mm**2 * flask.height_mm / 1000.0


def flask_wall_g(flask: Flask) -> float:
    """Give the mass of a flask's steel wall, taken as solid."""
    middle = flask.diameter_mm + flask.wall_mm
    return math.pi * middle * flask.wall_mm * flask.height_mm * STEEL_G_CM3 / 1000.0


def choose_flask(
    flasks: Sequence[Flask],
    across_mm: float,
    size_mm: tuple[float, float, float],
    *,
    head: str,
    asked_mm: tuple[float, float] | None = None,
    margins: Margins = USUAL_MARGINS,
    tilt: bool = False,
    spin_arm: SpinArm | None = None,
) -> FlaskChoice:
    """Choose the smallest flask by volume, so the one of least investment, or check the one asked for.

    ``across_mm`` diameter of the smallest upright cylinder around the job, ``size_mm`` its size along x, y, z, both at
    export scale. A spin or a plain pour takes solid flasks only; under vacuum a perforated one goes first among equals;
    a spin takes none larger than its arm does. With ``tilt`` the job may lean where that saves investment, as little
    as does. Where nothing fits the answer holds the least size that would, and a stop finding.
    """
    ways = _ways(across_mm, size_mm, margins, tilt=tilt)
    upright = ways[0]
    by_kind = [f for f in flasks if head == "vacuum" or not f.perforated]
    usable = [f for f in by_kind if spin_arm is None or head != "spin" or _arm_takes(spin_arm, f)]
    smallest = min((f for f in usable if _way_into(f, ways)), key=_by_size, default=None)
    found = smallest if asked_mm is None else _asked(by_kind, asked_mm)
    way = None if found is None else _way_into(found, ways)
    if found is not None and way is not None:
        if spin_arm is None or head != "spin" or _arm_takes(spin_arm, found):
            return FlaskChoice(found, way.wide, way.tall, (), way.lean)
        text = f"the flask {_words(found)} is too large for {spin_arm.label}, which takes {_arm_words(spin_arm)}"
        text += f"; take {_words(smallest)}" if smallest else f"; {ANOTHER_ARM}"
        value, limit = found.diameter_mm, spin_arm.flask_diameter_mm.value
        if value <= limit:
            value, limit = found.height_mm, spin_arm.flask_height_mm.value
        return FlaskChoice(
            found, way.wide, way.tall, (Finding("spin-arm", "stop", (), text, None, value, limit),), way.lean
        )
    needs = f"with trunk and margins the job needs {upright.wide:.0f} x {upright.tall:.0f} mm"
    code = "flask-size"
    beyond = min((f for f in by_kind if _way_into(f, ways)), key=_by_size, default=None)
    if found is not None:
        flask = against = found
        text = f"the flask {_words(found)} is too small: {needs}"
        text += f"; take {_words(smallest)}" if smallest else f"; {_what_would_do(usable, size_mm, margins, tilt=tilt)}"
    elif spin_arm is not None and beyond is not None:
        code, flask = "spin-arm", beyond
        against = Flask(spin_arm.name, spin_arm.flask_diameter_mm.value, spin_arm.flask_height_mm.value)
        text = f"{spin_arm.label} takes {_arm_words(spin_arm)}, too small for this job: {needs} inside; {ANOTHER_ARM}"
    else:
        flask = Flask("made to measure", float(math.ceil(upright.wide)), float(math.ceil(upright.tall)))
        against = max(usable, key=_by_size, default=Flask("none", 0.0, 0.0))
        text = f"no flask of the table takes the job: {needs} inside"
        text += f"; {_what_would_do(usable, size_mm, margins, tilt=tilt)}"
    wide, tall = upright.wide, upright.tall
    value, limit = (wide, against.diameter_mm) if wide > against.diameter_mm else (tall, against.height_mm)
    return FlaskChoice(flask, wide, tall, (Finding(code, "stop", (), text, None, value, limit),))


ANOTHER_ARM = "take a larger spin arm (cast.spin_arm), pour by vacuum, or lay the chain out smaller (spiral or coil)"


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to stand in a flask, and the least diameter and height it takes."""

    wide: float
    tall: float
    lean: Lean


def _ways(across: float, size: tuple[float, float, float], margins: Margins, *, tilt: bool) -> list[_Way]:
    """List the ways a job can stand, the least leaning first: its box, turned about a level axis by whole degrees.

    Of a box l long, b broad and h high that leans by t, l cos t + h sin t by b are its sides on the level and
    l sin t + h cos t its height, so the circle around the first two holds it.
    """
    wide, tall = margins.needs(across, size[2])
    ways = [_Way(wide, tall, STANDING)]
    if not tilt:
        return ways
    x, y, h = size
    for deg in range(1, MOST_LEAN_DEG + 1):
        c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        for axis, long, broad in (("x", x, y), ("y", y, x)):
            wide, tall = margins.needs(math.hypot(long * c + h * s, broad), long * s + h * c)
            ways.append(_Way(wide, tall, Lean(deg, axis, 0.5 * long * s)))
    return ways


def _way_into(flask: Flask, ways: Sequence[_Way]) -> _Way | None:
    return next((way for way in ways if _holds(flask, way.wide, way.tall)), None)


def _arm_takes(arm: SpinArm, flask: Flask) -> bool:
    return flask.diameter_mm <= arm.flask_diameter_mm.value and flask.height_mm <= arm.flask_height_mm.value


def _arm_words(arm: SpinArm) -> str:
    return f"flasks up to {arm.flask_diameter_mm.value:g} x {arm.flask_height_mm.value:g} mm"


def bounding_cylinder_mm(points: FloatArray) -> tuple[float, float]:
    """Give diameter and height in mm of the smallest upright cylinder around ``points`` (n, 3) mm, to 1e-9 relative.

    The circle grows over the farthest point outside it; each time the smallest circle of the few points that held the
    last one and the new point is found by trying all pairs and triples. Never more than a few dozen turns.
    """
    flat = np.asarray(points, dtype=np.float64)[:, :2]
    tall = float(np.ptp(points[:, 2]))
    start = int(np.argmax(np.sum((flat - flat[0]) ** 2, axis=1)))
    held = flat[[start]]
    centre, radius = held[0], 0.0
    for _ in range(len(flat) + 1):
        away = np.sqrt(np.sum((flat - centre) ** 2, axis=1))
        far = int(np.argmax(away))
        if away[far] <= radius * (1.0 + 1e-12) + 1e-12:
            break
        centre, radius, held = _circle_of_few(np.vstack([held, flat[far]]))
    return 2.0 * radius, tall


def _circle_of_few(points: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Give centre, radius and support of the smallest circle around up to four points (k, 2)."""
    best: tuple[FloatArray, float, FloatArray] | None = None
    count = len(points)
    groups = [(i, j) for i in range(count) for j in range(i)]
    groups += [(i, j, k) for i, j in groups for k in range(j)]  # type: ignore[misc]
    for group in groups:
        chosen = points[list(group)]
        centre = 0.5 * (chosen[0] + chosen[1]) if len(group) == 2 else _circumcentre(chosen)
        if centre is None:
            continue
        away = np.sqrt(np.sum((points - centre) ** 2, axis=1))
        radius = float(away.max())
        on_it = float(np.sqrt(np.sum((chosen - centre) ** 2, axis=1)).max())
        if radius <= on_it * (1.0 + 1e-12) + 1e-15 and (best is None or radius < best[1]):
            best = (centre, radius, chosen)
    if best is None:
        return points[0], 0.0, points[:1]
    return best


def _circumcentre(corners: FloatArray) -> FloatArray | None:
    a, b = corners[1] - corners[0], corners[2] - corners[0]
    cross = 2.0 * (a[0] * b[1] - a[1] * b[0])
    if abs(cross) <= 1e-14 * float(a @ a + b @ b):
        return None
    u = np.array([b[1] * (a @ a) - a[1] * (b @ b), a[0] * (b @ b) - b[0] * (a @ a)]) / cross
    return np.asarray(corners[0] + u, dtype=np.float64)


def _holds(flask: Flask, wide: float, tall: float) -> bool:
    return flask.diameter_mm >= wide and flask.height_mm >= tall


def _by_size(flask: Flask) -> tuple[float, bool]:
    return round(flask_volume_cm3(flask), 6), not flask.perforated


def _asked(usable: Sequence[Flask], size: tuple[float, float]) -> Flask:
    """Find a flask of this size among the usable ones, else take it as a solid one of the user's."""
    same = [f for f in usable if math.isclose(f.diameter_mm, size[0]) and math.isclose(f.height_mm, size[1])]
    return min(same, key=_by_size, default=Flask("as asked", *size))


def _words(flask: Flask) -> str:
    return f"{flask.diameter_mm:g} x {flask.height_mm:g} mm" + (" (perforated)" if flask.perforated else "")


def _what_would_do(usable: Sequence[Flask], size: tuple[float, float, float], margins: Margins, *, tilt: bool) -> str:
    """Say whether the job would fit leaning or stood on end, else which way to shrink it."""
    x, y, z = size
    if not tilt:
        leaning = _ways(math.hypot(x, y), size, margins, tilt=True)[1:]
        best = min((f for f in usable if _way_into(f, leaning)), key=_by_size, default=None)
        if best is not None:
            way = _way_into(best, leaning)
            lean = 0 if way is None else way.lean.deg
            return (
                f"leaning by {lean} degrees it would go into {_words(best)}: write cast.tilt = true; or lay it out as "
                "a ring, spiral or coil"
            )
    for length, across in ((x, math.hypot(y, z)), (y, math.hypot(x, z))):
        wide, tall = margins.needs(across, length)
        best = min((f for f in usable if _holds(f, wide, tall)), key=_by_size, default=None)
        if best is not None:
            return (
                f"stood on end, its trunk at one end, it would go into {_words(best)}; or lay it out as a ring or coil"
            )
    return "lay the chain out smaller (ring, spiral or coil), cast it in parts, or name a larger flask as cast.flask"
