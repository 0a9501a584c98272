"""The record form in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.errors import FitkitError
from fitkit.panels.base_view import PanelView, plain_path, with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.record_form import form_fields, form_message
from fitkit.panels.state import SessionState


class RecordFormView(PanelView):
    """The boxes of a wearer's record, with how to take each reading."""

    _esm = joined_module("record_form")
    _css = style_sheet()
    #: Boxes in groups, and pictures; never changes.
    fields = traitlets.Dict().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset({"undo", "redo"})

    def __init__(
        self, session: SessionController, folder: Path, errors: ipywidgets.Output
    ) -> None:
        self._folder = folder
        super().__init__(session, errors, fields=form_fields())

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as the form wants it."""
        return form_message(state)

    def obey(self, content: Mapping[str, Any]) -> None:
        """Type into boxes, open or save a file, or do one request."""
        command = content["command"]
        if command == "type_in":
            gesture = (id(self), content["box"], content["gesture"])
            self.session.type_in(content["box"], content["text"], gesture=gesture)
        elif command == "open_record":
            self.session.use_record_text(content["text"])
        elif command == "save_record":
            self._save(content["file"])
        else:
            super().obey(content)

    def _save(self, file: str) -> None:
        try:
            path = plain_path(self._folder, file)
        except FitkitError as problem:
            self.session.say(f"The record was not saved: {problem}")
        else:
            self.session.save_record(path)


def record_form(session: SessionController, *, folder: Path | str = ".") -> ipywidgets.VBox:
    """
    Give the record form on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
    folder : path
        Where records are saved.
    """
    return with_errors(lambda errors: RecordFormView(session, Path(folder), errors))
