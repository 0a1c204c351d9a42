"""A blade on the bench: all that no run changes, and what is measured after a session."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce
from typing import NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.geometry.blade import Blade
from edgekit.wear.alternation import Alternation
from edgekit.wear.bending import Gauge, Wear, end_inset_mm, life_gauge, shortened_mm
from edgekit.wear.grinding import Aim, EdgeState, SessionRuns, aim_at
from edgekit.wear.ground import Ground, ground_of, over_stations
from edgekit.wear.method import Method
from edgekit.wear.retire import Measures

__all__ = ["Bench", "Precision", "Tracks", "mean_", "plain_mean", "sum_"]

UM_PER_MM = 1000.0
SIDE_COSINE = np.cos(np.radians(45))  # where the edge turns past 45° it is toe, not side

Precision = type[np.float64] | type[np.float32]


def _in(precision: Precision, ground: Ground) -> Ground:
    """The same edge with its arrays in another precision; the very same where that is its own."""
    if ground.inset_mm.dtype == precision:
        return ground
    arrays = ("share_mm", "position", "tangent", "inward", "face", "angle_rad",
              "plan_curvature", "half_width_mm", "depth_mm", "inset_mm")  # fmt: skip
    cast = {name: np.asarray(getattr(ground, name), precision) for name in arrays}
    return replace(ground, **cast)  # type: ignore[arg-type]


class Tracks(NamedTuple):
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
    used_up: FloatArray


class _Prepared(NamedTuple):
    """What does not depend on the method: edges, the share of each station in its side, dimensions."""

    grounds: tuple[Ground, ...]
    sides: tuple[FloatArray, ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float


@lru_cache(maxsize=16)
def _prepared(blade: Blade, stations: int, depths: int) -> _Prepared:
    """Kept, since a control that changes the method alone asks again and again."""
    grounds = tuple(
        ground_of(blade, name, stations=stations, depths=depths) for name in blade.edges
    )
    sides = []
    for ground in grounds:
        along = np.abs(ground.tangent @ ground.edge.roll_reference)
        side = np.where(along > SIDE_COSINE, ground.share_mm, 0.0)
        sides.append(side / side.sum())
    return _Prepared(
        grounds, tuple(sides), blade.width_mm, blade.worn_width_mm, blade.length_mm,
        blade.thickness_mm,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """Everything about a blade and a method that no run changes."""

    blade: Blade
    method: Method | Alternation
    grounds: tuple[Ground, ...]
    aims: tuple[tuple[Aim, ...], ...]  # one a method, in turn
    sides: tuple[FloatArray, ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float
    gauge: Gauge | None  # only where a rule asks for the strength

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
    ) -> Bench:
        ready = _prepared(blade, stations, depths)
        grounds = tuple(_in(precision, ground) for ground in ready.grounds)
        methods = method.methods if isinstance(method, Alternation) else (method,)
        return cls(
            blade=blade,
            method=method,
            grounds=grounds,
            aims=tuple(tuple(aim_at(ground, one) for ground in grounds) for one in methods),
            sides=tuple(side.astype(precision) for side in ready.sides),
            width_mm=ready.width_mm,
            worn_mm=ready.worn_mm,
            length_mm=ready.length_mm,
            thickness_mm=ready.thickness_mm,
            gauge=life_gauge(blade, ready.grounds) if strength else None,
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

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> Measures:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        sides = [side > 0 for side in self.sides]
        middle = len(self.grounds[0].arc_mm) // 2
        length = shortened_mm(
            self.grounds,
            [
                end_inset_mm(ground, state.inset_mm, u, state.drop_mm)
                for ground, u, state in zip(self.grounds, insets, states, strict=True)
            ],
        )
        gauge = self.gauge
        across = list(zip(insets, self.sides, sides, strict=True))
        lowered = states[0].drop_mm
        if self.blade.unused is not None and lowered.any():
            # It is never ground, but moves in as the face goes down.
            fallen = lowered / np.tan(self.grounds[0].angle_rad)
            across.append((fallen, self.sides[0], sides[0]))
        return Measures(
            mean_width_mm=self.worn_mm + sum_(over_stations(u, share) for u, share, _ in across),
            deepest_width_mm=self.worn_mm + sum_(u.T[side].max(axis=0) for u, _, side in across),
            caliper_width_mm=self.worn_mm + sum_(u[:, middle] for u, _, _ in across),
            length_mm=length,
            thickness_mm=np.max([plain_mean(state.drop_mm) for state in states], axis=0),
            new_width_mm=self.width_mm + self.worn_mm,
            new_length_mm=self.length_mm,
            new_thickness_mm=self.thickness_mm,
            strength_left=None if gauge is None else gauge.strength_left(self.wear(states), length),
        )

    def track(
        self, before: Sequence[FloatArray], done: SessionRuns, dull_um: FloatArray
    ) -> tuple[Tracks, Measures]:
        """Record a session."""
        states = [result.state for result in done.edges]
        insets = [s.at(g) for s, g in zip(states, self.grounds, strict=True)]
        lost = self.measure(insets, states)
        parts = list(zip(insets, before, states, done.edges, self.grounds, self.sides, strict=True))
        error = [s.internal_angle_rad - g.angle_rad for _, _, s, _, g, _ in parts]
        weights = [g.share_mm / g.share_mm.sum() for g in self.grounds]
        mean_error = mean_(over_stations(e, w) for e, w in zip(error, weights, strict=True))
        rms = np.sqrt(mean_(over_stations(e**2, w) for e, w in zip(error, weights, strict=True)))
        tracks = Tracks(
            mean_width_um=(lost.mean_width_mm - self.worn_mm) * UM_PER_MM,
            deepest_width_um=(lost.deepest_width_mm - self.worn_mm) * UM_PER_MM,
            caliper_width_um=(lost.caliper_width_mm - self.worn_mm) * UM_PER_MM,
            length_um=lost.length_mm * UM_PER_MM,
            thickness_um=lost.thickness_mm * UM_PER_MM,
            ridge_um=mean_(
                np.ptp((u - b).T[side > 0], axis=0) * UM_PER_MM for u, b, _, _, _, side in parts
            ),
            angle_error_deg=np.degrees(mean_error),
            angle_rms_deg=np.degrees(rms),
            sharp_fraction=mean_(
                over_stations(r.sharp, w)
                for (_, _, _, r, _, _), w in zip(parts, weights, strict=True)
            ),
            dull_radius_um=dull_um,
            passes=done.passes,
            minutes=done.seconds / 60,
            steel_mg=done.steel_mg,
            used_up=np.zeros(len(dull_um)),
        )
        return tracks, lost


def plain_mean(values: FloatArray) -> FloatArray:
    """Mean (R,) over stations of `values` (R, S)."""
    stations = values.shape[1]
    return over_stations(values, np.full(stations, 1 / stations, dtype=values.dtype))


def sum_(parts: Iterable[FloatArray]) -> FloatArray:
    """Sum of one array or a few."""
    return reduce(np.add, parts)


def mean_(parts: Iterable[FloatArray]) -> FloatArray:
    """Mean of one array or a few."""
    values = list(parts)
    return np.asarray(reduce(np.add, values) / len(values))
