"""Orientation of the stone against closed forms, sympy, an optimiser and general libraries."""

import dataclasses

import numpy as np
import pytest
import sympy
from hypothesis import example, given, settings
from scipy.optimize import minimize
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.contact.holder import held_normals
from edgekit.geometry.curve import Constant, SymbolicCurve
from edgekit.geometry.path import BentArcs, CurvePath
from tests import strategies as make

ROUNDING = 1e-12  # products of unit vectors
ROUNDING_DEG = 1e-9  # the same in degrees, after arctan2
OPTIMISER_DEG = 1e-3  # BFGS on a squared residual stops near the square root of rounding
SPLINE_DEG = 0.02  # a quintic spline through some 60 uneven points of a 2 to 9 mm edge
SIXTY_NAMED = 60  # stations are enough to meet every feature of an edge given by cubics

FEW = settings(max_examples=25, deadline=None)


def circle(radius, length, *, beta_deg=75.0, side=-1, axis=make.DOWN):
    """A circle in the plane z = 0, by sympy; side +1 puts the steel outside: a hollow edge."""
    u = sympy.Symbol("u")
    curve = SymbolicCurve(
        expressions=(radius * sympy.sin(u), radius * sympy.cos(u), 0),
        parameter=u,
        domain=(-length / 2 / radius, length / 2 / radius),
    )
    return ek.Edge(
        path=CurvePath(curve=curve, normals=Constant(value=make.UP)),
        internal_angle=Constant(value=np.radians(np.asarray(beta_deg))),
        handle_axis=np.asarray(axis, dtype=float),
        side=side,
        roll_reference=np.array([1.0, 0.0, 0.0]),
    )


def each(name):
    return pytest.mark.parametrize(name, make.NAMED.values(), ids=make.NAMED.keys())


# ---- definition ----------------------------------------------------------------------------


@each("shape")
def test_the_stone_touches_the_edge_and_meets_the_face_at_its_angle(shape):
    """n·t = 0 and f·n = -cosβ: theory T1."""
    edge = shape.edge()
    held = ek.orient(edge, stations=SIXTY_NAMED)
    face = edge.frame(held.arc_mm).face.value
    np.testing.assert_allclose(np.sum(held.normal * held.tangent, axis=1), 0, atol=ROUNDING)
    np.testing.assert_allclose(
        np.sum(held.normal * face, axis=1), -np.cos(np.radians(shape.beta_deg)), atol=ROUNDING
    )
    np.testing.assert_allclose(np.linalg.norm(held.normal, axis=1), 1, atol=ROUNDING)
    np.testing.assert_allclose(held.stone_to_face_deg, 180 - shape.beta_deg, atol=ROUNDING_DEG)


@each("shape")
def test_the_normal_is_the_face_normal_turned_about_the_tangent(shape):
    """n is f turned by π - β about t, away from the steel (scipy Rotation)."""
    edge = shape.edge()
    frame = edge.frame(edge.stations(SIXTY_NAMED))
    t = frame.tangent.value
    turn = Rotation.from_rotvec(edge.side * np.radians(180 - shape.beta_deg) * t)
    expected = turn.apply(frame.face.value)
    np.testing.assert_allclose(
        frame.inward.value, edge.side * np.cross(frame.face.value, t), atol=ROUNDING
    )
    np.testing.assert_allclose(frame.outward.value, expected, atol=ROUNDING)


@pytest.mark.parametrize("beta_deg", [45.0, 60.0, 75.0, 100.0])
@pytest.mark.parametrize("blade_radius", [0.43, 6.7])
def test_a_planar_face_square_to_the_handle_needs_one_elevation(beta_deg, blade_radius):
    """α = 90° - β at every point (theory T2), and roll follows the turn."""
    edge = circle(blade_radius, 2.0 * blade_radius, beta_deg=beta_deg)
    held = ek.orient(edge, stations=101)
    np.testing.assert_allclose(held.elevation_deg, 90 - beta_deg, atol=ROUNDING_DEG)
    turn = np.degrees(held.arc_mm[-1] / blade_radius)
    assert abs(np.ptp(held.roll_deg) - turn) < 1e-6


def test_an_optimiser_finds_the_same_orientation():
    """scipy.optimize.minimize over a rotation vector, smooth residual, cold start, 12 points.

    The stone carries a normal (its z) and a long direction (its x). Asked of it: x lies along the
    edge, the plane holds the tangent and the direction that makes β with the face inside the steel.
    """
    for shape in (make.NAMED["arc in a tilted, bowed face"], make.NAMED["torsion and twist"]):
        edge = shape.edge()
        held = ek.orient(edge, stations=6)
        frame = edge.frame(held.arc_mm)
        beta = np.radians(shape.beta_deg)
        for i in range(6):
            t, f, b = (frame[k].value[i] for k in (1, 2, 3))
            down = np.cos(beta) * b - np.sin(beta) * f

            def miss(vector, t=t, down=down):
                x, _, z = Rotation.from_rotvec(vector).as_matrix().T
                return (z @ t) ** 2 + (z @ down) ** 2 + (x @ t - 1) ** 2

            start = Rotation.align_vectors([-b, t], [[0, 0, 1], [1, 0, 0]])[0].as_rotvec()
            optimum = minimize(miss, start + 0.05, method="BFGS", options={"gtol": 1e-13})
            z = Rotation.from_rotvec(optimum.x).as_matrix()[:, 2]
            apart = np.degrees(
                np.arctan2(np.linalg.norm(np.cross(z, held.normal[i])), z @ held.normal[i])
            )
            assert apart < OPTIMISER_DEG  # the minimum is a fourth power in x: BFGS halts early


def test_roll_brings_the_normal_to_the_reference():
    """Turning n back by the roll about the handle axis (scipy Rotation) leaves azimuth 0."""
    shape = make.NAMED["torsion and twist"]
    edge = shape.edge()
    held = ek.orient(edge, stations=SIXTY_NAMED)
    a = edge.handle_axis
    right = edge.roll_reference - (edge.roll_reference @ a) * a
    right /= np.linalg.norm(right)
    back = Rotation.from_rotvec(-np.radians(held.roll_deg)[:, None] * a).apply(
        held.normal.copy()  # scipy takes no read-only array
    )
    np.testing.assert_allclose(back @ np.cross(a, right), 0, atol=1e-10)
    np.testing.assert_allclose(np.degrees(np.arcsin(back @ a)), held.elevation_deg, atol=1e-7)
    assert (back @ right > 0).all()


# ---- envelope ------------------------------------------------------------------------------


@pytest.mark.parametrize("beta_deg", [50.0, 75.0])
def test_on_a_circle_the_planes_envelop_a_cone(beta_deg):
    """Derived by sympy from n·(x - C) = 0 and its derivative: λ = R/cosβ, apex R tanβ deep."""
    u, radius, beta = sympy.symbols("u R beta", positive=True)
    point = sympy.Matrix([radius * sympy.sin(u), radius * sympy.cos(u), 0])
    into = sympy.Matrix([-sympy.sin(u), -sympy.cos(u), 0])
    normal = -sympy.sin(beta) * into - sympy.cos(beta) * sympy.Matrix([0, 0, 1])
    x = sympy.Matrix(sympy.symbols("x y z"))
    planes = [sympy.diff(normal.dot(x - point), u, k).subs(u, 0) for k in range(3)]
    (apex,) = sympy.linsolve(planes, *x)
    assert sympy.simplify(apex[2] + radius * sympy.tan(beta)) == 0
    along = sympy.sqrt(sum((a - c) ** 2 for a, c in zip(apex, point.subs(u, 0), strict=True)))
    assert sympy.simplify(along**2 - (radius / sympy.cos(beta)) ** 2) == 0

    held = ek.orient(circle(6.7, 5.65, beta_deg=beta_deg), stations=50)
    tip = held.position_mm + held.regression_mm[:, None] * held.ruling
    expected = [float(v.subs({radius: 6.7, beta: np.radians(beta_deg)})) for v in apex]
    np.testing.assert_allclose(held.regression_mm, 6.7 / np.cos(np.radians(beta_deg)), rtol=1e-9)
    np.testing.assert_allclose(tip, np.tile(expected, (50, 1)), atol=1e-8)
    # where n·a is constant the rulings make a constant angle with a: r·a = cosα
    np.testing.assert_allclose(held.ruling @ make.DOWN, np.cos(np.radians(90 - beta_deg)))


@pytest.mark.parametrize("name", ["arc in a tilted, bowed face", "torsion and twist", "inflection"])
def test_neighbouring_planes_meet_on_the_ruling_at_the_regression_distance(name):
    """numpy.linalg.solve of three planes h apart tends to C + λ r with error falling as h².

    Normals are made here from f by scipy Rotation, not taken from the orientation.
    """
    edge = make.NAMED[name].edge()
    places = edge.length_mm * np.array([0.21, 0.83])
    errors, leans = [], []
    for h in (0.05, 0.025, 0.0125):
        for place in places:
            arc = place + h * np.array([-1.0, 0.0, 1.0])
            frame = edge.frame(arc)
            angle = edge.side * np.radians(180 - make.NAMED[name].beta_deg)
            n = Rotation.from_rotvec(angle * frame.tangent.value).apply(frame.face.value)
            met = np.linalg.solve(n, np.sum(n * frame.position, axis=1))
            here = ek.orient(edge.stretch(place, edge.length_mm), stations=2)
            tip = here.position_mm[0] + here.regression_mm[0] * here.ruling[0]
            errors.append(np.linalg.norm(met - tip) / abs(here.regression_mm[0]))
            line = np.cross(n[0], n[2])
            leans.append(np.linalg.norm(np.cross(line / np.linalg.norm(line), here.ruling[0])))
    for series in (errors, leans):
        coarse, middle, fine = np.array(series).reshape(3, 2)
        orders = np.log2(coarse / middle), np.log2(middle / fine)
        assert fine.max() < 1e-2  # a share of λ; the order below is the sharper check
        assert np.min(orders) > 1.7, orders  # a symmetric difference is of second order


def test_rulings_point_into_the_steel():
    """r·f < 0, by definition (theory T6), also where the planes do not turn."""
    for shape in make.NAMED.values():
        edge = shape.edge()
        held = ek.orient(edge, stations=SIXTY_NAMED)
        face = edge.frame(held.arc_mm).face.value
        assert (np.sum(held.ruling * face, axis=1) <= 0).all()
        np.testing.assert_allclose(np.sum(held.ruling * held.normal, axis=1), 0, atol=ROUNDING)
    assert np.isinf(held.regression_mm).all()  # the last is straight
    np.testing.assert_allclose(held.ruling, held.flank, atol=ROUNDING)


def test_a_small_toe_gouges_below_59_degrees():
    """Apex R tanβ below the face: a 0.43 mm toe on 0.71 mm of steel gouges below atan(0.71/0.43).

    Theory T7; thickness and width are published (Nimmanon et al. 2022, J Indian Soc Periodontol
    26:213).
    """
    limit = np.degrees(np.arctan2(0.71, 0.43))
    assert abs(limit - 58.8) < 0.05
    for off, gouged in ((-0.01, True), (0.01, False)):
        held = ek.orient(circle(0.43, 1.2, beta_deg=limit + off), stations=30)
        assert (held.gouges(0.71) == gouged).all()


# ---- reach ---------------------------------------------------------------------------------


def test_a_flat_stone_reaches_where_the_edge_is_convex_towards_it():
    """Local condition n'·t >= 0, by central differences of n over arc."""
    edge = make.NAMED["inflection"].edge()
    held = ek.orient(edge, stations=401)
    slope = np.gradient(held.normal, held.arc_mm, axis=0)
    bend = np.sum(slope * held.tangent, axis=1)
    sure = np.abs(bend) > 1e-3  # [1/mm]: the difference quotient is not more exact
    np.testing.assert_array_equal(held.reachable[sure], bend[sure] > 0)
    assert 0 < held.reachable.mean() < 1


def test_an_endless_stone_reaches_only_the_convex_hull():
    """In a planar face an endless stone lies free where the edge lies on its convex hull.

    Oracle: scipy.spatial.ConvexHull of the plan points with two far points behind the steel.
    """
    edge = make.shape(swerve=0.6, beta_deg=75).edge()
    held = ek.orient(edge, ek.FlatStone(length_mm=np.inf), stations=801)
    plan = held.position_mm[:, :2]
    behind = np.array([[plan[0, 0], -50.0], [plan[-1, 0], -50.0]])
    hull = ConvexHull(np.concatenate([plan, behind]))
    on_hull = np.isin(np.arange(len(plan)), hull.vertices)
    differ = np.flatnonzero(on_hull != held.clear)
    assert len(differ) <= 12  # 0.1 µm is forgiven by `clear`, none by the hull: a few at each end
    blocked = (held.reachable & ~held.clear).sum() / held.reachable.sum()
    assert 0.15 < blocked < 0.5  # 'a third of the locally reachable stations of one S-curve'
    short = ek.orient(edge, ek.FlatStone(length_mm=0.2), stations=801)
    assert (short.clear >= held.clear).all()
    assert short.clear.sum() > held.clear.sum()


@pytest.mark.parametrize("beta_deg", [60.0, 75.0])
def test_the_largest_rod_in_a_hollow_circle_has_radius_r_over_sin_beta(beta_deg):
    """Meusnier: a rod of radius ρ along the flank cuts the face in curvature 1/(ρ sinβ) = 1/R.

    Second oracle: distances of the edge's points from the rod's axis, by brute force.
    """
    radius = 4.0
    edge = circle(radius, 3.0, beta_deg=beta_deg, side=1)
    largest = radius / np.sin(np.radians(beta_deg))
    held = ek.orient(edge, stations=61)
    np.testing.assert_allclose(held.max_rod_mm, largest, rtol=1e-9)
    assert not held.reachable.any()
    for ratio, fits in ((0.999, True), (1.001, False)):
        rod = ek.orient(edge, ek.RodStone(radius_mm=largest * ratio), stations=61)
        assert (rod.reachable == fits).all()
        near = edge.frame(1.5 + np.linspace(-0.2, 0.2, 101))
        here, axis = rod.position_mm[30], rod.flank[30]
        middle = here + largest * ratio * rod.normal[30]
        from_axis = np.linalg.norm(np.cross(near.position - middle, axis), axis=1)
        assert (from_axis >= largest * ratio - 1e-9).all() == fits
    convex = ek.orient(circle(radius, 3.0), stations=11)
    assert np.isinf(convex.max_rod_mm).all()


def test_a_rod_that_fits_everywhere_is_thinner_than_one_that_fits_locally():
    """The face cuts a rod in an ellipse with half-axes ρ and ρ/sinβ, which lies outside its circle
    of curvature: all of a hollow circle clears it up to ρ = R sinβ, not up to R/sinβ.

    Second oracle: distances of all the edge's points from the rod's axis.
    """
    radius, sine = 4.0, np.sin(np.radians(60))
    edge = circle(radius, 3.0, beta_deg=60, side=1)
    for rod_mm, free in ((0.999 * radius * sine, True), (0.999 * radius / sine, False)):
        rod = ek.orient(edge, ek.RodStone(radius_mm=rod_mm), stations=61)
        assert rod.reachable.all()
        assert (rod.clear == free).all()
        for i in (0, 30, 60):
            middle = rod.position_mm[i] + rod_mm * rod.normal[i]
            apart = np.linalg.norm(np.cross(rod.position_mm - middle, rod.flank[i]), axis=1)
            assert (apart > rod_mm - 1e-4).all() == free


def test_a_stone_clears_a_rise_that_lies_beyond_its_end():
    """A straight stretch, then a hollow arc of radius R: the stone is stopped where it meets a rise
    of 0.1 µm, √(2 R 0.1 µm / sinβ) into the arc (sagitta of a circle)."""
    radius, length = 2.0, 2.0
    edge = ek.Edge(
        path=BentArcs(
            start_mm=np.zeros(2),
            heading_rad=0.0,
            lengths_mm=np.array([4.0, 1.0]),
            curvatures_per_mm=np.array([0.0, 1 / radius]),
        ),
        internal_angle=Constant(value=np.radians(np.asarray(75.0))),
        handle_axis=make.DOWN,
        side=-1,
        roll_reference=np.array([1.0, 0.0, 0.0]),
    )
    held = ek.orient(edge, ek.FlatStone(length_mm=length), stations=2001)
    into_arc = np.sqrt(2 * radius * 1e-4 / np.sin(np.radians(75)))
    on_straight = held.arc_mm < 3.9
    last = held.arc_mm[held.clear & on_straight].max()
    assert abs(last - (4.0 - length / 2 + into_arc)) < 2 * held.arc_mm[1]
    assert held.reachable[on_straight].all()
    assert held.clear[held.arc_mm < last].all()


def test_roll_is_unwrapped_where_it_passes_half_a_turn():
    """Azimuths from a reference opposite the mid-edge normal run through ±180° there."""
    edge = dataclasses.replace(circle(0.43, 1.2), roll_reference=np.array([0.0, -1.0, 0.0]))
    held = ek.orient(edge, stations=50)
    assert np.abs(np.diff(held.roll_deg)).max() < 5
    assert abs(np.ptp(held.roll_deg) - np.degrees(1.2 / 0.43)) < 1e-6


def test_a_cone_turns_its_smallest_circle_to_the_edge():
    """Normal curvature cosγ/ρ of a cone at circle radius ρ (Meusnier; textbook geometry)."""
    cone = ek.ConeStone(small_radius_mm=2.0, large_radius_mm=5.0, length_of_axis_mm=4.0)
    assert abs(cone.curvature_per_mm - (4 / 5) / 2.0) < ROUNDING
    largest = 2.5  # R = ρ sinβ / cosγ
    for ratio, fits in ((1.001, True), (0.999, False)):
        hollow = circle(largest * np.sin(np.radians(75)) * ratio, 1.0, side=1)
        assert (ek.orient(hollow, cone, stations=11).reachable == fits).all()


# ---- continuity and properties ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["inflection", "straight", "torsion and twist"])
def test_frames_are_continuous(name):
    """The largest step between neighbouring stations halves when stations double."""
    edge = make.NAMED[name].edge()
    steps = []
    for stations in (201, 401):
        held = ek.orient(edge, stations=stations)
        steps.append(np.linalg.norm(np.diff(held.normal, axis=0), axis=1).max())
    assert steps[0] < 0.05
    assert steps[1] <= 0.51 * steps[0] + ROUNDING


def test_frames_stay_continuous_from_a_straight_stretch_into_an_arc():
    """A universal side of no curvature runs into its toe: the tangent turns at most Δs/r a step."""
    edge = ek.patterns.universal_curette(plan_radius_mm=np.inf).edges["left"]
    held = ek.orient(edge, stations=2001)
    step = np.linalg.norm(np.diff(held.tangent, axis=0), axis=1)
    assert step.max() <= (held.arc_mm[1] / 0.43) * 1.001
    assert np.abs(np.diff(held.roll_deg)).max() < np.degrees(held.arc_mm[1] / 0.43) * 1.001


@FEW
@given(shape=make.shapes(), motion=make.motions())
def test_rigid_motion_leaves_angles_alone(shape, motion):
    edge = shape.edge()
    old, new = ek.orient(edge, stations=9), ek.orient(edge.moved(*motion), stations=9)
    for name in ("elevation_deg", "stone_to_face_deg"):
        np.testing.assert_allclose(getattr(new, name), getattr(old, name), atol=1e-7)
    np.testing.assert_allclose((new.roll_deg - old.roll_deg + 180) % 360, 180, atol=1e-6)
    np.testing.assert_allclose(new.normal, old.normal @ motion[0].T, atol=1e-9)
    np.testing.assert_allclose(
        new.stone_curvature_per_mm, old.stone_curvature_per_mm, atol=1e-9, rtol=1e-9
    )


@FEW
@given(shape=make.shapes(), scale=make.reals(0.3, 5.0))
@example(shape=make.shape(plan=1.7e-12, twist=0.25), scale=2.0)  # rulings along the edge: λ is 0/0
def test_scaling_scales_lengths_and_leaves_angles(shape, scale):
    old, new = (ek.orient(shape.edge(scale=k), stations=9) for k in (1.0, scale))
    np.testing.assert_allclose(new.arc_mm, old.arc_mm * scale, rtol=1e-9)
    np.testing.assert_allclose(new.elevation_deg, old.elevation_deg, atol=1e-6)
    bend = old.stone_curvature_per_mm
    np.testing.assert_allclose(new.stone_curvature_per_mm * scale, bend, atol=1e-7)
    sure = (np.abs(bend) > 1e-4) & (np.abs(old.regression_mm) < 1e3)  # [1/mm], [mm]
    np.testing.assert_allclose(
        new.regression_mm[sure], old.regression_mm[sure] * scale, rtol=1e-4, atol=1e-6
    )


@FEW
@given(shape=make.shapes())
def test_mirroring_swaps_sides(shape):
    edge = shape.edge()
    twin = edge.mirrored()
    old, new = ek.orient(edge, stations=9), ek.orient(twin, stations=9)
    assert twin.side == -edge.side
    np.testing.assert_allclose(new.elevation_deg, old.elevation_deg, atol=1e-7)
    np.testing.assert_allclose((new.roll_deg + old.roll_deg + 180) % 360, 180, atol=1e-6)
    np.testing.assert_allclose(new.normal, old.normal * [1, -1, 1], atol=1e-9)
    sure = np.abs(old.stone_curvature_per_mm) > 1e-4  # [1/mm]: below, λ is rounding over rounding
    np.testing.assert_allclose(new.regression_mm[sure], old.regression_mm[sure], rtol=1e-5)


@FEW
@given(shape=make.shapes(), share=make.reals(-0.4, 0.4))
def test_reparametrising_changes_nothing(shape, share):
    """u = (1 - k) v + k v² runs along the same curve at an uneven speed."""
    old, new = (ek.orient(shape.edge(slowed=k), stations=9) for k in (0.0, share))
    np.testing.assert_allclose(new.arc_mm, old.arc_mm, rtol=1e-9)
    np.testing.assert_allclose(new.position_mm, old.position_mm, atol=1e-6)
    np.testing.assert_allclose(new.normal, old.normal, atol=1e-6)
    np.testing.assert_allclose(new.stone_curvature_per_mm, old.stone_curvature_per_mm, atol=1e-5)


@FEW
@given(shape=make.shapes(), u=make.uneven())
def test_uneven_points_give_the_same_angles_as_the_exact_curve(shape, u):
    """The edge through sampled points and normals against the polynomial it was sampled from."""
    exact = shape.edge()
    points, normals = (c.derivatives(u, 0)[0] for c in (shape.curve, shape.normals))
    edge = ek.Edge.from_points(
        points,
        face_normals=normals,
        internal_angle_deg=shape.beta_deg,
        handle_axis=shape.axis,
        inward=exact.frame(np.array(exact.length_mm / 2)).inward.value,
    )
    assert abs(edge.length_mm - exact.length_mm) < 1e-5
    new, old = ek.orient(edge, stations=9), ek.orient(exact, stations=9)
    np.testing.assert_allclose(new.elevation_deg, old.elevation_deg, atol=SPLINE_DEG)


@FEW
@given(shape=make.shapes(), share=make.reals(0.0, 1.0))
def test_one_arc_length_gives_what_an_array_gives(shape, share):
    edge = shape.edge()
    arc = edge.length_mm * np.array([share, 0.5])
    for one, many in zip(edge.frame(arc[0])[1:5], edge.frame(arc)[1:5], strict=True):
        for single, part in zip(one, many, strict=True):
            assert single.shape == (3,)
            np.testing.assert_allclose(single, part[0], rtol=ROUNDING, atol=ROUNDING)
    single, part = held_normals(edge, 12.0, arc[0]), held_normals(edge, 12.0, arc)
    np.testing.assert_allclose(single, part[0], atol=ROUNDING)


def test_a_varying_internal_angle_is_followed():
    """β rising linearly from 70° to 80° along a circle: elevation 90° - β and no other change."""
    u = np.linspace(-0.4, 0.4, 41)
    arc = np.stack([6.7 * np.sin(u), 6.7 * np.cos(u), 0 * u], axis=1)
    edge = ek.Edge.from_points(
        arc,
        face_normals=(0, 0, 1),
        internal_angle_deg=np.linspace(70, 80, 41),
        handle_axis=(0, 0, -1),
        inward=(0, -1, 0),
    )
    held = ek.orient(edge, stations=21)
    np.testing.assert_allclose(held.elevation_deg, np.linspace(20, 10, 21), atol=1e-5)
    part = ek.orient(edge.stretch(edge.length_mm / 2, edge.length_mm), stations=11)
    np.testing.assert_allclose(part.elevation_deg, held.elevation_deg[10:], atol=1e-5)


def test_the_frame_of_orientations_names_every_column_with_its_unit():
    table = ek.orient(circle(6.7, 5.65), stations=5).table
    assert {"arc_mm", "position_x_mm", "normal_z", "elevation_deg", "clear"} <= set(table.columns)
    assert len(table) == 5
