"""What is wrong with a mesh, in words, and the repairs that cannot do harm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import igl
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from fitkit.errors import MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from fitkit.geometry.units import Unit, plausible_units, size_words

#: Vertices nearer than this are one: far below what any workshop can make. [mm]
WELD_MM = 0.001
#: A face whose area is below this share of its longest edge squared is degenerate.
FLAT = 1e-9


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """What is wrong with a mesh; edges are counted after vertices are welded."""

    #: Vertices that repeat another one within 0.001 mm.
    duplicate_vertices: int
    #: Faces that repeat another one.
    duplicate_faces: int
    #: Faces without area.
    degenerate: int
    #: Edges that belong to one face only.
    open_edges: int
    #: Lengths of the loops that they form, longest first. [mm]
    hole_lengths_mm: tuple[float, ...]
    #: Edges that more than two faces share.
    nonmanifold_edges: int
    #: Faces to turn so that neighbours agree and closed parts point outward.
    flipped: int
    #: Connected parts beyond the largest one.
    loose_parts: int
    #: Extent along right, front, up. [mm]
    size_mm: tuple[float, float, float]
    #: Unit that the numbers seem to be in: "mm" if they are right; None if no unit fits.
    likely_unit: Unit | None
    #: The same in sentences; empty means nothing is wrong.
    words: tuple[str, ...]


def diagnose(mesh: Mesh) -> Diagnosis:
    """
    Look for what would spoil a fit.

    Parameters
    ----------
    mesh : Mesh
        Any mesh, as read.

    Returns
    -------
    Diagnosis
        Counts and words. A headpiece has its longest side between 150 and 1200 mm.
    """
    welded = _welded(mesh)
    tidy = _tidied(welded)
    longest = float(mesh.size_mm.max())
    units = plausible_units(longest)
    right, front, up = (float(side) for side in mesh.size_mm)
    facts = Diagnosis(
        duplicate_vertices=len(np.unique(mesh.faces)) - len(np.unique(welded.faces)),
        duplicate_faces=int(_is_repeat(welded.faces).sum()),
        degenerate=int(_is_flat(welded).sum()),
        open_edges=int(tidy.open_edges.sum()),
        hole_lengths_mm=tuple(tidy.loop_length_mm(loop) for loop in tidy.boundary_loops),
        nonmanifold_edges=int((tidy.edge_uses > 2).sum()),
        flipped=int(_is_flipped(tidy).sum()),
        loose_parts=int(tidy.face_parts.max(initial=0)),
        size_mm=(right, front, up),
        likely_unit=units[0] if units else None,
        words=(),
    )
    return replace(facts, words=tuple(_sentences(facts, tidy)))


def mend(mesh: Mesh) -> tuple[Mesh, tuple[str, ...]]:
    """
    Do the repairs that cannot change the shape.

    Parameters
    ----------
    mesh : Mesh
        Any mesh, as read.

    Returns
    -------
    tuple of Mesh and tuple of str
        The mended mesh, and what was done and left undone, in words.

    Raises
    ------
    MeshError
        If no face is left.

    Notes
    -----
    Vertices within 0.001 mm are welded; faces that repeat another, or whose corners
    became one, are dropped; faces are turned to agree with their neighbours, and closed
    parts to point outward (inward, if they lie inside another as a cavity does). Holes
    are never filled, parts never dropped, thin faces kept: without them the mesh would
    come apart.
    """
    welded = _welded(mesh)
    tidy = _tidied(welded)
    flipped = _is_flipped(tidy)
    turned = np.where(flipped[:, None], tidy.faces[:, ::-1], tidy.faces)
    mended = Mesh(tidy.vertices, turned)
    done = (
        (len(np.unique(mesh.faces)) - len(np.unique(welded.faces)), _WELDED),
        (len(welded.faces) - len(tidy.faces), "Dropped {} repeated or collapsed faces."),
        (int(flipped.sum()), "Turned {} faces round."),
        (len(mended.boundary_loops), "Left {} holes open."),
        (int((mended.edge_uses > 2).sum()), _TANGLED),
    )
    return mended, tuple(text.format(count) for count, text in done if count)


_WELDED = "Joined {} vertices to another at the same place."
_TANGLED = "Left {} edges that more than two faces share; look at them by hand."


def _sentences(facts: Diagnosis, tidy: Mesh) -> Iterator[str]:
    if facts.duplicate_vertices:
        yield (
            f"{facts.duplicate_vertices} vertices repeat another, so faces are not "
            "joined there; mend joins them."
        )
    if facts.duplicate_faces:
        yield f"{facts.duplicate_faces} faces repeat another; mend drops them."
    if facts.degenerate:
        yield f"{facts.degenerate} faces have no area; mend drops those that collapsed."
    if facts.flipped:
        yield f"{facts.flipped} faces are wound the wrong way; mend turns them."
    if facts.nonmanifold_edges:
        yield (
            f"{facts.nonmanifold_edges} edges are shared by more than two faces: walls "
            "inside, or parts that touch. Look at them by hand."
        )
    if facts.open_edges:
        yield _hole_words(facts.hole_lengths_mm)
    if facts.loose_parts:
        yield _loose_words(tidy)
    if facts.likely_unit != "mm":
        yield (
            f"The longest side is {max(facts.size_mm):.4g} mm, but a headpiece has 150 to "
            f"1200 mm. The number is {size_words(max(facts.size_mm))}."
        )


def _hole_words(lengths: tuple[float, ...]) -> str:
    shown = ", ".join(f"{length:.0f}" for length in lengths[:6])
    more = f" and {len(lengths) - 6} shorter" if len(lengths) > 6 else ""
    return (
        f"The surface has {len(lengths)} holes, {shown} mm around{more}. Openings are "
        "meant to be there; others are not filled."
    )


def _loose_words(mesh: Mesh) -> str:
    sizes = np.bincount(mesh.face_parts)
    small = mesh.submesh(mesh.face_parts == np.argmin(sizes))
    return (
        f"There are {len(sizes)} separate parts, the smallest with {len(small.faces)} "
        f"faces and {small.size_mm.max():.1f} mm long. Is each of them wanted?"
    )


def _welded(mesh: Mesh) -> Mesh:
    """Give the same faces, with vertices at one place made one; none are dropped."""
    places, place = _places(mesh.vertices)
    pairs = cKDTree(places).query_pairs(WELD_MM, output_type="ndarray")
    size = len(places)
    links = coo_array((np.ones(len(pairs), dtype=bool), tuple(pairs.T)), (size, size))
    count, label = connected_components(links, directed=False)
    keeper = np.full(count, size, dtype=np.int64)
    np.minimum.at(keeper, label, np.arange(size))
    return Mesh(places[keeper], label[place][mesh.faces].astype(np.int64))


def _places(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Give each distinct point once, and the row of each given point among them."""
    order = np.lexsort(points.T)
    rows = points[order]
    is_new = np.append(True, (rows[1:] != rows[:-1]).any(axis=1))
    place = np.empty(len(points), dtype=np.int64)
    place[order] = np.cumsum(is_new) - 1
    return rows[is_new], place


def _tidied(mesh: Mesh) -> Mesh:
    """Drop collapsed and repeated faces, and vertices that none uses."""
    wanted = ~(_is_collapsed(mesh.faces) | _is_repeat(mesh.faces))
    if not wanted.any():
        msg = "No face is left once collapsed and repeated ones are dropped."
        raise MeshError(msg)
    return mesh.submesh(wanted)


def _is_collapsed(faces: IntArray) -> BoolArray:
    same: BoolArray = (faces == np.roll(faces, 1, axis=1)).any(axis=1)
    return same


def _is_repeat(faces: IntArray) -> BoolArray:
    """Say which faces have the corners of an earlier one, whichever way round."""
    _, first = np.unique(np.sort(faces, axis=1), axis=0, return_index=True)
    later = np.ones(len(faces), dtype=bool)
    later[first] = False
    repeats: BoolArray = later & ~_is_collapsed(faces)
    return repeats


def _is_flat(mesh: Mesh) -> BoolArray:
    sides = np.linalg.norm(mesh.triangles - np.roll(mesh.triangles, 1, axis=1), axis=2)
    flat: BoolArray = mesh.areas_mm2 <= FLAT * sides.max(axis=1) ** 2
    return flat


def _is_flipped(mesh: Mesh) -> BoolArray:
    """Say which faces to turn so that neighbours agree and closed parts face outward."""
    agreed, patch = igl.bfs_orient(mesh.faces)
    turned = np.asarray((agreed != mesh.faces).any(axis=1))
    oriented = Mesh(mesh.vertices, agreed)
    patches = np.split(np.argsort(patch, kind="stable"), np.cumsum(np.bincount(patch))[:-1])
    solids = _Closed([(rows, oriented.submesh(rows)) for rows in patches if len(rows) > 3])
    settled = np.zeros(len(patches), dtype=bool)
    for rows, shape in solids.not_inside_another():
        turned[rows] ^= shape.volume_mm3 < 0
        settled[patch[rows[0]]] = True
    mostly = np.bincount(patch, np.where(turned, 1, -1) * mesh.areas_mm2) > 0
    turned[(mostly & ~settled)[patch]] ^= True
    return turned


class _Closed:
    """The closed ones among some parts, and which of them lie inside others."""

    def __init__(self, parts: list[tuple[IntArray, Mesh]]) -> None:
        self._parts = [(rows, shape) for rows, shape in parts if shape.is_closed]
        boxes = np.array([shape.bounds_mm for _, shape in self._parts])
        self._low, self._high = np.moveaxis(boxes.reshape(-1, 2, 3), 1, 0)

    def not_inside_another(self) -> Iterator[tuple[IntArray, Mesh]]:
        """Give the parts that lie inside an even number of others: not cavities."""
        for number, (rows, shape) in enumerate(self._parts):
            point = shape.vertices[:1]
            around = np.all((self._low <= point) & (point <= self._high), axis=1)
            around[number] = False
            others = [self._parts[k][1] for k in np.nonzero(around)[0]]
            inside = sum(abs(SurfaceTree(o).winding(point)[0]) > 0.5 for o in others)
            if inside % 2 == 0:
                yield rows, shape
