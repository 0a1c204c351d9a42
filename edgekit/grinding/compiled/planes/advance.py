"""How far planes are advanced: what the edge needs at its stations and between them, compiled.

What `edgekit.grinding.planes` does with arrays. The stated share of the edge is a quantile, found
by summing what lies above a value instead of by sorting.
"""

from __future__ import annotations

import math
from typing import Any

from edgekit.grinding.compiled.lanes import (
    compiled,
    highest,
    if_below,
    load,
    most,
    save,
    total,
    wide,
)
from edgekit.grinding.compiled.parts import WIDTH
from edgekit.grinding.compiled.planes.parts import Edge, Stop, Work
from edgekit.grinding.compiled.planes.seating import alone, bends

STEPS, HALVINGS = 6, 24  # few steps serve a share near 1, halvings one far from it


@compiled
def needs(edge: Edge, stop: Stop, work: Work) -> None:
    """What the edge needs at its stations and, behind these, between them, with the length that
    each stands for.

    Between stations that two planes serve, the edge stands highest where these two cross: by what
    a curved edge bulges there, less high than on a line from station to station.
    """
    places = edge.places
    for s in range(0, places, WIDTH):
        save(work.need, s, if_below(0.0, load(work.dull, s), 0.0 - load(work.ahead, s), 0.0))
        save(work.need, places + s, 0.0)
        save(work.length, s, 0.0)
        save(work.length, places + s, 0.0)
    for s in range(edge.stations - 1):
        here, there = work.need[s], work.need[s + 1]
        first, second = int(work.server[s]), int(work.server[s + 1])
        between, before, behind = places + 1 + s, 1.0, 1.0
        if first != second and work.dull[s] > 0 and work.dull[s + 1] > 0:
            rise = alone(edge, second, s, stop, work) - here
            fall = alone(edge, first, s + 1, stop, work) - there
            if rise + fall > 0 and rise + fall < math.inf:  # infinite where one faces away
                before, behind = rise / (rise + fall), fall / (rise + fall)
                top = here + before * (there + fall - here)
                bend = bends(edge, second, s, stop, work) + bends(edge, first, s + 1, stop, work)
                work.need[between] = top - bend * (edge.gap[s] * edge.gap[s]) * before * behind
                work.length[between] = edge.gap[s]
        work.length[s] += before * edge.gap[s]
        work.length[s + 1] += behind * edge.gap[s]


@compiled
def above(edge: Edge, work: Work, level: float) -> tuple[float, float]:
    """Length of edge that needs a level or more, and the largest need below it."""
    length, below = wide(0.0), wide(-math.inf)
    for n in range(0, 2 * edge.places, WIDTH):
        need = load(work.need, n)
        length += if_below(need, level, 0.0, load(work.length, n))
        below = most(below, if_below(need, level, need, -math.inf))
    return float(total(length)), float(highest(below))


@compiled
def quantile(edge: Edge, stop: Stop, work: Work) -> float:
    """The least need such that no more than the spare part of the edge needs more."""
    low, value = 0.0, math.inf
    for step in range(2 * edge.places + STEPS + HALVINGS):
        halve = STEPS <= step < STEPS + HALVINGS and math.isfinite(value)
        level = (low + value) / 2 if halve else value
        length, below = above(edge, work, level)
        if length <= stop.spare:
            value = below
        elif halve:
            low = level
        else:
            break
    return value


@compiled
def advance(edge: Edge, planes: int, stop: Stop, work: Work) -> tuple[float, bool]:
    """Advance of the planes: the largest, and whether the limit allows what the target asks for.

    Where each placement stops by itself, a plane advances to the largest need among the stretches
    that it is the first to serve with the least, plus its overshoot.
    """
    asked, largest, places = quantile(edge, stop, work), 0.0, edge.places
    common = min(max(asked, 0.0), stop.largest)
    for p in range(planes):
        work.advance[p] = common if stop.alike else 0.0
    if not stop.alike:
        for s in range(0, places, WIDTH):
            save(work.need, s, served(work, s, places, common))
        for s in range(edge.stations):
            p = int(work.server[s])
            work.advance[p] = max(work.advance[p], work.need[s])
    for p in range(planes):
        work.advance[p] *= work.weight[p] if stop.alike else max(work.weight[p], 1.0)
        largest = max(largest, work.advance[p])
        moved = work.advance[p] > 0  # one that only touches cuts nothing
        work.offset[p] = work.support[p] - work.advance[p] if moved else math.inf
    return largest, asked <= stop.largest


@compiled
def served(work: Work, s: int, places: int, common: float) -> Any:
    """The largest need of sixteen stations and beside them, but for what is left dull."""
    here, before, behind = (
        load(work.need, s),
        load(work.need, places + s),
        load(work.need, places + 1 + s),
    )
    here = if_below(common, here, 0.0, here)
    before, behind = if_below(common, before, 0.0, before), if_below(common, behind, 0.0, behind)
    return most(here, most(before, behind))
