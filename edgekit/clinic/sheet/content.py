"""What stands on a setting sheet: the order of work, a block an edge, what is left, the cautions.

The words are here; `edgekit.clinic.sheet.page` sets them as a web page, `edgekit.figures.clinic.sheet_paper` as PDF.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.sheet.drawing import Drawing, drawings
from edgekit.safety import CAUTIONS

if TYPE_CHECKING:
    from edgekit.clinic.bench.plan import BenchPlan

__all__ = ["Block", "Line", "Run", "Sheet", "compose"]


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
    """A step on one edge: which set-up, how the handle stands and how exactly, how it rolls, how
    much work, where."""

    mark: str
    elevation: str
    within: str
    roll: str
    work: str
    where: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Block:
    """One edge: its steps, its drawings, the angle to the face, the check to make."""

    instrument: str
    edge: str
    urgent: bool
    lines: tuple[Line, ...]
    pictures: tuple[Drawing, Drawing]
    face: str
    check: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """A setting sheet in words and shapes."""

    title: str
    headline: str
    holder: str
    runs: tuple[Run, ...]
    blocks: tuple[Block, ...]
    left: tuple[str, ...]
    legend: str
    cautions: tuple[str, ...]


LEGEND = (
    "Handle: angle between handle and stone, and how far off the holder may stand. "
    "Roll: where the stone touches, seen from the handle with the toe up: 0° at the toe, "
    "90° on the right, −90° on the left. Millimetres run along the edge from the heel. "
    "Mark the flank with a felt pen first: where the ink stays, the stone was not. "
    "Drawings: left, the blade on the stone across the edge, face line heavy, "
    "handle's axis dash-dotted; right, seen from the handle, stone at the first (solid) and last (dashed) "
    "placement, the edge to grind heavy."
)


def compose(plan: BenchPlan, title: str) -> Sheet:
    """The sheet of a plan."""
    whole = plan.minutes.iloc[-1]
    late = plan.edges[~plan.edges["planned"]]
    left = [
        f"{row.instrument} {row.edge}: {row.reason}"
        for row in plan.unserved.itertuples()
        if (row.instrument, row.edge) in set(zip(late["instrument"], late["edge"], strict=True))
    ]
    return Sheet(
        title=title,
        headline=(
            f"{_many(int(plan.edges['planned'].sum()), 'edge')} · "
            f"{_many(len(plan.settings), 'setting')} · angle kept within "
            f"{plan.tolerance_deg:g}° with the holder up to ± {plan.setting_error_deg:g}° off · "
            f"about {whole['minutes']:.0f} min "
            f"({whole['minutes_low']:.0f}–{whole['minutes_high']:.0f})"
        ),
        holder=_holder(plan),
        runs=tuple(_runs(plan)),
        blocks=tuple(_blocks(plan)),
        left=tuple(left),
        legend=LEGEND,
        cautions=CAUTIONS,
    )


def _runs(plan: BenchPlan) -> list[Run]:
    runs = []
    within = _within(plan)
    table = plan.settings
    for number, angle, riser in zip(
        table["run"], table["elevation_deg"], table["riser_mm"], strict=True
    ):
        mine = [step for step in plan.steps if step.run + 1 == number]
        runs.append(
            Run(
                number=str(number),
                elevation=setting_words(angle),
                within=within[number],
                riser=riser_words(riser),
                edges=_named(mine),
            )
        )
    for served, mark in ((Tool.HAND, "hand"), (Tool.ROD, "rod")):
        mine = [step for step in plan.steps if step.served == served]
        if mine:
            how = "free" if served == Tool.HAND else "rod stone"
            runs.append(Run(number=mark, elevation=how, within="", riser="–", edges=_named(mine)))
    return runs


def _holder(plan: BenchPlan) -> str:
    """The numbers of the holder that the risers rest on, or that they are not known."""
    stand = plan.stand
    if stand is None:
        return (
            "The holder's measures (height of pivot, reach, height of stone) were not given, so no "
            "riser is printed: set the angle between handle and stone itself, and look that only "
            "the blade touches the stone."
        )
    return (
        f"Risers hold for this holder only: pivot {stand.pivot_height_mm:g} mm above the bench, "
        f"{stand.reach_mm:g} mm from pivot to edge along the handle's axis, top of the stone "
        f"{stand.stone_height_mm:g} mm above the bench without a riser. Measure yours."
    )


def _within(plan: BenchPlan) -> dict[int, str]:
    """How far the holder may stand from each setting, by run."""
    pairs = zip(plan.settings["run"], plan.settings["within_deg"], strict=True)
    return {run: within_words(room, plan.setting_error_deg) for run, room in pairs}


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


def _named(steps: list[Step]) -> str:
    """Instruments with their edges, each instrument once."""
    names: dict[str, list[str]] = {}
    for step in steps:
        edges = names.setdefault(step.ask.instrument, [])
        if step.ask.name not in edges:
            edges.append(step.ask.name)
    return " · ".join(f"{code} {' + '.join(edges)}" for code, edges in names.items())


def _blocks(plan: BenchPlan) -> list[Block]:
    urgent = {(row.instrument, row.edge) for row in plan.edges.itertuples() if row.urgent}
    keys = dict.fromkeys(step.ask.key for step in plan.steps)
    within = _within(plan)
    blocks = []
    for key in keys:
        mine = [step for step in plan.steps if step.ask.key == key]
        blocks.append(
            Block(
                instrument=key[0],
                edge=key[1],
                urgent=key in urgent,
                lines=tuple(_line(step, within.get(step.run + 1, "")) for step in mine),
                pictures=drawings(mine),
                face=f"stone to face {_face_deg(mine):.0f}°",
                check=_check(mine),
            )
        )
    return blocks


def _line(step: Step, within: str) -> Line:
    first, last = step.span_mm
    start, end = float(step.roll_deg[0]), float(step.roll_deg[-1])
    if step.served == Tool.HOLDER:
        elevation = setting_words(float(step.elevation_deg[0]))
    else:
        elevation = f"{_sign(step.elevation_deg[0])}→{_sign(step.elevation_deg[-1])}"
    roll = f"roll {_sign(start)} → {_sign(end)}"
    if abs(end - start) < 0.5:
        roll = f"roll {_sign(start)}, no turn"
    if step.served == Tool.ROD:
        rod = float(step.ask.held.max_rod_mm[step.stations].min())
        roll += f"; rod of {rod:.1f} mm radius at most"
    return Line(
        mark={Tool.HOLDER: str(step.run + 1), Tool.HAND: "hand", Tool.ROD: "rod"}[step.served],
        elevation=elevation,
        within=within,
        roll=roll,
        work=f"{_many(step.placements, 'placement')}, {_many(step.rounds, 'round')}",
        where=f"{first:.1f}–{last:.1f} mm",
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _sign(degrees: float) -> str:
    """Whole degrees with a true minus sign.

    Examples
    --------
    >>> _sign(-91.8), _sign(-0.2)
    ('−92°', '0°')
    """
    whole = round(degrees)
    return f"−{-whole}°" if whole < 0 else f"{whole}°"


def _face_deg(steps: list[Step]) -> float:
    """Angle between stone and face, 180° − β [deg]."""
    return float(steps[0].ask.held.stone_to_face_deg[steps[0].stations].mean())


def _check(steps: list[Step]) -> str:
    """The check to make on this edge."""
    length = steps[0].ask.edge.length_mm
    return f"pen mark gone 0–{length:.1f} mm, test stick bites, no wire edge"
