"""STL files: what is read, what is refused and how, and what is written."""

import os
import struct

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.files import stl
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import mesh
from addon.rules.solid.topology import facts
from tests.mesh_shapes import box, moved, rotation, torus

TRIANGLE = "facet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex {} 0 0\nvertex 0 1 0\nendloop\nendfacet\n"


def binary(facets: np.ndarray, header: bytes = b"", count: int | None = None) -> bytes:
    """A binary STL written by struct, field by field, from corners (m, 3, 3)."""
    data = header.ljust(80, b"\0") + struct.pack("<I", len(facets) if count is None else count)
    return data + b"".join(struct.pack("<12fH", 0, 0, 0, *f.ravel().tolist(), 0) for f in facets)


def text(shape, name="", upper=False) -> str:
    """A text STL, the shortest decimals."""
    lines = [f"solid {name}"]
    for corners in shape.corners().tolist():
        lines += ["facet normal 0 0 0", " outer loop"]
        lines += [f"  vertex {x!r} {y!r} {z!r}" for x, y, z in corners] + [" endloop", "endfacet"]
    result = "\n".join([*lines, f"endsolid {name}"]) + "\n"
    return result.upper() if upper else result


def refusal(path, **kwargs) -> str:
    """The message a file is refused with: one line that begins with its name."""
    with pytest.raises(BadInput) as caught:
        stl.read(path, **kwargs)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    return message


def test_what_is_written_comes_back_rounded_to_float32_and_closed(tmp_path):
    ring = mesh(torus().points @ rotation(1).T + 30.0, torus().triangles)
    stl.write(tmp_path / "ring.stl", ring)
    (read,) = stl.read(tmp_path / "ring.stl")
    assert read.name == ""
    assert np.array_equal(read.mesh.corners(), ring.corners().astype(np.float32).astype(np.float64))
    assert len(read.mesh.points) == len(ring.points)
    assert facts(read.mesh).genus == 1
    assert np.abs(read.mesh.corners() - ring.corners()).max() < 1e-5


def test_the_layout_is_that_of_the_format_and_the_same_every_time(tmp_path):
    stl.write(tmp_path / "a.stl", box())
    stl.write(tmp_path / "b.stl", box())
    data = (tmp_path / "a.stl").read_bytes()
    assert data == (tmp_path / "b.stl").read_bytes()
    assert len(data) == 84 + 50 * 12
    assert not data.lower().startswith(b"solid")
    assert struct.unpack("<I", data[80:84]) == (12,)
    for k, corners in enumerate(box().corners()):
        fields = struct.unpack("<12fH", data[84 + 50 * k : 134 + 50 * k])
        assert fields[3:12] == tuple(corners.ravel().tolist())
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        assert fields[:3] == pytest.approx(normal / np.linalg.norm(normal))
        assert np.dot(fields[:3], corners.mean(axis=0) - 0.5) > 0
        assert fields[12] == 0


def test_a_triangle_without_area_gets_the_normal_0_0_0(tmp_path):
    stl.write(tmp_path / "a.stl", mesh([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]]))
    assert struct.unpack("<3f", (tmp_path / "a.stl").read_bytes()[84:96]) == (0, 0, 0)


def test_trimesh_reads_what_we_write_and_we_read_what_it_writes(tmp_path):
    trimesh = pytest.importorskip("trimesh")
    stl.write(tmp_path / "ours.stl", torus())
    theirs = trimesh.load(tmp_path / "ours.stl", file_type="stl")
    assert theirs.is_volume
    assert theirs.volume == pytest.approx(volume_mm3(torus()), rel=1e-6)
    for kind in ("stl", "stl_ascii"):
        theirs.export(tmp_path / "theirs.stl", file_type=kind)
        (read,) = stl.read(tmp_path / "theirs.stl")
        assert facts(read.mesh).genus == 1
        assert volume_mm3(read.mesh) == pytest.approx(theirs.volume, rel=1e-6)


@pytest.mark.parametrize("header", [b"solid looks like text", b"\xef\xbb\xbfsolid", b"", b"\xff" * 80])
def test_binary_is_told_by_its_size_whatever_its_header_says(tmp_path, header):
    (tmp_path / "a.stl").write_bytes(binary(box().corners(), header))
    assert len(stl.read(tmp_path / "a.stl")[0].mesh.points) == 8


@pytest.mark.parametrize("upper", [False, True])
@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_text_is_read_exactly_in_any_case_with_any_line_ends(tmp_path, ends, upper):
    shape = mesh(box(0.1).points + 1 / 3, box().triangles)
    (tmp_path / "a.stl").write_bytes(text(shape, "my box", upper).replace("\n", ends).encode())
    (read,) = stl.read(tmp_path / "a.stl")
    assert read.name.lower() == "my box"
    assert np.array_equal(read.mesh.corners(), shape.corners())


def test_a_text_file_of_several_solids_gives_each_its_name(tmp_path):
    shapes = [("ring one", box()), ("", moved(box(), (3, 0, 0))), ("facet endsolid\tsolid", moved(box(), (6, 0, 0)))]
    (tmp_path / "a.stl").write_text("\ufeff" + "\n\n".join(text(s, n) for n, s in shapes), encoding="utf-8")
    read = stl.read(tmp_path / "a.stl")
    assert [r.name for r in read] == ["ring one", "", "facet endsolid solid"]
    assert [r.mesh.points[:, 0].min() for r in read] == [0, 3, 6]


def test_a_long_text_is_read_in_pieces_to_the_same_end(tmp_path, monkeypatch):
    (tmp_path / "a.stl").write_text(text(torus(), "ring"))
    whole = stl.read(tmp_path / "a.stl")[0].mesh
    monkeypatch.setattr(stl, "_BYTES_AT_ONCE", 1000)
    pieces = stl.read(tmp_path / "a.stl")[0].mesh
    assert np.array_equal(whole.corners(), pieces.corners())


def test_the_unit_scales(tmp_path):
    stl.write(tmp_path / "a.stl", box())
    assert stl.read(tmp_path / "a.stl", 25.4)[0].mesh.points.max() == 25.4
    for unit in (0.0, -1.0, float("nan"), float("inf")):
        assert "unit" in refusal(tmp_path / "a.stl", unit_mm=unit)


def test_equal_corners_weld_and_minus_zero_is_zero(tmp_path):
    corners = box().corners()
    corners[::2][corners[::2] == 0.0] = -0.0
    (tmp_path / "a.stl").write_bytes(binary(corners))
    assert facts(stl.read(tmp_path / "a.stl")[0].mesh).closed


@pytest.mark.parametrize("cut", [1, 49, 50, 300, 12 * 50])
def test_a_file_cut_short_says_how_much_is_there(tmp_path, cut):
    data = binary(box().corners())
    (tmp_path / "a.stl").write_bytes(data[:-cut])
    message = refusal(tmp_path / "a.stl")
    assert "cut short" in message
    assert "promises 12 triangles, but only" in message


@pytest.mark.parametrize("extra", [b"\0", b"\0" * 50, b"x" * 1234])
def test_a_file_with_more_than_it_counts_is_refused(tmp_path, extra):
    (tmp_path / "a.stl").write_bytes(binary(box().corners()) + extra)
    assert "counts 12 triangles" in refusal(tmp_path / "a.stl")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"\0", "too few"),
        (b"\0" * 83, "too few"),
        (b"\0" * 84, "no triangles"),
        (b"solid", "endsolid"),
        (b"solid a\nendsolid a\n", "no triangles"),
        (b"solid a\nsolid b\nendsolid b\n", "endsolid"),
        (f"solid a\n{TRIANGLE}".encode(), "endsolid"),
        (f"solid a\n{TRIANGLE}endsolid a\n{TRIANGLE}".encode(), "follows"),
        (f"solid a\n{TRIANGLE[:-9]}endsolid a\n".encode(), "facet 1"),
        (f"solid a\n{TRIANGLE * 3}facet normal\nendsolid a\n".encode(), "facet 4"),
        (f"solid a\n{TRIANGLE}{TRIANGLE.replace('vertex', 'vertix')}endsolid a\n".encode(), "facet 2"),
        (f"solid a\n{TRIANGLE.format('1,5')}endsolid\n".encode(), "not a number"),
        (f"solid a\n{TRIANGLE.format('nan')}endsolid\n".encode(), "not a number"),
        (f"solid a\n{TRIANGLE.format('inf')}endsolid\n".encode(), "not a number"),
        (f"solid a\n{TRIANGLE.format('1e300')}endsolid\n".encode(), "unit"),
        (f"solid a\n{TRIANGLE.format('1' * 5000)}endsolid\n".encode(), "facet 1"),
        (b"solid a\n" + b"\xff\xfe junk" * 50 + b"\nendsolid\n", "facet 1"),
        (b"<html>no such page</html>" * 10, "no STL file"),
        (b"PK\x03\x04" * 50, ""),
    ],
)
def test_damaged_files_are_refused_in_one_line_that_names_them(tmp_path, data, said):
    path = tmp_path / "a.stl"
    path.write_bytes(data.replace(b"{}", b"1"))
    assert said in refusal(path)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_a_coordinate_that_is_no_number_is_refused(tmp_path, value):
    corners = box().corners()
    corners[5, 1, 2] = value
    (tmp_path / "a.stl").write_bytes(binary(corners))
    assert "not a number" in refusal(tmp_path / "a.stl")


def test_a_huge_file_is_refused_by_its_count_without_being_read(tmp_path):
    path = tmp_path / "a.stl"
    with path.open("wb") as file:
        file.write(b"\0" * 80 + struct.pack("<I", 20_000_000))
        os.truncate(path, 84 + 50 * 20_000_000)
    assert "20,000,000 triangles, more than the 10,000,000" in refusal(path)


def test_a_huge_text_is_refused_by_its_size_without_being_read(tmp_path):
    path = tmp_path / "a.stl"
    path.write_bytes(b"solid a\n" + b" " * 100)
    os.truncate(path, 30_000_000_000)
    assert "30,000 MB of text, more than the 400 MB" in refusal(path)


def test_a_coordinate_beyond_float32_is_refused_and_nothing_is_left(tmp_path):
    with pytest.raises(BadInput, match="too large"):
        stl.write(tmp_path / "a.stl", box(1e300))
    assert list(tmp_path.iterdir()) == []


def test_random_damage_is_refused_or_read_but_never_crashes(tmp_path):
    rng = np.random.default_rng(3)
    path = tmp_path / "a.stl"
    messages = []
    for source in (binary(box().corners()), text(box(), "box").encode()):
        for _ in range(150):
            data = bytearray(source)
            for place in rng.integers(0, len(data), rng.integers(1, 6)):
                data[place] = rng.integers(0, 256)
            path.write_bytes(bytes(data[: rng.integers(len(data) // 2, len(data) + 1)]))
            try:
                stl.read(path)
            except BadInput as error:
                messages.append(str(error))
    assert messages
    assert not any("\n" in m for m in messages)
