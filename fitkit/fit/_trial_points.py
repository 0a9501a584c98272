"""Which places to read at a trial fitting: those that tell most of the ease everywhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._sample import zone_samples
from fitkit.fit._trial_model import (
    Seat,
    TrialModel,
    conditioned,
    hair_ways,
    reading_sd_mm,
)
from fitkit.fit._trial_places import PLACES, Place, locate
from fitkit.fit.ease import EaseMap
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.mesh import BoolArray, Mesh
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import NECK, ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Zones in which no gap is read: eyes are tender, and ears give way.
UNREAD = tuple(zone for zone in ZONES if zone.startswith(("eye", "ear")))
#: Gaps that a gauge can read. [mm]
READABLE_MM = (1.0, 70.0)
#: Least distance between two places read. [mm]
APART_MM = 20.0
#: A place must still be found this far beside it, each way, with no step in between.
#: [mm]
FIRM_MM = 10.0
#: Rounds in which every place may be exchanged for a better one.
EXCHANGES = 2


def choose_places(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    gaps: EaseMap,
    *,
    count: int,
    seat: Seat,
    gauge_sd_mm: float,
) -> tuple[Place, ...]:
    """
    Choose places to read, each where it takes most from the doubt left by those before.

    Notes
    -----
    By the trace of the covariance of the ease over a sample of all zones, the seat not
    counted: an A-optimal design, first greedily, then by exchange of one place at a time
    (V. V. Fedorov, "Theory of Optimal Experiments", 1972, from memory).
    """
    every = _candidates(wearer)
    model = TrialModel(wearer, piece, placement, places=every, seat=seat)
    got = model.foretell(np.zeros(model.unknowns))
    offer = _Offer(
        slope=got.slope,
        sd_mm=reading_sd_mm(got, np.full(len(every), gauge_sd_mm)),
        at=got.at,
        ease=ease_slopes(wearer, gaps),
    )
    low, high = READABLE_MM
    open_to = got.roomy & (got.ease_mm >= low) & (got.ease_mm <= high)
    return tuple(every[row] for row in _chosen(offer, open_to, count))


def ease_slopes(wearer: Wearer, gaps: EaseMap) -> FloatArray:
    """
    Give the change of ease by each way of head and hair, on a sample of every zone.

    Shape (points, k + 1), in mm.
    """
    rows = np.concatenate(zone_samples(wearer))
    head = np.einsum("ni,kni->nk", gaps.away[rows], wearer.spread[:, rows])
    slopes: FloatArray = np.column_stack([head, np.zeros(len(rows))])
    return slopes - hair_ways(wearer)[rows]


def firm(head: Mesh, places: Sequence[Place]) -> BoolArray:
    """Whether each place is found, and so is the skin about it, with no step between."""
    sites = locate(head, places)
    at, ok = sites.of(head.vertices), sites.found
    for across, along in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        beside = locate(
            head,
            [
                replace(
                    place,
                    across_mm=place.across_mm + FIRM_MM * across,
                    along_mm=place.along_mm + FIRM_MM * along,
                )
                for place in places
            ],
        )
        step = np.linalg.norm(beside.of(head.vertices) - at, axis=1)
        ok = ok & beside.found & (step < 2 * FIRM_MM)
    return ok


def zones_of(wearer: Wearer, places: Sequence[Place]) -> tuple[str, ...]:
    """Zone of each place on a head; empty for the neck."""
    sites = locate(wearer.head, places)
    corner = sites.weights.argmax(axis=1)
    index = wearer.zone[sites.vertices[np.arange(len(places)), corner]]
    return tuple("" if i == NECK else ZONES[i] for i in index)


def _candidates(wearer: Wearer) -> tuple[Place, ...]:
    every = tuple(PLACES.values())
    zones = zip(every, zones_of(wearer, every), strict=True)
    read = [place for place, zone in zones if zone and zone not in UNREAD]
    held = firm(wearer.head, read)
    return tuple(place for place, ok in zip(read, held, strict=True) if ok)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Offer:
    """Places that could be read, and what each would tell."""

    #: Change of each reading by each unknown, shape (m, q). [mm]
    slope: FloatArray
    #: Error of each reading, shape (m,). [mm]
    sd_mm: FloatArray
    #: Where each is, shape (m, 3). [mm]
    at: FloatArray
    #: Change of the ease everywhere by the unknowns of head and hair, shape (e, k + 1).
    ease: FloatArray

    def left(self, rows: Sequence[int]) -> FloatArray:
        """Covariance of the unknowns after some readings, shape (q, q)."""
        return conditioned(self.slope[rows], np.zeros(len(rows)), self.sd_mm[rows])[1]

    def best(self, free: BoolArray, covariance: FloatArray) -> int:
        """Row of the free place that takes most from what is left."""
        gain = self.slope @ covariance
        variance = np.einsum("mq,mq->m", gain, self.slope) + self.sd_mm**2
        told = ((gain[:, : self.ease.shape[1]] @ self.ease.T) ** 2).sum(axis=1) / variance
        return int(np.where(free, told, -np.inf).argmax())

    def apart(self, rows: Sequence[int]) -> BoolArray:
        """Which places lie far enough from those in `rows`, shape (m,)."""
        gap = np.linalg.norm(self.at[:, None] - self.at[rows], axis=2)
        return np.asarray(gap.min(axis=1, initial=np.inf) >= APART_MM)


def _chosen(offer: _Offer, open_to: BoolArray, count: int) -> list[int]:
    """Add the best place until there are enough, then exchange each for a better one."""
    rows: list[int] = []
    while len(rows) < count:
        free = open_to & offer.apart(rows)
        if not free.any():
            break
        rows.append(offer.best(free, offer.left(rows)))
    for _ in range(EXCHANGES):
        for turn in range(len(rows)):
            rest = rows[:turn] + rows[turn + 1 :]
            free = open_to & offer.apart(rest)
            rows[turn] = offer.best(free, offer.left(rest))
    return rows
