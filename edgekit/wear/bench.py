"""A blade on the bench: all that no run changes, and what is measured after a session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.geometry.blade import Blade
from edgekit.wear.ground import Ground, ground_of, over_stations
from edgekit.wear.method import Method
from edgekit.wear.retire import Measures
from edgekit.wear.session import Aim, EdgeState, SessionRuns, aim_at

__all__ = ["Bench", "Precision", "Tracks", "mean_", "plain_mean", "sum_"]

UM_PER_MM = 1000.0
POINTED = 1.2  # 1 / sin(lean): a round toe has 1, a tip sharper than 113° more
SIDE_COSINE = np.cos(np.radians(45))  # where the edge turns past 45° it is toe, not side

Precision = type[np.float64] | type[np.float32]


def _in(precision: Precision, ground: Ground) -> Ground:
    """The same edge with its arrays in another precision."""
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


@lru_cache(maxsize=16)
def _grounds(blade: Blade, stations: int, depths: int) -> tuple[Ground, ...]:
    """A blade's edges; kept, since a control that changes the method alone asks again and again."""
    return tuple(ground_of(blade, name, stations=stations, depths=depths) for name in blade.edges)


@dataclass(frozen=True, kw_only=True, eq=False)
class Bench:
    """Everything about a blade and a method that no run changes."""

    blade: Blade
    method: Method
    grounds: tuple[Ground, ...]
    aims: tuple[Aim, ...]
    sides: tuple[FloatArray, ...]
    reach_back: tuple[float, ...]
    width_mm: float
    worn_mm: float
    length_mm: float
    thickness_mm: float

    @classmethod
    def of(
        cls,
        blade: Blade,
        method: Method,
        stations: int,
        depths: int,
        precision: Precision = np.float64,
    ) -> Bench:
        grounds = tuple(_in(precision, ground) for ground in _grounds(blade, stations, depths))
        sides, back = [], []
        for ground in grounds:
            x = ground.edge.roll_reference
            side = np.where(np.abs(ground.tangent @ x) > SIDE_COSINE, ground.share_mm, 0.0)
            sides.append(side / side.sum())
            # An edge that ends on the mid-line at a lean shortens the blade by more than it recedes.
            lean = float(-ground.inward[-1] @ x)
            back.append(1 / lean if lean > 0.01 else 0.0)
        return cls(
            blade=blade,
            method=method,
            grounds=grounds,
            aims=tuple(aim_at(ground, method) for ground in grounds),
            sides=tuple(sides),
            reach_back=tuple(back),
            width_mm=blade.width_mm,
            worn_mm=blade.worn_width_mm,
            length_mm=blade.length_mm,
            thickness_mm=blade.thickness_mm,
        )

    def measure(self, insets: Sequence[FloatArray], states: Sequence[EdgeState]) -> Measures:
        """Losses (R,) [mm] now, with what a worn blade had lost before; two edges both take from
        the width."""
        sides = [side > 0 for side in self.sides]
        middle = len(self.grounds[0].arc_mm) // 2
        return Measures(
            mean_width_mm=self.worn_mm
            + sum_(over_stations(u, side) for u, side in zip(insets, self.sides, strict=True)),
            deepest_width_mm=self.worn_mm
            + sum_(u.T[side].max(axis=0) for u, side in zip(insets, sides, strict=True)),
            caliper_width_mm=self.worn_mm + sum_(u[:, middle] for u in insets),
            length_mm=self.shortened(insets),
            thickness_mm=np.max([plain_mean(state.drop_mm) for state in states], axis=0),
            new_width_mm=self.width_mm + self.worn_mm,
            new_length_mm=self.length_mm,
            new_thickness_mm=self.thickness_mm,
        )

    def shortened(self, insets: Sequence[FloatArray]) -> FloatArray:
        """Length lost (R,) [mm].

        Two edges that meet in a point move it back by the mean of u / sin(lean); on a round toe
        both recede along the blade, and the deeper counts.
        """
        back = [u[:, -1] * k for u, k in zip(insets, self.reach_back, strict=True)]
        pointed = max(self.reach_back) > POINTED
        return np.asarray(np.mean(back, axis=0) if pointed else np.max(back, axis=0))

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


def sum_(parts: object) -> FloatArray:
    """Sum of arrays from an iterable."""
    return np.asarray(np.sum(list(parts), axis=0))  # type: ignore[call-overload]


def mean_(parts: object) -> FloatArray:
    """Mean of arrays from an iterable."""
    return np.asarray(np.mean(list(parts), axis=0))  # type: ignore[call-overload]
