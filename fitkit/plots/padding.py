"""Draw pressures on the head, pad sets side by side, neck loads, and pads to cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter
from numpy.typing import NDArray

from fitkit.fit.balance import AVIATOR_MOMENT_N_CM, SOLDIER_MOMENT_N_CM, Balance
from fitkit.fit.foam import Foam
from fitkit.fit.pad_options import OptionRow
from fitkit.fit.pad_patterns import PadPattern
from fitkit.fit.padding import GUIDE_KPA, Settled
from fitkit.geometry.mesh import Mesh
from fitkit.plots.paper import CLASH, FAINT, INK, SOFT

#: Upper edge and colour of each band of pressure; edges are also drawn as lines. [kPa]
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
LINE_RATIO = 1.35
#: Where each view looks from: name, way across the paper, way up it.
VIEWS: tuple[tuple[str, tuple[int, int, int], tuple[int, int, int]], ...] = (
    ("front", (-1, 0, 0), (0, 0, 1)),
    ("wearer's left", (0, -1, 0), (0, 0, 1)),
    ("back", (1, 0, 0), (0, 0, 1)),
    ("top", (1, 0, 0), (0, 1, 0)),
)


def draw_pressure(axes: Sequence[Axes], head: Mesh, settled: Settled) -> None:
    """
    Draw the pressure on the head, one view on each of up to four axes.

    Parameters
    ----------
    axes : sequence of Axes
        For the front, the wearer's left, the back and the top.
    head : Mesh
        The head that `settled` was worked out on.
    settled : Settled
        Pressure in kPa at every vertex. A cross marks the peak where it is seen.
    """
    for ax, (title, across, upward) in zip(axes, VIEWS, strict=False):
        _draw_view(ax, head, settled, np.array([across, upward], dtype=float))
        ax.set_title(title)


def _draw_view(ax: Axes, head: Mesh, settled: Settled, paper: NDArray[np.float64]) -> None:
    toward = np.cross(paper[0], paper[1])
    seen = np.nonzero(head.normals @ toward > 0)[0]
    order = seen[np.argsort(head.centroids[seen] @ toward)]
    flat = head.vertices @ paper.T
    kpa = settled.pressure_kpa[head.faces[order]].mean(axis=1)
    band = np.digitize(kpa, [edge for edge, _ in PRESSURE_BANDS[:-1]])
    colours = np.array([colour for _, colour in PRESSURE_BANDS])[band]
    shown = PolyCollection(
        list(flat[head.faces[order]]), facecolors=colours.tolist(),
        edgecolors=colours.tolist(), linewidths=0.3,
    )  # fmt: skip
    ax.add_collection(shown)
    ax.autoscale_view()
    peak = settled.peak_at_mm
    vertex = int(np.linalg.norm(head.vertices - peak, axis=1).argmin())
    if head.vertex_normals[vertex] @ toward > 0.1:
        ax.plot(*(paper @ peak), marker="x", color=INK, markersize=5, zorder=3)
        ax.annotate(
            f"{settled.peak_kpa:.1f} kPa",
            (float(paper[0] @ peak), float(paper[1] @ peak)),
            xytext=(4, 4),
            textcoords="offset points",
            fontsize=7.0,
            color=INK,
        )
    ax.set_aspect("equal")
    ax.set_axis_off()


def draw_options(ax: Axes, rows: Sequence[OptionRow]) -> None:
    """
    Draw pad sets by peak pressure and slip margin; the best lie low and to the right.

    Parameters
    ----------
    ax : Axes
        Slip margin across, peak pressure (kPa, logarithmic) up.
    rows : sequence of OptionRow
        Those that cannot be worn are left out. Filled: as good as any; open: another is
        no worse in anything. Larger marks wobble more.
    """
    worn = [row for row in rows if not row.problem and row.holds]
    for row in worn:
        dominated = bool(row.dominated_by)
        ax.plot(
            row.slip_margin,
            row.peak_kpa,
            marker="o",
            markersize=3.0 + 2.0 * min(row.wobble_deg_per_nm, 4.0),
            markerfacecolor="none" if dominated else "#6397c2",
            markeredgecolor=FAINT if dominated else INK,
            markeredgewidth=0.7,
            linestyle="none",
            gid=f"option {row.option.name}",
        )
    ax.axhline(GUIDE_KPA, color=CLASH, linewidth=0.8, linestyle=(0, (3, 2)))
    ax.text(0.99, GUIDE_KPA, "guide 4.3 kPa", color=CLASH, ha="right", va="bottom",
            fontsize=6.5, transform=ax.get_yaxis_transform())  # fmt: skip
    _plain_log(ax)
    ax.set(xlabel="slip margin (1: no friction needed)", ylabel="peak pressure, kPa")
    ax.spines[["top", "right"]].set_visible(False)


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
        ax.text(moment, -0.55, words, fontsize=6.0, color=SOFT, rotation=90, va="top")
    ax.set_yticks(range(len(names)), names)
    ax.set(xlabel="moment about the neck joint, N cm", ylim=(len(names) - 0.4, -0.6))
    ax.legend(frameon=False, fontsize=7.0, loc="lower right")
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
        f"{pattern.name}: {pattern.foam}, {pattern.thickness_mm:g} mm, "
        f"{pattern.area_mm2 / 100:.0f} cm², stretch {pattern.mean_stretch_percent:.1f} % "
        f"(worst {pattern.worst_stretch_percent:.1f} %)"
    )
    ax.set_aspect("equal")
    ax.set_axis_off()
