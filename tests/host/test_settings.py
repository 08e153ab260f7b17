"""Every setting of a chain goes from the rules' specs to the panel and back, and none of another family comes along."""

from dataclasses import fields, replace

import bpy
import numpy as np
import pytest

from addon.host import choices
from addon.host.options import FAMILIES, usual_sizes
from addon.host.own_link import OwnLink
from addon.host.process_settings import apply_scene, cast_spec
from addon.host.settings import apply_chain, chain_spec, chain_stamp, layout_spec
from addon.host.splines import Polyline
from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.cast.spec import CastSpec
from addon.rules.chain import spec as specs
from addon.rules.chain.families import draw
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.feed.spec import FeedSpec
from addon.rules.files.job import Job
from addon.rules.files.job_chain import BELONGS
from tests.host.test_boolean import torus

PLAIN = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
CHAINS = (
    PLAIN,
    replace(PLAIN, strands=2, facet_mm=0.35, chord_mm=0.011),
    ChainSpec("trace", 1.4, 9.0, 6.5, 0.35, section="rectangle", wire_width_mm=2.1, corner_mm=0.05),
    ChainSpec("belcher", 1.4, 9.0, 6.5, 0.35, section="D", wire_width_mm=2.1),
    ChainSpec("figaro", 2.2, 12.2, 9.7, 0.4, repeat=5, long_link_mm=21.5, facet_mm=0.2),
    ChainSpec("anchor", 2.2, 15.0, 11.0, 0.4, stud_mm=1.7),
    ChainSpec("box", 1.2, 8.0, 8.0, 0.3, wire_width_mm=2.6, corner_mm=0.25),
    ChainSpec("box", 1.2, 8.0, 8.0, 0.3, wire_width_mm=2.6, corner_mm=0.3),
    ChainSpec("rope", 1.2, 9.0, 9.0, 0.3),
    ChainSpec("weave", 1.2, 9.0, 9.0, 0.3),
    replace(PLAIN, end_wire_mm=1.6, end_link_length_mm=9.1, end_link_width_mm=7.3),
    replace(PLAIN, end_link_width_mm=8.9),
)
RING = LayoutSpec("ring", inner_length_mm=186.0, ends="closed")
LINE = ((0.0, 0.0, 0.0), (30.0, 5.0, 0.0), (60.0, 0.0, 4.0))
LAYOUTS = (
    RING,
    LayoutSpec("ring", links=34, ends="closed", hand_mm=199.5, face="flat"),
    LayoutSpec("ring", inner_length_mm=190.5, ends="cover", fit="ease"),
    LayoutSpec("ring", inner_length_mm=190.5, ends="open", clasp="ring-bar", clasp_length_mm=18.5),
    LayoutSpec("ring", length_mm=190.5, ends="open", clasp="eyes"),
    LayoutSpec("straight", length_mm=120.0, clasp="hook-eye", fit="ease"),
    LayoutSpec("straight", inner_length_mm=186.0, clasp_length_mm=7.0),
    LayoutSpec("spiral", links=48, turn_pitch_mm=17.5, turn_radius_mm=14.0),
    LayoutSpec("coil", inner_length_mm=450.0, turn_pitch_mm=17.5),
    LayoutSpec("serpentine", length_mm=450.0, turn_radius_mm=14.0, row_mm=61.0),
    LayoutSpec("curve", points=LINE),
    LayoutSpec("curve", points=LINE, links=5),
    LayoutSpec("curve", points=LINE, length_mm=44.0),
    LayoutSpec("curve", points=LINE, cyclic=True, ends="closed", inner_length_mm=44.0),
    LayoutSpec("curve", points=LINE, cyclic=True, ends="open", clasp="eyes", clasp_length_mm=3.0),
)


@pytest.fixture
def group():
    """The settings of an object that no rule builds."""
    ob = bpy.data.objects.new("chain", None)
    bpy.context.scene.collection.objects.link(ob)
    ob.linkwright.hold = True
    ob.linkwright.schema = 1
    return ob.linkwright


def follow(layout):
    """Give the line that a layout follows, as the scene would."""
    if layout.shape != "curve":
        return None
    return Polyline(np.array(layout.points), layout.cyclic)


@pytest.mark.parametrize("chain", CHAINS, ids=lambda c: c.family)
def test_a_link_comes_back_as_it_was(group, chain):
    apply_chain(group, chain, RING)
    assert chain_spec(group, None) == chain


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda one: f"{one.shape} {one.ends}")
def test_a_layout_comes_back_as_it_was(group, layout):
    apply_chain(group, PLAIN, layout)
    assert layout_spec(group, follow(layout)) == layout


def test_every_field_is_tried_away_from_its_default():
    """A field added to the specs and forgotten here would be lost in Blender."""
    apart = {"turn_deg", "axis", "own", "own_file"}
    for kind, tried in ((ChainSpec, CHAINS), (LayoutSpec, LAYOUTS)):
        for field in fields(kind):
            if field.name not in apart:
                assert len({getattr(one, field.name) for one in tried}) > 1, field.name


@pytest.mark.parametrize("axis", [(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.5, -0.25, 1.0)])
def test_an_own_link_comes_back_as_it_was(group, axis):
    solid = torus(5.0, 1.0)
    own = OwnLink(solid, axis, 2.0, 12.0, 11.0)
    chain = ChainSpec("mesh", 2.0, 12.0, 11.0, 0.4, turn_deg=77.5, axis=axis, own=solid, own_file="link.3mf")
    apply_chain(group, chain, RING)
    assert {"X": (1.0, 0.0, 0.0), "Z": (0.0, 0.0, 1.0), "OWN": tuple(group.axis)}[group.axis_by] == axis
    assert chain_spec(group, own) == chain


def test_what_was_set_for_another_family_does_not_come_along(group):
    for chain in CHAINS[1:]:
        apply_chain(group, chain, RING)
    group.strands, group.facet_mm, group.section, group.stud_mm = "DOUBLE", 0.5, "D", 1.0
    for family, uses in FAMILIES.items():
        if family == "mesh":
            continue
        group.family = family
        read = chain_spec(group, None)
        plain = ChainSpec(family, 2.2, 12.2, 9.7, 0.4)
        for key in BELONGS:
            if key in ("file", "axis", "turn_deg") or key.startswith("end_"):
                continue
            if key not in (*uses.fields, *uses.section):
                assert getattr(read, key) == getattr(plain, key), (family, key)


TRIED = {
    "section": "D", "wire_width_mm": 3.0, "corner_mm": 0.2, "strands": 2, "facet_mm": 0.2, "long_link_mm": 20.0,
    "stud_mm": 1.8, "turn_deg": 45.0,
}  # fmt: skip


@pytest.mark.parametrize("family", FAMILIES)
def test_the_panel_offers_what_the_family_knows_and_nothing_else(family):
    uses = FAMILIES[family]
    length, width = usual_sizes(family, 2.2)
    plain = ChainSpec(family, 2.2, length, width, 0.4, own=torus(5.0, 1.0) if family == "mesh" else None)
    for key, value in TRIED.items():
        try:
            draw(replace(plain, **{key: value}))
        except BadInput as error:
            refused = "does not belong" in str(error)
        else:
            refused = False
        assert refused == (key not in (*uses.fields, *uses.section)), key
    assert ("repeat" in uses.fields) == (family == "figaro")
    for kind in specs.SECTIONS:
        try:
            draw(replace(plain, section=None if kind == "round" else kind))
        except BadInput as error:
            refused = "no section" in str(error) or "does not belong" in str(error)
        else:
            refused = False
        offered = uses.kinds or ("round",)
        # A box's strip is what it usually has, and so has one name.
        assert refused == (kind not in offered) or (family, kind) == ("box", "rectangle")


def test_the_choices_are_those_of_the_rules():
    for items, words in (
        (choices.FAMILY_ITEMS, specs.FAMILIES),
        (choices.SHAPE_ITEMS, specs.SHAPES),
        (choices.CLASP_ITEMS, ("NONE", *specs.CLASPS)),
        (choices.ENDS_ITEMS, ("closed", "open", "cover")),
    ):
        assert {item[0] for item in items} == set(words)
    assert set(FAMILIES) == set(specs.FAMILIES)


def test_numbers_that_files_hold_keep_their_meaning():
    """The numbers of the first stored form, and those given since: a file keeps only these."""
    kept = {
        choices.FAMILY_ITEMS: {"curb": 1, "trace": 2, "belcher": 3, "figaro": 4, "anchor": 5, "box": 6, "rope": 7,
                               "weave": 8, "mesh": 9},
        choices.SHAPE_ITEMS: {"straight": 1, "ring": 2, "curve": 3, "spiral": 4, "coil": 5, "serpentine": 6},
        choices.RING_SIZE_ITEMS: {"INNER": 1, "WRIST": 2, "LINKS": 3, "FINGER": 4, "LENGTH": 5},
        choices.STRAIGHT_SIZE_ITEMS: {"LENGTH": 1, "LINKS": 2, "INNER": 3, "WRIST": 4},
        choices.FACE_ITEMS: {"out": 1, "flat": 2},
        choices.FIT_ITEMS: {"nearest": 1, "ease": 2},
        choices.PART_ITEMS: {"NONE": 0, "LINK": 1, "STRUT": 2},
    }  # fmt: skip
    for items, numbers in kept.items():
        assert {item[0]: item[4] for item in items} == numbers


def test_wrist_and_finger_are_inside_lengths(group):
    apply_chain(group, PLAIN, RING)
    group.ring_size, group.wrist_mm, group.ease_mm = "WRIST", 168.3, 14.2
    assert layout_spec(group, None).inner_length_mm == pytest.approx(182.5, abs=1e-12)
    # ISO 8653:2016 names a finger ring's size by the length round its inside in mm.
    group.ring_size, group.finger_mm = "FINGER", 54.0
    assert layout_spec(group, None).inner_length_mm == 54.0


def test_stamps_tell_link_meshes_apart():
    chain = ChainSpec("mesh", 2.0, 12.0, 11.0, 0.4, own=torus(5.0, 1.0))
    assert chain_stamp(chain, RING) == chain_stamp(replace(chain, own=torus(5.0, 1.0)), RING)
    assert chain_stamp(chain, RING) != chain_stamp(replace(chain, own=torus(5.001, 1.0)), RING)


SPUN = CastSpec(
    "copper",
    1180.0,
    480.0,
    "spin",
    (100.25, 150.0),
    "gypsum-bonded",
    "printed-wax",
    True,
    "bench-arm",
    0.95,
    3.55,
    "shells",
)


def test_every_setting_of_the_pour_goes_to_the_panel_and_back():
    usual = CastSpec()
    assert all(getattr(SPUN, f.name) != getattr(usual, f.name) for f in fields(CastSpec))
    group = bpy.context.scene.linkwright
    try:
        for cast in (SPUN, usual):
            apply_scene(group, Job("x", PLAIN, RING, load_profile("bench"), FeedSpec(), cast))
            assert cast_spec(group) == cast
    finally:
        apply_scene(group, Job("", PLAIN, RING, load_profile("bench"), FeedSpec(), usual))
