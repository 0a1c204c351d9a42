"""What stands before the first stroke, in words: whose sheet it is, decisions, needs, how far off.

``____`` is a line to write on and ``□`` a box to tick. Decisions of practice are not the sheet's:
it says who takes them and leaves the room.
"""

from __future__ import annotations

import math

from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.sheet.cut_outs import CARD_MM, DIAL_MM
from edgekit.clinic.sheet.places import has_toe
from edgekit.clinic.sheet.set_up import (
    HELD,
    HOUR_STEP_DEG,
    numbered,
    per_mm_deg,
    pivot_words,
    stroke_mm,
    turning_deg,
)
from edgekit.contact.holder import Holder
from edgekit.evidence_table import value

FIRST_TIMES = (
    "Never alone the first times: somebody who has done it stands by, and the instruments are "
    "discarded ones. The sheet is a calculation: what ink, card and stick show at the bench goes "
    "before anything printed here."
)
NEEDS = (
    "holder at whose pivot{pivot} the handle turns and tilts, free behind it for dial and hand · "
    "flat stone · plates as long as the stone that add up to the piles of part 7 · angle gauge "
    "that shows {fifth:g}° (protractor, {error:g}°: rows above ± {error:g}° only) · stiff card, "
    "glue, knife, ruler, scissors, tape, thread, paper clip · tweezers · caliper that shows 0.01 "
    "mm · lens on a stand, good light · felt pen · test stick · cap for the other blade"
)
WARNING = "Demonstration, invented: no instrument in use is ground by this page"
_PATTERN = (
    "{names}: nobody measured {it}; a pattern stands in, so only the corner card's pass lets {it} "
    "be ground"
)
_INVENTED = (
    "DEMONSTRATION. The measurements of {names} are invented.{more} Grind no instrument in "
    "use, log nothing; discarded ones may stand in, without code and limit; hours and cards will "
    "not fit."
)
_DECISIONS = """
Is asked and answers for this work: ____ Signed: ____

A stroke goes (the sources disagree which way leaves less of a wire edge): □ towards the edge (the
stone moves away from the end of the handle) □ away from the edge □ to and fro (one stroke out, the
next one back)

Stone: ____ □ wet □ dry. A stroke is {stroke} mm long: {end:g} mm stay free at either end of the
stone, and before the holder's post (assumed)

The hour is held by □ a clamp of the holder □ the hand. The □ left □ right hand is on the handle
behind pivot and dial, before the cap: it raises the handle's end to press the blade on the stone,
and lowers it to lift the blade. The other hand slides the stone.

{held}
A wire edge (a thin burr along the edge) is removed by ____

Ink, tape residue and grit come off with ____; stone, plates and stick are processed by ____;
caliper, gauge and tweezers wiped with ____; instruments go back to ____{hoe}

Log: kept at ____ by ____

Shown today on a discarded instrument: □ plates stacked so that nothing tips, pivot raised, stone
guided □ how hard to press (no number is published) □ capping and mounting
□ caliper across an edge □ test stick □ wire edge{shown}
"""
_HELD = """
{rows} (the stone in the hand) done: □ by whoever does the rest □ only by ____ □ not at all

"""


def invented(plan: BenchPlan) -> list[str]:
    """Instruments of which the note of the trace says that it is invented."""
    return [code for code, note in _notes(plan).items() if "invented" in note.casefold()]


def _notes(plan: BenchPlan) -> dict[str, str]:
    """What each trace says of itself, by instrument."""
    return {
        need.instrument: str(need.blade.trace.settings.get("note", ""))
        for need in plan.requirements
        if need.blade.trace is not None
    }


def whose_words(plan: BenchPlan) -> str:
    """What the numbers were computed from: these instruments, a pattern, or an invention."""
    traced, every = _notes(plan), dict.fromkeys(need.instrument for need in plan.requirements)
    pattern = [code for code in every if code not in traced]
    it = "it" if len(pattern) == 1 else "them"
    more = f" {_PATTERN.format(names=', '.join(pattern), it=it)}." if pattern else ""
    if names := invented(plan):
        either = f" {', '.join(pattern)}: nobody measured {it} either." if pattern else ""
        return _INVENTED.format(names=", ".join(names), more=either)
    measured = f"Computed from measurements of {', '.join(traced)}." if traced else ""
    return f"{measured}{more}".strip()


def decisions(plan: BenchPlan) -> tuple[str, ...]:
    """What is decided before the first stroke by the one who answers for it."""
    long = stroke_mm(plan)
    stroke = f"{long:g} (or ____)" if long else "____"
    by_hand = list(dict.fromkeys(row for step, row in numbered(plan.steps) if step.tool))
    rows = f"Row{'s' * (len(by_hand) > 1)} {', '.join(by_hand)}"
    held = _HELD.format(rows=rows).lstrip("\n") if by_hand else ""
    shown = " □ stone in the hand" if by_hand else ""
    end = value("stone_end_mm")
    hoe = ". The corners of a hoe: ____" * any(not has_toe(step) for step in plan.steps)
    text = _DECISIONS.format(stroke=stroke, end=end, held=held, shown=shown, hoe=hoe)
    return tuple(" ".join(part.split()) for part in text.strip().split("\n\n"))


def off_words(plan: BenchPlan) -> tuple[str, ...]:
    """How far off an edge may be: one statement, part by part."""
    tape = value("dial_taped_deg")
    hour, taped = turning_deg(plan, HOUR_STEP_DEG), turning_deg(plan, tape)
    both = plan.tolerance_deg + hour + taped
    by_holder = (
        f"Stone to face, by the holder: {plan.tolerance_deg:g}° at most, as long as the handle is "
        "within its row's ±. An hour that is five "
        f"minutes off adds up to {hour:g}°, a dial taped {tape / HOUR_STEP_DEG * 5:g} minutes off "
        f"up to {taped:g}° (assumed). All together: {both:g}°."
    )
    parts = [by_holder]
    swing = _swing_deg(plan)
    if swing:
        parts.append(
            f"Near the toe the edge's direction was measured to {swing:.0f}° only (one standard "
            "deviation), which is not included: there the ink decides."
        )
    if plan.steps:
        parts.append(
            f"By a corner card alone: not finer than {card_deg(plan):.1f}° (step 5), and 0.1 mm "
            f"cut askew is {_askew_deg(0.1):.1f}°."
        )
    if any(step.tool in HELD for step in plan.steps):
        parts.append(
            f"Stone in the hand: by eye; {value('novice_tilt_sd_deg'):g}° (one standard deviation) "
            "is assumed, nobody has published it."
        )
    return tuple(parts)


def card_deg(plan: BenchPlan) -> float:
    """What the least gap that shows is at the narrowest face of a plan, as an angle [deg]."""
    narrow = min(step.requirements.blade.section.width_mm for step in plan.steps)
    return math.degrees(math.atan(value("card_gap_mm") / narrow))


def _askew_deg(cut_mm: float) -> float:
    """A cut that is off at one end of a card's side, as an angle [deg]."""
    return math.degrees(math.atan(cut_mm / CARD_MM[1]))


def needs_words(plan: BenchPlan) -> str:
    """What is laid out."""
    height = pivot_words(plan)
    return NEEDS.format(
        error=plan.setting_error_deg,
        fifth=plan.setting_error_deg / 5,
        pivot=f" ({height} high)" if height else "",
    )


def _swing_deg(plan: BenchPlan) -> float:
    """How far a trace leaves the direction of its edge open at the toe, at most [deg]."""
    return max(
        (
            float(need.blade.trace.edges[need.name].swing_sd_deg[-1])
            for need in plan.requirements
            if need.blade.trace is not None
        ),
        default=0.0,
    )


def holder_words(plan: BenchPlan) -> tuple[str, ...]:
    """The holder's three lengths, the formula of the plates, and which of two readings wins."""
    plates, along = per_mm_deg(plan)
    known_for = "" if plan.holder else f" (with R = {Holder().reach_mm:g} mm)"
    if plan.holder is None:
        known = "No lengths of a holder were given: work the plates out for yours."
    else:
        holder = plan.holder
        known = (
            f"Plates are worked out for H = {holder.pivot_height_mm:g} mm, "
            f"R = {holder.reach_mm:g} mm, S = {holder.stone_height_mm:g} mm. If yours differ, "
            "cross them out."
        )
    yours = (
        "Yours: H ____ (bench to pivot) R ____ (pivot to heel of the edge, along the handle) "
        "S ____ mm (bench to top of the stone without plates). Plates = H − S − R × sine of the "
        "angle (part 7); below 0: no plates, the pivot that much higher."
    )
    wins = (
        "The handle's angle to the stone, by the gauge, is what counts. Plates and scale only "
        f"bring you near: 1 mm of plates is up to {plates:.1f}°, 1 mm along the handle up to "
        f"{along:.1f}°{known_for}. Too steep: more plates. Too flat: "
        "fewer, or, where there are none, the pivot higher by as much."
    )
    return known, yours, wins


def dial_words(handle_mm: float, ring_mm: float, *, assumed: bool) -> str:
    """How the dial is cut and read."""
    guess = " (assumed: measure yours)" if assumed else ""
    return (
        "Glue dial and cards on stiff card; cut along the lines with knife and ruler. Dial: the "
        f"rim, the slit and one ring: the inner for a handle {handle_mm:g} mm across{guess}, the "
        f"outer for {ring_mm:g} mm. A handle with flats: over its corners. It goes on the handle, "
        "printed side to you. Tie the thread into a loop round the handle, on your side of the "
        "dial, the knot below its middle again after every turn, the clip hanging from it: where "
        "the thread crosses the rim you read the hour at which the toe points. (Hung over one "
        f"side it reads {_aside_minutes(handle_mm):.0f} minutes wrong.) Every small mark is five "
        "minutes. The bench must be level."
    )


def _aside_minutes(handle_mm: float) -> float:
    """What a thread reads wrong that hangs down beside the handle, not below its middle [min]."""
    aside = math.degrees(math.asin(min(handle_mm / DIAL_MM, 1.0)))
    return 5 * aside / HOUR_STEP_DEG


def tools_by_hand(plan: BenchPlan) -> bool:
    """Whether anything is ground with the stone in the hand."""
    return any(step.tool != Tool.HOLDER for step in plan.steps)
