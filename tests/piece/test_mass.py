"""Mass, centre and inertia against closed forms."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from manifold3d import Manifold
from shells import as_mesh, ball, box

from fitkit.errors import DesignError
from fitkit.geometry.solids import offset_surface
from fitkit.piece.buildup import BuildUp, Layer
from fitkit.piece.mass import (
    Materials,
    combined,
    layer_mass,
    point_mass,
    solid_mass,
    weigh,
)
from fitkit.piece.notes import HardPoint, Notes


def test_a_sphere_shell_weighs_what_its_volume_says():
    # 4/3 π (120³ − 117³) = 529.4086 cm³; in PLA, 1.24 g/cm³: 656.47 g
    shell = layer_mass(as_mesh(ball(120, segments=512)), from_mm=-3, to_mm=0,
                       density_g_cm3=1.24)  # fmt: skip
    assert shell.mass_g == pytest.approx(656.47, rel=2e-4)  # chords of 512 sides
    # thin-shell limit of the inertia: 2/5 m (R⁵ − r⁵) / (R³ − r³)
    inertia = 0.4 * 656.47 * (120**5 - 117**5) / (120**3 - 117**3)
    assert np.diag(shell.inertia_g_mm2) == pytest.approx([inertia] * 3, rel=5e-4)


def test_a_box_grown_by_a_rounded_layer_meets_steiners_formula():
    # 200 × 150 × 230 box grown by 10 mm with rounded edges: 9296.401 cm³
    core = as_mesh(box(200, 150, 230))
    grown = solid_mass(core, density_g_cm3=1).mass_g
    grown += layer_mass(core, from_mm=0, to_mm=10, density_g_cm3=1).mass_g
    assert grown == pytest.approx(9296.401, abs=0.001)


def test_an_ellipsoid_grown_by_a_layer_meets_steiners_formula():
    # half axes 99.75, 77.165, 115: V 3707.829 cm³; grown by 10 mm 5019.723 cm³
    core = as_mesh(ball(99.75, 77.165, 115, segments=512))
    bare = solid_mass(core, density_g_cm3=1).mass_g
    layer = layer_mass(core, from_mm=0, to_mm=10, density_g_cm3=1).mass_g
    assert bare == pytest.approx(3707.829, rel=2e-4)
    assert bare + layer == pytest.approx(5019.723, rel=2e-4)


def test_a_layer_agrees_with_the_solid_between_two_true_offsets():
    core = as_mesh(ball(90, 110, 120, segments=96))
    inner = offset_surface(core, distance_mm=-6, resolution_mm=4)
    band = solid_mass(core, density_g_cm3=1).mass_g - inner.volume_mm3 / 1000
    layer = layer_mass(core, from_mm=-6, to_mm=0, density_g_cm3=1)
    assert layer.mass_g == pytest.approx(band, rel=2e-3)


def test_layers_add_up_to_one_layer():
    core = as_mesh(box(100, 80, 60, at=(5, 6, 7)))
    parts = [layer_mass(core, from_mm=a, to_mm=b, density_g_cm3=0.9)
             for a, b in ((0, 1), (1, 4))]  # fmt: skip
    whole, both = layer_mass(core, from_mm=0, to_mm=4, density_g_cm3=0.9), combined(parts)
    assert both.mass_g == pytest.approx(whole.mass_g, rel=1e-12)
    assert both.centre_mm == pytest.approx(whole.centre_mm, abs=1e-9)
    assert both.inertia_g_mm2 == pytest.approx(whole.inertia_g_mm2, rel=1e-9, abs=1e-3)


def test_a_cylinder_has_the_inertia_of_the_textbook():
    # axis along up: m r²/2; across: m (3 r² + h²) / 12
    rod = as_mesh(Manifold.cylinder(200, 30, 30, 720, True).translate([7, -3, 40]))
    got = solid_mass(rod, density_g_cm3=1.19)
    mass = 1.19e-3 * np.pi * 30**2 * 200
    across = mass * (3 * 30**2 + 200**2) / 12
    assert got.mass_g == pytest.approx(mass, rel=2e-5)
    assert got.centre_mm == pytest.approx([7, -3, 40])
    expected = [across, across, mass * 30**2 / 2]
    assert np.diag(got.inertia_g_mm2) == pytest.approx(expected, rel=5e-5)


def test_turning_a_body_turns_its_inertia_with_it():
    block = solid_mass(as_mesh(box(10, 20, 30, at=(1, 2, 3))), density_g_cm3=1)
    quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    turned = block.moved(rotation=quarter, shift_mm=(0, 0, 5))
    assert turned.centre_mm == pytest.approx([-2, 1, 8])
    was, now = np.diag(block.inertia_g_mm2), np.diag(turned.inertia_g_mm2)
    assert now == pytest.approx(was[[1, 0, 2]])


def test_head_and_piece_share_a_centre():
    # 4.5 kg at (19, 57) and 1.5 kg at (40, 60): (24.25, 57.75) mm
    both = combined([point_mass(mass_g=4500, at_mm=(0, 19, 57)),
                     point_mass(mass_g=1500, at_mm=(0, 40, 60))])  # fmt: skip
    assert both.centre_mm == pytest.approx([0, 24.25, 57.75])


def stand_in(**changes):
    """Give a piece of a shell and a horn, drawn solid, as `weigh` reads it."""
    shell = as_mesh(ball(120) - ball(116))
    horn = as_mesh(ball(20, at=(0, 0, 150)))
    fields = {
        "name": "test",
        "design": SimpleNamespace(
            parts={"shell": shell, "horn": horn},
            surface="solid",
            notes=Notes(hard_points=(HardPoint(name="bolt", mass_g=9, at_mm=(0, 0, 100)),)),
        ),
        "build_up": BuildUp(),
        "facing": as_mesh(ball(116)),
        "skin": shell,
    }
    return SimpleNamespace(**{**fields, **changes})


def test_horns_can_be_hollow_heavier_and_taken_off():
    piece = stand_in()
    solid = weigh(piece, materials=Materials(wall_g_cm3=1.0, part_g_cm3={"horn": 2.0}))
    hollow = weigh(piece, materials=Materials(wall_g_cm3=1.0, hollow_wall_mm={"horn": 2.0}))
    horn = {body.name: body.mass.mass_g for body in solid.bodies}["horn"]
    thin = {body.name: body.mass.mass_g for body in hollow.bodies}["horn"]
    assert horn == pytest.approx(2e-3 * 4 / 3 * np.pi * 20**3, rel=3e-3)
    assert thin == pytest.approx(1e-3 * 4 / 3 * np.pi * (20**3 - 18**3), rel=5e-3)
    off = solid.without("horn")
    assert off.total.mass_g == pytest.approx(solid.total.mass_g - horn)
    assert [body.name for body in off.bodies] == ["shell", "bolt"]


def test_size_grows_the_wall_but_not_layers_or_bolts():
    paint = BuildUp(outward=(Layer(name="paint", thickness_mm=0.5),))
    made = Materials(wall_g_cm3=1.0)
    for size in (1.0, 1.2):
        plain, painted = (
            weigh(piece, materials=made, size=size).total.mass_g
            for piece in (stand_in(), stand_in(build_up=paint))
        )
        wall = 4e-3 / 3 * np.pi * size**3 * (120**3 - 116**3 + 20**3)
        assert plain == pytest.approx(wall + 9, rel=3e-3)
        coat = stand_in().skin.area_mm2 * size**2 * 0.5e-3
        assert painted - plain == pytest.approx(coat, rel=0.02)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Materials(wall_g_cm3=1240), "did you mean 1.24 g/cm³"),
        (lambda: Materials(wall_g_cm3=1, hollow_wall_mm={"horn": 0}), "above 0"),
        (lambda: weigh(stand_in(), materials=Materials(wall_g_cm3=1,
                       part_g_cm3={"hron": 1})), "Did you mean 'horn'"),
        (lambda: solid_mass(as_mesh(box(9, 9, 9)).submesh(np.arange(11)),
                            density_g_cm3=1), "closed mesh"),
        (lambda: point_mass(mass_g=-1, at_mm=(0, 0, 0)), "mass_g must be 0"),
    ],
)  # fmt: skip
def test_what_cannot_be_weighed_is_named(make, says):
    with pytest.raises(DesignError, match=says):
        make()
