"""The check of straight lines on published degradation tables, and the tables themselves.

The tables are checked against least-squares results computed apart from the package, to the digits
that these are given with. Sources of the tables: see degradation_data.
"""

import numpy as np
import pytest
from scipy import stats

from edgekit.clinic.forecasting.growth import Growth, check_growth
from tests.degradation_data import (
    CRACK_MM,
    CRACK_TIME,
    FLANK,
    WEAR_HUNDREDS,
    WEAR_LOAD_G,
    WEAR_UM,
    WEAR_UNITS,
)

LAST_DIGIT = 0.51
"""Half a unit of the last digit a reference is printed with, and a little for its own rounding."""


def _matches(value, printed):
    digits = len(printed.split(".")[1]) if "." in printed else 0
    return abs(value - float(printed)) <= LAST_DIGIT * 10.0**-digits


def _power_law(wear):
    return stats.linregress(np.log(WEAR_HUNDREDS), np.log(wear))


@pytest.mark.parametrize(
    ("unit", "factor", "exponent"),
    [(109, "11.151", "0.1928"), (112, "9.756", "0.2161"), (103, "1.850", "0.2044")],
)
def test_power_law_of_sliding_wear_matches_the_reference(unit, factor, exponent):
    fit = _power_law(WEAR_UM[unit == WEAR_UNITS][0])
    assert _matches(np.exp(fit.intercept), factor)
    assert _matches(fit.slope, exponent)
    if unit == 109:
        assert _matches(fit.stderr, "0.0057")
        assert _matches(fit.rvalue**2, "0.9948")


def test_exponents_of_sliding_wear_have_the_reference_mean_and_spread():
    exponents = np.array([_power_law(wear).slope for wear in WEAR_UM])
    assert _matches(exponents.mean(), "0.1911")
    assert _matches(exponents.std(ddof=1), "0.0227")
    by_load = [exponents[load == WEAR_LOAD_G].mean() for load in (10, 50, 100)]
    for mean, printed in zip(by_load, ("0.1975", "0.1683", "0.2074"), strict=True):
        assert _matches(mean, printed)


@pytest.mark.parametrize(
    ("case", "start", "rate", "se", "sd"),
    [
        (10, "-0.0101", "0.01248", "0.00036", "0.0203"),
        (11, "-0.0288", "0.00679", "0.00026", "0.0389"),
        (13, "-0.1876", "0.03360", "0.00224", "0.1029"),
    ],
)
def test_line_of_flank_wear_matches_the_reference(case, start, rate, se, sd):
    minutes, wear = FLANK[case]
    fit = stats.linregress(minutes, wear)
    left = wear - fit.intercept - fit.slope * minutes
    residual_sd = np.sqrt((left**2).sum() / (len(wear) - 2))
    values = (fit.intercept, fit.slope, fit.stderr, residual_sd)
    for value, printed in zip(values, (start, rate, se, sd), strict=True):
        assert _matches(value, printed)


def test_crack_line_through_early_readings_crosses_at_the_reference_times():
    printed = (
        "1.478",
        "0.685",
        "1.415",
        "1.486",
        "0.791",
        "0.810",
        "1.568",
        "0.862",
        "0.895",
        "1.594",
    )
    through_0 = CRACK_MM[:, :5] @ CRACK_TIME[:5] / (CRACK_TIME[:5] @ CRACK_TIME[:5])
    assert len(printed) == len(through_0)
    for slope, text in zip(through_0, printed, strict=True):
        assert _matches(0.4 / slope, text)


def _stack(series):
    edge = np.concatenate([np.full(len(n), at) for at, (n, _) in enumerate(series)])
    n, y = (np.concatenate([pair[k] for pair in series]).astype(float) for k in (0, 1))
    return edge, n, y, np.zeros(len(series), dtype=int)


def test_straight_line_is_seen_to_fail_on_sliding_wear_at_every_load():
    for load in (10, 50, 100):
        series = [(WEAR_HUNDREDS, wear) for wear in WEAR_UM[load == WEAR_LOAD_G]]
        assert check_growth(*_stack(series))[0].verdict is Growth.SLOWS_DOWN
    overall = check_growth(*_stack([(WEAR_HUNDREDS, wear) for wear in WEAR_UM]))[0]
    assert overall.verdict is Growth.SLOWS_DOWN
    assert "more than forecast" in overall.message


def test_straight_line_is_seen_to_fail_on_early_flank_wear():
    for limit, verdict in ((0.25, Growth.BENDS), (0.45, Growth.SPEEDS_UP)):
        series = [(n[y <= limit], y[y <= limit]) for n, y in FLANK.values()]
        assert check_growth(*_stack(series))[0].verdict is verdict


def test_share_of_straight_groups_warned_of_is_as_stated():
    rng = np.random.default_rng(5)
    for edges, stated in ((8, 0.01), (2, 0.1)):
        groups = 2000
        n = np.tile(np.arange(7.0), edges * groups)
        edge = np.repeat(np.arange(edges * groups), 7)
        y = 6 * n + rng.normal(0, 8, len(n))
        result = check_growth(edge, n, y, np.repeat(np.arange(groups), edges))
        share = np.mean([item.verdict is not Growth.STRAIGHT for item in result])
        assert abs(share - stated) < 4 * np.sqrt(stated * (1 - stated) / groups)


def test_growth_of_three_readings_per_edge_is_unchecked_not_straight():
    series = [(np.array([0.0, 1, 2]), np.array([0.0, 6, 12]))] * 3
    assert check_growth(*_stack(series))[0].verdict is Growth.UNCHECKED


def test_bends_match_a_quadratic_fit_by_numpy():
    n, y = FLANK[11]
    result = check_growth(np.zeros(len(n), dtype=int), n, y, np.zeros(1, dtype=int))[0]
    left = [np.polyfit(n, y, degree, full=True)[1][0] for degree in (1, 2)]
    f = (left[0] - left[1]) / (left[1] / (len(n) - 3))
    assert np.isclose(result.share, stats.f.sf(f, 1, len(n) - 3), rtol=1e-6)
