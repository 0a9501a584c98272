"""Workshop sheets: one folder with templates on paper, for machines, and meshes."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType

from fitkit.assess import Assessment
from fitkit.errors import FitkitError, SheetError
from fitkit.fit.cut import Cut
from fitkit.fit.jaw_parts import HungJaw, hang, read_fittings
from fitkit.fit.lens_blank import Forming, lens_blanks
from fitkit.fit.pad_patterns import pad_patterns
from fitkit.fit.pads import Pad
from fitkit.fit.trial import GapPoint
from fitkit.piece.fixings import HoleTemplate
from fitkit.plots.flow import cover_pages
from fitkit.plots.lettering import text_width_mm
from fitkit.plots.pdf import pdf_bytes
from fitkit.plots.template_pages import page_figure
from fitkit.sheets.cover import cover_blocks, reading_blocks
from fitkit.sheets.dxf_sheets import template_dxf
from fitkit.sheets.flat_parts import (
    CUT_KIND,
    HOLE_KIND,
    LENS_KIND,
    PAD_KIND,
    cut_templates,
    hole_templates,
    lens_templates,
    pad_templates,
)
from fitkit.sheets.folder import CONTENTS, must_be_free, whole_folder, write_contents
from fitkit.sheets.gauges import HEAD_KIND, INSIDE_KIND, gauge_templates
from fitkit.sheets.meshes import file_names, write_cut_meshes, write_meshes
from fitkit.sheets.straps import KIND as STRAP_KIND
from fitkit.sheets.straps import strap_templates
from fitkit.sheets.svg_sheets import template_svg
from fitkit.sheets.trial_sheet import write_points
from fitkit.views.document import Block
from fitkit.views.gauges import Gauge, gauges, usual_stations
from fitkit.views.headline import headline
from fitkit.views.pages import (
    Page,
    Paper,
    lay_out,
    paper_named,
)
from fitkit.views.templates import Template, check_names

#: File of all pages.
PAGES = "sheets.pdf"
#: List of the gaps to read, to be filled in.
GAPS = "gaps_to_read.csv"
#: What a page says of the templates on it, by kind.
HEADINGS: Mapping[str, str] = MappingProxyType(
    {
        HEAD_KIND: "Gauges for the head, from stiff card",
        INSIDE_KIND: "Gauges for the inside, from stiff card",
        PAD_KIND: "Pads, from sheet foam",
        CUT_KIND: "Sight cuts, to mark out on the shell",
        LENS_KIND: "Lens blanks, from clear or tinted sheet",
        HOLE_KIND: "Hole templates, to drill on the shell",
        STRAP_KIND: "Straps of the jaw",
    }
)


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """Workshop sheets that were written."""

    folder: Path
    #: The pages to print.
    pages: Path
    #: Every file, relative to the folder, in order of names.
    files: tuple[str, ...]
    #: What is on the sheets: kind to names of templates.
    listed: Mapping[str, tuple[str, ...]]
    #: What is not, and why; a sentence each.
    left_out: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class BenchWork:
    """What is to be made besides gauges; nothing of it has to be given."""

    #: Pads to lay flat.
    pads: tuple[Pad, ...] = ()
    #: A sight cut, from `smallest_cut`; its meshes are written too.
    cut: Cut | None = None
    #: Openings that get a lens; None gives the eyes one, as far as they can be laid flat.
    lenses: tuple[str, ...] | None = None
    #: Allowances of lenses formed by heat; None for the usual ones.
    forming: Forming | None = None
    #: Jaw whose straps are wanted; None takes the straps of the piece's notes.
    hung: HungJaw | None = None
    #: Holes to drill for fixings, from `hole_template`.
    holes: tuple[HoleTemplate, ...] = ()
    #: Gaps to read at the trial fitting, from `trial_points`: a page to write on, and a
    #: list to fill in and read back with `read_gaps`.
    points: tuple[GapPoint, ...] = ()
    #: Templates of the maker's own.
    more: tuple[Template, ...] = ()


@dataclass(frozen=True, eq=False)
class _Found:
    templates: tuple[Template, ...]
    left_out: tuple[str, ...]


def write_sheets(
    assessment: Assessment,
    folder: Path | str,
    *,
    work: BenchWork | None = None,
    paper: str = "A4",
    tile: bool = True,
    overwrite: bool = False,
    made_on: date | None = None,
    tell: Callable[[str], None] | None = None,
) -> Sheets:
    """
    Write what goes to the bench as a folder; it appears whole or not at all.

    Parameters
    ----------
    assessment : Assessment
    folder : path
        Folder to write; made, with its parents. One that holds anything is refused.
    work : BenchWork, optional
        What is to be made besides gauges; lenses of the eyes, and straps, if left out.
    paper : str
        "A4", "A3" or "Letter".
    tile : bool
        Whether a template that is larger than the paper is spread over pages to join; if
        not, it is refused.
    overwrite : bool
        Whether a folder of sheets, and nothing else, is replaced.
    made_on : date, optional
        Day on the pages; today if left out.
    tell : callable, optional
        Called with a line of words before each step that takes a while.

    Returns
    -------
    Sheets
        "sheets.pdf" to print, a file of each template for cutters in "svg" and "dxf", the
        meshes to make in "meshes".

    Raises
    ------
    SheetError
        If the folder is in use or cannot be written, a template is too large for the
        paper, or two have the same name.
    BriefError
        If a pad or a named lens cannot be laid flat.
    """
    say = tell or _silence
    target, sheet = Path(folder), paper_named(paper)
    must_be_free(target, overwrite=overwrite)
    say("Laying out gauges, pads and lenses")
    asked = work or BenchWork()
    found = _found(assessment, asked)
    check_names(found.templates)
    pages = lay_out(found.templates, paper=sheet, tile=tile, measure=text_width_mm)
    front = _front(assessment, asked, found, sheet, made_on or date.today())
    with whole_folder(target, overwrite=overwrite) as room:
        say("Drawing pages")
        title = headline(assessment).title
        (room / PAGES).write_bytes(_printed(title, front, pages, sheet))
        names = [PAGES, *_write_templates(found.templates, room)]
        if asked.points:
            write_points(asked.points, room / GAPS)
            names.append(GAPS)
        say("Writing meshes")
        names += _write_meshes(assessment, asked.cut, room)
        write_contents(room, names)
    home = target.expanduser().resolve()
    return Sheets(
        folder=home,
        pages=home / PAGES,
        files=tuple(sorted([*names, CONTENTS])),
        listed=MappingProxyType(_listed(found.templates)),
        left_out=found.left_out,
    )


def _silence(_: str) -> None:
    """Say nothing."""


# -- what is on the sheets -------------------------------------------------------------


def _found(assessment: Assessment, work: BenchWork) -> _Found:
    wearer, piece, placement = assessment.wearer, assessment.piece, assessment.placement
    left_out: list[str] = []
    found = [*gauge_templates(_gauges(assessment, left_out))]
    if work.pads:
        found += pad_templates(pad_patterns(wearer, piece, placement, pads=work.pads))
    if work.cut is not None:
        cuts = cut_templates(work.cut)
        found += cuts
        if not cuts:
            left_out.append(_no_cut_words(work.cut))
    found += _lens_templates(assessment, work, left_out)
    hung = work.hung
    straps = strap_templates(hung) if hung is not None else _own_straps(assessment)
    found += [*hole_templates(work.holes), *straps, *work.more]
    left_out += _none_given(work, straps)
    return _Found(tuple(found), tuple(left_out))


def _gauges(assessment: Assessment, left_out: list[str]) -> tuple[Gauge, ...]:
    """Work out the usual gauges; where a piece has no wall to gauge, one is left out."""
    wearer, piece, placement = assessment.wearer, assessment.piece, assessment.placement
    found: list[Gauge] = []
    for station in usual_stations(wearer):
        try:
            found += gauges(wearer, piece, placement, assessment.ease, stations=[station])
        except SheetError as problem:
            left_out.append(str(problem))
    return tuple(found)


def _none_given(work: BenchWork, straps: Sequence[Template]) -> Iterator[str]:
    """Say what is missing because nobody asked for it."""
    if not work.pads:
        yield "No pads: none were given."
    if work.cut is None:
        yield "No sight cut: none was given."
    if not work.holes:
        yield "No hole templates: none were given."
    if not straps:
        yield "No straps: the piece notes none."
    if not work.points:
        yield "No list of gaps to read: no points were given."


def _no_cut_words(cut: Cut) -> str:
    if any(eye.patches for eye in cut.eyes.values()):
        return (
            "No sight cut laid flat: it folds, or would stretch by more than 10 %; mark it "
            "out from the cut mesh."
        )
    return "No sight cut: the wanted field is seen already."


def _lens_templates(
    assessment: Assessment, work: BenchWork, left_out: list[str]
) -> Iterator[Template]:
    """Lay lenses flat; those that nobody named may be left out, with the reason."""
    piece, placement = assessment.piece, assessment.placement
    eyes = [opening.name for opening in piece.openings if opening.kind == "eye"]
    for name in eyes if work.lenses is None else work.lenses:
        try:
            yield from lens_templates(
                lens_blanks(piece, placement, openings=[name], forming=work.forming)
            )
        except FitkitError as problem:
            if work.lenses is not None:
                raise
            left_out.append(f"No lens for {name}: {problem}")


def _own_straps(assessment: Assessment) -> tuple[Template, ...]:
    """Straps of the piece's own notes; none if it has no jaw that turns."""
    piece = assessment.piece
    if piece.hinge is None or not read_fittings(piece).straps:
        return ()
    return strap_templates(hang(piece, assessment.placement))


def _listed(templates: Sequence[Template]) -> dict[str, tuple[str, ...]]:
    listed: dict[str, tuple[str, ...]] = {}
    for one in templates:
        heading = HEADINGS.get(one.kind, one.kind.capitalize())
        listed[heading] = (*listed.get(heading, ()), one.name)
    return listed


def _front(
    assessment: Assessment, work: BenchWork, found: _Found, paper: Paper, made_on: date
) -> tuple[Block, ...]:
    """Cover, and the gaps to read."""
    cover = cover_blocks(
        assessment,
        listed=_listed(found.templates),
        left_out=found.left_out,
        paper=paper.name,
        made_on=made_on,
    )
    return (*cover, *reading_blocks(work.points))


# -- pages and files -------------------------------------------------------------------


def _printed(
    title: str, cover: Sequence[Block], pages: Sequence[Page], paper: Paper
) -> bytes:
    """Set cover and templates on pages that say which of how many they are."""
    front = len(cover_pages(cover, paper=paper, of=0))
    count = front + len(pages)
    figures = [*cover_pages(cover, paper=paper, of=count)]
    for number, page in enumerate(pages, start=front + 1):
        kind = page.placed[0].template.kind
        figures.append(
            page_figure(
                page,
                title=title,
                heading=HEADINGS.get(kind, kind.capitalize()),
                number=f"page {number} of {count}",
            )
        )
    return pdf_bytes(figures, title=f"Workshop sheets: {title}")


def _write_templates(templates: Sequence[Template], room: Path) -> Iterator[str]:
    """Write every template for cutters; gives the names of the files."""
    for kind, write in (("svg", template_svg), ("dxf", template_dxf)):
        (room / kind).mkdir()
        stems = file_names(one.name for one in templates)
        for stem, template in zip(stems, templates, strict=True):
            name = f"{kind}/{stem}.{kind}"
            (room / name).write_text(write(template), encoding="utf-8")
            yield name


def _write_meshes(assessment: Assessment, cut: Cut | None, room: Path) -> Iterator[str]:
    folder = room / "meshes"
    folder.mkdir()
    written = [*write_meshes(assessment, folder)]
    if cut is not None:
        written += write_cut_meshes(assessment, cut, folder)
    yield from (f"meshes/{name}" for name, _ in written)
