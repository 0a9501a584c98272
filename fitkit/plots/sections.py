"""Draw a section through head and piece, with its ease as dimensions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator
from numpy.typing import NDArray

from fitkit.plots.paper import (
    AIR,
    CLASH,
    HAIR,
    HALO,
    HEAD,
    INK,
    SHORT,
    SOFT,
    WALL,
    WALL_EDGE,
)
from fitkit.views.sections import Leader, SectionView
from fitkit.views.words import figure

FloatArray = NDArray[np.float64]

#: Length of the bar at each end of a dimension. [mm]
TICK_MM = 5.0
#: From the finished inner wall to the box of the figure beyond it. [mm]
FIGURE_OFF_MM = 7.0
#: Half of what a letter and a line of a figure take on the scale of a report. [mm]
LETTER_MM, LINE_MM = 4.6, 6.5
#: Moves that a figure may make to keep clear of the others, nearest first: lines.
DODGES = (0, 1, -1, 2, -2, 3, -3, 4, -4)
#: Length of the scale bar. [mm]
SCALE_BAR_MM = 50.0


def draw_section(ax: Axes, view: SectionView) -> None:
    """
    Draw one section: head, hair, finished wall, ease at the tightest places.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and millimetre labels.
    view : SectionView
        What to draw; every line shows its numbers as they are.
    """
    _draw_bodies(ax, view)
    for line in view.sight:
        ax.plot(*line.T, color=SOFT, linewidth=0.8, dashes=(5, 3), gid="sight", zorder=3)
    for name, at in view.marks.items():
        _draw_mark(ax, name, at)
    _draw_frame(ax, view)
    taken: list[FloatArray] = []
    for leader in view.leaders:
        _draw_leader(ax, leader)
        box = _free_box(leader, view.frame_mm, taken)
        _draw_figure(ax, leader, box)
        taken.append(box)


def _draw_bodies(ax: Axes, view: SectionView) -> None:
    field, levels = view.wall_mm, (-np.inf, 0.0)
    across, upward = view.wall_across, view.wall_upward
    for outlines, colour, order in ((view.hair, HAIR, 1.0), (view.head, HEAD, 1.1)):
        for outline in outlines:
            body = Polygon(outline, closed=True, facecolor=colour, edgecolor=INK)
            body.set(linewidth=0.8 if colour == HEAD else 0.5, zorder=order)
            ax.add_patch(body)
    low = min(float(field.min()), -1.0)
    ax.contourf(across, upward, field, levels=(low, levels[1]), colors=[WALL], zorder=1.2)
    ax.contour(across, upward, field, levels=(0.0,), colors=[WALL_EDGE], linewidths=0.7)


def _draw_mark(ax: Axes, name: str, at: FloatArray) -> None:
    inward = -1 if at[0] > 0 else 1
    ax.plot(*at, marker="+", color=INK, markersize=5, markeredgewidth=0.8, zorder=3)
    ax.annotate(
        name.replace(" ", "\n"),
        (at[0], at[1]),
        va="center",
        xytext=(5 * inward, 0),
        textcoords="offset points",
        ha="left" if inward > 0 else "right",
        fontsize=6.5,
        color=SOFT,
        path_effects=HALO,
        zorder=4,
    )


def _draw_leader(ax: Axes, leader: Leader) -> None:
    colour, way = leader_colour(leader), _outward(leader)
    ends = np.stack([leader.start, leader.end])
    thick = 1.8 if leader.is_short else 1.0
    ax.plot(*ends.T, color=colour, linewidth=thick, zorder=5, gid="leader")
    bar = 0.5 * TICK_MM * np.array([-way[1], way[0]])
    for end in ends:
        ax.plot(*np.stack([end - bar, end + bar]).T, color=colour, linewidth=0.8, zorder=5)


def _draw_figure(ax: Axes, leader: Leader, box: FloatArray) -> None:
    across, upward = box[0]
    ax.text(
        across,
        upward,
        leader_words(leader),
        color=leader_colour(leader),
        fontsize=7.5,
        fontweight="bold",
        ha="center",
        va="center",
        path_effects=HALO,
        zorder=6,
    )


def _free_box(
    leader: Leader, frame: tuple[float, float, float, float], taken: Sequence[FloatArray]
) -> FloatArray:
    """
    Find room for a figure beyond the wall, or else beside its leader.

    Boxes are (centre, half extents), shape (2, 2). [mm]
    """
    lines, way = leader_words(leader).split("\n"), _outward(leader)
    half = np.array([LETTER_MM * max(map(len, lines)), LINE_MM * len(lines)])
    outer = leader.end if leader.ease_mm >= 0 else leader.start
    beyond = outer + (FIGURE_OFF_MM + float(half @ np.abs(way))) * way
    aside = np.array([-way[1], way[0]])
    beside = (leader.start + leader.end) / 2 + (2.0 + float(half @ np.abs(aside))) * aside
    lift = np.array([0.0, 2.0 * LINE_MM])
    places = [beyond + dodge * lift for dodge in DODGES]
    boxes = [np.stack([place, half]) for place in (*places[:3], beside, *places[3:])]
    free = (box for box in boxes if _within(box, frame) and not _overlaps(box, taken))
    return next(free, boxes[0])


def _outward(leader: Leader) -> FloatArray:
    """Unit way from the head to the wall, as drawn, shape (2,)."""
    way = (leader.end - leader.start) * np.sign(leader.ease_mm)
    unit: FloatArray = way / max(float(np.linalg.norm(way)), 1e-9)
    return unit


def _within(box: FloatArray, frame: tuple[float, float, float, float]) -> bool:
    left, right, low, high = frame
    (across, upward), (wide, tall) = box
    inside = left <= across - wide and across + wide <= right
    return bool(inside and low <= upward - tall and upward + tall <= high)


def _overlaps(box: FloatArray, taken: Sequence[FloatArray]) -> bool:
    return any(np.all(np.abs(box[0] - other[0]) < box[1] + other[1]) for other in taken)


def leader_words(leader: Leader) -> str:
    """
    Say the figure of a leader; what was asked stands beside it where it is missed.

    Examples
    --------
    >>> import numpy as np
    >>> place = {"start": np.zeros(2), "end": np.ones(2), "zone": "brow"}
    >>> leader_words(Leader(ease_mm=3.21, wanted_mm=6, **place))
    '3.2 of 6'
    """
    if leader.ease_mm < 0:
        return f"{figure(leader.ease_mm)}\nclash"
    asked = f" of {leader.wanted_mm:g}" if leader.is_short else ""
    return figure(leader.ease_mm) + asked


def leader_colour(leader: Leader) -> str:
    """Colour of a leader: clash, short of what was asked, or air."""
    if leader.ease_mm < 0:
        return CLASH
    return SHORT if leader.is_short else AIR


def _draw_frame(ax: Axes, view: SectionView) -> None:
    left, right, low, high = view.frame_mm
    ax.set(xlim=(left, right), ylim=(low, high), aspect="equal")
    ax.set_title(view.plane.title)
    across, upward = view.plane.words
    ax.set(xlabel=f"{across}, mm", ylabel=f"{upward}, mm")
    ax.xaxis.set_major_locator(MultipleLocator(50))
    ax.yaxis.set_major_locator(MultipleLocator(50))
    ends = np.array([left + 8.0, left + 8.0 + SCALE_BAR_MM])
    ax.plot(ends, [low + 8.0] * 2, color=INK, linewidth=2.0, gid="scale bar")
    ax.text(ends.mean(), low + 12.0, f"{SCALE_BAR_MM:g} mm", ha="center", fontsize=6.5)
