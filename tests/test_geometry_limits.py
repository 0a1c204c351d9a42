"""Geometry from outside: sympy's derivatives, scipy's rotations and integrals, shapely's areas,
and every limit of what is refused tried on both sides.
"""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
import sympy
from scipy.integrate import quad, solve_ivp
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.evidence_table import value
from edgekit.geometry import jet, vectors
from edgekit.geometry.blade import check_apart, check_taper, section_of, width_between
from edgekit.geometry.curve import (
    Constant,
    SplineCurve,
    SymbolicCurve,
    chord_parameter,
)
from edgekit.geometry.edge import (
    Edge,
    check_angle_deg,
    check_points,
    station_weights_mm,
)
from edgekit.geometry.jet import Jet
from edgekit.geometry.path import BentArcs, CurvePath, MovedPath, StretchPath
from edgekit.geometry.patterns import Pattern, argument
from edgekit.geometry.section import Bevel, RoundBack, Triangular

RNG = np.random.default_rng(11)
U = sympy.Symbol("u")


# ---- vectors and jets ----------------------------------------------------------------------


def test_vectors_are_numpys_and_scipys():
    a, b = RNG.normal(size=(2, 5, 4, 3))
    np.testing.assert_allclose(vectors.cross(a, b), np.cross(a, b), atol=1e-15)
    np.testing.assert_allclose(vectors.cross(a, b[0, 0]), np.cross(a, b[0, 0]), atol=1e-15)
    np.testing.assert_allclose(vectors.dot(a, b), (a * b).sum(-1))
    np.testing.assert_allclose(vectors.norm(a), np.linalg.norm(a, axis=-1))
    np.testing.assert_allclose(vectors.unit(a) * vectors.norm(a)[..., None], a)
    cosine = (a * b).sum(-1) / vectors.norm(a) / vectors.norm(b)
    np.testing.assert_allclose(vectors.angle(a, b), np.arccos(cosine))
    tiny = vectors.angle(np.array([1.0, 0, 0]), np.array([1.0, 1e-9, 0]))
    assert tiny == pytest.approx(1e-9, rel=1e-12)
    axis = vectors.unit(RNG.normal(size=3))
    for angle in (0.0, 0.7, -2.5):
        want = Rotation.from_rotvec(angle * axis).as_matrix()
        np.testing.assert_allclose(vectors.rotation(axis, angle), want, atol=1e-15)


def jets_of(expressions, at, order=2):
    """Values and derivatives of expressions at a place, by sympy."""
    rows = [
        [float(sympy.diff(e, U, n).subs(U, at)) if n else float(e.subs(U, at)) for e in expressions]
        for n in range(order + 1)
    ]
    return Jet(*(np.array(row) for row in rows))


A = [sympy.sin(U), U**2 + 1, sympy.exp(U / 2)]
B = [1 + U**3, sympy.cos(2 * U), U - 3]
DOT = sum(a * b for a, b in zip(A, B, strict=True))
LENGTH = sympy.sqrt(sum(a * a for a in A))


@pytest.mark.parametrize("at", [0.3, 1.1])
@pytest.mark.parametrize("order", [0, 1, 2])
def test_products_and_roots_of_jets_are_sympys(at, order):
    a, b = jets_of(A, at, order), jets_of(B, at, order)

    def same(got, expressions, size=None):
        want = jets_of(expressions, at, order if size is None else size)
        assert len(got) == len(want)
        for own, their in zip(got, want, strict=True):
            np.testing.assert_allclose(np.ravel(own), their, rtol=1e-12, atol=1e-13)

    same(jet.product(vectors.dot, a, b), [DOT])
    same(jet.cross(a, b), list(sympy.Matrix(A).cross(sympy.Matrix(B))))
    same(jet.unit(a), [e / LENGTH for e in A])
    same(a.times(-2.5), [-2.5 * e for e in A])
    same(a.plus(b), [x + y for x, y in zip(A, B, strict=True)])
    first = Jet(*(part[0] for part in a))
    c, s = jet.cos_sin(first)
    same(c, [sympy.cos(A[0])])
    same(s, [sympy.sin(A[0])])
    same(jet.scale(first, b), [A[0] * e for e in B])
    shorter = Jet(*b[:1])
    same(jet.product(vectors.dot, a, shorter), [DOT], 0)
    same(a.plus(shorter), [x + y for x, y in zip(A, B, strict=True)], 0)
    assert a.value is a[0]
    if order == 2:
        assert a.d1 is a[1]
        assert a.d2 is a[2]


@pytest.mark.parametrize("order", [0, 1, 2])
def test_derivatives_by_arc_length_follow_the_chain_rule(order):
    arc = U + U**3 / 3  # speed 1 + u²
    inside = [sympy.sin(arc), arc**2, sympy.exp(-arc)]
    at = 0.6
    speed, rate = np.array(1 + at**2), np.array(2 * at)
    got = jets_of(inside, at, order).per(speed, rate)
    s = sympy.Symbol("s")
    length = float(arc.subs(U, at))
    plain = [sympy.sin(s), s**2, sympy.exp(-s)]
    for n, part in enumerate(got):
        want = [
            float(sympy.diff(e, s, n).subs(s, length)) if n else float(e.subs(s, length))
            for e in plain
        ]
        np.testing.assert_allclose(part, want, rtol=1e-12)
    assert len(got) == order + 1
    scalar = Jet(*(part[:1] for part in jets_of(inside, at, order)))
    again = scalar.per(np.array([speed]), np.array([rate]))
    for n, part in enumerate(again):
        np.testing.assert_allclose(part, got[n][:1])


# ---- curves --------------------------------------------------------------------------------


def test_a_constant_has_no_derivatives():
    curve = Constant(value=np.array([0.0, 0.6, 0.8]))
    rows = curve.derivatives(np.zeros((4, 2)), 3)
    assert [row.shape for row in rows] == [(4, 2, 3)] * 4
    assert (rows[0] == [0, 0.6, 0.8]).all()
    assert not np.stack(rows[1:]).any()
    assert curve.domain == (-math.inf, math.inf)
    for order in (-1, 4):
        with pytest.raises(ek.BadArgument, match="order"):
            curve.derivatives(np.zeros(2), order)


@pytest.mark.parametrize(("count", "degree"), [(4, 3), (5, 3), (6, 5), (7, 5), (40, 5)])
def test_a_spline_is_as_high_as_its_points_allow_up_to_quintic(count, degree):
    u = np.sort(RNG.uniform(-1, 2, count))
    values = np.stack([u**degree - u, 2 * u**2], axis=1)
    curve = SplineCurve.through(u, values)
    assert curve.spline.k == degree
    assert curve.domain == pytest.approx((u[0], u[-1]))
    at = np.linspace(u[0], u[-1], 9)
    got = curve.derivatives(at, 3)
    np.testing.assert_allclose(got[0][:, 0], at**degree - at, atol=1e-9)
    np.testing.assert_allclose(got[1][:, 1], 4 * at, atol=1e-8)
    np.testing.assert_allclose(got[2][:, 1], 4, atol=1e-6)
    want = degree * (degree - 1) * (degree - 2) * at ** (degree - 3)
    np.testing.assert_allclose(got[3][:, 0], want, atol=1e-4 * max(abs(want).max(), 1))
    assert len(curve.derivatives(at, 0)) == 1


def test_what_a_spline_passes_through_is_checked_at_its_limits():
    u = np.arange(4.0)
    with pytest.raises(ek.BadArgument, match="4 values or more"):
        SplineCurve.through(u[:3], np.zeros((3, 2)))
    with pytest.raises(ek.BadArgument, match="4 values or more"):
        SplineCurve.through(u, np.zeros((5, 2)))
    with pytest.raises(ek.BadArgument, match="row 3 does not"):
        SplineCurve.through([0.0, 1, 2, 2], np.zeros((4, 2)))
    with pytest.raises(ek.BadArgument, match="row 2 does not") as refused:
        SplineCurve.through([0.0, 3, 2, 4], np.zeros((4, 2)))
    assert "got 2.0" in str(refused.value)
    with pytest.raises(ek.BadArgument, match="100,000 or less"):
        SplineCurve.through(np.arange(100_001.0), np.zeros(100_001))
    assert SplineCurve.through(u, np.zeros(4)).derivatives(np.array(1.0), 1)[1] == 0


def test_a_symbolic_curve_runs_upwards_over_its_domain():
    curve = SymbolicCurve(expressions=(U**3, 2, sympy.sin(U)), parameter=U, domain=(-1, 2))
    assert curve.domain == (-1.0, 2.0)
    rows = curve.derivatives(np.array([0.5, 1.0]), 3)
    np.testing.assert_allclose(rows[0], [[0.125, 2, np.sin(0.5)], [1, 2, np.sin(1)]])
    np.testing.assert_allclose(rows[3], [[6, 0, -np.cos(0.5)], [6, 0, -np.cos(1)]])
    for domain in ((1, 1), (2, 1)):
        with pytest.raises(ek.BadArgument, match="run upwards"):
            SymbolicCurve(expressions=(U,), parameter=U, domain=domain)
    with pytest.raises(ek.BadArgument, match="order"):
        curve.derivatives(np.array([0.5]), 4)


def test_a_chord_parameter_is_the_running_length():
    points = np.array([[0.0, 0, 0], [3, 4, 0], [3, 4, 12], [4, 4, 12]])
    np.testing.assert_allclose(chord_parameter(points), [0, 5, 17, 18])


# ---- paths ---------------------------------------------------------------------------------

ARCS = BentArcs(
    start_mm=np.array([-2.0, 0.4]),
    heading_rad=0.3,
    lengths_mm=np.array([1.5, 2.0, 0.7]),
    curvatures_per_mm=np.array([-0.2, 0.0, 1.3]),
    bow_per_mm=0.11,
)


def follow_their_differences(at, arc, *names):
    """Whether tangents and derivatives are the differences of what they are derivatives of."""
    h = 1e-4
    low, mid, high = (at(arc + d) for d in (-h, 0, h))
    np.testing.assert_allclose(
        (high.position - low.position) / (2 * h), mid.tangent.value, atol=1e-7
    )
    for name in names:
        before, here, after = (getattr(frame, name) for frame in (low, mid, high))
        np.testing.assert_allclose((after.value - before.value) / (2 * h), here.d1, atol=1e-6)
        np.testing.assert_allclose((after.d1 - before.d1) / (2 * h), here.d2, atol=1e-6)


@pytest.mark.parametrize("bow", [0.0, 0.11, -0.2])
def test_bent_arcs_are_the_integral_of_their_own_headings(bow):
    path = BentArcs(
        start_mm=ARCS.start_mm,
        heading_rad=0.3,
        lengths_mm=ARCS.lengths_mm,
        curvatures_per_mm=ARCS.curvatures_per_mm,
        bow_per_mm=bow,
    )
    assert path.length_mm == pytest.approx(4.2)
    arc = np.array([0.0, 0.6, 1.5, 2.3, 3.5, 3.9, 4.2])

    def kappa(s):
        return -0.2 if s < 1.5 else (0.0 if s < 3.5 else 1.3)

    plan = [ARCS.start_mm]
    heading = [0.3]
    for a, b in pairwise(arc):
        k = kappa((a + b) / 2)
        step = solve_ivp(
            lambda s, _, k, a, psi: [np.cos(psi + k * (s - a)), np.sin(psi + k * (s - a))],
            (a, b),
            plan[-1],
            rtol=1e-11,
            atol=1e-12,
            args=(k, a, heading[-1]),
        )
        plan.append(step.y[:, -1])
        heading.append(heading[-1] + k * (b - a))
    x, y = np.array(plan).T
    # Rolled: x runs along an arc of curvature k in the plane of x and z.
    at = [
        (quad(lambda t: np.cos(bow * t), 0, c)[0], quad(lambda t: np.sin(bow * t), 0, c)[0])
        for c in x
    ]
    frame = path.at(arc)
    want = np.stack([np.array(at)[:, 0], y, np.array(at)[:, 1]], axis=1)
    np.testing.assert_allclose(frame.position, want, atol=1e-9)
    slope, psi = bow * x, np.array(heading)
    face = np.stack([-np.sin(slope), 0 * slope, np.cos(slope)], axis=1)
    np.testing.assert_allclose(frame.face.value, face, atol=1e-9)
    tangent = np.stack([np.cos(psi) * np.cos(slope), np.sin(psi), np.cos(psi) * np.sin(slope)], 1)
    np.testing.assert_allclose(frame.tangent.value, tangent, atol=1e-9)
    # Derivatives by differences within the arcs, and past both ends on the last arcs.
    follow_their_differences(path.at, np.array([-0.4, 0.6, 2.3, 3.9, 4.6]), "tangent", "face")
    for order in (0, 1, 2):
        short = path.at(arc, order)
        assert len(short.tangent) == len(short.face) == order + 1
        np.testing.assert_array_equal(short.tangent.value, frame.tangent.value)


def test_arcs_have_lengths_above_nothing():
    given = {"start_mm": np.zeros(2), "heading_rad": 0.0}
    for lengths in ([], [1.0, 0.0], [1.0, -1.0]):
        with pytest.raises(ek.BadArgument, match="lengths_mm"):
            BentArcs(
                lengths_mm=np.array(lengths), curvatures_per_mm=np.zeros(len(lengths)), **given
            )
    with pytest.raises(ek.BadArgument, match="curvatures_per_mm"):
        BentArcs(lengths_mm=np.ones(2), curvatures_per_mm=np.zeros(3), **given)
    flat = BentArcs(lengths_mm=np.ones(1), curvatures_per_mm=np.zeros(1), **given)
    assert flat.bow_per_mm == 0


HELIX = SymbolicCurve(
    expressions=(3 * sympy.cos(U**2), 3 * sympy.sin(U**2), 0.5 * U**2),
    parameter=U,
    domain=(0.5, 1.5),
)


def test_a_curves_path_goes_by_arc_length_with_a_face_square_to_it():
    normals = SymbolicCurve(
        expressions=(sympy.cos(U), sympy.sin(3 * U), 3 + U), parameter=U, domain=(0.5, 1.5)
    )
    path = CurvePath(curve=HELIX, normals=normals)
    pace = math.hypot(3, 0.5)  # along u²
    assert path.length_mm == pytest.approx(2 * pace, rel=1e-12)
    arc = np.linspace(0, 2 * pace, 7)
    frame = path.at(arc)
    u = np.sqrt(0.25 + arc / pace)
    want = np.stack([3 * np.cos(u**2), 3 * np.sin(u**2), 0.5 * u**2], axis=1)
    np.testing.assert_allclose(frame.position, want, atol=1e-9)
    np.testing.assert_allclose(
        path.arc_of(np.array([0.5, 0.9, 1.5])), [0, (0.81 - 0.25) * pace, 2 * pace]
    )
    raw = np.stack([np.cos(u), np.sin(3 * u), 3 + u], axis=1)
    tangent = frame.tangent.value
    left = raw - (raw * tangent).sum(1)[:, None] * tangent
    np.testing.assert_allclose(
        frame.face.value, left / np.linalg.norm(left, axis=1)[:, None], atol=1e-9
    )
    follow_their_differences(path.at, arc[1:-1], "tangent", "face")
    for order in (0, 1):
        short = path.at(arc, order)
        assert len(short.tangent) == len(short.face) == order + 1
        np.testing.assert_allclose(short.face.value, frame.face.value, atol=1e-15)
        np.testing.assert_allclose(short.tangent[-1], frame.tangent[order], atol=1e-13)
    # Past the ends stands the end.
    np.testing.assert_allclose(path.at(np.array(-1.0)).position, want[0], atol=1e-9)
    np.testing.assert_allclose(path.at(np.array(99.0)).position, want[-1], atol=1e-9)


def test_a_curve_that_stands_still_is_refused_where_it_does():
    still = SymbolicCurve(expressions=(U**3, 0, 0), parameter=U, domain=(-1, 1))
    up = Constant(value=np.array([0.0, 0, 1]))
    with pytest.raises(ek.BadArgument, match="zero speed") as refused:
        CurvePath(curve=still, normals=up)
    assert "got 0.0" in str(refused.value)
    # A billionth of the mean speed is standing still, a little more is not.
    for least, good in ((1.002e-9, True), (0.995e-9, False)):
        slow = SymbolicCurve(
            expressions=(4 * (least * U + U**3 / 3 * 3), 0, 0), parameter=U, domain=(-1, 1)
        )
        mean = 4 * (1 + least)
        assert slow.derivatives(np.array(0.0), 1)[1][0] == pytest.approx(least * mean, rel=1e-6)
        if good:
            CurvePath(curve=slow, normals=up)
        else:
            with pytest.raises(ek.BadArgument, match="zero speed"):
                CurvePath(curve=slow, normals=up)


def test_moved_and_cut_paths_keep_their_frames():
    turn = Rotation.from_rotvec([0.2, -0.4, 0.9]).as_matrix()
    moved = MovedPath(path=ARCS, matrix=turn, offset_mm=np.array([1.0, 2.0, 3.0]))
    assert moved.length_mm == ARCS.length_mm
    arc = np.linspace(0, 4, 5)
    own, then = ARCS.at(arc), moved.at(arc)
    np.testing.assert_allclose(then.position, own.position @ turn.T + [1, 2, 3])
    for a, b in zip((*own.tangent, *own.face), (*then.tangent, *then.face), strict=True):
        np.testing.assert_allclose(b, a @ turn.T, atol=1e-15)
    part = StretchPath(path=ARCS, from_mm=1.0, to_mm=3.5)
    assert part.length_mm == 2.5
    np.testing.assert_allclose(part.at(np.array([0.5])).position, ARCS.at(np.array([1.5])).position)
    assert len(part.at(np.array([0.5]), 1).face) == 2


# ---- sections ------------------------------------------------------------------------------


def polygon_of(section, thickness, width):
    """The section as a polygon through its insets."""
    v = np.linspace(0, thickness, 4001)
    inset = section.inset_mm(v)
    right = np.stack([width - inset, -v], axis=1)
    left = np.stack([inset, -v], axis=1)
    return shapely.Polygon(np.concatenate([left, right[::-1]]))


@pytest.mark.parametrize("beta", [60.0, 75.0, 85.0])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_a_round_backs_area_and_form_are_shapelys(beta, share):
    low, high = 0.43 * np.tan(np.radians([beta / 2, beta]))
    thick = low + share * (high - low) * 0.999 + (1e-9 if share == 0 else 0)
    section = RoundBack(width_mm=0.86, thickness_mm=thick, internal_angle_deg=beta)
    shape = polygon_of(section, thick, 0.86)
    assert section.area_mm2 == pytest.approx(shape.area, rel=1e-4)
    rho, b = section.back_radius_mm, np.radians(beta)
    centre = thick - rho
    # The flank touches the circle of the back.
    assert abs(0.43 * np.sin(b) - centre * np.cos(b)) == pytest.approx(rho)
    foot = section.flank_mm * np.array([np.cos(b), np.sin(b)])
    assert np.hypot(foot[0] - 0.43, foot[1] - centre) == pytest.approx(rho)
    v = section.flank_mm * np.sin(b) * np.array([0.5, 1.0])
    np.testing.assert_allclose(section.inset_mm(v), v / np.tan(b), atol=1e-9)
    below = foot[1] + 0.5 * (thick - foot[1])
    inset = float(section.inset_mm(np.array(below)))
    assert np.hypot(0.43 - inset, below - centre) == pytest.approx(rho)
    assert section.inset_mm(np.array(thick)) == pytest.approx(0.43, abs=1e-6)
    other = min(thick * 1.02, high * 0.9999)
    theirs = RoundBack(width_mm=0.86, thickness_mm=other, internal_angle_deg=beta)
    depth = np.linspace(0, other, 7)
    np.testing.assert_allclose(
        section.inset_mm(depth, np.array(other)), theirs.inset_mm(depth), atol=1e-12
    )


def test_a_round_back_lies_between_all_round_and_a_wedge():
    low, high = 0.43 * np.tan(np.radians([37.5, 75]))
    given = {"width_mm": 0.86, "internal_angle_deg": 75}
    RoundBack(thickness_mm=low * (1 + 1e-12), **given)
    RoundBack(thickness_mm=high * (1 - 1e-9), **given)
    for wrong in (low * (1 - 1e-9), high, high * 1.01):
        with pytest.raises(ek.BadArgument, match="all round"):
            RoundBack(thickness_mm=wrong, **given)
    section = RoundBack(thickness_mm=0.71, **given)
    widths = np.array([0.2, 0.86, 3.0])
    np.testing.assert_allclose(section.depth_mm(widths), 0.71)
    np.testing.assert_allclose(section.depth_mm(widths, 1.1), 0.781)
    np.testing.assert_allclose(
        section.depth_mm(widths, np.array([0.1, 1.0, 9.0])),
        [low, 0.71, high * (1 - 1e-6)],
        rtol=1e-9,
    )
    thick = RoundBack(thickness_mm=high * (1 - 1e-9), **given)
    np.testing.assert_allclose(thick.depth_mm(widths, 9.0), thick.thickness_mm, rtol=1e-12)
    for angle in (90.0, 120.0):
        with pytest.raises(ek.BadArgument, match="internal_angle_deg"):
            Triangular(width_mm=0.8, internal_angle_deg=angle)
    Triangular(width_mm=0.8, internal_angle_deg=89.99)


def test_triangles_and_bevels_are_shapelys():
    for beta in (50.0, 75.0):
        section = Triangular(width_mm=0.8, internal_angle_deg=beta)
        thick = 0.4 * np.tan(np.radians(beta))
        assert section.thickness_mm == pytest.approx(thick)
        shape = shapely.Polygon([(0, 0), (0.8, 0), (0.4, -thick)])
        assert section.area_mm2 == pytest.approx(shape.area)
        assert section.flank_mm == pytest.approx(np.hypot(0.4, thick))
        np.testing.assert_allclose(section.depth_mm(np.array([0.4, 0.8])), [thick / 2, thick])
        np.testing.assert_allclose(section.depth_mm(np.array([0.4]), 0.1), [thick / 2])
        np.testing.assert_allclose(
            section.inset_mm(np.array([0.1])), [0.1 / np.tan(np.radians(beta))]
        )
        bevel = Bevel(width_mm=1.5, thickness_mm=0.9, internal_angle_deg=beta)
        foot = 0.9 / np.tan(np.radians(beta))
        shape = shapely.Polygon([(0, 0), (1.5, 0), (1.5, -0.9), (foot, -0.9)])
        assert bevel.area_mm2 == pytest.approx(shape.area)
        assert bevel.flank_mm == pytest.approx(np.hypot(foot, 0.9))
        np.testing.assert_allclose(bevel.depth_mm(np.array([0.2, 1.5]), 0.5), 0.45)
        np.testing.assert_allclose(bevel.depth_mm(np.array([0.2, 1.5])), 0.9)
    most = 1.5 * np.tan(np.radians(45))
    assert Bevel(width_mm=1.5, thickness_mm=most, internal_angle_deg=45).area_mm2 == pytest.approx(
        1.125
    )
    with pytest.raises(ek.BadArgument, match="bevel outruns"):
        Bevel(width_mm=1.5, thickness_mm=most * (1 + 1e-9), internal_angle_deg=45)
    kinds = ek.BladeClass
    assert isinstance(section_of(kinds.HOE, 1.5, 45, 0.5), Bevel)
    assert isinstance(section_of(kinds.UNIVERSAL, 0.86, 75, 0.71), RoundBack)
    assert isinstance(section_of(kinds.UNIVERSAL, 0.86, 75, None), Triangular)
    assert isinstance(section_of(kinds.CURVED_SICKLE, 0.8, 75, 0.7), Triangular)
    assert [kind for kind in kinds if kind.tapers] == [kinds.STRAIGHT_SICKLE, kinds.CURVED_SICKLE]


# ---- edges ---------------------------------------------------------------------------------


def circle(count=41, radius=6.7):
    u = np.linspace(-0.4, 0.4, count)
    return np.stack([radius * np.sin(u), radius * np.cos(u), 0 * u], axis=1)


GIVEN = {"face_normals": (0, 0, 1), "internal_angle_deg": 75, "handle_axis": (0, 0, -1)}


def test_the_points_of_an_edge_are_checked_at_their_limits():
    points = circle()
    assert check_points("p", points[:4]).shape == (4, 3)
    with pytest.raises(ek.BadArgument, match="4 points or more"):
        check_points("p", points[:3])
    assert len(check_points("p", points[:8], 8)) == 8
    with pytest.raises(ek.BadArgument, match="8 points or more"):
        check_points("p", points[:7], 8)
    # A step of a ten-millionth of the length is a repeat.
    line = np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [2.5, 0, 0], [4, 0, 0]])
    for step, good in ((4.1e-7, True), (3.9e-7, False)):
        line[3, 0] = 2 + step
        if good:
            check_points("p", line)
        else:
            with pytest.raises(ek.BadArgument, match="repeats a point in rows 2 and 3"):
                check_points("p", line)
            with pytest.raises(ek.BadArgument, match="repeats a point in lines 12 and 13"):
                check_points("p", line, lines=range(10, 15))
    # A turn by 120° is back on itself; between steps shorter than the blur it means nothing.
    for degrees, good in ((119.9, True), (120.1, False)):
        a = np.radians(degrees)
        bent = np.array(
            [
                [0.0, 0, 0],
                [1, 0, 0],
                [2, 0, 0],
                [2 + np.cos(a), np.sin(a), 0],
                [2 + 2 * np.cos(a), 2 * np.sin(a), 0],
            ]
        )
        if good:
            check_points("p", bent)
        else:
            with pytest.raises(ek.BadArgument, match="turns back on itself at row 2"):
                check_points("p", bent)
            with pytest.raises(ek.BadArgument, match="turns back on itself at line 7"):
                check_points("p", bent, lines=range(5, 10))
            check_points("p", bent, blur_mm=1.01)
            with pytest.raises(ek.BadArgument, match="turns back"):
                check_points("p", bent, blur_mm=0.99)
            short = bent.copy()
            short[3:] = short[2] + 0.5 * (short[3:] - short[2])
            check_points("p", short, blur_mm=0.6)  # the shorter of two steps counts
    for length, good in ((0.1001, True), (0.0999, False), (199.9, True), (200.1, False)):
        line = np.linspace([0, 0, 0], [length, 0, 0], 5)
        if good:
            check_points("p", line)
        else:
            with pytest.raises(ek.BadArgument, match="length in mm"):
                check_points("p", line)


def test_normals_and_angles_along_an_edge_are_checked_at_their_limits():
    points = circle()

    def edge(**changed):
        return Edge.from_points(points, **GIVEN | changed)

    tangent = vectors.unit(np.gradient(points, axis=0))
    up = np.tile([0.0, 0, 1], (41, 1))
    for cosine, good in ((0.49, True), (0.51, False)):
        lean = cosine * tangent + math.sqrt(1 - cosine**2) * up
        if good:
            edge(face_normals=lean)
        else:
            with pytest.raises(ek.BadArgument, match="leans along it"):
                edge(face_normals=lean)
    flipped = up.copy()
    flipped[20:] = [0, 0.0, -1]
    with pytest.raises(ek.BadArgument, match="turn over between rows 19 and 20"):
        edge(face_normals=flipped)
    for angle, good in ((10.01, True), (10.0, False), (169.9, True), (170.0, False), (1.3, False)):
        if good:
            assert check_angle_deg("b", angle) == angle
        else:
            with pytest.raises(ek.BadArgument, match="between 10 and 170"):
                check_angle_deg("b", angle)
    with pytest.raises(ek.BadArgument, match=r"did you mean 74\.5"):
        check_angle_deg("b", 1.3)
    with pytest.raises(ek.BadArgument, match=r"did you mean 179\.9"):
        check_angle_deg("b", 3.14)
    for plain in (0.0, 3.15, -1.0):
        with pytest.raises(ek.BadArgument) as refused:
            check_angle_deg("b", plain)
        assert "radians" not in str(refused.value)
    varying = edge(internal_angle_deg=np.linspace(70, 80, 41))
    assert varying.nominal_angle_deg == pytest.approx(75, abs=0.01)
    frame = varying.frame(np.array([0.0, varying.length_mm]))
    np.testing.assert_allclose(np.degrees(frame.angle.value), [70, 80], atol=1e-6)
    np.testing.assert_allclose(np.degrees(frame.angle.d1) * varying.length_mm, 10, atol=1e-3)
    with pytest.raises(ek.BadArgument, match="between 10 and 170"):
        edge(internal_angle_deg=np.linspace(9, 80, 41))


def test_the_steel_lies_where_inward_points_if_it_points_across():
    points = circle()
    assert Edge.from_points(points, **GIVEN).side == 1
    for inward, side in (((0, -1, 0), -1), ((0, 1, 0), 1)):
        edge = Edge.from_points(points, inward=inward, **GIVEN)
        assert edge.side == side
        middle = edge.frame(np.array(edge.length_mm / 2))
        assert middle.inward.value @ inward > 0.99
        assert edge.roll_reference == pytest.approx(middle.tangent.value)
    for lean, good in ((0.101, True), (0.099, False), (-0.101, True), (-0.099, False)):
        inward = (math.sqrt(1 - lean**2), lean, 0)
        if good:
            assert Edge.from_points(points, inward=inward, **GIVEN).side == math.copysign(1, lean)
        else:
            with pytest.raises(ek.BadArgument, match="across the edge"):
                Edge.from_points(points, inward=inward, **GIVEN)
    with pytest.raises(ek.BadArgument, match="side must be"):
        Edge(
            path=ARCS,
            internal_angle=Constant(value=1.3),
            handle_axis=(0, 0, -1),
            side=0,
            roll_reference=(1, 0, 0),
        )


def edges_of_two_angles():
    fixed = ek.patterns.area_specific_curette(bow_radius_mm=9.0).edges["used"]
    beta = SymbolicCurve(expressions=(1.2 + 0.03 * U**2,), parameter=U, domain=(0, 10))

    class Scalar:
        domain = (0.0, 10.0)

        def derivatives(self, u, order):
            return tuple(row[..., 0] for row in beta.derivatives(np.asarray(u), order))

    import dataclasses

    return fixed, dataclasses.replace(fixed, internal_angle=Scalar())


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("mirror", [False, True])
def test_a_frame_and_its_derivatives_follow_their_definitions(which, mirror):
    edge = edges_of_two_angles()[which]
    edge = edge.mirrored() if mirror else edge
    arc = np.array([0.4, 2.0, 5.0])
    frame = edge.frame(arc)
    beta = 1.2 + 0.03 * arc**2 if which else np.full(3, np.radians(75))
    f, t = frame.face.value, frame.tangent.value
    b = edge.side * np.cross(f, t)
    np.testing.assert_allclose(frame.inward.value, b, atol=1e-12)
    n = -np.sin(beta)[:, None] * b - np.cos(beta)[:, None] * f
    np.testing.assert_allclose(frame.outward.value, n, atol=1e-12)
    d = np.cos(beta)[:, None] * b - np.sin(beta)[:, None] * f
    np.testing.assert_allclose(frame.flank, d, atol=1e-12)
    np.testing.assert_allclose(frame.plan_curvature, (frame.tangent.d1 * b).sum(1), atol=1e-12)
    np.testing.assert_allclose(frame.relative_curvature, (frame.outward.d1 * t).sum(1), atol=1e-12)
    normal = (frame.tangent.d1 * f).sum(1)
    want = np.sin(beta) * (frame.plan_curvature + normal / np.tan(beta))
    np.testing.assert_allclose(frame.relative_curvature, want, atol=1e-9)
    follow_their_differences(edge.frame, arc, "inward", "outward")
    for order in (0, 1):
        short = edge.frame(arc, order)
        assert len(short.outward) == order + 1
        np.testing.assert_allclose(short.outward[order], frame.outward[order], atol=1e-14)
    with pytest.raises(ek.BadArgument, match="order"):
        edge.frame(arc, 3)
    with pytest.raises(ek.BadArgument, match="order"):
        edge.frame(arc, -1)


def test_stations_are_even_and_kept():
    edge = ek.patterns.universal_curette().edges["left"]
    np.testing.assert_allclose(edge.stations(5), np.linspace(0, edge.length_mm, 5))
    assert edge.stations(2).tolist() == [0, edge.length_mm]
    for count in (1, 100_001):
        with pytest.raises(ek.BadArgument, match="stations"):
            edge.stations(count)
    _, frame = edge.at_stations(7)
    again = edge.at_stations(7)
    assert again[1] is frame
    assert len(edge.at_stations(8)[0]) == 8
    assert not frame.position.flags.writeable
    assert len(frame.tangent) == 1
    arc = edge.stations(7)
    assert edge.frame(arc, order=0) is frame
    assert len(edge.frame(arc).tangent) == 3
    other = edge.frame(arc * (1 - 1e-9), order=0)
    assert (other.position[1:] != frame.position[1:]).any(axis=1).all()
    assert edge.frame(arc[:, None], order=0).position.shape == (7, 1, 3)
    with_slopes = edge.at_stations(9, order=1)[1]
    assert len(with_slopes.tangent) == 2
    kept = edge.at_stations(9)[1]
    assert edge.frame(edge.stations(9), order=0) is kept
    assert len(kept.tangent) == 1
    np.testing.assert_array_equal(kept.outward.value, with_slopes.outward.value)
    assert edge.at_stations(7, order=1)[1] is not frame
    assert edge.at_stations(7)[1] is frame
    even = station_weights_mm(np.linspace(0, 6, 7))
    np.testing.assert_allclose(even, [0.5, 1, 1, 1, 1, 1, 0.5])


def test_a_stretch_lies_within_its_edge():
    edge = edges_of_two_angles()[1]
    long = edge.length_mm
    part = edge.stretch(1.0, long)
    assert part.length_mm == pytest.approx(long - 1)
    at = np.array([0.5, 2.0])
    np.testing.assert_allclose(part.frame(at).angle.value, edge.frame(at + 1).angle.value)
    np.testing.assert_allclose(part.frame(at).position, edge.frame(at + 1).position)
    assert part.internal_angle.domain == (-1.0, 9.0)
    assert edge.stretch(0.0, 1.0).length_mm == 1
    assert edge.stretch(0.0, long * (1 + 5e-13)).length_mm == pytest.approx(long)
    for wrong in ((-1e-9, 1.0), (1.0, 1.0), (2.0, 1.0), (0.0, long * (1 + 1e-11))):
        with pytest.raises(ek.BadArgument, match="run upwards within"):
            edge.stretch(*wrong)


def test_an_edge_is_moved_by_turns_and_mirrors_alone():
    edge = ek.patterns.area_specific_curette().edges["used"]
    turn = Rotation.from_rotvec([0.1, 0.5, -0.3]).as_matrix()
    arc = np.linspace(0, 5, 4)
    for matrix, sense in ((turn, 1), (turn @ np.diag([1.0, 1, -1]), -1)):
        moved = edge.moved(matrix, (1, 2, 3))
        assert moved.side == sense * edge.side
        np.testing.assert_allclose(moved.handle_axis, matrix @ edge.handle_axis)
        np.testing.assert_allclose(moved.roll_reference, matrix @ edge.roll_reference)
        for name in ("inward", "outward", "face"):
            np.testing.assert_allclose(
                getattr(moved.frame(arc), name).value,
                getattr(edge.frame(arc), name).value @ matrix.T,
                atol=1e-12,
            )
    mirrored = edge.mirrored()
    np.testing.assert_allclose(mirrored.frame(arc).position, edge.frame(arc).position * [1, -1, 1])
    edge.moved(turn * (1 + 4e-10))
    for wrong in (turn * 1.00001, turn + 1e-8 * np.eye(3)[[1, 2, 0]], np.zeros((3, 3))):
        with pytest.raises(ek.BadArgument, match="orthogonal"):
            edge.moved(wrong)


# ---- blades --------------------------------------------------------------------------------


def test_a_width_is_read_square_to_its_edge_as_shapely_reads_it():
    blade = ek.patterns.area_specific_curette(bow_radius_mm=math.inf)
    edge, far = blade.edges["used"], blade.unused
    arc = np.linspace(0.2, 5.0, 9)
    width, where = width_between(edge, far, arc)
    frame = edge.frame(arc, 0)
    line = shapely.LineString(far.frame(far.stations(20_001), 0).position[:, :2])
    for k, a in enumerate(arc):
        at, inward = frame.position[k, :2], frame.inward.value[k, :2]
        ray = shapely.LineString([at, at + 3 * inward])
        point = shapely.intersection(line, ray)
        assert width[k] == pytest.approx(shapely.Point(at).distance(point), abs=2e-6)
        assert where[k] == pytest.approx(line.project(point), abs=1e-5), a
    np.testing.assert_allclose(width, blade.section.width_mm, atol=2e-6)  # concentric
    # Beyond the far edge's end stands the distance from that end.
    last = np.array([edge.length_mm])
    width, where = width_between(edge, far, last)
    end = far.frame(np.array([far.length_mm]), 0).position[0]
    assert width[0] == pytest.approx(
        np.linalg.norm(edge.frame(last, 0).position[0] - end), abs=1e-6
    )
    assert where[0] == pytest.approx(far.length_mm)
    universal = ek.patterns.universal_curette()
    left, right = universal.edges.values()
    for a in (0.3, 2.0, 4.0):
        at = left.frame(np.array([a]), 0)
        line = shapely.LineString(right.frame(right.stations(20_001), 0).position[:, :2])
        start = at.position[0, :2]
        ray = shapely.LineString([start, start + 3 * at.inward.value[0, :2]])
        point = shapely.intersection(line, ray)
        own = width_between(left, right, np.array([a]))
        assert own[0][0] == pytest.approx(shapely.Point(start).distance(point), abs=1e-5)
        assert own[1][0] == pytest.approx(line.project(point), abs=1e-4)


def test_a_width_midway_between_two_places_of_the_far_edge_ends_midway():
    def straight(y, side):
        path = BentArcs(
            start_mm=np.array([0.0, y]),
            heading_rad=0.0,
            lengths_mm=np.array([6.25]),
            curvatures_per_mm=np.zeros(1),
        )
        return Edge(
            path=path,
            internal_angle=Constant(value=np.array(1.3)),
            handle_axis=(0, 0, -1),
            side=side,
            roll_reference=(1, 0, 0),
        )

    arc = (np.array([3.0, 100.0, 700.0]) + 0.5) / 128  # of 800 steps of 1/128 mm
    width, where = width_between(straight(0.5, -1), straight(-0.5, 1), arc)
    np.testing.assert_allclose(width, 1.0)
    np.testing.assert_allclose(where, arc)


def test_of_several_places_across_the_nearest_is_the_width():
    turn = np.linspace(-1.2, 1.2, 61)  # a hook, whose first arm is the farther
    hook = np.stack([3 - 2 * np.cos(turn), -1.5 + np.sin(turn), 0 * turn], axis=1)
    for points in (hook, hook[::-1]):
        far = Edge.from_points(points, **GIVEN)
        line = np.stack([np.linspace(0, 4, 9), np.zeros(9), np.zeros(9)], axis=1)
        edge = Edge.from_points(line, inward=(0, -1, 0), **GIVEN)
        width, _ = width_between(edge, far, np.array([1.5]))
        assert width[0] == pytest.approx(1.5 - math.sin(math.acos(0.75)), abs=1e-5)


def test_a_blade_knows_its_sizes():
    blade = ek.patterns.area_specific_curette(bow_radius_mm=math.inf, thickness_taper=0.3)
    edge = blade.edges["used"]
    x = edge.frame(edge.stations(4001), 0).position[:, 0]
    assert blade.length_mm == pytest.approx(np.ptp(x), abs=1e-3)
    assert blade.width_mm == pytest.approx(blade.section.width_mm, abs=1e-6)
    assert blade.worn_width_mm == pytest.approx(0, abs=1e-6)
    assert blade.internal_angle_deg == value("internal_angle_deg")
    arc = np.linspace(0, edge.length_mm, 5)
    at = edge.frame(arc, 0).position[:, 0]
    ends = edge.frame(edge.stations(101), 0).position[:, 0]
    want = value("thickness_mm") * (1 + 0.3 * (1 - 2 * (at - ends.min()) / np.ptp(ends)))
    low, high = (
        value("width_mm") / 2 * np.tan(np.radians(value("internal_angle_deg") / np.array([2, 1])))
    )
    np.testing.assert_allclose(blade.thickness_at("used", arc), np.clip(want, low, high), rtol=1e-5)
    assert blade.opposite("used") is blade.unused
    hoe = ek.patterns.hoe()
    assert hoe.opposite("edge") is None
    np.testing.assert_allclose(hoe.width_at("edge", arc[:2]), hoe.section.width_mm)
    np.testing.assert_allclose(hoe.thickness_at("edge", arc[:2]), hoe.thickness_mm)
    assert hoe.worn_width_mm == 0
    sickle = ek.patterns.straight_sickle()
    left = sickle.edges["left"]
    width = sickle.width_at("left", np.array([0.0, left.length_mm / 2, left.length_mm]))
    assert width[0] == pytest.approx(sickle.section.width_mm, rel=0.02)
    assert width[2] == pytest.approx(0, abs=1e-6)
    thick = sickle.thickness_at("left", np.array([left.length_mm / 2]))
    want = np.tan(np.radians(sickle.internal_angle_deg)) / 2
    assert thick[0] == pytest.approx(width[1] * want)
    assert sickle.worn_width_mm == 0
    assert sickle.thickness_mm == pytest.approx(value("sickle_width_mm") * want)
    # At the tip the width is nothing, and the thickness a millionth of a millimetre's.
    assert sickle.thickness_at("left", np.array([left.length_mm]))[0] <= 1e-6 * want * 1.0001
    assert sickle.normal_uncertainty_deg("left") == 0
    with pytest.raises(KeyError):
        sickle.normal_uncertainty_deg("used")


def test_two_edges_stand_apart_but_for_their_ends():
    left = ek.patterns.straight_sickle().edges["left"]
    right = ek.patterns.straight_sickle().edges["right"]
    check_apart(left, right)  # they meet at the tip
    for shift, good in ((-0.02, True), (-0.1, False)):
        near = left.moved(np.eye(3), (0, shift, 0))
        width = width_between(near, right, near.stations(101)[5:-5])[0]
        assert (width.min() > 0) == good
        if good:
            check_apart(near, right)
        else:
            with pytest.raises(ek.Cannot, match="cross or touch"):
                check_apart(near, right)


def test_tapers_run_from_none_to_nine_tenths():
    assert check_taper("t", 0.0) == 0
    assert check_taper("t", 0.9) == 0.9
    for wrong in (-1e-9, 0.9001):
        with pytest.raises(ek.BadArgument, match="t must be"):
            check_taper("t", wrong)


def test_a_mirrored_blade_swaps_left_and_right():
    blade = ek.patterns.universal_curette(shank_bend_deg=8)
    mirrored = blade.mirrored()
    arc = np.linspace(0, 4, 5)
    np.testing.assert_allclose(
        mirrored.edges["left"].frame(arc).position,
        blade.edges["right"].frame(arc).position * [1, -1, 1],
        atol=1e-12,
    )
    turned = blade.moved(Rotation.from_rotvec([0, 0, 0.4]).as_matrix(), (1, 0, 0))
    assert list(turned.edges) == ["left", "right"]
    c, s = np.cos(0.4), np.sin(0.4)
    x, y, z = blade.edges["left"].frame(arc).position.T
    np.testing.assert_allclose(
        turned.edges["left"].frame(arc).position,
        np.stack([c * x - s * y + 1, s * x + c * y, z], 1),
        atol=1e-12,
    )
    assert turned.pattern is None


# ---- patterns ------------------------------------------------------------------------------

SHARED = {
    "width_mm": "width_mm",
    "thickness_mm": "thickness_mm",
    "thickness_taper": "thickness_taper",
    "internal_angle_deg": "internal_angle_deg",
}
SICKLE = {
    "width_mm": "sickle_width_mm",
    "length_mm": "sickle_length_mm",
    "internal_angle_deg": "sickle_internal_angle_deg",
}
AREA = SHARED | {
    "face_tilt_deg": "face_tilt_deg",
    "plan_radius_mm": "plan_radius_mm",
    "bow_radius_mm": "bow_radius_mm",
}
DEFAULTS = {
    "universal_curette": (
        SHARED | {"length_mm": "length_mm", "plan_radius_mm": "universal_plan_radius_mm"},
        {"face_tilt_deg": 0.0, "bow_radius_mm": math.inf, "shank_bend_deg": 0.0},
    ),
    "area_specific_curette": (AREA | {"length_mm": "length_mm"}, {"shank_bend_deg": 0.0}),
    "half_length_curette": (
        AREA,
        {"shank_bend_deg": 0.0, "length_mm": value("length_mm") * value("half_length_ratio")},
    ),
    "straight_sickle": (
        SICKLE,
        {
            "face_tilt_deg": 0.0,
            "plan_radius_mm": math.inf,
            "bow_radius_mm": math.inf,
            "shank_bend_deg": 0.0,
        },
    ),
    "curved_sickle": (
        SICKLE
        | {"plan_radius_mm": "sickle_plan_radius_mm", "bow_radius_mm": "sickle_bow_radius_mm"},
        {"face_tilt_deg": 0.0, "shank_bend_deg": 0.0},
    ),
    "hoe": (
        {
            "width_mm": "hoe_width_mm",
            "length_mm": "hoe_length_mm",
            "thickness_mm": "hoe_thickness_mm",
            "internal_angle_deg": "hoe_bevel_deg",
        },
        {"face_tilt_deg": value("hoe_shank_angle_deg") - 90, "shank_bend_deg": 0.0},
    ),
}


@pytest.mark.parametrize("name", DEFAULTS)
def test_a_patterns_defaults_are_the_evidence_tables(name):
    named, plain = DEFAULTS[name]
    blade = getattr(ek.patterns, name)()
    given = {k: v for k, v in blade.pattern.items() if k not in ("pattern", "name")}
    assert given == {key: value(entry) for key, entry in named.items()} | plain
    assert blade.pattern["pattern"] in (name, "area_specific_curette")
    assert blade.name == name.replace("_", " ").replace("area specific", "area-specific").replace(
        "half length", "half-length"
    )


@pytest.mark.parametrize("name", DEFAULTS)
@pytest.mark.parametrize("key", ["face_tilt_deg", "shank_bend_deg"])
def test_handles_lean_by_less_than_eighty_degrees(name, key):
    make = getattr(ek.patterns, name)
    for good in (-79.9, 79.9):
        edge = next(
            iter(
                make(
                    **{key: good, "shank_bend_deg" if key[0] == "f" else "face_tilt_deg": 0.0}
                ).edges.values()
            )
        )
        a = np.radians(good)
        # -z turned about x (tilt) or about y (bend)
        want = [0, np.sin(a), -np.cos(a)] if key == "face_tilt_deg" else [-np.sin(a), 0, -np.cos(a)]
        assert edge.handle_axis == pytest.approx(want)
    for wrong in (-80.0, 80.0):
        with pytest.raises(ek.BadArgument, match=key):
            make(**{key: wrong})
    both = next(iter(make(face_tilt_deg=20, shank_bend_deg=30).edges.values())).handle_axis
    turn = Rotation.from_euler("xy", [20, 30], degrees=True).as_matrix()  # x, then y, fixed axes
    assert both == pytest.approx(turn @ [0, 0, -1])


def test_radii_are_half_a_millimetre_or_more_or_infinite():
    assert argument("plan_radius_mm", math.inf) == math.inf
    for key, item in (
        ("width_mm", math.inf),
        ("plan_radius_mm", -math.inf),
        ("plan_radius_mm", math.nan),
    ):
        with pytest.raises(ek.BadArgument, match=key):
            argument(key, item)
    pattern = Pattern(
        name="x", kind=ek.BladeClass.HOE, arguments={"plan_radius_mm": 0.51, "bow_radius_mm": -0.51}
    )
    assert pattern.curvature("plan_radius_mm") == pytest.approx(1 / 0.51)
    assert pattern.curvature("bow_radius_mm", signed=True) == pytest.approx(-1 / 0.51)
    assert pattern.curvature("other") == 0
    with pytest.raises(ek.BadArgument, match="bow_radius_mm"):
        pattern.curvature("bow_radius_mm")
    for size in (0.5, -0.5):
        wrong = Pattern(name="x", kind=ek.BladeClass.HOE, arguments={"bow_radius_mm": size})
        with pytest.raises(ek.BadArgument, match="bow_radius_mm"):
            wrong.curvature("bow_radius_mm", signed=True)


@pytest.mark.parametrize(
    ("width", "length", "radius"), [(0.86, 6.0, math.inf), (0.86, 6.0, 40.0), (1.2, 4.0, 9.0)]
)
def test_a_universals_sides_and_toe_are_circles_tangent_to_one_another(width, length, radius):
    blade = ek.patterns.universal_curette(
        width_mm=width, length_mm=length, plan_radius_mm=radius, thickness_mm=0.6 * width
    )
    left = blade.edges["left"]
    at = left.frame(np.linspace(0, left.length_mm, 4001), 0)
    x, y = at.position[:, 0], at.position[:, 1]
    assert x[0] == pytest.approx(-length / 2)
    assert (x[-1], y[-1]) == pytest.approx((length / 2, 0), abs=1e-9)
    assert at.tangent.value[-1, :2] == pytest.approx([0, -1], abs=1e-9)
    middle = int(np.argmin(np.abs(x)))
    assert y[middle] == pytest.approx(width / 2, abs=1e-6)
    if math.isinf(radius):
        assert np.ptp(y[x < length / 2 - width / 2]) < 1e-9
    else:
        side = x < length / 2 - width
        np.testing.assert_allclose(np.hypot(x, y - (width / 2 - radius))[side], radius, rtol=1e-9)
        assert y[middle] == max(y)
    # The arcs' tangents run on without a kink.
    turn = np.unwrap(np.arctan2(at.tangent.value[:, 1], at.tangent.value[:, 0]))
    assert np.abs(np.diff(turn)).max() < 0.01
    right = blade.edges["right"].frame(np.array([1.0])).position[0]
    assert right == pytest.approx(left.frame(np.array([1.0])).position[0] * [1, -1, 1])


def test_plans_that_make_no_blade_are_refused_at_their_limits():
    half, long = 0.43, 3.0
    least = (half**2 + long**2) / (2 * half)  # where no toe is left
    given = {"width_mm": 0.86, "length_mm": 6.0}
    ek.patterns.universal_curette(plan_radius_mm=least * 1.001, **given)
    with pytest.raises(ek.BadArgument, match=f"must exceed {least:.3g}"):
        ek.patterns.universal_curette(plan_radius_mm=least * 0.999, **given)
    # A toe as long as half of the blade: a straight one 2 half long.
    ek.patterns.universal_curette(width_mm=0.86, length_mm=0.861)
    with pytest.raises(ek.BadArgument, match="must exceed"):
        ek.patterns.universal_curette(width_mm=0.86, length_mm=0.859)
    area = {"width_mm": 0.86, "bow_radius_mm": math.inf}
    ek.patterns.area_specific_curette(plan_radius_mm=0.86 * 1.06, length_mm=1.2, **area)
    with pytest.raises(ek.BadArgument, match=r"larger than the width|plan_radius_mm"):
        ek.patterns.area_specific_curette(plan_radius_mm=0.86 * 1.05, length_mm=1.2, **area)
    middle = 3.0 - 0.43
    for length, good in (
        (0.87, True),
        (0.86, False),
        (0.43 + 3.14 * middle, True),
        (0.43 + 3.1416 * middle, False),
    ):
        if good:
            ek.patterns.area_specific_curette(plan_radius_mm=3.0, length_mm=length, **area)
        else:
            with pytest.raises(ek.BadArgument, match="less than half a circle"):
                ek.patterns.area_specific_curette(plan_radius_mm=3.0, length_mm=length, **area)
    chord = math.hypot(4.0, 0.4)
    ek.patterns.straight_sickle(width_mm=0.8, length_mm=4.0, plan_radius_mm=chord * 1.001)
    with pytest.raises(ek.BadArgument, match=f"chord of {chord:.3g}"):
        ek.patterns.straight_sickle(width_mm=0.8, length_mm=4.0, plan_radius_mm=chord)


def test_an_area_specific_blade_is_two_concentric_circles_and_half_a_toe():
    blade = ek.patterns.area_specific_curette(
        width_mm=0.9, length_mm=5.0, plan_radius_mm=7.0, bow_radius_mm=math.inf
    )
    used, unused = blade.edges["used"], blade.unused
    centre = np.array([0.0, -(7.0 - 0.45)])
    turn = (5.0 - 0.45) / (7.0 - 0.45)
    assert used.length_mm == pytest.approx(7.0 * turn + 0.45 * np.pi / 2)
    assert unused.length_mm == pytest.approx(6.1 * turn)
    for edge, radius in ((used, 7.0), (unused, 6.1)):
        at = edge.frame(np.linspace(0, radius * turn, 9), 0).position[:, :2] - centre
        np.testing.assert_allclose(np.hypot(*at.T), radius)
        start = np.arctan2(at[0, 0], at[0, 1])
        assert start == pytest.approx(-5.0 / 2 / 6.55)
    assert (used.side, unused.side) == (-1, 1)
    inward = unused.frame(np.array([1.0])).inward.value[0, :2]
    here = unused.frame(np.array([1.0])).position[0, :2] - centre
    assert inward @ here > 0  # the steel lies outside of the inner circle
    end = used.frame(np.array([used.length_mm])).position[0]
    heel_angle = turn - 5.0 / 2 / 6.55
    middle = centre + 6.55 * np.array([np.sin(heel_angle), np.cos(heel_angle)])
    along = np.array([np.cos(heel_angle), -np.sin(heel_angle)])
    assert end[:2] == pytest.approx(middle + 0.45 * along)


@pytest.mark.parametrize("radius", [math.inf, 9.0])
def test_a_sickles_edges_run_from_the_heel_to_one_tip(radius):
    blade = ek.patterns.straight_sickle(width_mm=0.8, length_mm=4.0, plan_radius_mm=radius)
    left = blade.edges["left"]
    at = left.frame(np.array([0.0, left.length_mm / 2, left.length_mm]), 0).position
    assert at[0] == pytest.approx([-2, 0.4, 0])
    assert at[2] == pytest.approx([2, 0, 0], abs=1e-9)
    chord = math.hypot(4, 0.4)
    sag = 0 if math.isinf(radius) else radius - math.sqrt(radius**2 - chord**2 / 4)
    across = np.array([0.4, 4.0]) / chord
    assert (at[1, :2] - [0, 0.2]) @ across == pytest.approx(sag, abs=1e-9)
    hoe = ek.patterns.hoe(length_mm=1.4).edges["edge"]
    assert hoe.frame(np.array([0.0, 1.4])).position == pytest.approx(
        np.array([[-0.7, 0, 0], [0.7, 0, 0]])
    )
