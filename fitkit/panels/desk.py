"""The desk of a session: which piece, what was found in it, its openings, the files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from fitkit.panels.openings import CHOICES, choice_of
from fitkit.panels.record_form import file_name
from fitkit.panels.state import SessionState
from fitkit.piece.buildup import Piece
from fitkit.piece.openings import Opening

#: Endings of mesh files that a piece may have.
MESH_ENDINGS = (".stl", ".obj", ".ply", ".glb", ".3mf")
#: Most files of a folder that are offered.
MOST_FILES = 200
#: Points of a rim that are drawn, at most about.
RIM_POINTS = 80
#: What the name of a session file ends in.
SESSION_END = ".session.json"
#: Cell of the picture of a piece, and the widest gap in a row that is filled. [mm]
CELL_MM, GAP_CELLS = 3, 4


def files_in(folder: Path, endings: tuple[str, ...]) -> list[str]:
    """Give the names of the files in a folder that end as asked, in order of names."""
    if not folder.is_dir():
        return []
    names = [p.name for p in folder.iterdir() if p.suffix.lower() in endings]
    return sorted(names)[:MOST_FILES]


def desk_message(state: SessionState, *, pieces: Path, folder: Path) -> dict[str, Any]:
    """
    Give a state as the desk wants it.

    Parameters
    ----------
    state : SessionState
    pieces : Path
        Folder that pieces are offered from.
    folder : Path
        Folder that sessions are saved to and opened from.

    Returns
    -------
    dict
        JSON values only.
    """
    piece = state.piece
    return {
        "revision": state.revision,
        "pieces": files_in(pieces, MESH_ENDINGS),
        "piece": Path(state.inputs.piece_file).name,
        "problem": state.problems.get("piece", ""),
        "facts": _facts(piece) if piece else [],
        "found": list(dict.fromkeys(piece.cautions)) if piece else [],
        "mended": list(piece.design.mended) if piece else [],
        "openings": [_opening(o) for o in piece.openings] if piece else [],
        "choices": {choice: choice.replace("_", " ") for choice in CHOICES},
        "outline": _outline(piece) if piece else "",
        "sessions": [n for n in files_in(folder, (".json",)) if n.endswith(SESSION_END)],
        "file": f"{_stem(state)}{SESSION_END}",
        "message": state.message,
        "ready": state.ready,
    }


def report_name(state: SessionState) -> str:
    """Give the name of the folder that the report is written to."""
    return f"{_stem(state)}-report"


def _stem(state: SessionState) -> str:
    wearer = Path(file_name(state.inputs.typed.name)).stem
    piece = Path(file_name(state.piece.name)).stem if state.piece else ""
    return f"{wearer}-{piece}" if piece else wearer


def _facts(piece: Piece) -> list[list[str]]:
    right, front, up = piece.design.whole.size_mm
    layers = piece.build_up
    faces = sum(len(mesh.faces) for mesh in piece.design.parts.values())
    hinge = "none"
    if piece.hinge is not None:
        hinge = f"opens to {piece.hinge.open_stop_deg:g} deg"
    return [
        ["Drawn size", f"{right:.0f} wide, {front:.0f} deep, {up:.0f} mm high"],
        ["Drawn as", f"{piece.design.surface}, {faces:,} faces"],
        ["Parts", ", ".join(piece.design.parts)],
        ["Layers", f"{layers.lining_mm:g} mm inward, {layers.growth_mm:g} mm outward"],
        ["Shrinkage", f"master at {100 * layers.master_scale:.1f} % of the finished size"],
        ["Hinge", hinge],
    ]


def _opening(opening: Opening) -> dict[str, Any]:
    right, front, up = opening.plane_point
    return {
        "name": opening.name,
        "choice": choice_of(opening),
        "words": (
            f"{opening.width_mm:.0f} × {opening.height_mm:.0f} mm, "
            f"{_way(right, 'right', 'left')}, {_way(front, 'front', 'back')}, "
            f"{_way(up, 'up', 'down')}"
        ),
        "path": _rim_path(opening),
    }


def _way(value: float, plus: str, minus: str) -> str:
    return f"{abs(value):.0f} {plus if value >= 0 else minus}"


def _rim_path(opening: Opening) -> str:
    """SVG path data of a rim as seen from ahead. [mm]."""
    rim = opening.rim[:: max(1, len(opening.rim) // RIM_POINTS)]
    return "M" + "L".join(f"{-right:.1f} {-up:.1f}" for right, _, up in rim) + "Z"


def _outline(piece: Piece) -> str:
    """SVG path data of a piece as seen from ahead, in rows of cells. [mm]."""
    mesh = piece.design.whole
    points = np.vstack([mesh.vertices, mesh.centroids])[:, [0, 2]]
    cells = np.unique(np.floor(points * [-1, -1] / CELL_MM).astype(np.int64), axis=0)
    rows = []
    for row in np.unique(cells[:, 1]):
        across = cells[cells[:, 1] == row, 0]
        starts = np.nonzero(np.diff(across, prepend=across[0] - 9) > GAP_CELLS)[0]
        for run in np.split(across, starts[1:]):
            left, width = CELL_MM * run[0], CELL_MM * (run[-1] - run[0] + 1)
            rows.append(f"M{left:g} {CELL_MM * row:g}h{width:g}v{CELL_MM:g}h{-width:g}z")
    return "".join(rows)
