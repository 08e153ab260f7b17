"""Blind patches: where too little light arrives to cure the resin, and what that says about the choice of resin.

Common practice, no published source: curing after the print is line of sight, so what links hide from each other stays
soft, and a resin that must be cured so suits an open design better. The data sheet of the resin's maker decides.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.mesh import Body, FloatArray, IntArray
from ..solid.refine import edges_of
from ..solid.weld import hanging_together, welding
from .body_findings import as_point
from .finding import Finding
from .light import BoolArray, LightReach

# A smaller patch is not told of: about what one pixel of 0.2 mm hides. Our judgement.
PATCH_MM2 = 0.05
# With more of the surface out of reach than this, a resin that must be cured after the print is a poor choice. Our
# judgement.
POOR_SHARE = 0.02
# Bodies told of one by one.
SHOWN = 5
_POOR = "It is a poor choice for this design: take a resin that needs no such cure, or open the gaps. If yours must be,"
_IF_MUST = "If yours must be,"
_CARE = (
    "cure as its maker's data sheet says, more than once and with the joints turned in between. Look for tacky spots "
    "before investing, since soft resin spoils the skin of the mould, and wear nitrile gloves until there are none."
)


@dataclass(frozen=True, slots=True, eq=False)
class BlindPatch:
    """Faces of one body under the limit that hang together by their edges.

    ``body``: its number; ``faces`` (k,) their numbers in the body's mesh; ``share``: their mean light reach, by area;
    ``at`` (3,) mm: the middle of the face that is nearest to the middle of the patch.
    """

    body: int
    faces: IntArray
    area_mm2: float
    share: float
    at: FloatArray


def blind_patches(bodies: Sequence[Body], reach: LightReach, *, limit: float) -> Steps[tuple[BlindPatch, ...]]:
    """Find the patches of every body whose faces have a light reach under ``limit``, largest first within a body.

    ``reach`` of these bodies, from `light_reach`. Raises BadInput for a limit that is not from 0 to 1, and for bodies
    that are not those that were measured.
    """
    if not 0.0 <= limit <= 1.0:
        raise BadInput(f"light reach: a limit of {limit:g} does not work; give a share from 0 to 1, such as 0.1")
    faces = np.array([len(body.mesh.triangles) for body in bodies], dtype=np.int64)
    if not np.array_equal(np.repeat(np.arange(len(bodies)), faces), reach.body):
        raise BadInput("light reach: it was measured on other bodies than these; measure it again")
    begins = np.cumsum(faces) - faces
    joined: dict[int, IntArray] = {}
    found: list[BlindPatch] = []
    for number, body in enumerate(bodies):
        if id(body.mesh) not in joined:
            welded = yield from part(
                welding(body.mesh.points, body.mesh.triangles), number / len(bodies), (number + 0.5) / len(bodies)
            )
            joined[id(body.mesh)] = welded.triangles
        here = slice(int(begins[number]), int(begins[number] + faces[number]))
        blind = ((reach.share[here] < limit) | (reach.area_mm2[here] == 0.0)) & ~reach.buried[here]
        steps = _of_body(number, body, joined[id(body.mesh)], reach.share[here], reach.area_mm2[here], blind)
        found += yield from part(steps, (number + 0.5) / len(bodies), (number + 1) / len(bodies))
    return tuple(found)


def _of_body(
    number: int, body: Body, triangles: IntArray, share: FloatArray, area_mm2: FloatArray, under: BoolArray
) -> Steps[list[BlindPatch]]:
    """Find the patches of one body; ``triangles`` (t, 3) with points made one, ``under`` (t,) those in the dark.

    Faces without area join what they touch.
    """
    blind = np.flatnonzero(under)
    _, edges = edges_of(triangles[blind])
    order = np.argsort(edges.ravel(), kind="stable")
    alike = np.flatnonzero(np.diff(edges.ravel()[order]) == 0)
    yield 0.3
    root = yield from part(hanging_together(len(blind), order[alike] // 3, order[alike + 1] // 3), 0.3, 0.6)
    by_patch = np.argsort(root, kind="stable")
    bounds = np.flatnonzero(np.diff(root[by_patch], prepend=-1, append=len(blind)))
    patches = []
    for begin, end in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        faces = blind[by_patch[begin:end]]
        area = float(area_mm2[faces].sum())
        if area > 0.0:
            weight = area_mm2[faces] / area
            middles = body.pose.apply(body.mesh.points[body.mesh.triangles[faces]].mean(axis=1))
            nearest = np.linalg.norm(middles - weight @ middles, axis=1).argmin()
            patches.append(BlindPatch(number, faces, area, float(weight @ share[faces]), middles[nearest]))
        yield 0.6 + 0.4 * end / len(blind)
    return sorted(patches, key=lambda patch: -patch.area_mm2)


def light_findings(
    bodies: Sequence[Body], reach: LightReach, patches: Sequence[BlindPatch], *, limit: float
) -> tuple[Finding, ...]:
    """Say how much surface is out of the light's reach and what that means for the resin, then where: the worst bodies.

    ``patches`` from `blind_patches` with the same ``limit``. Nothing is a stop: the data sheet of the resin decides.
    """
    told = [patch for patch in patches if patch.area_mm2 >= PATCH_MM2]
    if not told:
        return ()
    blind, whole = sum(patch.area_mm2 for patch in told), float(reach.area_mm2[~reach.buried].sum())
    out = blind / whole
    poor = out > POOR_SHARE
    text = (
        f"{_area(blind)} mm2 of {_area(whole)} mm2 of surface ({_percent(out)}) get less than {_percent(limit)} of the "
        f"light, told to within {_percent(reach.sampling_error)}: a resin that must be cured after the print stays "
        f"soft there. {_POOR if poor else _IF_MUST} {_CARE}"
    )
    worst = max(told, key=lambda patch: patch.area_mm2)
    found = [Finding("blind", "warn" if poor else "note", (), text, as_point(worst.at), out, POOR_SHARE)]
    of_body: dict[int, list[BlindPatch]] = {}
    for patch in told:
        of_body.setdefault(patch.body, []).append(patch)
    by_area = sorted(of_body.items(), key=lambda item: -sum(patch.area_mm2 for patch in item[1]))
    for number, some in by_area[:SHOWN]:
        largest = max(some, key=lambda patch: patch.area_mm2)
        area = sum(patch.area_mm2 for patch in some)
        text = (
            f"{bodies[number].name}: the light does not reach {_area(area)} mm2 of it"
            + (f", in {len(some)} patches, {_area(largest.area_mm2)} mm2 the largest" if len(some) > 1 else "")
            + f": {_percent(largest.share)} arrives there. Open the gap, or cure again with the joint turned."
        )
        found.append(Finding("blind", "note", (bodies[number].name,), text, as_point(largest.at), area, PATCH_MM2))
    if len(by_area) > SHOWN:
        others = [patch for _, some in by_area[SHOWN:] for patch in some]
        names = tuple(bodies[number].name for number, _ in by_area[SHOWN:])
        area = sum(patch.area_mm2 for patch in others)
        text = (
            f"{_counted(len(names), 'more body', 'more bodies')}: the light does not reach {_area(area)} mm2 of "
            f"{'it' if len(names) == 1 else 'them'}, in {_counted(len(others), 'patch', 'patches')}."
        )
        largest = max(others, key=lambda patch: patch.area_mm2)
        found.append(Finding("blind", "note", names, text, as_point(largest.at), area, PATCH_MM2))
    return tuple(found)


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _area(mm2: float) -> str:
    """Write an area to two digits, or to the whole mm2."""
    return f"{mm2:.0f}" if mm2 >= 100.0 else f"{mm2:.2g}"


def _percent(share: float) -> str:
    """Write a share in percent to two digits."""
    return f"{100.0 * share:.0f} %" if share >= 0.1 else f"{100.0 * share:.2g} %"
