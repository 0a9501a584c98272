"""A cut on the shell as seen from the front: numbers, not a drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.cut import Cut
from fitkit.geometry.mesh import Mesh, join
from fitkit.geometry.rays import RayScene

FloatArray = NDArray[np.float64]

#: Size of a pixel on the shell, and margin around the cut that is shown. [mm]
PIXEL_MM, MARGIN_MM = 0.5, 35.0
#: Across and up the picture of who looks at the piece from the front.
FRONT = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
#: Light falls from above and a little from the viewer's left.
LIGHT = np.array([0.35, 0.75, 0.56])


@dataclass(frozen=True, kw_only=True, eq=False)
class TemplateView:
    """One template, flat."""

    #: Which eye, and which side of the wall it is marked on.
    title: str
    #: Closed outlines, each (k, 2), from who marks them out. [mm]
    outlines: tuple[FloatArray, ...]
    #: Largest change of a length in laying it flat. [%]
    stretch_percent: float
    #: Lean of the saw off square: all but a tenth of the outline at either end lies
    #: between these; nan if no saw is needed. [deg]
    bevel_deg: tuple[float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class CutView:
    """The front of a piece, with what is to be cut away."""

    #: Centres of the pixel columns and rows, shapes (w,) and (h,). [mm]
    across: FloatArray
    upward: FloatArray
    #: Brightness of the front of the uncut shell, (h, w), 0 to 1; nan off it and in its
    #: openings.
    shade: FloatArray
    #: Outlines on the outer surface, each (k, 2). [mm]
    outlines: tuple[FloatArray, ...]
    templates: tuple[TemplateView, ...]


def cut_view(cut: Cut) -> CutView:
    """Look at a cut from the front; templates are those nearest to each eye."""
    outlines = tuple(
        outline @ FRONT.T
        for eye in cut.eyes.values()
        for patch in eye.patches
        for outline in patch.outer.outlines[:1]
    )
    shell = join(list(cut.uncut.values()))
    across, upward = _frame(shell, outlines)
    return CutView(
        across=across,
        upward=upward,
        shade=_shaded(shell, across, upward),
        outlines=outlines,
        templates=_templates(cut),
    )


def _frame(shell: Mesh, outlines: tuple[FloatArray, ...]) -> tuple[FloatArray, FloatArray]:
    points = np.concatenate(outlines) if outlines else shell.vertices @ FRONT.T
    low, high = points.min(axis=0) - MARGIN_MM, points.max(axis=0) + MARGIN_MM
    return (
        np.arange(low[0], high[0], PIXEL_MM),
        np.arange(low[1], high[1], PIXEL_MM),
    )


def _shaded(shell: Mesh, across: FloatArray, upward: FloatArray) -> FloatArray:
    flat = np.stack(np.meshgrid(across, upward), axis=-1).reshape(-1, 2)
    starts = flat @ FRONT + [0.0, float(shell.bounds_mm[1, 1]) + 50.0, 0.0]
    ways = np.broadcast_to([0.0, -1.0, 0.0], starts.shape)
    hits = RayScene(shell).first_hit(starts, ways)
    ahead = starts[:, 1] - hits.distance_mm > 0  # behind the tragia: through an opening
    bright = np.clip(shell.normals[hits.face] @ LIGHT, 0, 1)
    shade = np.where(ahead, bright, np.nan)
    return np.asarray(shade.reshape(len(upward), len(across)))


def _templates(cut: Cut) -> tuple[TemplateView, ...]:
    """The nearest patch's template for each eye: outside, or inside where that folds."""
    found = []
    for side, eye in cut.eyes.items():
        for patch in eye.patches[:1]:
            sides = (
                ("outside", patch.outer),
                *(("inside", each) for each in patch.inner[:1]),
            )
            name, chosen = next((s for s in sides if s[1].template), sides[0])
            lean = np.concatenate([*patch.bevel_deg, [np.nan]])
            known = lean[np.isfinite(lean)]
            low, high = np.quantile(known, (0.1, 0.9)) if len(known) else (np.nan, np.nan)
            found.append(
                TemplateView(
                    title=f"{side} eye, marked from {name}",
                    outlines=chosen.template,
                    stretch_percent=chosen.stretch_percent,
                    bevel_deg=(float(low), float(high)),
                )
            )
    return tuple(found)
