"""Broken meshes written by another library: what it calls no volume is never clear here, in any format that it writes.

The judge is trimesh (trimesh.org, MIT licence): `is_volume` is true of a mesh that is watertight, wound one way, of
finite numbers and positive volume. It knows nothing of surfaces that cross or touch, so it judges one way only.
"""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from addon.verbs import main

trimesh = pytest.importorskip("trimesh")

Array = np.ndarray
FORMATS = ("stl", "stl_ascii", "obj")


def _ring() -> "trimesh.Trimesh":
    return trimesh.creation.torus(major_radius=6.0, minor_radius=1.5, major_sections=16, minor_sections=8)


def _with_hole(faces: Array, some: Array) -> Array:
    return np.delete(faces, some, axis=0)


def _turned(faces: Array, some: Array) -> Array:
    faces[some] = faces[some, ::-1]
    return faces


def _all_turned(faces: Array, some: Array) -> Array:
    del some
    return faces[:, ::-1]


def _tripled(faces: Array, some: Array) -> Array:
    """The same face twice more, so that every edge of it has four faces."""
    return np.concatenate([faces, faces[some], faces[some]])


def _flagged(faces: Array, some: Array) -> Array:
    """A face from an edge to a point far across the ring."""
    return np.concatenate([faces, np.stack([faces[some, 0], faces[some, 1], faces[some - 60, 2]], axis=1)])


DAMAGE: dict[str, Callable[[Array, Array], Array]] = {
    "hole": _with_hole,
    "turned": _turned,
    "all turned": _all_turned,
    "tripled": _tripled,
    "flagged": _flagged,
}


def _inspected(solid: "trimesh.Trimesh", kind: str, folder: Path) -> tuple[int, list[tuple[str, str]]]:
    path, report = folder / f"it.{kind[:3]}", folder / "report.json"
    data = solid.export(file_type=kind)
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    status = main(["inspect", str(path), "--light", "0", "--json", str(report)])
    findings = json.loads(report.read_text(encoding="utf-8"))["findings"]
    return status, [(finding["code"], finding["severity"]) for finding in findings]


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize("damage", DAMAGE)
def test_what_is_no_volume_to_trimesh_stops(tmp_path: Path, damage: str, kind: str) -> None:
    random = np.random.default_rng(sorted(DAMAGE).index(damage))
    for count in (1, 4):
        whole = _ring()
        some = np.sort(random.choice(len(whole.faces), count, replace=False))
        broken = trimesh.Trimesh(whole.vertices, DAMAGE[damage](np.array(whole.faces), some), process=False)
        assert not broken.is_volume
        status, said = _inspected(broken, kind, tmp_path)
        assert status == 1
        assert any(severity == "stop" for _, severity in said)


@pytest.mark.parametrize("kind", FORMATS)
def test_the_whole_ring_is_a_volume_to_both(tmp_path: Path, kind: str) -> None:
    whole = _ring()
    assert whole.is_volume
    # As it lies, its wire reaches out round over the plate: the one thing said, and how it may be printed at that.
    assert _inspected(whole, kind, tmp_path) == (0, [("overhang", "warn")])
