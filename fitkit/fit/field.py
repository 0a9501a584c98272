"""Field of view: what each eye sees through the finished piece, direction by direction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._cast import (
    LEVELS,
    MERIDIAN_STEP_DEG,
    Bits,
    CellField,
    Look,
    Windows,
    cast_cells,
    find_windows,
)
from fitkit.fit._cavity import cavity_of
from fitkit.fit._checks import in_range
from fitkit.fit._directions import DirectionGrid, around, direction_grid
from fitkit.fit._looks import Settings, look_of
from fitkit.fit._patches import filtered_light
from fitkit.fit._shell import Shell, eye_of
from fitkit.fit.lens import Darkness, Filter, checked_filters, darkness
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM, check_pupil
from fitkit.fit.sight import SIDES, Side
from fitkit.fit.visual_fields import ReferenceField, reference_field
from fitkit.geometry.mesh import BoolArray, FloatArray
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Fineness of the map that is believed to be of use. [deg]
STEP_RANGE_DEG = (0.1, 5.0)
#: Parts per side into which cells at the edge of what is seen are split.
REFINE = 4
#: Bare fields kept per wearer.
KEPT_FIELDS = 6


@dataclass(frozen=True, kw_only=True)
class Limits:
    """
    How far one eye sees from straight ahead, on four meridians.

    The window that holds the straight-ahead line counts, or else the nearest to it; a
    negative limit means that this window ends before it reaches straight ahead. All are
    nan where nothing is seen on the meridian.
    """

    #: From straight ahead. [deg]
    up_deg: float
    down_deg: float
    nasal_deg: float
    temporal_deg: float

    @property
    def height_deg(self) -> float:
        """Height of the window, up to down, in degrees."""
        return self.up_deg + self.down_deg

    @property
    def width_deg(self) -> float:
        """Width of the window, nose to temple, in degrees."""
        return self.nasal_deg + self.temporal_deg


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeField:
    """
    What one eye sees while it looks straight ahead.

    Levels: "clear", the whole pupil gets light; "centre", its centre does (behind a
    straight edge, half of it does there); "some", any of it does: the last light.
    """

    side: Side
    #: Share of the pupil that gets light from each cell of the grid, (n, m), 0 to 1.
    lit: FloatArray
    #: `lit` times what lenses and mesh let through, (n, m), 0 to 1.
    light: FloatArray
    #: By level: share of each cell's solid angle that is seen, (n, m), 0 to 1.
    seen: Mapping[str, FloatArray]
    #: By level: limits on the four meridians; nan throughout means never at this level.
    limits: Mapping[str, Limits]
    #: By level: every stretch seen up and down, (from, to), up positive. [deg]
    upright_deg: Mapping[str, Windows]
    #: By level: every stretch seen from side to side, (from, to), temporal positive.
    #: [deg]
    level_deg: Mapping[str, Windows]
    #: By level: solid angle. [sr]
    solid_angle_sr: Mapping[str, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoEyes:
    """Both eyes' fields and what they share."""

    left: EyeField
    right: EyeField
    #: Seen by both eyes at once, and by either, from the pupil's centre. [sr]
    both_sr: float
    either_sr: float

    def eye(self, side: Side) -> EyeField:
        """The field of one eye."""
        return self.left if side == "left" else self.right


@dataclass(frozen=True, kw_only=True, eq=False)
class FieldOfView:
    """Field of view of one wearer in one placed piece, against the same wearer bare."""

    #: Cells of every map here.
    grid: DirectionGrid
    #: Through the piece.
    worn: TwoEyes
    #: Bare-headed: own nose, brow and cheeks, within the reference field.
    bare: TwoEyes
    #: How far an eye is taken to see when nothing is in its way.
    reference: ReferenceField
    #: Diameter of the pupil, and points of it that were tried.
    pupil_mm: float
    samples: int
    #: How dark each filled opening is; empty if none is filled.
    darkness: tuple[Darkness, ...]
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]

    @property
    def either_percent(self) -> float:
        """Seen by either eye, in percent of the same wearer bare-headed."""
        return _percent(self.worn.either_sr, self.bare.either_sr)

    @property
    def both_percent(self) -> float:
        """Seen by both eyes at once, in percent of the same wearer bare-headed."""
        return _percent(self.worn.both_sr, self.bare.both_sr)

    def eye_percent(self, side: Side) -> float:
        """Seen by one eye, in percent of the same eye bare-headed."""
        worn = self.worn.eye(side).solid_angle_sr["centre"]
        return _percent(worn, self.bare.eye(side).solid_angle_sr["centre"])


def field_of_view(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    step_deg: float = 1.0,
    pupil_mm: float = PUPIL_MM,
    samples: int = 19,
    reference: str | ReferenceField = "wide",
    refine: int = REFINE,
    filters: Mapping[str, Filter | Sequence[Filter]] | None = None,
) -> FieldOfView:
    """
    Map what each eye sees through the finished piece, looking straight ahead.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    step_deg : float
        Height and width of a cell of the map. [deg]
    pupil_mm : float
        Diameter of the pupil; see `pupil_diameter_mm`. [mm]
    samples : {19, 1}
        Points of the pupil; 1 is its centre alone, for a quick look.
    reference : str or ReferenceField
        How far an eye sees when nothing is in its way: "wide", "clinical", "iii4e", or
        limits of your own.
    refine : int
        Cells where a level ends are split into refine x refine parts; 1 for none.
    filters : mapping of opening's name to Filter or sequence of them, optional
        Lenses and perforated sheet; those of one opening multiply.

    Returns
    -------
    FieldOfView

    Raises
    ------
    BriefError
        If a number is out of range, a name is unknown, or an eye is not inside the
        piece.

    Notes
    -----
    Rays start on the entrance pupil, taken as a flat disc across the straight-ahead
    line; that the pupil of a living eye seems to turn and shift for far sideways light
    is left out. Limits are found to 0.01 degrees along the meridians; openings smaller
    than a cell may be missed by the map.
    """
    low, high = STEP_RANGE_DEG
    in_range("step_deg", step_deg, low=low, high=high, unit="deg")
    in_range("refine", refine, low=1, high=16, unit="")
    check_pupil(pupil_mm=pupil_mm, samples=samples)
    known = reference_field(reference)
    filled = checked_filters(filters, openings=[o.name for o in piece.openings])
    check_eyes(wearer, piece, placement)
    settings = Settings(direction_grid(step_deg), pupil_mm, samples, known, refine)
    bare = _bare(wearer, settings)
    shell = Shell(piece, placement)
    eyes = {}
    for side in SIDES:
        look = look_of(wearer, side, settings, (shell,))
        cells = cast_cells(look, settings.grid, bare=bare.bits[side], refine=refine)
        light = filtered_light(look, shell, settings.grid, cells, filled)
        eyes[side] = _eye_field(side, look, settings, cells, light)
    worn = _two_eyes(eyes["left"], eyes["right"], settings.grid)
    return FieldOfView(
        grid=settings.grid,
        worn=worn,
        bare=bare.eyes,
        reference=known,
        pupil_mm=pupil_mm,
        samples=samples,
        darkness=tuple(darkness(name, each) for name, each in filled.items()),
        cautions=tuple(_cautions(worn)),
    )


def bare_field(
    wearer: Wearer,
    *,
    step_deg: float = 1.0,
    pupil_mm: float = PUPIL_MM,
    samples: int = 19,
    reference: str | ReferenceField = "wide",
    refine: int = REFINE,
) -> TwoEyes:
    """
    Map what the wearer sees bare-headed: own nose, brow and cheeks, and the reference.

    Parameters and errors as for `field_of_view`. It is kept, so asking again is free.
    """
    check_pupil(pupil_mm=pupil_mm, samples=samples)
    grid, known = direction_grid(step_deg), reference_field(reference)
    return _bare(wearer, Settings(grid, pupil_mm, samples, known, refine)).eyes


def check_eyes(wearer: Wearer, piece: Piece, placement: Placement) -> None:
    """
    Refuse a placement at which an eye is in the wall, or outside the piece.

    Raises
    ------
    BriefError
        With how far the eye is from the room inside.
    """
    cavity = cavity_of(piece).stretched(placement.size)
    pupils = np.array([eye_of(wearer, side).entrance_pupil for side in SIDES])
    gaps = cavity.gaps(pupils, placement).signed_mm - piece.lining_mm
    for side, gap in zip(SIDES, gaps, strict=True):
        if gap <= 0:
            msg = (
                f"The {side} eye must look out from inside the piece; at this placement "
                f"its pupil lies {-gap:.1f} mm beyond the finished inner wall. Move the "
                "piece forward, or make it larger."
            )
            raise BriefError(msg)


# -- how it is done -------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Bare:
    eyes: TwoEyes
    #: Pupil points that see each cell's middle, by side, (n, m).
    bits: Mapping[Side, Bits]


_BARE: WeakKeyDictionary[Wearer, dict[Settings, _Bare]] = WeakKeyDictionary()


def _bare(wearer: Wearer, settings: Settings) -> _Bare:
    kept = _BARE.setdefault(wearer, {})
    if settings not in kept:
        while len(kept) >= KEPT_FIELDS:
            kept.pop(next(iter(kept)))
        eyes, bits = {}, {}
        for side in SIDES:
            look = look_of(wearer, side, settings, ())
            cells = cast_cells(look, settings.grid, refine=settings.refine)
            eyes[side] = _eye_field(side, look, settings, cells, cells.lit)
            bits[side] = cells.bits
        both = _two_eyes(eyes["left"], eyes["right"], settings.grid)
        kept[settings] = _Bare(both, bits)
    return kept[settings]


def _eye_field(
    side: Side, look: Look, settings: Settings, cells: CellField, light: FloatArray
) -> EyeField:
    upright, level = _meridians(side, look, settings.reference)
    limits = {
        name: Limits(
            up_deg=_nearest(upright[name])[1],
            down_deg=-_nearest(upright[name])[0],
            nasal_deg=-_nearest(level[name])[0],
            temporal_deg=_nearest(level[name])[1],
        )
        for name in LEVELS
    }
    sums = (cells.seen * settings.grid.solid_angle_sr).sum(axis=(1, 2))
    seen = dict(zip(LEVELS, cells.seen, strict=True))
    return EyeField(
        side=side,
        lit=cells.lit,
        light=light,
        seen=MappingProxyType(seen),
        limits=MappingProxyType(limits),
        upright_deg=upright,
        level_deg=level,
        solid_angle_sr=MappingProxyType(dict(zip(LEVELS, sums.tolist(), strict=True))),
    )


def _meridians(
    side: Side, look: Look, reference: ReferenceField
) -> tuple[Mapping[str, Windows], Mapping[str, Windows]]:
    outward = 0.0 if side == "right" else 180.0
    circles = (
        (90.0, -reference.down_deg, reference.up_deg),
        (outward, -reference.nasal_deg, reference.temporal_deg),
    )
    named = []
    for meridian, low, high in circles:

        def seen(angle: FloatArray, meridian: float = meridian) -> BoolArray:
            ways = around(angle, np.full(len(angle), meridian))
            return look.levels(look.bits(ways))

        found = find_windows(seen, low=low, high=high, step=MERIDIAN_STEP_DEG)
        named.append(MappingProxyType(dict(zip(LEVELS, found, strict=True))))
    return named[0], named[1]


def _nearest(windows: Windows) -> tuple[float, float]:
    """The window that holds 0, or lies nearest to it."""
    if not windows:
        return float("nan"), float("nan")
    return min(windows, key=lambda w: max(w[0], -w[1], 0.0))


def _two_eyes(left: EyeField, right: EyeField, grid: DirectionGrid) -> TwoEyes:
    one, other = left.seen["centre"], right.seen["centre"]
    return TwoEyes(
        left=left,
        right=right,
        both_sr=float((np.minimum(one, other) * grid.solid_angle_sr).sum()),
        either_sr=float((np.maximum(one, other) * grid.solid_angle_sr).sum()),
    )


def _cautions(worn: TwoEyes) -> list[str]:
    said = []
    for side in SIDES:
        eye = worn.eye(side)
        if eye.solid_angle_sr["some"] == 0:
            said.append(f"The {side} eye sees nothing outside.")
        elif eye.solid_angle_sr["clear"] == 0:
            said.append(
                f"No direction is ever fully clear to the {side} eye: its opening is "
                "narrower than its pupil, so everything is dim and soft at the edges."
            )
    return said


def _percent(part: float, whole: float) -> float:
    return 100 * part / whole if whole > 0 else float("nan")
