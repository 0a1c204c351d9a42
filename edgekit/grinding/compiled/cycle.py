"""What happens around compiled sessions: use dulls an edge before each, and measures follow it.

Both kinds of strokes have the rows of `Work` that are read here. Radii are kept in `unit` µm.
"""

from __future__ import annotations

import math

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.apexes import internal, void_factor
from edgekit.grinding.compiled.lanes import (
    compiled,
    highest,
    if_below,
    least,
    load,
    most,
    root,
    save,
    total,
    wide,
)
from edgekit.grinding.compiled.parts import (
    FOUND,
    LIMIT,
    NO_USE,
    ROOT,
    USED,
    WIDTH,
    Edge,
    Gauge,
    Use,
    Work,
)


@compiled
def dull(
    edge: Edge, use: Use, often: FloatArray, unit: float, measured: FloatArray, work: Work
) -> None:
    """Radii after a use, as `edgekit.life.use.EdgeUse` has them; `often` (16,) by patch."""
    if use.law == NO_USE:
        return
    measured[USED] = average(edge, use.share, 0, work.radius) * unit
    for s in range(edge.stations):
        work.area[s] = use.strokes[s] * often[use.patch[s]]
    for s in range(0, edge.places, WIDTH):
        cot, strokes = internal(work.cot, s, work), load(work.area, s)
        size = root(void_factor(cot, load(work.angle, s)) / use.void) * unit
        radius = size * load(work.radius, s)
        if use.law == ROOT:
            radius = root(radius * radius + use.rate * strokes)
        else:
            save(work.radius, s, radius)
            for station in range(s, s + WIDTH):
                work.radius[station] = grown(use, work.radius[station], work.area[station])
            radius = load(work.radius, s)
        save(work.radius, s, if_below(0.0, load(edge.weight, s), radius / size, 0.0))
    if use.attrition > 0:
        for v in range(edge.depths):
            for s in range(v * edge.places, v * edge.places + edge.stations):
                work.field[s] += use.attrition


@compiled
def grown(use: Use, radius: float, strokes: float) -> float:
    """A radius [µm] after more strokes at its place, by the laws of `edgekit.life.dulling`."""
    if use.law == LIMIT:
        return float(radius - max(use.rate - radius, 0.0) * math.expm1(-strokes / use.exponent))
    return float((radius ** (1 / use.exponent) + use.rate * strokes) ** use.exponent)


@compiled
def average(edge: Edge, weights: FloatArray, first: int, values: FloatArray) -> float:
    """Mean of a row of values by weights (P,) from a place on."""
    every = wide(0.0)
    for s in range(0, edge.places, WIDTH):
        every += load(weights, first + s) * load(values, s)
    return float(total(every))


@compiled
def found(edge: Edge, gauge: Gauge, unit: float, measured: FloatArray, work: Work) -> None:
    """Measures of the radii as a session finds them, if anything is measured."""
    if gauge.measured:
        for k in range(4):
            first = (4 + k) * edge.places
            measured[FOUND + k] = average(edge, gauge.weights, first, work.radius) * unit


@compiled
def measure(edge: Edge, gauge: Gauge, measured: FloatArray, work: Work) -> None:
    """Measures of what a session left, if anything is: the first ten of `MEASURED`."""
    if not gauge.measured:
        return
    for k in range(4):
        measured[k] = average(edge, gauge.weights, k * edge.places, work.inset)
    deepest, low, high = wide(-math.inf), wide(math.inf), wide(-math.inf)
    error, square = wide(0.0), wide(0.0)
    for s in range(0, edge.places, WIDTH):
        here, side = load(work.inset, s), load(gauge.on_side, s)
        took, whole = here - load(work.first, s), load(gauge.weights, 8 * edge.places + s)
        deepest = most(deepest, if_below(0.0, side, here, -math.inf))
        low = least(low, if_below(0.0, side, took, math.inf))
        high = most(high, if_below(0.0, side, took, -math.inf))
        off = load(work.angle, s) - load(gauge.angle, s)
        error, square = error + whole * off, square + whole * (off * off)
    measured[4], measured[5] = highest(deepest), work.inset[edge.stations // 2]
    measured[6] = work.inset[edge.stations - 1]
    measured[7] = highest(high) + highest(wide(0.0) - low)
    measured[8], measured[9] = total(error), total(square)
