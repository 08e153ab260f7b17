"""The second stage: a changed chain is measured by itself, in slices: its gap on the links, then its free play."""

import re

import bpy
import numpy as np
import pytest

from addon.host import checking
from addon.host.result_state import state_of
from tests.host.recorder import draw_all, texts
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


def test_its_joints_are_moved_once_the_gap_is_measured(add_chain, window):
    ob = add_chain()
    figures = ob.linkwright.figures
    stages = []
    ob.linkwright.gap_mm = 0.35
    while window.waiting:
        tick = window.waiting[0]
        if tick() is None and tick in window.waiting:
            window.waiting.remove(tick)
        stage = state_of(bpy.context).stage
        if stage and stages[-1:] != [stage]:
            stages.append(stage)
    assert stages == [checking.MEASURING, checking.PLAYING]
    assert figures.play_stamp == figures.stamp
    assert len(figures.play) == 1
    assert re.fullmatch(r"[0-9.]+ deg both ways, [0-9.]+ at best slide", figures.play[0].over)
    assert "edgewise" in texts(draw_all()["Chain"])
    # What is measured is not measured again.
    checking.checker.ask(ob)
    assert not window.waiting
    ob.linkwright.gap_mm = 0.4
    assert "edgewise" not in texts(draw_all()["Chain"])


def test_links_that_the_exact_fit_moves_are_shown_there(add_chain, window):
    """A wire that is not round is drafted on coarse meshes; the exact chain stands a little elsewhere."""
    ob = add_chain(family="box", length_mm=150.0)
    assert ob.linkwright.figures.message == ""
    ob.linkwright.gap_mm = 0.41
    window.play()
    shown = places(ob)
    assert ob.linkwright.figures.verified
    bpy.ops.linkwright.verify()
    np.testing.assert_allclose(places(ob), shown, atol=1e-6)


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
