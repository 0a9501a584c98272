"""Helper: heads and walls of simple shape, whose ways in are known by reasoning."""

from __future__ import annotations

import numpy as np
from jaws import mesh_of
from manifold3d import Manifold

from fitkit.fit._passage import Passage
from fitkit.fit._reach import Surface
from fitkit.fit._route import Door, find_route
from fitkit.geometry.mesh import Mesh

#: Height of the plate with the hole, below the head's middle. [mm]
PLATE_UP = -140.0


def ellipsoid(right, front, up, *, segments=40) -> Mesh:
    return mesh_of(Manifold.sphere(1.0, segments).scale((right, front, up)))


def plate(right, front, *, radius=190.0, thick=4.0, sides=64) -> Mesh:
    """Round plate with an elliptic hole."""
    disc = Manifold.cylinder(thick, radius, radius, 48, True)
    hole = Manifold.cylinder(3 * thick, 1.0, 1.0, sides, True).scale((right, front, 1))
    return mesh_of((disc - hole).translate((0, 0, PLATE_UP)))


def way_off(head: Mesh, wall: Mesh, *, up=PLATE_UP, free=(1, 2, 3), layer_mm=0.0):
    passage = Passage(Surface(wall, ahead_mm=layer_mm, behind_mm=layer_mm), head, free=free)
    door = Door(
        point=np.array([0.0, 0.0, up]), outward=np.array([0.0, 0, -1]), head=head.vertices
    )
    return passage, find_route(passage, door)
