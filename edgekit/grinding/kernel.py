"""Grinding of many runs at once: the kernel behind sessions, lives and studies.

Every seating of the stone is a plane: the guide's normal at the placement, turned by the hand's errors. All are
advanced equally past first touch (each within its error of depth), and the advance at which the stated
share of the edge is sharp has a closed form: a station is sharp once some plane meets the face beyond the
point where the rounded apex leaves it, r cot(β/2) inward.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.contact.facets import Spacing, placement_density
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

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Aim", "EdgeState", "GroundEdge", "SessionRuns", "aim_at", "new_state", "sharpen_runs"]

UM_PER_MM = 1000.0
MIN_WEIGHT = 0.1  # a seating that presses less than a tenth of the usual is no seating
MIN_STEEL_MM3 = 1e-9  # a hundred-thousandth of the smallest stroke: rounding, not grinding
EVEN_SHARES = 8192  # places between are off by less than 0.1 µm
ROUNDING = 1e-9  # relative: a law that adds nothing may still round


@dataclass(kw_only=True, eq=False)
class EdgeState:
    """An edge as it stands in R runs; replaced, not edited, by a session. Runs are closest in memory.

    ``inset_mm`` (V, R, S) the field; ``radius_um`` (R, S) of the apex; ``angle_rad`` (R, S) between
    nominal face and flank at the edge; ``drop_mm`` (R, S) how far the face lies below the new one;
    ``lean_rad`` (R, S) slope of the face, inward and down, from the nominal face; ``cleared_mm3`` (R,)
    what `edgekit.grinding.recession_field.cleared` gives for the field.
    """

    inset_mm: FloatArray
    radius_um: FloatArray
    angle_rad: FloatArray
    drop_mm: FloatArray
    lean_rad: FloatArray
    cleared_mm3: FloatArray

    def at(self, ground: EdgeGrid) -> FloatArray:
        """Inset (R, S) [mm] of the edge."""
        return inset_at(ground, self.inset_mm, self.drop_mm)

    @property
    def internal_angle_rad(self) -> FloatArray:
        """Angle (R, S) between face and flank as ground."""
        return self.angle_rad - self.lean_rad


def new_state(ground: EdgeGrid, runs: int) -> EdgeState:
    """A new, perfectly sharp edge in every run."""
    kind = ground.inset_mm.dtype
    cells = (len(ground.arc_mm), runs)
    return EdgeState(
        inset_mm=np.swapaxes(np.repeat(ground.inset_mm[:, :, None], runs, axis=2), 1, 2),
        radius_um=np.zeros(cells, kind).T,
        angle_rad=np.repeat(ground.angle_rad[:, None], runs, axis=1).T,
        drop_mm=np.zeros(cells, kind).T,
        lean_rad=np.zeros(cells, kind).T,
        cleared_mm3=np.repeat(cleared(ground, ground.inset_mm[:, None]), runs),
    )


class Aim(NamedTuple):
    """Where a method puts its planes on one edge: normals at the stations (S, 3), and the arc length
    (M,) [mm] that even shares of its spacing have reached."""

    normals: FloatArray
    arc_mm: FloatArray


def aim_at(ground: EdgeGrid, method: Method) -> Aim:
    """Prepare a method for an edge; done once for a whole life."""
    normals = method.guide.normals(ground.edge, ground.arc_mm)
    return Aim(normals, _even_places(ground.edge, method.spacing))


@lru_cache(maxsize=32)
def _even_places(edge: Edge, spacing: Spacing) -> FloatArray:
    arc, share = placement_density(edge, spacing)
    return np.interp(np.linspace(0.0, 1.0, EVEN_SHARES + 1), share, arc)


def _read(table: FloatArray, at: FloatArray) -> FloatArray:
    """A table (..., M) read at places between its columns, counted from 0: (..., *at.shape)."""
    i = np.minimum(at.astype(np.intp), table.shape[-1] - 2)
    low = table.take(i, axis=-1)
    return np.asarray(low + (at - i) * (table.take(i + 1, axis=-1) - low))


def _planes(
    ground: EdgeGrid,
    aim: Aim,
    method: Method,
    kept: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int | NDArray[np.int_],
) -> tuple[FloatArray, FloatArray]:
    """Unit normals (R, P, 3) of the seatings, and each one's share (R, P) of the advance."""
    # Everything lies component by component and plane by plane, (3, P, R), as the kernel reads it.
    z = draws.seatings[:, edge, : method.planes].transpose(2, 1, 0).copy()
    tilt, swing, shift, depth = (
        term.of(kept.hand[:, i], draws.setup[:, i], kept.skill, z[i].T).T
        for i, term in enumerate(method.hand.terms)
    )
    phase = method.marks.phase(turn, draws.phase[:, edge])
    number = np.repeat(np.arange(method.placements), method.seatings)[:, None]
    place = _read(aim.arc_mm, (number + phase) * (EVEN_SHARES / method.placements))
    place = np.clip(place + shift, 0.0, ground.arc_mm[-1])
    at = place / (ground.arc_mm[1] - ground.arc_mm[0])
    both = _read(np.concatenate([aim.normals.T, ground.tangent.T]), at)
    normal, along_edge = both[:3], both[3:]
    opening = -ground.edge.side * _cross(along_edge, normal)
    turned = normal + np.tan(np.radians(tilt)) * opening + np.tan(np.radians(swing)) * along_edge
    turned /= np.sqrt((turned**2).sum(axis=0))
    kind = ground.inset_mm.dtype
    return turned.T.astype(kind), np.maximum(1 + depth, MIN_WEIGHT).T.astype(kind)


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product of (3, ...) arrays."""
    return np.stack(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


def _share_quantile(need: FloatArray, share: FloatArray, target: float) -> FloatArray:
    """The least value (R,) that covers `target` of the total share of `need` (R, S)."""
    spare = (1 - target) * share.sum() + 1e-12 * share.sum()
    # So few stations of largest need are enough to pass the share that may stay dull.
    top = min(int(spare / share.min()) + 2, len(share))
    order = np.argsort(np.ascontiguousarray(need), axis=1)[:, : -top - 1 : -1]
    weights = share[order]
    above = np.cumsum(weights, axis=1) - weights
    last = (above <= spare).sum(axis=1) - 1
    runs = np.arange(len(need))
    return np.asarray(need[runs, order[runs, last]])


class GroundEdge(NamedTuple):
    """What grinding one edge came to: state, stations sharp (R, S), planes active (R, S; -1 none),
    volume (R,) [mm³], advance (R,) [mm], whether the target was reached (R,)."""

    state: EdgeState
    sharp: NDArray[np.bool_]
    active: NDArray[np.int_]
    volume: FloatArray
    advance: FloatArray
    reached: NDArray[np.bool_]


def _is_dull(state: EdgeState, fresh_um: FloatArray) -> NDArray[np.bool_]:
    """Where (R, S) an edge is blunter than grinding leaves it; elsewhere nothing calls for any."""
    return np.asarray(state.radius_um > fresh_um[:, None] * (1 + ROUNDING))


def _grind_side(
    ground: EdgeGrid,
    state: EdgeState,
    method: Method,
    normals: FloatArray,
    weight: FloatArray,
    fresh_um: FloatArray,
) -> GroundEdge:
    """Grind one edge's lateral surface until sharp; `fresh_um` (R,) is the radius left."""
    before = state.at(ground)
    dull = _is_dull(state, fresh_um)
    goal = before + state.radius_um / np.tan(state.internal_angle_rad / 2) / UM_PER_MM
    shares = weight if method.stop is Stop.ALL else None
    seating = seat(ground, state.inset_mm, normals, drop=state.drop_mm, goal=goal, weight=shares)
    advance, reached = _advance(seating, dull, weight, ground.station_weights_mm, method)
    inset, reach, active = cut(ground, state.inset_mm, seating, advance, state.drop_mm)
    ground_here = reach > before
    sharp = ~dull | (np.maximum(before, reach) >= goal - rounding_mm(goal))
    fall = _fall(ground, seating.sight.normals, active)
    opening = np.arctan2(np.sqrt(np.maximum((1 - fall) * (1 + fall), 0.0)), -fall)
    after = EdgeState(
        inset_mm=inset,
        radius_um=np.where(dull & sharp, fresh_um[:, None], state.radius_um),
        angle_rad=np.where(ground_here, opening, state.angle_rad),
        drop_mm=state.drop_mm,
        lean_rad=state.lean_rad,
        cleared_mm3=cleared(ground, inset),
    )
    steel = after.cleared_mm3 - state.cleared_mm3
    active = np.where(ground_here, active, -1)
    return GroundEdge(after, sharp, active, steel, advance.max(axis=1), reached)


def _fall(ground: EdgeGrid, normals: FloatArray, active: NDArray[np.int_]) -> FloatArray:
    """n·f (R, S) of the active plane (R, S) at each station, for `normals` (P, 3, R)."""
    runs = len(active)
    first = active.T * (3 * runs) + np.arange(runs)
    flat = normals.ravel()
    parts = (flat.take(first + k * runs) * ground.face[:, k, None] for k in range(3))
    return np.asarray(sum(parts)).T


def _advance(
    seating: Seating,
    dull: NDArray[np.bool_],
    weight: FloatArray,
    share: FloatArray,
    method: Method,
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Advance (R, P) of each plane, and whether the target is reached (R,).

    Grinding all alike, the stated share is a quantile, along the edge, of the least of what each plane
    would need by itself. Stopping at each placement, a plane advances to the largest need
    among the stretches that it is the first to serve with the least, plus its overshoot: a second
    stroke just like it finds them sharp. What is not `dull` (R, S)
    needs nothing.
    """
    largest = method.max_advance_um / UM_PER_MM
    least = seating.least if dull.all() else np.where(dull, seating.least, 0.0)
    whole = _share_quantile(least, share, method.sharp_target)
    reached = whole <= largest
    whole = np.clip(whole, 0.0, largest)
    if method.stop is Stop.ALL:
        return whole[:, None] * weight, reached
    served = np.where(least <= whole[:, None], least, 0.0)
    runs, planes = weight.shape
    each = np.zeros((planes, runs), dtype=least.dtype)
    place = seating.server.T * runs + np.arange(runs)
    np.maximum.at(each.ravel(), place.ravel(), served.T.ravel())
    return each.T * np.maximum(weight, 1.0), reached


def _grind_face(
    grounds: Sequence[EdgeGrid],
    states: Sequence[EdgeState],
    method: Method,
    kept: RunEffects,
    draws: SessionDraws,
    fresh_um: FloatArray,
) -> list[GroundEdge]:
    """Grind the face, one plane for all edges, until they are sharp.

    The stone first touches where its tilt puts it lowest. Clearing a rounded apex takes the depth
    r (1 + cosβ) below the face.
    """
    z = draws.seatings[:, 0, :1]
    tilt, pitch = (
        np.tan(np.radians(term.of(kept.hand[:, i], draws.setup[:, i], kept.skill, z[:, :, i])))
        for i, term in enumerate(method.hand.terms[:2])
    )
    slopes = []
    for ground in grounds:
        along = ground.edge.roll_reference
        across = vec.unit(vec.cross(ground.face[len(ground.face) // 2], along))
        frame = np.stack([across, along])
        slopes.append((ground.position @ frame.T, ground.inward @ frame.T))
    errors = [tilt * place[:, 0] + pitch * place[:, 1] for place, _ in slopes]
    highest = np.max([error.max(axis=1) for error in errors], axis=0)[:, None]
    errors = [error - highest for error in errors]
    dull = [_is_dull(state, fresh_um) for state in states]
    depths = [s.radius_um * (1 + np.cos(s.internal_angle_rad)) / UM_PER_MM for s in states]
    needs = [
        np.where(blunt, depth - error, 0.0)
        for blunt, depth, error in zip(dull, depths, errors, strict=True)
    ]
    share = np.concatenate([ground.station_weights_mm for ground in grounds])
    advance = _share_quantile(np.concatenate(needs, axis=1), share, method.sharp_target)
    largest = method.max_advance_um / UM_PER_MM
    reached = advance <= largest
    advance = np.clip(advance, 0.0, largest)
    results = []
    for ground, state, error, need, blunt, (_, into) in zip(
        grounds, states, errors, needs, dull, slopes, strict=True
    ):
        deeper = np.maximum(advance[:, None] + error, 0.0)
        sharp = advance[:, None] >= need - rounding_mm(need)
        lean = np.arctan(tilt * into[:, 0] + pitch * into[:, 1])
        after = EdgeState(
            inset_mm=state.inset_mm,
            radius_um=np.where(blunt & sharp, fresh_um[:, None], state.radius_um),
            angle_rad=state.angle_rad,
            drop_mm=state.drop_mm + deeper,
            lean_rad=np.where(deeper > 0, lean, state.lean_rad),
            cleared_mm3=state.cleared_mm3,
        )
        inset = after.at(ground)
        reach = ground.half_width_mm * 2 / len(grounds)
        strip = np.maximum(reach - inset, 0.0) * (1 - ground.plan_curvature * (reach + inset) / 2)
        steel = over_stations(strip * deeper, ground.station_weights_mm)
        active = np.where(deeper > 0, 0, -1)
        results.append(GroundEdge(after, sharp, active, steel, advance, reached))
    return results


class SessionRuns(NamedTuple):
    """A session of R runs: what grinding each edge came to, and the sums over edges (R,)."""

    edges: tuple[GroundEdge, ...]
    passes: FloatArray
    seconds: FloatArray
    steel_mg: FloatArray
    reached: NDArray[np.bool_]


def sharpen_runs(
    grounds: Sequence[EdgeGrid],
    states: Sequence[EdgeState],
    aims: Sequence[Aim],
    method: Method,
    *,
    kept: RunEffects,
    draws: SessionDraws,
    turn: int | NDArray[np.int_],
    fresh_um: FloatArray,
) -> SessionRuns:
    """One session of many runs at once: the kernel behind `sharpen`, `live` and all studies.

    `turn` counts the sessions before this one, of all runs or of each (R,).
    """
    if method.target is Target.FACE:
        results = _grind_face(grounds, states, method, kept, draws, fresh_um)
    else:
        results = []
        for e, (ground, state, aim) in enumerate(zip(grounds, states, aims, strict=True)):
            normals, weight = _planes(ground, aim, method, kept, draws, e, turn)
            results.append(_grind_side(ground, state, method, normals, weight, fresh_um))
    steel = np.sum([result.volume for result in results], axis=0)
    taken = method.removal_mm3_per_stroke * method.removal_gsd**kept.removal
    surfaces = 1 if method.target is Target.FACE else len(results)
    strokes = np.maximum(steel / taken, float(method.planes * surfaces))
    strokes = np.where(steel > MIN_STEEL_MM3, strokes, 0.0)
    return SessionRuns(
        edges=tuple(results),
        passes=np.ceil(strokes / (method.placements * surfaces)),
        seconds=strokes * method.seconds_per_stroke
        + method.setup_seconds * method.guide.setups * surfaces,
        steel_mg=steel * value("steel_density_mg_per_mm3"),
        reached=np.all([result.reached for result in results], axis=0),
    )
