"""Closing the jaw: straps against gravity over the travel, and which strap to buy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import linprog

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.jaw_parts import GRAVITY_M_S2, HungJaw, Strap
from fitkit.fit.placement import FloatArray, rotation_matrix

#: Postures in which a jaw has to close by itself: nod of the head, chin down positive.
#: [deg] Ours: standing, looking at one's feet, and looking up at a balcony.
POSTURES: Mapping[str, float] = MappingProxyType(
    {"upright": 0.0, "bowed": 45.0, "looking up": -25.0}
)
#: Closing moment over the moment of gravity and friction that counts as safe. Ours: it
#: covers a strap that loses a quarter of its pull and a jaw a tenth heavier than thought.
SAFE_MARGIN = 1.5
#: Force at the chin that tires a wearer who speaks for long. [N] Ours, for want of a
#: published figure: about half the weight of a head on its chin rest is felt as heavy.
CHIN_FORCE_LIMIT_N = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class StrapTravel:
    """One strap over the jaw's travel."""

    name: str
    #: Length between its knots at each turn, (k,). [mm]
    length_mm: FloatArray
    #: Pull at each turn, never below 0, (k,). [N]
    tension_n: FloatArray
    #: Moment about the hinge, closing positive, (k,). [N mm]
    moment_nmm: FloatArray
    #: Largest stretch over the travel; 0 if always slack. [%]
    strain_percent: float
    #: Turn from which it hangs slack, nan if nowhere. [deg]
    slack_from_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class JawReturn:
    """What closes the jaw, over its travel, in each posture."""

    #: Turn of the jaw from as drawn, (k,). [deg]
    jaw_deg: FloatArray
    straps: tuple[StrapTravel, ...]
    #: Moment of all straps, closing positive, (k,). [N mm]
    strap_nmm: FloatArray
    #: Moment of gravity by posture, opening positive, each (k,). [N mm]
    gravity_nmm: Mapping[str, FloatArray]
    #: What is left to close the jaw by posture, after friction, each (k,). [N mm]
    net_nmm: Mapping[str, FloatArray]
    #: Least of straps over gravity and friction, wherever these open; inf if nowhere.
    margin: float
    #: Posture and turn of that least margin. [deg]
    margin_posture: str
    margin_deg: float
    #: Whether the jaw closes by itself everywhere, in every posture.
    closes: bool
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class StrapChoice:
    """The strap to buy, the same for each of the given anchors."""

    #: Whether there is one.
    possible: bool
    #: Pull of each for each mm beyond its free length; nan if there is none. [N/mm]
    stiffness_n_per_mm: float
    #: Length of each without pull, between knots; nan if there is none. [mm]
    free_mm: float
    #: Largest moment left to close the jaw, over travel and postures. [N mm]
    most_left_nmm: float
    #: Largest stretch over the travel. [%]
    strain_percent: float
    #: How it was chosen, or why there is none.
    words: str


def cord_tension_n(
    *, length_mm: ArrayLike, free_mm: float, stiffness_n_per_mm: float
) -> FloatArray:
    """
    Give the pull of a cord; a slack one never pushes.

    Parameters
    ----------
    length_mm : array-like, shape (...)
        Length between its knots. [mm]
    free_mm : float
        Length without pull. [mm]
    stiffness_n_per_mm : float
        Pull for each mm of stretch. [N/mm]

    Examples
    --------
    >>> cord_tension_n(length_mm=[90, 50], free_mm=60, stiffness_n_per_mm=0.2).tolist()
    [6.0, 0.0]
    """
    stretch = np.maximum(np.asarray(length_mm, dtype=float) - free_mm, 0.0)
    tension: FloatArray = stiffness_n_per_mm * stretch
    return tension


def in_series_n_per_mm(stiffness_n_per_mm: Sequence[float]) -> float:
    """
    Give the stiffness of cords tied end to end, in N/mm.

    Examples
    --------
    >>> in_series_n_per_mm([0.2, 0.2])
    0.1
    """
    return 1.0 / sum(1.0 / each for each in stiffness_n_per_mm)


def gravity_opening_nmm(
    hung: HungJaw, turn_deg: FloatArray, *, nod_deg: float
) -> FloatArray:
    """
    Give the moment of the jaw's weight about its hinge, opening positive, in N mm.

    Parameters
    ----------
    hung : HungJaw
    turn_deg : ndarray, shape (k,)
        Turns of the jaw from as drawn. [deg]
    nod_deg : float
        Nod of the whole head, chin down positive. [deg]
    """
    down = rotation_matrix(nod_deg, 0.0, 0.0).T @ [0.0, 0.0, -1.0]
    weight = hung.mass_g / 1000.0 * GRAVITY_M_S2 * down
    matrices = hung.swing.matrix(turn_deg)
    at = (matrices @ np.append(hung.centre_mm, 1.0))[:, :3]
    arm = at - hung.swing.centre_mm - hung.swing.slid_mm(turn_deg)
    opening: FloatArray = -np.cross(arm, weight) @ hung.swing.axis
    return opening


def close_jaw(
    hung: HungJaw,
    *,
    turn_deg: FloatArray | None = None,
    postures_deg: Mapping[str, float] = POSTURES,
) -> JawReturn:
    """
    Work out whether the straps close the jaw, and with what margin.

    Parameters
    ----------
    hung : HungJaw
        With its straps, its mass and its pivot's friction.
    turn_deg : ndarray, shape (k,), optional
        Turns from as drawn; every degree from stop to stop if not given. [deg]
    postures_deg : mapping of name to float
        Nod of the head in each posture, chin down positive. [deg]

    Raises
    ------
    BriefError
        If no posture is given, or one nods beyond 120 degrees.
    """
    if not postures_deg:
        msg = "postures_deg must name at least one posture, such as {'upright': 0}."
        raise BriefError(msg)
    for name, nod in postures_deg.items():
        in_range(f"posture {name}", nod, low=-120, high=120, unit="deg")
    turns = hung.turns_deg if turn_deg is None else np.asarray(turn_deg, dtype=float)
    straps = tuple(_strap_travel(hung, strap, turns) for strap in hung.fittings.straps)
    pull = np.sum([strap.moment_nmm for strap in straps], axis=0) + np.zeros(len(turns))
    gravity = {
        name: gravity_opening_nmm(hung, turns, nod_deg=nod)
        for name, nod in postures_deg.items()
    }
    friction = hung.fittings.friction_nmm
    net = {name: pull - opening - friction for name, opening in gravity.items()}
    margin, posture, at = _least_margin(pull, gravity, friction, turns)
    return JawReturn(
        jaw_deg=turns,
        straps=straps,
        strap_nmm=pull,
        gravity_nmm=MappingProxyType(gravity),
        net_nmm=MappingProxyType(net),
        margin=margin,
        margin_posture=posture,
        margin_deg=at,
        closes=all(bool(np.all(left > 0)) for left in net.values()),
        cautions=_cautions(straps, hung, margin),
    )


def choose_strap(
    hung: HungJaw,
    *,
    margin: float = SAFE_MARGIN,
    most_strain_percent: float = 100.0,
    postures_deg: Mapping[str, float] = POSTURES,
) -> StrapChoice:
    """
    Choose free length and stiffness for straps at the anchors of the fittings.

    All straps get the same cord. It is never slack within the travel, closes against
    `margin` times gravity and friction in every posture, and of all such cords leaves
    the chin the least to do.

    Parameters
    ----------
    hung : HungJaw
        Whose straps give the anchors; their own cords are not looked at.
    margin : float
        Closing moment over that of gravity and friction, at least; 1 to 5.
    most_strain_percent : float
        Most stretch over the free length. [%]
    postures_deg : mapping of name to float
        Nod of the head in each posture. [deg]

    Raises
    ------
    BriefError
        If a bound is out of range, or the fittings have no strap to take anchors from.

    Notes
    -----
    With pull ``k (L - L0) = k L - c`` everything asked is linear in ``k`` and ``c``, so
    the best cord is a linear program of two unknowns.
    """
    in_range("margin", margin, low=1, high=5, unit="")
    in_range("most_strain_percent", most_strain_percent, low=5, high=900, unit="%")
    if not hung.fittings.straps:
        msg = 'No anchors: the fittings have no "straps". Add one with any stiffness.'
        raise BriefError(msg)
    turns = hung.turns_deg
    travels = [_strap_travel(hung, strap, turns) for strap in hung.fittings.straps]
    length = np.array([travel.length_mm for travel in travels])
    arm = np.array([_closing_arm(hung, strap, turns) for strap in hung.fittings.straps])
    nods = postures_deg.values()
    opening = np.max([gravity_opening_nmm(hung, turns, nod_deg=n) for n in nods], axis=0)
    asked = margin * (np.maximum(opening, 0.0) + hung.fittings.friction_nmm)
    per_k, per_c = (length * arm).sum(axis=0), arm.sum(axis=0)
    stretch = 1 + most_strain_percent / 100
    nought, one = np.zeros(len(turns)), np.ones(len(turns))
    rows = np.vstack(
        [
            np.column_stack([-per_k, per_c, nought]),  # closes with the margin
            np.column_stack([per_k, -per_c, -one]),  # leaves no more than the third
            [[-length.min(), 1.0, 0.0]],  # never slack
            [[length.max(), -stretch, 0.0]],  # never overstretched
        ]
    )
    limit = np.concatenate([-asked, nought, [0.0, 0.0]])
    found = linprog([0, 0, 1], A_ub=rows, b_ub=limit, bounds=[(0, None)] * 3)
    if found.x is None or found.status != 0 or found.x[0] <= 0:
        return _no_strap(per_c, length, stretch)
    stiffness, pretension, left = (float(each) for each in found.x)
    free, count = pretension / stiffness, len(travels)
    strain = 100 * (length.max() / free - 1)
    return StrapChoice(
        possible=True,
        stiffness_n_per_mm=stiffness,
        free_mm=free,
        most_left_nmm=left,
        strain_percent=float(strain),
        words=(
            f"{count} cord{'s' * (count > 1)} of {free:.0f} mm free length "
            f"and {stiffness:.3f} N/mm each: {stiffness * (length.min() - free):.1f} N "
            f"closed, {stiffness * (length.max() - free):.1f} N wide open, stretched by "
            f"up to {strain:.0f} %."
        ),
    )


def _no_strap(arms: FloatArray, length: FloatArray, stretch: float) -> StrapChoice:
    nan = float("nan")
    if arms.min() <= 0:
        words = (
            "From these anchors the pull runs through the hinge, or opens the jaw, "
            "somewhere in the travel: no cord closes it. Tie the shell end higher, or the "
            "jaw end farther from the hinge."
        )
    else:
        words = (
            f"The anchors come {length.max() / length.min():.1f} times as far apart as "
            f"they are at their nearest; no cord stays taut and under {stretch:.1f} times "
            "its free length. Tie it nearer to the hinge, or lead it over a guide."
        )
    return StrapChoice(
        possible=False,
        stiffness_n_per_mm=nan,
        free_mm=nan,
        most_left_nmm=nan,
        strain_percent=nan,
        words=words,
    )


def _ends(hung: HungJaw, strap: Strap, turns: FloatArray) -> tuple[FloatArray, FloatArray]:
    jaw = np.append(hung.to_head(strap.jaw_mm), 1.0)
    moved: FloatArray = (hung.swing.matrix(turns) @ jaw)[:, :3]
    return moved, hung.to_head(strap.shell_mm)


def _closing_arm(hung: HungJaw, strap: Strap, turns: FloatArray) -> FloatArray:
    """Moment of a pull of 1 N about the hinge, closing positive, (k,). [mm]."""
    jaw, shell = _ends(hung, strap, turns)
    way = shell - jaw
    way = way / np.linalg.norm(way, axis=1)[:, None]
    arm = jaw - hung.swing.centre_mm - hung.swing.slid_mm(turns)
    closing: FloatArray = np.cross(arm, way) @ hung.swing.axis
    return closing


def _strap_travel(hung: HungJaw, strap: Strap, turns: FloatArray) -> StrapTravel:
    jaw, shell = _ends(hung, strap, turns)
    length = np.linalg.norm(shell - jaw, axis=1)
    tension = cord_tension_n(
        length_mm=length, free_mm=strap.free_mm, stiffness_n_per_mm=strap.stiffness_n_per_mm
    )
    slack = np.nonzero(tension <= 0)[0]
    return StrapTravel(
        name=strap.name,
        length_mm=length,
        tension_n=tension,
        moment_nmm=tension * _closing_arm(hung, strap, turns),
        strain_percent=float(100 * max(0.0, length.max() / strap.free_mm - 1)),
        slack_from_deg=float(turns[slack[0]]) if len(slack) else float("nan"),
    )


def _least_margin(
    pull: FloatArray, gravity: Mapping[str, FloatArray], friction: float, turns: FloatArray
) -> tuple[float, str, float]:
    best = (float("inf"), next(iter(gravity)), float(turns[0]))
    for name, opening in gravity.items():
        against = opening + friction
        ratio = np.where(against > 0, pull / np.where(against > 0, against, 1.0), np.inf)
        row = int(ratio.argmin())
        if ratio[row] < best[0]:
            best = (float(ratio[row]), name, float(turns[row]))
    return best


def _cautions(
    straps: tuple[StrapTravel, ...], hung: HungJaw, margin: float
) -> tuple[str, ...]:
    said = []
    if not straps:
        said.append("No strap or spring is noted: nothing closes the jaw but the wearer.")
    elif margin < 1:
        said.append(
            f"The jaw does not close by itself: the straps give {margin:.2f} of what "
            "gravity and friction take."
        )
    elif margin < SAFE_MARGIN:
        said.append(
            f"The jaw closes with a margin of only {margin:.2f}; elastic tires, so ask for "
            f"{SAFE_MARGIN:g}."
        )
    for travel, strap in zip(straps, hung.fittings.straps, strict=True):
        if travel.strain_percent > strap.most_strain_percent:
            said.append(
                f"{strap.name} is stretched by {travel.strain_percent:.0f} %, more than "
                f"its {strap.most_strain_percent:.0f} %: it will tear or tire soon."
            )
        if np.isfinite(travel.slack_from_deg):
            said.append(
                f"{strap.name} hangs slack at {travel.slack_from_deg:.0f} deg; a slack "
                "cord does not close and may catch."
            )
    return tuple(said)
