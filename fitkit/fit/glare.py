"""Glare: what lamps on the piece do to the eyes of its wearer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import BriefError, range_message
from fitkit.fit._checks import in_range
from fitkit.fit._patches import opening_patches
from fitkit.fit._scatter import Matt, elements, lit_lux, thrown_back_lux
from fitkit.fit._shell import Shell, eye_of, own_face
from fitkit.fit.field import check_eyes
from fitkit.fit.fixation import gaze_direction
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM, eye_pupil
from fitkit.fit.sight import SIDES, Side
from fitkit.fit.veil import VALID_DEG, Formula, contrast_left, veil_per_lux
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.geometry.rays import RayScene
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Share of light that a masked back of a lens still throws back: matt black paint.
MASKED_REFLECTANCE = 0.05
#: Luminance of a dim street or stage, taken unless another is given. [cd/m²]
SCENE_CD_M2 = 10.0
#: A lamp nearer to an eye than this is no far point for the formulas. [mm]
NEAR_MM = 100.0


@dataclass(frozen=True, kw_only=True, eq=False, init=False)
class Lamp:
    """
    One lamp on the piece: a point that shines evenly within a cone.

    Raises
    ------
    BriefError
        If a number is out of range, or the direction has no length.
    """

    name: str
    #: Where it is on the piece as drawn, shape (3,). [mm]
    at_mm: FloatArray
    #: Middle of its cone in the piece's axes, unit, shape (3,).
    direction: FloatArray
    #: Luminous intensity within the cone. [cd]
    intensity_cd: float
    #: From the middle to the side of the cone; 180 shines all around. [deg]
    half_angle_deg: float

    def __init__(
        self,
        *,
        name: str,
        at_mm: ArrayLike,
        direction: ArrayLike,
        intensity_cd: float,
        half_angle_deg: float = 60.0,
    ) -> None:
        in_range("intensity_cd", intensity_cd, low=1e-6, high=1e5, unit="cd")
        in_range("half_angle_deg", half_angle_deg, low=0.5, high=180, unit="deg")
        at, way = np.array(at_mm, dtype=float), np.array(direction, dtype=float)
        for key, value in (("at_mm", at), ("direction", way)):
            if value.shape != (3,) or not np.isfinite(value).all():
                msg = f"{name}: {key} must be three numbers, right, front, up; got {value}."
                raise BriefError(msg)
        length = float(np.linalg.norm(way))
        if length == 0:
            msg = f"{name}: direction must have a length; got (0, 0, 0)."
            raise BriefError(msg)
        fields: tuple[object, ...] = (name, at, way / length, intensity_cd, half_angle_deg)
        for key, field in zip(self.__dataclass_fields__, fields, strict=True):
            object.__setattr__(self, key, field)


@dataclass(frozen=True, kw_only=True)
class LampInView:
    """One lamp, seen or not seen from one eye."""

    lamp: str
    #: Share of the pupil from which the emitter itself is seen, within its cone.
    seen_share: float
    #: Between the line of gaze and the lamp. [deg]
    angle_deg: float
    #: From the pupil to the lamp. [mm]
    distance_mm: float
    #: Illuminance at the pupil straight from it, square to its direction. [lx]
    direct_lux: float


@dataclass(frozen=True, kw_only=True)
class EyeGlare:
    """What all lamps together do to one eye."""

    side: Side
    lamps: tuple[LampInView, ...]
    #: Illuminance at the pupil, each part square to its direction: straight from lamps,
    #: thrown back once by the inner wall, and by the backs of lenses. [lx]
    direct_lux: float
    wall_lux: float
    lens_lux: float
    #: Veil that these lay over the scene. [cd/m²]
    veil_cd_m2: float
    #: Share of the scene's contrast that is left.
    contrast_left: float
    #: Light from angles at which the formula does not hold; not in the veil. [lx]
    left_out_lux: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Glare:
    """Glare of all lamps for both eyes, as it is and with the lenses' backs masked."""

    eyes: Mapping[Side, EyeGlare]
    #: The same with every lens painted matt black on its back.
    masked: Mapping[Side, EyeGlare]
    #: Luminance of the scene that the veil lies over. [cd/m²]
    scene_cd_m2: float
    formula: Formula
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


def glare(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    lamps: Sequence[Lamp],
    wall_reflectance: float = 0.5,
    lens_backs: Mapping[str, float] | None = None,
    scene_cd_m2: float = SCENE_CD_M2,
    gaze_right_deg: float = 0.0,
    gaze_up_deg: float = 0.0,
    age_years: float = 40.0,
    pigment: float = 0.5,
    formula: Formula = "general",
) -> Glare:
    """
    Find what lamps on the piece do to its wearer's eyes.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    lamps : sequence of Lamp
    wall_reflectance : float
        Share of light that the inner wall throws back, matt: black 0.05, white 0.8.
    lens_backs : mapping of opening's name to float, optional
        Share that the back of a lens throws back towards the eye; only lenses named
        here throw anything back.
    scene_cd_m2 : float
        Luminance of what the wearer looks at. [cd/m²]
    gaze_right_deg, gaze_up_deg : float
        Line of gaze, to the right and up. [deg]
    age_years, pigment, formula
        As in `veil_per_lux`.

    Raises
    ------
    BriefError
        If a number is out of range or a name is unknown.

    Notes
    -----
    Matt surfaces (Lambert's law), one bounce; light that has been thrown back twice is
    left out, so in a white shell the true veil is larger. Every direction from which
    light comes is put through the formula on its own. The formulas are for far points
    and open pupils: for a lamp a few centimetres from the eye they give the order of
    magnitude.
    """
    _check(lamps, wall_reflectance, lens_backs, piece, scene_cd_m2)
    veil_per_lux(angle_deg=10, age_years=age_years, formula=formula, pigment=pigment)
    check_eyes(wearer, piece, placement)
    room = _Room(wearer, piece, placement)
    gaze = gaze_direction(right_deg=gaze_right_deg, up_deg=gaze_up_deg)
    judge = _Judge(gaze, age_years, formula, pigment, scene_cd_m2)
    wall = room.wall(wall_reflectance)
    backs = dict(lens_backs or {})
    masked = {name: min(MASKED_REFLECTANCE, share) for name, share in backs.items()}
    eyes = {}
    hidden = {}
    for side in SIDES:
        eyes[side] = judge.eye(room, side, lamps, wall, room.lenses(backs))
        hidden[side] = judge.eye(room, side, lamps, wall, room.lenses(masked))
    return Glare(
        eyes=MappingProxyType(eyes),
        masked=MappingProxyType(hidden),
        scene_cd_m2=float(scene_cd_m2),
        formula=formula,
        cautions=tuple(_cautions(eyes)),
    )


# -- how it is done -------------------------------------------------------------------


class _Room:
    """The inside of the placed shell, with what light meets in it."""

    def __init__(self, wearer: Wearer, piece: Piece, placement: Placement) -> None:
        self.wearer, self.placement = wearer, placement
        self.shell = Shell(piece, placement)
        matrix = np.eye(4)
        matrix[:3, :3] = placement.rotation * placement.mean_size
        matrix[:3, 3] = placement.shift_mm
        self._matrix = matrix
        self.scene = RayScene(self.shell.wall.whole.mesh.moved(matrix))
        self.head = RayScene(wearer.head)

    def wall(self, reflectance: float) -> Matt:
        """The finished inner wall, throwing light back to the head."""
        return elements(self.shell.wall.inner.moved(self._matrix).flipped(), reflectance)

    def lenses(self, backs: Mapping[str, float]) -> Matt | None:
        """The backs of the lenses."""
        patches = opening_patches(self.shell, list(backs))
        if patches is None:
            return None
        mesh = patches.scene.mesh.moved(self._matrix)
        found = []
        for number, name in enumerate(patches.names):
            rows = np.nonzero(patches.which == number)[0]
            found.append(
                elements(_facing_back(mesh.submesh(rows), self.wearer), backs[name])
            )
        return Matt(
            at=np.concatenate([each.at for each in found]),
            normal=np.concatenate([each.normal for each in found]),
            area_mm2=np.concatenate([each.area_mm2 for each in found]),
            reflectance=np.concatenate([each.reflectance for each in found]),
        )

    def before_eye(self, side: Side) -> tuple[RayScene, ...]:
        """What may hide something from an eye."""
        return (self.scene, own_face(self.wearer, side))


def _facing_back(mesh: Mesh, wearer: Wearer) -> Mesh:
    """Wind a lens so that its normals point to the eyes."""
    middle = (wearer.eye_left.entrance_pupil + wearer.eye_right.entrance_pupil) / 2
    to_eyes = middle - mesh.centroids
    towards = np.einsum("ij,ij,i->", mesh.normals, to_eyes, mesh.areas_mm2)
    return mesh if towards > 0 else mesh.flipped()


@dataclass(frozen=True)
class _Judge:
    gaze: FloatArray
    age_years: float
    formula: Formula
    pigment: float
    scene_cd_m2: float

    def eye(
        self,
        room: _Room,
        side: Side,
        lamps: Sequence[Lamp],
        wall: Matt,
        lenses: Matt | None,
    ) -> EyeGlare:
        pupil = eye_of(room.wearer, side).entrance_pupil
        views = tuple(self._in_view(room, side, lamp) for lamp in lamps)
        placed = room.placement.to_head(np.array([lamp.at_mm for lamp in lamps]))
        ways = (placed - pupil) / np.linalg.norm(placed - pupil, axis=1)[:, None]
        direct = ways, np.array([view.direct_lux for view in views])
        back = [
            self._thrown_back(room, side, lamps, placed, matt) for matt in (wall, lenses)
        ]
        ways = np.concatenate([direct[0], *(each[0] for each in back)])
        lux = np.concatenate([direct[1], *(each[1] for each in back)])
        veil, left_out = self._veil(ways, lux)
        return EyeGlare(
            side=side,
            lamps=views,
            direct_lux=float(direct[1].sum()),
            wall_lux=float(back[0][1].sum()),
            lens_lux=float(back[1][1].sum()),
            veil_cd_m2=veil,
            contrast_left=contrast_left(scene_cd_m2=self.scene_cd_m2, veil_cd_m2=veil),
            left_out_lux=left_out,
        )

    def _in_view(self, room: _Room, side: Side, lamp: Lamp) -> LampInView:
        pupil = eye_pupil(
            eye_of(room.wearer, side), side=side, diameter_mm=PUPIL_MM, samples=19
        )
        at = room.placement.to_head(lamp.at_mm)
        way = at - pupil.points
        distance = np.linalg.norm(way, axis=1)
        way = way / distance[:, None]
        free = way @ (room.placement.rotation @ lamp.direction) <= -np.cos(
            np.radians(lamp.half_angle_deg)
        )
        for scene in room.before_eye(side):
            free &= scene.first_hit(pupil.points, way).distance_mm >= distance - 0.5
        share = float(pupil.weights @ free)
        metres = float(distance[0]) / 1000
        angle = np.degrees(np.arccos(np.clip(float(way[0] @ self.gaze), -1, 1)))
        return LampInView(
            lamp=lamp.name,
            seen_share=share,
            angle_deg=float(angle),
            distance_mm=float(distance[0]),
            direct_lux=share * lamp.intensity_cd / metres**2,
        )

    def _thrown_back(
        self,
        room: _Room,
        side: Side,
        lamps: Sequence[Lamp],
        placed: FloatArray,
        matt: Matt | None,
    ) -> tuple[FloatArray, FloatArray]:
        if matt is None:
            return np.zeros((0, 3)), np.zeros(0)
        lux = np.zeros(len(matt.at))
        for lamp, at in zip(lamps, placed, strict=True):
            lux += lit_lux(
                matt,
                lamp=at,
                axis=room.placement.rotation @ lamp.direction,
                half_angle_deg=lamp.half_angle_deg,
                intensity_cd=lamp.intensity_cd,
                scenes=(room.scene, room.head),
            )
        pupil = eye_of(room.wearer, side).entrance_pupil
        return thrown_back_lux(matt, lux, pupil=pupil, scenes=room.before_eye(side))

    def _veil(self, ways: FloatArray, lux: FloatArray) -> tuple[float, float]:
        """Veil of all light that the formula holds for, and the light left out."""
        angle = np.degrees(np.arccos(np.clip(ways @ self.gaze, -1, 1)))
        low, high = VALID_DEG[self.formula]
        holds = (angle >= low) & (angle <= high)
        each = veil_per_lux(
            angle_deg=angle[holds],
            age_years=self.age_years,
            formula=self.formula,
            pigment=self.pigment,
        )
        return float((each * lux[holds]).sum()), float(lux[~holds].sum())


def _cautions(eyes: Mapping[Side, EyeGlare]) -> list[str]:
    said = []
    for side, eye in eyes.items():
        for view in eye.lamps:
            if view.direct_lux > 0:
                said.append(
                    f"The {side} eye sees straight into the lamp {view.lamp!r}, "
                    f"{view.angle_deg:.0f} deg off its gaze: shade it or turn it away."
                )
                if view.distance_mm < NEAR_MM:
                    said.append(
                        f"{view.lamp!r} is only {view.distance_mm:.0f} mm from the {side} "
                        "eye: its veil is an order of magnitude, no more."
                    )
        if eye.contrast_left < 0.5:
            said.append(
                f"The veil takes more than half of the contrast from the {side} eye: "
                "faces and kerbs will be missed."
            )
        if eye.left_out_lux > 0.05 * (eye.direct_lux + eye.wall_lux + eye.lens_lux):
            said.append(
                f"{eye.left_out_lux:.3g} lx reach the {side} eye at angles where the "
                "formula does not hold; they are not in the veil."
            )
    return said


def _check(
    lamps: Sequence[Lamp],
    wall_reflectance: float,
    lens_backs: Mapping[str, float] | None,
    piece: Piece,
    scene_cd_m2: float,
) -> None:
    if not len(lamps):
        msg = "lamps must hold at least one Lamp; got none."
        raise BriefError(msg)
    _check_share("wall_reflectance", wall_reflectance)
    in_range("scene_cd_m2", scene_cd_m2, low=1e-6, high=1e7, unit="cd/m²")
    known = [opening.name for opening in piece.openings]
    for name, share in (lens_backs or {}).items():
        _check_share(f"lens_backs[{name!r}]", share)
        if name not in known:
            msg = f"There is no opening {name!r}; there are {', '.join(known) or 'none'}."
            raise BriefError(msg)


def _check_share(name: str, value: float) -> None:
    if not 0 <= value <= 1:
        percent = 1 < value <= 100
        cure = f"That reads like percent: did you mean {value / 100:g}?" if percent else ""
        raise BriefError(range_message(name, low=0, high=1, unit="", got=value, cure=cure))
