"""The lattice as values: struts as they are reported, and the closed solids they are printed as."""

from dataclasses import dataclass, replace

import numpy as np

from ..inspect.finding import Finding
from ..solid.measure import volume_mm3
from ..solid.mesh import FloatArray, Mesh

# Struts that begin no farther from each other than this begin at one node.
NODE_MM = 0.1
ROLES = ("gate", "ring", "upper", "post", "spoke", "trunk", "brace")

Place = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Strut:
    """A straight piece of feed metal from the feed towards the body. Lengths in mm.

    ``role`` one of ROLES: a gate is the piece that enters a body, and ``feeds`` names that body; a brace leads to a
    gate; the hub that takes the trunk has the role trunk. ``d_start_mm`` and ``d_end_mm`` are the diameters of the
    round rod that holds the section there.
    """

    role: str
    start: Place
    end: Place
    d_start_mm: float
    d_end_mm: float
    feeds: str | None = None

    @property
    def length_mm(self) -> float:
        """Give the length of the axis."""
        return float(np.linalg.norm(np.subtract(self.end, self.start)))

    def moved(self, shift: FloatArray) -> "Strut":
        """Give this strut moved by ``shift`` (3,) mm."""
        return replace(self, start=place(np.add(self.start, shift)), end=place(np.add(self.end, shift)))


@dataclass(frozen=True, slots=True, eq=False)
class LatticeSolid:
    """One closed solid of the lattice and the straight pieces it is made of, from the feed to the body.

    ``role`` is the role of the whole: gate (shaft and tip), ring, upper (a ring above), post, spoke or trunk (hub).
    ``modulus_mm`` is area over perimeter of its section where it stands free, tips left out: what the freezing order is
    judged by. ``above`` tells a gate that comes down from the upper ring from one that rises from the base ring.
    ``line`` of a gate are its foot, knee, root of the tip, surface and sunk end; of all else it is empty.
    ``neck_mm`` is the diameter of a gate's break-off neck, None where it has none.
    """

    role: str
    mesh: Mesh
    struts: tuple[Strut, ...]
    modulus_mm: float
    above: bool = False
    line: tuple[Place, ...] = ()
    neck_mm: float | None = None

    @property
    def feeds(self) -> str | None:
        """Name the body this solid enters, or None."""
        return next((s.feeds for s in self.struts if s.feeds is not None), None)

    @property
    def called(self) -> str:
        """Name this solid for people."""
        if self.feeds is not None:
            return f"{'upper gate' if self.above else 'gate'} of {self.feeds}"
        return {"ring": "base ring", "upper": "upper ring", "trunk": "hub"}.get(self.role, self.role)

    def rod(self) -> tuple[FloatArray, FloatArray]:
        """Give the axis (k + 1, 3) and the largest radius of each of its k pieces (k,)."""
        points = np.array([s.start for s in self.struts] + [self.struts[-1].end])
        return points, np.array([max(s.d_start_mm, s.d_end_mm) / 2 for s in self.struts])

    def moved(self, shift: FloatArray) -> "LatticeSolid":
        """Give this solid moved by ``shift`` (3,) mm."""
        return replace(
            self,
            mesh=Mesh(self.mesh.points + shift, self.mesh.triangles),
            struts=tuple(s.moved(shift) for s in self.struts),
            line=tuple(place(np.add(p, shift)) for p in self.line),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Lattice:
    """All printed feed metal of a job: its solids, where the plate lies, and what planning it found.

    ``plate_z_mm`` is the height of the plate in the coordinates of the bodies: move bodies and lattice by its
    negative, and the plate is z = 0. ``apart`` are solids printed on their own, drawn where they go when they are set
    in by hand: they belong neither to ``struts`` nor to the joined solid.
    """

    solids: tuple[LatticeSolid, ...]
    plate_z_mm: float
    findings: tuple[Finding, ...] = ()
    apart: tuple[LatticeSolid, ...] = ()

    @property
    def struts(self) -> tuple[Strut, ...]:
        """Give the straight pieces of all solids, in order."""
        return tuple(strut for solid in self.solids for strut in solid.struts)

    @property
    def volume_mm3(self) -> float:
        """Estimate the metal: the sum of the solids, a few per cent high, since what overlaps counts twice."""
        return sum(volume_mm3(solid.mesh) for solid in self.solids)

    def moved(self, shift: FloatArray) -> "Lattice":
        """Give this lattice, its plate and its findings moved by ``shift`` (3,) mm."""
        findings = tuple(replace(f, at=None if f.at is None else place(np.add(f.at, shift))) for f in self.findings)
        solids, apart = (tuple(s.moved(shift) for s in group) for group in (self.solids, self.apart))
        return Lattice(solids, self.plate_z_mm + float(shift[2]), findings, apart)


def place(point: FloatArray) -> Place:
    """Give a point (3,) as three plain floats."""
    return (float(point[0]), float(point[1]), float(point[2]))
