"""Rolling strokes over one edge, many runs at once: each station is cut by the plane that touches it there.

The stone follows the edge over a stretch and takes a given volume. On a curved edge, the section-by-section cut
is what a flat stone leaves; beyond the two ends of the stretch the stone's last planes go on as facets, whose
volume belongs to the stroke. Where a stone is swung along the edge it touches further on: the stretch
is shifted by the arc over which the edge turns by that angle.

Fields are (V, S, R): depths, stations, runs, runs closest in memory; no element of a run is ever combined with
another's. `edgekit.grinding.section_stroke` says the same in plain scalars.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.contact.facets import GRAZING
from edgekit.errors import EdgekitError
from edgekit.grinding.recession_field import MIN_CURVATURE, EdgeGrid

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Lines", "RolledEdge", "Stretch", "flat_stroke", "stroke"]

MAX_STEPS = 120  # of Newton's method; six are usual
FRESH_BRACKETS = 12  # steps after which its brackets are reset
EXACT = 1e-10  # of the volume of a stroke
TINY = 1e-6  # [mm] of depth: a line that cuts less is taken to cut so much
ROUNDING = 2e-15  # of the volume within the flank: what a sum of it may be off by


class RolledEdge(NamedTuple):
    """An edge prepared for rolling under one guide: its `grid`, the planes aimed at, how it turns.

    ``normals`` (S, 3) aimed at; ``angle_rad`` (S,) between face and stone; ``turned_rad`` (S,) by how
    much the edge has turned from its heel; ``node_mm`` (V, S, 1 or R) the depth that each node stands
    for, and ``drop_mm`` (S, 1 or R) how far the face lies below the new one.
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
        return cls(grid, normals, angle, turned, _node_mm(grid, face), face)

    def lowered(self, drop_mm: FloatArray) -> RolledEdge:
        """The same edge where the face lies below the new one by `drop_mm` (S, R)."""
        if not drop_mm.any():
            return self
        return self._replace(node_mm=_node_mm(self.grid, drop_mm), drop_mm=drop_mm)

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
        for row, node in zip(field, self.node_mm, strict=True):
            total += node * self.strip(row)
        return total

    def pressed(self, field: FloatArray) -> FloatArray:
        """Share (S, R) of a stroke's steel per unit of length: what a cut parallel to the flank would take.

        The hand is taken to keep the outline of the edge, as teaching asks (assumed, no source): without error, a stroke
        moves it inward alike at all stations, though a toe or the tip of a sickle has less steel to give.
        """
        curvature = self.grid.plan_curvature[:, None]
        rows = zip(self.node_mm, field, strict=True)
        steel = sum(node * np.maximum(1 - curvature * row, 0.0) for node, row in rows)
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
        return np.asarray((area * self.grid.station_weights_mm[:, None]).sum(axis=0))


def _node_mm(grid: EdgeGrid, drop_mm: FloatArray) -> FloatArray:
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
        """A stretch (R,) [mm] aimed at, shifted by what the stone is swung [rad] and misplaced [mm]."""
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
    stretch: Stretch,
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
    stretch : Stretch
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
    Newton's method for all stations and runs at once: the stations inside each give the same area of steel per
    unit of length, and the end facets take what is then missing from the volume. Where steel that stands proud
    beyond the stretch props the stone up, the whole stone sinks evenly until it has taken the volume.
    """
    press = rolled.pressed(field)
    fixed = _lines(rolled, press, tilt_rad, stretch)
    before = rolled.within(field)
    area = volume_mm3 / fixed.length
    level, low = _first_level(rolled, field, fixed.slope, area * press)
    high = np.full_like(level, np.inf)
    propped = np.zeros(len(volume_mm3), dtype=bool)
    for step in range(MAX_STEPS):
        lines = fixed.at(level)
        removed, width = _removed(rolled, field, lines, before)
        area = fixed.area_for(volume_mm3, removed, width)
        propped |= area <= 0
        over = rolled.volume(removed) - volume_mm3
        excess = np.where(fixed.inside & ~propped, removed - area * press, 0.0)
        if _small(excess, area, before) and _small(over, volume_mm3, rolled.volume(before)):
            return lines.cut(field, rolled), lines
        if step % FRESH_BRACKETS == 0:  # what is asked of a station changes with the end facets
            low, high = np.minimum(low, level), np.where(excess > 0, level, np.inf)
        low, high = np.where(excess < 0, level, low), np.where(excess > 0, level, high)
        sink = over / rolled.volume(np.where(fixed.inside, width, width * fixed.factor))
        level = np.where(propped, level - sink, _within(level - excess / width, low, high, level))
    raise EdgekitError("a stroke took no definite depth", volume_mm3, "Give it less steel.")


def _within(newton: FloatArray, low: FloatArray, high: FloatArray, level: FloatArray) -> FloatArray:
    """Newton's step where it stays within the bracket, else half the way to its end."""
    newton = np.where(newton <= low, (level + low) / 2, newton)
    return np.where(newton >= high, (level + high) / 2, newton)


def flat_stroke(
    rolled: RolledEdge,
    field: FloatArray,
    tilt_rad: FloatArray,
    swing_rad: FloatArray,
    volume_mm3: FloatArray,
) -> tuple[FloatArray, Lines]:
    """One stroke of a flat stone that lies on the whole of a nearly straight edge.

    As `stroke`, with one tilt and one swing (R,) for the edge; the plane sinks until it has taken the volume.
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
        if _small(excess, volume_mm3, rolled.volume(before)):
            return lines.cut(field, rolled), lines
        depth = depth - excess / rolled.volume(width * plane.factor)
    raise EdgekitError("a stroke took no definite depth", volume_mm3, "Give it less steel.")


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
        for row, old, v in zip(after, field, rolled.grid.depth_mm, strict=True):
            np.maximum(old, self.level + self.slope * v[:, None], out=row)
        return after


class _Fixed(NamedTuple):
    """A stroke but for its depth: inside the stretch each station has a level of its own; beyond an end it is
    ``offset + factor * level`` of the end's station. Arrays (S, R), but ``length`` (R,) of the stretch."""

    stretch: Stretch
    inside: NDArray[np.bool_]
    offset: FloatArray
    factor: FloatArray
    slope: FloatArray
    weights: FloatArray
    press: FloatArray
    length: FloatArray

    def at(self, level: FloatArray) -> Lines:
        """The lines for levels (S, R) of the stations inside."""
        first, last = (self._end(level, end) for end in self.stretch)
        end = np.where(np.arange(len(level))[:, None] < self.stretch.first, first, last)
        return Lines(np.where(self.inside, level, self.offset + self.factor * end), self.slope)

    def area_for(self, volume: FloatArray, removed: FloatArray, width: FloatArray) -> FloatArray:
        """Area (R,) that a station inside must give for the whole to be `volume`, to first order.

        As the levels change, so do those of the end facets, which hang on the first and last station.
        """
        station = np.arange(len(removed))[:, None]
        taken = np.where(self.inside, 0.0, removed * self.weights).sum(axis=0)
        wanted, length = volume - taken, self.length.copy()
        for end, beyond in zip(
            self.stretch, (station < self.stretch.first, station > self.stretch.last), strict=True
        ):
            gain = np.where(beyond, width * self.factor * self.weights, 0.0).sum(axis=0)
            gain /= self._end(width, end)
            wanted += gain * self._end(removed, end)
            length += gain * self._end(self.press, end)
        return np.asarray(wanted / length)

    @staticmethod
    def _end(values: FloatArray, end: NDArray[np.int_]) -> FloatArray:
        return np.asarray(values[end, np.arange(values.shape[1])])


def _lines(rolled: RolledEdge, press: FloatArray, tilt_rad: FloatArray, stretch: Stretch) -> _Fixed:
    """Which stations the stone touches, and the lines of all."""
    station = np.arange(len(tilt_rad))[:, None]
    heel, toe = station < stretch.first, station > stretch.last
    slope = 1 / np.tan(rolled.angle_rad[:, None] + tilt_rad)
    offset, factor = np.zeros_like(slope), np.zeros_like(slope)
    for beyond, end in ((heel, stretch.first), (toe, stretch.last)):
        if beyond.any():
            plane = _plane(rolled, tilt_rad, end)
            offset = np.where(beyond, plane.offset, offset)
            factor = np.where(beyond, plane.factor, factor)
            slope = np.where(beyond, plane.slope, slope)
    inside, weights = ~(heel | toe), rolled.grid.station_weights_mm[:, None]
    length = np.where(inside, weights * press, 0.0).sum(axis=0)
    return _Fixed(stretch, inside, offset, factor, slope, weights, press, length)


class _Plane(NamedTuple):
    """Lines (S, R) that a plane leaves, at a level of 0 where it touches and by how much they follow it."""

    offset: FloatArray
    factor: FloatArray
    slope: FloatArray


def _plane(
    rolled: RolledEdge, tilt_rad: FloatArray, at: NDArray[np.int_], swing: FloatArray | float = 0.0
) -> _Plane:
    """Lines (S, R) that the plane of the stone leaves at all stations, where it touches at station `at` (R,)."""
    grid, run = rolled.grid, np.arange(len(at))
    normal, along = rolled.normals[at], grid.tangent[at]
    opening = -grid.edge.side * np.cross(along, normal)
    tilt = np.tan(tilt_rad[at, run])[:, None]
    turned = normal + tilt * opening + np.multiply(swing, np.ones(len(at)))[:, None] * along
    facing = -(grid.inward @ turned.T)
    sees = facing > GRAZING
    facing = np.where(sees, facing, 1.0)
    height = grid.position @ turned.T - np.einsum("ri,ri->r", grid.position[at], turned)
    into = -np.einsum("ri,ri->r", grid.inward[at], turned)
    return _Plane(
        offset=np.where(sees, height / facing, -np.inf),
        factor=np.where(sees, into / facing, 0.0),
        slope=np.where(sees, -(grid.face @ turned.T) / facing, 0.0),
    )


def _first_level(
    rolled: RolledEdge, field: FloatArray, slope: FloatArray, area: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Levels (S, R) of lines that take an area, but for the curvature of the edge (exact or too deep), and of those
    that just touch.

    A line that cuts at some nodes takes at least what it would if it cut at any other set of nodes. The least
    level over sets of nodes is therefore the right one; here over those from the face down and from the back up, which
    is where lines more open and more acute than the flank cut.
    """
    node, depth = rolled.node_mm, rolled.grid.depth_mm[:, :, None]
    weighted = [w * (h - slope * v) for w, v, h in zip(node, depth, field, strict=True)]
    level = np.full(slope.shape, np.inf)
    for rows, widths in ((weighted, node), (weighted[::-1], node[::-1])):
        total, width = area + np.zeros_like(level), np.zeros(node.shape[1:])
        for row, w in zip(rows, widths, strict=True):
            total += row
            width = width + w
            np.minimum(level, total / np.maximum(width, TINY), out=level)
    heights = (h - slope * v for v, h in zip(depth, field, strict=True))
    return level, np.minimum.reduce(list(heights))


def _removed(
    rolled: RolledEdge, field: FloatArray, lines: Lines, before: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Area (S, R) that lines take off, and how it grows with the level."""
    curvature = rolled.grid.plan_curvature[:, None]
    area, width = -before, np.zeros_like(before)
    for node, v, old in zip(rolled.node_mm, rolled.grid.depth_mm, field, strict=True):
        line = lines.level + lines.slope * v[:, None]
        area += node * rolled.strip(np.maximum(old, line))
        width += np.where(line > old, node * np.maximum(1 - curvature * line, 0.0), 0.0)
    return area, np.maximum(width, TINY)


def _small(excess: FloatArray, wanted: FloatArray, total: FloatArray) -> bool:
    return bool((np.abs(excess) <= EXACT * np.abs(wanted) + ROUNDING * total).all())
