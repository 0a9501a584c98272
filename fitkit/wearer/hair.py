"""Hair: how much lies under a tape, and how much under a shell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from fitkit.wearer.zones import SCALP_ZONES, ZONES

if TYPE_CHECKING:
    from fitkit.wearer.record import Record

Sex = Literal["female", "male"] | None

#: Hair left under a tape at the circumference when nothing is recorded, by sex
#: stated. [mm] Derived, not measured: a survey circumference exceeds that of a bare
#: head of the same length and breadth by 5 to 10 mm in men, and women's tape exceeds
#: the ellipse of length and breadth by a further 2.5 % (ANSUR II); over 2 pi, rounded.
USUAL_TAPE_HAIR_MM: Mapping[Sex, float] = MappingProxyType(
    {"male": 1.5, "female": 3.5, None: 2.5}
)
#: How far that differs from head to head, one standard deviation. [mm] Common practice.
TAPE_HAIR_SD_MM: Mapping[Sex, float] = MappingProxyType(
    {"male": 0.7, "female": 1.5, None: 1.5}
)
#: Share of the hair under a shell that a drawn tape leaves. Common practice.
TAPE_SHARE = 0.6
#: Zones that the tape at the circumference runs over.
_UNDER_TAPE = ("brow", "temple_left", "temple_right", "back")


@dataclass(frozen=True, kw_only=True)
class TapeHair:
    """Hair under the tape at the circumference."""

    #: Best value. [mm]
    mean_mm: float
    #: Its standard deviation; 0 where it was recorded. [mm]
    sd_mm: float
    #: How it was come by.
    origin: Literal[
        "recorded", "from the hair recorded", "usual", "usual, and the readings"
    ]


def tape_hair(record: Record) -> TapeHair:
    """
    Find the hair under the tape, recorded or inferred.

    Where nothing is recorded, the usual value is corrected by the readings: a tape
    that reads long for the length and breadth of the head likely runs over more
    hair. The tape is longer than the bare head's by ``2 pi`` times the hair.
    """
    if record.tape_hair_mm is not None:
        return TapeHair(mean_mm=record.tape_hair_mm, sd_mm=0.0, origin="recorded")
    if record.hair_mm:
        under = np.mean([record.hair_mm.get(zone, 0.0) for zone in _UNDER_TAPE])
        mean = TAPE_SHARE * float(under)
        return TapeHair(mean_mm=mean, sd_mm=0.3 * mean, origin="from the hair recorded")
    usual, sd = USUAL_TAPE_HAIR_MM[record.sex], TAPE_HAIR_SD_MM[record.sex]
    return _corrected(record, usual, sd)


def _corrected(record: Record, usual: float, sd: float) -> TapeHair:
    """Kalman step: the tape's surplus over what length and breadth foretell."""
    from fitkit.wearer.oddity import foretell

    calipers = {"head_length_mm", "head_breadth_mm"} & set(record.readings)
    if not calipers or "head_circumference_mm" not in record.readings:
        return TapeHair(mean_mm=usual, sd_mm=sd, origin="usual")
    expected, departure_sd = foretell(record, "head_circumference_mm", from_keys=calipers)
    surplus = record.readings["head_circumference_mm"].mean_mm - expected
    if abs(departure_sd) < 1e-9:
        return TapeHair(mean_mm=usual, sd_mm=sd, origin="usual")
    spread = surplus / departure_sd
    gain = 2 * pi * sd**2 / spread**2
    left = max(0.0, 1 - (2 * pi * sd / spread) ** 2)
    mean = max(0.0, usual + gain * surplus)
    return TapeHair(mean_mm=mean, sd_mm=sd * left**0.5, origin="usual, and the readings")


def shell_hair_mm(
    record: Record, zone_blend: NDArray[np.float64], tape: TapeHair
) -> NDArray[np.float64]:
    """
    Hair to add at each head vertex, smooth over the borders of zones, shape (n,).

    Where the record says nothing of hair, the scalp carries as much as lies under
    the tape, taken to leave ``TAPE_SHARE`` of it.
    """
    by_zone = dict.fromkeys(SCALP_ZONES, tape.mean_mm / TAPE_SHARE)
    if record.hair_mm:
        by_zone = dict(record.hair_mm)
    return np.asarray(zone_blend @ [by_zone.get(zone, 0.0) for zone in ZONES])
