"""Records in and out of files: JSON for one wearer, CSV for many."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from fitkit.errors import FitkitError, RecordError
from fitkit.wearer.record import Reading, Record, make_record

#: Version of the JSON record written and read here.
RECORD_VERSION = 1
#: Largest JSON record read. [bytes]
LARGEST_RECORD = 1_000_000

_PLAIN = ("name", "sex", "age_years", "hair_mm", "tape_hair_mm", "glasses", "notes")


def read_record(path: str | Path) -> Record:
    """
    Read one wearer's record from a JSON file.

    Parameters
    ----------
    path : path-like
        File written by ``write_record`` or by hand.

    Returns
    -------
    Record
        Keys that this version does not know are kept in ``unknown``.

    Raises
    ------
    RecordError
        If the file cannot be read, or holds what cannot be used; the message names the
        file and each thing to mend, one a line.
    """
    path = Path(path)
    try:
        return record_from_json(_read_text(path, LARGEST_RECORD))
    except FitkitError as problem:
        raise RecordError(f"{path.name}: {problem}") from None


def record_from_json(text: str) -> Record:
    """
    Make a record from the text of a JSON file.

    Parameters
    ----------
    text : str
        One JSON object, with ``"fitkit_record": 1``.

    Returns
    -------
    Record

    Raises
    ------
    RecordError, MeasureError
        As ``read_record``, without the name of the file.
    """
    content = _parse(text)
    _check_version(content.pop("fitkit_record", None))
    readings = content.pop("readings_mm", {})
    if not isinstance(readings, dict):
        msg = 'readings_mm must map measures to readings, like {"head_length_mm": 199}.'
        raise RecordError(msg)
    known = {key: content.pop(key) for key in _PLAIN if key in content}
    return make_record(**known, **readings, unknown=content)


def record_to_json(record: Record) -> str:
    """
    Return the text of a record's JSON file; unknown keys come back as they came.

    Parameters
    ----------
    record : Record

    Returns
    -------
    str

    Raises
    ------
    RecordError
        If ``record.unknown`` holds what JSON cannot say.
    """
    content: dict[str, Any] = {
        "fitkit_record": RECORD_VERSION,
        "name": record.name,
        "sex": record.sex,
        "age_years": record.age_years,
        "readings_mm": {k: _plain(r) for k, r in record.readings.items()},
        "hair_mm": dict(record.hair_mm),
        "tape_hair_mm": record.tape_hair_mm,
        "glasses": None if record.glasses is None else dict(vars(record.glasses)),
        "notes": record.notes,
    }
    content.update(record.unknown)
    try:
        return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    except (TypeError, ValueError) as problem:
        msg = f"record.unknown holds what JSON cannot say: {problem}."
        raise RecordError(msg) from None


def write_record(record: Record, path: str | Path) -> None:
    """
    Save one wearer's record; a file already there is replaced whole or not at all.

    Parameters
    ----------
    record : Record
    path : path-like

    Raises
    ------
    RecordError
        If it cannot be written there.
    """
    replace_text(Path(path), record_to_json(record))


def replace_text(path: Path, text: str) -> None:
    """Write a text file so that a reader sees the old file or the new, never a half."""
    path = path.resolve()
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        msg = f"{path.name} cannot be written in {path.parent}: {problem.strerror}."
        raise RecordError(msg) from None


def _plain(reading: Reading) -> float | list[float]:
    values = [int(v) if v.is_integer() else v for v in reading.values_mm]
    return values[0] if len(values) == 1 else list(values)


def _read_text(path: Path, most: int) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as problem:
        raise RecordError(f"cannot be read: {problem.strerror}.") from None
    if len(data) > most:
        msg = f"is larger than {most} bytes, so it is no such file. Check the path."
        raise RecordError(msg)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        msg = "is not a text file in UTF-8. Save it again as plain UTF-8 text."
        raise RecordError(msg) from None


def _parse(text: str) -> dict[str, Any]:
    try:
        content = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as problem:
        msg = f"line {problem.lineno}, column {problem.colno}: {problem.msg}."
        raise RecordError(msg) from None
    except (RecursionError, ValueError) as problem:
        if isinstance(problem, RecordError):
            raise
        msg = "holds brackets nested too deep or a number too long to be a record."
        raise RecordError(msg) from None
    if not isinstance(content, dict):
        msg = "must hold one JSON object in braces, a record."
        raise RecordError(msg)
    return content


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content: dict[str, Any] = {}
    for key, value in pairs:
        if key in content:
            msg = f"{key[:80]!r} is given twice. Keep one; put repeats in a list."
            raise RecordError(msg)
        content[key] = value
    return content


def _no_constant(name: str) -> Any:
    msg = f"{name} is not a number. Leave a reading out if it was not taken."
    raise RecordError(msg)


def _check_version(got: object) -> None:
    if got is None:
        msg = 'is no record: it has no "fitkit_record": 1.'
        raise RecordError(msg)
    if isinstance(got, bool) or got != RECORD_VERSION:
        msg = (
            f"fitkit_record must be {RECORD_VERSION}; got {str(got)[:40]}. "
            "A later fitkit may have written it: use that one."
        )
        raise RecordError(msg)
