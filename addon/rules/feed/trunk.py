"""Where the trunk goes: the plate side of the hub, marked for a wax trunk or with a socket for a printed one.

The mark is a ring that the trunk just covers, with arms that run out to the rim, all shallow grooves. The socket
narrows upwards: a tapered wall, a cone for a roof, and a vent through the top. Its arms run out to the rim too, so that
nothing is shut in against the plate while it prints and nothing stands in it as it drains. Roofs are steeper than the
overhang limit but where grooves meet. The printed trunk is a tapered rod that stands on its wide end, its peg up; the
peg keeps `PLAY_MM` from the socket all round. A trunk of 15 to 20 mm: common practice, no published source. The other
figures here are our judgement.
"""

from dataclasses import dataclass
from math import cos, hypot, pi, radians, tan

import numpy as np

from ..inspect.finding import Finding
from ..solid.mesh import FloatArray, Mesh
from .lattice import LatticeSolid, Strut, place
from .rods import skin
from .sections import ROUND, corners_round
from .sizes import SPOKE_SUNK_MM
from .spec import FeedSpec

SHORTEST_MM, LENGTH_MM, LONGEST_MM = 15.0, 18.0, 20.0
TRUNK_TAPER = tan(radians(3.0))
# Grooves of the mark are this deep. No two arms are nearer to each other than this.
MARK_MM = 0.4
ARMS_APART = radians(85.0)
MOST_ARMS = 4
# A flat at the top of the dimple in the middle of the mark; what is left between grooves.
DIMPLE_MM, LAND_MM = 0.2, 0.1
# The peg: its share of the trunk's diameter, and the angle of its wall.
PEG = 0.6
PEG_TAPER = tan(radians(8.0))
PLAY_MM = 0.1
PEG_END_MM, VENT_MM = 0.3, 0.5
VENT_GROOVE_MM = 0.6
# Metal over and beside the socket, the shortest tapered wall, and the smallest radius that still takes a peg.
ROOF_MM, LEAST_WALL_MM, LEAST_MOUTH_MM = 0.8, 1.2, 0.9
# The least radius where the wall ends and the roof begins.
LEAST_SHOULDER_MM = 0.65


@dataclass(frozen=True, slots=True)
class Socket:
    """A socket in the foot of a hub, in mm: radius of its mouth, height of its tapered wall, depth to its vent.

    ``rise`` is the tangent of its roof's slope.
    """

    mouth_mm: float
    wall_mm: float
    depth_mm: float
    rise: float

    @property
    def shoulder_mm(self) -> float:
        """Give the radius where the wall ends and the roof begins."""
        return self.mouth_mm - self.wall_mm * PEG_TAPER

    def peg(self) -> FloatArray:
        """Give the outline (3, 2) of the peg, radius and height: its foot, its shoulder, its end."""
        off = PLAY_MM * hypot(1.0, PEG_TAPER)
        drop = PLAY_MM * hypot(1.0, self.rise)
        high = self.wall_mm + (off * self.rise - drop) / (1.0 - PEG_TAPER * self.rise)
        top = self.wall_mm + (self.shoulder_mm - PEG_END_MM) * self.rise - drop
        foot = self.mouth_mm - off
        return np.array([[foot, 0.0], [foot - high * PEG_TAPER, high], [PEG_END_MM, top]])


def fit_socket(hub_mm: float, height_mm: float, trunk_mm: float, slope: float) -> Socket | None:
    """Choose the socket of a hub for a trunk; None where the hub is too small or too low.

    ``slope`` of its roof in radians.
    """
    rise, depth = tan(slope), height_mm - ROOF_MM
    leaning = 1.0 - PEG_TAPER * rise
    mouth = min(
        PEG * trunk_mm / 2, hub_mm / 2 - SPOKE_SUNK_MM - ROOF_MM, VENT_MM + (depth - LEAST_WALL_MM * leaning) / rise
    )
    if mouth < LEAST_MOUTH_MM:
        return None
    # A tall hub needs no deeper socket than one whose wall leaves the peg a shoulder.
    wall = min((depth - (mouth - VENT_MM) * rise) / leaning, (mouth - LEAST_SHOULDER_MM) / PEG_TAPER)
    return Socket(mouth, wall, wall + (mouth - wall * PEG_TAPER - VENT_MM) * rise, rise)


def trunk_length_mm(spec: FeedSpec) -> float:
    """Give the length of the trunk: what the maker wrote, else what is usual."""
    return LENGTH_MM if spec.trunk_length_mm is None else spec.trunk_length_mm


def least_hub_mm(slope: float) -> tuple[float, float]:
    """Give the smallest diameter and height of a hub that takes a socket."""
    rise = tan(slope)
    height = ROOF_MM + LEAST_WALL_MM * (1.0 - PEG_TAPER * rise) + (LEAST_MOUTH_MM - VENT_MM) * rise
    return 2 * (LEAST_MOUTH_MM + SPOKE_SUNK_MM + ROOF_MM), height


def arms_between(spokes: FloatArray) -> FloatArray:
    """Choose where grooves may leave a hub, as angles (a,): midway between the directions (s,) of its spokes.

    The widest room first, no two nearer to each other than `ARMS_APART`.
    """
    if not len(spokes):
        return np.arange(MOST_ARMS) * (2 * pi / MOST_ARMS)
    turned = np.sort(np.mod(spokes, 2 * pi))
    room = np.diff(np.append(turned, turned[0] + 2 * pi))
    if len(spokes) == 1:
        return np.sort(np.mod(turned[0] + np.array([0.5, 1.0, 1.5]) * pi, 2 * pi))
    middle = turned + room / 2
    chosen: list[float] = []
    for k in np.lexsort((np.arange(len(room)), -np.round(room, 6))):
        away = np.abs(np.mod(np.array(chosen) - middle[k] + pi, 2 * pi) - pi)
        if len(chosen) < MOST_ARMS and (away >= ARMS_APART).all():
            chosen.append(float(middle[k]))
    return np.sort(np.mod(chosen, 2 * pi))


def marked_hub(
    middle: FloatArray,
    d_mm: float,
    *,
    plate_z_mm: float,
    height_mm: float,
    trunk_mm: float,
    arms: FloatArray,
    slope: float,
) -> Mesh:
    """Make a hub whose foot bears the mark of a wax trunk; ``arms`` (a,), one or more, lead its grooves to the rim.

    A ring that would come under the spokes or into the dimple is left out: the arms still cross in the middle.
    """
    half = MARK_MM / tan(slope)
    dimple, rim, ring = DIMPLE_MM + half, d_mm / 2, trunk_mm / 2
    turns = _Turns(arms, half, d_mm)
    foot, top = turns.raised(MARK_MM), turns.raised(MARK_MM, all_round=True)
    rings = [turns.at(DIMPLE_MM, top), turns.at(dimple, foot)]
    if ring - 2 * half > dimple + LAND_MM and ring < rim - SPOKE_SUNK_MM - LAND_MM:
        rings += [turns.at(ring - 2 * half, foot), turns.at(ring - half, top), turns.at(ring, foot)]
    rings += [turns.at(rim, foot), turns.at(rim, np.full(turns.count, height_mm))]
    return skin(np.array(rings) + np.array([*middle, plate_z_mm]), closed=False)


def socket_hub(
    middle: FloatArray, d_mm: float, socket: Socket, *, plate_z_mm: float, height_mm: float, arms: FloatArray
) -> Mesh:
    """Make a hub with a socket in its foot, vented through its top and along ``arms`` (a,), if any, to its rim."""
    groove = min(VENT_GROOVE_MM, socket.wall_mm / 2)
    turns = _Turns(arms, groove / socket.rise, d_mm)
    foot = turns.raised(groove)
    mouth = socket.mouth_mm - foot * PEG_TAPER
    high = np.full(turns.count, height_mm)
    rings = [
        turns.hole(VENT_MM, np.full(turns.count, socket.depth_mm), socket.mouth_mm),
        turns.hole(socket.shoulder_mm, np.full(turns.count, socket.wall_mm), socket.mouth_mm),
        turns.hole(mouth, foot, socket.mouth_mm),
        turns.at(d_mm / 2, foot),
        turns.at(d_mm / 2, high),
        turns.hole(VENT_MM, high, socket.mouth_mm),
    ]
    return skin(np.array(rings) + np.array([*middle, plate_z_mm]), closed=True)


def trunk_solid(
    middle: FloatArray, socket: Socket, *, plate_z_mm: float, trunk_mm: float, length_mm: float
) -> LatticeSolid:
    """Draw a printed trunk where it goes: its shoulder on the hub's foot, its peg in the socket, its wide end below."""
    wide = trunk_mm + 2 * length_mm * TRUNK_TAPER
    peg = socket.peg()
    outline = np.array([[wide / 2, -length_mm], [trunk_mm / 2, 0.0], *peg])
    count = corners_round(wide)
    angle = np.arange(count) * (2 * pi / count)
    around = np.stack((np.cos(angle), np.sin(angle), 0 * angle), axis=1)
    rings = outline[:, :1, None] * around + outline[:, 1:, None] * [0.0, 0.0, 1.0]
    spots = [place(np.array([*middle, plate_z_mm + z])) for z in (-length_mm, 0.0, peg[-1, 1])]
    struts = (
        Strut("trunk", spots[0], spots[1], wide, trunk_mm),
        Strut("trunk", spots[1], spots[2], 2 * float(peg[0, 0]), 2 * float(peg[1, 0])),
    )
    mesh = skin(rings + np.array([*middle, plate_z_mm]), closed=False)
    return LatticeSolid("trunk", mesh, struts, ROUND.modulus_mm(trunk_mm))


def for_print(trunk: LatticeSolid) -> Mesh:
    """Give the mesh of a trunk standing on its own foot at the middle of a plate at z = 0, as it is printed."""
    foot = np.array(trunk.struts[0].start)
    return Mesh(trunk.mesh.points - foot, trunk.mesh.triangles)


def trunk_findings(
    spec: FeedSpec, hub_mm: tuple[float, float], trunk_mm: float, socket: Socket | None, slope: float, at: FloatArray
) -> tuple[Finding, ...]:
    """Tell the size of a printed trunk and how it is set, and warn of what does not work; ``at`` (3,) on the hub.

    ``hub_mm`` are its diameter and height, ``trunk_mm`` is the diameter that the rules ask for at the hub, ``slope``
    that of the socket's roof in radians.
    """
    length = trunk_length_mm(spec)
    least = least_hub_mm(slope)
    found = []
    if socket is not None:
        text = (
            f"trunk: printed apart, {trunk_mm:.1f} mm across at the hub and "
            f"{trunk_mm + 2 * length * TRUNK_TAPER:.1f} mm at its foot, {length:g} mm long without its peg; print it "
            f"standing on its foot, try it in the socket ({PLAY_MM:g} mm of play all round), set it with wax and fill "
            "vent and grooves with wax as well"
        )
        found.append(Finding("modulus", "note", (), text, at=place(at), value=trunk_mm))
    if not SHORTEST_MM <= length <= LONGEST_MM:
        found.append(
            Finding(
                "flask-size",
                "warn",
                (),
                f"feed.trunk_length_mm: a trunk of {length:g} mm "
                + ("leaves too little investment over the wheel" if length < SHORTEST_MM else "wants a taller flask")
                + f"; {SHORTEST_MM:g} to {LONGEST_MM:g} mm works",
                at=place(at),
                value=length,
                limit=SHORTEST_MM if length < SHORTEST_MM else LONGEST_MM,
            )
        )
    if spec.trunk == "printed" and socket is None:
        found.append(
            Finding(
                "modulus",
                "warn",
                (),
                f"feed.trunk: a hub {hub_mm[0]:.1f} mm across and {hub_mm[1]:.1f} mm high takes no socket, so it is "
                f"made for a wax trunk; {least[0]:.1f} mm across and {least[1]:.1f} mm high would do: write a thicker "
                "feed.hub_mm and feed.spoke_mm",
                at=place(at),
            )
        )
    return tuple(found)


class _Turns:
    """Rings of points about the axis that share their order: some of them lie in grooves that run outwards."""

    def __init__(self, arms: FloatArray, half_mm: float, d_mm: float) -> None:
        """Lay grooves ``2 * half_mm`` wide along ``arms`` (a,); ``d_mm`` sets how many points a ring has."""
        self._arms, self._half = np.sort(arms), half_mm
        corners = corners_round(d_mm)
        if not len(arms):
            self._steps = [corners]
        else:
            room = np.diff(np.append(self._arms, self._arms[0] + 2 * pi))
            self._steps = [max(2, int(np.ceil(corners * r / (2 * pi)))) for r in room]
        self.count = sum(self._steps) + 2 * len(arms)

    def raised(self, z_mm: float, *, all_round: bool = False) -> FloatArray:
        """Give heights (m,): ``z_mm`` along the middle of the grooves, 0 elsewhere, or the same all round."""
        z = np.full(self.count, z_mm if all_round else 0.0)
        if not all_round and len(self._arms):
            z[np.cumsum([0, *(s + 2 for s in self._steps[:-1])])] = z_mm
        return z

    def at(self, r_mm: float, z_mm: FloatArray) -> FloatArray:
        """Give a ring (m, 3) of radius ``r_mm`` at heights (m,)."""
        angle = self._angles(r_mm)
        return np.stack((r_mm * np.cos(angle), r_mm * np.sin(angle), z_mm), axis=1)

    def hole(self, r_mm: FloatArray | float, z_mm: FloatArray, mouth_mm: float) -> FloatArray:
        """Give a ring (m, 3) of a hole, radii and heights (m,): its facets leave a round of those radii free.

        ``mouth_mm`` is the radius at which the hole meets the grooves: all its rings are divided as that one is.
        """
        angle = self._angles(mouth_mm)
        r = r_mm / cos(np.diff(np.append(angle, angle[0] + 2 * pi)).max() / 2)
        return np.stack((r * np.cos(angle), r * np.sin(angle), z_mm), axis=1)

    def _angles(self, r_mm: float) -> FloatArray:
        if not len(self._arms):
            return np.arange(self.count) * (2 * pi / self.count)
        room = np.diff(np.append(self._arms, self._arms[0] + 2 * pi))
        # In the middle grooves meet: there they are drawn as narrow as they must be.
        half = min(np.arcsin(min(1.0, self._half / r_mm)), 0.49 * room.min())
        angles = []
        for arm, wide, steps in zip(self._arms, room, self._steps, strict=True):
            angles += [arm, *np.linspace(arm + half, arm + wide - half, steps + 1)]
        return np.array(angles)
