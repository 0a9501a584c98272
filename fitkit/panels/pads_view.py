"""The panel that compares pad sets in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.errors import FitkitError
from fitkit.panels.base_view import PanelView, with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.pad_compare import PadComparison, cards_message, pad_fields
from fitkit.panels.pads import pad_choice
from fitkit.panels.state import SessionState
from fitkit.panels.worker import Work

#: Boxes of a set of pads.
BOXES = ("name", "foam", "layout", "squeeze_percent", "sheets_mm", "wall_g_cm3")


class PadsView(PanelView):
    """Pad sets put aside, side by side."""

    _esm = joined_module("pads")
    _css = style_sheet()
    #: What there is to choose from; never changes.
    fields = traitlets.Dict().tag(sync=True)
    #: Every set with its figures and picture, sent only when any is another.
    shown = traitlets.Dict().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset({"undo", "redo"})

    def __init__(self, session: SessionController, errors: ipywidgets.Output) -> None:
        self.comparison = PadComparison(session)
        self._problem = ""
        self._sent = self._sets(session.state)
        super().__init__(
            session,
            errors,
            fields=pad_fields(),
            shown=cards_message(session.state, self.comparison.cards),
        )
        self.comparison.watch(self._told)

    def message(self, state: SessionState) -> dict[str, Any]:
        """Say how it stands with the comparison."""
        work = self.comparison.work
        cards = self.comparison.cards
        missing = any(choice not in cards for choice in state.inputs.pads)
        return {
            "revision": state.revision,
            "stage": work.stage,
            "words": work.words or state.message,
            "problem": work.problem or self._problem,
            "ready": state.answer is not None and missing,
        }

    def obey(self, content: Mapping[str, Any]) -> None:
        """Put a set aside, drop one, compare them, or stop."""
        self._problem = ""
        command = content["command"]
        if command == "keep_pads":
            self._keep({name: content[name] for name in BOXES})
        elif command == "drop_pads":
            self.session.drop_pads(int(content["place"]))
        elif command == "compare":
            self._problem = self.comparison.compare()
        elif command == "stop":
            self.comparison.stop()
        else:
            super().obey(content)

    def _keep(self, typed: Mapping[str, Any]) -> None:
        try:
            choice = pad_choice(**typed)
        except FitkitError as problem:
            self._problem = str(problem)
        else:
            self.session.keep_pads(choice)

    def refresh(self, state: SessionState) -> None:
        """Send how it stands, and the sets before it if any is another."""
        sets = self._sets(state)
        if sets != self._sent:
            self._sent = sets
            self.shown = cards_message(state, self.comparison.cards)
        super().refresh(state)

    def _sets(self, state: SessionState) -> tuple[object, ...]:
        cards = self.comparison.cards
        return tuple((choice, cards.get(choice)) for choice in state.inputs.pads)

    def _told(self, _: Work[None]) -> None:
        self._watch(self.session.state)


def pads_panel(session: SessionController) -> ipywidgets.VBox:
    """
    Give the comparison of pad sets on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    """
    return with_errors(lambda errors: PadsView(session, errors))
