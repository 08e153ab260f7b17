"""Every finding code that the rules use is registered, and the severities sort."""

import ast
from pathlib import Path

from addon.rules.inspect.finding import CODES, SEVERITIES, UNITS, Finding, grouped, stops, worst_first

ADDON = Path(__file__).resolve().parents[2] / "addon"


def codes_in_source() -> set[str]:
    """Collect the first argument of every ``Finding(...)`` call that is a plain text."""
    found = set()
    for file in ADDON.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding" and node.args:
                first = node.args[0]
                if isinstance(first, ast.Constant) and isinstance(first.value, str):
                    found.add(first.value)
    return found


def test_codes_used_are_registered() -> None:
    used = codes_in_source()
    assert {"fused", "hand", "no-gate"} <= used
    assert used <= set(CODES)


def test_codes_are_unique() -> None:
    assert len(set(CODES)) == len(CODES)


def test_worst_first_keeps_order_within_a_severity() -> None:
    given = [Finding("fused", s, (n,), "") for s, n in (("note", "1"), ("stop", "2"), ("warn", "3"), ("stop", "4"))]
    assert [f.bodies[0] for f in worst_first(given)] == ["2", "4", "3", "1"]
    assert [f.bodies[0] for f in stops(given)] == ["2", "4"]
    assert SEVERITIES == ("stop", "warn", "note")


def test_like_findings_are_grouped_but_no_stop_is_left_out() -> None:
    many = [Finding("web-thin", "warn", (f"link {k}",), "thin") for k in range(9)]
    stop = [Finding("fused", "stop", (f"link {k}",), "fused") for k in range(5)]
    fused, thin = grouped([*many, *stop])
    assert (len(fused.shown), len(fused.others)) == (5, 0)
    assert (len(thin.shown), len(thin.others)) == (2, 7)
    assert thin.others[-1] is many[-1]


def test_a_label_has_its_unit_and_no_figure_that_nobody_would_understand() -> None:
    def label(code: str, value: float | None) -> str:
        return Finding(code, "note", (), "", None, value).measured

    assert label("web-thin", 0.4912) == "0.491 mm"
    assert label("web-hot", 927.4) == "927 °C"
    assert label("gate-speed", 1.409) == "1.41 m/s"
    assert label("web-thin", None) == ""
    assert label("blind", 0.000886) == ""
    assert set(UNITS) <= set(CODES)
