r"""Means over few blades, with intervals that hold there: Student's t, Welch, Hartung and Knapp.

Blades differ, and each is weighed with an error of its own that is known better than the blades'
scatter. With one rate :math:`r_i` and one variance :math:`v_i` of weighing per blade,

.. math::

   w_i = \frac{1}{v_i + \tau^2}, \qquad \sum w_i (r_i - \bar r)^2 = K - 1, \qquad
   u^2 = \frac{\sum w_i (r_i - \bar r)^2}{(K - 1) \sum w_i},

the first two solved for :math:`\tau^2` (0 where nothing above 0 solves them), and
:math:`(\bar r - \rho)/u` has Student's t distribution with K − 1 degrees of freedom: exactly,
where all :math:`v_i` are alike.

Sources: Paule & Mandel 1982, J Res Natl Bur Stand 87:377; Hartung & Knapp 2001, Stat Med 20:3875.

A difference of two means has Welch's degrees of freedom (JCGM 100:2008, G.4.1). A sum of several
parts, some of them from few blades, is given the root of the sum of squares of its parts' own
reaches, :math:`\sqrt{\sum (t_i u_i)^2}`: each part is Student's t as JCGM 101:2008, 6.4.9, takes
it, and the reach is Cochran's approximation to that of their sum (from memory). Welch's freedom is
too great there whenever the part with few blades happens to come out small: with three blades its
95 % interval covers 92 % here, this one 95 %.
"""

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import stdtrit

from edgekit.checks import FloatArray

MOST_DOF = 1e9  # beyond it a t quantile is the normal one to the last digit shown


class Estimate(NamedTuple):
    """A mean, its standard uncertainty and the degrees of freedom of that."""

    mean: float
    u: float
    dof: float

    def interval(self, level: float) -> tuple[float, float]:
        """Two-sided interval by Student's t."""
        reach = float(stdtrit(min(self.dof, MOST_DOF), (1 + level) / 2)) * self.u
        return self.mean - reach, self.mean + reach


class PooledMean(NamedTuple):
    """A mean over blades, the scatter between them [same unit] and each one's weight (K,)."""

    estimate: Estimate
    between_sd: float
    weights: FloatArray


def pooled(values: FloatArray, variances: FloatArray) -> PooledMean:
    """Mean of values (K,) that differ by more than their variances (K,), all above 0.

    Examples
    --------
    >>> pooled(np.array([1.0, 2.0, 3.0]), np.full(3, 0.01)).estimate.interval(0.95)[0].__round__(3)
    -0.484
    """
    freedom = len(values) - 1

    def excess(between: float) -> float:
        weights = 1 / (variances + between)
        middle = float(weights @ values) / float(weights.sum())
        return float(weights @ (values - middle) ** 2) - freedom

    between = 0.0
    if excess(0.0) > 0:
        # no weight is above 1/high there, so the sum is (K - 1) var/high at most, but for rounding
        high = float(values.var(ddof=1)) + float(variances.max())
        high = high if excess(high) <= 0 else 2 * high
        between = float(brentq(excess, 0.0, high, xtol=1e-14 * high))
    weights = 1 / (variances + between)
    weights /= weights.sum()
    middle = float(weights @ values)
    u = math.sqrt(float(weights @ (values - middle) ** 2) / freedom)
    return PooledMean(Estimate(middle, u, float(freedom)), math.sqrt(between), weights)


def mean_of(values: FloatArray) -> Estimate:
    """Mean of two or more values with the uncertainty that their scatter gives."""
    size = len(values)
    u = float(values.std(ddof=1)) / math.sqrt(size)
    return Estimate(float(values.mean()), u, float(size - 1))


def reach(parts: Iterable[tuple[float, float]], share: ArrayLike) -> FloatArray:
    """How far a sum of parts (u, degrees of freedom) lies off at a cumulative probability.

    Examples
    --------
    >>> float(reach([(3.0, math.inf), (4.0, math.inf)], 0.975).round(3))
    9.8
    """
    q = np.asarray(share, dtype=float)
    each = [u * np.asarray(stdtrit(min(dof, MOST_DOF), q)) for u, dof in parts]
    return np.asarray(np.sign(q - 0.5) * np.sqrt(sum(item**2 for item in each)))


def combined(parts: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Standard uncertainty of a sum of parts (u, degrees of freedom), and its own freedom.

    Examples
    --------
    >>> u, dof = combined([(3.0, 8.0), (4.0, math.inf)])
    >>> u, round(dof, 2)
    (5.0, 61.73)
    """
    known = [(u, dof) for u, dof in parts if u > 0]
    total = math.hypot(*(u for u, _ in known)) if known else 0.0
    lost = sum((u / total) ** 4 / dof for u, dof in known)
    return total, 1 / lost if lost > 0 else math.inf
