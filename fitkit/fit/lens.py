"""What fills an opening: tinted lenses and perforated sheet, and how dark they are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType
from typing import Protocol

import numpy as np

from fitkit.errors import BriefError, range_message
from fitkit.fit._checks import in_range
from fitkit.geometry.mesh import FloatArray

#: Luminous transmittance above which a category of sunglass filter begins, and what it
#: is called: BS EN ISO 12312-1:2013 as quoted by the College of Optometrists (read
#: there, not in the standard). [%]
CATEGORIES: tuple[tuple[float, int, str], ...] = (
    (80.0, 0, "clear or very light tint"),
    (43.0, 1, "light tint"),
    (18.0, 2, "medium tint"),
    (8.0, 3, "dark tint"),
    (3.0, 4, "very dark tint"),
)
#: Below this a tint is not suitable for road use in twilight or at night; same source.
#: [%]
DUSK_PERCENT = 75.0


class Filter(Protocol):
    """Anything that lets part of the light through, less of it when seen aslant."""

    def passes(self, cosine: FloatArray) -> FloatArray:
        """Share of light let through at angles to the normal of these cosines."""


@dataclass(frozen=True, kw_only=True)
class Lens:
    """
    A clear or tinted sheet.

    Raises
    ------
    BriefError
        If the transmittance is not above 0 and at most 1, or is more than its own two
        surfaces let through.

    Notes
    -----
    Aslant, the way through the tint is longer and the two surfaces reflect more
    (Fresnel's equations, unpolarised light, with all reflections between the surfaces).

    Examples
    --------
    >>> lens = Lens(transmittance=0.43)
    >>> lens.passes(np.cos(np.radians([0, 60]))).round(3).tolist()
    [0.43, 0.325]
    """

    #: Luminous transmittance straight through, reflections included, 0 to 1.
    transmittance: float
    #: Refractive index: 1.49 acrylic, 1.58 polycarbonate.
    index: float = 1.49

    def __post_init__(self) -> None:
        _check_share("transmittance", self.transmittance)
        in_range("index", self.index, low=1.0, high=2.0, unit="")
        if self._clear < 0 or self._clear > 1 + 1e-9:
            clear = _through(np.ones(1), self.index, 1.0)[0]
            msg = (
                f"transmittance must be at most {clear:.3f} for a sheet of index "
                f"{self.index:g}, whose two surfaces reflect the rest; got "
                f"{self.transmittance:g}. For a coated or missing sheet give index=1."
            )
            raise BriefError(msg)

    @property
    def _clear(self) -> float:
        """What the tint alone lets through on the straight way, reflections left out."""
        reflected = float(_reflected(np.ones(1), self.index)[0])
        rate = self.transmittance * reflected**2
        if rate == 0:
            return self.transmittance
        loss = (1 - reflected) ** 2
        return float((np.sqrt(loss**2 + 4 * rate * self.transmittance) - loss) / (2 * rate))

    def passes(self, cosine: FloatArray) -> FloatArray:
        """Share of light let through at angles to the normal of these cosines."""
        return _through(np.abs(cosine), self.index, self._clear)


@dataclass(frozen=True, kw_only=True)
class Perforated:
    """
    A sheet with round holes: it dims, and narrows the view with its thickness.

    Raises
    ------
    BriefError
        If a number is out of range, or the holes would have to overlap.

    Notes
    -----
    Seen at an angle, the far end of each hole is shifted against the near end by
    thickness times the tangent; light passes where the two circles overlap. Too fine
    for the eye to see it, the sheet acts as an even grey.

    Examples
    --------
    >>> sheet = Perforated(open_fraction=0.4, hole_mm=1.0, thickness_mm=0.5)
    >>> sheet.passes(np.cos(np.radians([0, 45, 63.5]))).round(3).tolist()
    [0.4, 0.156, 0.0]
    """

    #: Share of the sheet's area that is holes, 0 to 1.
    open_fraction: float
    #: Diameter of a hole. [mm]
    hole_mm: float
    #: Thickness of the sheet; 0 for a fine net. [mm]
    thickness_mm: float

    def __post_init__(self) -> None:
        _check_share("open_fraction", self.open_fraction)
        in_range("hole_mm", self.hole_mm, low=0.05, high=30, unit="mm")
        in_range("thickness_mm", self.thickness_mm, low=0, high=20, unit="mm")
        if self.open_fraction > 0.9069:
            msg = (
                f"open_fraction of round holes is at most 0.907 (holes that touch, in "
                f"staggered rows); got {self.open_fraction:g}."
            )
            raise BriefError(msg)

    @property
    def blind_beyond_deg(self) -> float:
        """Angle to the normal from which nothing passes; 90 for a thin net, in degrees."""
        return float(np.degrees(np.arctan2(self.hole_mm, self.thickness_mm)))

    def passes(self, cosine: FloatArray) -> FloatArray:
        """Share of light let through at angles to the normal of these cosines."""
        level = np.clip(np.abs(cosine), 1e-9, 1)
        shift = self.thickness_mm * np.sqrt(1 - level**2) / level / self.hole_mm
        shift = np.minimum(shift, 1)
        overlap = np.arccos(shift) - shift * np.sqrt(1 - shift**2)
        shared: FloatArray = self.open_fraction * 2 / np.pi * overlap
        return shared


def stack_passes(filters: Sequence[Filter], cosine: FloatArray) -> FloatArray:
    """
    Share of light that a stack lets through: the product of its members'.

    Examples
    --------
    >>> net = Perforated(open_fraction=0.60, hole_mm=1, thickness_mm=0)
    >>> stack_passes([net, Lens(transmittance=0.43)], np.ones(1)).round(3).tolist()
    [0.258]
    """
    shares = np.ones(np.shape(cosine))
    for each in filters:
        shares = shares * each.passes(cosine)
    return shares


@dataclass(frozen=True, kw_only=True)
class Darkness:
    """How dark one opening is, in the words of sunglass categories."""

    #: Name of the opening.
    opening: str
    #: Luminous transmittance straight through. [%]
    transmittance_percent: float
    #: Category of sunglass filter, 0 to 4; None if it is darker than any.
    category: int | None
    #: What that means, at dusk too.
    words: str


def darkness(opening: str, filters: Sequence[Filter]) -> Darkness:
    """Name the category of what fills an opening, and what it means at dusk."""
    percent = 100 * float(stack_passes(filters, np.ones(1))[0])
    category = luminous_category(transmittance_percent=percent)
    return Darkness(
        opening=opening,
        transmittance_percent=percent,
        category=category,
        words=_darkness_words(percent, category),
    )


def luminous_category(*, transmittance_percent: float) -> int | None:
    """
    Category of a sunglass filter; None if it is darker than any category.

    Examples
    --------
    >>> luminous_category(transmittance_percent=25.8)
    2
    """
    in_range("transmittance_percent", transmittance_percent, low=0, high=100, unit="%")
    for above, category, _ in CATEGORIES:
        if transmittance_percent > above + 1e-9:
            return category
    return None


def checked_filters(
    filters: Mapping[str, Filter | Sequence[Filter]] | None, *, openings: Sequence[str]
) -> Mapping[str, tuple[Filter, ...]]:
    """
    Check what fills which opening; a single filter becomes a stack of one.

    Raises
    ------
    BriefError
        If there is no opening of that name.
    """
    found: dict[str, tuple[Filter, ...]] = {}
    for name, given in (filters or {}).items():
        if name not in openings:
            near = get_close_matches(name, openings, n=1, cutoff=0.0)
            cure = f" Did you mean {near[0]!r}?" if near else " The piece has no openings."
            msg = f"There is no opening {name!r} to put a lens in.{cure}"
            raise BriefError(msg)
        found[name] = tuple(given) if isinstance(given, Sequence) else (given,)
    return MappingProxyType(found)


def _darkness_words(percent: float, category: int | None) -> str:
    if category is None:
        said = "darker than any category of sunglass filter"
    else:
        said = f"category {category}, {CATEGORIES[category][2]}"
    text = f"{percent:.0f} % of light passes straight through: {said}"
    if percent < DUSK_PERCENT:
        text += (
            f"; tints under {DUSK_PERCENT:.0f} % are called unsuitable for the road in "
            "twilight or at night, so at dusk expect to see kerbs and faces late or not "
            "at all"
        )
    return text + "."


def _check_share(name: str, value: float) -> None:
    if not 0 < value <= 1:
        percent = 1 < value <= 100
        cure = f"That reads like percent: did you mean {value / 100:g}?" if percent else ""
        msg = range_message(
            f"{name} (above 0)", low=0, high=1, unit="", got=value, cure=cure
        )
        raise BriefError(msg)


def _reflected(cosine: FloatArray, index: float) -> FloatArray:
    """Share of unpolarised light that one surface reflects: Fresnel's equations."""
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    across = (cosine - index * inside) / np.maximum(cosine + index * inside, 1e-12)
    along = (index * cosine - inside) / np.maximum(index * cosine + inside, 1e-12)
    shared: FloatArray = (across**2 + along**2) / 2
    return shared


def _through(cosine: FloatArray, index: float, clear: float) -> FloatArray:
    """Share that passes both surfaces and the tint, reflections between them included."""
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    tint = np.maximum(clear, 0.0) ** (1 / np.maximum(inside, 1e-12))
    back = _reflected(cosine, index)
    shared: FloatArray = (1 - back) ** 2 * tint / (1 - (back * tint) ** 2)
    return shared
