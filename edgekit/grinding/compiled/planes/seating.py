"""Planes laid against a blade: what they touch first, and how far each must go to clear the edge.

What `edgekit.grinding.recession_field.seat` does with arrays, for sixteen stations at once.
"""

from __future__ import annotations

import math
from typing import Any

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import (
    any_below,
    compiled,
    highest,
    if_below,
    least,
    load,
    most,
    row,
    save,
    wide,
)
from edgekit.grinding.compiled.parts import GRAZING, WIDTH
from edgekit.grinding.compiled.planes.parts import Edge, Lay, Stop, Work

PLANES = 16  # bits of a plane's number, beside that of a block
LAST_PLANE = (1 << PLANES) - 1


@compiled
def seen(edge: Edge, x: float, y: float, z: float, vector: int, s: int) -> Any:
    """Products of a normal with one of the vectors of sixteen stations."""
    n = 3 * vector * edge.places + s
    first, second = load(edge.seen, n), load(edge.seen, n + edge.places)
    return x * first + y * second + z * load(edge.seen, n + 2 * edge.places)


@compiled
def seat(edge: Edge, plan: Lay, stop: Stop, work: Work) -> None:
    """Lay planes against a blade: the support of each, and the first plane that serves each station
    with the least advance.

    Blocks of stations lie in boxes, and where a plane finds a box no higher than another block it
    need not look inside.
    """
    blocks = edge.places // WIDTH
    for b in range(blocks):
        enclose(edge, b, work)
        for p in range(0, plan.rows, WIDTH):
            save(work.bound, b * plan.rows + p, bound(edge, b, p, work))
            save(work.faced, b * plan.rows + p, faced(edge, b, p, work))
    for p in range(0, plan.rows, WIDTH):
        save(work.best, p, best(edge, plan, p, work))
    for p in range(plan.planes):
        b = int(work.best[p])
        work.support[p] = touch(edge, p, b * WIDTH, work)
        work.bound[b * plan.rows + p] = work.support[p]
    for n in range(higher(edge, plan, work.support, work)):
        b, p = work.pairs[n] >> PLANES, work.pairs[n] & LAST_PLANE
        top = touch(edge, p, b * WIDTH, work)
        work.bound[b * plan.rows + p] = top
        work.support[p] = max(work.support[p], top)
    for s in range(0, edge.places, WIDTH):
        serve(edge, plan, stop, s, work)


@compiled
def enclose(edge: Edge, b: int, work: Work) -> None:
    """The box round a block of stations."""
    places, s, box = edge.places, b * WIDTH, row(work.box, 6 * b)
    for k in range(3):
        n, low, high = k * places + s, wide(math.inf), wide(-math.inf)
        position, face = load(edge.boxed, n), load(edge.boxed, n + 3 * places)
        outward = load(edge.boxed, n + 6 * places)
        for v in range(edge.depths):
            inset = load(work.field, v * places + s)
            along = position - edge.fraction[v] * face - inset * outward
            low, high = least(low, along), most(high, along)
        start, end = -highest(0.0 - low), highest(high)
        box[k], box[3 + k] = (start + end) / 2, (end - start) / 2


@compiled
def bound(edge: Edge, b: int, p: int, work: Work) -> Any:
    """No lower than sixteen planes find a block."""
    axes, box, high = row(edge.axes, 9 * b), row(work.box, 6 * b), wide(0.0)
    x, y, z = load(work.x, p), load(work.y, p), load(work.z, p)
    for k in range(3):
        along = x * axes[3 * k] + y * axes[3 * k + 1] + z * axes[3 * k + 2]
        high += along * box[k] + most(along, 0.0 - along) * box[3 + k]
    return high


@compiled
def faced(edge: Edge, b: int, p: int, work: Work) -> Any:
    """No more than sixteen planes face any station of a block."""
    box, low = row(edge.outward, 6 * b), wide(0.0)
    for k in range(3):
        normal = load(work.x if k == 0 else work.y if k == 1 else work.z, p)
        low += normal * box[k] - most(normal, 0.0 - normal) * box[3 + k]
    return low


@compiled
def best(edge: Edge, plan: Lay, p: int, work: Work) -> Any:
    """The blocks that sixteen planes may find highest."""
    high, block = load(work.bound, p), wide(0.0)
    for b in range(1, edge.places // WIDTH):
        here = load(work.bound, b * plan.rows + p)
        block = if_below(high, here, float(b), block)
        high = most(high, here)
    return block


@compiled
def higher(edge: Edge, plan: Lay, level: FloatArray, work: Work) -> int:
    """How many pairs of a block and a plane may be above the plane's level; block by block.

    Each is written down and then kept or not: a branch would often be mispredicted.
    """
    count = 0
    for b in range(edge.places // WIDTH):
        for p in range(plan.planes):
            work.pairs[count] = b << PLANES | p
            count += int(work.bound[b * plan.rows + p] > level[p])
    return count


@compiled
def touch(edge: Edge, p: int, s: int, work: Work) -> float:
    """How high a plane finds sixteen stations, against its normal; -∞ where it faces none."""
    x, y, z, places = work.x[p], work.y[p], work.z[p], edge.places
    facing = seen(edge, x, y, z, 2, s)
    if not any_below(GRAZING, facing):
        return -math.inf
    height, rise = seen(edge, x, y, z, 0, s), seen(edge, x, y, z, 1, s) / facing
    gap = load(work.field, s)
    for v in range(1, edge.depths):
        gap = least(gap, load(work.field, v * places + s) + edge.fraction[v] * rise)
    return float(highest(if_below(GRAZING, facing, height - facing * gap, -math.inf)))


@compiled
def serve(edge: Edge, plan: Lay, stop: Stop, s: int, work: Work) -> None:
    """Which plane is the first to need the least at sixteen stations, and how little."""
    ahead, server = wide(-math.inf), wide(0.0)
    x, y, z = load(work.goal_x, s), load(work.goal_y, s), load(work.goal_z, s)
    for p in range(plan.planes):
        lead = work.x[p] * x + (work.y[p] * y + (work.z[p] * z - work.support[p]))
        if stop.alike:
            lead = lead * (1.0 / work.weight[p])
        if work.faced[s // WIDTH * plan.rows + p] <= GRAZING:
            facing = seen(edge, work.x[p], work.y[p], work.z[p], 2, s)
            lead = if_below(GRAZING, facing, lead, -math.inf)
        server = if_below(ahead, lead, float(p), server)
        ahead = most(ahead, lead)
    save(work.ahead, s, ahead)
    save(work.server, s, server)


@compiled
def alone(edge: Edge, p: int, s: int, stop: Stop, work: Work) -> float:
    """Advance by which a plane alone brings a station to its goal; infinite if it faces away."""
    if not product(edge, p, 2, s, work) > GRAZING:
        return math.inf
    goal = work.x[p] * work.goal_x[s] + work.y[p] * work.goal_y[s] + work.z[p] * work.goal_z[s]
    return float((work.support[p] - goal) / (work.weight[p] if stop.alike else 1.0))


@compiled
def bends(edge: Edge, p: int, s: int, stop: Stop, work: Work) -> float:
    """How what a plane alone needs is curved along the edge."""
    facing, curvature = product(edge, p, 2, s, work), 2.0 * edge.half[s]
    share = work.weight[p] if stop.alike else 1.0
    return float(facing / share * curvature * (1.0 - curvature * work.goal[s]))


@compiled
def product(edge: Edge, p: int, vector: int, s: int, work: Work) -> float:
    """Product of a normal with one of the vectors of a station."""
    n = 3 * vector * edge.places + s
    first, second = edge.seen[n], edge.seen[n + edge.places]
    return float(
        work.x[p] * first + work.y[p] * second + work.z[p] * edge.seen[n + 2 * edge.places]
    )
