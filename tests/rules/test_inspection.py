"""What an inspection says of small sets with a known fault each, and that it is silent on a sound one."""

import functools
import math
from dataclasses import replace

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import Profile, load_profile
from addon.rules.base.progress import finish
from addon.rules.inspect.finding import CODES, SEVERITIES
from addon.rules.inspect.gap_findings import Limits
from addon.rules.inspect.inspection import Inspection, inspect
from addon.rules.solid.mesh import Body, Mesh, Pose, mesh
from tests.knots import blocks, borromean, closed_chain, ring, tube, tubes, whitehead

# The tubes of these sets are thin; walls have tests of their own.
BENCH = replace(load_profile("bench"), wall_floor_mm=0.0)
TIGHT = replace(BENCH, gap_floor_mm=0.2, gap_warn_mm=0.3, web_floor_mm=0.2, web_warn_mm=0.4)
CUBE = blocks(np.ones((2, 2, 2), dtype=bool), 2.0)


def _inspect(bodies: list[Body], profile: Profile = BENCH, **options: object) -> Inspection:
    # A mould too strong to break: what breaks webs has tests of its own.
    return finish(inspect(bodies, profile, hot_strength_mpa=1e6, **options))  # type: ignore[arg-type]


@functools.cache
def _whitehead_inspected() -> Inspection:
    return _inspect(tubes(*whitehead(), radius=0.1))


def _said(inspection: Inspection) -> list[tuple[str, str, tuple[str, ...]]]:
    return [(finding.code, finding.severity, finding.bodies) for finding in inspection.findings]


def _cubes(gap_mm: float, *, axis: int = 0) -> list[Body]:
    """Two cubes of 4 mm, ``gap_mm`` apart; cubes carry no handles, so nothing is said of links."""
    origin = np.zeros(3)
    origin[axis] = 4.0 + gap_mm
    return [Body("left", CUBE), Body("right", CUBE, Pose(np.eye(3), origin))]


def test_a_sound_closed_chain_has_nothing_said_of_it() -> None:
    links = tubes(*closed_chain(12))
    found = _inspect(links)
    assert found.findings == ()
    assert len(found.pairs) == 12
    assert all(pair.linked is True and pair.gap_mm is not None and pair.gap_mm > 0.5 for pair in found.pairs)
    assert [(pair.a, pair.b) for pair in found.pairs[:3]] == [
        ("body 1", "body 2"),
        ("body 1", "body 12"),
        ("body 2", "body 3"),
    ]


def test_expected_joints_of_a_sound_chain_are_all_met() -> None:
    joints = [(number, (number + 1) % 12) for number in range(12)]
    assert _inspect(tubes(*closed_chain(12)), joints=joints).findings == ()


def test_body_facts_are_those_of_the_placed_body() -> None:
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    bar = Body("bar", blocks(np.ones((3, 1, 1), dtype=bool)), Pose(turn, np.array([10.0, 0.0, 0.0])))
    (facts,) = _inspect([bar]).bodies
    assert facts.name == "bar"
    assert facts.volume_mm3 == pytest.approx(3.0)
    assert facts.area_mm2 == pytest.approx(14.0)
    assert facts.closed
    assert facts.genus == 0
    assert facts.bounds_mm == ((9.0, 0.0, 0.0), (10.0, 3.0, 1.0))


@pytest.mark.parametrize(
    ("gap_mm", "expected", "limit"),
    [
        (0.10, [("gap-below-floor", "stop")], 0.25),
        (0.2499, [("gap-below-floor", "stop")], 0.25),
        (0.25, [("gap-below-floor", "warn")], 0.35),
        (0.30, [("gap-below-floor", "warn")], 0.35),
        (0.35, [("web-thin", "warn")], 0.50),
        (0.49, [("web-thin", "warn")], 0.50),
        (0.50, [], None),
        (0.60, [], None),
    ],
)
def test_one_finding_for_each_pair_by_its_printed_gap(gap_mm: float, expected: list, limit: float | None) -> None:
    found = _inspect(_cubes(gap_mm))
    assert [(finding.code, finding.severity) for finding in found.findings] == expected
    for finding in found.findings:
        assert finding.bodies == ("left", "right")
        assert finding.value == pytest.approx(gap_mm, abs=1e-9)
        assert finding.limit == limit
        assert finding.at is not None
        assert finding.at[0] == pytest.approx(4.0 + gap_mm / 2)
        assert "left and right" in finding.text


def test_the_web_is_told_beside_the_gap_only_when_its_floor_is_higher() -> None:
    higher = replace(TIGHT, web_floor_mm=0.35)
    assert [f.code for f in _inspect(_cubes(0.1), higher).findings] == ["gap-below-floor", "web-thin"]
    assert [f.code for f in _inspect(_cubes(0.1), TIGHT).findings] == ["gap-below-floor"]
    assert [(f.code, f.severity) for f in _inspect(_cubes(0.25), higher).findings] == [("web-thin", "stop")]


def test_scale_bleed_and_expansion_count() -> None:
    """The model gap stays in the pairs; the printed gap and the web are judged."""
    assert _said(_inspect(_cubes(0.24), scale=1.05))[0][1] == "warn"
    found = _inspect(_cubes(0.27), replace(BENCH, bleed_mm=0.02))
    assert found.findings[0].severity == "stop"
    assert found.findings[0].value == pytest.approx(0.23)
    assert found.pairs[0].gap_mm == pytest.approx(0.27)
    assert "0.270 mm in the model" in found.findings[0].text
    assert _inspect(_cubes(0.495), mould_expansion=0.02).findings == ()


def test_a_level_gap_suffers_over_cure_and_an_upright_one_does_not() -> None:
    through = replace(BENCH, over_cure_mm=0.3)
    assert [f.severity for f in _inspect(_cubes(0.52, axis=2), through).findings] == ["stop"]
    assert _inspect(_cubes(0.52, axis=0), through).findings == ()


def test_a_gap_that_bleeds_shut_is_a_stop_that_says_so() -> None:
    (finding,) = _inspect(_cubes(0.05), replace(BENCH, bleed_mm=0.05)).findings
    assert (finding.code, finding.severity) == ("gap-below-floor", "stop")
    assert "closes up in print" in finding.text


def test_floors_beyond_the_search_range_still_bite() -> None:
    found = _inspect(_cubes(0.4), range_mm=0.2)
    assert [f.code for f in found.findings] == ["web-thin"]
    assert found.pairs == ()
    assert Limits(replace(BENCH, bleed_mm=0.1, over_cure_mm=0.2), 0.5).reach_mm() > 1.79


def test_touching_bodies_are_fused_with_a_place_and_no_other_word() -> None:
    for gap in (0.0, -1.0):
        found = _inspect(_cubes(gap))
        assert _said(found) == [("fused", "stop", ("left", "right"))]
        assert found.findings[0].at is not None
        assert found.pairs[0].gap_mm == 0.0
        assert found.pairs[0].linked is None


def test_two_fused_links_of_a_chain_are_not_called_unlinked() -> None:
    curves = closed_chain(12)
    links = [Body(f"body {k + 1}", tube(curve, 1.2 if k == 3 else 0.3)) for k, curve in enumerate(curves)]
    found = _inspect(links, joints=[(k, (k + 1) % 12) for k in range(12)])
    assert {finding.code for finding in found.findings} == {"fused"}
    assert all("body 4" in finding.bodies for finding in found.findings)


def test_a_loose_ring_beside_a_chain_of_unknown_origin_stops() -> None:
    links = [*tubes(*closed_chain(12)), Body("loose", tube(ring(2.0, (0.0, 0.0, 0.0))))]
    assert _said(_inspect(links)) == [("not-linked", "stop", ("loose",))]


def test_loose_rings_alone_are_only_warned_of() -> None:
    found = _inspect(tubes(ring(2.0), ring(2.0, (9.0, 0.0, 0.0))))
    assert _said(found) == [("not-linked", "warn", ("body 1",)), ("not-linked", "warn", ("body 2",))]


def test_a_lone_ring_and_bodies_without_handles_are_not_expected_to_hang() -> None:
    assert _inspect(tubes(ring(2.0))).findings == ()
    assert _inspect(_cubes(3.0)).findings == ()


def _row(count: int, *, missing: int | None = None) -> list[Body]:
    """A straight row of rings, each turned 90 degrees from the last; one joint pulled out so that it is not linked."""
    curves = []
    shift = 0.0
    for number in range(count):
        if number == missing:
            shift += 4.0
        across = (0.0, 0.0, 1.0) if number % 2 else (0.0, 1.0, 0.0)
        curves.append(ring(5.0, (7.0 * number + shift, 0.0, 0.0), across=across))
    return tubes(*curves)


def test_a_foreign_chain_that_is_broken_in_the_middle_is_told_where() -> None:
    assert _said(_inspect(_row(6), range_mm=3.0)) == []
    found = _inspect(_row(6, missing=3), range_mm=5.0)
    assert ("not-linked", "warn", ("body 3", "body 4")) in _said(found)
    assert _inspect(_row(3), range_mm=5.0).findings == ()


def test_two_pieces_of_chain_far_apart_are_noted() -> None:
    found = _inspect([*_row(3), *(b.moved(np.array([0.0, 60.0, 0.0])) for b in _renamed(_row(4)))])
    assert _said(found) == [("not-linked", "note", ("other 1", "other 4"))]


def _renamed(bodies: list[Body]) -> list[Body]:
    return [replace(body, name=f"other {number}") for number, body in enumerate(bodies, 1)]


def test_an_expected_joint_that_is_not_linked_stops() -> None:
    links = tubes(*closed_chain(12))
    links[5] = links[5].moved(np.array([0.0, 0.0, 30.0]))
    found = _inspect(links, joints=[(k, (k + 1) % 12) for k in range(12)])
    assert _said(found) == [
        ("not-linked", "stop", ("body 5", "body 6")),
        ("not-linked", "stop", ("body 6", "body 7")),
    ]


def test_a_link_through_a_stranger_stops() -> None:
    """Links 1 and 2 are meant to be joined, 3 is not meant to hang on anything."""
    links = tubes(
        ring(3.0), ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0)), ring(1.8, (-3.0, 0.0, 0.0), across=(0, 1, 0))
    )
    found = _inspect(links, joints=[(1, 0)])
    assert _said(found) == [("linked-to-stranger", "stop", ("body 1", "body 3"))]
    assert [(pair.a, pair.b) for pair in found.pairs if pair.linked] == [("body 1", "body 2"), ("body 1", "body 3")]


def test_linked_pairs_are_listed_beyond_the_search_range() -> None:
    (pair,) = _inspect(tubes(ring(9.0), ring(9.0, (9.0, 0.0, 0.0), across=(0, 1, 0)))).pairs
    assert pair.linked is True
    assert pair.gap_mm is None
    assert pair.point_a is None


def test_a_whitehead_link_is_undecided_and_no_less_when_expected() -> None:
    found = _whitehead_inspected()
    assert _said(found) == [("undecided-link", "warn", ("body 1", "body 2"))]
    assert found.pairs[0].linked is None
    expected = _inspect(tubes(*whitehead(), radius=0.1), joints=[(0, 1)])
    assert _said(expected) == [("undecided-link", "stop", ("body 1", "body 2"))]


def test_borromean_rings_are_one_undecided_group() -> None:
    found = _inspect(tubes(*borromean()))
    assert _said(found) == [("undecided-link", "warn", ("body 1", "body 2", "body 3"))]
    assert all(pair.linked is None for pair in found.pairs)


def test_a_slider_round_a_closed_chain_is_undecided_and_not_called_loose() -> None:
    slider = Body("slider", tube(ring(3.6, (12.0, 0.0, 0.0), across=(0, 1, 0))))
    found = _inspect([*tubes(*closed_chain(12)), slider])
    (finding,) = found.findings
    assert (finding.code, finding.severity) == ("undecided-link", "warn")
    assert "slider" in finding.bodies
    assert "7 more" in finding.text


def _spoiled(kind: str) -> Mesh:
    whole = tube(ring(3.0))
    faces = whole.triangles
    if kind == "open":
        return mesh(whole.points, faces[7:])
    if kind == "inside-out":
        return mesh(whole.points, faces[:, ::-1])
    if kind == "disagreeing":
        return mesh(whole.points, np.concatenate([faces[:9], faces[9:20, ::-1], faces[20:]]))
    if kind == "doubled-faces":
        return mesh(whole.points, np.concatenate([faces, faces[3:5]]))
    if kind == "zero-area":
        return mesh(whole.points, np.concatenate([faces, [[4, 4, 5]]]))
    two = np.zeros((2, 2, 1), dtype=bool)
    two[0, 0], two[1, 1] = True, True
    return blocks(two, 2.0)


@pytest.mark.parametrize(
    ("kind", "code", "severity"),
    [
        ("open", "open", "stop"),
        ("inside-out", "inside-out", "stop"),
        ("disagreeing", "inside-out", "stop"),
        ("doubled-faces", "doubled-faces", "stop"),
        ("non-manifold", "non-manifold", "stop"),
        ("zero-area", "zero-area", "note"),
    ],
)
def test_an_unsound_surface_is_named_with_its_place(kind: str, code: str, severity: str) -> None:
    away = np.array([50.0, 0.0, 0.0])
    found = _inspect([Body("odd", _spoiled(kind), Pose(np.eye(3), away))])
    finding = next(f for f in found.findings if f.code == code)
    assert finding.severity == severity
    assert finding.bodies == ("odd",)
    assert finding.at is not None
    assert np.linalg.norm(np.array(finding.at) - away) < 5.0
    if severity == "stop":
        assert "joints cannot be judged" in finding.text


@pytest.mark.parametrize("kind", ["open", "inside-out", "disagreeing", "doubled-faces"])
def test_the_joints_of_an_unsound_body_are_never_called_clear(kind: str) -> None:
    other = Body("other", tube(ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0))))
    for origin in ([0.0, 0.0, 0.0], [1.2, 0.0, 0.0], [-3.9, 0.0, 0.0]):
        found = _inspect([Body("odd", _spoiled(kind), Pose(np.eye(3), np.array(origin))), other], range_mm=5.0)
        assert all(pair.linked is None for pair in found.pairs)
        assert any(f.severity == "stop" and f.bodies == ("odd",) for f in found.findings)
        assert not any(f.code == "not-linked" and "odd" in f.bodies for f in found.findings)


def test_a_triangle_without_area_does_not_hide_a_link() -> None:
    other = Body("other", tube(ring(3.0, (3.0, 0.0, 0.0), across=(0, 1, 0))))
    (pair,) = _inspect([Body("odd", _spoiled("zero-area")), other], range_mm=5.0).pairs
    assert pair.linked is True


@pytest.mark.parametrize(
    ("factor", "word"),
    [(1e-3, "--unit m"), (1.0 / 25.4, "--unit in"), (1e3, "too large")],
    ids=["metres", "inches", "too large"],
)
def test_sizes_that_look_like_another_unit_stop_once(factor: float, word: str) -> None:
    links = [Body(b.name, mesh(factor * b.mesh.points, b.mesh.triangles)) for b in tubes(*closed_chain(12))]
    odd = [finding for finding in _inspect(links).findings if finding.code == "odd-size"]
    assert len(odd) == 1
    assert odd[0].severity == "stop"
    assert word in odd[0].text


def test_a_crumb_is_named() -> None:
    crumb = Body("crumb", blocks(np.ones((1, 1, 1), dtype=bool), 0.01), Pose(np.eye(3), np.array([0.0, 0.0, 50.0])))
    found = _inspect([*_cubes(3.0), crumb])
    assert _said(found) == [("odd-size", "warn", ("crumb",))]


def test_the_same_set_gives_the_same_words() -> None:
    links = [*tubes(*closed_chain(12)[:3]), Body("loose", tube(ring(2.0)))]
    found = _inspect(links)
    assert found.findings
    assert found == _inspect(links)


def test_codes_and_severities_are_known_and_figures_plain() -> None:
    alone = [_inspect(bodies) for bodies in (_cubes(0.1), _cubes(0.0), [Body("odd", _spoiled("open"))])]
    for found in (*alone, _whitehead_inspected()):
        for finding in found.findings:
            assert finding.code in CODES
            assert finding.severity in SEVERITIES
            assert all(type(x) is float for x in finding.at or ())
            assert type(finding.value) in (float, type(None))


def test_progress_rises_to_the_end() -> None:
    shares: list[float] = []
    finish(inspect(tubes(*closed_chain(12)[:3]), BENCH), shares.append)
    assert shares == sorted(shares)
    assert shares[0] >= 0.0
    assert shares[-1] <= 1.0


@pytest.mark.parametrize(
    ("bodies", "options", "word"),
    [
        ([], {}, "no body"),
        (1, {"range_mm": 0.0}, "search range"),
        (1, {"range_mm": math.nan}, "search range"),
        (1, {"scale": -1.0}, "scale"),
        (1, {"mould_expansion": math.inf}, "mould expansion"),
        (2, {"joints": [(0, 2)]}, "joint"),
        (2, {"joints": [(1, 1)]}, "joint"),
    ],
)
def test_numbers_that_cannot_work_are_refused(bodies: object, options: dict, word: str) -> None:
    given = bodies if isinstance(bodies, list) else _cubes(1.0)
    with pytest.raises(BadInput, match=word):
        _inspect(given, **options)
