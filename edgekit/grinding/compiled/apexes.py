"""What strokes leave of rounded apexes, compiled: the land at a look, and what a session ends with.

The closed forms of `edgekit.contact.apex`, for sixteen stations at a time. Half angles take the
place of arcs: with cos θ = q the distance of a line from a circle's centre over the radius, the
chord over the arc π - β' - θ is √2 r (cos(β'/2) √(1 + q) - sin(β'/2) √(1 - q)).
"""

from __future__ import annotations

import math
from typing import Any

from edgekit.checks import FloatArray
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
    BLUNTER,
    KEEN_MM,
    MAX_STROKES,
    MET,
    UNMET,
    WIDTH,
    After,
    Edge,
    Rule,
    Work,
)

_TINIEST = 1e-300
_ROOT_2 = math.sqrt(2.0)


@compiled
def keep_start(edge: Edge, work: Work) -> None:
    """What looks need of the apexes before the session: their trigonometry."""
    for s in range(edge.places):
        tan = math.tan(work.angle[s] / 2)
        work.cos[s], work.sin[s] = (1 - tan * tan) / (1 + tan * tan), 2 * tan / (1 + tan * tan)
        work.ratio[s] = 1 / tan
        work.tangent[s] = work.radius[s] / tan
        work.whole[s] = 2 * work.radius[s] / math.sqrt(1 + tan * tan)
        cos, sin = work.lean_cos[s], work.lean_sin[s]
        turned = work.sin[s] * cos + work.cos[s] * sin
        work.cot[s] = (work.cos[s] * cos - work.sin[s] * sin) / turned
        work.new_cot[s] = work.cot[s]
    for s in range(edge.stations, edge.places):
        work.radius[s] = 0.0


@compiled
def lands(work: Work, s: int) -> Any:
    """Land of the stations from `s` on, and half of what a fresh edge of radius 1 would have."""
    cot = load(work.new_cot, s)
    across = 1.0 / root(1.0 + cot * cot)
    along, cos, sin = cot * across, load(work.lean_cos, s), load(work.lean_sin, s)
    new_cos, new_sin = along * cos + across * sin, across * cos - along * sin
    half_cos = root((1.0 + new_cos) / 2.0)
    radius = load(work.radius, s)
    moved = (load(work.inset, s) - load(work.first, s)) / most(radius, _TINIEST)
    q = (load(work.ratio, s) - moved) * new_sin - new_cos
    held = least(most(q, -1.0), 1.0)
    half_sin = new_sin / (2.0 * half_cos)
    chord = half_cos * root(1.0 + held) - half_sin * root(1.0 - held)
    whole = load(work.whole, s)
    land = least(most(_ROOT_2 * radius * chord, 0.0), whole)
    return if_below(q, 1.0, land, whole), half_cos


@compiled
def look(edge: Edge, work: Work, rule: Rule, fresh: float, seen: FloatArray, number: int) -> int:
    """Look at the edge after a `number` of strokes: how the session stands; what is `seen` (3,)."""
    least_blunt, worst, every = fresh * (1 + BLUNTER), wide(-math.inf), 0.0
    for s in range(0, edge.places, WIDTH):
        if rule.clear:
            margin = load(work.tangent, s) - (load(work.inset, s) - load(work.first, s))
        else:
            land, half_cos = lands(work, s)
            margin = land - 2.0 * fresh * half_cos - rule.unnoticed
        radius = load(work.radius, s)
        worst = most(worst, if_below(least_blunt, radius, margin, -KEEN_MM))
        save(work.margin, s, if_below(least_blunt, radius, margin, 0.0))
    for s in range(0, edge.places, WIDTH):
        here, there = load(work.margin, s), load(work.margin, s + 1)
        above = most(here, 0.0) + most(there, 0.0)
        span = most(here, 0.0 - here) + most(there, 0.0 - there)
        every += total(load(edge.pairs, s) * if_below(0.0, span, above / span, 0.0))
    seen[0], seen[1], seen[2] = every / (edge.stations - 1), highest(worst), seen[1]
    if (number >= rule.counted) if rule.counted > 0 else (seen[0] <= rule.dull):
        return MET
    return UNMET if number == MAX_STROKES else 0


@compiled
def needed(work: Work, rule: Rule, fresh: float, s: int) -> Any:
    """How far a stone without error must reach at the stations from `s` on, as
    `edgekit.contact.apex.fresh_inset` and `clear_inset`."""
    radius, cos, sin = load(work.radius, s), load(work.cos, s), load(work.sin, s)
    need = load(work.tangent, s)
    if not rule.clear:
        half = root((1.0 + cos) / 2.0)
        chord = least((2.0 * fresh * half + rule.unnoticed) / (2.0 * most(radius, _TINIEST)), half)
        square = chord * chord
        arc_sin = 2.0 * chord * root(1.0 - square)
        need = radius * (1.0 + cos * (1.0 - 2.0 * square) - sin * arc_sin) / sin
    return if_below(fresh * (1 + BLUNTER), radius, need, 0.0)


@compiled
def leave(edge: Edge, work: Work, fresh: float, run: int, after: After) -> None:
    """Land and radius of a run's apexes after the session."""
    for s in range(0, edge.places, WIDTH):
        land, _ = lands(work, s)
        save(work.land, s, land)
    for s in range(edge.stations):
        radius, moved = work.radius[s], work.inset[s] - work.first[s]
        here = run * edge.stations + s
        after.land[here] = work.land[s]
        after.radius[here] = radius
        if moved > 0:
            cot = work.new_cot[s]
            across = 1 / math.sqrt(1 + cot * cot)
            cos = cot * across * work.lean_cos[s] + across * work.lean_sin[s]
            sin = across * work.lean_cos[s] - cot * across * work.lean_sin[s]
            rest = missing(work, s, moved, cos, sin)
            void = (1 + cos) / sin - (math.pi - work.new_angle[s]) / 2
            after.radius[here] = max(math.sqrt(rest / void), min(fresh, radius))


@compiled
def missing(work: Work, s: int, moved: float, cos: float, sin: float) -> float:
    """Area missing from the new corner at a station, of an angle with this `cos` and `sin`."""
    radius, ratio = work.radius[s], work.ratio[s]
    if (ratio - moved / max(radius, _TINIEST)) * sin - cos >= 1:
        opened = work.cos[s] / work.sin[s] - cos / sin
        void = moved * moved / (2 * opened) if opened > 0 else 0.0
        return float((ratio - (math.pi - work.angle[s]) / 2) * radius * radius - void)
    half = work.land[s] / (2 * max(radius, _TINIEST))
    arc = 2 * math.asin(min(half, 1.0))
    if arc <= 0:
        return 0.0
    depth = 2 * radius * half * half
    arc_sin = 2 * half * math.sqrt(max(1 - half * half, 0.0))
    corner = (work.tangent[s] - moved) * depth / 2 - radius * radius * (arc - arc_sin) / 2
    return float(max(corner, 0.0))
