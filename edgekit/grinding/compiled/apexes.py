"""What strokes leave of rounded apexes, compiled: the land at a look, and what a session ends with.

The closed forms of `edgekit.contact.apex`, for sixteen stations at a time. Roots take the place of
arcs: with cos θ = q the distance of a line from a circle's centre over the radius, the chord over
the arc π - β' - θ is r (√((1 + cos β') (1 + q)) - √((1 - cos β') (1 - q))).
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
    Edge,
    Rule,
    Work,
)

_TINIEST = 1e-300
_ROOT_2 = math.sqrt(2.0)

# Highest power first; as in the freely distributable mathematical library fdlibm, from memory,
# and within 1e-15 of Python's own (see the test).
_OVER = (
    *(3.47933107596021167570e-05, 7.91534994289814532176e-04, -4.00555345006794114027e-02),
    *(2.01212532134862925881e-01, -3.25565818622400915405e-01, 1.66666666666666657415e-01),
)
_UNDER = (
    *(7.70381505559019352791e-02, -6.88283971605453293030e-01, 2.02094576023350569471e00),
    *(-2.40339491173441421878e00, 1.0),
)


@compiled
def keep_start(edge: Edge, work: Work) -> None:
    """What looks need of the apexes before the session: their trigonometry."""
    for s in range(0, edge.places, WIDTH):
        cot, radius = internal(work.cot, s, work), load(work.radius, s)
        longer = root(1.0 + cot * cot)
        cos = cot / longer
        save(work.cos, s, cos)
        save(work.sin, s, 1.0 / longer)
        save(work.ratio, s, cot + longer)
        save(work.per_radius, s, 1.0 / most(radius, _TINIEST))
        save(work.tangent, s, radius * (cot + longer))
        save(work.whole, s, _ROOT_2 * radius * root(1.0 + cos))


@compiled
def internal(cot: FloatArray, s: int, work: Work) -> Any:
    """Cotangents of the internal angles, from those (P,) of the flank with the nominal face."""
    flank, cos, sin = load(cot, s), load(work.lean_cos, s), load(work.lean_sin, s)
    if any_below(0.0, sin * sin):
        flank = (flank * cos + sin) / (cos - flank * sin)
    return flank


@compiled
def turn_face(edge: Edge, work: Work) -> None:
    """Cosines and sines of the face's lean, as `internal` reads them; most faces have none."""
    for s in range(edge.places):
        work.lean_cos[s], work.lean_sin[s] = 1.0, 0.0
        if work.lean[s] != 0:
            work.lean_cos[s], work.lean_sin[s] = math.cos(work.lean[s]), math.sin(work.lean[s])


@compiled
def void_factor(cot: Any, angle: Any) -> Any:
    """As `edgekit.contact.apex` has it, of internal angles and their cotangents."""
    return cot + root(1.0 + cot * cot) - (math.pi - angle) / 2.0


@compiled
def lands(work: Work, s: int) -> Any:
    """Land of the stations from `s` on, and half of what a fresh edge of radius 1 would have."""
    cot = internal(work.new_cot, s, work)
    new_sin = 1.0 / root(1.0 + cot * cot)
    new_cos = cot * new_sin
    moved = (load(work.inset, s) - load(work.first, s)) * load(work.per_radius, s)
    q = (load(work.ratio, s) - moved) * new_sin - new_cos
    held, cos_square, sin_square = least(most(q, -1.0), 1.0), 1.0 + new_cos, 1.0 - new_cos
    chord = root(cos_square * (1.0 + held)) - root(sin_square * (1.0 - held))
    whole = load(work.whole, s)
    land = least(most(load(work.radius, s) * chord, 0.0), whole)
    return if_below(q, 1.0, land, whole), root(cos_square / 2.0)


@compiled
def look(edge: Edge, work: Work, rule: Rule, fresh: float, seen: FloatArray, number: int) -> int:
    """Look at the edge after a `number` of strokes: how the session stands; what is `seen` (3,)."""
    least_blunt, worst, every = fresh * (1 + BLUNTER), wide(-math.inf), wide(0.0)
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
        every += load(edge.pairs, s) * if_below(0.0, span, above / span, 0.0)
    seen[0], seen[1], seen[2] = total(every) / (edge.stations - 1), highest(worst), seen[1]
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
def leave(edge: Edge, work: Work, fresh: float) -> None:
    """Land and radius of the apexes after the session, and the wedges that now bear them."""
    for s in range(0, edge.places, WIDTH):
        land, _ = lands(work, s)
        save(work.land, s, land)
        radius, moved = load(work.radius, s), load(work.inset, s) - load(work.first, s)
        cot, angle = internal(work.new_cot, s, work), load(work.new_angle, s)
        sin = 1.0 / root(1.0 + cot * cot)
        left = root(missing(work, s, moved, cot, sin) / void_factor(cot, angle))
        save(work.radius, s, if_below(0.0, moved, most(left, least(fresh, radius)), radius))
        save(work.angle, s, angle)
        save(work.cot, s, load(work.new_cot, s))


@compiled
def missing(work: Work, s: int, moved: Any, cot: Any, sin: Any) -> Any:
    """Area missing from the new corners at sixteen stations, of angles with this `cot` and `sin`:
    between the line and the circle, or of the old corner less a triangle where the line misses it.
    """
    radius, ratio = load(work.radius, s), load(work.ratio, s)
    size = most(radius, _TINIEST)
    opened = load(work.cos, s) / load(work.sin, s) - cot
    void = if_below(0.0, opened, moved * moved / (2.0 * most(opened, _TINIEST)), 0.0)
    missed = (ratio - (math.pi - load(work.angle, s)) / 2.0) * radius * radius - void
    half = least(load(work.land, s) / (2.0 * size), 1.0)
    arc = 2.0 * arc_sine(half)
    arc_sin = 2.0 * half * root(1.0 - half * half)
    depth = 2.0 * radius * half * half
    corner = (load(work.tangent, s) - moved) * depth / 2.0 - radius * radius * (arc - arc_sin) / 2.0
    return if_below(((ratio - moved / size) - cot) * sin, 1.0, most(corner, 0.0), missed)


@compiled
def arc_sine(x: Any) -> Any:
    """Arc sine of lanes from 0 to 1, to the last two digits: a quotient of polynomials of the
    squares up to one half, and π/2 - 2 asin √((1 - x) / 2) above."""
    above = (1.0 - x) / 2.0
    square = if_below(0.5, x, above, x * x)
    over, under = wide(0.0), wide(0.0)
    for c in _OVER:
        over = over * square + c
    for c in _UNDER:
        under = under * square + c
    start = if_below(0.5, x, root(above), x)
    small = start + start * (square * over / under)
    return if_below(0.5, x, math.pi / 2 - 2.0 * small, small)
