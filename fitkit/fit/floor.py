"""The floor ahead: how near it is seen, how wide, and what that means for walking."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitkit.fit._cast import MERIDIAN_STEP_DEG, Windows, find_windows
from fitkit.fit._checks import in_range
from fitkit.fit._shell import Occluder, Shell, any_blocked, eye_of, own_face
from fitkit.fit.field import check_eyes
from fitkit.fit.placement import Placement
from fitkit.fit.sight import SIDES
from fitkit.fit.visual_fields import ReferenceField, reference_field
from fitkit.geometry.mesh import BoolArray, FloatArray
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Standing eye height taken when the record has none: about the mean of adults. [mm]
EYE_HEIGHT_MM = 1600.0
#: One step of a walking adult. [mm]
STEP_MM = 700.0
#: Head bows that are looked at unless others are asked for. [deg]
BOWS_DEG = (0.0, 15.0, 30.0)
#: Most that a head can be bowed for a while. [deg]
MOST_BOW_DEG = 60.0
#: Floor is looked for up to this far to either side, and this steep and shallow.
HALF_WIDTH_MM = 2000.0
STEEPEST_DEG, SHALLOWEST_DEG = 88.0, 1.0
#: Floor beyond this is as good as the horizon; stretches shorter than that are not told.
FAR_MM, SHORT_MM = 15_000.0, 50.0
#: Step in which the width of the floor is tried first. [mm]
WIDTH_STEP_MM = 20.0


@dataclass(frozen=True, kw_only=True)
class FloorSight:
    """Floor seen by either eye, from its pupil's centre, at one bow of the head."""

    #: How far the head is bowed from level; chin down positive. [deg]
    bow_deg: float
    #: Nearest floor seen straight ahead, from the place below the eyes; nan if none. [mm]
    nearest_mm: float
    #: The same, bare-headed. [mm]
    bare_nearest_mm: float
    #: Every stretch of floor seen straight ahead, (from, to), rising. [mm]
    ahead_mm: Windows
    #: Width of floor seen one and two steps ahead, of the 4000 mm looked at. [mm]
    one_step_width_mm: float
    two_steps_width_mm: float
    #: The same, bare-headed. [mm]
    bare_one_step_width_mm: float
    bare_two_steps_width_mm: float

    def shows(self, near_mm: float, far_mm: float) -> bool:
        """Say whether the floor straight ahead is seen all the way between two places."""
        return any(near <= near_mm and far_mm <= far for near, far in self.ahead_mm)

    def words(self) -> str:
        """Say which stretches of floor are seen straight ahead."""
        stretches = [
            f"from {near / 1000:.1f} m on"
            if far >= FAR_MM
            else f"from {near / 1000:.1f} to {far / 1000:.1f} m"
            for near, far in self.ahead_mm
            if far - near >= SHORT_MM
        ]
        if not stretches:
            return "no floor is seen"
        return f"the floor is seen {' and '.join(stretches)}"


@dataclass(frozen=True, kw_only=True)
class FloorView:
    """What one wearer sees of a level floor in one placed piece."""

    #: Height of the eyes above the floor. [mm]
    eye_height_mm: float
    #: Where that comes from.
    eye_height_from: Literal["record", "given", "assumed"]
    #: Length of a step. [mm]
    step_mm: float
    #: One for each bow asked for, in that order.
    bows: tuple[FloorSight, ...]
    #: Least bow at which the floor two steps ahead is seen; nan if none up to 60. [deg]
    bow_for_two_steps_deg: float
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


def floor_view(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    bows_deg: Sequence[float] = BOWS_DEG,
    eye_height_mm: float | None = None,
    step_mm: float = STEP_MM,
    reference: str | ReferenceField = "wide",
) -> FloorView:
    """
    Find what the wearer sees of a level floor, head level and bowed.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    bows_deg : sequence of float
        Bows of the head to look at; chin down positive. [deg]
    eye_height_mm : float, optional
        Of the standing wearer, shoes and all; the record's unless given. [mm]
    step_mm : float
        Length of a step. [mm]
    reference : str or ReferenceField
        How far an eye sees when nothing is in its way.

    Raises
    ------
    BriefError
        If a number is out of range or an eye is not inside the piece.

    Notes
    -----
    Eyes look straight ahead of the head. Bowing turns the head about the middle between
    the pupils: that the eyes sink a little with it is left out, so distances come out up
    to some 3 % long. Chest, feet and costume are not there: what they hide is seen here.
    """
    shown = reference_field(reference)
    height, source = eye_height(wearer, eye_height_mm)
    in_range("step_mm", step_mm, low=200, high=1500, unit="mm")
    for bow in bows_deg:
        in_range("bows_deg", bow, low=-30, high=MOST_BOW_DEG, unit="deg")
    check_eyes(wearer, piece, placement)
    worn = _Walker(wearer, shown, height, (Shell(piece, placement),))
    bare = _Walker(wearer, shown, height, ())
    bows = tuple(_floor_sight(worn, bare, bow, step_mm) for bow in bows_deg)
    least = _least_bow(worn, 2 * step_mm)
    level = next((each for each in bows if each.bow_deg == 0), None)
    if level is None:
        level = _floor_sight(worn, bare, 0.0, step_mm)
    return FloorView(
        eye_height_mm=height,
        eye_height_from=source,
        step_mm=step_mm,
        bows=bows,
        bow_for_two_steps_deg=least,
        cautions=tuple(_cautions(level, least, source, 2 * step_mm, height)),
    )


def floor_distance_mm(*, eye_height_mm: float, down_deg: float) -> float:
    """
    Distance of level floor seen at an angle below level.

    Examples
    --------
    >>> round(floor_distance_mm(eye_height_mm=1600, down_deg=20))
    4396
    """
    in_range("eye_height_mm", eye_height_mm, low=300, high=2600, unit="mm")
    in_range("down_deg", down_deg, low=0.1, high=90, unit="deg")
    return float(eye_height_mm / np.tan(np.radians(down_deg)))


def down_needed_deg(*, eye_height_mm: float, distance_mm: float) -> float:
    """
    Angle below level at which floor at a distance is seen.

    Examples
    --------
    >>> round(down_needed_deg(eye_height_mm=1600, distance_mm=1400), 2)
    48.81
    """
    in_range("eye_height_mm", eye_height_mm, low=300, high=2600, unit="mm")
    in_range("distance_mm", distance_mm, low=1, high=1e6, unit="mm")
    return float(np.degrees(np.arctan2(eye_height_mm, distance_mm)))


# -- how it is done -------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Walker:
    wearer: Wearer
    reference: ReferenceField
    eye_height_mm: float
    worn: tuple[Occluder, ...]

    def sees(self, aside_mm: FloatArray, ahead_mm: FloatArray, bow_deg: float) -> BoolArray:
        """Say which places on the floor, shapes (k,), either eye sees."""
        middle = (
            self.wearer.eye_left.entrance_pupil + self.wearer.eye_right.entrance_pupil
        ) / 2
        bow = np.radians(bow_deg)
        down = np.full(len(ahead_mm), -self.eye_height_mm)
        ahead = ahead_mm * np.cos(bow) - down * np.sin(bow)
        up = ahead_mm * np.sin(bow) + down * np.cos(bow)
        places = middle + np.column_stack([aside_mm, ahead, up])
        seen = np.zeros(len(places), dtype=bool)
        for side in SIDES:
            pupil = eye_of(self.wearer, side).entrance_pupil
            ways = places - pupil
            ways /= np.linalg.norm(ways, axis=1)[:, None]
            rows = np.nonzero(~seen & self.reference.contains(ways, side=side))[0]
            occluders = (*self.worn, own_face(self.wearer, side))
            starts = np.broadcast_to(pupil, (len(rows), 3))
            seen[rows] = ~any_blocked(occluders, starts, ways[rows])
        return seen

    def ahead(self, bow_deg: float) -> Windows:
        """Stretches of floor seen straight ahead, nearest first, in mm."""

        def seen(down_deg: FloatArray) -> BoolArray:
            ahead = self.eye_height_mm / np.tan(np.radians(down_deg))
            return self.sees(np.zeros(len(ahead)), ahead, bow_deg)[None]

        (windows,) = find_windows(
            seen, low=SHALLOWEST_DEG, high=STEEPEST_DEG, step=MERIDIAN_STEP_DEG
        )
        ends = self.eye_height_mm / np.tan(np.radians(np.array(windows).reshape(-1, 2)))
        return tuple((near, far) for far, near in ends[::-1].tolist())

    def width(self, ahead_mm: float, bow_deg: float) -> float:
        """Width of floor seen across the way at a distance, in mm."""

        def seen(aside_mm: FloatArray) -> BoolArray:
            return self.sees(aside_mm, np.full(len(aside_mm), ahead_mm), bow_deg)[None]

        (windows,) = find_windows(
            seen, low=-HALF_WIDTH_MM, high=HALF_WIDTH_MM, step=WIDTH_STEP_MM
        )
        return float(sum(end - start for start, end in windows))


def _floor_sight(
    worn: _Walker, bare: _Walker, bow_deg: float, step_mm: float
) -> FloorSight:
    ahead, bare_ahead = worn.ahead(bow_deg), bare.ahead(bow_deg)
    return FloorSight(
        bow_deg=float(bow_deg),
        nearest_mm=ahead[0][0] if ahead else float("nan"),
        bare_nearest_mm=bare_ahead[0][0] if bare_ahead else float("nan"),
        ahead_mm=ahead,
        one_step_width_mm=worn.width(step_mm, bow_deg),
        two_steps_width_mm=worn.width(2 * step_mm, bow_deg),
        bare_one_step_width_mm=bare.width(step_mm, bow_deg),
        bare_two_steps_width_mm=bare.width(2 * step_mm, bow_deg),
    )


def _least_bow(worn: _Walker, ahead_mm: float) -> float:
    for bow in np.arange(0, MOST_BOW_DEG + 1):
        if worn.sees(np.zeros(1), np.array([ahead_mm]), float(bow))[0]:
            return float(bow)
    return float("nan")


def eye_height(
    wearer: Wearer, given_mm: float | None
) -> tuple[float, Literal["record", "given", "assumed"]]:
    """Standing eye height, in mm, and where it comes from."""
    if given_mm is not None:
        cure = f"Did you mean {given_mm * 10:g} mm?" if 60 <= given_mm <= 230 else ""
        in_range("eye_height_mm", given_mm, low=300, high=2600, unit="mm", cure=cure)
        return float(given_mm), "given"
    reading = wearer.record.readings.get("standing_eye_height_mm")
    if reading is not None:
        return float(reading.mean_mm), "record"
    return EYE_HEIGHT_MM, "assumed"


def _cautions(
    level: FloorSight, least: float, source: str, two_steps_mm: float, height: float
) -> list[str]:
    said = []
    if source == "assumed":
        said.append(
            f"Standing eye height is not in the record; {height:.0f} mm was taken. Every "
            "distance grows with it."
        )
    if not level.shows(two_steps_mm, two_steps_mm):
        said.append(_step_words(level, least, two_steps_mm))
    if not level.shows(two_steps_mm, 2 * two_steps_mm):
        said.append(
            "On stairs and at kerbs people look one to five steps ahead, where this view "
            "has gaps: give a hand there."
        )
    return said


def _step_words(level: FloorSight, least: float, two_steps_mm: float) -> str:
    bow = (
        "no bow of the head up to 60 deg shows it"
        if np.isnan(least)
        else f"bow the head by {least:.0f} deg to see it"
    )
    return (
        f"Head level, straight ahead {level.words()}; walkers place their feet by looking "
        f"about two steps, here {two_steps_mm / 1000:.1f} m, ahead: {bow}."
    )
