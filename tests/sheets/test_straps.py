import numpy as np
import pytest
from jaws import fittings, jaw_piece, strap

from fitkit.errors import BriefError
from fitkit.fit.jaw_parts import hang
from fitkit.fit.placement import Placement
from fitkit.sheets.straps import strap_templates


def hung(*straps):
    kept = fittings(mass_g=250.0, centre_mm=(0.0, 110.0, -20.0), straps=straps)
    return hang(jaw_piece(), Placement(), fittings=kept)


def test_the_strip_is_as_long_as_the_cord_and_its_knots_a_free_length_apart():
    (one,) = strap_templates(hung(strap(free_mm=60)), knot_mm=35.0)
    assert one.size_mm[0] == pytest.approx(60 + 70)
    bars = [line.points_mm[:, 0] for line in one.lines if line.job == "mark"]
    assert np.ptp(np.concatenate(bars)) == pytest.approx(60.0)
    assert "Cut 130 mm of cord" in one.notes[0]
    assert "60.0 mm between the knots and 35 mm for each knot" in one.notes[0]


def test_its_length_shut_is_the_distance_between_its_knots():
    # Knots at (-40, 40, -50) and (-40, 20, 30): sqrt(20² + 80²) apart, jaw shut.
    (one,) = strap_templates(hung(strap()))
    assert f"Knot to knot {np.hypot(20, 80):.1f} mm with the jaw shut" in one.notes[1]


def test_every_strap_has_a_strip_and_no_strap_none():
    both = strap_templates(hung(strap(), strap(name="right", jaw_mm=(40, 40, -50))))
    assert [one.name for one in both] == ["strap left", "strap right"]
    assert strap_templates(hung()) == ()


def test_a_knot_of_half_a_metre_is_refused():
    with pytest.raises(BriefError, match="knot_mm must be 0 to 200 mm; got 500"):
        strap_templates(hung(strap()), knot_mm=500.0)
