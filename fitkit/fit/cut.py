"""The smallest cut in the shell that lets each eye see a wanted field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit._cut_edges import CutPatch, cut_patches
from fitkit.fit._cut_limits import Fixed, Loss, reachable
from fitkit.fit._cut_regions import (
    Keep,
    check_parts,
    common,
    far_things,
    kept_regions,
    kept_things,
    to_head,
    to_sized,
    without,
)
from fitkit.fit._cut_tool import swept_cone
from fitkit.fit._shell import eye_of, face_by_zone
from fitkit.fit._wall_solids import WallSolid, wall_solids
from fitkit.fit.field import check_eyes
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM, eye_pupil
from fitkit.fit.sight import Side
from fitkit.fit.wanted import WantedField
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.rays import RayScene
from fitkit.geometry.solids import difference, is_solid
from fitkit.piece.buildup import BuildUp, Piece, finish
from fitkit.wearer.wearer import Wearer

#: Least bridge left between the cuts of the two eyes unless another is asked for. [mm]
BRIDGE_MM = 12.0
#: How far past the piece the cutting solid reaches, over the farthest point of it.
PAST = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class EyeCut:
    """What is cut for one eye."""

    side: Side
    #: The field asked for, and the one this cut gives: smaller where something that may
    #: not be cut is in the way.
    wanted: WantedField
    given: WantedField
    #: What of the wanted field cannot be had, and why; empty if all of it can.
    losses: tuple[Loss, ...]
    #: All points between the pupil and the given field, as a solid in the head frame.
    tool: Mesh
    #: Patches of outer surface to take away, nearest to the eye first; empty if the
    #: field is seen already.
    patches: tuple[CutPatch, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Cut:
    """The smallest cut for the wanted fields, and the piece after it."""

    #: By side; only the eyes that asked for something.
    eyes: Mapping[Side, EyeCut]
    #: Every part after the cut, in the piece's own axes at the placed size. [mm]
    parts: Mapping[str, Mesh]
    #: The same parts before the cut.
    uncut: Mapping[str, Mesh]
    #: Whether every part is still a closed solid.
    is_solid: bool
    #: Volume of wall taken away. [mm³]
    volume_mm3: float
    #: Diameter of the pupil that is served whole. [mm]
    pupil_mm: float
    #: Thickness of the coat that will be laid on the cut's edges, allowed for. [mm]
    edge_coat_mm: float
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


def smallest_cut(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    wanted: Sequence[WantedField],
    pupil_mm: float = PUPIL_MM,
    bridge_mm: float = BRIDGE_MM,
    edge_coat_mm: float | None = None,
    reach_mm: float | None = None,
    keep_parts: Sequence[str] = (),
    settle: bool = False,
) -> Cut:
    """
    Compute the least that must be taken out of the shell to see the wanted fields.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
        Places in its notes that may not be cut are kept.
    placement : Placement
    wanted : sequence of WantedField
        One for each eye that wants something, from `wanted_limits`, `wanted_ellipse` or
        `wanted_en166`.
    pupil_mm : float
        Diameter of the pupil that shall be fully lit from every wanted direction; 0
        serves its centre only. [mm]
    bridge_mm : float
        Width of wall kept between the eyes; 0 for none. [mm]
    edge_coat_mm : float, optional
        Thickness that paint or flock will put on the fresh edges; the outward layers of
        a solid design unless given. [mm]
    reach_mm : float, optional
        What stands farther from the eye than this is not cut: a muzzle, say. [mm]
    keep_parts : sequence of str
        Parts that are not cut at all.
    settle : bool
        Take the nearest field that can be had where all of it cannot; refuse if False.

    Returns
    -------
    Cut

    Raises
    ------
    BriefError
        If part of a wanted field cannot be had (with why, and the nearest that can), a
        number is out of range, a name is unknown, or a part in the way is no solid.

    Notes
    -----
    A point of the shell must go if and only if a ray from some point of the pupil to
    some wanted direction meets it. These points are the Minkowski sum of the pupil's
    disc and the cone of wanted directions, so nothing smaller will do; the wall's
    thickness, its slant and the tunnel it makes are in it without a formula.
    """
    coat = _edge_coat(piece, edge_coat_mm)
    _check(pupil_mm, bridge_mm, reach_mm)
    fields = _by_side(wanted)
    check_eyes(wearer, piece, placement)
    keep = Keep(bridge_mm=bridge_mm, reach_mm=reach_mm, parts=tuple(keep_parts))
    job = _Job(
        wearer=wearer,
        piece=piece,
        placement=placement,
        walls=wall_solids(piece, placement.size),
        keep=keep,
        pupil_mm=float(pupil_mm),
        coat_mm=coat,
    )
    check_parts(keep, job.walls)
    regions = kept_regions(wearer, piece, placement, keep)
    things = kept_things(regions, job.walls, keep)
    sweeps = {
        side: _sweep(job, field, regions, things, settle) for side, field in fields.items()
    }
    return _carried_out(job, sweeps)


def with_cut(piece: Piece, cut: Cut, placement: Placement) -> Piece:
    """
    Make the piece anew after the cut, for every other question to be asked of it.

    Parameters
    ----------
    piece : Piece
        The piece that was cut.
    cut : Cut
    placement : Placement
        The placement it was cut at; its size is taken back out.

    Returns
    -------
    Piece
        A solid design keeps its layers. A skin comes back as a solid with its wall.

    Raises
    ------
    DesignError
        If nothing of the cavity is left.
    """
    parts = {name: mesh.scaled(1 / placement.size) for name, mesh in cut.parts.items()}
    was_solid = piece.design.surface == "solid"
    design = replace(piece.design, parts=MappingProxyType(parts), surface="solid")
    return finish(design, build_up=piece.build_up if was_solid else BuildUp())


# -- how it is done -------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Job:
    wearer: Wearer
    piece: Piece
    placement: Placement
    walls: Mapping[str, WallSolid]
    keep: Keep
    pupil_mm: float
    coat_mm: float

    @property
    def farthest_mm(self) -> float:
        """From the midpoint of the tragia to the farthest point of the piece."""
        placed = [
            self.placement.shift_mm + wall.mesh.vertices @ self.placement.rotation.T
            for wall in self.walls.values()
        ]
        return float(max(np.linalg.norm(points, axis=1).max() for points in placed))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sweep:
    wanted: WantedField
    given: WantedField
    losses: tuple[Loss, ...]
    #: Piece's axes at the placed size.
    tool: Mesh


def _sweep(
    job: _Job,
    field: WantedField,
    regions: Mapping[str, Mesh],
    things: Mapping[str, Mesh],
    settle: bool,
) -> _Sweep:
    """Draw the field in to what can be had, and sweep it out of the pupil."""
    eye = eye_of(job.wearer, field.side)
    pupil = eye_pupil(
        eye,
        side=field.side,
        diameter_mm=job.pupil_mm + 2 * job.coat_mm,
        samples=19 if job.pupil_mm > 0 else 1,
    )
    at = job.placement.to_sized(eye.entrance_pupil)
    kept = {**things, **far_things(at, job.walls, job.keep)}
    fixed = {name: to_head(mesh, job.placement) for name, mesh in kept.items()}
    for zone, mesh in face_by_zone(job.wearer, field.side).items():
        fixed[f"the wearer's own {zone}"] = mesh
    given, losses = reachable(field, Fixed(fixed), pupil)
    if losses and (not settle or given.reach_deg.max() == 0):
        raise BriefError(_refusal(field, given, losses))
    tool = swept_cone(
        given,
        pupil=eye.entrance_pupil,
        radius_mm=job.pupil_mm / 2,
        coat_mm=job.coat_mm,
        reach_mm=job.keep.reach_mm or PAST * (job.farthest_mm + 200),
    )
    tool = without(to_sized(tool, job.placement), regions)
    return _Sweep(wanted=field, given=given, losses=losses, tool=tool)


def _carried_out(job: _Job, sweeps: Mapping[Side, _Sweep]) -> Cut:
    parts = {name: wall.mesh for name, wall in job.walls.items()}
    eyes = {}
    for side, sweep in sweeps.items():
        pupil = job.placement.to_sized(eye_of(job.wearer, side).entrance_pupil)
        patches: list[CutPatch] = []
        for name, wall in job.walls.items():
            removed = _removed(job, name, wall, sweep)
            if removed is not None:
                patches += cut_patches(name, wall, removed, sweep.tool, pupil)
                parts[name] = difference(parts[name], sweep.tool)
        patches.sort(key=lambda patch: patch.from_pupil_mm)
        eyes[side] = EyeCut(
            side=side,
            wanted=sweep.wanted,
            given=sweep.given,
            losses=sweep.losses,
            tool=to_head(sweep.tool, job.placement),
            patches=tuple(patches),
        )
    uncut = {name: wall.mesh for name, wall in job.walls.items()}
    return Cut(
        eyes=MappingProxyType(eyes),
        parts=MappingProxyType(parts),
        uncut=MappingProxyType(uncut),
        is_solid=all(is_solid(mesh) for mesh in parts.values()),
        volume_mm3=sum(uncut[n].volume_mm3 - parts[n].volume_mm3 for n in parts),
        pupil_mm=job.pupil_mm,
        edge_coat_mm=job.coat_mm,
        cautions=tuple(_cautions(uncut, parts)),
    )


def _removed(job: _Job, name: str, wall: WallSolid, sweep: _Sweep) -> Mesh | None:
    """What the tool takes of a part; refuses parts in its way that are no solids."""
    if name in job.keep.parts:
        return None
    if wall.problem is None:
        return common(wall.mesh, sweep.tool)
    eye = eye_of(job.wearer, sweep.given.side)
    ways = np.concatenate([sweep.given.edge, sweep.given.middle[None]])
    starts = np.broadcast_to(eye.entrance_pupil, ways.shape)
    if RayScene(to_head(wall.mesh, job.placement)).blocked(starts, ways).any():
        msg = (
            f"The part '{name}' stands in the wanted field but cannot be cut: "
            f"{wall.problem}."
        )
        raise BriefError(msg)
    return None


def _refusal(field: WantedField, given: WantedField, losses: tuple[Loss, ...]) -> str:
    reasons = "; ".join(
        f"{loss.because} hides up to {loss.most_deg:.0f} deg of it, {loss.where}"
        for loss in losses[:3]
    )
    head = f"The {field.side} eye cannot be given {field.name}: {reasons}."
    if given.reach_deg.max() == 0:
        return f"{head} Nothing of it can be had from there: move the piece or the wish."
    limits = ", ".join(f"{name} {value:.0f}" for name, value in given.limits_deg().items())
    share = 100 * given.solid_angle_sr / field.solid_angle_sr
    return (
        f"{head} The nearest that can be had: {limits} deg, {share:.0f} % of the wanted "
        "solid angle. Pass settle=True to take it."
    )


def _cautions(uncut: Mapping[str, Mesh], parts: Mapping[str, Mesh]) -> list[str]:
    said = []
    for name, mesh in parts.items():
        loose = len(mesh.parts()) - len(uncut[name].parts())
        if loose > 0:
            said.append(
                f"The cut sets {loose} piece{'s' if loose > 1 else ''} of '{name}' loose: "
                "widen the bridge, ask for less, or plan how to hold them."
            )
    return said


def _edge_coat(piece: Piece, given_mm: float | None) -> float:
    if given_mm is not None:
        in_range("edge_coat_mm", given_mm, low=0, high=20, unit="mm")
        return float(given_mm)
    return float(piece.growth_mm) if piece.design.surface == "solid" else 0.0


def _check(pupil_mm: float, bridge_mm: float, reach_mm: float | None) -> None:
    in_range("pupil_mm", pupil_mm, low=0, high=9, unit="mm")
    in_range("bridge_mm", bridge_mm, low=0, high=60, unit="mm")
    if reach_mm is not None:
        in_range("reach_mm", reach_mm, low=10, high=2000, unit="mm")


def _by_side(wanted: Sequence[WantedField]) -> dict[Side, WantedField]:
    fields = {field.side: field for field in wanted}
    if not fields or len(fields) < len(wanted):
        sides = ", ".join(field.side for field in wanted) or "none"
        msg = f"wanted must hold one field for each eye that wants one; got {sides}."
        raise BriefError(msg)
    return fields
