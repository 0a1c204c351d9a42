"""Random numbers of a run, drawn in one fixed order, so that methods can share them.

Each run has a key of its own, the first 128 bits its generator gives. A generator (SFC64) seeded with
the key and the number of a block of sessions yields that block's numbers, whatever was drawn before:
seatings last and one after another, so that two methods meet the same hands on the
same day however many placements each makes (common random numbers), and a run's numbers do not
depend on how runs are cut into blocks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from edgekit.checks import FloatArray, count, instance

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "KEPT",
    "PATCHES",
    "GivenKeys",
    "RandomStreams",
    "RunEffects",
    "RunKeys",
    "SeededKeys",
    "SessionDraws",
    "check_rng",
    "draw_run_effects",
    "draw_session",
    "run_rng",
]

PATCHES = 16  # independent patches of dulling along one edge
TERMS = 4  # tilt, swing, position, advance
AHEAD = 8  # sessions drawn at once: fewer cost more calls, more are wasted when a life ends


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


KEPT = TERMS + 4


class SessionDraws(NamedTuple):
    """Draws of one session, for E edges and P seatings of the stone on each: ``phase`` (R, E)
    uniform; ``setup`` (R, 4), ``seatings`` (R, E, P, 4) and ``patches`` (R, E, 16) unit normals."""

    setup: FloatArray
    phase: FloatArray
    seatings: FloatArray
    patches: FloatArray


def draw_run_effects(rngs: Sequence[np.random.Generator]) -> RunEffects:
    """What the runs keep, one generator a run."""
    z = np.array([rng.standard_normal(KEPT) for rng in rngs])
    return RunEffects(z[:, :TERMS], *z[:, TERMS:].T)


def draw_session(rngs: Sequence[np.random.Generator], *, edges: int, seatings: int) -> SessionDraws:
    """One session's draws, one generator a run."""
    size = TERMS + edges * (PATCHES + seatings * TERMS)
    phase = np.array([rng.random(edges) for rng in rngs])
    z = np.array([rng.standard_normal(size) for rng in rngs])
    runs, cut = len(rngs), TERMS + edges * PATCHES
    return SessionDraws(
        setup=z[:, :TERMS],
        phase=phase,
        seatings=z[:, cut:].reshape(runs, edges, seatings, TERMS),
        patches=z[:, TERMS:cut].reshape(runs, edges, PATCHES),
    )


def check_rng(rng: object) -> None:
    """Refuse anything but a generator."""
    instance("rng", rng, np.random.Generator, "Give numpy.random.default_rng(seed).")


def run_rng(seed: int, run: int) -> np.random.Generator:
    """The generator of one run: child `run` of the seed, whatever else is computed."""
    return np.random.Generator(np.random.Philox(key=np.array([_root(seed), run], dtype=np.uint64)))


def _root(seed: int) -> int:
    root = count("seed", seed, 0)
    return int(np.random.SeedSequence(root).generate_state(1, np.uint64)[0])


class RunKeys(Protocol):
    """The keys of N runs."""

    def __len__(self) -> int: ...

    def key(self, run: int) -> NDArray[np.uint64]:
        """Key (2,) of a run; asked for once."""
        ...


class GivenKeys:
    """Keys from generators, one a run."""

    def __init__(self, rngs: Sequence[np.random.Generator]) -> None:
        for rng in rngs:
            check_rng(rng)
        self._rngs = rngs

    def __len__(self) -> int:
        return len(self._rngs)

    def key(self, run: int) -> NDArray[np.uint64]:
        """The first 128 bits of that run's generator."""
        return self._rngs[run].integers(0, 2**64, size=2, dtype=np.uint64)


class SeededKeys:
    """Keys of runs `first` to `first + runs` of a seed: those `GivenKeys` takes from `run_rng`, without
    making a generator for each.

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


class _Stream:
    """One SFC64 generator seeded again and again with a key and a block: a tenth of the time of making a
    new one, and normal numbers in 0.6 of Philox's time.

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


class RandomStreams:
    """Numbers of a number of runs in hand at a time, each at its own session.

    Parameters
    ----------
    keys : RunKeys
    edges, seatings : int
        How many of each a session needs.
    places : int
        Runs in hand at most.
    """

    def __init__(self, keys: RunKeys, *, edges: int, seatings: int, places: int) -> None:
        self._keys, self._stream = keys, _Stream()
        self._key = np.zeros((places, 2), dtype=np.uint64)
        self._phase = np.empty((places, AHEAD, edges))
        # By session, then by place, so that a session's numbers lie together.
        fixed = TERMS + edges * PATCHES
        self._fixed = np.empty((AHEAD, places, fixed))
        self._seatings = np.empty((AHEAD, places, edges, seatings, TERMS))
        self._drawn = np.empty(AHEAD * (fixed + seatings * edges * TERMS))
        self._drawn_fixed = self._drawn[: AHEAD * fixed].reshape(AHEAD, fixed)
        seated = self._drawn[AHEAD * fixed :].reshape(seatings, AHEAD, edges, TERMS)
        self._drawn_seatings = seated.transpose(1, 2, 0, 3)

    def deal(self, places: NDArray[np.int_], runs: NDArray[np.int_]) -> RunEffects:
        """Take runs in hand; what they keep."""
        z = np.empty((KEPT, len(places)))
        for n, (place, run) in enumerate(zip(places.tolist(), runs.tolist(), strict=True)):
            self._key[place] = self._keys.key(run)
            self._stream.go_to(self._key[place], 0)
            z[:, n] = self._stream.rng.standard_normal(KEPT)
        return RunEffects(z[:TERMS].T, *z[TERMS:])

    def session(self, places: NDArray[np.int_], turns: NDArray[np.int_]) -> SessionDraws:
        """Draws of session number `turns` (R,) of the runs at `places` (R,)."""
        at = turns % AHEAD
        for place, block in zip(
            places[at == 0].tolist(), (turns[at == 0] // AHEAD).tolist(), strict=True
        ):
            self._stream.go_to(self._key[place], 1 + block)
            self._stream.rng.random(out=self._phase[place])
            self._stream.rng.standard_normal(out=self._drawn)
            self._fixed[:, place] = self._drawn_fixed
            self._seatings[:, place] = self._drawn_seatings
        now = self._fixed[at, places].T.copy()  # runs closest in memory, as the kernel works
        edges = self._phase.shape[2]
        return SessionDraws(
            setup=now[:TERMS].T,
            phase=self._phase[places, at],
            seatings=self._seatings[at, places],
            patches=np.moveaxis(now[TERMS:].reshape(edges, PATCHES, -1), -1, 0),
        )
