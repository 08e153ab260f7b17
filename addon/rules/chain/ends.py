"""The ends of an open chain: a closure cast in place, one half hung on each end link, uncoupled."""

from dataclasses import replace

import numpy as np

from ..base.errors import CannotBuild
from ..solid.mesh import Body, IntArray, Mesh
from ..solid.posed import posable
from .chain import Chain
from .clasp_sizes import Clasp, clasp_for, extra_mm
from .clasps import Closure
from .cover import Union, covered
from .families import draw
from .hang import Hung, Stand, hang
from .layout_check import ends_of
from .measure import Measure
from .path import Path
from .pattern import Pattern
from .spec import CLASPS, ChainSpec, LayoutSpec
from .sweep import meshes_of
from .taper_sizes import at_share


def clasp_length_mm(spec: ChainSpec, layout: LayoutSpec, pattern: Pattern) -> float:
    """Give what the closure of a layout adds to the worn length, in mm: as asked for, or as made; 0 without one.

    It counts from the outer end of the one end link to that of the other, everything drawn to contact. Raises
    CannotBuild where no such closure fits the end links.
    """
    if ends_of(layout) != "open":
        return 0.0
    if layout.clasp_length_mm is not None:
        return layout.clasp_length_mm
    if layout.clasp is None:
        return 0.0
    return clasp_of(spec, layout.clasp, pattern).length_mm


def clasp_of(spec: ChainSpec, clasp: str, pattern: Pattern) -> Clasp:
    """Size a closure for the ends of a chain. Both ends of a chain of unlike links are sized for its longest.

    Raises CannotBuild where no such closure fits.
    """
    if spec.tapered:
        return clasp_for(clasp, draw(at_share(spec, 0.0)).link, draw(at_share(spec, 1.0)).link, spec.gap_mm)
    longest = max(pattern.links, key=lambda link: link.length_mm)
    return clasp_for(clasp, longest, longest, spec.gap_mm)


def with_ends(chain: Chain, union: Union | None = None) -> Chain:
    """Give a chain the ends its layout asks for; closed chains and bare ends stay as they are.

    The two bodies of a closure follow the links. Each passes through its own end link only, and keeps the wanted gap to
    everything else; on a bent layout it may be swung about the end link's wire to find that room. ``union`` joins the
    block over a covered seam with both its end links; without it the block stays a body of its own, for a draft.
    Raises CannotBuild where a body finds no room, naming what does.
    """
    ends = ends_of(chain.layout)
    if ends == "cover":
        return covered(chain, union)
    if ends != "open" or chain.layout.clasp is None:
        return chain
    clasp = clasp_of(chain.spec, chain.layout.clasp, chain.pattern)
    hung = hung_at_ends(chain, clasp)
    for closure, place in zip((clasp.first, clasp.last), hung, strict=True):
        if place.gap_mm < chain.spec.gap_mm - 1e-9:
            raise _no_room(chain, closure, place)
    return _with_bodies(chain, clasp, hung)


def hung_at_ends(chain: Chain, clasp: Clasp) -> tuple[Hung, Hung]:
    """Hang both halves of a closure where they have the widest gap, the first one first.

    A link that is no round wire is looked at by its centreline, with all that its section may reach beyond it, and
    measured on its mesh; where that falls short the meshes themselves are searched.
    """
    halves = (clasp.first, clasp.last)
    nearby = _near_the_ends(chain, halves)
    links, kinds = np.unique(chain.row.kind[nearby], return_inverse=True)
    drawn = (*(chain.pattern.links[k] for k in links), *(half.link for half in halves))
    first, last = int(np.searchsorted(nearby, 0)), int(np.searchsorted(nearby, chain.links - 1))
    rotations = np.array([chain.bodies[k].pose.rotation for k in nearby])
    origins = np.array([chain.bodies[k].pose.origin for k in nearby])
    guided = Stand(Measure(drawn, None, exact=True), kinds.reshape(-1).astype(np.int64), rotations, origins)
    more = max(extra_mm(link) for link in drawn)
    want = chain.spec.gap_mm + more
    found = _hung(guided, clasp, (first, last), want)
    if all(link.plain for link in drawn):
        return _numbered(found, nearby)
    ready = [posable(_mesh_of(chain, int(k), nearby)) for k in links]
    ready += [posable(mesh) for mesh, _ in meshes_of([half.link for half in halves], chain.spec.chord_mm)]
    exact = replace(guided, measure=Measure(drawn, tuple(ready), exact=True))
    measured = _measured(exact, found)
    if min(h.gap_mm for h in measured) < chain.spec.gap_mm:
        measured = _hung(exact, clasp, (first, last), chain.spec.gap_mm)
    return _numbered(measured, nearby)


def _hung(stand: Stand, clasp: Clasp, ends: tuple[int, int], want_mm: float) -> tuple[Hung, Hung]:
    kinds = len(stand.measure.links) - 2, len(stand.measure.links) - 1
    one = hang(stand, kinds[0], clasp.first, body=ends[0], outward=-1, clear_mm=clasp.clear_mm[0], want_mm=want_mm)
    both = stand.joined_by(kinds[0], one.pose)
    two = hang(both, kinds[1], clasp.last, body=ends[1], outward=1, clear_mm=clasp.clear_mm[1], want_mm=want_mm)
    return one, two


def _measured(stand: Stand, hung: tuple[Hung, Hung]) -> tuple[Hung, Hung]:
    """Measure the gaps of bodies where they hang."""
    kind = len(stand.measure.links) - 2
    found = []
    for half in hung:
        near = stand.near(kind, half.pose.origin[None], stand.measure.links[kind].wire_mm)
        each = [
            stand.gaps(kind, half.pose.rotation[None], half.pose.origin[None], near[i : i + 1])[0]
            for i in range(len(near))
        ]
        least = int(np.argmin(each))
        found.append(Hung(half.pose, float(each[least]), int(near[least])))
        stand = stand.joined_by(kind, half.pose)
        kind += 1
    return found[0], found[1]


def _numbered(hung: tuple[Hung, Hung], nearby: IntArray) -> tuple[Hung, Hung]:
    """Give the nearest bodies their numbers in the chain; -1 stands for the other half."""

    def named(half: Hung) -> Hung:
        return replace(half, body=int(nearby[half.body]) if 0 <= half.body < len(nearby) else -1)

    return named(hung[0]), named(hung[1])


def _near_the_ends(chain: Chain, halves: tuple[Closure, Closure]) -> IntArray:
    """Give the links that a half of the closure could come near, the end links among them."""
    origins = np.array([body.pose.origin for body in chain.bodies[: chain.links]])
    reach = np.array([link.reach_mm for link in chain.pattern.links])[chain.row.kind]
    near = np.zeros(chain.links, dtype=np.bool_)
    for half, end in zip(halves, (0, chain.links - 1), strict=True):
        away = np.sqrt(((origins - origins[end]) ** 2).sum(axis=1))
        size = half.ahead_mm + half.aside_mm + chain.pattern.links[int(chain.row.kind[end])].length_mm
        near |= away < size + reach + chain.spec.gap_mm
    return np.flatnonzero(near)


def _mesh_of(chain: Chain, kind: int, nearby: IntArray) -> Mesh:
    body = next(int(k) for k in nearby if chain.row.kind[k] == kind)
    return chain.bodies[body].mesh


def _with_bodies(chain: Chain, clasp: Clasp, hung: tuple[Hung, Hung]) -> Chain:
    halves = (clasp.first, clasp.last)
    meshes = meshes_of([half.link for half in halves], chain.spec.chord_mm)
    bodies = tuple(
        Body(half.name, mesh, place.pose, wire) for half, place, (mesh, wire) in zip(halves, hung, meshes, strict=True)
    )
    n = chain.links
    names = [body.name for body in chain.bodies]
    gap, between = chain.smallest_gap_mm, chain.smallest_gap_between
    for half, place in zip(halves, hung, strict=True):
        if place.gap_mm < gap:
            gap, between = place.gap_mm, (names[place.body] if place.body >= 0 else clasp.first.name, half.name)
    # The first half looks back along the chain; on the path it stands as the links do.
    looks = (hung[0].pose.rotation * [-1.0, 1.0, -1.0], hung[1].pose.rotation)
    return replace(
        chain,
        bodies=(*chain.bodies, *bodies),
        joints=(*chain.joints, (0, n), (n - 1, n + 1)),
        path=Path(
            np.concatenate((chain.path.origins, [place.pose.origin for place in hung])),
            np.concatenate((chain.path.rotations, looks)),
            chain.path.closed,
        ),
        smallest_gap_mm=gap,
        smallest_gap_between=between,
    )


def _no_room(chain: Chain, closure: Closure, place: Hung) -> CannotBuild:
    """Say that a half of the closure meets something, and which closure would not."""
    met = chain.bodies[place.body].name if place.body >= 0 else "the other half"
    fitting = []
    for other in CLASPS:
        if other == chain.layout.clasp:
            continue
        try:
            clasp = clasp_of(chain.spec, other, chain.pattern)
        except CannotBuild:
            continue
        if min(half.gap_mm for half in hung_at_ends(chain, clasp)) >= chain.spec.gap_mm:
            fitting.append(f'clasp = "{other}"')
    others = f"choose {' or '.join(fitting)}, or " if fitting else ""
    return CannotBuild(
        f"layout.clasp: the {closure.name} has {max(place.gap_mm, 0.0):.2f} mm to {met} at best, not the "
        f"{chain.spec.gap_mm:g} mm asked for; {others}open the layout near its ends, or leave the clasp out and close "
        "the chain by hand"
    )
