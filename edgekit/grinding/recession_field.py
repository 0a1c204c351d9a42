"""Recession fields: how far the lateral surface stands inward of the old edge, everywhere.

For a station s and depth v below the face the lateral surface is the inset u = h(s, v), measured
along b. A plane n·x = p that faces the station (n·b < 0) cuts to

    u(s, v) = (n·C - v n·f - p) / (-n·b),

linear in v (theory T15), and grinding is h <- max(h, u) over planes: exact at the nodes, monotone,
and independent of their order. The same plane first touches the blade at p = max over the field of
n·(C - v f + h b), its support; advancing the stone by d past that is p = support - d. Everything is
vectorised over runs (R), planes (P), stations (S) and depths (V).

Fields have the shape (V, R, S), but runs lie closest together in memory: the functions below turn
them to (V, S, R), which costs nothing for an array made here, and work plane by plane, (P, S, R),
on pieces that fit in cache. No element of a run is ever combined with another run's, so a run's
bits do not depend on the runs computed beside it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray, count, instance
from edgekit.contact.facets import GRAZING
from edgekit.geometry.blade import Blade, thickness_below
from edgekit.geometry.depth_nodes import graded, node_shares
from edgekit.geometry.edge import Edge, station_weights_mm
from edgekit.record import Record, freeze, read_only

SIDE_COSINE = np.cos(np.radians(45))  # an edge that runs more across the blade is its toe
THIRDS = ("heel", "middle", "toe")
MIN_CURVATURE = 1e-6  # [1/mm]: no blade is a kilometre wide
CELLS_IN_CACHE = 16384  # three float64 arrays of this size are 384 KB, within any recent L2 cache
MAX_NODES = 4_000_000  # stations times depths
BYTES_PER_NODE = 80.0  # a session holds about ten fields at once
GROUP = 4  # stations that are looked at together for whether a plane reaches them
SAFE = 1e-3  # a plane that faces a station by more than this is certainly not seen from behind


class EdgeGrid(Record):
    """One edge of a blade, prepared for grinding: geometry at its stations, and the new field.

    Arrays: ``arc_mm, station_weights_mm`` (the length each station stands for), ``angle_rad``,
    ``plan_curvature, half_width_mm`` (S,); ``position, tangent, inward, face`` (S, 3); ``depth_mm``
    (V, S), `fraction` of the deepest, denser near the face; ``inset_mm`` (V, S) the new blade's.
    """

    name: str
    edge: Edge
    arc_mm: FloatArray
    station_weights_mm: FloatArray
    position: FloatArray
    tangent: FloatArray
    inward: FloatArray
    face: FloatArray
    angle_rad: FloatArray
    plan_curvature: FloatArray
    half_width_mm: FloatArray
    depth_mm: FloatArray
    inset_mm: FloatArray

    @cached_property
    def seen(self) -> FloatArray:
        """Position, face normal times the greatest depth, and outward direction (3, S, 3): the
        vectors that planes are multiplied with."""
        seen = np.stack([self.position, self.depth_mm[-1, :, None] * self.face, -self.inward])
        return np.asarray(freeze(seen))

    @cached_property
    def on_side(self) -> NDArray[np.bool_]:
        """Stations (S,) on a side of the blade, not round its toe: what a width is read across."""
        return read_only(np.abs(self.tangent @ self.edge.roll_reference) > SIDE_COSINE)

    @cached_property
    def side_weights(self) -> FloatArray:
        """Weights (S,) of the stations in a mean along the side: the length for which each stands,
        as far as it lies there."""
        along, gap = np.abs(self.tangent @ self.edge.roll_reference), np.diff(self.arc_mm)
        ends = np.concatenate([along[:1], (along[1:] + along[:-1]) / 2, along[-1:]])
        before = _share_above(ends[:-1], along) * np.append(0.0, gap)
        after = _share_above(along, ends[1:]) * np.append(gap, 0.0)
        return read_only((before + after) / (before + after).sum())

    @cached_property
    def thirds(self) -> FloatArray:
        """Weights (3, S) of the stations in means along the thirds of the edge, heel to toe."""
        return read_only(_thirds(self.station_weights_mm))

    @cached_property
    def side_thirds(self) -> FloatArray:
        """Weights (3, S) of the stations in means along the thirds of the side, heel to toe."""
        return read_only(_thirds(self.side_weights))

    @cached_property
    def fraction(self) -> FloatArray:
        """Depth (V,) of the nodes over the greatest, the same at all stations."""
        middle = self.depth_mm.shape[1] // 2
        return read_only(self.depth_mm[:, middle] / self.depth_mm[-1, middle])

    @cached_property
    def shares(self) -> FloatArray:
        """Share (V,) of the depth that each node stands for."""
        return read_only(node_shares(self.fraction))


def _share_above(one: FloatArray, other: FloatArray) -> FloatArray:
    """Share of a stretch over which a cosine that goes evenly from `one` to `other` is above
    `SIDE_COSINE`."""
    high, low = np.maximum(one, other), np.minimum(one, other)
    rise = np.maximum(high - low, 1e-12)
    return np.asarray(np.clip((high - SIDE_COSINE) / rise, 0.0, 1.0))


def _thirds(weights: FloatArray) -> FloatArray:
    """Parts (3, S) of the stations' `weights` in each third of their sum, over that third."""
    cells = np.concatenate([[0.0], np.cumsum(weights) / weights.sum()])
    low = np.arange(3)[:, None] / 3
    overlap = np.minimum(cells[1:], low + 1 / 3) - np.maximum(cells[:-1], low)
    return np.asarray(3 * np.maximum(overlap, 0.0))


def prepare_edge(blade: Blade, name: str, *, stations: int, depths: int) -> EdgeGrid:
    """Prepare one edge of a blade; `stations` along the edge, `depths` down the flank."""
    instance("blade", blade, Blade, "Give a blade, such as patterns.universal_curette().")
    size = count("stations", stations, 2, most=MAX_NODES // 3, bytes_each=3 * BYTES_PER_NODE)
    rows = count("depths", depths, 3, most=MAX_NODES // size, bytes_each=size * BYTES_PER_NODE)
    edge = blade.edges[name]
    arc, frame = edge.at_stations(size, order=1)  # what else is read there has its values
    width = np.maximum(blade.width_at(name, arc), 1e-6)
    deepest = thickness_below(blade, name, arc, width)
    depth = graded(rows)[:, None] * deepest
    beta = frame.angle.value + np.zeros_like(arc)
    back = blade.section.inset_mm(depth, deepest) - depth / np.tan(
        np.radians(blade.internal_angle_deg)
    )
    return EdgeGrid(
        name=name,
        edge=edge,
        arc_mm=arc,
        station_weights_mm=station_weights_mm(arc),
        position=frame.position,
        tangent=frame.tangent.value,
        inward=frame.inward.value,
        face=frame.face.value,
        angle_rad=beta,
        plan_curvature=frame.plan_curvature,
        half_width_mm=width / 2,
        depth_mm=depth,
        inset_mm=depth / np.tan(beta) + np.maximum(back, 0.0),
    )


class Seating(NamedTuple):
    """Planes laid against a field.

    ``sight``: how the planes see the edge; ``support`` (R, P), -∞ for a plane that faces nothing;
    ``touch`` (P, G, R), the support of each group of `GROUP` stations. ``least`` (R, S) is the
    least that any plane must advance [mm] past first touch to bring the edge to the goal there (its
    share of it, where planes have shares), infinite where all face away, and ``server`` (R, S) the
    first plane for which that is enough.
    """

    sight: _Sight
    support: FloatArray
    touch: FloatArray
    least: FloatArray
    server: NDArray[np.int_]

    def alone(
        self, plane: NDArray[np.int_], seen: FloatArray, lowered: FloatArray, goal: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Advance (R, N) by which a given plane (R, N) alone brings the edge to a goal (R, N), at
        stations ``grid.seen`` (3, N, 3), the face lowered by a share (R, N) of the depth; and how
        it faces them."""
        runs = np.arange(len(plane))[:, None]
        normal = [self.sight.normals[plane, k, runs] for k in range(3)]
        height, fall, facing = (
            sum(n * v for n, v in zip(normal, part.T, strict=True)) for part in seen
        )
        lead = height - facing * goal - lowered * fall - self.support[runs, plane]
        return np.asarray(np.where(facing > GRAZING, -lead, np.inf)), facing


def rounding_mm(values: FloatArray) -> float:
    """What rounding can do to heights of some millimetres in the precision of `values` [mm]."""
    return 5e-6 if values.dtype == np.float32 else 1e-9


def over_stations(values: FloatArray | NDArray[np.bool_], weights: FloatArray) -> FloatArray:
    """Weighted sum (R,) over stations of `values` (R, S).

    The last bit of a matrix product depends on how many runs are computed together. So does that of
    a sum whose terms lie together in memory, hence the order, and a second column for a single run.
    """
    columns = np.multiply(values.T, weights[:, None], order="C")
    if len(values) == 1:
        columns = np.repeat(columns, 2, axis=1)
    return np.asarray(columns.sum(axis=0)[: len(values)])


def _pieces(planes: int, cells: int) -> Iterator[slice]:
    """Planes in groups whose cells stay in cache."""
    group = max(1, CELLS_IN_CACHE // max(cells, 1))
    return (slice(a, min(a + group, planes)) for a in range(0, planes, group))


class _Sight:
    """How planes of normals (P, 3, R) see the stations of an edge."""

    def __init__(self, grid: EdgeGrid, normals: FloatArray) -> None:
        self._seen = grid.seen
        self.normals = normals
        # A bound on -n·b from the range of the normals: where it exceeds SAFE, no run sees a
        # station from behind.
        inward, outward = np.maximum(grid.inward, 0.0).T, np.minimum(grid.inward, 0.0).T
        least = -(normals.max(axis=2) @ inward + normals.min(axis=2) @ outward)
        self._turned = _ends(least <= SAFE)

    def of(
        self, planes: Sequence[int], first: int, last: int
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Height n·C, fall from node to node, and facing -n·b (P, S, R) of planes at some stations.

        Where a plane is seen from behind its height is -∞, so that such a station is neither cut
        nor waited for, and its facing is held at `GRAZING`.
        """
        some = slice(planes[0], planes[0] + 1) if len(planes) == 1 else planes
        vectors = self._seen[:, first:last].reshape(-1, 3)
        products = _products(vectors, self.normals[some])
        size = last - first
        height, fall, facing = products[:, :size], products[:, size:-size], products[:, -size:]
        ends = [self._turned[p] for p in planes]
        from_heel = min(a for a, _ in ends) - first
        to_toe = max(b for _, b in ends) - first
        back = slice(max(from_heel, 0), max(to_toe, 0))
        if back.stop > back.start:
            behind = facing[:, back] <= GRAZING
            height[:, back] = np.where(behind, -np.inf, height[:, back])
            np.maximum(facing[:, back], GRAZING, out=facing[:, back])
        return height, fall, facing


def _products(vectors: FloatArray, normals: FloatArray) -> FloatArray:
    """Products (P, N, R) of vectors (N, 3) with normals (P, 3, R), to the last bit for any R.

    A matrix with a single row or column would take another routine, which rounds differently:
    planes take the place of runs where there is one run, and a lone plane of a lone run is doubled.
    """
    if normals.shape[2] > 1:
        return np.asarray(np.matmul(vectors, normals))
    lone = normals[:, :, 0]
    twins = np.repeat(lone, 2, axis=0) if len(lone) == 1 else lone
    return np.asarray((twins @ vectors.T)[: len(lone), :, None])


def _ends(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and one past the last true element of each row (P, S); (S, 0) where there is none."""
    size = mask.shape[1]
    has_any = mask.any(axis=1)
    first = np.where(has_any, mask.argmax(axis=1), size)
    last = np.where(has_any, size - mask[:, ::-1].argmax(axis=1), 0)
    return list(zip(first.tolist(), last.tolist(), strict=True))


def _by_groups(values: FloatArray, out: FloatArray) -> None:
    """Largest of `values` (P, S, R) in each group of `GROUP` stations."""
    groups = values.shape[1] // GROUP
    full = values[:, : groups * GROUP]
    highest = np.maximum(full[:, ::GROUP], full[:, 1::GROUP], out=out[:, :groups])
    for k in range(2, GROUP):
        np.maximum(highest, full[:, k::GROUP], out=highest)
    if groups * GROUP < values.shape[1]:
        values[:, groups * GROUP :].max(axis=1, out=out[:, groups])


def seat(
    grid: EdgeGrid,
    inset: FloatArray,
    normals: FloatArray,
    *,
    drop: FloatArray,
    goal: FloatArray,
    weight: FloatArray | None = None,
) -> Seating:
    """Lay planes of unit `normals` (R, P, 3) against the field `inset` (V, R, S).

    `drop` (R, S) is how far the face lies below the new one, `goal` (R, S) the inset wanted there.
    Where planes advance by different shares `weight` (R, P), each plane's need is divided by its
    share.
    """
    runs, planes, _ = normals.shape
    turned = np.ascontiguousarray(np.moveaxis(normals, 0, -1), dtype=inset.dtype)
    field, goal, drop = np.swapaxes(inset, 1, 2), goal.T, drop.T
    shares = None if weight is None else np.ascontiguousarray(weight.T)
    sight, stations = _Sight(grid, turned), len(grid.arc_mm)
    shape = (stations, runs)
    touch = np.empty((planes, -(-stations // GROUP), runs), inset.dtype)
    support = np.empty((planes, runs), inset.dtype)
    ahead = np.full(shape, -np.inf, inset.dtype)
    server = np.zeros(shape, np.int16)  # numbered from 1
    lowered = (drop / grid.depth_mm[-1][:, None]) if drop.any() else None
    gaps = np.diff(grid.fraction).astype(inset.dtype)
    for part in _pieces(planes, ahead.size):
        height, fall, facing = sight.of(range(planes)[part], 0, stations)
        lead = facing * goal
        np.subtract(height, lead, out=lead)
        if lowered is not None:
            lead -= lowered * fall
        gap = _min_gap(field, np.divide(fall, facing, out=fall), gaps)
        gap *= facing
        height -= gap
        _by_groups(height, out=touch[part])
        support[part] = touch[part].max(axis=1)
        # A plane that faces nothing has no support; its lead is -∞ already.
        lead -= np.where(np.isfinite(support[part]), support[part], 0.0)[:, None]
        if shares is not None:
            lead /= shares[part, None]
        _keep_deepest(ahead, server, lead, range(planes)[part])
    return Seating(sight, support.T, touch, -ahead.T, np.maximum(server.T.astype(np.int_) - 1, 0))


def _min_gap(rows: FloatArray, rise: FloatArray, gaps: FloatArray) -> FloatArray:
    """Min over v of h_v + x_v rise (P, S, R), for a field (V, S, R) and the `rise` over the
    greatest depth; nodes x lie `gaps` (V - 1,) apart.

    Nested as in Horner's scheme for a polynomial, h₀ ∧ (g₀ rise + (h₁ ∧ (g₁ rise + h₂ ∧ ...))): one
    product, one addition and one minimum per depth. Lives spend most of their time in this loop and
    in that of `cut`.
    """
    step = np.multiply(rise, gaps[-1])
    gap = np.add(rows[-1], step)
    for row, size in zip(rows[-2:0:-1], gaps[-2::-1], strict=True):
        np.minimum(gap, row, out=gap)
        gap += np.multiply(rise, size, out=step)
    return np.asarray(np.minimum(gap, rows[0], out=gap))


class Cut(NamedTuple):
    """The field after cutting.

    ``inset`` (V, R, S); the deepest ``reach`` (R, S), the inset at which some plane meets the face;
    and the first ``plane`` that has it. Where no plane cuts the blade, the reach is any inset no
    deeper than the edge.
    """

    inset: FloatArray
    reach: FloatArray
    plane: NDArray[np.int_]


def cut(
    grid: EdgeGrid, inset: FloatArray, seating: Seating, advance: FloatArray, drop: FloatArray
) -> Cut:
    """Grind: the field left after the planes advance by `advance` (R, P) [mm]."""
    faced = np.isfinite(seating.support)  # a plane turned away from every station cuts nothing
    offset = np.where(faced, seating.support - advance, 0.0).T
    # By more than rounding, so that planes left out would change nothing, with any runs beside.
    near = seating.touch > offset[:, None, :] - rounding_mm(inset)
    drop = drop.T
    after = np.array(np.swapaxes(inset, 1, 2), order="C")
    sight = seating.sight
    reach = np.full(after.shape[1:], -np.inf, dtype=after.dtype)
    plane = np.zeros(reach.shape, dtype=np.int16)  # numbered from 1
    lowered = (drop / grid.depth_mm[-1][:, None]) if drop.any() else None
    gaps = np.diff(grid.fraction, prepend=0.0).astype(inset.dtype)
    spans = _ends(np.asarray(near.any(axis=2)))
    cutting = [p for p, (first, last) in enumerate(spans) if last > first]
    for part in _pieces(len(cutting), reach.size):
        planes = cutting[part]
        first = min(spans[p][0] for p in planes) * GROUP
        last = min(max(spans[p][1] for p in planes) * GROUP, len(reach))
        height, fall, facing = sight.of(planes, first, last)
        height -= offset[planes, None]
        height /= facing
        fall /= facing
        here = slice(first, last)
        meets = height if lowered is None else height - lowered[here] * fall
        _keep_deepest(reach[here], plane[here], meets, planes)
        for row, size in zip(after[:, here], gaps, strict=True):
            if size:
                height -= fall * size
            np.maximum(row, height.max(axis=0) if len(planes) > 1 else height[0], out=row)
    first_plane = np.maximum(plane.T.astype(np.int_) - 1, 0)
    return Cut(np.swapaxes(after, 1, 2), reach.T, first_plane)


def _keep_deepest(
    reach: FloatArray, plane: NDArray[np.int16], meets: FloatArray, planes: Sequence[int]
) -> None:
    """Update the deepest `reach` and its first `plane` (from 1) by later planes' reach (P, S, R).

    The same as `max` and `argmax`; but `argmax` across memory and masked copies take ten times as
    long.
    """
    high, number = meets[0], np.int16(planes[0] + 1)
    if len(meets) > 1:
        high = meets.max(axis=0)
        top = planes[-1] + 2
        rank = np.array([top - 1 - p for p in planes], dtype=np.int16)[:, None, None]
        number = np.int16(top) - ((meets == high) * rank).max(axis=0)
    np.maximum(plane, (high > reach) * number, out=plane)
    np.maximum(reach, high, out=reach)


def inset_at(grid: EdgeGrid, inset: FloatArray, drop: FloatArray) -> FloatArray:
    """Inset (R, S) of the edge where the face lies `drop` (R, S) [mm] below the new one."""
    if not drop.any():
        return np.array(inset[0])  # of the same layout in memory
    # Between the nodes above and below, each station its own.
    share = np.clip(drop / grid.depth_mm[-1], 0.0, 1.0)
    i = np.clip(np.searchsorted(grid.fraction, share, side="right") - 1, 0, len(inset) - 2)
    low = np.take_along_axis(inset, i[None], axis=0)[0]
    high = np.take_along_axis(inset, i[None] + 1, axis=0)[0]
    size = np.diff(grid.fraction)[i]
    return np.asarray(low + (share - grid.fraction[i]) / size * (high - low), dtype=inset.dtype)


def cleared(grid: EdgeGrid, inset: FloatArray) -> FloatArray:
    """Volume (R,) [mm³] between the edge's own line and the field `inset` (V, R, S) inward of it.

    ∫∫ h (1 - κ h / 2) dv ds by `node_shares` in depth and the trapezoidal rule along the edge:
    inward of a curved edge the area element shrinks by 1 - κu (theory T16). Past the centre of
    curvature there is no more area, so insets end there.
    """
    field = np.swapaxes(inset, 1, 2)
    limit = (1 / np.maximum(grid.plan_curvature, MIN_CURVATURE))[:, None]
    tight = np.flatnonzero(limit < field.max())  # elsewhere no inset gets so far
    ends = slice(tight[0], tight[-1] + 1) if len(tight) else slice(0)
    first, second, row = (np.zeros(field.shape[1:], field.dtype) for _ in range(3))
    for layer, share in zip(field, grid.shares.astype(field.dtype), strict=True):
        np.copyto(row, layer)
        np.minimum(row[ends], limit[ends], out=row[ends])
        first += share * row
        row *= row
        second += share * row
    second *= grid.plan_curvature[:, None] / 2
    first -= second
    # Differences of this volume are taken, so single precision would not do.
    weights = (grid.depth_mm[-1] * grid.station_weights_mm).astype(np.float64)
    return over_stations(first.T, weights)
