"""The whole chain: draft and verified build agree, meshes shared and linked, findings of the fit, and the clock."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.inspect.fit import fit_findings
from addon.rules.solid.distance import gaps
from addon.rules.solid.linking import linking_number

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)
TRACE = ChainSpec("trace", 2.2, 12.2, 9.7, 0.4)
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


@pytest.mark.parametrize("spec", [CURB, TRACE])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_verified_gap_is_that_of_the_meshes_and_never_below_the_draft(spec, layout):
    draft, chain = draft_chain(spec, layout), finish(build_chain(spec, layout))
    assert (draft.verified, chain.verified) == (False, True)
    assert chain.pitch_mm == draft.pitch_mm
    assert draft.smallest_gap_mm - 1e-6 <= chain.smallest_gap_mm <= draft.smallest_gap_mm + 4 * spec.chord_mm
    assert chain.smallest_gap_mm >= spec.gap_mm
    table = finish(gaps(chain.bodies, range_mm=chain.smallest_gap_mm + 0.1))
    assert table.gap_mm.min() == pytest.approx(chain.smallest_gap_mm, abs=1e-12)


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
    for links, worn in chain.nearby:
        assert f"{links} links wear at {worn:.1f} mm" in finding.text
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
