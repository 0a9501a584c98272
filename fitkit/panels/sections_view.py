"""The panel of three linked sections in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import anywidget
import ipywidgets
import traitlets

from fitkit.panels.answer import zone_title
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.message import box_messages, state_message
from fitkit.panels.scene import scene_message
from fitkit.panels.state import SessionState
from fitkit.wearer.zones import ZONES

#: What the browser may ask for by name, besides moving number boxes.
COMMANDS = frozenset(
    {"undo", "redo", "look_closer", "start_solver", "stop_solver", "take", "leave"}
)


class SectionsView(anywidget.AnyWidget):
    """
    Three linked sections with sliders, ease and verdict.

    Parameters
    ----------
    session : SessionController
    errors : ipywidgets.Output
        Where a fault of fitkit is shown.
    """

    _esm = joined_module("sections")
    _css = style_sheet()
    #: Meshes, sent when wearer or piece change.
    scene = traitlets.Dict().tag(sync=True)
    #: The whole state, sent with every change.
    state = traitlets.Dict().tag(sync=True)
    boxes: traitlets.List[Any] = traitlets.List().tag(sync=True)
    zone_titles: traitlets.List[str] = traitlets.List().tag(sync=True)

    def __init__(self, session: SessionController, errors: ipywidgets.Output) -> None:
        self._session, self._errors = session, errors
        self._answered = 0
        self._drawn: tuple[object, object] = (session.state.wearer, session.state.piece)
        super().__init__(
            boxes=box_messages(),
            zone_titles=[zone_title(zone) for zone in ZONES],
            scene=scene_message(session.state.wearer, session.state.piece),
            state=self._message(session.state),
        )
        session.watch(self._show)
        self.on_msg(self._hear)

    def _message(self, state: SessionState) -> dict[str, Any]:
        return {**state_message(state), "answered": self._answered}

    def _show(self, state: SessionState) -> None:
        meshes = (state.wearer, state.piece)
        if meshes != self._drawn:
            self._drawn = meshes
            self.scene = scene_message(state.wearer, state.piece)
        self.state = self._message(state)

    def _hear(self, _: object, content: Mapping[str, Any], __: object) -> None:
        """Do what the browser asks for; answer it even if nothing has changed."""
        self._errors.clear_output()
        with self._errors:  # a fault shows its traceback under the panel
            self._answered = int(content["seq"])
            self._do(content)
        self._show(self._session.state)

    def _do(self, content: Mapping[str, Any]) -> None:
        if "numbers" in content:
            gesture = (id(self), content["gesture"])
            self._session.edit(gesture=gesture, **content["numbers"])
        elif content["command"] in COMMANDS:
            getattr(self._session, content["command"])()


def sections_panel(session: SessionController) -> ipywidgets.VBox:
    """
    Give the panel of sections on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    """
    errors = ipywidgets.Output()
    return ipywidgets.VBox([SectionsView(session, errors), errors])
