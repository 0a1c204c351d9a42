"""Local strokes as first written: whole arrays at once, nothing skipped, nothing cached.

The oracle of the fast ones. Only what was rewritten for speed is repeated here; what is shared (the
state, the face's grinding, reading the edge off a field) comes from the package.
"""

from typing import NamedTuple

import numpy as np
import pytest
from numpy.polynomial import polynomial

from edgekit.checks import FloatArray
from edgekit.contact.facets import GRAZING, placement_density
from edgekit.geometry import vectors as vec
from edgekit.grinding import planes
from edgekit.grinding.compiled import engine
from edgekit.grinding.edge_state import EdgeState, GroundEdge
from edgekit.grinding.planes import EVEN_SHARES, MIN_WEIGHT
from edgekit.grinding.random_streams import RunEffects, SessionDraws
from edgekit.grinding.recession_field import MIN_CURVATURE, EdgeGrid
from edgekit.method.method import Method
from edgekit.method.strokes import Advance
from edgekit.units import UM_PER_MM

ROUNDING_MM = 1e-9


class Seating(NamedTuple):
    """Planes laid against a blade: (R, P, S) terms of u = base - v slope, and their support (R, P).

    ``base`` and ``slope`` are per unit of facing; ``facing`` is -n·b, infinite where the plane is
    seen from behind, so that such a station is neither cut nor waited for.
    """

    base: FloatArray
    slope: FloatArray
    facing: FloatArray
    support: FloatArray


def seat(grid: EdgeGrid, inset: FloatArray, normals: FloatArray) -> Seating:
    """Lay planes of unit `normals` (R, P, 3) against the field `inset` (V, R, S)."""
    height = normals @ grid.position.T
    fall = normals @ grid.face.T
    facing = -(normals @ grid.inward.T)
    behind = facing <= GRAZING
    touch = np.full_like(height, -np.inf)
    for depth, row in zip(grid.depth_mm, inset, strict=True):
        np.maximum(touch, height - depth * fall - facing * row[:, None, :], out=touch)
    touch[behind] = -np.inf
    facing = np.where(behind, np.inf, facing)
    return Seating(height / facing, fall / facing, facing, touch.max(axis=2))


def advance_needed(seating: Seating, drop: FloatArray, goal: FloatArray) -> FloatArray:
    """Advance (R, P, S) [mm] past first touch by which each plane alone brings the edge to a goal.

    `drop` (R, S) is how far the face lies below the new one, `goal` (R, S) the inset wanted there.
    Infinite where a plane faces away.
    """
    level = seating.base - drop[:, None, :] * seating.slope
    with np.errstate(invalid="ignore"):
        short = seating.support[:, :, None] - (level - goal[:, None, :]) * seating.facing
    return np.where(np.isfinite(seating.facing), short, np.inf)


def cut(
    grid: EdgeGrid, inset: FloatArray, seating: Seating, advance: FloatArray, drop: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Grind: the field after the planes advance by `advance` (R, P) [mm].

    Returns
    -------
    inset : array (V, R, S)
    reach : array (R, P, S)
        Inset at which each plane meets the face; -inf where it faces away.
    """
    faced = np.isfinite(seating.support)  # a plane turned away from every station cuts nothing
    offset = np.where(faced, seating.support - advance, 0.0)[:, :, None]
    base = seating.base - offset / seating.facing
    away = ~np.isfinite(seating.facing)
    base[away] = -np.inf
    after = np.empty_like(inset)
    for v, depth in enumerate(grid.depth_mm):
        np.maximum(inset[v], (base - depth * seating.slope).max(axis=1), out=after[v])
    return after, base - drop[:, None, :] * seating.slope


def volume(grid: EdgeGrid, before: FloatArray, after: FloatArray) -> FloatArray:
    """Steel (R,) [mm³] between two fields.

    ∫∫ (h₁ - h₀)(1 - κ (h₁ + h₀)/2) dv ds: inward of a curved edge the area element
    shrinks by 1 - κu.
    Past the centre of curvature nothing is left to take, so both insets end there.
    """
    kappa = np.maximum(grid.plan_curvature, MIN_CURVATURE)
    high, low = np.minimum(after, 1 / kappa), np.minimum(before, 1 / kappa)
    thick = (high - low) * (1 - grid.plan_curvature * (high + low) / 2)
    return over_depth(grid.fraction, thick) * grid.depth_mm[-1] @ grid.station_weights_mm


def over_depth(at: FloatArray, values: FloatArray) -> FloatArray:
    """Integral (R, S) of `values` (V, R, S) over their places: each gap has the mean of the
    parabolas through three neighbouring nodes, here as numpy fits and integrates them."""
    rows = values.reshape(len(at), -1)
    whole = np.zeros(rows.shape[1])
    for gap in range(len(at) - 1):
        firsts = [k for k in (gap - 1, gap) if 0 <= k <= len(at) - 3]
        for k in firsts:
            curve = polynomial.polyint(polynomial.polyfit(at[k : k + 3], rows[k : k + 3], 2))
            ends = polynomial.polyval(at[gap : gap + 2], curve)
            whole += (ends[:, 1] - ends[:, 0]) / len(firsts)
    return whole.reshape(values.shape[1:])


def _planes(
    grid: EdgeGrid,
    normals: FloatArray,
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int,
) -> tuple[FloatArray, FloatArray]:
    """Unit normals (R, P, 3) of the seatings, and each one's share (R, P) of the advance."""
    stroke = method.stroke
    z = draws.seatings[:, edge, : stroke.planes]
    tilt, swing, shift, depth = (
        term.of(effects.hand[:, i], draws.setup[:, i], effects.skill, z[:, :, i])
        for i, term in enumerate(method.hand.terms)
    )
    phase = stroke.phase.phase(turn, draws.phase[:, edge])
    number = np.repeat(np.arange(stroke.placements), stroke.strokes_per_placement)
    arc, share = placement_density(grid.edge, stroke.spacing)
    even = np.linspace(0, 1, EVEN_SHARES + 1)
    at = (number + phase[:, None]) / stroke.placements
    place = np.interp(at, even, np.interp(even, share, arc))
    place = np.clip(place + shift, 0.0, grid.arc_mm[-1])
    at = place / (grid.arc_mm[1] - grid.arc_mm[0])
    i = np.minimum(at.astype(int), len(grid.arc_mm) - 2)
    part = (at - i)[..., None]
    normal = normals[i] + part * (normals[i + 1] - normals[i])
    along = grid.tangent[i] + part * (grid.tangent[i + 1] - grid.tangent[i])
    opening = -grid.edge.side * vec.cross(along, normal)
    turned = (
        normal
        + np.tan(np.radians(tilt))[..., None] * opening
        + np.tan(np.radians(swing))[..., None] * along
    )
    return vec.unit(turned), np.maximum(1 + depth, MIN_WEIGHT)


def _share_quantile(need: FloatArray, share: FloatArray, target: float) -> FloatArray:
    """The least value (R,) that covers `target` of the total `share` (R, N) of `need` (R, N)."""
    order = np.argsort(need, axis=1)
    covered = np.cumsum(np.take_along_axis(share, order, axis=1), axis=1)
    first = np.argmax(covered >= target * covered[:, -1:] * (1 - 1e-12), axis=1)
    return np.asarray(np.take_along_axis(need, order, axis=1)[np.arange(len(need)), first])


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
    dull = state.radius_um > fresh_um[:, None] * (1 + 1e-9)
    goal = before + state.radius_um / np.tan(state.internal_angle_rad / 2) / UM_PER_MM
    seating = seat(grid, state.inset_mm, normals)
    alone = advance_needed(seating, state.drop_mm, goal)
    alone = np.where(dull[:, None, :], alone, 0.0)
    largest = method.max_advance_um / UM_PER_MM
    bulge = grid.plan_curvature * (1 - grid.plan_curvature * goal) * grid.arc_mm[1] ** 2 / 2
    bulges = seating.facing * bulge[:, None, :]
    advance, reached = _advance(alone, bulges, weight, dull, method, largest)
    inset, reach = cut(grid, state.inset_mm, seating, advance, state.drop_mm)
    active = np.argmax(reach, axis=1)
    deepest = np.take_along_axis(reach, active[:, None], axis=1)[:, 0]
    is_ground = deepest > before
    sharp = ~dull | (np.maximum(before, deepest) >= goal - ROUNDING_MM)
    normal = np.take_along_axis(normals, active[:, :, None], axis=1)
    face = grid.face
    opening = np.arctan2(vec.norm(vec.cross(face, normal)), -vec.dot(face, normal))
    after = EdgeState(
        inset_mm=inset,
        radius_um=np.where(dull & sharp, fresh_um[:, None], state.radius_um),
        land_um=np.zeros_like(state.radius_um),
        angle_rad=np.where(is_ground, opening, state.angle_rad),
        drop_mm=state.drop_mm,
        lean_rad=state.lean_rad,
        cleared_mm3=state.cleared_mm3,  # not used here
    )
    after.land_um = 2 * after.radius_um * np.cos(after.internal_angle_rad / 2)
    steel = volume(grid, state.inset_mm, inset)
    length = grid.station_weights_mm
    return GroundEdge(
        state=after,
        sharp=sharp,
        active=np.where(is_ground, active, -1),
        sharp_fraction=sharp @ length / length.sum(),
        volume=steel,
        strokes=np.full(len(dull), np.nan),
        advance=advance.max(axis=1),
        reached=reached,
        dullness=volume(grid, state.inset_mm, parallel(grid, state, goal, dull)),
        overshoot=np.zeros(len(dull)),
    )


def parallel(grid: EdgeGrid, state: EdgeState, goal: FloatArray, dull: FloatArray) -> FloatArray:
    """The field (V, R, S) that planes at the angle of the present facet would leave at the goal."""
    after = state.inset_mm.copy()
    for v, depth in enumerate(grid.depth_mm):
        line = goal + (depth - state.drop_mm) / np.tan(state.angle_rad)
        after[v] = np.where(dull, np.maximum(after[v], line), after[v])
    return after


def _advance(
    alone: FloatArray,
    bulges: FloatArray,
    weight: FloatArray,
    dull: FloatArray,
    method: Method,
    largest: float,
) -> tuple[FloatArray, np.ndarray]:
    """Advance (R, P) of each plane, and whether the target is reached (R,).

    `alone` (R, P, S) is what each plane would need by itself, between stations on a parabola of
    which `bulges` are half the second derivative. Grinding all alike, the stated
    share is a quantile of the least need along the edge. Stopping at each placement, a plane
    advances to the largest need among the stretches that it is the first to serve with the
    least, plus its overshoot.
    """
    uniform = method.stroke.advance is Advance.UNIFORM
    if uniform:
        alone, bulges = alone / weight[:, :, None], bulges / weight[:, :, None]
    least, server = alone.min(axis=1), np.argmin(alone, axis=1)
    need, length = _between(alone, bulges, least, server, dull)
    common = _share_quantile(need, length, method.stop.fraction)
    reached = common <= largest
    common = np.clip(common, 0.0, largest)
    if uniform:
        return common[:, None] * weight, reached
    each = np.zeros(weight.shape)
    stations = least.shape[1]
    for run in range(len(need)):
        for n, value in enumerate(need[run]):
            at = (n,) if n < stations else (n - stations, n - stations + 1)
            for s in at:
                if value <= common[run]:
                    plane = server[run, s]
                    each[run, plane] = max(each[run, plane], value)
    return each * np.maximum(weight, 1.0), reached


def _between(
    alone: FloatArray, bulges: FloatArray, least: FloatArray, server: FloatArray, dull: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Needs (R, 2S - 1) at the stations and then between them, and the lengths they stand for."""
    runs, stations = least.shape
    peak, length = np.zeros((runs, stations - 1)), np.zeros((runs, 2 * stations - 1))
    for r in range(runs):
        for i in range(stations - 1):
            p, q = server[r, i], server[r, i + 1]
            ends = [alone[r, p, i], alone[r, p, i + 1], alone[r, q, i], alone[r, q, i + 1]]
            apart = ends[2] - ends[0] + ends[1] - ends[3] if np.isfinite(ends).all() else 0.0
            if p != q and dull[r, i] and dull[r, i + 1] and apart > 0:
                share = (ends[2] - ends[0]) / apart
                bulge = (bulges[r, q, i] + bulges[r, p, i + 1]) / 2
                peak[r, i] = ends[0] + share * (ends[1] - ends[0]) - bulge * share * (1 - share)
                length[r, [i, i + 1, stations + i]] += share / 2, (1 - share) / 2, 0.5
            else:
                length[r, [i, i + 1]] += 0.5
    return np.concatenate([least, peak], axis=1), length


def install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the package grind with these."""
    monkeypatch.setattr(planes, "_planes", _planes)
    monkeypatch.setattr(planes, "_grind", _grind)
    monkeypatch.setattr(engine, "_chosen", [engine.ARRAYS])
