r"""How loss grows: straight line, power law, and the check that tells when a line will not do.

Sources: ordinary least squares, any text; the check is the lack-of-fit test of a quadratic term
(Draper & Smith, Applied Regression Analysis; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit.checks import FloatArray, frozen_array
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value

__all__ = ["GroupGrowth", "Line", "Power", "check_growth", "fit_line", "fit_power"]

FEW_EDGES = 5
"""Below this the spread of edges cannot be seen and the reading error judges the curve."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """loss = start + rate · n, with standard errors and the residual standard deviation."""

    start: float
    rate: float
    start_se: float
    rate_se: float
    residual_sd: float

    def at(self, n: ArrayLike) -> FloatArray:
        """Loss after n sessions."""
        return self.start + self.rate * np.asarray(n, dtype=np.float64)

    def reaches(self, loss: float) -> float:
        """Sessions at which the line reaches `loss`; infinite for a line that does not rise."""
        return (loss - self.start) / self.rate if self.rate > 0 else float("inf")


@dataclass(frozen=True, kw_only=True)
class Power:
    """loss = factor · n^exponent, fitted by least squares of the logarithms."""

    factor: float
    exponent: float
    exponent_se: float
    r_squared: float
    residual_sd: float

    def at(self, n: ArrayLike) -> FloatArray:
        """Loss after n sessions."""
        return np.asarray(self.factor * np.asarray(n, dtype=np.float64) ** self.exponent)

    def reaches(self, loss: float) -> float:
        """Sessions at which the curve reaches `loss`; infinite for a curve that does not rise."""
        return (
            float((loss / self.factor) ** (1 / self.exponent))
            if self.exponent > 0
            else float("inf")
        )


def fit_line(n: ArrayLike, loss: ArrayLike) -> Line:
    """Least squares line through three readings or more.

    Examples
    --------
    >>> fit_line([0, 1, 2, 3], [0, 6, 12, 18]).rate
    6.0
    """
    x, y = frozen_array("n", n, (None,)), frozen_array("loss", loss, (len(np.atleast_1d(n)),))
    spread = float(((x - x.mean()) ** 2).sum()) if len(x) else 0.0
    if len(x) < 3 or not spread > 0:
        raise EdgekitError(
            "a line needs three readings at two counts of sessions or more",
            len(x),
            "Wait for more readings.",
        )
    rate = float(((x - x.mean()) * (y - y.mean())).sum() / spread)
    start = float(y.mean() - rate * x.mean())
    left = float(((y - start - rate * x) ** 2).sum())
    sd = (left / (len(x) - 2)) ** 0.5
    return Line(
        start=start,
        rate=rate,
        residual_sd=sd,
        rate_se=sd / spread**0.5,
        start_se=sd * (1 / len(x) + float(x.mean()) ** 2 / spread) ** 0.5,
    )


def fit_power(n: ArrayLike, loss: ArrayLike) -> Power:
    """Power law through readings with n and loss above 0.

    Examples
    --------
    >>> round(fit_power([1, 4, 9, 16], [2, 4, 6, 8]).exponent, 6)
    0.5
    """
    x, y = frozen_array("n", n, (None,)), frozen_array("loss", loss, (None,))
    if not (x.size and y.size and x.min() > 0 and y.min() > 0):
        raise EdgekitError(
            "a power law needs sessions and losses above 0", loss, "Leave the other readings out."
        )
    line = fit_line(np.log(x), np.log(y))
    total = float(((np.log(y) - np.log(y).mean()) ** 2).sum())
    left = line.residual_sd**2 * (len(x) - 2)
    return Power(
        factor=float(np.exp(line.start)),
        exponent=line.rate,
        exponent_se=line.rate_se,
        r_squared=1 - left / total if total > 0 else 1.0,
        residual_sd=line.residual_sd,
    )


@dataclass(frozen=True, kw_only=True)
class GroupGrowth:
    """Verdict on one group of edges: "straight", "slows down", "speeds up", "bends" or "unchecked"."""

    verdict: str
    share: float
    edges: int
    message: str


def check_growth(
    edge: NDArray[np.int64], sessions: FloatArray, loss_um: FloatArray, group: NDArray[np.int64]
) -> list[GroupGrowth]:
    """Does a straight line hold for each group of edges?

    For each edge with four readings or more at three counts of sessions, g = q·y, with q the unit
    quadratic that is orthogonal to constant and line over the edge's own sessions. A line makes
    every g pure noise. Groups of five edges or more are judged by Student's t of the mean of g,
    which needs no model of the noise; smaller ones by F = mean g² over what line and quadratic
    leave, which takes it as reading error.

    Parameters
    ----------
    edge, sessions, loss_um : ndarray (R,)
        Edge of each reading, its sessions and its loss since new (or minus its width).
    group : ndarray (E,)
        Group of each edge.

    Returns
    -------
    list of GroupGrowth
        One a group.
    """
    bend, left, freedom = _bends(edge, sessions, loss_um, len(group))
    return [
        _verdict(bend[rows & (freedom >= 0)], left[rows], freedom[rows])
        for rows in (group == g for g in range(int(group.max()) + 1))
    ]


def _bends(
    edge: NDArray[np.int64], n: FloatArray, y: FloatArray, edges: int
) -> tuple[FloatArray, FloatArray, NDArray[np.int64]]:
    """g of each edge, what line and quadratic leave of its sum of squares, and its freedom.

    Gram-Schmidt on 1, n, n² with sums by edge; −1 degrees of freedom mark an edge that cannot say.
    """
    size = np.bincount(edge, minlength=edges)
    safe = np.maximum(size, 1)

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(edge, weights=values, minlength=edges), dtype=np.float64)

    x = n - (total(n) / safe)[edge]
    scale = np.sqrt(total(x * x) / safe)
    x = x / np.where(scale > 0, scale, 1.0)[edge]
    z = y - (total(y) / safe)[edge]
    sxx = np.where(scale > 0, total(x * x), 1.0)
    q = x * x
    q = q - (total(q) / safe)[edge]
    q = q - (total(q * x) / sxx)[edge] * x
    sqq = total(q * q)
    can = (size >= 4) & (sqq > 1e-6 * safe)
    bend = np.where(can, total(q * z) / np.sqrt(np.where(can, sqq, 1.0)), 0.0)
    left = total(z * z) - total(x * z) ** 2 / sxx - bend**2
    return bend, np.maximum(left, 0.0), np.where(can, size - 3, -1)


def _verdict(bend: FloatArray, left: FloatArray, freedom: NDArray[np.int64]) -> GroupGrowth:
    """Judge one group from its bends."""
    from scipy import stats

    edges = len(bend)
    can = freedom >= 0
    if edges == 0:
        return GroupGrowth(
            verdict="unchecked",
            share=1.0,
            edges=0,
            message="too few readings to tell whether a straight line holds",
        )
    tiny = np.finfo(float).tiny
    if edges >= FEW_EDGES:
        level = value("growth_check_share")
        t = bend.mean() / max(float(bend.std(ddof=1)) / edges**0.5, tiny)
        share = 2 * float(stats.t.sf(abs(t), edges - 1))
    else:
        level = value("growth_check_share_few")
        df = int(freedom[can].sum())
        noise = max(float(left[can].sum()) / df, 1e-9 * float((bend**2).mean()), tiny)
        share = float(stats.f.sf((bend**2).mean() / noise, edges, df))
    if not share < level:
        return GroupGrowth(verdict="straight", share=share, edges=edges, message="")
    signs = np.sign(bend)
    # at fewer than five edges some may slow down and others speed up
    verdict = (
        "bends"
        if abs(signs.sum()) < edges < FEW_EDGES
        else ("speeds up" if bend.sum() > 0 else "slows down")
    )
    effect = {
        "speeds up": "wear speeds up: the sessions left are likely fewer than forecast",
        "slows down": "wear slows down: the sessions left are likely more than forecast",
        "bends": "wear speeds up on some edges and slows down on others",
    }[verdict]
    message = f"a straight line does not hold for this group (p = {share:.2g}); {effect}"
    return GroupGrowth(verdict=verdict, share=share, edges=edges, message=message)
