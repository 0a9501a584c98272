"""The desk of a session in a notebook: piece, openings, files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import ipywidgets

from fitkit.errors import FitkitError
from fitkit.panels.base_view import PanelView, plain_path, with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.desk import (
    MESH_ENDINGS,
    SESSION_END,
    desk_message,
    files_in,
    report_name,
)
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.state import SessionState


class DeskView(PanelView):
    """Choose the piece, name its openings, save and open the session, write the report."""

    _esm = joined_module("desk")
    _css = style_sheet()
    commands: ClassVar[frozenset[str]] = frozenset({"undo", "redo"})

    def __init__(
        self,
        session: SessionController,
        pieces: Path,
        folder: Path,
        errors: ipywidgets.Output,
    ) -> None:
        self._pieces, self._folder = pieces, folder
        super().__init__(session, errors)

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as the desk wants it."""
        return desk_message(state, pieces=self._pieces, folder=self._folder)

    def obey(self, content: Mapping[str, Any]) -> None:
        """Do one request; names of files are plain names in this panel's folders."""
        command = content["command"]
        if command == "use_piece":
            self._use_piece(content["file"])
        elif command == "name_opening":
            self.session.name_opening(int(content["place"]), content["choice"])
        elif command == "write_report":
            self.session.start_report(self._folder / report_name(self.session.state))
        elif command in ("save", "open"):
            self._file(command, content["file"])
        else:
            super().obey(content)

    def _use_piece(self, name: str) -> None:
        if name in files_in(self._pieces, MESH_ENDINGS):
            self.session.use_piece(self._pieces / name)

    def _file(self, command: str, name: str) -> None:
        try:
            path = plain_path(self._folder, name)
            if not name.endswith(SESSION_END):
                msg = f"the name of a session must end in {SESSION_END}; got {name[:60]!r}."
                raise FitkitError(msg)
        except FitkitError as problem:
            self.session.say(f"Nothing was done: {problem}")
            return
        if command == "save":
            self.session.save(path)
        else:
            self.session.open(path, pieces=self._pieces)


def desk(
    session: SessionController, *, pieces: Path | str = ".", folder: Path | str = "."
) -> ipywidgets.VBox:
    """
    Give the desk on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
    pieces : path
        Folder that pieces are chosen from.
    folder : path
        Folder for sessions and reports.
    """
    return with_errors(lambda errors: DeskView(session, Path(pieces), Path(folder), errors))
