"""Openings named by the maker."""

from __future__ import annotations

import pytest

from fitkit.errors import FitkitError
from fitkit.fit.sight import check_sight
from fitkit.panels.openings import choice_of, with_openings_named


def names(piece):
    return [(opening.name, opening.kind) for opening in piece.openings]


def test_nothing_said_changes_nothing(piece):
    assert names(with_openings_named(piece, {})) == names(piece)
    assert [choice_of(o) for o in piece.openings] == ["neck", "eye_left", "eye_right"]


def test_a_name_that_is_taken_goes_to_the_later_one(piece):
    named = with_openings_named(piece, {2: "eye_left"})
    assert names(named) == [("neck", "neck"), ("other_1", "other"), ("eye_left", "eye")]


def test_two_openings_can_change_places(piece):
    named = with_openings_named(piece, {1: "eye_right", 2: "eye_left"})
    assert [name for name, _ in names(named)] == ["neck", "eye_right", "eye_left"]


def test_several_vents_have_names_of_their_own(piece):
    named = with_openings_named(piece, {1: "vent", 2: "vent"})
    assert names(named)[1:] == [("vent_1", "vent"), ("vent_2", "vent")]


def test_only_names_change(piece):
    named = with_openings_named(piece, {1: "mouth"})
    assert named.tree is piece.tree
    assert named.facing is piece.facing
    assert named.openings[1].rim is piece.openings[1].rim


def test_sight_is_answered_for_the_opening_that_was_named(session):
    state = session.name_opening(1, "vent")
    assert state.answer.sight["left"].opening == "eye_right"
    again = check_sight(state.wearer, state.piece, state.placement)
    assert state.answer.sight["left"].margin_mm == again["left"].margin_mm
    assert session.undo().answer.sight["left"].opening == "eye_left"


def test_the_last_word_on_an_opening_stands(session):
    session.name_opening(1, "mouth")
    state = session.name_opening(1, "eye_left")
    assert [name for name, _ in names(state.piece)] == ["neck", "eye_left", "eye_right"]


def test_an_unknown_kind_is_a_fault_of_the_caller(session):
    with pytest.raises(FitkitError, match="no kind of opening 'chimny'"):
        session.name_opening(1, "chimny")


def test_another_piece_starts_with_its_own_names(session, shell_files):
    session.name_opening(1, "vent")
    session.use_piece(shell_files.piece.with_name("other.stl"))
    assert session.state.inputs.openings == {}
