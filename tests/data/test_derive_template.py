"""Deriving the template: cuts that stay linear, fields that keep the frame, its sources."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from fitkit.data import derive_template as derive
from fitkit.data import template_cut as cut
from fitkit.data.template_mean import average_head, survey_targets
from fitkit.data.template_zones import blend_zones
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.measures import LITERATURE
from fitkit.wearer.reading import MESH_KEYS
from fitkit.wearer.template import load_template
from fitkit.wearer.zones import NECK, ZONES


def ball(radius_mm=60.0, subdivisions=3):
    made = trimesh.creation.icosphere(subdivisions=subdivisions, radius=radius_mm)
    return np.array(made.vertices), np.array(made.faces)


# --- cutting -------------------------------------------------------------------------


@pytest.mark.parametrize("height_mm", [-40.0, -3.1, 0.7, 25.0])
def test_cut_ball_is_closed_and_as_large_as_its_cap(height_mm):
    verts, faces = ball(subdivisions=4)
    normal = np.array([0.0, 0.259, 0.966])
    matrix, out = cut.clip_and_cap(verts, faces, point=height_mm * normal, normal=normal)
    head = Mesh(matrix @ verts, out)
    assert head.is_closed
    # Archimedes: a cap of height h has volume pi h^2 (3 r - h) / 3.
    h = 60.0 - height_mm
    assert head.volume_mm3 == pytest.approx(np.pi * h**2 * (180 - h) / 3, rel=0.006)
    flat = (head.vertices - height_mm * normal) @ (normal / np.linalg.norm(normal))
    assert flat.min() == pytest.approx(0.0, abs=0.01)
    assert flat[-1] == pytest.approx(0.0, abs=0.01)  # the cap's middle comes last
    around = set(out[(out == len(flat) - 1).any(axis=1)].ravel().tolist()) - {len(flat) - 1}
    assert np.abs(flat[sorted(around)]).max() < 0.01


def test_cut_follows_whatever_the_vertices_do():
    # New vertices are fixed shares of old ones, so that modes of shape can follow.
    verts, faces = ball()
    matrix, _ = cut.clip_and_cap(
        verts, faces, point=np.array([0, 0, -20.0]), normal=np.array([0.0, 0, 1])
    )
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0)
    assert matrix.min() >= 0


def test_long_edges_are_split_short_ones_kept():
    verts, faces = ball(radius_mm=60.0, subdivisions=2)  # edges of 16 to 20 mm
    matrix, out = cut.split_long_edges(verts, faces)
    fine = Mesh(matrix @ verts, out)
    assert len(out) == 4 * len(faces)
    assert fine.is_closed
    assert fine.volume_mm3 > 0
    small = verts * 0.3  # edges of 5 to 6 mm
    matrix, out = cut.split_long_edges(small, faces)
    assert len(out) == len(faces)


def test_faces_with_some_long_edges_fit_together():
    verts, faces = ball(radius_mm=20.0, subdivisions=3)  # edges of 2.6 to 3.3 mm
    stretched = verts * [1.0, 1.0, 3.5]
    matrix, out = cut.split_long_edges(stretched, faces)
    fine = Mesh(matrix @ stretched, out)
    assert len(faces) < len(out) < 4 * len(faces)
    assert fine.is_closed
    assert fine.volume_mm3 == pytest.approx(Mesh(stretched, faces).volume_mm3, rel=0.03)


def test_splitting_makes_loops_smooth_surface():
    # C. Loop, "Smooth subdivision surfaces based on triangles" (1987): a new vertex is
    # 3/8 of each end and 1/8 of each opposite corner; a flat patch stays flat and even.
    grid = np.stack(np.meshgrid(np.arange(5), np.arange(5)), axis=2).reshape(-1, 2) * 10.0
    verts = np.column_stack([grid, np.zeros(25)])
    faces = []
    for i in range(4):
        for j in range(4):
            a = 5 * i + j
            faces += [[a, a + 1, a + 6], [a, a + 6, a + 5]]
    matrix, _ = cut.split_long_edges(verts, np.array(faces))
    np.testing.assert_allclose(matrix.sum(axis=1), 1.0)
    rows = matrix[25:].toarray()
    inner = rows[(rows == 0.125).sum(axis=1) == 2]
    assert len(inner) > 0
    assert ((inner == 0.375).sum(axis=1) == 2).all()


def test_mirror_of_a_vertex_is_across_the_midplane():
    verts = np.array([[10.0, 1, 2], [-10.1, 1, 2], [0, 5, 5]])
    assert cut.mirror_of(verts, 0) == 1
    assert cut.mirror_of(verts, 2) == 2


def test_a_patch_is_turned_to_run_with_its_neighbours():
    faces = np.array([[0, 1, 2]])
    against, along = np.array([[1, 2, 3]]), np.array([[2, 1, 3]])
    np.testing.assert_array_equal(cut.agreeing(along, faces), along)
    np.testing.assert_array_equal(cut.agreeing(against, faces), against[:, ::-1])


# --- fields --------------------------------------------------------------------------

AT = {"tragion_left": 0, "tragion_right": 1, "orbitale_left": 2, "orbitale_right": 3}
PLACES = np.array([[-70.0, 0, 0], [70, 0, 0], [-31, 80, 0], [31, 80, 0]])


def cloud(seed=1, count=300):
    random = np.random.default_rng(seed)
    return np.vstack([PLACES, random.normal(0, 60, (count, 3))])


def test_frame_is_kept_by_every_field():
    points = cloud()
    fields = np.random.default_rng(2).normal(size=(7, len(points), 3))
    kept = derive.keep_frame(points, fields, AT)
    np.testing.assert_allclose(kept[:, 0] + kept[:, 1], 0, atol=1e-12)
    np.testing.assert_allclose(kept[:, 0, 1:], 0, atol=1e-12)
    np.testing.assert_allclose(kept[:, 2, 2] + kept[:, 3, 2], 0, atol=1e-12)


def test_a_small_motion_of_the_whole_head_is_no_change_of_shape():
    points = cloud()
    spin, shift = np.array([0.01, -0.02, 0.005]), np.array([3.0, -1, 2])
    rigid = np.cross(spin, points) + shift
    np.testing.assert_allclose(derive.keep_frame(points, rigid[None], AT), 0, atol=1e-9)


def test_only_a_small_motion_is_taken_off():
    points = cloud()
    field = np.random.default_rng(3).normal(size=(1, len(points), 3))
    taken = (field - derive.keep_frame(points, field, AT))[0]
    # A rigid motion strains nothing: distances change by nothing at first order.
    a, b = np.random.default_rng(4).integers(0, len(points), (2, 200))
    strain = ((points[a] - points[b]) * (taken[a] - taken[b])).sum(axis=1)
    np.testing.assert_allclose(strain, 0, atol=1e-9)


def test_frankfort_puts_tragia_and_orbitalia_level():
    turned = PLACES @ np.array([[1, 0, 0], [0, 0.96, 0.28], [0, -0.28, 0.96]]).T + [5, 6, 7]
    origin, axes = derive.frankfort(turned, AT)
    np.testing.assert_allclose((turned - origin) @ axes.T, PLACES, atol=1e-9)


def test_stretching_is_the_same_on_both_sides():
    points = cloud()
    there = derive.stretching_fields(points)
    mirrored = derive.stretching_fields(points * [-1.0, 1, 1])
    np.testing.assert_allclose(mirrored * [-1.0, 1, 1], there, atol=1e-12)
    strain = there[0][:, 0] / points[:, 0]
    np.testing.assert_allclose(strain, derive.STRETCH_MM / 100.0)  # SD at 100 mm


def test_smooth_fields_have_the_stated_spread_and_reach():
    points = load_template().mean_mm[::12]
    fields = derive.smooth_fields(points)
    assert fields.shape == (3 * derive.SMOOTH_CENTRES, len(points), 3)
    variance = (fields**2).sum(axis=0)
    np.testing.assert_allclose(np.sqrt(variance), derive.SMOOTH_MM, rtol=0.1)
    right = fields[:, :, 0]
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    correlation = right.T @ right / derive.SMOOTH_MM**2
    expected = np.exp(-(apart**2) / (2 * derive.SMOOTH_REACH_MM**2))
    assert np.abs(correlation - expected).max() < 0.15


def test_sample_is_spread_out():
    points = cloud(count=500)
    chosen = derive.spread_out(points, 40)
    assert len(set(chosen.tolist())) == 40
    rest = np.linalg.norm(points[:, None] - points[None, chosen], axis=2).min(axis=1).max()
    apart = np.linalg.norm(points[chosen][:, None] - points[None, chosen], axis=2)
    assert apart[np.triu_indices(40, 1)].min() >= rest  # farthest-point order


def test_leading_modes_keep_the_covariance(monkeypatch, capsys):
    monkeypatch.setattr(derive, "KEPT", 4)
    random = np.random.default_rng(5)
    fields = np.einsum("kr,rpi->kpi", random.normal(size=(9, 4)),
                       random.normal(size=(4, 20, 3)))  # fmt: skip
    modes = derive.leading(fields, np.ones(20))
    assert "100.0000%" in capsys.readouterr().out  # four ways are all there are
    flat, made = fields.reshape(9, -1), modes.transpose(2, 0, 1).reshape(4, -1)
    np.testing.assert_allclose(made.T @ made, flat.T @ flat, atol=1e-9)


# --- sources of the mean -------------------------------------------------------------


def test_targets_of_the_mean_are_survey_and_literature():
    target, slack = survey_targets()
    assert set(target) == set(MESH_KEYS)
    assert set(slack) == set(MESH_KEYS) & set(LITERATURE)
    # ANSUR II means of women and men, 561.1 and 574.4 mm, less the hair under the tape.
    assert target["head_circumference_mm"] == pytest.approx(
        567.7 - 2 * np.pi * 2.5, abs=0.3
    )
    assert target["head_length_mm"] == pytest.approx((199.5 + 189.8) / 2, abs=0.3)
    assert target["interpupillary_mm"] == pytest.approx((64.0 + 61.7) / 2, abs=0.1)


def test_average_head_is_stretched_to_the_surveys_size():
    head = average_head()
    target, _ = survey_targets()
    skull = head.vertices[head.vertices[:, 2] > 22]
    assert np.ptp(skull[:, 0]) == pytest.approx(target["head_breadth_mm"], abs=1.0)
    assert np.ptp(skull[:, 1]) == pytest.approx(target["head_length_mm"], abs=1.5)
    assert skull[:, 2].max() == pytest.approx(target["tragion_to_top_mm"], abs=0.5)
    assert head.is_closed


def test_committed_template_blends_the_zones_it_has():
    template = load_template()
    blend = blend_zones(template.zone, template.faces)
    np.testing.assert_allclose(blend, template.zone_blend, atol=1e-3)
    assert (blend[template.zone == NECK].sum(axis=1) <= 1.0).all()
    assert blend.shape[1] == len(ZONES)
