"""The part of the sheet that says which cuts free the chain, in the order of work, alike ones in one row."""

from collections.abc import Sequence
from itertools import groupby

from ..feed.cut_order import FIRST, LAST, SECOND
from ..feed.cuts import GATE, LIFT, LONG_STUB_MM, POST, UPPER_GATE, Cut, CuttingList
from .blocks import NUMBERED, counted, grid, note, section

HEAD = ("Cuts", "What", "In this order", "Thick, mm", "Stub, mm", "Tool")
MOST_NAMES = 40
TURNS = {FIRST: "every second one", SECOND: "those between", LAST: "the last, spread out"}
CARE = (
    "Spectacles, or a face shield over them; hair and sleeves tied back; no gloves at a running tool. Clamp the work, "
    "never hold it in the hand: a disc that tilts in its cut bursts. Extraction and a fitted dust mask for sawing and "
    "grinding: metal dust, and the silica of investment left in the joints. Cut edges and stubs are sharp."
)


def cutting(made: CuttingList | None, density_g_cm3: float) -> str:
    """Lay out the cutting list; nothing where there is none."""
    if made is None or not made.cuts:
        return ""
    cuts = sum(c.kind != LIFT for c in made.cuts)
    returns_cm3 = made.returns_mm3 / 1000.0
    remark = (
        f"{counted(cuts, 'cut', 'cuts')} in all with a {made.tool_words}, opposite sides in turn. To grind: "
        f"{made.stub_area_mm2:.0f} mm² of stubs. Back to the pot: {returns_cm3:.2f} cm³ of feed metal, about "
        f"{returns_cm3 * density_g_cm3:.1f} g, and the button and trunk, which come off first."
    )
    if any(c.stub_mm > LONG_STUB_MM for c in made.cuts):
        remark += f" Where no tool gets nearer, saw stubs over {LONG_STUB_MM:g} mm back once the link is loose."
    return section("Cutting list", grid(HEAD, rows(made), words=(1, 2, 5), kind="cuts") + note(remark) + note(CARE))


def rows(made: CuttingList) -> list[tuple[str, ...]]:
    """Put the cuts in rows, in order: alike ones that follow one another share a row."""
    found: list[tuple[str, ...]] = []
    for _, group in groupby(made.cuts, key=lambda c: (c.kind, c.turn)):
        alike = list(group)
        first, last = alike[0], alike[-1]
        steps = f"{first.number}" if first is last else f"{first.number} to {last.number}"
        if first.kind == LIFT:
            found.append((steps, "Lift off the upper ring", "straight up", "", "", "by hand"))
            continue
        thick = _range([c.diameter_mm for c in alike])
        stub = "" if first.kind == POST else _range([c.stub_mm for c in alike])
        found.append((steps, _what(alike), _which(alike), thick, stub, _tools(alike)))
    return found


def names(listed: Sequence[str]) -> str:
    """Join names; of numbered ones the common word comes once, and very many are cut short."""
    shown, more = list(listed[:MOST_NAMES]), len(listed) - MOST_NAMES
    parted = [NUMBERED.fullmatch(name) for name in shown]
    heads = {match.group(1) for match in parted if match is not None}
    if len(heads) == 1 and all(parted) and len(shown) > 1:
        text = heads.pop() + ", ".join(match.group(2) for match in parted if match is not None)
    else:
        text = ", ".join(shown)
    return text + (f" and {more} more in the same way, all in report.json" if more > 0 else "")


def _what(alike: Sequence[Cut]) -> str:
    first = alike[0]
    if first.kind == POST:
        return "Posts, upper end then lower end"
    turn = f", {TURNS[first.turn]}" if first.turn in TURNS else ""
    return ("Upper gates" if first.kind == UPPER_GATE else "Lower gates" if first.kind == GATE else first.kind) + turn


def _which(alike: Sequence[Cut]) -> str:
    if alike[0].kind == POST:
        return f"{counted(len({c.strut for c in alike}), 'post', 'posts')}, opposite ones in turn"
    return names([c.feeds or "" for c in alike])


def _tools(alike: Sequence[Cut]) -> str:
    """Say with which tool, and which others get there, at once or in their turn."""
    used = {c.tool for c in alike}
    words = [" or ".join(sorted(t for t in used if t is not None))]
    missed = sum(not c.reached for c in alike)
    if missed:
        words.append(f"no room at {missed}, see findings")
    for tool in dict.fromkeys(r.tool for c in alike for r in c.after):
        if tool in used:
            continue
        at_once = sum(r.fits for c in alike for r in c.there if r.tool == tool)
        in_turn = sum(r.fits for c in alike for r in c.after if r.tool == tool)
        if in_turn < len(alike):
            words.append(f"{tool}: {in_turn or 'none'} of {len(alike)}" if in_turn else f"no room for a {tool}")
        elif at_once < len(alike):
            words.append(f"{tool} too, once the posts are off")
        else:
            words.append(f"{tool} too")
    return "; ".join(words)


def _range(values: Sequence[float]) -> str:
    low, high = f"{min(values):.1f}", f"{max(values):.1f}"
    return low if low == high else f"{low} to {high}"
