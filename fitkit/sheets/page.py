"""The page of a report: HTML that stands alone, every text escaped."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from html import escape
from importlib.metadata import PackageNotFoundError, version

from fitkit.assess import Assessment
from fitkit.fit.jaw import JawCheck
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.style import STYLE
from fitkit.sheets.tables import Cell, Column, Table, page_cell
from fitkit.views.headline import Headline, headline
from fitkit.views.words import UNSEEN_MM
from fitkit.wearer.slips import check_record

#: Types of the pictures that a page may carry, by suffix.
PICTURE_TYPES = {".svg": "image/svg+xml", ".png": "image/png"}
#: Share of the doubt from which a cause is shown; the table's file has them all.
WORTH_A_ROW = 0.01
#: Where the figures of every report come from.
SOURCES: tuple[str, ...] = (
    "Ease: at each point of the head, the distance in space to the nearest point of the "
    "drawn inner wall at this size and pose, less the layers that grow inward, less the "
    "hair there.",
    "Missing measures: conditional normal distributions from the 2012 Anthropometric "
    "Survey of U.S. Army Personnel (ANSUR II), public data; report: C. C. Gordon et al., "
    "NATICK/TR-15/007, 2014. It speaks of adults of 17 to 58 years fit for service.",
    "Intervals: 2000 heads as likely as this one, given the readings, their repeat errors "
    "and the survey; the piece stays where it is. Repeat errors: catalogue of measures, "
    "partly from memory of survey manuals.",
    "Eyes: entrance pupil and centre of rotation of the Gullstrand and Le Grand eyes, from "
    "memory. Straight ahead means level with the Frankfort plane.",
    "Chin pole: mean of A. Mehl 2025, doi 10.1007/s00784-025-06619-4, from the mean place "
    "of the condyle; a single jaw may differ by a centimetre.",
)


def report_page(
    assessment: Assessment,
    *,
    pictures: Mapping[str, Picture],
    tables: Mapping[str, Table],
    parts: Sequence[Part],
    contents: Sequence[tuple[str, str]],
    made_on: date,
) -> str:
    """
    Write the page of a report.

    Parameters
    ----------
    assessment : Assessment
    pictures : mapping of name to Picture
        "sections", "ease_map", "zones" and "eyes".
    tables : mapping of name to Table
    parts : sequence of Part
        Answers to the further questions, in their order on the page.
    contents : sequence of (file, what it is)
        Files of the folder, listed at the end.
    made_on : date

    Returns
    -------
    str
        One HTML document that loads nothing from outside and runs no script.
    """
    top = headline(assessment)
    cautions = [line for part in parts for line in part.cautions]
    sections = [
        _heading(top, made_on),
        _verdict(assessment, top),
        _section(
            "What to make" if top.fits else "What to change",
            _list(assessment.changes, ordered=True),
        ),
        _section("Ease over the head", _picture(pictures["ease_map"])),
        _section("Sections", _picture(pictures["sections"])),
        _section("Ease by zone", _picture(pictures["zones"]), _ease(assessment, tables)),
        _section("Eye line and jaw", *_sight(assessment, pictures, tables)),
        *(_section(part.title, *_part(part)) for part in parts),
        _section("Measures", *_measures(assessment, tables)),
        _section("How sure this is", *_doubt(assessment, tables)),
        _section("Cautions", _list(dict.fromkeys([*cautions, *assessment.cautions]))),
        _section("Sources and method", _list(SOURCES)),
        _section("In this folder", _contents(contents)),
    ]
    return _DOCUMENT.format(title=escape(top.title), style=STYLE, body="\n".join(sections))


_DOCUMENT = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; \
img-src data:; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Fit report: {title}</title>
<style>
{style}</style>
</head>
<body>
{body}
</body>
</html>
"""

_MEASURES_NOTE = (
    '<p class="soft">“Read” is the mean of the readings, with the interval that their '
    "repeat error leaves. “From the survey” is what is expected of someone with these "
    "readings. The last column is read off the head that was used, tapes over the hair."
    "</p>"
)


def _heading(top: Headline, made_on: date) -> str:
    day = f"{made_on.day} {made_on:%B %Y}"
    made = f"Fit report, {day}, fitkit {_version()}. Lengths in mm; positive ease is air."
    return f'<h1>{escape(top.title)}</h1>\n<p class="soft">{escape(made)}</p>'


def _version() -> str:
    try:
        return version("fitkit")
    except PackageNotFoundError:
        return "(not installed)"


def _verdict(assessment: Assessment, top: Headline) -> str:
    kind, sign = ("fits", "\N{CHECK MARK}") if top.fits else ("not", "\N{BALLOT X}")
    words = f"<strong>{sign} {escape(top.verdict)}</strong>"
    why = (
        _list(assessment.reasons)
        if assessment.reasons
        else f"<p>{escape(top.sentence)}</p>"
    )
    answers = "\n".join(
        f'<div><dt>{escape(answer.title)}</dt><dd class="figure">{escape(answer.figure)}'
        f'</dd><dd class="note">{escape(answer.note)}</dd></div>'
        for answer in top.answers
    )
    return (
        f'<section class="verdict {kind}">{words}\n{why}</section>\n'
        f'<dl class="answers">\n{answers}\n</dl>'
    )


def _ease(assessment: Assessment, tables: Mapping[str, Table]) -> str:
    zones = assessment.ease.by_zone.values()
    missed = {
        k for k, zone in enumerate(zones) if max(zone.short_mm, zone.loose_mm) > UNSEEN_MM
    }
    return _table(tables["ease_by_zone"], marked=missed)


def _sight(
    assessment: Assessment, pictures: Mapping[str, Picture], tables: Mapping[str, Table]
) -> tuple[str, ...]:
    words = f"<p>{escape(_jaw_words(assessment.jaw))}</p>"
    return _picture(pictures["eyes"]), _table(tables["sight"]), words


def _part(part: Part) -> Iterator[str]:
    yield _list(part.sentences)
    yield from (_picture(picture) for picture in part.pictures.values())
    yield from (_table(table, titled=True) for table in part.tables)


def _jaw_words(jaw: JawCheck) -> str:
    words = "The piece has no hinge: nothing was asked of the jaw."
    if jaw.has_hinge:
        ahead = _way(jaw.offset_front_mm, "in front of", "behind")
        above = _way(jaw.offset_up_mm, "above", "below")
        words = (
            f"Jaw: the hinge lies {jaw.distance_mm:.1f} mm from the chin pole, {ahead} and "
            f"{above} it."
        )
    if jaw.mouth_opening is None:
        return words
    above = _way(jaw.mouth_up_mm, "above", "below")
    aside = _way(jaw.mouth_right_mm, "right of", "left of")
    return f"{words} The middle of the mouth opening lies {above} and {aside} the mouth."


def _way(amount_mm: float, plus: str, minus: str) -> str:
    return f"{abs(amount_mm):.1f} mm {plus if amount_mm >= 0 else minus}"


def _measures(assessment: Assessment, tables: Mapping[str, Table]) -> Iterator[str]:
    """What was read; first of all what is doubtful of it."""
    doubts = [slip.message for slip in check_record(assessment.wearer.record)]
    if doubts:
        yield f"<p><strong>Look at these readings again:</strong></p>\n{_list(doubts)}"
    yield _MEASURES_NOTE
    yield _table(tables["measures"])


def _doubt(assessment: Assessment, tables: Mapping[str, Table]) -> tuple[str, ...]:
    sure = assessment.uncertainty
    narrowings = [one.words for one in sure.narrowings[:3]]
    parts = [_list(narrowings)] if narrowings else []
    if sure.shares:
        table = tables["doubt"]
        worth = [k for k, share in enumerate(sure.shares) if share.share >= WORTH_A_ROW]
        parts.append(_table(replace(table, rows=tuple(table.rows[k] for k in worth))))
    return tuple(parts)


def _contents(contents: Sequence[tuple[str, str]]) -> str:
    rows = "\n".join(
        f'<tr><td class="text"><code>{escape(name)}</code></td>'
        f'<td class="text">{escape(words)}</td></tr>'
        for name, words in contents
    )
    return f"<table><tbody>\n{rows}\n</tbody></table>"


# -- pieces of a page -----------------------------------------------------------------


def _section(title: str, *parts: str) -> str:
    return "\n".join((f"<section><h2>{escape(title)}</h2>", *parts, "</section>"))


def _list(lines: Iterable[str], *, ordered: bool = False) -> str:
    tag = "ol" if ordered else "ul"
    items = "\n".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<{tag}>\n{items}\n</{tag}>"


def _picture(picture: Picture) -> str:
    suffix = picture.name[picture.name.rindex(".") :]
    data = base64.b64encode(picture.data).decode("ascii")
    source = f"data:{PICTURE_TYPES[suffix]};base64,{data}"
    return (
        f'<figure><img src="{source}" alt="{escape(picture.alternative)}">\n'
        f"<figcaption>{escape(picture.caption)}</figcaption></figure>"
    )


def _table(table: Table, *, marked: Iterable[int] = (), titled: bool = False) -> str:
    columns = [column for column in table.columns if column.on_page]
    head = "".join(f"<th{_kind(column)}>{escape(column.title)}</th>" for column in columns)
    caption = f"<caption>{escape(table.title)}</caption>" if titled else ""
    opening = {True: '<tr class="marked">', False: "<tr>"}
    strong = set(marked)
    rows = "\n".join(
        f"{opening[k in strong]}{_cells(table.columns, row)}</tr>"
        for k, row in enumerate(table.rows)
    )
    return (
        f'<div class="scroll"><table>{caption}<thead><tr>{head}</tr></thead>\n'
        f"<tbody>\n{rows}\n</tbody></table></div>"
    )


def _cells(columns: Sequence[Column], row: Sequence[Cell]) -> str:
    return "".join(
        f"<td{_kind(column)}>{escape(page_cell(cell, column))}</td>"
        for column, cell in zip(columns, row, strict=True)
        if column.on_page
    )


def _kind(column: Column) -> str:
    return ' class="text"' if column.digits is None else ""
