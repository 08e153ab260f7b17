"""Lower bounds of distances in single precision, many at once: cheap, a little low, never too high once slackened.

Three shapes: balls and discs round blocks of triangles, and triangles themselves with their planes. Arrays run
coordinate by coordinate, the pairs along the last axis. Rounding can raise a bound by a few units in the seventh
digit of the coordinates; who compares a bound takes `SLACK` times their size off it first.
"""

import numpy as np
import numpy.typing as npt

from .hierarchy import CENTRE, NORMAL, RADIUS, THICK

Float32Array = npt.NDArray[np.float32]

# Share of the largest coordinate by which single precision may err in any bound here, with room to spare.
SLACK = 1e-5
# Squares of sines and of distances across a normal are raised by this, so that their roots do not come out short.
RAISED = np.float32(1 + 1e-6)
TINY = np.float32(1e-30)


def disc_bounds(
    a: Float32Array, centre: Float32Array, normal: Float32Array, size: Float32Array
) -> tuple[Float32Array, Float32Array]:
    """Bound the distance of discs ``a`` (8, n), as in `hierarchy`, from others given by their parts.

    Those are ``centre`` (3, n), ``normal`` (3, n), and ``size`` (2, n): half thickness and radius. The bound is the
    best of three directions: either normal, and between the centres. Returns it and the distance of the centres.
    """
    x, y, z = centre - a[CENTRE]
    ax, ay, az = a[NORMAL]
    bx, by, bz = normal
    along_a = np.abs(x * ax + y * ay + z * az)
    along_b = np.abs(x * bx + y * by + z * bz)
    level = np.abs(ax * bx + ay * by + az * bz)
    tilt = np.sqrt(np.maximum(RAISED - level * level, 0))
    square = x * x + y * y + z * z
    distance = np.sqrt(square)
    square *= RAISED
    thick_a, radius_a, (thick_b, radius_b) = a[THICK], a[RADIUS], size
    bound: Float32Array = along_a - thick_a - radius_b * tilt - thick_b * level
    np.maximum(bound, along_b - thick_b - radius_a * tilt - thick_a * level, out=bound)
    reach = radius_a * np.sqrt(np.maximum(square - along_a * along_a, 0)) + thick_a * along_a
    reach += radius_b * np.sqrt(np.maximum(square - along_b * along_b, 0)) + thick_b * along_b
    np.maximum(bound, distance - reach / np.maximum(distance, TINY), out=bound)
    return bound, distance


def triangle_bounds(a: Float32Array, normal_a: Float32Array, b: Float32Array, normal_b: Float32Array) -> Float32Array:
    """Bound the distance of triangles ``a`` and ``b`` (3, 3, ...): corner, coordinate, then shapes that broadcast.

    ``normal_a`` and ``normal_b`` (3, ...) are their unit normals. The best of three directions that may keep them
    apart: either normal, and between their middles.
    """
    bound = _apart(normal_a, a[:1], b)
    np.maximum(bound, _apart(normal_b, b[:1], a), out=bound)
    between = b.sum(axis=0) - a.sum(axis=0)
    low_b, _ = _span(between, b)
    _, high_a = _span(between, a)
    length = np.sqrt(between[0] * between[0] + between[1] * between[1] + between[2] * between[2])
    np.maximum(bound, (low_b - high_a) / np.maximum(length, TINY), out=bound)
    return bound


def _apart(normal: Float32Array, flat: Float32Array, other: Float32Array) -> Float32Array:
    """Tell how far all corners of ``other`` lie off one side of the plane through ``flat``."""
    height, _ = _span(normal, flat)
    low, high = _span(normal, other)
    apart: Float32Array = np.maximum(low - height, height - high)
    return apart


def _span(direction: Float32Array, corners: Float32Array) -> tuple[Float32Array, Float32Array]:
    """Give the least and the greatest place of some corners along a direction."""
    x, y, z = direction
    along = [x * c[0] + y * c[1] + z * c[2] for c in corners]
    low, high = along[0], along[0]
    for place in along[1:]:
        low, high = np.minimum(low, place), np.maximum(high, place)
    return low, high
