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

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, count
from edgekit.contact.facets import GRAZING
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge, station_shares

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "Cut",
    "Ground",
    "Seating",
    "advance_needed",
    "cut",
    "grind",
    "ground_of",
    "inset_at",
    "of_plane",
    "over_stations",
    "pieces",
    "runs_last",
    "seat",
    "volume",
]

LEAST_CURVATURE = 1e-6  # [1/mm]: no blade is a kilometre wide
CELLS_IN_CACHE = 16384  # three arrays of so many float64 are 384 KB, within any recent L2 cache


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
    frame = edge.frame(arc, order=1)
    width = np.maximum(blade.width_at(name, arc), 1e-6)
    deepest = blade.section.depth_mm(np.minimum(width, blade.section.width_mm))
    depth = np.linspace(0.0, 1.0, count("depths", depths, 3))[:, None] * deepest
    beta = frame.angle.value + np.zeros_like(arc)
    back = blade.section.inset_mm(depth) - depth / np.tan(np.radians(blade.internal_angle_deg))
    return Ground(
        name=name,
        edge=edge,
        arc_mm=arc,
        share_mm=station_shares(arc),
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
    """Planes laid against a blade: terms (R, P, S) of the inset u = (height - v fall - p) / facing.

    ``height`` is n·C, ``fall`` n·f, ``facing`` -n·b; ``rise`` is fall / facing times the distance
    between depth nodes, by which u falls from node to node; ``gap`` is min over v of h + v fall /
    facing, so that the plane cuts a station where height - p > gap facing. ``support`` (R, P). Where a
    plane is seen from behind its height is -∞, so that such a station is neither cut nor waited for,
    and its facing is held at `GRAZING`. ``need`` is `advance_needed`, where `seat` was told a goal.
    """

    height: FloatArray
    fall: FloatArray
    facing: FloatArray
    rise: FloatArray
    gap: FloatArray
    support: FloatArray
    need: FloatArray


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
    return (slice(a, a + group) for a in range(0, planes, group))


def seat(
    ground: Ground,
    inset: FloatArray,
    normals: FloatArray,
    *,
    drop: FloatArray | None = None,
    goal: FloatArray | None = None,
) -> Seating:
    """Lay planes of unit `normals` (R, P, 3) against the field `inset` (V, R, S).

    With `drop` and `goal` (R, S) the `advance_needed` is worked out along the way, while heights
    are still in cache.
    """
    runs, planes, _ = normals.shape
    # A product with a single column would take another routine, which rounds differently.
    wide = np.repeat(normals, 2, axis=0) if runs == 1 else normals
    turned = np.ascontiguousarray(np.moveaxis(wide, 0, -1), dtype=inset.dtype)
    shape = (planes, len(ground.arc_mm), len(wide))
    height, fall, facing, rise, gap, need = (np.empty(shape, inset.dtype) for _ in range(6))
    support = np.empty((planes, len(wide)), dtype=inset.dtype)
    position, face, outward = (
        np.ascontiguousarray(v) for v in (ground.position, ground.face, -ground.inward)
    )
    field = np.swapaxes(inset, 1, 2)
    step = ground.step_mm[:, None]
    lowered = drop if drop is not None and drop.any() else None
    for part in pieces(planes, shape[1] * shape[2]):
        for vectors, out in ((position, height), (face, fall), (outward, facing)):
            np.matmul(vectors, turned[part], out=out[part])
        behind = facing[part] <= GRAZING
        seen = np.flatnonzero(behind.any(axis=(0, 2)))
        if len(seen):
            ends = slice(seen[0], seen[-1] + 1)
            np.copyto(height[part, ends], -np.inf, where=behind[:, ends])
            np.maximum(facing[part, ends], GRAZING, out=facing[part, ends])
        np.divide(fall[part], facing[part], out=rise[part])
        rise[part] *= step
        _least_gap(field, rise[part], gap[part])
        touch = gap[part] * facing[part]
        np.subtract(height[part], touch, out=touch)
        touch.max(axis=1, out=support[part])
        if goal is not None:
            _need(height[part], fall[part], facing[part], support[part], lowered, goal, need[part])
    parts = (_runs_first(a)[:runs] for a in (height, fall, facing, rise, gap, support, need))
    return Seating(*parts)


def _least_gap(field: FloatArray, rise: FloatArray, gap: FloatArray) -> None:
    """Put min over v of h_v + v rise (P, S, R) into `gap`, for `field` (V, S, R) and the `rise` from node to node.

    As Horner's scheme takes a polynomial: h₀ ∧ (rise + (h₁ ∧ (rise + h₂ ∧ ...))), one addition and one
    minimum a depth. This line and its like in `cut` are where lives spend most of their time.
    """
    gap[...] = field[-1]
    for row in field[-2::-1]:
        gap += rise
        np.minimum(gap, row, out=gap)


def advance_needed(seating: Seating, drop: FloatArray, goal: FloatArray) -> FloatArray:
    """Advance (R, P, S) [mm] past first touch with which each plane alone brings the edge to a goal.

    `drop` (R, S) is how far the face lies below the new one, `goal` (R, S) the inset wanted there.
    Infinite where a plane faces away.
    """
    height, fall, facing, support = (
        runs_last(a) for a in (seating.height, seating.fall, seating.facing, seating.support)
    )
    need = np.empty_like(height, order="C")
    _need(height, fall, facing, support, drop, goal, need)
    return _runs_first(need)


def _need(
    height: FloatArray,
    fall: FloatArray,
    facing: FloatArray,
    support: FloatArray,
    drop: FloatArray | None,
    goal: FloatArray,
    out: FloatArray,
) -> None:
    """`advance_needed` of planes (P, S, R): support - (n·C - drop n·f) + goal facing."""
    np.multiply(facing, goal.T, out=out)
    if drop is not None:
        out += drop.T * fall
    out -= height
    # A plane that faces nothing has no support, and an infinite need already.
    out += np.where(np.isfinite(support), support, 0.0)[:, None, :]


class Cut(NamedTuple):
    """What planes leave: ``inset`` (V, R, S); ``reach`` (R, P, S), the inset at which each plane
    meets the face, -∞ where it faces away; the ``deepest`` reach (R, S) and the first ``plane`` that
    has it."""

    inset: FloatArray
    reach: FloatArray
    deepest: FloatArray
    plane: NDArray[np.int_]


def cut(
    ground: Ground, inset: FloatArray, seating: Seating, advance: FloatArray, drop: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The field after the planes advance by `advance` (R, P) [mm], and their reach; see `grind`."""
    return grind(ground, inset, seating, advance, drop)[:2]


def grind(
    ground: Ground,  # noqa: ARG001  # as the others; the seating holds all of it that is needed
    inset: FloatArray,
    seating: Seating,
    advance: FloatArray,
    drop: FloatArray,
) -> Cut:
    """Grind: what is left after the planes advance by `advance` (R, P) [mm]."""
    faced = np.isfinite(seating.support)  # a plane turned away from every station cuts nothing
    offset = runs_last(np.where(faced, seating.support - advance, 0.0))[:, None, :]
    height, fall, facing, rise, gap = (runs_last(a) for a in seating[:5])
    after = np.array(np.swapaxes(inset, 1, 2), order="C")
    reach = np.empty_like(height)
    deepest = np.full(height.shape[1:], -np.inf, dtype=height.dtype)
    plane = np.zeros(deepest.shape, dtype=np.int16)  # numbered from 1
    lowered = drop.any()
    for part in pieces(len(height), deepest.size):
        base = np.subtract(height[part], offset[part], out=reach[part])
        base /= facing[part]
        # Most planes are near a part of the edge only: leave out the ends that none of these cuts.
        cuts = np.flatnonzero((base > gap[part]).any(axis=(0, 2)))
        near = slice(cuts[0], cuts[-1] + 1) if len(cuts) else slice(0)
        at, falls = base[:, near].copy(), rise[part, near]
        for v, row in enumerate(after[:, near]):
            if v:
                at -= falls
            np.maximum(row, at.max(axis=0) if len(at) > 1 else at[0], out=row)
        if lowered:
            base -= drop.T * fall[part] / facing[part]
        high, first = _first_deepest(base)
        np.maximum(plane, (high > deepest) * (first + np.int16(1 + part.start)), out=plane)
        np.maximum(deepest, high, out=deepest)
    none = plane == 0  # nothing reaches there; the first plane, as argmax has it
    active = (plane - np.int16(1) + none).astype(np.int_)
    return Cut(np.swapaxes(after, 1, 2), _runs_first(reach), deepest.T, active.T)


def _first_deepest(reach: FloatArray) -> tuple[FloatArray, NDArray[np.int16]]:
    """Largest of `reach` (P, S, R) over planes, and the first plane that has it.

    What `max` and `argmax` give; but `argmax` across memory takes ten times as long as this.
    """
    if len(reach) == 1:
        return reach[0], np.zeros(1, dtype=np.int16)
    high = reach.max(axis=0)
    ranks = np.arange(len(reach), 0, -1, dtype=np.int16)[:, None, None]
    first = ((reach == high) * ranks).max(axis=0)
    return high, np.int16(len(reach)) - first


def of_plane(values: FloatArray, plane: NDArray[np.int_]) -> FloatArray:
    """`values` (R, P, S) of one plane (R, S) a station."""
    flat = np.ascontiguousarray(runs_last(values))
    cells = flat[0].size
    here = plane.T * cells + np.arange(cells).reshape(flat.shape[1:])
    return np.asarray(flat.ravel().take(here)).T


def inset_at(ground: Ground, inset: FloatArray, drop: FloatArray) -> FloatArray:
    """Inset (R, S) of the edge where the face lies `drop` (R, S) [mm] below the new one."""
    if not drop.any():
        return np.array(inset[0])  # of the same layout in memory
    at = np.clip(drop / ground.step_mm, 0.0, len(inset) - 1.0)
    i = np.minimum(at.astype(int), len(inset) - 2)
    low = np.take_along_axis(inset, i[None], axis=0)[0]
    high = np.take_along_axis(inset, i[None] + 1, axis=0)[0]
    return np.asarray(low + (at - i) * (high - low))


def volume(ground: Ground, before: FloatArray, after: FloatArray) -> FloatArray:
    """Steel (R,) [mm³] between two fields.

    ∫∫ (h₁ - h₀)(1 - κ (h₁ + h₀)/2) dv ds: inward of a curved edge the area element shrinks by 1 - κu.
    Past the centre of curvature nothing is left to take, so both insets end there.
    """
    limit = (1 / np.maximum(ground.plan_curvature, LEAST_CURVATURE))[:, None]
    tight = np.flatnonzero(limit < after.max())  # elsewhere no inset gets so far
    ends = slice(tight[0], tight[-1] + 1) if len(tight) else slice(0)
    half_curvature = ground.plan_curvature[:, None] / 2
    shape = before.shape[:0:-1]
    thick, element, over_depth = (np.zeros(shape, dtype=before.dtype) for _ in range(3))
    last = len(before) - 1
    for v, (old, new) in enumerate(zip(before, after, strict=True)):
        np.subtract(new.T, old.T, out=thick)
        np.add(new.T, old.T, out=element)
        if len(tight):
            low, high = (np.minimum(h.T[ends], limit[ends]) for h in (old, new))
            thick[ends], element[ends] = high - low, high + low
        element *= half_curvature
        np.subtract(1.0, element, out=element)
        thick *= element
        if v in (0, last):
            thick /= 2
        over_depth += thick
    return over_stations(over_depth.T, ground.step_mm * ground.share_mm)
