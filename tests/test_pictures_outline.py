"""Outlines of rendered blades against their polygons, and what light does to them."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from skimage import measure

import edgekit as ek
from edgekit.digitising.pictures.outlines.blade_outline import SHIFT_PER_SKEW, UNSTATED_SHIFT
from edgekit.digitising.pictures.profiles import contours
from tests.picture_scenes import (
    BLADE,
    EDGE,
    HEEL,
    Light,
    P,
    camera,
    outside_by,
    plain_scale,
    rendering,
    save,
    taken,
)

BIAS_PX, CLEAN_PX, FEW_PX, BLURRED_PX = 0.01, 0.03, 0.15, 0.06
CAM = camera()
DRAWN = rendering.silhouette(BLADE)
POLYGON = CAM.project(DRAWN.polygon_mm)


def traced(folder: Path, light: Light | None = None, seed: int = 3, **options: object) -> object:
    picture = taken(folder, [[POLYGON]], CAM, seed, light, **options)
    return P.outline(picture, plain_scale(picture), heel=HEEL)


# ---- the renderer --------------------------------------------------------------------------


def test_the_renderer_covers_pixels_as_a_polygon_clipper_does() -> None:
    share = np.abs(rendering.coverage([POLYGON], CAM.size_px))
    shape = shapely.Polygon(POLYGON)
    partial = np.argwhere((share > 1e-9) & (share < 1 - 1e-9))
    assert len(partial) > 1500
    rows, columns = partial[:: len(partial) // 400].T
    boxes = shapely.box(columns - 0.5, rows - 0.5, columns + 0.5, rows + 0.5)
    clipped = shapely.area(shapely.intersection(boxes, shape))
    assert share[rows, columns] == pytest.approx(clipped, abs=1e-11)
    frame = shapely.box(-0.5, -0.5, CAM.size_px[0] - 0.5, CAM.size_px[1] - 0.5)
    assert share.sum() == pytest.approx(shape.intersection(frame).area, rel=1e-11)


# ---- place ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("light", "bar"),
    [
        (Light(), CLEAN_PX),
        (Light(srgb=False, bits=16), CLEAN_PX),
        (Light(electrons=300), FEW_PX),
        (Light(blur_px=2), BLURRED_PX),
    ],
    ids=["clean", "16 bit linear", "300 electrons", "2 px of blur"],
)
def test_a_backlit_edge_is_found_to_a_few_hundredths_of_a_pixel(
    tmp_path: Path, light: Light, bar: float
) -> None:
    line = traced(tmp_path, light, response=P.SRGB if light.srgb else P.LINEAR)
    off = outside_by(line.scale.to_px(line.points_mm), POLYGON)
    assert abs(off.mean()) < BIAS_PX
    assert off.std() < bar
    cap = slice(*line.parts.cap)
    assert (
        abs(off[cap].mean()) < 0.015
    )  # round the toe blur alone would take σ²κ/2: 0.037 px at 2 px


@pytest.mark.parametrize("light", [Light(), Light(electrons=300), Light(blur_px=2)])
def test_the_standard_deviation_of_a_point_is_honest(tmp_path: Path, light: Light) -> None:
    line = traced(tmp_path, light)
    off = 8 * outside_by(line.scale.to_px(line.points_mm), POLYGON)
    assert 0.6 < (off / line.sd_um).std() < 1.4


def test_the_rough_contour_is_scikit_images(tmp_path: Path) -> None:
    picture = taken(tmp_path, [[POLYGON]], CAM)
    light = picture.light.astype(float)
    own = np.concatenate(contours(light, 0.3))
    theirs = np.concatenate(measure.find_contours(light, 0.3))[:, ::-1]
    own, theirs = (np.unique(np.round(line, 10), axis=0) for line in (own, theirs))
    assert own.shape == theirs.shape
    assert own == pytest.approx(theirs, abs=1e-9)


def test_blur_is_measured_on_the_blade(tmp_path: Path) -> None:
    for blur in (0.6, 1.0, 2.0):
        line = traced(tmp_path, Light(blur_px=blur))
        assert line.edge_spread_um / 8 == pytest.approx(
            math.hypot(blur, math.sqrt(1 / 12)), rel=0.06
        )


# ---- parts ---------------------------------------------------------------------------------


def test_a_round_toes_apex_is_found_to_a_micrometre(tmp_path: Path) -> None:
    for seed in range(4):
        line = traced(tmp_path, seed=seed)
        apex = line.scale.to_mm(CAM.project(DRAWN.left_mm[-1]))
        assert 1000 * np.linalg.norm(np.array(line.parts.toe_mm) - apex) < 1.0


def test_the_heel_is_asked_for(tmp_path: Path) -> None:
    picture = taken(tmp_path, [[POLYGON]], CAM)
    scale = plain_scale(picture)
    line = P.outline(picture, scale)
    with pytest.raises(ek.EdgekitError, match="no mark at the heel"):
        line.side(P.Side.LEFT)
    at = CAM.project(DRAWN.left_mm[0])
    clicked = P.outline(
        picture, scale, heel=P.HeelAt(side=P.Side.LEFT, x_px=at[0] + 3, y_px=at[1] - 4)
    )
    by_length = P.outline(picture, scale, heel=HEEL)
    assert abs(clicked.parts.heel[0] - by_length.parts.heel[0]) < 6
    for line in (clicked, by_length):
        left = line.points_mm[line.side(P.Side.LEFT)]
        assert np.linalg.norm(np.diff(left, axis=0), axis=1).sum() == pytest.approx(
            EDGE.length_mm, abs=0.05
        )
    with pytest.raises(ek.EdgekitError, match="beside that edge"):
        P.outline(picture, scale, heel=P.HeelAt(side=P.Side.LEFT, x_px=500, y_px=20))


def test_left_and_right_are_seen_from_the_face(tmp_path: Path) -> None:
    line = traced(tmp_path)
    used = line.curvature_per_mm[line.side(P.Side.LEFT, toe=False)]
    unused = line.curvature_per_mm[line.side(P.Side.RIGHT, toe=False)]
    assert np.median(used) == pytest.approx(1 / 6.7, rel=0.1)
    assert np.median(unused) == pytest.approx(-1 / (6.7 - 0.86), rel=0.1)


def test_a_pointed_tip_is_said_to_be_lost(tmp_path: Path) -> None:
    blade = ek.patterns.straight_sickle()
    drawn = rendering.silhouette(blade)
    cam = camera()
    picture = taken(tmp_path, [[cam.project(drawn.polygon_mm)]], cam)
    length = blade.edges["left"].length_mm
    line = P.outline(
        picture, plain_scale(picture), heel=P.EdgeLength(side=P.Side.LEFT, length_mm=length - 0.3)
    )
    assert line.parts.pointed
    assert any("tip is sharper than the blur" in note for note in line.notes)


# ---- light ---------------------------------------------------------------------------------


@pytest.mark.parametrize("blur", [0.3, 0.6, 1.0, 2.0])
def test_a_wrong_response_is_refused_or_carried_in_the_budget(tmp_path: Path, blur: float) -> None:
    """sRGB taken as linear moves an edge by half its blur, as a normal integral's 1/2.2 power
    says."""
    with pytest.raises(ek.EdgekitError, match="says of itself"):
        traced(tmp_path, Light(blur_px=blur), response=P.LINEAR)
    line = traced(tmp_path, Light(blur_px=blur), response=P.LINEAR, stated=False)
    off = 8 * outside_by(line.scale.to_px(line.points_mm), POLYGON).mean()
    assert off < -1.5
    assert abs(off) < 1.2 * line.response_um
    other = traced(tmp_path, Light(blur_px=blur, srgb=False), stated=False)
    off = 8 * outside_by(other.scale.to_px(other.points_mm), POLYGON).mean()
    assert off > 1.5
    assert abs(off) < 2 * other.response_um


def test_what_a_wrong_response_does_is_derived() -> None:
    """The normal integral to the power 1/2.2, by mpmath."""
    import mpmath

    def encoded(t: float) -> float:
        return mpmath.ncdf(t) ** (1 / 2.2)

    half = float(mpmath.findroot(lambda t: encoded(t) - 0.5, -0.5))
    area = float(mpmath.quad(lambda t: (1 if t > 0 else 0) - encoded(t), [-9, 0, 9]))
    assert half == pytest.approx(-0.79, abs=0.02)
    skew = area - half
    # sRGB has a straight foot, which takes a quarter of the shift of the bare power
    assert pytest.approx(abs(half), rel=0.35) == UNSTATED_SHIFT
    assert pytest.approx(abs(half / skew), rel=0.5) == SHIFT_PER_SKEW


@pytest.mark.parametrize("gain", [1.25, 1.3, 1.6])
def test_a_clipped_ground_is_refused_by_name(tmp_path: Path, gain: float) -> None:
    with pytest.raises(ek.EdgekitError, match="clipped"):
        traced(tmp_path, Light(gain=gain))


@pytest.mark.parametrize(
    "light",
    [Light(sheen=0.1), Light(sheen=0.3), Light(sheen=0.7), Light(glare=0.3), Light(glare=0.7)],
)
def test_front_light_is_refused_by_name(tmp_path: Path, light: Light) -> None:
    with pytest.raises(ek.EdgekitError, match=r"front|no blade stands out|glare|clipped"):
        traced(tmp_path, light)


def test_a_frame_shorter_than_the_blade_is_refused(tmp_path: Path) -> None:
    for width in (500, 650):
        cam = camera(size_px=(width, 420), centre_mm=(0.2, -0.2))
        picture = taken(tmp_path, [[cam.project(DRAWN.polygon_mm)]], cam)
        with pytest.raises(ek.EdgekitError, match=r"toe is not in the picture|touches the border"):
            P.outline(picture, plain_scale(picture), heel=HEEL)
    cam = camera(size_px=(700, 420), centre_mm=(0.9, -0.2))  # cuts the heel, shows the toe
    picture = taken(tmp_path, [[cam.project(DRAWN.polygon_mm)]], cam)
    with pytest.raises(ek.EdgekitError, match="frame ends before the heel"):
        P.outline(picture, plain_scale(picture), heel=HEEL)


def test_a_scale_of_another_size_is_refused(tmp_path: Path) -> None:
    small = taken(tmp_path, [[camera(12).project(DRAWN.polygon_mm)]], camera(12))
    large = taken(tmp_path, [[POLYGON]], CAM)
    with pytest.raises(ek.EdgekitError, match="another size"):
        P.outline(large, plain_scale(small))


# ---- sharpness and chips -------------------------------------------------------------------


@pytest.mark.parametrize("blur", [0.3, 0.5, 0.8, 1.2, 1.6])
@pytest.mark.parametrize("electrons", [np.inf, 5000])
def test_mtf50_of_a_slanted_edge(tmp_path: Path, blur: float, electrons: float) -> None:
    """Truth in closed form: a Gaussian times the sinc of a pixel, along the edge's normal."""
    cam = camera(size_px=(100, 100))
    slant = math.radians(6)
    side = np.array([[-40, 40], [140, 40 + 180 * math.tan(slant)], [140, 900], [-40, 900]])
    picture = taken(tmp_path, [[side]], cam, 1, Light(blur_px=blur, electrons=electrons))
    seen = P.edge_spread(picture, (0, 0, 100, 100))
    f = np.linspace(1e-3, 0.6, 60_000)
    mtf = np.exp(-2 * (np.pi * blur * f) ** 2)
    mtf *= np.sinc(f * math.cos(slant)) * np.sinc(f * math.sin(slant))
    share = 0.03 if np.isfinite(electrons) else 0.02  # the method's own bias is below 1.7 %
    assert seen.mtf50_cy_px == pytest.approx(f[np.argmax(mtf < 0.5)], rel=share)
    assert seen.slant_deg == pytest.approx(6, abs=0.1)


CHIPS = [(depth, width) for depth in (3, 5, 7, 9, 12, 15) for width in (20, 40, 60)]


def chipped(folder: Path, some: list[tuple[int, int]], seed: int) -> tuple[object, list[float]]:
    rng = np.random.default_rng(seed)
    arc = np.linspace(0, EDGE.length_mm, 6000)
    places = [0.5 + 0.75 * k + rng.uniform(-0.1, 0.1) for k in range(len(some))]
    worn = np.zeros_like(arc)
    for at, (depth, width) in zip(places, some, strict=True):
        worn = np.maximum(worn, depth * np.maximum(0, 1 - ((arc - at) / (width / 2000)) ** 2))
    polygon = CAM.project(rendering.silhouette(BLADE, worn_um=worn).polygon_mm)
    picture = taken(folder, [[polygon]], CAM, seed)
    return P.outline(picture, plain_scale(picture), heel=HEEL), places


def test_36_of_36_chips_are_found_and_none_that_is_not_there(tmp_path: Path) -> None:
    shares, hits, false = [], 0, 0
    for seed in range(2):
        for k in range(0, len(CHIPS), 6):
            line, places = chipped(tmp_path, CHIPS[k : k + 6], 10 * seed + k)
            seen = P.chips(line, side=P.Side.LEFT)
            false += len(P.chips(line, side=P.Side.RIGHT)) + len(seen)
            for at, (depth, _) in zip(places, CHIPS[k : k + 6], strict=True):
                here = [chip for chip in seen if abs(chip.at_mm - at) < 0.03]
                hits += len(here) == 1
                false -= len(here)
                assert here, (at, depth)
                shares.append((here[0].depth_um / depth, here[0].corrected_um / depth))
    assert hits == 36
    assert false == 0
    read, corrected = np.array(shares).T
    assert (read < 1.05).all()  # at least
    assert 0.7 < read.mean() < 0.9  # blur takes a fifth
    assert 0.85 < corrected.mean() < 1.15


@pytest.mark.parametrize("light", [Light(), Light(electrons=2000), Light(blur_px=1.5)])
def test_no_chips_on_a_whole_edge(tmp_path: Path, light: Light) -> None:
    for seed in range(4):
        turned = rendering.placed(DRAWN.polygon_mm, turn_deg=3 * seed - 5)
        picture = taken(tmp_path, [[CAM.project(turned)]], CAM, seed, light)
        line = P.outline(picture, plain_scale(picture), heel=HEEL)
        assert P.chips(line, side=P.Side.LEFT) == ()
        assert P.chips(line, side=P.Side.RIGHT) == ()


def test_jpeg_does_little_harm(tmp_path: Path) -> None:
    numbers = rendering.picture([[POLYGON]], CAM.size_px, Light(), np.random.default_rng(1))
    picture = P.read_picture(save(tmp_path, numbers, Light(), "a.jpg", quality=92), response=P.SRGB)
    line = P.outline(picture, plain_scale(picture), heel=HEEL)
    off = outside_by(line.scale.to_px(line.points_mm), POLYGON)
    assert abs(off.mean()) < 0.02
    assert off.std() < 0.06
