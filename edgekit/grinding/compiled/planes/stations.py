"""Where a compiled session of local strokes begins and what it ends with, station by station."""

from __future__ import annotations

import math
from typing import Any

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import (
    compiled,
    if_below,
    least,
    load,
    most,
    root,
    row,
    save,
    total,
    wide,
)
from edgekit.grinding.compiled.parts import BLUNTER, UM_PER_MM, WIDTH
from edgekit.grinding.compiled.planes.angles import arc, half_turns
from edgekit.grinding.compiled.planes.parts import SEEN, After, Before, Edge, Stop, Work


@compiled
def copy(source: FloatArray, target: FloatArray, size: int) -> None:
    """Copy numbers, sixteen at a time as far as these go."""
    lanes = size - size % WIDTH
    for n in range(0, lanes, WIDTH):
        save(target, n, load(source, n))
    for n in range(lanes, size):
        target[n] = source[n]


@compiled
def fill(edge: Edge, source: FloatArray, target: FloatArray) -> None:
    """A row (P,) of a station's numbers (S,)."""
    copy(source, target, edge.stations)
    for s in range(edge.stations, edge.places):
        target[s] = target[edge.stations - 1]


@compiled
def begin(edge: Edge, before: Before, run: int, fresh: float, work: Work) -> None:
    """Lay out the edge of a run: its field, where it is dull, and the inset that clears it."""
    places, stations, first = edge.places, edge.stations, run * edge.stations
    for v in range(edge.depths):
        fill(
            edge, row(before.field, first * edge.depths + v * stations), row(work.field, v * places)
        )
    for n in range(0, edge.nodes, WIDTH):
        save(work.after, n, load(work.field, n))
    fill(edge, row(before.angle, first), work.angle)
    fill(edge, row(before.lean, first), work.lean)
    fill(edge, row(before.radius, first), work.radius)
    fill(edge, row(before.drop, first), work.drop)
    for s in range(0, places, WIDTH):
        inset, radius = load(work.field, s), load(work.radius, s)
        if before.lowered:
            inset = inset_at(edge, s, work)
        sine, cosine = half_turns(load(work.angle, s) - load(work.lean, s), work.room)
        save(work.lowered, s, load(work.drop, s) / load(edge.deepest, s))
        save(work.inset, s, inset)
        goal = inset + radius * cosine / sine / UM_PER_MM
        save(work.goal, s, goal)
        save(work.goal_x, s, place(edge, goal, 0, s, work))
        save(work.goal_y, s, place(edge, goal, 1, s, work))
        save(work.goal_z, s, place(edge, goal, 2, s, work))
        save(work.dull, s, if_below(fresh * (1 + BLUNTER), radius, 1.0, 0.0))


@compiled
def place(edge: Edge, inset: Any, k: int, s: int, work: Work) -> Any:
    """A component of where sixteen stations of the edge would lie at an inset."""
    n, vector = k * edge.places + s, 3 * edge.places
    level = load(edge.seen, n) - load(work.lowered, s) * load(edge.seen, n + vector)
    return level - inset * load(edge.seen, n + 2 * vector)


@compiled
def inset_at(edge: Edge, s: int, work: Work) -> Any:
    """Inset of sixteen stations of the edge, where its lowered face lies."""
    share = least(most(load(work.drop, s) / load(edge.deepest, s), 0.0), 1.0)
    low, high = load(work.field, s), load(work.field, edge.places + s)
    start, size = wide(edge.fraction[0]), wide(edge.fraction[1] - edge.fraction[0])
    for v in range(1, edge.depths - 1):
        here, n = edge.fraction[v], v * edge.places + s
        low = if_below(share, here, low, load(work.field, n))
        high = if_below(share, here, high, load(work.field, n + edge.places))
        start = if_below(share, here, start, here)
        size = if_below(share, here, size, edge.fraction[v + 1] - here)
    return low + (share - start) / size * (high - low)


@compiled
def finish(edge: Edge, stop: Stop, fresh: float, run: int, work: Work, after: After) -> None:
    """The edge that planes leave, and what has come off it."""
    places, stations, first = edge.places, edge.stations, run * edge.stations
    sharp, whole = wide(0.0), wide(0.0)
    removed, dullness, cleared = wide(0.0), wide(0.0), wide(0.0)
    for s in range(0, places, WIDTH):
        leave(edge, stop, fresh, s, work)
        weight, volume = load(edge.weight, s), load(edge.volume, s)
        whole += weight
        sharp += load(work.sharp, s) * weight
        taken, parallel, now = volumes(edge, s, work)
        removed += taken * volume
        dullness += parallel * volume
        cleared += now * volume
    for v in range(edge.depths):
        start = first * edge.depths + v * stations
        copy(row(work.after, v * places), row(after.field, start), stations)
    copy(work.angle, row(after.angle, first), stations)
    copy(work.radius, row(after.radius, first), stations)
    copy(work.land, row(after.land, first), stations)
    copy(work.sharp, row(after.sharp, first), stations)
    copy(work.plane, row(after.active, first), stations)
    seen = row(after.seen, SEEN * run)
    seen[0] = total(sharp) / total(whole)
    seen[1], seen[2], seen[3] = total(removed), total(dullness), total(cleared)


@compiled
def volumes(edge: Edge, s: int, work: Work) -> Any:
    """What sixteen stations have lost, what they would have if only their dullness were ground
    away, parallel to the flank at the edge, and what is gone since the blade was new; per depth of
    the deepest node."""
    inset, goal, half = load(work.inset, s), load(work.goal, s), load(edge.half, s)
    deepest, limit, slope = load(edge.deepest, s), load(edge.limit, s), load(work.cot, s)
    need = if_below(0.0, load(work.dull, s), goal - inset, 0.0)
    level = if_below(0.0, need, inset + need - load(work.drop, s) * slope, -math.inf)
    slope = slope * deepest
    taken, parallel, now = wide(0.0), wide(0.0), wide(0.0)
    for v in range(edge.depths):
        n, share = v * edge.places + s, edge.share[v]
        begun = load(work.field, n)
        old, new = least(begun, limit), least(load(work.after, n), limit)
        good = least(most(begun, level + edge.fraction[v] * slope), limit)
        taken += share * (new - old) * (1.0 - half * (new + old))
        parallel += share * (good - old) * (1.0 - half * (good + old))
        now += share * new * (1.0 - half * new)
    return taken, parallel, now


@compiled
def leave(edge: Edge, stop: Stop, fresh: float, s: int, work: Work) -> None:
    """What planes leave of sixteen apexes."""
    inset, reach, goal = load(work.inset, s), load(work.reach, s), load(work.goal, s)
    angle, radius, dull = load(work.angle, s), load(work.radius, s), load(work.dull, s)
    sharp = if_below(most(inset, reach), goal - stop.rounding, 1.0 - dull, 1.0)
    radius = if_below(0.5, sharp * dull, fresh, radius)
    cosine = 0.0 - load(work.fall, s) / load(edge.deepest, s)
    opening = arc(root(most((1.0 - cosine) * (1.0 + cosine), 0.0)), cosine)
    sine, cosine = half_turns(angle, work.room)
    save(work.cot, s, (cosine * cosine - sine * sine) / (2.0 * sine * cosine))
    angle = if_below(inset, reach, opening, angle)
    _, cosine = half_turns(angle - load(work.lean, s), work.room)
    save(work.angle, s, angle)
    save(work.radius, s, radius)
    save(work.land, s, 2.0 * radius * cosine)
    save(work.sharp, s, sharp)
    save(work.plane, s, if_below(inset, reach, load(work.plane, s), -1.0))
