from dataclasses import replace

import numpy as np
import pytest
from sample_jaw import SAMPLES, otter_report, placed_otter

from fitkit.errors import DesignError
from fitkit.fit.jaw_parts import read_fittings
from fitkit.fit.jaw_report import ALWAYS, jaw_report
from fitkit.fit.jaw_words import jaw_words
from fitkit.fit.placement import Placement
from fitkit.piece.buildup import finish
from fitkit.piece.design import read_design


@pytest.fixture(scope="module")
def report():
    return otter_report()


def test_otter_is_answered_in_every_question(report):
    assert report.motion.opening_mm == pytest.approx(46.33, abs=0.01)  # read thrice
    assert 0 < report.travel.kept_opening_mm <= report.motion.opening_mm
    assert report.travel.chin_deg[1] <= 1.0
    assert report.hinge is not None
    assert report.hinge.best.misfit_mm < report.hinge.drawn.misfit_mm
    assert report.closing.closes
    assert report.strap is not None
    assert report.strap.possible
    assert report.pulled_clear.open_deg == 24.0
    assert report.pulled_clear.strap_allows


def test_drawn_clearance_of_the_otter_is_the_one_it_was_drawn_with(report):
    # sample_heads/README.md: 2 mm or more of clearance all the way
    assert report.clash.shell.drawn_mm.min() > 2.0


def test_words_and_cautions_are_sentences_with_figures(report):
    said = jaw_words(report)
    assert len(said) == 5
    for word in (*said, *report.cautions):
        assert word[0].isupper()
        assert word.endswith(".")
        assert "nan" not in word
    assert f"{report.hinge.best.misfit_mm:.1f} mm" in said[2]


def test_cautions_that_always_hold_come_last(report):
    assert report.cautions[-len(ALWAYS) :] == ALWAYS
    assert "Never lock a jaw" in ALWAYS[0]


def test_force_at_the_chin_is_what_is_left_over_its_arm(report):
    force = report.travel.chin_force_n
    assert np.isfinite(force).all()
    assert (force >= 0).all()


def test_without_straps_no_cord_is_named_and_nothing_closes():
    placed = placed_otter()
    fittings = read_fittings(placed.piece).model_copy(update={"straps": ()})
    report = jaw_report(
        placed.wearer, placed.piece, Placement(), fittings=fittings, solve=False
    )
    assert report.strap is None
    assert report.hinge is None
    assert not report.closing.closes
    assert len(jaw_words(report)) == 3


def test_piece_without_a_jaw_is_refused():
    beetle = finish(read_design(SAMPLES / "pieces" / "beetle.glb"))
    with pytest.raises(DesignError, match="has no hinge"):
        jaw_report(placed_otter().wearer, beetle, Placement())


def test_misfit_of_a_hinge_not_worth_moving_is_said_so(report):
    same = replace(report, hinge=replace(report.hinge, best=report.hinge.drawn))
    assert "no place where a bolt holds does much better" in jaw_words(same)[2]
