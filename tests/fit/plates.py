"""Helper: flat plates with holes before two eyes without a face: sight in closed form."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from manifold3d import CrossSection, FillRule, Manifold

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh
from fitkit.wearer.wearer import Eye, Wearer

#: Entrance pupil and centre of rotation behind the cornea. [mm]
PUPIL_MM, CENTRE_MM = 3.05, 13.5


class Piece(SimpleNamespace):
    __hash__ = object.__hash__
    __eq__ = object.__eq__

    def moved(self, carry) -> Piece:
        """The same piece with every vertex carried by a map of points."""
        solid = self.design.parts["shell"]
        fresh = Mesh(carry(solid.vertices), solid.faces)
        made = piece_of_solid(
            fresh,
            back=self.back,
            lining_mm=self.lining_mm,
            growth_mm=self.growth_mm,
            name=self.name,
        )
        made.openings = self.openings
        return made


def to_mesh(solid: Manifold) -> Mesh:
    raw = solid.to_mesh64()
    return Mesh(
        np.asarray(raw.vert_properties, float)[:, :3], np.asarray(raw.tri_verts, np.int64)
    )


def rectangle(right, up):
    """Outline of a rectangle from (low, high) extents."""
    (a, b), (c, d) = right, up
    return np.array([[a, c], [b, c], [b, d], [a, d]], float)


def ellipse(half_right, half_up, at=(0.0, 0.0), corners=720):
    """Outline of an ellipse, circumscribed evenly inside and out to second order."""
    turn = 2 * np.pi * np.arange(corners) / corners
    grow = 1 + (np.pi / corners) ** 2 / 3
    return np.column_stack([half_right * np.cos(turn), half_up * np.sin(turn)]) * grow + at


def plate_solid(holes, *, distance_mm, wall_mm=0.01, half_mm=2000.0) -> Mesh:
    """A square plate across +front whose back face lies `distance_mm` ahead of 0."""
    outer = rectangle((-half_mm, half_mm), (-half_mm, half_mm))
    section = CrossSection([outer, *[hole[::-1] for hole in holes]], FillRule.EvenOdd)
    body = Manifold.extrude(section, wall_mm)  # along +up of the section's own frame
    return to_mesh(body.rotate([90, 0, 0]).translate([0, distance_mm + wall_mm, 0]))


def plate_piece(
    holes,
    *,
    distance_mm,
    wall_mm=0.01,
    half_mm=2000.0,
    lining_mm=0.0,
    growth_mm=0.0,
    no_cut=(),
    openings=(),
    name="plate",
) -> Piece:
    solid = plate_solid(holes, distance_mm=distance_mm, wall_mm=wall_mm, half_mm=half_mm)
    return piece_of_solid(
        solid,
        lining_mm=lining_mm,
        growth_mm=growth_mm,
        no_cut=no_cut,
        openings=openings,
        name=name,
        back=solid.normals[:, 1] < -0.5,
    )


def piece_of_solid(
    solid: Mesh, *, back, lining_mm=0.0, growth_mm=0.0, no_cut=(), openings=(), name="shell"
) -> Piece:
    facing = solid.submesh(back).flipped()
    notes = SimpleNamespace(no_cut=tuple(no_cut))
    design = SimpleNamespace(
        name=name, surface="solid", parts={"shell": solid}, notes=notes
    )
    return Piece(
        name=name,
        design=design,
        facing=facing,
        skin=solid.submesh(~back),
        lining_mm=lining_mm,
        growth_mm=growth_mm,
        openings=tuple(openings),
        hinge=None,
        tree=SurfaceTree(facing),
        back=back,
    )


def opening(name, outline, *, distance_mm, kind="eye") -> SimpleNamespace:
    centre = outline.mean(axis=0)
    at = np.array([centre[0], distance_mm, centre[1]])
    ring = np.insert(outline, 1, distance_mm, axis=1)
    closed = np.vstack([ring, ring[:1]])
    axes = np.array([[1.0, 0, 0], [0, 0, 1.0]])
    return SimpleNamespace(
        name=name,
        kind=kind,
        rim=closed,
        plane_point=at,
        plane_normal=np.array([0, 1.0, 0]),
        axes=axes,
        outline=(closed - at) @ axes.T,
        width_mm=float(np.ptp(outline[:, 0])),
        height_mm=float(np.ptp(outline[:, 1])),
        area_mm2=1.0,
    )


def eye_at(pupil) -> Eye:
    ahead = np.array([0, 1.0, 0])
    cornea = np.asarray(pupil, float) + PUPIL_MM * ahead
    return Eye(
        cornea=cornea,
        entrance_pupil=np.asarray(pupil, float),
        rotation_centre=cornea - CENTRE_MM * ahead,
    )


def faceless(
    *,
    left=(-32.0, 0, 0),
    right=(32.0, 0, 0),
    readings=None,
    glasses=None,
    head=None,
    zone=0,
    landmarks=None,
) -> Wearer:
    """Eyes with nothing about them: the head is a pea far behind."""
    if head is None:
        head = to_mesh(Manifold.sphere(1.0, 16).translate([0, -400, 0]))
    n = len(head.vertices)
    return Wearer(
        record=SimpleNamespace(name="stand-in", glasses=glasses, readings=readings or {}),
        completion=SimpleNamespace(keys=(), given=frozenset()),
        head=head,
        zone=np.full(n, zone, np.int64),
        hair_mm=np.zeros(n),
        tape_hair_mm=0.0,
        measures_mm={},
        landmarks=landmarks or {},
        eye_left=eye_at(left),
        eye_right=eye_at(right),
        chin_pole=np.zeros(3),
        spread=np.zeros((0, n, 3), np.float32),
        spread_names=(),
    )


def box_mesh(low, high) -> Mesh:
    """A closed box from its low to its high corner."""
    size = np.subtract(high, low)
    return to_mesh(Manifold.cube(size.tolist()).translate(list(low)))


def no_cut_ball(name, centre_mm, radius_mm) -> SimpleNamespace:
    """A note of a ball that may not be cut."""
    return SimpleNamespace(name=name, centre_mm=centre_mm, radius_mm=radius_mm)


def ball_piece(*, radius_mm, wall_mm, holes=(), segments=128, **how) -> Piece:
    """A hollow ball about the origin with round holes bored along +front.

    `holes`: ((right, up), radius, name of the opening).
    """
    outer = Manifold.sphere(radius_mm, segments)
    body = outer - Manifold.sphere(radius_mm - wall_mm, segments)
    openings = []
    for (right, up), bore, name in holes:
        rod = Manifold.cylinder(2 * radius_mm, bore, bore, 96)
        body -= rod.rotate([-90, 0, 0]).translate([right, 0, up])
        turn = 2 * np.pi * np.arange(96) / 96
        ring = np.column_stack([right + bore * np.cos(turn), up + bore * np.sin(turn)])
        front = np.sqrt(np.maximum((radius_mm - wall_mm) ** 2 - (ring**2).sum(axis=1), 0))
        made = opening(name, ring, distance_mm=float(front.mean()))
        made.rim = np.insert(
            np.vstack([ring, ring[:1]]), 1, np.append(front, front[0]), axis=1
        )
        openings.append(made)
    solid = to_mesh(body)
    middle = np.linalg.norm(solid.centroids, axis=1)
    looks_in = np.einsum("ij,ij->i", solid.normals, solid.centroids) < -0.9 * middle
    return piece_of_solid(solid, back=looks_in, openings=openings, **how)
