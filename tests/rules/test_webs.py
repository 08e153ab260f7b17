"""The width of webs between solids where it is known in closed form, and what breaks them."""

import math

import numpy as np
import pytest
import trimesh

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.gap_findings import Limits
from addon.rules.inspect.heads import HEAD_KPA, HOT_STRENGTH_MPA, head_kpa
from addon.rules.inspect.inspection import inspect
from addon.rules.inspect.web_findings import bending_mpa, widest_ratio
from addon.rules.inspect.webs import Web, webs
from addon.rules.solid.distance import gaps
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from addon.rules.solid.refine import edges_of, split_edges

BENCH = load_profile("bench")
MAKE = trimesh.creation


def taken(solid: trimesh.Trimesh) -> Mesh:
    return mesh(np.asarray(solid.vertices), np.asarray(solid.faces))


def placed(name: str, solid: trimesh.Trimesh, shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Body:
    return Body(name, taken(solid), Pose(np.eye(3), np.array(shift)))


def found(bodies: list[Body], limits: Limits | None = None) -> tuple[Web, ...]:
    table = finish(gaps(bodies, range_mm=1.5))
    return finish(webs(bodies, table, limits or Limits(BENCH), thickest_mm=1.5))


def test_two_square_plates_hold_a_web_as_wide_as_they_are() -> None:
    (web,) = found([placed("low", MAKE.box((8, 8, 2))), placed("high", MAKE.box((8, 8, 2)), (0, 0, 2.3))])
    assert (web.a, web.b) == (0, 1)
    assert 0.3 <= web.thickness_mm <= 0.33
    assert web.width_mm == pytest.approx(8.0, rel=0.02)
    assert web.depth_mm == pytest.approx(4.0, rel=0.02)
    assert web.area_mm2 == pytest.approx(64.0, rel=0.02)
    assert web.at[:2] == pytest.approx([0.0, 0.0], abs=0.3)


@pytest.mark.parametrize(
    ("low", "high", "width", "area"),
    [((40, 40, 2), (5, 5, 2), 5.0, 25.0), ((40, 3, 2), (3, 40, 2), 3.0, 9.0)],
    ids=["small over large", "crossed bars with no corner near"],
)
def test_coarse_boxes_are_split_where_they_face_each_other(
    low: object, high: object, width: float, area: float
) -> None:
    (web,) = found([placed("low", MAKE.box(low)), placed("high", MAKE.box(high), (0, 0, 2.3))])
    assert web.width_mm == pytest.approx(width, rel=0.06)
    assert web.area_mm2 == pytest.approx(area, rel=0.12)


def test_a_pin_in_a_tube_has_a_web_as_wide_as_the_tube_is_long() -> None:
    pin, tube = MAKE.cylinder(2, 6, sections=48), MAKE.annulus(2.3, 4, 6, sections=48)
    (web,) = found([placed("pin", pin), placed("tube", tube)])
    assert web.width_mm == pytest.approx(6.0, rel=0.03)


def test_two_round_rods_side_by_side() -> None:
    """Near the line between two rods of radius r the gap is a parabola, its width known."""
    rod = MAKE.cylinder(2, 20, sections=96)
    (web,) = found([placed("one", rod), placed("other", rod, (4.3, 0.0, 0.0))])
    # Local gap from one rod to the nearest place of the other: 0.3 + x^2 / 2 for small x.
    wide = 2.0 * math.sqrt(2.0 * (web.thickness_mm - 0.3))
    assert web.width_mm == pytest.approx(wide, rel=0.1)


def test_a_ball_in_a_closed_shell_holds_a_web_without_an_open_edge() -> None:
    shell = MAKE.icosphere(3, 4.0)
    hole = MAKE.icosphere(3, 2.5)
    hole.invert()
    both = trimesh.util.concatenate([shell, hole])
    (web,) = found([placed("ball", MAKE.icosphere(3, 2.0)), placed("shell", both)])
    assert math.isinf(web.width_mm)
    said = finish(inspect([placed("ball", MAKE.icosphere(3, 2.0)), placed("shell", both)], BENCH)).findings
    assert any(f.code == "web-weak" and f.severity == "stop" and "closed in" in f.text for f in said)


def test_the_web_is_measured_in_the_mould() -> None:
    bodies = [placed("low", MAKE.box((8, 8, 2))), placed("high", MAKE.box((8, 8, 2)), (0, 0, 2.3))]
    (plain,), (grown,) = found(bodies), found(bodies, Limits(BENCH, scale=1.02, mould_expansion=0.01))
    assert grown.thickness_mm == pytest.approx(plain.thickness_mm * 1.02 * 1.01)
    assert grown.width_mm == pytest.approx(plain.width_mm * 1.02 * 1.01, rel=1e-6)


def test_alike_joints_and_joints_of_their_own_agree() -> None:
    low, high = MAKE.box((8, 8, 2)), MAKE.box((6, 6, 2))
    one, two = taken(low), taken(high)
    shared = [
        Body(f"{name} {k}", solid, Pose(np.eye(3), np.array([30.0 * k, 0.0, z])))
        for k in range(2)
        for name, solid, z in (("low", one, 0.0), ("high", two, 2.4))
    ]
    own = [Body(b.name, Mesh(b.mesh.points.copy(), b.mesh.triangles), b.pose) for b in shared]
    for a, b in zip(found(shared), found(own), strict=True):
        assert (a.a, a.b) == (b.a, b.b)
        assert (a.width_mm, a.area_mm2) == pytest.approx((b.width_mm, b.area_mm2))
        assert a.at == pytest.approx(b.at)


def test_the_limits_are_those_of_the_three_heads() -> None:
    # Ratios as the design of the rule states them, from a hot strength of 3.4 MPa with a third of it allowed.
    limits = {head: widest_ratio(kpa, HOT_STRENGTH_MPA) for head, kpa in HEAD_KPA.items()}
    assert limits == pytest.approx({"gravity": 16.0, "vacuum": 8.7, "spin": 3.9}, rel=0.01)
    assert bending_mpa(30.0, 8.7, 1.0) == pytest.approx(3.4 / 3, rel=0.01)
    with pytest.raises(BadInput, match="gravity, vacuum, spin"):
        head_kpa("wind")


@pytest.mark.parametrize(("head", "severity"), [("gravity", None), ("vacuum", "warn"), ("spin", "stop")])
def test_severity_depends_on_the_head(head: str, severity: str | None) -> None:
    bodies = [placed("low", MAKE.box((6, 6, 2))), placed("high", MAKE.box((6, 6, 2)), (0, 0, 2.55))]
    said = [f for f in finish(inspect(bodies, BENCH, head=head)).findings if f.code == "web-weak"]
    assert [f.severity for f in said] == ([severity] if severity else [])
    if head == "spin":
        assert "vacuum" not in said[0].text
        assert "gravity" in said[0].text


def test_splitting_keeps_the_surface_and_leaves_no_gap() -> None:
    ball = taken(MAKE.icosphere(2, 3.0))
    points, triangles = ball.points, ball.triangles
    for seed in range(4):
        edges, of_triangle = edges_of(triangles)
        cut = np.random.default_rng(seed).random(len(edges)) < 0.4
        count = len(points)
        points, triangles = split_edges(points, triangles, edges, of_triangle, cut)
        assert len(points) == count + cut.sum()
        split = trimesh.Trimesh(points, triangles, process=False)
        assert split.is_watertight
        assert split.is_winding_consistent
        assert split.volume == pytest.approx(trimesh.Trimesh(ball.points, ball.triangles).volume, rel=1e-12)
