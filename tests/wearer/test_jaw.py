from dataclasses import replace

import numpy as np
import pytest
from heads import draws, plain_record
from jaw_figures import SPAN, within
from scipy.spatial import cKDTree

from fitkit.errors import MeasureError
from fitkit.fit._triangles import triangle_gaps
from fitkit.wearer.build import wearer_from_record
from fitkit.wearer.jaw import chin_motion, chin_motion_of
from fitkit.wearer.jaw_mesh import OpeningHead
from fitkit.wearer.record import Reading, make_record
from fitkit.wearer.survey import usual_mm

SEXES = ("female", "male")
WORDS = {"female": "women", "male": "men"}
#: What is read of people drawn from the survey.
READ = (
    "head_circumference_mm",
    "head_length_mm",
    "head_breadth_mm",
    "menton_sellion_mm",
    "bitragion_chin_arc_mm",
)


def of_survey(sex: str, **readings):
    """Wearer of the survey's mean head and face, or with other readings."""
    keys = ("head_circumference_mm", "menton_sellion_mm")
    mean = {key: round(usual_mm(key, sex=sex)[0]) for key in keys}
    return wearer_from_record(make_record(sex=sex, **{**mean, **readings}))


WEARER = {sex: of_survey(sex) for sex in SEXES}
MOTION = {sex: chin_motion(WEARER[sex]) for sex in SEXES}
HEAD = {sex: OpeningHead(WEARER[sex], MOTION[sex]) for sex in SEXES}


@pytest.mark.parametrize("sex", SEXES)
def test_mean_wearer_opens_and_turns_as_published(sex):
    motion, who = MOTION[sex], WORDS[sex]
    assert within(f"opening_{who}_mean", motion.opening_mm)
    assert within(f"opening_{who}_india", motion.opening_mm)
    assert within(f"rotation_{who}", motion.full_deg)
    assert within(f"condyle_{who}", np.linalg.norm(motion.swing.slide_mm))


@pytest.mark.parametrize("sex", SEXES)
def test_mean_wearers_pole_lies_in_the_published_spread(sex):
    motion = MOTION[sex]
    pole = motion.swing.pole_mm(motion.full_deg)
    assert pole == pytest.approx(motion.pole_mm, abs=1e-9)
    _, front, up = pole - motion.condyle_mm
    assert within("pole_behind_condyle", -front)
    assert within("pole_below_condyle", -up)


@pytest.mark.parametrize("sex", SEXES)
def test_pole_kept_with_the_wearer_is_that_of_the_motion(sex):
    assert WEARER[sex].chin_pole == pytest.approx(MOTION[sex].pole_mm, abs=1e-9)


@pytest.mark.parametrize("sex", SEXES)
def test_survey_faces_turn_and_slide_within_the_published_ranges(sex):
    # ANSUR II: two SDs of face length to either side of the mean, mean opening.
    mean, sd = usual_mm("menton_sellion_mm", sex=sex)
    for length in (mean - 2 * sd, mean + 2 * sd):
        motion = chin_motion(of_survey(sex, menton_sellion_mm=length))
        assert within(f"rotation_{WORDS[sex]}", motion.full_deg)
        assert within(f"condyle_{WORDS[sex]}", np.linalg.norm(motion.swing.slide_mm))


@pytest.mark.parametrize("sex", SEXES)
def test_people_of_the_survey_turn_and_slide_within_the_published_ranges(sex):
    # Twenty-five drawn from ANSUR II each, their opening not read.
    for person in draws(sex, 25, seed=5):
        record = plain_record({key: person[key] for key in READ}, sex=sex)
        motion = chin_motion(wearer_from_record(record))
        assert within(f"rotation_{WORDS[sex]}", motion.full_deg)
        assert within(f"condyle_{WORDS[sex]}", np.linalg.norm(motion.swing.slide_mm))


@pytest.mark.parametrize("sex", SEXES)
def test_mean_openings_of_all_studies_turn_and_slide_within_the_published_ranges(sex):
    for opening in SPAN[f"opening_{WORDS[sex]}_mean"]:
        record = make_record(sex=sex, mouth_opening_mm=opening)
        motion = chin_motion_of(record, WEARER[sex].landmarks)
        assert motion.opening_mm == pytest.approx(opening)
        assert within(f"rotation_{WORDS[sex]}", motion.full_deg)
        assert within(f"condyle_{WORDS[sex]}", np.linalg.norm(motion.swing.slide_mm))


@pytest.mark.parametrize("sex", SEXES)
def test_path_of_the_teeth_is_bent_no_more_than_measured(sex):
    motion = MOTION[sex]
    at = np.array(
        [
            motion.swing.moved(motion.teeth_mm, t)
            for t in np.linspace(0, motion.full_deg, 400)
        ]
    )
    length = np.linalg.norm(np.diff(at, axis=0), axis=1).sum()
    assert within("incisor_path_ratio", length / motion.opening_mm)


def test_reading_of_the_opening_is_met():
    motion = chin_motion(of_survey("male", mouth_opening_mm=47.5))
    assert motion.opening_mm == pytest.approx(47.5, abs=1e-9)
    assert motion.opening_at_mm(motion.full_deg) == pytest.approx(47.5, abs=1e-9)
    assert motion.given == {"mouth_opening_mm"}
    assert not motion.cautions


def test_unread_opening_is_said_to_be_the_usual_one():
    assert "mouth_opening_mm" in MOTION["female"].cautions[0]
    assert not MOTION["female"].given


def test_pure_hinge_turns_about_the_condyles_alone():
    motion = chin_motion(WEARER["female"], pure_hinge=True)
    assert not motion.swing.slide_mm.any()
    assert motion.pole_mm == pytest.approx(motion.condyle_mm)
    assert motion.opening_mm == pytest.approx(MOTION["female"].opening_mm)
    assert motion.full_deg < MOTION["female"].full_deg


def with_drop(wearer, drop_mm):
    record = wearer.record
    readings = {**record.readings, "chin_drop_mm": Reading(values_mm=(drop_mm,)),
                "mouth_opening_mm": Reading(values_mm=(46.0,))}  # fmt: skip
    return chin_motion_of(replace(record, readings=readings), wearer.landmarks)


def test_chin_drop_moves_the_pole_back_for_more_and_forward_for_less():
    usual = chin_motion(of_survey("female", mouth_opening_mm=46.0)).chin_drop_mm
    more, less = (with_drop(WEARER["female"], usual + d) for d in (5.0, -5.0))
    assert more.pole_mm[1] < MOTION["female"].pole_mm[1] < less.pole_mm[1]
    assert more.pole_sd_mm[0] < MOTION["female"].pole_sd_mm[0]
    assert more.chin_drop_mm == pytest.approx(usual + 5.0, abs=3.0)  # one repeat SD


def test_chin_drop_that_no_jaw_has_beside_its_opening_is_doubted():
    assert "take both again" in with_drop(WEARER["female"], 60.0).cautions[0]


def test_opening_that_no_jaw_reaches_is_refused_with_the_likely_slip():
    with pytest.raises(
        MeasureError, match=r"mouth_opening_mm must be 20 to \d+ mm .* teeth to"
    ):
        chin_motion_of(
            replace(
                WEARER["female"].record,
                readings={"mouth_opening_mm": Reading(values_mm=(80.0,))},
            ),
            {**WEARER["female"].landmarks, "stomion": np.array([0.0, 70.0, -40.0])},
        )


def test_turn_for_an_opening_is_its_inverse_and_refuses_more_than_there_is():
    motion = MOTION["male"]
    turn = motion.turn_for_opening_deg(20.0)
    assert motion.opening_at_mm(turn) == pytest.approx(20.0, abs=1e-3)
    with pytest.raises(MeasureError, match=r"opening_mm must be 0 to 50.4 mm"):
        motion.turn_for_opening_deg(60.0)


# -- the head surface --------------------------------------------------------------


@pytest.mark.parametrize("sex", SEXES)
def test_closed_mouth_is_the_head_itself(sex):
    assert HEAD[sex].vertices(0.0) == pytest.approx(WEARER[sex].head.vertices, abs=1e-9)


@pytest.mark.parametrize("sex", SEXES)
def test_chin_and_lower_lip_follow_the_jaw_and_the_upper_lip_stays(sex):
    head, motion = HEAD[sex], MOTION[sex]
    moved = head.vertices(motion.full_deg)
    at = {name: row(WEARER[sex], name) for name in ("menton", "pogonion", "stomion_lower")}
    for name, vertex in at.items():
        want = motion.swing.moved(WEARER[sex].landmarks[name], motion.full_deg)
        assert moved[vertex] == pytest.approx(want, abs=0.5), name
    upper = row(WEARER[sex], "stomion_upper")
    assert moved[upper] == pytest.approx(WEARER[sex].head.vertices[upper], abs=0.5)
    lips = np.linalg.norm(moved[at["stomion_lower"]] - moved[upper])
    assert lips == pytest.approx(motion.opening_mm, abs=12.0)  # lips lie ahead of the teeth


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("turn", [10.0, 25.0, 40.0])
def test_open_head_has_no_tears_and_no_turned_triangles(sex, turn):
    mesh = HEAD[sex].mesh(turn)
    assert mesh.is_closed
    assert mesh.areas_mm2.min() > 0.05 * WEARER[sex].head.areas_mm2.min()
    assert not against_neighbours(mesh).any()


@pytest.mark.parametrize("sex", SEXES)
def test_open_head_does_not_cut_through_itself(sex):
    before = WEARER[sex].head
    after = HEAD[sex].mesh(MOTION[sex].full_deg)
    moving = np.nonzero((np.abs(HEAD[sex].share) > 0.02)[before.faces].any(axis=1))[0]
    assert crossings(after, moving) <= crossings(before, moving)


def test_share_of_the_motion_stays_between_none_and_all():
    for head in HEAD.values():
        assert head.share.min() > -0.06
        assert head.share.max() < 1.06


def row(wearer, name) -> int:
    return int(
        np.linalg.norm(wearer.head.vertices - wearer.landmarks[name], axis=1).argmin()
    )


def neighbours(mesh):
    order = np.argsort(mesh.face_edges.ravel(), kind="stable") // 3
    return order.reshape(-1, 2)


def against_neighbours(mesh) -> np.ndarray:
    """Faces that look against at least two of their neighbours."""
    a, b = neighbours(mesh).T
    against = np.einsum("ij,ij->i", mesh.normals[a], mesh.normals[b]) < 0
    count = np.bincount(np.concatenate([a[against], b[against]]), minlength=len(mesh.faces))
    return count >= 3


def crossings(mesh, chosen) -> int:
    """Pairs of chosen faces without a shared corner that meet."""
    centre, size = (
        mesh.centroids[chosen],
        np.ptp(mesh.triangles[chosen], axis=1).max(axis=1),
    )
    near = cKDTree(centre).query_pairs(
        float(np.percentile(size, 99)), output_type="ndarray"
    )
    a, b = chosen[near[:, 0]], chosen[near[:, 1]]
    apart = ~(mesh.faces[a][:, :, None] == mesh.faces[b][:, None, :]).any(axis=(1, 2))
    gap = triangle_gaps(mesh.triangles[a[apart]], mesh.triangles[b[apart]])[0]
    return int((gap == 0).sum())
