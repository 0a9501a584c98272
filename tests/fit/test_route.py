import numpy as np
import pytest
from jaws import manifold_of, mesh_of
from manifold3d import Manifold
from passages import PLATE_UP, ellipsoid, plate, way_off

from fitkit.fit._passage import Passage, matrix_of, slopes
from fitkit.fit._reach import Surface

BALL = ellipsoid(40, 40, 40)


def every_pose_is_clear(head, wall, route, *, at_most=np.inf) -> bool:
    """Check poses with the solid kernel, which shares no code with the search."""
    solid = manifold_of(head)
    rows = range(0, len(route.moves), max(1, len(route.moves) // 12))
    for k in rows:
        moved = manifold_of(wall.moved(matrix_of(route.moves[k])))
        gap = solid.min_gap(moved, 400.0)
        overlap = (solid ^ moved).volume()
        if overlap > 1e-6 or abs(gap - route.gap_mm[k]) > 0.02 or gap > at_most:
            return False
    return True


def test_ball_passes_a_ring_that_is_larger_and_every_pose_is_clear():
    wall = plate(41.5, 41.5)
    head, wall, route = way_off(BALL, wall)
    assert route.found
    # the hole's sides cut the circle: its inner radius is 41.5 cos(180/64 deg)
    assert route.gap_mm.min() == pytest.approx(41.5 * np.cos(np.pi / 64) - 40, abs=0.25)
    assert every_pose_is_clear(head, wall, route)
    assert np.array_equal(route.moves[0], np.zeros(6))


def test_ball_does_not_pass_a_ring_that_is_smaller():
    route = way_off(BALL, plate(39, 39))[2]
    assert not route.found
    # the first way tried lifts the plate straight to the ball's widest part
    assert route.gap_mm.min() < -0.2
    assert abs(route.tight[2] + PLATE_UP) < 50


def test_ellipsoid_that_needs_tilt_passes_tilted_and_not_upright():
    # 50 from the middle to the front, 36 up: upright it wants 50 of the hole's 46.5;
    # tilted by p it wants sqrt(50^2 cos^2 p + 36^2 sin^2 p), which is 46.5 at 32 deg.
    head, wall = ellipsoid(33, 50, 36), plate(37, 46.5)
    assert not way_off(head, wall, free=(2,))[2].found
    head, wall, tilted = way_off(head, wall)
    assert tilted.found
    assert np.abs(tilted.moves[:, 3]).max() > 15
    assert every_pose_is_clear(head, wall, tilted)


def test_ellipsoid_too_large_for_any_tilt_is_refused():
    assert not way_off(ellipsoid(33, 50, 49.5), plate(37, 46.5))[2].found


def peg_and_hole(spare_mm):
    """Upright peg in a tube with a lip at its foot, `spare_mm` wider in all."""
    peg = mesh_of(Manifold.cylinder(80, 40, 40, 24, True))
    lip, tube = 40 + spare_mm / 2, Manifold.cylinder(100, 50, 50, 24)
    tube -= Manifold.cylinder(10, lip, lip, 24)
    tube -= Manifold.cylinder(100, 44, 44, 24).translate((0, 0, 6))
    return peg, mesh_of(tube.translate((0, 0, -52)))


def test_peg_with_half_a_millimetre_of_play_in_all_is_let_through():
    peg, sleeve = peg_and_hole(0.5)
    peg, sleeve, route = way_off(peg, sleeve, up=-52.0, free=(0, 1, 2, 3, 5))
    assert route.found
    assert 0 < route.gap_mm.min() <= 0.25
    assert every_pose_is_clear(peg, sleeve, route)


def test_peg_half_a_millimetre_too_large_is_refused_and_the_place_is_named():
    peg, sleeve = peg_and_hole(-0.5)
    route = way_off(peg, sleeve, up=-52.0, free=(0, 1, 2, 3, 5))[2]
    assert not route.found
    near = route.near
    place = near.head[near.room_mm.argmin()]
    assert np.hypot(place[0], place[1]) == pytest.approx(40, abs=1.0)  # on the peg's side
    assert near.least_mm == pytest.approx(-0.25, abs=0.1)


def test_ring_a_twentieth_too_small_is_not_stepped_over():
    # Too small over a stretch of 4 mm only: poses at every stride of 6 mm could miss it.
    hole = (40 - 0.05) / np.cos(np.pi / 64)
    assert not way_off(BALL, plate(hole, hole))[2].found


def test_gap_between_poses_is_vouched_for():
    wall = plate(41.5, 41.5)
    head, wall, route = way_off(BALL, wall)
    passage = Passage(Surface(wall), head, free=(1, 2, 3))
    worst = int(route.between_mm.argmin())
    assert len(route.between_mm) == len(route.moves) - 1
    share = np.linspace(0, 1, 9)[:, None]
    one, two = route.moves[worst], route.moves[worst + 1]
    between = passage.exact(one + share * (two - one)).gap_mm
    assert between.min() >= route.between_mm[worst] - 1e-6
    assert route.between_mm[worst] > 0


def test_bound_on_how_far_the_wall_goes_holds_for_all_its_corners():
    passage = Passage(Surface(plate(41.5, 40)), BALL, free=(1, 2, 3))
    one = np.array([0.0, 1.0, 40.0, 3.0, 0.0, 0.0])
    two = one + np.array([0.5, -2.0, 3.0, 1.5, 1.0, -1.0])
    corners = passage.wall.mesh.vertices
    start, end = (carried(corners, np.zeros(6), move) for move in (one, two))
    room = passage.tree.signed_mm(start)
    near = room < room.min() + 6.0
    assert near.sum() > 5
    assert np.linalg.norm(end - start, axis=1)[near].max() <= passage.gone(one, two)


@pytest.mark.slow
def test_layers_of_the_wall_count():
    wall = plate(41.5, 41.5)
    assert way_off(BALL, wall, layer_mm=0.5)[2].found
    assert not way_off(BALL, wall, layer_mm=3.0)[2].found


@pytest.mark.slow
def test_same_input_gives_the_same_way():
    head, wall = ellipsoid(33, 50, 36), plate(37, 46.5)
    one, two = (way_off(head, wall)[2] for _ in range(2))
    assert np.array_equal(one.moves, two.moves)
    assert np.array_equal(one.gap_mm, two.gap_mm)


def test_room_at_marks_changes_as_its_slope_says():
    passage = Passage(Surface(plate(41.5, 40)), BALL, free=(1, 2, 3))
    move = np.array([1.0, -2.0, 59.0, 6.0, 2.0, -3.0])
    near = passage.near(move)
    slope = slopes(near, move)
    step = np.array([0.03, 0.02, -0.04, 0.02, -0.01, 0.03])
    moved = passage._measured(  # the same marks, carried a little further
        carried(near.at, move, move + step), np.zeros(len(near.at))
    )[0]
    change = moved - (near.room_mm)
    assert change == pytest.approx(slope @ step, abs=0.01)


def carried(points, before, after):
    a, b = matrix_of(before), matrix_of(after)
    back = (points - a[:3, 3]) @ a[:3, :3]
    return back @ b[:3, :3].T + b[:3, 3]
