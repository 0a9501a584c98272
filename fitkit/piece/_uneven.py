"""Surfaces at distances that differ from region to region."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.piece.route_steps import LayerStep, Region, Step
from fitkit.piece.routes import Route

#: Rounds of moving vertices, and when they are near enough. [mm]
ROUNDS, NEAR_MM = 200, 1e-4


def offsets_by_face(
    route: Route, drawn: FloatArray, which: Literal["outer", "inner"]
) -> FloatArray:
    """
    Say how far the finished surface lies off the drawn one at each of its faces.

    Parameters
    ----------
    route : Route
    drawn : ndarray, shape (m, 3)
        Middles of the faces at the drawn size. [mm]
    which : {"outer", "inner"}

    Returns
    -------
    ndarray, shape (m,)
        Outward positive, at the finished size. [mm] Where regions of one layer overlap,
        the last one counts.
    """
    regions = [
        (step.name, region)
        for step in route.steps
        if isinstance(step, LayerStep)
        for region in step.regions
    ]
    inside = np.array([region.holds(drawn) for _, region in regions], dtype=bool)
    inside = inside.reshape(len(regions), len(drawn))
    offsets = np.empty(len(drawn))
    patterns, of_face = np.unique(inside.T, axis=0, return_inverse=True)
    for number, pattern in enumerate(patterns):
        held = [pair for pair, holds in zip(regions, pattern, strict=True) if holds]
        stage = _even(route, held).finished
        rows = of_face.ravel() == number
        offsets[rows] = stage.outer_mm if which == "outer" else stage.inner_mm
    return offsets


def moved_to_offsets(near: Mesh, drawn: Mesh, by_face: FloatArray) -> Mesh:
    """
    Move vertices until each is at the distance of the nearest region's own.

    Parameters
    ----------
    near : Mesh
        A surface at the least of the distances.
    drawn : Mesh
        With m faces, at the finished size.
    by_face : ndarray, shape (m,)
        Wanted distances, outward positive, all on one side. [mm]

    Notes
    -----
    The surface is that of all points within each region's thickness of that region, so
    a step between two thicknesses is rounded.
    """
    side = 1.0 if by_face.max() > 0 else -1.0
    trees = [
        (abs(value), SurfaceTree(drawn.submesh(by_face == value)))
        for value in np.unique(by_face)
    ]
    points = near.vertices.copy()
    left = np.arange(len(points))
    for _ in range(ROUNDS):
        gaps, ways = zip(
            *(_gap(tree, value, points[left], side) for value, tree in trees),
            strict=True,
        )
        nearest = np.argmin(gaps, axis=0)
        gap = np.min(gaps, axis=0)
        way = np.stack(ways)[nearest, np.arange(len(left))]
        points[left] -= gap[:, None] * way
        left = left[np.abs(gap) > NEAR_MM]
        if not len(left):
            break
    return near.with_vertices(points)


def _gap(
    tree: SurfaceTree, value: float, points: FloatArray, side: float
) -> tuple[FloatArray, FloatArray]:
    """Distance beyond a thickness, (n,), and the unit way away from the surface."""
    at = tree.nearest(points)
    away = points - at.point
    length = np.linalg.norm(away, axis=1, keepdims=True)
    normal = side * tree.mesh.normals[at.face]
    way = np.where(length > 1e-9, away / np.maximum(length, 1e-9), normal)
    return at.distance_mm - value, way


def _even(route: Route, held: list[tuple[str, Region]]) -> Route:
    """The route as it is where these regions, and no others, hold."""
    thickness = {name: region.thickness_mm for name, region in held}
    return replace(route, steps=tuple(_one(step, thickness) for step in route.steps))


def _one(step: Step, thickness: dict[str, float]) -> Step:
    if not isinstance(step, LayerStep):
        return step
    if step.name not in thickness:
        return replace(step, regions=())
    return replace(
        step,
        thickness_mm=thickness[step.name],
        laminate=None,
        density_g_cm3=step.density,
        regions=(),
    )
