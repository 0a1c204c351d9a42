"""Update a model by a log: conjugate updates against numerical integration of Bayes' rule.

Sources: Bayes' rule itself, integrated on a fine grid in the test; scipy.stats densities.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from edgekit.clinic.forecasting.update import Scale, update_inputs, update_loss
from edgekit.errors import EdgekitError

GRID = 1e-6
"""Relative; the grid's own error."""
SAMPLED = 0.03
"""Absolute; Monte Carlo error of a prior of 100,000 runs."""
POSITIVE = st.floats(0.1, 20)


def _bayes(log_density, points):
    weight = np.exp(log_density - log_density.max())
    weight /= weight.sum()
    mean = weight @ points
    return mean, np.sqrt(weight @ (points - mean) ** 2)


@settings(max_examples=50, deadline=None)
@given(POSITIVE, POSITIVE, POSITIVE, POSITIVE)
def test_normal_update_is_bayes_rule_on_a_grid(m0, s0, y, sy):
    centre, width = update_loss((m0, s0), (y, sy)).mean, min(s0, sy)
    points = np.linspace(centre - 12 * width, centre + 12 * width, 20001)
    log_density = stats.norm.logpdf(points, m0, s0) + stats.norm.logpdf(y, points, sy)
    mean, sd = _bayes(log_density, points)
    after = update_loss((m0, s0), (y, sy))
    assert np.isclose(after.mean, mean, rtol=GRID, atol=1e-6)
    assert np.isclose(after.sd, sd, rtol=1e-5)
    assert 0 < after.pull < 1
    assert after.sd < min(s0, sy)


def test_lognormal_update_is_normal_update_of_logarithms():
    m0, s0, y, sy = 6.0, 3.0, 9.0, 2.0
    after = update_loss((m0, s0), (y, sy), scale=Scale.LOG)
    sl = [np.sqrt(np.log1p((s / m) ** 2)) for m, s in ((m0, s0), (y, sy))]
    ml = [np.log(m) - s**2 / 2 for m, s in zip((m0, y), sl, strict=True)]
    points = np.linspace(-3, 6, 200001)
    density = stats.norm.pdf(points, ml[0], sl[0]) * stats.norm.pdf(points, ml[1], sl[1])
    density /= density.sum()
    mean = density @ np.exp(points)
    assert np.isclose(after.mean, mean, rtol=GRID)
    assert np.isclose(after.sd, np.sqrt(density @ (np.exp(points) - mean) ** 2), rtol=GRID)


def test_array_call_equals_scalar_calls():
    predicted = (np.array([6.0, 8.0]), np.array([2.0, 1.0]))
    both = update_loss(predicted, (7.0, 1.0))
    for at in range(2):
        one = update_loss((predicted[0][at], predicted[1][at]), (7.0, 1.0))
        assert np.isclose(both.mean[at], one.mean)
        assert one.mean.shape == ()


def test_inputs_of_a_linear_model_follow_the_closed_form():
    rng = np.random.default_rng(2)
    x = rng.normal([4.0, 2.0], [1.0, 0.5], (100_000, 2))
    slope, sy, y = np.array([1.5, -0.8]), 0.7, 6.5
    after = update_inputs(x, x @ slope, (y, sy))
    prior = np.diag([1.0, 0.25])
    gain = prior @ slope / (slope @ prior @ slope + sy**2)
    mean = np.array([4.0, 2.0]) + gain * (y - slope @ [4.0, 2.0])
    cov = prior - np.outer(gain, slope @ prior)
    assert np.allclose(after.mean, mean, atol=SAMPLED)
    assert np.allclose(after.sd, np.sqrt(np.diag(cov)), atol=SAMPLED)


def test_input_on_log_scale_stays_above_zero_and_moves_the_right_way():
    rng = np.random.default_rng(3)
    radius, tilt = rng.lognormal(np.log(4), 0.5, 20_000), rng.normal(0, 2, 20_000)
    loss = 1.3 * radius + 0.1 * tilt**2
    low = update_inputs(
        np.column_stack([radius, tilt]), loss, (2.0, 0.2), scales=(Scale.LOG, Scale.LINEAR)
    )
    assert 0 < low.mean[0] < radius.mean()
    assert low.pull[0] > 0.5 > low.pull[1]
    assert low.surprise[0] < 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: update_loss((6, 0), (7, 1)),
        lambda: update_loss((6, 1), (7, -1)),
        lambda: update_loss((-6, 1), (7, 1), scale=Scale.LOG),
        lambda: update_loss((np.nan, 1), (7, 1)),
        lambda: update_inputs(np.ones((50, 1)), np.ones(50), (6, 1)),
        lambda: update_inputs(np.ones((5, 1)), np.arange(5.0), (6, 1)),
        lambda: update_inputs(
            -np.arange(50.0)[:, None], np.arange(50.0), (6, 1), scales=(Scale.LOG,)
        ),
    ],
)
def test_updates_refuse_what_makes_no_sense(call):
    with pytest.raises(EdgekitError):
        call()
