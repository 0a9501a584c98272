"""Draw a page of templates, 1:1, fit for black-and-white print."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from fitkit.geometry.mesh import FloatArray
from fitkit.plots.lettering import size_for_capital_pt, text_width_mm
from fitkit.plots.paper import INK, SOFT, drawable, new_figure, styled
from fitkit.views.pages import (
    BAR_MM,
    CAPTION_LINE_MM,
    CAPTION_PT,
    MARGIN_MM,
    Page,
    Paper,
    Placed,
    join_marks_mm,
)
from fitkit.views.templates import Arrow, Hole, Job, Line, Words

#: How each job is drawn: width in points and dashes; black, so that any printer does.
LINES: dict[Job, dict[str, Any]] = {
    "cut": {"linewidth": 1.4, "linestyle": "-"},
    "score": {"linewidth": 0.8, "linestyle": (0, (7, 2.2, 1.2, 2.2))},
    "drill": {"linewidth": 0.6, "linestyle": "-"},
    "mark": {"linewidth": 0.3, "linestyle": "-"},
}
#: What the key calls each job.
KEY: dict[Job, str] = {
    "cut": "cut, along its middle",
    "score": "score or fold",
    "drill": "drill",
    "mark": "mark or read, do not cut",
}
#: How far the cross of a hole stands out of it, half the size of the slanting cross at a
#: join, and the length of an arrow's tip. [mm]
CROSS_MM, JOIN_MM, TIP_MM = 2.0, 3.0, 3.2


def page_figure(page: Page, *, title: str, heading: str, number: str) -> Figure:
    """
    Draw one page of templates.

    Parameters
    ----------
    page : Page
    title : str
        Who and what it is for.
    heading : str
        What is on this page.
    number : str
        Which page of how many, and when it was made.
    """
    figure, ax = blank_page(page.paper)
    with styled():
        draw_frame(ax, page.paper, title=title, heading=heading, number=number)
        draw_foot(ax)
        for placed in page.placed:
            _draw_placed(ax, placed)
    return figure


def blank_page(paper: Paper) -> tuple[Figure, Axes]:
    """Give an empty page and axes whose unit is the millimetre, from its lower left."""
    figure = new_figure(width_mm=paper.width_mm, height_mm=paper.height_mm)
    with styled():
        ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        ax.set(xlim=(0, paper.width_mm), ylim=(0, paper.height_mm))
        ax.set_axis_off()
    return figure, ax


def draw_frame(ax: Axes, paper: Paper, *, title: str, heading: str, number: str) -> None:
    """Draw the two lines at the head of a page, and a rule below them."""
    right, top = paper.width_mm - MARGIN_MM, paper.height_mm - MARGIN_MM
    number_wide = text_width_mm(number, 7.0)
    fitting = _shortened(drawable(title), 9.0, right - MARGIN_MM - number_wide - 5.0)
    ax.text(MARGIN_MM, top - 3.0, fitting, fontsize=9.0, fontweight="bold")
    ax.text(right, top - 3.0, number, fontsize=7.0, ha="right", color=SOFT)
    ax.text(MARGIN_MM, top - 7.6, drawable(heading), fontsize=7.5, color=SOFT)
    ax.plot([MARGIN_MM, right], [top - 9.4] * 2, color=SOFT, linewidth=0.4)


def draw_foot(ax: Axes) -> None:
    """Draw the check bar, the note to print unscaled, and the key to the lines."""
    low = MARGIN_MM + 8.0
    ends = np.array([MARGIN_MM, MARGIN_MM + BAR_MM])
    ax.plot(ends, [low, low], color="black", linewidth=1.1, solid_capstyle="butt")
    for tick in np.arange(0.0, BAR_MM + 1, 10.0):
        tall = 3.0 if tick % 50 == 0 else 1.6
        at = MARGIN_MM + tick
        ax.plot([at, at], [low, low + tall], color="black", linewidth=0.3)
    ax.text(
        MARGIN_MM + BAR_MM + 3.0,
        low + 0.3,
        "100 mm from end to end: measure it before you cut.\n"
        "Print unscaled (100 %, actual size); never “fit to page”.",
        fontsize=7.0,
        va="center",
        linespacing=1.3,
    )
    start = MARGIN_MM
    for job, words in KEY.items():
        _draw_key(ax, job, start, MARGIN_MM + 1.6)
        ax.text(start + 14.0, MARGIN_MM + 1.6, words, fontsize=6.5, va="center")
        start += 18.0 + text_width_mm(words, 6.5)


def _draw_key(ax: Axes, job: Job, left: float, low: float) -> None:
    if job == "drill":
        _draw_hole(ax, Hole(centre_mm=np.array([left + 9.0, low]), diameter_mm=3.0), None)
        return
    ax.plot([left, left + 12.0], [low, low], color="black", **LINES[job])


def _draw_placed(ax: Axes, placed: Placed) -> None:
    template, shift = placed.template, placed.shift_mm
    clip = None
    if placed.tile is not None:
        clip = _draw_window(ax, placed)
    for line in template.lines:
        _draw_line(ax, line, shift, clip)
    for hole in template.holes:
        moved = Hole(
            centre_mm=hole.centre_mm + shift, diameter_mm=hole.diameter_mm, job=hole.job
        )
        _draw_hole(ax, moved, clip)
    if template.arrow is not None:
        _draw_arrow(ax, template.arrow, shift, placed)
    for words in template.words:
        _draw_words(ax, words, shift, placed)
    left, top = placed.caption_at_mm
    for place, text in enumerate(placed.caption):
        ax.text(
            left,
            top - place * CAPTION_LINE_MM,
            drawable(text),
            fontsize=CAPTION_PT,
            fontweight="bold" if place == 0 else "normal",
            va="top",
        )


def _draw_window(ax: Axes, placed: Placed) -> Rectangle:
    """Draw edge and join crosses of a page to be joined; gives what to clip by."""
    low, high = placed.window_mm
    box = Rectangle(tuple(low), *(high - low), transform=ax.transData)
    edge = Rectangle(
        tuple(low),
        *(high - low),
        fill=False,
        edgecolor=SOFT,
        linewidth=0.3,
        linestyle=(0, (2, 3)),
    )
    ax.add_patch(edge)
    for across, up in join_marks_mm(placed):
        for lean in (1, -1):
            ax.plot(
                [across - JOIN_MM, across + JOIN_MM],
                [up - lean * JOIN_MM, up + lean * JOIN_MM],
                color="black",
                linewidth=0.3,
                gid="join",
            )
    return box


def _draw_line(ax: Axes, line: Line, shift: FloatArray, clip: Rectangle | None) -> None:
    patch = Polygon(
        line.points_mm + shift,
        closed=line.closed,
        fill=False,
        edgecolor="black",
        joinstyle="round",
        capstyle="butt",
        gid=line.job,
        **LINES[line.job],
    )
    ax.add_patch(patch)
    if clip is not None:
        patch.set_clip_path(clip)


def _draw_hole(ax: Axes, hole: Hole, clip: Rectangle | None) -> None:
    across, up = hole.centre_mm
    reach = CROSS_MM + hole.diameter_mm / 2
    ring = Circle((across, up), hole.diameter_mm / 2, fill=False, edgecolor="black")
    ring.set(**LINES[hole.job], gid=hole.job)
    ax.add_patch(ring)
    marks = [
        *ax.plot([across - reach, across + reach], [up, up], color="black", linewidth=0.3),
        *ax.plot([across, across], [up - reach, up + reach], color="black", linewidth=0.3),
    ]
    if clip is not None:
        for each in (ring, *marks):
            each.set_clip_path(clip)


def _draw_arrow(ax: Axes, arrow: Arrow, shift: FloatArray, placed: Placed) -> None:
    tail, tip = arrow.ends_mm + shift
    low, high = placed.window_mm
    if np.any(np.minimum(tail, tip) < low) or np.any(np.maximum(tail, tip) > high):
        return
    way = (tip - tail) / np.linalg.norm(tip - tail)
    side = np.array([-way[1], way[0]])
    base = tip - TIP_MM * way
    ax.plot(*np.stack([tail, base]).T, color=INK, linewidth=0.5)
    ax.add_patch(Polygon([tip, base + side, base - side], closed=True, facecolor=INK))
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    at = (tail + tip) / 2 + 2.4 * side
    words = Words(text=arrow.words, at_mm=at, height_mm=1.9, turn_deg=turn)
    _draw_words(ax, words, np.zeros(2), placed)


def _draw_words(ax: Axes, words: Words, shift: FloatArray, placed: Placed) -> None:
    """Draw words; on a page to be joined only where their middle is, whole."""
    text, at = drawable(words.text), words.at_mm + shift
    low, high = placed.window_mm
    if placed.tile is not None and not (np.all(at >= low) and np.all(at <= high)):
        return
    size = size_for_capital_pt(height_mm=words.height_mm)
    half = np.array([text_width_mm(text, size) / 2 + 0.5, words.height_mm])
    turn = np.radians(words.turn_deg)
    reach = np.abs([[np.cos(turn), np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ half
    at = np.clip(at, low + reach, np.maximum(high - reach, low + reach))
    ax.text(
        float(at[0]),
        float(at[1]),
        text,
        fontsize=size,
        rotation=words.turn_deg,
        rotation_mode="anchor",
        ha="center",
        va="center",
    )


def _shortened(text: str, size_pt: float, wide_mm: float) -> str:
    """Leave out the end of a text that is too long for its room."""
    if text_width_mm(text, size_pt, bold=True) <= wide_mm:
        return text
    while text and text_width_mm(text + "…", size_pt, bold=True) > wide_mm:
        text = text[:-1]
    return text + "…"
