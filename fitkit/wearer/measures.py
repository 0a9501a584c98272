"""The catalogue of measures: what each is, how to take it, how far to trust it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from fitkit.errors import RecordError

Kind = Literal["girth", "arc", "distance", "projection", "travel"]


@dataclass(frozen=True, kw_only=True)
class Measure:
    """One entry of the catalogue."""

    #: Name used in records and in code; ends in the unit.
    key: str
    #: Name for people.
    title: str
    #: Unit of every figure of this entry.
    unit: Literal["mm"]
    #: Landmarks the measure runs between or over, in order.
    landmarks: tuple[str, ...]
    #: What it is taken with.
    tool: str
    #: How it is taken, in words for the person holding the tool.
    how: str
    #: Least reading accepted; a guard against slips, not a survey's limit. [mm]
    low: float
    #: Greatest reading accepted; a guard against slips, not a survey's limit. [mm]
    high: float
    #: SD of one reading about the true value when a careful maker repeats it. [mm]
    repeat_sd: float
    #: Where ``repeat_sd`` comes from.
    repeat_source: str
    #: Where the definition and the usual values come from.
    source: str
    #: Whether the survey tables hold this measure.
    survey: bool
    #: How the tape or the caliper runs: ``girth`` closed tape, ``arc`` open tape,
    #: ``distance`` straight between points, ``projection`` along one axis of the head
    #: frame, ``travel`` of the jaw.
    kind: Kind


@dataclass(frozen=True, kw_only=True)
class Literature:
    """Usual values of a measure that the survey tables do not hold."""

    #: Mean by sex, keys ``"female"`` and ``"male"``. [mm]
    mean_mm: Mapping[str, float]
    #: SD among people of one sex, set wide. [mm]
    sd_mm: float
    #: Where the figures come from; most are from memory and say so.
    source: str


def _rows() -> list[dict[str, Any]]:
    text = (files("fitkit") / "data" / "measures.json").read_text(encoding="utf-8")
    rows: list[dict[str, Any]] = json.loads(text)["measures"]
    return rows


def _measure(row: Mapping[str, Any]) -> Measure:
    plain = {name: value for name, value in row.items() if name != "literature"}
    return Measure(**{**plain, "landmarks": tuple(row["landmarks"])})


def _literature(row: Mapping[str, Any]) -> Literature:
    values = row["literature"]
    mean = {sex: float(values[sex]) for sex in ("female", "male")}
    return Literature(
        mean_mm=MappingProxyType(mean), sd_mm=float(values["sd"]), source=row["source"]
    )


#: Every measure by key, survey measures first.
CATALOGUE: Mapping[str, Measure] = MappingProxyType(
    {row["key"]: _measure(row) for row in _rows()}
)

#: Usual values of the measures outside the survey, by key.
LITERATURE: Mapping[str, Literature] = MappingProxyType(
    {row["key"]: _literature(row) for row in _rows() if "literature" in row}
)

#: Keys of the measures that the survey tables hold, in their order.
SURVEY_KEYS: tuple[str, ...] = tuple(k for k, m in CATALOGUE.items() if m.survey)


def measure(key: str) -> Measure:
    """
    Look one measure up.

    Parameters
    ----------
    key : str
        Name of the measure, such as ``"head_length_mm"``.

    Returns
    -------
    Measure

    Raises
    ------
    RecordError
        If there is no such measure; names the nearest that there is.

    Examples
    --------
    >>> measure("head_length_mm").tool
    'spreading caliper'
    """
    try:
        return CATALOGUE[key]
    except KeyError:
        raise RecordError(unknown_message("measure", key, CATALOGUE)) from None


def unknown_message(thing: str, got: str, known: Mapping[str, object]) -> str:
    """
    Say that a name is not known, and which known name is nearest.

    Parameters
    ----------
    thing : str
        What the name is meant to name, such as ``"measure"``.
    got : str
        The name that came.
    known : mapping
        The names there are.

    Returns
    -------
    str

    Examples
    --------
    >>> unknown_message("measure", "head_lenght_mm", CATALOGUE)
    "There is no measure 'head_lenght_mm'. Did you mean 'head_length_mm'?"
    """
    near = get_close_matches(got, known, n=1, cutoff=0.5)
    cure = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(known)}."
    return f"There is no {thing} {got[:80]!r}. {cure}"
