"""Letters on paper: how wide a text is, before it is drawn."""

from __future__ import annotations

from functools import lru_cache

from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, LoadFlags

from fitkit.plots.paper import INCH_MM

#: Points in an inch.
INCH_PT = 72.0
#: Height of a capital of the font of figures, over its size: its OS/2 table.
CAPITAL = 0.729
#: Size at which letters are measured: unhinted widths grow in proportion. [pt]
_MEASURED_PT = 100.0


def text_width_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Give the width of one line of text in the font of figures, in mm."""
    return _width(text, bold) * size_pt / _MEASURED_PT * INCH_MM / INCH_PT


def size_for_capital_pt(*, height_mm: float) -> float:
    """Give the size of letters whose capitals have a height, in points."""
    return height_mm / CAPITAL * INCH_PT / INCH_MM


@lru_cache(maxsize=20_000)
def _width(text: str, bold: bool) -> float:
    font = _font(bold)
    font.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    width: float = font.get_width_height()[0] / 64.0
    return width


@lru_cache(maxsize=2)
def _font(bold: bool) -> FT2Font:
    """Open the font for measuring alone: others would change the size of a shared one."""
    weight = "bold" if bold else "normal"
    found = findfont(FontProperties(family="DejaVu Sans", weight=weight))
    font = FT2Font(found)
    font.set_size(_MEASURED_PT, INCH_PT)
    return font
