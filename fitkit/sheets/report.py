"""The report of one assessment: a folder with a page, figures, tables and meshes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from fitkit.assess import Assessment
from fitkit.plots.pages import (
    ease_figure,
    eyes_figure,
    sections_figure,
    verdict_figure,
    zones_figure,
)
from fitkit.plots.paper import png_bytes, svg_bytes
from fitkit.sheets.brief_file import brief_json
from fitkit.sheets.buildup import buildup_part
from fitkit.sheets.donning import donning_part
from fitkit.sheets.folder import CONTENTS, whole_folder, write_contents
from fitkit.sheets.jaw import jaw_part
from fitkit.sheets.meshes import write_meshes
from fitkit.sheets.padding import balance_part, padding_part
from fitkit.sheets.page import report_page
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.placement_file import placement_json
from fitkit.sheets.report_pdf import report_pdf
from fitkit.sheets.sight import sight_part
from fitkit.sheets.tables import Table, report_tables, table_csv
from fitkit.views.eyes import eye_views
from fitkit.views.headline import headline
from fitkit.views.heads import head_views
from fitkit.views.sections import section_views

#: The further questions, in their order on the page, with what is said meanwhile.
QUESTIONS: tuple[tuple[str, Callable[[Assessment], Part]], ...] = (
    ("Working out what the wearer sees", sight_part),
    ("Moving the jaw", jaw_part),
    ("Putting it on and taking it off", donning_part),
    ("Choosing pads and letting it settle", padding_part),
    ("Weighing it on the neck", balance_part),
    ("Building it up", buildup_part),
)
#: Dots in an inch of pictures that are not lines.
DOTS_PER_INCH = 220.0


@dataclass(frozen=True, kw_only=True)
class Report:
    """A report that was written."""

    folder: Path
    #: The page to open first.
    page: Path
    #: Every file, relative to the folder, in order of names.
    files: tuple[str, ...]


def write_report(
    assessment: Assessment,
    folder: Path | str,
    *,
    overwrite: bool = False,
    made_on: date | None = None,
    tell: Callable[[str], None] | None = None,
) -> Report:
    """
    Write a report as a folder; it appears whole or not at all.

    Parameters
    ----------
    assessment : Assessment
    folder : path
        Folder to write; made, with its parents. One that holds anything is refused.
    overwrite : bool
        Whether a folder that holds a report, and nothing else, is replaced.
    made_on : date, optional
        Day on the page; today if left out.
    tell : callable, optional
        Called with a line of words before each step that takes a while.

    Returns
    -------
    Report

    Raises
    ------
    SheetError
        If the folder is in use or cannot be written.
    """
    say = tell or _silence
    target = Path(folder)
    with whole_folder(target, overwrite=overwrite) as room:
        say("Drawing sections and ease")
        pictures = _pictures(assessment)
        tables = {table.name: table for table in report_tables(assessment)}
        parts = tuple(_asked(assessment, say))
        every = [
            *pictures.values(),
            *(one for part in parts for one in part.pictures.values()),
        ]
        more = [table for part in parts for table in part.tables]
        for name in ("figures", "tables", "meshes"):
            (room / name).mkdir()
        say("Writing meshes")
        contents = [*_write_meshes(assessment, room)]
        contents += _write_pictures(every, room)
        contents += _write_tables([*tables.values(), *more], room)
        contents += _write_texts(assessment, room)
        contents.append(("report.pdf", "the same report, to print"))
        page = report_page(
            assessment,
            pictures=pictures,
            tables=tables,
            parts=parts,
            contents=sorted(contents),
            made_on=made_on or date.today(),
        )
        (room / "report.html").write_text(page, encoding="utf-8")
        say("Setting the report as PDF")
        printed = report_pdf(
            assessment,
            pictures=pictures,
            tables=tables,
            parts=parts,
            made_on=made_on or date.today(),
        )
        (room / "report.pdf").write_bytes(printed)
        names = [*(name for name, _ in contents), "report.html"]
        write_contents(room, names)
    home = target.expanduser().resolve()
    return Report(
        folder=home, page=home / "report.html", files=tuple(sorted([*names, CONTENTS]))
    )


def _asked(assessment: Assessment, say: Callable[[str], None]) -> Iterator[Part]:
    for words, ask in QUESTIONS:
        say(words)
        yield ask(assessment)


def _silence(_: str) -> None:
    """Say nothing."""


def _pictures(assessment: Assessment) -> Mapping[str, Picture]:
    wearer, piece, placement = assessment.wearer, assessment.piece, assessment.placement
    top, gaps = headline(assessment), assessment.ease
    sections = section_views(wearer, piece, placement, gaps)
    eyes = eye_views(wearer, piece, placement, assessment.sight)
    heads = head_views(wearer, gaps)
    return {
        "verdict": Picture(
            name="verdict.svg",
            data=svg_bytes(verdict_figure(top)),
            alternative="The verdict and its figures in one strip.",
            caption="The verdict.",
        ),
        "sections": Picture(
            name="sections.svg",
            data=svg_bytes(sections_figure(sections)),
            alternative="Four sections through head and finished piece with the ease.",
            caption=(
                "Head, hair and finished wall, cut four ways. Dimensions are the tightest "
                "places of each cut, the true distance in space. The finished wall stands "
                "at the true distance of its layers from what was drawn; what lies farther "
                "out is cut off by the frame."
            ),
        ),
        "ease_map": Picture(
            name="ease_map.png",
            data=png_bytes(ease_figure(heads), dots_per_inch=DOTS_PER_INCH),
            alternative="The head from five sides, coloured by the ease at each place.",
            caption=(
                "The bare head, coloured by the gap from head or hair to the finished "
                "inner wall. Dots mark the tightest place of a zone, with its ease in mm."
            ),
        ),
        "zones": Picture(
            name="zones.svg",
            data=svg_bytes(zones_figure(gaps, assessment.uncertainty.by_zone)),
            alternative="Least and median ease of each zone against what was asked.",
            caption="Least and median ease of each zone against what the brief asks.",
        ),
        "eyes": Picture(
            name="eyes.svg",
            data=svg_bytes(eyes_figure(eyes)),
            alternative="Outline of each eye opening about the straight-ahead line.",
            caption=(
                "The opening before each eye, as the wearer sees it. The cross is the line "
                "straight ahead; the outline is that of the drawn inner wall."
            ),
        ),
    }


def _write_meshes(assessment: Assessment, part: Path) -> list[tuple[str, str]]:
    written = write_meshes(assessment, part / "meshes")
    return [(f"meshes/{name}", words) for name, words in written]


def _write_pictures(pictures: Iterable[Picture], part: Path) -> list[tuple[str, str]]:
    written = []
    for picture in pictures:
        name = f"figures/{picture.name}"
        (part / name).write_bytes(picture.data)
        written.append((name, picture.alternative))
    return written


def _write_tables(tables: Iterable[Table], part: Path) -> list[tuple[str, str]]:
    written = []
    for table in tables:
        name = f"tables/{table.name}.csv"
        (part / name).write_text(table_csv(table), encoding="utf-8")
        written.append((name, table.title))
    return written


def _write_texts(assessment: Assessment, part: Path) -> list[tuple[str, str]]:
    texts = {
        "placement.json": (placement_json(assessment), "size and pose of the piece"),
        "brief.json": (brief_json(assessment.brief), "what was asked of the fit"),
    }
    for name, (text, _) in texts.items():
        (part / name).write_text(text, encoding="utf-8")
    return [(name, words) for name, (_, words) in texts.items()]
