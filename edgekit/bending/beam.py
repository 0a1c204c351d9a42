"""Bending of a worn blade by a load near its toe, at many sections and in many states at once.

A blade is a beam clamped at its heel. The load F acts at a point P near the toe; a section carries
the moment M = (P − G) × F about the middle G of its face (about its centroid, the load's part along
the blade would add its offset), of which the components along the section's own axes b (across the
face) and f (out of it) bend it (theory T26). Twist and shear are left out. The
section at a station is the polygon of the two lateral surfaces, cut off at the present face.
"""

import enum
from collections.abc import Sequence
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.bending.section_properties import section_properties, stress_in
from edgekit.checks import FloatArray, between
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.blade import Blade, BladeClass, width_between
from edgekit.geometry.curve import Constant
from edgekit.grinding.recession_field import EdgeGrid
from edgekit.grinding.worn_blade import WornBlade
from edgekit.record import Record, freeze

IntArray = NDArray[np.int_]

# Beyond this angle to the blade the edge is part of the toe, and its section not that of a beam.
ROWS = 8  # of a section's polygon on each side; 48 change the ratio to new by less than 2e-3
SECTIONS = 16  # examined in a life; the stress is flat about its maximum
SICKLES = (BladeClass.STRAIGHT_SICKLE, BladeClass.CURVED_SICKLE)
POINTED = value("pointed_toe")  # 1 / sin(lean): a round toe has 1, a tip sharper than 113° more
_MIN_LEVER_MM = 0.05  # nearer to the load than this a section is not bent


class Direction(enum.Enum):
    """Which way the load at the toe pushes."""

    SQUARE_TO_FACE = "square to the face"
    IN_FACE = "in the face, across the blade"


class Wear(NamedTuple):
    """What is worn away from one edge in R states: ``removed_mm`` (V, R, S), how far the lateral
    surface stands inward of the new one at the depths of the field; ``drop_mm`` (R, S) of the
    face."""

    removed_mm: FloatArray
    drop_mm: FloatArray


def worn_away(worn: WornBlade) -> tuple[Wear, ...]:
    """What is worn away from each edge of a worn blade, R = 1."""
    return tuple(
        Wear((edge.inset_mm - grid.inset_mm)[:, None, :], edge.drop_mm[None])
        for edge, grid in zip(worn.edges.values(), worn.grids, strict=True)
    )


def joined(wears: Sequence[Sequence[Wear]]) -> tuple[Wear, ...]:
    """Fields of several states, one state after the other, as one for each edge."""
    edges = []
    for wears_of_edge in zip(*wears, strict=True):
        removed, drop = zip(*wears_of_edge, strict=True)
        edges.append(Wear(np.concatenate(removed, axis=1), np.concatenate(drop)))
    return tuple(edges)


def toe_load_from_mm() -> float:
    """Default distance of the load from the toe: half the length in contact [mm]."""
    return value("use_contact_mm") / 2


def end_inset_mm(
    grid: EdgeGrid, field_mm: FloatArray, inset_mm: FloatArray, drop_mm: FloatArray
) -> FloatArray:
    """Inset (R,) [mm] at the toe end of an edge, from its field (V, R, S), inset and drop (R, S).

    Where a blade ends in a point the field ends there too: a face lowered below it meets the flank
    drop · cotβ farther in.
    """
    below = drop_mm[:, -1] > grid.depth_mm[-1, -1]
    on_flank = field_mm[0, :, -1] + drop_mm[:, -1] / np.tan(grid.angle_rad[-1])
    return np.where(below, on_flank, inset_mm[:, -1])


def shortened_mm(grids: Sequence[EdgeGrid], ends_mm: Sequence[FloatArray]) -> FloatArray:
    """How much shorter the blade is (R,) [mm], from the insets (R,) at the toe ends of its edges.

    An edge that meets the mid-line at an angle shortens the blade by u / sin(angle). Two edges that
    meet in a point move it back by the mean of both; on a round toe both recede along the blade,
    and the deeper counts.
    """
    back = []
    for grid in grids:
        lean = float(-grid.inward[-1] @ grid.edge.roll_reference)
        back.append(1 / lean if lean > 0.01 else 0.0)
    lost = [end * k for end, k in zip(ends_mm, back, strict=True)]
    pointed = max(back) > POINTED
    return np.asarray(np.mean(lost, axis=0) if pointed else np.max(lost, axis=0))


class _Side(NamedTuple):
    """A lateral surface at the sections: new inset (J, S) at depths (J, S), and how to read a field
    there: lower row (J,), share of the next row (J,), lower station (S,), share of the next."""

    new_mm: FloatArray
    row: FloatArray
    row_share: FloatArray
    station: FloatArray
    station_share: FloatArray

    def inset(self, wear: Wear | None, runs: int) -> FloatArray:
        """Inset (J, R, S) of the worn side."""
        new = np.broadcast_to(
            self.new_mm[:, None, :], (len(self.new_mm), runs, len(self.new_mm[0]))
        )
        if wear is None:
            return new
        rows = self.row.astype(int)
        part = self.row_share[:, None, None]
        field = self._across(wear.removed_mm)
        return np.asarray(new + (1 - part) * field[rows] + part * field[rows + 1])

    def drop(self, wear: Wear) -> FloatArray:
        """Drop (R, S) of the face at the sections."""
        return self._across(wear.drop_mm)

    def _across(self, field: FloatArray) -> FloatArray:
        at = self.station.astype(int)
        share = self.station_share
        return np.asarray(field[..., at] * (1 - share) + field[..., at + 1] * share)


class BendingModel(Record):
    """A blade prepared for bending; see the module's text.

    ``arc_mm, lever_mm, width_mm`` (S,): sections along the first edge, their distance along the
    blade from the load, and their width when new.
    """

    blade: Blade
    arc_mm: FloatArray
    lever_mm: FloatArray
    width_mm: FloatArray
    load_from_toe_mm: float
    depth_mm: FloatArray  # (J, S)
    sides: tuple[_Side, _Side]
    far_field: int | None  # index of the edge whose field the far side reads; None: never ground
    to_load: FloatArray  # (S, 3) from the middle of the face to the load
    back: FloatArray  # (3,) towards the heel, the direction in which the toe recedes
    forces: FloatArray  # (2, 3) unit loads
    across: FloatArray  # b (S, 3)
    out: FloatArray  # f (S, 3)

    @cached_property
    def new_mpa_per_n(self) -> FloatArray:
        """Stress (2, S) when new for 1 N."""
        return np.asarray(freeze(self.mpa_per_n((), np.zeros(1))[:, 0]))

    def outlines_mm(self, wears: Sequence[Wear], runs: int) -> FloatArray:
        """Sections (R, S, 2J, 2): x across the face from the new near edge, y out of it."""
        near = self.sides[0].inset(wears[0] if wears else None, runs)
        far_wear = wears[self.far_field] if wears and self.far_field is not None else None
        far = self.sides[1].inset(far_wear, runs)
        depth = np.broadcast_to(self.depth_mm[:, None, :], near.shape)
        if wears and any(wear.drop_mm.any() for wear in wears):
            drop = self.sides[0].drop(wears[0])
            through = drop >= depth[-1]  # the face is lowered past the back: nothing is left
            near = np.where(through, self.width_mm, near)
            depth, near, far = _dropped(depth, near, far, np.where(through, 0.0, drop))
        depth, left, right = _closed(depth, near, self.width_mm - far)
        x = np.concatenate([left, right[::-1]])
        y = -np.concatenate([depth, depth[::-1]])
        return np.stack([np.moveaxis(x, 0, -1), np.moveaxis(y, 0, -1)], axis=-1)

    def mpa_per_n(self, wears: Sequence[Wear], lost_mm: FloatArray) -> FloatArray:
        """Largest bending stress (2, R, S) for a load of 1 N in each `Direction` [MPa/N].

        Parameters
        ----------
        wears : sequence of Wear
            One per edge; empty for the new blade.
        lost_mm : array (R,)
            How much shorter the blade is; the load moves back with the toe, and sections beyond it
            are not bent. The stress is infinite in a bent section of which nothing is left.
        """
        reach = self.to_load + lost_mm[:, None, None] * self.back
        bent = self.lever_mm - lost_mm[:, None] > _MIN_LEVER_MM
        outline = self.outlines_mm(wears, len(lost_mm))
        gone = np.ptp(outline[..., 0], axis=-1) <= 0
        if gone.any():  # any load breaks it, unless the load no longer reaches it
            outline = np.where(gone[..., None, None], self.outlines_mm((), 1), outline)
        moments = []
        for force in self.forces:
            turn = vec.cross(reach, np.broadcast_to(force, reach.shape))
            moments.append(np.stack([vec.dot(turn, self.across), vec.dot(turn, self.out)], axis=-1))
        stress = stress_in(section_properties(outline), outline, np.stack(moments))
        return np.where(bent, np.where(gone, np.inf, stress), 0.0)

    def strength_left(self, wears: Sequence[Wear], lost_mm: FloatArray) -> FloatArray:
        """Load (R,) at which the most stressed section reaches the largest stress in the new blade,
        over the new blade's load; the worse of the two directions."""
        now = self.mpa_per_n(wears, lost_mm).max(axis=-1)
        bent = now > 0  # else the toe has receded to the heel
        left = self.new_mpa_per_n.max(axis=-1)[:, None] / np.where(bent, now, 1.0)
        return np.asarray(np.where(bent, left, 0.0).min(axis=0))


def _dropped(
    depth: FloatArray, near: FloatArray, far: FloatArray, drop: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sections (J, R, S) cut off `drop` (R, S) below the new face: rows above move down to it."""
    below = np.count_nonzero(depth <= drop, axis=0)
    high = np.clip(below, 1, len(depth) - 1)[None]

    top, bottom = _rows_at(depth, high)
    part = (drop - top) / (bottom - top)
    above = depth < drop
    moved = [np.where(above, drop, depth)]
    for rows in (near, far):
        upper, lower = _rows_at(rows, high)
        moved.append(np.where(above, upper + part * (lower - upper), rows))
    return moved[0], moved[1], moved[2]


def _rows_at(rows: FloatArray, index: IntArray) -> tuple[FloatArray, FloatArray]:
    """The rows (R, S) of an array (J, R, S) before and at an index (1, R, S)."""
    before, at = (np.take_along_axis(rows, index - k, axis=0)[0] for k in (1, 0))
    return np.asarray(before), np.asarray(at)


def _closed(
    depth: FloatArray, left: FloatArray, right: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Rows (J, R, S) down to where the sides meet; deeper ones are moved to that point.

    A section whose sides meet above the face is given no width at all.
    """
    chord = right - left
    gone = chord <= 0
    first = np.where(gone.any(axis=0), np.argmax(gone, axis=0), len(chord) - 1)
    empty = first == 0
    first = np.maximum(first, 1)
    index = first[None]
    low, high = _rows_at(chord, index)
    part = np.where(high <= 0, low / np.where(low - high == 0, 1.0, low - high), 1.0)
    row = np.arange(len(chord))[:, None, None]
    result = []
    for rows in (depth, left, right):
        a, b = _rows_at(rows, index)
        result.append(np.where(row >= index, a + part * (b - a), rows))
    depth, left, right = result
    left = np.where(empty, 0.0, left)  # no width anywhere marks a section that is gone
    return depth, left, np.where(empty, 0.0, np.maximum(right, left))


@lru_cache(maxsize=16)
def life_bending_model(blade: Blade, grids: tuple[EdgeGrid, ...]) -> BendingModel:
    """The model used to judge a life; cached, since all lives of a blade need the same."""
    return bending_model(blade, grids, sections=SECTIONS)


def bending_model(
    blade: Blade,
    grids: Sequence[EdgeGrid],
    *,
    load_from_toe_mm: float | None = None,
    rows: int = ROWS,
    sections: int | None = None,
) -> BendingModel:
    """Prepare a blade for bending at the side stations of its first edge, or `sections` of them.

    Raises
    ------
    EdgekitError
        For a hoe, which is not a beam along its edge, for a blade without an opposite edge, and for
        a load that is not on the blade.
    """
    grid = grids[0]
    from_toe = _load_from_toe_mm(blade, load_from_toe_mm)
    x = grid.edge.roll_reference
    middle = grid.position + grid.half_width_mm[:, None] * grid.inward
    side = np.flatnonzero(grid.on_side)
    load, force = _load(grid, middle, side, (grid.position @ x).max() - from_toe)
    lever = (load - middle) @ x
    # A pointed blade is most stressed near its point, over a stretch shorter than the spacing.
    limit = None if blade.kind in SICKLES else sections
    here = _bent_stations(side, lever, from_toe, limit)
    depth, sides = _sides(blade, grids, here, rows)
    return BendingModel(
        blade=blade,
        arc_mm=grid.arc_mm[here],
        lever_mm=lever[here],
        width_mm=2 * grid.half_width_mm[here],
        load_from_toe_mm=from_toe,
        depth_mm=depth,
        sides=sides,
        far_field=1 if len(grids) > 1 else None,
        to_load=load - middle[here],
        back=-x,
        forces=force,
        across=grid.inward[here],
        out=grid.face[here],
    )


def _load_from_toe_mm(blade: Blade, given: float | None) -> float:
    """Distance of the load from the toe [mm], the default where none is given; no hoe."""
    if blade.kind is BladeClass.HOE:
        raise Cannot(
            "a hoe is not bent along its edge",
            blade.name,
            "Judge it by width: grinding shortens its lever.",
        )
    return between(
        "load_from_toe_mm",
        toe_load_from_mm() if given is None else given,
        0.0,
        blade.length_mm * 0.9,
        "Give millimetres back from the toe.",
    )


def _bent_stations(
    side: IntArray, lever: FloatArray, from_toe: float, limit: int | None
) -> IntArray:
    """Stations of the sides that lie behind the load, at most `limit` of them."""
    here = side[lever[side] > _MIN_LEVER_MM]
    if len(here) < 2:
        raise Cannot(
            "no section of the blade lies behind the load", from_toe, "Bring it nearer the toe."
        )
    if limit is not None and len(here) > limit:
        here = here[np.round(np.linspace(0, len(here) - 1, limit)).astype(int)]
    return here


def _load(
    grid: EdgeGrid, middle: FloatArray, side: IntArray, at_mm: float
) -> tuple[FloatArray, FloatArray]:
    """Point (3,) in the middle of the face at a distance along the blade, and unit loads (2, 3)."""
    along = middle[side] @ grid.edge.roll_reference
    order = side[np.argsort(along)]
    rising = middle[order] @ grid.edge.roll_reference

    def read(rows: FloatArray) -> FloatArray:
        return np.array([np.interp(at_mm, rising, column) for column in rows[order].T])

    out, across = vec.unit(read(grid.face)), vec.unit(read(grid.inward))
    beyond = at_mm - np.clip(at_mm, rising[0], rising[-1])  # on a toe, past the sides
    return read(middle) + beyond * grid.edge.roll_reference, np.stack([out, across])


def _sides(
    blade: Blade, grids: Sequence[EdgeGrid], here: IntArray, rows: int
) -> tuple[FloatArray, tuple[_Side, _Side]]:
    """Depths (J, S) of the rows of the sections `here` (S,), and the two lateral surfaces there."""
    grid = grids[0]
    far_edge = blade.opposite(grid.name)
    if far_edge is None:
        raise Cannot(
            "a blade with one edge has no section",
            blade.name,
            "Give its unused edge, or a second one.",
        )
    far_grid = grids[1] if len(grids) > 1 else None
    far_arc = np.zeros(len(here))
    if far_grid is not None or not isinstance(far_edge.internal_angle, Constant):
        _, far_arc = width_between(grid.edge, far_edge, grid.arc_mm[here])
    beta = far_edge.frame(far_arc, order=0).angle.value + np.zeros(len(here))
    width = 2 * grid.half_width_mm[here]
    share = 1 - (1 - np.arange(rows) / (rows - 1)) ** 2  # closer rows where the back is round
    depth = share[:, None] * grid.depth_mm[-1, here]
    near = _side(blade, grid, depth, width, share, grid.arc_mm[here], grid.angle_rad[here])
    return depth, (near, _side(blade, far_grid, depth, width, share, far_arc, beta))


def _side(
    blade: Blade,
    grid: EdgeGrid | None,
    depth: FloatArray,
    width: FloatArray,
    share: FloatArray,
    arc: FloatArray,
    beta: FloatArray,
) -> _Side:
    """One lateral surface at the sections.

    Where the blade is narrower than its full section, the back keeps its place under the middle and
    the flanks come in: the section is the part of the full one between the two flanks.
    """
    narrower = np.maximum(blade.section.width_mm - width, 0.0) / 2
    if blade.kind in SICKLES:
        narrower = np.zeros_like(width)  # a sickle's section scales with its width
    new = np.maximum(depth / np.tan(beta), blade.section.inset_mm(depth, depth[-1]) - narrower)
    if grid is None:
        zero = np.zeros_like(width)
        return _Side(new, np.zeros_like(share), np.zeros_like(share), zero, zero)
    fields = len(grid.depth_mm)
    at = np.interp(share, grid.fraction, np.arange(fields))
    row = np.minimum(np.floor(at), fields - 2)
    place = np.clip(arc / grid.arc_mm[1], 0, len(grid.arc_mm) - 1)
    station = np.minimum(np.floor(place), len(grid.arc_mm) - 2)
    return _Side(new, row, at - row, station, place - station)
