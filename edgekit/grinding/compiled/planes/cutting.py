"""What a compiled session of local strokes ends with: planes cut, and what they leave.

What `edgekit.grinding.recession_field.cut` and `edgekit.grinding.planes` do with arrays, for
sixteen stations at a time, of which nothing is looked at twice.
"""

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
from edgekit.grinding.compiled.parts import GRAZING, WIDTH
from edgekit.grinding.compiled.planes.angles import arc, half_turns
from edgekit.grinding.compiled.planes.parts import SEEN, After, Edge, Lay, Stop, Work
from edgekit.grinding.compiled.planes.seating import LAST_PLANE, PLANES, higher, seen


@compiled
def finish(
    edge: Edge, plan: Lay, stop: Stop, fresh: float, run: int, work: Work, after: After
) -> None:
    """The edge that planes leave, and what has come off it."""
    count, n = higher(edge, plan, work.offset, work), 0
    sharp, whole = wide(0.0), wide(0.0)
    removed, dullness, cleared = wide(0.0), wide(0.0), wide(0.0)
    for s in range(0, edge.places, WIDTH):
        first = n
        while n < count and work.pairs[n] >> PLANES == s // WIDTH:
            n += 1
        reach, plane, fall = meet(edge, first, n, s, work)
        clear, cot = leave(edge, stop, fresh, reach, fall, run, s, work, after)
        put(edge, after.active, run, s, if_below(load(work.inset, s), reach, plane, -1.0), work)
        taken, parallel, gone = cut(edge, n - first, cot, run, s, work, after)
        weight, volume = load(edge.weight, s), load(edge.volume, s)
        whole += weight
        sharp += clear * weight
        removed += taken * volume
        dullness += parallel * volume
        cleared += gone * volume
    result = row(after.seen, SEEN * run)
    result[0] = total(sharp) / total(whole)
    result[1], result[2], result[3] = total(removed), total(dullness), total(cleared)


@compiled
def put(edge: Edge, target: FloatArray, line: int, s: int, lanes: Any, work: Work) -> None:
    """Write numbers of sixteen stations into a line (S,) of an array, as far as there are such."""
    start = line * edge.stations + s
    if s + WIDTH <= edge.stations:
        save(target, start, lanes)
    else:
        save(work.room, 0, lanes)
        for n in range(edge.stations - s):
            target[start + n] = work.room[n]


@compiled
def meet(edge: Edge, first: int, last: int, s: int, work: Work) -> Any:
    """Lines of some planes at sixteen stations, their levels and slopes; where these are deepest on
    the face, and there the first plane that is and its fall."""
    reach, deepest, drop = wide(-math.inf), wide(0.0), wide(0.0)
    for n in range(first, last):
        p = work.pairs[n] & LAST_PLANE
        x, y, z = work.x[p], work.y[p], work.z[p]
        facing = seen(edge, x, y, z, 2, s)
        height, fall = seen(edge, x, y, z, 0, s) - work.offset[p], seen(edge, x, y, z, 1, s)
        inward = 1.0 / most(facing, GRAZING)
        level, slope = if_below(GRAZING, facing, height * inward, -math.inf), fall * inward
        save(work.level, (n - first) * WIDTH, level)
        save(work.slope, (n - first) * WIDTH, slope)
        meets = level - load(work.lowered, s) * slope
        deepest = if_below(reach, meets, float(p), deepest)
        drop = if_below(reach, meets, fall, drop)
        reach = most(reach, meets)
    return reach, deepest, drop


@compiled
def leave(
    edge: Edge,
    stop: Stop,
    fresh: float,
    reach: Any,
    fall: Any,
    run: int,
    s: int,
    work: Work,
    after: After,
) -> Any:
    """What planes leave of sixteen apexes: where these are sharp, and the cotangents of the angles
    before."""
    inset, angle = load(work.inset, s), load(work.angle, s)
    radius, dull = load(work.radius, s), load(work.dull, s)
    goal = load(work.goal, s) - stop.rounding
    sharp = if_below(most(inset, reach), goal, 1.0 - dull, 1.0)
    radius = if_below(0.5, sharp * dull, fresh, radius)
    cosine = 0.0 - fall / load(edge.deepest, s)
    opening = arc(root(most((1.0 - cosine) * (1.0 + cosine), 0.0)), cosine)
    sine, cosine = half_turns(angle, work.room)
    cot = (cosine * cosine - sine * sine) / (2.0 * sine * cosine)
    angle = if_below(inset, reach, opening, angle)
    _, cosine = half_turns(angle - load(work.lean, s), work.room)
    put(edge, after.angle, run, s, angle, work)
    put(edge, after.radius, run, s, radius, work)
    put(edge, after.land, run, s, 2.0 * radius * cosine, work)
    put(edge, after.sharp, run, s, sharp, work)
    return sharp, cot


@compiled
def cut(edge: Edge, planes: int, cot: Any, run: int, s: int, work: Work, after: After) -> Any:
    """Cut sixteen stations along the lines of planes.

    What they lose, what they would lose if only their dullness were ground away, parallel to the
    flank at the edge, and what is gone since the blade was new; per depth of the deepest node.
    """
    inset, goal, half = load(work.inset, s), load(work.goal, s), load(edge.half, s)
    need = if_below(0.0, load(work.dull, s), goal - inset, 0.0)
    level = if_below(0.0, need, inset + need - load(work.drop, s) * cot, -math.inf)
    limit, slope = load(edge.limit, s), cot * load(edge.deepest, s)
    taken, parallel, gone = wide(0.0), wide(0.0), wide(0.0)
    for v in range(edge.depths):
        begun, share, depth = load(work.field, v * edge.places + s), edge.share[v], edge.fraction[v]
        field = begun
        for k in range(0, planes * WIDTH, WIDTH):
            field = most(field, load(work.level, k) - depth * load(work.slope, k))
        put(edge, after.field, run * edge.depths + v, s, field, work)
        old, new = least(begun, limit), least(field, limit)
        good = least(most(begun, level + depth * slope), limit)
        taken += share * (new - old) * (1.0 - half * (new + old))
        parallel += share * (good - old) * (1.0 - half * (good + old))
        gone += share * new * (1.0 - half * new)
    return taken, parallel, gone
