"""Placements side by side."""

from __future__ import annotations

import json
import re

import pytest

from fitkit.panels.compare import Comparison


@pytest.fixture
def two_kept(session):
    session.edit(size_percent=102.0)
    session.keep("roomy")
    session.edit(size_percent=84.0)
    return session.keep("small")


def test_each_card_has_its_own_verdict_and_figures(session, two_kept):
    comparison = Comparison()
    message = comparison.message(two_kept)
    json.dumps(message, allow_nan=False)
    roomy, small = message["cards"]
    assert (roomy["name"], small["name"]) == ("roomy", "small")
    assert small["verdict"] == "It does not fit"
    assert "Size 102.0 %" in roomy["lines"][0]
    answer = session.state.answer
    tight = answer.ease.tightest
    assert small["lines"][1] == answer.reasons[0]
    assert any(f"{tight.least_mm:.1f} mm" in line for line in small["lines"])


def test_a_card_keeps_its_figures_while_others_move(session, two_kept):
    comparison = Comparison()
    before = comparison.message(two_kept)["cards"]
    after = comparison.message(session.edit(size_percent=96.0))["cards"]
    assert after == before


def test_cards_are_answered_anew_for_another_wearer(session, two_kept):
    comparison = Comparison()
    before = comparison.message(two_kept)["cards"]
    after = comparison.message(session.type_in("head_breadth_mm", "158"))["cards"]
    assert after[0]["lines"] != before[0]["lines"]
    assert after[0]["name"] == "roomy"


@pytest.mark.usefixtures("two_kept")
def test_without_a_usable_record_no_card_has_an_answer(session):
    state = session.type_in("head_length_mm", "19")
    for card in Comparison().message(state)["cards"]:
        assert card["verdict"] == "No answer"
        assert card["lines"] == []


def test_the_picture_shows_the_placed_wall_at_its_size(two_kept):
    roomy, small = Comparison().message(two_kept)["cards"]

    def length(card) -> float:
        front = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", card["wall"])]
        return max(front) - min(front)

    assert length(small) / length(roomy) == pytest.approx(84.0 / 102.0, abs=0.01)
