"""The otter: a full head with a hinged lower jaw and sight slits in the eye sockets."""

from __future__ import annotations

from typing import Any

import manifold3d as m3
import numpy as np
from _cast import (
    Faces,
    ahead,
    arrays,
    cast,
    deeper,
    front_of_rim,
    mirrored,
    outline,
    pair,
    smooth_outline,
    tidy,
)
from _room import room
from _sculpt import (
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
    locks,
    reach,
    rod,
    seen_from_front,
    seen_from_side,
)

WALL_MM = 4.0
CLEARANCE_MM = 2.2
HINGE_FRONT_MM, HINGE_UP_MM, HINGE_RIGHT_MM = 10.0, -18.0, 102.0
OPEN_STOP_DEG = 24.0
#: Where the right elastic cord that shuts the jaw is tied: inside of its arm, temple.
CORD_JAW_MM, CORD_SHELL_MM = (82.0, 45.0, -50.0), (91.0, 34.0, 48.0)
LOW, HIGH = (-150.0, -165.0, -190.0), (150.0, 200.0, 180.0)
STEP_MM = 1.6
#: How far the teeth stand up, from the left corner of the mouth to the right.
TEETH_MM = [6, 6, 14, 7, 8, 8, 8, 8, 8, 7, 14, 6, 6]

#: The jaw from the side, closed, (front, up): an arm from the hinge to a full chin.
JAW_ARM = [
    (22.0, -3.0),
    (44.0, -30.0),
    (64.0, -49.0),
    (88.0, -60.0),
    (112.0, -63.0),
    (134.0, -61.0),
    (200.0, -50.0),
]
JAW_FOOT = [(200.0, -134.0), (88.0, -134.0), (85.0, -116.0), (48.0, -84.0), (2.0, -37.0)]

#: The cheek from the side: it hangs over the jaw's arms and hides the hinge.
CHEEK = [
    (-30.0, 10.0),
    (-30.0, -98.0),
    (-2.0, -94.0),
    (22.0, -84.0),
    (42.0, -68.0),
    (57.0, -48.0),
    (62.0, -30.0),
    (40.0, 10.0),
]
#: The jaw's arms move inside the cheeks, this far to each side.
ARM_ROOM_MM = 105.0

#: The neck rim from the side, (front, up), from the throat to the nape.
RIM = [(80.0, -152.0), (0.0, -150.0), (-60.0, -136.0), (-110.0, -116.0), (-150.0, -106.0)]

#: A sight slit seen from the front, (right, up): an almond, its outer corner raised.
SLIT = [
    (17.0, 8.5),
    (21.5, 18.5),
    (32.0, 25.0),
    (44.0, 24.5),
    (54.0, 17.5),
    (48.5, 7.5),
    (36.0, 1.5),
    (23.5, 2.0),
]


def _skull() -> Shape:
    """Broad flat crown, full cheeks and a thick neck."""
    crown = ball((0, -4, 34), (103, 121, 117))
    cheeks = both_sides(ball((58, 18, -44), (65, 78, 64)))
    nape = ball((0, -22, -40), (107, 108, 110))
    throat = ball((0, -16, -126), (112, 112, 92))
    return join(crown, cheeks, nape, throat, soft_mm=24)


def _muzzle() -> Shape:
    """Blunt muzzle with whisker pads, the bridge rising to the forehead."""
    box = ball((0, 90, -28), (66, 66, 52))
    bridge = rod([(0, 88, 40), (0, 122, 20), (0, 144, 2)], [36, 29, 20])
    pads = both_sides(ball((33, 129, -40), (37, 38, 35), turn_deg=(0, 0, 24)))
    lip = ball((0, 126, -50), (32, 30, 28))
    return join(join(box, bridge, soft_mm=20), pads, lip, soft_mm=11)


def _lids() -> Shape:
    """Thin lids about the slits, and brow pads that soften towards the temple."""
    lid = rod(
        [
            (13, 118, 6.5),
            (20, 121, 20),
            (32, 119.5, 27.5),
            (45, 114.5, 27),
            (57, 105, 18),
            (50, 111, 5.5),
            (36, 118, -0.5),
            (22, 120.5, 0),
            (13, 118, 6.5),
        ],
        [2.6, 3.8, 4.6, 4.2, 2.8, 3.2, 3.4, 3.2, 2.6],
    )
    brow = ball((37, 104, 51), (26, 20, 11), turn_deg=(24, -9, -22))
    return both_sides(join(lid, brow, soft_mm=3))


def _nose() -> Shape:
    """Rounded triangle of a nose pad with comma nostrils."""
    pad = join(
        ball((0, 155, -9), (31, 15, 15)),
        both_sides(ball((19, 152, -10), (16, 15, 14))),
        ball((0, 158, -20), (13, 11, 17)),
        soft_mm=8,
    )
    nostrils = both_sides(
        rod([(9, 172, -13), (16, 169, -9), (26, 161, -10), (31, 153, -17)], [4, 5, 3.6, 2])
    )
    return carve(pad, nostrils, soft_mm=4)


def _ears() -> Shape:
    """Small round ears, low at the sides."""
    lobe = ball((97, -24, 66), (15, 27, 29), turn_deg=(0, -24, 22))
    hollow = ball((110, -8, 69), (14, 19, 20), turn_deg=(0, -24, 22))
    return both_sides(carve(lobe, hollow, soft_mm=9))


def _whisker_pits() -> Shape:
    spots = [
        (24, -24),
        (36, -22),
        (48, -22),
        (20, -35),
        (33, -34),
        (46, -33),
        (57, -31),
        (26, -46),
        (39, -45),
        (51, -43),
    ]
    muzzle = _muzzle()
    pits = [ball(reach(muzzle, (at, 100, up), (0, 1, 0)), 2.9) for at, up in spots]
    return both_sides(join(*pits))


def _fur(body: Shape) -> Shape:
    """Lay fur over crown, cheeks and neck, away from the face and the jaw's hinge."""
    bare = join(
        ball((0, 122, -8), (88, 66, 78)),
        ball((0, 84, 108), (34, 40, 40)),
        both_sides(ball((104, -14, 66), (24, 28, 30))),
        soft_mm=20,
    )
    return locks(
        body,
        pole=(0, 0.62, 0.78),
        across=11,
        row_mm=25,
        lift_mm=6.5,
        blunt=2.4,
        where=lambda points: -bare(points),
        fade_mm=34,
        strands=0.28,
    )


def upper() -> Shape:
    """Sculpt the head without its jaw, filled."""
    body = join(_skull(), _muzzle(), soft_mm=34)
    sockets = both_sides(ball((37, 126, 13), (27, 17, 15), turn_deg=(0, -10, 0)))
    ahead_of_slit = common(
        both_sides(grown(seen_from_front(smooth_outline(SLIT)), by_mm=2.0)),
        half_space((0, 116, 0), (0, -1, 0)),
        soft_mm=6,
    )
    body = carve(_fur(body), sockets, ahead_of_slit, soft_mm=12)
    body = join(body, _lids(), soft_mm=6)
    philtrum = rod([(0, 170, -26), (0, 166, -44), (0, 158, -62)], [2.4, 2.4, 1.6])
    body = carve(body, philtrum, soft_mm=9)
    body = carve(body, _whisker_pits(), soft_mm=2.5)
    body = join(body, _nose(), soft_mm=4)
    return join(body, _ears(), soft_mm=9)


def lower() -> Shape:
    """Sculpt the lower jaw, filled inwards, a little narrower than the muzzle above."""
    arms = ball((0, 4, -36), (103, 104, 125))
    chin = ball((0, 90, -86), (54, 52, 36))
    lip = ball((0, 106, -64), (52, 44, 20))
    body = join(join(arms, chin, soft_mm=34), lip, soft_mm=14)
    return locks(
        body,
        pole=(0, 1, -0.35),
        across=9,
        row_mm=21,
        lift_mm=4,
        blunt=2.4,
        where=half_space((0, 0, -78), (0, 0, 1)),
        fade_mm=34,
        strands=0.28,
    )


def _teeth() -> Shape:
    """A gum ridge inside the lower lip, with small teeth and two fangs."""
    jaw = lower()
    turns = np.radians(np.linspace(-42, 42, len(TEETH_MM)))
    spots = []
    for turn in turns:
        right, front, _ = reach(jaw, (0, 52, -66), (np.sin(turn), np.cos(turn), 0))
        spots.append((right - 8 * np.sin(turn), front - 8 * np.cos(turn), -66.0))
    gum = rod(spots, [5.5] * len(spots), fine=2)
    teeth = [
        rod([spot, (spot[0], spot[1], -66 + tall)], [3.6, 1.2])
        for spot, tall in zip(spots, TEETH_MM, strict=True)
    ]
    return join(gum, *teeth, soft_mm=3)


def _jaw_outline() -> m3.CrossSection:
    """Outline of the jaw from the side: a disc about the hinge and the arm."""
    disc = m3.CrossSection.circle(20.0, 48).translate((HINGE_FRONT_MM, HINGE_UP_MM))
    return disc + outline([*JAW_ARM, *JAW_FOOT])


def _swept_outline() -> m3.CrossSection:
    """Everything the jaw's outline passes over from closed to its stop, with clearance."""
    closed = _jaw_outline().translate((-HINGE_FRONT_MM, -HINGE_UP_MM))
    swept = m3.CrossSection()
    for turn in np.linspace(0.0, OPEN_STOP_DEG + 2, 27):
        swept = swept + closed.rotate(-float(turn))
    return swept.offset(CLEARANCE_MM, m3.JoinType.Round).translate(
        (HINGE_FRONT_MM, HINGE_UP_MM)
    )


def _muzzle_room() -> Shape:
    """Breathing space ahead of the mouth, and room for the teeth."""
    return join(
        ball((0, 96, -24), (70, 74, 54)), ball((0, 80, -84), (62, 64, 46)), soft_mm=10
    )


def _arm_room() -> Shape:
    """Space inside the cheeks that the jaw's arms pass through."""
    return common(
        seen_from_side(_swept_outline()), ball((0, 0, 0), (ARM_ROOM_MM, 1e4, 1e4))
    )


def _cavity(sculpted: Shape, space: Shape, *, faces: int) -> m3.Manifold:
    """Make the cavity of one part: its space, kept one wall inside what is sculpted."""
    skin = cast(sculpted, low=LOW, high=HIGH, step_mm=STEP_MM, faces=70000)
    inner = common(space, deeper(skin, sculpted, wall_mm=WALL_MM), soft_mm=6)
    return cast(inner, low=LOW, high=HIGH, step_mm=2.0, faces=faces)


def _shell(above: Shape, below: Shape) -> m3.Manifold:
    rim = outline([*RIM, (-150, -300), (80, -300)])
    mouth = _swept_outline() - outline(CHEEK)
    skin = carve(above, seen_from_side(mouth), seen_from_side(rim), soft_mm=3)
    space = room(ease_mm=22, neck_width_mm=207, neck_length_mm=226)
    space = join(space, _muzzle_room(), soft_mm=20)
    space = join(space, _arm_room(), soft_mm=3)
    solid = cast(skin, low=LOW, high=HIGH, step_mm=STEP_MM, faces=60000)
    slits = pair(ahead(smooth_outline(SLIT), back_mm=70, front_mm=130))
    return tidy(solid - _cavity(join(above, below), space, faces=14000) - slits)


def _jaw(below: Shape) -> m3.Manifold:
    skin = common(below, seen_from_side(_jaw_outline()), soft_mm=3)
    space = join(_muzzle_room(), ball((0, 6, -50), (110, 95, 110)), soft_mm=20)
    solid = cast(skin, low=LOW, high=HIGH, step_mm=STEP_MM, faces=9000)
    teeth = cast(_teeth(), low=LOW, high=HIGH, step_mm=0.8, faces=5000)
    return tidy(solid - _cavity(below, space, faces=6000) + teeth)


def parts() -> dict[str, tuple[Points, Faces]]:
    """Make the shell and the jaw, closed, as two solids."""
    above, below = upper(), lower()
    return {"shell": arrays(_shell(above, below)), "jaw": arrays(_jaw(below))}


def cord(name: str, jaw_mm: Triple, shell_mm: Triple) -> dict[str, Any]:
    """Describe one of the cords that shut the jaw."""
    return {
        "name": name,
        "jaw_mm": jaw_mm,
        "shell_mm": shell_mm,
        "stiffness_n_per_mm": 0.14,
        "free_mm": 68.0,
        "most_strain_percent": 80.0,
    }


def notes(made: dict[str, tuple[Points, Faces]]) -> dict[str, Any]:
    """Describe the piece for its notes file; points in mm, right, front, up."""
    right_eye = front_of_rim(made["shell"], smooth_outline(SLIT))
    hinge = (HINGE_RIGHT_MM, HINGE_FRONT_MM, HINGE_UP_MM)
    return {
        "fitkit_notes": 1,
        "name": "otter",
        "about": "Lantern pageant, harbour town: the otter who carries the keeper's light.",
        "unit": "mm",
        "front": "y",
        "up": "z",
        "origin_mm": [0, 0, 0],
        "surface": "solid",
        "jaw_part": "jaw",
        "hinge": {
            "left_mm": mirrored(hinge),
            "right_mm": hinge,
            "open_stop_deg": OPEN_STOP_DEG,
            "close_stop_deg": 0,
        },
        "jaw_fittings": {
            "mass_g": 153,
            "centre_mm": [0, 100, -77],
            "friction_nmm": 10,
            "straps": [
                cord("left cord", mirrored(CORD_JAW_MM), mirrored(CORD_SHELL_MM)),
                cord("right cord", CORD_JAW_MM, CORD_SHELL_MM),
            ],
        },
        "openings": [
            {"name": "eye_left", "kind": "eye", "centre_mm": mirrored(right_eye)},
            {"name": "eye_right", "kind": "eye", "centre_mm": right_eye},
            {"name": "neck", "kind": "neck", "centre_mm": [0, -14, -128]},
        ],
        "hard_points": [
            {"name": "battery", "mass_g": 96, "at_mm": [0, -118, -40], "radius_mm": 24},
            {
                "name": "lantern light",
                "mass_g": 38,
                "at_mm": [0, 132, -84],
                "radius_mm": 12,
            },
            {
                "name": "hinge pin left",
                "mass_g": 9,
                "at_mm": mirrored(hinge),
                "radius_mm": 8,
            },
            {"name": "hinge pin right", "mass_g": 9, "at_mm": hinge, "radius_mm": 8},
        ],
        "no_cut": [
            {"name": "nose pad", "centre_mm": [0, 158, -2], "radius_mm": 26},
            {"name": "hinge left", "centre_mm": mirrored(hinge), "radius_mm": 22},
            {"name": "hinge right", "centre_mm": hinge, "radius_mm": 22},
        ],
        "layers": {
            "outward": [{"name": "flock and paint", "thickness_mm": 0.8}],
            "inward": [{"name": "wicking lining", "thickness_mm": 1.5}],
        },
        "shrink_percent": [0.4],
    }
