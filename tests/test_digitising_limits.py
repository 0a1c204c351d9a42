"""Digitising from outside: penalised least squares written out, scipy's searches, PIL's turns,
the guides' formulas, and every limit of what is refused tried on both sides.
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image, ImageOps
from scipy.integrate import quad
from scipy.interpolate import BSpline
from scipy.optimize import minimize_scalar

import edgekit as ek
from edgekit.digitising import blade_file, file_format, reader, smoothing
from edgekit.digitising.blade_file import BladeFile
from edgekit.digitising.pictures import one_view, reading, view_trace
from edgekit.digitising.pictures.loss_budget import LossModel, LossParts, _shear, loss_model
from edgekit.evidence_table import value
from edgekit.geometry.curve import SplineCurve
from tests.test_outlines_exact import LEFT, RIGHT, outline_of, stadium
from tests.test_trace import trace_file

P = ek.pictures
RNG = np.random.default_rng(8)
KNOTS = np.pad(np.array([0.0, 0.7, 1.5, 2.6, 3.0]), 5, mode="edge")


# ---- the penalised spline ------------------------------------------------------------------


@pytest.mark.parametrize("linear", [None, (1.0, 3.0)])
def test_roughness_is_the_integral_of_the_squared_third_derivative(linear):
    stiffness = None if linear is None else np.linspace(*linear, 7)
    rough = smoothing._roughness(KNOTS, stiffness)
    heights = RNG.normal(size=len(KNOTS) - 6)
    third = BSpline(KNOTS, heights, 5).derivative(3)

    def weight(u):
        return 1.0 if linear is None else 1 + 2 * u / 3

    want = sum(
        quad(lambda u: weight(u) * third(u) ** 2, a, b, epsrel=1e-10)[0]
        for a, b in zip(np.unique(KNOTS)[:-1], np.unique(KNOTS)[1:], strict=True)
    )
    assert ((rough @ heights) ** 2).sum() == pytest.approx(want, rel=1e-9)


@pytest.mark.parametrize("count", [12, 40, 200])
def test_stiffness_is_inverse_to_the_local_mean_square_with_a_floor(count):
    third = RNG.normal(size=(count, 3)) * np.linspace(0.1, 3, count)[:, None]
    got = smoothing._stiffness(third)
    reach = max(count // 20, 1) | 1
    square = (third**2).sum(axis=1)
    local = np.array(
        [
            square[np.clip(np.arange(k - reach // 2, k + reach // 2 + 1), 0, count - 1)].mean()
            for k in range(count)
        ]
    )
    weight = 1 / (local + 0.1 * local.mean())
    np.testing.assert_allclose(got, weight / weight.max(), rtol=1e-12)
    np.testing.assert_allclose(smoothing._stiffness(np.zeros((30, 3))), 1.0)


def noisy(count=40, noise=0.02, seed=1):
    rng = np.random.default_rng(seed)
    u = np.sort(rng.uniform(0, 3, count))
    u[[0, -1]] = 0, 3
    points = np.stack([np.sin(2 * u), np.cos(u), 0.3 * u], axis=1)
    return u, points + noise * rng.standard_normal(points.shape)


def penalised(u, points):
    """Centre, basis, and the penalty as the modes scale it."""
    centre, knots, modes = smoothing._prepared(points, u, None)
    basis = BSpline.design_matrix(u, knots, 5).toarray()
    rough = smoothing._roughness(knots, None)
    rough = rough * np.linalg.norm(basis) / np.linalg.norm(rough)
    return centre, knots, modes, basis, rough


@pytest.mark.parametrize("weight", [1e-6, 1e-2, 10.0])
def test_the_modes_give_the_penalised_least_squares_fit(weight):
    u, points = noisy()
    centre, knots, modes, basis, rough = penalised(u, points)
    np.testing.assert_allclose(centre, points.mean(axis=0))
    assert len(np.unique(knots)) == 40 // 2 + 1
    assert len(knots) == 21 + 10
    stack = np.concatenate([basis, np.sqrt(weight) * rough])
    data = np.concatenate([points - centre, np.zeros((len(rough), 3))])
    want = np.linalg.lstsq(stack, data, rcond=None)[0]
    heights, freedom, factor = modes.fit(weight)
    np.testing.assert_allclose(basis @ heights, basis @ want, atol=1e-8)
    hat = basis @ np.linalg.pinv(stack)[:, : len(u)]
    assert freedom == pytest.approx(np.trace(hat), rel=1e-6)
    spread = np.linalg.inv(stack.T @ stack)
    np.testing.assert_allclose(factor @ factor.T, spread, rtol=1e-4, atol=1e-5 * abs(spread).max())
    span = np.linalg.svd(basis, full_matrices=False)[0]
    left = points - centre - span @ (span.T @ (points - centre))
    assert modes.outside == pytest.approx((left**2).sum(), rel=1e-6, abs=1e-12)
    assert modes.n == 40
    few = smoothing._prepared(*noisy(7)[::-1], None)[1]
    assert len(np.unique(few)) == 5  # four stretches at least


@pytest.mark.parametrize(("noise", "seed"), [(0.02, 1), (0.002, 2), (0.1, 3)])
def test_the_weight_is_the_one_of_least_cross_validation(noise, seed):
    u, points = noisy(60, noise, seed)
    centre, _, modes, basis, rough = penalised(u, points)

    def score(log_weight):
        stack = np.concatenate([basis, np.exp(log_weight / 2) * rough])
        hat = basis @ np.linalg.pinv(stack)[:, : len(u)]
        left = points - centre - hat @ (points - centre)
        return np.log((left**2).sum()) - 2 * np.log(len(u) - 1.4 * np.trace(hat))

    found = np.log(smoothing._cross_validated(modes))
    best = minimize_scalar(
        score, bounds=(found - 3, found + 3), method="bounded", options={"xatol": 1e-9}
    )
    assert found == pytest.approx(best.x, abs=1e-3)
    for far in (-9, -5, 5, 9):
        assert score(found + far) > score(found)


@pytest.mark.parametrize(("noise", "seed"), [(0.02, 1), (0.002, 2), (0.1, 3)])
def test_the_weight_of_the_interval_is_the_likeliest(noise, seed):
    u, points = noisy(60, noise, seed)
    centre, _, modes, basis, rough = penalised(u, points)
    middle = points - centre

    def score(log_weight):
        stack = np.concatenate([basis, np.exp(log_weight / 2) * rough])
        hat = basis @ np.linalg.pinv(stack)[:, : len(u)]
        lost = np.sort(np.linalg.eigvalsh(np.eye(len(u)) - (hat + hat.T) / 2))[3:]
        square = sum(middle[:, k] @ (middle[:, k] - hat @ middle[:, k]) for k in range(3))
        return (len(u) - 3) * np.log(square) - np.log(lost).sum()

    found = np.log(smoothing._likeliest(modes))
    best = minimize_scalar(
        score, bounds=(found - 3, found + 3), method="bounded", options={"xatol": 1e-9}
    )
    assert found == pytest.approx(best.x, abs=1e-3)


def test_the_share_of_a_mode_that_the_penalty_takes():
    modes = smoothing._Modes(
        cosine=np.array([0.6, 0.8, 1e-6, 2e-6]),
        sine=np.array([0.8, 0.6, 1.0, 1.0]),
        power=np.ones(4),
        pull=np.ones((4, 3)),
        back=np.eye(4),
        outside=0.0,
        n=9,
    )
    lost = modes.lost(np.log(2.0))
    np.testing.assert_allclose(
        lost[:2], [2 * 0.64 / (0.36 + 2 * 0.64), 2 * 0.36 / (0.64 + 2 * 0.36)]
    )
    assert modes.seen.tolist() == [True, True, False, True]


def test_exact_points_are_followed_to_rounding():
    u = np.linspace(0, 3, 30)
    for curve in (np.stack([u, 0 * u, 0 * u], axis=1), np.stack([u, u**2 / 9, 0 * u], axis=1)):
        smooth = smoothing.smooth_curve(curve)
        assert smooth.noise_um < 1e-3
        at = smooth.curve.derivatives(smooth.parameter, 0)[0]
        np.testing.assert_allclose(at, curve, atol=1e-6)


def hand_made(count=20, freedom=6.0, noise=0.01):
    """A smoothed straight line along x, with noise across it and doubt of its own."""
    u = np.linspace(0, 3, count)
    spline = BSpline(KNOTS, np.linspace([0, 0, 0], [3, 0, 0], len(KNOTS) - 6), 5)
    left = noise * RNG.standard_normal((count, 3)) * [0, 1, 2]
    return smoothing.SmoothedCurve(
        curve=SplineCurve(spline=spline),
        parameter=u,
        freedom=freedom,
        factor=0.1 * RNG.normal(size=(len(KNOTS) - 6, len(KNOTS) - 6)),
        doubt_mm=1e-3 * RNG.normal(size=(len(KNOTS) - 6, 3)),
        residual_mm=left,
        tangent=np.tile([1.0, 0, 0], (count, 1)),
    )


def test_noise_of_a_curve_is_its_residual_over_what_is_left_of_freedom():
    smooth = hand_made()
    left = smooth.residual_mm
    assert smooth.noise_um == pytest.approx(1000 * np.sqrt((left**2).sum() / (2 * 14)))
    tight = hand_made(freedom=19.5)
    assert tight.noise_um == pytest.approx(1000 * np.sqrt((tight.residual_mm**2).sum() / 2))
    directions = np.array([[0, 1.0, 0], [0, 0, 1], [0.6, 0.8, 0], [0, 0.6, 0.8]])
    got = smooth.noise_towards_mm(directions)
    want = [np.sqrt(((left @ d) ** 2).sum() / (20 * (1 - d[0] ** 2)) * 20 / 14) for d in directions]
    np.testing.assert_allclose(got, want)
    assert tight.noise_towards_mm(directions[:1])[0] == pytest.approx(
        np.sqrt(((tight.residual_mm[:, 1]) ** 2).sum() / 20 * 20 / 1)
    )


def test_the_lean_of_a_tangent_is_the_slopes_spread_and_doubt_over_the_speed():
    smooth = hand_made()
    u, towards = np.array([0.2, 1.4, 2.9]), np.tile([0.0, 0.6, 0.8], (3, 1))
    size = len(KNOTS) - 6
    slopes = np.stack([BSpline(KNOTS, row, 5).derivative()(u) for row in np.eye(size)], axis=1)
    noise = smooth.noise_towards_mm(towards) * np.sqrt(((slopes @ smooth.factor) ** 2).sum(axis=1))
    doubt = ((slopes @ smooth.doubt_mm) * towards).sum(axis=1)
    speed = np.linalg.norm(smooth.curve.derivatives(u, 1)[1], axis=1)
    np.testing.assert_allclose(
        smooth.direction_sd_rad(u, towards), np.sqrt(noise**2 + doubt**2) / speed
    )


def test_a_smoothed_curve_keeps_what_lies_across_and_doubts_what_the_two_fits_differ_by():
    _, points = noisy(50, 0.01, 5)
    smooth = smoothing.smooth_curve(points)
    point, along = smooth.curve.derivatives(smooth.parameter, 1)
    tangent = along / np.linalg.norm(along, axis=1)[:, None]
    np.testing.assert_allclose(smooth.tangent, tangent)
    left = points - point
    want = left - (left * tangent).sum(axis=1)[:, None] * tangent
    np.testing.assert_allclose(smooth.residual_mm, want, atol=1e-12)
    centre, _, modes = smoothing._prepared(points, smooth.parameter, None)
    weight = smoothing._likeliest(modes)
    heights, _, factor = modes.fit(weight)
    np.testing.assert_allclose(smooth.doubt_mm, heights + centre - smooth.curve.spline.c)
    np.testing.assert_allclose(smooth.factor, factor)
    assert smooth.noise_um == pytest.approx(10, rel=0.25)
    assert 6 < smooth.freedom < 20
    # The parameter was measured on a smooth curve three times over: longer on the noisy points.
    rough = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    fine = smooth.curve.derivatives(np.linspace(*smooth.curve.domain, 4000), 0)[0]
    own = np.linalg.norm(np.diff(fine, axis=0), axis=1).sum()
    assert smooth.parameter[-1] == pytest.approx(own, rel=2e-3)
    assert rough > own * 1.005
    assert (np.diff(smooth.parameter) > 0).all()


# ---- faces ---------------------------------------------------------------------------------


def bowed_points(count=80, seed=2, noise=0.0):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-3, 3, count), rng.uniform(-0.5, 0.5, count)
    z = 0.04 * x**2 - 0.01 * x * y + 0.02 * y**2 + 0.001 * x**3 - 0.0005 * x**4
    return np.stack([x, y, z + noise * rng.standard_normal(count)], axis=1)


def test_a_bowed_face_is_the_least_squares_polynomial_over_its_best_plane():
    points = bowed_points(noise=0.002)
    face = smoothing.fit_face(points, np.array([0.0, 0, 1]), smoothing.BOWED)
    centre = points.mean(axis=0)
    np.testing.assert_allclose(face.centre, centre)
    np.testing.assert_allclose(face.axes @ face.axes.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(face.axes) == pytest.approx(1)
    assert face.axes[2, 2] > 0.99
    x, y, z = ((points - centre) @ face.axes.T).T
    design = np.stack([np.ones_like(x), x, y, x**2, x * y, y**2, x**3, x**4], axis=1)
    fit, square, *_ = np.linalg.lstsq(design, z, rcond=None)
    np.testing.assert_allclose(face.heights, fit, rtol=1e-8)
    noise = np.sqrt(square[0] / (80 - 8))
    assert face.noise_um == pytest.approx(1000 * noise)
    np.testing.assert_allclose(
        face.factor @ face.factor.T, noise**2 * np.linalg.inv(design.T @ design), rtol=1e-6
    )
    # Normals of z = h(x, y), by hand.
    at = points[:5]
    x, y = (((at - centre) @ face.axes.T).T)[:2]
    c = face.heights
    gx = c[1] + 2 * c[3] * x + c[4] * y + 3 * c[6] * x**2 + 4 * c[7] * x**3
    gy = c[2] + c[4] * x + 2 * c[5] * y
    normal = np.stack([-gx, -gy, np.ones(5)], axis=1) @ face.axes
    np.testing.assert_allclose(
        face.normals(at), normal / np.linalg.norm(normal, axis=1)[:, None], atol=1e-12
    )
    # The spread of the slope across an edge, from the spread of the heights.
    tangents = np.tile([np.cos(0.3), np.sin(0.3), 0], (5, 1))
    nil, one = np.zeros(5), np.ones(5)
    sx = np.stack([nil, one, nil, 2 * x, y, nil, 3 * x**2, 4 * x**3], axis=1)
    sy = np.stack([nil, nil, one, nil, x, 2 * y, nil, nil], axis=1)
    across = np.cross(np.tile(face.axes[2], (5, 1)), tangents)
    across = across / np.linalg.norm(across, axis=1)[:, None]
    slope = (across @ face.axes[0])[:, None] * sx + (across @ face.axes[1])[:, None] * sy
    spread = np.einsum("ni,ij,nj->n", slope, face.factor @ face.factor.T, slope)
    np.testing.assert_allclose(face.tilt_sd_rad(at, tangents), np.sqrt(spread))
    down = smoothing.fit_face(points, np.array([0.0, 0, -1]), smoothing.PLANAR)
    assert down.axes[2, 2] < -0.99
    assert np.linalg.det(down.axes) == pytest.approx(1)


def test_a_face_wants_width_and_twice_as_many_points_as_terms():
    up = np.array([0.0, 0, 1])
    line = np.stack([np.linspace(-1, 1, 20), np.tile([1.0, -1, -1, 1], 5), np.zeros(20)], axis=1)
    x, y, _ = np.linalg.norm(line - line.mean(axis=0), axis=0)
    for share, good in ((0.0201, True), (0.0199, False)):
        points = line * [1, share * x / y, 1]
        narrow = np.linalg.svd(points - points.mean(0))[1]
        assert (narrow[1] / narrow[0] > 0.02) == good
        if good:
            smoothing.fit_face(points, up, smoothing.PLANAR)
        else:
            with pytest.raises(ek.EdgekitError, match="do not fix the face"):
                smoothing.fit_face(points, up, smoothing.PLANAR)
    points = bowed_points()
    smoothing.fit_face(points[:16], up, smoothing.BOWED)
    with pytest.raises(ek.EdgekitError, match="do not fix the face"):
        smoothing.fit_face(points[:15], up, smoothing.BOWED)
    exact = smoothing.fit_face(
        np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [2, 0, 0.0], [2, 1, 0]]),
        up,
        smoothing.PLANAR,
    )
    assert exact.noise_um == pytest.approx(0, abs=1e-9)


# ---- traces --------------------------------------------------------------------------------


def two_lines(width=0.86, count=40, noise=0.004, height=0.0, seed=0):
    rng = np.random.default_rng(seed)
    x = np.linspace(-2.5, 2.5, count)
    bulge = -0.02 * (x**2 - 6.25) / 6.25
    lines = {}
    for name, sign in (("left", 1), ("right", -1)):
        y = sign * (width / 2 + bulge)
        z = height * (x**2 / 6.25 - 1 / 3)
        points = np.stack([x, y, z], axis=1)
        lines[name] = points + noise * rng.standard_normal(points.shape)
    return lines


def read(tmp_path, points, **changes):
    return ek.read_blade(trace_file(tmp_path, points, **changes))


def test_the_stated_width_may_be_two_fifths_less_or_a_fifth_more_than_seen(tmp_path):
    points = two_lines(noise=0.001)
    seen = read(tmp_path, points).section.width_mm
    assert seen == pytest.approx(0.9, abs=0.01)
    # The points may show 0.4 to 1.2 of the width when new.
    for width, good in (
        (seen / 1.19, True),
        (seen / 1.21, False),
        (seen / 0.41, True),
        (seen / 0.39, False),
    ):
        more = {"width_mm": f"{width}", "thickness_mm": f"{0.6 * width}"}
        if good:
            assert read(tmp_path, points, **more).section.width_mm == width
        else:
            with pytest.raises(ek.EdgekitError, match="does not fit the points"):
                read(tmp_path, points, **more)


def test_a_face_leans_by_less_than_its_limit_from_what_is_stated(tmp_path):
    points = two_lines(noise=0.001)
    for cosine, good in ((0.31, True), (0.29, False)):
        up = f"[{math.sqrt(1 - cosine**2)}, 0.0, {cosine}]"
        if good:
            read(tmp_path, points, face_up=up)
        else:
            with pytest.raises(ek.EdgekitError, match="lies along the face"):
                read(tmp_path, points, face_up=up)


def test_a_face_misfits_by_less_than_four_times_the_noise(tmp_path):
    stated = value("trace_noise_um")
    for share, good in ((3.8, True), (4.2, False)):
        bend = share * stated / 1000
        # The root mean square of x²/a² - 1/3 over an even line is √(4/45).
        points = two_lines(noise=0.0, height=bend / math.sqrt(4 / 45) * math.sqrt(77 / 80))
        if good:
            read(tmp_path, points)
        else:
            with pytest.raises(ek.EdgekitError, match="stand off a planar face"):
                read(tmp_path, points)
        read(tmp_path, points, face='"bowed"')


def test_a_trace_reports_what_its_parts_say(tmp_path):
    points = two_lines()
    blade = read(tmp_path, points, beta_sd_deg=1.5, pose_sd_deg="0.7", end_sd_mm="0.04")
    smooth = smoothing.smooth_curve(points["left"])
    face = smoothing.fit_face(
        np.concatenate(list(points.values())), np.array([0.0, 0, 1]), smoothing.PLANAR
    )
    edge, told = blade.edges["left"], blade.trace.edges["left"]
    assert told.noise_um == pytest.approx(smooth.noise_um)
    assert told.freedom == pytest.approx(smooth.freedom)
    assert (told.pose_sd_deg, told.end_sd_mm, told.internal_angle_sd_deg) == (0.7, 0.04, 1.5)
    assert len(told.arc_mm) == 101
    u = np.linspace(*smooth.curve.domain, 101)
    frame = edge.frame(told.arc_mm)
    np.testing.assert_allclose(frame.position, smooth.curve.derivatives(u, 0)[0], atol=1e-6)
    swing = np.degrees(smooth.direction_sd_rad(u, frame.outward.value))
    np.testing.assert_allclose(told.swing_sd_deg, swing, rtol=1e-6)
    tilt = np.degrees(face.tilt_sd_rad(frame.position, frame.tangent.value))
    np.testing.assert_allclose(told.tilt_sd_deg, np.hypot(tilt, 1.5), rtol=1e-6)
    np.testing.assert_allclose(
        told.normal_sd_deg, np.sqrt(told.swing_sd_deg**2 + told.tilt_sd_deg**2 + 0.49)
    )
    noise, along, about, worst = told.summary()
    assert noise == f"{told.noise_um:.1f}"
    assert (along, about, worst) == (
        f"{told.swing_sd_deg.mean():.2f}",
        f"{told.tilt_sd_deg.mean():.2f}",
        f"{told.normal_sd_deg.max():.2f}",
    )
    assert blade.normal_uncertainty_deg("left") == told.swing_sd_deg.max()
    assert along in repr(blade.trace)


def test_keys_left_out_have_their_defaults(tmp_path):
    plain = trace_file(tmp_path, two_lines())
    text = plain.read_text().replace("internal_angle_sd_deg = 0.0\n", "")
    plain.write_text(text)
    told = ek.read_blade(plain).trace.edges["left"]
    assert told.internal_angle_sd_deg == value("trace_angle_sd_deg")
    assert (told.pose_sd_deg, told.end_sd_mm) == (0, 0)
    assert ek.read_blade(plain).thickness_taper == 0
    for key in ("pose_sd_deg", "end_sd_mm", "internal_angle_sd_deg"):
        read(tmp_path, two_lines(), **{key: "0.0"})
        with pytest.raises(ek.EdgekitError, match=key):
            read(tmp_path, two_lines(), **{key: "-0.01"})
    with pytest.raises(ek.EdgekitError, match="noise_um"):
        read(tmp_path, two_lines(), noise_um="0.0")


def test_a_settings_file_is_read_key_by_key_or_by_its_defaults(tmp_path):
    plain = trace_file(tmp_path, two_lines())
    file = BladeFile.of(file_format.read_settings(plain))
    assert (file.name, file.note, file.face) == ("", "", blade_file.Face.PLANAR)
    assert file.face_up.tolist() == [0, 0, 1]
    assert file.handle_axis.tolist() == [0, 0, -1]
    assert (file.internal_angle_deg, file.thickness_mm) == (75, 0.71)
    assert (file.thickness_taper, file.width_mm) == (0, None)
    assert file.noise_um == value("trace_noise_um")
    assert (file.pose_sd_deg, file.end_sd_mm) == (0, 0)
    given = {
        "face_up": "[0.0, 3.0, 4.0]",
        "width_mm": "0.9",
        "noise_um": "3.0",
        "name": '"x"',
        "thickness_taper": "0.25",
        "face": '"bowed"',
        "order": '"toe to heel"',
    }
    told = BladeFile.of(file_format.read_settings(trace_file(tmp_path, two_lines(), **given)))
    assert told.face_up == pytest.approx([0, 0.6, 0.8])
    assert (told.width_mm, told.noise_um, told.thickness_taper) == (0.9, 3.0, 0.25)
    assert (told.face, told.order) == (blade_file.Face.BOWED, blade_file.Order.FROM_TOE)
    curves = {name: rows[::-1] for name, rows in told.curves().items()}
    for name, rows in two_lines().items():
        np.testing.assert_array_equal(curves[name], rows)
    full = np.tile(np.arange(1000.0)[:, None] / 200, (1, 8))
    full[:, 0] = np.arange(1000) + 2
    file._check("p", full)
    with pytest.raises(ek.BadFile, match="more than 1,000"):
        file._check("p", np.concatenate([full, full[-1:] + 1]))


def test_a_trace_has_eight_to_a_thousand_points_and_a_blur_of_ten_noises(tmp_path):
    few = {name: rows[::5] for name, rows in two_lines().items()}
    assert len(few["left"]) == 8
    read(tmp_path, few)
    with pytest.raises(ek.EdgekitError, match="8 points or more"):
        read(tmp_path, {name: rows[:7] for name, rows in few.items()})
    # A back step of 0.1 mm: below ten times a noise of 10.1 µm, not of 9.9 µm.
    x = np.array([-2.5, -2, -1.5, -1, 0, -0.1, 1, 1.5, 2, 2.5])
    back = {
        name: np.stack([x, np.full(10, y), 0 * x], axis=1)
        for name, y in (("left", 0.4), ("right", -0.4))
    }
    for rows in back.values():
        rows[:, 1] += 0.001 * x**2
    step = np.linalg.norm(np.diff(back["left"], axis=0), axis=1)[4]
    read(tmp_path, back, noise_um=f"{100.1 * step}")
    with pytest.raises(ek.EdgekitError, match="turns back"):
        read(tmp_path, back, noise_um=f"{99.9 * step}")


def test_a_sickles_width_is_measured_a_fiftieth_from_its_heel(tmp_path):
    x = np.linspace(-2, 1.9, 40)
    half = 0.2 * (2 - x) / 4
    points = {
        "left": np.stack([x, half, 0 * x], axis=1),
        "right": np.stack([x, -half, 0 * x], axis=1),
    }
    file = trace_file(tmp_path, points, kind='"straight sickle"')
    text = "\n".join(line for line in file.read_text().split("\n") if "thickness" not in line)
    file.write_text(text)
    blade = ek.read_blade(file)
    edge = blade.edges["left"]
    a = math.atan(0.05)
    here = 0.2 - 0.02 * edge.length_mm * math.sin(a)
    want = 2 * here / (math.cos(a) - math.sin(a) * math.tan(a))
    assert blade.section.width_mm == pytest.approx(want, rel=1e-4)


def test_the_steel_is_found_from_other_curves_the_face_or_the_bulge():
    x = np.linspace(-2, 2, 9)
    arc = np.stack([x, -0.1 * x**2, 0 * x], axis=1)
    up = np.array([0.0, 0, 1])
    arc = arc @ np.array([[0.8, 0.6, 0], [-0.6, 0.8, 0], [0, 0, 1]]) + [3, 4, 0]
    across = 4 * np.array([-0.6, 0.8, 0])  # as long as from end to end
    alone = reader._inward("edge", {"edge": arc}, up)
    np.testing.assert_allclose(alone, -across, atol=1e-12)
    np.testing.assert_allclose(reader._inward("edge", {"edge": arc[::-1]}, up), -across, atol=1e-12)
    hollow = arc.copy()
    hollow[:, :2] += 0.2 * (np.arange(9) - 4)[:, None] ** 2 / 4 * across[:2] / 4
    np.testing.assert_allclose(reader._inward("edge", {"edge": hollow}, up), across, atol=1e-12)
    arc = np.stack([x, -0.1 * x**2, 0 * x], axis=1)
    face = {"edge": arc, "face": np.array([[0.0, 1.0, 0], [5, 5, 0]])}
    assert reader._inward("edge", face, up).tolist() == [0, 1, 0]
    both = face | {"other": np.array([[0.0, -2.0, 0], [1, -3, 0]])}
    assert reader._inward("edge", both, up).tolist() == [0, -2, 0]


def test_faults_of_a_text_name_their_line(tmp_path):
    file = tmp_path / "a.toml"
    for text, words in (
        (b"a = 1\nb = 2\nc\0 = 3", "line 3: holds a null"),
        (b"\0", "line 1: holds a null"),
        (b"a\nb\n\nd\xff\n", "line 4: not UTF-8"),
        (b"\xff", "line 1: not UTF-8"),
    ):
        file.write_bytes(text)
        with pytest.raises(ek.BadFile, match=words):
            file_format.file_text(file)
    file.write_bytes("\ufeffa\r\nb\rc".encode())
    assert file_format.file_text(file) == "a\nb\nc"
    file.write_bytes(b" \n ")
    with pytest.raises(ek.BadFile, match="is empty"):
        file_format.file_text(file)


# ---- pictures as light ---------------------------------------------------------------------


def test_srgb_is_undone_on_both_sides_of_its_foot():
    light = np.array([0.0, 0.001, 0.0031, 0.0032, 0.05, 0.5, 1.0])
    seen = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    np.testing.assert_allclose(P.SRGB.linear(seen), light, rtol=1e-6)
    assert P.SRGB.linear(np.array(0.04045)) == pytest.approx(0.04045 / 12.92)
    np.testing.assert_array_equal(P.LINEAR.linear(light), light)
    gamma = P.Gamma(exponent=2.2)
    np.testing.assert_allclose(gamma.linear(light), light**2.2)
    assert gamma.name == "gamma 2.2"
    for good in (0.21, 4.99):
        assert P.Gamma(exponent=good).exponent == good
    for wrong in (0.2, 5.0):
        with pytest.raises(ek.BadArgument, match="exponent"):
            P.Gamma(exponent=wrong)
    with pytest.raises(ek.BadArgument, match="share"):
        gamma.linear(np.array([-0.1]))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("response", [P.SRGB, P.LINEAR, P.Gamma(exponent=2.0)])
def test_a_pictures_light_clipping_and_step_are_those_of_its_numbers(tmp_path, bits, response):
    top = 2**bits - 1
    numbers = RNG.integers(0, top + 1, (33, 40)).astype(np.uint8 if bits == 8 else np.uint16)
    numbers[0, :4] = [0, 1, top - 1, top]
    Image.fromarray(numbers).save(tmp_path / "a.png")
    seen = P.read_picture(tmp_path / "a.png", response=response)
    want = response.linear(numbers / top)
    np.testing.assert_allclose(seen.light, want, rtol=1e-6)
    np.testing.assert_array_equal(seen.clipped, (numbers == 0) | (numbers == top))
    scale = response.linear(np.arange(top + 1) / top)
    at = np.flatnonzero(scale >= 0.5)[0]
    assert seen.step == pytest.approx(scale[at] - scale[at - 1])
    assert (seen.bits, seen.size_px, seen.channel, seen.form) == (bits, (40, 33), "grey", "PNG")
    assert seen.response == response.name
    assert seen.response_stated is False
    assert P.read_picture(
        tmp_path / "a.png", response=response, response_checked=True
    ).response_stated


@pytest.mark.parametrize("turn", range(1, 9))
def test_pictures_are_turned_as_pil_turns_them(tmp_path, turn):
    numbers = RNG.integers(0, 256, (36, 48)).astype(np.uint8)
    np.testing.assert_array_equal(
        reading._upright(numbers, turn),
        np.asarray(ImageOps.exif_transpose(with_turn(numbers, turn))),
    )
    smooth = np.add.outer(np.arange(36) * 5, np.arange(48)).astype(np.uint8)
    image = Image.fromarray(smooth)
    exif = image.getexif()
    exif[0x0112] = turn
    for name, options in (("a.tif", {}), ("a.jpg", {"quality": 100})):
        image.save(tmp_path / name, exif=exif, **options)
        response = P.SRGB if name.endswith("jpg") else P.LINEAR
        seen = P.read_picture(tmp_path / name, response=response)
        want = response.linear(reading._upright(smooth, turn) / 255)
        assert np.abs(seen.light - want).max() < 0.02
        words = [
            "as stored",
            "mirrored",
            "turned by 180°",
            "flipped",
            "transposed",
            "turned by 90° right",
            "transversed",
            "turned by 90° left",
        ]
        assert seen.turned == words[turn - 1]


def with_turn(numbers, turn):
    image = Image.fromarray(numbers)
    image.getexif()[0x0112] = turn
    return image


def test_of_colours_the_green_is_read(tmp_path):
    numbers = RNG.integers(0, 256, (40, 40, 3)).astype(np.uint8)
    Image.fromarray(numbers).save(tmp_path / "a.png")
    seen = P.read_picture(tmp_path / "a.png", response=P.LINEAR)
    np.testing.assert_allclose(seen.light, numbers[..., 1] / 255, rtol=1e-6)
    assert seen.channel == "green"


def test_a_side_has_32_pixels_and_a_picture_sixty_million(tmp_path, monkeypatch):
    for size, good in (((32, 40), True), ((40, 32), True), ((31, 40), False), ((40, 31), False)):
        Image.fromarray(np.full(size, 9, dtype=np.uint8)).save(tmp_path / "a.png")
        if good:
            P.read_picture(tmp_path / "a.png", response=P.LINEAR)
        else:
            with pytest.raises(ek.BadFile, match="smaller than 32"):
                P.read_picture(tmp_path / "a.png", response=P.LINEAR)
    image = SimpleNamespace(size=(6000, 10_000), format="PNG", mode="L", info={})
    reading._check_header(tmp_path / "a.png", image)
    image.size = (6000, 10_001)
    with pytest.raises(ek.BadFile, match="60 million"):
        reading._check_header(tmp_path / "a.png", image)
    file = tmp_path / "a.png"
    size = file.stat().st_size
    monkeypatch.setattr(reading, "MAX_BYTES", size)
    reading._bytes(file)
    monkeypatch.setattr(reading, "MAX_BYTES", size - 1)
    with pytest.raises(ek.BadFile, match="is larger than"):
        reading._bytes(file)


def test_what_a_file_states_of_its_response():
    def stated(form, **info):
        return reading._stated(SimpleNamespace(format=form, info=info))

    assert stated("JPEG") == "sRGB"
    assert stated("PNG", srgb=0) == "sRGB"
    assert stated("PNG") is None
    for gamma, want in (
        (1.0, "linear"),
        (1.0099, "linear"),
        (0.9901, "linear"),
        (1.011, None),
        (0.989, None),
        (1 / 2.2, "sRGB"),
        (1 / 2.2 + 0.0099, "sRGB"),
        (1 / 2.2 - 0.0099, "sRGB"),
        (1 / 2.2 + 0.011, None),
        (0.6, None),
    ):
        assert stated("PNG", gamma=gamma) == want
    assert stated("PNG", gamma=1) is None


def test_bits_are_eight_or_sixteen(tmp_path):
    file = tmp_path / "a.tif"

    def bits(mode, stored=(), tile=(), form="TIFF"):
        tags = {258: stored} if stored else {}
        return reading._bits(file, SimpleNamespace(format=form, mode=mode, tag_v2=tags, tile=tile))

    assert bits("L") == bits("L", (8,)) == 8
    assert bits("I;16") == bits("I;16", (16,)) == 16
    assert bits("RGB", (8, 8, 8)) == 8
    assert bits("RGB", form="PNG", tile=[("zip", (0, 0, 1, 1), 0, "RGB")]) == 8
    for mode, stored, tile, words in (
        ("L", (4,), (), "8 or 16"),
        ("L", (9,), (), "8 or 16"),
        ("I;16", (12,), (), "8 or 16"),
        ("RGB", (8, 9, 8), (), "16 bit a colour"),
        ("RGB", (16, 16, 16), (), "16 bit a colour"),
        ("RGB", (), [("zip", (0, 0, 1, 1), 0, "RGB;16B")], "16 bit a colour"),
    ):
        with pytest.raises(ek.BadFile, match=words):
            bits(mode, stored, tile)


# ---- budgets -------------------------------------------------------------------------------


def test_a_budget_adds_first_and_second_order_as_the_guide_does():
    """JCGM 100:2008, 5.1.2 with its note: for y = a x + b x², u² = a² s² + 2 b² s⁴."""
    shapes = P.Shape
    for shape, kurtosis in ((shapes.NORMAL, 2.0), (shapes.RECTANGULAR, 0.8)):
        item = P.Input(name="x", value=1.0, sd=0.5, unit="mm", shape=shape)
        budget = P.Budget(name="y", inputs=(item,), model=lambda at: 3 + 2 * at["x"] + at["x"] ** 2)
        row = budget.rows[0]
        want = math.sqrt((4 * 0.5) ** 2 + kurtosis * 0.5**4)
        assert row.u_um == pytest.approx(want)
        assert row.order == 1
        assert (budget.value_um, budget.expanded_um) == (6.0, 2 * budget.u_um)
        drawn = budget.monte_carlo(3, draws=200_000)
        assert drawn["x"] == pytest.approx(want, rel=0.01)
        assert drawn["all"] == drawn["x"]
        at_top = P.Budget(name="y", inputs=(item,), model=lambda at: (at["x"] - 1) ** 2)
        assert at_top.rows[0].order == 2
        assert "second order" in at_top.rows[0].remarks
    two = (
        P.Input(name="a", value=1.0, sd=3.0, unit="µm"),
        P.Input(name="b", value=2.0, sd=4.0, unit="µm", stays=False),
    )
    both = P.Budget(name="y", inputs=two, model=lambda at: at["a"] - at["b"])
    assert both.u_um == pytest.approx(5)
    assert both.difference_u_um == pytest.approx(3 * math.sqrt(2))
    assert [row.source for row in both.rows] == ["b", "a"]
    assert both.rows[0].remarks == "given, cancels in a difference"
    assert repr(both).startswith("y: -1.00 µm, U = 10.00 µm (k = 2)\n  4.00 µm  b (sd 4 µm")
    drawn = both.monte_carlo(np.random.default_rng(1))
    assert set(drawn) == {"a", "b", "all"}
    both.monte_carlo(1, draws=100)
    for draws in (99, 10_000_001):
        with pytest.raises(ek.BadArgument, match="draws"):
            both.monte_carlo(1, draws=draws)


def test_inputs_are_drawn_as_they_are_spread():
    normal = P.Input(name="a", value=5.0, sd=2.0, unit="µm")
    flat = P.Input(name="a", value=5.0, sd=2.0, unit="µm", shape=P.Shape.RECTANGULAR)
    a, b = (item.draw(np.random.default_rng(1), 40_000) for item in (normal, flat))
    assert (a.mean(), a.std()) == pytest.approx((5, 2), rel=0.02)
    assert (b.mean(), b.std()) == pytest.approx((5, 2), rel=0.02)
    assert np.abs(b - 5).max() == pytest.approx(2 * math.sqrt(3), rel=1e-3)
    assert np.abs(a - 5).max() > 6.5
    assert normal.draw(np.random.default_rng(1), 0).shape == (0,)
    assert (normal.stays, normal.basis) == (True, "given")
    for wrong in (-0.1, math.nan):
        with pytest.raises(ek.BadArgument, match="sd of a"):
            P.Input(name="a", value=1.0, sd=wrong, unit="µm")


NAMES = ("height", "roll", "roll2", "pitch", "pitch2", "both")


def model_of(counts=(2, 5), **changed):
    rng = np.random.default_rng(3)
    given = {name: rng.normal(size=6) * 40 for name in NAMES}
    parts = LossParts(
        noise=rng.uniform(0.1, 0.3, 6), datum=rng.normal(size=(6, 16)) * 0.1, counts=counts, **given
    )
    fields = {
        "parts": parts,
        "apexes": (
            P.Apex(radius_um=2.0, sd_um=0.5),
            P.Apex(internal_angle_deg=60, radius_um=4.0, sd_um=0.8),
        ),
        "response_um": 0.3,
        "certificate": 1e-3,
        "fit_sd": 5e-4,
        "mount": P.Mount(distance_mm=120, tilt_sd_deg=2.0, height_sd_mm=0.1),
    }
    return LossModel(**fields | changed)


def test_the_mean_recession_and_its_rows_are_written_out():
    model = model_of()
    usable = np.array([True, True, False, True, True, True])
    p, seen = model.parts, 9.0
    budget = model.budget(usable, seen)
    mean = {name: getattr(p, name)[usable].mean() for name in NAMES}
    shares = [1 / math.tan(math.radians(b / 2)) - 1 for b in (75, 60)]
    assert budget.value_um == pytest.approx(seen + shares[0] * 2 - shares[1] * 4)
    rows = {row.source: row for row in budget.rows}
    pairs = 1 / 2 + 1 / 5
    t = math.radians(2)
    want = {
        "edge location": math.sqrt((p.noise[usable] ** 2).sum()) / 5 * math.sqrt(pairs),
        "registration on the datum": np.linalg.norm(p.datum[usable].mean(axis=0))
        * math.sqrt(pairs),
        "response curve": 0.3,
        "target certificate": seen * 1e-3,
        "fit of the target": seen * 5e-4,
    }
    for when, n, share, sd in (("before", 2, shares[0], 0.5), ("after", 5, shares[1], 0.8)):
        want |= {
            f"face off the target's plane, {when}": abs(mean["height"]) * 0.1 / math.sqrt(n),
            f"roll times pitch, {when}": abs(mean["both"]) * t**2 / math.sqrt(n),
            f"roundness, {when}": share * sd,
        }
        for turn in ("roll", "pitch"):
            spread = t / n**0.25
            first, second = mean[turn] * spread, math.sqrt(2) * mean[f"{turn}2"] * spread**2
            want[f"{turn}, {when}"] = math.hypot(first, second)
    assert set(rows) == set(want)
    for name, size in want.items():
        assert rows[name].u_um == pytest.approx(size, rel=1e-6), name
    given = dict.fromkeys(want, 0.0) | {"roundness, before": 2.0, "roundness, after": 4.0}
    for name, unit in (
        ("target certificate", seen),
        ("fit of the target", seen),
        ("edge location", 1.0),
        ("registration on the datum", 1.0),
        ("response curve", 1.0),
        ("roundness, before", shares[0]),
        ("roundness, after", -shares[1]),
    ):
        at = {key: np.array([item]) for key, item in given.items()}
        at[name] = at[name] + 1
        assert budget.model(at)[0] == pytest.approx(budget.value_um + unit), name
    for when, sense in (("before", -1), ("after", 1)):
        moved = {
            f"face off the target's plane, {when}": 0.2,
            f"roll, {when}": 3.0,
            f"pitch, {when}": -1.0,
            f"roll times pitch, {when}": 0.01,
        }
        base = given | {"roundness, before": 2.0, "roundness, after": 4.0}
        at = {key: np.array([item]) for key, item in (base | moved).items()}
        r, q = math.radians(3), math.radians(-1)
        shift = sense * (
            0.2 * mean["height"]
            + mean["roll"] * r
            + mean["roll2"] * r**2
            + mean["pitch"] * q
            + mean["pitch2"] * q**2
            + 0.01 * mean["both"]
        )
        assert budget.model(at)[0] == pytest.approx(budget.value_um + shift)


def test_a_stations_spread_holds_every_cause():
    model = model_of()
    p, t = model.parts, math.radians(2)
    mount = (
        (p.height * 0.1) ** 2
        + (p.roll * t) ** 2
        + 2 * (p.roll2 * t**2) ** 2
        + (p.pitch * t) ** 2
        + 2 * (p.pitch2 * t**2) ** 2
        + (p.both * t**2) ** 2
    )
    np.testing.assert_allclose(model.mount_variance(), mount)
    np.testing.assert_allclose(model.datum_variance(), (p.datum**2).sum(axis=1))
    shares = [1 / math.tan(math.radians(b / 2)) - 1 for b in (75, 60)]
    rounds = (shares[0] * 0.5) ** 2 + (shares[1] * 0.8) ** 2
    want = (mount + p.noise**2 + (p.datum**2).sum(axis=1)) * (1 / 2 + 1 / 5) + rounds + 0.09
    np.testing.assert_allclose(model.station_sd(), np.sqrt(want))
    arm = RNG.normal(size=(5, 2))
    a, b = np.array([0.6, 0.8]), np.array([-0.8, 0.6])
    np.testing.assert_allclose(
        _shear(arm, a, b), 0.5 * (np.outer(arm @ b, a) + np.outer(arm @ a, b))
    )


def test_the_response_and_the_scale_go_into_a_losss_model_from_both_kinds():
    parts = model_of().parts
    apexes, mount = (P.Apex(), P.Apex()), P.Mount(distance_mm=120)

    def line(skew, sd, blur, stated=True):
        scale = SimpleNamespace(relative_sd=1e-3, fit_sd=2e-4)
        return SimpleNamespace(
            skew_um=skew,
            skew_sd_um=sd,
            edge_spread_um=blur,
            scale=scale,
            picture=SimpleNamespace(response_stated=stated),
        )

    before, after = (line(0.1, 0.02, 8.0), line(0.2, 0.03, 9.0)), (line(0.5, 0.04, 10.0),)
    model = loss_model(parts, apexes, (before, after), mount)
    chance = (0.02**2 + 0.03**2) / 2 / 2 + 0.04**2
    assert model.response_um == pytest.approx(16 * math.sqrt(0.35**2 - chance))
    assert (model.certificate, model.fit_sd) == (1e-3, 2e-4)
    trust = (line(0.1, 0.02, 8.0), line(0.2, 0.03, 9.0, stated=False)), after
    unstated = loss_model(parts, apexes, trust, mount)
    assert unstated.response_um == pytest.approx(math.hypot(model.response_um, 0.57 * 1.5))
    quiet = loss_model(parts, apexes, ((line(0.1, 0.5, 8.0),), (line(0.2, 0.5, 9.0),)), mount)
    assert quiet.response_um == 0


# ---- an edge from one view -----------------------------------------------------------------


def test_ends_and_what_is_propagated_have_their_defaults():
    end = P.EdgeEnd()
    assert (end.rule, end.short_of_mm, end.sd_mm) == (P.ToeRule.APEX, 0.0, 0.05)
    assert P.EdgeEnd(sd_mm=0.0).sd_mm == 0
    with pytest.raises(ek.BadArgument, match="sd_mm"):
        P.EdgeEnd(sd_mm=-0.01)
    both = P.Propagated(
        value=np.array([1.0, 2.0]), parts={"a": np.array([3.0, 0.0]), "b": np.array([4.0, 1.0])}
    )
    np.testing.assert_allclose(both.sd, [5, 1])
    table = both.table
    assert table["sd"].tolist() == [3, 4]
    assert table["sd_mean"].tolist() == [1.5, 2.5]
    edge = ek.patterns.universal_curette().edges["left"]
    leant = one_view.leant(edge, (1, 0, 0), 10.0)
    a = math.radians(10)
    assert leant.handle_axis == pytest.approx([0, math.sin(a), -math.cos(a)])
    assert one_view.angled(edge, 2.5).nominal_angle_deg == pytest.approx(77.5)
    half = one_view.half_difference(lambda e: e.nominal_angle_deg, one_view.angled(edge, 3), edge)
    assert half == pytest.approx(1.5)


STADIUM = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0, sd_mm=0.03))
TOE = 0.45 * np.pi / 2


def seen_edge(side=LEFT, line=STADIUM, **given):
    return P.edge_from_view(line, side=side, handle_axis=(0, 0.3, -0.95), **given)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
@pytest.mark.parametrize("rule", list(P.ToeRule))
def test_an_edge_ends_where_the_rule_and_the_user_say(side, rule):
    for short in (0.0, 0.3, -0.1):
        seen = seen_edge(side, end=P.EdgeEnd(rule=rule, short_of_mm=short, sd_mm=0.02))
        want = 5.0 - (0 if rule is P.ToeRule.APEX else TOE) - short
        assert seen.edge.length_mm == pytest.approx(want, abs=0.03)
    turn = seen_edge(side, end=P.EdgeEnd(rule=rule))
    # In the blade frame: x along the mid-line, 0 at its middle, heel to toe; y to the left.
    ends = turn.edge.frame(np.array([0.0, 1.0]), 0).position
    y = 0.45 if side is LEFT else -0.45
    np.testing.assert_allclose(ends[:, 1], y, atol=2e-3)
    assert ends[1, 0] - ends[0, 0] == pytest.approx(1, abs=1e-4)
    heel_to_toe = 6.45 - STADIUM.points_mm[STADIUM.side(LEFT)[0], 0]
    assert ends[0, 0] == pytest.approx(-heel_to_toe / 2, abs=0.02)
    inward = turn.edge.frame(np.array([1.0])).inward.value[0]
    np.testing.assert_allclose(inward, [0, -np.sign(y), 0], atol=5e-3)
    assert (turn.heel_sd_mm, turn.end_sd_mm) == (0.03, 0.05)
    step = np.linalg.norm(np.diff(turn.points_mm, axis=0), axis=1)
    assert len(turn.points_mm) == int(turn.edge.length_mm / 0.05) + 2
    assert step.max() < 0.05
    assert not turn.points_mm[:, 2].any()
    assert turn.edge.roll_reference == pytest.approx([1, 0, 0])
    # Of the outline so much is smoothed beyond either end, in means over a twentieth.
    start, stop = turn._ends_mm
    first, last = turn._smooth.curve.domain
    assert start - first == pytest.approx(0.06 + 2 * 0.03 - 0.025, abs=0.015)
    assert last - stop == pytest.approx(0.06 + 2 * 0.05 - 0.025, abs=0.015)


def test_what_is_stated_of_an_edge_is_kept_or_has_its_default():
    seen = seen_edge()
    assert seen.edge.nominal_angle_deg == pytest.approx(value("internal_angle_deg"))
    assert seen.internal_angle_sd_deg == value("trace_angle_sd_deg")
    assert seen.pose_sd_deg == value("picture_tilt_sd_deg")
    assert seen_edge(internal_angle_sd_deg=0.0).internal_angle_sd_deg == 0
    assert seen_edge(pose_sd_deg=0.0).pose_sd_deg == 0
    assert seen_edge(pose_sd_deg=19.9).pose_sd_deg == 19.9
    for wrong in ({"pose_sd_deg": -1e-6}, {"pose_sd_deg": 20.0}, {"internal_angle_sd_deg": -0.1}):
        with pytest.raises(ek.BadArgument, match=next(iter(wrong))):
            seen_edge(**wrong)
    with pytest.raises(ek.Cannot, match="begin or end outside"):
        seen_edge(end=P.EdgeEnd(short_of_mm=4.51))
    assert seen_edge(end=P.EdgeEnd(short_of_mm=4.4)).edge.length_mm == pytest.approx(0.6, abs=0.03)
    noise = [
        seen_edge(line=outline_of(stadium(), HEEL_5, 1.0, seed), side=LEFT).noise_um
        for seed in range(8)
    ]
    # Points are means of about four of noise 1 µm in one direction of two.
    assert np.mean(noise) == pytest.approx(1 / math.sqrt(0.05 / 0.012), rel=0.25)


HEEL_5 = P.EdgeLength(side=LEFT, length_mm=5.0)


def test_a_pointed_tip_is_left_out_by_three_tenths():
    a = math.radians(7)
    back = 7 * np.array([-math.cos(a), math.sin(a)])
    line = outline_of([back, [0, 0], back * [1, -1]], P.EdgeLength(side=LEFT, length_mm=4.0))
    assert line.parts.pointed
    for short, good in ((0.3, True), (0.29, False)):
        if good:
            seen = seen_edge(line=line, end=P.EdgeEnd(short_of_mm=short))
            assert seen.edge.length_mm == pytest.approx(3.7, abs=0.05)
        else:
            with pytest.raises(ek.Cannot, match="lost in the blur"):
                seen_edge(line=line, end=P.EdgeEnd(short_of_mm=short))


def test_what_is_not_known_of_an_edge_is_half_of_what_its_two_sides_differ_by():
    seen = seen_edge(
        pose_sd_deg=2.0,
        internal_angle_sd_deg=1.5,
        end=P.EdgeEnd(rule=P.ToeRule.TURN_BEGINS, sd_mm=0.06),
    )
    parts = seen.propagate(lambda edge: edge.length_mm).parts
    assert parts["end at the toe"] == pytest.approx(0.06, rel=1e-3)
    assert parts["end at the heel"] == pytest.approx(0.03, rel=1e-3)
    assert parts["internal angle"] == 0
    angle = seen.propagate(lambda edge: edge.nominal_angle_deg).parts
    assert angle["internal angle"] == pytest.approx(1.5)
    axis = seen.propagate(lambda edge: edge.handle_axis).parts
    h = np.array([0, 0.3, -0.95]) / math.hypot(0.3, 0.95)
    s = math.sin(math.radians(2))
    assert axis["pose about the blade's length"] == pytest.approx(np.abs([0, -s * h[2], s * h[1]]))
    assert axis["pose across the blade"] == pytest.approx(np.abs([s * h[2], 0, 0]))
    none = seen_edge(pose_sd_deg=0.0).propagate(lambda edge: edge.handle_axis).parts
    assert not np.asarray(none["pose across the blade"]).any()
    first = seen.propagate(lambda edge: edge.frame(np.array(2.0)).position)
    again = seen.propagate(lambda edge: edge.frame(np.array(2.0)).position, rng=0)
    np.testing.assert_array_equal(first.parts["line"], again.parts["line"])
    other = seen.propagate(lambda edge: edge.frame(np.array(2.0)).position, rng=1)
    assert (first.parts["line"] != other.parts["line"]).any()
    assert first.parts["line"][2] == 0
    noisy_ = seen_edge(line=outline_of(stadium(), HEEL_5, 2.0, 3))
    spread = noisy_.propagate(lambda edge: edge.frame(np.array(2.0)).position).parts["line"]
    smooth, sd = noisy_._smooth, noisy_.noise_um / 1000
    u = float(noisy_._ends_mm[0] + 2.0)
    t = smooth.curve.spline.t
    basis = np.array([BSpline(t, row, 5)(u) for row in np.eye(len(t) - 6)])
    want = np.hypot(sd * np.linalg.norm(basis @ smooth.factor), (basis @ smooth.doubt_mm)[1])
    assert spread[1] == pytest.approx(want, rel=0.6)


def test_both_edges_of_a_view_become_a_trace():
    given = {"name": "x", "handle_axis": (0, 0.3, -0.95), "thickness_mm": 0.71}
    one = given | {"kind": ek.BladeClass.AREA_SPECIFIC}
    blade = P.blade_from_view(STADIUM, **one)
    settings = blade.trace.settings
    assert settings["noise_um"] == pytest.approx(0.3)
    assert settings["end_sd_mm"] == 0.05
    assert settings["pose_sd_deg"] == value("picture_tilt_sd_deg")
    assert settings["internal_angle_deg"] == value("internal_angle_deg")
    assert settings["internal_angle_sd_deg"] == value("trace_angle_sd_deg")
    assert "note" not in settings
    assert "width_mm" not in settings
    used, unused = (blade.trace.points_mm[key] for key in ("used", "unused"))
    assert used[:, 1].mean() > 0 > unused[:, 1].mean()
    assert blade.edges["used"].length_mm == pytest.approx(5.0, abs=0.03)
    assert blade.unused.length_mm == pytest.approx(5.0 - TOE, abs=0.05)
    right = P.blade_from_view(STADIUM, **one, used=RIGHT, note="n", width_mm=0.95)
    assert right.trace.points_mm["used"][:, 1].mean() < 0
    assert right.trace.settings["note"] == "n"
    assert right.section.width_mm == 0.95
    quiet = outline_of(stadium(), HEEL_5, sd_um=0.05)
    sure = P.blade_from_view(
        quiet, **given, kind=ek.BladeClass.UNIVERSAL, end=P.EdgeEnd(sd_mm=0.02)
    )
    assert sure.trace.settings["noise_um"] == view_trace.MIN_NOISE_UM == 0.1
    assert sure.edges.keys() == {"left", "right"}
    parts = P.propagate_trace(sure, "left", lambda edge: edge.length_mm).parts
    assert parts["end at the toe"] == pytest.approx(0.02)
    angle = P.propagate_trace(sure, "left", lambda edge: edge.nominal_angle_deg)
    assert angle.parts["internal angle"] == pytest.approx(value("trace_angle_sd_deg"))
    axis = P.propagate_trace(sure, "left", lambda edge: edge.handle_axis).parts
    h = np.array([0, 0.3, -0.95]) / math.hypot(0.3, 0.95)
    s = math.sin(math.radians(value("picture_tilt_sd_deg")))
    assert axis["pose about x"] == pytest.approx(np.abs([0, -s * h[2], s * h[1]]))
    assert axis["pose about y"] == pytest.approx(np.abs([s * h[2], 0, 0]))
    with pytest.raises(ek.BadArgument, match="thickness_mm is needed"):
        P.blade_from_view(STADIUM, name="x", kind=ek.BladeClass.UNIVERSAL, handle_axis=(0, 0, -1))
