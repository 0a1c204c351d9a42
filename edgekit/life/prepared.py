"""A blade on the bench: all that no run changes, and what is measured after a session."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.bending.beam import (
    SIDE_COSINE,
    BendingModel,
    Wear,
    end_inset_mm,
    life_bending_model,
    shortened_mm,
)
from edgekit.checks import FloatArray
from edgekit.geometry.blade import Blade
from edgekit.grinding.kernel import Aim, EdgeState, SessionRuns, aim_at
from edgekit.grinding.recession_field import EdgeGrid, over_stations, prepare_edge
from edgekit.life.retire import WidthLoss
from edgekit.method.alternation import Alternation
from edgekit.method.method import Method

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Precision", "PreparedBlade", "SessionMeasures", "mean_", "plain_mean"]

UM_PER_MM = 1000.0
Precision = type[np.float64] | type[np.float32]


def _in(precision: Precision, ground: EdgeGrid) -> EdgeGrid:
    """The same edge with its arrays in another precision."""
    arrays = (
        "station_weights_mm",
        "position",
        "tangent",
        "inward",
        "face",
        "angle_rad",
        "plan_curvature",
        "half_width_mm",
        "depth_mm",
        "inset_mm",
    )
    cast = {name: np.asarray(getattr(ground, name), precision) for name in arrays}
    return replace(ground, **cast)  # type: ignore[arg-type]


class SessionMeasures(NamedTuple):
    """What is recorded at each session, (R,) each."""

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
    passes: FloatArray
    minutes: FloatArray
    steel_mg: FloatArray


class _Prepared(NamedTuple):
    """What does not depend on the method: edges; the share (S,) of each station in its edge, and in its
    side, where ``on_side``; dimensions."""

    grounds: tuple[EdgeGrid, ...]
    weights: tuple[FloatArray, ...]
    sides: tuple[FloatArray, ...]
    on_side: tuple[NDArray[np.bool_], ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float


@lru_cache(maxsize=16)
def _prepared(blade: Blade, stations: int, depths: int, precision: Precision) -> _Prepared:
    """RunEffects, since a control that changes the method alone asks again and again."""
    grounds, weights, sides, on_side = [], [], [], []
    for name in blade.edges:
        exact = prepare_edge(blade, name, stations=stations, depths=depths)
        on_side.append(np.abs(exact.tangent @ exact.edge.roll_reference) > SIDE_COSINE)
        side = np.where(on_side[-1], exact.station_weights_mm, 0.0)
        sides.append((side / side.sum()).astype(precision))
        grounds.append(_in(precision, exact))
        weights.append(grounds[-1].station_weights_mm / grounds[-1].station_weights_mm.sum())
    return _Prepared(
        grounds=tuple(grounds),
        weights=tuple(weights),
        sides=tuple(sides),
        on_side=tuple(on_side),
        width_mm=blade.width_mm,
        worn_mm=blade.worn_width_mm,
        length_mm=blade.length_mm,
        thickness_mm=blade.thickness_mm,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class PreparedBlade:
    """Everything about a blade and a method that no run changes."""

    blade: Blade
    method: Method | Alternation
    ready: _Prepared
    aims: tuple[tuple[Aim, ...], ...]  # one a method, in turn
    gauge: BendingModel | None  # only where a rule asks for the strength

    @property
    def grounds(self) -> tuple[EdgeGrid, ...]:
        """The blade's edges."""
        return self.ready.grounds

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
    ) -> PreparedBlade:
        ready = _prepared(blade, stations, depths, precision)  # type: ignore[arg-type]
        methods = method.methods if isinstance(method, Alternation) else (method,)
        gauge = None
        if strength:
            gauge = life_bending_model(
                blade, _prepared(blade, stations, depths, np.float64).grounds
            )
        return cls(
            blade=blade,
            method=method,
            ready=ready,
            aims=tuple(tuple(aim_at(ground, one) for ground in ready.grounds) for one in methods),
            gauge=gauge,
        )

    def at(self, turn: int) -> tuple[Method, tuple[Aim, ...]]:
        """The method of session number `turn`, and where it aims."""
        return self.method.at(turn), self.aims[turn % len(self.aims)]

    def wear(self, states: Sequence[EdgeState]) -> tuple[Wear, ...]:
        """What has gone from each edge."""
        return tuple(
            Wear(state.inset_mm - ground.inset_mm[:, None, :], state.drop_mm)
            for state, ground in zip(states, self.grounds, strict=True)
        )

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> WidthLoss:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        ready = self.ready
        middle = len(self.grounds[0].arc_mm) // 2
        length = shortened_mm(
            self.grounds,
            [
                end_inset_mm(ground, state.inset_mm, u, state.drop_mm)
                for ground, u, state in zip(self.grounds, insets, states, strict=True)
            ],
        )
        gauge = self.gauge
        across = list(zip(insets, ready.sides, ready.on_side, strict=True))
        lowered = states[0].drop_mm
        if self.blade.unused is not None and lowered.any():
            # It is never ground, but moves in as the face goes down.
            fallen = lowered / np.tan(self.grounds[0].angle_rad)
            across.append((fallen, ready.sides[0], ready.on_side[0]))
        return WidthLoss(
            mean_width_mm=ready.worn_mm + _sum(over_stations(u, share) for u, share, _ in across),
            deepest_width_mm=ready.worn_mm + _sum(u.T[side].max(axis=0) for u, _, side in across),
            caliper_width_mm=ready.worn_mm + _sum(u[:, middle] for u, _, _ in across),
            length_mm=length,
            thickness_mm=np.max([plain_mean(state.drop_mm) for state in states], axis=0),
            new_width_mm=ready.width_mm + ready.worn_mm,
            new_length_mm=ready.length_mm,
            new_thickness_mm=ready.thickness_mm,
            strength_left=None if gauge is None else gauge.strength_left(self.wear(states), length),
        )

    def track(
        self, before: Sequence[FloatArray], done: SessionRuns, dull_um: FloatArray
    ) -> tuple[SessionMeasures, WidthLoss]:
        """Record a session."""
        states = [result.state for result in done.edges]
        insets = [s.at(g) for s, g in zip(states, self.grounds, strict=True)]
        lost = self.measure(insets, states)
        error = [
            s.internal_angle_rad - g.angle_rad for s, g in zip(states, self.grounds, strict=True)
        ]
        ready, weights = self.ready, self.ready.weights
        mean_error = mean_(over_stations(e, w) for e, w in zip(error, weights, strict=True))
        rms = np.sqrt(mean_(over_stations(e**2, w) for e, w in zip(error, weights, strict=True)))
        tracks = SessionMeasures(
            mean_width_um=(lost.mean_width_mm - ready.worn_mm) * UM_PER_MM,
            deepest_width_um=(lost.deepest_width_mm - ready.worn_mm) * UM_PER_MM,
            caliper_width_um=(lost.caliper_width_mm - ready.worn_mm) * UM_PER_MM,
            length_um=lost.length_mm * UM_PER_MM,
            thickness_um=lost.thickness_mm * UM_PER_MM,
            ridge_um=mean_(
                np.ptp((u - b).T[side], axis=0) * UM_PER_MM
                for u, b, side in zip(insets, before, ready.on_side, strict=True)
            ),
            angle_error_deg=np.degrees(mean_error),
            angle_rms_deg=np.degrees(rms),
            sharp_fraction=mean_(
                over_stations(r.sharp, w) for r, w in zip(done.edges, weights, strict=True)
            ),
            dull_radius_um=dull_um,
            passes=done.passes,
            minutes=done.seconds / 60,
            steel_mg=done.steel_mg,
        )
        return tracks, lost


def plain_mean(values: FloatArray) -> FloatArray:
    """Mean (R,) over stations of `values` (R, S)."""
    stations = values.shape[1]
    return over_stations(values, np.full(stations, 1 / stations, dtype=values.dtype))


def _sum(parts: Iterable[FloatArray]) -> FloatArray:
    """Sum of one array or a few."""
    return reduce(np.add, parts)


def mean_(parts: Iterable[FloatArray]) -> FloatArray:
    """Mean of one array or a few."""
    values = list(parts)
    return np.asarray(reduce(np.add, values) / len(values))
