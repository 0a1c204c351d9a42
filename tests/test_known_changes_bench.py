"""Formulas of the hour at the bench of which a change could leave every test green.

Each against the outside: laws of `scipy.stats`, arcs whose placements have a closed form, sums
written out, both sides of every limit.
"""

import dataclasses
import itertools
import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.clinic.bench import minutes as minutes_module
from edgekit.clinic.bench import requirements as requirements_module
from edgekit.clinic.bench import settings as settings_module
from edgekit.clinic.bench import steps as steps_module
from edgekit.clinic.bench import tables
from edgekit.clinic.bench.minutes import Factor, Work, duration, factors
from edgekit.clinic.bench.plan import (
    ANY_SETTING,
    _check_urgent,
    _clear_range,
    _in_time,
    _requirements,
    _schedule,
    _tray,
)
from edgekit.clinic.bench.requirements import (
    Tool,
    _deep,
    _groups,
    _hollow_um,
    _narrowed,
    _points,
    _widest,
    min_clear_deg,
    requirements,
)
from edgekit.clinic.bench.runs import Arrangement, Piece, _in_order, _rounded, arrange
from edgekit.clinic.bench.settings import SettingRange, fewest_settings, order_tray
from edgekit.clinic.bench.steps import (
    Step,
    _density_per_mm,
    _largest_error,
    _rounds,
    _runs_of,
    placements_over,
)
from edgekit.contact.holder import held_errors
from edgekit.evidence_table import Range, entry, value

Z95 = stats.norm.ppf(0.95)


# ---- minutes -------------------------------------------------------------------------------


def lognormal(name):
    """The law of an entry as `scipy.stats` has it: its value as median, its range as 5 and 95 %."""
    item = entry(name)
    assert isinstance(item.spread, Range)
    return stats.lognorm(np.log(item.spread.high / item.spread.low) / (2 * Z95), scale=item.value)


def test_each_second_has_the_median_and_the_middle_of_its_entry():
    names = {
        "stroke": "seconds_per_stroke",
        "mounting": "bench_mount_seconds",
        "check": "bench_check_seconds",
        "setup": "holder_setup_seconds",
    }
    found = factors()
    assert found["demand"].median == 1.0
    for key, name in names.items():
        law = lognormal(name)
        assert found[key].median == value(name)
        for share in (0.05, 0.3, 0.95):
            want = law.ppf(share)
            assert found[key].quantile(stats.norm.ppf(share)) == pytest.approx(want, rel=1e-12)
        assert found[key].mean == pytest.approx(law.mean(), rel=1e-12)
        assert found[key].variance == pytest.approx(law.var(), rel=1e-12)
    law = lognormal("bench_strokes_per_edge")
    ratio = law.ppf(0.95) / law.median()
    assert found["demand"].quantile(Z95) == pytest.approx(ratio, rel=1e-12)


def test_the_sum_of_the_minutes_has_the_exact_mean_and_variance_of_its_parts():
    work = Work(strokes=130, mountings=7, checks=11, setups=3)
    stroke, demand = lognormal("seconds_per_stroke"), lognormal("bench_strokes_per_edge")
    spread = np.hypot(stroke.args[0], demand.args[0])
    each = [
        stats.lognorm(spread, scale=stroke.median()),
        *map(lognormal, ("bench_mount_seconds", "bench_check_seconds", "holder_setup_seconds")),
    ]
    found = duration(work)
    mean = sum(n * law.mean() for n, law in zip(work, each, strict=True)) / 60
    variance = sum(n**2 * law.var() for n, law in zip(work, each, strict=True)) / 60**2
    assert found.total.mean == pytest.approx(mean, rel=1e-12)
    assert found.total.variance == pytest.approx(variance, rel=1e-12)
    sigma = np.sqrt(np.log(1 + variance / mean**2))
    law = stats.lognorm(sigma, scale=mean / np.sqrt(1 + variance / mean**2))
    rows = found.table.to_dict("records")
    for row, n, part in zip(rows, work, each, strict=False):
        assert (row["count"], row["seconds_each"]) == (n, pytest.approx(part.median(), rel=1e-12))
        for name, share in (("minutes", 0.5), ("minutes_low", 0.05), ("minutes_high", 0.95)):
            assert row[name] == pytest.approx(n * part.ppf(share) / 60, rel=1e-12)
    last = rows[-1]
    assert (len(rows), last["part"], last["count"]) == (5, "all", 1)
    assert last["seconds_each"] == pytest.approx(60 * last["minutes"], rel=1e-12)
    for name, share in (("minutes", 0.5), ("minutes_low", 0.05), ("minutes_high", 0.95)):
        assert last[name] == pytest.approx(law.ppf(share), rel=1e-12)
    for minutes in (1.0, mean, 3 * mean):
        assert found.chance(minutes) == pytest.approx(law.cdf(minutes), rel=1e-12)


def test_nothing_to_do_ends_at_once_and_something_never_in_no_time():
    nothing = duration(Work(0, 0, 0, 0))
    assert nothing.total == Factor(0.0, 0.0)
    assert [nothing.chance(m) for m in (-1, 0, 5)] == [1, 1, 1]
    assert nothing.table["minutes_high"].tolist() == [0] * 5
    something = duration(Work(10, 1, 1, 1))
    assert [something.chance(m) for m in (-1.0, 0.0)] == [0, 0]
    little = duration(Work(1, 0, 0, 0)).total  # under a minute
    assert little.log_sd == pytest.approx(
        np.hypot(
            lognormal("seconds_per_stroke").args[0], lognormal("bench_strokes_per_edge").args[0]
        )
    )
    minute = minutes_module.Duration(table=nothing.table, total=Factor(1.0, 0.5))
    assert minute.chance(1.0) == 0.5
    assert minute.chance(0.5) == pytest.approx(stats.lognorm(0.5).cdf(0.5), rel=1e-12)
    sure = minutes_module.Duration(table=nothing.table, total=Factor(5.0, 0.0))
    assert [sure.chance(m) for m in (4.99, 5.0, 5.01)] == [0, 0.5, 1]


# ---- settings ------------------------------------------------------------------------------


def test_positions_of_a_holder_are_counted_from_its_lowest_within_rounding():
    tenths = SettingRange(low_deg=0.1, high_deg=0.9, step_deg=0.1)
    # (0.8 − 0.1)/0.1 lies above 7 and (0.7 − 0.1)/0.1 below 6 in binary numbers
    held = tenths.within(np.array([[0.8, 0.9], [0.3, 0.7], [0.31, 0.39], [0.0, 2.0]]))
    assert held.tolist() == [[0.8, 0.9], [0.3, 0.7], [0.4, 0.3], [0.1, 0.9]]
    thirds = SettingRange(low_deg=1 / 3, high_deg=10.0, step_deg=1.0)
    assert thirds.nearest(1.3) == 1.333333333
    assert thirds.within(np.array([[1.0, 2.5]])).tolist() == [[1.333333333, 2.333333333]]
    assert [thirds.nearest(at) for at in (-5.0, 1.8, 1.9, 50.0)] == [
        0.333333333,
        1.333333333,
        2.333333333,
        9.333333333,  # the next one lies above the range
    ]


def test_a_holder_without_steps_takes_every_setting_of_its_range():
    free = SettingRange(low_deg=10.0, high_deg=40.0)
    assert free.step_deg == 0.0
    assert [free.nearest(at) for at in (3.0, 17.123456789012, 55.0)] == [10, 17.123456789012, 40]
    held = free.within(np.array([[5.0, 12.3456789012], [41.0, 50.0], [40.0, 50.0]]))
    assert held.tolist() == [[10.0, 12.3456789012], [41.0, 40.0], [40.0, 40.0]]
    one = SettingRange(low_deg=15.0, high_deg=15.0)
    assert fewest_settings([(10, 20)], setting_range=one).settings_deg.tolist() == [15.0]
    assert (ANY_SETTING.low_deg, ANY_SETTING.high_deg, ANY_SETTING.step_deg) == (-90, 90, 0)


def test_a_setting_stands_in_the_middle_of_what_is_shared_and_of_what_can_be_taken():
    whole = SettingRange(low_deg=0.0, high_deg=13.0, step_deg=4.0)
    plan = fewest_settings([(3, 9), (1, 13)], setting_range=whole)
    assert plan.settings_deg.tolist() == [8.0]  # 4 and 8 serve both: the middle, 6, to the even
    assert plan.witness.tolist() == [[4.0, 8.0]]
    assert plan.witness_index.tolist() == [0]


def test_windows_of_one_point_and_turned_ones():
    assert fewest_settings([(5, 5), (5, 7)]).serves.tolist() == [0, 0]
    with pytest.raises(ek.EdgekitError, match="window 1 ends below its start"):
        fewest_settings([(5, 5), (6, 5.999)])


def test_what_too_many_windows_would_take_is_told():
    with pytest.raises(ek.EdgekitError, match=r"1,000,000 or less \(they would take 0\.6 GB\)"):
        settings_module._check_number(2_000_000)


def test_the_number_of_windows_is_looked_at_before_they_are_copied(monkeypatch):
    seen = []
    monkeypatch.setattr(settings_module, "_check_number", seen.append)
    fewest_settings(np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]))
    fewest_settings([(1.0, 2.0)])
    assert seen == [3, 3, 1]


def test_a_tray_is_worked_from_low_to_high_where_no_setting_can_be_shared():
    windows = [(20, 22), (10, 12), (0, 2)]
    tray = order_tray(windows, urgent=[False, True, True])
    assert tray.order.tolist() == [2, 1, 0]
    assert tray.settings_deg.tolist() == [1.0, 11.0, 21.0]
    assert (tray.run.tolist(), tray.changes) == ([0, 1, 2], 2)
    pairs = [(10, 12), (0, 2), (1, 3), (20, 22), (30, 32), (31, 33)]
    early = order_tray(pairs[:4], urgent=[True, True, True, False])
    assert early.order.tolist() == [1, 2, 0, 3]
    late = order_tray(pairs[2:], urgent=[True, False, False, False])
    assert late.order.tolist() == [0, 1, 2, 3]
    late = order_tray([*pairs[4:], (25, 26), (40, 41)], urgent=[False, False, False, True])
    assert late.order.tolist() == [3, 2, 0, 1]
    plain = order_tray(windows)
    assert plain.order.tolist() == [2, 1, 0]
    assert order_tray(windows, urgent=[True] * 3).order.tolist() == [2, 1, 0]


def test_a_setting_shared_by_urgent_and_other_work_stands_where_they_meet():
    windows = [(0, 4), (3, 6), (10, 12), (11, 14), (20, 21)]
    tray = order_tray(windows, urgent=[True, False, True, False, False])
    # one of 0-4 with 3-6 and 10-12 with 11-14 is shared, so of four settings three changes are left
    assert tray.changes == 3
    assert tray.order.tolist()[:2] == [2, 0]
    assert tray.settings_deg.tolist() == [11.0, 3.5, 3.5, 12.5, 20.5]
    assert tray.run.tolist() == [0, 1, 1, 2, 3]


# ---- placements ----------------------------------------------------------------------------


def need_of(curvature, *, spacing=0.1, beta=90.0, **more):
    """What `Step` asks of an edge, with the turn of the stone at each station [1/mm]."""
    curvature = np.asarray(curvature, dtype=float)
    arc = np.arange(len(curvature)) * spacing
    held = SimpleNamespace(
        arc_mm=arc,
        stone_curvature_per_mm=curvature,
        stone_to_face_deg=np.full(len(arc), beta),
        max_rod_mm=more.pop("rod", np.full(len(arc), np.inf)),
    )
    return SimpleNamespace(held=held, **more)


def step_of(need, stations, placements=3, **more):
    stations = np.asarray(stations)
    given = {
        "elevation_deg": np.full(len(stations), 15.0),
        "roll_deg": np.arange(len(stations), dtype=float),
        "run": 0,
        "tool": Tool.HOLDER,
        "error_deg": 0.0,
        "rounds": 2,
    }
    given |= more
    return Step(requirements=need, stations=stations, placements=placements, **given)


@pytest.mark.parametrize("beta", [90.0, 105.0])
@pytest.mark.parametrize("ridge_um", [1.0, 10.0])
def test_an_arc_takes_the_placements_of_its_closed_form(beta, ridge_um):
    # A ridge between two tangents Δs apart on curvature κ stands κ Δs²/8 high, along a flank at
    # angle β as much over sinβ.
    need = need_of(np.full(101, 0.25), beta=beta)
    spacing = math.sqrt(8 * ridge_um * 1e-3 * math.sin(math.radians(beta)) / 0.25)
    density = _density_per_mm(need, ridge_um)
    np.testing.assert_allclose(density, 1 / spacing, rtol=1e-12)
    for count in (1, 10, 101):
        want = math.ceil(count * 0.1 / spacing - 1e-9)
        assert placements_over(need, np.arange(count), ridge_um) == want
    np.testing.assert_allclose(_density_per_mm(need), density * np.sqrt(ridge_um), rtol=1e-12)


def test_a_turn_is_averaged_over_eight_stations_and_hollows_count_as_straight():
    curvature = np.zeros(40)
    curvature[20] = 4.0
    bend = _density_per_mm(need_of(curvature)) ** 2 * 8 / 1000
    assert np.flatnonzero(bend).tolist() == list(range(16, 24))  # each end four stations away
    np.testing.assert_allclose(bend[16:24], 4.0 / 8, rtol=1e-12)
    rising = np.linspace(0.1, 0.9, 40)
    bend = _density_per_mm(need_of(rising)) ** 2 * 8 / 1000
    for at, found in enumerate(bend):
        behind, ahead = max(at - 4, 0), min(at + 4, 39)
        want = sum(rising[behind + 1 : ahead + 1]) / (ahead - behind)
        assert found == pytest.approx(want, rel=1e-12)
    assert not _density_per_mm(need_of(-rising)).any()


def test_a_whole_number_of_placements_is_not_rounded_up_by_rounding():
    # κ = 8 h sinβ/Δs² with Δs of two stations, so that ten stations take five placements.
    for factor, want in ((1.0, 5), (1 + 2e-11, 5), (1 + 1e-8, 6), (0.92, 5), (0.8, 4), (0.0, 1)):
        need = need_of(np.full(60, 8 * 10e-3 / 0.2**2 * factor**2))
        assert placements_over(need, np.arange(20, 30), 10.0) == want


def test_rounds_give_a_stretch_its_share_of_the_strokes():
    strokes = value("bench_strokes_per_edge")
    need = need_of(np.zeros(200))
    for count, placements in ((200, 1), (200, 3), (200, 5), (100, 5), (60, 7), (1, 9), (20, 1)):
        want = max(math.ceil(round(strokes * count / 200 / placements, 9)), 1)
        assert _rounds(need, np.arange(count), placements) == want


def test_gaps_of_two_stations_are_worked_over_and_longer_ones_are_not():
    runs = _runs_of(np.array([3, 4, 7, 11, 12]))  # steps of 3 and 4 stations
    assert [run.tolist() for run in runs] == [[3, 4, 5, 6, 7], [11, 12]]
    assert [run.tolist() for run in _runs_of(np.array([8]))] == [[8]]


def test_placements_stand_in_the_middle_of_equal_shares_of_the_turn():
    even = step_of(need_of(np.full(61, 0.5)), np.arange(10, 50), placements=4)
    # forty stations of one share each: the middles of four equal parts, in stations from the first
    np.testing.assert_allclose(even.placement_roll_deg, [4.5, 14.5, 24.5, 34.5], rtol=1e-12)
    np.testing.assert_array_equal(even.placement_elevation_deg, np.full(4, 15.0))
    assert even.strokes == 8
    straight = step_of(need_of(np.zeros(61)), np.arange(10, 15), placements=1)
    np.testing.assert_allclose(straight.placement_roll_deg, [2.0], rtol=1e-12)
    two = step_of(need_of(np.zeros(61)), np.arange(10, 15), placements=2)
    np.testing.assert_allclose(two.placement_roll_deg, [0.75, 3.25], rtol=1e-12)


def test_placements_crowd_where_the_stone_turns_faster():
    curvature = np.where(np.arange(200) < 100, 0.1, 0.9)  # three times as dense in the second half
    step = step_of(need_of(curvature), np.arange(50, 150), placements=8)
    share = np.cumsum(_density_per_mm(step.requirements)[50:150])
    found = np.interp(step.placement_roll_deg, np.arange(100), share)
    want = (np.arange(8) + 0.5) / 8 * share[-1]
    assert np.abs(found - want).max() < share[-1] / 100  # a station's share
    assert np.count_nonzero(step.placement_roll_deg > 50) == 6
    # a sixteenth of 50 + 3 x 50 shares lies among those of one, but for the smoothing
    assert step.placement_roll_deg[0] == pytest.approx(12.5 - 0.5, abs=0.5)


@pytest.mark.parametrize(("turning", "want"), [(range(20, 60), 32.0), ((59,), 39.0)])
def test_a_stretch_that_hardly_turns_is_placed_where_it_does(turning, want, monkeypatch):
    need = need_of(np.zeros(60))
    density = np.where(np.isin(np.arange(60), list(turning)), 1e-3, 0.0)
    monkeypatch.setattr(steps_module, "_density_per_mm", lambda *_: density)
    step = step_of(need, np.arange(20, 60), placements=1)
    if len(list(turning)) == 1:
        assert step.placement_roll_deg.tolist() == [want]
    else:
        assert step.placement_roll_deg.tolist() == [pytest.approx(19.5)]
    later = np.where(np.arange(60) >= 45, 1e-3, 0.0)
    monkeypatch.setattr(steps_module, "_density_per_mm", lambda *_: later)
    # fifteen stations of one share each, the last of forty
    assert step.placement_roll_deg.tolist() == [pytest.approx(25 + 7.0)]


def test_a_step_spans_half_way_to_its_neighbours_and_to_the_ends_of_the_edge():
    rod = np.array([9.0, 7.0, 5.0, 6.0, 8.0])
    need = need_of(np.zeros(5), spacing=0.5, rod=rod, hollow_um=np.array([1.0, 2.0, 5.0, 3.0, 0.0]))
    need.held.arc_mm = np.array([0.0, 0.4, 1.0, 1.8, 3.0])
    for stations, span, rods, hollow in (
        ([0, 1, 2, 3, 4], (0.0, 3.0), 5.0, 5.0),
        ([1, 2], (0.2, 1.4), 5.0, 5.0),
        ([3], (1.4, 2.4), 6.0, 3.0),
        ([0, 1], (0.0, 0.7), 7.0, 2.0),
        ([3, 4], (1.4, 3.0), 6.0, 3.0),
    ):
        step = step_of(need, stations)
        assert step.span_mm == pytest.approx(span, rel=1e-12)
        assert (step.max_rod_mm, step.hollow_um) == (rods, hollow)


# ---- what an edge requires -----------------------------------------------------------------


class Clears:
    """A holder that clears the stone at some elevations."""

    def __init__(self, clears):
        self.clears = clears

    def fit(self, *, elevation_deg):
        return SimpleNamespace(clears=self.clears(elevation_deg))


@pytest.mark.parametrize("limit", [-88.7, 10.123456789, 0.0, 88.6])
def test_the_lowest_clear_elevation_is_found_by_halving(limit):
    found = min_clear_deg(Clears(lambda angle: angle >= limit))
    step = 0.5 / 2**30  # thirty halvings of half a degree
    assert found == -89 + np.ceil((limit + 89) / step) * step


def test_clear_elevations_end_at_the_last_one_that_touches():
    assert min_clear_deg(Clears(lambda angle: angle > -89.4)) == -90.0
    above = min_clear_deg(Clears(lambda angle: angle < 0 or angle >= 20.3))
    assert above == pytest.approx(20.3, abs=1e-8)
    for limit in (89.1, 89.8):  # 89 degrees are the last looked at
        with pytest.raises(ek.Cannot, match="at every elevation"):
            min_clear_deg(Clears(lambda angle, limit=limit: angle >= limit))


def test_a_window_as_wide_as_the_error_leaves_its_middle():
    windows = np.array([[10.0, 11.0], [0.1, 1.1], [5.0, 9.0], [3.0, 3.6]])
    found = _narrowed(windows, 0.5)
    np.testing.assert_allclose(found, [[10.5, 10.5], [0.6, 0.6], [5.5, 8.5], [3.5, 3.1]])
    assert (found[:2, 0] == found[:2, 1]).all()


def test_an_edge_whose_room_is_the_holders_error_is_still_held():
    plan = ek.plan_bench([ek.patterns.hoe()], tolerance_deg=1.0, setting_error_deg=1.0)
    assert plan.edges["settings"].tolist() == [1]
    assert plan.unserved.empty
    less = ek.plan_bench([ek.patterns.hoe()], tolerance_deg=1.0, setting_error_deg=1.001)
    assert less.edges["settings"].tolist() == [0]


def test_more_settings_are_taken_while_each_serves_enough():
    stations = [40, 30, 12, 11]
    windows = np.concatenate(
        [np.full((n, 2), [10.0 * k, 10 * k + 1]) for k, n in enumerate(stations)]
    )
    spacing = value("bench_least_mm") / 12  # twelve stations are just worth a set-up
    for most, want in ((1, [1]), (2, [1, 11]), (3, [1, 11, 21]), (4, [1, 11, 21])):
        points, count = _points(windows, most, spacing)
        assert (points.tolist(), count) == (want, 4)
    points, count = _points(windows[:40], 4, spacing)
    assert (points.tolist(), count) == ([0.5], 1)  # the middle of what one setting may be
    assert _points(windows[:0], 4, spacing)[1] == 0
    few = np.concatenate([windows[:40], windows[70:75]])  # two settings, one not worth it
    points, count = _points(few, 4, spacing)
    assert (points.tolist(), count) == ([1.0], 2)


def test_settings_serve_the_most_windows_that_any_choice_does():
    rng = np.random.default_rng(3)
    for _ in range(40):
        low = rng.integers(0, 12, 14).astype(float)
        windows = np.stack([low, low + rng.integers(0, 4, 14)], axis=1)
        points, served = _widest(windows, 3)
        ends = np.unique(windows[:, 1])
        for size in (1, 2, 3):
            if size > len(ends):
                break
            best = max(
                int(((windows[:, :1] <= c) & (c <= windows[:, 1:])).any(axis=1).sum())
                for c in map(np.array, itertools.combinations(ends, size))
            )
            assert served[size - 1] == best
            assert len(points[size - 1]) == size
            assert (np.diff(points[size - 1]) > 0).all()


def test_each_station_goes_to_the_setting_nearest_to_its_own_elevation():
    windows = np.array([[10, 20], [10, 20], [12, 30], [0, 5], [19, 30], [10, 30.0]])
    rows, points = np.array([0, 1, 2, 3, 4]), np.array([12.0, 20.0])
    own = np.array([13.0, 18.0, 15.9, 3.0, 12.0, 12.0])
    first, second = _groups(windows, rows, points, own)
    assert first.tolist() == [0, 2]  # 20 serves station 2 as well, and lies further off
    assert second.tolist() == [1, 4]  # 12 would be nearer to station 4, which it does not serve
    assert _groups(windows, rows, np.empty(0), own) == ()
    assert [g.tolist() for g in _groups(windows, rows, np.array([40.0, 20.0]), own)] == [
        [0, 1, 2, 4]
    ]


def test_a_hollow_is_deep_where_any_of_it_lies_beyond_the_limit():
    hollow = np.array([1, 1, 0, 1, 1, 1, 0, 0, 1], dtype=bool)
    depth = np.array([3, 10, 0, 4, 10.5, 2, 0, 0, 9.0])
    assert np.flatnonzero(_deep(hollow, depth, 10.0)).tolist() == [3, 4, 5]
    assert not _deep(hollow, depth, 10.5).any()
    assert np.flatnonzero(_deep(hollow, depth, 9.0)).tolist() == [0, 1, 3, 4, 5]


def hollow_at(x, y, reachable, turn=0.0):
    cos, sin = np.cos(turn), np.sin(turn)
    return SimpleNamespace(
        arc_mm=x,
        reachable=reachable,
        position_mm=np.stack([x * cos - y * sin + 1, x * sin + y * cos + 9, 0 * x], axis=1),
        normal=np.tile([-sin, cos, 0.0], (len(x), 1)),
    )


@pytest.mark.parametrize("turn", [0.0, 0.7])
@pytest.mark.parametrize("scale", [1.0, 0.2])
def test_hollows_are_measured_from_the_line_across_each(turn, scale):
    x = scale * np.linspace(0.0, 4.0, 41)
    y = np.zeros(41)
    first, second = slice(0, 11), slice(20, 36)
    y[first] = -0.02 * scale * np.sin(np.linspace(0, np.pi, 11))  # one begins at the edge's heel
    y[second] = 0.1 * x[second] - scale * np.linspace(0, 1, 16) * np.linspace(1, 0, 16) ** 2
    reachable = np.ones(41, dtype=bool)
    reachable[first] = reachable[second] = False
    found = _hollow_um(hollow_at(x, y, reachable, turn))
    want = np.zeros(41)
    for part in (first, second):
        straight = np.interp(x[part], x[part][[0, -1]], y[part][[0, -1]])
        along = np.array([x[part][-1] - x[part][0], straight[-1] - straight[0]])
        cos = along[0] / np.hypot(*along)  # the foot on the line, seen along the normal (0, 1)
        want[part] = np.maximum((straight - y[part]) * cos**2, 0.0) * 1e3
    np.testing.assert_allclose(found, want, rtol=1e-9, atol=1e-9)
    bulge = _hollow_um(hollow_at(x, -y, reachable, turn))
    assert bulge.max() < 1e-9


def test_a_hollow_up_to_the_toe_and_one_of_a_single_station():
    x, reachable = np.linspace(0, 2, 9), np.ones(9, dtype=bool)
    reachable[[2, 5, 6, 7, 8]] = False
    y = np.where(np.arange(9) == 6, -0.03, 0.0)
    found = _hollow_um(hollow_at(x, y, reachable))
    np.testing.assert_allclose(found, np.where(np.arange(9) == 6, 30.0, 0.0), atol=1e-9)


def test_a_traces_hollow_counts_beyond_three_deviations_of_its_noise(monkeypatch):
    heard = []

    def deep(hollow, depth, limit):
        heard.append(limit)
        return _deep(hollow, depth, limit)

    spacings = []

    def points(windows, most, spacing):
        spacings.append(spacing)
        return _points(windows, most, spacing)

    monkeypatch.setattr(requirements_module, "_deep", deep)
    monkeypatch.setattr(requirements_module, "_points", points)
    traced = ek.read_blade("data_demo/traces/FH-03-SS.toml")
    for blade in (traced, ek.patterns.hoe()):
        name = next(iter(blade.edges))
        asked = requirements(
            "A",
            blade,
            name,
            tolerance_deg=2,
            setting_error_deg=0.5,
            max_settings=2,
            setting_range=SettingRange(low_deg=0, high_deg=90),
        )
        assert spacings.pop() == blade.edges[name].length_mm / 201
        assert len(asked.tools) == 201  # stations: 0.03 mm apart on an edge of 6 mm
    noise = traced.trace.edges["left"].noise_um
    assert heard == [value("bench_hollow_um") + 3 * noise, value("bench_hollow_um")]


@pytest.fixture(scope="module")
def half_length():
    """An edge that the holder serves in part: windows narrower than the error near its toe."""
    return requirements(
        "HL",
        ek.patterns.half_length_curette(),
        "used",
        tolerance_deg=2.0,
        setting_error_deg=0.5,
        setting_range=SettingRange(low_deg=12.0, high_deg=90.0),
        max_settings=2,
    )


def test_windows_of_stations_are_those_of_the_holder_less_its_error(half_length):
    need = half_length
    edge, arc = need.edge, need.held.arc_mm
    for at in range(0, len(arc), 20):
        low, high = need.windows_deg[at]
        room = need.room_deg[at]
        if low > high:
            continue
        # at the ends of the window, the error added, the angle is off by the whole tolerance
        for end, sign in ((low, -1), (high, 1)):
            if end == 12.0:
                continue
            error = held_errors(edge, end + sign * 0.5, arc[at : at + 1])[0]
            assert abs(error) == pytest.approx(2.0, abs=1e-6)
        if low > 12.0:
            assert (high - low) / 2 + 0.5 == pytest.approx(room, rel=1e-9)
    for group, (low, high) in zip(need.groups, need.common_deg, strict=True):
        assert low == need.windows_deg[group, 0].max()
        assert high == need.windows_deg[group, 1].min()
        assert (need.tools[group] == Tool.HOLDER).all()
    held = np.mean(need.tools == Tool.HOLDER) * edge.length_mm
    assert need.length_mm(Tool.HOLDER) == pytest.approx(held)
    assert need.length_mm(Tool.HOLDER) + need.length_mm(Tool.HAND) == pytest.approx(edge.length_mm)
    assert need.urgent is False


def test_the_largest_error_is_that_at_either_end_of_the_play(half_length):
    need, setting = half_length, 16.0
    found = _largest_error(need, setting)
    low, high = (np.abs(held_errors(need.edge, setting + d, need.held.arc_mm)) for d in (-0.5, 0.5))
    assert (low > high).any()
    assert (high > low).any()
    np.testing.assert_array_equal(found, np.where(low > high, low, high))


# ---- runs ----------------------------------------------------------------------------------


def test_settings_are_printed_in_as_few_decimals_as_their_windows_allow():
    cases = [
        (15.04, (15.0, 15.1), 15.0),  # the window's end counts as inside
        (15.06, (14.9, 15.1), 15.1),
        (15.04, (15.01, 15.08), 15.04),
        (15.0437, (15.03, 15.05), 15.04),
        (15.0343, (15.034, 15.0346), 15.034),
        (15.0343, (15.0342, 15.0344), 15.0343),
        (15.06, (15.03, 15.09), 15.06),
    ]
    settings, windows, want = (np.array(column) for column in zip(*cases, strict=True))
    assert _rounded(settings, windows).tolist() == want.tolist()


def test_pieces_come_urgent_first_then_the_holders_by_run_then_by_hand():
    urgent = np.array([False, True, False])
    at = np.arange(3)
    pieces = [
        Piece(0, -1, Tool.ROD, at),
        Piece(1, 1, Tool.HOLDER, at),
        Piece(0, -1, Tool.HAND, at + 5),
        Piece(2, 0, Tool.HOLDER, at),
        Piece(0, 1, Tool.HOLDER, at + 1),
        Piece(0, 1, Tool.HOLDER, at),
        Piece(1, -1, Tool.HAND, at),
    ]
    order = [next(k for k, p in enumerate(pieces) if p is q) for q in _in_order(pieces, urgent)]
    assert order == [1, 6, 3, 5, 4, 2, 0]


def fake_need(name, common, *, urgent=False, stations=6, tools=None):
    """An edge with one group of stations at each of some windows, the rest by hand."""
    groups = tuple(np.array([2 * k, 2 * k + 1]) for k in range(len(common)))
    kinds = np.full(stations, Tool.HAND, dtype=np.int64)
    windows = np.full((stations, 2), [5.0, 4.0])
    for group, window in zip(groups, common, strict=True):
        kinds[group], windows[group] = Tool.HOLDER, window
    if tools:
        for at, tool in tools.items():
            kinds[at] = tool
    return SimpleNamespace(
        instrument=name,
        name="edge",
        key=(name, "edge"),
        urgent=urgent,
        groups=groups,
        common_deg=np.array(common, dtype=float).reshape(-1, 2),
        tools=kinds,
        windows_deg=windows,
        setting_error_deg=0.5,
        min_settings=len(common),
        edge=SimpleNamespace(length_mm=6.0),
        length_mm=lambda tool: 6.0 * float(np.mean(kinds == tool)),
    )


def test_an_arrangement_by_hand():
    needs = [
        fake_need("A", [(10, 14), (30, 34)], tools={5: Tool.ROD}),
        fake_need("B", [(13.03, 13.11)]),
        fake_need("C", []),
        fake_need("D", [(31, 36)], urgent=True, stations=2),
    ]
    made = arrange(needs, SettingRange(low_deg=0, high_deg=90))
    # D is urgent and shares its setting with A's second stretch; 13.07 in one decimal is 13.1
    assert made.settings_deg.tolist() == [32.5, 13.1]
    assert made.windows_deg.tolist() == [[31.0, 34.0], [13.03, 13.11]]
    done = [(p.edge, p.run, p.tool, p.stations.tolist()) for p in made.pieces]
    assert done == [
        (3, 0, Tool.HOLDER, [0, 1]),
        (0, 0, Tool.HOLDER, [2, 3]),
        (0, 1, Tool.HOLDER, [0, 1]),
        (1, 1, Tool.HOLDER, [0, 1]),
        (0, -1, Tool.HAND, [4]),
        (1, -1, Tool.HAND, [2, 3, 4, 5]),
        (2, -1, Tool.HAND, [0, 1, 2, 3, 4, 5]),
        (0, -1, Tool.ROD, [5]),
    ]
    assert made.min_settings == 2
    assert made.witness_edges.tolist() == [1, 0]
    quarters = SettingRange(low_deg=0.25, high_deg=89.75, step_deg=0.25)
    wide = [fake_need("A", [(10.2, 11.3)])]
    assert arrange(wide, quarters).settings_deg.tolist() == [10.75]  # as it can be taken
    assert arrange(wide, SettingRange(low_deg=0, high_deg=90)).settings_deg.tolist() == [10.8]
    empty = arrange([fake_need("C", [])], quarters)
    assert (empty.settings_deg.shape, empty.windows_deg.shape) == ((0,), (0, 2))
    assert empty.min_settings == 0


# ---- tables --------------------------------------------------------------------------------


def arrangement(needs):
    return arrange(needs, SettingRange(low_deg=0, high_deg=90))


def test_the_table_of_settings_says_where_the_holder_may_stand():
    needs = [
        fake_need("A", [(10, 14), (30, 34)]),
        fake_need("B", [(13.0, 18.0)]),
        fake_need("D", [(31, 36)], stations=2),
    ]
    table = tables.settings_table(arrangement(needs), None, 0.5)
    assert table["run"].tolist() == [1, 2]
    assert table["elevation_deg"].tolist() == [13.5, 32.5]
    assert table["within_deg"].tolist() == [1.0, 2.0]
    assert table["low_deg"].tolist() == [12.5, 30.5]
    assert table["high_deg"].tolist() == [14.5, 34.5]
    assert table["edges"].tolist() == [2, 2]
    assert table["riser_mm"].isna().all()
    aside = dataclasses.replace(arrangement(needs), settings_deg=np.array([13.2, 33.5]))
    found = tables.settings_table(aside, None, 0.5)["within_deg"]
    assert found.tolist() == pytest.approx([0.7, 1.0])  # to the nearer end
    holder = ek.Holder()
    risers = tables.settings_table(arrangement(needs), holder, 0.5)["riser_mm"]
    want = [
        holder.pivot_height_mm
        - holder.reach_mm * math.sin(math.radians(angle))
        - holder.stone_height_mm
        for angle in (13.5, 32.5)
    ]
    assert risers.tolist() == pytest.approx(want, rel=1e-12)


def test_the_table_of_edges_counts_settings_and_lengths():
    needs = [
        fake_need("A", [(10, 14), (30, 34)], tools={5: Tool.ROD}),
        fake_need("B", [(13.0, 18.0)]),
        fake_need("C", [], urgent=True),
    ]
    planned = needs[1:]
    table = tables.edges_table(needs, arrangement(planned), planned)
    assert table["settings"].tolist() == [0, 1, 0]
    assert table["settings_for_all"].tolist() == [2, 1, 0]
    assert table["planned"].tolist() == [False, True, True]
    assert table["urgent"].tolist() == [False, False, True]
    np.testing.assert_array_equal(table["low_deg"], [np.nan, 12.5, np.nan])
    np.testing.assert_array_equal(table["high_deg"], [np.nan, 18.5, np.nan])
    assert table["holder_mm"].tolist() == [4.0, 2.0, 0.0]
    assert table["hand_mm"].tolist() == [1.0, 4.0, 6.0]
    assert table["rod_mm"].tolist() == [1.0, 0.0, 0.0]
    witness = tables.witness_table(arrangement(needs), needs)
    assert witness["low_deg"].tolist() == [9.5, 29.5]
    assert witness["high_deg"].tolist() == [14.5, 34.5]
    assert witness["instrument"].tolist() == ["A", "A"]


def by_hand(room, error, tolerance, *, windows=(10.0, 5.0), elevations=(20.4, 31.6)):
    need = SimpleNamespace(
        room_deg=np.array([9.0, room, 5.0]),
        setting_error_deg=error,
        windows_deg=np.broadcast_to(windows, (3, 2)),
        min_settings=4,
    )
    step = SimpleNamespace(
        requirements=need, stations=np.array([0, 1]), elevation_deg=np.array(elevations)
    )
    return tables._by_hand(step, tolerance)


def test_a_stretch_by_hand_says_why_and_what_tolerance_would_serve_it():
    reason, advice = by_hand(0.25, 1.0, 2.0)
    assert reason == "the angle holds within ± 0.25° of a setting, the holder only within ± 1°"
    assert "a tolerance of 8° or more" in advice
    assert "a tolerance of 9.1° or more" in by_hand(0.22, 1.0, 2.0)[1]  # 9.0909…, rounded up
    assert "tolerance of 9.9°" in by_hand(0.202020203, 1.0, 2.0)[1]
    assert len(by_hand(0.2, 1.0, 2.0)) == 1  # 10 degrees are told to nobody
    assert len(by_hand(0.0, 1.0, 2.0)) == 1
    # as wide as the error but for rounding: it is the holder or the number of settings
    for room in (1.0, 1.0 - 1e-10, 2.0):
        assert by_hand(room, 1.0, 2.0)[0] == "the holder cannot take its settings"
    assert by_hand(1.0 - 1e-9, 1.0, 2.0)[0] == "the holder cannot take its settings"
    assert "only within" in by_hand(1.0 - 1e-8, 1.0, 2.0)[0]
    mixed = [[10.0, 5.0], [5.0, 6.0], [10.0, 5.0]]
    assert by_hand(1.5, 1.0, 2.0, windows=mixed)[0] == "the whole edge needs 4 settings"
    assert "a tolerance of 4° or more" in by_hand(0.25, 0.5, 2.0)[1]
    assert by_hand(1.5, 1.0, 2.0, windows=(5.0, 5.0))[0] == "the whole edge needs 4 settings"


def test_seconds_beside_practice_are_strokes_checks_and_mountings():
    tray = {
        "UC": ek.patterns.universal_curette(),
        "AS": ek.patterns.area_specific_curette(),
        "HO": ek.patterns.hoe(),
    }
    plan = ek.plan_bench(tray, tolerance_deg=3)
    assert plan.practice["instrument"].tolist() == ["UC", "AS"]  # in order of work
    for row in plan.practice.itertuples():
        steps = plan.order[plan.order["instrument"] == row.instrument]
        want = (
            steps["strokes"].sum() * value("seconds_per_stroke")
            + steps["edge"].nunique() * value("bench_check_seconds")
            + steps["run"].nunique() * value("bench_mount_seconds")
        )
        assert row.seconds == pytest.approx(want, rel=1e-12)
    practice = plan.practice.set_index("instrument")["practice_seconds"]
    assert practice.to_dict() == {"UC": 45.0, "AS": 30.0}


def test_an_edge_without_time_is_unserved_from_end_to_end():
    plan = ek.plan_bench(
        {"A": ek.patterns.universal_curette(), "B": ek.patterns.hoe()}, minutes_available=0.5
    )
    late = plan.unserved[plan.unserved["reason"] == "no time within 0.5 minutes"]
    lengths = plan.edges.set_index(["instrument", "edge"])["length_mm"]
    assert len(late) == (~plan.edges["planned"]).sum() > 0
    assert (late["from_mm"] == 0.0).all()
    for row in late.itertuples():
        assert row.to_mm == lengths[row.instrument, row.edge]
        assert row.advice == "plan it first next time: name it in urgent"


# ---- the plan ------------------------------------------------------------------------------


def test_edges_of_several_settings_are_kept_by_the_most_shared_and_a_chance_just_met_is_met():
    runs = {"A": (1, 2), "B": (3, 4), "C": (0, 1), "D": (0,), "E": (2,), "F": (3,), "G": (4,)}
    runs |= {"H": (0,), "I": (0,)}  # run 0 serves four, run 1 two, the others two
    needs = [SimpleNamespace(key=k, urgent=False) for k in runs]
    pieces = [SimpleNamespace(edge=at, run=r) for at, k in enumerate(runs) for r in runs[k]]
    every = SimpleNamespace(needs=needs, arrangement=SimpleNamespace(pieces=pieces))
    wanted = ["D", "H", "I", "E", "F", "G", "C", "A", "B"]
    for room in range(10):

        def schedule(chosen, room=room):
            def chance(_):
                return 0.9 if len(chosen) <= room else 0.899

            return SimpleNamespace(needs=chosen, duration=SimpleNamespace(chance=chance))

        done = _in_time(every, schedule, 10.0, 0.9)
        assert {need.key for need in done.needs} == set(wanted[:room])


def test_pairs_that_are_misspelt_are_suggested_by_their_code():
    with pytest.raises(ek.EdgekitError, match="Did you mean 'AB-1'"):
        _check_urgent([("AB-2", "left and long")], [("AB-1", "left"), ("ZZ", "left")])
    with pytest.raises(ek.EdgekitError, match="Give codes of the tray"):
        _check_urgent([()], [("AB-1", "left")])


def test_risers_of_steps_are_those_of_their_set_ups():
    blade = ek.patterns.half_length_curette()
    plan = ek.plan_bench({"HL": blade, "HO": ek.patterns.hoe()}, holder=ek.Holder())
    risers = dict(zip(plan.settings["run"], plan.settings["riser_mm"], strict=True))
    want = [risers.get(run, np.nan) for run in plan.order["run"]]
    np.testing.assert_array_equal(plan.order["riser_mm"], want)
    assert plan.order["riser_mm"].isna().any()


@pytest.fixture(scope="module")
def plan():
    tray = {
        "AS": ek.patterns.area_specific_curette(),
        "UC": ek.patterns.universal_curette(),
        "CS": ek.patterns.curved_sickle(),
        "HL": ek.patterns.half_length_curette(),
    }
    return ek.plan_bench(tray, tolerance_deg=3, urgent=["HL"])


def test_an_instrument_is_mounted_again_after_any_other_and_at_every_set_up(plan):
    order = list(zip(plan.order["run"], plan.order["instrument"], strict=True))
    mounted = 1 + sum(a != b for a, b in itertools.pairwise(order))
    counts = plan.minutes.set_index("part")["count"]
    assert counts["mounting the instrument"] == mounted
    assert plan.order["step"].tolist() == list(range(1, len(order) + 1))
    assert plan.changes == len(plan.settings) - 1
    assert plan.order.loc[plan.order["how"] != "holder", "run"].eq(0).all()


def test_steps_are_read_off_the_geometry_behind_them(plan):
    for row, step in zip(plan.order.itertuples(), plan.steps, strict=True):
        need, at = step.requirements, step.stations
        assert (row.from_mm, row.to_mm) == step.span_mm
        assert (row.roll_from_deg, row.roll_to_deg) == (step.roll_deg[0], step.roll_deg[-1])
        assert (row.elevation_deg, row.elevation_to_deg) == (
            step.elevation_deg[0],
            step.elevation_deg[-1],
        )
        assert row.strokes == step.placements * step.rounds
        if step.tool == Tool.HOLDER:
            served = at[need.tools[at] == Tool.HOLDER]
            setting = plan.settings["elevation_deg"][row.run - 1]
            assert row.elevation_deg == pytest.approx(setting, abs=1e-9)
            ends = [
                np.abs(held_errors(need.edge, setting + sign * 0.5, need.held.arc_mm[served]))
                for sign in (-1, 1)
            ]
            assert row.worst_error_deg <= np.maximum(*ends).max() + 1e-9
            assert row.worst_error_deg <= 3 + 1e-6
        else:
            assert row.worst_error_deg == 0.0
            np.testing.assert_array_equal(step.roll_deg, need.held.roll_deg[at])
        assert math.isnan(row.rod_mm) == (step.tool != Tool.ROD)


def test_the_error_of_a_step_is_the_largest_at_the_stations_it_serves(plan):
    held = [step for step in plan.steps if step.tool == Tool.HOLDER]
    seen = {}
    for step in held:
        for piece in arrange(list(plan.requirements), ANY_SETTING).pieces:
            need = plan.requirements[piece.edge]
            if need.key == step.requirements.key and piece.tool == Tool.HOLDER:
                served = np.intersect1d(step.stations, piece.stations)
                if len(served):
                    setting = float(plan.settings["elevation_deg"][step.run])
                    arc = need.held.arc_mm[served]
                    worst = max(
                        np.abs(held_errors(need.edge, setting + d, arc)).max() for d in (-0.5, 0.5)
                    )
                    seen.setdefault(id(step), []).append(worst)
        assert step.error_deg in [pytest.approx(w, rel=1e-9) for w in seen[id(step)]]


def test_trays_of_a_session_have_2000_edges_at_most_and_codes_80_letters():
    hoe, curette = ek.patterns.hoe(), ek.patterns.universal_curette()
    assert len(_tray({f"A{k}": hoe for k in range(2000)})) == 2000
    assert len(_tray({f"A{k}": curette for k in range(1000)})) == 1000
    for tray in ({f"A{k}": hoe for k in range(2001)}, {}):
        with pytest.raises(ek.EdgekitError, match="a tray has 1 to 2000 edges"):
            _tray(tray)
    assert list(_tray({"x" * 80: hoe})) == ["x" * 80]
    with pytest.raises(ek.EdgekitError, match="over 80 letters"):
        _tray({"x" * 81: hoe})


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("tolerance_deg", (0.00101, 44.9), (0.001, 45)),
        ("setting_error_deg", (0,), (-1e-9,)),
        ("chance", (0.001, 0.999), (0.0, 1.0)),
        ("max_settings", (1,), (0,)),
        ("ridge_um", (1e-3,), (0.0,)),
        ("minutes_available", (1e-3,), (0.0,)),
    ],
)
def test_both_sides_of_every_limit_of_a_plan(name, good, bad):
    for number in good:
        ek.plan_bench([ek.patterns.hoe()], **{name: number})
    for number in bad:
        with pytest.raises(ek.EdgekitError, match=name):
            ek.plan_bench([ek.patterns.hoe()], **{name: number})


def test_defaults_of_a_plan_are_those_of_the_evidence_table():
    tray = {"HL": ek.patterns.half_length_curette(), "UC": ek.patterns.universal_curette()}
    plain = ek.plan_bench(tray, minutes_available=1.2)
    given = ek.plan_bench(
        tray,
        tolerance_deg=value("tolerance_deg"),
        setting_error_deg=value("bench_setting_error_deg"),
        setting_range=SettingRange(low_deg=-90, high_deg=90),
        urgent=(),
        minutes_available=1.2,
        chance=value("bench_chance"),
        max_settings=int(value("bench_most_settings")),
        ridge_um=value("bench_ridge_um"),
    )
    for name in ("settings", "order", "edges", "minutes", "unserved"):
        pd.testing.assert_frame_equal(getattr(plain, name), getattr(given, name))


def test_the_holders_range_begins_where_it_clears_with_its_error():
    holder = ek.Holder()
    low = min_clear_deg(holder) + 0.7
    whole = _clear_range(SettingRange(low_deg=-90, high_deg=70), holder, 0.7)
    assert (whole.low_deg, whole.high_deg) == (low, 70)
    steps = _clear_range(SettingRange(low_deg=0, high_deg=80, step_deg=1), holder, 0.7)
    assert steps.low_deg == math.ceil(low)
    just = _clear_range(SettingRange(low_deg=20, high_deg=20), holder, 0.7)
    assert just.low_deg == just.high_deg == 20
    with pytest.raises(ek.Cannot, match="at every setting below"):
        _clear_range(SettingRange(low_deg=0, high_deg=low - 0.01), holder, 0.7)


@pytest.mark.parametrize("reach", [30.0, 50.0, 80.0])
def test_the_holders_range_ends_where_a_stroke_has_no_room_before_the_post(reach):
    """5 mm of stroke, and 10 mm free at either end of the stone: 25 mm along the bench."""
    holder = ek.Holder(reach_mm=reach, stone_behind_mm=1.0)
    steepest = math.degrees(math.acos(25 / reach)) - 0.5
    open_range = SettingRange(low_deg=-90, high_deg=90)
    assert _clear_range(open_range, holder, 0.5).high_deg == pytest.approx(steepest, abs=1e-9)
    with pytest.raises(ek.Cannot, match="longer reach"):
        _clear_range(SettingRange(low_deg=steepest + 0.01, high_deg=90), holder, 0.5)
    blade = ek.patterns.hoe(internal_angle_deg=30)  # 60 degrees, but for the shank
    plan = ek.plan_bench({"HO": blade}, holder=holder)
    assert (plan.settings["elevation_deg"] < steepest).all()
    assert (plan.settings["elevation_deg"] > 0).any() or "HO" in set(plan.unserved["instrument"])
    with pytest.raises(ek.Cannot, match="reach_mm of 25"):
        ek.plan_bench({"HO": blade}, holder=dataclasses.replace(holder, reach_mm=24.9))


def test_one_pattern_is_computed_once_and_urgency_is_by_code_or_by_edge():
    curette, calls = ek.patterns.universal_curette(), []

    @dataclasses.dataclass(frozen=True)
    class Asked:
        instrument: str
        name: str
        urgent: bool = False

    def require(code, _, name):
        calls.append((code, name))
        return Asked(code, name)

    tray = {"A": curette, "B": curette, "C": ek.patterns.universal_curette()}
    needs = _requirements(tray, ["A", ("B", "right")], require)
    assert calls == [("A", "left"), ("A", "right"), ("C", "left"), ("C", "right")]
    assert [(n.instrument, n.name) for n in needs if n.urgent] == [
        ("A", "left"),
        ("A", "right"),
        ("B", "right"),
    ]
    assert [n.instrument for n in needs] == ["A", "A", "B", "B", "C", "C"]
    with pytest.raises(ek.EdgekitError, match="not in the tray"):
        _requirements(tray, [("A", "used")], require)


def test_a_plan_says_in_words_what_its_tables_say(plan):
    total = plan.minutes.iloc[-1]
    words = repr(plan)
    assert words.startswith(
        f"BenchPlan: {len(plan.edges)} edges of 4 instruments at {len(plan.settings)} settings"
    )
    assert words.endswith(f"({total['minutes_low']:.0f} to {total['minutes_high']:.0f})")
    short = ek.plan_bench({"A": ek.patterns.universal_curette()}, minutes_available=0.01)
    assert repr(short).startswith("BenchPlan: 0 edges of 1 instruments at 0 settings")
    assert repr(short).endswith("; 2 edges left out for time")
    assert short.changes == 0
    one = ek.plan_bench([ek.patterns.hoe()])
    assert (one.changes, "left out" in repr(one)) == (0, False)


def test_schedules_count_strokes_checks_and_set_ups(plan):
    made = _schedule(ANY_SETTING, value("bench_ridge_um"), ek.Holder(), list(plan.requirements))
    counts = made.duration.table.set_index("part")["count"]
    assert counts["grinding"] == sum(step.placements * step.rounds for step in made.steps)
    assert counts["checking the edge"] == len(plan.requirements)
    assert counts["setting up the holder"] == len(made.arrangement.settings_deg)
    assert isinstance(made.arrangement, Arrangement)
