"""The flank of an edge under strokes, many runs at once: it is cut in memory that is used again."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.geometry.depth_nodes import node_shares
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
        depths, stations, runs = field.shape
        self._store = np.empty(depths * (stations * runs + 64))
        self._room = np.empty((2, depths * min(stations * runs, COLUMNS_IN_CACHE + runs)))
        self._mean, self._within, self._beyond = np.empty((3, stations * runs))
        grid = rolled.grid
        self._deepest = grid.depth_mm[-1][:, None]
        self._depths = Depths(grid.fraction, node_shares(grid.fraction))
        self._lay_out(rolled, field)
        self._measure(slice(None))

    def _lay_out(self, rolled: RolledEdge, field: FloatArray) -> None:
        """Lay a field (V, S, R) out in memory."""
        self.rolled, (depths, stations, runs) = rolled, field.shape
        length = columns = stations * runs
        if columns > GAPLESS:  # rows begin on different lines of the cache
            length += (24 - columns) % 64
        self._rows = self._store[: depths * length].reshape(depths, length)[:, :columns]
        self.field = self._rows.reshape(field.shape)
        self.field[...] = field
        self._plan = rolled.grid.plan_curvature.repeat(runs)
        self._curvature = np.maximum(self._plan, MIN_CURVATURE)
        if rolled.drop_mm.any():
            share = np.broadcast_to(rolled.node_mm / self._deepest, field.shape)
            self._depths = Depths(self._depths.fraction, share.reshape(depths, columns))
        pieces = min(stations, -(-columns // COLUMNS_IN_CACHE))
        ends = np.linspace(0, stations, pieces + 1).astype(int) * runs
        self._pieces = [slice(*pair) for pair in pairwise(ends.tolist())]

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
        level, self._mean, past = self._sink(slope, area, self._rows)
        self._within = self._within + area.ravel()
        if len(past):
            self._measure(past)
        return Lines(level, slope)

    def levels(self, slope: FloatArray, area_mm2: FloatArray) -> FloatArray:
        """Levels (S, R) of lines of some `slope` (S, R) that would take areas (S, R)."""
        return self._sink(slope, area_mm2 / self._deepest, np.empty_like(self._rows))[0]

    def _sink(
        self, slope: FloatArray, area: FloatArray, rows: FloatArray
    ) -> tuple[FloatArray, FloatArray, NDArray[np.int_]]:
        """Levels (S, R) of lines that take areas over the greatest depth, the mean insets (N,) of
        what they leave, which is put into `rows` (V, N), and the columns cut past a centre."""
        rise = (slope * self._deepest).ravel()
        given = rise, area.ravel(), self._mean, self._within, self._curvature
        sunk = Sunk(np.empty_like(rise), np.empty_like(rise), np.empty(len(rise), dtype=bool))
        numbers, fields, cut = [], [], []
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):  # past a centre
            for piece in self._pieces:
                columns = Columns(self._rows[:, piece], *(part[piece] for part in given))
                room = self._room[:, : columns.field.size].reshape(2, *columns.field.shape)
                done = sink(self._depths.some(piece), columns, *room)
                for whole, part in zip(sunk, done, strict=True):
                    whole[piece] = part
                aside = (~done.right | columns.near(done.level)).nonzero()[0]
                numbers.append(aside + piece.start)
                fields.append(columns.field[:, aside])
                cut.append(room[0][:, aside])
                rows[:, piece] = room[0]
            aside, after = np.concatenate(numbers), np.concatenate(cut, axis=1)
            columns = Columns(np.concatenate(fields, axis=1), *(part[aside] for part in given))
            own = Sunk._make(part[aside] for part in sunk)
            past = settle(self._depths.some(aside), columns, own, after)
        for whole, part in zip((*sunk, rows), (*own, after), strict=True):
            whole[..., aside] = part
        return sunk.level.reshape(area.shape), sunk.mean, aside[past]

    def cut(self, lines: Lines) -> None:
        """Cut along any lines."""
        self.field[...] = lines.cut(self.field, self.rolled)
        self._measure(slice(None))

    def keep(self, runs: NDArray[np.int_]) -> None:
        """Go on with some of the runs."""
        sums = np.stack([self._mean, self._within, self._beyond])
        sums = sums.reshape(3, len(self._deepest), -1)[..., runs]
        self._mean, self._within, self._beyond = sums.reshape(3, -1)
        self._lay_out(self.rolled.some(runs), self.some(runs))

    def some(self, runs: NDArray[np.int_]) -> FloatArray:
        """The field (V, S, R) of some runs."""
        field = np.empty((*self.field.shape[:2], len(runs)))
        for layer, part in zip(self.field, field, strict=True):
            layer.take(runs, axis=1, out=part, mode="clip")
        return field
