"""The hub's foot and the printed trunk: they fit, they print, they hold nothing back, and the trunk freezes last."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lattices import BENCH, chain, codes, planned, ring_way, straight_way

from addon.rules.base.progress import finish
from addon.rules.feed.freezing import order_findings
from addon.rules.feed.rods import skin
from addon.rules.feed.sections import corners_round, footed
from addon.rules.feed.trunk import (
    PLAY_MM,
    Socket,
    arms_between,
    fit_socket,
    for_print,
    least_hub_mm,
    marked_hub,
    socket_hub,
    trunk_solid,
)
from addon.rules.inspect.cups import cups
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import Body
from addon.rules.solid.topology import facts

MIDDLE, PLATE = np.array([3.0, -4.0]), -2.5
D, HEIGHT, TRUNK = 8.6, 4.1, 6.2
ARMS = np.array([0.4, 2.5, 4.6])
UPS = ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0))


def marked(overhang, arms=ARMS, trunk=TRUNK):
    slope = footed(overhang).slope
    return marked_hub(MIDDLE, D, plate_z_mm=PLATE, height_mm=HEIGHT, trunk_mm=trunk, arms=arms, slope=slope)


def socketed(overhang, arms=ARMS):
    socket = fit_socket(D, HEIGHT, 7.0, footed(overhang).slope)
    return socket, socket_hub(MIDDLE, D, socket, plate_z_mm=PLATE, height_mm=HEIGHT, arms=arms)


def assert_solid(mesh, genus):
    found = facts(mesh)
    assert found.closed
    assert not found.inside_out
    assert (found.shells, found.genus, found.zero_area, found.doubled_faces) == (1, genus, 0, 0)


def undersides(mesh):
    """Area and steepness in degrees from the level of every face that looks down and is not on the plate."""
    corners = mesh.corners()
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1) / 2
    down = (normal[:, 2] < -1e-9) & (corners[:, :, 2].max(axis=1) > mesh.points[:, 2].min())
    steep = np.degrees(np.arccos(np.clip(-normal[down, 2] / area[down] / 2, -1, 1)))
    return area[down], steep


@pytest.mark.parametrize("overhang", [10.0, 30.0, 60.0])
@pytest.mark.parametrize("arms", [1, 2, 3, 4])
def test_hubs_are_sound_and_stand_flat_and_their_roofs_print(overhang, arms):
    turns = 0.3 + np.arange(arms) * 2 * np.pi / arms
    for mesh, genus in ((marked(overhang, turns), 0), (socketed(overhang, turns)[1], 1)):
        assert_solid(mesh, genus)
        assert mesh.points[:, 2].min() == PLATE
        assert mesh.points[:, 2].max() == PLATE + HEIGHT
        area, steep = undersides(mesh)
        # Only where grooves meet and cross are there flats, each narrower than half a millimetre.
        flat = steep < overhang
        assert area[flat].max(initial=0.0) < 0.1
        assert area[flat].sum() < 1.0
        assert area[~flat].sum() > 3.0


@pytest.mark.parametrize("up", UPS)
def test_hubs_hold_no_resin_and_shut_in_no_air(up):
    for mesh in (marked(30.0), socketed(30.0)[1]):
        assert finish(cups([Body("hub", mesh)], 0.05, up, least_mm3=0.02)) == ()


def test_a_socket_without_its_vent_would_be_found():
    socket, _ = socketed(30.0)
    open_hub = socket_hub(MIDDLE, D, socket, plate_z_mm=PLATE, height_mm=HEIGHT, arms=np.zeros(0))
    shut = skin(open_hub.points.reshape(6, -1, 3)[:5], closed=False)
    assert_solid(shut, 0)
    held = finish(cups([Body("hub", shut)], 0.05, UPS[1], least_mm3=0.02))
    assert len(held) == 1
    assert held[0].volume_mm3 > 10.0


def test_the_socket_takes_away_what_its_frustums_hold():
    """V = pi h (R^2 + R r + r^2) / 3 (any handbook); outer rings are inscribed polygons, holes circumscribed ones."""
    socket, mesh = socketed(30.0, np.zeros(0))
    n = corners_round(D)

    def frustum(h, r, s):
        return np.pi * h * (r * r + r * s + s * s) / 3

    hole = (
        frustum(socket.wall_mm, socket.mouth_mm, socket.shoulder_mm)
        + frustum(socket.depth_mm - socket.wall_mm, socket.shoulder_mm, 0.5)
        + frustum(HEIGHT - socket.depth_mm, 0.5, 0.5)
    )
    whole = np.pi * D**2 / 4 * HEIGHT * (n / 2 * np.sin(2 * np.pi / n) / np.pi)
    assert volume_mm3(mesh) == pytest.approx(whole - hole * n * np.tan(np.pi / n) / np.pi, rel=1e-9)


def test_the_mark_is_a_ring_of_the_trunks_diameter_and_arms_to_the_rim():
    mesh = marked(30.0)
    away = np.linalg.norm(mesh.points[:, :2] - MIDDLE, axis=1)
    raised = np.isclose(mesh.points[:, 2], PLATE + 0.4)
    # The roof of its groove, which a rod of the trunk's diameter just covers.
    assert np.isclose(away[raised], TRUNK / 2 - 0.4).sum() > 20
    assert np.isclose(away, TRUNK / 2).sum() > 20
    rim = raised & np.isclose(away, D / 2)
    angle = np.arctan2(*(mesh.points[rim, :2] - MIDDLE).T[::-1])
    assert np.sort(np.mod(angle, 2 * np.pi)) == pytest.approx(ARMS)
    # As wide as the hub itself, the ring would come under the spokes: it is left out, the arms stay.
    wide = marked(30.0, trunk=8.4)
    raised = np.isclose(wide.points[:, 2], PLATE + 0.4)
    away = np.linalg.norm(wide.points[raised, :2] - MIDDLE, axis=1)
    assert set(np.round(away, 6)) == {0.2, 0.6, D / 2}


@pytest.mark.parametrize("overhang", [30.0, 60.0])
def test_the_peg_fits_its_socket_with_its_play_however_it_is_turned(overhang):
    """Distances by trimesh: the shoulder seats on the foot, the peg keeps the play and hardly more."""
    trimesh = pytest.importorskip("trimesh")
    socket, hub = socketed(overhang)
    trunk = trunk_solid(MIDDLE, socket, plate_z_mm=PLATE, trunk_mm=7.0, length_mm=17.5)
    assert_solid(trunk.mesh, 0)
    shoulder = np.isclose(trunk.mesh.points[:, 2], PLATE)
    assert np.linalg.norm(trunk.mesh.points[shoulder, :2] - MIDDLE, axis=1).max() == pytest.approx(3.5)
    places = np.concatenate([trunk.mesh.points, trunk.mesh.corners().mean(axis=1)])
    places = places[places[:, 2] > PLATE + 1e-6][::2]
    there = trimesh.Trimesh(hub.points, hub.triangles, process=False)
    for turn in (0.0, 0.13):
        c, s = np.cos(turn), np.sin(turn)
        turned = places.copy()
        turned[:, :2] = MIDDLE + (places[:, :2] - MIDDLE) @ np.array([[c, s], [-s, c]])
        nearest, gap, face = trimesh.proximity.closest_point_naive(there, turned)
        assert gap.min() >= PLAY_MM - 1e-6
        assert np.median(gap) < PLAY_MM + 0.06
        # Outside of the metal: what is nearest looks at the peg.
        assert ((turned - nearest) * there.face_normals[face]).sum(axis=1).min() > 0.0


def test_the_trunk_prints_standing_on_its_own_foot():
    socket, _ = socketed(30.0)
    trunk = trunk_solid(MIDDLE, socket, plate_z_mm=PLATE, trunk_mm=7.0, length_mm=17.5)
    mesh = for_print(trunk)
    assert mesh.points[:, 2].min() == 0.0
    assert len(undersides(mesh)[0]) == 0
    low = mesh.points[:, 2] == 0.0
    assert np.linalg.norm(mesh.points[low, :2], axis=1).max() == pytest.approx(trunk.struts[0].d_start_mm / 2)
    assert trunk.struts[0].length_mm == pytest.approx(17.5)
    assert trunk.struts[0].d_start_mm > trunk.struts[0].d_end_mm == 7.0


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.floats(2.0, 30.0), st.floats(1.0, 12.0), st.floats(2.0, 30.0), st.floats(10.0, 65.0))
def test_a_socket_leaves_metal_all_round_or_is_refused(hub, height, trunk, overhang):
    slope = footed(overhang).slope
    socket = fit_socket(hub, height, trunk, slope)
    least = least_hub_mm(slope)
    if socket is None:
        assert hub < least[0] or height < least[1] or trunk < 3.0 + 1e-9
        return
    assert hub / 2 - socket.mouth_mm >= 1.3 - 1e-9
    assert height - socket.depth_mm >= 0.8 - 1e-9
    assert socket.wall_mm >= 1.2 - 1e-9
    assert 0.5 < socket.shoulder_mm < socket.mouth_mm <= 0.3 * trunk + 1e-9
    roof = (socket.depth_mm - socket.wall_mm) / (socket.shoulder_mm - 0.5)
    assert np.degrees(np.arctan(roof)) >= overhang
    assert (np.diff(socket.peg()[:, 1]) > 0).all()
    assert isinstance(socket, Socket)


@settings(derandomize=True, deadline=None, max_examples=20)
@given(st.lists(st.floats(-7.0, 7.0), min_size=1, max_size=8))
def test_arms_lie_midway_between_spokes_and_apart_from_each_other(spokes):
    arms = arms_between(np.array(spokes))
    assert 1 <= len(arms) <= 4
    away = np.abs(np.mod(arms[:, None] - np.array(spokes) + np.pi, 2 * np.pi) - np.pi)
    turned = np.sort(np.mod(spokes, 2 * np.pi))
    widest = np.diff(np.append(turned, turned[0] + 2 * np.pi)).max()
    assert away.min(axis=1).max() == pytest.approx(min(widest / 2, np.pi), abs=1e-6)
    step = np.diff(np.append(arms, arms[0] + 2 * np.pi))
    assert step.min() >= np.radians(85.0) - 1e-9


@pytest.fixture(scope="module")
def printed():
    way = ring_way(10, 6.8)
    bodies = chain(way, samples=32)
    return bodies, planned(bodies, way, trunk="printed")


def test_a_printed_trunk_is_planned_told_of_and_moved_with_its_lattice(printed):
    _, lattice = printed
    (trunk,) = lattice.apart
    assert codes(lattice.findings, "stop") == codes(lattice.findings, "warn") == []
    (note,) = [f for f in lattice.findings if "trunk" in f.text]
    assert note.value == pytest.approx(trunk.struts[0].d_end_mm)
    hub = next(s for s in lattice.solids if s.role == "trunk")
    assert facts(hub.mesh).genus == 1
    assert trunk.struts[0].end == hub.struts[0].start
    shift = np.array([1.0, 2.0, 3.0])
    moved = lattice.moved(shift)
    assert moved.apart[0].mesh.points == pytest.approx(trunk.mesh.points + shift)
    assert trunk not in lattice.solids


def test_the_trunk_freezes_after_the_hub_and_carries_what_all_tips_take(printed):
    """Modulus of a long round d / 4 (modulus tables), step 1.2 (quoted from memory, Campbell)."""
    _, lattice = printed
    (trunk,) = lattice.apart
    hub = next(s for s in lattice.solids if s.role == "trunk")
    d = trunk.struts[0].d_end_mm
    assert trunk.modulus_mm == pytest.approx(d / 4)
    assert d / 4 >= 1.2 * hub.modulus_mm * (1 - 1e-9)
    tips = [s for s in lattice.struts if s.feeds is not None]
    assert d**2 >= min(sum(t.d_end_mm**2 for t in tips), 6 * lattice.struts[0].d_start_mm ** 2) * 0.6
    thin = replace(lattice, apart=(replace(trunk, modulus_mm=1.1 * hub.modulus_mm),))
    found = order_findings(thin)
    assert [(f.code, f.severity) for f in found] == [("modulus", "warn")]
    assert "the trunk freezes before the hub" in found[0].text


def test_the_grooves_of_a_hub_come_out_between_its_spokes(printed):
    """Above the groove's end at the rim no spoke may stand: else the way out is shut."""
    bodies, wax = printed[0], planned(printed[0], ring_way(10, 6.8))
    for lattice in (wax, printed[1]):
        hub = next(s for s in lattice.solids if s.role == "trunk")
        middle = np.array(hub.struts[0].start)
        away = np.linalg.norm(hub.mesh.points[:, :2] - middle[:2], axis=1)
        high = hub.mesh.points[:, 2] - lattice.plate_z_mm
        mouth = hub.mesh.points[np.isclose(away, away.max()) & (high > 0.1) & (high < 1.0)]
        assert len(mouth) >= 2
        for solid in lattice.solids:
            if solid.role == "spoke":
                line, half = solid.rod()
                gap = np.linalg.norm(mouth[:, None, :2] - line[None, :, :2], axis=2).min() - half.max()
                assert gap > BENCH.strut_web_mm
    assert wax.apart == ()
    assert len(bodies) == 10


@pytest.mark.parametrize(("spec", "words"), [
    ({"trunk_length_mm": 8.0}, "feed.trunk_length_mm"),
    ({"trunk_length_mm": 30.0}, "taller flask"),
    ({"hub_mm": 3.5, "trunk": "printed"}, "takes no socket"),
])  # fmt: skip
def test_what_does_not_work_with_a_trunk_is_a_warning_that_says_what_would(spec, words):
    way = straight_way(3, 6.8)
    lattice = planned(chain(way, samples=32), way, **spec)
    assert any(words in f.text and f.severity == "warn" and f.at is not None for f in lattice.findings)
    assert len(lattice.apart) == 0
