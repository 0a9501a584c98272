"""Pads, sight cuts, lens blanks and holes to drill as templates."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fitkit.fit._cut_edges import CutPatch, CutSide
from fitkit.fit.cut import Cut
from fitkit.fit.lens_blank import LensBlank
from fitkit.fit.pad_patterns import PadPattern
from fitkit.geometry.mesh import FloatArray
from fitkit.geometry.shapes import roomiest, shape
from fitkit.piece.fixings import HoleTemplate
from fitkit.views.templates import (
    LETTER_MM,
    Arrow,
    Hole,
    Template,
    Words,
    arrow_up,
    closed_lines,
)

PAD_KIND, CUT_KIND = "pads", "sight cuts"
LENS_KIND, HOLE_KIND = "lens blanks", "hole templates"
#: Longest arrow of the grain. [mm]
ARROW_MM = 30.0
#: Width of a letter over the height of a capital, about.
LETTER_WIDE = 0.85
#: A sight cut is marked out from a side that lies flat within this. [%]
MOST_STRETCH_PERCENT = 10.0
#: Names smaller than this are left out. [mm]
LEAST_LETTER_MM = 1.3


def pad_templates(patterns: Sequence[PadPattern]) -> tuple[Template, ...]:
    """Give a template for each piece of foam, seen on the side glued to the wall."""
    return tuple(_pad(pattern) for pattern in patterns)


def _pad(pattern: PadPattern) -> Template:
    notes = [
        f"One of {pattern.foam}, {pattern.thickness_mm:g} mm; the side shown is glued to "
        "the wall.",
        f"Bent into place it stretches by {pattern.mean_stretch_percent:.1f} % in the "
        f"mean, {pattern.worst_stretch_percent:.1f} % at most.",
    ]
    if not pattern.keeps_bound:
        notes.append("That is more than was asked: dart it, or expect a pucker.")
    words, arrow = _inscribed(pattern.outlines_mm, pattern.name, pattern.grain)
    return Template(
        name=f"pad {pattern.name}",
        kind=PAD_KIND,
        lines=closed_lines("cut", pattern.outlines_mm),
        words=words,
        arrow=arrow,
        notes=tuple(notes),
    )


def cut_templates(cut: Cut) -> tuple[Template, ...]:
    """
    Give the templates of a sight cut, for each eye from outside and from inside.

    A side that folds, or would be stretched by more than 10 %, has none.
    """
    return tuple(
        template
        for side, eye in cut.eyes.items()
        for number, patch in enumerate(eye.patches, start=1)
        for template in _cut(side, number, len(eye.patches), patch)
    )


def _cut(side: str, number: int, count: int, patch: CutPatch) -> Iterator[Template]:
    name = f"sight cut {side}" + (f" {number}" if count > 1 else "")
    sides = [("outside", patch.outer), *(("inside", each) for each in patch.inner[:1])]
    for seen_from, one in sides:
        if one.template and one.stretch_percent <= MOST_STRETCH_PERCENT:
            yield _cut_side(f"{name}, from {seen_from}", seen_from, patch, one)


def _cut_side(name: str, seen_from: str, patch: CutPatch, one: CutSide) -> Template:
    lean = np.concatenate([*patch.bevel_deg, [np.nan]])
    lean = lean[np.isfinite(lean)]
    notes = [
        f"Part: {patch.part}. Mark it out from {seen_from}, on the finished wall; laid "
        f"flat, lengths are off by up to {one.stretch_percent:.1f} %: make its corners "
        "meet those on the shell, not its middle.",
    ]
    if len(one.template) > 1:
        notes.append("Hairline within: an opening that is there already.")
    if len(lean):
        low, high = np.quantile(lean, (0.1, 0.9))
        notes.append(
            f"The saw leans {low:.0f}° to {high:.0f}° off square; plus is a hole wider "
            "outside than inside. Cut inside the line and file to it."
        )
    words, arrow = _inscribed(one.template, name.removeprefix("sight cut "), "up")
    return Template(
        name=name,
        kind=CUT_KIND,
        lines=(
            *closed_lines("cut", one.template[:1]),
            *closed_lines("mark", one.template[1:]),
        ),
        words=words,
        arrow=arrow,
        notes=tuple(notes),
    )


def lens_templates(blanks: Sequence[LensBlank]) -> tuple[Template, ...]:
    """Give a template for each lens, seen from outside."""
    return tuple(_lens(blank) for blank in blanks)


def _lens(blank: LensBlank) -> Template:
    words, arrow = _inscribed([blank.opening_mm], blank.opening, "up")
    marks = closed_lines("mark", [blank.opening_mm])
    if blank.formed:
        marks += closed_lines("mark", [blank.lens_mm])
    return Template(
        name=f"lens {blank.opening}",
        kind=LENS_KIND,
        lines=(*closed_lines("cut", [blank.blank_mm]), *marks),
        words=words,
        arrow=arrow,
        notes=tuple(_lens_notes(blank)),
    )


def _lens_notes(blank: LensBlank) -> Iterator[str]:
    yield (
        f"Seen from outside. Inner hairline: the opening; the lens laps {blank.lap_mm:g} "
        "mm behind it all round."
    )
    stretch = f"{blank.mean_stretch_percent:.1f} % in the mean, "
    stretch += f"{blank.worst_stretch_percent:.1f} % at most"
    if blank.formed:
        up, across = blank.forming.heat_shrink_percent
        yield (
            f"Form by heat: the sheet stretches by {stretch}, and thins as much. The blank "
            f"has {blank.forming.trim_mm:g} mm to trim all round, and is larger by "
            f"{up:g} % up and {across:g} % across, for shrinkage in the heat; trim to the "
            "outer hairline only after a dry fit."
        )
    else:
        yield f"Bends in cold: the sheet stretches by {stretch}. No allowance is added."
    if blank.off_wall_mm > 0.5:
        yield (
            f"The wall around it is not even: up to {blank.off_wall_mm:.1f} mm off the "
            "lens; bed it in foam tape or a flange."
        )


def hole_templates(sheets: Sequence[HoleTemplate]) -> tuple[Template, ...]:
    """Give templates for holes to drill, seen from outside."""
    return tuple(_holes(sheet) for sheet in sheets)


def _holes(sheet: HoleTemplate) -> Template:
    outer = sheet.outlines_mm[0]
    tops = outer[:, 1].max()
    pairs = list(zip(sheet.holes, sheet.centres_mm, sheet.diameters_mm, strict=True))
    low, high = outer.min(axis=0), outer.max(axis=0)
    wide = float(high[0] - low[0])
    words = [
        Words(
            text=name,
            at_mm=centre - np.array([0.0, diameter / 2 + 4.0]),
            height_mm=min(1.8, 12.0 / (LETTER_WIDE * max(len(name), 1))),
        )
        for name, centre, diameter in pairs
    ]
    arrow = arrow_up(
        at_mm=np.array([(low[0] + high[0]) / 2, tops + 8.0]),
        length_mm=12.0,
        words="up",
    )
    said = ", ".join(f"{name} {diameter:g} mm" for name, _, diameter in pairs)
    return Template(
        name=f"holes {sheet.name}",
        kind=HOLE_KIND,
        lines=closed_lines("cut", [outer]),
        holes=tuple(
            Hole(centre_mm=centre, diameter_mm=float(diameter))
            for _, centre, diameter in pairs
        ),
        words=tuple(words),
        arrow=arrow,
        notes=(
            f"Seen from outside. Drill: {said}.",
            f"The wall falls away from the sheet by up to {sheet.off_wall_mm:.1f} mm over "
            f"{wide:.0f} mm: drill square to the sheet, not to the wall.",
        ),
    )


def _inscribed(
    outlines: Sequence[FloatArray], name: str, way: str
) -> tuple[tuple[Words, ...], Arrow]:
    """
    Put a name, and an arrow above it, where an outline has most room.

    A name too small to read is left out; the caption says it too.
    """
    place, clear = roomiest(shape(outlines))
    height = min(LETTER_MM, 1.5 * clear / (LETTER_WIDE * max(len(name), 1)))
    words = Words(text=name, at_mm=place - np.array([0.0, 0.45 * clear]), height_mm=height)
    arrow = arrow_up(
        at_mm=place + np.array([0.0, 0.3 * clear]),
        length_mm=min(ARROW_MM, clear),
        words=way,
    )
    return (words,) if height >= LEAST_LETTER_MM else (), arrow
