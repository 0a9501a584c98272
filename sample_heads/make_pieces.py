"""
Make the three demo pieces of the harbour town's lantern pageant, and their notes.

Run from anywhere, in an environment with fitkit's dependencies::

    python sample_heads/make_pieces.py            # all three, a few minutes
    python sample_heads/make_pieces.py heron      # one

The same script and library versions give the same files.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import _beetle
import _heron
import _otter
from _files import write_3mf, write_glb, write_notes, write_stl

FOLDER = Path(__file__).parent / "pieces"
PIECES = {
    "otter": (_otter, ".3mf", write_3mf),
    "heron": (_heron, ".stl", write_stl),
    "beetle": (_beetle, ".glb", write_glb),
}


def main(names: list[str]) -> None:
    """Make the pieces named, or all of them."""
    for name in names or list(PIECES):
        make(name, FOLDER)


def make(name: str, folder: Path) -> None:
    """Make one piece and its notes in a folder."""
    piece, suffix, write = PIECES[name]
    parts = piece.parts()
    path = folder / f"{name}{suffix}"
    write(path, parts)
    write_notes(folder / f"{name}.notes.json", piece.notes(parts))
    faces = sum(len(part[1]) for part in parts.values())
    size = path.stat().st_size / 1e6
    print(f"{name}: {', '.join(parts)}; {faces} faces, {size:.2f} MB")


if __name__ == "__main__":
    main(sys.argv[1:])
