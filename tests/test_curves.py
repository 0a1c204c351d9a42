"""Curves, splines and paths against sympy, mpmath and closed forms."""

import mpmath
import numpy as np
import pytest
import sympy

import edgekit as ek
from edgekit.geometry import jet, vectors
from edgekit.geometry.curve import Constant, SplineCurve, SymbolicCurve, chord_parameter
from edgekit.geometry.path import BentArcs, CurvePath, MovedPath, StretchPath
from tests import strategies as make

ROUNDING = 1e-11
U = sympy.Symbol("u", real=True)


def test_symbolic_curves_have_the_derivatives_sympy_finds():
    """sympy differentiates and evaluates to 30 digits; a curve with torsion at non-unit speed."""
    rows = (U**2 + 2 * U, sympy.sin(3 * U) * sympy.exp(-U / 2), sympy.sqrt(1 + U**2), 4)
    curve = SymbolicCurve(expressions=rows, parameter=U, domain=(0, 2))
    at = np.array([0.1, 0.9, 1.7])
    for order, values in enumerate(curve.derivatives(at, 3)):
        assert values.shape == (3, 4)
        for i, u in enumerate(at):
            expected = [
                float(
                    sympy.diff(sympy.sympify(row), U, order)
                    .subs(U, sympy.Float(float(u), 30))
                    .evalf(30)
                )
                for row in rows
            ]
            np.testing.assert_allclose(values[i], expected, rtol=1e-12, atol=1e-14)
    (one,) = curve.derivatives(np.array(0.9), 0)
    np.testing.assert_array_equal(one, curve.derivatives(at, 0)[0][1])


def test_a_constant_has_no_derivatives():
    field = Constant(value=make.UP)
    value, d1, d2 = field.derivatives(np.zeros((2, 3)), 2)
    assert value.shape == d1.shape == d2.shape == (2, 3, 3)
    assert not d1.any()
    assert not d2.any()


def test_quintic_splines_converge_with_order_six():
    """Interpolation error of a quintic spline is O(h⁶), of its third derivative O(h³) (de Boor)."""
    errors = []
    for count in (21, 41, 81):
        u = np.linspace(0, 2, count)
        spline = SplineCurve.through(u, np.stack([np.sin(u), np.exp(u / 2)], axis=1))
        fine = np.linspace(0.5, 1.5, 777)
        value, _, _, third = spline.derivatives(fine, 3)
        expected = np.stack([np.sin(fine), np.exp(fine / 2)], axis=1)
        expected_third = np.stack([-np.cos(fine), np.exp(fine / 2) / 8], axis=1)
        errors.append([np.abs(value - expected).max(), np.abs(third - expected_third).max()])
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (orders[:, 0] > 5.5).all()
    assert (orders[:, 1] > 2.7).all()


@pytest.mark.parametrize("count", [4, 5, 6, 9])
def test_splines_reproduce_polynomials_of_their_degree(count):
    """A cubic is reproduced exactly by splines of degree 3 and 5, for any parameters."""
    u = np.cumsum(np.linspace(1, 2, count))
    spline = SplineCurve.through(u, (u**3 - u)[:, None])
    fine = np.linspace(u[0], u[-1], 50)
    np.testing.assert_allclose(spline.derivatives(fine, 3)[3], 6, rtol=1e-6)
    np.testing.assert_allclose(spline.derivatives(fine, 0)[0][:, 0], fine**3 - fine, rtol=1e-10)
    assert spline.domain == (u[0], u[-1])


# ---- arc length --------------------------------------------------------------------------------


def path_of(expressions, domain, normal=make.UP):
    curve = SymbolicCurve(expressions=expressions, parameter=U, domain=domain)
    return CurvePath(curve=curve, normals=Constant(value=np.asarray(normal, dtype=float)))


def test_arc_length_of_an_ellipse_is_an_elliptic_integral():
    """mpmath.ellipe: a E(φ | 1 - b²/a²) from the end of the minor axis."""
    a, b = 3.0, 0.5
    path = path_of((a * sympy.sin(U), b * sympy.cos(U), 0), (0.0, 1.5))
    expected = a * mpmath.ellipe(1.5, 1 - (b / a) ** 2)
    assert abs(path.length_mm - float(expected)) < 1e-10
    halfway = a * float(mpmath.ellipe(0.7, 1 - (b / a) ** 2))
    where = path.at(np.array(halfway)).position
    np.testing.assert_allclose(where, [a * np.sin(0.7), b * np.cos(0.7), 0], atol=1e-7)


def test_a_helix_has_its_textbook_length_curvature_and_torsion():
    """Length √(r² + p²) u, curvature r/(r² + p²), third derivative from both (closed form)."""
    r, p = 2.0, 0.7
    path = path_of((r * sympy.cos(U), r * sympy.sin(U), p * U), (0.0, 2.0), normal=(0.1, 0.2, 1))
    c = r**2 + p**2
    assert abs(path.length_mm - 2 * np.sqrt(c)) < ROUNDING
    tangent = path.at(np.linspace(0, path.length_mm, 9)).tangent
    np.testing.assert_allclose(np.linalg.norm(tangent.d1, axis=1), r / c, rtol=1e-10)
    np.testing.assert_allclose(np.linalg.norm(tangent.d2, axis=1), r / c**1.5, rtol=1e-9)
    torsion = np.sum(np.cross(tangent.value, tangent.d1) * tangent.d2, axis=1) / (r / c) ** 2
    np.testing.assert_allclose(torsion, p / c, rtol=1e-9)


def test_arc_length_is_the_parameter_at_any_speed():
    """Unit tangents by central differences of position over arc."""
    path = path_of((U**2 + U / 5, sympy.sin(U), U**3 / 9), (0.0, 2.0), normal=(0, -0.3, 1))
    arc = np.linspace(0.1, path.length_mm - 0.1, 11)
    step = 1e-4
    moved = (path.at(arc + step).position - path.at(arc - step).position) / (2 * step)
    frame = path.at(arc)
    np.testing.assert_allclose(moved, frame.tangent.value, atol=1e-6)
    for name in ("tangent", "face"):
        here = getattr(frame, name)
        before, after = (getattr(path.at(arc + d), name) for d in (-step, step))
        np.testing.assert_allclose((after.value - before.value) / (2 * step), here.d1, atol=1e-6)
        np.testing.assert_allclose((after.d1 - before.d1) / (2 * step), here.d2, atol=1e-5)
        np.testing.assert_allclose(np.sum(here.value * here.d1, axis=1), 0, atol=1e-10)


def test_the_chord_parameter_is_the_length_of_the_polyline():
    points = np.array([[0, 0, 0], [3, 4, 0], [3, 4, 12.0]])
    np.testing.assert_array_equal(chord_parameter(points), [0, 5, 17])


# ---- bent arcs -----------------------------------------------------------------------------------


@pytest.mark.parametrize("bow", ["1/12", "-1/9"])
def test_a_bowed_arc_is_what_sympy_derives(bow):
    """A circle rolled on a cylinder of radius 1/k, written out and differentiated by sympy."""
    k, r = sympy.Rational(bow), sympy.Rational(67, 10)
    s = sympy.Symbol("s", real=True)
    x, y = r * sympy.sin(s / r), r * sympy.cos(s / r) - r
    point = sympy.Matrix([sympy.sin(k * x) / k, y, (1 - sympy.cos(k * x)) / k])
    normal = sympy.Matrix([-sympy.sin(k * x), 0, sympy.cos(k * x)])
    tangent = point.diff(s)
    assert sympy.simplify(tangent.dot(tangent)) == 1  # rolling keeps lengths
    path = BentArcs(
        start_mm=np.array([float(x.subs(s, -2)), float(y.subs(s, -2))]),
        heading_rad=2 / 6.7,
        lengths_mm=np.array([1.5, 3.5]),
        curvatures_per_mm=np.array([-1 / 6.7, -1 / 6.7]),
        bow_per_mm=float(k),
    )
    for at in (-2.0, -0.7, 0.0, 2.9):
        frame = path.at(np.array(at + 2.0))
        for have, symbol in zip(
            (frame.position, *frame.tangent, *frame.face),
            (
                point,
                tangent,
                tangent.diff(s),
                tangent.diff(s, 2),
                normal,
                normal.diff(s),
                normal.diff(s, 2),
            ),
            strict=True,
        ):
            expected = np.array(symbol.subs(s, at).evalf(20), dtype=float).ravel()
            np.testing.assert_allclose(have, expected, atol=ROUNDING)


def test_arcs_of_different_curvature_join_without_a_corner():
    path = BentArcs(
        start_mm=np.zeros(2),
        heading_rad=0.3,
        lengths_mm=np.array([1.0, 0.5, 2.0]),
        curvatures_per_mm=np.array([0.0, -1.5, 0.4]),
        bow_per_mm=0.1,
    )
    for joint in (1.0, 1.5):
        before, after = (path.at(np.array(joint + d)) for d in (-1e-9, 1e-9))
        np.testing.assert_allclose(before.position, after.position, atol=1e-8)
        np.testing.assert_allclose(before.tangent.value, after.tangent.value, atol=1e-8)
    assert path.length_mm == 3.5


def test_bent_arcs_equal_a_spline_through_their_own_points():
    """Two independent ways to the same frames: exact rolling, and a quintic spline."""
    edge = ek.patterns.area_specific_curette().edges["used"].stretch(0, 5.0)
    frame = edge.frame(edge.stations(81))
    again = ek.Edge.from_points(
        frame.position,
        face_normals=frame.face.value,
        internal_angle_deg=75,
        handle_axis=edge.handle_axis,
        inward=frame.inward.value[40],
    )
    assert abs(again.length_mm - 5.0) < 1e-8
    old, new = ek.orient(edge, stations=33), ek.orient(again, stations=33)
    np.testing.assert_allclose(new.normal, old.normal, atol=1e-6)
    inner = slice(3, -3)  # the spline's ends carry the worst of its derivatives
    np.testing.assert_allclose(
        new.stone_curvature_per_mm[inner], old.stone_curvature_per_mm[inner], atol=1e-5
    )
    np.testing.assert_allclose(new.regression_mm[inner], old.regression_mm[inner], rtol=1e-3)


def test_moved_and_cut_paths_carry_their_frames():
    path = path_of((U**2 + U, sympy.sin(U), U**3 / 9), (0.0, 2.0))
    turn = vectors.rotation(vectors.unit(np.array([1.0, 2.0, 3.0])), 0.7)
    moved = MovedPath(path=path, matrix=turn, offset_mm=np.array([1.0, 2.0, 3.0]))
    cut = StretchPath(path=moved, from_mm=0.5, to_mm=2.0)
    assert moved.length_mm == path.length_mm
    assert cut.length_mm == 1.5
    old, new = path.at(np.array([1.2])), cut.at(np.array([0.7]))
    np.testing.assert_allclose(new.position, old.position @ turn.T + [1, 2, 3], atol=ROUNDING)
    np.testing.assert_allclose(new.face.d2, old.face.d2 @ turn.T, atol=ROUNDING)


# ---- vectors and jets --------------------------------------------------------------------------


def test_vectors_agree_with_numpy_and_scipy():
    """numpy.cross, numpy.linalg.norm, scipy Rotation; angles by mpmath near 0 and π."""
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(2, 5, 3))
    np.testing.assert_allclose(vectors.cross(a, b), np.cross(a, b), atol=1e-14)
    np.testing.assert_allclose(vectors.norm(a), np.linalg.norm(a, axis=1))
    axis = vectors.unit(a[0])
    np.testing.assert_allclose(
        vectors.rotation(axis, 1.1), Rotation.from_rotvec(1.1 * axis).as_matrix(), atol=1e-14
    )
    for small in (1e-9, 1e-4, np.pi - 1e-7):
        turned = np.array([float(mpmath.cos(small)), float(mpmath.sin(small)), 0.0])
        assert abs(vectors.angle(np.array([1.0, 0, 0]), turned) - small) < 1e-15


def test_jets_follow_leibniz_and_the_chain_rule():
    """sympy differentiates products, units, and cosines of two curves at non-unit speed."""
    a = sympy.Matrix([U**2, sympy.sin(U), 1 + U])
    b = sympy.Matrix([sympy.exp(U), U, sympy.cos(U)])
    at = 0.8

    def as_jet(rows):
        values = [
            np.array(rows.diff(U, k).subs(U, at).evalf(20), dtype=float).ravel() for k in (0, 1, 2)
        ]
        return jet.Jet(*values)

    def check(have, rows):
        for part, want in zip(have, as_jet(rows), strict=True):
            np.testing.assert_allclose(part, want, rtol=1e-12, atol=1e-12)

    check(jet.cross(as_jet(a), as_jet(b)), a.cross(b))
    check(jet.unit(as_jet(a)), a / sympy.sqrt(a.dot(a)))
    scalar = jet.Jet(np.array(0.8**2), np.array(1.6), np.array(2.0))
    check(jet.scale(scalar, as_jet(b)), U**2 * b)
    cosine, sine = jet.cos_sin(scalar)
    for have, row in ((cosine, sympy.cos(U**2)), (sine, sympy.sin(U**2))):
        expected = [float(sympy.diff(row, U, k).subs(U, at)) for k in (0, 1, 2)]
        np.testing.assert_allclose([float(v) for v in have], expected, rtol=1e-12)


def test_an_edge_along_sympy_expressions_equals_the_edge_through_its_points() -> None:
    """A helix on a cylinder, its face normal radial: exact derivatives against a dense spline."""
    u = sympy.Symbol("u")
    helix = (5 * sympy.cos(u), 5 * sympy.sin(u), sympy.Rational(3, 2) * u)
    radial = ek.SymbolicCurve(
        expressions=(sympy.cos(u), sympy.sin(u), 0), parameter=u, domain=(0, 1)
    )
    curve = ek.SymbolicCurve(expressions=helix, parameter=u, domain=(0, 1))
    shared = {"internal_angle_deg": 70, "handle_axis": (0.1, 0.2, -1)}
    exact = ek.Edge.from_curve(curve, face_normals=radial, **shared)
    t = np.linspace(0, 1, 201)
    points = np.stack([5 * np.cos(t), 5 * np.sin(t), 1.5 * t], axis=1)
    normals = np.stack([np.cos(t), np.sin(t), 0 * t], axis=1)
    splined = ek.Edge.from_points(points, face_normals=normals, **shared)
    assert abs(exact.length_mm - np.sqrt(25 + 2.25)) < 1e-12
    a, b = ek.orient(exact), ek.orient(splined)
    np.testing.assert_allclose(a.normal, b.normal, atol=1e-8)
    inner = slice(10, -10)
    np.testing.assert_allclose(a.regression_mm[inner], b.regression_mm[inner], rtol=1e-4)


class _Converts:
    """Would hand text to sympy if it were asked for a conversion."""

    def __init__(self, text):
        self.text = text

    def _sympy_(self):
        return sympy.sympify(self.text)

    def __float__(self):
        sympy.sympify(self.text)
        return 1.0


class _Text(str):
    __slots__ = ()


@pytest.mark.parametrize(
    "hide",
    [
        pytest.param(lambda text: text, id="text"),
        pytest.param(_Text, id="kind-of-text"),
        pytest.param(lambda text: text.encode(), id="bytes"),
        pytest.param(np.str_, id="numpy-text"),
        pytest.param(np.array, id="array"),
        pytest.param(_Converts, id="own-conversion"),
        pytest.param(lambda text: sympy.Function(text)(U), id="name-of-a-function"),
        pytest.param(sympy.Symbol, id="name-of-a-symbol"),
        pytest.param(
            lambda text: sympy.Sum(sympy.Symbol(text), (sympy.Symbol(text), 1, 3)),
            id="bound-symbol",
        ),
        pytest.param(lambda text: sympy.IndexedBase(text)[0], id="indexed"),
        pytest.param(lambda text: sympy.MatrixSymbol(text, 2, 2)[0, 0], id="matrix-entry"),
        pytest.param(lambda _: True, id="bool"),
        pytest.param(lambda _: float("nan"), id="nan"),
        pytest.param(lambda _: sympy.nan, id="sympy-nan"),
        pytest.param(lambda _: 1j, id="complex"),
    ],
)
def test_no_text_in_expressions_is_run(hide, tmp_path):
    """sympy's documentation warns that `sympify` and `lambdify` run text as a program."""
    trace = tmp_path / "run"
    text = f"__import__('pathlib').Path({str(trace)!r}).touch()"
    with pytest.raises(ek.EdgekitError, match="expressions") as caught:
        SymbolicCurve(expressions=(U, hide(text), 0), parameter=U, domain=(0, 1))
    assert caught.value.remedy
    assert not trace.exists()


@pytest.mark.parametrize(
    "make_arguments",
    [
        pytest.param(lambda text: {"expressions": text, "parameter": U}, id="expressions"),
        pytest.param(lambda text: {"expressions": (0, 0, 0), "parameter": text}, id="parameter"),
        pytest.param(lambda _: {"expressions": 3.0, "parameter": U}, id="one-number"),
        pytest.param(lambda _: {"expressions": (), "parameter": U}, id="nothing"),
    ],
)
def test_text_in_place_of_a_curve_is_refused(make_arguments, tmp_path):
    trace = tmp_path / "run"
    text = f"__import__('pathlib').Path({str(trace)!r}).touch()"
    with pytest.raises(ek.EdgekitError):
        SymbolicCurve(domain=(0, 1), **make_arguments(text))
    assert not trace.exists()


def test_the_name_of_the_parameter_is_not_run(tmp_path):
    trace = tmp_path / "run"
    u = sympy.Symbol(f"__import__('pathlib').Path({str(trace)!r}).touch()")
    curve = SymbolicCurve(expressions=(sympy.cos(u), u, np.float32(2)), parameter=u, domain=(0, 1))
    np.testing.assert_array_equal(curve.derivatives(np.array(0.0), 0)[0], [1.0, 0.0, 2.0])
    assert not trace.exists()
