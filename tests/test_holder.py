"""Settings of a holder against brute force, an integer programme and explicit trigonometry."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from scipy.optimize import LinearConstraint, milp
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.contact.holder import held_normals
from edgekit.geometry.curve import Constant
from edgekit.geometry.path import BentArcs
from tests import strategies as make
from tests.results import DEMO

GRID_DEG = 0.01  # of elevations in the brute-force search
GRID_ERROR_DEG = 0.02  # a worst error changes by less than 2° a degree of elevation here
SWING_DEG = 35.0  # normals are tried this far to either side of the true one
ROUNDING_DEG = 1e-9
FEW = settings(max_examples=25, deadline=None)


def handle(tilt_deg, bend_deg):
    """-z turned by the face's tilt about x, then by the shank's bend about y (scipy Rotation)."""
    turn = Rotation.from_euler("y", bend_deg, degrees=True)
    return (turn * Rotation.from_euler("x", tilt_deg, degrees=True)).apply([0.0, 0.0, -1.0])


def rolled_arc(*, plan_mm, length_mm, bow_mm=np.inf, tilt_deg=0.0, bend_deg=0.0, at=0.5):
    """An outer edge on a bowed face; the blade's frame lies at the share `at` of its length."""
    edge = ek.Edge(
        path=BentArcs(
            start_mm=_start(plan_mm, length_mm, at),
            heading_rad=at * length_mm / plan_mm,
            lengths_mm=np.array([length_mm]),
            curvatures_per_mm=np.array([-1 / plan_mm]),
            bow_per_mm=1 / bow_mm,
        ),
        internal_angle=Constant(value=np.radians(np.asarray(75.0))),
        handle_axis=handle(tilt_deg, bend_deg),
        side=-1,
        roll_reference=np.array([1.0, 0.0, 0.0]),
    )
    return edge, _by_hand(plan_mm, length_mm, bow_mm, edge.handle_axis, at)


def _start(plan_mm, length_mm, at):
    angle = at * length_mm / plan_mm
    return np.array([-plan_mm * np.sin(angle), plan_mm * (np.cos(angle) - 1)])


def _by_hand(plan_mm, length_mm, bow_mm, axis, at, stations=400):
    """Tangents, face normals and true normals of that edge, written out without the package."""
    arc = np.linspace(0, length_mm, stations)
    plan = (arc - at * length_mm) / plan_mm
    slope = plan_mm * np.sin(plan) / bow_mm
    zero = np.zeros(stations)
    along = np.stack([np.cos(slope), zero, np.sin(slope)], axis=1)
    across = np.tile([0.0, 1.0, 0.0], (stations, 1))
    t = np.cos(plan)[:, None] * along - np.sin(plan)[:, None] * across
    f = np.stack([-np.sin(slope), zero, np.cos(slope)], axis=1)
    n = Rotation.from_rotvec(-np.radians(105.0) * t).apply(f)  # outwards: right-handed about -t
    return SimpleNamespace(arc=arc, t=t, n=n, axis=axis)


def swung(hand):
    """Elevations (S, D) of the true normals turned about the tangent by angles (D,) [deg]."""
    swing = np.linspace(-SWING_DEG, SWING_DEG, 3501)
    radians = np.radians(swing)
    up, aside = hand.n @ hand.axis, np.cross(hand.t, hand.n) @ hand.axis
    sine = np.cos(radians) * up[:, None] + np.sin(radians) * aside[:, None]
    return swing, np.degrees(np.arcsin(np.clip(sine, -1, 1)))


def errors_by_brute_force(hand, elevations):
    """|ground - nominal| (S, E): the least swing about the tangent that gives each elevation."""
    swing, elevation = swung(hand)
    middle = len(swing) // 2
    errors = np.full((len(elevation), len(elevations)), np.inf)
    for row, heights in zip(errors, elevation, strict=True):
        rising = np.sign(heights[middle + 1] - heights[middle - 1])
        steady = np.sign(np.diff(heights)) == rising
        low = middle - int(np.argmin(np.append(steady[:middle][::-1], False)))
        high = middle + int(np.argmin(np.append(steady[middle:], False)))
        h, d = rising * heights[low : high + 1], swing[low : high + 1]
        inside = (rising * elevations >= h[0]) & (rising * elevations <= h[-1])
        row[inside] = np.abs(np.interp(rising * elevations[inside], h, d))
    return errors


def best_by_brute_force(hand, tolerance_deg=2.0):
    elevations = np.arange(-30.0, 70.0, GRID_DEG)
    worst = errors_by_brute_force(hand, elevations).max(axis=0)
    good = elevations[worst <= tolerance_deg]
    window = (good[0], good[-1]) if len(good) else None
    return elevations[np.argmin(worst)], worst.min(), window


CASES = {
    "universal": {"plan_mm": 20, "length_mm": 5},
    "universal, bent shank": {"plan_mm": 20, "length_mm": 5, "bend_deg": 15},
    "area-specific": {"plan_mm": 6.7, "length_mm": 5.65, "tilt_deg": 20},
    "area-specific, heel frame": {"plan_mm": 6.7, "length_mm": 5.65, "tilt_deg": 20, "at": 0},
    "bowed": {"plan_mm": 6.7, "length_mm": 5.65, "tilt_deg": 20, "bow_mm": 12},
    "bowed the other way": {"plan_mm": 6.7, "length_mm": 5.65, "tilt_deg": 20, "bow_mm": -12},
    "bowed, tilted, bent": {
        "plan_mm": 6.7,
        "length_mm": 5.65,
        "tilt_deg": 20,
        "bow_mm": 12,
        "bend_deg": -15,
        "at": 0,
    },
}
each_case = pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())


# ---- best setting and window ------------------------------------------------------------------


@each_case
def test_the_best_setting_is_what_brute_force_finds(case):
    """A fine grid of elevations, each turned out by rotating the true normal about the tangent."""
    edge, hand = rolled_arc(**case)
    np.testing.assert_allclose(ek.orient(edge).normal, hand.n, atol=1e-12)
    setting = ek.best_setting(edge)
    elevation, worst, window = best_by_brute_force(hand)
    assert abs(setting.elevation_deg - elevation) < GRID_ERROR_DEG
    assert abs(setting.worst_error_deg - worst) < GRID_ERROR_DEG
    assert (setting.window_deg is None) == (window is None)
    if window:
        np.testing.assert_allclose(setting.window_deg, window, atol=GRID_ERROR_DEG)


@each_case
def test_the_error_along_the_edge_is_what_brute_force_finds(case):
    edge, hand = rolled_arc(**case)
    chosen = ek.best_setting(edge).elevation_deg + 1.0
    error = ek.setting_at(edge, chosen).error_deg
    expected = errors_by_brute_force(hand, np.array([chosen]))[:, 0]
    np.testing.assert_allclose(np.abs(error), expected, atol=0.002)


@each_case
def test_held_normals_touch_at_the_elevation_and_give_the_signed_error(case):
    """n·t = 0, n·a = sin α, and ground - nominal = acos(-f·n) - β: theory T3."""
    edge, hand = rolled_arc(**case)
    setting = ek.best_setting(edge)
    n = held_normals(edge, setting.elevation_deg, setting.arc_mm)
    touched = np.isfinite(setting.error_deg)
    assert touched.all()
    np.testing.assert_allclose(np.sum(n * hand.t, axis=1), 0, atol=1e-12)
    np.testing.assert_allclose(n @ hand.axis, np.sin(np.radians(setting.elevation_deg)), atol=1e-12)
    face = edge.frame(setting.arc_mm).face.value
    ground = np.degrees(np.arccos(-np.sum(face * n, axis=1)))
    np.testing.assert_allclose(ground - 75, setting.error_deg, atol=1e-7)


def test_a_universal_curette_is_followed_by_fifteen_degrees():
    """Planar face square to the handle: α = 90° - 75° (theory T2), window ± tolerance (T4)."""
    for edge in ek.patterns.universal_curette().edges.values():
        setting = ek.best_setting(edge)
        assert abs(setting.elevation_deg - 15) < ROUNDING_DEG
        assert setting.worst_error_deg < ROUNDING_DEG
        np.testing.assert_allclose(setting.window_deg, (13, 17), atol=ROUNDING_DEG)
    np.testing.assert_allclose(
        ek.best_setting(edge, tolerance_deg=3.5).window_deg, (11.5, 18.5), atol=ROUNDING_DEG
    )


# Elevation and worst error [deg] of the best setting, found by brute force to one decimal.
DERIVED = {
    # The elevation depends on where the frame's tangent is taken, the error here does not.
    "bend of 15°, frame at mid-length": ("universal, bent shank", {}, 14.5, 1.9),
    "bend of 15°, frame at the heel": ("universal, bent shank", {"at": 0}, 12.7, 1.9),
    "tilt of 20° about mid-length": ("area-specific", {}, 34.0, 1.0),
    "the same, edge of 5 mm": ("area-specific", {"length_mm": 5.0}, 34.2, 0.8),
    "tilt of 20° about the heel": ("area-specific, heel frame", {}, 31.2, 3.8),
    "the same, heel, edge of 5 mm": ("area-specific, heel frame", {"length_mm": 5.0}, 32.0, 3.0),
    "bow of 12 mm": ("bowed", {}, 30.8, 4.2),
    "bow of 12 mm the other way": ("bowed the other way", {}, 36.8, 1.8),
    # With the frame at mid-length the two bends mirror each other and cost the same.
    "tilt and bend": ("area-specific", {"bend_deg": 15}, 32.4, 6.9),
    "tilt and bend the other way": ("area-specific", {"bend_deg": -15}, 32.4, 6.9),
    "bow alone, frame at the heel": (
        "bowed",
        {"plan_mm": 1e6, "tilt_deg": 0, "length_mm": 5.0, "at": 0},
        14.3,
        0.7,
    ),
    "bow alone, frame at mid-length": ("bowed", {"plan_mm": 1e6, "tilt_deg": 0}, 14.8, 0.2),
}


@pytest.mark.parametrize("derived", DERIVED.values(), ids=DERIVED.keys())
def test_derived_values_hold_in_the_frame_they_belong_to(derived):
    """The best setting of theory T4, each value judged again by brute force; see `DERIVED`."""
    base, change, elevation_deg, worst_deg = derived
    edge, hand = rolled_arc(**{**CASES[base], **change})
    setting = ek.best_setting(edge)
    for elevation, worst in (
        best_by_brute_force(hand)[:2],
        (setting.elevation_deg, setting.worst_error_deg),
    ):
        assert abs(elevation - elevation_deg) < 0.06 + GRID_DEG  # one decimal is given
        assert abs(worst - worst_deg) < 0.06


def test_an_area_specific_window_exists_only_when_the_tilt_turns_about_mid_length():
    """A ±2° window at mid-length, none at the heel: theory T4, by brute force in `DERIVED`."""
    middle, _ = rolled_arc(**CASES["area-specific"])
    heel, _ = rolled_arc(**CASES["area-specific, heel frame"])
    np.testing.assert_allclose(ek.best_setting(middle).window_deg, (33.0, 35.0), atol=0.05)
    assert ek.best_setting(heel).window_deg is None


def test_where_the_elevation_cannot_be_reached_the_error_is_infinite():
    """|sin α₀| > m has no contact (theory T3): a handle lying along the edge's heel."""
    edge, hand = rolled_arc(plan_mm=6.7, length_mm=5.65, tilt_deg=0, bend_deg=60)
    setting = ek.setting_at(edge, 32.0)
    m = np.sqrt(1 - (hand.t @ hand.axis) ** 2)
    np.testing.assert_array_equal(np.isinf(setting.error_deg), np.sin(np.radians(32.0)) > m)
    assert 0 < np.isinf(setting.error_deg).sum() < 400
    assert setting.worst_error_deg == np.inf


def test_a_handle_along_a_straight_edge_has_no_elevation_but_zero():
    """m = 0: every touching normal is square to the handle."""
    shape = make.shape(axis=[1.0, 0.0, 0.0])
    setting = ek.best_setting(shape.edge(), stations=20)
    assert abs(setting.elevation_deg) < 1e-6
    assert setting.worst_error_deg < ROUNDING_DEG


# ---- fewest settings ---------------------------------------------------------------------------


def intervals_by_brute_force(hand, tolerance_deg):
    """Elevations (S, 2) [deg] that keep each station within the tolerance."""
    swing, elevation = swung(hand)
    near = elevation[:, np.abs(swing) <= tolerance_deg + 1e-9]
    return np.stack([near.min(axis=1), near.max(axis=1)], axis=1)


def fewest_by_integer_programme(intervals):
    """Least number of points that stab all intervals, by scipy.optimize.milp (HiGHS)."""
    points = intervals[:, 1]  # some optimal set uses upper ends only
    hits = (intervals[:, :1] <= points + 1e-9) & (points <= intervals[:, 1:] + 1e-9)
    optimum = milp(
        np.ones(len(points)),
        constraints=LinearConstraint(hits.astype(float), lb=1),
        integrality=np.ones(len(points)),
        bounds=(0, 1),
    )
    assert optimum.success
    return round(optimum.fun)


@pytest.mark.parametrize("tolerance_deg", [1.0, 2.0, 3.0])
@each_case
def test_no_fewer_settings_cover_the_edge(case, tolerance_deg):
    edge, _ = rolled_arc(**case)
    hand = _by_hand(
        case["plan_mm"],
        case["length_mm"],
        case.get("bow_mm", np.inf),
        edge.handle_axis,
        case.get("at", 0.5),
        stations=120,
    )
    needed = ek.settings_needed(edge, tolerance_deg=tolerance_deg, stations=120)
    assert len(needed) == fewest_by_integer_programme(intervals_by_brute_force(hand, tolerance_deg))
    errors = errors_by_brute_force(hand, np.array([s.elevation_deg for s in needed]))
    assert errors.min(axis=1).max() <= tolerance_deg + 0.005
    assert max(s.worst_error_deg for s in needed) <= tolerance_deg + 1e-9


@pytest.mark.parametrize(
    ("case", "tolerance_deg"),
    [
        (
            {"plan_mm": 5.51, "length_mm": 3.57, "tilt_deg": -12, "bend_deg": 29.35, "bow_mm": -8},
            4.0,
        ),
        (
            {
                "plan_mm": 3.39,
                "length_mm": 3.24,
                "tilt_deg": 59.54,
                "bend_deg": -37.21,
                "bow_mm": 12,
                "at": 0,
            },
            2.0,
        ),
    ],
)
def test_nested_windows_are_stabbed_by_their_upper_ends(case, tolerance_deg):
    """Where one station's window lies inside another's, taking lower ends first goes wrong."""
    edge, _ = rolled_arc(**case)
    hand = _by_hand(
        case["plan_mm"],
        case["length_mm"],
        case["bow_mm"],
        edge.handle_axis,
        case.get("at", 0.5),
        stations=60,
    )
    needed = ek.settings_needed(edge, tolerance_deg=tolerance_deg, stations=60)
    assert len(needed) == fewest_by_integer_programme(intervals_by_brute_force(hand, tolerance_deg))
    assert max(s.worst_error_deg for s in needed) <= tolerance_deg + 1e-9


def test_stretches_tile_the_edge_without_gap_or_overlap():
    edge, _ = rolled_arc(**CASES["bowed, tilted, bent"])
    needed = ek.settings_needed(edge)
    assert len(needed) > 2
    ends = sorted(s for setting in needed for s in setting.stretches_mm)
    assert ends[0][0] == 0
    assert abs(ends[-1][1] - edge.length_mm) < 1e-12
    for (_, last), (first, _) in pairwise(ends):
        assert last == first
    for setting in needed:
        assert setting.from_mm == setting.stretches_mm[0][0] <= setting.to_mm
        low, high = setting.window_deg
        assert low <= setting.elevation_deg <= high


def test_a_symmetric_edge_shares_its_settings_between_both_halves():
    """A tilt about mid-length does the same to both halves, so a setting serves two stretches."""
    edge, _ = rolled_arc(**CASES["area-specific"])
    needed = ek.settings_needed(edge, tolerance_deg=0.4)
    assert any(len(setting.stretches_mm) == 2 for setting in needed)


@FEW
@given(shape=make.shapes(), motion=make.motions())
def test_settings_do_not_change_when_the_blade_is_moved_or_mirrored(shape, motion):
    edge = shape.edge()
    old = ek.best_setting(edge, stations=40)
    for twin in (edge.moved(*motion), edge.mirrored()):
        new = ek.best_setting(twin, stations=40)
        assert abs(new.elevation_deg - old.elevation_deg) < 1e-5
        assert abs(new.worst_error_deg - old.worst_error_deg) < 1e-5
        assert abs(new.roll_span_deg - old.roll_span_deg) < 1e-4


@FEW
@given(shape=make.shapes(), off=make.reals(0.5, 8.0))
def test_no_other_elevation_is_better(shape, off):
    edge = shape.edge()
    best = ek.best_setting(edge, stations=40)
    for elevation in (best.elevation_deg - off, best.elevation_deg + off):
        if abs(elevation) < 89:
            other = ek.setting_at(edge, elevation, stations=40)
            assert other.worst_error_deg >= best.worst_error_deg - 1e-9


# ---- roll --------------------------------------------------------------------------------------


@each_case
def test_turning_back_by_the_roll_brings_every_held_normal_to_one_plane(case):
    """scipy Rotation about the handle axis; the held normals of one elevation form a cone."""
    edge, _ = rolled_arc(**case)
    setting = ek.best_setting(edge)
    n = held_normals(edge, setting.elevation_deg, setting.arc_mm)
    back = Rotation.from_rotvec(-np.radians(setting.roll_deg)[:, None] * edge.handle_axis).apply(n)
    np.testing.assert_allclose(back, np.tile(back[0], (len(back), 1)), atol=1e-9)
    assert np.abs(np.diff(setting.roll_deg)).max() < 5  # unwrapped
    assert abs(setting.roll_span_deg - np.ptp(setting.roll_deg)) < ROUNDING_DEG


def test_the_roll_schedule_gives_every_stretch_the_same_dwell():
    """Contact follows from the roll shown at each time; it must move evenly along the edge."""
    edge = ek.patterns.universal_curette().edges["left"]
    setting = ek.best_setting(edge)
    plan = ek.roll_schedule(setting, seconds=12.0, steps=200)
    held = ek.orient(edge, stations=4001)
    turn = np.sign(held.roll_deg[-1] - held.roll_deg[0])
    contact = np.interp(turn * plan.roll_deg, turn * held.roll_deg, held.arc_mm)
    expected = plan.time_s / 12.0 * edge.length_mm
    np.testing.assert_allclose(
        contact, expected, atol=0.005
    )  # roll between stations: straight lines
    dwell, _ = np.histogram(contact, bins=10, range=(0, edge.length_mm))
    assert np.ptp(dwell) <= 2
    assert plan.time_s[0] == 0
    assert plan.time_s[-1] == 12
    turned = np.trapezoid(plan.rate_deg_per_s, plan.time_s)
    assert abs(turned - (plan.roll_deg[-1] - plan.roll_deg[0])) < 0.02 * abs(turned)


def test_on_a_circle_the_schedule_turns_at_a_constant_rate():
    """Closed form: length / radius, over the time."""
    edge, _ = rolled_arc(plan_mm=6.7, length_mm=5.65)
    plan = ek.roll_schedule(ek.best_setting(edge), seconds=10.0)
    np.testing.assert_allclose(np.abs(plan.rate_deg_per_s), np.degrees(5.65 / 6.7) / 10, rtol=1e-6)


# ---- riser and clearance -------------------------------------------------------------------------


@pytest.mark.parametrize("elevation_deg", [-10.0, 0.0, 15.0, 40.0])
def test_the_riser_fills_the_gap_below_the_contact(elevation_deg):
    """A right triangle: the contact lies reach x sin α below the pivot."""
    holder = ek.Holder(pivot_height_mm=60.0, reach_mm=80.0, stone_height_mm=12.0)
    fit = holder.fit(elevation_deg)
    assert abs(12.0 + fit.riser_mm - (60.0 - 80.0 * np.sin(np.radians(elevation_deg)))) < 1e-12
    assert fit.reachable == (fit.riser_mm >= 0)


def lowest_over_the_stone(radius, start, behind, alpha):
    """Least height of a cylinder's points that lie over the stone, by sampling its surface.

    Its axis leaves the contact upwards by alpha; the stone's surface is height 0 and ends `behind`.
    """
    along = np.linspace(start, start + 400.0, 40001)[:, None]
    turn = np.linspace(0, 2 * np.pi, 73)
    level = along * np.cos(alpha) - radius * np.cos(turn) * np.sin(alpha)
    height = along * np.sin(alpha) + radius * np.cos(turn) * np.cos(alpha)
    over = level <= behind
    return height[over].min() if over.any() else np.inf


@pytest.mark.parametrize("elevation_deg", [-8.0, 0.0, 5.0, 15.0, 30.0])
@pytest.mark.parametrize("behind_mm", [10.0, 60.0])
def test_handle_and_shank_clear_the_stone_by_their_lowest_point(elevation_deg, behind_mm):
    """Explicit trigonometry on sampled cylinders, to the sampling step."""
    holder = ek.Holder(
        stone_behind_mm=behind_mm,
        handle_radius_mm=4.0,
        handle_from_mm=35.0,
        shank_radius_mm=1.0,
        shank_from_mm=6.0,
    )
    fit, alpha = holder.fit(elevation_deg), np.radians(elevation_deg)
    for height, radius, start in ((fit.handle_mm, 4.0, 35.0), (fit.shank_mm, 1.0, 6.0)):
        expected = lowest_over_the_stone(radius, start, behind_mm, alpha)
        if np.isinf(expected):
            assert height == np.inf
        else:
            assert abs(height - expected) < 0.01
    assert fit.clears == (min(fit.handle_mm, fit.shank_mm) > 0)


def test_a_setting_near_zero_puts_the_handle_on_the_stone():
    """Common practice: settings near or below zero need a riser and a stone that ends early."""
    assert not ek.Holder(stone_behind_mm=60.0).fit(0.0).clears
    assert ek.Holder(stone_behind_mm=5.0).fit(0.0).clears
    assert ek.Holder().fit(0.0).riser_mm > ek.Holder().fit(15.0).riser_mm


def test_the_back_is_clear_by_the_flank_times_the_sine_of_the_error() -> None:
    """Distance of the flank's far end from the held plane, by vector algebra."""
    blade = ek.patterns.area_specific_curette()
    edge, flank = blade.edges["used"], blade.section.flank_mm
    setting = ek.best_setting(edge, stations=101)
    frame = edge.frame(setting.arc_mm)
    normals = held_normals(edge, setting.elevation_deg, setting.arc_mm)
    far = frame.position + flank * frame.flank
    behind = -np.einsum("ij,ij->i", normals, far - frame.position)
    np.testing.assert_allclose(setting.back_clearance_mm(flank), behind, atol=1e-12)
    assert setting.back_clearance_mm(flank).min() < 0 < setting.back_clearance_mm(flank).max()


def test_a_setting_can_leave_the_toe_to_the_hand():
    """A toe of a few tenths of a millimetre pulls the best setting off the rest of the edge."""
    edge = ek.read_blade(DEMO / "traces" / "FH-03-UC.toml").edges["left"]
    whole, most = ek.best_setting(edge), ek.best_setting(edge, share=0.9)
    assert most.worst_error_deg < whole.worst_error_deg / 2
    assert most.mean_error_deg < whole.mean_error_deg / 2
    within = np.abs(most.error_deg) <= most.worst_error_deg + 1e-9
    assert 0.9 <= within.mean() < 0.91
    judged = [ek.setting_at(edge, angle).error_deg for angle in np.arange(10.0, 20.0, 0.02)]
    worst = np.sort(np.abs(judged), axis=1)[:, int(np.ceil(0.9 * 400)) - 1]  # by brute force
    assert most.worst_error_deg <= worst.min() + 1e-6
    assert most.worst_error_deg == pytest.approx(worst.min(), abs=0.02)


def test_a_holder_that_cannot_follow_its_edge_says_so_and_why_it_matters():
    """Its first session grinds the bevel to the holder's angle; later ones cost no more than a
    hand's."""
    blade = ek.read_blade(DEMO / "traces" / "FH-03-UC.toml")
    method = ek.methods.held(ek.best_setting(blade.edges["left"]))
    assert method.name.endswith("rolled, up to 3.1° off")
    assert ek.methods.held(15.0).name == "held at 15.0°, rolled"
    assert "off" not in ek.methods.held(ek.settings_needed(blade.edges["left"])).name
    lives = [
        ek.live(blade, method, use=ek.Use(), retire=ek.retire.MaxWidthLoss(fraction=0.2), rng=run)
        for run in range(8)
    ]
    losses = [np.diff(item.history["mean_width_um"], prepend=0.0) for item in lives]
    first, later = np.mean([x[0] for x in losses]), np.mean(np.concatenate([x[1:] for x in losses]))
    assert first > 4 * later
