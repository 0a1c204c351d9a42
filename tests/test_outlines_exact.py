"""Outlines drawn exactly, without a picture: parts, chips, light, and one laid over another.

Truth is the drawn line: circles, straight sides, polygons of the renderer moved as a pinhole sees
them (theory of the pinhole: a point z above the plane is seen at d / (d - z) of its place).
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import ndimage
from scipy.stats import lognorm, norm

import edgekit as ek
from edgekit.digitising.pictures import edge_stations, loss, registering, widths
from edgekit.digitising.pictures.loss_budget import loss_parts
from edgekit.digitising.pictures.outlines import (
    blade_outline,
    chipping,
    line_reading,
    parts,
    silhouette,
)
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.profiles import Crossings, resampled
from edgekit.evidence_table import entry, value
from tests.picture_scenes import BLADE, EDGE, plain_scale, rendering
from tests.test_profiles_exact import picture_of

P = ek.pictures
LEFT, RIGHT = P.Side.LEFT, P.Side.RIGHT
UM = 12.0  # a pixel
SIZE = (300, 700)  # rows, columns
PICTURE = picture_of(np.zeros(SIZE))
SCALE = plain_scale(PICTURE, UM)
HEEL = P.EdgeLength(side=LEFT, length_mm=EDGE.length_mm)
DRAWN = rendering.silhouette(BLADE, shank_mm=2.0)
MOUNT = P.Mount(distance_mm=120)


def outline_of(points, heel=None, noise_um=0.0, seed=0, sd_um=0.3, **changed):
    """An outline through an exact line (N, 2) [mm], shank to shank clockwise."""
    line = resampled(np.asarray(points, dtype=float), UM / 1000)
    along = np.gradient(line, axis=0)
    normals = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.hypot(*along.T)[:, None]
    noise = noise_um / 1000 * np.random.default_rng(seed).standard_normal(len(line))
    line = line + noise[:, None] * normals
    told, notes = parts.tell_apart(line, heel, SCALE, 0.008)
    given = {
        "points_mm": line,
        "normals": normals,
        "sd_um": np.full(len(line), sd_um),
        "quality": np.zeros(len(line), dtype=np.uint8),
        "edge_spread_um": 8.0,
        "skew_um": 0.0,
        "skew_sd_um": 0.01,
        "response_um": 0.0,
        "curvature_per_mm": np.zeros(len(line)),
        "parts": told,
        "notes": notes,
        "scale": SCALE,
        "picture": PICTURE,
    }
    return Outline(**given | changed)


def stadium(half=0.45, long=6.0, shank=2.0, lean=0.0):
    """Straight sides and a half circle as toe; sides part by `lean` rad each towards the shank."""
    turn = np.linspace(np.pi / 2 - lean, lean - np.pi / 2, 400)
    toe = np.array([long, 0]) + half * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    back = (long + shank) * np.array([-np.cos(lean), np.sin(lean)])
    return np.concatenate([[toe[0] + back], toe, [toe[-1] + back * [1, -1]]])


# ---- parts ---------------------------------------------------------------------------------


@pytest.mark.parametrize("radius", [0.3, 0.45, 3.0])
@pytest.mark.parametrize("step", [0.008, 0.012])
def test_the_arc_of_a_circle_is_its_own_though_the_line_is_smoothed(radius, step):
    turn = np.arange(0, np.pi, step / radius)
    circle = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    arc = parts.arc_of(circle)
    inner = slice(15, -15)
    np.testing.assert_allclose(
        np.diff(arc)[inner], 2 * radius * np.sin(step / radius / 2), rtol=2e-4
    )
    assert arc[0] == 0
    assert len(arc) == len(circle)
    straight = np.linspace([0, 0], [3, 4], 200)
    np.testing.assert_allclose(parts.arc_of(straight), np.linspace(0, 5, 200), atol=1e-12)
    noisy = straight + 0.002 * np.random.default_rng(1).standard_normal((200, 2))
    assert parts.arc_of(noisy)[-1] == pytest.approx(5, abs=5e-3)


@pytest.mark.parametrize("half", [0.3, 0.45])
def test_a_half_circle_is_a_toe_between_its_two_ends(half):
    line = outline_of(stadium(half))
    told = line.parts
    assert np.array(told.toe_mm) == pytest.approx([6 + half, 0], abs=2e-3)
    assert abs(told.toe - (len(line.points_mm) - 1) / 2) < 1
    arc = line.arc_mm
    first, last = (arc[k] for k in told.cap)
    assert first == pytest.approx(8, abs=0.03)  # half-way between both bends
    assert last == pytest.approx(8 + np.pi * half, abs=0.03)
    assert not told.pointed
    assert told.heel is None
    assert (told.past_heel_mm, told.heel_sd_mm) == ((0, 0), 0)
    assert line.notes == ("No heel was given: shank and edges are not told apart.",)
    with pytest.raises(ek.Cannot, match="no mark at the heel"):
        line.side(LEFT)


def test_the_turn_of_a_toe_is_that_of_its_heading():
    for lean in (0.0, 0.2):
        line = outline_of(stadium(lean=lean)).points_mm
        arc = parts.arc_of(line)
        apex, (start, stop), turn = parts._turn_at(line, arc, 0.05)
        assert turn == pytest.approx(np.pi - 2 * lean, abs=0.12)
        assert apex == pytest.approx(arc[-1] / 2, abs=2.5e-3)
        assert stop - start == pytest.approx(0.45 * (np.pi - 2 * lean), abs=0.05)
        assert (start + stop) / 2 == pytest.approx(apex, abs=0.011)


def test_an_apex_halves_the_turn_of_an_uneven_toe():
    # Two arcs of 60° and 120°, radii 0.6 and 0.4, tangent to one another and to both sides.
    first = np.radians(np.linspace(90, 30, 300))
    a = 0.6 * np.stack([np.cos(first), np.sin(first)], axis=1)
    second = np.radians(np.linspace(30, -90, 300))
    b = 0.4 * np.stack([np.cos(second), np.sin(second)], axis=1) + 0.2 * np.array(
        [np.cos(np.pi / 6), 0.5]
    )
    line = np.concatenate([[[-6.0, 0.6]], a, b, [[-6.0, b[-1, 1]]]])
    told = outline_of(line).parts
    want = b[np.argmin(np.abs(second))]  # where 90° are done
    assert np.array(told.toe_mm) == pytest.approx(want, abs=6e-3)


@pytest.mark.parametrize(("tip_deg", "pointed"), [(15, True), (20, True)])
def test_a_tip_is_pointed_where_it_turns_within_the_blur(tip_deg, pointed):
    a = np.radians(tip_deg / 2)
    back = 6 * np.array([-np.cos(a), np.sin(a)])
    line = outline_of([back, [0, 0], back * [1, -1]])
    assert line.parts.pointed is pointed
    assert "sharper than the blur" in line.notes[0]
    rounded = 0.02 * np.stack(
        [np.cos(t := np.linspace(np.pi / 2 - a, a - np.pi / 2, 60)), np.sin(t)], 1
    )
    blunt = np.concatenate([[rounded[0] + back], rounded, [rounded[-1] + back * [1, -1]]])
    sure = resampled(blunt, 0.012)
    width = np.diff(parts._toe(sure, parts.arc_of(sure))[1])[0]
    for blur, want in ((width / 6.3, width < 0.12), (width / 5.5, True)):
        told, _ = parts.tell_apart(sure, None, SCALE, blur)
        assert told.pointed is bool(want)


def test_what_turns_by_less_than_35_degrees_is_no_toe():
    def bent(degrees):
        a = np.radians(degrees)
        turn = np.linspace(np.pi / 2, np.pi / 2 - a, 100)
        arc = 0.4 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        end = arc[-1] + 4 * np.array([np.cos(a), -np.sin(a)])
        return resampled(np.concatenate([[[-4.0, 0.4]], arc, [end]]), 0.012)

    refused = []
    for degrees in (30, 40, *np.linspace(42, 48, 31), 55, 60):
        line = bent(degrees)
        arc = parts.arc_of(line)
        turn = np.degrees(parts._turn_at(line, arc, 0.2)[2])  # none is whole: smoothed most
        assert degrees - 15 < turn < degrees
        if turn > 35:
            assert parts.tell_apart(line, None, SCALE, 0.008)[0].toe > 0
        else:
            with pytest.raises(ek.Cannot, match=f"turns nowhere, got '{turn:.0f}°'"):
                parts.tell_apart(line, None, SCALE, 0.008)
            refused.append(turn)
    assert 34.6 < max(refused) <= 35


@pytest.mark.parametrize(
    ("turns", "used"), [((115.5,), 0.05), ((114.5, 115.5), 0.1), ((90, 100, 35.5), 0.2)]
)
def test_a_toe_is_smoothed_more_until_it_turns_by_115_degrees(monkeypatch, turns, used):
    asked = []

    def turn_at(points, arc, smooth_mm):
        asked.append(smooth_mm)
        return 1.0, (0.9, 1.1), np.radians(turns[len(asked) - 1])

    monkeypatch.setattr(parts, "_turn_at", turn_at)
    assert parts._toe(None, None)[2] == pytest.approx(np.radians(turns[-1]))
    assert asked == pytest.approx([0.05, 0.1, 0.2][: len(turns)])
    assert asked[-1] == pytest.approx(used)


def test_a_tip_turns_by_35_degrees_within_012_mm_or_six_blurs(monkeypatch):
    points = resampled(stadium(), 0.012)
    for cap, turn, blur, pointed in (
        (0.119, 36, 0.0, True),
        (0.121, 36, 0.0, False),
        (0.119, 34.5, 0.0, False),
        (0.299, 170, 0.05, True),
        (0.301, 170, 0.05, False),
    ):
        found = (8.0, (8.0 - cap / 2, 8.0 + cap / 2), np.radians(turn))
        monkeypatch.setattr(parts, "_toe", lambda *_, found=found: found)
        assert parts.tell_apart(points, None, SCALE, blur)[0].pointed is pointed


def test_a_toe_ground_to_corners_is_taken_as_a_whole():
    corner = np.radians([90, 54, 18, -18, -54, -90])
    toe = np.array([6.0, 0]) + 0.45 * np.stack([np.cos(corner), np.sin(corner)], axis=1)
    line = np.concatenate([[[-2.0, 0.45]], toe, [[-2.0, -0.45]]])
    told = outline_of(line).parts
    assert np.array(told.toe_mm) == pytest.approx([6 + 0.45 * np.cos(np.radians(18)), 0], abs=5e-3)


def test_a_cap_ends_where_the_bend_falls_to_each_sides_level():
    bend = np.array([0.0, 1, 2, 5, 9, 7, 6, 3, 1, 0])
    assert parts._cap(bend, 4, 4.5, 4.5) == (3, 7)
    assert parts._cap(bend, 4, 2.0, 1.0) == (3, 8)
    assert parts._cap(bend, 4, 1.9, 0.5) == (2, 9)
    assert parts._cap(bend, 4, -1.0, -1.0) == (0, 9)


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_the_heel_is_so_far_behind_the_apex_and_straight_across(side):
    lean = 0.02
    for length in (4.0, 4.005):
        line = outline_of(stadium(lean=lean), P.EdgeLength(side=side, length_mm=length, sd_mm=0.07))
        told, arc = line.parts, line.arc_mm
        own = line.side(side)
        mark = own[0]
        apex = arc[-1] / 2
        assert abs(arc[mark] - apex) == pytest.approx(length, abs=UM / 2000 + 2e-3)
        # What is left to the heel itself is told; the other side's heel stands straight across.
        past = told.past_heel_mm[0 if side is LEFT else 1]
        assert abs(arc[mark] - apex) + past == pytest.approx(length, abs=2e-3)
        assert told.past_heel_mm[1 if side is LEFT else 0] == 0
        x, y = line.points_mm[mark]
        other = line.points_mm[line.side(RIGHT if side is LEFT else LEFT)[0]]
        foot = np.array([x, y])
        far = line.points_mm[: told.toe] if side is RIGHT else line.points_mm[told.toe :]
        assert np.hypot(*(other - foot)) == pytest.approx(
            np.hypot(*(far - foot).T).min(), abs=1e-12
        )
        assert told.heel_sd_mm == 0.07
        assert line.notes == ()


def test_the_sides_of_an_outline_run_from_heel_to_toe_and_the_rest_is_shank():
    told = parts.Parts(
        count=20,
        toe=10,
        toe_mm=(0.0, 0.0),
        cap=(8, 13),
        pointed=False,
        heel=(3, 17),
        past_heel_mm=(0.0, 0.0),
        heel_sd_mm=0.1,
    )
    assert told.side(LEFT).tolist() == [3, 4, 5, 6, 7, 8, 9, 10]
    assert told.side(RIGHT).tolist() == [17, 16, 15, 14, 13, 12, 11, 10]
    assert told.side(LEFT, toe=False).tolist() == [3, 4, 5, 6, 7, 8]
    assert told.side(RIGHT, toe=False).tolist() == [17, 16, 15, 14, 13]
    assert told.shank.tolist() == [0, 1, 2, 18, 19]


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_heel_is_clicked_within_three_tenths_of_a_millimetre(side):
    y = 0.45 if side is LEFT else -0.45
    for off, good in ((0.29, True), (0.31, False), (-0.29, True)):
        x_px, y_px = SCALE.to_px([[2.0, y + off]])[0]
        heel = P.HeelAt(side=side, x_px=x_px, y_px=y_px)
        if not good:
            with pytest.raises(ek.BadArgument, match="not beside that edge"):
                outline_of(stadium(), heel)
            continue
        line = outline_of(stadium(), heel)
        assert line.points_mm[line.side(side)[0]] == pytest.approx([2, y], abs=0.0065)
        other = line.side(RIGHT if side is LEFT else LEFT)[0]
        assert line.points_mm[other] == pytest.approx([2, -y], abs=0.013)
        assert line.parts.past_heel_mm == (0, 0)
        assert line.parts.heel_sd_mm == 0.1  # unless it is told
    assert P.EdgeLength(side=side, length_mm=4.0).sd_mm == 0.1
    for wrong in (-0.01,):
        with pytest.raises(ek.BadArgument, match="sd_mm"):
            P.EdgeLength(side=side, length_mm=4.0, sd_mm=wrong)
        with pytest.raises(ek.BadArgument, match="sd_mm"):
            P.HeelAt(side=side, x_px=0, y_px=0, sd_mm=wrong)
    assert P.EdgeLength(side=side, length_mm=4.0, sd_mm=0.0).sd_mm == 0


@pytest.mark.parametrize("side", [LEFT, RIGHT])
def test_a_frame_shows_three_points_behind_the_heel(side):
    most = 8 + np.pi / 2 * 0.45
    for length, good in ((most - 0.055, True), (most - 0.03, False), (most + 1, False)):
        if good:
            outline_of(stadium(), P.EdgeLength(side=side, length_mm=length))
        else:
            with pytest.raises(ek.Cannot, match="frame ends before the heel"):
                outline_of(stadium(), P.EdgeLength(side=side, length_mm=length))


# ---- chips ---------------------------------------------------------------------------------


def chipped(dents, heel_mm=6.0, long=6.0, **given):
    """A stadium of 6 mm with dents (at, depth_um, half_width) in its left side."""
    line = resampled(stadium(long=long), UM / 1000)
    x = line[:, 0]
    on = line[:, 1] > 0.449
    for at, depth, half in dents:
        line[:, 1] -= on * depth / 1000 * np.exp(-(((x - at) / half) ** 2) / 2)
    turn = np.pi / 4 * 0.9
    return outline_of(line, P.EdgeLength(side=LEFT, length_mm=heel_mm + turn), **given)


@pytest.mark.parametrize("half", [0.01, 0.016, 0.03])
def test_chips_are_found_where_they_are_with_depth_and_width(half):
    line = chipped([(2.0, 6.0, half), (4.3, 3.0, half)], noise_um=0.01, edge_spread_um=5.0)
    found = P.chips(line, side=LEFT)
    assert len(found) == 2
    blur = np.hypot(5.0, 12.0)
    y = line.points_mm[line.side(LEFT)]
    for chip, at in zip(found, (2.0, 4.3), strict=True):
        depth = 450 - 1000 * y[np.abs(y[:, 0] - at) < 0.1, 1].min()  # as sampled
        assert chip.at_mm == pytest.approx(at, abs=0.01)
        assert chip.depth_um == pytest.approx(depth, rel=0.12)
        # At half depth a dent of half-width s is 2√(2 ln 2) s wide; the blur's own is taken out.
        wide = 2 * math.sqrt(2 * math.log(2)) * 1000 * half
        seen = max(wide**2 - 8 * math.log(2) * blur**2, (0.6 * wide) ** 2)
        assert chip.width_um == pytest.approx(math.sqrt(seen), rel=0.2, abs=5)
        ratio = chip.corrected_um / chip.depth_um
        assert ratio == pytest.approx(wide / math.sqrt(seen), rel=0.2)
        assert 0 < chip.sd_um < 0.1
    assert P.chips(line, side=RIGHT) == ()
    assert "from the heel: at least" in repr(found[0])


def test_chips_are_the_same_whichever_way_the_blade_lies():
    line = resampled(stadium(), UM / 1000)
    on = line[:, 1] > 0.449
    line[:, 1] -= on * 5e-3 * np.exp(-(((line[:, 0] - 3) / 0.02) ** 2) / 2)
    heel = P.EdgeLength(side=LEFT, length_mm=6.0)
    (flat,) = P.chips(outline_of(line, heel), side=LEFT)
    for degrees in (35, 90, -120):
        turn = registering._turn(np.radians(degrees))
        (chip,) = P.chips(outline_of(line @ turn.T, heel), side=LEFT)
        assert chip.at_mm == pytest.approx(flat.at_mm, abs=5e-3)
        assert chip.depth_um == pytest.approx(flat.depth_um, rel=1e-2)
        assert chip.width_um == pytest.approx(flat.width_um, rel=0.1)


def test_a_chips_numbers_are_its_own_profiles():
    arc = np.arange(0, 2, chipping.STEP_MM)
    line = SimpleNamespace(edge_spread_um=9.0, scale=SimpleNamespace(um_per_px=12.0))
    dent = 5 * np.exp(-(((arc - 1) / 0.05) ** 2) / 2)
    chip = chipping._measured(arc, dent, 252, line, 0.2)
    wide = ((dent > 2.5).sum()) * 0.004
    true = math.sqrt(wide**2 - 8 * math.log(2) * (0.009**2 + 0.012**2))
    assert chip.at_mm == pytest.approx(1.0)
    assert chip.depth_um == pytest.approx(5)
    assert chip.width_um == pytest.approx(1000 * true)
    assert chip.corrected_um == pytest.approx(5 * wide / true)
    assert chip.sd_um == 0.2
    narrow = 5 * np.exp(-(((arc - 1) / 0.01) ** 2) / 2)
    chip = chipping._measured(arc, narrow, 250, line, 0.2)
    assert chip.corrected_um == pytest.approx(5 / 0.6)
    assert chip.width_um == pytest.approx(600 * (narrow > 2.5).sum() * 0.004)
    # A second dent beyond a tenth of a millimetre is none of it, nor what is beyond its reach.
    two = dent + 4 * np.exp(-(((arc - 1.12) / 0.004) ** 2) / 2)
    beside = chipping._measured(arc, two, 250, line, 0.2)
    assert beside.depth_um == pytest.approx(5)
    assert beside.width_um == pytest.approx(1000 * true)
    wide = 5 * np.exp(-(((arc - 1) / 0.2) ** 2) / 2)
    far = 1000 * math.sqrt((0.004 * (wide > 2.5).sum()) ** 2 - 8 * math.log(2) * 0.015**2)
    assert chipping._measured(arc, wide, 250, line, 0.2).width_um == pytest.approx(far)
    reach = int((2.5 * 0.015 + 0.06) / 0.004)
    for off, counts in ((reach, True), (reach + 1, False)):
        high = dent.copy()
        high[250 + off] = 9.0
        assert (chipping._measured(arc, high, 250, line, 0.2).depth_um == 9) == counts
        high = dent.copy()
        high[250 - off] = 9.0
        assert (chipping._measured(arc, high, 250, line, 0.2).depth_um == 9) == counts
    assert chipping._measured(arc, dent[::-1].copy(), 1, line, 0.2).at_mm < 0.2  # at the end


@pytest.mark.parametrize("half", [2.0, 4.0, 7.5])
def test_the_matched_kernel_finds_its_own_dent_as_1_and_an_even_line_as_nothing(half):
    kernel = chipping._kernel(half)
    reach = len(kernel) // 2
    assert reach == int(5 * half) + 1
    t = np.arange(-reach, reach + 1)
    dent = norm.pdf(t, scale=half) / norm.pdf(0, scale=half)
    assert kernel @ dent == pytest.approx(1)
    assert kernel.sum() == pytest.approx(0, abs=1e-12)
    np.testing.assert_allclose(kernel, kernel[::-1])
    want = dent - dent.mean()
    np.testing.assert_allclose(kernel, want / (want @ dent))
    noise = np.random.default_rng(0).standard_normal(4000)
    line = SimpleNamespace(edge_spread_um=1.0)
    sd = chipping._matched_sd(noise, half, 0.0, line)
    assert sd == pytest.approx(np.sqrt((kernel**2).sum()), rel=0.06)
    # Never below a fiftieth of the noise and a thousandth of the blur.
    assert chipping._matched_sd(0 * noise, half, 3.0, line) == pytest.approx(0.06)
    assert chipping._matched_sd(0 * noise, half, 0.0, line) == pytest.approx(1e-3)
    np.testing.assert_allclose(
        chipping._matched(noise, half)[200:300],
        [noise[k - reach : k + reach + 1] @ kernel for k in range(200, 300)],
    )


def test_the_smooth_run_is_a_weighted_parabola():
    rng = np.random.default_rng(3)
    half = 6
    t = np.arange(-half, half + 1) / half
    design = np.stack([np.ones_like(t), t, t * t], axis=1)
    xy, weight = rng.normal(size=(40, 2)), rng.uniform(0.2, 1, 40)
    run = chipping._local(xy, weight, design, half)
    for at in (6, 20, 33, 0, 2, 39):
        window = np.arange(max(at - half, 0), min(at + half, 39) + 1)
        fit = np.polynomial.polynomial.polyfit(
            (window - at) / half, xy[window], 2, w=np.sqrt(weight[window])
        )
        np.testing.assert_allclose(run[at], fit[0], atol=1e-6)


def test_dents_are_read_below_the_run_from_a_quarter_of_a_millimetre_on():
    line = chipped([(3.0, 8.0, 0.02)])
    arc, dent, noise = chipping._dents(line, LEFT)
    own = line.parts.side(LEFT, toe=False)
    along = np.abs(line.arc_mm[own] - line.arc_mm[own[0]])
    assert arc[0] == pytest.approx(0.25)
    np.testing.assert_allclose(np.diff(arc), 0.004)
    assert along[-1] - 0.004 <= arc[-1] < along[-1]
    at = line.points_mm[own[0], 0]
    want = 8 * np.exp(-(((arc + at - 3.0) / 0.02) ** 2) / 2)
    inside = slice(0, -200)
    np.testing.assert_allclose(dent[inside], want[inside], atol=0.6)
    assert noise < 0.2
    right = chipping._dents(line, RIGHT)[1]
    assert abs(right[:-200]).max() < 0.05


def test_small_wide_and_unsure_dents_are_no_chips():
    def count(*dents, **given):
        return len(P.chips(chipped(dents, **given), side=LEFT))

    quiet = {"noise_um": 0.005, "sd_um": 0.02, "edge_spread_um": 1.0}
    assert count((3.0, 0.45, 0.016), **quiet) == 0
    assert count((3.0, 0.9, 0.016), **quiet) == 1
    assert count((3.0, 4.0, 0.15), **quiet) == 0  # shape
    assert count((3.0, 4.0, 0.1), **quiet) == 1
    assert count((3.0, 4.0, 0.04), **quiet) == 1
    assert count((0.15, 5.0, 0.016), **quiet) == 0  # beside the heel
    assert count((3.0, 4.0, 0.016), (3.035, 3.9, 0.008), **quiet) == 1  # one place
    assert count((3.0, 4.0, 0.016), (3.3, 3.9, 0.016), **quiet) == 2
    assert count((3.0, 2.0, 0.008), noise_um=2.0) == 0
    found = P.chips(chipped([(4.0, 5.0, 0.016), (2.0, 3.0, 0.016)], **quiet), side=LEFT)
    assert [round(chip.at_mm) for chip in found] == [2, 4]


# ---- finding the blade ---------------------------------------------------------------------


def test_a_target_is_painted_over_with_the_ground():
    light = np.full((80, 120), 0.8, dtype=np.float32)
    light[20:50, 30:90] = 0.1
    polygon = np.array([[28.0, 18.0], [92.0, 18.0], [92.0, 52.0], [28.0, 52.0]])
    for ring in (polygon, polygon[::-1]):
        painted = silhouette._masked(light, ring)
        assert painted[20:50, 30:90].min() == np.float32(0.8)
        assert np.array_equal(painted, np.full_like(light, 0.8))
    assert light[30, 40] == np.float32(0.1)  # its own copy
    slant = np.array([[30.0, 20.0], [60.0, 20.0], [30.0, 50.0]])
    painted = silhouette._masked(light, slant)
    y, x = np.mgrid[:80, :120]
    inside = (x >= 30) & (y >= 20) & (x + y <= 80)
    assert np.array_equal(painted, np.where(inside, np.float32(0.8), light))
    beside = polygon + np.array([200, 0])
    assert silhouette._masked(light, beside) is light
    half = silhouette._masked(light, polygon + np.array([-40, -30]))
    assert (half[:23, :53] == np.float32(0.8)).all()
    assert np.array_equal(half[23:], light[23:])
    corner = silhouette._masked(light, polygon + np.array([35, 35]))
    assert (corner[53:, 63:] == np.float32(0.8)).all()
    uneven = np.random.default_rng(0).uniform(0.5, 0.9, (90, 90)).astype(np.float32)
    painted = silhouette._masked(uneven, polygon / 2)
    assert painted[15, 30] == np.float32(np.percentile(uneven, 90))
    tall = np.full((1000, 4), 0.2, dtype=np.float32)
    tall[::2] = 0.6
    ring = np.array([[-1.0, 9.0], [5.0, 9.0], [5.0, 12.0], [-1.0, 12.0]])
    # Of 1000 rows every second is looked at.
    assert (silhouette._masked(tall, ring)[9:13] == np.float32(0.6)).all()


def line_between(a, b, step=1.0):
    return resampled(np.array([a, b], dtype=float), step)


def test_the_blade_is_the_one_long_line_from_border_to_border():
    dark = np.zeros((200, 300), dtype=bool)
    ring = 30 * np.stack([np.cos(t := np.linspace(0, 2 * np.pi, 200)), np.sin(t)], 1) + 100
    ring[-1] = ring[0]
    long = line_between([0, 100], [299, 100])

    def choose(*lines):
        return silhouette._choose(list(lines), dark)

    assert choose(long) == (long, ())
    small = 0.2 * (ring - 100) + 50
    line, notes = choose(small, long, small + 20)
    assert line is long
    assert notes[0].startswith("2 small closed shapes")
    with pytest.raises(ek.Cannot, match="another shape lies beside"):
        choose(long, ring)
    # A fifth of the longest: 60 px round.
    for size, good in ((9.4, True), (9.6, False)):
        lone = size / 30 * (ring - 100) + 100
        if good:
            assert choose(long, lone)[0] is long
        else:
            with pytest.raises(ek.Cannot, match="another shape"):
                choose(long, lone)
    with pytest.raises(ek.Cannot, match="does not run out") as refused:
        choose(ring, ring + 5)
    assert "2 closed shapes" in str(refused.value)
    for end, good in ((80.5, True), (79.5, False)):
        short = line_between([0, 0], [end, 0])
        if good:
            assert choose(short)[0] is short
        else:
            with pytest.raises(ek.Cannot, match="no blade is to be seen"):
                choose(short)
    with pytest.raises(ek.Cannot, match="no blade is to be seen"):
        choose()
    # A second open line that is short does not count; 80 px and a fiftieth of the longest.
    assert choose(long, line_between([0, 0], [79, 0]))[0] is long
    dark[95:105] = True
    for y in (0.0,):
        with pytest.raises(ek.Cannot):
            choose(long, line_between([0, y], [81, y]))
    wide = np.zeros((200, 6000), dtype=bool)
    huge = line_between([0, 100], [5999, 100])
    assert silhouette._choose([huge, line_between([0, 0], [118, 0])], wide)[0] is huge
    with pytest.raises(ek.Cannot):
        silhouette._choose([huge, line_between([0, 0], [122, 0])], wide)


def test_two_lines_along_one_dark_thing_are_its_two_sides():
    dark = np.zeros((200, 300), dtype=bool)
    dark[90:111] = True
    one = [line_between([0, 89.5], [299, 89.5]), line_between([0, 110.5], [299, 110.5])]
    with pytest.raises(ek.Cannot, match="both ends"):
        silhouette._choose(one, dark)
    dark[150:161] = True
    two = [one[0], line_between([0, 149.5], [299, 149.5])]
    with pytest.raises(ek.Cannot, match="more than one dark thing") as refused:
        silhouette._choose(two, dark)
    assert "got 2" in str(refused.value)


def test_the_piece_along_a_line_is_that_of_most_of_its_neighbours():
    dark = np.zeros((40, 60), dtype=bool)
    dark[10:14, :20] = dark[10:14, 25:] = True
    label, _ = ndimage.label(dark)
    along = line_between([0, 9], [59, 9])
    assert silhouette._piece(label, along, dark) == 2
    assert silhouette._piece(label, line_between([0, 9], [30, 9]), dark) == 1
    assert silhouette._piece(label, line_between([0, 30], [59, 30]), dark) == 0
    assert silhouette._piece(label, line_between([-3, 14], [30, 14]), dark) == 1
    edge = np.zeros((40, 60), dtype=bool)
    edge[39, :] = edge[:, 59] = True
    label, _ = ndimage.label(edge)
    assert silhouette._piece(label, line_between([10, 40], [61, 40]), edge) == 1


def test_steel_lies_on_the_right_as_y_runs_up():
    light = np.full((60, 80), 0.8, dtype=np.float32)
    light[30:] = 0.1  # the lower half as seen
    line = line_between([5, 29.5], [70, 29.5])  # to the right: steel below is on its right
    assert silhouette._steel_on_the_right(light, line)
    assert not silhouette._steel_on_the_right(light, line[::-1])
    down = line_between([40, 5], [40, 50])
    left = np.full((60, 80), 0.8, dtype=np.float32)
    left[:, :40] = 0.1
    assert silhouette._steel_on_the_right(left, down)
    # Three pixels off: a rim of two does not count.
    rim = light.copy()
    rim[30:32] = 0.95
    rim[28:30] = 0.05
    assert silhouette._steel_on_the_right(rim, line)


def scene(light):
    picture = picture_of(light)
    return silhouette.blade_line(picture, plain_scale(picture), None)


def bar(size=(200, 300), dark=0.1, bright=0.8, rows=(80, 120), until=220):
    light = np.full(size, bright)
    light[rows[0] : rows[1], :until] = dark
    return ndimage.gaussian_filter(light, 0.8)


def test_a_blade_is_dark_on_a_ground_bright_by_a_step():
    line, notes = scene(bar())
    assert notes == ()
    assert line[0, 1] == pytest.approx(79.5, abs=0.1)  # the upper, left side first
    assert line[-1, 1] == pytest.approx(119.5, abs=0.1)
    assert line[:, 0].max() == pytest.approx(219.5, abs=0.2)
    np.testing.assert_allclose(np.hypot(*np.diff(line, axis=0).T)[5:80], 1, rtol=1e-3)
    for step, good in ((0.085, True), (0.075, False)):
        light = bar(dark=0.5 - step, bright=0.5)
        if good:
            assert len(scene(light).line_px) > 400
        else:
            with pytest.raises(ek.Cannot, match="no blade stands out"):
                scene(light)
    with pytest.raises(ek.Cannot, match="ground is darker"):
        scene(0.9 - bar())
    noise = np.random.default_rng(0).standard_normal((200, 300))
    for share, good in ((0.93, True), (1.07, False)):  # contrast of six in both scatters
        light = bar(rows=(20, 180)) + share * 0.7 / 6 / 2 * noise
        if good:
            assert len(scene(np.clip(light, 0, 1)).line_px) > 100
        else:
            with pytest.raises(ek.Cannot, match="no blade stands out"):
                scene(light)
    # More than half of the border is bright.
    filled = np.full((200, 300), 0.1)
    filled[:2] = filled[-2:] = 0.8
    filled[:, -2:] = 0.8
    assert (filled[[0, -1]] > 0.4).all()
    with pytest.raises(ek.Cannot):
        scene(np.where(np.arange(300) > 280, 0.8, 0.1) * np.ones((200, 1)))


@pytest.mark.parametrize("turn", range(4))
def test_more_than_half_of_the_border_is_bright_ground(turn):
    for deep, good in ((90, True), (110, False)):
        light = np.full((200, 200), 0.8)
        light[200 - deep :] = 0.1  # one side, and as much of the two beside it
        light = np.rot90(ndimage.gaussian_filter(light, 0.8), turn)
        if good:
            assert len(scene(light).line_px) > 190
        else:
            with pytest.raises(ek.Cannot, match="fills the frame"):
                scene(light)


def test_a_large_picture_is_searched_at_half_its_size_and_found_in_place():
    light = bar(size=(2000, 3100), rows=(800, 1200), until=2200)
    line, _ = scene(light)
    assert line[0, 1] == pytest.approx(799.5, abs=0.2)
    assert line[-1, 1] == pytest.approx(1199.5, abs=0.2)
    assert line[:, 0].max() == pytest.approx(2199.5, abs=0.3)


# ---- what the light does -------------------------------------------------------------------


def crossings_of(count=400, **changed):
    given = {
        "offset_px": np.zeros(count),
        "steepest_px": np.zeros(count),
        "sd_px": np.full(count, 0.01),
        "dark": np.full(count, 0.1),
        "bright": np.full(count, 0.7),
        "slope": np.full(count, 0.2),
        "met": np.ones(count, dtype=bool),
        "bump": np.zeros(count),
    }
    return Crossings(**given | changed)


def reading_of(seen, **changed):
    count = len(seen.met)
    given = {
        "line": np.zeros((count, 2)),
        "normals": np.zeros((count, 2)),
        "bend": np.zeros(count),
        "seen": seen,
        "clipped": np.zeros(count, dtype=bool),
        "blur_px": 1.0,
        "skew_px": 0.0,
        "skew_sd_px": 0.0,
    }
    return line_reading.LineReading(**given | changed)


def test_a_lines_profiles_stay_inside_the_picture():
    size, reach = (100, 80), 6.0
    line = line_between([0, 40], [99, 40])
    part = line_reading._inside(line, size, reach)
    assert part[0].tolist() == [8, 40]  # further than the reach and a pixel
    assert part[-1].tolist() == [91, 40]
    up = line_reading._inside(line_between([50, 0], [50, 79]), size, reach)
    assert (up[0, 1], up[-1, 1]) == (8, 71)
    with pytest.raises(ek.Cannot, match="along the border"):
        line_reading._inside(line_between([0, 5], [99, 5]), size, reach)
    dips = np.concatenate([line_between([8, 40], [50, 7]), line_between([51, 7], [91, 40])])
    with pytest.raises(ek.Cannot, match="touches the border elsewhere"):
        line_reading._inside(dips, size, reach)


OFFSETS = np.arange(-8, 8.25, 0.5)


@pytest.mark.parametrize("blur", [0.6, 1.0, 2.0])
@pytest.mark.parametrize("wander", [0.0, 0.3])
def test_blur_and_skew_are_those_of_the_mean_profile(blur, wander):
    count = 400
    places = wander * np.sin(np.arange(count) / 40)
    profiles = 0.1 + 0.6 * norm.cdf(OFFSETS, places[:, None], blur)
    seen = crossings_of(count, offset_px=places)
    found, skew, sd = line_reading._spread(OFFSETS, profiles, seen)
    assert found == pytest.approx(blur, rel=0.06 if wander else 0.03)
    assert skew == pytest.approx(0, abs=1e-3)
    assert sd < 1e-3
    # One-sided: a share of the light comes from further on the bright side.
    lop = 0.1 + 0.6 * (0.8 * norm.cdf(OFFSETS, 0, blur) + 0.2 * norm.cdf(OFFSETS, 1.0, blur))
    cross = np.interp(0.4, lop, OFFSETS)
    seen = crossings_of(count, offset_px=np.full(count, cross))
    _, skew, _ = line_reading._spread(OFFSETS, np.tile(lop, (count, 1)), seen)
    assert skew == pytest.approx(0.2 - cross, abs=2e-3)


def test_skew_is_the_median_of_twenty_runs_with_the_error_of_that():
    count = 400
    area = np.random.default_rng(4).normal(0, 0.05, 20).repeat(20)
    profiles = 0.1 + 0.6 * norm.cdf(OFFSETS, area[:, None], 0.9)
    _, skew, sd = line_reading._spread(OFFSETS, profiles, crossings_of(count))
    runs = area[::20]
    assert skew == pytest.approx(np.median(runs), abs=1e-4)
    spread = np.median(np.abs(runs - np.median(runs))) / norm.ppf(0.75)
    assert sd == pytest.approx(1.25 * spread / np.sqrt(20), rel=2e-3)  # 1.25: √(π/2), a median's
    for offset, good in ((1.49, True), (1.51, False)):
        seen = crossings_of(count, offset_px=np.full(count, offset))
        profiles = 0.1 + 0.6 * norm.cdf(OFFSETS, np.full((count, 1), offset), 0.9)
        blur, _, _ = line_reading._spread(OFFSETS, profiles, seen)
        assert (blur == 1.0) != good
    for number, good in ((19, False), (20, True)):
        met = np.arange(count) < number
        found = line_reading._spread(
            OFFSETS, 0.1 + 0.6 * norm.cdf(OFFSETS, np.zeros((count, 1)), 0.7), crossings_of(met=met)
        )
        assert (found != (1.0, 0.0, 0.0)) == good
    sharp = 0.1 + 0.3 * (1 + np.sign(OFFSETS)) * np.ones((count, 1))
    assert line_reading._spread(OFFSETS, sharp, crossings_of(count))[0] == pytest.approx(
        0.2, abs=1e-9
    )


def test_a_line_is_read_again_over_four_blurs_and_two_pixels_or_six(monkeypatch):
    asked = []
    monkeypatch.setattr(
        line_reading.LineReading,
        "_read",
        classmethod(lambda *given: asked.append((given[3], given[4], len(given[2])))),
    )
    line = line_between([0, 0], [99, 0])
    line_reading.LineReading.first(None, line)
    for blur in (0.5, 1.0, 1.5):
        reading_of(crossings_of(100), line=line, blur_px=blur).again(None)
    assert asked == [(8, 1.0, 100), (6, 0.5, 100), (6, 1.0, 100), (8, 1.5, 100)]
    for met, good in ((40, True), (39, False)):
        seen = crossings_of(100, met=np.arange(100) < met)
        if good:
            reading_of(seen, line=line).again(None)
            assert asked[-1][2] == 40  # what was met
        else:
            with pytest.raises(ek.Cannot, match="hardly any edge"):
                reading_of(seen, line=line).again(None)


def test_light_that_moves_an_edge_is_refused_at_its_limits():
    picture = SimpleNamespace(response="sRGB")

    def refused(words, seen=None, **changed):
        line = reading_of(seen or crossings_of(), **changed)
        if words is None:
            line_reading.refuse_bad_light(picture, line)
            return
        with pytest.raises(ek.Cannot, match=words):
            line_reading.refuse_bad_light(picture, line)

    refused(None)
    for blur, skew, good in (
        (1.0, 0.119, True),
        (1.0, 0.121, False),
        (0.2, 0.049, True),
        (0.2, 0.051, False),
        (2.0, -0.239, True),
        (2.0, -0.241, False),
    ):
        refused(None if good else "one-sided", blur_px=blur, skew_px=skew)
    for blur, skew in ((1.0, 0.12), (0.2, 0.05)):  # at the very limit
        refused(None, blur_px=blur, skew_px=skew)
    for number, good in ((8, True), (9, False)):  # of 400
        clipped = np.arange(400) < number
        refused(None if good else "clipped beside the edge", clipped=clipped)
    # The scatter of an even spread is 0.8 of its width over 2.563.
    for end, limit in (("dark", 0.05), ("bright", 0.25)):
        for share, good in ((0.98, True), (1.02, False)):
            wide = share * limit * 0.6 / 0.8 * 2.563
            level = {"dark": 0.1, "bright": 0.7}[end]
            values = np.linspace(level - wide / 2, level + wide / 2, 400)
            refused(None if good else "even dark silhouette", crossings_of(**{end: values}))
    for number, good in ((99, True), (101, False)):
        bump = np.where(np.arange(400) < number, 0.13, 0.0)
        refused(None if good else "two readings of the edge", crossings_of(bump=bump))


def test_what_is_clipped_is_said_with_its_share_on_a_bright_ground():
    seen = crossings_of(bright=np.where(np.arange(400) < 100, 0.7, 0.1))  # elsewhere no brighter
    with pytest.raises(ek.Cannot, match=r"10% of the outline, 25% of it on a bright"):
        line_reading._refuse_clipped(reading_of(seen, clipped=np.arange(400) < 40))


def test_ends_may_vary_up_to_their_limits(monkeypatch):
    for dark, bright, good in ((0.05, 0.25, True), (0.0501, 0.0, False), (0.0, 0.2501, False)):
        scatters = iter((dark, bright))
        monkeypatch.setattr(line_reading, "_scatter", lambda _, s=scatters: next(s))
        seen = crossings_of(dark=np.zeros(400), bright=np.ones(400))
        if good:
            line_reading._refuse_uneven(seen)
        else:
            with pytest.raises(ek.Cannot, match="even dark silhouette"):
                line_reading._refuse_uneven(seen)
    flagged = np.arange(400) < 100  # a quarter
    monkeypatch.undo()
    seen = crossings_of(bump=np.where(flagged, 0.13, 0.12))
    line_reading.refuse_bad_light(SimpleNamespace(response=""), reading_of(seen))


def test_scatter_is_that_of_the_middle_four_fifths():
    values = norm.ppf((np.arange(2000) + 0.5) / 2000) * 0.3 + 5
    assert line_reading._scatter(values) == pytest.approx(0.3, rel=2e-3)
    values[:150] = -99
    assert line_reading._scatter(values) == pytest.approx(0.3, rel=2e-3)


def test_two_readings_disagree_by_015_px_in_the_mean_over_fifteen_points():
    apart = np.zeros(400)
    apart[100:200] = 0.16
    apart[300:310] = 0.16
    met = np.ones(400, dtype=bool)
    found = line_reading.disagreeing(reading_of(crossings_of(steepest_px=apart)))
    assert found[108:192].all()
    assert not found[:90].any()
    assert not found[290:320].any()  # ten of fifteen
    shifted = crossings_of(steepest_px=apart + 0.3, offset_px=np.full(400, 0.3))
    assert np.array_equal(line_reading.disagreeing(reading_of(shifted)), found)
    low = line_reading.disagreeing(reading_of(crossings_of(steepest_px=-0.91 * apart)))
    assert not low.any()
    met[100:200] = False
    assert not line_reading.disagreeing(reading_of(crossings_of(steepest_px=apart, met=met)))[
        100:200
    ].any()
    bump = np.where(np.arange(400) == 7, 0.121, 0.119)
    seen = line_reading.disagreeing(reading_of(crossings_of(bump=bump)))
    assert np.flatnonzero(seen).tolist() == [7]
    # Four standard deviations of a mean of fifteen whose neighbours share their noise by half.
    noise = 0.2 * np.random.default_rng(0).standard_normal(400)
    mean = ndimage.uniform_filter1d(noise, 15, mode="nearest")
    own = np.median(np.abs(noise - mean)) / norm.ppf(0.75) / np.sqrt(7.5)
    for share in (3.7, 4.4):
        bias = noise.copy()
        bias[193:208] += share * own - mean[200]
        again = ndimage.uniform_filter1d(bias, 15, mode="nearest")
        limit = np.median(np.abs(bias - again)) / norm.ppf(0.75) / np.sqrt(7.5)
        assert line_reading.disagreeing(reading_of(crossings_of(steepest_px=bias)))[200] == (
            abs(again[200]) > 4 * limit
        )


def test_soft_is_less_than_065_of_the_sharpest_quarter():
    slope = np.full(400, 0.2)
    slope[100:200] = 0.126
    slope[250:350] = 0.134
    found = line_reading.soft(reading_of(crossings_of(slope=slope)))
    assert found[116:184].all()
    assert not found[:90].any()
    assert not found[240:].any()
    # Steepness counts against the step: a weaker edge is not a softer one.
    weak = crossings_of(slope=slope, bright=0.1 + 3 * slope)
    assert not line_reading.soft(reading_of(weak)).any()
    slope[:] = 0.2
    slope[100:115] = 0.0  # fifteen of thirty
    assert line_reading.soft(reading_of(crossings_of(slope=slope)))[107]
    slope[105:115] = 0.2
    assert not line_reading.soft(reading_of(crossings_of(slope=slope))).any()


def test_noise_of_averaged_offsets_keeps_its_share_and_the_grids():
    rng = np.random.default_rng(0)
    sd = rng.uniform(0.02, 0.04, 4000)
    left = 0.4 / math.hypot(1.0, 0.4)
    none = blade_outline._noise(np.zeros(4000), np.zeros(4000), sd)
    np.testing.assert_allclose(none, np.sqrt(left * sd**2 + 0.01**2))
    apart = 0.1 * norm.ppf((np.arange(4000) + 0.5) / 4000)
    grid = 0.1**2 - np.median(sd**2) * (1 - left)
    np.testing.assert_allclose(
        blade_outline._noise(apart, np.zeros(4000), sd),
        np.sqrt(left * sd**2 + grid + 0.01**2),
        rtol=1e-4,
    )


def test_a_kink_is_a_bend_of_five_a_millimetre_away_from_the_toe():
    none = np.zeros(100, dtype=bool)
    line = reading_of(crossings_of(100))
    bend = np.where(np.arange(100) % 2, 5.01, -5.01)
    flags = blade_outline._quality(line, np.zeros(100), bend, SimpleNamespace(cap=(40, 60)))
    kink = np.flatnonzero(flags == blade_outline.Quality.KINK)
    assert kink.tolist() == [*range(28), *range(73, 100)]
    early = blade_outline._quality(line, np.zeros(100), bend, SimpleNamespace(cap=(5, 60)))
    assert np.flatnonzero(early).tolist() == list(range(73, 100))
    straight = blade_outline._quality(
        line, np.full(100, 0.499), bend * 4.99 / 5.01, SimpleNamespace(cap=(40, 60))
    )
    assert not straight.any()
    loud = blade_outline._quality(line, np.full(100, 0.501), 0 * bend, SimpleNamespace(cap=(4, 6)))
    assert (loud == blade_outline.Quality.NOISY).all()
    clipped = none.copy()
    clipped[7] = True
    seen = crossings_of(100, met=np.arange(100) != 9)
    flags = blade_outline._quality(
        reading_of(seen, clipped=clipped), np.zeros(100), 0 * bend, SimpleNamespace(cap=(4, 6))
    )
    assert flags[[7, 8, 9]].tolist() == [
        blade_outline.Quality.CLIPPED,
        0,
        blade_outline.Quality.WEAK,
    ]


def test_what_the_response_may_have_moved_an_edge_by():
    line = SimpleNamespace(skew_px=0.05, skew_sd_px=0.03, blur_px=0.8)
    stated, taken = (SimpleNamespace(response_stated=flag) for flag in (True, False))
    assert blade_outline._response(stated, line) == pytest.approx(16 * 0.04)
    assert blade_outline._response(taken, line) == pytest.approx(math.hypot(0.64, 0.57 * 0.8))
    quiet = SimpleNamespace(skew_px=0.02, skew_sd_px=0.03, blur_px=0.8)
    assert blade_outline._response(stated, quiet) == 0


def test_blades_are_of_sizes_that_blades_have():
    for word, low, high in (("long", 1.5, 40.0), ("wide", 0.2, 4.0)):
        limits = {"long": blade_outline._LENGTHS_MM, "wide": blade_outline._WIDTHS_MM}[word]
        for good in (low * 1.001, high * 0.999):
            blade_outline._check_size(word, good, limits)
        for bad in (low, high, low * 0.999, high * 1.001):
            with pytest.raises(ek.Cannot, match=f"mm {word}"):
                blade_outline._check_size(word, bad, limits)
    line = outline_of(stadium(half=0.45, lean=0.05))
    # Half of the way back from the apex to the nearer end.
    back = line.arc_mm[-1] / 4
    k = int(np.searchsorted(line.arc_mm, line.arc_mm[line.parts.toe] - back))
    away = np.hypot(*(line.points_mm[line.parts.toe + 1 :] - line.points_mm[k]).T).min()
    assert blade_outline._width(line.points_mm, line.parts) == pytest.approx(away)
    short = outline_of(np.concatenate([stadium()[:-1], [[3.0, -0.45]]]))
    assert blade_outline._width(short.points_mm, short.parts) == pytest.approx(0.9, abs=2e-3)


def test_an_outline_says_in_a_line_what_it_is():
    line = outline_of(DRAWN.polygon_mm, HEEL)
    assert repr(line) == (
        f"own: outline of {len(line.points_mm)} points, noise 0.30 µm, blur 8.0 µm, 100% good, "
        "heel given"
    )
    bad = np.zeros(len(line.points_mm), dtype=np.uint8)
    bad[: len(bad) // 4] = 1
    said = repr(outline_of(DRAWN.polygon_mm, None, quality=bad))
    assert "75% good, heel not given\n" in said
    codes = {flag.name: int(flag) for flag in blade_outline.Quality}
    assert sorted(codes.values()) == [1, 2, 4, 8, 16, 32]


# ---- one outline over another --------------------------------------------------------------


def pinhole(points, turn_deg=0.0, shift=(0.0, 0.0), tilt=(0.0, 0.0), height=0.0, distance=120.0):
    """What a lens over the middle of the picture sees of a blade so placed, in the plane [mm]."""
    at = rendering.placed(
        points, turn_deg=turn_deg, shift_mm=shift, tilt_deg=tilt, height_mm=height
    )
    return at[:, :2] * (distance / (distance - at[:, 2:]))


BEFORE = outline_of(DRAWN.polygon_mm, HEEL)


def laid(second, datum=P.Datum.UNUSED_EDGE_AND_SHANK, mount=MOUNT, first=BEFORE):
    return registering.register(first, second, datum, LEFT, mount)


def test_an_outline_is_laid_back_where_it_came_from():
    second = outline_of(pinhole(DRAWN.polygon_mm, turn_deg=3.0, shift=(0.2, -0.1)), HEEL)
    fit = laid(second)
    moved = fit.move(second.points_mm)
    own = BEFORE.points_mm
    inner = slice(60, -60)
    near = ((moved[inner, None] - own[None]) ** 2).sum(axis=2).argmin(axis=1)
    apart = ((moved[inner] - own[near]) * BEFORE.normals[near]).sum(axis=1)
    assert np.sqrt((apart**2).mean()) < 2e-5
    assert fit.numbers[2] == pytest.approx(-np.radians(3), abs=2e-5)
    assert abs(fit.numbers[3:]).max() < 1e-4
    assert fit.residual_um < 1
    assert fit.strain < 0.1


@pytest.mark.parametrize(
    "mounted",
    [{"height": 0.15}, {"tilt": (1.5, 0.0)}, {"tilt": (0.0, 1.5)}, {"tilt": (1.5, -1.5)}],
    ids=["height", "roll", "pitch", "both"],
)
def test_height_and_tilt_are_taken_out_by_the_datum(mounted):
    second = outline_of(pinhole(DRAWN.polygon_mm, turn_deg=1.0, **mounted), HEEL)
    mount = P.Mount(distance_mm=120, tilt_sd_deg=1.5, height_sd_mm=0.15)
    fit = laid(second, mount=mount)
    moved = fit.move(second.points_mm)
    used = second.parts.side(LEFT, toe=False)
    own = BEFORE.points_mm
    near = ((moved[used, None] - own[None]) ** 2).sum(axis=2).argmin(axis=1)
    apart = ((moved[used] - own[near]) * BEFORE.normals[near]).sum(axis=1)
    assert np.sqrt((apart**2).mean()) < 5e-4
    assert 0.05 < fit.strain < 1.5


def test_the_displacements_of_a_registration_are_the_pinholes_own():
    axes = np.array([[np.cos(0.3), np.sin(0.3)], [-np.sin(0.3), np.cos(0.3)]])
    view = registering._View(np.array([1.0, -2.0]), axes, np.array([0.5, 0.7]), 120.0)
    rng = np.random.default_rng(2)
    arm = rng.normal(size=(20, 2))
    fields = view.fields(arm)
    along, across = arm @ axes[0], arm @ axes[1]
    seen = (arm - [0.5, 0.7]) / 120
    want = [
        np.tile([1.0, 0.0], (20, 1)),
        np.tile([0.0, 1.0], (20, 1)),
        np.stack([-arm[:, 1], arm[:, 0]], axis=1),
        along[:, None] * axes[0],
        across[:, None] * axes[1],
        along[:, None] * axes[1] + across[:, None] * axes[0],
        along[:, None] * seen,
        across[:, None] * seen,
    ]
    np.testing.assert_allclose(fields, want, atol=1e-14)
    normals = rng.normal(size=(20, 2))
    np.testing.assert_allclose(
        view.rows(arm, normals), np.stack([(w * normals).sum(axis=1) for w in want], axis=1)
    )
    numbers = np.array([0.1, -0.2, 0.4, 0.01, -0.02, 0.03, 0.5, -0.6])
    c, s = np.cos(0.4), np.sin(0.4)
    turned = (arm) @ np.array([[c, s], [-s, c]])
    shape = np.tensordot(numbers[3:], view.fields(turned)[3:], 1)
    np.testing.assert_allclose(
        view.moved(arm + np.array([1.0, -2.0]), numbers),
        turned + (np.array([1.0, -2.0]) + numbers[:2]) + shape,
    )
    fit = registering.Registration(
        numbers,
        view,
        rng.normal(size=(8, 5)),
        rng.normal(size=(5, 2)),
        rng.normal(size=(5, 2)),
        np.eye(8),
        np.eye(8),
        1.0,
        0.5,
    )
    np.testing.assert_allclose(
        fit.rows(arm + np.array([1.0, -2.0]), normals), view.rows(arm, normals)
    )
    np.testing.assert_allclose(fit.move(arm), view.moved(arm, numbers))
    field, at = rng.normal(size=(20, 2)), rng.normal(size=(5, 2))
    shown = fit.solve @ (at * fit.datum_normals).sum(axis=1)
    np.testing.assert_allclose(
        fit.error_from(field, at, arm, normals),
        (field * normals).sum(axis=1) - view.rows(arm - [1.0, -2.0], normals) @ shown,
    )


def test_what_is_known_of_two_mounts_is_the_spread_of_drawn_ones():
    rng = np.random.default_rng(3)
    mount = P.Mount(distance_mm=100, tilt_sd_deg=2.0, height_sd_mm=0.3)
    roll, pitch = np.radians(2.0) * rng.standard_normal((2, 2, 300_000))
    height = 0.3 * rng.standard_normal((2, 300_000)) / 100
    stretch = [height[0] - height[1] - (turn[0] ** 2 - turn[1] ** 2) / 2 for turn in (pitch, roll)]
    shear = (roll[0] * pitch[0] - roll[1] * pitch[1]) / 2
    spread = np.linalg.inv(registering._prior(mount))
    np.testing.assert_allclose(spread[3:5, 3:5], np.cov(stretch), rtol=0.02)
    assert spread[5, 5] == pytest.approx(shear.var(), rel=0.02)
    for k, turn in ((6, pitch), (7, roll)):
        assert spread[k, k] == pytest.approx((turn[0] - turn[1]).var(), rel=0.02)
    assert np.sqrt(np.diag(spread)[:3]) == pytest.approx([0.05, 0.05, 0.01])
    off = spread - np.diag(np.diag(spread))
    off[3, 4] = off[4, 3] = 0
    assert not off.any()
    still = registering._prior(P.Mount(distance_mm=100, tilt_sd_deg=0.0, height_sd_mm=0.0))
    np.testing.assert_allclose(np.diag(still)[3:], 1e14, rtol=1e-6)


def test_a_datum_is_what_was_not_ground_but_for_a_tenth_beside_heel_and_toe():
    line = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0))
    told, arc = line.parts, line.arc_mm
    heels = arc[list(told.heel)]
    for used, unused in ((LEFT, RIGHT), (RIGHT, LEFT)):
        shank = registering.datum_points(line, P.Datum.SHANK, used)
        want = [k for k in told.shank if np.abs(arc[k] - heels).min() > 0.1]
        assert shank.tolist() == sorted(want)
        edge = registering.datum_points(line, P.Datum.UNUSED_EDGE, used)
        ends = [*heels, *arc[list(told.cap)]]
        want = [k for k in told.side(unused, toe=False) if np.abs(arc[k] - ends).min() > 0.1]
        assert edge.tolist() == sorted(want)
        both = registering.datum_points(line, P.Datum.UNUSED_EDGE_AND_SHANK, used)
        assert both.tolist() == sorted([*shank, *edge])
    bad = np.ones(len(arc), dtype=np.uint8)
    keep = registering.datum_points(line, P.Datum.SHANK, LEFT)
    for count, good in ((40, True), (39, False)):
        bad[:] = 1
        bad[keep[:count]] = 0
        some = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), quality=bad)
        if good:
            assert (
                registering.datum_points(some, P.Datum.SHANK, LEFT).tolist() == keep[:40].tolist()
            )
        else:
            with pytest.raises(ek.Cannot, match="hardly to be seen"):
                registering.datum_points(some, P.Datum.SHANK, LEFT)


def test_a_start_lays_heel_and_toe_on_one_another():
    second = outline_of(pinhole(DRAWN.polygon_mm, turn_deg=170.0, shift=(0.3, 0.2)), HEEL)
    centre = second.points_mm.mean(axis=0)
    x, y, angle = registering._start(BEFORE, second, centre)
    assert angle == pytest.approx(-np.radians(170), abs=2e-3)
    back = registering._start(second, BEFORE, centre)[2]
    assert back == pytest.approx(np.radians(170), abs=2e-3)
    toe = (np.array(second.parts.toe_mm) - centre) @ registering._turn(angle).T + centre + [x, y]
    assert toe == pytest.approx(BEFORE.parts.toe_mm, abs=1e-9)
    along, across = registering.blade_axes(BEFORE)
    heel = BEFORE.points_mm[list(BEFORE.parts.heel)].mean(axis=0)
    want = np.array(BEFORE.parts.toe_mm) - heel
    assert along == pytest.approx(want / np.hypot(*want))
    assert across == pytest.approx([-along[1], along[0]])
    nothing = outline_of(DRAWN.polygon_mm)
    ends = nothing.points_mm[[0, -1]].mean(axis=0)
    assert registering._axis(nothing)[0] == pytest.approx(ends)
    np.testing.assert_allclose(registering._turn(0.3) @ [1, 0], [np.cos(0.3), np.sin(0.3)])
    np.testing.assert_allclose(registering.lens_mm(BEFORE), [0, 0], atol=1e-12)
    assert registering._robust(norm.ppf((np.arange(999) + 0.5) / 999) + 7) == pytest.approx(
        1, rel=2e-3
    )


def test_two_datums_agree_in_more_than_forty_points_to_thirty_micrometres():
    registering._check_agreement(41, 0.0299)
    for points, scatter in ((40, 0.01), (100, 0.03), (100, math.nan)):
        with pytest.raises(ek.Cannot, match="does not agree"):
            registering._check_agreement(points, scatter)


def test_a_strain_is_in_standard_deviations_of_the_mount_and_stops_at_three():
    second = outline_of(pinhole(DRAWN.polygon_mm, height=0.3), HEEL)
    # All five: two stretches of -0.0025 that go together, none of the others.
    seen = []
    for sd in (0.3, 0.15):
        mount = P.Mount(distance_mm=120, tilt_sd_deg=0.02, height_sd_mm=sd)
        seen.append(laid(second, mount=mount).strain)
        want = 0.3 / (math.sqrt(2) * sd) / math.sqrt(5)
        assert seen[-1] == pytest.approx(want, rel=0.1)
    for strain, good in ((2.95, True), (3.05, False)):
        sd = 0.15 * seen[1] / strain
        mount = P.Mount(distance_mm=120, tilt_sd_deg=0.02, height_sd_mm=sd)
        if good:
            assert laid(second, mount=mount).strain == pytest.approx(strain, rel=0.01)
        else:
            with pytest.raises(ek.Cannot, match="by far more than height and tilt"):
                laid(second, mount=mount)


def test_the_error_of_a_registration_is_that_of_drawn_noise():
    mount = P.Mount(distance_mm=120, tilt_sd_deg=0.3, height_sd_mm=0.05)
    numbers, stated = [], None
    for seed in range(40):
        second = outline_of(DRAWN.polygon_mm, HEEL, noise_um=1.0, seed=seed, sd_um=1.0)
        fit = laid(second, mount=mount)
        numbers.append(fit.numbers)
        stated = fit
    seen, want = np.std(numbers, axis=0), np.sqrt(np.diag(stated.covariance))
    # Independent noise here, so less by the root of 1.5, by which neighbours' shared noise counts.
    ratio = seen[:3] * math.sqrt(1.5) / want[:3]
    assert (ratio > 0.6).all()
    assert (ratio < 1.5).all()
    assert stated.residual_um == pytest.approx(1.0, rel=0.15)
    assert np.abs(stated.prior_left[:3, :3]).max() < 1


def test_specks_pull_with_bounded_force():
    clean = laid(outline_of(DRAWN.polygon_mm, HEEL, noise_um=0.3, seed=1))
    line = outline_of(DRAWN.polygon_mm, HEEL, noise_um=0.3, seed=1)
    points = line.points_mm.copy()
    shank = line.parts.shank
    points[shank[30:45]] += 0.02 * line.normals[shank[30:45]]
    dusty = laid(outline_of_points(line, points))
    moved = dusty.numbers - clean.numbers
    assert abs(moved[:2]).max() < 1.5e-4


def outline_of_points(line, points):
    names = list(line.__dataclass_fields__)
    return Outline(**{n: getattr(line, n) for n in names} | {"points_mm": points})


# ---- stations and losses -------------------------------------------------------------------


def test_stations_stand_a_twentieth_of_a_millimetre_apart_from_a_tenth_on():
    for side in (LEFT, RIGHT):
        line = outline_of(stadium(), P.EdgeLength(side=side, length_mm=5.003))
        stations = edge_stations.EdgeStations.of(line, side)
        assert stations.arc[0] == pytest.approx(0.125)
        np.testing.assert_allclose(np.diff(stations.arc), 0.05)
        assert stations.own_arc[0] == line.parts.past_heel_mm[0 if side is LEFT else 1]
        assert stations.own_arc[-1] == pytest.approx(5.003, abs=7e-3)
        assert 0.025 <= stations.own_arc[-1] - stations.arc[-1] < 0.075
        assert stations.along[10] == pytest.approx([1, 0], abs=1e-9)
        assert (stations.own == line.parts.side(side)).all()
    with pytest.raises(ek.Cannot, match="too short"):
        edge_stations.EdgeStations.of(
            outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=0.285)), LEFT
        )
    few = edge_stations.EdgeStations.of(
        outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=0.33)), LEFT
    )
    assert len(few.arc) == 4


def still(line):
    """A registration that moves nothing."""
    return SimpleNamespace(move=lambda points: points)


def test_offsets_are_read_inward_and_square_to_the_edge():
    heel = P.EdgeLength(side=LEFT, length_mm=5.0)
    line = outline_of(stadium(), heel)
    stations = edge_stations.EdgeStations.of(line, LEFT)
    worn = resampled(stadium(), UM / 1000)
    on = worn[:, 1] > 0.4
    depth = 0.004 + 0.002 * (worn[:, 0] - 4)
    worn[:, 1] -= np.where(on, depth, 0)
    after = outline_of(worn, heel)
    offset, seen = stations.read(after, still(after))
    straight = stations.arc < 4
    x = line.points_mm[stations.own[0], 0] + stations.arc - line.parts.past_heel_mm[0]
    np.testing.assert_allclose(offset[straight], (0.004 + 0.002 * (x - 4))[straight], atol=2e-5)
    assert seen[straight].all()
    # Bad points are not read; a station without any takes its neighbours' line and says so.
    bad = np.zeros(len(after.points_mm), dtype=np.uint8)
    hole = np.abs(after.points_mm[:, 0] - x[20]) < 0.03
    bad[hole & (after.points_mm[:, 1] > 0)] = 2
    spoiled = outline_of(worn, heel, quality=bad)
    again, seen = stations.read(spoiled, still(after))
    assert not seen[20]
    assert seen[[15, 25]].all()
    np.testing.assert_allclose(again[straight], offset[straight], atol=5e-5)
    good = edge_stations.EdgeStations.of(outline_of(stadium(), heel, quality=bad), LEFT).good()
    assert not good[20]
    assert good[[18, 22]].all()
    for most, fine in ((0.45, True), (0.55, False)):
        bad = np.zeros(len(after.points_mm), dtype=np.uint8)
        bad[after.points_mm[:, 0] < x[int(most * len(x))]] = 1
        spoiled = outline_of(worn, heel, quality=bad)
        if fine:
            assert stations.read(spoiled, still(after))[1].mean() == pytest.approx(0.55, abs=0.02)
        else:
            with pytest.raises(ek.Cannot, match="no good edge at most stations"):
                stations.read(spoiled, still(after))
    before, afters, all_seen = stations.read_all(
        (line, line), (after,), (still(line), still(after))
    )
    assert before.shape == (2, len(x))
    assert afters.shape == (1, len(x))
    assert not before[0].any()
    np.testing.assert_allclose(before[1], 0, atol=1e-12)
    np.testing.assert_allclose(afters[0], offset)
    assert all_seen.any()


def test_a_station_is_the_mean_of_its_own_points():
    line = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), sd_um=0.6)
    stations = edge_stations.EdgeStations.of(line, LEFT)
    place, normal, noise = stations.at()
    x = line.points_mm[stations.own[0], 0] - line.parts.past_heel_mm[0]
    straight = stations.arc < 4
    np.testing.assert_allclose(place[straight, 0], x + stations.arc[straight], atol=0.0125)
    np.testing.assert_allclose(normal[straight], np.tile([0, 1], (straight.sum(), 1)), atol=1e-9)
    spacing = np.median(np.diff(stations.own_arc))
    np.testing.assert_allclose(noise, 0.6 / np.sqrt(0.05 / spacing / 1.5))
    coarse = stations._replace(own_arc=stations.own_arc * 10)
    np.testing.assert_allclose(coarse.at()[2][:3], 0.6)


@pytest.mark.parametrize("distance", [60.0, 120.0])
def test_what_a_unit_of_each_cause_moves_is_what_it_moves_an_outline_by(distance):
    """Each outline moved by a small height, roll or pitch and laid on the first again."""
    mount = P.Mount(distance_mm=distance, tilt_sd_deg=0.5, height_sd_mm=0.05)
    stations = edge_stations.EdgeStations.of(BEFORE, LEFT)
    plain = laid(BEFORE, mount=mount)
    made = loss_parts(stations.at(), plain, BEFORE, mount, (2, 3))
    assert made.counts == (2, 3)
    blade = np.setdiff1d(np.arange(len(BEFORE.points_mm)), BEFORE.parts.shank)
    pivot = BEFORE.points_mm[blade].mean(axis=0)
    along, across = registering.blade_axes(BEFORE)
    points = resampled(DRAWN.polygon_mm, UM / 1000)

    def offsets(height=0.0, roll=0.0, pitch=0.0):
        """Inward offset (S,) [µm] of the outline raised, and leaning about the blade's middle."""
        arm = points - pivot
        x, y = arm @ along, arm @ across
        z = height + roll * y + pitch * x
        flat = (
            pivot
            + (1 - pitch**2 / 2) * x[:, None] * along
            + (1 - roll**2 / 2) * y[:, None] * across
        )
        flat = flat - roll * pitch / 2 * (y[:, None] * along + x[:, None] * across)
        seen = flat * (distance / (distance - z))[:, None]
        second = outline_of(seen, HEEL)
        return 1000 * stations.read(second, laid(second, mount=mount))[0]

    base = offsets()
    inner = stations.arc < stations.arc[-1] - 1.0  # round the toe a pixel's step is seen
    inner[:5] = False

    def close(got, want, unit):
        scale = np.abs(want[inner]).max()
        assert np.abs((got - want)[inner]).max() < 0.12 * scale + 0.02 / unit

    close((offsets(height=0.05) - offsets(height=-0.05)) / 0.1, made.height, 0.1)
    t = np.radians(0.5)
    close((offsets(roll=t) - offsets(roll=-t)) / (2 * t), made.roll, 2 * t)
    close((offsets(pitch=t) - offsets(pitch=-t)) / (2 * t), made.pitch, 2 * t)
    t = np.radians(1.0)
    for name, turn in (("roll2", {"roll": t}), ("pitch2", {"pitch": t})):
        back = {key: -value for key, value in turn.items()}
        even = (offsets(**turn) + offsets(**back)) / 2 - base
        close(even / t**2, getattr(made, name), t**2)
    assert np.isfinite(made.both).all()


def test_what_each_cause_moves_where_the_datum_takes_nothing_out():
    rng = np.random.default_rng(4)
    place, normal, noise = rng.normal(size=(6, 2)), rng.normal(size=(6, 2)), rng.uniform(size=6)
    datum = rng.normal(size=(9, 2))
    axes = registering._turn(0.4).T
    root, rows = rng.normal(size=(8, 8)), rng.normal(size=(6, 8))
    seen = []

    def error_from(here, there, points, normals):
        seen.append(there)
        assert points is place
        return (here * normals).sum(axis=1)

    fit = SimpleNamespace(
        datum_mm=datum,
        view=SimpleNamespace(axes=axes),
        covariance=root @ root.T,
        prior_left=rng.normal(size=(8, 8)),
        rows=lambda *_: rows,
        error_from=error_from,
    )
    made = loss_parts((place, normal, noise), fit, BEFORE, P.Mount(distance_mm=50), (1, 2))
    blade = np.setdiff1d(np.arange(len(BEFORE.points_mm)), BEFORE.parts.shank)
    pivot = BEFORE.points_mm[blade].mean(axis=0)  # the lens stands over 0
    along, across = axes

    def fields(at):
        x, y = (at - pivot) @ along, (at - pivot) @ across
        return {
            "height": at / 50,
            "roll": at * y[:, None] / 50,
            "roll2": -0.5 * np.outer(y, across),
            "pitch": at * x[:, None] / 50,
            "pitch2": -0.5 * np.outer(x, along),
            "both": 0.5 * (np.outer(y, along) + np.outer(x, across)),
        }

    for name, field in fields(place).items():
        want = -1000 * (field * normal).sum(axis=1)
        np.testing.assert_allclose(getattr(made, name), want, rtol=1e-9, atol=1e-9, err_msg=name)
    for name, field in fields(datum).items():
        assert any(np.allclose(field, there, atol=1e-12) for there in seen), name
    assert made.noise is noise
    spread = np.linalg.cholesky(root @ root.T / 2)
    free = fit.prior_left @ np.diag([0.05, 0.05, 0.01, 0, 0, 0, 0, 0]) / math.sqrt(2)
    np.testing.assert_allclose(made.datum, -1000 * rows @ np.hstack([spread, free]))


def losses(before, after, **changed):
    given = {"datum": P.Datum.UNUSED_EDGE_AND_SHANK, "side": LEFT, "mount": MOUNT}
    return P.width_loss(before, after, **given | changed)


def worn_outline(depth_um, seed=0, noise_um=0.0, **given):
    drawn = rendering.silhouette(BLADE, worn_um=np.full(50, depth_um), shank_mm=2.0)
    return outline_of(
        drawn.polygon_mm,
        P.EdgeLength(side=LEFT, length_mm=EDGE.length_mm - depth_um / 1000),
        noise_um,
        seed,
        **given,
    )


@pytest.fixture(scope="module")
def ten():
    return losses([BEFORE], [worn_outline(10.0)])


def test_an_even_recession_is_read_as_it_is(ten):
    inner = ten.arc_mm < ten.arc_mm[-1] - 0.8
    np.testing.assert_allclose(ten.recession_um[inner], 10, atol=0.1)
    assert ten.mean_um == pytest.approx(ten.recession_um[ten.usable].mean())
    assert ten.length_mm == pytest.approx(EDGE.length_mm, abs=0.01)
    assert ten.width_before_mm - ten.width_after_mm == pytest.approx(0.010, abs=1e-4)
    at = int(np.argmax(np.where(ten.usable, ten.recession_um, -np.inf)))
    assert ten.deepest_um == ten.recession_um[at]
    assert ten.deepest_sd_um == ten.sd_um[at]
    assert ten.deepest_at_mm == ten.arc_mm[at]
    assert ten.interval_um() == pytest.approx(
        (ten.mean_um - 2 * ten.mean_sd_um, ten.mean_um + 2 * ten.mean_sd_um)
    )
    assert ten.mounts == (1, 1)
    assert ten.scatter_ratio == 1.0
    assert ten.budget.value_um == pytest.approx(ten.mean_um)
    assert ten.mean_sd_um == pytest.approx(ten.budget.u_um)
    assert ten.side is LEFT


def test_widths_before_and_after_are_the_first_outlines(ten):
    before = P.width(BEFORE, side=LEFT, mount=MOUNT)
    assert ten.width_before_mm == before.width_mm
    assert ten.width_u_um == before.u_um


def test_the_scatter_of_mounts_is_held_against_the_budget():
    befores = [outline_of(DRAWN.polygon_mm, HEEL, 0.2, k) for k in range(3)]
    afters = [worn_outline(10.0, 10 + k, 0.2) for k in range(3)]
    result = losses(befores, afters)
    assert result.mounts == (3, 3)
    assert 0.05 < result.scatter_ratio < 1
    assert losses(befores[:2], afters[:2]).scatter_ratio == 1.0
    assert losses(befores, afters[:2]).scatter_ratio != 1.0
    assert not any("on trust" in note for note in result.notes)
    assert any("on trust" in note for note in losses(befores, afters[:2]).notes)
    # Means of three: noise and pose are less by the root of three, what all share is not.
    one = losses(befores[:1], afters[:1])
    assert result.mean_sd_um < one.mean_sd_um
    mean = np.mean([losses(befores[:1], [a]).recession_um for a in afters], axis=0)
    inner = slice(5, -20)
    np.testing.assert_allclose(result.recession_um[inner], mean[inner], atol=0.6)


def test_a_station_beyond_twelve_micrometres_is_left_out():
    after = worn_outline(10.0)
    loose = P.Mount(distance_mm=120, tilt_sd_deg=1.0, height_sd_mm=0.05)
    result = losses([BEFORE], [after], datum=P.Datum.SHANK, mount=loose)
    assert (result.usable <= (result.sd_um < 12)).all()
    wide = losses([BEFORE], [after], apex_before=P.Apex(radius_um=1.0, sd_um=39.0))
    narrow = losses([BEFORE], [after], apex_before=P.Apex(radius_um=1.0, sd_um=37.0))
    share = 1 / np.tan(np.radians(37.5)) - 1
    assert 39 * share < 12
    assert narrow.usable.any()
    assert wide.usable.any()
    with pytest.raises(ek.Cannot, match="fixes no part of the edge"):
        losses([BEFORE], [after], apex_before=P.Apex(radius_um=1.0, sd_um=40.0))


def test_recession_on_a_models_edge_takes_the_nearest_usable_station(ten):
    recession, sd = ten.recession_on(EDGE, 63)
    at = EDGE.stations(63) / EDGE.length_mm * ten.length_mm
    good = ten.usable
    np.testing.assert_allclose(recession, np.interp(at, ten.arc_mm[good], ten.recession_um[good]))
    near = np.array([np.abs(ten.arc_mm[good] - a).min() <= 0.05 for a in at])
    plain = np.interp(at, ten.arc_mm[good], ten.sd_um[good])
    np.testing.assert_allclose(sd, np.where(near, plain, np.maximum(plain, 12)))
    assert sd[0] == 12
    for stations in (1, 100_001):
        with pytest.raises(ek.BadArgument, match="stations"):
            ten.recession_on(EDGE, stations)
    assert len(ten.recession_on(EDGE, 2)[0]) == 2


def test_rows_for_the_log_hold_both_widths_and_what_is_known_of_them(ten):
    rows = ten.to_log_rows(instrument="a", pattern="b", edge="c", before="d", after="e")
    assert rows["width_mm"].tolist() == [
        round(ten.width_before_mm, 4),
        round(ten.width_after_mm, 4),
    ]
    low, high = ten.interval_um()
    assert rows["note"][1] == (
        f"from pictures, U {2 * ten.width_u_um:.1f} µm; loss {ten.mean_um:.1f} µm "
        f"({low:.1f} to {high:.1f}) in the mean"
    )
    assert rows["note"][0] == f"from pictures, U {2 * ten.width_u_um:.1f} µm"


# ---- widths --------------------------------------------------------------------------------


def test_a_width_is_square_to_the_edge_and_between_sharp_edges():
    line = outline_of(stadium(lean=0.04), P.EdgeLength(side=LEFT, length_mm=5.0), sd_um=0.5)
    sharp = P.Apex(radius_um=0.0, sd_um=0.0)
    y = line.points_mm[line.side(LEFT)[0], 1]
    for at in (2.0, 3.1):
        seen = P.width(line, side=LEFT, mount=MOUNT, at_mm=at, over_mm=0.3, apex=sharp)
        # Square to a side that leans by 0.04 to the other, which leans as much the other way.
        here = y - at * np.sin(0.04)
        want = 2 * here / (np.cos(0.04) - np.sin(0.04) * np.tan(0.04))
        assert seen.width_mm == pytest.approx(want, abs=6e-4)
        assert seen.arc_mm == at
    right = P.width(line, side=RIGHT, mount=MOUNT, at_mm=2.0, over_mm=0.3, apex=sharp)
    left = P.width(line, side=LEFT, mount=MOUNT, at_mm=2.0, over_mm=0.3, apex=sharp)
    assert right.width_mm == pytest.approx(left.width_mm, abs=5e-3)
    middle = P.width(line, side=LEFT, mount=MOUNT, apex=sharp)
    assert middle.arc_mm == pytest.approx(2.5, abs=0.007)
    round_ = P.width(line, side=LEFT, mount=MOUNT, apex=P.Apex(radius_um=4.0, sd_um=0.0))
    share = 1 / np.tan(np.radians(37.5)) - 1
    assert round_.width_mm - middle.width_mm == pytest.approx(2 * share * 0.004)


def test_a_widths_budget_holds_every_cause_at_its_size():
    line = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), sd_um=0.5, response_um=0.2)
    mount = P.Mount(distance_mm=100, tilt_sd_deg=2.0, height_sd_mm=0.2)
    seen = P.width(line, side=LEFT, mount=mount, apex=P.Apex(radius_um=3.0, sd_um=1.0))
    rows = {row.source: row for row in seen.budget.rows}
    count = (
        np.abs(line.arc_mm[line.side(LEFT)] - line.arc_mm[line.side(LEFT)[0]] - seen.arc_mm) < 0.25
    ).sum()
    share = 1 / np.tan(np.radians(37.5)) - 1
    want = {
        "edge location": math.hypot(0.5, 0.5) / math.sqrt(count / 1.5),
        "response curve": 0.4,
        "sharpening in the camera": value("camera_sharpening_um"),
        "target certificate": 0.0,
        "fit of the target": 0.0,
        "face off the target's plane": 900 * 0.2 / 100,
        "roundness of the left edge": share,
        "roundness of the right edge": share,
        "roll": 900 * np.radians(2.0) ** 2 / math.sqrt(2),
    }
    assert set(rows) == set(want)
    for name, size in want.items():
        assert rows[name].u_um == pytest.approx(size, rel=3e-3), name
    cancels = {name for name, row in rows.items() if not row.stays}
    assert cancels == {
        "response curve",
        "sharpening in the camera",
        "target certificate",
        "fit of the target",
    }
    assert seen.budget.value_um == pytest.approx(1000 * seen.width_mm)
    at = {name: np.zeros(1) for name in want}
    for name, moved in (
        ("face off the target's plane", -0.9 * 1000 / 100),  # nearer to the lens it looks larger
        ("roll", 900 * (1 / math.cos(0.1) - 1)),
        ("target certificate", 900.0),
        ("fit of the target", 900.0),
        ("edge location", 1.0),
        ("response curve", 1.0),
        ("sharpening in the camera", 1.0),
        ("roundness of the left edge", share),
        ("roundness of the right edge", share),
    ):
        unit = math.degrees(0.1) if name == "roll" else 1.0
        changed = seen.budget.model(at | {name: np.array([unit])}) - seen.budget.model(at)
        assert changed[0] == pytest.approx(moved, rel=2e-3), name
    off = P.Mount(distance_mm=100, sharpening_known_off=True)
    rows = {r.source: r for r in P.width(line, side=LEFT, mount=off).budget.rows}
    assert rows["sharpening in the camera"].u_um == 0


def test_a_width_wants_ten_good_points():
    line = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0))
    arc = line.arc_mm[line.side(LEFT)] - line.arc_mm[line.side(LEFT)[0]]
    at = float(arc[200])
    step = float(arc[201] - arc[200])
    for over, good in ((10.2 * step, True), (8.9 * step, False)):
        if good:
            P.width(line, side=LEFT, mount=MOUNT, at_mm=at, over_mm=over)
        else:
            with pytest.raises(ek.Cannot, match="no good stretch"):
                P.width(line, side=LEFT, mount=MOUNT, at_mm=at, over_mm=over)
    bad = np.zeros(len(line.points_mm), dtype=np.uint8)
    bad[line.side(LEFT)[195:207]] = 1
    spoiled = outline_of(stadium(), P.EdgeLength(side=LEFT, length_mm=5.0), quality=bad)
    with pytest.raises(ek.Cannot, match="no good stretch"):
        P.width(spoiled, side=LEFT, mount=MOUNT, at_mm=at, over_mm=12 * step)
    with pytest.raises(ek.Cannot, match="do not face one another"):
        P.width(line, side=LEFT, mount=MOUNT, at_mm=float(arc[-1] - 0.1), over_mm=0.15)


def test_mounts_and_apexes_are_as_the_evidence_says_and_not_below_nothing():
    mount = P.Mount(distance_mm=120)
    assert mount.tilt_sd_deg == value("picture_tilt_sd_deg")
    assert mount.height_sd_mm == value("picture_height_sd_mm")
    assert mount.sharpening_known_off is False
    assert P.Mount(distance_mm=1, tilt_sd_deg=0, height_sd_mm=0).tilt_sd_deg == 0
    for name in ("tilt_sd_deg", "height_sd_mm"):
        with pytest.raises(ek.BadArgument, match=name):
            P.Mount(distance_mm=1, **{name: -0.01})
    apex = P.Apex()
    assert (apex.internal_angle_deg, apex.radius_um) == (
        value("internal_angle_deg"),
        value("sharp_radius_um"),
    )
    spread = lognorm(np.log(entry("sharp_radius_um").gsd), scale=apex.radius_um)
    assert apex.sd_um == pytest.approx(spread.std())
    assert widths._sharp_sd() == pytest.approx(spread.std())
    assert P.Apex(radius_um=0, sd_um=0).sd_um == 0
    for name in ("radius_um", "sd_um"):
        with pytest.raises(ek.BadArgument, match=name):
            P.Apex(**{name: -0.01})
    for beta in (40.0, 75.0, 90.0):
        # The circle of radius 1 in the corner of face and flank: its foremost point.
        assert widths.silhouette_share(beta) == pytest.approx(
            1 / math.sin(np.radians(beta / 2)) * math.cos(np.radians(beta / 2)) - 1
        )


# ---- what a comparison says ----------------------------------------------------------------


def test_the_scatter_of_mounts_over_what_the_budget_expects_is_one_number():
    rng = np.random.default_rng(2)
    old, new = 1e-3 * rng.normal(size=(4, 7)), 1e-3 * rng.normal(size=(3, 7))
    noise, mount, datum = rng.uniform(0.2, 1, (3, 7))
    told = SimpleNamespace(noise=noise)
    model = SimpleNamespace(mount_variance=lambda: mount, datum_variance=lambda: datum)
    expected = (mount + noise**2 + datum).mean()

    def seen(*kinds):
        return math.sqrt(np.mean([(1000 * k).var(axis=0, ddof=1).mean() for k in kinds]) / expected)

    assert loss._scatter_ratio(old, new, told, model) == pytest.approx(seen(old, new))
    assert loss._scatter_ratio(old, new[:2], told, model) == pytest.approx(seen(old))
    assert loss._scatter_ratio(old[:1], new, told, model) == pytest.approx(seen(new))
    assert loss._scatter_ratio(old[:2], new[:2], told, model) == 1.0


def test_notes_say_what_is_out_of_the_ordinary_and_nothing_else():
    stations = SimpleNamespace(arc=np.arange(5) * 0.5)
    all_good = np.ones(5, dtype=bool)
    line = SimpleNamespace(parts=SimpleNamespace(pointed=False))
    three = ((line,) * 3, (line,) * 3)

    def notes(usable=all_good, ratio=1.0, strain=2.0, datum=P.Datum.UNUSED_EDGE, lines=three):
        seen = SimpleNamespace(usable=usable, scatter_ratio=ratio, strain=strain)
        return loss._notes(seen, stations, datum, lines)

    assert notes() == ()
    some = notes(usable=np.array([True, False, True, False, True]))
    assert some[0].startswith("At 2 stations from 0.50 to 1.50 mm from the heel no recession")
    assert "unused edge does not fix" in some[0]
    for datum in (P.Datum.SHANK, P.Datum.UNUSED_EDGE_AND_SHANK):
        assert "in the plane of the face" in notes(datum=datum)[0]
    assert notes(ratio=1.01)[0] == "Repeat mounts scatter 1.0 times as much as the budget expects."
    assert "differ by 2.1 times" in notes(strain=2.1)[0]
    assert "Fewer than three" in notes(lines=((line,) * 3, (line,) * 2))[0]
    tip = SimpleNamespace(parts=SimpleNamespace(pointed=True))
    assert notes(lines=((line,) * 3, (line, line, tip)))[0].startswith("The tip is pointed")


@pytest.mark.parametrize(
    ("strain", "ratio", "stretch"),
    [(1.9, 1.0, 1.0), (2.1, 1.0, 2.1), (2.1, 3.0, 3.0), (1.9, 0.5, 1.0)],
)
def test_scatter_and_strain_stretch_what_is_not_known(monkeypatch, strain, ratio, stretch, ten):
    plain = registering.register

    def strained(*given):
        return plain(*given)._replace(strain=strain)

    monkeypatch.setattr(loss, "register", strained)
    monkeypatch.setattr(loss, "_scatter_ratio", lambda *_: ratio)
    result = losses([BEFORE], [worn_outline(10.0)])
    np.testing.assert_allclose(result.sd_um, stretch * ten.sd_um)
    assert result.mean_sd_um / result.budget.u_um == pytest.approx(stretch)
    assert result.scatter_ratio == ratio


def test_weights_of_a_datum_are_hubers_at_one_and_a_half_scatters():
    """From the gain: a point's row of it over its weight is that of a plain least squares."""
    line = outline_of(DRAWN.polygon_mm, HEEL, noise_um=0.5, seed=3, sd_um=0.3)
    fit = laid(line)
    moved = fit.move(
        line.points_mm[registering.datum_points(line, P.Datum.UNUSED_EDGE_AND_SHANK, LEFT)]
    )
    own = registering.datum_points(BEFORE, P.Datum.UNUSED_EDGE_AND_SHANK, LEFT)
    near = ((moved[:, None] - BEFORE.points_mm[own][None]) ** 2).sum(axis=2).argmin(axis=1)
    normals = BEFORE.normals[own][near]
    left = ((moved - BEFORE.points_mm[own][near]) * normals).sum(axis=1)
    scatter = fit.residual_um / 1000
    assert scatter == pytest.approx(1.4826 * np.median(np.abs(left - np.median(left))), rel=2e-3)
    rows = fit.view.rows(moved - fit.view.centre_mm - fit.numbers[:2], normals)
    weight = np.minimum(1, 1.5 * scatter / np.abs(left))
    shown = np.abs(fit.solve).max(axis=0) > 0
    assert shown.mean() > 0.9
    weighted = rows.T * (weight * shown) / (1.5 * scatter**2)
    prior = registering._prior(MOUNT)
    gain = np.linalg.solve(weighted @ rows + prior, weighted)
    np.testing.assert_allclose(fit.solve, gain, rtol=0.03, atol=3e-3 * abs(gain).max())
    np.testing.assert_allclose(fit.covariance, 1.5 * scatter**2 * fit.solve @ fit.solve.T)
    np.testing.assert_allclose(
        fit.prior_left, np.linalg.inv(weighted @ rows + prior) @ prior, rtol=0.05, atol=1e-4
    )


def test_points_a_fifth_of_a_millimetre_off_or_beyond_the_ends_are_no_datum():
    line = outline_of(DRAWN.polygon_mm, HEEL)
    shank = line.parts.shank
    for off, counts in ((0.19, True), (0.21, False)):
        points = line.points_mm.copy()
        moved = shank[60:75]
        points[moved] += off * line.normals[moved]
        fit = laid(outline_of_points(line, points))
        datum = registering.datum_points(line, P.Datum.UNUSED_EDGE_AND_SHANK, LEFT)
        at = np.flatnonzero(np.isin(datum, moved))
        assert len(at) == 15
        assert (np.abs(fit.solve[:, at]).max() > 0) == counts


def test_a_chip_is_six_scatters_of_its_matched_reading(monkeypatch):
    line = chipped([], noise_um=0.0, sd_um=0.001, edge_spread_um=0.01)
    arc = chipping._dents(line, LEFT)[0]
    bump = np.exp(-(((arc - arc[600]) / 0.016) ** 2) / 2)  # the middle of the widths looked for
    monkeypatch.setattr(chipping, "_matched_sd", lambda *_: 2.0)
    for share, found in ((1.01, 1), (0.99, 0)):
        monkeypatch.setattr(chipping, "_dents", lambda *_, k=share: (arc, k * 12 * bump, 0.1))
        assert len(P.chips(line, side=LEFT)) == found


def test_dents_of_three_widths_are_looked_for(monkeypatch):
    asked = []

    def matched_sd(dent, half, noise, line):
        asked.append(half)
        return 1.0

    monkeypatch.setattr(chipping, "_matched_sd", matched_sd)
    assert P.chips(chipped([]), side=LEFT) == ()
    assert asked == pytest.approx([2.0, 4.0, 7.5])  # in steps of 4 µm


def test_a_chips_matched_reading_is_six_tenths_of_a_micrometre(monkeypatch):
    quiet = {"noise_um": 0.0, "sd_um": 0.001, "edge_spread_um": 0.01}
    line = chipped([], **quiet)
    arc = chipping._dents(line, LEFT)[0]
    for depth, found in ((0.59, 0), (0.61, 1)):
        bump = depth * np.exp(-(((arc - arc[600]) / 0.016) ** 2) / 2)
        monkeypatch.setattr(chipping, "_dents", lambda *_, b=bump: (arc, b, 1e-4))
        assert len(P.chips(line, side=LEFT)) == found
