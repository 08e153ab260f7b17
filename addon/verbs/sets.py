"""Small sets of bodies that follow no path, fed together: charms, a pair of earrings, loose links."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..rules.base.errors import BadInput
from ..rules.base.profile import Profile
from ..rules.base.progress import Steps, part
from ..rules.feed.cuts import CuttingList
from ..rules.feed.cutting import cutting_list
from ..rules.feed.join import Boolean, Solid
from ..rules.feed.lattice import Lattice
from ..rules.feed.spec import FeedSpec
from ..rules.feed.tree import plan_set
from ..rules.feed.whole import joined_whole
from ..rules.inspect.finding import Finding, worst_first
from ..rules.inspect.inspection import Inspection, inspect
from ..rules.inspect.print_check import PrintCheck
from ..rules.solid.mesh import Body
from ..rules.solid.topology import facts
from .flow import RANGE_MM


@dataclass(frozen=True, slots=True, eq=False)
class FedSet:
    """Bodies standing over the plate on their lattice; ``solid`` and ``printed`` only where a boolean was at hand."""

    bodies: tuple[Body, ...]
    inspection: Inspection
    lattice: Lattice
    solid: Solid | None
    printed: PrintCheck | None
    cutting: CuttingList
    findings: tuple[Finding, ...]

    @property
    def lattice_mm3(self) -> float:
        """Give the volume of the struts less the bodies: exact once joined, else the planner's estimate."""
        return self.lattice.volume_mm3 if self.solid is None else self.solid.lattice_volume_mm3


def feed_set(
    name: str,
    bodies: Sequence[Body],
    profile: Profile,
    spec: FeedSpec,
    boolean: Boolean | None,
    *,
    scale: float = 1.0,
    directions: int = 0,
    head: str = "vacuum",
) -> Steps[FedSet]:
    """Stand bodies on a hub with branches, inspect them there, join all to one solid and see if that prints.

    The bodies come back lifted so that the plate is z = 0. Without ``boolean`` nothing is joined. ``scale`` is size in
    print over finished size: a tip the maker sized keeps its size in mm on the print. ``directions`` of light and
    ``head`` as in `print_check`. Raises BadInput, naming the body, for bodies that are open or inside out.
    """
    _check_closed(bodies)
    if spec.tip_mm is not None:
        spec = replace(spec, tip_mm=spec.tip_mm / scale)
    lattice = yield from part(plan_set(bodies, profile, spec), 0.0, 0.3)
    shift = np.array([0.0, 0.0, -lattice.plate_z_mm])
    lattice = lattice.moved(shift)
    stood = tuple(body.moved(shift) for body in bodies)
    inspection = yield from part(inspect(stood, profile, range_mm=RANGE_MM, scale=scale, head=head), 0.3, 0.5)
    solid, printed = None, None
    found: tuple[Finding, ...] = ()
    if boolean is not None:
        joining = joined_whole(
            stood, lattice, profile, boolean, name=name, scale=scale, directions=directions, head=head
        )
        whole = yield from part(joining, 0.5, 0.9)
        solid, printed, found = whole.solid, whole.printed, whole.findings
    volume = lattice.volume_mm3 if solid is None else solid.lattice_volume_mm3
    cutting = yield from part(cutting_list(stood, lattice, cut=spec.cut, lattice_mm3=volume), 0.9, 1.0)
    findings = worst_first((*inspection.findings, *lattice.findings, *found, *cutting.findings))
    return FedSet(stood, inspection, lattice, solid, printed, cutting, findings)


def _check_closed(bodies: Sequence[Body]) -> None:
    for body in bodies:
        found = facts(body.mesh)
        if not found.closed:
            raise BadInput(
                f"{body.name}: is open ({found.open_edges} open edges), so it cannot be cast; close its mesh first"
            )
        if found.inside_out:
            raise BadInput(f"{body.name}: is inside out; recalculate its normals to the outside")
