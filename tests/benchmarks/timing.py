"""Timing for the benchmarks: best of a few, printed beside what it is compared with."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line of a benchmark."""

    what: str
    seconds: float
    #: What it is compared with, and how long that took; None if with nothing.
    beside: str | None = None
    beside_seconds: float | None = None

    def line(self) -> str:
        """The line as printed."""
        text = f"{self.what:<62} {1e3 * self.seconds:9.1f} ms"
        if self.beside is None or self.beside_seconds is None:
            return text
        ratio = self.seconds / self.beside_seconds
        return (
            f"{text}   {ratio:8.3f} x  {self.beside} ({1e3 * self.beside_seconds:.1f} ms)"
        )


def best_of(work: Callable[[], object], *, times: int = 5) -> float:
    """Least time of several runs, after one that warms up. [s]"""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)
