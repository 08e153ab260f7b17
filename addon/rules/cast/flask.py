"""Which flask takes the job: its bounding cylinder, the margins around it, and what would do when none is there."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import FloatArray
from .materials import Flask


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
class FlaskChoice:
    """The flask a job goes into, what the job needs at least, and whether it fits."""

    flask: Flask
    needs_diameter_mm: float
    needs_height_mm: float
    findings: tuple[Finding, ...]

    @property
    def fits(self) -> bool:
        """Tell whether the flask takes the job with its margins."""
        return _holds(self.flask, self.needs_diameter_mm, self.needs_height_mm)


def flask_volume_cm3(flask: Flask) -> float:
    """Give the inside volume of a flask."""
    return math.pi / 4.0 * flask.diameter_mm**2 * flask.height_mm / 1000.0


def choose_flask(
    flasks: Sequence[Flask],
    across_mm: float,
    size_mm: tuple[float, float, float],
    *,
    head: str,
    asked_mm: tuple[float, float] | None = None,
    margins: Margins = USUAL_MARGINS,
) -> FlaskChoice:
    """Choose the smallest flask by volume, or check the one asked for.

    ``across_mm`` diameter of the smallest upright cylinder around the job, ``size_mm`` its size along x, y, z, both at
    export scale. A spin or a plain pour takes solid flasks only; under vacuum a perforated one goes first among equals.
    Where nothing fits the answer holds the least size that would, and a stop finding.
    """
    wide, tall = margins.needs(across_mm, size_mm[2])
    usable = [f for f in flasks if head == "vacuum" or not f.perforated]
    smallest = min((f for f in usable if _holds(f, wide, tall)), key=_by_size, default=None)
    if asked_mm is None and smallest is not None:
        return FlaskChoice(smallest, wide, tall, ())
    if asked_mm is not None:
        flask = _asked(usable, asked_mm)
        if _holds(flask, wide, tall):
            return FlaskChoice(flask, wide, tall, ())
        against = flask
        text = (
            f"the flask {_words(flask)} is too small: with trunk and margins the job needs {wide:.0f} x {tall:.0f} mm"
        )
    else:
        flask = Flask("made to measure", float(math.ceil(wide)), float(math.ceil(tall)))
        against = max(usable, key=_by_size, default=Flask("none", 0.0, 0.0))
        text = f"no flask of the table takes the job: with trunk and margins it needs {wide:.0f} x {tall:.0f} mm inside"
    text += f"; take {_words(smallest)}" if smallest else f"; {_what_would_do(usable, size_mm, margins)}"
    value, limit = (wide, against.diameter_mm) if wide > against.diameter_mm else (tall, against.height_mm)
    return FlaskChoice(flask, wide, tall, (Finding("flask-size", "stop", (), text, None, value, limit),))


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


def _what_would_do(usable: Sequence[Flask], size: tuple[float, float, float], margins: Margins) -> str:
    """Say whether the job stood on end would fit, else which way to shrink it."""
    x, y, z = size
    for length, across in ((x, math.hypot(y, z)), (y, math.hypot(x, z))):
        wide, tall = margins.needs(across, length)
        best = min((f for f in usable if _holds(f, wide, tall)), key=_by_size, default=None)
        if best is not None:
            return (
                f"stood on end, its trunk at one end, it would go into {_words(best)}; or lay it out as a ring or coil"
            )
    return "lay the chain out smaller (ring, spiral or coil), cast it in parts, or name a larger flask as cast.flask"
