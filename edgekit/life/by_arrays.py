"""One use and one session after another of many lives, computed with arrays."""

from collections.abc import Sequence
from dataclasses import fields
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.engine import ARRAYS, engine
from edgekit.grinding.edge_state import EdgeState, new_state, whole_land_um
from edgekit.grinding.kernel import SessionRuns, sharpen_runs, sums
from edgekit.grinding.random_streams import RunEffects, fill_by_numpy
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.grinding.rolled_side import RolledSide
from edgekit.grinding.rolling import RolledEdge
from edgekit.life.batch import RunBatch, some_runs
from edgekit.life.measures import Sessions, mean_of, measure_edge, put_together
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import EdgeUse, Use, useful_strokes
from edgekit.method.method import Method
from edgekit.method.stop import OWN_RULES
from edgekit.method.strokes import RollingStroke

SHARE = 0.6  # of the runs: so many go on at a time


class Before(NamedTuple):
    """An edge before its session: its inset (R, S) [mm], the mean radius (R,) over the strokes of
    its use as that began, and the radius (R, S) that it left [µm]."""

    inset_mm: FloatArray
    used_um: FloatArray
    dull_um: FloatArray


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
        before = [
            self._wear(e, state, batch.effects, draws.patches[:, e])
            for e, state in enumerate(self.states)
        ]
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
        return self._measured(batch, runs, done, before)

    def _wear(
        self, edge: int, state: EdgeState, effects: RunEffects, patches: FloatArray
    ) -> Before:
        """One use of an edge, in place."""
        use, inset = self._used[edge], state.at(self._prepared.grids[edge])
        used = use.mean_radius(state.radius_um)
        use.wear(state, effects, patches)
        return Before(inset, used, state.radius_um)

    def _measured(
        self,
        batch: RunBatch,
        rows: NDArray[np.int_],
        done: SessionRuns,
        before: Sequence[Before],
    ) -> Sessions:
        """A session of some of the runs, from their edges `before` it."""
        edges = [
            measure_edge(self._prepared, e, result.state, was.inset_mm, was.dull_um, was.used_um)
            for e, (result, was) in enumerate(zip(done.edges, before, strict=True))
        ]
        sharp = mean_of(result.sharp_fraction for result in done.edges)
        used = mean_of(was.used_um for was in before)
        useful = useful_strokes(self._used, used, batch.effects_of(rows))
        turn = batch.turn[rows] + 1
        measured = put_together(self._prepared, edges, done, sharp, useful, turn)
        return Sessions(np.arange(len(rows) + 1), *measured, rows)


def serves_apart(prepared: PreparedBlade) -> bool:
    """Whether each life can go on to its next session by itself: with strokes rolled along by
    arrays, and a stroke and a stop rule of the package."""
    method = prepared.method
    return (
        engine() == ARRAYS
        and isinstance(method, Method)
        and method.rolls
        and type(method.rolling()) is RollingStroke
        and type(method.stop) in OWN_RULES
    )


class LivesApart(ArrayLives):
    """Lives that go on to their next use and session while others are still at strokes.

    Sessions take unlike numbers of strokes, and a stroke of few runs costs Python as much time as
    one of many; so those that have ended go on once they are a share of all. Sides know each run by
    the slot of its life; ``states`` are of those that rest between sessions, in slots that rise.
    """

    def __init__(self, prepared: PreparedBlade, use: Use) -> None:
        super().__init__(prepared, use)
        self._method = prepared.method.at(0)

    def start(self, slots: int) -> None:
        """Room for so many blades."""
        super().start(slots)
        self._slots, self._slot = slots, np.arange(slots)
        self._resting = self._slot
        self._before = [
            Before(state.at(grid), np.zeros(slots, state.radius_um.dtype), state.radius_um.copy())
            for state, grid in zip(self.states, self._prepared.grids, strict=True)
        ]
        self._sides = [
            RolledSide(aim, self._method, e, slots)
            for e, aim in enumerate(self._prepared.aims[0])
            if isinstance(aim, RolledEdge)
        ]

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs that rest by new ones of a given edge radius (rows,)."""
        super().renew(np.searchsorted(self._resting, self._slot[rows]), radius_um)

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs; the others rest."""
        self._slot = self._slot[rows]
        left = np.isin(self._resting, self._slot)
        super().select(np.flatnonzero(left))
        self._resting = self._resting[left]

    def step(self, batch: RunBatch, _: FloatArray, __: int) -> Sessions:
        """The next uses, and sessions that end, of a share of the runs in the batch."""
        if len(self._resting):
            self._begin(batch)
        enough = np.ceil(SHARE * len(self._slot))
        while True:
            ended = np.ones(self._slots, dtype=bool)
            for side in self._sides:
                ended[side.at_work] = False
            rows = np.flatnonzero(ended[self._slot])
            if len(rows) >= enough:
                return self._finish(batch, rows)
            for side in self._sides:
                side.advance()

    def _begin(self, batch: RunBatch) -> None:
        """Use and the beginning of a session of all that rest."""
        slots = self._resting
        rows = np.searchsorted(self._slot, slots)
        draws, effects = batch.draws(rows, batch.turn[rows]), batch.effects_of(rows)
        for e, (state, side) in enumerate(zip(self.states, self._sides, strict=True)):
            before = self._wear(e, state, effects, draws.patches[:, e])
            for kept, new in zip(self._before[e], before, strict=True):
                kept[slots] = new
            side.begin(slots, state, effects, draws, batch.fresh_um[rows])

    def _finish(self, batch: RunBatch, rows: NDArray[np.int_]) -> Sessions:
        """Ends of the sessions of some runs, which rest from now on."""
        self._resting = slots = self._slot[rows]
        results = tuple(side.finish(slots) for side in self._sides)
        self.states = [result.state for result in results]
        done = sums(results, self._method, batch.effects_of(rows), results)
        before = [Before(*(some_runs(part, slots) for part in was)) for was in self._before]
        return self._measured(batch, rows, done, before)


def _renew(state: EdgeState, grid: EdgeGrid, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
    """Replace the blades of some runs by new ones of a given edge radius (rows,)."""
    state.inset_mm[:, rows] = grid.inset_mm[:, None, :]
    state.radius_um[rows] = radius_um[:, None]
    state.land_um[rows] = whole_land_um(radius_um[:, None], grid.angle_rad)
    state.angle_rad[rows] = grid.angle_rad
    state.drop_mm[rows] = 0.0
    state.lean_rad[rows] = 0.0
    state.cleared_mm3[rows] = cleared(grid, grid.inset_mm[:, None])
