"""Draw the verdict as one strip."""

from __future__ import annotations

import textwrap
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from fitkit.plots.paper import CLASH, FAINT, SOFT, drawable
from fitkit.views.headline import Answer, Headline

#: Frame of a verdict; "does not fit" is also struck with a cross.
FITS = "#1d5c4d"
#: Letters in a line of a note.
NOTE_LETTERS = 24
#: Width of the verdict, in widths of a figure.
VERDICT_WIDTH = 1.45


def draw_verdict(ax: Axes, headline: Headline) -> None:
    """
    Draw the verdict and the figures beside it in one row.

    Parameters
    ----------
    ax : Axes
        Loses its frame.
    headline : Headline
        Words and figures, drawn as they are.
    """
    colour, sign = (FITS, "\N{CHECK MARK}") if headline.fits else (CLASH, "\N{BALLOT X}")
    box = Rectangle((0, 0), VERDICT_WIDTH, 1, facecolor="white", edgecolor=colour)
    box.set_linewidth(2.0)
    ax.add_patch(box)
    words, middle = f"{sign} {headline.verdict}", VERDICT_WIDTH / 2
    centred: dict[str, Any] = {"ha": "center", "va": "center"}
    ax.text(middle, 0.62, words, fontsize=12, fontweight="bold", color=colour, **centred)
    title = textwrap.fill(drawable(headline.title), 26, max_lines=2, placeholder=" …")
    ax.text(middle, 0.22, title, color=SOFT, parse_math=False, **centred)
    for place, answer in enumerate(headline.answers):
        _draw_answer(ax, VERDICT_WIDTH + 0.08 + place, answer)
    ax.set(xlim=(-0.02, VERDICT_WIDTH + len(headline.answers) + 0.15), ylim=(-0.04, 1.04))
    ax.set_axis_off()


def _draw_answer(ax: Axes, left: float, answer: Answer) -> None:
    ax.plot((left, left), (0.05, 0.95), color=FAINT, linewidth=0.8)
    ax.text(left + 0.06, 0.92, answer.title, va="top", color=SOFT)
    ax.text(left + 0.06, 0.73, answer.figure, va="top", fontsize=9, fontweight="bold")
    note = textwrap.fill(answer.note, NOTE_LETTERS)
    ax.text(left + 0.06, 0.50, note, va="top", fontsize=5.8, color=SOFT)
