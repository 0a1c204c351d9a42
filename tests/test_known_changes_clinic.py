"""Formulas of the clinic of which a change once left every test green, each against the outside.

Roots are found again by `scipy.optimize.brentq`, dates by the standard library's calendar, spreads
by drawing (GUM supplement 1, JCGM 101:2008), sums by what a change of unit must do to them.
"""

import calendar
import dataclasses
import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.optimize import brentq
from scipy.special import ndtr

import edgekit as ek
from edgekit.clinic.bench.plan import _in_time
from edgekit.clinic.cost.budget import count_quantiles
from edgekit.clinic.forecasting import growth as growth_module
from edgekit.clinic.forecasting.crossing_time import Drift, passed_share, quantiles
from edgekit.clinic.forecasting.growth import Growth, check_growth
from edgekit.clinic.forecasting.kalman import Readings
from edgekit.clinic.forecasting.pooling import _slopes_can_differ
from edgekit.clinic.forecasting.survival import kaplan_meier
from edgekit.clinic.forecasting.update import Scale, update_inputs, update_loss
from edgekit.clinic.log.cells import read_width
from edgekit.clinic.log.dates import read_date
from tests.results import DEMO, QUICK

PARTS = ("margin", "rate", "v0", "v1", "v2")
FAR = 1e7  # steps; a root beyond counts as none


@pytest.fixture(scope="module")
def log():
    return ek.read_log(DEMO / "log.csv")


@pytest.fixture(scope="module")
def forecast(log):
    return ek.forecast(log, retire=ek.MaxWidthLoss())


# ---- when a width meets its limit ----------------------------------------------------------


def of_one(*numbers):
    return Drift(**{name: np.array([number]) for name, number in zip(PARTS, numbers, strict=True)})


def standing(drift, at, steps):
    """(rate r − margin)/sd of one edge after r steps."""
    margin, rate, v0, v1, v2 = (float(getattr(drift, name)[at]) for name in PARTS)
    return (rate * steps - margin) / (v0 + v1 * steps + v2 * steps**2) ** 0.5


def first_reach(drift, at, level):
    """Least r ≥ 0 at which the standing is `level` or more, found on a fine grid and by a root."""
    grid = np.concatenate([[0.0], np.geomspace(1e-3, FAR, 4000)])
    reached = np.flatnonzero(standing(drift, at, grid) >= level)
    if not len(reached):
        return np.inf
    k = reached[0]
    if k == 0:
        return 0.0
    return brentq(lambda r: standing(drift, at, r) - level, grid[k - 1], grid[k], xtol=1e-12)


def test_the_steps_to_a_limit_are_where_the_chance_of_having_met_it_is_as_stated():
    rng, n, z = np.random.default_rng(2), 300, 1.3
    drift = Drift(
        margin=rng.uniform(-30, 120, n),
        rate=rng.uniform(-2, 8, n),
        v0=rng.uniform(0.1, 400, n),
        v1=rng.uniform(0, 20, n) * (rng.random(n) < 0.5),
        v2=rng.uniform(0, 6, n) * (rng.random(n) < 0.7),
    )
    middle, low, high = quantiles(drift, z)
    assert (low <= middle).all()
    assert (middle <= high).all()
    for at in range(n):
        if drift.rate[at] > 0:
            want = max(drift.margin[at] / drift.rate[at], 0.0)
            assert middle[at] == pytest.approx(want, rel=1e-12)
        want = min(first_reach(drift, at, -z), middle[at])
        assert low[at] == pytest.approx(want, rel=1e-6, abs=1e-6)
        if drift.rate[at] ** 2 <= z**2 * drift.v2[at]:  # the loss may be nothing (Fieller)
            want = 0.0 if standing(drift, at, 0.0) >= z else np.inf
        else:
            want = first_reach(drift, at, z)
        assert high[at] == pytest.approx(max(want, middle[at]), rel=1e-6, abs=1e-6)


def test_a_margin_of_exactly_z_deviations_may_be_used_up_already():
    # P(used up by now) is Φ(−z) exactly, whether the loss is certain or may be nothing (Fieller).
    one = np.ones(2)
    drift = Drift(margin=2 * one, rate=0.1 * one, v0=one, v1=0 * one, v2=np.array([0.0, 4.0]))
    _, low, high = quantiles(drift, 2.0)
    assert low.tolist() == [0.0, 0.0]
    assert high.tolist() == [pytest.approx(40.0), np.inf]


def test_a_margin_gone_by_exactly_z_deviations_is_used_up_already():
    one = np.ones(2)
    drift = Drift(margin=-2 * one, rate=0.1 * one, v0=one, v1=0 * one, v2=np.array([0.0, 4.0]))
    assert quantiles(drift, 2.0)[2].tolist() == [0.0, 0.0]


def test_a_loss_that_may_just_be_nothing_has_no_upper_bound():
    # rate² = z² v2 exactly, and more steel gone than may be, but not surely (see `quantiles`).
    _, low, high = quantiles(of_one(-1.0, 2.0, 1.0, 0.0, 1.0), 2.0)
    assert (low[0], high[0]) == (0.0, np.inf)


def test_the_share_past_its_limit_is_a_normal_law_and_never_falls():
    drift = of_one(10.0, 1.0, 4.0, 0.5, 0.25)
    steps = np.array([0.0, 3.0, 8.0, 20.0])
    want = ndtr((steps - 10) / np.sqrt(4 + 0.5 * steps + 0.25 * steps**2))
    np.testing.assert_allclose(passed_share(drift, steps)[0], want, rtol=1e-12)
    falling = of_one(10.0, -1.0, 100.0, 0.0, 0.0)
    share = passed_share(falling, steps)[0]
    np.testing.assert_array_equal(share, np.full(4, ndtr(-1.0)))


@pytest.mark.parametrize("level", [-0.1, 0.0, 1.0, 1.5, 2.0, np.nan])
def test_levels_of_an_interval_lie_between_0_and_1(level, log, forecast):
    sweep = pd.DataFrame({"sessions": [1.0, 2.0, 4.0]})
    for call in (
        lambda: ek.forecast(log, retire=ek.MaxWidthLoss(), level=level),
        lambda: ek.survival(log, level=level),
        lambda: kaplan_meier([1.0, 2.0], [True, False], level=level),
        lambda: ek.runs_needed(sweep["sessions"].to_numpy(), error=0.2, level=level),
    ):
        with pytest.raises(ek.EdgekitError, match="level"):
            call()


# ---- what makes a saving, and how sure it is -----------------------------------------------


def of_module(forecast, prices, change, method):
    from edgekit.clinic.cost import saving as module

    loss, loss_sd = module._loss(forecast, change.pattern, method)
    return loss, loss_sd, module._session_cost(forecast.log, prices, method)


def changes_of_method(forecast):
    """A pattern of the log with two methods, and the change from one to the other."""
    used = forecast.groups.groupby("pattern")["method"].agg(list)
    pattern = next(p for p, methods in used.items() if len(methods) > 1)
    first, second = used[pattern][:2]
    return ek.clinic.MethodChange(pattern=pattern, method=first, to=second)


def test_a_saving_by_method_spreads_as_its_uncertain_inputs_do(forecast):
    from edgekit.clinic.cost import saving as module

    prices = ek.read_prices(DEMO / "prices.csv")
    prices = dataclasses.replace(prices, instrument={"": 400.0})  # so that the loss decides
    change = changes_of_method(forecast)
    rate, rate_sd, per_um = module._edges(forecast, prices, change.pattern, change.method)
    before, after = (
        of_module(forecast, prices, change, method) for method in (change.method, change.to)
    )
    chance, size = np.random.default_rng(4), 20_000
    old, new = (chance.normal(part[0], part[1], size)[:, None] for part in (before, after))
    paces = chance.normal(rate, rate_sd, (size, len(rate)))
    drawn = (paces * ((old - new) * per_um + before[2] - after[2])).sum(axis=1)
    found = ek.saving(forecast, prices=prices, change=change)
    half = (found.per_year_high - found.per_year_low) / 2
    z = 1.6448536269514722  # Φ⁻¹(0.95), from tables
    assert half / z == pytest.approx(drawn.std(), rel=0.03)  # 20,000 draws: 0.5 %
    assert found.per_year == pytest.approx(drawn.mean(), rel=0.03)
    assert found.chance == pytest.approx((drawn > 0).mean(), abs=0.02)


@pytest.mark.parametrize("kind", ["method", "interval"])
def test_a_saving_doubles_with_the_currency_and_its_chance_does_not(forecast, kind):
    change = changes_of_method(forecast)
    if kind == "interval":
        change = ek.clinic.IntervalChange(pattern=change.pattern, method=change.method, factor=1.5)
    one, two = (
        ek.saving(
            forecast,
            prices=ek.Prices(
                instrument={"": 40 * worth},
                session={"": 0.7 * worth},
                minute=0.5 * worth,
                currency="EUR",
            ),
            change=change,
        )
        for worth in (1.0, 2.0)
    )
    for name in ("per_year", "per_year_low", "per_year_high"):
        assert getattr(two, name) == pytest.approx(2 * getattr(one, name), rel=1e-12)
    assert two.chance == pytest.approx(one.chance, rel=1e-12)


# ---- verdicts and updates ------------------------------------------------------------------


def test_a_line_is_straight_unless_its_share_lies_below_the_level(monkeypatch):
    bend, left, freedom = np.array([2.0, 3.0]), np.array([1.0, 1.0]), np.array([3, 3])
    share = growth_module._verdict(bend, left, freedom).share
    above = float(np.nextafter(share, 1.0))
    for level, verdict in ((share, Growth.STRAIGHT), (above, Growth.SPEEDS_UP)):
        monkeypatch.setattr(growth_module, "value", lambda _, level=level: level)
        assert growth_module._verdict(bend, left, freedom).verdict is verdict


def shares_from_outside(counts, seed):
    """p-value of a straight line for one group of edges of so many readings, by scipy alone."""
    rng = np.random.default_rng(seed)
    edge = np.repeat(np.arange(len(counts)), counts)
    sessions = np.concatenate([np.sort(rng.uniform(0, 30, n)) for n in counts])
    loss = 6 * sessions + 0.1 * sessions**2 + rng.normal(0, 8, len(edge))
    bends, left, freedom = [], 0.0, 0
    for at in range(len(counts)):
        x, y = sessions[edge == at], loss[edge == at]
        if len(x) < 4:
            continue
        line, curve = (np.polynomial.Polynomial.fit(x, y, k) for k in (1, 2))
        rest = [((y - fit(x)) ** 2).sum() for fit in (line, curve)]
        sign = np.sign(curve.convert().coef[2])
        bends.append(sign * (rest[0] - rest[1]) ** 0.5)
        left, freedom = left + rest[1], freedom + len(x) - 3
    if len(bends) >= 5:
        want = stats.ttest_1samp(bends, 0).pvalue
    else:
        ratio = np.mean(np.square(bends)) / (left / freedom)
        want = stats.f.sf(ratio, len(bends), freedom)
    (found,) = check_growth(edge, sessions, loss, np.zeros(len(counts), dtype=int))
    return found, want, len(bends)


@pytest.mark.parametrize(
    "counts", [(4,), (5, 4), (9, 3, 4, 6), (4, 5, 6, 7, 3), (6,) * 5, (4,) * 9]
)
def test_the_share_of_a_straight_line_is_that_of_the_textbook_test(counts):
    for seed in range(4):
        found, want, edges = shares_from_outside(counts, seed)
        assert found.edges == edges
        assert found.share == pytest.approx(want, rel=1e-6)


def test_an_input_of_nothing_has_no_logarithm():
    loss = np.arange(12.0)
    with pytest.raises(ek.EdgekitError, match="above 0 on a log scale"):
        update_inputs(loss[:, None], loss, (5.0, 1.0), scales=(Scale.LOG,))
    assert np.isfinite(
        update_inputs(loss[:, None] + 1, loss, (5.0, 1.0), scales=(Scale.LOG,)).mean
    ).all()


def test_losses_are_compared_where_some_group_has_two_edges_that_lose():
    def data(groups, losing):
        edges = np.repeat(np.arange(len(groups)), 3)
        lost = np.tile([0.0, 5.0, 10.0], len(groups)) * np.repeat(losing, 3)
        steps = np.tile([0.0, 5.0, 10.0], len(groups)) * np.repeat(losing, 3)
        return Readings.build(edge=edges, sessions=steps, width_um=860 - 6 * lost, group=groups)

    assert _slopes_can_differ(data([0, 0, 1], [1, 1, 1]))
    assert _slopes_can_differ(data([0, 1, 1], [1, 1, 1]))
    assert not _slopes_can_differ(data([0, 1], [1, 1]))
    assert not _slopes_can_differ(data([0, 0, 1], [1, 0, 1]))


def test_inputs_are_updated_by_the_loss_that_stands_in_the_table(forecast, monkeypatch):
    from edgekit.clinic.forecasting import model_check

    given = []

    def heard(drawn, loss, observed, **options):
        given.append((loss.mean(), observed[0]))
        return update_inputs(drawn, loss, observed, **options)

    monkeypatch.setattr(model_check, "update_inputs", heard)
    models = dict.fromkeys(forecast.log.rows["method"].unique(), QUICK)
    check = ek.compare_with_model(forecast, methods=models, seed=1, runs=20)
    known = check.groups.dropna(subset=["model_um_per_session"])
    want = known[["model_um_per_session", "loss_um_per_session"]].to_numpy()
    np.testing.assert_allclose(np.array(given), want, rtol=1e-12)


@pytest.mark.parametrize("scale", Scale)
def test_a_model_that_gives_its_input_back_is_updated_as_the_loss_itself(scale):
    # Bayes' rule for one normal number: by its mean and deviation, or by a sample that has them.
    rng = np.random.default_rng(7)
    x = rng.normal(2.0, 0.3, 60)
    mean, sd, observed = x.mean(), x.std(ddof=1), (2.6, 0.4)
    if scale is Scale.LINEAR:
        one = update_loss((mean, sd), observed)
        other = update_inputs(x[:, None], x, observed)
        assert other.mean[0] == pytest.approx(float(one.mean), rel=1e-12)
        assert other.sd[0] == pytest.approx(float(one.sd), rel=1e-12)
    else:
        one = update_loss((mean, sd), observed)
        other = update_inputs(np.exp(x)[:, None], x, observed, scales=(Scale.LOG,))
        m, s = float(one.mean), float(one.sd)  # lognormal moments, from any handbook
        assert other.mean[0] == pytest.approx(np.exp(m + s**2 / 2), rel=1e-12)
        assert other.sd[0] == pytest.approx(other.mean[0] * (np.exp(s**2) - 1) ** 0.5, rel=1e-12)
    for name in ("pull", "surprise"):
        want = float(getattr(one, name))
        # the pull of an input is the share of its variance that goes: 1 − sd²/prior²
        want = 1 - (float(one.sd) / sd) ** 2 if name == "pull" else want
        assert getattr(other, name)[0] == pytest.approx(want, rel=1e-12)


def test_the_model_stands_beside_the_losses_of_the_log(forecast):
    models = dict.fromkeys(forecast.log.rows["method"].unique(), ek.methods.face_honing())
    check = ek.compare_with_model(forecast, methods=models, seed=1, runs=20)
    for table in (check.table, check.groups):
        names = list(table.columns)
        at = names.index("loss_um_per_session")
        assert names[at : at + 9] == [
            f"{stem}_um_per_session{side}"
            for stem in ("loss", "model", "updated")
            for side in ("", "_low", "_high")
        ]


def test_a_width_just_at_its_limit_is_said_to_be_there(log, forecast):
    at = forecast.table[forecast.table["status"] == "in use"].iloc[0]
    limit = float(at["width_mm"])
    result = ek.forecast(log, retire=ek.MinWidth(width_mm=limit))
    row = result.table[
        (result.table["instrument"] == at["instrument"]) & (result.table["edge"] == at["edge"])
    ].iloc[0]
    assert row["width_mm"] == limit == row["limit_mm"]
    assert "at or below the limit already" in row["message"]


# ---- lines of a log ------------------------------------------------------------------------


@pytest.mark.parametrize("month", range(1, 13))
def test_months_in_words_are_read_as_the_calendar_has_them(month):
    for word in (calendar.month_abbr[month], calendar.month_name[month].upper()):
        date, reason, suggestion = read_date(f"7 {word} 2024")
        assert (date, reason) == (None, "the month is a word")
        assert suggestion == f"2024-{month:02d}-07?"


def test_days_counted_by_a_spreadsheet_are_told_from_other_numbers():
    # Day 1 of a spreadsheet is 31 December 1899 counted so that 1 March 1900 is day 61.
    table = ek.evidence().set_index("name")["value"]
    first, last = (int(float(table[name])) for name in ("log_first_year", "log_last_year"))
    for date in (dt.date(first, 1, 1), dt.date(last, 12, 31), dt.date(2024, 2, 29)):
        serial = (date - dt.date(1900, 3, 1)).days + 61
        assert read_date(str(serial))[1:] == (
            "a spreadsheet serial number, not a date",
            f"{date:%Y-%m-%d}?",
        )
    for date in (dt.date(first - 1, 12, 31), dt.date(last + 1, 1, 1)):
        serial = (date - dt.date(1900, 3, 1)).days + 61
        assert read_date(str(serial))[1] == "a number, not a date"


def test_years_at_the_ends_of_what_a_log_may_hold():
    table = ek.evidence().set_index("name")["value"]
    first, last = (int(float(table[name])) for name in ("log_first_year", "log_last_year"))
    for year in (first, last):
        assert read_date(f"{year}-06-15")[0] == dt.datetime(year, 6, 15)
        # A year typed into a date cell becomes the day of that number.
        typed = dt.date(1900, 3, 1) + dt.timedelta(days=year - 61)
        date, _, suggestion = read_date(typed.isoformat())
        assert date is None
        assert suggestion == f"was the year {year} typed into a date cell?"
    for year in (first - 1, last + 1):
        assert read_date(f"{year}-06-15")[0] is None
        typed = dt.date(1900, 3, 1) + dt.timedelta(days=year - 61)
        assert "typed into a date cell" not in read_date(typed.isoformat())[2]


@pytest.mark.parametrize("mark", [";", "\t", ","])
def test_the_mark_between_cells_is_found_though_no_cell_is_a_plain_word(tmp_path, mark):
    number = "0,86" if mark != "," else "0.86"
    head = mark.join(["instrument", "edge", "date", "event", "width_mm"])
    rows = [
        mark.join([f"UC-{k} a", "left_1", f"2025-0{k}-06", "measured", number]) for k in (1, 2, 3)
    ]
    file = tmp_path / "log.csv"
    file.write_text("\n".join([head, *rows]), encoding="utf-8")
    log = ek.read_log(file)
    assert log.rows["width_mm"].tolist() == [0.86] * 3
    from edgekit.clinic.log.files import _delimiter

    # No cell of letters alone, and every line with commas that are decimal.
    assert _delimiter([mark.join(["a_1", "b 2", number, number])] * 3) == mark


def test_the_line_of_a_letter_in_no_known_code_is_named(tmp_path):
    file = tmp_path / "log.csv"
    file.write_bytes(b"instrument,edge,date,event\nA,left,2025-01-06,used\nA\x81,left,,used\n")
    with pytest.raises(ek.EdgekitError, match=r"neither UTF-8 \(line 3\)"):
        ek.read_log(file)


def test_rows_may_be_shorter_than_the_header_and_columns_without_a_word_are_left_out(tmp_path):
    head = "instrument,edge,date,event,width_mm,,note,"
    rows = ["A,left,2025-01-06,measured,0.86", "A,left,2025-02-06,measured,0.85,,seen,"]
    file = tmp_path / "log.csv"
    file.write_text("\n".join([head, *rows]), encoding="utf-8")
    log = ek.read_log(file)
    assert log.rows["width_mm"].tolist() == [0.86, 0.85]
    assert log.rows["note"].tolist() == ["", "seen"]
    assert not [name for name in log.rows if name.startswith("column")]


@pytest.mark.parametrize(
    ("cell", "suggestion"),
    [
        ("860", "0.86 mm, if this was in micrometres?"),
        ("100", "0.1 mm, if this was in micrometres?"),  # both ends of what a width may be
        ("5000", "5 mm, if this was in micrometres?"),
        ("0.034", "0.8636 mm, if this was in inches?"),
        ("0.0039", "measure it again"),  # 0.09906 mm
        ("0.00394", "0.1001 mm, if this was in inches?"),
        ("5001", "measure it again"),
        ("860 µm", "0.86 mm?"),
        ("860 um", "0.86 mm?"),
        ("0.86 mm", "0.86 mm?"),
        ("0.034 in", "0.8636 mm?"),
    ],
)
def test_widths_in_other_units_are_refused_with_their_millimetres(cell, suggestion):
    width, reason, advice = read_width(cell)
    assert np.isnan(width)
    assert reason
    assert advice == suggestion


def test_only_a_width_without_its_edge_is_flagged_as_one():
    rows = [
        ("A", "left", "2025-01-06", "measured", 0.86),
        ("A", "right", "2025-01-06", "measured", 0.86),
        ("A", "", "2025-02-06", "sharpened", None),
        ("A", "", "2025-02-06", "measured", 0.85),
        ("B", "left", "2025-01-06", "measured", 0.86),
        ("B", "", "2025-02-06", "measured", 0.85),
    ]
    names = ["instrument", "edge", "date", "event", "width_mm"]
    log = ek.read_log(pd.DataFrame(rows, columns=names))
    flags = log.flags[log.flags["reason"] == "a width without its edge"]
    assert flags["line"].tolist() == [4]


def test_a_row_for_a_whole_instrument_is_shown_once_as_the_last_and_once_an_edge_elsewhere():
    rows = [
        ("A", "left", "2025-01-06", "measured", 0.86),
        ("A", "right", "2025-01-06", "measured", 0.86),
        ("A", "left", "2025-02-03", "sharpened", None),
        ("A", "left", "2025-02-03", "measured", 0.85),
        ("B", "left", "2025-01-06", "measured", 0.86),
        ("B", "right", "2025-01-06", "measured", 0.86),
        ("B", "left", "2025-02-05", "measured", 0.85),
        ("B", "right", "2025-02-05", "measured", 0.85),
        ("B", "", "2025-02-04", "sharpened", None),
        ("B", "", "2025-03-03", "sharpened", None),
    ]
    names = ["instrument", "edge", "date", "event", "width_mm"]
    log = ek.read_log(pd.DataFrame(rows, columns=names))
    result = ek.forecast(log, retire=ek.MaxWidthLoss())
    found = ek.clinic.source_rows(result, "A", "left", "retire_on")
    lines = found.groupby("part")["line"].apply(list)
    assert lines["last date"] == [10]  # the last day's one line, though it stands for two edges
    assert lines["group"].count(9) == 2
    assert lines["pace"].count(9) == 2


# ---- the hour at the bench -----------------------------------------------------------------


def test_windows_that_the_holder_cannot_take_are_served_by_no_setting():
    windows = [(13, 17), (50, 60), (15, 19), (-9, -2)]
    plan = ek.fewest_settings(windows, setting_range=ek.clinic.SettingRange(low_deg=0, high_deg=40))
    assert plan.serves.tolist() == [0, -1, 0, -1]
    assert plan.unserved.tolist() == [1, 3]


def test_edges_are_left_out_in_the_order_that_is_documented():
    # Urgent ones first; then those that a setting serves, by few settings, shared by many.
    needs = [
        SimpleNamespace(key=k, urgent=k == "urgent")
        for k in ("hand", "two", "alone", "shared", "urgent", "also shared")
    ]
    runs = {"two": (1, 2), "alone": (3,), "shared": (0,), "urgent": (2, 4), "also shared": (0,)}
    pieces = [
        SimpleNamespace(edge=at, run=run)
        for at, need in enumerate(needs)
        for run in runs.get(need.key, (-1,))
    ]
    every = SimpleNamespace(needs=needs, arrangement=SimpleNamespace(pieces=pieces))
    wanted = ["urgent", "shared", "also shared", "alone", "two", "hand"]
    for room in range(1, 7):

        def schedule(chosen, room=room):
            def chance(_):
                return float(len(chosen) <= room)

            return SimpleNamespace(needs=chosen, duration=SimpleNamespace(chance=chance))

        done = _in_time(every, schedule, 10.0, 0.9)
        assert {need.key for need in done.needs} == set(wanted[:room])


# ---- the sheet -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def plan():
    tray = {"A": ek.patterns.universal_curette(), "B": ek.patterns.curved_sickle()}
    return ek.plan_bench(tray, minutes_available=1.5)


def test_edges_without_time_take_no_setting(plan):
    assert not plan.edges["planned"].all()
    assert (plan.edges.loc[~plan.edges["planned"], "settings"] == 0).all()
    assert (plan.edges.loc[plan.edges["planned"], "settings"] > 0).all()


def test_a_share_that_is_reached_exactly_is_reached():
    # Two coins: none, one or two heads in a quarter, a half and a quarter of all throws.
    low, high = count_quantiles(np.array([[0.5], [0.5]]), 0.5)
    assert (low[0], high[0]) == (0, 1)
    low, high = count_quantiles(np.full((3, 1), 0.5), 0.75)  # 1/8, 4/8, 7/8, 1
    assert (low[0], high[0]) == (0, 2)


def test_a_budget_spans_a_century_of_months_and_no_more(forecast):
    prices = ek.read_prices(DEMO / "prices.csv")
    assert len(ek.budget(forecast, prices=prices, months=1200).months) == 1200
    with pytest.raises(ek.EdgekitError, match="months"):
        ek.budget(forecast, prices=prices, months=1201)


def test_as_many_windows_as_documented_are_taken():
    from edgekit.clinic.bench.settings import MAX_WINDOWS, _check_number

    _check_number(MAX_WINDOWS)
    with pytest.raises(ek.EdgekitError, match="the number of windows"):
        _check_number(1_000_001)
