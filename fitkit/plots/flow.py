"""Set a document on pages: lines broken, tables and pictures kept together."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import imread
from numpy.typing import NDArray

from fitkit.plots.lettering import text_width_mm
from fitkit.plots.paper import FAINT, INK, SOFT, drawable, styled
from fitkit.plots.template_pages import blank_page, draw_foot
from fitkit.views.document import Block, Bullets, Grid, Heading, Image, Paragraph
from fitkit.views.pages import FOOT_MM, MARGIN_MM, Paper, wrapped

#: Margins. [mm]
SIDE_MM, TOP_MM = 16.0, 15.0
#: Sizes of letters: title, headings, text, notes, tables. [pt]
TITLE_PT, HEADING_PT, TEXT_PT, NOTE_PT, TABLE_PT = 15.0, 11.0, 9.0, 7.8, 7.5
#: Pitch of lines over the size of letters, in mm a point.
PITCH_MM_PT = 0.47
#: Room above a heading, and that has to be left below it. [mm]
ABOVE_MM, BELOW_MM = 5.0, 24.0
#: Gap after a block, and between columns. [mm]
AFTER_MM, COLUMN_MM = 2.0, 3.0
#: Letters of a cover, over those of a document: it has to go on one page.
COVER_SCALE = 0.88
#: Room for the line at the foot of a signed page. [mm]
SIGN_MM = 16.0
#: Indent of lists. [mm]
INDENT_MM = 5.0

#: Draws what stands at the head and the foot of a page: (axes, page number from 1).
Furnish = Callable[[Axes, int], None]


def document_pages(
    blocks: Sequence[Block],
    *,
    paper: Paper,
    foot_mm: float,
    furnish: Furnish,
    scale: float = 1.0,
) -> tuple[Figure, ...]:
    """
    Set blocks on pages, one below the other.

    Parameters
    ----------
    blocks : sequence of Block
    paper : Paper
    foot_mm : float
        Room kept at the foot of every page. [mm]
    furnish : callable
        Called for every page, with its axes in mm and its number from 1.
    scale : float
        Factor on letters and gaps.
    """
    flow = _Flow(paper, foot_mm, furnish, scale)
    with styled():
        for block, after in zip(blocks, [*blocks[1:], None], strict=True):
            if isinstance(block, Heading):
                flow.keep_with(after)
            flow.put(block)
    return tuple(flow.figures)


def cover_pages(blocks: Sequence[Block], *, paper: Paper, of: int) -> tuple[Figure, ...]:
    """Set a cover: check bar and key at the foot, the number of pages at the head."""

    def furnish(ax: Axes, number: int) -> None:
        draw_foot(ax)
        right, up = paper.width_mm - MARGIN_MM, paper.height_mm - MARGIN_MM + 1.0
        words = f"page {number} of {of}"
        ax.text(right, up, words, fontsize=7.0, ha="right", va="top", color=SOFT)

    foot = MARGIN_MM + FOOT_MM
    return document_pages(
        blocks, paper=paper, foot_mm=foot, furnish=furnish, scale=COVER_SCALE
    )


def signed_pages(blocks: Sequence[Block], *, paper: Paper, sign: str) -> tuple[Figure, ...]:
    """Set a document with a line at the foot of each page: a sign and its number."""

    def furnish(ax: Axes, number: int) -> None:
        words = f"{drawable(sign)} · page {number}"
        ax.text(SIDE_MM, 8.0, words, fontsize=7.0, color=SOFT)

    return document_pages(blocks, paper=paper, foot_mm=SIGN_MM, furnish=furnish)


@dataclass(frozen=True, eq=False)
class _Row:
    """One row of a table, its lines broken."""

    cells: Sequence[list[str]]
    widths: Sequence[float]
    is_text: Sequence[bool]
    tall_mm: float
    colour: str


class _Flow:
    def __init__(
        self, paper: Paper, foot_mm: float, furnish: Furnish, scale: float
    ) -> None:
        self._paper, self._foot_mm, self._furnish = paper, foot_mm, furnish
        self._scale = scale
        self.figures: list[Figure] = []
        self._wide = paper.width_mm - 2 * SIDE_MM
        self._turn_page()

    def _turn_page(self) -> None:
        figure, self._ax = blank_page(self._paper)
        self.figures.append(figure)
        self._furnish(self._ax, len(self.figures))
        self._top = self._paper.height_mm - TOP_MM
        self._fresh = True

    def _need(self, tall_mm: float) -> None:
        if self._top - tall_mm < self._foot_mm and not self._fresh:
            self._turn_page()

    def keep_with(self, after: Block | None) -> None:
        """Turn the page where a heading would stand alone, without what follows it."""
        tall = BELOW_MM
        if isinstance(after, Image):
            _, tall, _, below = self._image_size(after)
            tall += below + AFTER_MM
        self._need(ABOVE_MM + 0.5 * HEADING_PT + AFTER_MM + tall)

    def put(self, block: Block) -> None:
        """Set one block."""
        if isinstance(block, Heading):
            self._heading(block)
        elif isinstance(block, Paragraph):
            self._paragraph(block)
        elif isinstance(block, Bullets):
            self._bullets(block)
        elif isinstance(block, Grid):
            self._grid(block)
        elif isinstance(block, Image):
            self._image(block)
        elif not self._fresh:
            self._turn_page()

    def _heading(self, block: Heading) -> None:
        size = TITLE_PT if block.level == 1 else HEADING_PT
        if not self._fresh:
            self._top -= ABOVE_MM * self._scale
        self._lines(block.text, size, left=0.0, bold=True)
        self._top -= AFTER_MM * self._scale

    def _paragraph(self, block: Paragraph) -> None:
        size = NOTE_PT if block.soft else TEXT_PT
        colour = SOFT if block.soft else INK
        self._lines(block.text, size, left=0.0, bold=block.bold, colour=colour)
        self._top -= AFTER_MM * self._scale

    def _bullets(self, block: Bullets) -> None:
        for number, text in enumerate(block.lines, start=1):
            sign = f"{number}." if block.numbered else "•"
            self._lines(text, TEXT_PT, left=INDENT_MM, sign=sign)
            self._top -= 0.8 * self._scale
        self._top -= (AFTER_MM - 0.8) * self._scale

    def _lines(
        self,
        text: str,
        size: float,
        *,
        left: float,
        bold: bool = False,
        colour: str = INK,
        sign: str = "",
    ) -> None:
        def measure(words: str, points: float) -> float:
            return text_width_mm(words, points, bold=bold)

        size *= self._scale
        pitch = PITCH_MM_PT * size
        wide = self._wide - left
        for row, line in enumerate(
            wrapped(drawable(text), wide_mm=wide, size_pt=size, measure=measure)
        ):
            self._need(pitch)
            if row == 0 and sign:
                self._text(SIDE_MM + 1.0, sign, size)
            self._text(SIDE_MM + left, line, size, bold=bold, colour=colour)
            self._top -= pitch
            self._fresh = False

    def _text(
        self, left: float, text: str, size: float, *, bold: bool = False,
        colour: str = INK, align: str = "left",
    ) -> None:  # fmt: skip
        self._ax.text(
            left,
            self._top - 0.35 * size,
            text,
            fontsize=size,
            fontweight="bold" if bold else "normal",
            color=colour,
            ha=align,
        )

    # -- tables and pictures ----------------------------------------------------------

    def _grid(self, block: Grid) -> None:
        widths = column_widths_mm(block, self._wide)
        broken = [
            [_broken(cell, wide) for cell, wide in zip(row, widths, strict=True)]
            for row in (block.columns, *block.rows)
        ]
        tall = [_tall(row) for row in broken[:1]]
        tall += [max(_tall(row), block.row_mm) for row in broken[1:]]
        self._need(sum(tall[:3]) + 8.0)
        if block.title:
            self._lines(block.title, TEXT_PT, left=0.0, bold=True)
            self._top -= 0.6
        head = _Row(broken[0], widths, block.is_text, tall[0], SOFT)
        self._row(head)
        for row, high in zip(broken[1:], tall[1:], strict=True):
            if self._top - high < self._foot_mm:
                self._turn_page()
                self._row(head)
            self._row(_Row(row, widths, block.is_text, high, INK))
        self._top -= AFTER_MM * self._scale

    def _row(self, row: _Row) -> None:
        start, top = SIDE_MM, self._top
        pitch = PITCH_MM_PT * TABLE_PT
        for lines, width, text in zip(row.cells, row.widths, row.is_text, strict=True):
            for place, line in enumerate(lines):
                self._top = top - place * pitch
                left = start if text else start + width
                align = "left" if text else "right"
                self._text(left, line, TABLE_PT, colour=row.colour, align=align)
            start += width + COLUMN_MM
        self._top = top - row.tall_mm
        ends = [SIDE_MM, SIDE_MM + self._wide]
        self._ax.plot(ends, [self._top + 0.6] * 2, color=FAINT, linewidth=0.4)
        self._fresh = False

    def _image_size(self, block: Image) -> tuple[float, float, NDArray[np.uint8], float]:
        """Width and height as printed, pixels, and room for the caption."""
        pixels = _pixels(block.data)
        wide = min(block.width_mm, self._wide)
        tall = wide * pixels.shape[0] / pixels.shape[1]
        caption = wrapped(
            drawable(block.caption),
            wide_mm=self._wide,
            size_pt=NOTE_PT,
            measure=text_width_mm,
        )
        below = PITCH_MM_PT * NOTE_PT * len(caption) + AFTER_MM
        room = self._paper.height_mm - TOP_MM - self._foot_mm - below - 3 * AFTER_MM
        share = min(1.0, room / tall)
        return wide * share, tall * share, pixels, below

    def _image(self, block: Image) -> None:
        wide, tall, pixels, below = self._image_size(block)
        self._need(tall + below)
        left = SIDE_MM + (self._wide - wide) / 2
        self._ax.imshow(
            pixels, extent=(left, left + wide, self._top - tall, self._top),
            interpolation="none", aspect="auto", zorder=0,
        )  # fmt: skip
        self._ax.set(xlim=(0, self._paper.width_mm), ylim=(0, self._paper.height_mm))
        self._top -= tall + 1.0
        self._fresh = False
        self._lines(block.caption, NOTE_PT, left=0.0, colour=SOFT)
        self._top -= AFTER_MM * self._scale


@lru_cache(maxsize=1)
def _pixels(data: bytes) -> NDArray[np.uint8]:
    """Give the colours of a PNG on white paper, (rows, columns, 3)."""
    read = np.atleast_3d(np.asarray(imread(io.BytesIO(data)), dtype=float))
    colours = read[..., :3] if read.shape[2] > 2 else read[..., :1].repeat(3, axis=2)
    if read.shape[2] == 4:
        share = read[..., 3:]
        colours = share * colours + 1.0 - share
    return np.asarray(np.round(255.0 * colours), dtype=np.uint8)


def _broken(text: str, width: float) -> list[str]:
    return wrapped(drawable(text), wide_mm=width, size_pt=TABLE_PT, measure=text_width_mm)


def _tall(row: Sequence[list[str]]) -> float:
    return PITCH_MM_PT * TABLE_PT * max(map(len, row)) + 1.2


def column_widths_mm(block: Grid, wide_mm: float) -> list[float]:
    """
    Share the width of a page among the columns of a table. [mm].

    Every column gets its longest word; what is left goes where more text wants it.
    """
    room = wide_mm - COLUMN_MM * (len(block.columns) - 1)
    cells = list(zip(block.columns, *block.rows, strict=True))
    whole = np.array([max(_width(cell) for cell in column) for column in cells])
    words = np.array(
        [max(_width(word) for cell in column for word in (cell.split() or [""]))
         for column in cells]
    )  # fmt: skip
    if whole.sum() <= room:
        return list(whole + (room - whole.sum()) / len(whole))
    if words.sum() >= room:
        return list(words * room / words.sum())
    want = whole - words
    return list(words + want * (room - words.sum()) / want.sum())


def _width(text: str) -> float:
    return text_width_mm(drawable(text), TABLE_PT)
