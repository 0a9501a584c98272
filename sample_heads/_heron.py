"""The heron: an outer skin with a long open bill, sight holes beside it, and a crest."""

from __future__ import annotations

from typing import Any

import manifold3d as m3
from _cast import (
    Faces,
    across,
    ahead,
    cast,
    front_of_rim,
    mirrored,
    outline,
    pair,
    smooth_outline,
    trimmed_skin,
)
from _room import oval_tube
from _sculpt import (
    Points,
    Shape,
    ball,
    both_sides,
    carve,
    flattened,
    join,
    locks,
    rod,
    seen_from_side,
    stepped,
)

LOW, HIGH = (-130.0, -265.0, -185.0), (130.0, 400.0, 235.0)
STEP_MM = 1.8
FACES = 52000

#: A sight hole beside the bill, seen from the front, (right, up).
SIGHT = [
    (20.5, 10.0),
    (25.0, 18.0),
    (35.0, 23.0),
    (47.0, 23.5),
    (54.0, 20.0),
    (47.0, 11.5),
    (36.0, 6.0),
    (26.0, 5.0),
]
#: The gape between the two halves of the bill, (right, up).
GAPE = [
    (0.0, 2.0),
    (15.0, -2.0),
    (27.0, -12.0),
    (22.0, -22.0),
    (0.0, -27.0),
    (-22.0, -22.0),
    (-27.0, -12.0),
    (-15.0, -2.0),
]
#: The neck rim from the side, (front, up), from the breast to the nape.
RIM = [(150.0, -158.0), (60.0, -154.0), (-20.0, -140.0), (-80.0, -120.0), (-150.0, -108.0)]


def _head() -> Shape:
    """Long sleek skull over a straight neck."""
    skull = ball((0, -3, 36), (97, 118, 113))
    face = ball((0, 38, -28), (86, 89, 86))
    ears = both_sides(ball((68, -14, -8), (32, 60, 64)))
    neck = oval_tube(front_mm=-15, half_width_mm=99, half_length_mm=112, top_mm=-50)
    return join(skull, face, ears, neck, soft_mm=24)


def _bill() -> Shape:
    """Two halves of an open bill: the upper one ridged, the lower one keeled."""
    top = flattened(
        rod(
            [(0, 84, 46), (0, 140, 42), (0, 235, 30), (0, 320, 14), (0, 378, -6)],
            [38, 27, 16, 9, 3.5],
        ),
        about=(0, 0, 0),
        normal=(1, 0, 0),
        share=0.72,
    )
    ridge = rod(
        [(0, 100, 78), (0, 150, 66), (0, 240, 44), (0, 330, 20), (0, 378, -3)],
        [9, 6, 4.5, 3.5, 2.5],
    )
    low = flattened(
        rod(
            [(0, 84, -48), (0, 140, -42), (0, 230, -36), (0, 300, -35), (0, 345, -38)],
            [30, 21, 13, 7.5, 3.5],
        ),
        about=(0, 0, 0),
        normal=(1, 0, 0),
        share=0.8,
    )
    return join(join(top, ridge, soft_mm=7), low, soft_mm=4)


def _crest() -> Shape:
    """Plumes that sweep back from the crown."""
    plumes = [
        rod([(0, 40, 142), (0, -40, 166), (0, -130, 172), (0, -215, 140)], [12, 15, 12, 4]),
        both_sides(
            rod(
                [(18, 30, 140), (26, -50, 154), (34, -140, 150), (42, -235, 104)],
                [10, 14, 11, 4],
            )
        ),
        both_sides(
            rod(
                [(36, 10, 126), (48, -60, 132), (52, -130, 118), (56, -190, 76)],
                [9, 13, 10, 4],
            )
        ),
    ]
    return join(*plumes, soft_mm=9)


def _eyes() -> Shape:
    """Round glass eyes at the sides, for the onlooker, with a brow above."""
    ring = ball((80, 66, 48), (17, 27, 25), turn_deg=(0, -8, -38))
    dome = ball((86, 71, 48), (15, 19, 18), turn_deg=(0, -8, -38))
    brow = rod([(22, 118, 66), (56, 102, 77), (86, 60, 82), (100, 4, 84)], [5, 8, 8, 3])
    moat = carve(ring, ball((92, 77, 48), (17, 22, 20.5), turn_deg=(0, -8, -38)), soft_mm=3)
    return both_sides(join(join(moat, dome, soft_mm=1.5), brow, soft_mm=10))


def _feathers(body: Shape) -> Shape:
    """Lay feathers over neck, nape and cheeks, away from the bill and the eyes."""
    bare = join(
        ball((0, 128, 12), (78, 60, 72)), ball((0, 70, 116), (30, 60, 40)), soft_mm=30
    )
    return locks(
        body,
        pole=(0, 0.62, 0.78),
        across=10,
        row_mm=25,
        lift_mm=5.0,
        blunt=5.0,
        where=lambda points: -bare(points),
        fade_mm=40,
        strands=0.14,
    )


def _nostrils() -> Shape:
    return both_sides(rod([(17, 140, 52), (13, 172, 46)], [2.6, 1.6]))


def sculpture() -> Shape:
    """Sculpt the whole bird, filled."""
    cap = outline(
        [
            (160, 74),
            (118, 66),
            (70, 88),
            (0, 92),
            (-60, 74),
            (-110, 30),
            (-200, -40),
            (-200, 220),
            (160, 220),
        ]
    )
    head = stepped(_head(), seen_from_side(cap), rise_mm=3.0, over_mm=4)
    body = join(_feathers(head), _bill(), soft_mm=26)
    body = stepped(body, ball((0, 322, 22), (130, 204, 130)), rise_mm=2.0, over_mm=3)
    lore = both_sides(ball((37, 128, 15), (24, 22, 15), turn_deg=(0, -14, 0)))
    body = carve(body, lore, soft_mm=12)
    body = carve(body, _nostrils(), soft_mm=4)
    body = join(body, _crest(), soft_mm=16)
    return join(body, _eyes(), soft_mm=8)


def solid() -> m3.Manifold:
    """Cast the filled bird."""
    return cast(sculpture(), low=LOW, high=HIGH, step_mm=STEP_MM, faces=FACES)


def parts() -> dict[str, tuple[Points, Faces]]:
    """Make the drawn skin, open at the neck, the gape and the two sight holes."""
    below = across(outline([*RIM, (-150, -300), (150, -300)]), left_mm=-200, right_mm=200)
    sights = pair(ahead(smooth_outline(SIGHT), back_mm=60, front_mm=150))
    gape = ahead(smooth_outline(GAPE), back_mm=60, front_mm=140)
    return {"skin": trimmed_skin(solid(), below, sights, gape)}


def notes(made: dict[str, tuple[Points, Faces]]) -> dict[str, Any]:
    """Describe the piece for its notes file; points in mm, right, front, up."""
    right_eye = front_of_rim(made["skin"], smooth_outline(SIGHT))
    gape = front_of_rim(made["skin"], smooth_outline(GAPE))
    return {
        "fitkit_notes": 1,
        "name": "heron",
        "about": "Lantern pageant, harbour town: the heron who counts the boats home.",
        "unit": "mm",
        "front": "y",
        "up": "z",
        "origin_mm": [0, 0, 0],
        "surface": "outer",
        "jaw_part": None,
        "hinge": None,
        "openings": [
            {"name": "eye_left", "kind": "eye", "centre_mm": mirrored(right_eye)},
            {"name": "eye_right", "kind": "eye", "centre_mm": right_eye},
            {"name": "gape", "kind": "mouth", "centre_mm": (0.0, *gape[1:])},
            {"name": "neck", "kind": "neck", "centre_mm": [0, -12, -134]},
        ],
        "hard_points": [
            {"name": "bill lamp", "mass_g": 24, "at_mm": [0, 190, 30], "radius_mm": 10},
            {"name": "battery", "mass_g": 96, "at_mm": [0, -118, 20], "radius_mm": 24},
        ],
        "no_cut": [
            {"name": "bill root", "centre_mm": [0, 128, 46], "radius_mm": 26},
            {"name": "glass eye left", "centre_mm": [-84, 70, 48], "radius_mm": 26},
            {"name": "glass eye right", "centre_mm": [84, 70, 48], "radius_mm": 26},
        ],
        "layers": {
            "outward": [{"name": "tissue and varnish", "thickness_mm": 0.5}],
            "inward": [
                {"name": "paper laminate", "thickness_mm": 2.5},
                {"name": "glass cloth and resin", "thickness_mm": 1.0},
            ],
        },
        "shrink_percent": [0.8],
    }
