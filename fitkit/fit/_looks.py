"""Set up one eye's look: its pupil, its own face, what is worn, and how far it sees."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.fit._cast import Look
from fitkit.fit._directions import DirectionGrid
from fitkit.fit._shell import Occluder, eye_of, own_face
from fitkit.fit.pupil import eye_pupil
from fitkit.fit.sight import Side
from fitkit.fit.visual_fields import ReferenceField
from fitkit.wearer.wearer import Wearer


@dataclass(frozen=True)
class Settings:
    """How finely, with what pupil and against which reference a field is cast."""

    grid: DirectionGrid
    #: Diameter of the pupil. [mm]
    pupil_mm: float
    #: Points of the pupil: 1 or 19.
    samples: int
    reference: ReferenceField
    #: Cells at the edge of a level are split into refine x refine parts.
    refine: int


def look_of(
    wearer: Wearer, side: Side, settings: Settings, worn: tuple[Occluder, ...]
) -> Look:
    """Look past the wearer's own face and what is worn, within the reference field."""
    pupil = eye_pupil(
        eye_of(wearer, side),
        side=side,
        diameter_mm=settings.pupil_mm,
        samples=settings.samples,
    )
    return Look(
        pupil=pupil,
        worn=worn,
        own=(own_face(wearer, side),),
        within=lambda ways: settings.reference.contains(ways, side=side),
    )
