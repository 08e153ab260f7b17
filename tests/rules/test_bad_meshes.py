"""What an inspection says of meshes that are broken, doubled, buried, hollow, or in the wrong unit: never "clear".

Every set is put together as a reader does it and told by its whole list of findings, so that a word too many fails as
a missing one does.
"""

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.files import obj, stl
from addon.rules.files.named import Named
from addon.rules.files.read import named_bodies
from addon.rules.inspect.body_findings import rounded_up, size_findings
from addon.rules.inspect.finding import stops
from addon.rules.inspect.inspection import Inspection, inspect
from addon.rules.solid.mesh import Body, Mesh, Pose, merged, mesh
from addon.verbs import main
from tests.gap_shapes import ball
from tests.knots import ring, tube
from tests.mesh_shapes import box, flipped, moved, tetrahedron, torus

# Thin metal and thin webs have tests of their own.
PROFILE = replace(load_profile("bench"), wall_floor_mm=0.0)
LINK = torus(5.0, 1.2, 16, 6)
BALL = ball(2.0, 1)
SPHERE = ball(5.0, 1)
Said = list[tuple[str, str, tuple[str, ...]]]
Objects = Sequence[tuple[str, Mesh]]


def _turned(solid: Mesh) -> Mesh:
    """The link through the first: turned upright, its wire through the hole."""
    return mesh(
        solid.points @ np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]) + [5.0, 0, 0], solid.triangles
    )


def _with(solid: Mesh, faces: object) -> Mesh:
    """The mesh with triangles added."""
    return mesh(solid.points, np.concatenate([solid.triangles, np.array(faces)]))


def _without(solid: Mesh, count: int = 1) -> Mesh:
    """The mesh without its first triangles: with a hole."""
    return mesh(solid.points, solid.triangles[count:])


def _one_turned(solid: Mesh) -> Mesh:
    """The mesh with its first triangle looking the other way."""
    return mesh(solid.points, np.concatenate([solid.triangles[:1, ::-1], solid.triangles[1:]]))


def _pipe() -> Mesh:
    """A round pipe without thickness and without caps."""
    angle = 2.0 * np.pi * np.arange(16) / 8
    points = np.stack([2.0 * np.cos(angle), 2.0 * np.sin(angle), np.repeat([0.0, 5.0], 8)], axis=1)
    i, j = np.arange(8), (np.arange(8) + 1) % 8
    return mesh(points, np.concatenate([np.stack([i, j, 8 + j], axis=1), np.stack([i, 8 + j, 8 + i], axis=1)]))


def _figure_eight() -> Mesh:
    """A wire bent into an eight that runs through itself."""
    t = 2.0 * np.pi * np.arange(12) / 12 + 0.1
    return tube(np.stack([6.0 * np.sin(t), 4.0 * np.sin(2.0 * t), 0.0 * t], axis=1), 1.0, 4)


def _fin() -> Mesh:
    """A box with a flag of one triangle on an edge."""
    solid = box(4.0)
    return mesh(np.concatenate([solid.points, [[2.0, -1.0, 9.0]]]), np.concatenate([solid.triangles, [[0, 1, 8]]]))


def _needle() -> Mesh:
    """A ball with a triangle without area laid along an edge."""
    a, b = BALL.triangles[0, :2]
    points = np.concatenate([BALL.points, [(BALL.points[a] + BALL.points[b]) / 2.0]])
    return mesh(points, np.concatenate([BALL.triangles, [[a, b, len(BALL.points)]]]))


def _cap() -> Mesh:
    """A ball with an edge halved on one side only, the crack closed by a triangle without area."""
    a, b, c = BALL.triangles[0]
    points = np.concatenate([BALL.points, [(BALL.points[a] + BALL.points[b]) / 2.0]])
    new = len(BALL.points)
    return mesh(points, np.concatenate([BALL.triangles[1:], [[a, new, c], [new, b, c], [a, b, new]]]))


def _sheet(back: object) -> Mesh:
    """A square sheet without thickness: its front, and its back as given."""
    corners = [[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [4.0, 4.0, 0.0], [0.0, 4.0, 0.0]]
    return mesh(corners, np.concatenate([[[0, 1, 2], [0, 2, 3]], np.array(back)]))


def _ten_triangles() -> Mesh:
    angle = 2.0 * np.pi * np.arange(5) / 5
    rim = np.stack([3.0 * np.cos(angle), 3.0 * np.sin(angle), 0.0 * angle], axis=1)
    up, down = [(i, (i + 1) % 5, 5) for i in range(5)], [((i + 1) % 5, i, 6) for i in range(5)]
    return mesh(np.concatenate([rim, [[0.0, 0.0, 4.0], [0.0, 0.0, -4.0]]]), up + down)


def _inspect(objects: Objects, *, range_mm: float = 1.5) -> Inspection:
    bodies = named_bodies([Named(name, solid) for name, solid in objects])
    return finish(inspect(bodies, PROFILE, range_mm=range_mm, hot_strength_mpa=1e6))


def _said(inspection: Inspection) -> Said:
    return sorted((finding.code, finding.severity, finding.bodies) for finding in inspection.findings)


UNSOUND: dict[str, tuple[Callable[[Mesh], Mesh], str]] = {
    "a hole": (_without, "open"),
    "inside out": (flipped, "inside-out"),
    "a face turned": (_one_turned, "inside-out"),
    "faces doubled": (lambda solid: _with(solid, solid.triangles[4:7]), "doubled-faces"),
}

ALONE: dict[str, tuple[Mesh, Said]] = {
    "a pipe without caps": (_pipe(), [("open", "stop", ("it",))]),
    "one triangle": (mesh(4.0 * np.eye(3), [[0, 1, 2]]), [("open", "stop", ("it",))]),
    "a wire through itself": (_figure_eight(), [("self-crossing", "stop", ("it",))]),
    "a flag on an edge": (_fin(), [("fused", "stop", ("it 1", "it 2")), ("open", "stop", ("it 2",))]),
    "a sheet with two sides": (
        _sheet([[0, 2, 1], [0, 3, 2]]),
        [("doubled-faces", "stop", ("it",)), ("non-manifold", "stop", ("it",))],
    ),
    "a sheet cut otherwise behind": (_sheet([[1, 0, 3], [1, 3, 2]]), [("self-crossing", "stop", ("it",))]),
    "a needle": (
        _needle(),
        [("non-manifold", "stop", ("it",)), ("open", "stop", ("it",)), ("zero-area", "note", ("it",))],
    ),
    "a point for a triangle": (_with(BALL, [[3, 3, 3]]), [("zero-area", "note", ("it",))]),
    "a cap": (_cap(), [("zero-area", "note", ("it",))]),
    "a line for a triangle": (
        mesh([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [6.0, 0.0, 0.0]], [[0, 1, 2]]),
        [("open", "stop", ("it",)), ("zero-area", "note", ("it",))],
    ),
    "hollow": (merged([SPHERE, flipped(ball(3.0, 1))]), [("cup", "stop", ("it",))]),
    "hollow to its very face": (
        merged([box(4.0), flipped(box(2.0, (1.0, 1.0, 2.0)))]),
        [("cup", "stop", ("it",)), ("self-crossing", "stop", ("it",))],
    ),
    "ten triangles": (_ten_triangles(), []),
    "a link": (LINK, []),
}

CUBE = box(4.0)
FUSED = ("fused", "stop", ("a", "b"))
CONE = tetrahedron((4.0, 2.0, 2.0), (8.0, 0.0, 0.0), (8.0, 4.0, 0.0), (8.0, 2.0, 4.0))
TOGETHER: dict[str, tuple[Objects, Said, str]] = {
    "touching in a point": ((("a", CUBE), ("b", CONE)), [FUSED], "they touch"),
    "touching corner to corner": ((("a", CUBE), ("b", moved(CUBE, (4, 4, 4)))), [FUSED], "they touch"),
    "touching along an edge": ((("a", CUBE), ("b", moved(CUBE, (4, 4, 1)))), [FUSED], "they touch"),
    "touching on a face": ((("a", CUBE), ("b", box(2.0, (4, 1, 1)))), [FUSED], "they touch"),
    "crossing with faces in one plane": ((("a", CUBE), ("b", moved(CUBE, (2, 1, 0)))), [FUSED], "they cross"),
    "buried": ((("a", SPHERE), ("b", ball(1.0, 1))), [FUSED], "inside the other's metal"),
    "the same twice": ((("a", LINK), ("b", LINK)), [FUSED], "the same body twice"),
    "the same a billionth off": ((("a", LINK), ("b", moved(LINK, (1e-9, 0, 0)))), [FUSED], "the same body twice"),
    "one in the other's hollow": (
        (("a", merged([SPHERE, flipped(ball(4.0, 1))])), ("b", ball(1.0, 1))),
        [("cup", "stop", ("a",)), ("undecided-link", "warn", ("a", "b"))],
        "closed cavity",
    ),
    "buried inside out": (
        (("a", flipped(SPHERE)), ("b", ball(1.0, 1))),
        [FUSED, ("inside-out", "stop", ("a",))],
        "inside the other's metal",
    ),
    "across an open one": (
        (
            ("a", _without(SPHERE)),
            (
                "b",
                ball(
                    1.0,
                    1,
                ),
            ),
        ),
        [("open", "stop", ("a",))],
        "what lies inside it",
    ),
}


@pytest.mark.parametrize("kind", ALONE)
def test_a_body_alone(kind: str) -> None:
    solid, expected = ALONE[kind]
    inspection = _inspect([("it", solid)])
    assert _said(inspection) == expected
    for finding in inspection.findings:
        assert finding.text.startswith(finding.bodies[0])
        assert finding.code == "cup" or finding.at is not None


@pytest.mark.parametrize("kind", UNSOUND)
def test_an_unsound_link_is_told_with_what_was_not_looked_at_and_spares_its_neighbour(kind: str) -> None:
    """The neighbour hangs on a link that nobody can judge: it is not called loose."""
    spoil, code = UNSOUND[kind]
    inspection = _inspect([("odd", spoil(LINK)), ("whole", _turned(LINK))], range_mm=6.0)
    assert _said(inspection) == [(code, "stop", ("odd",))]
    text = inspection.findings[0].text
    for word in ("what lies inside it", "its thinnest metal", "its joints cannot be judged", "its gaps are measured"):
        assert word in text
    assert [body.wall_mm is None for body in inspection.bodies] == [True, False]
    (pair,) = inspection.pairs
    assert pair.linked is None
    assert pair.gap_mm is not None
    assert pair.gap_mm > 0.0


def test_the_same_pair_of_sound_links_is_clear() -> None:
    inspection = _inspect([("one", LINK), ("other", _turned(LINK))], range_mm=6.0)
    assert inspection.findings == ()
    assert inspection.pairs[0].linked is True


def test_a_loose_link_beside_an_unsound_one_is_not_said_to_be_in_an_unlinked_set() -> None:
    inspection = _inspect([("odd", _without(LINK)), ("whole", _turned(LINK)), ("far", moved(LINK, (50, 0, 0)))])
    assert _said(inspection) == [("not-linked", "warn", ("far",)), ("open", "stop", ("odd",))]
    assert "none of these bodies is known to be linked" in inspection.findings[-1].text


@pytest.mark.parametrize("kind", TOGETHER)
def test_two_bodies(kind: str) -> None:
    objects, expected, word = TOGETHER[kind]
    inspection = _inspect(objects)
    assert _said(inspection) == expected
    assert stops(inspection.findings)
    assert any(word in finding.text for finding in stops(inspection.findings))


@pytest.mark.parametrize(
    ("shell", "names"),
    [
        (merged([BALL, moved(BALL, (2, 0, 0))]), ("it 1", "it 2")),
        (merged([LINK, LINK]), ("it 1", "it 2")),
        (merged([box(4.0), box(4.0, (4, 4, 0))]), ("it 1", "it 2")),
        (merged([box(4.0), box(4.0, (4, 4, 4))]), ("it 1", "it 2")),
        (merged([box(4.0), box(4.0, (4, 0, 0))]), ("it 1", "it 2")),
        (merged([box(4.0), box(4.0, (4, 1, 1))]), ("it 1", "it 2")),
    ],
    ids=["overlapping", "all doubled", "sharing an edge", "sharing a point", "sharing a face", "faces overlapping"],
)
def test_shells_of_one_object_that_meet_are_bodies_fused(shell: Mesh, names: tuple[str, str]) -> None:
    assert _said(_inspect([("it", shell)])) == [("fused", "stop", names)]


def _chain(factor: float) -> list[Body]:
    curves = [ring(5.0), ring(5.0, (7.0, 0.0, 0.0), across=(0, 1, 0))]
    return [
        Body(f"link {n}", mesh(factor * tube(c, 1.0, 6).points, tube(c, 1.0, 6).triangles))
        for n, c in enumerate(curves)
    ]


def _sizes(factor: float) -> tuple[str, str]:
    ends = np.array([[body.points().min(axis=0), body.points().max(axis=0)] for body in _chain(factor)])
    (finding,) = size_findings(["link 0", "link 1"], ends[:, 0], ends[:, 1])
    assert finding.code == "odd-size"
    assert finding.at is not None
    return finding.severity, finding.text


@pytest.mark.parametrize(
    ("factor", "severity", "told", "untold"),
    [
        (1e-3, "stop", ["metres (11.7 mm long then, --unit m)"], ["inches", "centimetres"]),
        (1 / 25.4, "stop", ["inches (11.7 mm long then, --unit in)"], ["metres (11.7", "--unit m)"]),
        (1 / 10, "warn", ["centimetres (11.7 mm long then, --unit cm)"], []),
        (1e3, "stop", ["far too large", "--unit mm"], []),
        (25.4, "warn", ["very large", "--unit mm"], []),
        (1e-30, "stop", ["no unit of a file"], ["--unit"]),
    ],
)
def test_a_unit_mistaken_is_asked_about_with_the_size_it_would_be(
    factor: float, severity: str, told: list[str], untold: list[str]
) -> None:
    said, text = _sizes(factor)
    assert said == severity
    assert all(word in text for word in told)
    assert not any(word in text for word in untold)


@pytest.mark.parametrize(("out_mm", "severity"), [(2e4, "warn"), (1e6, "stop"), (9e6, "stop")])
def test_what_stands_too_far_out_for_single_precision_is_told(out_mm: float, severity: str) -> None:
    """Single precision has 24 bits: at 20 m a step is 2^-9 mm, at 1 km 2^-4 mm (IEEE 754-2019, table 3.5)."""
    inspection = _inspect([("it", moved(box(4.0), (0.0, -out_mm, 0.0)))])
    assert _said(inspection) == [("odd-size", severity, ("it",))]
    assert inspection.findings[0].value == pytest.approx(2.0 ** (math.floor(math.log2(out_mm)) - 23))
    assert _inspect([("it", moved(box(4.0), (0.0, -1e3, 0.0)))]).findings == ()


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_coordinates_that_are_no_numbers_are_refused(value: float) -> None:
    points = np.array(LINK.points)
    points[5, 1] = value
    with pytest.raises(BadInput, match="point 5 has a coordinate that is not a number"):
        mesh(points, LINK.triangles)


def test_no_bodies_at_all_are_refused() -> None:
    with pytest.raises(BadInput, match="no body"):
        _inspect([])
    with pytest.raises(BadInput, match="no triangles"):
        mesh(np.zeros((0, 3)), np.zeros((0, 3)))


@pytest.mark.parametrize(
    ("takes_mm", "says"),
    [
        (0.0099, "0.01"),
        (0.01, "0.01"),
        (0.25 - 0.24, "0.01"),
        (0.0101, "0.02"),
        (1.105, "1.11"),
        (860.0, "860"),
        (0.0, "0.01"),
    ],
)
def test_what_to_add_is_never_told_short(takes_mm: float, says: str) -> None:
    assert rounded_up(takes_mm) == says


def test_the_gap_opened_as_told_passes() -> None:
    """In the model the gap opens by less where the print is larger; taken at its word the remedy mends."""
    for gap, scale in ((0.2401, 1.0), (0.1001, 1.02), (0.2, 0.5)):
        cubes = [Body("a", CUBE), Body("b", CUBE, Pose(np.eye(3), np.array([4.0 + gap, 0.0, 0.0])))]
        (told,) = stops(finish(inspect(cubes, PROFILE, scale=scale, hot_strength_mpa=1e6)).findings)
        assert told.code == "gap-below-floor"
        more = float(told.text.split("Open it by ")[1].split(" mm")[0])
        apart = cubes[1].moved(np.array([more, 0.0, 0.0]))
        assert not stops(finish(inspect([cubes[0], apart], PROFILE, scale=scale, hot_strength_mpa=1e6)).findings)


@pytest.mark.parametrize(
    ("objects", "exit_code", "codes"),
    [
        ([("a", _without(LINK))], 1, ["open"]),
        ([("a", CUBE), ("b", CUBE)], 1, ["fused"]),
        ([("a", mesh(1e-3 * box(60.0).points, box(60.0).triangles))], 1, ["odd-size", "wall-thin"]),
        ([("a", CUBE)], 0, []),
    ],
    ids=["open", "twice", "metres", "sound"],
)
def test_the_command_says_the_same_with_its_exit_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], objects: Objects, exit_code: int, codes: list[str]
) -> None:
    obj.write(tmp_path / "a.obj", tuple(Named(name, solid) for name, solid in objects))
    assert main(["inspect", str(tmp_path / "a.obj"), "--light", "0", "--json", "-"]) == exit_code
    told = capsys.readouterr()
    assert told.err == ""
    assert [finding["code"] for finding in json.loads(told.out)["findings"]] == codes
    assert main(["inspect", str(tmp_path / "a.obj")]) == exit_code
    told = capsys.readouterr()
    assert all(code in told.out for code in codes)
    assert ("no findings" in told.out) == (not codes)


def test_many_bodies_are_inspected_as_one_is(tmp_path: Path) -> None:
    quick = ("--light", "0", "--layer", "0.5")
    row = [moved(CUBE, (6.0 * (k % 12), 6.0 * (k // 12), 0.0)) for k in range(60)]
    stl.write(tmp_path / "many.stl", merged(row))
    report = tmp_path / "many.json"
    assert main(["inspect", str(tmp_path / "many.stl"), *quick, "--json", str(report)]) == 0
    found = json.loads(report.read_text(encoding="utf-8"))
    assert (len(found["bodies"]), found["pairs"], found["findings"]) == (60, [], [])
    stl.write(tmp_path / "many.stl", merged([*row, moved(CUBE, (3.0, 3.0, 0.0))]))
    assert main(["inspect", str(tmp_path / "many.stl"), *quick, "--json", str(report)]) == 1
    fused = json.loads(report.read_text(encoding="utf-8"))["findings"]
    assert sorted(finding["bodies"][1] for finding in fused) == ["body 61"] * 4
