"""Tints, perforated sheet, their stacks and their categories."""

import numpy as np
import pytest
from sight_figures import FIGURES

from fitkit.errors import BriefError
from fitkit.fit.lens import Lens, Perforated, checked_filters, darkness, luminous_category
from fitkit.fit.lens import stack_passes as passes

STRAIGHT = np.ones(1)


@pytest.mark.parametrize(
    ("percent", "category"),
    [
        (100, 0),
        (80.1, 0),
        (80, 1),
        (43.1, 1),
        (43, 2),
        (18.1, 2),
        (18, 3),
        (8.1, 3),
        (8, 4),
        (3.1, 4),
        (3, None),
        (0, None),
    ],
)  # 0: > 80, 1: > 43 to 80, 2: > 18 to 43, 3: > 8 to 18, 4: > 3 to 8
def test_categories_begin_above_their_published_limits(percent, category):
    assert luminous_category(transmittance_percent=percent) == category


def test_stack_multiplies_and_names_its_category():
    net = Perforated(open_fraction=0.60, hole_mm=1, thickness_mm=0)
    stack = [net, Lens(transmittance=0.43)]
    assert passes(stack, STRAIGHT)[0] == pytest.approx(
        FIGURES["stack 0.60 x 0.43"], abs=1e-9
    )
    assert darkness("eye_left", stack).category == 2


def test_below_75_percent_dusk_is_spoken_of_and_above_it_is_not():
    assert "dusk" in darkness("e", [Lens(transmittance=0.74)]).words
    assert "dusk" not in darkness("e", [Lens(transmittance=0.76)]).words


@pytest.mark.parametrize("transmittance", [0.03, 0.43, 0.90])
def test_lens_passes_its_transmittance_straight_and_less_aslant(transmittance):
    cosine = np.cos(np.radians(np.arange(0, 90, 5)))
    got = Lens(transmittance=transmittance).passes(cosine)
    assert got[0] == pytest.approx(transmittance, abs=1e-12)
    assert (np.diff(got) < 1e-12).all()


def test_untinted_plate_loses_what_its_two_surfaces_reflect():
    reflected = FIGURES["reflection at 60 deg index 1.5"]
    clear = (1 - 0.04) / (1 + 0.04)  # both surfaces straight on, reflections between them
    plate = Lens(transmittance=clear, index=1.5)
    wanted = (1 - reflected) / (1 + reflected)
    assert plate.passes(np.array([0.5]))[0] == pytest.approx(wanted, abs=2e-4)


def test_perforated_sheet_passes_the_overlap_of_two_circles():
    sheet = Perforated(open_fraction=0.4, hole_mm=2.0, thickness_mm=1.0)
    angle = np.degrees(np.arctan(1.0))  # the far end is shifted by half a diameter
    shared = (2 * np.pi / 3 - np.sqrt(3) / 2) / np.pi  # two unit circles a radius apart
    assert sheet.passes(np.cos(np.radians([angle])))[0] == pytest.approx(0.4 * shared)


def test_perforated_sheet_is_blind_beyond_hole_over_thickness():
    sheet = Perforated(open_fraction=0.4, hole_mm=1.0, thickness_mm=1.0)
    assert sheet.blind_beyond_deg == pytest.approx(45)
    assert sheet.passes(np.cos(np.radians([44, 46])))[1] == 0
    assert sheet.passes(np.cos(np.radians([44, 46])))[0] > 0


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Lens(transmittance=43), "reads like percent: did you mean 0.43"),
        (lambda: Lens(transmittance=0), "transmittance .above 0. must be"),
        (lambda: Lens(transmittance=0.99), "at most 0.925 for a sheet of index 1.49"),
        (
            lambda: Perforated(open_fraction=0.95, hole_mm=1, thickness_mm=1),
            "at most 0.907",
        ),
        (lambda: Perforated(open_fraction=0.5, hole_mm=1, thickness_mm=-1), "thickness_mm"),
        (
            lambda: checked_filters({"vizor": Lens(transmittance=0.5)}, openings=["visor"]),
            "no opening 'vizor'.*Did you mean 'visor'",
        ),
    ],
)
def test_what_no_filter_can_be_is_refused(make, words):
    with pytest.raises(BriefError, match=words):
        make()
