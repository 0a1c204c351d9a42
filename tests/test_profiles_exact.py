"""Profiles across edges against exact shapes: normal integrals, circles, whole-picture splines.

The normal integral and its transform are scipy's and the textbook's (exp(-2π²σ²f²)); means and
medians are counted by hand.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.stats import norm

import edgekit as ek
from edgekit.digitising.pictures import profiles as pro
from edgekit.digitising.pictures.reading import Picture

P = ek.pictures


def picture_of(light: np.ndarray) -> Picture:
    """A picture as its light, without a file."""
    return Picture(
        light=np.asarray(light, dtype=np.float32),
        clipped=np.zeros(light.shape, dtype=bool),
        step=1 / 255,
        response_stated=True,
        file="own",
        sha256="",
        form="PNG",
        bits=8,
        channel="grey",
        response="linear",
        turned="as stored",
    )


# ---- levels and means ----------------------------------------------------------------------


def test_levels_are_the_medians_of_both_kinds_and_their_scatters():
    dark, bright = np.linspace(0.1, 0.3, 3001), np.linspace(0.85, 0.95, 7001)
    low, high, contrast = pro.levels(np.concatenate([dark, bright])[:, None].repeat(2, 1))
    assert (low, high) == pytest.approx((0.2, 0.9), abs=1e-4)
    # The median distance from the middle of an even spread is a quarter of it.
    assert contrast == pytest.approx(0.7 * norm.ppf(0.75) / (0.05 + 0.025), rel=1e-3)
    # One of the two in a single level, and much more of it.
    light = np.concatenate([dark, np.full(27_000, 0.9)]).reshape(-1, 1)
    low, high, contrast = pro.levels(light)
    assert (low, high) == pytest.approx((0.2, 0.9), abs=1.5e-3)  # to one of 512 levels
    assert contrast == pytest.approx(0.7 * norm.ppf(0.75) / 0.05, rel=0.02)


def test_the_split_is_otsus_between_two_of_512_levels():
    ramp = (np.arange(51_200) + 0.5) / 51_200  # as many of each: the split is in the middle
    ramp = np.concatenate([np.zeros(100), ramp, np.ones(100)])
    cut = 255.5 / 512
    seen = pro.levels(ramp.reshape(514, 100))
    assert seen[0] == pytest.approx(np.median(ramp[ramp <= cut]), abs=1e-12)
    assert seen[1] == pytest.approx(np.median(ramp[ramp > cut]), abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_split_leaves_the_least_spread_within_both_kinds(seed):
    rng = np.random.default_rng(seed)
    sizes = rng.integers(300, 3000, 3)
    light = [
        rng.normal(c, s, n)
        for c, s, n in zip((0.2, 0.45, 0.8), (0.03, 0.08, 0.05), sizes, strict=True)
    ]
    light = rng.permutation(np.clip(np.concatenate(light), 0, 1))[:900].reshape(30, 30)
    low, high = np.percentile(light, (0.05, 99.95))
    count, rim = np.histogram(light, 512, (low, high))
    middle = (rim[1:] + rim[:-1]) / 2

    def within(parts):
        return sum((n * (m - np.average(m, weights=n)) ** 2).sum() for n, m in parts if n.any())

    kinds = [((count[:k], middle[:k]), (count[k:], middle[k:])) for k in range(1, 512)]
    best = middle[np.argmin([within(parts) for parts in kinds])]
    seen = pro.levels(light)
    assert seen[0] == pytest.approx(np.median(light[light <= best]), abs=2e-3)
    assert seen[1] == pytest.approx(np.median(light[light > best]), abs=2e-3)


def test_a_pixel_at_the_very_split_is_a_dark_one():
    ramp = np.concatenate([np.zeros(3), np.full(3, 512.0), np.arange(512) + 0.5])
    light = ramp.reshape(-1, 1)
    seen = pro.levels(light)
    dark = ramp <= 255.5
    assert seen[:2] == (np.median(ramp[dark]), np.median(ramp[~dark]))


def test_a_hundredth_of_a_picture_is_seen_and_a_two_thousandth_is_not():
    light = np.full((100, 100), 0.8)
    light[0] = 0.1
    assert pro.levels(light)[:2] == (0.1, 0.8)
    assert pro.levels(light)[2] == pytest.approx(0.7e6)
    light[0, 4:] = 0.8
    assert pro.levels(light) == (0.8, 0.8, 0.0)
    assert pro.levels(1 - light) == (1 - 0.8, 1 - 0.8, 0.0)
    # A step of a ten-thousandth is none, a little more is one.
    step = np.repeat([0.0, 1e-4], 5000)[:, None]
    assert pro.levels(step) == (0.0, 1e-4, 0.0)
    assert pro.levels(1.001 * step)[2] == pytest.approx(100.1)


@pytest.mark.parametrize("shape", [(2000, 8), (8, 3000)])
def test_of_large_pictures_every_second_or_third_row_and_column_is_looked_at(shape):
    light = np.full(shape, 0.5)
    k = max(shape) // 1000
    seen = light[::k] if shape[0] > 1000 else light[:, ::k]
    seen[...] = 0.2
    flat = seen.T if shape[0] > 1000 else seen
    flat[:, : flat.shape[1] // 2] = 0.8
    assert pro.levels(light)[:2] == (0.2, 0.8)
    small = np.full((8, 8), 0.5)  # of small ones all
    small[1::2] = 0.2
    assert pro.levels(small)[:2] == (0.2, 0.5)
    assert pro.levels(small.T)[:2] == (0.2, 0.5)


def test_a_picture_is_reduced_to_means_of_blocks():
    light = np.arange(63.0).reshape(7, 9)
    small, k = pro.reduced(light, 63 / 4)
    assert k == 2
    want = light[:6, :8].reshape(3, 2, 4, 2).mean(axis=(1, 3))
    np.testing.assert_allclose(small, want, rtol=1e-12)
    assert pro.reduced(light, 63 / 9)[0] == pytest.approx(
        light[:6].reshape(2, 3, 3, 3).mean(axis=(1, 3))
    )
    for most in (16, 63, 1e9):
        same, k = pro.reduced(light, most)
        assert k == 1
        assert same is light


# ---- lines ---------------------------------------------------------------------------------


def test_a_line_is_taken_again_at_one_pixel_unless_told_and_never_as_one_point():
    line = np.array([[0.0, 0.0], [0.0, 7.0]])
    np.testing.assert_allclose(pro.resampled(line)[:, 1], np.arange(8.0), atol=1e-12)
    np.testing.assert_allclose(pro.resampled(line, 100.0), line, atol=1e-12)
    distance, which = pro.nearest(cKDTree(line), np.array([[1.0, 6.0], [0.0, 1.0]]))
    assert distance == pytest.approx([np.sqrt(2), 1.0])
    assert which.tolist() == [1, 0]
    assert pro.nearest(cKDTree(line), line, 2)[1].tolist() == [[0, 1], [1, 0]]


@pytest.mark.parametrize(("count", "points"), [(60, 3.0), (60, 0.4), (9, 6.0), (2, 5.0)])
def test_a_line_is_smoothed_by_a_gaussian_over_its_own_point_reflection(count, points):
    line = np.random.default_rng(count).normal(size=(count, 2)).cumsum(axis=0)
    pad = min(count - 1, 40)
    wide = np.pad(line, ((pad, pad), (0, 0)), mode="reflect", reflect_type="odd")
    want = ndimage.gaussian_filter1d(wide, points, axis=0)[pad:-pad]
    if count > 4 * points:
        np.testing.assert_allclose(pro.smoothed(line, points), want, atol=1e-12)
        np.testing.assert_allclose(want[[0, -1]], line[[0, -1]], atol=1e-9)
    assert pro.smoothed(line, points).shape == line.shape
    if count <= 4 * points:
        return
    even = np.linspace([0, 0], [3, 5], count)
    np.testing.assert_allclose(pro.smoothed(even, points), even, atol=1e-12)


@pytest.mark.parametrize("spacing", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("sense", [1, -1])
def test_a_circles_normals_point_outwards_and_its_curvature_is_one_over_its_radius(spacing, sense):
    radius = 150.0
    turn = np.pi / 2 - sense * np.arange(0, 4, spacing / radius)
    circle = radius * np.stack([np.cos(turn), -np.sin(turn)], axis=1)  # y of pixels runs down
    normal, curvature = pro.normals_of(circle, 4.0)
    inside = slice(40, -40)  # of the ends, which are smoothed over a point reflection
    want = sense * circle / radius
    np.testing.assert_allclose(normal[inside], want[inside], atol=1e-4)
    np.testing.assert_allclose(curvature[inside], sense / radius, rtol=2e-3)
    np.testing.assert_allclose(np.hypot(*normal.T), 1, rtol=1e-12)


def test_light_between_pixels_is_that_of_one_spline_over_the_whole_picture():
    rng = np.random.default_rng(3)
    light = rng.uniform(size=(290, 420))
    at = rng.uniform([-8, -8], [428, 298], (3000, 2))
    want = ndimage.map_coordinates(light, at.T[::-1], order=3, mode="mirror")
    np.testing.assert_allclose(pro.sample(light, at), want, atol=1e-9)
    np.testing.assert_allclose(
        pro.sample(light.astype(np.float32), at.reshape(30, 100, 2)),
        want.reshape(30, 100),
        atol=1e-6,
    )
    column, row = np.array([[5, 7], [300, 200]]).T
    np.testing.assert_allclose(
        pro.sample(light, np.array([[5.0, 7.0], [300.0, 200.0]])), light[row, column], atol=1e-12
    )


# ---- profiles ------------------------------------------------------------------------------

OFFSETS = np.arange(-8, 8.25, 0.5)
FIRST = (len(OFFSETS)) // 6  # samples of each end


def edges(places, sigma=1.0, dark=0.1, bright=0.7):
    """Exact profiles (N, T) of normal blur."""
    return dark + (bright - dark) * norm.cdf(OFFSETS, np.asarray(places)[:, None], sigma)


def test_a_normal_edge_is_read_where_it_is_with_its_slope():
    places = np.linspace(-1.4, 1.4, 57)
    seen = pro.crossings(OFFSETS, edges(places), 0.012, 1.0)
    np.testing.assert_allclose(seen.offset_px, places, atol=3e-4)
    np.testing.assert_allclose(seen.steepest_px, places, atol=5e-3)
    slope = 0.6 * norm.pdf(0)
    np.testing.assert_allclose(seen.slope, slope, rtol=0.02)
    np.testing.assert_allclose(seen.dark, 0.1, atol=1e-6)
    np.testing.assert_allclose(seen.bright, 0.7, atol=1e-6)
    # An even share of rounding has the standard deviation of one step over √12.
    np.testing.assert_allclose(seen.sd_px, 0.012 / np.sqrt(12) / seen.slope, rtol=1e-4)
    assert seen.met.all()
    np.testing.assert_allclose(seen.bump, 0, atol=5e-3)


def test_noise_of_the_two_ends_is_taken_together():
    profiles = edges(np.zeros(40))
    sign = np.where(np.arange(FIRST) % 2, 1.0, -1.0)
    sign -= sign.mean()
    low, high = 0.02 * sign, 0.05 * sign
    profiles[:, :FIRST] += low
    profiles[:, -FIRST:] += high
    seen = pro.crossings(OFFSETS, profiles, 0.012, 1.0)
    variance = ((low**2).mean() + (high**2).mean()) / 2 + 0.012**2 / 12
    np.testing.assert_allclose(seen.sd_px * seen.slope, np.sqrt(variance), rtol=1e-5)
    # The next sample is none of an end.
    profiles[:, FIRST] += 0.3
    profiles[:, -FIRST - 1] -= 0.3
    again = pro.crossings(OFFSETS, profiles, 0.012, 1.0)
    np.testing.assert_allclose(again.dark, seen.dark, rtol=1e-12)
    np.testing.assert_allclose(again.bright, seen.bright, rtol=1e-12)


def test_a_short_profile_has_two_samples_at_either_end():
    offsets = np.arange(-2, 2.25, 0.5)
    profiles = np.tile([0.0, 0.1, 0.3, 0.3, 0.5, 0.7, 0.7, 0.8, 1.0], (20, 1))
    seen = pro.crossings(offsets, profiles, 0.0, 0.5)
    np.testing.assert_allclose(seen.dark, 0.05)
    np.testing.assert_allclose(seen.bright, 0.9)


def test_of_several_crossings_the_nearest_counts_and_none_is_said():
    def with_ups(*starts):
        """Profiles that rise through the middle within half a pixel from each start."""
        row = np.zeros(len(OFFSETS))
        for start in starts:
            row[start + 0.1 < OFFSETS] = 1.0
            row[start + 0.6 < OFFSETS] = 0.0
        row[-FIRST:] = 1.0
        return np.tile(row, (3, 1))

    for starts, want in (((-1.0, 1.0), -0.75), ((-1.5, 0.5), 0.75), ((-3.0, 2.0), 2.25)):
        seen = pro.crossings(OFFSETS, with_ups(*starts), 0.01, 0.6)
        assert seen.met.all()
        np.testing.assert_allclose(seen.offset_px, want, atol=0.1)
    falling = edges(np.zeros(4))[:, ::-1]
    assert not pro.crossings(OFFSETS, falling, 0.01, 1.0).met.any()
    flat = np.full((4, len(OFFSETS)), 0.3)
    none = pro.crossings(OFFSETS, flat, 0.01, 1.0)
    assert not none.met.any()
    np.testing.assert_allclose(none.sd_px, 0.01 / np.sqrt(12) / 1e-9, rtol=1e-6)
    assert np.isfinite(none.steepest_px).all()


def test_a_steeper_step_far_from_the_crossing_is_not_the_edge():
    def both(at):
        rise = 0.55 * norm.cdf(OFFSETS) + 0.45 * norm.cdf(OFFSETS, at, 0.1)
        return pro.crossings(OFFSETS, np.tile(rise, (3, 1)), 0.01, 0.3)

    np.testing.assert_allclose(both(5.7).steepest_px, 0, atol=0.02)
    np.testing.assert_allclose(both(5.7).offset_px, norm.ppf(0.5 / 0.55), atol=2e-3)
    np.testing.assert_allclose(both(3.2).steepest_px, 3.2, atol=0.1)  # within half of the reach


def test_the_steepest_place_is_that_of_the_smoothed_profile():
    # A steep small step beside a gentle large one: once smoothed, the large one is the steeper.
    rise = 0.65 * norm.cdf(OFFSETS, -0.3, 1.2) + 0.35 * norm.cdf(OFFSETS, 2.25, 0.1)
    profiles = np.tile(rise, (3, 1))
    fine = np.linspace(-8, 8, 3201)
    for blur in (0.05, 1.5):
        wide = np.hypot([1.2, 0.1], np.hypot(blur, 1 / np.sqrt(12)))  # difference over one pixel
        slope = 0.65 * norm.pdf(fine, -0.3, wide[0]) + 0.35 * norm.pdf(fine, 2.25, wide[1])
        seen = pro.crossings(OFFSETS, profiles, 0.01, blur).steepest_px
        np.testing.assert_allclose(seen, fine[np.argmax(slope)], atol=0.03)


def test_a_bump_is_the_largest_stray_clear_of_the_edge_as_a_share_of_the_step():
    rows = 40
    dark, bright = np.full(rows, 0.2), np.full(rows, 0.7)
    plain = np.where(OFFSETS > 0, 0.7, 0.2)[None].repeat(rows, 0)

    def bump(at, height, clear=2.0, row=slice(None)):
        profiles = plain.copy()
        profiles[row, at == OFFSETS] += height
        return pro._bump(OFFSETS, profiles, dark, bright, clear)

    np.testing.assert_allclose(bump(2.5, 0.1), 0.2)
    np.testing.assert_allclose(bump(-2.5, -0.15), 0.3)
    np.testing.assert_allclose(bump(2.0, 0.1), 0, atol=1e-12)  # not clear of it
    np.testing.assert_allclose(bump(0.0, 0.1, clear=20.0), 0, atol=1e-12)
    one = bump(3.0, 0.15, row=20)  # a mean over 15 points along the line
    np.testing.assert_allclose(one, np.where(np.abs(np.arange(rows) - 20) <= 7, 0.02, 0), atol=1e-9)
    flat = pro._bump(OFFSETS, plain, dark, dark, 2.0)
    np.testing.assert_allclose(flat, 0.5 / 1e-9)
    # How far is clear: three blurs and half a pixel.
    for blur, at, seen in (
        (0.5, 2.0, False),
        (0.5, 2.5, True),
        (1.0, 3.5, False),
        (1.0, 4.0, True),
    ):
        profiles = plain.copy()
        profiles[:, at == OFFSETS] -= 0.1
        assert (pro.crossings(OFFSETS, profiles, 0.0, blur).bump > 0.15).all() == seen


def test_ends_are_means_over_fifteen_points_and_their_noise_over_sixty():
    ends = np.zeros((200, 4))
    ends[100] = [0.3, 0.3, 0.3, 0.3]
    level, _ = pro._plateau(ends)
    np.testing.assert_allclose(
        level, np.where(np.abs(np.arange(200) - 100) <= 7, 0.02, 0), atol=1e-9
    )
    ends[100] = [0.3, -0.3, 0.3, -0.3]
    level, noise = pro._plateau(ends)
    np.testing.assert_allclose(level, 0, atol=1e-12)
    assert (noise > 1e-6).sum() == 60
    np.testing.assert_allclose(noise[noise > 1e-6], 0.3 / np.sqrt(60))


# ---- sharpness -----------------------------------------------------------------------------


def slanted(sigma=0.8, slant_deg=8.0, size=(90, 70), noise=0.0, seed=0):
    """Light (rows, columns) of an edge of normal blur with the transform exp(-2π²σ²f²), whose
    pixels count points, not areas."""
    y, x = np.mgrid[: size[0], : size[1]].astype(float)
    a = np.radians(slant_deg)
    distance = (x - (size[1] - 1) / 2) * np.cos(a) + (y - (size[0] - 1) / 2) * np.sin(a)
    light = 0.1 + 0.6 * norm.cdf(distance / sigma)
    return light + noise * np.random.default_rng(seed).standard_normal(light.shape)


@pytest.mark.parametrize("sigma", [0.5, 0.8, 1.6])
@pytest.mark.parametrize("slant", [4.0, 8.0, -13.0, 82.0])
def test_the_transfer_of_a_normal_blur_is_the_textbooks(sigma, slant):
    light = slanted(sigma, slant)
    rows, columns = light.shape
    seen = P.edge_spread(picture_of(light), (0, 0, columns, rows))
    f = seen.frequency_cy_px
    np.testing.assert_allclose(seen.mtf, np.exp(-2 * (np.pi * sigma * f) ** 2), atol=0.012)
    assert seen.mtf50_cy_px == pytest.approx(np.sqrt(np.log(2) / 2) / np.pi / sigma, rel=0.01)
    assert seen.sigma_px == pytest.approx(sigma, rel=0.01)
    assert seen.slant_deg == pytest.approx(min(abs(slant), 90 - abs(slant)), abs=0.02)
    assert f[0] == 0
    assert 0.58 < f[-1] <= 0.6
    np.testing.assert_allclose(np.diff(f), f[1], rtol=1e-9)


def test_half_is_interpolated_between_two_frequencies():
    light = slanted(0.9)
    seen = P.edge_spread(picture_of(light), (0, 0, 70, 90))
    at = int(np.argmax(seen.mtf < 0.5))
    pair = slice(at - 1, at + 1)
    half = np.interp(-0.5, -seen.mtf[pair], seen.frequency_cy_px[pair])
    assert seen.mtf50_cy_px == pytest.approx(half, rel=1e-12)
    assert seen.mtf50_cy_px * seen.sigma_px == pytest.approx(0.18739, abs=1e-5)


@pytest.mark.parametrize(
    ("box", "good"),
    [
        ((20, 25, 44, 90), True),
        ((20, 25, 43, 90), False),
        ((0, 30, 70, 54), True),
        ((0, 30, 70, 53), False),
        ((-1, 0, 70, 90), False),
        ((0, -1, 70, 90), False),
        ((0, 0, 71, 90), False),
        ((0, 0, 70, 91), False),
    ],
)
def test_a_region_is_24_pixels_wide_and_inside(box, good):
    picture = picture_of(slanted(0.7, 12.0))
    if good:
        assert P.edge_spread(picture, box).sigma_px == pytest.approx(0.7, rel=0.05)
    else:
        with pytest.raises(ek.BadArgument, match="24 pixels"):
            P.edge_spread(picture, box)


def test_what_is_no_single_slanted_straight_edge_is_refused():
    def refused(light, words):
        with pytest.raises(ek.Cannot, match=words):
            P.edge_spread(picture_of(light), (0, 0, light.shape[1], light.shape[0]))

    def seen(light):
        return P.edge_spread(picture_of(light), (0, 0, light.shape[1], light.shape[0]))

    refused(np.full((60, 60), 0.5), "does not hold one edge")
    # Contrast of 4 in scatters of both levels: the step is 0.6.
    wide = 0.6 / 4 / 2
    refused(slanted(noise=wide * 1.25), "does not hold one edge")
    assert seen(slanted(noise=0.02)).sigma_px == pytest.approx(0.8, rel=0.1)
    # A second edge as long as a third of the first.
    two = slanted(size=(90, 90))
    two[:40, 75:] = 0.1
    refused(two, "does not hold one edge")
    small = slanted(size=(90, 90))
    small[2:7, 80:85] = 0.1
    assert seen(small).sigma_px == pytest.approx(0.8, rel=0.05)
    refused(slanted(slant_deg=0.9), "rows or columns")
    assert seen(slanted(slant_deg=1.6)).slant_deg == pytest.approx(1.6, abs=0.05)
    # A bow of an arc with a scatter of more than 0.3 px about its chord.
    y, x = np.mgrid[:90, :70].astype(float)
    for sag, good in ((0.8, True), (1.3, False)):
        bow = 4 * sag * ((y - 44.5) / 89) ** 2  # the scatter of a parabola: sag·0.298
        light = 0.1 + 0.6 * norm.cdf(((x - 35) + 0.15 * (y - 44.5) + bow) / 0.8)
        if good:
            assert seen(light).sigma_px > 0.7
        else:
            refused(light, "not straight")
    refused(slanted(slant_deg=1.2, size=(26, 60)), "too short for its slant")


def test_distances_are_square_to_the_line_and_bins_are_means_of_a_quarter_pixel():
    a = np.radians(20)
    along = np.linspace(-30, 30, 61)
    line = np.stack([25 - np.sin(a) * along, 30 + np.cos(a) * along], axis=1)
    distance, slant = pro._distances((60, 50), line)
    y, x = np.mgrid[:60, :50]
    want = (x - 25) * np.cos(a) + (y - 30) * np.sin(a)
    sign = np.sign((distance * want).sum())
    np.testing.assert_allclose(distance, sign * want, atol=1e-9)
    assert slant == pytest.approx(20)
    light = np.random.default_rng(2).uniform(size=(60, 50))
    spread = pro._bins(want, light)
    assert len(spread) == 2 * 64 + 1  # 16 px to either side, in quarters
    for k in (-64, -10, 0, 3, 64):
        part = np.rint(4 * want) == k
        assert spread[64 + k] == pytest.approx(light[part].mean(), rel=1e-12)
    near = pro._bins(want[:, 10:], light[:, 10:])  # as far as both sides reach
    assert len(near) == 2 * int(4 * min(-want[:, 10:].min(), 16)) + 1
    short = pro._bins(want[:, 18:], light[:, 18:])
    reach = int(4 * -want[:, 18:].min())
    assert len(short) == 2 * min(reach, 64) + 1
    with pytest.raises(ek.Cannot, match="too short"):
        pro._bins(np.array([[-2.0, -1.0, 0.0, 1.0, 2.0]]), np.zeros((1, 5)))


def test_the_transfer_is_corrected_for_bins_and_the_central_difference():
    step = np.zeros(161)
    step[80:] = 1.0  # an ideal edge in quarter pixels: what is left is what was put in
    frequency, mtf = pro._transfer(step)
    slope = np.zeros(len(step) - 2)
    slope[[78, 79]] = 0.5
    want = np.abs(np.cos(np.pi * frequency / 4)) / (np.sinc(frequency / 2) * np.sinc(frequency / 4))
    np.testing.assert_allclose(mtf, want, rtol=2e-3)
    size = 1 << int(np.ceil(np.log2(16 * 2 * min(78, 80))))
    assert frequency[1] == pytest.approx(4 / size, rel=0.6)
    assert all(low < high for low, high in pairwise(frequency))
