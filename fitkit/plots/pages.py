"""Whole figures of a report: axes set out on paper, and results drawn on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure

from fitkit.fit.ease import EaseMap
from fitkit.fit.uncertainty import Interval
from fitkit.plots.bars import draw_zone_bars
from fitkit.plots.eyes import draw_eye
from fitkit.plots.heads import draw_ease_legend, draw_ease_map
from fitkit.plots.paper import SOFT, new_figure, styled
from fitkit.plots.sections import draw_section
from fitkit.plots.strip import draw_verdict
from fitkit.views.eyes import EyeView
from fitkit.views.headline import Headline
from fitkit.views.heads import HeadView
from fitkit.views.sections import SectionView

#: Width of a figure: A4 less its margins. [mm]
WIDTH_MM = 180.0
#: Scales that a section may be drawn at, and the most that it may take across. [mm]
SCALES, MOST_MM = (4, 5, 6, 8, 10), 76.0
#: Room left of a section, between rows, above a section, and below all of them. [mm]
LEFT_MM, GAP_MM, TITLE_MM, FOOT_MM = 14.0, 17.0, 6.0, 6.0
#: How to read a section.
SECTION_NOTE = (
    "Figures: ease in mm; “3 of 6”: 3 mm of the 6 asked. "
    "Grey: finished wall. Sand: hair. Dashes: straight ahead."
)

Box = tuple[float, float, float, float]


def sections_figure(views: Sequence[SectionView]) -> Figure:
    """Set out sections two in a row, all at the same round scale, which is stated."""
    frames = [_frame_size(view) for view in views]
    scale = next(
        (n for n in SCALES if max(w for w, _ in frames) <= n * MOST_MM), SCALES[-1]
    )
    rows = [frames[k : k + 2] for k in range(0, len(frames), 2)]
    tall = [max(height for _, height in row) / scale for row in rows]
    height_mm = sum(tall) + len(rows) * GAP_MM + FOOT_MM
    figure = new_figure(width_mm=WIDTH_MM, height_mm=height_mm)
    with styled():
        for place, (view, (wide, high)) in enumerate(zip(views, frames, strict=True)):
            row, column = divmod(place, 2)
            left = LEFT_MM + column * WIDTH_MM / 2
            top = height_mm - sum(tall[:row]) - row * GAP_MM - TITLE_MM
            box = (left, top - high / scale, wide / scale, high / scale)
            draw_section(figure.add_axes(_share(box, height_mm)), view)
        note = f"{SECTION_NOTE}\nScale 1:{scale} where this figure is {WIDTH_MM:g} mm wide."
        figure.text(LEFT_MM / WIDTH_MM, 1.5 / height_mm, note, fontsize=6.5, color=SOFT)
    return figure


def _frame_size(view: SectionView) -> tuple[float, float]:
    left, right, low, high = view.frame_mm
    return right - left, high - low


def _share(box: tuple[float, float, float, float], height_mm: float) -> Box:
    left, low, wide, high = box
    return left / WIDTH_MM, low / height_mm, wide / WIDTH_MM, high / height_mm


def ease_figure(views: Sequence[HeadView]) -> Figure:
    """Set out head views three in a row, with the legend last."""
    rows = len(views) // 3 + 1
    figure = new_figure(width_mm=WIDTH_MM, height_mm=53.0 * rows)
    with styled():
        axes = [figure.add_subplot(rows, 3, place + 1) for place in range(len(views) + 1)]
        draw_ease_map(axes[:-1], views)
        draw_ease_legend(axes[-1])
        figure.subplots_adjust(0.01, 0.01, 0.99, 0.95, wspace=0.02, hspace=0.14)
    return figure


def zones_figure(ease_map: EaseMap, intervals: Mapping[str, Interval] | None) -> Figure:
    """Draw ease by zone on a figure of its own."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=22.0 + 6.2 * len(ease_map.by_zone))
    with styled():
        draw_zone_bars(figure.add_subplot(), ease_map, intervals=intervals)
        figure.tight_layout(pad=0.4)
    return figure


def eyes_figure(views: Sequence[EyeView]) -> Figure:
    """Draw what is before each eye, side by side."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=66.0)
    with styled():
        for place, view in enumerate(views, start=1):
            draw_eye(figure.add_subplot(1, len(views), place), view)
        figure.tight_layout(pad=0.4, w_pad=2.0)
    return figure


def verdict_figure(headline: Headline) -> Figure:
    """Draw the verdict as a strip."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=32.0)
    with styled():
        draw_verdict(figure.add_axes((0.0, 0.0, 1.0, 1.0)), headline)
    return figure
