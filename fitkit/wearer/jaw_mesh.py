"""The head surface with its mouth open: chin and lip carried, skin stretched between."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array, diags_array
from scipy.sparse.linalg import splu

from fitkit.geometry.mesh import Mesh
from fitkit.wearer.jaw import ChinMotion

if TYPE_CHECKING:
    from fitkit.wearer.wearer import Wearer

Floats = NDArray[np.float64]

#: Over this share of the mouth's half width the lips hold to their own jaw; from there
#: to the corners they part less and less. Corners go half way.
LIP_SHARE = 0.2
#: How far above and below the line between the lips that holds. [mm]
LIP_REACH_MM = 8.0
#: Skin this near to the front tenth of the jaw's lower border moves as bone does. [mm]
BONE_REACH_MM = 10.0
#: Skin farther back than this behind the tragia does not move. [mm]
STILL_BEHIND_MM = 60.0
#: Cotangents are held to those of angles at least this far from 0 and 180. [deg]
_LEAST_CORNER_DEG = 1.0


class OpeningHead:
    """
    The head of a wearer at any opening of the mouth.

    Parameters
    ----------
    wearer : Wearer
    motion : ChinMotion
        Of the same wearer.

    Notes
    -----
    Skin on the chin and the middle of the lower lip moves with the jaw; skin above
    the upper lip, behind the ears and at the base of the neck stays. Between them the
    displacement is the one of least bending: biharmonic, with cotangent weights and
    lumped areas (M. Botsch and O. Sorkine, "On linear variational surface deformation
    methods", IEEE Trans. Vis. Comput. Graph. 14, 213-230 (2008)). As the jaw's
    displacement is linear in position, four fields solved once serve every opening.

    The lips stay joined by the strip of triangles between them, which spans the open
    mouth: no teeth or throat are drawn.
    """

    def __init__(self, wearer: Wearer, motion: ChinMotion) -> None:
        self.wearer, self.motion = wearer, motion
        arm = wearer.head.vertices - motion.condyle_mm
        fields = np.column_stack([np.ones(len(arm)), arm])
        self._fields = _least_bending(wearer.head, held_shares(wearer), fields)
        self._fields.setflags(write=False)

    @property
    def share(self) -> Floats:
        """How much of the jaw's motion each vertex takes part in, about 0 to 1, (n,)."""
        share: Floats = self._fields[:, 0]
        return share

    def vertices(self, turn_deg: float) -> Floats:
        """
        Give the head's vertices with the jaw turned, shape (n, 3), in mm.

        Parameters
        ----------
        turn_deg : float
            Turn of the jaw; 0 is teeth together. [deg]
        """
        swing = self.motion.swing
        turned = swing.rotation(turn_deg) - np.eye(3)
        moved: Floats = (
            self.wearer.head.vertices
            + self._fields[:, 1:] @ turned.T
            + self._fields[:, :1] * swing.slid_mm(turn_deg)
        )
        return moved

    def mesh(self, turn_deg: float) -> Mesh:
        """Give the closed head with the jaw turned that far, in degrees."""
        return self.wearer.head.with_vertices(self.vertices(turn_deg))


def held_shares(wearer: Wearer) -> Floats:
    """
    Say how far skin that is held takes part in the jaw's motion, (n,); nan where free.

    The chin moves in full. All above the nose's base, the back, and the base of the
    neck stay. Along the lips the share goes from none above and all below, in the
    middle, to one half at the corners.
    """
    at, points = wearer.landmarks, wearer.head.vertices
    right, front, up = points.T
    half = abs(at["cheilion_right"][0] - at["cheilion_left"][0]) / 2
    across = np.abs(right - at["stomion"][0]) / half
    share = np.full(len(points), np.nan)
    chin = (front > at["menton"][1] - 6.0) & (up <= at["pogonion"][2] + 8.0)
    share[chin & (across < 1.2)] = 1.0
    for side in ("left", "right"):
        along = at["menton"] + 0.1 * (at[f"gonion_{side}"] - at["menton"])
        share[_segment_distance(points, at["menton"], along) < BONE_REACH_MM] = 1.0
    share[(up > at["subnasale"][2]) | (front < -STILL_BEHIND_MM)] = 0.0
    base = wearer.head.vertex_normals[:, 2] < -0.7
    share[base & (wearer.zone < 0) & (up < at["menton"][2] - 20.0)] = 0.0
    corner = (at["cheilion_left"] + at["cheilion_right"]) / 2
    drop = corner[2] - at["stomion"][2]
    above = up - at["stomion"][2] - np.clip(across, 0, 1) ** 2 * drop
    lips = (front > corner[1] - 8.0) & (across < 1) & (np.abs(above) < LIP_REACH_MM)
    part = np.clip((across - LIP_SHARE) / (1 - LIP_SHARE), 0, 1)
    part = part**2 * (3 - 2 * part) / 2
    share[lips] = np.where(above > 0, part, 1 - part)[lips]
    return share


def _least_bending(mesh: Mesh, held: Floats, values: Floats) -> Floats:
    """Spread the held shares of values (n, k) over free vertices, bending least."""
    stiff = _laplacian(mesh)
    corner = np.repeat(mesh.areas_mm2 / 3, 3)
    area = np.bincount(mesh.faces.ravel(), corner, minlength=len(mesh.vertices))
    bending = (stiff @ diags_array(1 / area) @ stiff).tocsr()
    free = np.isnan(held)
    field = np.where(free, 0.0, held)[:, None] * values
    pull = bending[free][:, ~free] @ field[~free]
    field[free] = -splu(bending[free][:, free].tocsc()).solve(pull)
    return field


def _laplacian(mesh: Mesh) -> csr_array:
    """Cotangent Laplacian, positive semidefinite, shape (n, n)."""
    angle = mesh.corner_angles_deg.clip(_LEAST_CORNER_DEG, 180 - _LEAST_CORNER_DEG)
    half = (1 / np.tan(np.radians(angle)) / 2).ravel()
    a, b = np.roll(mesh.faces, -1, axis=1).ravel(), np.roll(mesh.faces, -2, axis=1).ravel()
    count = len(mesh.vertices)
    pairs = (np.concatenate([a, b]), np.concatenate([b, a]))
    weight = coo_array((np.concatenate([half, half]), pairs), shape=(count, count)).tocsr()
    return csr_array(diags_array(weight.sum(axis=1)) - weight)


def _segment_distance(points: Floats, a: Floats, b: Floats) -> Floats:
    along = b - a
    share = np.clip((points - a) @ along / (along @ along), 0.0, 1.0)
    gap: Floats = np.linalg.norm(points - a - share[:, None] * along, axis=1)
    return gap
