"""Linking numbers of named links against the figures of the literature and against two independent ways to count.

Published figures (from memory): Rolfsen 1976, Knots and Links, chapter 5 and table of links (Hopf 2^2_1, torus links
4^2_1, 6^2_1 and on, Whitehead 5^2_1, Borromean rings 6^3_2): the torus link T(2, 2k) of two strands run the same way
round has number k in size, Hopf 1, Whitehead 0, any two Borromean rings 0. Independent ways: the Gauss integral
by the trapezoid rule on the smooth curves (Gauss 1833; the rule converges exponentially on closed analytic curves,
Trefethen and Weideman 2014), and signed crossings in a drawing (Rolfsen, section 5.D).
"""

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.inspection import Inspection, inspect
from addon.rules.inspect.joint_map import LINKED, NOT_LINKED, UNDECIDED, JointMap, joint_map
from addon.rules.solid.distance import GapTable
from addon.rules.solid.linking import linking_number
from addon.rules.solid.loops import loops
from addon.rules.solid.mesh import Body, Pose
from tests.knots import borromean, crossings, quadrature, ring, torus_strand, tube, tubes, whitehead, wound_round

Curve = Callable[[np.ndarray], np.ndarray]

VIEW = np.linalg.qr(np.array([[0.9, 0.31, -0.2], [-0.4, 1.1, 0.35], [0.15, -0.28, 1.3]]))[0]


def _circle(radius: float, middle: tuple[float, float, float], one: np.ndarray, two: np.ndarray) -> Curve:
    return lambda t: np.asarray(middle) + radius * (np.cos(t)[:, None] * one + np.sin(t)[:, None] * two)


X, Y, Z = np.eye(3)
FLAT = _circle(3.0, (0.0, 0.0, 0.0), X, Y)


def _strand(turns: int, phase: float) -> Curve:
    def curve(t: np.ndarray) -> np.ndarray:
        out = 6.0 + 2.0 * np.cos(turns * t + phase)
        return np.stack([out * np.cos(t), out * np.sin(t), 2.0 * np.sin(turns * t + phase)], axis=1)

    return curve


def _eight(t: np.ndarray) -> np.ndarray:
    return np.stack([5.0 * np.sin(t), 2.0 * np.sin(2.0 * t), 1.5 * np.cos(3.0 * t)], axis=1)


def _coil(turns: int) -> Curve:
    """Round the wire of the flat circle ``turns`` times while going once along it, less the once along."""

    def curve(t: np.ndarray) -> np.ndarray:
        out = 3.0 + np.cos(turns * t)
        swing = 0.4 * np.sin(t)
        return np.stack([out * np.cos(swing), out * np.sin(swing), np.sin(turns * t) + 0.3 * np.cos(t)], axis=1)

    return curve


PAIRS = {
    "Hopf": (FLAT, _circle(3.0, (3.0, 0.0, 0.0), X, Z), 1),
    "unlinked rings": (FLAT, _circle(3.0, (9.0, 0.0, 1.0), X, Z), 0),
    "ring wound three times": (FLAT, _coil(3), 3),
    "T(2,2)": (_strand(1, 0.0), _strand(1, np.pi), 1),
    "T(2,4)": (_strand(2, 0.0), _strand(2, np.pi), 2),
    "T(2,6)": (_strand(3, 0.0), _strand(3, np.pi), 3),
    "T(2,8)": (_strand(4, 0.0), _strand(4, np.pi), 4),
    "T(2,10)": (_strand(5, 0.0), _strand(5, np.pi), 5),
    "T(2,16)": (_strand(8, 0.0), _strand(8, np.pi), 8),
    "Whitehead": (_circle(float(np.sqrt(16.5)), (0.0, 0.0, 0.0), X, Y), _eight, 0),
}


@pytest.mark.parametrize(("one", "two", "size"), PAIRS.values(), ids=PAIRS.keys())
def test_polygons_agree_with_the_literature_with_quadrature_and_with_crossings(
    one: Curve, two: Curve, size: int
) -> None:
    t = np.linspace(0.0, 2.0 * np.pi, 160, endpoint=False)
    a, b = one(t), two(t)
    number = linking_number(a, b)
    assert abs(number) == pytest.approx(size, abs=1e-9)
    assert number == pytest.approx(quadrature(one, two, 1200), abs=1e-4)
    assert round(number) == crossings(a, b, VIEW)


@pytest.mark.parametrize("turns", range(1, 9))
def test_a_torus_link_and_its_mirror_image_have_opposite_numbers(turns: int) -> None:
    """Of T(2, 2k) one hand has number k and the other -k; run one strand backwards and the sign turns again."""
    a, b = torus_strand(turns, 0.0), torus_strand(turns, np.pi)
    mirror = np.array([1.0, 1.0, -1.0])
    number = linking_number(a, b)
    assert abs(number) == pytest.approx(turns, abs=1e-9)
    assert linking_number(a * mirror, b * mirror) == pytest.approx(-number, abs=1e-9)
    assert linking_number(a[::-1], b) == pytest.approx(-number, abs=1e-9)
    assert linking_number(b, a) == pytest.approx(number, abs=1e-9)


@pytest.mark.parametrize("strands", [3, 4, 5])
def test_any_two_strands_of_a_torus_link_of_more_are_a_hopf_link(strands: int) -> None:
    """T(n, n) is n fibres of one fibration (Hopf 1931): any two have number 1 of one sign (Rolfsen, from memory)."""
    curves = [torus_strand(1, 2.0 * np.pi * k / strands) for k in range(strands)]
    for i, j in itertools.combinations(range(strands), 2):
        assert linking_number(curves[i], curves[j]) == pytest.approx(linking_number(curves[0], curves[1]), abs=1e-9)
        assert abs(linking_number(curves[i], curves[j])) == pytest.approx(1.0, abs=1e-9)
    found = _map(*curves).states()
    assert found == dict.fromkeys(itertools.combinations(range(strands), 2), LINKED)


def test_any_two_borromean_rings_have_number_zero() -> None:
    curves = borromean()
    for i, j in ((0, 1), (0, 2), (1, 2)):
        assert linking_number(curves[i], curves[j]) == pytest.approx(0.0, abs=1e-9)
        assert crossings(curves[i], curves[j], VIEW) == 0


def test_the_right_hand_rule_gives_the_sign() -> None:
    """A line up the axis of a counter-clockwise circle, closed far outside: number +1."""
    upward = np.array([[0, 0, -50], [0, 0, 50], [50, 0, 50], [50, 0, -50]], dtype=np.float64)
    assert linking_number(ring(3.0), upward) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("turns", [1, 2, 3, 5])
def test_loops_of_meshes_alone_give_the_number_of_a_torus_link(turns: int) -> None:
    """No centreline is told: the largest entry between the meshes' own loops is the number of the two cores."""
    a, b = (loops(tube(torus_strand(turns, phase), 0.5)) for phase in (0.0, np.pi))
    matrix = np.array([[linking_number(one, two) for two in b] for one in a])
    assert np.abs(matrix - np.rint(matrix)).max() < 1e-9
    assert np.abs(matrix).max() == pytest.approx(turns, abs=1e-9)
    assert np.linalg.matrix_rank(np.rint(matrix)) == 1


def _map(*curves: np.ndarray) -> JointMap:
    none = np.zeros(0, dtype=np.int64)
    table = GapTable(none, none, np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)))
    bodies = tubes(*curves, radius=0.2)
    return finish(joint_map(bodies, np.ones(len(bodies), dtype=bool), table, 0.1))


def test_the_joint_map_of_the_named_links() -> None:
    """Links of number zero that cannot be taken apart are undecided; the Borromean rings only as a group."""
    assert _map(ring(3.0), ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0))).states() == {(0, 1): LINKED}
    assert _map(ring(3.0), ring(3.0, (9.0, 0.0, 0.0), across=(0, 1, 0))).states() == {}
    assert _map(ring(6.0), wound_round(3)).states() == {(0, 1): LINKED}
    assert _map(torus_strand(3, 0.0), torus_strand(3, np.pi)).states() == {(0, 1): LINKED}
    assert _map(*whitehead()).states() == {(0, 1): UNDECIDED}
    rings = _map(*borromean())
    assert rings.alone.tolist() == [NOT_LINKED] * 3
    assert rings.groups == ((0, 1, 2),)


def _inspected(*curves: np.ndarray, turn: np.ndarray | None = None) -> Inspection:
    bodies = tubes(*curves, radius=0.2)
    if turn is not None:
        bodies = [Body(body.name, body.mesh, Pose(turn, np.array([40.0, -7.0, 3.0]))) for body in bodies]
    return finish(inspect(bodies, load_profile("bench"), range_mm=5.0))


@pytest.mark.parametrize("turn", [None, VIEW * np.linalg.det(VIEW)], ids=["as drawn", "turned"])
def test_an_inspection_says_of_a_whitehead_link_that_it_cannot_tell(turn: np.ndarray | None) -> None:
    """Number 0, and yet never called free: the two cannot be taken apart (Rolfsen, link 5^2_1)."""
    found = _inspected(*whitehead(), turn=turn)
    assert [pair.linked for pair in found.pairs] == [None]
    told = [f for f in found.findings if f.code == "undecided-link"]
    assert [f.bodies for f in told] == [("body 1", "body 2")]
    assert "cannot tell" in told[0].text
    assert "not-linked" not in {f.code for f in found.findings}


@pytest.mark.parametrize("turn", [None, VIEW * np.linalg.det(VIEW)], ids=["as drawn", "turned"])
def test_an_inspection_says_of_borromean_rings_that_the_three_may_be_locked(turn: np.ndarray | None) -> None:
    """Any two alone are free, all three are not (Rolfsen, link 6^3_2): told as a group, no pair free."""
    found = _inspected(*borromean(), turn=turn)
    assert {pair.linked for pair in found.pairs} == {None}
    told = [f for f in found.findings if f.code == "undecided-link"]
    assert [f.bodies for f in told] == [("body 1", "body 2", "body 3")]
    assert "as a group" in told[0].text
    for out in range(3):
        rest = _inspected(*(curve for k, curve in enumerate(borromean()) if k != out), turn=turn)
        assert {pair.linked for pair in rest.pairs} <= {False}
        assert "undecided-link" not in {f.code for f in rest.findings}


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_an_inspection_calls_torus_links_linked_and_two_rings_apart_not(turns: int) -> None:
    found = _inspected(torus_strand(turns, 0.0), torus_strand(turns, np.pi))
    assert [pair.linked for pair in found.pairs] == [True]
    apart = _inspected(ring(3.0), ring(3.0, (9.0, 0.0, 0.0), across=(0, 1, 0)))
    assert [pair.linked for pair in apart.pairs] == [False]
