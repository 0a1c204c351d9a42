"""Rolling strokes on one edge in compiled scalar loops: the same session, one run after another.

What `edgekit.grinding.rolling_session` does with arrays, for strokes over the whole edge and the
stop rules of the package. Every compiled function stands in this file: numba's cache notices
changes in a function's own file only. A run's numbers are combined with no other's.

A field is (V, S), of all runs (R, V, S). Loops run over stations innermost and touch few arrays
each, so that the compiler works on several stations at once.
"""

# ruff: noqa: PYI024 - rows of arrays for the compiler, whose types it infers

from __future__ import annotations

import math
from collections import namedtuple
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from edgekit.checks import FloatArray

# As in the modules that work with arrays; repeated, since the cache would not see them change.
BLUNTER = 1e-9
KEEN_MM = 1.0
MAX_STROKES = 400
MAX_STEPS = 200
EXACT = 1e-10
ROUNDING = 2e-15
TINY = 1e-9
GRAZING = 1e-9

GOING, MET, UNMET, NO_DEPTH = range(4)  # how a session stands; the last: a stroke found no depth


def compiled(function: Callable[..., Any], *, kept: bool = False) -> Callable[..., Any]:
    """A function compiled at its first call, and `kept` on disk if a folder can be written."""
    try:
        made: Callable[..., Any] = njit(cache=kept, error_model="numpy", nogil=True)(function)
    except RuntimeError:  # neither the folder beside this file nor the user's own
        return compiled(function)
    return made


# What all runs share: ``depth`` (V, S); per station (S,) the ``curvature`` in plan, ``half`` of it
# kept above 0, its ``centre``, the ``weight`` of length and the angle ``aimed`` at; ``modes`` (M,
# S). Where the stone lies ``flat``, ``seen`` (3, 3, S) has the products of inward direction,
# position and face with the stone's normal at mid-edge, with what opens it by a tilt and with what
# turns it by a swing.
Edge = namedtuple("Edge", "depth curvature half centre weight aimed modes flat seen")

# An edge before the session: the depth of each ``node`` (R or 1, V, S) and ``drop`` of the face (R
# or 1, S); ``inset``, ``angle``, ``lean`` and ``radius`` (R, S).
Before = namedtuple("Before", "node drop inset angle lean radius")

# Per run (R,): the session's ``tilt``, its scatter from stroke to stroke and within one, that of
# the swing of a flat stone, what a stroke takes, and the radius that grinding leaves.
Hand = namedtuple("Hand", "tilt tilt_sd within_sd swing_sd volume fresh")

# A stop rule: strokes between looks, how many are counted (0: none are), whether the edge must be
# clear, else the land [mm] that goes unnoticed; the share that may stay dull.
Rule = namedtuple("Rule", "every counted clear unnoticed dull")

# Edges under strokes, written in place: ``field`` (R, V, S), ``angle`` and ``margin`` (R, S);
# ``seen`` (R, 3) the share still dull, the worst margin now and a look ago; ``strokes`` and ``end``
# (R,).
Now = namedtuple("Now", "field angle margin seen strokes end")

# Room for one stroke: per station (S,), and ``rise`` of its lines and ``height`` of the flank over
# them (V, S).
Work = namedtuple("Work", "inset angle slope area level low high excess width reach rise height")


@compiled
def room(depths: int, stations: int) -> Work:
    """Room for strokes."""
    a, n = np.empty((10, stations)), np.empty((2, depths, stations))
    return Work(a[0], a[1], a[2], a[3], a[4], a[5], a[6], a[7], a[8], a[9], n[0], n[1])


@compiled
def inset_at(field: FloatArray, depth: FloatArray, drop: FloatArray, out: FloatArray) -> None:
    """Inset (S,) of the edge where its face lies, `drop` (S,) below the new one."""
    for s in range(len(drop)):
        low = 0
        while low < len(depth) - 2 and depth[low + 1, s] <= drop[s]:
            low += 1
        out[s] = field[low, s]
        if drop[s] > 0.0:
            share = (field[low + 1, s] - field[low, s]) * (drop[s] - depth[low, s])
            out[s] += share / (depth[low + 1, s] - depth[low, s])


@compiled
def look(before: Before, hand: Hand, rule: Rule, now: Now, run: int, inset: FloatArray) -> None:
    """Look at the edge of a run: what is left to do, and whether its session ends."""
    fresh, worst, margins = hand.fresh[run], -np.inf, now.margin[run]
    for s in range(len(inset)):
        radius, angle = before.radius[run, s], before.angle[run, s]
        moved = inset[s] - before.inset[run, s]
        margins[s] = 0.0
        if radius > fresh * (1 + BLUNTER):
            if rule.clear:
                margins[s] = radius / math.tan(angle / 2) - moved
            else:
                new = now.angle[run, s]
                fresh_land = 2 * fresh * math.cos(new / 2)
                margins[s] = land_left(radius, angle, moved, new) - fresh_land - rule.unnoticed
            worst = max(worst, margins[s])
        else:
            worst = max(worst, -KEEN_MM)
    seen, number, share = now.seen[run], now.strokes[run], dull_share(margins)
    seen[0], seen[1], seen[2] = share, worst, seen[1]
    if (number >= rule.counted) if rule.counted > 0 else (share <= rule.dull):
        now.end[run] = MET
    elif number == MAX_STROKES:
        now.end[run] = UNMET


@compiled
def land_left(radius: float, angle: float, inset: float, new_angle: float) -> float:
    """Land that a line leaves of a rounded apex, as `edgekit.contact.apex.remains`."""
    tangent = radius / math.tan(angle / 2)
    distance = (tangent - inset) * math.sin(new_angle) - radius * math.cos(new_angle)
    if distance >= radius:
        return 2 * radius * math.cos(angle / 2)
    if distance <= -radius:
        return 0.0
    arc = math.pi - new_angle - math.acos(distance / radius)
    return 2 * radius * math.sin(min(max(arc, 0.0), math.pi - angle) / 2)


@compiled
def dull_share(margin: FloatArray) -> float:
    """Share of the edge where a margin (S,) is above 0, read linearly between even stations."""
    total = 0.0
    for s in range(len(margin) - 1):
        span = abs(margin[s]) + abs(margin[s + 1])
        if span > 0:
            total += (max(margin[s], 0.0) + max(margin[s + 1], 0.0)) / span
    return total / (len(margin) - 1)


@compiled
def aim(edge: Edge, hand: Hand, run: int, normal: FloatArray, work: Work) -> None:
    """Angles (S,) at which a stroke cuts, and the slopes of its lines, for its normals (T,)."""
    angle, slope = work.angle, work.slope
    angle[:] = 0.0
    for m in range(len(edge.modes)):
        for s in range(len(angle)):
            angle[s] += normal[3 + m] * edge.modes[m, s]
    tilt, within = hand.tilt[run] + hand.tilt_sd[run] * normal[0], hand.within_sd[run]
    for s in range(len(angle)):
        angle[s] = edge.aimed[s] + (tilt + within * angle[s])
    for s in range(len(angle)):
        slope[s] = 1 / math.tan(angle[s])


@compiled
def press(edge: Edge, field: FloatArray, node: FloatArray, volume: float, work: Work) -> None:
    """Area (S,) that each station gives of a stroke's volume, as `RolledEdge.pressed` shares it."""
    steel, length = work.area, 0.0
    steel[:] = 0.0
    for v in range(len(node)):
        for s in range(len(steel)):
            steel[s] += node[v, s] * max(1 - edge.curvature[s] * field[v, s], 0.0)
    most = steel.max()
    for s in range(len(steel)):
        steel[s] /= most
        length += steel[s] * edge.weight[s]
    steel *= volume / length


@compiled
def area_within(edge: Edge, field: FloatArray, node: FloatArray) -> FloatArray:
    """Area (S,) between the edge's own line and the flank, below the face."""
    within = np.zeros(field.shape[1])
    for v in range(len(node)):
        for s in range(len(within)):
            old = min(field[v, s], edge.centre[s])
            within[s] += node[v, s] * (old - edge.half[s] * old * old)
    return within


@compiled
def sink(edge: Edge, field: FloatArray, node: FloatArray, work: Work) -> bool:
    """Levels (S,) of the lines that take the areas: Newton's method within a bracket, in all
    stations until the last is good; false if one never is."""
    start(edge, field, node, work)
    within, most = area_within(edge, field, node), work.area.max()
    work.high[:] = np.inf
    for _ in range(MAX_STEPS):
        take(edge, field, node, within, work)
        bad = 0
        for s in range(len(within)):
            bad += abs(work.excess[s]) > EXACT * most + ROUNDING * within[s]
        if not bad:
            return True
        grow(edge, field, node, work)
        for s in range(len(within)):
            step(work, s)
    return False


@compiled
def start(edge: Edge, field: FloatArray, node: FloatArray, work: Work) -> None:
    """Levels (S,) of lines that take the areas from a straight edge, and of those that just touch.

    The sets of nodes that are cut shrink until they are those that the line itself cuts; the first
    lie about as far up as those of the stroke before.
    """
    low, level = work.low, work.level
    low[:] = np.inf
    for v in range(len(node)):
        for s in range(len(low)):
            work.rise[v, s] = work.slope[s] * edge.depth[v, s]
            height = field[v, s] - work.rise[v, s]
            work.height[v, s] = height
            low[s] = min(low[s], height)
    for s in range(len(low)):
        level[s] = low[s] + 1.2 * work.reach[s]
    for _ in range(len(node) + 2):
        shrink(node, work)
        changed = 0
        for s in range(len(low)):
            new = work.excess[s] / max(work.width[s], TINY)
            changed += new != level[s]
            level[s] = new
        if not changed:
            break
    for s in range(len(low)):
        work.reach[s] = level[s] - low[s]


@compiled
def shrink(node: FloatArray, work: Work) -> None:
    """Sums (S,) over the nodes at or below the levels: of area and of depth."""
    total, width = work.excess, work.width
    total[:] = work.area
    width[:] = 0.0
    for v in range(len(node)):
        for s in range(len(total)):
            share = node[v, s] if work.height[v, s] <= work.level[s] else 0.0
            total[s] += share * work.height[v, s]
            width[s] += share


@compiled
def take(edge: Edge, field: FloatArray, node: FloatArray, within: FloatArray, work: Work) -> None:
    """What the lines take off beyond the areas (S,), as ``excess``."""
    level, excess = work.level, work.excess
    excess[:] = -within
    for v in range(len(node)):
        for s in range(len(excess)):
            new = min(max(field[v, s], level[s] + work.rise[v, s]), edge.centre[s])
            excess[s] += node[v, s] * (new - edge.half[s] * new * new)
    excess -= work.area


@compiled
def grow(edge: Edge, field: FloatArray, node: FloatArray, work: Work) -> None:
    """How the areas (S,) taken off grow with the levels, as ``width``."""
    level, width = work.level, work.width
    width[:] = 0.0
    for v in range(len(node)):
        for s in range(len(width)):
            line = level[s] + work.rise[v, s]
            growth = node[v, s] * max(1 - edge.curvature[s] * line, 0.0)
            width[s] += growth if line > field[v, s] else 0.0


@compiled
def step(work: Work, s: int) -> None:
    """One step of Newton's method at a station, halved towards the bracket where it would leave."""
    level, excess = work.level[s], work.excess[s]
    if excess < 0:
        work.low[s] = level
    if excess > 0:
        work.high[s] = level
    newton = level - excess / max(work.width[s], TINY)
    if newton < work.low[s]:
        newton = (level + work.low[s]) / 2
    if newton > work.high[s]:
        newton = (level + work.high[s]) / 2
    work.level[s] = newton


@compiled
def lay(
    edge: Edge,
    hand: Hand,
    run: int,
    normal: FloatArray,
    field: FloatArray,
    node: FloatArray,
    work: Work,
) -> bool:
    """Levels (S,) of the lines of a flat stone on the whole edge, which sinks until it has taken
    the volume; false if it never has (`edgekit.grinding.rolling.flat_stroke`)."""
    plane(edge, hand, run, normal, work)
    offset, factor, level, volume = work.low, work.high, work.level, hand.volume[run]
    within, gain, flat, total = area_within(edge, field, node), 0.0, 0.0, 0.0
    for v in range(len(node)):
        for s in range(len(level)):
            work.rise[v, s] = work.slope[s] * edge.depth[v, s]
            gain += edge.weight[s] * node[v, s] * factor[s]
            flat += edge.weight[s] * node[v, s] * (offset[s] + work.rise[v, s] - field[v, s])
    for s in range(len(level)):
        total += edge.weight[s] * within[s]
    depth = (volume - flat) / gain
    work.area[:] = 0.0
    for _ in range(MAX_STEPS):
        for s in range(len(level)):
            level[s] = offset[s] + factor[s] * depth
        take(edge, field, node, within, work)
        excess, gain = -volume, 0.0
        for s in range(len(level)):
            excess += work.excess[s] * edge.weight[s]
        if abs(excess) <= EXACT * volume + ROUNDING * total:
            return True
        grow(edge, field, node, work)
        for s in range(len(level)):
            gain += max(work.width[s], TINY) * factor[s] * edge.weight[s]
        depth -= excess / gain
    return False


@compiled
def plane(edge: Edge, hand: Hand, run: int, normal: FloatArray, work: Work) -> None:
    """Lines (S,) of the plane of a flat stone that touches at mid-edge: their slope, the level
    there as ``low`` and by how much they follow it as ``high``."""
    tilt = math.tan(hand.tilt[run] + hand.tilt_sd[run] * normal[0])
    swing = math.tan(hand.swing_sd[run] * normal[1])
    inward, place, face = edge.seen[0], edge.seen[1], edge.seen[2]
    middle = len(work.slope) // 2
    into = -(inward[0, middle] + tilt * inward[1, middle] + swing * inward[2, middle])
    here = place[0, middle] + tilt * place[1, middle] + swing * place[2, middle]
    for s in range(len(work.slope)):
        facing = -(inward[0, s] + tilt * inward[1, s] + swing * inward[2, s])
        sees = facing > GRAZING
        height = place[0, s] + tilt * place[1, s] + swing * place[2, s] - here
        fall = face[0, s] + tilt * face[1, s] + swing * face[2, s]
        work.low[s] = height / facing if sees else -np.inf
        work.high[s] = into / facing if sees else 0.0
        work.slope[s] = -fall / facing if sees else 0.0
        work.angle[s] = math.atan2(1.0, work.slope[s])


@compiled
def cut(
    field: FloatArray, drop: FloatArray, angle: FloatArray, lean: FloatArray, work: Work
) -> None:
    """Cut along the lines; where they reach the edge, they give it their `angle` (S,)."""
    for s in range(len(drop)):
        if work.level[s] + work.slope[s] * drop[s] > work.inset[s]:
            angle[s] = work.angle[s] - lean[s]
    for v in range(len(field)):
        for s in range(len(drop)):
            field[v, s] = max(field[v, s], work.level[s] + work.rise[v, s])


@partial(compiled, kept=True)
def roll(
    edge: Edge,
    before: Before,
    hand: Hand,
    rule: Rule,
    now: Now,
    runs: NDArray[np.int_],
    normals: FloatArray,
) -> None:
    """Strokes of some runs (N,), with their unit `normals` (N, K, T), until each one's rule is
    met."""
    work = room(*edge.depth.shape)
    for n in range(len(runs)):
        run = runs[n]
        field, node = now.field[run], before.node[run % len(before.node)]
        drop = before.drop[run % len(before.drop)]
        work.reach[:] = np.inf
        inset_at(field, edge.depth, drop, work.inset)
        if now.strokes[run] == 0:
            look(before, hand, rule, now, run, work.inset)
        for k in range(normals.shape[1]):
            if now.end[run] != GOING:
                break
            if edge.flat:
                found = lay(edge, hand, run, normals[n, k], field, node, work)
            else:
                aim(edge, hand, run, normals[n, k], work)
                press(edge, field, node, hand.volume[run], work)
                found = sink(edge, field, node, work)
            if not found:
                now.end[run] = NO_DEPTH
                break
            cut(field, drop, now.angle[run], before.lean[run], work)
            inset_at(field, edge.depth, drop, work.inset)
            now.strokes[run] += 1
            number = now.strokes[run]
            if number % rule.every == 0 or number == MAX_STROKES:
                look(before, hand, rule, now, run, work.inset)
