"""Work beside the kernel's thread: told, let go, newest wins, faults shown."""

from __future__ import annotations

import threading

import pytest

from fitkit.errors import FitkitError
from fitkit.panels.worker import FAULT, Work, Worker

LONG_S = 600.0


@pytest.fixture
def told() -> list[Work[str]]:
    return []


@pytest.fixture
def worker(told):
    return Worker(told.append)


def waiting_for(gate: threading.Event, made: str):
    """Work that ends once the gate opens."""

    def job(tell):
        tell(f"{made} begins")
        assert gate.wait(LONG_S)
        tell(f"{made} goes on")
        return made

    return job


def test_work_is_told_from_beginning_to_end(worker, told):
    worker.start(lambda tell: tell("half way") or "done so")
    assert worker.wait(LONG_S)
    assert [work.stage for work in told] == ["working", "working", "working", "done"]
    assert told[2].words == "half way"
    assert worker.work.made == "done so"
    assert worker.work.took_s > 0


def test_the_starter_is_not_kept_waiting(worker):
    gate = threading.Event()
    worker.start(waiting_for(gate, "slow"))
    assert worker.work.stage == "working"
    gate.set()
    worker.wait(LONG_S)
    assert worker.work.made == "slow"


def test_newer_work_wins_and_older_is_never_told(worker, told):
    gate = threading.Event()
    worker.start(waiting_for(gate, "old"))
    worker.start(lambda _: "new")
    gate.set()
    assert worker.wait(LONG_S)
    assert worker.work.made == "new"
    assert [work.made for work in told if work.made] == ["new"]


def test_work_that_was_let_go_is_dropped(worker, told):
    gate = threading.Event()
    worker.start(waiting_for(gate, "unwanted"))
    worker.let_go()
    gate.set()
    assert worker.wait(LONG_S)
    assert worker.work.stage == "idle"
    assert told[-1].stage == "idle"


def test_work_goes_on_one_at_a_time_even_of_two_workers(worker):
    gate, busy, most = threading.Event(), [], []

    def job(_):
        busy.append(1)
        most.append(len(busy))
        gate.wait(0.05)
        busy.pop()
        return "x"

    other: Worker[str] = Worker(lambda _: None)
    worker.start(job)
    other.start(job)
    assert worker.wait(LONG_S)
    assert other.wait(LONG_S)
    assert most == [1, 1]


def test_a_problem_of_the_input_is_told_in_its_words(worker):
    def refused(_):
        raise FitkitError("Make it larger.")

    worker.start(refused)
    worker.wait(LONG_S)
    assert (worker.work.stage, worker.work.problem) == ("failed", "Make it larger.")


def test_a_fault_is_told_as_ours_and_its_traceback_shown(worker, monkeypatch):
    faults = []
    monkeypatch.setattr(threading, "excepthook", faults.append)
    worker.start(lambda _: 1 / 0)
    worker.wait(LONG_S)
    assert (worker.work.stage, worker.work.problem) == ("failed", FAULT)
    assert [fault.exc_type for fault in faults] == [ZeroDivisionError]
    worker.start(lambda _: "well again")
    worker.wait(LONG_S)
    assert worker.work.made == "well again"
