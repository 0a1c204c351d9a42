"""The words of a setting sheet: order of work, one block per edge, what is left, the cautions.

`edgekit.clinic.sheet.page` sets them as a web page, `edgekit.figures.clinic.sheet_paper` as PDF.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from edgekit import checks
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.sheet.drawing import Drawing, drawings
from edgekit.errors import BadArgument
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
    """A step on one edge: its set-up, the handle's angle and play, its roll, the work, where."""

    mark: str
    elevation: str
    within: str
    roll: str
    work: str
    where: str


class Block(Record):
    """One edge: its steps, its drawings, the angle to the face, the check to make."""

    instrument: str
    edge: str
    urgent: bool
    lines: tuple[Line, ...]
    pictures: tuple[Drawing, Drawing]
    face: str
    check: str


class Sheet(Record):
    """A setting sheet in words and shapes."""

    title: str
    headline: str
    holder: str
    runs: tuple[Run, ...]
    blocks: tuple[Block, ...]
    left: tuple[str, ...]
    legend: str
    cautions: tuple[str, ...]


MAX_TITLE = 120  # letters; a longer title would take the room of the work
LEGEND = (
    "Handle: angle between handle and stone, and how far off the holder may stand. "
    "Roll: where the stone touches, seen from the handle with the toe up: 0° at the toe, "
    "90° on the right, −90° on the left. Millimetres run along the edge from the heel. "
    "Mark the flank with a felt pen first: where the ink stays, the stone was not. "
    "Drawings: left, the blade on the stone across the edge, face line heavy, handle's axis "
    "dash-dotted; right, seen from the handle, stone at the first (solid) and last (dashed) "
    "placement, the edge to grind heavy."
)


def compose(plan: BenchPlan, title: str) -> Sheet:
    """The sheet of a plan.

    Raises
    ------
    EdgekitError
        Not a plan; a title that is empty or has over 120 letters.
    """
    checks.instance("plan", plan, BenchPlan, "Give what edgekit.plan_bench returns.")
    title = " ".join(str(title).split())
    if not 0 < len(title) <= MAX_TITLE:
        remedy = "Give the name of the tray."
        raise BadArgument(f"a title has 1 to {MAX_TITLE} letters", title[:MAX_TITLE], remedy)
    total = plan.minutes.iloc[-1]
    runs = _runs(plan)
    late = plan.edges.loc[~plan.edges["planned"], ["instrument", "edge"]]
    left = plan.unserved.merge(late) if len(late) else late
    return Sheet(
        title=title,
        headline=(
            f"{_many(int(plan.edges['planned'].sum()), 'edge')} · "
            f"{_many(len(plan.settings), 'setting')} · angle kept within "
            f"{plan.tolerance_deg:g}° with the holder up to ± {plan.setting_error_deg:g}° off · "
            f"about {total['minutes']:.0f} min "
            f"({total['minutes_low']:.0f}–{total['minutes_high']:.0f})"
        ),
        holder=_holder(plan),
        runs=tuple(runs),
        blocks=tuple(_blocks(plan, {run.number: run.within for run in runs})),
        left=tuple(f"{row.instrument} {row.edge}: {row.reason}" for row in left.itertuples()),
        legend=LEGEND,
        cautions=CAUTIONS,
    )


def _runs(plan: BenchPlan) -> list[Run]:
    runs = [
        Run(
            number=str(row["run"]),
            elevation=setting_words(row["elevation_deg"]),
            within=within_words(row["within_deg"], plan.setting_error_deg),
            riser=riser_words(row["riser_mm"]),
            edges=_edge_names(step for step in plan.steps if step.run + 1 == row["run"]),
        )
        for row in plan.settings.to_dict("records")
    ]
    for tool, mark, how in ((Tool.HAND, "hand", "free"), (Tool.ROD, "rod", "rod stone")):
        edges = _edge_names(step for step in plan.steps if step.tool == tool)
        if edges:
            runs.append(Run(number=mark, elevation=how, within="", riser="–", edges=edges))
    return runs


def _holder(plan: BenchPlan) -> str:
    """The numbers of the holder that the risers rest on, or that they are not known."""
    holder = plan.holder
    if holder is None:
        return (
            "The holder's measures (height of pivot, reach, height of stone) were not given, so no "
            "riser is printed: set the angle between handle and stone itself, and look that only "
            "the blade touches the stone."
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
    return f"{text}0°" if text.endswith(".") else f"{text}°"


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
    ('riser 27.4 mm', 'pivot up 3.7 mm', 'not known')
    """
    if math.isnan(riser_mm):
        return "not known"
    if round(riser_mm, 1) == 0:
        return "no riser"
    return f"riser {riser_mm:.1f} mm" if riser_mm > 0 else f"pivot up {-riser_mm:.1f} mm"


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
    return [_block(steps, within) for steps in by_edge.values()]


def _block(steps: list[Step], within: dict[str, str]) -> Block:
    """One edge from its steps; the angle to the face is 180° − β."""
    edge = steps[0].requirements
    face_deg = float(edge.held.stone_to_face_deg[steps[0].stations].mean())
    return Block(
        instrument=edge.instrument,
        edge=edge.name,
        urgent=edge.urgent,
        lines=tuple(_line(step, within) for step in steps),
        pictures=drawings(steps),
        face=f"stone to face {face_deg:.0f}°",
        check=f"pen mark gone 0–{edge.edge.length_mm:.1f} mm, test stick bites, no wire edge",
    )


def _line(step: Step, within: dict[str, str]) -> Line:
    mark = {Tool.HOLDER: str(step.run + 1), Tool.HAND: "hand", Tool.ROD: "rod"}[step.tool]
    first, last = step.span_mm
    start, end = float(step.roll_deg[0]), float(step.roll_deg[-1])
    elevation = f"{_degrees(step.elevation_deg[0])}→{_degrees(step.elevation_deg[-1])}"
    if step.tool == Tool.HOLDER:
        elevation = setting_words(float(step.elevation_deg[0]))
    roll = f"roll {_degrees(start)} → {_degrees(end)}"
    if abs(end - start) < 0.5:
        roll = f"roll {_degrees(start)}, no turn"
    if step.tool == Tool.ROD:
        roll += f"; rod of {step.max_rod_mm:.1f} mm radius at most"
    return Line(
        mark=mark,
        elevation=elevation,
        within=within[mark],
        roll=roll,
        work=f"{_many(step.placements, 'placement')}, {_many(step.rounds, 'round')}",
        where=f"{first:.1f}–{last:.1f} mm",
    )


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
