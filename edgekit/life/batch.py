"""Lives in hand: which runs are lived side by side, at which session each is, and how they stand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.grinding.kernel import EdgeState, new_state
from edgekit.grinding.random_streams import RandomStreams, RunEffects, RunKeys
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import Use

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RunBatch"]


class RunBatch:
    """Lives that are lived side by side; as one ends, the next of those waiting takes its place.

    Where methods take turns, all lives in hand must be at the same session: there the next are
    taken once all have ended.
    """

    def __init__(self, bench: PreparedBlade, use: Use, keys: RunKeys, places: int) -> None:
        self._bench, self._use = bench, use
        self._in_step = len(bench.aims) > 1
        self._places = places
        self.deck = RandomStreams(
            keys, edges=len(bench.grids), seatings=bench.method.planes, places=places
        )
        self._waiting = iter(range(len(keys)))
        self._begin()

    def _begin(self) -> None:
        places = self._places
        self.place = np.arange(places)
        self.run = np.zeros(places, dtype=int)
        self.turn = np.zeros(places, dtype=int)
        self.kept = RunEffects(np.zeros((4, places)).T, *np.zeros((4, places)))
        self.fresh_um = np.zeros(places, dtype=self._bench.grids[0].inset_mm.dtype)
        self.states = [new_state(grid, places) for grid in self._bench.grids]
        self._take(np.ones(places, dtype=bool))

    def end(self, over: NDArray[np.bool_]) -> None:
        """Let lives go, and take the next."""
        if not self._in_step:
            self._take(over)
        elif over.all():
            self._begin()
        else:
            self._keep(np.flatnonzero(~over))

    def _take(self, free: NDArray[np.bool_]) -> None:
        """Put waiting runs where places are free; close the gaps when none wait any more."""
        columns = np.flatnonzero(free)
        runs = np.array([r for _, r in zip(columns, self._waiting, strict=False)], dtype=int)
        columns = columns[: len(runs)]
        if len(runs):
            kept = self.deck.deal(self.place[columns], runs)
            self.run[columns], self.turn[columns] = runs, 0
            for mine, new in zip(self.kept, kept, strict=True):
                mine[columns] = new
            self.fresh_um[columns] = self._use.fresh_um(kept)
            for state, grid in zip(self.states, self._bench.grids, strict=True):
                _renew(state, grid, columns, self.fresh_um[columns])
        gaps = free.copy()
        gaps[columns] = False
        if gaps.any():
            self._keep(np.flatnonzero(~gaps))

    def _keep(self, rows: NDArray[np.int_]) -> None:
        self.place, self.run, self.turn = self.place[rows], self.run[rows], self.turn[rows]
        self.fresh_um = self.fresh_um[rows]
        self.kept = RunEffects(*(part.T[..., rows].T for part in self.kept))
        self.states = [_some(state, rows) for state in self.states]


def _some(state: EdgeState, rows: NDArray[np.int_]) -> EdgeState:
    """The state of some runs."""
    return EdgeState(
        inset_mm=np.swapaxes(np.take(np.swapaxes(state.inset_mm, 1, 2), rows, axis=2), 1, 2),
        radius_um=np.take(state.radius_um.T, rows, axis=1).T,
        angle_rad=np.take(state.angle_rad.T, rows, axis=1).T,
        drop_mm=np.take(state.drop_mm.T, rows, axis=1).T,
        lean_rad=np.take(state.lean_rad.T, rows, axis=1).T,
        cleared_mm3=state.cleared_mm3[rows],
    )


def _renew(
    state: EdgeState, grid: EdgeGrid, rows: NDArray[np.int_], radius_um: FloatArray
) -> None:
    """Put new blades of a given edge radius (rows,) in place of some runs'."""
    state.inset_mm[:, rows] = grid.inset_mm[:, None, :]
    state.radius_um[rows] = radius_um[:, None]
    state.angle_rad[rows] = grid.angle_rad
    state.drop_mm[rows] = 0.0
    state.lean_rad[rows] = 0.0
    state.cleared_mm3[rows] = cleared(grid, grid.inset_mm[:, None])
