"""Planes of a session of local strokes: their normals at the placements, as the hand errs."""

from __future__ import annotations

import math

from edgekit.grinding.compiled.lanes import compiled, load, root, row, save
from edgekit.grinding.compiled.parts import WIDTH
from edgekit.grinding.compiled.planes.angles import sine_cosine
from edgekit.grinding.compiled.planes.parts import Edge, Hand, Lay, Work

_RADIANS = math.pi / 180


@compiled
def lay(edge: Edge, plan: Lay, hand: Hand, run: int, work: Work) -> None:
    """Unit normals of a run's planes, and each one's share of the advance, as
    `edgekit.grinding.planes` has them."""
    common, scatter = row(hand.common, 4 * run), row(hand.scatter, 4 * run)
    normal = row(hand.normals, run * hand.apart + hand.first)
    near, p = 1.0 / plan.spacing, 0
    for placement in range(plan.placements):
        place = placed(plan, (placement + hand.phase[run]) * plan.even) + common[2]
        for _ in range(plan.each):
            error = row(normal, 4 * p)
            work.tilt[p] = common[0] + scatter[0] * error[0]
            work.swing[p] = common[1] + scatter[1] * error[1]
            arc = min(max(place + scatter[2] * error[2], 0.0), plan.length)
            put(edge, plan, arc * near, p, work)
            work.weight[p] = max(1.0 + (common[3] + scatter[3] * error[3]), plan.least)
            p += 1
    for p in range(0, plan.rows, WIDTH):
        turn(plan, p, work)


@compiled
def placed(plan: Lay, at: float) -> float:
    """Arc that an even share of the edge has reached."""
    i = min(int(at), plan.shares - 1)
    low = plan.reached[i]
    return float(low + (at - i) * (plan.reached[i + 1] - low))


@compiled
def put(edge: Edge, plan: Lay, at: float, p: int, work: Work) -> None:
    """What a plane aims at, and the tangent there, between two stations."""
    i = min(int(at), edge.stations - 2)
    share, low, high = at - i, row(plan.aims, 6 * i), row(plan.aims, 6 * i + 6)
    work.x[p] = low[0] + share * (high[0] - low[0])
    work.y[p] = low[1] + share * (high[1] - low[1])
    work.z[p] = low[2] + share * (high[2] - low[2])
    work.along_x[p] = low[3] + share * (high[3] - low[3])
    work.along_y[p] = low[4] + share * (high[4] - low[4])
    work.along_z[p] = low[5] + share * (high[5] - low[5])


@compiled
def turn(plan: Lay, p: int, work: Work) -> None:
    """Turn sixteen normals as the hand errs: by a tilt about the edge, and by a swing along it."""
    x, y, z = load(work.x, p), load(work.y, p), load(work.z, p)
    a, b, c = load(work.along_x, p), load(work.along_y, p), load(work.along_z, p)
    sine, cosine = sine_cosine(load(work.tilt, p) * _RADIANS, work.room)
    tilt = (0.0 - plan.side) * sine / cosine
    sine, cosine = sine_cosine(load(work.swing, p) * _RADIANS, work.room)
    swing = sine / cosine
    turned_x = x + tilt * (b * z - c * y) + swing * a
    turned_y = y + tilt * (c * x - a * z) + swing * b
    turned_z = z + tilt * (a * y - b * x) + swing * c
    length = root(turned_x * turned_x + turned_y * turned_y + turned_z * turned_z)
    save(work.x, p, turned_x / length)
    save(work.y, p, turned_y / length)
    save(work.z, p, turned_z / length)
