"""Sessions of rolling strokes on one side of a blade: from method and draws to the worn edge."""

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.session import roll_compiled, serves
from edgekit.grinding.edge_state import EdgeState, GroundEdge
from edgekit.grinding.modes import modes
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import (
    Collected,
    Flank,
    Grinding,
    Hands,
    RolledSession,
    roll_session,
    session,
)
from edgekit.method.method import Method
from edgekit.units import UM_PER_MM


def roll_side(
    rolled: RolledEdge,
    state: EdgeState,
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    fresh_um: FloatArray,
) -> GroundEdge:
    """Rolling strokes on edge number `edge` until the method's stop rule is met."""
    start = _start(state)
    lowered = rolled.lowered(state.drop_mm.T.astype(np.float64, copy=False))
    roll = roll_compiled if serves(lowered, method) else roll_session
    done = roll(
        lowered,
        start,
        hands_of(rolled, method, effects, draws),
        method.stop,
        method.rolling(),
        draws.strokes[edge],
        fresh_um.astype(np.float64) / UM_PER_MM,
    )
    return _ground(rolled, rolled.inset(start.field), state.drop_mm, state.lean_rad, done)


def _start(state: EdgeState) -> Flank:
    """An edge as a session meets it."""
    return Flank(
        field=np.swapaxes(state.inset_mm, 1, 2).astype(np.float64, copy=False),
        angle=state.internal_angle_rad.T.astype(np.float64, copy=False),
        lean=state.lean_rad.T.astype(np.float64, copy=False),
        radius=state.radius_um.T.astype(np.float64, copy=False) / UM_PER_MM,
    )


class RolledSide:
    """Edge number `edge` of many blades under rolling strokes with arrays: each blade begins and
    ends its sessions when it is time for it, between two looks of the others.

    Blades are known by `runs` (R,), numbers below `most`. The face is not lowered, the stop rule is
    one of the package's.
    """

    def __init__(self, rolled: RolledEdge, method: Method, edge: int, most: int) -> None:
        self._rolled, self._method, self._edge = rolled, method, edge
        self._most = most
        self._done = Collected()
        self._now: Grinding | None = None

    @property
    def at_work(self) -> NDArray[np.int_]:
        """The runs whose session has not ended."""
        return np.arange(0) if self._now is None else self._now.runs

    def begin(
        self,
        runs: NDArray[np.int_],
        state: EdgeState,
        effects: RunEffects,
        draws: SessionDraws,
        fresh_um: FloatArray,
    ) -> None:
        """Begin sessions of some runs."""
        method, numbers = self._method, draws.strokes[self._edge]
        hands = hands_of(self._rolled, method, effects, draws)
        fresh = fresh_um.astype(np.float64) / UM_PER_MM
        way = method.rolling()
        new = Grinding(self._rolled, _start(state), hands, method.stop, way, fresh, runs)
        new.end(self._done)
        if self._now is None:
            self._now, self._numbers = new, numbers.room(self._most)
        else:
            self._now.join(new)
        self._numbers.begin(runs, numbers)

    def advance(self) -> None:
        """Strokes of all that are at work up to the next look."""
        if self._now is not None:
            self._now.advance(self._numbers, self._done)

    def finish(self, runs: NDArray[np.int_]) -> GroundEdge:
        """Sessions of some `runs` that have ended, in rising order."""
        ended = self._done.take(runs)
        _, _, lean, first, *_ = ended.along
        lean = lean.astype(self._rolled.grid.inset_mm.dtype).T
        done = session(self._rolled, ended)
        return _ground(self._rolled, first, np.zeros_like(lean), lean, done)


def hands_of(rolled: RolledEdge, method: Method, effects: RunEffects, draws: SessionDraws) -> Hands:
    """How the hands err in this session."""
    common, scatter = [], []
    for i, term in enumerate(method.hand.terms[:3]):
        common.append(term.common(effects.hand[:, i], draws.setup[:, i]))
        scatter.append(term.scatter(effects.skill))
    (tilt, swing, shift), (tilt_sd, swing_sd, shift_sd) = common, scatter
    within = np.radians(method.rolling().within_tilt_sd_deg) * scatter_factor(method, effects)
    return Hands(
        tilt_rad=np.radians(tilt),
        swing_rad=np.radians(swing),
        shift_mm=shift,
        tilt_sd_rad=np.radians(tilt_sd),
        swing_sd_rad=np.radians(swing_sd),
        shift_sd_mm=shift_sd,
        within_sd_rad=within,
        modes=modes(1.0, correlation_of(method), len(rolled.grid.arc_mm)),
        volume_mm3=method.removal_mm3_per_stroke * method.removal_gsd**effects.removal,
    )


def correlation_of(method: Method) -> float:
    """Over what share of an edge the tilt within a stroke is correlated."""
    return float(method.rolling().correlation_s / method.seconds_per_stroke)


def scatter_factor(method: Method, effects: RunEffects) -> FloatArray:
    """By how much (R,) the hands are less steady than the median hand."""
    return np.asarray(method.hand.tilt_deg.sd_gsd**effects.skill)


def _ground(
    rolled: RolledEdge,
    first: FloatArray,
    drop_mm: FloatArray,
    lean_rad: FloatArray,
    done: RolledSession,
) -> GroundEdge:
    """The result in the arrays of the kernel: runs first, stations last, and its precision; the
    edge lay at an inset `first` (S, R), and its face as it still does."""
    kind = drop_mm.dtype
    flank = done.flank
    after = EdgeState(
        inset_mm=np.swapaxes(flank.field.astype(kind, copy=False), 1, 2),
        radius_um=(flank.radius * UM_PER_MM).astype(kind, copy=False).T,
        land_um=(done.land * UM_PER_MM).astype(kind, copy=False).T,
        angle_rad=(flank.angle + flank.lean).astype(kind, copy=False).T,
        drop_mm=drop_mm,
        lean_rad=lean_rad,
        cleared_mm3=done.cleared,
    )
    moved = rolled.inset(flank.field) > first
    return GroundEdge(
        state=after,
        sharp=(done.margin <= 0).T,
        active=np.where(moved, 0, -1).T,
        sharp_fraction=1 - done.dull_share,
        volume=done.removed,
        strokes=done.strokes.astype(float),
        advance=np.zeros(len(done.strokes)),
        reached=done.met,
        dullness=done.dullness,
        overshoot=done.overshoot,
    )
