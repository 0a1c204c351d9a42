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
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.apexes import leave, look, needed
from edgekit.grinding.compiled.curved import past_centre
from edgekit.grinding.compiled.cycle import dull, found, measure
from edgekit.grinding.compiled.flat import flat_levels
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
from edgekit.grinding.compiled.layout import (
    begin,
    given,
    inset_at,
    lay_out,
    put_back,
    stand,
)
from edgekit.grinding.compiled.normals import draw, seed, spread
from edgekit.grinding.compiled.parts import (
    COUNT,
    GOING,
    MAX_STROKES,
    NO_DEPTH,
    PATCHES,
    TINY,
    UM_PER_MM,
    WIDTH,
    After,
    Before,
    Done,
    Edge,
    Gauge,
    Hand,
    Numbers,
    Rule,
    Use,
    Work,
)

FAR_MM = 1e300  # infinite, in other words
NEAR_RAD = 0.3  # up to here five terms of the tangent's continued fraction have all digits


@compiled
def roll_once(
    edge: Edge, lowered: bool, hand: Hand, normal: FloatArray, steel: float, work: Work
) -> float:
    """Cut along the lines that take a stroke's volume, where stations give so much `steel` in all:
    what they give then; below 0 where there are no such lines."""
    every = wide(0.0)
    if not steel > 0:
        return -1.0
    for s in range(0, edge.places, WIDTH):
        tilt, slope = aim(edge, hand, normal, s, work)
        level = sink(edge, slope, load(work.steel, s) * (hand.volume / steel), s, work)
        if any_below(FAR_MM, level):
            return -1.0
        every += cut(edge, tilt, slope, level, s, work) * load(edge.weight, s)
    if lowered:
        inset_at(edge, work)
    return float(total(every))


@compiled
def aim(edge: Edge, hand: Hand, normal: FloatArray, s: int, work: Work) -> Any:
    """Tilts of a stroke at sixteen stations and the slopes of its lines, for its normals (T,).

    cot(α + δ) = (cot α - tan δ) / (1 + cot α tan δ), the tangent by its continued fraction.
    """
    smooth = wide(0.0)
    for m in range(edge.terms - 3):
        smooth += normal[3 + m] * load(edge.modes, m * edge.places + s)
    error = hand.tilt + hand.tilt_sd * normal[0] + hand.within_sd * smooth
    square, cot = error * error, load(edge.cot, s)
    over = error * (10395.0 + square * (square * 21.0 - 1260.0))
    under = 10395.0 + square * (square * (210.0 - square) - 4725.0)
    slope = (cot * under - over) / (under + cot * over)
    if any_below(NEAR_RAD * NEAR_RAD, square):
        save(work.tilt, s, error)
        for station in range(s, s + WIDTH):
            work.slope[station] = 1 / math.tan(edge.aimed[station] + work.tilt[station])
        slope = load(work.slope, s)
    return error, slope


@compiled
def sink(edge: Edge, slope: Any, area: Any, s: int, work: Work) -> Any:
    """Levels of the lines that take the areas of sixteen stations.

    A line at x takes the area of a parabola in x from the nodes that it cuts. From any set of nodes
    the parabola gives a level that is too deep or right, and the next set of those the level cuts.
    """
    places, half, centre = edge.places, load(edge.half, s), load(edge.centre, s)
    deepest = load(edge.depth, edge.nodes - places + s)
    low, fall = wide(math.inf), slope * deepest
    for v in range(edge.depths):
        n = v * places + s
        field = load(work.field, n)
        height = if_below(field, centre, field - fall * edge.fraction[v], math.inf)
        low = least(low, height)
        save(work.height, n, height)
    level = low + 1.2 * load(work.reach, s)
    for _ in range(edge.depths + 2):
        width, first, second, held = wide(0.0), wide(0.0), wide(0.0), wide(0.0)
        top, bottom = low, wide(math.inf)
        for v in range(edge.depths):
            n = v * places + s
            height = load(work.height, n)
            node, share = load(work.node, n), edge.fraction[v]
            width = if_below(height, level, width + node, width)
            first = if_below(height, level, first + node * share, first)
            second = if_below(height, level, second + node * (share * share), second)
            held = if_below(height, level, held + load(work.held, n), held)
            top = if_below(height, level, most(top, height), top)
            bottom = if_below(height, level, bottom, least(bottom, height))
        gain = width - 2.0 * half * fall * first
        taken = area + held - fall * (first - half * fall * second)
        level = 2.0 * taken / (gain + root(gain * gain - 4.0 * half * width * taken))
        level = if_below(0.0, area, level, low)  # where nothing is to be taken
        if not (any_below(level, top) or any_below(bottom, level)):
            break
    level = if_below(level, math.inf, level, math.inf)  # where the parabola has no such level
    save(work.reach, s, level - low)
    if any_below(centre, level + most(fall, 0.0)):
        save(work.level, s, level)
        save(work.slope, s, slope)
        save(work.area, s, area)
        past_centre(edge, work, s)
        level = load(work.level, s)
    return level


@compiled
def cut(edge: Edge, tilt: Any, slope: Any, level: Any, s: int, work: Work) -> Any:
    """Cut along the lines of sixteen stations, and what they give then; where lines reach the edge
    they give it their angle."""
    meets, inset = level + slope * load(work.drop, s), load(work.inset, s)
    angle = load(edge.aimed, s) + tilt - load(work.lean, s)
    save(work.new_cot, s, if_below(inset, meets, slope, load(work.new_cot, s)))
    save(work.new_angle, s, if_below(inset, meets, angle, load(work.new_angle, s)))
    steel, curvature, half = wide(0.0), load(edge.curvature, s), load(edge.half, s)
    fall = slope * load(edge.depth, edge.nodes - edge.places + s)
    for v in range(edge.depths):
        n = v * edge.places + s
        field = most(load(work.field, n), level + fall * edge.fraction[v])
        save(work.field, n, field)
        steel += given(work, n, field, curvature, half)
    save(work.steel, s, steel)
    save(work.inset, s, load(work.field, s))
    return steel


@compiled
def lay(edge: Edge, lowered: bool, hand: Hand, normal: FloatArray, work: Work) -> float:
    """Cut along the lines of a flat stone on the whole edge; below 0 where there are none."""
    if not flat_levels(edge, hand, normal, work):
        return -1.0
    for s in range(0, edge.places, WIDTH):
        tilt, slope, level = load(work.tilt, s), load(work.slope, s), load(work.level, s)
        cut(edge, tilt, slope, level, s, work)
    if lowered:
        inset_at(edge, work)
    return 0.0


@compiled
def finish(edge: Edge, rule: Rule, fresh: float, volume: FloatArray, work: Work) -> None:
    """What a session came to: its edge, and the volumes (3,) of it."""
    places, removed, dullness, cleared = edge.places, wide(0.0), wide(0.0), wide(0.0)
    for s in range(0, places, WIDTH):
        need, slope, drop = needed(work, rule, fresh, s), load(work.cot, s), load(work.drop, s)
        level = if_below(TINY, need, load(work.first, s) + need - slope * drop, -math.inf)
        half, centre, weight = load(edge.half, s), load(edge.centre, s), load(edge.weight, s)
        fall = slope * load(edge.depth, edge.nodes - places + s)
        taken, parallel, whole = wide(0.0), wide(0.0), wide(0.0)
        for v in range(edge.depths):
            n = v * places + s
            node, begun = load(work.node, n), load(work.begun, n)
            old, new = least(begun, centre), least(load(work.field, n), centre)
            good = least(most(begun, level + fall * edge.fraction[v]), centre)
            taken += node * (new - old) * (1.0 - half * (new + old))
            parallel += node * (good - old) * (1.0 - half * (good + old))
            whole += load(edge.node, n) * new * (1.0 - half * new)
        removed += taken * weight
        dullness += parallel * weight
        cleared += whole * weight
    volume[0], volume[1], volume[2] = total(removed), total(dullness), total(cleared)
    leave(edge, work, fresh)


@compiled
def session(
    edge: Edge,
    lowered: bool,
    hand: Hand,
    rule: Rule,
    numbers: Numbers,
    seen: FloatArray,
    steel: float,
    work: Work,
) -> tuple[int, int]:
    """Strokes on one edge until its rule is met: how it ends and how many there are."""
    number, end = 0, look(edge, work, rule, hand.fresh, seen, 0)
    while end == GOING:
        if number % numbers.strokes == 0:
            block = numbers.block + np.uint64(number // numbers.strokes)
            seed(numbers.key, block, work.words)
        draw(work.words, work.normals, edge.terms)
        if edge.flat:
            steel = lay(edge, lowered, hand, work.normals, work)
        else:
            steel = roll_once(edge, lowered, hand, work.normals, steel, work)
        if steel < 0:
            return number, NO_DEPTH
        number += 1
        if number % rule.every == 0 or number == MAX_STROKES:
            end = look(edge, work, rule, hand.fresh, seen, number)
    return number, end


@compiled
def cycle(
    edge: Edge,
    lowered: bool,
    use: Use,
    gauge: Gauge,
    hand: Hand,
    rule: Rule,
    numbers: Numbers,
    done: Done,
    n: int,
    work: Work,
) -> bool:
    """One use and session number `n`; whether its strokes found their depths."""
    measured = row(done.measured, COUNT * n)
    dull(edge, use, numbers.often, UM_PER_MM, measured, work)
    steel = begin(edge, lowered, work)
    found(edge, gauge, UM_PER_MM, measured, work)
    seen = row(done.seen, 3 * n)
    done.strokes[n], done.end[n] = session(edge, lowered, hand, rule, numbers, seen, steel, work)
    if done.end[n] == NO_DEPTH:
        return False
    finish(edge, rule, hand.fresh, row(done.volume, 3 * n), work)
    measure(edge, gauge, measured, work)
    return True


@compiled
def of_session(hands: Hand, n: int) -> Hand:
    """The hand of session `n`."""
    spread = hands.tilt_sd[n], hands.within_sd[n], hands.swing_sd[n]
    return Hand(hands.tilt[n], *spread, hands.volume[n], hands.fresh[n])


def kept(text: str) -> Any:
    """The function that computes sessions, called from outside and kept on disk for this `text` of
    all functions: the cache of numba would see no change outside this file."""

    def roll(
        shared: Edge,
        start: Before,
        first: NDArray[np.int64],
        use: Use,
        gauge: Gauge,
        hands: Hand,
        rule: Rule,
        numbers: Numbers,
        end: After,
        came: Done,
        room: Work,
    ) -> None:
        """Sessions of all runs, stroke on stroke until each one's rule is met: of each run those
        from its `first` on, up to that of the next run (R + 1,), with a use before each."""
        if not text:
            return
        edge, before, after, work = rows(shared), rows(start), rows(end), rows(room)
        used, measures, done = rows(use), rows(gauge), rows(came)
        stand(edge, work)
        for run in range(len(first) - 1):
            lay_out(edge, before, run, work)
            for n in range(first[run], first[run + 1]):
                hand = of_session(hands, n)
                own = Numbers(
                    row(numbers.key, 2 * n),
                    numbers.block[n],
                    numbers.strokes,
                    row(numbers.often, PATCHES * n),
                )
                if not cycle(edge, before.lowered, used, measures, hand, rule, own, done, n, work):
                    break
            put_back(edge, after, run, work)

    return compiled(roll, kept=True)


def kept_filler(text: str) -> Any:
    """The function that draws blocks of random numbers, kept as the other is."""

    def fill(
        keys: NDArray[np.uint64],
        blocks: NDArray[np.uint64],
        slots: NDArray[np.int64],
        even: FloatArray,
        normal: FloatArray,
        state: NDArray[np.uint64],
    ) -> None:
        """As `edgekit.grinding.random_streams.Filler` has it, in room for a `state` (4,)."""
        if not text:
            return
        uniforms, count, words = even.shape[1], normal.shape[1], row(state, 0)
        for n in range(len(slots)):
            one, other = row(even, slots[n] * uniforms), row(normal, slots[n] * count)
            seed(row(keys, 2 * n), blocks[n], words)
            spread(words, one, uniforms)
            draw(words, other, count)

    return compiled(fill, kept=True)


def digest() -> str:
    """The text of all compiled functions, in short."""
    texts = [path.read_bytes() for path in sorted(Path(__file__).parent.rglob("*.py"))]
    return hashlib.sha256(b"".join(texts)).hexdigest()


TEXT = digest()
roll = kept(TEXT)
fill = kept_filler(TEXT)
