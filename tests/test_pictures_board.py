"""Scales: a board under a tilted, distorted camera; a micrometer; a pin. Judged from outside."""

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import erf

import edgekit as ek
from edgekit.digitising.pictures.targets.corners import find_grid, grid_from_clicks
from tests.picture_scenes import HEEL, Camera, Light, P, outside_by, rendering, taken

ACROSS, DOWN, PITCH = 14, 6, 0.5
BOARD = P.Checkerboard(pitch_mm=PITCH, squares=(ACROSS, DOWN))
AT = (-3.5, -1.5)
CLEAN_PX, HARD_PX = 0.01, 0.03
HARD = Light(blur_px=2, electrons=300)
PHOTOGRAPHS = Path(
    os.environ.get("OPENCV_DOC_DATA", "/usr/share/doc/opencv-doc/examples/data")
)  # Debian's package opencv-doc


def board(cam: Camera) -> list[np.ndarray]:
    return [cam.project(square) for square in rendering.squares(PITCH, ACROSS, DOWN, AT)]


def true_corners(cam: Camera) -> np.ndarray:
    return cam.project(rendering.corners(PITCH, ACROSS, DOWN, AT))


def ends(corners: np.ndarray) -> np.ndarray:
    return corners[[0, 0, -1, -1], [0, -1, -1, 0]]


CAMERAS = [
    Camera(um_per_px=12, size_px=(760, 420)),
    Camera(um_per_px=12, size_px=(820, 700), tilt_deg=(15, 10), radial=-0.05, spin_deg=30),
    Camera(um_per_px=12, size_px=(700, 820), tilt_deg=(-20, 8), radial=0.06, spin_deg=65),
]


@pytest.mark.parametrize("cam", CAMERAS, ids=["level", "tilted", "turned"])
@pytest.mark.parametrize(
    ("light", "bar"),
    [(Light(), CLEAN_PX), (HARD, HARD_PX)],
    ids=["clean", "hard"],
)
def test_corners_are_found_to_a_hundredth_of_a_pixel(
    tmp_path: Path, cam: Camera, light: Light, bar: float
) -> None:
    """Truth: the rendered board. Hard: 2 px of blur, 300 electrons, 8 bit; the worst of 4 seeds."""
    assert max(corners_off(tmp_path, cam, seed, light) for seed in range(4)) < bar


def corners_off(folder: Path, cam: Camera, seed: int, light: Light) -> float:
    """Root mean square of a coordinate [px]."""
    picture = taken(folder, [board(cam)], cam, seed, light)
    corners = find_grid(picture.light, ACROSS - 1, DOWN - 1)
    true = true_corners(cam)
    return min(
        float(np.sqrt(((corners[::a, ::b] - true) ** 2).mean())) for a in (1, -1) for b in (1, -1)
    )


def least_sd_px(light: Light, square_px: float) -> float:
    """Cramér-Rao bound of a corner's coordinate from the square of pixels about it (derived).

    Poisson noise; blur, contrast, level and an even slope of the light unknown.
    """
    blur, half = float(np.hypot(light.blur_px, 12**-0.5)), square_px / 2
    reach = np.arange(-int(half) - 1, int(half) + 2)
    found = []
    for phase in (0.0, 0.25, 0.5, 0.75):
        at = np.stack(np.meshgrid(reach + phase, reach + 0.37)).reshape(2, -1)
        at = at[:, (np.abs(at) < half).all(axis=0)]
        step = erf(at / blur / np.sqrt(2))
        bell = np.sqrt(2 / np.pi) * np.exp(-0.5 * (at / blur) ** 2) / blur
        swing = (light.bright - light.dark) / 2
        four = step[0] * step[1]
        across = np.stack([bell[0] * step[1], bell[1] * step[0]])
        soft = (across * at).sum(axis=0)
        slopes = np.stack([*(swing * across), soft, four, np.ones(len(four)), *at])
        variance = (light.dark + swing * (1 + four)) / light.electrons
        found.append(np.linalg.inv((slopes / variance) @ slopes.T)[0, 0])
    return float(np.sqrt(np.mean(found)))


def test_corners_reach_what_their_noise_allows(tmp_path: Path) -> None:
    """No unbiased reading is better; 1.15: rounding to 8 bit, and the ramp of the window."""
    cam = CAMERAS[0]
    least = least_sd_px(HARD, 1000 * PITCH / cam.um_per_px)
    assert least == pytest.approx(0.0186, abs=2e-4)
    seen = [corners_off(tmp_path, cam, seed, HARD) for seed in range(10)]  # 1300 coordinates
    assert 0.94 * least < np.sqrt(np.mean(np.square(seen))) < 1.15 * least


def test_240_boards_are_found_from_clicks_off_by_8_pixels(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    right = 0
    for k in range(24):
        cam = Camera(
            um_per_px=14,
            size_px=(760, 640),
            spin_deg=rng.uniform(-40, 40),
            tilt_deg=tuple(rng.uniform(-18, 18, 2)),
            radial=rng.uniform(-0.05, 0.05),
        )
        light = Light(blur_px=rng.uniform(0.5, 2), electrons=10 ** rng.uniform(2.5, 4.5))
        picture = taken(tmp_path, [board(cam)], cam, k, light)
        true = true_corners(cam)
        for _ in range(10):
            angle = rng.uniform(0, 2 * np.pi, 4)
            clicks = ends(true) + 8 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
            corners = grid_from_clicks(picture.light, clicks, ACROSS - 1, DOWN - 1)
            right += bool(np.abs(corners - true).max() < 0.5)
    assert right == 240


@pytest.mark.skipif(not PHOTOGRAPHS.is_dir(), reason="opencv-doc is not installed")
def test_thirteen_photographs_fit_their_stored_calibration_as_well_as_opencvs_corners() -> None:
    """Debian's opencv-doc: left01-14.jpg, a board of 9 x 6 inner corners, left_intrinsics.yml."""
    store = cv2.FileStorage(str(PHOTOGRAPHS / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    matrix, bend = (
        store.getNode(name).mat() for name in ("camera_matrix", "distortion_coefficients")
    )
    grid = np.array([[i, j, 0] for j in range(6) for i in range(9)], dtype=float)

    def residual(corners: np.ndarray) -> float:
        best = np.inf
        for sense in (1, -1):
            px = corners.reshape(6, 9, 2)[:, ::sense].reshape(-1, 2).astype(float)
            _, turn, shift = cv2.solvePnP(grid, px, matrix, bend)
            back, _ = cv2.projectPoints(grid, turn, shift, matrix, bend)
            best = min(best, float(((back.reshape(-1, 2) - px) ** 2).sum(axis=1).mean()))
        return best

    files = sorted(PHOTOGRAPHS.glob("left[01]?.jpg"))
    assert len(files) == 13
    own, theirs = [], []
    rng = np.random.default_rng(1)
    for file in files:
        picture = P.read_picture(file, response=P.SRGB)
        grey = cv2.imread(str(file), 0)
        _, corners = cv2.findChessboardCorners(grey, (9, 6))
        corners = cv2.cornerSubPix(grey, corners, (5, 5), (-1, -1), (3, 100, 1e-6))
        theirs.append(residual(corners))
        own.append(residual(find_grid(picture.light, 9, 6)))
        rough = ends(corners.reshape(6, 9, 2)) + rng.uniform(-8, 8, (4, 2))
        clicked = grid_from_clicks(picture.light, rough, 9, 6)
        assert residual(clicked) == pytest.approx(own[-1], rel=1e-3)
    assert np.sqrt(np.mean(own)) <= np.sqrt(np.mean(theirs))  # 0.181 and 0.205 px
    assert np.sqrt(np.mean(own)) < 0.2


def test_widths_anywhere_in_a_tilted_distorted_field(tmp_path: Path) -> None:
    """0.86 mm between two points, all over the board, in any direction; ideal marks, own scale."""
    cam = CAMERAS[1]
    scale = P.calibrate(taken(tmp_path, [board(cam)], cam, 4), BOARD)
    rng = np.random.default_rng(2)
    start = rng.uniform([-3.4, -1.4], [2.5, 0.6], (400, 2))
    angle = rng.uniform(0, np.pi / 2, 400)
    stop = start + 0.86 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    seen = scale.to_mm(cam.project(stop)) - scale.to_mm(cam.project(start))
    error_um = 1000 * (np.linalg.norm(seen, axis=1) - 0.86)
    assert error_um.std() < 0.05
    assert abs(error_um.mean()) < 0.1
    left = scale.to_px(scale.to_mm(np.array([[10.0, 12.0], [700.0, 20.0]])))
    assert left == pytest.approx(np.array([[10.0, 12.0], [700.0, 20.0]]), abs=1e-8)
    assert scale.residual_um < 0.15
    handed = np.linalg.det([seen[0], seen[1]]) * np.linalg.det(
        [stop[0] - start[0], stop[1] - start[1]]
    )
    assert handed > 0  # y runs upwards


def test_without_the_radial_term_widths_are_out_by_micrometres(tmp_path: Path) -> None:
    from edgekit.digitising.pictures.targets.plane import fit_plane_camera

    cam = Camera(um_per_px=12, size_px=(760, 420), radial=-0.05)
    index = rendering.corners(PITCH, ACROSS, DOWN, AT).reshape(-1, 2)
    flat = fit_plane_camera(index, cam.project(index), cam.size_px, radial=False)
    full = fit_plane_camera(index, cam.project(index), cam.size_px)
    places = np.array([[-3.0, -1.0], [0.0, 0.0], [2.0, 1.0]])
    for camera_, low, high in ((flat, 0.5, 60), (full, 0, 0.01)):
        seen = camera_.to_mm(cam.project(places + np.array([0.86, 0]))) - camera_.to_mm(
            cam.project(places)
        )
        worst = 1000 * np.abs(np.linalg.norm(seen, axis=1) - 0.86).max()
        assert low <= worst < high


def rulings(cam: Camera, count: int = 11) -> list[np.ndarray]:
    box = np.array([[-0.015, -0.6], [0.015, -0.6], [0.015, 0.6], [-0.015, 0.6]])
    return [cam.project(box + np.array([0.2 * k - 1.0, 0.0])) for k in range(count)]


def test_a_stage_micrometer_gives_one_scale_and_says_what_it_cannot_see(tmp_path: Path) -> None:
    cam = Camera(um_per_px=8.3, size_px=(400, 200), spin_deg=4)
    picture = taken(tmp_path, [rulings(cam)], cam, 1)
    first, last = cam.project(np.array([[-1.0, 0.0], [1.0, 0.0]]))
    first, last = first + np.array([2.0, 1.0]), last + np.array([-2.0, 2.0])
    target = P.StageMicrometer(pitch_mm=0.2, from_px=tuple(first), to_px=tuple(last), lines=11)
    scale = P.calibrate(picture, target)
    assert scale.um_per_px == pytest.approx(8.3, rel=3e-4)
    assert "tilt of the target or the camera" in scale.cannot_see
    tilted = Camera(um_per_px=8.3, size_px=(400, 200), tilt_deg=(0, 15))
    picture = taken(tmp_path, [rulings(tilted)], tilted, 1)
    wrong = P.calibrate(picture, target)  # 15° of tilt: 3.5 % and no word of it
    assert wrong.um_per_px == pytest.approx(8.3 / np.cos(np.radians(15)), rel=5e-3)


def test_lines_miscounted_are_refused(tmp_path: Path) -> None:
    cam = Camera(um_per_px=8.3, size_px=(400, 200))
    picture = taken(tmp_path, [rulings(cam)], cam, 1)
    first, last = cam.project(np.array([[-1.0, 0.0], [1.0, 0.0]]))
    with pytest.raises(ek.EdgekitError, match=r"evenly|no line"):
        P.calibrate(
            picture,
            P.StageMicrometer(pitch_mm=0.2, from_px=tuple(first), to_px=tuple(last), lines=9),
        )


def test_a_pin_of_known_width_gives_a_scale(tmp_path: Path) -> None:
    cam = Camera(um_per_px=7.9, size_px=(300, 200), spin_deg=3)
    pin = np.array([[-0.25, -3], [0.25, -3], [0.25, 3], [-0.25, 3]])
    picture = taken(tmp_path, [[cam.project(pin)]], cam, 1)
    target = P.KnownWidth(width_mm=0.5, sd_um=0.5, from_px=(90.0, 100.0), to_px=(210.0, 101.0))
    scale = P.calibrate(picture, target)
    assert scale.um_per_px == pytest.approx(7.9, rel=1e-3)
    assert scale.relative_sd == pytest.approx(0.001, rel=1e-6)


def test_a_wrong_pitch_is_not_seen_and_said_so(tmp_path: Path) -> None:
    cam = CAMERAS[0]
    picture = taken(tmp_path, [board(cam)], cam, 1)
    wrong = P.calibrate(picture, P.Checkerboard(pitch_mm=0.6, squares=(ACROSS, DOWN)))
    assert wrong.um_per_px == pytest.approx(12 * 1.2, rel=1e-3)
    assert any("wrong pitch" in text for text in wrong.cannot_see)


@pytest.mark.parametrize("squares", [(13, 6), (14, 5), (15, 6), (14, 7)])
def test_a_wrong_count_of_squares_is_refused(tmp_path: Path, squares: tuple[int, int]) -> None:
    cam = CAMERAS[0]
    picture = taken(tmp_path, [board(cam)], cam, 1)
    with pytest.raises(ek.EdgekitError, match="no board of"):
        P.calibrate(picture, P.Checkerboard(pitch_mm=0.5, squares=squares))


def test_a_board_beside_the_blade_is_masked_without_being_asked(tmp_path: Path) -> None:
    from tests.picture_scenes import BLADE

    cam = Camera(um_per_px=12, size_px=(760, 620), centre_mm=(-0.3, -1.8))
    at = (-3.2, -4.6)
    squares = [cam.project(q) for q in rendering.squares(PITCH, ACROSS, 5, at)]
    blade = cam.project(rendering.silhouette(BLADE).polygon_mm)
    picture = taken(tmp_path, [squares, [blade]], cam, 1)
    scale = P.calibrate(picture, P.Checkerboard(pitch_mm=PITCH, squares=(ACROSS, 5)))
    line = P.outline(picture, scale, heel=HEEL)
    off = outside_by(scale.to_px(line.points_mm), blade)
    assert abs(off.mean()) < 0.01
    assert off.std() < 0.03
