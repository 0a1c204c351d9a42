"""Sessions of local strokes on one edge by the compiled engine, where that is chosen."""

from __future__ import annotations

import importlib
from functools import cache, lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING, Any

import numpy as np

from edgekit.checks import FloatArray
from edgekit.evidence_table import value
from edgekit.geometry.vectors import unit
from edgekit.grinding.compiled import engine
from edgekit.grinding.compiled.parts import MET, WIDTH, Before, Done, Gauge, Use
from edgekit.grinding.compiled.planes.parts import After, Edge, Hand, Lay, Stop, Work
from edgekit.grinding.compiled.session import NO_GAUGE, NO_USE, ONCE, plain, room_for
from edgekit.grinding.edge_state import EdgeState, GroundEdge
from edgekit.grinding.random_streams import TERMS, RunEffects, Seated, SessionDraws
from edgekit.grinding.recession_field import MIN_CURVATURE, EdgeGrid, rounding_mm
from edgekit.method.method import Method
from edgekit.method.strokes import Advance
from edgekit.units import UM_PER_MM

if TYPE_CHECKING:
    from numpy.typing import NDArray

OF_PLANES = (
    *("tilt", "swing", "x", "y", "z", "along_x", "along_y", "along_z"),
    *("weight", "best", "support", "advance", "offset"),
)
SPARE = 1e-12  # of the edge: rounding of sums of lengths


def serves() -> bool:
    """Whether the compiled engine is chosen; it has all that local strokes ask for."""
    return engine.engine() == engine.COMPILED


@cache
def functions() -> Any:
    """The compiled functions; numba is imported here."""
    engine.functions()
    return importlib.import_module("edgekit.grinding.compiled.planes.strokes")


def grind_compiled(
    grid: EdgeGrid,
    state: EdgeState,
    plan: Lay,
    stop: Stop,
    hand: Hand,
) -> GroundEdge:
    """The same as `edgekit.grinding.planes.lay_planes` with arrays, compiled."""
    before, after, once = _before(state), _after(state), np.arange(len(hand.fresh) + 1)
    done = grind(shared(grid), before, once, NO_USE, NO_GAUGE, hand, plan, stop, after, ONCE)
    kind = state.inset_mm.dtype
    field, angle, _, radius, land, sharp, active = (part.astype(kind, copy=False) for part in after)
    removed, dullness, cleared = done.volume.T
    return GroundEdge(
        state=EdgeState(
            inset_mm=np.swapaxes(field, 0, 1),
            radius_um=radius,
            land_um=land,
            angle_rad=angle + state.lean_rad,
            drop_mm=state.drop_mm,
            lean_rad=state.lean_rad,
            cleared_mm3=cleared,
        ),
        sharp=sharp > 0,
        active=active.astype(int),
        sharp_fraction=1 - done.seen[:, 0],
        volume=removed,
        strokes=np.full(len(removed), np.nan),
        advance=done.seen[:, 1],
        reached=done.end == MET,
        dullness=dullness,
        overshoot=np.zeros(len(removed)),
    )


def grind(
    edge: Edge,
    before: Before,
    first: NDArray[np.int_],
    use: Use,
    gauge: Gauge,
    hand: Hand,
    plan: Lay,
    stop: Stop,
    after: After,
    often: FloatArray,
) -> Done:
    """N sessions of R runs, those of each from its `first` (R + 1,) on; `after` is filled."""
    done = room_for(len(hand.fresh))
    given = edge, before, first, use, gauge, hand, plan, stop, plain(often)
    functions().grind_runs(*given, after, done, _room(edge, plan))
    return done


def plan_of(grid: EdgeGrid, method: Method, normals: FloatArray, reached: FloatArray) -> Lay:
    """How a method lays planes that aim at `normals` (S, 3), where even shares of the edge have
    `reached` (M + 1,) arcs."""
    stroke, shares = method.local()[0], len(reached) - 1
    aims = np.concatenate([normals, grid.tangent], axis=1)
    return Lay(
        planes=stroke.planes,
        placements=stroke.placements,
        each=stroke.strokes_per_placement,
        rows=stroke.planes + -stroke.planes % WIDTH,
        reached=plain(reached),
        shares=shares,
        even=shares / stroke.placements,
        aims=plain(aims).ravel(),
        spacing=float(grid.arc_mm[1]),
        length=float(grid.arc_mm[-1]),
        side=float(grid.edge.side),
        least=float(value("least_advance_share")),
    )


def stop_of(grid: EdgeGrid, method: Method) -> Stop:
    """When a method stops."""
    stroke, rule = method.local()
    return Stop(
        alike=stroke.advance is Advance.UNIFORM,
        spare=(1 - rule.fraction + SPARE) * float(grid.arc_mm[-1]),
        largest=method.max_advance_um / UM_PER_MM,
        rounding=rounding_mm(grid.inset_mm),
    )


def hand_of(
    method: Method,
    effects: RunEffects,
    draws: SessionDraws,
    edge: int,
    turn: int | NDArray[np.int_],
    fresh_um: FloatArray,
) -> Hand:
    """How the hands err on an edge, and how sharp grinding leaves it."""
    common, scatter = np.empty((2, len(fresh_um), TERMS))
    for i, term in enumerate(method.hand.terms):
        common[:, i] = term.common(effects.hand[:, i], draws.setup[:, i])
        scatter[:, i] = term.scatter(effects.skill)
    seated = draws.seated or Seated.of(draws.seatings)
    return Hand(
        common=common.ravel(),
        scatter=scatter.ravel(),
        phase=plain(method.local()[0].phase.phase(turn, draws.phase[:, edge])),
        normals=seated.numbers,
        starts=np.append(seated.first[:, edge], 0),
        apart=seated.apart,
        fresh=plain(fresh_um),
    )


@lru_cache(maxsize=32)
def shared(grid: EdgeGrid) -> Edge:
    """What all runs share."""
    depths, stations = grid.depth_mm.shape
    deepest, weight = grid.depth_mm[-1], grid.station_weights_mm
    limit = 1 / np.maximum(grid.plan_curvature, MIN_CURVATURE)
    gap = np.append(np.diff(grid.arc_mm) / 2, 0.0)
    one = deepest, weight, deepest * weight, gap, grid.plan_curvature / 2, limit
    rows = np.concatenate([one, np.moveaxis(grid.seen, 1, 2).reshape(9, stations)])
    places = stations + -stations % WIDTH
    filled = np.zeros((len(rows), places))
    filled[:, :stations], filled[:, stations:] = rows, rows[:, -1:]
    filled[1:4, stations:] = 0.0  # they stand for no length
    by_depth = grid.fraction, grid.shares
    boxes = _boxes(grid, filled[len(one) :].reshape(3, 3, places))
    blocks = filled[len(one) :], *by_depth, *boxes
    size = stations, places, depths, depths * places
    return Edge(*size, *filled[: len(one)], *(plain(block).ravel() for block in blocks))


def _boxes(grid: EdgeGrid, seen: FloatArray) -> tuple[FloatArray, ...]:
    """Axes of each block of stations, and the components along them of vectors (3, 3, P)."""
    blocks = seen.shape[2] // WIDTH
    middle = np.minimum(np.arange(blocks) * WIDTH + WIDTH // 2, len(grid.arc_mm) - 1)
    along, angle = grid.tangent[middle], grid.angle_rad[middle, None]
    outward = -np.sin(angle) * grid.inward[middle] - np.cos(angle) * grid.face[middle]
    outward = unit(outward - (outward * along).sum(axis=1, keepdims=True) * along)
    axes = np.stack([along, np.cross(along, outward), outward], axis=1)
    apart = seen.reshape(3, 3, blocks, WIDTH)
    boxed = np.einsum("bak,vkbs->vabs", axes, apart)
    low, high = apart[2].min(axis=2), apart[2].max(axis=2)
    outward = np.concatenate([(low + high) / 2, (high - low) / 2]).T
    return axes, boxed, outward


def _before(state: EdgeState) -> Before:
    """The edges before the session."""
    each = state.internal_angle_rad, 1 / np.tan(state.angle_rad), state.lean_rad, state.radius_um
    angle, cot, lean, radius = map(plain, each)
    field, drop = plain(np.swapaxes(state.inset_mm, 0, 1)), plain(state.drop_mm)
    return Before(field, drop, angle, cot, lean, radius, bool(drop.any()))


def _after(state: EdgeState) -> After:
    """Room for the edges after the session."""
    depths, runs, stations = state.inset_mm.shape
    return After(np.empty((runs, depths, stations)), *np.empty((6, runs, stations)))


def _room(edge: Edge, plan: Lay) -> Work:
    """Room for one session."""
    blocks, both = edge.places // WIDTH, 2 * edge.places + WIDTH
    sizes = dict.fromkeys(Work._fields[1:], edge.places)
    sizes |= {"field": edge.nodes, "box": 6 * blocks, "room": 2 * WIDTH}
    sizes |= dict.fromkeys(("bound", "faced"), plan.rows * blocks)
    sizes |= dict.fromkeys(("level", "slope"), plan.rows * WIDTH)
    sizes |= dict.fromkeys(("need", "length"), both) | dict.fromkeys(OF_PLANES, plan.rows)
    ends = list(accumulate(sizes.values()))
    room = np.zeros(ends[-1])
    rows = [room[end - n : end] for end, n in zip(ends, sizes.values(), strict=True)]
    return Work(np.zeros(plan.rows * blocks, dtype=np.int64), *rows)
