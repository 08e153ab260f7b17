"""Every text of the source that a user in Blender can see, gathered from the code itself.

A text is any string, or f-string with its holes as ``{0}``, ``{1:.2f}``, that reads as words. What is no text is told
by its shape (identifiers, units, icons, markup) or by where it stands (docstrings, errors for programmers); what is
left over is in the short lists below.
"""

import ast
import re
import tomllib
from pathlib import Path

from addon.host.phrases import bare
from addon.rules.inspect.finding import CODES

ADDON = Path(__file__).parents[1] / "addon"

# The bench sheet and the command line are in English, and so is what only they say.
ENGLISH = (
    "rules/sheet", "rules/cast/schedule.py", "rules/cast/scale.py", "rules/cast/own_file.py", "rules/files/report.py",
    "rules/files/stl.py", "rules/files/obj.py", "rules/files/polygons.py",
    "rules/files/readings.py", "rules/files/threemf.py", "rules/files/threemf_model.py",
    "rules/inspect/cure.py", "rules/inspect/engraving.py",
    "verbs/commands.py", "verbs/parser.py", "verbs/print_words.py", "verbs/sheets.py", "verbs/words.py",
    "verbs/own_materials.py", "verbs/export.py", "verbs/host.py", "verbs/__init__.py", "verbs/layout_words.py",
    "host/command.py", "host/blend_files.py",
)  # fmt: skip
# Modules that refuse what nothing in Blender can ask of them.
INNER = (
    "rules/solid/cells.py", "rules/solid/crossing.py", "rules/solid/distance.py", "rules/solid/surface.py",
    "rules/solid/bridge.py", "rules/solid/triangle_overlap.py", "rules/feed/rods.py", "rules/chain/stud.py",
)  # fmt: skip
# Texts of those rooms that the tab does show, and texts that are put together from a number and a word.
SHOWN = (
    "The link fills and freezes sound",
    "All {0} links fill and freeze sound",
    "{0} of {1} at risk, though all fill: see why, and what would help",
    "{0} of {1} will not fill{2}: do not pour it like this",
    "{0} more at risk",
    "links",
    "link",
    "any",
    "{0}: chain {1:.1f} g, lattice {2:.1f} g, trunk and button {3:.1f} g, in all {4:.1f} g (yield {5:.0f} %)",
    "{0:d} link",
    "{0:d} links",
    "{0:.2f} mm out",
    "{0:.2f} in",
    "{0} at best slide",
    "{0:d} body",
    "{0:d} bodies",
    "{0:d} stop",
    "{0:d} warn",
    "{0:d} note",
    "{0:d} edge",
    "{0:d} edges",
    "{0:d} face",
    "{0:d} faces",
    "{0:d} pair",
    "{0:d} pairs",
    "{0:d} triangle",
    "{0:d} triangles",
    "{0:d} patch",
    "{0:d} patches",
    "{0:d} more body",
    "{0:d} more bodies",
    "other struts",
    "the spokes",
    "the gates",
    "from below",
    "ring half",
    "the cover",
)
# Words that stand alone in the source and come into the holes of sentences.
WORDS = (
    "choose", "closed", "open", "and", "or", "make", "take", "give", "two", "an", "on", "flat", "edge", "very",
    "bleed", "over-cure", "upright", "level", "over", "under", "it", "them", "straight", "gates", "gate",
    "post", "spoke", "hub", "trunk", "ring", "strut", "branch", "nothing", "none", "no", "high", "pinned",
    "planned", "added", "barred", "above", "below", "upper", "measured", "checking", "estimated", "inside",
    "solid", "perforated", "stop", "warn", "note", "left", "right", "front", "back", "metres", "inches",
    "centimetres", "millimetres", "gravity", "vacuum", "spin", "round", "rectangle", "coil", "spiral",
    "serpentine", "curve", "at-risk", "sound", "short", "long", "stuck", "saw", "disc", "nipper", "wax",
    "printed", "button", "mould", "metal", "free", "freely", "bar", "hook", "eye", "cover", "last", "first",
)  # fmt: skip
# What reads as words and is no text of the tab: what only the command line says, and names of other things.
UNSHOWN = frozenset(
    (
        "linkwright boolean", "s are", "active = bpy.context.active_object", "Operator", "Linkwright", "VIEW3D_MT_add",
        "settings = (active if active.linkwright.schema else active.parent).linkwright", "3D View", "Window",
        "settings = bpy.context.scene.linkwright", "length_mm, inner_length_mm",
        # Names of objects and files that are made: they are the user's from then on.
        "{0} chain", "Own chain", "{0} line", "{0} link", "{0} parts", "{0} link.3mf", "Lattice of {0}",
    )
)  # fmt: skip
# Functions that only the command line calls, in modules that the tab uses too.
COMMAND_LINE = (
    "gauge_or_readings", "_from_resin", "_calibration_lines", "inspection_lines", "_body_lines", "_surface",
    "_pair_lines", "_ladder", "_joint", "_web_lines", "way_up_lines",
)  # fmt: skip
UNITS = frozenset(
    (
        "mm", "mm2", "mm3", "cm3", "cm", "deg", "degC", "g", "kg", "h", "s", "kPa", "m", "N", "km", "MB",
        "min", "x", "e", "mg", "m3", "rad", "K", "J", "W", "Esc",
    )
)  # fmt: skip
PROGRAMMERS = ("Bug", "ValueError", "RuntimeError", "AssertionError", "KeyError", "TypeError", "NotImplementedError")
_WORD = re.compile(r"[^\W\d_]{2,}")


def _held(node: ast.JoinedStr) -> str:
    """Give an f-string with numbered holes, each with its form."""
    text, number = "", 0
    for value in node.values:
        if isinstance(value, ast.Constant):
            text += str(value.value).replace("{", "{{").replace("}", "}}")
            continue
        form = ""
        if isinstance(value, ast.FormattedValue) and isinstance(value.format_spec, ast.JoinedStr):
            specs = value.format_spec.values
            form = str(specs[0].value) if len(specs) == 1 and isinstance(specs[0], ast.Constant) else ""
        text += f"{{{number}:{form}}}" if form else f"{{{number}}}"
        number += 1
    return text


def fixed(text: str) -> str:
    """Give a text without its holes."""
    return re.sub(r"(?<!\{)\{[^{}]*\}", " ", text)


def reads_as_words(text: str, *, in_host: bool) -> bool:
    """Tell whether a string is something a person reads."""
    plain = fixed(text)
    words = [word for word in _WORD.findall(plain) if word not in UNITS]
    if not words or re.search(r"</|<\w+ |://|\\[swdb(]|^\W*--|^\.|\.$(?<=\.part)", text):
        return False
    if re.fullmatch(r"[a-z_]+(\.[a-z_]+)+[ ,]*", plain.strip()):
        return False
    if " " in bare(text) or (
        text != plain and not re.fullmatch(r"[\w.\[\]#/ ]*", text.replace("{", "").replace("}", ""))
    ):
        return bool(re.search(r"[a-z]", plain)) and not re.fullmatch(
            r"[\W\d]*(?:[a-z_]+\.)?[a-z_]*[_.][a-z_]*\W*", plain
        )
    return in_host and re.fullmatch(r"[A-Z][a-z]+(-[A-Za-z]+)?\W*", text) is not None


class _Gatherer(ast.NodeVisitor):
    def __init__(self, room: str) -> None:
        self.found: dict[str, int] = {}
        self._in_host, self._in_verbs = room == "host", room == "verbs"

    def visit_FunctionDef(self, node):
        if not (self._in_verbs and node.name in COMMAND_LINE):
            self.generic_visit(node)

    def _take(self, text: str, line: int) -> None:
        key = bare(text)
        if reads_as_words(text, in_host=self._in_host) and key not in UNSHOWN:
            self.found.setdefault(key, line)

    def visit_Expr(self, node):
        # A string that stands alone is a docstring.
        if not isinstance(node.value, ast.Constant):
            self.generic_visit(node)

    def visit_Raise(self, node):
        call = node.exc
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in PROGRAMMERS):
            self.generic_visit(node)

    def visit_JoinedStr(self, node):
        self._take(_held(node), node.lineno)
        for value in node.values:
            if isinstance(value, ast.FormattedValue):
                self.visit(value.value)

    def visit_Constant(self, node):
        if isinstance(node.value, str):
            self._take(node.value, node.lineno)

    def visit_Compare(self, node):
        pass

    def visit_Subscript(self, node):
        self.visit(node.value)

    def visit_Call(self, node):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in ("prefixed", "removeprefix", "startswith", "endswith", "TypeVar", "get", "compile", "eval"):
            return
        self.generic_visit(node)


def gathered(folder: Path = ADDON) -> dict[str, str]:
    """Give every text with the place it is first written at."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        name = path.relative_to(folder).as_posix()
        if name.startswith((*ENGLISH, *INNER, "host/phrases")):
            continue
        gatherer = _Gatherer(name.split("/")[0])
        gatherer.visit(ast.parse(path.read_text(encoding="utf-8")))
        for text, line in gatherer.found.items():
            found.setdefault(text, f"{name}:{line}")
    for text in (*SHOWN, *WORDS):
        found.setdefault(bare(text), "words")
    for code in CODES:
        found.setdefault(code, "codes of findings")
    for table in ("alloys", "investments", "resins", "spin_arms"):
        rows = tomllib.loads((folder / "data" / f"{table}.toml").read_text(encoding="utf-8"))
        for row in rows.values():
            if "label" in row:
                found.setdefault(row["label"], f"data/{table}.toml")
    return found
