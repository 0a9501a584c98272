"""The solver from a session: offered, taken, left, stopped, and never out of date."""

from __future__ import annotations

import threading

import pytest

from fitkit.fit.brief import Brief, Ease
from fitkit.fit.size import solve_size
from fitkit.panels.solving import SolverRun
from fitkit.panels.state import Solving


def test_the_offer_is_the_solvers_own_answer(session):
    session.start_solver()
    state = session.wait_for_solver()
    alone = solve_size(state.wearer, state.piece, state.brief)
    assert state.solving.stage == "offer"
    assert state.solving.queries > 0
    assert state.solving.offer.feasible == alone.feasible
    assert (state.solving.offer.placement.matrix == alone.placement.matrix).all()


def test_an_offer_changes_nothing_until_it_is_taken(session):
    before = session.state.inputs
    session.start_solver()
    session.wait_for_solver()
    assert session.state.inputs == before
    offer = session.state.solving.offer
    state = session.take()
    assert state.placement.mean_size == pytest.approx(offer.placement.mean_size)
    assert state.solving.stage == "idle"
    assert session.undo().inputs == before


def test_an_offer_can_be_left(session):
    before = session.state.inputs
    session.start_solver()
    session.wait_for_solver()
    state = session.leave()
    assert state.solving.offer is None
    assert state.inputs == before
    assert "no answer of the solver" in session.take().message


def test_sliders_may_move_while_the_solver_runs(session):
    session.start_solver()
    state = session.edit(size_percent=103.0)
    assert state.answer is not None
    assert session.wait_for_solver().solving.stage == "offer"
    assert session.state.values["size_percent"] == 103.0


def test_an_offer_is_dropped_when_the_question_changes(session):
    session.start_solver()
    session.wait_for_solver()
    state = session.ask(Brief(ease={"crown": Ease(least_mm=30)}))
    assert state.solving.offer is None


def test_a_run_for_an_older_question_offers_nothing(session):
    session.start_solver()
    session.type_in("head_breadth_mm", "152")
    assert session.wait_for_solver().solving.stage == "idle"


def test_the_solver_stops_when_asked_and_changes_nothing(session):
    before = session.state.inputs
    session.start_solver()
    session.stop_solver()
    state = session.wait_for_solver()
    assert state.solving.stage == "stopped"
    assert state.solving.offer is None
    assert state.inputs == before


def test_the_solver_needs_a_record_and_a_piece(session):
    session.type_in("head_length_mm", "19")
    state = session.start_solver()
    assert state.solving.stage == "idle"
    assert "needs a record and a piece" in state.message


def test_solving_in_code_asks_waits_and_takes(session):
    state = session.solve()
    alone = solve_size(state.wearer, state.piece, state.brief)
    assert state.placement.mean_size == pytest.approx(alone.placement.mean_size)
    assert state.answer.verdict == ("fits" if alone.feasible else "does not fit")


def test_a_breakdown_is_reported_and_its_traceback_goes_on(session, monkeypatch):
    seen: list[type[BaseException] | None] = []
    monkeypatch.setattr(threading, "excepthook", lambda args: seen.append(args.exc_type))
    monkeypatch.setattr("fitkit.panels.solving.solve_size", lambda *_: 1 / 0)
    reports: list[Solving] = []
    state = session.state
    run = SolverRun(state.wearer, state.piece, state.brief, reports.append)
    assert run.wait(30)
    assert [report.stage for report in reports] == ["failed"]
    assert "fault of fitkit" in reports[0].problem
    assert seen == [ZeroDivisionError]
