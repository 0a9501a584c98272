"""What a finished piece weighs, where its weight sits, and how it resists turning."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import DesignError, range_message
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh
from fitkit.piece._solid_moments import Moments, band_moments, solid_moments
from fitkit.piece.buildup import BuildUp, Layer, Piece
from fitkit.piece.notes import nearest_name

#: Densities of common wall materials, from memory of data sheets and handbooks, good to
#: about 5 %; weigh an offcut for better. [g/cm³]
DENSITIES_G_CM3: Mapping[str, float] = MappingProxyType(
    {
        "pla": 1.24,
        "petg": 1.27,
        "abs": 1.04,
        "acrylic": 1.19,
        "pu resin": 1.06,
        "polyester laminate": 1.45,
        "silicone": 1.2,
        "card": 0.75,
        "foam clay": 0.4,
    }
)
#: Densities that are believed: light foam to steel. [g/cm³]
LEAST_DENSITY, MOST_DENSITY = 0.01, 9.0
#: Heaviest single thing that is hung on a head. [g]
MOST_MASS_G = 20_000.0

BodyKind = Literal["part", "hard point", "pad", "attachment", "counterweight"]


@dataclass(frozen=True, kw_only=True, eq=False)
class MassProperties:
    """Mass, centre of mass and inertia, in one frame."""

    #: Mass, never negative. [g]
    mass_g: float
    #: Centre of mass: right, front, up, shape (3,). [mm]
    centre_mm: FloatArray
    #: Inertia about the centre of mass, shape (3, 3). [g mm²]
    inertia_g_mm2: FloatArray

    def moved(self, *, rotation: ArrayLike, shift_mm: ArrayLike) -> MassProperties:
        """Turn by a rotation matrix, shape (3, 3), then shift by mm, shape (3,)."""
        turn = np.asarray(rotation, dtype=float)
        return MassProperties(
            mass_g=self.mass_g,
            centre_mm=turn @ self.centre_mm + np.asarray(shift_mm, dtype=float),
            inertia_g_mm2=turn @ self.inertia_g_mm2 @ turn.T,
        )

    def inertia_about(self, point_mm: ArrayLike) -> FloatArray:
        """Give the inertia about any point (parallel axes), shape (3, 3), in g mm²."""
        arm = self.centre_mm - np.asarray(point_mm, dtype=float)
        steiner = self.mass_g * (arm @ arm * np.eye(3) - np.outer(arm, arm))
        total: FloatArray = self.inertia_g_mm2 + steiner
        return total


@dataclass(frozen=True, kw_only=True, eq=False)
class Body:
    """One thing that has a mass: a part of the wall, a bolt, a pad."""

    name: str
    kind: BodyKind
    mass: MassProperties


@dataclass(frozen=True, kw_only=True)
class Materials:
    """
    What the wall, each layer and each part are made of.

    Raises
    ------
    DesignError
        If a density is not 0.01 to 9 g/cm³, or a hollow wall is not above 0 mm.
    """

    #: Density of the drawn wall, and of whatever is not named below. [g/cm³]
    wall_g_cm3: float
    #: Density by layer name. [g/cm³]
    layer_g_cm3: Mapping[str, float] = field(default_factory=dict)
    #: Density by part name, where it is not that of the wall. [g/cm³]
    part_g_cm3: Mapping[str, float] = field(default_factory=dict)
    #: Parts drawn solid but made hollow, by name: thickness of their wall. [mm]
    hollow_wall_mm: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        checked_density("wall_g_cm3", self.wall_g_cm3)
        for name, value in {**self.layer_g_cm3, **self.part_g_cm3}.items():
            checked_density(name, value)
        for name, wall in self.hollow_wall_mm.items():
            if not 0 < wall <= 80:
                label = f"hollow_wall_mm of {name} (above 0)"
                raise DesignError(range_message(label, low=0, high=80, unit="mm", got=wall))


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighing:
    """Everything of a piece that has a mass, in the piece's axes at its full size."""

    bodies: tuple[Body, ...]

    @property
    def total(self) -> MassProperties:
        """All bodies together."""
        return combined(body.mass for body in self.bodies)

    def without(self, *names: str) -> Weighing:
        """
        Take bodies off, such as horns for travel.

        Raises
        ------
        DesignError
            If there is no body of that name.
        """
        known = [body.name for body in self.bodies]
        for name in names:
            if name not in known:
                msg = f"There is no body '{name}'. {nearest_name(name, known)}"
                raise DesignError(msg)
        return Weighing(bodies=tuple(b for b in self.bodies if b.name not in names))

    def plus(self, *bodies: Body) -> Weighing:
        """Add bodies, such as pads or a counterweight."""
        return Weighing(bodies=(*self.bodies, *bodies))


def combined(masses: Iterable[MassProperties]) -> MassProperties:
    """
    Put masses of one frame together, each with its own inertia and Steiner's share.

    Examples
    --------
    >>> both = combined([point_mass(mass_g=4500, at_mm=(0, 19, 57)),
    ...                  point_mass(mass_g=1500, at_mm=(0, 40, 60))])
    >>> both.centre_mm.tolist()
    [0.0, 24.25, 57.75]
    """
    parts = tuple(masses)
    mass = sum(part.mass_g for part in parts)
    if mass <= 0:
        return point_mass(mass_g=0.0, at_mm=(0.0, 0.0, 0.0))
    weighted = np.sum([part.mass_g * part.centre_mm for part in parts], axis=0)
    centre = weighted / mass
    inertia = np.sum([part.inertia_about(centre) for part in parts], axis=0)
    return MassProperties(mass_g=mass, centre_mm=centre, inertia_g_mm2=inertia)


def point_mass(
    *, mass_g: float, at_mm: ArrayLike, radius_mm: float = 0.0
) -> MassProperties:
    """
    Give a solid ball of a mass, or a point.

    Parameters
    ----------
    mass_g : float
        0 to 20,000. [g]
    at_mm : array-like, shape (3,)
        Right, front, up. [mm]
    radius_mm : float
        Of the ball, whose inertia is 2/5 m r². [mm]

    Raises
    ------
    DesignError
        If the mass is out of range.
    """
    if not 0 <= mass_g <= MOST_MASS_G:
        msg = range_message("mass_g", low=0, high=MOST_MASS_G, unit="g", got=mass_g)
        raise DesignError(msg)
    return MassProperties(
        mass_g=float(mass_g),
        centre_mm=np.array(at_mm, dtype=float),
        inertia_g_mm2=0.4 * mass_g * radius_mm**2 * np.eye(3),
    )


def solid_mass(mesh: Mesh, *, density_g_cm3: float) -> MassProperties:
    """
    Weigh a closed mesh that is solid all through.

    Raises
    ------
    DesignError
        If the mesh is open or wound inward, or the density is out of range.
    """
    checked_density("density_g_cm3", density_g_cm3)
    if not mesh.is_closed or mesh.volume_mm3 <= 0:
        msg = (
            f"Only a closed mesh, wound outward, has a weight; got one with "
            f"{len(mesh.boundary_loops)} holes and {mesh.volume_mm3 / 1000:.1f} cm³. "
            "Mend it first, or give its layers."
        )
        raise DesignError(msg)
    return _weighed(solid_moments(mesh), density_g_cm3)


def layer_mass(
    mesh: Mesh, *, from_mm: float, to_mm: float, density_g_cm3: float
) -> MassProperties:
    """
    Weigh the layer between two true distances from a surface, open or closed.

    Parameters
    ----------
    mesh : Mesh
        The surface that the layer is laid on.
    from_mm, to_mm : float
        Distances along the outward normal, `from_mm` the lower; negative is inward. [mm]
    density_g_cm3 : float
        Of the layer. [g/cm³]

    Returns
    -------
    MassProperties
        In the frame of the mesh.

    Notes
    -----
    The volume is A h + M h² + K h³ / 3 of the distance h, with area A, integral mean
    curvature M and integral Gauss curvature K of the polyhedron: J. Steiner, "Über
    parallele Flächen", Monatsber. Preuß. Akad. Wiss. 114-118 (1840); H. Weyl, Amer. J.
    Math. 61, 461-472 (1939). It is exact for a layer outside a convex body, and on
    the inside where the layer is thinner than the radius of the bend.
    """
    checked_density("density_g_cm3", density_g_cm3)
    return _weighed(band_moments(mesh, from_mm, to_mm), density_g_cm3)


def weigh(piece: Piece, *, materials: Materials, size: float | ArrayLike = 1.0) -> Weighing:
    """
    Weigh a finished piece, part by part, with every layer and hard point.

    Parameters
    ----------
    piece : Piece
    materials : Materials
        Densities, and which parts are hollow.
    size : float or array-like, shape (3,)
        Factor on the drawn size. Layers and hollow walls keep their thickness, hard
        points their mass.

    Returns
    -------
    Weighing
        In the piece's axes at its full size. [mm, g]

    Raises
    ------
    DesignError
        If a part with a drawn wall is not closed, or a name in `materials` is unknown.
    """
    _check_names(piece, materials)
    factors = np.broadcast_to(np.asarray(size, dtype=float), (3,))
    names = tuple(piece.design.parts)
    facing = _by_part(piece, piece.facing, factors)
    skin = _by_part(piece, piece.skin, factors)
    parts = tuple(
        Body(name=name, kind="part",
             mass=_part_mass(piece, name, factors, facing[name], skin[name], materials))
        for name in names
    )  # fmt: skip
    points = tuple(
        Body(name=point.name, kind="hard point",
             mass=point_mass(mass_g=point.mass_g, at_mm=factors * point.at_mm,
                             radius_mm=point.radius_mm))
        for point in piece.design.notes.hard_points
    )  # fmt: skip
    return Weighing(bodies=parts + points)


def _part_mass(
    piece: Piece,
    name: str,
    factors: FloatArray,
    facing: Mesh | None,
    skin: Mesh | None,
    materials: Materials,
) -> MassProperties:
    found: list[MassProperties] = []
    density = materials.part_g_cm3.get(name, materials.wall_g_cm3)
    if piece.design.surface == "solid":
        mesh = piece.design.parts[name].scaled(factors)
        wall = materials.hollow_wall_mm.get(name)
        if wall is None:
            found.append(solid_mass(mesh, density_g_cm3=density))
        else:
            found.append(layer_mass(mesh, from_mm=-wall, to_mm=0, density_g_cm3=density))
    found += _layers(skin, piece.build_up.outward, 1, materials)
    found += _layers(facing, piece.build_up.inward, -1, materials)
    return combined(found)


def _layers(
    mesh: Mesh | None, layers: tuple[Layer, ...], side: int, materials: Materials
) -> list[MassProperties]:
    found: list[MassProperties] = []
    reached = 0.0
    if mesh is None:
        return found
    for layer in layers:
        ends = sorted((side * reached, side * (reached + layer.thickness_mm)))
        reached += layer.thickness_mm
        density = materials.layer_g_cm3.get(layer.name, materials.wall_g_cm3)
        found.append(
            layer_mass(mesh, from_mm=ends[0], to_mm=ends[1], density_g_cm3=density)
        )
    return found


def _by_part(piece: Piece, mesh: Mesh, factors: FloatArray) -> dict[str, Mesh | None]:
    """Split a surface of the piece among its parts, each face to the nearest."""
    parts = piece.design.parts
    owner: IntArray = np.zeros(len(mesh.faces), dtype=np.int64)
    if len(parts) > 1:
        trees = [SurfaceTree(part) for part in parts.values()]
        gaps = [tree.squared(mesh.centroids)[0] for tree in trees]
        owner = np.argmin(gaps, axis=0).astype(np.int64)
    scaled = mesh.scaled(factors)
    return {
        name: scaled.submesh(owner == index) if np.any(owner == index) else None
        for index, name in enumerate(parts)
    }


def _check_names(piece: Piece, materials: Materials) -> None:
    parts = list(piece.design.parts)
    layers = [layer.name for layer in _all_layers(piece.build_up)]
    for what, given, known in (
        ("part", materials.part_g_cm3, parts),
        ("part", materials.hollow_wall_mm, parts),
        ("layer", materials.layer_g_cm3, layers),
    ):
        for name in given:
            if name not in known:
                msg = f"{piece.name} has no {what} '{name}'. {nearest_name(name, known)}"
                raise DesignError(msg)


def _all_layers(build_up: BuildUp) -> tuple[Layer, ...]:
    return build_up.outward + build_up.inward


def _weighed(moments: Moments, density_g_cm3: float) -> MassProperties:
    density = density_g_cm3 / 1000.0  # [g/mm³]
    centre = moments.first / moments.volume
    second = density * (moments.second - moments.volume * np.outer(centre, centre))
    return MassProperties(
        mass_g=density * moments.volume,
        centre_mm=centre,
        inertia_g_mm2=np.trace(second) * np.eye(3) - second,
    )


def checked_density(name: str, value: float) -> None:
    """
    Refuse a density that no wall has, and name the likely slip.

    Raises
    ------
    DesignError
        If it is not 0.01 to 9 g/cm³.
    """
    if LEAST_DENSITY <= value <= MOST_DENSITY:
        return
    slip = LEAST_DENSITY <= value / 1000 <= MOST_DENSITY
    cure = f"That reads like kg/m³: did you mean {value / 1000:g} g/cm³?" if slip else ""
    raise DesignError(
        range_message(
            f"density of {name}",
            low=LEAST_DENSITY,
            high=MOST_DENSITY,
            unit="g/cm³",
            got=f"{value:g}",
            cure=cure,
        )
    )
