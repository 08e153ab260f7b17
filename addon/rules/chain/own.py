"""The maker's own link: any closed mesh with a hole, a direction for the chain, and the turn from link to link.

The mesh is used as it is, at its own size, and need not be symmetric: where its hole, its metal and its axis lie is
read from its shape.
"""

from collections.abc import Sequence

import numpy as np

from ..base.errors import BadInput
from ..solid.mesh import FloatArray, Mesh
from .link import link_of
from .loop_curve import looped
from .options import only
from .own_shape import OwnShape, own_shape
from .pattern import Pattern, alike
from .section import round_wire
from .spec import ChainSpec

TURN_DEG = 90.0
# No link is smaller or larger, and no wire a smaller share of its link: such a mesh was drawn in another unit, or is
# flat. Our judgement.
SMALLEST_MM, LARGEST_MM, FLATTEST = 0.5, 500.0, 1e-4
# How far the sizes written beside a mesh may differ from its own.
SIZE_MM = 0.02
# Sizes of a mesh across its hole that differ by less than this share are alike, and its own x or y decides.
ALIKE = 0.02
# A direction this near, in radians, to one of the mesh's own is meant to be that one.
STRAIGHT = np.radians(1.0)
# Cosine of the largest angle between the hole's direction and the chain: beyond, it runs through the hole.
THROUGH = 0.8
# Where the odd moments of the surface about the chain's axis stay under this, a half turn changes nothing that shows.
EVEN = 2e-3
NUDGE = 1e-5


def pattern(spec: ChainSpec) -> Pattern:
    """Give the pattern of an own link, every next one turned by ``turn_deg`` (90 unless told) about the chain's axis.

    Raises BadInput for a mesh that cannot be a link, or for sizes that are not the mesh's, naming those.
    """
    only(spec, "turn_deg", "axis", "own", "own_file")
    if spec.own is None:
        raise BadInput("chain.file: an own link needs its mesh; name a file with one closed body, or choose an object")
    turn = TURN_DEG if spec.turn_deg is None else spec.turn_deg
    if not abs(turn) <= 360:
        raise BadInput(f"chain.turn_deg: {turn:g} does not work; give degrees from -360 to 360")
    shape = own_shape(spec.own)
    frame = _frame(shape, spec.axis)
    own, guide, surface = _in_frame(spec.own, shape, frame)
    _check_sizes(spec, own)
    length, width, _ = np.ptp(own.points, axis=0)
    link = link_of(
        looped(guide), length_mm=float(length), width_mm=float(width), section=round_wire(spec.wire_mm), own=own
    )
    return alike(link, turn_deg=turn, symmetric=_even(surface, shape.share))


def propose_axis(mesh: Mesh) -> FloatArray:
    """Propose the direction (3,) of the chain in a link mesh: across its hole, the way its metal reaches furthest.

    Where a link is as broad as long: its own x, or y where x runs through the hole. Raises as `pattern` does.
    """
    return _proposed(own_shape(mesh))


def own_sizes(mesh: Mesh, axis: Sequence[float] | FloatArray | None = None) -> tuple[float, float, float]:
    """Give the wire, outside length and outside width in mm of a link mesh, the chain along ``axis`` (None: proposed).

    The wire is how thick the metal is on the chain's axis at the thinner end, where the neighbours hang; where the axis
    misses the metal, that of a round wire of its volume. Raises as `pattern` does.
    """
    shape = own_shape(mesh)
    own, _, _ = _in_frame(mesh, shape, _frame(shape, axis))
    length, width, _ = np.ptp(own.points, axis=0)
    return _end_thickness(own) or shape.thick_mm, float(length), float(width)


def check_own_size(wire_mm: float, length_mm: float, width_mm: float) -> None:
    """Raise BadInput for the sizes of a link mesh that is flat, or drawn in another unit by the look of them."""
    largest = max(length_mm, width_mm)
    if largest > LARGEST_MM:
        raise BadInput(
            f"chain.file: the link mesh measures {length_mm:.5g} x {width_mm:.5g} mm, too large for a link; scale it "
            "to mm, or where it was drawn in mm in Blender, press Set Millimetres in the Chain panel"
        )
    if largest < SMALLEST_MM:
        raise BadInput(
            f"chain.file: the link mesh measures {length_mm:.5g} x {width_mm:.5g} mm, too small for a link; scale it "
            "to mm, from metres by 1000, from inches by 25.4"
        )
    if wire_mm < FLATTEST * largest:
        raise BadInput("chain.file: the link mesh is flat; give it thickness, and look whether it is scaled by 0")


def _proposed(shape: OwnShape) -> FloatArray:
    # The way through the hole is struck out; what is left has its least moment, 0, there.
    flat = np.eye(3) - np.outer(shape.normal, shape.normal)
    size, way = np.linalg.eigh(flat @ shape.spread @ flat)
    axis = way[:, 2]
    if np.sqrt(size[1]) > (1 - ALIKE) * np.sqrt(size[2]):
        own = np.eye(3)[int(abs(shape.normal[0]) > np.sqrt(0.5))]
        axis = own - (own @ shape.normal) * shape.normal
    axis = axis / np.linalg.norm(axis)
    return _straightened(axis)


def _frame(shape: OwnShape, axis: Sequence[float] | FloatArray | None) -> FloatArray:
    """Give the link's axes as columns (3, 3): along the chain, across the width, normal to the face."""
    if axis is None:
        ahead = _proposed(shape)
    else:
        ahead = np.asarray(axis, dtype=np.float64)
        size = np.linalg.norm(ahead)
        if ahead.shape != (3,) or not np.isfinite(size) or size == 0:
            raise BadInput(f"chain.axis: {axis!r} is no direction; give three numbers, such as {_words(shape)}")
        ahead = ahead / size
        if abs(float(ahead @ shape.normal)) > THROUGH:
            raise BadInput(
                f"chain.axis: it runs through the hole of the link, where neighbours must cross it; give a direction "
                f"across the hole, such as {_words(shape)}"
            )
    face = shape.normal - (shape.normal @ ahead) * ahead
    face = _straightened(face / np.linalg.norm(face))
    face = face - (face @ ahead) * ahead
    face = face / np.linalg.norm(face)
    return np.stack((ahead, np.cross(face, ahead), face), axis=1)


def _straightened(way: FloatArray) -> FloatArray:
    """Look a direction's own way rather than backward, and take one of the mesh's own axes where it is meant."""
    way = way * np.sign(way[np.abs(way).argmax()])
    nearest = np.eye(3)[int(way.argmax())]
    return np.asarray(nearest if way @ nearest > np.cos(STRAIGHT) else way)


def _words(shape: OwnShape) -> str:
    return "[{:.3g}, {:.3g}, {:.3g}]".format(*(_proposed(shape).round(3) + 0.0))


def _in_frame(mesh: Mesh, shape: OwnShape, frame: FloatArray) -> tuple[Mesh, FloatArray, FloatArray]:
    """Give the mesh, its guide and its surface points in the link's frame, centred on its bounds."""
    points = mesh.points @ frame
    centre = (points.min(axis=0) + points.max(axis=0)) / 2
    points -= centre
    points.flags.writeable = False
    return Mesh(points, mesh.triangles), shape.guide @ frame - centre, shape.surface @ frame - centre


def _check_sizes(spec: ChainSpec, own: Mesh) -> None:
    for key, size in zip(("link_length_mm", "link_width_mm"), np.ptp(own.points, axis=0), strict=False):
        if abs(getattr(spec, key) - size) > SIZE_MM:
            raise BadInput(
                f"chain.{key}: {getattr(spec, key):g} is not the size of the link mesh, which is used as it is; "
                f"write {size:.3f}, or scale the mesh"
            )


def _end_thickness(own: Mesh) -> float | None:
    """Give how thick the metal is along the chain's axis at the thinner end, None where the axis meets no two ends."""
    corners = own.corners()
    # A little aside, so that the line meets no edge.
    aside = NUDGE * float(np.ptp(own.points[:, 1]))
    cy, cz = corners[:, :, 1] - aside, corners[:, :, 2] - aside / np.pi
    side = cy * np.roll(cz, -1, axis=1) - cz * np.roll(cy, -1, axis=1)
    hit = np.flatnonzero((side > 0).all(axis=1) | (side < 0).all(axis=1))
    weight = np.roll(side[hit], -1, axis=1)
    x = np.sort((weight * corners[hit, :, 0]).sum(axis=1) / weight.sum(axis=1))
    ends_apart = len(x) >= 4 and len(x) % 2 == 0
    return float(min(x[1] - x[0], x[-1] - x[-2])) if ends_apart else None


def _even(surface: FloatArray, share: FloatArray) -> bool:
    """Tell whether a half turn about x carries the surface into itself, by its moments that such a turn reverses."""
    x, y, z = (surface / np.abs(surface).max()).T
    odd = np.stack((y, z, x * y, x * z, y**3, y * y * z, y * z * z, z**3, x * x * y, x * x * z))
    return bool(np.abs(odd @ share).max() < EVEN)
