"""The second stage: a changed chain is measured by itself, in slices, and writes figures only."""

import bpy
import numpy as np
import pytest

from addon.host import checking
from addon.host.results import state_of
from tests.host.test_chain_object import places


class _Window:
    """Stands in for `bpy` where the wheel has no timers and no window."""

    def __init__(self):
        self.waiting = []
        self.data, self.context = bpy.data, bpy.context
        self.app = self
        self.timers = self
        self.background = False

    def register(self, tick, **_):
        self.waiting.append(tick)

    def unregister(self, tick):
        self.waiting.remove(tick)

    def is_registered(self, tick):
        return tick in self.waiting

    def play(self):
        """Call the timers until none is left; gives how many calls it took."""
        calls = 0
        while self.waiting:
            tick = self.waiting[0]
            calls += 1
            if tick() is None and tick in self.waiting:
                self.waiting.remove(tick)
            assert calls < 2000
        return calls


@pytest.fixture
def window(monkeypatch):
    stand_in = _Window()
    monkeypatch.setattr(checking, "bpy", stand_in)
    yield stand_in
    checking.checker.stop()


def test_a_change_is_measured_by_itself_and_moves_nothing(add_chain, window):
    ob = add_chain()
    ob.linkwright.gap_mm = 0.35
    assert not ob.linkwright.figures.verified
    assert state_of(bpy.context).checking == ob.name
    before, stamp = places(ob), ob.linkwright.figures.stamp
    assert window.play() > 1
    assert ob.linkwright.figures.verified
    assert ob.linkwright.figures.stamp == stamp
    assert state_of(bpy.context).checking == ""
    np.testing.assert_array_equal(places(ob), before)
    bpy.ops.linkwright.verify()
    # The draft stands where the exact chain stands.
    np.testing.assert_allclose(places(ob), before, atol=1e-9)


def test_a_newer_change_replaces_the_older(add_chain, window):
    ob = add_chain()
    ob.linkwright.gap_mm = 0.35
    window.waiting[0]()
    ob.linkwright.inner_length_mm = 200.0
    assert len(window.waiting) == 1
    window.play()
    assert ob.linkwright.figures.verified
    assert abs(ob.linkwright.figures.worn_mm - 200.0) < 8.0


def test_it_gives_way_to_what_runs_and_survives_removal(add_chain, window):
    ob = add_chain()
    ob.linkwright.gap_mm = 0.35
    state_of(bpy.context).running = "Inspecting"
    assert window.waiting[0]() == checking.PAUSE_S
    state_of(bpy.context).property_unset("running")
    bpy.data.objects.remove(ob)
    window.play()
    assert state_of(bpy.context).checking == ""
