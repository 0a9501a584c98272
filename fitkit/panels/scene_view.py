"""Panels that are sent the meshes of head and piece."""

from __future__ import annotations

from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.panels.answer import zone_title
from fitkit.panels.base_view import PanelView
from fitkit.panels.controller import SessionController
from fitkit.panels.message import state_message
from fitkit.panels.scene import scene_message
from fitkit.panels.state import SessionState
from fitkit.wearer.zones import ZONES


class SceneView(PanelView):
    """A panel that shows head and piece; meshes are sent only when they are others."""

    #: Meshes, sent when wearer or piece change.
    scene = traitlets.Dict().tag(sync=True)
    zone_titles: traitlets.List[str] = traitlets.List().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset()

    def __init__(
        self, session: SessionController, errors: ipywidgets.Output, **traits: Any
    ) -> None:
        state = session.state
        self._drawn: tuple[object, ...] = _drawn(state)
        super().__init__(
            session,
            errors,
            zone_titles=[zone_title(zone) for zone in ZONES],
            scene=scene_message(state.wearer, state.piece),
            **traits,
        )

    def message(self, state: SessionState) -> dict[str, Any]:
        """Give a state as sections and solids want it."""
        return state_message(state)

    def refresh(self, state: SessionState) -> None:
        """Send a state, and the meshes before it if they are others."""
        meshes = _drawn(state)
        if any(a is not b for a, b in zip(meshes, self._drawn, strict=True)):
            self._drawn = meshes
            self.scene = scene_message(state.wearer, state.piece)
        super().refresh(state)


def _drawn(state: SessionState) -> tuple[object, ...]:
    """What the meshes depend on: naming an opening leaves a piece's meshes as they are."""
    facing = None if state.piece is None else state.piece.facing
    return (state.wearer, facing)
