"""What a bench sheet shows, as values."""

from dataclasses import dataclass

from ..cast.layouts import LayoutFigures
from ..cast.levers import Lever
from ..cast.plan import CastPlan
from ..cast.verdict import LinkCast
from ..chain.play import FreePlay
from ..feed.cuts import CuttingList
from ..feed.lattice import Strut
from ..inspect.finding import Finding
from ..solid.mesh import Body

Row = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a job will cast, link by link, and what would put it right.

    ``remark``: what changes at the low and high ends of the poorly known figures; ``notes``: what else was seen.
    """

    links: tuple[LinkCast, ...]
    levers: tuple[Lever, ...] = ()
    remark: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class SheetData:
    """All a sheet shows. ``bodies`` and ``struts`` in mm with the plate at z = 0; rows are (label, words) in order.

    ``chain`` says what was made (family, wire, links), ``sizes`` printed and worn sizes, ``gaps`` the smallest gaps
    through the gap ladder. ``play`` how far its joints move, where that is known. ``layouts`` compares what
    the same links take in every shape. ``cutting`` says what frees the chain
    after the cast. ``overrides`` name stop findings the user exported in spite of. ``verdict`` says whether it will
    cast, where freezing and filling were worked out.
    """

    title: str
    plan: CastPlan
    bodies: tuple[Body, ...]
    struts: tuple[Strut, ...] = ()
    chain: tuple[Row, ...] = ()
    sizes: tuple[Row, ...] = ()
    gaps: tuple[Row, ...] = ()
    play: FreePlay | None = None
    layouts: tuple[LayoutFigures, ...] = ()
    findings: tuple[Finding, ...] = ()
    cutting: CuttingList | None = None
    overrides: tuple[str, ...] = ()
    trunk_printed: bool = False
    verdict: Verdict | None = None
