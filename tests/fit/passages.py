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
PLATE_UP = -70.0


def ellipsoid(right, front, up, *, segments=40) -> Mesh:
    return mesh_of(Manifold.sphere(1.0, segments).scale((right, front, up)))


def plate(right, front, *, radius=60.0, thick=3.0, sides=64) -> Mesh:
    """Pail with an elliptic hole in its bottom; its side lets no head go around."""
    disc = Manifold.cylinder(thick, radius + 4, radius + 4, 32, True)
    hole = Manifold.cylinder(3 * thick, 1.0, 1.0, sides, True).scale((right, front, 1))
    side = Manifold.cylinder(75, radius + 4, radius + 4, 32)
    side -= Manifold.cylinder(75, radius, radius, 32)
    return mesh_of((disc - hole + side).translate((0, 0, PLATE_UP)))


def way_off(head: Mesh, wall: Mesh, *, up=PLATE_UP, free=(1, 2, 3), layer_mm=0.0):
    """Search in a frame whose origin is the middle of the hole, as the search wants it."""
    shift = np.array([0.0, 0.0, -up])
    head, wall = (m.with_vertices(m.vertices + shift) for m in (head, wall))
    surface = Surface(wall, ahead_mm=layer_mm, behind_mm=layer_mm)
    door = Door(point=np.zeros(3), outward=np.array([0.0, 0, -1]), head=head.vertices)
    return head, wall, find_route(Passage(surface, head, free=free), door)
