"""What is measured after each session: the definition of every column of a history."""

from collections.abc import Callable, Iterable, Sequence
from functools import reduce
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.bending import beam
from edgekit.checks import FloatArray
from edgekit.grinding.edge_state import EdgeState
from edgekit.grinding.kernel import SessionRuns
from edgekit.grinding.recession_field import THIRDS, over_stations
from edgekit.life.prepared import PreparedBlade
from edgekit.life.retire import WidthLoss
from edgekit.units import UM_PER_MM


class SessionMeasures(NamedTuple):
    """What is recorded of each session, (R,) each.

    Losses since the blade was met: ``mean_width_um`` along the sides, ``deepest_width_um`` anywhere
    on them, ``caliper_width_um`` at mid-length, ``heel_width_um, middle_width_um, toe_width_um``
    mean along a third of the sides, each summed over the edges; ``length_um``; ``thickness_um``. Of
    this session alone, means over the edges: ``ridge_um``, the range of what it took along the
    sides, toe left out (unevenness of the hand as well as facets); ``sharp_fraction``, by its stop
    rule; before it ``dull_radius_um``, and ``heel_radius_um, middle_radius_um, toe_radius_um`` of
    the thirds of an edge, toe's end included. ``angle_error_deg`` and
    ``angle_rms_deg``: internal angle now less the new blade's, mean and root mean square along the
    edges. Sums over the edges: ``stone_strokes, minutes, steel_mg``, of which ``dullness_mg`` a
    stone held without error at the angle of the present facet would have taken, and
    ``overshoot_mg`` went after the edge was good. ``useful_strokes``: working strokes of the use
    before it, made while the radius where they touch was at most `Use.useful_radius_um`.
    """

    mean_width_um: FloatArray
    deepest_width_um: FloatArray
    caliper_width_um: FloatArray
    heel_width_um: FloatArray
    middle_width_um: FloatArray
    toe_width_um: FloatArray
    length_um: FloatArray
    thickness_um: FloatArray
    ridge_um: FloatArray
    angle_error_deg: FloatArray
    angle_rms_deg: FloatArray
    sharp_fraction: FloatArray
    dull_radius_um: FloatArray
    heel_radius_um: FloatArray
    middle_radius_um: FloatArray
    toe_radius_um: FloatArray
    stone_strokes: FloatArray
    dullness_mg: FloatArray
    overshoot_mg: FloatArray
    minutes: FloatArray
    steel_mg: FloatArray
    useful_strokes: FloatArray


class _Across(NamedTuple):
    """What takes from the width: an inset (R, S) [mm], and the number of the edge whose stations
    it has.
    """

    inset_mm: FloatArray
    edge: int


def _across(
    prepared: PreparedBlade, insets: Sequence[FloatArray], states: Sequence[EdgeState]
) -> list[_Across]:
    """Every edge, and the unused one, which is never ground but moves in as the face is lowered."""
    across = [_Across(inset, e) for e, inset in enumerate(insets)]
    lowered = states[0].drop_mm
    if prepared.blade.unused is not None and lowered.any():
        across.append(_Across(lowered / np.tan(prepared.grids[0].angle_rad), 0))
    return across


def measure(
    prepared: PreparedBlade,
    insets: Sequence[FloatArray],
    across: Sequence[_Across],
    done: SessionRuns,
    sessions: NDArray[np.int_],
) -> WidthLoss:
    """Losses (R,) [mm] after a number of `sessions` (R,), with what a worn blade had lost before;
    two edges both take from the width."""
    ready, bending = prepared.ready, prepared.bending
    states = [result.state for result in done.edges]
    middle = len(prepared.grids[0].arc_mm) // 2
    ends = [
        beam.end_inset_mm(grid, state.inset_mm, inset, state.drop_mm)
        for grid, inset, state in zip(prepared.grids, insets, states, strict=True)
    ]
    length = beam.shortened_mm(prepared.grids, ends)
    return WidthLoss(
        mean_width_mm=ready.worn_mm + _sum(over_stations(u, ready.sides[e]) for u, e in across),
        deepest_width_mm=ready.worn_mm + _sum(u.T[ready.on_side[e]].max(axis=0) for u, e in across),
        caliper_width_mm=ready.worn_mm + _sum(u[:, middle] for u, _ in across),
        length_mm=length,
        thickness_mm=np.max([_plain_mean(state.drop_mm) for state in states], axis=0),
        sessions=sessions,
        new_width_mm=ready.width_mm + ready.worn_mm,
        new_length_mm=ready.length_mm,
        new_thickness_mm=ready.thickness_mm,
        strength_left=bending.strength_left(prepared.wear(states), length) if bending else None,
        too_dull=~done.reached & ~(done.steel_mg > 0),
    )


def measure_session(
    prepared: PreparedBlade,
    before: Sequence[FloatArray],
    done: SessionRuns,
    dull: Sequence[FloatArray],
    useful: FloatArray,
    sessions: NDArray[np.int_],
) -> tuple[SessionMeasures, WidthLoss]:
    """Measures of session number `sessions` (R,), from 1, and the losses after it; insets `before`
    it and `dull` radii [µm], one (R, S) per edge, and `useful` strokes (R,) of the use.
    """
    ready, states = prepared.ready, [result.state for result in done.edges]
    pairs = list(zip(states, prepared.grids, strict=True))
    insets = [state.at(grid) for state, grid in pairs]
    across = _across(prepared, insets, states)
    lost = measure(prepared, insets, across, done, sessions)
    errors = [state.internal_angle_rad - grid.angle_rad for state, grid in pairs]

    squares = [error**2 for error in errors]
    lost_um = [inset * UM_PER_MM for inset, _ in across]
    measures = SessionMeasures(
        mean_width_um=(lost.mean_width_mm - ready.worn_mm) * UM_PER_MM,
        deepest_width_um=(lost.deepest_width_mm - ready.worn_mm) * UM_PER_MM,
        caliper_width_um=(lost.caliper_width_mm - ready.worn_mm) * UM_PER_MM,
        **_by_third("width_um", _sum, lost_um, [ready.side_thirds[e] for _, e in across]),
        length_um=lost.length_mm * UM_PER_MM,
        thickness_um=lost.thickness_mm * UM_PER_MM,
        ridge_um=_mean(
            np.ptp((u - b).T[side], axis=0) * UM_PER_MM
            for u, b, side in zip(insets, before, ready.on_side, strict=True)
        ),
        angle_error_deg=np.degrees(_mean(map(over_stations, errors, ready.weights))),
        angle_rms_deg=np.degrees(np.sqrt(_mean(map(over_stations, squares, ready.weights)))),
        sharp_fraction=_mean(result.sharp_fraction for result in done.edges),
        dull_radius_um=_mean(map(_plain_mean, dull)),
        **_by_third("radius_um", _mean, dull, ready.thirds),
        stone_strokes=done.strokes,
        dullness_mg=done.dullness_mg,
        overshoot_mg=done.overshoot_mg,
        minutes=done.seconds / 60,
        steel_mg=done.steel_mg,
        useful_strokes=useful,
    )
    return measures, lost


def _by_third(
    name: str,
    over_edges: Callable[[Iterable[FloatArray]], FloatArray],
    values: Sequence[FloatArray],
    weights: Sequence[FloatArray],
) -> dict[str, FloatArray]:
    """Means (R,) of `values`, one (R, S) per edge, over thirds weighted (3, S) per edge."""
    return {
        f"{third}_{name}": over_edges(
            over_stations(v, w[k]) for v, w in zip(values, weights, strict=True)
        )
        for k, third in enumerate(THIRDS)
    }


def _plain_mean(values: FloatArray) -> FloatArray:
    """Mean (R,) over stations of `values` (R, S)."""
    stations = values.shape[1]
    return over_stations(values, np.full(stations, 1 / stations, dtype=values.dtype))


def _sum(parts: Iterable[FloatArray]) -> FloatArray:
    """Sum of one array or a few."""
    return reduce(np.add, parts)


def _mean(parts: Iterable[FloatArray]) -> FloatArray:
    """Mean of one array or a few."""
    values = list(parts)
    return np.asarray(reduce(np.add, values) / len(values))
