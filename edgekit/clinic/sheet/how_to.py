"""How to work from a setting sheet, in words: one line at a time, order, terms, minutes."""

from __future__ import annotations

import math

import numpy as np

from edgekit.clinic.bench.by_hand import stone_room_mm
from edgekit.clinic.bench.by_sheet import newcomer, plate_changes, practised
from edgekit.clinic.bench.minutes import factors
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import STATIONS, Tool
from edgekit.clinic.log.entry import entry_code
from edgekit.clinic.sheet.before import tools_by_hand
from edgekit.clinic.sheet.blades import clock_words, toe_hours
from edgekit.clinic.sheet.places import has_toe
from edgekit.clinic.sheet.set_up import HOUR_STEP_DEG, dial_mm, held_steps, off_axis_mm, stroke_mm
from edgekit.contact.holder import Holder
from edgekit.contact.orientation import handle_basis
from edgekit.evidence_table import value

READ_EDGES, READ_HOURS, READ_PRACTISED_MIN, READ_ALL_HOURS = 11, 4, 95, 7
"""What readers judged who acted out the sheet of the demo tray; nobody has worked from it."""

_HOLDER = """
Row. Pile the row's plates by their number, under the whole of the stroke, and tape the pile to the
bench by its sides: only the stone slides, on the pile. Or raise the pivot. The gauge follows in 4.

Edge. Find the block of the row's next edge, and in it the line with this row's number: only that
line is done now. Skip a blade without the tick ‘may be ground’, and an edge that bites. Cap the
other blade of the instrument first. Ink the line's strip and no more: the side of the blade, right
up to the edge, as high as the line says. Marks are straight from the heel or the tip, as near as a
fine pen can: the hours decide what is ground, a mark only where you look.

Mount. {mark}Handle into the holder, heel of the edge (of a hoe: its middle) at R from the pivot
along the handle: {reach} mm{yours}.{dial}

Hour. Lift the blade clear, turn until the thread crosses the line's first hour, lower it: it
touches near the beginning of the strip, or the mark is wrong. Measure the handle's angle: gauge
zeroed on the flat of the stone, then on the straight of the handle between shank and pivot, its
weight in your hand; where that tapers, above and below, the mean counts. Outside ±: change the
plates before any stroke. As the blade turns, the handle's axis comes nearer to the stone or farther
from it: {axis}. So a line names the hours at which plates are changed: all rounds of the hours
before, then change and measure again. Where no pile keeps the angle within ±, do not grind there:
ask.

Card. At the hour that the line names, the blade on the stone, stand its card on the stone beside
the shank, held by tweezers at its far end, square to the edge (drawing in part 6), the smaller
corner pushed against the edge; look along the edge: light must show at the top of the face. Turn
the card over; larger corner: light must show at the edge. {gap} If not: measure the angle again,
then look at the hour, the tape, the edge, the code. Still not: set it aside and ask, whatever the
gauge says.

Strokes. Stone held by its long sides, below its top. {start} The blade keeps still. Lift it; a
stone that goes one way only is brought back now; turn to the next hour, lower: one stroke at each.
The last hour, or the last before plates change, ends a round; one hour only: all strokes there, and
one more round is half of them.

Look. Lift the blade and turn its side to you; the thread finds the hour again. In the strip the ink
must be gone right up to the edge, over {line:g} % of its height (assumed): tick; lower down some
may stay. A line of ink left along the edge: too steep, or an older, blunter side. Gone only in a
narrower line along the edge: too flat, or an older, keener side. Either: Hour and Card again; if
they pass, a line left counts as ink left, a line gone as all gone (without a card: ask). Ink left:
measure the width, and at the limit stop; else one more round, {extra:g} at most (assumed), from the
line's first hour and its pile, only at hours where ink is left; then set it aside and ask. The
counts are assumed for a fine stone; the ink decides.
"""
_ON = """
On. More edges in the row: the pile as the row says again, back to Edge, and tape the dial again,
also for the other edge of a blade. Row done: next row.
"""
_IN_THE_HAND = """
Stone in the hand. Instrument out of the holder, other blade capped. The hand that holds it rests on
something firm, and below the blade {below:g} mm are free for the stone. Turn the page until the
number's arrow in the drawing from above comes from your right (left-handed: from your left), and
hold the blade as drawn (hours: toe at 6): face up and level, so the handle up, your eyes at its
height. Behind it, at its height, the card is taped to something that stands, narrow side down and
level like the face: the stone leans out more than at its smaller corner and, the card turned over,
less than at its larger.{room} Fingers behind the stone, on its lower half, below the blade all
through the stroke. One stroke (as long as part 1 says) at each number in turn; the stone goes down:
towards the edge; up: away from it. Then Look; a line of ink left along the edge: lean the top of
the stone towards the face; gone only in a line: away from it. Rows ticked ‘not at all’: strike out
their lines.
"""
_END = """
Edge done (after its last line). Look for a wire edge with the lens and remove it as part 1 says.
Clean, dry, measure the width as before grinding, and write it into the block; a blade with two
edges has one width, written in both. At or below its limit (part 3): set it aside and ask. Test
stick last: a sharp edge bites (a wire edge can too). Where it slides: one more round of the line
in whose strip that is, within the same {extra:g}; if its row is past, Row to Look again. Then this
step again.
"""
_MARK = (
    "First hold the instrument at arm's length, the blade nearer, and look along the handle: pen a "
    "mark on the handle where the edge you grind, seen at its middle, runs to: heel to "
    "toe{aside}, not to the tip (drawing in part 6). "
)
_DIAL = (
    " Dial on the handle, {away:g} mm or more from the edge so that its rim clears the stone, its "
    "arrow TOE at the mark; tape it, to ten minutes: {tape:.1f} mm round the handle."
)


_DRAWINGS = (
    "blade grey, face and strip to grind heavy, stone black, axis of the handle dash-dotted; "
    "left, from the side; right, along the handle from its end, at the first hour, dashed at the "
    "last, arrow as the toe turns"
)


def steps_words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """How to work, as (name, what to do); only what this plan needs."""
    extra, end = value("bench_extra_rounds"), value("stone_end_mm")
    text = _END.format(extra=extra)
    if held_steps(plan):
        held = _HOLDER.format(
            reach="____" if plan.holder is None else f"{plan.holder.reach_mm:g}",
            yours="" if plan.holder is None else ", or yours (part 4)",
            mark=_mark(plan),
            dial=_dial(plan),
            axis=_axis(plan),
            gap=gap_words(plan),
            start=start_words(plan),
            extra=extra,
            line=100 * value("ink_line_share"),
        )
        text = f"{held}\n\n{text}\n\n{_ON}"
    if tools_by_hand(plan):
        near = any(
            math.isfinite(stone_room_mm(step, plan.holder or Holder()))
            for step in plan.steps
            if step.tool != Tool.HOLDER
        )
        room = " Where a drawing says so, keep the stone's upper end that near to the edge." * near
        below = value("stone_length_mm") - end
        text = f"{text}\n\n{_IN_THE_HAND.format(room=room, below=below)}"
    paragraphs = [" ".join(part.split()) for part in text.strip().split("\n\n") if part.strip()]
    return tuple((name, said) for name, _, said in (p.partition(". ") for p in paragraphs))


def _axis(plan: BenchPlan) -> str:
    """How far the plates may have to follow."""
    return f"up to {off_axis_mm(plan):.1f} mm here if the axis runs through the heel (not measured)"


def gap_words(plan: BenchPlan) -> str:
    """What the light beside a card can tell, on the narrowest face of the plan."""
    if not plan.steps:
        return ""
    narrow = min(step.requirements.blade.section.width_mm for step in plan.steps)
    gap = narrow * math.tan(math.radians(plan.tolerance_deg))
    return (
        f"At the right angle either gap is about {gap:.2f} mm; below {value('card_gap_mm'):g} mm "
        "(assumed) none shows."
    )


def start_words(plan: BenchPlan) -> str:
    """Where a stroke begins and ends, so that the stone stays clear of the post."""
    end, stroke = value("stone_end_mm"), stroke_mm(plan)
    far = f"{end + stroke:g} mm (or {end:g} and your stroke)" if stroke else f"{end:g} and a stroke"
    return (
        f"Away from the edge it begins with the edge {end:g} mm from the stone's end at the post "
        f"and ends at {far}; towards the edge the other way round."
    )


def _mark(plan: BenchPlan) -> str:
    """Which way the toe points: as the edge runs at its middle, but for blades from a pattern."""
    aside: dict[str, None] = {}
    turning = [step for step in held_steps(plan) if has_toe(step)]
    for step in turning:
        up, right = handle_basis(step.requirements.edge)
        along = step.requirements.held.tangent[STATIONS // 2]
        if abs(np.degrees(np.arctan2(along @ right, along @ up))) > HOUR_STEP_DEG:
            aside[step.requirements.instrument] = None
    but = f" (of {', '.join(aside)}: as the blade's middle line runs)" if aside else ""
    return _MARK.format(aside=but) if turning else ""


def _dial(plan: BenchPlan) -> str:
    """Where the dial goes."""
    turning = [step for step in held_steps(plan) if has_toe(step)]
    if not turning:
        return ""
    hoe = "" if len(turning) == len(held_steps(plan)) else " A hoe has no toe: no dial."
    radius = value("handle_radius_mm") if plan.holder is None else plan.holder.handle_radius_mm
    tape = math.radians(value("dial_taped_deg")) * radius
    return f"{_DIAL.format(away=dial_mm(plan), tape=tape)}{hoe}"


def words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """Terms of the sheet, each with its meaning; only those that this sheet needs."""
    names = {step.requirements.name for step in plan.steps}
    terms = [
        ("heel, toe, tip", "of an edge: at the shank; the free end; its last point (part 6)"),
        ("code", "of one blade; an instrument with a blade at either end has two"),
        ("drawings", _DRAWINGS + (" (by hand: from above)" if tools_by_hand(plan) else "")),
    ]
    if "left" in names:
        terms.insert(
            1,
            (
                "left, right",
                f"as you look from the handle's end to the blade, toe up{_unlike(plan)}",
            ),
        )
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
    return f" ({', '.join(unlike)}: measured edge by edge, the hours are no mirror images)"


def _apart(pair: list[list[str]]) -> bool:
    """Whether two rows of hours differ by more than the quarter of an hour that edges do."""
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
    shared = "what shares its setting, then " if _shares(plan) else ""
    then = f"Then {shared}" if first else "The settings go "
    more = plate_changes(plan)
    plates = f"; plates change or go back {more} times more" if more and plan.holder else ""
    return (
        f"Why this order: {urgent}{then}{rising}, each setting once: a change takes about "
        f"{seconds['setup']:.0f} s, an edge's strokes {_grinding(plan, seconds['stroke']):.0f} s"
        f"{plates}. What the holder cannot do comes last."
    )


def _shares(plan: BenchPlan) -> bool:
    """Whether an urgent edge shares its setting with one that is not."""
    held = held_steps(plan)
    urgent = {step.run for step in held if step.requirements.urgent}
    return any(step.run in urgent and not step.requirements.urgent for step in held)


def _grinding(plan: BenchPlan, stroke: float) -> float:
    """Seconds of strokes per edge planned."""
    return sum(step.strokes for step in plan.steps) * stroke / max(plan.edges["planned"].sum(), 1)


def minutes_words(plan: BenchPlan) -> tuple[str, ...]:
    """What the minutes hold, what they leave out, a newcomer's, and the gap to common practice."""
    total, (new, least, most) = plan.minutes.iloc[-1], newcomer(plan)
    low, high = total["minutes_low"], total["minutes_high"]
    middle, short, long = practised(plan)
    by_sheet = (
        f"Practised: about {middle:.0f} min ({short:.0f} to {long:.0f}). New to it: about "
        f"{new:.0f} ({least:.0f} to {most:.0f}). Sums of assumed seconds, no source: strokes with "
        "turning, mountings with ink and dial, cards, set-ups, changes of plates; the plan's own "
        f"{total['minutes']:.0f} min ({low:.0f} to {high:.0f}) leave most of that out. Not "
        "counted: reading, parts 1 to 6, stick, wire edge, widths, writing, cleaning."
    )
    first_time = (
        f"The gap: two readers who acted such a sheet out ({READ_EDGES} edges) judged "
        f"{READ_HOURS} h the first time, one of them {READ_PRACTISED_MIN} min practised and "
        f"{READ_ALL_HOURS} h with what is not counted. Plan two sessions, or one instrument first; "
        "after any row you may stop."
    )
    said, ends = [by_sheet, first_time], plan.practice
    if len(ends):
        model, practice = ends["seconds"].sum() / 60, ends["practice_seconds"].sum() / 60
        many = "1 curette" if len(ends) == 1 else f"{len(ends)} curettes"
        said.append(
            f"Common practice (no source) is {value('practice_universal_seconds'):g} s for a "
            f"universal and {value('practice_area_specific_seconds'):g} s for an area-specific "
            f"end, without setting up: {practice:.1f} min for the {many} here, the model "
            f"{model:.1f}: time yourself."
        )
    return tuple(said)


def log_words() -> str:
    """How the widths get into the log."""
    code = entry_code("EXAMPLE", "used")
    return (
        "Log, one line an edge: date (year-month-day), event “sharpened”, operator, and in the "
        "column sheet_entry the block's code with the width behind it twice, the same number, "
        f"without mm: {code}0.84/0.84. An edge that was measured and not ground: "
        "event “measured”; a toe left out: say so in the note. Set aside: the one who is asked "
        "decides between "
        "“measured”, “retired” and “broken”. Then all goes to be processed as part 1 says; dial, "
        "cards and thread are thrown away. "
        "If the entry is refused, type it again as printed; refused again: ask."
    )
