"""The batch of lives computed together: each one's run, session number, effects and state."""

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.edge_state import EdgeState, new_state, whole_land_um
from edgekit.grinding.random_streams import RandomStreams, RunEffects, RunKeys, SessionDraws
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import EdgeUse, Use


class RunBatch:
    """Lives computed together; when one ends, a waiting run takes its slot.

    Where methods alternate, all runs of a batch must be at the same session: there waiting runs
    start once all have ended. ``run, turn, fresh_um`` (R,): the runs, each one's session number and
    its edge radius after sharpening. ``used``: one use, of each edge.
    """

    def __init__(self, prepared: PreparedBlade, use: Use, keys: RunKeys, slots: int) -> None:
        self._prepared, self._use = prepared, use
        self.used = [EdgeUse(use, grid, len(prepared.grids)) for grid in prepared.grids]
        self._in_step = len(prepared.aims) > 1
        self._slots = slots
        self._streams = RandomStreams(
            keys, edges=len(prepared.grids), seatings=prepared.method.planes, slots=slots
        )
        self._waiting = iter(range(len(keys)))
        self._fill()

    def _fill(self) -> None:
        """Start with every slot free."""
        slots, grids = self._slots, self._prepared.grids
        self._slot = np.arange(slots)
        self.run = np.zeros(slots, dtype=int)
        self.turn = np.zeros(slots, dtype=int)
        self.effects = RunEffects(np.zeros((4, slots)).T, *np.zeros((4, slots)))
        self.fresh_um = np.zeros(slots, dtype=grids[0].inset_mm.dtype)
        self.states = [new_state(grid, slots) for grid in grids]
        self._start_waiting(np.ones(slots, dtype=bool))

    def draws(self) -> SessionDraws:
        """Random numbers of each run's present session."""
        return self._streams.session(self._slot, self.turn)

    def end(self, over: NDArray[np.bool_]) -> None:
        """Remove finished runs and start waiting ones."""
        if not self._in_step:
            self._start_waiting(over)
        elif over.all():
            self._fill()
        else:
            self._select(np.flatnonzero(~over))

    def _start_waiting(self, free: NDArray[np.bool_]) -> None:
        """Start waiting runs in free slots; remove the slots that stay free."""
        rows = np.flatnonzero(free)
        runs = np.array([r for _, r in zip(rows, self._waiting, strict=False)], dtype=int)
        rows = rows[: len(runs)]
        if len(runs):
            effects = self._streams.start_runs(self._slot[rows], runs)
            self.run[rows], self.turn[rows] = runs, 0
            for present, new in zip(self.effects, effects, strict=True):
                present[rows] = new
            self.fresh_um[rows] = self._use.fresh_um(effects)
            for state, grid in zip(self.states, self._prepared.grids, strict=True):
                _renew(state, grid, rows, self.fresh_um[rows])
        unused = free.copy()
        unused[rows] = False
        if unused.any():
            self._select(np.flatnonzero(~unused))

    def _select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self._slot, self.run, self.turn = self._slot[rows], self.run[rows], self.turn[rows]
        self.fresh_um = self.fresh_um[rows]
        self.effects = RunEffects(*(_runs(part, rows) for part in self.effects))
        self.states = [
            EdgeState(**{f.name: _runs(getattr(state, f.name), rows) for f in fields(state)})
            for state in self.states
        ]


def _runs(array: FloatArray, rows: NDArray[np.int_]) -> FloatArray:
    """Some runs of an array (R,), (R, S) or (V, R, S); runs stay closest in memory."""
    if array.ndim == 3:
        return np.swapaxes(np.take(np.swapaxes(array, 1, 2), rows, axis=2), 1, 2)
    return np.take(array.T, rows, axis=-1).T


def _renew(state: EdgeState, grid: EdgeGrid, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
    """Replace the blades of some runs by new ones of a given edge radius (rows,)."""
    state.inset_mm[:, rows] = grid.inset_mm[:, None, :]
    state.radius_um[rows] = radius_um[:, None]
    state.land_um[rows] = whole_land_um(radius_um[:, None], grid.angle_rad)
    state.angle_rad[rows] = grid.angle_rad
    state.drop_mm[rows] = 0.0
    state.lean_rad[rows] = 0.0
    state.cleared_mm3[rows] = cleared(grid, grid.inset_mm[:, None])
