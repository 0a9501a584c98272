"""
Read every measure off a head mesh as the hand does, with its derivative.

A tape is the perimeter of the convex hull of a plane section; a caliper is the
distance between landmarks or the extent between parallel arms. The mesh is bare:
what a tape reads over hair is longer by ``TAPE_TURNS_RAD`` times the hair.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from fitkit.wearer.template import Template
from fitkit.wearer.zones import NECK, ZONES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

RIGHT, FRONT, UP = np.eye(3)
#: How far a caliper arm's pressure reaches into the curve it rests on. [mm]
ARM_MM = 1.0
#: The neck leans forward: normal of the planes in which its girths are taken.
NECK_NORMAL = np.array([0.0, 0.259, 0.966])
#: Long axis of the ear (its top leans back), and across it in the side view.
EAR_LONG = np.array([0.0, -0.2588, 0.9659])
EAR_ACROSS = np.array([0.0, 0.9659, 0.2588])
#: Angle through which the tape turns on each measure taken over hair: a girth
#: closes on itself, an arc from ear to ear over the top turns by about half. The
#: hull of a convex outline grown by r is longer by r times that angle (Steiner).
TAPE_TURNS_RAD: Mapping[str, float] = MappingProxyType(
    {"head_circumference_mm": 2 * np.pi, "bitragion_coronal_arc_mm": np.pi}
)


@dataclass(frozen=True, kw_only=True, eq=False)
class MeshReading:
    """A measure read off a mesh, and how it changes as points move."""

    #: The measure on the bare head. [mm]
    value_mm: float
    #: Points that it depends on, shape (k,).
    points: Ints
    #: Derivative with respect to each of those points, shape (k, 3).
    slope: Floats


class Ruler:
    """Where each measure is taken on heads that share the template's mesh."""

    def __init__(self, template: Template) -> None:
        n, zone = template.n_vertices, template.zone
        mean = template.mean_mm[:n]
        right, front, up = mean.T
        ear = np.isin(zone, [ZONES.index("ear_left"), ZONES.index("ear_right")])
        scalp = np.isin(zone, [ZONES.index(z) for z in _SCALP])
        #: Point index of each landmark.
        self.at = template.landmarks
        #: Scalp above the ears; its rear; the cheeks over the zygomatic arches.
        self.cranium: Ints = np.nonzero(scalp & (up > 8))[0]
        self.rear: Ints = np.nonzero(scalp & (up > -5) & (front < -40))[0]
        cheek = (front > 12) & (front < 55) & (up > -30) & (up < 12) & ~ear
        self.cheeks: Ints = np.nonzero(cheek)[0]
        self.ear_right: Ints = np.nonzero(zone == ZONES.index("ear_right"))[0]
        self.ear_left: Ints = np.nonzero(zone == ZONES.index("ear_left"))[0]
        #: Skin behind the ears, right and left, from which they stand out.
        behind = ~ear & (np.abs(front + 30) < 8) & (np.abs(up + 5) < 8)
        near = np.nonzero(behind)[0]
        self.mastoids = (int(near[right[near].argmax()]), int(near[right[near].argmin()]))
        #: Mesh edges that each tape may cross.
        edges = _edges(template.faces)
        skin = edges[~ear[edges].any(1)]
        self.scalp_edges: Ints = skin[(up[skin] > -12).all(1)]
        self.low_edges: Ints = skin[(up[skin] < 12).all(1)]
        neck = (zone[edges] == NECK) & (edges != n - 1)  # not the cap's centre
        self.neck_edges: Ints = edges[neck.all(1)]

    def read(self, points: Floats, key: str) -> MeshReading:
        """Read one measure off the points of a head, shape (p, 3)."""
        return _HOW[key](self, points)

    def values(self, points: Floats) -> dict[str, float]:
        """Every measure of the bare head. [mm]."""
        return {key: self.read(points, key).value_mm for key in _HOW}

    def opisthocranion(self, points: Floats) -> tuple[int, Floats]:
        """
        Back of the head furthest from the glabella: nearest point, and the place.

        The place is the middle of where a caliper rests, so that it glides over
        a flat back of the head instead of jumping from vertex to vertex.
        """
        lengths = np.linalg.norm(points[self.rear] - points[self.at["glabella"]], axis=1)
        near, weight = _pressed(lengths)
        ids = self.rear[near]
        return int(ids[int(weight.argmax())]), weight @ points[ids]

    def top(self, points: Floats) -> int:
        """Highest point of the head."""
        return int(self.cranium[int(points[self.cranium, 2].argmax())])


_SCALP = ("brow", "crown", "temple_left", "temple_right", "back", "nape")
_CORNERS = ("ectocanthus_right", "ectocanthus_left")
_How: TypeAlias = "Callable[[Ruler, Floats], MeshReading]"


def _edges(faces: Ints) -> Ints:
    both = np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return np.unique(np.sort(both, 1), axis=0)


# --- calipers ---------------------------------------------------------------------


def _distance(first: str, second: str) -> _How:
    def read(ruler: Ruler, points: Floats) -> MeshReading:
        i, j = ruler.at[first], ruler.at[second]
        arm = points[i] - points[j]
        length = float(np.linalg.norm(arm))
        slope = np.array([arm, -arm]) / length
        return MeshReading(value_mm=length, points=np.array([i, j]), slope=slope)

    return read


def _coordinate(direction: Floats, *names: str) -> _How:
    """Mean coordinate of landmarks; the origin is midway between the tragia."""

    def read(ruler: Ruler, points: Floats) -> MeshReading:
        ids = np.array([ruler.at[name] for name in names])
        slope = np.tile(direction / len(ids), (len(ids), 1))
        value = float((points[ids] * slope).sum())
        return MeshReading(value_mm=value, points=ids, slope=slope)

    return read


def _pressed(height: Floats) -> tuple[Ints, Floats]:
    """
    Points that a flat caliper arm touches, and how much it leans on each.

    The reading is the highest point, but the arm's derivative is spread over all
    points within a few ``ARM_MM`` of it: were it the highest point's alone, that
    point would be pushed in and its neighbour would be the next to stand out.
    """
    near = np.nonzero(height > height.max() - 5 * ARM_MM)[0]
    weight = np.exp((height[near] - height.max()) / ARM_MM)
    return near, weight / weight.sum()


def _one_side(points: Floats, ids: Ints, direction: Floats) -> MeshReading:
    height = points[ids] @ direction
    near, weight = _pressed(height)
    slope = weight[:, None] * direction
    return MeshReading(value_mm=float(height.max()), points=ids[near], slope=slope)


def _furthest(among: Callable[[Ruler], Ints], direction: Floats) -> _How:
    """Furthest of some points along a direction, from the origin."""
    return lambda ruler, points: _one_side(points, among(ruler), direction)


def _extent(among: Callable[[Ruler], Ints], direction: Floats) -> _How:
    """Between parallel caliper arms."""

    def read(ruler: Ruler, points: Floats) -> MeshReading:
        ids = among(ruler)
        return _sum(_one_side(points, ids, direction), _one_side(points, ids, -direction))

    return read


def _sum(first: MeshReading, second: MeshReading) -> MeshReading:
    return MeshReading(
        value_mm=first.value_mm + second.value_mm,
        points=np.r_[first.points, second.points],
        slope=np.vstack([first.slope, second.slope]),
    )


def _both_ears(direction: Floats) -> _How:
    """Extent of an ear between caliper arms, mean of both ears."""
    one = _extent(lambda r: r.ear_right, direction)
    other = _extent(lambda r: r.ear_left, direction)
    return lambda ruler, points: _mean(one(ruler, points), other(ruler, points))


def _ear_protrusion(ruler: Ruler, points: Floats) -> MeshReading:
    """How far the ears stand out from the skin behind them, mean of both."""
    skin = [np.array([at]) for at in ruler.mastoids]
    right = _sum(_one_side(points, ruler.ear_right, RIGHT),
                 _one_side(points, skin[0], -RIGHT))  # fmt: skip
    left = _sum(_one_side(points, ruler.ear_left, -RIGHT),
                _one_side(points, skin[1], RIGHT))  # fmt: skip
    return _mean(right, left)


def _mean(first: MeshReading, second: MeshReading) -> MeshReading:
    both = _sum(first, second)
    return MeshReading(value_mm=both.value_mm / 2, points=both.points, slope=both.slope / 2)


def _head_length(ruler: Ruler, points: Floats) -> MeshReading:
    """Glabella to the furthest point of the back of the head."""
    glabella = ruler.at["glabella"]
    arms = points[ruler.rear] - points[glabella]
    lengths = np.linalg.norm(arms, axis=1)
    near, weight = _pressed(lengths)
    pull = weight[:, None] * arms[near] / lengths[near, None]
    return MeshReading(
        value_mm=float(lengths.max()),
        points=np.r_[ruler.rear[near], glabella],
        slope=np.vstack([pull, -pull.sum(0)]),
    )


# --- tapes ------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Plane:
    """A plane through three anchors that ride on points of the head."""

    #: Places of the anchors, shape (3, 3). [mm]
    place: Floats
    #: Point that carries each anchor, shape (3,).
    carrier: Ints

    def normal(self) -> Floats:
        across = np.cross(self.place[1] - self.place[0], self.place[2] - self.place[0])
        return np.asarray(across / np.linalg.norm(across))


def _circumference(ruler: Ruler, points: Floats) -> MeshReading:
    """Tape around glabella and opisthocranion, ears left out."""
    front = ruler.at["glabella"]
    back, place = ruler.opisthocranion(points)
    anchors = np.array([points[front], place, points[front] + RIGHT])
    plane = _Plane(place=anchors, carrier=np.array([front, back, front]))
    return _hull(points, plane, *_section(points, ruler.scalp_edges, plane))


def _neck_girth(landmark: str) -> _How:
    within = np.array([[0.0, 0, 0], RIGHT, np.cross(NECK_NORMAL, RIGHT)])

    def read(ruler: Ruler, points: Floats) -> MeshReading:
        at = ruler.at[landmark]
        plane = _Plane(place=points[at] + within, carrier=np.full(3, at))
        return _hull(points, plane, *_section(points, ruler.neck_edges, plane))

    return read


def _arc(edges: Callable[[Ruler], Ints], over: str | None) -> _How:
    """Tape from tragion to tragion over a landmark, or straight up over the top."""

    def read(ruler: Ruler, points: Floats) -> MeshReading:
        left, right = ruler.at["tragion_left"], ruler.at["tragion_right"]
        summit = right if over is None else ruler.at[over]
        top = points[right] + UP if over is None else points[summit]
        plane = _Plane(place=np.array([points[left], points[right], top]),
                       carrier=np.array([left, right, summit]))  # fmt: skip
        ends, share, place = _section(points, edges(ruler), plane)
        near = (place - points[left]) @ (top - (points[left] + points[right]) / 2) > 0
        ends = np.vstack([ends[near], [[left, left], [right, right]]])
        share = np.r_[share[near], 0.0, 0.0]
        place = np.vstack([place[near], points[[left, right]]])
        around = _hull(points, plane, ends, share, place)
        chord = _distance("tragion_right", "tragion_left")(ruler, points)
        return MeshReading(
            value_mm=around.value_mm - chord.value_mm,
            points=np.r_[around.points, chord.points],
            slope=np.vstack([around.slope, -chord.slope]),
        )

    return read


def _section(points: Floats, edges: Ints, plane: _Plane) -> tuple[Ints, Floats, Floats]:
    """Where edges cross a plane: the edges, the share of the way along, the points."""
    height = (points - plane.place[0]) @ plane.normal()
    a, b = height[edges].T
    cut = (a > 0) != (b > 0)
    ends, a, b = edges[cut], a[cut], b[cut]
    share = a / (a - b)
    place = points[ends[:, 0]] * (1 - share)[:, None] + points[ends[:, 1]] * share[:, None]
    return ends, share, place


def _hull(
    points: Floats, plane: _Plane, ends: Ints, share: Floats, place: Floats
) -> MeshReading:
    """
    Perimeter of the convex hull of points in a plane, and its slope.

    Each hull corner pulls along the two sides that meet in it. A corner on a mesh
    edge follows the edge's ends, and slides along the edge to stay in the plane;
    the plane follows its anchors, and drags the corner along the edge with it.
    """
    normal = plane.normal()
    first = plane.place[1] - plane.place[0]
    axes = np.array([first / np.linalg.norm(first)] * 2)
    axes[1] = np.cross(normal, axes[0])
    flat = (place - plane.place[0]) @ axes.T
    ring = ConvexHull(flat).vertices
    ahead = np.roll(flat[ring], -1, 0) - flat[ring]
    length = np.linalg.norm(ahead, axis=1)
    unit = ahead / length[:, None]
    pull = (np.roll(unit, 1, 0) - unit) @ axes
    ends, share = ends[ring], share[ring]
    edge = points[ends[:, 1]] - points[ends[:, 0]]
    fixed = ends[:, 0] == ends[:, 1]  # the tragia themselves, not crossings
    climb = np.where(fixed, np.inf, edge @ normal)
    drag = np.einsum("ij,ij->i", pull, edge) / climb
    pull -= drag[:, None] * normal
    anchors = (plane.place - plane.place[0]) @ axes.T
    corners = np.c_[np.ones(3), anchors].T
    weight = np.linalg.solve(corners, np.c_[np.ones(len(ring)), flat[ring]].T)
    follow = np.outer(weight @ drag, normal)
    slope = np.vstack([pull * (1 - share)[:, None], pull * share[:, None], follow])
    where = np.r_[ends.T.ravel(), plane.carrier]
    return MeshReading(value_mm=float(length.sum()), points=where, slope=slope)


_HOW: Mapping[str, _How] = MappingProxyType(
    {
        "head_circumference_mm": _circumference,
        "head_length_mm": _head_length,
        "head_breadth_mm": _extent(lambda r: r.cranium, RIGHT),
        "tragion_to_top_mm": _furthest(lambda r: r.cranium, UP),
        "bizygomatic_breadth_mm": _extent(lambda r: r.cheeks, RIGHT),
        "menton_sellion_mm": _distance("menton", "sellion"),
        "bitragion_chin_arc_mm": _arc(lambda r: r.low_edges, "pogonion"),
        "bitragion_submandibular_arc_mm": _arc(lambda r: r.low_edges, "submandibular"),
        "interpupillary_mm": _distance("cornea_right", "cornea_left"),
        "ear_breadth_mm": _both_ears(EAR_ACROSS),
        "ear_length_mm": _both_ears(EAR_LONG),
        "ear_protrusion_mm": _ear_protrusion,
        "neck_circumference_mm": _neck_girth("infrathyroid"),
        "neck_base_circumference_mm": _neck_girth("neck_front"),
        "bitragion_coronal_arc_mm": _arc(lambda r: r.scalp_edges, None),
        "bitragion_frontal_arc_mm": _arc(lambda r: r.scalp_edges, "glabella"),
        "bigonial_breadth_mm": _distance("gonion_right", "gonion_left"),
        "bitragion_breadth_mm": _distance("tragion_right", "tragion_left"),
        "sellion_depth_mm": _coordinate(FRONT, "sellion"),
        "sellion_height_mm": _coordinate(UP, "sellion"),
        "menton_depth_mm": _coordinate(FRONT, "menton"),
        "menton_height_mm": _coordinate(-UP, "menton"),
        "back_of_head_depth_mm": _furthest(lambda r: r.rear, -FRONT),
        "ectocanthus_depth_mm": _coordinate(FRONT, *_CORNERS),
        "ectocanthus_height_mm": _coordinate(UP, *_CORNERS),
    }
)

#: Measures that can be read off a head mesh.
MESH_KEYS: tuple[str, ...] = tuple(_HOW)
