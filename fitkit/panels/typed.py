"""A wearer's record as it stands in the boxes of a form: text, maybe wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, cast

from fitkit.errors import FitkitError
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import (
    GLASSES_RANGE_MM,
    HAIR_ZONES,
    Reading,
    Record,
    make_record,
)
from fitkit.wearer.slips import Slip, check_record

#: Longest text of one box that is looked at.
LONGEST_BOX = 200
#: Longest name or notes that a form sends.
LONGEST_PROSE = 20_000
#: Sexes that may stand in the form; the empty one is "not stated".
SEXES = ("", "female", "male")


@dataclass(frozen=True, kw_only=True)
class TypedRecord:
    """
    The boxes of the record form, as typed.

    Boxes that are empty are left out of the mappings. ``check_typed`` tells what they
    mean and what is wrong with them.
    """

    #: Name of the wearer, for people.
    name: str = "wearer"
    #: One of ``SEXES``.
    sex: str = ""
    #: Age. [years]
    age_years: str = ""
    #: Repeats of each reading, by the key of its measure. [mm]
    readings: Mapping[str, str] = field(default_factory=dict)
    #: Hair pressed as under a shell, by zone. [mm]
    hair_mm: Mapping[str, str] = field(default_factory=dict)
    #: Hair left under the tape at the circumference. [mm]
    tape_hair_mm: str = ""
    #: ``width_mm``, ``depth_mm`` and ``height_mm`` of glasses; empty if none are worn.
    glasses: Mapping[str, str] = field(default_factory=dict)
    #: Anything worth keeping.
    notes: str = ""
    #: Keys of the file that this version does not know; written back as they came.
    unknown: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class CheckedRecord:
    """What the boxes mean."""

    #: The record; None while anything in the boxes cannot be used.
    record: Record | None
    #: What is wrong or doubtful, by box; ``key`` is the name of the box.
    slips: tuple[Slip, ...]
    #: Mean and scatter of each reading that could be used, by key. [mm]
    means: Mapping[str, tuple[float, float | None]]


def typed_from_record(record: Record) -> TypedRecord:
    """
    Fill the boxes from a record.

    Examples
    --------
    >>> typed_from_record(make_record(head_length_mm=[190, 191.5])).readings
    {'head_length_mm': '190  191.5'}
    """
    glasses = vars(record.glasses) if record.glasses else {}
    return TypedRecord(
        name=record.name,
        sex=record.sex or "",
        age_years=_written(record.age_years),
        readings={
            key: "  ".join(_written(value) for value in reading.values_mm)
            for key, reading in record.readings.items()
        },
        hair_mm={zone: _written(value) for zone, value in record.hair_mm.items()},
        tape_hair_mm=_written(record.tape_hair_mm),
        glasses={key: _written(value) for key, value in glasses.items()},
        notes=record.notes,
        unknown=record.unknown,
    )


def with_box(typed: TypedRecord, box: str, text: str) -> TypedRecord:
    """
    Type into one box.

    Parameters
    ----------
    typed : TypedRecord
    box : str
        ``name``, ``sex``, ``age_years``, ``tape_hair_mm``, ``notes``, the key of a
        measure, ``hair_ZONE_mm``, or ``glasses_SIZE``.
    text : str

    Raises
    ------
    FitkitError
        If there is no such box.

    Examples
    --------
    >>> with_box(TypedRecord(), "hair_crown_mm", "12").hair_mm
    {'crown': '12'}
    """
    if box in ("name", "notes"):
        prose: dict[str, Any] = {box: text[:LONGEST_PROSE]}
        return replace(typed, **prose)
    text = text[:LONGEST_BOX].strip()
    if box in ("sex", "age_years", "tape_hair_mm"):
        plain: dict[str, Any] = {box: text}
        return replace(typed, **plain)
    if box in CATALOGUE:
        return replace(typed, readings=_put(typed.readings, box, text))
    if box in HAIR_BOXES:
        return replace(typed, hair_mm=_put(typed.hair_mm, HAIR_BOXES[box], text))
    if box in GLASSES_BOXES:
        return replace(typed, glasses=_put(typed.glasses, GLASSES_BOXES[box], text))
    msg = f"The record form has no box {box[:60]!r}."
    raise FitkitError(msg)


#: Names of the hair boxes and their zones.
HAIR_BOXES: Mapping[str, str] = {f"hair_{zone}_mm": zone for zone in HAIR_ZONES}
#: Names of the boxes for glasses and their sizes.
GLASSES_BOXES: Mapping[str, str] = {f"glasses_{size}": size for size in GLASSES_RANGE_MM}


def box_text(typed: TypedRecord, box: str) -> str:
    """Give what stands in a box; empty if nothing does."""
    if box in HAIR_BOXES:
        return typed.hair_mm.get(HAIR_BOXES[box], "")
    if box in GLASSES_BOXES:
        return typed.glasses.get(GLASSES_BOXES[box], "")
    if box in CATALOGUE:
        return typed.readings.get(box, "")
    return str(getattr(typed, box))


def check_typed(typed: TypedRecord) -> CheckedRecord:
    """
    Find what the boxes mean, box by box and then together.

    Returns
    -------
    CheckedRecord
        Its record is None while a slip that refuses stands.

    Examples
    --------
    >>> checked = check_typed(TypedRecord(readings={"head_length_mm": "19.9"}))
    >>> checked.record is None, checked.slips[0].key, checked.slips[0].mended_mm
    (True, 'head_length_mm', 199.0)
    """
    slips: list[Slip] = []
    record = make_record(unknown=typed.unknown)
    for box, given in _plain_boxes(typed):
        record = _with(record, box, given, slips)
    record = replace(record, readings=_readings(typed, slips))
    told = {slip.key for slip in slips}
    slips += [slip for slip in check_record(record) if slip.key not in told]
    if not typed.readings:
        slips.append(Slip(key="", severity="refuse", message=NO_READING))
    means = {k: (r.mean_mm, r.scatter_mm) for k, r in record.readings.items()}
    refused = any(slip.severity == "refuse" for slip in slips)
    return CheckedRecord(
        record=None if refused else record, slips=tuple(slips), means=means
    )


#: What an empty form says.
NO_READING = (
    "There is no reading yet. Start with the head circumference; each further reading "
    "narrows the answer."
)


def split_repeats(key: str, text: str) -> list[float | str]:
    """
    Split what was typed for one measure into its repeats.

    Repeats are parted by spaces, semicolons, or commas that are no decimal commas.

    Parameters
    ----------
    key : str
        Key of the measure, whose range tells "557,559" from a decimal comma.
    text : str

    Returns
    -------
    list of float or str
        What is no number stays text.

    Examples
    --------
    >>> split_repeats("head_circumference_mm", "557,559; 558.5 56,1cm")
    [557.0, 559.0, 558.5, '56,1cm']
    """
    words = re.split(r"[;\s]+|,\s+", re.sub(r"(?<=\d)\s+(?=[a-zA-Z\"'″])", "", text))
    repeats: list[float | str] = []
    for word in filter(None, words):
        parts = [_number(part) for part in word.split(",")]
        entry = CATALOGUE[key]
        if len(parts) > 1 and all(
            isinstance(part, float) and entry.low <= part <= entry.high for part in parts
        ):
            repeats += parts
        else:
            repeats.append(_number(word))
    return repeats


def _number(text: str) -> float | str:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"


def _put(boxes: Mapping[str, str], name: str, text: str) -> dict[str, str]:
    rest = {key: value for key, value in boxes.items() if key != name}
    return {**rest, name: text} if text else rest


def _plain_boxes(typed: TypedRecord) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give every box but the readings, and what it says in the words of a record."""
    yield "name", {"name": typed.name}
    yield "notes", {"notes": typed.notes}
    yield "sex", {"sex": typed.sex or None}
    for box in ("age_years", "tape_hair_mm"):
        if box_text(typed, box):
            yield box, {box: _number(box_text(typed, box))}
    for zone, text in typed.hair_mm.items():
        yield f"hair_{zone}_mm", {"hair_mm": {zone: _number(text)}}
    if typed.glasses:
        sizes = {size: _number(text) for size, text in typed.glasses.items()}
        yield "glasses_width_mm", {"glasses": sizes}


def _with(record: Record, box: str, given: dict[str, Any], slips: list[Slip]) -> Record:
    """Add what one box says to a record, or note why it cannot be."""
    try:
        made = make_record(**given)
    except FitkitError as problem:
        slips.append(Slip(key=box, severity="refuse", message=str(problem)))
        return record
    if box in HAIR_BOXES:
        return replace(record, hair_mm={**record.hair_mm, **made.hair_mm})
    return replace(record, **{name: getattr(made, name) for name in given})


def _readings(typed: TypedRecord, slips: list[Slip]) -> dict[str, Reading]:
    """Give the readings that can be used, and note why the others cannot."""
    good: dict[str, Reading] = {}
    alone = make_record()
    for key in CATALOGUE:
        if key not in typed.readings:
            continue
        values = tuple(split_repeats(key, typed.readings[key]))
        if not values:
            message = f"{key} has no number in {typed.readings[key]!r}."
            slips.append(Slip(key=key, severity="refuse", message=message))
            continue
        reading = Reading(values_mm=cast("tuple[float, ...]", values))
        found = check_record(replace(alone, readings={key: reading}))
        refused = [slip for slip in found if slip.severity == "refuse"]
        slips += refused
        if not refused:
            good[key] = reading
    return good
