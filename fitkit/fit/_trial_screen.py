"""Readings that cannot be what they say: of another unit, or borne out by no other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from fitkit.errors import MeasureError
from fitkit.fit.placement import FloatArray

#: A reading this many standard deviations from what all others foretell is left out.
OUT_SD = 4.0
#: A mended reading must lie this near to what all others foretell.
MENDED_SD = 3.0
#: A whole sheet is taken for one of another unit where that is likelier by this factor's
#: natural logarithm.
SURELY = 10.0
#: Most readings, as a share of all, that may be left out.
MOST_OUT = 0.34
#: Slips of one reading: what it was typed in, and mm in one of it.
SLIPS: Mapping[str, float] = MappingProxyType(
    {"centimetres": 10.0, "inches": 25.4, "tenths of a millimetre": 0.1}
)


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """One reading that is not learnt from."""

    #: Its row.
    row: int
    #: Unit that it reads like; empty if none.
    slip: str
    #: The mended reading; None if none is likely. [mm]
    mended_mm: float | None


def screen(
    names: Sequence[str], off_mm: FloatArray, foretold_mm: FloatArray, gram: FloatArray
) -> tuple[LeftOut, ...]:
    """
    Find readings that do not go with all the others.

    Parameters
    ----------
    names : sequence of str
        Keys of the m places.
    off_mm : ndarray, shape (m,)
        Readings less what was foretold. [mm]
    foretold_mm : ndarray, shape (m,)
        [mm]
    gram : ndarray, shape (m, m)
        Covariance of `off_mm`, all causes together. [mm2]

    Returns
    -------
    tuple of LeftOut
        The farthest first.

    Raises
    ------
    MeasureError
        If the whole sheet reads like another unit, if none is left, or if more than a
        third would be left out: then it is not this piece, this placement or this wearer.

    Notes
    -----
    What all others foretell of a reading comes from the inverse Q of the covariance:
    off by (Q r)_i / Q_ii with standard deviation 1 / sqrt(Q_ii). The farthest beyond
    `OUT_SD` is taken out, and the rest looked at anew.
    """
    _refuse_other_unit(off_mm + foretold_mm, foretold_mm, gram)
    kept = np.arange(len(names))
    found: list[LeftOut] = []
    while len(kept):
        inverse = np.linalg.inv(gram[np.ix_(kept, kept)])
        sd = 1.0 / np.sqrt(np.diag(inverse))
        off = (inverse @ off_mm[kept]) * sd**2
        worst = int(np.abs(off / sd).argmax())
        if abs(off[worst]) <= OUT_SD * sd[worst]:
            break
        row = int(kept[worst])
        reading = float(off_mm[row] + foretold_mm[row])
        expected = reading - float(off[worst])
        found.append(_left_out(row, reading, expected, float(sd[worst])))
        kept = np.delete(kept, worst)
    if len(found) == len(names):
        one = found[0]
        mended = f"; did you mean {one.mended_mm:g} mm?" if one.slip else "."
        msg = f"{names[one.row]} is far from what this piece and wearer foretell{mended}"
        raise MeasureError(f"{msg} Read it again, and a few others with it.")
    if len(found) > max(1, int(MOST_OUT * len(names))):
        listed = ", ".join(names[one.row] for one in found[:4])
        msg = (
            f"{len(found)} of {len(names)} readings do not go with the others ({listed}, "
            "...). Check that the piece, its size and placement, and the wearer are those "
            "of this fitting, and that every gap was taken to the finished inner wall."
        )
        raise MeasureError(msg)
    return tuple(found)


def _left_out(row: int, reading: float, expected: float, sd: float) -> LeftOut:
    mended = {
        unit: reading * mm
        for unit, mm in SLIPS.items()
        if abs(reading * mm - expected) < MENDED_SD * sd
    }
    if not mended:
        return LeftOut(row=row, slip="", mended_mm=None)
    unit = min(mended, key=lambda one: abs(mended[one] - expected))
    return LeftOut(row=row, slip=unit, mended_mm=round(mended[unit], 1))


def _refuse_other_unit(
    readings: FloatArray, foretold: FloatArray, gram: FloatArray
) -> None:
    """Refuse a sheet all of whose readings are likelier in another unit."""

    def misfit(mm: float) -> float:
        off = mm * readings - foretold
        return float(off @ np.linalg.solve(gram, off)) / 2

    if len(readings) < 3:
        return
    unit = min(SLIPS, key=lambda one: misfit(SLIPS[one]))
    if misfit(SLIPS[unit]) + SURELY < misfit(1.0) and misfit(SLIPS[unit]) < 2 * len(
        readings
    ):
        first = float(readings[0])
        msg = (
            f"gaps_mm must be in mm; all {len(readings)} read like {unit}: did you mean "
            f"{first * SLIPS[unit]:.1f} mm for {first:g}, and so on?"
        )
        raise MeasureError(msg)
