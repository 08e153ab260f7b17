"""Undersides, bridges and ledges of constructed solids whose counts and sizes are known."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect.layers import slice_layers
from addon.rules.inspect.overhang import LEDGE_MM, SAMPLE_MM, Overhang, overhang_findings, overhangs
from addon.rules.solid.mesh import Body, Mesh, Pose
from tests.gap_shapes import turn_about
from tests.knots import blocks, closed_chain, ring, tube, tubes


def _found(*bodies: Body, overhang_deg: float = 30.0, layer_mm: float = 0.05) -> tuple[Overhang, ...]:
    return finish(overhangs(bodies, finish(slice_layers(bodies, layer_mm)), overhang_deg))


def _body(filled: np.ndarray, *origin: float, name: str = "body", size_mm: float = 1.0) -> Body:
    return Body(name, blocks(filled, size_mm), Pose(np.eye(3), np.array(origin or (0.0, 0.0, 0.0))))


def _arch(span: int) -> np.ndarray:
    filled = np.ones((span + 2, 2, 3), dtype=bool)
    filled[1:-1, :, :2] = False
    return filled


def _table() -> np.ndarray:
    filled = np.zeros((5, 5, 4), dtype=bool)
    filled[:, :, 3] = True
    filled[::4, ::4, :] = True
    return filled


def _codes(found: tuple[Overhang, ...], bridge_mm: float = 10.0) -> list[str]:
    return [finding.code for finding in overhang_findings(found, 30.0, bridge_mm)]


def test_an_arch_is_a_bridge_between_its_feet() -> None:
    for span in (3, 9, 12):
        (found,) = _found(_body(_arch(span), name="arch"))
        assert found.area_mm2 == pytest.approx(2.0 * span)
        assert found.angle_deg == 0.0
        assert found.span_mm == pytest.approx(span)
        assert found.reach_mm == 0.0
        assert found.span_at == pytest.approx((1.0 + span / 2.0, 1.0, 2.0), abs=1.001)
        assert _codes((found,)) == (["bridge"] if span > 10 else [])
    (finding,) = overhang_findings((found,), 30.0, 10.0)
    assert (finding.severity, finding.bodies, finding.limit) == ("warn", ("arch",), 10.0)
    assert "spans 12.00 mm" in finding.text


def test_an_arch_that_is_round_is_measured_where_it_is_past_the_angle() -> None:
    """A half-round opening of radius 5: its crown is past 30 degrees over 2 x 5 sin 30."""
    t = np.linspace(0.0, np.pi, 181)
    round_it = 5.0 * np.stack([-np.cos(t), np.sin(t)], axis=1)
    outline = np.concatenate([[[8.0, 0.0], [8.0, 8.0], [-8.0, 8.0], [-8.0, 0.0]], round_it])
    found = _found(Body("arch", _prism(outline, 3.0)))
    assert found[0].span_mm == pytest.approx(5.0, abs=2 * SAMPLE_MM)
    assert found[0].area_mm2 == pytest.approx(3.0 * 5.0 * np.pi / 3.0, rel=0.04)
    assert _codes(found, 6.0) == []
    assert _codes(found, 4.0) == ["bridge"]


def _prism(outline: np.ndarray, width: float) -> Mesh:
    """A wall from an outline (n, 2) in x and z, ear by ear, ``width`` mm deep in y."""
    trimesh = pytest.importorskip("trimesh")
    shapely = pytest.importorskip("shapely.geometry")
    solid = trimesh.creation.extrude_polygon(shapely.Polygon(outline), width)
    points = np.asarray(solid.vertices)[:, [0, 2, 1]]
    return Mesh(points, np.asarray(solid.faces, dtype=np.int64)[:, ::-1])


def test_a_table_spans_between_its_legs() -> None:
    (found,) = _found(_body(_table()))
    assert found.area_mm2 == pytest.approx(25.0 - 4.0)
    # Corner to corner of the legs across the middle.
    assert found.span_mm == pytest.approx(3.0 * np.sqrt(2.0), abs=0.01)
    assert found.reach_mm == 0.0
    assert _codes((found,), 4.0) == ["bridge"]


def test_tables_and_arches_are_counted() -> None:
    row = [_body(_table(), 10.0 * k, 0.0, 0.0, name=f"table {k}", size_mm=1.2) for k in range(3)]
    row += [_body(_arch(12), 0.0, 20.0 * k + 20.0, 0.0, name=f"arch {k}") for k in range(2)]
    findings = overhang_findings(_found(*row), 30.0, 5.0)
    assert sorted(f.bodies[0] for f in findings) == ["arch 0", "arch 1", "table 0", "table 1", "table 2"]
    assert {f.code for f in findings} == {"bridge"}


def test_a_roof_over_a_room_spans_its_width_and_a_room_with_a_wall_in_it_half() -> None:
    filled = np.ones((9, 9, 3), dtype=bool)
    filled[1:8, 1:8, :2] = False
    (found,) = _found(_body(filled))
    assert found.span_mm == pytest.approx(7.0, abs=0.01)
    filled[4, 1:8, :2] = True
    assert [one.span_mm for one in _found(_body(filled))] == [pytest.approx(3.0, abs=0.01)] * 2


def test_a_mushroom_reaches_out_to_its_corners() -> None:
    filled = np.zeros((5, 5, 4), dtype=bool)
    filled[2, 2, :] = filled[:, :, 3] = True
    (found,) = _found(_body(filled))
    assert found.span_mm == 0.0
    assert found.reach_mm == pytest.approx(2.0 * np.sqrt(2.0))
    (finding,) = overhang_findings((found,), 30.0, 10.0)
    assert (finding.code, finding.severity, finding.value, finding.limit) == ("overhang", "warn", 0.0, 30.0)
    assert "reaches out 2.83 mm" in finding.text
    assert "24 mm2" in finding.text


def test_a_table_top_that_is_too_wide_both_ways_is_told_of_twice() -> None:
    filled = np.zeros((15, 7, 3), dtype=bool)
    filled[2:-2, 1:-1, 2] = filled[2, 3, :] = filled[-3, 3, :] = True
    found = _found(_body(filled))
    findings = overhang_findings(found, 30.0, 8.0)
    assert [finding.code for finding in findings] == ["bridge", "overhang"]
    assert findings[0].value == pytest.approx(9.0, abs=0.05)
    assert findings[0].at is not None
    assert findings[0].at[0] == pytest.approx(7.5, abs=SAMPLE_MM)
    assert found[0].reach_mm == pytest.approx(2.0)
    assert findings[1].at == pytest.approx(found[0].reach_at)


@pytest.mark.parametrize("reach", [1, 4, 8])
def test_a_board_and_a_corner_of_two_walls_reach_out(reach: int) -> None:
    board = np.zeros((reach + 1, 2, 3), dtype=bool)
    board[:, :, 2] = board[0] = True
    (found,) = _found(_body(board))
    assert (found.span_mm, found.reach_mm) == (0.0, pytest.approx(reach))
    # A ledge at the limit holds.
    assert _codes((found,)) == ["overhang"] * (reach > LEDGE_MM)
    corner = np.zeros((9, 9, 2), dtype=bool)
    corner[:, :, 1] = corner[0] = corner[:, 0] = True
    (found,) = _found(_body(corner))
    assert found.reach_mm == pytest.approx(8.0)


def test_a_top_that_only_lies_on_other_bodies_is_held_by_them() -> None:
    top = _body(np.ones((12, 1, 1), dtype=bool), 0.0, 0.0, 3.0, name="top")
    legs = [_body(np.ones((1, 1, 3), dtype=bool), x, 0.0, 0.0, name="leg") for x in (0.0, 11.0)]
    (found,) = _found(top, *legs)
    assert found.body == "top"
    assert found.span_mm == pytest.approx(10.0, abs=1.5 * SAMPLE_MM)
    assert found.area_mm2 == pytest.approx(10.0, rel=0.05)
    (found,) = _found(top, legs[0])
    assert found.reach_mm == pytest.approx(11.0, abs=1.5 * SAMPLE_MM)


def test_what_begins_in_mid_air_is_told_by_the_island_only() -> None:
    lifted = _body(np.ones((4, 4, 1), dtype=bool), 0.0, 0.0, 2.0)
    (found,) = _found(lifted, _body(np.ones((1, 1, 3), dtype=bool), 8.0, 0.0, 0.0))
    assert found.begins
    assert found.area_mm2 == pytest.approx(16.0)
    assert _codes((found,)) == []


def test_what_lies_on_the_plate_is_no_overhang() -> None:
    assert _found(_body(_table()[:, :, ::-1])) == ()
    # Off it by less than the middle of the first layer, it still is what that layer prints.
    assert _found(_body(np.ones((4, 4, 1), dtype=bool), 0.0, 0.0, 0.02)) == ()
    flat = _found(Body("ring", tube(ring(6.0, (0.0, 0.0, 0.9), sides=96), 0.9, 24)))
    assert _codes(flat) == []


@pytest.mark.parametrize("slope_deg", [10.0, 29.0, 31.0, 60.0])
def test_a_wedge_hangs_over_when_it_is_nearer_to_level_than_the_angle(slope_deg: float) -> None:
    """A block on a foot, its underside rising by an angle: past it, it reaches out by its whole length."""
    rise = 6.0 * np.tan(np.radians(slope_deg))
    outline = np.array([[0, 0], [2, 0], [2, 2], [8, 2 + rise], [8, 4 + rise], [0, 4 + rise]])
    found = _found(Body("wedge", _prism(outline, 4.0)))
    if slope_deg > 30.0:
        assert found == ()
        return
    (one,) = found
    assert one.angle_deg == pytest.approx(slope_deg, abs=1e-6)
    assert one.area_mm2 == pytest.approx(4.0 * 6.0 / np.cos(np.radians(slope_deg)))
    assert one.reach_mm == pytest.approx(6.0)
    assert one.reach_at[2] == pytest.approx(2.0 + rise)
    assert _codes((one,)) == ["overhang"]


def test_an_underside_that_rises_from_the_plate_is_held_by_it() -> None:
    """What of it lies in the first layer is on the plate: 0.025 mm of rise."""
    for slope_deg, share in ((25.0, 1.0), (5.0, 1.0 - 0.025 / np.tan(np.radians(5.0)) / 6.0)):
        rise = 6.0 * np.tan(np.radians(slope_deg))
        (one,) = _found(Body("wedge", _prism(np.array([[0, 0], [2, 0], [8, rise], [8, 6], [0, 6]]), 4.0)))
        assert one.area_mm2 == pytest.approx(share * 24.0 / np.cos(np.radians(slope_deg)), rel=0.02)
        assert one.reach_mm == pytest.approx(6.0 * share, abs=SAMPLE_MM if share < 1.0 else 1e-9)


def test_the_angle_of_the_profile_itself_carries() -> None:
    outline = np.array([[0.0, 0.0], [1.0, 0.0], [4.0, 3.0], [4.0, 5.0], [0.0, 5.0]])
    assert _found(Body("wedge", _prism(outline, 4.0)), overhang_deg=45.0) == ()
    assert len(_found(Body("wedge", _prism(outline, 4.0)), overhang_deg=45.1)) == 1


def test_the_crown_of_an_upright_ring_is_a_bridge_within_it() -> None:
    """Past 30 degrees over a chord of twice the inner radius times sin 30; below, it rises from the plate."""
    found = _found(Body("ring", tube(ring(4.0, (0.0, 0.0, 4.9), across=(0, 1, 0), sides=96), 0.9, 24)))
    crown = max(found, key=lambda one: one.at[2])
    assert crown.span_mm == pytest.approx(2.0 * 3.1 * np.sin(np.radians(30.0)), abs=2 * SAMPLE_MM)
    assert crown.reach_mm == 0.0


@settings(max_examples=15, deadline=None, derandomize=True)
@example(turn_deg=0.0, shift=(0.0, 1.5), which=0)
@given(turn_deg=st.floats(0.0, 360.0), shift=st.tuples(*[st.floats(-40.0, 40.0)] * 2), which=st.sampled_from([0, 1, 2]))
def test_turned_about_up_and_moved_it_is_the_same(turn_deg: float, shift: tuple[float, float], which: int) -> None:
    """Areas and angles are those of the faces; spans and reaches are true to the distance between the places."""
    solid = blocks((_table(), _arch(7), _table()[:, :4])[which], 1.3)
    turn = turn_about((0.0, 0.0, 1.0), float(np.radians(turn_deg)))
    (one,) = _found(Body("one", solid))
    (other,) = _found(Body("one", solid, Pose(turn, np.array([*shift, 0.0]))))
    assert other.area_mm2 == pytest.approx(one.area_mm2, rel=1e-9)
    assert other.angle_deg == pytest.approx(one.angle_deg, abs=1e-6)
    assert other.span_mm == pytest.approx(one.span_mm, abs=2 * SAMPLE_MM)
    assert other.reach_mm == pytest.approx(one.reach_mm, abs=2 * SAMPLE_MM)


def test_copies_at_every_turn_of_a_chain_are_told_alike() -> None:
    bodies = tubes(*closed_chain(12), radius=0.5)
    lowest = min(float(body.points()[:, 2].min()) for body in bodies)
    found = _found(*(body.moved(np.array([0.0, 0.0, -lowest])) for body in bodies))
    level = sorted(one.area_mm2 for one in found if one.begins)
    assert len(level) == 6
    assert level == pytest.approx([level[0]] * 6, rel=0.01)
    crowns = [one for one in found if not one.begins and one.span_mm > 1.0 and one.at[2] > 2.0]
    assert sorted({one.body for one in crowns}) == sorted(f"body {k}" for k in range(1, 13, 2))
    spans = [one.span_mm for one in crowns]
    assert spans == pytest.approx([spans[0]] * len(spans), abs=2 * SAMPLE_MM)


def test_progress_rises() -> None:
    bodies = tubes(*closed_chain(6, radius=6.0))
    lowest = min(float(body.points()[:, 2].min()) for body in bodies)
    bodies = [body.moved(np.array([0.0, 0.0, -lowest])) for body in bodies]
    shares: list[float] = []
    finish(overhangs(bodies, finish(slice_layers(bodies, 0.1)), 30.0), shares.append)
    assert shares == sorted(shares)
    assert shares[-1] <= 1.0


def test_an_angle_that_is_none_and_open_bodies_are_refused() -> None:
    table = _body(_table())
    layers = finish(slice_layers([table], 0.1))
    for angle in (-1.0, 90.0, float("nan")):
        with pytest.raises(BadInput, match="overhang_deg"):
            finish(overhangs([table], layers, angle))
    lid = Body("lid", Mesh(table.mesh.points, table.mesh.triangles[1:]))
    with pytest.raises(BadInput, match="lid: the surface is open"):
        finish(overhangs([lid], layers, 30.0))
