"""Draw the head from five sides, coloured by its ease."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from fitkit.plots.paper import AIR, CLASH, CLASH_HATCH, HALO, INK, SHORT_HATCH, SOFT
from fitkit.views.heads import HeadView, Spot
from fitkit.views.words import UNSEEN_MM, figure

FloatArray = NDArray[np.float64]

#: Upper edge and colour of each band of ease, tightest first: oranges for clash, blues
#: for air, told apart with any colour vision; what is tight is also hatched. [mm]
BANDS: tuple[tuple[float, str], ...] = (
    (-5.0, "#b3470a"),
    (0.0, "#e8924a"),
    (5.0, "#f7f3ea"),
    (10.0, "#cfe0ee"),
    (20.0, "#9cbfdc"),
    (35.0, "#6397c2"),
    (np.inf, "#3a6f9f"),
)
#: Colour of the neck, where no ease is asked.
NECK = "#dcdcdc"
#: Share of brightness that is left where the surface turns away.
DARKEST = 0.62


def draw_ease_map(axes: Sequence[Axes], views: Sequence[HeadView]) -> None:
    """Draw one head view on each of as many axes; `draw_ease_legend` explains them."""
    for ax, view in zip(axes, views, strict=True):
        draw_head(ax, view)


def draw_head(ax: Axes, view: HeadView) -> None:
    """
    Draw one view of the head in the colours of its ease.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and no frame.
    view : HeadView
        Ease in mm at every pixel. A clash is hatched crosswise, air that is less than
        was asked is dotted, so that both show without colour.
    """
    half = 0.5 * float(view.across[1] - view.across[0])
    extent = (
        float(view.across[0]) - half,
        float(view.across[-1]) + half,
        float(view.upward[0]) - half,
        float(view.upward[-1]) + half,
    )
    ax.imshow(head_pixels(view), origin="lower", extent=extent, interpolation="bilinear")
    _hatch(ax, view, view.ease_mm < 0.0, CLASH_HATCH)
    _hatch(ax, view, (view.ease_mm >= 0.0) & (view.spare_mm < -UNSEEN_MM), SHORT_HATCH)
    edges = [edge for edge, _ in BANDS if np.isfinite(edge)]
    widths = [1.2 if edge == 0 else 0.35 for edge in edges]
    ax.contour(
        view.across,
        view.upward,
        view.ease_mm,
        edges,
        colors=INK,
        linewidths=widths,
        linestyles="solid",
    )
    for spot in view.spots:
        _draw_spot(ax, spot)
    ax.set_title(view.title)
    ax.set(aspect="equal", xlim=extent[:2], ylim=extent[2:])
    ax.set_axis_off()


def head_pixels(view: HeadView) -> FloatArray:
    """Colours of a view, shape (h, w, 4): its band, darker where it turns away."""
    edges = [edge for edge, _ in BANDS[:-1]]
    colours = np.array([to_rgb(colour) for _, colour in BANDS] + [to_rgb(NECK)])
    band = np.digitize(view.ease_mm, edges)
    band[np.isnan(view.ease_mm)] = len(BANDS)
    light = DARKEST + (1.0 - DARKEST) * np.nan_to_num(view.facing)
    pixels = np.ones((*view.facing.shape, 4))
    pixels[..., :3] = colours[band] * light[..., None]
    pixels[..., 3] = np.isfinite(view.facing)
    return pixels


def _hatch(ax: Axes, view: HeadView, where: NDArray[np.bool_], hatch: str) -> None:
    if where.any():
        drawn = ax.contourf(
            view.across,
            view.upward,
            where.astype(float),
            levels=(0.5, 1.5),
            colors="none",
            hatches=[hatch],
        )
        drawn.set(edgecolor=INK, linewidth=0.0)


def _draw_spot(ax: Axes, spot: Spot) -> None:
    colour = CLASH if spot.ease_mm < 0 else INK
    ax.plot(
        *spot.at,
        marker="o",
        markersize=3.5,
        color=colour,
        markeredgecolor="white",
        markeredgewidth=0.7,
        zorder=5,
    )
    ax.annotate(
        figure(spot.ease_mm),
        (spot.at[0], spot.at[1]),
        xytext=(4, 3),
        textcoords="offset points",
        fontsize=7.0,
        fontweight="bold",
        color=colour,
        path_effects=HALO,
        zorder=6,
    )


def draw_ease_legend(ax: Axes) -> None:
    """Draw the bands of ease with their millimetres, and what the hatches mean."""
    for place, (edge, colour) in enumerate(BANDS):
        _draw_key(ax, place, colour, hatch=CLASH_HATCH if edge <= 0 else "")
        if np.isfinite(edge):
            ax.text(1.2, place + 1.0, figure(edge, digits=0), va="center")
    ax.text(1.2, len(BANDS) + 0.1, "ease, mm", va="center", color=SOFT)
    ax.text(2.6, 1.0, "clash", va="center", color=CLASH, fontweight="bold")
    ax.text(2.6, 4.5, "air", va="center", color=AIR, fontweight="bold")
    _draw_key(ax, -1.6, "white", hatch=SHORT_HATCH)
    ax.text(1.2, -1.1, "air, but less\nthan asked", va="center")
    _draw_key(ax, -3.1, NECK)
    ax.text(1.2, -2.6, "neck: none asked", va="center")
    ax.set(xlim=(-0.1, 5.5), ylim=(-3.4, len(BANDS) + 0.6))
    ax.set_axis_off()


def _draw_key(ax: Axes, low: float, colour: str, *, hatch: str = "") -> None:
    key = Rectangle((0.0, low), 1.0, 1.0, facecolor=colour, edgecolor=INK, hatch=hatch)
    key.set_linewidth(0.5)
    ax.add_patch(key)
