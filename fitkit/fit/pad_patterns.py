"""Pads laid flat: outline, stretch, grain, and a split where the sheet would not follow."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fitkit.errors import BriefError, MeshError
from fitkit.fit._checks import in_range
from fitkit.fit._sample import vertex_areas_mm2
from fitkit.fit.pads import HeadInPiece, Pad, head_in_piece
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.flatten import FlatSheet, edge_parts, flatten
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.regions import clipped, evener
from fitkit.piece.buildup import Piece
from fitkit.wearer.wearer import Wearer

#: A piece of a pad smaller than this, or than this share of it, is left out. [mm²]
CRUMB_MM2, CRUMB_SHARE = 100.0, 0.05
#: How far the edge of a pad is evened out over the head. [mm]
EVEN_MM = 9.0
#: Folds narrower than this are not followed by a sheet of foam. [mm]
BEND_MM = 5.0
#: Halvings that find the level at which it keeps its area.
HALVINGS = 9
#: A pad is split into at most this many times two pieces.
MOST_SPLITS = 3
#: Outlines are walked in steps of this and smoothed over a bell of this width. [mm]
STEP_MM, SMOOTH_MM = 1.5, 4.0
#: Share of the area that the worst stretch leaves out: corners of single triangles.
SPARED_SHARE = 0.01


@dataclass(frozen=True, kw_only=True, eq=False)
class PadPattern:
    """One piece of foam to cut, 1:1, seen on the side that is glued to the wall."""

    #: Name of the pad, with a number where it is split.
    name: str
    foam: str
    thickness_mm: float
    #: Closed outlines, the outer one first, each of shape (k, 2); the first point is not
    #: repeated. The grain runs up the sheet. [mm]
    outlines_mm: tuple[FloatArray, ...]
    #: Where the middle of the arrow lies, shape (2,). [mm]
    grain_at_mm: FloatArray
    #: What the grain arrow points to on the head.
    grain: str
    #: Of the flat sheet. [mm²]
    area_mm2: float
    #: How much lines are stretched or squeezed when it is bent to the wall; the worst of
    #: all but the worst hundredth of the area, corners of single triangles. [percent]
    mean_stretch_percent: float
    worst_stretch_percent: float
    #: Whether all but a crumb of it keeps the bound that was asked.
    keeps_bound: bool


@dataclass(frozen=True, kw_only=True)
class CutSheet:
    """What is cut from sheets of one foam at one thickness."""

    foam: str
    thickness_mm: float
    #: How many pieces.
    pieces: int
    #: Of all of them, flat; what falls between them is not counted. [mm²]
    area_mm2: float


def pad_patterns(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    pads: Sequence[Pad],
    most_stretch_percent: float = 8.0,
) -> tuple[PadPattern, ...]:
    """
    Lay every pad flat.

    Parameters
    ----------
    wearer, piece, placement
    pads : sequence of Pad
    most_stretch_percent : float
        A pad that would stretch more is split across its length, up to eight pieces.
        A sheet of foam takes some percent without puckering. [percent]

    Returns
    -------
    tuple of PadPattern
        In the order of the pads. One that is still over the bound says so.

    Raises
    ------
    BriefError
        If a pad is too small to cut, or folds when laid flat however it is split.

    Notes
    -----
    A pad bends about the middle of its thickness: what is laid flat lies halfway between
    the head and the wall, or half its thickness off the head where the wall is farther,
    with folds narrower than 5 mm evened out. It is cut to that size; bent, its wall side
    is pulled long and its head side pushed short.
    """
    low, high = 0.5, 50.0
    name = "most_stretch_percent"
    in_range(name, most_stretch_percent, low=low, high=high, unit="%")
    head, walls = head_in_piece(wearer, piece, placement)
    on_wall = head.start.local(wearer.head.vertices[head.rows])
    height = np.zeros(len(wearer.zone))
    above = np.einsum("ni,ni->n", on_wall - walls.wall, walls.away)
    height[head.rows] = np.maximum(above - piece.lining_mm, 0.0)
    bend = evener(wearer.head, spread_mm=BEND_MM)
    even = evener(wearer.head, spread_mm=EVEN_MM)
    found: list[PadPattern] = []
    for pad in pads:
        off = np.minimum(height, pad.thickness_mm) / 2  # a pad fills no more than itself
        middle = wearer.head.vertices + off[:, None] * wearer.head.vertex_normals
        smooth = np.column_stack([bend(axis) for axis in middle.T])
        region = _region(head, pad, wearer.head.with_vertices(smooth), even)
        found += _patterns(pad, region, most_stretch_percent)
    return tuple(found)


def cutting_list(patterns: Sequence[PadPattern]) -> tuple[CutSheet, ...]:
    """Count pieces and add up their flat area by foam and thickness, in their order."""
    kinds: dict[tuple[str, float], list[PadPattern]] = {}
    for pattern in patterns:
        kinds.setdefault((pattern.foam, pattern.thickness_mm), []).append(pattern)
    return tuple(
        CutSheet(
            foam=foam,
            thickness_mm=thickness,
            pieces=len(each),
            area_mm2=sum(one.area_mm2 for one in each),
        )
        for (foam, thickness), each in kinds.items()
    )


def _region(
    head: HeadInPiece, pad: Pad, filling: Mesh, even: Callable[[FloatArray], FloatArray]
) -> Mesh:
    """
    Cut a pad out of the filling between head and wall, with an even edge.

    The region is evened out over the head, so that horns and teeth that no knife would
    follow are gone, and cut where it keeps its area.
    """
    under = pad.covers(head.wearer).astype(float)
    field, area = even(under), float(vertex_areas_mm2(filling) @ under)
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        level = (low + high) / 2
        region = clipped(filling, field, level=level)
        smaller = not len(region.faces) or region.area_mm2 < area
        low, high = (low, level) if smaller else (level, high)
    return clipped(filling, field, level=low)


def _patterns(pad: Pad, region: Mesh, most: float) -> list[PadPattern]:
    least = max(CRUMB_MM2, CRUMB_SHARE * region.area_mm2)
    sheets: list[FlatSheet] = []
    for part in edge_parts(region):
        if part.area_mm2 >= least:
            sheets += _sheets(pad, part, most / 100.0, MOST_SPLITS)
    if not sheets:
        msg = f"{pad.name} has no piece over {CRUMB_MM2:g} mm²: too small to cut."
        raise BriefError(msg)
    names = [pad.name]
    if len(sheets) > 1:
        names = [f"{pad.name} {number}" for number in range(1, len(sheets) + 1)]
    return [
        _pattern(name, pad, sheet, most / 100.0)
        for name, sheet in zip(names, sheets, strict=True)
    ]


def _sheets(pad: Pad, part: Mesh, most: float, splits: int) -> Iterator[FlatSheet]:
    """Lay one part flat, or its halves where it would stretch too much or fold."""
    sheet = None
    try:
        sheet = flatten(part)
    except MeshError as error:
        if splits == 0:
            msg = f"{pad.name}: {error}"
            raise BriefError(msg) from None
    if sheet is not None and (splits == 0 or _worst(sheet) <= most):
        yield sheet
        return
    for half in _halves(part):
        if half.area_mm2 >= CRUMB_MM2:
            yield from _sheets(pad, half, most, splits - 1)


def _worst(sheet: FlatSheet) -> float:
    """Largest stretch or squeeze of all but the worst hundredth of the area."""
    most = np.abs(sheet.stretch - 1.0).max(axis=1)
    order = np.argsort(most)
    area = np.cumsum(sheet.mesh.areas_mm2[order])
    return float(most[order][np.searchsorted(area, (1 - SPARED_SHARE) * area[-1])])


def _halves(part: Mesh) -> Iterator[Mesh]:
    """Cut a part across its length, straight through its triangles."""
    middle = np.average(part.centroids, axis=0, weights=part.areas_mm2)
    off = part.centroids - middle
    way = np.linalg.eigh((off * part.areas_mm2[:, None]).T @ off)[1][:, -1]
    ahead = (part.vertices - middle) @ way
    for side in (ahead, -ahead):
        half = clipped(part, side, level=0.0)
        if len(half.faces):
            yield from edge_parts(half)


def _pattern(name: str, pad: Pad, sheet: FlatSheet, most: float) -> PadPattern:
    mesh = sheet.mesh
    grain, way = _grain(mesh)
    turned = sheet.flat @ _upright(sheet, way).T
    # seen from the wall, that is from outside the head
    loops = tuple(_smooth(turned[loop]) for loop in mesh.boundary_loops)
    return PadPattern(
        name=name,
        foam=pad.foam.name,
        thickness_mm=pad.thickness_mm,
        outlines_mm=loops,
        grain_at_mm=turned[np.unique(mesh.faces)].mean(axis=0),
        grain=grain,
        area_mm2=sheet.flat_area_mm2,
        mean_stretch_percent=sheet.mean_percent,
        worst_stretch_percent=100.0 * _worst(sheet),
        keeps_bound=_worst(sheet) <= most,
    )


def _smooth(outline: FloatArray) -> FloatArray:
    """
    Take the teeth of the head's triangles off an outline, and keep its area.

    The outline is walked in even steps and averaged over a bell about each.
    """
    ring = np.vstack([outline, outline[:1]])
    walked = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(ring, axis=0), axis=1)))
    count = max(12, round(float(walked[-1]) / STEP_MM))
    at = np.arange(count) * walked[-1] / count
    even = np.column_stack([np.interp(at, walked, ring[:, axis]) for axis in (0, 1)])
    blur = min(SMOOTH_MM, float(walked[-1]) / 30)
    waves = np.fft.rfftfreq(count, walked[-1] / count)
    bell = np.exp(-2 * (np.pi * blur * waves) ** 2)[:, None]
    soft = np.fft.irfft(np.fft.rfft(even, axis=0) * bell, n=count, axis=0)
    middle = soft.mean(axis=0)
    factor = np.sqrt(abs(_area(outline) / _area(soft)))
    smooth: FloatArray = middle + factor * (soft - middle)
    return smooth


def _area(outline: FloatArray) -> float:
    right, up = outline.T
    return float(np.sum(right * np.roll(up, -1) - up * np.roll(right, -1)) / 2)


def _grain(mesh: Mesh) -> tuple[str, FloatArray]:
    """Up for pads that stand, forward for pads that lie."""
    normal = mesh.areas_mm2 @ mesh.normals
    if abs(normal[2]) > 0.7 * np.linalg.norm(normal):
        return "front", np.array([0.0, 1.0, 0.0])
    return "up", np.array([0.0, 0.0, 1.0])


def _upright(sheet: FlatSheet, way: FloatArray) -> FloatArray:
    """Rotation of the sheet that brings a direction in space to point up it, (2, 2)."""
    mesh = sheet.mesh
    used = np.unique(mesh.faces)
    height = mesh.vertices[used] @ way
    flat = sheet.flat[used] - sheet.flat[used].mean(axis=0)
    slope = np.linalg.lstsq(flat, height - height.mean(), rcond=None)[0]
    slope = slope / np.linalg.norm(slope)
    return np.array([[slope[1], -slope[0]], [slope[0], slope[1]]])
