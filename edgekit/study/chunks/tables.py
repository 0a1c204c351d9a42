"""Tables of lives as columns, and the sums from which a summary follows, whatever came first."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from edgekit.study.outcomes import (
    GRID,
    HEADLINES,
    LOW_HIGH,
    SESSIONS,
    VALUES,
    at_places,
    session_percentiles,
    weibull,
)
from edgekit.units import LEVEL, LEVEL_Z

Table = dict[str, NDArray[np.generic]]  # numbers, or texts as objects
OK = "ok"  # the status of a run that was computed
MOMENTS = [name + end for name in VALUES for end in ("", "_sd", "_mc")]
BETWEEN = [f"{name}_variation_{end}" for name in HEADLINES for end in LOW_HIGH]
SUMMARY = [
    "row",
    "status",
    "lives",
    "unfinished",
    *SESSIONS,
    *MOMENTS,
    GRID,
    f"{GRID}_mc",
    *BETWEEN,
]
NUMBERS = [name for name in SUMMARY if name != "status"]
_NO_ROW = -1  # of a grid
_COUNTS = ["lives", "unfinished", *(GRID + end for end in ("_lives", "_sum", "_squares"))]


def joined(tables: list[Table]) -> Table:
    """Tables of the same columns, one below the other.

    The columns are taken out of the tables one by one, so that they are never all held twice.
    """
    return {name: np.concatenate([table.pop(name) for table in tables]) for name in [*tables[0]]}


def moments(table: Table) -> Table:
    """A piece as counts of sessions and sums, one row for each number of sessions.

    ``lives`` ended after ``sessions``; of each quantity the mean over those lives and the sum of
    squared deviations from it, from which means and spreads over any pieces follow. Of the grid's
    error, which few lives have, the number of values, their sum and the sum of their squares.
    """
    sessions, group = np.unique(table["sessions"], return_inverse=True)
    lives = np.bincount(group)
    out: Table = {
        "row": np.repeat(table["row"][:1], len(sessions)),
        "status": np.repeat(table["status"][:1], len(sessions)),
        "sessions": sessions,
        "lives": lives,
        "unfinished": np.bincount(group, weights=table["ended_by"] == ""),
    }
    order = np.argsort(group, kind="stable")
    start = np.cumsum(lives) - lives
    values = np.array([table[name] for name in VALUES], dtype=float)[:, order]
    mean = np.add.reduceat(values, start, axis=1) / lives
    squares = np.add.reduceat((values - np.repeat(mean, lives, axis=1)) ** 2, start, axis=1)
    out |= zip(VALUES, mean, strict=True)
    out |= zip((f"{name}_ss" for name in VALUES), squares, strict=True)
    gap = table[GRID].astype(float)
    known = ~np.isnan(gap)
    gap = np.where(known, gap, 0.0)
    for end, part in (("_lives", known), ("_sum", gap), ("_squares", gap**2)):
        out[f"{GRID}{end}"] = np.bincount(group, weights=part)
    return out


class Samples:
    """Tables one below the other."""

    def __init__(self) -> None:
        self._tables: list[Table] = []

    def add(self, table: Table) -> None:
        """The next table."""
        self._tables.append(table)

    def table(self) -> Table:
        """All of them."""
        return joined(self._tables)


class Sums:
    """Rows of a summary, from moments of their pieces in the grid's order.

    A row's moments are merged as they come and kept as one line once the next row begins.
    """

    def __init__(self) -> None:
        self._lines: list[NDArray[np.float64]] = []
        self._statuses: list[str] = []
        self._row = _NO_ROW
        self._status, self._merged = OK, _NONE

    def add(self, table: Table) -> None:
        """The moments of the next pieces."""
        rows = table["row"]
        ends = np.flatnonzero(np.diff(rows, append=_NO_ROW)) + 1
        for start, end in pairwise([0, *ends.tolist()]):
            if rows[start] != self._row:
                self._finish()
                self._row, self._status, self._merged = int(rows[start]), OK, _NONE
            self._add_row({name: column[start:end] for name, column in table.items()})

    def _add_row(self, table: Table) -> None:
        bad = np.flatnonzero(table["status"] != OK)
        if len(bad) and self._status == OK:
            self._status = str(table["status"][bad[0]])
        good = _Moments.of(table, np.flatnonzero(table["status"] == OK))
        # Within a piece the number of sessions rises from line to line.
        starts = np.flatnonzero(np.diff(good.sessions, prepend=np.inf) <= 0)
        for start, end in pairwise([*starts.tolist(), len(good.sessions)]):
            self._merged = self._merged.merged(good.lines(slice(start, end)))

    def _finish(self) -> None:
        if self._row >= 0:
            line = {"row": self._row, **self._merged.summary()}
            self._lines.append(np.array([line.get(name, np.nan) for name in NUMBERS]))
            self._statuses.append(self._status)
        self._row = _NO_ROW

    def table(self) -> Table:
        """One line per row of the grid."""
        self._finish()
        columns: Table = dict(zip(NUMBERS, np.array(self._lines).T, strict=True))
        for name in ("row", "lives"):
            columns[name] = columns[name].astype(int)
        columns["status"] = np.array(self._statuses, dtype=object)
        return {name: columns[name] for name in SUMMARY}


class _Moments:
    """Moments of the lives of one row, by their number of ``sessions`` (N,): ``counts`` (5, N), and
    of each quantity the ``mean`` (Q, N) and the sum of squared deviations, ``spread`` (Q, N)."""

    def __init__(
        self,
        sessions: NDArray[np.float64],
        counts: NDArray[np.float64],
        mean: NDArray[np.float64],
        spread: NDArray[np.float64],
    ) -> None:
        self.sessions, self.counts, self.mean, self.spread = sessions, counts, mean, spread

    @classmethod
    def of(cls, table: Table, lines: NDArray[np.int_]) -> _Moments:
        """Those of some lines of a table of moments."""

        def stacked(names: list[str]) -> NDArray[np.float64]:
            return np.stack([table[name][lines].astype(float) for name in names])

        mean, spread = ([name + end for name in VALUES] for end in ("", "_ss"))
        sessions = table["sessions"][lines].astype(float)
        return cls(sessions, *map(stacked, (_COUNTS, mean, spread)))

    def lines(self, some: slice) -> _Moments:
        """Some of the lines."""
        parts = (part[:, some] for part in (self.counts, self.mean, self.spread))
        return _Moments(self.sessions[some], *parts)

    def merged(self, other: _Moments) -> _Moments:
        """Those of both: means and spreads by Chan, Golub & LeVeque (1979)."""
        sessions = np.union1d(self.sessions, other.sessions)

        def at(moments: _Moments) -> list[NDArray[np.float64]]:
            place = np.searchsorted(sessions, moments.sessions)
            wide = []
            for part in (moments.counts, moments.mean, moments.spread):
                wide.append(np.zeros((len(part), len(sessions))))
                wide[-1][:, place] = part
            return wide

        (counts, mean, spread), (more, its_mean, its_spread) = at(self), at(other)
        both = counts + more
        share, apart = more[0] / both[0], its_mean - mean
        moved = spread + its_spread + apart**2 * (counts[0] * share)
        return _Moments(sessions, both, mean + apart * share, moved)

    def summary(self) -> dict[str, float]:
        """What a summary says of them."""
        lives, unfinished, *gap = self.counts
        total = lives.sum()
        line: dict[str, float] = {"lives": int(total)}
        if total:
            line["unfinished"] = float(unfinished.sum() / total)
            line |= session_percentiles(self.sessions, lives)
            low, high = at_places(self.sessions, lives, weibull(int(total), LEVEL))
            mean = (self.mean * lives).sum(axis=1) / total
            square = (self.spread + lives * (self.mean - mean[:, None]) ** 2).sum(axis=1)
            sd = np.sqrt(square / (total - 1)) if total > 1 else np.full(len(VALUES), np.nan)
            each = np.stack([mean, sd, sd / np.sqrt(total)], axis=1)
            line |= dict(zip(MOMENTS, each.ravel().tolist(), strict=True))
            loss = VALUES.index("loss_um_per_session")
            half = LEVEL_Z * sd[loss]
            between = (mean[loss] - half, mean[loss] + half, low, high)
            line |= dict(zip(BETWEEN, map(float, between), strict=True))
            line |= _grid_error(*(float(part.sum()) for part in gap))
        return line


_NONE = _Moments(np.zeros(0), np.zeros((len(_COUNTS), 0)), *np.zeros((2, len(VALUES), 0)))


def _grid_error(lives: float, total: float, squares: float) -> dict[str, float]:
    """Mean of the grid's error and its standard error, from sums over the lives that have it."""
    if not lives:
        return {}
    mean = total / lives
    spread = max(squares / lives - mean**2, 0.0) / (lives - 1) if lives > 1 else np.inf
    return {GRID: mean, f"{GRID}_mc": float(np.sqrt(spread))}
