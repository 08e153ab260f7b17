"""The tab in German: by Blender's own dictionary where Blender draws, by `told` where a text is put together.

Blender as a Python module is built without languages, so a stand-in says here that German is chosen; that Blender
itself shows it is seen in a window (`tests/window`).
"""

import re

import bpy
import pytest

from addon.host import assembly, panel_parts, translated
from addon.host.phrases import bare
from addon.host.result_state import state_of
from tests.host import recorder

GERMAN = "de_DE"
# What a text may hold that is nobody's language: names that the user or a file gave, keys of tables, file endings.
NAMES = re.compile(r"\b(?:Curb chain|bench|tin-bronze|gypsum-bonded|castable-acrylate|linkwright)\b")
_WORD = re.compile(r"[a-z]{3,}")


@pytest.fixture
def in_german(monkeypatch):
    monkeypatch.setattr(translated, "language", lambda _switch="": GERMAN)


@pytest.fixture
def drawn(monkeypatch):
    """Give what the panels drew, as (kind, text, whether Blender is left to look it up), sentences in one piece."""
    noted = []
    monkeypatch.setattr(panel_parts, "_lines", lambda _context, text, *_: [translated.told(text)])

    def note(kind):
        old = getattr(recorder.Recorder, kind)

        def noting(self, *args, **kwargs):
            before = len(self.drawn)
            made = old(self, *args, **kwargs)
            noted.extend((kind, text, kwargs.get("translate", True)) for _, text in self.drawn[before:])
            return made

        monkeypatch.setattr(recorder.Recorder, kind, noting)

    for kind in ("label", "prop", "operator", "progress", "menu", "popover"):
        note(kind)

    def draw():
        noted.clear()
        recorder.draw_all()
        recorder.headers()
        return list(noted)

    return draw


@pytest.fixture(scope="module")
def english_words():
    """Words that stand in English texts of ours and in no German one."""
    texts = translated.catalogue(GERMAN)
    told = {word for text in texts.values() for word in _WORD.findall(_plain(text))}
    return {word for text in texts for word in _WORD.findall(_plain(text))} - told


def _plain(text):
    return re.sub(r"\{[^}]*\}|\"[^\"]*\"|\b[a-z]+(?:[_.][a-z]+)+\b", " ", NAMES.sub(" ", text)).lower()


def _untold(drawn, english_words):
    known = translated.catalogue(GERMAN)
    words = {bare(text) for text in known}
    left = []
    for kind, text, by_blender in drawn:
        if by_blender and kind != "prop" and _WORD.search(_plain(text)):
            if bare(text) not in words and not NAMES.fullmatch(text):
                left.append((kind, text))
        elif not by_blender and english_words.intersection(_WORD.findall(_plain(text))):
            left.append((kind, text))
    return left


def test_every_name_and_tooltip_of_ours_is_in_the_dictionary():
    texts = set(translated.own_texts(assembly.CLASSES))
    assert len(texts) > 400
    dictionary = translated._dictionary(GERMAN, texts)
    missing = {text for text in texts if (translated.CONTEXT, text) not in dictionary}
    assert not missing
    # Those put together from a phrase and an ending are told as well.
    same = {text for text in texts if dictionary[translated.CONTEXT, text] == text and len(text.split()) > 2}
    assert not same


def test_our_words_are_looked_up_in_our_context():
    """In Blender's own dictionary a saw is a wave, a link a verb and a head a part of the body."""
    scene = bpy.context.scene.linkwright
    for group in (scene, state_of(bpy.context), *scene.id_data.objects):
        for prop in group.bl_rna.properties:
            if prop.identifier not in ("rna_type", "name") and group.bl_rna.identifier.startswith("LINKWRIGHT"):
                assert prop.translation_context == translated.CONTEXT, prop.identifier
    assert bpy.ops.linkwright.inspect.get_rna_type().translation_context == translated.CONTEXT
    assert bpy.types.LINKWRIGHT_PT_cast.bl_translation_context == translated.CONTEXT


def test_without_a_language_texts_stay_english():
    assert translated.language() == ""
    assert translated.told("12 links") == "12 links"


def test_an_unknown_language_leaves_texts_english(monkeypatch):
    monkeypatch.setattr(translated, "language", lambda _switch="": "xx_XX")
    assert translated.told("12 links") == "12 links"


@pytest.mark.usefixtures("in_german")
def test_an_empty_scene_in_german(drawn, english_words):
    shown = drawn()
    assert len(shown) > 5
    assert not _untold(shown, english_words)


@pytest.mark.usefixtures("in_german")
def test_the_whole_job_in_german(drawn, english_words, add_chain):
    """A chain as made, inspected, fed, checked and planned: no drawn text is left in English."""
    add_chain(where="straight", length_mm=28.0)
    # Thick layers and coarse meshes, so that the checks are quick.
    bpy.context.scene.linkwright.layer_mm = 0.4
    bpy.context.active_object.linkwright.chord_mm = 0.1
    steps = [drawn()]
    for name in ("inspect", "add_lattice", "check_print", "plan_cast", "find_way_up"):
        assert getattr(bpy.ops.linkwright, name)() == {"FINISHED"}
        steps.append(drawn())
    state = state_of(bpy.context)
    for row in range(len(state.findings)):
        state.active = row
        steps.append(drawn())
    assert sum(map(len, steps)) > 500
    untold = {item for shown in steps for item in _untold(shown, english_words)}
    assert not untold, "\n".join(text for _, text in sorted(untold))
    # And it was no empty success: the sentences of the rules are there, in German.
    said = " ".join(text for shown in steps for _, text, _ in shown)
    for words in ("Glieder", "Küvette", "Einbettmasse", "Anschnitt", "laufen aus", "Anfänge in der Luft"):
        assert words in said


@pytest.mark.usefixtures("in_german")
def test_what_cannot_be_built_is_said_in_german(drawn, english_words, add_chain):
    ob = add_chain()
    ob.linkwright.link_length_mm = 3.0
    assert ob.linkwright.figures.message
    assert not _untold(drawn(), english_words)


@pytest.mark.usefixtures("in_german")
def test_an_operator_says_in_german_why_it_cannot():
    with pytest.raises(RuntimeError) as refused:
        bpy.ops.linkwright.add_lattice()
    assert "auswählen" in str(refused.value)


@pytest.mark.usefixtures("in_german")
def test_a_report_is_in_german(add_chain):
    add_chain()
    with pytest.raises(RuntimeError, match=r"Kein Befund zum Ansehen|keinen Befund"):
        bpy.ops.linkwright.frame_finding(index=3)
