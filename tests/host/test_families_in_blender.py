"""Every family and every kind of ends stands in the scene, follows its numbers, and shows only what it uses."""

import bpy
import numpy as np
import pytest

from addon.host.options import FAMILIES, usual_sizes
from addon.host.panel_chain import SIZE_NAMES
from addon.host.showing import parts
from tests.host.recorder import draw_all, texts
from tests.host.test_chain_object import metres_to_mm, places

DRAWN = [family for family in FAMILIES if family != "mesh"]


@pytest.fixture(autouse=True)
def _millimetres(_empty_scene):
    metres_to_mm()


@pytest.mark.parametrize("family", DRAWN)
@pytest.mark.parametrize("wire", [1.2, 2.2])
def test_usual_sizes_stand(add_chain, family, wire):
    """With the gap of 0.4 mm that the sizes are usual for, in proportion for thinner wire."""
    ob = add_chain(family=family, wire_mm=wire, gap_mm=0.4 * wire / 2.2, length_mm=200.0)
    figures = ob.linkwright.figures
    assert figures.message == ""
    assert len(parts(ob, "LINK")) == figures.links
    assert figures.gap_mm >= 0.4 * wire / 2.2 - 1e-3
    assert (ob.linkwright.link_length_mm, ob.linkwright.link_width_mm) == pytest.approx(usual_sizes(family, wire))


@pytest.mark.parametrize(
    ("family", "setting", "value"),
    [("curb", "strands", "DOUBLE")]
    + [(family, "section", kind) for family in DRAWN for kind in FAMILIES[family].kinds if kind != "round"],
)
def test_one_click_gives_broad_wire_the_sizes_it_needs(add_chain, family, setting, value):
    ob = add_chain(family=family, length_mm=200.0)
    setattr(ob.linkwright, setting, value)
    bpy.ops.linkwright.usual_sizes()
    assert ob.linkwright.figures.message == ""
    assert getattr(ob.linkwright, setting) == value
    assert ob.linkwright.figures.gap_mm >= 0.4 - 1e-3


@pytest.mark.parametrize("family", DRAWN)
def test_a_family_can_be_chosen_for_a_chain_that_stands(add_chain, family):
    ob = add_chain(length_mm=200.0)
    ob.linkwright.family = family
    ob.linkwright.link_length_mm, ob.linkwright.link_width_mm = usual_sizes(family, 2.2)
    assert ob.linkwright.figures.message == ""
    assert len(bpy.data.objects) == 1 + ob.linkwright.figures.links
    kinds = len({link.data for link in parts(ob, "LINK")})
    assert kinds == {"figaro": 2, "weave": 2}.get(family, 1)
    assert len(bpy.data.meshes) == kinds


@pytest.mark.parametrize("family", DRAWN)
def test_only_what_the_family_uses_is_shown(add_chain, family):
    ob = add_chain(family=family, length_mm=200.0)
    drawn = texts(draw_all()["Chain"])
    keys = {key for uses in FAMILIES.values() for key in uses.fields}
    names = {key: SIZE_NAMES.get(key) or ob.linkwright.bl_rna.properties[key].name for key in keys}
    for key, name in names.items():
        shown = key in FAMILIES[family].fields
        assert (f"| {name} |" in drawn) == shown, key
    assert ("Chain Axis" in drawn) == (family == "mesh")


def test_a_taper_has_a_mesh_for_every_size_and_gives_them_back(add_chain):
    ob = add_chain(length_mm=200.0)
    ob.linkwright.end_wire_mm, ob.linkwright.end_link_length_mm, ob.linkwright.end_link_width_mm = 2.0, 11.1, 8.8
    ob.linkwright.tapered = True
    assert ob.linkwright.figures.message == ""
    assert len({link.data for link in parts(ob, "LINK")}) > 5
    ob.linkwright.tapered = False
    assert len(bpy.data.meshes) == 1


@pytest.mark.parametrize("clasp", ["ring-bar", "hook-eye", "eyes"])
@pytest.mark.parametrize("shape", ["straight", "ring", "spiral"])
def test_clasps_are_parts_of_the_chain_and_go_with_it(add_chain, clasp, shape):
    ob = add_chain(length_mm=200.0)
    group = ob.linkwright
    group.hold = True
    group.shape, group.straight_size, group.links, group.ends = shape, "LINKS", 24, "open"
    group.hold = False
    group.clasp = clasp
    assert group.figures.message == ""
    bodies = parts(ob, "LINK")
    assert len(bodies) > group.figures.links
    assert not bodies[-1].name.startswith("link")
    assert group.figures.clasp_mm > 0
    assert "of the worn" in texts(draw_all()["Chain"])
    group.clasp = "NONE"
    assert len(parts(ob, "LINK")) == group.figures.links
    assert parts(ob, "LINK")[-1].name.startswith("link")


def test_a_cover_is_drafted_apart_and_built_as_one(add_chain):
    ob = add_chain(length_mm=200.0)
    ob.linkwright.ends = "cover"
    assert ob.linkwright.figures.message == ""
    drafted = len(parts(ob, "LINK"))
    assert drafted == ob.linkwright.figures.links + 1
    links = ob.linkwright.figures.links
    bpy.ops.linkwright.verify()
    assert len(parts(ob, "LINK")) == drafted - 2
    assert ob.linkwright.figures.links == links
    assert ob.linkwright.figures.verified
    assert ob.linkwright.figures.worn_mm == pytest.approx(200.0, abs=0.05)


def test_facets_are_drawn_with_edges(add_chain):
    ob = add_chain()
    assert "sharp_edge" not in parts(ob, "LINK")[0].data.attributes
    ob.linkwright.facet_mm = 0.4
    assert ob.linkwright.figures.message == ""
    sharp = parts(ob, "LINK")[0].data.attributes["sharp_edge"]
    flags = np.zeros(len(sharp.data), dtype=bool)
    sharp.data.foreach_get("value", flags)
    assert 0 < flags.sum() < len(flags) / 4


def test_bad_options_are_said_and_keep_the_links(add_chain):
    ob = add_chain(family="anchor", length_mm=220.0)
    before = places(ob)
    ob.linkwright.stud_mm = 40.0
    assert "stud_mm" in ob.linkwright.figures.message
    np.testing.assert_array_equal(places(ob), before)
    ob.linkwright.stud_mm = 0.0
    assert ob.linkwright.figures.message == ""
