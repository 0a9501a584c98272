"""The panel that compares placements in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import ipywidgets

from fitkit.panels.base_view import PanelView, with_errors
from fitkit.panels.compare import Comparison
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.state import SessionState


class CompareView(PanelView):
    """Placements put aside, side by side."""

    _esm = joined_module("compare")
    _css = style_sheet()
    commands: ClassVar[frozenset[str]] = frozenset({"undo", "redo"})

    def __init__(self, session: SessionController, errors: ipywidgets.Output) -> None:
        self._comparison = Comparison()
        super().__init__(session, errors)

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as the comparison wants it."""
        return self._comparison.message(state)

    def obey(self, content: Mapping[str, Any]) -> None:
        """Put the present placement aside, go back to one, or drop one."""
        command = content["command"]
        if command == "keep":
            self.session.keep(str(content["name"]))
        elif command in ("go_back_to", "drop"):
            getattr(self.session, command)(int(content["place"]))
        else:
            super().obey(content)


def compare_panel(session: SessionController) -> ipywidgets.VBox:
    """
    Give the comparison of placements on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    """
    return with_errors(lambda errors: CompareView(session, errors))
