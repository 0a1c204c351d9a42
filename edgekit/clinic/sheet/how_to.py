"""How to work from a setting sheet, in words: steps, order, terms, minutes beside practice."""

from __future__ import annotations

import math

import numpy as np

from edgekit.clinic.bench.minutes import factors
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import STATIONS, Tool
from edgekit.clinic.bench.steps import Step
from edgekit.contact.orientation import handle_basis
from edgekit.evidence_table import value
from edgekit.geometry.blade import BladeClass

ASSUMED = " (assumed: measure yours)"
EXTRA_ROUNDS = 2  # assumed; no source: after that something else is wrong
HOUR_STEP_DEG = 2.5  # five minutes of an hour hand
NEEDS = (
    "You need: the holder, the flat stone your clinic uses, wet or dry as its maker says, plates "
    "to lift it, a protractor, a gauge for the angle between face and stone, good light, felt pen, "
    "test stick, caliper, tape, and scissors for the dial of the last page."
)
FIRST = (
    "Grind only the blade that carries the block's code; if it is unmarked, do not grind it. Try "
    "the edge on the test stick first: if it bites all along, do not grind it. How thin is too "
    "thin, the practitioner decides: write down the last width."
)
_ROW = """
Work down the table of settings. For each row set the holder, by its scale or a protractor: the
angle between the handle's axis and the flat of the stone (0° lies flat on it){riser}. The length
of the stone lies in line with the handle.
"""
_RISER = """
, and what goes under the stone. Riser: lift the stone by that much. ‘Raise pivot’: lift the point
that carries the handle instead
"""
_STEPS = """
Take the first edge of that row and find its block. Only the line with this row's number is done
now. Ink the side of the blade along the edge (the lateral surface) with a felt pen, heel to toe,
anew for every line. Put the handle into the holder.

Sit at the end of the handle. Cover the other blade, if there is one. Slip the dial on the handle,
printed side to you, TOE in line with the toe, and tape it. {toe}

Turn the handle until the first hour of the line lies at the top of the dial, straight away from
the stone: the toe then points where an hour hand does, the stone at 6. Set hours to five minutes:
that much turns the angle by {play} at most, which ‘within {tolerance}’ leaves out. From one edge to
the other lift clear and turn by way of 12, never of 6.

Lower the blade on the stone. Before the first stroke hold the gauge to it at the heel: face to
stone as the block says, or stop and find out why. Then make one stroke: slide the stone once along
its length under the blade, which stays still; to and fro counts as two. Press lightly and evenly
(there is no published number). Lift, turn to the next hour, one stroke, and so on; the last hour
ends a round. Check the handle's angle again at the last hour, and that TOE still points with the
toe. Begin the next round at the first hour. One hour only: one stroke a round.

Look: between the millimetres of the line the ink must be gone right up to the edge. Ink left in a
line at the edge means that the angle is wrong: stop and check. Ink left elsewhere, or a stick that
slides though the ink is gone: one more round, {extra} at most (assumed), then set it aside and ask.
The counts are assumed for a fine stone; the ink decides. After the edge's last line try it with the
test stick (a sharp edge bites, a dull one slides) and look for a wire edge, a thin burr, which your
clinic's usual way removes.

All edges of the row done: next row. {hand}

Clean and dry the blade. Measure the width of the face once for each blade, at mid-length or where
your clinic always does, and write it after the code, of both edges if it has two. Later type that
code and the width two times, with a / between, into the column sheet_entry of the log:
FH-03-AS1/used/HG/0.842/0.842. The two characters before the width check the name (ISO/IEC 7064): a
slip is refused, not kept.
"""
_HAND = """
{last}. For ‘hand’ take the instrument out of the holder and hold it still at each hour
and the angle beside it, while the other hand slides the stone, fingers behind the edge and off the
stone's corners; a hand will be some degrees off.
"""
_DIRECTION = (
    "The sources disagree which leaves less of a wire edge, so the sheet does not decide. Tick "
    "what your clinic teaches of the stone's motion: □ towards the edge (the stone goes away from "
    "the end of the handle and meets the edge first) □ away from it (back) □ to and fro"
)
_DRAWINGS = (
    "left, the blade on the stone, its face heavy: the angles of the handle's axis (dash-dotted), "
    "of the line with most of the edge, and of the face to the stone; right, the clock: blade grey "
    "at the first hour of that line, dashed at the last, edge to grind heavy, stone at 6"
)
_LEFT_OUT = (
    "Seconds are assumed. Not in it: reading this, measuring, writing, cleaning, reprocessing."
)
_BELOW = (
    "The end of the handle lies lower than the blade. Work at the border of the stone, so that the "
    "handle has room beside it."
)


def has_toe(step: Step) -> bool:
    """Whether the blade has a toe to point with: a hoe has none."""
    return step.requirements.blade.kind is not BladeClass.HOE


def steps_words(plan: BenchPlan) -> tuple[str, ...]:
    """How to work, step by step; only what this plan needs."""
    tools = [name for name in (Tool.HAND, Tool.ROD) if any(s.tool == name for s in plan.steps)]
    names = " and ".join(f"‘{name.name.lower()}’" for name in tools)
    urgent = any(need.urgent for need in plan.requirements)
    come = "comes" if len(tools) == 1 else "come"
    last = f"{names} {come} last{', but for urgent edges, finished first' if urgent else ''}"
    hand = _HAND.format(last=last) if Tool.HAND in tools else f"{last}." if tools else ""
    row = _ROW.format(riser="" if plan.holder is None else _RISER.strip())
    text = row + _STEPS.format(
        toe=_toe(plan),
        play=_play(plan),
        tolerance=f"{plan.tolerance_deg:g}°",
        extra=EXTRA_ROUNDS,
        hand=hand.strip(),
    )
    return tuple(" ".join(step.split()) for step in (row, *text[len(row) :].strip().split("\n\n")))


def _toe(plan: BenchPlan) -> str:
    """Which way the toe points: as the edge runs at its middle, but for blades from a pattern."""
    aside: dict[str, None] = {}
    for step in filter(has_toe, plan.steps):
        up, right = handle_basis(step.requirements.edge)
        along = step.requirements.held.tangent[STATIONS // 2]
        if abs(np.degrees(np.arctan2(along @ right, along @ up))) > HOUR_STEP_DEG:
            aside[step.requirements.instrument] = None
    but = f" (of {', '.join(aside)}: as the blade's middle line runs)" if aside else ""
    words = f"The toe points as the edge you grind runs at its middle, heel to toe{but}, not to "
    words += "the tip (drawing below)."
    return words if all(map(has_toe, plan.steps)) else f"{words} A hoe has no toe: no dial."


def _play(plan: BenchPlan) -> str:
    """How far five minutes of the hour turn the face's angle to the stone, at most.

    A turn δ about the handle's axis a turns the blade by δ (a·t) about its edge t.
    """
    along = [
        float(np.abs(need.held.tangent[step.stations] @ need.edge.handle_axis).max())
        for step in plan.steps
        for need in [step.requirements]
    ]
    return f"{math.ceil(10 * HOUR_STEP_DEG * max(along, default=0.0)) / 10:g}°"


def words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """Terms of the sheet, each with its meaning; only those that this sheet needs."""
    terms = [
        ("heel, toe", "the ends of the edge: at the shank, and the free end"),
        ("edge … mm", "which part of the edge, from the heel: there the ink must go"),
        ("code", "one blade; an instrument with a blade at either end has two"),
        ("±", "how far the holder may stand from the setting"),
        (
            f"within {plan.tolerance_deg:g}°",
            "how far the calculated angle of the edge is off at most, if the holder keeps to its ±",
        ),
        ("direction of strokes", _DIRECTION),
    ]
    names = {step.requirements.name for step in plan.steps}
    if "left" in names:
        terms.insert(
            3, ("left, right", f"as you look at the face along the handle, toe up{_own(plan)}")
        )
    if "used" in names:
        terms.insert(3, ("used", "of a blade with one edge in use: the outer, longer one"))
    if any(step.elevation_deg.min() < -0.5 for step in plan.steps):
        terms.append(("below 0° (−)", _BELOW))
    if any(step.tool == Tool.ROD for step in plan.steps):
        terms.append(("rod", "a hollow stretch, which a flat stone does not reach: a round stone"))
    return (*terms, ("drawings", _DRAWINGS))


def _own(plan: BenchPlan) -> str:
    """Why the hours of two edges that were traced are not mirror images near the toe."""
    open_deg = [
        float(need.blade.trace.edges[need.name].swing_sd_deg[-1])
        for need in plan.requirements
        if need.blade.trace is not None and need.name in ("left", "right")
    ]
    if not open_deg:
        return ""
    return (
        "; each has a trace of its own, which leaves its direction at the toe open by up to "
        f"{max(open_deg):.0f}° (one standard deviation), so the hours are no mirror images"
    )


def order_words(plan: BenchPlan) -> str:
    """Why the settings come in the order they have."""
    seconds = {name: factor.median for name, factor in factors().items()}
    first = dict.fromkeys(need.instrument for need in plan.requirements if need.urgent)
    urgent = f"Urgent first ({', '.join(first)}), with what shares the setting. " if first else ""
    with_urgent = {step.run + 1 for step in plan.steps if step.requirements.urgent}
    rest = plan.settings.loc[~plan.settings["run"].isin(with_urgent), "elevation_deg"]
    rising = "from the smallest angle to the largest" if rest.is_monotonic_increasing else "on"
    then = "Then" if first else "The settings go"
    return (
        f"Why this order: {urgent}{then} {rising}, each setting once, since a change takes about "
        f"{seconds['setup']:.0f} s and an edge's strokes about "
        f"{_grinding(plan, seconds['stroke']):.0f} s. What the holder cannot do comes last."
    )


def _grinding(plan: BenchPlan, stroke: float) -> float:
    """Seconds of strokes per edge planned."""
    return sum(step.strokes for step in plan.steps) * stroke / max(plan.edges["planned"].sum(), 1)


def minutes_words(plan: BenchPlan) -> tuple[str, ...]:
    """What the minutes hold and what they leave out, and the gap to common practice."""
    *parts, total = plan.minutes.to_dict("records")
    named = ", ".join(f"{part['part']} {part['minutes']:.1f}" for part in parts)
    low, high = total["minutes_low"], total["minutes_high"]
    whole = f"About {total['minutes']:.0f} min, {low:.0f} to {high:.0f} (90 %): {named}. "
    said = [f"{whole}{_LEFT_OUT}"]
    ends = plan.practice
    if len(ends):
        model, practice = ends["seconds"].sum() / 60, ends["practice_seconds"].sum() / 60
        many = "1 curette" if len(ends) == 1 else f"{len(ends)} curettes"
        said.append(
            f"Common practice (no source) says {value('practice_universal_seconds'):g} s for a "
            f"universal and {value('practice_area_specific_seconds'):g} s for an area-specific "
            f"end, setting up apart: {practice:.1f} min for the {many} here, which this plan "
            f"puts at {model:.1f} min, {model / practice:.1f} times as long. That gap is open: "
            "time yourself."
        )
    return tuple(said)
