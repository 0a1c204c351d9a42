"""Targets against exact cameras and drawn corners: OpenCV's homographies, scipy's least squares,
complex steps, error functions, and drawn noise.
"""

import cv2
import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial import cKDTree
from scipy.special import erf

import edgekit as ek
from edgekit.digitising.pictures.targets import calibrating, corners, plane, refining
from edgekit.evidence_table import value
from tests.test_profiles_exact import picture_of

P = ek.pictures
REACH = 350.0
# H11 to H32 [px/mm, px, 1/mm], and the radial term.
NUMBERS = np.array([40.0, 3.0, -20.0, -2.0, -41.0, 15.0, 2e-3, -3e-3, -0.06])
PLANE = np.stack(np.meshgrid(np.arange(9) - 4.0, np.arange(7) - 3.0), axis=-1).reshape(-1, 2)


def seen(numbers, points, reach=REACH):
    """What a camera of these numbers sees, written out; complex numbers pass through."""
    h = np.append(numbers[:8], 1.0).reshape(3, 3)
    flat = np.array([h[:2, :2] @ p + h[:2, 2] for p in points])
    flat = flat / np.array([h[2, :2] @ p + 1.0 for p in points])[:, None]
    return flat * (1 + numbers[8] * (flat**2).sum(axis=1) / reach**2)[:, None]


# ---- a camera over a plane -----------------------------------------------------------------


def test_a_camera_sees_the_plane_by_its_homography_and_one_radial_term():
    np.testing.assert_allclose(
        plane.project(NUMBERS, PLANE, REACH), seen(NUMBERS, PLANE), rtol=1e-12
    )
    h = np.append(NUMBERS[:8], 1.0).reshape(3, 3)
    flat = cv2.perspectiveTransform(PLANE[None], h)[0]
    straight = np.append(NUMBERS[:8], 0.0)
    np.testing.assert_allclose(plane.project(straight, PLANE, REACH), flat, rtol=1e-12)


def test_the_slopes_are_those_of_complex_steps():
    slopes = plane._slopes(NUMBERS, PLANE, REACH)
    for k in range(9):
        step = np.zeros(9, dtype=complex)
        step[k] = 1e-30j
        want = seen(NUMBERS + step, PLANE).imag / 1e-30
        np.testing.assert_allclose(slopes[..., k], want, rtol=2e-6, atol=2e-6 * abs(want).max())
    level = np.array([40.0, 0, 0, 0, -40.0, 0, 0, 0, 0])  # steps for numbers that are 0
    slopes = plane._slopes(level, PLANE, REACH)
    for k in (1, 2, 6, 8):
        step = np.zeros(9, dtype=complex)
        step[k] = 1e-30j
        want = seen(level + step, PLANE).imag / 1e-30
        np.testing.assert_allclose(slopes[..., k], want, atol=1e-6 * abs(want).max())


@pytest.mark.parametrize("count", [4, 5, 40])
def test_a_homography_is_opencvs(count):
    rng = np.random.default_rng(count)
    source = np.array([[0.0, 0], [900, 30], [870, 620], [15, 640]])
    if count > 4:
        source = np.concatenate([source, rng.uniform(0, 800, (count - 4, 2))])
    h = np.append(NUMBERS[:8], 1.0).reshape(3, 3) @ np.diag([0.01, 0.01, 1])
    target = cv2.perspectiveTransform(source[None], h)[0]
    own = plane.homography(source, target)
    np.testing.assert_allclose(own, h, rtol=1e-7, atol=1e-9)
    assert own[2, 2] == 1
    if count == 4:
        theirs = cv2.getPerspectiveTransform(source.astype("f4"), target.astype("f4"))
        np.testing.assert_allclose(own, theirs, rtol=1e-3, atol=1e-5)


def test_normalised_points_have_their_mean_at_0_and_lie_root_2_from_it():
    points = np.random.default_rng(1).normal(size=(30, 2)) * [5, 90] + [400, -30]
    turn, near = plane._normalised(points)
    np.testing.assert_allclose(near.mean(axis=0), 0, atol=1e-12)
    assert (near**2).sum(axis=1).mean() == pytest.approx(2)
    np.testing.assert_allclose(
        np.column_stack([points, np.ones(30)]) @ turn.T, np.column_stack([near, np.ones(30)])
    )


def camera_of(numbers, covariance=None, centre=(349.5, 249.5)):
    return plane.PlaneCamera(
        numbers=np.asarray(numbers, dtype=float),
        covariance=np.zeros((9, 9)) if covariance is None else covariance,
        centre_px=np.array(centre),
        reach_px=REACH,
        residual_px=0.1,
    )


@pytest.mark.parametrize("radial", [-0.1, 0.0, 0.15])
def test_pixels_and_millimetres_are_each_others_inverse(radial):
    camera = camera_of([*NUMBERS[:8], radial])
    px = camera.to_px(PLANE.reshape(7, 9, 2))
    np.testing.assert_allclose(
        px.reshape(-1, 2),
        seen([*NUMBERS[:8], radial], PLANE) + np.array([349.5, 249.5]),
        rtol=1e-12,
    )
    np.testing.assert_allclose(camera.to_mm(px), PLANE.reshape(7, 9, 2), atol=1e-10)
    h = np.append(NUMBERS[:8], 1.0).reshape(3, 3)
    middle = np.linalg.inv(h) @ [0, 0, 1]
    np.testing.assert_allclose(camera.to_mm(np.array([349.5, 249.5])), middle[:2] / middle[2])


def test_the_radial_term_is_undone_as_far_as_pictures_do_not_fold():
    # r (1 + k r²/s²) is largest at r = s/√(-3k), where it is 2r/3.
    camera = camera_of([40.0, 0, 0, 0, -40.0, 0, 0, 0, -0.2], centre=(0.0, 0.0))
    fold = REACH / np.sqrt(0.6)
    for share in (0.5, 0.9, 0.999):
        radius = share * fold
        px = radius * (1 - 0.2 * (radius / REACH) ** 2) * np.array([0.6, -0.8])
        np.testing.assert_allclose(camera.to_mm(px), radius / 40 * np.array([0.6, 0.8]), rtol=1e-7)
    with pytest.raises(ek.Cannot, match="radial term"):
        camera.to_mm(1.001 * fold * 2 / 3 * np.array([0.6, -0.8]))


def test_the_standard_deviation_of_a_place_is_that_of_its_two_coordinates():
    covariance = np.zeros((9, 9))
    covariance[2, 2] = 0.3**2  # a shift in x alone
    point = np.array([[2.0, 1.0]])
    level = [40.0, 0, 0, 0, -40.0, 0, 0, 0, 0.0]
    assert camera_of(level, covariance).sd_px(point)[0] == pytest.approx(0.3 / np.sqrt(2))
    covariance = np.zeros((9, 9))
    covariance[8, 8] = 0.01**2
    d = 40 * np.sqrt(5)
    want = d**3 / REACH**2 * 0.01 / np.sqrt(2)
    assert camera_of(level, covariance).sd_px(point)[0] == pytest.approx(want, rel=1e-6)


@pytest.mark.parametrize("radial", [True, False])
def test_a_camera_is_fitted_as_scipys_least_squares_fits_it(radial):
    size = (700, 500)
    numbers = NUMBERS if radial else np.append(NUMBERS[:8], 0.0)
    exact = seen(numbers, PLANE) + np.array([349.5, 249.5])
    camera = plane.fit_plane_camera(PLANE, exact, size, radial=radial)
    assert camera.centre_px.tolist() == [349.5, 249.5]
    assert camera.reach_px == 350
    np.testing.assert_allclose(camera.numbers, numbers, rtol=1e-6, atol=1e-9)
    assert camera.residual_px < 1e-6
    noisy = exact + 0.2 * np.random.default_rng(4).standard_normal(exact.shape)
    camera = plane.fit_plane_camera(PLANE, noisy, size, radial=radial)
    free = 9 if radial else 8

    def left(some):
        return (
            seen(np.append(some, [] if radial else [0.0]), PLANE) + np.array([349.5, 249.5]) - noisy
        ).ravel()

    best = least_squares(left, numbers[:free], x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14)
    np.testing.assert_allclose(camera.numbers[:free], best.x, rtol=1e-4, atol=1e-7)
    noise = np.sqrt((best.fun**2).sum() / (noisy.size - free))
    assert camera.residual_px == pytest.approx(noise, rel=1e-6)
    spread = noise**2 * np.linalg.inv(best.jac.T @ best.jac)
    np.testing.assert_allclose(np.diag(camera.covariance)[:free], np.diag(spread), rtol=2e-3)
    if not radial:
        assert camera.numbers[8] == 0
        assert not camera.covariance[8].any()


def test_four_corners_leave_no_residual_to_speak_of_and_no_division_by_zero():
    camera = plane.fit_plane_camera(
        PLANE[[0, 8, 54, 62]], seen(NUMBERS, PLANE[[0, 8, 54, 62]]), (700, 500), radial=False
    )
    assert camera.residual_px < 1e-9
    assert np.isfinite(camera.covariance).all()


def test_points_of_no_plane_are_refused():
    found = []
    for seed in range(12):
        px = np.random.default_rng(seed).uniform(0, 500, PLANE.shape)
        try:
            plane.fit_plane_camera(PLANE, px, (700, 500))
        except ek.Cannot as error:
            found.append(str(error))
    assert any("do not fit a plane" in words for words in found)


# ---- corners to the limit of their noise ---------------------------------------------------


def test_pixels_belong_to_a_corner_up_to_half_a_square_or_24_pixels():
    square = np.array([[20.0, 20.0], [100.0, 60.0]])
    at = np.array([[0.0, 0.0], [9.0, 0.0], [10.0, 0.0], [10.5, 0.0], [11.0, 0.0], [10.0, -10.0]])
    share = refining._share(np.stack([at / 20, at / 20]), square)
    np.testing.assert_allclose(share[0], [1, 1, 0.5, 0.25, 0, 0.25], atol=1e-12)
    far = np.array([[23.0, 0.0], [24.0, 0.0], [-24.5, 0.0], [25.0, 0.0], [0.0, 24.0], [24.0, 24.0]])
    share = refining._share(np.stack([far, far]) / square[:, None], square)
    np.testing.assert_allclose(share[1], [1, 0.5, 0.25, 0, 0.5, 0.25], atol=1e-12)


def test_noise_is_a_straight_line_over_brightness_never_falling():
    model = np.array([[0.2] * 6 + [0.8] * 6])
    sign = np.tile([1.0, -1.0], 6)[None]
    share = np.ones((1, 12))

    def variance(low, high, model=model, share=share):
        left = sign * np.sqrt(np.where(model < 0.5, low, high))
        return refining._variance(model, left, share)[0]

    rising = variance(1e-4, 3e-4)
    np.testing.assert_allclose(rising, np.where(model[0] < 0.5, 1e-4, 3e-4), rtol=1e-9)
    np.testing.assert_allclose(variance(3e-4, 1e-4), 3e-4, rtol=1e-9)
    np.testing.assert_allclose(variance(0.0, 3e-4)[:6], 0.02 * 3e-4, rtol=1e-6)
    # What is not a corner's own does not count, and light below nothing is nothing.
    share = np.array([[1.0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 0, 0]])
    wild = sign * np.sqrt(np.where(model < 0.5, 1e-4, 3e-4))
    wild[0, [4, 5, 10, 11]] = 9
    np.testing.assert_allclose(refining._variance(model, wild, share)[0], rising, rtol=1e-9)
    below = np.where(model < 0.5, -0.4, 0.8)
    np.testing.assert_allclose(
        variance(1e-4, 3e-4, model=below), np.where(below[0] < 0.5, 1e-4, 3e-4), rtol=1e-9
    )
    line = np.array([[0.0, 0.4, 0.6, 1.0]])
    left = np.sqrt(1e-4 + 2e-4 * line)
    np.testing.assert_allclose(refining._variance(line, left, np.ones((1, 4))), left**2, rtol=1e-9)


def test_the_model_of_four_squares_is_a_product_of_error_functions_with_its_slopes():
    rng = np.random.default_rng(3)
    turn = np.radians([10.0, 75.0])
    normals = np.stack([np.cos(turn), np.sin(turn)], axis=1)[None]
    offset = rng.uniform(-6, 6, (1, 50, 2))
    away = offset @ normals[0].T
    numbers = np.array([[0.3, -0.2, 1.4, -0.25, 0.4, 2e-3, -3e-3]])

    def light(some):
        z = (away[0] - normals[0] @ some[:2]) / some[2]
        return some[3] * (erf(z / np.sqrt(2))).prod(axis=1) + some[4] + offset[0] @ some[5:]

    model, slopes = refining._model(numbers, away, normals, offset)
    np.testing.assert_allclose(model[0], light(numbers[0]), rtol=1e-12)
    for k in range(7):
        step = np.zeros(7)
        step[k] = 1e-6
        want = (light(numbers[0] + step) - light(numbers[0] - step)) / 2e-6
        np.testing.assert_allclose(slopes[0, :, k], want, atol=1e-8)


def test_windows_are_the_pixels_about_a_corner_and_say_which_are_in_the_picture():
    light = np.arange(30.0 * 20).reshape(20, 30)
    windows = refining._windows(light, np.array([[1.2, 18.6], [15.5001, 10.0]]), 2)
    assert windows.px.shape == (2, 25, 2)
    assert windows.px[0].min(axis=0).tolist() == [-1, 17]
    assert windows.px[1].max(axis=0).tolist() == [18, 12]
    want = (windows.px[0] >= 0).all(axis=1) & (windows.px[0, :, 1] <= 19)
    assert windows.inside[0].tolist() == want.tolist()
    assert windows.inside[0].sum() == 4 * 3
    assert windows.inside[1].all()
    x, y = windows.px[1].astype(int).T
    assert windows.light[1].tolist() == light[y, x].tolist()
    edge = refining._windows(light, np.array([[0.0, 0.0], [29.0, 19.0]]), 1)
    assert edge.inside.sum(axis=1).tolist() == [4, 4]


@pytest.mark.parametrize(("square", "half"), [(22.0, 13), (64.0, 26), (48.0, 26), (21.0, 13)])
def test_windows_hold_half_a_square_or_24_pixels_and_the_ramp(monkeypatch, square, half):
    asked, plain = [], refining._windows

    def windows(light, places, reach):
        asked.append(reach)
        return plain(light, places, reach)

    monkeypatch.setattr(refining, "_windows", windows)
    light, places = board_light(3, 3, square=square * (1 - 1e-6), size=(260, 250), turn=0.0)
    refining.refined(light, places)
    assert len(asked) == 3  # rows
    assert set(asked) <= {half, half + 1}  # rounded up, whatever the last bit


def board_light(
    across=4, down=3, square=22.0, blur=1.1, lean=0.0, size=(150, 120), turn=0.1, slope=0.0
):
    """Light of a board without an end, whose inner corners are places (down, across, 2) [px]."""
    a = np.array([np.cos(turn), np.sin(turn)]) * square
    b = np.array([-np.sin(turn + lean), np.cos(turn + lean)]) * square
    first = np.array(size) / 2 - (across - 1) / 2 * a - (down - 1) / 2 * b
    j, i = np.mgrid[:down, :across]
    places = first + i[..., None] * a + j[..., None] * b
    y, x = np.mgrid[: size[1], : size[0]].astype(float)
    grid = np.linalg.solve(
        np.stack([a, b], axis=1), (np.stack([x, y], -1) - first).reshape(-1, 2).T
    )
    wave = np.ones(grid.shape[1])
    for k, number in enumerate((across, down)):
        step = np.ones(grid.shape[1])
        normal = np.array([b[1], -b[0]]) if k == 0 else np.array([-a[1], a[0]])
        height = abs(a[0] * b[1] - a[1] * b[0]) / np.hypot(*normal)
        for n in range(-8, number + 8):
            step = step * erf((grid[k] - n) * height / blur / np.sqrt(2))
        wave = wave * step
    light = (0.4 + 0.3 * wave).reshape(x.shape)
    return light + slope * (x - size[0] / 2), places


@pytest.mark.parametrize("slope", [0.0, 1e-3])
@pytest.mark.parametrize(("square", "blur"), [(22.0, 1.1), (12.0, 0.8)])
def test_corners_of_exact_squares_are_refined_from_a_third_of_a_pixel_off(slope, square, blur):
    light, places = board_light(square=square, blur=blur, slope=slope, lean=0.05)
    near = places + np.array([0.3, -0.2])
    found = refining.refined(light, near)
    np.testing.assert_allclose(found, places, atol=2e-4)
    dark = refining.refined(0.9 - light, near)
    np.testing.assert_allclose(dark, found, atol=1e-6)


def test_a_corner_that_moves_by_more_than_half_a_pixel_stays_at_its_saddle():
    light, places = board_light()
    near = places.copy()
    near[1, 1] += [0.45, 0.0]
    near[1, 2] += [0.0, 0.6]
    found = refining.refined(light, near)
    np.testing.assert_allclose(found[1, 1], places[1, 1], atol=5e-3)
    assert found[1, 2].tolist() == near[1, 2].tolist()


def test_the_error_of_refined_corners_is_what_noise_allows_and_its_own_noise_weighs():
    light, places = board_light(square=30.0, size=(180, 140))
    rng = np.random.default_rng(1)
    off = []
    for _ in range(6):
        noisy = light + np.sqrt(2e-3 * light**2) * rng.standard_normal(light.shape)
        off.append(refining.refined(noisy, places) - places)
    plain = []
    for _ in range(6):
        noisy = light + 0.0189 * rng.standard_normal(light.shape)  # the same mean square
        plain.append(refining.refined(noisy, places) - places)
    # The least for white noise, Cramér and Rao's, from every pixel within half a square.
    at = np.stack(np.meshgrid(np.arange(-14.5, 15), np.arange(-14.5, 15)), -1).reshape(-1, 2)
    model = refining._model(
        np.array([[0, 0, 1.1, 0.3, 0.4, 0, 0]]), at[None], np.eye(2)[None], at[None]
    )
    least = 0.0189 * np.sqrt(np.linalg.inv(model[1][0].T @ model[1][0])[0, 0])
    assert 0.85 * least < np.std(plain) < 1.2 * least
    assert np.std(off) < 0.93 * np.std(plain)  # dark squares tell more once they weigh more
    assert abs(np.mean(off)) < 3 * np.std(off) / np.sqrt(np.size(off))


# ---- corners and the grid they stand in ----------------------------------------------------


def test_a_ring_is_sixteen_places_and_its_sense_the_turn_of_a_saddle():
    y, x = np.mgrid[:60, :80].astype(float)
    spots = np.array([[30.0, 25.0], [41.5, 33.25]])
    turn = np.arange(16) * np.pi / 8
    ring = corners._ring(2 * x + 7 * y, spots, 5.0)
    want = 2 * (spots[:, :1] + 5 * np.cos(turn)) + 7 * (spots[:, 1:] + 5 * np.sin(turn))
    np.testing.assert_allclose(ring, want, rtol=1e-12)
    saddle = (x - 30) * (y - 25)  # r²/2 sin 2θ
    sense = corners._sense(saddle, spots[:1], 5.0)[0]
    assert sense == pytest.approx(8j * 25 / 2)
    turned = ((x - 30) ** 2 - (y - 25) ** 2) / 2
    assert corners._sense(turned, spots[:1], 5.0)[0].real == pytest.approx(100, rel=0.02)


def test_saddles_of_opposite_sense_are_neighbours_within_a_factor_of_three():
    for other, good in (
        (-1, True),
        (1, False),
        (1j, False),
        (-2.9, True),
        (-3.1, False),
        (-1 / 2.9, True),
        (-1 / 3.1, False),
        (np.exp(1j * np.arccos(-0.32)), True),
        (np.exp(-1j * np.arccos(-0.32)), True),
        (np.exp(1j * np.arccos(-0.28)), False),
    ):
        for turn in (1, 1j, np.exp(0.7j)):
            assert corners._opposite(turn, complex(turn * other)) == good


def test_a_grids_indices_run_across_then_down_and_its_square_is_its_shortest_side():
    grid = corners._grid(3, 2)
    assert grid.tolist() == [[[0, 0], [1, 0], [2, 0]], [[0, 1], [1, 1], [2, 1]]]
    places = grid * [7.0, 5.0]
    places[0, 0] = [1.5, 0.0]
    assert corners._square(places) == pytest.approx(5.0)
    places[1, 2, 0] = 10.0
    assert corners._square(places) == pytest.approx(3.0)
    h = np.array([[2.0, 0.1, 5], [0.2, 3.0, -4], [0.01, 0.02, 1]])
    np.testing.assert_allclose(
        corners._projected(h, grid), cv2.perspectiveTransform(grid, h), rtol=1e-12
    )


def square_of(left, top, side=25.0):
    """A blurred square of light 1 on dark."""
    y, x = np.mgrid[:120, :120].astype(float)
    return np.prod(
        [
            (erf((at - low) / 0.8) - erf((at - low - side) / 0.8)) / 2
            for at, low in ((x, left), (y, top))
        ],
        axis=0,
    )


@pytest.mark.parametrize("scale", [1.5, 3.0])
def test_candidates_are_the_corners_between_four_squares_strongest_first(scale):
    light, places = board_light(across=4, down=3, square=22)
    found = corners.candidates(light, scale)
    tree = cKDTree(found)
    distance, _ = tree.query(places.reshape(-1, 2))
    assert distance.max() < 0.9  # whole pixels
    assert corners.candidates(np.full((50, 50), 0.5), 1.5).shape == (0, 2)
    # Tips of single squares are none; two squares that touch at a tip make one.
    one, other = (square_of(*at) for at in ((39.2, 29.3), (64.2, 54.3)))
    assert len(corners.candidates(0.7 - 0.6 * one, 1.5)) == 0
    pair = one + other
    np.testing.assert_allclose(corners.candidates(0.7 - 0.6 * pair, 1.5), [[64, 54]])
    # Strengths go with the square of the contrast; a sixteenth of the strongest is too weak.
    for share, count in ((0.235, 8), (0.255, 9)):
        tiles = [[share * pair, pair, pair], [pair] * 3, [pair] * 3]
        found = corners.candidates(0.7 - 0.6 * np.block(tiles), 1.5)
        assert len(found) == count
        if count == 9:
            assert found[-1].tolist() == [64, 54]


def test_first_steps_are_two_neighbours_of_opposite_sense_across_one_another():
    step = np.array([[10.0, 1.0], [-1.0, 12.0]])
    index = np.stack(np.meshgrid([-1, 0, 1], [-1, 0, 1]), -1).reshape(-1, 2)
    spots = index @ step + 50
    sense = np.where(index.sum(axis=1) % 2, -1, 1).astype(complex)
    found = corners._first_steps(spots, cKDTree(spots), sense, 4)
    assert abs(found[0]) == pytest.approx(abs(step[0]))
    assert abs(found[1]) == pytest.approx(abs(step[1]))
    same = np.ones(9, dtype=complex)
    assert corners._first_steps(spots, cKDTree(spots), same, 4) is None
    assert corners._first_steps(spots[:4], cKDTree(spots[:4]), sense[:4], 0) is None
    row = spots[[3, 4, 5]]  # neighbours along one line, and two too far across it
    far = np.concatenate([row, row[1:2] + np.array([[0.0, 35.0], [0.0, -36.0]])])
    turns = np.array([-1, 1, -1, -1, -1], dtype=complex)
    assert corners._first_steps(far, cKDTree(far), turns, 1) is None
    near = np.concatenate([row, row[1:2] + np.array([[0.0, 25.0], [0.0, -26.0]])])
    assert corners._first_steps(near, cKDTree(near), turns, 1) is not None
    # One whose sine with the first is less than a half is not across it.
    for degrees, good in ((28, False), (32, True)):
        a = np.radians(degrees)
        lean = 10.5 * np.array([np.cos(a), np.sin(a)])
        spots = np.array([[0, 0], [10, 0], lean, -lean * 1.01, [-10.3, 0.0]])
        turns = np.array([1, -1, -1, -1, -1], dtype=complex)
        assert (corners._first_steps(spots, cKDTree(spots), turns, 0) is not None) == good


def spots_of(across, down, step=(10.0, 12.0), missing=()):
    index = [(i, j) for j in range(down) for i in range(across) if (i, j) not in missing]
    at = np.array(index, dtype=float)
    sense = np.where(at.sum(axis=1) % 2, -1.0, 1.0).astype(complex)
    return index, at * step + 40, sense


def test_a_grid_grows_over_every_neighbour_and_over_gaps_round_them():
    _, spots, sense = spots_of(6, 5, missing={(2, 2)})
    for seed in (0, 13, 28):
        cells = corners._grow(spots, cKDTree(spots), sense, seed)
        assert len(cells) == 29
        places = {
            tuple(np.round((spots[n] - spots[seed]) / [10, 12]).astype(int)) for n in cells.values()
        }
        assert len(places) == 29
        keys = np.array(list(cells))
        steps = (spots[list(cells.values())] - spots[seed]) / [10, 12]
        turn = np.linalg.lstsq(keys, steps, rcond=None)[0]
        np.testing.assert_allclose(keys @ turn, steps, atol=1e-9)
        assert abs(np.linalg.det(turn)) == pytest.approx(1)
    # Not over one that stands off by more than 0.3 of a step, nor one of the same sense.
    for by, number in ((2.9, 30), (3.1, 29)):
        _, spots, sense = spots_of(6, 5, step=(10.0, 10.0))
        spots[29] += [by, 0.0]
        assert len(corners._grow(spots, cKDTree(spots), sense, 0)) == number
    _, spots, sense = spots_of(6, 5)
    sense[29] *= -1
    assert len(corners._grow(spots, cKDTree(spots), sense, 0)) == 29
    assert corners._grow(spots, cKDTree(spots), np.ones(30, dtype=complex), 0) == {}


@pytest.mark.parametrize(("square", "good"), [(4.2, True), (3.8, False), (5.5, True)])
def test_squares_are_four_pixels_or_more(square, good):
    light, places = board_light(square=square, blur=0.7, size=(60, 50))
    spots = places.reshape(-1, 2)
    h = plane.homography(corners._grid(4, 3).reshape(-1, 2), spots)
    found = corners._settle(light, cKDTree(spots), spots, h, corners._grid(4, 3))
    if good:
        np.testing.assert_allclose(found, places, atol=0.1)
    else:
        assert found is None


@pytest.mark.parametrize(("square", "half"), [(5.0, 2), (11.0, 3), (21.0, 6), (60.0, 15)])
def test_saddles_reach_three_tenths_of_a_square_within_bounds(monkeypatch, square, half):
    places = corners._grid(4, 3) * square + 30
    h = plane.homography(corners._grid(4, 3).reshape(-1, 2), places.reshape(-1, 2))
    asked = []

    def saddles(light, near, reach):
        asked.append(reach)
        return near, np.ones(len(near), dtype=bool)

    monkeypatch.setattr(corners, "saddles", saddles)
    spots = places.reshape(-1, 2)
    found = corners._settle(None, cKDTree(spots), spots, h, corners._grid(4, 3))
    np.testing.assert_allclose(found, places)
    assert asked == [half]


@pytest.mark.parametrize(("lost", "good"), [(2, True), (3, False)])
def test_saddles_are_looked_for_where_four_fifths_of_the_candidates_are_near(
    monkeypatch, lost, good
):
    light, places = board_light(square=21.0)
    h = plane.homography(corners._grid(4, 3).reshape(-1, 2), places.reshape(-1, 2))
    some = places.reshape(-1, 2).copy()
    some[[0, 3, 8][:lost]] += 300.0
    asked = []

    def saddles(light, near, half):
        asked.append(half)
        return near, np.ones(len(near), dtype=bool)

    monkeypatch.setattr(corners, "saddles", saddles)
    assert corners._settle(light, cKDTree(some), some, h, corners._grid(4, 3)) is None
    assert asked == ([6] if good else [])  # three tenths of a square


def grid_among(monkeypatch, cells, across, down):
    """What `_as_grid` takes for a board among cells, by the places of its corners."""
    spots = np.zeros((len(cells), 2))
    spots[list(cells.values())] = np.array(list(cells)) * [10.0, 12.0] + [3.0, 4.0]

    def settled(light, tree, some, h, index):
        return corners._projected(h, index)

    monkeypatch.setattr(corners, "_settle", settled)
    return corners._as_grid(None, spots, None, cells, across, down)


def test_a_grid_is_four_fifths_full_and_its_rim_is_not(monkeypatch):
    index = [(i, j) for i in range(4) for j in range(5)]
    full = {cell: k for k, cell in enumerate(index)}
    want = np.stack(np.meshgrid(np.arange(4), np.arange(5)), -1) * [10.0, 12.0] + [3.0, 4.0]
    np.testing.assert_allclose(grid_among(monkeypatch, full, 4, 5), want, atol=1e-6)
    turned = grid_among(monkeypatch, full, 5, 4)
    np.testing.assert_allclose(turned, want.swapaxes(0, 1), atol=1e-6)
    gaps = [(0, 0), (1, 2), (2, 1), (3, 0), (2, 4)]
    for missing, good in ((4, True), (5, False)):  # of twenty
        some = [cell for cell in index if cell not in gaps[:missing]]
        found = grid_among(monkeypatch, {cell: k for k, cell in enumerate(some)}, 4, 5)
        assert (found is not None) == good
    # A row more is another board, unless it is less than four fifths of one.
    for side in ((-1, 0), (4, 0), (0, -1), (0, 5)):
        column, row = side
        along = [(column, j) for j in range(5)] if column else [(i, row) for i in range(4)]
        for count in (len(along) - 1, len(along) - 2, len(along)):
            cells = {cell: k for k, cell in enumerate([*index, *along[:count]])}
            found = grid_among(monkeypatch, cells, 4, 5)
            assert (found is not None) == (count / len(along) < 0.8)
            if found is not None:
                np.testing.assert_allclose(found, want, atol=1e-6)
    assert grid_among(monkeypatch, {(0, 0): 0, (1, 0): 1, (0, 1): 2}, 1, 3) is None


def test_clicks_stand_for_the_outermost_corners_in_turn(monkeypatch):
    asked = []

    def asking(plane_points, px):
        asked.append((plane_points, px))
        raise ek.Cannot("enough", 0, "Stop.")

    monkeypatch.setattr(corners, "homography", asking)
    clicks = np.array([[100.0, 100], [200, 100], [200, 160], [100, 160]])
    with pytest.raises(ek.Cannot, match="enough"):
        corners.grid_from_clicks(np.zeros((300, 300)), clicks, 6, 4)
    assert asked[0][0].tolist() == [[0, 0], [5, 0], [5, 3], [0, 3]]
    assert asked[0][1] is clicks


def framed_board(turn):
    """Light of a board of 6 x 4 inner corners on even ground, and their places."""
    light, places = board_light(across=6, down=4, square=14, size=(150, 130), turn=turn)
    a, b = places[0, 1] - places[0, 0], places[1, 0] - places[0, 0]
    y, x = np.mgrid[:130, :150].astype(float)
    grid = np.linalg.solve(
        np.stack([a, b], 1), (np.stack([x, y], -1) - places[0, 0]).reshape(-1, 2).T
    ).reshape(2, 130, 150)
    on = (np.abs(grid[0] - 2.5) < 3.5) & (np.abs(grid[1] - 1.5) < 2.5)
    return np.where(on, light, 0.7), places


@pytest.mark.parametrize("turn", [0.1, 1.4])
def test_a_board_is_found_in_either_turn(turn):
    light, places = framed_board(turn)
    found = corners.find_grid(light, 6, 4)
    ways = [places[::i, ::j] for i in (1, -1) for j in (1, -1)]
    assert min(abs(found - way).max() for way in ways) < 0.05
    assert corners.find_grid(light, 4, 6).shape == (6, 4, 2)


def test_a_board_is_found_from_clicks():
    light, places = framed_board(0.1)
    ends = places[[0, 0, -1, -1], [0, -1, -1, 0]]
    off = np.array([[3.0, -3.0], [-4.0, 2.0], [3.0, 3.0], [-2.0, -4.0]])
    np.testing.assert_allclose(corners.grid_from_clicks(light, ends + off, 6, 4), places, atol=0.05)
    with pytest.raises(ek.Cannot, match="at the clicks"):
        corners.grid_from_clicks(light, ends, 5, 3)


@pytest.mark.parametrize(("size", "best"), [((5, 4), 24), ((6, 3), 24), ((7, 4), 24), ((6, 5), 0)])
def test_a_board_of_another_size_is_not_found(size, best):
    with pytest.raises(ek.Cannot, match=rf"\(the largest grid has {best} corners"):
        corners.find_grid(framed_board(0.1)[0], *size)


# ---- scales --------------------------------------------------------------------------------


def test_defaults_and_limits_of_targets():
    board = P.Checkerboard(pitch_mm=0.5, squares=(4, 500))
    assert board.error_um_per_mm == value("target_error_um_per_mm")
    assert board.clicks_px is None
    for squares in ((3, 8), (4, 501)):
        with pytest.raises(ek.BadArgument, match="squares"):
            P.Checkerboard(pitch_mm=0.5, squares=squares)
    for wrong in ((4,), (4, 5, 6)):
        with pytest.raises(ek.BadArgument, match="two counts"):
            P.Checkerboard(pitch_mm=0.5, squares=wrong)
    assert P.Checkerboard(pitch_mm=0.5, squares=(4, 4), error_um_per_mm=0.0).error_um_per_mm == 0
    with pytest.raises(ek.BadArgument, match="error_um_per_mm"):
        P.Checkerboard(pitch_mm=0.5, squares=(4, 4), error_um_per_mm=-0.1)
    ends = {"from_px": (1.0, 2.0), "to_px": (50.0, 2.0)}
    lines = P.StageMicrometer(pitch_mm=0.1, lines=3, **ends)
    assert lines.band_px == 20
    assert P.StageMicrometer(pitch_mm=0.1, lines=10_000, **ends).lines == 10_000
    for count in (2, 10_001):
        with pytest.raises(ek.BadArgument, match="lines"):
            P.StageMicrometer(pitch_mm=0.1, lines=count, **ends)
    pin = P.KnownWidth(width_mm=0.5, **ends)
    assert (pin.sd_um, pin.band_px) == (1.0, 20.0)
    for kind, more in (
        (P.StageMicrometer, {"pitch_mm": 0.1, "lines": 3}),
        (P.KnownWidth, {"width_mm": 0.5}),
    ):
        assert kind(**ends, **more, band_px=999.0).band_px == 999
        assert kind(**ends, **more, band_px=0.5).band_px == 0.5
        for band in (0.0, 1000.0):
            with pytest.raises(ek.BadArgument, match="band_px"):
                kind(**ends, **more, band_px=band)
    assert P.KnownWidth(width_mm=0.5, sd_um=0.0, **ends).sd_um == 0
    with pytest.raises(ek.BadArgument, match="sd_um"):
        P.KnownWidth(width_mm=0.5, sd_um=-0.1, **ends)


def test_points_lie_in_a_picture_up_to_the_centres_of_its_border():
    picture = picture_of(np.zeros((40, 60)))
    good = calibrating._in_picture(picture, "a click", (0.0, 0.0), (59.0, 39.0))
    assert good.tolist() == [[0, 0], [59, 39]]
    for wrong in ((-0.1, 5.0), (5.0, -0.1), (59.1, 5.0), (5.0, 39.1)):
        with pytest.raises(ek.Cannot, match="outside the picture"):
            calibrating._in_picture(picture, "a click", (1.0, 1.0), wrong)


def test_a_scales_numbers_are_those_of_its_camera_in_the_middle_of_the_target():
    picture = picture_of(np.zeros((500, 700)))
    covariance = np.zeros((9, 9))
    covariance[2, 2] = covariance[5, 5] = 0.2**2
    camera = camera_of([80.0, 0, 0, 0, -50.0, 0, 0, 0, 0.0], covariance)
    points = np.array([[-1.0, -1.5], [2.0, 2.5]])  # 5 mm from corner to corner
    scale = calibrating._scale(picture, camera, points, 4.0, np.zeros((4, 2)), ("x",))
    px_per_mm = np.sqrt(80.0 * 50.0)  # of unequal axes the geometric mean
    assert scale.um_per_px == pytest.approx(1000 / px_per_mm, rel=1e-9)
    assert scale.residual_um == pytest.approx(0.1 * 1000 / px_per_mm, rel=1e-9)
    assert scale.relative_sd == pytest.approx(0.004 / np.sqrt(3))
    assert scale.fit_sd == pytest.approx(0.2 * np.sqrt(2) / (px_per_mm * 2.5), rel=1e-6)
    assert (scale.size_px, scale.cannot_see) == ((700, 500), ("x",))
    stated = calibrating._scale(picture, camera, points, 4.0, np.zeros((4, 2)), ("x",), fit_sd=0.0)
    assert stated.fit_sd == 0
    shown = f"{100 * np.hypot(scale.relative_sd, scale.fit_sd):.3f} %"
    assert shown in repr(scale)
    # Perspective: the scale is that at the middle, not elsewhere.
    lean = camera_of([80.0, 0, 0, 0, -80.0, 0, 0.02, 0, 0.0])
    middle = np.array([0.5, 0.5])
    h = np.append(lean.numbers[:8], 1).reshape(3, 3)
    w = 1 + 0.02 * middle[0]
    area = abs(np.linalg.det(h)) / w**3
    scale = calibrating._scale(picture, lean, points, 4.0, np.zeros((4, 2)), ("x",))
    assert scale.um_per_px == pytest.approx(1000 / np.sqrt(area), rel=1e-3)
    one = calibrating._one_scale(
        picture, 100.0, np.array([[100.0, 200.0], [300.0, 200.0]]), 0.3, 2.0, 1e-4
    )
    assert one.um_per_px == pytest.approx(10)
    assert one.residual_um == pytest.approx(3)
    assert one.fit_sd == 1e-4
    assert one.camera.reach_px == 350
    np.testing.assert_allclose(one.to_mm([[349.5, 249.5], [449.5, 149.5]]), [[0, 0], [1, 1]])
    np.testing.assert_allclose(
        one.to_px([[0.0, 0.0], [1.0, 1.0]]), [[349.5, 249.5], [449.5, 149.5]]
    )
    # A box a tenth of the path to either side.
    assert sorted(map(tuple, one.target_px)) == [(100, 180), (100, 220), (300, 180), (300, 220)]
    assert "distortion of the lens" in one.cannot_see
    slant = calibrating._one_scale(
        picture, 100.0, np.array([[100.0, 200.0], [300.0, 260.0]]), 0.3, 2.0, 1e-4
    )
    box = {(106, 180), (94, 220), (294, 280), (306, 240)}
    assert set(map(tuple, slant.target_px.round(9).tolist())) == box


def test_a_boards_outline_reaches_three_tenths_of_a_square_beyond_it():
    light, places = board_light(across=7, down=4, square=18, size=(220, 160), turn=0.0)
    a, b = np.array([18.0, 0.0]), np.array([0.0, 18.0])
    y, x = np.mgrid[:160, :220].astype(float)
    low, high = places[0, 0] - a - b, places[-1, -1] + a + b
    on = (x > low[0]) & (x < high[0]) & (y > low[1]) & (y < high[1])
    picture = picture_of(np.where(on, light, 0.7))
    scale = P.calibrate(picture, P.Checkerboard(pitch_mm=0.25, squares=(8, 5)))
    assert scale.um_per_px == pytest.approx(250 / 18, rel=1e-4)
    wide = [low - 0.3 * 18, high + 0.3 * 18]
    np.testing.assert_allclose(scale.target_px.min(axis=0), wide[0], atol=0.05)
    np.testing.assert_allclose(scale.target_px.max(axis=0), wide[1], atol=0.05)
    step = np.diff(scale.target_px[[0, 1, 2, 3, 0]], axis=0)  # round it, not across
    assert sorted(np.hypot(*step.T).round(1).tolist()) == pytest.approx(
        sorted([5.6 * 18, 8.6 * 18] * 2), abs=0.2
    )
    at, right, up = scale.to_mm([[110.0, 80.0], [120.0, 80.0], [110.0, 70.0]])
    way = np.sign((right - at)[0])  # the same board turned by half is the same
    assert way * (right - at) == pytest.approx([10 * 0.25 / 18, 0], abs=1e-4)
    assert way * (up - at) == pytest.approx([0, 10 * 0.25 / 18], abs=1e-4)
    loose = board_light(across=7, down=4, square=18, size=(220, 160), turn=0.0)[1]
    for noise, good in ((0.5, True), (1.0, False)):
        off = loose + noise * np.random.default_rng(2).standard_normal(loose.shape)
        camera = plane.fit_plane_camera(
            corners._grid(7, 4).reshape(-1, 2), off.reshape(-1, 2), (220, 160)
        )
        assert (camera.residual_px < calibrating.WORST_RESIDUAL_PX) == good


def test_the_sense_of_a_board_is_its_turn_as_seen():
    grid = corners._grid(4, 3) * [10.0, 7.0]
    assert calibrating._turn(grid) == pytest.approx(30 * 14)
    assert calibrating._turn(grid[::-1]) == pytest.approx(-30 * 14)
    skew = grid + grid[..., ::-1] * 0.3
    assert calibrating._turn(skew) == pytest.approx(30 * 14 * (1 - 0.09), rel=1e-9)


def ruled(places, width=3.0, ground=0.8, line=0.2, size=(300, 60), blur=0.8, lean=0.0):
    """Light of straight lines at columns, blurred, leaning by `lean` columns a row."""
    y, x = np.mgrid[: size[1], : size[0]].astype(float)
    x = x - lean * (y - (size[1] - 1) / 2)
    dark = sum(
        (erf((x - p + width / 2) / blur / 2**0.5) - erf((x - p - width / 2) / blur / 2**0.5)) / 2
        for p in places
    )
    return ground + (line - ground) * dark


def test_a_micrometers_scale_is_the_straight_line_through_its_lines():
    rng = np.random.default_rng(6)
    off = 0.3 * rng.standard_normal(9)
    places = 40 + 25 * np.arange(9) + off
    picture = picture_of(ruled(places))
    target = P.StageMicrometer(
        pitch_mm=0.1,
        from_px=(41.0, 30.0),
        to_px=(239.0, 30.0),
        lines=9,
        band_px=10.0,
        error_um_per_mm=3.0,
    )
    scale = P.calibrate(picture, target)
    k = np.arange(9)
    slope, first = np.polyfit(k, places, 1)
    left = places - slope * k - first
    noise = np.sqrt((left**2).sum() / 7)
    assert scale.um_per_px == pytest.approx(100 / slope, rel=1e-4)
    assert scale.residual_um == pytest.approx(noise * 100 / slope, rel=0.02)
    sd = noise / np.sqrt(((k - 4) ** 2).sum()) / slope
    assert scale.fit_sd == pytest.approx(sd, rel=0.02)
    assert scale.relative_sd == pytest.approx(0.003 / np.sqrt(3))
    # Lines that stand off by a tenth of a pitch are refused, by less are not.
    for share, good in ((0.085, True), (0.115, False)):
        sign = np.array([1.0, -1, 0, -1, 1, 0, 1, -1, 0])
        sign -= np.polyval(np.polyfit(k, sign, 1), k)
        off = sign * share * 25 / np.sqrt((sign**2).sum() / 7)
        picture = picture_of(ruled(40 + 25 * k + off))
        if good:
            assert P.calibrate(picture, target).um_per_px == pytest.approx(4, rel=0.02)
        else:
            with pytest.raises(ek.Cannot, match="evenly"):
                P.calibrate(picture, target)


def test_lines_stand_four_pixels_apart_and_their_path_inside():
    def at(pitch, start=40.0):
        places = start + pitch * np.arange(5)
        return P.calibrate(
            picture_of(ruled(places, width=1.5, blur=0.5)),
            P.StageMicrometer(
                pitch_mm=0.1,
                from_px=(start, 30.0),
                to_px=(start + 4 * pitch, 30.0),
                lines=5,
                band_px=4.0,
            ),
        )

    with pytest.raises(ek.Cannot, match="too close"):
        at(4.0)
    with pytest.raises(ek.Cannot, match=r"evenly|no line"):  # close enough to see them badly
        at(4.0 + 1e-9)
    assert at(6.5).um_per_px == pytest.approx(100 / 6.5, rel=5e-3)
    assert at(10.0, start=5.5).um_per_px == pytest.approx(10, rel=1e-3)
    with pytest.raises(ek.Cannot, match="leaves the picture"):
        at(10.0, start=4.5)


@pytest.mark.parametrize(
    ("start", "good"),
    [
        ((0.0, 5.0), True),
        ((-0.5, 5.0), False),
        ((20.0, 5.0), True),
        ((20.5, 5.0), False),
        ((5.0, 2.0), True),
        ((5.0, 1.5), False),
        ((5.0, 26.5), True),
        ((5.0, 27.0), False),
    ],
)
def test_a_profile_is_the_mean_light_over_a_band_that_stays_inside(start, good):
    y, x = np.mgrid[:30, :40].astype(float)
    picture = picture_of(0.01 * x + 0.002 * y**2)
    along = np.arange(0, 18.6, 0.25)
    if not good:
        with pytest.raises(ek.Cannot, match="leaves the picture"):
            calibrating._profile(picture, np.array(start), np.array([1.0, 0.0]), along, 4.0)
        return
    seen = calibrating._profile(picture, np.array(start), np.array([1.0, 0.0]), along, 4.0)
    across = start[1] + np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    inside = slice(12, -12)
    want = 0.01 * (start[0] + along) + 0.002 * (across**2).mean()
    np.testing.assert_allclose(seen[inside], want[inside], atol=5e-3)
    down = calibrating._profile(
        picture, np.array([20.0, 4.0]), np.array([0.0, 1.0]), np.arange(0, 18.0), 4.0
    )
    np.testing.assert_allclose(
        down[2:-2], (0.2 + 0.002 * (4 + np.arange(18.0)) ** 2)[2:-2], atol=1e-3
    )


def test_the_centre_of_a_line_is_the_centroid_of_what_stands_out_by_half():
    along = np.arange(0.0, 40.0, 0.25)
    for sign in (1, -1):
        profile = 0.5 + sign * np.clip(0.3 - 0.1 * np.abs(along - 20.3), 0, None)
        profile = profile + sign * np.where(np.abs(along - 23.0) < 0.5, 0.05, 0)  # less than half
        weight = np.clip(sign * (profile - 0.5) - 0.5 * (sign * (profile - 0.5)).max(), 0, None)
        want = (weight * along).sum() / weight.sum()
        assert calibrating._line_centre(along, profile, 20.0, 20.0) == pytest.approx(want)
        assert want == pytest.approx(20.3, abs=0.05)
    # Not beyond half a pitch.
    both = (
        0.5
        - np.clip(0.2 - 0.1 * np.abs(along - 20), 0, None)
        - np.clip(0.4 - 0.1 * np.abs(along - 31), 0, None)
    )
    assert calibrating._line_centre(along, both, 20.0, 12.0) == pytest.approx(20, abs=0.01)
    edge = 0.5 - np.clip(0.2 - 0.1 * np.abs(along - 20), 0, None)
    edge[along == 26] = edge[along == 14] = 0.1  # at half a pitch to the very bit
    assert calibrating._line_centre(along, edge, 20.0, 12.0) == pytest.approx(20, abs=1e-9)
    edge[along == 26] = 0.5
    assert calibrating._line_centre(along, edge, 20.0, 12.0) == pytest.approx(20, abs=1e-9)
    # Five times the usual scatter, and a thousandth.
    wave = np.random.default_rng(1).permutation(np.linspace(-0.02, 0.02, len(along)))
    for share, good in ((1.01, True), (0.99, False)):
        profile = 0.5 + wave
        profile[80] = 0.6
        part = profile[np.abs(along - 20) < 10]
        limit = 5 * np.median(np.abs(part - np.median(part))) + 1e-3
        profile[80] = np.median(part) + share * limit
        if good:
            assert calibrating._line_centre(along, profile, 20.0, 20.0) == pytest.approx(20)
        else:
            with pytest.raises(ek.Cannot, match="no line"):
                calibrating._line_centre(along, profile, 20.0, 20.0)
    flat = np.full(len(along), 0.5)
    flat[80] = 0.5009
    with pytest.raises(ek.Cannot, match="no line"):
        calibrating._line_centre(along, flat, 20.0, 20.0)
    flat[80] = 0.5011
    assert calibrating._line_centre(along, flat, 20.0, 20.0) == pytest.approx(20)


def test_a_bar_begins_and_ends_at_the_middle_of_ground_and_dark():
    along = np.arange(0.0, 40.0, 0.25)
    profile = np.interp(along, [0, 12, 14.2, 25, 27.6, 40], [0.8, 0.8, 0.2, 0.2, 0.8, 0.8])
    np.testing.assert_allclose(calibrating._bar(along, profile), [13.1, 26.3], atol=0.02)
    profile = np.interp(along, [0, 12, 14, 25, 27, 40], [0.8, 0.8, 0.2, 0.2, 0.8, 0.8])
    np.testing.assert_allclose(calibrating._bar(along, profile), [13, 26], atol=1e-9)
    # The ground is the median of eight samples at either end.
    odd = profile.copy()
    odd[[0, 1, 2, -1, -2, -3]] = 0.1, 0.9, 0.95, 0.1, 0.9, 0.95
    with pytest.raises(ek.Cannot, match="does not cross one bar"):  # begins in the dark
        calibrating._bar(along, odd)
    odd = profile.copy()
    odd[1:5] = odd[-5:-1] = 0.9
    odd[5:8] = odd[-8:-5] = 0.7
    ground = np.median(np.concatenate([odd[:8], odd[-8:]]))
    level = (ground + 0.2) / 2
    want = [12 + 2 * (0.8 - level) / 0.6, 27 - 2 * (0.8 - level) / 0.6]
    np.testing.assert_allclose(calibrating._bar(along, odd), want, atol=1e-9)
    for dark, good in ((0.55, True), (0.57, False)):  # 0.7 of the ground
        shallow = np.interp(along, [0, 12, 14, 25, 27, 40], [0.8, 0.8, dark, dark, 0.8, 0.8])
        if good:
            np.testing.assert_allclose(calibrating._bar(along, shallow), [13, 26], atol=1e-9)
        else:
            with pytest.raises(ek.Cannot, match="no dark bar"):
                calibrating._bar(along, shallow)
    two = profile.copy()
    two[80:84] = 0.8
    with pytest.raises(ek.Cannot, match="does not cross one bar"):
        calibrating._bar(along, two)
    with pytest.raises(ek.Cannot, match="does not cross one bar"):
        calibrating._bar(along, np.where(along < 20, 0.8, 0.2) + np.where(along > 36, -0.1, 0))


@pytest.mark.parametrize("lean", [0.0, 0.15])
def test_a_pins_scale_is_its_width_square_to_it(lean):
    width, rng = 60.0, np.random.default_rng(2)
    light = ruled([100.0], width=width * np.hypot(1, lean), lean=lean, size=(200, 80))
    light = light + 0.004 * rng.standard_normal(light.shape)
    target = P.KnownWidth(
        width_mm=0.4, sd_um=2.0, from_px=(40.0, 40.0), to_px=(160.0, 40.0), band_px=16.0
    )
    scale = P.calibrate(picture_of(light), target)
    assert scale.um_per_px == pytest.approx(400 / width, rel=3e-4)
    assert scale.relative_sd == pytest.approx(2.0 / 400, rel=1e-9)
    shifts = np.linspace(-8, 8, 9)
    along = np.arange(0, 120, 0.25)
    read = [
        calibrating._bar(
            along,
            calibrating._profile(
                picture_of(light), np.array([40.0, 40.0 + s]), np.array([1.0, 0.0]), along, 2.0
            ),
        )
        for s in shifts
    ]
    slant = np.polyfit(shifts, np.mean(read, axis=1), 1)[0]
    assert slant == pytest.approx(lean, abs=3e-3)
    widths = np.ptp(read, axis=1) / np.hypot(1, slant)
    assert scale.um_per_px == pytest.approx(400 / widths.mean(), rel=1e-12)
    noise = widths.std(ddof=1)
    assert scale.fit_sd == pytest.approx(noise / 3 / widths.mean(), rel=1e-9)
    assert scale.residual_um == pytest.approx(noise * 400 / widths.mean(), rel=1e-9)


def test_a_pins_path_is_twelve_pixels_long():
    for start, words in (((47.0, 30.0), "too short"), ((46.9, 30.0), "dark bar|one bar")):
        with pytest.raises(ek.Cannot, match=words):
            P.calibrate(
                picture_of(np.full((60, 120), 0.5)),
                P.KnownWidth(width_mm=0.4, from_px=start, to_px=(59.0, 30.0)),
            )


def test_points_have_two_coordinates():
    assert calibrating._pairs("px", [[1, 2]]).shape == (1, 2)
    assert calibrating._pairs("px", [1, 2]).shape == (2,)
    for wrong in ([1, 2, 3], [[1, 2, 3]], 5.0):
        with pytest.raises(ek.BadArgument, match="px must have shape"):
            calibrating._pairs("px", wrong)
