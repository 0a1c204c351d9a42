"""Fewest settings and the order of a tray against integer programmes.

Sources: `scipy.optimize.milp` (HiGHS) as the second opinion on both least counts.
"""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from edgekit.clinic.bench.settings import SettingRange, fewest_settings, order_tray
from edgekit.errors import EdgekitError

# whole and half degrees, so that windows touch and coincide often
DEGREES = st.integers(-40, 120).map(lambda k: k / 2)
WINDOWS = st.lists(st.tuples(DEGREES, st.integers(0, 16)), min_size=1, max_size=12).map(
    lambda pairs: np.array([(low, low + width / 2) for low, width in pairs])
)


def _inside(windows, points):
    return (windows[:, :1] <= points) & (points <= windows[:, 1:])


def _solve(cost, rows, low, high):
    found = milp(
        cost,
        constraints=LinearConstraint(rows, low, high),
        bounds=Bounds(0, 1),
        integrality=np.ones(len(cost)),
    )
    assert found.success
    return round(found.fun)


def _fewest_by_milp(windows, points):
    return _solve(np.ones(len(points)), _inside(windows, points).astype(float), 1, np.inf)


def _order_by_milp(windows, urgent):
    """Settings for urgent work, for the other, less one that both share: the least count."""
    points = np.unique(windows[:, 1])
    k, stab = len(points), _inside(windows, points).astype(float)
    zero, eye = np.zeros_like(stab), np.eye(k)
    rows = np.vstack(
        [
            np.hstack([stab, zero, zero])[urgent],
            np.hstack([zero, stab, zero])[~urgent],
            np.hstack([eye, 0 * eye, -eye]),
            np.hstack([0 * eye, eye, -eye]),
            np.concatenate([np.zeros(2 * k), -np.ones(k)])[None],
        ]
    )
    low = np.concatenate([np.ones(len(windows)), np.zeros(2 * k), [-1]])
    return _solve(np.concatenate([np.ones(2 * k), -np.ones(k)]), rows, low, np.inf)


@settings(max_examples=150, deadline=None)
@given(WINDOWS)
@example(np.array([[13.0, 17], [17, 19], [19, 21]]))
def test_settings_are_as_few_as_integer_programme_finds_and_prove_it(windows):
    plan = fewest_settings(windows)
    assert len(plan.settings_deg) == _fewest_by_milp(windows, np.unique(windows[:, 1]))
    given_deg = plan.settings_deg[plan.serves]
    assert (windows[:, 0] <= given_deg).all()
    assert (given_deg <= windows[:, 1]).all()
    witness = plan.witness
    assert np.array_equal(witness, windows[plan.witness_index])
    assert len(witness) == len(plan.settings_deg)
    assert (witness[1:, 0] > witness[:-1, 1]).all()
    assert (np.diff(plan.settings_deg) > 0).all()


@settings(max_examples=150, deadline=None)
@given(WINDOWS, st.integers(0, 10), st.sampled_from([0.0, 0.5, 1.0, 2.5, 7.0]))
def test_holder_with_steps_is_served_as_integer_programme_finds(windows, low, step):
    setting_range = SettingRange(low_deg=float(low), high_deg=45.0, step_deg=step)
    plan = fewest_settings(windows, setting_range=setting_range)
    ends = np.concatenate([windows[:, 1], [45.0]])
    ends = ends[(ends >= low) & (ends <= 45)]
    points = np.unique(ends) if step == 0 else np.arange(low, 45 + 1e-9, step)
    can = _inside(windows, points).any(axis=1)
    assert np.array_equal(plan.unserved, np.flatnonzero(~can))
    assert ((plan.serves == -1) == ~can).all()
    if can.any():
        assert len(plan.settings_deg) == _fewest_by_milp(windows[can], points)
        taken = plan.settings_deg[plan.serves[can]]
        assert (windows[can, 0] - 1e-9 <= taken).all()
        assert (taken <= windows[can, 1] + 1e-9).all()
        if step > 0:
            offset = (plan.settings_deg - low) / step
            assert np.allclose(offset, np.round(offset), atol=1e-6)
        assert len(plan.witness) == len(plan.settings_deg)
        assert (plan.witness[1:, 0] > plan.witness[:-1, 1]).all()
        seen = windows[plan.witness_index]
        assert (seen[:, 0] - 1e-9 <= plan.witness[:, 0]).all()
        assert (plan.witness[:, 1] <= seen[:, 1] + 1e-9).all()


@settings(max_examples=150, deadline=None)
@given(WINDOWS, st.integers(0, 2**12 - 1))
@example(np.array([[0.0, 4], [3, 6], [5, 8]]), 0b001)
def test_order_of_a_tray_changes_setting_as_rarely_as_integer_programme_finds(windows, bits):
    urgent = np.array([bool(bits >> at & 1) for at in range(len(windows))])
    tray = order_tray(windows, urgent=urgent)
    assert sorted(tray.order.tolist()) == list(range(len(windows)))
    assert (np.diff(urgent[tray.order].astype(int)) <= 0).all()
    assert (windows[tray.order, 0] <= tray.settings_deg).all()
    assert (tray.settings_deg <= windows[tray.order, 1]).all()
    assert np.count_nonzero(np.diff(tray.settings_deg)) <= tray.changes
    assert tray.changes == _order_by_milp(windows, urgent) - 1


@settings(max_examples=60, deadline=None)
@given(WINDOWS, st.randoms(use_true_random=False))
def test_order_and_shift_of_windows_change_no_count(windows, random):
    turn = list(range(len(windows)))
    random.shuffle(turn)
    count = len(fewest_settings(windows).settings_deg)
    assert len(fewest_settings(windows[turn]).settings_deg) == count
    assert len(fewest_settings(windows + 8.0).settings_deg) == count
    assert len(fewest_settings(np.vstack([windows, windows])).settings_deg) == count


def test_setting_stands_in_the_middle_of_what_its_windows_share():
    plan = fewest_settings([(10, 16), (12, 20)])
    assert plan.settings_deg.tolist() == [14.0]


def test_empty_tray_needs_nothing():
    plan = fewest_settings(np.empty((0, 2)))
    assert len(plan.settings_deg) == len(plan.witness) == len(plan.serves) == 0
    assert order_tray(np.empty((0, 2))).changes == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: fewest_settings([(17, 13)]),
        lambda: fewest_settings([(13, float("nan"))]),
        lambda: fewest_settings([13, 17]),
        lambda: order_tray([(13, 17)], urgent=[True, False]),
        lambda: SettingRange(low_deg=10, high_deg=5),
        lambda: SettingRange(low_deg=0, high_deg=5, step_deg=-1),
    ],
)
def test_windows_and_holders_that_make_no_sense_are_refused(call):
    with pytest.raises(EdgekitError):
        call()
