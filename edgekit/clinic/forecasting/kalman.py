r"""Straight lines of width against sessions, one per edge, that borrow strength from one another.

The model
---------
Edge i of group g (a pattern sharpened by a method) is read as y at n sessions:

.. math::

   y_{ij} &= w_i(n_{ij}) + e_{ij}, \quad e \sim N(0, \sigma^2) \quad\text{(reading)} \\
   w_i(n + m) &= w_i(n) - b_i m + \epsilon, \quad \epsilon \sim N(0, q m) \quad\text{(sessions)} \\
   b_i &\sim N(\beta_g, \tau^2), \quad \beta_g \sim N(\beta, \omega^2)

with a flat prior on each new width. Everything given λ = τ²/σ² and κ = q/σ² is closed form: one
sweep of the Kalman recursion over the readings, all edges and all (λ, κ) at once, yields the
restricted likelihood (σ² and the β profiled out exactly, as in generalised least squares) and
the state (present width, loss per session) of each edge with its covariance. With κ = 0 it is
the random-slope mixed model with free intercepts. The two ratios are averaged over, flat in
√λ and √κ, on a grid that closes in on where the likelihood lies: intervals that plug in the
best ratios are too narrow.

Sources: Harville 1977, J Am Stat Assoc 72:320 (restricted likelihood); Gelman 2006, Bayesian
Analysis 1:515 (flat in the standard deviation); de Jong 1991, Ann Stat 19:1073 (the recursion
run once for the data and once for the regressor). All three from memory.
"""

from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit.checks import FloatArray, frozen_array
from edgekit.errors import BadArgument
from edgekit.record import Record

IntArray = NDArray[np.int64]
MIN_VARIANCE_UM2 = 1e-6
"""Keeps data without any noise from a logarithm of 0; a thousandth of a micrometre squared."""


class Readings(Record):
    """Readings in a table, one row per edge, longest rows first so that a sweep can stop early.

    Attributes
    ----------
    width_um, step : ndarray (E, M)
        Readings [µm] and the sessions since the reading before; 0 beyond an edge's last.
    size : ndarray (E,)
        Readings of each edge, falling.
    group : ndarray (E,)
        Group of each edge.
    groups : int
        How many groups.
    edge : ndarray (E,)
        Which edge of the caller each row holds.
    """

    width_um: FloatArray
    step: FloatArray
    size: IntArray
    group: IntArray
    groups: int
    edge: IntArray

    @classmethod
    def build(
        cls, *, edge: ArrayLike, sessions: ArrayLike, width_um: ArrayLike, group: ArrayLike
    ) -> Self:
        """From readings ``(R,)`` in order of time within each edge, and the group of each edge.

        Raises
        ------
        EdgekitError
            Lengths differ, an edge without a reading, sessions that fall.
        """
        index = np.asarray(edge, dtype=np.int64)
        count = frozen_array("sessions", sessions, (len(index),))
        width = frozen_array("width_um", width_um, (len(index),))
        groups = np.asarray(group, dtype=np.int64)
        order = np.argsort(index, kind="stable")
        size = np.bincount(index, minlength=len(groups))
        if len(groups) == 0 or size.min() == 0 or len(size) > len(groups):
            raise BadArgument(
                "each edge needs a reading and a group", size.tolist(), "Leave out the others."
            )
        start = np.cumsum(size) - size
        within = np.arange(len(index)) - np.repeat(start, size)
        step = np.diff(count[order], prepend=0.0)
        step[within == 0] = 0.0
        if step.min() < 0:
            raise BadArgument(
                "sessions fall within an edge", float(step.min()), "Order readings by time."
            )
        by_size = np.argsort(-size, kind="stable")
        row = np.argsort(by_size)
        table = np.zeros((2, len(size), int(size.max())))
        table[:, row[index[order]], within] = width[order], step
        return cls(
            width_um=table[0],
            step=table[1],
            size=size[by_size],
            group=groups[by_size],
            groups=int(groups.max()) + 1,
            edge=by_size,
        )

    @property
    def freedom(self) -> int:
        """Readings, less one per edge for its new width and one per group that shows a loss."""
        shown = np.bincount(self.group, weights=self.step.sum(axis=1), minlength=self.groups)
        return int(self.size.sum() - len(self.size) - np.count_nonzero(shown > 0))


class Nodes(Record):
    """Results of one sweep: K pairs (λ, κ) on the last axis; variances in units of σ².

    Attributes
    ----------
    log_f : ndarray (K,)
        Sum of logarithms of innovation variances.
    xx, xy : ndarray (G, K)
        Normal equations of each group's loss per session.
    yy : ndarray (K,)
        Sum of squares with every loss taken as 0.
    width, loss : ndarray (2, E, K)
        State with a loss of 0 assumed, and what each unit of the group's loss adds to it.
    cov : ndarray (3, E, K)
        Variance of the width, covariance of width and loss, variance of the loss.
    """

    log_f: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: FloatArray
    width: FloatArray
    loss: FloatArray
    cov: FloatArray


def sweep(data: Readings, slope_ratio: ArrayLike, session_ratio: ArrayLike) -> Nodes:
    """The recursion over the readings, for K pairs of λ = τ²/σ² and κ = q/σ²."""
    lam, kap = (np.asarray(a, dtype=np.float64).ravel() for a in (slope_ratio, session_ratio))
    edges, k = len(data.size), len(lam)
    width = np.zeros((2, edges, k))
    width[0] = data.width_um[:, :1]
    loss = np.zeros((2, edges, k))
    loss[1] = 1.0
    cov = np.zeros((3, edges, k))
    cov[0], cov[2] = 1.0, lam
    log_f, yy, per_edge = np.zeros(k), np.zeros(k), np.zeros((2, edges, k))
    for at in range(1, data.width_um.shape[1]):
        n = int(np.searchsorted(-data.size, -at, side="left"))
        step = data.step[:n, at, None]
        w, b, p = width[:, :n], loss[:, :n], cov[:, :n]
        w -= step * b
        p[0] += step * (kap + step * p[2] - 2 * p[1])
        p[1] -= step * p[2]
        f = p[0] + 1.0
        v = -w
        v[0] += data.width_um[:n, at, None]
        gain_w, gain_b = p[0] / f, p[1] / f
        w += gain_w * v
        b += gain_b * v
        p[2] -= gain_b * p[1]
        p[1] -= gain_w * p[1]
        p[0] -= gain_w * p[0]
        log_f += np.log(f).sum(axis=0)
        yy += (v[0] ** 2 / f).sum(axis=0)
        per_edge[0, :n] += v[1] ** 2 / f
        per_edge[1, :n] -= v[0] * v[1] / f
    sums = np.zeros((2, data.groups, k))
    for side in range(2):
        np.add.at(sums[side], data.group, per_edge[side])
    # v = v0 + β v1, so least squares wants β = -Σ v0 v1 / Σ v1²
    return Nodes(log_f=log_f, xx=sums[0], xy=sums[1], yy=yy, width=width, loss=loss, cov=cov)


def likelihood(nodes: Nodes, freedom: int) -> tuple[FloatArray, FloatArray]:
    """Restricted log-likelihood ``(K,)`` and the reading variance σ² ``(K,)`` [µm²] it implies.

    −2 log L = Σ log F + ν log σ² + Σ_g log(Σ x²/F), with σ² = S/ν and S what the group losses
    leave of the sum of squares; additive constants dropped.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        fitted: Any = np.where(nodes.xx > 0, nodes.xy**2 / nodes.xx, 0.0).sum(axis=0)
        design: Any = np.where(nodes.xx > 0, np.log(nodes.xx), 0.0).sum(axis=0)
    left = np.maximum(nodes.yy - fitted, 0.0)
    variance = np.maximum(left / freedom, MIN_VARIANCE_UM2)
    return -0.5 * (nodes.log_f + freedom * np.log(variance) + design), variance
