"""The trial fitting: which gaps to read, what they say, and the wearer they teach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError, MeasureError, range_message
from fitkit.fit._trial_checks import Gaps, check_against_wall, checked_gaps, checked_gauge
from fitkit.fit._trial_model import (
    Learnt,
    Seat,
    TrialModel,
    hair_ways,
    learn,
    reading_sd_mm,
)
from fitkit.fit._trial_points import choose_places, ease_slopes, zones_of
from fitkit.fit._trial_screen import LeftOut, screen
from fitkit.fit._trial_words import gap_words, learnt_words, reason_words
from fitkit.fit.ease import ease
from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.learnt import HeadNews, learnt_wearer
from fitkit.wearer.record import Record
from fitkit.wearer.trial_notes import TRIALS_KEY, TrialNote, with_trial
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Gaps read unless another number is asked for, and the fewest and most.
POINTS, FEWEST_POINTS, MOST_POINTS = 30, 3, 60
#: Repeat error of a stepped wedge or a depth rod held to the hair, one standard
#: deviation. [mm] Common practice.
GAUGE_SD_MM = 0.5
#: Standard deviations within which a reading should lie: 19 of 20 do.
WITHIN_SD = 1.96


@dataclass(frozen=True, kw_only=True, eq=False)
class GapPoint:
    """One place at which to read the gap, and what it should be."""

    #: Its number on the sheet, from 1, the one that tells most first.
    number: int
    #: Name under which its reading is typed in.
    key: str
    #: Where it is, for people.
    words: str
    #: Zone of the head, out of ``ZONES``.
    zone: str
    #: The skin there, shape (3,): right, front, up. [mm]
    at: FloatArray
    #: Nearest point of the drawn wall, head frame, shape (3,). [mm]
    wall: FloatArray
    #: Gap foretold between hair and finished inner wall. [mm]
    ease_mm: float
    #: How far a reading may differ: head, hair, seat and gauge together, one standard
    #: deviation. [mm]
    sd_mm: float

    @property
    def low_mm(self) -> float:
        """Least gap that would not surprise: 1 in 40 is below, in mm."""
        return self.ease_mm - WITHIN_SD * self.sd_mm

    @property
    def high_mm(self) -> float:
        """Largest gap that would not surprise: 1 in 40 is above, in mm."""
        return self.ease_mm + WITHIN_SD * self.sd_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class GapReading:
    """One reading beside what was foretold, before and after it taught."""

    point: GapPoint
    #: Mean of the repeats as typed. [mm]
    gap_mm: float
    #: Every repeat, as typed. [mm]
    repeats_mm: tuple[float, ...]
    #: Reading less what was foretold. [mm]
    off_mm: float
    #: Whether it is off by more than its spread.
    flagged: bool
    #: The likely reason, in words; empty where it is not flagged.
    reason: str
    #: Whether it was learnt from; slips and readings that nothing bears out are not.
    used: bool
    #: What the reading likely meant where it looks mistyped; None elsewhere. [mm]
    mended_mm: float | None
    #: Gap there by the wearer and the seat as they are now thought to be. [mm]
    after_mm: float
    #: One standard deviation of that. [mm]
    after_sd_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class TrialAnswer:
    """What a trial fitting says and teaches."""

    #: Every reading, in the order typed.
    readings: tuple[GapReading, ...]
    #: The wearer as now known: head moved, spread narrowed, the fitting in the record.
    wearer: Wearer
    #: How the piece most likely sat.
    placement: Placement
    #: How sure that is: one standard deviation of right, front, up, pitch, yaw, roll.
    #: [mm and deg]
    seat_sd: Mapping[str, float]
    #: Doubt about the ease on average over the head, one standard deviation, before and
    #: after, the piece where it was planned. [mm]
    doubt_before_mm: float
    doubt_after_mm: float
    #: What was found, in sentences.
    sentences: tuple[str, ...]
    #: What to look at again; empty means nothing.
    cautions: tuple[str, ...]

    @property
    def flagged(self) -> tuple[GapReading, ...]:
        """Readings off by more than their spread."""
        return tuple(one for one in self.readings if one.flagged)


def trial_points(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    count: int = POINTS,
    seat: Seat | None = None,
    gauge_sd_mm: float = GAUGE_SD_MM,
) -> tuple[GapPoint, ...]:
    """
    Choose places at which to read gaps at a trial fitting.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
        As the piece is meant to sit.
    count : int
        Places wanted, 3 to 60.
    seat : Seat, optional
        How far it may sit otherwise.
    gauge_sd_mm : float
        Repeat error of the gauge, one standard deviation. [mm]

    Returns
    -------
    tuple of GapPoint
        The one that tells most of the ease everywhere first; at least 20 mm apart, so
        that a narrow piece may give fewer than were asked for. Whether a hand gets there
        is for the maker to see: leave out what cannot be read.

    Raises
    ------
    BriefError
        If `count` is out of range.
    MeasureError
        If `gauge_sd_mm` is out of range, or no gap of this piece can be read.
    """
    if not (FEWEST_POINTS <= count <= MOST_POINTS and count == int(count)):
        raise BriefError(
            range_message("count", low=FEWEST_POINTS, high=MOST_POINTS, unit="", got=count)
        )
    chosen = choose_places(
        wearer,
        piece,
        placement,
        ease(wearer, piece, placement),
        count=int(count),
        seat=seat or Seat(),
        gauge_sd_mm=checked_gauge(gauge_sd_mm),
    )
    if not chosen:
        msg = (
            f"{piece.name} has no gap on this wearer that a gauge could read: the wall "
            "touches, or is out of reach everywhere. Solve for a placement that fits first."
        )
        raise MeasureError(msg)
    model = TrialModel(wearer, piece, placement, places=chosen, seat=seat or Seat())
    got = model.foretell(np.zeros(model.unknowns))
    return _points(wearer, model, reading_sd_mm(got, np.full(len(chosen), gauge_sd_mm)))


def learn_from_trial(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    gaps_mm: Mapping[str, float | Sequence[float]],
    *,
    gauge_sd_mm: float = GAUGE_SD_MM,
    seat: Seat | None = None,
    day: str | None = None,
    notes: str = "",
) -> TrialAnswer:
    """
    Compare gaps read at a trial fitting with what was foretold, and learn from them.

    Parameters
    ----------
    wearer : Wearer
        As known before: its spread is what the survey and the readings leave open.
    piece : Piece
        The piece that was on.
    placement : Placement
        Its size, and where it was meant to sit.
    gaps_mm : mapping of str to float or sequence of float
        Gap between hair and finished inner wall, or its repeats, by the key of a place
        (`trial_points` gives good ones). Touching is 0; pressed in is negative. [mm]
    gauge_sd_mm : float
        Repeat error of the gauge, one standard deviation. [mm]
    seat : Seat, optional
        How far the piece may have sat from where it was meant to.
    day : str, optional
        As 2026-03-31; today if left out.
    notes : str
        Anything worth keeping.

    Returns
    -------
    TrialAnswer
        The same for the same input.

    Raises
    ------
    MeasureError
        If a place is unknown, a reading cannot be, the sheet is in another unit, or too
        many readings contradict each other; the message tells the cure.

    Notes
    -----
    Unknown are the ways of the wearer's spread, hair all over, and the seat, all normal
    and independent before; readings are linear in them about the likeliest head, and are
    relinearised there with exact distances until nothing moves. A reading at odds with
    all others is not learnt from, but kept in the record like any.
    """
    seat = seat or Seat()
    gaps = checked_gaps(gaps_mm, gauge_sd_mm=checked_gauge(gauge_sd_mm))
    model = TrialModel(wearer, piece, placement, places=gaps.places, seat=seat)
    before = model.foretell(np.zeros(model.unknowns))
    check_against_wall(model, before, gaps)
    sd = reading_sd_mm(before, gaps.gauge_sd_mm)
    gram = before.slope @ before.slope.T + np.diag(sd**2)
    names = [place.key for place in gaps.places]
    out = screen(names, gaps.mean_mm - before.ease_mm, before.ease_mm, gram)
    used = np.setdiff1d(np.arange(len(names)), [one.row for one in out])
    learnt = _learn_rows(wearer, piece, placement, gaps, sd, used, seat)
    note = _note(piece, placement, gaps, gauge_sd_mm, seat, day, notes)
    taught = _taught(wearer, learnt, note)
    readings = _readings(wearer, model, gaps, sd, learnt, out)
    doubt = _doubt(wearer, piece, placement, learnt)
    sentences, cautions = learnt_words(wearer, taught, readings, learnt, seat, doubt)
    return TrialAnswer(
        readings=readings,
        wearer=taught,
        placement=model.seated(learnt.mean),
        seat_sd=_seat_sd(learnt, seat),
        doubt_before_mm=doubt[0],
        doubt_after_mm=doubt[1],
        sentences=sentences,
        cautions=cautions,
    )


def wearer_after_trials(record: Record, pieces: Mapping[str, Piece]) -> Wearer:
    """
    Make a wearer from a record's readings and then from its trial fittings, in order.

    Parameters
    ----------
    record : Record
    pieces : mapping of str to Piece
        By name, those that were on, as they were then.

    Returns
    -------
    Wearer
        With the record as given.

    Raises
    ------
    MeasureError
        If a piece is missing.
    """
    tape_only = {key: kept for key, kept in record.unknown.items() if key != TRIALS_KEY}
    wearer = wearer_from_record(replace(record, unknown=tape_only))
    for trial in record.trials:
        if trial.piece not in pieces:
            msg = (
                f"The fitting of {trial.date} was in {trial.piece!r}; pieces has "
                f"{', '.join(map(repr, pieces)) or 'none'}. Add it under that name."
            )
            raise MeasureError(msg)
        pitch, yaw, roll = trial.turn_deg
        plan = Placement(
            size=trial.size,
            shift_mm=trial.shift_mm,
            pitch_deg=pitch,
            yaw_deg=yaw,
            roll_deg=roll,
        )
        wearer = learn_from_trial(
            wearer,
            pieces[trial.piece],
            plan,
            trial.gaps_mm,
            gauge_sd_mm=trial.gauge_sd_mm,
            seat=Seat(**trial.seat_sd),
            day=trial.date,
        ).wearer
    return replace(wearer, record=record)


# -- parts of the answer --------------------------------------------------------------


def _points(wearer: Wearer, model: TrialModel, sd_mm: FloatArray) -> tuple[GapPoint, ...]:
    got = model.foretell(np.zeros(model.unknowns))
    spread = np.sqrt((got.slope**2).sum(axis=1) + sd_mm**2)
    zones = zones_of(wearer, model.places)
    return tuple(
        GapPoint(
            number=row + 1,
            key=place.key,
            words=gap_words(place, zones[row]),
            zone=zones[row],
            at=got.at[row],
            wall=got.wall[row],
            ease_mm=float(got.ease_mm[row]),
            sd_mm=float(spread[row]),
        )
        for row, place in enumerate(model.places)
    )


def _learn_rows(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    gaps: Gaps,
    sd_mm: FloatArray,
    rows: np.typing.NDArray[np.int64],
    seat: Seat,
) -> Learnt:
    places = [gaps.places[row] for row in rows]
    model = TrialModel(wearer, piece, placement, places=places, seat=seat)
    return learn(model, gaps.mean_mm[rows], sd_mm[rows])


def _taught(wearer: Wearer, learnt: Learnt, note: TrialNote) -> Wearer:
    k = len(wearer.spread) + 1
    news = HeadNews(
        mean=learnt.mean[:k],
        covariance=learnt.covariance[:k, :k],
        hair_ways=hair_ways(wearer),
    )
    record = replace(wearer.record, unknown=with_trial(wearer.record.unknown, note))
    return learnt_wearer(wearer, news, record=record)


def _note(
    piece: Piece,
    placement: Placement,
    gaps: Gaps,
    gauge_sd_mm: float,
    seat: Seat,
    day: str | None,
    notes: str,
) -> TrialNote:
    size, shift = placement.size.tolist(), placement.shift_mm.tolist()
    return TrialNote(
        date=day or date.today().isoformat(),
        piece=piece.name,
        size=(size[0], size[1], size[2]),
        shift_mm=(shift[0], shift[1], shift[2]),
        turn_deg=(placement.pitch_deg, placement.yaw_deg, placement.roll_deg),
        gauge_sd_mm=float(gauge_sd_mm),
        seat_sd=MappingProxyType(dict(vars(seat))),
        gaps_mm=MappingProxyType(
            {
                place.key: values
                for place, values in zip(gaps.places, gaps.repeats_mm, strict=True)
            }
        ),
        notes=notes,
    )


def _readings(
    wearer: Wearer,
    model: TrialModel,
    gaps: Gaps,
    sd_mm: FloatArray,
    learnt: Learnt,
    out: tuple[LeftOut, ...],
) -> tuple[GapReading, ...]:
    points = _points(wearer, model, sd_mm)
    after = model.foretell(learnt.mean)
    after_sd = np.sqrt(
        np.einsum("mq,qp,mp->m", after.slope, learnt.covariance, after.slope)
    )
    left = {one.row: one for one in out}
    shares = _shares(after.slope * learnt.mean, model.heads)
    found = []
    for row, point in enumerate(points):
        off = float(gaps.mean_mm[row]) - point.ease_mm
        flagged = row in left or abs(off) > WITHIN_SD * point.sd_mm
        one = left.get(row)
        found.append(
            GapReading(
                point=point,
                gap_mm=float(gaps.mean_mm[row]),
                repeats_mm=gaps.repeats_mm[row],
                off_mm=off,
                flagged=flagged,
                reason=reason_words(off, shares[row], one) if flagged else "",
                used=one is None,
                mended_mm=one.mended_mm if one else None,
                after_mm=float(after.ease_mm[row]),
                after_sd_mm=float(after_sd[row]),
            )
        )
    return tuple(found)


def _shares(parts: FloatArray, heads: int) -> list[dict[str, float]]:
    """How much of each departure the head, its hair and the seat explain. [mm]."""
    return [
        {
            "head": float(part[: heads - 1].sum()),
            "hair": float(part[heads - 1]),
            "seat": float(part[heads:].sum()),
        }
        for part in parts
    ]


def _doubt(
    wearer: Wearer, piece: Piece, placement: Placement, learnt: Learnt
) -> tuple[float, float]:
    """Mean standard deviation of the ease over all zones, before and after. [mm]."""
    slopes = ease_slopes(wearer, ease(wearer, piece, placement))
    k = slopes.shape[1]
    after = np.einsum("nk,kl,nl->n", slopes, learnt.covariance[:k, :k], slopes)
    before = np.linalg.norm(slopes, axis=1)
    return float(before.mean()), float(np.sqrt(np.maximum(0.0, after)).mean())


def _seat_sd(learnt: Learnt, seat: Seat) -> Mapping[str, float]:
    variance = np.diag(learnt.covariance)[-len(seat.sd) :]
    values = seat.sd * np.sqrt(np.maximum(0.0, variance))
    return MappingProxyType(dict(zip(vars(seat), values.tolist(), strict=True)))
