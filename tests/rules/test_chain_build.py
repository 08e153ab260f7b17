"""The whole chain: draft and verified build agree, meshes shared and linked, findings of the fit, and the clock."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.inspect.fit import fit_findings
from addon.rules.solid.distance import gaps
from addon.rules.solid.linking import linking_number

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 2.2, 12.2, 9.7, 0.4)
FIGARO = ChainSpec("figaro", 1.6, 10.0, 8.4, 0.2, long_link_mm=16.0)
FACETED = replace(CURB, facet_mm=0.3)
BELCHER = ChainSpec("belcher", 1.4, 9.0, 9.0, 0.3, section="D")
ANCHOR = ChainSpec("anchor", 1.8, 14.0, 9.7, 0.3)
MEASURED = [FACETED, BELCHER, ANCHOR]
T = np.arange(64) * 2 * np.pi / 64


def wavy(radius: float) -> tuple:
    p = np.stack((radius * np.cos(T), 0.9 * radius * np.sin(T), 0.06 * radius * np.sin(3 * T)), axis=1)
    return tuple(map(tuple, p.tolist()))


LAYOUTS = [
    LayoutSpec("ring", inner_length_mm=186.0),
    LayoutSpec("ring", links=30, face="flat"),
    LayoutSpec("straight", links=12),
    LayoutSpec("curve", points=wavy(48), cyclic=True),
    LayoutSpec("curve", points=wavy(60)[:24]),
]


@pytest.mark.parametrize("spec", [CURB, TRACE, FIGARO], ids=lambda spec: spec.family)
@pytest.mark.parametrize("layout", LAYOUTS)
def test_verified_gap_is_that_of_the_meshes_and_never_below_the_draft(spec, layout):
    # Whole repeats of every pattern; a figaro bends less than a curb.
    spec = replace(spec, chord_mm=0.05)
    layout = replace(layout, links=layout.links and 32)
    draft, chain = draft_chain(spec, layout), finish(build_chain(spec, layout))
    assert (draft.verified, chain.verified) == (False, True)
    assert chain.pitch_mm == draft.pitch_mm
    assert draft.smallest_gap_mm - 1e-6 <= chain.smallest_gap_mm <= draft.smallest_gap_mm + 4 * spec.chord_mm
    assert chain.smallest_gap_mm >= spec.gap_mm
    table = finish(gaps(chain.bodies, range_mm=chain.smallest_gap_mm + 0.1))
    assert table.gap_mm.min() == pytest.approx(chain.smallest_gap_mm, abs=1e-12)


@pytest.mark.parametrize("spec", MEASURED, ids=lambda spec: spec.family)
@pytest.mark.parametrize("layout", [LayoutSpec("ring", links=36), LayoutSpec("straight", links=9)])
def test_other_links_are_laid_by_their_meshes_and_keep_the_gap_of_the_fit(spec, layout):
    """The whole chain's meshes against the few poses that the fit measured."""
    draft, chain = draft_chain(spec, layout), finish(build_chain(spec, layout))
    assert chain.links == draft.links
    assert chain.pitch_mm == pytest.approx(draft.pitch_mm, abs=0.15)
    assert chain.smallest_gap_mm == pytest.approx(draft.smallest_gap_mm, abs=0.1)
    beside = next(size.gap_mm for size in chain.sizes if size.links == chain.links)
    assert chain.smallest_gap_mm == pytest.approx(beside, abs=1e-6)
    low, high = chain.pitch_interval_mm
    assert chain.fits[0].pushed_mm < low < chain.pitch_mm < high < chain.fits[0].pulled_mm


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_links_share_one_mesh_are_named_in_order_and_linked_to_their_neighbours_only(spec, layout):
    chain = draft_chain(spec, layout)
    assert [body.name for body in chain.bodies] == [f"link {k + 1}" for k in range(chain.links)]
    assert len({id(body.mesh) for body in chain.bodies}) == 1
    loops = [body.pose.apply(body.wire.centreline) for body in chain.bodies]
    first = loops[0]
    joined = {b for a, b in chain.joints if a == 0} | {a for a, b in chain.joints if b == 0}
    for other in (1, 2, 3, chain.links - 2, chain.links - 1):
        assert abs(round(linking_number(first, loops[other]))) == (other in joined), other


def test_draft_of_a_bent_curve_finds_the_tightest_joint_the_meshes_have():
    layout = LAYOUTS[3]
    draft = draft_chain(CURB, layout)
    table = finish(gaps(draft.bodies, range_mm=1.0))
    named = {(f"link {a + 1}", f"link {b + 1}"): gap for a, b, gap in zip(table.a, table.b, table.gap_mm, strict=True)}
    assert named[draft.smallest_gap_between] <= table.gap_mm.min() + CURB.chord_mm


def test_build_reports_progress_up_to_its_end():
    shares: list[float] = []
    finish(build_chain(CURB, LAYOUTS[3]), shares.append)
    assert shares == sorted(shares)
    assert 0 < shares[0] < 0.2
    assert shares[-1] <= 1


def test_links_of_a_kind_share_a_mesh_and_each_is_of_its_kind():
    chain = draft_chain(FIGARO, LayoutSpec("straight", links=12))
    assert len({id(body.mesh) for body in chain.bodies}) == 2
    for body, kind in zip(chain.bodies, chain.row.kind, strict=True):
        long = np.ptp(body.mesh.points[:, 0])
        assert long == pytest.approx(chain.pattern.links[kind].length_mm, abs=0.05)


def test_bends_are_those_of_the_ring():
    chain = draft_chain(CURB, LayoutSpec("ring", links=30))
    assert chain.bends_deg == pytest.approx((12.0, 0.0), abs=1e-9)
    flat = draft_chain(CURB, LayoutSpec("ring", links=30, face="flat"))
    assert flat.bends_deg == pytest.approx((0.0, 12.0), abs=1e-9)
    assert draft_chain(CURB, LayoutSpec("straight", links=3)).bends_deg == (0.0, 0.0)


@pytest.mark.parametrize("spec", MEASURED[:2], ids=lambda spec: spec.family)
def test_easing_links_that_are_measured_meets_the_length_on_the_meshes_built(spec):
    layout = LayoutSpec("ring", inner_length_mm=186.0, fit="ease")
    chain = finish(build_chain(spec, layout))
    assert chain.worn_inner_length_mm == pytest.approx(186.0, abs=0.1)
    assert chain.eased_from_mm == spec.link_length_mm
    assert chain.spec.link_length_mm == pytest.approx(spec.link_length_mm, rel=0.03)


def test_a_cover_needs_a_union_to_be_built():
    with pytest.raises(CannotBuild, match=r"layout.ends: a cover is fused .* ends = \"closed\""):
        next(build_chain(CURB, LayoutSpec("ring", links=30, ends="cover")))


def test_a_tapered_chain_is_not_eased():
    spec = replace(CURB, end_wire_mm=1.8, end_link_length_mm=10.0, end_link_width_mm=8.0)
    with pytest.raises(BadInput, match="does not change a tapered chain"):
        draft_chain(spec, LayoutSpec("straight", length_mm=300.0, fit="ease"))


def test_bad_sizes_are_refused_before_any_work():
    with pytest.raises(BadInput):
        next(build_chain(ChainSpec("curb", 5.0, 12.2, 9.7, 0.4), LAYOUTS[0]))


def codes(chain, *rest):
    return {(f.code, f.severity) for f in fit_findings(chain, *rest)}


def test_a_closed_chain_must_pass_over_the_hand():
    for hand, severity in ((None, "warn"), (250.0, "stop")):
        chain = draft_chain(CURB, LayoutSpec("ring", links=30, hand_mm=hand))
        assert ("hand", severity) in codes(chain)
    assert not codes(draft_chain(CURB, LayoutSpec("ring", links=30, hand_mm=205.0)))
    assert not codes(draft_chain(CURB, LayoutSpec("straight", links=30)))


def test_a_length_off_the_one_asked_for_is_said_with_the_sizes_beside_it():
    chain = draft_chain(CURB, LayoutSpec("ring", inner_length_mm=186.0, hand_mm=180.0))
    (finding,) = fit_findings(chain)
    assert (finding.code, finding.severity) == ("size-off", "note")
    assert finding.value == chain.worn_inner_length_mm
    for size in chain.sizes:
        if abs(size.links - chain.links) == 1:
            assert f"{size.links} links wear at {size.worn_mm:.1f} mm" in finding.text
    far = draft_chain(TRACE, LayoutSpec("ring", inner_length_mm=186.0, hand_mm=180.0))
    assert codes(far) == {("size-off", "warn")}


def test_an_eased_link_is_said():
    chain = draft_chain(CURB, LayoutSpec("ring", inner_length_mm=186.0, hand_mm=180.0, fit="ease"))
    (finding,) = fit_findings(chain)
    assert "eased from 12.2" in finding.text


def test_a_gap_unmet_on_a_bent_curve_is_a_stop_that_names_the_joint():
    bend = [(20 * np.cos(t), 20 * np.sin(t), 0.0) for t in T[:48]]
    chain = draft_chain(CURB, LayoutSpec("curve", points=tuple(bend)))
    assert 0 < chain.smallest_gap_mm < 0.4
    (finding,) = fit_findings(chain)
    assert (finding.code, finding.severity) == ("gap-unmet", "stop")
    assert finding.bodies == chain.smallest_gap_between
    assert finding.at is not None


def test_gaps_over_the_looks_ceiling_are_a_note():
    chain = draft_chain(TRACE, LayoutSpec("straight", links=9))
    assert chain.smallest_gap_mm > load_profile().looks_ceiling_mm
    assert codes(chain, load_profile()) == {("looks", "note")}


LIVE = [
    LayoutSpec("ring", inner_length_mm=440.0),
    LayoutSpec("straight", length_mm=470.0),
    LayoutSpec("curve", points=wavy(73), cyclic=True),
    LayoutSpec("curve", points=wavy(73)[:60]),
]


@pytest.mark.parametrize("layout", LIVE)
def test_draft_and_build_stand_the_same_links_in_the_same_places(layout):
    """What the maker sees while dragging is what gets verified."""
    draft, built = draft_chain(CURB, layout), finish(build_chain(CURB, layout))
    assert 50 <= draft.links == built.links <= 70
    assert draft.pitch_mm == built.pitch_mm
    for one, other in zip(draft.bodies, built.bodies, strict=True):
        assert np.array_equal(one.pose.origin, other.pose.origin)
        assert np.array_equal(one.pose.rotation, other.pose.rotation)
    assert not draft.verified
    assert built.verified
    assert built.smallest_gap_mm >= draft.smallest_gap_mm - 1e-9
