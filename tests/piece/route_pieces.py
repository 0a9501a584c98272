"""Helper: pieces drawn as a skin or a wall, and a route whose distances are known."""

from __future__ import annotations

from pathlib import Path
from types import MappingProxyType

import shells
from manifold3d import Manifold

from fitkit.piece.design import Design
from fitkit.piece.notes import parse_notes
from fitkit.piece.route_steps import CopyStep, LayerStep
from fitkit.piece.routes import Route


def design(mesh, *, surface="outer", **notes) -> Design:
    return Design(
        name="ball",
        parts=MappingProxyType({"skin": mesh}),
        surface=surface,
        notes=parse_notes(notes, source="notes"),
        words=(),
        mended=(),
        path=Path("ball.stl"),
    )


def layer(name, side, thickness, **more) -> LayerStep:
    return LayerStep(name=name, side=side, thickness_mm=thickness, **more)


CAST = Route(
    name="cast",
    steps=(
        layer("filler", "outward", 2.0),
        CopyStep(name="casting", shrink_percent=1.0),
        layer("wall", "inward", 5.0),
        layer("paint", "outward", 0.5),
    ),
)
#: By hand: the filler shrinks to 1.98; paint lies on it, the wall grows back from it.
OUT, IN = 2.48, 3.02


def skin(solid: Manifold) -> Design:
    return design(shells.as_mesh(solid))
