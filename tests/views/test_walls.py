import numpy as np
import pytest
from manifold3d import Manifold

from fitkit.fit.placement import Placement
from fitkit.geometry.files import save_mesh
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.views.walls import FinishedWall

LAYERS = {
    "inward": [{"name": "lining", "thickness_mm": 2}],
    "outward": [{"name": "paint", "thickness_mm": 1}],
}


def ball(radius_mm):
    return Manifold.sphere(radius_mm, 160)


def mesh_of(solid) -> Mesh:
    raw = solid.to_mesh()
    points = np.asarray(raw.vert_properties, dtype=float)[:, :3]
    return Mesh(points, np.asarray(raw.tri_verts, dtype=np.int64))


def piece_of(solid, folder, surface):
    """Give a piece with a neck cut off below up = -100 mm."""
    cut = solid - Manifold.cube([400, 400, 100], True).translate([0, 0, -150])
    mesh = mesh_of(cut)
    if surface == "outer":
        mesh = mesh.submesh(mesh.centroids[:, 2] > -99.9)
    save_mesh(mesh, folder / "ball.stl")
    notes = {
        "fitkit_notes": 1, "unit": "mm", "front": "y", "up": "z", "origin_mm": [0, 0, 0],
        "surface": surface, "layers": LAYERS,
    }  # fmt: skip
    return finish(read_design(folder / "ball.stl", notes=notes))


# Shells of which the wall is known in closed form, along the ray up from the centre: a
# skin of radius 140 has its wall from 140 - 2 to 140 + 1; a solid from 130 to 140 has it
# from 130 - 2 to 140 + 1. Facets of the balls lie up to 0.03 mm inside them.
@pytest.fixture(scope="module", params=["outer", "solid"])
def case(request, tmp_path_factory):
    solid = ball(140) if request.param == "outer" else ball(140) - ball(130)
    folder = tmp_path_factory.mktemp(request.param)
    inner = 138.0 if request.param == "outer" else 128.0
    return piece_of(solid, folder, request.param), inner, 141.0


def radial(field_at, radii):
    way = np.array([0.6, 0.48, 0.64])
    return field_at(radii[:, None] * way)


def test_the_wall_ends_at_the_true_distance_of_its_layers(case):
    piece, inner, outer = case
    wall = FinishedWall(piece, Placement())
    radii = np.array([inner - 10, inner, inner + 0.5, outer - 0.5, outer, outer + 10])
    got = radial(wall.sample, radii)
    assert got == pytest.approx([10.0, 0.0, -0.5, -0.5, 0.0, 10.0], abs=0.06)


def test_layers_keep_their_thickness_at_another_size_and_pose(case):
    piece, inner, outer = case
    shift = np.array([3.0, -4.0, 5.0])
    at = Placement(size=1.1, shift_mm=shift, pitch_deg=20, yaw_deg=10, roll_deg=-5)
    wall = FinishedWall(piece, at)
    ends = np.array([1.1 * (inner + 2) - 2, 1.1 * (outer - 1) + 1])
    got = radial(lambda points: wall.sample(points + shift), ends)
    assert got == pytest.approx([0.0, 0.0], abs=0.06)


def test_a_grid_says_the_same_where_the_wall_is_near_and_the_same_sign_elsewhere(case):
    piece, _, _ = case
    wall = FinishedWall(piece, Placement())
    across, upward = np.meshgrid(np.arange(-170.0, 171, 2), np.arange(-130.0, 171, 2))
    nodes = np.stack([across, 0 * across, upward], axis=-1)
    exact = wall.sample(nodes)
    quick = wall.sample_grid(nodes, step_mm=2.0)
    near = np.abs(exact) < 2.0
    assert near.sum() > 300
    assert np.array_equal(quick[near], exact[near])
    assert np.array_equal(quick < 0, exact < 0)
