"""Build-up of a piece: layers, shrinkage, and the finished surfaces at a size."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from fitkit.errors import DesignError, range_message
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, FloatArray, Mesh
from fitkit.geometry.solids import offset_surface
from fitkit.piece.design import Design
from fitkit.piece.facing import Split, split_by_facing
from fitkit.piece.notes import (
    HingeNote,
    LayerNote,
    Notes,
    layer_thickness_mm,
    shrinkage_percent,
)
from fitkit.piece.openings import Opening, find_openings, opening_words
from fitkit.piece.rims import rim_points

#: Most that all layers of one side may add up to. [mm]
LAYERS_LIMIT_MM = 150.0
#: Sizes that a piece may be made at, as factors of the drawn one.
LEAST_SIZE, MOST_SIZE = 0.5, 2.0
#: Grid step of finished surfaces unless another is asked for. [mm]
RESOLUTION_MM = 2.5
#: A wall is not measured nearer to an opening than this many times its thickness.
CLEAR_WALLS = 2.0
#: Places at which a wall is sampled, at most about.
WALL_SAMPLES = 20_000


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of the build-up."""

    name: str
    #: Thickness, above 0. [mm]
    thickness_mm: float

    def __post_init__(self) -> None:
        layer_thickness_mm(self.thickness_mm)


@dataclass(frozen=True, kw_only=True)
class BuildUp:
    """
    What is added to the drawn surface, and what the copy steps take away.

    Raises
    ------
    DesignError
        If a thickness is not above 0, the layers of a side exceed 150 mm, or a copy
        step shrinks by less than 0 % or more than 10 %.
    """

    #: Layers that grow away from the head, in order of making.
    outward: tuple[Layer, ...] = ()
    #: Layers that grow towards the head, in order of making.
    inward: tuple[Layer, ...] = ()
    #: Linear shrinkage of each copy step, in order. [%]
    shrink_percent: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        for shrink in self.shrink_percent:
            shrinkage_percent(shrink)
        for side, total in (("outward", self.growth_mm), ("inward", self.lining_mm)):
            if total > LAYERS_LIMIT_MM:
                msg = range_message(
                    f"{side} layers together",
                    low=0,
                    high=LAYERS_LIMIT_MM,
                    unit="mm",
                    got=f"{total:g}",
                )
                raise DesignError(msg)

    @property
    def growth_mm(self) -> float:
        """Thickness of all outward layers in mm, not scaled by size."""
        return math.fsum(layer.thickness_mm for layer in self.outward)

    @property
    def lining_mm(self) -> float:
        """Thickness of all inward layers in mm, not scaled by size."""
        return math.fsum(layer.thickness_mm for layer in self.inward)

    @property
    def wall_mm(self) -> float:
        """Thickness of all layers in mm, without a wall that is drawn."""
        return self.growth_mm + self.lining_mm

    @property
    def shrink_factors(self) -> tuple[float, ...]:
        """What is left of a length after each copy step: 1 - s."""
        return tuple(1 - shrink / 100 for shrink in self.shrink_percent)

    @property
    def master_scale(self) -> float:
        """
        Size to make the master at, over the finished size: the product of 1 / (1 - s).

        Shrinkages chain; they do not add up.

        Examples
        --------
        >>> round(BuildUp(shrink_percent=(0.1, 0.4, 0.3)).master_scale, 6)
        1.008045
        """
        return 1 / math.prod(self.shrink_factors)

    def shrunk_mm(self, *, master_mm: float) -> float:
        """
        Give the finished length of a length on the master, in mm.

        Examples
        --------
        >>> round(BuildUp(shrink_percent=(1.5,)).shrunk_mm(master_mm=590), 2)
        581.15
        """
        return master_mm * math.prod(self.shrink_factors)


@dataclass(frozen=True, kw_only=True, eq=False)
class Hinge:
    """The jaw's hinge, as drawn."""

    #: Ends of the axis on the wearer's left and right, shape (3,). [mm]
    left_mm: FloatArray
    right_mm: FloatArray
    #: Widest opening, from the drawn pose; opening is positive. [deg]
    open_stop_deg: float
    #: Where it stops closing, from the drawn pose; opening is positive. [deg]
    close_stop_deg: float

    @property
    def middle_mm(self) -> FloatArray:
        """Middle of the axis in mm, shape (3,)."""
        return (self.left_mm + self.right_mm) / 2

    @property
    def axis(self) -> FloatArray:
        """Unit direction from the left end to the right, shape (3,)."""
        along = self.right_mm - self.left_mm
        return np.asarray(along / np.linalg.norm(along), dtype=float)


@dataclass(frozen=True, kw_only=True, eq=False)
class Piece:
    """A headpiece with its build-up, at the drawn size."""

    name: str
    design: Design
    build_up: BuildUp
    #: Drawn surface that faces the head, all parts together, open at the openings;
    #: wound away from the head: its winding number is about 1 in the cavity. [mm]
    facing: Mesh
    #: Drawn outer surface, wound outward; with a drawn wall, its rims too. [mm]
    skin: Mesh
    #: From `facing` to the finished inner wall, towards the head; not scaled. [mm]
    lining_mm: float
    #: From `skin` to the finished outer surface, outward; not scaled. [mm]
    growth_mm: float
    openings: tuple[Opening, ...]
    #: None if the piece has no jaw that turns.
    hinge: Hinge | None
    #: Which faces of `facing` belong to the jaw, shape (m,).
    jaw_faces: BoolArray
    #: Kept tree of `facing`.
    tree: SurfaceTree
    #: What to look at, in words; empty means nothing.
    cautions: tuple[str, ...]

    @cached_property
    def skin_tree(self) -> SurfaceTree:
        """Kept tree of `skin`."""
        return SurfaceTree(self.skin)


@dataclass(frozen=True, kw_only=True, eq=False)
class Wall:
    """Thickness of the finished wall, layers included, sampled on the inner wall."""

    #: Where it was sampled on the surface that faces the head, shape (n, 3). [mm]
    at_mm: FloatArray
    #: Thickness there, shape (n,). [mm]
    thickness_mm: FloatArray
    least_mm: float
    median_mm: float
    #: Where it is least, shape (3,). [mm]
    thinnest_at_mm: FloatArray


def finish(design: Design, *, build_up: BuildUp | None = None) -> Piece:
    """
    Make a piece of a design: what faces the head, its openings, its layers.

    Parameters
    ----------
    design : Design
    build_up : BuildUp, optional
        Layers and shrinkage; those in the notes if not given.

    Raises
    ------
    DesignError
        If the origin does not lie in a cavity of the piece, or the skin has neither a
        drawn wall nor layers that could make one.
    """
    build_up = build_up or build_up_of(design.notes)
    if design.surface != "solid" and build_up.wall_mm == 0:
        msg = (
            f"{design.name}: an {design.surface} skin has no wall of its own; give its "
            'layers, for example "layers": {"inward": [{"name": "laminate", '
            '"thickness_mm": 3}]}.'
        )
        raise DesignError(msg)
    split = split_by_facing(design.parts, surface=design.surface)
    named = design.notes.openings
    openings = find_openings(split.facing, named=named, part=split.part)
    names = list(design.parts)
    jaw = names.index(design.notes.jaw_part) if design.notes.jaw_part else -1
    return Piece(
        name=design.name,
        design=design,
        build_up=build_up,
        facing=split.facing,
        skin=split.skin,
        lining_mm=build_up.lining_mm,
        growth_mm=build_up.growth_mm,
        openings=openings,
        hinge=_hinge(design.notes.hinge),
        jaw_faces=split.part == jaw,
        tree=SurfaceTree(split.facing),
        cautions=_cautions(design, split, openings),
    )


def build_up_of(notes: Notes) -> BuildUp:
    """Take the build-up from the notes."""
    return BuildUp(
        outward=tuple(_layer(note) for note in notes.layers.outward),
        inward=tuple(_layer(note) for note in notes.layers.inward),
        shrink_percent=notes.shrink_percent,
    )


def finished_inner(
    piece: Piece, *, size: float | ArrayLike = 1.0, resolution_mm: float = RESOLUTION_MM
) -> Mesh:
    """
    Give the finished inner wall of a piece made at a size.

    Parameters
    ----------
    piece : Piece
    size : float or array-like, shape (3,)
        Factor on the drawn size, or one each for right, front, up. Layers keep their
        thickness.
    resolution_mm : float
        Hollows smaller than this may be missed. [mm]

    Returns
    -------
    Mesh
        In the frame of the piece, wound away from the head, at a true distance of
        `lining_mm` from the drawn surface.

    Raises
    ------
    DesignError
        If the size is out of range.
    MeshError
        If the lining fills the whole cavity.
    """
    drawn = piece.facing.scaled(checked_size(size))
    return _offset(drawn, -piece.lining_mm, resolution_mm)


def finished_outer(
    piece: Piece, *, size: float | ArrayLike = 1.0, resolution_mm: float = RESOLUTION_MM
) -> Mesh:
    """
    Give the finished outer surface of a piece made at a size.

    Parameters and errors as for `finished_inner`; it lies at a true distance of
    `growth_mm` from the drawn skin, outward.
    """
    drawn = piece.skin.scaled(checked_size(size))
    return _offset(drawn, piece.growth_mm, resolution_mm)


def sample_wall(piece: Piece, *, size: float | ArrayLike = 1.0) -> Wall:
    """
    Measure the finished wall where it faces the head.

    Parameters
    ----------
    piece : Piece
    size : float or array-like, shape (3,)
        Factor on the drawn size, or one each for right, front, up.

    Raises
    ------
    DesignError
        If the size is out of range, or no wall is left to measure.

    Notes
    -----
    A drawn wall is measured from the inner side to the nearest point of the outer
    side, and the layers are added. Places nearer to an opening than twice the
    usual thickness are left out: there the rim would be taken for the other side.
    """
    factors = checked_size(size)
    facing = piece.facing.scaled(factors)
    rows = np.nonzero(facing.areas_mm2 > 0)[0]
    rows = rows[:: max(1, len(rows) // WALL_SAMPLES)]
    at, drawn = facing.centroids[rows], np.zeros(len(rows))
    if piece.design.surface == "solid":
        drawn = SurfaceTree(piece.skin.scaled(factors)).nearest(at).distance_mm
        clear = cKDTree(rim_points(facing)).query(at)[0] > CLEAR_WALLS * np.median(drawn)
        at, drawn = at[clear], drawn[clear]
    if not len(at):
        msg = f"{piece.name}: its wall is nowhere far enough from an opening."
        raise DesignError(msg)
    thickness = drawn + piece.build_up.wall_mm
    thinnest = int(thickness.argmin())
    return Wall(
        at_mm=at,
        thickness_mm=thickness,
        least_mm=float(thickness[thinnest]),
        median_mm=float(np.median(thickness)),
        thinnest_at_mm=at[thinnest],
    )


def _offset(mesh: Mesh, distance_mm: float, resolution_mm: float) -> Mesh:
    if distance_mm == 0:
        return mesh
    return offset_surface(mesh, distance_mm=distance_mm, resolution_mm=resolution_mm)


def checked_size(size: float | ArrayLike) -> FloatArray:
    """
    Check a size factor, or one each for right, front, up; gives shape (3,).

    Raises
    ------
    DesignError
        If a factor is not 0.5 to 2.
    """
    factors = np.asarray(size, dtype=float)
    if factors.shape not in ((), (3,)):
        msg = f"size must be one factor, or three (right, front, up); got {size!r}."
        raise DesignError(msg)
    if not np.all((factors >= LEAST_SIZE) & (factors <= MOST_SIZE)):
        percent = np.all((factors >= 100 * LEAST_SIZE) & (factors <= 100 * MOST_SIZE))
        cure = f"Did you mean {factors / 100}, not percent?" if percent else ""
        msg = range_message(
            "size", low=LEAST_SIZE, high=MOST_SIZE, unit="", got=size, cure=cure
        )
        raise DesignError(msg)
    return np.broadcast_to(factors, (3,))


def _layer(note: LayerNote) -> Layer:
    return Layer(name=note.name, thickness_mm=note.thickness_mm)


def _hinge(note: HingeNote | None) -> Hinge | None:
    if note is None:
        return None
    return Hinge(
        left_mm=np.array(note.left_mm),
        right_mm=np.array(note.right_mm),
        open_stop_deg=note.open_stop_deg,
        close_stop_deg=note.close_stop_deg,
    )


def _cautions(
    design: Design, split: Split, openings: tuple[Opening, ...]
) -> tuple[str, ...]:
    words = [*design.words, *split.words]
    words += opening_words(openings, named=design.notes.openings)
    return tuple(words)
