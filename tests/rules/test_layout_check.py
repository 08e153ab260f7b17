"""The door of the layouts: what each shape takes, what its ends can be, and words for all the rest."""

from dataclasses import replace

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain.layout_check import check_layout, ends_of, goes_round, is_closed
from addon.rules.chain.spec import SHAPES, LayoutSpec

LOOP = ((50.0, 0.0, 0.0), (0.0, 50.0, 0.0), (-50.0, 0.0, 0.0), (0.0, -50.0, 0.0))


def shaped(shape: str, **other) -> LayoutSpec:
    return LayoutSpec(shape, links=30, points=LOOP if shape == "curve" else (), **other)


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_takes_links_and_an_inside_length(shape):
    check_layout(shaped(shape))
    check_layout(replace(shaped(shape), links=None, inner_length_mm=186.0))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_length_between_the_ends_is_for_open_chains(shape):
    asked = replace(shaped(shape), links=None, length_mm=200.0)
    if is_closed(asked):
        with pytest.raises(BadInput, match=r"^layout.length_mm: .* give inner_length_mm or links instead"):
            check_layout(asked)
        asked = replace(asked, ends="open")
    check_layout(asked)


@pytest.mark.parametrize(
    ("layout", "ends"),
    [
        (shaped("ring"), "closed"),
        (shaped("ring", ends="open"), "open"),
        (shaped("ring", ends="cover"), "cover"),
        (shaped("curve"), "open"),
        (shaped("curve", cyclic=True), "closed"),
        (shaped("curve", cyclic=True, ends="cover"), "cover"),
        (shaped("straight"), "open"),
        (shaped("spiral", ends="open", clasp="hook-eye"), "open"),
    ],
)
def test_ends_are_those_asked_for_or_those_of_the_shape(layout, ends):
    check_layout(layout)
    assert ends_of(layout) == ends
    assert is_closed(layout) == (ends == "closed")
    assert goes_round(layout) == (layout.shape == "ring" or layout.cyclic)


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (shaped("star"), "layout.shape: 'star' is not one of its words; choose straight, ring, spiral, coil"),
        (shaped("ring", face="up"), "layout.face: 'up' is not one of its words"),
        (shaped("ring", ends="welded"), "layout.ends: 'welded' is not one of its words"),
        (shaped("spiral", clasp="magnet"), "layout.clasp: 'magnet' is not one of its words"),
        (shaped("straight", ends="closed"), "layout.ends: 'closed' needs a chain whose ends meet"),
        (shaped("coil", ends="cover"), "layout.ends: 'cover' needs a chain whose ends meet, and those of a coil"),
        (shaped("curve", ends="closed"), "layout.ends: 'closed' needs a chain whose ends meet"),
        (shaped("ring", clasp="eyes"), 'layout.clasp: a chain with ends = "closed" has no clasp'),
        (
            shaped("ring", ends="cover", clasp_length_mm=9.0),
            'clasp_length_mm: a chain with ends = "cover" has no clasp',
        ),
        (shaped("straight", clasp_length_mm=-1.0), "layout.clasp_length_mm: -1 does not work"),
        (shaped("ring", hand_mm=float("nan")), "layout.hand_mm: nan does not work"),
        (shaped("ring", turn_pitch_mm=9.0), "layout.turn_pitch_mm: a ring has no such size; leave it out, or choose"),
        (shaped("straight", turn_radius_mm=9.0), "layout.turn_radius_mm: a straight chain has no such size"),
        (
            shaped("coil", row_mm=9.0),
            "layout.row_mm: a coil has no such size; leave it out, or choose shape serpentine",
        ),
        (shaped("coil", turn_pitch_mm=0.0), "layout.turn_pitch_mm: 0 does not work; give a number above 0"),
        (shaped("spiral", turn_radius_mm="wide"), "layout.turn_radius_mm: must be a number, is 'wide'"),
        (shaped("serpentine", row_mm=True), "layout.row_mm: must be a number, is True"),
        (replace(shaped("ring"), links=2), "layout.links: 2 does not work; give from 3 to 5000"),
        (replace(shaped("spiral"), links=1), "layout.links: 1 does not work; give from 2 to 5000"),
        (replace(shaped("spiral"), links=5001), "layout.links: 5001 does not work"),
        (replace(shaped("spiral"), links=9.5), "layout.links: must be a whole number, is 9.5"),
        (replace(shaped("spiral"), links=None), "layout: give length_mm or links"),
        (replace(shaped("ring"), links=None), "layout: give inner_length_mm or links"),
        (shaped("ring", inner_length_mm=180.0), "layout: inner_length_mm and links are both given"),
        (replace(shaped("coil"), points=LOOP), 'layout.points: only shape = "curve" follows points'),
        (shaped("ring", fit="ease"), 'layout.fit: "ease" meets a length'),
        (replace(shaped("spiral"), links=None, length_mm=200.0, fit="ease"), 'layout.fit: "ease" meets a length'),
    ],
)
def test_what_cannot_be_is_named_with_what_works(layout, text):
    with pytest.raises(BadInput) as caught:
        check_layout(layout)
    assert text in str(caught.value)


def test_easing_meets_a_length_on_a_ring_and_straight():
    check_layout(LayoutSpec("ring", inner_length_mm=186.0, fit="ease"))
    check_layout(LayoutSpec("straight", length_mm=186.0, fit="ease"))
    check_layout(LayoutSpec("straight", inner_length_mm=186.0, fit="ease"))


def test_a_curve_may_be_filled_without_a_length():
    check_layout(LayoutSpec("curve", points=LOOP))
