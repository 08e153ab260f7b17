"""Slow rules are generators: they yield the share done (0 to 1) and return their result.

Whoever runs one decides how: to the end (`finish`), or a slice at a time from a timer.
"""

from collections.abc import Callable, Generator
from typing import TypeVar

T = TypeVar("T")

Steps = Generator[float, None, T]


def finish(steps: Steps[T], watch: Callable[[float], None] | None = None) -> T:
    """Run a slow rule to its end and return its result.

    ``watch`` is called with every share done, 0 to 1.
    """
    while True:
        try:
            share = next(steps)
        except StopIteration as stop:
            result: T = stop.value
            return result
        if watch is not None:
            watch(share)


def part(steps: Steps[T], begin: float, end: float) -> Steps[T]:
    """Run a slow rule as the part ``begin`` to ``end`` of a longer one: ``x = yield from part(...)``."""
    while True:
        try:
            share = next(steps)
        except StopIteration as stop:
            result: T = stop.value
            return result
        yield begin + (end - begin) * share
