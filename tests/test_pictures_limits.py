"""Bounds, margins and second branches of reading pictures, on small made inputs.

Expected values are written out by hand, or come from numpy and scipy.
"""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.stats import norm

import edgekit as ek
from edgekit.digitising import file_format, reader, smoothing, writer
from edgekit.digitising.pictures import edge_stations, loss, one_view, profiles, registering
from edgekit.digitising.pictures.loss_budget import loss_parts
from edgekit.digitising.pictures.outlines import (
    blade_outline,
    chipping,
    line_reading,
    parts,
    silhouette,
)
from edgekit.digitising.pictures.profiles import normals_of, resampled
from edgekit.digitising.pictures.targets import calibrating, corners, refining
from tests.picture_scenes import plain_scale
from tests.test_outlines_exact import (
    BEFORE,
    EDGE,
    MOUNT,
    OFFSETS,
    PICTURE,
    SCALE,
    UM,
    crossings_of,
    line_between,
    losses,
    outline_of,
    reading_of,
    scene,
    stadium,
    worn_outline,
)
from tests.test_profiles_exact import picture_of
from tests.test_targets_exact import board_light, grid_among

P = ek.pictures
LEFT, RIGHT = P.Side.LEFT, P.Side.RIGHT


# ---- parts ---------------------------------------------------------------------------------


def test_a_toe_is_where_it_bends_most_within_the_millimetre_that_turns_most():
    bend = np.zeros(400)
    bend[150:250] = 1.0  # a hundred places of a hundredth
    for at, around, found in (
        (150, None, True),
        (249, None, True),
        (148, 149, False),  # specks beyond: out and back again
        (251, 250, False),
    ):
        speck = bend.copy()
        speck[at] = 2.0
        if around is not None:
            speck[around] = -3.0
        assert np.argmax(ndimage.uniform_filter1d(speck, 100, mode="constant")) == 200
        assert (parts._sharpest(speck) == at) == found
    early = np.zeros(400)
    early[:60] = 1.0
    for at in (0, 59):
        early[at] = 2.0
        assert parts._sharpest(early) == at
        early[at] = 1.0


def test_a_round_toe_ends_half_way_between_its_bend_and_that_of_each_side():
    edge = 20
    bend = np.zeros(400)
    bend[150:250] = 2.0
    assert parts._ends(bend, 200, edge) == (150, 250)
    # Each side's own bend is the median from one to six smoothing lengths beyond.
    slope = np.interp(np.arange(400), [100, 150, 249, 299], [0.0, 2.0, 2.0, 0.0])
    raised = slope.copy()
    start, stop = parts._cap(slope, 200, 1.0, 1.0)
    assert (start, stop) == (126, 274)
    left, right = slice(start - 120, start - 20), slice(stop + 20, stop + 120)
    raised[left] = np.where(np.arange(100) < 51, 0.8, raised[left])
    raised[right] = np.where(np.arange(100) >= 49, 0.6, raised[right])
    whole = np.median(raised[start:stop])
    want = parts._cap(raised, 200, (whole + 0.8) / 2, (whole + 0.6) / 2)
    assert want[0] > start
    assert want[1] < stop
    assert parts._ends(raised, 200, edge) == want
    # One place fewer, and the median is another.
    for at in (left.start + 50, right.start + 49):
        fewer = raised.copy()
        fewer[[at - 1, at, at + 1]] = 0.0
        assert parts._ends(fewer, 200, edge) != want
    # Beyond the line's end there is no bend.
    short = slope[: stop + edge]
    assert parts._ends(short, 200, edge) == parts._cap(
        short, 200, (np.median(short[start:stop]) + np.median(short[left])) / 2, 1.0
    )
    # A turn of twice the smoothing length is a corner of its own.
    for wide, again in ((40, False), (41, True)):
        corner = np.full(400, 0.9)
        corner[200 : 200 + wide] = 2.0
        level = 1.0 if not again else (2.0 + 0.9) / 2
        corner[198:200] = corner[200 + wide : 202 + wide] = 1.2
        narrow = parts._cap(corner, 210, 1.0, 1.0)
        assert narrow == (198, 202 + wide)
        assert parts._ends(corner, 210, (wide + 4) // 2) == (
            narrow if not again or (wide + 4) <= 2 * ((wide + 4) // 2) else (200, 200 + wide)
        )
        assert level > 0


def test_an_arc_is_made_up_for_by_its_own_bend_however_its_points_stand():
    turn = np.concatenate([np.arange(0, 1.5, 0.025), np.arange(1.5, 3.0, 0.05)])
    circle = 0.4 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    chords = 0.8 * np.sin(np.diff(turn) / 2)
    found = np.diff(parts.arc_of(circle))
    np.testing.assert_allclose(found[12:45], chords[12:45], rtol=5e-4)
    np.testing.assert_allclose(found[75:-12], chords[75:-12], rtol=1e-3)


def test_a_hook_at_the_end_of_a_line_is_no_toe():
    hook = np.array([[-1.9, 0.38], [-2.0, 0.42]])
    line = resampled(np.concatenate([hook, stadium()]), 0.012)
    apex = parts._turn_at(line, parts.arc_of(line), 0.05)[0]
    straight = 8.0 + np.hypot(0.1, 0.04) + 0.03
    assert apex == pytest.approx(straight + np.pi / 2 * 0.45, abs=0.02)


def test_a_toe_half_a_millimetre_from_the_beginning_is_seen():
    line = resampled(stadium(half=0.3, long=0.0, shank=0.5), 0.012)
    line = np.concatenate([line, line[-1] - np.arange(1, 300)[:, None] * [0.012, 0.0]])
    apex, _, turn = parts._turn_at(line, parts.arc_of(line), 0.05)
    assert apex == pytest.approx(0.5 + np.pi / 2 * 0.3, abs=0.01)
    assert turn > 2.8


def test_half_of_a_turn_counts_what_turns_the_right_way_alone():
    at = np.arange(5) * 0.01 + 3.0
    apex, turn = parts._halved(np.array([0.5, -5.0, 0.0, 1.5]), at)
    assert turn == pytest.approx(0.02)
    assert apex == pytest.approx(3.03 + 0.01 / 3 - 0.005)
    apex, turn = parts._halved(np.array([4.0]), at[:2])
    assert (apex, turn) == (pytest.approx(3.0), pytest.approx(0.04))


def test_a_click_at_three_tenths_of_a_millimetre_is_not_beside_the_edge():
    points = np.stack([np.arange(20) * 0.25, np.zeros(20)], axis=1)
    scale = SimpleNamespace(to_mm=lambda px: px)
    for y, good in ((0.3, False), (np.nextafter(0.3, 0), True)):
        click = P.HeelAt(side=LEFT, x_px=0.5, y_px=y)
        if good:
            assert parts._heel(points, points[:, 0], 2.5, click, scale) == (2, 10)
        else:
            with pytest.raises(ek.BadArgument, match="not beside that edge"):
                parts._heel(points, points[:, 0], 2.5, click, scale)


# ---- finding and reading the outline -------------------------------------------------------


def test_a_width_is_from_the_left_sides_point_to_the_right_side_without_the_apex():
    points = np.stack([np.arange(60.0), np.zeros(60)], axis=1)
    assert blade_outline._width(points, SimpleNamespace(toe=1)) == pytest.approx(2.0)
    # Half of the way to the nearer end: from place 10 of 20.
    assert blade_outline._width(points, SimpleNamespace(toe=20)) == pytest.approx(11.0)
    assert blade_outline._width(points, SimpleNamespace(toe=50)) in (
        pytest.approx(5.0),
        pytest.approx(6.0),
    )


def test_a_piece_is_asked_at_fifty_places_of_a_line():
    label = np.zeros((50, 400), dtype=int)
    label[10] = 1
    label[29:32] = 2
    dark = label > 0

    def zigzag(count):
        k = np.arange(count)
        return np.stack([2.0 * k, np.where(k % 2, 30.0, 10.0)], axis=1)

    for count, piece in ((30, 2), (99, 2), (100, 1), (149, 1), (150, 2)):
        assert silhouette._piece(label, zigzag(count), dark) == piece


def test_a_line_whose_ends_are_close_is_still_open():
    turn = np.linspace(0.01, 2 * np.pi - 0.01, 400)
    ring = 30 * np.stack([np.cos(turn), np.sin(turn)], axis=1) + 100  # but for half a pixel
    assert silhouette._choose([ring], np.zeros((200, 200), dtype=bool))[0] is ring


def test_lines_at_the_very_limits_of_length():
    dark = np.zeros((200, 301), dtype=bool)
    with pytest.raises(ek.Cannot, match="no blade is to be seen"):
        silhouette._choose([line_between([0, 0], [80, 0])], dark)
    long = line_between([0, 100], [300, 100])
    assert silhouette._choose([long, line_between([0, 0], [80, 0])], dark) == (long, ())
    corner = np.array([[50.0, 50], [65, 50], [65, 65], [50, 65], [50, 50]])
    ring = resampled(corner)  # sixty round: a fifth of the line
    assert silhouette._choose([long, ring], dark)[1][0].startswith("1 small closed")


def test_two_sides_of_one_upright_thing_are_told_from_two_things():
    dark = np.zeros((300, 200), dtype=bool)
    dark[:, 90:111] = dark[:, 150:161] = True
    sides = [line_between([x, 0], [x, 299]) for x in (89.5, 110.5, 149.5)]
    with pytest.raises(ek.Cannot, match="both ends"):
        silhouette._choose(sides[:2], dark)
    with pytest.raises(ek.Cannot, match="more than one dark thing"):
        silhouette._choose(sides[1:], dark)


@pytest.mark.parametrize(
    ("rows", "length", "notes"), [(2, 30, 1), (1, 30, 0), (2, 15, 0), (2, 24, 1)]
)
def test_a_speck_is_seen_through_a_pixels_blur_and_told_from_forty_points_on(rows, length, notes):
    light = np.full((200, 300), 0.8)
    light[80:120, :220] = 0.1
    light[30 : 30 + rows, 100 : 100 + length] = 0.1
    found = silhouette.blade_line(picture_of(light), SimpleNamespace(sha256="x"), None)
    assert len(found.notes) == notes


@pytest.mark.parametrize("off", [-2, -1, 0, 1, 2])
def test_a_piece_is_looked_for_a_pixel_to_either_side_of_a_line(off):
    label = np.zeros((60, 50), dtype=int)
    label[:, 20 + off] = 3
    upright = line_between([20, 2], [20, 57])
    want = 3 if abs(off) < 2 else 0
    assert silhouette._piece(label, upright, label > 0) == want
    assert silhouette._piece(label.T, upright[:, ::-1], label.T > 0) == want


@pytest.mark.parametrize("turn", range(4))
def test_a_piece_one_pixel_deep_along_the_border_is_seen(turn):
    label = np.zeros((30, 30), dtype=int)
    label[0] = 7
    label[-1] = 5
    label, line = np.rot90(label, turn), line_between([3, 0], [26, 0])
    for _ in range(turn):
        line = np.stack([line[:, 1], 29 - line[:, 0]], axis=1)
    assert silhouette._piece(label, line, label > 0) == 7


def test_a_border_is_the_first_and_last_row_and_column():
    light = np.arange(12.0).reshape(3, 4)
    assert silhouette._border(light).tolist() == [0, 1, 2, 3, 8, 9, 10, 11, 0, 4, 8, 3, 7, 11]


def test_a_line_lies_a_pixel_further_inside_than_its_profiles_reach():
    size = (40, 30)
    for axis, low, high in ((0, 8, 31), (1, 8, 21)):
        line = np.full((60, 2), 15.0)
        line[:, axis] = np.arange(60) - 10.0
        kept = line_reading._inside(line, size, 6.0)
        assert (kept[0, axis], kept[-1, axis]) == (low, high)
        assert len(kept) == high - low + 1


def test_a_line_is_read_twice_again(monkeypatch):
    picture = picture_of(np.full((60, 80), 0.5))
    scale = plain_scale(picture)
    rough = SimpleNamespace(line_px="rough", notes=("told",))

    class Line(str):
        def again(self, given):
            assert given is picture
            return Line(f"{self} again")

    monkeypatch.setattr(blade_outline, "blade_line", lambda *_: rough)
    monkeypatch.setattr(blade_outline.LineReading, "first", lambda _, line: Line(line))
    monkeypatch.setattr(blade_outline, "refuse_bad_light", lambda *_: None)
    monkeypatch.setattr(blade_outline, "_measured", lambda *given: given)
    assert P.outline(picture, scale)[2:] == ("rough again again", None, ("told",))


def test_a_line_is_smoothed_over_4_points_for_normals_and_10_for_its_bend(monkeypatch):
    asked = []

    def normals(line, points):
        asked.append(points)
        return normals_of(line, points)

    monkeypatch.setattr(line_reading, "normals_of", normals)
    light = np.where(np.arange(80)[:, None] < 40, 0.8, 0.1) * np.ones(120)
    picture = picture_of(ndimage.gaussian_filter(light, 0.8))
    clipped = np.zeros((80, 120), dtype=bool)
    clipped[34, 50] = clipped[34:36, 70] = True
    clipped[46, 90], clipped[47, 91] = True, True
    picture = dataclasses.replace(picture, clipped=clipped)
    found = line_reading.LineReading._read(picture, line_between([5, 39.5], [110, 39.5]), 5.2, 1.0)
    assert asked == [4.0, 10.0]
    assert found.line[0].tolist() == [8, 39.5]  # six pixels, rounded up
    np.testing.assert_allclose(found.seen.offset_px, 0, atol=1e-3)
    # Row 34 holds three of 25 samples, to an even pixel from either side: just 0.12; 35 one.
    assert found.line[found.clipped, 0].tolist() == [70]


def test_an_outline_stays_where_a_profile_met_nothing_and_is_put_back_by_its_blur():
    px = SCALE.to_px(resampled(stadium(), UM / 1000))
    normals, bend = normals_of(px, 4.0)
    count = len(px)
    met = np.abs(np.arange(count) - 200) > 3
    seen = crossings_of(count, offset_px=np.where(met, 0.0, 9.9), met=met)
    line = reading_of(seen, line=px, normals=normals, bend=bend, blur_px=0.8, skew_px=0.01)
    made = blade_outline._measured(PICTURE, SCALE, line, None, ("told",))
    want = SCALE.to_mm(px + 0.8**2 / 2 * bend[:, None] * normals)
    np.testing.assert_allclose(made.points_mm, want, atol=1e-12)
    assert made.edge_spread_um == pytest.approx(0.8 * UM)
    assert made.skew_um == pytest.approx(0.01 * UM)
    assert made.response_um == pytest.approx(16 * 0.01 * UM)
    assert made.skew_sd_um == 0
    noise = blade_outline._noise(np.zeros(count), np.zeros(count), line.seen.sd_px)
    np.testing.assert_allclose(made.sd_um[300:], (noise * UM)[300:], rtol=1e-6)
    np.testing.assert_allclose(made.curvature_per_mm, bend * 1000 / UM, atol=1e-9)
    np.testing.assert_allclose(made.normals, normals * [1, -1], atol=1e-12)
    assert np.flatnonzero(made.quality & blade_outline.Quality.WEAK).tolist() == [*range(197, 204)]
    shifted = reading_of(
        crossings_of(count, offset_px=np.full(count, 0.3)), line=px, normals=normals, bend=0 * bend
    )
    again = blade_outline._measured(PICTURE, SCALE, shifted, None, ())
    np.testing.assert_allclose(again.points_mm, SCALE.to_mm(px + 0.3 * normals), atol=1e-12)


def test_a_line_read_again_is_smoothed_over_a_point(monkeypatch):
    line = line_between([20, 40], [120, 40])
    offset = np.where(np.arange(101) == 50, 1.0, 0.0)
    up = np.tile([0.0, -1.0], (101, 1))
    reading = reading_of(crossings_of(101, offset_px=offset), line=line, normals=up)
    monkeypatch.setattr(line_reading.LineReading, "_read", lambda _, __, line, *___: line)
    again = reading.again(None)
    bell = ndimage.gaussian_filter1d(offset, 1.0)
    want = np.interp(again[:, 0], line[:, 0], 40 - bell)
    np.testing.assert_allclose(again[:, 1], want, atol=1e-9)


def test_where_a_blade_touches_the_border_is_told():
    line = np.concatenate([line_between([8, 40], [50, 6]), line_between([51, 6], [91, 40])])
    first = line[(line[:, 1] <= 7) & (line[:, 0] > 8)][0]
    with pytest.raises(ek.Cannot, match="elsewhere") as refused:
        line_reading._inside(line, (100, 80), 6.0)
    assert str(np.round(first).tolist()) in str(refused.value)


def test_an_overshoot_is_no_sharper_than_the_sharpest_step():
    mean = np.where(OFFSETS < 0, -0.2, 1.2)
    mean[np.argmin(np.abs(OFFSETS))] = 0.5
    blur, skew, _ = line_reading._spread(
        OFFSETS, np.tile(0.1 + 0.6 * mean, (100, 1)), crossings_of(100)
    )
    assert blur == pytest.approx(0.2)
    assert np.isfinite(skew)
    flat = np.tile(0.1 + 0.6 * norm.cdf(OFFSETS, 0, 500.0), (100, 1))  # hardly any rise at all
    wide = line_reading._spread(OFFSETS, flat, crossings_of(100))[0]
    assert 0.5 / wide * np.sqrt(2 / np.pi) == pytest.approx(1e-3, rel=0.15)


@pytest.mark.parametrize("wander", [0.3, 0.8])
def test_what_a_line_wanders_is_no_blur(wander):
    count = 400
    profiles = np.tile(0.1 + 0.6 * norm.cdf(OFFSETS, 0, 1.2), (count, 1))
    offset = np.where(np.arange(count) < count // 2, wander, -wander)
    still = line_reading._spread(OFFSETS, profiles, crossings_of(count))[0]
    moved = line_reading._spread(OFFSETS, profiles, crossings_of(count, offset_px=offset))[0]
    even = ndimage.gaussian_filter1d(offset, 4.0).std()
    assert still**2 - moved**2 == pytest.approx(even**2)


def test_the_area_under_a_profile_is_a_trapezoid():
    ends = 0.1 + 0.6 * np.linspace(0.1, 0.8, len(OFFSETS))
    _, skew, _ = line_reading._spread(OFFSETS, np.tile(ends, (100, 1)), crossings_of(100))
    share = (ends - 0.1) / 0.6
    assert skew == pytest.approx(OFFSETS[-1] - np.trapezoid(share, OFFSETS))


def test_half_of_the_usual_step_is_not_weak():
    bright = np.full(100, 0.6)
    bright[7], bright[8] = 0.35, 0.349
    line = reading_of(crossings_of(100, bright=bright, dark=np.full(100, 0.1)))
    flags = blade_outline._quality(line, np.zeros(100), np.zeros(100), SimpleNamespace(cap=(4, 6)))
    exact = crossings_of(100, dark=np.zeros(100), bright=np.where(np.arange(100) == 7, 0.5, 1.0))
    at = blade_outline._quality(
        reading_of(exact), np.zeros(100), np.zeros(100), SimpleNamespace(cap=(4, 6))
    )
    assert not at.any()
    assert flags[8] == blade_outline.Quality.WEAK
    assert blade_outline.Quality.GOOD == 0


def test_steel_is_asked_for_three_pixels_to_either_side():
    line = line_between([5, 30], [70, 30])
    for rows, right in (((33,), True), ((27,), False)):
        light = np.full((60, 80), 0.5, dtype=np.float32)
        light[list(rows)] = 0.1  # below as seen lies to the right of a line to the right
        assert silhouette._steel_on_the_right(light, line) is right
    for row in (26, 28, 29, 31, 32, 34):
        light = np.full((60, 80), 0.5, dtype=np.float32)
        light[33], light[row] = 0.4, 0.0
        light[27] = 0.45
        assert silhouette._steel_on_the_right(light, line)


# ---- corners -------------------------------------------------------------------------------


def test_a_saddle_is_one_step_away_and_steps_are_half_a_window(monkeypatch):
    monkeypatch.setattr(corners, "_ROUNDS", 1)
    y, x = np.mgrid[:80, :90].astype(float)
    place = np.array([41.3, 38.6])
    u, v = x - place[0], y - place[1]
    light = 0.4 + 1e-3 * (0.7 * u**2 + 1.1 * u * v - 0.9 * v**2)
    near = place + np.array([[0.9, -1.1], [-1.4, 0.3], [0.0, 0.0]])
    found, good = corners.saddles(light, near, 6)
    np.testing.assert_allclose(found, np.tile(place, (3, 1)), atol=1e-5)
    assert good.tolist() == [False, False, True]  # none of the others has come to rest
    far = place + np.array([[4.0, 3.0], [-5.0, 0.0], [2.9, 0.0]])
    found, _ = corners.saddles(light, far, 6)
    np.testing.assert_allclose(found, [far[0] - [2.4, 1.8], far[1] + [3.0, 0.0], place], atol=1e-4)


@pytest.mark.parametrize(("scale", "apart"), [(0.4, 1), (3.0, 3)])
def test_candidates_stand_apart_by_more_than_their_scale(scale, apart):
    light = np.random.default_rng(1).uniform(size=(300, 300))
    found = corners.candidates(light, scale)
    assert len(found) > 50
    tree = cKDTree(found)
    assert tree.query(found, k=2, p=np.inf)[0][:, 1].min() == apart + 1


def cubic(place=(41.3, 38.6)):
    """Light of a saddle that is no quadratic."""
    y, x = np.mgrid[:80, :90].astype(float)
    u, v = x - place[0], y - place[1]
    return 0.4 + 1e-3 * (0.7 * u**2 + 1.1 * u * v - 0.9 * v**2) + 3e-5 * (u**3 - 2 * u * v**2)


@pytest.mark.parametrize("half", [3, 6])
def test_a_step_is_that_of_a_quadratic_fitted_with_a_bell_of_weights(monkeypatch, half):
    light = cubic()
    found, good = corners.saddles(light, np.array([[42.0, 38.0]]), half)
    again, _ = corners.saddles(light, found, half)
    assert good.all()
    assert abs(again - found).max() < 1e-5  # at rest
    monkeypatch.setattr(corners, "_ROUNDS", 1)
    near = np.array([[42.0, 38.0]])  # a pixel, where a spline is the light itself
    dy, dx = (a.ravel() for a in np.mgrid[-half : half + 1, -half : half + 1].astype(float))
    weight = np.exp(-(dx**2 + dy**2) / (2 * ((half + 1) / 2) ** 2))
    design = np.stack([dx**2, dx * dy, dy**2, dx, dy, np.ones_like(dx)], axis=1)
    seen = light[38 + dy.astype(int), 42 + dx.astype(int)]
    a, b, c, d, e, _ = np.linalg.lstsq(design * weight[:, None], seen * weight, rcond=None)[0]
    step = np.linalg.solve([[2 * a, b], [b, 2 * c]], [-d, -e])
    np.testing.assert_allclose(corners.saddles(light, near, half)[0] - near, [step], atol=1e-4)


def test_a_saddle_has_come_to_rest_near_where_it_was_looked_for(monkeypatch):
    y, x = np.mgrid[:80, :90].astype(float)
    light = 0.4 + 1e-3 * (x - 41.0) * (y - 38.0)
    place = np.array([[41.0, 38.0]])
    for off, near in ((7.9, True), (8.1, False)):  # twice three pixels and two
        found, good = corners.saddles(light, place + np.array([off, 0.0]), 3)
        np.testing.assert_allclose(found, place, atol=1e-4)
        assert good.tolist() == [near]
    assert not corners.saddles(np.full((80, 90), 0.5), place, 3)[1].any()
    monkeypatch.setattr(corners, "_ROUNDS", 1)
    for off, rest in ((0.0098, True), (0.0102, False)):
        assert corners.saddles(light, place + np.array([off, 0.0]), 3)[1].tolist() == [rest]


def test_the_strongest_saddles_are_held_against_their_own_best_fiftieth():
    rng = np.random.default_rng(2)
    assert len(corners._strongest(np.ones(4001))) == 4000
    few = np.array([10.0, 9, 8, 7, 6, 5, 4, 3, 0.5, 0.38, 0.40, 0.385])  # 0.06 of 6.5 is 0.39
    assert corners._strongest(few).tolist() == [*range(9), 10]
    many = np.concatenate([np.full(5, 100.0), np.full(4, 10.0), np.full(441, 5.0)])
    order = rng.permutation(450)
    assert len(corners._strongest(many[order])) == 9  # a fiftieth is nine: 0.06 of 100
    fewer = np.concatenate([np.full(5, 100.0), np.full(4, 10.0), np.full(551, 5.0)])
    assert len(corners._strongest(fewer)) == 560  # of eleven: 0.06 of 10
    assert corners._strongest(np.array([1.0, 3.0, 2.0])).tolist() == [1, 2, 0]
    assert corners._strongest(np.array([100.0] * 8 + [6.0])).tolist() == [*range(8)]


def test_candidates_are_turned_on_a_ring_of_twice_their_scale(monkeypatch):
    asked, plain = [], corners._ring

    def ring(light, spots, radius):
        asked.append(radius)
        return plain(light, spots, radius)

    monkeypatch.setattr(corners, "_ring", ring)
    corners.candidates(board_light()[0], 1.7)
    assert asked == [2 * 1.7]
    asked.clear()
    with pytest.raises(ek.Cannot, match="largest grid"):
        corners.find_grid(board_light()[0], 5, 4)
    assert asked == [3.0, 3.0, 6.0, 6.0, 12.0, 12.0][: len(asked)]
    assert len(asked) > 1


@pytest.mark.parametrize(("most", "k", "scale"), [(10_000, 1, 3.0), (2500, 2, 6.0)])
def test_saddles_of_a_smaller_picture_lie_where_its_pixels_do(monkeypatch, most, k, scale):
    at = np.stack(np.meshgrid(np.arange(4.0), np.arange(4.0)), -1).reshape(-1, 2) * 8 + 5
    asked = []

    def sense(light, spots, radius):
        asked.append((spots, radius))
        raise ek.Cannot("enough", 0, "Stop.")

    monkeypatch.setattr(corners, "SEARCHED_PX", most)
    monkeypatch.setattr(corners, "candidates", lambda *_: at)
    monkeypatch.setattr(corners, "_sense", sense)
    with pytest.raises(ek.Cannot, match="enough"):
        corners.find_grid(np.zeros((100, 100)), 4, 4)
    np.testing.assert_allclose(asked[0][0], k * at + (k - 1) / 2)
    assert asked[0][1] == scale


def test_clicks_are_looked_about_within_sixty_pixels(monkeypatch):
    light = np.arange(400)[:, None] * 1000.0 + np.arange(500)
    asked = []

    def candidates(part, scale):
        asked.append((part[0, 0], part.shape, scale))
        return np.empty((0, 2))

    monkeypatch.setattr(corners, "candidates", candidates)
    clicks = np.array([[100.5, 90.5], [200.2, 90.5], [200.2, 150.2], [100.5, 150.2]])
    with pytest.raises(ek.Cannot, match="at the clicks"):
        corners.grid_from_clicks(light, clicks, 6, 4)
    assert {seen[:2] for seen in asked} == {(30_040.0, (211 - 30, 261 - 40))}
    assert [seen[2] for seen in asked] == pytest.approx([59.7 / 3 / 8, 1.5, 3.0, 6.0])
    asked.clear()
    with pytest.raises(ek.Cannot, match="at the clicks"):
        corners.grid_from_clicks(light, clicks - [70.5, 60.5], 6, 4)
    assert asked[0][0] == 0
    for square, scale in ((7.0, 1.0), (9.0, 9 / 8), (47.0, 47 / 8), (50.0, 6.0)):
        asked.clear()
        ends = np.array([[0, 0], [5, 0], [5, 3], [0, 3]]) * square + 60.0
        with pytest.raises(ek.Cannot, match="at the clicks"):
            corners.grid_from_clicks(light, ends, 6, 4)
        assert asked[0][2] == pytest.approx(scale)


def test_corners_at_rest_end_the_rounds_whatever_their_blur(monkeypatch):
    turns, plain = [], refining._model

    def model(*given):
        turns.append(1)
        return plain(*given)

    monkeypatch.setattr(refining, "_model", model)
    light, places = board_light(across=3, down=3, square=40.0, blur=4.5, size=(200, 190), turn=0.0)
    refining.refined(light, np.rint(places * 2) / 2)
    assert len(turns) <= 3 * 6
    turns.clear()
    at = np.stack(np.meshgrid(np.arange(-15.0, 16), np.arange(-15.0, 16)), -1).reshape(1, -1, 2)
    normals = np.eye(2)[None]
    share = np.ones(at.shape[:2])
    seen = plain(np.array([[0, 0, 5.0, 0.3, 0.4, 0, 0]]), at, normals, at)[0]
    windows = refining._Windows(at, seen, share > 0)
    place = refining._fit(windows, at, normals, share)
    assert len(turns) == 4  # three rounds measure the noise and level it, one finds it at rest
    assert abs(place).max() < 1e-9
    turns.clear()
    monkeypatch.setattr(refining, "_variance", lambda *_: 1.0)
    monkeypatch.setattr(refining, "_CLOSE_PX", 0.0)
    refining._fit(windows._replace(light=0 * seen), at, normals, share)  # no step to the last bit
    assert len(turns) == 4


@pytest.mark.parametrize("lost", [0, 8, 11])
def test_pixels_beyond_the_border_say_nothing_about_a_corner(lost):
    light, places = board_light(square=22.0, turn=0.0)
    low = np.floor(places.min(axis=(0, 1))).astype(int) - 11 + lost
    near = places - low + [0.2, -0.15]
    found = refining.refined(light[low[1] :, low[0] :], near)
    np.testing.assert_allclose(found, places - low, atol=2e-4)


@pytest.mark.parametrize(("square", "good"), [(4.0, False), (9999.5, True), (10_000.5, False)])
def test_squares_are_below_ten_thousand_pixels(monkeypatch, square, good):
    index = corners._grid(4, 3)
    spots = (index * square).reshape(-1, 2)
    monkeypatch.setattr(corners, "saddles", lambda _, near, __: (near, np.ones(12, bool)))
    h = np.diag([square, square, 1.0])
    monkeypatch.setattr(corners, "homography", lambda *_: h)
    found = corners._settle(None, cKDTree(spots), spots, h, index)
    assert (found is not None) == good


def made_corner(shift=(0.0, 0.0), blur=1.0, contrast=0.3):
    """A window of four squares, for `_fit`."""
    at = np.stack(np.meshgrid(np.arange(-9.0, 10), np.arange(-9.0, 10)), -1).reshape(1, -1, 2)
    numbers = np.array([[*shift, blur, contrast, 0.4, 0.0, 0.0]])
    seen = refining._model(numbers, at, np.eye(2)[None], at)[0]
    return refining._Windows(at, seen, seen > -1), at, np.eye(2)[None], np.ones(at.shape[:2])


def test_a_corner_is_first_taken_for_one_of_blur_1_and_half_the_lights_range(monkeypatch):
    monkeypatch.setattr(refining, "_ROUNDS", 1)
    shift = (0.05, -0.04)
    place = refining._fit(*made_corner(shift))[0]
    np.testing.assert_allclose(place, shift, rtol=0.05)
    np.testing.assert_allclose(refining._fit(*made_corner(shift, contrast=-0.3))[0], place)
    far = refining._fit(*made_corner((1.5, -1.4)))[0]
    assert far.tolist() == [0.5, -0.5]  # half a pixel at most in a round


def test_noise_is_measured_in_the_second_and_third_round(monkeypatch):
    asked, blurs = [], []
    plain, model = refining._variance, refining._model

    def variance(*given):
        asked.append(len(blurs))
        return plain(*given)

    def modelled(numbers, *given):
        blurs.append(numbers[0, 2])
        return model(numbers, *given)

    given = made_corner((0.3, 0.2), blur=1e-3)
    monkeypatch.setattr(refining, "_variance", variance)
    monkeypatch.setattr(refining, "_model", modelled)
    refining._fit(*given)
    assert asked == [2, 3]
    assert blurs[0] == 1.0
    assert min(blurs) == 0.3  # a pixel's own


# ---- chips ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("width_um", "depth_um", "found"),
    [
        (np.nextafter(200, 0), 3.0, 1),
        (200.0, 3.0, 0),
        (30.0, 0.0, 0),
        (30.0, 1e-9, 1),
    ],
)
def test_a_chip_is_narrower_than_a_fifth_of_a_millimetre_and_deeper_than_nothing(
    monkeypatch, width_um, depth_um, found
):
    arc = 0.25 + 0.004 * np.arange(400)
    dent = 10 * np.exp(-(((np.arange(400) - 200) / 4.0) ** 2) / 2)
    chip = chipping.Chip(
        at_mm=arc[200], depth_um=depth_um, corrected_um=1.0, width_um=width_um, sd_um=0.1
    )
    monkeypatch.setattr(chipping, "_dents", lambda *_: (arc, dent, 0.01))
    monkeypatch.setattr(chipping, "_measured", lambda *_: chip)
    monkeypatch.setattr(chipping, "_matched_sd", lambda *_: 1.0)
    assert len(P.chips(outline_of(stadium()), side=LEFT)) == found


def chips_at(monkeypatch, spikes, width_um=30.0, sd=1.0):
    """Places at which chips are found where a matched reading has spikes {place: height}."""
    dent = np.zeros(400)
    for at, high in spikes.items():
        dent[at] = high

    def measured(arc, dent, at, line, noise):
        return chipping.Chip(at_mm=at, depth_um=5.0, corrected_um=5, width_um=width_um, sd_um=1)

    monkeypatch.setattr(chipping, "_dents", lambda *_: (np.arange(400.0), dent, 0.01))
    monkeypatch.setattr(chipping, "_matched", lambda seen, _: seen)
    monkeypatch.setattr(chipping, "_matched_sd", lambda *_: sd)
    monkeypatch.setattr(chipping, "_measured", measured)
    return [chip.at_mm for chip in P.chips(outline_of(stadium()), side=LEFT)]


def test_chips_stand_apart_from_the_ends_and_from_one_another(monkeypatch):
    ends = {14: 9.0, 15: 9.0, 384: 9.0, 385: 9.0}  # sixty micrometres from either end
    assert chips_at(monkeypatch, ends) == [15, 384]
    for width, reach in ((30.0, 20), (100.0, 50)):  # 0.08 mm, or two widths
        spikes = {200: 9.0, 200 + reach: 8.0, 200 - reach: 7.0}
        assert chips_at(monkeypatch, spikes, width) == [200]
        spikes = {200: 9.0, 201 + reach: 8.0, 199 - reach: 7.0}
        assert chips_at(monkeypatch, spikes, width) == [199 - reach, 200, 201 + reach]
    assert chips_at(monkeypatch, {200: 6.0}) == []
    assert chips_at(monkeypatch, {200: np.nextafter(6.0, 7)}) == [200]
    assert chips_at(monkeypatch, {200: 0.6}, sd=0.01) == []
    assert chips_at(monkeypatch, {200: np.nextafter(0.6, 1)}, sd=0.01) == [200]


def test_dents_weigh_less_by_the_fourth_power_of_twice_their_scatters(monkeypatch):
    asked = []

    def local(xy, weight, design, half):
        asked.append(weight)
        assert (half, design.shape) == (62, (125, 3))
        run = xy.copy()
        run[:, 1] = 0.45  # the side's own place
        return run

    monkeypatch.setattr(chipping, "_local", local)
    line = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), noise_um=2.0, seed=1)
    normals = np.where(np.abs(line.normals[:, 1:]) > 0.9, [0.0, 1.0], line.normals)
    arc, dent, noise = chipping._dents(
        outline_of(
            stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), noise_um=2.0, seed=1, normals=normals
        ),
        LEFT,
    )
    assert len(asked) == 3
    assert (asked[0] == 1).all()
    scale = 1.4826 * np.median(np.abs(dent)) + 1e-3
    assert noise == pytest.approx(scale)
    np.testing.assert_allclose(asked[1], 1 / (1 + (np.maximum(dent, 0) / (2 * scale)) ** 4))
    np.testing.assert_allclose(np.diff(arc), 0.004)


# ---- one outline over another --------------------------------------------------------------


def reference(count=80, sd_um=0.3):
    """A straight datum of points a 64th of a millimetre apart, its normals along y."""
    points = np.stack([np.arange(count) / 64, np.zeros(count)], axis=1)
    normals = np.tile([0.0, 1.0], (count, 1))
    return SimpleNamespace(points_mm=points, normals=normals, sd_um=np.full(count, sd_um))


def laid(first, moving):
    view = registering._View(np.zeros(2), np.eye(2), np.zeros(2), 100.0)
    prior = registering._prior(P.Mount(distance_mm=100))
    here = np.arange(len(first.points_mm))
    return registering._lay(first, here, moving, view, np.zeros(8), prior)


def test_points_at_the_very_limits_are_no_datum():
    first = reference()
    step = 0.75 / 64
    for extra, shown in (
        ((-step, 0.0), False),
        ((-np.nextafter(step, 0), 0.0), True),
        ((20 / 64, 0.2), False),
        ((20 / 64, np.nextafter(0.2, 0)), True),
        ((79 / 64 + step, 0.0), False),
    ):
        fit = laid(first, np.concatenate([first.points_mm, [extra]]))
        assert fit.gain[:, -1].any() == shown
        if not shown:
            assert not fit.numbers.any()
            assert fit.scatter == pytest.approx(np.sqrt(2) * 0.3e-3)


def test_a_datum_of_forty_points_is_too_small_and_scatter_is_not_below_the_noise():
    first = reference(60, sd_um=2.0)
    for beyond, good in ((19, True), (20, False)):
        moving = first.points_mm.copy()
        moving[:beyond, 1] = 0.5
        if good:
            assert laid(first, moving).scatter == pytest.approx(np.sqrt(2) * 2e-3)
        else:
            with pytest.raises(ek.Cannot, match="does not agree"):
                laid(first, moving)
    rough = reference(200)
    sign = np.tile([1.0, -1.0, -1.0, 1.0], 50)
    for apart_um, good in ((20.0, True), (20.5, False)):
        moving = rough.points_mm + np.outer(sign, [0.0, apart_um / 1000])
        if good:
            assert laid(rough, moving).scatter == pytest.approx(1.4826 * apart_um / 1000, rel=1e-3)
        else:
            with pytest.raises(ek.Cannot, match="does not agree"):
                laid(rough, moving)


def stations_of(count=40, spacing=0.05):
    """Stations along a straight edge of few points, its normals along y."""
    points = np.stack([np.arange(count) * spacing, np.zeros(count)], axis=1)
    line = SimpleNamespace(
        points_mm=points,
        normals=np.tile([0.0, 1.0], (count, 1)),
        quality=np.zeros(count, dtype=np.uint8),
        sd_um=np.ones(count),
    )
    own = np.arange(count)
    along = np.tile([1.0, 0.0], (count, 1))
    return edge_stations.EdgeStations(
        points[:, 0].copy(), line, own, points[:, 0].copy(), along, cKDTree(points)
    )


def read_at(stations, points):
    line = SimpleNamespace(points_mm=points, quality=np.zeros(len(points), dtype=np.uint8))
    return stations.read(line, SimpleNamespace(move=lambda points: points))


def test_only_points_square_to_the_edge_are_read_at_a_station():
    stations = stations_of()
    points = stations.line.points_mm - [0.0, 0.004]
    for at in ([0.5, -0.299], [0.5092, -0.1], [0.4908, -0.1]):
        offset, seen = read_at(stations, np.concatenate([points, [at]]))
        assert seen.all()
        assert offset[10] == pytest.approx((0.004 - at[1]) / 2, abs=6e-3)
    for at in ([0.5, -0.301], [0.5101, -0.1], [0.4899, -0.1], [-0.03, -0.1], [1.98, -0.1]):
        offset, seen = read_at(stations, np.concatenate([points, [at]]))
        np.testing.assert_allclose(offset, 0.004)
    half, _ = read_at(stations, points[:20]), None
    assert half[1].sum() == 20  # half of the stations are enough
    with pytest.raises(ek.Cannot, match="at most stations"):
        read_at(stations, points[:19])


SHIFT = np.array([0.7, -1.3])


def shifted(line):
    """The same outline in a target's plane with its origin elsewhere."""
    camera = line.scale.camera
    a, b, _, c, d, _, *rest = camera.numbers
    h = np.array([[a, b], [c, d]])
    first = camera.numbers[[2, 5]] - h @ SHIFT
    numbers = np.array([a, b, first[0], c, d, first[1], *rest])
    scale = dataclasses.replace(line.scale, camera=dataclasses.replace(camera, numbers=numbers))
    toe = tuple(np.array(line.parts.toe_mm) + SHIFT)
    return dataclasses.replace(
        line,
        points_mm=line.points_mm + SHIFT,
        parts=dataclasses.replace(line.parts, toe_mm=toe),
        scale=scale,
    )


def test_a_loss_does_not_depend_on_where_the_targets_origin_lies():
    after = worn_outline(10.0)
    plain = losses([BEFORE], [after])
    moved = losses([shifted(BEFORE)], [shifted(after)])
    np.testing.assert_allclose(moved.recession_um, plain.recession_um, atol=1e-6)
    np.testing.assert_allclose(moved.sd_um, plain.sd_um, rtol=1e-6)
    assert moved.mean_sd_um == pytest.approx(plain.mean_sd_um, rel=1e-6)
    rows = zip(moved.budget.rows, plain.budget.rows, strict=True)
    assert all(one.u_um == pytest.approx(two.u_um) for one, two in rows)
    fits = [
        registering.register(*lines, P.Datum.UNUSED_EDGE_AND_SHANK, LEFT, P.Mount(distance_mm=90))
        for lines in ((BEFORE, after), (shifted(BEFORE), shifted(after)))
    ]
    made = [
        loss_parts(edge_stations.EdgeStations.of(line, LEFT).at(), fit, line, MOUNT, (1, 1))
        for line, fit in zip((BEFORE, shifted(BEFORE)), fits, strict=True)
    ]
    for name in ("height", "roll", "roll2", "pitch", "pitch2", "both"):
        one, two = (getattr(part, name) for part in made)
        np.testing.assert_allclose(two, one, atol=1e-5 * abs(one).max(), err_msg=name)


def test_ends_are_told_along_the_smooth_line(monkeypatch):
    x = np.arange(0, 5.01, 0.05)
    given = np.stack([x, 0 * x], axis=1), 2.0 + 1.1 * x, 2.55, 6.4
    monkeypatch.setattr(one_view, "_points", lambda *_: given)
    monkeypatch.setattr(one_view, "_blade_frame", lambda _: (np.zeros(2), np.eye(2)))
    assert one_view._smooth_line(None, LEFT, None)[1] == pytest.approx((0.5, 4.0))


def test_a_sides_points_are_the_other_sides_of_the_mirrored_outline():
    count = 700
    x = np.arange(count) * 0.012
    line = SimpleNamespace(points_mm=np.stack([x, 0.1 * np.sin(x)], axis=1), arc_mm=1.001 * x)
    line.parts = parts.Parts(
        count=count,
        toe=501,
        toe_mm=(0.0, 0.0),
        cap=(480, 520),
        pointed=False,
        heel=(103, 690),
        past_heel_mm=(0.0, 0.0),
        heel_sd_mm=0.03,
    )
    other = SimpleNamespace(
        points_mm=line.points_mm[::-1], arc_mm=line.arc_mm[-1] - line.arc_mm[::-1]
    )
    other.parts = dataclasses.replace(
        line.parts, toe=count - 502, cap=(count - 521, count - 481), heel=(9, count - 104)
    )
    for end, stop in ((P.EdgeEnd(), 501), (P.EdgeEnd(rule=P.ToeRule.TURN_BEGINS), 480)):
        xy, arc, heel, last = one_view._points(line, LEFT, end)
        assert heel == line.arc_mm[103]
        assert last == line.arc_mm[stop]
        for one, two in zip(
            (xy, arc, heel, last), one_view._points(other, RIGHT, end), strict=True
        ):
            np.testing.assert_allclose(two, one, atol=1e-12)
    near = dataclasses.replace(line.parts, heel=(4, 690))
    line.parts = near
    _, arc, _, last = one_view._points(line, LEFT, P.EdgeEnd(sd_mm=0.1))
    high = last + one_view.SPARE_MM + 0.2
    rim = high / int(high / 0.05)
    assert arc[0] == pytest.approx(line.arc_mm[line.arc_mm < rim].mean())  # from its own end on
    assert arc[-1] == pytest.approx(
        line.arc_mm[(line.arc_mm >= high - rim) & (line.arc_mm < high)].mean()
    )


def test_a_transfer_is_1_at_no_frequency():
    spread = norm.cdf(np.arange(-40, 41) / 4, 0, 0.8)
    frequency, mtf = profiles._transfer(spread)
    assert frequency[0] == 0
    assert mtf[0] == 1


def test_the_steepest_place_is_a_sample_at_most_from_the_steepest_sample():
    steep = 1e-3 * np.exp(OFFSETS)
    for profile, place in ((steep, 8.0), (-steep[::-1], -8.0)):  # one from the last but one
        found = profiles.crossings(OFFSETS, np.tile(profile, (40, 1)), 0.0, 0.3)
        np.testing.assert_allclose(found.steepest_px, place)


def test_an_even_slope_is_steepest_at_its_own_sample():
    ramp = np.clip(OFFSETS, -5, 5) / 16
    found = profiles.crossings(OFFSETS, np.tile(ramp, (40, 1)), 0.0, 0.3)
    gradient = np.gradient(ndimage.gaussian_filter1d(ramp, 0.6, mode="nearest"), 0.5)
    top = int(np.argmax(np.where(np.abs(OFFSETS - found.offset_px[0]) < 4.3, gradient, -1)))
    assert abs(np.diff(gradient[top - 1 : top + 2], 2)[0]) < 1e-12
    np.testing.assert_allclose(found.steepest_px, OFFSETS[top])


@pytest.mark.parametrize("k", [1, 30])
def test_a_crossing_one_sample_from_the_ends_is_that_of_its_own_cubic(k):
    profile = np.where(np.arange(33) <= k, -10.0, 1.0) + 0.1 * np.arange(33)
    middle = (profile[:5].mean() + profile[-5:].mean()) / 2
    around = np.arange(k - 1, k + 3)
    roots = np.roots(np.polyfit(around, profile[around] - middle, 3))
    root = [r.real for r in roots if abs(r.imag) < 1e-9 and k <= r.real <= k + 1]
    found = profiles.crossings(OFFSETS, np.tile(profile, (40, 1)), 0.0, 0.5)
    np.testing.assert_allclose(found.offset_px, -8 + 0.5 * root[0], atol=1e-6)


def test_a_transfers_frequencies_are_those_of_sixteen_times_its_samples():
    spread = norm.cdf(np.arange(-32, 33) / 4, 0, 0.8)
    assert profiles._transfer(spread)[0][1] == 4 / 1024  # of 63: 1008, and the next power of two


def test_stations_of_a_loss_are_counted_with_the_memory_they_take(monkeypatch):
    asked = []

    def count(*given, **more):
        asked.append(more["bytes_each"])
        raise ek.Cannot("enough", 0, "Stop.")

    seen = losses([BEFORE], [worn_outline(10.0)])
    monkeypatch.setattr(loss.checks, "count", count)
    with pytest.raises(ek.Cannot, match="enough"):
        seen.recession_on(EDGE, 63)
    assert asked == [8.0 * len(seen.arc_mm)]


# ---- the smooth curve, the face, the file ---------------------------------------------------


def modes(outside=1.0):
    """Bounds of the weights' logarithms are log 0.1 and log 1000."""
    return SimpleNamespace(
        cosine=np.ones(6), sine=np.ones(6), seen=np.ones(6, dtype=bool), outside=outside
    )


def test_the_least_score_is_a_root_of_its_slope_but_at_either_end():
    logs = np.linspace(np.log(0.1), np.log(1e3), 121)
    step = logs[1] - logs[0]

    def least(best, slope=None, outside=1.0):
        found = smoothing._least(
            modes(outside), lambda x: (x - best) ** 2, slope or (lambda x: x - best)
        )
        return np.log(found)

    for at in (1, 60, 119):
        for off in (-0.3, 0.3):
            best = logs[at] + off * step
            assert least(best) == pytest.approx(best, abs=1e-12)
            assert least(best, outside=0.0) == pytest.approx(logs[at], abs=1e-12)
            assert least(best, lambda _: 1.0) == pytest.approx(logs[at], abs=1e-12)
            assert least(best, lambda _: -1.0) == pytest.approx(logs[at], abs=1e-12)
    for at, off in ((0, 0.3), (0, -0.3), (120, 0.3), (120, -0.3)):
        assert least(logs[at] + off * step) == pytest.approx(logs[at], abs=1e-12)
    best = logs[60] + 0.3 * step
    flat = least(best, lambda x: max(x - logs[59], 0.0) if x != logs[59] else 0.0)
    assert flat == pytest.approx(logs[60], abs=1e-12)


def test_a_face_leans_and_misfits_less_than_its_limits(monkeypatch):
    from edgekit.evidence_table import value

    def face(lean, noise_um, curve_um):
        fit = SimpleNamespace(axes=np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]), noise_um=noise_um)
        monkeypatch.setattr(reader, "fit_face", lambda *_: fit)
        file = SimpleNamespace(
            face=reader.Face.PLANAR,
            face_up=np.array([0.0, 0.0, lean]),
            settings=SimpleNamespace(fault=ek.errors.EdgekitError),
        )
        return reader._face(file, {"a": np.zeros((2, 3))}, curve_um)

    limit = reader.MIN_FACE_LEAN
    assert face(np.nextafter(limit, 1), 0.0, 1.0).noise_um == 0
    with pytest.raises(ek.errors.EdgekitError, match="face_up"):
        face(limit, 0.0, 1.0)
    least = value("trace_noise_um")
    for curve_um, most in ((0.1 * least, least), (3 * least, 3 * least)):
        high = reader.FACE_MISFIT * most
        assert face(1.0, np.nextafter(high, 0), curve_um).noise_um < high
        with pytest.raises(ek.errors.EdgekitError, match="stand off"):
            face(1.0, high, curve_um)


def test_the_face_is_held_against_the_noisier_curve(monkeypatch):
    noises, asked = iter((3.0, 8.0, 5.0)), []
    monkeypatch.setattr(reader, "smooth_curve", lambda _: SimpleNamespace(noise_um=next(noises)))

    def face(file, curves, noise_um):
        asked.append(noise_um)
        raise ek.Cannot("enough", 0, "Stop.")

    monkeypatch.setattr(reader, "_face", face)
    file = SimpleNamespace(edges_of=lambda curves: curves)
    with pytest.raises(ek.Cannot, match="enough"):
        reader._smooth(file, {"left": None, "right": None, "edge": None})
    assert asked == [8.0]


def test_a_bowed_face_has_degree_four_along_and_two_across():
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-3, 3, 13), np.linspace(-0.6, 0.6, 5)))
    held = {(0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (0, 1), (1, 1), (0, 2)}
    for p in range(6):
        for q in range(4):
            points = np.stack([x, y, 1e-4 * x**p * y**q], axis=1)
            face = smoothing.fit_face(points, np.array([0.0, 0, 1]), smoothing.BOWED)
            if (p, q) in held:
                assert face.noise_um < 1e-5
            elif (p, q) != (0, 3):
                assert face.noise_um > 1e-4
    assert smoothing.PLANAR.tolist() == [[0, 0], [1, 0], [0, 1]]


def test_the_table_of_a_blade_that_is_replaced_goes(tmp_path):
    blade = ek.patterns.hoe().moved([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    for _ in range(2):
        file = ek.write_blade(blade, tmp_path / "a", replace=True)
        assert len(list(tmp_path.iterdir())) == 2
    assert writer._own_table(file).exists()


def test_a_picture_that_says_nothing_of_its_turn_is_as_stored(tmp_path):
    file = tmp_path / "a.png"
    Image.fromarray((np.arange(40 * 50) % 251).reshape(40, 50).astype(np.uint8)).save(file)
    picture = P.read_picture(file, response=P.SRGB)
    assert picture.turned == "as stored"
    assert picture.light[0, 1] > picture.light[0, 0]


def test_the_bulge_of_a_lone_edge_is_that_of_its_middle_over_its_two_ends():
    up = np.array([0.0, 0, 1])
    high = np.array([[0.0, 0, 0], [1, 3, 0], [2, 0.5, 0], [3, 0.2, 0], [4, 0, 0]])
    assert reader._inward("edge", {"edge": high}, up)[1] < 0
    long = np.array([[0.0, 0, 0], [1, 0.5, 0], [2, 0.5, 0], [3, -0.5, 0], [6, 0, 0]])
    assert reader._inward("edge", {"edge": long}, up)[1] > 0  # its middle is the fourth


def test_a_blade_file_holds_five_megabytes(tmp_path):
    file = tmp_path / "blade.csv"
    file.write_bytes(b"# remark.\n" * 500_000)
    assert len(file_format.file_text(file)) == 5_000_000
    with file.open("ab") as sink:
        sink.write(b"#")
    with pytest.raises(ek.BadFile, match="cannot be read"):
        file_format.file_text(file)


def test_a_blade_turns_by_less_than_half_a_circle():
    given = {"width_mm": 1.0, "plan_radius_mm": 8.5, "bow_radius_mm": np.inf}
    with pytest.raises(ek.BadArgument, match="less than half a circle"):
        ek.patterns.area_specific_curette(length_mm=8 * np.pi + 0.5, **given)
    blade = ek.patterns.area_specific_curette(length_mm=8 * np.pi + 0.49, **given)
    assert blade.edges["used"].length_mm > 8 * np.pi


@pytest.mark.parametrize("turn", range(4))
def test_half_of_a_border_is_not_enough_ground(turn):
    light = np.full((200, 200), 0.8)
    light[100:] = 0.1
    with pytest.raises(ek.Cannot, match="fills the frame"):
        scene(np.rot90(light, turn))


@pytest.mark.parametrize("missing", [0, -1])
@pytest.mark.parametrize("side", [(-1, 0), (4, 0), (0, -1), (0, 5)])
def test_a_row_beside_a_board_lacks_a_corner_at_either_end(monkeypatch, side, missing):
    index = [(i, j) for i in range(4) for j in range(5)]
    column, row = side
    along = [(column, j) for j in range(5)] if column else [(i, row) for i in range(4)]
    del along[missing]
    if column:
        del along[missing]  # three of five
    cells = {cell: k for k, cell in enumerate([*index, *along])}
    want = np.stack(np.meshgrid(np.arange(4), np.arange(5)), -1) * [10.0, 12.0] + [3.0, 4.0]
    np.testing.assert_allclose(grid_among(monkeypatch, cells, 4, 5), want, atol=1e-6)


def test_the_steepest_place_is_looked_for_up_to_half_a_profile_away():
    rising = OFFSETS + 1e-3 * (OFFSETS + 8) ** 3
    found = profiles.crossings(OFFSETS, np.tile(rising, (40, 1)), 0.0, 0.3)
    k = OFFSETS[int(np.searchsorted(OFFSETS, found.offset_px[0])) - 1]
    assert 0 < k < 3
    np.testing.assert_allclose(found.steepest_px, k + 4 - 0.5)


def test_a_band_lies_to_the_right_of_its_path_first():
    y, _ = np.mgrid[:40, :60].astype(float)
    along = np.arange(20.0)
    seen = calibrating._profile(
        picture_of(0.01 * y), np.array([10.0, 20.0]), np.array([1.0, 0]), along, 4.5
    )
    across = np.array([-2.25, -1.25, -0.25, 0.75, 1.75])
    np.testing.assert_allclose(seen, 0.01 * (20 + across.mean()), atol=1e-6)


def test_an_offset_of_one_and_a_half_pixels_is_no_good_one():
    profile = np.tile(0.1 + 0.6 * norm.cdf(OFFSETS, 1.5, 0.7), (100, 1))
    for offset, good in ((1.5, False), (np.nextafter(1.5, 0), True)):
        seen = crossings_of(100, offset_px=np.full(100, offset))
        assert (line_reading._spread(OFFSETS, profile, seen) != (1.0, 0.0, 0.0)) == good


def test_settings_are_looked_for_beside_a_table_and_as_they_are_named(tmp_path):
    table, plain = tmp_path / "a.csv", tmp_path / "b.dat"
    table.touch()
    plain.touch()
    assert file_format.settings_file_there(table) == tmp_path / "a.toml"
    assert file_format.settings_file_there(plain) == plain
    assert file_format.settings_file_there(tmp_path / "c") == tmp_path / "c.toml"
    own = tmp_path / "a.csv.toml"
    own.touch()
    assert file_format.settings_file_there(table) == own


@pytest.mark.parametrize("side", [(-1, 0), (3, 0), (0, -1), (0, 3)])
def test_a_full_row_of_three_beside_a_board_is_a_larger_board(monkeypatch, side):
    index = [(i, j) for i in range(3) for j in range(3)]
    column, row = side
    along = [(column, j) for j in range(3)] if column else [(i, row) for i in range(3)]
    cells = {cell: k for k, cell in enumerate([*index, *along])}
    assert grid_among(monkeypatch, cells, 3, 3) is None
