"""The preview of a chain as it is worn: the same links round the wearer, nothing touching."""

from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import CannotBuild
from addon.rules.base.progress import finish
from addon.rules.chain.build import draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.worn import WRIST_RATIO, worn_chain
from addon.rules.solid.distance import gaps

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.08)
TRACE = replace(CURB, family="trace")


def smallest(chain) -> float:
    table = finish(gaps(chain.bodies, range_mm=1.0))
    return float(table.gap_mm.min())


@pytest.mark.parametrize("ratio", [WRIST_RATIO, 1.0])
@pytest.mark.parametrize("layout", [LayoutSpec("ring", links=28), LayoutSpec("ring", links=28, face="flat")])
@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_a_ring_is_worn_as_an_oval_without_a_touch(spec, layout, ratio):
    chain = draft_chain(spec, layout)
    worn = worn_chain(chain, ratio=ratio)
    assert smallest(worn) > 0
    assert worn.smallest_gap_mm > 0
    assert worn.joints == chain.joints
    assert [body.name for body in worn.bodies] == [body.name for body in chain.bodies]
    assert all(a.mesh is b.mesh for a, b in zip(worn.bodies, chain.bodies, strict=True))
    for body in worn.bodies:
        np.testing.assert_allclose(body.pose.rotation.T @ body.pose.rotation, np.eye(3), atol=1e-12)


def test_joints_are_drawn_from_the_print_towards_contact():
    chain = draft_chain(CURB, LayoutSpec("ring", links=28))
    worn = worn_chain(chain)
    step = np.linalg.norm(np.roll(worn.path.origins, -1, axis=0) - worn.path.origins, axis=1)
    fit = chain.fits[0]
    assert (step > fit.pitch_mm + 0.5 * (fit.pulled_mm - fit.pitch_mm)).all()
    assert (step < fit.pulled_mm).all()


@pytest.mark.parametrize("spec", [CURB, TRACE])
def test_the_inside_is_an_oval_of_the_ratio_that_wears_at_about_the_worn_length(spec):
    chain = draft_chain(spec, LayoutSpec("ring", links=30))
    worn = worn_chain(chain)
    points = np.concatenate([body.points() for body in worn.bodies])
    angle, away = np.arctan2(points[:, 1], points[:, 0]), np.hypot(points[:, 0], points[:, 1])
    inside = [away[np.abs(np.angle(np.exp(1j * (angle - at)))) < 0.15].min() for at in np.linspace(0, np.pi, 3)[:2]]
    assert inside[0] / inside[1] == pytest.approx(WRIST_RATIO, abs=0.06)
    a, b = inside
    around = np.pi * (3 * (a + b) - np.sqrt((3 * a + b) * (a + 3 * b)))
    assert around == pytest.approx(chain.worn_inner_length_mm, rel=0.03)


def test_faces_of_a_worn_chain_look_outward_even_when_it_was_laid_flat():
    worn = worn_chain(draft_chain(CURB, LayoutSpec("ring", links=28, face="flat")), ratio=1.0)
    radial = worn.path.origins / np.linalg.norm(worn.path.origins, axis=1)[:, None]
    np.testing.assert_allclose(worn.path.rotations[:, :, 2], radial, atol=1e-9)
    rolled = worn_chain(draft_chain(TRACE, LayoutSpec("ring", links=28, face="flat")), ratio=1.0)
    for k, body in enumerate(rolled.bodies):
        turn = rolled.path.rotations[k].T @ body.pose.rotation
        assert abs(np.degrees(np.arctan2(turn[2, 1], turn[1, 1])) % 90 - 45) < 1e-6


@pytest.mark.parametrize("layout", [LayoutSpec("straight", links=26), LayoutSpec("spiral", links=40)])
def test_an_open_chain_leaves_its_ends_apart(layout):
    worn = worn_chain(draft_chain(CURB, layout))
    assert smallest(worn) > 0
    ends = np.linalg.norm(worn.path.origins[0] - worn.path.origins[-1])
    assert ends > 12.2
    assert max(worn.bends_deg) < 30


def test_halves_of_a_closure_keep_their_place_to_the_end_links_and_clear_of_each_other():
    chain = draft_chain(CURB, LayoutSpec("straight", links=26, clasp="hook-eye"))
    worn = worn_chain(chain)
    assert len(worn.bodies) == len(chain.bodies) == 28
    assert smallest(worn) > 0
    for half, link in ((26, 0), (27, 25)):
        before, after = (
            (
                c.bodies[link].pose.rotation.T @ c.bodies[half].pose.rotation,
                c.bodies[link].pose.rotation.T @ (c.bodies[half].pose.origin - c.bodies[link].pose.origin),
            )
            for c in (chain, worn)
        )
        for one, other in zip(before, after, strict=True):
            np.testing.assert_allclose(one, other, atol=1e-9)
    assert worn.path.origins.shape == chain.path.origins.shape


def test_too_few_links_for_an_oval_are_refused_with_the_bend_it_would_take():
    chain = draft_chain(replace(CURB, gap_mm=0.1), LayoutSpec("straight", links=5))
    with pytest.raises(CannotBuild, match=r"a joint would have to bend by \d+ degrees"):
        worn_chain(chain, ratio=2.5)
