"""The job from chain to plan as functions of values: the command line and the panel run the same ones."""

from dataclasses import dataclass, replace

import numpy as np

from ..rules.base.errors import LinkwrightError
from ..rules.base.progress import Steps, finish, part
from ..rules.cast.assembly import cast_network
from ..rules.cast.flask import USUAL_MARGINS
from ..rules.cast.forecast import forecast
from ..rules.cast.layouts import Allowance, LayoutFigures, compare_layouts
from ..rules.cast.materials import Materials
from ..rules.cast.mould_and_metal import mould_and_metal
from ..rules.cast.plan import USUAL_HABITS, CastPlan, plan
from ..rules.cast.pour import Pour, reach_mm
from ..rules.cast.quick import Section
from ..rules.chain.build import build_chain
from ..rules.chain.chain import Chain
from ..rules.chain.path import Path as ChainPath
from ..rules.chain.play import FreePlay, free_play
from ..rules.chain.resize import LeastWidth, least_width
from ..rules.chain.spec import ChainSpec
from ..rules.feed.cuts import CuttingList
from ..rules.feed.cutting import cutting_list
from ..rules.feed.freezing import feed_wires
from ..rules.feed.join import Boolean, Solid
from ..rules.feed.lattice import Lattice
from ..rules.feed.plan import plan_lattice
from ..rules.feed.trunk import trunk_length_mm
from ..rules.feed.whole import joined_whole
from ..rules.files.job import Job
from ..rules.inspect.finding import Finding, worst_first
from ..rules.inspect.fit import fit_findings
from ..rules.inspect.inspection import Inspection, inspect
from ..rules.inspect.play import play_findings
from ..rules.inspect.print_check import PrintCheck, print_check
from ..rules.solid.mesh import FloatArray, Mesh, Pose

RANGE_MM = 1.5


@dataclass(frozen=True, slots=True)
class Scaling:
    """What a gap goes through. ``scale``: size in print over finished size; the rest as in `MouldAndMetal`.

    ``feed_wires``: over how many thicknesses of a section its alloy feeds.
    """

    scale: float
    mould_expansion: float
    shrinkage: float
    hot_strength_mpa: float
    feed_wires: float


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """A chain, what its inspection says, and how far its joints move."""

    chain: Chain
    inspection: Inspection
    play: FreePlay
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Fed:
    """A chain standing over the plate on its lattice; ``solid`` and ``printed`` only where a boolean was at hand."""

    chain: Chain
    inspection: Inspection
    play: FreePlay
    lattice: Lattice
    solid: Solid | None
    printed: PrintCheck | None
    cutting: CuttingList
    findings: tuple[Finding, ...]

    @property
    def lattice_mm3(self) -> float:
        """Give the volume of the struts less the bodies: exact once joined, else the planner's estimate."""
        return self.lattice.volume_mm3 if self.solid is None else self.solid.lattice_volume_mm3


def scaling(job: Job, materials: Materials) -> Scaling:
    """Find the export scale of a job: the maker's own, or 1 / net factor of metal and mould."""
    found = mould_and_metal(job.cast, materials, thinnest_mm=min(wires_mm(job.chain)))
    scale = found.scale if job.profile.scale is None else job.profile.scale
    wires = feed_wires(found.freezing_range_k)
    return Scaling(scale, found.expansion, found.shrinkage, found.hot_strength_mpa, wires)


def build(job: Job, boolean: Boolean | None = None) -> Steps[Chain]:
    """Build the chain of a job, exactly verified. A cover over the seam needs ``boolean``; all else does without."""
    return build_chain(job.chain, job.layout, union=boolean)


def make(job: Job, scaled: Scaling, boolean: Boolean | None = None) -> Steps[Made]:
    """Build the chain of a job and inspect it."""
    chain = yield from part(build(job, boolean), 0.0, 0.4)
    return (yield from part(check(chain, job, scaled), 0.4, 1.0))


def check(chain: Chain, job: Job, scaled: Scaling, play: FreePlay | None = None) -> Steps[Made]:
    """Inspect a generated chain as it will be printed, knowing which links should be linked, and move its joints.

    ``play``: what is known of the joints already, wherever the chain stood then; else they are moved here.
    """
    inspection = yield from part(
        inspect(
            chain.bodies,
            job.profile,
            range_mm=RANGE_MM,
            joints=chain.joints,
            scale=scaled.scale,
            mould_expansion=scaled.mould_expansion,
            shrinkage=scaled.shrinkage,
            head=job.cast.head,
            hot_strength_mpa=scaled.hot_strength_mpa,
        ),
        0.0,
        0.5,
    )
    if play is None:
        play = yield from part(free_play(chain), 0.5, 1.0)
    findings = (*fit_findings(chain, job.profile), *play_findings(chain, play), *inspection.findings)
    return Made(chain, inspection, play, worst_first(findings))


def least(job: Job) -> LeastWidth | None:
    """Find the width at which the joint of a job's design closes up; None where that cannot be told."""
    try:
        return least_width(job.chain, job.layout)
    except LinkwrightError:
        # Far from its own size a design may run into other limits first: a figure beside the chain, no fault of it.
        return None


def feed(
    job: Job,
    chain: Chain,
    scaled: Scaling,
    boolean: Boolean | None,
    play: FreePlay | None = None,
    *,
    directions: int = 0,
) -> Steps[Fed]:
    """Stand a chain on its lattice over the plate, inspect it there, join both to one solid and see if that prints.

    The cuts that free it after the cast are listed too. The chain comes back lifted so that the plate is z = 0. Without
    ``boolean`` nothing is joined. ``play`` as in `check`, ``directions`` of light as in `print_check`.
    """
    lattice = yield from part(lattice_for(job, chain, scaled), 0.0, 0.2)
    shift = np.array([0.0, 0.0, -lattice.plate_z_mm])
    lattice = lattice.moved(shift)
    made = yield from part(check(lifted(chain, shift), job, scaled, play), 0.2, 0.3)
    solid, printed = None, None
    found: tuple[Finding, ...] = ()
    if boolean is not None:
        joining = joined_whole(
            made.chain.bodies,
            lattice,
            job.profile,
            boolean,
            name=job.name,
            scale=scaled.scale,
            directions=directions,
            head=job.cast.head,
        )
        whole = yield from part(joining, 0.3, 0.9)
        solid, printed, found = whole.solid, whole.printed, whole.findings
    volume = lattice.volume_mm3 if solid is None else solid.lattice_volume_mm3
    cuts = cutting_list(made.chain.bodies, lattice, cut=job.feed.cut, lattice_mm3=volume)
    cutting = yield from part(cuts, 0.9, 1.0)
    findings = (*made.findings, *lattice.findings, *found, *cutting.findings)
    return Fed(made.chain, made.inspection, made.play, lattice, solid, printed, cutting, worst_first(findings))


def will_print(made: Made, job: Job, scaled: Scaling, *, directions: int = 0) -> Steps[PrintCheck]:
    """See how a chain prints that has no lattice yet, as if the plate were right under it."""
    return print_check(
        made.chain.bodies,
        job.profile,
        scale=scaled.scale,
        fused=made.inspection.met(),
        directions=directions,
        head=job.cast.head,
    )


def lattice_for(job: Job, chain: Chain, scaled: Scaling) -> Steps[Lattice]:
    """Plan the lattice of a chain. A tip the maker sized keeps its size in mm on the print, whatever the scale.

    The thickest wire of a tapered chain sets the sizes: it freezes last. A tip never grows past the metal it enters.
    """
    spec = job.feed
    if spec.tip_mm is not None:
        spec = replace(spec, tip_mm=spec.tip_mm / scaled.scale)
    order = along(chain)
    path = ChainPath(chain.path.origins[order], chain.path.rotations[order], chain.path.closed)
    return plan_lattice(
        tuple(chain.bodies[k] for k in order),
        path,
        replace(job.profile, feed_wires=scaled.feed_wires),
        spec,
        wire_mm=max(wires_mm(chain.spec)),
        gap_mm=chain.smallest_gap_mm * scaled.scale,
    )


def along(chain: Chain) -> list[int]:
    """Give the numbers of a chain's bodies as they follow one another: a closure's first half before the first link."""
    closure = range(chain.links, len(chain.bodies))
    before = [k for k in closure if not chain.closed and (0, k) in chain.joints]
    return [*before, *range(chain.links), *(k for k in closure if k not in before)]


def lifted(chain: Chain, shift: FloatArray) -> Chain:
    """Move a whole chain by ``shift`` (3,) mm."""
    path = ChainPath(chain.path.origins + shift, chain.path.rotations, chain.path.closed)
    return replace(chain, bodies=tuple(b.moved(shift) for b in chain.bodies), path=path)


def turned(chain: Chain, turn: FloatArray) -> Chain:
    """Turn a whole chain about the origin by a rotation (3, 3)."""
    bodies = tuple(replace(b, pose=Pose(turn @ b.pose.rotation, turn @ b.pose.origin)) for b in chain.bodies)
    path = ChainPath(chain.path.origins @ turn.T, turn @ chain.path.rotations, chain.path.closed)
    return replace(chain, bodies=bodies, path=path)


def cast(job: Job, fed: Fed, materials: Materials, scaled: Scaling, *, with_levers: bool = True) -> Steps[CastPlan]:
    """Plan the pour of a fed chain, and tell whether the metal will get there and what would help if it does not."""
    planned = quick_cast(job, fed, materials, scaled)
    making = cast_network(
        fed.chain.bodies,
        fed.lattice,
        trunk_d_mm=planned.trunk_d_mm,
        trunk_mm=planned.margins.trunk_mm,
        button_mm3=planned.button_mm3,
        cone_mm=planned.margins.cone_mm,
        reach_mm=reach_mm(planned.investment),
        solid_mm3=None if fed.solid is None else fed.solid.volume_mm3,
    )
    network, mould = yield from part(making, 0.0, 0.1)
    pour = Pour(planned.alloy, planned.investment, planned.temperatures, planned.head, planned.margins)
    return planned.foretold((yield from part(forecast(network, mould, pour, with_levers=with_levers), 0.1, 1.0)))


def quick_cast(job: Job, fed: Fed, materials: Materials, scaled: Scaling) -> CastPlan:
    """Plan the pour of a fed chain by weights, sizes and quick rules alone, in no time."""
    points = np.concatenate([b.points() for b in fed.chain.bodies] + [s.mesh.points for s in fed.lattice.solids])
    low, high = points.min(axis=0), points.max(axis=0)
    across = 2.0 * float(np.hypot(*(points - (low + high) / 2)[:, :2].T).max())
    x, y, z = (high - low).tolist()
    printed = [max(s.d_start_mm for s in one.struts) for one in fed.lattice.apart]
    return plan(
        job.cast,
        materials,
        chain_mm3=sum(b.volume_mm3 for b in fed.inspection.bodies),
        lattice_mm3=fed.lattice_mm3,
        size_mm=(x, y, z),
        sections=sections(job, fed.lattice),
        across_mm=across,
        scale=scaled.scale,
        margins=replace(USUAL_MARGINS, trunk_mm=trunk_length_mm(job.feed)),
        habits=replace(USUAL_HABITS, trunk_d_mm=max(printed, default=None)),
    )


def compare(job: Job, fed: Fed, materials: Materials, scaled: Scaling) -> tuple[LayoutFigures, ...]:
    """Compare the layouts for the links of a fed chain, each with the room its own lattice takes."""
    bodies = np.concatenate([b.points() for b in fed.chain.bodies])
    whole = np.concatenate([bodies] + [s.mesh.points for s in fed.lattice.solids])
    low, high = bodies.min(axis=0) - whole.min(axis=0), whole.max(axis=0) - bodies.max(axis=0)
    added = Allowance(float(low[2]), float(high[2]), float(max(low[:2].max(), high[:2].max())))
    return finish(
        compare_layouts(
            fed.chain.spec,
            fed.chain.layout,
            fed.chain.count,
            materials.flasks,
            head=job.cast.head,
            layer_mm=job.profile.layer_mm,
            scale=scaled.scale,
            allowance=added,
            tilt=job.cast.tilt,
        )
    )


def sections(job: Job, lattice: Lattice) -> tuple[Section, ...]:
    """List the different round sections of a job: the wire, then each role of the lattice at its thinnest."""
    wires = wires_mm(job.chain)
    found = [Section("wire", min(wires))]
    if len(wires) > 1:
        found.append(Section("thickest wire", max(wires)))
    tips = [s.d_end_mm for s in lattice.struts if s.role == "gate"]
    if tips:
        found.append(Section("gate tip", min(tips), neck=True))
    names = {
        "brace": "gate",
        "ring": "base ring",
        "upper": "upper ring",
        "post": "post",
        "spoke": "spoke",
        "trunk": "hub",
    }
    for role, name in names.items():
        sizes = [min(s.d_start_mm, s.d_end_mm) for s in lattice.struts if s.role == role]
        if role == "trunk":  # A low hub cools through its top too: the rod that freezes with it.
            sizes = [4 * s.modulus_mm for s in lattice.solids if s.role == role]
        if sizes:
            found.append(Section(name, min(sizes)))
    return tuple(found)


def wires_mm(spec: ChainSpec) -> tuple[float, ...]:
    """Give the thickness of the wire, of a tapered chain that of its first link and that of its last."""
    end = spec.end_wire_mm
    return (spec.wire_mm,) if end is None or end == spec.wire_mm else (spec.wire_mm, end)


def scaled_mesh(mesh: Mesh, scale: float) -> Mesh:
    """Scale a mesh about the origin, which lies on the plate."""
    return Mesh(mesh.points * scale, mesh.triangles)
