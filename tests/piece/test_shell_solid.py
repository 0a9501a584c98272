"""The wall of a bare skin as a solid: closed, as thick as it should be, with its holes."""

from __future__ import annotations

import numpy as np
import pytest
import shells
from route_pieces import CAST, IN, OUT, design, layer

from fitkit.errors import DesignError
from fitkit.geometry.rays import RayScene
from fitkit.geometry.solids import is_solid
from fitkit.piece.mass import layer_mass
from fitkit.piece.route_walls import finish_by_route
from fitkit.piece.routes import Route
from fitkit.piece.seams import Keys, split_to_bed
from fitkit.piece.shell_solid import shell_solid


@pytest.fixture(scope="module")
def skin():
    """The outside of a ball of 140 mm with a neck, two eyes and a mouth."""
    shell = shells.plain_shell(segments=64)
    return finish_by_route(design(shell.mesh.submesh(shell.kind == 0)), route=CAST)


@pytest.fixture(scope="module")
def solid(skin):
    return shell_solid(skin, route=CAST, size=1.05, resolution_mm=8.0)


def test_it_is_a_solid_of_the_volume_that_its_layers_have(skin, solid):
    assert is_solid(solid)
    whole = layer_mass(
        skin.skin.scaled(1.05), from_mm=-IN, to_mm=OUT, density_g_cm3=1.0
    ).mass_g
    assert solid.volume_mm3 / 1000 == pytest.approx(whole, rel=5e-3)


def test_a_ray_through_the_crown_meets_the_wall_at_both_its_sides(solid):
    scene = RayScene(solid)
    ways = np.array([[0.1, 0.05, 1.0], [-0.6, -0.4, 0.7], [0.3, -0.9, 0.2]])
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    inner = scene.first_hit(np.zeros((3, 3)), ways).distance_mm
    outer = 400 - scene.first_hit(400 * ways, -ways).distance_mm
    assert inner == pytest.approx(1.05 * 140 - IN, abs=0.6)  # 64 chords
    assert outer == pytest.approx(1.05 * 140 + OUT, abs=0.6)


def test_its_openings_stay_open(solid):
    eye = np.array([[-32 * 1.05, 131 * 1.05, 0]])
    way = eye / np.linalg.norm(eye)
    assert not np.isfinite(RayScene(solid).first_hit(np.zeros((1, 3)), way).distance_mm[0])
    # a ring with four holes: three handles
    counts = len(solid.vertices) - len(solid.edges) + len(solid.faces)
    assert counts == 2 - 2 * 3


def test_it_can_be_split(solid):
    split = split_to_bed(
        solid, bed_mm=(200, 200, 200), keys=Keys(radius_mm=0.8, length_mm=3.0)
    )
    assert all(is_solid(part.mesh) for part in split.parts)
    assert len(split.cuts[0].keys_mm) >= 2


def test_a_closed_skin_becomes_a_shell_with_a_void():
    route = Route(name="r", steps=(layer("wall", "inward", 3.0),))
    ball = finish_by_route(design(shells.as_mesh(shells.ball(120))), route=route)
    solid = shell_solid(ball, route=route, resolution_mm=8.0)
    volume = 4 / 3 * np.pi * (120**3 - 117**3)
    assert solid.volume_mm3 == pytest.approx(volume, rel=6e-3)


def test_a_drawn_wall_needs_none():
    route = Route(name="p", drawn_wall=True, steps=(layer("paint", "outward", 0.2),))
    drawn = design(shells.plain_shell(segments=48).mesh, surface="solid")
    with pytest.raises(DesignError, match="is drawn with its wall: its parts are solids"):
        shell_solid(finish_by_route(drawn, route=route), route=route)
