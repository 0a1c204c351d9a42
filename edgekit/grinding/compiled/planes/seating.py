"""Planes laid against a blade: what they touch first, and how far each must go to clear the edge.

What `edgekit.grinding.recession_field.seat` and `cut` do with arrays, for sixteen stations at once.
"""

from __future__ import annotations

import math
from typing import Any

from edgekit.grinding.compiled.lanes import (
    any_below,
    compiled,
    highest,
    if_below,
    least,
    load,
    most,
    save,
    wide,
)
from edgekit.grinding.compiled.parts import GRAZING, WIDTH
from edgekit.grinding.compiled.planes.parts import Edge, Stop, Work


@compiled
def seen(edge: Edge, x: float, y: float, z: float, vector: int, s: int) -> Any:
    """Products of a normal with one of the vectors of sixteen stations."""
    n = 3 * vector * edge.places + s
    first, second = load(edge.seen, n), load(edge.seen, n + edge.places)
    return x * first + y * second + z * load(edge.seen, n + 2 * edge.places)


@compiled
def seat(edge: Edge, planes: int, stop: Stop, work: Work) -> None:
    """Lay planes against a blade: the support of each, where it touches sixteen stations, and the
    first plane that serves each station with the least advance."""
    for s in range(0, edge.places, WIDTH):
        save(work.ahead, s, -math.inf)
        save(work.server, s, 0.0)
    for p in range(planes):
        support = -math.inf
        for s in range(0, edge.places, WIDTH):
            top = touch(edge, p, s, work)
            work.touch[p * (edge.places // WIDTH) + s // WIDTH] = top
            support = max(support, top)
        work.support[p] = support
        if support > -math.inf:
            serve(edge, p, support, work.weight[p] if stop.alike else 1.0, work)


@compiled
def touch(edge: Edge, p: int, s: int, work: Work) -> float:
    """How high a plane finds sixteen stations, as seen against its normal, and the leads (P,) that
    goals have there; -∞ where it faces none."""
    x, y, z, places = work.x[p], work.y[p], work.z[p], edge.places
    facing = seen(edge, x, y, z, 2, s)
    if not any_below(GRAZING, facing):
        save(work.lead, s, -math.inf)
        return -math.inf
    height, fall = seen(edge, x, y, z, 0, s), seen(edge, x, y, z, 1, s)
    gap = facing * load(work.field, s)
    for v in range(1, edge.depths):
        gap = least(gap, facing * load(work.field, v * places + s) + edge.fraction[v] * fall)
    goal = height - facing * load(work.goal, s) - load(work.lowered, s) * fall
    save(work.lead, s, if_below(GRAZING, facing, goal, -math.inf))
    return float(highest(if_below(GRAZING, facing, height - gap, -math.inf)))


@compiled
def serve(edge: Edge, p: int, support: float, weight: float, work: Work) -> None:
    """Keep the plane where it is the first to need the least."""
    for s in range(0, edge.places, WIDTH):
        lead, ahead = (load(work.lead, s) - support) / weight, load(work.ahead, s)
        save(work.server, s, if_below(ahead, lead, float(p), load(work.server, s)))
        save(work.ahead, s, most(ahead, lead))


@compiled
def alone(edge: Edge, p: int, s: int, stop: Stop, work: Work) -> float:
    """Advance by which a plane alone brings a station to its goal; infinite if it faces away."""
    facing = product(edge, p, 2, s, work)
    if not facing > GRAZING:
        return math.inf
    lead = product(edge, p, 0, s, work) - facing * work.goal[s]
    lead -= work.lowered[s] * product(edge, p, 1, s, work) + work.support[p]
    return float(-lead / work.weight[p] if stop.alike else -lead)


@compiled
def product(edge: Edge, p: int, vector: int, s: int, work: Work) -> float:
    """Product of a normal with one of the vectors of a station."""
    n = 3 * vector * edge.places + s
    first, second = edge.seen[n], edge.seen[n + edge.places]
    return float(
        work.x[p] * first + work.y[p] * second + work.z[p] * edge.seen[n + 2 * edge.places]
    )


@compiled
def grind(edge: Edge, planes: int, stop: Stop, work: Work) -> None:
    """Cut along the planes, each advanced from where it touched; where each is deepest on the face,
    the first plane that is, its fall, and how far inward it meets the face."""
    blocks = edge.places // WIDTH
    for s in range(0, edge.places, WIDTH):
        save(work.reach, s, -math.inf)
        save(work.plane, s, 0.0)
        save(work.fall, s, 0.0)
    for p in range(planes):
        offset = work.support[p] - work.advance[p]
        for b in range(blocks):
            # By more than rounding, as with arrays; one that faces nothing has no offset.
            if work.touch[p * blocks + b] > offset - stop.rounding:
                cut(edge, p, offset, b * WIDTH, work)


@compiled
def cut(edge: Edge, p: int, offset: float, s: int, work: Work) -> None:
    """Cut sixteen stations along a plane."""
    x, y, z, places = work.x[p], work.y[p], work.z[p], edge.places
    facing = seen(edge, x, y, z, 2, s)
    height, fall = seen(edge, x, y, z, 0, s) - offset, seen(edge, x, y, z, 1, s)
    inward = 1.0 / most(facing, GRAZING)
    level = if_below(GRAZING, facing, height * inward, -math.inf)
    slope = fall * inward
    reach, meets = load(work.reach, s), level - load(work.lowered, s) * slope
    save(work.plane, s, if_below(reach, meets, float(p), load(work.plane, s)))
    save(work.fall, s, if_below(reach, meets, fall, load(work.fall, s)))
    save(work.reach, s, most(reach, meets))
    for v in range(edge.depths):
        n = v * places + s
        save(work.after, n, most(load(work.after, n), level - edge.fraction[v] * slope))
