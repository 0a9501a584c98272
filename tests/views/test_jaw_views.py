import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import cKDTree

sys.path.append(str(Path(__file__).parents[1] / "fit"))
from sample_jaw import otter_report, placed_otter

from fitkit.fit.jaw_hinge import try_hinge
from fitkit.views.jaws import SAME_LINE_MM, hinge_map, jaw_view, midplane


@pytest.fixture(scope="module")
def report():
    return otter_report()


@pytest.fixture(scope="module")
def view(report):
    return jaw_view(placed_otter().wearer, report)


def test_ways_start_and_end_where_the_report_says(report, view):
    for name, points in view.paths.items():
        assert points.shape == (40, 2), name
    teeth = view.paths["teeth"]
    straight = np.linalg.norm(teeth[-1] - teeth[0])
    assert straight == pytest.approx(report.travel.kept_opening_mm, abs=1e-6)
    lip = view.paths["jaw's lip"]
    hinge = view.marks["hinge as drawn"]
    reach = np.linalg.norm(lip - hinge, axis=1)
    assert reach == pytest.approx(reach[0])  # an arc about the hinge


def test_open_head_is_drawn_only_where_it_leaves_the_shut_one(view):
    shut = np.concatenate(view.head_shut)
    assert view.head_open
    for run in view.head_open:
        assert cKDTree(shut).query(run)[0].min() > SAME_LINE_MM / 2
        assert run[:, 1].max() < view.marks["chin pole"][1] + 30  # the crown stays


def test_jaw_opens_down_and_keeps_its_shape(view):
    shut, wide = (np.concatenate(lines) for lines in (view.jaw_shut, view.jaw_open))
    assert wide[:, 1].mean() < shut[:, 1].mean() - 10
    assert len(view.jaw_shut) == len(view.jaw_open)


def test_midplane_of_a_mesh_beside_it_is_empty():
    wearer = placed_otter().wearer
    aside = np.eye(4)
    aside[0, 3] = 500
    assert midplane(wearer.head.moved(aside)) == ()


def test_map_of_hinges_holds_what_each_hinge_does(report):
    view = hinge_map(report, report.hinge, reach_mm=10.0, count=3)
    assert view.misfit_mm.shape == (3, 3)
    again = try_hinge(
        report.motion, report.hung, report.contacts, front_mm=10.0, up_mm=-10.0, turns=17
    )
    assert view.misfit_mm[0, 2] == pytest.approx(again.misfit_mm)
    assert view.front_mm[1] == pytest.approx(report.hung.swing.centre_mm[1])
    assert view.held[1, 1]
    assert np.linalg.norm(view.off_at - view.marks["best hinge"], axis=1) == pytest.approx(
        view.off_mm
    )
