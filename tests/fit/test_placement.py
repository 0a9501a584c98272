import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.errors import BriefError
from fitkit.fit.placement import Placement, rotation_matrix, turning_axes

FRONT, UP, RIGHT = np.eye(3)[[1, 2, 0]]


def test_positive_pitch_turns_the_front_down():
    assert Placement(pitch_deg=90).to_head(FRONT) == pytest.approx(-UP)


def test_positive_yaw_turns_the_front_to_the_left():
    assert Placement(yaw_deg=90).to_head(FRONT) == pytest.approx(-RIGHT)


def test_positive_roll_leans_the_top_to_the_right():
    assert Placement(roll_deg=90).to_head(UP) == pytest.approx(RIGHT)


def test_rotation_agrees_with_scipy_intrinsic_yaw_pitch_roll():
    # Right, front, up are x, y, z of a right-handed frame; pitch counts backwards.
    expected = Rotation.from_euler("ZXY", [12.0, -25.0, 7.0], degrees=True).as_matrix()
    assert rotation_matrix(25.0, 12.0, 7.0) == pytest.approx(expected)


def test_to_piece_undoes_to_head():
    placement = Placement(
        size=(1.1, 0.9, 1.05), shift_mm=(3, -4, 5), pitch_deg=20, yaw_deg=-10, roll_deg=5
    )
    drawn = np.random.default_rng(1).normal(size=(20, 3)) * 100
    assert placement.to_piece(placement.to_head(drawn)) == pytest.approx(drawn)


def test_matrix_does_what_to_head_does():
    placement = Placement(size=(1.1, 0.9, 1.05), shift_mm=(3, -4, 5), pitch_deg=20)
    drawn = np.array([10.0, 20.0, 30.0])
    by_matrix = placement.matrix @ np.append(drawn, 1.0)
    assert by_matrix[:3] == pytest.approx(placement.to_head(drawn))


def test_sized_frame_keeps_true_distances():
    placement = Placement(size=(1.2, 0.8, 1.0), shift_mm=(9, 8, 7), roll_deg=30)
    a, b = np.array([[1.0, 2, 3], [-40.0, 50, 6]])
    apart = placement.to_sized(a) - placement.to_sized(b)
    assert np.linalg.norm(apart) == pytest.approx(np.linalg.norm(a - b))


@pytest.mark.parametrize("move", range(3))
def test_turning_axes_are_the_angular_velocity_of_each_angle(move):
    angles = np.array([11.0, -7.0, 4.0])
    step = np.zeros(3)
    step[move] = 1e-4
    ahead, behind = rotation_matrix(*(angles + step)), rotation_matrix(*(angles - step))
    spin = (ahead - behind) / np.radians(2e-4) @ rotation_matrix(*angles).T
    axis = turning_axes(angles[0], angles[1])[move]
    assert np.array([spin[2, 1], spin[0, 2], spin[1, 0]]) == pytest.approx(axis, abs=1e-6)


def test_mean_size_is_the_cube_root_of_the_volume_factor():
    assert Placement(size=(1.0, 2.0, 4.0)).mean_size == pytest.approx(2.0)


def test_distortion_is_largest_over_smallest():
    assert Placement(size=(1.0, 1.05, 1.02)).distortion_percent == pytest.approx(5.0)


def test_percent_given_for_a_factor_is_refused_with_the_cure():
    with pytest.raises(BriefError, match=r"size must be 0\.2 to 5; got 105.*factors"):
        Placement(size=105)


@pytest.mark.parametrize(
    "bad", [{"size": (1, 1)}, {"shift_mm": (0, 0, 2e3)}, {"pitch_deg": float("nan")}]
)
def test_what_has_no_meaning_is_refused(bad):
    with pytest.raises(BriefError):
        Placement(**bad)


def test_arrays_cannot_be_written():
    with pytest.raises(ValueError, match="read-only"):
        Placement().size[0] = 2.0
