"""One session of many runs at once: the kernel behind sessions, lives and studies."""

from collections.abc import Sequence
from dataclasses import replace
from functools import reduce
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.grinding.edge_state import (
    EdgeState,
    EdgeSums,
    GroundEdge,
    by_planes,
    is_dull,
    whole_land_um,
)
from edgekit.grinding.planes import common_advance, lay_planes
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.recession_field import EdgeGrid, over_stations, rounding_mm
from edgekit.grinding.rolled_side import roll_side
from edgekit.grinding.rolling import RolledEdge
from edgekit.method.guide import Guide
from edgekit.method.method import Method, Target
from edgekit.method.strokes import LocalStroke
from edgekit.units import UM_PER_MM

MIN_STEEL_MM3 = 1e-9  # a hundred-thousandth of the smallest stroke: rounding, not grinding


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
    slopes = _slopes(method, effects, draws)
    rises = _below_highest(slopes, grids)
    needs = [_face_need(*pair, fresh_um) for pair in zip(states, rises, strict=True)]
    share = np.concatenate([grid.station_weights_mm for grid in grids])
    advance, reached = common_advance(np.concatenate(needs, axis=1), share, method)
    results = []
    for grid, state, rise, need in zip(grids, states, rises, needs, strict=True):
        deeper = np.maximum(advance[:, None] + rise, 0.0)
        sharp = advance[:, None] >= need - rounding_mm(need)
        lean = np.arctan(_rise(slopes, grid, grid.inward))
        cleared_now = is_dull(state, fresh_um) & sharp
        after = replace(
            state,
            radius_um=np.where(cleared_now, fresh_um[:, None], state.radius_um),
            drop_mm=state.drop_mm + deeper,
            lean_rad=np.where(deeper > 0, lean, state.lean_rad),
        )
        steel = _face_steel(grid, after.at(grid), deeper, len(grids))
        after.land_um = whole_land_um(after.radius_um, after.internal_angle_rad)
        results.append(
            by_planes(
                after,
                sharp,
                grid,
                active=np.where(deeper > 0, 0, -1),
                volume=steel,
                advance=advance,
                reached=reached,
                dullness=steel,
            )
        )
    return results


def _slopes(method: Method, effects: RunEffects, draws: SessionDraws) -> list[FloatArray]:
    """Slopes (R, 1) of the stone across and along the blade."""
    z = draws.seatings[:, 0, :1]
    return [
        np.tan(
            np.radians(term.of(effects.hand[:, i], draws.setup[:, i], effects.skill, z[:, :, i]))
        )
        for i, term in enumerate(method.hand.terms[:2])
    ]


def _below_highest(slopes: Sequence[FloatArray], grids: Sequence[EdgeGrid]) -> list[FloatArray]:
    """Rise (R, S) of a plane over each edge, less that where it is highest."""
    rises = [_rise(slopes, grid, grid.position) for grid in grids]
    highest = np.max([rise.max(axis=1) for rise in rises], axis=0)[:, None]
    return [rise - highest for rise in rises]


def _rise(slopes: Sequence[FloatArray], grid: EdgeGrid, vectors: FloatArray) -> FloatArray:
    """Rise (R, S) over vectors (S, 3) of a plane that leans by `slopes` (R, 1) across and along."""
    along = grid.edge.roll_reference
    across = vec.unit(vec.cross(grid.face[len(grid.face) // 2], along))
    places = vectors @ np.stack([across, along]).T
    tilt, pitch = slopes
    return np.asarray(tilt * places[:, 0] + pitch * places[:, 1])


def _face_need(state: EdgeState, rise: FloatArray, fresh_um: FloatArray) -> FloatArray:
    """Advance (R, S) [mm] of the face that clears the apex: depth r (1 + cosβ) (theory T14)."""
    depth = state.radius_um * (1 + np.cos(state.internal_angle_rad)) / UM_PER_MM
    return np.where(is_dull(state, fresh_um), depth - rise, 0.0)


def _face_steel(grid: EdgeGrid, inset: FloatArray, deeper: FloatArray, edges: int) -> FloatArray:
    """Volume (R,) [mm³] of a layer `deeper` (R, S) off the strip of face of one edge."""
    reach = grid.half_width_mm * 2 / edges
    strip = np.maximum(reach - inset, 0.0) * (1 - grid.plan_curvature * (reach + inset) / 2)
    return over_stations(strip * deeper, grid.station_weights_mm)


class SessionRuns(NamedTuple):
    """A session of R runs: the result for each edge, and the sums over edges (R,)."""

    edges: tuple[GroundEdge, ...]
    strokes: FloatArray
    passes: FloatArray
    seconds: FloatArray
    steel_mg: FloatArray
    dullness_mg: FloatArray
    overshoot_mg: FloatArray
    reached: NDArray[np.bool_]


def sharpen_runs(
    grids: Sequence[EdgeGrid],
    states: Sequence[EdgeState],
    aims: Sequence[FloatArray | RolledEdge],
    method: Method,
    *,
    effects: RunEffects,
    draws: SessionDraws,
    turn: int | NDArray[np.int_],
    fresh_um: FloatArray,
) -> SessionRuns:
    """One session of many runs at once: the kernel behind `sharpen`, `live` and all studies.

    `aims` are what `aim_at` gives for each edge; `turn` counts the sessions before this one, of all
    runs or of each (R,).
    """
    results = []
    if method.target is Target.FACE:
        results = _grind_face(grids, states, method, effects, draws, fresh_um)
    else:
        for e, (grid, state, aim) in enumerate(zip(grids, states, aims, strict=True)):
            if isinstance(aim, RolledEdge):
                done = roll_side(aim, state, method, effects, draws, e, fresh_um)
            else:
                done = lay_planes(grid, state, aim, method, effects, draws, e, turn, fresh_um)
            results.append(done)
    return sums(results, method, effects, tuple(results))


def aim_at(grid: EdgeGrid, guide: Guide, *, rolls: bool) -> FloatArray | RolledEdge:
    """What a guide aims at on an edge: normals (S, 3), or the edge prepared for rolling; made once
    for a life.
    """
    normals = guide.normals(grid.edge, grid.arc_mm)
    return RolledEdge.of(grid, normals) if rolls else normals


def sums(
    results: Sequence[GroundEdge | EdgeSums],
    method: Method,
    effects: RunEffects,
    edges: tuple[GroundEdge, ...] = (),
) -> SessionRuns:
    """Results of the edges put together; strokes of planes follow from the steel they removed."""
    surfaces = 1 if method.target is Target.FACE else len(results)
    density = value("steel_density_mg_per_mm3")
    steel, strokes, dullness, overshoot = (
        reduce(np.add, (getattr(result, name) for result in results))
        for name in ("volume", "strokes", "dullness", "overshoot")
    )
    if not method.rolls:
        per_stroke = method.removal_mm3_per_stroke * method.removal_gsd**effects.removal
        strokes = np.maximum(steel / per_stroke, float(method.planes * surfaces))
        strokes = np.where(steel > MIN_STEEL_MM3, strokes, 0.0)
    rounds = method.stroke.placements if isinstance(method.stroke, LocalStroke) else 1
    return SessionRuns(
        edges=edges,
        strokes=strokes,
        passes=np.ceil(strokes / (rounds * surfaces)),
        seconds=method.seconds(strokes, len(results)),
        steel_mg=steel * density,
        dullness_mg=dullness * density,
        overshoot_mg=overshoot * density,
        reached=reduce(np.logical_and, (result.reached for result in results)),
    )
