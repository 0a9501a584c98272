"""The panel of one question in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.panels.base_view import PanelView, with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.questions import (
    QUESTIONS,
    QuestionController,
    part_message,
    question_named,
    work_message,
)
from fitkit.panels.state import SessionState
from fitkit.panels.worker import Work
from fitkit.sheets.part import Part


class QuestionView(PanelView):
    """One question on the present placement: asked, stopped, its answer shown."""

    _esm = joined_module("question")
    _css = style_sheet()
    #: The answer, sent only when it is another.
    part = traitlets.Dict().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset()

    def __init__(
        self, session: SessionController, name: str, errors: ipywidgets.Output
    ) -> None:
        self.asking = QuestionController(session, question_named(name))
        self._sent: Part | None = None
        self._problem = ""
        super().__init__(session, errors, part=part_message(None))
        self.asking.watch(self._told)

    def message(self, state: SessionState) -> dict[str, Any]:
        """Say how it stands with the question."""
        work = work_message(self.asking.work)
        return {
            **work,
            "name": self.asking.question.name,
            "question": self.asking.question.title,
            "revision": state.revision,
            "ready": state.answer is not None,
            "problem": work["problem"] or self._problem,
        }

    def obey(self, content: Mapping[str, Any]) -> None:
        """Ask, or let go what was asked."""
        self._problem = ""
        if content["command"] == "ask":
            self._problem = self.asking.ask().problem
        elif content["command"] == "stop":
            self.asking.stop()
        else:
            super().obey(content)

    def refresh(self, state: SessionState) -> None:
        """Send how it stands, and the answer before it if it is another."""
        part = self.asking.work.made
        if part is not self._sent:
            self._sent = part
            self.part = part_message(part)
        super().refresh(state)

    def _told(self, _: Work[Part]) -> None:
        self._watch(self.session.state)


def question_panel(session: SessionController, name: str) -> ipywidgets.VBox:
    """
    Give the panel of one question on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    name : str
        One of ``fitkit.panels.questions.QUESTIONS``, such as ``"sight"``.

    Raises
    ------
    FitkitError
        If there is no such question.
    """
    return with_errors(lambda errors: QuestionView(session, name, errors))


def question_panels(session: SessionController) -> ipywidgets.VBox:
    """
    Give a panel for every question there is, one below the other.

    Parameters
    ----------
    session : SessionController
    """
    return ipywidgets.VBox([question_panel(session, name) for name in QUESTIONS])
