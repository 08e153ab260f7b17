"""Where links stand: on lines, rings and curves, at equal chords, faces the right way, and what curves are refused."""

import re

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.solid.curves import spline

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 2.2, 12.2, 9.7, 0.4)
FINE = ChainSpec("curb", 0.8, 4.6, 3.6, 0.12)


def points(array) -> tuple:
    return tuple(map(tuple, np.asarray(array, dtype=float).tolist()))


def circle(radius: float, n: int = 64, wave: float = 0.0) -> np.ndarray:
    t = np.arange(n) * 2 * np.pi / n
    return np.stack((radius * np.cos(t), radius * np.sin(t), wave * np.sin(3 * t)), axis=1)


def on(curve, cyclic=True, **other) -> LayoutSpec:
    return LayoutSpec("curve", points=points(curve), cyclic=cyclic, **other)


def chords(chain) -> np.ndarray:
    p = chain.path.origins
    return np.linalg.norm((np.roll(p, -1, axis=0) - p) if chain.closed else np.diff(p, axis=0), axis=1)


def test_straight_chain_lies_centred_along_x_with_its_width_upright():
    chain = draft_chain(CURB, LayoutSpec("straight", links=5))
    np.testing.assert_allclose(chain.path.origins[:, 0], (np.arange(5) - 2) * chain.pitch_mm, atol=1e-12)
    np.testing.assert_allclose(chain.path.rotations[0], [[1, 0, 0], [0, 0, -1], [0, 1, 0]], atol=0)
    flat = draft_chain(CURB, LayoutSpec("straight", links=5, face="flat"))
    np.testing.assert_allclose(flat.path.rotations[3], np.eye(3), atol=0)


@pytest.mark.parametrize(("face", "rolls"), [("out", (-45, 45)), ("flat", (0, 90))])
def test_turned_families_are_rolled_to_both_sides_of_the_upright_or_laid_in_turn(face, rolls):
    chain = draft_chain(TRACE, LayoutSpec("ring", links=30, face=face))
    for k, body in enumerate(chain.bodies):
        roll = chain.path.rotations[k].T @ body.pose.rotation
        angle = np.degrees(np.arctan2(roll[2, 1], roll[1, 1]))
        # A half turn about its axis carries a link into itself.
        assert (angle - rolls[k % 2] + 90) % 180 == pytest.approx(90, abs=1e-9)
        assert roll[0, 0] == pytest.approx(1)


@pytest.mark.parametrize("face", ["out", "flat"])
@pytest.mark.parametrize(
    "layout",
    [
        LayoutSpec("ring", links=30),
        LayoutSpec("straight", links=9),
        on(circle(65)),
        on(circle(65, wave=6.0)),
        on([[0, 0, 0], [60, 30, 5], [120, -20, 30], [190, 0, 0]], cyclic=False),
    ],
)
@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_poses_are_rigid_and_chords_equal_the_pitch(spec, layout, face):
    chain = draft_chain(spec, LayoutSpec(**{**{k: getattr(layout, k) for k in layout.__slots__}, "face": face}))
    for body in chain.bodies:
        np.testing.assert_allclose(body.pose.rotation.T @ body.pose.rotation, np.eye(3), atol=1e-12)
        assert np.linalg.det(body.pose.rotation) == pytest.approx(1)
    np.testing.assert_allclose(chords(chain), chain.pitch_mm, atol=1e-8)
    assert chain.closed == layout.cyclic or layout.shape == "ring"
    assert len(chain.joints) == len(chain.bodies) - (not chain.closed)
    assert all(a < b for a, b in chain.joints)


@pytest.mark.parametrize("way", [1, -1])
def test_a_level_closed_curve_carries_faces_outward_and_width_upright_whichever_way_it_was_drawn(way):
    chain = draft_chain(CURB, on(circle(65)[::way]))
    outward = chain.path.origins / np.linalg.norm(chain.path.origins, axis=1)[:, None]
    np.testing.assert_allclose(chain.path.rotations[:, :, 2], outward, atol=1e-3)
    np.testing.assert_allclose(chain.path.rotations[:, :, 1], np.broadcast_to([0, 0, 1], outward.shape), atol=1e-12)


def test_a_closed_curve_begins_at_its_first_point_whichever_way_it_was_drawn():
    for curve in (circle(65), np.roll(circle(65)[::-1], 1, axis=0)):
        chain = draft_chain(CURB, on(curve))
        np.testing.assert_allclose(chain.path.origins[0], (65, 0, 0), atol=1e-9)


def test_laid_flat_the_face_looks_up():
    chain = draft_chain(CURB, on(circle(65), face="flat"))
    np.testing.assert_allclose(chain.path.rotations[:, 2, 2], 1, atol=1e-12)


def test_links_point_along_the_chord_of_their_neighbours():
    chain = draft_chain(CURB, on(circle(65, wave=8.0)))
    p = chain.path.origins
    span = np.roll(p, -1, axis=0) - np.roll(p, 1, axis=0)
    np.testing.assert_allclose(chain.path.rotations[:, :, 0], span / np.linalg.norm(span, axis=1)[:, None], atol=1e-12)


def test_a_closed_curve_in_space_spreads_its_turn_over_all_joints():
    """No joint twists much more than another: the seam is no step."""
    t = np.arange(120) * 2 * np.pi / 120
    knot = np.stack((90 * np.cos(t), 70 * np.sin(t), 40 * np.cos(2 * t) + 25 * np.sin(t)), axis=1)
    chain = draft_chain(CURB, on(knot))
    frames = chain.path.rotations
    joint = np.einsum("nij,nik->njk", frames, np.roll(frames, -1, axis=0))
    twist = np.degrees(np.arctan2(joint[:, 2, 1] - joint[:, 1, 2], joint[:, 1, 1] + joint[:, 2, 2]))
    assert np.ptp(twist) < 0.5
    assert abs(twist).max() < 90 / len(frames) + 0.5


def test_an_open_curve_takes_as_many_links_as_fit_and_centres_them():
    length = 300.0
    chain = draft_chain(CURB, on([[0, 0, 0], [length, 0, 0]], cyclic=False))
    x = chain.path.origins[:, 0]
    assert chain.links == int((length - 12.2) / chain.pitch_mm) + 1
    assert x[0] - 6.1 == pytest.approx(length - (x[-1] + 6.1), abs=1e-5)
    assert x[0] - 6.1 >= 0
    assert chain.pitch_mm == chain.fits[0].best_mm


def test_a_number_of_links_is_laid_from_the_start_of_an_open_curve():
    chain = draft_chain(CURB, on([[0, 0, 0], [300, 0, 0]], cyclic=False, links=10))
    assert chain.links == 10
    assert chain.path.origins[0, 0] == pytest.approx(6.1)
    with pytest.raises(
        CannotBuild, match=r"60 links take 418\.\d mm of the curve, which is 300.0 mm long; 42 links fit"
    ):
        draft_chain(CURB, on([[0, 0, 0], [300, 0, 0]], cyclic=False, links=60))


def test_a_length_on_an_open_curve_is_the_hanging_one():
    chain = draft_chain(CURB, on([[0, 0, 0], [300, 0, 0]], cyclic=False, length_mm=200.0))
    assert chain.worn_length_mm == pytest.approx(200, abs=3.9)


def test_a_closed_curve_takes_the_number_with_the_widest_smallest_gap():
    layout = on(circle(65, wave=6.0))
    chain = draft_chain(CURB, layout)
    low, high = chain.pitch_interval_mm
    assert low <= chain.pitch_mm <= high
    for n in (chain.links - 1, chain.links + 1):
        other = draft_chain(CURB, on(circle(65, wave=6.0), links=n))
        assert other.smallest_gap_mm <= chain.smallest_gap_mm + 1e-9


def test_a_closed_curve_takes_the_number_nearest_to_a_worn_length_when_one_is_asked_for():
    chain = draft_chain(CURB, on(circle(65), inner_length_mm=430.0))
    assert chain.worn_inner_length_mm == pytest.approx(430, abs=4)
    assert chain.links == 57


def test_links_that_cannot_close_a_curve_name_the_curve_that_would():
    with pytest.raises(CannotBuild, match=r"make the curve ([\d.]+) to ([\d.]+) mm long") as caught:
        draft_chain(CURB, on(circle(65), links=70))
    low, high = map(float, re.search(r"curve ([\d.]+) to ([\d.]+) mm long", str(caught.value)).groups())
    middle = (low + high) / 2 / (2 * np.pi)
    assert draft_chain(CURB, on(circle(middle), links=70)).links == 70


def test_a_curve_no_whole_number_closes_names_the_lengths_below_and_above():
    tight = ChainSpec("trace", 0.5, 8.0, 6.0, 1.85)
    with pytest.raises(CannotBuild, match="no whole number of links closes this curve") as caught:
        draft_chain(tight, on(circle(6.2)))
    ways = re.findall(r"([\d.]+) mm \((\d+) links\)", str(caught.value))
    assert len(ways) == 2
    assert float(ways[0][0]) < 2 * np.pi * 6.2 < float(ways[1][0])


def test_a_curve_bent_too_tightly_says_where_and_what_radius_would_do():
    hairpin = [[0, 0, 0], [60, 0, 0], [66, 4, 0], [66, 10, 0], [60, 14, 0], [0, 14, 0]]
    with pytest.raises(CannotBuild, match="bends too tightly near") as caught:
        draft_chain(CURB, on(hairpin, cyclic=False))
    x, y = map(float, re.search(r"near \(([-\d.]+), ([-\d.]+),", str(caught.value)).groups())
    assert x > 55
    assert -1 < y < 15
    radius = float(re.search(r"needs ([\d.]+) mm or more", str(caught.value)).group(1))
    gentle = draft_chain(CURB, on(circle(radius + 0.2)[:48], cyclic=False))
    assert gentle.smallest_gap_mm >= 0.4
    sharper = draft_chain(CURB, on(circle(radius - 1)[:48], cyclic=False))
    assert sharper.smallest_gap_mm < 0.4


def test_a_curve_that_comes_back_to_itself_shows_in_the_smallest_gap():
    t = np.arange(80) * 2 * np.pi / 80
    eight = np.stack((120 * np.sin(t), 60 * np.sin(2 * t), 0 * t), axis=1)
    chain = draft_chain(CURB, on(eight))
    assert chain.smallest_gap_mm < 0
    a, b = (int(name.split()[1]) for name in chain.smallest_gap_between)
    assert abs(a - b) > 2


def test_doubling_back_is_refused():
    with pytest.raises(CannotBuild, match=r"layout.points"):
        draft_chain(CURB, on([[0, 0, 0], [100, 0, 0], [0, 0.5, 0]], cyclic=False))


@pytest.mark.parametrize(
    ("curve", "cyclic", "text"),
    [
        ([], False, "the curve has no points"),
        ([[0, 0, 0]], False, "the curve has no length"),
        ([[0, 0, 0], [0, 0, 0]], False, "the curve has no length"),
        ([[0, 0, 0], [9, 0, 0], [9, 0, 0], [20, 0, 0]], False, "points 2 and 3 are the same place"),
        ([[0, 0, 0], [float("nan"), 0, 0]], False, "point 2 has a coordinate that is not a number"),
        ([[0, 0, 0], [float("inf"), 0, 0]], False, "point 2 has a coordinate that is not a number"),
        ([[0, 0, 0], [1e9, 0, 0]], False, "1e+09 mm away"),
        ([[0, 0, 0], [90, 0, 0]], True, "2 points do not make a closed curve"),
        ([[0, 0], [90, 0]], False, "every point must be [x, y, z]"),
        ([[0, 0, 0], [90000, 0, 0]], False, "give a curve for up to 5000"),
        (circle(9000), True, "give a curve for up to 5000"),
    ],
)
def test_curves_that_cannot_be_used_are_named(curve, cyclic, text):
    layout = LayoutSpec("curve", points=tuple(map(tuple, curve)), cyclic=cyclic)
    with pytest.raises(BadInput, match=re.escape(text)):
        draft_chain(CURB, layout)


def test_a_curve_shorter_than_two_links_says_both_lengths():
    with pytest.raises(CannotBuild, match=r"15.0 mm long, shorter than two links, which take 19.1 mm"):
        draft_chain(CURB, on([[0, 0, 0], [15, 0, 0]], cyclic=False))


def test_a_first_point_repeated_at_the_end_is_the_same_closed_curve():
    ring = circle(65)
    again = draft_chain(CURB, on(np.concatenate((ring, ring[:1]))))
    np.testing.assert_allclose(again.path.origins, draft_chain(CURB, on(ring)).path.origins, atol=1e-9)


@pytest.mark.parametrize("cyclic", [True, False])
def test_the_spline_passes_every_point_and_turns_no_corner(cyclic):
    rng = np.random.default_rng(5)
    given = np.cumsum(rng.normal(size=(12, 3)) * [8, 8, 2], axis=0)
    line = spline(given, cyclic=cyclic, where="p")
    walked = np.interp(np.arange(12), line.knots, line.lengths)
    np.testing.assert_allclose(line.at(walked), given, atol=1e-9)
    sides = [line.at(walked[1:-1] + h) - line.at(walked[1:-1] + h - 1e-6) for h in (0.0, 1e-6)]
    np.testing.assert_allclose(*(side / np.linalg.norm(side, axis=1)[:, None] for side in sides), atol=1e-4)


def test_the_spline_walks_at_even_speed():
    line = spline(circle(30, 9), cyclic=True, where="p")
    walked = np.linspace(0, line.length_mm, 4001)
    step = np.linalg.norm(np.diff(line.at(walked), axis=0), axis=1)
    np.testing.assert_allclose(step, line.length_mm / 4000, rtol=2e-3)


def test_moving_a_curve_moves_its_chain():
    curve = circle(65, wave=6.0)
    one, other = draft_chain(CURB, on(curve)), draft_chain(CURB, on(curve + np.array([5, -3, 40])))
    np.testing.assert_allclose(
        other.path.origins - one.path.origins, np.broadcast_to([5, -3, 40], (one.links, 3)), atol=1e-6
    )


def test_same_input_gives_the_same_chain():
    one, other = (draft_chain(FINE, on(circle(30, wave=2.0))) for _ in range(2))
    assert one.pitch_mm == other.pitch_mm
    assert np.array_equal(one.path.rotations, other.path.rotations)


FIGARO = ChainSpec("figaro", 1.6, 10.0, 8.6, 0.25)
WEAVE = ChainSpec("weave", 1.2, 9.7, 9.7, 0.3)


@pytest.mark.parametrize("spec", [FIGARO, WEAVE])
def test_a_closed_curve_takes_whole_repeats_with_all_pitches_in_one_proportion(spec):
    chain = draft_chain(spec, on(circle(80, wave=4.0)))
    assert chain.closed
    assert chain.links % len(chain.pattern.places) == 0
    shares = [fit.pitch_mm / fit.best_mm for fit in chain.fits]
    np.testing.assert_allclose(shares, shares[0], rtol=1e-12)
    for fit in chain.fits:
        assert fit.interval_mm[0] <= fit.pitch_mm <= fit.interval_mm[1]
    stations = chain.path.origins[np.unique(chain.row.station, return_index=True)[1]]
    step = np.linalg.norm(np.roll(stations, -1, axis=0) - stations, axis=1)
    np.testing.assert_allclose(step, np.array([fit.pitch_mm for fit in chain.fits])[chain.row.joint], atol=1e-8)


def test_links_that_are_no_whole_repeats_do_not_close_a_curve():
    places = len(draft_chain(FIGARO, LayoutSpec("straight", links=12)).pattern.places)
    with pytest.raises(BadInput, match=r"do not close, being no whole number of repeats of \d+; give (\d+) or (\d+)"):
        draft_chain(FIGARO, on(circle(80), links=10 * places + 1))


def test_neighbours_turned_by_90_degrees_close_a_curve_in_twos_by_rule_and_in_odd_numbers_when_asked():
    assert draft_chain(TRACE, on(circle(65))).links % 2 == 0
    odd = draft_chain(TRACE, on(circle(65), links=61))
    assert odd.links == 61
    rolls = np.array([p.T @ b.pose.rotation for p, b in zip(odd.path.rotations, odd.bodies, strict=True)])
    step = np.einsum("nij,nik->njk", rolls, np.roll(rolls, -1, axis=0))
    turn = np.degrees(np.arctan2(step[:, 2, 1], step[:, 1, 1])) % 180
    np.testing.assert_allclose(turn, turn[0], atol=1e-9)


@pytest.mark.parametrize("ends", ["open", "cover"])
def test_a_chain_left_open_on_a_closed_curve_goes_round_once_and_leaves_its_seam(ends):
    chain = draft_chain(CURB, on(circle(65), ends=ends))
    origins = chain.path.origins[: chain.links]
    step = np.linalg.norm(np.diff(origins, axis=0), axis=1)
    np.testing.assert_allclose(step, chain.pitch_mm, atol=1e-8)
    low, high = chain.pitch_interval_mm
    assert low <= chain.pitch_mm <= high
    seam = np.linalg.norm(origins[0] - origins[-1])
    assert seam > 12.2
    radius = np.linalg.norm(origins, axis=1)
    np.testing.assert_allclose(radius, 65.0, atol=0.01)
    turned = np.unwrap(np.arctan2(origins[:, 1], origins[:, 0]))
    assert turned[-1] - turned[0] + 2 * np.arcsin(seam / 130) == pytest.approx(2 * np.pi, abs=1e-3)
    assert (0, chain.links - 1) not in chain.joints


def test_a_closed_curve_can_leave_room_for_a_closure():
    bare = draft_chain(CURB, on(circle(65), ends="open"))
    clasped = draft_chain(CURB, on(circle(65), ends="open", clasp="ring-bar"))
    assert clasped.links < bare.links
    assert len(clasped.bodies) == clasped.links + 2
    assert clasped.smallest_gap_mm >= CURB.gap_mm
    assert clasped.worn_inner_length_mm is not None


@pytest.mark.parametrize("shape", ["spiral", "coil", "serpentine"])
def test_the_same_length_takes_the_same_links_wound_up_as_straight(shape):
    straight = draft_chain(CURB, LayoutSpec("straight", length_mm=300.0))
    wound = draft_chain(CURB, LayoutSpec(shape, length_mm=300.0))
    assert wound.links == straight.links
    assert wound.worn_length_mm == straight.worn_length_mm
    assert wound.fits == straight.fits
    assert not wound.closed
    assert wound.smallest_gap_mm >= CURB.gap_mm - 1e-6


@pytest.mark.parametrize("shape", ["spiral", "coil", "serpentine"])
def test_a_wound_chain_keeps_the_gap_on_its_own_meshes(shape):
    spec = ChainSpec("box", 1.6, 9.0, 8.4, 0.3, chord_mm=0.06)
    chain = finish(build_chain(spec, LayoutSpec(shape, links=16)))
    assert chain.verified
    assert chain.smallest_gap_mm >= 0.3 - 1e-6


@pytest.mark.parametrize("shape", ["spiral", "coil", "serpentine"])
def test_a_tapered_chain_is_wound_too(shape):
    spec = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, end_wire_mm=1.6, end_link_length_mm=9.0, end_link_width_mm=7.2)
    chain = draft_chain(spec, LayoutSpec(shape, links=24))
    assert chain.links == 24
    assert chain.smallest_gap_mm >= 0.4 - 1e-6


@pytest.mark.parametrize("family", ["curb", "trace", "belcher", "figaro", "anchor", "box", "rope", "weave"])
def test_every_family_is_wound_into_a_coil(family):
    sizes = {"rope": (1.2, 9.7, 9.7), "weave": (1.2, 9.7, 9.7)}.get(family, (1.6, 11.0, 9.0))
    chain = draft_chain(ChainSpec(family, *sizes, 0.25), LayoutSpec("coil", links=24))
    assert chain.smallest_gap_mm >= 0.25 - 1e-6
