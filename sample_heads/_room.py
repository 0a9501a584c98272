"""
The room that every demo piece leaves inside for an average adult head.

The head meant: 195 long, 152 wide, 138 across the cheekbones, top 130 above the ears,
pupils 78 ahead and 15 above, 63 apart; chin 80 ahead and 100 below. These are round
figures near the pooled adult means of ANSUR II (NATICK/TR-15/007, 2014).
"""

from __future__ import annotations

from _sculpt import Distances, Points, Shape, ball, both_sides, join, rod


def room(*, ease_mm: float, neck_width_mm: float, neck_length_mm: float) -> Shape:
    """
    Make the cavity: smoother than a head, ``ease_mm`` around skull and chin.

    It runs out below through a straight oval neck, ``neck_width_mm`` from side to side
    and ``neck_length_mm`` from front to back, so that a head can come in from there.
    """
    skull = ball((0, 0, 38), (76 + ease_mm, 97 + ease_mm, 92 + ease_mm))
    face = ball((0, 24, -26), (66 + ease_mm, 72 + ease_mm, 88 + ease_mm))
    nose = rod([(0, 88, -2), (0, 106, -26)], [14 + ease_mm, 11 + ease_mm])
    ears = both_sides(ball((74, -14, 0), (18 + ease_mm / 2, 40, 46)))
    half_width, half_length = neck_width_mm / 2, neck_length_mm / 2
    neck = oval_tube(
        front_mm=-12, half_width_mm=half_width, half_length_mm=half_length, top_mm=-40
    )
    return join(skull, face, nose, ears, neck, soft_mm=22)


def oval_tube(
    *, front_mm: float, half_width_mm: float, half_length_mm: float, top_mm: float
) -> Shape:
    """Make an upright oval tube, round at the top and endless below."""
    tall = 90.0
    middle = (0.0, front_mm, top_mm)
    cap = ball(middle, (half_width_mm, half_length_mm, tall))
    tube = ball(middle, (half_width_mm, half_length_mm, 1e5))

    def distance(points: Points) -> Distances:
        above = points[:, 2] > top_mm
        gap = tube(points)
        gap[above] = cap(points[above])
        return gap

    return distance
