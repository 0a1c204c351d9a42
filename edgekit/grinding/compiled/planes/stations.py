"""Where compiled sessions of local strokes begin and end: the edge of a run, where it is dull."""

from __future__ import annotations

from typing import Any

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.apexes import internal, turn_face
from edgekit.grinding.compiled.lanes import (
    compiled,
    if_below,
    least,
    load,
    most,
    root,
    row,
    save,
    wide,
)
from edgekit.grinding.compiled.parts import BLUNTER, UM_PER_MM, WIDTH, Before
from edgekit.grinding.compiled.planes.parts import After, Edge, Work


@compiled
def copy(source: FloatArray, target: FloatArray, size: int) -> None:
    """Copy numbers, sixteen at a time as far as these go."""
    lanes = size - size % WIDTH
    for n in range(0, lanes, WIDTH):
        save(target, n, load(source, n))
    for n in range(lanes, size):
        target[n] = source[n]


@compiled
def fill(edge: Edge, source: FloatArray, target: FloatArray) -> None:
    """A row (P,) of a station's numbers (S,)."""
    copy(source, target, edge.stations)
    repeat(edge, target)


@compiled
def repeat(edge: Edge, target: FloatArray) -> None:
    """Fill a row (P,) up with its last station."""
    for s in range(edge.stations, edge.places):
        target[s] = target[edge.stations - 1]


@compiled
def lay_out(edge: Edge, before: Before, run: int, work: Work) -> None:
    """Lay out the edge of a run."""
    places, stations, first = edge.places, edge.stations, run * edge.stations
    for v in range(edge.depths):
        start = first * edge.depths + v * stations
        fill(edge, row(before.field, start), row(work.field, v * places))
    fill(edge, row(before.angle, first), work.angle)
    fill(edge, row(before.cot, first), work.cot)
    fill(edge, row(before.lean, first), work.lean)
    fill(edge, row(before.radius, first), work.radius)
    fill(edge, row(before.drop, first), work.drop)
    turn_face(edge, work)
    for s in range(0, places, WIDTH):
        save(work.lowered, s, load(work.drop, s) / load(edge.deepest, s))


@compiled
def put_back(edge: Edge, after: After, run: int, work: Work) -> None:
    """Write the edge of a run where the caller reads it."""
    stations, first = edge.stations, run * edge.stations
    for v in range(edge.depths):
        start = first * edge.depths + v * stations
        copy(row(work.field, v * edge.places), row(after.field, start), stations)
    for s in range(0, edge.places, WIDTH):
        cot = internal(work.cot, s, work)
        cosine = root((1.0 + cot / root(1.0 + cot * cot)) / 2.0)
        save(work.area, s, 2.0 * load(work.radius, s) * cosine)
    copy(work.area, row(after.land, first), stations)
    copy(work.angle, row(after.angle, first), stations)
    copy(work.cot, row(after.cot, first), stations)
    copy(work.radius, row(after.radius, first), stations)
    copy(work.sharp, row(after.sharp, first), stations)
    copy(work.active, row(after.active, first), stations)


@compiled
def begin(edge: Edge, lowered: bool, fresh: float, work: Work) -> None:
    """The edge as a session finds it: where it is dull, and the inset that clears it."""
    places = edge.places
    for v in range(edge.depths):
        repeat(edge, row(work.field, v * places))
    for s in range(0, places, WIDTH):
        inset, radius = load(work.field, s), load(work.radius, s)
        if lowered:
            inset = inset_at(edge, s, work)
        cot = internal(work.cot, s, work)
        goal = inset + radius * (cot + root(1.0 + cot * cot)) / UM_PER_MM
        save(work.inset, s, inset)
        save(work.first, s, inset)
        save(work.goal, s, goal)
        save(work.goal_x, s, place(edge, goal, 0, s, work))
        save(work.goal_y, s, place(edge, goal, 1, s, work))
        save(work.goal_z, s, place(edge, goal, 2, s, work))
        save(work.dull, s, if_below(fresh * (1 + BLUNTER), radius, 1.0, 0.0))


@compiled
def place(edge: Edge, inset: Any, k: int, s: int, work: Work) -> Any:
    """A component of where sixteen stations of the edge would lie at an inset."""
    n, vector = k * edge.places + s, 3 * edge.places
    level = load(edge.seen, n) - load(work.lowered, s) * load(edge.seen, n + vector)
    return level - inset * load(edge.seen, n + 2 * vector)


@compiled
def inset_at(edge: Edge, s: int, work: Work) -> Any:
    """Inset of sixteen stations of the edge, where its lowered face lies."""
    share = least(most(load(work.drop, s) / load(edge.deepest, s), 0.0), 1.0)
    low, high = load(work.field, s), load(work.field, edge.places + s)
    start, size = wide(edge.fraction[0]), wide(edge.fraction[1] - edge.fraction[0])
    for v in range(1, edge.depths - 1):
        here, n = edge.fraction[v], v * edge.places + s
        low = if_below(share, here, low, load(work.field, n))
        high = if_below(share, here, high, load(work.field, n + edge.places))
        start = if_below(share, here, start, here)
        size = if_below(share, here, size, edge.fraction[v + 1] - here)
    return low + (share - start) / size * (high - low)
