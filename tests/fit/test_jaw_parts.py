import numpy as np
import pytest
from jaws import box, fittings, jaw_piece, strap

from fitkit.errors import DesignError
from fitkit.fit.jaw_parts import hang, make_fittings, read_fittings
from fitkit.fit.placement import Placement


def test_fittings_stand_in_the_notes_under_their_own_key():
    piece = jaw_piece(fittings={"play_mm": 0.5, "straps": [strap()]})
    assert read_fittings(piece).play_mm == 0.5
    assert read_fittings(jaw_piece()).straps == ()


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ({"play_mm": -1}, "play_mm must be greater than or equal to 0"),
        ({"pley_mm": 1}, "pley_mm"),
        ({"straps": [strap(stiffness_n_per_mm=0)]}, "straps.0.stiffness_n_per_mm"),
        ({"straps": [strap(free_mm=float("nan"))]}, "straps.0.free_mm"),
        ({"mass_g": 0}, "mass_g"),
        ({"pads": [{"name": "", "at_mm": [0, 0, 0]}]}, "pads.0.name"),
    ],
)
def test_bad_fittings_are_named(raw, said):
    with pytest.raises(DesignError, match="jaw_fittings") as error:
        make_fittings(raw)
    assert said in str(error.value)


def test_piece_without_a_hinge_is_refused_with_what_to_add():
    piece = jaw_piece()
    piece.hinge = None
    with pytest.raises(DesignError, match=r'no hinge.*"left_mm"'):
        hang(piece, Placement())


@pytest.mark.parametrize("name", [None, "jow"])
def test_missing_jaw_part_is_refused_and_the_parts_are_listed(name):
    with pytest.raises(DesignError, match="There are: jaw, shell"):
        hang(jaw_piece(jaw_part=name), Placement())


def test_stops_the_wrong_way_round_are_refused():
    with pytest.raises(DesignError, match=r"got 25 and 0.*swapped"):
        hang(jaw_piece(stops=(25.0, 0.0)), Placement())


def test_axis_that_does_not_lie_level_is_refused_with_its_tilt():
    with pytest.raises(DesignError, match=r"level across the head to 6 deg.*8.0 deg off"):
        hang(jaw_piece(tilt=8.0), Placement())
    hang(jaw_piece(tilt=5.0), Placement())


def test_piece_seated_askew_counts_as_tilt():
    with pytest.raises(DesignError, match="seat the piece straight"):
        hang(jaw_piece(), Placement(roll_deg=9))


def test_swapped_ends_are_told_from_a_tilt():
    piece = jaw_piece()
    piece.hinge.left_mm, piece.hinge.right_mm = piece.hinge.right_mm, piece.hinge.left_mm
    with pytest.raises(DesignError, match="are the two swapped"):
        hang(piece, Placement())


def test_mass_is_worked_out_from_the_volume_and_said():
    # block of 80 x 90 x 18 mm at 1.1 g/cm3
    hung = hang(jaw_piece(), Placement())
    assert hung.mass_g == pytest.approx(80 * 90 * 18 / 1000 * 1.1)
    assert hung.centre_mm == pytest.approx([0, 65, -51])
    assert "weigh it" in hung.cautions[0]


def test_given_mass_is_used_and_nothing_said():
    hung = hang(
        jaw_piece(), Placement(), fittings=fittings(mass_g=120, centre_mm=(0, 60, -50))
    )
    assert hung.mass_g == 120
    assert hung.centre_mm == pytest.approx([0, 60, -50])
    assert hung.cautions == ()


def test_hung_jaw_moves_alike_in_the_head_and_in_its_own_axes():
    place = Placement(size=(1.1, 0.95, 1.05), shift_mm=(3, -7, 12), pitch_deg=12, yaw_deg=2)
    hung = hang(jaw_piece(), place)
    drawn = np.array([[10.0, 90.0, -50.0], [-30.0, 40.0, -60.0]])
    in_head = hung.swing.moved(place.to_head(drawn), 17.0)
    sized = hung.swing_sized.moved(drawn * place.size, 17.0)
    assert in_head == pytest.approx(sized @ place.rotation.T + place.shift_mm, abs=1e-9)


def test_turns_run_from_stop_to_stop_by_whole_degrees():
    hung = hang(jaw_piece(stops=(-1.5, 3.2)), Placement())
    assert hung.turns_deg.tolist() == [-1.5, -1, 0, 1, 2, 3, 3.2]


def test_volume_centre_of_two_blocks_is_that_of_the_solid():
    solid = box((0, 0, -60), (10, 10, -50)) + box((30, 0, -60), (50, 10, -50))
    hung = hang(jaw_piece(jaw=solid), Placement())
    assert hung.centre_mm == pytest.approx([(5 + 2 * 40) / 3, 5, 5 - 60])
