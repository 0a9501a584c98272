"""Edits in, whole states out: answers, problems, undo, and what is told to watchers."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from fitkit.assess import assess
from fitkit.errors import FitkitError, RecordError
from fitkit.fit.brief import Brief, Ease
from fitkit.fit.ease import ease
from fitkit.fit.placement import Placement
from fitkit.panels.controller import MOST_KEPT, SessionController
from fitkit.sheets.report import Report
from fitkit.wearer.record import make_record
from fitkit.wearer.record_files import read_record, record_to_json


def least_mm(state) -> dict[str, float]:
    return {zone: one.least_mm for zone, one in state.answer.ease.by_zone.items()}


# -- answers ----------------------------------------------------------------------------


def test_an_edit_is_answered_with_the_librarys_own_figures(session):
    state = session.edit(size_percent=103.0, front_mm=2.0, pitch_deg=4.0)
    placement = Placement(size=1.03, shift_mm=(0, 2, 0), pitch_deg=4.0)
    expected = ease(state.wearer, state.piece, placement, brief=state.brief)
    np.testing.assert_allclose(state.answer.ease.ease_mm, expected.ease_mm, atol=1e-9)


def test_the_last_of_many_edits_decides_the_state(session):
    for size in (90.0, 140.0, 97.5, 101.0):
        state = session.edit(size_percent=size, gesture="drag")
    assert state.placement.mean_size == pytest.approx(1.01)
    fresh = session.edit(size_percent=100.0) and session.edit(size_percent=101.0)
    assert least_mm(state) == least_mm(fresh)


def test_moving_a_cutting_plane_keeps_the_very_answer(session):
    before = session.look_closer()
    after = session.edit(side_cut_mm=12.0, jaw_open_deg=5.0)
    assert after.answer is before.answer
    assert after.closer is before.closer


def test_a_changed_reading_changes_head_and_answer(session):
    before = session.state
    after = session.type_in("head_breadth_mm", "155")
    assert after.wearer is not before.wearer
    assert least_mm(after)["temple_left"] < least_mm(before)["temple_left"]


def test_a_brief_of_ones_own_replaces_the_usual_one(session):
    usual = session.edit(size_percent=102.0)
    state = session.ask(Brief(ease={"crown": Ease(least_mm=50)}))
    assert state.answer.verdict == "does not fit"
    assert state.answer.reasons[0].startswith("Crown: ")
    assert session.ask(None).answer.verdict == usual.answer.verdict


def test_a_closer_look_is_the_full_assessment(session):
    state = session.look_closer()
    full = assess(state.wearer, state.piece, state.placement, state.brief)
    assert (state.answer.verdict, state.answer.reasons) == (full.verdict, full.reasons)
    assert state.closer.changes == full.changes
    assert state.closer.uncertainty.interval == full.uncertainty.interval
    assert session.edit(size_percent=101.0).closer is None


# -- problems ---------------------------------------------------------------------------


def test_a_wrong_number_leaves_its_problem_and_no_old_answer(session):
    assert session.state.answer is not None
    state = session.edit(front_mm="12.x")
    assert set(state.problems) == {"front_mm"}
    assert "12.x" in state.problems["front_mm"]
    assert state.answer is None
    assert state.closer is None
    assert state.placement is None
    assert state.inputs.numbers["front_mm"] == "12.x"


def test_a_mended_number_brings_the_answer_back(session):
    before = least_mm(session.state)
    session.edit(up_mm="high")
    assert least_mm(session.edit(up_mm="0")) == before


def test_a_wrong_reading_leaves_its_problem_and_no_old_answer(session):
    state = session.type_in("head_length_mm", "19")
    assert "did you mean 190 mm?" in state.problems["head_length_mm"]
    assert state.wearer is None
    assert state.answer is None


def test_a_piece_that_cannot_be_read_is_a_problem_not_an_error(session, tmp_path):
    broken = tmp_path / "broken.stl"
    broken.write_bytes(b"solid nothing at all")
    state = session.use_piece(broken)
    assert "broken.stl" in state.problems["piece"]
    assert state.answer is None


def test_a_session_without_a_piece_has_no_answer_and_no_problem(shell_files):
    state = SessionController(record=shell_files.record).state
    assert state.answer is None
    assert state.problems == {}
    assert not state.ready


def test_an_unknown_box_is_a_fault_of_the_caller(session):
    with pytest.raises(FitkitError, match="Did you mean 'front_mm'"):
        session.edit(frnt_mm=3.0)


def test_a_file_that_is_no_record_leaves_the_form_as_it_is(session):
    before = session.state
    state = session.use_record_text('{"colour": "red"}')
    assert state.inputs == before.inputs
    assert "was not opened" in state.message
    assert "fitkit_record" in state.message


# -- undo -------------------------------------------------------------------------------


def test_undo_and_redo_go_through_every_change(session):
    sizes = [100.0, 101.0, 102.0, 103.0]
    for size in sizes[1:]:
        session.edit(size_percent=size)
    back = [session.undo().values["size_percent"] for _ in sizes[1:]]
    assert back == [102.0, 101.0, 100.0]
    forth = [session.redo().values["size_percent"] for _ in sizes[1:]]
    assert forth == sizes[1:]
    assert session.redo().message == "There is nothing to redo."


def test_one_gesture_is_undone_as_one(session):
    for step in range(20):
        session.edit(front_mm=float(step), gesture="a drag")
    session.edit(up_mm=3.0, gesture="another")
    assert session.undo().values["front_mm"] == 19.0
    assert session.undo().values["front_mm"] == 0.0
    assert session.undo().message == "There is nothing to undo."


def test_undo_brings_back_a_record_and_its_answer(session):
    before = session.state
    session.use_record(make_record(head_circumference_mm=600))
    session.type_in("name", "Someone else")
    session.undo()
    state = session.undo()
    assert state.inputs == before.inputs
    assert state.wearer is before.wearer
    assert least_mm(state) == least_mm(before)


def test_a_new_change_ends_what_could_be_redone(session):
    session.edit(up_mm=1.0)
    session.undo()
    session.edit(up_mm=2.0)
    assert session.state.future == ()


# -- placements kept, files, watchers -----------------------------------------------------


def test_a_kept_placement_can_be_gone_back_to_without_moving_the_cuts(session):
    session.edit(size_percent=104.0, side_cut_mm=9.0)
    session.keep("tight")
    session.edit(size_percent=90.0, side_cut_mm=-9.0)
    state = session.go_back_to(0)
    assert state.values["size_percent"] == 104.0
    assert state.values["side_cut_mm"] == -9.0
    assert session.drop(0).inputs.kept == ()


def test_no_more_placements_are_kept_than_can_be_compared(session):
    for size in range(MOST_KEPT + 1):
        session.edit(size_percent=100.0 + size)
        state = session.keep()
    assert len(state.inputs.kept) == MOST_KEPT
    assert "drop one first" in state.message


def test_the_record_is_saved_as_the_form_stands(session, tmp_path):
    session.type_in("head_length_mm", "191 192")
    session.save_record(tmp_path / "ida.json")
    saved = read_record(tmp_path / "ida.json")
    assert saved.readings["head_length_mm"].values_mm == (191.0, 192.0)
    again = SessionController().use_record_text(record_to_json(saved))
    assert again.checked.record == saved


def test_a_record_with_a_slip_is_not_saved(session, tmp_path):
    session.type_in("head_length_mm", "19")
    state = session.save_record(tmp_path / "ida.json")
    assert "not saved" in state.message
    assert not (tmp_path / "ida.json").exists()


def test_a_missing_record_is_refused_at_once(tmp_path):
    with pytest.raises(RecordError, match=r"nobody\.json"):
        SessionController(record=tmp_path / "nobody.json")


@pytest.mark.usefixtures("first_question")
def test_a_report_of_the_present_placement_is_written(session, tmp_path):
    state = session.write_report(tmp_path / "report")
    assert (tmp_path / "report" / "report.html").is_file()
    assert "report.html" in state.message
    session.edit(size_percent="x")
    assert "no answer to report" in session.write_report(tmp_path / "other").message


def test_a_report_is_of_the_fit_as_it_stood_while_the_maker_goes_on(
    session, tmp_path, monkeypatch
):
    gate, sizes, said = threading.Event(), [], []

    def slow_report(assessment, folder, *, overwrite, tell):  # noqa: ARG001
        tell("Drawing")
        assert gate.wait(600)
        sizes.append(assessment.placement.mean_size)
        return Report(folder=folder, page=folder / "report.html", files=())

    monkeypatch.setattr("fitkit.sheets.report.write_report", slow_report)
    session.watch(lambda state: said.append(state.message))
    session.start_report(tmp_path)
    session.edit(size_percent=96.0)
    gate.set()
    assert session.wait_for_report().message.endswith("report.html.")
    assert sizes == [1.0]
    assert "Drawing" in said


def test_a_report_that_cannot_be_written_says_why(session, tmp_path):
    (tmp_path / "taken").write_text("something else")
    state = session.write_report(tmp_path / "taken")
    assert "The report was not written: " in state.message


def test_watchers_are_told_every_state_until_they_leave(session):
    told: list[int] = []
    forget = session.watch(lambda state: told.append(state.revision))
    first = session.edit(up_mm=1.0)
    second = session.edit(up_mm="x")
    forget()
    session.edit(up_mm=2.0)
    assert told == [first.revision, second.revision]
    assert first.revision < second.revision
