"""The fewest holder settings that serve a tray, with a proof, and an order with the fewest changes.

Each edge accepts a window of settings. The fewest points that stab all windows are found by going
through the windows by their upper end and setting one whenever the window at hand has none yet
(Gavril 1972, SIAM J Comput 1:180; from memory). The windows that made a setting necessary
are disjoint, and as many as the settings: no plan can do with fewer. That is the witness.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit import checks
from edgekit.checks import FloatArray, frozen_array
from edgekit.errors import EdgekitError

__all__ = ["FewestSettings", "SettingRange", "TrayOrder", "fewest_settings", "order_tray"]

IntArray = NDArray[np.int64]
GRID_SLACK = 1e-9
"""Share of a step by which a window may miss a position of the holder through rounding."""


@dataclass(frozen=True, kw_only=True)
class SettingRange:
    """The settings a holder can take: ``low_deg, low_deg + step_deg, …, high_deg``.

    With a step of 0 every setting of the range can be taken.
    """

    low_deg: float
    high_deg: float
    step_deg: float = 0.0

    def __post_init__(self) -> None:
        checks.finite("low_deg", self.low_deg)
        checks.at_least("high_deg", self.high_deg, self.low_deg)
        checks.at_least("step_deg", self.step_deg, 0)

    def within(self, windows_deg: FloatArray) -> FloatArray:
        """Windows cut down to what the holder can take ``(N, 2)``; low above high means nothing."""
        low = np.maximum(windows_deg[:, 0], self.low_deg)
        high = np.minimum(windows_deg[:, 1], self.high_deg)
        if self.step_deg > 0:
            low = self.low_deg + self.step_deg * np.ceil(
                (low - self.low_deg) / self.step_deg - GRID_SLACK
            )
            high = self.low_deg + self.step_deg * np.floor(
                (high - self.low_deg) / self.step_deg + GRID_SLACK
            )
            # equal positions must be equal numbers
            low, high = np.round(low, 9), np.round(high, 9)
        return np.stack([low, high], axis=1)

    def nearest(self, setting_deg: float) -> float:
        """The position the holder can take nearest to `setting_deg`."""
        inside = min(max(setting_deg, self.low_deg), self.high_deg)
        if self.step_deg == 0:
            return inside
        return round(
            self.low_deg + self.step_deg * round((inside - self.low_deg) / self.step_deg), 9
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class FewestSettings:
    """The fewest settings of a tray.

    Attributes
    ----------
    settings_deg : ndarray (K,)
        Settings, rising, each in the middle of what its windows share, so that a small slip of
        the holder costs nothing.
    serves : ndarray (N,)
        Setting of each window; −1 for one that the holder cannot serve at all.
    witness : ndarray (K, 2)
        Windows, cut down to what the holder can take, that are disjoint and as many as the
        settings: proof that fewer will not do.
    witness_index : ndarray (K,)
        Which windows they are.
    unserved : ndarray
        Indices of windows outside the holder's range or between its positions.
    """

    settings_deg: FloatArray
    serves: IntArray
    witness: FloatArray
    witness_index: IntArray
    unserved: IntArray


def _checked(windows_deg: ArrayLike) -> FloatArray:
    windows = frozen_array("windows_deg", windows_deg, (None, 2))
    turned = np.flatnonzero(~(windows[:, 0] <= windows[:, 1]))
    if len(turned):
        raise EdgekitError(
            f"window {turned[0]} ends below its start", windows[turned[0]], "Give (low, high)."
        )
    return windows


def fewest_settings(
    windows_deg: ArrayLike, *, holder: SettingRange | None = None
) -> FewestSettings:
    """The fewest settings that serve every window.

    Parameters
    ----------
    windows_deg : array_like (N, 2)
        Lowest and highest setting each edge accepts [deg], ends included.
    holder : SettingRange, optional
        Settings that can be taken at all; windows without one come back in `unserved`.

    Returns
    -------
    FewestSettings

    Raises
    ------
    EdgekitError
        A window that ends below its start, or not finite.

    Examples
    --------
    >>> plan = fewest_settings([(13, 17), (15, 19), (30, 34)])
    >>> plan.settings_deg.tolist(), plan.serves.tolist(), plan.witness.tolist()
    ([16.0, 32.0], [0, 0, 1], [[13.0, 17.0], [30.0, 34.0]])
    """
    windows = _checked(windows_deg)
    held = windows if holder is None else holder.within(windows)
    can = held[:, 0] <= held[:, 1]
    rows = np.flatnonzero(can)
    first, member = _stab(held[rows])
    serves = np.full(len(windows), -1, dtype=np.int64)
    serves[rows] = member
    settings = np.empty(len(first))
    for at in range(len(first)):
        mine = held[serves == at]
        middle = (mine[:, 0].max() + mine[:, 1].min()) / 2
        settings[at] = middle if holder is None else holder.nearest(float(middle))
    return FewestSettings(
        settings_deg=settings,
        serves=serves,
        witness=held[rows[first]],
        witness_index=rows[first],
        unserved=np.flatnonzero(~can),
    )


def _stab(windows: FloatArray) -> tuple[IntArray, IntArray]:
    """Windows that open a new setting, in rising order, and the setting of each window."""
    order = np.argsort(windows[:, 1], kind="stable")
    low, high = windows[order, 0].tolist(), windows[order, 1].tolist()
    opened, member, point = [], np.empty(len(order), dtype=np.int64), float("-inf")
    for at, row in enumerate(order.tolist()):
        if low[at] > point:
            point = high[at]
            opened.append(row)
        member[row] = len(opened) - 1
    return np.asarray(opened, dtype=np.int64), member


@dataclass(frozen=True, kw_only=True, eq=False)
class TrayOrder:
    """A tray in the order of work.

    Attributes
    ----------
    order : ndarray (M,)
        Windows in the order of work, urgent ones first.
    settings_deg : ndarray (M,)
        Setting of each step.
    run : ndarray (M,)
        Number of the setting in force at each step, from 0; it rises along the order.
    changes : int
        Changes of setting on the way; setting the holder up at the start is not one.
    unserved : ndarray
        Windows the holder cannot serve.
    """

    order: IntArray
    settings_deg: FloatArray
    run: IntArray
    changes: int
    unserved: IntArray


def order_tray(
    windows_deg: ArrayLike, *, urgent: ArrayLike | None = None, holder: SettingRange | None = None
) -> TrayOrder:
    """Order of a tray with the fewest changes of setting, every urgent edge before every other.

    Urgent edges need the fewest settings of their own windows, the others of theirs, and the two
    stretches of work may share one setting where they meet. Trying every window's upper end
    as the shared one finds the least: a shared setting can be raised to the first upper end
    of the windows it serves without losing one.

    Parameters
    ----------
    windows_deg : array_like (N, 2)
        As in `fewest_settings`.
    urgent : array_like of bool (N,), optional
        Edges to do first.
    holder : SettingRange, optional

    Returns
    -------
    TrayOrder

    Examples
    --------
    >>> tray = order_tray([(13, 17), (30, 34), (15, 19)], urgent=[False, True, False])
    >>> tray.order.tolist(), tray.changes
    ([1, 0, 2], 1)
    """
    windows = _checked(windows_deg)
    hurry = np.zeros(len(windows), dtype=bool) if urgent is None else np.asarray(urgent, dtype=bool)
    if hurry.shape != (len(windows),):
        raise EdgekitError("urgent needs a word for each window", hurry.shape, "Give one a window.")
    held = windows if holder is None else holder.within(windows)
    can = held[:, 0] <= held[:, 1]
    early, late = np.flatnonzero(can & hurry), np.flatnonzero(can & ~hurry)
    shared = _shared(held, early, late)
    before, meet_early = _runs(held, early, shared)
    after, meet_late = _runs(held, late, shared)
    joint = np.concatenate([meet_early, meet_late])
    runs = [*before, *([joint] if len(joint) else []), *after]
    settings = []
    for rows in runs:
        middle = float(held[rows, 0].max() + held[rows, 1].min()) / 2
        settings += [middle if holder is None else holder.nearest(middle)] * len(rows)
    return TrayOrder(
        order=np.concatenate([*runs, np.empty(0, dtype=np.int64)]),
        settings_deg=np.asarray(settings, dtype=np.float64),
        run=np.repeat(np.arange(len(runs)), [len(rows) for rows in runs]),
        changes=max(len(runs) - 1, 0),
        unserved=np.flatnonzero(~can),
    )


def _runs(
    held: FloatArray, rows: IntArray, shared: float | None
) -> tuple[list[IntArray], IntArray]:
    """Windows that one setting serves, run by run, and apart from them those at the shared one."""
    meets = np.zeros(len(rows), dtype=bool)
    if shared is not None:
        meets = (held[rows, 0] <= shared) & (shared <= held[rows, 1])
    opened, member = _stab(held[rows[~meets]])
    return [rows[~meets][member == at] for at in range(len(opened))], rows[meets]


def _shared(held: FloatArray, early: IntArray, late: IntArray) -> float | None:
    """The setting at which both stretches of work should meet, or None if none saves a change.

    Windows without a point p lie wholly below or above it, so what the rest needs is what the
    greedy plan has opened below p plus, from the other end, what it has opened above p.
    """
    if not (len(early) and len(late)):
        return None
    points = np.unique(held[np.concatenate([early, late]), 1])
    need = np.ones(len(points), dtype=np.int64)
    meets = np.ones(len(points), dtype=bool)
    for rows in (early, late):
        need += _opened_below(held[rows], points)
        need += _opened_below(-held[rows][:, ::-1], -points)
        low, high = np.sort(held[rows, 0]), np.sort(held[rows, 1])
        begun = np.searchsorted(low, points, side="right")
        meets &= begun > np.searchsorted(high, points, side="left")
    apart = len(_stab(held[early])[0]) + len(_stab(held[late])[0])
    need = np.where(meets, need, apart)
    best = int(np.argmin(need))
    return float(points[best]) if need[best] < apart else None


def _opened_below(windows: FloatArray, points: FloatArray) -> IntArray:
    """Settings that the windows wholly below each of the points need."""
    first, _ = _stab(windows)
    return np.asarray(np.searchsorted(windows[first, 1], points, side="left"), dtype=np.int64)
