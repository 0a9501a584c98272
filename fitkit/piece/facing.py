"""Which part of a piece's surface faces the head."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csc_array, diags_array
from scipy.sparse.linalg import splu

from fitkit.errors import DesignError
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh, join
from fitkit.piece.evidence import Evidence, weigh
from fitkit.piece.light import CORE_CENTRE_MM, LEAST_COVER
from fitkit.piece.links import (
    SHARP_DEG,
    Links,
    components,
    face_links,
    pull,
    smooth_patches,
)
from fitkit.piece.notes import Surface

#: Length over which the decision is smoothed where the evidence is full. [mm]
SMOOTHING_MM = 6.0
#: A patch with less than this share of the whole area is facing, or not, as a whole.
SMALL_PATCH = 0.03
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
    evidence = weigh(mesh, links)
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


def _settle(mesh: Mesh, evidence: Evidence, links: Links) -> FloatArray:
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
    pulls = np.tile(pull(mesh, links), 2)[doubtful[np.concatenate(links.faces.T)]]
    own = mesh.areas_mm2[doubtful] * evidence.weight[doubtful] / SMOOTHING_MM**2 + 1e-9
    wanted = own * evidence.says[doubtful]
    fixed = ~doubtful[b]
    wanted += np.bincount(row[a[fixed]], pulls[fixed] * settled[b[fixed]], minlength=size)
    ends = (row[a[~fixed]], row[b[~fixed]])
    joint = coo_array((pulls[~fixed], ends), shape=(size, size)).tocsc()
    own += np.bincount(row[a], pulls, minlength=size)
    factor = splu(
        csc_array(diags_array(own) - joint),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    settled[doubtful] = factor.solve(wanted)
    return settled


def _small_patches_whole(mesh: Mesh, facing: BoolArray, links: Links) -> BoolArray:
    """Let the larger part of a small patch, bounded by sharp edges, decide for all."""
    patch = smooth_patches(mesh, links)
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
        small = np.bincount(island, mesh.areas_mm2) < ISLAND_MM2
        if not wanted:  # a loose bolt is no island in the inner wall
            shore = links.faces[facing[links.faces[:, 0]] != facing[links.faces[:, 1]]]
            small &= np.bincount(island[shore.ravel()], minlength=len(small)) > 0
        facing = np.where(small[island] & (facing == wanted), not wanted, facing)
    return facing
