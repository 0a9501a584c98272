from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from donned import SAMPLES, WEARER, heron, report, seat

from fitkit.errors import BriefError, DesignError
from fitkit.fit._entry import make_entry
from fitkit.fit._press import CUT, GLASSES, RIGID, Soft, passing_head
from fitkit.fit.donning import DonningBrief, back_half, donning_report, panel
from fitkit.fit.placement import Placement
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh, join
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design
from fitkit.piece.openings import find_openings
from fitkit.wearer.record import Glasses, make_record
from fitkit.wearer.zones import ZONES


def with_collar(half_right, half_front):
    """The heron with a collar at its neck that leaves an ellipse free."""
    piece = heron()
    neck = next(o for o in piece.openings if o.kind == "neck")
    rim = neck.rim[:-1]
    turn = np.arctan2(*(rim - neck.plane_point)[:, [1, 0]].T)
    middle = neck.plane_point
    inner = np.column_stack(
        [middle[0] + half_right * np.cos(turn), middle[1] + half_front * np.sin(turn),
         np.full(len(turn), middle[2])]
    )  # fmt: skip
    n = len(rim)
    a, b = np.arange(n), (np.arange(n) + 1) % n
    faces = np.concatenate(
        [np.column_stack([a, a + n, b]), np.column_stack([b, a + n, b + n])]
    )
    collar = Mesh(np.vstack([rim, inner]), faces)
    facing = join([piece.facing, collar])
    jaw = np.concatenate([piece.jaw_faces, np.zeros(len(collar.faces), bool)])
    ring = np.vstack([inner, inner[:1]])
    opening = replace(neck, rim=ring, plane_point=inner.mean(axis=0))
    others = tuple(o for o in piece.openings if o.kind != "neck")
    tree = SurfaceTree(facing)
    parts = {**piece.design.parts, "collar": collar}
    return replace(
        piece,
        design=replace(piece.design, parts=parts),
        facing=facing,
        skin=facing,
        jaw_faces=jaw,
        openings=(opening, *others),
        tree=tree,
    )


# -- a piece that goes on ------------------------------------------------------------


def test_sample_piece_goes_on_and_the_way_ends_in_its_seat():
    got = report()
    assert got.goes_on
    assert got.path.moves[-1].tolist() == [0.0] * 6
    assert got.path.moves[0, 2] > 200  # lifted over the whole head
    assert got.largest_head_scale == 1.0
    assert got.ways == ()
    assert got.tight.zone.replace(" ", "_") in ZONES


def test_every_pose_of_the_way_is_clear_of_the_pressed_head():
    # Independently: signed distances from points spread over the wall's faces, pose by
    # pose. They are never less than the exact gap, and points a few mm apart are little
    # more.
    got = report()
    head = SurfaceTree(passing_head(WEARER, Soft()).pressed)
    shares = np.array([(i, j, 4 - i - j) for i in range(5) for j in range(5 - i)]) / 4
    spread = np.einsum("sc,fci->fsi", shares, heron().facing.triangles).reshape(-1, 3)
    spread = spread[np.unique(np.floor(spread / 2.5), axis=0, return_index=True)[1]]
    wall = seat().to_head(spread)
    for matrix, gap in zip(got.path.matrices, got.path.gap_mm, strict=True):
        moved = wall @ matrix[:3, :3].T + matrix[:3, 3]
        least = head.signed_mm(moved).min() - heron().lining_mm
        assert least > -1e-6
        assert least >= gap - 0.02
        assert least == pytest.approx(gap, abs=1.0)


def test_head_ends_beyond_a_plane_that_has_all_of_the_wall_on_its_other_side():
    head = passing_head(WEARER, Soft()).pressed
    wall = heron().facing.moved(seat().matrix).moved(report().path.matrices[0])
    neck = next(o for o in heron().openings if o.kind == "neck")
    out = report().path.matrices[0][:3, :3] @ seat().rotation @ neck.plane_normal
    assert (head.vertices @ out).min() > (wall.vertices @ out).max()


def test_gap_between_poses_is_vouched_for_and_less_than_at_them():
    path = report().path
    assert len(path.between_mm) == len(path.moves) - 1
    assert (path.between_mm <= np.minimum(path.gap_mm[:-1], path.gap_mm[1:]) + 1e-9).all()
    assert path.between_mm.min() > -0.5


def test_strides_are_short_and_stay_in_the_midplane():
    moves = report().path.moves
    stride = np.linalg.norm(np.diff(moves[:, :3], axis=0), axis=1)
    assert stride.max() <= 8.0
    assert not moves[:, [0, 4, 5]].any()


def test_ease_by_zone_is_told_and_no_less_than_what_may_be_pressed():
    ease = report().path.zone_ease_mm
    assert {"brow", "crown", "back", "chin"} <= set(ease)
    assert min(ease.values()) > -12.0


def test_getting_out_is_the_same_way_and_always_cautioned():
    got = report()
    assert "same way back" in got.out[0]
    assert any("Never lock" in word for word in got.cautions)
    brief = DonningBrief(fastenings=5, jaw_clear=True)
    many = donning_report(WEARER, heron(), seat(), brief=brief)
    assert any("5 fastening" in word for word in many.out)
    assert any("no jaw to pull clear" in word for word in many.cautions)


def test_same_input_gives_the_same_way():
    again = donning_report(WEARER, heron(), seat())
    assert np.array_equal(again.path.moves, report().path.moves)
    assert np.array_equal(again.path.gap_mm, report().path.gap_mm)


# -- a piece that does not ------------------------------------------------------------


@cache
def stopped():
    return donning_report(WEARER, with_collar(62.0, 70.0), seat())


def test_collar_narrower_than_the_head_is_refused_with_the_place():
    got = stopped()
    assert not got.goes_on
    assert len(got.path.moves) == 0
    assert np.isnan(got.path.least_mm)
    assert got.tight.at_rim
    assert got.tight.room_mm < -2
    assert "missing between the rim of the neck opening" in got.tight.words
    assert "must not be put on" in got.out[0]


def test_largest_head_and_the_changes_are_told():
    got = stopped()
    assert 0.6 < got.largest_head_scale < 0.95
    kinds = {way.kind for way in got.ways}
    assert {"opening", "size", "split"} <= kinds
    widen = next(way for way in got.ways if way.kind == "opening")
    assert widen.amount == pytest.approx(1 - got.tight.room_mm, abs=1e-6)
    larger = next(way for way in got.ways if way.kind == "size")
    assert larger.amount == pytest.approx(1 / got.largest_head_scale)
    assert got.ways[0].found


@pytest.mark.slow
def test_split_that_is_offered_as_letting_the_head_through_does():
    split = next(way for way in stopped().ways if way.kind == "split")
    brief = DonningBrief(back_open=back_half())
    again = donning_report(WEARER, with_collar(62.0, 70.0), seat(), brief=brief)
    assert again.goes_on == split.found


@pytest.mark.slow
def test_part_that_swings_away_lets_the_head_through_that_it_stopped():
    brief = DonningBrief(back_open="collar")
    got = donning_report(WEARER, with_collar(62.0, 70.0), seat(), brief=brief)
    assert got.goes_on
    assert got.path.least_mm == pytest.approx(report().path.least_mm, abs=0.5)


@pytest.mark.slow
def test_head_of_the_largest_scale_passes_and_a_larger_one_does_not():
    # A collar scaled up with the head's own scale is the same question the other way.
    scale = stopped().largest_head_scale
    assert donning_report(WEARER, with_collar(65.0 / scale, 74.0 / scale), seat()).goes_on


def test_rigid_ears_need_more_room_than_folded_ones():
    soft, rigid = (passing_head(WEARER, s).pressed.size_mm[0] for s in (Soft(), RIGID))
    assert rigid - soft > 10.0


@pytest.mark.slow
def test_jaw_that_swings_into_the_neck_opening_is_refused_and_shut_again():
    # Opened to its stop, the otter's jaw stands under the chin: from its rear edge to the
    # back of the opening less is left than the head is long, however it is tilted.
    otter = finish(read_design(SAMPLES / "pieces" / "otter.3mf"))
    brief = DonningBrief(jaw_clear=True)
    got = donning_report(WEARER, otter, Placement(), brief=brief)
    assert not got.goes_on
    shut = got.ways[0]
    assert (shut.kind, shut.found, shut.amount) == ("jaw", True, 0.0)
    assert "Leave the jaw shut" in shut.words
    assert donning_report(WEARER, otter, Placement()).goes_on


# -- the head that has to pass --------------------------------------------------------


def test_passing_head_is_closed_without_the_neck():
    head = passing_head(WEARER, Soft())
    assert head.worn.is_closed
    assert head.pressed.is_closed
    low = WEARER.head.vertices[WEARER.zone >= 0][:, 2].min()
    assert head.worn.vertices[:, 2].min() >= low - 8.0
    assert set(np.unique(head.zone)) == {CUT, *range(len(ZONES))}


def test_nothing_pressed_is_the_head_as_worn():
    head = passing_head(WEARER, RIGID)
    assert head.pressed.vertices == pytest.approx(head.worn.vertices)


def test_hair_is_pressed_to_its_share():
    hairy = replace(WEARER, hair_mm=np.full(len(WEARER.zone), 10.0))
    some = passing_head(hairy, Soft(tissue_mm={}, ear_share=1.0, hair_share=0.4))
    apart = np.linalg.norm(some.worn.vertices - some.pressed.vertices, axis=1)
    assert np.median(apart) == pytest.approx(6.0, abs=1e-6)


def test_glasses_stay_on_and_stick_out():
    glasses = Glasses(width_mm=140, depth_mm=14, height_mm=40)
    head = passing_head(WEARER, Soft(), glasses=glasses)
    worn = head.worn.submesh(head.zone == GLASSES)
    assert worn.is_closed
    assert worn.size_mm[0] == pytest.approx(140)
    assert worn.bounds_mm[1, 1] == pytest.approx(WEARER.eye_left.cornea[1] + 14, abs=0.5)
    before_the_eye = WEARER.eye_left.cornea + np.array([0, 7, 0])
    assert SurfaceTree(worn).winding(before_the_eye[None])[0] == pytest.approx(1, abs=0.01)


# -- what cannot be used ----------------------------------------------------------------


def test_seat_in_clash_is_refused_with_place_and_cure():
    low = replace_shift(seat(), (0, 0, -25))
    with pytest.raises(BriefError, match=r"seat itself is in clash.*mm inside.*solve_size"):
        donning_report(WEARER, heron(), low)


def replace_shift(placement, by):
    return Placement(size=placement.size, shift_mm=placement.shift_mm + np.array(by),
                     pitch_deg=placement.pitch_deg)  # fmt: skip


def test_wide_glasses_that_clash_at_the_seat_are_named():
    record = make_record(
        sex="female", head_circumference_mm=558.0,
        glasses=Glasses(width_mm=185, depth_mm=40, height_mm=60),
    )  # fmt: skip
    wearer = replace(WEARER, record=record)
    with pytest.raises(BriefError, match=r"at the glasses.*smaller ones.*glasses_on=False"):
        donning_report(wearer, heron(), seat())
    off = DonningBrief(glasses_on=False)
    assert donning_report(wearer, heron(), seat(), brief=off).goes_on


def test_piece_without_a_neck_opening_is_refused():
    closed = replace(
        heron(), openings=tuple(o for o in heron().openings if o.kind != "neck")
    )
    with pytest.raises(DesignError, match="no neck opening, so no head gets in"):
        donning_report(WEARER, closed, seat())


def test_neck_opening_that_faces_back_is_refused():
    neck = next(o for o in heron().openings if o.kind == "neck")
    turned = replace(neck, plane_normal=np.array([0.0, -1.0, 0.0]))
    with pytest.raises(DesignError, match="does not face down"):
        donning_report(WEARER, replace(heron(), openings=(turned,)), seat())


def test_part_that_is_to_swing_away_must_be_there():
    with pytest.raises(
        DesignError, match=r"no part 'hatch' to swing away. There are: heron"
    ):
        donning_report(WEARER, heron(), seat(), brief=DonningBrief(back_open="hatch"))


def test_plane_that_swings_everything_away_is_refused():
    all_gone = panel(point_mm=(0, 500, 0), normal=(0, -1, 0))
    with pytest.raises(BriefError, match="nothing is left"):
        donning_report(WEARER, heron(), seat(), brief=DonningBrief(back_open=all_gone))


def test_cut_at_a_plane_leaves_what_lies_before_it():
    def wall(back):
        return make_entry(WEARER, heron(), seat(), soft=Soft(), glasses=None,
                          jaw_deg=0.0, panel=back)  # fmt: skip

    whole, front = wall(None), wall(back_half(front_mm=10.0))
    low = (front.wall.mesh.vertices + front.middle)[:, 1].min()
    limit = seat().to_head(np.array([0, 10.0, 0]))[1]
    assert low == pytest.approx(limit, abs=2.0)  # the seat nods by a fraction of a degree
    behind = wall(panel(point_mm=(0, 10, 0), normal=(0, 1, 0))).wall.mesh.area_mm2
    both = front.wall.mesh.area_mm2 + behind
    assert both == pytest.approx(whole.wall.mesh.area_mm2, rel=1e-9)


@pytest.mark.parametrize(
    ("kwargs", "said"),
    [
        ({"free": ("sideways",)}, "free names no move 'sideways'"),
        ({"fastenings": -1}, "fastenings must be 0 to 100"),
        ({"jaw_deg": 95.0}, "jaw_deg must be 0 to 90 deg"),
    ],
)
def test_bad_briefs_are_refused(kwargs, said):
    with pytest.raises(BriefError, match=said):
        DonningBrief(**kwargs)


@pytest.mark.parametrize(
    ("kwargs", "said"),
    [
        ({"tissue_mm": {"elbow": 2}}, "no zone 'elbow'"),
        ({"tissue_mm": {"chin": 40}}, r"tissue_mm\[chin\] must be 0 to 15 mm"),
        ({"ear_share": 0.0}, "ear_share must be 0.2 to 1"),
        ({"hair_share": 1.5}, "hair_share must be 0 to 1"),
    ],
)
def test_bad_presses_are_refused(kwargs, said):
    with pytest.raises(BriefError, match=said):
        Soft(**kwargs)


def test_bad_planes_are_refused():
    with pytest.raises(BriefError, match="normal not zero"):
        panel(point_mm=(0, 0, 0), normal=(0, 0, 0))


def test_openings_of_the_collared_stand_in_are_those_of_its_mesh():
    found = find_openings(with_collar(62.0, 70.0).facing)
    neck = next(o for o in found if o.kind == "neck")
    assert neck.width_mm == pytest.approx(124, abs=2)
