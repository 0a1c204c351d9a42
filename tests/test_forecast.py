"""Pooled forecasts against a general mixed-model library, published tables and known truth.

Sources: statsmodels MixedLM (restricted likelihood of random slopes) as the second opinion;
the degradation tables of degradation_data; simulated logs whose truth is known.
"""

import subprocess
import sys
import warnings
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

import edgekit as ek
from edgekit.clinic.forecasting.crossing_time import Drift, passed_share, quantiles, two_sided_z
from edgekit.clinic.forecasting.forecast import forecast
from edgekit.clinic.forecasting.kalman import Readings, likelihood, sweep
from edgekit.clinic.forecasting.pooling import pool
from edgekit.clinic.log.log import read_log
from edgekit.errors import EdgekitError
from edgekit.life.retire import Basis, MaxWidthLoss, MinLength, MinWidth
from tests.degradation_data import CRACK_MM, FLANK, WEAR_HUNDREDS, WEAR_UM

PEAK = 2e-3
"""Relative; the library stops its own search at a gradient, and its peak is this flat."""
SIMULATIONS = 500
COVERS = (0.86, 0.94)
"""What a 90 % interval must cover; the band was set before the first run."""

ALONE = """
import re, sys
from pathlib import Path
from edgekit.clinic.forecasting.forecast import forecast
from edgekit.clinic.log.log import read_log
from edgekit.life.retire import MaxWidthLoss
def peak():  # of this program alone: getrusage counts what its parent held when it was started
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024
before = peak()
log = read_log(sys.argv[1])
result = forecast(log, retire=MaxWidthLoss(fraction=0.2))
after = peak()
loss = result.table["loss_um_per_session"]
print(before, after, len(log.rows), len(result.table), loss.mean(), result.reading_sd_um)
"""
"""In a process of its own, so that the memory of other tests does not count."""
LARGE_MB = 600
"""What 200,000 rows may take; the test reads a fifth of them and scales what rows add."""


def _simulate(rng, edges=24, readings=6, every=2, losses=(6.0, 9.0), tau=1.5, q=4.0, sd=8.0):
    group = np.arange(edges) % len(losses)
    loss = rng.normal(np.array(losses)[group], tau)
    n = np.arange(readings) * float(every)
    steps = loss[:, None] * every + rng.normal(0, np.sqrt(q * every), (edges, readings - 1))
    fallen = np.concatenate([np.zeros((edges, 1)), np.cumsum(steps, axis=1)], axis=1)
    width = rng.normal(860, 30, edges)[:, None] - fallen
    return group, loss, np.tile(n, (edges, 1)), width, width + rng.normal(0, sd, width.shape)


def _readings(group, n, y):
    edge = np.repeat(np.arange(len(n)), n.shape[1])
    return Readings.build(edge=edge, sessions=n.ravel(), width_um=y.ravel(), group=group)


def _contrasts(n, y):
    """Readings of each edge with its mean removed by an orthonormal matrix: free new widths."""
    m = n.shape[1]
    basis = np.linalg.qr(np.column_stack([np.ones(m), np.eye(m)[:, : m - 1]]))[0][:, 1:]
    return n @ basis, y @ basis


def _peak_ratio(data):
    """The ratio τ/σ at the peak of the restricted likelihood without scatter of sessions."""
    return optimize.minimize_scalar(
        lambda ratio: -likelihood(sweep(data, ratio**2, 0.0), data.freedom)[0][0],
        bounds=(0, 5),
        options={"xatol": 1e-7},
    ).x


def test_variances_and_losses_match_mixed_model_of_general_library():
    smf = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    group, _, n, _, y = _simulate(np.random.default_rng(3), edges=30, losses=(6.0,), q=0.0)
    data = _readings(group, n, y)
    nodes = sweep(data, _peak_ratio(data) ** 2, 0.0)
    reading_sd = np.sqrt(likelihood(nodes, data.freedom)[1][0])
    x, z = _contrasts(n, y)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of its search, not of its answer
        other = smf.MixedLM(
            z.ravel(),
            x.reshape(-1, 1),
            groups=np.repeat(np.arange(len(n)), x.shape[1]),
            exog_re=x.reshape(-1, 1),
        ).fit(reml=True)
    assert np.isclose(reading_sd, np.sqrt(other.scale), rtol=PEAK)
    assert np.isclose(reading_sd * _peak_ratio(data), np.sqrt(other.cov_re[0, 0]), rtol=PEAK)
    beta = nodes.xy[0, 0] / nodes.xx[0, 0]
    assert np.isclose(beta, -other.fe_params[0], rtol=PEAK)
    own = (nodes.loss[0] + nodes.loss[1] * beta)[:, 0][np.argsort(data.edge)]
    theirs = -np.array([other.random_effects[i].iloc[0] for i in range(len(n))])
    assert np.allclose(own - beta, theirs, rtol=0.02, atol=0.01)


def test_sweep_equals_generalised_least_squares_written_out():
    rng = np.random.default_rng(8)
    group, _, n, _, y = _simulate(rng, edges=5)
    lam, kap = 0.04, 0.09
    data = _readings(group, n, y)
    nodes = sweep(data, lam, kap)
    log_l, variance = likelihood(nodes, data.freedom)
    m = n.shape[1]
    cov = [lam * np.outer(k, k) + kap * np.minimum.outer(k, k) + np.eye(m) for k in n]
    v = np.zeros((5 * m, 5 * m))
    x = np.zeros((5 * m, 5 + 2))
    for e in range(5):
        rows = slice(e * m, (e + 1) * m)
        v[rows, rows] = cov[e]
        x[rows, e] = 1
        x[rows, 5 + group[e]] = -n[e]
    inverse = np.linalg.inv(v)
    normal = x.T @ inverse @ x
    beta = np.linalg.solve(normal, x.T @ inverse @ y.ravel())
    left = y.ravel() - x @ beta
    s2 = left @ inverse @ left / (5 * m - 7)
    assert np.allclose(nodes.xy[:, 0] / nodes.xx[:, 0], beta[5:], rtol=1e-9)
    assert np.isclose(variance[0], s2, rtol=1e-9)
    by_hand = -0.5 * (
        np.linalg.slogdet(v)[1] + np.linalg.slogdet(normal)[1] + (5 * m - 7) * np.log(s2)
    )
    assert np.isclose(log_l[0], by_hand, rtol=1e-9)


def test_intervals_of_loss_width_and_sessions_cover_known_truth():
    rng = np.random.default_rng(2025)
    hits = {"loss": [], "width": [], "sessions": []}
    for _ in range(SIMULATIONS):
        group, loss, n, width, y = _simulate(rng)
        known = pool(_readings(group, n, y))
        z = stats.t.ppf(0.95, known.freedom)
        hits["loss"].append(abs(loss - known.loss_um) < z * np.sqrt(known.var_loss))
        hits["width"].append(abs(width[:, -1] - known.width_um) < z * np.sqrt(known.var_width))
        limit = 700.0
        drift = Drift(
            margin=known.width_um - limit,
            rate=known.loss_um,
            v0=known.var_width,
            v1=known.session_var - 2 * known.cov,
            v2=known.var_loss,
        )
        _, low, high = quantiles(drift, z)
        future = loss[:, None] + rng.normal(0, 2.0, (len(loss), 200))
        path = np.cumsum(future, axis=1) - (width[:, -1] - limit)[:, None]
        # where the true width crosses, between sessions, on a straight line
        after = np.argmax(path >= 0, axis=1)
        rows = np.arange(len(loss))
        true = after + 1 - path[rows, after] / future[rows, after]
        hits["sessions"].append((low <= true) & (true <= high))
    for name, hit in hits.items():
        assert COVERS[0] <= np.mean(hit) <= COVERS[1], name


def test_few_readings_borrow_strength():
    rng = np.random.default_rng(4)
    group, loss, n, _, y = _simulate(rng, edges=40, losses=(6.0,), tau=1.0)
    keep = np.ones(n.shape, dtype=bool)
    keep[0, 2:] = False
    edge = np.repeat(np.arange(40), 6)[keep.ravel()]
    data = Readings.build(edge=edge, sessions=n[keep], width_um=y[keep], group=group)
    known = pool(data)
    alone_sd = np.sqrt(2) * known.reading_sd_um / 2
    assert np.sqrt(known.var_loss[0]) < alone_sd / 2
    assert abs(known.loss_um[0] - loss.mean()) < 3


def test_held_out_cracks_lie_within_a_95_percent_band():
    n = np.tile(np.arange(1.0, 6.0), (10, 1))
    data = _readings(np.zeros(10, dtype=int), n, 5000 - 1e3 * CRACK_MM[:, :5])
    known = pool(data, weigh_reading_sd=False)
    sd = np.sqrt(
        known.var_width
        - 8 * known.cov
        + 16 * known.var_loss
        + 4 * known.session_var
        + known.reading_sd_um**2
    )
    miss = abs((5000 - 1e3 * CRACK_MM[:, 8]) - (known.width_um - 4 * known.loss_um))
    assert np.mean(miss < stats.t.ppf(0.975, known.freedom) * sd) >= 0.8


def _log_of(series, new_mm=1.0, scale=1e-3):
    """A log whose sessions are the use of each series and whose widths its wear."""
    rows = []
    for unit, (n, wear) in enumerate(series):
        marks = {int(k): w for k, w in zip(n, wear, strict=True)}
        for k in range(int(max(n)) + 1):
            day = np.datetime64("2020-01-01") + np.timedelta64(k, "D")
            if k > 0:
                rows.append((f"U{unit}", day, "sharpened", np.nan))
            if k in marks:
                rows.append((f"U{unit}", day, "measured", new_mm - scale * marks[k]))
    frame = pd.DataFrame(rows, columns=["instrument", "date", "event", "width_mm"])
    return read_log(frame)


def test_forecast_warns_that_sliding_wear_is_no_straight_line():
    log = _log_of([(WEAR_HUNDREDS, wear) for wear in WEAR_UM])
    result = forecast(log, retire=MinWidth(width_mm=0.95))
    assert set(result.table["growth"]) == {"slows down"}
    assert result.table["message"].str.contains("straight line does not hold").all()
    assert "slows down" in repr(result)


def test_forecast_warns_of_early_flank_wear():
    early = [(n[w <= 0.25], w[w <= 0.25]) for n, w in FLANK.values()]
    result = forecast(_log_of(early, new_mm=2.0, scale=1.0), retire=MinWidth(width_mm=1.55))
    assert result.table["message"].str.contains("straight line does not hold").all()


def _one(drift, at):
    names = ("margin", "rate", "v0", "v1", "v2")
    return Drift(**{name: getattr(drift, name)[at : at + 1] for name in names})


def test_crossing_quantiles_are_where_the_probability_says():
    rng = np.random.default_rng(6)
    drift = Drift(
        margin=rng.uniform(20, 200, 50),
        rate=rng.uniform(4, 9, 50),
        v0=rng.uniform(10, 60, 50),
        v1=rng.uniform(0, 10, 50),
        v2=rng.uniform(0.1, 1.0, 50),
    )
    middle, low, high = quantiles(drift, 1.5)
    for steps, share in ((low, stats.norm.cdf(-1.5)), (middle, 0.5), (high, stats.norm.cdf(1.5))):
        # the shares are made monotone along the steps, so each edge is asked about its own alone
        at = np.array([passed_share(_one(drift, i), steps[i : i + 1])[0, 0] for i in range(50)])
        assert np.allclose(at, share, atol=1e-9)


def test_crossing_is_unbounded_when_no_loss_is_within_the_interval():
    one = np.ones(1)
    drift = Drift(margin=60 * one, rate=1 * one, v0=36 * one, v1=0 * one, v2=4 * one)
    middle, low, high = quantiles(drift, 1.645)
    assert np.isinf(high[0])
    assert 0 < low[0] < middle[0] == 60
    past = Drift(margin=-60 * one, rate=6 * one, v0=36 * one, v1=0 * one, v2=0 * one)
    assert [float(q[0]) for q in quantiles(past, 1.645)] == [0, 0, 0]


def _small_log():
    rows = [
        ("A", "left", "2025-01-06", "measured", 0.86),
        ("A", "left", "2025-02-03", "used", None),
        ("A", "", "2025-03-03", "sharpened", None),
        ("A", "left", "2025-03-03", "measured", 0.85),
        ("A", "right", "2025-03-03", "measured", 0.84),
        ("B", "", "2025-01-06", "measured", 0.8),
        ("B", "", "2025-03-04", "retired", None),
        ("C", "", "2025-01-06", "used", None),
    ]
    return read_log(pd.DataFrame(rows, columns=["instrument", "edge", "date", "event", "width_mm"]))


def test_small_log_is_forecast_from_the_evidence_table_and_says_so():
    result = forecast(_small_log(), retire=MaxWidthLoss(fraction=0.2))
    assert result.variances_assumed
    table = result.table.set_index(["instrument", "edge"])
    assert table.loc[("A", "right"), "sessions"] == 1
    assert "one reading" in table.loc[("A", "right"), "message"]
    assert table.loc[("B", "edge"), "sessions_left"] == 0
    assert table.loc[("B", "edge"), "retire_on"] == pd.Timestamp("2025-03-04")
    assert result.unread["instrument"].tolist() == ["C"]
    numbers = table[[c for c in table if c.startswith(("sessions_left", "loss_um_per_session"))]]
    assert not numbers.isna().to_numpy().any()


def test_low_lies_below_and_high_above_every_headline_number():
    table = forecast(_small_log(), retire=MinWidth(width_mm=0.7)).table
    for stem in ("loss_um_per_session", "sessions_left", "retire_on"):
        known = table[f"{stem}_high"].notna()
        assert (table[f"{stem}_low"] <= table[stem]).all()
        assert (table[stem] <= table[f"{stem}_high"])[known].all()


def test_order_and_repetition_of_edges_change_nothing():
    rng = np.random.default_rng(9)
    group, _, n, _, y = _simulate(rng, edges=12)
    straight = pool(_readings(group, n, y))
    turn = rng.permutation(12)
    turned = pool(_readings(group[turn], n[turn], y[turn]))
    assert np.allclose(straight.loss_um[turn], turned.loss_um, rtol=1e-9)
    assert np.allclose(straight.var_loss[turn], turned.var_loss, rtol=1e-7)


def test_scaling_widths_scales_losses():
    group, _, n, _, y = _simulate(np.random.default_rng(10), edges=12)
    one = pool(_readings(group, n, y), weigh_reading_sd=False)
    ten = pool(_readings(group, n, 10 * y), weigh_reading_sd=False)
    assert np.allclose(10 * one.loss_um, ten.loss_um, rtol=1e-6)


@pytest.mark.parametrize("width_mm", [-1, 0, float("nan"), "0.7", True])
def test_limits_refuse_what_is_not_a_width(width_mm):
    with pytest.raises(EdgekitError):
        MinWidth(width_mm=width_mm)


def test_a_width_ends_simulated_lives_and_forecasts_alike():
    blade, method = ek.patterns.hoe(), ek.methods.held(55.0)
    new_mm = blade.width_mm
    share = MaxWidthLoss(fraction=0.1, basis=Basis.DEEPEST)
    width = MinWidth(width_mm=0.9 * new_mm, basis=Basis.DEEPEST)
    lives = [
        ek.live(blade, method, retire=rule, rng=np.random.default_rng(4)) for rule in (share, width)
    ]
    assert lives[0].sessions == lives[1].sessions
    assert str(width) in lives[1].status
    first_um = np.array([1e3 * new_mm, 900.0])
    assert np.isclose(width.limit_um(first_um), 900 * new_mm).all()
    assert np.isclose(share.limit_um(first_um)[0], width.limit_um(first_um)[0])
    with pytest.raises(EdgekitError, match="new blade is only"):
        ek.live(blade, method, retire=MinWidth(width_mm=9.0), rng=np.random.default_rng(4))


def test_two_sided_z_is_the_normal_quantile_of_the_standard_library():
    for level in (0.5, 0.8, 0.9, 0.95, 0.99):
        assert abs(two_sided_z(level) - NormalDist().inv_cdf(0.5 + level / 2)) < 1e-12
    for level in (0, 1, float("nan"), "0.9"):
        with pytest.raises(EdgekitError):
            two_sided_z(level)


def test_log_without_rows_or_widths_cannot_be_forecast():
    no_rows = read_log(pd.DataFrame({"instrument": ["A"], "date": ["?"], "event": ["used"]}))
    no_width = read_log(
        pd.DataFrame({"instrument": ["A"], "date": ["2025-01-06"], "event": ["used"]})
    )
    for log in (no_rows, no_width):
        with pytest.raises(EdgekitError):
            forecast(log, retire=MaxWidthLoss(fraction=0.2))


def test_log_of_200_000_rows_would_stay_within_600_mb_and_a_fifth_of_it_is_forecast_right(tmp_path):
    rng = np.random.default_rng(2)
    per, instruments, parts = 100, 400, 5
    path = tmp_path / "large.csv"
    start = np.datetime64("2024-01-01")
    dates = (start + (np.arange(per) * 4).astype("timedelta64[D]")).astype(str)
    losses = rng.normal(0.006, 0.001, instruments)
    with path.open("w") as file:
        file.write("instrument,edge,date,event,width_mm,operator,method,note\n")
        for i in range(instruments):
            sessions = np.cumsum(np.arange(per) % 5 == 2)
            noise = rng.normal(0, 0.008, per)
            for k in range(per):
                event = ("measured", "used", "sharpened", "used", "used")[k % 5]
                width = f"{0.9 - sessions[k] * losses[i] + noise[k]:.3f}" if k % 5 == 0 else ""
                file.write(f"K-{i:04d},left,{dates[k]},{event},{width},A,held,row {k}\n")
    before, after, rows, edges, loss, reading_sd = map(
        float,
        subprocess.run(
            [sys.executable, "-c", ALONE, str(path)], check=True, capture_output=True, text=True
        ).stdout.split(),
    )
    assert before + parts * (after - before) < LARGE_MB
    assert (rows, edges) == (per * instruments, instruments)
    assert abs(loss - 1e3 * losses.mean()) < 0.1
    assert abs(reading_sd - 8.0) < 0.2


@pytest.mark.parametrize("retire", [0.2, None, MinLength(), (MaxWidthLoss(),)])
def test_a_rule_that_sets_no_width_is_refused(retire):
    with pytest.raises(EdgekitError, match="Give MaxWidthLoss"):
        forecast(_small_log(), retire=retire)


def test_what_is_not_a_log_is_refused_with_the_call_that_reads_one():
    for log in ("log.csv", _small_log().rows):
        with pytest.raises(EdgekitError, match=r"ek\.read_log\(path\)"):
            forecast(log, retire=MaxWidthLoss())


def test_a_forecast_shows_its_cautions_below_its_headline():
    result = forecast(
        _log_of([(WEAR_HUNDREDS, wear) for wear in WEAR_UM]), retire=MinWidth(width_mm=0.95)
    )
    lines = repr(result).split("\n")
    assert len(lines) == 2
    assert lines[0].startswith("Forecast of")
    assert "<li>a straight line does not hold" in result._repr_html_()
    with pytest.raises(ValueError, match="read-only"):
        result.margin_days.rate[0] = 0.0
