"""The wearer as every check sees them: head, hair, eyes, chin, and how sure we are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.geometry.mesh import Mesh

if TYPE_CHECKING:
    from fitkit.wearer.record import Record
    from fitkit.wearer.survey import Completion


@dataclass(frozen=True, kw_only=True, eq=False)
class Eye:
    """One eye, looking straight ahead (Frankfort plane horizontal)."""

    #: Front of the cornea, head frame. [mm]
    cornea: NDArray[np.float64]
    #: Centre of the entrance pupil, where rays of sight start. [mm]
    entrance_pupil: NDArray[np.float64]
    #: Centre about which the eye turns. [mm]
    rotation_centre: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Wearer:
    """
    One person, complete: made from a record or from a scan, used the same way.

    Everything is in the head frame: right, front, up in mm, origin midway
    between the tragia, Frankfort plane horizontal.
    """

    record: Record
    completion: Completion
    #: Bare head (scalp without hair), ears, face and neck; closed, wound outward.
    head: Mesh
    #: Index into ``ZONES`` of each head vertex, shape (n,); -1 is neck.
    zone: NDArray[np.int64]
    #: Hair to add along the outward normal at each head vertex, shape (n,). [mm]
    hair_mm: NDArray[np.float64]
    #: Hair taken to lie under the tape at the head circumference. [mm]
    tape_hair_mm: float
    #: Every measure read off this head as the hand would, tapes over hair. [mm]
    measures_mm: Mapping[str, float]
    #: Named landmarks, each of shape (3,). [mm]
    landmarks: Mapping[str, NDArray[np.float64]]
    eye_left: Eye
    eye_right: Eye
    #: Finite pole of the chin's motion at full opening, on the midplane. [mm]
    chin_pole: NDArray[np.float64]
    #: Ways in which this head may differ from the truth, shape (k, n, 3): a head
    #: as likely as this one is ``vertices + sum_k z_k spread[k]``, z standard normal. [mm]
    spread: NDArray[np.float32]
    #: What each spread direction comes from: a measure's key, or "shape".
    spread_names: tuple[str, ...]
    #: Human-readable cautions about how this wearer was made; empty means none.
    cautions: tuple[str, ...] = ()
