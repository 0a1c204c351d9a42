"""Lines that reach a centre of curvature, where there is no more steel: station by station."""

from __future__ import annotations

import math

from edgekit.grinding.compiled.lanes import compiled
from edgekit.grinding.compiled.parts import (
    EXACT,
    MAX_STEPS,
    PAST_REACH,
    ROUNDING,
    TINY,
    WIDTH,
    Edge,
    Work,
)


@compiled
def past_centre(edge: Edge, work: Work, s: int) -> None:
    """Levels once more of those stations, of sixteen, whose lines reach a centre of curvature."""
    for station in range(s, min(s + WIDTH, edge.stations)):
        past = not math.isfinite(work.level[station])
        for v in range(edge.depths):
            n = v * edge.places + station
            line = work.level[station] + work.slope[station] * edge.depth[n]
            past = past or (line > edge.centre[station] and line > work.field[n])
        if past:
            work.level[station] = by_steps(edge, work, station)


@compiled
def by_steps(edge: Edge, work: Work, s: int) -> float:
    """Level of the line that takes the area of a station, by Newton's method within a bracket, from
    a usual reach past touch; infinite where there is none."""
    low, least, places = math.inf, math.inf, edge.places
    for v in range(edge.depths):
        n = v * places + s
        through = work.field[n] - work.slope[s] * edge.depth[n]
        least = min(least, through)
        low = min(low, through) if work.field[n] < edge.centre[s] else low
    low = low if low < math.inf else least
    deepest = edge.depth[edge.nodes - places + s]
    high = edge.centre[s] - min(work.slope[s] * deepest, 0.0)  # past a centre everywhere
    level = low + min(PAST_REACH * work.area[s] / deepest, max(high - low, 0.0) / 2)
    for _ in range(MAX_STEPS):
        within, excess, width = 0.0, -work.area[s], 0.0
        for v in range(edge.depths):
            n = v * places + s
            line = level + work.slope[s] * edge.depth[n]
            old, new = min(work.field[n], edge.centre[s]), min(line, edge.centre[s])
            within += work.node[n] * (old - edge.half[s] * old * old)
            if line > work.field[n]:
                excess += work.node[n] * (new - old) * (1 - edge.half[s] * (new + old))
                width += work.node[n] * max(1 - 2 * edge.half[s] * line, 0.0)
        if abs(excess) <= EXACT * work.area[s] + ROUNDING * within:
            return float(level)
        low, high = (level, high) if excess < 0 else (low, level)
        level -= excess / max(width, TINY)
        level = (low + high) / 2 if level < low or level > high else level
    return math.inf
