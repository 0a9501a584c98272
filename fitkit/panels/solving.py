"""The solver on a thread of its own: watched, stopped, its answer offered."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import replace

from fitkit.errors import FitkitError
from fitkit.fit.brief import Brief
from fitkit.fit.size import solve_size
from fitkit.geometry.distance import Nearest, SurfaceTree
from fitkit.geometry.mesh import FloatArray
from fitkit.panels.state import Solving
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer

#: Least time between two reports of progress. [s]
REPORT_EVERY_S = 0.2
#: What is said when the solver broke down.
FAULT = "The solver broke down: this is a fault of fitkit, not of your input."


class Stopped(Exception):  # nothing went wrong: the maker stopped it
    """The solver was asked to stop."""


class WatchedTree(SurfaceTree):
    """A tree of closest points that says when it is asked, and can refuse to go on."""

    def __init__(self, tree: SurfaceTree, asked: Callable[[], None]) -> None:
        super().__init__(tree.mesh)
        self._tree = tree
        self._asked = asked

    def nearest(self, points: FloatArray) -> Nearest:
        """Find closest points as the tree beneath does, unless told to stop."""
        self._asked()
        return self._tree.nearest(points)


class SolverRun:
    """
    One run of the solver.

    Parameters
    ----------
    wearer, piece, brief
        As for ``solve_size``.
    report : callable
        Called from the solver's thread with each ``Solving``; the last one has a stage
        other than "running".
    """

    def __init__(
        self, wearer: Wearer, piece: Piece, brief: Brief, report: Callable[[Solving], None]
    ) -> None:
        self._wearer, self._brief, self._report = wearer, brief, report
        self._piece = replace(piece, tree=WatchedTree(piece.tree, self._asked))
        self._stop = threading.Event()
        self._started = self._told = time.monotonic()
        self._queries = 0
        self._thread = threading.Thread(target=self._run, name="fitkit-solver", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ask the solver to stop; its last report follows soon."""
        self._stop.set()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the last report has been made; tell whether it has."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        last = Solving(stage="failed", problem=FAULT)
        try:
            answer = solve_size(self._wearer, self._piece, self._brief)
            last = Solving(stage="offer", offer=answer)
        except Stopped:
            pass
        except FitkitError as problem:
            last = Solving(stage="failed", problem=str(problem))
        finally:  # a fault goes on to the thread's hook, which shows its traceback
            if self._stop.is_set():
                last = Solving(stage="stopped")
            self._report(self._timed(last))

    def _asked(self) -> None:
        if self._stop.is_set():
            raise Stopped
        self._queries += 1
        if time.monotonic() - self._told > REPORT_EVERY_S:
            self._told = time.monotonic()
            self._report(self._timed(Solving(stage="running")))

    def _timed(self, solving: Solving) -> Solving:
        elapsed = time.monotonic() - self._started
        return replace(solving, queries=self._queries, elapsed_s=elapsed)
