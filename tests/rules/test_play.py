"""Free play: the figures seen, closed forms, no contact jumped, the best slide the best; and what is found by it."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain
from addon.rules.chain.families import draw
from addon.rules.chain.link import columns, link_of
from addon.rules.chain.motion import CONTACT_MM, Motions, best_slide, first_contact, metal_of
from addon.rules.chain.path import Path
from addon.rules.chain.pattern import alike
from addon.rules.chain.play import free_play
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of
from addon.rules.inspect.play import play_findings
from addon.rules.solid.distance import pair_gap, prepare
from addon.rules.solid.mesh import IDENTITY, Pose
from addon.rules.solid.posed import posable, posed_gaps
from tests.gap_shapes import turn_about
from tests.straight_chains import curb, straight_chain

ACROSS, NORMAL = (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
COARSE = curb(chord_mm=0.2)


def played(chain):
    return finish(free_play(chain))


@pytest.fixture(scope="module")
def coarse():
    chain = straight_chain(COARSE, [6.8])
    return chain, played(chain)


# --- the figures


def test_the_curb_seen_beforehand():
    """Seen on fine meshes: 41.5 degrees over the face about the middle of the joint, 44.5 at the best slide."""
    joint = played(straight_chain(curb(chord_mm=0.005), [6.8], links=2)).joints[0]
    assert joint.bend_y_deg[1] == pytest.approx(41.5, abs=0.15)
    assert joint.best_bend_y_deg[1] == pytest.approx(44.5, abs=0.4)
    assert joint.best_bend_y_deg[1] >= 44.5


def test_round_rings_square_to_each_other_slide_as_the_closed_form_says():
    """Rings R, wire r, in planes at right angles whose common line holds both centres, s apart.

    Pulled apart they touch at s = 2 (R - r), pushed together at s = 2 r, when R is more than that.
    """
    ring, wire, pitch = 5.0, 1.2, 6.0

    def circle(t):
        c, s = ring * np.cos(t), ring * np.sin(t)
        return columns(c, s, 0 * t), columns(-s, c, 0 * t), columns(-c, -s, 0 * t)

    size = 2 * ring + wire
    link = link_of(circle, wire_mm=wire, length_mm=size, width_mm=size)
    spec = ChainSpec("trace", wire, size, size, 0.4, chord_mm=0.01)
    chain = straight_chain(spec, [pitch], pattern=alike(link, turn_deg=90.0), links=4)
    joint = played(chain).joints[0]
    assert joint.slide_mm == pytest.approx((2 * ring - wire - pitch, wire - pitch), abs=0.02)


def test_a_curb_bends_alike_both_ways_but_twists_more_one_way(coarse):
    joint = coarse[1].joints[0]
    for low, high in (joint.bend_y_deg, joint.bend_z_deg, joint.best_bend_y_deg, joint.best_bend_z_deg):
        assert -low == pytest.approx(high, abs=0.1)
    assert -joint.twist_deg[0] > 2 * joint.twist_deg[1]
    assert joint.slide_mm[0] > 0 > joint.slide_mm[1]


def test_the_same_chain_plays_the_same_twice(coarse):
    assert played(straight_chain(COARSE, [6.8])) == coarse[1]


# --- no contact jumped, and contact where it is told


@pytest.mark.parametrize("axis", [ACROSS, NORMAL])
def test_free_all_the_way_and_in_contact_just_beyond(coarse, axis):
    chain, play = coarse
    joint = play.joints[0]
    low, high = joint.bend_y_deg if axis is ACROSS else joint.bend_z_deg
    ready = prepare(chain.bodies[0].mesh)

    def gap(degrees):
        turn = turn_about(axis, np.radians(degrees))
        middle = np.array([3.4, 0.0, 0.0])
        return pair_gap(ready, IDENTITY, ready, Pose(turn, turn @ middle + middle)).gap_mm

    assert min(gap(degrees) for degrees in np.linspace(low, high, 30)) > 0
    assert gap(low - 0.1) == 0
    assert gap(high + 0.1) == 0


def test_a_bend_at_a_slide_is_the_bend_at_that_pitch_and_none_beats_the_best(coarse):
    joint = coarse[1].joints[0]
    assert joint.best_bend_y_deg[1] > joint.bend_y_deg[1] + 1
    at_best = played(straight_chain(COARSE, [6.8 + joint.best_slide_y_mm[1]], links=2)).joints[0]
    assert at_best.bend_y_deg[1] == pytest.approx(joint.best_bend_y_deg[1], abs=0.1)
    for slide in (0.25, 0.5):
        other = played(straight_chain(COARSE, [6.8 + slide], links=2)).joints[0]
        assert other.bend_y_deg[1] <= joint.best_bend_y_deg[1] + 0.1
        assert other.bend_z_deg[1] <= joint.best_bend_z_deg[1] + 0.1
        assert other.slide_mm[0] == pytest.approx(joint.slide_mm[0] - slide, abs=0.01)


def test_a_joint_that_touches_where_it_lies_straight_starts_at_the_nearest_slide_that_frees_it(coarse):
    out = coarse[1].joints[0].slide_mm[0]
    joint = played(straight_chain(COARSE, [6.8 + out + 0.2], links=2)).joints[0]
    assert joint.slide_mm[0] == pytest.approx(-0.2, abs=0.01)
    assert joint.best_bend_y_deg[1] == pytest.approx(coarse[1].joints[0].best_bend_y_deg[1], abs=0.2)


def obstacle(places, width):
    """Gaps of points that move along a line past short obstacles."""

    def gaps(rows, gone):
        return np.abs(gone - np.asarray(places)[rows]) - width

    return gaps


def motions(gaps, count, *, limit=10.0, group=None):
    ones = np.ones(count)
    group = np.arange(count) if group is None else np.array(group)

    def least(gone):
        found = gaps(np.arange(count), gone[group])
        return np.array([found[group == number].min() for number in range(group.max() + 1)])

    return Motions(gaps, least, ones, limit * ones, 1e-3 * ones, group)


def test_a_thin_obstacle_is_not_jumped():
    ends = finish(first_contact(motions(obstacle([1.0, 7.77, 99.0], 0.01), 3)))
    np.testing.assert_allclose(ends[:2], [0.99, 7.76], atol=2e-3)
    assert ends[2] == np.inf


def test_a_near_miss_is_no_contact():
    ends = finish(first_contact(motions(obstacle([1.0, 5.0], -10 * CONTACT_MM), 2)))
    assert (ends == np.inf).all()


def test_obstacles_side_by_side_are_met_in_their_turn():
    """Many steps are looked at together: what lies behind the first contact plays no part."""
    places = np.sort(np.random.default_rng(5).uniform(0.5, 9.0, (40, 6)), axis=1)

    def gaps(rows, gone):
        return np.abs(places[rows] - gone[:, None]).min(axis=1) - 0.02

    ends = finish(first_contact(motions(gaps, len(places))))
    assert (ends <= places[:, 0] - 0.02 + CONTACT_MM).all()
    assert (ends > places[:, 0] - 0.02 - 2e-3).all()


def test_contact_from_the_start_and_the_shortest_way_of_a_group():
    ends = finish(first_contact(motions(obstacle([0.0, 3.0, 2.0, 5.0], 0.1), 4, group=[0, 1, 1, 1])))
    assert ends[0] == 0.0
    assert ends[1] == pytest.approx(1.9, abs=2e-3)


def test_shares_of_the_work_done_rise_to_no_more_than_all():
    shares = list(free_play(straight_chain(COARSE, [6.8], links=2)))
    assert all(0.0 <= share <= 1.0 for share in shares)
    assert shares[-1] > shares[0]


@pytest.mark.parametrize("peak", [-1.1, -0.05, 0.4])
def test_the_ridge_of_a_gap_is_climbed_to_its_end(peak):
    """A gap that closes by 1 mm a radian, and off the ridge by 2 and 3 mm a millimetre: the peak is at 0.8 radians."""

    def gaps(_, slides, bends):
        aside = slides - peak
        return 0.8 - bends - np.where(aside > 0, 3 * aside, -2 * aside)

    one = np.ones(1)
    unslid = np.maximum(gaps(None, 0 * one, 0 * one), 0.0)
    at = finish(best_slide(gaps, -2 * one, 0.9 * one, unslid, unslid, 3.0))
    assert at[0] == pytest.approx(peak, abs=0.02)


# --- what metal promises


@pytest.mark.parametrize(
    "spec",
    [
        COARSE,
        curb(chord_mm=0.2, facet_mm=0.4),
        curb(chord_mm=0.2, wire_mm=1.2, strands=2),
        ChainSpec("box", 1.2, 9.0, 8.0, 0.3, section="rectangle", wire_width_mm=3.0, chord_mm=0.2),
        ChainSpec("belcher", 1.8, 12.2, 9.7, 0.3, section="D", wire_width_mm=2.6, chord_mm=0.2),
        ChainSpec("anchor", 2.0, 17.0, 11.0, 0.3, chord_mm=0.2),
    ],
    ids=["round", "facets", "two strands", "rectangle", "D", "stud"],
)
def test_gaps_of_metal_are_never_more_than_those_of_the_meshes(spec):
    pattern = draw(spec)
    mesh = meshes_of(pattern.links[:1], spec.chord_mm)[0][0]
    metal = metal_of(pattern.links, {0: mesh})
    rng = np.random.default_rng(11)
    count = 200
    turns = np.array(
        [
            turn_about(axis, angle)
            for axis, angle in zip(rng.normal(size=(count, 3)), rng.normal(size=count), strict=True)
        ]
    )
    shift = rng.normal(size=(count, 3)) * [0.45 * spec.link_length_mm, 0.5, 0.5] + [0.4 * spec.link_length_mm, 0, 0]
    none = np.zeros(count, dtype=int)
    found = metal.gaps(none, none, turns, shift)
    solid = posable(mesh)
    real = posed_gaps(solid, solid, turns, shift)[0]
    assert (real == 0).sum() > 10
    assert (real > 0.1).sum() > 10
    assert (found <= real + 1e-9).all()
    np.testing.assert_array_equal(found <= CONTACT_MM, real <= CONTACT_MM)
    group = np.arange(count) // 5
    least = metal.least_gaps(none, none, turns, shift, group)
    np.testing.assert_allclose(least, found.reshape(-1, 5).min(axis=1), rtol=0.3 / 0.7, atol=1e-9)


# --- kinds of joint


def test_neighbours_turned_in_turn_are_one_kind_of_joint():
    play = played(straight_chain(ChainSpec("trace", 2.0, 12.0, 8.0, 0.4, chord_mm=0.25), [7.0], face="out"))
    assert [joint.name for joint in play.joints] == ["link to link"]


def test_a_figaro_has_three_kinds_of_joint_named_apart():
    spec = ChainSpec("figaro", 1.5, 8.0, 6.5, 0.3, long_link_mm=13.0, chord_mm=0.25)
    joints = played(straight_chain(spec, [4.4, 6.6], links=8)).joints
    assert len({joint.name for joint in joints}) == 3
    assert {joint.of for joint in joints} == {("link 1", "link 2"), ("link 3", "link 4"), ("link 4", "link 5")}
    onto, off = joints[1], joints[2]
    # The long link between two short ones is alike at both ends.
    assert onto.bend_y_deg[1] == pytest.approx(off.bend_y_deg[1], abs=0.2)


def test_a_rope_plays_with_the_next_and_the_one_after():
    spec = ChainSpec("rope", 1.2, 12.0, 12.0, 0.3, chord_mm=0.25)
    chain = finish(build_chain(spec, LayoutSpec("straight", links=12)))
    play = played(chain)
    assert [joint.name for joint in play.joints] == [chain.fits[0].name, f"{chain.fits[0].name}, 2 on"]
    assert [joint.of for joint in play.joints] == [("link 1", "link 2"), ("link 1", "link 3")]
    assert np.isfinite(play.least_radius_mm).all()


def test_a_tapered_chain_shows_its_first_middle_and_last_joint():
    spec = curb(chord_mm=0.2, end_link_width_mm=8.0, end_link_length_mm=10.0, end_wire_mm=1.8)
    chain = finish(build_chain(spec, LayoutSpec("straight", links=10)))
    play = played(chain)
    assert [joint.of for joint in play.joints] == [
        ("link 1", "link 2"),
        ("link 5", "link 6"),
        ("link 9", "link 10"),
    ]
    assert play_findings(chain, play) == ()


# --- the tightest even curve


def smallest_on_a_circle(mesh, radius, pitch, over_face):
    """The smallest gap of four links on a circle through their centres."""
    ready = prepare(mesh)
    bend = 2 * np.arcsin(pitch / (2 * radius))
    axis, centre = (ACROSS, np.array([0.0, 0.0, -radius])) if over_face else (NORMAL, np.array([0.0, radius, 0.0]))
    turns = [turn_about(axis, k * bend) for k in range(4)]
    return min(
        pair_gap(ready, IDENTITY, ready, Pose(turn, centre - turn @ centre), range_mm=5.0).gap_mm for turn in turns[1:]
    )


@pytest.mark.parametrize("way", [0, 1])
def test_a_chain_lies_on_the_tightest_curve_and_on_none_tighter(coarse, way):
    """Looked for again with pitches side by side: none is free on a circle a little tighter."""
    chain, play = coarse
    wide = replace(chain, fits=(replace(chain.fits[0], pulled_mm=7.8, pushed_mm=6.05),))
    radius = played(wide).least_radius_mm[way]
    assert radius < play.least_radius_mm[way]  # Where the pitches are not known, none but the printed one is tried.
    pitches = np.linspace(6.2, 7.8, 17)

    def widest(r):
        return max(smallest_on_a_circle(chain.bodies[0].mesh, r, pitch, over_face=way == 0) for pitch in pitches)

    assert widest(1.03 * radius) > 0
    assert widest(0.97 * radius) == 0


# --- findings


@pytest.fixture(scope="module")
def bracelet():
    chain = finish(build_chain(curb(chord_mm=0.2), LayoutSpec("ring", inner_length_mm=186.0)))
    return chain, played(chain)


def bent(chain, degrees, axis):
    """The same chain, told to be laid with every joint bent so far."""
    turns = np.array([turn_about(axis, np.radians(k * degrees)) for k in range(len(chain.bodies))])
    return replace(chain, path=Path(chain.path.origins, chain.path.rotations @ turns, closed=False))


def test_a_bracelet_with_room_to_bend_is_fine(bracelet):
    assert play_findings(*bracelet) == ()


def test_a_chain_worn_tighter_than_it_bends_is_stopped_and_told_what_works(bracelet):
    chain, play = bracelet
    (finding,) = play_findings(replace(chain, worn_inner_length_mm=25.0), play)
    assert (finding.code, finding.severity) == ("free-play", "stop")
    assert finding.value < finding.limit == pytest.approx(play.least_radius_mm[0])
    least = float(finding.text.split("at least ")[1].split(" mm inside")[0])
    assert play_findings(replace(chain, worn_inner_length_mm=least + 1), play) == ()
    assert play_findings(replace(chain, worn_inner_length_mm=least - 1), play) != ()


@pytest.mark.parametrize(("axis", "way"), [(ACROSS, "over the face"), (NORMAL, "edgewise")])
def test_a_layout_that_bends_a_joint_too_far_is_stopped(coarse, axis, way):
    chain, play = coarse
    best = play.joints[0].best_bend_y_deg if axis is ACROSS else play.joints[0].best_bend_z_deg
    assert play_findings(bent(chain, best[1] - 0.5, axis), play) == ()
    assert play_findings(bent(chain, best[0] + 0.5, axis), play) == ()
    for degrees in (best[1] + 3.0, best[0] - 3.0):
        (finding,) = play_findings(bent(chain, degrees, axis), play)
        assert (finding.code, finding.severity, finding.bodies) == ("free-play", "stop", ("link 1", "link 2"))
        assert finding.value - finding.limit == pytest.approx(3.0, abs=1e-6)
        assert way in finding.text
        assert "3.0 too few" in finding.text
        assert finding.at == pytest.approx((-20.4, 0.0, 0.0))


def test_a_chain_whose_links_meet_at_once_is_told_so(coarse):
    chain, play = coarse
    stiff = replace(play, least_radius_mm=(np.inf, np.inf))
    (finding,) = play_findings(replace(chain, worn_inner_length_mm=186.0), stiff)
    assert "meet at once" in finding.text
