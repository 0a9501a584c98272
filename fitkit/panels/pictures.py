"""Small line pictures of the head that show where tape and caliper go."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.chains import chain
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.rays import RayScene
from fitkit.geometry.sections import hull_loop, section
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.template import Template, load_template
from fitkit.wearer.zones import ZONES

Floats = NDArray[np.float64]
#: A path in millimetres, shape (k, 3).
Path3 = Floats

RIGHT, FRONT, UP = np.eye(3)
#: Lines bend more than this to be drawn as a crease of the face. [deg]
CREASE_DEG = 38.0
#: Zones in which creases are drawn: elsewhere they are only noise.
CREASED = ("ear_left", "ear_right", "eye_left", "eye_right", "mouth", "nose")
#: Lines shorter than this are left out. [mm]
SHORTEST_MM = 5.0
#: A tape lies this far off the skin. [mm]
TAPE_MM = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """A way of looking at the head: orthographic, from far off."""

    #: Unit vector towards the viewer, head frame.
    toward: Floats
    #: Unit vectors to the right and up in the picture.
    across: Floats
    upward: Floats

    def flat(self, points: Floats) -> Floats:
        """Project points (k, 3) to the picture, right and down, (k, 2). [mm]."""
        return np.column_stack([points @ self.across, -(points @ self.upward)])


def _look(*, turn_deg: float, raise_deg: float) -> Look:
    """Look from ahead, turned to the wearer's right and raised."""
    turn, lift = np.radians([turn_deg, raise_deg])
    level = np.cos(turn) * FRONT + np.sin(turn) * RIGHT
    toward = np.cos(lift) * level + np.sin(lift) * UP
    across = np.sin(turn) * FRONT - np.cos(turn) * RIGHT
    return Look(toward=toward, across=across, upward=np.cross(toward, across))


#: The looks that pictures use.
LOOKS: Mapping[str, Look] = MappingProxyType(
    {
        "side": _look(turn_deg=90, raise_deg=0),
        "front": _look(turn_deg=0, raise_deg=0),
        "turned": _look(turn_deg=52, raise_deg=12),
        "low": _look(turn_deg=48, raise_deg=-14),
        "high": _look(turn_deg=38, raise_deg=38),
    }
)


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Where one measure runs."""

    #: Out of ``LOOKS``.
    look: str
    #: SVG path data of the tape or caliper where it is seen, and where the head hides
    #: it (or a line that only leads to a landmark).
    seen: str
    hidden: str
    #: End points to be marked, right and down. [mm]
    ends: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Head:
    template: Template
    mesh: Mesh
    rays: RayScene

    def at(self, name: str) -> Floats:
        return np.asarray(self.template.mean_mm[self.template.landmarks[name]])

    def furthest(self, zones: tuple[str, ...], way: Floats, *, above_mm: float) -> Floats:
        """Point of some zones that lies furthest along a way."""
        rows = np.isin(self.template.zone, [ZONES.index(zone) for zone in zones])
        points = self.mesh.vertices[rows]
        points = points[points[:, 2] > above_mm]
        return np.asarray(points[np.argmax(points @ way)])


@cache
def _head() -> _Head:
    template = load_template()
    mesh = Mesh(template.mean_mm[: template.n_vertices], template.faces)
    return _Head(template=template, mesh=mesh, rays=RayScene(mesh))


# -- the head in lines ------------------------------------------------------------------


@cache
def head_lines(look: str) -> str:
    """
    Give the head as line art, as SVG path data in mm.

    Outlines are where the skin turns away from the viewer; creases are drawn at ears,
    eyes, nose and mouth; what the head hides is left out.
    """
    head, view = _head(), LOOKS[look]
    edges, normals = _edges_with_normals(head.mesh)
    turns_away = (normals[:, 0] @ view.toward > 0) != (normals[:, 1] @ view.toward > 0)
    bend = np.einsum("ij,ij->i", normals[:, 0], normals[:, 1])
    zones = [ZONES.index(zone) for zone in CREASED]
    creased = (bend < np.cos(np.radians(CREASE_DEG))) & np.isin(
        head.template.zone[edges], zones
    ).all(axis=1)
    drawn = edges[turns_away | creased]
    middle = head.mesh.vertices[drawn].mean(axis=1)
    lines = chain(drawn[_seen(middle, view)])
    flat = [view.flat(head.mesh.vertices[line]) for line in lines]
    return " ".join(_path_data(line) for line in flat if _length(line) > SHORTEST_MM)


def _edges_with_normals(mesh: Mesh) -> tuple[NDArray[np.int64], Floats]:
    """Edges between two faces, (e, 2), and the normals of both, (e, 2, 3)."""
    order = np.argsort(mesh.face_edges.ravel(), kind="stable")
    pairs = order.reshape(-1, 2) // 3  # the head is closed: two faces an edge
    return mesh.edges, mesh.normals[pairs]


def _seen(points: Floats, view: Look) -> NDArray[np.bool_]:
    """Tell which points are not hidden by the head."""
    away = np.tile(view.toward, (len(points), 1))
    return ~_head().rays.blocked(points + 1.2 * view.toward, away)


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _path_data(line: Floats) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line)


def head_box(look: str) -> tuple[float, float, float, float]:
    """Give left, top, width and height of the head in a picture. [mm]."""
    flat = LOOKS[look].flat(_head().mesh.vertices)
    low, high = flat.min(axis=0) - 8, flat.max(axis=0) + 8
    return (*low.tolist(), *(high - low).tolist())


# -- tapes and calipers -----------------------------------------------------------------


def measure_picture(key: str) -> Picture | None:
    """
    Show where a measure runs; None for one that is not taken on the head itself.

    Parameters
    ----------
    key : str
        Of ``CATALOGUE``.
    """
    if key not in _RUNS:
        return None
    look, runs = _RUNS[key]
    view, kind = LOOKS[look], CATALOGUE[key].kind
    first, *others = runs(_head())
    seen, hidden = _path_data(view.flat(first)), ""
    if kind in ("girth", "arc"):
        seen, hidden = _split(_fine(first), view)
    aside = [_path_data(view.flat(path)) for path in others]
    ends = [] if kind == "girth" else view.flat(first[[0, -1]]).tolist()
    return Picture(
        look=look,
        seen=seen,
        hidden=" ".join([hidden, *aside]).strip(),
        ends=tuple((round(x, 1), round(y, 1)) for x, y in ends),
    )


def _fine(path: Path3) -> Path3:
    """Put points on a path every 2 mm, so that it can be cut where it is hidden."""
    steps = np.linalg.norm(np.diff(path, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    at = np.linspace(0.0, along[-1], max(int(along[-1] / 2.0), 2))
    return np.column_stack([np.interp(at, along, path[:, k]) for k in range(3)])


def _split(path: Path3, view: Look) -> tuple[str, str]:
    """Give path data of the stretches that are seen and of those that are hidden."""
    seen = _seen(path, view)
    flat = view.flat(path)
    parts: dict[bool, list[str]] = {True: [], False: []}
    start = 0
    for at in range(1, len(path) + 1):
        if at == len(path) or seen[at] != seen[start]:
            parts[bool(seen[start])].append(_path_data(flat[start : at + 1]))
            start = at
    return " ".join(parts[True]), " ".join(parts[False])


_Run = Callable[[_Head], list[Path3]]


def _tape_round(*anchors: str, normal: Floats | None = None) -> _Run:
    """Closed tape through landmarks of the midplane, level across."""

    def run(head: _Head) -> list[Path3]:
        at = head.at(anchors[0])
        across = normal
        if across is None:
            across = np.cross(RIGHT, head.at(anchors[1]) - at)
        return [_pulled_tight(head, at, across, lambda points: points)]

    return run


def _tape_over(landmark: str | None) -> _Run:
    """Open tape from tragion to tragion over a landmark, or straight up over the top."""

    def run(head: _Head) -> list[Path3]:
        left, right = head.at("tragion_left"), head.at("tragion_right")
        over = right + UP if landmark is None else head.at(landmark)
        middle = (left + right) / 2
        normal = np.cross(right - left, over - left)
        summit = over - middle if landmark else UP

        def beyond(points: Path3) -> Path3:
            return np.vstack([points[(points - middle) @ summit > 0], left, right])

        return [_opened(_pulled_tight(head, left, normal, beyond), left, right)]

    return run


def _opened(loop: Path3, left: Floats, right: Floats) -> Path3:
    """Take the chord out of a closed tape: what is left runs from left to right."""
    first, last = (
        int(np.argmin(np.linalg.norm(loop[:-1] - end, axis=1))) for end in (left, right)
    )
    ring = np.roll(loop[:-1], -first, axis=0)
    chord_first = (last - first) % len(ring) == 1
    return np.vstack([ring[:1], ring[:0:-1]]) if chord_first else ring


def _pulled_tight(
    head: _Head, at: Floats, normal: Floats, chosen: Callable[[Path3], Path3]
) -> Path3:
    """Hull of a plane section of the head without ears, a little off the skin; closed."""
    ears = [ZONES.index("ear_left"), ZONES.index("ear_right")]
    ear = np.isin(head.template.zone[head.mesh.faces], ears).any(axis=1)
    skin = np.nonzero(~ear)[0]
    lines = section(head.mesh, point_mm=at, normal=normal, faces=skin)
    points = chosen(np.vstack(lines))
    loop = hull_loop(points, normal=normal)
    out = loop - points.mean(axis=0)
    return np.asarray(loop + TAPE_MM * out / np.linalg.norm(out, axis=1, keepdims=True))


def _between(first: str, second: str) -> _Run:
    return lambda head: [np.array([head.at(first), head.at(second)])]


def _wide(zones: tuple[str, ...], *, above_mm: float) -> _Run:
    def run(head: _Head) -> list[Path3]:
        right = head.furthest(zones, RIGHT, above_mm=above_mm)
        return [np.array([right, right * [-1, 1, 1]])]

    return run


def _along(way: Floats, name: str) -> _Run:
    """From the tragion along one axis to the level of a landmark, then to it."""

    def run(head: _Head) -> list[Path3]:
        at = head.at(name) * (1 - np.abs(RIGHT)) + head.at("tragion_right") * RIGHT
        tragion = head.at("tragion_right")
        corner = tragion + way * ((at - tragion) @ way)
        return [np.array([tragion, corner]), np.array([corner, at])]

    return run


def _ear(way: Floats) -> _Run:
    def run(head: _Head) -> list[Path3]:
        ends = [head.furthest(("ear_right",), w, above_mm=-80) for w in (-way, way)]
        middle = (ends[0] + ends[1]) / 2
        return [np.array([middle + way * ((end - middle) @ way) for end in ends])]

    return run


def _ear_out(head: _Head) -> list[Path3]:
    edge = head.furthest(("ear_right",), RIGHT, above_mm=-80)
    bone = head.furthest(("back", "temple_right", "nape"), RIGHT, above_mm=-20)
    return [np.array([edge * (1 - RIGHT) + bone * RIGHT, edge])]


def _downward(landmark: str, *, ahead_mm: float, drop_mm: float) -> _Run:
    """Straight down beside a landmark of the midplane, as the jaw opens."""

    def run(head: _Head) -> list[Path3]:
        at = head.at(landmark) + ahead_mm * FRONT
        return [np.array([at, at - drop_mm * UP])]

    return run


_CRANIUM = ("crown", "temple_left", "temple_right", "back")
_EAR_LONG = np.array([0.0, -0.2588, 0.9659])
_EAR_ACROSS = np.array([0.0, 0.9659, 0.2588])
_NECK = np.array([0.0, 0.259, 0.966])
#: Look and course of every measure that is taken on the head.
_RUNS: Mapping[str, tuple[str, _Run]] = MappingProxyType(
    {
        "head_circumference_mm": ("turned", _tape_round("glabella", "opisthocranion")),
        "head_length_mm": ("side", _between("glabella", "opisthocranion")),
        "head_breadth_mm": ("front", _wide(_CRANIUM, above_mm=8)),
        "tragion_to_top_mm": ("side", _along(UP, "vertex")),
        "bizygomatic_breadth_mm": (
            "front",
            _wide(("cheek_left", "cheek_right"), above_mm=-25),
        ),
        "menton_sellion_mm": ("turned", _between("menton", "sellion")),
        "bitragion_chin_arc_mm": ("turned", _tape_over("pogonion")),
        "bitragion_submandibular_arc_mm": ("low", _tape_over("submandibular")),
        "interpupillary_mm": ("front", _between("cornea_right", "cornea_left")),
        "ear_breadth_mm": ("side", _ear(_EAR_ACROSS)),
        "ear_length_mm": ("side", _ear(_EAR_LONG)),
        "ear_protrusion_mm": ("front", _ear_out),
        "neck_circumference_mm": ("turned", _tape_round("infrathyroid", normal=_NECK)),
        "neck_base_circumference_mm": ("turned", _tape_round("neck_front", normal=_NECK)),
        "bitragion_coronal_arc_mm": ("turned", _tape_over(None)),
        "bitragion_frontal_arc_mm": ("high", _tape_over("glabella")),
        "bigonial_breadth_mm": ("front", _between("gonion_right", "gonion_left")),
        "bitragion_breadth_mm": ("front", _between("tragion_right", "tragion_left")),
        "sellion_depth_mm": ("side", _along(FRONT, "sellion")),
        "sellion_height_mm": ("side", _along(UP, "sellion")),
        "menton_depth_mm": ("side", _along(FRONT, "menton")),
        "menton_height_mm": ("side", _along(-UP, "menton")),
        "back_of_head_depth_mm": ("side", _along(-FRONT, "opisthocranion")),
        "ectocanthus_depth_mm": ("side", _along(FRONT, "ectocanthus_right")),
        "mouth_opening_mm": ("side", _downward("stomion_upper", ahead_mm=9, drop_mm=42)),
        "chin_drop_mm": ("side", _downward("menton", ahead_mm=0, drop_mm=38)),
        "ectocanthus_height_mm": ("side", _along(UP, "ectocanthus_right")),
    }
)
