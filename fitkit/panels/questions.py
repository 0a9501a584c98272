"""Questions about the present placement, each answered as its part of the report is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from fitkit.assess import Assessment, assess
from fitkit.errors import FitkitError
from fitkit.panels.controller import SessionController
from fitkit.panels.state import SessionState
from fitkit.panels.worker import Work, Worker
from fitkit.sheets.page import PICTURE_TYPES
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.tables import Table, page_cell
from fitkit.wearer.measures import unknown_message

#: Said where there is nothing to ask about.
NO_FIT = "There is no fit to ask about yet: the panels above say what is missing or wrong."


@dataclass(frozen=True, kw_only=True)
class Question:
    """One question that can be asked of an assessment."""

    name: str
    #: The question, for people.
    title: str
    part: Callable[[Assessment], Part]


# Drawing loads with the first question that is asked, not with the panels.


def _sight(assessment: Assessment) -> Part:
    from fitkit.sheets.sight import sight_part

    return sight_part(assessment)


def _jaw(assessment: Assessment) -> Part:
    from fitkit.sheets.jaw import jaw_part

    return jaw_part(assessment)


def _padding(assessment: Assessment) -> Part:
    from fitkit.sheets.padding import padding_part

    return padding_part(assessment)


def _donning(assessment: Assessment) -> Part:
    from fitkit.sheets.donning import donning_part

    return donning_part(assessment)


def _balance(assessment: Assessment) -> Part:
    from fitkit.sheets.padding import balance_part

    return balance_part(assessment)


#: Every question that can be opened as a panel.
QUESTIONS: Mapping[str, Question] = MappingProxyType(
    {
        question.name: question
        for question in (
            Question(name="sight", title="What does the wearer see?", part=_sight),
            Question(name="jaw", title="Does the jaw follow the chin?", part=_jaw),
            Question(name="padding", title="Which pads hold it still?", part=_padding),
            Question(name="donning", title="Does it go on and come off?", part=_donning),
            Question(
                name="balance", title="What does it weigh on the neck?", part=_balance
            ),
        )
    }
)


def question_named(name: str) -> Question:
    """
    Find a question.

    Raises
    ------
    FitkitError
        If there is none of that name.
    """
    if name not in QUESTIONS:
        raise FitkitError(unknown_message("question", name, QUESTIONS))
    return QUESTIONS[name]


class QuestionController:
    """
    One question, asked of a session's present placement whenever the maker wants it.

    The answer goes as soon as the wearer, the piece, the brief or the placement are
    others: an old one never stands beside a new fit.

    Parameters
    ----------
    session : SessionController
    question : Question

    Examples
    --------
    >>> sight = QuestionController(SessionController(), QUESTIONS["sight"])
    >>> sight.ask().problem == NO_FIT
    True
    """

    def __init__(self, session: SessionController, question: Question) -> None:
        self.session, self.question = session, question
        self._watchers: list[Callable[[Work[Part]], None]] = []
        self._asked: SessionState | None = None
        self._worker: Worker[Part] = Worker(self._tell)
        session.watch(self._moved)

    @property
    def work(self) -> Work[Part]:
        """How it stands with the answer."""
        return self._worker.work

    def watch(self, watcher: Callable[[Work[Part]], None]) -> None:
        """Have every new ``Work`` handed to ``watcher``, often from another thread."""
        self._watchers.append(watcher)

    def ask(self) -> Work[Part]:
        """Ask about the present placement; the newest asking wins."""
        state = self.session.state
        wearer, piece, placement = state.wearer, state.piece, state.placement
        if state.answer is None or wearer is None or piece is None or placement is None:
            return Work(stage="failed", problem=NO_FIT)
        self._asked = state
        known, brief = state.closer, state.brief
        self._worker.start(
            lambda _: self.question.part(known or assess(wearer, piece, placement, brief))
        )
        return self.work

    def stop(self) -> Work[Part]:
        """Let go what was asked."""
        self._asked = None
        self._worker.let_go()
        return self.work

    def wait(self, timeout_s: float | None = None) -> Work[Part]:
        """Wait for the answer: for those who write code."""
        self._worker.wait(timeout_s)
        return self.work

    def _moved(self, state: SessionState) -> None:
        if self._asked is not None and state.answer is not self._asked.answer:
            self.stop()

    def _tell(self, work: Work[Part]) -> None:
        for watcher in tuple(self._watchers):
            watcher(work)


# -- what a browser is told --------------------------------------------------------------


def work_message(work: Work[Part]) -> dict[str, Any]:
    """Say how it stands with an answer; JSON values only."""
    words = {
        "idle": "",
        "working": work.words,
        "done": f"Answered in {work.took_s:.1f} s.",
        "failed": "",
    }[work.stage]
    return {"stage": work.stage, "words": words, "problem": work.problem}


def part_message(part: Part | None) -> dict[str, Any]:
    """
    Give an answer as the browser shows it.

    Returns
    -------
    dict
        JSON values, but for the bytes of pictures; empty lists where there is no answer.
    """
    return {
        "title": part.title if part else "",
        "sentences": list(part.sentences) if part else [],
        "cautions": list(part.cautions) if part else [],
        "tables": [_table(table) for table in part.tables] if part else [],
        "pictures": [_picture(one) for one in part.pictures.values()] if part else [],
    }


def _table(table: Table) -> dict[str, Any]:
    shown = [place for place, column in enumerate(table.columns) if column.on_page]
    columns = [table.columns[place] for place in shown]
    return {
        "title": table.title,
        "heads": [column.title for column in columns],
        "text": [column.digits is None for column in columns],
        "rows": [
            [page_cell(row[place], table.columns[place]) for place in shown]
            for row in table.rows
        ],
    }


def _picture(picture: Picture) -> dict[str, Any]:
    return {
        "type": PICTURE_TYPES[Path(picture.name).suffix],
        "data": picture.data,
        "alternative": picture.alternative,
        "caption": picture.caption,
    }
