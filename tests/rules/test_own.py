"""The maker's own link: sizes, axis and guide of shapes known in closed form, turned and moved; bad meshes in words."""

import re

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.chain import curb as curb_family
from addon.rules.chain import own
from addon.rules.chain.build import draft_chain
from addon.rules.chain.own_shape import own_shape
from addon.rules.chain.spec import ChainSpec, LayoutSpec
from addon.rules.chain.sweep import meshes_of
from addon.rules.solid.linking import linking_number
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Mesh, mesh
from addon.rules.solid.topology import facts
from tests.mesh_shapes import box, cubes, flipped, moved, rotation, torus

CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def frame(length, width, thick, high, *, taper=0.0):
    """A flat rectangular link of 32 triangles about z; ``taper`` narrows its far end."""
    outer = [(x * length / 2, y * (width - taper * (x > 0)) / 2) for x, y in CORNERS]
    inner = [(x * (length / 2 - thick), y * ((width - taper * (x > 0)) / 2 - thick)) for x, y in CORNERS]
    points = [(x, y, z) for corners in (outer, inner) for z in (-high / 2, high / 2) for x, y in corners]
    quads = []
    for k, n in ((0, 1), (1, 2), (2, 3), (3, 0)):
        quads += [(k, n, 4 + n, 4 + k), (4 + k, 4 + n, 12 + n, 12 + k)]
        quads += [(12 + k, 12 + n, 8 + n, 8 + k), (8 + k, 8 + n, n, k)]
    return mesh(np.array(points), np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]))


def turned(m, seed, shift=(5.0, -3.0, 8.0)):
    return mesh(m.points @ rotation(seed).T + shift, m.triangles)


def curb():
    link = curb_family.pattern(ChainSpec("curb", 2.2, 12.2, 9.7, 0.4)).link
    return meshes_of([link], 0.05)[0][0]


def spec_of(m, axis=None, **more):
    wire, length, width = own.own_sizes(m, axis)
    return ChainSpec("mesh", wire, length, width, 0.3, own=m, axis=axis, **more)


@pytest.mark.parametrize(
    ("shape", "wire", "length", "width"),
    [
        (frame(12, 8, 2, 2), 2.0, 12, 8),
        (frame(8, 12, 1, 3), 1.0, 12, 8),
        (frame(20, 6, 1.2, 1.2, taper=1.0), 1.2, 20, 6),
        (torus(4.0, 1.0, 64, 32), 2.0, 10, 10),
        (curb(), 2.2, 12.2, 9.7),
    ],
)
@pytest.mark.parametrize("seed", [None, 1, 2])
def test_sizes_are_those_of_the_shape_however_it_lies(shape, wire, length, width, seed):
    m = shape if seed is None else turned(shape, seed)
    found = own.own_sizes(m, own.propose_axis(m))
    assert found[0] == pytest.approx(wire, rel=0.02)
    # A round ring is as long every way; of the facets of its outline one is met aslant.
    assert found[1:] == pytest.approx((length, width), rel=4e-3)


def test_the_axis_runs_the_way_the_metal_reaches_furthest():
    assert own.propose_axis(frame(12, 8, 2, 2)) == pytest.approx([1, 0, 0])
    assert own.propose_axis(frame(8, 12, 2, 2)) == pytest.approx([0, 1, 0])
    for seed in range(3):
        axis = own.propose_axis(turned(frame(12, 8, 2, 2), seed))
        assert abs(axis @ rotation(seed)[:, 0]) == pytest.approx(1.0, abs=1e-6)


def test_a_link_as_broad_as_long_keeps_its_own_x_or_the_y_where_x_runs_through_it():
    ring = torus(4.0, 1.0)
    assert own.propose_axis(ring) == pytest.approx([1, 0, 0])
    about_x = mesh(ring.points[:, [2, 0, 1]], ring.triangles)
    assert own.propose_axis(about_x) == pytest.approx([0, 1, 0])


def test_a_tall_ring_is_not_hung_by_its_hole():
    """A short pipe reaches furthest along its hole; the chain must cross that."""
    ring = torus(4.0, 1.0, 64, 32)
    pipe = mesh(ring.points * [1.1, 1.0, 8.0], ring.triangles)
    assert own.propose_axis(pipe) == pytest.approx([1, 0, 0])
    with pytest.raises(BadInput, match=r"chain\.axis: it runs through the hole.*such as \[1, 0, 0\]"):
        own.pattern(ChainSpec("mesh", 2, 11, 10, 0.3, own=pipe, axis=(0.0, 0.1, 1.0)))
    own.pattern(spec_of(pipe, (1.0, 0.0, 0.0)))


def test_the_guide_runs_inside_the_metal_once_round_the_hole():
    for m in (turned(frame(12, 8, 2, 2), 5), curb(), torus(4.0, 1.0), studded()):
        guide = own_shape(m).guide
        inside = winding(m, guide)
        assert (inside > 0.5).mean() > 0.9
    # A line through the hole links with it once.
    straight = np.array([(0, 0, -9.0), (0, 0, 9.0), (40, 0, 9.0), (40, 0, -9.0)])
    for m in (frame(12, 8, 2, 2), curb(), torus(4.0, 1.0), moved(studded(), (-2.5, -2.5, -0.5))):
        assert abs(linking_number(own_shape(m).guide, straight)) == pytest.approx(1.0, abs=1e-9)


def studded():
    """A flat frame 9 by 5 of square bar 1 thick, with a bar across its middle: two holes, and one line round both."""
    filled = np.ones((9, 5, 1), dtype=bool)
    filled[1:4, 1:4] = filled[5:8, 1:4] = False
    return cubes(filled)


def winding(m: Mesh, places):
    """Winding number by the solid angles of all triangles (van Oosterom and Strackee 1983)."""
    a, b, c = (m.corners()[:, k] - places[:, None] for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=2) for v in (a, b, c))
    top = np.einsum("pti,pti->pt", a, np.cross(b, c))
    below = la * lb * lc + (a * b).sum(2) * lc + (b * c).sum(2) * la + (c * a).sum(2) * lb
    return np.arctan2(top, below).sum(axis=1) / (2 * np.pi)


def test_the_mesh_is_the_link_in_its_frame():
    m = turned(curb(), 3)
    pattern = own.pattern(spec_of(m))
    link = pattern.link
    assert link.own is not None
    assert not link.plain
    assert volume_mm3(link.own) == pytest.approx(volume_mm3(m), rel=1e-12)
    low, high = link.own.points.min(axis=0), link.own.points.max(axis=0)
    assert low + high == pytest.approx(np.zeros(3), abs=1e-12)
    assert high[:2] - low[:2] == pytest.approx([link.length_mm, link.width_mm], abs=1e-12)
    assert link.length_mm == pytest.approx(12.2, abs=0.02)
    assert pattern.turn_deg == 90.0
    assert own.pattern(spec_of(m, turn_deg=0.0)).turn_deg == 0.0
    # The frame keeps the handedness of the mesh.
    assert np.linalg.det(np.linalg.lstsq(m.points - m.points.mean(0), link.own.points, rcond=None)[0]) > 0.9


def test_an_own_torus_fits_as_the_trace_of_the_same_rings_does():
    """But for its facets, whose chords lie up to 0.02 mm off the smooth ring."""
    layout = LayoutSpec("straight", links=6)
    spec = spec_of(torus(4.0, 1.0, 64, 24))
    ours, trace = draft_chain(spec, layout), draft_chain(ChainSpec("trace", 2.0, 10.0, 10.0, 0.3), layout)
    assert ours.joints == trace.joints
    assert ours.pitch_mm == pytest.approx(trace.pitch_mm, abs=0.02)
    assert ours.smallest_gap_mm == pytest.approx(trace.smallest_gap_mm, abs=0.02)
    assert ours.worn_mm == pytest.approx(trace.worn_mm, rel=1e-3)


def test_symmetry_is_read_from_the_mesh():
    assert own.pattern(spec_of(turned(curb(), 4))).symmetric
    assert own.pattern(spec_of(frame(12, 8, 2, 2))).symmetric
    lopsided = curb()
    bent = lopsided.points + np.outer(0.02 * lopsided.points[:, 0] ** 2, [0, 1, 0])
    assert not own.pattern(spec_of(mesh(bent, lopsided.triangles))).symmetric


def test_sizes_that_are_not_the_mesh_s_are_named_with_those_that_are():
    m = frame(12, 8, 2, 2)
    with pytest.raises(BadInput, match=r"chain\.link_length_mm: 11 is not the size") as refused:
        own.pattern(ChainSpec("mesh", 2, 11, 8, 0.3, own=m))
    length = float(re.search(r"write (\d+\.\d+)", str(refused.value))[1])
    own.pattern(ChainSpec("mesh", 2, length, 8, 0.3, own=m))


def test_meshes_that_cannot_be_links_are_told_why():
    ring = torus(4.0, 1.0)
    two = Mesh(
        np.concatenate((ring.points, moved(ring, (20, 0, 0)).points)),
        np.concatenate((ring.triangles, ring.triangles + len(ring.points))),
    )
    for m, said in (
        (mesh(ring.points, ring.triangles[7:]), r"chain\.file: the link mesh is open: \d+ of its edges .* near \("),
        (flipped(ring), r"faces of the link mesh look inward.*turn the normals outward"),
        (two, r"holds 2 bodies; keep one of them"),
        (box(3.0), r"has no hole"),
    ):
        with pytest.raises(BadInput, match=said):
            own.pattern(ChainSpec("mesh", 2, 10, 10, 0.3, own=m))
        with pytest.raises(BadInput, match=said):
            own.propose_axis(m)
        with pytest.raises(BadInput, match=said):
            own.own_sizes(m)
    with pytest.raises(BadInput, match="an own link needs its mesh"):
        own.pattern(ChainSpec("mesh", 2, 10, 10, 0.3))
    with pytest.raises(BadInput, match=r"chain\.turn_deg: nan does not work; give degrees from -360 to 360"):
        own.pattern(ChainSpec("mesh", 2, 10, 10, 0.3, own=ring, turn_deg=float("nan")))
    with pytest.raises(BadInput, match=r"chain\.axis: .* is no direction"):
        own.pattern(ChainSpec("mesh", 2, 10, 10, 0.3, own=ring, axis=(0.0, 0.0, 0.0)))
    assert facts(studded()).genus == 2
    assert own.own_sizes(studded()) == pytest.approx((1.0, 9.0, 5.0))
