"""Strokes of a flat stone on the whole of a nearly straight edge, compiled."""

from __future__ import annotations

import math

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import compiled, if_below, least, load, most, save, total, wide
from edgekit.grinding.compiled.parts import (
    EXACT,
    GRAZING,
    MAX_STEPS,
    ROUNDING,
    TINY,
    WIDTH,
    Edge,
    Hand,
    Work,
)


@compiled
def flat_levels(edge: Edge, hand: Hand, normal: FloatArray, work: Work) -> bool:
    """Levels (P,) of the lines of a flat stone, which sinks until it has taken the volume; false if
    it never has (`edgekit.grinding.rolling.flat_stroke`)."""
    plane(edge, hand, normal, work)
    places, volume, gain, flat, within = edge.places, hand.volume, 0.0, 0.0, 0.0
    for s in range(0, places, WIDTH):
        slope, offset, weight = load(work.slope, s), load(work.level, s), load(edge.weight, s)
        over, stands, old = wide(0.0), wide(0.0), wide(0.0)
        for v in range(edge.depths):
            n = v * places + s
            rise, field, node = slope * load(edge.depth, n), load(work.field, n), load(work.node, n)
            stands += node
            over += node * (offset + rise - field)
            held = least(field, load(edge.centre, s))
            old += node * held * (1.0 - load(edge.half, s) * held)
        gain += total(weight * stands * load(work.reach, s))
        flat += total(weight * over)
        within += total(weight * old)
    depth = (volume - flat) / gain
    for _ in range(MAX_STEPS):
        excess, gain = taken(edge, work, depth)
        if abs(excess - volume) <= EXACT * volume + ROUNDING * within:
            for s in range(0, places, WIDTH):
                save(work.level, s, load(work.level, s) + load(work.reach, s) * depth)
            return True
        depth -= (excess - volume) / gain
    return False


@compiled
def taken(edge: Edge, work: Work, depth: float) -> tuple[float, float]:
    """Volume that the plane takes at a depth, and how it grows."""
    places, excess, growth = edge.places, 0.0, 0.0
    for s in range(0, places, WIDTH):
        factor, half, weight = load(work.reach, s), load(edge.half, s), load(edge.weight, s)
        level, centre = load(work.level, s) + factor * depth, load(edge.centre, s)
        area, width, curvature = wide(0.0), wide(0.0), load(edge.curvature, s)
        slope = load(work.slope, s)
        for v in range(edge.depths):
            n = v * places + s
            line, field, node = (
                level + slope * load(edge.depth, n),
                load(work.field, n),
                load(work.node, n),
            )
            old, new = least(field, centre), least(most(field, line), centre)
            area += node * (new - old) * (1.0 - half * (new + old))
            step = node * most(1.0 - curvature * line, 0.0)
            width += if_below(field, line, step, 0.0)
        excess += total(area * weight)
        growth += total(most(width, TINY) * factor * weight)
    return excess, growth


@compiled
def plane(edge: Edge, hand: Hand, normal: FloatArray, work: Work) -> None:
    """Lines (P,) of the plane of a flat stone that touches at mid-edge: their slope, the level
    there, and by how much they follow it as ``reach``."""
    tilt = math.tan(hand.tilt + hand.tilt_sd * normal[0])
    swing = math.tan(hand.swing_sd * normal[1])
    middle = edge.stations // 2
    into, here = -product(edge, 0, middle, tilt, swing), product(edge, 1, middle, tilt, swing)
    for s in range(edge.stations):
        facing = -product(edge, 0, s, tilt, swing)
        sees = facing > GRAZING
        height = product(edge, 1, s, tilt, swing) - here
        fall = product(edge, 2, s, tilt, swing)
        work.level[s] = height / facing if sees else -math.inf
        work.reach[s] = into / facing if sees else 0.0
        work.slope[s] = -fall / facing if sees else 0.0
        work.tilt[s] = math.atan2(1.0, work.slope[s]) - edge.aimed[s]


@compiled
def product(edge: Edge, vector: int, s: int, tilt: float, swing: float) -> float:
    """Product of one of the vectors seen at a station with the normal of a stone, tilted and
    swung."""
    row, places = 3 * vector * edge.places + s, edge.places
    seen = edge.seen
    return float(seen[row] + tilt * seen[row + places] + swing * seen[row + 2 * places])
