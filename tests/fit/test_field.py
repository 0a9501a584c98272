"""Fields of view through flat plates and balls, against closed forms and themselves."""

import numpy as np
import pytest
from plates import ball_piece, ellipse, faceless, opening, plate_piece, rectangle
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit._directions import direction_grid
from fitkit.fit.field import bare_field, field_of_view
from fitkit.fit.lens import Lens, Perforated
from fitkit.fit.placement import Placement
from fitkit.fit.visual_fields import ReferenceField
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record import make_record

ALL = ReferenceField(
    name="all", up_deg=89, down_deg=89, nasal_deg=89, temporal_deg=89, source="none"
)
LONE = faceless(left=(-600, 0, 0), right=(0, 0, 0))
PAIR = faceless()
THIN_MM = 0.001


def seen(holes, *, distance_mm, wall_mm=THIN_MM, wearer=LONE, **how):
    piece = plate_piece(holes, distance_mm=distance_mm, wall_mm=wall_mm)
    return field_of_view(wearer, piece, Placement(), reference=ALL, **how)


def four(limits):
    return [limits.up_deg, limits.down_deg, limits.nasal_deg, limits.temporal_deg]


@pytest.mark.parametrize(("hole_mm", "pupil_mm"), [(5, 4), (20, 4), (5, 8)])
def test_round_hole_gives_knife_edge_angles_for_a_pupil_of_some_width(hole_mm, pupil_mm):
    eye = seen([ellipse(hole_mm, hole_mm)], distance_mm=25, pupil_mm=pupil_mm).worn.right
    for level in ("clear", "centre", "some"):
        figure = FIGURES[f"hole {hole_mm} at 25 pupil {pupil_mm}: {level}"]
        assert four(eye.limits[level]) == pytest.approx([figure] * 4, abs=0.02)


def test_slit_narrower_than_the_pupil_is_never_fully_clear():
    field = seen([rectangle((-200, 200), (-1, 1))], distance_mm=25, pupil_mm=4)
    eye = field.worn.right
    assert eye.solid_angle_sr["clear"] == 0
    assert np.isnan(four(eye.limits["clear"])).all()
    assert eye.limits["centre"].up_deg == pytest.approx(
        np.degrees(np.arctan(1 / 25)), abs=0.02
    )
    assert any("ever fully clear to the right eye" in caution for caution in field.cautions)
    assert 0 < eye.lit.max() < 1


def test_thick_wall_is_a_tunnel():
    eye = seen([ellipse(5, 5)], distance_mm=25, wall_mm=4).worn.right
    figure = FIGURES["hole 5 at 25 wall 4"]
    assert four(eye.limits["centre"]) == pytest.approx([figure] * 4, abs=0.02)


@pytest.mark.parametrize(
    ("name", "hole", "distance_mm"),
    [
        ("rectangle 20 x 5 at 25", rectangle((-20, 20), (-5, 5)), 25),
        ("rectangle 25 x 10 at 30", rectangle((-25, 25), (-10, 10)), 30),
        ("cube face", rectangle((-30, 30), (-30, 30)), 30),
        ("rectangle 5..25 x 5 at 25", rectangle((5, 25), (-5, 5)), 25),
        ("EN 166 ellipse: solid angle", ellipse(11, 10), 25),
        *(
            (f"cone {angle}", ellipse(*[25 * np.tan(np.radians(angle))] * 2), 25)
            for angle in (10, 20, 30, 60)
        ),
    ],
)
def test_solid_angles_are_those_of_closed_forms(name, hole, distance_mm):
    eye = seen([hole], distance_mm=distance_mm, samples=1).worn.right
    assert eye.solid_angle_sr["centre"] == pytest.approx(FIGURES[name], rel=0.005)


def test_opening_off_to_the_side_has_a_negative_nasal_limit():
    eye = seen([rectangle((5, 25), (-5, 5))], distance_mm=25).worn.right
    assert eye.limits["centre"].nasal_deg == pytest.approx(
        -np.degrees(np.arctan(0.2)), abs=0.02
    )
    assert eye.limits["centre"].temporal_deg == pytest.approx(45, abs=0.02)
    assert np.isnan(eye.limits["centre"].up_deg)


def test_ellipse_of_the_standard_has_its_half_angles():
    limits = seen([ellipse(11, 10)], distance_mm=25).worn.right.limits["centre"]
    assert limits.temporal_deg == pytest.approx(
        FIGURES["EN 166 ellipse: half width"], abs=0.02
    )
    assert limits.up_deg == pytest.approx(FIGURES["EN 166 ellipse: half height"], abs=0.02)


def test_one_slit_for_both_eyes_shows_far_to_the_nose_and_less_to_the_temple():
    slit = rectangle((-60, 60), (-10, 10))
    for eye in (worn := seen([slit], distance_mm=25, wearer=PAIR).worn).left, worn.right:
        limits = eye.limits["centre"]
        assert limits.temporal_deg == pytest.approx(
            FIGURES["one slit half width 60: temporal"], abs=0.02
        )
        assert limits.nasal_deg == pytest.approx(
            FIGURES["one slit half width 60: nasal"], abs=0.02
        )


def test_both_and_either_add_up_to_the_two_eyes():
    worn = seen([rectangle((-60, 60), (-10, 10))], distance_mm=25, wearer=PAIR).worn
    total = worn.left.solid_angle_sr["centre"] + worn.right.solid_angle_sr["centre"]
    assert worn.both_sr + worn.either_sr == pytest.approx(total, rel=1e-9)


def test_both_eyes_share_the_overlap_of_their_two_rectangles():
    worn = seen([rectangle((-60, 60), (-10, 10))], distance_mm=25, wearer=PAIR).worn
    # directions through right = -60..60 from either pupil, so right / front within
    # (-28..28) / 25 for both
    shared = 4 * np.arctan(28 * 10 / (25 * np.sqrt(28**2 + 10**2 + 25**2)))
    assert worn.both_sr == pytest.approx(shared, rel=0.006)


def test_share_of_the_pupil_behind_a_straight_edge_is_that_of_a_cut_disc():
    field = seen([rectangle((-300, 300), (-300, 0.0))], distance_mm=25)
    column = np.argmin(np.abs(field.grid.longitude_deg))
    lit = field.worn.right.lit[:, column]
    height = 25 * np.tan(np.radians(field.grid.latitude_deg)) / 2  # in radii of the pupil
    share = np.clip(-height, -1, 1)
    disc = (np.pi - np.arccos(share) + share * np.sqrt(1 - share**2)) / np.pi
    near = np.abs(field.grid.latitude_deg) < 30
    assert np.abs(lit - disc)[near].max() < 0.1


# -- what must not change ---------------------------------------------------------------


@pytest.fixture(scope="module")
def lopsided():
    """A thick ball with two unlike holes, its eyes off the middle."""
    return ball_piece(
        radius_mm=60,
        wall_mm=4,
        holes=[((-18, 6), 9.0, "eye_left"), ((20, -4), 14.0, "eye_right")],
    )


EYES = faceless(left=(-20, 20, 3), right=(17, 22, -2))


def solid_angles(field):
    return [
        field.worn.eye(side).solid_angle_sr[level]
        for side in ("left", "right")
        for level in ("clear", "centre", "some")
    ]


def mirrored(mesh):
    return Mesh(mesh.vertices * [-1, 1, 1], mesh.faces[:, ::-1])


def test_mirror_image_swaps_the_eyes_exactly(lopsided):
    plain = field_of_view(EYES, lopsided, Placement(), reference=ALL)
    twin = ball_piece(
        radius_mm=60,
        wall_mm=4,
        holes=[((18, 6), 9.0, "eye_right"), ((-20, -4), 14.0, "eye_left")],
    )
    eyes = faceless(left=(-17, 22, -2), right=(20, 20, 3))
    swapped = field_of_view(eyes, twin, Placement(), reference=ALL)
    for side, other in (("left", "right"), ("right", "left")):
        one, two = plain.worn.eye(side), swapped.worn.eye(other)
        assert four(one.limits["centre"]) == pytest.approx(
            four(two.limits["centre"]), abs=0.03
        )
        differ = np.abs(one.lit - two.lit[:, ::-1]) > 0.05
        assert differ.mean() < 1e-3  # the two balls are not cut into the same triangles


def test_moving_the_drawing_and_moving_it_back_changes_nothing(lopsided):
    pose = Placement(size=1.07, shift_mm=(3, -5, 8), pitch_deg=12, yaw_deg=-7, roll_deg=4)
    plain = field_of_view(EYES, lopsided, Placement(), reference=ALL, samples=1)
    drawn = lopsided.moved(lambda points: pose.to_piece(points))
    again = field_of_view(EYES, drawn, pose, reference=ALL, samples=1)
    assert solid_angles(again) == pytest.approx(solid_angles(plain), rel=2e-3)
    for side in ("left", "right"):
        one, two = plain.worn.eye(side), again.worn.eye(side)
        assert four(one.limits["centre"]) == pytest.approx(
            four(two.limits["centre"]), abs=0.01, nan_ok=True
        )


def test_layers_narrow_the_view_as_a_thicker_wall_does():
    holes = [rectangle((-20, 20), (-10, 10))]
    lined = plate_piece(holes, distance_mm=30, wall_mm=2, lining_mm=3)
    drawn = plate_piece(holes, distance_mm=27, wall_mm=5)
    for size in (1.0, 1.2):  # the lining does not grow with the size
        piece = plate_piece(
            [rectangle((-20 / size, 20 / size), (-10 / size, 10 / size))],
            distance_mm=30 / size, wall_mm=2 / size, lining_mm=3,
        )  # fmt: skip
        got = field_of_view(LONE, piece, Placement(size=size), reference=ALL)
        wanted = field_of_view(LONE, drawn, Placement(), reference=ALL)
        assert four(got.worn.right.limits["centre"]) == pytest.approx(
            four(wanted.worn.right.limits["centre"]), abs=0.1
        )
    assert lined.lining_mm == 3


@pytest.mark.parametrize("grow_mm", [0.5, 6.0])
def test_larger_hole_never_sees_less(grow_mm):
    small = seen([ellipse(8, 5)], distance_mm=20).worn.right
    large = seen([ellipse(8 + grow_mm, 5 + grow_mm)], distance_mm=20).worn.right
    assert (large.lit >= small.lit - 1e-12).all()
    assert large.solid_angle_sr["some"] > small.solid_angle_sr["some"]


def test_thicker_wall_never_sees_more():
    thin = seen([ellipse(8, 5)], distance_mm=20, wall_mm=1).worn.right
    thick = seen([ellipse(8, 5)], distance_mm=20, wall_mm=6).worn.right
    assert (thick.lit <= thin.lit + 1e-12).all()


def meets(origin, ways, mesh):
    """Whether rays meet any triangle: Möller and Trumbore, J. Graphics Tools 2(1), 1997."""
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
    side, other, away = b - a, c - a, origin - a
    met = np.zeros(len(ways), dtype=bool)
    cross_away = np.cross(away, side)
    for row, way in enumerate(ways):
        across = np.cross(way, other)
        det = np.einsum("ij,ij->i", side, across)
        with np.errstate(divide="ignore", invalid="ignore"):
            u = np.einsum("ij,ij->i", away, across) / det
            v = cross_away @ way / det
            t = np.einsum("ij,ij->i", other, cross_away) / det
        met[row] = ((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0)).any()
    return met


def test_another_ray_tracer_agrees(lopsided):
    field = field_of_view(EYES, lopsided, Placement(), reference=ALL, samples=1, refine=1)
    solid = lopsided.design.parts["shell"]
    chosen = np.random.default_rng(11).choice(
        len(field.grid.directions), 1500, replace=False
    )
    for side in ("left", "right"):
        ways = field.grid.directions[chosen]
        pupil = (EYES.eye_left if side == "left" else EYES.eye_right).entrance_pupil
        free = ~meets(pupil, ways, solid) & ALL.contains(ways, side=side)
        got = field.worn.eye(side).lit.ravel()[chosen] > 0
        assert (free == got).mean() > 0.999
        assert free.sum() > 20


# -- bare-headed ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def person():
    return wearer_from_record(make_record(sex="female", head_circumference_mm=558.0))


def test_own_face_limits_a_bare_eye_about_where_perimetry_finds_it(person):
    wide_open = ReferenceField(
        name="open",
        up_deg=110,
        down_deg=110,
        nasal_deg=110,
        temporal_deg=110,
        source="none",
    )
    eyes = bare_field(person, reference=wide_open, samples=1)
    for eye in (eyes.left, eyes.right):
        limits = eye.limits["centre"]
        assert 40 < limits.up_deg < 70  # published: 50 to 70
        assert 60 < limits.down_deg < 85  # 60 to 80
        assert 50 < limits.nasal_deg < 72  # 60
        assert limits.temporal_deg > 90  # 90 to 107


def test_no_eye_sees_beyond_the_reference_field(person):
    eyes = bare_field(person, reference="clinical")
    for eye in (eyes.left, eyes.right):
        assert eye.solid_angle_sr["some"] <= FIGURES["field clinical"] * 1.002
        assert eye.limits["some"].temporal_deg == 90
        assert eye.limits["some"].nasal_deg <= 60


def test_percent_is_of_the_same_wearer_bare_headed(person):
    piece = ball_piece(
        radius_mm=170,
        wall_mm=3,
        holes=[((-30, 17), 20.0, "eye_left"), ((30, 17), 20.0, "eye_right")],
    )
    field = field_of_view(person, piece, Placement(), samples=1)
    worn, bare = field.worn.either_sr, field.bare.either_sr
    assert field.either_percent == pytest.approx(100 * worn / bare)
    assert 0 < field.either_percent < field.eye_percent("left") * 2.2
    assert bare_field(person, samples=1) is field.bare


# -- lenses in the map ------------------------------------------------------------------


def glazed(**how):
    hole = rectangle((-20, 20), (-20, 20))
    piece = plate_piece(
        [hole], distance_mm=25, wall_mm=THIN_MM,
        openings=[opening("eye_right", hole, distance_mm=25)],
    )  # fmt: skip
    return field_of_view(LONE, piece, Placement(), **{"reference": ALL, **how})


def test_tint_dims_every_direction_through_its_opening_and_no_limit():
    plain = glazed().worn.right
    field = glazed(filters={"eye_right": Lens(transmittance=0.43)})
    eye = field.worn.right
    assert np.array_equal(eye.lit, plain.lit)
    row, column = (
        np.argmin(np.abs(axis))
        for axis in (field.grid.latitude_deg, field.grid.longitude_deg)
    )
    assert eye.light[row, column] == pytest.approx(0.43, abs=1e-3)
    assert (eye.light <= 0.43 * eye.lit + 1e-9).all()
    assert field.darkness[0].category == 2


def test_perforated_sheet_narrows_the_view_by_its_thickness():
    sheet = Perforated(open_fraction=0.4, hole_mm=1.0, thickness_mm=2.0)
    field = glazed(filters={"eye_right": [sheet]})
    column = np.argmin(np.abs(field.grid.longitude_deg - 0.5))
    beyond = np.abs(field.grid.latitude_deg) > sheet.blind_beyond_deg + 0.5
    assert field.worn.right.light[beyond, column].max() == 0
    assert field.worn.right.lit[beyond, column].max() == 1


def test_stack_in_the_map_multiplies():
    net = Perforated(open_fraction=0.60, hole_mm=1, thickness_mm=0)
    field = glazed(filters={"eye_right": [net, Lens(transmittance=0.43)]})
    assert field.worn.right.light.max() == pytest.approx(
        FIGURES["stack 0.60 x 0.43"], abs=1e-3
    )


# -- grid -------------------------------------------------------------------------------


@pytest.mark.parametrize("step_deg", [0.5, 1.0, 2.0])
def test_cells_cover_their_band_of_the_sphere_exactly(step_deg):
    grid = direction_grid(step_deg)
    assert grid.solid_angle_sr.sum() == pytest.approx(4 * np.pi * 224 / 360, rel=1e-9)
    assert np.linalg.norm(grid.directions, axis=1) == pytest.approx(1)


# -- bad input --------------------------------------------------------------------------


def test_eye_inside_the_wall_is_refused_with_how_far():
    piece = plate_piece([], distance_mm=25, wall_mm=8)
    inside = faceless(left=(-32, 0, 0), right=(32, 29, 0))
    with pytest.raises(BriefError, match=r"right eye must look out.*4\.0 mm beyond"):
        field_of_view(inside, piece, Placement())


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"step_deg": 20}, "step_deg must be 0.1 to 5 deg"),
        ({"pupil_mm": 40}, "pupil_mm must be 1 to 9 mm"),
        ({"samples": 7}, "samples must be 1"),
        ({"reference": "narrow"}, "There is no reference field 'narrow'; there are wide"),
        ({"filters": {"eye_rihgt": Lens(transmittance=0.5)}}, "Did you mean 'eye_right'"),
    ],
)
def test_settings_that_mean_nothing_are_refused(how, words):
    with pytest.raises(BriefError, match=words):
        glazed(**how)
