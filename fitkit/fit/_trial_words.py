"""What a trial fitting found, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._trial_model import Learnt, Seat
from fitkit.fit._trial_places import Place
from fitkit.fit._trial_screen import LeftOut
from fitkit.fit._words import listed
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import zone_words

if TYPE_CHECKING:
    from fitkit.fit.trial import GapReading

#: Of a departure, the part that a cause must explain to be named.
MAIN_SHARE = 0.5
#: Seat said where it is off by this many standard deviations of what is left open.
TOLD_SD = 1.0
#: A measure that moved less than this goes unsaid. [mm]
UNSAID_MM = 1.0
#: A reading by hand is doubted where the head now lies this many repeat errors off.
DOUBTED_SD = 3.0
#: Ways of the seat in words, by sign.
_SEAT_WAYS = (
    ("further right", "further left", " mm"),
    ("further forward", "further back", " mm"),
    ("higher", "lower", " mm"),
    ("nodding down", "tipped back", "°"),
    ("turned left", "turned right", "°"),
    ("tilted right", "tilted left", "°"),
)


def gap_words(place: Place, zone: str) -> str:
    """
    Say where a gap is read.

    Examples
    --------
    >>> from fitkit.fit._trial_places import PLACES
    >>> gap_words(PLACES["left_20_ahead_60_above"], "temple_left")
    'Left temple: 60 mm above and 20 mm ahead of the ear hole'
    >>> gap_words(PLACES["left_60_behind_ear"], "back")
    'Back, left side: straight 60 mm behind the ear hole'
    """
    words = zone_words(zone) + (", lips closed" if zone == "mouth" else "")
    if place.view in ("left", "right") and place.view not in words:
        words += f", {place.view} side"
    return f"{words[:1].upper()}{words[1:]}: {place.words}"


def reason_words(off_mm: float, shares: Mapping[str, float], out: LeftOut | None) -> str:
    """Say the likeliest reason why a reading is off by more than its spread."""
    if out is not None and out.slip:
        return f"Reads like {out.slip}: did you mean {out.mended_mm:g} mm? Not learnt from."
    if out is not None:
        return "No other reading bears it out: read it again. Not learnt from."
    cause = max(shares, key=lambda name: shares[name] * np.sign(off_mm))
    if shares[cause] * np.sign(off_mm) < MAIN_SHARE * abs(off_mm):
        explained = sum(shares.values()) * np.sign(off_mm)
        if explained < MAIN_SHARE * abs(off_mm):
            return "Little else bears it out: hold the gauge there again."
        return "Head, hair and seat each explain a part of it."
    wider = off_mm > 0
    return {
        "head": f"The head is likely {'smaller' if wider else 'larger'} here than thought.",
        "hair": f"Likely {'less' if wider else 'more'} hair under the piece than recorded.",
        "seat": "The piece likely sits otherwise than planned.",
    }[cause]


def learnt_words(
    wearer: Wearer,
    taught: Wearer,
    readings: Sequence[GapReading],
    learnt: Learnt,
    seat: Seat,
    doubt_mm: tuple[float, float],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give the sentences of an answer, and its cautions."""
    sentences = [_count_words(readings)]
    seat_words = _seat_words(learnt, seat)
    if seat_words:
        sentences.append(seat_words)
    moved = _measure_words(wearer, taught)
    if moved:
        sentences.append(moved)
    sentences.append(
        f"Foretold ease was good to ±{doubt_mm[0]:.1f} mm (one standard deviation, average "
        f"over the head); it is now good to ±{doubt_mm[1]:.1f} mm."
    )
    cautions = [
        f"{one.point.key}, {one.gap_mm:g} mm: {one.reason}"
        for one in readings
        if not one.used
    ]
    cautions += _doubted(wearer, taught)
    return tuple(sentences), tuple(cautions)


def _count_words(readings: Sequence[GapReading]) -> str:
    off = [one for one in readings if one.flagged]
    inside = len(readings) - len(off)
    if not off:
        return f"All {len(readings)} gaps lie within their spread."
    worst = max(off, key=lambda one: abs(one.off_mm) / one.point.sd_mm)
    return (
        f"{inside} of {len(readings)} gaps lie within their spread; the farthest off is "
        f"{worst.point.key} by {worst.off_mm:+.1f} mm.".replace("-", "−")
    )


def _seat_words(learnt: Learnt, seat: Seat) -> str:
    count = len(seat.sd)
    moved = learnt.mean[-count:] * seat.sd
    left = np.sqrt(np.maximum(0.0, np.diag(learnt.covariance)[-count:])) * seat.sd
    parts = [
        f"{abs(amount):.1f}{unit} {more if amount > 0 else less}"
        for amount, sure, (more, less, unit) in zip(moved, left, _SEAT_WAYS, strict=True)
        if abs(amount) > max(TOLD_SD * sure, 0.3)
    ]
    return f"The piece sat {listed(parts)} than planned." if parts else ""


def _measure_words(wearer: Wearer, taught: Wearer) -> str:
    parts = []
    for key in wearer.completion.keys:
        change = taught.measures_mm[key] - wearer.measures_mm[key]
        if abs(change) > max(UNSAID_MM, taught.completion.sd_mm(key)):
            title = CATALOGUE[key].title
            parts.append(
                f"{title[:1].lower()}{title[1:]} {taught.measures_mm[key]:.0f} mm instead "
                f"of {wearer.measures_mm[key]:.0f}"
            )
    return f"The head as now known has {listed(parts)}." if parts else ""


def _doubted(wearer: Wearer, taught: Wearer) -> list[str]:
    said = []
    for key, reading in wearer.record.readings.items():
        if key not in taught.measures_mm:
            continue
        error = CATALOGUE[key].repeat_sd / len(reading.values_mm) ** 0.5
        off = taught.measures_mm[key] - reading.mean_mm
        if abs(off) > DOUBTED_SD * error:
            said.append(
                f"{CATALOGUE[key].title}: {reading.mean_mm:.1f} mm by hand, "
                f"{taught.measures_mm[key]:.1f} mm by the gaps. Take it again."
            )
    return said
