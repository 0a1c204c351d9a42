"""Local strokes: planes laid at placements and advanced until the edge is clear, many runs at once.

Every seating of the stone is a plane: the guide's normal at the placement, turned by the hand's
errors. All are advanced equally past first touch (each within its error of depth), and the advance
at which the stated share of the edge is clear has a closed form: a station is clear once some plane
meets the face beyond the point where the rounded apex leaves it, r cot(β/2) inward (theory T12).
"""

from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.contact.apex import clear_inset
from edgekit.contact.facets import Spacing, placement_density
from edgekit.evidence_table import value
from edgekit.geometry.edge import Edge
from edgekit.grinding.compiled.planes.session import (
    grind_compiled,
    hand_of,
    plan_of,
    serves,
    stop_of,
)
from edgekit.grinding.edge_state import (
    EdgeState,
    GroundEdge,
    by_planes,
    is_dull,
    parallel_cut,
    whole_land_um,
)
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.recession_field import (
    EdgeGrid,
    Seating,
    cleared,
    cut,
    rounding_mm,
    seat,
)
from edgekit.method.method import Method
from edgekit.method.strokes import Advance
from edgekit.units import UM_PER_MM

MIN_WEIGHT = value("least_advance_share")
EVEN_SHARES = 8192  # interpolating between them is off by less than 0.1 µm


@lru_cache(maxsize=32)
def even_places(edge: Edge, spacing: Spacing) -> FloatArray:
    """Arc length (M,) [mm] that even shares of a spacing have reached."""
    arc, share = placement_density(edge, spacing)
    return np.interp(np.linspace(0.0, 1.0, EVEN_SHARES + 1), share, arc)


def _read(table: FloatArray, at: FloatArray) -> FloatArray:
    """A table (..., M) read at places between its columns, counted from 0: (..., *at.shape)."""
    i = np.minimum(at.astype(np.intp), table.shape[-1] - 2)
    low = table.take(i, axis=-1)
    return np.asarray(low + (at - i) * (table.take(i + 1, axis=-1) - low))


def _planes(
    grid: EdgeGrid,
    normals: FloatArray,
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int | NDArray[np.int_],
) -> tuple[FloatArray, FloatArray]:
    """Unit normals (R, P, 3) of the seatings, and each one's share (R, P) of the advance."""
    stroke, _ = method.local()
    # All arrays lie component by component and plane by plane, (3, P, R), as the kernel reads it.
    z = draws.seatings[:, edge, : stroke.planes].transpose(2, 1, 0).copy()
    tilt, swing, shift, depth = (
        term.of(effects.hand[:, i], draws.setup[:, i], effects.skill, z[i].T).T
        for i, term in enumerate(method.hand.terms)
    )
    phase = stroke.phase.phase(turn, draws.phase[:, edge])
    number = np.repeat(np.arange(stroke.placements), stroke.strokes_per_placement)[:, None]
    place = _read(
        even_places(grid.edge, stroke.spacing), (number + phase) * (EVEN_SHARES / stroke.placements)
    )
    place = np.clip(place + shift, 0.0, grid.arc_mm[-1])
    at = place / grid.arc_mm[1]
    both = _read(np.concatenate([normals.T, grid.tangent.T]), at)
    normal, along_edge = both[:3], both[3:]
    opening = -grid.edge.side * _cross(along_edge, normal)
    turned = normal + np.tan(np.radians(tilt)) * opening + np.tan(np.radians(swing)) * along_edge
    turned /= np.sqrt((turned**2).sum(axis=0))
    kind = grid.inset_mm.dtype
    return turned.T.astype(kind), np.maximum(1 + depth, MIN_WEIGHT).T.astype(kind)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of (3, ...) arrays."""
    return np.stack(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


def _share_quantile(need: FloatArray, share: FloatArray, target: float) -> FloatArray:
    """The least value (R,) that covers `target` of the total `share` (R, N) of `need` (R, N)."""
    order = np.argsort(need, axis=1)[:, ::-1]
    weights = np.take_along_axis(share, order, axis=1)
    above = np.cumsum(weights, axis=1)
    spare = (1 - target + 1e-12) * above[:, -1:]
    last = (above - weights <= spare).sum(axis=1) - 1
    runs = np.arange(len(need))
    return np.asarray(need[runs, order[runs, last]])


def lay_planes(
    grid: EdgeGrid,
    state: EdgeState,
    normals: FloatArray,
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int | NDArray[np.int_],
    fresh_um: FloatArray,
) -> GroundEdge:
    """One session of local strokes on edge number `edge`; `normals` (S, 3) are what the guide aims
    at.
    """
    if serves():
        plan = plan_of(grid, method, normals, even_places(grid.edge, method.local()[0].spacing))
        hand = hand_of(method, effects, draws, edge, turn, fresh_um)
        return grind_compiled(grid, state, plan, stop_of(grid, method), hand)
    planes, weight = _planes(grid, normals, method, effects, draws, edge, turn)
    return _grind(grid, state, method, planes, weight, fresh_um)


def _grind(
    grid: EdgeGrid,
    state: EdgeState,
    method: Method,
    normals: FloatArray,
    weight: FloatArray,
    fresh_um: FloatArray,
) -> GroundEdge:
    """Grind one edge's lateral surface until sharp; `fresh_um` (R,) is the radius left."""
    before = state.at(grid)
    dull = is_dull(state, fresh_um)
    goal = before + clear_inset(state.internal_angle_rad, state.radius_um) / UM_PER_MM
    shares = weight if method.local()[0].advance is Advance.UNIFORM else None
    seating = seat(grid, state.inset_mm, normals, drop=state.drop_mm, goal=goal, weight=shares)
    needs = _needs(grid, state, seating, goal, shares, dull)
    advance, reached = _advance(seating, needs, weight, method)
    inset, reach, active = cut(grid, state.inset_mm, seating, advance, state.drop_mm)
    # By a plane that goes past its touch: one that only touches cuts no more than rounding.
    is_ground = (reach > before) & (np.take_along_axis(advance, active, axis=1) > 0)
    sharp = ~dull | (np.maximum(before, reach) >= goal - rounding_mm(goal))
    fall = _fall(grid, seating.sight.normals, active)
    opening = np.arctan2(np.sqrt(np.maximum((1 - fall) * (1 + fall), 0.0)), -fall)
    after = replace(
        state,
        inset_mm=inset,
        radius_um=np.where(dull & sharp, fresh_um[:, None], state.radius_um),
        angle_rad=np.where(is_ground, opening, state.angle_rad),
        cleared_mm3=cleared(grid, inset),
    )
    after.land_um = whole_land_um(after.radius_um, after.internal_angle_rad)
    need = np.where(dull, goal - before, 0.0)
    return by_planes(
        after,
        sharp,
        grid,
        active=np.where(is_ground, active, -1),
        volume=after.cleared_mm3 - state.cleared_mm3,
        advance=advance.max(axis=1),
        reached=reached,
        dullness=parallel_cut(grid, state, need) - state.cleared_mm3,
    )


def _fall(grid: EdgeGrid, normals: FloatArray, active: NDArray[np.int_]) -> FloatArray:
    """n·f (R, S) of the active plane (R, S) at each station, for `normals` (P, 3, R)."""
    runs = len(active)
    first = active.T * (3 * runs) + np.arange(runs)
    flat = normals.ravel()
    parts = (flat.take(first + k * runs) * grid.face[:, k, None] for k in range(3))
    return np.asarray(sum(parts)).T


class _Needs(NamedTuple):
    """Advance by which some plane brings the edge to its goal: ``least`` (R, S) at the stations,
    ``peak`` (R, S - 1) between them, and the ``share`` (R, 2S - 1) of the edge that each stands
    for.

    Between stations that two planes serve, the edge stands highest where these two cross: by what
    a curved edge bulges there, less high than on a line from station to station.
    """

    least: FloatArray
    peak: FloatArray
    share: FloatArray


def _needs(
    grid: EdgeGrid,
    state: EdgeState,
    seating: Seating,
    goal: FloatArray,
    shares: FloatArray | None,
    dull: NDArray[np.bool_],
) -> _Needs:
    """What an edge asks for; stations that are not `dull` (R, S) need nothing."""
    least = seating.least if dull.all() else np.where(dull, seating.least, 0.0)
    here, there = least[:, :-1], least[:, 1:]
    first, second = seating.server[:, :-1], seating.server[:, 1:]

    def alone(plane: NDArray[np.int_], at: slice) -> tuple[FloatArray, FloatArray]:
        share = 1.0 if shares is None else np.take_along_axis(shares, plane, axis=1)
        lowered, curvature = state.drop_mm[:, at] / grid.depth_mm[-1, at], grid.plan_curvature[at]
        need, facing = seating.alone(plane, grid.seen[:, at], lowered, goal[:, at])
        return need / share, facing / share * curvature * (1 - curvature * goal[:, at])

    gaps = np.diff(grid.arc_mm) / 2
    with np.errstate(invalid="ignore"):  # infinite where a plane faces away
        (rise, bends), (fall, bends_there) = alone(second, slice(-1)), alone(first, slice(1, None))
        rise, fall, bend = rise - here, fall - there, (bends + bends_there) * gaps**2
        crossing = (first != second) & dull[:, :-1] & dull[:, 1:] & (rise + fall > 0)
        crossing &= np.isfinite(rise + fall)
        at = np.divide(rise, rise + fall, out=np.ones_like(rise), where=crossing)
        top = here + at * (there + fall - here) - bend * at * (1 - at)
        peak = np.where(crossing, top, 0.0)
    around = np.zeros_like(least)
    around[:, :-1] += at * gaps
    around[:, 1:] += np.where(crossing, 1 - at, 1.0) * gaps
    return _Needs(least, peak, np.concatenate([around, crossing * gaps], axis=1))


def _advance(
    seating: Seating, needs: _Needs, weight: FloatArray, method: Method
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R, P) of each plane, and whether the target is reached (R,).

    Where all planes advance alike, the stated share is a quantile, along the edge, of the least
    advance any plane would need by itself. Where each placement stops by itself, a plane advances
    to the largest need among the stretches that it is the first to serve with the least, plus its
    overshoot: an identical second stroke finds them sharp.
    """
    every = np.concatenate([needs.least, needs.peak], axis=1)
    common, reached = common_advance(every, needs.share, method)
    if method.local()[0].advance is Advance.UNIFORM:
        return common[:, None] * weight, reached
    runs, planes = weight.shape
    each = np.zeros((planes, runs), dtype=every.dtype)
    server = seating.server
    for need, place in (
        (needs.least, server),
        (needs.peak, server[:, :-1]),
        (needs.peak, server[:, 1:]),
    ):
        served = np.where(need <= common[:, None], need, 0.0)
        at = place.T * runs + np.arange(runs)
        np.maximum.at(each.ravel(), at.ravel(), served.T.ravel())
    return each.T * np.maximum(weight, 1.0), reached


def common_advance(
    need: FloatArray, share: FloatArray, method: Method
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R,) [mm] at which the stated share of `need` (R, N) is sharp, within the method's
    limit, and whether the limit allows it (R,)."""
    limit = method.max_advance_um / UM_PER_MM
    advance = _share_quantile(need, np.broadcast_to(share, need.shape), method.local()[1].fraction)
    return np.clip(advance, 0.0, limit), advance <= limit
