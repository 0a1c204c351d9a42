"""Recession fields: how far the lateral surface stands inward of the old edge, everywhere.

For a station s and depth v below the face the lateral surface is the inset u = h(s, v), measured
along b. A plane n·x = p that faces the station (n·b < 0) cuts to

    u(s, v) = (n·C - v n·f - p) / (-n·b),

linear in v, and grinding is h <- max(h, u) over planes: exact at the nodes, monotone, and order does not
matter. The same plane first touches the blade at p = max over the field of n·(C - v f + h b), its
support; advancing the stone by d past that is p = support - d. Everything is vectorised over runs
(R), planes (P), stations (S) and depths (V).

Fields have the shape (V, R, S) and planes (R, P, S), but runs lie closest together in memory: the
functions below turn them to (V, S, R) and (P, S, R), which costs nothing for an array made here, and
work plane by plane on pieces that fit in cache. No element of a run is ever combined with another
run's, so a run's bits do not depend on what runs beside it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, count
from edgekit.contact.facets import GRAZING
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "Cut",
    "Ground",
    "Seating",
    "cleared",
    "cut",
    "ground_of",
    "inset_at",
    "over_stations",
    "pieces",
    "runs_last",
    "seat",
    "volume",
]

LEAST_CURVATURE = 1e-6  # [1/mm]: no blade is a kilometre wide
TILE = 16  # stations; the same however many runs there are, so that none depends on its company
CELLS_IN_CACHE = 8192  # a field of eight depths and five more arrays of so many float64 are 832 KB
SAFE = 1e-3  # a plane that certainly faces a station by so much is not seen from behind


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """One edge of a blade, prepared for grinding: geometry at its stations, and the new field.

    Arrays: ``arc_mm, share_mm`` (the length each station stands for), ``angle_rad``,
    ``plan_curvature, half_width_mm`` (S,); ``position, tangent, inward, face`` (S, 3); ``depth_mm``
    (V, S), evenly spaced from the face to the back; ``inset_mm`` (V, S) the new blade's.
    """

    name: str
    edge: Edge
    arc_mm: FloatArray
    share_mm: FloatArray
    position: FloatArray
    tangent: FloatArray
    inward: FloatArray
    face: FloatArray
    angle_rad: FloatArray
    plan_curvature: FloatArray
    half_width_mm: FloatArray
    depth_mm: FloatArray
    inset_mm: FloatArray

    @property
    def step_mm(self) -> FloatArray:
        """Distance (S,) between depth nodes."""
        return np.asarray(self.depth_mm[1])


def ground_of(blade: Blade, name: str, *, stations: int, depths: int) -> Ground:
    """Prepare one edge of a blade."""
    edge = blade.edges[name]
    arc = edge.stations(stations)
    frame = edge.frame(arc)
    width = np.maximum(blade.width_at(name, arc), 1e-6)
    deepest = blade.section.depth_mm(np.minimum(width, blade.section.width_mm))
    depth = np.linspace(0.0, 1.0, count("depths", depths, 3))[:, None] * deepest
    beta = frame.angle.value + np.zeros_like(arc)
    back = blade.section.inset_mm(depth) - depth / np.tan(np.radians(blade.internal_angle_deg))
    share = np.gradient(arc)
    share[[0, -1]] /= 2
    return Ground(
        name=name,
        edge=edge,
        arc_mm=arc,
        share_mm=share,
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

    ``normals`` (P, 3, R); ``support`` (R, P), -∞ for a plane that faces nothing; ``lead`` (P, S, R), how
    far ahead of a plane through the origin the wanted edge lies, n·(C - drop f + goal b), -∞ where the
    plane is seen from behind; ``touch`` (P, T, R), the support of each of T tiles of the edge.
    """

    normals: FloatArray
    support: FloatArray
    lead: FloatArray
    touch: FloatArray

    @property
    def need(self) -> FloatArray:
        """Advance (R, P, S) [mm] past first touch with which each plane alone brings the edge to the
        goal; infinite where it faces away."""
        return _runs_first(np.stack([self.need_of(p) for p in range(len(self.lead))]))

    def need_of(self, plane: int | slice, out: FloatArray | None = None) -> FloatArray:
        """The same for one plane or some of them, (S, R) or (P, S, R)."""
        support = self.support.T[plane]
        # A plane that faces nothing has no support, and an infinite need from its lead already.
        finite = np.where(np.isfinite(support), support, 0.0)
        return np.subtract(finite[..., None, :], self.lead[plane], out=out)


def runs_last(values: FloatArray) -> FloatArray:
    """(R, P, S) seen as (P, S, R), (R, S) as (S, R)."""
    return values.transpose(*range(1, values.ndim), 0)


def _runs_first(values: FloatArray) -> FloatArray:
    return values.transpose(values.ndim - 1, *range(values.ndim - 1))


def over_stations(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted sum (R,) over stations of `values` (R, S).

    A matrix product would do, but its last bit depends on how many runs stand side by side. So
    does a sum whose terms lie together in memory, hence the order, and a twin for a single run.
    """
    columns = np.multiply(values.T, weights[:, None], order="C")
    if len(values) == 1:
        columns = np.repeat(columns, 2, axis=1)
    return np.asarray(columns.sum(axis=0)[: len(values)])


def pieces(planes: int, cells: int) -> Iterator[slice]:
    """Planes in groups whose cells stay in cache."""
    group = max(1, CELLS_IN_CACHE // max(cells, 1))
    return (slice(a, min(a + group, planes)) for a in range(0, planes, group))


class _Tiles:
    """An edge cut into tiles whose field stays in cache while plane after plane is laid against it.

    The three products with a plane's normal that matter, n·C, n·f times the distance between depth
    nodes, and -n·b, come from one matrix product for each tile.
    """

    def __init__(self, ground: Ground, normals: FloatArray) -> None:
        stations = len(ground.arc_mm)
        bounds = np.linspace(0, stations, -(-stations // TILE) + 1).astype(int).tolist()
        self.slices = [slice(a, b) for a, b in itertools.pairwise(bounds)]
        fall = ground.step_mm[:, None] * ground.face
        self._vectors = [
            np.concatenate([ground.position[t], fall[t], -ground.inward[t]]) for t in self.slices
        ]
        self._normals = normals
        # A bound on -n·b from the range of the normals tells where no run can see a station from behind.
        low, high = (getattr(normals, end)(axis=2)[:, None, :] for end in ("min", "max"))
        least = np.minimum(-low * ground.inward, -high * ground.inward).sum(axis=2)
        self._turned = least <= SAFE  # (P, S)

    def lay(
        self, number: int, planes: slice | NDArray[np.int_]
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Height n·C, fall from depth node to node, and facing (P, S, R) of planes at one tile.

        Where a plane is seen from behind its height is -∞, so that such a station is neither cut
        nor waited for, and its facing is held at `GRAZING`.
        """
        products = np.matmul(self._vectors[number], self._normals[planes])
        size = products.shape[1] // 3
        height, fall, facing = (products[:, a : a + size] for a in (0, size, 2 * size))
        turned = np.flatnonzero(self._turned[planes, self.slices[number]].any(axis=0))
        if len(turned):
            ends = np.s_[:, turned[0] : turned[-1] + 1]
            behind = facing[ends] <= GRAZING
            height[ends] = np.where(behind, -np.inf, height[ends])
            np.maximum(facing[ends], GRAZING, out=facing[ends])
        return height, fall, facing


def _columns(values: FloatArray) -> FloatArray:
    """(…, R, …) fields and normals with runs last; a lone run twice.

    A matrix product with a single column would take another routine, which rounds differently.
    """
    return np.repeat(values, 2, axis=-1) if values.shape[-1] == 1 else values


def seat(
    ground: Ground, inset: FloatArray, normals: FloatArray, *, drop: FloatArray, goal: FloatArray
) -> Seating:
    """Lay planes of unit `normals` (R, P, 3) against the field `inset` (V, R, S).

    `drop` (R, S) is how far the face lies below the new one, `goal` (R, S) the inset wanted there.
    """
    runs, planes, _ = normals.shape
    turned = np.ascontiguousarray(_columns(np.moveaxis(normals, 0, -1)), dtype=inset.dtype)
    field, goal, drop = (_columns(runs_last(v)) for v in (np.moveaxis(inset, 1, 0), goal, drop))
    columns = turned.shape[2]
    tiles = _Tiles(ground, turned)
    lead = np.empty((planes, len(ground.arc_mm), columns), inset.dtype)
    touch = np.empty((planes, len(tiles.slices), columns), inset.dtype)
    lowered = (drop / ground.step_mm[:, None]) if drop.any() else None
    for number, tile in enumerate(tiles.slices):
        rows = field[:, tile]
        for part in pieces(planes, rows[0].size):
            height, fall, facing = tiles.lay(number, part)
            ahead = np.multiply(facing, goal[tile], out=lead[part, tile])
            if lowered is not None:
                ahead += lowered[tile] * fall
            np.subtract(height, ahead, out=ahead)
            gap = _least_gap(rows, np.divide(fall, facing, out=fall))
            gap *= facing
            np.subtract(height, gap, out=gap)
            gap.max(axis=1, out=touch[part, number])
    support = touch.max(axis=1)
    return Seating(turned[..., :runs], support[:, :runs].T, lead[..., :runs], touch[..., :runs])


def _least_gap(rows: FloatArray, rise: FloatArray) -> FloatArray:
    """Min over v of h_v + v rise (P, S, R), for a field (V, S, R) and the `rise` from node to node.

    As Horner's scheme takes a polynomial: h₀ ∧ (rise + (h₁ ∧ (rise + h₂ ∧ ...))), one addition and one
    minimum a depth. This loop and its like in `cut` are where lives spend most of their time.
    """
    gap = np.add(rows[-1], rise)
    for row in rows[-2:0:-1]:
        np.minimum(gap, row, out=gap)
        gap += rise
    return np.minimum(gap, rows[0], out=gap)


class Cut(NamedTuple):
    """What planes leave: ``inset`` (V, R, S); the deepest ``reach`` (R, S), the inset at which some plane
    meets the face, and the first ``plane`` that has it. Where no plane cuts the blade, the reach is any
    inset no deeper than the edge."""

    inset: FloatArray
    reach: FloatArray
    plane: NDArray[np.int_]


def cut(
    ground: Ground, inset: FloatArray, seating: Seating, advance: FloatArray, drop: FloatArray
) -> Cut:
    """Grind: what is left after the planes advance by `advance` (R, P) [mm]."""
    faced = np.isfinite(seating.support)  # a plane turned away from every station cuts nothing
    offset = runs_last(np.where(faced, seating.support - advance, 0.0))
    near = seating.touch > offset[:, None, :]
    runs = offset.shape[1]
    # A plane that does not reach a tile stays out of it, lest rounding let it cut.
    offsets = _columns(np.where(near, offset[:, None, :], np.inf))
    turned, drop = (_columns(v) for v in (seating.normals, runs_last(drop)))
    after = np.array(_columns(np.swapaxes(inset, 1, 2)), order="C")
    tiles = _Tiles(ground, np.ascontiguousarray(turned))
    reach = np.full(after.shape[1:], -np.inf, dtype=after.dtype)
    plane = np.zeros(reach.shape, dtype=np.int16)  # numbered from 1
    lowered = (drop / ground.step_mm[:, None]) if drop.any() else None
    for number, tile in enumerate(tiles.slices):
        rows = after[:, tile]
        cutting = np.flatnonzero(near[:, number].any(axis=1))
        for part in pieces(len(cutting), rows[0].size):
            planes = cutting[part]
            height, fall, facing = tiles.lay(number, planes)
            height -= offsets[planes, number, None, :]
            height /= facing
            fall /= facing
            meets = height if lowered is None else height - lowered[tile] * fall
            _keep_deepest(reach[tile], plane[tile], meets, planes)
            for v, row in enumerate(rows):
                if v:
                    height -= fall
                deepest = height.max(axis=0) if len(height) > 1 else height[0]
                np.maximum(row, deepest, out=row)
    found = plane[:, :runs].T.astype(np.int_)
    return Cut(np.swapaxes(after[..., :runs], 1, 2), reach[:, :runs].T, np.maximum(found - 1, 0))


def _keep_deepest(
    reach: FloatArray, plane: NDArray[np.int16], meets: FloatArray, planes: NDArray[np.int_]
) -> None:
    """Update the deepest `reach` and its `plane` (from 1) by what further planes reach (P, S, R).

    What `max` and `argmax` give; but `argmax` across memory and masked copies take ten times as long.
    """
    high, number = meets[0], np.int16(planes[0] + 1)
    if len(meets) > 1:
        high = meets.max(axis=0)
        top = planes[-1] + 2
        rank = (top - 1 - planes).astype(np.int16)[:, None, None]
        number = np.int16(top) - ((meets == high) * rank).max(axis=0)
    np.maximum(plane, (high > reach) * number, out=plane)
    np.maximum(reach, high, out=reach)


def inset_at(ground: Ground, inset: FloatArray, drop: FloatArray) -> FloatArray:
    """Inset (R, S) of the edge where the face lies `drop` (R, S) [mm] below the new one."""
    if not drop.any():
        return np.array(inset[0])  # of the same layout in memory
    at = np.clip(drop / ground.step_mm, 0.0, len(inset) - 1.0)
    i = np.minimum(at.astype(int), len(inset) - 2)
    low = np.take_along_axis(inset, i[None], axis=0)[0]
    high = np.take_along_axis(inset, i[None] + 1, axis=0)[0]
    return np.asarray(low + (at - i) * (high - low))


def cleared(ground: Ground, inset: FloatArray) -> FloatArray:
    """Volume (R,) [mm³] between the edge's own line and the field `inset` (V, R, S) inward of it.

    ∫∫ h (1 - κ h / 2) dv ds by the trapezoidal rule: inward of a curved edge the area element shrinks by
    1 - κu. Past the centre of curvature nothing is left to take, so insets end there.
    """
    field = np.swapaxes(inset, 1, 2)
    limit = (1 / np.maximum(ground.plan_curvature, LEAST_CURVATURE))[:, None]
    tight = np.flatnonzero(limit < field.max())  # elsewhere no inset gets so far
    ends = slice(tight[0], tight[-1] + 1) if len(tight) else slice(0)
    first, second, row = (np.zeros(field.shape[1:], field.dtype) for _ in range(3))
    for v in (0, *range(len(field) - 1, 0, -1)):
        np.copyto(row, field[v])
        np.minimum(row[ends], limit[ends], out=row[ends])
        first += row
        row *= row
        second += row
        if v == len(field) - 1:  # the two outer rows count half
            first /= 2
            second /= 2
    second *= ground.plan_curvature[:, None] / 2
    first -= second
    return over_stations(first.T, ground.step_mm * ground.share_mm)


def volume(ground: Ground, before: FloatArray, after: FloatArray) -> FloatArray:
    """Steel (R,) [mm³] between two fields."""
    return cleared(ground, after) - cleared(ground, before)
