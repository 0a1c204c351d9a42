"""The life of an instrument: use dulls it, sessions sharpen it, until a rule retires it.

The module is long because one loop serves a single life and many, with all that is recorded of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, at_least, count, instance, keep_numbers
from edgekit.errors import EdgekitError
from edgekit.evidence_table import entry, value
from edgekit.geometry.blade import Blade
from edgekit.wear.alternation import Alternation
from edgekit.wear.bending import SECTIONS, Gauge, Wear, end_inset_mm, gauge_of, shortened_mm
from edgekit.wear.draws import PATCHES, Kept, SessionDraws, draw_kept, draw_session
from edgekit.wear.dulling import DullingLaw, PowerDulling
from edgekit.wear.ground import Ground, ground_of, over_stations
from edgekit.wear.method import Method
from edgekit.wear.retire import DEFAULT_RULES, Measures, RetireRule, StrengthRatio
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
LIFE_STATIONS = 64
LIFE_DEPTHS = 8
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
        scatter = np.exp(size * patches[:, patch] - size**2 / 2)
        return np.asarray(radius_um + (worn - radius_um) * scatter)


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
    (R,): index of the rule, -1 if none did within the sessions allowed. ``tracks``: name ->
    (R, sessions) array, NaN after the end of each life; cumulative losses in µm are against the
    blade as it was given. ``grounds, wears``: each edge's geometry, and its
    field after each session where that was kept.
    """

    blade: Blade
    method: Method | Alternation
    rules: tuple[RetireRule, ...]
    sessions: NDArray[np.int_]
    ended_by: NDArray[np.int_]
    tracks: dict[str, FloatArray]
    grounds: tuple[Ground, ...] = ()
    wears: tuple[tuple[Wear, ...], ...] = ()

    def last(self, name: str) -> FloatArray:
        """Value (R,) of a track at each life's last session."""
        return self.tracks[name][np.arange(len(self.sessions)), self.sessions - 1]

    def mean(self, name: str) -> FloatArray:
        """Mean (R,) of a track over each life."""
        return np.asarray(np.nanmean(self.tracks[name], axis=1))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bench:
    """Everything about a blade and a method that no run changes."""

    blade: Blade
    method: Method | Alternation
    grounds: tuple[Ground, ...]
    aims: tuple[tuple[Aim, ...], ...]  # one a method, in turn
    sides: tuple[FloatArray, ...]
    width_mm: float
    worn_mm: float
    gauge: Gauge | None

    @classmethod
    def of(
        cls,
        blade: Blade,
        method: Method | Alternation,
        stations: int,
        depths: int,
        *,
        strength: bool = False,
    ) -> _Bench:
        grounds = tuple(
            ground_of(blade, name, stations=stations, depths=depths) for name in blade.edges
        )
        sides = []
        for ground in grounds:
            x = ground.edge.roll_reference
            side = np.where(np.abs(ground.tangent @ x) > SIDE_COSINE, ground.share_mm, 0.0)
            sides.append(side / side.sum())
        return cls(
            blade=blade,
            method=method,
            grounds=grounds,
            aims=tuple(
                tuple(aim_at(ground, one) for ground in grounds)
                for one in (method.methods if isinstance(method, Alternation) else (method,))
            ),
            sides=tuple(sides),
            width_mm=blade.width_mm,
            worn_mm=blade.worn_width_mm,
            gauge=gauge_of(blade, grounds, sections=SECTIONS) if strength else None,
        )

    def wear(self, states: Sequence[EdgeState]) -> tuple[Wear, ...]:
        """What has gone from each edge."""
        return tuple(
            Wear(state.inset_mm - ground.inset_mm[:, None, :], state.drop_mm)
            for state, ground in zip(states, self.grounds, strict=True)
        )

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> Measures:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        sides = [side > 0 for side in self.sides]
        middle = len(self.grounds[0].arc_mm) // 2
        length = shortened_mm(
            self.grounds,
            [
                end_inset_mm(ground, state.inset_mm, u, state.drop_mm)
                for ground, u, state in zip(self.grounds, insets, states, strict=True)
            ],
        )
        gauge = self.gauge
        across = list(zip(insets, self.sides, sides, strict=True))
        if self.blade.unused is not None:  # it is never ground, but moves in as the face goes down
            fallen = states[0].drop_mm / np.tan(self.grounds[0].angle_rad)
            across.append((fallen, self.sides[0], sides[0]))
        return Measures(
            mean_width_mm=self.worn_mm + sum_(over_stations(u, share) for u, share, _ in across),
            deepest_width_mm=self.worn_mm + sum_(u[:, side].max(axis=1) for u, _, side in across),
            caliper_width_mm=self.worn_mm + sum_(u[:, middle] for u, _, _ in across),
            length_mm=length,
            thickness_mm=np.max([state.drop_mm.mean(axis=1) for state in states], axis=0),
            new_width_mm=self.width_mm + self.worn_mm,
            new_length_mm=self.blade.length_mm,
            new_thickness_mm=self.blade.thickness_mm,
            strength_left=None if gauge is None else gauge.strength_left(self.wear(states), length),
        )

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
                np.ptp((u - b)[:, side > 0], axis=1) * UM_PER_MM for u, b, _, _, _, side in parts
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


def sum_(parts: object) -> FloatArray:
    """Sum of arrays from an iterable."""
    return np.asarray(np.sum(list(parts), axis=0))  # type: ignore[call-overload]


def mean_(parts: object) -> FloatArray:
    """Mean of arrays from an iterable."""
    return np.asarray(np.mean(list(parts), axis=0))  # type: ignore[call-overload]


def _some(state: EdgeState, rows: NDArray[np.int_]) -> EdgeState:
    """The state of some runs."""
    return EdgeState(
        inset_mm=state.inset_mm[:, rows],
        radius_um=state.radius_um[rows],
        angle_rad=state.angle_rad[rows],
        drop_mm=state.drop_mm[rows],
        lean_rad=state.lean_rad[rows],
    )


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
    method: Method | Alternation,
    *,
    use: Use,
    rules: tuple[RetireRule, ...],
    rngs: Sequence[np.random.Generator],
    seatings: int | None = None,
    most_sessions: int = int(value("most_sessions")),
    stations: int = LIFE_STATIONS,
    depths: int = LIFE_DEPTHS,
    keep: bool = False,
) -> Lives:
    """Many lives at once, one generator each.

    Parameters
    ----------
    blade : Blade
    method : Method or Alternation
    use : Use
    rules : tuple of RetireRule
        The first that is used up ends the life.
    rngs : sequence of numpy.random.Generator
        One a run; run i depends on nothing but its own.
    seatings : int, optional
        Seatings drawn for each edge, `method.planes` or more: the same number for every method that
        shall share random numbers.
    most_sessions, stations, depths : int
        Where a life is cut off, and the nodes of the field.
    keep : bool
        Keep the fields of every session in ``wears``; only while all runs live alike, so for one run.
    """
    check_parts(blade, method.at(0) if isinstance(method, Alternation) else method, rngs[0])
    instance("use", use, Use, "Give a Use; Use() has the defaults.")
    block = max(seatings or 0, method.planes)
    strength = any(isinstance(rule, StrengthRatio) for rule in rules)
    bench = _Bench.of(blade, method, stations, depths, strength=strength)
    runs = len(rngs)
    alive = np.arange(runs)
    kept = draw_kept(rngs)
    fresh = use.fresh_um(kept)
    states = [new_state(ground, runs) for ground in bench.grounds]
    for state in states:
        state.radius_um = np.repeat(fresh[:, None], state.radius_um.shape[1], axis=1)
    sessions = np.zeros(runs, dtype=int)
    ended_by = np.full(runs, -1)
    columns: dict[str, list[FloatArray]] = {name: [] for name in _Tracks._fields}
    kept_wears: list[tuple[Wear, ...]] = []
    for turn in range(count("most_sessions", most_sessions)):
        draws = draw_session([rngs[i] for i in alive.tolist()], edges=len(states), seatings=block)
        now = Kept(*(part[alive] for part in kept))
        tracks, lost, states = _cycle(bench, states, use, now, draws, turn, fresh[alive])
        used = np.stack([rule.used_up(lost) for rule in rules])
        tracks = tracks._replace(used_up=used.max(axis=0))
        if keep:
            kept_wears.append(bench.wear(states))
        parts = tracks._asdict()
        if lost.strength_left is not None:
            parts["strength_left"] = lost.strength_left
        for name, part in parts.items():
            column = np.full(runs, np.nan)
            column[alive] = part
            columns.setdefault(name, []).append(column)
        sessions[alive] += 1
        over = used.max(axis=0) >= 1
        ended_by[alive[over]] = np.argmax(used[:, over], axis=0)
        going = np.flatnonzero(~over)
        alive = alive[going]
        if not len(alive):
            break
        if over.any():
            states = [_some(state, going) for state in states]
    return Lives(
        blade=blade,
        method=method,
        rules=rules,
        sessions=sessions,
        ended_by=ended_by,
        tracks={name: np.stack(column, axis=1) for name, column in columns.items()},
        grounds=bench.grounds,
        wears=tuple(kept_wears),
    )


def _cycle(
    bench: _Bench,
    states: list[EdgeState],
    use: Use,
    kept: Kept,
    draws: SessionDraws,
    turn: int,
    fresh_um: FloatArray,
) -> tuple[_Tracks, Measures, list[EdgeState]]:
    """Use, then a session."""
    method = bench.method.at(turn)
    before = []
    for e, (state, ground) in enumerate(zip(states, bench.grounds, strict=True)):
        before.append(state.at(ground))
        state.radius_um = use.dull(state.radius_um, kept, draws.patches[:, e])
        state.inset_mm = state.inset_mm + use.attrition_um / UM_PER_MM
    dull = mean_(state.radius_um.mean(axis=1) for state in states)
    done = sharpen_runs(
        bench.grounds,
        states,
        bench.aims[turn % len(bench.aims)],
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
    against the new blade. ``status``: which rule ended it. ``grounds, wears``: each
    edge's geometry, and its field after each session.
    """

    blade: Blade
    method: Method | Alternation
    rules: tuple[RetireRule, ...]
    sessions: int
    history: pd.DataFrame
    status: str
    grounds: tuple[Ground, ...] = ()
    wears: tuple[tuple[Wear, ...], ...] = ()

    @cached_property
    def strength_left(self) -> FloatArray:
        """Strength (N,) after each session over the new blade's; see `edgekit.wear.bending`."""
        gauge = gauge_of(self.blade, self.grounds, sections=SECTIONS)
        lost = self.history["length_um"].to_numpy() / UM_PER_MM
        return gauge.strength_left(joined(self.wears), lost)

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
    most_sessions: int = int(value("most_sessions")),
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
        keep=True,
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
        grounds=lives.grounds,
        wears=lives.wears,
    )


def joined(wears: Sequence[Sequence[Wear]]) -> tuple[Wear, ...]:
    """Fields of several states, one state after the other, as one for each edge."""
    return tuple(
        Wear(
            np.concatenate([wear.removed_mm for wear in edge], axis=1),
            np.concatenate([wear.drop_mm for wear in edge], axis=0),
        )
        for edge in zip(*wears, strict=True)
    )
