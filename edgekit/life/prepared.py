"""A blade and a method prepared for many lives: all that no run changes, and what is measured."""

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from functools import lru_cache, reduce
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from edgekit.bending import beam
from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.geometry.blade import Blade
from edgekit.grinding.edge_state import EdgeState
from edgekit.grinding.kernel import SessionRuns, aim_at
from edgekit.grinding.recession_field import EdgeGrid, over_stations, prepare_edge
from edgekit.grinding.rolling import RolledEdge
from edgekit.life.retire import WidthLoss
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.units import UM_PER_MM

Precision = type[np.float64] | type[np.float32]


def _in(precision: Precision, grid: EdgeGrid) -> EdgeGrid:
    """The same edge with its arrays, except the arc lengths, in another precision."""
    arrays = {item.name: getattr(grid, item.name) for item in fields(grid)}
    cast = {
        name: array.astype(precision)
        for name, array in arrays.items()
        if isinstance(array, np.ndarray) and name != "arc_mm"
    }
    return replace(grid, **cast)  # type: ignore[arg-type]


class SessionMeasures(NamedTuple):
    """What is recorded of each session, (R,) each; widths, length and thickness are losses."""

    mean_width_um: FloatArray
    deepest_width_um: FloatArray
    caliper_width_um: FloatArray
    length_um: FloatArray
    thickness_um: FloatArray
    ridge_um: FloatArray
    angle_error_deg: FloatArray
    angle_rms_deg: FloatArray
    sharp_fraction: FloatArray
    dull_radius_um: FloatArray
    stone_strokes: FloatArray
    dullness_mg: FloatArray
    overshoot_mg: FloatArray
    minutes: FloatArray
    steel_mg: FloatArray


class _Prepared(NamedTuple):
    """What does not depend on the method: edges; the share (S,) of each station in its edge, and
    in its side, where ``on_side``; dimensions."""

    grids: tuple[EdgeGrid, ...]
    weights: tuple[FloatArray, ...]
    sides: tuple[FloatArray, ...]
    on_side: tuple[NDArray[np.bool_], ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float


@lru_cache(maxsize=16)
def _prepared(blade: Blade, stations: int, depths: int, precision: Precision) -> _Prepared:
    """Cached, since controls that change the method alone ask for the same blade each time."""
    grids, weights, on_side = [], [], []
    sides: list[FloatArray] = []
    for name in blade.edges:
        exact = prepare_edge(blade, name, stations=stations, depths=depths)
        on_side.append(exact.on_side)
        sides.append(exact.side_weights.astype(precision))
        grids.append(_in(precision, exact))
        weights.append(grids[-1].station_weights_mm / grids[-1].station_weights_mm.sum())
    return _Prepared(
        grids=tuple(grids),
        weights=tuple(weights),
        sides=tuple(sides),
        on_side=tuple(on_side),
        width_mm=blade.width_mm,
        worn_mm=blade.worn_width_mm,
        length_mm=blade.length_mm,
        thickness_mm=blade.thickness_mm,
    )


class PreparedBlade(Record):
    """A blade and a method prepared for any number of runs.

    ``aims``: for each method, in turn, one per edge. ``bending``: only where a rule needs the
    strength.
    """

    blade: Blade
    method: Method | Alternation
    ready: _Prepared
    aims: tuple[tuple[FloatArray | RolledEdge, ...], ...]
    bending: beam.BendingModel | None

    @property
    def grids(self) -> tuple[EdgeGrid, ...]:
        """The blade's edges."""
        return self.ready.grids

    @classmethod
    def of(
        cls,
        blade: Blade,
        method: Method | Alternation,
        stations: int,
        depths: int,
        precision: Precision = np.float64,
        *,
        strength: bool = False,
    ) -> Self:
        """Prepare a blade and a method, with `strength` for rules about bending."""
        if precision not in (np.float64, np.float32):
            raise EdgekitError(
                "no such precision", precision, "Give numpy.float64 or numpy.float32."
            )
        ready = _prepared(blade, stations, depths, precision)  # type: ignore[arg-type]
        methods = method.methods if isinstance(method, Alternation) else (method,)
        exact = _prepared(blade, stations, depths, np.float64) if strength else None
        return cls(
            blade=blade,
            method=method,
            ready=ready,
            aims=tuple(tuple(aim_at(grid, item) for grid in ready.grids) for item in methods),
            bending=None if exact is None else beam.life_bending_model(blade, exact.grids),
        )

    def at(self, turn: int) -> tuple[Method, tuple[FloatArray | RolledEdge, ...]]:
        """The method of session number `turn`, and where it aims."""
        return self.method.at(turn), self.aims[turn % len(self.aims)]

    def mean_radius_um(self, states: Sequence[EdgeState]) -> FloatArray:
        """Mean edge radius (R,) over all edges."""
        return _mean(_plain_mean(state.radius_um) for state in states)

    def wear(self, states: Sequence[EdgeState]) -> tuple[beam.Wear, ...]:
        """What has been removed from each edge."""
        return tuple(
            beam.Wear(state.inset_mm - grid.inset_mm[:, None, :], state.drop_mm)
            for state, grid in zip(states, self.grids, strict=True)
        )

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> WidthLoss:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        ready, bending = self.ready, self.bending
        middle = len(self.grids[0].arc_mm) // 2
        ends = [
            beam.end_inset_mm(grid, state.inset_mm, inset, state.drop_mm)
            for grid, inset, state in zip(self.grids, insets, states, strict=True)
        ]
        length = beam.shortened_mm(self.grids, ends)
        across = list(zip(insets, ready.sides, ready.on_side, strict=True))
        lowered = states[0].drop_mm
        if self.blade.unused is not None and lowered.any():
            # It is never ground, but moves in as the face is lowered.
            fallen = lowered / np.tan(self.grids[0].angle_rad)
            across.append((fallen, ready.sides[0], ready.on_side[0]))
        return WidthLoss(
            mean_width_mm=ready.worn_mm + _sum(over_stations(u, share) for u, share, _ in across),
            deepest_width_mm=ready.worn_mm + _sum(u.T[side].max(axis=0) for u, _, side in across),
            caliper_width_mm=ready.worn_mm + _sum(u[:, middle] for u, _, _ in across),
            length_mm=length,
            thickness_mm=np.max([_plain_mean(state.drop_mm) for state in states], axis=0),
            new_width_mm=ready.width_mm + ready.worn_mm,
            new_length_mm=ready.length_mm,
            new_thickness_mm=ready.thickness_mm,
            strength_left=bending.strength_left(self.wear(states), length) if bending else None,
        )

    def measure_session(
        self, before: Sequence[FloatArray], done: SessionRuns, dull_um: FloatArray
    ) -> tuple[SessionMeasures, WidthLoss]:
        """Measures of a session, and the losses after it; insets `before` it, one (R, S) per edge,
        and mean radius `dull_um` (R,)."""
        ready, states = self.ready, [result.state for result in done.edges]
        insets = [s.at(g) for s, g in zip(states, self.grids, strict=True)]
        lost = self.measure(insets, states)
        errors = [
            s.internal_angle_rad - g.angle_rad for s, g in zip(states, self.grids, strict=True)
        ]

        def edge_mean(values: Iterable[FloatArray | NDArray[np.bool_]]) -> FloatArray:
            return _mean(map(over_stations, values, ready.weights))

        measures = SessionMeasures(
            mean_width_um=(lost.mean_width_mm - ready.worn_mm) * UM_PER_MM,
            deepest_width_um=(lost.deepest_width_mm - ready.worn_mm) * UM_PER_MM,
            caliper_width_um=(lost.caliper_width_mm - ready.worn_mm) * UM_PER_MM,
            length_um=lost.length_mm * UM_PER_MM,
            thickness_um=lost.thickness_mm * UM_PER_MM,
            ridge_um=_mean(
                np.ptp((u - b).T[side], axis=0) * UM_PER_MM
                for u, b, side in zip(insets, before, ready.on_side, strict=True)
            ),
            angle_error_deg=np.degrees(edge_mean(errors)),
            angle_rms_deg=np.degrees(np.sqrt(edge_mean(error**2 for error in errors))),
            sharp_fraction=_mean(result.sharp_fraction for result in done.edges),
            dull_radius_um=dull_um,
            stone_strokes=done.strokes,
            dullness_mg=done.dullness_mg,
            overshoot_mg=done.overshoot_mg,
            minutes=done.seconds / 60,
            steel_mg=done.steel_mg,
        )
        return measures, lost


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
