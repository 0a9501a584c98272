"""The beetle: a domed helmet head with compound eyes and antlers that bolt on."""

from __future__ import annotations

from typing import Any

import manifold3d as m3
import numpy as np
from _cast import (
    Faces,
    across,
    ahead,
    arrays,
    cast,
    deeper,
    front_of_rim,
    mirrored,
    outline,
    pair,
    rounded,
    smooth_outline,
    tidy,
)
from _room import room
from _sculpt import (
    Distances,
    Points,
    Shape,
    Triple,
    ball,
    both_sides,
    carve,
    common,
    grown,
    half_space,
    join,
    reach,
    rod,
    stepped,
)

WALL_MM = 4.0
SEAT_MM = 0.6
LOW, HIGH = (-150.0, -160.0, -185.0), (150.0, 185.0, 190.0)
ANTLER_LOW, ANTLER_HIGH = (-170.0, -60.0, 40.0), (170.0, 220.0, 350.0)
STEP_MM = 1.7

#: A compound eye's opening from the front, (right, up).
EYE = [
    (16.0, 14.0),
    (20.0, 24.0),
    (31.0, 30.0),
    (44.0, 27.0),
    (52.0, 18.0),
    (49.0, 7.0),
    (38.0, 1.0),
    (24.0, 3.0),
]
#: A breathing slit between the face plates, (right, up).
VENT = [
    (12.0, -45.0),
    (22.0, -44.0),
    (31.0, -42.0),
    (32.0, -46.5),
    (22.0, -50.0),
    (12.0, -51.5),
]
#: The neck rim from the side, (front, up).
RIM = [(150.0, -136.0), (-150.0, -108.0)]
#: Bolts of the antlers on the right side, (right, front); as many on the left.
BOLTS = [(24.0, 60.0), (24.0, 20.0)]


def _dome() -> Shape:
    """Domed skull, a face drawn out to a keeled snout, and a flared neck."""
    skull = ball((0, -2, 38), (101, 122, 115))
    face = ball((0, 30, -34), (89, 82, 92))
    snout = rod([(0, 98, 40), (0, 108, -10), (0, 110, -44), (0, 88, -92)], [22, 27, 29, 24])
    ears = both_sides(ball((72, -10, -10), (32, 62, 66)))
    neck = ball((0, -14, -146), (112, 125, 172))
    keel = rod([(0, 118, 30), (0, 137, -12), (0, 140, -44), (0, 112, -94)], [3, 4, 4, 3])
    return join(join(skull, face, snout, ears, neck, soft_mm=26), keel, soft_mm=9)


def _lames(body: Shape) -> Shape:
    """Lap four plates down the face, each lifting over the next at its lower edge."""

    def distance(points: Points) -> Distances:
        right, front, up = points.T
        down = (-16 - up + 0.0034 * right**2) / 21.0
        lift = (down % 1) ** 1.5 - np.clip((down % 1 - 0.9) / 0.1, 0, 1)
        ends = np.clip(down / 0.2, 0, 1) * np.clip((4 - down) / 0.05, 0, 1)
        sides = np.clip((front - 38 + 0.35 * up) / 9, 0, 1)
        return body(points) - 4.6 * lift.clip(0) * ends * sides

    return distance


def _wing_case() -> Shape:
    """Mark where the wing cases lie: behind the crown and above the nape."""
    return common(
        half_space((0, 14, 60), (0, 1, 0.4)),
        half_space((0, 0, -66), (0, -0.25, -1)),
        soft_mm=14,
    )


def _combed(body: Shape) -> Shape:
    """Press pitted lines along the wing cases, and the seam between the two."""
    case = _wing_case()

    def distance(points: Points) -> Distances:
        turn = np.degrees(np.arctan2(np.abs(points[:, 0]), points[:, 2] + 40))
        line = np.abs((turn / 11 + 0.5) % 1 - 0.5) * 22
        pits = 0.75 + 0.25 * np.cos(points[:, 1] / 1.6 + points[:, 2] / 3)
        seam = np.exp(-((points[:, 0] / 2.4) ** 2))
        inside = np.clip((-case(points) - 4) / 14, 0, 1)
        return body(points) + inside * np.maximum(
            1.7 * pits * np.exp(-((line / 2.2) ** 2)), 3.0 * seam
        )

    return distance


def _plates(body: Shape) -> Shape:
    """Lay plate over plate: lames down the face, a collar over the crown, wing cases."""
    body = _lames(body)
    collar = common(
        half_space((0, 62, 60), (0, 1, 0.5)),
        half_space((0, 0, -50), (0, -0.4, -1)),
        soft_mm=14,
    )
    body = stepped(body, collar, rise_mm=3.0, over_mm=4)
    return _combed(stepped(body, _wing_case(), rise_mm=4.5, over_mm=5))


def _brow() -> Shape:
    """Horned brow: a ridge over the eyes, a middle horn, and a spur at each side."""
    ridge = both_sides(
        rod([(0, 124, 42), (24, 121, 47), (50, 106, 48), (74, 82, 40)], [11, 10, 9, 6])
    )
    horn = rod(
        [(0, 108, 50), (0, 140, 64), (0, 164, 92), (0, 168, 122), (0, 158, 146)],
        [22, 17, 12, 8, 2.5],
    )
    spurs = both_sides(rod([(68, 84, 42), (88, 88, 56), (100, 84, 82)], [13, 9, 2.5]))
    return join(ridge, horn, spurs, soft_mm=12)


def _eyes(body: Shape) -> Shape:
    """Bulge the compound eyes out of a body, dimple them, and rim their openings."""
    bulge = both_sides(ball((50, 86, 16), (38, 36, 31), turn_deg=(0, 0, -30)))
    whole = join(body, bulge, soft_mm=6)
    dimples, rim = [], []
    for row in range(-5, 6):
        for place in range(-8, 9):
            turn, lift = np.radians([7.2 * (place + 0.5 * (row % 2)) + 28, 9.5 * row])
            ray = (np.sin(turn) * np.cos(lift), np.cos(turn) * np.cos(lift), np.sin(lift))
            right, front, up = reach(whole, (47, 60, 16), ray)
            spot = np.array([[right, front, up]])
            if abs(bulge(spot)[0]) < 1.2:
                dimples.append(ball((right, front, up), 3.3))
    for right, up in [*EYE, EYE[0]]:
        outer = (33.5 + 1.1 * (right - 33.5), 60, 15 + 1.1 * (up - 15))
        rim.append(reach(whole, outer, (0, 1, 0)))
    whole = carve(whole, both_sides(join(*dimples)), soft_mm=1.6)
    return join(whole, both_sides(rod(rim, [2.4] * len(rim))), soft_mm=2)


def _jaws() -> Shape:
    """Sickle mouth plates with an inner tooth, that meet before the chin."""
    sickle = rod(
        [(64, 78, -74), (66, 116, -82), (46, 152, -88), (8, 164, -92)], [18, 16, 11, 3]
    )
    tooth = rod([(52, 142, -87), (28, 140, -90)], [8, 2.5])
    return both_sides(join(sickle, tooth, soft_mm=6))


def _bead(body: Shape) -> Shape:
    """A rolled edge just above the neck rim."""
    ring = []
    for turn in np.radians(np.linspace(0, 360, 33)):
        ray = (np.sin(turn), np.cos(turn), -0.0934 * np.cos(turn))
        ring.append(reach(body, (0, -12, -113), ray))
    return rod(ring, [5.0] * len(ring), fine=3)


def sculpture() -> Shape:
    """Sculpt the filled head without antlers."""
    body = _plates(_dome())
    body = join(body, _bead(body), soft_mm=5)
    body = join(_eyes(body), _brow(), soft_mm=9)
    return join(body, _jaws(), soft_mm=9)


def _antlers() -> Shape:
    """A branching antler at each side, ringed near its root."""
    beam = rod(
        [
            (52, 42, 128),
            (66, 46, 148),
            (80, 51, 166),
            (112, 64, 200),
            (132, 80, 240),
            (128, 104, 280),
            (98, 126, 308),
            (66, 138, 318),
        ],
        [21, 16, 17.5, 14, 12.5, 11, 8, 3],
    )
    tines = [
        rod([(100, 59, 188), (88, 84, 210), (70, 112, 222)], [11, 8, 2.5]),
        rod([(130, 76, 230), (152, 62, 254), (158, 50, 286)], [10, 7, 2.5]),
        rod([(126, 106, 284), (132, 118, 312), (126, 124, 340)], [9, 6, 2.5]),
        rod([(131, 92, 262), (110, 104, 270), (88, 118, 268)], [9, 6.5, 2.5]),
    ]
    return both_sides(join(beam, *tines, soft_mm=10))


def _saddle(body: Shape) -> Shape:
    """A plate over the crown that both antlers grow from."""
    plan = ball((0, 40, 150), (80, 34, 400))
    return common(grown(body, by_mm=8.0), plan, soft_mm=5)


def _bolt_spots(body: Shape) -> list[Triple]:
    """Find where the bolts on the right sit upon a surface."""
    return [reach(body, (right, front, 60), (0, 0, 1)) for right, front in BOLTS]


def _bolt_heads(body: Shape) -> m3.Manifold:
    """Washers and hexagon heads, standing square to the saddle."""
    bolt = m3.Manifold.cylinder(4.0, 9.5, circular_segments=32).translate((0, 0, -2))
    bolt += m3.Manifold.cylinder(8.0, 6.6, circular_segments=6)
    heads = []
    for spot in _bolt_spots(body):
        nod, lean = np.degrees(np.arctan2([-spot[1], spot[0]], [106, 110]))
        heads.append(bolt.rotate((nod, lean, 0)).translate(spot))
    return pair(m3.Manifold.batch_boolean(heads, m3.OpType.Add))


def parts() -> dict[str, tuple[Points, Faces]]:
    """Make the helmet shell and the antlers as two solids."""
    shape = sculpture()
    filled = cast(shape, low=LOW, high=HIGH, step_mm=STEP_MM, faces=44000)
    space = room(ease_mm=23, neck_width_mm=208, neck_length_mm=226)
    lower_face = join(ball((0, 6, -50), (93, 92, 60)), ball((0, 70, -58), (52, 72, 56)))
    space = join(space, lower_face, soft_mm=20)
    inner = common(space, deeper(filled, shape, wall_mm=WALL_MM), soft_mm=6)
    hollow = cast(inner, low=LOW, high=HIGH, step_mm=2.0, faces=15000)
    eyes = pair(ahead(smooth_outline(EYE), back_mm=70, front_mm=150))
    vents = pair(ahead(smooth_outline(VENT), back_mm=70, front_mm=150))
    below = across(outline([*RIM, (-150, -300), (150, -300)]), left_mm=-200, right_mm=200)
    shell = tidy(filled - hollow - eyes - vents - below)
    above = deeper(filled, shape, wall_mm=-SEAT_MM)
    lift = join(_saddle(shape), _antlers(), soft_mm=12)
    antlers = cast(
        carve(lift, above, soft_mm=0.1),
        low=ANTLER_LOW,
        high=ANTLER_HIGH,
        step_mm=STEP_MM,
        faces=20000,
    )
    antlers += _bolt_heads(grown(shape, by_mm=8.0))
    return {"shell": arrays(shell), "antlers": arrays(tidy(antlers))}


def notes(made: dict[str, tuple[Points, Faces]]) -> dict[str, Any]:
    """Describe the piece for its notes file; points in mm, right, front, up."""
    right_eye = front_of_rim(made["shell"], smooth_outline(EYE))
    right_vent = front_of_rim(made["shell"], smooth_outline(VENT))
    seats = [rounded(seat) for seat in _bolt_spots(sculpture())]
    bolts = [at for seat in seats for at in (mirrored(seat), seat)]
    return {
        "fitkit_notes": 1,
        "name": "beetle",
        "about": "Lantern pageant, harbour town: the beetle who lights the pier.",
        "unit": "m",
        "front": "z",
        "up": "y",
        "origin_mm": [0, 0, 0],
        "surface": "solid",
        "jaw_part": None,
        "hinge": None,
        "openings": [
            {"name": "eye_left", "kind": "eye", "centre_mm": mirrored(right_eye)},
            {"name": "eye_right", "kind": "eye", "centre_mm": right_eye},
            {"name": "vent_left", "kind": "vent", "centre_mm": mirrored(right_vent)},
            {"name": "vent_right", "kind": "vent", "centre_mm": right_vent},
            {"name": "neck", "kind": "neck", "centre_mm": [0, -12, -124]},
        ],
        "hard_points": [
            *[
                {"name": f"antler bolt {number}", "mass_g": 11, "at_mm": at, "radius_mm": 7}
                for number, at in enumerate(bolts, 1)
            ],
            {"name": "lantern light", "mass_g": 85, "at_mm": [0, 96, 262], "radius_mm": 30},
            {"name": "battery", "mass_g": 140, "at_mm": [0, -120, 10], "radius_mm": 28},
        ],
        "no_cut": [
            {"name": "antler seat", "centre_mm": [0, 40, 152], "radius_mm": 60},
            {"name": "horn root", "centre_mm": [0, 124, 52], "radius_mm": 22},
        ],
        "layers": {
            "outward": [{"name": "filler and lacquer", "thickness_mm": 0.6}],
            "inward": [{"name": "foam-backed cloth", "thickness_mm": 2.0}],
        },
        "shrink_percent": [0.3],
    }
