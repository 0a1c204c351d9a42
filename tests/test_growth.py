"""Growth laws on published degradation tables: the reference results were computed apart from the
package, by plain least squares of the tables, and are matched to the digits they are given with.

Sources of the tables: see degradation_data.
"""

import numpy as np
import pytest
from scipy import stats

from edgekit.clinic.forecast.growth import check_growth, fit_line, fit_power
from edgekit.errors import EdgekitError
from tests.degradation_data import (
    BELT_MAX_MM,
    BELT_USE,
    CRACK_MM,
    CRACK_TIME,
    FLANK,
    LASER_2000_H,
    LASER_4000_H,
    WEAR_HUNDREDS,
    WEAR_LOAD_G,
    WEAR_UM,
    WEAR_UNITS,
)

LAST_DIGIT = 0.51
"""Half a unit of the last digit a reference is printed with, and a little for its own rounding."""

ROUNDED_USE = 2e-3
"""The belt's use is printed with three decimals; the reference used more."""


def _matches(value, printed):
    digits = len(printed.split(".")[1]) if "." in printed else 0
    return abs(value - float(printed)) <= LAST_DIGIT * 10.0**-digits


@pytest.mark.parametrize(
    ("unit", "factor", "exponent"),
    [(109, "11.151", "0.1928"), (112, "9.756", "0.2161"), (103, "1.850", "0.2044")],
)
def test_power_law_of_sliding_wear_matches_the_reference(unit, factor, exponent):
    fit = fit_power(WEAR_HUNDREDS, WEAR_UM[unit == WEAR_UNITS][0])
    assert _matches(fit.factor, factor)
    assert _matches(fit.exponent, exponent)
    if unit == 109:
        assert _matches(fit.exponent_se, "0.0057")
        assert _matches(fit.r_squared, "0.9948")


def test_exponents_of_sliding_wear_have_the_reference_mean_and_spread():
    exponents = np.array([fit_power(WEAR_HUNDREDS, wear).exponent for wear in WEAR_UM])
    assert _matches(exponents.mean(), "0.1911")
    assert _matches(exponents.std(ddof=1), "0.0227")
    by_load = [exponents[load == WEAR_LOAD_G].mean() for load in (10, 50, 100)]
    for mean, printed in zip(by_load, ("0.1975", "0.1683", "0.2074"), strict=True):
        assert _matches(mean, printed)


def test_held_out_sliding_wear_is_met_by_the_power_law_and_missed_by_the_line():
    early = WEAR_HUNDREDS <= 100
    power = [fit_power(WEAR_HUNDREDS[early], w[early]).at(500) / w[-1] - 1 for w in WEAR_UM]
    line = [fit_line(WEAR_HUNDREDS[early], w[early]).at(500) / w[-1] - 1 for w in WEAR_UM]
    percent = [
        100 * np.mean(power),
        100 * np.sqrt(np.mean(np.square(power))),
        100 * np.mean(line),
        100 * np.sqrt(np.mean(np.square(line))),
    ]
    for value, printed in zip(percent, ("1.0", "8.1", "124", "126"), strict=True):
        assert _matches(value, printed)


def test_time_to_30_um_of_sliding_wear_matches_the_reference():
    early = WEAR_HUNDREDS <= 50
    heavy = WEAR_UM[WEAR_LOAD_G == 100]
    times = [fit_power(WEAR_HUNDREDS[early], w[early]).reaches(30) for w in heavy]
    for time, printed in zip(times, ("141", "185", "155", "241"), strict=True):
        assert _matches(time, printed)


@pytest.mark.parametrize(
    ("case", "start", "rate", "se", "sd"),
    [
        (10, "-0.0101", "0.01248", "0.00036", "0.0203"),
        (11, "-0.0288", "0.00679", "0.00026", "0.0389"),
        (13, "-0.1876", "0.03360", "0.00224", "0.1029"),
    ],
)
def test_line_of_flank_wear_matches_the_reference_and_scipy(case, start, rate, se, sd):
    minutes, wear = FLANK[case]
    fit = fit_line(minutes, wear)
    for value, printed in zip(
        (fit.start, fit.rate, fit.rate_se, fit.residual_sd), (start, rate, se, sd), strict=True
    ):
        assert _matches(value, printed)
    other = stats.linregress(minutes, wear)
    assert np.allclose(
        (fit.rate, fit.start, fit.rate_se, fit.start_se),
        (other.slope, other.intercept, other.stderr, other.intercept_stderr),
        rtol=1e-10,
    )


def test_early_line_of_flank_wear_is_late_by_the_reference_times():
    for case, printed in ((10, "39.0"), (11, "88.3"), (13, "39.0")):
        minutes, wear = FLANK[case]
        early = wear <= 0.25
        assert _matches(fit_line(minutes[early], wear[early]).reaches(0.45), printed)


def test_belt_line_and_its_crossing_match_the_reference():
    fit = fit_line(BELT_USE, BELT_MAX_MM)
    got = (fit.start, fit.rate, fit.rate_se, fit.reaches(25))
    assert np.allclose(got, (0.962, 13.924, 1.247, 1.726), atol=ROUNDED_USE)


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


def test_laser_line_doubles_from_2000_to_4000_hours_within_the_reference_spread():
    # the printed reference used every reading up to 2,000 h; here only the last is at hand
    error = 2 * LASER_2000_H / LASER_4000_H - 1
    assert abs(error.mean()) < 0.05
    assert error.std(ddof=1) < 0.12


def _stack(series):
    edge = np.concatenate([np.full(len(n), at) for at, (n, _) in enumerate(series)])
    n, y = (np.concatenate([pair[k] for pair in series]).astype(float) for k in (0, 1))
    return edge, n, y, np.zeros(len(series), dtype=int)


def test_straight_line_is_seen_to_fail_on_sliding_wear_at_every_load():
    for load in (10, 50, 100):
        series = [(WEAR_HUNDREDS, wear) for wear in WEAR_UM[load == WEAR_LOAD_G]]
        assert check_growth(*_stack(series))[0].verdict == "slows down"
    whole = check_growth(*_stack([(WEAR_HUNDREDS, wear) for wear in WEAR_UM]))[0]
    assert whole.verdict == "slows down"
    assert "more than forecast" in whole.message


def test_straight_line_is_seen_to_fail_on_early_flank_wear():
    for limit, verdict in ((0.25, "bends"), (0.45, "speeds up")):
        series = [(n[y <= limit], y[y <= limit]) for n, y in FLANK.values()]
        assert check_growth(*_stack(series))[0].verdict == verdict


def test_share_of_straight_groups_warned_of_is_as_stated():
    rng = np.random.default_rng(5)
    for edges, stated in ((8, 0.01), (2, 0.1)):
        groups = 2000
        n = np.tile(np.arange(7.0), edges * groups)
        edge = np.repeat(np.arange(edges * groups), 7)
        y = 6 * n + rng.normal(0, 8, len(n))
        result = check_growth(edge, n, y, np.repeat(np.arange(groups), edges))
        share = np.mean([item.verdict != "straight" for item in result])
        assert abs(share - stated) < 4 * np.sqrt(stated * (1 - stated) / groups)


def test_growth_of_three_readings_an_edge_is_unchecked_not_straight():
    series = [(np.array([0.0, 1, 2]), np.array([0.0, 6, 12]))] * 3
    assert check_growth(*_stack(series))[0].verdict == "unchecked"


def test_bends_match_a_quadratic_fit_by_numpy():
    n, y = FLANK[11]
    result = check_growth(np.zeros(len(n), dtype=int), n, y, np.zeros(1, dtype=int))[0]
    left = [np.polyfit(n, y, degree, full=True)[1][0] for degree in (1, 2)]
    f = (left[0] - left[1]) / (left[1] / (len(n) - 3))
    assert np.isclose(result.share, stats.f.sf(f, 1, len(n) - 3), rtol=1e-6)


@pytest.mark.parametrize(
    "call",
    [
        lambda: fit_line([1, 2], [1, 2]),
        lambda: fit_line([1, 1, 1], [1, 2, 3]),
        lambda: fit_power([0, 1, 2], [1, 2, 3]),
        lambda: fit_power([1, 2, 3], [1, np.nan, 3]),
    ],
)
def test_fits_refuse_what_cannot_be_fitted(call):
    with pytest.raises(EdgekitError):
        call()
