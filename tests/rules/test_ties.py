"""Ties: columns and ties as a frame of beams against closed forms, and the ties of a coil against what prints."""

from itertools import combinations

import numpy as np
import pytest
from lattices import BENCH, codes

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.frame import POISSON, Frame, standing_free
from addon.rules.feed.lattice import Lattice
from addon.rules.feed.leaning import leaning, loose_on_columns
from addon.rules.feed.plan import plan_lattice
from addon.rules.feed.skeletons import between
from addon.rules.feed.spec import FeedSpec
from addon.rules.feed.steadiness import RESIN_MPA

WIRE, GAP = 2.2, 0.4


def second_moment(d):
    return np.pi * d**4 / 64


def upright(at, height, d, walked):
    """A column of one piece at a place seen from above."""
    line = np.array([[*at, 0.0], [*at, height]])
    return standing_free(line, np.array([d]), np.array(walked))


def beside(one, other):
    n, m = len(one.compliance), len(other.compliance)
    whole = np.zeros((n + m, n + m))
    whole[:n, :n], whole[n:, n:] = one.compliance, other.compliance
    return Frame(np.concatenate((one.places, other.places)), whole)


def test_a_free_column_bends_like_a_cantilever():
    """Roark's Formulas for Stress and Strain, cantilevers with an end moment and an end load: M L / E I, M L^2 / 2 E I,
    W L^3 / 3 E I, W L^2 / 2 E I; and W L / A E of a bar in tension.
    """
    length, d = 30.0, 2.9
    ei = RESIN_MPA * second_moment(d)
    top = upright((3.0, 4.0), length, d, [length]).compliance
    moment, force, lift = 2.0, 0.3, 0.2
    # A moment about y turns about y and moves along x.
    moved = top @ np.array([0.0, 0.0, 0.0, 0.0, moment, 0.0])
    assert moved == pytest.approx([moment * length**2 / (2 * ei), 0, 0, 0, moment * length / ei, 0], abs=1e-12)
    moved = top @ np.array([0.0, force, 0.0, 0.0, 0.0, 0.0])
    assert moved == pytest.approx([0, force * length**3 / (3 * ei), 0, -force * length**2 / (2 * ei), 0, 0], abs=1e-12)
    moved = top @ np.array([0.0, 0.0, lift, 0.0, 0.0, 0.0])
    assert moved[2] == pytest.approx(lift * length / (RESIN_MPA * np.pi * d**2 / 4))


def test_a_column_under_a_load_below_its_top_stays_straight_above_it():
    """Roark: above a load W at a, a cantilever keeps the slope W a^2 / 2 E I; and Maxwell's reciprocity."""
    a, length, d = 12.0, 30.0, 2.9
    ei = RESIN_MPA * second_moment(d)
    frame = upright((0.0, 0.0), length, d, [a, length])
    moved = frame.compliance @ np.eye(12)[0]
    assert moved[6] == pytest.approx(a**3 / (3 * ei) + (length - a) * a**2 / (2 * ei))
    assert frame.compliance == pytest.approx(frame.compliance.T, abs=1e-15)


def test_a_tied_pair_sways_like_a_portal_frame():
    """A portal frame with fixed feet under a side load H at its beam (A. Kleinlogel, Rahmenformeln, frame with fixed
    feet; from memory): with k = (I beam / I column) h / l the feet bear H h (3 k + 1) / (2 (6 k + 1)), so the corners
    move by H h^3 (3 k + 2) / (12 E I column (6 k + 1)). Beam and columns as long as they are: no stretch.
    """
    h, span, d, beam = 30.0, 24.0, 0.6, 0.5
    frame = beside(upright((0.0, 0.0), h, d, [h]), upright((span, 0.0), h, d, [h])).tied(0, 1, beam)
    k = second_moment(beam) / second_moment(d) * h / span
    force = 1e-3
    # Half from either side, so that the beam bears no push.
    load = np.zeros(12)
    load[[0, 6]] = force / 2
    moved = frame.compliance @ load
    wanted = force * h**3 * (3 * k + 2) / (12 * RESIN_MPA * second_moment(d) * (6 * k + 1))
    # Columns this slender stretch by a thousandth of what they bend.
    assert moved[[0, 6]] == pytest.approx(wanted, rel=2e-3)


def test_a_frame_is_what_its_beams_assembled_are():
    """Two bent columns and two ties against the 12 x 12 stiffness matrices of all beams, assembled and solved.

    Matrices after J. S. Przemieniecki, Theory of Matrix Structural Analysis (1968), chapter 5, without shear.
    """
    lines = [
        np.array([[0.0, 0.0, 0.0], [5.0, 1.0, 4.0], [5.0, 1.0, 30.0]]),
        np.array([[9.0, 0.0, 0.0], [9.0, 3.0, 4.0], [9.0, 3.0, 30.0]]),
    ]
    knee = [float(np.linalg.norm(line[1] - line[0])) for line in lines]
    free = [
        standing_free(line, np.array([2.9, 2.4]), np.array([k + 8.0, k + 20.0]))
        for line, k in zip(lines, knee, strict=True)
    ]
    frame = beside(*free).tied(0, 2, 1.8).tied(1, 3, 1.5)
    nodes = np.array([p for line in lines for p in (*line[:2], line[1] + [0, 0, 8.0], line[1] + [0, 0, 20.0])])
    beams = [(0, 1, 2.9), (1, 2, 2.4), (2, 3, 2.4), (4, 5, 2.9), (5, 6, 2.4), (6, 7, 2.4), (2, 6, 1.8), (3, 7, 1.5)]
    whole = np.zeros((48, 48))
    for a, b, d in beams:
        dofs = [*range(6 * a, 6 * a + 6), *range(6 * b, 6 * b + 6)]
        whole[np.ix_(dofs, dofs)] += stiffness(nodes[a], nodes[b], d)
    loose = [k for k in range(48) if k // 6 not in (0, 4)]
    inverse = np.linalg.inv(whole[np.ix_(loose, loose)])
    kept = [loose.index(k) for n in (2, 3, 6, 7) for k in range(6 * n, 6 * n + 6)]
    assert frame.places == pytest.approx(nodes[[2, 3, 6, 7]])
    assert frame.compliance == pytest.approx(inverse[np.ix_(kept, kept)], rel=1e-6, abs=1e-9)


def stiffness(start, end, d):
    """The stiffness matrix (12, 12) of a round beam in the world."""
    length = np.linalg.norm(end - start)
    ei = RESIN_MPA * second_moment(d)
    ea, gj = RESIN_MPA * np.pi * d**2 / 4, ei / (1 + POISSON)
    local = np.zeros((12, 12))
    for i, j, s in ((0, 6, ea / length), (3, 9, gj / length)):
        local[[i, j], [i, j]], local[i, j], local[j, i] = s, -s, -s
    for v, turn, sign in ((1, 5, 1.0), (2, 4, -1.0)):
        rows = [v, turn, v + 6, turn + 6]
        lever = sign * 6 * length
        local[np.ix_(rows, rows)] = (
            ei
            / length**3
            * np.array(
                [
                    [12, lever, -12, lever],
                    [lever, 4 * length**2, -lever, 2 * length**2],
                    [-12, -lever, 12, -lever],
                    [lever, 2 * length**2, -lever, 4 * length**2],
                ]
            )
        )
    x = (end - start) / length
    y = np.cross([0.3, 0.9, 0.1], x)
    y /= np.linalg.norm(y)
    turn = np.kron(np.eye(4), np.array([x, y, np.cross(x, y)]))
    return turn.T @ local @ turn


@pytest.fixture(scope="module")
def coil():
    return finish(build_chain(ChainSpec("curb", WIRE, 12.2, 9.7, GAP), LayoutSpec("coil", links=30)))


@pytest.fixture(scope="module")
def lattice(coil):
    return finish(plan_lattice(coil.bodies, coil.path, BENCH, FeedSpec(), wire_mm=WIRE, gap_mm=GAP))


def ties_of(lattice):
    return [s for s in lattice.solids if s.role == "post" and len(s.struts) == 1]


def test_ties_steady_links_that_columns_alone_do_not(coil, lattice):
    tied = {id(s) for s in ties_of(lattice)}
    assert tied
    assert len(leaning(lattice).ties) == len(tied)
    bare = Lattice(tuple(s for s in lattice.solids if id(s) not in tied), lattice.plate_z_mm)
    before = finish(loose_on_columns(coil.bodies, bare, BENCH, GAP))[1]
    after = finish(loose_on_columns(coil.bodies, lattice, BENCH, GAP))[1]
    assert len(after) < len(before)
    assert codes(lattice.findings, "stop") == []


def test_most_links_of_a_coil_stand_steady(lattice):
    loose = {name for f in lattice.findings if f.code == "unsteady" for name in f.bodies}
    upper = leaning(lattice).seats
    assert len(upper) > 5
    assert len(loose) < len(upper) / 4


def test_ties_print_in_mid_air(lattice):
    """A level one spans less than the bridge limit, a slanted one is steeper than the overhang limit."""
    columns = [s for s in lattice.solids if s.role == "post" and len(s.struts) > 1]
    for tie in ties_of(lattice):
        way = np.subtract(tie.struts[0].end, tie.struts[0].start)
        run = np.hypot(way[0], way[1])
        if abs(way[2]) < 1e-6:
            assert run - max(s.struts[0].d_end_mm for s in columns) <= BENCH.bridge_mm
        else:
            assert np.degrees(np.arctan2(abs(way[2]), run)) > BENCH.overhang_deg


def test_ties_end_on_the_axes_of_columns_and_are_thinner(lattice):
    pieces = [(s, piece) for s in lattice.solids if s.role == "post" and len(s.struts) > 1 for piece in s.struts]
    start, end = (np.array([getattr(p, key) for _, p in pieces]) for key in ("start", "end"))
    for tie in ties_of(lattice):
        for place in (tie.struts[0].start, tie.struts[0].end):
            at = np.broadcast_to(np.array(place), start.shape)
            away = between(at, at, start, end)
            assert away.min() < 1e-6
            assert tie.struts[0].d_end_mm < 0.9 * pieces[int(away.argmin())][1].d_end_mm


def test_two_gates_of_one_link_come_from_both_sides(lattice):
    gates, seats = {}, leaning(lattice).seats
    for solid in lattice.solids:
        if solid.feeds in seats:
            gates.setdefault(solid.feeds, []).append(np.subtract(solid.struts[-1].end, solid.struts[0].start)[:2])
    twice = [g for g in gates.values() if len(g) > 1]
    assert len(twice) > len(gates) / 2
    for ways in twice:
        assert all(a @ b < 0.0 for a, b in combinations(ways, 2))
