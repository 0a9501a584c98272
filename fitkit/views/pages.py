"""Templates laid out on paper: several to a page, or one over several pages to join."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitkit.errors import SheetError
from fitkit.geometry.mesh import FloatArray
from fitkit.views.templates import Template, check_names

#: Room at each edge that no printer reaches. [mm]
MARGIN_MM = 10.0
#: Room for the heading, and for the check bar and the key to the lines. [mm]
HEAD_MM, FOOT_MM = 13.0, 22.0
#: Gap between templates of one page. [mm]
GAP_MM = 8.0
#: Width that pages to join share. [mm]
OVERLAP_MM = 15.0
#: Most pages that one template is spread over.
MOST_TILES = 16
#: Letters of captions, and the pitch of their lines. [pt, mm]
CAPTION_PT, CAPTION_LINE_MM = 7.0, 3.4
#: Least width of a caption below a template, and of one beside it. [mm]
CAPTION_MM, BESIDE_MM = 82.0, 52.0
#: Between a template and its caption. [mm]
CAPTION_GAP_MM = 3.0
#: Room around a template that is spread over pages. [mm]
EDGE_MM = 3.0
#: A line that by the sum of its words fills less than this share is not measured again.
NEARLY = 0.94
#: Length of the check bar. [mm]
BAR_MM = 100.0

#: Gives the width of a text at a size: (text, size in points) to mm.
Measure = Callable[[str, float], float]


@dataclass(frozen=True, kw_only=True)
class Paper:
    """A size of paper, upright."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def room_mm(self) -> tuple[float, float]:
        """Width and height that are left for templates and captions. [mm]."""
        return (
            self.width_mm - 2 * MARGIN_MM,
            self.height_mm - 2 * MARGIN_MM - HEAD_MM - FOOT_MM,
        )


#: Papers by name: ISO 216 A4 and A3; US Letter, 8.5 by 11 inches.
PAPERS: Mapping[str, Paper] = MappingProxyType(
    {
        "A4": Paper(name="A4", width_mm=210.0, height_mm=297.0),
        "A3": Paper(name="A3", width_mm=297.0, height_mm=420.0),
        "Letter": Paper(name="Letter", width_mm=215.9, height_mm=279.4),
    }
)


@dataclass(frozen=True, kw_only=True)
class Tile:
    """Which page of a spread template this is; columns have letters, rows numbers."""

    row: int
    column: int
    rows: int
    columns: int

    @property
    def name(self) -> str:
        """Its name: A1 is the lower left."""
        return tile_name(row=self.row, column=self.column)


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """One template on one page."""

    template: Template
    #: Added to the template's points to bring them onto the page, from its lower left
    #: corner, shape (2,). [mm]
    shift_mm: FloatArray
    #: What of the page may be drawn on, lower left and upper right, shape (2, 2). [mm]
    window_mm: FloatArray
    #: Name and notes, line by line.
    caption: tuple[str, ...]
    #: Upper left of the caption, shape (2,). [mm]
    caption_at_mm: FloatArray
    #: None if the template is whole on this page.
    tile: Tile | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Page:
    """One page of templates."""

    paper: Paper
    placed: tuple[Placed, ...]


def paper_named(name: str) -> Paper:
    """
    Find a paper.

    Raises
    ------
    SheetError
        If there is none of that name.
    """
    for known, paper in PAPERS.items():
        if known.lower() == name.lower():
            return paper
    msg = f"paper must be one of {', '.join(PAPERS)}; got {name!r}."
    raise SheetError(msg)


def tile_name(*, row: int, column: int) -> str:
    """
    Name one page of a spread template.

    Examples
    --------
    >>> tile_name(row=1, column=0)
    'A2'
    """
    return f"{chr(ord('A') + column)}{row + 1}"


def lay_out(
    templates: Sequence[Template], *, paper: Paper, tile: bool, measure: Measure
) -> tuple[Page, ...]:
    """
    Lay templates out on pages, in their order.

    Parameters
    ----------
    templates : sequence of Template
    paper : Paper
    tile : bool
        Whether a template that is larger than a page is spread over several.
    measure : callable
        Gives the width of a caption's text. [mm]

    Returns
    -------
    tuple of Page
        A template is turned by a quarter where only that makes it fit.

    Raises
    ------
    SheetError
        If a template fits on no page and may not be spread, or would need more than
        16 pages; says which paper would do. If two templates have the same name.
    """
    check_names(templates)
    pages: list[Page] = []
    shelf = _Shelves(paper, measure)
    for template in templates:
        fitting = _fitting(template, paper, measure)
        if fitting is not None:
            pages += shelf.put(fitting)
            continue
        pages += shelf.done()
        pages += _spread(template, paper, tile, measure)
    return (*pages, *shelf.done())


# -- whole templates, in rows ----------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Block:
    """A template with its caption below it, or beside it."""

    template: Template
    caption: tuple[str, ...]
    caption_wide: float
    beside: bool

    @property
    def wide(self) -> float:
        across = float(self.template.size_mm[0])
        if self.beside:
            return across + CAPTION_GAP_MM + self.caption_wide
        return max(across, self.caption_wide)

    @property
    def tall(self) -> float:
        up, caption = float(self.template.size_mm[1]), CAPTION_LINE_MM * len(self.caption)
        return max(up, caption) if self.beside else up + CAPTION_GAP_MM + caption

    @property
    def caption_at(self) -> FloatArray:
        """Upper left of the caption from the upper left of the block, shape (2,)."""
        across, up = self.template.size_mm
        if self.beside:
            return np.array([across + CAPTION_GAP_MM, 0.0])
        return np.array([0.0, -up - CAPTION_GAP_MM])


def _fitting(template: Template, paper: Paper, measure: Measure) -> _Block | None:
    """Take the template upright or turned, whichever fits; None if neither does."""
    wide, tall = paper.room_mm
    for beside in (False, True):
        for one in (template, template.turned()):
            least = BESIDE_MM if beside else max(CAPTION_MM, float(one.size_mm[0]))
            caption_wide = min(least, wide)
            caption = _caption(one, caption_wide, measure)
            block = _Block(one, caption, caption_wide, beside)
            if block.wide <= wide and block.tall <= tall:
                return block
    return None


class _Shelves:
    """Blocks side by side in rows, rows down the page."""

    def __init__(self, paper: Paper, measure: Measure) -> None:
        self._paper, self._measure = paper, measure
        self._clear()

    def _clear(self) -> None:
        self._placed: list[Placed] = []
        self._across = self._down = self._row = 0.0
        self._kind = ""

    def put(self, block: _Block) -> Iterator[Page]:
        """Place a block; gives the page before it if that is full."""
        wide, tall = self._paper.room_mm
        if self._placed and self._kind != block.template.kind:
            yield from self.done()
        if self._across + block.wide > wide:
            self._down += self._row + GAP_MM
            self._across = self._row = 0.0
        if self._placed and self._down + block.tall > tall:
            yield from self.done()
        self._place(block)

    def _place(self, block: _Block) -> None:
        top = self._paper.height_mm - MARGIN_MM - HEAD_MM - self._down
        corner = np.array([MARGIN_MM + self._across, top])
        low, high = block.template.bounds_mm
        shift = corner - [low[0], high[1]]
        self._placed.append(
            Placed(
                template=block.template,
                shift_mm=shift,
                window_mm=_room(self._paper),
                caption=block.caption,
                caption_at_mm=corner + block.caption_at,
                tile=None,
            )
        )
        self._kind = block.template.kind
        self._across += block.wide + GAP_MM
        self._row = max(self._row, block.tall)

    def done(self) -> Iterator[Page]:
        """Give the page begun, if there is one."""
        if self._placed:
            yield Page(paper=self._paper, placed=tuple(self._placed))
        self._clear()


def _room(paper: Paper) -> FloatArray:
    wide, tall = paper.room_mm
    low = np.array([MARGIN_MM, MARGIN_MM + FOOT_MM])
    return np.array([low, low + np.array([wide, tall])])


# -- templates larger than a page ------------------------------------------------------


def _spread(
    template: Template, paper: Paper, tile: bool, measure: Measure
) -> Iterator[Page]:
    """Spread a template over pages, the way that needs fewer of them."""
    ways = (template, template.turned())
    counts = [_tiles(one, paper, measure) for one in ways]
    pick = min((0, 1), key=lambda way: math.prod(counts[way]))
    columns, rows = counts[pick]
    if not tile:
        raise SheetError(_too_small(template, paper, columns * rows, measure))
    if columns * rows > MOST_TILES:
        msg = (
            f"{template.name} would take {columns * rows} pages of {paper.name}, more than "
            f"{MOST_TILES}. Choose paper='A3', or cut it from the SVG or DXF file."
        )
        raise SheetError(msg)
    return _tile_pages(ways[pick], paper, columns, rows, measure)


def _tiles(template: Template, paper: Paper, measure: Measure) -> tuple[int, int]:
    """Columns and rows of pages that a template takes."""
    room = _tile_room(template, paper, measure)
    size = template.size_mm + 2 * EDGE_MM
    columns, rows = (
        max(1, math.ceil((size[axis] - OVERLAP_MM) / (room[axis] - OVERLAP_MM)))
        for axis in (0, 1)
    )
    return columns, rows


def _tile_room(template: Template, paper: Paper, measure: Measure) -> FloatArray:
    """Width and height of paper for one page of a spread template, caption taken off."""
    wide, tall = paper.room_mm
    lines = len(_caption(template, wide, measure)) + 1
    return np.array([wide, tall - CAPTION_LINE_MM * lines - CAPTION_GAP_MM])


def _too_small(template: Template, paper: Paper, pages: int, measure: Measure) -> str:
    wide, tall = template.size_mm
    room = _tile_room(template, paper, measure)
    larger = [
        other.name
        for other in PAPERS.values()
        if _fitting(template, other, measure) is not None
    ]
    sizes = f"Choose paper='{larger[0]}', or " if larger else "It fits on no paper known: "
    return (
        f"{template.name} is {wide:.0f} x {tall:.0f} mm, but {paper.name} leaves "
        f"{room[0]:.0f} x {room[1]:.0f} mm for it. {sizes}let it be spread over "
        f"{pages} pages to be joined (tile=True)."
    )


def _tile_pages(
    template: Template, paper: Paper, columns: int, rows: int, measure: Measure
) -> Iterator[Page]:
    room = _tile_room(template, paper, measure)
    low = template.bounds_mm[0] - EDGE_MM
    size = template.size_mm + 2 * EDGE_MM
    # spread evenly: the overlap grows rather than that the last page is nearly empty
    step = np.array(
        [
            0.0 if count == 1 else (size[axis] - room[axis]) / (count - 1)
            for axis, count in enumerate((columns, rows))
        ]
    )
    top = paper.height_mm - MARGIN_MM - HEAD_MM
    extent = np.minimum(room, size)
    corner = np.array([MARGIN_MM, top - extent[1]])
    for row in reversed(range(rows)):
        for column in range(columns):
            spot = Tile(row=row, column=column, rows=rows, columns=columns)
            start = low + step * [column, row]
            where = f"Page {spot.name} of {tile_name(row=rows - 1, column=columns - 1)}: "
            note = where + "lay the crosses on those of the next page, then tape."
            yield Page(
                paper=paper,
                placed=(
                    Placed(
                        template=template,
                        shift_mm=corner - start,
                        window_mm=np.array([corner, corner + extent]),
                        caption=(*_caption(template, paper.room_mm[0], measure), note),
                        caption_at_mm=corner - [0.0, CAPTION_GAP_MM],
                        tile=spot,
                    ),
                ),
            )


def join_marks_mm(placed: Placed) -> FloatArray:
    """
    Give the crosses by which pages of a spread template are joined, on the page.

    Returns
    -------
    ndarray, shape (k, 2)
        Two on every edge that has a neighbour, in the middle of what both pages show,
        so that they fall on the same points of the template. [mm]
    """
    tile = placed.tile
    if tile is None:
        return np.zeros((0, 2))
    low, high = placed.window_mm
    size, extent = placed.template.size_mm + 2 * EDGE_MM, high - low
    marks = []
    for axis, place, count in ((0, tile.column, tile.columns), (1, tile.row, tile.rows)):
        if count == 1:
            continue
        step = (size[axis] - extent[axis]) / (count - 1)
        half = (extent[axis] - step) / 2
        across = low[1 - axis] + extent[1 - axis] * np.array([0.2, 0.8])
        edges = (low[axis] + half, place > 0), (high[axis] - half, place < count - 1)
        for there, has in edges:
            if has:
                pair = np.empty((2, 2))
                pair[:, axis], pair[:, 1 - axis] = there, across
                marks.append(pair)
    return np.concatenate(marks)


# -- captions --------------------------------------------------------------------------


def _caption(template: Template, wide_mm: float, measure: Measure) -> tuple[str, ...]:
    """Name in the first line, then the notes, wrapped."""
    lines = [template.name]
    for note in template.notes:
        lines += wrapped(note, wide_mm=wide_mm, size_pt=CAPTION_PT, measure=measure)
    return tuple(lines)


def wrapped(text: str, *, wide_mm: float, size_pt: float, measure: Measure) -> list[str]:
    """
    Break a text into lines that fit a width, between words; a long word stands alone.

    Examples
    --------
    >>> wrapped("one two three", wide_mm=8, size_pt=7, measure=lambda t, _: len(t))
    ['one two', 'three']
    """
    space = measure("n n", size_pt) - measure("nn", size_pt)
    lines, filled = [""], 0.0
    for word in text.split():
        wide = measure(word, size_pt)
        longer = f"{lines[-1]} {word}".strip()
        guess = filled + space + wide if lines[-1] else wide
        sure = guess < NEARLY * wide_mm  # a sum of words is a little off
        if not lines[-1] or sure or measure(longer, size_pt) <= wide_mm:
            lines[-1], filled = longer, guess
        else:
            lines.append(word)
            filled = wide
    return lines
