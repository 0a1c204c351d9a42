"""The tables of a bench plan."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from edgekit.clinic.bench.by_hand import can_be_marked, stone_room_mm
from edgekit.clinic.bench.minutes import factors
from edgekit.clinic.bench.requirements import ROUNDING_DEG, EdgeRequirements, Tool
from edgekit.clinic.bench.runs import Arrangement
from edgekit.clinic.bench.steps import Step
from edgekit.contact.holder import Holder
from edgekit.evidence_table import Status, value
from edgekit.geometry.blade import BladeClass

MAX_TOLERANCE_DEG = 10.0  # nobody is told to plan with a tolerance beyond this
TOO_SHORT = "too short to be marked", "no strokes of its own: those beside it reach it"
HOW = {Tool.HOLDER: "holder", Tool.HAND: "by hand", Tool.ROD: "rod"}
PRACTICE = {
    BladeClass.UNIVERSAL: "practice_universal_seconds",
    BladeClass.AREA_SPECIFIC: "practice_area_specific_seconds",
}


def settings_table(
    arrangement: Arrangement, holder: Holder | None, setting_error_deg: float
) -> pd.DataFrame:
    """One row per set-up of the holder."""
    settings, windows = arrangement.settings_deg, arrangement.windows_deg
    room = np.abs(windows - settings[:, None]).min(axis=1)
    served = {(p.run, p.edge) for p in arrangement.pieces if p.run >= 0}
    edges = np.bincount(np.array([run for run, _ in served], np.int64), minlength=len(settings))
    risers = [
        np.nan if holder is None else holder.fit(elevation_deg=setting).riser_mm
        for setting in settings.tolist()
    ]
    return pd.DataFrame(
        {
            "run": np.arange(1, len(settings) + 1),
            "elevation_deg": settings,
            "within_deg": room + setting_error_deg,
            "low_deg": windows[:, 0] - setting_error_deg,
            "high_deg": windows[:, 1] + setting_error_deg,
            "riser_mm": np.array(risers, dtype=np.float64),
            "edges": edges,
        }
    )


def order_table(steps: Sequence[Step], settings: pd.DataFrame) -> pd.DataFrame:
    """One row per step; risers come from the table of settings."""
    spans = [step.span_mm for step in steps]
    risers = dict(zip(settings["run"], settings["riser_mm"], strict=True))
    return pd.DataFrame(
        {
            "step": np.arange(1, len(steps) + 1),
            "run": [step.run + 1 for step in steps],
            "how": [HOW[step.tool] for step in steps],
            "instrument": [step.requirements.instrument for step in steps],
            "edge": [step.requirements.name for step in steps],
            "elevation_deg": [float(step.elevation_deg[0]) for step in steps],
            "elevation_to_deg": [float(step.elevation_deg[-1]) for step in steps],
            "from_mm": [first for first, _ in spans],
            "to_mm": [last for _, last in spans],
            "roll_from_deg": [float(step.roll_deg[0]) for step in steps],
            "roll_to_deg": [float(step.roll_deg[-1]) for step in steps],
            "worst_error_deg": [step.error_deg for step in steps],
            "placements": [step.placements for step in steps],
            "rounds": [step.rounds for step in steps],
            "strokes": [step.strokes for step in steps],
            "riser_mm": [risers.get(step.run + 1, np.nan) for step in steps],
            "hollow_um": [step.hollow_um for step in steps],
            "rod_mm": [step.max_rod_mm if step.tool == Tool.ROD else np.nan for step in steps],
            "urgent": [step.requirements.urgent for step in steps],
        }
    )


def edges_table(
    needs: Sequence[EdgeRequirements],
    arrangement: Arrangement,
    planned: Sequence[EdgeRequirements],
) -> pd.DataFrame:
    """One row per edge of the tray."""
    runs = {
        need.key: len({p.run for p in arrangement.pieces if p.edge == at and p.run >= 0})
        for at, need in enumerate(planned)
    }
    none = np.array([np.nan, np.nan])
    low, high = np.array([n.common_deg[0] if len(n.groups) == 1 else none for n in needs]).T
    error = np.array([need.setting_error_deg for need in needs])
    return pd.DataFrame(
        {
            "instrument": [need.instrument for need in needs],
            "edge": [need.name for need in needs],
            "length_mm": [need.edge.length_mm for need in needs],
            "low_deg": low - error,
            "high_deg": high + error,
            "settings": [runs.get(need.key, 0) for need in needs],
            "settings_for_all": [need.min_settings for need in needs],
            "holder_mm": [need.length_mm(Tool.HOLDER) for need in needs],
            "hand_mm": [need.length_mm(Tool.HAND) for need in needs],
            "rod_mm": [need.length_mm(Tool.ROD) for need in needs],
            "urgent": [need.urgent for need in needs],
            "planned": [need.key in runs for need in needs],
        }
    )


def unserved_table(
    steps: Sequence[Step],
    left: Sequence[Step],
    late: Sequence[EdgeRequirements],
    minutes: float | None,
    tolerance_deg: float,
    holder: Holder,
) -> pd.DataFrame:
    """Stretches that the holder does not serve, and edges without time, each with what to do."""
    rows: list[tuple[object, ...]] = []
    for step in (*steps, *left):
        if not can_be_marked(step):
            where = (step.requirements.instrument, step.requirements.name, *step.span_mm)
            rows.append((*where, *TOO_SHORT))
        elif step.tool != Tool.HOLDER:
            why = _hollow(step) if step.tool == Tool.ROD else _by_hand(step, tolerance_deg)
            advice = (*_held_stone(step, holder, possible=step not in left), *why[1:])
            where = (step.requirements.instrument, step.requirements.name, *step.span_mm)
            rows.append((*where, why[0], ", or ".join(advice)))
    reason = f"no time within {minutes:g} minutes" if minutes else ""
    advice_late = "plan it first next time: name it in urgent"
    rows += [
        (need.instrument, need.name, 0.0, need.edge.length_mm, reason, advice_late) for need in late
    ]
    names = ["instrument", "edge", "from_mm", "to_mm", "reason", "advice"]
    return pd.DataFrame(rows, columns=names)


def _held_stone(step: Step, holder: Holder, *, possible: bool) -> tuple[str]:
    """How a stone in the hand serves a stretch, or that it cannot."""
    room = stone_room_mm(step, holder)
    if not possible:
        away = f"{max(math.floor(room), 0)} mm from the edge handle or shank is in the stone's way"
        return (f"cannot be ground at this bench: {away}; ask",)
    angle = step.requirements.held.stone_to_face_deg[step.stations].mean()
    above = (
        "" if math.isinf(room) else f", its end no more than {math.floor(room)} mm above the edge"
    )
    kind = f"a rod of {step.max_rod_mm:.1f} mm radius at most" if step.tool == Tool.ROD else "stone"
    return (f"{kind} in the hand, the blade held still: {angle:.0f}° to the face{above}",)


def _hollow(step: Step) -> tuple[str, ...]:
    reason = f"hollow by {step.hollow_um:.0f} µm: a flat stone does not reach it"
    return reason, "no rod at all: look first, a trace can show a hollow where the edge has none"


def _by_hand(step: Step, tolerance_deg: float) -> tuple[str, ...]:
    """Why a stretch is left to the hand, and what would spare it that."""
    need = step.requirements
    room, error = float(need.room_deg[step.stations].min()), need.setting_error_deg
    if room >= error - ROUNDING_DEG:
        windows = need.windows_deg[step.stations]
        if (windows[:, 0] > windows[:, 1]).all():
            return ("the holder cannot take its settings",)
        return (f"the whole edge needs {need.min_settings} settings",)
    reason = (
        f"the angle holds within ± {room:.2g}° of a setting, the holder only within ± {error:g}°"
    )
    # a window grows with the tolerance, and all but in proportion
    wanted = math.ceil(10 * tolerance_deg * error / max(room, 1e-9)) / 10
    if wanted < MAX_TOLERANCE_DEG:
        advice = f"plan with a tolerance of {wanted:g}° or more, or set the holder more exactly"
        return reason, advice
    return (reason,)


def practice_table(steps: Sequence[Step]) -> pd.DataFrame:
    """Seconds of each working end that common practice speaks of, the holder's set-up apart."""
    seconds = {name: factor.median for name, factor in factors().items()}
    rows = []
    for code in dict.fromkeys(step.requirements.instrument for step in steps):
        own = [step for step in steps if step.requirements.instrument == code]
        kind = own[0].requirements.blade.kind
        if kind in PRACTICE:
            planned = (
                sum(step.strokes for step in own) * seconds["stroke"]
                + len({step.requirements.name for step in own}) * seconds["check"]
                + len({step.run for step in own}) * seconds["mounting"]
            )
            practice, status = value(PRACTICE[kind]), Status.COMMON_PRACTICE.value
            rows.append((code, kind.value, planned, practice, status))
    names = ["instrument", "kind", "seconds", "practice_seconds", "status"]
    return pd.DataFrame(rows, columns=names)


def witness_table(arrangement: Arrangement, planned: Sequence[EdgeRequirements]) -> pd.DataFrame:
    """Windows of which no two share twice the holder's error, as many as the fewest settings."""
    needs = [planned[at] for at in arrangement.witness_edges]
    error = np.array([need.setting_error_deg for need in needs])
    return pd.DataFrame(
        {
            "instrument": [need.instrument for need in needs],
            "edge": [need.name for need in needs],
            "low_deg": arrangement.fewest.witness[:, 0] - error,
            "high_deg": arrangement.fewest.witness[:, 1] + error,
        }
    )
