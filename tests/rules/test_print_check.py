"""The print check as a whole: what it puts together, at what size and place, and what the command line says of it."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.base.profile import load_profile
from addon.rules.base.progress import finish
from addon.rules.files import stl
from addon.rules.files.report import print_part, report_text
from addon.rules.inspect.print_check import PrintCheck, as_advice, print_check
from addon.rules.inspect.whose import faces_from, nearest_part
from addon.rules.solid.cells import boxes_mesh
from addon.rules.solid.mesh import Body, Mesh, Pose, merged
from addon.verbs import main
from addon.verbs.print_words import print_lines
from tests.mesh_shapes import flipped

COARSE = replace(load_profile(), layer_mm=0.1)
# A table on four legs of 1 mm, with a block hung under its middle: one start in mid-air, 3 mm up.
TABLE = boxes_mesh(
    [((x, x + 1.0), (y, y + 1.0), (0.0, 5.0)) for x in (0.0, 7.0) for y in (0.0, 7.0)]
    + [((0.0, 8.0), (0.0, 8.0), (5.0, 6.0)), ((3.5, 4.5), (3.5, 4.5), (3.0, 5.0))]
)
PLATE = boxes_mesh([((0.0, 8.0), (0.0, 8.0), (0.0, 1.0))])


def at(mesh: Mesh, x: float, y: float, z: float, name: str = "table") -> Body:
    return Body(name, mesh, Pose(np.eye(3), np.array([x, y, z])))


def checked(bodies: list[Body], **options: object) -> PrintCheck:
    return finish(print_check(bodies, COARSE, **{"directions": 0, "fused": (), **options}))  # type: ignore[arg-type]


def test_a_table_begins_once_in_mid_air_and_its_figures_are_those_of_its_drawing() -> None:
    check = checked([at(TABLE, 0.0, 0.0, 0.0)])
    assert [(i.layer, i.at[2]) for i in check.layers.islands] == [(30, pytest.approx(3.05))]
    assert check.peel.area_mm2 == pytest.approx(64.0)
    assert (check.peel.layer, check.peel.jump_layer) == (50, 50)
    assert check.peel.jump_mm2 == pytest.approx(64.0 - 5.0)
    assert check.peel_n == pytest.approx(64.0e-6 * 10.0e3)
    assert [f.code for f in check.findings if f.severity == "stop"] == ["island"]


def test_sizes_are_those_of_the_print_and_places_those_of_the_job() -> None:
    """Twice the size at print, standing 10 mm up: areas grow by four, heights by two, places stay where they are."""
    once, twice = checked([at(TABLE, 1.0, 2.0, 10.0)]), checked([at(TABLE, 1.0, 2.0, 10.0)], scale=2.0)
    assert twice.plate_mm == 10.0
    assert twice.peel.area_mm2 == pytest.approx(4.0 * once.peel.area_mm2)
    assert len(twice.layers.heights_mm) == 2 * len(once.layers.heights_mm)
    (one,), (two,) = ([f for f in check.findings if f.code == "island"] for check in (once, twice))
    assert one.at == pytest.approx((5.0, 6.0, 13.05))
    assert two.at == pytest.approx((5.0, 6.0, 13.025))
    assert two.value == pytest.approx(4.0)


def test_a_plate_that_is_given_refuses_what_lies_below_it_and_names_it() -> None:
    with pytest.raises(BadInput, match=r"second reaches 2 mm below the plate"):
        checked([at(TABLE, 0.0, 0.0, 0.0), at(PLATE, 20.0, 0.0, -2.0, "second")], plate_mm=0.0)
    high = checked([at(PLATE, 0.0, 0.0, 4.0)], plate_mm=0.0)
    assert next((f.code, f.severity) for f in high.findings) == ("island", "stop")


@pytest.mark.parametrize(
    ("bodies", "options", "words"),
    [
        ([], {}, "no body"),
        ([Body("cap", Mesh(PLATE.points, PLATE.triangles[1:]))], {}, "cap: the surface is open"),
        ([Body("glove", flipped(PLATE))], {}, "glove: is inside out"),
        ([at(PLATE, 0, 0, 0), at(PLATE, 2000.0, 0, 0, "far")], {}, "in another unit"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_its_name(
    bodies: list[Body], options: dict[str, object], words: str
) -> None:
    with pytest.raises(BadInput, match=words):
        checked(bodies, **options)


def test_a_layer_taller_than_the_job_is_refused_with_one_that_works() -> None:
    with pytest.raises(BadInput, match="give up to 1"):
        finish(print_check([at(PLATE, 0, 0, 0)], replace(COARSE, layer_mm=1.5), directions=0))


def test_a_tub_holds_resin_and_shuts_in_air_upside_down() -> None:
    tub = boxes_mesh([((0, 6), (0, 6), (0, 4))], [((1, 5), (1, 5), (1, 4))])
    upright = checked([at(tub, 0, 0, 0, "tub")])
    assert [(c.volume_mm3, c.spill_mm) for c in upright.suction] == [(pytest.approx(48.0), pytest.approx(4.0, abs=0.1))]
    assert upright.drip == ()
    turned = checked([Body("tub", tub, Pose(np.diag([1.0, -1.0, -1.0]), np.array([0.0, 6.0, 4.0])))])
    assert turned.suction == ()
    assert [c.volume_mm3 for c in turned.drip] == [pytest.approx(48.0)]
    assert {f.text.split("; ")[0].split(", ")[-1] for f in turned.findings if f.code == "cup"} >= {
        "shuts in air as the slurry rises"
    }


def test_parts_name_what_was_joined() -> None:
    """One solid of a table and a plate beside it: each finding bears the name of the part it is about."""
    whole = Body("job", merged([TABLE, PLATE]))
    parts = [Body("the plate", PLATE), Body("the table", TABLE)]
    joined = Body("job", merged([TABLE, at(PLATE, 20.0, 0.0, 3.0).placed()]))
    check = checked([joined], parts=[at(PLATE, 20.0, 0.0, 3.0, "the plate"), Body("the table", TABLE)])
    islands = [f for f in check.findings if f.code == "island"]
    assert sorted(f.bodies for f in islands) == [("the plate",), ("the table",)]
    assert all(f.text.startswith(f.bodies[0]) for f in islands)
    places = [(4.0, 4.0, 0.0), (4.0, 4.0, 6.0), (0.5, 0.5, 2.5), (100.0, 0.0, 0.0)]
    assert finish(nearest_part(places, parts)).tolist() == [0, 1, 1, -1]
    assert whole.mesh.points.shape == (len(TABLE.points) + len(PLATE.points), 3)


def test_faces_of_a_joined_solid_know_what_they_came_from() -> None:
    """By the corners they kept; where one has new corners only, by what is nearest to its middle."""
    parts = [Body("the table", TABLE), at(PLATE, 20.0, 0.0, 3.0, "the plate")]
    joined = merged([body.placed() for body in parts])
    whose = [0] * len(TABLE.triangles) + [1] * len(PLATE.triangles)
    assert finish(faces_from(joined, parts)).tolist() == whose
    # Moved by as little as single precision moves, and a face more, inside one of the table.
    inner = TABLE.corners()[0] * 0.8 + TABLE.corners()[0].mean(axis=0) * 0.2
    cut = Mesh(
        np.vstack([joined.points + 2e-5, inner]),
        np.vstack([joined.triangles, len(joined.points) + np.arange(3)[None]]),
    )
    assert finish(faces_from(cut, parts)).tolist() == [*whose, 0]


def test_advice_is_never_a_stop() -> None:
    check = checked([at(TABLE, 0.0, 0.0, 0.0)])
    told = as_advice(check.findings)
    assert {f.severity for f in told} <= {"warn", "note"}
    assert sorted(f.text for f in told) == sorted(f.text for f in check.findings)


def test_the_report_has_every_layer_every_start_and_the_light() -> None:
    check = checked([at(TABLE, 0.0, 0.0, 0.0)], directions=16)
    report = json.loads(report_text("inspect", "table", [print_part(check)]))
    layers, light = report["layers"], report["light"]
    assert layers["count"] == len(layers["areas_mm2"]) == len(layers["heights_mm"]) == len(layers["regions"]) == 60
    assert layers["areas_mm2"][10] == pytest.approx(4.0)
    assert layers["regions"][10] == 4
    assert [i["body"] for i in layers["islands"]] == ["table"]
    assert light["directions"] == 16
    assert light["area_mm2"] == pytest.approx(sum(check.light.area_mm2))  # type: ignore[union-attr]
    assert 0.0 < light["bodies"][0]["mean"] < 1.0
    assert light["bodies"][0]["name"] == "table"
    faces = json.loads(report_text("inspect", "table", [print_part(check, faces=True)]))["light"]["bodies"][0]["faces"]
    assert faces == pytest.approx(check.light.share.tolist(), abs=6e-5)  # type: ignore[union-attr]
    text = "\n".join(print_lines(check))
    assert "60 layers of 0.1 mm, 6.0 mm high" in text
    assert "16 directions" in text


def test_on_the_command_line_an_island_is_advice_until_it_is_said_to_be_the_print(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "table.stl"
    stl.write(file, TABLE)
    words = ["inspect", str(file), "--layer", "0.1", "--light", "0"]
    assert main([*words, "--json", "-"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert [f["severity"] for f in report["findings"] if f["code"] == "island"] == ["warn"]
    assert "light" not in report
    assert main([*words, "--print"]) == 1
    assert "begins in mid-air at 3.05 mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--layer", "0"], "--layer"),
        (["--layer", "7"], "give up to 6"),
        (["--light", "7"], "an even number"),
        (["--print"], "reaches 3 mm below the plate"),
    ],
)
def test_what_the_command_line_cannot_use_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    file = tmp_path / "table.stl"
    stl.write(file, at(TABLE, 0.0, 0.0, -3.0).placed())
    assert main(["inspect", str(file), *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert told.out == ""


def test_an_unsound_body_is_said_to_have_no_layers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "open.stl"
    stl.write(file, Mesh(TABLE.points, TABLE.triangles[1:]))
    assert main(["inspect", str(file), "--print", "--json", "-"]) == 1
    report = json.loads(capsys.readouterr().out)
    assert report["layers"] is None
    assert "open" in report["layers_refused"]


def test_the_command_line_compares_ways_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "table.stl"
    stl.write(file, TABLE)
    assert main(["inspect", str(file), "--light", "0", "--way-up", "--layer", "0.1", "--json", "-"]) == 0
    ways = json.loads(capsys.readouterr().out)["ways_up"]
    assert ways[0]["islands"] == 0
    assert ways[0]["name"] == "upside down"
    assert next(w for w in ways if w["name"] == "as it stands")["islands"] == 1


def test_a_cavity_that_joining_made_is_a_stop() -> None:
    """A lid on a tub: neither part has a cavity, what they were joined to has."""
    tub = boxes_mesh([((0, 6), (0, 6), (0, 4))], [((1, 5), (1, 5), (1, 4))])
    joined = boxes_mesh([((0, 6), (0, 6), (0, 5))], [((1, 5), (1, 5), (1, 4))])
    lid = boxes_mesh([((0, 6), (0, 6), (4, 5))])
    parts = [Body("tub", tub), Body("lid", lid)]
    (stop,) = (f for f in checked([Body("job", joined)], parts=parts).findings if f.severity == "stop")
    assert (stop.code, stop.value) == ("cup", pytest.approx(48.0))
    assert [f.code for f in checked([Body("job", joined)]).findings if f.severity == "stop"] == []
