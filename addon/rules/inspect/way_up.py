"""The best way up: a job stood on the plate in many ways, ranked by what each asks of the print.

Post-curing light comes from all round, so the blind area of a job is the same whichever way it stands: it is no part of
the rank. Gaps are not: a level gap loses the over-cure, an upright one twice the bleed, so a way in which a joint of
the design would close comes last.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.measure import bounds_mm, normals
from ..solid.mesh import Body, FloatArray, Pose
from .inspection import Pair
from .ladder import printed_gap_mm
from .layers import slice_layers
from .print_size import print_size_findings

# The layers in which ways are compared are the same for all, this part of the job's size from corner to corner: what
# begins and grows is seen, a start lower than such a layer is not. The print check of the way chosen sees every layer.
COARSE = 250
# Undersides that differ by less than this share are alike, and so the lower way up comes first. Our judgement.
ALIKE = 0.1
TILTS_DEG = (15, 30, 45, 60, 75, 90)
BOTH_SIDES_DEG = (45, 90)


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A way to stand a job: its name, and the rotation (3, 3) that takes the job from how it stands to it."""

    name: str
    rotation: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class WayUp:
    """What a way to stand a job asks of the print, lengths and areas in print size.

    ``islands``: starts in mid-air, in coarse layers; ``underside_mm2``: faces past the self-supporting angle that do
    not lie on the plate; ``height_mm`` and ``layers`` of the print; ``largest_mm2``: the largest layer; ``gap_mm``: the
    smallest printed gap, None where there is none; ``size_mm``: across and deep. ``refusal``: why it does not print as
    designed, empty where it does.
    """

    way: Way
    islands: int
    underside_mm2: float
    height_mm: float
    layers: int
    largest_mm2: float
    gap_mm: float | None
    size_mm: tuple[float, float]
    refusal: str


def ways() -> tuple[Way, ...]:
    """Give the ways that are tried: as it stands, its top tipped to four sides, upside down.

    The front is -y and the right +x, as in a view from the front.
    """
    found = [Way("as it stands", np.eye(3))]
    for tilt in TILTS_DEG:
        for axis, sign, side in ((0, 1, "front"), (1, 1, "right"), (0, -1, "back"), (1, -1, "left")):
            if sign > 0 or tilt in BOTH_SIDES_DEG:
                turn = _turn(axis, math.radians(sign * tilt))
                found.append(Way(f"tipped {tilt} deg to the {side}", turn))
    found.append(Way("upside down", _turn(0, math.pi)))
    return tuple(found)


def best_way_up(
    bodies: Sequence[Body],
    profile: Profile,
    *,
    scale: float = 1.0,
    pairs: Sequence[Pair] = (),
    fused: Sequence[tuple[int, int]] | None = None,
    tried: Sequence[Way] | None = None,
) -> Steps[tuple[WayUp, ...]]:
    """Stand bodies on the plate in every way ``tried``, the best first.

    Those that print as designed come first, among them those with the fewest islands, then with the least undersides,
    then the lowest; alike ones keep their order. ``pairs`` of these bodies, from their inspection, say which gaps must
    stay open: each is followed in the direction it is narrowest in. ``fused`` as in `slice_layers`. Raises BadInput
    for no bodies or no ways, a way that is no rotation, a scale that does not work, open bodies, or bodies without
    height.
    """
    if not bodies:
        raise BadInput("way up: there is no body; give at least one mesh")
    trying = ways() if tried is None else tuple(tried)
    if not trying:
        raise BadInput("way up: there is no way to try; give at least one")
    if not (math.isfinite(scale) and scale > 0.0):
        raise BadInput(f"way up: a scale of {scale:g} does not work; give a number above 0")
    for way in trying:
        turn = np.asarray(way.rotation)
        if turn.shape != (3, 3) or not np.allclose(turn @ turn.T, np.eye(3), atol=1e-6) or np.linalg.det(turn) < 0.0:
            raise BadInput(f"way up: {way.name!r} is no rotation; give a (3, 3) one that neither stretches nor mirrors")
    gaps = [
        (pair.gap_mm, np.subtract(pair.point_b, pair.point_a))
        for pair in pairs
        if pair.gap_mm and pair.point_a is not None and pair.point_b is not None
    ]
    ends = np.array([bounds_mm(body.points()) for body in bodies])
    size = float(np.linalg.norm(ends[:, 1].max(axis=0) - ends[:, 0].min(axis=0)))
    coarse = max(profile.layer_mm / scale, size / COARSE)
    as_designed = _printed(gaps, np.eye(3), profile, scale)
    found = []
    for number, way in enumerate(trying):
        trial = _tried(bodies, way, profile, scale, coarse, gaps, fused)
        found.append((yield from part(trial, number / len(trying), (number + 1) / len(trying))))
    return _ranked(
        [
            replace(one, refusal=_refusal(one, _printed(gaps, one.way.rotation, profile, scale), as_designed, profile))
            for one in found
        ]
    )


def _turn(axis: int, angle: float) -> FloatArray:
    """Give the rotation (3, 3) about x (0) or y (1)."""
    c, s = math.cos(angle), math.sin(angle)
    turn = np.eye(3)
    one, other = ((1, 2), (2, 0))[axis]
    turn[one, one] = turn[other, other] = c
    turn[one, other], turn[other, one] = -s, s
    # A quarter or half turn is one to the last digit.
    return np.where(np.abs(turn) < 1e-15, 0.0, turn)


def _tried(
    bodies: Sequence[Body],
    way: Way,
    profile: Profile,
    scale: float,
    coarse_mm: float,
    gaps: Sequence[tuple[float, FloatArray]],
    fused: Sequence[tuple[int, int]] | None,
) -> Steps[WayUp]:
    stood = [
        Body(body.name, body.mesh, Pose(way.rotation @ body.pose.rotation, way.rotation @ body.pose.origin))
        for body in bodies
    ]
    ends = np.array([bounds_mm(body.points()) for body in stood])
    low, high = ends[:, 0].min(axis=0), ends[:, 1].max(axis=0)
    x, y, height = ((high - low) * scale).tolist()
    fine = profile.layer_mm / scale
    layers = yield from part(
        slice_layers(stood, min(coarse_mm, float(high[2] - low[2])), plate_mm=float(low[2]), fused=fused), 0.0, 0.9
    )
    under = yield from part(_undersides(stood, float(low[2]) + fine / 2.0, profile.overhang_deg), 0.9, 1.0)
    printed = _printed(gaps, way.rotation, profile, scale)
    return WayUp(
        way,
        len(layers.islands),
        under * scale * scale,
        height,
        math.ceil(height / profile.layer_mm - 1e-9),
        layers.peel().area_mm2 * scale * scale,
        float(printed.min()) if len(printed) else None,
        (x, y),
        "",
    )


def _undersides(stood: Sequence[Body], first_mm: float, overhang_deg: float) -> Steps[float]:
    """Give the area of faces nearer to level than the angle that look down, without those on the plate, mm2."""
    least = math.cos(math.radians(overhang_deg))
    area = 0.0
    known: dict[int, FloatArray] = {}
    for number, body in enumerate(stood):
        if id(body.mesh) not in known:
            known[id(body.mesh)] = normals(body.mesh.points[body.mesh.triangles])
        twice = known[id(body.mesh)]
        down = -twice @ body.pose.rotation[2]
        size = np.linalg.norm(twice, axis=1)
        high = (body.mesh.points @ body.pose.rotation[2] + body.pose.origin[2])[body.mesh.triangles].max(axis=1)
        area += 0.5 * float(size[(down > (least + 1e-9) * size) & (high > first_mm)].sum())
        yield (number + 1) / len(stood)
    return area


def _printed(gaps: Sequence[tuple[float, FloatArray]], turn: FloatArray, profile: Profile, scale: float) -> FloatArray:
    """Give the printed gaps, mm, in the order given."""
    printed = []
    for gap, along in gaps:
        x, y, z = (turn @ along).tolist()
        printed.append(
            printed_gap_mm(gap, (x, y, z), scale=scale, bleed_mm=profile.bleed_mm, over_cure_mm=profile.over_cure_mm)
        )
    return np.array(printed, dtype=np.float64)


def _refusal(one: WayUp, printed: FloatArray, as_designed: FloatArray, profile: Profile) -> str:
    """Say why a way does not print; a gap that is too small as the job stands is no fault of the way."""
    lost = printed[printed < np.minimum(profile.gap_floor_mm, as_designed) - 1e-9]
    if len(lost):
        return f"gap of {lost.min():.2f} mm" if lost.min() > 0.0 else "a gap closes"
    size = np.array([*one.size_mm, one.height_mm])
    sizes = print_size_findings(np.zeros(3), size, profile)
    return "too large" if any(told.severity == "stop" for told in sizes) else ""


def _ranked(found: Sequence[WayUp]) -> tuple[WayUp, ...]:
    """Sort by printing, islands, undersides in steps of `ALIKE`, height."""

    def key(one: WayUp) -> tuple[bool, int, int, float]:
        steps = round(math.log(max(one.underside_mm2, 1.0)) / math.log1p(ALIKE))
        return (bool(one.refusal), one.islands, steps, round(one.height_mm, 1))

    return tuple(sorted(found, key=key))
