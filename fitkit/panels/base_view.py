"""What all panels in a notebook have in common: a state in, requests out, faults shown."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, ClassVar

import anywidget
import ipywidgets
import traitlets

from fitkit.errors import FitkitError
from fitkit.panels.controller import SessionController
from fitkit.panels.state import SessionState


class PanelView(anywidget.AnyWidget):
    """
    One panel on a session; several may share it.

    The browser is sent whole states and sends requests, each with a number that the next
    state answers. A panel that no page shows is sent nothing until it is shown again.

    Parameters
    ----------
    session : SessionController
    errors : ipywidgets.Output
        Where a fault of fitkit is shown, with its traceback.
    """

    #: The whole state as the panel shows it, sent with every change.
    state = traitlets.Dict().tag(sync=True)
    #: Requests by name that go straight to the session.
    commands: ClassVar[frozenset[str]] = frozenset()

    def __init__(
        self, session: SessionController, errors: ipywidgets.Output, **traits: Any
    ) -> None:
        self.session, self._errors = session, errors
        self._answered = 0
        self._shown = 0
        self._sending = threading.RLock()
        super().__init__(state=self._whole(session.state), **traits)
        session.watch(self._watch)
        self.on_msg(self._hear)

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as this panel's browser module wants it."""
        raise NotImplementedError

    def obey(self, content: Mapping[str, Any]) -> None:
        """Do one request; those named in `commands` are the session's own methods."""
        name = content["command"]
        if name not in self.commands:
            msg = f"This panel has no request {str(name)[:40]!r}."
            raise FitkitError(msg)
        getattr(self.session, name)()

    def refresh(self, state: SessionState) -> None:
        """Send a state to the browser."""
        self.state = self._whole(state)

    def _whole(self, state: SessionState) -> dict[str, Any]:
        return {**self.message(state), "answered": self._answered}

    def _watch(self, _: SessionState) -> None:
        """Send the newest state, whichever thread told of it: none overtakes another."""
        if self._shown:
            with self._sending:
                self.refresh(self.session.state)

    def _hear(self, _: object, content: Mapping[str, Any], __: object) -> None:
        """Do what the browser asks for; answer it even if nothing has changed."""
        if "shown" in content:
            self._shown = max(0, self._shown + (1 if content["shown"] else -1))
        else:
            self._errors.clear_output()
            with self._errors:  # a fault shows its traceback under the panel
                self._answered = int(content["seq"])
                self.obey(content)
        self._watch(self.session.state)


def with_errors(view: Callable[[ipywidgets.Output], PanelView]) -> ipywidgets.VBox:
    """Make a panel with a place for faults under it."""
    errors = ipywidgets.Output()
    return ipywidgets.VBox([view(errors), errors])


def plain_path(folder: Path, name: str) -> Path:
    """
    Give the path of a file in a folder, from a name typed in a browser.

    Raises
    ------
    FitkitError
        If the name leads out of the folder or has no ``.json`` ending.

    Examples
    --------
    >>> plain_path(Path("fits"), "otter.json").as_posix()
    'fits/otter.json'
    """
    if not name or Path(name).name != name or name.startswith("."):
        msg = f"A file name must be a plain name such as otter.json; got {name[:60]!r}."
        raise FitkitError(msg)
    if not name.endswith(".json"):
        msg = f"A file name must end in .json; got {name[:60]!r}: write {name[:60]}.json."
        raise FitkitError(msg)
    return folder / name
