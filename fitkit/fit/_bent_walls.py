"""A wall near head points as planes that turn as the points move: no search needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.fit._contact import Pose, Walls, dot, turned
from fitkit.fit.pads import HeadInPiece
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: Half the distance over which the turning of the planes is read. [mm]
APART_MM = 4.0
#: Sharpest bend that is believed: a radius of 20 mm. [1/mm]
MOST_BEND = 0.05


@dataclass(frozen=True, eq=False)
class BentWalls:
    """
    The wall about n points: gap, its slope and its curvature, in the piece's axes.

    Arrays may have more axes in front: many pieces at once.
    """

    #: Where the points were when all was read, shape (n, 3). [mm]
    local: FloatArray
    walls: Walls
    #: Second derivatives of the gap, shape (n, 3, 3). [1/mm]
    bend: FloatArray

    def at(self, local: FloatArray) -> Walls:
        """Give the planes for points that have moved, shape (n, 3)."""
        moved = local - self.local
        turning = turned(self.bend, moved)
        slope = self.walls.away + turning
        away = slope / np.sqrt(np.maximum(dot(slope, slope), 1e-24))[..., None]
        gap = dot(self.local - self.walls.wall + moved, self.walls.away)
        gap = gap + dot(moved, turning) / 2
        return Walls(local - gap[..., None] * away, away, self.walls.between)

    def of(self, rows: IntArray) -> BentWalls:
        """Take some of the points, or of the pieces."""
        walls = self.walls
        fewer = Walls(walls.wall[rows], walls.away[rows], walls.between[rows])
        return BentWalls(self.local[rows], fewer, self.bend[rows])


def bent_walls(head: HeadInPiece, walls: Walls) -> BentWalls:
    """Read the wall about the points of a head in a piece, and how it bends there."""
    start = head.start
    columns = []
    for axis in np.eye(3):
        ahead, behind = (
            head.walls(_shifted(start, sign * APART_MM * axis)).away for sign in (1, -1)
        )
        columns.append((ahead - behind) / (2 * APART_MM))
    bend = np.stack(columns, axis=-1)
    bend = (bend + np.swapaxes(bend, -1, -2)) / 2
    size = np.linalg.norm(bend, axis=(-2, -1))
    bend *= np.minimum(1.0, MOST_BEND / np.maximum(size, 1e-12))[:, None, None]
    local = start.local(head.wearer.head.vertices[head.rows])
    return BentWalls(local, walls, bend)


def _shifted(pose: Pose, local: FloatArray) -> Pose:
    """Move the piece so that every head point moves by so much in its axes."""
    return Pose(pose.turn, pose.shift - turned(pose.turn, local), pose.turned)
