"""Measures read off meshes: against hands, closed forms, another library, differences."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from heads import bare, fsaverage, published
from scipy.spatial import ConvexHull
from scipy.special import ellipe

from fitkit.wearer.build import head_model
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.reading import EAR_ACROSS, EAR_LONG, MESH_KEYS, NECK_NORMAL
from fitkit.wearer.survey import population
from fitkit.wearer.zones import NECK, ZONES

TEMPLATE, RULER = head_model()
RIGHT, FRONT, UP = np.eye(3)
#: Read where a flat arm touches: value exact, slope spread over what lies just below.
PRESSED = {
    "head_length_mm",
    "head_breadth_mm",
    "tragion_to_top_mm",
    "bizygomatic_breadth_mm",
    "ear_breadth_mm",
    "ear_length_mm",
    "ear_protrusion_mm",
    "back_of_head_depth_mm",
}
#: Its plane rests on the back of the head, a pressed place.
ON_PRESSED = {"head_circumference_mm"}


def drawn_head(seed, *, size=0.3):
    """Points of a head drawn from the model, milder than it allows."""
    weights = np.random.default_rng(seed).normal(size=TEMPLATE.modes_mm.shape[2])
    return TEMPLATE.mean_mm + TEMPLATE.modes_mm @ (size * weights)


def at(points, name):
    return points[TEMPLATE.landmarks[name]]


def perimeter(points, normal):
    """Perimeter of the convex hull of points in a plane, by another route."""
    first = np.cross(normal, [0.3, 0.5, 0.8])
    first /= np.linalg.norm(first)
    flat = points @ np.array([first, np.cross(normal, first)]).T
    return ConvexHull(flat).area  # of a polygon, qhull's "area" is the perimeter


def cut(points, *, origin, normal, leave_out=(), above=-np.inf, below=np.inf, neck=False):
    """Section of a head by trimesh, some zones left out; end points of its segments."""
    skin = points[: TEMPLATE.n_vertices]
    inside = (skin[:, 2] > above) & (skin[:, 2] < below)
    inside &= ~np.isin(TEMPLATE.zone, [ZONES.index(z) for z in leave_out])
    if neck:
        inside &= TEMPLATE.zone == NECK
        inside[-1] = False  # the middle of the flat cut at the collar
    faces = TEMPLATE.faces[inside[TEMPLATE.faces].all(axis=1)]
    mesh = trimesh.Trimesh(skin, faces, process=False)
    lines = trimesh.intersections.mesh_plane(mesh, plane_normal=normal, plane_origin=origin)
    return lines.reshape(-1, 3)


EARS = ("ear_left", "ear_right")


def circumference_by_hand(points):
    skin, glabella = points[: TEMPLATE.n_vertices], at(points, "glabella")
    rear = (skin[:, 1] < -40) & (skin[:, 2] > -5) & (np.abs(skin[:, 0]) < 60)
    away = np.linalg.norm(skin[rear] - glabella, axis=1)
    # The tape lies in the middle of where a caliper rests, soft to 1 mm.
    back = np.average(skin[rear], axis=0, weights=np.exp(away - away.max()))
    normal = np.cross(back - glabella, RIGHT)
    normal /= np.linalg.norm(normal)
    ring = cut(points, origin=glabella, normal=normal, leave_out=EARS, above=-11)
    return perimeter(ring, normal)


def arc_by_hand(points, over, *, above=-np.inf, below=np.inf):
    left, right = at(points, "tragion_left"), at(points, "tragion_right")
    summit = right + UP if over is None else at(points, over)
    normal = np.cross(right - left, summit - left)
    normal /= np.linalg.norm(normal)
    ring = cut(points, origin=left, normal=normal, leave_out=EARS, above=above, below=below)
    ring = ring[(ring - left) @ (summit - (left + right) / 2) > 0]
    around = perimeter(np.vstack([ring, left, right]), normal)
    return around - np.linalg.norm(right - left)


def neck_by_hand(points, landmark):
    normal = NECK_NORMAL / np.linalg.norm(NECK_NORMAL)
    ring = cut(points, origin=at(points, landmark), normal=normal, neck=True)
    return perimeter(ring, normal)


def ear_by_hand(points, direction):
    skin = points[: TEMPLATE.n_vertices]
    ears = [skin[TEMPLATE.zone == ZONES.index(name)] for name in EARS]
    return np.mean([np.ptp(ear @ direction) for ear in ears])


def between(points, first, second):
    return np.linalg.norm(at(points, first) - at(points, second))


def mean_of_sides(points, name, axis):
    return (at(points, f"{name}_left") + at(points, f"{name}_right"))[axis] / 2


def skin_of(points, *stems):
    zones = [i for i, z in enumerate(ZONES) if z.startswith(stems)]
    return points[: TEMPLATE.n_vertices][np.isin(TEMPLATE.zone, zones)]


SCALP = ("brow", "crown", "temple", "back")
BY_HAND = {
    "head_circumference_mm": (circumference_by_hand, 0.3),
    "head_length_mm": (
        lambda p: np.linalg.norm(skin_of(p, "back") - at(p, "glabella"), axis=1).max(),
        1e-9,
    ),
    "head_breadth_mm": (lambda p: np.ptp(skin_of(p, *SCALP)[:, 0]), 0.6),
    "tragion_to_top_mm": (lambda p: skin_of(p, "crown")[:, 2].max(), 1e-9),
    "menton_sellion_mm": (lambda p: between(p, "menton", "sellion"), 1e-9),
    "bitragion_chin_arc_mm": (lambda p: arc_by_hand(p, "pogonion", below=11), 0.3),
    "bitragion_submandibular_arc_mm": (
        lambda p: arc_by_hand(p, "submandibular", below=11),
        0.3,
    ),
    "interpupillary_mm": (lambda p: between(p, "cornea_right", "cornea_left"), 1e-9),
    "ear_breadth_mm": (lambda p: ear_by_hand(p, EAR_ACROSS), 1e-9),
    "ear_length_mm": (lambda p: ear_by_hand(p, EAR_LONG), 1e-9),
    "neck_circumference_mm": (lambda p: neck_by_hand(p, "infrathyroid"), 0.05),
    "neck_base_circumference_mm": (lambda p: neck_by_hand(p, "neck_front"), 0.05),
    "bitragion_coronal_arc_mm": (lambda p: arc_by_hand(p, None, above=-11), 0.3),
    "bitragion_frontal_arc_mm": (lambda p: arc_by_hand(p, "glabella", above=-11), 0.3),
    "bigonial_breadth_mm": (lambda p: between(p, "gonion_right", "gonion_left"), 1e-9),
    "bitragion_breadth_mm": (lambda p: between(p, "tragion_right", "tragion_left"), 1e-9),
    "sellion_depth_mm": (lambda p: at(p, "sellion")[1], 1e-9),
    "sellion_height_mm": (lambda p: at(p, "sellion")[2], 1e-9),
    "menton_depth_mm": (lambda p: at(p, "menton")[1], 1e-9),
    "menton_height_mm": (lambda p: -at(p, "menton")[2], 1e-9),
    "back_of_head_depth_mm": (lambda p: -skin_of(p, "back")[:, 1].min(), 1e-9),
    "ectocanthus_depth_mm": (lambda p: mean_of_sides(p, "ectocanthus", 1), 1e-9),
    "ectocanthus_height_mm": (lambda p: mean_of_sides(p, "ectocanthus", 2), 1e-9),
}


@pytest.mark.parametrize("key", BY_HAND)
def test_reads_as_another_method_does(key):
    method, slack = BY_HAND[key]
    for points in (TEMPLATE.mean_mm, drawn_head(1), drawn_head(2)):
        assert RULER.read(points, key).value_mm == pytest.approx(method(points), abs=slack)


def test_every_measure_of_the_head_is_read_and_none_other():
    assert set(MESH_KEYS) <= set(CATALOGUE)
    not_on_a_mesh = {"mouth_opening_mm", "chin_drop_mm", "standing_eye_height_mm"}
    assert set(CATALOGUE) - set(MESH_KEYS) == not_on_a_mesh
    values = RULER.values(TEMPLATE.mean_mm)
    assert tuple(values) == MESH_KEYS
    for key, value in values.items():
        assert CATALOGUE[key].low < value < CATALOGUE[key].high, key


def differences(key, points, ways, *, step=1e-3):
    """Derivative of a reading along ways (p, 3, d), by central differences."""
    ahead = [RULER.read(points + step * w, key).value_mm for w in np.moveaxis(ways, 2, 0)]
    behind = [RULER.read(points - step * w, key).value_mm for w in np.moveaxis(ways, 2, 0)]
    return (np.array(ahead) - behind) / (2 * step)


def random_ways(seed, count=12):
    mix = np.random.default_rng(seed).normal(size=(TEMPLATE.modes_mm.shape[2], count))
    return np.einsum("pik,kd->pid", TEMPLATE.modes_mm, mix / 12)


def slope_along(key, points, ways):
    reading = RULER.read(points, key)
    return np.einsum("pi,pid->d", reading.slope, ways[reading.points])


@pytest.mark.parametrize("key", [k for k in MESH_KEYS if k not in PRESSED | ON_PRESSED])
def test_slope_is_the_derivative(key):
    for seed in (0, 1):
        points, ways = drawn_head(seed), random_ways(seed + 10)
        got = slope_along(key, points, ways)
        np.testing.assert_allclose(got, differences(key, points, ways), atol=2e-5)


@pytest.mark.parametrize("key", sorted(PRESSED | ON_PRESSED))
def test_slope_of_a_pressed_arm_is_near_the_derivative(key):
    # It is not the derivative of the furthest point alone, on purpose: were it that,
    # the point would be pushed in and its neighbour be the next to stand out.
    errors, sizes = [], []
    for seed in range(3):
        points, ways = drawn_head(seed), random_ways(seed + 20)
        wanted = differences(key, points, ways)
        errors.append(slope_along(key, points, ways) - wanted)
        sizes.append(wanted)
    assert np.std(errors) < 0.4 * np.std(sizes)


def soft_most(height):
    """Smooth maximum whose derivative is the share of pressure on each point."""
    return height.max() + np.log(np.exp(height - height.max()).sum())


@pytest.mark.parametrize(
    ("key", "soft"),
    [
        ("tragion_to_top_mm", lambda p: soft_most(p[RULER.cranium, 2])),
        (
            "head_breadth_mm",
            lambda p: soft_most(p[RULER.cranium, 0]) + soft_most(-p[RULER.cranium, 0]),
        ),
        ("back_of_head_depth_mm", lambda p: soft_most(-p[RULER.rear, 1])),
        (
            "head_length_mm",
            lambda p: soft_most(np.linalg.norm(p[RULER.rear] - at(p, "glabella"), axis=1)),
        ),
    ],
)
def test_slope_of_a_pressed_arm_is_that_of_a_smooth_maximum(key, soft):
    points, ways, step = drawn_head(3), random_ways(30), 1e-4
    moved = [
        (soft(points + step * w) - soft(points - step * w)) / (2 * step)
        for w in np.moveaxis(ways, 2, 0)
    ]
    # Points more than 5 mm under the arm bear less than 1 % and are left out.
    got = slope_along(key, points, ways)
    np.testing.assert_allclose(got, moved, atol=0.02 * np.abs(moved).max())


@pytest.mark.parametrize("key", MESH_KEYS)
def test_moving_the_whole_head_moves_only_what_is_read_from_the_origin(key):
    slope = RULER.read(drawn_head(4), key).slope.sum(axis=0)
    from_origin = key.endswith(("_depth_mm", "_height_mm", "_to_top_mm"))
    assert np.linalg.norm(slope) == pytest.approx(1.0 if from_origin else 0.0, abs=1e-9)


@pytest.mark.parametrize("key", MESH_KEYS)
def test_a_head_larger_by_a_sixteenth_reads_as_much_more(key):
    whole = RULER.read(TEMPLATE.mean_mm, key).value_mm
    larger = RULER.read(TEMPLATE.mean_mm * 1.0625, key).value_mm
    assert larger == pytest.approx(1.0625 * whole, rel=2e-3)  # arms press 1 mm deep in both


# --- closed forms: the template's mesh drawn onto an ellipsoid ----------------------


def on_ellipsoid(right_mm, front_mm, up_mm):
    """Every point of the template moved along its ray from the origin."""
    axes = np.array([right_mm, front_mm, up_mm])
    reach = np.linalg.norm(TEMPLATE.mean_mm / axes, axis=1, keepdims=True)
    return TEMPLATE.mean_mm / reach


def ellipse_mm(a, b):
    a, b = max(a, b), min(a, b)
    return 4 * a * ellipe(1 - (b / a) ** 2)


SIZES = [(77.165, 99.75, 115.0), (90.0, 90.0, 90.0), (70.0, 105.0, 120.0)]
#: Scalp edges of 6 to 16 mm on a curve of radius 90 lie 0.05 to 0.35 mm inside it, so a
#: tape of 560 mm reads up to 1.5 mm short of the smooth curve; arcs, half as long, half.
CHORD_MM = 0.7


@pytest.mark.parametrize("axes", SIZES)
def test_calipers_on_an_ellipsoid(axes):
    right, front, up = axes
    values = RULER.values(on_ellipsoid(*axes))
    # Only scalp over the ears is between the arms: a ball is a little narrower there.
    assert 0.98 * 2 * right < values["head_breadth_mm"] <= 2 * right
    assert values["tragion_to_top_mm"] == pytest.approx(up, abs=CHORD_MM)
    assert values["back_of_head_depth_mm"] == pytest.approx(front, abs=CHORD_MM)
    assert values["bitragion_breadth_mm"] == pytest.approx(2 * right, abs=1e-9)


@pytest.mark.parametrize("axes", SIZES)
def test_coronal_arc_on_an_ellipsoid_is_half_an_ellipse(axes):
    right, _, up = axes
    got = RULER.read(on_ellipsoid(*axes), "bitragion_coronal_arc_mm").value_mm
    assert got == pytest.approx(ellipse_mm(right, up) / 2, abs=CHORD_MM)


@pytest.mark.parametrize("axes", SIZES)
@pytest.mark.parametrize(
    ("key", "over"),
    [
        ("bitragion_frontal_arc_mm", "glabella"),
        ("bitragion_chin_arc_mm", "pogonion"),
        ("bitragion_submandibular_arc_mm", "submandibular"),
    ],
)
def test_arcs_on_an_ellipsoid_are_half_ellipses(axes, key, over):
    # The plane holds both ends of the right axis and the landmark: its section has the
    # half-axes right and, as the ends are opposite, the reach of the ellipsoid towards
    # the landmark square to the right axis.
    points = on_ellipsoid(*axes)
    way = at(points, over) * [0, 1, 1]
    reach = 1 / np.linalg.norm(way / np.linalg.norm(way) / np.array(axes))
    got = RULER.read(points, key).value_mm
    assert got == pytest.approx(ellipse_mm(axes[0], reach) / 2, abs=CHORD_MM)


@pytest.mark.parametrize("axes", SIZES)
def test_circumference_of_an_ellipsoid_is_that_of_its_section(axes):
    # A plane along the right axis, at distance d from the middle, whose normal lies in
    # the midplane, cuts an ellipse: all half-axes shrink by sqrt(1 - d^2 / h^2), where
    # h is the ellipsoid's reach along the normal (its support there).
    right, front, up = axes
    points = on_ellipsoid(*axes)
    glabella, (_, back) = at(points, "glabella"), RULER.opisthocranion(points)
    along = (back - glabella)[1:] / np.linalg.norm((back - glabella)[1:])
    normal = np.array([-along[1], along[0]])
    support = np.hypot(front * normal[0], up * normal[1])
    shrink = np.sqrt(1 - (glabella[1:] @ normal / support) ** 2)
    reach = front * up / support  # half-axis of the middle section along the plane
    got = RULER.read(points, "head_circumference_mm").value_mm
    assert got == pytest.approx(ellipse_mm(right, reach) * shrink, abs=2 * CHORD_MM)


def test_tape_spans_a_hollow_that_calipers_do_not_see():
    # Press the temples in by 6 mm between brow and back: a tape stays where it was.
    points = TEMPLATE.mean_mm.copy()
    values = RULER.values(points)
    beside = np.abs(points[:, 1] - 45) < 12
    beside &= np.abs(points[:, 2] - 40) < 25
    inner = beside & (np.abs(points[:, 0]) > 30)
    points[inner, 0] *= 0.6
    pressed = RULER.values(points)
    assert pressed["head_circumference_mm"] < values["head_circumference_mm"] + 1e-9
    gone = values["head_circumference_mm"] - pressed["head_circumference_mm"]
    pushed = np.abs(TEMPLATE.mean_mm[inner, 0] * 0.4).min()
    assert pushed > 10
    assert gone < 6.0  # each side bridged by a chord


def test_opisthocranion_glides_over_a_flat_back():
    # The furthest vertex alone would jump by 6 to 16 mm, the spacing of vertices there.
    points = TEMPLATE.mean_mm
    rise = np.radians(1.0)
    tilt = np.array([[1, 0, 0], [0, np.cos(rise), -np.sin(rise)],
                     [0, np.sin(rise), np.cos(rise)]])  # fmt: skip
    _, first = RULER.opisthocranion(points)
    _, second = RULER.opisthocranion(points @ tilt.T)
    np.testing.assert_allclose(second @ tilt, first, atol=1e-6)  # distances do not turn
    pushed = points.copy()
    pushed[RULER.rear[::2]] += 0.05 * FRONT  # roughness that a caliper does not feel
    _, third = RULER.opisthocranion(pushed)
    assert np.linalg.norm(third - first) < 1.0


# --- a real head --------------------------------------------------------------------


def test_a_real_head_measured_on_its_own_mesh():
    # By plain geometry on its own triangles; sizes from tests/reference/real_heads.csv.
    mesh, marks = fsaverage()
    size = {key: pytest.approx(mm, abs=mm_slack)
            for key, (mm, mm_slack) in published("fsaverage").items()}  # fmt: skip
    middle = (marks["tragion_left"] + marks["tragion_right"]) / 2
    right = marks["tragion_right"] - marks["tragion_left"]
    right = right / np.linalg.norm(right)
    local = mesh.vertices - middle
    skull = local[local[:, 2] > 20]
    assert np.ptp(skull @ right) == size["head_breadth_mm"]
    midline = np.abs(local @ right) < 12
    brow = local[midline & (local[:, 1] > 60) & (local[:, 2] > 15)]
    front = brow[brow[:, 1].argmax()]
    rear = local[(local[:, 1] < -40) & (local[:, 2] > -30)]  # not the flat cut below
    away = np.linalg.norm(rear - front, axis=1)
    assert away.max() == size["head_length_mm"]
    back = rear[away.argmax()]
    normal = np.cross(back - front, right)
    normal /= np.linalg.norm(normal)
    skin = trimesh.Trimesh(local, mesh.faces, process=False)
    ring = trimesh.intersections.mesh_plane(skin, normal, front).reshape(-1, 3)
    assert perimeter(ring, normal) == size["head_circumference_mm"]


def test_mean_head_reads_as_the_survey_over_usual_hair():
    # Means of women and men half and half, ANSUR II public data; NATICK/TR-15/007.
    pooled = population("pooled")
    mean = bare(dict(zip(pooled.keys, pooled.mean_mm, strict=True)), None)
    values = RULER.values(TEMPLATE.mean_mm)
    for key in pooled.keys:
        slack = 0.5 if key == "bizygomatic_breadth_mm" else 0.1
        assert values[key] == pytest.approx(mean[key], abs=slack), key
