"""The verbs that need Blender's union: one closed solid, at export scale, refused while a stop stands."""

import json
from pathlib import Path

import numpy as np
import pytest

from addon.host.tools import host_tools
from addon.rules.files import stl, threemf
from addon.rules.solid.measure import bounds_mm, volume_mm3
from addon.rules.solid.topology import bodies_of, facts
from addon.verbs import main

JOB = """
schema = 1
name = "Ebb bracelet"
[chain]
{chain}
gap_mm = 0.4
[layout]
{layout}
{more}
"""
CURB = """
family = "curb"
wire_mm = 2.2
link_length_mm = 12.2
link_width_mm = 9.7
"""
TRACE = """
family = "trace"
wire_mm = 1.6
link_length_mm = 9.0
link_width_mm = 7.0
"""
RING = 'shape = "ring"\nlinks = 22'
STRAIGHT = 'shape = "straight"\nlinks = 22'
# Where the print is not what is asked about, few links in thick layers.
SHORT, SMALL_RING = 'shape = "straight"\nlinks = 5', 'shape = "ring"\nlinks = 12'
THICK = "[process]\nlayer_mm = 0.2"


def write(folder: Path, *, chain: str = CURB, layout: str = SHORT, more: str = "") -> Path:
    file = folder / "job.toml"
    file.write_text(JOB.format(chain=chain, layout=layout, more=more), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("chain", "layout", "upper", "light"),
    [(CURB, RING, "false", "16"), (TRACE, STRAIGHT, "true", "0")],
    ids=["curb-ring", "trace-straight-upper"],
)
def test_run_gives_a_sound_print_file(
    chain: str, layout: str, upper: str, light: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Trimesh merges near points: slivers of the solver would read as open edges. The straight job once had them."""
    out = tmp_path / "out"
    job = write(tmp_path, chain=chain, layout=layout, more=f"[feed]\nupper_ring = {upper}")
    assert main(["run", str(job), "-o", str(out), "--light", light], host_tools()) == 0
    assert capfd.readouterr().err == ""
    assert sorted(p.name for p in out.iterdir()) == ["print.3mf", "print.stl", "report.json", "sheet.html"]
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    scale = report["export"]["scale"]
    assert scale > 1.0
    assert report["layers"]["islands"] == []
    assert report.get("light", {"directions": 0})["directions"] == int(light)
    (solid,) = threemf.read(out / "print.3mf")
    assert solid.name == "Ebb bracelet"
    found = facts(solid.mesh)
    assert (found.closed, found.shells, found.inside_out) == (True, 1, False)
    assert len(bodies_of(solid.mesh)) == 1
    parts = sum(b["volume_mm3"] for b in report["bodies"]) + report["lattice"]["volume_mm3"]
    assert volume_mm3(solid.mesh) == pytest.approx(parts * scale**3, rel=1e-6)
    assert bounds_mm(solid.mesh.points)[0, 2] == pytest.approx(0.0, abs=1e-6)
    (same,) = stl.read(out / "print.stl")
    assert np.allclose(bounds_mm(same.mesh.points), bounds_mm(solid.mesh.points), atol=1e-5)
    fed = [s["feeds"] for s in report["lattice"]["struts"] if s["role"] == "gate"]
    assert sorted(set(fed)) == sorted(b["name"] for b in report["bodies"])
    trimesh = pytest.importorskip("trimesh")
    stored = trimesh.load(out / "print.stl")
    assert stored.is_watertight
    assert stored.is_volume
    assert stored.body_count == 1
    assert trimesh.Trimesh(solid.mesh.points, solid.mesh.triangles).is_watertight


def test_a_stop_refuses_the_print_and_takes_the_older_one_away(tmp_path: Path) -> None:
    out = tmp_path / "out"
    job = write(tmp_path, chain=TRACE, layout=SMALL_RING, more=f"hand_mm = 400\n{THICK}")
    tools = host_tools()
    assert main(["run", str(job), "-o", str(out), "--light", "0", "--even-so"], tools) == 1
    export = json.loads((out / "report.json").read_text(encoding="utf-8"))["export"]
    assert export["override"] == "even-so"
    assert export["overridden"] == ["hand"]
    assert (out / "print.stl").exists()
    assert "in spite of: hand" in (out / "sheet.html").read_text(encoding="utf-8")
    assert main(["run", str(job), "-o", str(out), "--light", "0"], tools) == 1
    assert sorted(p.name for p in out.iterdir()) == ["report.json", "sheet.html"]
    export = json.loads((out / "report.json").read_text(encoding="utf-8"))["export"]
    assert (export["files"], export["override"]) == ([], None)


def test_feed_writes_finished_size_as_a_blend_that_reads_back(tmp_path: Path) -> None:
    out, report = tmp_path / "fed.blend", tmp_path / "fed.json"
    tools = host_tools()
    assert main(["feed", str(write(tmp_path)), "-o", str(out), "--json", str(report)], tools) == 0
    told = json.loads(report.read_text(encoding="utf-8"))
    (named,) = tools.read_blend(out)
    parts = sum(b["volume_mm3"] for b in told["bodies"]) + told["lattice"]["volume_mm3"]
    assert volume_mm3(named.mesh) == pytest.approx(parts, rel=1e-5)
