"""A user's script, outside the package: type checkers read it as they would read any other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

import edgekit as ek


@dataclass(frozen=True)
class Stepwise:
    """A law of one's own: the edge dulls by a step at every fifth stroke."""

    step_um: float = 0.4

    def after(
        self, radius_um: NDArray[np.float64], strokes: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        return np.asarray(radius_um + self.step_um * strokes / 5)


@dataclass(frozen=True)
class Worst:
    """A rule of one's own: the deepest loss of width counts, in mm."""

    limit_mm: float = 0.15

    def used_up(self, lost: ek.WidthLoss) -> NDArray[np.float64]:
        return np.asarray(lost.deepest_width_mm / self.limit_mm)

    def __str__(self) -> str:
        return f"{self.limit_mm:g} mm gone at the deepest"


def main() -> str:
    blade: ek.Blade = ek.patterns.universal_curette(width_mm=0.9)
    edge: ek.Edge = blade.edges["left"]
    held: ek.Orientation = ek.orient(edge, ek.stones.RodStone(radius_mm=3.0), 50)
    setting: ek.Setting = ek.best_setting(edge, stations=50)
    law: ek.DullingLaw = ek.laws.PowerDulling(rate=0.4)
    rule: ek.RetireRule = ek.retire.MaxWidthLoss(fraction=0.15)
    ek.testing.check_dulling_law(Stepwise())
    ek.testing.check_retire_rule(Worst())
    steady = ek.hand.Hand(tilt_deg=ek.hand.ErrorTerm(sd=1.0))
    method: ek.Method = ek.methods.held(setting, hand=steady)
    session: ek.Session = ek.sharpen(blade, method, dull_radius_um=4.0, rng=1, stations=40)
    life: ek.Life = ek.live(
        blade, method, use=ek.Use(law=law), retire=[rule, Worst()], rng=2, stations=24
    )
    case = ek.LifeCase(blade=ek.patterns.hoe, method=method, use=ek.Use(law=Stepwise()))
    grid: ek.Grid = ek.grids.full_grid({"use.strokes": [20.0, 40.0]})
    table = ek.sweep(case, grid, runs=2, seed=1, progress=False)
    plan: ek.BenchPlan = ek.clinic.plan_bench([blade], tolerance_deg=3.0)
    words: str = ek.figures.alt_text(ek.figures.orientation(held))
    try:
        ek.read_blade("missing.toml")
    except ek.BadFile as error:
        words += error.file
    found = [str(part) for part in (session.passes, life.sessions, len(table), plan.minutes)]
    return " ".join([words, *found])


if __name__ == "__main__":
    print(main())
