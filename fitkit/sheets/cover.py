"""The cover of workshop sheets: for whom, with which settings, what to check first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from fitkit.assess import Assessment
from fitkit.fit._words import move_words
from fitkit.fit.trial import GapPoint
from fitkit.piece.buildup import Layer
from fitkit.views.document import Block, Bullets, Grid, Heading, PageBreak, Paragraph
from fitkit.views.headline import headline, size_words
from fitkit.views.words import figure
from fitkit.wearer.slips import check_record

#: Most doubtful readings that a cover names.
MOST_DOUBTS = 3
#: Height of a row that is written in. [mm]
WRITE_MM = 6.6
#: What the other files of the folder are.
FILES = (
    "Beside this file: each template as SVG and DXF, 1 unit = 1 mm, in layers cut, score, "
    "drill and mark; meshes as STL and 3MF in mm, to look at as GLB in m."
)
#: What holds at every bench and for every piece.
BENCH_CAUTIONS: tuple[str, ...] = (
    "Dust: cut, sand and grind where it is drawn off, with a mask that suits the material.",
    "Fumes: resins, glues, paints and hot plastics need moving air, gloves, and what their "
    "own data sheets ask for.",
    "Heat: hot sheet, guns and hardening resin burn; work on what cannot catch fire.",
    "Cells and wiring: a fuse at the cell, no bare joint near skin or hair; charge outside "
    "the piece, never on a person.",
    "Sharp edges: round and cover every edge that can meet skin, above all near the eyes.",
    "Sight: less of the floor and of the sides is seen than the wearer is used to; stairs, "
    "kerbs and traffic only with a hand to hold.",
    "Heat of the body: keep vents open; agree on a time limit and on a sign to stop.",
    "Getting out: whoever wears it must get out alone and at once, gloved as in the show.",
    "It is a costume: nothing here certifies it as protection. Local rules and the advice "
    "of qualified people come first.",
)


def cover_blocks(
    assessment: Assessment,
    *,
    listed: Mapping[str, tuple[str, ...]],
    left_out: Sequence[str],
    paper: str,
    made_on: date,
) -> tuple[Block, ...]:
    """
    Say what stands before the first template.

    Parameters
    ----------
    assessment : Assessment
    listed : mapping of kind to template names
        What is on the sheets.
    left_out : sequence of str
        What is not on them, and why; a sentence each.
    paper : str
        Name of the paper.
    made_on : date
    """
    top = headline(assessment)
    return (
        Heading(text=f"Workshop sheets: {top.title}", level=1),
        Paragraph(text=f"{made_on.day} {made_on:%B %Y}. 1:1, lengths in mm.", soft=True),
        Paragraph(text=_verdict(assessment), bold=True),
        Grid(
            title="",
            columns=("Made for", ""),
            is_text=(True, True),
            rows=tuple(_settings(assessment, paper)),
        ),
        Heading(text="Check first"),
        Bullets(lines=tuple(_first(assessment, listed)), numbered=True),
        Heading(text="On these sheets"),
        Bullets(lines=tuple(f"{kind}: {', '.join(n)}." for kind, n in listed.items())),
        Paragraph(text=FILES, soft=True),
        *((Paragraph(text=" ".join(left_out), soft=True),) if left_out else ()),
        Heading(text="Cautions"),
        Bullets(lines=BENCH_CAUTIONS),
    )


def reading_blocks(points: Sequence[GapPoint]) -> tuple[Block, ...]:
    """List the gaps to read at a trial fitting, with room to write; none for none."""
    if not points:
        return ()
    how = (
        "Piece on as it will be worn, wearer sitting, head level. Read each gap from hair "
        "to inner wall with a stepped wedge or a rod; leave out what cannot be reached. "
        "Nineteen readings in twenty should lie between the two figures."
    )
    rows = tuple(
        (
            str(point.number),
            point.words,
            figure(point.ease_mm),
            f"{figure(point.low_mm)} to {figure(point.high_mm)}",
            "",
        )
        for point in points
    )
    return (
        PageBreak(),
        Heading(text="Gaps to read at the trial fitting"),
        Paragraph(text=how),
        Grid(
            title="",
            columns=(
                "No.",
                "Where",
                "Foretold, mm",
                "19 of 20, mm",
                "Readings, mm",
            ),
            is_text=(False, True, False, False, True),
            rows=rows,
            row_mm=WRITE_MM,
        ),
    )


def _verdict(assessment: Assessment) -> str:
    if assessment.fits:
        return "By the figures it fits: every demand of the brief is met."
    return (
        "By the figures it does not fit, so cut gauges only. First of what is missed: "
        f"{assessment.reasons[0]}"
    )


def _settings(assessment: Assessment, paper: str) -> Iterator[tuple[str, str]]:
    piece, placement = assessment.piece, assessment.placement
    build_up = piece.build_up
    yield "Wearer", assessment.wearer.record.name
    yield "Piece", piece.name
    yield "Size", f"{size_words(assessment)} of the drawn size"
    if build_up.master_scale > 1.0:
        over = 100.0 * (build_up.master_scale - 1.0)
        steps = ", ".join(f"{shrink:g} %" for shrink in build_up.shrink_percent)
        yield "Master", f"{over:.2f} % larger than that; copies shrink by {steps}"
    yield (
        "Placement",
        f"{move_words(placement.shift_mm.tolist())} from where it was drawn; pitch "
        f"{figure(placement.pitch_deg)}, yaw {figure(placement.yaw_deg)}, roll "
        f"{figure(placement.roll_deg)} deg",
    )
    yield "Layers inward", _layers(build_up.inward)
    yield "Layers outward", _layers(build_up.outward)
    tight = assessment.ease.tightest
    yield (
        "Tightest ease",
        f"{figure(tight.least_mm)} mm, {tight.wanted_mm:g} mm asked",
    )
    yield "Paper", paper


def _layers(layers: Sequence[Layer]) -> str:
    said = [f"{layer.name} {layer.thickness_mm:g} mm" for layer in layers]
    return ", ".join(said) if said else "none"


def _first(assessment: Assessment, listed: Mapping[str, tuple[str, ...]]) -> Iterator[str]:
    yield (
        "The bar at the foot of each page: 100.0 mm with a steel rule. A printer that is "
        "off by 1 % makes a head 6 mm too large."
    )
    doubts = check_record(assessment.wearer.record)
    for doubt in doubts[:MOST_DOUBTS]:
        yield f"A reading that looks odd: {doubt.message}"
    for narrowing in assessment.uncertainty.narrowings[:1]:
        yield narrowing.words
    if any("head" in kind for kind in listed):
        yield (
            "The gauges for the head, on the wearer, before anything else is cut: where "
            "one does not go on, or light shows under it, measure again."
        )
    if any("inside" in kind for kind in listed):
        yield "The gauges for the inside, in the finished shell, before pads are glued in."
    yield "Pads, lenses and cuts in paper, on the shell, before they are cut in earnest."
