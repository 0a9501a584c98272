"""Readings of a trial fitting as typed in: refused with the cure where they cannot be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import MeasureError
from fitkit.fit._trial_model import Foretold, TrialModel
from fitkit.fit._trial_places import PLACES, Place
from fitkit.fit.placement import FloatArray
from fitkit.geometry.rays import RayScene
from fitkit.wearer.number import number_problem
from fitkit.wearer.trial_notes import GAP_RANGE_MM, GAUGE_RANGE_MM

if TYPE_CHECKING:
    from collections.abc import Iterator

#: How far skin gives way under a wall that is pressed on, beside the hair. [mm] Common
#: practice.
SKIN_PRESS_MM = 3.0
#: No head is thinner than this, whichever way it is crossed. [mm]
THINNEST_HEAD_MM = 100.0
#: A reading this much larger than foretold is held against the room there is. [mm]
SUSPECT_MM = 15.0
#: Most repeats of one reading.
MOST_REPEATS = 100


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """Readings of m places, in the order of their places."""

    places: tuple[Place, ...]
    #: Repeats of each, as typed. [mm]
    repeats_mm: tuple[tuple[float, ...], ...]
    #: Mean of the repeats, shape (m,). [mm]
    mean_mm: FloatArray
    #: Error of that mean from the gauge, one standard deviation, shape (m,). [mm]
    gauge_sd_mm: FloatArray


def checked_gauge(gauge_sd_mm: float) -> float:
    """Return the gauge's repeat error, or refuse it."""
    low, high = GAUGE_RANGE_MM
    problem = number_problem("gauge_sd_mm", gauge_sd_mm, low=low, high=high)
    if problem:
        raise MeasureError(problem[0])
    return float(gauge_sd_mm)


def checked_gaps(
    gaps_mm: Mapping[str, float | Sequence[float]], *, gauge_sd_mm: float
) -> Gaps:
    """
    Check readings by the name of their place.

    Raises
    ------
    MeasureError
        If a place is not known, tells the nearest one; if a reading is no number or out
        of any range, tells all of them, one a line.
    """
    if not gaps_mm:
        msg = "gaps_mm must hold at least one reading, by the key of its place."
        raise MeasureError(msg)
    for key in gaps_mm:
        if key not in PLACES:
            raise MeasureError(_unknown(str(key)))
    problems: list[str] = []
    repeats = tuple(tuple(_repeats(key, given, problems)) for key, given in gaps_mm.items())
    if problems:
        raise MeasureError("\n".join(problems))
    return Gaps(
        places=tuple(PLACES[key] for key in gaps_mm),
        repeats_mm=repeats,
        mean_mm=np.array([np.mean(values) for values in repeats]),
        gauge_sd_mm=gauge_sd_mm / np.sqrt([len(values) for values in repeats]),
    )


def check_against_wall(model: TrialModel, got: Foretold, gaps: Gaps) -> None:
    """
    Refuse readings that no head in this piece could give.

    Raises
    ------
    MeasureError
        If a place has no wall over it, a wall would be pressed farther into the head
        than hair and skin give way, or a gap leaves no room for a head; tells all of
        them, one a line.
    """
    lines: list[str] = []
    for row, place in enumerate(gaps.places):
        key, mm = place.key, float(gaps.mean_mm[row])
        press = float(got.hair_mm[row]) + SKIN_PRESS_MM
        if not got.roomy[row]:
            lines.append(
                f"{key} cannot be read in {model.piece.name}: the wall nearest to it is "
                "the edge of an opening, or it lies outside. Leave it out; trial_points "
                "tells places that can be read."
            )
        elif mm < -press:
            lines.append(
                f"{key} must be at least {-press:.1f} mm: hair and skin there give way by "
                f"no more; got {mm:g} mm. Where foam is pressed, take the gap to the wall "
                "behind it; was it a dash before the number?"
            )
        elif mm > got.ease_mm[row] + SUSPECT_MM:
            most = _most_mm(model, got, row)
            if mm > most:
                lines.append(
                    f"{key} must be at most {most:.0f} mm: the inside of "
                    f"{model.piece.name} is too narrow there for more beside a head; got "
                    f"{mm:g} mm. {_tenth(mm, float(got.ease_mm[row]))}"
                )
    if lines:
        raise MeasureError("\n".join(lines))


def _most_mm(model: TrialModel, got: Foretold, row: int) -> float:
    """Room across the piece from the wall by a place, less the thinnest head. [mm]."""
    plan, lining = model.placement, model.piece.lining_mm
    start = plan.to_piece(got.wall[row] + 0.5 * got.away[row])
    aim = plan.to_piece(got.wall[row] + 1.5 * got.away[row]) - start
    hit = RayScene(model.piece.facing).first_hit(start[None], aim[None])
    if not np.isfinite(hit.distance_mm[0]):
        return GAP_RANGE_MM[1]
    end = start + hit.distance_mm[0] * aim / np.linalg.norm(aim)
    room = float(np.linalg.norm(plan.to_head(end) - got.wall[row]))
    return max(0.0, room - 2 * lining - THINNEST_HEAD_MM)


def _tenth(mm: float, foretold_mm: float) -> str:
    if abs(mm / 10 - foretold_mm) < 0.5 * foretold_mm:
        return f"Was it meant as {mm / 10:g} mm?"
    return "Take the reading again."


def _repeats(key: str, given: object, problems: list[str]) -> Iterator[float]:
    values = tuple(given) if isinstance(given, (list, tuple, np.ndarray)) else (given,)
    if not 1 <= len(values) <= MOST_REPEATS:
        problems.append(
            f"{key} must have 1 to {MOST_REPEATS} repeats; got {len(values)}. Leave a "
            "place out if it was not read."
        )
        return
    low, high = GAP_RANGE_MM
    for value in values:
        problem = number_problem(key, value, low=low, high=high)
        if problem:
            problems.append(problem[0])
        else:
            yield float(value)


def _unknown(key: str) -> str:
    near = get_close_matches(key, PLACES, n=1, cutoff=0.0)
    meant = f" Did you mean {near[0]!r}?" if near else ""
    return (
        f"There is no place {key[:80]!r}.{meant} Copy the key from the list of points to "
        "read (trial_points)."
    )
