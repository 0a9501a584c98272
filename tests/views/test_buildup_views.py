"""Pictures of build-up show what was measured, where it is."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from shells import as_mesh, ball, box

from fitkit.piece.route_files import route
from fitkit.piece.route_walls import WallMap
from fitkit.piece.seams import split_to_bed
from fitkit.piece.undercuts import undercuts
from fitkit.views.buildups import coat_views, parts_view, undercut_views, wall_views


@pytest.fixture(scope="module")
def wall():
    """A ball whose wall grows from 2 mm in front to 4 mm behind."""
    mesh = as_mesh(ball(60, segments=48))
    rows = np.arange(0, len(mesh.faces), 2)
    thickness = 3 - mesh.centroids[rows, 1] / 60
    return WallMap(surface=mesh, faces=rows, thickness_mm=thickness, meant_mm=3.0)


def test_a_wall_is_seen_at_its_thickness_from_every_side(wall):
    front, left, back, top = wall_views(wall)
    assert [view.title for view in (front, left, back, top)] == [
        "front", "wearer's left", "back", "top",
    ]  # fmt: skip
    middle = tuple(size // 2 for size in front.value_mm.shape)
    assert front.value_mm[middle] == pytest.approx(2.0, abs=0.1)
    assert back.value_mm[middle] == pytest.approx(4.0, abs=0.1)
    # the wearer's left, with the front on the left of the picture
    row = left.value_mm[middle[0]]
    seen = row[np.isfinite(row)]
    assert seen[0] < 2.3 < 3.7 < seen[-1]
    assert np.isnan(front.value_mm[0, 0])


def test_the_thinnest_place_is_marked_only_where_it_is_seen(wall):
    front, _, back, _ = wall_views(wall)
    at, value = front.spot
    assert value == pytest.approx(wall.least_mm)
    assert np.abs(at).max() < 10
    assert back.spot is None


def test_what_was_left_out_on_purpose_is_not_filled_in():
    mesh = as_mesh(ball(60, segments=48))
    front = np.nonzero(mesh.centroids[:, 1] > 10)[0]
    part = WallMap(surface=mesh, faces=front, thickness_mm=np.full(len(front), 3.0),
                   meant_mm=3.0)  # fmt: skip
    views = wall_views(part)
    middle = tuple(size // 2 for size in views[2].value_mm.shape)
    assert np.isnan(views[2].value_mm[middle])
    assert np.isfinite(views[2].facing[middle])


def test_undercuts_are_seen_at_their_depth():
    found = undercuts(as_mesh(ball(60, segments=48)), pull=(0, 1, 0))
    front, _, back, _ = undercut_views(found)
    middle = tuple(size // 2 for size in back.value_mm.shape)
    assert np.nanmax(front.value_mm) < 3
    assert back.value_mm[middle] == pytest.approx(60, abs=5)
    assert back.spot[1] == pytest.approx(found.worst_mm)


def test_parts_pulled_apart_are_all_seen_and_named():
    split = split_to_bed(as_mesh(box(90, 280, 90)), bed_mm=(150, 150, 150), name="bar")
    view = parts_view(split)
    assert set(np.unique(view.part)) == {-1, 0, 1}
    assert [name for name, _ in view.labels] == ["bar 1", "bar 2"]
    assert view.sizes[0] == " x ".join(f"{x:.0f}" for x in split.parts[0].size_mm)
    for number, (_, at) in enumerate(view.labels):
        row = np.abs(view.upward - at[1]).argmin()
        column = np.abs(view.across - at[0]).argmin()
        assert view.part[row, column] == number


def test_coats_lie_side_by_side_from_the_inside_out():
    made = route("card master, silicone mould, hollow cast")
    coats = coat_views(made)
    assert [coat.name for coat in coats] == [
        "cloth lining",
        "cast wall",
        "primer and paint",
    ]
    assert coats[0].from_mm == pytest.approx(-made.lining_mm)
    assert coats[-1].to_mm == pytest.approx(made.growth_mm)
    for one, other in pairwise(coats):
        assert one.to_mm == pytest.approx(other.from_mm)


def test_a_drawn_wall_lies_between_what_is_laid_on_its_two_sides():
    made = route("direct print, filled and painted")
    coats = coat_views(made, drawn_wall_mm=4.0)
    assert [coat.name for coat in coats] == [
        "cloth lining", "wall as drawn", "filler primer", "paint",
    ]  # fmt: skip
    assert (coats[1].from_mm, coats[1].to_mm) == (-4.0, 0.0)
    assert coats[0].to_mm == -4.0
    assert [coat.drawn for coat in coats] == [False, True, False, False]
