"""Draw pressures on the head, pad sets side by side, neck loads, and pads to cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from numpy.typing import NDArray

from fitkit.fit.balance import AVIATOR_MOMENT_N_CM, SOLDIER_MOMENT_N_CM, Balance
from fitkit.fit.foam import Foam
from fitkit.fit.pad_options import OptionRow
from fitkit.fit.pad_patterns import PadPattern
from fitkit.fit.padding import GUIDE_KPA, Settled
from fitkit.geometry.mesh import Mesh
from fitkit.plots.paper import CLASH, FAINT, HALO, INK, SOFT
from fitkit.views.pressures import PressureView, pressure_views

#: Upper edge and colour of each band of pressure; edges are drawn as lines. [kPa]
PRESSURE_BANDS: tuple[tuple[float, str], ...] = (
    (0.05, "#f4eee6"),
    (1.0, "#dfe9f2"),
    (2.0, "#b7d0e6"),
    (GUIDE_KPA, "#86afd3"),
    (8.0, "#e6b36a"),
    (16.0, "#d57b33"),
    (np.inf, "#9c3d08"),
)
#: Names of curves stand at least this factor of stress apart.
LINE_RATIO = 1.5
#: Share of brightness that is left where the surface turns away.
DARKEST = 0.62
#: Hatch of pressure beyond the guide: it shows without colour.
OVER_HATCH = "////"


def draw_pressure(axes: Sequence[Axes], head: Mesh, settled: Settled) -> None:
    """
    Draw the pressure on a head from four sides, one on each of as many axes.

    Parameters
    ----------
    axes : sequence of Axes
        Four, for the front, the wearer's left, the back and the top.
    head : Mesh
        The head that `settled` was worked out on.
    settled : Settled
    """
    draw_pressure_views(axes, pressure_views(head, settled))


def draw_pressure_views(axes: Sequence[Axes], views: Sequence[PressureView]) -> None:
    """
    Draw the pressure on the head, one view on each of as many axes.

    Pressures beyond the guide are hatched, and a line runs around every band, so that
    both show without colour. A cross marks the peak where it is seen.
    `draw_pressure_legend` explains them.
    """
    for ax, view in zip(axes, views, strict=True):
        _draw_view(ax, view)


def _draw_view(ax: Axes, view: PressureView) -> None:
    half = 0.5 * float(view.across[1] - view.across[0])
    extent = (
        float(view.across[0]) - half,
        float(view.across[-1]) + half,
        float(view.upward[0]) - half,
        float(view.upward[-1]) + half,
    )
    ax.imshow(_pixels(view), origin="lower", extent=extent, interpolation="bilinear")
    edges = [edge for edge, _ in PRESSURE_BANDS if np.isfinite(edge)]
    over = view.kpa >= GUIDE_KPA
    if over.any():
        drawn = ax.contourf(
            view.across, view.upward, over.astype(float), levels=(0.5, 1.5),
            colors="none", hatches=[OVER_HATCH],
        )  # fmt: skip
        drawn.set(edgecolor=INK, linewidth=0.0)
    widths = [1.1 if edge == GUIDE_KPA else 0.35 for edge in edges]
    ax.contour(view.across, view.upward, view.kpa, edges, colors=INK, linewidths=widths,
               linestyles="solid")  # fmt: skip
    if view.peak_at is not None:
        right, up = view.peak_at.tolist()
        ax.plot(right, up, marker="x", color=INK, markersize=5, zorder=3)
        ax.annotate(
            f"{view.peak_kpa:.1f} kPa", (right, up), xytext=(4, 4), color=INK,
            textcoords="offset points", fontsize=7.0, path_effects=HALO,
        )  # fmt: skip
    ax.set_title(view.title)
    ax.set(aspect="equal", xlim=extent[:2], ylim=extent[2:])
    ax.set_axis_off()


def _pixels(view: PressureView) -> NDArray[np.float64]:
    """Colours of a view, shape (h, w, 4): its band, darker where it turns away."""
    colours = np.array([to_rgb(colour) for _, colour in PRESSURE_BANDS])
    band = np.digitize(view.kpa, [edge for edge, _ in PRESSURE_BANDS[:-1]])
    off = np.isnan(view.kpa)
    band[off] = 0
    light = DARKEST + (1.0 - DARKEST) * np.nan_to_num(view.facing)
    pixels = np.ones((*view.kpa.shape, 4))
    pixels[..., :3] = colours[band] * light[..., None]
    pixels[..., 3] = ~off
    return pixels


def draw_pressure_legend(ax: Axes) -> None:
    """Draw the bands of pressure side by side with their kPa, and what is hatched."""
    for place, (edge, colour) in enumerate(PRESSURE_BANDS):
        hatch = OVER_HATCH if place and PRESSURE_BANDS[place - 1][0] >= GUIDE_KPA else ""
        key = Rectangle((place, 0.0), 1.0, 1.0, facecolor=colour, edgecolor=INK,
                        hatch=hatch, linewidth=0.5)  # fmt: skip
        ax.add_patch(key)
        if np.isfinite(edge):
            words = f"{edge:.1f}\nguide" if edge == GUIDE_KPA else f"{edge:g}"
            ax.text(place + 1.0, -0.25, words, ha="center", va="top", fontsize=6.5)
    count = len(PRESSURE_BANDS)
    ax.text(0.5, 1.25, "no touch", ha="center", fontsize=6.5, color=SOFT)
    ax.text(count + 0.2, 0.5, "kPa", va="center", color=SOFT)
    ax.set(xlim=(-0.5, count + 1.2), ylim=(-1.9, 2.0))
    ax.set_axis_off()


def draw_options(ax: Axes, rows: Sequence[OptionRow], *, chosen: str = "") -> None:
    """
    Draw pad sets by peak pressure and slip margin; the best lie low and to the right.

    Parameters
    ----------
    ax : Axes
        Slip margin across, peak pressure (kPa, logarithmic) up.
    rows : sequence of OptionRow
        Those that cannot be worn are left out. Filled: as good as any; open: another is
        no worse in anything. Larger marks wobble more.
    chosen : str
        Name of an option that is pointed out; none if empty.
    """
    worn = [row for row in rows if not row.problem and row.holds]
    for row in worn:
        dominated = bool(row.dominated_by)
        ax.plot(
            row.slip_margin,
            row.peak_kpa,
            marker="o",
            markersize=_mark_size(row.wobble_deg_per_nm),
            markerfacecolor="none" if dominated else "#6397c2",
            markeredgecolor=FAINT if dominated else INK,
            markeredgewidth=0.7,
            linestyle="none",
            gid=f"option {row.option.name}",
        )
        if row.option.name == chosen:
            ax.annotate(
                f"taken: {chosen}", (row.slip_margin, row.peak_kpa), xytext=(18, -15),
                textcoords="offset points", fontsize=7.0, color=INK, path_effects=HALO,
                arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 0.7},
            )  # fmt: skip
    _option_keys(ax)
    ax.axhline(GUIDE_KPA, color=CLASH, linewidth=0.8, linestyle=(0, (3, 2)))
    ax.text(0.99, GUIDE_KPA, "guide 4.3 kPa", color=CLASH, ha="right", va="bottom",
            fontsize=6.5, transform=ax.get_yaxis_transform())  # fmt: skip
    _plain_log(ax)
    if worn:
        ax.set_ylim(bottom=0.72 * min(*(row.peak_kpa for row in worn), GUIDE_KPA))
    ax.set(xlabel="slip margin (1: no friction needed)", ylabel="peak pressure, kPa")
    ax.spines[["top", "right"]].set_visible(False)


def _mark_size(wobble_deg_per_nm: float) -> float:
    return 3.0 + 2.0 * min(wobble_deg_per_nm, 4.0)


def _option_keys(ax: Axes) -> None:
    """Say what filled, open, small and large marks mean."""
    keys = [
        ("as good as any", "#6397c2", INK, 1.0),
        ("another is no worse in anything", "none", FAINT, 1.0),
        ("wobbles 0.5 deg per N m", "none", INK, 0.5),
        ("wobbles 3 deg per N m", "none", INK, 3.0),
    ]
    for words, fill, edge, wobble in keys:
        ax.plot([], [], marker="o", linestyle="none", label=words,
                markersize=_mark_size(wobble), markerfacecolor=fill,
                markeredgecolor=edge, markeredgewidth=0.7)  # fmt: skip
    ax.legend(frameon=False, fontsize=6.5, loc="lower left", ncols=4,
              bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2, handletextpad=0.4)  # fmt: skip


def draw_neck_loads(ax: Axes, balances: Sequence[tuple[str, Balance]]) -> None:
    """Draw the moment in every posture, one row of bars for each named balance."""
    count = len(balances)
    names = list(balances[0][1].loads)
    for place, (label, balance) in enumerate(balances):
        at = np.arange(len(names)) + 0.8 * (place + 0.5) / count - 0.4
        totals = [balance.loads[name].total_n_cm for name in names]
        shade = str(0.45 + 0.4 * place / max(count - 1, 1))
        ax.barh(at, totals, height=0.7 / count, color=shade, edgecolor=INK,
                linewidth=0.5, label=label)  # fmt: skip
    for moment, words in (
        (SOLDIER_MOMENT_N_CM, "soldiers, preliminary"),
        (AVIATOR_MOMENT_N_CM, "aviators, from memory"),
    ):
        ax.axvline(moment, color=SOFT, linewidth=0.8, linestyle=(0, (3, 2)))
        ax.text(moment + 1.0, -0.55, words, fontsize=6.0, color=SOFT, rotation=90, va="top")
    ax.set_yticks(range(len(names)), names)
    ax.set(xlabel="moment about the neck joint, N cm", ylim=(len(names) - 0.4, -0.6))
    ax.legend(frameon=False, fontsize=7.0, loc="lower left", ncols=count,
              bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2)  # fmt: skip
    ax.spines[["top", "right", "left"]].set_visible(False)


def draw_foams(ax: Axes, foams: Sequence[Foam]) -> None:
    """Draw stress against compression: readings as points, the extension dashed."""
    for place, foam in enumerate(foams):
        shade = str(0.05 + 0.6 * place / max(len(foams) - 1, 1))
        read = np.linspace(0, foam.read_strain, 60)
        more = np.linspace(foam.read_strain, foam.most_strain, 30)
        ax.plot(100 * read, foam.stress(read), color=shade, linewidth=1.0)
        ax.plot(100 * more, foam.stress(more), color=shade, linewidth=1.0, linestyle="--")
        ax.plot(
            100 * np.array(foam.strain), foam.stress_kpa, ".", color=shade, markersize=4
        )
    _plain_log(ax)
    _name_ends(ax, foams)
    ax.set(xlabel="compression, %", ylabel="stress, kPa", xlim=(0, 110))
    ax.spines[["top", "right"]].set_visible(False)


def _plain_log(ax: Axes) -> None:
    """Scale upwards by decades, with numbers written out."""
    ax.set_yscale("log")
    ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.yaxis.set_minor_formatter(NullFormatter())


def _name_ends(ax: Axes, foams: Sequence[Foam]) -> None:
    """Name every curve at its end, names at least a line apart."""
    last = 0.0
    for foam in sorted(foams, key=lambda one: float(one.stress(one.most_strain))):
        end = float(foam.stress(foam.most_strain))
        last = max(end, LINE_RATIO * last)
        ax.annotate(
            foam.name,
            (100 * foam.most_strain, end),
            xytext=(88, last),
            fontsize=6.5,
            color=INK,
            va="center",
            arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.5},
        )


def draw_pattern(ax: Axes, pattern: PadPattern) -> None:
    """Draw one pad as it is cut, in mm, with its grain arrow and figures."""
    for outline in pattern.outlines_mm:
        ring = np.vstack([outline, outline[:1]])
        ax.plot(*ring.T, color=INK, linewidth=0.9)
    right, up = pattern.grain_at_mm
    ax.annotate(
        "",
        (right, up + 15),
        xytext=(right, up - 15),
        arrowprops={"arrowstyle": "->", "color": SOFT},
    )
    ax.text(right + 3, up, pattern.grain, fontsize=6.5, color=SOFT)
    ax.set_title(
        f"{pattern.name}: {pattern.foam}, {pattern.thickness_mm:g} mm\n"
        f"{pattern.area_mm2 / 100:.0f} cm², stretch {pattern.mean_stretch_percent:.1f} %, "
        f"worst {pattern.worst_stretch_percent:.1f} %",
        fontsize=7.0,
    )
    ax.set_aspect("equal")
    ax.set_axis_off()
