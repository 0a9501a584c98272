"""The panel that shows head and piece in the round."""

from __future__ import annotations

import ipywidgets

from fitkit.panels.base_view import with_errors
from fitkit.panels.controller import SessionController
from fitkit.panels.front_end import joined_module, style_sheet
from fitkit.panels.scene_view import SceneView


class SolidView(SceneView):
    """Head and piece in the round, with the ease on the head; can be cut open."""

    _esm = joined_module("solid")
    _css = style_sheet()


def solid_panel(session: SessionController) -> ipywidgets.VBox:
    """
    Give the panel in the round on a session, with a place for faults under it.

    Parameters
    ----------
    session : SessionController
        Any number of panels may share it.
    """
    return with_errors(lambda errors: SolidView(session, errors))
