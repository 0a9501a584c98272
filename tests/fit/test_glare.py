"""Lamps: what an eye sees of them, and the veil they lay, against closed forms."""

import numpy as np
import pytest
from plates import (
    ball_piece,
    box_mesh,
    faceless,
    opening,
    piece_of_solid,
    plate_piece,
    rectangle,
)
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit.glare import Lamp, glare
from fitkit.fit.placement import Placement
from fitkit.fit.veil import contrast_left, veil_per_lux
from fitkit.geometry.mesh import join

AHEAD, BACK = (0, 1, 0), (0, -1, 0)


@pytest.mark.parametrize("age", [0, 25, 70])
def test_age_adjusted_formula_gives_its_published_values(age):
    got = veil_per_lux(angle_deg=10, age_years=age, formula="stiles-holladay")
    figure = FIGURES[f"Stiles-Holladay age {age} 10 deg"]
    assert float(got) == pytest.approx(figure, abs=5e-7)


@pytest.mark.parametrize("angle", [10, 40])
def test_general_formula_gives_its_published_values(angle):
    got = veil_per_lux(angle_deg=angle, age_years=25, pigment=0.5)
    assert float(got) == pytest.approx(
        FIGURES[f"general age 25 brown {angle} deg"], abs=5e-7
    )


@pytest.mark.parametrize(
    ("formula", "angle"),
    [
        ("stiles-holladay", 40),
        ("stiles-holladay", 0.5),
        ("general", 101),
        ("general", 0.05),
    ],
)
def test_angles_outside_a_formula_s_domain_are_refused(formula, angle):
    with pytest.raises(BriefError, match=f"got {angle}"):
        veil_per_lux(angle_deg=angle, formula=formula)


def test_contrast_left_under_a_veil():
    got = contrast_left(scene_cd_m2=10, veil_cd_m2=2)
    assert got == pytest.approx(FIGURES["contrast 10 under 2"], abs=5e-6)


# -- lamps before a plate ---------------------------------------------------------------

LONE = faceless(left=(-400, 0, 0), right=(0, 0, 0))
PLATE = plate_piece([], distance_mm=200, wall_mm=1, half_mm=600)


def lamp_at(angle_deg, distance_mm, **how):
    turn = np.radians(angle_deg)
    at = distance_mm * np.array([np.sin(turn), np.cos(turn), 0])
    settings = {"name": "lamp", "at_mm": at, "direction": -at, "intensity_cd": 0.1}
    return Lamp(**{**settings, "half_angle_deg": 30, **how})


def right(lamp, piece=PLATE, wearer=LONE, **how):
    settings = {"wall_reflectance": 0.0, "age_years": 25}
    return glare(wearer, piece, Placement(), lamps=[lamp], **{**settings, **how}).eyes[
        "right"
    ]


def test_lamp_that_faces_the_eye_gives_intensity_over_distance_squared():
    eye = right(lamp_at(40, 30))
    assert eye.direct_lux == pytest.approx(FIGURES["lamp 0.1 cd at 30 mm"], abs=1e-3)
    assert eye.veil_cd_m2 == pytest.approx(FIGURES["its veil at 40 deg"], abs=1e-4)
    assert eye.lamps[0].seen_share == pytest.approx(1)
    assert eye.lamps[0].angle_deg == pytest.approx(40)


def test_lamp_that_shines_away_or_behind_the_wall_is_not_seen():
    assert right(lamp_at(40, 30, direction=AHEAD)).direct_lux == 0
    assert right(lamp_at(10, 300)).direct_lux == 0


def test_lamp_at_the_edge_of_its_cone_is_seen_from_inside_the_cone_alone():
    turned = np.radians(40 + 180 - 25)
    way = (np.sin(turned), np.cos(turned), 0)
    assert right(lamp_at(40, 100, direction=way, half_angle_deg=30)).direct_lux > 0
    assert right(lamp_at(40, 100, direction=way, half_angle_deg=20)).direct_lux == 0


def test_looking_towards_the_lamp_makes_the_veil_worse():
    away, near = (right(lamp_at(40, 150), gaze_right_deg=gaze) for gaze in (0, 30))
    assert near.lamps[0].angle_deg == pytest.approx(10)
    assert near.veil_cd_m2 > 5 * away.veil_cd_m2


def test_light_outside_the_formula_s_angles_is_left_out_and_said():
    answer = glare(
        LONE, PLATE, Placement(), lamps=[lamp_at(60, 50)], wall_reflectance=0.0,
        formula="stiles-holladay",
    )  # fmt: skip
    eye = answer.eyes["right"]
    assert eye.left_out_lux == pytest.approx(eye.direct_lux)
    assert eye.veil_cd_m2 == 0
    assert any("does not hold" in caution for caution in answer.cautions)
    assert any(
        "sees straight into the lamp 'lamp'" in caution for caution in answer.cautions
    )


# -- thrown back once -------------------------------------------------------------------


def test_lamp_in_the_middle_of_a_matt_ball_makes_its_wall_evenly_bright():
    radius, intensity, reflectance = 100.0, 2.0, 0.6
    eyes = faceless(left=(-1.5, 0, 0), right=(1.5, 0, 0))
    ball = ball_piece(radius_mm=radius + 2, wall_mm=2)
    # shines all around; the eyes see past it, so put it a little behind them
    lamp = Lamp(name="l", at_mm=(0, -3, 0), direction=AHEAD, intensity_cd=intensity,
                half_angle_deg=180)  # fmt: skip
    eye = glare(eyes, ball, Placement(), lamps=[lamp], wall_reflectance=reflectance).eyes[
        "right"
    ]
    luminance = reflectance * intensity / (radius / 1000) ** 2 / np.pi
    # every direction is equally bright: 4 pi steradians of it, each square to the eye
    assert eye.wall_lux == pytest.approx(4 * np.pi * luminance, rel=0.01)
    # all but the cone behind, beyond 100 degrees of the gaze
    behind = 2 * np.pi * (1 - np.cos(np.radians(80))) * luminance
    assert eye.left_out_lux == pytest.approx(behind + eye.direct_lux, rel=0.02)


def test_veil_of_an_even_glow_is_the_formula_s_integral():
    eyes = faceless(left=(-1.5, 0, 0), right=(1.5, 0, 0))
    ball = ball_piece(radius_mm=102, wall_mm=2, segments=192)
    lamp = Lamp(
        name="l", at_mm=(0, -3, 0), direction=AHEAD, intensity_cd=2, half_angle_deg=180
    )
    eye = glare(
        eyes, ball, Placement(), lamps=[lamp], wall_reflectance=0.6, age_years=25
    ).eyes["right"]
    angle = np.radians(np.linspace(1.0, 100, 20_001))
    rate = veil_per_lux(angle_deg=np.degrees(angle), age_years=25)
    glow = 0.6 * 2 / 0.1**2 / np.pi
    ring = 2 * np.pi * np.trapezoid(rate * np.sin(angle), angle)
    # within the innermost degree the wall is sampled too coarsely to be compared
    near = np.radians(np.linspace(0.1, 1.0, 2001))
    rate = veil_per_lux(angle_deg=np.degrees(near), age_years=25)
    inner = 2 * np.pi * np.trapezoid(rate * np.sin(near), near)
    assert 0.97 * ring * glow < eye.veil_cd_m2 < 1.03 * (ring + inner) * glow


def test_twice_the_reflectance_throws_back_twice_the_light():
    lamp = lamp_at(30, 80, direction=AHEAD, half_angle_deg=60)
    one, two = (right(lamp, wall_reflectance=share).wall_lux for share in (0.2, 0.4))
    assert two == pytest.approx(2 * one)
    assert right(lamp).wall_lux == 0


def test_screen_between_wall_and_eye_hides_the_glow():
    wall = PLATE.design.parts["shell"]
    screen = box_mesh((-150, 20, -150), (150, 22, 150))
    both = join([wall, screen])
    piece = piece_of_solid(both, back=both.normals[:, 1] < -0.5)
    eyes = faceless(left=(-400, 0, 0), right=(0, 0, 0))
    lamp = Lamp(
        name="l", at_mm=(0, 60, 0), direction=AHEAD, intensity_cd=1, half_angle_deg=30
    )
    assert (
        right(lamp, piece, eyes, wall_reflectance=0.5).wall_lux
        < 0.05 * right(lamp, wall_reflectance=0.5).wall_lux
    )


# -- lenses -----------------------------------------------------------------------------


def lensed():
    hole = rectangle((-15, 15), (-10, 10))
    return plate_piece(
        [hole], distance_mm=40, wall_mm=1, half_mm=300,
        openings=[opening("eye_right", hole, distance_mm=40)],
    )  # fmt: skip


def test_masking_the_back_of_a_lens_takes_its_glow_away():
    lamp = Lamp(name="l", at_mm=(25, 20, 10), direction=(-25, 20, -10), intensity_cd=0.5,
                half_angle_deg=60)  # fmt: skip
    answer = glare(
        LONE, lensed(), Placement(), lamps=[lamp], wall_reflectance=0.1,
        lens_backs={"eye_right": 0.6},
    )  # fmt: skip
    plain, masked = answer.eyes["right"], answer.masked["right"]
    assert plain.lens_lux > 0
    assert masked.lens_lux == pytest.approx(plain.lens_lux * 0.05 / 0.6)
    assert masked.wall_lux == pytest.approx(plain.wall_lux)
    assert masked.veil_cd_m2 < plain.veil_cd_m2
    assert masked.contrast_left > plain.contrast_left


def test_lens_glow_is_that_of_a_small_matt_plate():
    hole = rectangle((-2, 2), (-2, 2))
    piece = plate_piece(
        [hole], distance_mm=100, wall_mm=1, half_mm=300,
        openings=[opening("eye_right", hole, distance_mm=100)],
    )  # fmt: skip
    lamp = Lamp(name="l", at_mm=(0, 40, 60), direction=(0, 60, -60), intensity_cd=1,
                half_angle_deg=40)  # fmt: skip
    eye = glare(
        LONE, piece, Placement(), lamps=[lamp], wall_reflectance=0.0,
        lens_backs={"eye_right": 0.5},
    ).eyes["right"]  # fmt: skip
    lit = 1 * np.cos(np.radians(45)) / (0.06**2 * 2)
    side = 4 + 2 * 0.5 / np.sqrt(2)  # the patch laps over the edge by half a mm at corners
    wanted = 0.5 * lit / np.pi * (side / 1000) ** 2 / 0.1**2
    assert eye.lens_lux == pytest.approx(wanted, rel=0.05)


# -- bad input --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: lamp_at(10, 50, intensity_cd=0), "intensity_cd must be"),
        (lambda: lamp_at(10, 50, half_angle_deg=270), "half_angle_deg must be 0.5 to 180"),
        (
            lambda: lamp_at(10, 50, direction=(0, 0, 0)),
            "lamp: direction must have a length",
        ),
        (lambda: lamp_at(10, 50, at_mm=(0, 1)), "at_mm must be three numbers"),
        (lambda: right(lamp_at(10, 50), wall_reflectance=50), "did you mean 0.5"),
        (lambda: right(lamp_at(10, 50), lens_backs={"eye": 0.5}), "no opening 'eye'"),
        (lambda: right(lamp_at(10, 50), age_years=500), "age_years must be"),
        (lambda: glare(LONE, PLATE, Placement(), lamps=[]), "at least one Lamp"),
    ],
)
def test_what_no_lamp_can_be_is_refused(make, words):
    with pytest.raises(BriefError, match=words):
        make()
