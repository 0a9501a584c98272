"""The pieces that come with fitkit, whose openings their sculptor has noted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fitkit.piece.buildup import Piece, finish, sample_wall
from fitkit.piece.design import read_design
from fitkit.piece.openings import opening_words

PIECES = Path(__file__).parents[2] / "sample_heads" / "pieces"


@pytest.fixture(scope="module", params=["beetle.glb", "heron.stl", "otter.3mf"])
def piece(request) -> Piece:
    return finish(read_design(PIECES / request.param))


def test_every_noted_opening_is_found_where_its_sculptor_put_it(piece):
    found = {opening.name: opening for opening in piece.openings}
    for note in piece.design.notes.openings:
        opening = found[note.name]
        assert opening.kind == note.kind
        near = max(6.0, 0.15 * opening.width_mm)  # a rim's middle is no exact thing
        off = np.linalg.norm(opening.plane_point - np.array(note.centre_mm))
        assert off < near, note.name


def test_notes_and_openings_agree(piece):
    assert opening_words(piece.openings, named=piece.design.notes.openings) == ()


def test_a_head_inside_is_inside(piece):
    at = np.array([[0, 0, 0], [0, 5, 20], [0, -60, 40], [50, 10, 30], [0, 30, 90]], float)
    assert (piece.tree.winding(at) > 0.6).all()


def test_left_and_right_are_judged_alike(piece):
    left, right = (
        next(o for o in piece.openings if o.name == f"eye_{side}")
        for side in ("left", "right")
    )
    assert left.area_mm2 == pytest.approx(right.area_mm2, rel=0.03)
    mirrored = left.plane_point * (-1, 1, 1)
    assert np.linalg.norm(mirrored - right.plane_point) < 3.0


def test_the_wall_can_be_made(piece):
    assert sample_wall(piece).least_mm > 2.0
