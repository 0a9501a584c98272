"""What is drawn for the bench, 1:1: lines by job, holes, words, grain, in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fitkit.errors import SheetError
from fitkit.geometry.mesh import FloatArray

Job = Literal["cut", "score", "drill", "mark"]
#: What is done along a line, in the order of work: lines to read come first.
JOBS: tuple[Job, ...] = ("mark", "drill", "score", "cut")
#: Larger templates are taken for a slip of unit. [mm]
LARGEST_MM = 3000.0
#: Height of words on a template unless another is asked for. [mm]
LETTER_MM = 2.6
#: Words that are turned farther than this are turned round. [deg]
STEEPEST_DEG = 92.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """One line of a template."""

    job: Job
    #: Corners, shape (k, 2): across, up. The first is not repeated if it is closed. [mm]
    points_mm: FloatArray
    closed: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Hole:
    """One round hole, drilled, or cut where it is large."""

    #: Middle, shape (2,). [mm]
    centre_mm: FloatArray
    diameter_mm: float
    job: Job = "drill"


@dataclass(frozen=True, kw_only=True, eq=False)
class Words:
    """Words that stand on a template, in its own millimetres."""

    text: str
    #: Middle of the words, shape (2,). [mm]
    at_mm: FloatArray
    #: Height of a capital letter. [mm]
    height_mm: float = LETTER_MM
    #: Turn of the words, counter-clockwise. [deg]
    turn_deg: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Arrow:
    """The way of the grain, or of up or front, on a template."""

    #: Tail and tip, shape (2, 2). [mm]
    ends_mm: FloatArray
    #: What it points to; drawn beside it.
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """
    One template, 1:1.

    Raises
    ------
    SheetError
        If it has no line or hole, a coordinate is no number, or it is larger than 3 m.
    """

    #: One of a kind within a set of sheets: it names files and pages.
    name: str
    #: What sort of template it is: "pad", "gauge" and so on; pages are ordered by it.
    kind: str
    lines: tuple[Line, ...]
    holes: tuple[Hole, ...] = ()
    words: tuple[Words, ...] = ()
    #: None where there is none to keep to.
    arrow: Arrow | None = None
    #: What the maker must know, a sentence each; printed beside it.
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.lines and not self.holes:
            msg = f"{self.name}: a template must have a line or a hole."
            raise SheetError(msg)
        size = self.size_mm
        if not np.all(np.isfinite(size)):
            msg = f"{self.name}: every point of a template must be a number."
            raise SheetError(msg)
        if size.max() > LARGEST_MM:
            msg = (
                f"{self.name}: a template may be up to {LARGEST_MM:g} mm large; this one "
                f"has {size[0]:.0f} x {size[1]:.0f} mm. Is its unit mm?"
            )
            raise SheetError(msg)

    @property
    def bounds_mm(self) -> FloatArray:
        """Lower left and upper right corner of all that is drawn, shape (2, 2). [mm]."""
        ends = [line.points_mm for line in self.lines]
        for hole in self.holes:
            half = hole.diameter_mm / 2
            ends.append(np.array([hole.centre_mm - half, hole.centre_mm + half]))
        if self.arrow is not None:
            ends.append(self.arrow.ends_mm)
        points = np.concatenate(ends)
        return np.array([points.min(axis=0), points.max(axis=0)])

    @property
    def size_mm(self) -> FloatArray:
        """Extent across and up, shape (2,). [mm]."""
        low, high = self.bounds_mm
        return np.asarray(high - low)

    def turned(self) -> Template:
        """Turn it a quarter counter-clockwise; words turn with it."""
        arrow = self.arrow
        if arrow is not None:
            arrow = replace(arrow, ends_mm=_quarter(arrow.ends_mm))
        return replace(
            self,
            lines=tuple(
                replace(line, points_mm=_quarter(line.points_mm)) for line in self.lines
            ),
            holes=tuple(
                replace(hole, centre_mm=_quarter(hole.centre_mm)) for hole in self.holes
            ),
            words=tuple(
                replace(
                    one, at_mm=_quarter(one.at_mm), turn_deg=readable(one.turn_deg + 90)
                )
                for one in self.words
            ),
            arrow=arrow,
        )


def check_names(templates: Sequence[Template]) -> None:
    """
    Refuse two templates of one name.

    Raises
    ------
    SheetError
        If there are.
    """
    seen: set[str] = set()
    for template in templates:
        if template.name in seen:
            msg = f"Two templates are called {template.name!r}: rename one."
            raise SheetError(msg)
        seen.add(template.name)


def closed_lines(job: Job, outlines: Sequence[FloatArray]) -> tuple[Line, ...]:
    """Give closed outlines as lines; a repeated first point is dropped."""
    return tuple(
        Line(job=job, points_mm=_once(outline), closed=True) for outline in outlines
    )


def arrow_up(*, at_mm: FloatArray, length_mm: float, words: str) -> Arrow:
    """Give an arrow that points up the paper, about its middle."""
    half = np.array([0.0, length_mm / 2])
    return Arrow(ends_mm=np.stack([at_mm - half, at_mm + half]), words=words)


def readable(turn_deg: float) -> float:
    """
    Turn words by a half turn where they would stand on their heads, in degrees.

    Examples
    --------
    >>> readable(135.0), readable(90.0)
    (-45.0, 90.0)
    """
    turn = turn_deg % 180.0
    return turn - 180.0 if turn > STEEPEST_DEG else turn


def _once(outline: FloatArray) -> FloatArray:
    return outline[:-1] if np.array_equal(outline[0], outline[-1]) else outline


def _quarter(points: FloatArray) -> FloatArray:
    return np.stack([-points[..., 1], points[..., 0]], axis=-1)
