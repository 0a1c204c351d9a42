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
    save,
    total,
    wide,
)
from edgekit.grinding.compiled.parts import GRAZING, WIDTH
from edgekit.grinding.compiled.planes.angles import arc
from edgekit.grinding.compiled.planes.parts import Edge, Lay, Stop, Work
from edgekit.grinding.compiled.planes.seating import LAST_PLANE, PLANES, higher, seen
from edgekit.grinding.compiled.planes.stations import inset_at


@compiled
def finish(
    edge: Edge, plan: Lay, stop: Stop, fresh: float, lowered: bool, volume: FloatArray, work: Work
) -> float:
    """The edge that planes leave, and the volumes (3,) that have come off it; the share still
    dull."""
    count, n = higher(edge, plan, work.offset, work), 0
    blunt, whole = wide(0.0), wide(0.0)
    removed, dullness, cleared = wide(0.0), wide(0.0), wide(0.0)
    for s in range(0, edge.places, WIDTH):
        first = n
        while n < count and work.pairs[n] >> PLANES == s // WIDTH:
            n += 1
        reach, plane, fall = meet(edge, first, n, s, work)
        taken, parallel, gone = cut(edge, n - first, s, work)
        sharp = leave(edge, stop, fresh, reach, fall, s, work)
        save(work.active, s, if_below(load(work.inset, s), reach, plane, -1.0))
        save(work.inset, s, inset_at(edge, s, work) if lowered else load(work.field, s))
        weight, steel = load(edge.weight, s), load(edge.volume, s)
        whole += weight
        blunt += (1.0 - sharp) * weight
        removed += taken * steel
        dullness += parallel * steel
        cleared += gone * steel
    volume[0], volume[1], volume[2] = total(removed), total(dullness), total(cleared)
    return float(total(blunt) / total(whole))


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
def leave(edge: Edge, stop: Stop, fresh: float, reach: Any, fall: Any, s: int, work: Work) -> Any:
    """What planes leave of sixteen apexes, and where these are sharp."""
    inset, dull = load(work.inset, s), load(work.dull, s)
    goal = load(work.goal, s) - stop.rounding
    sharp = if_below(most(inset, reach), goal, 1.0 - dull, 1.0)
    save(work.radius, s, if_below(0.5, sharp * dull, fresh, load(work.radius, s)))
    cosine = 0.0 - fall / load(edge.deepest, s)
    sine = root(most((1.0 - cosine) * (1.0 + cosine), 0.0))
    opening = arc(sine, cosine) - load(work.lean, s)
    save(work.angle, s, if_below(inset, reach, opening, load(work.angle, s)))
    save(work.cot, s, if_below(inset, reach, cosine / sine, load(work.cot, s)))
    save(work.sharp, s, sharp)
    return sharp


@compiled
def cut(edge: Edge, planes: int, s: int, work: Work) -> Any:
    """Cut sixteen stations along the lines of planes.

    What they lose, what they would lose if only their dullness were ground away, parallel to the
    flank at the edge, and what is gone since the blade was new; per depth of the deepest node.
    """
    inset, goal, half = load(work.inset, s), load(work.goal, s), load(edge.half, s)
    need, cot = if_below(0.0, load(work.dull, s), goal - inset, 0.0), load(work.cot, s)
    level = if_below(0.0, need, inset + need - load(work.drop, s) * cot, -math.inf)
    limit, slope = load(edge.limit, s), cot * load(edge.deepest, s)
    taken, parallel, gone = wide(0.0), wide(0.0), wide(0.0)
    for v in range(edge.depths):
        n, share, depth = v * edge.places + s, edge.share[v], edge.fraction[v]
        begun = load(work.field, n)
        field = begun
        for k in range(0, planes * WIDTH, WIDTH):
            field = most(field, load(work.level, k) - depth * load(work.slope, k))
        save(work.field, n, field)
        old, new = least(begun, limit), least(field, limit)
        good = least(most(begun, level + depth * slope), limit)
        taken += share * (new - old) * (1.0 - half * (new + old))
        parallel += share * (good - old) * (1.0 - half * (good + old))
        gone += share * new * (1.0 - half * new)
    return taken, parallel, gone
