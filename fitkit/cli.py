"""The command line: fit a piece to a wearer, print the verdict, write the report."""

from __future__ import annotations

import argparse
import io
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.errors import FitkitError, SheetError

if TYPE_CHECKING:
    from fitkit.assess import Assessment
    from fitkit.fit.brief import Brief
    from fitkit.piece.buildup import Piece
    from fitkit.sheets.workshop import BenchWork
    from fitkit.wearer.record import Record
    from fitkit.wearer.wearer import Wearer

#: What the command says to whoever called it.
FITS, DOES_NOT_FIT, BAD_INPUT, STOPPED = 0, 1, 2, 130
#: The pair that `fitkit try` fits, below the folder of samples.
SAMPLE_RECORD, SAMPLE_PIECE = "wearers/tamsin.json", "pieces/otter.3mf"
#: Folder of samples, beside the package in a source tree.
SAMPLES = Path(__file__).resolve().parent.parent / "sample_heads"
#: Folder that `fitkit try` writes unless another is named.
TRY_FOLDER = "fitkit_report"
#: Letters in a line of the verdict.
LINE_LETTERS = 78
#: Most missed demands that the terminal shows; the report has them all.
MOST_REASONS = 5


def main(arguments: Sequence[str] | None = None) -> int:
    """
    Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words after ``fitkit``; those of the process if left out.

    Returns
    -------
    int
        0 if it fits, 1 if it does not fit, 2 if the input is bad.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    asked = _parser().parse_args(arguments)
    try:
        assessment = COMMANDS[asked.command](asked)
    except (FitkitError, OSError) as problem:
        print(f"fitkit: {_printable(str(problem))}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("fitkit: stopped; nothing was left half-written.", file=sys.stderr)
        return STOPPED
    return FITS if assessment.fits else DOES_NOT_FIT


# -- commands -------------------------------------------------------------------------


def _try(asked: argparse.Namespace) -> Assessment:
    record, piece = SAMPLES / SAMPLE_RECORD, SAMPLES / SAMPLE_PIECE
    missing = [path for path in (record, piece) if not path.is_file()]
    if missing:
        msg = (
            f"The samples are not here: there is no {missing[0]}. They come with the "
            'source tree; install it in place (pip install -e ".[lab]"), or run fitkit '
            "assess on files of your own."
        )
        raise SheetError(msg)
    out = Path(asked.out) if asked.out else _unused(Path(TRY_FOLDER))
    return _run(record, piece, out, asked)


def _assess(asked: argparse.Namespace) -> Assessment:
    return _run(Path(asked.record), Path(asked.piece), Path(asked.out), asked)


def _sheets(asked: argparse.Namespace) -> Assessment:
    """Write the sheets for the bench instead of the report."""
    from fitkit.sheets.folder import must_be_free
    from fitkit.sheets.workshop import write_sheets

    out = Path(asked.out)
    must_be_free(out, overwrite=asked.overwrite)
    assessment = _answer(Path(asked.record), Path(asked.piece), asked)
    sheets = write_sheets(
        assessment,
        out,
        work=_bench_work(assessment),
        paper=asked.paper,
        overwrite=asked.overwrite,
        tell=_tell,
    )
    print("")
    for words in sheets.left_out:
        print(_printable(words))
    print(f"Sheets: {sheets.pages}")
    return assessment


def _bench_work(assessment: Assessment) -> BenchWork:
    """Gaps to read at the trial fitting, and pads where some hold the piece."""
    from fitkit.fit.trial import trial_points
    from fitkit.sheets.workshop import BenchWork

    _tell("Choosing pads, and gaps to read at the trial fitting")
    points = trial_points(assessment.wearer, assessment.piece, assessment.placement)
    try:
        pads = assessment.padded.padding.pads
    except FitkitError as problem:
        print(f"fitkit: no pads: {_printable(str(problem))}", file=sys.stderr)
        pads = ()
    return BenchWork(pads=pads, points=points)


#: What each command does.
COMMANDS = {"try": _try, "assess": _assess, "sheets": _sheets}


def _unused(folder: Path) -> Path:
    names = (folder if k == 1 else folder.with_name(f"{folder.name}_{k}") for k in count(1))
    return next(name for name in names if not name.exists())


def _run(record: Path, mesh: Path, out: Path, asked: argparse.Namespace) -> Assessment:
    """Answer, and write the report."""
    from fitkit.sheets.folder import must_be_free
    from fitkit.sheets.report import write_report

    must_be_free(out, overwrite=asked.overwrite)
    assessment = _answer(record, mesh, asked)
    report = write_report(assessment, out, overwrite=asked.overwrite, tell=_tell)
    print(f"\nReport: {report.page}")
    return assessment


def _answer(record: Path, mesh: Path, asked: argparse.Namespace) -> Assessment:
    """Read, solve and assess, and print the verdict."""
    wearer = _wearer(record, asked)
    piece = _piece(mesh, asked)
    assessment = _assessment(wearer, piece, _brief(wearer, asked), asked)
    print(_printable(verdict_text(assessment)), flush=True)
    return assessment


def _wearer(path: Path, asked: argparse.Namespace) -> Wearer:
    from fitkit.wearer.build import wearer_from_record
    from fitkit.wearer.record_files import read_record
    from fitkit.wearer.slips import check_record

    _tell(f"Reading {path.name} and shaping the head")
    record = read_record(path)
    for slip in check_record(record):
        print(f"fitkit: doubtful: {_printable(slip.message)}", file=sys.stderr)
    return _scanned(record, asked) if asked.scan else wearer_from_record(record)


def _scanned(record: Record, asked: argparse.Namespace) -> Wearer:
    from fitkit.wearer.scan import wearer_from_scan
    from fitkit.wearer.scan_files import read_scan

    path = Path(asked.scan)
    _tell(f"Reading {path.name}")
    scan = read_scan(path, unit=asked.scan_unit)
    what = "Finding the landmarks of" if scan.landmarks_mm is None else "Laying the head on"
    _tell(f"{what} {path.name}")
    wearer = wearer_from_scan(scan.mesh, scan.landmarks_mm, record=record)
    for caution in wearer.cautions:
        print(f"fitkit: note: {_printable(caution)}", file=sys.stderr)
    return wearer


def _piece(path: Path, asked: argparse.Namespace) -> Piece:
    from fitkit.piece.buildup import finish
    from fitkit.piece.design import read_design

    _tell(f"Reading {path.name}")
    design = read_design(path, notes=asked.notes, unit=asked.unit)
    _tell("Finding what faces the head, and the openings")
    return finish(design)


def _brief(wearer: Wearer, asked: argparse.Namespace) -> Brief:
    from fitkit.fit.brief import brief_for
    from fitkit.sheets.brief_file import read_brief

    given = read_brief(asked.brief) if asked.brief else None
    brief = brief_for(wearer.record, given)
    if asked.size is None:
        return brief
    return replace(brief, size_least=asked.size, size_most=asked.size, distortion_percent=0)


def _assessment(
    wearer: Wearer, piece: Piece, brief: Brief, asked: argparse.Namespace
) -> Assessment:
    from fitkit.assess import assess, fit
    from fitkit.sheets.placement_file import read_placement

    if asked.placement:
        placement = read_placement(asked.placement)
        _tell("Assessing the placement given")
        return assess(wearer, piece, placement, brief)
    what = "size and pose" if asked.size is None else f"the pose at {asked.size:.1%}"
    _tell(f"Solving for {what}")
    return fit(wearer, piece, brief)


# -- words ----------------------------------------------------------------------------


def verdict_text(assessment: Assessment) -> str:
    """Put an assessment into the lines that the terminal shows."""
    from fitkit.views.headline import headline

    top = headline(assessment)
    lines = [f"{top.title}: {top.verdict if top.fits else top.verdict.upper()}"]
    for reason in assessment.reasons[:MOST_REASONS]:
        lines += _item("-", reason)
    if len(assessment.reasons) > MOST_REASONS:
        lines.append(f"  - and {len(assessment.reasons) - MOST_REASONS} more.")
    lines.append("")
    for answer in top.answers:
        lines += _wrapped(f"  {answer.title:<14} ", f"{answer.figure} ({answer.note})")
    lines += ["", "To make it:" if top.fits else "What to change:"]
    for number, change in enumerate(assessment.changes, start=1):
        lines += _item(f"{number}.", change)
    return "\n".join(lines)


def _item(mark: str, words: str) -> list[str]:
    return _wrapped(f"  {mark} ", words)


def _wrapped(start: str, words: str) -> list[str]:
    return textwrap.wrap(
        words,
        LINE_LETTERS,
        initial_indent=start,
        subsequent_indent=" " * len(start),
        break_long_words=False,
    )


def _tell(words: str) -> None:
    print(f"fitkit: {_printable(words)} ...", file=sys.stderr, flush=True)


def _printable(text: str) -> str:
    """Leave out what could steer a terminal: a name may come from anyone."""
    return "".join(c if c.isprintable() or c == "\n" else "?" for c in text)


# -- arguments ------------------------------------------------------------------------


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fitkit",
        description="Fit a wearable headpiece to the person who will wear it.",
        epilog="Ends with 0 if it fits, 1 if it does not fit, 2 if the input is bad.",
    )
    parser.add_argument("--version", action="version", version=f"fitkit {_version()}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    trial = commands.add_parser(
        "try", help="fit the sample wearer to the sample piece", description=_try_words()
    )
    trial.add_argument("--out", metavar="DIR", help=f"folder to write ({TRY_FOLDER})")
    trial.set_defaults(
        brief=None, size=None, placement=None, notes=None, unit=None, scan=None
    )
    check = commands.add_parser(
        "assess",
        help="fit your own piece to your own wearer",
        description="Solve size and pose for a record and a mesh, and write a report.",
    )
    bench = commands.add_parser(
        "sheets",
        help="write what goes to the bench",
        description="Solve as assess does, and write templates, gauges and meshes, 1:1.",
    )
    bench.add_argument(
        "--paper", choices=("A4", "A3", "Letter"), default="A4", help="to print on (A4)"
    )
    for command in (check, bench):
        _add_inputs(command)
    for command in (trial, check, bench):
        command.add_argument(
            "--overwrite", action="store_true", help="replace a folder written before"
        )
    return parser


def _add_inputs(command: argparse.ArgumentParser) -> None:
    """Add what a fit of one's own files is asked with."""
    units = ("mm", "cm", "m", "in")
    command.add_argument("record", metavar="RECORD", help="wearer's record (JSON)")
    command.add_argument(
        "piece", metavar="PIECE", help="mesh (STL, OBJ, PLY, GLB, 3MF), notes beside it"
    )
    command.add_argument("--out", metavar="DIR", required=True, help="folder to write")
    command.add_argument("--brief", metavar="FILE", help="what is asked (JSON)")
    command.add_argument("--notes", metavar="FILE", help="notes of the piece (JSON)")
    command.add_argument("--unit", choices=units, help="unit of a mesh that says none")
    command.add_argument(
        "--scan", metavar="SCAN", help="head scan to take the shape from, notes beside it"
    )
    command.add_argument("--scan-unit", choices=units, help="unit of a scan that says none")
    given = command.add_mutually_exclusive_group()
    given.add_argument(
        "--size",
        type=_size,
        metavar="S",
        help="assess at this size, such as 1.05 or 105%%, in the best pose",
    )
    given.add_argument(
        "--placement", metavar="FILE", help="assess at the size and pose of a report (JSON)"
    )


def _try_words() -> str:
    return f"Fit {SAMPLE_RECORD} to {SAMPLE_PIECE}, print the verdict and write a report."


def _size(text: str) -> float:
    """Read a size: a factor, or a percentage with its sign."""
    from fitkit.fit.brief import SIZE_RANGE

    low, high = SIZE_RANGE
    percent = text.endswith("%")
    try:
        size = float(text.removesuffix("%")) / (100.0 if percent else 1.0)
    except ValueError:
        msg = f"a size must be a factor such as 1.05, or 105%; got {text!r}."
        raise argparse.ArgumentTypeError(msg) from None
    if not low <= size <= high:
        meant = f" Did you mean {size:g}%?" if low <= size / 100.0 <= high else ""
        msg = f"a size must be {low:g} to {high:g} (factor); got {text}.{meant}"
        raise argparse.ArgumentTypeError(msg)
    return size


def _version() -> str:
    try:
        return version("fitkit")
    except PackageNotFoundError:
        return "(not installed)"
