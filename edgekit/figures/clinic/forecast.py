"""Pictures for a clinic: the windows of a tray, one edge's readings, what is due, the year."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.cost.budget import Budget
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.clinic.log.history import history
from edgekit.errors import BadArgument, Cannot
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.units import UM_PER_MM

__all__ = ["due", "readings", "replacements", "windows"]

ROW_IN = 0.27  # height of a row of names that can be read
ROW_LETTERS = 40  # one line, up to which names are not broken
MAX_ROWS = 200  # edges in one picture; more would be a page too high to look at
MAX_SHOWN = 30  # sessions to come that are drawn


def windows(plan: BenchPlan, ax: Axes | None = None) -> Axes:
    """The settings to choose from for every edge, and those that serve them.

    The holder's error is taken off the bars; thin lines show where it may stand.

    Parameters
    ----------
    plan : BenchPlan
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        Not a bench plan.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"FH-01-UC": ek.patterns.universal_curette()})
    >>> ek.figures.windows(plan).get_xlabel()
    'handle to stone [°]'
    """
    checks.instance("plan", plan, BenchPlan, "Take the result of ek.plan_bench.")
    bars = _bars(plan)
    names = [style.brief(name, ROW_LETTERS) for name, *_ in bars]
    low, high = np.array([ends for _, *ends in bars]).T
    rows = np.arange(len(bars))
    settings = plan.settings["elevation_deg"].to_numpy()
    inside = (settings >= low[:, None] - 1e-6) & (settings <= high[:, None] + 1e-6)
    served = inside.any(axis=1)
    serving = settings[inside.argmax(axis=1)]
    with style.canvas(ax, (6.4, 1.3 + ROW_IN * len(bars))) as axes:
        for angle in settings:
            axes.axvline(angle, color=style.VERMILION, ls="--", lw=1.0, zorder=0)
        error = plan.setting_error_deg
        axes.hlines(rows, low - error, high + error, color=style.BLUE, lw=1)
        axes.hlines(rows, low, high, color=style.BLUE, lw=4)
        axes.plot([*low, *high], [*rows, *rows], color=style.BLUE, ls="none", marker="|", ms=9)
        circles: style.Look = {"ms": 5, "mfc": "white", "mec": style.BLACK}
        axes.plot(serving[served], rows[served], "o", **circles)
        style.rows(axes, names, ROW_LETTERS)
        axes.set_xlabel("handle to stone [°]")
        count = len(settings)
        describe(
            axes,
            title=f"{count} setting{'s' * (count != 1)} (dashed) reach every bar; "
            f"{len(plan.witness)} of the bars have nothing in common, so fewer will not do",
            kind="Bars of settings",
            shown="the settings each stretch of edge accepts (blue bars), where the holder may "
            f"then stand, ± {error:g}° off (thin lines), the settings chosen (dashed vermilion), "
            "the one that serves each bar (circles)",
            finding=f"{len(bars)} stretches are served by {count} settings, "
            + ", ".join(f"{angle:.1f}°" for angle in settings)
            + f"; {len(plan.witness)} bars are disjoint.",
        )
    return axes


def _bars(plan: BenchPlan) -> list[tuple[str, float, float]]:
    """Name and window of every stretch that is ground in the holder, the lowest window first."""
    order = plan.order[plan.order["how"] == "holder"]
    if order.empty:
        raise Cannot("the plan has no step in the holder", len(plan.order), "Widen it.")
    held = set(zip(order["instrument"], order["edge"], strict=True))
    bars = [
        (f"{a.instrument} {a.name}", low, high)
        for a in plan.requirements
        if a.key in held
        for low, high in a.common_deg
    ]
    return sorted(bars, key=lambda bar: bar[1] + bar[2])


def readings(result: Forecast, instrument: str, edge: str, ax: Axes | None = None) -> Axes:
    """The widths read on one edge against its sessions, the line of the forecast and the limit.

    Parameters
    ----------
    result : Forecast
    instrument, edge : str
        As the forecast's table names them.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not a forecast, or it has no such edge.

    Examples
    --------
    >>> import pandas as pd
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "date": ["2025-01-06", "2025-02-03", "2025-02-03"],
    ...     "event": ["measured", "sharpened", "measured"], "width_mm": [0.860, None, 0.852]}))
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    >>> ek.figures.readings(result, "A", "left").get_xlabel()
    'sessions'
    """
    row, sessions, width_mm = _edge_of(result, instrument, edge)
    now, width, limit = float(row["sessions"]), float(row["width_mm"]), float(row["limit_mm"])
    low, middle, high = (float(row[f"sessions_left{end}"]) for end in ("_low", "", "_high"))
    bounded = bool(np.isfinite(high))
    ahead = min(max(high if bounded else 3 * middle, 3.0), MAX_SHOWN)
    steps = np.array([0.0, max(now + ahead, 6.0)])
    loss = float(row["loss_um_per_session"]) / UM_PER_MM
    with style.canvas(ax) as axes:
        axes.plot(steps, width - (steps - now) * loss, color=style.BLUE)
        axes.plot(sessions, width_mm, "o", color=style.BLACK, mfc="white")
        axes.axhline(limit, color=style.VERMILION, ls="--")
        axes.axvline(now, color=style.GREY, ls=":")
        state = str(row["status"])
        if state == "in use":
            ends = [now + low, now + high if bounded else steps[1]]
            axes.plot(ends, [limit] * 2, color=style.BLACK, lw=4, solid_capstyle="butt")
            axes.plot([now + middle], [limit], "o", color=style.BLACK, ms=7)
            span = f"{low:.0f} to {_count(high)}, {_level(result)}"
            state = f"{middle:.0f} sessions left ({span})"
        axes.set_xlim(-0.5, steps[1] + 0.5)
        style.labels(axes, "sessions", "width [mm]")
        style.note(axes, "limit", (0, limit), (0, -4), va="top", color=style.VERMILION)
        top = axes.get_ylim()[1]
        style.note(axes, "today", (now, top), (3, -2), va="top", color=style.GREY)
        describe(
            axes,
            title=f"{instrument} {edge}: {state}",
            kind="Width against sessions",
            shown=f"{len(sessions)} readings (circles), the line of the forecast (blue), the "
            "retirement width (dashed), the interval in which the line meets it (black bar)",
            finding=f"{instrument} {edge} loses {loss * UM_PER_MM:.1f} µm per session; {state}.",
        )
    return axes


def _edge_of(
    result: Forecast, instrument: str, edge: str
) -> tuple[pd.Series[Any], FloatArray, FloatArray]:
    """An edge's row of the forecast, and the sessions and widths [mm] of its readings."""
    checks.instance("result", result, Forecast, "Take the result of ek.forecast.")
    table, past = result.table, history(result.log)
    for name, given in (("instrument", instrument), ("edge", edge)):
        checks.instance(name, given, str, "Give it as the forecast's table does.")
    rows = table[(table["instrument"] == instrument) & (table["edge"] == edge)]
    if rows.empty:
        raise BadArgument("the forecast has no such edge", (instrument, edge), "See its table.")
    at = past.edges.index[(past.edges["instrument"] == instrument) & (past.edges["edge"] == edge)]
    own = past.reading_edge == at[0]
    return rows.iloc[0], past.reading_sessions[own], past.reading_um[own] / UM_PER_MM


def _level(result: Forecast) -> str:
    return f"{100 * result.level:.0f} % prediction interval"


def _count(number: float) -> str:
    return f"{number:.0f}" if np.isfinite(number) else "no upper bound"


def due(result: Forecast, ax: Axes | None = None, *, max_edges: int = 14) -> Axes:
    """The edges in use that reach their limit first, `max_edges` of them, each with its interval.

    Parameters
    ----------
    result : Forecast
    ax : Axes, optional
    max_edges : int
        How many edges are shown, the most urgent first.

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        Not a forecast; fewer than one edge.

    Examples
    --------
    >>> import pandas as pd
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "date": ["2025-01-06", "2025-02-03", "2025-02-03"],
    ...     "event": ["measured", "sharpened", "measured"], "width_mm": [0.860, None, 0.852]}))
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    >>> ek.figures.due(result).get_xlabel()
    'sessions left'
    """
    checks.instance("result", result, Forecast, "Take the result of ek.forecast.")
    edges = checks.count("max_edges", max_edges, most=MAX_ROWS)
    in_use = result.table[result.table["status"] == "in use"]
    first = in_use.sort_values(["sessions_left", "sessions_left_high"]).head(edges)
    if first.empty:
        remedy = "Check the retired and broken events."
        raise Cannot("no edge of the log is in use", len(result.table), remedy)
    named = (f"{row.instrument} {row.edge}" for row in first.itertuples())
    names = [style.brief(name, ROW_LETTERS) for name in named]
    rows = range(len(names))
    low, middle = first["sessions_left_low"].to_numpy(), first["sessions_left"].to_numpy()
    high = first["sessions_left_high"].to_numpy()
    shown = np.where(np.isfinite(high), high, np.nanmax(np.append(middle, 1)) * 2)
    level = _level(result)
    with style.canvas(ax, (6.4, 1.3 + ROW_IN * len(names))) as axes:
        axes.hlines(rows, low, shown, color=style.BLUE, lw=2.5)
        axes.plot(middle, rows, "o", color=style.BLACK)
        style.rows(axes, names, ROW_LETTERS)
        axes.set_xlim(left=min(-0.2, float(low.min()) - 0.2))
        axes.set_xlabel("sessions left")
        describe(
            axes,
            title=f"The first {len(names)} edges to reach their limit: {int((high < 3).sum())} "
            f"within 3 sessions ({level})",
            kind="Bars of intervals",
            shown=f"sessions left of each edge (circle) with its {level} (bar)",
            finding=f"{names[0]} comes first with {middle[0]:.1f} sessions left "
            f"({low[0]:.1f} to {_count(high[0])}).",
        )
    return axes


def replacements(plan: Budget, ax: Axes | None = None) -> Axes:
    """Replacements of each month with their intervals.

    Parameters
    ----------
    plan : Budget
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        Not a budget.

    Examples
    --------
    >>> import pandas as pd, edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "date": ["2025-01-06", "2025-02-03", "2025-02-03"],
    ...     "event": ["measured", "sharpened", "measured"], "width_mm": [0.860, None, 0.852]}))
    >>> prices = ek.read_prices(pd.DataFrame({
    ...     "item": ["instrument", "session"], "name": "", "price": [40.0, 0.1],
    ...     "currency": "EUR"}))
    >>> plan = ek.budget(ek.forecast(log, retire=ek.MaxWidthLoss()), prices=prices)
    >>> ek.figures.replacements(plan).get_ylabel()
    'instruments to replace [count]'
    """
    checks.instance("plan", plan, Budget, "Take the result of ek.budget.")
    months, total = plan.months, plan.total
    low, middle, high = (
        months[f"replacements{end}"].to_numpy(dtype=float) for end in ("_low", "", "_high")
    )
    at = np.arange(len(months))
    with style.canvas(ax) as axes:
        axes.bar(at, middle, color=style.SKY, edgecolor=style.BLACK, width=0.7)
        axes.vlines(at, low, high, color=style.BLACK)
        axes.plot(at, low, "_", at, high, "_", color=style.BLACK, ms=8)
        labels = [f"{month:%b %Y}" for month in months["month"]]
        axes.set_xticks(at, labels, rotation=45, ha="right")
        axes.set_ylabel("instruments to replace [count]")
        describe(
            axes,
            title=f"{total['replacements']:.0f} instruments in {len(months)} months "
            f"({total['replacements_low']:.0f} to {total['replacements_high']:.0f})",
            kind="Bar chart of months",
            shown="expected replacements (bars) and their intervals (lines)",
            finding=f"{total['replacements']:.0f} replacements in all, "
            f"{total['cost']:.0f} {plan.currency}.",
        )
    return axes
