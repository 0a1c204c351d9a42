"""How to work from a setting sheet, in words: one line at a time, order, terms, minutes."""

from __future__ import annotations

import numpy as np

from edgekit.clinic.bench.minutes import Work, factors, newcomer_minutes
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import STATIONS
from edgekit.clinic.sheet.before import tools_by_hand
from edgekit.clinic.sheet.blades import clock_words, toe_hours
from edgekit.clinic.sheet.places import has_toe
from edgekit.clinic.sheet.set_up import HOUR_STEP_DEG, dial_mm, held_steps, off_axis_mm
from edgekit.contact.orientation import handle_basis
from edgekit.evidence_table import value

_HOLDER = """
Row. Set the row's angle: pile the plates until the protractor, held to the handle's axis and the
flat of the stone (0° lies flat on it), reads it within its ±.

Edge. Find the block of the row's next edge, and in it the line with this row's number: only that
line is done now. Skip a blade without the tick ‘may be ground’, and an edge that bites. Cap the
other blade of the instrument first. Ink the line's strip and no more: the side of the blade, right
up to the edge. Marks are straight from the heel or the tip, as near as a fine pen can: the hours
decide what is ground, a mark only where you look.

Mount. Handle into the holder, heel of the edge {reach} mm from the pivot along the handle.{dial}

Hour. Lift the blade clear, turn until the thread crosses the line's first hour, lower it. Measure
the handle's angle there, at the line's middle hour and at its last. As the blade turns, the place
that touches comes nearer to the axis of the handle or farther from it: {axis}. Outside ±: change
the plates before any stroke; if no pile serves all three, change it on the way and measure again.

Card. At the hour that the line names stand its card on the stone, on the handle's side, the
smaller corner pushed against the edge: light must show at the top of the face. Turn the card over;
larger corner: light must show at the edge. If not, look in this order: the angle (no light at the
top by the smaller: too flat, fewer plates; none at the edge by the larger: too steep, more plates);
the hour and the tape; the wrong edge or code. Still not: set it aside and ask.

Strokes. One at each hour: the stone slides its way once under the blade, as ticked in part 1; the
blade keeps still. Lift, turn straight on to the next hour (past 6 is right), lower. The last hour
ends a round; one hour only: all strokes there.

Look. In the strip the ink must be gone right up to the edge: tick. A line of ink left along the
edge: too steep, back to Card. Ink left elsewhere in the strip: one more round, {extra:g} at most
(assumed), then set it aside and ask. The counts are assumed for a fine stone; the ink decides.

On. More edges in the row: back to Edge, and tape the dial anew, also for the other edge of a blade.
Row done: next row.
"""
_IN_THE_HAND = """
Stone in the hand. Instrument out of the holder, held still: face up and level, toe towards you, the
hand that holds it resting on the bench. Behind it, at its height, the card is taped to something
that stands, narrow side down and level like the face: the stone leans out more than at its smaller
corner and less than at its larger.{room} The stone touches at each number of the drawing in turn:
one stroke at each, in the direction ticked. Then Look; a line of ink along the edge: lean the top
of the stone towards the face.
"""
_END = """
Edge done (after its last line). Test stick: a sharp edge bites. Where it slides: one more round of
the line in whose strip that is, within the same {extra:g}. Look for a wire edge with the lens and
remove it as part 1 says. Clean, dry, measure the width at mid-length as before grinding, and write
it into the block; a blade with two edges has one width, written in both.
"""
_DIAL = (
    " Dial on the handle, {away:g} mm or more from the edge so that its rim clears the stone, its "
    "arrow TOE, as you look along the handle, the way the edge you grind runs at its middle, heel "
    "to toe{aside}, not to the tip (drawing in part 6); tape it, to ten minutes."
)


_DRAWINGS = (
    "blade grey, its face and the strip to grind heavy, stone black, the axis of the handle "
    "dash-dotted; left, seen from the side; right, the clock, seen along the handle from its end: "
    "the blade lies on the stone at the first hour, dashed at the last, and the arrow turns with "
    "the toe"
)


def steps_words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """How to work, as (name, what to do); only what this plan needs."""
    extra = value("bench_extra_rounds")
    text = _END.format(extra=extra)
    if tools_by_hand(plan):
        room = " Where a drawing says so, keep the stone's upper end that near to the edge."
        text = f"{_IN_THE_HAND.format(room=room)}\n\n{text}"
    if held_steps(plan):
        reach = "R" if plan.holder is None else f"{plan.holder.reach_mm:g}"
        held = _HOLDER.format(reach=reach, dial=_dial(plan), axis=_axis(plan), extra=extra)
        text = f"{held}\n\n{text}"
    paragraphs = [" ".join(part.split()) for part in text.strip().split("\n\n") if part.strip()]
    return tuple((name, said) for name, _, said in (p.partition(". ") for p in paragraphs))


def _axis(plan: BenchPlan) -> str:
    """How far the plates may have to follow."""
    return f"up to {off_axis_mm(plan):.1f} mm here if the axis runs through the heel (not measured)"


def _dial(plan: BenchPlan) -> str:
    """Where the dial goes and which way the toe points: as the edge runs at its middle, but for
    blades from a pattern."""
    turning = [step for step in held_steps(plan) if has_toe(step)]
    if not turning:
        return ""
    aside: dict[str, None] = {}
    for step in turning:
        up, right = handle_basis(step.requirements.edge)
        along = step.requirements.held.tangent[STATIONS // 2]
        if abs(np.degrees(np.arctan2(along @ right, along @ up))) > HOUR_STEP_DEG:
            aside[step.requirements.instrument] = None
    but = f" (of {', '.join(aside)}: as the blade's middle line runs)" if aside else ""
    hoe = "" if len(turning) == len(held_steps(plan)) else " A hoe has no toe: no dial."
    return f"{_DIAL.format(away=dial_mm(plan), aside=but)}{hoe}"


def words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """Terms of the sheet, each with its meaning; only those that this sheet needs."""
    names = {step.requirements.name for step in plan.steps}
    terms = [
        ("heel, toe, tip", "the ends of an edge: at the shank; the free end; its last point"),
        ("code", "of one blade; an instrument with a blade at either end has two"),
        ("drawings", _DRAWINGS),
    ]
    if "left" in names:
        terms.insert(1, ("left, right", f"as you look along the handle, toe up{_unlike(plan)}"))
    if any(step.requirements.urgent for step in plan.steps):
        terms.append(("first", "urgent: near its limit in the log, so its width is read today"))
    return tuple(terms)


def _unlike(plan: BenchPlan) -> str:
    """Instruments whose two edges are set to hours that are no mirror images."""
    hours: dict[str, list[list[str]]] = {}
    for step in held_steps(plan):
        if step.requirements.name in ("left", "right"):
            turn = 1 if step.requirements.name == "left" else -1
            said = [clock_words(h) for h in toe_hours(turn * step.placement_roll_deg).tolist()]
            hours.setdefault(step.requirements.instrument, []).append(said)
    unlike = [code for code, pair in hours.items() if len(pair) == 2 and _apart(pair)]
    if not unlike:
        return ""
    return f"; of {', '.join(unlike)} each edge has its own trace: its hours are no mirror images"


def _apart(pair: list[list[str]]) -> bool:
    """Whether two rows of hours differ by more than the quarter of an hour that traces do."""
    if len(pair[0]) != len(pair[1]):
        return True
    minutes = [[60 * int(h) + int(m) for h, m in (t.split(":") for t in side)] for side in pair]
    apart = [abs((a - b + 360) % 720 - 360) for a, b in zip(*minutes, strict=True)]
    return bool(max(apart) > 15)


def order_words(plan: BenchPlan) -> str:
    """Why the settings come in the order they have."""
    seconds = {name: factor.median for name, factor in factors().items()}
    first = dict.fromkeys(need.instrument for need in plan.requirements if need.urgent)
    urgent = f"Urgent first ({', '.join(first)}), finished before all else. " if first else ""
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
    """What the minutes hold, what they leave out, a newcomer's, and the gap to common practice."""
    *parts, total = plan.minutes.to_dict("records")
    named = ", ".join(f"{part['part']} {part['minutes']:.1f}" for part in parts)
    low, high = total["minutes_low"], total["minutes_high"]
    practised = (
        f"Practised: about {total['minutes']:.0f} min, nine times in ten {low:.0f} to {high:.0f} "
        f"by the model: {named}. Its seconds are assumed. Not in it: reading this, measuring, "
        "writing, cleaning, reprocessing."
    )
    new, least, most = newcomer(plan)
    first_time = (
        f"New to it: about {new:.0f} min ({least:.0f} to {most:.0f}; assumed, no source), reading "
        "this first not counted. Spread it over several days: after any row you may stop."
    )
    said, ends = [practised, first_time], plan.practice
    if len(ends):
        model, practice = ends["seconds"].sum() / 60, ends["practice_seconds"].sum() / 60
        many = "1 curette" if len(ends) == 1 else f"{len(ends)} curettes"
        said.append(
            f"Common practice (no source) says {value('practice_universal_seconds'):g} s for a "
            f"universal and {value('practice_area_specific_seconds'):g} s for an area-specific "
            f"end, without setting up: {practice:.1f} min for the {many} here, which the model "
            f"puts at {model:.1f} min, {model / practice:.1f} times as long. That gap is open: "
            "time yourself."
        )
    return tuple(said)


def newcomer(plan: BenchPlan) -> tuple[float, float, float]:
    """Minutes of somebody new to it, in the middle and at the ends of what is assumed."""
    return newcomer_minutes(Work(*plan.minutes["count"].iloc[:-1]))


def log_words(code: str) -> str:
    """How the widths get into the log."""
    return (
        "Log, one line an edge: date (year-month-day), event “sharpened”, operator, and in the "
        "column sheet_entry the block's code with the width behind it twice, the same number, "
        f"without mm: {code}0.84/0.84. An edge that was measured and not ground: event “measured”. "
        "If the entry is refused, type it again as printed; refused again: ask."
    )
