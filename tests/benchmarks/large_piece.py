"""A piece of 400,000 faces, made of a sample piece without changing its surface."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PIECE = Path(__file__).parents[2] / "sample_heads" / "pieces" / "heron.stl"
#: One facet of a binary STL file.
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
HEAD_BYTES = 84


def write_large_piece(folder: Path) -> Path:
    """Write the heron with every face in nine, and its notes; gives the mesh file."""
    facets = np.frombuffer(PIECE.read_bytes(), FACET, offset=HEAD_BYTES)
    corners = in_three(in_three(facets["corners"].astype(float)))
    finer = np.zeros(len(corners), FACET)
    finer["corners"] = corners
    count = np.uint32(len(finer)).tobytes()
    (folder / PIECE.name).write_bytes(bytes(HEAD_BYTES - 4) + count + finer.tobytes())
    notes = PIECE.with_suffix(".notes.json")
    shutil.copy(notes, folder / notes.name)
    return folder / PIECE.name


def in_three(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Part triangles, shape (n, 3, 3), in three about their middles."""
    a, b, c = corners.transpose(1, 0, 2)
    middle = corners.mean(axis=1)
    three = ((a, b, middle), (b, c, middle), (c, a, middle))
    return np.concatenate([np.stack(one, axis=1) for one in three])
