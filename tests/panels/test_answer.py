"""How an answer is said."""

from __future__ import annotations

import pytest

from fitkit.panels.answer import line_words, zone_title


@pytest.mark.parametrize(("zone", "title"), [("eye_right", "Right eye"), ("brow", "Brow")])
def test_zones_are_named_for_people(zone, title):
    assert zone_title(zone) == title


@pytest.mark.parametrize(
    ("margin", "where"), [(2.04, "2.0 mm inside"), (-3, "3.0 mm outside")]
)
def test_a_line_of_sight_is_inside_its_opening_or_outside(margin, where):
    assert line_words(margin) == f"line of sight {where} the edge of its opening"
