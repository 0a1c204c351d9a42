"""Rolling strokes on one edge, compiled: the same session as with arrays, one run after another.

What `edgekit.grinding.rolling_session` does with arrays, for strokes over the whole edge and the
stop rules of the package. A run's numbers are combined with no other's. Fields lie as V rows of P
stations, sixteen of which are computed at a time.
"""

from __future__ import annotations

import hashlib
import math
from pathlib import Path
from typing import Any

import numpy as np

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.apexes import keep_start, leave, look, needed
from edgekit.grinding.compiled.curved import past_centre
from edgekit.grinding.compiled.flat import lay
from edgekit.grinding.compiled.lanes import (
    any_below,
    compiled,
    if_below,
    least,
    load,
    most,
    root,
    row,
    rows,
    save,
    total,
    wide,
)
from edgekit.grinding.compiled.normals import draw
from edgekit.grinding.compiled.parts import (
    GOING,
    MAX_STROKES,
    NO_DEPTH,
    TINY,
    WIDTH,
    After,
    Before,
    Edge,
    Hand,
    Numbers,
    Rule,
    Work,
)

FAR_MM = 1e300  # infinite, in other words
NEAR_RAD = 0.3  # up to here five terms of the tangent's continued fraction have all digits


@compiled
def begin(edge: Edge, before: Before, run: int, work: Work) -> None:
    """Lay out the edge of a run."""
    places, stations, first = edge.places, edge.stations, run * edge.stations
    for v in range(edge.depths):
        start = first * edge.depths + v * stations
        for s in range(stations):
            work.field[v * places + s] = before.field[start + s]
        for s in range(stations, places):
            work.field[v * places + s] = 0.0
    for n in range(edge.nodes):
        work.begun[n], work.node[n] = work.field[n], edge.node[n]
    for s in range(places):
        work.angle[s], work.lean_cos[s], work.lean_sin[s] = 1.0, 1.0, 0.0
        work.level[s], work.reach[s], work.slope[s] = 0.0, 0.0, 0.0
    for s in range(stations):
        work.angle[s], work.radius[s] = before.angle[first + s], before.radius[first + s]
        work.new_angle[s], work.reach[s] = work.angle[s], math.inf
        work.lean[s] = before.lean[first + s]
        if work.lean[s] != 0:
            work.lean_cos[s], work.lean_sin[s] = math.cos(work.lean[s]), math.sin(work.lean[s])
    if before.lowered:
        lower(edge, row(before.drop, first), work)
    inset_at(edge, before.lowered, work)
    for s in range(places):
        work.first[s] = work.inset[s]
    press(edge, work)
    keep_start(edge, work)


@compiled
def lower(edge: Edge, drop: FloatArray, work: Work) -> None:
    """What each node stands for under a face lowered by a `drop` (S,)."""
    places, depths = edge.places, edge.depths
    for s in range(edge.stations):
        work.drop[s], upper = drop[s], edge.depth[s]
        for v in range(depths):
            here, below = v * places + s, min(v + 1, depths - 1) * places + s
            lower = (edge.depth[here] + edge.depth[below]) / 2
            work.node[here] = max(lower - max(upper, drop[s]), 0.0)
            upper = lower


@compiled
def inset_at(edge: Edge, lowered: bool, work: Work) -> None:
    """Inset (P,) of the edge, where its face lies."""
    places, depths = edge.places, edge.depths
    for s in range(places):
        work.inset[s] = work.field[s]
    if lowered:
        for s in range(edge.stations):
            low, drop = s, work.drop[s]
            while low < (depths - 2) * places and edge.depth[low + places] <= drop:
                low += places
            share = (drop - edge.depth[low]) / (edge.depth[low + places] - edge.depth[low])
            rise = work.field[low + places] - work.field[low]
            work.inset[s] = work.field[low] + (rise * share if drop > 0 else 0.0)


@compiled
def press(edge: Edge, work: Work) -> None:
    """Steel (P,) that each station gives, as `RolledEdge.pressed` has it but for a factor."""
    places = edge.places
    for s in range(0, places, WIDTH):
        steel, curvature = wide(0.0), load(edge.curvature, s)
        for v in range(edge.depths):
            n = v * places + s
            steel += load(work.node, n) * most(1.0 - curvature * load(work.field, n), 0.0)
        save(work.steel, s, steel)


@compiled
def aim(edge: Edge, hand: Hand, normal: FloatArray, work: Work) -> None:
    """Tilts (P,) of a stroke and the slopes of its lines, for its normals (T,).

    cot(α + δ) = (cot α - tan δ) / (1 + cot α tan δ), the tangent by its continued fraction.
    """
    places, far = edge.places, wide(0.0)
    tilt, within = hand.tilt + hand.tilt_sd * normal[0], hand.within_sd
    for s in range(0, places, WIDTH):
        smooth = wide(0.0)
        for m in range(edge.terms - 3):
            smooth += normal[3 + m] * load(edge.modes, m * places + s)
        error = tilt + within * smooth
        save(work.tilt, s, error)
        far = most(far, most(error, 0.0 - error))
        square, cot = error * error, load(edge.cot, s)
        over = error * (10395.0 + square * (square * 21.0 - 1260.0))
        under = 10395.0 + square * (square * (210.0 - square) - 4725.0)
        save(work.slope, s, (cot * under - over) / (under + cot * over))
    if any_below(NEAR_RAD, far):
        for s in range(edge.stations):
            work.slope[s] = 1 / math.tan(edge.aimed[s] + work.tilt[s])


@compiled
def roll_once(edge: Edge, volume: float, work: Work) -> bool:
    """Levels (P,) of the lines that take a stroke's volume; false where there are none."""
    places, steel = edge.places, 0.0
    for s in range(0, places, WIDTH):
        steel += total(load(work.steel, s) * load(edge.weight, s))
    if not steel > 0:
        return False
    for s in range(0, places, WIDTH):
        save(work.area, s, load(work.steel, s) * (volume / steel))
        sink(edge, work, s)
        if any_below(FAR_MM, load(work.level, s)):
            return False
    return True


@compiled
def sink(edge: Edge, work: Work, s: int) -> None:
    """Levels of the lines that take the areas of sixteen stations.

    A line at x takes the area of a parabola in x from the nodes that it cuts. From any set of nodes
    the parabola gives a level that is too deep or right, and the next set of those the level cuts.
    """
    places, half, centre = edge.places, load(edge.half, s), load(edge.centre, s)
    low, slope, area = wide(math.inf), load(work.slope, s), load(work.area, s)
    for v in range(edge.depths):
        n = v * places + s
        rise, field, node = slope * load(edge.depth, n), load(work.field, n), load(work.node, n)
        height = if_below(field, centre, field - rise, math.inf)
        low = least(low, height)
        save(work.rise, n, rise)
        save(work.height, n, height)
        save(work.gain, n, node * (1.0 - 2.0 * half * rise))
        save(work.taken, n, node * (field - rise) * (1.0 - half * (rise + field)))
    level = low + 1.2 * load(work.reach, s)
    for _ in range(edge.depths + 2):
        width, gain, taken, top, bottom = wide(0.0), wide(0.0), area, low, wide(math.inf)
        for v in range(edge.depths):
            n = v * places + s
            height = load(work.height, n)
            width = if_below(height, level, width + load(work.node, n), width)
            gain = if_below(height, level, gain + load(work.gain, n), gain)
            taken = if_below(height, level, taken + load(work.taken, n), taken)
            top = if_below(height, level, most(top, height), top)
            bottom = if_below(height, level, bottom, least(bottom, height))
        level = 2.0 * taken / (gain + root(gain * gain - 4.0 * half * width * taken))
        level = if_below(0.0, area, level, low)  # where nothing is to be taken
        if not (any_below(level, top) or any_below(bottom, level)):
            break
    level = if_below(level, math.inf, level, math.inf)  # where the parabola has no such level
    save(work.level, s, level)
    save(work.reach, s, level - low)
    deepest = most(slope, 0.0) * load(edge.depth, edge.nodes - places + s)
    if any_below(centre, level + deepest):
        past_centre(edge, work, s)


@compiled
def cut(edge: Edge, lowered: bool, work: Work) -> None:
    """Cut along the lines; where they reach the edge they give it their angle."""
    places = edge.places
    for s in range(0, places, WIDTH):
        level, slope, curvature = load(work.level, s), load(work.slope, s), load(edge.curvature, s)
        meets, inset = level + slope * load(work.drop, s), load(work.inset, s)
        angle = load(edge.aimed, s) + load(work.tilt, s) - load(work.lean, s)
        save(work.new_cot, s, if_below(inset, meets, slope, load(work.new_cot, s)))
        save(work.new_angle, s, if_below(inset, meets, angle, load(work.new_angle, s)))
        steel = wide(0.0)
        for v in range(edge.depths):
            n = v * places + s
            field = most(load(work.field, n), level + load(work.rise, n))
            save(work.field, n, field)
            steel += load(work.node, n) * most(1.0 - curvature * field, 0.0)
        save(work.steel, s, steel)
    inset_at(edge, lowered, work)


@compiled
def finish(edge: Edge, rule: Rule, fresh: float, run: int, work: Work, after: After) -> None:
    """What the session of a run came to: its edge, and the volumes (3,) of it."""
    places, removed, dullness, cleared = edge.places, 0.0, 0.0, 0.0
    for s in range(0, places, WIDTH):
        need, slope, drop = needed(work, rule, fresh, s), load(work.cot, s), load(work.drop, s)
        level = if_below(TINY, need, load(work.first, s) + need - slope * drop, -math.inf)
        half, centre, weight = load(edge.half, s), load(edge.centre, s), load(edge.weight, s)
        taken, parallel, whole = wide(0.0), wide(0.0), wide(0.0)
        for v in range(edge.depths):
            n = v * places + s
            node, begun = load(work.node, n), load(work.begun, n)
            old, new = least(begun, centre), least(load(work.field, n), centre)
            good = least(most(begun, level + slope * load(edge.depth, n)), centre)
            taken += node * (new - old) * (1.0 - half * (new + old))
            parallel += node * (good - old) * (1.0 - half * (good + old))
            whole += load(edge.node, n) * new * (1.0 - half * new)
        removed += total(taken * weight)
        dullness += total(parallel * weight)
        cleared += total(whole * weight)
    volume = row(after.volume, 3 * run)
    volume[0], volume[1], volume[2] = removed, dullness, cleared
    leave(edge, work, fresh, run, after)
    for s in range(edge.stations):
        here = run * edge.stations + s
        after.angle[here], after.margin[here] = work.new_angle[s], work.margin[s]
    for v in range(edge.depths):
        start = (run * edge.depths + v) * edge.stations
        for s in range(edge.stations):
            after.field[start + s] = work.field[v * places + s]


@compiled
def session(
    edge: Edge,
    lowered: bool,
    hand: Hand,
    rule: Rule,
    numbers: Numbers,
    seen: FloatArray,
    work: Work,
) -> tuple[int, int]:
    """Strokes on one edge until its rule is met: how it ends and how many there are."""
    number, end = 0, look(edge, work, rule, hand.fresh, seen, 0)
    while end == GOING:
        ahead = number % numbers.strokes
        if ahead == 0:
            block = numbers.block + np.uint64(number // numbers.strokes)
            draw(numbers.key, block, work.words, work.normals, edge.terms * numbers.strokes)
        normal = row(work.normals, ahead * edge.terms)
        if edge.flat:
            found = lay(edge, hand, normal, work)
        else:
            aim(edge, hand, normal, work)
            found = roll_once(edge, hand.volume, work)
        if not found:
            return number, NO_DEPTH
        cut(edge, lowered, work)
        number += 1
        if number % rule.every == 0 or number == MAX_STROKES:
            end = look(edge, work, rule, hand.fresh, seen, number)
    return number, end


def kept(text: str) -> Any:
    """The one function that is called from outside, kept on disk for this `text` of all functions:
    the cache of numba would see no change outside this file."""

    def roll(
        shared: Edge,
        start: Before,
        hands: Hand,
        rule: Rule,
        numbers: Numbers,
        end: After,
        room: Work,
    ) -> None:
        """Sessions of all runs, stroke on stroke until each one's rule is met."""
        if not text:
            return
        edge, before, after, work = rows(shared), rows(start), rows(end), rows(room)
        for run in range(len(hands.fresh)):
            spread = hands.tilt_sd[run], hands.within_sd[run], hands.swing_sd[run]
            hand = Hand(hands.tilt[run], *spread, hands.volume[run], hands.fresh[run])
            own = Numbers(row(numbers.key, 2 * run), numbers.block[run], numbers.strokes)
            begin(edge, before, run, work)
            seen = row(after.seen, 3 * run)
            done = session(edge, before.lowered, hand, rule, own, seen, work)
            after.strokes[run], after.end[run] = done
            finish(edge, rule, hand.fresh, run, work, after)

    return compiled(roll, kept=True)


def _digest() -> str:
    """The text of all compiled functions, in short."""
    texts = [path.read_bytes() for path in sorted(Path(__file__).parent.glob("*.py"))]
    return hashlib.sha256(b"".join(texts)).hexdigest()


roll = kept(_digest())
