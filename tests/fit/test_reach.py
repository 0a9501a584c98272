import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jaws import box, manifold_of, mesh_of
from manifold3d import Manifold
from scipy.spatial.transform import Rotation
from stand_ins import ball

from fitkit.fit._reach import Surface, least_gaps
from fitkit.geometry.mesh import Mesh, join
from fitkit.wearer.swing import hinge

#: What the sweep is held to against another exact method. [mm]
AGREE_MM = 0.02
LUMP = mesh_of(Manifold.sphere(30, 24).scale((1, 1.4, 0.8)).refine(2))
BOWL = mesh_of(
    Manifold.sphere(80, 48) - Manifold.sphere(70, 48) - box((-90, -90, 20), (90, 90, 90))
)


def by_solids(moving: Mesh, still: Mesh, matrix) -> float:
    """The solid kernel's own least gap, another program altogether."""
    return manifold_of(moving.moved(matrix)).min_gap(manifold_of(still), 200.0)


def poses(count: int, seed: int, *, spread=25.0):
    rng = np.random.default_rng(seed)
    out = np.tile(np.eye(4), (count, 1, 1))
    out[:, :3, :3] = Rotation.random(count, rng=seed).as_matrix()
    out[:, :3, 3] = rng.uniform(-spread, spread, (count, 3))
    return out


@given(st.integers(0, 10_000))
@settings(max_examples=8, deadline=None)
def test_least_gap_is_that_of_the_solid_kernel_at_any_pose(seed):
    matrices = poses(4, seed)
    got = least_gaps(Surface(LUMP), Surface(BOWL), matrices)
    want = [by_solids(LUMP, BOWL, m) for m in matrices]
    assert got.gap_mm == pytest.approx(want, abs=AGREE_MM)
    assert (got.gap_mm >= np.array(want) - 1e-6).all()  # never less than there is


def test_swept_gap_over_a_hinge_is_that_of_the_solid_kernel():
    jaw = mesh_of(box((-40, 20, -62), (40, 110, -45)).refine(6))
    shell = mesh_of(
        (box((-60, -20, -40), (60, 120, 40)) - box((-30, 60, -41), (30, 100, -20))).refine(
            4
        )
    )
    matrices = hinge(at_mm=(0, -10, -20)).matrix(np.arange(-3.0, 26.0))
    got = least_gaps(Surface(jaw), Surface(shell), matrices)
    want = [by_solids(jaw, shell, m) for m in matrices]
    assert got.gap_mm == pytest.approx(want, abs=AGREE_MM)


def test_edge_over_edge_is_seen_though_no_vertex_is_near():
    # Two long beams that cross: their corners are 100 mm away, the gap is 4 mm.
    beam = mesh_of(box((-100, -1, -1), (100, 1, 1)))
    turn = np.eye(4)
    turn[2, 3] = 1.0 + 4.0 + np.sqrt(2)
    turn[:3, :3] = Rotation.from_euler("xz", [45, 90], degrees=True).as_matrix()
    got = least_gaps(Surface(beam), Surface(beam), turn[None])
    assert got.gap_mm[0] == pytest.approx(4.0, abs=0.005)


def test_surfaces_that_meet_have_no_gap():
    shift = np.eye(4)[None].copy()
    shift[0, 0, 3] = 65.0
    assert least_gaps(Surface(LUMP), Surface(BOWL), shift).apart_mm[0] == 0.0


def test_layers_are_taken_off_on_the_side_that_is_faced():
    inner, outer = ball(40, segments=48), ball(50, segments=48).flipped()
    plain = least_gaps(Surface(inner), Surface(outer), np.eye(4)[None]).gap_mm[0]
    layered = least_gaps(
        Surface(inner, ahead_mm=2.0, behind_mm=7.0),
        Surface(outer, ahead_mm=1.5, behind_mm=9.0),
        np.eye(4)[None],
    )
    assert layered.gap_mm[0] == pytest.approx(plain - 3.5, abs=0.005)
    assert layered.apart_mm[0] == pytest.approx(plain, abs=0.005)


def test_thicker_layer_far_off_wins_over_a_nearer_bare_wall():
    floor = mesh_of(box((-100, -100, -10), (100, 100, 0)).refine(8))
    layer = np.where(floor.centroids[:, 0] > 50, 6.0, 0.0)
    lump = join(
        [ball(5, at=(-60, 0, 13), segments=24), ball(5, at=(80, 0, 15), segments=24)]
    )
    got = least_gaps(
        Surface(lump), Surface(floor, ahead_mm=layer, behind_mm=layer), np.eye(4)[None]
    )
    assert got.gap_mm[0] == pytest.approx(15 - 5 - 6, abs=0.05)
    assert got.on_moving[0, 0] > 50


def test_open_surfaces_and_far_ones_are_measured_too():
    sheet = Mesh([[0, 0, 0], [400, 0, 0], [0, 400, 0]], [[0, 1, 2]])
    far = np.eye(4)[None].copy()
    far[0, :3, 3] = 50, 50, 300
    got = least_gaps(Surface(ball(10, segments=32)), Surface(sheet), far)
    assert got.gap_mm[0] == pytest.approx(290.0, abs=0.05)


def test_same_input_gives_the_same_gaps():
    matrices = poses(5, 3)
    one, two = (least_gaps(Surface(LUMP), Surface(BOWL), matrices) for _ in range(2))
    assert np.array_equal(one.gap_mm, two.gap_mm)
    assert np.array_equal(one.on_still, two.on_still)
