"""States as the browser gets them, and as words."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fitkit.panels.asking import ASK_BOXES
from fitkit.panels.boxes import BOXES
from fitkit.panels.controller import SessionController
from fitkit.panels.message import answer_words, box_messages, state_message
from fitkit.wearer.zones import ZONES


def sendable(message) -> str:
    return json.dumps({k: v for k, v in message.items() if k != "ease"}, allow_nan=False)


def test_a_message_holds_the_answers_figures(session):
    state = session.edit(size_percent=103.0)
    message = state_message(state)
    sendable(message)
    ease = np.frombuffer(message["ease"], np.float32)
    np.testing.assert_allclose(ease, state.answer.ease.ease_mm, atol=1e-4)
    for row in message["zones"]:
        assert row["least_mm"] == state.answer.ease.by_zone[row["zone"]].least_mm
    spare = [row["spare_mm"] for row in message["zones"]]
    assert spare == sorted(spare)
    assert message["asked"] == [state.brief.ease[zone].least_mm for zone in ZONES]
    assert message["values"]["size_percent"] == 103.0
    assert message["placed"]


def test_a_message_about_a_problem_holds_no_old_figure(session):
    message = state_message(session.edit(front_mm="12.x"))
    sendable(message)
    assert message["typed"]["front_mm"] == "12.x"
    assert "front_mm" in message["problems"]
    assert not message["placed"]
    assert message["verdict"] == ""
    for empty in ("zones", "checks", "reasons"):
        assert message[empty] == []
    assert message["ease"] == b""
    assert message["closer"] is None
    assert message["tightest"] is None


def test_numbers_are_shown_rounded_and_kept_whole(session):
    message = state_message(session.edit(front_mm=1.23456, pitch_deg="2,5"))
    assert message["typed"]["front_mm"] == "1.2"
    assert message["typed"]["pitch_deg"] == "2.50"
    assert message["values"]["front_mm"] == 1.23456


def test_a_shift_of_next_to_nothing_is_shown_without_a_minus(session):
    message = state_message(session.edit(front_mm=-0.02, pitch_deg=-0.004))
    assert message["typed"]["front_mm"] == "0.0"
    assert message["typed"]["pitch_deg"] == "0.00"
    assert message["values"]["front_mm"] == -0.02
    assert session.edit(front_mm="0").values["front_mm"] == 0.0


def test_every_box_is_described(session):
    json.dumps(box_messages())
    names = [*BOXES, *ASK_BOXES]
    assert [box["name"] for box in box_messages()] == names
    assert set(state_message(session.state)["typed"]) == set(names)
    assert set(state_message(session.state)["values"]) == set(names)


def test_a_session_without_a_piece_asks_for_one(shell_files, resolver):
    state = SessionController(record=shell_files.record, resolver=resolver).state
    assert state_message(state)["missing"] == "Choose a piece to see how it fits."
    assert answer_words(state) == "No answer yet.\nChoose a piece to see how it fits."


def test_an_offer_is_said_with_its_figures(session):
    session.start_solver()
    state = session.wait_for_solver()
    message = state_message(state)
    sendable(message)
    offer = state.solving.offer
    assert message["solving"]["stage"] == "offer"
    assert f"Size {100 * offer.placement.mean_size:.1f} %" in message["solving"]["offer"][0]
    assert message["solving"]["offer"][1] == (
        "Every demand is met." if offer.feasible else "Not every demand can be met:"
    )


def test_the_answer_in_words_gives_verdict_place_and_tightest(session):
    session.edit(size_percent=84.0, front_mm=-2.0)
    state = session.look_closer()
    words = answer_words(state)
    tight = state.answer.ease.tightest
    assert words.startswith("It does not fit: Ida")
    assert "Size 84.0 %, front -2.0 mm" in words
    assert f"{tight.least_mm:.1f} mm where {tight.wanted_mm:g} mm was asked" in words
    assert f"{state.closer.uncertainty.interval.low_mm:.1f}" in words
    assert "19" in answer_words(session.type_in("head_length_mm", "19"))


@pytest.mark.parametrize("stage", ["running", "stopped"])
def test_a_solver_that_has_no_answer_says_so(session, stage):
    session.start_solver()
    if stage == "stopped":
        session.stop_solver()
        session.wait_for_solver()
    message = state_message(session.state)
    sendable(message)
    assert message["solving"]["stage"] in (stage, "offer")
    assert message["solving"]["words"]
    session.stop_solver()
    session.wait_for_solver()
