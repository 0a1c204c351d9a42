"""One use and one session after another of many lives, computed with arrays."""

from collections.abc import Sequence
from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.edge_state import EdgeState, new_state, whole_land_um
from edgekit.grinding.kernel import sharpen_runs
from edgekit.grinding.random_streams import fill_by_numpy
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.life.batch import RunBatch, some_runs
from edgekit.life.measures import Sessions, mean_of, measure_edge, put_together
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import EdgeUse, Use, useful_strokes


class ArrayLives:
    """Lives whose ``states``, one per edge, are computed with arrays, a session at a time."""

    states: Sequence[EdgeState]

    def __init__(self, prepared: PreparedBlade, use: Use) -> None:
        self._prepared, self.fill, self.blocks = prepared, fill_by_numpy, 1
        self._used = [EdgeUse(use, grid, len(prepared.grids)) for grid in prepared.grids]

    def start(self, slots: int) -> None:
        """Room for so many blades."""
        self.states = [new_state(grid, slots) for grid in self._prepared.grids]

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs by new ones of a given edge radius (rows,)."""
        for state, grid in zip(self.states, self._prepared.grids, strict=True):
            _renew(state, grid, rows, radius_um)

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self.states = [
            EdgeState(**{f.name: some_runs(getattr(state, f.name), rows) for f in fields(state)})
            for state in self.states
        ]

    def step(self, batch: RunBatch, _: FloatArray, __: int) -> Sessions:
        """One use and one session of all runs in the batch."""
        runs = np.arange(len(batch.run))
        method, aims = self._prepared.at(int(batch.turn[0]))
        draws = batch.draws(runs, batch.turn)
        grids = self._prepared.grids
        before = [state.at(grid) for state, grid in zip(self.states, grids, strict=True)]
        used = [
            u.mean_radius(state.radius_um) for u, state in zip(self._used, self.states, strict=True)
        ]
        for e, (state, use) in enumerate(zip(self.states, self._used, strict=True)):
            use.wear(state, batch.effects, draws.patches[:, e])
        dull = [state.radius_um for state in self.states]
        done = sharpen_runs(
            grids,
            self.states,
            aims,
            method,
            effects=batch.effects,
            draws=draws,
            turn=batch.turn,
            fresh_um=batch.fresh_um,
        )
        self.states = [result.state for result in done.edges]
        edges = [
            measure_edge(self._prepared, e, *parts)
            for e, parts in enumerate(zip(self.states, before, dull, used, strict=True))
        ]
        sharp = mean_of(result.sharp_fraction for result in done.edges)
        useful = useful_strokes(self._used, mean_of(used), batch.effects)
        measured = put_together(self._prepared, edges, done, sharp, useful, batch.turn + 1)
        return Sessions(np.arange(len(runs) + 1), *measured)


def _renew(state: EdgeState, grid: EdgeGrid, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
    """Replace the blades of some runs by new ones of a given edge radius (rows,)."""
    state.inset_mm[:, rows] = grid.inset_mm[:, None, :]
    state.radius_um[rows] = radius_um[:, None]
    state.land_um[rows] = whole_land_um(radius_um[:, None], grid.angle_rad)
    state.angle_rad[rows] = grid.angle_rad
    state.drop_mm[rows] = 0.0
    state.lean_rad[rows] = 0.0
    state.cleared_mm3[rows] = cleared(grid, grid.inset_mm[:, None])
