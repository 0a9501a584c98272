"""A way of a seated wall off a head: straight if it can, else along the widest way."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.fit._lattice import PITCH_REACH_DEG, ROOMY_MM, Guide, Lattice
from fitkit.fit._passage import ENOUGH_MM, Ints, Nearness, Passage, matrix_of, size_of
from fitkit.fit.placement import FloatArray

#: Lift at each step of the straight way. [mm]
LIFT_MM = 6.0
#: A wall that is not off the head after so many steps never will be.
MOST_LIFTS = 200
#: Poses of a finished way are no farther apart than this; where it is tight, no farther
#: than the finer one. [mm]
STRIDE_MM, FINE_STRIDE_MM = 6.0, 1.0
#: Rounds in which poses are moved apart from the wall and gaps between them filled.
_EASINGS = 4
#: Rounds in which points that the exact check finds too near are heeded, and poses added
#: where the way between two of them is in doubt.
_MENDINGS = 8
#: Room that an exact check may fall short by and still count as touching free. [mm]
TOUCH_MM = 1e-3
#: A straight way with no less room than this is taken without seeking a wider one. [mm]
STRAIGHT_MM = 1.0
#: Ways over the lattice that are tried, each round what stopped the last.
_TRIES = 4
#: What the lattice may overlook: of a width less than minus this, no way is tried again.
#: [mm]
_OVERLOOKED_MM = 6.0
#: What moves out of the midplane may gain; a way that lacks more is not tried. [mm]
_ASIDE_MM = 4.0
#: Rounds in which a roomy way over the lattice is smoothed.
_SMOOTHINGS = 6
#: Moves that keep wall and head in the midplane: front, up, pitch.
MIDPLANE = (1, 2, 3)


@dataclass(frozen=True, kw_only=True, eq=False)
class Route:
    """A way off, from the seat outward, or as far as it got."""

    found: bool
    #: Moves of the wall from its seat, (n, 6). [mm, deg]
    moves: FloatArray
    #: Exact least gap at each, (n,); of a way that was not found, room at marks. [mm]
    gap_mm: FloatArray
    #: Gap that is vouched for from each pose to the next, (n - 1,): no point of the wall
    #: goes farther than it could without leaving this; empty if not measured. [mm]
    between_mm: FloatArray
    #: The tightest place: its move, (6,), and what is near there.
    tight: FloatArray
    near: Nearness


@dataclass(frozen=True, kw_only=True, eq=False)
class Door:
    """The plane of the opening that the head leaves by, on the seated wall."""

    #: A point of it, (3,). [mm]
    point: FloatArray
    #: Unit normal, out of the wall, (3,).
    outward: FloatArray
    #: Points of the head that have to pass, (k, 3). [mm]
    head: FloatArray

    def is_passed(self, move: FloatArray) -> bool:
        """Whether all of the head lies beyond the plane."""
        matrix = matrix_of(move)
        seen = (self.head - matrix[:3, 3]) @ matrix[:3, :3]
        return bool(((seen - self.point) @ self.outward > 0).all())


def find_route(passage: Passage, door: Door, *, exact: bool = True) -> Route:
    """
    Find a way off the head.

    The straight way lifts the wall step by step and, where it gets tight, moves it to
    where there is most room. If that sticks or is narrow, the widest way over a lattice
    of height, depth and pitch is taken as a guide, and each of its poses moved to where
    there is most room; where one sticks, that place is shut and the next widest way is
    tried. Only the midplane is searched at first; what still sticks is tried with all
    free moves. Every pose of what is returned as found was measured over all pairs of
    triangles, unless `exact` is False: then at the wall's marks alone, and once.
    """
    flat = passage.freed(tuple(k for k in passage.free if k in MIDPLANE))
    straight, least = straight_way(flat, door)
    tried: list[Route] = []
    if straight is not None and (not exact or least >= STRAIGHT_MM):
        enough = STRAIGHT_MM if exact else 0.0
        tried.append(finished(flat, straight, exact=exact, enough_mm=enough))
        if tried[-1].found:
            return tried[-1]
    for one in [flat] if flat.free == passage.free else [flat, passage]:
        tried.append(_over_lattice(one, door, exact=exact))
        if tried[-1].found or not exact or tried[-1].gap_mm.min() < -_ASIDE_MM:
            break
    if straight is not None and exact and not tried[-1].found:
        tried.append(finished(flat, straight, exact=True))
    return max(tried, key=_merit)


def _merit(route: Route) -> tuple[bool, float]:
    return route.found, float(route.gap_mm.min())


def _over_lattice(passage: Passage, door: Door, *, exact: bool) -> Route:
    """Try the widest ways, one after the other."""
    lattice, guide = _lattice(passage, door)
    best: Route | None = None
    for _ in range(_TRIES):
        if best is not None and guide.width_mm < max(
            -_OVERLOOKED_MM, best.gap_mm.min() - _OVERLOOKED_MM
        ):
            break
        roomy = guide.width_mm >= ROOMY_MM
        moves = _smoothed(guide.moves) if roomy else guide.moves
        route, rooms = along(passage, moves, exact=exact)
        if best is None or _merit(route) > _merit(best):
            best = route
        if best.found or not exact or guide.width_mm < -2 * _OVERLOOKED_MM:
            break
        short = np.nonzero(rooms < 0)[0]
        lattice.block(guide.nodes[short], rooms[short])
        guide = lattice.widest()
    assert best is not None
    return best


def _lattice(passage: Passage, door: Door) -> tuple[Lattice, Guide]:
    """A lattice, farther to either side if the widest way is narrow."""
    near, far = PITCH_REACH_DEG
    lattice = Lattice(passage, door, pitch_reach_deg=near)
    guide = lattice.widest()
    if guide.width_mm < 0 and 3 in passage.free:
        lattice = Lattice(passage, door, pitch_reach_deg=far, inner=lattice)
        guide = lattice.widest()
    return lattice, guide


def _smoothed(moves: FloatArray) -> FloatArray:
    """Take the corners of the lattice off a way; both ends stay."""
    for _ in range(_SMOOTHINGS):
        moves = moves.copy()
        moves[1:-1] = (moves[:-2] + 2 * moves[1:-1] + moves[2:]) / 4
    return moves


def along(passage: Passage, guide: FloatArray, *, exact: bool) -> tuple[Route, FloatArray]:
    """
    Follow a guide (n, 6), each pose moved to where there is most room.

    Returns
    -------
    route, rooms
        The way, and the room that was gained at each pose of the guide, (n,). [mm]
    """
    moves, rooms = guide.copy(), np.full(len(guide), ENOUGH_MM)
    for k, node in enumerate(guide):
        if k:  # the seat stays
            moves[k], near = passage.gained(node, reach=8.0, rounds=8)
            rooms[k] = near.least_mm
            if rooms[k] < -TOUCH_MM and not exact:
                break
    if rooms.min() < -TOUCH_MM:
        return _reached(passage, moves, rooms, found=False), rooms
    return finished(passage, moves, exact=exact), rooms


def straight_way(passage: Passage, door: Door) -> tuple[FloatArray | None, float]:
    """Lift step by step, moved to where there is room; with the least room, in mm."""
    move, least = np.zeros(6), ENOUGH_MM
    moves = [move]
    while not door.is_passed(move):
        lifted = move + np.array([0, 0, LIFT_MM, 0, 0, 0])
        move, near = passage.gained(lifted)
        least = min(least, near.least_mm)
        if least < 0 or len(moves) > MOST_LIFTS:
            return None, least
        moves.append(move)
    return np.array(moves), least


def finished(
    passage: Passage, moves: FloatArray, *, exact: bool, enough_mm: float = 0.0
) -> Route:
    """
    Fill a way up to small strides, mend it where it is tight, and measure it.

    It counts as found only if so much room is left all along.
    """
    dense, rooms = _eased(passage, moves)
    least = enough_mm - TOUCH_MM
    if rooms.min() < least or not exact:
        found = bool(rooms.min() >= least)
        return _reached(passage, dense, rooms, found=found)
    gap, gone = np.full(len(dense), np.nan), _Gone(passage)
    for mending in range(_MENDINGS):
        new = np.nonzero(np.isnan(gap))[0]
        measured = passage.exact(dense[new])
        meets = measured.apart_mm <= 0
        gap[new] = np.where(
            meets, np.minimum(measured.gap_mm, -2 * TOUCH_MM), measured.gap_mm
        )
        if enough_mm and np.nanmin(gap) < enough_mm:
            break
        short = gap[new] < -TOUCH_MM
        if short.any():
            rows = new[short]
            _heed(
                passage, dense[rows], measured.on_moving[short], measured.face_moving[short]
            )
            if not rows[0]:
                break  # the seat itself
            for k in rows:
                dense[k] = passage.gained(dense[k], reach=STRIDE_MM, rounds=10)[0]
                gap[k] = np.nan
            continue
        between = _between(gone, dense, gap)
        if mending < _MENDINGS - 1:
            dense, gap = _subdivided(passage, dense, gap, between)
        if not np.isnan(gap).any():
            return _reached(passage, dense, gap, between, found=True)
    return _reached(passage, dense, np.nan_to_num(gap, nan=-2 * TOUCH_MM), found=False)


def _eased(passage: Passage, moves: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fill a way up, and move each pose but the seat to where there is room."""
    dense = moves[:1]
    known: dict[bytes, float] = {}
    for _ in range(_EASINGS):
        dense = _filled(moves)
        if len(dense) == len(moves) and known:
            break
        for k, move in enumerate(dense):
            if move.tobytes() not in known:
                eased = (move, passage.near(move))
                if k and eased[1].least_mm < ENOUGH_MM:
                    eased = passage.gained(move, reach=STRIDE_MM, rounds=10)
                dense[k] = eased[0]
                known[eased[0].tobytes()] = eased[1].least_mm
                if eased[1].least_mm < -TOUCH_MM:
                    break
        moves = dense
    return dense, np.array([known.get(move.tobytes(), ENOUGH_MM) for move in dense])


def _between(gone: _Gone, dense: FloatArray, gap: FloatArray) -> FloatArray:
    """
    Vouch for the gap between neighbouring poses, (n - 1,). [mm].

    The gap changes by no more than the wall moves: from g to h over a way of d it is
    never less than (g + h - d) / 2.
    """
    way = np.array([gone.over(a, b) for a, b in pairwise(dense)])
    vouched: FloatArray = (gap[:-1] + gap[1:] - way) / 2
    return vouched


class _Gone:
    """How far the wall goes from pose to pose, each worked out once."""

    def __init__(self, passage: Passage) -> None:
        self._passage = passage
        self._known: dict[bytes, float] = {}

    def over(self, before: FloatArray, after: FloatArray) -> float:
        key = before.tobytes() + after.tobytes()
        if key not in self._known:
            self._known[key] = self._passage.gone(before, after)
        return self._known[key]


def _subdivided(
    passage: Passage, dense: FloatArray, gap: FloatArray, between: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Add a pose where the wall might touch between two; its gap is nan as yet."""
    gone = gap[:-1] + gap[1:] - 2 * between
    doubt = np.nonzero((between < 0) & (gone > FINE_STRIDE_MM))[0]
    middle = (dense[doubt] + dense[doubt + 1]) / 2
    eased = [
        move
        if passage.near(move).least_mm >= 0
        else passage.gained(move, reach=FINE_STRIDE_MM, rounds=4)[0]
        for move in middle
    ]
    if not eased:
        return dense, gap
    return np.insert(dense, doubt + 1, eased, axis=0), np.insert(gap, doubt + 1, np.nan)


def _heed(passage: Passage, moves: FloatArray, touched: FloatArray, face: Ints) -> None:
    """Take the points that touched, and the corners of their faces, into account."""
    mesh, thick = passage.wall.mesh, passage.wall.thick
    for k, move in enumerate(moves):
        matrix = matrix_of(move)
        back = (touched[k] - matrix[:3, 3]) @ matrix[:3, :3]
        points = np.vstack([back, mesh.triangles[face[k]]])
        layer = float(thick[np.nonzero(passage.wall.face == face[k])[0][0]])
        passage.heed(points, np.full(len(points), layer))


def _reached(
    passage: Passage,
    moves: FloatArray,
    rooms: FloatArray,
    between: FloatArray | None = None,
    *,
    found: bool,
) -> Route:
    worst = int(rooms.argmin())
    return Route(
        found=found,
        moves=moves,
        gap_mm=rooms,
        between_mm=np.zeros(0) if between is None else between,
        tight=moves[worst],
        near=passage.near(moves[worst]),
    )


def _filled(moves: FloatArray) -> FloatArray:
    """Add poses between, so that no stride is longer than `STRIDE_MM`."""
    rows = [moves[:1]]
    for a, b in pairwise(moves):
        count = max(1, int(np.ceil(size_of(b - a) / STRIDE_MM)))
        share = np.arange(1, count + 1)[:, None] / count
        rows.append(a + share * (b - a))
    return np.concatenate(rows)
