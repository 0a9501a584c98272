"""Landmarks proposed on scans: known heads in any pose, a real head, and what is none."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from heads import fsaverage
from scans import FACE, N, person

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.scan import wearer_from_scan
from fitkit.wearer.scan_landmarks import PROPOSED, propose_landmarks


def off_mm(proposed, truth):
    return {
        name: float(np.linalg.norm(proposed.landmarks_mm[name] - truth[name]))
        for name in PROPOSED
        if name in truth
    }


# The scans have other triangles than the template, bumps that no mode holds, no collar,
# and stand in any pose: tests/wearer/scans.py.


@pytest.mark.parametrize("seed", [3, 4])
def test_landmarks_of_a_known_head_are_found_in_any_pose(seed):
    who = person(seed)
    proposed = propose_landmarks(who.scan)
    assert max(off_mm(proposed, who.landmarks).values()) < 3.0
    assert proposed.shown > 0.95
    assert "by hand" in proposed.cautions[0]


@pytest.mark.slow
def test_landmarks_are_found_on_many_heads_in_any_pose():
    worst = [
        max(off_mm(propose_landmarks(who.scan), who.landmarks).values())
        for who in map(person, range(20, 32))
    ]
    assert max(worst) < 5.0


def test_a_scan_wound_inside_out_is_understood():
    who = person(4)
    proposed = propose_landmarks(who.scan.flipped())
    assert max(off_mm(proposed, who.landmarks).values()) < 3.0


def test_a_real_heads_landmarks_lie_near_the_fiducials_that_others_placed():
    # Pre-auricular points of a head without ears are no tragia: they were put on the
    # MRI, a centimetre behind and below where the model has the tragia. The nasion is.
    mesh, marks = fsaverage()
    off = off_mm(propose_landmarks(mesh), marks)
    assert off["sellion"] < 5.0
    assert max(off["tragion_left"], off["tragion_right"]) < 13.0


def test_a_wearer_is_made_from_a_scan_without_landmarks_and_says_so():
    who = person(4)
    wearer = wearer_from_scan(who.scan)
    assert any("proposed" in said for said in wearer.cautions)
    off = np.linalg.norm(wearer.head.vertices - who.truth[:N], axis=1)
    assert np.quantile(off[FACE], 0.95) < 4.0


def test_an_egg_is_no_head():
    egg = trimesh.creation.icosphere(subdivisions=4, radius=100.0)
    with pytest.raises(MeshError, match=r"No head was recognised.*Give.landmarks_mm"):
        propose_landmarks(Mesh(egg.vertices * [0.77, 1.0, 1.1], egg.faces))


def test_a_scan_in_metres_is_refused_before_any_search():
    who = person(4)
    with pytest.raises(MeshError, match="Scale the scan to mm"):
        propose_landmarks(who.scan.scaled(0.001))
