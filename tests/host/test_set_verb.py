"""A small set of bodies from mesh files, fed as one solid: what the file and the report say of it."""

import json
from pathlib import Path

import numpy as np
import pytest
from mesh_shapes import box, moved, torus

from addon.host.tools import host_tools
from addon.rules.files import stl, threemf
from addon.rules.files.named import Named
from addon.rules.solid.measure import bounds_mm, volume_mm3
from addon.rules.solid.mesh import Mesh
from addon.verbs import main

STAND_UP = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])


def upright(shape: Mesh, at: tuple[float, float, float]) -> Mesh:
    return Mesh(shape.points @ STAND_UP.T + at, shape.triangles)


def test_charms_and_earrings_become_one_solid_on_one_hub(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Watertightness and the number of pieces are trimesh's word."""
    trimesh = pytest.importorskip("trimesh")
    earring = torus(7.0, 1.0, 40, 12)
    tools = host_tools()
    threemf.write(tmp_path / "left.3mf", (Named("left", upright(earring, (0, 0, 0))),))
    tools.write_blend(tmp_path / "right.blend", (Named("right", upright(earring, (50, 0, 0))),))
    stl.write(tmp_path / "charm.stl", moved(box((5.0, 3.0, 6.0)), (22.0, 15.0, 1.0)))
    out, report = tmp_path / "fed.stl", tmp_path / "fed.json"
    files = [str(tmp_path / name) for name in ("left.3mf", "right.blend", "charm.stl")]
    assert main(["feed", *files, "-o", str(out), "--json", str(report)], tools) == 0
    said = capfd.readouterr()
    assert said.err == ""
    assert "3 bodies" in said.out
    told = json.loads(report.read_text(encoding="utf-8"))
    assert [b["name"] for b in told["bodies"]] == ["left", "right", "body 1"]
    struts = told["lattice"]["struts"]
    assert {s["feeds"] for s in struts if s["role"] == "gate"} == {"left", "right", "body 1"}
    assert {s["role"] for s in struts} == {"gate", "brace", "ring", "spoke", "trunk"}
    assert told["layers"]["islands"] == []
    stored = trimesh.load(out)
    assert stored.is_watertight
    assert stored.body_count == 1
    parts = sum(b["volume_mm3"] for b in told["bodies"]) + told["lattice"]["volume_mm3"]
    assert stored.volume == pytest.approx(parts, rel=1e-5)
    (read,) = stl.read(out)
    assert volume_mm3(read.mesh) == pytest.approx(parts, rel=1e-5)
    assert bounds_mm(read.mesh.points)[0, 2] == pytest.approx(0.0, abs=1e-6)
