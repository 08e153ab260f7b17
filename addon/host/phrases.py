"""A catalogue of phrases in another language, and the search for the phrase that a finished sentence was made from.

The rules speak English in finished sentences: "link 3: the metal is only 0.412 mm thick in print". A catalogue holds
each sentence once, with holes for its figures and names as the source writes them, and its translation with the same
holes in any order: ``"{0}: the metal is only {1:.3f} mm thick in print" = "{0}: das Metall ist im Druck nur {1} mm
dick"``. Where the source adds an "s" for the plural, the translation names both words: ``{1:Spalt|Spalte}``.

`Phrases.told` finds the phrase with the most fixed text that fits, and puts what stood in the holes into the
translation; words in a hole are looked up in the same way. A text that no phrase fits is cut where sentences and lists
are, and told piece by piece; what no phrase knows, such as a name, stays as it is.

Ends of sentences and lists ("." ";" ":" ",") and the case of the first letter are no part of a phrase.
"""

import re
import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

# Where a text that is no phrase as a whole may be cut: after a sentence or a part of a list, round "and" and "or", and
# round a figure with its unit.
_CUTS = re.compile(
    r"((?<=[.;:,])\s+|\s+(?=[(\d])|(?<=\d mm)\s+|(?<=\d [sg])\s+|(?<=\d°)\s+|\s+and\s+|\s+or\s+|\s+\|\s+)"
)
_ENDS = re.compile(r"[.;:,]\s")
_LETTERS = re.compile(r"[^\W\d_]{2,}")
_EDGES = ".;:, \n"
_FIGURE = r"[-+]?(?:[\d][\d,]*\.?\d*(?:e[-+]?\d+)?|inf|nan)"
# What the source adds for the plural, a verb with it at times: "", "s", "s are", " is".
_PLURAL = r"(?:e?s)?(?: [a-z]{2,3})?"
# A phrase with fewer fixed letters than this is taken for a short text only, and never over the end of a sentence.
_WEAK, _SHORT = 9, 48
# How many texts are kept once told; a panel shows some hundreds.
_KEPT = 5000
# How many pieces of a text that no phrase fits are looked at together.
_PIECES = 24
# A word untold weighs more than all cuts through a text.
_MISSED = 100


@dataclass(frozen=True, slots=True)
class Hole:
    """One hole of a phrase: its number or name, and how the source writes what is in it ("" for words and names)."""

    name: str
    form: str

    @property
    def is_figure(self) -> bool:
        """Tell whether a number stands in it."""
        return self.form[-1:] in tuple("gfde%") and self.form != ""


def parts_of(phrase: str) -> tuple[tuple[str, ...], tuple[Hole, ...]]:
    """Cut a phrase into its fixed texts and the holes between them. Raises ValueError for a phrase that is not one."""
    fixed, holes = [], []
    text = ""
    for before, number, form, _ in string.Formatter().parse(phrase):
        text += before
        if number is not None:
            fixed.append(text)
            holes.append(Hole(number, form or ""))
            text = ""
    return (*fixed, text), tuple(holes)


def _in_hole(hole: Hole, filling: Mapping[str, str]) -> str:
    """Give what comes into a hole of a translation; ``{1:Spalt|Spalte}`` chooses by the plural's "s" in the source."""
    value = filling[hole.name]
    one, parted, many = hole.form.partition("|")
    if not parted:
        return value
    return many if value.strip().startswith("s") else one


def bare(text: str) -> str:
    """Give a text without what is no part of a phrase: ends of sentences and lists."""
    return text.strip(_EDGES)


def _turned(first: str, text: str) -> str:
    """Give a text with its first letter as large or small as asked."""
    return (text[:1].upper() if first.isupper() else text[:1]) + text[1:]


class _Pattern:
    """One phrase with holes, ready to be looked for."""

    __slots__ = ("_fits", "_fixed", "_holes", "_source", "anchor", "holes", "letters")

    def __init__(self, phrase: str, translation: str) -> None:
        self._fits: re.Pattern[str] | None = None
        fixed, self.holes = parts_of(bare(phrase))
        self._fixed, self._holes = parts_of(translation)
        self.letters = sum(len(run) for text in fixed for run in _LETTERS.findall(text))
        weak = self.letters < _WEAK
        # The first letter's case is open, so it is no part of what is looked for first.
        self.anchor = max((fixed[0][1:], *fixed[1:]), key=len)
        words = r"(?:(?![.;:] ).)*?" if weak else r".*?"
        plurals = {hole.name for hole in self._holes if "|" in hole.form}
        made = ""
        for k, text in enumerate(fixed):
            start = text[:1] if k == 0 else ""
            if start.isalpha():
                made += f"[{start.lower()}{start.upper()}]" + re.escape(text[1:])
            else:
                made += re.escape(text)
            if k < len(self.holes):
                percent = "%?" if self.holes[k].form.endswith("%") else ""
                inside = words if self.holes[k].name not in plurals else _PLURAL
                made += f"({_FIGURE}{percent})" if self.holes[k].is_figure else f"({inside})"
        self._source = made

    def fit(self, core: str) -> re.Match[str] | None:
        """Fit a text to the phrase; most phrases are never asked, so each is made ready when it first is."""
        if self._fits is None:
            self._fits = re.compile(self._source, re.DOTALL)
        return self._fits.fullmatch(core)

    def filled(self, filling: Mapping[str, str]) -> str:
        """Give the translation with its holes filled."""
        told = (_in_hole(hole, filling) + text for hole, text in zip(self._holes, self._fixed[1:], strict=True))
        return self._fixed[0] + "".join(told)


class Phrases:
    """A catalogue made ready: `told` gives a text of the rules in its language."""

    def __init__(self, catalogue: Mapping[str, str]) -> None:
        self._whole: dict[str, str] = {}
        patterns = []
        for phrase, translation in catalogue.items():
            if parts_of(phrase)[1]:
                patterns.append(_Pattern(phrase, translation))
            else:
                self._whole[bare(_unbraced(phrase))] = _unbraced(translation)
        for phrase, translation in tuple(self._whole.items()):
            self._whole.setdefault(phrase[:1].lower() + phrase[1:], translation)
        self._patterns = sorted(patterns, key=lambda pattern: (-pattern.letters, -len(pattern.holes)))
        # What stays untold is a name, unless it is made of words that stand in phrases.
        self._words = frozenset(word for phrase in catalogue for word in _LETTERS.findall(phrase))
        self._told: dict[str, tuple[int, str]] = {}

    def told(self, text: str) -> str:
        """Give a text in the catalogue's language, and what it does not know as it is."""
        return self._tell(text)[1]

    def _tell(self, text: str) -> tuple[int, str]:
        """Give a text in the catalogue's language, and how much of it stayed untold."""
        found = self._told.get(text)
        if found is None:
            if len(self._told) > _KEPT:
                self._told.clear()
            whole = self._phrase(text, short=False)
            if whole is None or whole[0]:
                whole = min(filter(None, (whole, self._pieces(text))), key=lambda told: told[0])
            found = self._told[text] = whole
            # What is in the language already is left alone.
            self._told.setdefault(found[1], found)
        return found

    def _phrase(self, text: str, *, short: bool) -> tuple[int, str] | None:
        """Give a text that is one phrase in the catalogue's language; ``short``: a phrase of few letters will do."""
        core = bare(text)
        if not _LETTERS.search(core):
            return 0, text
        found = self._whole.get(core, self._whole.get(core[:1].lower() + core[1:]))
        missed, told = (0, found) if found is not None else self._filled(core, short=short) or (0, None)
        if told is None:
            return None
        before, after = text[: text.index(core[0])], text[text.rindex(core[-1]) + 1 :]
        # An abbreviation ends in a full stop of its own.
        return missed, before + _turned(core[0], told) + (after[1:] if after[:1] == told[-1:] else after)

    def _filled(self, core: str, *, short: bool) -> tuple[int, str] | None:
        """Give the translation of the phrase that leaves least untold in its holes; the most fixed text comes first."""
        best: tuple[int, str] | None = None
        for pattern in self._patterns:
            weak = pattern.letters < _WEAK
            if pattern.anchor not in core or (weak and not (short and len(core) <= _SHORT)):
                continue
            fit = pattern.fit(core)
            if fit is None:
                continue
            told = {
                hole.name: (0, value) if hole.is_figure else self._inside(value)
                for hole, value in zip(pattern.holes, fit.groups(), strict=True)
            }
            missed = sum(part for part, _ in told.values())
            if best is None or missed < best[0]:
                best = missed, pattern.filled({name: words for name, (_, words) in told.items()})
            if not missed:
                break
        return best

    def _inside(self, value: str) -> tuple[int, str]:
        """Tell what stands in a hole; with a large first letter, and words of no phrase, it is taken for a name."""
        missed, told = self._tell(value)
        named = missed >= _MISSED and value[:1].isupper() and not _ENDS.search(value)
        return (1, value) if named else (missed, told)

    def _pieces(self, text: str) -> tuple[int, str]:
        """Tell a text piece by piece, so that as little as can be stays untold."""
        cut = _CUTS.split(text)
        pieces, joints = cut[::2], [*cut[1::2], ""]
        if len(pieces) > _PIECES:
            return self._untold(text)
        # best[k]: what stays untold, and the text, of the first k pieces.
        best: list[tuple[int, str]] = [(0, "")]
        for end in range(1, len(pieces) + 1):
            choices = []
            for start in range(end):
                run = "".join(part for k in range(start, end) for part in (pieces[k], joints[k] if k < end - 1 else ""))
                missed, told = self._phrase(run, short=True) or self._untold(run)
                joint = self._joint(joints[start - 1]) if start else ""
                # The fewer cuts the better.
                choices.append((best[start][0] + missed + (start > 0), best[start][1] + joint + told))
            best.append(min(choices, key=lambda choice: choice[0]))
        return best[-1]

    def _untold(self, text: str) -> tuple[int, str]:
        return _MISSED * sum(word in self._words for word in _LETTERS.findall(text)), text

    def _joint(self, joint: str) -> str:
        word = joint.strip()
        return joint.replace(word, self._whole.get(word, word)) if word else joint


def _unbraced(phrase: str) -> str:
    """Give a phrase without holes as the text it stands for."""
    return phrase.replace("{{", "{").replace("}}", "}")


def joined(catalogues: Iterable[Mapping[str, str]]) -> dict[str, str]:
    """Put the rooms of a catalogue together. Raises ValueError where two of them tell one text differently."""
    found: dict[str, str] = {}
    for catalogue in catalogues:
        for phrase, translation in catalogue.items():
            if found.setdefault(phrase, translation) != translation:
                raise ValueError(f"told twice: {phrase}")
    return found
