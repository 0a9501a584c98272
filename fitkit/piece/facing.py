"""Which part of a piece's surface faces the head."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csc_array, diags_array
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh, join
from fitkit.geometry.rays import RayScene
from fitkit.piece.light import (
    CORE_CENTRE_MM,
    LEAST_COVER,
    LIFT_MM,
    Patches,
    components,
    gather,
    trace_light,
)
from fitkit.piece.notes import Surface

#: An edge sharper than this parts one patch of wall from the next. [deg]
SHARP_DEG = 30.0
#: How fast neighbours stop agreeing as the edge between them sharpens. [deg]
FADE_DEG = 25.0
#: A hollow edge counts as this much of a bulging one: creases cross an inner wall, but
#: every rim begins and ends with a bulge.
HOLLOW_EDGE = 0.6
#: Length over which the decision is smoothed where the evidence is full. [mm]
SMOOTHING_MM = 6.0
#: Less light from the head than this means outside; share of 1.
DARK = 0.1
#: Light that counts as surely inside, as a share of the inner wall's usual light.
BRIGHT = 0.85
#: Difference in light between the two sides of a wall that settles which is inner.
TELLING = 0.2
#: A wall is struck squarely if the cosine between its two sides is above this.
SQUARE = 0.7
#: A face less high than this over its longest edge is a needle without a sure normal.
#: [mm]
NEEDLE_MM = 0.02
#: Thickest that material still counts as a wall. [mm]
THICKEST_WALL_MM = 60.0
#: A patch narrower than this many walls may be a rim.
RIM_WALLS = 2.0
#: A narrow patch with dim faces along this share of its outline is a rim, however
#: bright: it looks into the cavity across the gap between two parts.
RIM_BORDER = 0.25
#: So is a wider one, up to this, if it gets less than this share of the usual light: the
#: side of a deep opening. [mm]
TUNNEL_MM, TUNNEL_LIGHT = 30.0, 0.75
#: A patch with less than this share of the whole area is facing, or not, as a whole.
SMALL_PATCH = 0.03
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
#: Smaller islands, of facing or of not facing, are not believed. [mm²]
ISLAND_MM2 = 400.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Split:
    """A drawn piece, parted into what faces the head and what is seen from outside."""

    #: What faces the head, wound away from it, with simple rims. [mm]
    facing: Mesh
    #: The outside as drawn; with a drawn wall, its rims too. [mm]
    skin: Mesh
    #: Part that each face of `facing` comes from, by order, shape (m,).
    part: IntArray
    #: What was turned over or looks odd, in words; empty if nothing.
    words: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Links:
    """Pairs of faces that share an edge."""

    #: The two faces, shape (k, 2).
    faces: IntArray
    #: Turn between their normals, halved where the solid is hollow, shape (k,). [deg]
    sharpness_deg: FloatArray
    #: Length of the edge, shape (k,). [mm]
    length_mm: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class _Evidence:
    """What each of m faces says for itself: 1 facing, 0 not, and how surely."""

    says: FloatArray
    weight: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class _Patch:
    """The smooth patch of wall that each of m faces lies in; all of shape (m,)."""

    #: Twice its area over its outline: its width, if it is a strip. [mm]
    width_mm: FloatArray
    #: Share of its outline beyond which a dim face lies.
    dim_border: FloatArray
    #: Light from the head, averaged over its area.
    light: FloatArray


def split_by_facing(parts: Mapping[str, Mesh], *, surface: Surface) -> Split:
    """
    Part a drawn piece into what faces the head and what is seen from outside.

    Parameters
    ----------
    parts : mapping of Mesh
        Parts by name, in the head frame. [mm]
    surface : {"outer", "inner", "solid"}
        What the parts are. A drawn skin faces the head with all of its faces; of a
        solid, `facing_faces` says which.

    Raises
    ------
    DesignError
        If the origin does not lie in a cavity of the piece, or nothing faces the head.
    """
    if surface == "solid":
        whole = join(list(parts.values()))
        facing = facing_faces(whole)
        return Split(
            facing=split_from(whole, facing),
            skin=whole.submesh(~facing),
            part=_part_of_faces(parts)[facing],
            words=(),
        )
    turned, words = _wound_outward(parts)
    skin = join(turned)
    cover = inward_check(skin)
    if cover < LEAST_COVER:
        msg = (
            f"The drawn {surface} skin surrounds only {100 * max(cover, 0):.0f} % of the "
            "directions from the midpoint of the tragia. Give origin_mm in the notes, "
            "and check unit, front and up."
        )
        raise DesignError(msg)
    return Split(facing=skin, skin=skin, part=_part_of_faces(parts), words=words)


def facing_faces(mesh: Mesh) -> BoolArray:
    """
    Find the faces of a solid with a wall that face the head.

    Parameters
    ----------
    mesh : Mesh
        Every part of the piece, as solids wound outward, in the head frame. [mm]

    Returns
    -------
    ndarray of bool, shape (m,)
        True on the inner wall; False on the outside and on the rims, where the wall's
        thickness shows at an opening.

    Raises
    ------
    DesignError
        If the origin does not lie in a cavity, or nothing faces the head.

    Notes
    -----
    A face is judged by the light it sends to the head (see `trace_light`), compared
    with that of the face on the other side of its wall, and by whether it belongs to
    a patch as narrow as the wall is thick, which makes it a rim. A linear solve on the
    graph of faces then settles the doubtful ones by their neighbours: (W + L) x = W d,
    with L the Laplacian whose weights fall off across sharp convex edges (L. Grady,
    "Random walks for image segmentation", IEEE PAMI 28(11) (2006), with soft seeds).
    """
    links = face_links(mesh)
    evidence = _weigh(mesh, gather(mesh, links.faces), links)
    facing = _settle(mesh, evidence, links) > 0.5
    facing = _small_patches_whole(mesh, facing, links)
    facing = _smooth_outline(facing, links)
    facing = _without_islands(mesh, facing, links)
    if not facing.any():
        msg = (
            "No wall of the piece faces the head. Is the origin the midpoint of the "
            'tragia, and is it a solid with a wall ("surface": "solid")?'
        )
        raise DesignError(msg)
    return facing


def face_links(mesh: Mesh) -> Links:
    """Pair up the faces at every shared edge; at a worse edge, each with the next."""
    edge = mesh.face_edges.ravel()
    order = np.argsort(edge, kind="stable")
    edge, face = edge[order], order // 3
    same = edge[1:] == edge[:-1]
    pairs = np.column_stack([face[:-1][same], face[1:][same]])
    ends = mesh.vertices[mesh.edges[edge[1:][same]]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    normals = _trusted_normals(mesh, pairs, length)
    first, second = normals[pairs[:, 0]], normals[pairs[:, 1]]
    turn = np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", first, second), -1, 1)))
    across = mesh.centroids[pairs[:, 1]] - mesh.centroids[pairs[:, 0]]
    convex = np.einsum("ij,ij->i", across, second - first) > 0
    return Links(
        faces=pairs,
        sharpness_deg=np.where(convex, turn, HOLLOW_EDGE * turn),
        length_mm=length,
    )


def _trusted_normals(mesh: Mesh, pairs: IntArray, length: FloatArray) -> FloatArray:
    """
    Let needles, too thin for a sure normal, borrow that of a sound face.

    The lender is the face reached with the least sum of 1 / length² over the edges
    that are crossed: a fan of needles borrows along its long edges, not over its rim.
    """
    longest = np.zeros(len(mesh.faces))
    for ends in pairs.T:
        np.maximum.at(longest, ends, length)
    needle = 2 * mesh.areas_mm2 < NEEDLE_MM * longest
    if not needle.any() or needle.all():
        return mesh.normals
    near = needle[pairs].any(axis=1)
    count = len(mesh.faces)
    cost = 1 / np.maximum(length[near], 1e-6) ** 2
    graph = coo_array((cost, tuple(pairs[near].T)), shape=(count, count)).tocsr()
    sound = np.nonzero(~needle)[0]
    _, _, lender = dijkstra(
        graph,
        directed=False,
        indices=sound,
        min_only=True,
        return_predecessors=True,
    )
    return np.asarray(mesh.normals[np.where(lender >= 0, lender, np.arange(count))])


def split_from(mesh: Mesh, chosen: BoolArray) -> Mesh:
    """
    Cut some faces out of a mesh and turn them over, with simple rims.

    Where two fans of chosen faces touch in one vertex only, the vertex is doubled, so
    that every rim is a simple loop. Face k of the result is the k-th chosen face.
    """
    faces = mesh.faces[chosen]
    kept = Mesh(mesh.vertices, faces)
    links = face_links(kept)
    first, second = faces[links.faces[:, 0]], faces[links.faces[:, 1]]
    row, own, other = np.nonzero(first[:, :, None] == second[:, None, :])
    fan = components(
        3 * len(faces), 3 * links.faces[row, 0] + own, 3 * links.faces[row, 1] + other
    )
    first = np.unique(fan, return_index=True)[1]
    return Mesh(mesh.vertices[faces.ravel()[first]], fan.reshape(-1, 3)[:, ::-1])


def inward_check(mesh: Mesh) -> float:
    """
    Give the winding number of a skin at the head's core: about 1 if wound outward.

    The sum of solid angles of A. van Oosterom and J. Strackee, "The solid angle of a
    plane triangle", IEEE Trans. Biomed. Eng. 30(2), 125-126 (1983), over 4 pi.
    """
    a, b, c = np.moveaxis(mesh.triangles - np.array(CORE_CENTRE_MM), 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc + lc * np.einsum("ij,ij->i", a, b)
    below += lb * np.einsum("ij,ij->i", a, c) + la * np.einsum("ij,ij->i", b, c)
    return float(np.arctan2(volume, below).sum() / (2 * np.pi))


def _part_of_faces(parts: Mapping[str, Mesh]) -> IntArray:
    counts = [len(mesh.faces) for mesh in parts.values()]
    return np.repeat(np.arange(len(counts)), counts)


def _wound_outward(parts: Mapping[str, Mesh]) -> tuple[list[Mesh], tuple[str, ...]]:
    """Turn skins that are wound towards the head."""
    turned, words = [], []
    for name, mesh in parts.items():
        inward = inward_check(mesh) < 0
        turned.append(mesh.flipped() if inward else mesh)
        if inward:
            words.append(f"{name}: its faces looked towards the head and were turned over.")
    return turned, tuple(words)


def _weigh(mesh: Mesh, patches: Patches, links: Links) -> _Evidence:
    scene = RayScene(mesh)
    light = trace_light(scene, patches)
    lit = light.seen > HIDDEN
    head = np.where(lit, light.head, 0.0)
    other, thickness, squareness = _other_side(scene, head)
    gain = squareness * (head - other)
    walled = lit & (squareness > SQUARE) & (thickness < THICKEST_WALL_MM)
    inner = walled & (gain > TELLING / 2)
    if not inner.any():
        return _Evidence(says=np.clip(head / TELLING, 0, 1), weight=np.ones_like(head))
    usual = _weighted_median(head[inner], mesh.areas_mm2[inner])
    bright = head > BRIGHT * usual
    wall = _wall_nearby(mesh, patches, thickness, inner)
    wedge = walled & (thickness < WEDGE_WALLS * wall)
    walled &= (thickness < RIM_WALLS * wall) & ~wedge
    patch = _patches_of_wall(mesh, links, head, dim=head < usual / 2)
    narrow = patch.width_mm < RIM_WALLS * wall
    tunnel = (patch.width_mm < TUNNEL_MM) & (patch.light < TUNNEL_LIGHT * usual)
    broad = walled & ~narrow
    says = np.where(broad, np.clip(gain / TELLING, 0, 1), bright.astype(float))
    weight = np.where(broad | wedge, FAIR, WEAK)
    sure = bright | (head < DARK) | (walled & (gain < -TELLING / 2))
    weight[sure], says[bright] = 1.0, 1.0
    gap = _in_gap(scene)
    weight[gap], says[gap] = WEAK, 0.0
    weight[~lit], says[~lit] = np.where(gap, 1.0, FAINT)[~lit], 0.0
    rim = (narrow | tunnel) & (patch.dim_border > RIM_BORDER)
    weight[rim], says[rim] = 1.0, 0.0
    return _Evidence(says=says, weight=weight)


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


def _wall_nearby(
    mesh: Mesh, patches: Patches, thickness: FloatArray, inner: BoolArray
) -> FloatArray:
    """Give the usual thickness of the wall around each face in mm, shape (m,)."""
    known = patches.chief[inner[patches.chief]]
    if len(known) < WALL_NEIGHBOURS:
        return np.full(len(thickness), THICKEST_WALL_MM)
    at = mesh.centroids[patches.chief]
    _, near = cKDTree(mesh.centroids[known]).query(at, k=WALL_NEIGHBOURS)
    usual: FloatArray = np.median(thickness[known][near], axis=1)[patches.label]
    return usual


def _patches_of_wall(
    mesh: Mesh, links: Links, light: FloatArray, *, dim: BoolArray
) -> _Patch:
    """Describe the patch, bounded by sharp edges, that each face belongs to."""
    a, b = links.faces.T
    patch = _smooth_patches(mesh, links)
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


def _settle(mesh: Mesh, evidence: _Evidence, links: Links) -> FloatArray:
    """Solve (W + L) x = W d for the doubtful faces; what the others say stands."""
    doubtful = evidence.weight < 1
    row = np.cumsum(doubtful) - 1
    size = int(doubtful.sum())
    settled = evidence.says.copy()
    if not size:
        return settled
    a, b = np.concatenate([links.faces, links.faces[:, ::-1]])[
        doubtful[np.concatenate([links.faces[:, 0], links.faces[:, 1]])]
    ].T
    pull = np.tile(_pull(mesh, links), 2)[doubtful[np.concatenate(links.faces.T)]]
    own = mesh.areas_mm2[doubtful] * evidence.weight[doubtful] / SMOOTHING_MM**2 + 1e-9
    wanted = own * evidence.says[doubtful]
    fixed = ~doubtful[b]
    wanted += np.bincount(row[a[fixed]], pull[fixed] * settled[b[fixed]], minlength=size)
    ends = (row[a[~fixed]], row[b[~fixed]])
    joint = coo_array((pull[~fixed], ends), shape=(size, size)).tocsc()
    own += np.bincount(row[a], pull, minlength=size)
    factor = splu(
        csc_array(diags_array(own) - joint),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    settled[doubtful] = factor.solve(wanted)
    return settled


def _pull(mesh: Mesh, links: Links) -> FloatArray:
    """Give how strongly linked faces agree: as heat flows, and not round a sharp edge."""
    a, b = links.faces.T
    apart = np.linalg.norm(mesh.centroids[a] - mesh.centroids[b], axis=1)
    stretch = np.clip(links.length_mm / np.maximum(apart, 1e-9), 0.01, 10)
    fade = np.exp(-((links.sharpness_deg / FADE_DEG) ** 2))
    return np.asarray(stretch * np.maximum(fade, 1e-4), dtype=float)


def _smooth_patches(mesh: Mesh, links: Links) -> IntArray:
    """Give the patch, bounded by sharp edges, that each face is in, shape (m,)."""
    return components(len(mesh.faces), *links.faces[links.sharpness_deg < SHARP_DEG].T)


def _small_patches_whole(mesh: Mesh, facing: BoolArray, links: Links) -> BoolArray:
    """Let the larger part of a small patch, bounded by sharp edges, decide for all."""
    patch = _smooth_patches(mesh, links)
    area = np.bincount(patch, mesh.areas_mm2)
    share = np.bincount(patch, mesh.areas_mm2 * facing) / np.maximum(area, 1e-12)
    small = area < SMALL_PATCH * mesh.area_mm2
    return np.where(small[patch], share[patch] > 0.5, facing)


def _smooth_outline(facing: BoolArray, links: Links) -> BoolArray:
    """Turn single teeth over where the outline runs across smooth wall."""
    smooth = links.sharpness_deg < SHARP_DEG
    a, b = links.faces[smooth].T
    for _ in range(4):
        differ = facing[a] != facing[b]
        against = np.bincount(np.append(a[differ], b[differ]), minlength=len(facing))
        teeth = against >= 2
        if not teeth.any():
            break
        facing = facing ^ (teeth & facing)
        differ = facing[a] != facing[b]
        against = np.bincount(np.append(a[differ], b[differ]), minlength=len(facing))
        facing = facing | ((against >= 2) & ~facing)
    return facing


def _without_islands(mesh: Mesh, facing: BoolArray, links: Links) -> BoolArray:
    """Drop small islands of facing, and fill small islands within it."""
    for wanted in (False, True):
        a, b = links.faces[(facing[links.faces] == wanted).all(axis=1)].T
        island = components(len(facing), a, b)
        small = np.bincount(island, mesh.areas_mm2)[island] < ISLAND_MM2
        facing = np.where(small & (facing == wanted), not wanted, facing)
    return facing


def _weighted_median(values: FloatArray, weights: FloatArray) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
