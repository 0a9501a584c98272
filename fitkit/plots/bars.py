"""Draw each zone's ease against what was asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fitkit.fit.ease import EaseMap, ZoneEase
from fitkit.fit.uncertainty import Interval
from fitkit.plots.paper import CLASH_HATCH, FAINT, INK, SHORT_HATCH, SOFT
from fitkit.views.words import UNSEEN_MM
from fitkit.wearer.zones import zone_words

#: Half the height of a bar, and of the marks of what was asked, in rows.
HALF_BAR, HALF_MARK = 0.28, 0.42
#: Bars of zones that keep the ease asked, fall short of it, or clash.
KEPT, SHORT_BAR, CLASH_BAR = "#8fb4d3", "#e6c27a", "#dd8a52"


def draw_zone_bars(
    ax: Axes, ease_map: EaseMap, *, intervals: Mapping[str, Interval] | None = None
) -> None:
    """
    Draw the least and the median ease of every zone, with what was asked.

    Parameters
    ----------
    ax : Axes
        Zones run down, millimetres across.
    ease_map : EaseMap
        Bars end at the least ease of a zone, diamonds stand at its median.
    intervals : mapping of zone to Interval, optional
        90 % intervals of the least ease, drawn as whiskers.
    """
    zones = tuple(ease_map.by_zone.values())
    rows = range(len(zones))
    for row, zone in zip(rows, zones, strict=True):
        _draw_zone(ax, row, zone)
    if intervals is not None:
        for row, zone in zip(rows, zones, strict=True):
            sure = intervals[zone.zone]
            ends = (sure.low_mm, sure.high_mm)
            ax.plot(
                ends,
                (row, row),
                color=INK,
                linewidth=1.0,
                marker="|",
                markersize=5,
                gid=f"interval {zone.zone}",
                zorder=4,
            )
    ax.axvline(0.0, color=INK, linewidth=0.8)
    ax.set_yticks(rows, [zone_words(zone.zone) for zone in zones])
    ax.set(ylim=(len(zones) - 0.4, -0.6), xlabel="ease, mm (below 0: clash)")
    ax.grid(axis="x", color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.tick_params(axis="y", length=0)
    _draw_legend(ax, with_intervals=intervals is not None)


def _draw_zone(ax: Axes, row: int, zone: ZoneEase) -> None:
    colour, hatch = bar_look(zone)
    ax.barh(
        row,
        zone.least_mm,
        height=2 * HALF_BAR,
        facecolor=colour,
        edgecolor=INK,
        linewidth=0.5,
        hatch=hatch,
        gid=f"least {zone.zone}",
        zorder=2,
    )
    ax.plot(
        zone.median_mm,
        row,
        marker="D",
        markersize=4,
        color="white",
        markeredgecolor=INK,
        markeredgewidth=0.8,
        linestyle="none",
        gid=f"median {zone.zone}",
        zorder=3,
    )
    span = (row - HALF_MARK, row + HALF_MARK)
    ax.plot(
        (zone.wanted_mm,) * 2,
        span,
        color=INK,
        linewidth=2.0,
        gid=f"asked {zone.zone}",
        zorder=3,
    )
    if zone.most_mm is not None:
        ax.plot(
            (zone.most_mm,) * 2,
            span,
            color=INK,
            linewidth=1.0,
            linestyle=(0, (2, 1)),
            gid=f"most {zone.zone}",
            zorder=3,
        )


def bar_look(zone: ZoneEase) -> tuple[str, str | None]:
    """Colour and hatch of a zone's bar: clash, short of what was asked, or kept."""
    if zone.least_mm < 0:
        return CLASH_BAR, CLASH_HATCH
    return (SHORT_BAR, SHORT_HATCH) if zone.short_mm > UNSEEN_MM else (KEPT, None)


def _draw_legend(ax: Axes, *, with_intervals: bool) -> None:
    keys: Sequence[Patch | Line2D] = (
        Patch(facecolor=KEPT, edgecolor=INK, linewidth=0.5, label="least ease"),
        Line2D(
            [],
            [],
            color=INK,
            marker="|",
            markersize=5,
            linewidth=1.0,
            label="90 % interval of the least",
        ),
        Line2D(
            [],
            [],
            marker="D",
            markersize=4,
            color="white",
            markeredgecolor=INK,
            linestyle="none",
            label="median ease",
        ),
        Line2D([], [], color=INK, linewidth=2.0, label="least asked"),
        Line2D(
            [],
            [],
            color=INK,
            linewidth=1.0,
            linestyle=(0, (2, 1)),
            label="most asked, for the median",
        ),
    )
    shown = [key for key in keys if with_intervals or key is not keys[1]]
    ax.legend(
        handles=shown,
        loc="lower center",
        bbox_to_anchor=(0.45, 1.0),
        ncols=3,
        frameon=False,
        fontsize=7.0,
        labelcolor=SOFT,
    )
