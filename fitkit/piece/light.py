"""Where light from a surface ends: on the head inside the piece, or in the open."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.sparse import csr_array
from scipy.spatial import ConvexHull

from fitkit.errors import DesignError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh, join
from fitkit.geometry.rays import RayScene
from fitkit.piece.links import components

#: The head is stood in for by an ellipsoid inside that of any adult, and a neck that
#: reaches down to this height, in the head frame. [mm]
CORE_SEMI_AXES_MM = (60.0, 80.0, 95.0)
CORE_CENTRE_MM = (0.0, 5.0, 20.0)
NECK_RADIUS_MM, NECK_FOOT_MM = 40.0, -115.0
#: They keep within this share of the way to the piece.
CLEARANCE = 0.85
#: Share of directions from the core that must meet the piece.
LEAST_COVER = 0.12
#: Patches of the surface that light is sent from, about; rays from each. A smaller
#: patch sends none.
PATCHES = 7000
RAYS = 48
LEAST_PATCH_MM2 = 0.2
#: Share of light that a wall throws back.
WHITENESS = 0.9
#: Light is followed until no patch changes by more than this.
SETTLED = 1e-3
MOST_BOUNCES = 100
#: Rays start this far off the surface. [mm]
LIFT_MM = 0.02
_GOLDEN_ANGLE = np.pi * (3 - np.sqrt(5))


@dataclass(frozen=True, eq=False)
class Patches:
    """Faces gathered into small patches that look one way."""

    #: Patch of each face, shape (m,).
    label: IntArray
    #: The largest face of each patch, shape (p,).
    chief: IntArray


@dataclass(frozen=True, eq=False)
class Light:
    """Where light from each of m faces ends."""

    #: Share of the light that gets anywhere that ends on the head, shape (m,): 0 for a
    #: face on the outside, however deep its fold; near 1 in the depth of the cavity.
    head: FloatArray
    #: Share that gets anywhere, head or open, before the walls have swallowed it,
    #: shape (m,): near 0 in a gap between two parts, or inside the material.
    seen: FloatArray


def trace_light(scene: RayScene, patches: Patches) -> Light:
    """
    Follow light from each face until it meets the head or leaves into the open.

    Parameters
    ----------
    scene : RayScene
        Every part of the piece, as solids wound outward, in the head frame. [mm]
    patches : Patches
        From `gather`.

    Raises
    ------
    DesignError
        If the origin does not lie in a cavity of the piece.

    Notes
    -----
    A lamp on the face shines by Lambert's law; surfaces it meets are matt and throw a
    fixed share of the light back; head and sky are black. The shares that end on the
    head, and in the sky, each solve the discrete radiosity equation x = h + r T x, with
    h the share that gets there directly and r the share thrown back: C. Goral et al.,
    "Modeling the interaction of light between diffuse surfaces", SIGGRAPH (1984). The
    wearer is stood in for by an ellipsoid and a neck that keep clear of the piece. Rays
    are laid out evenly (a sunflower disc, raised to the hemisphere), so the same mesh
    always gives the same answer.
    """
    sight, direct = _exchange(scene.mesh, _core(scene), patches)
    shares = direct
    for _ in range(MOST_BOUNCES):
        onward = direct + WHITENESS * (sight @ shares)
        settled = float(np.abs(onward - shares).max()) < SETTLED
        shares = onward
        if settled:
            break
    head, sky = shares[patches.label].T
    seen = head + sky
    return Light(head=head / np.maximum(seen, 1e-9), seen=seen)


def gather(mesh: Mesh, links: IntArray, *, patches: int = PATCHES) -> Patches:
    """
    Gather faces by place and by the axis that they look along.

    Parameters
    ----------
    mesh : Mesh
    links : ndarray of int, shape (k, 2)
        Pairs of faces that share an edge: a patch hangs together, or two walls one
        close behind the other would be taken for one.
    patches : int
        About how many.
    """
    step = np.sqrt(max(mesh.area_mm2, 1e-12) / patches)
    cell = np.floor((mesh.centroids - mesh.bounds_mm[0]) / step).astype(np.int64)
    axis = np.abs(mesh.normals).argmax(axis=1)
    ahead = np.take_along_axis(mesh.normals, axis[:, None], axis=1)[:, 0] > 0
    key = np.ravel_multi_index(
        (*cell.T, axis, ahead.astype(np.int64)), (*(cell.max(axis=0) + 1), 3, 2)
    )
    within = links[key[links[:, 0]] == key[links[:, 1]]]
    label = components(len(key), *within.T)
    order = np.lexsort((-mesh.areas_mm2, label))
    first = np.append(True, np.diff(label[order]) > 0)
    return Patches(label, order[first])


def _exchange(mesh: Mesh, core: Mesh, patches: Patches) -> tuple[csr_array, FloatArray]:
    """Give who sees whom, (p, p), and the shares of head and sky in view, (p, 2)."""
    count, area = len(patches.chief), np.bincount(patches.label, mesh.areas_mm2)
    shining = np.nonzero(area > LEAST_PATCH_MM2)[0]
    chief = patches.chief[shining]
    aims = _hemispheres(mesh.normals[chief], turn=chief * _GOLDEN_ANGLE)
    starts = np.repeat(mesh.centroids[chief] + LIFT_MM * mesh.normals[chief], RAYS, axis=0)
    hit = RayScene(join([mesh, core])).first_hit(starts, aims).face
    row = np.repeat(shining, RAYS)
    on_piece = np.nonzero((hit >= 0) & (hit < len(mesh.faces)))[0]
    slope = np.einsum("ij,ij->i", mesh.normals[hit[on_piece]], aims[on_piece])
    met = on_piece[slope < 0]  # the back of a face is met inside the material only
    pairs = (row[met], patches.label[hit[met]])
    sight = csr_array((np.full(len(met), 1 / RAYS), pairs), shape=(count, count))
    ends = [np.bincount(row[k], minlength=count) for k in (hit >= len(mesh.faces), hit < 0)]
    return sight, np.column_stack(ends) / RAYS


def _hemispheres(normals: FloatArray, *, turn: FloatArray) -> FloatArray:
    """Give cosine-weighted directions above each normal, shape (p * RAYS, 3)."""
    helper = np.eye(3)[np.abs(normals).argmin(axis=1)]
    side = np.cross(helper, normals)
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-12)
    other = np.cross(normals, side)
    count = np.arange(RAYS)
    radius = np.sqrt((count + 0.5) / RAYS)
    angle = count * _GOLDEN_ANGLE + turn[:, None]
    aims = (
        (radius * np.cos(angle))[..., None] * side[:, None]
        + (radius * np.sin(angle))[..., None] * other[:, None]
        + np.sqrt(1 - radius**2)[None, :, None] * normals[:, None]
    )
    return np.asarray(aims, dtype=float).reshape(-1, 3)


def _core(scene: RayScene) -> Mesh:
    """Stand head and neck in for the wearer, pulled in where the piece comes near."""
    ball, centre = _ball(), np.array(CORE_CENTRE_MM)
    ways = ball.vertices
    hits = scene.first_hit(centre, ways)
    met = hits.face >= 0
    behind = np.einsum("ij,ij->i", scene.mesh.normals[hits.face], ways) > 0
    _must_be_in_cavity(met, behind & met)
    wanted = _reach(ways, foot_mm=max(NECK_FOOT_MM, float(scene.mesh.bounds_mm[0, 2])))
    reach = np.minimum(wanted, CLEARANCE * hits.distance_mm)
    return Mesh(reach[:, None] * ways + centre, ball.faces)


def _reach(ways: FloatArray, *, foot_mm: float) -> FloatArray:
    """Give how far head and neck reach from the core's centre along unit ways, (n,)."""
    head = 1 / np.linalg.norm(ways / np.array(CORE_SEMI_AXES_MM), axis=1)
    neck = NECK_RADIUS_MM / np.maximum(np.hypot(ways[:, 0], ways[:, 1]), 1e-9)
    depth = max(CORE_CENTRE_MM[2] - foot_mm, 0.0)
    neck = np.minimum(neck, depth / np.maximum(-ways[:, 2], 1e-9))
    reach: FloatArray = np.where(ways[:, 2] < 0, np.maximum(head, neck), head)
    return reach


def _must_be_in_cavity(met: np.ndarray, behind: np.ndarray) -> None:
    where = "The origin must be the midpoint of the tragia, in the piece's cavity"
    if met.mean() < LEAST_COVER:
        msg = (
            f"{where}; only {100 * met.mean():.0f} % of the directions from there meet "
            "the piece. Give origin_mm in the notes, and check unit, front and up."
        )
        raise DesignError(msg)
    if behind.sum() > 0.5 * met.sum():
        msg = (
            f"{where}; it lies inside the material. Is the mesh a closed skin without "
            'a wall? Then say "surface": "outer" in the notes. Is it inside out? Then '
            "turn its faces."
        )
        raise DesignError(msg)


@cache
def _ball() -> Mesh:
    """Give a ball of radius 1, wound outward."""
    count = np.arange(400)
    up = 1 - 2 * (count + 0.5) / 400
    turn = count * _GOLDEN_ANGLE
    out = np.sqrt(1 - up**2)
    points = np.column_stack([out * np.cos(turn), out * np.sin(turn), up])
    faces = ConvexHull(points).simplices.astype(np.int64)
    a, b, c = np.moveaxis(points[faces], 1, 0)
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a) < 0
    faces[inward] = faces[inward, ::-1]
    return Mesh(points, faces)
