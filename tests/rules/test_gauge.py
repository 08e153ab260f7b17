"""The gauge: every station linked, its smallest gap its figure, nothing in mid-air, figures that can be read."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect import engraving
from addon.rules.inspect.gauge import GAPS_MM, LEAST_MM, MOST_STATIONS, WIDEST_MM, gauge
from addon.rules.inspect.inspection import inspect
from addon.rules.inspect.layers import slice_layers
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.topology import bodies_of, facts
from addon.rules.solid.winding import winding_numbers

BENCH = load_profile("bench")
# The usual code of a seven-segment display: bit 0 the top stroke, then clockwise, bit 6 the middle one (from memory).
SEVEN = {"0": 0x3F, "1": 0x06, "2": 0x5B, "3": 0x4F, "4": 0x66, "5": 0x6D, "6": 0x7D, "7": 0x07, "8": 0x7F, "9": 0x6F}
ODD = (0.05, 1.0, 0.125, 0.333, 0.4)


def test_the_usual_gauge():
    assert tuple(round(0.15 + 0.05 * k, 2) for k in range(10)) == GAPS_MM
    frame, *links = gauge()
    assert frame.name == "gauge"
    assert [link.name for link in links[:3]] == ["gap 0.15", "gap 0.2", "gap 0.25"]
    size = np.ptp(np.concatenate([body.points() for body in (frame, *links)]), axis=0)
    assert (size < (110.0, 20.0, 10.0)).all(), "a small plate takes it"


@pytest.mark.parametrize(
    ("gaps", "layer"),
    [(GAPS_MM, 0.05), (ODD, 0.03), ((0.3,), 0.05), ((0.111, 0.888), 0.1)],
)
def test_an_inspection_finds_every_station_as_it_is_engraved(gaps, layer):
    bodies = gauge(gaps, layer_mm=layer)
    found = finish(inspect(bodies, BENCH))
    assert [pair.b for pair in found.pairs] == [body.name for body in bodies[1:]]
    for pair, gap in zip(found.pairs, gaps, strict=True):
        assert pair.a == "gauge"
        assert pair.linked is True
        assert pair.gap_mm == pytest.approx(gap, abs=1e-12)
        assert pair.b == f"gap {gap:g}"
    allowed = {"gap-below-floor", "web-thin", "web-weak", "looks"}
    assert {finding.code for finding in found.findings} <= allowed, "no other fault than that gaps are narrow"
    assert finish(slice_layers(bodies, layer)).islands == ()


@pytest.mark.parametrize("gaps", [GAPS_MM, ODD])
def test_each_is_one_clean_solid_on_the_plate(gaps):
    for body in gauge(gaps):
        true = facts(body.mesh)
        assert true.closed
        assert not true.inside_out
        assert true.non_manifold_edges == true.zero_area == true.doubled_faces == 0
        assert true.genus == (2 * len(gaps) if body.name == "gauge" else 1)
        assert len(bodies_of(body.mesh)) == 1
        assert body.points()[:, 2].min() == 0.0


@pytest.mark.parametrize("layer", [0.05, 0.03, 0.07])
def test_the_bars_top_lies_on_a_whole_layer(layer):
    frame, link = gauge((0.3,), layer_mm=layer)
    top = frame.points()[:, 2].max()
    assert top / layer == pytest.approx(round(top / layer), abs=1e-9)
    assert top + 0.3 in link.points()[:, 2]


@pytest.mark.parametrize("gaps", [GAPS_MM[:2], (0.123, 0.456, 0.789), (1.0,)])
def test_the_figures_can_be_read_off_the_model(gaps):
    """Feel every stroke's place with a point just under the face: bare where the stroke is engraved."""
    frame, *links = gauge(gaps)
    rail = 2.0
    for link, gap in zip(links, gaps, strict=True):
        text = f"{gap:g}"
        low, high = link.points().min(axis=0), link.points().max(axis=0)
        left = (low[0] + high[0]) / 2 - engraving.width_mm(text) / 2
        for c in text:
            if c == ".":
                assert not _metal(frame, [(left + 0.2, 1.1, rail - 0.2)])[0]
                left += engraving.STROKE_MM + engraving.ROOM_MM
                continue
            middle, right = left + engraving.DIGIT_MM / 2, left + engraving.DIGIT_MM - 0.2
            up = 0.9 + 0.2 + np.array([0.0, 0.65, 1.3, 1.95, 2.6])
            places = [(middle, up[4]), (right, up[3]), (right, up[1]), (middle, up[0])]
            places += [(left + 0.2, up[1]), (left + 0.2, up[3]), (middle, up[2])]
            bare = ~_metal(frame, [(x, y, rail - 0.2) for x, y in places])
            assert sum(1 << k for k in range(7) if bare[k]) == SEVEN[c], (text, c)
            assert _metal(frame, [(x, y, rail - 0.5) for x, y in places]).all()
            left += engraving.DIGIT_MM + engraving.ROOM_MM


def _metal(body, points):
    return np.round(winding_numbers(body.mesh.corners(), np.array(points))) > 0


def test_thin_metal_stands_nowhere():
    """As deep under every face as the thinnest wall there is metal still."""
    frame = gauge()[0].mesh
    corners = frame.corners()
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    inward = corners.mean(axis=1) - normal * (BENCH.wall_floor_mm - 1e-6)
    step = max(1, len(inward) // 150)
    assert (np.round(winding_numbers(corners, inward[::step])) > 0).all()


@pytest.mark.parametrize(
    ("gaps", "layer", "words"),
    [
        ((), 0.05, "0 gaps do not work; give from 1 to 40"),
        ([0.1 + k / 1000 for k in range(MOST_STATIONS + 1)], 0.05, "41 gaps"),
        ((0.3, 0.04), 0.05, "0.04 mm does not work; give gaps from 0.05 to 1 mm"),
        ((1.001,), 0.05, "1.001 mm does not work"),
        ((float("nan"),), 0.05, "nan mm does not work"),
        ((0.25, 0.3, 0.25), 0.05, "0.25 mm is named twice"),
        ((0.2501,), 0.05, "three decimals at most: 0.250"),
        ((0.3,), 0.0, "a layer of 0 mm does not work"),
        ((0.3,), 1.5, "a layer of 1.5 mm does not work"),
    ],
)
def test_what_cannot_be_made_is_said(gaps, layer, words):
    with pytest.raises(BadInput, match=words):
        gauge(gaps, layer_mm=layer)


def test_the_ends_of_what_works_are_made():
    assert volume_mm3(gauge((LEAST_MM, WIDEST_MM), layer_mm=1.0)[0].mesh) > 0.0
    most = gauge([round(0.05 + k * 0.02, 3) for k in range(MOST_STATIONS)])
    assert facts(most[0].mesh).genus == 2 * MOST_STATIONS


@pytest.mark.parametrize("text", ["", "0,25", "0.2 mm", "-1"])
def test_what_cannot_be_engraved_is_said(text):
    with pytest.raises(BadInput, match="cannot be engraved; give digits"):
        engraving.strokes(text, 0.0, 0.0)
