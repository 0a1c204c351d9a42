"""Stabbing intervals against an integer programme.

Source: `scipy.optimize.milp` (HiGHS) as the second opinion on the least count.
"""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import LinearConstraint, milp

from edgekit.contact.intervals import stab

# whole and half numbers, so that intervals touch, nest and coincide often
HALVES = st.integers(-40, 120).map(lambda k: k / 2)
INTERVALS = st.lists(st.tuples(HALVES, st.integers(0, 16)), min_size=1, max_size=12).map(
    lambda pairs: np.array([(low, low + width / 2) for low, width in pairs])
)


def fewest_by_integer_programme(intervals):
    points = np.unique(intervals[:, 1])  # some optimal set uses upper ends only
    inside = (intervals[:, :1] <= points) & (points <= intervals[:, 1:])
    optimum = milp(
        np.ones(len(points)),
        constraints=LinearConstraint(inside.astype(float), lb=1),
        integrality=np.ones(len(points)),
        bounds=(0, 1),
    )
    assert optimum.success
    return round(optimum.fun)


@settings(max_examples=150, deadline=None)
@given(INTERVALS)
@example(np.array([[0.0, 2.0], [1.5, 5.0], [3.0, 5.0]]))  # two end at one point, one of them held
def test_points_are_the_fewest_and_the_opened_intervals_prove_it(intervals):
    opened, member = stab(intervals)
    points = intervals[opened, 1]
    assert len(opened) == fewest_by_integer_programme(intervals)
    assert (intervals[opened[1:], 0] > points[:-1]).all()  # disjoint, so no choice needs fewer
    first = np.searchsorted(points, intervals[:, 0])
    for held in (points[member], points[first]):
        assert (intervals[:, 0] <= held).all()
        assert (held <= intervals[:, 1]).all()
    assert (first <= member).all()
    assert (member[opened] == np.arange(len(opened))).all()


@pytest.mark.parametrize("turn", [[2, 0, 1], [1, 2, 0]])
def test_the_order_of_the_intervals_does_not_matter(turn):
    intervals = np.array([[13.0, 17.0], [30.0, 34.0], [15.0, 19.0]])
    opened, member = stab(intervals[turn])
    assert intervals[turn][opened, 1].tolist() == [17.0, 34.0]
    assert member.tolist() == [np.array([0, 1, 0])[i] for i in turn]


def test_no_interval_needs_no_point():
    opened, member = stab(np.empty((0, 2)))
    assert len(opened) == len(member) == 0
