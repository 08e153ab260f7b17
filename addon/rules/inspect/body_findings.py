"""What is wrong with a body on its own: an unsound surface, or a size or place that no piece of jewellery has."""

import math
from collections.abc import Sequence

import numpy as np

from ..solid.mesh import Body, FloatArray
from ..solid.self_crossing import MOST, SelfCrossing
from ..solid.topology import MeshFacts
from .finding import Finding

# Longest side of the largest body, mm. Our judgement: links are 3 to 60 mm, as under 3 mm there is no room for a hole
# between two walls; a piece worn in one solid is up to 200 mm; no flask takes 500 mm.
LARGEST_MM = 500.0
LARGE_MM = 200.0
SMALL_MM = 3.0
SMALLEST_MM = 0.5
CRUMB_MM = 0.05
# The units a file can be told to be in, and what they are in mm.
UNITS_MM = (("m", "metres", 1000.0), ("in", "inches", 25.4), ("cm", "centimetres", 10.0))
# Print files keep single precision: so far from the origin their places are true to this only, mm. A hundredth eats
# into every gap, a thousandth is a warning.
COARSE_MM = 0.01
ROUGH_MM = 0.001


def is_sound(facts: MeshFacts) -> bool:
    """Tell whether a surface bounds metal everywhere and once, so that its joints can be judged."""
    return (
        facts.closed
        and facts.genus is not None
        and not facts.inside_out
        and facts.non_manifold_edges == 0
        and facts.doubled_faces == 0
    )


def soundness_findings(
    bodies: Sequence[Body], known: Sequence[MeshFacts], crossed: Sequence[SelfCrossing]
) -> tuple[Finding, ...]:
    """Say which surfaces are open, inside out, non-manifold, doubled, hollow, cross themselves, or hold flat triangles.

    ``known`` and ``crossed``: what is true of each body's surface, a body being one outward shell with its cavities.
    That a closed cavity can neither be rinsed nor invested is common practice, without a published source.
    """
    return tuple(
        finding
        for body, facts, crossing in zip(bodies, known, crossed, strict=True)
        for finding in _of_surface(body, facts, crossing)
    )


def _of_surface(body: Body, facts: MeshFacts, crossing: SelfCrossing) -> list[Finding]:
    found = []

    def say(code: str, severity: str, count: int, at: FloatArray | None, text: str) -> None:
        place = None if at is None else as_point(body.pose.apply(at))
        found.append(Finding(code, severity, (body.name,), f"{body.name}: {text}", place, float(count), 0.0))

    unjudged = "its gaps are measured; what lies inside it, its thinnest metal and its joints cannot be judged"
    if facts.open_edges or not facts.closed:
        say(
            "open", "stop", facts.open_edges, facts.open_at,
            f"the surface is open, {_count(facts.open_edges, 'edge')} with a face on one side only; {unjudged}. "
            "Fill the hole; merge points by distance where it is but a crack.",
        )  # fmt: skip
    if facts.inside_out:
        why = (
            f"inside out in part, {_count(facts.turned_edges, 'edge')} between faces that disagree which side is out"
            if facts.turned_edges
            else "inside out, its faces look into the metal"
        )
        say(
            "inside-out", "stop", max(1, facts.turned_edges), facts.inside_out_at,
            f"the surface is {why}; {unjudged}. Recalculate the normals to the outside.",
        )  # fmt: skip
    if facts.non_manifold_edges:
        say(
            "non-manifold", "stop", facts.non_manifold_edges, facts.non_manifold_at,
            f"{_count(facts.non_manifold_edges, 'edge')} with more than two faces; {unjudged}. "
            "Part the surfaces there, or join them into one.",
        )  # fmt: skip
    if facts.doubled_faces:
        say(
            "doubled-faces", "stop", facts.doubled_faces, facts.doubled_at,
            f"{_count(facts.doubled_faces, 'face')} lying on another; {unjudged}. Delete the doubles.",
        )  # fmt: skip
    if is_sound(facts) and facts.cavities:
        say(
            "cup", "stop", facts.cavities, facts.cavity_at,
            f"{_count(facts.cavities, 'closed cavity', 'closed cavities')} inside; resin stays shut in there and can "
            "burst the mould when it burns out, and no investment gets in, so that the metal fills it. Fill the "
            "cavity, or open it to the outside on two sides.",
        )  # fmt: skip
    if crossing.count:
        more = " or more" if crossing.count >= MOST else ""
        say(
            "self-crossing", "stop", crossing.count, crossing.at,
            f"the surface passes through itself, {_count(crossing.count, 'pair')}{more} of crossing faces; its weight, "
            "its thinnest metal and its joints cannot be trusted. Pull the parts apart, or join them with a boolean "
            "union.",
        )  # fmt: skip
    if facts.zero_area:
        say(
            "zero-area", "note", facts.zero_area, facts.zero_area_at,
            f"{_count(facts.zero_area, 'triangle')} without area; harmless here, some slicers stumble. "
            "Merge points by distance.",
        )  # fmt: skip
    return found


def is_too_small(low: FloatArray, high: FloatArray) -> bool:
    """Tell whether all bodies are so small that they were read in a wrong unit. ``low``, ``high`` (n, 3) in mm."""
    return bool(((high - low).max(axis=1) < SMALLEST_MM).all())


def size_findings(names: Sequence[str], low: FloatArray, high: FloatArray) -> tuple[Finding, ...]:
    """Say when sizes look like a unit mistaken for another, and when bodies stand too far out to be exact.

    ``low``, ``high`` (n, 3): the bounds of the bodies, mm.
    """
    longest = (high - low).max(axis=1)
    biggest = int(np.argmax(longest))
    size = float(longest[biggest])
    at = as_point((low[biggest] + high[biggest]) / 2)
    name = names[biggest]

    def odd(severity: str, limit_mm: float, text: str) -> tuple[Finding, ...]:
        return (Finding("odd-size", severity, (name,), f"{name}: {text}", at, size, limit_mm),)

    if size > LARGE_MM:
        stop = size > LARGEST_MM
        return odd(
            "stop" if stop else "warn",
            LARGEST_MM if stop else LARGE_MM,
            f"{size:.5g} mm long, {'far too' if stop else 'very'} large for a link or a cast piece; it looks like a "
            "unit mistaken for a larger one. If the file is in millimetres, read it so (--unit mm); else check the "
            "unit or the scale it was exported with.",
        )
    if size < SMALL_MM:
        stop = size < SMALLEST_MM
        told = [
            (f"{word} ({size * mm:.3g} mm long then, --unit {unit})")
            for unit, word, mm in UNITS_MM
            if SMALL_MM <= size * mm <= LARGE_MM
        ]
        mend = (
            f"it looks like {' or '.join(told)} read as millimetres. Read the file in its own unit, or check the "
            "scale it was exported with."
            if told
            else "no unit of a file makes it a link. Check the scale it was exported with."
        )
        return odd(
            "stop" if stop else "warn",
            SMALLEST_MM if stop else SMALL_MM,
            f"the largest body is only {size:.4g} mm long; {mend}"
            + (" Its gaps, webs and joints are not looked at until then." if stop else ""),
        )
    crumbs = tuple(
        Finding(
            "odd-size", "warn", (names[number],),
            f"{names[number]}: only {longest[number]:.3g} mm long, a crumb among bodies of up to {size:.4g} mm; "
            "delete it unless it is meant.",
            as_point((low[number] + high[number]) / 2), float(longest[number]), CRUMB_MM,
        )
        for number in np.flatnonzero(longest < CRUMB_MM)
    )  # fmt: skip
    return (*crumbs, *_far_out(names, low, high))


def _far_out(names: Sequence[str], low: FloatArray, high: FloatArray) -> tuple[Finding, ...]:
    """Say when bodies stand so far from the origin that a file in single precision moves their points."""
    reach = np.maximum(np.abs(low), np.abs(high)).max(axis=1)
    farthest = int(np.argmax(reach))
    step = float(np.spacing(np.float32(reach[farthest])))
    if step <= ROUGH_MM:
        return ()
    stop = step > COARSE_MM
    name = names[farthest]
    text = (
        f"{name}: it stands {reach[farthest] / 1000.0:.4g} m from the origin, where a print file keeps places to "
        f"{step:.2g} mm only; gaps and walls may be wrong by as much. Move everything to the origin and export again."
    )
    at = as_point((low[farthest] + high[farthest]) / 2)
    return (Finding("odd-size", "stop" if stop else "warn", (name,), text, at, step, COARSE_MM if stop else ROUGH_MM),)


def rounded_up(length_mm: float) -> str:
    """Give a length to add to a size as text, mm to a hundredth, never less than it takes."""
    return f"{max(1, math.ceil(length_mm * 100.0 - 1e-6)) / 100.0:.10g}"


def as_point(place: FloatArray) -> tuple[float, float, float]:
    """Give a place (3,) as plain numbers."""
    return (float(place[0]), float(place[1]), float(place[2]))


def _count(number: int, thing: str, things: str = "") -> str:
    return f"{number} {thing if number == 1 else things or thing + 's'}"
