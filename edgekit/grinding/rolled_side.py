"""One session of rolling strokes on one side of a blade: from method and draws to the worn edge."""

import numpy as np

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.session import roll_compiled, serves
from edgekit.grinding.edge_state import EdgeState, GroundEdge
from edgekit.grinding.modes import modes
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import Flank, Hands, RolledSession, roll_session
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
    start = Flank(
        field=np.swapaxes(state.inset_mm, 1, 2).astype(np.float64, copy=False),
        angle=state.internal_angle_rad.T.astype(np.float64, copy=False),
        lean=state.lean_rad.T.astype(np.float64, copy=False),
        radius=state.radius_um.T.astype(np.float64, copy=False) / UM_PER_MM,
    )
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
    return _ground(rolled, state, start, done)


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


def _ground(rolled: RolledEdge, state: EdgeState, start: Flank, done: RolledSession) -> GroundEdge:
    """The result in the arrays of the kernel: runs first, stations last, and its precision."""
    kind = state.inset_mm.dtype
    flank = done.flank
    after = EdgeState(
        inset_mm=np.swapaxes(flank.field.astype(kind, copy=False), 1, 2),
        radius_um=(flank.radius * UM_PER_MM).astype(kind, copy=False).T,
        land_um=(done.land * UM_PER_MM).astype(kind, copy=False).T,
        angle_rad=(flank.angle + flank.lean).astype(kind, copy=False).T,
        drop_mm=state.drop_mm,
        lean_rad=state.lean_rad,
        cleared_mm3=done.cleared,
    )
    moved = rolled.inset(flank.field) > rolled.inset(start.field)
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
