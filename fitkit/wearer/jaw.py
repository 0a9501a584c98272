"""How this wearer's chin moves: the jaw turns while its joint slides forward."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from fitkit.errors import MeasureError, range_message
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.record import Record
from fitkit.wearer.survey import usual_mm
from fitkit.wearer.swing import RIGHTWARD, Swing, hinge

if TYPE_CHECKING:
    from fitkit.wearer.wearer import Wearer

Floats = NDArray[np.float64]

#: Condyle ahead of the tragion on the line to the outer corner of the eye. [mm] From
#: memory of Beyron's point in prosthodontics texts.
CONDYLE_AHEAD_MM = 13.0
#: Mean finite pole of full opening from the condyle's centre, front and up, and its SD
#: among people. [mm] Mehl 2025, doi 10.1007/s00784-025-06619-4 (abstract): 32.4 +- 7.4
#: below, 0.2 +- 10.8 behind.
POLE_FROM_CONDYLE_MM, POLE_SD_MM = (-0.2, -32.4), (10.8, 7.4)
#: Slope below the Frankfort plane at which the condyle starts to slide. [deg] From
#: memory of gnathology texts, 35 to 45; the mean pole fixes the chord, and the path
#: bends from this slope so as to end on it.
GUIDANCE_DEG = 40.0
#: Most that the condyle's path may bend off its chord. [deg]
MOST_BEND_DEG = 60.0
#: Edge of the lower front teeth behind the stomion. [mm] Lip thickness, from memory of
#: profile analyses (10 to 13).
TEETH_BEHIND_LIPS_MM = 11.0
#: Largest turn of a jaw that is believed. [deg] Muto and Kanazawa 1996, J. Oral
#: Maxillofac. Surg. (abstract): 39.1 +- 5.9 in men; three SDs above.
MOST_TURN_DEG = 57.0
#: A reading this many SDs from the motion that fits all best is doubted.
_DOUBT_SD = 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class ChinMotion:
    """
    The path of one wearer's lower jaw from teeth together to the largest opening.

    It is symmetric: no part of it moves sideways.
    """

    #: The whole motion; `swing.full_deg` is the turn at the largest opening.
    swing: Swing
    #: Centre between the two condyles, teeth together, shape (3,). [mm]
    condyle_mm: Floats
    #: Edge of the lower front teeth, teeth together, shape (3,). [mm]
    teeth_mm: Floats
    #: Underside of the chin, teeth together, shape (3,). [mm]
    menton_mm: Floats
    #: Finite pole of the largest opening, shape (3,): the best single hinge. [mm]
    pole_mm: Floats
    #: How sure the pole is: SD front, SD up. [mm]
    pole_sd_mm: tuple[float, float]
    #: Largest opening between the front teeth. [mm]
    opening_mm: float
    #: How far the underside of the chin drops then. [mm]
    chin_drop_mm: float
    #: Readings that shaped the motion; empty if it is what is usual.
    given: frozenset[str]
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...] = ()

    @property
    def full_deg(self) -> float:
        """Turn of the jaw at the largest opening, in degrees."""
        return self.swing.full_deg

    def opening_at_mm(self, turn_deg: ArrayLike) -> Floats:
        """Give the opening between the front teeth at turns (...), straight, in mm."""
        return _travel(self.swing, self.teeth_mm, turn_deg)

    def chin_drop_at_mm(self, turn_deg: ArrayLike) -> Floats:
        """Give how far the underside of the chin has dropped at turns (...), in mm."""
        moved = self.swing.matrix(turn_deg) @ np.append(self.menton_mm, 1.0)
        drop: Floats = self.menton_mm[2] - moved[..., 2]
        return drop

    def turn_for_opening_deg(self, opening_mm: float) -> float:
        """
        Give the turn at which the front teeth are that far apart, in degrees.

        Raises
        ------
        MeasureError
            If the wearer does not open so far.
        """
        if not 0 <= opening_mm <= self.opening_mm + 1e-9:
            cure = "The wearer's own largest opening is the most there is."
            most = round(self.opening_mm, 1)
            msg = range_message(
                "opening_mm", low=0, high=most, unit="mm", got=opening_mm, cure=cure
            )
            raise MeasureError(msg)
        turns = np.linspace(0.0, self.full_deg, 4001)
        return float(np.interp(opening_mm, self.opening_at_mm(turns), turns))


def chin_motion(wearer: Wearer, *, pure_hinge: bool = False) -> ChinMotion:
    """
    Work out how a wearer's chin moves.

    Parameters
    ----------
    wearer : Wearer
    pure_hinge : bool
        Turn about the condyles alone, the textbook simplification.

    Returns
    -------
    ChinMotion
    """
    return chin_motion_of(
        wearer.record,
        wearer.landmarks,
        sex_weight=wearer.completion.sex_weight,
        pure_hinge=pure_hinge,
    )


def chin_motion_of(
    record: Record,
    landmarks: Mapping[str, Floats],
    *,
    sex_weight: Mapping[str, float] | None = None,
    pure_hinge: bool = False,
) -> ChinMotion:
    """
    Work out the chin's motion from readings and landmarks.

    Parameters
    ----------
    record : Record
        Its ``mouth_opening_mm`` and ``chin_drop_mm`` are used if they were read.
    landmarks : mapping
        Tragia, outer corners of the eyes, stomion, menton; each of shape (3,). [mm]
    sex_weight : mapping, optional
        How likely each sex is, for the usual opening where none was read.
    pure_hinge : bool
        Turn about the condyles alone.

    Raises
    ------
    MeasureError
        If no believable jaw opens as far as the readings say.

    Notes
    -----
    Rotation explains nearly all of an opening and the slide of the joint little
    (adjusted R² 91.5 % against 4.7 %: OKAS-3D study, abstract), and translation sets
    in from the first millimetre (Research Square rs-3913755, preprint). So the slide
    is in proportion to the turn, and the finite pole of the largest opening is that of
    Mehl 2025. The opening then fixes the turn. A chin drop that was read as well moves
    the pole to where both fit best, weighted by their repeat errors and by the spread
    of the pole among people.

    The classical account, 20 to 25 mm of pure hinge first, is not used.
    """
    condyle = condyle_of(landmarks)
    teeth = landmarks["stomion"] - [0.0, TEETH_BEHIND_LIPS_MM, 0.0]
    teeth, menton = teeth * [0, 1, 1], landmarks["menton"] * [0, 1, 1]
    opening = _opening(record, sex_weight or {"female": 0.5, "male": 0.5})
    given = {"mouth_opening_mm", "chin_drop_mm"} & set(record.readings)
    if pure_hinge:
        pole, sd, full = condyle, (0.0, 0.0), _turn(opening[0], teeth - condyle)
        swing = hinge(at_mm=condyle, full_deg=full)
        cautions = ["Taken as a pure hinge at the condyles; a real jaw slides as well."]
    else:
        full, pole, sd, cautions = _fitted(record, condyle, teeth, menton, opening)
        swing = _sliding(condyle, pole, full)
    if not given:
        cautions.append(
            f"Largest mouth opening not read; {opening[0]:.0f} +- {opening[1]:.0f} mm is "
            "usual. Take mouth_opening_mm before the jaw is hung."
        )
    return ChinMotion(
        swing=swing,
        condyle_mm=condyle,
        teeth_mm=teeth,
        menton_mm=menton,
        pole_mm=pole,
        pole_sd_mm=sd,
        opening_mm=float(_travel(swing, teeth, full)),
        chin_drop_mm=float(menton[2] - swing.moved(menton, full)[2]),
        given=frozenset(given),
        cautions=tuple(cautions),
    )


def condyle_of(landmarks: Mapping[str, Floats]) -> Floats:
    """
    Give the centre between the two condyles, shape (3,), in mm.

    An arbitrary point on the tragus line: published checks put it within 5 to 6 mm of
    the true axis in 17 to 98 % of people (review, J. Prosthet. Dent. 1984).
    """
    tragion = (landmarks["tragion_left"] + landmarks["tragion_right"]) / 2
    corner = (landmarks["ectocanthus_left"] + landmarks["ectocanthus_right"]) / 2
    ahead = (corner - tragion) * [0, 1, 1]
    condyle: Floats = tragion + CONDYLE_AHEAD_MM * ahead / np.linalg.norm(ahead)
    return condyle


def usual_pole(landmarks: Mapping[str, Floats]) -> Floats:
    """
    Give the finite pole of the largest opening in the mean of people, (3,), in mm.

    It is that of `chin_motion` for a wearer of whom no chin drop was read.
    """
    pole: Floats = condyle_of(landmarks) + np.array([0.0, *POLE_FROM_CONDYLE_MM])
    return pole


def hinge_turn_deg(*, opening_mm: float, radius_mm: float) -> float:
    """
    Give the turn of a plain hinge that opens its teeth by a straight distance.

    Parameters
    ----------
    opening_mm : float
        Straight distance between the teeth, 0 to twice the radius. [mm]
    radius_mm : float
        From the axis to the teeth, seen from the side. [mm]

    Returns
    -------
    float
        ``2 asin(opening / (2 radius))``. [deg]

    Examples
    --------
    >>> round(hinge_turn_deg(opening_mm=40, radius_mm=86.6025), 3)
    26.705
    """
    if not 0 <= opening_mm <= 2 * radius_mm:
        most = 2 * radius_mm
        msg = range_message("opening_mm", low=0, high=most, unit="mm", got=opening_mm)
        raise MeasureError(msg)
    return float(np.degrees(2 * np.arcsin(opening_mm / (2 * radius_mm))))


def _opening(record: Record, sex_weight: Mapping[str, float]) -> tuple[float, float]:
    """Largest opening and its SD: read, else usual. [mm]."""
    read = record.readings.get("mouth_opening_mm")
    if read is not None:
        error = CATALOGUE["mouth_opening_mm"].repeat_sd / len(read.values_mm) ** 0.5
        return read.mean_mm, error
    women, men = (usual_mm("mouth_opening_mm", sex=sex) for sex in ("female", "male"))
    share = sex_weight.get("male", 0.0)
    mean = (1 - share) * women[0] + share * men[0]
    between = share * (1 - share) * (men[0] - women[0]) ** 2
    return mean, float(np.sqrt((1 - share) * women[1] ** 2 + share * men[1] ** 2 + between))


def _fitted(
    record: Record,
    condyle: Floats,
    teeth: Floats,
    menton: Floats,
    opening: tuple[float, float],
) -> tuple[float, Floats, tuple[float, float], list[str]]:
    """Turn [deg], pole [mm], its SD [mm] and cautions that fit the readings best."""
    mean = condyle + np.array([0.0, *POLE_FROM_CONDYLE_MM])
    full = _turn(opening[0], teeth - mean)
    read = record.readings.get("chin_drop_mm")
    if read is None:
        return full, mean, POLE_SD_MM, []
    drop = read.mean_mm, CATALOGUE["chin_drop_mm"].repeat_sd / len(read.values_mm) ** 0.5

    def misses(unknown: Floats) -> Floats:
        angle, pole = np.radians(unknown[0]), mean[1:] + unknown[1:]
        wide = 2 * np.hypot(*(teeth[1:] - pole)) * np.sin(angle / 2)
        front, up = menton[1:] - pole
        fallen = front * np.sin(angle) + up * (1 - np.cos(angle))
        read_off = [(wide - opening[0]) / opening[1], (fallen - drop[0]) / drop[1]]
        return np.array([*read_off, *(unknown[1:] / POLE_SD_MM)])

    low, high = [1.0, -60.0, -60.0], [MOST_TURN_DEG, 60.0, 60.0]
    found = least_squares(misses, [full, 0.0, 0.0], bounds=(low, high), x_scale=[5, 5, 5])
    slope = np.asarray(found.jac, dtype=float)
    spread = np.sqrt(np.diag(np.linalg.inv(slope.T @ slope)))
    pole = mean + np.array([0.0, *found.x[1:]])
    return (
        float(found.x[0]),
        pole,
        (float(spread[1]), float(spread[2])),
        _doubts(found.fun[:2], drop[0], opening[0]),
    )


def _doubts(misses: Floats, drop_mm: float, opening_mm: float) -> list[str]:
    if np.abs(misses).max() <= _DOUBT_SD:
        return []
    return [
        f"Chin drop {drop_mm:.0f} mm and largest opening {opening_mm:.0f} mm do not go "
        "together in a usual jaw: take both again, the head held still, the drop "
        "straight down under the chin."
    ]


def _turn(opening_mm: float, arm: Floats) -> float:
    """Turn that opens teeth at the end of `arm` so far. [deg]."""
    radius = float(np.hypot(arm[1], arm[2]))
    turn = hinge_turn_deg(opening_mm=min(opening_mm, 2 * radius), radius_mm=radius)
    if turn > MOST_TURN_DEG:
        most = 2 * radius * np.sin(np.radians(MOST_TURN_DEG / 2))
        cure = "Is that along a curve, or lip to lip? Take it straight, teeth to teeth."
        msg = range_message(
            "mouth_opening_mm",
            low=CATALOGUE["mouth_opening_mm"].low,
            high=round(most),
            unit="mm for this jaw",
            got=round(opening_mm, 1),
            cure=cure,
        )
        raise MeasureError(msg)
    return turn


def _sliding(condyle: Floats, pole: Floats, full_deg: float) -> Swing:
    """Turn and slide of the condyle whose finite pole at full opening is `pole`."""
    from_pole = condyle - pole
    slide = hinge(at_mm=np.zeros(3)).rotation(full_deg) @ from_pole - from_pole
    return Swing(
        centre_mm=condyle,
        axis=np.array(RIGHTWARD),
        full_deg=full_deg,
        slide_mm=slide,
        bow_mm=_bow(slide),
    )


def _bow(slide: Floats) -> Floats:
    """Bend of the condyle's path that makes it start at the guidance slope. [mm]."""
    front, up = slide[1:]
    bend = np.clip(GUIDANCE_DEG - np.degrees(np.arctan2(-up, front)), -1e3, MOST_BEND_DEG)
    if front <= 0 or bend < -MOST_BEND_DEG:
        return np.zeros(3)
    steeper = np.array([0.0, up, -front])  # the slide turned a right angle downward
    bow: Floats = steeper * np.tan(np.radians(bend)) / 2
    return bow


def _travel(swing: Swing, point: Floats, turn_deg: ArrayLike) -> Floats:
    moved = (swing.matrix(turn_deg) @ np.append(point, 1.0))[..., :3]
    travel: Floats = np.linalg.norm(moved - point, axis=-1)
    return travel
