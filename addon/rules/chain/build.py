"""From what the maker asks for to a laid-out chain: a draft while a slider moves, and the same chain verified."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..base.errors import BadInput, Bug, CannotBuild
from ..base.progress import Steps, finish, part
from ..solid.distance import gaps
from ..solid.mesh import Body, Pose
from .chain import Chain, JointFit
from .check import check_chain, check_link
from .closure import BESIDE, closed_ring, straight_row, worn_inside
from .cover import Union
from .easing import eased
from .ends import clasp_length_mm, with_ends
from .families import draw
from .follow import follow
from .laid import Laid
from .layout_check import check_layout, ends_of, is_closed
from .link import Link
from .measure import Measure, drafting, measuring
from .open_ring import open_ring
from .path import Path, bends_rad
from .pattern import Pattern
from .row import stood
from .spec import ChainSpec, LayoutSpec
from .sweep import meshes_of
from .taper import tapered

# How much further apart than the smooth wires the facets of two meshes may lie, in chord tolerances.
FACETS = 4.0

MeasureOf = Callable[[Sequence[Link]], Measure]


def draft_chain(spec: ChainSpec, layout: LayoutSpec) -> Chain:
    """Lay out a chain by its smooth wires, or by coarse meshes: quick enough to follow a slider.

    Raises BadInput for sizes that cannot be used, CannotBuild when no such chain exists.
    """
    check_chain(spec)
    check_layout(layout)
    return with_ends(_drafted(spec, layout))


def build_chain(spec: ChainSpec, layout: LayoutSpec, union: Union | None = None) -> Steps[Chain]:
    """Lay out a chain and verify its smallest gap on the meshes, every pair of links that come near.

    Of round wire the draft stands as it is: its meshes lie inside the smooth wires (see `sweep`), so the verified gap
    is never below the drafted one. Other links are laid out anew by their meshes. ``union`` fuses a cover with its end
    links. Raises as `draft_chain` does, and CannotBuild for a cover without ``union``.
    """
    check_chain(spec)
    check_layout(layout)
    if ends_of(layout) == "cover" and union is None:
        raise CannotBuild(
            "layout.ends: a cover is fused with both end links by Blender's own union, and this Python has no Blender; "
            'run it in Blender, or write ends = "closed" or "open"'
        )
    chain = _drafted(spec, layout)
    yield 0.05
    if not all(link.plain for link in chain.pattern.links):
        chain = yield from part(_exact(spec, layout, chain.links), 0.05, 0.4)
    chain = with_ends(chain, union)
    yield 0.5
    range_mm = max(chain.smallest_gap_mm, 0.0) + FACETS * spec.chord_mm
    table = yield from part(gaps(chain.bodies, range_mm=range_mm), 0.5, 1.0)
    if not len(table.gap_mm):
        raise Bug(f"no gap within {range_mm} mm, where the chain was laid with {chain.smallest_gap_mm}")
    least = int(table.gap_mm.argmin())
    between = (chain.bodies[int(table.a[least])].name, chain.bodies[int(table.b[least])].name)
    return replace(chain, smallest_gap_mm=float(table.gap_mm[least]), smallest_gap_between=between, verified=True)


def lay_out(
    spec: ChainSpec, layout: LayoutSpec, measure_of: MeasureOf, links: int | None = None
) -> Steps[tuple[ChainSpec, Laid]]:
    """Lay out the links of a checked spec, measured by what ``measure_of`` makes of them.

    ``links``: how many a straight chain or closed ring gets, whatever was asked.

    Gives the spec too, which differs where the link was eased to meet a length. Raises BadInput and CannotBuild.
    """
    if spec.tapered:
        if layout.fit == "ease":
            raise BadInput('layout.fit: "ease" does not change a tapered chain; write fit = "nearest"')
        return spec, tapered(spec, layout, measure_of)

    def lay(of: ChainSpec, on: LayoutSpec, links: int | None, beside: int) -> Laid:
        pattern = draw(of)
        for link in pattern.links:
            check_link(link)
        return _lay(of, on, pattern, measure_of(pattern.links), links, beside)

    laid = lay(spec, layout, links, BESIDE)
    yield 0.2
    if layout.fit == "ease":
        return (yield from part(eased(spec, layout, laid, lay), 0.2, 1.0))
    return spec, laid


def _lay(
    spec: ChainSpec, layout: LayoutSpec, pattern: Pattern, measure: Measure, links: int | None, beside: int
) -> Laid:
    if layout.shape == "ring" and is_closed(layout):
        return closed_ring(spec, layout, pattern, measure, links=links, beside=beside)
    clasp = clasp_length_mm(spec, layout, pattern)
    if layout.shape == "straight":
        return straight_row(spec, layout, pattern, measure, clasp, links=links)
    if layout.shape == "ring":
        return open_ring(spec, layout, pattern, measure, clasp_mm=clasp)
    laid = follow(spec, layout, pattern, measure, clasp)
    return replace(laid, inner=laid.row.closed or worn_inside(layout, clasp))


def _drafted(spec: ChainSpec, layout: LayoutSpec) -> Chain:
    built, laid = finish(lay_out(spec, layout, drafting))
    return _chain(spec, built, layout, laid)


def _exact(spec: ChainSpec, layout: LayoutSpec, links: int) -> Steps[Chain]:
    """Lay out links by the meshes that are built of them, as many as a draft had."""

    def measure_of(links: Sequence[Link]) -> Measure:
        return measuring(links, [mesh for mesh, _ in meshes_of(links, spec.chord_mm)])

    built, laid = yield from lay_out(spec, layout, measure_of, links)
    return _chain(spec, built, layout, laid)


def _chain(asked: ChainSpec, spec: ChainSpec, layout: LayoutSpec, laid: Laid) -> Chain:
    meshes = meshes_of(laid.pattern.links, spec.chord_mm)
    rotations, origins = stood(laid.row, laid.path)
    names = [f"link {k + 1}" for k in range(len(origins))]
    poses = [Pose(rotation, origin) for rotation, origin in zip(rotations, origins, strict=True)]
    bodies = [
        Body(name, meshes[kind][0], pose, meshes[kind][1])
        for name, kind, pose in zip(names, laid.row.kind.tolist(), poses, strict=True)
    ]
    lengths = {"worn": laid.worn_mm, "printed": laid.printed_mm, "pushed": laid.pushed_mm}
    inner, outer = (lengths, dict.fromkeys(lengths)) if laid.inner else (dict.fromkeys(lengths), lengths)
    return Chain(
        spec=spec,
        layout=layout,
        pattern=laid.pattern,
        row=laid.row,
        bodies=tuple(bodies),
        joints=tuple((int(a), int(b)) for a, b in laid.row.linked),
        path=Path(laid.path.origins[laid.row.station], laid.path.rotations[laid.row.station], laid.row.closed),
        closed=laid.row.closed,
        fits=tuple(
            JointFit(name, pitch, (one.low_mm, one.high_mm), one.best_mm, one.pulled_mm, one.pushed_mm)
            for name, pitch, one in zip(laid.pattern.joints, laid.pitches_mm, laid.fits, strict=True)
        ),
        smallest_gap_mm=laid.gap_mm,
        smallest_gap_between=(names[laid.between[0]], names[laid.between[1]]),
        verified=False,
        worn_inner_length_mm=inner["worn"],
        printed_inner_length_mm=inner["printed"],
        pushed_inner_length_mm=inner["pushed"],
        worn_length_mm=outer["worn"],
        printed_length_mm=outer["printed"],
        pushed_length_mm=outer["pushed"],
        slack_mm=None if laid.worn_mm is None else laid.worn_mm - laid.printed_mm,
        asked_mm=layout.length_mm if layout.inner_length_mm is None else layout.inner_length_mm,
        sizes=laid.sizes,
        radius_mm=laid.radius_mm,
        eased_from_mm=None if spec is asked else asked.link_length_mm,
        clasp_mm=laid.clasp_mm,
        bends_deg=_bends(laid.path),
    )


def _bends(path: Path) -> tuple[float, float]:
    """Give the largest bend of any joint, over the face and edgewise, in degrees."""
    over, edgewise = np.degrees(np.abs(bends_rad(path)[:, 1:]).max(axis=0, initial=0.0)).tolist()
    return over, edgewise
