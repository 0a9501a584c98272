"""A session saved and opened: the same inputs, the same figures, and no surprises."""

from __future__ import annotations

import json
import shutil

import pytest

from fitkit.fit.brief import Brief, Ease
from fitkit.panels.controller import SessionController
from fitkit.panels.pads import pad_choice

SOFT = pad_choice(
    name="soft",
    foam="hr 40",
    layout="ring",
    squeeze_percent=20,
    sheets_mm=[6, 10],
    wall_g_cm3=0.4,
)


@pytest.fixture
def saved(session, tmp_path):
    """A session with something set everywhere, and its file."""
    session.edit(size_percent=103.25, front_mm="-1,5", top_cut_mm=20.0)
    session.ask(
        Brief(ease={"crown": Ease(least_mm=9, most_mm=40)}, hinge_tolerance_mm=None)
    )
    session.edit(back_least_mm="9,5", size_least_percent=90.0)
    session.type_in("ear_length_mm", "60 61")
    session.name_opening(1, "vent")
    session.keep("first")
    session.keep_pads(SOFT)
    session.save(tmp_path / "ida.session.json")
    return session, tmp_path / "ida.session.json"


def edited(path, change) -> None:
    content = json.loads(path.read_text(encoding="utf-8"))
    change(content)
    path.write_text(json.dumps(content), encoding="utf-8")


def test_a_session_opens_with_the_same_inputs_and_figures(saved, shell_files):
    session, file = saved
    before = session.state
    fresh = SessionController()
    after = fresh.open(file, pieces=shell_files.piece.parent)
    assert after.inputs == before.inputs
    assert after.message == "Opened; the figures are the same as when it was saved."
    for zone, ease in before.answer.ease.by_zone.items():
        assert after.answer.ease.by_zone[zone].least_mm == ease.least_mm


def test_boxes_that_were_wrong_are_saved_as_typed(saved):
    session, file = saved
    session.edit(up_mm="about two")
    session.type_in("head_length_mm", "19")
    session.save(file)
    session.edit(up_mm=0.0)
    state = session.open(file)
    assert state.inputs.numbers["up_mm"] == "about two"
    assert state.inputs.typed.readings["head_length_mm"] == "19"
    assert state.answer is None


def test_opening_can_be_undone(saved):
    session, file = saved
    session.edit(size_percent=90.0)
    session.open(file)
    assert session.undo().values["size_percent"] == 90.0


def test_a_piece_that_has_changed_since_is_told(saved, shell_files, tmp_path):
    _, file = saved
    for name in ("shell.stl", "shell.notes.json"):
        shutil.copy(shell_files.piece.with_name(name), tmp_path / name)
    notes = json.loads((tmp_path / "shell.notes.json").read_text())
    notes["layers"]["inward"][0]["thickness_mm"] = 5
    (tmp_path / "shell.notes.json").write_text(json.dumps(notes))
    state = SessionController().open(file)
    assert state.message == (
        "Opened; the figures differ by up to 2 mm from those saved: the files of the "
        "piece have changed since."
    )
    assert state.inputs.openings == {}


def test_a_piece_that_is_not_here_is_asked_for(saved):
    _, file = saved
    state = SessionController().open(file)
    assert "choose the piece: shell.stl is not here" in state.message
    assert state.answer is None


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda c: c.pop("fitkit_session"), "is no session"),
        (lambda c: c.update(fitkit_session=2), "fitkit_session must be 1; got 2"),
        (lambda c: c["piece"].update(file="../../etc/passwd"), "name of a file alone"),
        (lambda c: c.update(record=[1]), "record must be names and values"),
        (lambda c: c["brief"]["ease"].update(crown=[9, 2]), "most_mm must be at least"),
        (lambda c: c["brief"].update(size_least=104), "Sizes are factors, not percent"),
        (lambda c: c.update(kept=[3]), "ida.session.json"),
        (lambda c: c["pads"][0].update(foam="hr 41"), "Did you mean 'hr 40'"),
        (lambda c: c.update(pads=[3]), "ida.session.json"),
    ],
)
def test_a_file_that_cannot_be_used_says_why_and_changes_nothing(saved, change, said):
    session, file = saved
    before = session.state.inputs
    edited(file, change)
    state = session.open(file)
    assert "was not opened" in state.message
    assert said in state.message
    assert state.inputs == before


@pytest.mark.parametrize(
    "text", ["", "{", "[]", "null", '{"fitkit_session": 1}', "[" * 9000]
)
def test_broken_text_is_no_session(session, tmp_path, text):
    file = tmp_path / "broken.session.json"
    file.write_text(text)
    assert "was not opened" in session.open(file).message


def test_unknown_boxes_and_openings_of_a_later_version_are_passed_over(saved):
    session, file = saved

    def add(content):
        content["numbers"]["tilt_of_the_moon_deg"] = 3
        content["openings"]["0"] = "chimney"

    edited(file, add)
    state = session.open(file)
    assert "figures are the same" in state.message
    assert "tilt_of_the_moon_deg" not in state.inputs.numbers
    assert 0 not in state.inputs.openings


def test_a_session_saved_before_there_were_pads_opens_without_any(saved):
    session, file = saved
    edited(file, lambda content: content.pop("pads"))
    state = session.open(file)
    assert "figures are the same" in state.message
    assert state.inputs.pads == ()


def test_a_folder_that_cannot_be_written_is_told(session, tmp_path):
    state = session.save(tmp_path / "nowhere" / "ida.session.json")
    assert "was not saved" in state.message
