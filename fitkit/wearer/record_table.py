"""Many wearers' records in and out of a CSV table, one row each."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from fitkit.errors import FitkitError, RecordError
from fitkit.text_files import parse_json, read_text, replace_text
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import GLASSES_RANGE_MM, HAIR_ZONES, Record, make_record
from fitkit.wearer.record_files import short

#: Largest table read. [bytes]
LARGEST_TABLE = 20_000_000
#: Most problems listed in one message.
MOST_PROBLEMS = 20
#: Text with which a cell begins that holds something other than a text, as JSON.
_JSON_MARK = "json:"
#: Letters with which a spreadsheet takes a cell as a formula, and the mark against it.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "'")
_NUMBER = re.compile(r"[+-]?\d+(\.\d*)?([eE][+-]?\d+)?", re.ASCII)

_HAIR_COLUMNS = {f"hair_{zone}_mm": zone for zone in HAIR_ZONES}
_GLASSES_COLUMNS = {f"glasses_{size}": size for size in GLASSES_RANGE_MM}
_NUMBERS = ("age_years", "tape_hair_mm")
_TEXTS = ("name", "sex", "notes")
_KNOWN = (
    *("name", "sex", "age_years"),
    *CATALOGUE,
    *_HAIR_COLUMNS,
    "tape_hair_mm",
    *_GLASSES_COLUMNS,
    "notes",
)


def read_records_csv(path: str | Path) -> tuple[Record, ...]:
    """
    Read the records of many wearers from a table.

    Parameters
    ----------
    path : path-like
        CSV with a heading: ``name``, ``sex``, ``age_years``, any measures by their key,
        ``hair_<zone>_mm``, ``tape_hair_mm``, ``glasses_width_mm`` (and ``depth``,
        ``height``), ``notes``. Separated by comma, semicolon or tab; repeats of a
        reading in one cell, separated by semicolons. Empty cells were not taken; empty
        rows are passed over.

    Returns
    -------
    tuple of Record
        In the order of the rows. Other columns are kept in ``unknown``.

    Raises
    ------
    RecordError
        If it cannot be read or used; names the file, and row and column of each problem.
    """
    path = Path(path)
    try:
        text = read_text(path, most_bytes=LARGEST_TABLE, raises=RecordError)
        return _records(*_split(text))
    except FitkitError as problem:
        raise RecordError(f"{path.name}: {problem}") from None


def write_records_csv(records: Iterable[Record], path: str | Path) -> None:
    """
    Save the records of many wearers as a table, one row each.

    Parameters
    ----------
    records : iterable of Record
    path : path-like
        A file already there is replaced whole or not at all.

    Raises
    ------
    RecordError
        If it cannot be written there.

    Notes
    -----
    A text that a spreadsheet would run as a formula gets an apostrophe in front, which
    ``read_records_csv`` takes away again.
    """
    rows = [_row(record) for record in records]
    used = {column for row in rows for column in row}
    other = sorted(used.difference(_KNOWN))
    columns = [c for c in _KNOWN if c in used or c == "name"] + other
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([_guard(column) for column in columns])
    writer.writerows([_guard(row.get(c, "")) for c in columns] for row in rows)
    replace_text(Path(path), out.getvalue(), raises=RecordError)


def _split(text: str) -> tuple[list[str], list[list[str]]]:
    """Return the heading and the rows of a table."""
    first = text.partition("\n")[0]
    separator = max(",;\t", key=first.count)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as problem:
        msg = f"is no table that can be read: {problem}."
        raise RecordError(msg) from None
    if not lines:
        msg = "is empty. Its first row must name the columns: name, head_length_mm, ..."
        raise RecordError(msg)
    heading = [_bare(cell.strip()) for cell in lines[0]]
    _check_heading(heading)
    return heading, lines[1:]


def _check_heading(heading: Sequence[str]) -> None:
    if "name" not in heading:
        msg = (
            "row 1 must name the columns, one of them 'name'; "
            f"got {', '.join(heading)[:80]!r}."
        )
        raise RecordError(msg)
    for place, column in enumerate(heading, start=1):
        if not column:
            msg = f"row 1: column {place} has no name. Name it, or take it out."
            raise RecordError(msg)
        if column in heading[: place - 1]:
            msg = f"row 1: column {column[:80]!r} is there twice. Put repeats in one cell."
            raise RecordError(msg)
        near = get_close_matches(column, _KNOWN, n=1, cutoff=0.86)
        if column not in _KNOWN and near:
            msg = f"row 1: column {column[:80]!r} is not known. Did you mean {near[0]!r}?"
            raise RecordError(msg)


def _records(heading: list[str], rows: list[list[str]]) -> tuple[Record, ...]:
    records: list[Record] = []
    problems: list[str] = []
    for number, cells in enumerate(rows, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        try:
            records.append(_record(heading, cells))
        except FitkitError as problem:
            name = dict(zip(heading, cells, strict=False)).get("name", "")[:40]
            problems += [f"row {number} ({name}): {line}" for line in _lines(problem)]
    if problems:
        more = len(problems) - MOST_PROBLEMS
        tail = [f"and {more} more."] if more > 0 else []
        raise RecordError("\n".join(problems[:MOST_PROBLEMS] + tail))
    return tuple(records)


def _lines(problem: FitkitError) -> list[str]:
    return str(problem).split("\n")


def _record(heading: Sequence[str], cells: Sequence[str]) -> Record:
    if len(cells) > len(heading) and any(cell.strip() for cell in cells[len(heading) :]):
        msg = f"has {len(cells)} cells where row 1 names {len(heading)} columns."
        raise RecordError(msg)
    pairs = zip(heading, cells, strict=False)
    row = {c: v for c, v in pairs if v.strip() or (v and c in ("name", "notes"))}
    known: dict[str, Any] = {c: _bare(row[c]) for c in _TEXTS if c in row}
    known |= {c: _number(row[c]) for c in _NUMBERS if c in row}
    known |= {c: _readings(row[c]) for c in CATALOGUE if c in row}
    hair = {zone: _number(row[c]) for c, zone in _HAIR_COLUMNS.items() if c in row}
    glasses = {size: _number(row[c]) for c, size in _GLASSES_COLUMNS.items() if c in row}
    unknown = {c: _value(c, v) for c, v in row.items() if c not in _KNOWN}
    known.setdefault("name", "")
    return make_record(**known, hair_mm=hair, glasses=glasses or None, unknown=unknown)


def _readings(cell: str) -> list[Any]:
    return [_number(part) for part in _bare(cell).split(";")]


def _number(cell: str) -> Any:
    """Return the number in a cell, or its text for the message that will refuse it."""
    text = _bare(cell).strip()
    return float(text) if _NUMBER.fullmatch(text) else text


def _value(column: str, cell: str) -> Any:
    text = _bare(cell)
    if not text.startswith(_JSON_MARK):
        return text
    try:
        return parse_json(text[len(_JSON_MARK) :], raises=RecordError)
    except RecordError as problem:
        raise RecordError(f"{column[:80]}: {problem}") from None


def _row(record: Record) -> dict[str, str]:
    """Return the cells of one record that are not empty."""
    for column in record.unknown:
        if column in _KNOWN:
            msg = f"record.unknown must not hold {column!r}, which is a column of its own."
            raise RecordError(msg)
    row = {column: _cell(value) for column, value in record.unknown.items()}
    row |= {c: getattr(record, c) or "" for c in _TEXTS}
    row |= {c: _plain(getattr(record, c)) for c in _NUMBERS}
    for key, reading in record.readings.items():
        row[key] = ";".join(_plain(value) for value in reading.values_mm)
    for column, zone in _HAIR_COLUMNS.items():
        row[column] = _plain(record.hair_mm.get(zone))
    for column, size in _GLASSES_COLUMNS.items():
        row[column] = _plain(getattr(record.glasses, size, None))
    return {column: cell for column, cell in row.items() if cell}


def _plain(value: float | None) -> str:
    return "" if value is None else str(short(value))


def _cell(value: Any) -> str:
    if isinstance(value, str) and not value.startswith(_JSON_MARK) and value.strip():
        return value
    try:
        return _JSON_MARK + json.dumps(value, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as problem:
        msg = f"record.unknown holds what a table cannot say: {problem}."
        raise RecordError(msg) from None


def _guard(cell: str) -> str:
    """Put an apostrophe before what a spreadsheet would run as a formula."""
    risky = cell.lstrip(" ").startswith(_FORMULA) and not _NUMBER.fullmatch(cell)
    return "'" + cell if risky else cell


def _bare(cell: str) -> str:
    """Take the apostrophe of ``_guard`` away."""
    guarded = cell[:1] == "'" and cell[1:].lstrip(" ").startswith(_FORMULA)
    return cell[1:] if guarded else cell
