"""The smallest cut: against ellipses on plates, and by looking through what was cut."""

from pathlib import Path

import numpy as np
import pytest
from plates import (
    ball_piece,
    box_mesh,
    ellipse,
    faceless,
    no_cut_ball,
    piece_of_solid,
    plate_piece,
)
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit._directions import direction_grid
from fitkit.fit._shell import Shell, eye_of
from fitkit.fit.cut import smallest_cut, with_cut
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import eye_pupil
from fitkit.fit.wanted import wanted_ellipse, wanted_en166, wanted_limits
from fitkit.geometry.mesh import join
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.record_files import read_record
from fitkit.wearer.zones import ZONES

PAIR = faceless()
ELLIPSES = [
    wanted_ellipse(side=side, width_mm=22, height_mm=20, distance_mm=25)
    for side in ("left", "right")
]


def unseen(piece, placement, field, *, wearer=PAIR, pupil_mm=4.0):
    """Share of (direction, pupil point) pairs of a field that the piece hides."""
    grid = direction_grid(0.5)
    ways = grid.directions[field.contains(grid.directions)]
    pupil = eye_pupil(
        eye_of(wearer, field.side), side=field.side, diameter_mm=pupil_mm, samples=19
    )
    shell = Shell(piece, placement)
    blocked = [shell.blocked(np.broadcast_to(p, ways.shape), ways) for p in pupil.points]
    return float(np.mean(blocked))


def recut(parts, **how):
    """The ball or plate again, from its cut part."""
    solid = parts["shell"]
    ball = np.ptp(solid.vertices[:, 1]) > 20
    middle = np.linalg.norm(solid.centroids, axis=1)
    inward = np.einsum("ij,ij->i", solid.normals, solid.centroids) < -0.9 * middle
    back = inward if ball else solid.normals[:, 1] < -0.5
    return piece_of_solid(solid, back=back, **how)


def off_ellipse(outline, *, half_right, half_up, at):
    """Greatest distance of an outline (k, 3) from an ellipse across +front. [mm]"""
    turn = np.linspace(0, 2 * np.pi, 20_000)
    true = np.column_stack([half_right * np.cos(turn), half_up * np.sin(turn)]) + at
    return max(float(np.min(np.hypot(*(true - point).T))) for point in outline[:, [0, 2]])


# -- closed forms on a plate ------------------------------------------------------------


@pytest.fixture(scope="module")
def plate_cut():
    piece = plate_piece([], distance_mm=25, wall_mm=3, half_mm=300)
    return smallest_cut(PAIR, piece, Placement(), wanted=ELLIPSES, pupil_mm=0)


def test_cut_for_an_ellipse_is_that_ellipse_on_both_sides_of_the_wall(plate_cut):
    for side, right in (("left", -32), ("right", 32)):
        (patch,) = plate_cut.eyes[side].patches
        (outer,), (inner,) = patch.outer.outlines, patch.inner[0].outlines
        assert off_ellipse(inner, half_right=11, half_up=10, at=(right, 0)) < 0.02
        grown = 28 / 25
        assert (
            off_ellipse(outer, half_right=11 * grown, half_up=10 * grown, at=(right, 0))
            < 0.02
        )
        assert np.ptp(inner[:, 0]) == pytest.approx(22, abs=0.02)
        assert np.ptp(inner[:, 2]) == pytest.approx(20, abs=0.02)


def test_volume_is_that_of_the_cones_frustum(plate_cut):
    frustum = np.pi * 11 * 10 * 25 / 3 * ((28 / 25) ** 3 - 1)
    assert plate_cut.volume_mm3 == pytest.approx(2 * frustum, rel=1e-3)
    assert plate_cut.is_solid


def test_bevel_is_the_angle_of_the_view_to_the_plate(plate_cut):
    bevel = plate_cut.eyes["right"].patches[0].bevel_deg[0]
    assert np.nanmax(bevel) == pytest.approx(
        FIGURES["EN 166 ellipse: half width"], abs=0.02
    )
    assert np.nanmin(bevel) == pytest.approx(
        FIGURES["EN 166 ellipse: half height"], abs=0.02
    )


def test_template_of_a_flat_patch_is_the_patch_mirrored_to_the_outside(plate_cut):
    side = plate_cut.eyes["right"].patches[0].outer
    assert side.stretch_percent < 1e-3
    assert np.ptp(side.template[0], axis=0) == pytest.approx(
        np.ptp(side.outlines[0], axis=0)[[0, 2]], abs=0.02
    )


def test_plate_that_has_the_ellipse_already_needs_no_cut():
    holes = [
        ellipse(11 * 1.12 + 0.03, 10 * 1.12 + 0.03, at=(right, 0)) for right in (-32, 32)
    ]
    piece = plate_piece(holes, distance_mm=25, wall_mm=3, half_mm=300)
    cut = smallest_cut(PAIR, piece, Placement(), wanted=ELLIPSES, pupil_mm=0)
    assert cut.volume_mm3 == 0
    assert all(eye.patches == () for eye in cut.eyes.values())
    assert cut.parts["shell"] is cut.uncut["shell"]


def test_ellipses_of_the_standard_stand_six_millimetres_wider_than_the_pupils_and_lower():
    piece = plate_piece([], distance_mm=25, wall_mm=0.5, half_mm=300)
    wanted = [wanted_en166("left"), wanted_en166("right")]
    cut = smallest_cut(PAIR, piece, Placement(), wanted=wanted, pupil_mm=0)
    for side, right in (("left", -35), ("right", 35)):
        (patch,) = cut.eyes[side].patches
        inner = patch.inner[0].outlines[0]
        assert off_ellipse(inner, half_right=11, half_up=10, at=(right, -0.7)) < 0.3


def test_pupil_of_some_width_adds_its_radius_all_round():
    piece = plate_piece([], distance_mm=25, wall_mm=0.5, half_mm=300)
    cut = smallest_cut(PAIR, piece, Placement(), wanted=ELLIPSES[1:], pupil_mm=4)
    inner = cut.eyes["right"].patches[0].inner[0].outlines[0]
    assert np.ptp(inner[:, 0]) == pytest.approx(22 + 4, abs=0.05)
    assert np.ptp(inner[:, 2]) == pytest.approx(20 + 4, abs=0.05)


def test_coat_on_the_edges_is_allowed_for():
    piece = plate_piece([], distance_mm=25, wall_mm=0.5, half_mm=300)
    plain, coated = (
        smallest_cut(
            PAIR, piece, Placement(), wanted=ELLIPSES[1:], pupil_mm=4, edge_coat_mm=coat
        )
        for coat in (0, 1)
    )
    spans = [
        np.ptp(c.eyes["right"].patches[0].outer.outlines[0][:, 0]) for c in (plain, coated)
    ]
    # square to the side of the cone, which leans by the half-angle of the ellipse
    lean = np.radians(FIGURES["EN 166 ellipse: half width"])
    assert spans[1] - spans[0] == pytest.approx(2 / np.cos(lean), rel=0.08)


# -- round trip -------------------------------------------------------------------------

BALL = ball_piece(radius_mm=62, wall_mm=4)
EYES = faceless(left=(-24, 22, 3), right=(22, 24, 4))
POSE = Placement(size=1.05, shift_mm=(1, -3, 2), pitch_deg=8, yaw_deg=-4)
WIDE = [
    wanted_limits(side="left", up_deg=20, down_deg=40, nasal_deg=25, temporal_deg=60),
    wanted_limits(side="right", up_deg=25, down_deg=35, nasal_deg=20, temporal_deg=95),
]


@pytest.fixture(scope="module")
def ball_cut():
    return smallest_cut(EYES, BALL, POSE, wanted=WIDE, bridge_mm=4)


def test_everything_wanted_is_seen_after_the_cut(ball_cut):
    upright = Placement(
        shift_mm=POSE.shift_mm, pitch_deg=POSE.pitch_deg, yaw_deg=POSE.yaw_deg
    )
    before = recut(ball_cut.uncut)
    after = recut(ball_cut.parts)
    assert ball_cut.is_solid
    for side, eye in ball_cut.eyes.items():
        assert eye.losses == ()
        assert unseen(before, upright, eye.wanted, wearer=EYES) == 1
        assert unseen(after, upright, eye.wanted, wearer=EYES) == 0, side


def test_anything_less_cut_away_hides_some_of_it(ball_cut):
    upright = Placement(
        shift_mm=POSE.shift_mm, pitch_deg=POSE.pitch_deg, yaw_deg=POSE.yaw_deg
    )
    narrower = recut(ball_cut.parts, growth_mm=1.0)  # a millimetre laid on every edge
    for eye in ball_cut.eyes.values():
        assert unseen(narrower, upright, eye.wanted, wearer=EYES) > 0.002


def test_outlines_lie_on_the_outer_surface_and_close(ball_cut):
    for eye in ball_cut.eyes.values():
        for patch in eye.patches:
            for outline, bevel in zip(patch.outer.outlines, patch.bevel_deg, strict=True):
                radius = np.linalg.norm(outline, axis=1)
                assert radius == pytest.approx(62 * POSE.mean_size, abs=0.1)
                assert (outline[0] == outline[-1]).all()
                assert len(bevel) == len(outline)


def test_templates_of_a_ball_keep_lengths_within_their_stated_stretch(ball_cut):
    side = ball_cut.eyes["left"].patches[0].outer
    flat = np.linalg.norm(np.diff(side.template[0], axis=0), axis=1).sum()
    true = np.linalg.norm(np.diff(side.outlines[0], axis=0), axis=1).sum()
    assert 0 < side.stretch_percent < 15
    assert abs(flat / true - 1) < side.stretch_percent / 100


def test_existing_opening_is_widened_and_its_edge_needs_no_saw():
    piece = plate_piece([ellipse(9, 9, at=(32, 3))], distance_mm=25, wall_mm=3, half_mm=300)
    cut = smallest_cut(PAIR, piece, Placement(), wanted=ELLIPSES[1:], pupil_mm=0)
    whole = smallest_cut(
        PAIR, plate_piece([], distance_mm=25, wall_mm=3, half_mm=300), Placement(),
        wanted=ELLIPSES[1:], pupil_mm=0,
    )  # fmt: skip
    assert cut.volume_mm3 < whole.volume_mm3 - 100
    assert (
        sum(np.isnan(b).any() for p in cut.eyes["right"].patches for b in p.bevel_deg) == 1
    )


# -- what may not be cut ----------------------------------------------------------------


def kept_plate(*balls):
    return plate_piece([], distance_mm=25, wall_mm=3, half_mm=300, no_cut=balls)


def test_bridge_is_kept_and_refused_with_the_nearest_that_can_be_had():
    wide = [
        wanted_limits(side=side, up_deg=20, down_deg=20, nasal_deg=55, temporal_deg=30)
        for side in ("left", "right")
    ]
    with pytest.raises(BriefError, match=r"20 mm bridge between the eyes.*settle=True"):
        smallest_cut(PAIR, kept_plate(), Placement(), wanted=wide, bridge_mm=20)
    cut = smallest_cut(
        PAIR, kept_plate(), Placement(), wanted=wide, bridge_mm=20, settle=True
    )
    # the near edge of the bridge's far face, seen by the pupil's far side
    limit = np.degrees(np.arctan((32 - 10 - 2) / 28))
    for eye in cut.eyes.values():
        assert eye.given.limits_deg()["nasal"] == pytest.approx(limit, abs=0.6)
        assert eye.losses[0].where == "nasal"
    outer = [p.outer.outlines[0] for eye in cut.eyes.values() for p in eye.patches]
    gap = outer[1][:, 0].min() - outer[0][:, 0].max()
    assert gap >= 20 - 1e-6


def test_place_that_may_not_be_cut_is_left_whole_and_named():
    ball = no_cut_ball("jewel", (32, 26, 12), 6.0)
    with pytest.raises(BriefError, match=r"'jewel', which may not be cut.* up"):
        smallest_cut(PAIR, kept_plate(ball), Placement(), wanted=ELLIPSES[1:])
    cut = smallest_cut(
        PAIR, kept_plate(ball), Placement(), wanted=ELLIPSES[1:], settle=True
    )
    near = np.linalg.norm(cut.parts["shell"].vertices - [32, 26, 12], axis=1) < 5.99
    assert not near.any()  # no new corner inside the ball
    after = recut(cut.parts)
    assert unseen(after, Placement(), cut.eyes["right"].given) == 0
    assert cut.eyes["right"].given.solid_angle_sr < ELLIPSES[1].solid_angle_sr


def test_wish_whose_middle_cannot_be_had_is_refused_even_when_settling():
    ball = no_cut_ball("plate", (32, 26, 0), 8.0)
    with pytest.raises(BriefError, match="Nothing of it can be had"):
        smallest_cut(PAIR, kept_plate(ball), Placement(), wanted=ELLIPSES[1:], settle=True)


def nosed():
    """Eyes beside a wedge of nose that stands 20 mm ahead of the pupils."""
    wedge = box_mesh((-3, -10, -60), (3, 20, 60))
    return faceless(head=wedge, zone=ZONES.index("nose"))


def test_own_nose_is_never_cut_and_the_nearest_field_stops_at_it():
    wide = wanted_limits(
        side="right", up_deg=10, down_deg=10, nasal_deg=70, temporal_deg=30
    )
    with pytest.raises(BriefError, match="wearer's own nose hides up to"):
        smallest_cut(nosed(), kept_plate(), Placement(), wanted=[wide], bridge_mm=0)
    cut = smallest_cut(
        nosed(), kept_plate(), Placement(), wanted=[wide], bridge_mm=0, settle=True
    )
    limit = np.degrees(np.arctan((32 - 3 - 2) / 20))  # by the pupil's nasal rim
    assert cut.eyes["right"].given.limits_deg()["nasal"] == pytest.approx(limit, abs=0.6)


def test_what_stands_farther_than_the_reach_stays():
    # two plates: the wall, and a screen 60 mm farther out that hides the lower half
    wall = plate_piece([], distance_mm=25, wall_mm=3, half_mm=300).design.parts["shell"]
    box = box_mesh((-200, 90, -200), (200, 95, -2.5))
    both = join([wall, box])
    piece = piece_of_solid(both, back=both.normals[:, 1] < -0.5)
    upper = wanted_ellipse(side="right", width_mm=22, height_mm=20, distance_mm=25)
    cut = smallest_cut(PAIR, piece, Placement(), wanted=[upper], reach_mm=80, settle=True)
    assert all(patch.from_pupil_mm < 40 for patch in cut.eyes["right"].patches)
    assert cut.eyes["right"].given.limits_deg()["down"] < 2
    assert "beyond 80 mm" in cut.eyes["right"].losses[0].because


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"wanted": []}, "one field for each eye"),
        ({"wanted": [ELLIPSES[0], ELLIPSES[0]]}, "one field for each eye.*left, left"),
        ({"pupil_mm": 20}, "pupil_mm must be 0 to 9 mm"),
        ({"bridge_mm": 100}, "bridge_mm must be 0 to 60 mm"),
        ({"keep_parts": ["jaw"]}, "no part 'jaw'; there are shell"),
    ],
)
def test_cuts_that_mean_nothing_are_refused(how, words):
    with pytest.raises(BriefError, match=words):
        smallest_cut(PAIR, kept_plate(), Placement(), **{"wanted": ELLIPSES, **how})


def test_part_that_is_no_solid_and_in_the_way_is_refused():
    piece = kept_plate()
    shell = piece.design.parts["shell"]
    piece.design.parts["shell"] = shell.submesh(np.arange(len(shell.faces)) > 0)
    with pytest.raises(
        BriefError, match="'shell' stands in the wanted field but cannot be cut"
    ):
        smallest_cut(PAIR, piece, Placement(), wanted=ELLIPSES)


# -- a piece as a maker has it ----------------------------------------------------------


def seen_everywhere(wearer, piece, placement, cut):
    """Whether all of every given field is seen through the piece made anew."""
    remade = with_cut(piece, cut, placement)
    return all(
        unseen(remade, placement, eye.given, wearer=wearer) == 0
        for eye in cut.eyes.values()
    )


def test_skin_with_layers_is_cut_and_made_anew_as_a_solid(tight):
    wanted = [
        wanted_limits(side=side, up_deg=25, down_deg=45, nasal_deg=15, temporal_deg=70)
        for side in ("left", "right")
    ]
    cut = smallest_cut(
        tight.wearer, tight.piece, tight.placement, wanted=wanted, settle=True
    )
    assert cut.is_solid
    assert cut.volume_mm3 > 1000
    assert seen_everywhere(tight.wearer, tight.piece, tight.placement, cut)
    assert with_cut(tight.piece, cut, tight.placement).design.surface == "solid"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["beetle.glb", "otter.3mf", "heron.stl"])
def test_sample_pieces_are_cut_and_show_every_given_direction(name):
    samples = Path(__file__).parents[2] / "sample_heads"
    wearer = wearer_from_record(read_record(samples / "wearers" / "tamsin.json"))
    piece = finish(read_design(samples / "pieces" / name))
    pose = Placement(size=1.04, shift_mm=(0, 2, 1), pitch_deg=3)
    wanted = [
        wanted_limits(side=side, up_deg=15, down_deg=30, nasal_deg=10, temporal_deg=50)
        for side in ("left", "right")
    ]
    cut = smallest_cut(wearer, piece, pose, wanted=wanted, settle=True)
    assert cut.is_solid
    assert seen_everywhere(wearer, piece, pose, cut)
