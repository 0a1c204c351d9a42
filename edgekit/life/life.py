"""The life of an instrument: use dulls it, sessions sharpen it, until a rule retires it."""

import ctypes
import enum
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache, cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit.bending.beam import Wear, joined, life_bending_model, worn_away
from edgekit.checks import FloatArray, Seed, at_least, count, instance, one_of
from edgekit.citing import paragraph
from edgekit.display import html_text
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState
from edgekit.grinding.random_streams import GivenKeys, RunKeys, RunStreams
from edgekit.grinding.recession_field import EdgeGrid
from edgekit.grinding.session import check_parts
from edgekit.grinding.worn_blade import DEPTHS, WornBlade
from edgekit.life.batch import RunBatch
from edgekit.life.by_arrays import ArrayLives, LivesApart, serves_apart
from edgekit.life.by_blocks import BlockLives, serves_life
from edgekit.life.measures import SessionMeasures, Sessions
from edgekit.life.prepared import Precision, PreparedBlade
from edgekit.life.retire import (
    DEFAULT_RULES,
    MinStrength,
    RetireRule,
    TooDull,
    chosen,
)
from edgekit.life.use import Use
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record, freeze
from edgekit.units import UM_PER_MM

__all__ = ["Life", "LifeEnd", "Lives", "Use", "live", "live_runs", "rules_of"]

# Runs computed together: more leave the cache, fewer leave Python's own time a larger share.
MAX_RUNS_AT_ONCE = 640
MAX_PLANES_AT_ONCE = 2**16  # runs x planes: the draws of some sessions take 17 MB per edge
MAX_SESSIONS = 100_000
TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3  # as mallopt(3) numbers them
LARGEST_BLOCK = 2**25


class LifeEnd(enum.StrEnum):
    """Why a life ended."""

    RETIRED = "retired"
    STILL_IN_USE = "still in use"


class Lives(Record):
    """R lives of one blade under one method.

    ``sessions`` (R,): sessions until a rule retired the blade, that one included. ``ended_by``
    (R,): index of the rule, -1 if none did within the sessions allowed. ``final`` and ``average``:
    name -> (R,), a measure's value at the last session and its mean over the life. ``tracks``:
    name -> (H, sessions) of the first H lives, NaN after the end of each; cumulative losses in µm
    are against the blade as it was given. ``grids, states``: each edge's geometry, and its
    state after each session where that was recorded.
    """

    blade: Blade
    method: Method | Alternation
    rules: tuple[RetireRule, ...]
    sessions: NDArray[np.int_]
    ended_by: NDArray[np.int_]
    final: Mapping[str, FloatArray]
    average: Mapping[str, FloatArray]
    tracks: Mapping[str, FloatArray]
    grids: tuple[EdgeGrid, ...] = ()
    states: tuple[tuple[EdgeState, ...], ...] = ()

    def __repr__(self) -> str:
        return (
            f"{len(self.sessions)} lives of {self.blade.name}, {self.method.name}: "
            f"median {np.median(self.sessions):g} sessions"
        )

    def last(self, name: str) -> FloatArray:
        """Value (R,) of a measure at each life's last session."""
        return self.final[one_of("name", name, self.final)]

    def mean(self, name: str) -> FloatArray:
        """Mean (R,) of a measure over each life."""
        return self.average[one_of("name", name, self.average)]


class _Recorder:
    """Collects what sessions report, each life at its own session."""

    def __init__(
        self, prepared: PreparedBlade, rules: tuple[RetireRule, ...], runs: int, histories: int
    ) -> None:
        self._prepared, self._rules, self._histories = prepared, rules, histories
        self._names = [*SessionMeasures._fields, "used_up"]
        if prepared.bending is not None:
            self._names.append("strength_left")
        self._sessions = np.zeros(runs, dtype=int)
        self._ended_by = np.full(runs, -1)
        self._total = np.zeros((len(self._names), runs))
        self._final = np.zeros((len(self._names), runs))
        self._rows: list[tuple[NDArray[np.int_], NDArray[np.int_], FloatArray]] = []

    def add(self, batch: RunBatch, done: Sessions) -> NDArray[np.bool_]:
        """Record sessions of the batch up to those that end a life, and count them; which of its
        runs (R,) a rule retires."""
        used = np.array([rule.used_up(done.lost) for rule in self._rules])
        worst = used.max(axis=0)
        strength = () if done.lost.strength_left is None else (done.lost.strength_left,)
        values = np.array([*done.measures, worst, *strength])
        start, number, runs = done.first[:-1], np.arange(len(worst)), batch.run[done.rows]
        ends = np.minimum.reduceat(np.where(worst >= 1, number, len(worst)), start)
        retired = ends < done.first[1:]
        last = np.where(retired, ends, done.first[1:] - 1)
        counts = np.diff(done.first)
        lived = number <= np.repeat(last, counts)
        self._total[:, runs] = _added(self._total[:, runs], np.where(lived, values, 0.0), counts)
        self._final[:, runs] = values[:, last]
        self._sessions[runs] += last - start + 1
        self._ended_by[runs[retired]] = np.argmax(used[:, last[retired]], axis=0)
        if self._histories:
            before = batch.turn[done.rows] - start
            run, turn = np.repeat(runs, counts), number + np.repeat(before, counts)
            recorded = lived & (run < self._histories)
            self._rows.append((run[recorded], turn[recorded], values[:, recorded]))
        batch.turn[done.rows] += counts
        over = np.zeros(len(batch.run), dtype=bool)
        over[done.rows] = retired
        return over

    def used_up(self, runs: NDArray[np.int_]) -> FloatArray:
        """How much (R,) of what the rules allow has been used up after the last session."""
        return np.asarray(self._final[self._names.index("used_up"), runs])

    def lives(self, states: Sequence[tuple[EdgeState, ...]]) -> Lives:
        """All recorded lives."""
        longest = self._sessions[: self._histories].max(initial=0)
        tracks = np.full((len(self._names), self._histories, longest), np.nan)
        for runs, turns, values in self._rows:
            tracks[:, runs, turns] = values
        return Lives(
            blade=self._prepared.blade,
            method=self._prepared.method,
            rules=self._rules,
            sessions=self._sessions,
            ended_by=self._ended_by,
            final=dict(zip(self._names, self._final, strict=True)),
            average=dict(zip(self._names, self._total / self._sessions, strict=True)),
            tracks=dict(zip(self._names, tracks, strict=True)),
            grids=self._prepared.grids,
            states=tuple(states),
        )


def _added(totals: FloatArray, values: FloatArray, counts: NDArray[np.int_]) -> FloatArray:
    """Totals (K, R) after more values (K, N), `counts` (R,) of each run: one is added after
    another, so that the last bit does not depend on how many are computed at a time."""
    number, runs = totals.shape
    place = np.concatenate([np.arange(runs), np.repeat(np.arange(runs), counts)])
    every = np.concatenate([totals, values], axis=1).ravel()
    at = (np.arange(0, number * runs, runs)[:, None] + place).ravel()
    return np.asarray(np.bincount(at, every, number * runs), dtype=float).reshape(totals.shape)


def rules_of(retire: RetireRule | Sequence[RetireRule]) -> tuple[RetireRule, ...]:
    """One rule or several as a tuple."""
    rules = (retire,) if isinstance(retire, RetireRule) else retire
    remedy = "Give one, such as MaxWidthLoss(), or several in a tuple."
    instance("retire", rules, (list, tuple), remedy)
    if not rules:
        raise BadArgument("retire needs a rule", retire, remedy, argument="retire")
    for rule in rules:
        instance("retire", rule, RetireRule, remedy)
    return tuple(rules)


def live_runs(
    blade: Blade,
    method: Method | Alternation,
    *,
    use: Use,
    rules: tuple[RetireRule, ...],
    rngs: Sequence[Seed] | RunKeys,
    max_sessions: int = int(value("max_sessions")),
    stations: int | None = None,
    depths: int = DEPTHS,
    histories: int | None = None,
    precision: Precision = np.float64,
    expected: float = 0.0,
    keep: bool = False,
) -> Lives:
    """Many lives: the kernel behind `live`, `compare` and `sweep`.

    Parameters
    ----------
    blade : Blade
    method : Method or Alternation
    use : Use
    rules : tuple of RetireRule
        The first that is used up ends the life.
    rngs : sequence of numpy.random.Generator, or RunKeys
        One per run; run i depends on its own only, to the last bit.
    max_sessions, depths : int
        Where a life is cut off, and the nodes of the field down the flank.
    stations : int, optional
        Nodes along each edge; by default 32 for strokes rolled over whole curved edges by a stone
        that follows them, else 64.
    histories : int, optional
        Number of lives of which every session is recorded; all by default.
    precision : numpy.float64 or numpy.float32
        Of the fields. Single precision changes a life's mean loss per session by less than 1e-3 µm
        (99 % of 4000 lives of three methods). With arrays local strokes take 0.63 of the time,
        rolled ones as long; compiled lives more than twice as long, a session at a time.
    expected : float
        Sessions that lives are likely to last, if that is known: time is saved where they do, and
        nothing else depends on it.
    keep : bool
        Record the state after every session; for a single run only.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.grinding.random_streams import SeededKeys
    >>> lives = live_runs(
    ...     ek.patterns.hoe(), ek.methods.freehand(), use=Use(), rules=DEFAULT_RULES,
    ...     rngs=SeededKeys(1, runs=300))
    >>> lives.sessions.shape, bool((lives.ended_by >= 0).all())
    ((300,), True)
    """
    check_parts(blade, method, (Method, Alternation))
    keys = GivenKeys(rngs) if isinstance(rngs, Sequence) else rngs
    instance("use", use, Use, "Give a Use; Use() has the defaults.")
    limit = count("max_sessions", max_sessions, most=MAX_SESSIONS)
    runs = len(keys)
    if keep and runs > 1:
        remedy = "Live one run, or set keep=False."
        raise BadArgument("fields are recorded of a single run only", runs, remedy)
    _retain_freed_memory()
    strength = any(isinstance(rule, MinStrength) for rule in rules)
    prepared = PreparedBlade.of(blade, method, stations, depths, precision, strength=strength)
    slots = min(MAX_RUNS_AT_ONCE, max(1, MAX_PLANES_AT_ONCE // method.planes), runs)
    rules = (*rules, TooDull())
    recorder = _Recorder(prepared, rules, runs, runs if histories is None else min(histories, runs))
    states = []
    engine = _engine(prepared, use, expected, keep=keep)
    batch = RunBatch(prepared, use, keys, slots, engine)
    while len(batch.run):
        over = recorder.add(batch, engine.step(batch, recorder.used_up(batch.run), limit))
        if isinstance(engine, ArrayLives) and keep:
            states.append(tuple(replace(state) for state in engine.states))
        over |= batch.turn >= limit
        if over.any():
            batch.end(over)
    return recorder.lives(states)


def _engine(
    prepared: PreparedBlade, use: Use, expected: float, *, keep: bool
) -> ArrayLives | BlockLives:
    """What computes lives: by blocks, apart, or, with states to be kept, one session of all after
    another."""
    likely = at_least("expected", expected, 0.0)
    if not keep and serves_life(prepared, use):
        return BlockLives(prepared, use, likely)
    if not keep and serves_apart(prepared):
        return LivesApart(prepared, use)
    return ArrayLives(prepared, use)


@cache
def _retain_freed_memory() -> None:
    """Let freed arrays stay with the process, whatever its environment asks for.

    The usual allocator of Linux returns blocks of some hundred kilobytes to the system at once, and
    requesting them again takes a third of the kernel's own time; other allocators have no such
    setting.
    """
    with suppress(AttributeError, OSError, TypeError):
        setting = ctypes.CDLL(None).mallopt
        for limit in (TRIM_THRESHOLD, MMAP_THRESHOLD):
            setting(limit, LARGEST_BLOCK)


class Life(Record):
    """One instrument's life.

    ``sessions``: sessions until it must go. ``history``: one row per session, cumulative losses
    against the new blade. ``ended_by``: the rule that retired it, None if it is still in use.
    ``start``: the blade before its first use. ``streams``: the random numbers it was lived with;
    given to `ek.use` and `ek.sharpen` in turn, from ``start`` on, they give ``after`` again, to the
    last bit.
    """

    blade: Blade
    method: Method | Alternation
    use: Use
    rules: tuple[RetireRule, ...]
    sessions: int
    history: pd.DataFrame
    ended_by: RetireRule | None
    start: WornBlade
    streams: RunStreams
    grids: tuple[EdgeGrid, ...] = ()
    after: tuple[WornBlade, ...] = ()

    @cached_property
    def wears(self) -> tuple[tuple[Wear, ...], ...]:
        """What is worn away from each edge after each session."""
        return tuple(map(worn_away, self.after))

    def worn(self, session: int) -> WornBlade:
        """The blade after a session, counted from 1; 0 is before the first use.

        Examples
        --------
        >>> import edgekit as ek
        >>> life = ek.live(ek.patterns.hoe(), ek.methods.powered(), rng=3)
        >>> worn = life.start
        >>> for _ in range(2):
        ...     worn = ek.use(worn, life.use, rng=life.streams)
        ...     worn = ek.sharpen(worn, life.method, rng=life.streams).worn
        >>> bool((worn.recession_um("edge") == life.worn(2).recession_um("edge")).all())
        True
        """
        number = count("session", session, 0)
        if number > self.sessions:
            raise BadArgument(
                "session is past the end of the life",
                session,
                f"Give up to {self.sessions}.",
                argument="session",
            )
        return self.after[number - 1] if number else self.start

    @property
    def end(self) -> LifeEnd:
        """Why the life ended."""
        return LifeEnd.STILL_IN_USE if self.ended_by is None else LifeEnd.RETIRED

    @property
    def status(self) -> str:
        """Why the life ended, in words."""
        if self.ended_by is not None:
            return f"{self.end}: {self.ended_by}"
        return f"{self.end} after {self.sessions} sessions; allow more with max_sessions"

    @cached_property
    def strength_left(self) -> FloatArray:
        """Strength (N,) after each session over the new blade's; see `edgekit.bending.beam`."""
        model = life_bending_model(self.blade, self.grids)
        lost = self.history["length_um"].to_numpy() / UM_PER_MM
        return np.asarray(freeze(model.strength_left(joined(self.wears), lost)))

    def cite(self) -> str:
        """What made the life, in one paragraph: versions and inputs."""
        given = {
            "blade": repr(self.blade),
            "method": self.method,
            "use": self.use,
            "retired by": chosen(self.rules),
        }
        key = "-".join(f"{word:016x}" for word in self.streams.key(0).tolist())
        return paragraph("One simulated life", given, seed=f"key {key}", of=self)

    def __repr__(self) -> str:
        return f"{self.blade.name}, {self.method.name}: {self.sessions} sessions; {self.status}"

    def _repr_html_(self) -> str:
        return html_text(self) + self.history.tail(3).to_html(index=False)


def live(
    blade: Blade,
    method: Method | Alternation,
    *,
    use: Use | None = None,
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES,
    rng: RunStreams | Seed,
    max_sessions: int = int(value("max_sessions")),
    stations: int | None = None,
    depths: int = DEPTHS,
) -> Life:
    """Use and sharpen one instrument until a rule retires it.

    It is one life of many: what other hands, and other values of constants that nobody has
    measured, would make of it is in `LifeCase.intervals`.

    Parameters
    ----------
    blade : Blade
    method : Method or Alternation
    use : Use, optional
        What happens between sessions.
    retire : RetireRule or sequence of them
        The first that is used up ends the life.
    rng : Generator, seed of one, or `Life.streams`
    max_sessions, depths : int
        Where a life is cut off, and the nodes of the field down the flank.
    stations : int, optional
        Nodes along each edge; by default 32 for strokes rolled over whole curved edges by a stone
        that follows them, else 64.

    Returns
    -------
    Life

    Raises
    ------
    BadArgument
        Not a blade, a method, a rule or a generator; a number outside its range.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.area_specific_curette()
    >>> life = ek.live(blade, ek.methods.freehand(), rng=np.random.default_rng(3))
    >>> life.sessions == len(life.history), life.end.value
    (True, 'retired')
    """
    cycle, streams = Use() if use is None else use, RunStreams.of(rng)
    lives = live_runs(
        blade,
        method,
        use=cycle,
        rules=rules_of(retire),
        rngs=streams,
        max_sessions=max_sessions,
        stations=stations,
        depths=depths,
        keep=True,
    )
    ended = int(lives.ended_by[0])
    start = _start(blade, cycle, streams, lives)
    return Life(
        blade=blade,
        method=method,
        rules=lives.rules,
        sessions=int(lives.sessions[0]),
        history=_history(lives),
        ended_by=lives.rules[ended] if ended >= 0 else None,
        use=cycle,
        start=start,
        streams=streams,
        grids=lives.grids,
        after=_worn(start, lives, cycle),
    )


def _start(blade: Blade, use: Use, streams: RunStreams, lives: Lives) -> WornBlade:
    """The blade before its first use."""
    effects, _ = streams.session(0, edges=len(blade.edges), seatings=1)
    depths, stations = lives.grids[0].depth_mm.shape
    fresh = float(use.fresh_um(effects)[0])
    return WornBlade.new(blade, fresh_radius_um=fresh, stations=stations, depths=depths)


def _worn(start: WornBlade, lives: Lives, use: Use) -> tuple[WornBlade, ...]:
    """The blade after each session of a single life."""
    return tuple(
        start.after(list(states), sessions=k, use_strokes=k * use.strokes)
        for k, states in enumerate(lives.states, 1)
    )


def _history(lives: Lives) -> pd.DataFrame:
    """One row per session of a single life."""
    history = pd.DataFrame({name: track[0] for name, track in lives.tracks.items()})
    history.insert(0, "session", np.arange(1, len(history) + 1))
    width = lives.blade.width_mm - history["mean_width_um"] / UM_PER_MM
    history.insert(1, "width_mm", width)
    return history
