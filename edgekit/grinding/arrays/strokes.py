"""Single strokes over a flank: rolled over all of an edge or a part of it, or laid flat.

The stone follows the edge over a stretch and takes a given volume. On a curved edge, the
section-by-section cut is what a flat stone leaves; beyond the two ends of the stretch the stone's
last planes go on as facets, whose volume belongs to the stroke.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.contact.facets import GRAZING
from edgekit.errors import Cannot
from edgekit.grinding.arrays.flank import WorkedFlank
from edgekit.grinding.arrays.levels import EXACT, MAX_STEPS, ROUNDING, TINY
from edgekit.grinding.rolling import Lines, RolledEdge, Stretch, layers

if TYPE_CHECKING:
    from numpy.typing import NDArray

RAISED = 1e3  # times the usual area: as far as proud steel may keep a stone off


def stroke(
    flank: WorkedFlank, tilt_rad: FloatArray, stretch: Stretch | None, volume_mm3: FloatArray
) -> Lines:
    """One rolling stroke.

    Parameters
    ----------
    flank : WorkedFlank
        It is cut.
    tilt_rad : array (S, R)
        Error of the angle along the edge, opening it where positive.
    stretch : Stretch, optional
        The whole edge without one.
    volume_mm3 : array (R,)
        What the stroke takes, its end facets included.

    Returns
    -------
    Lines
        Along which the stone cut each station.

    Notes
    -----
    The stations that the stone touches give steel by the share in which they are pressed; of a
    partial stroke, the end facets and the sides of hollows that a flat stone cannot enter belong to
    the volume.
    """
    slope = 1 / np.tan(flank.rolled.angle_rad[:, None] + tilt_rad)
    if stretch is None or not (stretch.first.any() or (stretch.last < len(slope) - 1).any()):
        return flank.roll(slope, volume_mm3)
    lines = _part_lines(flank, _Part.of(flank.rolled, tilt_rad, slope, stretch), volume_mm3)
    flank.cut(lines)
    return lines


def _part_lines(flank: WorkedFlank, part: _Part, volume_mm3: FloatArray) -> Lines:
    """Lines of a stroke over a part of the edge: the area per unit of length that gives the volume,
    end facets and the sides of hollows included, by false position (Illinois) in all runs at once.

    An area below 0 stands for a stone that proud steel keeps off the rest of the stretch: it is
    raised evenly.
    """
    rolled, field = flank.rolled, flank.field
    touch, press, before = part.touch(rolled, field), rolled.pressed(field), rolled.within(field)
    usual = volume_mm3 / rolled.volume(np.where(part.inside, press, 0.0))
    # What the stations inside take alone leaves nothing for the ends: the answer is no more.
    low, high, area = -usual * RAISED, usual, np.zeros_like(usual)
    below, above = -volume_mm3, np.full_like(volume_mm3, np.inf)
    was_too_much = np.zeros(usual.shape, dtype=bool)
    for step in range(MAX_STEPS):
        level = flank.levels(part.slope_inside, np.where(area > 0, area, usual) * press)
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
    flank: WorkedFlank, tilt_rad: FloatArray, swing_rad: FloatArray, volume_mm3: FloatArray
) -> Lines:
    """One stroke of a flat stone that lies on the whole of a nearly straight edge.

    As `stroke`, with one tilt and one swing (R,) for the edge; the plane sinks until it has taken
    the volume.
    """
    rolled, field = flank.rolled, flank.field
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
            flank.cut(lines)
            return lines
        depth = np.where(good, depth, depth - excess / rolled.volume(width * plane.factor))
    raise Cannot("a stroke took no definite depth", volume_mm3, "Give it less steel.")


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
    for part in layers(field):
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


def _small(excess: FloatArray, wanted: FloatArray, total: FloatArray) -> NDArray[np.bool_]:
    return np.asarray(np.abs(excess) <= EXACT * np.abs(wanted) + ROUNDING * total)
