"""Rows of a setting sheet in the order of work, and what the holder's measures make of them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from edgekit.clinic.bench.by_hand import axis_height_mm
from edgekit.clinic.bench.by_sheet import changes, play_deg, slack_mm
from edgekit.clinic.bench.on_the_stone import stroke_room_mm
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.sheet.blades import toe_hours
from edgekit.clinic.sheet.cut_outs import dial_from_mm
from edgekit.contact.holder import Holder
from edgekit.evidence_table import value

HOUR_STEP_DEG = 2.5  # five minutes of an hour hand
HELD = {Tool.HAND: "stone in the hand", Tool.ROD: "rod stone in the hand"}


@dataclass(frozen=True, kw_only=True)
class Row:
    """A set-up in the order of work.

    ``setting`` is the handle's angle, or how the stone is held; ``within`` how far the holder may
    stand from it, "± 0.5°"; ``sine`` that of the angle; ``plates`` what goes under the stone, and
    ``plates_within`` how exactly; all but the first empty without a holder or its measures.
    """

    number: str
    setting: str
    within: str
    sine: str
    plates: str
    plates_within: str
    edges: str


def setting_words(degrees: float) -> str:
    """A setting in the decimals it was planned with, one to three.

    Examples
    --------
    >>> setting_words(15.0), setting_words(31.04)
    ('15.0°', '31.04°')
    """
    text = f"{degrees:.3f}".rstrip("0")
    return (f"{text}0°" if text.endswith(".") else f"{text}°").replace("-", "−")


def within_words(room_deg: float, setting_error_deg: float) -> str:
    """How far the holder may stand from a setting, in words.

    Examples
    --------
    >>> within_words(1.58, 0.5), within_words(0.5, 0.5), within_words(0.27, 0.25)
    ('± 1.5°', '± 0.5°', '± 0.25°')
    """
    return f"± {play_deg(room_deg, setting_error_deg):g}°"


def riser_words(riser_mm: float, pivot_mm: float) -> str:
    """What goes under the stone, or how high the pivot must stand; NaN where it is not known.

    Examples
    --------
    >>> riser_words(27.4, 60), riser_words(-3.7, 60), riser_words(float("nan"), 60)
    ('plates 27.4 mm', 'none, pivot 63.7 mm high', 'not known')
    """
    if math.isnan(riser_mm):
        return "not known"
    if round(riser_mm, 1) == 0:
        return "no plates"
    if riser_mm > 0:
        return f"plates {riser_mm:.1f} mm"
    return f"none, pivot {pivot_mm - riser_mm:.1f} mm high"


def numbered(steps: Iterable[Step]) -> list[tuple[Step, str]]:
    """Each step with the number of its row: neighbours of one set-up share a row."""
    rows = groupby(steps, key=lambda step: (step.tool, step.run))
    return [(step, str(at)) for at, (_, group) in enumerate(rows, 1) for step in group]


def rows(plan: BenchPlan) -> list[Row]:
    """The set-ups in the order in which they are worked; a setting may come twice."""
    found, set_before = [], dict[int, str]()
    for number, group in groupby(numbered(plan.steps), key=lambda pair: pair[1]):
        steps = [step for step, _ in group]
        if steps[0].tool == Tool.HOLDER:
            found.append(_held(plan, number, steps, set_before))
            set_before[steps[0].run] = number
        else:
            setting = HELD[steps[0].tool]
            blank = dict.fromkeys(("within", "sine", "plates", "plates_within"), "")
            found.append(Row(number=number, setting=setting, edges=edge_names(steps), **blank))
    return found


def _held(plan: BenchPlan, number: str, steps: list[Step], before: dict[int, str]) -> Row:
    """A row of the holder."""
    row = plan.settings.iloc[steps[0].run]
    angle, run = float(row["elevation_deg"]), steps[0].run
    plates, plates_within = "", ""
    if plan.holder is not None:
        plates = riser_words(float(row["riser_mm"]), plan.holder.pivot_height_mm)
        plates_within = f"± {slack_mm(plan, run):.1f} mm"
    if run in before and plates:
        plates = f"as row {before[run]}: {plates}"
    return Row(
        number=number,
        setting=setting_words(angle),
        within=within_words(float(row["within_deg"]), plan.setting_error_deg),
        sine=f"{math.sin(math.radians(angle)):.3f}".replace("-", "−"),
        plates=plates,
        plates_within=plates_within,
        edges=edge_names(steps),
    )


def edge_names(steps: Iterable[Step]) -> str:
    """Instruments with their edges, each instrument once."""
    names: dict[str, dict[str, None]] = {}
    for step in steps:
        names.setdefault(step.requirements.instrument, {})[step.requirements.name] = None
    return " · ".join(f"{code} {' + '.join(edges)}" for code, edges in names.items())


def held_steps(plan: BenchPlan) -> list[Step]:
    """Steps of the holder."""
    return [step for step in plan.steps if step.tool == Tool.HOLDER]


def hours_read(plan: BenchPlan) -> list[float]:
    """Every hour that the dial is set to."""
    return [hour for step in held_steps(plan) for hour in toe_hours(step.placement_roll_deg)]


def dial_mm(plan: BenchPlan) -> float:
    """How far from the edge the dial must be at every setting of the plan [mm]."""
    lowest = plan.settings["elevation_deg"].min() if len(plan.settings) else 90.0
    return dial_from_mm(float(lowest))


def stroke_mm(plan: BenchPlan) -> float:
    """How long a stroke can be at every setting, in fives [mm]; 0 if not known or too short.

    Neither the post nor handle or shank may meet the stone where a stroke takes it.
    """
    if plan.holder is None or not len(plan.settings):
        return 0.0
    settings = plan.settings["elevation_deg"].tolist()
    room = stroke_room_mm(plan.holder, max(settings))
    for fives in range(math.floor(room / 5.0), 0, -1):
        behind = value("stone_end_mm") + 5.0 * fives  # of the stone, under the handle
        there = replace(plan.holder, stone_behind_mm=max(behind, plan.holder.stone_behind_mm))
        if all(there.fit(elevation_deg=angle).clears for angle in settings):
            return 5.0 * fives
    return 0.0


def turning_deg(plan: BenchPlan, turn_deg: float) -> float:
    """How far a turn of the handle changes the angle of stone to face, at most [deg].

    A turn δ about the handle's axis a turns the blade by δ (a·t) about its edge t.
    """
    along = [
        float(np.abs(need.held.tangent[step.stations] @ need.edge.handle_axis).max())
        for step in held_steps(plan)
        for need in [step.requirements]
    ]
    return math.ceil(10 * turn_deg * max(along, default=0.0) - 1e-9) / 10


def pivot_words(plan: BenchPlan) -> str:
    """How high the holder's pivot must be able to stand; empty without the holder's measures."""
    if plan.holder is None:
        return ""
    above = [
        max(0.0, *(low - float(plan.settings["riser_mm"].iloc[step.run]) for low in lows))
        for step in held_steps(plan)
        for lows in [[0.0, *(low for _, low in changes(step, plan))]]
    ]
    low, high = plan.holder.pivot_height_mm, plan.holder.pivot_height_mm + max(above, default=0.0)
    return f"{low:g} mm" if high - low < 0.05 else f"{low:g} to {high:.1f} mm"


def off_axis_mm(plan: BenchPlan) -> float:
    """How much the handle's axis rises and sinks over the stone within a line, at most [mm].

    With the axis through the heel, which nobody has measured: the plates must follow.
    """
    spans = [
        float(np.ptp(axis_height_mm(need, need.held.normal[step.stations], step.stations)))
        for step in held_steps(plan)
        for need in [step.requirements]
    ]
    return max(spans, default=0.0)


def per_mm_deg(plan: BenchPlan) -> tuple[float, float]:
    """What a millimetre of plates, and one of the reach, change the handle's angle by, at most."""
    reach = (plan.holder or Holder()).reach_mm
    angles = np.radians(plan.settings["elevation_deg"].to_numpy(dtype=float))
    if not len(angles):
        return 0.0, 0.0
    plates, along = 1 / np.cos(angles), np.abs(np.tan(angles))
    return float(np.degrees(plates.max() / reach)), float(np.degrees(along.max() / reach))
