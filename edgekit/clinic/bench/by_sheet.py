"""What work from the setting sheet asks beyond the plan: changes of plates, and minutes with them.

As a blade turns the handle's axis rises and sinks over the stone, and the plates follow. Each
change, and each pile set back for the next line, takes what a set-up takes.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from edgekit.clinic.bench.minutes import Work, newcomer_minutes, practised_minutes
from edgekit.clinic.bench.on_the_stone import pile_changes
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.contact.holder import Holder


def play_deg(room_deg: float, setting_error_deg: float) -> float:
    """How far the holder may stand from a setting, rounded down, never below its own error [deg].

    Examples
    --------
    >>> play_deg(1.58, 0.5), play_deg(0.27, 0.25)
    (1.5, 0.25)
    """
    return max(math.floor(10 * room_deg + 1e-6) / 10, setting_error_deg)


def slack_mm(plan: BenchPlan, run: int) -> float:
    """How far plates may be from what a setting asks for, rounded down [mm]."""
    row = plan.settings.iloc[run]
    angle = float(row["elevation_deg"])
    within = play_deg(float(row["within_deg"]), plan.setting_error_deg)
    ends = np.sin(np.radians([angle - within, angle, angle + within]))
    reach = (plan.holder or Holder()).reach_mm
    return math.floor(10 * reach * float(np.abs(np.diff(ends)).min())) / 10


def changes(step: Step, plan: BenchPlan) -> tuple[tuple[int, float], ...]:
    """Where the pile of a line changes, and how much lower it then is; none without the holder."""
    return pile_changes(step, slack_mm(plan, step.run)) if step.tool == Tool.HOLDER else ()


def plate_changes(plan: BenchPlan) -> int:
    """Changes of plates beside the set-ups: within lines, and back before the next line.

    Examples
    --------
    >>> import edgekit as ek
    >>> plate_changes(ek.plan_bench({"K": ek.patterns.universal_curette()}, tolerance_deg=2))
    3
    """
    held = [step for step in plan.steps if step.tool == Tool.HOLDER]
    within = [len(changes(step, plan)) for step in held]
    back = [
        one.run == two.run and many > 0
        for (one, two), many in zip(pairwise(held), within, strict=False)
    ]
    return sum(within) + sum(back)


def practised(plan: BenchPlan) -> tuple[float, float, float]:
    """Minutes of somebody practised with the sheet, in the middle and at the assumed ends.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"K": ek.patterns.universal_curette()}, tolerance_deg=2)
    >>> [round(minutes, 1) for minutes in practised(plan)]
    [10.4, 5.1, 20.7]
    """
    return practised_minutes(_work(plan))


def newcomer(plan: BenchPlan) -> tuple[float, float, float]:
    """Minutes of somebody new to it, in the middle and at the ends of what is assumed."""
    return newcomer_minutes(_work(plan))


def _work(plan: BenchPlan) -> Work:
    planned = Work(*plan.minutes["count"].iloc[:-1])
    return planned._replace(setups=planned.setups + plate_changes(plan))
