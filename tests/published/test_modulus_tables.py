"""The moduli that the feed metal is sized by, against tables of moduli, worked examples and measured sections.

Modulus is volume over cooling area, for a long bar area over perimeter of its section; what freezes later has the
larger one (Chvorinov 1940). The sources are named beside each check; "derived" marks a figure that follows by algebra.
"""

from itertools import pairwise

import numpy as np
import pytest
from lattices import chain, planned, ring_way

from addon.rules.feed.rods import drum, hoop, lying
from addon.rules.feed.sections import CHORD_MM, ROUND, Section, footed
from addon.rules.feed.sizes import STEP, drum_modulus_mm

trimesh = pytest.importorskip("trimesh")
shapely = pytest.importorskip("shapely")

FINE = 40_000


def cut_circle(foot, d):
    """Area and perimeter of a circle cut off level by a line, by an independent library on a fine polygon."""
    angle = np.arange(FINE) * (2 * np.pi / FINE)
    disc = shapely.Polygon(np.stack((np.cos(angle), np.sin(angle)), axis=1) * d / 2)
    kept = disc.intersection(shapely.box(-d, -foot * d / 2, d, d))
    return kept.area, kept.length


@pytest.mark.parametrize("overhang", [0.0, 19.0, 30.0, 45.0, 60.0])
def test_area_and_perimeter_of_a_footed_rod_are_those_of_the_cut_circle(overhang):
    section, d = footed(overhang), 3.7
    area, perimeter = cut_circle(section.foot, d)
    assert section.area_mm2(d) == pytest.approx(area, rel=1e-7)
    assert section.perimeter_mm(d) == pytest.approx(perimeter, rel=1e-7)
    assert section.modulus_mm(d) == pytest.approx(area / perimeter, rel=1e-7)


def test_area_of_a_footed_rod_by_integration_over_its_height():
    """Chords of a circle, summed by Simpson's rule in the angle, where the integrand is smooth."""
    for foot in (0.0, 0.5, 0.9):
        low = -np.arcsin(foot)
        angle = np.linspace(low, np.pi / 2, 2001)
        share = np.ones(2001)
        share[1:-1:2], share[2:-1:2] = 4, 2
        area = (share * 2 * 1.85**2 * np.cos(angle) ** 2).sum() * (angle[1] - angle[0]) / 3
        assert Section(foot).area_mm2(3.7) == pytest.approx(area, rel=1e-10)


def test_a_long_round_bar_has_a_quarter_of_its_diameter():
    """Tables of moduli: long round bar, d / 4; half a round bar by algebra, pi r / (2 pi + 4)."""
    for d in (0.8, 2.42, 7.0):
        assert ROUND.modulus_mm(d) == pytest.approx(d / 4, rel=1e-12)
        assert ROUND.d_for_modulus(d / 4) == pytest.approx(d, rel=1e-12)
        assert Section(0.0).modulus_mm(d) == pytest.approx(np.pi * d / 2 / (2 * np.pi + 4), rel=1e-12)


def measured(mesh):
    """Volume and area by an independent library."""
    solid = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
    assert solid.is_watertight
    return solid.volume, solid.area


@pytest.mark.parametrize("radius", [6.0, 25.0])
def test_a_closed_ring_has_the_modulus_of_its_rod_whatever_its_radius(radius):
    """Tables of moduli: a torus of wire d has d / 4 exactly (Pappus), the footed ring that of its section."""
    angle = np.arange(360) * (2 * np.pi / 360)
    line = radius * np.stack((np.cos(angle), np.sin(angle)), axis=1)
    for section, mesh in (
        (ROUND, hoop(np.column_stack((line, np.zeros(360))), 2.4, closed=True)),
        (footed(30.0), lying(line, np.full(360, 2.4), footed(30.0), plate_z_mm=0.0, closed=True)),
    ):
        volume, area = measured(mesh)
        # Facets lie up to CHORD_MM inside the round, which takes that share off its modulus at the most.
        assert section.modulus_mm(2.4) * (1 - 2 * CHORD_MM / 1.2) <= volume / area <= section.modulus_mm(2.4)


def all_faces(d, height):
    """Modulus of a cylinder that cools at its lower end too, out of that of the round on its trunk."""
    return 1 / (1 / drum_modulus_mm(d, height) + 1 / height)


def test_an_upright_round_that_cools_all_over():
    """Worked examples of textbooks and problem sets; T-numbers are those of our list of facts.

    T03 (a problem set of casting): cylinder 30 x 50 mm, V/A 5.77 mm; with C = 2.232 s/mm2 it freezes in 74.3 s.
    T05 (an encyclopaedic example): cylinder of height = diameter = 10 cm, V/A 1.667 cm; with C = 3.5 in 9.72 min.
    T08 (a national examination): riser of height = diameter with V/A 8.645 mm is 51.87 mm across.
    T09 (a national examination): a cylinder of height = radius freezes in 0.5625 of the time of a cube of side 2 h.
    T10 (Kalpakjian and Schmid, from memory): cylinder of unit volume and height = diameter, 0.033 C.
    T11 (Groover, from memory): riser of height = diameter, C = 3.26 min/cm2, 2.0 min: 4.7 cm.
    """
    assert all_faces(30.0, 50.0) == pytest.approx(5.77, abs=0.005)
    assert 2.232 * all_faces(30.0, 50.0) ** 2 == pytest.approx(74.3, abs=0.1)
    assert all_faces(10.0, 10.0) == pytest.approx(1.667, abs=5e-4)
    assert 3.5 * all_faces(10.0, 10.0) ** 2 == pytest.approx(9.72, abs=0.01)
    assert all_faces(51.87, 51.87) == pytest.approx(8.645, abs=0.004)
    assert (all_faces(2.0, 1.0) / (2.0 / 6)) ** 2 == pytest.approx(0.5625, rel=1e-12)
    unit = (4 / np.pi) ** (1 / 3)
    assert all_faces(unit, unit) ** 2 == pytest.approx(0.033, abs=5e-4)
    assert 3.26 * all_faces(4.7, 4.7) ** 2 == pytest.approx(2.0, abs=0.01)


def test_an_upright_round_whose_one_end_does_not_cool():
    """Height = diameter on a casting: d / 5 (derived); T14, a published problem: A/V 5/15 per cm at 15 cm."""
    assert drum_modulus_mm(6.0, 6.0) == pytest.approx(6.0 / 5, rel=1e-12)
    assert 1 / drum_modulus_mm(15.0, 15.0) == pytest.approx(5 / 15, rel=1e-12)
    # Tall, it is a long round bar, d / 4; wide, half a plate of twice its height, T / 2 (tables of moduli).
    assert drum_modulus_mm(3.0, 3e7) == pytest.approx(3.0 / 4, rel=1e-6)
    assert drum_modulus_mm(3e7, 3.0) == pytest.approx(6.0 / 2, rel=1e-6)


@pytest.mark.parametrize(("d", "height"), [(12.0, 4.0), (7.0, 9.0)])
def test_the_modulus_of_a_hub_is_that_of_its_mesh(d, height):
    volume, area = measured(drum(np.zeros(2), d, plate_z_mm=0.0, height_mm=height))
    lower_end = volume / height
    wanted = drum_modulus_mm(d, height)
    assert wanted * (1 - 2 * CHORD_MM / (d / 2)) <= volume / (area - lower_end) <= wanted


def section_of(solid, strut):
    """Area over perimeter of a strut's mesh cut square across the middle of a piece."""
    mesh = trimesh.Trimesh(solid.mesh.points, solid.mesh.triangles, process=False)
    way = np.subtract(strut.end, strut.start)
    middle = (np.array(strut.start) + strut.end) / 2
    # A hair off the middle: no corner of the mesh lies in the plane.
    lines = trimesh.intersections.mesh_plane(mesh, way, middle + 1e-4 * way)
    across = np.linalg.svd(way[None])[2][1:]
    flat = np.round((lines - middle) @ across.T, 9)
    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(flat)))
    near = faces[shapely.distance(faces, shapely.Point(0.0, 0.0)).argmin()]
    return near.area / near.length


def test_measured_sections_of_a_planned_lattice_grow_towards_the_button():
    """Every solid is cut across its thinnest free piece by an independent library, and the order of freezing is seen.

    Upper gate <= upper ring <= post <= base ring, then x 1.2 a step to the hub: common practice, no published source;
    the factor 1.2 for a feeder from memory (Wlodawer; Campbell).
    """
    way = ring_way(12, 6.8)
    lattice = planned(chain(way, samples=48), way, upper_ring=True)
    kinds = {}
    for solid in lattice.solids:
        if solid.role == "trunk":
            continue
        free = [s for s in solid.struts if s.feeds is None]
        # Ends run into other metal, where a cut would be none of their own.
        inner = (
            free[len(free) // 2] if solid.role in ("ring", "upper", "spoke") else max(free, key=lambda s: s.length_mm)
        )
        found = section_of(solid, inner)
        d = max(inner.d_start_mm, inner.d_end_mm)
        assert solid.modulus_mm * (1 - 2 * CHORD_MM / (d / 2)) <= found <= solid.modulus_mm * (1 + 1e-6)
        kind = ("upper gate" if solid.above else "gate") if solid.feeds else solid.role
        kinds.setdefault(kind, []).append(found)
    order = ["upper gate", "upper", "post", "ring", "spoke"]
    for inner, outer in pairwise(order):
        factor = STEP if outer == "spoke" else 1.0
        # Both are cut out of facets, of which a thick rod has more.
        assert min(kinds[outer]) >= factor * max(kinds[inner]) * (1 - 0.03)
    assert min(kinds["ring"]) >= max(kinds["gate"]) * (1 - 0.03)
    hub = next(s for s in lattice.solids if s.role == "trunk")
    volume, area = measured(hub.mesh)
    height = float(np.ptp(hub.mesh.points[:, 2]))
    assert volume / (area - volume / height) >= STEP * max(kinds["spoke"]) * (1 - 0.03)
