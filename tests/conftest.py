"""A plain shell on an invented wearer, read from files as a maker's own would be."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fitkit.assess import Assessment, assess
from fitkit.fit.placement import Placement
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import Piece, finish
from fitkit.piece.design import read_design
from fitkit.sheets import report as report_module
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from fitkit.wearer.wearer import Wearer

#: Half axes and centre of the ellipsoid: right, front, up. [mm]
HALF_AXES_MM = np.array([112.0, 130.0, 150.0])
CENTRE_MM = np.array([0.0, 0.0, 8.0])
#: The neck is cut off below this; eyes are round holes about these places. [mm]
NECK_MM, EYE_RADIUS_MM = -118.0, 17.0
EYES_MM = {"eye_left": (-30.0, 17.0), "eye_right": (30.0, 17.0)}

RECORD = {
    "fitkit_record": 1,
    "name": "Ida <script>alert(1)</script> & Co",
    "sex": "female",
    "readings_mm": {
        "head_circumference_mm": [560, 562],
        "head_length_mm": 190,
        "head_breadth_mm": 147,
    },
    "hair_mm": {"crown": 5, "back": 5},
    "tape_hair_mm": 2,
}
NOTES = {
    "fitkit_notes": 1,
    "name": "=shell",
    "unit": "mm",
    "front": "y",
    "up": "z",
    "origin_mm": [0, 0, 0],
    "surface": "outer",
    "openings": [
        {"name": name, "kind": "eye", "centre_mm": [right, 130, up]}
        for name, (right, up) in EYES_MM.items()
    ],
    "layers": {
        "outward": [{"name": "paint", "thickness_mm": 0.5}],
        "inward": [{"name": "laminate", "thickness_mm": 3}],
    },
    "shrink_percent": [0.4],
}


@dataclass(frozen=True)
class Files:
    """Files of a wearer and a piece."""

    record: Path
    piece: Path


def ellipsoid(steps: int = 90) -> Mesh:
    """Give an ellipsoid of even triangles, wound outward, closed at both poles."""
    tilt = np.linspace(0, np.pi, steps)[1:-1, None]
    turn = np.linspace(0, 2 * np.pi, 2 * steps, endpoint=False)
    ring = np.stack(
        [np.sin(tilt) * np.cos(turn), np.sin(tilt) * np.sin(turn), np.cos(tilt) + 0 * turn],
        axis=-1,
    )
    rows, columns = ring.shape[:2]
    index = 1 + np.arange(rows * columns).reshape(rows, columns)
    beside = np.roll(index, -1, axis=1)
    quads = [index[:-1], index[1:], beside[1:], beside[:-1]]
    a, b, c, d = (quad.ravel() for quad in quads)
    last = rows * columns + 1
    faces = np.concatenate(
        [
            np.stack([a, b, c], axis=1),
            np.stack([a, c, d], axis=1),
            np.stack([0 * index[0], index[0], beside[0]], axis=1),
            np.stack([0 * index[0] + last, beside[-1], index[-1]], axis=1),
        ]
    )
    points = np.vstack([[0, 0, 1], ring.reshape(-1, 3), [0, 0, -1]])
    return Mesh(points * HALF_AXES_MM + CENTRE_MM, faces)


def shell_mesh() -> Mesh:
    """Cut a neck and two eyes out of the ellipsoid."""
    whole = ellipsoid()
    right, front, up = whole.centroids.T
    gone = up < NECK_MM
    for eye_right, eye_up in EYES_MM.values():
        gone |= (np.hypot(right - eye_right, up - eye_up) < EYE_RADIUS_MM) & (front > 0)
    return whole.submesh(~gone)


@pytest.fixture(scope="session")
def shell_files(tmp_path_factory) -> Files:
    folder = tmp_path_factory.mktemp("shell")
    record, piece = folder / "ida.json", folder / "shell.stl"
    record.write_text(json.dumps(RECORD), encoding="utf-8")
    (folder / "shell.notes.json").write_text(json.dumps(NOTES), encoding="utf-8")
    save_mesh(shell_mesh(), piece)
    return Files(record=record, piece=piece)


@pytest.fixture(scope="session")
def wearer(shell_files) -> Wearer:
    return wearer_from_record(read_record(shell_files.record))


@pytest.fixture(scope="session")
def piece(shell_files) -> Piece:
    return finish(read_design(shell_files.piece))


@pytest.fixture(scope="session")
def roomy(wearer, piece) -> Assessment:
    """The shell at its drawn size, where it clears the head."""
    return assess(wearer, piece, Placement(size=1.02))


@pytest.fixture(scope="session")
def tight(wearer, piece) -> Assessment:
    """The shell too small, pressing in at several places."""
    return assess(wearer, piece, Placement(size=0.84, pitch_deg=3.0))


@pytest.fixture
def first_question(monkeypatch):
    """Let a report ask its first further question alone; tests/sheets asks them all."""
    monkeypatch.setattr(report_module, "QUESTIONS", report_module.QUESTIONS[:1])
