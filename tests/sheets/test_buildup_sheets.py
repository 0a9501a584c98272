"""Build-up in a report says what was worked out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fitkit.assess import assess
from fitkit.fit.placement import Placement
from fitkit.fit.route_ease import slip_ease
from fitkit.piece.buildup import BuildUp
from fitkit.piece.route_steps import CopyStep, LayerStep
from fitkit.piece.route_walls import finish_by_route
from fitkit.piece.routes import Route
from fitkit.sheets.buildup import buildup_part
from fitkit.sheets.tables import table_csv

ROUTE = Route(
    name="cast",
    steps=(
        CopyStep(name="casting", shrink_percent=1.0, spread_percent=0.3),
        LayerStep(name="wall", side="inward", thickness_mm=3.0),
        LayerStep(name="lining", side="inward", thickness_mm=1.5),
        LayerStep(name="paint", side="outward", thickness_mm=0.4),
    ),
)


@pytest.fixture(scope="module")
def cast(wearer, piece):
    made = finish_by_route(piece.design, route=ROUTE)
    return assess(wearer, made, Placement(size=1.02))


@pytest.fixture(scope="module")
def part(cast):
    return buildup_part(cast, route=ROUTE)


def test_the_master_is_said_at_its_size(part):
    # by hand: 102 / 0.99 = 103.03
    assert part.sentences[0] == "Make the master at 103.03 % of the drawing."
    assert "inner wall lies 4.5 mm inside" in part.sentences[1]


def test_a_stretched_master_is_said_by_axis(cast):
    wide = assess(cast.wearer, cast.piece, Placement(size=(1.02, 1.03, 1.04)))
    said = buildup_part(wide, route=ROUTE).sentences[0]
    assert said == (
        "Make the master at 103.03 (right), 104.04 (front), 105.05 (up) % of the drawing."
    )


def test_the_tables_hold_every_step_and_slip(cast, part):
    steps, slips = part.tables
    assert [row[0] for row in steps.rows] == ["casting", "wall", "lining", "paint"]
    assert steps.rows[0][3] == 0  # a copy weighs nothing
    assert steps.rows[1][3] > 100
    assert len(slips.rows) == 2 * 4
    known = slip_ease(cast.wearer, cast.piece, cast.placement, route=ROUTE,
                      brief=cast.brief)  # fmt: skip
    assert [row[3] for row in slips.rows] == pytest.approx(
        [slip.spare_mm for slip in known], nan_ok=True
    )
    for table in (steps, slips):
        assert len(table_csv(table).splitlines()) == len(table.rows) + 1


def test_without_a_route_the_notes_are_taken_and_nothing_is_weighed(roomy):
    part = buildup_part(roomy)
    # the shell's notes: paint 0.5 outward, laminate 3 inward, 0.4 % of shrinkage
    assert part.sentences[0] == f"Make the master at {102 / 0.996:.2f} % of the drawing."
    assert "3.0 mm inside what is drawn, the outside 0.5 mm" in part.sentences[1]
    assert "with the usual spread of layers" in part.sentences[2]
    steps, _ = part.tables
    assert [row[0] for row in steps.rows] == ["copy 1", "paint", "laminate"]
    assert all(np.isnan(row[3]) for row in steps.rows)
    assert not next(c for c in steps.columns if c.key == "weigh_g").on_page


def test_a_piece_made_as_drawn_says_so(cast):
    bare = replace(cast.piece, build_up=BuildUp(), lining_mm=0.0, growth_mm=0.0)
    said = buildup_part(assess(cast.wearer, bare, cast.placement))
    assert said.sentences == (
        "It is made as drawn: nothing is laid on and nothing shrinks.",
    )


def test_the_picture_names_what_is_laid(part):
    picture = part.pictures["coats"]
    assert picture.data.startswith(b"<?xml")
    assert picture.name == "coats.svg"


def test_words_never_call_anything_safe(part):
    assert not any("safe" in words for words in (*part.sentences, *part.cautions))
