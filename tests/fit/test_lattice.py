import numpy as np
import pytest
from passages import ellipsoid, plate

from fitkit.fit._lattice import ROOMY_MM, Lattice
from fitkit.fit._passage import FIELD_ERROR_MM, Passage, SignedField
from fitkit.fit._reach import Surface
from fitkit.fit._route import Door
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh

#: The plates stand at -70; the search wants the middle of the hole at the origin.
LIFTED = np.array([0.0, 0.0, 70.0])


def lattice(head: Mesh, wall: Mesh, *, free=(1, 2, 3), reach=28.0):
    head, wall = (m.with_vertices(m.vertices + LIFTED) for m in (head, wall))
    passage = Passage(Surface(wall), head, free=free)
    down = np.array([0.0, 0.0, -1.0])
    door = Door(point=np.array([0, 0, -2.0]), outward=down, head=head.vertices)
    return passage, door, Lattice(passage, door, pitch_reach_deg=reach)


def test_room_of_nodes_is_that_measured_at_their_poses():
    passage, _, nodes = lattice(ellipsoid(33, 50, 36), plate(37, 46.5))
    rng = np.random.default_rng(8)
    rows = np.stack([rng.integers(0, n, 60) for n in nodes.room.shape], axis=1)
    exact = [min(passage.near(move).least_mm, ROOMY_MM) for move in nodes.moves(rows)]
    rough = nodes.room[tuple(rows.T)]
    near = np.array(exact) > -20  # deeper than that only the coarse marks are asked
    assert near.sum() > 25
    assert rough[near] == pytest.approx(np.array(exact)[near], abs=FIELD_ERROR_MM + 1.5)


def test_nodes_outside_are_those_past_the_door():
    _, door, nodes = lattice(ellipsoid(33, 50, 36), plate(37, 46.5))
    rng = np.random.default_rng(3)
    rows = np.stack([rng.integers(0, n, 200) for n in nodes.out.shape], axis=1)
    passed = [door.is_passed(move) for move in nodes.moves(rows)]
    assert nodes.out[tuple(rows.T)].tolist() == passed
    assert 20 < sum(passed) < 180


def test_widest_way_leads_from_the_seat_to_outside_in_single_steps():
    _, _, nodes = lattice(ellipsoid(33, 50, 36), plate(37, 46.5))
    guide = nodes.widest()
    assert tuple(guide.nodes[0]) == nodes.seat
    assert nodes.out[tuple(guide.nodes[-1])]
    assert np.abs(np.diff(guide.nodes, axis=0)).max() == 1
    assert nodes.room[tuple(guide.nodes.T)].min() >= guide.width_mm
    assert np.array_equal(guide.moves[0], np.zeros(6))


def test_no_wider_way_is_there():
    # By another way of finding it: grow from the seat, always to the roomiest neighbour.
    _, _, nodes = lattice(ellipsoid(33, 50, 46), plate(37, 46.5))
    room, width = nodes.room, ROOMY_MM
    seen, edge = {nodes.seat}, [(-ROOMY_MM, nodes.seat)]
    while True:
        worst, node = min(edge)
        edge.remove((worst, node))
        width = min(width, -worst)
        if nodes.out[node]:
            break
        for step in np.ndindex(3, 3, 3):
            other = tuple(int(k) + s - 1 for k, s in zip(node, step, strict=True))
            inside = all(0 <= k < n for k, n in zip(other, room.shape, strict=True))
            if inside and other not in seen:
                seen.add(other)
                edge.append((-float(room[other]), other))
    assert nodes.widest().width_mm == pytest.approx(width, abs=0.26)


def test_what_is_blocked_is_gone_round_or_narrows_the_way():
    _, _, nodes = lattice(ellipsoid(33, 50, 36), plate(37, 46.5))
    first = nodes.widest()
    middle = first.nodes[len(first.nodes) // 2]
    nodes.block(middle[None], np.array([-9.0]))
    second = nodes.widest()
    assert second.width_mm <= first.width_mm
    near = np.abs(second.nodes - middle).max(axis=1) <= 1
    assert not near.any() or second.width_mm <= -9.0


def test_what_is_not_free_is_left_out():
    _, _, nodes = lattice(ellipsoid(33, 50, 36), plate(37, 46.5), free=(2,))
    assert nodes.room.shape[1:] == (1, 1)
    assert nodes.widest().width_mm < -2


def test_field_is_as_far_off_as_it_says_near_the_skin():
    head = ellipsoid(33, 50, 46)
    tree = SurfaceTree(head)
    field = SignedField(head, tree)
    rng = np.random.default_rng(5)
    points = rng.uniform(head.bounds_mm[0] - 12, head.bounds_mm[1] + 12, (20_000, 3))
    error = np.abs(field.at(points) - tree.signed_mm(points))
    assert error.max() < FIELD_ERROR_MM
    assert np.median(error) < 1.0
