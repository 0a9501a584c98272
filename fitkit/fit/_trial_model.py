"""What readings at a trial fitting depend on: head, hair, seat; and what they teach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._cavity import Cavity, cavity_of
from fitkit.fit._checks import in_range
from fitkit.fit._trial_places import Place, locate
from fitkit.fit.placement import FloatArray, Placement, turning_axes
from fitkit.geometry.mesh import BoolArray, Mesh
from fitkit.wearer.hair import tape_hair
from fitkit.wearer.trial_notes import SEAT_RANGE
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: How far hair under a shell may differ from what was recorded or taken, as a share of
#: it: one standard deviation. Common practice.
HAIR_SHARE_SD = 0.3
#: The same from one place to the next.
HAIR_PATCHY_SD = 0.15
#: How far from the place told a gauge is held, one standard deviation along each of
#: its two figures. [mm] Common practice.
PLACE_SD_MM = 2.0
#: Most rounds of relinearising; the step at which they end, in standard deviations.
_ROUNDS, _SETTLED = 12, 2e-3
#: Shares of a step that are tried, the first that betters the fit is taken: slopes jump
#: where a place passes from triangle to triangle.
_SHARES = (1.0, 0.5, 0.25, 0.1)
#: Factor on the error of a reading whose place is not found on a head tried on the way.
_LOST = 1e4


@dataclass(frozen=True, kw_only=True)
class Seat:
    """
    How far the piece may sit from where it was planned to: one standard deviation each.

    The defaults are ours, for a piece put on by hand over a cap or its pads.
    """

    #: Along right, front, up. [mm]
    right_mm: float = 1.0
    front_mm: float = 1.5
    up_mm: float = 1.5
    #: About right (nod), up (turn), front (tilt). [deg]
    pitch_deg: float = 1.0
    yaw_deg: float = 0.5
    roll_deg: float = 0.5

    def __post_init__(self) -> None:
        low, high = SEAT_RANGE
        for name in self.__dataclass_fields__:
            unit = name.rsplit("_", 1)[1]
            in_range(name, getattr(self, name), low=low, high=high, unit=unit)

    @property
    def sd(self) -> FloatArray:
        """All six, shape (6,), mm and degrees."""
        return np.array([getattr(self, name) for name in self.__dataclass_fields__])


@dataclass(frozen=True, kw_only=True, eq=False)
class Foretold:
    """Ease at m places for one set of unknowns."""

    #: Ease, shape (m,). [mm]
    ease_mm: FloatArray
    #: Change by one standard deviation of each unknown, shape (m, q). [mm]
    slope: FloatArray
    #: Change by holding a gauge beside the place, each way, shape (m,). [mm per mm]
    slide: FloatArray
    #: Hair there, shape (m,). [mm]
    hair_mm: FloatArray
    #: The skin, shape (m, 3). [mm]
    at: FloatArray
    #: Nearest point of the drawn wall, head frame, shape (m, 3). [mm]
    wall: FloatArray
    #: Direction from there to the head, head frame, shape (m, 3).
    away: FloatArray
    #: Whether the nearest wall is wall, not the edge of an opening, and the place is in
    #: the room, shape (m,).
    roomy: BoolArray


class TrialModel:
    """
    Readings as a function of unknowns that are standard normal before they are taken.

    The unknowns are the wearer's ways (k of them), hair all over (1) and the six of the
    seat, in this order.

    Parameters
    ----------
    wearer, piece, placement
        As planned.
    sites : Sites
        Where the m places lie.
    seat : Seat
    """

    def __init__(
        self,
        wearer: Wearer,
        piece: Piece,
        placement: Placement,
        *,
        places: Sequence[Place],
        seat: Seat,
    ) -> None:
        self.wearer, self.piece, self.placement = wearer, piece, placement
        self.seat, self.places = seat, tuple(places)
        self._cavity: Cavity = cavity_of(piece).stretched(placement.size)
        self._ways = np.moveaxis(wearer.spread, 1, 0).astype(np.float64)
        self._hair_ways = hair_ways(wearer)

    @property
    def heads(self) -> int:
        """Number of unknowns that move the head or its hair."""
        return len(self.wearer.spread) + 1

    @property
    def unknowns(self) -> int:
        """Number of unknowns, q."""
        return self.heads + len(self.seat.sd)

    def head(self, unknowns: FloatArray) -> Mesh:
        """The head for given unknowns."""
        k = len(self.wearer.spread)
        moved = np.tensordot(unknowns[:k], self.wearer.spread, 1)
        return self.wearer.head.with_vertices(self.wearer.head.vertices + moved)

    def foretell(self, unknowns: FloatArray) -> Foretold:
        """
        Exact ease at the places, and its slopes, for unknowns of shape (q,).

        A place keeps its two figures when the head moves, so its skin point glides
        along the line of view d: by d (n . D) / (n . d) where the skin with normal n
        moves by D.
        """
        head, placement = self.head(unknowns), self.seated(unknowns)
        sites = locate(head, self.places)
        points = sites.of(head.vertices)
        gaps = self._cavity.gaps(points, placement)
        wall = placement.to_head(gaps.wall)
        hair_ways = sites.of(self._hair_ways)
        hair = sites.of(self.wearer.hair_mm) + hair_ways @ unknowns[: self.heads]
        facing = np.einsum("mi,mi->m", sites.normal, sites.axes[:, 2])
        facing[~sites.found] = 1.0
        glide = np.einsum("mi,mi->m", gaps.away, sites.axes[:, 2]) / facing
        along = glide[:, None] * sites.normal
        skin = -hair_ways
        skin[:, :-1] += np.einsum("mi,mki->mk", along, sites.of(self._ways))
        slide = np.einsum("mai,mi->ma", sites.axes[:, :2], gaps.away - along)
        return Foretold(
            ease_mm=gaps.signed_mm - self.piece.lining_mm - hair,
            slope=np.column_stack([skin, self._seat_slope(placement, gaps.away, wall)]),
            slide=np.linalg.norm(slide, axis=1),
            hair_mm=hair,
            at=points,
            wall=wall,
            away=gaps.away,
            roomy=np.isfinite(gaps.room) & sites.found,
        )

    def seated(self, unknowns: FloatArray) -> Placement:
        """Where the piece sits for given unknowns."""
        moved = unknowns[self.heads :] * self.seat.sd
        plan = self.placement
        return Placement(
            size=plan.size,
            shift_mm=plan.shift_mm + moved[:3],
            pitch_deg=plan.pitch_deg + moved[3],
            yaw_deg=plan.yaw_deg + moved[4],
            roll_deg=plan.roll_deg + moved[5],
        )

    def _seat_slope(
        self, placement: Placement, away: FloatArray, wall: FloatArray
    ) -> FloatArray:
        axes = turning_axes(placement.pitch_deg, placement.yaw_deg)
        turned = np.cross(axes[None], (wall - placement.shift_mm)[:, None, :])
        turn = np.einsum("mi,mai->ma", away, turned) * np.pi / 180
        slope: FloatArray = -np.column_stack([away, turn]) * self.seat.sd
        return slope


def hair_ways(wearer: Wearer) -> FloatArray:
    """
    Give the change of hair under the shell by each way of the head, then all over.

    Shape (n, k + 1), in mm. Where hair was not recorded it was taken from the hair under
    the tape, so that the way "tape_hair_mm" moves it. Once a trial fitting has taught,
    its doubt is part of the ways of the head.
    """
    ways = np.zeros((len(wearer.hair_mm), len(wearer.spread) + 1))
    if wearer.record.trials:
        return ways
    ways[:, -1] = HAIR_SHARE_SD * wearer.hair_mm
    if "tape_hair_mm" in wearer.spread_names and not wearer.record.hair_mm:
        known = tape_hair(wearer.record)
        column = wearer.spread_names.index("tape_hair_mm")
        share = known.sd_mm / known.mean_mm if known.mean_mm else 0.0
        ways[:, column] = share * wearer.hair_mm
    return ways


@dataclass(frozen=True, kw_only=True, eq=False)
class Learnt:
    """Unknowns after the readings: a normal distribution."""

    #: Likeliest values, shape (q,). [sd]
    mean: FloatArray
    #: Covariance, shape (q, q). [sd^2]
    covariance: FloatArray


def reading_sd_mm(foretold: Foretold, gauge_sd_mm: FloatArray) -> FloatArray:
    """
    Give what a reading may be off by, apart from head, hair all over and seat, (m,).

    The gauge's own error; hair that is patchy; and the place: sliding along the skin
    where it is not parallel to the wall changes the gap.
    """
    sd: FloatArray = np.sqrt(
        gauge_sd_mm**2
        + (HAIR_PATCHY_SD * foretold.hair_mm) ** 2
        + (PLACE_SD_MM * foretold.slide) ** 2
    )
    return sd


def learn(model: TrialModel, readings_mm: FloatArray, sd_mm: FloatArray) -> Learnt:
    """
    Find the likeliest unknowns given readings, and how sure they then are.

    Notes
    -----
    Gauss-Newton on the exact ease, relinearised at each round: the iterated Kalman
    update (B. M. Bell and F. W. Cathey, IEEE Trans. Autom. Control 38, 294-297 (1993)).
    With standard normal unknowns x, slopes H and errors R each round solves
    ``x = H' (H H' + R)^-1 (y - h(x0) + H x0)``.
    """
    x = np.zeros(model.unknowns)
    got = model.foretell(x)
    for _ in range(_ROUNDS):
        wanted = readings_mm - got.ease_mm + got.slope @ x
        lost = np.where(got.roomy, 1.0, _LOST)
        step = conditioned(got.slope, wanted, lost * sd_mm)[0] - x
        if np.abs(step).max() < _SETTLED:
            break
        cost = _misfit(x, got, readings_mm, sd_mm)
        for share in _SHARES:
            there = model.foretell(x + share * step)
            if _misfit(x + share * step, there, readings_mm, sd_mm) < cost:
                break
        else:
            break
        x, got = x + share * step, there
    lost = np.where(got.roomy, 1.0, _LOST)
    covariance = conditioned(got.slope, readings_mm, lost * sd_mm)[1]
    return Learnt(mean=x, covariance=covariance)


def _misfit(
    x: FloatArray, got: Foretold, readings_mm: FloatArray, sd_mm: FloatArray
) -> float:
    """Minus the logarithm of how likely unknowns and readings are together."""
    off = np.where(got.roomy, (readings_mm - got.ease_mm) / sd_mm, 0.0)
    return float(x @ x + off @ off) / 2


def conditioned(
    slope: FloatArray, wanted: FloatArray, sd_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean (q,) and covariance (q, q) of standard normals given linear readings."""
    gram = slope @ slope.T + np.diag(sd_mm**2)
    gain = np.linalg.solve(gram, slope).T
    covariance = np.eye(slope.shape[1]) - gain @ slope
    return gain @ wanted, (covariance + covariance.T) / 2
