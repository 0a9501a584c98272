"""One wearer's record in and out of a JSON file."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, overload

from fitkit.errors import FitkitError, RecordError
from fitkit.text_files import check_version, parse_json, read_text, replace_text
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import (
    GLASSES_RANGE_MM,
    HAIR_ZONES,
    Reading,
    Record,
    make_record,
)

#: Version of the JSON record written and read here.
RECORD_VERSION = 1
#: Largest JSON record read. [bytes]
LARGEST_RECORD = 1_000_000

#: Keys of the JSON record beside its version and its readings.
_PLAIN = ("name", "sex", "age_years", "hair_mm", "tape_hair_mm", "glasses", "notes")
#: Sections of the JSON record, with the keys each one knows.
_SECTIONS = {
    "readings_mm": tuple(CATALOGUE),
    "hair_mm": HAIR_ZONES,
    "glasses": tuple(GLASSES_RANGE_MM),
}
#: A list of numbers that was written over several lines.
_LIST = re.compile(r"\[\n([-+.\deE,\s]+)\n\s*\]")
#: Likeness to a known key from which an unknown one is taken as misspelt.
_MISSPELT = 0.86


def read_record(path: str | Path) -> Record:
    """
    Read one wearer's record from a JSON file.

    Parameters
    ----------
    path : path-like
        File written by ``write_record`` or by hand, at most ``LARGEST_RECORD`` bytes.

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
        text = read_text(path, most_bytes=LARGEST_RECORD, raises=RecordError)
        return record_from_json(text)
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

    Examples
    --------
    >>> text = '{"fitkit_record": 1, "readings_mm": {"head_length_mm": [199, 200]}}'
    >>> record_from_json(text).readings["head_length_mm"].mean_mm
    199.5
    """
    content = _object(text)
    check_version(
        content, "fitkit_record", newest=RECORD_VERSION, what="record", raises=RecordError
    )
    del content["fitkit_record"]
    unknown = _take_unknown(content)
    readings = content.pop("readings_mm", None) or {}
    known = {key: content[key] for key in _PLAIN if key in content}
    known["glasses"] = known.get("glasses") or None
    return make_record(**known, **readings, unknown=unknown)


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

    Examples
    --------
    >>> record = make_record(name="Ada", unknown={"shoe_size": 39})
    >>> record_from_json(record_to_json(record)).unknown
    {'shoe_size': 39}
    """
    content: dict[str, Any] = {
        "fitkit_record": RECORD_VERSION,
        "name": record.name,
        "sex": record.sex,
        "age_years": short(record.age_years),
        "readings_mm": {k: _repeats(r) for k, r in record.readings.items()},
        "hair_mm": {zone: short(mm) for zone, mm in record.hair_mm.items()},
        "tape_hair_mm": short(record.tape_hair_mm),
        "glasses": record.glasses
        and {k: short(v) for k, v in vars(record.glasses).items()},
        "notes": record.notes,
    }
    try:
        text = json.dumps(
            _with_unknown(content, record.unknown),
            indent=2,
            ensure_ascii=False,
            allow_nan=False,
        )
    except (TypeError, ValueError) as problem:
        msg = f"record.unknown holds what JSON cannot say: {problem}."
        raise RecordError(msg) from None
    return _LIST.sub(lambda found: f"[{' '.join(found[1].split())}]", text) + "\n"


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
    replace_text(Path(path), record_to_json(record), raises=RecordError)


@overload
def short(value: float) -> float: ...
@overload
def short(value: float | None) -> float | None: ...
def short(value: float | None) -> float | None:
    """Return a whole number as an int, so that 574.0 is written 574; None stays."""
    return int(value) if value is not None and value.is_integer() else value


def _repeats(reading: Reading) -> float | list[float]:
    values = [short(value) for value in reading.values_mm]
    return values[0] if len(values) == 1 else values


def _object(text: str) -> dict[str, Any]:
    content = parse_json(text, raises=RecordError)
    if not isinstance(content, dict):
        msg = 'must hold one record in braces: {"fitkit_record": 1, ...}.'
        raise RecordError(msg)
    return content


def _take_unknown(content: dict[str, Any]) -> dict[str, Any]:
    """Move every key that is not known, and not a misspelt known one, out of content."""
    top = (*_PLAIN, "readings_mm")
    unknown = {key: content.pop(key) for key in _unknown_keys(content, top)}
    for name, known in _SECTIONS.items():
        section = content.get(name)
        if name == "hair_mm" and isinstance(section, (int, float)):
            continue
        if section is None:
            content.pop(name, None)
        elif not isinstance(section, dict):
            msg = f"{name} must be names and numbers in braces; got {str(section)[:40]!r}."
            raise RecordError(msg)
        elif kept := {key: section.pop(key) for key in _unknown_keys(section, known)}:
            unknown[name] = kept
    return unknown


def _unknown_keys(content: Mapping[str, Any], known: tuple[str, ...]) -> list[str]:
    found = [key for key in content if key not in known]
    for key in found:
        if key in CATALOGUE:
            msg = f"{key!r} belongs inside readings_mm. Move it there."
            raise RecordError(msg)
        near = get_close_matches(key, known, n=1, cutoff=_MISSPELT)
        if near:
            msg = f"{key[:80]!r} is not known. Did you mean {near[0]!r}?"
            raise RecordError(msg)
    return found


def _with_unknown(content: Mapping[str, Any], unknown: Mapping[str, Any]) -> dict[str, Any]:
    """Put unknown keys back, inside their section too; known ones stay as they are."""
    whole = {**unknown, **content}
    for name in _SECTIONS:
        kept = unknown.get(name)
        if isinstance(kept, Mapping):
            whole[name] = {**(content[name] or {}), **kept}
    return {**{key: whole[key] for key in content}, **whole}
