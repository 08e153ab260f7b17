"""The layouts of the same links beside each other: what they take, and why one cannot be."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.cast.flask import USUAL_MARGINS
from addon.rules.cast.layouts import COMPARED, Allowance, compare_layouts, laid_out_as, usual_allowance
from addon.rules.cast.materials import load_materials
from addon.rules.chain.build import draft_chain
from addon.rules.chain.layout_check import check_layout
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.solid.measure import volume_mm3

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.1)
FLASKS = load_materials().flasks


RING = LayoutSpec("ring", links=28)


def compared(spec=CURB, layout=RING, links=28, **other):
    found = finish(compare_layouts(spec, layout, links, FLASKS, head="vacuum", layer_mm=0.05, **other))
    assert [figures.shape for figures in found] == list(COMPARED)
    return {figures.shape: figures for figures in found}


def test_each_layout_takes_what_its_chain_and_allowance_take():
    added = Allowance(beneath_mm=7.0, above_mm=2.0, around_mm=1.5)
    for shape, figures in compared(allowance=added, scale=1.02).items():
        chain = draft_chain(CURB, LayoutSpec(shape, links=28))
        points = np.concatenate([body.points() for body in chain.bodies])
        size = (np.ptp(points, axis=0) + np.array([3.0, 3.0, 9.0])) * 1.02
        assert figures.refusal is None
        np.testing.assert_allclose(figures.size_mm, size, rtol=1e-12)
        assert figures.layers == int(np.ceil(size[2] / 0.05))
        wide, tall = USUAL_MARGINS.needs(figures.across_mm, size[2])
        assert figures.across_mm >= max(size[:2])
        metal = sum(volume_mm3(body.mesh) for body in chain.bodies) * 1.02**3 / 1000
        if figures.flask.fits:
            flask = figures.flask.flask
            assert flask.diameter_mm >= wide
            assert flask.height_mm >= tall
            inside = np.pi / 4 * flask.diameter_mm**2 * flask.height_mm / 1000
            assert figures.investment_cm3 == pytest.approx(inside - metal)


def test_winding_a_long_chain_up_saves_investment():
    found = compared(links=60)
    assert found["spiral"].across_mm < found["ring"].across_mm < found["straight"].across_mm
    assert found["coil"].across_mm < found["spiral"].across_mm
    assert found["coil"].layers > found["spiral"].layers == found["ring"].layers
    assert found["coil"].investment_cm3 < 0.6 * found["ring"].investment_cm3
    assert found["ring"].investment_cm3 < 0.6 * found["straight"].investment_cm3


def test_a_layout_no_flask_takes_says_so_with_what_it_would_need():
    straight = compared(links=60)["straight"]
    assert not straight.flask.fits
    assert straight.flask.needs_diameter_mm > 400
    assert straight.investment_cm3 > 1000


def test_a_layout_that_cannot_be_says_why():
    found = compared(spec=replace(CURB, gap_mm=0.599), layout=LayoutSpec("straight", links=5), links=5)
    assert found["straight"].refusal is None
    assert "straight but not on a spiral" in found["spiral"].refusal
    assert found["spiral"].size_mm is found["spiral"].flask is found["spiral"].investment_cm3 is None


@pytest.mark.parametrize("shape", COMPARED)
@pytest.mark.parametrize(
    "layout",
    [
        LayoutSpec("ring", inner_length_mm=186.0, fit="ease", hand_mm=205.0),
        LayoutSpec("ring", links=30, ends="cover"),
        LayoutSpec("straight", length_mm=186.0, clasp="hook-eye", clasp_length_mm=14.0),
        LayoutSpec("spiral", links=40, turn_pitch_mm=14.0, turn_radius_mm=30.0, face="flat"),
        LayoutSpec("serpentine", links=40, row_mm=50.0),
        LayoutSpec("curve", points=((0.0, 0.0, 0.0), (200.0, 0.0, 0.0), (100.0, 150.0, 0.0)), cyclic=True),
    ],
)
def test_the_same_links_in_another_shape_are_a_layout_that_can_be(layout, shape):
    asked = laid_out_as(layout, shape, 33)
    check_layout(asked)
    assert (asked.shape, asked.links, asked.face, asked.clasp) == (shape, 33, layout.face, layout.clasp)
    assert (asked.turn_pitch_mm == layout.turn_pitch_mm) or shape != layout.shape


def test_the_usual_allowance_grows_with_the_wire():
    assert usual_allowance(3.0).beneath_mm > usual_allowance(1.0).beneath_mm > 3.0
