"""When a falling width meets its limit, with a prediction interval in closed form."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.record import Record


class Drift(Record):
    """Margin above the limit after r steps.

    Its mean is ``margin − rate r`` and its variance ``v0 + v1 r + v2 r²``. All arrays ``(E,)``;
    steps are sessions or days.
    """

    margin: FloatArray
    rate: FloatArray
    v0: FloatArray
    v1: FloatArray
    v2: FloatArray


def two_sided_z(level: float) -> float:
    """Standard deviations on either side of the mean that hold a share of a normal variable.

    Examples
    --------
    >>> round(two_sided_z(0.95), 2)
    1.96
    """
    return float(ndtri(0.5 + checks.between("level", level, 0, 1) / 2))


def bounded(name: str, middle: Any, half: Any, *, floor: float = -np.inf) -> dict[str, Any]:
    """A number and its interval as columns ``name, name_low`` (not below `floor`), ``name_high``.

    Examples
    --------
    >>> list(bounded("cost", 3.0, 1.0))
    ['cost', 'cost_low', 'cost_high']
    """
    return {
        name: middle,
        f"{name}_low": np.maximum(middle - half, floor),
        f"{name}_high": middle + half,
    }


def quantiles(drift: Drift, z: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Steps (middle, low, high) until the margin is used up.

    Steel does not grow back, so P(used up by r) = Φ((rate r − margin)/√variance(r)). Middle is
    where this is a half; low and high are where it is Φ(∓z): the roots of
    (rate² − z² v2) r² − (2 margin rate + z² v1) r + margin² − z² v0 = 0. With z² v2 ≥ rate² the
    loss may be zero, and high is infinite (Fieller's case).

    Parameters
    ----------
    drift : Drift
    z : float
        Quantile of the standard distribution, above 0.

    Returns
    -------
    tuple of ndarray (E,)

    Examples
    --------
    >>> one = np.ones(1)
    >>> middle, low, high = quantiles(
    ...     Drift(margin=60 * one, rate=6 * one, v0=36 * one, v1=0 * one, v2=0 * one), 1.0)
    >>> float(middle[0]), float(low[0]), float(high[0])
    (10.0, 9.0, 11.0)
    """
    margin, rate = drift.margin, drift.rate
    a = rate**2 - z**2 * drift.v2
    half_b = margin * rate + z**2 * drift.v1 / 2
    c = margin**2 - z**2 * drift.v0
    root = np.sqrt(np.maximum(half_b**2 - a * c, 0.0))
    # the larger of the two sums loses no digits; the other root comes from the product c/a
    large = half_b + np.copysign(root, half_b)
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = large / a, c / large
        middle: Any = np.where(margin <= 0, 0.0, np.where(rate > 0, margin / rate, np.inf))
    bounded = (a > 0) & (rate > 0)
    smaller, larger = np.minimum(one, two), np.maximum(one, two)
    low_root: Any = np.where(bounded | (smaller > 0), smaller, larger)
    sure_now = margin > z * np.sqrt(drift.v0)
    low: Any = np.where(sure_now, low_root, 0.0)
    # a width that seems to grow may never use the margin up, even at the low end
    never = sure_now & ~bounded & ~(larger > 0)
    low = np.where(never, np.inf, np.maximum(low, 0.0))
    high: Any = np.where(bounded, np.maximum(larger, 0.0), np.inf)
    high = np.where(margin <= -z * np.sqrt(drift.v0), 0.0, high)
    return middle, np.minimum(low, middle), np.maximum(high, middle)


def passed_share(drift: Drift, steps: ArrayLike) -> FloatArray:
    """Probability ``(E, S)`` that the margin is used up after each count of steps ``(S,)``.

    Made monotone in the steps, because steel does not grow back.
    """
    r = np.asarray(steps, dtype=np.float64)[None, :]
    mean = drift.margin[:, None] - drift.rate[:, None] * r
    variance = drift.v0[:, None] + drift.v1[:, None] * r + drift.v2[:, None] * r**2
    tiny = np.finfo(float).tiny
    share = ndtr(-mean / np.sqrt(np.maximum(variance, tiny)))
    return np.maximum.accumulate(share, axis=1)
