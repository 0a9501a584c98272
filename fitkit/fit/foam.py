"""Foams: how hard a sheet pushes back, how much of it stays flat, how it grips."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator
from scipy.optimize import nnls

from fitkit.errors import BriefError, range_message
from fitkit.fit._checks import in_range
from fitkit.fit.placement import FloatArray

#: Air at sea level. [kPa]
AIR_KPA = 101.325
#: Standard gravity. [m/s²]
GRAVITY = 9.80665
#: Densities of sheet foam that are believed. [kg/m³]
LEAST_DENSITY, MOST_DENSITY = 10.0, 500.0
#: Set grows as this power of time, the decade-wise creep of foams; ours, from memory.
SET_POWER = 0.25
#: Knots of a curve that is worked out rather than read.
KNOTS = 33
#: Set where nothing is known: of 20 % compression 7 % stays after two days, as of
#: polyethylene.
SET_UNKNOWN = ((0.2, 0.5), (7.0, 27.0), (48.0, 72.0))


@dataclass(frozen=True, kw_only=True)
class Friction:
    """Friction of a pad on hair or skin."""

    mean: float
    low: float
    high: float
    source: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Foam:
    """
    One sheet foam, as its maker or a kitchen scale describes it.

    Raises
    ------
    BriefError
        If the density is not that of a sheet foam, the curve falls, or the strain that
        the curve is extended to has no meaning.
    """

    name: str
    material: str
    #: Of the sheet. [kg/m³]
    density_kg_m3: float
    #: Of the polymer it is blown from. [kg/m³]
    solid_kg_m3: float
    cells: Literal["closed", "open"]
    #: Compressions read, rising, as shares of the thickness, shape (k,).
    strain: tuple[float, ...]
    #: Stress at each, never falling, shape (k,). [kPa]
    stress_kpa: tuple[float, ...]
    #: The curve is extended by a fitted law to here and means nothing beyond.
    most_strain: float
    #: How far batches differ, either way. [percent]
    spread_percent: float
    #: Where the numbers come from.
    source: str
    #: Compression set: held at these shares ...
    set_strain: tuple[float, ...] = SET_UNKNOWN[0]
    #: ... this much of the original thickness stays lost ... [percent]
    set_percent: tuple[float, ...] = SET_UNKNOWN[1]
    #: ... after so many hours. [h]
    set_hours: tuple[float, ...] = SET_UNKNOWN[2]
    #: On hair or skin; the library's for all foams unless given.
    friction: Friction = field(default_factory=lambda: head_friction())

    def __post_init__(self) -> None:
        _check_density(self.name, self.density_kg_m3)
        _check_curve(self.name, self.strain, self.stress_kpa)
        low = self.strain[-1]
        in_range(f"{self.name}: most_strain", self.most_strain, low=low, high=0.95, unit="")

    @property
    def read_strain(self) -> float:
        """Largest compression that was read; beyond it a fitted law holds."""
        return self.strain[-1]

    @cached_property
    def _curve(self) -> PchipInterpolator:
        strain, stress = _extended(self)
        return PchipInterpolator(strain, stress)

    @cached_property
    def _slope(self) -> Any:
        return self._curve.derivative()

    @cached_property
    def _area(self) -> Any:
        return self._curve.antiderivative()

    @cached_property
    def _end(self) -> tuple[float, float, float]:
        """Stress, stiffness and energy at `most_strain`."""
        at = self.most_strain
        slopes = np.diff(self._curve(at - np.array([0.02, 0.0]))) / 0.02
        stiff = max(float(self._slope(at)), float(slopes[0]))
        return float(self._curve(at)), stiff, float(self._area(at))

    def stress(self, strain: ArrayLike) -> FloatArray:
        """
        Give the stress at a compression, shape (...), in kPa; none where it is negative.

        Beyond `most_strain` it goes on straight, so that a solver meets no cliff.
        """
        squeezed = np.maximum(np.asarray(strain, dtype=float), 0.0)
        inside = np.minimum(squeezed, self.most_strain)
        end, stiff, _ = self._end
        past = squeezed - inside
        stress: FloatArray = np.where(past > 0, end + stiff * past, self._curve(inside))
        return stress

    def stiffness(self, strain: ArrayLike) -> FloatArray:
        """Give the slope of `stress`, shape (...), in kPa per unit of strain."""
        squeezed = np.asarray(strain, dtype=float)
        slope = self._slope(np.clip(squeezed, 0.0, self.most_strain))
        slope = np.where(squeezed > self.most_strain, self._end[1], slope)
        stiffness: FloatArray = np.where(squeezed > 0, slope, 0.0)
        return stiffness

    def energy(self, strain: ArrayLike) -> FloatArray:
        """Give the work done per volume up to a compression, shape (...), in kPa."""
        squeezed = np.maximum(np.asarray(strain, dtype=float), 0.0)
        inside = np.minimum(squeezed, self.most_strain)
        end, stiff, area = self._end
        past = squeezed - inside
        beyond = area + end * past + stiff / 2 * past**2
        energy: FloatArray = np.where(past > 0, beyond, self._area(inside))
        return energy

    def strain_at(self, stress_kpa: ArrayLike) -> FloatArray:
        """Give the compression at which a stress is reached, shape (...)."""
        knots = np.linspace(0, self.most_strain, 400)
        asked = np.asarray(stress_kpa, dtype=float)
        found: FloatArray = np.interp(asked, self.stress(knots), knots)
        return found

    def lasting_set(self, strain: ArrayLike, *, hours: float) -> FloatArray:
        """
        Give the share of the thickness that stays lost after being held compressed.

        Parameters
        ----------
        strain : array-like, shape (...)
            Compression that it is held at.
        hours : float
            How long. [h]

        Returns
        -------
        ndarray, shape (...)
            Never more than the compression itself.

        Notes
        -----
        The readings, brought to `hours` by the power ``SET_POWER`` of time, are joined
        by straight lines from none at no compression. An order of magnitude.
        """
        in_range("hours", hours, low=0, high=10_000, unit="h")
        scale = (hours / np.asarray(self.set_hours)) ** SET_POWER
        lost = np.asarray(self.set_percent) / 100.0 * scale
        held = np.maximum(np.asarray(strain, dtype=float), 0.0)
        knots = [0.0, *self.set_strain, 1.0]
        slope = lost[-1] / self.set_strain[-1]
        found = np.interp(held, knots, [0.0, *lost, slope])
        kept: FloatArray = np.minimum(found, held)
        return kept

    def scaled(self, factor: float) -> Foam:
        """Give a batch that pushes `factor` times as hard."""
        return replace(self, stress_kpa=tuple(factor * s for s in self.stress_kpa))


def library() -> Mapping[str, Foam]:
    """Give the foams that come with fitkit, by name; each says where it is from."""
    return _library()


def foam(name: str) -> Foam:
    """
    Give a foam of the library by name.

    Raises
    ------
    BriefError
        If there is none of that name.
    """
    known = library()
    if name not in known:
        msg = f"There is no foam '{name}'. There are: {', '.join(known)}."
        raise BriefError(msg)
    return known[name]


def head_friction() -> Friction:
    """Give the friction of foam on a head."""
    raw = _table()["friction_on_head"]
    return Friction(
        mean=raw["mean"], low=raw["low"], high=raw["high"], source=raw["source"]
    )


def foam_from_readings(
    *,
    name: str,
    density_kg_m3: float,
    area_mm2: float,
    thickness_mm: float,
    load_g: Sequence[float],
    pressed_mm: Sequence[float],
    cells: Literal["closed", "open"] = "closed",
    spread_percent: float = 20.0,
) -> Foam:
    """
    Turn weights on an offcut, and its thicknesses under them, into a foam.

    Parameters
    ----------
    name : str
    density_kg_m3 : float
        Weight of the sheet over its volume. [kg/m³]
    area_mm2 : float
        Of the offcut under the board. [mm²]
    thickness_mm : float
        Without any weight. [mm]
    load_g : sequence of float, length k
        Weights put on, with the board, lightest first; three are enough. [g]
    pressed_mm : sequence of float, length k
        Thickness under each, read after a minute. [mm]
    cells : {"closed", "open"}
    spread_percent : float
        How far the next sheet may differ. [percent]

    Raises
    ------
    BriefError
        If there are fewer than three, or a heavier weight does not press it thinner.

    Examples
    --------
    >>> mine = foam_from_readings(name="mine", density_kg_m3=45, area_mm2=2500,
    ...     thickness_mm=20, load_g=(2500, 6000, 12000), pressed_mm=(18, 15, 11))
    >>> [round(s, 1) for s in mine.stress_kpa]
    [9.8, 23.5, 47.1]
    """
    in_range("area_mm2", area_mm2, low=100, high=1e6, unit="mm²")
    in_range("thickness_mm", thickness_mm, low=2, high=200, unit="mm")
    if len(load_g) != len(pressed_mm) or len(load_g) < 3:
        msg = (
            f"{name}: give at least three weights and as many thicknesses; got "
            f"{len(load_g)} and {len(pressed_mm)}."
        )
        raise BriefError(msg)
    strain = tuple(1.0 - pressed / thickness_mm for pressed in pressed_mm)
    stress = tuple(load * GRAVITY / area_mm2 for load in load_g)  # mN/mm² = kPa
    return Foam(
        name=name,
        material="measured by its maker",
        density_kg_m3=density_kg_m3,
        solid_kg_m3=930.0 if cells == "closed" else 1200.0,
        cells=cells,
        strain=strain,
        stress_kpa=stress,
        most_strain=min(max(strain) + 0.15, 0.85),
        spread_percent=spread_percent,
        source="weights and thicknesses read by its maker",
    )


def linear_foam(
    *, name: str, modulus_kpa: float, poisson_ratio: float = 0.0, density_kg_m3: float = 50
) -> Foam:
    """Give a material whose stress grows in proportion, bonded on both faces."""
    stiff = modulus_kpa * bonded_factor(poisson_ratio)
    return Foam(
        name=name,
        material="linear",
        density_kg_m3=density_kg_m3,
        solid_kg_m3=1000.0,
        cells="closed",
        strain=(0.3, 0.6, 0.9),
        stress_kpa=(0.3 * stiff, 0.6 * stiff, 0.9 * stiff),
        most_strain=0.9,
        spread_percent=0.0,
        source="given",
    )


def bonded_factor(poisson_ratio: float) -> float:
    """
    Say how much stiffer a thin bonded layer is than its modulus: it cannot spread.

    Examples
    --------
    >>> round(bonded_factor(0.3), 5)
    1.34615
    """
    in_range("poisson_ratio", poisson_ratio, low=0, high=0.49, unit="")
    nu = poisson_ratio
    return (1 - nu) / ((1 + nu) * (1 - 2 * nu))


def air_stress_kpa(strain: ArrayLike, *, relative_density: float) -> FloatArray:
    """
    Give the share of the air in closed cells in the stress, slowly compressed, in kPa.

    L. J. Gibson and M. F. Ashby, *Cellular Solids*: p0 e / (1 - e - R).
    """
    squeezed = np.asarray(strain, dtype=float)
    stress: FloatArray = AIR_KPA * squeezed / (1 - squeezed - relative_density)
    return stress


def stacked(layers: Sequence[tuple[Foam, float]]) -> tuple[Foam, float]:
    """
    Combine sheets glued on one another: same stress, compressions add up.

    Parameters
    ----------
    layers : sequence of (Foam, thickness in mm)
        At least one, from the wall to the head; the last one's friction counts.

    Returns
    -------
    tuple of Foam and float
        One foam that behaves like the stack, and the thickness of the stack. [mm]
    """
    thick = np.array([thickness for _, thickness in layers])
    total = float(thick.sum())
    if len(layers) == 1:
        return layers[0][0], total
    highest = min(float(one.stress(one.most_strain)) for one, _ in layers)
    stress = highest * np.linspace(0, 1, KNOTS)[1:] ** 2
    shares = np.array([one.strain_at(stress) for one, _ in layers])
    strain = thick @ shares / total
    mean = {
        key: float(thick @ [getattr(one, key) for one, _ in layers]) / total
        for key in ("density_kg_m3", "solid_kg_m3")
    }
    weakest = max((one for one, _ in layers), key=lambda one: one.set_percent[0])
    return Foam(
        name=" on ".join(f"{one.name} {t:g} mm" for one, t in reversed(layers)),
        material="stack",
        density_kg_m3=mean["density_kg_m3"],
        solid_kg_m3=mean["solid_kg_m3"],
        cells=layers[-1][0].cells,
        strain=tuple(strain.tolist()),
        stress_kpa=tuple(stress.tolist()),
        most_strain=float(strain[-1]),
        spread_percent=max(one.spread_percent for one, _ in layers),
        source="stack of " + "; ".join(one.source for one, _ in layers),
        set_strain=weakest.set_strain,
        set_percent=weakest.set_percent,
        set_hours=weakest.set_hours,
        friction=layers[-1][0].friction,
    ), total


# -- curves -----------------------------------------------------------------------------


def _extended(foam: Foam) -> tuple[FloatArray, FloatArray]:
    """Knots of the curve: none, the readings, and a fitted law from the last of them."""
    strain = np.array([0.0, *foam.strain])
    stress = np.array([0.0, *foam.stress_kpa])
    last, end = strain[-1], foam.most_strain
    if end - last < 1e-9:
        return strain, stress
    solid = foam.density_kg_m3 / foam.solid_kg_m3
    terms = _terms(strain[1:], solid)
    weights, _ = nnls(terms / stress[1:, None], np.ones(len(terms)))
    more = np.linspace(last, end, 9)[1:]
    law = _terms(more, solid) @ weights - _terms(np.array([last]), solid) @ weights
    before = (stress[-1] - stress[-2]) / (strain[-1] - strain[-2])
    steeper = max(1.0, before * (more[0] - last) / float(law[0]))  # foam never softens
    return np.append(strain, more), np.append(stress, stress[-1] + steeper * law)


def _terms(strain: FloatArray, solid: float) -> FloatArray:
    """Columns of the law: a spring, and air or walls that run out of room."""
    room = np.maximum(1.0 - strain - solid, 0.02)
    return np.column_stack([strain, strain / room])


def _check_curve(name: str, strain: Sequence[float], stress: Sequence[float]) -> None:
    if len(strain) != len(stress) or len(strain) == 0:
        msg = f"{name}: give one stress for each strain; got {len(stress)}, {len(strain)}."
        raise BriefError(msg)
    for value in strain:
        cure = f"Did you mean {value / 100:g}?" if 1 < value < 95 else ""
        in_range(f"{name}: strain", value, low=1e-4, high=0.95, unit="", cure=cure)
    if np.any(np.diff(strain) <= 0):
        msg = (
            f"{name}: each weight must press it thinner than the one before; strains are "
            f"{', '.join(f'{s:.3f}' for s in strain)}. Are two readings swapped?"
        )
        raise BriefError(msg)
    full = np.array([0.0, *stress])
    falls = np.nonzero(np.diff(full) <= 0)[0]
    if len(falls):
        at = int(falls[0])
        msg = (
            f"{name}: stress must rise with strain, but falls from {full[at]:g} to "
            f"{full[at + 1]:g} kPa at strain {strain[at]:g}. A foam that gives way has "
            "torn or slipped: read it again, or swap the two readings."
        )
        raise BriefError(msg)


def _check_density(name: str, value: float) -> None:
    if LEAST_DENSITY <= value <= MOST_DENSITY:
        return
    slip = LEAST_DENSITY <= 1000 * value <= MOST_DENSITY
    cure = f"That reads like g/cm³: did you mean {1000 * value:g} kg/m³?" if slip else ""
    msg = range_message(
        f"{name}: density_kg_m3", low=LEAST_DENSITY, high=MOST_DENSITY, unit="kg/m³",
        got=f"{value:g}", cure=cure,
    )  # fmt: skip
    raise BriefError(msg)


@cache
def _table() -> dict[str, Any]:
    text = files("fitkit.data").joinpath("foams.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table


@cache
def _library() -> Mapping[str, Foam]:
    made: dict[str, Foam] = {}
    for raw in _table()["foams"]:
        fields: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in raw.items()
        }
        made[raw["name"]] = Foam(**fields)
    return MappingProxyType(made)
