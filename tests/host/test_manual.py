"""Right-click, Online Manual: every button and setting leads to a place that stands in the help, on this disk."""

import html.parser
import sys
from pathlib import Path

import bpy
import pytest

from addon.host import manual

sys.path.append(str(Path(__file__).resolve().parents[2] / "scripts"))

import _help


class Page(html.parser.HTMLParser):
    """What a page holds: its anchors, and what it links to or shows."""

    def __init__(self, text):
        super().__init__()
        self.anchors, self.targets, self.open = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        given = dict(attributes)
        if "id" in given:
            self.anchors.append(given["id"])
        self.targets += [given[key] for key in ("href", "src") if key in given]
        if tag not in ("meta", "img", "link", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def written(_registered, tmp_path_factory):
    folder = tmp_path_factory.mktemp("shipped") / "help"
    _help.write_help(folder)
    return folder, {path.name: Page(path.read_text(encoding="utf-8")) for path in folder.glob("*.html")}


@pytest.fixture
def shipped(written, monkeypatch):
    """The help as it is shipped, in the place where the extension looks for it."""
    monkeypatch.setattr(manual, "HELP", written[0])
    return written


def _ours():
    """Everything a right-click of ours may ask about, as Blender names it: from its tables, not from ours."""
    for name in dir(bpy.ops.linkwright):
        yield f"bpy.ops.linkwright.{name}"
    for cls in bpy.types.PropertyGroup.__subclasses__():
        if cls.__name__.startswith("LINKWRIGHT_PG_") and cls.is_registered:
            for name in cls.__annotations__:
                yield f"bpy.types.{cls.__name__}.{name}"


def test_every_button_and_setting_has_its_place(shipped):
    folder, pages = shipped
    from bl_operators.wm import WM_OT_doc_view_manual

    prefix, mapping = manual.manual_map()
    assert prefix == folder.as_uri() + "/"
    asked = list(_ours())
    assert len(asked) > 150
    for rna in asked:
        url = WM_OT_doc_view_manual._find_reference(rna, mapping, verbose=False)
        assert url is not None, rna
        page, _, anchor = url.partition("#")
        assert anchor in pages[page].anchors, url
    # And asked as a whole, as the menu does: ours comes before Blender's own.
    asked = "bpy.ops.linkwright.inspect"
    assert WM_OT_doc_view_manual._lookup_rna_url(asked, verbose=False) == f"{prefix}inspect.html#linkwright.inspect"


def test_what_has_a_tooltip_is_told_with_it(shipped):
    folder, _ = shipped
    _, mapping = manual.manual_map()
    where = dict(mapping)
    for group, name in (
        (bpy.types.Object, "wire_mm"),
        (bpy.types.Scene, "gate_mm"),
        (bpy.types.WindowManager, "cast_s"),
    ):
        kind = group.bl_rna.properties["linkwright"].fixed_type
        url = where[f"bpy.types.{kind.identifier}.{name}".lower()]
        page, _, anchor = url.partition("#")
        text = (folder / page).read_text(encoding="utf-8")
        told = text.partition(f'<dt id="{anchor}">')[2].partition("</dd>")[0]
        assert kind.properties[name].name in told
        assert html.escape(kind.properties[name].description) in told


def test_names_that_begin_alike_keep_their_own_places(shipped):
    prefix, mapping = manual.manual_map()
    assert prefix == shipped[0].as_uri() + "/"
    where = dict(mapping)
    assert {rna.lower() for rna in _ours()} <= set(where)
    assert where["bpy.types.linkwright_pg_object.links"] != where["bpy.types.linkwright_pg_object.link_length_mm"]


def test_the_pages_hang_together_and_ask_no_network(shipped):
    folder, pages = shipped
    assert {"index.html", "troubleshooting.html", "sample_tidewater.html"} <= set(pages)
    for name, page in pages.items():
        assert page.open == [], name
        assert len(page.anchors) == len(set(page.anchors)), name
        for target in page.targets:
            assert ":" not in target, f"{name} asks for {target}"
            assert (folder / target.partition("#")[0]).is_file(), f"{name} asks for {target}"


def test_without_the_help_nothing_is_offered(monkeypatch, tmp_path):
    monkeypatch.setattr(manual, "HELP", tmp_path / "nowhere")
    assert manual.manual_map() == ("", ())


def test_the_map_is_given_back():
    import addon

    assert manual.manual_map in bpy.utils._manual_map
    addon.unregister()
    try:
        assert manual.manual_map not in bpy.utils._manual_map
    finally:
        addon.register()
