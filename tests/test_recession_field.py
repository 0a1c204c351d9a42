"""The grinding kernel against a mesh boolean, a polygon clipper, closed forms and plain loops."""

import dataclasses

import manifold3d
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.grinding.recession_field import cleared, cut, inset_at, prepare_edge, seat
from tests.wear_blades import (
    LENGTH_MM,
    RADIUS_MM,
    UM,
    arc_edge,
    circle_blade,
    ground_once,
    ideal,
    one_edged,
    straight_blade,
)

MESH_UM = 1e-4  # rays 1e-7 mm below the face; far inside the 0.5 µm asked for
CLIPPER_UM = 1e-6  # shapely intersects lines of a millimetre in double precision
LOOP = 1e-12  # relative: the same sums in another order
EXACT_UM = 1e-6
MOVED_UM = 1e-6  # a rotation of millimetres twenty millimetres from the origin
FEW = settings(max_examples=25, deadline=None)

BLADES = {
    "circle in a planar face": circle_blade(),
    "circle in a bowed face": circle_blade(bow=1 / 12),
    "toe": one_edged(arc_edge([2.5, 0.43 * np.pi / 2], [0.0, -1 / 0.43])),
    "area-specific, tilted and bowed, with toe": ek.patterns.area_specific_curette(),
}


def prepared(blade, *, stations=41, depths=7, runs=1):
    """A new edge with its field for some runs."""
    grid = prepare_edge(blade, next(iter(blade.edges)), stations=stations, depths=depths)
    field = np.repeat(grid.inset_mm[:, None, :], runs, axis=1)
    return grid, field, np.zeros((runs, stations))


def hand_planes(grid, rng, *, runs=1, planes=6, tilt_deg=3.0, swing_deg=6.0):
    """Planes near the true normals of random stations, off by tilt and swing."""
    frame = grid.edge.frame(rng.uniform(0, grid.edge.length_mm, (runs, planes)))
    opening = np.cross(frame.tangent.value, frame.outward.value)
    tilt, swing = rng.normal(size=(2, runs, planes, 1)) * np.radians(
        [[[[tilt_deg]]], [[[swing_deg]]]]
    )
    turned = frame.outward.value + np.tan(tilt) * opening + np.tan(swing) * frame.tangent.value
    return turned / np.linalg.norm(turned, axis=-1, keepdims=True)


def laid(grid, field, normals, drop=0.0, goal=0.0):
    """Planes laid against a field; drop and goal matter to the advance needed alone."""
    level = np.zeros(field.shape[1:])
    return seat(grid, field, normals, drop=level + drop, goal=level + goal)


def grind(grid, field, normals, advance, drop):
    return cut(grid, field, laid(grid, field, normals), advance, drop)


def volume(grid, before, after):
    """Steel (R,) [mm³] between two fields."""
    return cleared(grid, after) - cleared(grid, before)


# ---- independent implementations ------------------------------------------------------------


def swept_solid(grid, thickness_mm=0.3):
    """Mesh through the same section polygons; sides, top and bottom are strips between stations."""
    s = grid.depth_mm.shape[1]
    outer = (
        grid.position[None]
        + grid.inset_mm[..., None] * grid.inward[None]
        - grid.depth_mm[..., None] * grid.face[None]
    )
    back = grid.position + thickness_mm * grid.inward
    bottom = back - grid.depth_mm[-1][:, None] * grid.face
    ring = np.concatenate([outer, bottom[None], back[None]])  # (n, S, 3), round the section
    n = len(ring)
    node = np.arange(n * s).reshape(n, s)
    tri = []
    for i in range(n):
        a, b = node[i], node[(i + 1) % n]
        tri += [np.stack([a[:-1], b[:-1], b[1:]], 1), np.stack([a[:-1], b[1:], a[1:]], 1)]
    caps = [[node[n - 1, 0], node[i + 1, 0], node[i, 0]] for i in range(n - 2)]
    caps += [[node[n - 1, -1], node[i, -1], node[i + 1, -1]] for i in range(n - 2)]
    tri = np.concatenate([*tri, np.array(caps)])
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(ring.reshape(-1, 3).copy(), tri.astype(np.uint64))
    )
    if solid.volume() < 0:
        solid = manifold3d.Manifold(
            manifold3d.Mesh64(ring.reshape(-1, 3).copy(), tri[:, ::-1].astype(np.uint64))
        )
    assert solid.status() == manifold3d.Error.NoError
    assert solid.volume() > 0
    return solid


def first_hits(solid, origins, directions):
    """Distance (N,) along rays to the nearest triangle of a solid (Moller and Trumbore)."""
    mesh = solid.to_mesh64()
    corner = np.asarray(mesh.vert_properties)[:, :3][np.asarray(mesh.tri_verts).astype(int)]
    edge1, edge2 = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    hits = []
    for origin, direction in zip(origins, directions, strict=True):
        p = np.cross(direction, edge2)
        det = np.einsum("ij,ij->i", edge1, p)
        flat = np.abs(det) < 1e-16
        inv = 1 / np.where(flat, 1.0, det)
        t = origin - corner[:, 0]
        u = np.einsum("ij,ij->i", t, p) * inv
        q = np.cross(t, edge1)
        w = q @ direction * inv
        far = np.einsum("ij,ij->i", edge2, q) * inv
        inside = ~flat & (u >= -1e-7) & (w >= -1e-7) & (u + w <= 1 + 1e-7)
        hits.append(far[inside].min())
    return np.array(hits)


@pytest.mark.parametrize("name", BLADES)
def test_a_field_equals_the_same_planes_cut_from_a_mesh_solid(name):
    """Source: manifold3d's half-space trims of a solid swept through the same sections."""
    grid, _, drop = prepared(BLADES[name], depths=7)
    depth = np.linspace(0, 0.4, 7)[:, None] * np.ones(41)  # the flank: a solid without its back
    grid = dataclasses.replace(grid, depth_mm=depth, inset_mm=depth / np.tan(grid.angle_rad))
    field = grid.inset_mm[:, None, :]
    normals = hand_planes(grid, np.random.default_rng(4), planes=8)
    seating = laid(grid, field, normals)
    advance = np.full((1, 8), 0.02)
    after, *_ = cut(grid, field, seating, advance, drop)
    solid = swept_solid(grid)
    for normal, offset in zip(normals[0], (seating.support - advance)[0], strict=True):
        solid = solid.trim_by_plane(tuple(-normal), -float(offset))
    inner = slice(1, -1)  # the end sections are the solid's own end faces
    for v in range(7):
        below = np.maximum(grid.depth_mm[v], 1e-7)[inner, None]
        below = np.minimum(below, 0.4 - 1e-7)
        origin = grid.position[inner] - below * grid.face[inner] - grid.inward[inner]
        measured = first_hits(solid, origin, grid.inward[inner]) - 1.0
        np.testing.assert_allclose(after[v, 0, inner] * UM, measured * UM, atol=MESH_UM)
    assert (after > field + 1e-3).any()


@pytest.mark.parametrize("name", BLADES)
def test_a_field_equals_clipped_section_polygons(name):
    """Source: shapely clips each station's polygon by the trace of every plane that faces it."""
    grid, field, drop = prepared(BLADES[name], stations=31, depths=9)
    normals = hand_planes(grid, np.random.default_rng(5), planes=7)
    seating = laid(grid, field, normals)
    advance = np.random.default_rng(6).uniform(0, 0.05, (1, 7))
    after, *_ = cut(grid, field, seating, advance, drop)
    offset = (seating.support - advance)[0]
    clipped_something = 0
    for s in range(31):
        v, h = grid.depth_mm[:, s], grid.inset_mm[:, s]
        section = shapely.Polygon([*zip(h, -v, strict=True), (2.0, -v[-1]), (2.0, 0.0)])
        for n, p in zip(normals[0], offset, strict=True):
            if n @ grid.inward[s] >= 0:
                continue
            kept = half_plane(n @ grid.inward[s], n @ grid.face[s], p - n @ grid.position[s])
            section = section.intersection(kept)
        for k, depth in enumerate(v):
            level = -float(np.clip(depth, 1e-9, v[-1] - 1e-9))
            line = shapely.LineString([(-2.0, level), (3.0, level)])
            measured = section.intersection(line).bounds[0]
            assert after[k, 0, s] * UM == pytest.approx(measured * UM, abs=1e-5 + CLIPPER_UM)
            clipped_something += measured > h[k] + 1e-4
    assert clipped_something


def half_plane(a, b, c, size=1000.0):
    """The polygon {(u, w): a u + b w <= c}, large."""
    normal = np.array([a, b]) / np.hypot(a, b)
    foot = normal * c / np.hypot(a, b)
    along = np.array([-normal[1], normal[0]]) * size
    far = -normal * size
    return shapely.Polygon([foot + along, foot - along, foot - along + far, foot + along + far])


def loops(grid, field, normals, advance, drop, goal):
    """The kernel of the module's text, one number at a time."""
    depths, runs, stations = field.shape
    after = field.copy()
    planes = normals.shape[1]
    support = np.full((runs, planes), -np.inf)
    need = np.full((runs, planes, stations), np.inf)
    reach = np.full((runs, planes, stations), -np.inf)
    for r in range(runs):
        for p in range(planes):
            n = normals[r, p]
            facing = [-float(np.dot(n, grid.inward[s])) for s in range(stations)]
            for s in range(stations):
                if facing[s] > 1e-9:
                    for v in range(depths):
                        point = (
                            grid.position[s]
                            - grid.depth_mm[v, s] * grid.face[s]
                            + field[v, r, s] * grid.inward[s]
                        )
                        support[r, p] = max(support[r, p], float(np.dot(n, point)))
            for s in range(stations):
                if facing[s] <= 1e-9:
                    continue
                height, fall = np.dot(n, grid.position[s]), np.dot(n, grid.face[s])
                at = height - drop[r, s] * fall
                # u = goal there at the offset at - goal * facing
                need[r, p, s] = support[r, p] - (at - goal[r, s] * facing[s])
                offset = support[r, p] - advance[r, p]
                reach[r, p, s] = (at - offset) / facing[s]
                for v in range(depths):
                    u = (height - grid.depth_mm[v, s] * fall - offset) / facing[s]
                    after[v, r, s] = max(after[v, r, s], u)
    return after, support, need, reach


@pytest.mark.parametrize("name", BLADES)
def test_the_kernel_equals_plain_loops(name):
    """Source: the formulas of the module's text, written as loops."""
    rng = np.random.default_rng(7)
    grid, field, drop = prepared(BLADES[name], stations=23, depths=5, runs=3)
    drop = drop + rng.uniform(0, 0.02, drop.shape)
    normals = hand_planes(grid, rng, runs=3, planes=4)
    normals[0, 0] = -grid.face[0]  # square to every inward direction: faces nothing
    normals[1, 2] *= -1  # seen from behind
    advance = rng.uniform(0, 0.05, (3, 4))
    goal = rng.uniform(0, 0.02, drop.shape)
    seating = laid(grid, field, normals, drop, goal)
    after, reach, plane = cut(grid, field, seating, advance, drop)
    expected, support, need, expected_reach = loops(grid, field, normals, advance, drop, goal)
    scale = RADIUS_MM  # heights are differences of coordinates of this size
    for measured, wanted in (
        (after, expected),
        (seating.support, support),
        (seating.least, need.min(axis=1)),
    ):
        np.testing.assert_allclose(measured, wanted, rtol=LOOP, atol=LOOP * scale)
    np.testing.assert_array_equal(seating.server, need.argmin(axis=1))
    shares = rng.uniform(0.5, 2.0, (3, 4))
    pressed = seat(grid, field, normals, drop=drop, goal=goal, weight=shares)
    each = need / shares[:, :, None]
    np.testing.assert_allclose(pressed.least, each.min(axis=1), rtol=LOOP, atol=LOOP * scale)
    for r in range(3):
        edge = [np.interp(drop[r, s], grid.depth_mm[:, s], field[:, r, s]) for s in range(23)]
        deepest = expected_reach[r].max(axis=0)
        cuts = deepest > np.array(edge) + LOOP * scale * 1e3
        # Division by the facing magnifies rounding.
        np.testing.assert_allclose(
            reach[r, cuts], deepest[cuts], rtol=LOOP * 1e3, atol=LOOP * scale * 1e3
        )
        np.testing.assert_array_equal(plane[r, cuts], expected_reach[r].argmax(axis=0)[cuts])
        assert (reach[r, ~cuts] <= np.array(edge)[~cuts] + LOOP * scale * 1e3).all()
        assert cuts.any()


# ---- closed form ----------------------------------------------------------------------------

ROUGH_MEANS = {4: 30.01, 10: 9.18, 20: 6.20, 60: 5.32}  # µm, an independent rough simulation
STATIONS = 481  # a multiple of all counts, plus one: ridges and placements fall on stations
LOST_MM = 4e-3 / np.tan(np.radians(37.5))  # r cot(β/2)
TRAPEZIUM_UM = (LENGTH_MM / 480) ** 2 / 12 / RADIUS_MM * UM  # of a mean whose slope jumps at ridges


@pytest.mark.parametrize("count", ROUGH_MEANS)
def test_evenly_spaced_facets_cost_what_a_polygon_about_a_circle_does(count):
    """Source: derived; exact: u(φ) = R - (R - g) cos(Δθ/2) sec φ, g = r cot(β/2)."""
    done = ground_once(circle_blade(), ideal(count), stations=STATIONS)
    edge = done.edges["used"]
    turn = LENGTH_MM / RADIUS_MM / count
    inner = (RADIUS_MM - LOST_MM) * np.cos(turn / 2)
    mean = RADIUS_MM - inner * 2 * np.arcsinh(np.tan(turn / 2)) / turn
    assert edge.mean_recession_um == pytest.approx(mean * UM, abs=1.1 * TRAPEZIUM_UM)
    assert edge.deepest_recession_um == pytest.approx((RADIUS_MM - inner) * UM, abs=EXACT_UM)
    assert edge.recession_um.min() == pytest.approx(LOST_MM * UM, abs=EXACT_UM)
    assert edge.mean_recession_um == pytest.approx(ROUGH_MEANS[count], abs=0.006)
    assert done.status == "sharp"
    assert edge.sharp_fraction == 1.0


@pytest.mark.parametrize("count", [10, 20, 60])
def test_facets_cost_twelfths_in_the_mean_and_eighths_at_the_deepest(count):
    """Source: derived to second order: r cot(β/2) + κΔs²/12 and + κΔs²/8."""
    edge = ground_once(circle_blade(), ideal(count), stations=STATIONS).edges["used"]
    sagitta = (LENGTH_MM / count) ** 2 / RADIUS_MM
    third_order_um = 2e-3 * sagitta * UM + TRAPEZIUM_UM  # (Δθ)² of the term itself, and g / R
    assert edge.mean_recession_um == pytest.approx(
        (LOST_MM + sagitta / 12) * UM, abs=third_order_um
    )
    assert edge.deepest_recession_um == pytest.approx(
        (LOST_MM + sagitta / 8) * UM, abs=third_order_um
    )


def test_planes_on_a_planar_face_keep_the_internal_angle():
    """Source: derived: on a planar face a plane keeps β along its whole facet."""
    edge = ground_once(circle_blade(), ideal(4)).edges["used"]
    np.testing.assert_allclose(edge.angle_deg, 75.0, atol=1e-9)


def test_many_facets_of_a_circle_remove_what_pappus_says():
    """Source: Pappus: area of the section's lost strip times the path of its centroid.

    A wedge without a back loses the parallelogram between two flanks g apart, T deep; its
    centroid lies (g + T cotβ) / 2 inward of the old edge. The planes envelop a cone.
    """
    blade = circle_blade(thickness_mm=0.6)
    grid, field, drop = prepared(blade, stations=241, depths=201)
    depth = np.linspace(0, 0.4, 201)[:, None] * np.ones(241)
    grid = dataclasses.replace(grid, depth_mm=depth, inset_mm=depth / np.tan(grid.angle_rad))
    field = grid.inset_mm[:, None, :]
    frame = grid.edge.frame(grid.arc_mm[None])
    gap = 0.02
    advance = np.stack(
        [
            laid(grid, field, frame.outward.value[:, s : s + 1], goal=gap).least[:, s]
            for s in range(241)
        ],
        axis=1,
    )
    seating = laid(grid, field, frame.outward.value)
    after, *_ = cut(grid, field, seating, advance, drop)
    slope = 1 / np.tan(grid.angle_rad[0])
    centroid = (gap + 0.4 * slope) / 2
    turned = LENGTH_MM / RADIUS_MM
    pappus = gap * 0.4 * (RADIUS_MM - centroid) * turned
    assert float(volume(grid, field, after)[0]) == pytest.approx(pappus, rel=2e-5)


@pytest.mark.parametrize("name", BLADES)
def test_volume_is_the_integral_of_the_lost_layer(name):
    """Source: scipy's Simpson rule over the area element 1 - κu, finer in u than the formula, and
    numpy's polynomials down the flank."""
    from scipy.integrate import simpson

    from tests.plain_kernel import over_depth

    grid, field, drop = prepared(BLADES[name], stations=101, depths=101)
    normals = hand_planes(grid, np.random.default_rng(8), planes=5)
    after, *_ = grind(grid, field, normals, np.full((1, 5), 0.03), drop)
    share = np.linspace(0, 1, 9)[:, None, None]
    low, high = field[:, 0], after[:, 0]
    u = low + share * (high - low)
    layer = simpson((1 - grid.plan_curvature * u) * (high - low), x=share[:, 0, 0], axis=0)
    areas = over_depth(grid.fraction, layer[:, None])[0] * grid.depth_mm[-1]
    total = np.trapezoid(areas, grid.arc_mm)
    assert float(volume(grid, field, after)[0]) == pytest.approx(total, rel=1e-10)
    assert total > 0


# ---- planes seen from behind ----------------------------------------------------------------


def test_planes_on_the_toe_leave_the_heel_alone():
    """A plane square to a toe's end meets the side's face direction at right angles or behind."""
    blade = one_edged(arc_edge([3.0, 0.43 * np.pi * 0.75], [0.0, -1 / 0.43]))  # past the end
    grid, field, drop = prepared(blade, stations=81)
    normals = grid.edge.frame(np.array([[grid.edge.length_mm]])).outward.value
    behind = (normals[0, 0] @ grid.inward.T) >= 0
    assert behind.sum() > 40
    after, reach, *_ = grind(grid, field, normals, np.full((1, 1), 0.03), drop)
    assert (after[:, 0, behind] == field[:, 0, behind]).all()
    assert (reach[0, behind] == -np.inf).all()
    assert (after[0, 0, ~behind] > 0).any()


def test_planes_on_one_side_leave_the_other_side_alone():
    blade = ek.patterns.universal_curette()
    left = prepare_edge(blade, "left", stations=40, depths=5)
    right = prepare_edge(blade, "right", stations=40, depths=5)
    normals = left.edge.frame(left.arc_mm[None, 5:25:5]).outward.value
    side = np.abs(right.tangent[:, 0]) > 0.95
    field = right.inset_mm[:, None, :]
    seating = laid(right, field, normals)
    after, *_ = cut(right, field, seating, np.full((1, 4), 0.03), np.zeros((1, 40)))
    assert side.sum() > 20
    assert (after[:, 0, side] == field[:, 0, side]).all()


def test_a_plane_that_faces_nothing_cuts_nothing_and_is_never_enough():
    grid, field, drop = prepared(straight_blade())
    normals = grid.inward[:1][None]
    seating = laid(grid, field, normals)
    after, reach, *_ = cut(grid, field, seating, np.full((1, 1), 0.1), drop)
    assert (after == field).all()
    assert (reach == -np.inf).all()
    assert (seating.least == np.inf).all()


# ---- properties -----------------------------------------------------------------------------

seeds = st.integers(0, 2**31)
names = st.sampled_from(sorted(BLADES))
depths_mm = st.floats(0.0, 0.08, allow_nan=False)


@FEW
@given(name=names, seed=seeds, depth=depths_mm, more=depths_mm)
def test_deeper_grinding_never_gives_steel_back(name, seed, depth, more):
    grid, field, drop = prepared(BLADES[name], stations=21, depths=5)
    normals = hand_planes(grid, np.random.default_rng(seed))
    seating = laid(grid, field, normals)
    shallow, *_ = cut(grid, field, seating, np.full((1, 6), depth), drop)
    deep, *_ = cut(grid, field, seating, np.full((1, 6), depth + more), drop)
    assert (shallow >= field).all()
    assert (deep >= shallow).all()
    assert volume(grid, field, deep)[0] >= volume(grid, field, shallow)[0] >= 0


@FEW
@given(name=names, seed=seeds, depth=depths_mm)
def test_the_order_of_planes_does_not_matter(name, seed, depth):
    rng = np.random.default_rng(seed)
    grid, field, drop = prepared(BLADES[name], stations=21, depths=5)
    normals, order = hand_planes(grid, rng), rng.permutation(6)
    seating = laid(grid, field, normals)
    offset = np.full((1, 6), depth)
    expected_field, *_ = cut(grid, field, seating, offset, drop)
    turned, *_ = cut(grid, field, laid(grid, field, normals[:, order]), offset, drop)
    np.testing.assert_array_equal(expected_field, turned)


@FEW
@given(name=names, seed=seeds)
def test_a_stone_that_only_touches_takes_nothing(name, seed):
    """No load, no wear; a touching plane meets the field at one node."""
    grid, field, drop = prepared(BLADES[name], stations=21, depths=5)
    normals = hand_planes(grid, np.random.default_rng(seed))
    after, *_ = grind(grid, field, normals, np.zeros((1, 6)), drop)
    np.testing.assert_allclose(after, field, atol=1e-12)


@FEW
@given(name=names, seed=seeds, depth=depths_mm)
def test_the_least_advance_that_meets_a_goal_is_exact(name, seed, depth):
    """Advancing by what is needed brings the edge to the goal; by a little less it does not."""
    grid, field, drop = prepared(BLADES[name], stations=21, depths=5)
    normals = hand_planes(grid, np.random.default_rng(seed), planes=1)
    goal = 0.001 + depth
    seating = laid(grid, field, normals, goal=goal)
    need = seating.least[0]
    station = int(np.argmin(need))
    _, reach, *_ = cut(grid, field, seating, need[None, station : station + 1], drop)
    assert reach[0, station] == pytest.approx(goal, abs=1e-12)
    assert reach.max() <= goal + 1e-12


@FEW
@given(name=names, seed=seeds, depth=depths_mm)
def test_a_rigid_motion_or_a_mirror_changes_nothing(name, seed, depth):
    rng = np.random.default_rng(seed)
    blade = BLADES[name]
    turn = Rotation.from_rotvec(rng.normal(size=3)).as_matrix()
    if seed % 2:
        turn = turn @ np.diag([1.0, -1.0, 1.0])
    moved = blade.moved(turn, rng.uniform(-20, 20, 3))
    grid, field, drop = prepared(blade, stations=21, depths=5)
    other, other_field, _ = prepared(moved, stations=21, depths=5)
    normals = hand_planes(grid, rng)
    offset = np.full((1, 6), depth)
    after, *_ = grind(grid, field, normals, offset, drop)
    after_moved, *_ = grind(other, other_field, normals @ turn.T, offset, drop)
    facing = np.abs(normals @ grid.inward.T)
    if facing.min() > 1e-3:  # nearer to grazing the inset itself is ill-conditioned
        np.testing.assert_allclose(after * UM, after_moved * UM, atol=MOVED_UM * 100)
    assert float(volume(other, other_field, other_field)[0]) == 0


@FEW
@given(name=names, seed=seeds, runs=st.integers(2, 5))
def test_a_batch_of_runs_equals_runs_one_by_one(name, seed, runs):
    rng = np.random.default_rng(seed)
    grid, field, drop = prepared(BLADES[name], stations=21, depths=5, runs=runs)
    normals = hand_planes(grid, rng, runs=runs)
    advance = rng.uniform(0, 0.05, (runs, 6))
    expected_field, reach, *_ = grind(grid, field, normals, advance, drop)
    for r in range(runs):
        one = slice(r, r + 1)
        alone, alone_reach, *_ = grind(grid, field[:, one], normals[one], advance[one], drop[one])
        np.testing.assert_array_equal(expected_field[:, one], alone)
        edge = field[0, one]  # what does not reach beyond it cuts nothing
        np.testing.assert_array_equal(np.maximum(reach[one], edge), np.maximum(alone_reach, edge))


@pytest.mark.parametrize("depth_um", [0.0, 0.4, 37.0, 411.0])
def test_the_edge_of_a_lowered_face_is_read_off_the_flank(depth_um):
    """Source: numpy.interp on the field's nodes."""
    grid, field, drop = prepared(BLADES["circle in a planar face"], stations=5)
    lowered = drop + depth_um / UM
    expected = [np.interp(depth_um / UM, grid.depth_mm[:, s], field[:, 0, s]) for s in range(5)]
    np.testing.assert_allclose(inset_at(grid, field, lowered)[0], expected, atol=1e-15)


def test_arguments_are_left_as_they_were():
    grid, field, drop = prepared(BLADES["circle in a bowed face"])
    normals = hand_planes(grid, np.random.default_rng(1))
    kept = field.copy(), normals.copy()
    after, *_ = grind(grid, field, normals, np.full((1, 6), 0.05), drop)
    inset_at(grid, field, drop)[:] = -1
    after[:] = -1
    np.testing.assert_array_equal(field, kept[0])
    np.testing.assert_array_equal(normals, kept[1])
