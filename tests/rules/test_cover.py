"""A covered seam: block and end links become one closed body, clear of the rest, at exactly the length asked for."""

import numpy as np
import pytest
from manifold3d import Manifold
from manifold3d import Mesh64 as SolidMesh

from addon.rules.base.errors import BadInput, CannotBuild
from addon.rules.base.progress import finish
from addon.rules.chain.block import rounded_block
from addon.rules.chain.build import build_chain, draft_chain
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.inspect.fit import fit_findings
from addon.rules.solid.distance import gaps
from addon.rules.solid.linking import linking_number
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Mesh
from addon.rules.solid.topology import facts

CURB = ChainSpec("curb", 2.2, 12.2, 9.7, 0.4, chord_mm=0.05)
TRACE = ChainSpec("trace", 2.0, 12.0, 9.0, 0.4, chord_mm=0.05)
WEAVE = ChainSpec("weave", 1.2, 9.0, 9.0, 0.3, chord_mm=0.08)
T = np.arange(64) * 2 * np.pi / 64
OVAL = tuple(map(tuple, np.stack((36 * np.cos(T), 30 * np.sin(T), 0 * T), axis=1).tolist()))


def union(what: str, a: Mesh, b: Mesh) -> Mesh:
    """The union of an outside library (manifold3d)."""
    assert what == "union"
    one, two = (Manifold(SolidMesh(m.points, m.triangles.astype(np.uint64))) for m in (a, b))
    out = (one + two).to_mesh64()
    return Mesh(np.array(out.vert_properties)[:, :3].astype(float), np.array(out.tri_verts).astype(np.int64))


@pytest.mark.parametrize("face", ["out", "flat"])
@pytest.mark.parametrize("spec", [CURB, TRACE], ids=["curb", "trace"])
def test_cover_is_one_body_with_both_end_links_and_clear_of_the_others(spec, face):
    layout = LayoutSpec("ring", inner_length_mm=215.0, ends="cover", face=face)
    draft, chain = draft_chain(spec, layout), finish(build_chain(spec, layout, union))
    # In the draft the block is a body of its own.
    assert [body.name for body in draft.bodies] == [f"link {k + 1}" for k in range(draft.links)] + ["cover"]
    n = len(chain.bodies)
    assert [body.name for body in chain.bodies] == [f"link {k + 1}" for k in range(1, draft.links - 1)] + ["cover"]
    assert chain.closed
    assert len(chain.path.origins) == n == chain.links + 1
    cover = chain.bodies[-1]
    seen = facts(cover.mesh)
    # Two links' openings, less nothing: the block fills the bights it holds, so each link still makes one hole.
    assert (seen.closed, seen.shells, seen.genus) == (True, 1, 2)
    parts = [volume_mm3(draft.bodies[k].mesh) for k in (0, draft.links - 1, draft.links)]
    assert max(parts) < volume_mm3(cover.mesh) < sum(parts)
    table = finish(gaps(chain.bodies, range_mm=2.0))
    assert table.gap_mm.min() >= spec.gap_mm
    assert chain.smallest_gap_mm == pytest.approx(table.gap_mm.min(), abs=1e-12)
    # The neighbours still pass through the end links, which are inside the cover now.
    first, last = draft.bodies[0], draft.bodies[draft.links - 1]
    for held, neighbour in ((first, chain.bodies[0]), (last, chain.bodies[n - 2])):
        loops = [b.pose.apply(b.wire.centreline) for b in (held, neighbour)]
        assert abs(round(linking_number(*loops))) == 1
    assert {(0, n - 1), (n - 2, n - 1)} <= set(chain.joints)


@pytest.mark.parametrize("asked", [180.0, 183.3, 187.0, 191.9])
def test_a_cover_meets_the_length_exactly(asked):
    chain = draft_chain(TRACE, LayoutSpec("ring", inner_length_mm=asked, ends="cover"))
    assert chain.worn_inner_length_mm == pytest.approx(asked, abs=1e-6)
    # By the closed form: the links drawn to contact and the cover are chords of one circle, flat links' ellipses on it.
    (joint,) = chain.fits
    seam = float(np.linalg.norm(chain.path.origins[0] - chain.path.origins[chain.links - 1]))
    low, high = seam / 2 * 1.0001, 1e4
    for _ in range(200):
        radius = (low + high) / 2
        turn = (chain.links - 1) * 2 * np.arcsin(joint.pulled_mm / 2 / radius) + 2 * np.arcsin(seam / 2 / radius)
        low, high = (radius, high) if turn > 2 * np.pi else (low, radius)
    t = np.linspace(0, 2 * np.pi, 20001)
    a, b = (TRACE.link_length_mm - TRACE.wire_mm) / 2, (TRACE.link_width_mm - TRACE.wire_mm) / 2
    inside = np.hypot(radius - b * np.sin(t) * np.sqrt(0.5), a * np.cos(t)).min() - TRACE.wire_mm / 2
    assert 2 * np.pi * inside == pytest.approx(asked, abs=1e-3)


def test_a_cover_holds_both_rings_of_a_weave_that_stand_at_one_end():
    layout = LayoutSpec("ring", links=50, ends="cover")
    draft, chain = draft_chain(WEAVE, layout), finish(build_chain(WEAVE, layout, union))
    ends = (draft.row.station == 0) | (draft.row.station == draft.row.stations - 1)
    assert len(chain.bodies) == draft.links - ends.sum() + 1
    assert finish(gaps(chain.bodies, range_mm=1.0)).gap_mm.min() >= WEAVE.gap_mm


def test_a_cover_closes_a_curve():
    chain = finish(build_chain(TRACE, LayoutSpec("curve", points=OVAL, cyclic=True, ends="cover"), union))
    assert facts(chain.bodies[-1].mesh).shells == 1
    assert finish(gaps(chain.bodies, range_mm=1.0)).gap_mm.min() >= TRACE.gap_mm


def test_without_a_union_nothing_is_built_and_a_bad_union_is_told():
    layout = LayoutSpec("ring", inner_length_mm=190.0, ends="cover")
    with pytest.raises(CannotBuild, match="Blender"):
        finish(build_chain(TRACE, layout))
    with pytest.raises(CannotBuild, match=r"layout\.ends: the cover could not be joined"):
        finish(build_chain(TRACE, layout, lambda _, a, __: a))
    with pytest.raises(CannotBuild, match=r"layout\.ends: the cover could not be joined"):
        finish(build_chain(TRACE, layout, lambda _, __, b: b))


def test_too_short_a_ring_for_a_cover_names_one_that_works():
    with pytest.raises(BadInput, match=r"layout\.links: 3 are too few for a cover; give 4"):
        draft_chain(TRACE, LayoutSpec("ring", links=3, ends="cover"))
    with pytest.raises((BadInput, CannotBuild), match=r"inner_length_mm|gap_mm"):
        draft_chain(TRACE, LayoutSpec("ring", inner_length_mm=20.0, ends="cover"))


def test_the_findings_tell_of_the_cover_and_that_it_passes_over_the_hand():
    layout = LayoutSpec("ring", inner_length_mm=190.0, ends="cover", hand_mm=215.0)
    draft = fit_findings(draft_chain(TRACE, layout))
    assert [(f.code, f.severity) for f in draft] == [("hand", "stop"), ("cover", "note")]
    assert "when the chain is built" in draft[1].text
    built = fit_findings(finish(build_chain(TRACE, layout, union)))
    assert "when the chain is built" not in next(f for f in built if f.code == "cover").text


@pytest.mark.parametrize("half", [(4.0, 3.0, 2.0), (1.0, 5.0, 1.0)])
@pytest.mark.parametrize("edge", [0.3, 0.9])
def test_a_block_is_closed_and_has_the_volume_of_a_box_with_rounded_edges(half, edge):
    """Steiner's formula (from memory), box a, b, c grown by a ball r: V + S r + pi (a + b + c) r^2 + 4/3 pi r^3."""
    made = rounded_block(np.array(half), edge, steps=16)
    seen = facts(made)
    assert (seen.closed, seen.shells, seen.genus) == (True, 1, 0)
    a, b, c = 2 * (np.array(half) - edge)
    grown = a * b * c + 2 * (a * b + b * c + c * a) * edge + np.pi * (a + b + c) * edge**2 + 4 / 3 * np.pi * edge**3
    assert volume_mm3(made) == pytest.approx(grown, rel=2e-3)
    assert np.allclose(np.abs(made.points).max(axis=0), half)
