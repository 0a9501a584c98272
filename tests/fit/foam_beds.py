"""Helper: flat and round beds of foam whose answers are known in closed form."""

from __future__ import annotations

import numpy as np
from stand_ins import ball, opened, piece_of, wearer_of

from fitkit.fit._contact import Contacts, Pose, Walls
from fitkit.fit._settle import Load, settle
from fitkit.fit.foam import linear_foam
from fitkit.fit.pads import Pad
from fitkit.piece.mass import Body, Weighing, point_mass

DOWN = np.array([0.0, 0.0, -1.0])
STILL = Pose(np.eye(3), np.zeros(3), np.zeros(3))


def bed(points, areas, *, foam, thickness_mm, gap_mm=None, away=DOWN, friction=0.32):
    """Contacts at head points under walls square to `away`, just touching the foam."""
    n = len(points)
    away = np.broadcast_to(np.asarray(away, float), (n, 3))
    gap = thickness_mm if gap_mm is None else gap_mm
    contacts = Contacts(
        np.asarray(points, float),
        np.broadcast_to(np.asarray(areas, float), (n,)),
        np.full(n, float(thickness_mm)),
        np.full(n, float(thickness_mm)),
        np.zeros(n, int),
        (foam,),
        np.full(n, friction),
    )
    walls = Walls(contacts.point - gap * away, away, np.zeros(n))
    return contacts, walls


def rest_on(contacts, walls, *, force_n, centre_mm, torque_n_mm=(0, 0, 0)):
    load = Load(np.array(force_n, float), np.array(torque_n_mm, float),
                np.array(centre_mm, float))  # fmt: skip
    return settle(contacts, load, STILL, lambda _: walls)


def round_head(*, head_mm=85.0, wall_mm=100.0):
    """A ball of a head in a ball of a wall, open below the ears."""
    wearer = wearer_of(ball(head_mm, segments=64))
    return wearer, piece_of(opened(ball(wall_mm, segments=96), below_up_mm=-40))


def weight(mass_g, at_mm=(0, 0, 20)):
    body = Body(name="shell", kind="part", mass=point_mass(mass_g=mass_g, at_mm=at_mm))
    return Weighing(bodies=(body,))


def ring_of_pads(*, modulus_kpa=30.0, thickness_mm=16.0):
    soft = linear_foam(name="soft", modulus_kpa=modulus_kpa)
    zones = (("brow",), ("back",), ("temple_left",), ("temple_right",), ("crown",))
    return [Pad(name=z[0], foam=soft, thickness_mm=thickness_mm, zones=z) for z in zones]
