"""Where light from a surface ends: on the head inside the piece, or in the open."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import ConvexHull

from fitkit.errors import DesignError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh, join
from fitkit.geometry.rays import RayScene

#: Semi-axes and centre of a ball well inside any head that the piece can go over,
#: in the head frame. [mm]
CORE_SEMI_AXES_MM = (45.0, 65.0, 80.0)
CORE_CENTRE_MM = (0.0, 5.0, 20.0)
#: The core may shrink to this share of its size where the piece comes close.
LEAST_CORE_SHARE = 0.35
#: Share of directions from the core that must meet the piece.
LEAST_COVER = 0.12
#: Patches of the surface that light is sent from, at most about; rays from each.
PATCHES = 10_000
RAYS = 48
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


def trace_light(mesh: Mesh, patches: Patches) -> Light:
    """
    Follow light from each face until it meets the head or leaves into the open.

    Parameters
    ----------
    mesh : Mesh
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
    head is stood in for by an ellipsoid small enough to fit inside any. Rays are laid
    out evenly (a sunflower disc, raised to the hemisphere), so the same mesh always
    gives the same answer.
    """
    core = _core(RayScene(mesh))
    sight, direct = _exchange(mesh, core, patches)
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


def components(count: int, a: IntArray, b: IntArray) -> IntArray:
    """Number the connected sets of `count` nodes joined by edges a to b, (count,)."""
    graph = coo_array((np.ones(len(a), dtype=bool), (a, b)), shape=(count, count))
    labels: IntArray = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels


def _exchange(mesh: Mesh, core: Mesh, patches: Patches) -> tuple[csr_array, FloatArray]:
    """Give who sees whom, (p, p), and the shares of head and sky in view, (p, 2)."""
    chief = patches.chief
    aims = _hemispheres(mesh.normals[chief], turn=chief * _GOLDEN_ANGLE)
    starts = mesh.centroids[chief] + LIFT_MM * mesh.normals[chief]
    scene = RayScene(join([mesh, core]))
    hit = scene.first_hit(np.repeat(starts, RAYS, axis=0), aims.reshape(-1, 3)).face
    hit = hit.reshape(len(chief), RAYS)
    flat = mesh.areas_mm2[chief] <= 0
    on_piece = (hit >= 0) & (hit < len(mesh.faces)) & ~flat[:, None]
    meets_front = on_piece.copy()
    meets_front[on_piece] = (
        np.einsum("ij,ij->i", mesh.normals[hit[on_piece]], aims[on_piece]) < 0
    )
    row = np.nonzero(meets_front)[0]
    weights = np.full(len(row), 1 / RAYS)
    size = (len(chief), len(chief))
    sight = csr_array((weights, (row, patches.label[hit[meets_front]])), shape=size)
    direct = np.stack([hit >= len(mesh.faces), hit < 0], axis=2).mean(axis=1)
    direct[flat] = 0.0  # a face without area shines nowhere
    return sight, direct


def _hemispheres(normals: FloatArray, *, turn: FloatArray) -> FloatArray:
    """Give cosine-weighted directions above each normal, shape (p, RAYS, 3)."""
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
    aims[np.linalg.norm(normals, axis=1) == 0] = (0.0, 0.0, 1.0)
    return np.asarray(aims, dtype=float)


def _core(scene: RayScene) -> Mesh:
    """Stand an ellipsoid in for the head, shrunk where the piece comes near."""
    unit = _ball()
    reach = unit.vertices * np.array(CORE_SEMI_AXES_MM)
    length = np.linalg.norm(reach, axis=1)
    hits = scene.first_hit(np.array(CORE_CENTRE_MM), reach)
    met = hits.face >= 0
    ways = reach / length[:, None]
    behind = np.einsum("ij,ij->i", scene.mesh.normals[hits.face], ways) > 0
    _must_be_in_cavity(met, behind & met)
    share = min(1.0, 0.9 * float((hits.distance_mm / length).min()))
    if share < LEAST_CORE_SHARE:
        at = np.array(CORE_CENTRE_MM) + ways[(hits.distance_mm / length).argmin()] * (
            hits.distance_mm.min()
        )
        msg = (
            f"Something of the piece stands where the head must be, near "
            f"{np.round(at).tolist()} mm (right, front, up). Is origin_mm (the midpoint "
            "of the tragia) right?"
        )
        raise DesignError(msg)
    return Mesh(share * reach + np.array(CORE_CENTRE_MM), unit.faces)


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
