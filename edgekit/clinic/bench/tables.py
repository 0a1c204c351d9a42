"""The tables of a bench plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from edgekit.clinic.bench.requirements import ROUNDING_DEG, EdgeRequirements, Tool
from edgekit.clinic.bench.runs import Arrangement
from edgekit.clinic.bench.steps import Step
from edgekit.contact.holder import Holder

if TYPE_CHECKING:
    from collections.abc import Set as AbstractSet

__all__ = ["edges_table", "order_table", "settings_table", "unserved_table", "witness_table"]

MAX_TOLERANCE_DEG = 10.0
"""Nobody is told to plan with a tolerance beyond this."""
HOW = {Tool.HOLDER: "holder", Tool.HAND: "by hand", Tool.ROD: "rod"}


def settings_table(
    found: Arrangement, stand: Holder | None, setting_error_deg: float
) -> pd.DataFrame:
    """A row a set-up of the holder."""
    room = np.abs(found.windows_deg - found.settings_deg[:, None]).min(axis=1)
    runs = np.array([p.run for p in found.pieces if p.run >= 0], dtype=np.int64)
    edges = [len({p.edge for p in found.pieces if p.run == run}) for run in np.unique(runs)]
    return pd.DataFrame(
        {
            "run": np.arange(1, len(found.settings_deg) + 1),
            "elevation_deg": found.settings_deg,
            "within_deg": room + setting_error_deg,
            "low_deg": found.windows_deg[:, 0] - setting_error_deg,
            "high_deg": found.windows_deg[:, 1] + setting_error_deg,
            "riser_mm": np.array([_riser_mm(stand, float(e)) for e in found.settings_deg], float),
            "edges": np.array(edges, dtype=np.int64),
        }
    )


def _riser_mm(stand: Holder | None, elevation_deg: float) -> float:
    return np.nan if stand is None else stand.fit(elevation_deg=elevation_deg).riser_mm


def order_table(
    steps: Sequence[Step], stand: Holder | None, urgent: AbstractSet[tuple[str, str]]
) -> pd.DataFrame:
    """A row a step."""
    rows = []
    for number, step in enumerate(steps, start=1):
        first, last = step.span_mm
        held, rod = step.served == Tool.HOLDER, step.served == Tool.ROD
        rods = step.ask.held.max_rod_mm[step.stations]
        rows.append(
            {
                "step": number,
                "run": step.run + 1,
                "how": HOW[step.served],
                "instrument": step.ask.instrument,
                "edge": step.ask.name,
                "elevation_deg": float(step.elevation_deg[0]),
                "elevation_to_deg": float(step.elevation_deg[-1]),
                "from_mm": first,
                "to_mm": last,
                "roll_from_deg": float(step.roll_deg[0]),
                "roll_to_deg": float(step.roll_deg[-1]),
                "worst_error_deg": step.error_deg,
                "placements": step.placements,
                "rounds": step.rounds,
                "strokes": step.strokes,
                "riser_mm": _riser_mm(stand, float(step.elevation_deg[0])) if held else np.nan,
                "hollow_um": float(step.ask.hollow_um[step.stations].max()),
                "rod_mm": float(rods.min()) if rod else np.nan,
                "urgent": step.ask.key in urgent,
            }
        )
    names = [
        "step",
        "run",
        "how",
        "instrument",
        "edge",
        "elevation_deg",
        "elevation_to_deg",
        "from_mm",
        "to_mm",
        "roll_from_deg",
        "roll_to_deg",
        "worst_error_deg",
        "placements",
        "rounds",
        "strokes",
        "riser_mm",
        "hollow_um",
        "rod_mm",
        "urgent",
    ]
    return pd.DataFrame(rows, columns=names)


def edges_table(
    asks: Sequence[EdgeRequirements],
    found: Arrangement,
    planned: Sequence[EdgeRequirements],
    urgent: AbstractSet[tuple[str, str]],
) -> pd.DataFrame:
    """A row an edge of the tray."""
    runs = {
        a.key: len({p.run for p in found.pieces if p.edge == at and p.run >= 0})
        for at, a in enumerate(planned)
    }
    rows = [
        {
            "instrument": a.instrument,
            "edge": a.name,
            "length_mm": a.edge.length_mm,
            "low_deg": a.window_deg[0] - a.setting_error_deg if a.window_deg else np.nan,
            "high_deg": a.window_deg[1] + a.setting_error_deg if a.window_deg else np.nan,
            "settings": runs.get(a.key, 0),
            "settings_for_all": a.whole,
            "holder_mm": a.length_mm(Tool.HOLDER),
            "hand_mm": a.length_mm(Tool.HAND),
            "rod_mm": a.length_mm(Tool.ROD),
            "urgent": a.key in urgent,
            "planned": a.key in runs,
        }
        for a in asks
    ]
    return pd.DataFrame(rows)


def unserved_table(
    steps: Sequence[Step],
    late: Sequence[EdgeRequirements],
    minutes: float | None,
    tolerance_deg: float,
) -> pd.DataFrame:
    """Stretches that the holder does not serve, and edges without time, each with what to do."""
    rows = []
    for step in steps:
        if step.served == Tool.HOLDER:
            continue
        first, last = step.span_mm
        rod = step.served == Tool.ROD
        reason, advice = _hollow(step) if rod else _by_hand(step, tolerance_deg)
        rows.append((step.ask.instrument, step.ask.name, first, last, reason, advice))
    rows += [
        (
            a.instrument,
            a.name,
            0.0,
            a.edge.length_mm,
            f"no time within {minutes:g} minutes",
            "plan it first next time: name it in urgent",
        )
        for a in late
    ]
    names = ["instrument", "edge", "from_mm", "to_mm", "reason", "advice"]
    return pd.DataFrame(rows, columns=names)


def _hollow(step: Step) -> tuple[str, str]:
    hollow = float(step.ask.hollow_um[step.stations].max())
    rod = float(step.ask.held.max_rod_mm[step.stations].min())
    advice = (
        "look first, a trace can show a hollow that is none; if it is there, a rod of "
        f"{rod:.1f} mm radius at most"
    )
    return f"hollow by {hollow:.0f} µm: a flat stone does not reach it", advice


def _by_hand(step: Step, tolerance_deg: float) -> tuple[str, str]:
    windows = step.ask.windows_deg[step.stations]
    low, high = float(step.elevation_deg.min()), float(step.elevation_deg.max())
    advice = f"by hand, handle {low:.0f}° to {high:.0f}° to the stone"
    room, error = float(step.ask.room_deg[step.stations].min()), step.ask.setting_error_deg
    if room >= error - ROUNDING_DEG:
        outside = bool((windows[:, 0] > windows[:, 1]).all())
        settings = f"the whole edge needs {step.ask.whole} settings"
        return "the holder cannot take its settings" if outside else settings, advice
    reason = (
        f"the angle holds within ± {room:.2g}° of a setting, the holder only within ± {error:g}°"
    )
    # a window grows with the tolerance, and all but in proportion
    wanted = math.ceil(10 * tolerance_deg * error / max(room, 1e-9)) / 10
    if wanted < MAX_TOLERANCE_DEG:
        advice += (
            f", or plan with a tolerance of {wanted:g}° or more, or set the holder more exactly"
        )
    return reason, advice


def witness_table(found: Arrangement, planned: Sequence[EdgeRequirements]) -> pd.DataFrame:
    """Windows of which no two share twice the holder's error, as many as the fewest settings."""
    error = np.array([planned[at].setting_error_deg for at in found.witness_edges])
    mine = [planned[at] for at in found.witness_edges]
    return pd.DataFrame(
        {
            "instrument": [a.instrument for a in mine],
            "edge": [a.name for a in mine],
            "low_deg": found.fewest.witness[:, 0] - error,
            "high_deg": found.fewest.witness[:, 1] + error,
        }
    )
