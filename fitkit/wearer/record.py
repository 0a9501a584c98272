"""The record of one wearer: what was read, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, stdev
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from fitkit.errors import MeasureError, RecordError
from fitkit.wearer.measures import CATALOGUE, unknown_message
from fitkit.wearer.number import number_problem
from fitkit.wearer.slips import refusals
from fitkit.wearer.survey import usual_mm
from fitkit.wearer.trial_notes import TRIALS_KEY, TrialNote, trials_from_json
from fitkit.wearer.zones import SCALP_ZONES, ZONES

Sex = Literal["female", "male"]

#: Zones on which hair (or a beard) may be recorded.
HAIR_ZONES: tuple[str, ...] = tuple(z for z in ZONES if not z.startswith(("eye", "nose")))
#: Allowed range of a hair thickness, pressed as under a shell. [mm]
HAIR_RANGE_MM = (0.0, 80.0)
#: Allowed range of the hair left under the tape at the circumference. [mm]
TAPE_HAIR_RANGE_MM = (0.0, 30.0)
#: Allowed range of each size of a pair of glasses. [mm]
GLASSES_RANGE_MM: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"width_mm": (90.0, 190.0), "depth_mm": (5.0, 45.0), "height_mm": (15.0, 80.0)}
)
#: Allowed range of an age. [years]
AGE_RANGE = (0.0, 120.0)
#: Most letters of a name or of the notes.
LONGEST_TEXT = 20_000
#: Most repeats of one reading that are kept.
MOST_REPEATS = 100


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One measure as it was read, with its repeats."""

    #: Every repeat, in the order taken. [mm]
    values_mm: tuple[float, ...]

    @property
    def mean_mm(self) -> float:
        """Mean of the repeats. [mm]."""
        return fmean(self.values_mm)

    @property
    def scatter_mm(self) -> float | None:
        """SD of the repeats about their mean; None if there is only one. [mm]."""
        return stdev(self.values_mm) if len(self.values_mm) > 1 else None


@dataclass(frozen=True, kw_only=True)
class Glasses:
    """The glasses worn under the piece."""

    #: Over the hinges, the widest part. [mm]
    width_mm: float
    #: From the front of the eye to the front of the lens. [mm]
    depth_mm: float
    #: Height of a lens with its rim. [mm]
    height_mm: float


@dataclass(frozen=True, kw_only=True)
class Record:
    """
    What is known of one wearer.

    Build it with ``make_record`` or ``read_record``, which refuse what cannot be used;
    ``check_record`` tells what is doubtful.
    """

    #: Name of the wearer, for people.
    name: str
    #: Sex for the survey's purposes; None if not stated.
    sex: Sex | None
    #: Readings by the key of their measure.
    readings: Mapping[str, Reading]
    #: Hair left when pressed as under a shell, by zone; none where not given. [mm]
    hair_mm: Mapping[str, float]
    #: Hair left under the tape at the head circumference; None if not known. [mm]
    tape_hair_mm: float | None
    #: Glasses worn under the piece, or None.
    glasses: Glasses | None
    #: Anything worth keeping.
    notes: str
    #: Age, to tell whether the survey speaks for this wearer; None if not stated. [years]
    age_years: float | None = None
    #: Sections of the file beside these, written back as they came: keys that this
    #: version does not know, and "trial_fittings" (see ``trials``).
    unknown: Mapping[str, Any] = field(default_factory=dict)

    @property
    def trials(self) -> tuple[TrialNote, ...]:
        """Trial fittings, in the order of the file; the readings stay as they were."""
        return trials_from_json(self.unknown.get(TRIALS_KEY))


def make_record(
    *,
    name: str = "wearer",
    sex: Sex | None = None,
    hair_mm: float | Mapping[str, float] | None = None,
    tape_hair_mm: float | None = None,
    glasses: Glasses | Mapping[str, float] | None = None,
    notes: str = "",
    age_years: float | None = None,
    unknown: Mapping[str, Any] | None = None,
    **measures_mm: float | Sequence[float] | None,
) -> Record:
    """
    Make a record from readings given by the names of their measures.

    Parameters
    ----------
    name : str
        Name of the wearer.
    sex : {"female", "male"}, optional
        Left out, both are considered.
    hair_mm : float or mapping, optional
        Hair left when pressed as under a shell, by zone, or one number for the whole
        scalp. [mm]
    tape_hair_mm : float, optional
        Hair left under the tape at the head circumference. [mm]
    glasses : Glasses or mapping, optional
        With ``width_mm``, ``depth_mm`` and ``height_mm``.
    notes : str
        Anything worth keeping.
    age_years : float, optional
        Age. [years]
    unknown : mapping, optional
        Keys of a file that this version does not know, to be written back, and its
        trial fittings.
    **measures_mm : float or sequence of float
        Readings, each one number or its repeats, by a key of ``CATALOGUE``; None where
        it was not taken. [mm]

    Returns
    -------
    Record

    Raises
    ------
    RecordError
        If a name is not known; tells the nearest one.
    MeasureError
        If a reading cannot be used; tells all of them, one a line.

    Examples
    --------
    >>> record = make_record(sex="female", head_circumference_mm=[560, 562])
    >>> record.readings["head_circumference_mm"].mean_mm
    561.0
    """
    problems: list[str] = []
    trials_from_json((unknown or {}).get(TRIALS_KEY))
    record = Record(
        name=_text("name", name, problems),
        sex=_sex(sex, problems),
        readings=_readings(measures_mm, problems),
        hair_mm=_hair(hair_mm, problems),
        tape_hair_mm=_optional("tape_hair_mm", tape_hair_mm, TAPE_HAIR_RANGE_MM, problems),
        glasses=_glasses(glasses, problems),
        notes=_text("notes", notes, problems),
        age_years=_optional("age_years", age_years, AGE_RANGE, problems, unit="years"),
        unknown=dict(unknown or {}),
    )
    if problems:
        raise MeasureError("\n".join(problems))
    refused = refusals(record)
    if refused:
        raise MeasureError("\n".join(slip.message for slip in refused))
    return record


def _text(name: str, got: object, problems: list[str]) -> str:
    if isinstance(got, str) and len(got) <= LONGEST_TEXT:
        return got
    shown = str(got)[:40]
    problems.append(
        f"{name} must be a text of at most {LONGEST_TEXT} letters; got {shown!r}."
    )
    return ""


def _sex(got: object, problems: list[str]) -> Sex | None:
    if got is None or got == "female" or got == "male":
        return got
    shown = str(got)[:40]
    meant = {"f": "female", "w": "female", "m": "male"}.get(shown.strip().lower()[:1], "")
    cure = f"Did you mean {meant!r}?" if meant else "Leave it out if it is not stated."
    problems.append(f"sex must be 'female', 'male' or left out; got {shown!r}. {cure}")
    return None


def _readings(measures_mm: Mapping[str, object], problems: list[str]) -> dict[str, Reading]:
    for key in measures_mm:
        if key not in CATALOGUE:
            raise RecordError(unknown_message("measure", key, CATALOGUE))
    readings: dict[str, Reading] = {}
    for key in CATALOGUE:
        if measures_mm.get(key) is not None:
            values = _repeats(key, measures_mm[key], problems)
            readings[key] = Reading(values_mm=values)
    return readings


def _repeats(key: str, got: object, problems: list[str]) -> tuple[float, ...]:
    repeats = tuple(got) if isinstance(got, (list, tuple, np.ndarray)) else (got,)
    if not 1 <= len(repeats) <= MOST_REPEATS:
        problems.append(
            f"{key} must have 1 to {MOST_REPEATS} repeats; got {len(repeats)}. "
            "Leave a reading out if it was not taken."
        )
        return ()
    name = "{} (repeat {})" if len(repeats) > 1 else "{}"
    span = (CATALOGUE[key].low, CATALOGUE[key].high)
    usual = usual_mm(key)[0]
    values = (
        _checked(name.format(key, place), repeat, span, problems, usual=usual)
        for place, repeat in enumerate(repeats, start=1)
    )
    return tuple(value for value in values if value is not None)


def _checked(
    name: str,
    got: Any,
    span: tuple[float, float],
    problems: list[str],
    *,
    unit: str = "mm",
    usual: float | None = None,
) -> float | None:
    """Return a number in range, or None with its problem noted."""
    problem = number_problem(name, got, low=span[0], high=span[1], unit=unit, usual=usual)
    if problem is None:
        return float(got)
    problems.append(problem[0])
    return None


def _optional(
    name: str,
    got: object,
    span: tuple[float, float],
    problems: list[str],
    *,
    unit: str = "mm",
) -> float | None:
    return None if got is None else _checked(name, got, span, problems, unit=unit)


def _hair(got: float | Mapping[str, float] | None, problems: list[str]) -> dict[str, float]:
    if got is None:
        return {}
    by_zone = got if isinstance(got, Mapping) else dict.fromkeys(SCALP_ZONES, got)
    zones = dict.fromkeys(HAIR_ZONES)
    hair: dict[str, float] = {}
    for zone, value in by_zone.items():
        if zone not in zones:
            raise RecordError(unknown_message("zone for hair_mm", str(zone), zones))
        thick = _optional(f"hair_{zone}_mm", value, HAIR_RANGE_MM, problems)
        if thick is not None:
            hair[zone] = thick
    return hair


def _glasses(
    got: Glasses | Mapping[str, float] | None, problems: list[str]
) -> Glasses | None:
    if got is None:
        return None
    if not isinstance(got, (Glasses, Mapping)):
        shown = str(got)[:40]
        problems.append(f"glasses must be {', '.join(GLASSES_RANGE_MM)}; got {shown!r}.")
        return None
    sizes = vars(got) if isinstance(got, Glasses) else got
    for key in sizes:
        if key not in GLASSES_RANGE_MM:
            raise RecordError(
                unknown_message("size of glasses", str(key), GLASSES_RANGE_MM)
            )
    missing = [key for key in GLASSES_RANGE_MM if key not in sizes]
    if missing:
        problems.append(f"glasses needs {', '.join(missing)} too, or leave glasses out.")
        return None
    checked = {
        key: _checked(f"glasses_{key}", sizes[key], span, problems)
        for key, span in GLASSES_RANGE_MM.items()
    }
    good = {key: value for key, value in checked.items() if value is not None}
    return Glasses(**good) if len(good) == len(GLASSES_RANGE_MM) else None
