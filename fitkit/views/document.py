"""What a printed document says, block by block, before it is set on pages."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Heading:
    """A heading; level 1 is the document's title."""

    text: str
    level: int = 2


@dataclass(frozen=True, kw_only=True)
class Paragraph:
    """Running text."""

    text: str
    bold: bool = False
    #: In the softer tone of notes.
    soft: bool = False


@dataclass(frozen=True, kw_only=True)
class Bullets:
    """A list, numbered or not."""

    lines: tuple[str, ...]
    numbered: bool = False


@dataclass(frozen=True, kw_only=True)
class Grid:
    """A table as texts."""

    title: str
    #: Heading of each column.
    columns: tuple[str, ...]
    #: Which columns hold text, set from the left; figures are set from the right.
    is_text: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]
    #: Least height of a row: room to write in. [mm]
    row_mm: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Image:
    """A picture with its caption."""

    #: PNG.
    data: bytes
    width_mm: float
    caption: str


@dataclass(frozen=True)
class PageBreak:
    """What follows begins on a new page."""


Block = Heading | Paragraph | Bullets | Grid | Image | PageBreak
