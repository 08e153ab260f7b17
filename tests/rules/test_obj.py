"""OBJ files: points shared by all, polygons of any outline, names; and polygons cut into triangles."""

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.files import obj
from addon.rules.files.named import Named
from addon.rules.files.polygons import triangulate
from addon.rules.solid.measure import area_mm2, normals, volume_mm3
from addon.rules.solid.mesh import mesh
from addon.rules.solid.topology import facts
from tests.mesh_shapes import BOX_QUADS, box, moved, rotation, torus

POINTS = "".join(f"v {x:g} {y:g} {z:g}\n" for x, y, z in box().points)
QUADS = "".join(f"f {a + 1} {b + 1} {c + 1} {d + 1}\n" for a, b, c, d in BOX_QUADS)


def read(tmp_path, text, **kwargs):
    path = tmp_path / "a.obj"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return obj.read(path, **kwargs)


def refusal(tmp_path, text) -> str:
    """The message a file is refused with: one line that begins with its name."""
    with pytest.raises(BadInput) as caught:
        read(tmp_path, text)
    message = str(caught.value)
    assert message.startswith(str(tmp_path / "a.obj"))
    assert "\n" not in message
    return message


# Polygons


def cut_area(flat: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = np.moveaxis(flat[triangles], 1, 0)
    return ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2


OUTLINES = {
    "arrow": [(0, 0), (2, 1), (0, 2), (0.7, 1)],
    "L": [(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)],
    "comb": [(0, 0), (7, 0), (7, 3), (6, 3), (6, 1), (5, 1), (5, 3), (4, 3), (4, 1), (3, 1), (3, 3), (0, 3)],
    "square with points on its sides": [(0, 0), (1, 0), (2, 0), (2, 1), (2, 2), (1, 2), (0, 2), (0, 1)],
    "triangle with a point on its side": [(0, 0), (1, 0), (2, 0), (0, 2)],
    "hole on a bridge": [(0, 0), (4, 0), (4, 4), (0, 4), (0, 0), (1, 1), (1, 3), (3, 3), (3, 1), (1, 1)],
    "spiral": [(0, 0), (6, 0), (6, 5), (1, 5), (1, 2), (4, 2), (4, 3), (2, 3), (2, 4), (5, 4), (5, 1), (0, 1)],
}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_polygons_are_cut_into_triangles_that_all_turn_their_way_and_fill_them(outline, seed):
    """Wherever they lie and whichever corner comes first: n - 2 triangles with area, together the polygon's."""
    flat = np.array(outline, dtype=float)
    n = len(flat)
    x, y = flat.T
    area = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2
    space = np.column_stack([flat, np.zeros(n)]) @ rotation(seed).T + seed
    for first in range(n):
        order = np.roll(np.arange(n), -first)
        (triangles,) = triangulate(space, order[None])
        assert triangles.shape == (n - 2, 3)
        areas = cut_area(flat, triangles)
        assert areas.sum() == pytest.approx(area, rel=1e-12)
        assert (areas > 1e-9).all()
        edges = {(a, b) for t in triangles.tolist() for a, b in zip(t, t[1:] + t[:1], strict=True)}
        assert {(int(a), int(b)) for a, b in zip(order, np.roll(order, -1), strict=True)} <= edges


def test_random_star_outlines_are_filled():
    rng = np.random.default_rng(11)
    for n in (4, 5, 9, 30, 80):
        angle = np.sort(rng.random(n)) * 0.99 * 2 * np.pi
        if np.diff(angle, append=angle[0] + 2 * np.pi).max() > 3:
            angle = 2 * np.pi * np.arange(n) / n
        radius = rng.uniform(0.2, 1.0, n)
        flat = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
        x, y = flat.T
        (triangles,) = triangulate(np.column_stack([flat, np.zeros(n)]), np.arange(n)[None])
        areas = cut_area(flat, triangles)
        assert areas.sum() == pytest.approx((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2, rel=1e-9)
        assert (areas > 0).all()


def test_outlines_agree_with_shapely():
    shapely = pytest.importorskip("shapely")
    for outline in OUTLINES.values():
        flat = np.array(outline, dtype=float)
        (triangles,) = triangulate(np.column_stack([flat, np.zeros(len(flat))]), np.arange(len(flat))[None])
        pieces = [shapely.Polygon(flat[t]) for t in triangles]
        assert shapely.unary_union(pieces).area == pytest.approx(sum(p.area for p in pieces))


def test_crossing_and_flat_outlines_are_cut_all_the_same():
    for outline in ([(0, 0), (1, 1), (1, 0), (0, 1)], [(0, 0), (1, 0), (2, 0), (3, 0)], [(0, 0)] * 5):
        points = np.column_stack([np.array(outline, dtype=float), np.zeros(len(outline))])
        (triangles,) = triangulate(points, np.arange(len(points))[None])
        edges = [(a, b) for t in triangles.tolist() for a, b in zip(t, t[1:] + t[:1], strict=True)]
        rim = sorted(e for e in edges if e[::-1] not in edges)
        assert rim == sorted((k, (k + 1) % len(points)) for k in range(len(points)))


# Files


def test_a_box_of_squares_is_read_as_a_closed_box(tmp_path):
    (read_,) = read(tmp_path, POINTS + QUADS)
    assert read_.name == ""
    assert facts(read_.mesh).closed
    assert volume_mm3(read_.mesh) == pytest.approx(1)


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_corners_with_texture_and_normal_places_comments_and_continued_lines(tmp_path, ends):
    text = "# a box\nmtllib a.mtl\n\n" + POINTS.replace("v 1 1 1", "v 1 1 1 0.5 0.5 0.5") + "vt 0 0\nvn 0 0 1\ns off\n"
    for k, line in enumerate(QUADS.splitlines()):
        form = ("{}/1/1", "{}//1", "{}/1", "{}")[k % 4]
        text += "f  " + " \\\n ".join(form.format(word) for word in line.split()[1:]) + "  \nusemtl x\nl 1 2\n"
    text = text if ends != "\r" else text.replace(" \\\n", " ")
    (read_,) = read(tmp_path, text.replace("\n", ends).encode())
    assert volume_mm3(read_.mesh) == pytest.approx(1)


def test_negative_numbers_count_back_from_the_face(tmp_path):
    back = "".join("f " + " ".join(str(k - 8) for k in q) + "\n" for q in BOX_QUADS)
    far = "".join(f"v {x + 5:g} {y:g} {z:g}\n" for x, y, z in box().points)
    one, other = read(tmp_path, f"o a\n{POINTS}{back}o b\n{far}{back}")
    assert (one.name, other.name) == ("a", "b")
    assert (one.mesh.points[:, 0].max(), other.mesh.points[:, 0].min()) == (1, 5)
    assert facts(other.mesh).closed


def test_objects_may_share_the_list_of_points(tmp_path):
    """Two blocks that share four points: each is closed by itself."""
    points = POINTS + "".join(f"v 2 {y:g} {z:g}\n" for y in (0, 1) for z in (0, 1))
    second = [(4, 5, 7, 6), (8, 10, 11, 9), (4, 8, 9, 5), (6, 7, 11, 10), (4, 6, 10, 8), (5, 9, 11, 7)]
    faces = "".join("f " + " ".join(str(k + 1) for k in q) + "\n" for q in second)
    read_ = read(tmp_path, f"{points}o left\n{QUADS}o right\n{faces}")
    assert [r.name for r in read_] == ["left", "right"]
    for one in read_:
        assert facts(one.mesh).closed
        assert volume_mm3(one.mesh) == pytest.approx(1)


def test_groups_are_parts_of_one_surface_where_they_share_points_else_objects(tmp_path):
    lines = QUADS.splitlines(keepends=True)
    far = "".join(f"v {x + 5:g} {y:g} {z:g}\n" for x, y, z in box().points)
    more = "".join("f " + " ".join(str(k + 9) for k in q) + "\n" for q in BOX_QUADS)
    text = f"{POINTS}{far}g band\n{''.join(lines[:3])}g stone\n{more}g lid band\n{''.join(lines[3:])}"
    read_ = read(tmp_path, text)
    assert [r.name for r in read_] == ["band", "stone"]
    assert all(facts(r.mesh).closed for r in read_)


def test_groups_inside_objects_split_nothing(tmp_path):
    lines = QUADS.splitlines(keepends=True)
    (read_,) = read(tmp_path, f"o ring one\n{POINTS}g a\n{''.join(lines[:3])}g b\n{''.join(lines[3:])}")
    assert read_.name == "ring one"
    assert facts(read_.mesh).closed


def test_a_dented_face_keeps_its_outline(tmp_path):
    """An L-shaped prism with its ends written as single faces of six corners."""
    outline = [(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)]
    points = "".join(f"v {x} {y} {z}\n" for z in (0, 2) for x, y in outline)
    faces = "f 6 5 4 3 2 1\nf 7 8 9 10 11 12\n"
    faces += "".join(f"f {k + 1} {(k + 1) % 6 + 1} {(k + 1) % 6 + 7} {k + 7}\n" for k in range(6))
    (read_,) = read(tmp_path, points + faces)
    assert volume_mm3(read_.mesh) == pytest.approx(10)
    assert area_mm2(read_.mesh) == pytest.approx(2 * 5 + 12 * 2)
    assert facts(read_.mesh).closed
    assert (np.linalg.norm(normals(read_.mesh.corners()), axis=1) > 0.5).all()


def test_the_unit_scales(tmp_path):
    assert read(tmp_path, POINTS + QUADS, unit_mm=10.0)[0].mesh.points.max() == 10
    with pytest.raises(BadInput, match="unit"):
        read(tmp_path, POINTS + QUADS, unit_mm=0.0)


def test_what_is_written_comes_back_to_the_last_bit(tmp_path):
    given = (
        Named("link 1", mesh(torus().points @ rotation(4).T + 1 / 3, torus().triangles)),
        Named("", box(1e-7)),
        Named("two\nlines ♢", moved(box(), (9, 0, 0))),
    )
    obj.write(tmp_path / "a.obj", given)
    back = obj.read(tmp_path / "a.obj")
    assert [b.name for b in back] == ["link 1", "body 2", "two lines ♢"]
    for one, other in zip(back, given, strict=True):
        assert np.array_equal(one.mesh.points, other.mesh.points)
        assert np.array_equal(one.mesh.triangles, other.mesh.triangles)
    obj.write(tmp_path / "b.obj", given)
    assert (tmp_path / "a.obj").read_bytes() == (tmp_path / "b.obj").read_bytes()
    obj.write(tmp_path / "c.obj", (Named("", box()),))
    assert obj.read(tmp_path / "c.obj")[0].name == ""
    with pytest.raises(BadInput, match="nothing to write"):
        obj.write(tmp_path / "d.obj", ())


def test_trimesh_reads_what_we_write_and_we_read_what_it_writes(tmp_path):
    trimesh = pytest.importorskip("trimesh")
    obj.write(tmp_path / "a.obj", (Named("ring", torus()),))
    theirs = trimesh.load(tmp_path / "a.obj", file_type="obj", force="mesh", process=False)
    assert theirs.volume == pytest.approx(volume_mm3(torus()), rel=1e-12)
    theirs.export(tmp_path / "b.obj", digits=12)
    (back,) = obj.read(tmp_path / "b.obj")
    assert facts(back.mesh).genus == 1
    assert volume_mm3(back.mesh) == pytest.approx(volume_mm3(torus()), rel=1e-9)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("# nothing\n", "no faces"),
        (POINTS, "no faces"),
        (QUADS, "no faces"),
        (b"\0\xff junk \n" * 50, "no faces"),
        (POINTS + "f 1 2 9\n", "line 9 names a point"),
        (POINTS + "f 1 2 0\n", "line 9 names a point"),
        (POINTS + "f 1 2 -9\n", "line 9 names a point"),
        (POINTS + "f 1 2\n", "fewer than three corners"),
        (POINTS + "f\n", "fewer than three corners"),
        (POINTS + "f 1 2 x\n", "no whole number"),
        (POINTS + "f 1 2 99999999999999999999999\n", "line 9 names a point"),
        ("v 1 2\n" + QUADS, "line 1 is a point without three numbers"),
        ("v\n" + QUADS, "line 1 is a point without three numbers"),
        ("v 1 2 x\n" + QUADS, "not a number"),
        ("v 1 2 nan\n" + QUADS, "three real numbers"),
        (POINTS + "v inf 2 1\n" + QUADS, "line 9 is a point without three real numbers"),
        ("v 1 2 1e20\n" + POINTS + QUADS, "unit"),
        (POINTS + QUADS + "cstype bezier\n", "free-form"),
    ],
)
def test_damaged_files_are_refused_in_one_line_that_names_them(tmp_path, text, said):
    assert said in refusal(tmp_path, text)


def star(corners: int) -> str:
    """A file of one star-shaped face."""
    angle = 2 * np.pi * np.arange(corners) / corners
    radius = 1 + 0.5 * (np.arange(corners) % 2)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1).tolist()
    return "".join(f"v {x!r} {y!r} 0\n" for x, y in points) + f"f {' '.join(map(str, range(1, corners + 1)))}\n"


def test_a_huge_dented_face_is_refused_and_a_large_one_read(tmp_path):
    assert "too large" in refusal(tmp_path, star(5002))
    (read_,) = read(tmp_path, star(2000))
    # A star is the sum of its kites: n / 2 of them, each inner radius x outer radius x sin(angle between).
    assert area_mm2(read_.mesh) == pytest.approx(1000 * 1.0 * 1.5 * np.sin(2 * np.pi / 2000), rel=1e-12)


def test_random_damage_is_refused_or_read_but_never_crashes(tmp_path):
    rng = np.random.default_rng(3)
    source = (POINTS + "o a\n" + QUADS).encode()
    messages = []
    for _ in range(300):
        data = bytearray(source)
        for place in rng.integers(0, len(data), rng.integers(1, 6)):
            data[place] = rng.integers(0, 256)
        try:
            read(tmp_path, bytes(data[: rng.integers(len(data) // 2, len(data) + 1)]))
        except BadInput as error:
            messages.append(str(error))
    assert messages
    assert not any("\n" in m for m in messages)
