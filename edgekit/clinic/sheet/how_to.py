"""How to work from a setting sheet, in words: steps, order, terms, minutes beside practice."""

from __future__ import annotations

from edgekit.clinic.bench.minutes import factors
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.evidence_table import value

ASSUMED = " (assumed: measure yours)"
NEEDS = (
    "You need: the holder, the flat stone your clinic uses, wet or dry as its maker says, plates "
    "to lift it, a protractor, good light, felt pen, test stick, caliper, scissors for the dial."
)
STEPS = tuple(
    " ".join(step.split())
    for step in """
Work down the table of settings. For each row set the holder, by its scale or a protractor: the
angle between the handle's axis and the flat of the stone (0° lies flat on it), and what goes under
the stone. Riser: lift the stone by that much. ‘Raise pivot’: lift the point that carries the handle
instead. The length of the stone lies in line with the handle.

Take the first edge of that row and find its block. Only the line with this row's number is done
now. Blacken the side of the blade along the edge (the lateral surface) with a felt pen, heel to
toe, and put the handle into the holder.

Slip the dial on the handle near its end, printed side to you, TOE in line with the toe. Mind the
other end of the instrument if it has a blade.

Turn the handle until the first hour of the line lies at the top of the dial, straight away from
the stone. The toe then points where an hour hand points at that time, seen from the end of the
handle, with the stone at 6. Without a dial turn the toe there by eye.

Lower the blade on the stone and make one stroke: slide the stone once along its length under the
blade, which stays still. Press lightly and evenly (there is no published number). Lift, turn to the
next hour, one stroke, and so on; the last hour ends a round. Begin the next round at the first
hour, until the rounds are done. One hour only: one stroke a round.

Look: ink left between the millimetres of the line means the stone was not there; do one more
round. After the edge's last line try it
with the test stick (a sharp edge bites, a dull one slides) and look for a wire edge, a thin
burr, which your clinic's usual way removes. Tick the block.

All edges of the row done: next row. The rows ‘hand’ and ‘rod’ come last, but for urgent edges,
which are finished first. For ‘hand’ take the instrument out of the holder and go through the hours
free-hand, while the angle changes from the first number to the second; a hand will be some degrees
off.

Clean and dry the blade. Measure the width of the face at mid-length, or where your clinic always
does, and write it into the block. Later type the block's code and then twice the width into the
column sheet_entry of the log, such as FH-03-AS1/used/HG/0.842/0.842. The two characters before the
width check the name (ISO/IEC 7064): a slip is refused, not kept.
""".strip().split("\n\n")
)

_DIRECTION = (
    "The sources disagree which leaves less of a wire edge, so the sheet does not decide. Tick "
    "what your clinic teaches and keep to it: □ towards the edge □ away from it □ to and fro"
)
_DRAWINGS = (
    "left, the blade on the stone, its face heavy: the angles of the handle's axis (dash-dotted) "
    "and of the face to the stone, to check with a gauge; right, the clock: blade grey at the "
    "first hour, dashed at the last, edge to grind heavy, stone at 6"
)
_LEFT_OUT = (
    "Seconds are assumed. Not in it: reading this, measuring, writing, cleaning, reprocessing."
)
_BELOW = (
    "The end of the handle lies lower than the blade. Work at the border of the stone, so that the "
    "handle has room beside it."
)


def words(plan: BenchPlan) -> tuple[tuple[str, str], ...]:
    """Terms of the sheet, each with its meaning; only those that this sheet needs."""
    terms = [
        ("heel, toe", "the ends of the edge: at the shank, and the free end"),
        ("mm", "which part of the edge, from the heel: there the ink must go"),
        ("code", "one blade; an instrument with a blade at either end has two"),
        ("left, right", "as you look at the face along the handle, toe up"),
        ("used", "of a blade with one edge in use: the outer, longer one"),
        ("±", "how far the holder may stand from the setting"),
        ("direction of strokes", _DIRECTION),
    ]
    if any(step.elevation_deg.min() < -0.5 for step in plan.steps):
        terms.insert(6, ("below 0° (−)", _BELOW))
    if any(step.tool == Tool.ROD for step in plan.steps):
        terms.append(("rod", "a hollow stretch, which a flat stone does not reach: a round stone"))
    return (*terms, ("drawings", _DRAWINGS))


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
