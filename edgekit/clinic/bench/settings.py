"""The fewest holder settings that serve a tray, with a proof, and an order with the fewest changes.

Each edge accepts a window of settings; the settings are the fewest points that stab all windows
(`edgekit.contact.intervals`). The windows that made a setting necessary are disjoint, and as many
as the settings: no plan can do with fewer. That is the witness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.intervals import stab
from edgekit.errors import BadArgument
from edgekit.record import Record

__all__ = ["FewestSettings", "SettingRange", "TrayOrder", "fewest_settings", "order_tray"]

MAX_WINDOWS = 1_000_000

IntArray = NDArray[np.int64]
# Share of a step by which a window may miss a position of the holder through rounding.
GRID_SLACK = 1e-9


@dataclass(frozen=True, kw_only=True)
class SettingRange:
    """The settings a holder can take: ``low_deg, low_deg + step_deg, …, high_deg``.

    With a step of 0 every setting of the range can be taken.
    """

    low_deg: float
    high_deg: float
    step_deg: float = 0.0

    def __post_init__(self) -> None:
        low = checks.finite("low_deg", self.low_deg)
        high = checks.at_least("high_deg", self.high_deg, low)
        step = checks.at_least("step_deg", self.step_deg, 0)
        checks.keep_numbers(self, low_deg=low, high_deg=high, step_deg=step)

    def within(self, windows_deg: FloatArray) -> FloatArray:
        """Windows cut down to what the holder can take ``(N, 2)``; low above high: none of it."""
        low = np.maximum(windows_deg[:, 0], self.low_deg)
        high = np.minimum(windows_deg[:, 1], self.high_deg)
        if self.step_deg > 0:
            first = np.ceil((low - self.low_deg) / self.step_deg - GRID_SLACK)
            last = np.floor((high - self.low_deg) / self.step_deg + GRID_SLACK)
            # rounded, since equal positions must be equal numbers
            low, high = (np.round(self.low_deg + self.step_deg * n, 9) for n in (first, last))
        return np.stack([low, high], axis=1)

    def nearest(self, setting_deg: float) -> float:
        """The position the holder can take nearest to `setting_deg`."""
        wanted = checks.finite("setting_deg", setting_deg)
        inside = min(max(wanted, self.low_deg), self.high_deg)
        if self.step_deg == 0:
            return inside
        last = math.floor((self.high_deg - self.low_deg) / self.step_deg + GRID_SLACK)
        steps = min(round((inside - self.low_deg) / self.step_deg), last)
        return round(self.low_deg + self.step_deg * steps, 9)


class FewestSettings(Record):
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


def _check_number(windows: int) -> None:
    checks.count("the number of windows", windows, 0, most=MAX_WINDOWS, bytes_each=300)


def _held(
    windows_deg: ArrayLike, setting_range: SettingRange | None
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Windows cut down to what the holder can take, and which of them it can serve."""
    if isinstance(windows_deg, np.ndarray):  # before it is copied
        _check_number(windows_deg.size // 2)
    windows = checks.frozen_array("windows_deg", windows_deg, (None, 2))
    _check_number(len(windows))
    turned = np.flatnonzero(~(windows[:, 0] <= windows[:, 1]))
    if len(turned):
        raise BadArgument(
            f"window {turned[0]} ends below its start", windows[turned[0]], "Give (low, high)."
        )
    if setting_range is not None:
        remedy = "Give edgekit.SettingRange(low_deg=..., high_deg=...)."
        checks.instance("setting_range", setting_range, SettingRange, remedy)
        windows = setting_range.within(windows)
    return windows, windows[:, 0] <= windows[:, 1]


def _setting(windows: FloatArray, setting_range: SettingRange | None) -> float:
    """The middle of what windows share, or the nearest position to it that can be taken."""
    middle = float(windows[:, 0].max() + windows[:, 1].min()) / 2
    return middle if setting_range is None else setting_range.nearest(middle)


def fewest_settings(
    windows_deg: ArrayLike, *, setting_range: SettingRange | None = None
) -> FewestSettings:
    """The fewest settings that serve every window.

    Parameters
    ----------
    windows_deg : array_like (N, 2)
        Lowest and highest setting each edge accepts [deg], ends included.
    setting_range : SettingRange, optional
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
    held, can = _held(windows_deg, setting_range)
    rows = np.flatnonzero(can)
    first, member = stab(held[rows])
    serves = np.full(len(held), -1, dtype=np.int64)
    serves[rows] = member
    settings = [_setting(held[serves == at], setting_range) for at in range(len(first))]
    return FewestSettings(
        settings_deg=np.array(settings, dtype=np.float64),
        serves=serves,
        witness=held[rows[first]],
        witness_index=rows[first],
        unserved=np.flatnonzero(~can),
    )


class TrayOrder(Record):
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
    """

    order: IntArray
    settings_deg: FloatArray
    run: IntArray
    changes: int


def order_tray(
    windows_deg: ArrayLike,
    *,
    urgent: ArrayLike | None = None,
    setting_range: SettingRange | None = None,
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
    setting_range : SettingRange, optional

    Returns
    -------
    TrayOrder

    Examples
    --------
    >>> tray = order_tray([(13, 17), (30, 34), (15, 19)], urgent=[False, True, False])
    >>> tray.order.tolist(), tray.changes
    ([1, 0, 2], 1)
    """
    held, can = _held(windows_deg, setting_range)
    first = np.zeros(len(held), dtype=bool) if urgent is None else np.asarray(urgent, dtype=bool)
    if first.shape != can.shape:
        remedy = "Give one true or false for each window."
        raise BadArgument(
            "urgent must be as long as the windows", first.shape, remedy, argument="urgent"
        )
    early, late = np.flatnonzero(can & first), np.flatnonzero(can & ~first)
    shared = _shared(held, early, late)
    before, meet_early = _runs(held, early, shared)
    after, meet_late = _runs(held, late, shared)
    joint = np.concatenate([meet_early, meet_late])
    runs = [*before, *([joint] if len(joint) else []), *after]
    settings = [_setting(held[rows], setting_range) for rows in runs]
    sizes = [len(rows) for rows in runs]
    return TrayOrder(
        order=np.concatenate([*runs, np.empty(0, dtype=np.int64)]),
        settings_deg=np.repeat(np.array(settings, dtype=np.float64), sizes),
        run=np.repeat(np.arange(len(runs)), sizes),
        changes=max(len(runs) - 1, 0),
    )


def _runs(
    held: FloatArray, rows: IntArray, shared: float | None
) -> tuple[list[IntArray], IntArray]:
    """Windows that one setting serves, run by run, and apart from them those at the shared one."""
    meets = np.zeros(len(rows), dtype=bool)
    if shared is not None:
        meets = (held[rows, 0] <= shared) & (shared <= held[rows, 1])
    opened, member = stab(held[rows[~meets]])
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
    for rows in (early, late):
        need += _opened_below(held[rows], points)
        need += _opened_below(-held[rows][:, ::-1], -points)
    # a point in no window of one stretch saves that stretch nothing, so it cannot come out less
    apart = len(stab(held[early])[0]) + len(stab(held[late])[0])
    best = int(np.argmin(need))
    return float(points[best]) if need[best] < apart else None


def _opened_below(windows: FloatArray, points: FloatArray) -> IntArray:
    """Settings that the windows wholly below each of the points need."""
    first, _ = stab(windows)
    return np.asarray(np.searchsorted(windows[first, 1], points, side="left"), dtype=np.int64)
