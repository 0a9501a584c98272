"""What a picture of a trial fitting shows: each gap foretold, read, and as now thought."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fitkit.fit.trial import WITHIN_SD, GapReading, TrialAnswer
from fitkit.views.words import figure
from fitkit.wearer.zones import ZONES

Look = Literal["within", "off", "left out"]


@dataclass(frozen=True, kw_only=True)
class GapRow:
    """One place in the picture."""

    #: Key of the place, and where it is.
    key: str
    label: str
    #: Foretold gap, and the ends within which 19 of 20 readings lie. [mm]
    foretold_mm: float
    low_mm: float
    high_mm: float
    #: The reading. [mm]
    gap_mm: float
    look: Look
    #: As now thought, and the ends within which it lies 19 times of 20. [mm]
    after_mm: float
    after_low_mm: float
    after_high_mm: float
    #: What stands beside it; empty where it is within its spread.
    note: str


@dataclass(frozen=True, kw_only=True)
class TrialView:
    """A trial fitting as a picture, head to chin."""

    title: str
    #: Zones in the order of ``ZONES``, the farthest off first within a zone.
    rows: tuple[GapRow, ...]


def trial_view(answer: TrialAnswer) -> TrialView:
    """Set out what was read beside what was foretold."""
    ordered = sorted(
        answer.readings,
        key=lambda one: (ZONES.index(one.point.zone), -abs(one.off_mm / one.point.sd_mm)),
    )
    trial = answer.wearer.record.trials[-1]
    return TrialView(
        title=f"{answer.wearer.record.name} in {trial.piece}, {trial.date}",
        rows=tuple(_row(one) for one in ordered),
    )


def _row(one: GapReading) -> GapRow:
    look: Look = "left out" if not one.used else "off" if one.flagged else "within"
    half = WITHIN_SD * one.after_sd_mm
    return GapRow(
        key=one.point.key,
        label=one.point.words,
        foretold_mm=one.point.ease_mm,
        low_mm=one.point.low_mm,
        high_mm=one.point.high_mm,
        gap_mm=one.gap_mm,
        look=look,
        after_mm=one.after_mm,
        after_low_mm=one.after_mm - half,
        after_high_mm=one.after_mm + half,
        note=_note(one, look),
    )


def _note(one: GapReading, look: Look) -> str:
    if look == "within":
        return ""
    sign = "+" if one.off_mm > 0 else ""
    words = f"{sign}{figure(one.off_mm)} mm"
    if one.mended_mm is not None:
        return f"{words}: {figure(one.mended_mm)} mm?"
    return f"{words}, left out" if look == "left out" else words
