"""The panel of three linked sections in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.panels.answer import zone_title
from fitkit.panels.base_view import PanelView, with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.message import box_messages, state_message
from fitkit.panels.scene import scene_message
from fitkit.panels.state import SessionState
from fitkit.wearer.zones import ZONES


class SectionsView(PanelView):
    """Three linked sections with sliders, ease, verdict and the solver."""

    _esm = joined_module("sections")
    _css = style_sheet()
    #: Meshes, sent when wearer or piece change.
    scene = traitlets.Dict().tag(sync=True)
    boxes: traitlets.List[Any] = traitlets.List().tag(sync=True)
    zone_titles: traitlets.List[str] = traitlets.List().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset(
        {"undo", "redo", "look_closer", "start_solver", "stop_solver", "take", "leave"}
    )

    def __init__(self, session: SessionController, errors: ipywidgets.Output) -> None:
        state = session.state
        self._drawn: tuple[object, object] = (state.wearer, state.piece)
        super().__init__(
            session,
            errors,
            boxes=box_messages(),
            zone_titles=[zone_title(zone) for zone in ZONES],
            scene=scene_message(state.wearer, state.piece),
        )

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as the sections want it."""
        return state_message(state)

    def refresh(self, state: SessionState) -> None:
        """Send a state, and the meshes before it if they are others."""
        meshes = (state.wearer, state.piece)
        if meshes != self._drawn:
            self._drawn = meshes
            self.scene = scene_message(state.wearer, state.piece)
        super().refresh(state)

    def obey(self, content: Mapping[str, Any]) -> None:
        """Move number boxes, or do one request."""
        if "numbers" in content:
            gesture = (id(self), content["gesture"])
            self.session.edit(gesture=gesture, **content["numbers"])
        else:
            super().obey(content)


def sections_panel(session: SessionController) -> ipywidgets.VBox:
    """
    Give the panel of sections on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    """
    return with_errors(lambda errors: SectionsView(session, errors))
