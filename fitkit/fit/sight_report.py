"""Every question of sight asked of one placement, answered in one frozen report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fitkit.fit._cast import Windows
from fitkit.fit.eyeline import STAGE_UP_DEG, EyeLine, eye_lines
from fitkit.fit.field import FieldOfView, TwoEyes, field_of_view
from fitkit.fit.fixation import GAZE_RANGE, FieldOfFixation, field_of_fixation
from fitkit.fit.floor import BOWS_DEG, FloorView, floor_view
from fitkit.fit.glare import Glare, Lamp, glare
from fitkit.fit.glasses import GlassesCheck, check_glasses
from fitkit.fit.lens import DUSK_PERCENT, Filter
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM
from fitkit.fit.sight import SIDES
from fitkit.fit.visual_fields import ReferenceField
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Views smaller than this, up and down and from side to side, slowed people on an
#: obstacle course against larger ones: Toet, Proc. SPIE 6955, 69550H (2008), abstract
#: (18 degrees of height slower than 48; 30 of width slower than 75; any limit slower
#: than none). [deg]
HIGH_ENOUGH_DEG, WIDE_ENOUGH_DEG = 48.0, 75.0


@dataclass(frozen=True, kw_only=True, eq=False)
class SightReport:
    """What one wearer sees in one placed piece."""

    field: FieldOfView
    fixation: FieldOfFixation
    floor: FloorView
    #: Left and right eye straight ahead, then both along the stage gaze.
    lines: tuple[EyeLine, ...]
    glasses: GlassesCheck
    #: None if the piece carries no lamps.
    glare: Glare | None
    #: Height and width of what either eye sees on the two main meridians, all windows
    #: together, looking straight ahead from the pupils' centres. [deg]
    height_deg: float
    width_deg: float
    #: All cautions, the weightiest first; empty means none. They never say that
    #: something is safe.
    cautions: tuple[str, ...]


def sight_report(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    step_deg: float = 1.0,
    pupil_mm: float = PUPIL_MM,
    samples: int = 19,
    reference: str | ReferenceField = "wide",
    gaze_range: ReferenceField = GAZE_RANGE,
    filters: Mapping[str, Filter | Sequence[Filter]] | None = None,
    lamps: Sequence[Lamp] = (),
    bows_deg: Sequence[float] = BOWS_DEG,
    stage_right_deg: float = 0.0,
    stage_up_deg: float = STAGE_UP_DEG,
    eye_height_mm: float | None = None,
) -> SightReport:
    """
    Ask every question of sight of one placement.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    step_deg, pupil_mm, samples, reference, filters
        As in `field_of_view`.
    gaze_range : ReferenceField
        As in `field_of_fixation`.
    lamps : sequence of Lamp
        Lamps on the piece; see `glare` for finer questions.
    bows_deg, eye_height_mm
        As in `floor_view`.
    stage_right_deg, stage_up_deg : float
        Where the wearer looks on stage, from straight ahead. [deg]

    Raises
    ------
    BriefError
        If an eye is not inside the piece, an opening lies on the wrong side, or
        anything asked is out of range.
    """
    at = wearer, piece, placement
    looks: Any = {"step_deg": step_deg, "pupil_mm": pupil_mm, "samples": samples}
    field = field_of_view(*at, **looks, reference=reference, filters=filters)
    fixation = field_of_fixation(*at, **looks, gaze_range=gaze_range)
    floor = floor_view(
        *at, bows_deg=bows_deg, eye_height_mm=eye_height_mm, reference=reference
    )
    lines = eye_lines(*at, stage_right_deg=stage_right_deg, stage_up_deg=stage_up_deg)
    glasses = check_glasses(*at, reference=reference)
    veil = glare(*at, lamps=lamps) if lamps else None
    height, width = window_extent_deg(field.worn)
    return SightReport(
        field=field,
        fixation=fixation,
        floor=floor,
        lines=lines,
        glasses=glasses,
        glare=veil,
        height_deg=height,
        width_deg=width,
        cautions=tuple(_cautions(field, floor, lines, glasses, veil, height, width)),
    )


def window_extent_deg(worn: TwoEyes) -> tuple[float, float]:
    """
    Height and width of what either eye sees on the two main meridians, in degrees.

    Stretches seen by both eyes count once; gaps between windows do not count.
    """
    left, right = worn.left, worn.right
    upright = (*left.upright_deg["centre"], *right.upright_deg["centre"])
    flipped = tuple((-end, -start) for start, end in left.level_deg["centre"])
    return _covered(upright), _covered((*flipped, *right.level_deg["centre"]))


def _covered(windows: Windows) -> float:
    total, reached = 0.0, float("-inf")
    for start, end in sorted(windows):
        total += max(0.0, end - max(start, reached))
        reached = max(reached, end)
    return total


def _cautions(
    field: FieldOfView,
    floor: FloorView,
    lines: tuple[EyeLine, ...],
    glasses: GlassesCheck,
    veil: Glare | None,
    height: float,
    width: float,
) -> Iterator[str]:
    yield from field.cautions
    yield from floor.cautions
    yield from _extent_words(height, width)
    for line in lines[: len(SIDES)]:
        if line.blocked_at_mm < float("inf"):
            yield (
                f"The {line.side} eye's straight-ahead line meets the wall "
                f"{line.blocked_at_mm:.0f} mm ahead."
            )
    for each in field.darkness:
        if each.transmittance_percent < DUSK_PERCENT:
            yield f"{each.opening}: {each.words}"
    yield from glasses.cautions
    if veil is not None:
        yield from veil.cautions


def _extent_words(height: float, width: float) -> Iterator[str]:
    small = []
    if height < HIGH_ENOUGH_DEG:
        small.append(f"{height:.0f} degrees high (48 were better than 18)")
    if width < WIDE_ENOUGH_DEG:
        small.append(f"{width:.0f} degrees wide (75 were better than 30)")
    if small:
        yield (
            f"The view is only {' and '.join(small)}: on an obstacle course every limit "
            "slowed people, and these small ones most. Walk the route with a guide."
        )
