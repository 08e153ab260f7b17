"""The checks of scripts/test.py: the plan of a run, the processes it starts, and the count at its end.

Each room of tests runs in a process of its own under a time limit: the rules where Blender cannot be imported,
the host tests on Blender. A process that hangs is ended with all it started, and counts as a failure.
"""

import argparse
import os
import sys
import tempfile
import threading
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import _environment
import _setup
import _window_blender
from _limited import TIMED_OUT, run_limited

ROOT = Path(_setup.ROOT)
LIMIT_S = {"rules": 800, "published": 450, "host": 600, "window": 1500}
STATIC_LIMIT_S = 180
# Two rows of rooms run beside each other, a core for each: a sixth of the published checks goes with the rules.
ROOMS = ("rules", "published", "host")
NO_TESTS = 5
# The types are checked against the oldest numpy there may be, which is that of this Python.
TYPES_PYTHON = (3, 11)

# Every supported Blender, by name: the Python it is made for and its version where it is not the pinned one.
BLENDERS = {"4.5": ("3.11", None), "5.0": ("3.11", "5.0.1"), "5.2": ("3.13", None)}

# Pytest with Blender's modules barred, so that a rule which imports one is found out.
WITHOUT_BLENDER = """
import sys
for name in ("bpy", "bmesh", "mathutils", "gpu", "gpu_extras", "blf", "bl_ui"):
    sys.modules[name] = None
import pytest
sys.exit(pytest.main(sys.argv[1:]))
"""


@dataclass(frozen=True, slots=True)
class Count:
    """How many checks passed, failed and were skipped."""

    passed: int = 0
    failed: int = 0
    skipped: int = 0

    def __add__(self, other: "Count") -> "Count":
        return Count(self.passed + other.passed, self.failed + other.failed, self.skipped + other.skipped)

    def __str__(self) -> str:
        line = f"{self.passed} passed, {self.failed} failed"
        return line + f", {self.skipped} skipped" if self.skipped else line


PASSED, FAILED = Count(passed=1), Count(failed=1)


def run(arguments: Sequence[str]) -> int:
    """Run what the arguments ask for; prints the count as the last line and returns the exit code."""
    options = _parser().parse_args(arguments)
    chosen = _by_room(options.paths)
    narrowed = bool(options.paths or options.k)
    count = Count()
    try:
        if not narrowed:
            count += _static_checks()
        count += _rooms({room: _words(options, chosen[room]) for room in ROOMS if room in chosen}, narrowed=narrowed)
        if options.all and "host" in chosen:
            count += _other_blenders(_words(options, chosen["host"]), may_be_empty=narrowed)
        if options.window or ("window" in chosen and options.paths):
            count += _window(_words(options, chosen.get("window", ["tests/window"])))
    except KeyboardInterrupt:
        _say("stopped")
        return 130
    if count == Count():
        _say("no test was run")
        count = FAILED
    print(count, flush=True)
    return 1 if count.failed else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="scripts/test.py",
        description="Check the code (ruff, mypy) and run all tests. With -k or paths: only the tests they name.",
    )
    parser.add_argument(
        "--all", action="store_true", help="host tests on every supported Blender: " + ", ".join(BLENDERS)
    )
    parser.add_argument(
        "--window",
        action="store_true",
        help="also the tests that need a display and a Blender, on PATH or named by LINKWRIGHT_BLENDER",
    )
    parser.add_argument("-k", metavar="EXPR", help="only tests whose names match, as in pytest")
    parser.add_argument("paths", nargs="*", metavar="PATH", help="test files or folders, or tests as FILE::NAME")
    return parser


def _words(options: argparse.Namespace, paths: list[str]) -> list[str]:
    return [*(["-k", options.k] if options.k else []), *paths]


def _by_room(paths: list[str]) -> dict[str, list[str]]:
    """Sort the paths given by the room of tests they lie in; all rooms but the window's when there are none."""
    if not paths:
        return {room: [f"tests/{room}"] for room in ROOMS}
    rooms: dict[str, list[str]] = {}
    for word in paths:
        place, colons, name = word.partition("::")
        path = next((p for p in (Path.cwd() / place, ROOT / place) if p.exists()), None)
        if path is None:
            _setup.fail(f"there is no {place} to test")
        path = path.resolve()
        inside = path.relative_to(ROOT.resolve()).parts if path.is_relative_to(ROOT.resolve()) else ()
        if inside == ("tests",) or not inside:
            if not path.samefile(ROOT / "tests") and not path.samefile(ROOT):
                _setup.fail(f"{place} is not in the tests of this project")
            for room in ROOMS:
                rooms.setdefault(room, []).append(f"tests/{room}")
        elif inside[0] == "tests" and inside[1] in LIMIT_S:
            rooms.setdefault(inside[1], []).append("/".join(inside) + colons + name)
        else:
            _setup.fail(f"{place} is not in the tests of this project")
    return rooms


def _rooms(words: dict[str, list[str]], *, narrowed: bool) -> Count:
    """Run the rooms of tests in two rows, that of the rules aside: what it says is printed when all is done."""

    def row(jobs: Sequence[tuple[str, list[str]]], aside: "Aside | None" = None) -> Count:
        of_jobs = (_pytest(room, sys.executable, its, may_be_empty=narrowed, aside=aside) for room, its in jobs)
        return sum(of_jobs, start=Count())

    if len(words) < 2 or "rules" not in words:
        return row(list(words.items()))
    first, second = [(room, its) for room, its in words.items() if room != "rules"], [("rules", words["rules"])]
    if ("published", ["tests/published"]) in first:
        files = sorted(f"tests/published/{path.name}" for path in (ROOT / "tests" / "published").glob("test_*.py"))
        first[first.index(("published", ["tests/published"]))] = (
            "published",
            [f for f in files if f not in files[::6]],
        )
        second.append(("published", files[::6]))
    off = threading.Event()
    with tempfile.TemporaryFile() as said, ThreadPoolExecutor(1) as beside:
        others = beside.submit(row, second, Aside(said, off))
        try:
            return row(first, Aside(None, off)) + others.result()
        finally:
            off.set()
            said.seek(0)
            sys.stdout.flush()
            sys.stdout.buffer.write(said.read())
            sys.stdout.flush()


def _static_checks() -> Count:
    count = Count()
    commands = [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]]
    if sys.version_info[:2] != TYPES_PYTHON:
        commands.remove(["mypy"])
        _say("SKIPPED: mypy: types are checked on Python 3.11, against the oldest numpy there may be")
        count += Count(skipped=1)
    for words in commands:
        quiet = ["--no-cache"] if words[0] == "ruff" else []
        _say(" ".join(words))
        code = _timed([sys.executable, "-m", *words, *quiet], STATIC_LIMIT_S)
        count += FAILED if code else PASSED
    return count


def _other_blenders(words: list[str], *, may_be_empty: bool) -> Count:
    """Run the host tests on each supported Blender but the environment's own, in an environment made for it."""
    count = Count()
    own_python = "{}.{}".format(*sys.version_info[:2])
    for blender, (version, bpy) in BLENDERS.items():
        if version == own_python and bpy is None:
            continue
        found, _ = _setup.find_python((version,))
        if found is None:
            _say(f"SKIPPED: Blender {blender} needs Python {version}, and none was found here")
            count += Count(skipped=1)
            continue
        folder = _setup.VENV + "-" + blender
        try:
            _environment.make(folder, found[1], version, tests=True, blender=True, bpy=bpy)
        except _environment.SetupFailed as failure:
            _say(f"SKIPPED: Blender {blender}: {failure}")
            count += Count(skipped=1)
            continue
        _say(f"host tests on Blender {blender}")
        count += _pytest("host", _setup.venv_python(folder), words, may_be_empty=may_be_empty)
    return count


def _window(words: list[str]) -> Count:
    """Run the tests that drive a real Blender window, where there is one to drive."""
    program, reason = _window_blender.find()
    if program is not None:
        _say(f"the window tests drive {program}")
        return _pytest("window", sys.executable, words, may_be_empty=False)
    _say(f"SKIPPED: the window tests: {reason}")
    return Count(skipped=1)


@dataclass(frozen=True, slots=True)
class Aside:
    """How a room runs beside another: where what it says goes, None for the terminal, and what calls it off."""

    said: IO[bytes] | None
    off: threading.Event


def _pytest(room: str, python: str, words: list[str], *, may_be_empty: bool, aside: Aside | None = None) -> Count:
    """Run one room of tests in a process of its own and count its results."""
    said = None if aside is None else aside.said
    _say(f"tests/{room}", said)
    with tempfile.TemporaryDirectory(prefix="linkwright-tests-") as place:
        results = Path(place) / "results.xml"
        start = [python, "-c", WITHOUT_BLENDER] if room == "rules" else [python, "-m", "pytest"]
        code = _timed([*start, f"--junit-xml={results}", *words], LIMIT_S[room], aside)
        if code == NO_TESTS and may_be_empty:
            return Count()
        count = _read_results(results)
        # A process may fail without a failed test: hung, crashed at its exit, or with nothing to run.
        if code != 0 and count.failed == 0:
            why = "there was no test" if code == NO_TESTS else f"exit code {code}"
            _say(f"tests/{room} FAILED as a whole: {why}", said)
            count += FAILED
        return count


def _read_results(path: Path) -> Count:
    if not path.exists():
        return Count()
    count = Count()
    for suite in ElementTree.parse(path).getroot().iter("testsuite"):
        tests, failures, errors, skipped = (int(suite.get(k, 0)) for k in ("tests", "failures", "errors", "skipped"))
        count += Count(tests - failures - errors - skipped, failures + errors, skipped)
    return count


def _timed(command: list[str], limit_s: float, aside: Aside | None = None) -> int:
    if aside is None:
        code = run_limited(command, limit_s)
    else:
        code = run_limited(command, limit_s, output=aside.said, threads=1, off=aside.off)
    if code == TIMED_OUT:
        said = None if aside is None else aside.said
        _say(f"not done after {limit_s:.0f} s, ended: {' '.join(command[1:4])}", said)
    return code


def _say(line: str, said: IO[bytes] | None = None) -> None:
    if said is None:
        print(f"--- {line}", flush=True)
    else:
        said.seek(0, os.SEEK_END)
        said.write(f"--- {line}\n".encode())
        said.flush()
