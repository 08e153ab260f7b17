"""Regions and islands of constructed solids whose counts are known."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect.layers import ISLAND_MM2, Layers, island_findings, slice_layers
from addon.rules.solid.cells import boxes_mesh
from addon.rules.solid.mesh import Body, Mesh, Pose
from tests.knots import blocks, closed_chain, ring, tube, tubes

CUBE = blocks(np.ones((1, 1, 1), dtype=bool), 2.0)


def _layers(*bodies: Body, layer_mm: float = 0.1, **options: object) -> Layers:
    return finish(slice_layers(bodies, layer_mm, **options))  # type: ignore[arg-type]


def _at(mesh: Mesh, *origin: float, name: str = "body") -> Body:
    return Body(name, mesh, Pose(np.eye(3), np.array(origin or (0.0, 0.0, 0.0))))


def test_an_arch_stands_on_both_feet() -> None:
    arch = np.ones((3, 1, 3), dtype=bool)
    arch[1, 0, :2] = False
    found = _layers(Body("arch", blocks(arch)))
    assert found.islands == ()
    assert found.region_count.tolist() == [2] * 20 + [1] * 10
    assert found.area_mm2 == pytest.approx([2.0] * 20 + [3.0] * 10)


def test_what_hangs_from_a_table_begins_as_an_island() -> None:
    table = np.zeros((5, 5, 4), dtype=bool)
    table[2, 2, :] = table[:, :, 3] = table[0, 0, 1:] = table[4, 4, 2:] = True
    found = _layers(Body("table", blocks(table)))
    assert [(island.layer, island.body) for island in found.islands] == [(10, "table"), (20, "table")]
    assert found.islands[0].at == pytest.approx((0.5, 0.5, 1.05))
    assert found.islands[0].area_mm2 == pytest.approx(1.0)
    findings = island_findings(found)
    assert [(finding.code, finding.severity, finding.bodies) for finding in findings] == [
        ("island", "stop", ("table",))
    ] * 2
    assert "1.05 mm" in findings[0].text


def test_an_upright_ring_on_the_plate_has_none_and_lifted_one_start() -> None:
    upright = tube(ring(4.0, (0.0, 0.0, 4.9), across=(0, 1, 0), sides=96), 0.9, 24)
    assert _layers(Body("ring", upright)).islands == ()
    lifted = _layers(_at(upright, 0.0, 0.0, 1.0, name="ring"))
    assert len(lifted.islands) == 1
    assert lifted.islands[0].at == pytest.approx((0.0, 0.0, 1.05), abs=0.1)
    assert lifted.region_count.max() == 2


def test_a_lifted_cone_is_told_of_once_it_has_grown() -> None:
    """Its first layers are smaller than an island counts; they must not carry the next ones out of sight."""
    t = np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
    rim = np.stack([np.cos(t), np.sin(t), np.full(32, 4.0)], axis=1)
    points = np.concatenate([rim, [[0.0, 0.0, 0.0], [0.0, 0.0, 4.0]]])
    k = np.arange(32)
    n = (k + 1) % 32
    cone = Mesh(points, np.concatenate([np.stack([0 * k + 32, n, k], 1), np.stack([0 * k + 33, k, n], 1)]))
    found = _layers(_at(cone, 0.0, 0.0, 1.0), layer_mm=0.02)
    assert len(found.islands) == 1
    assert found.area_mm2[50] < ISLAND_MM2
    assert ISLAND_MM2 < found.islands[0].area_mm2 < 3.0 * ISLAND_MM2


@pytest.mark.parametrize(("shift", "islands"), [(0.0, 0), (1.0, 0), (1.9, 0), (2.1, 1), (5.0, 1)])
def test_a_block_on_a_block_needs_to_overlap(shift: float, islands: int) -> None:
    """Straight walls in line with each other included."""
    found = _layers(_at(CUBE), _at(CUBE, shift, 0.0, 2.0, name="upper"))
    assert [island.body for island in found.islands] == ["upper"] * islands


def test_a_crossed_bar_overlaps_without_a_corner_of_either_in_the_other() -> None:
    bar = blocks(np.ones((9, 1, 1), dtype=bool))
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    over = Body("over", bar, Pose(turn, np.array([2.0, -6.0, 1.0])))
    assert _layers(_at(bar), over).islands == ()


def test_overlapping_bodies_count_once() -> None:
    found = _layers(_at(CUBE), _at(CUBE, 1.0, 0.5, 0.0, name="other"))
    assert found.area_mm2 == pytest.approx([8.0 - 1.5] * 20)
    assert found.region_count.tolist() == [1] * 20


def test_a_buried_body_adds_nothing_and_one_in_a_cavity_is_a_region_of_its_own() -> None:
    big = blocks(np.ones((3, 3, 1), dtype=bool), 2.0)
    inner = blocks(np.ones((1, 1, 1), dtype=bool))
    buried = _layers(_at(big), _at(inner, 2.5, 2.5, 0.5))
    assert set(buried.region_count.tolist()) == {1}
    assert buried.area_mm2 == pytest.approx([36.0] * 20)
    hollow = np.ones((3, 3, 1), dtype=bool)
    hollow[1, 1] = False
    found = _layers(_at(blocks(hollow, 2.0)), _at(inner, 2.5, 2.5, 0.0))
    assert found.region_count.tolist() == [2] * 10 + [1] * 10
    assert found.area_mm2[0] == pytest.approx(33.0)


def test_a_strut_through_the_wall_of_a_ring_joins_its_hole() -> None:
    """Its outline crosses the hole's: the metal is ring and strut less what they share."""
    hollow = np.ones((3, 3, 1), dtype=bool)
    hollow[1, 1] = False
    strut = blocks(np.ones((1, 1, 1), dtype=bool))
    found = _layers(_at(blocks(hollow, 2.0)), _at(strut, 1.5, 2.5, 0.0))
    assert found.region_count[:10].tolist() == [1] * 10
    assert found.area_mm2[0] == pytest.approx(32.0 + 0.5)


def test_a_chain_laid_flat_starts_at_the_links_that_touch_nothing() -> None:
    """Upright links stand on the plate, level ones between them begin in mid-air; known apart or not, the same."""
    links = tubes(*closed_chain(12))
    lowest = min(float(body.points()[:, 2].min()) for body in links)
    links = [body.moved(np.array([0.0, 0.0, -lowest])) for body in links]
    found = _layers(*links, layer_mm=0.05)
    assert sorted(island.body for island in found.islands) == sorted(f"body {k}" for k in range(2, 13, 2))
    assert _layers(*links, layer_mm=0.05, fused=()).islands == found.islands


def test_regions_hold_their_inner_points_and_areas_add_to_the_volume() -> None:
    links = tubes(*closed_chain(12), radius=0.4)
    lowest = min(float(body.points()[:, 2].min()) for body in links)
    found = _layers(*(body.moved(np.array([0.0, 0.0, -lowest])) for body in links), layer_mm=0.02)
    every = np.arange(len(found.regions.layer))
    assert found.regions.holds(every, found.regions.inner).all()
    volume = sum(float(np.linalg.det(body.mesh.corners()).sum() / 6.0) for body in links)
    assert found.area_mm2.sum() * 0.02 == pytest.approx(volume, rel=1e-3)


def test_progress_rises() -> None:
    shares: list[float] = []
    finish(slice_layers(tubes(*closed_chain(6, radius=6.0)), 0.1, plate_mm=-5.0), shares.append)
    assert shares == sorted(shares)
    assert shares[-1] <= 1.0


def test_a_layer_is_found_by_its_height_and_the_ends_hold_what_lies_beyond() -> None:
    found = _layers(_at(CUBE), layer_mm=0.2)
    assert [found.layer_at(h) for h in (0.0, 0.1, 0.19, 0.21, 1.0, 1.99, -5.0, 9.0)] == [0, 0, 0, 1, 5, 9, 0, 9]
    assert all(found.layer_at(float(height)) == number for number, height in enumerate(found.heights_mm))
    assert _layers(_at(CUBE), layer_mm=2.0).layer_at(1.0) == 0


def test_the_film_pulls_hardest_on_the_largest_layer_and_where_it_grows_most() -> None:
    """A block of 4 mm2 on a plate of 16, under one of 36: the first layer lies on the plate and is no jump."""
    tower = boxes_mesh([((0, 4), (0, 4), (0, 1)), ((1, 3), (1, 3), (1, 3)), ((-1, 5), (-1, 5), (3, 4))])
    peel = _layers(Body("tower", tower)).peel()
    assert (peel.area_mm2, peel.layer) == (pytest.approx(36.0), 30)
    assert (peel.jump_mm2, peel.jump_layer) == (pytest.approx(32.0), 30)
    shrinking = _layers(_at(CUBE)).peel()
    assert (shrinking.layer, shrinking.jump_mm2) == (0, pytest.approx(0.0, abs=1e-12))


def test_the_outlines_of_one_layer_are_those_of_all_at_that_layer() -> None:
    tub = boxes_mesh([((0, 6), (0, 6), (0, 4))], [((1, 5), (1, 5), (1, 4))])
    of = _layers(Body("tub", tub), _at(CUBE, 10.0, 0.0, 0.0, name="cube")).regions.of
    whole = of.outlines()
    for layer in (0, 15, 39):
        (first, last) = np.searchsorted(of.layer, [layer, layer + 1])
        for one, other in zip(of.outlines_at(layer), whole[first:last], strict=True):
            assert np.array_equal(one, other)
    hole = min(of.outlines_at(39), key=lambda loop: abs(_area(loop)))
    assert _area(hole) == pytest.approx(-16.0)
    assert of.outlines_at(1000) == ()


def _area(loop: np.ndarray) -> float:
    x, y = loop.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2.0)


@pytest.mark.parametrize("layer_mm", [0.1, 0.25, 0.2])
def test_a_chain_of_upright_links_begins_as_often_as_its_links_have_feet(layer_mm: float) -> None:
    """Square links, each standing on two feet of unlike length: lifted, every one begins twice, linked or not."""
    link = boxes_mesh(
        [((0, 1), (0, 1), (0, 7)), ((5, 6), (0, 1), (1, 7)), ((0, 6), (0, 1), (6, 7)), ((0, 6), (0, 1), (3, 4))]
    )
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    links = [
        Body(f"link {n}", link, Pose(turn if n % 2 else np.eye(3), np.array([4.0 * n, -2.0 if n % 2 else 0.0, 2.0])))
        for n in range(4)
    ]
    found = _layers(*links, layer_mm=layer_mm, fused=())
    told = [(island.body, round(island.at[2] - layer_mm / 2.0 - 2.0, 6)) for island in found.islands]
    assert sorted(told) == sorted((f"link {n}", low) for n in range(4) for low in (0.0, 1.0))
    assert all(island.area_mm2 == pytest.approx(1.0) for island in found.islands)


def test_a_ridge_and_a_point_begin_once_they_have_grown() -> None:
    """A wedge on its edge and a pyramid on its tip, both 1 mm up: the ridge is long, so it counts at once."""
    wedge = Mesh(
        np.array([[0, 0, 0], [5, 0, 0], [5, 2, 2], [0, 2, 2], [5, -2, 2], [0, -2, 2]], dtype=np.float64),
        np.array([[1, 0, 2], [2, 0, 3], [0, 1, 5], [5, 1, 4], [3, 0, 5], [4, 1, 2], [2, 3, 4], [4, 3, 5]]),
    )
    found = _layers(_at(wedge, 0.0, 0.0, 1.0, name="wedge"), layer_mm=0.1)
    assert [(i.body, i.layer, i.area_mm2) for i in found.islands] == [("wedge", 10, pytest.approx(5.0 * 0.1))]
    tip = Mesh(
        np.array([[0, 0, 0], [1, 1, 1], [-1, 1, 1], [-1, -1, 1], [1, -1, 1]], dtype=np.float64),
        np.array([[0, 2, 1], [0, 3, 2], [0, 4, 3], [0, 1, 4], [1, 2, 3], [1, 3, 4]]),
    )
    told = _layers(_at(tip, 0.0, 0.0, 1.0, name="tip"), layer_mm=0.02).islands
    # The n-th layer above the tip has (0.02 (2 n + 1))^2 mm2: the second is the first over the least.
    assert [(i.body, i.layer, i.area_mm2) for i in told] == [("tip", 51, pytest.approx(0.06**2))]


@pytest.mark.parametrize(
    ("layer_mm", "lift", "words"),
    [
        (0.0, 0.0, "give a number above 0 mm"),
        (-0.1, 0.0, "give a number above 0 mm"),
        (float("nan"), 0.0, "give a number above 0 mm"),
        (2.5, 0.0, "more than the 2 mm the job is high; give up to 2"),
        (0.1, -1.5, "cube reaches 1.5 mm below the plate"),
        (0.1, -2.0, "cube reaches 2 mm below the plate"),
        (1e-5, 0.0, "200000 layers, more than 20000"),
    ],
)
def test_layers_that_cannot_be_are_refused_with_what_works(layer_mm: float, lift: float, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        _layers(_at(CUBE, 0.0, 0.0, lift, name="cube"), layer_mm=layer_mm)


def test_open_bodies_and_none_are_refused_by_name() -> None:
    with pytest.raises(BadInput, match="lid: the surface is open"):
        _layers(_at(CUBE), _at(Mesh(CUBE.points, CUBE.triangles[1:]), name="lid"))
    with pytest.raises(BadInput, match="give at least one mesh"):
        _layers()


@pytest.mark.parametrize(("low", "layer"), [(3.0, 12), (3.0625, 12), (3.125, 13), (3.25, 13)])
def test_a_flat_underside_begins_at_the_first_cut_not_below_it(low: float, layer: int) -> None:
    """At a layer's boundary and at its very middle, which counts as above the cut: no rounding at quarters of a mm."""
    found = _layers(_at(CUBE), _at(CUBE, 5.0, 0.0, low, name="floating"), layer_mm=0.25)
    assert [(i.body, i.layer, i.area_mm2) for i in found.islands] == [("floating", layer, pytest.approx(4.0))]


@pytest.mark.parametrize(("shift", "islands"), [(1.999, 0), (1.99999, 0), (2.0001, 1)])
def test_a_sliver_of_overlap_is_enough_to_stand_on(shift: float, islands: int) -> None:
    """Down to 1e-5 mm each way at one corner: neither inner point is in the other."""
    found = _layers(_at(CUBE), _at(CUBE, shift, shift, 2.0, name="upper"))
    assert [island.body for island in found.islands] == ["upper"] * islands


def test_a_table_on_legs_has_none_and_an_arch_begins_by_its_lowest_parts() -> None:
    """Lifted, an arch begins at both feet; turned over, once, at its crown."""
    legs = [((x, x + 1), (y, y + 1), (0, 4)) for x in (0, 5) for y in (0, 5)]
    assert _layers(Body("table", boxes_mesh([((0, 6), (0, 6), (4, 5)), *legs]))).islands == ()
    arch = boxes_mesh([((0, 6), (0, 1), (3, 4)), ((0, 1), (0, 1), (0, 4)), ((5, 6), (0, 1), (0, 4))])
    over = boxes_mesh([((0, 6), (0, 1), (0, 1)), ((0, 1), (0, 1), (0, 4)), ((5, 6), (0, 1), (0, 4))])
    assert sorted(i.at[0] for i in _layers(_at(arch, 0.0, 0.0, 1.0)).islands) == pytest.approx([0.5, 5.5])
    begun = _layers(_at(over, 0.0, 0.0, 1.0)).islands
    assert [(i.layer, i.area_mm2) for i in begun] == [(10, pytest.approx(6.0))]
