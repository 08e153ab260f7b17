"""The words of the tab in Blender's own language, by Blender's own mechanism.

What Blender draws itself (names, tooltips, choices, labels given as plain words) it looks up in the dictionary that is
registered here, under a context of our own: in its own dictionary "Saw" is a kind of wave and "Link" a verb.
What is put together from figures and names goes through `told`, at the last moment before it is drawn or reported, so
that what is stored stays English and follows a change of the language.
"""

import functools
import inspect
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import bpy

from .phrases import Phrases, bare, joined, parts_of

CONTEXT = "Linkwright"
# Blender looks labels up under the first, names of operators under the second where no context is given.
CONTEXTS = (CONTEXT, "*", "Operator")
LANGUAGES = Path(__file__).parents[1] / "data" / "languages"
# The name that the dictionary stands under in Blender.
OWNER = "linkwright"


def languages() -> tuple[str, ...]:
    """Give the languages there is a catalogue for, by their names in Blender."""
    return tuple(sorted(folder.name for folder in LANGUAGES.iterdir() if folder.is_dir()))


@functools.cache
def catalogue(language: str) -> Mapping[str, str]:
    """Read the catalogue of a language: English texts with their translations, the files of all rooms together."""
    rooms = sorted((LANGUAGES / language).glob("*.toml"))
    return joined(tomllib.loads(room.read_text(encoding="utf-8")) for room in rooms)


@functools.cache
def phrases(language: str) -> Phrases:
    """Give the catalogue of a language, ready to look sentences up in."""
    return Phrases(catalogue(language))


def told(text: str) -> str:
    """Give a finished English text of ours in the language of the interface."""
    return _told(text, "use_translate_interface")


def told_report(text: str) -> str:
    """Give a finished English report of ours in the language of reports."""
    return _told(text, "use_translate_reports")


def told_tip(text: str) -> str:
    """Give a finished English tooltip of ours in the language of tooltips."""
    return _told(text, "use_translate_tooltips")


def capital(text: str) -> str:
    """Give a text with a large first letter, the others as they are: German nouns stand inside sentences too."""
    return text[:1].upper() + text[1:]


def language(switch: str = "use_translate_interface") -> str:
    """Give the language that a kind of texts is wanted in, as its folder is named; "" for English."""
    if not bpy.app.build_options.international:
        return ""
    # Reports got a switch of their own after 4.5.
    if not getattr(bpy.context.preferences.view, switch, True):
        return ""
    return str(bpy.app.translations.locale)


def _told(text: str, switch: str) -> str:
    wanted = language(switch)
    if not text or not wanted or wanted not in _standing():
        return text
    return phrases(wanted).told(text)


@functools.cache
def _standing() -> frozenset[str]:
    return frozenset(languages())


def register_texts(classes: Iterable[type]) -> None:
    """Register the dictionary of every language, with what the given registered classes are called and say."""
    texts = tuple(dict.fromkeys(own_texts(classes)))
    made: Any = {name: _dictionary(name, texts) for name in languages()}
    bpy.app.translations.register(OWNER, made)


def unregister_texts() -> None:
    """Take the dictionary away."""
    bpy.app.translations.unregister(OWNER)


def _dictionary(name: str, texts: Iterable[str]) -> dict[tuple[str, str], str]:
    # A phrase whose holes have names is a label that is filled after it was looked up.
    known = {
        phrase: words
        for phrase, words in catalogue(name).items()
        if not any(hole.name.isdigit() for hole in parts_of(phrase)[1])
    }
    # Some tooltips are put together by ending them alike: they are phrases with a hole.
    made = {text: phrases(name).told(text) for text in texts if text not in known and bare(text)}
    return {(context, text): words for text, words in (made | known).items() for context in CONTEXTS}


def own_texts(classes: Iterable[type]) -> Iterator[str]:
    """Give every text that Blender itself shows of registered classes: names, tooltips, choices."""
    for cls in classes:
        yield from filter(None, (getattr(cls, "bl_label", ""), getattr(cls, "bl_description", "")))
        known: Any = getattr(cls, "bl_rna", None)
        # What a class has of Blender's own, Blender tells.
        for prop in () if known is None else known.properties:
            if known.base is not None and prop.identifier in known.base.properties:
                continue
            yield from filter(None, (prop.name, prop.description))
            for item in getattr(prop, "enum_items_static", ()):
                yield from filter(None, (item.name, item.description))


def in_our_words(cls: type) -> None:
    """Have the words of a class that is about to be registered looked up in our context.

    What an operator says of itself while it runs is looked up too: why it cannot (its poll message) and its tooltip
    where it makes one. Its reports are not: they go through `told_report` where they are made.
    """
    for one in cls.__mro__:
        if not one.__module__.startswith(str(__package__)):
            continue
        noted: dict[str, Any] = inspect.get_annotations(one, eval_str=True)
        for made in noted.values():
            if hasattr(made, "keywords") and hasattr(made, "function"):
                made.keywords.setdefault("translation_context", CONTEXT)
        one.__annotations__ = noted
    told_of: Any = cls
    if any(hasattr(cls, name) for name in ("bl_idname", "bl_space_type")):
        told_of.bl_translation_context = CONTEXT
    if issubclass(cls, bpy.types.Operator):
        told_of.poll_message_set = staticmethod(_say_why_not)
        _describe_in_words(told_of)


def _say_why_not(message: str) -> None:
    saying: Any = bpy.types.Operator
    saying.poll_message_set(told_tip(message))


def _describe_in_words(cls: Any) -> None:
    written = next((one.__dict__["description"] for one in cls.__mro__ if "description" in one.__dict__), None)
    if not isinstance(written, classmethod) or hasattr(written, "in_words"):
        return

    def description(cls: Any, context: Any, properties: Any) -> str:
        return told_tip(written.__func__(cls, context, properties))

    wrapped = classmethod(description)
    wrapped.in_words = True  # type: ignore[attr-defined]
    cls.description = wrapped
