"""Scans and their notes from files: units, landmarks, and what is refused."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fitkit.errors import MeasureError, MeshError
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.scan_files import read_scan

TETRA = Mesh(
    np.array([[0.0, 0, 0], [100, 0, 0], [0, 100, 0], [0, 0, 100]]),
    np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
)


@pytest.fixture
def scan(tmp_path):
    path = tmp_path / "ada.stl"
    save_mesh(TETRA, path)

    def noted(content):
        text = content if isinstance(content, str) else json.dumps(content)
        (tmp_path / "ada.notes.json").write_text(text, encoding="utf-8")
        return path

    return noted


def test_landmarks_come_in_mm_from_the_files_own_unit(scan):
    path = scan({"fitkit_scan": 1, "unit": "cm", "landmarks": {"sellion": [1, 2.5, 3]}})
    read = read_scan(path)
    assert read.landmarks_mm["sellion"].tolist() == [10.0, 25.0, 30.0]
    assert read.mesh.size_mm.max() == pytest.approx(1000.0)


def test_a_scan_without_notes_has_no_landmarks(tmp_path):
    save_mesh(TETRA, tmp_path / "b.ply")
    assert read_scan(tmp_path / "b.ply", unit="mm").landmarks_mm is None


def test_the_unit_is_asked_for_never_guessed(scan):
    path = scan({"fitkit_scan": 1, "landmarks": {"sellion": [1, 2, 3]}})
    with pytest.raises(MeshError, match="unit"):
        read_scan(path)


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        ({}, 'no "fitkit_scan": 1'),
        ({"fitkit_notes": 1}, 'no "fitkit_scan": 1'),
        ("[" * 5000, "nested|JSON"),
        ({"fitkit_scan": 1, "units": "mm"}, "Did you mean 'unit'|unit"),
        ({"fitkit_scan": 1, "unit": "yd"}, "unit must be mm, cm, m or in; got 'yd'"),
        ({"fitkit_scan": 1, "unit": "mm", "landmarks": []}, "names with their points"),
        (
            {"fitkit_scan": 1, "unit": "mm", "landmarks": {"sellion": [1, 2]}},
            r"landmark sellion must be three finite numbers.*got \[1, 2\]",
        ),
        (
            {"fitkit_scan": 1, "unit": "mm", "landmarks": {"sellion": [1, True, "3"]}},
            "landmark sellion must be three",
        ),
        ('{"fitkit_scan": 1, "unit": "mm", "landmarks": {"sellion": [NaN, 1, 2]}}', "NaN"),
    ],
)
def test_notes_that_cannot_be_used_are_refused_by_name(scan, notes, words):
    with pytest.raises(MeasureError, match=words) as problem:
        read_scan(scan(notes))
    assert str(problem.value).startswith("ada.notes.json: ")
