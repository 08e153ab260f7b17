"""Graph systems solved by elimination in rounds give what general solvers give."""

import numpy as np
import numpy.typing as npt
import pytest
import scipy.sparse
import scipy.sparse.linalg
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.cast.elimination import elimination, solve
from addon.rules.solid.mesh import FloatArray, IntArray


def dominant(
    count: int, joints: IntArray, cases: int, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give a random diagonally dominant system that is not symmetric: diagonal, forward, backward, right."""
    rng = np.random.default_rng(seed)
    forward, backward = (-rng.uniform(0.01, 100.0, (len(joints), cases)) for _ in range(2))
    diagonal = np.full((count, cases), 0.05)
    np.add.at(diagonal, joints[:, 0], -forward)
    np.add.at(diagonal, joints[:, 1], -backward)
    return diagonal, forward, backward, rng.normal(size=(count, cases))


def by_general_solver(
    joints: IntArray, diagonal: FloatArray, forward: FloatArray, backward: FloatArray, right: FloatArray, case: int
) -> npt.NDArray[np.float64]:
    n = len(diagonal)
    rows = np.concatenate((np.arange(n), joints[:, 0], joints[:, 1]))
    columns = np.concatenate((np.arange(n), joints[:, 1], joints[:, 0]))
    values = np.concatenate((diagonal[:, case], forward[:, case], backward[:, case]))
    matrix = scipy.sparse.csc_matrix((values, (rows, columns)), shape=(n, n))
    return np.asarray(scipy.sparse.linalg.spsolve(matrix, right[:, case]))


def path(count: int) -> IntArray:
    return np.stack((np.arange(count - 1), np.arange(1, count)), axis=1)


def ring(count: int) -> IntArray:
    return np.stack((np.arange(count), (np.arange(count) + 1) % count), axis=1)


def star(count: int) -> IntArray:
    return np.stack((np.zeros(count - 1, dtype=np.int64), np.arange(1, count)), axis=1)


def ladder(count: int) -> IntArray:
    rungs = np.stack((np.arange(count), np.arange(count) + count), axis=1)
    return np.concatenate((ring(count), ring(count) + count, rungs))


@pytest.mark.parametrize(
    ("count", "joints"),
    [(200, path(200)), (200, ring(200)), (200, star(200)), (160, ladder(80)), (1, path(1))],
    ids=["path", "ring", "star", "ladder", "one node"],
)
def test_agrees_with_a_general_sparse_solver(count: int, joints: IntArray) -> None:
    """Scipy's sparse direct solver is the outside reference."""
    system = dominant(count, joints, 3, seed=count)
    found = solve(elimination(count, joints), *system)
    for case in range(3):
        wanted = by_general_solver(joints, *system, case)
        assert np.abs(found[:, case] - wanted).max() <= 1e-11 * np.abs(wanted).max()


@settings(derandomize=True, deadline=None, max_examples=20)
@given(count=st.integers(1, 60), extra=st.integers(0, 90), seed=st.integers(0, 1000))
def test_any_graph_even_with_doubled_joints_and_loose_parts(count: int, extra: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    joints = rng.integers(0, count, (extra, 2))
    joints = joints[joints[:, 0] != joints[:, 1]]
    system = dominant(count, joints, 1, seed)
    found = solve(elimination(count, joints), *system)
    wanted = by_general_solver(joints, *system, 0)
    assert np.abs(found[:, 0] - wanted).max() <= 1e-10 * max(np.abs(wanted).max(), 1.0)


def test_a_joint_that_is_shut_passes_nothing() -> None:
    """Entries of zero are allowed: a closed passage splits a path in two that know nothing of each other."""
    joints = path(40)
    diagonal, forward, backward, right = dominant(40, joints, 1, seed=5)
    forward[19] = backward[19] = 0.0
    plan = elimination(40, joints)
    before = solve(plan, diagonal, forward, backward, right)
    right[30:] += 7.0
    after = solve(plan, diagonal, forward, backward, right)
    assert (before[:20] == after[:20]).all()
    assert np.abs(before[20:] - after[20:]).max() > 0.01
