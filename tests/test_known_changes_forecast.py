"""Formulas of forecasts of which a change could leave every test green, against the outside.

States of the recursion against normal equations written out, variances against propagation by
matrices (JCGM 102:2011), mixtures against the law of total variance, tests and intervals against
`scipy.stats`, sums against loops.
"""

import dataclasses
import itertools
import warnings
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.optimize import brentq
from scipy.special import ndtri

import edgekit as ek
from edgekit.clinic.forecasting import model_check, pooling
from edgekit.clinic.forecasting.crossing_time import Drift, bounded, passed_share, quantiles
from edgekit.clinic.forecasting.forecast import MAX_DAYS, _dates, _drifts
from edgekit.clinic.forecasting.growth import Growth, check_growth
from edgekit.clinic.forecasting.kalman import Nodes, Readings, likelihood, sweep
from edgekit.clinic.forecasting.pooling import _closer, _groups, _mix, _ratios, pool
from edgekit.clinic.forecasting.session_rate import Pace, pace
from edgekit.clinic.forecasting.survival import fit_weibull, kaplan_meier, survival
from edgekit.clinic.forecasting.update import Scale, update_inputs, update_loss
from edgekit.evidence_table import entry, value

COLUMNS = ["instrument", "edge", "date", "event", "width_mm", "method", "pattern"]


def log_of(rows):
    return ek.read_log(pd.DataFrame(rows, columns=COLUMNS))


# ---- the state of an edge ------------------------------------------------------------------


def posterior(n, y, lam, kap, beta):
    """Present width, loss and covariance [σ²] of one edge, from its normal equations.

    Unknown are the new width (free), the loss b ~ N(β, λ) and what each interval's sessions took
    beyond b per session ~ N(0, κ step); each reading is a row of equations.
    """
    m = len(n)
    rows, target, weight = [], [], []
    for k in range(m):
        rows.append(np.r_[1.0, -(n[k] - n[0]), (np.arange(1, m) <= k).astype(float)])
        target.append(y[k])
        weight.append(1.0)
    for k, size in ((1, lam), *((k + 1, kap * (n[k] - n[k - 1])) for k in range(1, m))):
        row = np.zeros(m + 1)
        row[k] = 1.0
        rows.append(row)
        target.append(beta if k == 1 else 0.0)
        weight.append(1 / size)
    a, w = np.array(rows), np.array(weight)
    cov = np.linalg.inv(a.T @ (w[:, None] * a))
    mean = cov @ (a.T @ (w * np.array(target)))
    end = np.stack([a[m - 1], np.eye(m + 1)[1]])
    return end @ mean, end @ cov @ end.T


def test_the_recursion_gives_the_solution_of_the_normal_equations():
    rng = np.random.default_rng(5)
    sizes = (2, 5, 3, 4)
    edge = np.repeat(np.arange(4), sizes)
    n = np.concatenate([np.cumsum(rng.integers(1, 5, m)) for m in sizes]).astype(float)
    y = 860 - 6 * n + rng.normal(0, 8, len(n))
    data = Readings.build(edge=edge, sessions=n, width_um=y, group=[0, 1, 1, 2])
    assert data.size.tolist() == [5, 4, 3, 2]
    assert data.edge.tolist() == [1, 3, 2, 0]
    assert data.group.tolist() == [1, 2, 1, 0]
    assert data.freedom == len(n) - 4 - 3
    lam, kap = np.array([0.04, 0.5]), np.array([0.09, 0.02])
    nodes = sweep(data, lam, kap)
    for row, own in enumerate(data.edge):
        mine = edge == own
        for k in range(2):
            zero, cov = posterior(n[mine], y[mine], lam[k], kap[k], 0.0)
            one, _ = posterior(n[mine], y[mine], lam[k], kap[k], 1.0)
            assert nodes.width[0, row, k] == pytest.approx(zero[0], rel=1e-9)
            assert nodes.loss[0, row, k] == pytest.approx(zero[1], rel=1e-9)
            assert nodes.width[1, row, k] == pytest.approx(one[0] - zero[0], rel=1e-7)
            assert nodes.loss[1, row, k] == pytest.approx(one[1] - zero[1], rel=1e-7)
            want = (cov[0, 0], cov[0, 1], cov[1, 1])
            assert nodes.cov[:, row, k] == pytest.approx(want, rel=1e-9)


def test_groups_that_show_no_loss_count_for_nothing():
    data = Readings.build(
        edge=[0, 0, 1, 1, 2],
        sessions=[0, 4, 3, 3, 7],
        width_um=[860.0, 830, 850, 848, 840],
        group=[0, 1, 1],
    )
    assert data.freedom == 5 - 3 - 1
    nodes = sweep(data, [0.1], [0.1])
    assert nodes.xx[:, 0].tolist() == [pytest.approx(16 / (2 + 16 * 0.1 + 4 * 0.1)), 0.0]
    log_l, variance = likelihood(nodes, 3)
    f = 2 + 16 * 0.1 + 4 * 0.1  # variance of a difference of two readings over four sessions
    left = 4.0 / 2  # 850 − 848 of edge 1; edge 0 is met exactly
    assert variance[0] == pytest.approx(left / 3, rel=1e-12)
    by_hand = np.log(f) + np.log(2) + 3 * np.log(left / 3) + np.log(16 / f)
    assert log_l[0] == pytest.approx(-0.5 * by_hand, rel=1e-12)


def test_readings_without_noise_keep_a_thousandth_of_a_micrometre():
    n = np.tile([0.0, 5.0, 10.0], 4)
    data = Readings.build(
        edge=np.repeat(range(4), 3), sessions=n, width_um=860 - 6 * n, group=[0] * 4
    )
    variance = likelihood(sweep(data, [0.0, 0.1], [0.0, 0.1]), data.freedom)[1]
    assert variance.tolist() == [1e-6, 1e-6]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"group": [0, 0, 0]}, "needs a reading"),
        ({"group": [0]}, "needs a reading"),
        ({"sessions": [0, 5, 4.9, 5]}, "sessions fall"),
    ],
)
def test_readings_that_fit_no_edges_are_refused(given, words):
    good = {
        "edge": [0, 0, 1, 1],
        "sessions": [3, 5, 0, 5],
        "width_um": [9, 8, 9, 8.0],
        "group": [0, 0],
    }
    assert Readings.build(**good).step.tolist() == [[0, 2], [0, 5]]
    if "sessions" in given:
        given = {"sessions": [3, 2.9, 0, 5]}
    with pytest.raises(ek.EdgekitError, match=words):
        Readings.build(**(good | given))


# ---- pooling -------------------------------------------------------------------------------


def by_loops(xx, xy, variance, assumed):
    """Losses of groups as `pooling._groups` documents them, one node at a time."""
    groups, nodes = xx.shape
    out = np.zeros((2, groups, nodes))
    prior = value("loss_um_per_session")
    for k in range(nodes):
        shown = [g for g in range(groups) if xx[g, k] > 0]
        own = {g: xy[g, k] / xx[g, k] for g in shown}
        tight = {g: xx[g, k] / variance[k] for g in shown}
        total = sum(tight.values())
        # half of the entry as standard deviation: its precision is (2/entry)²
        needs_prior = assumed or any(not xx[:, j].sum() > 0 for j in range(nodes))
        extra = (2 / prior) ** 2 if needs_prior else 0.0
        mean = (sum(tight[g] * own[g] for g in shown) + prior * extra) / (total + extra)
        omega2 = (value("loss_between_groups_cv") * mean) ** 2
        if len(shown) > 1:  # DerSimonian and Laird
            middle = sum(tight[g] * own[g] for g in shown) / total
            q = sum(tight[g] * (own[g] - middle) ** 2 for g in shown)
            scale = total - sum(t**2 for t in tight.values()) / total
            omega2 = max(omega2, max(q - (len(shown) - 1), 0.0) / scale)
        weight = {g: 1 / (1 / tight[g] + omega2) for g in shown}
        known = sum(weight.values()) + extra
        centre = (sum(weight[g] * own[g] for g in shown) + prior * extra) / known
        for g in range(groups):
            if g in own:
                drawn = omega2 * tight[g] / (1 + omega2 * tight[g])
                out[0, g, k] = drawn * own[g] + (1 - drawn) * centre
                out[1, g, k] = omega2 * (1 - drawn) + (1 - drawn) ** 2 / known
            else:
                out[0, g, k], out[1, g, k] = centre, omega2 + 1 / known
    return out


@pytest.mark.parametrize("assumed", [False, True])
@pytest.mark.parametrize(
    "xx",
    [
        [[8.0, 5.0]],
        [[8.0, 5.0], [3.0, 9.0]],
        [[0.5, 0.2], [0.3, 0.9]],
        [[8.0, 5.0], [0.0, 0.0], [30.0, 2.0], [900.0, 700.0]],
        [[8.0, 5.0], [0.0, 0.0]],
    ],
    ids=["one", "two", "two hardly seen", "one of four unseen", "one of two unseen"],
)
@pytest.mark.parametrize("apart", [0.1, 4.0])
def test_losses_of_groups_are_drawn_together_as_the_textbook_has_it(xx, assumed, apart):
    xx = np.array(xx)
    xy = xx * (6 + apart * np.array([[-1.0], [1.0], [0.3], [-0.5]])[: len(xx)])
    variance = np.array([30.0, 8.0])
    mean, var = _groups(SimpleNamespace(xx=xx, xy=xy), variance, assumed)
    want = by_loops(xx, xy, variance, assumed)
    np.testing.assert_allclose(mean, want[0], rtol=1e-9)
    np.testing.assert_allclose(var, want[1], rtol=1e-9)


def test_a_log_without_any_loss_takes_the_entry_with_half_of_it_as_deviation():
    nothing = SimpleNamespace(xx=np.zeros((2, 1)), xy=np.zeros((2, 1)))
    mean, var = _groups(nothing, np.array([9.0]), False)
    prior = value("loss_um_per_session")
    omega2 = (value("loss_between_groups_cv") * prior) ** 2
    np.testing.assert_allclose(mean, prior, rtol=1e-9)
    np.testing.assert_allclose(var, omega2 + (prior / 2) ** 2, rtol=1e-9)


def test_nodes_are_mixed_by_the_law_of_total_variance():
    rng = np.random.default_rng(2)
    data = SimpleNamespace(group=np.array([1, 0, 1]), edge=np.array([2, 0, 1]), freedom=4)
    nodes = Nodes(
        log_f=np.zeros(3),
        xx=rng.uniform(2, 30, (2, 3)),
        xy=rng.uniform(20, 90, (2, 3)),
        yy=np.zeros(3),
        width=rng.uniform(0, 5, (2, 3, 3)) + np.array([800.0, 0])[:, None, None],
        loss=rng.uniform(0.1, 1, (2, 3, 3)),
        cov=np.array([1.0, 0.1, 0.3])[:, None, None] * rng.uniform(0.5, 1, (3, 3, 3)),
    )
    weight, variance = np.array([0.2, 0.5, 0.3]), np.array([60.0, 80.0, 90.0])
    tau2, q = np.array([1.0, 4.0, 9.0]), np.array([2.0, 3.0, 7.0])
    found = _mix(data, nodes, variance, tau2, q, weight, False)
    beta, beta_var = _groups(nodes, variance, False)
    for row, own in enumerate(data.edge):
        g, first, second = data.group[row], 0.0, 0.0
        for k in range(3):
            lift = np.array([nodes.width[1, row, k], nodes.loss[1, row, k]])
            mean = np.array([nodes.width[0, row, k], nodes.loss[0, row, k]]) + lift * beta[g, k]
            v = nodes.cov[:, row, k]
            inside = variance[k] * np.array([[v[0], v[1]], [v[1], v[2]]])
            inside = inside + np.outer(lift, lift) * beta_var[g, k]
            first = first + weight[k] * mean
            second = second + weight[k] * (inside + np.outer(mean, mean))
        cov = second - np.outer(first, first)
        assert (found.width_um[own], found.loss_um[own]) == pytest.approx(first, rel=1e-12)
        assert found.var_width[own] == pytest.approx(cov[0, 0], rel=1e-6)
        assert found.cov[own] == pytest.approx(cov[0, 1], rel=1e-6)
        assert found.var_loss[own] == pytest.approx(cov[1, 1], rel=1e-6)
    mean = beta @ weight
    spread = (beta_var + beta**2) @ weight - mean**2
    np.testing.assert_allclose(found.group_loss_um, mean, rtol=1e-12)
    np.testing.assert_allclose(found.group_sd_um, np.sqrt(spread), rtol=1e-9)
    assert found.group_spread_um == pytest.approx(np.sqrt(0.2 * 1 + 0.5 * 4 + 0.3 * 9))
    assert found.session_var == pytest.approx(0.2 * 2 + 0.5 * 3 + 0.3 * 7)
    assert found.reading_sd_um == pytest.approx(np.sqrt(0.2 * 60 + 0.5 * 80 + 0.3 * 90))
    assert (found.freedom, found.assumed) == (4, False)
    none = _mix(
        SimpleNamespace(**(vars(data) | {"freedom": -2})), nodes, variance, tau2, q, weight, True
    )
    assert (none.freedom, none.assumed) == (1, True)


def some_readings(edges=6, readings=5, seed=3, sd=8.0, tau=1.5):
    rng = np.random.default_rng(seed)
    n = np.tile(np.arange(readings) * 3.0, edges)
    edge = np.repeat(np.arange(edges), readings)
    y = 860 - rng.normal(6, tau, edges)[edge] * n + rng.normal(0, sd, len(n))
    return Readings.build(edge=edge, sessions=n, width_um=y, group=np.arange(edges) % 2)


def test_ratios_are_averaged_over_a_grid_that_closes_in(monkeypatch):
    seen, whole = [], pooling._log_likelihood

    def heard(data, axes, weigh):
        table = whole(data, axes, weigh)
        seen.append(([axis.copy() for axis in axes], table))
        return table

    monkeypatch.setattr(pooling, "_log_likelihood", heard)
    slope, session, weight = _ratios(some_readings(), True)
    (first, _), (_, _), (last, table) = seen
    for axis in first:
        assert axis[0] == 0.0
        np.testing.assert_allclose(axis[1:], 10 ** np.linspace(-3, 1, 11), rtol=1e-12)
    assert [len(axis) for axis in last] == [9, 9]
    for (axes, found), (then, _) in itertools.pairwise(seen):
        for axis, profile, closer in zip(
            axes, (found.max(axis=1), found.max(axis=0)), then, strict=True
        ):
            np.testing.assert_array_equal(closer, _closer(axis, profile))
    assert weight.sum() == pytest.approx(1.0)
    kept = np.exp(table) > np.exp(-7.0)
    assert len(weight) == kept.sum()
    np.testing.assert_allclose(weight, np.exp(table[kept]) / np.exp(table[kept]).sum(), rtol=1e-9)
    at = np.argwhere(kept)
    np.testing.assert_array_equal(slope, last[0][at[:, 0]])
    np.testing.assert_array_equal(session, last[1][at[:, 1]])


def test_an_estimate_is_the_mixture_over_its_grid():
    data = some_readings()
    slope, session, weight = _ratios(data, True)
    nodes = sweep(data, slope * slope, session * session)
    variance = likelihood(nodes, data.freedom)[1]
    want = _mix(
        data, nodes, variance, slope * slope * variance, session * session * variance, weight, False
    )
    for item in dataclasses.fields(want):
        np.testing.assert_allclose(getattr(pool(data), item.name), getattr(want, item.name))


def test_a_group_that_hardly_shows_its_loss_still_counts():
    one = np.ones(1)
    nodes = SimpleNamespace(log_f=0 * one, xx=0.5 * one[None], xy=one[None], yy=3 * one)
    log_l, variance = likelihood(nodes, 2)
    assert variance[0] == pytest.approx((3 - 1 / 0.5) / 2)
    assert log_l[0] == pytest.approx(-0.5 * (2 * np.log(0.5) + np.log(0.5)))


def test_a_grid_closes_in_to_the_neighbours_of_what_counts():
    axis = np.array([0.0, 1.0, 2.0, 4.0, 8.0, 10.0])
    profile = np.array([-9.0, -7.0, -3.0, 0.0, -7.0, -20.0])  # seven below the best no longer count
    np.testing.assert_allclose(_closer(axis, profile), np.linspace(1.0, 8.0, 9))
    np.testing.assert_allclose(
        _closer(axis, np.array([-6.9, -7.1, -9, -9, -9, 0.0])), np.linspace(0.0, 10.0, 9)
    )
    np.testing.assert_allclose(
        _closer(axis, np.array([0.0, -8, -9, -9, -9, -9])), np.linspace(0.0, 1.0, 9)
    )


def test_the_reading_errors_entry_weighs_ratios_as_a_lognormal_deviation():
    data, axes = some_readings(), [np.array([0.05, 0.4]), np.array([0.0, 0.3, 0.6])]
    plain = pooling._log_likelihood(data, axes, False)
    weighed = pooling._log_likelihood(data, axes, True)
    slope, session = np.meshgrid(*axes, indexing="ij")
    log_l, variance = likelihood(sweep(data, slope**2, session**2), data.freedom)
    prior = entry("reading_sd_um")
    # density of log(sd), normal about the entry's with the log of its geometric deviation
    added = stats.norm(np.log(prior.value), np.log(prior.gsd)).logpdf(np.log(variance**0.5))
    assert plain.shape == weighed.shape == (2, 3)
    for table, bare in ((plain, log_l), (weighed, log_l + added)):
        want = bare.reshape(2, 3)
        np.testing.assert_allclose(table, want - want.max(), rtol=1e-9, atol=1e-9)
    assert table.max() == 0.0


def test_the_variances_are_estimated_from_three_degrees_of_freedom_on():
    n, edge = [0.0, 4, 8], np.repeat([0, 1], 3)
    width = np.array([860.0, 838, 812, 870, 845, 822])
    three = Readings.build(edge=edge, sessions=n * 2, width_um=width, group=[0, 0])
    assert three.freedom == 3
    assert not pool(three).assumed
    two = Readings.build(edge=edge[:-1], sessions=(n * 2)[:-1], width_um=width[:-1], group=[0, 0])
    assert two.freedom == 2
    known = pool(two)
    assert known.assumed
    loss, sd = value("loss_um_per_session"), value("reading_sd_um")
    assert known.reading_sd_um == pytest.approx(sd)
    assert known.group_spread_um == pytest.approx(value("loss_between_edges_cv") * loss)
    assert known.session_var == pytest.approx((value("session_loss_cv") * loss) ** 2)
    assert known.freedom == 2
    # one edge, read twice: the entry of the loss and the readings' own, weighed by their variance
    one = Readings.build(edge=[0, 0], sessions=[0, 5], width_um=[860, 800.0], group=[0])
    own, v_own = 12.0, (2 * sd**2) / 25 + known.session_var / 5 + known.group_spread_um**2
    extra, middle = (
        (2 / loss) ** 2,
        (own / v_own + loss * (2 / loss) ** 2) / (1 / v_own + (2 / loss) ** 2),
    )
    omega2 = (value("loss_between_groups_cv") * middle) ** 2
    outside = omega2 + 1 / extra  # the group about the entry
    want = (own / v_own + loss / outside) / (1 / v_own + 1 / outside)
    assert pool(one).group_loss_um[0] == pytest.approx(want, rel=1e-9)
    assert pool(one).group_sd_um[0] == pytest.approx((1 / (1 / v_own + 1 / outside)) ** 0.5)


# ---- margins, dates, messages --------------------------------------------------------------


def test_margins_are_propagated_from_the_state_of_an_edge():
    rng = np.random.default_rng(1)
    since, limit = np.array([0.0, 2.0, 5.0]), np.array([690.0, 700, 650])
    known = SimpleNamespace(
        width_um=np.array([800.0, 750, 700]),
        loss_um=np.array([6.0, 8, 4]),
        var_width=np.array([30.0, 50, 20]),
        cov=np.array([-3.0, 2.0, -1.0]),
        var_loss=np.array([2.0, 1.0, 3.0]),
        session_var=7.0,
    )
    speed = Pace(
        per_day=rng.uniform(0.02, 0.1, 3), sd=rng.uniform(0.001, 0.01, 3), irregularity=0.6
    )
    steps, days = _drifts(known, limit, since, speed)
    for at in range(3):
        cov = np.array([[known.var_width[at], known.cov[at]], [known.cov[at], known.var_loss[at]]])
        for r in (0.0, 1.0, 7.0):
            a = np.array([1.0, -(since[at] + r)])
            mean = a @ [known.width_um[at], known.loss_um[at]] - limit[at]
            var = a @ cov @ a + 7.0 * (since[at] + r)
            assert steps.margin[at] - steps.rate[at] * r == pytest.approx(mean, rel=1e-12)
            found = steps.v0[at] + steps.v1[at] * r + steps.v2[at] * r**2
            assert found == pytest.approx(var, rel=1e-12)
        for t in (10.0, 300.0):
            rho, sd, b = speed.per_day[at], speed.sd[at], known.loss_um[at]
            count_var = 0.6 * rho * t + (sd * t) ** 2
            # at the mean count, the spread of the count, and the pace's spread times the loss's
            at_mean = steps.v0[at] + steps.v1[at] * rho * t + steps.v2[at] * (rho * t) ** 2
            var = at_mean + b**2 * count_var + known.var_loss[at] * (sd * t) ** 2
            found = days.v0[at] + days.v1[at] * t + days.v2[at] * t**2
            assert found == pytest.approx(var, rel=1e-12)
            assert days.margin[at] - days.rate[at] * t == pytest.approx(
                steps.margin[at] - b * rho * t, rel=1e-12
            )


def test_dates_are_rounded_up_and_end_after_a_century():
    days = np.array([0.0, 0.2, 1.0, 36525.0, 36525.01, np.inf])
    found = _dates(np.datetime64("2025-03-01"), days)
    want = ["2025-03-01", "2025-03-02", "2025-03-02", "2125-03-02", "NaT", "NaT"]
    np.testing.assert_array_equal(found, np.array(want, dtype="datetime64[s]"))
    assert MAX_DAYS == 36525


def test_a_number_and_its_interval_stand_side_by_side():
    found = bounded("x", np.array([3.0, 1.0]), np.array([2.0, 2.0]), floor=0.0)
    assert {k: v.tolist() for k, v in found.items()} == {
        "x": [3.0, 1.0],
        "x_low": [1.0, 0.0],
        "x_high": [5.0, 3.0],
    }
    assert bounded("x", 1.0, 2.0)["x_low"] == -1.0


def test_a_sure_margin_is_used_up_all_at_once():
    sure = Drift(
        margin=np.array([10.0]),
        rate=np.array([2.0]),
        v0=np.zeros(1),
        v1=np.zeros(1),
        v2=np.zeros(1),
    )
    assert passed_share(sure, [4.999, 5.001, 9.0]).tolist() == [[0.0, 1.0, 1.0]]
    assert [float(q[0]) for q in quantiles(sure, 1.6)] == [5.0, 5.0, 5.0]


def rows_of(code, losses, *, method="held", edge="used", start="2025-01-06", gap=14, first=0.86):
    """A reading, then sessions each followed by one: losses in micrometres."""
    day = pd.Timestamp(start)
    rows = [(code, edge, day, "measured", first, "", "hoe")]
    width = first
    for k, lost in enumerate(losses, 1):
        width = round(width - lost / 1000, 4)
        at = day + pd.Timedelta(days=gap * k)
        rows += [
            (code, edge, at, "sharpened", None, method, "hoe"),
            (code, edge, at, "measured", width, "", "hoe"),
        ]
    return rows


@pytest.fixture(scope="module")
def result():
    rows = []
    for k, losses in enumerate(
        [(5, 7, 6, 8, 4), (9, 4, 6, 7, 5), (6, 6, 8, 5, 3), (4, 7, 7, 6, 6)]
    ):
        rows += rows_of(f"A-{k}", losses, method=("held", "freehand")[k % 2])
    rows += [("A-0", "used", "2025-04-01", "used", None, "", "hoe")] * 1
    rows += [("A-1", "used", "2025-04-02", "broken", None, "", "hoe")]
    rows += [("B", "used", "2025-02-02", "measured", 0.9, "", "hoe")]
    return ek.forecast(log_of(rows), retire=ek.MaxWidthLoss(fraction=0.1), level=0.8)


def test_intervals_of_losses_are_students(result):
    known = result.table["loss_um_per_session"], result.loss_sd_um
    freedom = 25 - 5 - 2
    t = stats.t.ppf(0.9, freedom)
    for table, sd in ((result.table, result.loss_sd_um), (result.groups, result.groups_sd_um)):
        middle = table["loss_um_per_session"]
        np.testing.assert_allclose(table["loss_um_per_session_low"], middle - t * sd, rtol=1e-9)
        np.testing.assert_allclose(table["loss_um_per_session_high"], middle + t * sd, rtol=1e-9)
    assert len(known[0]) == 5
    assert result.groups["edges"].tolist() == [1, 2, 2]


def test_the_table_of_a_forecast_is_what_its_margins_say(result):
    table, t = result.table, stats.t.ppf(0.9, 25 - 5 - 2)
    drift = result.margin_sessions
    np.testing.assert_allclose(table["first_mm"], [0.86, 0.86, 0.86, 0.86, 0.9])
    np.testing.assert_allclose(table["limit_mm"], 0.9 * table["first_mm"], rtol=1e-12)
    np.testing.assert_allclose(
        table["width_mm"], table["limit_mm"] + drift.margin / 1000, rtol=1e-12
    )
    middle, low, high = quantiles(drift, t)
    gone = (table["status"] == "broken").to_numpy()
    assert gone.tolist() == [False, True, False, False, False]
    for column, want in (("", middle), ("_low", low), ("_high", high)):
        np.testing.assert_allclose(table[f"sessions_left{column}"], np.where(gone, 0, want))
        assert table[f"retire_on{column}"][1] == pd.Timestamp("2025-04-02")
    per_use = table["loss_um_per_use"]
    assert per_use[0] == pytest.approx(
        5 * table["loss_um_per_session"][0]
    )  # one use, five sessions
    assert per_use[1:].isna().all()
    notes = table["message"].tolist()
    assert "no uses logged" not in notes[0]
    assert "no uses logged: no loss per use" in notes[2]
    assert "no longer in use" in notes[1]
    assert [("one reading" in note) for note in notes] == [False] * 4 + [True]


def test_a_date_beyond_a_century_is_said_though_the_sessions_are_bounded(result):
    rows = []
    for k in range(4):
        # sessions a year apart: some 40 are left, with a date some 40 years on
        rows += rows_of(f"A-{k}", (5, 5.4, 4.8, 5.1), gap=365, start="2000-01-06", first=0.9)
    slow = ek.forecast(log_of(rows), retire=ek.MinWidth(width_mm=0.2)).table
    assert np.isfinite(slow["sessions_left_high"]).all()
    assert slow["retire_on_high"].isna().all()
    assert slow["message"].str.contains("no upper bound").all()
    near = ek.forecast(log_of(rows), retire=ek.MinWidth(width_mm=0.8)).table
    assert near["retire_on_high"].notna().all()
    assert not near["message"].str.contains("no upper bound").any()


def test_a_small_log_is_judged_by_the_evidence_table():
    small = ek.forecast(log_of(rows_of("A", (5,))), retire=ek.MaxWidthLoss())
    loss = value("loss_um_per_session")
    assert small.variances_assumed
    assert small.reading_sd_um == pytest.approx(value("reading_sd_um"))
    assert small.session_sd_um == pytest.approx(value("session_loss_cv") * loss)
    assert small.edge_spread_um == pytest.approx(value("loss_between_edges_cv") * loss)
    assert "one reading" not in small.table["message"][0]


def test_losses_that_grow_are_said_to_speed_up():
    for losses, verdict in (((2, 4, 6, 8, 10), "speeds up"), ((10, 8, 6, 4, 2), "slows down")):
        table = ek.forecast(log_of(rows_of("A", losses)), retire=ek.MaxWidthLoss()).table
        assert table["growth"].tolist() == [verdict]


def test_the_least_steps_of_a_width_that_grows_by_chance_alone():
    # Against its mean a width can only fall by the scatter of sessions, and soon or not at all.
    drift = Drift(
        **{
            name: np.array([number])
            for name, number in (
                ("margin", 1.0),
                ("rate", -0.5),
                ("v0", 0.01),
                ("v1", 50.0),
                ("v2", 0.0),
            )
        }
    )
    middle, low, high = (float(q[0]) for q in quantiles(drift, 1.0))
    want = brentq(lambda r: (1 + 0.5 * r) ** 2 - 0.01 - 50 * r, 0, 1)
    assert (middle, low, high) == (np.inf, pytest.approx(want, rel=1e-9), np.inf)


def test_those_within_three_sessions_are_counted_in_the_headline(result):
    table = result.table.assign(sessions_left=[2.99, 1.0, 3.0, 0.0, 9.0])
    assert "2 within 3 sessions" in dataclasses.replace(result, table=table)._headline()
    assert "; 80% intervals" in result._headline()


def test_refused_lines_are_told_with_their_share():
    rows = pd.DataFrame(rows_of("A", (5, 6, 7)), columns=COLUMNS).astype({"date": str})
    rows.loc[5, "event"] = "polishd up"
    log = ek.read_log(rows)
    text = ek.forecast(log, retire=ek.MaxWidthLoss()).caution
    assert text.startswith("1 lines of the log (14.3%) were refused")
    clean = ek.read_log(rows.drop(index=5))
    assert ek.forecast(clean, retire=ek.MaxWidthLoss()).caution == ""


# ---- the straight line ---------------------------------------------------------------------


def growth_of(*series):
    edge = np.repeat(np.arange(len(series)), [len(n) for n, _ in series])
    n, y = (np.concatenate([np.asarray(s[k], dtype=float) for s in series]) for k in (0, 1))
    (found,) = check_growth(edge, n, y, np.zeros(len(series), dtype=int))
    return found


def test_a_curve_without_noise_is_no_straight_line_and_a_line_is():
    n = np.arange(6.0)
    assert growth_of((n, n**2)).verdict is Growth.SPEEDS_UP
    assert growth_of((n, -(n**2))).verdict is Growth.SLOWS_DOWN
    assert growth_of((n, n**2), (n, -(n**2))).verdict is Growth.BENDS
    assert growth_of((n, n**2), (n, n**2)).verdict is Growth.SPEEDS_UP
    many = [(n, s * (n**2 + 0.1 * k * n**2)) for k, s in enumerate([1, 1, 1, 1, 1])]
    assert growth_of(*many).verdict is Growth.SPEEDS_UP
    mixed = [(n, s * n**2) for s in (1, -1, 1, -1, 1.001)]
    assert growth_of(*mixed).verdict is Growth.STRAIGHT


def test_the_unit_of_a_loss_is_no_matter_to_its_line():
    n, rng = np.arange(6.0), np.random.default_rng(4)
    for count in (2, 6):
        series = [(n, 5 * n + 0.2 * n**2 + rng.normal(0, 2, 6)) for _ in range(count)]
        share = growth_of(*series).share
        assert 0.001 < share < 0.999
        for unit in (1e-6, 1e3):
            scaled = [(n, unit * y) for n, y in series]
            assert growth_of(*scaled).share == pytest.approx(share, rel=1e-6)
    counts = (n, 3 * n + 0.5 * n**2 + np.array([0.1, -0.2, 0.3, -0.1, 0.2, -0.3]))
    small = growth_of((1e-3 * n, counts[1]))
    assert small.edges == 1
    assert small.share == pytest.approx(growth_of(counts).share, rel=1e-6)
    assert growth_of((n, 1e-6 * n**2)).verdict is Growth.SPEEDS_UP
    assert growth_of((n, 1e6 * n**2)).verdict is Growth.SPEEDS_UP


def test_what_cannot_be_checked_is_said():
    for n in ([0, 1, 2], [0, 0, 5, 5], [3, 3, 3, 3]):
        found = growth_of((n, np.arange(len(n))))
        assert (found.verdict, found.share, found.edges) == (Growth.UNCHECKED, 1.0, 0)
    assert growth_of(([0, 0, 5, 10], [0, 1, 9, 40])).edges == 1
    # all but two counts: what is left of a quadratic weighs 2e-6 of four readings
    clumped = [0.0, 0.0, 1.0, 1.0005]
    x = (clumped - np.mean(clumped)) / np.std(clumped)
    fit = np.polynomial.Polynomial.fit(x, x**2, 1)
    assert 1e-6 / 4 < ((x**2 - fit(x)) ** 2).sum() < 4e-6
    assert growth_of((clumped, [0, 1, 5, 9])).edges == 0


# ---- pace, lives ---------------------------------------------------------------------------


def past(first, ended, sessions, gaps, as_of="2025-07-01"):
    frame = pd.DataFrame(
        {
            "first": pd.to_datetime(first),
            "ended": pd.to_datetime(ended),
            "sessions": sessions,
        }
    )
    return SimpleNamespace(
        edges=frame, gap_days=np.array(gaps, dtype=float), as_of=np.datetime64(as_of)
    )


def test_pace_is_the_gamma_poisson_mean_with_moments_of_the_clinic():
    gaps = [10, 0, 14, 30, 9, 22]
    seen = past(
        ["2025-01-01", "2025-03-01", "2025-06-30"], [None, "2025-06-01", None], [12, 2, 4], gaps
    )
    days = np.array([181.0, 92.0, 1.0])
    count = np.array([12.0, 2, 4])
    used = np.array([10.0, 14, 30, 9, 22])  # of two sessions on one day nothing is learnt
    phi = stats.variation(used, ddof=1) ** 2
    mean = 18 / days.sum()
    excess = ((count - mean * days) ** 2 - phi * mean * days).sum() / (days**2).sum()
    spread = max(excess, (mean / 20) ** 2)
    b = mean * phi / spread
    found = pace(seen)
    assert 0.05 < phi < 5
    assert found.irregularity == pytest.approx(phi, rel=1e-12)
    np.testing.assert_allclose(found.per_day, (mean * b + count) / (b + days), rtol=1e-12)
    np.testing.assert_allclose(found.sd**2, phi * found.per_day / (b + days), rtol=1e-12)


@pytest.mark.parametrize(
    ("gaps", "want"),
    [
        ([], 1.0),
        ([10, 40], 1.0),
        ([10, 40, 0, 0], 1.0),
        ([10, 10, 10.1], 0.05),
        ([1] * 40 + [900], 5.0),
        ([10, 40, 25], (15 / 25) ** 2),
    ],
)
def test_irregularity_is_told_from_three_gaps_on_and_kept_in_bounds(gaps, want):
    seen = past(["2025-01-01"], [None], [4], gaps)
    assert pace(seen).irregularity == pytest.approx(want, rel=1e-12)


def test_one_session_tells_a_pace_and_edges_alike_differ_by_a_twentieth():
    one = pace(past(["2025-06-01"], [None], [1], []))
    assert one.per_day[0] == pytest.approx(1 / 30)
    alike = pace(past(["2025-01-01"] * 3, [None] * 3, [10] * 3, []))
    mean = 10 / 181
    b = mean / (mean / 20) ** 2
    np.testing.assert_allclose(alike.per_day, mean, rtol=1e-12)
    np.testing.assert_allclose(alike.sd, np.sqrt(mean / (b + 181)), rtol=1e-12)


def test_a_log_of_one_day_or_without_sessions_still_has_a_pace():
    one = pace(past(["2025-07-01"], [None], [3], []))
    assert one.per_day[0] == pytest.approx(3.0)  # of one day at least
    none = pace(past(["2025-01-01", "2025-07-01"], [None, None], [0, 0], [10, 40, 25]))
    assert none.per_day.tolist() == pytest.approx([value("sessions_per_year") / 365.25] * 2)
    assert none.sd.tolist() == pytest.approx([value("sessions_per_year") / 365.25 / 2] * 2)
    assert none.irregularity == pytest.approx((15 / 25) ** 2)


def lives(*items):
    """A log of instruments by their sessions and how they ended."""
    rows = []
    for k, (sessions, end) in enumerate(items):
        rows += [
            (f"A{k}", "used", f"2025-01-{d + 1:02d}", "sharpened", None, "", "hoe")
            for d in range(sessions)
        ]
        rows.append((f"A{k}", "used", "2025-02-01", end, None, "", "hoe"))
    return survival(log_of(rows))


def test_a_weibull_law_needs_two_ends_at_different_lives_above_nothing():
    assert lives((5, "retired"), (5, "broken"), (9, "used")).weibull is None
    assert lives((5, "retired"), (0, "broken"), (9, "used")).weibull is None
    found = lives((5, "retired"), (0, "broken"), (9, "broken"), (0, "used"), (12, "used"))
    want = fit_weibull([5, 9, 12], [True, True, False])
    assert (found.weibull.shape, found.weibull.scale) == (want.shape, want.scale)
    assert found.lives["ended"].tolist() == [True, True, True, False, False]
    text = repr(found)
    assert text.startswith("Survival of 5 instruments, 3 ended; Weibull shape ")
    median = want.scale * np.log(2) ** (1 / want.shape)
    assert text.endswith(f"median {median:.1f} sessions")


def test_weibull_laws_of_alike_and_of_scattered_lives():
    for shape in (0.05, 40.0, 900.0):
        share = (np.arange(8) + 0.5) / 8
        times = 20 * (-np.log1p(-share)) ** (1 / shape)
        fit = fit_weibull(times, np.ones(8, dtype=bool))
        # the likelihood has its one maximum there: both derivatives vanish
        z = (times / fit.scale) ** fit.shape
        assert z.sum() == pytest.approx(8, rel=1e-9)
        slope = 8 / fit.shape + np.log(times / fit.scale) @ (1 - z)
        assert slope * fit.shape == pytest.approx(0, abs=1e-7)
        assert fit.quantile(1 - np.exp(-1)) == pytest.approx(fit.scale)


def test_lives_that_all_but_coincide_are_fitted():
    # two complete lives: with x = ln t of half-distance d, shape·d solves u tanh u = 1 (by hand)
    for apart in (1e-3, 1e-9):
        fit = fit_weibull([1.0, 1.0 + apart], [True, True])
        u = fit.shape * np.log1p(apart) / 2
        assert u * np.tanh(u) == pytest.approx(1.0, rel=1e-6)


def test_the_band_of_a_curve_is_greenwoods_on_the_log_log_scale():
    times = np.array([2, 3, 3, 5, 8, 8, 9, 12.0])
    ended = np.array([1, 1, 0, 1, 1, 0, 0, 1], dtype=bool)
    curve = kaplan_meier(times, ended, level=0.8)
    s, total, z = 1.0, 0.0, stats.norm.ppf(0.9)
    for row in curve.itertuples():
        risk, d = (times >= row.sessions).sum(), (ended & (times == row.sessions)).sum()
        assert (row.at_risk, row.ends) == (risk, d)
        s *= 1 - d / risk
        assert row.survival == pytest.approx(s, rel=1e-12)
        if s == 0:
            assert (row.survival_low, row.survival_high) == (0, 0)
            continue
        total += d / (risk * (risk - d))
        theta = z * np.sqrt(total) / np.log(s)
        assert row.survival_low == pytest.approx(s ** np.exp(-theta), rel=1e-9)
        assert row.survival_high == pytest.approx(s ** np.exp(theta), rel=1e-9)
    none = kaplan_meier([4.0, 6.0], [False, False])
    assert (
        none[["survival", "survival_low", "survival_high"]].to_numpy().tolist() == [[1.0] * 3] * 2
    )
    assert kaplan_meier([0.0, 2.0], [True, False])["at_risk"].tolist() == [2, 1]
    assert kaplan_meier([0.5], [True])["survival"].tolist() == [0.0]
    for times, ended in (([-1.0, 2], [True, True]), ([1.0], [True, True]), ([], [])):
        with pytest.raises(ek.EdgekitError, match="each life needs"):
            kaplan_meier(times, ended)


def test_defaults_of_levels_are_ninety_percent(result):
    times, ended = [2, 3, 5, 8.0], [True, False, True, False]
    pd.testing.assert_frame_equal(kaplan_meier(times, ended), kaplan_meier(times, ended, level=0.9))
    log = result.log
    pd.testing.assert_frame_equal(survival(log).curve, survival(log, level=0.9).curve)
    assert ek.forecast(log, retire=ek.MaxWidthLoss()).level == 0.9


# ---- the model beside the log --------------------------------------------------------------


LIVES = {
    "held": {"mean": 5.0, "sd": 1.2, "mc": 0.4},
    "freehand": {"mean": 9.0, "sd": 2.5, "mc": 0.3},
}


def lived(_, methods, *, runs, **__):
    """Stands in for a study of lives: its means are known."""
    given, rng = LIVES[methods[0].name], np.random.default_rng(runs)
    radius = rng.lognormal(1.2, 0.3, runs)
    return SimpleNamespace(
        table=pd.DataFrame(
            {
                f"loss_um_per_session{part}": [given[name]]
                for part, name in (("", "mean"), ("_sd", "sd"), ("_mc", "mc"))
            }
        ),
        runs=pd.DataFrame(
            {
                "dull_radius_um": radius,
                "angle_rms_deg": np.full(runs, 3.0),
                "loss_um_per_session": given["mean"] + radius,
            }
        ),
        methods=tuple(methods),
    )


@pytest.fixture
def compared(monkeypatch):
    monkeypatch.setattr(model_check, "compare", lived)

    def call(result, names=("held", "freehand"), **more):
        methods = {name: SimpleNamespace(name=name) for name in names}
        return ek.compare_with_model(result, methods=methods, seed=3, **more)

    return call


@pytest.fixture
def checked(result, compared):
    return compared(result, runs=20)


def test_model_and_log_are_joined_as_two_normal_numbers(result, checked):
    z = ndtri(0.9)
    for name, given in LIVES.items():
        row = checked.groups[checked.groups["method"] == name].iloc[0]
        at = int(np.flatnonzero(result.groups["method"] == name)[0])
        m0, v0 = given["mean"], given["sd"] ** 2 + given["mc"] ** 2
        y, v = result.groups["loss_um_per_session"][at], result.groups_sd_um[at] ** 2
        assert row["model_um_per_session"] == pytest.approx(m0, rel=1e-12)
        half = (row["model_um_per_session_high"] - row["model_um_per_session_low"]) / 2
        assert half == pytest.approx(z * np.sqrt(v0), rel=1e-9)
        after = 1 / (1 / v0 + 1 / v)
        assert row["updated_um_per_session"] == pytest.approx(after * (m0 / v0 + y / v), rel=1e-9)
        half = (row["updated_um_per_session_high"] - row["updated_um_per_session_low"]) / 2
        assert half == pytest.approx(z * np.sqrt(after), rel=1e-9)
        assert row["surprise"] == pytest.approx((y - m0) / np.sqrt(v0 + v), rel=1e-9)
    assert checked.level == 0.8


def test_sessions_left_at_the_updated_loss(result, checked, compared):
    table = checked.table
    margin = (table["width_mm"] - table["limit_mm"]) * 1000
    want = margin / table["updated_um_per_session"]
    want[table["status"] != "in use"] = 0.0
    np.testing.assert_allclose(table["updated_sessions_left"], want, rtol=1e-9)
    down = result.table.assign(limit_mm=[0.9, 0.86, 0.86, 0.5, 0.81])
    below = dataclasses.replace(result, table=down)
    again = compared(below, ["held"]).table
    assert again["updated_sessions_left"][[0, 1]].tolist() == [0.0, 0.0]
    still = dataclasses.replace(result, table=down.assign(loss_um_per_session=0.0))
    left = compared(still, ["held"]).table
    assert left["updated_sessions_left"][[3, 4]].tolist() == [np.inf, np.inf]  # without a model
    assert left["updated_sessions_left"][1] == 0.0
    slow = dataclasses.replace(result, table=down.assign(loss_um_per_session=0.5))
    left = compared(slow, ["held"]).table
    margin = (left["width_mm"] - left["limit_mm"])[[3, 4]] * 1000
    np.testing.assert_allclose(left["updated_sessions_left"][[3, 4]], margin / 0.5, rtol=1e-9)


def test_a_model_is_in_doubt_beyond_two_deviations(checked):
    pattern = checked.groups["pattern"]
    groups = checked.groups.assign(surprise=[np.nan, 2.0, -2.01])
    text = repr(dataclasses.replace(checked, groups=groups))
    assert text.startswith("Model beside the log for 2 of 3 groups")
    assert text.endswith(f"the model is in doubt for {pattern[2]}, {checked.groups['method'][2]}")
    calm = checked.groups.assign(surprise=[np.nan, 2.0, -2.0])
    assert "doubt" not in repr(dataclasses.replace(checked, groups=calm))


def test_inputs_stand_beside_their_moments(result, checked, compared):
    drawn = lived(None, [SimpleNamespace(name="held")], runs=20).runs
    rows = checked.inputs[checked.inputs["method"] == "held"]
    assert rows["input"].tolist() == ["dull_radius_um"]  # the other one stays
    row, radius = rows.iloc[0], drawn["dull_radius_um"]
    assert (row["unit"], row["pattern"]) == ("µm", "hoe")
    assert row["before"] == pytest.approx(np.mean(radius), rel=1e-12)
    assert row["before_sd"] == pytest.approx(stats.tstd(radius), rel=1e-12)
    log_sd = np.log(radius).std(ddof=1)
    with_loss = np.cov(np.log(radius), radius)[0, 1] ** 2
    at = int(np.flatnonzero(result.groups["method"] == "held")[0])
    total = radius.var(ddof=1) + result.groups_sd_um[at] ** 2
    assert row["removed"] == pytest.approx(with_loss / total / log_sd**2, rel=1e-9)
    # a hundred lives by default; a blade of two edges gives each half
    assert len(lived(None, [SimpleNamespace(name="held")], runs=100).runs) == 100
    plain, named = compared(result), compared(result, runs=100)
    pd.testing.assert_frame_equal(plain.inputs, named.inputs)


@pytest.mark.parametrize(("pattern", "edges"), [("universal curette", 2), ("hoe", 1)])
def test_an_edge_bears_its_share_of_the_models_loss(result, compared, pattern, edges):
    swap = {"pattern": pattern}
    other = dataclasses.replace(
        result, table=result.table.assign(**swap), groups=result.groups.assign(**swap)
    )
    own = compared(other, ["held"]).groups["model_um_per_session"].dropna()
    assert own.tolist() == [pytest.approx(5.0 / edges)]
    both = compared(other, ["held"], edges_share_width=True).groups["model_um_per_session"]
    assert both.dropna().tolist() == [pytest.approx(5.0)]


def test_twenty_lives_are_the_fewest_and_a_hundred_thousand_the_most(result, compared):
    assert compared(result, runs=20).inputs["removed"].notna().all()
    assert compared(result, runs=100_000).inputs["removed"].notna().all()
    for runs in (19, 100_001):
        with pytest.raises(ek.EdgekitError, match="runs"):
            compared(result, runs=runs)


def test_ten_runs_an_input_are_the_fewest_and_an_input_that_stays_is_no_matter():
    rng = np.random.default_rng(1)
    x = np.column_stack([rng.normal(3, 1, 20), np.full(20, 2.0)])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = update_inputs(x, x[:, 0] * 2, (7.0, 0.5))
    assert (found.mean[1], found.sd[1]) == (2.0, 0.0)
    assert np.isfinite(found.pull).all()
    with pytest.raises(ek.EdgekitError, match="ten per input"):
        update_inputs(x[:19], x[:19, 0] * 2, (7.0, 0.5))
    total = 4 * x[:, 0].var(ddof=1) + 0.25
    assert found.surprise[0] == pytest.approx((7 - 2 * x[:, 0].mean()) / total**0.5, rel=1e-12)


def test_logarithms_are_taken_of_what_is_above_nothing():
    low = update_loss((0.5, 0.1), (0.6, 0.1), scale=Scale.LOG)
    assert 0.5 < float(low.mean) < 0.6
    with pytest.raises(ek.EdgekitError, match="above 0 on a log scale"):
        update_loss(([0.5, -0.5], 0.1), (0.6, 0.1), scale=Scale.LOG)
    x = np.column_stack([np.linspace(1, 2, 20), np.linspace(-1, 2, 20)])
    for scales in ((Scale.LINEAR, Scale.LOG), (Scale.LOG, Scale.LOG)):
        with pytest.raises(ek.EdgekitError, match="above 0 on a log scale"):
            update_inputs(x, x[:, 0], (1.0, 0.5), scales=scales)
    small = update_inputs(x * 0.1, x[:, 0], (1.0, 0.5), scales=(Scale.LOG, Scale.LINEAR))
    assert np.isfinite(small.mean).all()


# ---- rows behind a number ------------------------------------------------------------------


def test_rows_behind_each_number_play_the_parts_that_are_documented(result):
    def parts(column, code="A-0"):
        found = ek.source_rows(result, code, "used", column)
        return found["part"].value_counts().to_dict()

    own = {"own reading": 6, "own session": 5}
    group = {"group": 11}  # six readings and five sessions
    spread = {"spread": 23}  # by freehand, and B's one reading
    assert parts("readings") == {"own reading": 6}
    assert parts("sessions") == {"own session": 5}
    assert parts("first_mm") == parts("limit_mm") == {"own reading": 1}
    assert parts("status", "A-1") == {"own end": 1}
    assert parts("width_mm") == parts("sessions_left_low") == own | group | spread
    assert parts("loss_um_per_use_high") == own | group | spread | {"own use": 1}
    assert parts("retire_on") == own | group | spread | {"pace": 15, "last date": 1}
    first = ek.source_rows(result, "A-2", "used", "first_mm")
    assert first["width_mm"].tolist() == [0.86]
