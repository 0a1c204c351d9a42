"""Grinding of many runs at once: the kernel behind sessions, lives and studies.

Every seating of the stone is a plane: the guide's normal at the placement, turned by the hand's
errors. All are advanced equally past first touch (each within its error of depth), and the advance
at which the stated share of the edge is sharp has a closed form: a station is sharp once some plane
meets the face beyond the point where the rounded apex leaves it, r cot(β/2) inward.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.contact.facets import Spacing, spread
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.recession_field import (
    EdgeGrid,
    Seating,
    cleared,
    cut,
    inset_at,
    over_stations,
    rounding_mm,
    seat,
)
from edgekit.method.method import Method, Stop, Target
from edgekit.units import UM_PER_MM

__all__ = ["Aim", "EdgeState", "GroundEdge", "SessionRuns", "aim_at", "new_state", "sharpen_runs"]

MIN_WEIGHT = 0.1  # share of the usual advance below which a seating does not count as one
MIN_STEEL_MM3 = 1e-9  # a hundred-thousandth of the smallest stroke: rounding, not grinding
EVEN_SHARES = 8192  # interpolating between them is off by less than 0.1 µm
ROUNDING = 1e-9  # relative: a law that adds nothing may still differ by rounding


@dataclass(kw_only=True, eq=False)
class EdgeState:
    """An edge in its present state in R runs; a session replaces it. Runs are closest in memory.

    ``inset_mm`` (V, R, S) the field; ``radius_um`` (R, S) of the apex; ``angle_rad`` (R, S) between
    nominal face and flank at the edge; ``drop_mm`` (R, S) how far the face lies below the new one;
    ``lean_rad`` (R, S) slope of the face, inward and down, from the nominal face;
    ``cleared_mm3`` (R,) what `edgekit.grinding.recession_field.cleared` gives for the field.
    """

    inset_mm: FloatArray
    radius_um: FloatArray
    angle_rad: FloatArray
    drop_mm: FloatArray
    lean_rad: FloatArray
    cleared_mm3: FloatArray

    def at(self, grid: EdgeGrid) -> FloatArray:
        """Inset (R, S) [mm] of the edge."""
        return inset_at(grid, self.inset_mm, self.drop_mm)

    @property
    def internal_angle_rad(self) -> FloatArray:
        """Angle (R, S) between face and flank as ground."""
        return self.angle_rad - self.lean_rad


def new_state(grid: EdgeGrid, runs: int) -> EdgeState:
    """A new, perfectly sharp edge in every run."""
    kind = grid.inset_mm.dtype
    cells = (len(grid.arc_mm), runs)
    return EdgeState(
        inset_mm=np.swapaxes(np.repeat(grid.inset_mm[:, :, None], runs, axis=2), 1, 2),
        radius_um=np.zeros(cells, kind).T,
        angle_rad=np.repeat(grid.angle_rad[:, None], runs, axis=1).T,
        drop_mm=np.zeros(cells, kind).T,
        lean_rad=np.zeros(cells, kind).T,
        cleared_mm3=np.repeat(cleared(grid, grid.inset_mm[:, None]), runs),
    )


class Aim(NamedTuple):
    """Where a method puts its planes on one edge: normals at the stations (S, 3), and the arc
    length (M,) [mm] that even shares of its spacing have reached."""

    normals: FloatArray
    arc_mm: FloatArray


def aim_at(grid: EdgeGrid, method: Method) -> Aim:
    """Prepare a method for an edge; done once for a whole life."""
    normals = method.guide.normals(grid.edge, grid.arc_mm)
    return Aim(normals, _even_places(grid.edge, method.spacing))


@lru_cache(maxsize=32)
def _even_places(edge: Edge, spacing: Spacing) -> FloatArray:
    arc, share = spread(edge, spacing)
    return np.interp(np.linspace(0.0, 1.0, EVEN_SHARES + 1), share, arc)


def _read(table: FloatArray, at: FloatArray) -> FloatArray:
    """A table (..., M) read at places between its columns, counted from 0: (..., *at.shape)."""
    i = np.minimum(at.astype(np.intp), table.shape[-1] - 2)
    low = table.take(i, axis=-1)
    return np.asarray(low + (at - i) * (table.take(i + 1, axis=-1) - low))


def _planes(
    grid: EdgeGrid,
    aim: Aim,
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int | NDArray[np.int_],
) -> tuple[FloatArray, FloatArray]:
    """Unit normals (R, P, 3) of the seatings, and each one's share (R, P) of the advance."""
    # All arrays lie component by component and plane by plane, (3, P, R), as the kernel reads it.
    z = draws.seatings[:, edge, : method.planes].transpose(2, 1, 0).copy()
    tilt, swing, shift, depth = (
        term.of(effects.hand[:, i], draws.setup[:, i], effects.skill, z[i].T).T
        for i, term in enumerate(method.hand.terms)
    )
    phase = method.marks.phase(turn, draws.phase[:, edge])
    number = np.repeat(np.arange(method.placements), method.seatings)[:, None]
    place = _read(aim.arc_mm, (number + phase) * (EVEN_SHARES / method.placements))
    place = np.clip(place + shift, 0.0, grid.arc_mm[-1])
    at = place / (grid.arc_mm[1] - grid.arc_mm[0])
    both = _read(np.concatenate([aim.normals.T, grid.tangent.T]), at)
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
    """The least value (R,) that covers `target` of the total share of `need` (R, S)."""
    spare = (1 - target) * share.sum() + 1e-12 * share.sum()
    # This many stations of largest need are enough to pass the share that may stay dull.
    top = min(int(spare / share.min()) + 2, len(share))
    order = np.argsort(np.ascontiguousarray(need), axis=1)[:, : -top - 1 : -1]
    weights = share[order]
    above = np.cumsum(weights, axis=1) - weights
    last = (above <= spare).sum(axis=1) - 1
    runs = np.arange(len(need))
    return np.asarray(need[runs, order[runs, last]])


class GroundEdge(NamedTuple):
    """Result of grinding one edge: state, stations sharp (R, S), planes active (R, S; -1 none),
    volume (R,) [mm³], advance (R,) [mm], whether the target was reached (R,)."""

    state: EdgeState
    sharp: NDArray[np.bool_]
    active: NDArray[np.int_]
    volume: FloatArray
    advance: FloatArray
    reached: NDArray[np.bool_]


def _is_dull(state: EdgeState, fresh_um: FloatArray) -> NDArray[np.bool_]:
    """Where (R, S) an edge is blunter than grinding leaves it; elsewhere it needs no grinding."""
    return np.asarray(state.radius_um > fresh_um[:, None] * (1 + ROUNDING))


def _grind_side(
    grid: EdgeGrid,
    state: EdgeState,
    method: Method,
    normals: FloatArray,
    weight: FloatArray,
    fresh_um: FloatArray,
) -> GroundEdge:
    """Grind one edge's lateral surface until sharp; `fresh_um` (R,) is the radius left."""
    before = state.at(grid)
    dull = _is_dull(state, fresh_um)
    goal = before + state.radius_um / np.tan(state.internal_angle_rad / 2) / UM_PER_MM
    shares = weight if method.stop is Stop.ALL else None
    seating = seat(grid, state.inset_mm, normals, drop=state.drop_mm, goal=goal, weight=shares)
    advance, reached = _advance(seating, dull, weight, grid.station_weights_mm, method)
    inset, reach, active = cut(grid, state.inset_mm, seating, advance, state.drop_mm)
    is_ground = reach > before
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
    steel = after.cleared_mm3 - state.cleared_mm3
    active = np.where(is_ground, active, -1)
    return GroundEdge(after, sharp, active, steel, advance.max(axis=1), reached)


def _fall(grid: EdgeGrid, normals: FloatArray, active: NDArray[np.int_]) -> FloatArray:
    """n·f (R, S) of the active plane (R, S) at each station, for `normals` (P, 3, R)."""
    runs = len(active)
    first = active.T * (3 * runs) + np.arange(runs)
    flat = normals.ravel()
    parts = (flat.take(first + k * runs) * grid.face[:, k, None] for k in range(3))
    return np.asarray(sum(parts)).T


def _advance(
    seating: Seating,
    dull: NDArray[np.bool_],
    weight: FloatArray,
    share: FloatArray,
    method: Method,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R, P) of each plane, and whether the target is reached (R,).

    Where all planes advance alike, the stated share is a quantile, along the edge, of the least
    advance any plane would need by itself. Where each placement stops by itself, a plane advances
    to the largest need among the stretches that it is the first to serve with the least, plus its
    overshoot: an identical second stroke finds them sharp. Stations that are not `dull` (R, S) need
    no advance.
    """
    least = seating.least if dull.all() else np.where(dull, seating.least, 0.0)
    common, reached = _common_advance(least, share, method)
    if method.stop is Stop.ALL:
        return common[:, None] * weight, reached
    served = np.where(least <= common[:, None], least, 0.0)
    runs, planes = weight.shape
    each = np.zeros((planes, runs), dtype=least.dtype)
    place = seating.server.T * runs + np.arange(runs)
    np.maximum.at(each.ravel(), place.ravel(), served.T.ravel())
    return each.T * np.maximum(weight, 1.0), reached


def _common_advance(
    need: FloatArray, share: FloatArray, method: Method
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R,) [mm] at which the stated share is sharp, within the method's limit, and whether
    the limit allows it (R,)."""
    limit = method.max_advance_um / UM_PER_MM
    advance = _share_quantile(need, share, method.sharp_target)
    return np.clip(advance, 0.0, limit), advance <= limit


def _grind_face(
    grids: Sequence[EdgeGrid],
    states: Sequence[EdgeState],
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    fresh_um: FloatArray,
) -> list[GroundEdge]:
    """Grind the face, one plane for all edges, until they are sharp.

    The stone first touches where its tilt puts it lowest.
    """
    z = draws.seatings[:, 0, :1]
    slopes = [
        np.tan(
            np.radians(term.of(effects.hand[:, i], draws.setup[:, i], effects.skill, z[:, :, i]))
        )
        for i, term in enumerate(method.hand.terms[:2])
    ]
    rises = [_rise(slopes, grid, grid.position) for grid in grids]
    highest = np.max([rise.max(axis=1) for rise in rises], axis=0)[:, None]
    rises = [rise - highest for rise in rises]
    needs = [_face_need(*pair, fresh_um) for pair in zip(states, rises, strict=True)]
    share = np.concatenate([grid.station_weights_mm for grid in grids])
    advance, reached = _common_advance(np.concatenate(needs, axis=1), share, method)
    results = []
    for grid, state, rise, need in zip(grids, states, rises, needs, strict=True):
        deeper = np.maximum(advance[:, None] + rise, 0.0)
        sharp = advance[:, None] >= need - rounding_mm(need)
        lean = np.arctan(_rise(slopes, grid, grid.inward))
        after = replace(
            state,
            radius_um=np.where(
                _is_dull(state, fresh_um) & sharp, fresh_um[:, None], state.radius_um
            ),
            drop_mm=state.drop_mm + deeper,
            lean_rad=np.where(deeper > 0, lean, state.lean_rad),
        )
        steel = _face_steel(grid, after.at(grid), deeper, len(grids))
        active = np.where(deeper > 0, 0, -1)
        results.append(GroundEdge(after, sharp, active, steel, advance, reached))
    return results


def _rise(slopes: Sequence[FloatArray], grid: EdgeGrid, vectors: FloatArray) -> FloatArray:
    """Rise (R, S) over vectors (S, 3) of a plane that leans by `slopes` (R, 1) across and along."""
    along = grid.edge.roll_reference
    across = vec.unit(vec.cross(grid.face[len(grid.face) // 2], along))
    places = vectors @ np.stack([across, along]).T
    tilt, pitch = slopes
    return np.asarray(tilt * places[:, 0] + pitch * places[:, 1])


def _face_need(state: EdgeState, rise: FloatArray, fresh_um: FloatArray) -> FloatArray:
    """Advance (R, S) [mm] of the face that clears the apex: depth r (1 + cosβ) below the face."""
    depth = state.radius_um * (1 + np.cos(state.internal_angle_rad)) / UM_PER_MM
    return np.where(_is_dull(state, fresh_um), depth - rise, 0.0)


def _face_steel(grid: EdgeGrid, inset: FloatArray, deeper: FloatArray, edges: int) -> FloatArray:
    """Volume (R,) [mm³] of a layer `deeper` (R, S) off the strip of face of one edge."""
    reach = grid.half_width_mm * 2 / edges
    strip = np.maximum(reach - inset, 0.0) * (1 - grid.plan_curvature * (reach + inset) / 2)
    return over_stations(strip * deeper, grid.station_weights_mm)


class SessionRuns(NamedTuple):
    """A session of R runs: the result for each edge, and the sums over edges (R,)."""

    edges: tuple[GroundEdge, ...]
    passes: FloatArray
    seconds: FloatArray
    steel_mg: FloatArray
    reached: NDArray[np.bool_]


def sharpen_runs(
    grids: Sequence[EdgeGrid],
    states: Sequence[EdgeState],
    aims: Sequence[Aim],
    method: Method,
    *,
    effects: RunEffects,
    draws: SessionDraws,
    turn: int | NDArray[np.int_],
    fresh_um: FloatArray,
) -> SessionRuns:
    """One session of many runs at once: the kernel behind `sharpen`, `live` and all studies.

    `turn` counts the sessions before this one, of all runs or of each (R,).
    """
    if method.target is Target.FACE:
        results = _grind_face(grids, states, method, effects, draws, fresh_um)
    else:
        results = []
        for e, (grid, state, aim) in enumerate(zip(grids, states, aims, strict=True)):
            normals, weight = _planes(grid, aim, method, effects, draws, e, turn)
            results.append(_grind_side(grid, state, method, normals, weight, fresh_um))
    steel = np.sum([result.volume for result in results], axis=0)
    per_stroke = method.removal_mm3_per_stroke * method.removal_gsd**effects.removal
    surfaces = 1 if method.target is Target.FACE else len(results)
    strokes = np.maximum(steel / per_stroke, float(method.planes * surfaces))
    strokes = np.where(steel > MIN_STEEL_MM3, strokes, 0.0)
    return SessionRuns(
        edges=tuple(results),
        passes=np.ceil(strokes / (method.placements * surfaces)),
        seconds=strokes * method.seconds_per_stroke
        + method.setup_seconds * method.guide.setups * surfaces,
        steel_mg=steel * value("steel_density_mg_per_mm3"),
        reached=np.all([result.reached for result in results], axis=0),
    )
