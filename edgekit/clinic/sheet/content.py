"""The words of a setting sheet, put together: before, the set-ups in order, one block per edge.

`edgekit.clinic.sheet.page` sets them as a web page, which `edgekit.clinic.sheet.paper` prints.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from edgekit import checks
from edgekit.clinic.bench.by_hand import stone_hours, stone_room_mm
from edgekit.clinic.bench.by_sheet import changes, newcomer, practised
from edgekit.clinic.bench.on_the_stone import card_placement
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.bench.tables import TOO_SHORT
from edgekit.clinic.log.entry import entry_code
from edgekit.clinic.log.log import Log
from edgekit.clinic.sheet import before, how_to, set_up
from edgekit.clinic.sheet.blades import (
    MIN_TURN_DEG,
    at_the_stone,
    clock,
    clock_words,
    gauge_deg,
    hand_from_above,
    hand_from_the_side,
    hoe_drawing,
    toe_hours,
    toe_line,
)
from edgekit.clinic.sheet.cut_outs import (
    CARD_MM,
    WIDER_MM,
    bench,
    card,
    card_beside,
    check_line,
    dial,
    hands,
    loop,
)
from edgekit.clinic.sheet.drawing import Drawing
from edgekit.clinic.sheet.places import has_toe, side_words, span_words, strip_words
from edgekit.clinic.sheet.widths import BladeWidth, blade_widths
from edgekit.contact.holder import Holder
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.life.retire import MaxWidthLoss, MinWidth
from edgekit.record import Record
from edgekit.safety import CAUTIONS


@dataclass(frozen=True, kw_only=True)
class Line:
    """A step on one edge: the number of its row, setting and play, strip, work, hours, card.

    ``hours`` is in pieces that a line of print does not break; ``extra`` says where plates change
    or a stroke is short; ``pictures`` stand beside it.
    """

    mark: str
    setting: str
    within: str
    where: str
    work: str
    hours: tuple[str, ...]
    card: str
    extra: str
    pictures: tuple[Drawing, ...]


class Block(Record):
    """One edge: its class and side, its lines, what of it is left out, and its code for the log."""

    instrument: str
    edge: str
    kind: str
    side: str
    urgent: bool
    lines: tuple[Line, ...]
    left: tuple[str, ...]
    entry: str


class Sheet(Record):
    """A setting sheet in words and shapes, in the order in which it is used."""

    title: str
    headline: str
    whose: str
    warning: str
    cautions: tuple[str, ...]
    first_times: str
    decisions: tuple[str, ...]
    needs: str
    widths: tuple[BladeWidth, ...]
    holder: tuple[str, ...]
    bench: Drawing
    dial: Drawing | None
    loop: Drawing | None
    dial_note: str
    cards: tuple[Drawing, ...]
    ruler: Drawing
    off: tuple[str, ...]
    runs: tuple[set_up.Row, ...]
    order: str
    steps: tuple[tuple[str, str], ...]
    toe: Drawing | None
    beside: Drawing | None
    hands: Drawing | None
    words: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    left: tuple[str, ...]
    log: str
    minutes: tuple[str, ...]


MAX_TITLE = 120  # letters; a longer title would take the room of the work
MIN_HANDLE_MM, MAX_HANDLE_MM = 3.0, 16.0  # across a handle; the dial's hours need the rest


def compose(
    plan: BenchPlan,
    title: str,
    handle_diameter_mm: float | None = None,
    log: Log | None = None,
    retire: MaxWidthLoss | MinWidth | None = None,
) -> Sheet:
    """The sheet of a plan, with a dial for handles of a diameter and widths from a log.

    Raises
    ------
    EdgekitError
        Not a plan, a log or a rule; a title that is empty or has over 120 letters; a handle of
        less than 3 mm or more than 16 mm.
    """
    checks.instance("plan", plan, BenchPlan, "Give what edgekit.plan_bench returns.")
    handle_mm, hours = _handle(plan, handle_diameter_mm), set_up.hours_read(plan)
    assumed, left = handle_diameter_mm is None, _left(plan)
    return Sheet(
        title=_title(title),
        headline=_headline(plan),
        whose=before.whose_words(plan),
        warning=before.WARNING if before.invented(plan) else "",
        cautions=CAUTIONS,
        first_times=before.FIRST_TIMES,
        decisions=before.decisions(plan),
        needs=before.needs_words(plan),
        widths=blade_widths(plan, log, MaxWidthLoss() if retire is None else retire),
        holder=before.holder_words(plan),
        bench=_bench(plan),
        dial=dial(handle_mm, hours) if hours else None,
        loop=loop(handle_mm) if hours else None,
        dial_note=before.dial_words(handle_mm, handle_mm + WIDER_MM, assumed=assumed),
        cards=_cards(plan),
        ruler=check_line(),
        off=before.off_words(plan),
        runs=tuple(set_up.rows(plan)),
        order=how_to.order_words(plan),
        steps=how_to.steps_words(plan),
        toe=toe_line([step for step in set_up.held_steps(plan) if has_toe(step)]),
        beside=_beside(plan),
        hands=hands() if before.tools_by_hand(plan) else None,
        words=how_to.words(plan),
        blocks=tuple(_blocks(plan, left)),
        left=_whole(plan, left),
        log=how_to.log_words(),
        minutes=how_to.minutes_words(plan),
    )


def _title(title: str) -> str:
    """A title on one line."""
    title = " ".join(str(title).split())
    if not 0 < len(title) <= MAX_TITLE:
        remedy = "Give the name of the tray."
        raise BadArgument(f"a title has 1 to {MAX_TITLE} letters", title[:MAX_TITLE], remedy)
    return title


def _headline(plan: BenchPlan) -> str:
    (new, *_), (middle, low, high) = newcomer(plan), practised(plan)
    return (
        f"{_many(int(plan.edges['planned'].sum()), 'edge')} · "
        f"{_many(len(plan.settings), 'setting')} · about {middle:.0f} min when practised "
        f"({low:.0f}–{high:.0f}), {new:.0f} the first time (assumed; two readers: nearly twice "
        "that)"
    )


def _handle(plan: BenchPlan, diameter_mm: float | None) -> float:
    """Diameter of the handle: as given, as the holder's, or assumed."""
    if diameter_mm is None:
        holder = plan.holder
        diameter_mm = 2 * (value("handle_radius_mm") if holder is None else holder.handle_radius_mm)
    remedy = "Give what a caliper reads across the handle, in millimetres."
    return checks.between("handle_diameter_mm", diameter_mm, MIN_HANDLE_MM, MAX_HANDLE_MM, remedy)


def _bench(plan: BenchPlan) -> Drawing:
    """The bench as the first row asks for it."""
    angle = float(plan.settings["elevation_deg"].iloc[0]) if len(plan.settings) else 30.0
    away = set_up.dial_mm(plan)
    return bench(plan.holder or Holder(), angle, away or 100.0, value("stone_length_mm"))


def _cards(plan: BenchPlan) -> tuple[Drawing, ...]:
    """A corner card for each angle of face and stone that a line asks for."""
    angles = sorted({round(gauge_deg(step)) for step in plan.steps})
    return tuple(card(angle, plan.tolerance_deg) for angle in angles)


def _left(plan: BenchPlan) -> dict[tuple[str, str], tuple[str, ...]]:
    """What is not ground now, by edge: all of it for want of time, or strips out of reach."""
    done = {(*step.requirements.key, step.span_mm[0]) for step in plan.steps}
    begun = {step.requirements.key for step in plan.steps}
    needs = {need.key: need for need in plan.requirements}
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for row in plan.unserved.to_dict("records"):
        key = str(row["instrument"]), str(row["edge"])
        if (*key, row["from_mm"]) not in done and row["reason"] != TOO_SHORT[0]:
            where = span_words(needs[key], row["from_mm"], row["to_mm"])
            late = f"{row['reason']}; " if key not in begun else ""
            found[key] = (*found.get(key, ()), f"{where}: {late}{row['advice']}")
    return found


def _whole(plan: BenchPlan, left: dict[tuple[str, str], tuple[str, ...]]) -> tuple[str, ...]:
    """Edges that have no block, since nothing of them is ground."""
    begun = {step.requirements.key for step in plan.steps}
    keys = [key for key in left if key not in begun]
    return tuple(f"{' '.join(key)}, {said}" for key in keys for said in left[key])


def _blocks(plan: BenchPlan, left: dict[tuple[str, str], tuple[str, ...]]) -> list[Block]:
    within = {row.number: row.within for row in set_up.rows(plan)}
    by_edge: dict[tuple[str, str], list[tuple[Step, str]]] = {}
    for step, number in set_up.numbered(plan.steps):
        by_edge.setdefault(step.requirements.key, []).append((step, number))
    return [_block(pairs, within, plan, left.get(key, ())) for key, pairs in by_edge.items()]


def _block(
    pairs: list[tuple[Step, str]],
    within: dict[str, str],
    plan: BenchPlan,
    left: tuple[str, ...],
) -> Block:
    """One edge from its steps and the numbers of their rows."""
    edge = pairs[0][0].requirements
    pattern = edge.blade.pattern or {}
    return Block(
        instrument=edge.instrument,
        edge=edge.name,
        kind=str(pattern.get("name", edge.blade.kind.value)),
        side=side_words(edge),
        urgent=edge.urgent,
        lines=tuple(_line(step, number, within[number], plan) for step, number in pairs),
        left=left,
        entry=entry_code(edge.instrument, edge.name),
    )


def _line(step: Step, number: str, within: str, plan: BenchPlan) -> Line:
    held = step.tool == Tool.HOLDER
    rod = f", rod of {step.max_rod_mm:.1f} mm radius at most" if step.tool == Tool.ROD else ""
    work = f"{_many(step.rounds, 'round')} of {_many(step.placements, 'stroke')}"
    angle, flank = float(step.elevation_deg[0]), step.requirements.blade.section.flank_mm
    return Line(
        mark=number,
        setting=set_up.setting_words(angle) if held else set_up.HELD[step.tool],
        within=within,
        where=f"{strip_words(step)}{rod}; ink {flank:.1f} mm high",
        work=work if step.placements > 1 else _many(step.rounds, "stroke"),
        hours=_toe(step) if held else _stone(step),
        card=_card_words(step, plan),
        extra=_plates(step, plan) if held else _short(step, plan),
        pictures=_pictures(step, plan),
    )


def _card_words(step: Step, plan: BenchPlan) -> str:
    """The card of a line, and at which hour it is held to the blade: with the first pile."""
    words = f"card {gauge_deg(step):.0f}°"
    if step.tool != Tool.HOLDER:
        return words
    first = min((at for at, _ in changes(step, plan)), default=step.placements)
    place = card_placement(step, plan.holder or Holder(), CARD_MM, first)
    if place is None:
        return f"{words}: no room beside the shank, the ink decides"
    if step.placements == 1:
        return words
    late = ", with its plates" if place >= first and plan.holder else ""
    return f"{words} at {clock_words(float(toe_hours(step.placement_roll_deg)[place]))}{late}"


def _plates(step: Step, plan: BenchPlan) -> str:
    """From which hour on how many plates fewer serve, against the line's first hour; where no
    plates are left, how much higher the pivot goes."""
    if plan.holder is None:
        return ""
    hours = [clock_words(hour) for hour in toe_hours(step.placement_roll_deg).tolist()]
    pile = max(float(plan.settings["riser_mm"].iloc[step.run]), 0.0)
    said = [f"from {hours[at]} {_lower(low, pile)}" for at, low in changes(step, plan)]
    what = "mm of plates fewer" if pile else "pivot higher by mm"
    return f"; {what} than at {hours[0]}: {', '.join(said)}" if said else ""


def _lower(low_mm: float, pile_mm: float) -> str:
    """How much less a pile holds; what it does not hold, the pivot is raised by."""
    if low_mm < 0:
        return f"{-low_mm:.1f} {'more' if pile_mm else 'lower'}"
    if pile_mm and low_mm > pile_mm:
        return f"none, the pivot {low_mm - pile_mm:.1f} higher"
    return f"{low_mm:.1f}"


def _short(step: Step, plan: BenchPlan) -> str:
    """What is left of a stroke where shank or handle is above the stone."""
    room, end = stone_room_mm(step, plan.holder or Holder()), value("stone_end_mm")
    if room - end >= (set_up.stroke_mm(plan) or math.inf) or math.isinf(room):
        return ""
    high = math.floor(room)
    return f"; stone's upper end {end:g} to {high} mm above the edge, {high - end:g} mm of stroke"


def _beside(plan: BenchPlan) -> Drawing | None:
    """The card beside the shank, of the first line that has room for it."""
    holder = plan.holder or Holder()
    for step in set_up.held_steps(plan):
        place = card_placement(step, holder, CARD_MM) if has_toe(step) else None
        if place is not None:
            return card_beside(step, place, holder)
    return None


def _pictures(step: Step, plan: BenchPlan) -> tuple[Drawing, ...]:
    """What stands beside a line."""
    if step.tool != Tool.HOLDER:
        room = stone_room_mm(step, plan.holder or Holder())
        return hand_from_the_side(step, room), hand_from_above(step)
    return (at_the_stone(step), clock(step)) if has_toe(step) else (hoe_drawing(step),)


def _toe(step: Step) -> tuple[str, ...]:
    """The hours at which the toe points, one for each placement."""
    roll = step.placement_roll_deg
    if not has_toe(step) and len(roll) == 1:
        return "bevel flat on the stone:", "no light from front or side,", "no turning"
    hours = [clock_words(hour) for hour in toe_hours(roll).tolist()]
    if float(abs(roll[-1] - roll[0])) < MIN_TURN_DEG:
        return f"toe at {hours[0]},", "no turning"
    return _listed("toe at", hours)


def _stone(step: Step) -> tuple[str, ...]:
    """The hours from which the stone comes, one for each placement."""
    if not has_toe(step):
        return ("stone flat on the bevel",)
    return _listed("stone from", [clock_words(hour) for hour in stone_hours(step).tolist()])


def _listed(lead: str, hours: list[str]) -> tuple[str, ...]:
    first, *others = hours
    pieces = [f"{lead} {first}", *others]
    return (*(f"{piece}," for piece in pieces[:-1]), pieces[-1])


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
