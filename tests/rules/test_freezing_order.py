"""The order of freezing: necks that cut off, ways that stay open, hot spots."""

import numpy as np
import pytest

from addon.rules.cast.feeding import feeding
from addon.rules.cast.network import Network
from tests.freezing_rods import cases_of, frozen, mould_of, network_of, rod


def test_a_thin_neck_between_two_fat_ones_cuts_off():
    metal = rod([8.0, 6.0, 1.0, 5.0, 5.0, 4.0], owner=[0, 0, 1, 2, 2, 2], length=3.0)
    found = frozen(metal, mould_of(metal, metal.bore_mm / 2.0), cases_of(6, conductivity_w_m_k=5.0))
    order = feeding(metal, found.solid_s[:, 0])
    assert not order.order_ok
    assert order.cut_off.tolist() == [False, False, False, True, True, True]
    assert order.neck[order.first] == 2
    assert order.open_s[3:] == pytest.approx(found.solid_s[2, 0])
    assert order.hot_spots == (3,) or order.hot_spots == (4,)


def test_metal_that_grows_toward_the_button_is_fed():
    metal = rod([8.0, 6.0, 4.0, 3.0, 2.0], length=3.0)
    found = frozen(metal, mould_of(metal, metal.bore_mm / 2.0), cases_of(5))
    order = feeding(metal, found.solid_s[:, 0])
    assert order.order_ok
    assert order.hot_spots == ()
    assert np.isinf(order.open_s[0])


def ways(joints, solid, closed=()) -> Network:
    """A network of which only the joints count; the root is 0."""
    n = len(solid)
    section = [0.0 if j in closed else 1.0 for j in range(len(joints))]
    return network_of(np.ones(n), np.ones(n), joints, section, 1.0, owner=np.arange(n))


def test_the_best_of_two_ways_counts():
    """Around a ring 0-1-2-3-4-0: one side closes at 2 s, the other at 5 s."""
    joints = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 0)]
    solid = np.array([9.0, 2.0, 4.0, 6.0, 5.0])
    order = feeding(ways(joints, solid), solid)
    assert order.open_s.tolist() == [np.inf, 9.0, 5.0, 5.0, 9.0]
    assert order.cut_off.tolist() == [False, False, False, True, False]
    assert (order.first, order.neck[3], order.hot_spots) == (3, 4, (3,))
    # with that side closed the other one is left
    order = feeding(ways(joints, solid, closed=(4,)), solid)
    assert order.open_s.tolist() == [np.inf, 9.0, 2.0, 2.0, 2.0]
    assert order.cut_off.tolist() == [False, False, True, True, True]


def test_metal_without_a_way_is_cut_off_and_no_metal_is_nothing():
    solid = np.array([9.0, np.nan, 4.0])
    order = feeding(ways([(0, 1), (1, 2)], solid), solid)
    assert order.cut_off.tolist() == [False, False, True]
    assert order.first == 2
    assert np.isnan(order.open_s[1])


def test_nearly_alike_is_not_cut_off():
    solid = np.array([9.0, 4.0, 4.05, 4.0])
    assert feeding(ways([(0, 1), (1, 2), (2, 3)], solid), solid).order_ok
    solid[2] = 4.2
    assert feeding(ways([(0, 1), (1, 2), (2, 3)], solid), solid).hot_spots == (2,)
