"""Paper for figures: sizes in millimetres, one style, the same bytes for the same data."""

from __future__ import annotations

import io
from contextlib import AbstractContextManager
from functools import cache
from types import MappingProxyType
from typing import Any

import matplotlib as mpl
from matplotlib import patheffects
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font

#: Millimetres in an inch, which figures are measured in.
INCH_MM = 25.4
#: Ink and its lighter tones.
INK, SOFT, FAINT = "#22262b", "#5d656e", "#c3c8ce"
#: Head, hair and finished wall.
HEAD, HAIR, WALL, WALL_EDGE = "#f4eee6", "#d8cbb8", "#a9b2bb", "#3c454e"
#: Clash, and air that is less than was asked.
CLASH, SHORT, AIR = "#a63a00", "#7a4d00", "#1d4f7c"
#: Hatch of a clash, and of air that is less than was asked: they show without colour.
CLASH_HATCH, SHORT_HATCH = "xxxx", "...."
#: White around letters that stand on a drawing.
HALO = (patheffects.withStroke(linewidth=2.2, foreground="white"),)

#: Settings of every figure; letters stay letters of a shape, so no font is needed.
_STYLE: Any = MappingProxyType(
    {
        "font.family": "DejaVu Sans",
        "font.size": 7.5,
        "axes.titlesize": 8.5,
        "axes.labelsize": 7.0,
        "axes.edgecolor": FAINT,
        "axes.labelcolor": SOFT,
        "axes.linewidth": 0.6,
        "axes.titlelocation": "left",
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "xtick.labelsize": 6.5,
        "ytick.labelsize": 6.5,
        "text.color": INK,
        "text.parse_math": False,
        "hatch.linewidth": 0.6,
        "svg.fonttype": "path",
        "svg.hashsalt": "fitkit",
        "figure.facecolor": "white",
        "savefig.facecolor": "white",
    }
)


def styled() -> AbstractContextManager[None]:
    """Give the house style to whatever is drawn within."""
    return mpl.rc_context(dict(_STYLE))


def drawable(text: str) -> str:
    """
    Put a question mark for every letter that the font of figures does not have.

    Examples
    --------
    >>> drawable("Åsa 水獭")
    'Åsa ??'
    """
    known = _letters()
    return "".join(letter if ord(letter) in known else "?" for letter in text)


@cache
def _letters() -> frozenset[int]:
    """Code points that the font of figures has."""
    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def new_figure(*, width_mm: float, height_mm: float) -> Figure:
    """Give an empty figure of a size on paper; it belongs to no window and no list."""
    with styled():
        figure = Figure(figsize=(width_mm / INCH_MM, height_mm / INCH_MM))
    FigureCanvasAgg(figure)
    return figure


def svg_bytes(figure: Figure) -> bytes:
    """Give a figure as SVG; the same figure gives the same bytes."""
    return _saved(figure, "svg", metadata={"Date": None, "Creator": "fitkit"})


def png_bytes(figure: Figure, *, dots_per_inch: float = 200.0) -> bytes:
    """Give a figure as PNG."""
    return _saved(figure, "png", dpi=dots_per_inch, metadata={"Software": "fitkit"})


def _saved(figure: Figure, kind: str, **options: Any) -> bytes:
    page = io.BytesIO()
    with styled():
        figure.savefig(page, format=kind, **options)
    return page.getvalue()
