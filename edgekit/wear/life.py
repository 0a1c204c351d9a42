"""The life of an instrument: use dulls it, sessions sharpen it, until a rule retires it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, at_least, count, instance, keep_numbers
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value
from edgekit.geometry.blade import Blade
from edgekit.wear.draws import PATCHES, Deck, GivenKeys, Kept, RunKeys, SessionDraws
from edgekit.wear.dulling import DullingLaw, PowerDulling
from edgekit.wear.ground import Ground, ground_of, over_stations
from edgekit.wear.method import Method
from edgekit.wear.retire import DEFAULT_RULES, Measures, RetireRule
from edgekit.wear.session import (
    Aim,
    EdgeState,
    SessionRuns,
    aim_at,
    check_parts,
    new_state,
    sharpen_runs,
)

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

__all__ = ["Life", "Lives", "Use", "live", "live_runs", "rules_of"]

UM_PER_MM = 1000.0
MAX_RUNS_AT_ONCE = (
    256  # lives in hand: more leave the cache, fewer leave Python's own time a larger share
)
LARGEST_BLOCK = 2**22  # cells of runs x planes x stations, which bounds memory for many planes
LIFE_STATIONS = 64
LIFE_DEPTHS = 8
POINTED = 1.2  # 1 / sin(lean): a round toe has 1, a tip sharper than 113° more
SIDE_COSINE = np.cos(np.radians(45))  # where the edge turns past 45° it is toe, not side


@dataclass(frozen=True, kw_only=True)
class Use:
    """What happens to an instrument between two sessions.

    Parameters
    ----------
    strokes : float
        Working strokes on each edge.
    law : DullingLaw
        How the edge radius grows.
    sharp_radius_um, sharp_radius_gsd : float
        Edge radius after sharpening, and its geometric standard deviation between instruments.
    severity_gsd : float
        Geometric standard deviation, between instruments, of how fast strokes dull.
    patch_cv : float
        Scatter of the radius along one edge.
    attrition_um : float
        Width each edge loses in use beyond the rounding [µm].
    """

    strokes: float = value("strokes_per_use")
    law: DullingLaw = field(default_factory=PowerDulling)
    sharp_radius_um: float = value("sharp_radius_um")
    sharp_radius_gsd: float = entry("sharp_radius_um").gsd
    severity_gsd: float = entry("dull_rate_um2_per_stroke").gsd
    patch_cv: float = value("dull_patch_cv")
    attrition_um: float = value("attrition_um_per_use")

    def __post_init__(self) -> None:
        for name in ("strokes", "sharp_radius_um", "patch_cv", "attrition_um"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 0.0)})
        for name in ("sharp_radius_gsd", "severity_gsd"):
            keep_numbers(self, **{name: at_least(name, getattr(self, name), 1.0)})
        instance("law", self.law, DullingLaw, "Give a law, such as PowerDulling().")

    def fresh_um(self, kept: Kept) -> FloatArray:
        """Radius (R,) after sharpening."""
        return np.asarray(self.sharp_radius_um * self.sharp_radius_gsd**kept.sharp_radius)

    def dull(self, radius_um: FloatArray, kept: Kept, patches: FloatArray) -> FloatArray:
        """Radius (R, S) after one use; `patches` (R, 16) unit normals."""
        strokes = self.strokes * self.severity_gsd**kept.severity
        worn = self.law.after(radius_um, strokes[:, None])
        if self.patch_cv == 0:
            return worn
        size = np.sqrt(np.log1p(self.patch_cv**2))
        patch = np.minimum(
            np.arange(radius_um.shape[1]) * PATCHES // radius_um.shape[1], PATCHES - 1
        )
        scatter = np.exp(size * patches.T - size**2 / 2)[patch].T
        return np.asarray(radius_um + (worn - radius_um) * scatter, dtype=radius_um.dtype)


class _Tracks(NamedTuple):
    """What is recorded at each session, (R,) each."""

    mean_width_um: FloatArray
    deepest_width_um: FloatArray
    caliper_width_um: FloatArray
    length_um: FloatArray
    thickness_um: FloatArray
    ridge_um: FloatArray
    angle_error_deg: FloatArray
    angle_rms_deg: FloatArray
    sharp_fraction: FloatArray
    dull_radius_um: FloatArray
    passes: FloatArray
    minutes: FloatArray
    steel_mg: FloatArray
    used_up: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Lives:
    """R lives of one blade under one method.

    ``sessions`` (R,): sessions until a rule retired the blade, that one included. ``ended_by``
    (R,): index of the rule, -1 if none did within the sessions allowed. ``final`` and ``average``:
    name -> (R,), a track's value at the last session and its mean over the life. ``tracks``: name ->
    (H, sessions) of the first H lives, NaN after the end of each; cumulative losses in µm are
    against the blade as it was given.
    """

    blade: Blade
    method: Method
    rules: tuple[RetireRule, ...]
    sessions: NDArray[np.int_]
    ended_by: NDArray[np.int_]
    final: dict[str, FloatArray]
    average: dict[str, FloatArray]
    tracks: dict[str, FloatArray]

    def last(self, name: str) -> FloatArray:
        """Value (R,) of a track at each life's last session."""
        return self.final[name]

    def mean(self, name: str) -> FloatArray:
        """Mean (R,) of a track over each life."""
        return self.average[name]


class _Record:
    """Collects what sessions report, each life at its own turn."""

    def __init__(self, runs: int, histories: int) -> None:
        names = len(_Tracks._fields)
        self.sessions = np.zeros(runs, dtype=int)
        self.ended_by = np.full(runs, -1)
        self._total = np.zeros((names, runs))
        self._final = np.zeros((names, runs))
        self._histories = histories
        self._rows: list[tuple[NDArray[np.int_], NDArray[np.int_], FloatArray]] = []

    def add(self, runs: NDArray[np.int_], turns: NDArray[np.int_], tracks: _Tracks) -> None:
        """One session of some runs."""
        values = np.stack(tracks)
        self._total[:, runs] += values
        self._final[:, runs] = values
        self.sessions[runs] += 1
        if self._histories:
            mine = runs < self._histories
            self._rows.append((runs[mine], turns[mine], values[:, mine]))

    def lives(self, bench: _Bench, rules: tuple[RetireRule, ...]) -> Lives:
        """Everything recorded."""
        histories = np.full(
            (len(self._total), self._histories, self.sessions[: self._histories].max(initial=0)),
            np.nan,
        )
        for runs, turns, values in self._rows:
            histories[:, runs, turns] = values
        names = _Tracks._fields
        return Lives(
            blade=bench.blade,
            method=bench.method,
            rules=rules,
            sessions=self.sessions,
            ended_by=self.ended_by,
            final=dict(zip(names, self._final, strict=True)),
            average=dict(zip(names, self._total / self.sessions, strict=True)),
            tracks=dict(zip(names, histories, strict=True)),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bench:
    """Everything about a blade and a method that no run changes."""

    blade: Blade
    method: Method
    grounds: tuple[Ground, ...]
    aims: tuple[Aim, ...]
    sides: tuple[FloatArray, ...]
    reach_back: tuple[float, ...]
    width_mm: float
    worn_mm: float

    @classmethod
    def of(
        cls,
        blade: Blade,
        method: Method,
        stations: int,
        depths: int,
        precision: Precision = np.float64,
    ) -> _Bench:
        grounds = tuple(
            _in(precision, ground_of(blade, name, stations=stations, depths=depths))
            for name in blade.edges
        )
        sides, back = [], []
        for ground in grounds:
            x = ground.edge.roll_reference
            side = np.where(np.abs(ground.tangent @ x) > SIDE_COSINE, ground.share_mm, 0.0)
            sides.append(side / side.sum())
            # An edge that ends on the mid-line at a lean shortens the blade by more than it recedes.
            lean = float(-ground.inward[-1] @ x)
            back.append(1 / lean if lean > 0.01 else 0.0)
        return cls(
            blade=blade,
            method=method,
            grounds=grounds,
            aims=tuple(aim_at(ground, method) for ground in grounds),
            sides=tuple(sides),
            reach_back=tuple(back),
            width_mm=blade.width_mm,
            worn_mm=blade.worn_width_mm,
        )

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> Measures:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        sides = [side > 0 for side in self.sides]
        middle = len(self.grounds[0].arc_mm) // 2
        return Measures(
            mean_width_mm=self.worn_mm
            + sum_(over_stations(u, side) for u, side in zip(insets, self.sides, strict=True)),
            deepest_width_mm=self.worn_mm
            + sum_(u.T[side].max(axis=0) for u, side in zip(insets, sides, strict=True)),
            caliper_width_mm=self.worn_mm + sum_(u[:, middle] for u in insets),
            length_mm=self.shortened(insets),
            thickness_mm=np.max([_plain_mean(state.drop_mm) for state in states], axis=0),
            new_width_mm=self.width_mm + self.worn_mm,
            new_length_mm=self.blade.length_mm,
            new_thickness_mm=self.blade.thickness_mm,
        )

    def shortened(self, insets: Sequence[FloatArray]) -> FloatArray:
        """Length lost (R,) [mm].

        Two edges that meet in a point move it back by the mean of u / sin(lean); on a round toe
        both recede along the blade, and the deeper counts.
        """
        back = [u[:, -1] * k for u, k in zip(insets, self.reach_back, strict=True)]
        pointed = max(self.reach_back) > POINTED
        return np.asarray(np.mean(back, axis=0) if pointed else np.max(back, axis=0))

    def track(
        self, before: Sequence[FloatArray], done: SessionRuns, dull_um: FloatArray
    ) -> tuple[_Tracks, Measures]:
        """Record a session."""
        states = [result.state for result in done.edges]
        insets = [s.at(g) for s, g in zip(states, self.grounds, strict=True)]
        lost = self.measure(insets, states)
        parts = list(zip(insets, before, states, done.edges, self.grounds, self.sides, strict=True))
        error = [s.internal_angle_rad - g.angle_rad for _, _, s, _, g, _ in parts]
        weights = [g.share_mm / g.share_mm.sum() for g in self.grounds]
        mean_error = mean_(over_stations(e, w) for e, w in zip(error, weights, strict=True))
        rms = np.sqrt(mean_(over_stations(e**2, w) for e, w in zip(error, weights, strict=True)))
        tracks = _Tracks(
            mean_width_um=(lost.mean_width_mm - self.worn_mm) * UM_PER_MM,
            deepest_width_um=(lost.deepest_width_mm - self.worn_mm) * UM_PER_MM,
            caliper_width_um=(lost.caliper_width_mm - self.worn_mm) * UM_PER_MM,
            length_um=lost.length_mm * UM_PER_MM,
            thickness_um=lost.thickness_mm * UM_PER_MM,
            ridge_um=mean_(
                np.ptp((u - b).T[side > 0], axis=0) * UM_PER_MM for u, b, _, _, _, side in parts
            ),
            angle_error_deg=np.degrees(mean_error),
            angle_rms_deg=np.degrees(rms),
            sharp_fraction=mean_(
                over_stations(r.sharp, w)
                for (_, _, _, r, _, _), w in zip(parts, weights, strict=True)
            ),
            dull_radius_um=dull_um,
            passes=done.passes,
            minutes=done.seconds / 60,
            steel_mg=done.steel_mg,
            used_up=np.zeros(len(dull_um)),
        )
        return tracks, lost


def _plain_mean(values: FloatArray) -> FloatArray:
    """Mean (R,) over stations of `values` (R, S)."""
    stations = values.shape[1]
    return over_stations(values, np.full(stations, 1 / stations, dtype=values.dtype))


def sum_(parts: object) -> FloatArray:
    """Sum of arrays from an iterable."""
    return np.asarray(np.sum(list(parts), axis=0))  # type: ignore[call-overload]


def mean_(parts: object) -> FloatArray:
    """Mean of arrays from an iterable."""
    return np.asarray(np.mean(list(parts), axis=0))  # type: ignore[call-overload]


Precision = type[np.float64] | type[np.float32]


def _in(precision: Precision, ground: Ground) -> Ground:
    """The same edge with its arrays in another precision."""
    arrays = ("share_mm", "position", "tangent", "inward", "face", "angle_rad",
              "plan_curvature", "half_width_mm", "depth_mm", "inset_mm")  # fmt: skip
    cast = {name: np.asarray(getattr(ground, name), precision) for name in arrays}
    return replace(ground, **cast)  # type: ignore[arg-type]


class _InHand:
    """Lives that are lived side by side; as one ends, the next of those waiting takes its place."""

    def __init__(self, bench: _Bench, use: Use, keys: RunKeys, places: int) -> None:
        self._bench, self._use = bench, use
        self.deck = Deck(
            keys, edges=len(bench.grounds), seatings=bench.method.planes, places=places
        )
        self._waiting = iter(range(len(keys)))
        self.place = np.arange(places)
        self.run = np.zeros(places, dtype=int)
        self.turn = np.zeros(places, dtype=int)
        self.kept = Kept(np.zeros((4, places)).T, *np.zeros((4, places)))
        self.fresh_um = np.zeros(places)
        self.states = [new_state(ground, places) for ground in bench.grounds]
        self.take(np.ones(places, dtype=bool))

    def take(self, free: NDArray[np.bool_]) -> None:
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
            for state, ground in zip(self.states, self._bench.grounds, strict=True):
                _renew(state, ground, columns, self.fresh_um[columns])
        gaps = free.copy()
        gaps[columns] = False
        if gaps.any():
            self._keep(np.flatnonzero(~gaps))

    def _keep(self, rows: NDArray[np.int_]) -> None:
        self.place, self.run, self.turn = self.place[rows], self.run[rows], self.turn[rows]
        self.fresh_um = self.fresh_um[rows]
        self.kept = Kept(*(part.T[..., rows].T for part in self.kept))
        self.states = [_some(state, rows) for state in self.states]


def _some(state: EdgeState, rows: NDArray[np.int_]) -> EdgeState:
    """The state of some runs."""
    return EdgeState(
        inset_mm=np.swapaxes(np.take(np.swapaxes(state.inset_mm, 1, 2), rows, axis=2), 1, 2),
        radius_um=np.take(state.radius_um.T, rows, axis=1).T,
        angle_rad=np.take(state.angle_rad.T, rows, axis=1).T,
        drop_mm=np.take(state.drop_mm.T, rows, axis=1).T,
        lean_rad=np.take(state.lean_rad.T, rows, axis=1).T,
    )


def _renew(state: EdgeState, ground: Ground, rows: NDArray[np.int_], radius_um: FloatArray) -> None:
    """Put new blades of a given edge radius (rows,) in place of some runs'."""
    state.inset_mm[:, rows] = ground.inset_mm[:, None, :]
    state.radius_um[rows] = radius_um[:, None]
    state.angle_rad[rows] = ground.angle_rad
    state.drop_mm[rows] = 0.0
    state.lean_rad[rows] = 0.0


def rules_of(retire: RetireRule | Sequence[RetireRule]) -> tuple[RetireRule, ...]:
    """One rule or several as a tuple."""
    rules = (retire,) if isinstance(retire, RetireRule) else retire
    remedy = "Give one, such as WidthFraction(), or several in a tuple."
    instance("retire", rules, (list, tuple), remedy)
    if not rules:
        raise EdgekitError("retire needs a rule", retire, remedy)
    for rule in rules:
        instance("retire", rule, RetireRule, remedy)
    return tuple(rules)


def live_runs(
    blade: Blade,
    method: Method,
    *,
    use: Use,
    rules: tuple[RetireRule, ...],
    rngs: Sequence[np.random.Generator] | RunKeys,
    most_sessions: int = int(value("most_sessions")),
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
    histories: int | None = None,
    precision: Precision = np.float64,
) -> Lives:
    """Many lives: the one kernel behind `live`, `compare` and `sweep`.

    Parameters
    ----------
    blade, method : Blade, Method
    use : Use
    rules : tuple of RetireRule
        The first that is used up ends the life.
    rngs : sequence of numpy.random.Generator, or RunKeys
        One a run; run i depends on nothing but its own, to the last bit.
    most_sessions, stations, depths : int
        Where a life is cut off, and the nodes of the field.
    histories : int, optional
        Of how many lives every session is kept; all by default.
    precision : numpy.float64 or numpy.float32
        Of the fields. Single precision is quicker and changes a life's mean loss a session by some
        1e-3 µm, except where a life ends a session earlier or later.

    Examples
    --------
    >>> import edgekit as ek
    >>> from edgekit.wear.draws import SeededKeys
    >>> lives = live_runs(
    ...     ek.patterns.hoe(), ek.methods.freehand(), use=Use(), rules=DEFAULT_RULES,
    ...     rngs=SeededKeys(1, runs=300))
    >>> lives.sessions.shape, bool((lives.ended_by >= 0).all())
    ((300,), True)
    """
    keys = GivenKeys(rngs) if isinstance(rngs, Sequence) else rngs
    check_parts(blade, method, rngs[0] if isinstance(rngs, Sequence) else np.random.default_rng(0))
    instance("use", use, Use, "Give a Use; Use() has the defaults.")
    most = count("most_sessions", most_sessions)
    runs = len(keys)
    _hold_memory()
    bench = _Bench.of(blade, method, stations, depths, precision)
    places = min(MAX_RUNS_AT_ONCE, max(1, LARGEST_BLOCK // (stations * method.planes)), runs)
    record = _Record(runs, runs if histories is None else min(histories, runs))
    hand = _InHand(bench, use, keys, places)
    while len(hand.run):
        draws = hand.deck.session(hand.place, hand.turn)
        tracks, lost, hand.states = _cycle(
            bench, hand.states, use, hand.kept, draws, hand.turn, hand.fresh_um
        )
        used = np.stack([rule.used_up(lost) for rule in rules])
        worst = used.max(axis=0)
        record.add(hand.run, hand.turn, tracks._replace(used_up=worst))
        over = worst >= 1
        record.ended_by[hand.run[over]] = np.argmax(used[:, over], axis=0)
        hand.turn += 1
        over |= hand.turn >= most
        if over.any():
            hand.take(over)
    return record.lives(bench, rules)


def _hold_memory() -> None:
    """Let freed arrays stay with the process.

    The usual allocator gives blocks of some hundred kilobytes back to the system at once, and fetching
    them again takes longer than the kernel needs to fill them. Freeing one block of almost 32 MB
    raises the size up to which it keeps them; other allocators take no notice.
    """
    np.empty(31 * 2**20, dtype=np.uint8)


def _cycle(
    bench: _Bench,
    states: list[EdgeState],
    use: Use,
    kept: Kept,
    draws: SessionDraws,
    turn: NDArray[np.int_],
    fresh_um: FloatArray,
) -> tuple[_Tracks, Measures, list[EdgeState]]:
    """Use, then a session."""
    before = []
    for e, (state, ground) in enumerate(zip(states, bench.grounds, strict=True)):
        before.append(state.at(ground))
        state.radius_um = use.dull(state.radius_um, kept, draws.patches[:, e])
        if use.attrition_um:
            state.inset_mm = state.inset_mm + use.attrition_um / UM_PER_MM
    dull = mean_(_plain_mean(state.radius_um) for state in states)
    done = sharpen_runs(
        bench.grounds,
        states,
        bench.aims,
        bench.method,
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
    against the new blade. ``status``: which rule ended it.
    """

    blade: Blade
    method: Method
    rules: tuple[RetireRule, ...]
    sessions: int
    history: pd.DataFrame
    status: str

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
    method: Method,
    *,
    use: Use | None = None,
    retire: RetireRule | Sequence[RetireRule] = DEFAULT_RULES,
    rng: np.random.Generator,
    most_sessions: int = int(value("most_sessions")),
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
) -> Life:
    """Use and sharpen one instrument until a rule retires it.

    Parameters
    ----------
    blade, method : Blade, Method
    use : Use, optional
        What happens between sessions.
    retire : RetireRule or sequence of them
        The first that is used up ends the life.
    rng : numpy.random.Generator
    most_sessions, stations, depths : int
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
        most_sessions=most_sessions,
        stations=stations,
        depths=depths,
    )
    history = pd.DataFrame({name: track[0] for name, track in lives.tracks.items()})
    history.insert(0, "session", np.arange(1, len(history) + 1))
    history.insert(1, "width_mm", blade.width_mm - history["mean_width_um"] / UM_PER_MM)
    ended = int(lives.ended_by[0])
    status = (
        f"retired: {rules[ended]}"
        if ended >= 0
        else f"still in use after {most_sessions} sessions; allow more with most_sessions"
    )
    return Life(
        blade=blade,
        method=method,
        rules=rules,
        sessions=int(lives.sessions[0]),
        history=history,
        status=status,
    )
