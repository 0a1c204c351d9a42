"""The batch of lives computed together: each one's run, session number, effects and state."""

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.random_streams import (
    EFFECTS,
    Filler,
    RandomStreams,
    RunEffects,
    RunKeys,
    SessionDraws,
)
from edgekit.life.prepared import PreparedBlade
from edgekit.life.use import Use


class Blades(Protocol):
    """The edges of R blades in their present state; how many ``blocks`` of sessions' random numbers
    lie ready for each."""

    blocks: int

    @property
    def fill(self) -> Filler:
        """What draws their random numbers."""

    def start(self, slots: int) -> None:
        """Room for so many blades."""

    def renew(self, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
        """Replace the blades of some runs by new ones of a given edge radius (rows,)."""

    def select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""


class RunBatch:
    """Lives computed together; when one ends, a waiting run takes its slot.

    Where methods alternate, all runs of a batch must be at the same session: there waiting runs
    start once all have ended. ``run, turn, fresh_um`` (R,): the runs, each one's session number and
    its edge radius after sharpening.
    """

    def __init__(
        self, prepared: PreparedBlade, use: Use, keys: RunKeys, slots: int, blades: Blades
    ) -> None:
        self._prepared, self._use, self._blades = prepared, use, blades
        self._in_step = len(prepared.aims) > 1
        self._slots = slots
        self._streams = RandomStreams(
            keys,
            edges=len(prepared.grids),
            seatings=prepared.method.planes,
            slots=slots,
            blocks=blades.blocks,
            fill=blades.fill,
        )
        self._waiting = iter(range(len(keys)))
        self._fill()

    def _fill(self) -> None:
        """Start with every slot free."""
        slots = self._slots
        self._slot = np.arange(slots)
        self.run = np.zeros(slots, dtype=int)
        self.turn = np.zeros(slots, dtype=int)
        self._effects = np.zeros((EFFECTS, slots))
        self.fresh_um = np.zeros(slots, dtype=self._prepared.grids[0].inset_mm.dtype)
        self._blades.start(slots)
        self._start_waiting(np.ones(slots, dtype=bool))

    def draws(
        self, rows: NDArray[np.int_], turn: NDArray[np.int_], *, in_place: bool = False
    ) -> SessionDraws:
        """Random numbers of sessions number `turn` (N,) of some runs of the batch (N,)."""
        return self._streams.session(self._slot[rows], turn, in_place=in_place)

    def within_reach(self) -> NDArray[np.int_]:
        """How many sessions (R,) of each run have random numbers that can be asked for at once."""
        return self._streams.within_reach(self.turn)

    def effects_of(self, rows: NDArray[np.int_]) -> RunEffects:
        """What lasts for some of the runs."""
        return RunEffects.of(self._effects[:, rows])

    @property
    def effects(self) -> RunEffects:
        """What lasts for all of them."""
        return RunEffects.of(self._effects)

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
            self._blades.renew(rows, self.fresh_um[rows])
        unused = free.copy()
        unused[rows] = False
        if unused.any():
            self._select(np.flatnonzero(~unused))

    def _select(self, rows: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        self._slot, self.run, self.turn = self._slot[rows], self.run[rows], self.turn[rows]
        self.fresh_um = self.fresh_um[rows]
        self._effects = self._effects[:, rows]
        self._blades.select(rows)


def some_runs(array: FloatArray, rows: NDArray[np.int_]) -> FloatArray:
    """Some runs of an array (R,), (R, S) or (V, R, S), which keeps its layout in memory."""
    runs = 1 if array.ndim == 3 else 0
    order = sorted(range(array.ndim), key=array.strides.__getitem__, reverse=True)
    taken = np.take(array.transpose(order), rows, axis=order.index(runs))
    return taken.transpose(np.argsort(order))
