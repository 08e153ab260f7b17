"""What the maker asks of the lattice; None leaves a size to the rules."""

from dataclasses import dataclass

from .lattice import Place

TRUNKS = ("wax", "printed")
CUTS = ("saw", "disc", "nipper")


@dataclass(frozen=True, slots=True)
class PinnedGate:
    """A gate the maker keeps as it is, whatever else is planned anew.

    ``body`` names the link it feeds, ``above`` tells a gate that comes down from the upper ring. ``points`` are its
    foot, knee, root of the tip, surface and sunk end in the link's own coordinates, so that it goes where the link
    goes; ``shaft_mm`` and ``tip_mm`` are its diameters.
    """

    body: str
    above: bool
    points: tuple[Place, Place, Place, Place, Place]
    shaft_mm: float
    tip_mm: float


@dataclass(frozen=True, slots=True)
class GatePlace:
    """A place of a link, in the link's own coordinates: where a gate is wanted, barred, or taken away.

    ``above`` tells a gate from the upper ring from one that rises from the base ring.
    """

    body: str
    at: Place
    above: bool = False


@dataclass(frozen=True, slots=True)
class FeedSpec:
    """What a maker wrote about the lattice. Sizes in mm.

    ``tip_mm`` diameter where a gate enters a link, ``gate_mm`` diameter of its shaft, ``gate_length_mm`` clear length
    between feed ring and link, ``ring_mm`` and ``spoke_mm`` diameter of base ring and spokes (the round rod that holds
    the section), ``upper_ring_mm``, ``post_mm`` and ``hub_mm`` diameters; ``trunk_length_mm`` of the trunk that the hub
    takes. ``trunk`` is one of TRUNKS: set by hand in wax, or printed on its own and set into a socket of the hub.
    ``cut`` is one of CUTS: what takes the gates off; for a nipper tips get a break-off neck. ``fillet_mm`` is the
    radius of the fillets where gates and posts stand on rings and where tips enter links; 0 for none. ``keep_out``
    numbers the triangles of the link's own mesh that no gate may enter: stones, details.

    What the maker did by hand, in the order it is done: ``pinned`` gates stand first, as they are; a gate is led to
    every ``wanted`` place; no other is led to a ``barred`` one; and of what was planned then, the gates at ``removed``
    places are taken away.
    """

    base_ring: bool = True
    upper_ring: bool = False
    tip_mm: float | None = None
    gate_mm: float | None = None
    gate_length_mm: float | None = None
    ring_mm: float | None = None
    upper_ring_mm: float | None = None
    post_mm: float | None = None
    spoke_mm: float | None = None
    hub_mm: float | None = None
    trunk: str = "wax"
    trunk_length_mm: float | None = None
    cut: str = "saw"
    fillet_mm: float = 0.0
    keep_out: tuple[int, ...] = ()
    pinned: tuple[PinnedGate, ...] = ()
    wanted: tuple[GatePlace, ...] = ()
    barred: tuple[GatePlace, ...] = ()
    removed: tuple[GatePlace, ...] = ()
