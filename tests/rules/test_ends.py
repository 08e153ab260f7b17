"""Ends: what hangs on the end links is linked to them alone, keeps its gap, passes and holds, and counts."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.clasp_sizes import clasp_for
from addon.rules.chain.clasps import bar, eye, hook, hook_sizes
from addon.rules.chain.ends import clasp_length_mm, clasp_of, with_ends
from addon.rules.chain.families import draw
from addon.rules.chain.hang import end_frame
from addon.rules.chain.link import curvature, even_parameters
from addon.rules.chain.spec import CLASPS, ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of
from addon.rules.chain.tubes import tube_gaps
from addon.rules.inspect.finding import CODES
from addon.rules.inspect.fit import fit_findings
from addon.rules.inspect.freeing import axes, clears
from addon.rules.solid.distance import gaps, pair_gap, prepare
from addon.rules.solid.linking import linking_number
from addon.rules.solid.mesh import IDENTITY, Mesh, Pose, merged
from addon.rules.solid.topology import facts

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.05)
TRACE = ChainSpec("trace", 1.0, 6.0, 4.5, 0.35, chord_mm=0.05)
BELCHER = ChainSpec("belcher", 1.5, 9.5, 9.0, 0.4, chord_mm=0.05, section="D", wire_width_mm=2.2)
T = np.arange(40) * 2 * np.pi / 40
ARC = tuple((60 * float(np.cos(t)), 60 * float(np.sin(t)), 0.0) for t in np.linspace(0, np.pi, 30))

LAYOUTS = [
    LayoutSpec("straight", links=26),
    LayoutSpec("straight", links=34, face="flat"),
    LayoutSpec("curve", points=ARC, links=22),
    LayoutSpec("ring", links=36, ends="open"),
    LayoutSpec("ring", links=36, ends="open", face="flat"),
    LayoutSpec("spiral", links=26),
]


def loops(chain):
    return [body.pose.apply(body.wire.centreline) for body in chain.bodies]


@pytest.mark.parametrize("clasp", CLASPS)
@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda at: f"{at.shape}-{at.face}")
def test_every_half_is_linked_to_its_end_link_alone_and_keeps_the_gap(spec, layout, clasp):
    chain = finish(build_chain(spec, replace(layout, clasp=clasp)))
    n = chain.links
    assert len(chain.bodies) == n + 2 == len(chain.path.origins)
    assert chain.joints[-2:] == ((0, n), (n - 1, n + 1))
    lines = loops(chain)
    for half, end in ((n, 0), (n + 1, n - 1)):
        numbers = [round(linking_number(lines[half], lines[k])) for k in range(n + 2) if k != half]
        assert [k for k, number in enumerate(numbers) if number] == [end]
        assert abs(numbers[end]) == 1
    table = finish(gaps(chain.bodies, range_mm=5.0))
    mine = (table.a >= n) | (table.b >= n)
    assert table.gap_mm[mine].min() >= spec.gap_mm
    assert chain.smallest_gap_mm == pytest.approx(table.gap_mm.min(), abs=1e-12)
    for body in chain.bodies[n:]:
        seen = facts(body.mesh)
        assert (seen.closed, seen.shells, seen.genus) == (True, 1, 1)


def test_halves_on_links_that_are_no_round_wire_keep_the_gap_on_the_meshes():
    chain = finish(build_chain(BELCHER, LayoutSpec("straight", links=6, clasp="ring-bar")))
    table = finish(gaps(chain.bodies, range_mm=3.0))
    mine = (table.a >= 6) | (table.b >= 6)
    assert mine.any()
    assert table.gap_mm[mine].min() >= BELCHER.gap_mm


def test_a_half_is_drawn_where_the_draft_says_and_the_halves_stay_uncoupled():
    layout = LayoutSpec("ring", links=30, ends="open", clasp="ring-bar")
    draft, chain = draft_chain(CURB, layout), finish(build_chain(CURB, layout))
    for one, two in zip(draft.bodies[-2:], chain.bodies[-2:], strict=True):
        assert np.array_equal(one.pose.origin, two.pose.origin)
    lines = loops(chain)
    assert round(linking_number(lines[-1], lines[-2])) == 0


@pytest.mark.parametrize("closure", ["bar", "hook"])
@pytest.mark.parametrize(("wire", "gap"), [(0.8, 0.3), (1.5, 0.5), (2.2, 0.4), (3.0, 0.9)])
def test_wires_of_bar_and_hook_bend_no_tighter_than_they_are_thick_and_let_no_link_slide(closure, wire, gap):
    slot = max(0.5 * wire, gap)
    made = (
        bar(wire, 9 * wire, wire, gap + 0.1, slot)
        if closure == "bar"
        else hook(wire, hook_sizes(wire, wire, wire, gap + 0.1, 0.3 * wire), wire, gap + 0.1, slot)[0]
    )
    tightest = 1 / curvature(made.link.curve, even_parameters(4096)).max()
    assert tightest > wire / 2 * 1.05
    if closure == "bar":
        # Halfway out along the bar the space between its legs is narrower than the link's wire.
        line = made.link.curve(even_parameters(8192))[0]
        legs = line[np.abs(np.abs(line[:, 2]) - 3.4 * wire) < 0.05 * wire]
        between = legs[:, 0][legs[:, 0] > 0].min() - legs[:, 0][legs[:, 0] < 0].max() - wire
        assert 0.4 * wire < between < wire


def smallest_circle(points):
    """The smallest circle round points (n, 2): the one on two or three of them that holds all (Welzl's definition).

    Every pair and triple of the hull's corners is tried: slow, and independent of the rule under test.
    """
    from itertools import combinations

    from scipy.spatial import ConvexHull

    corners = points[ConvexHull(points).vertices]
    if len(corners) > 24:
        corners = corners[:: len(corners) // 24 + 1]
    best = (np.zeros(2), np.inf)
    for three in combinations(range(len(corners)), 3):
        a, b, c = corners[list(three)]
        m = 2 * np.array([b - a, c - a])
        if abs(np.linalg.det(m)) < 1e-9:
            continue
        centre = np.linalg.solve(m, [b @ b - a @ a, c @ c - a @ a])
        radius = np.linalg.norm(points - centre, axis=1).max()
        if radius < best[1]:
            best = (centre, radius)
    for two in combinations(range(len(corners)), 2):
        centre = corners[list(two)].mean(axis=0)
        radius = np.linalg.norm(points - centre, axis=1).max()
        if radius < best[1]:
            best = (centre, radius)
    return best


def placed(mesh, rotation, origin):
    return Mesh(mesh.points @ rotation.T + origin, mesh.triangles)


def ring_and_bar(spec):
    link = draw(spec).link
    clasp = clasp_for("ring-bar", link, link, spec.gap_mm)
    (of_link, _), (of_ring, _), (of_bar, _) = meshes_of([link, clasp.first.link, clasp.last.link], 0.1)
    return link, clasp, of_link, of_ring, of_bar


@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
def test_the_bar_passes_its_ring_edgewise_with_its_end_link_and_no_way_crosswise(spec):
    link, clasp, of_link, of_ring, of_bar = ring_and_bar(spec)
    local = end_frame(link, 1)
    linked = placed(of_link, local.rotation.T, -local.rotation.T @ local.origin)
    ready_link, ready_bar = prepare(linked), prepare(of_bar)
    found = None
    for tilt in np.radians([35, 50, 65, -35, -50, -65]):
        c, s = np.cos(tilt), np.sin(tilt)
        swing = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        slides = np.array([-0.5, 0.0, 0.5]) * clasp.clear_mm[1]
        room = [pair_gap(ready_link, IDENTITY, ready_bar, Pose(swing, d * swing[:, 0])).gap_mm for d in slides]
        if max(room) == 0:
            continue
        out = slides[int(np.argmax(room))]
        together = merged([linked, placed(of_bar, swing, out * swing[:, 0])])
        for way in np.radians(np.arange(-80, 81, 20)):
            ahead = np.array([np.cos(way), 0, np.sin(way)])
            frame = np.stack((np.array([-np.sin(way), 0, np.cos(way)]), np.array([0, 1.0, 0]), -ahead))
            centre, radius = smallest_circle((together.points @ frame[:2].T)[::3])
            if 2 * radius <= clasp.first.hole_mm and (found is None or radius < found[3]):
                found = (together, frame, centre, radius, ahead)
    assert found is not None, "bar and link pass together along no way"
    together, frame, centre, _, ahead = found
    # The ring's axis, its own y, looks along the way; the pair starts far behind it and goes through without an end.
    turn = np.stack((frame[0], ahead, np.cross(frame[0], ahead)), axis=1)
    around = placed(of_ring, turn, frame[0] * centre[0] + frame[1] * centre[1])
    behind = Mesh(together.points - 200 * ahead, together.triangles)
    assert clears(behind, around, ahead)
    # Crosswise: wherever it lies over the ring, an end of the bar meets it.
    upright = Mesh(of_ring.points, of_ring.triangles)
    for angle in np.radians([0, 20, 45, 70, 90]):
        across = np.array([[np.cos(angle), 0, np.sin(angle)], [0, 1, 0], [-np.sin(angle), 0, np.cos(angle)]])
        for x in np.linspace(-0.3, 0.3, 5) * clasp.first.hole_mm:
            lying = placed(of_bar, across, np.array([x, -50.0, 0]))
            assert not clears(lying, upright, np.array([0.0, 1.0, 0]))
    assert clasp.last.aside_mm * 2 == pytest.approx(clasp.first.hole_mm + 2 * clasp.first.link.wire_mm)


@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
def test_the_eye_slides_over_the_hook_to_its_bend_and_is_held_there_against_every_pull(spec):
    link = draw(spec).link
    clasp = clasp_for("hook-eye", link, link, spec.gap_mm)
    w, gap = link.wire_mm, spec.gap_mm
    slot = max(0.5 * w, gap)
    sizes = hook_sizes(w, w, w, clasp.clear_mm[1], 0.3 * w)
    made, spine = hook(w, sizes, w, clasp.clear_mm[1], slot)
    assert np.allclose(made.link.samples, clasp.last.link.samples)
    ahead = np.gradient(spine, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1)[:, None]
    bend = int(spine[:, 0].argmax())
    steps = np.arange(bend, len(spine), 4)
    tip = spine[-1] + np.arange(0.0, 3 * w, w / 4)[:, None] * ahead[-1]
    places = np.concatenate((spine[steps], tip))
    looks = np.concatenate((ahead[steps], np.repeat(ahead[-1:], len(tip), 0)))
    up = np.array([0.0, 0.0, 1.0])
    turns = np.stack((np.cross(looks, up), looks, np.broadcast_to(up, looks.shape)), axis=-1)
    free = tube_gaps(made.link, clasp.first.link, turns, places).gap_mm
    # Its wire is in the mouth, so its middle lies to one side of the line midway between the hook's wires.
    for aside in np.linspace(-1, 1, 81) * clasp.first.hole_mm / 2:
        moved = places + aside * np.cross(looks, up)
        free = np.maximum(free, tube_gaps(made.link, clasp.first.link, turns, moved).gap_mm)
    assert free.min() > 0
    # Seated in the bend, no straight way that leads outward at all frees it.
    seat = int(np.argmax(free[: len(steps)] + 1e-3 * (len(steps) - np.arange(len(steps)))))
    (of_hook, _), (of_eye, _) = meshes_of([made.link, clasp.first.link], 0.05)
    seated = placed(of_eye, turns[seat], places[seat])
    assert pair_gap(prepare(of_hook), IDENTITY, prepare(seated), IDENTITY).gap_mm > 0
    for way in np.concatenate((axes(), -axes())):
        if way[0] > 0:
            assert not clears(seated, of_hook, way), way


def contact(a, pose_a, b, pose_b):
    """The gap of two links as smooth wires at their poses."""
    back = pose_a.rotation.T
    return float(
        tube_gaps(a, b, (back @ pose_b.rotation)[None], (back @ (pose_b.origin - pose_a.origin))[None]).gap_mm[0]
    )


def drawn(a, pose_a, b, rotation):
    """Move b, which starts with its middle a link's length behind, out along x until it touches a from inside."""
    low, high = pose_a.origin.copy(), pose_a.origin + np.array([2 * a.length_mm + 2 * b.length_mm, 0, 0])
    start = None
    for x in np.linspace(low[0], high[0], 400):
        gap = contact(a, pose_a, b, Pose(rotation, np.array([x, 0.0, 0.0])))
        if gap > 0:
            start = x
        if start is not None and gap <= 0:
            break
    assert start is not None
    lo, hi = start, x
    for _ in range(40):
        middle = (lo + hi) / 2
        lo, hi = (
            (middle, hi) if contact(a, pose_a, b, Pose(rotation, np.array([middle, 0.0, 0.0]))) > 0 else (lo, middle)
        )
    return Pose(rotation, np.array([lo, 0.0, 0.0]))


LEVEL = np.eye(3)
STANDING = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])


def test_two_eyes_and_their_jump_ring_measure_what_they_count():
    """The five bodies are placed one in the other, each drawn to contact; their outer ends lie the length apart."""
    link = draw(TRACE).link
    clasp = clasp_for("eyes", link, link, TRACE.gap_mm)
    w = link.wire_mm
    jump = eye("jump ring", w, 2 * w + TRACE.gap_mm, w, 0.4).link
    at = Pose(LEVEL, np.zeros(3))
    first = drawn(link, at, clasp.first.link, LEVEL)
    ring = drawn(clasp.first.link, first, jump, STANDING)
    second = drawn(jump, ring, clasp.last.link, LEVEL)
    last = drawn(clasp.last.link, second, link, LEVEL)
    apart = last.origin[0] - at.origin[0] - link.length_mm
    assert apart == pytest.approx(clasp.length_mm, abs=0.02)


def test_a_hook_in_its_eye_measures_what_it_counts():
    link = draw(TRACE).link
    clasp = clasp_for("hook-eye", link, link, TRACE.gap_mm)
    at = Pose(LEVEL, np.zeros(3))
    first = drawn(link, at, clasp.first.link, LEVEL)
    # The hook faces the other way: its foot looks back to its own end link, its bend into the eye.
    back = np.diag([-1.0, 1.0, -1.0])
    sizes = hook_sizes(link.wire_mm, link.wire_mm, link.wire_mm, clasp.clear_mm[1], 0.3 * link.wire_mm)
    # The eye's wire starts half a play from the bend, midway between tip and shank, and is drawn to contact there.
    rho = (sizes.inner_mm + link.wire_mm) / 2
    bend = clasp.first.hole_mm / 2 + sizes.shank_mm + rho - link.wire_mm / 2
    hooked = Pose(back, first.origin + np.array([bend - 0.6 * link.wire_mm, -rho, 0.0]))
    for _ in range(200):
        gap = contact(clasp.first.link, first, clasp.last.link, hooked)
        assert gap > -1e-9
        hooked = Pose(back, hooked.origin + np.array([gap, 0, 0]))
    hooked = Pose(back, hooked.origin * [1, 0, 1])
    last = drawn(clasp.last.link, hooked, link, LEVEL)
    apart = last.origin[0] - at.origin[0] - link.length_mm
    assert apart == pytest.approx(clasp.length_mm, abs=0.1)


def test_a_bar_pulled_through_its_ring_lies_as_far_as_it_counts():
    """Bar and link are placed on the ring at every dive, as meshes: the longest that meets nothing is the length."""
    link, clasp, of_link, of_ring, of_bar = ring_and_bar(TRACE)
    local = end_frame(link, 1)
    hole, w = clasp.first.hole_mm, link.wire_mm
    ready = [prepare(mesh) for mesh in (of_ring, of_link, of_bar)]
    longest = 0.0
    long = link.length_mm - 1.5 * w
    for dive in np.radians(np.arange(20, 81, 10)):
        c, s = np.cos(dive), np.sin(dive)
        frame = np.stack(([-c, s, 0], [-s, -c, 0], [0, 0, 1.0]), axis=1)
        turn = frame @ local.rotation.T
        for high in np.linspace(0.8, 1.6, 9) * w:
            for x in np.linspace(-0.1, 0.5, 25) * hole:
                end = np.array([x, high, 0.0])
                total = np.hypot(x + hole / 2 + long * c, high - long * s)
                if total <= longest or x + high * c / s >= hole / 2:
                    continue
                met = pair_gap(ready[0], IDENTITY, ready[1], Pose(turn, end - turn @ local.origin)).gap_mm == 0
                if not met and pair_gap(ready[0], IDENTITY, ready[2], Pose(frame, end)).gap_mm > 0:
                    longest = total
    assert -w + longest - long - w / 2 == pytest.approx(clasp.length_mm, abs=0.35 * w)


def test_the_worn_inside_length_counts_the_closure():
    """Closed form: the links and the closure drawn taut, as chords of a circle, less the depth of the metal inside."""
    bare = LayoutSpec("ring", links=40, ends="open", clasp_length_mm=8.0)
    longer = replace(bare, clasp_length_mm=10.0)
    one, two = draft_chain(TRACE, bare), draft_chain(TRACE, longer)
    assert (one.clasp_mm, two.clasp_mm) == (8.0, 10.0)
    assert two.worn_inner_length_mm - one.worn_inner_length_mm == pytest.approx(2.0, abs=0.1)
    with_hook = draft_chain(TRACE, LayoutSpec("ring", links=40, ends="open", clasp="hook-eye"))
    assert with_hook.clasp_mm == pytest.approx(clasp_of(TRACE, "hook-eye", draw(TRACE)).length_mm)
    off = with_hook.worn_inner_length_mm - one.worn_inner_length_mm
    assert off == pytest.approx(with_hook.clasp_mm - 8.0, abs=0.1)


def test_without_a_closure_nothing_is_added_and_nothing_counts():
    layout = LayoutSpec("straight", links=8)
    chain = draft_chain(TRACE, layout)
    assert with_ends(chain) is chain
    assert clasp_length_mm(TRACE, layout, draw(TRACE)) == 0
    assert clasp_length_mm(TRACE, replace(layout, clasp_length_mm=7.0), draw(TRACE)) == 7.0


def test_a_gap_as_wide_as_the_wire_lets_it_slide_and_is_refused_with_what_works():
    spec = ChainSpec("trace", 0.5, 6.0, 5.0, 0.5)
    with pytest.raises(CannotBuild, match=r"layout\.clasp: .*gap_mm up to 0\.45") as refused:
        draft_chain(spec, LayoutSpec("straight", links=6, clasp="ring-bar"))
    assert "eyes" in str(refused.value)
    draft_chain(spec, LayoutSpec("straight", links=6, clasp="eyes"))
    draft_chain(replace(spec, gap_mm=0.44), LayoutSpec("straight", links=6, clasp="ring-bar"))


def test_a_closure_on_a_closed_chain_is_refused():
    with pytest.raises(BadInput, match=r"layout\.clasp"):
        draft_chain(TRACE, LayoutSpec("ring", links=30, clasp="eyes"))


def test_findings_name_the_closure_and_what_it_adds():
    layout = LayoutSpec("straight", links=9, clasp="hook-eye")
    (found,) = [f for f in fit_findings(draft_chain(TRACE, layout)) if f.code == "clasp"]
    assert (found.severity, found.bodies) == ("note", ("eye", "hook"))
    assert found.value == pytest.approx(clasp_of(TRACE, "hook-eye", draw(TRACE)).length_mm)
    (off,) = [f for f in fit_findings(draft_chain(TRACE, replace(layout, clasp_length_mm=30.0))) if f.code == "clasp"]
    assert (off.severity, off.value) == ("warn", 30.0)
    bare = draft_chain(TRACE, LayoutSpec("straight", inner_length_mm=180.0))
    assert [f.severity for f in fit_findings(bare) if f.code == "clasp"] == ["warn"]
    assert {"clasp", "cover"} <= set(CODES)
