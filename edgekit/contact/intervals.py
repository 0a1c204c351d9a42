"""Stabbing intervals with the fewest points: the greedy choice, and the proof that fewer fail.

Intervals are taken by their upper ends, and one that no point stabs yet puts a point at its own
upper end (Gavril 1972, SIAM J Comput 1:180; from memory). The intervals that made a point
necessary are disjoint, so no choice of points can do with fewer.
"""

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray

IntArray = NDArray[np.int64]


def stab(intervals: FloatArray) -> tuple[IntArray, IntArray]:
    """The fewest points that stab all intervals.

    Parameters
    ----------
    intervals : array (N, 2)
        Lower and upper ends, the lower not above the upper; ends belong to the interval.

    Returns
    -------
    opened : array (K,) of int
        Disjoint intervals, rising, whose upper ends are the points: a proof that K is least.
    member : array (N,) of int
        Which of the points each interval holds, the last one set when its upper end was reached.

    Notes
    -----
    The first point that each interval holds is
    ``np.searchsorted(intervals[opened, 1], intervals[:, 0])``.

    Examples
    --------
    >>> stab(np.array([[13.0, 17.0], [30.0, 34.0], [15.0, 19.0]]))
    (array([0, 1]), array([0, 1, 0]))
    """
    order = np.argsort(intervals[:, 1], kind="stable")
    low, high = intervals[order, 0].tolist(), intervals[order, 1].tolist()
    opened, member, point = [], np.empty(len(order), dtype=np.int64), float("-inf")
    for at, row in enumerate(order.tolist()):
        if low[at] > point:
            point = high[at]
            opened.append(row)
        member[row] = len(opened) - 1
    return np.asarray(opened, dtype=np.int64), member
