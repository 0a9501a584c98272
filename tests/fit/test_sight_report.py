"""Every answer of sight in one report, on an invented person."""

import dataclasses

import numpy as np
import pytest
from plates import ellipse, faceless, opening, plate_piece, rectangle

from fitkit.errors import BriefError
from fitkit.fit.glare import Lamp
from fitkit.fit.lens import Lens
from fitkit.fit.placement import Placement
from fitkit.fit.sight_report import sight_report, window_extent_deg
from fitkit.fit.visual_fields import ReferenceField

PAIR = faceless()
#: Within the plate, which is no closed shell.
FRONT = ReferenceField(
    name="front", up_deg=85, down_deg=85, nasal_deg=70, temporal_deg=85, source="none"
)


def visor(half_up_mm=10.0, half_right_mm=70.0, distance_mm=30.0):
    hole = rectangle((-half_right_mm, half_right_mm), (-half_up_mm, half_up_mm))
    return plate_piece(
        [hole], distance_mm=distance_mm, wall_mm=0.01,
        openings=[opening("visor", hole, distance_mm=distance_mm)],
    )  # fmt: skip


def report(piece=None, wearer=PAIR, **how):
    return sight_report(
        wearer, piece or visor(), Placement(), samples=1, reference=FRONT, **how
    )


def test_extent_counts_what_both_eyes_see_once():
    found = report()
    assert found.height_deg == pytest.approx(2 * np.degrees(np.arctan(10 / 30)), abs=0.05)
    # each sees 51.7 degrees to its temple; past the nose, both to the 70 of the reference
    assert found.width_deg == pytest.approx(140, abs=0.05)


def test_two_windows_apart_add_up_without_the_gap_between_them():
    holes = [ellipse(6, 6, at=(right, 0)) for right in (-36, 36)]
    piece = plate_piece(holes, distance_mm=30, wall_mm=0.01)
    found = report(piece)
    # each pupil is 32 mm off: its own window reaches from 2 mm nasal to 10 mm temporal,
    # the other one from 62 to 74 mm nasal, cut off at 70 degrees
    own = np.degrees(np.arctan(10 / 30) + np.arctan(2 / 30))
    other = min(np.degrees(np.arctan(74 / 30)), 70) - np.degrees(np.arctan(62 / 30))
    shared = 2 * np.degrees(np.arctan(2 / 30))
    wanted = 2 * own - shared + 2 * other
    assert window_extent_deg(found.field.worn)[1] == pytest.approx(wanted, abs=0.05)


def test_small_view_is_cautioned_about_with_both_its_sides():
    holes = [ellipse(4, 4, at=(right, 0)) for right in (-32, 32)]
    piece = plate_piece(holes, distance_mm=30, wall_mm=0.01)
    words = " ".join(report(piece).cautions)
    assert "degrees high" in words
    assert "degrees wide" in words
    assert "safe" not in words


def test_large_view_raises_no_words_about_its_size():
    words = " ".join(report(visor(half_up_mm=80, half_right_mm=200)).cautions)
    assert "degrees high" not in words
    assert "degrees wide" not in words


def test_dark_lens_and_lamp_are_spoken_of():
    lamp = Lamp(name="torch", at_mm=(32, 25, 3), direction=(0, -1, 0), intensity_cd=0.1)
    found = report(filters={"visor": Lens(transmittance=0.1)}, lamps=[lamp])
    words = " ".join(found.cautions)
    assert "category 3" in words
    assert "straight into the lamp 'torch'" in words
    assert found.glare is not None


def test_report_is_complete_without_lamps_lenses_or_glasses():
    found = report()
    for field in dataclasses.fields(found):
        assert hasattr(found, field.name)
    assert found.glare is None
    assert not found.glasses.worn
    assert len(found.lines) == 4
    assert [bow.bow_deg for bow in found.floor.bows] == [0, 15, 30]


def test_wall_on_the_straight_ahead_line_is_named():
    hole = rectangle((-70, 70), (-30, -10))
    piece = plate_piece(
        [hole], distance_mm=30, wall_mm=0.01,
        openings=[opening("visor", hole, distance_mm=30)],
    )  # fmt: skip
    words = report(piece).cautions
    assert (
        sum("straight-ahead line meets the wall 30 mm ahead" in each for each in words) == 2
    )


def test_eye_outside_the_piece_is_refused_before_anything_is_cast():
    with pytest.raises(BriefError, match="must look out from inside the piece"):
        report(wearer=faceless(right=(32, 40, 30)))
