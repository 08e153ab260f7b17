"""From what the maker asks for to a laid-out chain: a draft while a slider moves, and the same chain verified."""

from dataclasses import dataclass, replace

import numpy as np

from ..base.errors import Bug
from ..base.progress import Steps, part
from ..solid.distance import gaps
from ..solid.mesh import Body, Pose
from .chain import Chain
from .check import check_chain, check_layout, check_link
from .closure import eased, hanging, ring_choice, straight_choice
from .families import draw
from .fit import Fit, fit
from .follow import follow
from .lengths import depth, inner_length
from .link import Link
from .path import Path, ring, ring_radius, straight
from .placed import rolled
from .spec import ChainSpec, LayoutSpec
from .sweep import sweep
from .uniform import Lay, lay_of

# How much further apart than the smooth wires the facets of two meshes may lie, in chord tolerances.
FACETS = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """Links at their places; lengths in mm that they wear at, are printed at and can be pushed to."""

    spec: ChainSpec
    link: Link
    path: Path
    pitch_mm: float
    fit: Fit
    gap_mm: float
    between: tuple[int, int]
    nearby: tuple[tuple[int, float], ...]
    worn_mm: float | None
    printed_mm: float
    pushed_mm: float | None


def draft_chain(spec: ChainSpec, layout: LayoutSpec) -> Chain:
    """Lay out a chain by its smooth wires: quick enough to follow a slider, with the pitch `build_chain` keeps.

    Raises BadInput for sizes that cannot be used, CannotBuild when no such chain exists.
    """
    check_chain(spec)
    check_layout(layout)
    link = draw(spec)
    check_link(link)
    laid = _lay_out(spec, layout, link)
    lay, path = lay_of(laid.link, layout.face), laid.path
    links = len(path.origins)
    rotations = rolled(path, lay)
    mesh, wire = sweep(laid.link, spec.chord_mm)
    names = [f"link {k + 1}" for k in range(links)]
    poses = [Pose(rotations[k], path.origins[k]) for k in range(links)]
    worn, printed, pushed = laid.worn_mm, laid.printed_mm, laid.pushed_mm
    return Chain(
        spec=laid.spec,
        layout=layout,
        bodies=tuple(Body(name, mesh, pose, wire) for name, pose in zip(names, poses, strict=True)),
        joints=tuple((k, k + 1) for k in range(links - 1)) + (((0, links - 1),) if path.closed else ()),
        path=path,
        closed=path.closed,
        pitch_mm=laid.pitch_mm,
        pitch_interval_mm=(laid.fit.low_mm, laid.fit.high_mm),
        best_pitch_mm=laid.fit.best_mm,
        smallest_gap_mm=laid.gap_mm,
        smallest_gap_between=(names[laid.between[0]], names[laid.between[1]]),
        verified=False,
        worn_inner_length_mm=worn if path.closed else None,
        printed_inner_length_mm=printed if path.closed else None,
        pushed_inner_length_mm=pushed if path.closed else None,
        worn_length_mm=None if path.closed else worn,
        printed_length_mm=None if path.closed else printed,
        pushed_length_mm=None if path.closed else pushed,
        slack_mm=None if worn is None else worn - printed,
        asked_mm=layout.inner_length_mm if path.closed else layout.length_mm,
        nearby=laid.nearby,
        radius_mm=ring_radius(links, laid.pitch_mm) if layout.shape == "ring" else None,
        eased_from_mm=None if laid.spec is spec else spec.link_length_mm,
    )


def build_chain(spec: ChainSpec, layout: LayoutSpec) -> Steps[Chain]:
    """Lay out a chain and verify its smallest gap on the meshes, every pair of links that come near.

    The meshes lie inside the smooth wires (see `sweep`), so the verified gap is never below the drafted one and the
    pitch stands. Raises as `draft_chain` does.
    """
    draft = draft_chain(spec, layout)
    yield 0.1
    range_mm = max(draft.smallest_gap_mm, 0.0) + FACETS * spec.chord_mm
    table = yield from part(gaps(draft.bodies, range_mm=range_mm), 0.1, 1.0)
    if not len(table.gap_mm):
        raise Bug(f"no gap within {range_mm} mm, where the smooth wires have {draft.smallest_gap_mm}")
    least = int(table.gap_mm.argmin())
    between = (draft.bodies[int(table.a[least])].name, draft.bodies[int(table.b[least])].name)
    return replace(draft, smallest_gap_mm=float(table.gap_mm[least]), smallest_gap_between=between, verified=True)


def _lay_out(spec: ChainSpec, layout: LayoutSpec, link: Link) -> _Laid:
    if layout.shape == "curve":
        return _along_curve(spec, layout, link)
    choose = ring_choice if layout.shape == "ring" else straight_choice
    choice = choose(spec, layout, link)
    if layout.fit == "ease":
        spec, link, choice = eased(spec, layout, link, choice)
    links, fitted = choice.links, choice.fit
    pitches = (fitted.pulled_mm, fitted.best_mm, fitted.pushed_mm)
    if layout.shape == "ring":
        path = ring(links, fitted.best_mm, layout.face)
        lengths = _round(link, lay_of(link, layout.face), links, pitches)
    else:
        path = straight(links, fitted.best_mm, layout.face)
        lengths = [hanging(link, links, pitch) for pitch in pitches]
    return _Laid(spec, link, path, fitted.best_mm, fitted, fitted.gap_mm, (0, 1), choice.nearby, *lengths)


def _along_curve(spec: ChainSpec, layout: LayoutSpec, link: Link) -> _Laid:
    """Follow a curve. A closed chain is worn round whatever curve it was printed on, so its worn length is a ring's."""
    on = follow(spec, layout, link)
    links = len(on.path.origins)
    worn: float | None
    pushed: float | None
    if on.path.closed:
        lay = lay_of(link, layout.face)
        worn_round = fit(link, lay, 2 * np.pi / links, 0.0)
        lengths = _round(link, lay, links, (worn_round.pulled_mm, worn_round.pushed_mm))
        worn, pushed = (length if np.isfinite(length) else None for length in lengths)
        printed = on.curve_mm - 2 * np.pi * depth(link, lay)
    else:
        pitches = (on.fit.pulled_mm, on.pitch_mm, on.fit.pushed_mm)
        worn, printed, pushed = (hanging(link, links, pitch) for pitch in pitches)
    return _Laid(spec, link, on.path, on.pitch_mm, on.fit, on.gap_mm, on.between, on.nearby, worn, printed, pushed)


def _round(link: Link, lay: Lay, links: int, pitches: tuple[float, ...]) -> list[float]:
    lengths = inner_length(link, lay, np.full(len(pitches), float(links)), np.array(pitches))
    return [float(length) for length in lengths]
