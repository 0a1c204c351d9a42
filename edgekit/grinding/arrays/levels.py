"""Levels of lines that take given areas off sections of a flank, many sections at once.

A section is a column of V depth nodes at which the flank has some inset. Lines rise evenly with
depth, u = level + rise · fraction, where nodes lie at a `fraction` of the greatest depth; areas are
over that depth. A line at x takes the area of a parabola in x from the nodes that it cuts. From any
set of nodes the parabola gives a level that is too deep or right, and the next set is those that
this level cuts: the level is right once both sets are one. From a good guess the first is, in nine
columns of ten; the others are gathered and go on.

Arrays are (V, N) and (N,), the N columns closest in memory. No column is ever combined with
another, so that its bits do not depend on those computed beside it; a lone one is doubled, for
sums of one column are taken in another order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.errors import Cannot

if TYPE_CHECKING:
    from numpy.typing import NDArray

MAX_STEPS = 200  # six are usual
EXACT = 1e-10  # of the volume of a stroke
TINY = 1e-9  # [mm] of depth, where a line cuts nothing yet
ROUNDING = 2e-15  # of the volume within the flank: what a sum of it may be off by
SAME = 1e-13  # of an area to be taken: the rounding of two ways to the same sum
USUAL_REACH = 6.0  # areas: how far past touch lines are that take them, within a factor of two
PAST_REACH = 30.0  # areas: the like of lines that cut past a centre
FINEST = 2.0**40  # numbers below 1 in steps of one part of this add up without rounding


class Depths:
    """Where the V nodes lie, as a `fraction` of the greatest depth, and the `share` of that depth
    that each stands for: (V,) alike in all columns, or (V, N) where the face is lowered."""

    def __init__(self, fraction: FloatArray, share: FloatArray) -> None:
        self.fraction, self.share, self.alike = fraction, share, share.ndim == 1
        self.total = share.sum(axis=0)
        self._lines = np.stack([np.ones_like(fraction), fraction], axis=1)
        each = self._lines.T * share if self.alike else self._lines.T
        # Without rounding a matrix product has the same bits in any company.
        self._moments = np.rint(each * FINEST) / FINEST

    def some(self, columns: NDArray[np.int_] | slice) -> Depths:
        """The same for some columns."""
        return self if self.alike else Depths(self.fraction, self.share[:, columns])

    def line(self, level: FloatArray | float, rise: FloatArray, out: FloatArray) -> FloatArray:
        """Insets (V, N) of lines of some `level` and `rise` (N,)."""
        ends = np.empty((2, len(rise)))
        ends[0], ends[1] = level, rise
        return np.matmul(self._lines, ends, out=out)

    def mean(self, values: FloatArray) -> FloatArray:
        """Sum (N,) of values (V, N) by shares."""
        return np.asarray(np.einsum("v,vn->n" if self.alike else "vn,vn->n", self.share, values))

    def moments(self, nodes: NDArray[np.bool_], room: FloatArray) -> FloatArray:
        """Sums (2, N) over some `nodes` of their shares, and of these times the fraction."""
        np.copyto(room, nodes)
        if self.alike:
            return np.asarray(np.matmul(self._moments, room))
        return np.asarray(np.einsum("kv,vn->kn", self._moments, np.multiply(room, self.share)))


class Columns(NamedTuple):
    """Sections to be cut: their ``field`` (V, N), and (N,) each the ``rise`` of the line over the
    greatest depth, the ``area`` it is to take, the ``mean`` of the field and the area ``within``
    it, and the plan's ``curvature``, above 0."""

    field: FloatArray
    rise: FloatArray
    area: FloatArray
    mean: FloatArray
    within: FloatArray
    curvature: FloatArray

    def some(self, columns: NDArray[np.int_] | slice) -> Columns:
        """Some of them."""
        field, *parts = self
        return Columns(field[:, columns], *[part[columns] for part in parts])

    def near(self, level: FloatArray) -> NDArray[np.bool_]:
        """Whether (N,) lines at some levels reach as deep as a centre of curvature, or are none."""
        return np.asarray(~((level + np.maximum(self.rise, 0.0)) * self.curvature <= 1))

    def past(self, level: FloatArray, after: FloatArray) -> NDArray[np.bool_]:
        """Whether (N,) such lines cut past a centre, where they leave a field (V, N)."""
        past = self.near(level)
        if past.any():
            cut = after > np.maximum(self.field, 1 / self.curvature)
            past &= cut.any(axis=0) | ~np.isfinite(level)
        return past


class Sunk(NamedTuple):
    """Lines (N,) that were sunk: the ``level``, the ``mean`` inset that they leave, and whether
    they are ``right``."""

    level: FloatArray
    mean: FloatArray
    right: NDArray[np.bool_]


def chosen(mask: NDArray[np.bool_]) -> NDArray[np.int_]:
    """Numbers of the columns of a mask (N,), one that is alone twice."""
    numbers = mask.nonzero()[0]
    return numbers if len(numbers) != 1 else numbers.repeat(2)


def touch(depths: Depths, columns: Columns, through: FloatArray) -> FloatArray:
    """Levels (N,) at which lines just touch below the face, infinite where nothing lies there;
    `through` (V, N) becomes those of lines through the nodes."""
    np.subtract(columns.field, depths.line(0.0, columns.rise, through), out=through)
    if depths.alike:
        return np.asarray(through.min(axis=0))
    return np.asarray(np.where(depths.share > 0, through, np.inf).min(axis=0))


def sink(depths: Depths, columns: Columns, out: FloatArray, room: FloatArray) -> Sunk:
    """Cut along lines that take the areas, into `out` (V, N).

    Levels are tried a usual reach past touch, which is corrected as if areas grew with its power of
    5/3; a step follows. `room` (V, N) is for work.
    """
    low = touch(depths, columns, room)
    deep = columns.area / (1 - columns.curvature * columns.within)  # were the edge straight
    reach = USUAL_REACH * deep
    line = depths.line(low + reach, columns.rise, room)
    taken = depths.mean(np.maximum(line, columns.field, out=line)) - columns.mean
    more = np.sqrt(deep / taken)
    return step(depths, columns, low + reach * more * (0.8 + 0.2 * more), out, room)


def step(
    depths: Depths, columns: Columns, level: FloatArray, out: FloatArray, room: FloatArray
) -> Sunk:
    """Cut along the lines that would take the areas from the nodes that lines at a `level` (N,)
    cut: they are right where they cut no others."""
    line = depths.line(level, columns.rise, room)
    width, moment = depths.moments(line > columns.field, out)
    mean = depths.mean(np.maximum(line, columns.field, out=line))
    curvature, square = columns.curvature, np.multiply(line, line, out=line)
    left = columns.area + (columns.within - (mean - curvature / 2 * depths.mean(square)))
    gain = width - curvature * (width * level + columns.rise * moment)
    # Not a number where these nodes cannot give so much: `settle` finds another way.
    twice = 2 * left
    move = twice / (gain + np.sqrt(gain * gain - curvature * width * twice))
    level, wanted = level + move, mean + width * move
    mean = depths.mean(np.maximum(depths.line(level, columns.rise, out), columns.field, out=out))
    slack = SAME * columns.area + ROUNDING * np.abs(wanted)
    return Sunk(level, mean, np.abs(mean - wanted) <= slack)


def settle(depths: Depths, columns: Columns, sunk: Sunk, after: FloatArray) -> NDArray[np.int_]:
    """Put right lines that are not yet, or cut past a centre, and the field (V, N) that all leave;
    numbers of the latter."""
    refine(depths, columns, sunk, after)
    past = chosen(columns.near(sunk.level))
    if len(past):
        beyond = columns.some(past).past(sunk.level[past], after[:, past])
        past = past[chosen(beyond)]
    if len(past):
        depths, columns = depths.some(past), columns.some(past)
        sunk.level[past] = level = past_centre(depths, columns)
        line = depths.line(level, columns.rise, np.empty_like(columns.field))
        after[:, past] = np.maximum(line, columns.field)
    return past


def refine(depths: Depths, columns: Columns, sunk: Sunk, after: FloatArray) -> None:
    """Further steps of columns that are not right yet, until they are or cut past a centre."""
    left = chosen(~sunk.right)
    for _ in range(MAX_STEPS):
        if not len(left):
            return
        some = columns.some(left)
        out, room = np.empty((2, len(after), len(left)))
        part = step(depths.some(left), some, sunk.level[left], out, room)
        sunk.level[left], sunk.mean[left], after[:, left] = part.level, part.mean, out
        wrong = ~part.right
        if wrong.any():
            wrong &= ~some.past(part.level, out)
        left = left[chosen(wrong)]
    raise _no_depth(columns.area[left])


def _no_depth(area: FloatArray) -> Cannot:
    return Cannot("a stroke took no definite depth", float(area.max()), "Give it less steel.")


def past_centre(depths: Depths, columns: Columns) -> FloatArray:
    """Levels (N,) of lines that cut past a centre of curvature, where nothing is left to take:
    Newton's method within a bracket, from a usual reach past touch."""
    half, centre = columns.curvature / 2, 1 / columns.curvature
    through, fraction = np.empty_like(columns.field), depths.fraction[:, None]

    def within(field: FloatArray) -> FloatArray:
        inset = np.minimum(field, centre)
        return depths.mean(inset - half * inset**2)

    touch(depths, columns, through)
    before, low = within(columns.field), np.where(columns.field < centre, through, np.inf)
    low = np.where(np.isfinite(low).any(axis=0), low, through).min(axis=0)
    high = centre - np.minimum(columns.rise, 0.0)  # past a centre everywhere
    level = low + np.minimum(PAST_REACH * columns.area, np.maximum(high - low, 0.0) / 2)
    for _ in range(MAX_STEPS):
        line = level + columns.rise * fraction
        excess = within(np.maximum(columns.field, line)) - before - columns.area
        good = np.abs(excess) <= EXACT * columns.area + ROUNDING * before
        if good.all():
            return np.asarray(level)
        growth = np.where(line > columns.field, np.maximum(1 - columns.curvature * line, 0.0), 0.0)
        low, high = np.where(excess < 0, level, low), np.where(excess > 0, level, high)
        newton = level - excess / np.maximum(depths.mean(growth), TINY)
        newton = np.where(newton < low, (level + low) / 2, newton)
        newton = np.where(newton > high, (level + high) / 2, newton)
        level = np.where(good, level, newton)  # a column stops by itself, whatever the others do
    raise _no_depth(columns.area)
