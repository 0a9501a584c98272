from __future__ import annotations

import pytest

from fitkit.geometry.units import plausible_units, size_words


# Trap: guessers of units read a head drawn in centimetres as inches.
def test_head_in_centimetres_is_offered_as_centimetres_first():
    assert plausible_units(24.0)[0] == "cm"
    assert "in" in plausible_units(24.0)  # but 24 inches of antlers are possible too


@pytest.mark.parametrize(
    ("longest", "units"),
    [(300.0, ("mm",)), (30.0, ("cm", "in")), (0.3, ("m",)), (8.0, ("in",)), (3.0, ())],
)
def test_units_that_make_a_head_size_piece(longest, units):
    assert plausible_units(longest) == units


def test_words_give_each_unit_with_its_size():
    assert size_words(0.31) == "head-size if it is in m (310 mm)"
    assert size_words(5e4) == "not head-size in any of mm, cm, m and in"
