"""Is the whole job sound? Bodies and lattice, planned or edited, checked apart, joined, and looked at as they print.

Every body has a gate and stands steady; no strut is within its floor of a stranger; metal freezes towards the button;
bodies and struts are one closed solid, and without the struts exactly the bodies are left; no layer begins in mid-air,
no bridge is too wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..base.profile import Profile
from ..base.progress import Steps, part
from ..inspect.finding import Finding, worst_first
from ..inspect.print_check import PrintCheck, print_check
from ..solid.mesh import Body
from .join import Boolean, Solid, join
from .lattice import Lattice
from .reach import Thickness
from .soundness import check_lattice


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    """A job joined to one solid, how that prints, and all that was found; ``printed`` is None where nothing joined."""

    solid: Solid
    printed: PrintCheck | None
    findings: tuple[Finding, ...]


def joined_whole(
    bodies: Sequence[Body],
    lattice: Lattice,
    profile: Profile,
    boolean: Boolean,
    *,
    name: str,
    scale: float = 1.0,
    directions: int = 0,
    head: str = "vacuum",
) -> Steps[Whole]:
    """Join bodies and lattice and see how the solid, called ``name``, prints on the lattice's plate.

    ``scale``, ``directions`` and ``head`` as in `print_check`.
    """
    solid = yield from part(join(bodies, lattice, boolean), 0.0, 0.3)
    printed = None
    if solid.mesh is not None:
        checking = print_check(
            (Body(name, solid.mesh),),
            profile,
            scale=scale,
            plate_mm=lattice.plate_z_mm,
            fused=(),
            directions=directions,
            head=head,
            parts=(*bodies, *(Body(one.called, one.mesh) for one in lattice.solids)),
        )
        printed = yield from part(checking, 0.3, 1.0)
    return Whole(solid, printed, (*solid.findings, *(printed.findings if printed is not None else ())))


def check_whole(
    bodies: Sequence[Body],
    lattice: Lattice,
    profile: Profile,
    boolean: Boolean,
    *,
    wire_mm: Thickness,
    gap_mm: float | None = None,
    name: str = "the job",
) -> Steps[Whole]:
    """Check any lattice in full: by the feed rules on its exact meshes, joined, and as it prints. Worst found first.

    ``wire_mm`` and ``gap_mm`` as in `check_lattice`.
    """
    found = yield from part(check_lattice(bodies, lattice, profile, wire_mm=wire_mm, gap_mm=gap_mm), 0.0, 0.2)
    whole = yield from part(joined_whole(bodies, lattice, profile, boolean, name=name), 0.2, 1.0)
    return replace(whole, findings=worst_first((*found, *whole.findings)))
