"""What is wrong with a body on its own: an unsound surface, or a size that no piece of jewellery has."""

from collections.abc import Sequence

import numpy as np

from ..solid.mesh import Body, FloatArray
from ..solid.self_crossing import MOST, SelfCrossing
from ..solid.topology import MeshFacts
from .finding import Finding

# Longest side of a body, mm. Our judgement: links are 1 to 60 mm, whole solid pieces below 500 mm.
LARGEST_MM = 500.0
SMALLEST_MM = 0.5
CRUMB_MM = 0.05


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
    """Say which surfaces are open, inside out, non-manifold, doubled, cross themselves, or hold faces without area."""
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

    unjudged = "its gaps are measured, its joints cannot be judged"
    if facts.open_edges or not facts.closed:
        say(
            "open", "stop", facts.open_edges, facts.open_at,
            f"the surface is open, {_count(facts.open_edges, 'edge')} with a face on one side only; {unjudged}. "
            "Fill the hole.",
        )  # fmt: skip
    if facts.inside_out:
        why = (
            f"{_count(facts.turned_edges, 'edge')} between faces that disagree which side is out"
            if facts.turned_edges
            else "its faces look into the metal"
        )
        say(
            "inside-out", "stop", max(1, facts.turned_edges), facts.inside_out_at,
            f"the surface is inside out, {why}; {unjudged}. Recalculate the normals to the outside.",
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
    if crossing.count:
        more = " or more" if crossing.count >= MOST else ""
        say(
            "self-crossing", "stop", crossing.count, crossing.at,
            f"the surface passes through itself, {_count(crossing.count, 'pair')}{more} of crossing faces; its weight "
            "and its thinnest metal cannot be trusted. Pull the parts apart, or join them with a boolean union.",
        )  # fmt: skip
    if facts.zero_area:
        say(
            "zero-area", "note", facts.zero_area, facts.zero_area_at,
            f"{_count(facts.zero_area, 'triangle')} without area; harmless here, some slicers stumble. "
            "Merge points by distance.",
        )  # fmt: skip
    return found


def size_findings(names: Sequence[str], low: FloatArray, high: FloatArray) -> tuple[Finding, ...]:
    """Say when sizes look like a unit mistaken for another. ``low``, ``high`` (n, 3): the bounds of the bodies, mm."""
    longest = (high - low).max(axis=1)
    biggest = int(np.argmax(longest))
    size = float(longest[biggest])
    at = as_point((low[biggest] + high[biggest]) / 2)
    name = names[biggest]
    if size > LARGEST_MM:
        text = (
            f"{name}: {size:.5g} mm long, far too large for a link or a cast piece; it looks like a unit mistaken "
            "for a larger one. If the file is in millimetres, use --unit mm; else check the scale it was exported with."
        )
        return (Finding("odd-size", "warn", (name,), text, at, size, LARGEST_MM),)
    if size < SMALLEST_MM:
        unit = "metres" if size < SMALLEST_MM / 5 else "inches or centimetres"
        use = "--unit m" if unit == "metres" else "--unit in or --unit cm"
        text = (
            f"{name}: the largest body is only {size:.4g} mm long; it looks like {unit} read as millimetres. "
            f"If so, use {use}."
        )
        return (Finding("odd-size", "warn", (name,), text, at, size, SMALLEST_MM),)
    return tuple(
        Finding(
            "odd-size", "warn", (names[number],),
            f"{names[number]}: only {longest[number]:.3g} mm long, a crumb among bodies of up to {size:.4g} mm; "
            "delete it unless it is meant.",
            as_point((low[number] + high[number]) / 2), float(longest[number]), CRUMB_MM,
        )
        for number in np.flatnonzero(longest < CRUMB_MM)
    )  # fmt: skip


def as_point(place: FloatArray) -> tuple[float, float, float]:
    """Give a place (3,) as plain numbers."""
    return (float(place[0]), float(place[1]), float(place[2]))


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
