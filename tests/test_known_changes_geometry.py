"""Formulas of geometry and digitising of which a change once left every test green.

Each against arithmetic from outside: exact polynomials, drawn chances (GUM supplement 1, JCGM
101:2008), lengths along known lines, and bounds tried on both sides.
"""

from types import SimpleNamespace

import numpy as np
import pytest

import edgekit as ek
from edgekit.digitising.pictures import profiles
from edgekit.digitising.pictures.loss_budget import LossModel, LossParts, silhouette_share
from edgekit.digitising.pictures.outlines import blade_outline
from edgekit.digitising.pictures.outlines.silhouette import _region
from edgekit.digitising.pictures.targets.corners import saddles
from tests.test_regression_results import lines

P = ek.pictures


# ---- pictures ------------------------------------------------------------------------------


@pytest.mark.parametrize("step", [0.2, 0.5, 1.0, 3.0])
def test_a_line_taken_again_has_its_ends_and_equal_steps_of_the_length_asked_for(step):
    line = np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 4.0], [9.0, 12.0], [15.0, 12.0]])  # 21 long
    again = profiles.resampled(line, step)
    assert again[0] == pytest.approx(line[0])
    assert again[-1] == pytest.approx(line[-1])
    along = np.linspace(0, 21, len(again))
    assert len(again) == round(21 / step) + 1
    straight = along <= 15
    np.testing.assert_allclose(np.hypot(*again[straight].T), along[straight], atol=1e-12)
    np.testing.assert_allclose(again[~straight, 0], along[~straight] - 6, atol=1e-12)


def test_a_cubic_through_four_samples_is_met_where_it_is_and_with_its_slope():
    rng = np.random.default_rng(1)
    at = np.arange(8.0)
    for _ in range(40):
        place, scale = rng.uniform(3.05, 3.95), rng.uniform(0.02, 2.0)
        bend, twist = scale * rng.uniform(-0.1, 0.1, 2)

        def value(x, place=place, scale=scale, bend=bend, twist=twist):
            d = x - place
            return 0.4 + scale * d + bend * d**2 + twist * d**3

        k = np.array([3])
        found, slope = profiles._cubic_root(value(at)[None], np.array([0.4]), k)
        assert found[0] == pytest.approx(place, abs=1e-9)
        assert slope[0] == pytest.approx(scale / profiles.STEP, rel=1e-6)
    # A profile without a step has no root; the answer stays beside the sample.
    found, slope = profiles._cubic_root(np.full((1, 8), 0.7), np.array([0.4]), np.array([3]))
    assert 2.5 <= found[0] <= 4.5
    assert abs(slope[0]) < 1e-12


def test_the_variance_of_a_mount_is_that_of_drawn_mounts():
    rng, size = np.random.default_rng(5), 400_000
    tilt, height = 1.5, 0.07
    names = ("height", "roll", "roll2", "pitch", "pitch2", "both")
    scales = (30.0, 80.0, 4000.0, 60.0, 3000.0, 2500.0)
    parts = {n: rng.normal(size=3) * s for n, s in zip(names, scales, strict=True)}
    model = LossModel(
        parts=LossParts(noise=np.zeros(3), datum=np.zeros((3, 16)), counts=(1, 1), **parts),
        apexes=(P.Apex(radius_um=0.0, sd_um=0.0),) * 2,
        response_um=0.0,
        certificate=0.0,
        fit_sd=0.0,
        mount=P.Mount(distance_mm=120.0, tilt_sd_deg=tilt, height_sd_mm=height),
    )
    roll, pitch = np.radians(tilt) * rng.standard_normal((2, size))
    lift = height * rng.standard_normal(size)
    p = parts
    for at in range(3):
        moved = p["height"][at] * lift + p["roll"][at] * roll + p["pitch"][at] * pitch
        moved += (
            p["roll2"][at] * roll**2 + p["pitch2"][at] * pitch**2 + p["both"][at] * roll * pitch
        )
        want = moved.var()
        assert model.mount_variance()[at] == pytest.approx(want, rel=0.02)  # draws: 0.3 %
    np.testing.assert_allclose(
        model.station_sd(), np.sqrt(2 * model.mount_variance()), rtol=1e-12
    )  # one picture before, one after


@pytest.mark.parametrize("half", [3, 5])
@pytest.mark.parametrize("turn", [0.0, 0.4])
def test_the_saddle_of_a_product_of_two_slopes_is_found_from_some_way_off(half, turn):
    y, x = np.mgrid[0:60, 0:70].astype(float)
    place = np.array([31.3, 28.8])
    c, s = np.cos(turn), np.sin(turn)
    u, v = c * (x - place[0]) + s * (y - place[1]), -s * (x - place[0]) + c * (y - place[1])
    light = 0.5 + 1e-3 * u * v
    near = place + np.array([[0.0, 0.0], [0.7 * half, -0.4 * half], [-1.3 * half, 0.9 * half]])
    found, good = saddles(light, near, half)
    assert good.all()
    np.testing.assert_allclose(found, np.tile(place, (3, 1)), atol=1e-3)
    # Far away is none of its own, and a hill is no saddle.
    assert not saddles(light, place[None] + np.array([2.5 * half + 3, 0.0]), half)[1].any()
    hill = 0.5 - 1e-3 * (u**2 + v**2)
    assert not saddles(hill, place[None], half)[1].any()


@pytest.mark.parametrize("side", range(4))
def test_a_region_of_a_picture_is_over_60_pixels_wide_and_inside(side):
    picture = SimpleNamespace(light=np.zeros((200, 300), dtype=np.float32), size_px=(300, 200))
    good = [100, 80, 161, 141]
    part, corner = _region(picture, tuple(good))
    assert part.shape == (61, 61)
    assert corner.tolist() == [100.0, 80.0]
    assert _region(picture, (0, 0, 300, 200))[0].shape == (200, 300)
    narrow = list(good)
    narrow[side] += 1 if side < 2 else -1
    outside = [0, 0, 300, 200]
    outside[side] += -1 if side < 2 else 1
    for wrong in (narrow, outside):
        with pytest.raises(ek.EdgekitError, match="region_px"):
            _region(picture, tuple(wrong))


def test_points_with_less_than_half_of_the_usual_step_are_weak(monkeypatch):
    none = np.zeros(9, dtype=bool)
    monkeypatch.setattr(blade_outline, "disagreeing", lambda _: none)
    monkeypatch.setattr(blade_outline, "soft", lambda _: none)
    dark = np.linspace(0.1, 0.5, 9)
    step = np.full(9, 0.4)
    step[[2, 6]] = 0.19, 0.21
    line = SimpleNamespace(
        seen=SimpleNamespace(bright=dark + step, dark=dark, met=~none), clipped=none
    )
    noise = np.array([0.1] * 8 + [0.6])
    bend = np.zeros(9)
    bend[0] = -2 * blade_outline.KINK_PER_MM
    parts = SimpleNamespace(cap=(100, 100))
    flags = blade_outline._quality(line, noise, bend, parts)
    want = np.zeros(9, dtype=np.uint8)
    want[2], want[8], want[0] = (
        blade_outline.Quality.WEAK,
        blade_outline.Quality.NOISY,
        blade_outline.Quality.KINK,
    )
    assert flags.tolist() == want.tolist()


@pytest.fixture(scope="module")
def pair():
    """Two outlines of the demo, before and after a session."""
    return lines()[1:]


def loss(pair, before, after):
    return P.width_loss(
        [pair[0]],
        [pair[1]],
        datum=P.Datum.UNUSED_EDGE_AND_SHANK,
        side=P.Side.LEFT,
        mount=P.Mount(distance_mm=120),
        apex_before=P.Apex(radius_um=before, sd_um=0.5),
        apex_after=P.Apex(radius_um=after, sd_um=0.5),
    )


def test_what_the_apexes_hide_moves_the_loss_by_the_difference_and_its_budget_alike(pair):
    # An apex of radius r rounded between flanks at β lies r (1/sin(β/2) − 1) inside their corner.
    plain, dull = loss(pair, 2.0, 2.0), loss(pair, 7.0, 2.0)
    angle = np.radians(P.Apex(radius_um=1.0, sd_um=0.0).internal_angle_deg)
    hidden = 5.0 * silhouette_share(np.degrees(angle))
    np.testing.assert_allclose(dull.recession_um - plain.recession_um, hidden, rtol=1e-9)
    for result in (plain, dull, loss(pair, 1.0, 6.0)):
        assert result.budget.value_um == pytest.approx(result.mean_um, rel=1e-9)


def test_the_blur_by_which_a_tip_is_judged_is_the_one_that_is_reported(pair, monkeypatch):
    heard = []
    plain = blade_outline.tell_apart

    def listening(points, heel, scale, blur_mm):
        heard.append(blur_mm)
        return plain(points, heel, scale, blur_mm)

    monkeypatch.setattr(blade_outline, "tell_apart", listening)
    line = P.outline(pair[0].picture, pair[0].scale)
    assert np.mean(heard[0]) * 1000 == pytest.approx(np.mean(line.edge_spread_um), rel=1e-9)
