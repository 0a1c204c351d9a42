"""Pictures of the clinic's side: the windows of a tray, one edge's readings, what is due, the year."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.clinic.bench.plan import BenchPlan
from edgekit.clinic.cost.budget import Budget
from edgekit.clinic.forecast.forecast import Forecast
from edgekit.clinic.log.history import history
from edgekit.errors import EdgekitError
from edgekit.figures import style
from edgekit.figures.words import describe

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["due", "readings", "replacements", "windows"]

ROW_IN = 0.27
"""Height of a row of names that can be read."""


def windows(plan: BenchPlan, ax: Axes | None = None) -> Axes:
    """The settings to choose from for every edge, and those that serve them.

    The holder's error is taken off the bars; thin lines show where it may stand.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"FH-01-UC": ek.patterns.universal_curette()})
    >>> ek.figures.windows(plan).get_xlabel()
    'handle to stone [°]'
    """
    held = plan.order[plan.order["how"] == "holder"].drop_duplicates(["instrument", "edge", "run"])
    if held.empty:
        raise EdgekitError("the plan has no step in the holder", len(plan.order), "Widen it.")
    groups = [
        (f"{a.instrument} {a.name}", a.key, low, high)
        for a in plan.asks
        for low, high in a.common_deg
        if a.key in set(zip(held["instrument"], held["edge"], strict=True))
    ]
    groups.sort(key=lambda item: (item[2] + item[3]) / 2, reverse=True)
    settings = plan.settings["elevation_deg"].to_numpy()
    with style.canvas(ax, (6.4, 1.3 + ROW_IN * len(groups))) as axes:
        for angle in settings:
            axes.axvline(angle, color=style.VERMILION, ls="--", lw=1.0, zorder=0)
        low, high = np.array([group[2:] for group in groups]).T
        rows = np.arange(len(groups))
        axes.hlines(rows, low, high, color=style.BLUE, lw=4)
        error = plan.setting_error_deg
        axes.hlines(rows, low - error, high + error, color=style.BLUE, lw=1)
        axes.plot([*low, *high], [*rows, *rows], color=style.BLUE, ls="none", marker="|", ms=9)
        inside = (settings >= low[:, None] - 1e-6) & (settings <= high[:, None] + 1e-6)
        served = inside.any(axis=1)
        axes.plot(
            settings[inside.argmax(axis=1)][served],
            rows[served],
            "o",
            ms=5,
            mfc="white",
            mec=style.BLACK,
        )
        axes.set_yticks(range(len(groups)), [name for name, *_ in groups])
        axes.set_xlabel("handle to stone [°]")
        axes.set_ylim(-0.7, len(groups) - 0.3)
        count = len(settings)
        style.title(
            axes,
            f"{count} setting{'s' * (count != 1)} (dashed) reach every bar; "
            f"{len(plan.witness)} of the bars have nothing in common, so fewer will not do",
        )
        describe(
            axes,
            kind="Bars of settings",
            shown="the settings each stretch of edge accepts (blue bars), where the holder may "
            f"then stand, ± {error:g}° off (thin lines), the settings chosen (dashed vermilion), "
            "the one that serves each bar (circles)",
            finding=f"{len(groups)} stretches are served by {count} settings, "
            + ", ".join(f"{angle:.1f}°" for angle in settings)
            + f"; {len(plan.witness)} bars are disjoint.",
        )
    return axes


def readings(result: Forecast, instrument: str, edge: str, ax: Axes | None = None) -> Axes:
    """The widths read on one edge against its sessions, the line of the forecast and the limit.

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
    table = result.table
    mine = table[(table["instrument"] == instrument) & (table["edge"] == edge)]
    if mine.empty:
        raise EdgekitError("the forecast has no such edge", (instrument, edge), "See its table.")
    row = mine.iloc[0]
    past = history(result.log)
    at = past.edges.index[(past.edges["instrument"] == instrument) & (past.edges["edge"] == edge)]
    own = past.reading_edge == at[0]
    x, y = past.reading_sessions[own], past.reading_um[own] / 1e3
    now, width, limit = float(row["sessions"]), float(row["width_mm"]), float(row["limit_mm"])
    left = [float(row[f"sessions_left{end}"]) for end in ("_low", "", "_high")]
    reach = max(now + min(max(left[2] if np.isfinite(left[2]) else 3 * left[1], 3.0), 30.0), 6.0)
    steps = np.array([0.0, reach])
    loss = float(row["loss_um_per_session"]) / 1e3
    with style.canvas(ax) as axes:
        axes.plot(steps, width - (steps - now) * loss, color=style.BLUE)
        axes.plot(x, y, "o", color=style.BLACK, mfc="white")
        axes.axhline(limit, color=style.VERMILION, ls="--")
        axes.axvline(now, color=style.GREY, ls=":")
        in_use = row["status"] == "in use"
        if in_use:
            high = left[2] if np.isfinite(left[2]) else reach - now
            axes.plot(
                [now + left[0], now + high],
                [limit, limit],
                color=style.BLACK,
                lw=4,
                solid_capstyle="butt",
            )
            axes.plot([now + left[1]], [limit], "o", color=style.BLACK, ms=7)
        axes.set_xlim(-0.5, reach + 0.5)
        axes.set_xlabel("sessions")
        axes.set_ylabel("width [mm]")
        axes.annotate(
            "limit",
            (0, limit),
            (0, -4),
            textcoords="offset points",
            va="top",
            color=style.VERMILION,
        )
        axes.annotate(
            "today",
            (now, axes.get_ylim()[1]),
            (3, -2),
            textcoords="offset points",
            va="top",
            color=style.GREY,
        )
        said = (
            f"{left[1]:.0f} sessions left, {left[0]:.0f} to {_count(left[2])} "
            f"({100 * result.level:g} % prediction interval)"
            if in_use
            else f"{row['status']}"
        )
        style.title(axes, f"{instrument} {edge}: {said}")
        describe(
            axes,
            kind="Width against sessions",
            shown=f"{len(x)} readings (circles), the line of the forecast (blue), the retirement width "
            "(dashed), the interval in which the line meets it (black bar)",
            finding=f"{instrument} {edge} loses {1e3 * loss:.1f} µm a session; {said}.",
        )
    return axes


def _count(number: float) -> str:
    return f"{number:.0f}" if np.isfinite(number) else "no upper bound"


def due(result: Forecast, ax: Axes | None = None, *, most: int = 14) -> Axes:
    """The edges in use that reach their limit first, with the interval of each.

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
    live = result.table[result.table["status"] == "in use"]
    first = live.sort_values("sessions_left", kind="stable").head(most).iloc[::-1]
    if first.empty:
        raise EdgekitError(
            "no edge of the log is in use",
            len(result.table),
            "Check the retired and broken events.",
        )
    names = [f"{row.instrument} {row.edge}" for row in first.itertuples()]
    low, middle = first["sessions_left_low"].to_numpy(), first["sessions_left"].to_numpy()
    high = first["sessions_left_high"].to_numpy()
    shown = np.where(np.isfinite(high), high, np.nanmax(np.append(middle, 1)) * 2)
    with style.canvas(ax, (6.4, 1.3 + ROW_IN * len(names))) as axes:
        axes.hlines(range(len(names)), low, shown, color=style.BLUE, lw=2.5)
        axes.plot(middle, range(len(names)), "o", color=style.BLACK)
        axes.set_yticks(range(len(names)), names)
        axes.set_ylim(-0.7, len(names) - 0.3)
        axes.set_xlim(left=min(-0.2, float(low.min()) - 0.2))
        axes.set_xlabel("sessions left")
        sure = int((high < 3).sum())
        style.title(
            axes,
            f"The first {len(names)} edges to reach their limit: {sure} within 3 sessions "
            f"({100 * result.level:g} % prediction interval)",
        )
        describe(
            axes,
            kind="Bars of intervals",
            shown=f"sessions left of each edge (circle) with its {result.level:.0%} interval (bar)",
            finding=f"{names[-1]} comes first with {middle[-1]:.1f} sessions left "
            f"({low[-1]:.1f} to {_count(high[-1])}).",
        )
    return axes


def replacements(plan: Budget, ax: Axes | None = None) -> Axes:
    """Replacements of each month with their intervals."""
    months = plan.months
    labels = [f"{month:%b %y}" for month in months["month"]]
    middle = months["replacements"].to_numpy(dtype=float)
    low = months["replacements_low"].to_numpy(dtype=float)
    high = months["replacements_high"].to_numpy(dtype=float)
    with style.canvas(ax) as axes:
        at = np.arange(len(labels))
        axes.bar(at, middle, color=style.SKY, edgecolor=style.BLACK, width=0.7)
        axes.vlines(at, low, high, color=style.BLACK)
        axes.plot(at, low, "_", at, high, "_", color=style.BLACK, ms=8)
        axes.set_xticks(at, labels, rotation=45, ha="right")
        axes.set_ylabel("instruments to replace [count]")
        total = plan.total
        style.title(
            axes,
            f"{total['replacements']:.0f} instruments in {len(labels)} months "
            f"({total['replacements_low']:.0f} to {total['replacements_high']:.0f})",
        )
        describe(
            axes,
            kind="Bar chart of months",
            shown="expected replacements (bars) and their intervals (lines)",
            finding=f"{total['replacements']:.0f} replacements in all, "
            f"{total['cost']:.0f} {plan.currency}.",
        )
    return axes
