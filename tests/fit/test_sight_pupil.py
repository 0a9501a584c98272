"""The pupil, its points, and the reference fields."""

import numpy as np
import pytest
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit.pupil import disc_rule, pupil_diameter_mm
from fitkit.fit.visual_fields import ReferenceField, reference_field, reference_fields


def test_points_of_the_disc_integrate_polynomials_up_to_the_fifth_degree():
    points, weights = disc_rule(19)
    x, y = points.T
    moments = {(0, 0): 1, (2, 0): 1 / 4, (4, 0): 1 / 8, (2, 2): 1 / 24}  # of a unit disc
    for i in range(6):
        for j in range(6 - i):
            got = (weights * x**i * y**j).sum()
            wanted = moments.get((i, j), moments.get((j, i), 0))
            assert got == pytest.approx(wanted, abs=1e-12), (i, j)


def test_rim_of_the_disc_is_met_at_top_bottom_and_both_sides():
    points, _ = disc_rule(19)
    assert np.hypot(*points.T).max() == pytest.approx(1)
    for axis in range(2):
        assert np.abs(points[:, axis]).max() == pytest.approx(1)


def test_pupil_follows_the_published_formula():
    got = pupil_diameter_mm(luminance_cd_m2=20, field_deg=60)
    assert got == pytest.approx(FIGURES["pupil 20 cd/m² 60 deg"], abs=5e-7)


def test_pupil_is_wider_in_the_dark():
    widths = [pupil_diameter_mm(luminance_cd_m2=lum) for lum in (0.01, 1, 100, 10_000)]
    assert widths == sorted(widths, reverse=True)
    assert 2 <= widths[-1] < widths[0] <= 8


@pytest.mark.parametrize("name", ["wide", "clinical", "iii4e"])
def test_reference_fields_have_the_solid_angle_of_their_quarter_ellipses(name):
    got = reference_field(name).solid_angle_sr
    assert got == pytest.approx(FIGURES[f"field {name}"], abs=1e-4)


def test_every_reference_field_names_its_source():
    assert all(field.source for field in reference_fields().values())


def test_temporal_is_out_to_the_side_of_each_eye():
    field = reference_field("wide")
    for side, turn in (("right", 0.0), ("left", 180.0)):
        reach = field.limit_deg(np.array([turn, turn + 180]), side=side)
        assert reach == pytest.approx([107, 60])


def test_limit_beyond_what_any_eye_sees_is_refused():
    with pytest.raises(BriefError, match=r"temporal_deg must be 0.1 to 112 deg; got 180"):
        ReferenceField(
            name="x", up_deg=60, down_deg=70, nasal_deg=60, temporal_deg=180, source="x"
        )
