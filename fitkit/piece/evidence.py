"""What each face of a solid says about facing the head, and how surely."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.geometry.mesh import BoolArray, FloatArray, Mesh
from fitkit.geometry.rays import RayScene
from fitkit.piece.light import LIFT_MM, Patches, gather, trace_light
from fitkit.piece.links import SHARP_DEG, Links, blurred, components, smooth_patches

#: Less light from the head than this means outside; share of 1.
DARK = 0.1
#: Light that counts as surely inside, as a share of the inner wall's usual light.
BRIGHT = 0.85
#: Light that a wall must get to tell how thick walls are around it, as a share of it.
FAIRLY_BRIGHT = 0.7
#: Light that counts as dim, as a share of it.
DIM = 0.5
#: Light below which a face without a wall behind it is fairly sure to be outside.
SHADY = 0.3
#: Difference in light between the two sides of a wall that settles which is inner.
TELLING = 0.2
#: A wall is struck squarely if the cosine between its two sides is above this.
SQUARE = 0.8
#: Thickest that material still counts as a wall. [mm]
THICKEST_WALL_MM = 60.0
#: A patch narrower than this many walls may be a rim; and what is thicker is no wall,
#: the less so behind a dim face.
RIM_WALLS, DIM_WALLS = 2.0, 1.5
#: A narrow patch with dim faces along this share of its outline is a rim, however
#: bright: it looks into the cavity across the gap between two parts.
RIM_BORDER = 0.25
#: So is a wider one, up to this, if it gets less than this share of the usual light: the
#: side of a deep opening. [mm]
TUNNEL_MM, TUNNEL_LIGHT = 30.0, 0.75
#: A strip rounds off into the outside if its smooth border with the inside is less than
#: this share of that with the outside.
OUTER_ONLY = 0.5
#: Where a doubtful wall is thinner than this many walls, it is the wedge of a rim.
WEDGE_WALLS = 0.5
#: A face whose light gets nowhere, by this share, says nothing for itself.
HIDDEN = 0.1
#: Nothing can be worn in a gap narrower than this. [mm]
GAP_MM = 3.0
#: Inner faces whose median thickness is the usual one around a place.
WALL_NEIGHBOURS = 24
#: Weight of fair, weak and faint evidence; sure evidence has 1.
FAIR, WEAK, FAINT = 0.3, 0.03, 1e-4


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """What each of m faces says for itself: 1 facing, 0 not, and how surely."""

    says: FloatArray
    weight: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
    """What is seen from each of m faces; all of shape (m,)."""

    #: Whether its light gets anywhere.
    lit: BoolArray
    #: Share of it that ends on the head.
    head: FloatArray
    #: By how much that exceeds the other side's, less so where the wall is not square.
    gain: FloatArray
    #: Distance to the other side. [mm]
    thickness_mm: FloatArray
    #: Whether there is another side, near enough and square enough for a wall.
    walled: BoolArray


@dataclass(frozen=True, kw_only=True, eq=False)
class _Patch:
    """The smooth patch of wall that each of m faces lies in; all of shape (m,)."""

    #: Twice its area over its outline: its width, if it is a strip. [mm]
    width_mm: FloatArray
    #: Share of its outline beyond which a dim face lies.
    dim_border: FloatArray
    #: Light from the head, averaged over its area.
    light: FloatArray


def weigh(mesh: Mesh, links: Links) -> Evidence:
    """
    Hear every face of a solid: its light, its other side, the patch that it lies in.

    Parameters
    ----------
    mesh : Mesh
        Every part of the piece, as solids wound outward, in the head frame. [mm]
    links : Links
        From `face_links`.

    Raises
    ------
    DesignError
        If the origin does not lie in a cavity of the piece.
    """
    patches, scene = gather(mesh, links.faces), RayScene(mesh)
    view = _view(scene, patches, links)
    head, gain, walled = view.head, view.gain, view.walled
    inner = walled & (gain > TELLING / 2)
    if not inner.any():
        return Evidence(says=np.clip(head / TELLING, 0, 1), weight=np.ones_like(head))
    usual = _weighted_median(head[inner], mesh.areas_mm2[inner])
    bright, dim = head > BRIGHT * usual, head < DIM * usual
    wall = _wall_nearby(mesh, patches, view, inner & (head > FAIRLY_BRIGHT * usual))
    wedge = walled & ~bright & (view.thickness_mm < WEDGE_WALLS * wall)
    most = np.where(dim, DIM_WALLS, RIM_WALLS) * wall
    walled = walled & (view.thickness_mm < most) & ~wedge
    patch = _patches_of_wall(mesh, links, head, dim=dim)
    narrow = patch.width_mm < RIM_WALLS * wall
    tunnel = (patch.width_mm < TUNNEL_MM) & (patch.light < TUNNEL_LIGHT * usual)

    # a proper wall says which of its sides is the lighter; others go by light alone
    broad = walled & ~narrow
    alone = np.clip((head / usual - DIM) / (BRIGHT - DIM), 0, 1)
    says = np.where(broad, np.clip(gain / TELLING, 0, 1), alone)
    weight = np.where(broad | (~walled & (head < SHADY * usual)), FAIR, WEAK)

    def settle(which: BoolArray, *, at: float, weighing: float) -> None:
        says[which], weight[which] = at, weighing

    gap = _in_gap(scene)
    settle(wedge, at=0, weighing=FAIR)
    settle(bright, at=1, weighing=1)
    settle((head < DARK) & ~(broad & (gain > TELLING / 4)), at=0, weighing=1)
    settle(walled & (gain < -TELLING) & dim, at=0, weighing=1)
    settle(gap, at=0, weighing=WEAK)
    settle(~view.lit, at=0, weighing=FAINT)
    settle(~view.lit & gap, at=0, weighing=1)
    settle((narrow | tunnel) & (patch.dim_border > RIM_BORDER), at=0, weighing=1)
    settle(_outer_strips(mesh, links, says, weight), at=0, weighing=1)
    return Evidence(says=says, weight=weight)


def _view(scene: RayScene, patches: Patches, links: Links) -> _View:
    """Look from every face to the head, and through the wall behind it."""
    light = trace_light(scene, patches)
    lit = light.seen > HIDDEN
    head = np.where(lit, light.head, 0.0)
    other, thickness, square = _other_side(scene, head)
    square = blurred(scene.mesh, square, links)
    return _View(
        lit=lit,
        head=head,
        gain=square * (head - other),
        thickness_mm=thickness,
        walled=lit & (square > SQUARE) & (thickness < THICKEST_WALL_MM),
    )


def _other_side(
    scene: RayScene, light: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Look through the wall: the other side's light, its distance, how square it is."""
    mesh, solid = scene.mesh, scene.mesh.areas_mm2 > 0
    inward = np.where(solid[:, None], -mesh.normals, (0.0, 0.0, 1.0))
    hits = scene.first_hit(mesh.centroids + LIFT_MM * inward, inward)
    met = (hits.face >= 0) & solid
    square = np.einsum("ij,ij->i", mesh.normals[hits.face], inward)
    return light[hits.face], hits.distance_mm + LIFT_MM, np.where(met, square, 0.0)


def _in_gap(scene: RayScene) -> BoolArray:
    """Say which faces have something right in front of them, shape (m,)."""
    mesh, solid = scene.mesh, scene.mesh.areas_mm2 > 0
    outward = np.where(solid[:, None], mesh.normals, (0.0, 0.0, 1.0))
    starts = mesh.centroids + LIFT_MM * outward
    return scene.blocked(starts, outward, reach_mm=GAP_MM) & solid


def _wall_nearby(mesh: Mesh, patches: Patches, view: _View, inner: BoolArray) -> FloatArray:
    """Give the usual thickness of the wall around each face in mm, shape (m,)."""
    known = patches.chief[inner[patches.chief]]
    if len(known) < WALL_NEIGHBOURS:
        return np.full(len(mesh.faces), THICKEST_WALL_MM)
    at = mesh.centroids[patches.chief]
    _, near = cKDTree(mesh.centroids[known]).query(at, k=WALL_NEIGHBOURS)
    usual: FloatArray = np.median(view.thickness_mm[known][near], axis=1)[patches.label]
    return usual


def _patches_of_wall(
    mesh: Mesh, links: Links, light: FloatArray, *, dim: BoolArray
) -> _Patch:
    """Describe the patch, bounded by sharp edges, that each face belongs to."""
    a, b = links.faces.T
    patch = smooth_patches(mesh, links)
    area = np.maximum(np.bincount(patch, mesh.areas_mm2), 1e-12)
    border = patch[a] != patch[b]
    own = np.concatenate([a[border], b[border]])
    beyond = np.concatenate([b[border], a[border]])
    length = np.tile(links.length_mm[border], 2)
    outline = np.maximum(np.bincount(patch[own], length, minlength=len(area)), 1e-9)
    dim_part = np.bincount(patch[own], length * dim[beyond], minlength=len(area))
    return _Patch(
        width_mm=(2 * area / outline)[patch],
        dim_border=(dim_part / outline)[patch],
        light=(np.bincount(patch, mesh.areas_mm2 * light) / area)[patch],
    )


def _outer_strips(
    mesh: Mesh, links: Links, says: FloatArray, weight: FloatArray
) -> BoolArray:
    """
    Say which doubtful faces lie in a strip that rounds off into the outside.

    The side of an opening whose outer edge is rounded and whose inner one is sharp.
    """
    doubtful = weight < 1
    a, b = links.faces.T
    smooth = links.sharpness_deg < SHARP_DEG
    within = smooth & doubtful[a] & doubtful[b]
    strip = components(len(doubtful), a[within], b[within])
    area = np.bincount(strip, mesh.areas_mm2)
    own, beyond = np.concatenate([links.faces, links.faces[:, ::-1]]).T
    length = np.tile(links.length_mm, 2)
    leaving = strip[own] != strip[beyond]
    softly = leaving & np.tile(smooth, 2)

    def shore(rows: BoolArray) -> FloatArray:
        total = np.bincount(strip[own[rows]], length[rows], minlength=len(area))
        return np.asarray(total, dtype=float)

    sure_in = softly & (weight[beyond] == 1) & (says[beyond] == 1)
    sure_out = softly & (weight[beyond] == 1) & (says[beyond] == 0)
    slim = 2 * area < TUNNEL_MM * shore(leaving)
    outer = slim & (shore(sure_in) < OUTER_ONLY * shore(sure_out))
    return doubtful & outer[strip]


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
