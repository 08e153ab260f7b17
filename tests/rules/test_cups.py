"""Cups, closed cavities and traps of constructed solids whose pockets are known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect.cups import SMALL_MM3, Cup, cup_findings, cups, metal_traps
from addon.rules.solid.mesh import Body, Mesh, Pose
from tests.gap_shapes import turn_about
from tests.knots import blocks, closed_chain, ring, tube, tubes

UP, DOWN = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0)


def _cups(*bodies: Body, up: tuple[float, float, float] = UP, layer_mm: float = 0.1, **options: object) -> tuple:
    return finish(cups(bodies, layer_mm, up, **options))  # type: ignore[arg-type]


def _at(mesh: Mesh, *origin: float, name: str = "body") -> Body:
    return Body(name, mesh, Pose(np.eye(3), np.array(origin or (0.0, 0.0, 0.0))))


def _pail() -> np.ndarray:
    """A pail 3 x 3 x 4 inside, of walls 1 thick, open at the top."""
    filled = np.ones((5, 5, 5), dtype=bool)
    filled[1:4, 1:4, 1:] = False
    return filled


def test_a_pail_holds_what_is_in_it_one_way_up_only() -> None:
    pail = _at(blocks(_pail()), name="pail")
    (found,) = _cups(pail)
    assert found == Cup(
        "pail", pytest.approx((2.5, 2.5, 1.05)), pytest.approx(36.0), pytest.approx(1.0), pytest.approx(5.0), UP
    )
    for up in (DOWN, (1.0, 0.0, 0.0), (0.0, -1.0, 0.0)):
        assert _cups(pail, up=up) == ()


@pytest.mark.parametrize("height", [1, 2, 3, 4])
def test_a_pail_with_a_hole_in_its_side_holds_up_to_the_hole(height: int) -> None:
    filled = _pail()
    filled[0, 2, height] = False
    found = _cups(_at(blocks(filled)))
    assert [(cup.volume_mm3, cup.spill_mm) for cup in found] == [
        (pytest.approx(9.0 * (height - 1)), pytest.approx(float(height)))
    ] * (height > 1)


def test_a_pail_without_a_floor_holds_nothing_and_with_a_lid_all() -> None:
    filled = _pail()
    filled[2, 2, 0] = False
    assert _cups(_at(blocks(filled))) == ()
    filled = _pail()
    filled[1:4, 1:4, 4] = True
    for up in (UP, DOWN, (0.0, 1.0, 0.0)):
        (found,) = _cups(_at(blocks(filled)), up=up)
        assert found.volume_mm3 == pytest.approx(27.0)
        assert found.spill_mm is None


def test_two_wells_under_one_rim_are_one_pool_and_beside_each_other_two() -> None:
    filled = np.ones((7, 3, 4), dtype=bool)
    filled[1, 1, 1:] = filled[5, 1, 1:] = False
    assert [cup.volume_mm3 for cup in _cups(_at(blocks(filled)))] == [pytest.approx(3.0)] * 2
    filled[1:6, 1, 3] = False
    (found,) = _cups(_at(blocks(filled)))
    assert found.volume_mm3 == pytest.approx(2.0 * 2.0 + 5.0)


def test_wells_in_the_floor_of_a_wider_one_are_part_of_it() -> None:
    """No outline of a well crosses that of the room over it, and its middle lies over neither."""
    filled = np.ones((9, 5, 4), dtype=bool)
    filled[1:8, 1:4, 3] = filled[2, 2, 1:] = filled[6, 2, 1:] = False
    (found,) = _cups(_at(blocks(filled)))
    assert found.volume_mm3 == pytest.approx(21.0 + 4.0)
    assert found.spill_mm == pytest.approx(4.0)
    (turned,) = _cups(_at(blocks(filled[:, :, ::-1])), up=DOWN)
    assert turned.volume_mm3 == pytest.approx(21.0 + 4.0)


def test_a_well_that_drains_through_a_tunnel_below_its_rim() -> None:
    """A trap as under a sink: the way out goes down first and then up to a lip, and what is below the lip stays."""
    filled = np.ones((5, 3, 6), dtype=bool)
    filled[1, 1, 1:] = filled[1:4, 1, 1] = filled[3, 1, 1:4] = False
    filled[3:, 1, 3] = False
    (found,) = _cups(_at(blocks(filled)))
    # Up to the lip at 3: the well 2, the tunnel between 1, the riser 2.
    assert found.volume_mm3 == pytest.approx(5.0)
    assert found.spill_mm == pytest.approx(3.0)


def test_a_body_loose_in_a_pail_takes_its_room() -> None:
    found = _cups(_at(blocks(_pail()), name="pail"), _at(blocks(np.ones((1, 1, 2), dtype=bool)), 2.1, 2.2, 1.3))
    assert [(cup.body, cup.volume_mm3) for cup in found] == [("pail", pytest.approx(36.0 - 2.0))]


def test_a_post_sunk_into_the_floor_of_a_pail_takes_its_room() -> None:
    post = _at(blocks(np.ones((1, 1, 3), dtype=bool)), 2.1, 2.2, 0.5, name="post")
    for options in ({}, {"fused": [(0, 1)]}):
        found = _cups(_at(blocks(_pail()), name="pail"), post, **options)
        assert [(cup.body, cup.volume_mm3) for cup in found] == [("pail", pytest.approx(36.0 - 2.5))]


def test_small_pockets_are_left_out() -> None:
    filled = np.ones((3, 3, 2), dtype=bool)
    filled[1, 1, 1] = False
    side = SMALL_MM3 ** (1 / 3)
    assert len(_cups(Body("dent", blocks(filled, 1.01 * side)), layer_mm=0.02)) == 1
    assert _cups(Body("dent", blocks(filled, 0.97 * side)), layer_mm=0.02) == ()


@pytest.mark.parametrize("up", [UP, DOWN, (1.0, 0.0, 0.0), (0.3, -0.5, 0.8)])
def test_a_chain_of_rings_holds_nothing(up: tuple[float, float, float]) -> None:
    assert _cups(*tubes(*closed_chain(12)), up=up, layer_mm=0.05) == ()
    assert _cups(Body("ring", tube(ring(4.0, sides=96), 0.9, 24)), up=up, layer_mm=0.05) == ()


def test_air_stays_in_the_mould_above_its_only_way_in() -> None:
    """A piece like a J, poured at its long end, traps air in its short one; poured the other way up it does not."""
    filled = np.zeros((5, 1, 6), dtype=bool)
    filled[0, 0, :] = filled[:, 0, 0] = filled[4, 0, :3] = True
    (found,) = finish(metal_traps([_at(blocks(filled), name="hook")], 0.1, UP))
    assert found.body == "hook"
    assert found.volume_mm3 == pytest.approx(2.0)
    assert finish(metal_traps([_at(blocks(filled))], 0.1, DOWN)) == ()
    (finding,) = cup_findings([found], "metal")
    assert (finding.code, finding.severity) == ("cup", "note")
    assert "investment" in finding.text


def test_findings_say_what_to_do_by_use_and_by_the_way_it_opens() -> None:
    pail = _at(blocks(_pail()), name="pail")
    turned = Body("pail", pail.mesh, Pose(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 5.0, 5.0])))
    (to_film,) = cup_findings(_cups(pail), "print")
    (to_plate,) = cup_findings(_cups(turned, up=DOWN), "print")
    assert (to_film.severity, to_plate.severity) == ("warn", "note")
    assert "film" in to_film.text
    assert "plate" in to_plate.text
    (rinse,) = cup_findings(_cups(pail), "rinse")
    (slurry,) = cup_findings(_cups(turned, up=DOWN), "slurry")
    assert "solvent" in rinse.text
    assert "data sheet" in rinse.text
    assert "air" in slurry.text
    for finding in (to_film, to_plate, rinse, slurry):
        assert finding.code == "cup"
        assert finding.bodies == ("pail",)
        assert finding.value == pytest.approx(36.0)
        assert finding.limit == SMALL_MM3
        assert "36 mm3, 4.00 mm deep" in finding.text
    filled = _pail()
    filled[1:4, 1:4, 4] = True
    shut = _cups(_at(blocks(filled)))
    for use in ("print", "rinse", "slurry", "metal"):
        (finding,) = cup_findings(shut, use)  # type: ignore[arg-type]
        assert finding.severity == "stop"
        assert "closed cavity of 27 mm3" in finding.text


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 10_000),
    turn_deg=st.floats(0.0, 360.0),
    shift=st.tuples(*[st.floats(-50.0, 50.0)] * 3),
)
def test_turned_about_up_and_moved_it_holds_the_same(seed: int, turn_deg: float, shift: tuple) -> None:
    """Layers begin at the lowest point, so they move along: only rounding is left, far below the error of a layer."""
    rng = np.random.default_rng(seed)
    solid = blocks(rng.random((5, 5, 4)) < 0.7, 1.1)
    lean = turn_about(tuple(rng.normal(size=3)), float(rng.uniform(0.05, 0.6)))
    turn = turn_about((0.0, 0.0, 1.0), float(np.radians(turn_deg)))
    one = _cups(Body("one", solid, Pose(lean, np.zeros(3))), layer_mm=0.11)
    other = _cups(Body("one", solid, Pose(turn @ lean, np.array(shift))), layer_mm=0.11)
    assert sum(cup.volume_mm3 for cup in other) == pytest.approx(sum(cup.volume_mm3 for cup in one), abs=1e-6)
    assert sorted(cup.volume_mm3 for cup in other) == pytest.approx(sorted(cup.volume_mm3 for cup in one), abs=1e-6)
    assert sorted(cup.spill_mm or 0.0 for cup in other) == pytest.approx(
        sorted(cup.spill_mm + shift[2] if cup.spill_mm is not None else 0.0 for cup in one), abs=1e-6
    )


def _flooded(filled: np.ndarray) -> float:
    """What a grid of cubes holds, cube by cube: the lowest pass out of each, as in the filling of a height map.

    A slow and plain twin: levels relaxed until nothing changes.
    """
    empty = np.pad(~filled, 1, constant_values=True)
    height = np.broadcast_to(np.arange(empty.shape[2]), empty.shape)
    level = np.where(empty, 99, 100)
    rim = np.ones(empty.shape, dtype=bool)
    rim[1:-1, 1:-1, 1:-1] = False
    level[rim] = height[rim]
    while True:
        lowest = level.copy()
        for axis in range(3):
            for step in (1, -1):
                lowest = np.minimum(lowest, np.roll(level, step, axis=axis))
        new = np.where(empty & ~rim, np.minimum(level, np.maximum(lowest, height)), level)
        if np.array_equal(new, level):
            return float((empty & (level > height)).sum())
        level = new


def _without_pinches(filled: np.ndarray) -> np.ndarray:
    """Fill cells until no two empty ones meet in an edge or a corner only: these are neither joined nor apart."""
    filled = filled.copy()
    while True:
        empty = np.pad(~filled, 1, constant_values=True)
        for cell in np.argwhere(~filled) + 1:
            for step in np.argwhere(np.ones((3, 3, 3))) - 1:
                if abs(step).sum() < 2 or not empty[tuple(cell + step)]:
                    continue
                between = empty[tuple(slice(min(c, c + s), max(c, c + s) + 1) for c, s in zip(cell, step, strict=True))]
                joined = between.copy()
                joined[...] = False
                corner = tuple(0 if s >= 0 else -1 for s in step)
                joined[corner] = True
                for _ in range(3):
                    for axis in range(3):
                        if joined.shape[axis] == 2:
                            joined |= np.flip(joined, axis) & between
                if not joined[tuple(-1 if s > 0 else 0 for s in step)]:
                    filled[tuple(cell - 1)] = True
                    break
            else:
                continue
            break
        else:
            return filled


@settings(max_examples=30, deadline=None, derandomize=True)
@given(seed=st.integers(0, 100_000))
def test_any_grid_of_cubes_holds_what_a_plain_flooding_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    filled = rng.random((6, 5, 5)) < rng.uniform(0.4, 0.9)
    filled[0, 0, 0] = True
    filled = _without_pinches(filled)
    found = _cups(_at(blocks(filled)), layer_mm=0.5, least_mm3=0.1)
    assert sum(cup.volume_mm3 for cup in found) == pytest.approx(_flooded(filled))


def test_progress_rises() -> None:
    shares: list[float] = []
    finish(cups(tubes(*closed_chain(6, radius=6.0)), 0.1), shares.append)
    assert shares == sorted(shares)
    assert shares[-1] <= 1.0


@pytest.mark.parametrize("layer_mm", [0.0, -0.1, float("nan"), float("inf"), 5.1])
def test_a_layer_height_that_cannot_work_is_refused(layer_mm: float) -> None:
    for find in (cups, metal_traps):
        with pytest.raises(BadInput, match="layer height"):
            finish(find([_at(blocks(_pail()))], layer_mm, UP))


def test_open_empty_and_directionless_are_refused() -> None:
    pail = blocks(_pail())
    with pytest.raises(BadInput, match="lid: the surface is open"):
        _cups(_at(Mesh(pail.points, pail.triangles[1:]), name="lid"))
    with pytest.raises(BadInput, match="lid: its faces disagree"):
        _cups(_at(Mesh(pail.points, np.concatenate([pail.triangles[:1, ::-1], pail.triangles[1:]])), name="lid"))
    with pytest.raises(BadInput, match="no body"):
        _cups()
    with pytest.raises(BadInput, match="no length"):
        _cups(_at(pail), up=(0.0, 0.0, 0.0))
