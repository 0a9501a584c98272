"""The head that has to pass: as it is worn, and pressed as far as it gives way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._cavity import capped_mesh
from fitkit.fit._checks import in_range
from fitkit.fit.glasses import ARM_MM, AROUND, BRIDGE_MM, ROUNDNESS
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray, IntArray, Mesh, join
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.wearer.record import Glasses
    from fitkit.wearer.wearer import Wearer

#: How far soft tissue gives way to a steady push for a moment, by zone. [mm] Ours, from
#: the thickness of soft tissue over bone in the face (from memory of forensic tables: 4
#: to 6 mm over brow and chin, 10 to 25 mm over the cheek), of which a third is taken.
SOFT_MM: Mapping[str, float] = MappingProxyType(
    {
        "brow": 1.0,
        "cheek_left": 4.0,
        "cheek_right": 4.0,
        "nose": 2.0,
        "mouth": 2.0,
        "chin": 2.0,
        "nape": 2.0,
    }
)
#: Share of the way an ear stands off that is left when it is folded flat by hand. Ours.
EAR_SHARE = 0.45
#: Share of hair, already lightly pressed as recorded, that is left under a firm hand.
HAIR_SHARE = 0.7
#: Index of faces that close the cut under the chin, and of glasses.
CUT, GLASSES = -1, -2
#: Thickness of an arm of glasses. Ours. [mm]
ARM_THICK_MM = 3.0
#: Rounds in which the press is evened out over neighbouring skin.
_EVENINGS = 8


@dataclass(frozen=True, kw_only=True)
class Soft:
    """
    How far the head may be pressed on the way in and out.

    Raises
    ------
    BriefError
        If a zone is unknown or a figure is out of range.
    """

    #: Soft tissue by zone; zones left out do not give way. [mm]
    tissue_mm: Mapping[str, float] = field(default_factory=lambda: SOFT_MM)
    #: Share of an ear's stand-off that is left, 0.2 to 1; 1 for an ear that must not be
    #: folded (sore, pierced, with a hearing aid).
    ear_share: float = EAR_SHARE
    #: Share of the hair that is left, 0 to 1; 1 for a wig that must not be pressed.
    hair_share: float = HAIR_SHARE

    def __post_init__(self) -> None:
        for zone, amount in self.tissue_mm.items():
            if zone not in ZONES:
                msg = f"tissue_mm names no zone '{zone}'. Zones: {', '.join(ZONES)}."
                raise BriefError(msg)
            in_range(f"tissue_mm[{zone}]", amount, low=0, high=15, unit="mm")
        in_range("ear_share", self.ear_share, low=0.2, high=1, unit="")
        in_range("hair_share", self.hair_share, low=0, high=1, unit="")

    @property
    def words(self) -> tuple[str, ...]:
        """What is taken to give way, for the report."""
        most = max(self.tissue_mm.values(), default=0.0)
        return (
            f"Soft tissue gives way by up to {most:g} mm (a third of what lies over bone).",
            f"Ears fold flat by hand to {100 * self.ear_share:.0f} % of how far they "
            "stand off.",
            f"Hair is pressed by hand to {100 * self.hair_share:.0f} % of what is "
            "recorded as lightly pressed.",
        )


#: Nothing gives way.
RIGID = Soft(tissue_mm=MappingProxyType({}), ear_share=1.0, hair_share=1.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class PassingHead:
    """The part of a wearer that has to pass the neck opening; neck left out."""

    #: As worn, hair and glasses included; closed under the chin. [mm]
    worn: Mesh
    #: Pressed as far as it gives way; same faces. [mm]
    pressed: Mesh
    #: Zone of each face, index into ``ZONES``, or `CUT` or `GLASSES`, (m,).
    zone: IntArray


def passing_head(
    wearer: Wearer, soft: Soft, *, glasses: Glasses | None = None
) -> PassingHead:
    """
    Take the head off its neck, with hair and glasses, as worn and pressed.

    Parameters
    ----------
    wearer : Wearer
    soft : Soft
    glasses : Glasses, optional
        Kept on while the piece goes on.
    """
    head = wearer.head
    chosen: BoolArray = np.min(wearer.zone[head.faces], axis=1) >= 0
    if not chosen.any():
        chosen = np.ones(len(head.faces), dtype=bool)
    used = np.unique(head.faces[chosen])
    normals = head.vertex_normals[used]
    bare = head.submesh(chosen)
    zone = wearer.zone[used]
    hair = wearer.hair_mm[used]
    worn = bare.vertices + hair[:, None] * normals
    tissue = np.array([*(soft.tissue_mm.get(z, 0.0) for z in ZONES), 0.0])
    give = _evened(bare, tissue[zone])
    pressed = bare.vertices + (soft.hair_share * hair - give)[:, None] * normals
    pressed = _ears_folded(pressed, zone, wearer, soft.ear_share)
    extra = [] if glasses is None else glasses_solids(wearer, glasses)
    parts = [capped_mesh(bare.with_vertices(points)) for points in (worn, pressed)]
    cut = np.full(len(parts[0].faces) - len(bare.faces), CUT)
    lenses = np.full(sum(len(box.faces) for box in extra), GLASSES)
    face_zone = np.concatenate([zone[bare.faces].max(axis=1), cut, lenses])
    return PassingHead(
        worn=join([parts[0], *extra]), pressed=join([parts[1], *extra]), zone=face_zone
    )


def zone_words(index: int) -> str:
    """
    Name what a face of a passing head belongs to.

    Examples
    --------
    >>> zone_words(GLASSES), zone_words(2)
    ('glasses', 'temple left')
    """
    if index >= 0:
        return ZONES[index].replace("_", " ")
    return "glasses" if index == GLASSES else "underside of the head"


def glasses_solids(wearer: Wearer, glasses: Glasses) -> list[Mesh]:
    """
    Model what a pair of glasses takes up: two lenses and two arms, in the head frame.

    The outline is that of `fitkit.fit.glasses`. Each lens is filled back to the front of
    the eye, since no wall may come between.
    """
    eyes = wearer.eye_left, wearer.eye_right
    middle = np.mean([eye.entrance_pupil for eye in eyes], axis=0)
    ahead = float(np.mean([eye.cornea[1] for eye in eyes])) + glasses.depth_mm
    half = (glasses.width_mm - BRIDGE_MM) / 4
    turn = 2 * np.pi * np.arange(AROUND) / AROUND
    round_ = np.column_stack([np.cos(turn), np.zeros(AROUND), np.sin(turn)])
    rim = np.sign(round_) * np.abs(round_) ** (2 / ROUNDNESS)
    rim *= [half, 0.0, glasses.height_mm / 2]
    solids = []
    for side in (-1.0, 1.0):
        aside = middle[0] + side * (half + BRIDGE_MM / 2)
        solids.append(_slab(rim + np.array([aside, ahead, middle[2]]), glasses.depth_mm))
        ends = sorted((0.0, -side * ARM_THICK_MM))
        low = np.array([ends[0], 0.0, -ARM_MM / 2])
        high = np.array([ends[1], ahead, ARM_MM / 2])
        hinge = np.array([middle[0] + side * glasses.width_mm / 2, 0.0, middle[2]])
        solids.append(_box(hinge + low, hinge + high))
    return solids


def _slab(outline: FloatArray, depth_mm: float) -> Mesh:
    """Fill an outline (n, 3), counter-clockwise from behind, and extend it backward."""
    n = len(outline)
    back = outline - [0.0, depth_mm, 0.0]
    middles = np.stack([outline.mean(axis=0), back.mean(axis=0)])
    a, b = np.arange(n), (np.arange(n) + 1) % n
    front, rear = np.full(n, 2 * n), np.full(n, 2 * n + 1)
    faces = [(b, a, front), (a + n, b + n, rear), (a, b, b + n), (a, b + n, a + n)]
    joined = np.concatenate([np.column_stack(face) for face in faces])
    return Mesh(np.concatenate([outline, back, middles]), joined)


def _ears_folded(
    points: FloatArray, zone: IntArray, wearer: Wearer, share: float
) -> FloatArray:
    """Bring the ears nearer to the plane through the tragus on their side."""
    out = points.copy()
    for side, sign in (("left", -1.0), ("right", 1.0)):
        index = ZONES.index(f"ear_{side}")
        root = abs(float(wearer.landmarks.get(f"tragion_{side}", np.zeros(3))[0]))
        rows = np.nonzero((zone == index) & (sign * points[:, 0] > root))[0]
        out[rows, 0] = sign * (root + share * (sign * points[rows, 0] - root))
    return out


def _evened(mesh: Mesh, amount: FloatArray) -> FloatArray:
    """Average over neighbours a few times, so that no step is left at a border."""
    a, b = mesh.edges.T
    count = len(mesh.vertices)
    degree = np.maximum(np.bincount(mesh.edges.ravel(), minlength=count), 1)
    for _ in range(_EVENINGS):
        total = np.bincount(a, amount[b], minlength=count)
        total += np.bincount(b, amount[a], minlength=count)
        amount = (amount + total / degree) / 2
    return amount


def _box(low: FloatArray, high: FloatArray) -> Mesh:
    corners = np.array([[(low, high)[(k >> i) & 1][i] for i in range(3)] for k in range(8)])
    faces = [
        (0, 2, 3), (0, 3, 1), (4, 5, 7), (4, 7, 6), (0, 1, 5), (0, 5, 4),
        (2, 6, 7), (2, 7, 3), (0, 4, 6), (0, 6, 2), (1, 3, 7), (1, 7, 5),
    ]  # fmt: skip
    return Mesh(corners, np.array(faces))
