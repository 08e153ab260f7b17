"""Any mesh file into named bodies; and files written whole or not at all."""

import os
import stat

import pytest

from addon.rules.base.errors import BadInput
from addon.rules.files import obj, stl, threemf
from addon.rules.files.atomic import write_whole, writing
from addon.rules.files.named import Named
from addon.rules.files.read import read_bodies
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import merged
from tests.mesh_shapes import box, flipped, moved, torus


def names(path, **kwargs):
    return [b.name for b in read_bodies(path, **kwargs)]


def row(count, step=3.0):
    """A row of boxes as one mesh."""
    return merged([moved(box(), (step * k, 0, 0)) for k in range(count)])


def test_an_stl_without_names_gives_body_1_and_on(tmp_path):
    stl.write(tmp_path / "a.STL", row(3))
    assert names(tmp_path / "a.STL") == ["body 1", "body 2", "body 3"]


def test_an_object_of_one_body_gives_its_name_one_of_several_numbers_them(tmp_path):
    given = (Named("clasp", box()), Named("chain", row(3)), Named("", row(2)), Named("", torus()))
    threemf.write(tmp_path / "a.3mf", given)
    assert names(tmp_path / "a.3mf") == ["clasp", "chain 1", "chain 2", "chain 3", "body 1", "body 2", "body 3"]


def test_names_that_repeat_are_numbered_and_no_name_is_stolen(tmp_path):
    given = ["link", "link", "link 2", "link", "link 2", "body 1"]
    threemf.write(tmp_path / "a.3mf", (Named("", box()), *(Named(n, box()) for n in given)))
    read = names(tmp_path / "a.3mf")
    assert read == ["body 1", "link", "link 3", "link 2", "link 4", "link 2 2", "body 1 2"]
    assert len(set(read)) == len(read)


def test_the_bodies_are_those_of_the_design_in_all_formats_alike(tmp_path):
    """A hollow box with a box in it, and two boxes on one edge: in each format four bodies of the same volumes."""
    shape = merged([box(4), flipped(box(2, (1, 1, 1))), box(1, (1.5, 1.5, 1.5)), row(2, 1.0), moved(box(), (5, 1, 0))])
    stl.write(tmp_path / "a.stl", shape)
    obj.write(tmp_path / "a.obj", (Named("lot", shape),))
    threemf.write(tmp_path / "a.3mf", (Named("lot", shape),))
    found = [
        [round(volume_mm3(b.mesh), 9) for b in read_bodies(tmp_path / f"a.{suffix}")]
        for suffix in ("stl", "obj", "3mf")
    ]
    assert found[0] == found[1] == found[2]
    assert 56.0 in found[0]


def test_units_are_for_files_that_carry_none(tmp_path):
    stl.write(tmp_path / "a.stl", box())
    obj.write(tmp_path / "a.obj", (Named("a", box()),))
    threemf.write(tmp_path / "a.3mf", (Named("a", box()),))
    (tmp_path / "a.blend").write_bytes(b"BLENDER")
    assert volume_mm3(read_bodies(tmp_path / "a.stl", 10.0)[0].mesh) == pytest.approx(1000)
    assert volume_mm3(read_bodies(tmp_path / "a.obj", 25.4)[0].mesh) == pytest.approx(25.4**3)
    for name in ("a.3mf", "a.blend"):
        with pytest.raises(BadInput, match="carries its own unit"):
            read_bodies(tmp_path / name, 10.0, lambda _: ())


def test_blend_files_are_read_by_whoever_can(tmp_path):
    path = tmp_path / "scene.blend"
    path.write_bytes(b"BLENDER")
    seen = []

    def blender(asked):
        seen.append(asked)
        return (Named("Ring", row(2)), Named("Bail", box()))

    assert names(path, read_blend=blender) == ["Ring 1", "Ring 2", "Bail"]
    assert seen == [path]
    with pytest.raises(BadInput, match="only Blender reads"):
        read_bodies(path)
    with pytest.raises(BadInput, match="no such file"):
        read_bodies(tmp_path / "other.blend", None, blender)


def test_an_unknown_suffix_lists_those_that_work(tmp_path):
    for name in ("a.step", "a", "stl"):
        (tmp_path / name).write_bytes(b"x")
        with pytest.raises(BadInput, match=r"\.stl, \.obj, \.3mf, \.blend"):
            read_bodies(tmp_path / name)


@pytest.mark.parametrize("suffix", ["stl", "obj", "3mf", "blend"])
def test_what_is_no_file_at_all_is_refused_in_one_line_that_names_it(tmp_path, suffix):
    path = tmp_path / f"a.{suffix}"
    blender = (lambda _: ()) if suffix == "blend" else None

    def refusal(at):
        with pytest.raises(BadInput) as caught:
            read_bodies(at, None, blender)
        assert "\n" not in str(caught.value)
        assert at.name in str(caught.value) or "\0" in str(at)
        return str(caught.value)

    assert "no such file" in refusal(path)
    assert "no such file" in refusal(tmp_path / "no folder" / path.name)
    path.write_bytes(b"")
    assert "empty" in refusal(path)
    path.unlink()
    path.mkdir()
    assert "is a folder" in refusal(path)
    assert "cannot be read" in refusal(path.parent / ("x" * 300 + path.name))
    assert "null character" in refusal(tmp_path / f"a\0b.{suffix}")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / f"pipe.{suffix}")
        assert "not an ordinary file" in refusal(tmp_path / f"pipe.{suffix}")


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_file_closed_to_us_is_refused(tmp_path):
    stl.write(tmp_path / "a.stl", box())
    (tmp_path / "a.stl").chmod(0)
    with pytest.raises(BadInput, match="permissions"):
        read_bodies(tmp_path / "a.stl")


# Writing whole or not at all


def writers():
    return [
        lambda path: stl.write(path, box()),
        lambda path: obj.write(path, (Named("a", box()),)),
        lambda path: threemf.write(path, (Named("a", box()),)),
        lambda path: write_whole(path, b"text"),
    ]


@pytest.mark.parametrize("write", writers())
def test_an_older_file_is_replaced_and_nothing_else_is_left(tmp_path, write):
    path = tmp_path / "out"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write(path)
    assert path.read_bytes() != b"old"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("write", writers())
def test_what_cannot_be_written_says_so_and_leaves_the_old_file(tmp_path, write):
    with pytest.raises(BadInput, match="there is no folder"):
        write(tmp_path / "missing" / "out")
    with pytest.raises(BadInput, match="is a folder"):
        write(tmp_path)
    (tmp_path / "file").write_bytes(b"old")
    with pytest.raises(BadInput, match="there is no folder"):
        write(tmp_path / "file" / "out")
    (tmp_path / "file").chmod(0o444)
    with pytest.raises(BadInput, match="read-only"):
        write(tmp_path / "file")
    with pytest.raises(BadInput, match="cannot be written"):
        write(tmp_path / ("x" * 300))
    assert (tmp_path / "file").read_bytes() == b"old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file"]


def test_a_failure_half_way_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "out"
    path.write_bytes(b"old")

    def half():
        with writing(path) as file:
            file.write(b"half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is always full")
def test_a_full_disk_is_said_plainly(tmp_path, monkeypatch):
    """Every write goes to a device without room."""
    path = tmp_path / "out"
    path.write_bytes(b"old")
    real = os.open

    def full(name, flags, mode=0o777):
        return real("/dev/full", os.O_WRONLY) if ".part" in str(name) else real(name, flags, mode)

    monkeypatch.setattr(os, "open", full)
    with pytest.raises(BadInput, match="No space left"):
        threemf.write(path, (Named("a", torus()),))
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_is_followed_not_replaced(tmp_path):
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


def test_a_new_file_has_the_permissions_any_program_would_give_it(tmp_path):
    write_whole(tmp_path / "ours", b"x")
    (tmp_path / "plain").write_bytes(b"x")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode
