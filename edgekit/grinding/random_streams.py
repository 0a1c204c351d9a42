"""Random numbers of a run, drawn in one fixed order, so that methods can share them.

Each run has its own key, the first 128 bits its generator gives. A generator (SFC64) seeded with
the key and the number of a block of sessions yields that block's numbers, independent of earlier
draws. Seatings come last, one after another, so that two methods are given the same errors in the
same session however many placements each makes (common random numbers), and a run's numbers do not
depend on how runs are divided into batches.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray, Seed, count, generator
from edgekit.evidence_table import value
from edgekit.grinding.modes import MODES

PATCHES = int(value("dull_patches"))  # independent patches of dulling along one edge
TERMS = 4  # tilt, swing, position, advance
STROKE_TERMS = 3 + MODES  # tilt, swing, position, and the tilt's modes within the stroke
STROKES_AHEAD = 16  # strokes drawn at once
STROKE_BLOCKS = 1 << 48  # the first block of strokes: no session's block is numbered so high
AHEAD = 8  # sessions drawn at once: fewer need more calls, more are wasted when a life ends


class RunEffects(NamedTuple):
    """Unit normals that last for a whole run.

    ``hand`` (R, 4): the person's own tilt, swing, position and advance; the others (R,): how much
    the person scatters, how much a stroke takes, how fast the edge dulls, how sharp it starts.
    """

    hand: FloatArray
    skill: FloatArray
    removal: FloatArray
    severity: FloatArray
    sharp_radius: FloatArray

    @classmethod
    def of(cls, numbers: FloatArray) -> Self:
        """Of rows (8, R), which are not copied."""
        return cls(numbers[:TERMS].T, *numbers[TERMS:])


EFFECTS = TERMS + 4


class _Stream:
    """One SFC64 generator, seeded again for each key and block: this takes a tenth of the time of
    making a new one, and normal numbers take 0.6 of Philox's time.

    Seeded as numpy seeds it: three words, a counter of one, and twelve rounds.
    """

    def __init__(self) -> None:
        self.bits = np.random.SFC64(0)
        self.rng = np.random.Generator(self.bits)
        self._state = self.bits.state
        self._words = self._state["state"]["state"]
        self._rounds = np.empty(12)

    def go_to(self, key: NDArray[np.uint64], block: int) -> None:
        """Start of a block of a key's numbers."""
        self._words[:2] = key
        self._words[2:] = block, 1
        self.bits.state = self._state
        self.rng.random(out=self._rounds)  # one round a number; half the time of `random_raw`


class StrokeNumbers:
    """Unit normals of the strokes on one edge in one session of each run, drawn in blocks as they
    are asked for.

    How many strokes a session takes is not known beforehand. A block's numbers depend on the run's
    key, the session, the edge and the block alone.
    """

    def __init__(
        self, stream: _Stream, keys: NDArray[np.uint64], sessions: NDArray[np.int_], edge: int
    ) -> None:
        self.keys, self._stream = keys, stream
        self._first = STROKE_BLOCKS + ((sessions * 8 + edge) << 16)
        self._drawn = np.empty((0, STROKES_AHEAD, STROKE_TERMS))
        self._block = np.full(len(keys), -1)  # that each run's drawn numbers are of

    def room(self, runs: int) -> StrokeNumbers:
        """The like for so many runs, none of which has begun a session."""
        return StrokeNumbers(self._stream, np.zeros((runs, 2), np.uint64), np.zeros(runs, int), 0)

    def begin(self, runs: NDArray[np.int_], sessions: StrokeNumbers) -> None:
        """Let some `runs` begin the `sessions` of as many."""
        self.keys[runs], self._first[runs] = sessions.keys, sessions._first
        self._block[runs] = -1

    def first_blocks(self) -> NDArray[np.uint64]:
        """The number (R,) of each run's first block of this session."""
        return self._first.astype(np.uint64)

    def stroke(self, number: int | NDArray[np.int_], runs: NDArray[np.int_]) -> FloatArray:
        """Normals (R, T) of stroke `number`, one or (R,), of some `runs` of the batch."""
        block, row = np.divmod(np.broadcast_to(number, runs.shape), STROKES_AHEAD)
        due = block != self._block[runs]
        if due.any():
            self._draw(block[due], runs[due])
        return np.asarray(self._drawn[runs, row])

    def _draw(self, blocks: NDArray[np.int_], runs: NDArray[np.int_]) -> None:
        if not len(self._drawn):
            self._drawn = np.empty((len(self.keys), STROKES_AHEAD, STROKE_TERMS))
        self._block[runs] = blocks
        go_to, draw = self._stream.go_to, self._stream.rng.standard_normal
        first = (self._first[runs] + blocks).tolist()
        for run, key, block in zip(runs.tolist(), self.keys[runs], first, strict=True):
            go_to(key, block)
            draw(out=self._drawn[run])


class Seated(NamedTuple):
    """Where the unit normals of N sessions' seatings lie: four from the places ``first`` (N, E) of
    a row of ``numbers`` on, and so on ``apart`` from seating to seating."""

    numbers: FloatArray
    first: NDArray[np.int_]
    apart: int

    @classmethod
    def of(cls, seatings: FloatArray) -> Self:
        """Of an array (N, E, P, 4)."""
        sessions, edges, each, terms = seatings.shape
        first = np.arange(sessions * edges).reshape(sessions, edges) * (each * terms)
        return cls(np.ascontiguousarray(seatings, dtype=np.float64).ravel(), first, terms)


class SessionDraws(NamedTuple):
    """Draws of one session, for E edges and P seatings of the stone on each: ``phase`` (R, E)
    uniform; ``setup`` (R, 4), ``seatings`` (R, E, P, 4) and ``patches`` (R, E, 16) unit normals.

    Where ``seated`` is given, seatings have not been copied: they lie there until the same run's
    next block is drawn."""

    setup: FloatArray
    phase: FloatArray
    seatings: FloatArray
    patches: FloatArray
    strokes: tuple[StrokeNumbers, ...]
    seated: Seated | None = None


def run_rng(seed: int, run: int) -> np.random.Generator:
    """The generator of one run: child `run` of the seed, independent of all other runs."""
    return np.random.Generator(np.random.Philox(key=np.array([_root(seed), run], dtype=np.uint64)))


def _root(seed: int) -> int:
    return _mixed(count("seed", seed, 0))


@lru_cache(maxsize=16)
def _mixed(root: int) -> int:
    return int(np.random.SeedSequence(root).generate_state(1, np.uint64)[0])


class RunKeys(Protocol):
    """The keys of N runs."""

    def __len__(self) -> int: ...

    def key(self, run: int) -> NDArray[np.uint64]:
        """Key (2,) of a run; asked for once."""
        ...


class GivenKeys:
    """Keys from generators, one per run."""

    def __init__(self, rngs: Sequence[Seed]) -> None:
        self._rngs = [generator("rng", rng) for rng in rngs]

    def __len__(self) -> int:
        return len(self._rngs)

    def key(self, run: int) -> NDArray[np.uint64]:
        """The first 128 bits of that run's generator."""
        return self._rngs[run].integers(0, 2**64, size=2, dtype=np.uint64)


class SeededKeys:
    """Keys of runs `first` to `first + runs` of a seed, as `GivenKeys` takes them from `run_rng`,
    but without making a generator for each.

    Examples
    --------
    >>> seeded, given = SeededKeys(7, first=3, runs=1), GivenKeys([run_rng(7, 3)])
    >>> bool((seeded.key(0) == given.key(0)).all())
    True
    """

    def __init__(self, seed: int, *, first: int = 0, runs: int) -> None:
        self._first, self._runs = first, runs
        self._bits = np.random.Philox(key=0)
        self._state = self._bits.state
        self._key = self._state["state"]["key"]
        self._key[0] = _root(seed)

    def __len__(self) -> int:
        return self._runs

    def key(self, run: int) -> NDArray[np.uint64]:
        """The first 128 bits of that run's generator."""
        self._key[1] = self._first + run
        self._bits.state = self._state
        return self._bits.random_raw(2)


# Draws a block (N,) of each key (N, 2), uniform numbers and then unit normals, into lines (N,) of
# two arrays: keys, blocks, lines, uniform numbers, normals.
Filler = Callable[
    [NDArray[np.uint64], NDArray[np.int_], NDArray[np.int_], FloatArray, FloatArray], None
]


def fill_by_numpy(
    keys: NDArray[np.uint64],
    blocks: NDArray[np.int_],
    slots: NDArray[np.int_],
    even: FloatArray,
    normal: FloatArray,
) -> None:
    """See `Filler`; the bits are those of numpy's generator."""
    stream = _Stream()
    for key, block, slot in zip(keys, blocks.tolist(), slots.tolist(), strict=True):
        stream.go_to(key, block)
        stream.rng.random(out=even[slot])
        stream.rng.standard_normal(out=normal[slot])


class RandomStreams:
    """Random numbers for the current batch of runs, each run at its own session.

    Parameters
    ----------
    keys : RunKeys
    edges, seatings : int
        How many of each a session needs.
    slots : int
        Largest number of runs in the batch; each run has one slot.
    blocks : int
        Of `AHEAD` sessions that lie ready for each run.
    fill : Filler
        What draws them.
    """

    def __init__(
        self,
        keys: RunKeys,
        *,
        edges: int,
        seatings: int,
        slots: int,
        blocks: int = 1,
        fill: Filler = fill_by_numpy,
    ) -> None:
        self._keys, self._stream, self._fill, self._blocks = keys, _Stream(), fill, blocks
        self._key, lines = np.zeros((slots, 2), dtype=np.uint64), slots * blocks
        self._loaded = np.full(lines, -1)  # block of sessions that lies ready on a line
        self._phase = np.empty((lines, AHEAD, edges))
        fixed = TERMS + edges * PATCHES
        self._drawn = np.empty((lines, AHEAD * (fixed + seatings * edges * TERMS)))
        self._fixed = self._drawn[:, : AHEAD * fixed].reshape(lines, AHEAD, fixed)
        seated = self._drawn[:, AHEAD * fixed :]
        self._seatings = seated.reshape(lines, seatings, AHEAD, edges, TERMS)

    def start_runs(self, slots: NDArray[np.int_], runs: NDArray[np.int_]) -> RunEffects:
        """Start `runs` (R,) in `slots` (R,) of the batch, and draw their lasting effects."""
        for slot, run in zip(slots.tolist(), runs.tolist(), strict=True):
            self._key[slot] = self._keys.key(run)
        self._loaded.reshape(-1, self._blocks)[slots] = -1
        lines, first = np.arange(len(slots)), np.zeros(len(slots), dtype=int)
        z, none = np.empty((len(slots), EFFECTS)), np.empty((len(slots), 0))
        self._fill(self._key[slots], first, lines, none, z)
        z = z.T.copy()
        return RunEffects.of(z)

    def session(
        self, slots: NDArray[np.int_], turns: NDArray[np.int_], *, in_place: bool = False
    ) -> SessionDraws:
        """Draws of session number `turns` (R,) of the runs in `slots` (R,), of which several of one
        run lie together, all `within_reach`. Seatings are copied unless they serve `in_place`."""
        block, ahead = np.divmod(turns, AHEAD)
        lines, edges = slots * self._blocks + block % self._blocks, self._phase.shape[2]
        self._load(slots, block, lines)
        now = self._fixed[lines, ahead].T.copy()  # runs closest in memory, as the kernel works
        seated = self._seated(lines, ahead) if in_place else None
        seatings = self._seatings[:0] if in_place else self._seatings[lines, :, ahead]
        return SessionDraws(
            setup=now[:TERMS].T,
            phase=self._phase[lines, ahead],
            seatings=np.swapaxes(seatings, 1, 2),
            patches=np.moveaxis(now[TERMS:].reshape(edges, PATCHES, -1), -1, 0),
            strokes=tuple(
                StrokeNumbers(self._stream, self._key[slots], turns, edge) for edge in range(edges)
            ),
            seated=seated,
        )

    def within_reach(self, turns: NDArray[np.int_]) -> NDArray[np.int_]:
        """How many sessions (R,) from number `turns` (R,) on can be asked for at once."""
        return self._blocks * AHEAD - turns % AHEAD

    def _load(
        self, slots: NDArray[np.int_], blocks: NDArray[np.int_], lines: NDArray[np.int_]
    ) -> None:
        """Draw the blocks that do not lie ready."""
        due = np.flatnonzero(blocks != self._loaded[lines])
        due = due[np.append(True, np.diff(lines[due]) != 0)[: len(due)]]  # once a line
        if len(due):
            line, block = lines[due], blocks[due]
            self._fill(self._key[slots[due]], 1 + block, line, self._phase, self._drawn)
            self._loaded[line] = block

    def _seated(self, lines: NDArray[np.int_], ahead: NDArray[np.int_]) -> Seated:
        """Where the seatings of sessions lie."""
        _, _, _, edges, terms = self._seatings.shape
        line = self._drawn.shape[1]
        start = lines * line + AHEAD * self._fixed.shape[2] + ahead * (edges * terms)
        first = start[:, None] + np.arange(edges) * terms
        return Seated(self._drawn.ravel(), first, AHEAD * edges * terms)


class RunStreams:
    """The random numbers of one run, the same whenever a session of it is asked for.

    `Life.streams` are those of a life: `ek.use` and `ek.sharpen`, given them for `rng`, repeat it.
    """

    def __init__(self, key: NDArray[np.uint64]) -> None:
        self._key = np.array(key, dtype=np.uint64)

    @classmethod
    def of(cls, rng: Self | Seed) -> Self:
        """Streams as they are, or of a new run whose key a generator (or a seed's) gives."""
        if isinstance(rng, cls):
            return rng
        source = generator("rng", rng)
        return cls(GivenKeys([source]).key(0))

    def __len__(self) -> int:
        return 1

    def key(self, run: int) -> NDArray[np.uint64]:  # noqa: ARG002 - there is one
        """The run's key (2,)."""
        return self._key

    def session(self, turn: int, *, edges: int, seatings: int) -> tuple[RunEffects, SessionDraws]:
        """Lasting effects, and the draws of session number `turn`."""
        first = np.zeros(1, dtype=int)
        streams = RandomStreams(self, edges=edges, seatings=seatings, slots=1)
        effects = streams.start_runs(first, first)
        return effects, streams.session(first, first + turn)
