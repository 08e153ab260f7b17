"""After the cast: which cuts free the chain, where, in what order, with which tool, and what is left to grind.

Posts come off first, at both ends, since they bar the way of a disc; then the upper gates; the upper ring is lifted
off; then the lower gates. Every gate is cut square, as near to its link as the tool gets (a nipper at the thinnest
place), so that little is left to grind. The button and the trunk have been cut off before.

A gate must be long enough for its tool (``Tool.room_mm``, between the ring's metal and the link's), and the tool must
get to it past all metal that is still there (`cut_tools`). A gate's own struts are left out of what is in the way, and
gates that were cut before count as still there: they stand on their ring up to the cut.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from ..base.errors import BadInput
from ..base.progress import Steps, part
from ..solid.mesh import Body, FloatArray
from .cut_findings import RINGS, saw_room_findings, too_short
from .cut_metal import POSTS, STAYS, Balls, balls
from .cut_order import alternately
from .cut_pieces import Corners, Piece, Rows, free_lengths, line_of, runs, section_of, surface_mm
from .cut_tools import KEEP_MM, BoolArray, Metal, Tool, Way, best_way, disc, nearest_way, nipper, saw
from .cuts import GATE, LIFT, LONG_STUB_MM, POST, UPPER_GATE, Cut, CuttingList, Reach
from .lattice import Lattice, Strut, place
from .spec import CUTS

# A cut is tried at its place nearest to the link, then so much further away.
NEARER_MM = 0.05
FURTHER_MM = np.array([0.0, 0.4, 0.8, 1.5, 2.5, 4.0, 6.0, 8.0])
# Posts are cut so far from their rings; each is tried at a few places.
POST_OFF_MM = np.array([0.8, 1.8, 3.0, 5.0, 8.0])
SAME_MM = 1e-5
# The share of the work that finding the pieces takes.
BEGUN = 0.1
# A nipper cuts at the thinnest place this near to where it could cut first.
NECK_WITHIN_MM, NECK_LOOK_MM = 1.5, 0.05
# Words for what bars the way.
WORDS = {**RINGS, "post": "a post", "spoke": "a spoke", "trunk": "the hub"}


@dataclass(frozen=True, slots=True, eq=False)
class _Try:
    """A tool at one place along a piece: its way there, the place (3,), and two ways across and the axis (3, 3)."""

    tool: Tool
    way: Way
    walked_mm: float
    at: FloatArray
    frame: FloatArray
    diameter_mm: float
    area_mm2: float


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """What every cut is judged against."""

    bodies: tuple[Body, ...]
    lattice: Lattice
    metal: Balls
    tools: tuple[Tool, ...]
    wanted: Tool


@dataclass(frozen=True, slots=True, eq=False)
class _Sight:
    """The metal that is ``there`` (n,) seen from a piece; ``known`` keeps what each straight stretch sees."""

    job: _Job
    piece: Piece
    there: BoolArray
    known: dict[int, Metal]

    def metal(self, walked_mm: float) -> Metal:
        """Give the metal as it lies about a cut at a length along the piece."""
        stretch, along = self.piece.at(walked_mm)
        if stretch not in self.known:
            frame = self.piece.frame(stretch)
            self.known[stretch] = self.job.metal.seen(self.piece.line[stretch], frame, self.there)
        return self.known[stretch].lower(along)


def cutting_list(
    bodies: Sequence[Body],
    lattice: Lattice,
    *,
    cut: str = "saw",
    disc_mm: float = 22.0,
    disc_thick_mm: float = 0.7,
    lattice_mm3: float | None = None,
) -> Steps[CuttingList]:
    """List the cuts that free ``bodies`` from any lattice, planned or edited, in the order of work.

    ``cut`` is the tool the maker wants, one of `CUTS`; what it does not reach is a finding. ``lattice_mm3`` is the
    volume of the lattice less the bodies (None: the lattice's own estimate). Raises BadInput for a tool or volume that
    does not work and for bodies of one name.
    """
    if cut not in CUTS:
        raise BadInput(f"feed.cut: {cut!r} is no tool we know; write one of {', '.join(CUTS)}")
    volume = lattice.volume_mm3 if lattice_mm3 is None else lattice_mm3
    if not (np.isfinite(volume) and volume >= 0.0):
        raise BadInput(f"cutting: a lattice of {volume:g} mm3 does not work; give its volume in mm3")
    names = [b.name for b in bodies]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise BadInput(f"cutting: two bodies are called {twice!r}; give every body its own name")
    tools = (saw(), disc(disc_mm, disc_thick_mm), *((nipper(),) if cut == "nipper" else ()))
    wanted = next(tool for tool in tools if tool.name == cut)
    posts, gates = yield from part(_pieces(tuple(bodies), lattice), 0.0, BEGUN)
    whole_posts = {p.solid: (p.foot_mm, p.top_mm) for p in posts}
    job = _Job(tuple(bodies), lattice, balls(bodies, lattice.solids, whole_posts), tools, wanted)
    cuts: list[Cut] = []
    whole = max(1, len(posts) + len(gates))
    pairs, off = [], {}
    for done, (piece, _) in enumerate(_ordered(posts, lattice, "ring")):
        yield BEGUN + (1 - BEGUN) * done / whole
        # The upper end first: while the lower one is cut, the base ring holds the post still.
        ends = ((True, piece.held), (False, piece.stands))
        made = [(at_top, *_post_cut(job, piece, at_top)) for at_top, joined in ends if joined]
        pairs.append([one for _, one, _ in made])
        walked_mm = {at_top: walked for at_top, _, walked in made}
        off[piece.solid] = (walked_mm.get(False, -np.inf), walked_mm.get(True, np.inf))
    # What stands of the posts from here on are the stumps of where they were really cut.
    job = replace(job, metal=balls(bodies, lattice.solids, off))
    # Posts that others bar wait until those are off.
    cuts += [c for pair in sorted(pairs, key=lambda pair: not all(c.reached_at_once for c in pair)) for c in pair]
    upper = [g for g in gates if lattice.solids[g.solid].above]
    for done, (piece, turn) in enumerate(_ordered(upper, lattice, "upper"), start=len(posts)):
        yield BEGUN + (1 - BEGUN) * done / whole
        cuts.append(_gate_cut(job, piece, turn))
    cuts += _lifted(lattice)
    lower = [g for g in gates if not lattice.solids[g.solid].above]
    for done, (piece, turn) in enumerate(_ordered(lower, lattice, "ring"), start=len(posts) + len(upper)):
        yield BEGUN + (1 - BEGUN) * done / whole
        cuts.append(_gate_cut(job, piece, turn))
    cuts = [replace(c, number=n) for n, c in enumerate(cuts, start=1)]
    # A long stub is sawn back to this once its link is loose, and what comes off goes to the pot as well.
    lost = sum(c.area_mm2 * (min(c.stub_mm, LONG_STUB_MM) + wanted.kerf_mm) for c in cuts)
    yield 1.0
    return CuttingList(
        cut,
        wanted.words,
        tuple(cuts),
        sum(c.area_mm2 for c in cuts),
        max(0.0, volume - lost),
        saw_room_findings(cuts, wanted),
    )


def _pieces(bodies: tuple[Body, ...], lattice: Lattice) -> Steps[tuple[list[Piece], list[Piece]]]:
    """Find the posts and the gates of a lattice, each with the lengths between which it is free."""
    firm = [k for k, s in enumerate(lattice.solids) if s.role not in (POST, "gate") and s.feeds is None]
    rows = _rows([(k, s) for k in firm for s in lattice.solids[k].struts])
    uprights = [(k, s) for k, solid in enumerate(lattice.solids) if solid.role == POST for s in solid.struts]
    known = {body.name: body for body in bodies}
    corners: dict[int, Corners] = {}
    first = 0
    posts: list[Piece] = []
    gates: list[Piece] = []
    for number, solid in enumerate(lattice.solids):
        yield number / len(lattice.solids)
        for run in runs(solid.struts):
            own = [solid.struts[k] for k in run]
            feeds = own[-1].feeds
            if feeds is None and solid.role != POST:
                continue
            line = line_of(own)
            low, high, on, under = free_lengths(line, rows)
            if feeds is None and on < 0 and under < 0:
                # A tie between posts: one cut parts them, so that none of the two holds the chain between them.
                low, high, _, under = free_lengths(line, _rows([row for row in uprights if row[0] != number]))
            if feeds is not None:
                high = surface_mm(line, known.get(feeds), corners)
            piece = Piece(
                line=line,
                solid=number,
                strut=first + run[-1],
                feeds=feeds,
                foot_mm=min(low, high),
                top_mm=high,
                stands=on >= 0,
                held=under >= 0,
                on=on,
                widest_mm=max(max(s.d_start_mm, s.d_end_mm) for s in own),
            )
            (posts if feeds is None else gates).append(piece)
        first += len(solid.struts)
    return posts, gates


def _rows(struts: Sequence[tuple[int, Strut]]) -> Rows:
    """Gather struts, each with the number of its solid."""
    return Rows(
        np.array([s.start for _, s in struts]).reshape(-1, 3),
        np.array([s.end for _, s in struts]).reshape(-1, 3),
        np.array([s.d_start_mm / 2 for _, s in struts]),
        np.array([s.d_end_mm / 2 for _, s in struts]),
        np.array([k for k, _ in struts], dtype=np.int64),
    )


def _ordered(pieces: list[Piece], lattice: Lattice, role: str) -> list[tuple[Piece, int]]:
    """Put pieces in the order of cutting, each with its round: by where they begin along the rings of ``role``."""
    if not pieces:
        return []
    feet = np.array([p.line[0] for p in pieces])
    solids = [s for s in lattice.solids if s.role == role]
    struts = [s for solid in solids for s in solid.struts]
    if not struts:
        # No ring to walk along: the longest way of the piece serves.
        spread = feet - feet.mean(axis=0)
        at, length, closed = spread @ np.linalg.svd(spread)[2][0], 0.0, False
    else:
        start, end = np.array([s.start for s in struts]), np.array([s.end for s in struts])
        at, length = _along(feet, start, end)
        closed = bool(np.linalg.norm(start[0] - end[-1]) < 1e-6)
        if closed:
            # What begins where the ring closes is at its beginning, however rounding falls.
            at = np.mod(at + SAME_MM, length) - SAME_MM
    order, rounds = alternately(at, length, closed=closed)
    return [(pieces[k], int(turn)) for k, turn in zip(order, rounds, strict=True)]


def _along(places: FloatArray, start: FloatArray, end: FloatArray) -> tuple[FloatArray, float]:
    """Give where places (n, 3) lie along a row of straight pieces (m, 3), and the length of the row."""
    way = end - start
    length = np.linalg.norm(way, axis=1)
    begin = np.cumsum(length) - length
    found = np.empty(len(places))
    for k, point in enumerate(places):
        t = np.clip(((point - start) * way).sum(axis=1) / np.maximum(length**2, 1e-300), 0.0, 1.0)
        nearest = int(np.linalg.norm(point - start - t[:, None] * way, axis=1).argmin())
        found[k] = begin[nearest] + t[nearest] * length[nearest]
    return found, float(length.sum())


def _post_cut(job: _Job, piece: Piece, at_top: bool) -> tuple[Cut, float]:
    """Cut a post at one end, as near to its ring as the tool gets, and say how far along it that is.

    The wanted tool does it, else another that gets there.
    """
    middle = (piece.foot_mm + piece.top_mm) / 2
    sign, begin = (-1.0, piece.top_mm) if at_top else (1.0, piece.foot_mm)
    places = begin + sign * POST_OFF_MM
    places = places[(middle - places) * sign >= 0.0]
    places = places if len(places) else np.array([middle])
    everything = _others(job, piece)
    whole = _Sight(job, piece, everything, {})
    before = [_tried(whole, tool, places) for tool in job.tools]
    tries = before
    if not any(one.way.fits for one in before):
        alone = _Sight(job, piece, everything & (job.metal.goes != POSTS), {})
        tries = [_tried(alone, tool, places) for tool in job.tools]
    fitting = [one for one in tries if one.way.fits]
    used = next((one for one in fitting if one.tool is job.wanted), fitting[0] if fitting else None)
    one = _cut(job, piece, POST, 0, used, before, tries)
    return one, used.walked_mm if used is not None else float(places[0])


def _gate_cut(job: _Job, piece: Piece, turn: int) -> Cut:
    """Cut a gate off its link; say whether each tool gets there with all metal in place, and in its turn."""
    above = job.lattice.solids[piece.solid].above
    everything = _others(job, piece)
    left = everything & ((job.metal.goes != POSTS) if above else (job.metal.goes == STAYS))
    sight, whole = _Sight(job, piece, left, {}), _Sight(job, piece, everything, {})
    tries = [_tried(sight, tool, _places(job, piece, tool)) for tool in job.tools]
    same = bool((left == everything).all())
    before = [one if same or not one.way.fits else _with_all(whole, one) for one in tries]
    return _cut(job, piece, UPPER_GATE if above else GATE, turn, None, before, tries)


def _others(job: _Job, piece: Piece) -> BoolArray:
    return np.asarray(job.metal.owner != len(job.bodies) + piece.solid)


def _cut(
    job: _Job, piece: Piece, kind: str, turn: int, used: _Try | None, before: list[_Try], tries: list[_Try]
) -> Cut:
    mine = used if used is not None else next(one for one in tries if one.tool is job.wanted)
    gate = kind != POST
    return Cut(
        number=0,
        kind=kind,
        turn=turn,
        strut=piece.strut,
        feeds=piece.feeds,
        tool=mine.tool.name,
        at=place(mine.at),
        ahead=place(mine.frame[2]),
        diameter_mm=mine.diameter_mm,
        area_mm2=mine.area_mm2 if gate else 0.0,
        stub_mm=piece.top_mm - mine.walked_mm if gate else 0.0,
        clear_mm=piece.top_mm - piece.foot_mm if gate else None,
        there=tuple(_reach(job, piece, one) for one in before),
        after=tuple(_reach(job, piece, one) for one in tries),
    )


def _places(job: _Job, piece: Piece, tool: Tool) -> FloatArray:
    """Give the lengths along a gate at which a tool may cut it, the one it should first."""
    nearest = piece.top_mm - tool.flat_mm - KEEP_MM - NEARER_MM
    last = piece.foot_mm + tool.kerf_mm / 2 + KEEP_MM
    places = nearest - FURTHER_MM
    places = places[places >= last]
    if not len(places):
        return np.array([(piece.foot_mm + piece.top_mm) / 2])
    if tool.name == "nipper":
        look = np.arange(nearest, max(last, nearest - NECK_WITHIN_MM), -NECK_LOOK_MM)
        thick = np.array([_section(job, piece, at)[0] for at in look])
        places = np.concatenate((look[[int(np.round(thick, 3).argmin())]], places)) if len(look) else places
    return places


def _spot(piece: Piece, walked_mm: float) -> tuple[FloatArray, FloatArray]:
    """Give the place at a length along a piece, and the frame of the cut there."""
    stretch, along = piece.at(walked_mm)
    frame = piece.frame(stretch)
    return piece.line[stretch] + along * frame[2], frame


def _section(job: _Job, piece: Piece, walked_mm: float) -> tuple[float, float]:
    """Give diameter and area of a piece where it is cut."""
    at, frame = _spot(piece, walked_mm)
    d, area = section_of(job.lattice.solids[piece.solid].mesh, at, frame[2], piece.widest_mm)
    return (d, area) if d > 0.0 else (piece.widest_mm, pi * piece.widest_mm**2 / 4)


def _tried(sight: _Sight, tool: Tool, places: FloatArray) -> _Try:
    """Try a tool at places along a piece: the first where it fits, else the first of all."""
    for walked_mm in places.tolist():
        at, frame = _spot(sight.piece, walked_mm)
        d, area = _section(sight.job, sight.piece, walked_mm)
        way = best_way(tool, sight.metal(walked_mm), d / 2)
        if way is not None:
            return _Try(tool, way, walked_mm, at, frame, d, area)
    first = float(places[0])
    at, frame = _spot(sight.piece, first)
    d, area = _section(sight.job, sight.piece, first)
    return _Try(tool, nearest_way(tool, sight.metal(first), d / 2), first, at, frame, d, area)


def _with_all(whole: _Sight, one: _Try) -> _Try:
    """Try a tool once more where it fits, with all metal in place; what is in the way it took is what bars it."""
    metal, r = whole.metal(one.walked_mm), one.diameter_mm / 2
    way = best_way(one.tool, metal, r)
    return replace(one, way=way if way is not None else nearest_way(one.tool, metal, r, one.way.angle))


def _reach(job: _Job, piece: Piece, one: _Try) -> Reach:
    """Say how a try went."""
    way, gate = one.way, piece.feeds is not None
    short = gate and too_short(piece.top_mm - piece.foot_mm, one.tool)
    fits = way.fits and not short
    blocker = None
    if short:
        blocker = _called(job, len(job.bodies) + piece.on) if piece.on >= 0 else "the end of its strut"
    elif not fits and way.owner >= 0:
        blocker = _called(job, way.owner)
    elif not fits:
        blocker = "its own thickness"
    toward = np.cos(way.angle) * one.frame[0] + np.sin(way.angle) * one.frame[1]
    stub = piece.top_mm - one.walked_mm if gate else 0.0
    return Reach(one.tool.name, fits, way.clearance_mm, blocker, place(toward), place(one.at), stub)


def _called(job: _Job, owner: int) -> str:
    """Name what is in the way."""
    if owner < len(job.bodies):
        return job.bodies[owner].name
    solid = job.lattice.solids[owner - len(job.bodies)]
    return f"the gate of {solid.feeds}" if solid.feeds is not None else WORDS.get(solid.role, "a strut")


def _lifted(lattice: Lattice) -> list[Cut]:
    """Lift off the upper ring, where there is one."""
    points = [solid.mesh.points for solid in lattice.solids if solid.role == "upper"]
    if not points:
        return []
    middle = place(np.concatenate(points).mean(axis=0))
    return [Cut(0, LIFT, 0, None, None, None, middle, (0.0, 0.0, 1.0), 0.0, 0.0, 0.0, None)]
