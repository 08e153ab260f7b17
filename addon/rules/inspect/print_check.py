"""Will it print: all that is asked of a job as it stands on the plate, in one go.

Everything is looked at in print size, from the plate up: the job times its scale, the plate at height 0. Only the
places of findings are given back in the job's own size, where the maker looks for them.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..base.errors import BadInput
from ..base.profile import Profile
from ..base.progress import Steps, part
from ..solid.measure import bounds_mm, volume_mm3
from ..solid.mesh import Body, FloatArray, Mesh, Pose
from .cups import UP, Cup, cup_findings, cups, metal_traps
from .finding import Finding, worst_first
from .layers import Layers, Peel, island_findings, slice_layers
from .light import LightReach, light_reach, pixel_mm_for
from .light_findings import BlindPatch, blind_patches, light_findings
from .overhang import Overhang, overhang_findings, overhangs
from .print_size import print_size_findings
from .rinse import Slot, rinse_findings, rinse_reach
from .whose import nearest_part

Point = tuple[float, float, float]

DOWN: Point = (0.0, 0.0, -1.0)
# Directions of a quick look at the light.
PREVIEW = 64
# Higher than any printer builds, mm: a job in the wrong unit would be cut into a hundred thousand layers.
HIGHEST_MM = 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class PrintCheck:
    """What a print meets on its way up, in print size: mm from the plate, the job times ``scale``.

    ``plate_mm``: where the plate is, in the job's own size. ``layer_mm`` of the ``layers``; ``peel`` the largest of
    them and the largest jump, ``peel_n`` the pull of the film on the largest, N. ``suction`` the pockets that open
    towards the film, ``drip`` those that open towards the plate, which shut in air when the flask is filled with the
    plate side down; ``traps`` where air stays in the mould, poured into from the plate side. ``slots`` where resin
    stays. ``light`` None unless asked for, ``patches`` where it is too little. The ``at`` of ``findings`` is in the
    job's own size. ``names`` of the bodies that ``light`` was measured on, ``part_names`` of what ``patches`` lie on;
    ``blind_limit`` the light reach they are under.
    """

    scale: float
    plate_mm: float
    layer_mm: float
    layers: Layers
    peel: Peel
    peel_n: float
    overhangs: tuple[Overhang, ...]
    suction: tuple[Cup, ...]
    drip: tuple[Cup, ...]
    traps: tuple[Cup, ...]
    slots: tuple[Slot, ...]
    light: LightReach | None
    patches: tuple[BlindPatch, ...]
    names: tuple[str, ...]
    part_names: tuple[str, ...]
    blind_limit: float
    findings: tuple[Finding, ...]

    @property
    def blind_share(self) -> float:
        """Give the part of the surface that lies in patches with too little light, 0 to 1; 0 where it is not known."""
        if self.light is None:
            return 0.0
        whole = float(self.light.area_mm2[~self.light.buried].sum())
        return sum(patch.area_mm2 for patch in self.patches) / whole if whole > 0.0 else 0.0

    def in_job(self, at: Point) -> Point:
        """Take a place from print size to the job's own."""
        return (at[0] / self.scale, at[1] / self.scale, at[2] / self.scale + self.plate_mm)


def print_check(
    bodies: Sequence[Body],
    profile: Profile,
    *,
    scale: float = 1.0,
    plate_mm: float | None = None,
    fused: Sequence[tuple[int, int]] | None = None,
    directions: int = PREVIEW,
    head: str = "vacuum",
    parts: Sequence[Body] = (),
) -> Steps[PrintCheck]:
    """Look at the layers of a job, its islands, overhangs, pockets, slots and light.

    ``plate_mm``: height of the plate, None for right under the job. ``fused``: the only pairs of bodies that touch or
    cross, a pair of a body and itself where it crosses itself; None when nobody knows. ``directions`` of light, 0 to
    leave it out. ``head``: what drives the metal; under vacuum the air in the mould leaves through the investment.
    ``parts``: what the bodies were joined from, to name places by. Raises BadInput for bodies that are open or inside
    out, for a layer height that does not work, for bodies below the plate and for a job of no printer's size.
    """
    printed, plate = _in_print(bodies, scale, plate_mm)
    made_of = (*(_in_print(parts, scale, plate)[0] if parts else ()), *printed)
    low, high = _box(printed)
    _check(printed, high - low)
    layers = yield from part(slice_layers(printed, profile.layer_mm, fused=fused), 0.0, 0.2)
    under = yield from part(overhangs(printed, layers, profile.overhang_deg), 0.2, 0.25)
    upward = yield from part(cups(printed, profile.layer_mm, UP, fused=fused), 0.25, 0.35)
    downward = yield from part(cups(printed, profile.layer_mm, DOWN, fused=fused), 0.35, 0.45)
    suction, drip = (tuple(cup for cup in found if cup.spill_mm is not None) for found in (upward, downward))
    # A closed cavity of a body that was drawn is told of where its surface is looked at; one that joining made is not.
    shut = tuple(cup for cup in upward if cup.spill_mm is None) if parts else ()
    traps = yield from part(metal_traps(printed, profile.layer_mm, DOWN, fused=fused), 0.45, 0.5)
    slots = yield from part(rinse_reach(printed, fused=fused), 0.5, 0.6)
    light: LightReach | None = None
    patches: tuple[BlindPatch, ...] = ()
    if directions:
        pixel_mm = pixel_mm_for(printed)
        light = yield from part(light_reach(printed, directions=directions, pixel_mm=pixel_mm, fused=fused), 0.6, 0.96)
        patches = yield from part(blind_patches(printed, light, limit=profile.blind_share), 0.96, 0.98)
    told: tuple[Finding, ...] = (
        *island_findings(layers),
        *overhang_findings(under, profile.overhang_deg, profile.bridge_mm),
        *cup_findings(shut, "print"),
        *cup_findings(suction, "print"),
        *cup_findings(drip, "print"),
        *cup_findings(drip, "slurry"),
        *(cup_findings(traps, "metal") if head == "gravity" else ()),
    )
    if parts:
        named_by = made_of[: len(parts)]
        told = yield from part(_named(told, named_by), 0.98, 0.985)
        patches = yield from part(_patches_named(patches, named_by), 0.985, 0.99)
        slots = yield from part(_slots_named(slots, named_by), 0.99, 1.0)
    told = (
        *print_size_findings(low, high, profile),
        *told,
        *rinse_findings(slots),
        *(() if light is None else light_findings(made_of, light, patches, limit=profile.blind_share)),
    )
    peel = layers.peel()
    check = PrintCheck(
        scale, plate, profile.layer_mm, layers, peel, 1e-3 * profile.peel_pressure_kpa * peel.area_mm2,
        under, suction, drip, traps, slots, light, patches,
        tuple(body.name for body in printed), tuple(body.name for body in made_of), profile.blind_share, (),
    )  # fmt: skip
    placed = (one if one.at is None else replace(one, at=check.in_job(one.at)) for one in told)
    return replace(check, findings=worst_first(placed))


def as_advice(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Give findings of a print that nobody said stands as it will be printed: none of them is a stop."""
    return worst_first(replace(one, severity="warn") if one.severity == "stop" else one for one in findings)


def _in_print(bodies: Sequence[Body], scale: float, plate_mm: float | None) -> tuple[tuple[Body, ...], float]:
    """Bring bodies to print size over a plate at height 0; give them, and where the plate was.

    Copies go on sharing one mesh.
    """
    if not bodies:
        raise BadInput("print: there is no body; give at least one mesh")
    plate = float(_box(bodies)[0][2]) if plate_mm is None else plate_mm
    meshes: dict[int, Mesh] = {}
    for body in bodies:
        if id(body.mesh) not in meshes:
            meshes[id(body.mesh)] = Mesh(body.mesh.points * scale, body.mesh.triangles)
    shift = np.array([0.0, 0.0, plate])
    return tuple(
        Body(body.name, meshes[id(body.mesh)], Pose(body.pose.rotation, scale * (body.pose.origin - shift)))
        for body in bodies
    ), plate


def _box(bodies: Sequence[Body]) -> tuple[FloatArray, FloatArray]:
    ends = np.array([bounds_mm(body.points()) for body in bodies])
    return ends[:, 0].min(axis=0), ends[:, 1].max(axis=0)


def _check(bodies: Sequence[Body], size: npt.NDArray[np.float64]) -> None:
    if size.max() > HIGHEST_MM:
        raise BadInput(
            f"print: the job is {size.max():.4g} mm large, more than any printer builds; is it in another unit?"
        )
    known: dict[int, float] = {}
    for body in bodies:
        if id(body.mesh) not in known:
            known[id(body.mesh)] = volume_mm3(body.mesh)
        if known[id(body.mesh)] < 0.0:
            raise BadInput(f"{body.name}: is inside out, so it has no layers; recalculate the normals to the outside")


def _named(findings: Sequence[Finding], parts: Sequence[Body]) -> Steps[tuple[Finding, ...]]:
    """Name the part that each finding with a place is about, in its bodies and at the head of its text."""
    placed = [number for number, one in enumerate(findings) if one.at is not None and len(one.bodies) == 1]
    places = [one.at for one in findings if one.at is not None and len(one.bodies) == 1]
    whose = yield from nearest_part(places, parts)
    named = list(findings)
    for number, which in zip(placed, whose.tolist(), strict=True):
        one = findings[number]
        if which >= 0:
            name = parts[which].name
            text = name + one.text.removeprefix(one.bodies[0]) if one.text.startswith(one.bodies[0]) else one.text
            named[number] = replace(one, bodies=(name,), text=text)
    return tuple(named)


def _slots_named(slots: Sequence[Slot], parts: Sequence[Body]) -> Steps[tuple[Slot, ...]]:
    """Name the parts on either side of slots."""
    places = [place for slot in slots for place in (slot.at, slot.across)]
    whose = (yield from nearest_part(places, parts)).reshape(-1, 2)
    return tuple(
        replace(slot, a=parts[a].name if a >= 0 else slot.a, b=parts[b].name if b >= 0 else slot.b)
        for slot, (a, b) in zip(slots, whose.tolist(), strict=True)
    )


def _patches_named(patches: Sequence[BlindPatch], parts: Sequence[Body]) -> Steps[tuple[BlindPatch, ...]]:
    """Give patches the number of the part each lies on, or after the parts that of the body."""
    whose = yield from nearest_part([patch.at for patch in patches], parts)
    return tuple(
        replace(patch, body=which if which >= 0 else len(parts) + patch.body)
        for patch, which in zip(patches, whose.tolist(), strict=True)
    )
