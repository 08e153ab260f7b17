"""Volumes and outlines of swept wire against closed forms, and against shapely and manifold3d.

Pappus' theorem: the volume swept by a section square to a plane curve is the section's area times the way of its
centroid (Bronstein, Semendjajew, Handbook of Mathematics, "Guldin's rules"; from memory). With the centroid e outside a
convex closed centreline of length L that way is L + 2 pi e (a parallel curve, Steiner's formula; from memory). Areas of
circle, circular segment and lens as in the same handbook's tables. The ellipse's length is 4 a E(m), the complete
elliptic integral of the second kind, m = 1 - b^2 / a^2 (Abramowitz and Stegun 17.3; from memory), as scipy computes it.
"""

import numpy as np
import pytest

from addon.rules.chain.families import draw
from addon.rules.chain.link import even_parameters
from addon.rules.chain.outline import outline, outside_mm
from addon.rules.chain.section import Section
from addon.rules.chain.spec import ChainSpec
from addon.rules.chain.sweep import sweep
from addon.rules.solid.measure import volume_mm3

special = pytest.importorskip("scipy.special")


def swept(family, sizes, **other):
    """A link, and the volume of its mesh at a tolerance of 0.04, 0.02, 0.01 and 0.005 mm."""
    (link,) = draw(ChainSpec(family, *sizes, 0.15, **other)).links
    return link, [volume_mm3(sweep(link, chord)[0]) for chord in (0.04, 0.02, 0.01, 0.005)]


def ellipse_mm(a, b):
    a, b = max(a, b), min(a, b)
    return 4 * a * special.ellipe(1 - (b / a) ** 2)


def converges(volumes, exact):
    """From below, the error falling about as the tolerance does, to a fifth of a per cent."""
    lost = 1 - np.array(volumes) / exact
    assert np.all(lost > 0)
    assert np.all(np.diff(lost) < 0)
    assert 4 < lost[0] / lost[-1] < 14
    assert lost[-1] < 0.006


def rectangle_area(s: Section) -> float:
    return s.thick_mm * s.broad_mm - (4 - np.pi) * s.corner_mm**2


def test_round_wire_on_an_oval():
    link, volumes = swept("trace", (2.2, 12.2, 9.7))
    converges(volumes, np.pi * 1.1**2 * ellipse_mm(5.0, 3.75))
    assert link.plain


def test_a_rectangle_on_an_oval():
    link, volumes = swept("trace", (2.0, 12.0, 10.0), section="rectangle", wire_width_mm=3.0, corner_mm=0.4)
    converges(volumes, rectangle_area(link.section) * ellipse_mm(5.0, 4.0))


def test_a_d_on_a_ring():
    """A high D: a half circle of 1.2 mm on a strip of 2.4 x 0.8 mm, two corners of 0.3 mm eased."""
    broad, thick, ease = 2.4, 2.0, 0.3
    _, volumes = swept("belcher", (thick, 12.0, 12.0), section="D", wire_width_mm=broad, corner_mm=ease)
    r, low = broad / 2, thick - broad / 2
    # Areas and first moments about the flat: half circle (centroid 4 r / 3 pi), strip, and what the corners lose: a
    # square less its quarter circle, whose centroid lies 4 ease / 3 pi from the corner's own centre.
    half, strip = np.pi * r**2 / 2, broad * low
    square, quarter = ease**2, np.pi * ease**2 / 4
    area = half + strip - 2 * (square - quarter)
    lost = square * ease / 2 - quarter * (ease - 4 * ease / (3 * np.pi))
    moment = half * (low + 4 * r / (3 * np.pi)) + strip * low / 2 - 2 * lost
    centroid = moment / area - thick / 2
    converges(volumes, area * 2 * np.pi * (5.0 + centroid))


def test_a_strip_on_a_rounded_square():
    """The length of the rounded square by scipy's quadrature of its closed form."""
    integrate = pytest.importorskip("scipy.integrate")
    link, volumes = swept("box", (1.5, 9.0, 8.0))

    def speed(t):
        return float(np.linalg.norm(link.curve(np.array(t))[1]))

    length = 4 * integrate.quad(speed, 0, np.pi / 2, limit=200)[0]
    converges(volumes, rectangle_area(link.section) * length)


@pytest.mark.parametrize("strands", [1, 2])
def test_a_twisted_loop_keeps_the_area_times_the_length(strands):
    """A section with its centroid on the centreline sweeps area x length on any curve, however its plane turns.

    Two circles of radius r, 2 d apart, share a lens of 2 r^2 acos(d / r) - 2 d sqrt(r^2 - d^2).
    """
    integrate = pytest.importorskip("scipy.integrate")
    link, volumes = swept("curb", (2.0, 13.0, 13.0), strands=strands)
    r, d = 1.0, (link.section.broad_mm - 2.0) / 2
    lens = 2 * r**2 * np.arccos(d / r) - 2 * d * np.sqrt(r**2 - d**2)
    area = np.pi * r**2 if strands == 1 else 2 * np.pi * r**2 - lens

    def speed(t):
        return float(np.linalg.norm(link.curve(np.array(t))[1]))

    converges(volumes, area * 2 * integrate.quad(speed, 0, np.pi, limit=200)[0])


def test_facets_against_a_trim_by_manifold3d():
    """The whole curb, cut by manifold3d with the same two planes, has the volume of the curb drawn with facets."""
    manifold = pytest.importorskip("manifold3d")
    (link,) = draw(ChainSpec("curb", 2.2, 12.2, 9.7, 0.15, facet_mm=0.8)).links
    (whole,) = draw(ChainSpec("curb", 2.2, 12.2, 9.7, 0.15)).links
    flat = link.section.flat_mm
    cut = solid(manifold, sweep(whole, 0.006)[0]).trim_by_plane((0, 0, -1), -flat).trim_by_plane((0, 0, 1), -flat)
    ours = sweep(link, 0.006)[0]
    assert volume_mm3(ours) == pytest.approx(cut.volume(), rel=2e-3)
    assert volume_mm3(sweep(whole, 0.006)[0]) > 1.05 * cut.volume()
    # What either has over the other is the skin the two tolerances leave, not a piece of metal.
    over = (solid(manifold, ours) - cut).volume()
    assert over < 0.006 * cut.surface_area()


def test_a_stud_against_a_union_by_manifold3d():
    manifold = pytest.importorskip("manifold3d")
    spec = ChainSpec("anchor", 2.2, 13.0, 9.7, 0.15, stud_mm=1.6)
    (link,) = draw(spec).links
    (plain,) = draw(ChainSpec("trace", 2.2, 13.0, 9.7, 0.15)).links
    bar = manifold.Manifold.cylinder(7.5, 0.8, 0.8, 256, True).rotate((90, 0, 0))
    joined = solid(manifold, sweep(plain, 0.006)[0]) + bar
    ours = solid(manifold, sweep(link, 0.006)[0])
    assert joined.genus() == ours.genus() == 2
    assert ours.volume() == pytest.approx(joined.volume(), rel=3e-3)
    assert (ours - joined).volume() < 2e-3 * joined.volume()


@pytest.mark.parametrize(
    "section",
    [
        Section("rectangle", 2.0, 3.0, 0.3),
        Section("D", 2.0, 3.0, 0.3),
        Section("D", 1.0, 4.0, 0.2),
        Section("D", 2.4, 1.4, 0.25),
        Section("double", 2.0, 3.6),
    ],
    ids=lambda s: f"{s.kind} {s.thick_mm:g} x {s.broad_mm:g}",
)
def test_how_far_a_point_lies_outside_an_outline_agrees_with_shapely(section):
    """Against the distance from a polygon drawn to 1e-7 mm; and its area against the same closed forms."""
    shapely = pytest.importorskip("shapely")
    fine = shapely.Polygon(outline(section, 1e-7).points)
    assert fine.is_valid
    rng = np.random.default_rng(3)
    points = rng.uniform(-2.6, 2.6, (3000, 2))
    inside = shapely.contains_xy(fine, points)
    found = outside_mm(section, *points.T)
    distance = shapely.distance(fine, shapely.points(points))
    np.testing.assert_allclose(found[~inside], distance[~inside], atol=1e-6)
    edge = shapely.distance(fine.exterior, shapely.points(points[inside]))
    assert np.all(found[inside] <= 1e-9)
    near = edge < 0.05
    if section.kind != "double":
        np.testing.assert_allclose(found[inside][near], -edge[near], atol=1e-6)


def solid(manifold, mesh):
    # Copies: what is swept is read-only, which the library does not take.
    return manifold.Manifold(manifold.Mesh64(mesh.points.copy(), mesh.triangles.astype(np.uint64)))


def test_the_centreline_of_an_oval_has_the_length_of_an_ellipse():
    (link,) = draw(ChainSpec("trace", 2.2, 12.2, 9.7, 0.15)).links
    points = link.curve(even_parameters(20000))[0]
    length = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1).sum()
    assert length == pytest.approx(ellipse_mm(5.0, 3.75), rel=1e-7)
