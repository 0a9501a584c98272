"""Lens blanks: what fills an opening, laid flat, with its stretch and what to add."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import Delaunay, cKDTree

from fitkit.errors import BriefError, MeshError
from fitkit.fit._checks import in_range
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.flatten import FlatSheet, flatten
from fitkit.geometry.mesh import IntArray, Mesh
from fitkit.geometry.shapes import bodies, grown, lies_in, shape
from fitkit.piece.buildup import Piece
from fitkit.piece.notes import nearest_name
from fitkit.piece.openings import Opening

#: Spacing of the net that is laid flat. [mm]
NET_MM = 2.0
#: Inward corners of a lens are rounded by at least this. [mm]
ROUND_MM = 6.0
#: The wall is followed this far around the lens. [mm]
AROUND_MM = 8.0
#: Least cosine between wall and opening for wall that is followed.
FOLLOWED = 0.4
#: Fewest places of the wall that a lens is fitted to; rounds of leaving out bumps, which
#: lie off by more than so many times the median.
LEAST_PLACES, ROUNDS, OUTLIER = 24, 4, 3.0
#: A sheet that need stretch no more than this bends into place cold: ours, about what
#: clear sheet of 1 mm takes by bending alone. [%]
COLD_PERCENT = 1.0


@dataclass(frozen=True, kw_only=True)
class Forming:
    """
    What is added to a blank that has to be formed by heat.

    Raises
    ------
    BriefError
        If a number is out of range.

    Notes
    -----
    Heated without a frame, cell-cast acrylic shrinks by up to 1.5 % either way, sheet
    from a roll by up to 3 % along it and may grow by 0.5 % across: a supplier's notes on
    forming, read as given there. Try a strip of your own sheet first.
    """

    #: Added all round to hold it by and to trim off. [mm]
    trim_mm: float = 12.0
    #: Shrinkage in the heat, up the template and across it. [%]
    heat_shrink_percent: tuple[float, float] = (1.5, 1.5)

    def __post_init__(self) -> None:
        in_range("trim_mm", self.trim_mm, low=0, high=60, unit="mm")
        for shrink in self.heat_shrink_percent:
            in_range("heat_shrink_percent", shrink, low=-2, high=10, unit="%")


@dataclass(frozen=True, kw_only=True, eq=False)
class LensBlank:
    """One lens, flat, seen from outside, up the sheet; outlines are closed, (k, 2)."""

    #: Name of the opening.
    opening: str
    #: Edge of the lens once it is trimmed. [mm]
    lens_mm: FloatArray
    #: Edge of the opening in front of it. [mm]
    opening_mm: FloatArray
    #: What to cut: the lens itself, or a larger blank that is formed and trimmed. [mm]
    blank_mm: FloatArray
    #: How much lines are stretched or squeezed from flat to its place. [%]
    mean_stretch_percent: float
    worst_stretch_percent: float
    #: Whether it has to be formed by heat.
    formed: bool
    #: How far nine tenths of the wall around the opening lie off the lens, at most. [mm]
    off_wall_mm: float
    #: What of the lens laps over the inner wall, all round. [mm]
    lap_mm: float
    #: Added to a blank that is formed.
    forming: Forming


def lens_blanks(
    piece: Piece,
    placement: Placement,
    *,
    openings: Sequence[str] | None = None,
    lap_mm: float = 6.0,
    forming: Forming | None = None,
) -> tuple[LensBlank, ...]:
    """
    Lay the lenses of a piece flat.

    Parameters
    ----------
    piece : Piece
    placement : Placement
        For the size; where the piece sits does not matter.
    openings : sequence of str, optional
        Names of the openings to fill; every eye opening if left out.
    lap_mm : float
        How far the lens laps over the finished inner wall around its opening. [mm]
    forming : Forming, optional
        Added where the sheet has to stretch; 12 mm and 1.5 % if left out.

    Returns
    -------
    tuple of LensBlank

    Raises
    ------
    BriefError
        If there is no opening of a name, a number is out of range, or a lens folds when
        it is laid flat.

    Notes
    -----
    A sheet follows no small bumps: the lens is the quadratic surface nearest to the
    finished inner wall about the opening, bumps left out, square to the opening. It is
    laid flat with as little stretch as can be; see `fitkit.geometry.flatten`.
    """
    in_range("lap_mm", lap_mm, low=2, high=40, unit="mm")
    added = forming or Forming()
    chosen = _chosen(piece, openings)
    return tuple(_blank(piece, placement, each, lap_mm, added) for each in chosen)


def _chosen(piece: Piece, names: Sequence[str] | None) -> list[Opening]:
    known = {opening.name: opening for opening in piece.openings}
    if names is None:
        return [opening for opening in piece.openings if opening.kind == "eye"]
    for name in names:
        if name not in known:
            msg = f"There is no opening {name!r}. {nearest_name(name, tuple(known))}"
            raise BriefError(msg)
    return [known[name] for name in names]


def _blank(
    piece: Piece, placement: Placement, opening: Opening, lap_mm: float, forming: Forming
) -> LensBlank:
    frame = _Frame(opening, placement.size)
    rim = frame.flat(opening.rim[:-1] * placement.size)
    hole = bodies(shape([rim[:, :2]]))[0][:1]
    # no inward corner sharper than the net can follow
    whole = grown(grown(hole, by_mm=lap_mm + ROUND_MM), by_mm=-ROUND_MM)[:1]
    plate = _plate(piece, placement, frame, rim, lap_mm + AROUND_MM)
    rings = [_evenly(ring, NET_MM) for ring in (whole[0], hole[0])]
    net = _net(rings)
    height = plate.height(net)
    triangles = _triangles(net, rings[0])
    raised = np.column_stack([net, height])
    # wound so that its outside is the viewer's side of the sheet
    mesh = Mesh(raised * [-1.0, 1.0, 1.0], triangles)
    try:
        sheet = flatten(mesh)
    except MeshError as error:
        msg = f"Lens for {opening.name}: {error}"
        raise BriefError(msg) from None
    flat = _upright(sheet)
    first, second = len(rings[0]), len(rings[0]) + len(rings[1])
    lens, sight = flat[:first], flat[first:second]
    formed = sheet.worst_percent > COLD_PERCENT
    return LensBlank(
        opening=opening.name,
        lens_mm=lens,
        opening_mm=sight,
        blank_mm=_with_allowance(lens, forming) if formed else lens,
        mean_stretch_percent=sheet.mean_percent,
        worst_stretch_percent=sheet.worst_percent,
        formed=formed,
        off_wall_mm=plate.off_mm,
        lap_mm=lap_mm,
        forming=forming,
    )


class _Frame:
    """Across, up, and away from the head, about an opening at its full size."""

    def __init__(self, opening: Opening, size: FloatArray) -> None:
        across, up = opening.axes * size
        across = across / np.linalg.norm(across)
        up = up - (up @ across) * across
        up = up / np.linalg.norm(up)
        self._axes = np.stack([across, up, np.cross(up, across)])
        self._origin = opening.plane_point * size

    def flat(self, points: FloatArray) -> FloatArray:
        """Carry points of the sized piece, (n, 3), to across, up, away, (n, 3)."""
        carried: FloatArray = (points - self._origin) @ self._axes.T
        return carried

    @property
    def away(self) -> FloatArray:
        return np.asarray(self._axes[2])


@dataclass(frozen=True, eq=False)
class _Plate:
    """A quadratic surface over the plane of an opening."""

    #: Of 1, across, up, across², across up, up²; mm throughout.
    terms: FloatArray
    #: How far nine tenths of the wall around the opening lie off it, at most. [mm]
    off_mm: float

    def height(self, flat: FloatArray) -> FloatArray:
        """Height over the plane at points (n, 2), shape (n,), in mm."""
        return np.asarray(_quadratic(flat) @ self.terms)


def _plate(
    piece: Piece, placement: Placement, frame: _Frame, rim: FloatArray, most_mm: float
) -> _Plate:
    """Fit the lens to the finished inner wall about its opening."""
    facing = piece.facing.scaled(placement.size)
    normals = facing.vertex_normals
    inner = frame.flat(facing.vertices - piece.lining_mm * normals)
    off_rim = cKDTree(rim).query(inner, distance_upper_bound=most_mm)[0]
    rows = np.nonzero((normals @ frame.away > FOLLOWED) & np.isfinite(off_rim))[0]
    if len(rows) < LEAST_PLACES:
        msg = (
            "The wall around the opening is too steep or too narrow to carry a lens: give "
            "a smaller lap_mm, or glue a flange in first."
        )
        raise BriefError(msg)
    places = inner[rows]
    kept = np.ones(len(places), dtype=bool)
    for _ in range(ROUNDS):
        terms = np.linalg.lstsq(_quadratic(places[kept, :2]), places[kept, 2], rcond=None)[
            0
        ]
        off = np.abs(_quadratic(places[:, :2]) @ terms - places[:, 2])
        kept = off <= max(OUTLIER * float(np.median(off)), 0.2)
    return _Plate(terms=terms, off_mm=float(np.quantile(off, 0.9)))


def _quadratic(flat: FloatArray) -> FloatArray:
    across, up = flat.T
    return np.column_stack([0 * across + 1, across, up, across**2, across * up, up**2])


def _evenly(outline: FloatArray, step: float) -> FloatArray:
    ring = np.vstack([outline, outline[:1]])
    along = np.append(0.0, np.linalg.norm(np.diff(ring, axis=0), axis=1).cumsum())
    at = np.linspace(0.0, along[-1], max(12, round(along[-1] / step)), endpoint=False)
    return np.column_stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)])


def _net(rings: Sequence[FloatArray]) -> FloatArray:
    """Give both rings, then an even net within the outer one, clear of both."""
    low, high = rings[0].min(axis=0), rings[0].max(axis=0)
    rows = np.arange(low[1], high[1], NET_MM * np.sqrt(3) / 2)
    across, up = np.meshgrid(np.arange(low[0], high[0] + NET_MM, NET_MM), rows)
    across[1::2] += NET_MM / 2
    nodes = np.column_stack([across.ravel(), up.ravel()])
    edge = np.concatenate(rings)
    nodes = nodes[lies_in(nodes, rings[:1])]
    # so far off that each step of the rings stays an edge of the net
    nodes = nodes[cKDTree(edge).query(nodes)[0] > 0.75 * NET_MM]
    return np.concatenate([edge, nodes])


def _triangles(net: FloatArray, outline: FloatArray) -> IntArray:
    """Join a net within an outline; wound clockwise on paper, across to the right."""
    found = Delaunay(net).simplices.astype(np.int64)
    a, b, c = np.moveaxis(net[found], 1, 0)
    doubled = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    kept = lies_in(net[found].mean(axis=1), [outline]) & (np.abs(doubled) > 1e-3)
    found[doubled > 0] = found[doubled > 0][:, ::-1]
    return np.asarray(found[kept])


def _upright(sheet: FlatSheet) -> FloatArray:
    """Turn a sheet so that up on the piece is up on paper."""
    height = sheet.mesh.vertices[:, 1]
    slope = np.linalg.lstsq(sheet.flat, height - height.mean(), rcond=None)[0]
    slope = slope / np.linalg.norm(slope)
    turn = np.array([[slope[1], -slope[0]], [slope[0], slope[1]]])
    upright: FloatArray = sheet.flat @ turn.T
    return upright


def _with_allowance(lens: FloatArray, forming: Forming) -> FloatArray:
    larger = grown(shape([lens]), by_mm=forming.trim_mm)[0]
    up, across = forming.heat_shrink_percent
    middle = (larger.min(axis=0) + larger.max(axis=0)) / 2
    scale = 1.0 / (1.0 - np.array([across, up]) / 100.0)
    return np.asarray(middle + scale * (larger - middle))
