"""One thing an inspection says: what, how bad, on which bodies, where, how much against what limit, and what to do."""

from collections.abc import Iterable
from dataclasses import dataclass

SEVERITIES = ("stop", "warn", "note")

CODES = (
    "fused", "gap-below-floor", "web-thin", "not-linked", "linked-to-stranger", "undecided-link", "open", "inside-out",
    "non-manifold", "doubled-faces", "self-crossing", "wall-thin", "odd-size", "island", "overhang", "bridge", "cup",
    "blind", "rinse", "no-gate", "feed-far", "strut-near", "strut-unrouted", "unsteady", "web-hot", "web-weak", "hand",
    "modulus", "print-size", "flask-size", "freeze-order", "not-filled", "free-play", "gap-unmet", "size-off", "solid",
    "zero-area", "looks", "burnout", "pour-temperature", "flask-temperature", "mould-limit",
    "saw-room", "clasp", "cover", "spin-arm", "spin-wide", "materials", "gate-speed", "cast-risk",
    "pores",
)  # fmt: skip

# What the value of a finding is measured in, where it stands by itself; what is not named here is a plain share or
# count, or differs from finding to finding, and is told by the text alone.
UNITS = {
    **dict.fromkeys(
        (
            "gap-below-floor", "web-thin", "wall-thin", "feed-far", "strut-near", "strut-unrouted", "modulus",
            "unsteady", "saw-room", "gap-unmet", "bridge", "overhang", "looks", "spin-wide",
        ),
        "mm",
    ),
    **dict.fromkeys(("web-hot", "pour-temperature", "flask-temperature"), "°C"),
    **dict.fromkeys(("not-filled", "cast-risk"), "%"),
    **dict.fromkeys(("freeze-order", "pores"), "s"),
    "gate-speed": "m/s",
    "island": "mm²",
    "cup": "mm³",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. ``at`` (x, y, z) in mm or None; ``value`` and its ``limit`` in the unit the text names, or None."""

    code: str
    severity: str
    bodies: tuple[str, ...]
    text: str
    at: tuple[float, float, float] | None = None
    value: float | None = None
    limit: float | None = None

    @property
    def measured(self) -> str:
        """Give the value with its unit, in few digits, for a label; nothing where it would not be understood."""
        unit = UNITS.get(self.code)
        return "" if self.value is None or unit is None else f"{self.value:.3g} {unit}"


def stops(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Give the findings that stop an export."""
    return tuple(f for f in findings if f.severity == "stop")


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort by severity, keeping the order within each."""
    return tuple(sorted(findings, key=lambda f: SEVERITIES.index(f.severity)))


@dataclass(frozen=True, slots=True)
class Alike:
    """Findings of one code and severity: the ``shown`` ones, and the bodies of the others that only differ in them."""

    shown: tuple[Finding, ...]
    others: tuple[Finding, ...]


def grouped(findings: Iterable[Finding], *, shown: int = 2) -> tuple[Alike, ...]:
    """Put findings of one code and severity together, worst first; of each kind the first few are shown.

    A stop is never left out: all stops are shown.
    """
    kinds: dict[tuple[str, str], list[Finding]] = {}
    for finding in worst_first(findings):
        kinds.setdefault((finding.severity, finding.code), []).append(finding)
    return tuple(
        Alike(tuple(alike), ()) if severity == "stop" else Alike(tuple(alike[:shown]), tuple(alike[shown:]))
        for (severity, _), alike in kinds.items()
    )
