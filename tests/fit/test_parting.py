"""The seam at which halves come off the head is where the head is widest."""

from __future__ import annotations

import numpy as np
import pytest

from fitkit.errors import DesignError
from fitkit.fit.parting import donning_seam
from fitkit.fit.placement import Placement

PLACE = Placement(size=1.02)


def test_halves_part_near_the_widest_of_the_head(wearer, piece):
    seam = donning_seam(wearer, piece, PLACE)
    assert seam.normal == pytest.approx([0, 1, 0])
    scalp = wearer.head.vertices[wearer.zone >= 0]
    scalp = scalp[scalp[:, 2] > 40]  # above the ears
    widest = scalp[np.abs(scalp[:, 0]).argmax(), 1]
    assert abs(seam.point_mm[1] - widest) < 35
    # far from the seam, on the back and the brow, nothing locks
    left = seam.parting.left
    high = left.surface.centroids[:, 2] > 60
    assert np.median(left.depth_mm[high]) == 0


def test_a_seam_away_from_the_widest_would_lock_more(wearer, piece):
    seam = donning_seam(wearer, piece, PLACE)
    left = seam.parting.left
    assert seam.parting.locked_mm2 < 0.1 * left.surface.area_mm2
    assert seam.lacking_mm == pytest.approx(
        max(0.0, left.worst_mm - seam.parting.tolerance_mm)
    )


def test_the_piece_may_part_left_and_right(wearer, piece):
    seam = donning_seam(wearer, piece, PLACE, pull=(1, 0, 0))
    assert abs(seam.point_mm[0]) < 8  # a head is about as wide on either side


def test_no_pull_is_refused(wearer, piece):
    with pytest.raises(DesignError, match="pull must be a direction"):
        donning_seam(wearer, piece, PLACE, pull=(0, 0, 0))
