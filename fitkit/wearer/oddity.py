"""Readings that hardly go together, and the one that fits worst with the others."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtr

from fitkit.wearer.survey import SEXES, Population, population, readings_on_scale

if TYPE_CHECKING:
    from fitkit.wearer.record import Reading, Record

FloatArray = NDArray[np.float64]
#: Chance below which a set of readings is called odd.
ODD_P = 0.001


@dataclass(frozen=True, kw_only=True)
class Oddity:
    """Readings that go together as those of hardly anyone, and the oddest of them."""

    #: Mahalanobis distance of the readings from the survey's mean.
    distance: float
    #: Chance of a distance as great among people of the survey.
    p_value: float
    #: The measure that departs most from what the others foretell.
    key: str
    #: SDs by which it departs; positive if it is larger than foretold.
    departure_sd: float
    #: Chance that the greatest of as many departures is as great.
    departure_p: float
    #: What the other readings foretell for it. [mm]
    expected_mm: float
    #: What was read. [mm]
    got_mm: float
    #: The finding in words.
    message: str

    @property
    def chance(self) -> float:
        """The smaller of the two chances, by which readings are called odd."""
        return min(self.p_value, self.departure_p)


def odd_reading(record: Record, *, p_limit: float = ODD_P) -> Oddity | None:
    """
    Find the reading that fits worst with the others, if they hardly go together.

    Parameters
    ----------
    record : Record
        The wearer; only the survey's measures are looked at.
    p_limit : float
        Chance below which readings are called odd.

    Returns
    -------
    Oddity or None
        None if the readings are those of an ordinary person of the survey.

    Notes
    -----
    The squared Mahalanobis distance of the readings, on the working scale and with
    their repeat errors, is compared with chi-square of as many degrees of freedom [1]_.
    The odd one is the reading whose leaving out lessens the distance most; its
    expected value is the conditional mean from the others, and its departure from that
    is judged too, as the greatest of as many normal variates: one slip among many good
    readings hardly moves the distance. With no sex stated, the sex that the readings
    are nearer to is used.

    References
    ----------
    .. [1] P. C. Mahalanobis, "On the generalised distance in statistics", Proc. Natl.
       Inst. Sci. India 2, 49-55 (1936).
    """
    found = [_oddity(people, record.readings) for people in _peoples(record)]
    least = max((o for o in found if o), key=lambda o: o.chance, default=None)
    return least if least is not None and least.chance < p_limit else None


def foretell(
    record: Record, key: str, *, from_keys: Collection[str]
) -> tuple[float, float]:
    """
    Return what some readings foretell for another one, and how far off it is.

    Parameters
    ----------
    record : Record
        Holds all the readings named.
    key : str
        The survey measure to foretell.
    from_keys : collection of str
        The survey measures to foretell it from.

    Returns
    -------
    expected_mm : float
        The conditional mean, from the sex stated or else the one that suits better. [mm]
    departure_sd : float
        By how many SDs the reading is larger than that.
    """
    chosen = {k: r for k, r in record.readings.items() if k == key or k in from_keys}
    found = []
    for people in _peoples(record):
        index, departure, foretold = _leave_one_out(people, chosen)
        i = [people.keys[j] for j in index].index(key)
        found.append((float(foretold[i]), float(departure[i])))
    return min(found, key=lambda pair: abs(pair[1]))


def _peoples(record: Record) -> list[Population]:
    return [population(sex) for sex in ((record.sex,) if record.sex else SEXES)]


def _leave_one_out(
    people: Population, readings: Mapping[str, Reading]
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Return places (g,), departures in SDs (g,) and foretold values (g,) [mm]."""
    mean, cov = people.working
    index, value, variance = readings_on_scale(people, readings)
    precision = np.linalg.inv(cov[np.ix_(index, index)] + np.diag(variance))
    pull = precision @ (value - mean[index])
    own = np.diag(precision)
    foretold = value - pull / own
    origin = people.log_origin_mm[index]
    is_log = np.isfinite(origin)
    shown = np.where(is_log, origin + np.exp(np.where(is_log, foretold, 0.0)), foretold)
    return index, pull / np.sqrt(own), shown


def _distance(people: Population, readings: Mapping[str, Reading]) -> float:
    """Return the Mahalanobis distance of readings from the mean."""
    mean, cov = people.working
    index, value, variance = readings_on_scale(people, readings)
    miss = value - mean[index]
    spread = cov[np.ix_(index, index)] + np.diag(variance)
    return float(np.sqrt(miss @ np.linalg.solve(spread, miss)))


def _oddity(people: Population, readings: Mapping[str, Reading]) -> Oddity | None:
    if not any(key in readings for key in people.keys):
        return None
    index, departure, foretold = _leave_one_out(people, readings)
    worst = int(np.argmax(np.abs(departure)))
    key, count = people.keys[index[worst]], index.size
    got, expected = readings[key].mean_mm, float(foretold[worst])
    distance = _distance(people, readings)
    alone = 2 * ndtr(-abs(departure[worst]))
    return Oddity(
        distance=distance,
        p_value=float(chdtrc(count, distance**2)),
        key=key,
        departure_sd=float(departure[worst]),
        departure_p=float(-np.expm1(count * np.log1p(-alone))),
        expected_mm=expected,
        got_mm=got,
        message=_odd_words(key, got=got, expected=expected, alone=count == 1),
    )


def _odd_words(key: str, *, got: float, expected: float, alone: bool) -> str:
    if alone:
        return (
            f"{key} is {got:g} mm, far from the usual {expected:.0f} mm of the survey. "
            "Take it again; if it stands, this head is outside the survey and the "
            "completed measures are little more than guesses."
        )
    return (
        f"{key} is {got:g} mm, where the other readings make about {expected:.0f} mm "
        "likely. Take it again; if it stands, look at the others."
    )
