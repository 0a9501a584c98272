from dataclasses import replace

import numpy as np
import pytest
from jaws import box, chin_about, fittings, jaw_piece, manifold_of

from fitkit.errors import BriefError, DesignError
from fitkit.fit.jaw_clash import mouth_points, shell_gaps, sweep_jaw
from fitkit.fit.jaw_parts import hang
from fitkit.fit.jaw_travel import chin_contacts, follow_chin
from fitkit.fit.placement import Placement
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.jaw import chin_motion
from fitkit.wearer.jaw_mesh import OpeningHead
from fitkit.wearer.record import make_record

AGREE_MM = 0.02
WEARER = wearer_from_record(
    make_record(sex="female", head_circumference_mm=561.0, hair_mm=0.0)
)
MOTION = chin_motion(WEARER)
HEAD = OpeningHead(WEARER, MOTION)
#: A jaw well below the wearer's chin and a shell well around the head, so that only the
#: two of them can meet.
LOW_JAW = box((-40, 20, -200), (40, 150, -182))
LOW_SHELL = box((-60, -20, -180), (60, 160, -170))


def swept(piece, *, place=None, step_deg=1.0, to_opening_mm=None):
    hung = hang(piece, place or Placement())
    contacts = chin_contacts(WEARER, hung)
    travel = follow_chin(MOTION, hung, contacts, step_deg=4.0, to_opening_mm=to_opening_mm)
    return hung, travel, sweep_jaw(HEAD, hung, travel, step_deg=step_deg)


def test_gap_at_every_turn_is_that_of_the_solid_kernel():
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL, hinge_at=(0, -150), stops=(-4, 25))
    place = Placement(size=1.07, shift_mm=(2, -5, 4), pitch_deg=3)
    hung = hang(piece, place)
    turns = np.array([0.0, 1.0, 7.0, 16.0, 25.0])
    got = shell_gaps(hung, turns)
    shell = manifold_of(piece.design.parts["shell"].scaled(place.size))
    for turn, gap in zip(turns, got.drawn_mm, strict=True):
        jaw = (
            piece.design.parts["jaw"]
            .scaled(place.size)
            .moved(hung.swing_sized.matrix(turn))
        )
        assert gap == pytest.approx(manifold_of(jaw).min_gap(shell, 300.0), abs=AGREE_MM)


def test_jaw_that_closes_too_far_meets_the_shell_at_the_angle_of_trigonometry():
    # Jaw's top at -182, shell's underside at -180, hinge at front 0, up -182: the far edge
    # of the jaw rises by 150 sin(t), so it meets the shell at asin(2 / 150) below closed.
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL, hinge_at=(0, -182), stops=(-3, 20))
    _, _, clash = swept(piece)
    wanted = -np.degrees(np.arcsin(2 / 150))
    assert clash.shell.clashes
    assert clash.shell.first_contact_deg == pytest.approx(-3.0)  # closed stop itself
    free = clash.shell.jaw_deg[clash.shell.drawn_mm > 0]
    assert free.min() == pytest.approx(wanted, abs=1.0)
    # at -3 deg the edge would be 150 sin 3 - 2 deep, but comes out of the 10 mm plate
    deep = 150 * np.sin(np.radians(3)) - 2
    assert clash.shell.depth_mm == pytest.approx(min(deep, 10 - deep, 5), abs=1.0)
    assert any("meets the shell" in word for word in clash.cautions)


def test_first_contact_while_opening_is_found_between_the_steps():
    # A finger of the shell stands 11 mm below the jaw, 140 mm ahead of the hinge.
    finger = box((-5, 139, -230), (5, 141, -211)) + LOW_SHELL
    piece = jaw_piece(jaw=LOW_JAW, shell=finger, hinge_at=(0, -200), stops=(0, 12))
    _, _, clash = swept(piece)
    # underside of the jaw at -200, level with the hinge: r sin(t) = 11 at r cos(t) = 139
    wanted = np.degrees(np.arctan2(11, 141))
    assert clash.shell.first_contact_deg == pytest.approx(wanted, abs=0.1)


def test_layers_can_close_a_gap_that_is_drawn():
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL, hinge_at=(0, -150), stops=(0, 20),
                      growth_mm=0.5, lining_mm=1.8)  # fmt: skip
    _, _, clash = swept(piece)
    assert not clash.shell.clashes
    assert clash.shell.drawn_mm[0] == pytest.approx(2.0, abs=0.005)
    # the jaw's upper face is facing the head: lining; the shell's: growth
    assert clash.shell.gap_mm[0] == pytest.approx(2.0 - 1.8 - 0.5, abs=0.005)
    assert clash.shell.rubs
    assert any("its layers take that" in word for word in clash.cautions)


def test_thin_gap_is_cautioned_with_play_taken_off():
    shell = LOW_SHELL.translate((0, 0, -1.2))
    piece = jaw_piece(jaw=LOW_JAW, shell=shell, hinge_at=(0, -150), stops=(0, 20),
                      fittings={"play_mm": 0.4})  # fmt: skip
    _, _, clash = swept(piece)
    assert any("less 0.4 mm of play" in word for word in clash.cautions)


def test_jaw_in_front_of_the_throat_meets_the_neck_when_it_opens():
    # a bar that hangs 12 mm ahead of the throat and swings back into it
    throat = WEARER.landmarks["infrathyroid"]
    bar = box((-20, throat[1] + 12, throat[2] - 12), (20, throat[1] + 20, throat[2] + 6))
    shell = box((-90, -20, 20), (-80, 20, 40)) + box((80, -20, 20), (90, 20, 40))
    piece = jaw_piece(jaw=bar, shell=shell, hinge_at=(0, 0), stops=(0, 40), half=85)
    _, _, clash = swept(piece)
    assert 5 < clash.head.drawn_mm[0] < 13
    assert clash.head.clashes
    assert clash.head.depth_mm > 1
    assert clash.head.least_at_mm[2] == pytest.approx(throat[2], abs=30)
    assert any("meets the wearer" in word for word in clash.cautions)


def test_head_gap_is_that_of_the_solid_kernel():
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL, hinge_at=(0, -150))
    hung, travel, clash = swept(piece, to_opening_mm=30.0)
    for k in (0, -1):
        jaw = piece.design.parts["jaw"].moved(hung.swing_sized.matrix(travel.jaw_deg[k]))
        head = manifold_of(HEAD.mesh(travel.chin_deg[k]))
        want = head.min_gap(manifold_of(jaw), 300.0)
        assert clash.head.drawn_mm[k] == pytest.approx(want, abs=AGREE_MM)


def test_beard_takes_its_thickness_from_the_gap_to_the_head():
    beard = replace(WEARER, hair_mm=np.full(len(WEARER.zone), 9.0))
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL, hinge_at=(0, -150))
    hung = hang(piece, Placement())
    travel = follow_chin(MOTION, hung, chin_contacts(WEARER, hung), to_opening_mm=5.0)
    bare = sweep_jaw(HEAD, hung, travel).head.gap_mm
    bearded = sweep_jaw(OpeningHead(beard, MOTION), hung, travel).head.gap_mm
    assert (bare - bearded).min() > 4.0  # the beard's normals are not all on the gap
    assert (bare - bearded).max() < 9.5


def test_mouth_points_are_the_lips_that_are_nearest_at_the_front():
    hung = hang(jaw_piece(), Placement())
    jaw, shell = mouth_points(hung)
    assert jaw[2] == pytest.approx(-42)
    assert shell[2] == pytest.approx(-40)
    assert jaw[1] > 60


def test_jaw_alone_is_refused():
    piece = jaw_piece(jaw=LOW_JAW)
    del piece.design.parts["shell"]
    with pytest.raises(DesignError, match="no part besides its jaw"):
        shell_gaps(hang(piece, Placement()), np.array([0.0]))


def test_wild_step_is_refused():
    piece = jaw_piece(jaw=LOW_JAW, shell=LOW_SHELL)
    hung = hang(piece, Placement(), fittings=fittings())
    travel = follow_chin(
        chin_about((0, -30), full_deg=5.0), hung, chin_contacts(WEARER, hung)
    )
    with pytest.raises(BriefError, match=r"step_deg must be 0.1 to 5 deg"):
        sweep_jaw(HEAD, hung, travel, step_deg=0.0)


def test_drawn_gap_is_the_least_there_is_though_layers_close_another_place_first():
    # one bump comes within 1.2 mm of bare wall, the lined rest of the jaw within 2 mm
    bump = LOW_JAW + box((-2, 100, -185), (2, 104, -181.2))
    piece = jaw_piece(jaw=bump, shell=LOW_SHELL, hinge_at=(0, -150), stops=(0, 20),
                      growth_mm=0.0, lining_mm=1.8)  # fmt: skip
    high = piece.design.parts["jaw"].centroids[:, 2]
    jaw = piece.design.parts["jaw"]
    piece.facing = jaw.submesh((jaw.normals[:, 2] > 0.5) & (high < -181.5))
    got = shell_gaps(hang(piece, Placement()), np.array([0.0]))
    assert got.drawn_mm[0] == pytest.approx(1.2, abs=0.005)
    assert got.finished_mm[0] == pytest.approx(2.0 - 1.8, abs=0.005)


def test_clash_is_named_after_the_hinge_beside_it():
    block = box((52, -10, -192), (60, 10, -176)) + LOW_SHELL
    jaw = LOW_JAW + box((30, -8, -190), (55, 60, -184))
    piece = jaw_piece(jaw=jaw, shell=block, hinge_at=(0, -180), stops=(0, 20))
    _, _, clash = swept(piece, to_opening_mm=5.0)
    assert clash.shell.clashes
    assert any("near the right hinge" in word for word in clash.cautions)
