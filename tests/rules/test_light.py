"""Light reach: what must hold of any bodies, the errors it states, blind patches, and what is refused."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect import light
from addon.rules.inspect.finding import CODES, Finding
from addon.rules.inspect.light import PIXEL_MM, LightReach, half_sphere, light_reach, pixel_mm_for
from addon.rules.inspect.light_findings import PATCH_MM2, POOR_SHARE, SHOWN, BlindPatch, blind_patches, light_findings
from addon.rules.solid.measure import area_mm2
from addon.rules.solid.mesh import Body, Mesh, Pose, merged, mesh
from tests.gap_shapes import ball, distinct_ring, oval_link, shared_ring, split
from tests.mesh_shapes import box, flipped, frame_block, moved, rotation, soup, torus


def reach_of(bodies: list[Body], *, directions: int = 64, pixel_mm: float = 0.15) -> LightReach:
    return finish(light_reach(bodies, directions=directions, pixel_mm=pixel_mm))


def placed(bodies: list[Body], seed: int, shift: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> list[Body]:
    """All bodies turned and moved together."""
    turn = rotation(seed)
    return [Body(b.name, b.mesh, Pose(turn @ b.pose.rotation, turn @ b.pose.origin + np.array(shift))) for b in bodies]


def average(reach: LightReach, body: int) -> float:
    of = reach.body == body
    return float(np.average(reach.share[of], weights=reach.area_mm2[of]))


def patches_of(bodies: list[Body], reach: LightReach, limit: float = 0.1) -> tuple[BlindPatch, ...]:
    return finish(blind_patches(bodies, reach, limit=limit))


def findings_of(bodies: list[Body], limit: float = 0.1) -> tuple[Finding, ...]:
    reach = reach_of(bodies)
    return light_findings(bodies, reach, patches_of(bodies, reach, limit), limit=limit)


def opened(solid: Mesh, faces: int) -> Mesh:
    """The mesh without its last faces."""
    return mesh(solid.points, solid.triangles[:-faces])


# A chain of five links about two wires across; every second one turned.
LINKS = shared_ring(oval_link(28, 8), 5, 7.0)


@pytest.mark.parametrize("count", [1, 2, 8, 500])
def test_directions_are_spread_evenly_over_the_half_sphere(count: int) -> None:
    way = half_sphere(count)
    assert np.allclose(np.linalg.norm(way, axis=1), 1.0)
    assert (way[:, 2] > 0.0).all()
    # Evenly spread: no two nearer than half of what a share of the area each would give.
    near = np.arccos(np.clip(way @ way.T - 2.0 * np.eye(count), -1.0, 1.0)).min()
    assert near > 0.5 * math.sqrt(2.0 * math.pi / count)


def test_faces_are_told_in_the_order_of_bodies_and_meshes() -> None:
    bodies = [Body("small", box(1.0)), Body("large", box(2.0), Pose(np.eye(3), np.array([5.0, 0, 0])))]
    reach = reach_of(bodies)
    assert reach.body.tolist() == [0] * 12 + [1] * 12
    assert np.allclose(reach.area_mm2, [0.5] * 12 + [2.0] * 12)
    assert (reach.directions, reach.pixel_mm) == (64, 0.15)


@settings(max_examples=5, derandomize=True, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    shift=st.tuples(*[st.floats(-50.0, 50.0)] * 3),
    directions=st.sampled_from([32, 64, 96]),
)
def test_turning_and_moving_all_together_changes_no_more_than_the_stated_errors(
    seed: int, shift: tuple[float, float, float], directions: int
) -> None:
    still = reach_of(LINKS, directions=directions)
    turned = reach_of(placed(LINKS, seed, shift), directions=directions)
    within = still.sampling_error + turned.sampling_error + still.pixel_error + turned.pixel_error
    assert (np.abs(still.share - turned.share) <= within).all()
    # Averages over bodies lie far nearer together than that.
    for body in range(len(LINKS)):
        assert abs(average(still, body) - average(turned, body)) < 0.25 * still.sampling_error


def _under_a_disc(sides: int, radius: float, shift: float) -> list[Body]:
    turn = 2.0 * np.pi * np.arange(sides) / sides
    rim = np.column_stack((shift + radius * np.cos(turn), radius * np.sin(turn), np.ones(sides)))
    steps = np.arange(1, sides - 1)
    spot = 0.02 * np.array([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)])
    return [
        Body("spot", mesh(spot, [(0, 1, 2), (0, 2, 3)])),
        Body("cover", mesh(rim, np.column_stack((0 * steps, steps, steps + 1)))),
    ]


def _covered(polygon: np.ndarray) -> float:
    """The view factor from a level spot at the origin to a polygon over it, clockwise seen from the spot.

    Lambert's formula of 1760: half the sum over the edges of the angle each spans times the height of its normal.
    """
    ahead = np.roll(polygon, -1, axis=0)
    normal = np.cross(polygon, ahead)
    length = np.linalg.norm(normal, axis=1)
    spans = np.arctan2(length, (polygon * ahead).sum(axis=1))
    return abs(float((spans * normal[:, 2] / length).sum())) / (2.0 * math.pi)


@settings(max_examples=20, derandomize=True, deadline=None)
@given(
    sides=st.integers(3, 40),
    radius=st.floats(0.3, 2.5),
    shift=st.floats(0.0, 2.0),
    seed=st.integers(0, 10_000),
    directions=st.sampled_from([16, 32, 64, 128, 256]),
)
def test_the_sampling_error_holds_under_covers_of_any_size_and_place(
    sides: int, radius: float, shift: float, seed: int, directions: int
) -> None:
    bodies = _under_a_disc(sides, radius, shift)
    reach = reach_of(placed(bodies, seed), directions=directions, pixel_mm=0.04)
    free = 1.0 - _covered(bodies[1].mesh.points)
    assert abs(average(reach, 0) - free) <= reach.sampling_error


def test_the_sampling_error_is_no_larger_than_it_need_be() -> None:
    """In sixty skies the worst comes to a third of it at least: it is a bound, not a way out."""
    worst = 0.0
    for seed in range(60):
        random = np.random.default_rng(seed)
        bodies = _under_a_disc(30, random.uniform(0.3, 2.5), random.uniform(0.0, 2.0))
        reach = reach_of(placed(bodies, seed), directions=32, pixel_mm=0.04)
        miss = abs(average(reach, 0) - (1.0 - _covered(bodies[1].mesh.points)))
        worst = max(worst, miss / reach.sampling_error)
    assert 1.0 / 3.0 < worst < 1.0


@pytest.mark.parametrize(("steps", "sides", "pixel_mm"), [(24, 8, 0.3), (24, 8, 0.1), (60, 16, 0.3), (80, 30, 0.3)])
def test_the_pixel_error_holds_against_pixels_far_finer(steps: int, sides: int, pixel_mm: float) -> None:
    """The directions are the same, so what differs is what the pixels leave open: on 99 faces in 100 no more than said.

    From faces of several pixels to faces far smaller than one, and pixels wider than the room between the links.
    """
    links = placed(shared_ring(oval_link(steps, sides), 3, 7.0), 8)
    coarse = reach_of(links, directions=32, pixel_mm=pixel_mm)
    fine = reach_of(links, directions=32, pixel_mm=pixel_mm / 6.0)
    assert coarse.sampling_error == fine.sampling_error
    off = np.abs(coarse.share - fine.share)
    assert (off > coarse.pixel_error).mean() < 0.01
    # What is said is not out of all measure.
    assert np.quantile(coarse.pixel_error, 0.95) < 12.0 * np.quantile(off, 0.95)
    assert np.median(fine.pixel_error) < 0.5 * np.median(coarse.pixel_error)


def test_finer_pixels_and_more_directions_state_smaller_errors() -> None:
    links = LINKS[:3]
    few, many = reach_of(links, directions=16), reach_of(links, directions=256)
    assert many.sampling_error == pytest.approx(few.sampling_error / 8.0)
    assert (many.pixel_error < few.pixel_error).all()
    # Against the best of the measures, each is as near as it says.
    best = reach_of(links, directions=512, pixel_mm=0.1)
    for reach in (few, many):
        assert (np.abs(reach.share - best.share) <= reach.sampling_error + reach.pixel_error + best.pixel_error).all()


def test_faces_smaller_than_a_pixel_are_told_from_the_pixel_beside_and_say_so() -> None:
    coarse = [Body("one", torus(3.0, 1.0, 30, 12))]
    fine = [Body("one", split(split(coarse[0].mesh)))]
    whole, pieces = reach_of(coarse, directions=96), reach_of(fine, directions=96)
    assert np.median(pieces.area_mm2) < pieces.pixel_mm**2
    assert np.median(pieces.pixel_error) > 3.0 * np.median(whole.pixel_error)
    # Splitting leaves the surface where it is, so the average of the pieces is the share of the whole.
    n = len(coarse[0].mesh.triangles)
    parts = pieces.share.reshape(4, 4, n).mean(axis=(0, 1))
    assert np.abs(parts - whole.share).max() < 0.04


@pytest.mark.parametrize("level", [0, 3, 5])
def test_on_a_ball_all_light_arrives_at_facets_of_any_size(level: int) -> None:
    reach = reach_of([Body("ball", ball(1.0, level))], pixel_mm=0.2)
    assert (reach.share == 1.0).all()


def test_no_light_enters_a_closed_shell() -> None:
    shell, kernel = split(split(box(4.0, (-2.0, -2.0, -2.0)))), ball(1.0, 3)
    reach = reach_of(
        placed([Body("shell", merged([shell, flipped(box(3.0, (-1.5,) * 3))])), Body("kernel", kernel)], 4)
    )
    outer = np.arange(len(reach.share)) < len(shell.triangles)
    assert (reach.share[outer] == 1.0).all()
    # Faces that no pixel meets, standing nearly along the light, are told from beside them: no more than is stated.
    assert (reach.share[~outer] <= reach.pixel_error[~outer]).all()
    assert reach.share[~outer].max() < 0.01
    assert np.median(reach.share[~outer]) == 0.0


def test_light_passes_through_every_hole_of_a_plate() -> None:
    """A square hole a cube deep: its walls see the sky through both ends, more than through one that is closed."""
    block = frame_block(1)
    reach = reach_of([Body("block", block)], directions=256, pixel_mm=0.03)
    inner = np.flatnonzero(reach.share < 0.999)
    assert len(inner) == 8
    # Faces of a unit cube hide a fifth of the light from each other (opposite and beside, 0.1998 and 0.2000: Howell
    # C-11, C-14), so two open ends let in two fifths.
    assert float(np.mean(reach.share[inner])) == pytest.approx(0.4, abs=0.01)


def test_an_open_mesh_is_measured_and_blocks_from_both_sides() -> None:
    lid = box(4.0, (-2.0, -2.0, -2.0))
    top = int(np.argmax(lid.corners()[:, :, 2].mean(axis=1)))
    without = mesh(lid.points, np.delete(lid.triangles, (top, top ^ 1), axis=0))
    kernel = ball(0.5, 2)
    shade = [average(reach_of([Body("lid", side), Body("kernel", kernel)]), 1) for side in (without, flipped(without))]
    assert shade[0] == pytest.approx(shade[1], abs=1e-12)
    assert 0.0 < shade[0] < 0.4
    inside = reach_of([Body("lid", flipped(without))])
    assert (inside.share < 0.7).all()
    assert (reach_of([Body("lid", without)]).share == 1.0).all()


def test_faces_that_lie_on_each_other_share_their_light() -> None:
    one = box((4.0, 2.0, 1.0))
    other = moved(one, (2.0, 0.0, 0.0))
    reach = reach_of(placed([Body("one", one), Body("other", other), Body("again", one)], 2))
    up = np.concatenate([np.ptp(m.corners()[:, :, 2], axis=1) == 0.0 for m in (one, other, one)])
    assert up.sum() == 12
    assert (reach.share[up] == 1.0).all()


def test_the_same_bodies_give_the_same_to_the_last_bit_and_another_order_the_same_figures() -> None:
    first, again = reach_of(LINKS), reach_of(distinct_ring(LINKS[0].mesh, 5, 7.0))
    assert np.array_equal(first.share, reach_of(LINKS).share)
    assert np.allclose(first.share, again.share, atol=1e-6)
    turned = reach_of(LINKS[::-1])
    for body in range(5):
        assert np.allclose(first.share[first.body == body], turned.share[turned.body == 4 - body], atol=1e-6)


def test_points_of_no_face_and_faces_of_no_area_change_nothing() -> None:
    plain = torus(3.0, 1.0, 24, 8)
    far = mesh(np.vstack((plain.points, (500.0, 0.0, 0.0))), np.vstack((plain.triangles, (3, 3, 5), (7, 7, 7))))
    reach, bare = reach_of([Body("far", far)]), reach_of([Body("bare", plain)])
    assert np.array_equal(reach.share[:-2], bare.share)
    assert np.array_equal(reach.area_mm2[-2:], (0.0, 0.0))
    assert np.array_equal(reach.share[-2:], (1.0, 1.0))


def test_the_share_done_rises_to_the_whole_in_many_steps() -> None:
    shares: list[float] = []
    finish(light_reach(LINKS, directions=32), shares.append)
    assert shares == sorted(shares)
    assert 0.0 < shares[0] < 0.05
    assert shares[-1] == pytest.approx(1.0)
    assert len(shares) >= 16 * 4


@pytest.mark.parametrize("directions", [0, 14, 63, 8194, -64])
def test_a_number_of_directions_that_does_not_work_is_refused_with_those_that_do(directions: int) -> None:
    with pytest.raises(BadInput, match="even number from 16 to 8192") as caught:
        reach_of(LINKS, directions=directions)
    assert f" {directions} directions" in str(caught.value)


@pytest.mark.parametrize("pixel_mm", [0.0, 1e-3, 50.0, math.nan])
def test_pixels_that_do_not_work_are_refused_with_sizes_that_do(
    pixel_mm: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A smaller memory, so that the finest pixels that fit it are soon drawn.
    monkeypatch.setattr(light, "MOST_PIXELS", 1 << 18)
    bodies = [Body("box", box(2.0))]
    with pytest.raises(BadInput, match="give a number from") as caught:
        reach_of(bodies, pixel_mm=pixel_mm)
    numbers = re.search(r"from ([\d.e-]+) to ([\d.e-]+)$", str(caught.value))
    assert numbers is not None
    for tried in numbers.groups():
        assert (reach_of(bodies, directions=16, pixel_mm=float(tried)).share == 1.0).all()


def test_a_flat_job_of_large_faces_is_held_to_the_places_as_well() -> None:
    """Sheets on sheets: the drawing would be small enough, the places where it meets faces too many."""
    sheets = [Body(str(n), box((20.0, 20.0, 0.1), (0.0, 0.0, 0.3 * n))) for n in range(40)]
    with pytest.raises(BadInput, match=r"give a number from 0\.04\d to"):
        reach_of(sheets, pixel_mm=0.03)


@pytest.mark.parametrize("side", [0.3, 2.0, 60.0, 4000.0])
@pytest.mark.parametrize("sheets", [1, 40])
def test_the_pixels_that_suit_a_job_work_for_any_size(
    side: float, sheets: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A smaller memory, so that the largest drawing is soon made.
    monkeypatch.setattr(light, "MOST_PIXELS", 1 << 16)
    monkeypatch.setattr(light, "MOST_PLACES", 1 << 16)
    monkeypatch.setattr(light, "USUAL_ACROSS", 200)
    plain = box((side, side, 0.1 * side))
    # A point of no face says nothing of the size.
    solid = mesh(np.vstack((plain.points, (1e6, 0.0, 0.0))), plain.triangles)
    bodies = [Body(str(n), solid, Pose(np.eye(3), np.array([0.0, 0.0, 0.12 * side * n]))) for n in range(sheets)]
    assert reach_of(bodies, directions=16, pixel_mm=pixel_mm_for(bodies)).share.max() == 1.0


def test_a_job_of_usual_size_gets_the_usual_pixels() -> None:
    assert pixel_mm_for(LINKS) == PIXEL_MM


def test_nothing_and_what_has_no_area_are_refused() -> None:
    with pytest.raises(BadInput, match="at least one body"):
        reach_of([])
    line = mesh([(0, 0, 0), (1, 0, 0), (2, 0, 0)], [(0, 1, 2)])
    with pytest.raises(BadInput, match="no area"):
        reach_of([Body("line", line)])


def _boxed_in() -> list[Body]:
    """A shell with two closed rooms, one a cube of 1 mm, one of 2 mm; and a ball well away from it."""
    shell = merged([box((7.0, 4.0, 4.0)), flipped(box(1.0, (1.0, 1.5, 1.5))), flipped(box(2.0, (4.0, 1.0, 1.0)))])
    return [Body("ball", ball(1.0, 2), Pose(np.eye(3), np.array([0.0, 0.0, 9.0]))), Body("shell", shell)]


@pytest.mark.parametrize("loose", [False, True])
def test_blind_patches_are_the_faces_that_hang_together(loose: bool) -> None:
    bodies = _boxed_in()
    if loose:
        bodies = [Body(b.name, soup(b.mesh), b.pose) for b in bodies]
    bodies = placed(bodies, 6, (3.0, 4.0, 5.0))
    reach = reach_of(bodies)
    patches = patches_of(bodies, reach)
    assert [p.body for p in patches] == [1, 1]
    assert [p.area_mm2 for p in patches] == pytest.approx([24.0, 6.0])
    assert [p.share for p in patches] == pytest.approx([0.0, 0.0], abs=1e-3)
    assert [sorted(p.faces.tolist()) for p in patches] == [list(range(24, 36)), list(range(12, 24))]
    for patch in patches:
        # The place lies on a face of the patch.
        middles = bodies[1].points()[bodies[1].mesh.triangles[patch.faces]].mean(axis=1)
        assert np.linalg.norm(middles - patch.at, axis=1).min() < 1e-12


def test_patches_hold_all_faces_under_the_limit_and_no_other() -> None:
    reach = reach_of(LINKS, directions=256)
    counts = []
    for limit in (0.0, 0.3, 0.5, 1.0):
        patches = patches_of(LINKS, reach, limit)
        n = len(LINKS[0].mesh.triangles)
        listed = np.concatenate([np.zeros(0, dtype=np.int64), *(p.body * n + p.faces for p in patches)])
        assert np.array_equal(np.sort(listed), np.flatnonzero((reach.share < limit) & ~reach.buried))
        counts.append(len(listed))
    assert counts == sorted(set(counts))


def test_a_face_without_area_does_not_part_a_patch() -> None:
    """A room whose walls meet along one edge through a needle of no area is one room."""
    room = flipped(box(1.0, (1.0, 1.0, 1.0)))
    a, b = room.triangles[0], next(t for t in room.triangles[1:] if len(set(t) & set(room.triangles[0])) == 2)
    assert len(set(a) & set(b)) == 2
    middle = room.points[list(set(a) & set(b))].mean(axis=0)
    p, q = (k for k in a if k in b)
    new = len(room.points)
    other = next(k for k in b if k not in a)
    ordered = list(b)
    at = ordered.index(other)
    second, third = ordered[(at + 1) % 3], ordered[(at + 2) % 3]
    keep = [t for t in room.triangles if tuple(t) != tuple(b)]
    needle = [(third, second, new)]
    halves = [(other, second, new), (other, new, third)]
    split_room = mesh(np.vstack((room.points, middle)), np.array([*keep, *halves, *needle]))
    assert {p, q} == {second, third}
    assert area_mm2(split_room) == pytest.approx(area_mm2(room))
    bodies = [Body("shell", merged([box(3.0), split_room]))]
    patches = patches_of(bodies, reach_of(bodies))
    assert [p.area_mm2 for p in patches] == pytest.approx([6.0])


def test_faces_in_the_metal_of_another_body_are_no_surface() -> None:
    """A peg stuck 1 mm deep into a block: its foot and the lower half of its sides count for nothing."""
    block = Body("block", box(4.0))
    low, high = block.points().min(axis=0), block.points().max(axis=0)
    at = np.array([(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0, high[2] - 0.5])
    peg = Body("peg", split(box(1.0)), Pose(np.eye(3), at - split(box(1.0)).points.mean(axis=0)))
    reach = finish(light_reach([block, peg], directions=32, fused=[(0, 1)]))
    middle = peg.points()[peg.mesh.triangles].mean(axis=1)[:, 2]
    assert np.array_equal(reach.buried[reach.body == 1], middle < high[2])
    assert not reach.buried[reach.body == 0].any()
    assert np.array_equal(finish(light_reach([block, peg], directions=32)).buried, reach.buried)
    assert not finish(light_reach([block, peg], directions=32, fused=[])).buried.any()
    assert all(not reach.buried[reach.body == p.body][p.faces].any() for p in patches_of([block, peg], reach, 1.0))


def test_faces_in_the_metal_of_their_own_body_are_no_surface_where_it_is_said_to_cross_itself() -> None:
    """A block and a peg in one mesh, pushed into each other; said to cross itself by its own number."""
    block, peg = box(4.0), moved(split(box(1.0)), (1.5, 1.5, 3.5))
    both = placed([Body("far", box(1.0, (9.0, 0, 0))), Body("both", merged([block, peg]))], 3)
    reach = finish(light_reach(both, directions=16, fused=[(1, 1)]))
    middle = peg.corners().mean(axis=1)[:, 2]
    assert reach.buried.tolist() == [False] * 24 + (middle < 4.0).tolist()
    assert not finish(light_reach(both, directions=16)).buried.any()


@pytest.mark.parametrize("limit", [-0.1, 1.5, math.nan])
def test_a_limit_that_is_no_share_is_refused(limit: float) -> None:
    with pytest.raises(BadInput, match="a share from 0 to 1"):
        patches_of(LINKS, reach_of(LINKS, directions=16), limit)


def test_a_reach_of_other_bodies_is_refused() -> None:
    with pytest.raises(BadInput, match="measure it again"):
        patches_of(LINKS[:4], reach_of(LINKS, directions=16))


def test_findings_say_how_much_is_out_of_reach_and_where() -> None:
    bodies = _boxed_in()
    job, shell = findings_of(bodies)
    assert job.code == shell.code == "blind"
    assert "blind" in CODES
    whole = sum(area_mm2(body.mesh) for body in bodies)
    assert (job.severity, job.bodies) == ("warn", ())
    assert job.value == pytest.approx(30.0 / whole)
    assert job.limit == POOR_SHARE
    assert "30 mm2" in job.text
    assert "poor choice" in job.text
    assert "data sheet" in job.text
    assert "gloves" in job.text
    assert (shell.severity, shell.bodies, shell.limit) == ("note", ("shell",), PATCH_MM2)
    assert shell.value == pytest.approx(30.0)
    assert "30 mm2" in shell.text
    assert "2 patches, 24 mm2 the largest" in shell.text
    assert job.at == shell.at
    assert job.at is not None
    # In the larger room, on its wall.
    assert all(low - 1e-9 <= x <= high + 1e-9 for x, low, high in zip(job.at, (4, 1, 1), (6, 3, 3), strict=True))


def test_little_out_of_reach_is_a_note_and_none_is_nothing() -> None:
    room = flipped(box(0.5, (1.0, 1.0, 1.0)))
    job, one = findings_of([Body("shell", merged([box((8.0, 8.0, 4.0)), room]))])
    assert (job.severity, one.severity) == ("note", "note")
    assert job.value is not None
    assert 0.0 < job.value < POOR_SHARE
    assert "poor choice" not in job.text
    assert "patches" not in one.text
    assert findings_of([Body("ball", ball(1.0, 2))]) == ()
    speck = flipped(box(0.08, (1.0, 1.0, 1.0)))
    assert findings_of([Body("shell", merged([box((8.0, 8.0, 4.0)), speck]))]) == ()


def test_the_darkest_body_is_told_of_first() -> None:
    shells = [
        Body(f"room of {side}", merged([box(4.0), flipped(box(side, (0.5, 0.5, 0.5)))]), Pose(np.eye(3), at))
        for side, at in ((1.0, np.zeros(3)), (3.0, np.array([9.0, 0, 0])), (2.0, np.array([0, 9.0, 0])))
    ]
    told = findings_of(shells)[1:]
    assert [finding.bodies[0] for finding in told] == ["room of 3.0", "room of 2.0", "room of 1.0"]


def test_five_bodies_are_told_of_one_by_one_and_the_others_together() -> None:
    """Eight shells with rooms of their own: each of the five worst, then three in one line, nothing left out."""
    shells = [
        Body(
            f"room {n}",
            merged([box(4.0), flipped(box(0.5 + 0.25 * n, (0.5,) * 3))]),
            Pose(np.eye(3), np.array([9.0 * n, 0.0, 0.0])),
        )
        for n in range(8)
    ]
    job, *told, others = findings_of(shells)
    assert [one.bodies for one in told] == [(f"room {n}",) for n in (7, 6, 5, 4, 3)]
    assert len(told) == SHOWN
    assert others.bodies == ("room 2", "room 1", "room 0")
    assert others.text.startswith("3 more bodies: the light does not reach ")
    assert "3 patches" in others.text
    assert others.value == pytest.approx(sum(6.0 * (0.5 + 0.25 * n) ** 2 for n in range(3)))
    assert {one.code for one in (job, *told, others)} == {"blind"}
    blind = sum(one.value for one in (*told, others) if one.value is not None)
    assert job.value == pytest.approx(blind / sum(area_mm2(body.mesh) for body in shells))
    # With five there are no others.
    assert len(findings_of(shells[:5])) == 6
    assert findings_of(shells[:6])[-1].text.startswith("1 more body: the light does not reach ")


def test_what_is_buried_is_no_surface_in_the_figures_either() -> None:
    """A block with a closed room, and a peg half in it: the share is of the surface that is left."""
    block = Body("block", merged([box(8.0), flipped(box(2.0, (1.0, 1.0, 1.0)))]))
    peg = Body("peg", split(box(1.0)), Pose(np.eye(3), np.array([5.0, 5.0, 7.5])))
    reach = finish(light_reach([block, peg], directions=32, pixel_mm=0.15, fused=[(0, 1)]))
    patches = patches_of([block, peg], reach)
    (job, one) = light_findings([block, peg], reach, patches, limit=0.1)
    assert one.bodies == ("block",)
    # 6 x 64 + 24 of the block, whose face under the peg has its middle outside, and 3 of the peg.
    assert job.value == pytest.approx(24.0 / (384.0 + 24.0 + 3.0))
