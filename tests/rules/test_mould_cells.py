"""The coarse cells of the mould: sums, a slab, numbering, cells that stores have used up."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.cast.mould_cells import exchange, passed_on
from addon.rules.cast.network import Mould
from tests.freezing_rods import cases_of, mould_of, network_of


def grid(side: int, order: np.ndarray) -> Mould:
    """Cells of 1 mm in a cube, numbered in some order, open to the far mould at one face."""
    one = network_of([1.0], [1.0])
    box = np.arange(side**3).reshape(side, side, side)
    pairs = [(box[:-1], box[1:]), (box[:, :-1], box[:, 1:]), (box[:, :, :-1], box[:, :, 1:])]
    joints = np.concatenate([np.stack([a.ravel(), b.ravel()], axis=1) for a, b in pairs])
    outward = np.zeros(side**3)
    outward[order[box[0].ravel()]] = 2.0
    return replace(
        mould_of(one),
        cell_mm3=np.ones(side**3),
        cell_joints=order[joints],
        cell_passing_mm=np.ones(len(joints)),
        outward_mm=outward,
        cell_at=np.zeros((side**3, 3)),
    )


def test_numbering_of_the_cells_makes_no_difference():
    cases = cases_of(1, mould_w_m_k=[0.3, 0.5])
    rng = np.random.default_rng(7)
    straight, mixed = np.arange(64), rng.permutation(64)
    rise = rng.uniform(0.0, 300.0, (64, 2))
    along, across = (exchange(grid(4, order), cases) for order in (straight, mixed))
    assert along.beside.shape == (6, 64)
    for seconds in (0.05, 3.0, 100.0):
        shuffled = np.empty_like(rise)
        shuffled[mixed] = rise
        one, gone = passed_on(along, rise, np.full(2, seconds))
        other, also_gone = passed_on(across, shuffled, np.full(2, seconds))
        np.testing.assert_allclose(other[mixed], one, rtol=1e-12)
        np.testing.assert_allclose(also_gone, gone, rtol=1e-12)
        lost = ((rise - one) * along.capacity).sum(axis=0)
        np.testing.assert_allclose(lost, gone, rtol=1e-9)
        assert one.min() >= 0.0
        assert one.max() <= rise.max()


def test_cells_conduct_like_a_slab():
    """A row of cells with one end cold loses the heat that the series for a slab says (Carslaw and Jaeger, 3.4)."""
    n = 40
    row = replace(
        grid(1, np.arange(1)),
        cell_mm3=np.full(n, 0.25),
        cell_joints=np.stack([np.arange(n - 1), np.arange(1, n)], axis=1),
        cell_passing_mm=np.full(n - 1, 4.0),
        outward_mm=np.array([8.0] + [0.0] * (n - 1)),
    )
    cells = exchange(row, cases_of(1))
    rise = np.full((n, 1), 100.0)
    for _ in range(400):
        rise, _ = passed_on(cells, rise, np.full(1, 0.1))
    odd = np.arange(1, 200, 2)
    exact = (8.0 / (np.pi * odd) ** 2 * np.exp(-((odd * np.pi / 2.0) ** 2) * 0.4 / 1.23 * 40.0 / 10.0**2)).sum()
    assert rise.mean() / 100.0 == pytest.approx(exact, rel=0.02)


def test_heat_passes_through_a_cell_that_stores_have_used_up():
    row = replace(
        grid(1, np.arange(1)),
        cell_mm3=np.array([8.0, 0.0, 8.0]),
        cell_joints=np.array([(0, 1), (1, 2)]),
        cell_passing_mm=np.full(2, 2.0),
        outward_mm=np.zeros(3),
    )
    cells = exchange(row, cases_of(1))
    rise = np.array([[100.0], [0.0], [0.0]])
    for _ in range(120):
        rise, _ = passed_on(cells, rise, np.full(1, 0.1))
    # two cells with both passages in a row between them and nothing in the middle, after 12 s
    apart = np.exp(-2.0 * 0.4e-3 * 12.0 / (8.0 * 1.23e-3))
    assert rise[2, 0] == pytest.approx(50.0 * (1.0 - apart), rel=0.06)
