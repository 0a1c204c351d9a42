"""Rolling strokes over one edge, many runs at once: each station is cut by the plane touching it.

The stone follows the edge over a stretch and takes a given volume. On a curved edge, the
section-by-section cut is what a flat stone leaves; beyond the two ends of the stretch the stone's
last planes go on as facets, whose volume belongs to the stroke. Where a stone is swung along the
edge it touches further on: the stretch is shifted by the arc over which the edge turns by that
angle.

Fields are (V, S, R): depths, stations, runs, runs closest in memory; no element of a run is ever
combined with another's. `edgekit.grinding.section_stroke` says the same in plain scalars.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.contact.facets import GRAZING
from edgekit.errors import Cannot
from edgekit.grinding.recession_field import CELLS_IN_CACHE, MIN_CURVATURE, EdgeGrid

if TYPE_CHECKING:
    from numpy.typing import NDArray


MAX_STEPS = 200  # six are usual
RAISED = 1e3  # times the usual area: as far as proud steel may keep a stone off
EXACT = 1e-10  # of the volume of a stroke
TINY = 1e-9  # [mm] of depth, where a line cuts nothing yet
ROUNDING = 2e-15  # of the volume within the flank: what a sum of it may be off by


class RolledEdge(NamedTuple):
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
        return self._replace(node_mm=node_mm(self.grid, drop_mm), drop_mm=drop_mm)

    def some(self, runs: NDArray[np.int_]) -> RolledEdge:
        """The same for some runs."""
        if self.drop_mm.shape[1] == 1:
            return self
        return self._replace(node_mm=self.node_mm[..., runs], drop_mm=self.drop_mm[:, runs])

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
        for part in _layers(field):
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
        for part in _layers(field):
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
        # Running sums add one station after another, whatever the number of runs.
        return np.asarray(np.cumsum(area * self.grid.station_weights_mm[:, None], axis=0)[-1])


def node_mm(grid: EdgeGrid, drop_mm: FloatArray) -> FloatArray:
    """Depth (V, S, R) that each node stands for, below a face lowered by `drop_mm` (S, R)."""
    depth = grid.depth_mm[:, :, None]
    middle = (depth[1:] + depth[:-1]) / 2
    upper, lower = np.concatenate([depth[:1], middle]), np.concatenate([middle, depth[-1:]])
    return np.asarray(np.maximum(lower - np.maximum(upper, drop_mm), 0.0))


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


def stroke(
    rolled: RolledEdge,
    field: FloatArray,
    tilt_rad: FloatArray,
    stretch: Stretch | None,
    volume_mm3: FloatArray,
) -> tuple[FloatArray, Lines]:
    """One rolling stroke.

    Parameters
    ----------
    rolled : RolledEdge
    field : array (V, S, R)
        The flank before it.
    tilt_rad : array (S, R)
        Error of the angle along the edge, opening it where positive.
    stretch : Stretch, optional
        The whole edge without one.
    volume_mm3 : array (R,)
        What the stroke takes, its end facets included.

    Returns
    -------
    field : array (V, S, R)
        The flank after it.
    lines : Lines
        Along which the stone cut each station.

    Notes
    -----
    The stations that the stone touches give steel by the share in which they are pressed; of a
    partial stroke, the end facets and the sides of hollows that a flat stone cannot enter belong to
    the volume.
    """
    press, slope = rolled.pressed(field), 1 / np.tan(rolled.angle_rad[:, None] + tilt_rad)
    before = rolled.within(field)
    if stretch is not None and (stretch.first.any() or (stretch.last < len(press) - 1).any()):
        part = _Part.of(rolled, tilt_rad, slope, stretch)
        lines = _part_lines(rolled, field, part, press, before, volume_mm3)
    else:
        area = volume_mm3 / rolled.volume(press)
        lines = Lines(_levels(rolled, field, slope, area * press, before), slope)
    return lines.cut(field, rolled), lines


def _levels(
    rolled: RolledEdge, field: FloatArray, slope: FloatArray, area: FloatArray, before: FloatArray
) -> FloatArray:
    """Levels (S, R) of lines that take an `area` (S, R) each.

    A line at x takes the area of a parabola in x from the nodes that it cuts, and at least what it
    would if it cut at any other set of nodes. The least level over sets of nodes is therefore the
    right one, and only sets of the lowest can give it.
    """
    curvature = np.maximum(rolled.grid.plan_curvature, MIN_CURVATURE)[:, None]
    rise = slope * rolled.grid.depth_mm[:, :, None]
    height = np.where(field < 1 / curvature, field - rise, np.inf)
    order = np.argsort(height, axis=0)

    def lowest(values: FloatArray) -> FloatArray:
        """Sums (V, S, R) over the lowest nodes."""
        return np.asarray(np.cumsum(np.take_along_axis(values, order, axis=0), axis=0))

    straight = rolled.node_mm * (field - rise)
    width = lowest(np.broadcast_to(rolled.node_mm, field.shape))
    gain = width - curvature * lowest(rolled.node_mm * rise)
    rest = area + lowest(straight - curvature / 2 * straight * (rise + field))
    with np.errstate(invalid="ignore", divide="ignore"):  # where there is no such level
        levels = 2 * rest / (gain + np.sqrt(gain * gain - 2 * curvature * width * rest))
    low = height.min(axis=0)
    level: FloatArray = np.where(area > 0, np.fmin.reduce(levels, axis=0), low)
    deepest = level + np.maximum(slope, 0.0) * rolled.grid.depth_mm[-1, :, None]
    if not (deepest <= 1 / curvature).all():
        past = ~np.isfinite(level) | ((level + rise > np.maximum(field, 1 / curvature)).any(axis=0))
        runs = np.flatnonzero(past.any(axis=0))
        parts = (np.ascontiguousarray(x[..., runs]) for x in (field, slope, area, before, low))
        level[:, runs] = _by_steps(rolled.some(runs), *parts)
    return level


def _by_steps(
    rolled: RolledEdge,
    field: FloatArray,
    slope: FloatArray,
    area: FloatArray,
    before: FloatArray,
    low: FloatArray,
) -> FloatArray:
    """Levels (S, R) where some lines reach a centre of curvature: Newton's method within a bracket,
    from where the lines just touch, `low`."""
    level, high = low, np.full_like(low, np.inf)
    for _ in range(MAX_STEPS):
        removed, width = _removed(rolled, field, Lines(level, slope), before)
        excess = removed - area
        good = (np.abs(excess) <= EXACT * area.max(axis=0) + ROUNDING * before).all(axis=0)
        if good.all():
            return level
        low, high = np.where(excess < 0, level, low), np.where(excess > 0, level, high)
        newton = level - excess / width
        newton = np.where(newton < low, (level + low) / 2, newton)
        newton = np.where(newton > high, (level + high) / 2, newton)
        level = np.where(good, level, newton)  # a run stops by itself, whatever the others do
    raise Cannot("a stroke took no definite depth", float(area.max()), "Give it less steel.")


def _part_lines(
    rolled: RolledEdge,
    field: FloatArray,
    part: _Part,
    press: FloatArray,
    before: FloatArray,
    volume_mm3: FloatArray,
) -> Lines:
    """Lines of a stroke over a part of the edge: the area per unit of length that gives the volume,
    end facets and the sides of hollows included, by false position (Illinois) in all runs at once.

    An area below 0 stands for a stone that proud steel keeps off the rest of the stretch: it is
    raised evenly.
    """
    touch = part.touch(rolled, field)
    share = np.where(part.inside, press, 0.0)
    usual = volume_mm3 / rolled.volume(share)
    # What the stations inside take alone leaves nothing for the ends: the answer is no more.
    low, high, area = -usual * RAISED, usual, np.zeros_like(usual)
    below, above = -volume_mm3, np.full_like(volume_mm3, np.inf)
    was_too_much = np.zeros(usual.shape, dtype=bool)
    for step in range(MAX_STEPS):
        taken = np.maximum(area, 0.0)
        level = _levels(rolled, field, part.slope_inside, taken * share, before)
        raised = touch + np.minimum(area, 0.0) / rolled.node_mm.sum(axis=0)
        lines = part.at(np.where(area > 0, level, raised))
        removed, _ = _removed(rolled, field, lines, before)
        excess = rolled.volume(removed) - volume_mm3
        good = _small(excess, volume_mm3, rolled.volume(before))
        if good.all():
            return lines
        too_much = excess > 0
        again = (too_much == was_too_much) & (step > 1)
        # Where the same end moves twice running, the other end's value counts half.
        below = np.where(too_much, np.where(again, below / 2, below), excess)
        above = np.where(too_much, excess, np.where(again, above / 2, above))
        low, high = np.where(too_much, low, area), np.where(too_much, area, high)
        finite = np.isfinite(above)
        slope = np.where(finite, above, 1.0) - below
        next_area = np.where(finite, low - below * (high - low) / slope, high)
        area, was_too_much = np.where(good, area, next_area), too_much
    raise Cannot("a stroke took no definite depth", volume_mm3, "Give it less steel.")


def flat_stroke(
    rolled: RolledEdge,
    field: FloatArray,
    tilt_rad: FloatArray,
    swing_rad: FloatArray,
    volume_mm3: FloatArray,
) -> tuple[FloatArray, Lines]:
    """One stroke of a flat stone that lies on the whole of a nearly straight edge.

    As `stroke`, with one tilt and one swing (R,) for the edge; the plane sinks until it has taken
    the volume.
    """
    stations = len(rolled.angle_rad)
    middle = np.full(len(volume_mm3), stations // 2)
    every = np.broadcast_to(tilt_rad, (stations, len(volume_mm3)))
    plane = _plane(rolled, every, middle, np.tan(swing_rad))
    before = rolled.within(field)
    # From a level at which all of the flank is cut; the volume is convex in the depth of the plane.
    rows = zip(rolled.node_mm, rolled.grid.depth_mm[:, :, None], field, strict=True)
    flat = sum(w * (plane.offset + plane.slope * v - h) for w, v, h in rows)
    gain = rolled.volume(rolled.node_mm.sum(axis=0) * plane.factor)
    depth = (volume_mm3 - rolled.volume(flat)) / gain
    for _ in range(MAX_STEPS):
        lines = Lines(plane.offset + plane.factor * depth, plane.slope)
        removed, width = _removed(rolled, field, lines, before)
        excess = rolled.volume(removed) - volume_mm3
        good = _small(excess, volume_mm3, rolled.volume(before))
        if good.all():
            return lines.cut(field, rolled), lines
        depth = np.where(good, depth, depth - excess / rolled.volume(width * plane.factor))
    raise Cannot("a stroke took no definite depth", volume_mm3, "Give it less steel.")


class Lines(NamedTuple):
    """Lines (S, R) along which stations are cut: u = level + slope v."""

    level: FloatArray
    slope: FloatArray

    def meets(self, rolled: RolledEdge) -> FloatArray:
        """Inset (S, R) at which they meet the face."""
        return np.asarray(self.level + self.slope * rolled.drop_mm)

    def cut(self, field: FloatArray, rolled: RolledEdge) -> FloatArray:
        """What they leave of a field (V, S, R)."""
        after = np.empty_like(field)
        for part in _layers(field):
            line = self.level + self.slope * rolled.grid.depth_mm[part, :, None]
            np.maximum(field[part], line, out=after[part])
        return after


class _Part(NamedTuple):
    """A stroke over a part of the edge, but for its depth.

    The stone touches the stations ``inside`` (S, R), along lines of ``slope_inside``; a station
    there is cut at least as deep as the planes at its neighbours reach, ``sagitta`` (S, S) short of
    their own depth. Beyond an end it is cut along ``slope``, at ``offset + factor * level`` of the
    end's station (S, R).
    """

    stretch: Stretch
    inside: NDArray[np.bool_]
    sagitta: FloatArray
    offset: FloatArray
    factor: FloatArray
    slope: FloatArray
    slope_inside: FloatArray

    @classmethod
    def of(
        cls, rolled: RolledEdge, tilt_rad: FloatArray, slope: FloatArray, stretch: Stretch
    ) -> _Part:
        """Prepare a stroke."""
        station = np.arange(len(tilt_rad))[:, None]
        heel, toe = station < stretch.first, station > stretch.last
        offset, factor, lines = np.zeros_like(slope), np.zeros_like(slope), slope
        for beyond, end in ((heel, stretch.first), (toe, stretch.last)):
            if beyond.any():
                plane = _plane(rolled, tilt_rad, end)
                offset = np.where(beyond, plane.offset, offset)
                factor = np.where(beyond, plane.factor, factor)
                lines = np.where(beyond, plane.slope, lines)
        at = np.arange(len(tilt_rad))
        sagitta = -_plane(rolled, np.zeros((len(at), len(at))), at).offset
        return cls(stretch, ~(heel | toe), sagitta, offset, factor, lines, slope)

    def touch(self, rolled: RolledEdge, field: FloatArray) -> FloatArray:
        """Levels (S, R) at which the lines inside just touch the flank."""
        rows = zip(rolled.grid.depth_mm[:, :, None], field, strict=True)
        return np.asarray(np.minimum.reduce([row - self.slope_inside * v for v, row in rows]))

    def at(self, level: FloatArray) -> Lines:
        """The lines for levels (S, R) that the stations inside ask for."""
        wanted = np.where(self.inside, level, -np.inf)
        deepest = np.max(wanted[None] - self.sagitta[:, :, None], axis=1)
        run, station = np.arange(level.shape[1]), np.arange(len(level))[:, None]
        first, last = (deepest[end, run] for end in self.stretch)
        end = np.where(station < self.stretch.first, first, last)
        return Lines(np.where(self.inside, deepest, self.offset + self.factor * end), self.slope)


class _Plane(NamedTuple):
    """Lines (S, R) that a plane leaves, at a level of 0 where it touches and by how much they
    follow it.
    """

    offset: FloatArray
    factor: FloatArray
    slope: FloatArray


def _plane(
    rolled: RolledEdge, tilt_rad: FloatArray, at: NDArray[np.int_], swing: FloatArray | float = 0.0
) -> _Plane:
    """Lines (S, R) that the plane of the stone leaves at all stations, where it touches at station
    `at` (R,).
    """
    grid, run = rolled.grid, np.arange(len(at))
    normal, along = rolled.normals[at], grid.tangent[at]
    opening = -grid.edge.side * np.cross(along, normal)
    tilt = np.tan(tilt_rad[at, run])[:, None]
    turned = normal + tilt * opening + np.multiply(swing, np.ones(len(at)))[:, None] * along
    facing = -_products(grid.inward, turned)
    into = facing[at, run]
    sees = facing > GRAZING
    facing = np.where(sees, facing, 1.0)
    height = _products(grid.position, turned) - _products(grid.position, turned)[at, run]
    return _Plane(
        offset=np.where(sees, height / facing, -np.inf),
        factor=np.where(sees, into / facing, 0.0),
        slope=np.where(sees, -_products(grid.face, turned) / facing, 0.0),
    )


def _products(vectors: FloatArray, normals: FloatArray) -> FloatArray:
    """Products (S, R) of vectors (S, 3) and normals (R, 3), with the same bits whatever R is."""
    parts = (vectors[:, k, None] * normals[:, k] for k in range(3))
    return np.asarray(sum(parts))


def _removed(
    rolled: RolledEdge, field: FloatArray, lines: Lines, before: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Area (S, R) that lines take off, and how it grows with the level."""
    curvature = rolled.grid.plan_curvature[:, None]
    area, width = -before, np.zeros_like(before)
    for part in _layers(field):
        node, depth = rolled.node_mm[part], rolled.grid.depth_mm[part, :, None]
        line = lines.level + lines.slope * depth
        strips = node * rolled.strip(np.maximum(field[part], line))
        widths = np.where(line > field[part], node * np.maximum(1 - curvature * line, 0.0), 0.0)
        for strip, growth in zip(
            strips, widths, strict=True
        ):  # one by one: the same bits in any part
            area += strip
            width += growth
    return area, np.maximum(width, TINY)


def _layers(field: FloatArray) -> list[slice]:
    """Depths of a field (V, S, R) in parts that stay in cache; few runs take one part."""
    size = max(1, CELLS_IN_CACHE // max(field[0].size, 1))
    return [slice(first, first + size) for first in range(0, len(field), size)]


def _small(excess: FloatArray, wanted: FloatArray, total: FloatArray) -> NDArray[np.bool_]:
    return np.asarray(np.abs(excess) <= EXACT * np.abs(wanted) + ROUNDING * total)
