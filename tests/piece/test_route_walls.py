"""What routes make: distances by an independent method, walls, what fills, what meets."""

from __future__ import annotations

import numpy as np
import pytest
import shells
from buildup_figures import FIGURES
from manifold3d import Manifold
from route_pieces import CAST, IN, OUT, design, layer, skin

from fitkit.errors import DesignError
from fitkit.piece.buildup import finish, sample_wall
from fitkit.piece.design import Design
from fitkit.piece.mass import Materials, weigh
from fitkit.piece.route_steps import CopyStep, Region, RemoveStep
from fitkit.piece.route_walls import (
    build_up_by_route,
    finish_by_route,
    route_outer,
    route_walls,
)
from fitkit.piece.routes import Route


def walls_of(drawn: Design, route: Route, *, resolution_mm=8.0, **more):
    """Walls on a coarse grid: faces are refined to the same error, only slits are lost."""
    piece = finish_by_route(drawn, route=route)
    return route_walls(piece, route=route, resolution_mm=resolution_mm, **more)


def distance_mm(points, mesh):
    """Distance to a mesh by brute force: every point against every triangle."""
    best = np.full(len(points), np.inf)
    for a, b, c in mesh.triangles:
        best = np.minimum(best, _to_triangle(points, a, b, c))
    return best


def _to_triangle(p, a, b, c):
    normal = np.cross(b - a, c - a)
    size = np.linalg.norm(normal)
    edges = ((a, b), (b, c), (c, a))
    gap = np.min([_to_segment(p, *edge) for edge in edges], axis=0)
    if size < 1e-12:
        return gap
    normal = normal / size
    inside = np.all([(p - s) @ np.cross(normal, e - s) >= 0 for s, e in edges], axis=0)
    return np.where(inside, np.abs((p - a) @ normal), gap)


def _to_segment(p, a, b):
    share = np.clip((p - a) @ (b - a) / ((b - a) @ (b - a) + 1e-30), 0, 1)
    return np.linalg.norm(p - a - share[:, None] * (b - a), axis=1)


# -- distances ------------------------------------------------------------------------


def test_surfaces_lie_at_the_true_distance_by_brute_force():
    drawn = skin(shells.ball(105, 125, 140, segments=48))
    piece = finish_by_route(drawn, route=CAST)
    walls = route_walls(piece, route=CAST, size=1.04, resolution_mm=8.0)
    sized = drawn.parts["skin"].scaled(1.04)
    for mesh, meant in (
        (walls.inner, IN),
        (route_outer(piece, route=CAST, size=1.04, resolution_mm=8.0), OUT),
    ):
        some = np.random.default_rng(2).choice(len(mesh.faces), 300)
        share = np.random.default_rng(3).dirichlet([1, 1, 1], 300)
        points = np.einsum("fi,fij->fj", share, mesh.triangles[some])
        assert np.abs(distance_mm(points, sized) - meant).max() < 0.05


def test_a_sharp_inner_corner_is_as_far_as_a_ball_reaches():
    # a box's inner wall at distance t is the box less t all round, corners sharp
    drawn = design(shells.as_mesh(shells.box(240, 260, 280)))
    walls = walls_of(drawn, CAST)
    assert np.allclose(walls.inner.size_mm, np.array([240, 260, 280]) - 2 * IN, atol=0.02)
    volume = np.prod(np.array([240, 260, 280]) - 2 * IN)
    assert walls.inner.volume_mm3 == pytest.approx(volume, rel=2e-4)


def test_the_outside_of_a_box_has_steiners_volume_and_area():
    drawn = design(shells.as_mesh(shells.box(200, 150, 230)))
    route = Route(name="r", steps=(layer("foam", "outward", 10.0),))
    outer = route_outer(finish_by_route(drawn, route=route), route=route)
    told = "box 200 150 230 grown by 10"
    assert outer.volume_mm3 / 1e3 == pytest.approx(FIGURES[f"{told}: volume"], rel=1e-4)
    assert outer.area_mm2 / 1e2 == pytest.approx(FIGURES[f"{told}: area"], rel=2e-4)


def test_a_ball_has_the_wall_worked_out_by_hand():
    drawn = skin(shells.ball(120, segments=96))
    route = Route(name="r", steps=(layer("wall", "inward", 3.0),))
    walls = walls_of(drawn, route)
    volume = drawn.parts["skin"].volume_mm3 - walls.inner.volume_mm3
    told = FIGURES["ball of 120 with a wall of 3"]
    assert volume / 1000 == pytest.approx(told, rel=5e-3)  # faces lie up to 0.02 mm off
    assert walls.wall.least_mm == pytest.approx(3.0, abs=0.01)
    assert walls.filled == ()
    assert walls.cautions == ()


def test_the_master_is_larger_by_what_the_copies_take():
    walls = walls_of(skin(shells.ball(120, segments=32)), CAST, size=(1.0, 1.05, 1.1))
    assert walls.master_size == pytest.approx(np.array([1.0, 1.05, 1.1]) / 0.99)


# -- wall everywhere ------------------------------------------------------------------


def test_a_region_is_as_thick_as_it_says_and_the_rest_as_the_rest():
    brow = Region(name="brow", centre_mm=(0, 120, 0), radius_mm=60, thickness_mm=6.0)
    route = Route(name="r", steps=(layer("foam", "inward", 3.0, regions=(brow,)),))
    walls = walls_of(skin(shells.ball(120, segments=96)), route)
    off = 120 - np.linalg.norm(walls.inner.vertices, axis=1)
    angle = np.degrees(np.arccos(walls.inner.vertices[:, 1] / (120 - off)))
    # 60 mm of chord on a ball of 120; faces span 4 degrees, and the step is rounded
    edge = np.degrees(2 * np.arcsin(60 / 240))
    # faces of 11 mm lie up to 0.18 mm inside the ball
    assert off[angle < edge - 4] == pytest.approx(6.0, abs=0.2)
    assert off[angle > edge + 9] == pytest.approx(3.0, abs=0.2)


def test_regions_on_both_sides_of_the_skin_are_refused():
    thin = Region(name="chin", centre_mm=(0, 120, 0), radius_mm=60, thickness_mm=0.5)
    wall = layer("wall", "inward", 5.0, regions=(thin,))
    route = Route(name="r", steps=(*CAST.steps[:2], wall))
    piece = finish_by_route(skin(shells.ball(120)), route=CAST)
    with pytest.raises(DesignError, match="on both sides of it"):
        route_walls(piece, route=route)


def test_a_drawn_wall_is_measured_with_what_is_laid_and_sanded():
    drawn = design(shells.plain_shell(wall_mm=4.0, segments=96).mesh, surface="solid")
    route = Route(
        name="print",
        drawn_wall=True,
        steps=(
            CopyStep(name="print", shrink_percent=0.3, keeps="both"),
            RemoveStep(name="sanding", side="outward", depth_mm=0.3),
            layer("cloth", "inward", 1.5),
        ),
    )
    walls = walls_of(drawn, route)
    assert walls.wall.meant_mm == pytest.approx(4.0 - 0.3 + 1.5, abs=0.05)
    assert walls.wall.least_mm > 5.1


def test_sanding_through_a_drawn_wall_is_refused():
    drawn = design(shells.plain_shell(wall_mm=2.0, segments=64).mesh, surface="solid")
    sand = RemoveStep(name="sanding", side="outward", depth_mm=2.5)
    route = Route(name="print", drawn_wall=True, steps=(sand,))
    with pytest.raises(DesignError, match=r"the wall would be negative .* Sand less"):
        walls_of(drawn, route)


# -- what fills and what meets --------------------------------------------------------


def horned(half_angle_deg=10.0, length=150.0) -> Manifold:
    """A ball with a pointed horn on top."""
    root = length * np.tan(np.radians(half_angle_deg))
    horn = Manifold.cylinder(length, root, 0.0, 48).translate([0, 0, 100])
    return shells.ball(120, segments=48) + horn


def test_the_tip_of_a_horn_fills_as_far_as_its_angle_says():
    # the hollow of a cone begins t / sin(half angle) below its tip, and is found where
    # it is wider than the grid; it is measured from the middle of a face near the tip
    route = Route(name="r", steps=(layer("wall", "inward", 3.0),))
    walls = walls_of(skin(horned(half_angle_deg=12.0)), route, resolution_mm=3.0)
    tip = walls.filled[0]
    solid = 3.0 / np.sin(np.radians(12.0)) - (250.0 - tip.at_mm[2])
    assert tip.at_mm[2] > 240
    assert solid - 0.05 < tip.solid_mm < solid + 3.0 / np.tan(np.radians(12.0))
    assert any("comes out solid" in words for words in walls.cautions)


def test_a_room_that_the_wall_shuts_off_is_reported():
    # a second room behind a neck of 8 mm radius
    body = shells.ball(120, segments=64) + shells.rod(8, 80, at=(0, 150, 0))
    body += shells.ball(40, at=(0, 210, 0), segments=64)
    route = Route(name="r", steps=(layer("foam", "inward", 10.0),))
    walls = walls_of(skin(body), route)
    (room,) = walls.shut_off
    assert room.at_mm == pytest.approx([0, 210, 0], abs=4)
    assert room.volume_mm3 == pytest.approx(4 / 3 * np.pi * 30**3, rel=0.1)


def test_an_inner_wall_that_meets_itself_is_refused_with_the_cure():
    flat = skin(shells.ball(60, 120, 130, segments=48))
    route = Route(name="thick", steps=(layer("foam", "inward", 65.0),))
    words = r"'thick': the inner wall, 65\.0 mm .* meets itself.* Lay less inward, or make"
    with pytest.raises(DesignError, match=words):
        walls_of(flat, route)


def test_a_cavity_that_is_mostly_filled_is_refused():
    flat = skin(shells.ball(60, 120, 130, segments=48))
    route = Route(name="thick", steps=(layer("foam", "inward", 40.0),))
    with pytest.raises(DesignError, match=r"of a cavity of .* the head is left"):
        walls_of(flat, route)


# -- as a piece -----------------------------------------------------------------------


def test_a_piece_by_a_route_has_its_distances_and_its_layers():
    piece = finish_by_route(skin(shells.ball(120)), route=CAST)
    assert (piece.growth_mm, piece.lining_mm) == pytest.approx((OUT, IN))
    assert piece.build_up.growth_mm == pytest.approx(OUT)
    assert piece.build_up.lining_mm == pytest.approx(IN)
    assert piece.build_up.master_scale == pytest.approx(1 / 0.99)
    assert sample_wall(piece).least_mm == pytest.approx(OUT + IN)
    # the wall that lies across the skin is on both sides of it
    names = [[one.name for one in side] for side in
             (piece.build_up.outward, piece.build_up.inward)]  # fmt: skip
    assert names == [["wall", "paint"], ["wall"]]


def test_a_piece_by_a_route_can_be_weighed():
    piece = finish_by_route(skin(shells.ball(120, segments=256)), route=CAST)
    materials = Materials(wall_g_cm3=1.0)
    mass = weigh(piece, materials=materials).total.mass_g
    shell = 4 / 3 * np.pi * ((120 + OUT) ** 3 - (120 - IN) ** 3) / 1000
    assert mass == pytest.approx(shell, rel=1e-3)


def test_notes_and_route_that_say_the_same_make_the_same_piece():
    notes = {"layers": {"inward": [{"name": "wall", "thickness_mm": 3}]}}
    drawn = design(shells.as_mesh(shells.ball(120)), **notes)
    route = Route(name="r", steps=(layer("wall", "inward", 3.0),))
    assert finish(drawn).build_up == build_up_by_route(route)


def test_a_bare_skin_route_for_a_drawn_wall_is_refused_and_the_reverse():
    solid = design(shells.plain_shell().mesh, surface="solid")
    with pytest.raises(DesignError, match="is drawn with its wall, but 'cast' starts"):
        finish_by_route(solid, route=CAST)
    drawn_wall = Route(name="p", drawn_wall=True, steps=(layer("paint", "outward", 0.2),))
    with pytest.raises(DesignError, match="'p' starts from a drawn wall"):
        finish_by_route(skin(shells.ball(120)), route=drawn_wall)


def test_a_route_that_ends_with_a_bare_copy_is_refused():
    bare = Route(name="bare", steps=CAST.steps[:2])
    with pytest.raises(DesignError, match="'bare' leaves no wall"):
        finish_by_route(skin(shells.ball(120)), route=bare)


def test_a_sheet_over_a_filled_form_lies_all_outside_what_is_drawn():
    route = Route(
        name="sheet",
        steps=(
            layer("filler", "outward", 1.0),
            CopyStep(name="forming", shrink_percent=0.0),
            layer("sheet", "outward", 1.5),
        ),
    )
    drawn = skin(shells.ball(120, segments=48))
    piece = finish_by_route(drawn, route=route)
    assert (piece.growth_mm, piece.lining_mm) == pytest.approx((2.5, -1.0))
    walls = walls_of(drawn, route)
    assert walls.inner.volume_mm3 > drawn.parts["skin"].volume_mm3
    assert np.linalg.norm(walls.inner.vertices, axis=1).max() == pytest.approx(
        121, abs=0.05
    )
    assert walls.wall.meant_mm == pytest.approx(1.5)
    assert walls.wall.least_mm == pytest.approx(1.5, abs=0.05)
    assert sample_wall(piece).least_mm == pytest.approx(1.5)
