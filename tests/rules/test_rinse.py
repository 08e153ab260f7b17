"""Rinse reach: slots whose way out is known, what must not change it, and what is refused."""

import math

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.progress import finish
from addon.rules.inspect import rinse
from addon.rules.inspect.finding import CODES
from addon.rules.inspect.rinse import LEAST_MM2, SHOWN, SPACING_MM, WAY_SHARE, Slot, rinse_findings, rinse_reach
from addon.rules.solid.cells import boxes_mesh
from addon.rules.solid.distance import gaps
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from tests.gap_shapes import oval_link, shared_ring, split, turn_about
from tests.mesh_shapes import rotation, torus


def slots(*bodies: Body, **options: object) -> tuple[Slot, ...]:
    return finish(rinse_reach(bodies, **options))  # type: ignore[arg-type]


def plates(side: float, gap: float) -> tuple[Body, Body]:
    lower = boxes_mesh([((0, side), (0, side), (0, 1))])
    return Body("lower", lower), Body("upper", boxes_mesh([((0, side), (0, side), (1 + gap, 2 + gap))]))


def arc(radius: float, begin: float, end: float) -> list[tuple[float, float]]:
    """Points of a circle, radius from the axis and height, on the axis where they begin or end at the pole."""
    angle = np.linspace(begin, end, 32)
    return [(x if x > 1e-9 else 0.0, z) for x, z in (radius * np.stack([np.cos(angle), np.sin(angle)], 1))]


def turned(section: list[tuple[float, float]], steps: int) -> Mesh:
    """A section of radius and height that begins and ends on the axis, turned about it, with one point at each pole."""
    low, *between, high = section
    angle, many = 2.0 * np.pi * np.arange(steps) / steps, len(between)
    points = [(r * np.cos(a), r * np.sin(a), z) for a in angle for r, z in between]
    here = many * np.arange(steps)
    there = np.roll(here, -1)
    bottom, top = np.full(steps, len(points)), np.full(steps, len(points) + 1)
    faces = [np.stack([bottom, there, here], 1), np.stack([top, here + many - 1, there + many - 1], 1)]
    for k in range(many - 1):
        faces.append(np.stack([here + k, there + k, there + k + 1], 1))
        faces.append(np.stack([here + k, there + k + 1, here + k + 1], 1))
    return mesh([*points, (0.0, 0.0, low[1]), (0.0, 0.0, high[1])], np.concatenate(faces))


def block(*holes: tuple[tuple[float, float], ...], side: float = 6.0, high: float = 10.0) -> Mesh:
    return boxes_mesh([((0, side), (0, side), (0, high))], list(holes))  # type: ignore[arg-type]


@pytest.mark.parametrize(("side", "gap"), [(8.0, 0.3), (10.0, 0.25), (7.0, 0.2)])
def test_between_two_plates_the_middle_has_half_a_side_to_go(side: float, gap: float) -> None:
    """Out of reach is the square that lies farther than eight gaps from every edge."""
    (slot,) = slots(*plates(side, gap))
    assert {slot.a, slot.b} == {"lower", "upper"}
    assert slot.width_mm == pytest.approx(gap, rel=0.03)
    assert slot.way_mm == pytest.approx(side / 2.0, abs=1.5 * SPACING_MM)
    assert slot.at[:2] == pytest.approx((side / 2.0, side / 2.0), abs=2.0 * SPACING_MM)
    assert slot.across[:2] == pytest.approx(slot.at[:2], abs=SPACING_MM)
    inner = side - 2.0 * WAY_SHARE * gap
    assert (inner - 3.0 * SPACING_MM) ** 2 < slot.area_mm2 < (inner + 3.0 * SPACING_MM) ** 2


@pytest.mark.parametrize("steps", [24, 128])
def test_between_two_round_plates_the_middle_has_the_radius_to_go(steps: int) -> None:
    """However many long thin triangles meet in the middle."""
    radius, gap = 5.0, 0.25
    lower, upper = (turned([(0, z), (radius, z), (radius, z + 1), (0, z + 1)], steps) for z in (0.0, 1.0 + gap))
    (slot,) = slots(Body("lower", lower), Body("upper", upper))
    assert slot.width_mm == pytest.approx(gap, rel=0.03)
    assert slot.way_mm == pytest.approx(radius, abs=2.0 * SPACING_MM)
    assert math.hypot(*slot.at[:2]) < SPACING_MM
    inner = radius - WAY_SHARE * gap
    assert math.sqrt(slot.area_mm2 / math.pi) == pytest.approx(inner, abs=2.0 * SPACING_MM)


@pytest.mark.parametrize("rim_deg", [0.0, 20.0])
def test_a_ball_in_a_socket_has_the_arc_to_the_rim_to_go(rim_deg: float) -> None:
    """From the bottom along the wall; out of reach is the cap of the sphere that lies farther than eight gaps."""
    radius, gap, bottom, rim = 3.0, 0.25, -0.5 * math.pi, math.radians(rim_deg)
    wall = radius + gap
    ball = Body("ball", turned(arc(radius, bottom, -bottom), 48))
    socket = Body("socket", turned([*arc(wall + 1.0, bottom, rim), *arc(wall, rim, bottom)], 48))
    (slot,) = slots(ball, socket)
    along = {"ball": radius, "socket": wall}[slot.a]
    assert slot.width_mm == pytest.approx(gap, rel=0.04)
    assert slot.way_mm == pytest.approx(along * (rim - bottom), abs=2.0 * SPACING_MM)
    assert slot.at == pytest.approx((0.0, 0.0, -along), abs=SPACING_MM)
    cap = [
        2.0 * math.pi * along**2 * (1.0 - math.cos((way - WAY_SHARE * gap) / along))
        for way in (along * (rim - bottom) - 2.0 * SPACING_MM, along * (rim - bottom) + 2.0 * SPACING_MM)
    ]
    assert cap[0] < slot.area_mm2 < cap[1]


def test_room_that_has_all_but_bled_shut_is_no_way_out() -> None:
    (slot,) = slots(*plates(4.0, 0.005))
    assert slot.width_mm < 0.04
    assert slot.way_mm == pytest.approx(2.0, abs=2.0 * SPACING_MM)


def test_wide_gaps_and_short_ways_are_no_slots() -> None:
    assert slots(*plates(12.0, 0.65)) == ()
    assert slots(*plates(6.0, 0.4)) == ()
    assert slots(plates(12.0, 0.25)[0]) == ()


def test_a_pin_in_a_blind_hole_has_the_whole_way_back_and_in_a_through_hole_half() -> None:
    """A square pin, 0.25 mm of room all round it: from the middle of its end, or from half way."""
    bore = ((1.75, 4.25), (1.75, 4.25))
    pin = boxes_mesh([((2.0, 4.0), (2.0, 4.0), (0.25, 10.0))])
    blind = Body("block", boxes_mesh([((0, 6), (0, 6), (-2, 8))], [(*bore, (0.0, 8.0))]))
    (deep,) = slots(blind, Body("pin", pin))
    assert deep.way_mm == pytest.approx(7.75 + 1.0, abs=2.0 * SPACING_MM)
    # In the corners of the bore the room is a little wider.
    assert 0.25 <= deep.width_mm < 0.3
    through = Body("block", boxes_mesh([((0, 6), (0, 6), (0, 8))], [(*bore, (0.0, 8.0))]))
    (half,) = slots(through, Body("pin", boxes_mesh([((2.0, 4.0), (2.0, 4.0), (-1.0, 9.0))])))
    assert half.way_mm == pytest.approx(4.0, abs=1.5 * SPACING_MM)
    assert half.at[2] == pytest.approx(4.0, abs=2.0 * SPACING_MM)


def test_a_slit_within_one_body_is_told_once() -> None:
    """0.3 mm wide, open above and at both ends: the farthest place is 5 mm from the ends and below."""
    (slot,) = slots(Body("block", block(((4.85, 5.15), (0, 10), (2, 10)), side=10.0)))
    assert (slot.a, slot.b) == ("block", "block")
    assert slot.width_mm == pytest.approx(0.3, rel=0.03)
    assert slot.way_mm == pytest.approx(5.0, abs=1.5 * SPACING_MM)


def test_a_pin_hole_is_as_deep_as_it_is_when_it_is_blind() -> None:
    (slot,) = slots(Body("block", block(((2.75, 3.25), (2.75, 3.25), (2, 10)))))
    assert slot.way_mm == pytest.approx(8.0, abs=1.5 * SPACING_MM)
    assert slot.at[2] == pytest.approx(2.0, abs=2.0 * SPACING_MM)


def test_a_body_shut_up_in_another_has_no_way_out() -> None:
    inner = boxes_mesh([((0.2, 4.8), (0.2, 4.8), (0.2, 4.8))])
    outer = boxes_mesh([((-1, 6), (-1, 6), (-1, 6))], [((0, 5), (0, 5), (0, 5))])
    (slot,) = slots(Body("shell", outer), Body("core", inner))
    assert math.isinf(slot.way_mm)
    assert "no way out" in rinse_findings([slot])[0].text


def test_two_links_that_hang_in_each_other_rinse() -> None:
    """Round links 10 mm across their wire's middle, 2 mm wire, 7.6 mm apart: 10 - 7.6 - 2 = 0.4 mm between the bows."""
    link, upright = torus(5.0, 1.0), turn_about((1.0, 0.0, 0.0), 0.5 * math.pi)
    pair = [Body("link 1", link), Body("link 2", link, Pose(upright, np.array([7.6, 0.0, 0.0])))]
    assert finish(gaps(pair, range_mm=1.0)).gap_mm == pytest.approx([0.4], abs=0.03)
    assert slots(*pair) == ()


def test_a_chain_at_a_usual_gap_rinses() -> None:
    assert slots(*shared_ring(oval_link(40, 12), 12, 7.4)) == ()


@pytest.mark.parametrize("seed", [1, 2])
def test_turned_moved_and_with_finer_faces_it_is_the_same_slot(seed: int) -> None:
    still = plates(9.0, 0.25)
    turn, shift = rotation(seed), np.array([30.0, -7.0, 12.0])
    turned = [Body(b.name, split(b.mesh), Pose(turn, shift)) for b in still]
    (one,), (other,) = slots(*still), slots(*turned)
    assert other.width_mm == pytest.approx(one.width_mm, rel=0.02)
    assert other.way_mm == pytest.approx(one.way_mm, abs=1.5 * SPACING_MM)
    assert other.area_mm2 == pytest.approx(one.area_mm2, abs=4.0 * 5.0 * SPACING_MM)
    assert turn.T @ (np.array(other.at) - shift) == pytest.approx(np.array(one.at), abs=3.0 * SPACING_MM)


def test_equal_neighbours_are_asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    searched = rinse._slots

    def counted(*words: object) -> object:
        asked.append(words)
        return searched(*words)  # type: ignore[arg-type]

    monkeypatch.setattr(rinse, "_slots", counted)
    plate = boxes_mesh([((0, 8), (0, 8), (0, 1))])
    pile = [Body(f"plate {n}", plate, Pose(np.eye(3), np.array([0.0, 0.0, 1.25 * n]))) for n in range(6)]
    found = slots(*pile)
    assert {frozenset((s.a, s.b)) for s in found} == {frozenset((f"plate {n}", f"plate {n + 1}")) for n in range(5)}
    assert len({(round(s.way_mm, 9), round(s.area_mm2, 9)) for s in found}) == 1
    assert len(asked) == 3


def test_what_lies_in_another_bodys_metal_is_no_room() -> None:
    """A pin sunk into a block that has no hole for it, its end 0.1 mm over the block's underside."""
    solid, pin = Body("block", block()), Body("pin", boxes_mesh([((0.5, 5.5), (0.5, 5.5), (0.1, 12))]))
    assert slots(solid, pin) == ()
    assert slots(solid, pin, fused=[(0, 1)]) == ()
    assert slots(solid, pin, fused=[]) != ()


@pytest.mark.parametrize(
    ("bodies", "options", "words"),
    [
        ((), {}, "no body"),
        ((Body("sliver", mesh([(0, 0, 0), (1, 0, 0), (2, 0, 0)], [(0, 1, 2)])),), {}, "sliver has no area"),
        ((Body("nothing", Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))),), {}, "nothing has no area"),
        (plates(2.0, 0.3), {"widest_mm": 0.0}, "above 0 mm"),
        (plates(2.0, 0.3), {"widest_mm": math.nan}, "above 0 mm"),
    ],
)
def test_what_cannot_be_asked_is_refused(bodies: tuple[Body, ...], options: dict[str, float], words: str) -> None:
    with pytest.raises(BadInput, match=words):
        slots(*bodies, **options)


def test_findings_tell_the_largest_one_by_one_and_the_others_together() -> None:
    many = [Slot(f"link {n}", f"link {n + 1}", (n, 0.0, 0.0), (n, 0.0, 0.3), 0.3, 4.0, 9.0 - n) for n in range(8)]
    told = rinse_findings(many)
    assert len(told) == SHOWN + 1
    assert {f.code for f in told} == {"rinse"} <= set(CODES)
    assert {f.severity for f in told} == {"warn"}
    assert told[0].bodies == ("link 0", "link 1")
    assert told[0].value == pytest.approx(4.0 / 0.3)
    assert told[0].limit == WAY_SHARE
    assert "0.30 mm wide, 4.0 mm from the nearest way out" in told[0].text
    assert "data sheet" in told[0].text
    assert "gloves" in told[0].text
    assert told[-1].text.startswith("3 more slots")
    assert told[-1].bodies == ("link 5", "link 6", "link 7", "link 8")
    assert told[-1].limit == LEAST_MM2
    assert rinse_findings([]) == ()
