"""Sessions of rolling strokes by the compiled engine, where that can serve; random numbers too."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.errors import Cannot
from edgekit.grinding.compiled import engine, parts
from edgekit.grinding.compiled.parts import After, Before, Done, Edge, Gauge, Rule, Work
from edgekit.grinding.modes import MODES
from edgekit.grinding.random_streams import STROKE_TERMS, STROKES_AHEAD, StrokeNumbers
from edgekit.grinding.recession_field import MIN_CURVATURE
from edgekit.grinding.rolling import RolledEdge, node_mm
from edgekit.grinding.rolling_session import (
    FLAT_RAD,
    REGISTERED_RAD,
    Flank,
    Hands,
    RolledSession,
    past_need,
)
from edgekit.method import stop
from edgekit.method.method import Method
from edgekit.method.stop import Counted, StopRule, UntilClear, UntilFresh
from edgekit.method.strokes import RollingStroke, Stroke
from edgekit.units import UM_PER_MM


def serves(rolled: RolledEdge, method: Method) -> bool:
    """Whether the compiled engine is chosen and has what an edge and a method ask for; where it has
    not, that is said once."""
    if engine.engine() != engine.COMPILED:
        return False
    lacks = _lacking(rolled, method)
    if lacks:
        engine.say_once(f"{lacks} are computed with arrays, not compiled")
    return not lacks


def _lacking(rolled: RolledEdge, method: Method) -> str:
    """What the compiled engine does not have, in words."""
    way = method.rolling()
    if type(method.stop) not in stop.OWN_RULES:
        return "stop rules of one's own"
    if type(way) is not RollingStroke:
        return "strokes of one's own"
    if not way.covers(rolled.grid.arc_mm[-1]):
        return "strokes over a part of the edge"
    return ""


def roll_compiled(
    rolled: RolledEdge,
    start: Flank,
    hands: Hands,
    rule: StopRule,
    way: Stroke,  # noqa: ARG001 - over the whole edge
    draws: StrokeNumbers,
    fresh_radius: FloatArray,
) -> RolledSession:
    """The same as `edgekit.grinding.rolling_session.roll_session`, compiled."""
    edge, before, after = shared(rolled, hands.modes), _before(rolled, start), _after(start)
    once = np.arange(len(fresh_radius) + 1)
    done = roll(edge, before, once, NO_USE, NO_GAUGE, hands, fresh_radius, rule, draws, after, ONCE)
    lost = hands.volume_mm3[done.end == parts.NO_DEPTH]
    if len(lost):
        raise no_depth(lost)
    field = np.moveaxis(after.field, 0, 2)
    return RolledSession(
        flank=Flank(field, after.angle.T, start.lean, after.radius.T),
        land=after.land.T,
        margin=after.margin.T,
        dull_share=done.seen[:, 0],
        met=done.end == parts.MET,
        strokes=done.strokes,
        removed=done.volume[:, 0],
        dullness=done.volume[:, 1],
        overshoot=past_need(done.seen[:, 2], done.seen[:, 1], rule, hands.volume_mm3),
        cleared=done.volume[:, 2],
    )


def no_depth(volume_mm3: FloatArray | float) -> Cannot:
    """What is said of strokes that found no depth."""
    return Cannot("a stroke took no definite depth", volume_mm3, "Give it less steel.")


def roll(
    edge: Edge,
    before: Before,
    first: NDArray[np.int_],
    use: parts.Use,
    gauge: Gauge,
    hands: Hands,
    fresh_mm: FloatArray,
    rule: StopRule,
    draws: StrokeNumbers,
    after: After,
    often: FloatArray,
) -> Done:
    """N sessions of R runs, those of each from its `first` (R + 1,) on; `after` is filled."""
    swing_sd = np.minimum(hands.swing_sd_rad, REGISTERED_RAD)
    errors = (hands.tilt_rad, hands.tilt_sd_rad, hands.within_sd_rad, swing_sd)
    hand = parts.Hand(*map(plain, (*errors, hands.volume_mm3, fresh_mm)))
    numbers = parts.Numbers(draws.keys, draws.first_blocks(), STROKES_AHEAD, plain(often))
    done = room_for(len(fresh_mm))
    given = edge, before, first, use, gauge, hand, _rule(rule), numbers
    engine.functions().roll(*given, after, done, _room(edge))
    return done


def fill(
    keys: NDArray[np.uint64],
    blocks: NDArray[np.int_],
    slots: NDArray[np.int_],
    even: FloatArray,
    normal: FloatArray,
) -> None:
    """See `edgekit.grinding.random_streams.Filler`; with the bits of numpy's generator."""
    evens, state = even.reshape(len(even), -1), np.zeros(4, dtype=np.uint64)
    engine.functions().fill(keys, blocks.astype(np.uint64), slots, evens, normal, state)


_NOTHING = np.zeros(1)
ONCE = np.zeros((1, parts.PATCHES))  # how often strokes of no use fall on a patch
NO_USE = parts.Use(parts.NO_USE, 0.0, 0.0, 0.0, 1.0, _NOTHING, _NOTHING, np.zeros(1, dtype=int))
NO_GAUGE = Gauge(False, _NOTHING, _NOTHING, _NOTHING)


def _after(start: Flank) -> After:
    """Room for the edges after the session."""
    depths, stations, runs = start.field.shape
    return After(np.empty((runs, depths, stations)), *np.empty((5, runs, stations)))


def room_for(sessions: int) -> Done:
    """Room for what sessions come to."""
    seen, volume = np.zeros((2, sessions, 3))
    strokes, end = np.zeros((2, sessions), dtype=np.int64)
    return Done(seen, volume, strokes, end, np.zeros((sessions, parts.COUNT)))


def shared(rolled: RolledEdge, modes: FloatArray) -> Edge:
    """What all runs share."""
    grid, (depths, stations) = rolled.grid, rolled.grid.depth_mm.shape
    curvature = np.maximum(grid.plan_curvature, MIN_CURVATURE)
    flat = bool(rolled.turned_rad[-1] < FLAT_RAD)
    one = (
        *(grid.plan_curvature, curvature / 2, 1 / curvature, grid.station_weights_mm),
        *(np.arange(stations) < stations - 1, rolled.angle_rad, 1 / np.tan(rolled.angle_rad)),
    )
    node = node_mm(grid, np.zeros((stations, 1)))[..., 0]
    several = modes, grid.depth_mm, node, _seen(rolled) if flat else np.zeros((9, stations))
    rows = np.concatenate([one, *several])
    places = stations + -stations % parts.WIDTH
    filled = np.zeros((len(rows), places))
    filled[:, :stations] = rows
    filled[2, stations:] = 1.0  # the centre of a station without steel
    ends = np.cumsum([len(one), *map(len, several)])
    blocks = [block.ravel() for block in np.split(filled[len(one) :], ends[:-1] - len(one))[1:]]
    terms = len(modes) + STROKE_TERMS - MODES
    size = stations, places, depths, depths * places, terms
    return Edge(*size, flat, plain(grid.fraction), *filled[: len(one)], *blocks)


def _seen(rolled: RolledEdge) -> FloatArray:
    """Products (9, S) of the stations' vectors, three by three, with those of a flat stone at
    mid-edge."""
    grid, middle = rolled.grid, len(rolled.angle_rad) // 2
    normal, along = rolled.normals[middle], grid.tangent[middle]
    stone = np.stack([normal, -grid.edge.side * np.cross(along, normal), along])
    vectors = np.stack([grid.inward, grid.position, grid.face])
    return np.asarray((vectors[:, None] * stone[:, None]).sum(axis=3).reshape(9, -1))


def _room(edge: Edge) -> Work:
    """Room for one session."""
    words, normals = np.zeros(4, dtype=np.uint64), np.zeros(edge.terms)
    tall = np.zeros((parts.TALL, edge.nodes))
    # Some loads reach past the end of a row.
    along = np.zeros((parts.ROWS - parts.TALL, edge.places + parts.WIDTH))
    return Work(words, normals, *tall, *along)


def _before(rolled: RolledEdge, start: Flank) -> Before:
    """The edges before the session."""
    each = rolled.drop_mm.T, start.angle.T, start.lean.T, start.radius.T
    drop, angle, lean, radius = map(plain, each)
    field = plain(np.moveaxis(start.field, 2, 0))
    cot = 1 / np.tan(angle + lean)
    return Before(field, drop, angle, cot, lean, radius, bool(rolled.drop_mm.any()))


def plain(array: FloatArray) -> FloatArray:
    """The same numbers as the one kind of array that is compiled for."""
    plain = np.ascontiguousarray(array, dtype=np.float64)
    return plain if plain.flags.writeable else plain.copy()  # read-only is another kind


def _rule(rule: StopRule) -> Rule:
    """A stop rule of the package in numbers."""
    counted, clear, unnoticed, dull = 0, isinstance(rule, UntilClear), 0.0, 0.0
    if isinstance(rule, Counted):
        counted = rule.strokes
    elif isinstance(rule, UntilFresh | UntilClear):
        dull = 1 - rule.fraction + stop.ROUNDING
    if isinstance(rule, UntilFresh):
        unnoticed = rule.resolution_um / UM_PER_MM
    every = rule.strokes_between_looks
    return Rule(every, counted, clear, unnoticed, dull)
