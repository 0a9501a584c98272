"""Draw build-up: wall thickness, undercuts, parts pulled apart, coats in a wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from fitkit.plots.paper import (
    CLASH,
    FAINT,
    HALO,
    INK,
    SOFT,
    WALL,
    drawable,
    new_figure,
    styled,
)
from fitkit.views.buildups import CoatView, MapView, PartsView

FloatArray = NDArray[np.float64]

#: Share of brightness that is left where the surface turns away.
DARKEST = 0.55
#: Colour of what was not measured.
UNKNOWN = "#dcdcdc"
#: Fills of parts, told apart with any colour vision together with their numbers.
PARTS = ("#9cbfdc", "#e8c48a", "#c9d7b0", "#d9b7cf", "#b9c2cb", "#f0e2a8", "#a5cfc8")
#: Width of a figure: A4 less its margins. [mm]
WIDTH_MM = 180.0


@dataclass(frozen=True, kw_only=True)
class Bands:
    """Bands of a map: upper edge, colour and hatch of each, lowest first."""

    title: str
    edges_mm: tuple[float, ...]
    colours: tuple[str, ...]
    hatches: tuple[str, ...]


#: Undercuts: none, what rubber forgives, what a stiff mould does not.
UNDERCUT_BANDS = Bands(
    title="undercut, mm",
    edges_mm=(0.5, 3.0, 8.0, 20.0),
    colours=("#f4f1ea", "#cfe0ee", "#6397c2", "#e8924a", "#a63a00"),
    hatches=("", "", "..", "//", "xx"),
)


def wall_bands(*, meant_mm: float) -> Bands:
    """Bands of wall thickness about what is meant: half of it, and what has filled."""
    edges = tuple(round(share * meant_mm, 1) for share in (0.5, 0.8, 1.2, 1.5, 2.5))
    return Bands(
        title="wall, mm",
        edges_mm=edges,
        colours=("#b3470a", "#f3d3a4", "#f7f4ee", "#cfe0ee", "#7fb0d4", "#3a6f9f"),
        hatches=("xx", "", "", "", "..", "oo"),
    )


def map_figure(views: Sequence[MapView], bands: Bands, *, title: str) -> Figure:
    """
    Draw a map on a surface from several sides, with its legend.

    Parameters
    ----------
    views : sequence of MapView
    bands : Bands
    title : str
        Said over the figure.
    """
    spans = [(np.ptp(view.across), np.ptp(view.upward)) for view in views]
    wide = sum(span[0] for span in spans) + 14.0 * len(spans)
    scale = (WIDTH_MM - 24.0) / wide
    height = max(span[1] for span in spans) * scale
    figure = new_figure(width_mm=WIDTH_MM, height_mm=height + 16.0)
    with styled():
        left = 2.0
        for view, span in zip(views, spans, strict=True):
            box = (
                left / WIDTH_MM,
                3.0 / (height + 16.0),
                span[0] * scale / WIDTH_MM,
                span[1] * scale / (height + 16.0),
            )
            draw_map(figure.add_axes(box), view, bands)
            left += (span[0] + 14.0) * scale
        legend = ((WIDTH_MM - 22.0) / WIDTH_MM, 0.02, 21.0 / WIDTH_MM, 0.82)
        draw_bands(figure.add_axes(legend), bands)
        figure.text(0.01, 0.99, drawable(title), va="top", fontsize=8.5)
    return figure


def draw_map(ax: Axes, view: MapView, bands: Bands) -> None:
    """
    Draw one view of a map in its bands.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and no frame.
    view : MapView
    bands : Bands
        Bands with a hatch show without colour.
    """
    half = 0.5 * float(view.across[1] - view.across[0])
    extent = (
        float(view.across[0]) - half,
        float(view.across[-1]) + half,
        float(view.upward[0]) - half,
        float(view.upward[-1]) + half,
    )
    band = np.digitize(view.value_mm, bands.edges_mm)
    known = np.isfinite(view.value_mm)
    colours = np.array([to_rgb(colour) for colour in (*bands.colours, UNKNOWN)])
    band = np.where(known, band, len(bands.colours))
    light = DARKEST + (1 - DARKEST) * np.nan_to_num(view.facing)
    pixels = np.ones((*band.shape, 4))
    pixels[..., :3] = colours[band] * light[..., None]
    pixels[..., 3] = np.isfinite(view.facing)
    ax.imshow(pixels, origin="lower", extent=extent, interpolation="nearest")
    for number, hatch in enumerate(bands.hatches):
        where = known & (band == number)
        if hatch and where.any():
            drawn = ax.contourf(
                view.across, view.upward, where.astype(float), levels=(0.5, 1.5),
                colors="none", hatches=[hatch],
            )  # fmt: skip
            drawn.set(edgecolor=INK, linewidth=0.0)
    if view.spot is not None:
        _draw_spot(ax, *view.spot)
    ax.set_title(view.title, fontsize=7.5)
    ax.set(aspect="equal", xlim=extent[:2], ylim=extent[2:])
    ax.set_axis_off()


def draw_bands(ax: Axes, bands: Bands) -> None:
    """Draw the bands of a map with their millimetres."""
    for place, (colour, hatch) in enumerate(zip(bands.colours, bands.hatches, strict=True)):
        key = Rectangle(
            (0.0, place), 1.0, 1.0, facecolor=colour, edgecolor=INK, hatch=hatch
        )
        key.set_linewidth(0.5)
        ax.add_patch(key)
        if place < len(bands.edges_mm):
            ax.text(1.2, place + 1.0, f"{bands.edges_mm[place]:g}", va="center")
    ax.text(0.0, len(bands.colours) + 0.25, bands.title, color=SOFT)
    key = Rectangle((0.0, -1.5), 1.0, 1.0, facecolor=UNKNOWN, edgecolor=INK, linewidth=0.5)
    ax.add_patch(key)
    ax.text(1.2, -1.0, "not measured", va="center", fontsize=6.2)
    ax.set(xlim=(-0.1, 5.0), ylim=(-1.7, len(bands.colours) + 1.0))
    ax.set_axis_off()


def parts_figure(view: PartsView) -> Figure:
    """Draw parts pulled apart, numbered, with their sizes beside them."""
    span = float(np.ptp(view.across)), float(np.ptp(view.upward))
    scale = min(118.0 / span[0], 130.0 / span[1])
    height = span[1] * scale + 10.0
    figure = new_figure(width_mm=WIDTH_MM, height_mm=height)
    with styled():
        box = (0.01, 4.0 / height, span[0] * scale / WIDTH_MM, span[1] * scale / height)
        draw_parts(figure.add_axes(box), view)
        lines = [
            f"{number}   {name}: {size} mm"
            for number, ((name, _), size) in enumerate(
                zip(view.labels, view.sizes, strict=True), start=1
            )
        ]
        words = "\n".join(["right x front x up, pins included", *map(drawable, lines)])
        figure.text(0.68, 0.97, words, va="top", fontsize=7.5, linespacing=1.6)
    return figure


def draw_parts(ax: Axes, view: PartsView) -> None:
    """
    Draw parts pulled apart.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and no frame.
    view : PartsView
    """
    extent = (
        float(view.across[0]),
        float(view.across[-1]),
        float(view.upward[0]),
        float(view.upward[-1]),
    )
    colours = np.array([to_rgb(PARTS[k % len(PARTS)]) for k in range(len(view.labels))])
    light = DARKEST + (1 - DARKEST) * np.nan_to_num(view.facing)
    pixels = np.ones((*view.part.shape, 4))
    pixels[..., :3] = colours[np.maximum(view.part, 0)] * light[..., None]
    pixels[..., 3] = view.part >= 0
    ax.imshow(pixels, origin="lower", extent=extent, interpolation="nearest")
    for number, (_, at) in enumerate(view.labels):
        if np.isfinite(at).all():
            ax.text(
                float(at[0]), float(at[1]), str(number + 1), ha="center", va="center",
                fontsize=11, fontweight="bold", path_effects=HALO,
            )  # fmt: skip
    edges = np.arange(len(view.labels)) - 0.5
    ax.contour(view.across, view.upward, view.part, edges, colors=INK, linewidths=0.5,
               linestyles="solid")  # fmt: skip
    ax.set(aspect="equal", xlim=extent[:2], ylim=extent[2:])
    ax.set_axis_off()


def draw_coats(ax: Axes, coats: Sequence[CoatView]) -> None:
    """
    Draw the coats of a wall as strips about the drawn surface, in true proportion.

    Parameters
    ----------
    ax : Axes
        Gets millimetres across: the head's side is on the left.
    coats : sequence of CoatView
        From the inside out.
    """
    hatches = ("", "//", "..", "xx", "\\\\", "oo")
    for number, coat in enumerate(coats):
        strip = Rectangle(
            (coat.from_mm, 0.0), coat.to_mm - coat.from_mm, 1.0,
            facecolor=WALL if coat.drawn else PARTS[number % len(PARTS)], edgecolor=INK,
            linewidth=0.6, hatch="" if coat.drawn else hatches[number % len(hatches)],
        )  # fmt: skip
        ax.add_patch(strip)
        middle, above = (coat.from_mm + coat.to_mm) / 2, 1.12 + 0.26 * number
        ax.plot((middle, middle), (1.0, above - 0.04), color=SOFT, linewidth=0.5)
        about = "about " if coat.drawn else ""
        words = f"{coat.name}, {about}{coat.to_mm - coat.from_mm:.2g} mm"
        ax.text(middle, above, drawable(words), ha="center", fontsize=7.0)
    ax.plot((0, 0), (-0.22, 1.0), color=CLASH, linewidth=1.2)
    line = "outside as drawn" if any(coat.drawn for coat in coats) else "as drawn"
    ax.text(0, -0.26, line, ha="center", va="top", color=CLASH, fontsize=7.0)
    low = min((coat.from_mm for coat in coats), default=-1.0)
    high = max((coat.to_mm for coat in coats), default=1.0)
    side = 0.35 * (high - low)
    ax.set(xlim=(low - side, high + side), ylim=(-0.55, 1.3 + 0.26 * len(coats)))
    ax.set(xlabel="from what is drawn, mm: head's side on the left", yticks=[])
    for name in ("left", "right", "top"):
        ax.spines[name].set_visible(False)
    ax.spines["bottom"].set_color(FAINT)


def _draw_spot(ax: Axes, at: FloatArray, value: float) -> None:
    ax.plot(*at, marker="o", markersize=3.5, color=INK, markeredgecolor="white",
            markeredgewidth=0.7, zorder=5)  # fmt: skip
    ax.annotate(
        f"{value:.1f}", (float(at[0]), float(at[1])), xytext=(4, 3),
        textcoords="offset points", fontsize=7.0, fontweight="bold",
        path_effects=HALO, zorder=6,
    )  # fmt: skip
