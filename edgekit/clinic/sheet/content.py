"""The words of a setting sheet: order of work, one block per edge, what is left, how to work.

`edgekit.clinic.sheet.page` sets them as a web page, which `edgekit.clinic.sheet.paper` prints.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from edgekit import checks
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.log.entry import entry_code
from edgekit.clinic.sheet import how_to
from edgekit.clinic.sheet.drawing import (
    MIN_TURN_DEG,
    Drawing,
    at_the_stone,
    check_line,
    clock,
    clock_words,
    dial,
    toe_hours,
    toe_line,
)
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry.blade import BladeClass
from edgekit.record import Record
from edgekit.safety import CAUTIONS


@dataclass(frozen=True, kw_only=True)
class Run:
    """A set-up of the holder in the order of work: ``number, elevation, within, riser, edges``.

    ``within`` is how far the holder may stand from the setting, "± 0.5°"; empty without a holder.
    """

    number: str
    elevation: str
    within: str
    riser: str
    edges: str


@dataclass(frozen=True, kw_only=True)
class Line:
    """A step on one edge: its set-up, the handle's angle and play, where, the work, the hours.

    ``toe`` is in pieces that a line of print does not break.
    """

    mark: str
    elevation: str
    within: str
    where: str
    work: str
    toe: tuple[str, ...]


class Block(Record):
    """One edge: its class, what a gauge reads on it, its steps, drawings, code for the log."""

    instrument: str
    edge: str
    kind: str
    gauge: str
    urgent: bool
    lines: tuple[Line, ...]
    pictures: tuple[Drawing, Drawing]
    entry: str


class Sheet(Record):
    """A setting sheet in words and shapes."""

    title: str
    headline: str
    holder: str
    order: str
    runs: tuple[Run, ...]
    blocks: tuple[Block, ...]
    left: tuple[str, ...]
    needs: str
    steps: tuple[str, ...]
    words: tuple[tuple[str, str], ...]
    minutes: tuple[str, ...]
    dial: Drawing
    dial_note: str
    toe: Drawing | None
    ruler: Drawing
    cautions: tuple[str, ...]


MAX_TITLE = 120  # letters; a longer title would take the room of the work
MIN_HANDLE_MM, MAX_HANDLE_MM = 3.0, 20.0  # across a handle; the dial's hours need the rest


def compose(plan: BenchPlan, title: str, handle_diameter_mm: float | None = None) -> Sheet:
    """The sheet of a plan, with a dial for handles of a diameter.

    Raises
    ------
    EdgekitError
        Not a plan; a title that is empty or has over 120 letters; a handle of less than 3 mm or
        more than 20 mm.
    """
    checks.instance("plan", plan, BenchPlan, "Give what edgekit.plan_bench returns.")
    title = " ".join(str(title).split())
    if not 0 < len(title) <= MAX_TITLE:
        remedy = "Give the name of the tray."
        raise BadArgument(f"a title has 1 to {MAX_TITLE} letters", title[:MAX_TITLE], remedy)
    handle_mm = _handle(plan, handle_diameter_mm)
    total = plan.minutes.iloc[-1]
    runs = _runs(plan)
    late = plan.edges.loc[~plan.edges["planned"], ["instrument", "edge"]]
    left = plan.unserved.merge(late) if len(late) else late
    return Sheet(
        title=title,
        headline=(
            f"{_many(int(plan.edges['planned'].sum()), 'edge')} · "
            f"{_many(len(plan.settings), 'setting')} · angle within "
            f"{plan.tolerance_deg:g}° with the holder up to ± {plan.setting_error_deg:g}° off · "
            f"about {total['minutes']:.0f} min calculated "
            f"({total['minutes_low']:.0f}–{total['minutes_high']:.0f})"
        ),
        holder=_holder(plan),
        order=how_to.order_words(plan),
        runs=tuple(runs),
        blocks=tuple(_blocks(plan, {run.number: run.within for run in runs})),
        left=tuple(f"{row.instrument} {row.edge}: {row.reason}" for row in left.itertuples()),
        needs=how_to.NEEDS,
        steps=how_to.steps_words(plan),
        words=how_to.words(plan),
        minutes=how_to.minutes_words(plan),
        dial=dial(handle_mm),
        dial_note=(
            f"The hole is drawn for a handle {handle_mm:g} mm across"
            f"{'' if handle_diameter_mm is not None else how_to.ASSUMED}. "
            "Thicker handle: cut the hole wider. Thinner: lap the slit. Small marks are ten "
            "minutes. The hours run backwards on purpose: the dial turns, you read its top."
        ),
        toe=toe_line([step for step in plan.steps if how_to.has_toe(step)]),
        ruler=check_line(),
        cautions=CAUTIONS,
    )


def _handle(plan: BenchPlan, diameter_mm: float | None) -> float:
    """Diameter of the handle: as given, as the holder's, or assumed."""
    if diameter_mm is None:
        holder = plan.holder
        diameter_mm = 2 * (value("handle_radius_mm") if holder is None else holder.handle_radius_mm)
    remedy = "Give what a caliper reads across the handle, in millimetres."
    return checks.between("handle_diameter_mm", diameter_mm, MIN_HANDLE_MM, MAX_HANDLE_MM, remedy)


def _runs(plan: BenchPlan) -> list[Run]:
    runs = [
        Run(
            number=str(row["run"]),
            elevation=setting_words(row["elevation_deg"]),
            within=within_words(row["within_deg"], plan.setting_error_deg),
            riser="" if plan.holder is None else riser_words(row["riser_mm"]),
            edges=_edge_names(step for step in plan.steps if step.run + 1 == row["run"]),
        )
        for row in plan.settings.to_dict("records")
    ]
    for tool, mark, how in ((Tool.HAND, "hand", "free"), (Tool.ROD, "rod", "rod stone")):
        edges = _edge_names(step for step in plan.steps if step.tool == tool)
        if edges:
            runs.append(Run(number=mark, elevation=how, within="", riser="", edges=edges))
    return runs


def _holder(plan: BenchPlan) -> str:
    """The numbers of the holder that the risers rest on, or that they are not known."""
    holder = plan.holder
    if holder is None:
        return (
            "The holder's measures (height of pivot, reach, height of stone) were not given, so no "
            "riser is printed: set the angle between handle and stone with a protractor, and look "
            "that only the blade touches the stone."
        )
    return (
        f"Risers hold for this holder only: pivot {holder.pivot_height_mm:g} mm above the bench, "
        f"{holder.reach_mm:g} mm from pivot to edge along the handle's axis, top of the stone "
        f"{holder.stone_height_mm:g} mm above the bench without a riser. Measure yours."
    )


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
    """How far the holder may stand from a setting, rounded down but never below its own error.

    Examples
    --------
    >>> within_words(1.58, 0.5), within_words(0.5, 0.5), within_words(0.27, 0.25)
    ('± 1.5°', '± 0.5°', '± 0.25°')
    """
    room = math.floor(10 * room_deg + 1e-6) / 10
    return f"± {max(room, setting_error_deg):g}°"


def riser_words(riser_mm: float) -> str:
    """What goes under the stone, or how much the pivot must rise; NaN where it is not known.

    Examples
    --------
    >>> riser_words(27.4), riser_words(-3.7), riser_words(float("nan"))
    ('riser 27.4 mm', 'raise pivot 3.7 mm', 'not known')
    """
    if math.isnan(riser_mm):
        return "not known"
    if round(riser_mm, 1) == 0:
        return "no riser"
    return f"riser {riser_mm:.1f} mm" if riser_mm > 0 else f"raise pivot {-riser_mm:.1f} mm"


def _edge_names(steps: Iterable[Step]) -> str:
    """Instruments with their edges, each instrument once."""
    names: dict[str, dict[str, None]] = {}
    for step in steps:
        names.setdefault(step.requirements.instrument, {})[step.requirements.name] = None
    return " · ".join(f"{code} {' + '.join(edges)}" for code, edges in names.items())


def _blocks(plan: BenchPlan, within: dict[str, str]) -> list[Block]:
    by_edge: dict[tuple[str, str], list[Step]] = {}
    for step in plan.steps:
        by_edge.setdefault(step.requirements.key, []).append(step)
    return [_block(steps, within, plan.tolerance_deg) for steps in by_edge.values()]


def _block(steps: list[Step], within: dict[str, str], tolerance_deg: float) -> Block:
    """One edge from its steps."""
    edge = steps[0].requirements
    longest = max(steps, key=lambda step: len(step.stations))
    pattern = edge.blade.pattern or {}
    return Block(
        instrument=edge.instrument,
        edge=edge.name,
        kind=str(pattern.get("name", edge.blade.kind.value)),
        gauge=f"{edge.held.stone_to_face_deg[longest.stations[0]]:.0f}° ± {tolerance_deg:g}°",
        urgent=edge.urgent,
        lines=tuple(_line(step, within) for step in steps),
        pictures=(at_the_stone(longest), clock(longest)),
        entry=entry_code(edge.instrument, edge.name),
    )


def _line(step: Step, within: dict[str, str]) -> Line:
    mark = {Tool.HOLDER: str(step.run + 1), Tool.HAND: "hand", Tool.ROD: "rod"}[step.tool]
    first, last = step.span_mm
    elevation = f"{_degrees(step.elevation_deg[0])} → {_degrees(step.elevation_deg[-1])}"
    if step.tool == Tool.HOLDER:
        elevation = setting_words(float(step.elevation_deg[0]))
    rod = f", rod of {step.max_rod_mm:.1f} mm radius at most" if step.tool == Tool.ROD else ""
    return Line(
        mark=mark,
        elevation=elevation,
        within=within[mark],
        where=f"edge {first:.1f}–{last:.1f} mm{rod}",
        work=f"{_many(step.rounds, 'round')} of {_many(step.placements, 'stroke')}",
        toe=_toe(step),
    )


def _toe(step: Step) -> tuple[str, ...]:
    """The hours at which the toe points, one for each placement; for the hand its angle too."""
    roll = step.placement_roll_deg
    if step.requirements.blade.kind is BladeClass.HOE and len(roll) == 1:
        return "bevel flat on the stone,", "no turning"  # a hoe has no toe to point
    hours = [clock_words(hour) for hour in toe_hours(roll).tolist()]
    if step.tool != Tool.HOLDER:
        angles = step.placement_elevation_deg.tolist()
        hours = [f"{hour} at {_degrees(angle)}" for hour, angle in zip(hours, angles, strict=True)]
    if float(abs(roll[-1] - roll[0])) < MIN_TURN_DEG:
        return f"toe at {hours[0]},", "no turning"
    first, *others = hours
    pieces = [f"toe at {first}", *others]
    return (*(f"{piece}," for piece in pieces[:-1]), pieces[-1])


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _degrees(degrees: float) -> str:
    """Whole degrees with a true minus sign.

    Examples
    --------
    >>> _degrees(-91.8), _degrees(-0.2)
    ('−92°', '0°')
    """
    return f"{round(degrees)}°".replace("-", "−")
