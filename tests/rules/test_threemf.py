"""3MF files: written for any reader, read from any writer, and what is refused."""

import time
import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest

from addon.rules.base.errors import BadInput
from addon.rules.files import threemf, threemf_package
from addon.rules.files.named import Named
from addon.rules.solid.measure import volume_mm3
from addon.rules.solid.mesh import mesh
from addon.rules.solid.topology import facts
from tests.mesh_shapes import box, moved, rotation, torus

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELATIONS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel" Target="{}"/></Relationships>'
)
USUAL = RELATIONS.format("/3D/3dmodel.model")
ITEM = '<item objectid="1"/>'


def package(path, model, *, relations=USUAL, others=None):
    """A 3MF package of given texts; further parts by their names in ``others``."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        if relations is not None:
            file.writestr("_rels/.rels", relations)
        if model is not None:
            file.writestr("3D/3dmodel.model", model)
        for name, text in (others or {}).items():
            file.writestr(name, text)
    return path


def model(resources, build=ITEM, *, unit=' unit="millimeter"', extra=""):
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><model{unit} xmlns="{CORE}" xmlns:p="{PRODUCTION}"{extra}>'
        f"<resources>{resources}</resources><build>{build}</build></model>"
    )


def mesh_object(shape=None, number=1, name="", vertices=None, triangles=None):
    shape = box() if shape is None else shape
    points = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in shape.points.tolist())
    corners = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in shape.triangles.tolist())
    label = f' name="{name}"' if name else ""
    return (
        f'<object id="{number}" type="model"{label}><mesh><vertices>{points if vertices is None else vertices}'
        f"</vertices><triangles>{corners if triangles is None else triangles}</triangles></mesh></object>"
    )


def holder(number, *held):
    """An object that only holds other objects, by their numbers."""
    inner = "".join(f'<component objectid="{other}"/>' for other in held)
    return f'<object id="{number}"><components>{inner}</components></object>'


def refusal(path) -> str:
    """The message a file is refused with: one line that begins with its name."""
    with pytest.raises(BadInput) as caught:
        threemf.read(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert "\n" not in message
    return message


# Writing


def test_what_is_written_comes_back_to_the_last_bit(tmp_path):
    ring = mesh(torus().points @ rotation(2).T + 1 / 3, torus().triangles)
    tiny = mesh(box(1e-7).points * [1, 1e5, 1], box().triangles)
    given = (Named("link 1", ring), Named("odd <&\"' name\n", tiny), Named("Ring für Åse ♢", box()), Named("", box()))
    threemf.write(tmp_path / "a.3mf", given)
    read = threemf.read(tmp_path / "a.3mf")
    assert [r.name for r in read] == ["link 1", "odd <&\"' name", "Ring für Åse ♢", ""]
    for one, other in zip(read, given, strict=True):
        assert np.array_equal(one.mesh.points, other.mesh.points)
        assert np.array_equal(one.mesh.triangles, other.mesh.triangles)


def test_the_same_objects_give_the_same_bytes_on_any_day(tmp_path, monkeypatch):
    threemf.write(tmp_path / "a.3mf", (Named("a", torus()),))
    monkeypatch.setattr(time, "time", lambda: 2e9)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(2e9))
    threemf.write(tmp_path / "b.3mf", (Named("a", torus()),))
    assert (tmp_path / "a.3mf").read_bytes() == (tmp_path / "b.3mf").read_bytes()


def test_the_package_has_the_parts_the_format_asks_for(tmp_path):
    threemf.write(tmp_path / "a.3mf", (Named("one", box()), Named("two", moved(box(), (2, 0, 0)))))
    with zipfile.ZipFile(tmp_path / "a.3mf") as file:
        assert file.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]
        assert file.testzip() is None
        root = ElementTree.fromstring(file.read("3D/3dmodel.model"))
    assert root.get("unit") == "millimeter"
    objects = root.findall(f"{{{CORE}}}resources/{{{CORE}}}object")
    assert [o.get("name") for o in objects] == ["one", "two"]
    items = root.findall(f"{{{CORE}}}build/{{{CORE}}}item")
    assert [i.get("objectid") for i in items] == [o.get("id") for o in objects]


def test_triangles_the_format_forbids_and_loose_points_are_left_out(tmp_path):
    shape = mesh([*box().points, [9, 9, 9]], [*box().triangles, (0, 0, 1), (8, 8, 8)])
    threemf.write(tmp_path / "a.3mf", (Named("a", shape),))
    (read,) = threemf.read(tmp_path / "a.3mf")
    assert (len(read.mesh.points), len(read.mesh.triangles)) == (8, 12)


def test_nothing_to_write_is_refused_and_leaves_nothing(tmp_path):
    for objects in ((), (Named("speck", mesh([[0, 0, 0]], [[0, 0, 0]])),)):
        with pytest.raises(BadInput, match="nothing"):
            threemf.write(tmp_path / "a.3mf", objects)
    assert list(tmp_path.iterdir()) == []


def test_sixty_links_are_written_and_read(tmp_path):
    links = tuple(Named(f"link {k + 1}", moved(torus(steps=96, sides=24), (0.1, 20 * k, 0))) for k in range(60))
    threemf.write(tmp_path / "a.3mf", links)
    read = threemf.read(tmp_path / "a.3mf")
    assert [r.name for r in read] == [n.name for n in links]


# lib3mf, the 3MF Consortium's own library


def test_lib3mf_reads_what_we_write_without_a_warning(tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    given = (Named("link 1", torus()), Named("Ring für Åse", moved(box(), (20, 0, 1 / 3))))
    threemf.write(tmp_path / "a.3mf", given)
    theirs = lib3mf.get_wrapper().CreateModel()
    reader = theirs.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / "a.3mf"))
    assert reader.GetWarningCount() == 0
    assert theirs.GetUnit() == lib3mf.ModelUnit.MilliMeter
    items = theirs.GetBuildItems()
    placed = []
    while items.MoveNext():
        placed.append(items.GetCurrent().GetObjectResource().GetResourceID())
    for number, named in zip(placed, given, strict=True):
        found = theirs.GetMeshObjectByID(number)
        assert found.GetName() == named.name
        assert found.IsManifoldAndOriented()
        points = np.array([list(p.Coordinates) for p in found.GetVertices()])
        triangles = np.array([list(t.Indices) for t in found.GetTriangleIndices()])
        assert np.array_equal(triangles, named.mesh.triangles)
        assert points == pytest.approx(named.mesh.points, abs=2e-6)
        assert volume_mm3(mesh(points, triangles)) == pytest.approx(volume_mm3(named.mesh), rel=1e-6)


def test_we_read_what_lib3mf_writes_with_components_mirrors_and_inches(tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    wrapper = lib3mf.get_wrapper()
    theirs = wrapper.CreateModel()
    theirs.SetUnit(lib3mf.ModelUnit.Inch)
    block = theirs.AddMeshObject()
    block.SetName("block")
    shape = box((1, 2, 3))
    for p in shape.points.tolist():
        block.AddVertex(lib3mf.Position((lib3mf.ctypes.c_float * 3)(*p)))
    for t in shape.triangles.tolist():
        block.AddTriangle(lib3mf.Triangle((lib3mf.ctypes.c_uint32 * 3)(*t)))
    pair = theirs.AddComponentsObject()
    pair.SetName("pair")
    pair.AddComponent(block, wrapper.GetIdentityTransform())
    mirror = wrapper.GetTranslationTransform(10.0, 0.0, 0.0)
    mirror.Fields[0][0] = -1.0
    pair.AddComponent(block, mirror)
    theirs.AddBuildItem(pair, wrapper.GetTranslationTransform(0.0, 0.0, 5.0))
    theirs.QueryWriter("3mf").WriteToFile(str(tmp_path / "a.3mf"))
    read = threemf.read(tmp_path / "a.3mf")
    assert [r.name for r in read] == ["block", "block"]
    for one, low in zip(read, ([0, 0, 5], [9, 0, 5]), strict=True):
        assert volume_mm3(one.mesh) == pytest.approx(6 * 25.4**3, rel=1e-12)
        assert not facts(one.mesh).inside_out
        assert one.mesh.points.min(axis=0) / 25.4 == pytest.approx(low)


# Reading


@pytest.mark.parametrize(
    ("unit", "mm"),
    [("micron", 1e-3), ("millimeter", 1), ("centimeter", 10), ("inch", 25.4), ("foot", 304.8), ("meter", 1000)],
)
def test_every_unit_of_the_core_specification(tmp_path, unit, mm):
    path = package(tmp_path / "a.3mf", model(mesh_object(), unit=f' unit="{unit}"'))
    assert threemf.read(path)[0].mesh.points.max() == pytest.approx(mm)


def test_without_a_unit_it_is_millimetres_and_an_unknown_one_is_refused(tmp_path):
    assert threemf.read(package(tmp_path / "a.3mf", model(mesh_object(), unit="")))[0].mesh.points.max() == 1
    assert "can be micron" in refusal(package(tmp_path / "a.3mf", model(mesh_object(), unit=' unit="mile"')))


def test_transforms_apply_from_the_inside_out_with_rows_as_the_specification_has_them(tmp_path):
    """Section 3.3: a point is a row, multiplied from the left; the fourth row is the shift."""
    turn = "0 1 0 -1 0 0 0 0 1 5 0 0"  # x to y, y to -x, then 5 along x
    stretch = "2 0 0 0 1 0 0 0 1 0 0 7"
    resources = (
        mesh_object() + f'<object id="2"><components><component objectid="1" transform="{turn}"/></components></object>'
    )
    path = package(tmp_path / "a.3mf", model(resources, f'<item objectid="2" transform="{stretch}"/>'))
    (read,) = threemf.read(path)
    expected = [((5 - y) * 2, x, z + 7) for x, y, z in box().points]
    assert read.mesh.points == pytest.approx(np.array(expected))
    assert volume_mm3(read.mesh) == pytest.approx(2)


def test_a_mirror_turns_the_triangles_and_two_mirrors_turn_them_back(tmp_path):
    mirror = 'transform="-1 0 0 0 1 0 0 0 1 0 0 0"'
    resources = mesh_object() + f'<object id="2"><components><component objectid="1" {mirror}/></components></object>'
    build = f'<item objectid="1" {mirror}/><item objectid="2" {mirror}/><item objectid="1"/>'
    read = threemf.read(package(tmp_path / "a.3mf", model(resources, build)))
    assert [volume_mm3(r.mesh) for r in read] == pytest.approx([1, 1, 1])
    assert read[0].mesh.points[:, 0].min() == -1


def test_names_come_from_the_mesh_else_from_what_holds_it(tmp_path):
    resources = (
        mesh_object(number=1, name="clasp")
        + mesh_object(number=2)
        + holder(3, 1, 2).replace("<object", '<object name="chain"')
    )
    read = threemf.read(package(tmp_path / "a.3mf", model(resources, '<item objectid="3"/><item objectid="2"/>')))
    assert [r.name for r in read] == ["clasp", "chain", ""]


def test_only_what_is_placed_is_read(tmp_path):
    resources = mesh_object(number=1, name="kept") + mesh_object(number=2, name="spare")
    assert [r.name for r in threemf.read(package(tmp_path / "a.3mf", model(resources)))] == ["kept"]
    assert "nothing is placed" in refusal(package(tmp_path / "a.3mf", model(resources, "")))


def test_parts_of_the_production_extension_are_followed(tmp_path):
    """Part names compare without case (Open Packaging Conventions, 6.2.2)."""
    inner = model(mesh_object(number=7, name="link"), "")
    resources = (
        '<object id="1"><components><component objectid="7" p:path="/3D/Parts/One.model"/></components></object>'
    )
    build = '<item objectid="1"/><item objectid="7" p:path="/3d/parts/one.MODEL" transform="1 0 0 0 1 0 0 0 1 4 0 0"/>'
    text = model(resources, build, extra=' requiredextensions="p"')
    path = package(tmp_path / "a.3mf", text, others={"3D/Parts/One.model": inner})
    assert [(r.name, r.mesh.points[:, 0].max()) for r in threemf.read(path)] == [("link", 1), ("link", 5)]
    assert "different units" in refusal(
        package(tmp_path / "a.3mf", text, others={"3D/Parts/One.model": inner.replace("millimeter", "inch")})
    )
    assert "not in the file" in refusal(package(tmp_path / "a.3mf", text))


def test_the_main_model_may_have_any_name_and_encoding(tmp_path):
    text = model(mesh_object(name="öse")).replace("UTF-8", "UTF-16").encode("utf-16")
    path = package(
        tmp_path / "a.3mf", None, relations=RELATIONS.format("/My%20Model.model"), others={"my model.model": text}
    )
    assert threemf.read(path)[0].name == "öse"


def test_colours_and_metadata_of_other_namespaces_are_passed_over(tmp_path):
    resources = (
        '<basematerials id="5"><base name="bronze" displaycolor="#CD7F32"/></basematerials>'
        '<m:colorgroup xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02" id="6">'
        '<m:color color="#FF0000"/></m:colorgroup>' + mesh_object()
    )
    assert len(threemf.read(package(tmp_path / "a.3mf", model(resources)))) == 1


# Refusing


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (model(mesh_object(vertices='<vertex x="0" y="0"/>')), "vertex without z in object 1"),
        (model(mesh_object(vertices='<vertex x="0" y="0" z="a"/>')), "vertex with a wrong value"),
        (model(mesh_object(triangles='<triangle v1="0" v2="1"/>')), "triangle without v3"),
        (model(mesh_object(triangles='<triangle v1="0" v2="1" v3="8"/>')), "names point 8"),
        (model(mesh_object(triangles='<triangle v1="0" v2="1" v3="-1"/>')), "names point"),
        (model(mesh_object(triangles='<triangle v1="0" v2="1" v3="99999999999999999999999"/>')), "wrong value"),
        (model(mesh_object(triangles="")), "no triangles"),
        (model(mesh_object(vertices="")), "no triangles"),
        (model(mesh_object().replace('x="0.0"', 'x="nan"', 1)), "not a number"),
        (model(mesh_object().replace('x="0.0"', 'x="1e99"', 1)), "unit"),
        (model(mesh_object() + mesh_object()), "two objects with the id 1"),
        (model(mesh_object(), '<item objectid="4"/>'), "names object 4"),
        (model(mesh_object(), "<item/>"), "item without objectid"),
        (model(mesh_object(), '<item objectid="1" transform="1 0 0"/>'), "item with a wrong value"),
        (model(mesh_object(), '<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>'), "flattens"),
        (model(mesh_object(), '<item objectid="1" transform="nan 0 0 0 1 0 0 0 1 0 0 0"/>'), "flattens"),
        (model('<object id="1"><components><component objectid="1"/></components></object>'), "holds itself"),
        (model('<vertex x="0" y="0" z="0"/>'), "outside every object"),
        (model(mesh_object(), extra=' xmlns:q="urn:strange" requiredextensions="q"'), "urn:strange"),
        (model('<object id="1"><mesh><b:beamlattice xmlns:b="urn:b"/></mesh></object>'), "beamlattice"),
        (model(mesh_object())[:-40], "not well-formed"),
        ("<html/>", "not with a 3MF model"),
        ("", "not well-formed"),
        (b"\xff\xfe\x00 junk", "not well-formed"),
    ],
)
def test_damaged_models_are_refused_in_one_line(tmp_path, text, said):
    assert said in refusal(package(tmp_path / "a.3mf", text))


def test_a_document_type_is_refused_before_any_entity_is_expanded(tmp_path):
    secret = tmp_path / "secret.txt"
    secret.write_text("9")
    for declared in (
        '<!DOCTYPE model [<!ENTITY a "1"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>',
        f'<!DOCTYPE model [<!ENTITY a SYSTEM "{secret.as_uri()}">]>',
        '<!DOCTYPE model SYSTEM "http://example.invalid/a.dtd">',
    ):
        text = model(mesh_object()).replace("?>", "?>" + declared, 1).replace('x="0.0"', 'x="&a;"', 1)
        assert "document type" in refusal(package(tmp_path / "a.3mf", text))


def test_packages_that_are_none(tmp_path):
    path = tmp_path / "a.3mf"
    path.write_bytes(b"solid a\nendsolid a\n" * 100)
    assert "no readable 3MF package" in refusal(path)
    assert "_rels/.rels" in refusal(package(path, model(mesh_object()), relations=None))
    assert "names no 3D model" in refusal(package(path, model(mesh_object()), relations="<a/>"))
    assert "not in the file" in refusal(package(path, None))
    package(path, model(mesh_object()))
    path.write_bytes(path.read_bytes()[:-30])
    assert "no readable 3MF package" in refusal(path)


def test_a_damaged_byte_is_noticed(tmp_path):
    path = package(tmp_path / "a.3mf", model(mesh_object(torus())))
    rng = np.random.default_rng(1)
    good = path.read_bytes()
    messages = []
    for _ in range(100):
        data = bytearray(good)
        data[rng.integers(0, len(data))] ^= 1 << rng.integers(0, 8)
        path.write_bytes(bytes(data))
        try:
            (read,) = threemf.read(path)
            assert facts(read.mesh).genus == 1
        except BadInput as error:
            messages.append(str(error))
    assert len(messages) > 50
    assert not any("\n" in m for m in messages)


def test_a_zip_that_unpacks_beyond_the_limit_is_refused_unread(tmp_path, monkeypatch):
    monkeypatch.setattr(threemf_package, "MAX_XML_BYTES", 1_000_000)
    path = package(tmp_path / "a.3mf", model(mesh_object()) + " " * 2_000_000)
    assert path.stat().st_size < 10_000
    assert "unpacks to 2 MB" in refusal(path)


def test_components_that_multiply_are_counted_before_they_are_unfolded(tmp_path):
    """Forty objects that each hold the last twice: 2^40 boxes in a few kilobytes."""
    resources = mesh_object() + "".join(holder(k, k - 1, k - 1) for k in range(2, 42))
    assert "more than" in refusal(package(tmp_path / "a.3mf", model(resources, '<item objectid="41"/>')))


def test_components_nested_without_a_mesh_end_too(tmp_path):
    """The same with nothing inside: no triangle to count, yet as many branches."""
    resources = (
        mesh_object(number=1)
        + '<object id="50"><components/></object>'
        + "".join(holder(k, k - 1, k - 1) for k in range(51, 91))
    )
    build = ITEM + '<item objectid="90"/>'
    assert len(threemf.read(package(tmp_path / "a.3mf", model(resources, build)))) == 1


def test_an_encrypted_part_is_refused(tmp_path):
    path = package(tmp_path / "a.3mf", model(mesh_object()))
    data = path.read_bytes()
    for mark, flag in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.index(b"3D/3dmodel.model", data.index(mark))
        start = data.rindex(mark, 0, at)
        data = data[: start + flag] + bytes([data[start + flag] | 1]) + data[start + flag + 1 :]
    path.write_bytes(data)
    assert "no readable 3MF package" in refusal(path)
