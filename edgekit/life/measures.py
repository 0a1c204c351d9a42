"""What is measured after each session: the definition of every column of a history."""

from collections.abc import Iterable, Mapping, Sequence
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


class Sessions(NamedTuple):
    """N sessions of R runs of a batch, run after run: where each run's ``first`` (R + 1,) lies,
    their ``measures`` (N,), what had been ``lost`` after each, and the ``rows`` of the batch where
    it is not all of it.
    """

    first: NDArray[np.int_]
    measures: SessionMeasures
    lost: WidthLoss
    rows: NDArray[np.int_] | slice = slice(None)


class EdgeMeasures(NamedTuple):
    """What is measured on one edge, (N,) each, in the order of the compiled engine's `MEASURED`.

    Insets [mm]: means over the sides and their thirds, the deepest there, at mid-edge, at the toe's
    end, and the range of what the session took from the sides; mean and mean square of the internal
    angle's error [rad]; radii as the session found them [µm]: means over the stations and over the
    thirds, and over the strokes of the use before, as that began.
    """

    side: FloatArray
    heel_side: FloatArray
    middle_side: FloatArray
    toe_side: FloatArray
    deepest: FloatArray
    caliper: FloatArray
    end: FloatArray
    ridge: FloatArray
    angle_error: FloatArray
    angle_square: FloatArray
    radius: FloatArray
    heel_radius: FloatArray
    middle_radius: FloatArray
    toe_radius: FloatArray
    used_radius: FloatArray


WIDTHS = EdgeMeasures._fields[:6]


def measure_edge(
    prepared: PreparedBlade,
    edge: int,
    state: EdgeState,
    before: FloatArray,
    dull: FloatArray,
    used_radius: FloatArray,
) -> EdgeMeasures:
    """Measures of edge number `edge` after a session: its `state`, its inset (R, S) and, when use
    had dulled it, its radius (R, S) before it."""
    ready, grid = prepared.ready, prepared.grids[edge]
    inset = state.at(grid)
    error = state.internal_angle_rad - grid.angle_rad
    whole, side = ready.weights[edge], ready.on_side[edge]
    measured = [
        *_widths(prepared, edge, inset),
        beam.end_inset_mm(grid, state.inset_mm, inset, state.drop_mm),
        np.ptp((inset - before).T[side], axis=0),
        over_stations(error, whole),
        over_stations(error**2, whole),
        _plain_mean(dull),
        *(over_stations(dull, weights) for weights in ready.thirds[edge]),
        used_radius,
    ]
    return EdgeMeasures(*measured)


def _widths(prepared: PreparedBlade, edge: int, inset: FloatArray) -> list[FloatArray]:
    """The `WIDTHS` of an inset (R, S) at the stations of an edge."""
    ready = prepared.ready
    return [
        over_stations(inset, ready.sides[edge]),
        *(over_stations(inset, weights) for weights in ready.side_thirds[edge]),
        inset.T[ready.on_side[edge]].max(axis=0),
        inset[:, len(prepared.grids[edge].arc_mm) // 2],
    ]


def _unused(prepared: PreparedBlade, states: Sequence[EdgeState]) -> list[FloatArray]:
    """The `WIDTHS` of the unused edge, which is never ground but moves in as the face is
    lowered."""
    drop = states[0].drop_mm if states else np.zeros(0)
    if prepared.blade.unused is None or not drop.any():
        return [np.zeros(1)] * len(WIDTHS)
    return _widths(prepared, 0, drop / np.tan(prepared.grids[0].angle_rad))


def put_together(
    prepared: PreparedBlade,
    edges: Sequence[EdgeMeasures],
    done: SessionRuns,
    sharp_fraction: FloatArray,
    useful: FloatArray,
    sessions: NDArray[np.int_],
) -> tuple[SessionMeasures, WidthLoss]:
    """Measures of session number `sessions` (N,), from 1, and the losses after it, from those of
    the edges and the sums over them; two edges both take from the width."""
    states = [result.state for result in done.edges]
    widths = {
        name: _sum(getattr(edge, name) for edge in edges) + own
        for name, own in zip(WIDTHS, _unused(prepared, states), strict=True)
    }
    lost = _lost(prepared, widths, [edge.end for edge in edges], done, sessions)
    mean = {
        name: mean_of(getattr(edge, name) for edge in edges) for name in EdgeMeasures._fields[7:]
    }
    measures = SessionMeasures(
        mean_width_um=widths["side"] * UM_PER_MM,
        deepest_width_um=widths["deepest"] * UM_PER_MM,
        caliper_width_um=widths["caliper"] * UM_PER_MM,
        **{f"{third}_width_um": widths[f"{third}_side"] * UM_PER_MM for third in THIRDS},
        length_um=lost.length_mm * UM_PER_MM,
        thickness_um=lost.thickness_mm * UM_PER_MM,
        ridge_um=mean["ridge"] * UM_PER_MM,
        angle_error_deg=np.degrees(mean["angle_error"]),
        angle_rms_deg=np.degrees(np.sqrt(mean["angle_square"])),
        sharp_fraction=sharp_fraction,
        dull_radius_um=mean["radius"],
        **{f"{third}_radius_um": mean[f"{third}_radius"] for third in THIRDS},
        stone_strokes=done.strokes,
        dullness_mg=done.dullness_mg,
        overshoot_mg=done.overshoot_mg,
        minutes=done.seconds / 60,
        steel_mg=done.steel_mg,
        useful_strokes=useful,
    )
    return measures, lost


def _lost(
    prepared: PreparedBlade,
    widths: Mapping[str, FloatArray],
    ends: Sequence[FloatArray],
    done: SessionRuns,
    sessions: NDArray[np.int_],
) -> WidthLoss:
    """Losses (N,) [mm], with what a worn blade had lost before."""
    ready, bending = prepared.ready, prepared.bending
    states = [result.state for result in done.edges]
    length = beam.shortened_mm(prepared.grids, ends)
    drops = [_plain_mean(state.drop_mm) for state in states] or [np.zeros(len(sessions))]
    return WidthLoss(
        mean_width_mm=ready.worn_mm + widths["side"],
        deepest_width_mm=ready.worn_mm + widths["deepest"],
        caliper_width_mm=ready.worn_mm + widths["caliper"],
        length_mm=length,
        thickness_mm=np.max(drops, axis=0),
        sessions=sessions,
        new_width_mm=ready.width_mm + ready.worn_mm,
        new_length_mm=ready.length_mm,
        new_thickness_mm=ready.thickness_mm,
        strength_left=bending.strength_left(prepared.wear(states), length) if bending else None,
        too_dull=~done.reached & ~(done.strokes > 0),  # what rounding takes is no stroke
    )


def _plain_mean(values: FloatArray) -> FloatArray:
    """Mean (R,) over stations of `values` (R, S)."""
    stations = values.shape[1]
    return over_stations(values, np.full(stations, 1 / stations, dtype=values.dtype))


def _sum(parts: Iterable[FloatArray]) -> FloatArray:
    """Sum of one array or a few."""
    return reduce(np.add, parts)


def mean_of(parts: Iterable[FloatArray]) -> FloatArray:
    """Mean of one array, which is itself, or a few."""
    values = list(parts)
    return values[0] if len(values) == 1 else np.asarray(reduce(np.add, values) / len(values))
