"""Places on a head that a maker can find with a ruler, and where they lie on a mesh."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

View = Literal["left", "right", "front", "back", "above"]

#: Step between places, and how far they go from the ear holes. [mm]
STEP_MM, SIDE_AHEAD_MM, ACROSS_MM, UP_MM, DOWN_MM = 20, 80, 60, 100, 120
#: Least cosine between the skin's normal and the line of view: more slanting skin
#: slides away under the ruler.
LEAST_FACING = 0.6
#: A place may lie this far outside a triangle, in barycentric coordinates: rounding.
_ROUNDING = 1e-9

#: By view: axes along which the two figures count, the axis looked along, and its sign.
_LOOKS: Mapping[View, tuple[int, int, int, int]] = MappingProxyType(
    {
        "left": (1, 2, 0, -1),
        "right": (1, 2, 0, 1),
        "front": (0, 2, 1, 1),
        "back": (0, 2, 1, -1),
        "above": (0, 1, 2, 1),
    }
)
#: Names of the way along each axis, by sign.
_WAYS = (("left", "right"), ("behind", "ahead of"), ("below", "above"))


@dataclass(frozen=True, kw_only=True)
class Place:
    """
    A place told by two figures from the ear holes, head upright, seen from one side.

    Seen from the left or the right they count ahead and up; from the front or the
    back, right and up; from above, right and ahead.
    """

    #: The same on every head, for example "left_20_ahead_60_above".
    key: str
    view: View
    #: The two figures. [mm]
    across_mm: float
    along_mm: float

    @property
    def words(self) -> str:
        """Where it is, without the zone."""
        first, second, _, _ = _LOOKS[self.view]
        if self.view in ("left", "right"):
            return _from_ear((second, self.along_mm), (first, self.across_mm))
        beside = _beside_midline(self.across_mm)
        level = _from_ear((second, self.along_mm))
        return f"{beside}, {level}"


@dataclass(frozen=True, kw_only=True, eq=False)
class Sites:
    """Where m places lie on the mesh of a head."""

    #: Corners of the triangle that each lies in, shape (m, 3).
    vertices: IntArray
    #: Barycentric weights of the corners, shape (m, 3).
    weights: FloatArray
    #: Whether the place is on the mesh at all, shape (m,).
    found: BoolArray
    #: Normal of the skin there, shape (m, 3).
    normal: FloatArray
    #: Unit axes: the two along which the place is told, and the one looked along,
    #: shape (m, 3, 3).
    axes: FloatArray

    def of(self, values: FloatArray) -> FloatArray:
        """Interpolate values at the vertices, shape (n, ...), to the places, (m, ...)."""
        got: FloatArray = np.einsum("mc,mc...->m...", self.weights, values[self.vertices])
        return got


def locate(head: Mesh, places: Sequence[Place]) -> Sites:
    """
    Find places on a head: the outermost skin that faces the view squarely enough.

    Parameters
    ----------
    head : Mesh
        Head frame: the ear holes are at front 0, up 0.
    places : sequence of Place

    Returns
    -------
    Sites
        ``found`` is False where no skin faces the view there.
    """
    vertices = np.zeros((len(places), 3), dtype=np.int64)
    weights = np.tile([1.0, 0.0, 0.0], (len(places), 1))
    found = np.zeros(len(places), dtype=bool)
    normal, axes = np.zeros((len(places), 3)), np.zeros((len(places), 3, 3))
    for view, (first, second, depth, sign) in _LOOKS.items():
        rows = np.array([i for i, p in enumerate(places) if p.view == view], dtype=int)
        if not len(rows):
            continue
        at = np.array([(places[i].across_mm, places[i].along_mm) for i in rows], float)
        faces = np.nonzero(sign * head.normals[:, depth] > LEAST_FACING)[0]
        corners = head.triangles[faces]
        shares = _flat_barycentric(at, corners[..., [first, second]])
        inside = shares.min(axis=2) > -_ROUNDING
        out = np.einsum("pfc,fc->pf", shares, sign * corners[..., depth])
        best = np.where(inside, out, -np.inf).argmax(axis=1)
        vertices[rows] = head.faces[faces[best]]
        normal[rows] = head.normals[faces[best]]
        weights[rows] = shares[np.arange(len(rows)), best]
        found[rows] = inside.any(axis=1)
        axes[rows] = np.eye(3)[[first, second, depth]]
    return Sites(vertices=vertices, weights=weights, found=found, normal=normal, axes=axes)


def _flat_barycentric(at: FloatArray, triangles: FloatArray) -> FloatArray:
    """Barycentric coordinates of points (p, 2) in each triangle (f, 3, 2): (p, f, 3)."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    u, v = b - a, c - a
    area = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    from_a = at[:, None, :] - a
    second = (from_a[..., 0] * v[:, 1] - from_a[..., 1] * v[:, 0]) / area
    third = (u[:, 0] * from_a[..., 1] - u[:, 1] * from_a[..., 0]) / area
    shares: FloatArray = np.stack([1.0 - second - third, second, third], axis=-1)
    return shares


# -- the list -------------------------------------------------------------------------


def _every_place() -> Iterator[Place]:
    sides: tuple[View, View] = ("left", "right")
    for view in sides:
        for ahead in _steps(-SIDE_AHEAD_MM, SIDE_AHEAD_MM):
            for up in _steps(-DOWN_MM, UP_MM):
                yield _place(view, ahead, up)
    ends: tuple[View, View] = ("front", "back")
    for view in ends:
        for right in _steps(-ACROSS_MM, ACROSS_MM):
            for up in _steps(-DOWN_MM, UP_MM):
                yield _place(view, right, up)
    for right in _steps(-ACROSS_MM, ACROSS_MM):
        for ahead in _steps(-SIDE_AHEAD_MM, SIDE_AHEAD_MM):
            yield _place("above", right, ahead)


def _steps(low: int, high: int) -> range:
    return range(low, high + 1, STEP_MM)


def _place(view: View, across: int, along: int) -> Place:
    first, second, _, _ = _LOOKS[view]
    key = f"{view}_{_code(first, across)}_{_code(second, along)}"
    return Place(key=key, view=view, across_mm=float(across), along_mm=float(along))


def _code(axis: int, figure: int) -> str:
    if figure == 0:
        return ("middle", "ear", "ear")[axis]
    return f"{abs(figure)}_{_WAYS[axis][figure > 0].split()[0]}"


def _beside_midline(right_mm: float) -> str:
    if right_mm == 0:
        return "on the midline"
    return f"{abs(right_mm):g} mm {_WAYS[0][right_mm > 0]} of the midline"


def _from_ear(*figures: tuple[int, float]) -> str:
    """Say figures along front or up from the ear holes."""
    told = [f"{abs(mm):g} mm {_WAYS[axis][mm > 0]}" for axis, mm in figures if mm]
    if not told:
        return "level with the ear hole"
    straight = "straight " if len(told) < len(figures) else ""
    return straight + " and ".join(told) + " the ear hole"


#: Every place, by its key.
PLACES: Mapping[str, Place] = MappingProxyType({p.key: p for p in _every_place()})
