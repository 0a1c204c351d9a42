"""Where a compiled session begins: an edge laid out in the rows of `Work`, and its lowered face."""

from __future__ import annotations

import math
from typing import Any

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.apexes import keep_start, turn_face
from edgekit.grinding.compiled.lanes import compiled, load, most, row, save, total, wide
from edgekit.grinding.compiled.parts import WIDTH, After, Before, Edge, Work


@compiled
def stand(edge: Edge, work: Work) -> None:
    """What nodes stand for under the new face, alike in all runs."""
    for n in range(edge.nodes):
        work.node[n] = edge.node[n]


@compiled
def lay_out(edge: Edge, before: Before, run: int, work: Work) -> None:
    """Lay out the edge of a run in the rows of `work`."""
    places, stations, first = edge.places, edge.stations, run * edge.stations
    for v in range(edge.depths):
        start = first * edge.depths + v * stations
        for s in range(stations):
            work.field[v * places + s] = before.field[start + s]
        for s in range(stations, places):
            work.field[v * places + s] = 0.0
    for s in range(places):
        work.angle[s], work.cot[s], work.radius[s] = math.pi / 2, 0.0, 0.0
        work.lean[s] = 0.0
        work.reach[s] = math.inf if s < edge.stations else 0.0
    for s in range(stations):
        work.angle[s], work.cot[s] = before.angle[first + s], before.cot[first + s]
        work.radius[s], work.lean[s] = before.radius[first + s], before.lean[first + s]
    turn_face(edge, work)
    if before.lowered:
        lower(edge, row(before.drop, first), work)


@compiled
def begin(edge: Edge, lowered: bool, work: Work) -> float:
    """The edge as a session finds it; what its stations give."""
    for n in range(edge.nodes):
        work.begun[n] = work.field[n]
    for s in range(edge.places):
        work.level[s], work.slope[s] = 0.0, 0.0
        work.new_angle[s], work.new_cot[s] = work.angle[s], work.cot[s]
        work.inset[s] = work.field[s]
    if lowered:
        inset_at(edge, work)
    for s in range(edge.places):
        work.first[s] = work.inset[s]
    keep_start(edge, work)
    return float(press(edge, work))


@compiled
def put_back(edge: Edge, after: After, run: int, work: Work) -> None:
    """Write the edge of a run where the caller reads it."""
    first = run * edge.stations
    for s in range(edge.stations):
        after.angle[first + s], after.cot[first + s] = work.angle[s], work.cot[s]
        after.radius[first + s], after.land[first + s] = work.radius[s], work.land[s]
        after.margin[first + s] = work.margin[s]
    for v in range(edge.depths):
        start = first * edge.depths + v * edge.stations
        for s in range(edge.stations):
            after.field[start + s] = work.field[v * edge.places + s]


@compiled
def lower(edge: Edge, drop: FloatArray, work: Work) -> None:
    """What each node stands for under a face lowered by a `drop` (S,)."""
    places, depths = edge.places, edge.depths
    for s in range(edge.stations):
        work.drop[s], upper = drop[s], 0.0
        for v in range(depths):
            here = v * places + s
            lower = upper + edge.node[here]
            work.node[here] = max(lower - max(upper, drop[s]), 0.0)
            upper = lower


@compiled
def inset_at(edge: Edge, work: Work) -> None:
    """Inset (P,) of the edge, where its lowered face lies."""
    places, depths = edge.places, edge.depths
    for s in range(edge.stations):
        low, drop = s, work.drop[s]
        while low < (depths - 2) * places and edge.depth[low + places] <= drop:
            low += places
        share = (drop - edge.depth[low]) / (edge.depth[low + places] - edge.depth[low])
        rise = work.field[low + places] - work.field[low]
        work.inset[s] = work.field[low] + (rise * share if drop > 0 else 0.0)


@compiled
def press(edge: Edge, work: Work) -> float:
    """Steel (P,) that each station gives, as `RolledEdge.pressed` has it but for a factor, and the
    sum along the edge."""
    every = wide(0.0)
    for s in range(0, edge.places, WIDTH):
        steel, curvature, half = wide(0.0), load(edge.curvature, s), load(edge.half, s)
        for v in range(edge.depths):
            n = v * edge.places + s
            steel += given(work, n, load(work.field, n), curvature, half)
        save(work.steel, s, steel)
        every += steel * load(edge.weight, s)
    return float(total(every))


@compiled
def given(work: Work, n: int, field: Any, curvature: Any, half: Any) -> Any:
    """Steel that sixteen nodes give where the flank stands at `field`; what they still hold is
    kept, for `sink` to add up."""
    node = load(work.node, n)
    save(work.held, n, node * field * (1.0 - half * field))
    return node * most(1.0 - curvature * field, 0.0)
