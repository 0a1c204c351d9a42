"""Check whether losses grow along a straight line, which is what the forecast assumes.

The check is the lack-of-fit test of a quadratic term (Draper & Smith, Applied Regression Analysis;
from memory).
"""

import enum

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc, stdtr

from edgekit.checks import FloatArray
from edgekit.evidence_table import value
from edgekit.record import Record

FEW_EDGES = 5
"""Below this the spread of edges cannot be seen and the reading error judges the curve."""


class Growth(enum.StrEnum):
    """How losses grow with sessions."""

    STRAIGHT = "straight"
    SLOWS_DOWN = "slows down"
    SPEEDS_UP = "speeds up"
    BENDS = "bends"
    UNCHECKED = "unchecked"


_BENT = "a straight line does not hold for this group (p = {share:.2g}); "
MESSAGES = {
    Growth.STRAIGHT: "",
    Growth.UNCHECKED: "too few readings to tell whether a straight line holds",
    Growth.SPEEDS_UP: _BENT + "wear speeds up: the sessions left are likely fewer than forecast",
    Growth.SLOWS_DOWN: _BENT + "wear slows down: the sessions left are likely more than forecast",
    Growth.BENDS: _BENT + "wear speeds up on some edges and slows down on others",
}
"""What each verdict means for the forecast."""


class GroupGrowth(Record):
    """Verdict on one group of edges, with the p-value (`share`) of a straight line."""

    verdict: Growth
    share: float
    edges: int

    @property
    def message(self) -> str:
        """What the verdict means for the forecast; empty where a straight line holds."""
        return MESSAGES[self.verdict].format(share=self.share)


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
        One per group.
    """
    bend, left, freedom = _bends(edge, sessions, loss_um, len(group))
    can = freedom >= 0
    return [
        _verdict(bend[rows], left[rows], freedom[rows])
        for rows in ((group == g) & can for g in range(int(group.max()) + 1))
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
    """Judge one group from the bends of its edges."""
    edges = len(bend)
    if edges == 0:
        return GroupGrowth(verdict=Growth.UNCHECKED, share=1.0, edges=0)
    tiny = np.finfo(float).tiny
    if edges >= FEW_EDGES:
        level = value("growth_check_share")
        t = bend.mean() / max(float(bend.std(ddof=1)) / edges**0.5, tiny)
        share = 2 * float(stdtr(edges - 1, -abs(t)))
    else:
        level = value("growth_check_share_few")
        df = int(freedom.sum())
        noise = max(float(left.sum()) / df, 1e-9 * float((bend**2).mean()), tiny)
        share = float(fdtrc(edges, df, (bend**2).mean() / noise))
    verdict = Growth.SPEEDS_UP if bend.sum() > 0 else Growth.SLOWS_DOWN
    if not share < level:
        verdict = Growth.STRAIGHT
    elif abs(np.sign(bend).sum()) < edges < FEW_EDGES:
        verdict = Growth.BENDS  # a few edges may bend in different directions
    return GroupGrowth(verdict=verdict, share=share, edges=edges)
