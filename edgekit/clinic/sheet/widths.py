"""Widths before grinding: what the log says a blade last measured, and where its limit lies."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from edgekit import checks
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.log.cells import Event
from edgekit.clinic.log.log import Log
from edgekit.life.retire import MaxWidthLoss, MinWidth
from edgekit.units import UM_PER_MM

CALIPER_MM = 0.01  # what a caliper shows: limits are rounded up to it


@dataclass(frozen=True, kw_only=True)
class BladeWidth:
    """A blade of the tray: its edges, its last width and limit as text, empty where unknown."""

    instrument: str
    edges: str
    last: str
    limit: str


def blade_widths(
    plan: BenchPlan, log: Log | None, retire: MaxWidthLoss | MinWidth
) -> tuple[BladeWidth, ...]:
    """One line for each blade that the plan grinds, in the order of work.

    A rule by its share of the first reading takes the edge whose limit is highest.

    Raises
    ------
    BadArgument
        Something else than a log or such a rule.
    """
    if log is not None:
        checks.instance("log", log, Log, "Read it first: log = ek.read_log(path).")
    rule = "Give MaxWidthLoss(fraction=0.2) or MinWidth(width_mm=0.7)."
    checks.instance("retire", retire, (MaxWidthLoss, MinWidth), rule)
    names: dict[str, dict[str, None]] = {}
    for step in plan.steps:
        names.setdefault(step.requirements.instrument, {})[step.requirements.name] = None
    found = []
    for code, edges in names.items():
        last, limit = ("", "") if log is None else _from_log(log, code, retire)
        found.append(BladeWidth(instrument=code, edges=" + ".join(edges), last=last, limit=limit))
    return tuple(found)


def _from_log(log: Log, code: str, retire: MaxWidthLoss | MinWidth) -> tuple[str, str]:
    """Last width with its date, and the limit, of an instrument in a log."""
    own = log.rows[log.rows["instrument"] == code]
    ended = own[own["event"].isin([Event.RETIRED, Event.BROKEN])]
    if len(ended):  # a new instrument may bear the code
        was = f"one was {ended['event'].iloc[-1]} {_day(ended['date'].iloc[-1])}"
        return f"{was}; □ this is its successor", ""
    read = own[own["width_mm"].notna()].sort_values(["date", "line"], kind="stable")
    if read.empty:
        return "", ""
    first = read.groupby("edge", sort=False)["width_mm"].first().to_numpy() * UM_PER_MM
    limit = math.ceil(float(retire.limit_um(first).max()) / UM_PER_MM / CALIPER_MM - 1e-6)
    row = read.iloc[-1]
    return f"{row['width_mm']:.2f} mm ({_day(row['date'])})", f"{CALIPER_MM * limit:.2f} mm"


def _day(date: object) -> str:
    return f"{pd.Timestamp(str(date)):%Y-%m-%d}"
