"""The flank of an edge under strokes, many runs at once: it is cut in memory that is used again."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.grinding.arrays.levels import Columns, Depths, Sunk, settle, sink
from edgekit.grinding.recession_field import MIN_CURVATURE
from edgekit.grinding.rolling import Lines, RolledEdge

if TYPE_CHECKING:
    from numpy.typing import NDArray

COLUMNS_IN_CACHE = 6144  # of twelve depths: three arrays of them are 1.8 MB
GAPLESS = 4096  # columns: numpy copies shorter rows with gaps between them through a buffer


class WorkedFlank:
    """The ``field`` (V, S, R) of the edge ``rolled`` under strokes.

    Stations and runs make N columns. Along with the field go (N,), over the greatest depth, its
    mean inset, the area within it as if there were no centre of curvature, and what a cut parallel
    to it would give less than nothing past one.
    """

    rolled: RolledEdge
    field: FloatArray

    def __init__(self, rolled: RolledEdge, field: FloatArray) -> None:
        self._mean, self._within, self._beyond = np.empty((3, field[0].size))
        grid = rolled.grid
        self._deepest = grid.depth_mm[-1][:, None]
        self._depths = Depths(grid.fraction, grid.shares)
        self._make_room(field.shape[2])
        self._lay_out(rolled, field.shape[2])
        self.field[...] = field
        self._measure(slice(None))

    def _make_room(self, runs: int) -> None:
        """Memory for so many runs: of a field, of what a stroke leaves of it, and for work."""
        depths, columns = len(self._depths.fraction), len(self._deepest) * runs
        self._stores = [np.empty(depths * (columns + 64)) for _ in range(2)]
        self._room = np.empty(depths * min(columns, COLUMNS_IN_CACHE + runs))

    def _lay_out(self, rolled: RolledEdge, runs: int) -> None:
        """Lay a field (V, S, R) out in memory, for the numbers of other runs."""
        self.rolled, (depths, stations) = rolled, rolled.grid.depth_mm.shape
        length = columns = stations * runs
        if columns > GAPLESS:  # rows begin on different lines of the cache
            length += (24 - columns) % 64
        self._rows, self._after = (
            store[: depths * length].reshape(depths, length)[:, :columns] for store in self._stores
        )
        self.field = self._rows.reshape(depths, stations, runs)
        self._plan = rolled.grid.plan_curvature.repeat(runs)
        self._curvature = np.maximum(self._plan, MIN_CURVATURE)
        if rolled.drop_mm.any():
            share = np.broadcast_to(rolled.node_mm / self._deepest, self.field.shape)
            self._depths = Depths(self._depths.fraction, share.reshape(depths, columns))
        pieces = max(1, min(stations, -(-columns // COLUMNS_IN_CACHE)))
        ends = (stations * piece // pieces * runs for piece in range(pieces + 1))
        self._pieces = [slice(*pair) for pair in pairwise(ends)]

    def _measure(self, columns: NDArray[np.int_] | slice) -> None:
        """Sum what goes along with the field in some columns."""
        field, depths = self._rows[:, columns], self._depths.some(columns)
        self._mean[columns] = mean = depths.mean(field)
        self._within[columns] = mean - self._curvature[columns] / 2 * depths.mean(field**2)
        self._beyond[columns] = depths.mean(np.maximum(field * self._plan[columns] - 1, 0.0))

    @property
    def steel(self) -> FloatArray:
        """What a cut parallel to the flank would take (S, R), over the greatest depth.

        The hand is taken to keep the outline of the edge, as teaching asks (assumed, no source):
        without error, a stroke moves it inward alike at all stations, though a toe or the tip of a
        sickle has less steel to give.
        """
        steel = self._depths.total - self._plan * self._mean + self._beyond
        return np.asarray(np.maximum(steel, 0.0)).reshape(self.field.shape[1:])

    def roll(self, slope: FloatArray, volume_mm3: FloatArray) -> Lines:
        """Cut along lines of some `slope` (S, R) that take a volume (R,), of which stations give by
        their steel."""
        steel = self.steel
        area = steel * (volume_mm3 / self.rolled.volume(steel * self._deepest))
        sunk, past = self._sink(slope, area)
        self._stores.reverse()
        self._rows, self._after = self._after, self._rows
        self.field = self._rows.reshape(self.field.shape)
        self._mean, self._within = sunk.mean, self._within + area.ravel()
        if len(past):
            self._measure(past)
        return Lines(sunk.level.reshape(area.shape), slope)

    def levels(self, slope: FloatArray, area_mm2: FloatArray) -> FloatArray:
        """Levels (S, R) of lines of some `slope` (S, R) that would take areas (S, R)."""
        sunk, _ = self._sink(slope, area_mm2 / self._deepest)
        return sunk.level.reshape(slope.shape)

    def _sink(self, slope: FloatArray, area: FloatArray) -> tuple[Sunk, NDArray[np.int_]]:
        """Sink lines that take areas (S, R) over the greatest depth, where what they leave is put
        beside the field; and the columns cut past a centre."""
        rise = (slope * self._deepest).ravel()
        every = Columns(self._rows, rise, area.ravel(), self._mean, self._within, self._curvature)
        parts = []
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):  # past a centre
            for piece in self._pieces:
                columns, after = every.some(piece), self._after[:, piece]
                room = self._room[: after.size].reshape(after.shape)
                parts.append(sink(self._depths.some(piece), columns, after, room))
            sunk = Sunk(*map(np.concatenate, zip(*parts, strict=True)))
            return sunk, settle(self._depths, every, sunk, self._after)

    def cut(self, lines: Lines) -> None:
        """Cut along any lines."""
        self.field[...] = lines.cut(self.field, self.rolled)
        self._measure(slice(None))

    def keep(self, runs: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        before, sums = self.field, self._sums().take(runs, axis=-1)
        self._mean, self._within, self._beyond = sums.reshape(3, -1)
        self._stores.reverse()
        self._lay_out(self.rolled.some(runs), len(runs))
        _take(before, runs, self.field)

    def join(self, others: WorkedFlank) -> None:
        """Take in the runs of another flank of the same edge, whose face is not lowered."""
        sums = np.concatenate([self._sums(), others._sums()], axis=-1)
        self._mean, self._within, self._beyond = sums.reshape(3, -1)
        fields, runs = (self.field, others.field), sums.shape[-1]
        self._make_room(runs)
        self._lay_out(self.rolled, runs)
        np.concatenate(fields, axis=2, out=self.field)

    def _sums(self) -> FloatArray:
        """What goes along with the field (3, S, R)."""
        sums = np.stack([self._mean, self._within, self._beyond])
        return sums.reshape(3, *self.field.shape[1:])

    def some(self, runs: NDArray[np.int_]) -> FloatArray:
        """The field (V, S, R) of some runs."""
        return _take(self.field, runs, np.empty((*self.field.shape[:2], len(runs))))


def _take(field: FloatArray, runs: NDArray[np.int_], out: FloatArray) -> FloatArray:
    """Some runs of a field (V, S, R)."""
    if field.flags.c_contiguous and out.flags.c_contiguous:
        return field.take(runs, axis=2, out=out, mode="clip")
    for layer, part in zip(field, out, strict=True):
        layer.take(runs, axis=1, out=part, mode="clip")
    return out
