"""Openings of a piece: loops of rim on the surface that faces the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from fitkit.geometry.mesh import FloatArray, IntArray, Mesh
from fitkit.piece.notes import OpeningKind, OpeningNote, nearest_name
from fitkit.piece.rims import rims

#: An opening whose plane leans back less than this from level has front for its "up".
_LEVEL = 0.8
#: Least area of a neck opening. [mm²]
NECK_LEAST_MM2 = 5000.0
#: Where eyes are looked for: height of the pupils above the tragia and half the
#: distance between them; ANSUR II means (NATICK/TR-15/007) give half spacings of 31 to
#: 32 mm. The height is a rough guide of our own, used only to offer a name. [mm]
EYE_UP_MM, EYE_RIGHT_MM = 28.0, 32.0
#: A noted centre may miss its opening by this, besides half the opening's size. [mm]
NAME_REACH_MM = 25.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Opening:
    """One opening of a piece, as drawn."""

    #: Name from the notes, or an offered one; left and right are the wearer's.
    name: str
    kind: OpeningKind
    #: The rim on the surface that faces the head, shape (k, 3), first point repeated
    #: at the end; it runs counter-clockwise as the wearer sees it from inside. [mm]
    rim: FloatArray
    #: Centre of the rim by length, shape (3,): a point of the best-fit plane. [mm]
    plane_point: FloatArray
    #: Unit normal of that plane, away from the head, shape (3,).
    plane_normal: FloatArray
    #: The rim in the plane, seen by the wearer looking out, shape (k, 2), counted
    #: from `plane_point` along `axes`, first point repeated. [mm]
    outline: FloatArray
    #: Unit axes in the plane, shape (2, 3): right-ish, then up-ish (front-ish for an
    #: opening that looks straight up or down).
    axes: FloatArray
    #: Area inside the outline. [mm²]
    area_mm2: float
    #: Extent along the right-ish axis. [mm]
    width_mm: float
    #: Extent along the up-ish axis. [mm]
    height_mm: float


def find_openings(
    facing: Mesh, *, named: Sequence[OpeningNote] = (), part: IntArray | None = None
) -> tuple[Opening, ...]:
    """
    Find the openings of a piece and name them.

    Parameters
    ----------
    facing : Mesh
        The surface that faces the head, wound away from the head, in the head frame;
        several parts may lie side by side. [mm]
    named : sequence of OpeningNote
        Openings that the maker has named, in the same frame.
    part : ndarray of int, shape (m,), optional
        Part that each face belongs to; all one part if not given.

    Returns
    -------
    tuple of Opening
        Neck first, then eyes, mouth and the rest by size. Gaps narrower than 3 mm, and
        those where the edges of two parts come within 10 mm, are seams, no openings.

    Notes
    -----
    Each noted name goes to the nearest opening, all of them matched together (least
    sum of distances); an opening without one is offered a name by its place: neck,
    eye_left and eye_right (or one visor), mouth, vent_1 and on.
    """
    if part is None:
        part = np.zeros(len(facing.faces), dtype=np.int64)
    found = [_measured(rim) for rim in rims(facing, part)]
    found.sort(key=lambda opening: -opening.area_mm2)
    found = _offered(found)
    return tuple(sorted(_noted(found, named), key=_rank))


def opening_words(
    openings: Sequence[Opening], *, named: Sequence[OpeningNote]
) -> tuple[str, ...]:
    """Say where the noted openings and the found ones do not agree; empty if nowhere."""
    words = []
    known = {opening.name for opening in openings}
    noted = {note.name for note in named}
    for note in named:
        if note.name not in known:
            words.append(_missing(note, openings))
    spare = [f"{o.name} {_place(o.plane_point)}" for o in openings if o.name not in noted]
    if spare and noted:
        words.append(
            f"Found but not in the notes, with the name offered: {', '.join(spare)}."
        )
    elif spare:
        words.append(f"Openings and the names offered for them: {', '.join(spare)}.")
    if "neck" not in {opening.kind for opening in openings}:
        words.append(
            "No neck opening was found: as drawn, no head can get in. Is the bottom "
            "still closed?"
        )
    return tuple(words)


def _missing(note: OpeningNote, openings: Sequence[Opening]) -> str:
    text = (
        f"The notes name {note.name} at {_place(np.array(note.centre_mm))}, but as drawn "
        "there is no opening near there (a gap between two parts is a seam)"
    )
    if not openings:
        return text + ": the surface has none at all."
    nearest = min(openings, key=lambda o: _gap(o, note))
    return (
        f"{text}; the nearest is {nearest.name}, {_gap(nearest, note):.0f} mm off. "
        f"{nearest_name(note.name, [o.name for o in openings])}"
    )


def _place(point: FloatArray) -> str:
    right, front, up = np.round(point) + 0.0
    return f"({right:g}, {front:g}, {up:g}) mm"


def _gap(opening: Opening, note: OpeningNote) -> float:
    return float(np.linalg.norm(opening.plane_point - np.array(note.centre_mm)))


# -- measuring ----------------------------------------------------------------------


def _measured(rim: FloatArray) -> Opening:
    """Lay a plane through a closed rim and measure it there."""
    steps = np.diff(rim, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    middle = (rim[:-1] + rim[1:]) / 2
    centre = (middle * lengths[:, None]).sum(axis=0) / lengths.sum()
    normal = _plane_normal(rim - centre)
    axes = _wearer_axes(normal)
    outline = (rim - centre) @ axes.T
    x, y = outline[:-1].T
    nx, ny = outline[1:].T
    width, height = np.ptp(outline, axis=0)
    return Opening(
        name="",
        kind="other",
        rim=rim,
        plane_point=centre,
        plane_normal=normal,
        outline=outline,
        axes=axes,
        area_mm2=float(abs((x * ny - nx * y).sum()) / 2),
        width_mm=float(width),
        height_mm=float(height),
    )


def _plane_normal(loop: FloatArray) -> FloatArray:
    """
    Give the unit normal, away from the head, of the plane a loop encloses most area in.

    The rim has its surface to the left, so the area it turns around (M. E. Newell's
    sum of cross products) points to the head.
    """
    around = np.cross(loop[:-1], loop[1:]).sum(axis=0)
    normal: FloatArray = -around / np.linalg.norm(around) + 0.0
    return normal


def _wearer_axes(normal: FloatArray) -> FloatArray:
    """Give right-ish and up-ish in the plane, for a wearer who looks along the normal."""
    hint = np.array([0.0, 0.0, 1.0])
    if abs(normal[2]) > _LEVEL:
        hint = np.array([0.0, 1.0 if normal[2] < 0 else -1.0, 0.0])
    above = hint - (hint @ normal) * normal
    above /= np.linalg.norm(above)
    return np.stack([np.cross(normal, above), above]) + 0.0


# -- naming -------------------------------------------------------------------------


def _offered(found: list[Opening]) -> list[Opening]:
    """Offer a name for each opening by its place; `found` is sorted by area."""
    names: dict[int, tuple[str, OpeningKind]] = {}
    free = list(range(len(found)))

    def give(index: int | None, name: str, kind: OpeningKind) -> None:
        if index is not None:
            names[index] = (name, kind)
            free.remove(index)

    give(_neck(found), "neck", "neck")
    left, right = _eye_pair(found, free)
    give(left, "eye_left", "eye")
    give(right, "eye_right", "eye")
    if left is None:
        give(_visor(found, free), "visor", "eye")
    give(_mouth(found, free, names), "mouth", "mouth")
    for count, index in enumerate(list(free), start=1):
        give(index, f"vent_{count}", "vent")
    return [replace(o, name=names[k][0], kind=names[k][1]) for k, o in enumerate(found)]


def _neck(found: list[Opening]) -> int | None:
    """Pick the largest opening that looks down, or back: that is where a head goes in."""
    fits = [
        k
        for k, o in enumerate(found)
        if (o.plane_normal[2] < -0.3 or o.plane_normal[1] < -0.7)
        and o.area_mm2 > NECK_LEAST_MM2
    ]
    return fits[0] if fits else None


def _eye_pair(found: list[Opening], free: list[int]) -> tuple[int | None, int | None]:
    """Pick the mirrored pair at the front that lies nearest to where eyes are."""
    ahead = [k for k in free if _looks_ahead(found[k])]
    best: float = np.inf
    pair: tuple[int | None, int | None] = (None, None)
    for left in ahead:
        for right in ahead:
            cost = _eye_cost(found[left], found[right])
            if cost < best:
                best, pair = cost, (left, right)
    return pair


def _eye_cost(left: Opening, right: Opening) -> float:
    """Give how far a pair is from where eyes are, mm; inf if it is no mirrored pair."""
    a, b = left.plane_point, right.plane_point
    mirrored = np.abs(a * (-1, 1, 1) - b).max() < 20 and a[0] < -8 and b[0] > 8
    alike = 0.5 < left.area_mm2 / right.area_mm2 < 2
    if not (mirrored and alike):
        return np.inf
    height, spread = (a[2] + b[2]) / 2, (b[0] - a[0]) / 2
    cost = abs(height - EYE_UP_MM) + abs(spread - EYE_RIGHT_MM)
    return float(cost) if cost < 90 else np.inf


def _looks_ahead(opening: Opening) -> bool:
    return bool(opening.plane_normal[1] > 0.3 and opening.plane_point[1] > 0)


def _visor(found: list[Opening], free: list[int]) -> int | None:
    """Pick one wide opening in front of both eyes."""
    fits = [
        k
        for k in free
        if _looks_ahead(found[k])
        and np.ptp(found[k].rim[:, 0]) > 2 * EYE_RIGHT_MM
        and abs(found[k].plane_point[0]) < 15
        and found[k].rim[:, 2].min() < EYE_UP_MM + 15
        and found[k].rim[:, 2].max() > EYE_UP_MM - 15
    ]
    return fits[0] if fits else None


def _mouth(
    found: list[Opening], free: list[int], names: dict[int, tuple[str, OpeningKind]]
) -> int | None:
    """Pick the largest opening at the front, on the midplane, below the eyes."""
    eyes = [found[k].plane_point[2] for k, (_, kind) in names.items() if kind == "eye"]
    ceiling = min(eyes, default=EYE_UP_MM)
    fits = [
        k
        for k in free
        if found[k].plane_point[1] > 0
        and abs(found[k].plane_point[0]) < 15
        and found[k].plane_point[2] < ceiling
        and found[k].plane_normal[1] > -0.3
    ]
    return fits[0] if fits else None


def _noted(found: list[Opening], named: Sequence[OpeningNote]) -> list[Opening]:
    """Let the maker's names take the place of the offered ones."""
    if not found or not named:
        return found
    gaps = np.array([[_gap(opening, note) for note in named] for opening in found])
    reach = [NAME_REACH_MM + max(o.width_mm, o.height_mm) / 2 for o in found]
    gaps[gaps > np.array(reach)[:, None]] = 1e6
    chosen = {
        int(k): named[int(n)]
        for k, n in zip(*linear_sum_assignment(gaps), strict=True)
        if gaps[k, n] < 1e6
    }
    taken = {note.name for note in named}
    spare = (f"vent_{n}" for n in range(1, 10_000) if f"vent_{n}" not in taken)
    out = []
    for k, opening in enumerate(found):
        if k in chosen:
            kind = _noted_kind(chosen[k], opening)
            out.append(replace(opening, name=chosen[k].name, kind=kind))
        elif opening.name in taken or opening.kind == "vent":
            out.append(replace(opening, name=next(spare), kind="vent"))
        else:
            out.append(opening)
    return out


def _noted_kind(note: OpeningNote, opening: Opening) -> OpeningKind:
    if "kind" in note.model_fields_set:
        return note.kind
    kinds: tuple[OpeningKind, ...] = ("neck", "eye", "mouth", "vent")
    for kind in kinds:
        if note.name.casefold().startswith(kind):
            return kind
    return opening.kind


def _rank(opening: Opening) -> tuple[int, float, float]:
    kinds = ("neck", "eye", "mouth", "vent", "other")
    side = opening.plane_point[0] if opening.kind == "eye" else 0.0
    return kinds.index(opening.kind), float(side), -opening.area_mm2
