"""Questions about the present placement: asked, answered, gone when the fit is another."""

from __future__ import annotations

import json
import threading

import pytest

from fitkit.assess import assess
from fitkit.errors import FitkitError
from fitkit.panels.questions import (
    NO_FIT,
    QUESTIONS,
    Question,
    QuestionController,
    part_message,
    question_named,
    work_message,
)
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.tables import Column, Table

#: Longest that an answer may take on a loaded machine before it counts as lost. [s]
LONG_S = 600.0
#: Questions that take many seconds of work; their rooms test them by default.
LONG = ("padding", "donning", "balance")
PART = Part(
    name="test",
    title="Tested",
    sentences=("All is well.",),
    pictures={
        "a": Picture(name="a.svg", data=b"<svg/>", alternative="A", caption="An A."),
        "b": Picture(name="b.png", data=b"png", alternative="B", caption="A B."),
    },
    tables=(
        Table(
            name="t",
            title="Figures",
            columns=(
                Column(key="what", title="What"),
                Column(key="hidden_mm", title="Hidden", digits=1, on_page=False),
                Column(key="got_mm", title="Got, mm", digits=1),
            ),
            rows=(("brow", 3.0, 1.25), ("chin", 4.0, None)),
        ),
    ),
    cautions=("Mind the step.",),
)


class Asked:
    """A question that keeps what it was asked about, and waits for its gate."""

    def __init__(self) -> None:
        self.of: list[object] = []
        self.gate = threading.Event()
        self.gate.set()
        self.question = Question(name="test", title="Is it well?", part=self.part)

    def part(self, assessment) -> Part:
        assert self.gate.wait(LONG_S)
        self.of.append(assessment)
        return PART


@pytest.fixture
def asked():
    return Asked()


@pytest.fixture
def asking(session, asked):
    return QuestionController(session, asked.question)


def test_the_question_is_asked_of_the_present_placement(asking, asked, session):
    session.edit(size_percent=103.0)
    asking.ask()
    assert asking.wait(LONG_S).made is PART
    state = session.state
    expected = assess(state.wearer, state.piece, state.placement, state.brief)
    assert asked.of[0].verdict == expected.verdict
    assert asked.of[0].placement is state.placement


def test_a_known_assessment_is_asked_not_made_anew(asking, asked, session):
    closer = session.look_closer().closer
    asking.ask()
    asking.wait(LONG_S)
    assert asked.of[0] is closer


@pytest.mark.parametrize(
    "change", [{"size_percent": 97.0}, {"crown_least_mm": 9.0}, {"front_mm": "12.x"}]
)
def test_an_answer_goes_when_the_fit_is_another(asking, session, change):
    asking.ask()
    assert asking.wait(LONG_S).stage == "done"
    session.edit(**change)
    assert asking.work.stage == "idle"
    assert asking.work.made is None


def test_an_answer_stays_while_only_the_cuts_move(asking, session):
    asking.ask()
    asking.wait(LONG_S)
    session.edit(side_cut_mm=12.0)
    session.look_closer()
    assert asking.work.made is PART


def test_an_answer_that_comes_too_late_is_dropped(asking, asked, session):
    asked.gate.clear()
    asking.ask()
    session.edit(size_percent=97.0)
    asked.gate.set()
    assert asking.wait(LONG_S).stage == "idle"
    assert asking.work.made is None


def test_the_newest_asking_wins(asking, asked, session):
    asked.gate.clear()
    asking.ask()
    session.edit(size_percent=97.0)
    asking.ask()
    asked.gate.set()
    assert asking.wait(LONG_S).made is PART
    assert asked.of[-1].placement.mean_size == pytest.approx(0.97)


def test_a_question_that_was_stopped_has_no_answer(asking, asked):
    asked.gate.clear()
    asking.ask()
    assert asking.stop().stage == "idle"
    asked.gate.set()
    assert asking.wait(LONG_S).made is None


def test_without_a_fit_nothing_is_asked(asking, asked, session):
    session.edit(size_percent="x")
    assert asking.ask().problem == NO_FIT
    assert asked.of == []


def test_an_unknown_question_is_refused_with_a_near_one():
    with pytest.raises(FitkitError, match="Did you mean 'sight'"):
        question_named("site")


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=pytest.mark.slow if n in LONG else ()) for n in QUESTIONS],
)
def test_every_question_answers_on_the_plain_shell(session, name):
    asking = QuestionController(session, QUESTIONS[name])
    asking.ask()
    work = asking.wait(LONG_S)
    assert work.stage == "done"
    assert work.made.name == name
    assert work.made.sentences
    message = part_message(work.made)
    for picture in message["pictures"]:
        assert picture.pop("data")
        assert picture["alternative"]
    json.dumps(message, allow_nan=False)


def test_the_browser_is_told_the_part_as_the_report_shows_it():
    message = part_message(PART)
    assert message["sentences"] == ["All is well."]
    assert message["cautions"] == ["Mind the step."]
    assert [one["type"] for one in message["pictures"]] == ["image/svg+xml", "image/png"]
    (table,) = message["tables"]
    assert table["heads"] == ["What", "Got, mm"]
    assert table["text"] == [True, False]
    assert table["rows"] == [["brow", "1.2"], ["chin", "–"]]


def test_without_an_answer_the_browser_is_told_nothing():
    message = part_message(None)
    assert not any(message.values())


def test_how_it_stands_is_told_in_words(asking):
    assert work_message(asking.work) == {"stage": "idle", "words": "", "problem": ""}
    asking.ask()
    asking.wait(LONG_S)
    assert work_message(asking.work)["words"].startswith("Answered in ")
