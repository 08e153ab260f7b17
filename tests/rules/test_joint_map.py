"""Which bodies are linked: links with known answers, and the proof that a body comes free."""

from itertools import pairwise

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.inspect.extents import extents
from addon.rules.inspect.freeing import axes, clears
from addon.rules.inspect.joint_map import LINKED, NOT_LINKED, UNDECIDED, JointMap, joint_map
from addon.rules.solid.distance import GapTable
from addon.rules.solid.mesh import Body, Mesh, Pose
from tests.knots import (
    blocks,
    borromean,
    closed_chain,
    plate_with_holes,
    ring,
    torus_strand,
    tube,
    tubes,
    whitehead,
    wound_round,
)

AT_LEAST_MM = 0.1


def _table(*fused: tuple[int, int]) -> GapTable:
    count = len(fused)
    a, b = np.array(fused, dtype=np.int64).reshape(count, 2).T
    return GapTable(a, b, np.zeros(count), np.zeros((count, 3)), np.zeros((count, 3)))


def _map(bodies: list[Body], *, fused: tuple[tuple[int, int], ...] = (), unsound: tuple[int, ...] = ()) -> JointMap:
    sound = np.ones(len(bodies), dtype=bool)
    sound[list(unsound)] = False
    return finish(joint_map(bodies, sound, _table(*fused), AT_LEAST_MM))


def _state(bodies: list[Body]) -> int:
    return _map(bodies).states().get((0, 1), NOT_LINKED)


def _turned(seed: int) -> np.ndarray:
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    return turn * np.linalg.det(turn)


HOPF = (ring(3.0), ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0)))


@pytest.mark.parametrize(
    ("curves", "state"),
    [
        (HOPF, LINKED),
        ((ring(3.0), ring(3.0, (20.0, 0.0, 0.0))), NOT_LINKED),
        ((ring(4.0), ring(2.0)), NOT_LINKED),
        ((ring(4.0), ring(2.0, across=(1, 0, 0))), NOT_LINKED),
        ((ring(6.0), wound_round(3)), LINKED),
        ((torus_strand(1, 0.0), torus_strand(1, np.pi)), LINKED),
        ((torus_strand(4, 0.0), torus_strand(4, np.pi)), LINKED),
        (whitehead(), UNDECIDED),
    ],
    ids=[
        "hopf",
        "apart",
        "one inside the other",
        "upright inside",
        "wound three times",
        "T(2,2)",
        "T(2,8)",
        "whitehead",
    ],
)
@pytest.mark.parametrize("seed", [None, 1, 2])
def test_two_bodies(curves: tuple[np.ndarray, np.ndarray], state: int, seed: int | None) -> None:
    """Also in any attitude in space, where the 26 directions suit them less well."""
    bodies = tubes(*curves, radius=0.2)
    if seed is not None:
        pose = Pose(_turned(seed), np.array([7.0, -20.0, 3.0]))
        bodies = [Body(body.name, body.mesh, pose) for body in bodies]
    assert _state(bodies) == state


def test_borromean_rings_are_undecided_as_a_group_only() -> None:
    bodies = tubes(*borromean())
    found = _map(bodies)
    assert found.alone.tolist() == [NOT_LINKED] * 3
    assert found.groups == ((0, 1, 2),)
    assert set(found.states().values()) == {UNDECIDED}
    for out in range(3):
        rest = _map([body for number, body in enumerate(bodies) if number != out])
        assert rest.groups == ()
        assert rest.states() == {(0, 1): NOT_LINKED}


def test_one_borromean_ring_moved_away_sets_all_free() -> None:
    bodies = tubes(*borromean())
    bodies[0] = bodies[0].moved(np.array([0.0, 0.0, 9.0]))
    found = _map(bodies)
    assert found.groups == ()
    assert UNDECIDED not in found.states().values()


def test_a_closed_chain_is_linked_in_a_ring_and_nothing_is_undecided() -> None:
    found = _map(tubes(*closed_chain(12)))
    linked = sorted(pair for pair, state in found.states().items() if state == LINKED)
    assert linked == sorted([*pairwise(range(12)), (0, 11)])
    assert UNDECIDED not in found.states().values()
    assert found.groups == ()
    assert len(set(found.unit.tolist())) == 1


def test_a_ring_round_the_doubled_wire_of_a_closed_chain_is_undecided_as_a_group() -> None:
    """It slides off a lone link, but never off the closed chain."""
    chain = tubes(*closed_chain(12))
    round_it = Body("slider", tube(ring(3.0, (12.0, 0.0, 0.0), across=(0, 1, 0))))
    assert _state([chain[0], round_it]) == NOT_LINKED
    found = _map([*chain, round_it])
    assert found.groups == (tuple(range(13)),)
    assert found.states()[0, 12] == UNDECIDED
    assert found.states()[0, 1] == LINKED
    aside = _map([*chain, round_it.moved(np.array([20.0, 0.0, 0.0]))])
    assert aside.groups == ()


def test_a_ball_in_a_closed_box_is_undecided_and_in_an_open_box_free() -> None:
    """No loops at all: only the straight lines decide."""
    ball = Body("ball", blocks(np.ones((1, 1, 1), dtype=bool), 0.5), Pose(np.eye(3), np.full(3, 1.25)))
    hollow = np.ones((3, 3, 3), dtype=bool)
    hollow[1, 1, 1] = False
    assert _state([ball, Body("box", blocks(hollow))]) == UNDECIDED
    hollow[1, 1, 2] = False
    assert _state([ball, Body("box", blocks(hollow))]) == NOT_LINKED


def test_a_body_with_several_handles_is_linked_through_any_of_them() -> None:
    plate = Body("plate", plate_with_holes(3)[0])
    for x in (1.5, 3.5, 5.5):
        through = Body("ring", tube(ring(1.7, (x, -0.2, 1.0), across=(1, 0, 0)), 0.03))
        assert _state([plate, through]) == LINKED
    beside = Body("ring", tube(ring(0.3, (1.5, 1.5, 1.0)), 0.05))
    assert _state([plate, beside]) == NOT_LINKED


def test_two_holes_passed_in_turn_are_linked_although_the_numbers_add_to_nothing() -> None:
    """A ring down one hole and up the next has number 1 with one hole's loop and -1 with the other's."""
    plate = Body("plate", plate_with_holes(2)[0])
    staple = np.array([[1.5, 1.5, -1], [1.5, 1.5, 3], [3.5, 1.5, 3], [3.5, 1.5, -1]], dtype=np.float64)
    fine = np.concatenate(
        [np.linspace(p, q, 12, endpoint=False) for p, q in zip(staple, np.roll(staple, -1, 0), strict=True)]
    )
    assert _state([plate, Body("staple", tube(fine, 0.1))]) == LINKED


def test_fused_and_unsound_bodies_stay_undecided() -> None:
    bodies = tubes(*HOPF)
    assert _map(bodies, fused=((0, 1),)).states() == {(0, 1): UNDECIDED}
    assert _map(bodies, unsound=(1,)).states() == {(0, 1): UNDECIDED}


def test_copies_of_one_mesh_and_meshes_of_their_own_agree() -> None:
    shared = tube(ring(3.0))
    poses = [Pose(_turned(k), np.array([1.5 * k, 0.0, 0.0])) for k in range(6)]
    copies = [Body(f"body {k}", shared, pose) for k, pose in enumerate(poses)]
    own = [Body(body.name, body.placed()) for body in copies]
    assert _map(copies).states() == _map(own).states()


def test_a_long_closed_chain_is_linked_all_round() -> None:
    found = _map(tubes(*closed_chain(200, radius=200)))
    assert sum(state == LINKED for state in found.states().values()) == 200


def test_extents_find_every_pair_of_overlapping_boxes() -> None:
    random = np.random.default_rng(5)
    cube = blocks(np.ones((1, 1, 1), dtype=bool))
    bodies = [Body(str(k), cube, Pose(np.eye(3), origin)) for k, origin in enumerate(random.uniform(0, 6, (150, 3)))]
    pairs = {tuple(pair) for pair in finish(finish(extents(bodies)).overlapping()).tolist()}
    for i in range(150):
        for j in range(i + 1, 150):
            apart = np.abs(bodies[i].pose.origin - bodies[j].pose.origin).max()
            if apart < 1.0:
                assert (i, j) in pairs
            elif apart > 1.0 + 1e-6:
                assert (i, j) not in pairs


def _tetrahedron(corners: np.ndarray) -> Mesh:
    faces = np.array([[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]])
    if np.linalg.det(corners[1:] - corners[0]) > 0:
        faces = faces[:, ::-1]
    return Mesh(corners, faces)


def test_a_proof_of_freedom_never_contradicts_the_exact_sweep_of_convex_bodies() -> None:
    """Tetrahedra, exact by separating planes: A swept along d is convex and misses B when some plane parts them.

    The candidate planes are those of the faces and edge pairs of both, with the ray as one more edge of A.
    """
    random = np.random.default_rng(11)
    free = blocked = 0
    for _ in range(400):
        a, b = _tetrahedron(random.normal(size=(4, 3))), _tetrahedron(random.normal(size=(4, 3)) + 1.5)
        direction = axes()[random.integers(13)] * random.choice([-1.0, 1.0])
        if _planes_part(a.points, b.points, None):
            exact = _planes_part(a.points, b.points, direction)
            assert clears(a, b, direction) == exact
            free, blocked = free + exact, blocked + (not exact)
    assert free > 50
    assert blocked > 40


def _planes_part(a: np.ndarray, b: np.ndarray, ray: np.ndarray | None) -> bool:
    one, two = np.triu_indices(4, 1)
    edges_a, edges_b = a[two] - a[one], b[two] - b[one]
    if ray is not None:
        edges_a = np.concatenate([edges_a, ray[None]])
    edges = np.concatenate([edges_a, edges_b])
    i, j = np.triu_indices(len(edges), 1)
    normals = np.cross(edges[i], edges[j])
    normals = np.concatenate([normals, -normals])
    normals = normals[np.linalg.norm(normals, axis=1) > 1e-12]
    if ray is not None:
        normals = normals[normals @ ray >= -1e-12]
    return bool(((a @ normals.T).min(axis=0) > (b @ normals.T).max(axis=0)).any())
