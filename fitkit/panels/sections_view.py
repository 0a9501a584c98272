"""The panel of three linked sections in a notebook."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import ipywidgets
import traitlets

from fitkit.panels.base_view import with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.message import box_messages
from fitkit.panels.scene_view import SceneView


class SectionsView(SceneView):
    """Three linked sections with sliders, ease, verdict and the solver."""

    _esm = joined_module("sections")
    _css = style_sheet()
    boxes: traitlets.List[Any] = traitlets.List().tag(sync=True)
    commands: ClassVar[frozenset[str]] = frozenset(
        {"undo", "redo", "look_closer", "start_solver", "stop_solver", "take", "leave"}
    )

    def __init__(self, session: SessionController, errors: ipywidgets.Output) -> None:
        super().__init__(session, errors, boxes=box_messages())

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
