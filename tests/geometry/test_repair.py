from __future__ import annotations

import re

import numpy as np
import pytest

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh, join
from fitkit.geometry.repair import diagnose, mend


def soup(mesh: Mesh) -> Mesh:
    return Mesh(
        mesh.triangles.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )


def with_faces(mesh: Mesh, faces: np.ndarray) -> Mesh:
    return Mesh(mesh.vertices, faces)


@pytest.fixture(scope="module")
def whole(ellipsoid) -> Mesh:
    return ellipsoid(99.75, 77.165, 115.0, subdivisions=3)


def test_sound_mesh_has_nothing_wrong(whole):
    found = diagnose(whole)
    assert found.words == ()
    assert found.likely_unit == "mm"
    assert found.size_mm == pytest.approx((199.5, 154.33, 230.0), abs=0.5)


def test_sound_mesh_is_left_alone(whole):
    mended, done = mend(whole)
    assert done == ()
    assert mended.volume_mm3 == pytest.approx(whole.volume_mm3, rel=1e-12)
    assert len(mended.vertices) == len(whole.vertices)


# Trap: an STL is a soup of triangles that share no vertices.
def test_soup_is_welded_into_a_closed_mesh(whole):
    loose = soup(whole)
    assert not loose.is_closed
    mended, done = mend(loose)
    assert mended.is_closed
    assert len(mended.vertices) == len(whole.vertices)
    assert done == (f"Joined {6 * 642 - 12 - 642} vertices to another at the same place.",)


def test_soup_is_diagnosed_as_unjoined_not_as_full_of_holes(whole):
    found = diagnose(soup(whole))
    assert found.duplicate_vertices == 3 * len(whole.faces) - len(whole.vertices)
    assert found.open_edges == 0
    assert "mend joins them" in found.words[0]


def test_vertices_apart_by_rounding_are_welded_and_others_are_not(whole):
    loose = soup(whole)
    near = loose.vertices + np.random.default_rng(1).uniform(
        -2e-4, 2e-4, (len(loose.vertices), 3)
    )
    assert mend(Mesh(near, loose.faces))[0].is_closed
    far = loose.vertices + np.random.default_rng(1).uniform(
        -0.5, 0.5, (len(loose.vertices), 3)
    )
    assert not mend(Mesh(far, loose.faces))[0].is_closed


def test_holes_are_counted_measured_and_left_open(whole):
    top, bottom = whole.centroids[:, 2] > 95, whole.centroids[:, 2] < -60
    holed = whole.submesh(~(top | bottom))
    found = diagnose(holed)
    assert len(found.hole_lengths_mm) == 2
    lengths = [holed.loop_length_mm(loop) for loop in holed.boundary_loops]
    assert found.hole_lengths_mm == pytest.approx(lengths)
    assert any("2 holes" in words for words in found.words)
    mended, done = mend(holed)
    assert len(mended.boundary_loops) == 2
    assert "Left 2 holes open." in done


def test_flipped_faces_are_counted_and_turned(whole):
    faces = np.array(whole.faces)
    faces[10:37] = faces[10:37, ::-1]
    bad = with_faces(whole, faces)
    assert diagnose(bad).flipped == 27
    mended, done = mend(bad)
    assert mended.is_closed
    assert mended.volume_mm3 == pytest.approx(whole.volume_mm3)
    assert "Turned 27 faces round." in done


def test_closed_mesh_inside_out_is_turned_outward(whole):
    assert diagnose(whole.flipped()).flipped == len(whole.faces)
    assert mend(whole.flipped())[0].volume_mm3 == pytest.approx(whole.volume_mm3)


def test_cavity_keeps_its_inward_winding(whole):
    hollow = join([whole, whole.scaled(0.9).flipped()])
    assert diagnose(hollow).flipped == 0
    assert mend(hollow)[0].volume_mm3 == pytest.approx(whole.volume_mm3 * (1 - 0.9**3))


def test_outer_skin_inside_out_is_turned_although_it_has_a_cavity(whole):
    hollow = join([whole.flipped(), whole.scaled(0.9).flipped()])
    assert mend(hollow)[0].volume_mm3 == pytest.approx(whole.volume_mm3 * (1 - 0.9**3))


def test_open_surface_follows_the_larger_share_of_its_faces(cup):
    faces = np.array(cup.faces)
    few = np.arange(0, len(faces), 5)
    faces[few] = faces[few, ::-1]
    mended, _ = mend(with_faces(cup, faces))
    assert mended.area_mm2 == pytest.approx(cup.area_mm2)
    outward = np.einsum("ij,ij->i", mended.normals, mended.centroids)
    assert np.all(outward > 0)


def test_open_surface_drawn_inward_as_a_whole_is_left_so(cup):
    assert diagnose(cup.flipped()).flipped == 0


def test_repeated_and_collapsed_faces_are_dropped(whole):
    more = np.vstack([whole.faces, whole.faces[:4], whole.faces[5:7, ::-1], [[3, 3, 9]]])
    bad = with_faces(whole, more)
    found = diagnose(bad)
    assert found.duplicate_faces == 6
    assert found.degenerate == 1
    mended, done = mend(bad)
    assert mended.is_closed
    assert "Dropped 7 repeated or collapsed faces." in done


def test_thin_face_is_kept_since_without_it_the_mesh_would_open(box):
    cube = box(200.0, 200.0, 200.0)
    a, b, c = cube.faces[0]
    middle = (cube.vertices[a] + cube.vertices[b]) / 2
    points = np.vstack([cube.vertices, middle])
    # face 0 becomes two, and a face without area joins its old edge to the neighbour
    faces = np.vstack([cube.faces[1:], [[a, 8, c], [8, b, c], [a, b, 8]]])
    thin = Mesh(points, faces)
    assert thin.is_closed
    assert diagnose(thin).degenerate == 1
    mended, _ = mend(thin)
    assert mended.is_closed
    assert len(mended.faces) == len(thin.faces)


def test_loose_bits_are_counted_and_kept(whole, box):
    crumbs = [box(1.0, 1.0, 1.0).moved(np.eye(4) + k * np.eye(4, k=3)) for k in (300, 310)]
    bits = join([whole, *crumbs])
    found = diagnose(bits)
    assert found.loose_parts == 2
    assert any("3 separate parts" in words and "1.0 mm" in words for words in found.words)
    assert len(mend(bits)[0].parts()) == 3


def test_edges_of_three_faces_are_counted_and_left(whole):
    a, b = whole.faces[0, :2]
    fin = np.vstack([whole.vertices, [0, 0, 300]])
    bad = Mesh(fin, np.vstack([whole.faces, [[a, b, len(whole.vertices)]]]))
    assert diagnose(bad).nonmanifold_edges == 1
    mended, done = mend(bad)
    assert len(mended.faces) == len(bad.faces)
    assert any("more than two faces" in words for words in done)


@pytest.mark.parametrize(
    ("factor", "unit", "words"),
    [
        (0.1, "cm", r"in cm \(230 mm\)"),
        (0.001, "m", r"in m \(230 mm\)"),
        (1 / 25.4, "in", r"in in \(230 mm\)"),
        (50.0, None, "not head-size in any"),
    ],
)
def test_wrong_unit_is_named(factor, unit, words, whole):
    found = diagnose(whole.scaled(factor))
    assert found.likely_unit == unit
    (sentence,) = [w for w in found.words if "longest side" in w]
    assert "150 to 1200 mm" in sentence
    assert re.search(words, sentence)


def test_mesh_of_nothing_but_collapsed_faces_is_refused():
    with pytest.raises(MeshError, match="No face is left"):
        mend(Mesh(np.eye(3), [[0, 0, 1], [1, 1, 1]]))


def test_mending_twice_changes_nothing(whole):
    once, _ = mend(soup(whole.flipped()))
    twice, done = mend(once)
    assert done == ()
    assert np.array_equal(once.triangles, twice.triangles)
