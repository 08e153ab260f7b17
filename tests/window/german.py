"""The tab in German in a real Blender: only a Blender with its languages can tell what its own dictionary says."""

import importlib

import bpy

GERMAN = "de_DE"
# Words of ours that Blender's own dictionary has otherwise, or not at all.
OURS = (("Saw", "Säge"), ("Link", "Glied"), ("Flask", "Küvette"), ("Add Chain", "Kette hinzufügen"))


def _module(name):
    return importlib.import_module(f"bl_ext.user_default.linkwright.host.{name}")


def steps(hand):
    """Switch the language and ask Blender for every name, tooltip and report of ours; switch it back at the end."""
    translated, assembly = _module("translated"), _module("assembly")
    view = bpy.context.preferences.view
    before = view.language
    view.language = GERMAN
    view.use_translate_interface = view.use_translate_tooltips = True
    yield 0.5
    translations, context = bpy.app.translations, translated.CONTEXT
    hand.expect(translated.language() == GERMAN, "the language is German")
    for ours, german in OURS:
        found = translations.pgettext_iface(ours, context)
        hand.expect(found == german, f"{ours} is told as {german}: {found}")
    known = translated.phrases(GERMAN)
    texts = set(translated.own_texts(assembly.CLASSES))
    wrong = [text for text in texts if translations.pgettext_iface(text, context) != known.told(text)]
    hand.expect(len(texts) > 400 and not wrong, f"names and tooltips are in German, not so {wrong[:5]}")
    hand.expect(translated.told("12 links") == "12 Glieder", "a finished sentence is told in German")
    yield from hand.picture("german")
    view.language = before
    yield 0.5
    hand.expect(translated.told("12 links") == "12 links", "and in English again")
