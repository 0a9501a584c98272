from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitkit.geometry.mesh import Mesh
from fitkit.geometry.rays import RayScene


def directions(count: int, seed: int = 11) -> np.ndarray:
    aims = np.random.default_rng(seed).normal(size=(count, 3))
    return aims / np.linalg.norm(aims, axis=1, keepdims=True)


def brute_first_hit(mesh: Mesh, origin: np.ndarray, aim: np.ndarray) -> float:
    """T. Möller and B. Trumbore, "Fast, minimum storage ray/triangle intersection",
    J. Graphics Tools 2(1), 21-28 (1997), over all triangles."""
    a, b, c = np.moveaxis(mesh.triangles, 1, 0)
    p = np.cross(aim, c - a)
    det = np.sum((b - a) * p, axis=1)
    u = np.sum((origin - a) * p, axis=1) / det
    q = np.cross(origin - a, b - a)
    v = q @ aim / det
    t = np.sum((c - a) * q, axis=1) / det
    hit = (u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0)
    return float(np.min(t[hit], initial=np.inf))


def test_first_hit_equals_a_search_over_all_triangles(cup):
    origin, aims = np.array([10.0, 20.0, 5.0]), directions(300)
    want = [brute_first_hit(cup, origin, aim) for aim in aims]
    assert RayScene(cup).first_hit(origin, aims).distance_mm == pytest.approx(
        want, abs=1e-9
    )


def test_rays_inside_a_ball_travel_its_radius(ellipsoid):
    ball = ellipsoid(100.0, 100.0, 100.0, subdivisions=6)
    hits = RayScene(ball).first_hit(np.zeros(3), directions(2000))
    # facets of edge 1.5 mm lie up to 0.01 mm below the sphere
    assert hits.distance_mm == pytest.approx(np.full(2000, 100.0), abs=0.011)


def test_hit_point_lies_in_the_plane_of_the_named_face(cup):
    origin, aims = np.array([0.0, 0.0, 20.0]), directions(200)
    hits = RayScene(cup).first_hit(origin, aims)
    struck = hits.face >= 0
    at = origin + hits.distance_mm[struck, None] * aims[struck]
    corner = cup.vertices[cup.faces[hits.face[struck], 0]]
    height = np.sum((at - corner) * cup.normals[hits.face[struck]], axis=1)
    assert height == pytest.approx(np.zeros(struck.sum()), abs=1e-9)


def test_free_rays_say_infinity_and_no_face(dome):
    down = np.array([[0.0, 0.0, -1.0]])
    hits = RayScene(dome).first_hit(np.array([0.0, 0.0, 50.0]), down)
    assert np.isinf(hits.distance_mm[0])
    assert hits.face[0] == -1


# Trap: the tracer's own answer is 0 for blocked and -1 for free, both "true" or "false"
# at a glance.
def test_blocked_is_true_for_blocked_and_false_for_free(dome):
    scene = RayScene(dome)
    aims = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, -1.0], [1.0, 0.0, 0.5]])
    got = scene.blocked(np.array([0.0, 0.0, 10.0]), aims)
    assert got.tolist() == [True, False, True]


def test_blocked_agrees_with_first_hit(cup):
    scene, aims = RayScene(cup), directions(3000)
    origin = np.array([0.0, 0.0, -30.0])
    hits = scene.first_hit(origin, aims)
    assert np.array_equal(scene.blocked(origin, aims), hits.face >= 0)
    assert 0.1 < np.mean(hits.face >= 0) < 0.9


# Trap: single precision, so a scene far from the origin loses its digits.
def test_rays_stay_exact_a_hundred_metres_from_the_origin(ellipsoid):
    ball = ellipsoid(100.0, 100.0, 100.0, subdivisions=3)
    far = np.array([1e5, -1e5, 3e4])
    aims = directions(500)
    here = RayScene(ball).first_hit(np.zeros(3), aims).distance_mm
    there = RayScene(Mesh(ball.vertices + far, ball.faces)).first_hit(far, aims)
    assert there.distance_mm == pytest.approx(here, abs=1e-6)


# Trap: other ray kernels leak where triangles meet.
def test_no_ray_leaks_through_an_edge_or_a_vertex(ellipsoid):
    ball = ellipsoid(99.75, 77.165, 115.0, subdivisions=5)
    middles = ball.vertices[ball.edges].mean(axis=1)
    for centre in ([3.0, 2.0, 1.0], [0.0, 0.0, 0.0], [-20.0, 1.0, 40.0]):
        targets = np.concatenate([ball.vertices, middles]) - centre
        assert RayScene(ball).blocked(np.array(centre), targets).all()
        assert (RayScene(ball).first_hit(np.array(centre), targets).face >= 0).all()


def test_both_sides_of_a_face_block(dome):
    scene = RayScene(dome)
    assert scene.blocked(np.array([0, 0, 50.0]), np.array([[0, 0, 1.0]]))[0]
    assert scene.blocked(np.array([0, 0, 150.0]), np.array([[0, 0, -1.0]]))[0]


def test_reach_limits_what_can_block(dome):
    scene, up = RayScene(dome), np.array([[0.0, 0.0, 2.0]])
    start = np.array([0.0, 0.0, 40.0])  # 60 mm below the pole
    assert not scene.blocked(start, up, reach_mm=59.0)[0]
    assert scene.blocked(start, up, reach_mm=61.0)[0]


def test_skip_lets_rays_start_on_the_mesh(dome):
    scene, start = RayScene(dome), dome.centroids[:200]
    inward, outward = -dome.normals[:200], dome.normals[:200]
    through = scene.first_hit(start, inward, skip_mm=0.01)
    assert (through.distance_mm > 50).all()
    assert not scene.blocked(start, outward, skip_mm=0.01).any()


def test_skip_is_counted_in_the_distance(dome):
    start, up = np.array([0.0, 0.0, 40.0]), np.array([[0.0, 0.0, 1.0]])
    got = RayScene(dome).first_hit(start, up, skip_mm=25.0)
    assert got.distance_mm[0] == pytest.approx(60.0, abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(number=st.integers(0, 10**6))
def test_rigid_motion_keeps_what_rays_meet(number, cup, rigid):
    matrix, aims = rigid(number), directions(200)
    origin = np.array([5.0, -10.0, 15.0])
    still = RayScene(cup).first_hit(origin, aims).distance_mm
    turned = RayScene(cup.moved(matrix)).first_hit(
        matrix[:3, :3] @ origin + matrix[:3, 3], aims @ matrix[:3, :3].T
    )
    assert np.mean(np.isclose(turned.distance_mm, still, atol=1e-6)) > 0.99


def test_scene_can_be_sent_to_another_process(cup):
    scene, aims = RayScene(cup), directions(50)
    want = scene.first_hit(np.zeros(3), aims)
    got = pickle.loads(pickle.dumps(scene)).first_hit(np.zeros(3), aims)
    assert np.array_equal(got.face, want.face)
