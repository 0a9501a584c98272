import numpy as np
import pytest

from fitkit.fit.sight import SIDES
from fitkit.geometry.sections import section
from fitkit.views.sections import LEAN, NEAR_MM, section_views, usual_planes


@pytest.fixture(scope="module")
def views(tight):
    return section_views(tight.wearer, tight.piece, tight.placement, tight.ease)


def view_named(views, name):
    return next(view for view in views if view.plane.name == name)


def test_planes_lie_in_the_midplane_the_right_eye_the_tragia_and_the_pupils(wearer):
    side, eye, front, top = usual_planes(wearer)
    assert side.off_plane_mm([0.0, 90.0, 40.0]) == 0.0
    assert eye.off_plane_mm(wearer.eye_right.entrance_pupil) == 0.0
    assert front.off_plane_mm([70.0, 0.0, -20.0]) == 0.0
    pupils = [wearer.eye_left.entrance_pupil, wearer.eye_right.entrance_pupil]
    assert np.mean(top.off_plane_mm(pupils)) == pytest.approx(0.0, abs=1e-9)
    assert [plane.words for plane in (side, front, top)] == [
        ("front", "up"),
        ("right", "up"),
        ("right", "front"),
    ]


def test_outlines_are_the_cuts_of_the_head(views, wearer):
    view = view_named(views, "front")
    cut = section(wearer.head, point_mm=view.plane.point_mm, normal=view.plane.normal)
    assert len(view.head) == len(cut)
    assert np.array_equal(view.head[0], cut[0][:, [0, 2]])


def test_hair_stands_on_the_crown_by_its_thickness(views, wearer):
    view = view_named(views, "side")
    bare = max(line[:, 1].max() for line in view.head)
    haired = max(line[:, 1].max() for line in view.hair)
    assert haired - bare == pytest.approx(5.0, abs=0.3)
    assert wearer.record.hair_mm["crown"] == 5


def test_leaders_give_the_ease_of_the_head_and_are_drawn_as_long(views, tight):
    for view in views:
        for leader in view.leaders:
            drawn = float(np.linalg.norm(leader.end - leader.start))
            short = np.sqrt(1 - LEAN**2)
            assert abs(leader.ease_mm) * short - 1e-9 <= drawn <= abs(leader.ease_mm) + 1e-9
            zone = tight.ease.by_zone[leader.zone]
            assert leader.ease_mm >= zone.least_mm
            assert leader.wanted_mm == zone.wanted_mm


def test_leaders_start_with_the_tightest_place_near_the_plane(views, tight):
    view = view_named(views, "side")
    near = np.abs(tight.wearer.head.vertices[:, 0]) <= NEAR_MM
    square = np.abs(tight.ease.away[:, 0]) <= LEAN
    least = np.nanmin(tight.ease.ease_mm[near & square])
    assert view.leaders[0].ease_mm == pytest.approx(least)
    zones = [leader.zone for leader in view.leaders]
    assert len(zones) == len(set(zones))


def test_leaders_end_on_the_finished_inner_wall(views):
    for view in views:
        for leader in view.leaders:
            column = round(leader.end[0] - view.wall_across[0])
            row = round(leader.end[1] - view.wall_upward[0])
            assert abs(view.wall_mm[row, column]) < 3.0


def test_lines_of_sight_run_straight_ahead_from_the_eyes_in_the_plane(views, wearer):
    top, eye = view_named(views, "top"), view_named(views, "eye")
    assert len(top.sight) == len(SIDES)
    for line, side in zip(top.sight, ("eye_left", "eye_right"), strict=True):
        cornea = getattr(wearer, side).cornea
        assert line[0] == pytest.approx(cornea[[0, 1]])
        assert line[1] - line[0] == pytest.approx([0.0, 100.0])
    assert eye.sight[0][0] == pytest.approx(wearer.eye_right.cornea[[1, 2]])
    assert view_named(views, "side").sight == ()
    assert view_named(views, "front").sight == ()


def test_only_landmarks_near_the_plane_are_marked(views):
    assert set(view_named(views, "side").marks) >= {"tragion", "chin", "sellion"}
    assert set(view_named(views, "front").marks) == {"left tragion", "right tragion"}
    assert view_named(views, "eye").marks == {}
