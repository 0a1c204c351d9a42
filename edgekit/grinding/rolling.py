"""An edge prepared for rolling strokes, the stretch that a stroke covers, lines it cuts along.

Each station is cut by the plane touching it. Where a stone is swung along the edge it touches
further on: the stretch is shifted by the arc over which the edge turns by that angle.

Fields are (V, S, R): depths, stations, runs, runs closest in memory; no element of a run is ever
combined with another's. `edgekit.grinding.section_stroke` says the same in plain scalars.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.grinding.recession_field import CELLS_IN_CACHE, MIN_CURVATURE, EdgeGrid, over_stations

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class RolledEdge:
    """An edge prepared for rolling under one guide: its `grid`, the planes aimed at, how it turns.

    ``normals`` (S, 3) aimed at; ``angle_rad`` (S,) between face and stone; ``turned_rad`` (S,) by
    how much the edge has turned from its heel; ``node_mm`` (V, S, 1 or R) the depth that each node
    stands for, and ``drop_mm`` (S, 1 or R) how far the face lies below the new one.
    """

    grid: EdgeGrid
    normals: FloatArray
    angle_rad: FloatArray
    turned_rad: FloatArray
    node_mm: FloatArray
    drop_mm: FloatArray

    @classmethod
    def of(cls, grid: EdgeGrid, normals: FloatArray) -> RolledEdge:
        """Prepare an edge for the planes of a guide."""
        fall = np.einsum("si,si->s", normals, grid.face)
        middle = (grid.tangent[1:] + grid.tangent[:-1]) / 2
        turn = np.einsum("si,si->s", np.diff(normals, axis=0), middle)
        turned = np.maximum.accumulate(np.concatenate([[0.0], np.cumsum(turn)]))
        angle = np.arccos(np.clip(-fall, -1.0, 1.0))
        face = np.zeros((len(angle), 1))
        return cls(grid, normals, angle, turned, node_mm(grid, face), face)

    def lowered(self, drop_mm: FloatArray) -> RolledEdge:
        """The same edge where the face lies below the new one by `drop_mm` (S, R)."""
        if not drop_mm.any():
            return self
        return replace(self, node_mm=node_mm(self.grid, drop_mm), drop_mm=drop_mm)

    def some(self, runs: NDArray[np.int_]) -> RolledEdge:
        """The same for some runs."""
        if self.drop_mm.shape[1] == 1:
            return self
        return replace(self, node_mm=self.node_mm[..., runs], drop_mm=self.drop_mm[:, runs])

    def inset(self, field: FloatArray) -> FloatArray:
        """Inset (S, R) of the edge: that of the field (V, S, R) where the face lies."""
        if not self.drop_mm.any():
            return np.array(field[0])
        depth = self.grid.depth_mm[:, :, None]
        below = np.clip((depth <= self.drop_mm).sum(axis=0) - 1, 0, len(depth) - 2)[None]
        depths = np.broadcast_to(depth, field.shape)
        low, high = (np.take_along_axis(field, below + k, axis=0)[0] for k in (0, 1))
        top, bottom = (np.take_along_axis(depths, below + k, axis=0)[0] for k in (0, 1))
        return np.asarray(low + (high - low) * (self.drop_mm - top) / (bottom - top))

    def within(self, field: FloatArray) -> FloatArray:
        """Area (S, R) between the edge's own line and a field (V, S, R), below the face."""
        total = np.zeros(field.shape[1:])
        for part in layers(field):
            for strip in self.node_mm[part] * self.strip(field[part]):
                total += strip
        return total

    def pressed(self, field: FloatArray) -> FloatArray:
        """Share (S, R) of a stroke's steel per unit of length: what a cut parallel to the flank
        would take.

        The hand is taken to keep the outline of the edge, as teaching asks (assumed, no source):
        without error, a stroke moves it inward alike at all stations, though a toe or the tip of a
        sickle has less steel to give.
        """
        curvature = self.grid.plan_curvature[:, None]
        steel = np.zeros(field.shape[1:])
        for part in layers(field):
            for layer in self.node_mm[part] * np.maximum(1 - curvature * field[part], 0.0):
                steel += layer
        return np.asarray(steel / np.max(steel, axis=0))

    def strip(self, inset: FloatArray) -> FloatArray:
        """Area per unit of depth and length between the edge's line and an inset (S, R): u - κu²/2.

        Past the centre of curvature nothing is left to take.
        """
        curvature = np.maximum(self.grid.plan_curvature, MIN_CURVATURE)[:, None]
        inset = np.minimum(inset, 1 / curvature)
        return np.asarray(inset - curvature / 2 * inset**2)

    def volume(self, area: FloatArray) -> FloatArray:
        """Volume (R,) of areas (S, R) at the stations."""
        return over_stations(area.T, self.grid.station_weights_mm)


def node_mm(grid: EdgeGrid, drop_mm: FloatArray) -> FloatArray:
    """Depth (V, S, R) that each node stands for, below a face lowered by `drop_mm` (S, R)."""
    below = np.concatenate([[0.0], np.cumsum(grid.shares)])
    ends = below[:, None, None] * grid.depth_mm[-1, :, None]
    return np.asarray(np.maximum(ends[1:] - np.maximum(ends[:-1], drop_mm), 0.0))


class Stretch(NamedTuple):
    """First and last station (R,) that the stone touches in a stroke."""

    first: NDArray[np.int_]
    last: NDArray[np.int_]

    @classmethod
    def misplaced(
        cls,
        rolled: RolledEdge,
        ends_mm: tuple[FloatArray, FloatArray],
        swing_rad: FloatArray,
        shift_mm: FloatArray,
    ) -> Stretch:
        """A stretch (R,) [mm] aimed at, shifted by what the stone is swung [rad] and misplaced
        [mm].
        """
        arc, turned = rolled.grid.arc_mm, rolled.turned_rad
        last, stations = len(arc) - 1, []
        for end in ends_mm:
            touched = np.interp(np.interp(end, arc, turned) + swing_rad, turned, arc) + shift_mm
            touched = np.where((end < 0) | (end > arc[-1]), end, touched)  # overrun
            stations.append(np.rint(np.clip(touched / arc[1], 0, last)).astype(np.intp))
        return cls(*stations)


class Lines(NamedTuple):
    """Lines (S, R) along which stations are cut: u = level + slope v."""

    level: FloatArray
    slope: FloatArray

    def meets(self, rolled: RolledEdge) -> FloatArray:
        """Inset (S, R) at which they meet the face."""
        return self.level + self.slope * rolled.drop_mm if rolled.drop_mm.any() else self.level

    def cut(self, field: FloatArray, rolled: RolledEdge) -> FloatArray:
        """What they leave of a field (V, S, R)."""
        after = np.empty_like(field)
        for part in layers(field):
            line = self.level + self.slope * rolled.grid.depth_mm[part, :, None]
            np.maximum(field[part], line, out=after[part])
        return after


def layers(field: FloatArray) -> list[slice]:
    """Depths of a field (V, S, R) in parts that stay in cache; few runs take one part."""
    size = max(1, CELLS_IN_CACHE // max(field[0].size, 1))
    return [slice(first, first + size) for first in range(0, len(field), size)]
