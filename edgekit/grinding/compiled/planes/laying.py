"""Planes of a session of local strokes: their normals at the placements, as the hand errs."""

from __future__ import annotations

import math

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import compiled, fetch, if_below, load, root, row, save
from edgekit.grinding.compiled.parts import WIDTH
from edgekit.grinding.compiled.planes.angles import sine_cosine
from edgekit.grinding.compiled.planes.parts import Edge, Hand, Lay, Work

_RADIANS = math.pi / 180


@compiled
def lay(edge: Edge, plan: Lay, hand: Hand, n: int, work: Work) -> None:
    """Unit normals of a session's planes, and each one's share of the advance, as
    `edgekit.grinding.planes` has them."""
    common, scatter = row(hand.common, 4 * n), row(hand.scatter, 4 * n)
    tilt, swing, shift, depth = common[0], common[1], common[2], common[3]
    tilt_sd, swing_sd, shift_sd, depth_sd = scatter[0], scatter[1], scatter[2], scatter[3]
    normal, near, p = row(hand.normals, hand.starts[n]), 1.0 / plan.spacing, 0
    later = row(hand.normals, hand.starts[n + 1])
    for placement in range(plan.placements):
        place = placed(plan, (placement + hand.phase[n]) * plan.even) + shift
        for _ in range(plan.each):
            error = row(normal, hand.apart * p)
            fetch(later, hand.apart * p)
            arc = min(max(place + shift_sd * error[2], 0.0), plan.length)
            work.tilt[p] = tilt + tilt_sd * error[0]
            work.swing[p] = swing + swing_sd * error[1]
            work.weight[p] = max(1.0 + (depth + depth_sd * error[3]), plan.least)
            put(edge, plan, arc * near, p, work)
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
    share, low = at - i, row(plan.aims, 6 * i)  # all is read before anything is written
    x, y, z = between(low, 0, share), between(low, 1, share), between(low, 2, share)
    a, b, c = between(low, 3, share), between(low, 4, share), between(low, 5, share)
    work.x[p], work.y[p], work.z[p] = x, y, z
    work.along_x[p], work.along_y[p], work.along_z[p] = a, b, c


@compiled
def between(low: FloatArray, k: int, share: float) -> float:
    """Component of one of the aims of a station and the next."""
    return float(low[k] + share * (low[k + 6] - low[k]))


@compiled
def turn(plan: Lay, p: int, work: Work) -> None:
    """Turn sixteen normals as the hand errs: by a tilt about the edge, and by a swing along it."""
    x, y, z = load(work.x, p), load(work.y, p), load(work.z, p)
    a, b, c = load(work.along_x, p), load(work.along_y, p), load(work.along_z, p)
    tilt, upright = sine_cosine(load(work.tilt, p) * _RADIANS, work.room)
    swing, ahead = sine_cosine(load(work.swing, p) * _RADIANS, work.room)
    # The normal and its tangents times both cosines, so that nothing is divided but the length.
    still, swing, tilt = upright * ahead, swing * upright, tilt * ahead * (0.0 - plan.side)
    turned_x = still * x + tilt * (b * z - c * y) + swing * a
    turned_y = still * y + tilt * (c * x - a * z) + swing * b
    turned_z = still * z + tilt * (a * y - b * x) + swing * c
    length = root(turned_x * turned_x + turned_y * turned_y + turned_z * turned_z)
    scale = if_below(still, 0.0, -1.0, 1.0) / length
    save(work.x, p, turned_x * scale)
    save(work.y, p, turned_y * scale)
    save(work.z, p, turned_z * scale)
