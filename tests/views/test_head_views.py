import numpy as np
import pytest

from fitkit.views.heads import SIDES, head_views

ACROSS = {
    "front": (0, -1),
    "back": (0, 1),
    "wearer's left": (1, -1),
    "wearer's right": (1, 1),
}


@pytest.fixture(scope="module")
def views(tight):
    return {view.title: view for view in head_views(tight.wearer, tight.ease, pixel_mm=1.0)}


def value_at(view, layer, across, upward):
    column = int(np.argmin(np.abs(view.across - across)))
    row = int(np.argmin(np.abs(view.upward - upward)))
    return layer[row, column]


def test_there_is_a_view_from_every_side_but_below(views):
    assert list(views) == [title for title, _, _ in SIDES]


@pytest.mark.parametrize("title", ACROSS)
def test_the_head_is_as_wide_and_as_high_as_it_is(views, tight, title):
    axis, _ = ACROSS[title]
    view, zone = views[title], tight.wearer.zone
    seen = np.isfinite(view.ease_mm)
    rows = view.upward[seen.any(axis=1)]
    top = tight.wearer.head.vertices[zone >= 0, 2].max()
    assert rows.max() == pytest.approx(top, abs=1.5)
    columns = view.across[seen.any(axis=0)]
    spread = np.ptp(tight.wearer.head.vertices[zone >= 0, axis])
    assert np.ptp(columns) == pytest.approx(spread, abs=2.5)


def test_from_the_front_the_wearers_right_is_on_the_left(views, tight):
    ear = tight.wearer.landmarks["tragion_right"]
    assert ear[0] > 0
    nose = tight.wearer.landmarks["pronasale"]
    front, right = views["front"], views["wearer's right"]
    assert value_at(front, front.facing, nose[0], nose[2]) > 0.5
    assert right.across[np.isfinite(right.ease_mm).any(axis=0)].max() == pytest.approx(
        nose[1], abs=2.5
    )


def test_pixels_show_the_ease_of_the_nearest_head_vertex(views, tight):
    wearer, view = tight.wearer, views["back"]
    normals = wearer.head.vertex_normals
    high = wearer.head.vertices[:, 2] > 10.0
    rows = np.nonzero((normals[:, 1] < -0.95) & (wearer.zone >= 0) & high)[0]
    assert len(rows) > 20
    for row in rows[::10]:
        at = wearer.head.vertices[row]
        got = value_at(view, view.ease_mm, at[0], at[2])
        assert got == pytest.approx(tight.ease.ease_mm[row], abs=1.0)


def test_spare_is_ease_less_what_was_asked(views, tight):
    view = views["top"]
    crown = tight.wearer.landmarks["vertex"]
    ease = value_at(view, view.ease_mm, crown[0], crown[1])
    spare = value_at(view, view.spare_mm, crown[0], crown[1])
    assert ease - spare == pytest.approx(tight.brief.ease["crown"].least_mm)


def test_the_neck_is_seen_but_has_no_ease(views):
    view = views["back"]
    assert np.isnan(view.ease_mm[4]).all()
    assert np.isfinite(view.facing[4]).any()


def test_spots_are_tightest_places_that_can_be_seen(views, tight):
    worst = tight.ease.tightest
    shown = [spot.zone for view in views.values() for spot in view.spots]
    assert worst.zone in shown
    chin = tight.ease.by_zone["chin"]
    assert "chin" not in [spot.zone for spot in views["back"].spots]
    spot = next(spot for spot in views["front"].spots if spot.zone == "chin")
    assert spot.at == pytest.approx([-chin.at[0], chin.at[2]])
    assert spot.ease_mm == chin.least_mm
