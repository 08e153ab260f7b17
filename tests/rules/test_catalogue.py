"""Every text of the tab has its German one, every German one its text, and a finished sentence finds its own phrase."""

import ast
import re
import tomllib
from collections import Counter

import pytest

from addon.host.phrases import Phrases, bare, joined, parts_of
from tests.gathered_texts import ADDON, WORDS, gathered

FOLDER = ADDON / "data" / "languages" / "de_DE"
# German words that are spelt as in English, names of files, keys of a job file, and symbols.
SAME = frozenset(
    ("Figaro", "Ring", "Hand", "Hand (mm)", "Ring (mm)", "Name", "Schema", "Export", "Blind", "Radius (mm)", "hand")
) | {'clasp = "{0}"'}


@pytest.fixture(scope="module")
def texts():
    return gathered()


@pytest.fixture(scope="module")
def german():
    return joined(tomllib.loads(room.read_text(encoding="utf-8")) for room in sorted(FOLDER.glob("*.toml")))


@pytest.fixture(scope="module")
def phrases(german):
    return Phrases(german)


def test_the_gatherer_sees_every_way_a_text_is_written(tmp_path):
    """A floor under the proof: labels, reports, f-strings, choices and both arms of an if are all gathered."""
    (tmp_path / "host").mkdir()
    (tmp_path / "data").mkdir()
    for table in ("alloys", "investments", "resins", "spin_arms"):
        (tmp_path / "data" / f"{table}.toml").write_text('[x]\nlabel = "red gold"\n')
    (tmp_path / "host" / "panel.py").write_text(
        '"""A docstring is no text."""\n'
        'ITEMS = (("a_key", "Choice", "What it chooses"),)\n'
        "def draw(layout, n, ok):\n"
        '    """Nor is this one."""\n'
        '    layout.label(text="Label", icon="ERROR")\n'
        "    layout.label(text=f\"{n:.2f} mm of wire, {'good to go' if ok else 'not yet'}\")\n"
        '    raise BadInput(f"{n}: too thin" + "; take more")\n'
    )
    assert set(gathered(tmp_path)) - {bare(word) for word in gathered()} == {
        "Choice", "What it chooses", "Label", "{0:.2f} mm of wire, {1}", "good to go", "not yet", "{0}: too thin",
        "take more", "red gold",
    }  # fmt: skip


def test_every_text_has_its_german_one(texts, german):
    missing = {text: place for text, place in texts.items() if text not in german}
    assert not missing, "\n".join(f'"{text}" = ""  # {place}' for text, place in missing.items())


def test_no_german_text_is_left_over(texts, german):
    assert not [text for text in german if text not in texts]


def test_words_that_stand_alone_are_in_the_source():
    """The list of single words is no excuse for dead entries: each is a string, or a key, somewhere in the source."""
    source = "\n".join(path.read_text(encoding="utf-8") for path in ADDON.rglob("*.py"))
    assert not [word for word in WORDS if not re.search(rf"[\"' ]{re.escape(word)}[\"',; ]", source)]


def test_holes_match(german):
    """A translation names the holes of its text, each once and no other."""
    for text, translation in german.items():
        ours, theirs = (Counter(hole.name for hole in parts_of(side)[1]) for side in (text, translation))
        assert ours == theirs, f"{text} = {translation}"


def test_figures_keep_their_form(german):
    """A hole of a translation has no form of its own: the figure comes as the source wrote it."""
    for translation in german.values():
        assert all(not hole.form or "|" in hole.form for hole in parts_of(translation)[1]), translation


def test_no_german_text_is_english(german):
    same = [text for text, german_text in german.items() if text == german_text and text not in SAME]
    assert not same


def test_units_and_keys_are_kept(german):
    """Units, keys of a job file and quoted words are no words to translate."""
    for text, translation in german.items():
        for kept in re.findall(r"\b(?:[a-z]+_)+(?:mm|c|deg)\b|\"[a-z-]+\"|(?<=[ }])mm[23]?\b|\bSTL\b|\b3MF\b", text):
            assert kept in translation, f"{kept}: {text} = {translation}"


def test_every_finished_sentence_finds_its_own_phrase(german, phrases):
    """Filled with figures and a name, each phrase is told as itself, not as a shorter one that fits as well."""
    for text, translation in german.items():
        holes = {hole.name: hole for hole in parts_of(text)[1]}
        plurals = {h.name for h in parts_of(translation)[1] if "|" in h.form}
        filling = {
            name: _figure(hole.form) if hole.is_figure else "s" if name in plurals else f"Qx{name}"
            for name, hole in holes.items()
        }
        told = phrases.told(_filled(text, filling))
        wanted = bare(_filled(translation, filling))
        assert bare(told)[1:] == wanted[1:], f"{text}: {told}, not {wanted}"


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "link 1 and link 2: the gap closes up in print (0.300 mm in the model); the printer needs 0.25 mm. Open it "
            "by 0.1 mm.",
            "Glied 1 und Glied 2: der Spalt schließt sich im Druck (0.300 mm im Modell); der Drucker braucht 0.25 mm. "
            "Um 0.1 mm öffnen.",
        ),
        (
            "link 9 and link 10: the investment between them is 0.479 mm thick (0.472 mm in the model), under 0.5 mm; "
            "it may break when the metal comes in. Open the gap by 0.03 mm.",
            "Glied 9 und Glied 10: die Einbettmasse dazwischen ist 0.479 mm dick (0.472 mm im Modell), unter 0.5 mm; "
            "sie kann brechen, wenn das Metall kommt. Den Spalt um 0.03 mm öffnen.",
        ),
        ("43.4 mm end to end", "43.4 mm außen"),
        ("above 0 mm", "über 0 mm"),
        ("5 gates, no stops", "5 Anschnitte, keine Stopps"),
        ("Belongs to Tidewater", "Gehört zu Tidewater"),
        ("Belongs to Curb chain", "Gehört zu Curb chain"),
        (
            "Curb chain: 26 bodies, smallest gap 0.472 mm, with lattice",
            "Curb chain: 26 Körper, kleinster Spalt 0.472 mm, mit Gusssystem",
        ),
        ("0.300 mm, measured", "0.300 mm, gemessen"),
        ("12 gates", "12 Anschnitte"),
        ("1 gate", "1 Anschnitt"),
        ("Thicker gates", "Dickere Anschnitte"),
        ("joint 26–27", "Gelenk 26–27"),
        ("3: joint 26–27", "3: Gelenk 26–27"),
        ("link 3, link 4, link 5 ...", "Glied 3, Glied 4, Glied 5 ..."),
        ("1.5 mm", "1.5 mm"),
        ("Tidewater", "Tidewater"),
        ("", ""),
    ],
)
def test_told(phrases, said, told):
    assert phrases.told(said) == told
    # What is told is left alone when it is told again.
    assert phrases.told(told) == told


def test_a_name_in_a_sentence_is_no_sentence():
    """What stands in a hole is looked up as words of its own and else left alone."""
    phrases = Phrases({"{0}: too thin": "{0}: zu dünn", "the gate of {0}": "der Anschnitt von {0}"})
    assert phrases.told("Wide: too thin") == "Wide: zu dünn"
    assert phrases.told("the gate of Wide: too thin") == "der Anschnitt von Wide: zu dünn"
    assert phrases.told("Nothing of ours; the gate of A, the gate of B") == (
        "Nothing of ours; der Anschnitt von A, der Anschnitt von B"
    )


def test_the_longest_fixed_text_wins():
    phrases = Phrases({"{0} links": "{0} Glieder", "{0} links on a ring": "{0} Glieder am Ring"})
    assert phrases.told("12 links on a ring") == "12 Glieder am Ring"
    assert phrases.told("12 links") == "12 Glieder"


def test_two_rooms_do_not_tell_one_text_differently():
    with pytest.raises(ValueError, match="told twice: gap"):
        joined([{"gap": "Spalt"}, {"gap": "Lücke"}])


def _figure(form):
    return format(7 if form.endswith("d") else 0.25 if form.endswith("%") else 12.5, form)


def _filled(phrase, filling):
    fixed, holes = parts_of(phrase)
    out = fixed[0]
    for hole, text in zip(holes, fixed[1:], strict=True):
        value = filling[hole.name]
        out += (hole.form.split("|")[value == "s"] if "|" in hole.form else value) + text
    return out


TOLD = frozenset(("told", "told_report", "words_of", "message_words", "said"))


def test_every_text_put_together_is_told():
    """A report, and a drawn text that is no plain literal, is told; so is a word that Blender knows otherwise."""
    past = []
    for path in sorted((ADDON / "host").glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
            name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
            texts = [word.value for word in call.keywords if word.arg == "text"]
            if name == "report" and len(call.args) == 2:
                texts = [call.args[1]]
            elif name not in ("label", "progress", "prop"):
                # The text of a button is looked up in the operator's context, ours; only what is made up is not.
                texts = [text for text in texts if any(isinstance(part, ast.JoinedStr) for part in ast.walk(text))]
            past += [f"{path.name}:{text.lineno}" for text in texts if not _is_told(text, name)]
    assert not past


def _is_told(text, name):
    if isinstance(text, ast.Constant) and name != "report":
        # Many a single word is another thing in Blender's own dictionary.
        return not text.value or " " in bare(text.value)
    if isinstance(text, ast.IfExp):
        return _is_told(text.body, name) and _is_told(text.orelse, name)
    if isinstance(text, ast.Subscript | ast.Call) and name == "prop" and not _called_by(text):
        # Of a table of short names; those end in their unit.
        return True
    if isinstance(text, ast.Name) and text.id == "line":
        # Of `wrapped` and `pair`, which tell the whole text and then break it into lines.
        return True
    return bool(TOLD.intersection(_called_by(text)))


def _called_by(node):
    return {part.func.id for part in ast.walk(node) if isinstance(part, ast.Call) and isinstance(part.func, ast.Name)}
