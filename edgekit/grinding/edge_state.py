"""An edge in its present state in many runs, and what grinding it once came to."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.contact import apex
from edgekit.grinding.recession_field import EdgeGrid, cleared, inset_at, over_stations


@dataclass(kw_only=True, eq=False)
class EdgeState:
    """An edge in its present state in R runs; a session replaces it. Runs are closest in memory.

    ``inset_mm`` (V, R, S) the field; ``radius_um`` (R, S) of the apex and ``land_um`` (R, S) its
    dull width; ``angle_rad`` (R, S) between nominal face and flank at the edge; ``drop_mm`` (R, S)
    how far the face lies below the new one; ``lean_rad`` (R, S) slope of the face, inward and down,
    from the nominal face; ``cleared_mm3`` (R,) what `edgekit.grinding.recession_field.cleared`
    gives for the field.
    """

    inset_mm: FloatArray
    radius_um: FloatArray
    land_um: FloatArray
    angle_rad: FloatArray
    drop_mm: FloatArray
    lean_rad: FloatArray
    cleared_mm3: FloatArray

    def at(self, grid: EdgeGrid) -> FloatArray:
        """Inset (R, S) [mm] of the edge."""
        return inset_at(grid, self.inset_mm, self.drop_mm)

    @property
    def internal_angle_rad(self) -> FloatArray:
        """Angle (R, S) between face and flank as ground."""
        return self.angle_rad - self.lean_rad


def new_state(grid: EdgeGrid, runs: int) -> EdgeState:
    """A new, perfectly sharp edge in every run."""
    kind = grid.inset_mm.dtype
    cells = (len(grid.arc_mm), runs)
    return EdgeState(
        inset_mm=np.swapaxes(np.repeat(grid.inset_mm[:, :, None], runs, axis=2), 1, 2),
        radius_um=np.zeros(cells, kind).T,
        land_um=np.zeros(cells, kind).T,
        angle_rad=np.repeat(grid.angle_rad[:, None], runs, axis=1).T,
        drop_mm=np.zeros(cells, kind).T,
        lean_rad=np.zeros(cells, kind).T,
        cleared_mm3=np.repeat(cleared(grid, grid.inset_mm[:, None]), runs),
    )


class GroundEdge(NamedTuple):
    """Result of grinding one edge.

    ``state``; ``sharp`` (R, S) where the stop rule is met; ``active`` (R, S) the plane that formed
    the edge (0 for all rolling strokes, -1 none); per run (R,): ``sharp_fraction``, ``volume``
    [mm³], ``strokes``, ``advance`` [mm] past first touch (0 for rolling strokes), whether the
    target was ``reached``, and the steel [mm³] that the ``dullness`` alone asked for and that was
    taken past the need (``overshoot``).
    """

    state: EdgeState
    sharp: NDArray[np.bool_]
    active: NDArray[np.int_]
    sharp_fraction: FloatArray
    volume: FloatArray
    strokes: FloatArray
    advance: FloatArray
    reached: NDArray[np.bool_]
    dullness: FloatArray
    overshoot: FloatArray


class EdgeSums(NamedTuple):
    """Of `GroundEdge`, what is summed over the edges of a blade."""

    volume: FloatArray
    strokes: FloatArray
    dullness: FloatArray
    overshoot: FloatArray
    reached: NDArray[np.bool_]


def whole_land_um(radius_um: FloatArray, internal_angle_rad: FloatArray) -> FloatArray:
    """Land (R, S) of a whole circle, in the precision of its radius."""
    return apex.whole_land(radius_um, internal_angle_rad).astype(radius_um.dtype, copy=False)


def is_dull(state: EdgeState, fresh_um: FloatArray) -> NDArray[np.bool_]:
    """Where (R, S) an edge is blunter than grinding leaves it; elsewhere it needs no grinding."""
    return apex.is_blunt(state.radius_um, fresh_um[:, None])


def parallel_cut(grid: EdgeGrid, state: EdgeState, need_mm: FloatArray) -> FloatArray:
    """What `cleared` (R,) would be after grinding parallel to the flank at the edge by `need_mm`
    (R, S) along the face: what a stone held without error at the angle of the present facet would
    leave."""
    depth = grid.depth_mm[:, None, :] - state.drop_mm
    line = state.at(grid) + need_mm + depth / np.tan(state.angle_rad)
    return cleared(grid, np.where(need_mm > 0, np.maximum(state.inset_mm, line), state.inset_mm))


def by_planes(
    state: EdgeState,
    sharp: NDArray[np.bool_],
    grid: EdgeGrid,
    *,
    active: NDArray[np.int_],
    volume: FloatArray,
    advance: FloatArray,
    reached: NDArray[np.bool_],
    dullness: FloatArray,
) -> GroundEdge:
    """An edge that planes were advanced on: strokes are not counted, nothing goes past the need."""
    weights = grid.station_weights_mm
    whole = over_stations(np.ones_like(sharp), weights)  # summed alike: none is 0, all is 1
    return GroundEdge(
        state=state,
        sharp=sharp,
        active=active,
        sharp_fraction=over_stations(sharp, weights) / whole,
        volume=volume,
        strokes=np.full(len(volume), np.nan),
        advance=advance,
        reached=reached,
        dullness=dullness,
        overshoot=np.zeros(len(volume)),
    )
