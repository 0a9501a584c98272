"""How much of the friction a load needs, and how far a settled piece rocks."""

from __future__ import annotations

import numpy as np

from fitkit.fit._contact import Contacts, Grip, Pressing, cross, dot, lines, springs
from fitkit.fit._settle import LEVER_MM
from fitkit.fit.placement import FloatArray

#: Units that unlike unknowns are brought to: mm, and half heads of turn.
SCALE = np.array([1.0] * 3 + [LEVER_MM] * 3)
#: Where pitch, yaw and roll stand among turns about right, front and up.
TURNS = [3, 5, 4]


def grip_wanted(contacts: Contacts, pressing: Pressing, grip: Grip) -> FloatArray:
    """
    Least sideways force of each contact that balances the load, shape (n,), in N.

    Pads that were put on askew pull against each other; that stress is left out, for it
    is gone once the wearer has moved. Of all sideways forces with the same resultant
    these have the least sum of squares over their limits, which shares the limit out
    evenly; friction is therefore able to give at least what they leave unused.
    """
    limit, away = grip.limit, pressing.away
    arm = contacts.point - contacts.point.mean(axis=-2, keepdims=True)
    slope, _ = grip.slope(grip.length(pressing))
    pull = slope[..., None] * pressing.slid
    wanted = np.concatenate([pull.sum(axis=-2), cross(arm, pull).sum(axis=-2)], axis=-1)
    along = lines(away, arm)
    bed = springs(arm, limit) - np.swapaxes(along * limit[..., None], -1, -2) @ along
    bed = bed / np.outer(SCALE, SCALE)
    least = 1e-9 * np.trace(bed, axis1=-2, axis2=-1) + 1e-12
    firm = bed + least[..., None, None] * np.eye(6)
    twist = np.linalg.solve(firm, (wanted / SCALE)[..., None])[..., 0] / SCALE
    turn = np.broadcast_to(twist[..., None, 3:], arm.shape)
    way = twist[..., None, :3] + cross(turn, arm)
    way = way - dot(way, away)[..., None] * away
    forces: FloatArray = limit * np.sqrt(dot(way, way))
    return forces


def slip_margin(wanted: FloatArray, grip: Grip) -> FloatArray:
    """Share of friction left where it is shortest, from forces of shape (n,)."""
    margin: FloatArray = 1.0 - (wanted / np.maximum(grip.limit, 1e-12)).max(axis=-1)
    return margin


def wobble_deg_per_nm(stiffness: FloatArray) -> FloatArray:
    """Pitch, yaw and roll under one newton metre, (3,), of a stiffness, (6, 6)."""
    scaled = stiffness / np.outer(SCALE, SCALE)
    least = 1e-9 * np.trace(scaled, axis1=-2, axis2=-1) + 1e-9
    give = np.linalg.inv(scaled + least[..., None, None] * np.eye(6)) / LEVER_MM**2
    turns = np.diagonal(give, axis1=-2, axis2=-1)[..., TURNS]
    wobble: FloatArray = np.degrees(1000.0 * turns)
    return wobble
