"""Seams: every part a solid, nothing lost, keys within the wall, parts on the bed."""

from __future__ import annotations

import numpy as np
import pytest
from shells import as_mesh, ball, box, plain_shell

from fitkit.errors import DesignError, MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.solids import is_solid, overlap_mm3
from fitkit.piece.seams import KeepWhole, Keys, part_solid, split_to_bed

SIDE = {"point_mm": (0, 5, 0), "normal": (0, 1, 0)}


@pytest.fixture(scope="module")
def shell():
    return plain_shell(wall_mm=6.0, segments=64).mesh


def test_two_halves_are_solids_and_nothing_is_lost(shell):
    parted = part_solid(shell, **SIDE)
    assert is_solid(parted.ahead)
    assert is_solid(parted.behind)
    both = parted.ahead.volume_mm3 + parted.behind.volume_mm3
    assert both == pytest.approx(shell.volume_mm3, rel=1e-6)
    assert parted.ahead.bounds_mm[0, 1] == pytest.approx(5)
    assert parted.keys_mm.shape == (0, 3)


def test_the_cut_face_of_a_box_is_its_section():
    parted = part_solid(as_mesh(box(30, 60, 20)), **SIDE)
    assert parted.face_mm2 == pytest.approx(600)
    assert parted.seam_mm == pytest.approx(100)


def test_keys_stand_in_their_holes_with_the_clearance_asked(shell):
    keys = Keys(radius_mm=1.5, length_mm=5, clearance_mm=0.2, count=5)
    parted = part_solid(shell, **SIDE, keys=keys)
    assert len(parted.keys_mm) == 5
    assert is_solid(parted.ahead)
    assert is_solid(parted.behind)
    assert overlap_mm3(parted.ahead, parted.behind) < 1e-6
    # one pin's volume outside the plane, by hand: a cylinder with a short taper
    pins = parted.behind.volume_mm3 - part_solid(shell, **SIDE).behind.volume_mm3
    assert pins == pytest.approx(5 * np.pi * 1.5**2 * 5, rel=0.07)
    gap = SurfaceTree(parted.ahead).nearest(
        parted.keys_mm + 1.5 * np.array([1, 0, 0]) + np.array([0, 2.0, 0])
    )
    assert gap.distance_mm == pytest.approx(0.2, abs=0.03)  # 24 sides


def test_keys_keep_wall_around_them_and_keep_apart(shell):
    keys = Keys(radius_mm=1.5, count=6)
    parted = part_solid(shell, **SIDE, keys=keys)
    depth = -SurfaceTree(shell).signed_mm(parted.keys_mm)
    assert depth.min() > keys.needs_mm - 0.01
    apart = np.linalg.norm(parted.keys_mm[:, None] - parted.keys_mm, axis=2)
    assert apart[~np.eye(6, dtype=bool)].min() > 40
    # pins do not come out of the wall
    assert parted.behind.bounds_mm[1, 1] == pytest.approx(5 + keys.length_mm + 0.0, abs=0.2)
    inside = SurfaceTree(shell).signed_mm(
        parted.keys_mm + (keys.length_mm - 0.5) * parted.normal
    )
    assert inside.max() < 0


def test_a_wall_too_thin_for_keys_is_a_caution():
    thin = plain_shell(wall_mm=2.5, segments=48).mesh
    parted = part_solid(thin, **SIDE, keys=Keys(radius_mm=2.0))
    assert len(parted.keys_mm) == 0
    assert "has room for 0 keys of 4 mm" in parted.cautions[0]
    assert is_solid(parted.ahead)


def test_a_plane_that_misses_is_refused(shell):
    with pytest.raises(MeshError, match="plane"):
        part_solid(shell, point_mm=(0, 500, 0), normal=(0, 1, 0))


# -- beds -----------------------------------------------------------------------------


def test_every_part_fits_the_bed_and_nothing_is_lost(shell):
    split = split_to_bed(shell, bed_mm=(180, 180, 180), name="shell")
    for part in split.parts:
        assert is_solid(part.mesh)
        assert part.size_mm.max() <= 180
    volume = sum(part.mesh.volume_mm3 for part in split.parts)
    assert volume == pytest.approx(shell.volume_mm3, rel=1e-6)
    names = [part.name for part in split.parts]
    assert names == [f"shell {k}" for k in range(1, len(names) + 1)]
    assert len(names) == 8  # 280 by 280 by 250 mm, halved three times


def test_parts_with_pins_fit_too(shell):
    keys = Keys(radius_mm=1.2, length_mm=4)
    split = split_to_bed(shell, bed_mm=(200, 300, 200), keys=keys)
    for part in split.parts:
        assert np.all(np.sort(part.size_mm) <= np.array([200, 200, 300]) + 1e-6)
        assert is_solid(part.mesh)
    assert all(len(cut.keys_mm) >= 2 for cut in split.cuts)


def test_a_long_part_may_be_laid_along_the_bed():
    bar = as_mesh(box(40, 40, 290))
    split = split_to_bed(bar, bed_mm=(300, 100, 100))
    assert len(split.parts) == 1
    assert split.cuts == ()


def test_a_bar_is_cut_into_as_many_as_needed():
    split = split_to_bed(as_mesh(box(40, 40, 590)), bed_mm=(200, 200, 200))
    assert len(split.parts) == 3


def test_the_cut_goes_where_the_face_is_least():
    # a dumb-bell of 300 mm with a neck off its middle
    bell = box(80, 80, 180, at=(0, 0, 90)) + box(30, 30, 60, at=(0, 0, 195))
    bell += box(80, 80, 80, at=(0, 0, 250))
    split = split_to_bed(as_mesh(bell), bed_mm=(220, 220, 220))
    (cut,) = split.cuts
    assert 180 < cut.point_mm[2] < 210
    assert cut.face_mm2 == pytest.approx(900)


def test_seams_keep_out_of_what_is_kept_whole():
    kept = KeepWhole(name="nose", centre_mm=(0, 0, 140), radius_mm=35)
    split = split_to_bed(
        as_mesh(box(80, 80, 280)), bed_mm=(200, 200, 200), keep_whole=[kept]
    )
    assert all(abs(cut.point_mm[2] - 140) >= 35 for cut in split.cuts)


def test_what_hangs_apart_after_a_cut_is_a_part_of_its_own():
    arch = box(200, 40, 260) - box(120, 60, 200, at=(0, 0, -40))
    split = split_to_bed(as_mesh(arch), bed_mm=(210, 150, 210))
    assert all(len(part.mesh.parts()) == 1 for part in split.parts)
    assert len(split.parts) >= 3


def test_what_a_cut_only_grazes_is_no_part_of_its_own():
    # knobs of 2 mm whose tips lie just beyond every place where the bar may be cut
    bar = box(80, 80, 280)
    for up in np.linspace(-100, 100, 9):
        bar += box(4, 4, 4, at=(0, 0, up)) + box(2, 2, 2.2, at=(50, 0, up))
    split = split_to_bed(as_mesh(bar), bed_mm=(200, 200, 200))
    assert all(part.mesh.volume_mm3 > 50 for part in split.parts)
    assert any(words.startswith("Crumbs of") for words in split.cautions)


# -- refused --------------------------------------------------------------------------


def test_a_part_that_cannot_be_split_to_the_bed_is_named_with_the_cure():
    kept = KeepWhole(name="beak", centre_mm=(0, 0, 0), radius_mm=200)
    words = (
        r"heron: a part of 80 x 80 x 280 mm cannot be split to a bed of 200 x 200 x 200 mm "
        r".*\(beak\)\. Take a larger bed"
    )
    beak = as_mesh(box(80, 80, 280))
    with pytest.raises(DesignError, match=words):
        split_to_bed(beak, bed_mm=(200, 200, 200), keep_whole=[kept], name="heron")


def test_a_bed_for_which_too_many_parts_are_needed_is_refused():
    with pytest.raises(DesignError, match="more than 64 parts would be needed"):
        split_to_bed(as_mesh(box(400, 400, 400)), bed_mm=(60, 60, 60))


def test_a_bed_in_centimetres_is_refused():
    with pytest.raises(DesignError, match="bed_mm must be 50 to 3000 mm; got 22"):
        split_to_bed(as_mesh(ball(60)), bed_mm=(22, 22, 25))


def test_a_skin_without_wall_is_refused():
    mesh = plain_shell(segments=48)
    with pytest.raises(MeshError, match="must be a solid"):
        split_to_bed(mesh.mesh.submesh(mesh.kind == 0), bed_mm=(200, 200, 200))


def test_keys_beyond_belief_are_refused():
    with pytest.raises(DesignError, match=r"radius_mm must be 0\.5 to 20 mm"):
        Keys(radius_mm=0)
