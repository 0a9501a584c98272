"""Trial fittings in a record: what was read, when, in which piece, and where it sat."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Any

from fitkit.errors import MeasureError
from fitkit.wearer.number import number_problem

#: Key of a record's file under which trial fittings are kept, and the version of it.
TRIALS_KEY, TRIALS_VERSION = "trial_fittings", 1
#: Most trial fittings of a record, and most places read at one.
MOST_TRIALS, MOST_PLACES = 100, 500
#: Allowed range of a gap; where hair or foam is pressed it is below 0. [mm]
GAP_RANGE_MM = (-30.0, 150.0)
#: Allowed range of the repeat error of a gauge, one standard deviation. [mm]
GAUGE_RANGE_MM = (0.05, 5.0)
#: Allowed range of how far a piece may sit from the plan, one standard deviation, for
#: any of the six ways. [mm or deg]
SEAT_RANGE = (0.0, 20.0)
#: Names of the six ways in which a piece may sit otherwise.
SEAT_NAMES = ("right_mm", "front_mm", "up_mm", "pitch_deg", "yaw_deg", "roll_deg")

_KNOWN = ("date", "piece", "placement", "gauge_sd_mm", "seat_sd", "gaps_mm", "notes")
_TURNS = ("pitch_deg", "yaw_deg", "roll_deg")


@dataclass(frozen=True, kw_only=True)
class TrialNote:
    """One trial fitting as it was read; nothing in it is worked out."""

    #: Day of the fitting, as 2026-03-31.
    date: str
    #: Name of the piece that was on.
    piece: str
    #: Size of the piece: factors along right, front, up.
    size: tuple[float, float, float]
    #: Where it was planned to sit: right, front, up. [mm]
    shift_mm: tuple[float, float, float]
    #: How it was planned to be turned: pitch, yaw, roll. [deg]
    turn_deg: tuple[float, float, float]
    #: Repeat error of the gauge, one standard deviation. [mm]
    gauge_sd_mm: float
    #: How far it may have sat from the plan, one standard deviation, by ``SEAT_NAMES``.
    #: [mm or deg]
    seat_sd: Mapping[str, float]
    #: Gaps between hair and finished inner wall with their repeats, by place. [mm]
    gaps_mm: Mapping[str, tuple[float, ...]]
    #: Anything worth keeping.
    notes: str = ""
    #: Keys of the file that this version does not know; written back as they came.
    unknown: Mapping[str, Any] = field(default_factory=dict)


def trials_from_json(section: object) -> tuple[TrialNote, ...]:
    """
    Read the section of a record's file that holds its trial fittings.

    Parameters
    ----------
    section : object
        ``{"version": 1, "fittings": [...]}`` as parsed; None for none.

    Returns
    -------
    tuple of TrialNote
        In the order of the file; empty where a later version wrote the section, which
        the record then keeps as it came.

    Raises
    ------
    MeasureError
        If it holds what cannot be used; tells all of it, one a line.
    """
    if section is None:
        return ()
    if not isinstance(section, Mapping):
        msg = (
            f'{TRIALS_KEY} must be {{"version": 1, "fittings": [...]}}; got '
            f"{_shown(section)}."
        )
        raise MeasureError(msg)
    if is_later(section):
        return ()
    given = section.get("fittings")
    if section.get("version") != TRIALS_VERSION or not isinstance(given, (list, tuple)):
        msg = (
            f'{TRIALS_KEY} must have "version": {TRIALS_VERSION} and a list "fittings"; '
            f"got version {_shown(section.get('version'))}."
        )
        raise MeasureError(msg)
    if len(given) > MOST_TRIALS:
        raise MeasureError(f"{TRIALS_KEY} holds {len(given)}; at most {MOST_TRIALS}.")
    problems: list[str] = []
    notes = [_note(f"fitting {i}", one, problems) for i, one in enumerate(given, start=1)]
    if problems:
        raise MeasureError("\n".join(f"{TRIALS_KEY}: {problem}" for problem in problems))
    return tuple(note for note in notes if note is not None)


def trials_to_json(notes: Sequence[TrialNote]) -> dict[str, Any]:
    """Give the section of a record's file for trial fittings."""
    return {"version": TRIALS_VERSION, "fittings": [_as_json(note) for note in notes]}


def is_later(section: object) -> bool:
    """Whether a later version of fitkit wrote the section."""
    version = section.get("version") if isinstance(section, Mapping) else None
    return isinstance(version, int) and version > TRIALS_VERSION


def with_trial(unknown: Mapping[str, Any], note: TrialNote) -> dict[str, Any]:
    """
    Add a trial fitting to a record's further sections, behind those already there.

    Parameters
    ----------
    unknown : mapping
        ``Record.unknown``.
    note : TrialNote

    Returns
    -------
    dict
        All of ``unknown``, and the section with one more fitting; those before stay as
        they came, with keys that this version does not know.

    Raises
    ------
    MeasureError
        If a later version wrote the section, or the note cannot be used.
    """
    section = unknown.get(TRIALS_KEY)
    if is_later(section):
        msg = (
            f"The record's {TRIALS_KEY} were written by a later fitkit; add this fitting "
            "with that one, or keep it in a copy of the record without them."
        )
        raise MeasureError(msg)
    before = trials_from_json(section)
    after = trials_to_json((*before, note))
    trials_from_json(after)
    kept = dict(section) if isinstance(section, Mapping) else {}
    return {**unknown, TRIALS_KEY: {**kept, **after}}


# -- one fitting ----------------------------------------------------------------------


def _as_json(note: TrialNote) -> dict[str, Any]:
    return {
        "date": note.date,
        "piece": note.piece,
        "placement": {
            "size": list(note.size),
            "shift_mm": list(note.shift_mm),
            **dict(zip(_TURNS, note.turn_deg, strict=True)),
        },
        "gauge_sd_mm": note.gauge_sd_mm,
        "seat_sd": dict(note.seat_sd),
        "gaps_mm": {
            key: values[0] if len(values) == 1 else list(values)
            for key, values in note.gaps_mm.items()
        },
        "notes": note.notes,
        **note.unknown,
    }


def _note(name: str, given: object, problems: list[str]) -> TrialNote | None:
    if not isinstance(given, Mapping):
        problems.append(f"{name} must be an object in braces; got {_shown(given)}.")
        return None
    found = len(problems)
    placement = given.get("placement")
    placed = placement if isinstance(placement, Mapping) else {}
    size = _numbers(f"{name} size", placed.get("size"), (0.3, 3.0), problems)
    shift = _numbers(f"{name} shift_mm", placed.get("shift_mm"), (-500, 500), problems)
    turns = [placed.get(turn) for turn in _TURNS]
    turn = _numbers(f"{name} pitch, yaw and roll", turns, (-180, 180), problems)
    gauge = _number(
        f"{name} gauge_sd_mm", given.get("gauge_sd_mm"), GAUGE_RANGE_MM, problems
    )
    seat = _seat(name, given.get("seat_sd"), problems)
    gaps = _gaps(name, given.get("gaps_mm"), problems)
    day = _day(name, given.get("date"), problems)
    texts = [_text(f"{name} {key}", given.get(key), problems) for key in ("piece", "notes")]
    if len(problems) > found:
        return None
    return TrialNote(
        date=day,
        piece=texts[0],
        size=(size[0], size[1], size[2]),
        shift_mm=(shift[0], shift[1], shift[2]),
        turn_deg=(turn[0], turn[1], turn[2]),
        gauge_sd_mm=gauge,
        seat_sd=seat,
        gaps_mm=gaps,
        notes=texts[1],
        unknown={key: value for key, value in given.items() if key not in _KNOWN},
    )


def _seat(name: str, given: object, problems: list[str]) -> Mapping[str, float]:
    if not isinstance(given, Mapping) or set(given) != set(SEAT_NAMES):
        problems.append(f"{name} seat_sd must name {', '.join(SEAT_NAMES)}.")
        return {}
    values = {
        key: _number(f"{name} seat_sd {key}", given[key], SEAT_RANGE, problems)
        for key in SEAT_NAMES
    }
    return MappingProxyType(values)


def _gaps(name: str, given: object, problems: list[str]) -> Mapping[str, tuple[float, ...]]:
    if not isinstance(given, Mapping) or not 1 <= len(given) <= MOST_PLACES:
        problems.append(
            f"{name} gaps_mm must name 1 to {MOST_PLACES} places with their gaps."
        )
        return {}
    return MappingProxyType(
        {
            str(key): tuple(_repeats(f"{name} gap {str(key)[:60]}", value, problems))
            for key, value in given.items()
        }
    )


def _repeats(name: str, given: object, problems: list[str]) -> Iterator[float]:
    values = given if isinstance(given, (list, tuple)) else [given]
    if not 1 <= len(values) <= MOST_TRIALS:
        problems.append(f"{name} must have 1 to {MOST_TRIALS} repeats; got {len(values)}.")
        return
    for value in values:
        yield _number(name, value, GAP_RANGE_MM, problems)


def _number(
    name: str, given: object, span: tuple[float, float], problems: list[str]
) -> float:
    problem = number_problem(name, given, low=span[0], high=span[1], unit="")
    if problem is None and isinstance(given, (int, float)):
        return float(given)
    problems.append(problem[0] if problem else f"{name} must be a number.")
    return math.nan


def _numbers(
    name: str, given: object, span: tuple[float, float], problems: list[str]
) -> list[float]:
    if not isinstance(given, (list, tuple)) or len(given) != 3:
        problems.append(f"{name} must be three numbers; got {_shown(given)}.")
        return []
    return [_number(name, value, span, problems) for value in given]


def _text(name: str, given: object, problems: list[str]) -> str:
    if given is None or (isinstance(given, str) and len(given) <= 20_000):
        return given or ""
    problems.append(f"{name} must be a text; got {_shown(given)}.")
    return ""


def _day(name: str, given: object, problems: list[str]) -> str:
    try:
        return date.fromisoformat(str(given)).isoformat()
    except ValueError:
        problems.append(f"{name} date must be like 2026-03-31; got {_shown(given)}.")
        return ""


def _shown(given: object) -> str:
    return repr(given)[:40]
