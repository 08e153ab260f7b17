"""Fit: figures computed independently by sampled centrelines, laws that hold, and what is said when nothing fits."""

import re
from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.chain import closure
from addon.rules.chain.build import draft_chain
from addon.rules.chain.families import draw
from addon.rules.chain.fit import fit, fit_alike, reach, widest
from addon.rules.chain.lengths import inner_length, rings
from addon.rules.chain.link import even_parameters
from addon.rules.chain.measure import drafting
from addon.rules.chain.own import own_sizes
from addon.rules.chain.row import stood
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.tubes import loops_of, tube_gaps, unlike_tube_gaps
from addon.rules.chain.uniform import are_linked, case_gaps, cases_of, even_of, uniform_gaps
from addon.rules.solid.linking import linking_number
from addon.rules.solid.posed import posable, posed_gaps

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 2.2, 12.2, 9.7, 0.4)
FIGARO = ChainSpec("figaro", 1.6, 10.0, 8.4, 0.25, long_link_mm=16.0)
ROPE = ChainSpec("rope", 1.2, 9.0, 9.0, 0.2)
WEAVE = ChainSpec("weave", 1.2, 9.0, 9.0, 0.25)
FACETED = replace(CURB, facet_mm=0.3)
BELCHER = ChainSpec("belcher", 1.4, 9.0, 9.0, 0.3, section="D")
BOX = ChainSpec("box", 1.2, 8.0, 7.0, 0.3)
ANCHOR = ChainSpec("anchor", 1.8, 14.0, 9.7, 0.3)
ROUND = [CURB, TRACE, FIGARO, ROPE, WEAVE]
MEASURED = [FACETED, BELCHER, BOX, ANCHOR]
RING = LayoutSpec("ring", links=30)


def named(spec):
    return spec.family + (" with facets" if spec.facet_mm else "")


def even(spec, face="out"):
    pattern = draw(spec)
    return even_of(pattern, drafting(pattern.links), face)


def cases(spec, face, bends, repeats=None):
    """Give the pairs of a chain with one type of joint, at bends (k,)."""
    bends = np.asarray(bends, dtype=float)
    number = None if repeats is None else np.full(len(bends), float(repeats))
    return cases_of(even(spec, face), 0, bends[:, None], np.zeros((len(bends), 1)), number)


def straight(spec, gap_mm, face="out"):
    laid = even(spec, face)
    return fit(laid, np.zeros(laid.types), gap_mm)


def plain_gap(link, rotation, shift, samples=1440):
    """The slow twin: the smallest distance of two densely sampled centrelines, less the wire."""
    loop = link.curve(even_parameters(samples))[0]
    other = loop @ rotation.T + shift
    return min(float(np.linalg.norm(other - p, axis=1).min()) for p in loop) - link.wire_mm


# Computed independently by sampled centrelines, to the digits given.
@pytest.mark.parametrize(
    ("pitch", "next_one", "next_but_one"),
    [(6.3, None, 0.40), (6.8, 0.598, 1.40), (7.5, 0.30, None), (7.8, 0.0, None)],
)
def test_straight_curb_gaps_are_those_computed_independently(pitch, next_one, next_but_one):
    link = draw(CURB).link
    shift = np.array([[pitch, 0, 0], [2 * pitch, 0, 0]])
    gap = tube_gaps(link, link, np.broadcast_to(np.eye(3), (2, 3, 3)), shift).gap_mm
    if next_one is not None:
        assert gap[0] == pytest.approx(next_one, abs=6e-4)
    if next_but_one is not None:
        assert gap[1] == pytest.approx(next_but_one, abs=6e-4)


def test_curb_ring_of_thirty_has_the_gap_computed_independently():
    gap = uniform_gaps(cases(CURB, "out", [2 * np.pi / 30], 30), np.array([[6.8]])).gap_mm
    assert gap[0, 0] == pytest.approx(0.488, abs=6e-4)


def test_curb_interval_and_best_pitch_are_those_to_steer_by():
    (found,) = straight(CURB, 0.3)
    assert found.gap_mm == pytest.approx(0.60, abs=1e-3)
    assert found.best_mm == pytest.approx(6.8, abs=0.1)
    assert found.low_mm == pytest.approx(6.3, abs=0.06)
    assert found.high_mm == pytest.approx(7.5, abs=0.01)
    assert found.pulled_mm == pytest.approx(7.8, abs=1e-4)


@pytest.mark.parametrize("seed", range(12))
def test_tube_gaps_agree_with_dense_samples(seed):
    """Dense samples can only lie above the exact distance, by the square of half their spacing over twice it."""
    rng = np.random.default_rng(seed)
    link = draw((CURB, TRACE)[seed % 2]).link
    rotation = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    rotation *= np.sign(np.linalg.det(rotation))
    shift = rng.uniform(3, 15) * np.array([1, 0, 0]) + rng.normal(size=3) * 2
    exact = float(tube_gaps(link, link, rotation[None], shift[None]).gap_mm[0])
    dense = plain_gap(link, rotation, shift)
    distance = exact + link.wire_mm
    assert exact <= dense + 1e-9
    assert dense - exact < 0.03**2 / max(distance, 0.02) + 1e-9


def test_unlike_links_measured_together_have_the_gaps_of_each_pair_alone():
    """The tables stand for the curves to within 1e-7 mm, so that is how near the two ways of measuring come."""
    rng = np.random.default_rng(3)
    links = [link for spec in (CURB, TRACE, FIGARO, ROPE, BOX) for link in draw(spec).links]
    a, b = rng.integers(0, len(links), (2, 250))
    rotation = np.linalg.qr(rng.normal(size=(250, 3, 3)))[0]
    shift = rng.normal(size=(250, 3)) * 6
    found = unlike_tube_gaps(loops_of(links), a, b, rotation, shift)
    for k in range(len(a)):
        alone = tube_gaps(links[a[k]], links[b[k]], rotation[k : k + 1], shift[k : k + 1])
        assert found.gap_mm[k] == pytest.approx(alone.gap_mm[0], abs=1e-7)
        # Where wires cross, or two places are equally near, the way between them is not settled.
        if np.linalg.norm(found.towards[k] - alone.towards[0]) > 1e-3:
            moved = tube_gaps(links[a[k]], links[b[k]], rotation[k : k + 1], shift[k : k + 1] + 1e-4 * found.towards[k])
            assert moved.gap_mm[0] - alone.gap_mm[0] < 0.9e-4


@pytest.mark.parametrize("spec", [CURB, FIGARO, BELCHER], ids=named)
def test_chains_of_several_sizes_are_fitted_together_as_each_alone(spec):
    sizes = [spec, replace(spec, wire_mm=0.9 * spec.wire_mm), replace(spec, wire_mm=0.8 * spec.wire_mm)]
    evens = [even(one) for one in sizes]
    bends = np.full((3, evens[0].types), 0.1) * np.array([[0.0], [1.0], [1.5]])
    for laid, bend, found in zip(evens, bends, fit_alike(evens, bends, 0.2), strict=True):
        for one, alone in zip(found, fit(laid, bend, 0.2), strict=True):
            assert one.gap_mm == pytest.approx(alone.gap_mm, abs=2e-6)
            figures = [getattr(one, key) for key in ("low_mm", "high_mm", "pushed_mm", "pulled_mm")]
            others = [getattr(alone, key) for key in ("low_mm", "high_mm", "pushed_mm", "pulled_mm")]
            assert figures == pytest.approx(others, abs=2e-3, nan_ok=True)


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("links", [np.inf, 40, 18])
@pytest.mark.parametrize("face", ["out", "flat"])
def test_fit_agrees_with_a_fine_scan_of_the_pitch(spec, links, face):
    bend = 2 * np.pi / links
    (found,) = fit(even(spec, face), np.array([bend]), 0.1)
    pitches = np.linspace(5, 8.5, 1401)
    gap = uniform_gaps(cases(spec, face, [bend]), pitches[None]).gap_mm[0]
    assert found.gap_mm >= gap.max() - 1e-6
    assert found.gap_mm <= gap.max() + 0.0025
    centre = int(np.searchsorted(pitches, found.best_mm))
    for floor, low, high in ((0.1, found.low_mm, found.high_mm), (0.0, found.pushed_mm, found.pulled_mm)):
        below = np.flatnonzero(gap < floor)
        assert pitches[below[below < centre].max()] == pytest.approx(low, abs=0.0026)
        assert pitches[below[below >= centre].min()] == pytest.approx(high, abs=0.0026)
        ends = uniform_gaps(cases(spec, face, [bend, bend]), np.array([[low], [high]])).gap_mm
        np.testing.assert_allclose(ends, floor, atol=1e-6)


def all_gaps(pattern, row, path):
    """Gaps of every pair of a row of round wire, negative where they overlap, by brute force."""
    rotations, origins = stood(row, path)
    a, b = np.triu_indices(len(origins), 1)
    near = np.linalg.norm(origins[a] - origins[b], axis=1) < 2 * max(link.reach_mm for link in pattern.links)
    a, b = a[near], b[near]
    back = rotations[a].transpose(0, 2, 1)
    turn, shift = back @ rotations[b], np.einsum("pij,pj->pi", back, origins[b] - origins[a])
    gap = np.empty(len(a))
    for one, other in np.unique(row.kind[np.stack((a, b), axis=1)], axis=0):
        mine = (row.kind[a] == one) & (row.kind[b] == other)
        gap[mine] = tube_gaps(pattern.links[one], pattern.links[other], turn[mine], shift[mine]).gap_mm
    return gap, np.stack((a, b), axis=1)


@pytest.mark.parametrize("spec", ROUND, ids=named)
@pytest.mark.parametrize(
    "layout",
    [LayoutSpec("straight", links=24), LayoutSpec("ring", links=60), LayoutSpec("ring", links=60, face="flat")],
)
def test_the_gap_of_the_fit_is_the_smallest_of_all_pairs_of_the_chain_laid_out(spec, layout):
    """Every pair of the whole chain, measured where it stands, against the few pairs the fit knew."""
    chain = draft_chain(spec, layout)
    gap, pairs = all_gaps(chain.pattern, chain.row, replace_path(chain))
    # Pitches and bends of several types of joint settle on each other to a ten thousandth of a mm.
    assert chain.smallest_gap_mm == pytest.approx(gap.min(), abs=1e-4)
    between = [int(name.split()[1]) - 1 for name in chain.smallest_gap_between]
    (mine,) = np.flatnonzero((pairs == sorted(between)).all(axis=1))
    assert gap[mine] == pytest.approx(gap.min(), abs=1e-4)


def replace_path(chain):
    """The path of the stations: that of the chain has one place for every body."""
    first = np.unique(chain.row.station, return_index=True)[1]
    return replace(chain.path, origins=chain.path.origins[first], rotations=chain.path.rotations[first])


@pytest.mark.parametrize("spec", ROUND, ids=named)
@pytest.mark.parametrize("layout", [LayoutSpec("straight", links=24), LayoutSpec("ring", links=60)])
def test_links_pass_through_those_they_should_and_no_others(spec, layout):
    chain = draft_chain(spec, layout)
    loops = [body.pose.apply(body.wire.centreline) for body in chain.bodies]
    linked = {(0, other) for other in range(1, len(loops)) if abs(linking_number(loops[0], loops[other])) > 0.5}
    assert linked == {pair for pair in chain.joints if 0 in pair}
    assert len(chain.joints) == len(set(chain.joints))


@pytest.mark.parametrize("spec", [CURB, FIGARO, ROPE], ids=named)
def test_no_other_pitch_of_a_straight_chain_leaves_a_wider_gap(spec):
    """Each type of joint moved alone, the earlier ones held: the gap of all pairs never gets wider."""
    chain = draft_chain(spec, LayoutSpec("straight", links=13))
    path = replace_path(chain)
    for kind in range(len(chain.fits)):
        for move in (-0.3, -0.05, 0.05, 0.3):
            chords = np.array([one.pitch_mm for one in chain.fits]) + move * (np.arange(len(chain.fits)) == kind)
            x = np.concatenate(([0.0], np.cumsum(chords[chain.row.joint])))
            moved = replace(path, origins=np.column_stack((x, 0 * x, 0 * x)))
            assert all_gaps(chain.pattern, chain.row, moved)[0].min() <= chain.smallest_gap_mm + 1e-6


def test_joint_types_are_fitted_one_after_the_other():
    (short, long) = straight(FIGARO, 0.25)
    (curb,) = straight(replace(FIGARO, family="curb", long_link_mm=None), 0.25)
    assert short.best_mm == pytest.approx(curb.best_mm, abs=1e-4)
    assert short.gap_mm == pytest.approx(curb.gap_mm, abs=1e-5)
    assert long.best_mm > short.best_mm
    assert [one.name for one in draft_chain(FIGARO, LayoutSpec("straight", links=8)).fits] == list(draw(FIGARO).joints)


@pytest.mark.parametrize("spec", MEASURED, ids=named)
def test_fit_by_meshes_agrees_with_a_scan_of_their_gaps(spec):
    """A draft's own coarse meshes, measured at even steps of the pitch: what is read off lies near what is seen."""
    laid = even(spec)
    (found,) = fit(laid, np.zeros(1), 0.1)
    chain = cases(spec, "out", [0.0])
    pitches = np.linspace(found.pushed_mm - 0.1, found.pulled_mm + 0.1, 41)
    gap = case_gaps(chain, pitches[None])[0][:, 0].min(axis=0)
    assert found.gap_mm >= gap.max() - 0.05
    assert uniform_gaps(chain, np.array([[found.best_mm]])).gap_mm[0, 0] == pytest.approx(found.gap_mm, abs=1e-9)
    inside = (pitches > found.pushed_mm + 0.03) & (pitches < found.pulled_mm - 0.03)
    assert (gap[inside] > 0).all()
    assert (gap[(pitches < found.pushed_mm - 0.03) | (pitches > found.pulled_mm + 0.03)] == 0).all()
    kept = (pitches > found.low_mm + 0.03) & (pitches < found.high_mm - 0.03)
    assert (gap[kept] > 0.1 - 0.005).all()
    assert (gap[(pitches < found.low_mm - 0.03) | (pitches > found.high_mm + 0.03)] < 0.1 + 0.005).all()


def test_links_measured_by_meshes_fit_as_their_smooth_wires_do():
    """A link of round wire measured by its meshes, as if it were none: the two ways to measure give one fit."""
    from addon.rules.chain.measure import Measure
    from addon.rules.chain.sweep import meshes_of

    pattern = draw(replace(CURB, chord_mm=0.005))
    solids = tuple(posable(mesh) for mesh, _ in meshes_of(pattern.links, 0.005))
    (smooth,) = straight(CURB, 0.3)
    link = pattern.link
    for pitch in (6.2, 6.9, 7.5):
        exact = tube_gaps(link, link, np.eye(3)[None], np.array([[pitch, 0.0, 0.0]])).gap_mm[0]
        meshed = posed_gaps(solids[0], solids[0], np.eye(3)[None], np.array([[pitch, 0.0, 0.0]]))[0][0]
        assert exact - 1e-9 <= meshed <= exact + 0.02
    even_by_meshes = even_of(pattern, Measure(_unlike(pattern.links), solids, exact=True), "out")
    (meshed_fit,) = fit(even_by_meshes, np.zeros(1), 0.3)
    for figure in ("low_mm", "high_mm", "pushed_mm", "pulled_mm"):
        assert getattr(meshed_fit, figure) == pytest.approx(getattr(smooth, figure), abs=0.02)
    assert smooth.gap_mm - 1e-4 <= meshed_fit.gap_mm <= smooth.gap_mm + 0.02


@pytest.mark.parametrize("layout", [LayoutSpec("straight", links=20), RING])
def test_an_own_link_fits_as_the_family_it_was_taken_from(layout):
    """The mesh of a curb link as the maker's own, its guide found in the metal."""
    mesh = draft_chain(replace(CURB, chord_mm=0.05), layout).bodies[0].mesh
    wire, length, width = own_sizes(mesh)
    own = draft_chain(ChainSpec("mesh", wire, length, width, 0.3, own=mesh, turn_deg=0.0), layout)
    curb = draft_chain(CURB, layout)
    assert own.smallest_gap_mm == pytest.approx(curb.smallest_gap_mm, abs=0.03)
    assert own.fits[0].pulled_mm == pytest.approx(curb.fits[0].pulled_mm, abs=0.04)
    assert own.fits[0].pushed_mm == pytest.approx(curb.fits[0].pushed_mm, abs=0.04)
    assert own.worn_mm == pytest.approx(curb.worn_mm, rel=0.006)


def test_of_an_own_link_too_tight_only_the_gap_can_give():
    mesh = draft_chain(replace(CURB, chord_mm=0.05), RING).bodies[0].mesh
    wire, length, width = own_sizes(mesh)
    spec = ChainSpec("mesh", wire, length, width, 0.9, own=mesh, turn_deg=0.0)
    for layout in (RING, LayoutSpec("straight", links=20)):
        with pytest.raises(CannotBuild, match=r"ask for gap_mm = [\d.]+ or less") as caught:
            draft_chain(spec, layout)
        assert "_mm = " not in str(caught.value).replace("ask for gap_mm = ", "")
        less = float(re.search(r"ask for gap_mm = ([\d.]+)", str(caught.value))[1])
        assert draft_chain(replace(spec, gap_mm=less), layout).smallest_gap_mm >= less


def _unlike(links):
    """The same links, no longer taken for plain wire: planes that cut nothing off."""
    return tuple(replace(link, section=replace(link.section, flat_mm=10 * link.width_mm)) for link in links)


def test_first_contact_is_not_jumped():
    """From a pitch beyond a contact, going back stops at that contact's far side."""
    chain = cases(CURB, "out", [0.0])
    one = np.ones(1)
    assert np.isnan(reach(chain, 7.9 * one, one, 0 * one)[0])
    assert reach(chain, 6.2 * one, one, 0 * one)[0] == pytest.approx(7.8, abs=1e-6)
    assert reach(chain, 7.7 * one, -one, 0 * one)[0] == pytest.approx(6.1, abs=1e-6)


def test_links_of_a_sharp_ring_that_came_apart_are_no_fit():
    gap = widest(cases(CURB, "out", 2 * np.pi / np.array([3.0, 4.0, 5.0])))[1]
    assert (gap <= 0).all()
    assert not are_linked(cases(CURB, "out", [2 * np.pi / 3]), np.array([9.9]))[0]
    assert are_linked(cases(CURB, "out", [0.0]), np.array([6.8]))[0]


@pytest.mark.parametrize("scale", [0.1, 3.0])
@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_fit_scales_with_the_link(spec, scale):
    grown = ChainSpec(spec.family, 2.2 * scale, 12.2 * scale, 9.7 * scale, 0.4 * scale)
    (a,), (b,) = (fit(even(one), np.array([0.2]), gap) for one, gap in ((spec, 0.3), (grown, 0.3 * scale)))
    assert b.gap_mm == pytest.approx(a.gap_mm * scale, abs=1e-5)
    np.testing.assert_allclose(
        (b.low_mm, b.high_mm, b.pulled_mm), np.array((a.low_mm, a.high_mm, a.pulled_mm)) * scale, atol=1e-5
    )


@pytest.mark.parametrize("spec", ROUND, ids=named)
def test_inside_length_is_two_pi_times_the_innermost_metal(spec):
    chain = draft_chain(spec, LayoutSpec("ring", links=60))
    points = np.concatenate(
        [
            body.pose.apply(chain.pattern.links[kind].curve(even_parameters(2000))[0])
            for body, kind in zip(chain.bodies, chain.row.kind, strict=True)
        ]
    )
    innermost = np.hypot(points[:, 0], points[:, 1]).min() - spec.wire_mm / 2
    assert chain.printed_inner_length_mm == pytest.approx(2 * np.pi * innermost, abs=1e-3)
    found = rings(even(spec), np.array([60.0 / len(chain.pattern.places)]))
    worn = inner_length(even(spec), found.repeats, found.at.pulled_mm)[0]
    assert chain.worn_inner_length_mm == pytest.approx(worn, abs=1e-5)


@pytest.mark.parametrize("spec", MEASURED, ids=named)
def test_inside_length_of_meshes_is_two_pi_times_their_innermost_point(spec):
    chain = draft_chain(replace(spec, chord_mm=0.1), LayoutSpec("ring", links=36))
    points = np.concatenate([body.points() for body in chain.bodies])
    innermost = 2 * np.pi * np.hypot(points[:, 0], points[:, 1]).min()
    # An edge may pass the axis nearer than its ends do, and a draft's facets lie up to their tolerance inside.
    assert innermost - 0.5 < chain.printed_inner_length_mm < innermost + 0.5


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_worn_ring_is_at_contact_and_lies_between_the_others(spec):
    chain = draft_chain(spec, RING)
    pulled = chain.fits[0].pulled_mm
    near = uniform_gaps(
        cases(spec, "out", [2 * np.pi / 30], 30), np.array([[pulled - 1e-3, pulled, pulled + 1e-3]])
    ).gap_mm[0]
    assert near[0] > 0 > near[2]
    assert near[1] == pytest.approx(0, abs=1e-6)
    assert chain.pushed_inner_length_mm < chain.printed_inner_length_mm < chain.worn_inner_length_mm
    assert chain.slack_mm == pytest.approx(chain.worn_inner_length_mm - chain.printed_inner_length_mm)


@pytest.mark.parametrize("way", ["pulled_mm", "pushed_mm"])
def test_two_types_of_joint_are_at_contact_on_the_ring_they_make_themselves(way):
    """Every joint drawn, or pushed, until metal meets metal: the tightest pair of each type just touches."""
    from addon.rules.chain.lengths import ring_bends

    laid = even(FIGARO)
    found = rings(laid, np.array([15.0]))
    pitches = getattr(found.at, way)
    bends = ring_bends(15 * laid.counts[None], pitches)
    for kind in range(2):
        held = found.at.best_mm.copy()
        held[:, kind] = pitches[:, kind]
        gap = uniform_gaps(cases_of(laid, kind, bends, held, found.repeats), pitches[:, kind, None]).gap_mm
        assert gap[0, 0] == pytest.approx(0, abs=1e-4)


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("asked", [150.0, 186.0, 203.3, 440.0])
def test_ring_closes_with_the_number_whose_worn_length_is_nearest(spec, asked):
    spec = replace(spec, gap_mm=0.2)
    chain = draft_chain(spec, LayoutSpec("ring", inner_length_mm=asked))
    step = 2 if spec.family == "trace" else 1
    others = [chain.links + step * k for k in (-3, -2, -1, 1, 2, 3)]
    worn = {n: draft_chain(spec, LayoutSpec("ring", links=n)).worn_inner_length_mm for n in others}
    assert all(abs(chain.worn_inner_length_mm - asked) <= abs(length - asked) for length in worn.values())
    assert [size.links for size in chain.sizes] == sorted([*others, chain.links])
    for size in chain.sizes:
        assert size.worn_mm == pytest.approx({**worn, chain.links: chain.worn_mm}[size.links], abs=1e-5)
        assert size.pushed_mm < size.printed_mm < size.worn_mm


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_straight_chain_hangs_nearest_to_the_length_asked_for(spec):
    chain = draft_chain(spec, LayoutSpec("straight", length_mm=440.0))
    assert chain.worn_length_mm == pytest.approx((chain.links - 1) * 7.8 + 12.2, abs=1e-4)
    assert abs(chain.worn_length_mm - 440) <= 3.9
    assert chain.printed_length_mm == pytest.approx((chain.links - 1) * chain.pitch_mm + 12.2)
    assert chain.worn_inner_length_mm is None


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize(
    "layout",
    [LayoutSpec("ring", inner_length_mm=186.0, fit="ease"), LayoutSpec("straight", length_mm=440.0, fit="ease")],
)
def test_easing_meets_the_length_exactly_within_three_percent(spec, layout):
    chain = draft_chain(spec, layout)
    assert chain.worn_mm == pytest.approx(chain.asked_mm, abs=1e-3)
    assert chain.eased_from_mm == 12.2
    assert chain.spec.link_length_mm == pytest.approx(12.2, rel=0.03)
    assert chain.smallest_gap_mm >= chain.spec.gap_mm


def test_easing_too_far_names_what_can_be_met():
    with pytest.raises(CannotBuild, match=r"lets \d+ links wear from [\d.]+ to [\d.]+ mm, not 30"):
        draft_chain(ChainSpec("trace", 1.0, 8.0, 6.0, 0.2), LayoutSpec("straight", length_mm=30.0, fit="ease"))


REMEDY = re.compile(r"(link_width_mm|link_length_mm|wire_mm) = ([\d.]+)")


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize(
    ("gap", "layout"),
    [(1.2, LayoutSpec("straight", links=20)), (0.95, RING), (0.95, LayoutSpec("ring", inner_length_mm=186.0))],
)
def test_a_gap_no_pitch_gives_names_sizes_that_really_work(spec, gap, layout):
    asked = ChainSpec(spec.family, 2.2, 12.2, 9.7, gap)
    with pytest.raises(CannotBuild, match="no pitch gives") as caught:
        draft_chain(asked, layout)
    ways = REMEDY.findall(str(caught.value))
    assert ways
    for key, value in ways:
        mended = draft_chain(
            ChainSpec(**{**{k: getattr(asked, k) for k in asked.__slots__}, key: float(value)}), layout
        )
        assert mended.smallest_gap_mm >= gap
    if fewest := re.search(r"take (\d+) links or more", str(caught.value)):
        n = int(fewest.group(1))
        assert draft_chain(asked, LayoutSpec("ring", links=n)).smallest_gap_mm >= gap
        with pytest.raises(CannotBuild):
            draft_chain(asked, LayoutSpec("ring", links=n - closure.ring_stride(draw(asked))))


def test_message_names_the_widest_gap_and_its_pitch():
    with pytest.raises(
        CannotBuild, match=r"no pitch gives 0.90 mm: the widest gap of this link is 0.60 mm at pitch 6.88"
    ):
        draft_chain(ChainSpec("curb", 2.2, 12.2, 9.7, 0.9), LayoutSpec("straight", links=20))


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"wire_mm": 0}, "chain.wire_mm"),
        ({"wire_mm": -1.0}, "chain.wire_mm"),
        ({"wire_mm": float("nan")}, "chain.wire_mm"),
        ({"wire_mm": "thick"}, "chain.wire_mm"),
        ({"wire_mm": 5.0}, "chain.wire_mm: 5 is too thick for a link 9.7 mm wide"),
        ({"link_length_mm": 8.0}, "chain.wire_mm: 2.2 is too thick for a link 8 mm long"),
        ({"link_length_mm": float("inf")}, "chain.link_length_mm"),
        ({"link_width_mm": 0.0}, "chain.link_width_mm"),
        ({"link_width_mm": 7.5, "link_length_mm": 30.0}, "chain.link_width_mm: 7.5 makes the wire bend"),
        ({"gap_mm": 0.0}, "chain.gap_mm"),
        ({"gap_mm": 3.2}, "chain.gap_mm: 3.2 does not fit"),
        ({"chord_mm": 2.0}, "chain.chord_mm: 2 does not work; give from 0.0005 to 1 mm"),
    ],
)
def test_sizes_that_cannot_be_used_are_named(change, key):
    spec = ChainSpec(**{**{k: getattr(CURB, k) for k in CURB.__slots__}, **change})
    with pytest.raises(BadInput, match=re.escape(key)):
        draft_chain(spec, RING)


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (LayoutSpec("ring"), "give inner_length_mm or links"),
        (LayoutSpec("ring", inner_length_mm=186.0, links=4), "both given"),
        (LayoutSpec("ring", length_mm=186.0), "layout.length_mm: a closed chain is measured inside"),
        (LayoutSpec("straight", length_mm=15.0), "layout.length_mm: 15 is shorter than two links"),
        (LayoutSpec("straight", links=1), "layout.links: 1 does not work; give from 2 to 5000"),
        (LayoutSpec("ring", links=2), "layout.links: 2 does not work; give from 3 to 5000"),
        (LayoutSpec("ring", links=10**7), "give from 3 to 5000"),
        (LayoutSpec("ring", links=True), "must be a whole number"),
        (LayoutSpec("ring", inner_length_mm=90000.0), "give up to 5000 links"),
        (LayoutSpec("straight", length_mm=90000.0), "give up to 5000 links"),
        (LayoutSpec("ring", inner_length_mm=float("nan")), "layout.inner_length_mm: nan does not work"),
        (LayoutSpec("ring", links=30, face="up"), "layout.face: 'up' is not one of its words"),
        (LayoutSpec("heap", links=30), "layout.shape: 'heap' is not one of its words"),
        (LayoutSpec("straight", inner_length_mm=10.0), "layout.inner_length_mm: 10 is shorter than"),
        (LayoutSpec("straight", inner_length_mm=90000.0), "give up to 5000 links"),
        (LayoutSpec("straight", links=3, clasp_length_mm=1.0), "too few to close round with this clasp; give"),
        (LayoutSpec("ring", links=30, hand_mm=-2.0), "layout.hand_mm"),
        (LayoutSpec("ring", links=30, fit="ease"), 'layout.fit: "ease" meets a length'),
        (LayoutSpec("ring", links=30, points=((0.0, 0.0, 0.0),)), "layout.points: only shape"),
    ],
)
def test_layouts_that_cannot_be_used_are_named(layout, text):
    with pytest.raises(BadInput, match=re.escape(text)):
        draft_chain(CURB, layout)


def test_turned_families_choose_even_numbers_and_spread_the_turn_of_an_odd_one_asked_for():
    """At 31 links a quarter turn leaves half a turn over, a 31st of it at each joint."""
    assert draft_chain(TRACE, LayoutSpec("ring", inner_length_mm=200.0)).links % 2 == 0
    chain = draft_chain(TRACE, LayoutSpec("ring", links=31))
    turns = np.diff(chain.row.roll)
    np.testing.assert_allclose(turns, np.pi * round(31 / 2) / 31, atol=1e-12)
    gap, _ = all_gaps(chain.pattern, chain.row, chain.path)
    # The fit looks at 24 rolls for all 31 there are.
    assert chain.smallest_gap_mm == pytest.approx(gap.min(), abs=0.01)
    assert gap.min() >= TRACE.gap_mm


@pytest.mark.parametrize(
    ("layout", "text"),
    [
        (LayoutSpec("ring", links=30), "30 links do not close, being no whole number of repeats of 4; give 28 or 32"),
        (LayoutSpec("ring", links=3), "3 is shorter than the repeat of this chain, which is 4 links; give 4 or more"),
        (LayoutSpec("straight", links=3), "3 is shorter than the repeat of this chain"),
    ],
)
def test_numbers_that_are_no_whole_repeats_are_named_with_those_that_are(layout, text):
    with pytest.raises(BadInput, match=text):
        draft_chain(FIGARO, layout)


@pytest.mark.parametrize("layout", [LayoutSpec("ring", links=6), LayoutSpec("ring", inner_length_mm=30.0)])
def test_a_ring_smaller_than_the_joint_bends_names_the_fewest_links_that_work(layout):
    with pytest.raises(CannotBuild, match=r"take \d+ links or more") as caught:
        draft_chain(CURB, layout)
    fewest = int(re.search(r"take (\d+) links or more", str(caught.value))[1])
    assert draft_chain(CURB, LayoutSpec("ring", links=fewest)).smallest_gap_mm >= CURB.gap_mm
    with pytest.raises(CannotBuild):
        draft_chain(CURB, LayoutSpec("ring", links=fewest - 1))


@pytest.mark.parametrize("spec", [CURB, FIGARO, BELCHER], ids=named)
def test_an_open_chain_takes_the_links_whose_worn_inside_is_nearest_with_what_its_clasp_adds(spec):
    """On the circle of its chords with the clasp's in the seam: the sizes beside are further off."""
    layout = LayoutSpec("straight", inner_length_mm=200.0, clasp_length_mm=9.0)
    chain = draft_chain(spec, layout)
    assert chain.clasp_mm == 9.0
    off = {size.links: abs(size.worn_mm - 200) for size in chain.sizes}
    assert min(off, key=off.get) == chain.links
    assert chain.worn_inner_length_mm == pytest.approx(200, abs=8)
    assert chain.worn_length_mm is None
    if spec is CURB:
        closed = draft_chain(spec, LayoutSpec("ring", links=chain.links)).worn_inner_length_mm
        # One joint gives way to a seam of a whole link and the clasp: that much longer, less the corner it leaves.
        assert chain.worn_inner_length_mm - closed == pytest.approx(12.2 + 9.0 - chain.fits[0].pulled_mm, abs=2.0)
