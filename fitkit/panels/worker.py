"""Longer work beside the kernel's own thread: one piece at a time, the newest wins."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Generic, Literal, TypeVar

from fitkit.errors import FitkitError

Made = TypeVar("Made")
#: Called with words on how far the work has come; ends work that is no longer wanted.
Tell = Callable[[str], None]

#: What is said when the work broke down.
FAULT = "This broke down: it is a fault of fitkit, not of your input."
#: Said until the work begins, and when it does.
WAITING, WORKING = "Waiting for other work to end.", "Working on it."
#: One piece of work at a time in this process: the style of figures is shared by all.
TURN = threading.Lock()


@dataclass(frozen=True, kw_only=True, eq=False)
class Work(Generic[Made]):
    """How it stands with one piece of work."""

    stage: Literal["idle", "working", "done", "failed"] = "idle"
    #: How far it has come, for people; empty unless it is being done.
    words: str = ""
    #: What came of it; None until it is done.
    made: Made | None = None
    #: What went wrong; empty unless it failed.
    problem: str = ""
    #: Time from the asking to the end. [s]
    took_s: float = 0.0


class LetGo(Exception):  # nothing went wrong: the work is no longer wanted
    """The work was let go, or newer work was asked for."""


class Worker(Generic[Made]):
    """
    Does one piece of work at a time on a thread of its own.

    Nothing can end a thread from outside: work that was let go runs on to the next
    step at which it tells how far it has come, and whatever comes of it is dropped.

    Parameters
    ----------
    report : callable
        Called with every new ``Work``, often from the worker's thread.
    """

    def __init__(self, report: Callable[[Work[Made]], None]) -> None:
        self.work: Work[Made] = Work()
        self._report = report
        self._lock = threading.RLock()
        self._wanted: object = None
        self._thread: threading.Thread | None = None

    def start(self, job: Callable[[Tell], Made]) -> None:
        """Begin work; older work that is not yet done is let go."""
        wanted = object()
        with self._lock:
            self._wanted = wanted
            self._set(Work(stage="working", words=WAITING))
        self._thread = threading.Thread(
            target=self._do, args=(wanted, job), name="fitkit-worker", daemon=True
        )
        self._thread.start()

    def let_go(self) -> None:
        """Want the work no longer, and forget what came of it."""
        with self._lock:
            self._wanted = None
            self._set(Work())

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until the newest work has ended; tell whether it has."""
        if self._thread is None:
            return True
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _do(self, wanted: object, job: Callable[[Tell], Made]) -> None:
        began = time.monotonic()
        last: Work[Made] = Work(stage="failed", problem=FAULT)
        try:
            with TURN:
                self._tell(wanted, WORKING)
                made = job(lambda words: self._tell(wanted, words))
            last = Work(stage="done", made=made)
        except LetGo:
            pass
        except FitkitError as problem:
            last = Work(stage="failed", problem=str(problem))
        finally:  # a fault goes on to the thread's hook, which shows its traceback
            with self._lock:
                if self._wanted is wanted:
                    self._set(replace(last, took_s=time.monotonic() - began))

    def _tell(self, wanted: object, words: str) -> None:
        with self._lock:
            if self._wanted is wanted:
                self._set(Work(stage="working", words=words))
            if self._wanted is not wanted:
                raise LetGo

    def _set(self, work: Work[Made]) -> None:
        self.work = work
        self._report(work)
