"""What the maker asks of a fit: ease by zone, sight, hinge, size, and free moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.wearer.record import Record

#: Names of the moves that a brief may leave free.
MOVES: tuple[str, ...] = ("right", "front", "up", "pitch", "yaw", "roll")
#: Least and most ease that may be asked for; a negative one presses foam or hair. [mm]
EASE_RANGE_MM = (-20.0, 80.0)
#: Least and most factor of size that a brief may allow.
SIZE_RANGE = (0.5, 2.0)
#: Air kept in front of the lenses of glasses, so that they do not knock or fog. [mm]
GLASSES_AIR_MM = 2.0
#: Zones that come in pairs: the name without a side stands for both.
PAIRS = ("temple", "cheek", "ear", "eye")


@dataclass(frozen=True, kw_only=True)
class Ease:
    """
    Ease asked of one zone.

    Examples
    --------
    >>> Ease(least_mm=6, most_mm=25)
    Ease(least_mm=6, most_mm=25)
    """

    #: Gap that every point of the zone must keep; negative lets it press in. [mm]
    least_mm: float
    #: Gap that the zone's median may not exceed, so that pads still reach; None = any. [mm]
    most_mm: float | None = None

    def __post_init__(self) -> None:
        low, high = EASE_RANGE_MM
        in_range("least_mm", self.least_mm, low=low, high=high, unit="mm")
        if self.most_mm is None:
            return
        in_range("most_mm", self.most_mm, low=low, high=high, unit="mm")
        if self.most_mm < self.least_mm:
            msg = (
                f"most_mm must be at least least_mm ({self.least_mm:g} mm); got "
                f"{self.most_mm:g} mm. Were the two swapped? Try least_mm="
                f"{self.most_mm:g}, most_mm={self.least_mm:g}."
            )
            raise BriefError(msg)


#: Ease of a padded mask, in mm, used for zones that a brief does not name. Common
#: practice in mask making, not a standard: 5 to 8 mm takes a firm pad of foam where the
#: piece is carried (brow, crown, back, nape), 30 mm is about the most that a stack of
#: foam bridges without wobble, soft parts of the face need room to move and to breathe,
#: and a wall nearer than about 12 mm to the eye brushes the lashes.
PADDED_MASK: Mapping[str, Ease] = MappingProxyType(
    {
        "brow": Ease(least_mm=6, most_mm=30),
        "crown": Ease(least_mm=8, most_mm=35),
        "temple_left": Ease(least_mm=5),
        "temple_right": Ease(least_mm=5),
        "back": Ease(least_mm=8, most_mm=35),
        "nape": Ease(least_mm=5),
        "cheek_left": Ease(least_mm=4),
        "cheek_right": Ease(least_mm=4),
        "nose": Ease(least_mm=6),
        "mouth": Ease(least_mm=6),
        "chin": Ease(least_mm=5),
        "ear_left": Ease(least_mm=3),
        "ear_right": Ease(least_mm=3),
        "eye_left": Ease(least_mm=12),
        "eye_right": Ease(least_mm=12),
    }
)


@dataclass(frozen=True, kw_only=True)
class Weights:
    """
    How far each wish may be off before it counts as much as any other, aim "drawn".

    The solver minimises the sum over all wishes of ``(off / allowance) ** 2``. The
    values are ours: they keep a piece within a few percent of its drawn size unless
    the eye line or the hinge would be off by more than about a centimetre.
    """

    #: Geometric mean size away from the drawn size. [%]
    size_percent: float = 2.0
    #: Each axis away from that mean size. [%]
    distortion_percent: float = 1.0
    #: Each eye's straight-ahead line from the centre of its opening, up and across. [mm]
    eye_line_mm: float = 3.0
    #: Hinge axis from the chin pole, front and up. [mm]
    hinge_mm: float = 6.0
    #: Median ease of one side or end more than that of the other, beyond what was asked
    #: (temples, cheeks, ears; brow against back). [mm]
    balance_mm: float = 8.0
    #: Pitch, yaw or roll away from as drawn. [deg]
    turn_deg: float = 3.0
    #: Piece off the head's midplane. [mm]
    midplane_mm: float = 3.0
    #: Piece moved front or up from where it was drawn: only to settle what nothing
    #: else settles. [mm]
    shift_mm: float = 20.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            unit = name.rsplit("_", 1)[1].replace("percent", "%")
            in_range(name, getattr(self, name), low=0.01, high=1e6, unit=unit)


@dataclass(frozen=True, kw_only=True)
class Brief:
    """
    What is asked of one fit.

    Parameters
    ----------
    ease : mapping of zone to Ease
        Zones left out keep their value in `PADDED_MASK`. "temple", "cheek", "ear" and
        "eye" stand for both sides.

    Raises
    ------
    BriefError
        If a name is unknown, a number is out of range, or two bounds are reversed.

    Examples
    --------
    >>> Brief(ease={"ear": Ease(least_mm=0)}).ease["ear_left"].least_mm
    0
    """

    #: Ease asked of every zone of the head; complete once made.
    ease: Mapping[str, Ease] = field(default_factory=dict)
    #: Smallest factor of size allowed, on any axis.
    size_least: float = 0.85
    #: Largest factor of size allowed, on any axis.
    size_most: float = 1.20
    #: How far the largest factor of size may exceed the smallest; 0 = all the same. [%]
    distortion_percent: float = 0.0
    #: How far inside its opening's outline each straight-ahead line must pass. [mm]
    eye_margin_mm: float = 1.0
    #: How far the hinge axis may lie from the chin pole, seen from the side; None =
    #: anywhere. [mm]
    hinge_tolerance_mm: float | None = 12.0
    #: Moves that the solver may make, out of `MOVES`; the others stay as drawn.
    free: tuple[str, ...] = ("right", "front", "up", "pitch")
    #: Farthest that the piece may be moved along any axis from where it was drawn. [mm]
    shift_most_mm: float = 40.0
    #: Farthest that it may be turned about any axis from as drawn. [deg]
    turn_most_deg: float = 12.0
    #: "drawn": stay near the drawn size, eye line, hinge and an even ease. "snug": the
    #: smallest uniform size that meets every demand.
    aim: Literal["drawn", "snug"] = "drawn"
    #: What counts how much under the aim "drawn".
    weights: Weights = field(default_factory=Weights)

    def __post_init__(self) -> None:
        object.__setattr__(self, "ease", _complete(self.ease))
        object.__setattr__(self, "free", _checked_moves(self.free))
        _check_sizes(self.size_least, self.size_most)
        in_range("distortion_percent", self.distortion_percent, low=0, high=25, unit="%")
        in_range("shift_most_mm", self.shift_most_mm, low=0, high=500, unit="mm")
        in_range("turn_most_deg", self.turn_most_deg, low=0, high=90, unit="deg")
        in_range("eye_margin_mm", self.eye_margin_mm, low=0, high=30, unit="mm")
        if self.hinge_tolerance_mm is not None:
            tolerance = self.hinge_tolerance_mm
            in_range("hinge_tolerance_mm", tolerance, low=0, high=100, unit="mm")
        if self.aim not in ("drawn", "snug"):
            msg = f'aim must be "drawn" or "snug"; got {self.aim!r}.'
            raise BriefError(msg)


def _complete(given: Mapping[str, Ease]) -> Mapping[str, Ease]:
    asked = dict(PADDED_MASK)
    for name, ease in given.items():
        if not isinstance(ease, Ease):
            msg = (
                f"ease[{name!r}] must be an Ease; got {ease!r}. "
                f"Did you mean Ease(least_mm={ease!r})?"
            )
            raise BriefError(msg)
        for zone in _zones_named(name):
            asked[zone] = ease
    return MappingProxyType(asked)


def _zones_named(name: str) -> tuple[str, ...]:
    if name in ZONES:
        return (name,)
    if name in PAIRS:
        return (f"{name}_left", f"{name}_right")
    near = get_close_matches(name, [*ZONES, *PAIRS], n=1, cutoff=0.0)[0]
    msg = f"There is no zone {name!r}; did you mean {near!r}? Zones: {', '.join(ZONES)}."
    raise BriefError(msg)


def _checked_moves(given: tuple[str, ...]) -> tuple[str, ...]:
    if isinstance(given, str):
        given = (given,)
    for name in given:
        if name not in MOVES:
            near = get_close_matches(name, MOVES, n=1, cutoff=0.0)[0]
            moves = ", ".join(MOVES)
            msg = f"There is no move {name!r}; did you mean {near!r}? Moves: {moves}."
            raise BriefError(msg)
    return tuple(name for name in MOVES if name in given)


def _check_sizes(least: float, most: float) -> None:
    low, high = SIZE_RANGE
    cure = "Sizes are factors, not percent: 105 % is 1.05."
    for name, value in (("size_least", least), ("size_most", most)):
        in_range(name, value, low=low, high=high, unit="", cure=cure)
    if least > most:
        msg = (
            f"size_least must not exceed size_most; got {least:g} and {most:g}. "
            f"Were the two swapped? Try size_least={most:g}, size_most={least:g}."
        )
        raise BriefError(msg)


def brief_for(record: Record, brief: Brief | None = None) -> Brief:
    """
    Fit a brief to what the wearer wears: glasses need room in front of the eyes.

    Parameters
    ----------
    record : Record
        Of the wearer.
    brief : Brief, optional
        The default brief if left out.

    Returns
    -------
    Brief
        The same, but with no less ease at the eyes than the depth of the glasses and
        `GLASSES_AIR_MM`.
    """
    brief = Brief() if brief is None else brief
    if record.glasses is None:
        return brief
    depth = record.glasses.depth_mm + GLASSES_AIR_MM
    ease = dict(brief.ease)
    for zone in ("eye_left", "eye_right"):
        ease[zone] = replace(ease[zone], least_mm=max(depth, ease[zone].least_mm))
    return replace(brief, ease=ease)
