"""One session of rolling strokes on one edge by the compiled engine, where that can serve."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.errors import Cannot
from edgekit.grinding.compiled import engine
from edgekit.grinding.random_streams import StrokeNumbers
from edgekit.grinding.recession_field import MIN_CURVATURE
from edgekit.grinding.rolling import RolledEdge
from edgekit.grinding.rolling_session import (
    FLAT_RAD,
    REGISTERED_RAD,
    Collected,
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

if TYPE_CHECKING:
    from edgekit.grinding.compiled.strokes import Before, Edge, Rule


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
    if type(method.stop) not in (Counted, UntilFresh, UntilClear):
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
    strokes, runs = engine.functions(), len(fresh_radius)
    edge, before = _edge(rolled, hands), _before(rolled, start)
    swing_sd = np.minimum(hands.swing_sd_rad, REGISTERED_RAD)
    errors = (hands.tilt_rad, hands.tilt_sd_rad, hands.within_sd_rad, swing_sd)
    hand = strokes.Hand(*map(_plain, (*errors, hands.volume_mm3, fresh_radius)))
    now = strokes.Now(
        field=np.array(np.moveaxis(start.field, 2, 0), order="C"),
        angle=np.array(start.angle.T, order="C"),
        margin=np.empty(before.angle.shape),
        seen=np.zeros((runs, 3)),
        strokes=np.zeros(runs, dtype=np.int64),
        end=np.zeros(runs, dtype=np.int64),
    )
    block = 0
    while len(going := np.flatnonzero(now.end == strokes.GOING)):
        normals = draws.block(block, going)
        strokes.roll(edge, before, hand, _rule(rule), now, going, normals)
        block += 1
    lost = hands.volume_mm3[now.end == strokes.NO_DEPTH]
    if len(lost):
        raise Cannot("a stroke took no definite depth", lost, "Give it less steel.")
    done = Collected(start)
    done.field[:] = np.moveaxis(now.field, 0, 2)
    done.angle[:], done.margin[:] = now.angle.T, now.margin.T
    done.strokes[:], done.share[:], done.met[:] = (
        now.strokes,
        now.seen[:, 0],
        now.end == strokes.MET,
    )
    done.overshoot[:] = past_need(now.seen[:, 2], now.seen[:, 1], rule, hands.volume_mm3)
    return done.session(rolled, start, fresh_radius, rule)


def _edge(rolled: RolledEdge, hands: Hands) -> Edge:
    """What all runs share."""
    grid = rolled.grid
    curvature = np.maximum(grid.plan_curvature, MIN_CURVATURE)
    made: Edge = engine.functions().Edge(
        *map(_plain, (grid.depth_mm, grid.plan_curvature, curvature / 2, 1 / curvature)),
        *map(_plain, (grid.station_weights_mm, rolled.angle_rad, hands.modes)),
        flat=bool(rolled.turned_rad[-1] < FLAT_RAD),
        seen=_seen(rolled),
    )
    return made


def _seen(rolled: RolledEdge) -> FloatArray:
    """Products (3, 3, S) of the stations' vectors with those of a flat stone at mid-edge."""
    grid, middle = rolled.grid, len(rolled.angle_rad) // 2
    normal, along = rolled.normals[middle], grid.tangent[middle]
    stone = np.stack([normal, -grid.edge.side * np.cross(along, normal), along])
    vectors = np.stack([grid.inward, grid.position, grid.face])
    return _plain((vectors[:, None] * stone[:, None]).sum(axis=3))


def _before(rolled: RolledEdge, start: Flank) -> Before:
    """The edges before the session."""
    node = _plain(np.moveaxis(rolled.node_mm, 2, 0))
    each = (rolled.drop_mm, rolled.inset(start.field), start.angle, start.lean, start.radius)
    made: Before = engine.functions().Before(node, *(_plain(part.T) for part in each))
    return made


def _plain(array: FloatArray) -> FloatArray:
    """The same numbers as the one kind of array that is compiled for: read-only is another."""
    return np.array(array, dtype=np.float64, order="C")


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
    made: Rule = engine.functions().Rule(every, counted, clear, unnoticed, dull)
    return made
