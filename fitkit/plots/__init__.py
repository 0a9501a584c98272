"""Draw results on given axes: nothing is computed here, nothing is shown."""

from fitkit.plots.bars import draw_zone_bars
from fitkit.plots.eyes import draw_eye
from fitkit.plots.heads import draw_ease_legend, draw_ease_map, draw_head
from fitkit.plots.paper import new_figure, png_bytes, svg_bytes
from fitkit.plots.sections import draw_section
from fitkit.plots.strip import draw_verdict

__all__ = [
    "draw_ease_legend",
    "draw_ease_map",
    "draw_eye",
    "draw_head",
    "draw_section",
    "draw_verdict",
    "draw_zone_bars",
    "new_figure",
    "png_bytes",
    "svg_bytes",
]
