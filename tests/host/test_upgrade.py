"""Chains of older stored forms open as they were made."""

from pathlib import Path

import bpy
import numpy as np
import pytest

from addon.host.properties import SCHEMA
from addon.host.showing import parts
from tests.host.test_chain_object import places

FILES = Path(__file__).parent / "files"
# What the version that made schema_1.blend said of its chains: links, and worn length of the ring.
FIRST = {"ring": 21, "row": 5, "along": 6}
FIRST_WORN_MM = 146.077


@pytest.fixture
def first():
    bpy.ops.wm.open_mainfile(filepath=str(FILES / "schema_1.blend"))
    return {name: bpy.data.objects[name] for name in FIRST}


def test_the_first_form_opens_as_it_was(first):
    for name, ob in first.items():
        group = ob.linkwright
        assert group.schema == SCHEMA
        assert len(parts(ob, "LINK")) == group.figures.links == FIRST[name]
        assert group.figures.message == ""
        assert group.is_property_set("clasp")
    assert first["along"].linkwright.curve_size == "LINKS"
    assert first["row"].linkwright.straight_size == "LINKS"
    assert first["ring"].linkwright.ring_size == "INNER"


def test_the_first_form_rebuilds_to_the_same_piece(first):
    for name, ob in first.items():
        before = places(ob)
        ob.linkwright.gap_mm = ob.linkwright.gap_mm
        assert ob.linkwright.figures.message == ""
        np.testing.assert_allclose(places(ob)[:, :3, 3], before[:, :3, 3], atol=0.02, err_msg=name)
    assert first["ring"].linkwright.figures.worn_mm == pytest.approx(FIRST_WORN_MM, abs=0.02)
    assert first["ring"].linkwright.has_hand


def test_an_appended_older_chain_is_brought_up_when_it_is_read():
    with bpy.data.libraries.load(str(FILES / "schema_1.blend"), link=False) as (_, wanted):
        wanted.objects = ["along"]
    ob = wanted.objects[0]
    bpy.context.scene.unit_settings.scale_length = 0.001
    bpy.context.scene.collection.objects.link(ob)
    bpy.context.scene.collection.objects.link(ob.linkwright.curve)
    assert ob.linkwright.schema == 1
    ob.linkwright.wire_mm = 1.3
    assert ob.linkwright.schema == SCHEMA
    assert ob.linkwright.figures.message == ""
    assert ob.linkwright.figures.links == FIRST["along"]
