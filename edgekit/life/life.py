"""The life of an instrument: use dulls it, sessions sharpen it, until a rule retires it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from edgekit.bending.beam import Wear, joined, life_bending_model
from edgekit.checks import FloatArray, count, instance
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade
from edgekit.grinding.kernel import EdgeState, sharpen_runs
from edgekit.grinding.random_streams import GivenKeys, RunEffects, RunKeys, SessionDraws
from edgekit.grinding.recession_field import EdgeGrid, cleared
from edgekit.grinding.session import check_parts
from edgekit.life.batch import RunBatch
from edgekit.life.prepared import Precision, PreparedBlade, SessionMeasures, mean_, plain_mean
from edgekit.life.retire import DEFAULT_RULES, MinStrength, RetireRule, WidthLoss
from edgekit.life.use import Use
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = ["Life", "Lives", "Use", "live", "live_runs", "rules_of"]

UM_PER_MM = 1000.0
# Lives in hand: more leave the cache, fewer leave Python's own time a larger share.
MAX_RUNS_AT_ONCE = 640
MAX_PLANES_AT_ONCE = 2**16  # runs x planes: their draws of some sessions ahead take 17 MB an edge
LIFE_STATIONS = 64
LIFE_DEPTHS = 8


@dataclass(frozen=True, kw_only=True, eq=False)
class Lives:
    """R lives of one blade under one method.

    ``sessions`` (R,): sessions until a rule retired the blade, that one included. ``ended_by``
    (R,): index of the rule, -1 if none did within the sessions allowed. ``final`` and ``average``:
    name -> (R,), a track's value at the last session and its mean over the life. ``tracks``: name ->
    (H, sessions) of the first H lives, NaN after the end of each; cumulative losses in µm are
    against the blade as it was given. ``grounds, wears``: each edge's geometry, and its field after
    each session where that was kept.
    """

    blade: Blade
    method: Method | Alternation
    rules: tuple[RetireRule, ...]
    sessions: NDArray[np.int_]
    ended_by: NDArray[np.int_]
    final: dict[str, FloatArray]
    average: dict[str, FloatArray]
    tracks: dict[str, FloatArray]
    grids: tuple[EdgeGrid, ...] = ()
    wears: tuple[tuple[Wear, ...], ...] = ()

    def last(self, name: str) -> FloatArray:
        """Value (R,) of a track at each life's last session."""
        return self.final[name]

    def mean(self, name: str) -> FloatArray:
        """Mean (R,) of a track over each life."""
        return self.average[name]


class _Record:
    """Collects what sessions report, each life at its own turn."""

    def __init__(self, names: Sequence[str], runs: int, histories: int) -> None:
        self.sessions = np.zeros(runs, dtype=int)
        self.ended_by = np.full(runs, -1)
        self._names = names
        self._total = np.zeros((len(names), runs))
        self._final = np.zeros((len(names), runs))
        self._histories = histories
        self._rows: list[tuple[NDArray[np.int_], NDArray[np.int_], FloatArray]] = []

    def add(
        self, runs: NDArray[np.int_], turns: NDArray[np.int_], tracks: Sequence[FloatArray]
    ) -> None:
        """One session of some runs, the tracks in the order of the names."""
        values = np.stack(tracks)
        self._total[:, runs] += values
        self._final[:, runs] = values
        self.sessions[runs] += 1
        if self._histories:
            mine = runs < self._histories
            self._rows.append((runs[mine], turns[mine], values[:, mine]))

    def lives(
        self, bench: PreparedBlade, rules: tuple[RetireRule, ...], wears: Sequence[tuple[Wear, ...]]
    ) -> Lives:
        """Everything recorded."""
        histories = np.full(
            (len(self._total), self._histories, self.sessions[: self._histories].max(initial=0)),
            np.nan,
        )
        for runs, turns, values in self._rows:
            histories[:, runs, turns] = values
        return Lives(
            blade=bench.blade,
            method=bench.method,
            rules=rules,
            sessions=self.sessions,
            ended_by=self.ended_by,
            final=dict(zip(self._names, self._final, strict=True)),
            average=dict(zip(self._names, self._total / self.sessions, strict=True)),
            tracks=dict(zip(self._names, histories, strict=True)),
            grids=bench.grids,
            wears=tuple(wears),
        )


def rules_of(retire: RetireRule | Sequence[RetireRule]) -> tuple[RetireRule, ...]:
    """One rule or several as a tuple."""
    rules = (retire,) if isinstance(retire, RetireRule) else retire
    remedy = "Give one, such as MaxWidthLoss(), or several in a tuple."
    instance("retire", rules, (list, tuple), remedy)
    if not rules:
        raise EdgekitError("retire needs a rule", retire, remedy)
    for rule in rules:
        instance("retire", rule, RetireRule, remedy)
    return tuple(rules)


def live_runs(
    blade: Blade,
    method: Method | Alternation,
    *,
    use: Use,
    rules: tuple[RetireRule, ...],
    rngs: Sequence[np.random.Generator] | RunKeys,
    max_sessions: int = int(value("max_sessions")),
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
    histories: int | None = None,
    precision: Precision = np.float64,
    keep: bool = False,
) -> Lives:
    """Many lives: the one kernel behind `live`, `compare` and `sweep`.

    Parameters
    ----------
    blade : Blade
    method : Method or Alternation
    use : Use
    rules : tuple of RetireRule
        The first that is used up ends the life.
    rngs : sequence of numpy.random.Generator, or RunKeys
        One a run; run i depends on nothing but its own, to the last bit.
    max_sessions, stations, depths : int
        Where a life is cut off, and the nodes of the field.
    histories : int, optional
        Of how many lives every session is kept; all by default.
    precision : numpy.float64 or numpy.float32
        Of the fields. Single precision is quicker by 30 % and changes a life's mean loss a
        session by less than 1e-3 µm (99 % of 4000 lives of three methods).
    keep : bool
        Keep the fields of every session in ``wears``; for a single run only.

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
    most = count("max_sessions", max_sessions)
    if precision not in (np.float64, np.float32):
        raise EdgekitError("no such precision", precision, "Give numpy.float64 or numpy.float32.")
    runs = len(keys)
    if keep and runs > 1:
        raise EdgekitError(
            "fields are kept of a single run only", runs, "Live one run, or keep none."
        )
    _hold_memory()
    strength = any(isinstance(rule, MinStrength) for rule in rules)
    bench = PreparedBlade.of(blade, method, stations, depths, precision, strength=strength)
    names = [*SessionMeasures._fields, "used_up", *(["strength_left"] if strength else [])]
    places = min(MAX_RUNS_AT_ONCE, max(1, MAX_PLANES_AT_ONCE // method.planes), runs)
    record = _Record(names, runs, runs if histories is None else min(histories, runs))
    wears: list[tuple[Wear, ...]] = []
    hand = RunBatch(bench, use, keys, places)
    while len(hand.run):
        draws = hand.deck.session(hand.place, hand.turn)
        tracks, lost, hand.states = _cycle(
            bench, hand.states, use, hand.kept, draws, hand.turn, hand.fresh_um
        )
        used = np.stack([rule.used_up(lost) for rule in rules])
        worst = used.max(axis=0)
        tracked = [*tracks, worst]
        if lost.strength_left is not None:
            tracked.append(lost.strength_left)
        record.add(hand.run, hand.turn, tracked)
        if keep:
            wears.append(bench.wear(hand.states))
        over = worst >= 1
        record.ended_by[hand.run[over]] = np.argmax(used[:, over], axis=0)
        hand.turn += 1
        over |= hand.turn >= most
        if over.any():
            hand.end(over)
    return record.lives(bench, rules, wears)


def _hold_memory() -> None:
    """Let freed arrays stay with the process.

    The usual allocator gives blocks of some hundred kilobytes back to the system at once, and fetching
    them again takes longer than the kernel needs to fill them. Freeing one block of almost 32 MB
    raises the size up to which it keeps them; other allocators take no notice.
    """
    np.empty(31 * 2**20, dtype=np.uint8)


def _cycle(
    bench: PreparedBlade,
    states: list[EdgeState],
    use: Use,
    kept: RunEffects,
    draws: SessionDraws,
    turn: NDArray[np.int_],
    fresh_um: FloatArray,
) -> tuple[SessionMeasures, WidthLoss, list[EdgeState]]:
    """Use, then a session."""
    method, aims = bench.at(int(turn[0]))
    before = []
    for e, (state, grid) in enumerate(zip(states, bench.grids, strict=True)):
        before.append(state.at(grid))
        worn = use.dull(state.radius_um, kept, draws.patches[:, e])
        state.radius_um = worn.astype(state.inset_mm.dtype, copy=False)
        if use.attrition_um:
            state.inset_mm = state.inset_mm + use.attrition_um / UM_PER_MM
            state.cleared_mm3 = cleared(grid, state.inset_mm)
    dull = mean_(plain_mean(state.radius_um) for state in states)
    done = sharpen_runs(
        bench.grids,
        states,
        aims,
        method,
        kept=kept,
        draws=draws,
        turn=turn,
        fresh_um=fresh_um,
    )
    tracks, lost = bench.track(before, done, dull)
    return tracks, lost, [result.state for result in done.edges]


@dataclass(frozen=True, kw_only=True, eq=False)
class Life:
    """One instrument's life.

    ``sessions``: sessions until it must go. ``history``: a row a session, cumulative losses
    against the new blade. ``status``: which rule ended it. ``grounds, wears``: each edge's
    geometry, and its field after each session.
    """

    blade: Blade
    method: Method | Alternation
    rules: tuple[RetireRule, ...]
    sessions: int
    history: pd.DataFrame
    status: str
    grids: tuple[EdgeGrid, ...] = ()
    wears: tuple[tuple[Wear, ...], ...] = ()

    @cached_property
    def strength_left(self) -> FloatArray:
        """Strength (N,) after each session over the new blade's; see `edgekit.bending.beam`."""
        model = life_bending_model(self.blade, self.grids)
        lost = self.history["length_um"].to_numpy() / UM_PER_MM
        return model.strength_left(joined(self.wears), lost)

    def __repr__(self) -> str:
        return f"{self.blade.name}, {self.method.name}: {self.sessions} sessions; {self.status}"

    def _repr_html_(self) -> str:
        from html import escape

        return (
            f"<b>{escape(self.blade.name)}</b>, {escape(self.method.name)}: {self.sessions} "
            f"sessions; {escape(self.status)}{self.history.tail(3).to_html(index=False)}"
        )


def live(
    blade: Blade,
    method: Method | Alternation,
    *,
    use: Use | None = None,
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES,
    rng: np.random.Generator,
    max_sessions: int = int(value("max_sessions")),
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
) -> Life:
    """Use and sharpen one instrument until a rule retires it.

    Parameters
    ----------
    blade : Blade
    method : Method or Alternation
    use : Use, optional
        What happens between sessions.
    retire : RetireRule or sequence of them
        The first that is used up ends the life.
    rng : numpy.random.Generator
    max_sessions, stations, depths : int
        Where a life is cut off, and the nodes of the field.

    Returns
    -------
    Life

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.area_specific_curette()
    >>> life = ek.live(blade, ek.methods.freehand(), rng=np.random.default_rng(3))
    >>> life.sessions == len(life.history), life.status.startswith("retired")
    (True, True)
    """
    import pandas as pd

    rules = rules_of(retire)
    lives = live_runs(
        blade,
        method,
        use=Use() if use is None else use,
        rules=rules,
        rngs=[rng],
        max_sessions=max_sessions,
        stations=stations,
        depths=depths,
        keep=True,
    )
    history = pd.DataFrame({name: track[0] for name, track in lives.tracks.items()})
    history.insert(0, "session", np.arange(1, len(history) + 1))
    history.insert(1, "width_mm", blade.width_mm - history["mean_width_um"] / UM_PER_MM)
    ended = int(lives.ended_by[0])
    status = (
        f"retired: {rules[ended]}"
        if ended >= 0
        else f"still in use after {max_sessions} sessions; allow more with max_sessions"
    )
    return Life(
        blade=blade,
        method=method,
        rules=rules,
        sessions=int(lives.sessions[0]),
        history=history,
        status=status,
        grids=lives.grids,
        wears=lives.wears,
    )
