"""Meshes that leave: the parts at the size to make them, and the fit as it sits."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np

from fitkit.assess import Assessment
from fitkit.fit.cut import Cut
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh

#: Formats in which parts to make are written; both are in mm.
TO_MAKE = (".stl", ".3mf")
#: From right, front, up to the axes of glTF 2.0, section 3.4: +Y up, +Z the front of a
#: model, -X its right.
GLTF_AXES = np.array(
    [
        [-1.0, 0.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 0.0, 1.0],
    ]
)
#: Longest name of a part in a file name.
LONGEST_NAME = 40


def write_meshes(assessment: Assessment, folder: Path) -> tuple[tuple[str, str], ...]:
    """
    Write the meshes of an assessment into a folder that is there.

    Returns
    -------
    tuple of (name, what it is)
        Every file that was written.

    Notes
    -----
    The drawn surface is sized, not the layers: they keep their thickness at any size.
    """
    written = [
        (_saved(mesh, folder / name), words) for name, mesh, words in _to_make(assessment)
    ]
    at = assessment.placement.matrix
    piece = assessment.piece.design.whole.moved(GLTF_AXES @ at)
    head = assessment.wearer.head.moved(GLTF_AXES)
    seen = "to look at; metres and +Y up, as this format has it"
    written.append(
        (_saved(piece, folder / "piece_on_head.glb"), f"piece as it sits, {seen}")
    )
    written.append((_saved(head, folder / "head.glb"), f"bare head, {seen}"))
    return tuple(written)


def _to_make(assessment: Assessment) -> Iterator[tuple[str, Mesh, str]]:
    piece, size = assessment.piece, assessment.placement.size
    names = file_names([piece.name, *piece.design.parts])
    scale = piece.build_up.master_scale
    for part, mesh in zip(names[1:], piece.design.parts.values(), strict=True):
        stem = names[0] if len(names) == 2 else f"{names[0]}_{part}"
        sized = "drawn surface at the finished size, in mm"
        for suffix in TO_MAKE:
            yield f"{stem}_sized{suffix}", mesh.scaled(size), sized
        if scale > 1.0:
            words = f"the same {100.0 * (scale - 1.0):.2g} % larger: the master, in mm"
            for suffix in TO_MAKE:
                yield f"{stem}_master{suffix}", mesh.scaled(size * scale), words


def write_cut_meshes(
    assessment: Assessment, cut: Cut, folder: Path
) -> tuple[tuple[str, str], ...]:
    """
    Write the parts of a piece after a sight cut, into a folder that is there.

    Returns
    -------
    tuple of (name, what it is)
        STL and 3MF in mm, GLB in m, of every part, in the piece's own axes at the
        finished size.
    """
    names = file_names([assessment.piece.name, *cut.parts])
    written = []
    for name, mesh in zip(names[1:], cut.parts.values(), strict=True):
        stem = names[0] if len(names) == 2 else f"{names[0]}_{name}"
        for suffix in TO_MAKE:
            path = folder / f"{stem}_cut{suffix}"
            written.append((_saved(mesh, path), "with the sight cut, in mm"))
        path = folder / f"{stem}_cut.glb"
        words = "with the sight cut, to look at; metres and +Y up"
        written.append((_saved(mesh.moved(GLTF_AXES), path), words))
    return tuple(written)


def _saved(mesh: Mesh, path: Path) -> str:
    return save_mesh(mesh, path).name


def file_names(names: Iterable[str]) -> list[str]:
    """
    Make names safe for any file system, each one once.

    Examples
    --------
    >>> file_names(["../otter", "jaw", "jaw!", ""])
    ['otter', 'jaw', 'jaw_2', 'part']
    """
    made: list[str] = []
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_")[:LONGEST_NAME] or "part"
        stem, count = plain, 1
        while plain.lower() in (other.lower() for other in made):
            count += 1
            plain = f"{stem}_{count}"
        made.append(plain)
    return made
