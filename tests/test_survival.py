"""Survival with censoring against hand arithmetic and general libraries.

Sources: the remission times of 21 patients under 6-MP, Freireich et al. 1963 (the worked example
of survival texts; figures from memory, product-limit values also computed here by hand);
statsmodels SurvfuncRight; scipy.stats.weibull_min.fit.
"""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from edgekit.clinic.forecasting.survival import fit_weibull, kaplan_meier, survival
from edgekit.clinic.log.log import read_log
from edgekit.errors import EdgekitError

WEEKS = np.array([6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35])
ENDED = np.array([1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0], dtype=bool)
SAME = 1e-12
SEARCH = 1e-4
"""Relative; the library's fit stops its own search there."""


def test_remission_times_match_the_printed_product_limit():
    curve = kaplan_meier(WEEKS, ENDED).set_index("sessions")["survival"]
    printed = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}
    for week, share in printed.items():
        assert abs(curve[week] - share) <= 0.0006


def _by_hand(time, ended):
    share, out = 1.0, {}
    for t in np.unique(time):
        share *= 1 - (ended & (time == t)).sum() / (time >= t).sum()
        out[float(t)] = share
    return out


def test_curve_matches_hand_arithmetic_and_general_library():
    library = pytest.importorskip("statsmodels.duration.survfunc")
    rng = np.random.default_rng(7)
    for _ in range(20):
        time = rng.integers(1, 25, 60)
        ended = rng.random(60) < 0.6
        curve = kaplan_meier(time, ended)
        hand = _by_hand(time, ended)
        assert np.allclose(curve["survival"], [hand[t] for t in curve["sessions"]], atol=SAME)
        other = library.SurvfuncRight(time, ended.astype(int))
        at = curve.set_index("sessions").loc[other.surv_times, "survival"]
        assert np.allclose(at, other.surv_prob, atol=SAME)
        risk = curve.set_index("sessions").loc[other.surv_times, "at_risk"]
        assert np.array_equal(risk, other.n_risk)


def test_band_contains_the_curve_and_is_finite():
    for ended in (ENDED, np.ones(21, dtype=bool), np.zeros(21, dtype=bool)):
        curve = kaplan_meier(WEEKS, ended)
        assert curve.notna().to_numpy().all()
        assert (curve["survival_low"] <= curve["survival"]).all()
        assert (curve["survival"] <= curve["survival_high"]).all()


def test_weibull_matches_scipy_and_recovers_the_truth():
    rng = np.random.default_rng(11)
    life = 15 * rng.weibull(2.5, 4000)
    stop = rng.uniform(5, 30, 4000)
    time, ended = np.minimum(life, stop), life <= stop
    fit = fit_weibull(time, ended)
    assert abs(fit.shape - 2.5) < 0.15
    assert abs(fit.scale - 15) < 0.5
    small = slice(300)
    data = stats.CensoredData(
        uncensored=time[small][ended[small]], right=time[small][~ended[small]]
    )
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    own = fit_weibull(time[small], ended[small])
    assert np.allclose((own.shape, own.scale), (shape, scale), rtol=SEARCH)
    assert np.isclose(own.quantile(0.3), stats.weibull_min.ppf(0.3, shape, scale=scale), rtol=1e-3)


def _log(rows):
    return read_log(pd.DataFrame(rows, columns=["instrument", "edge", "date", "event"]))


def test_lives_count_sessions_and_keep_instruments_in_use_as_censored():
    rows = [
        ("A", "left", "2025-01-06", "sharpened"),
        ("A", "right", "2025-01-06", "sharpened"),
        ("A", "left", "2025-02-06", "sharpened"),
        ("A", "", "2025-02-07", "broken"),
        ("B", "used", "2025-01-06", "sharpened"),
        ("C", "", "2025-01-06", "sharpened"),
        ("C", "", "2025-03-06", "retired"),
    ]
    result = survival(_log(rows))
    lives = result.lives.set_index("instrument")
    assert lives["sessions"].to_dict() == {"A": 2, "B": 1, "C": 1}
    assert lives["ended"].to_dict() == {"A": True, "B": False, "C": True}
    assert result.weibull is not None


def test_survival_without_ends_says_that_it_cannot_fit():
    result = survival(_log([("A", "", "2025-01-06", "sharpened")]))
    assert result.weibull is None
    assert "too few ends" in result.message


@pytest.mark.parametrize(
    "call",
    [
        lambda: kaplan_meier([], []),
        lambda: kaplan_meier([-1, 2], [True, True]),
        lambda: kaplan_meier([1, 2], [True]),
        lambda: fit_weibull([3, 3, 3], [True, True, False]),
        lambda: fit_weibull([0, 2, 3], [True, True, True]),
    ],
)
def test_lives_that_make_no_sense_are_refused(call):
    with pytest.raises(EdgekitError):
        call()
