"""Pictures of sweeps: means over a swept field, and single lives as dots."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument, Cannot
from edgekit.figures import style
from edgekit.figures.study.comparisons import INTERVALS
from edgekit.figures.words import capital, describe, quantity, quantity_name
from edgekit.study.outcomes import standard_error
from edgekit.study.sweep import RunStatus
from edgekit.units import LEVEL_Z

__all__ = ["life_dots", "sweep"]

STACKS = 80  # along the axis, of dots that stand on one another


def sweep(
    table: pd.DataFrame,
    *,
    x: str,
    y: str = "loss_um_per_session",
    by: str | None = None,
    against: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """A quantity over a swept field: means, with the 90 % interval of each mean as a band.

    Parameters
    ----------
    table : DataFrame
        Of `edgekit.sweep`, one row per life or a summary.
    x, y : str
        The field along the axis, and the quantity.
    by : str, optional
        Another field, one line per value; five at most.
    against : float, optional
        A value of `x`. What is drawn is then the difference from it, life by life: run i is the
        same instrument and hand in every row, so differences are known better than levels.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not the table of a sweep with these columns, or every row of it failed.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> table = ek.sweep(task, ek.full_grid({"method.stroke.placements": [2, 6]}), runs=5, seed=1,
    ...                  progress=False)
    >>> ek.figures.sweep(table, x="method.stroke.placements").get_xlabel()
    'placements along one edge [count]'
    """
    done = _succeeded(table, x, y, "row", *([by] if by is not None else []))
    _check_lines(done, x, y, by, against)
    values = [None] if by is None else list(dict.fromkeys(done[by]))
    labels, findings = [], []
    with style.canvas(ax) as axes:
        for value, look in zip(values, style.SERIES, strict=False):
            part = done if by is None else done[done[by] == value]
            last, words = _draw_line(axes, _means(part, x, y, against), look)
            labels.append((last, style.shorten(_shown(value), 18), look[0]))
            findings.append(words if by is None else f"{_shown(value)}: {words}")
        difference = "" if against is None else "difference: "
        style.labels(axes, quantity(x), f"{difference}{quantity(y)}")
        if (np.asarray(done[x]) % 1 == 0).all():
            axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        if against is None:
            axes.set_ylim(bottom=0.0)
        else:
            axes.axhline(0.0, color=style.BLACK, lw=1.0, ls=":")
        if by is not None:
            style.end_labels(axes, labels)
        lines = "" if by is None else f"; lines: {quantity(by)}"
        base = "" if against is None else f", less what it is at {against:g}"
        describe(
            axes,
            title=f"{capital(quantity_name(y))}{base}, over {quantity_name(x)}{lines}",
            kind="Line chart of a sweep",
            shown=f"means with bands of their 90 % intervals{base}{lines}",
            finding=(f"By {quantity_name(by)}: " if by is not None else "") + " ".join(findings),
        )
    return axes


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _draw_line(
    ax: Axes, points: tuple[FloatArray, FloatArray, FloatArray], look: tuple[str, Any]
) -> tuple[float, str]:
    """Means with their band; the last of them, and in words both ends and the lowest point."""
    (at, mean, error), (colour, dashes) = points, look
    half = LEVEL_Z * error
    ax.fill_between(at, mean - half, mean + half, color=colour, alpha=0.2, lw=0)
    ax.plot(at, mean, color=colour, ls=dashes, marker="o", ms=3.5)
    digits = 1 if abs(mean).max() >= 5 else 2
    shown = [
        f"{mean[i]:.{digits}f} ± {half[i]:.{digits}f} at {at[i]:g}"
        for i in sorted({0, int(np.argmin(mean)), len(at) - 1})
    ]
    return float(mean[-1]), f"{', '.join(shown)}."


def _succeeded(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The rows of a sweep that did not fail, if the table has these columns."""
    checks.instance("table", table, pd.DataFrame, "Take the result of ek.sweep.")
    for name in (*columns, "status"):
        checks.instance("column", name, str, f"Choose from {[*table.columns]}.")
        if name not in table.columns:
            remedy = f"Choose from {[*table.columns]}."
            raise BadArgument("the sweep has no such column", name, remedy)
    done = table[table["status"] == RunStatus.OK.value]
    if not len(done):
        shown = table["status"].iloc[0] if len(table) else "no row"
        raise Cannot("every row of the sweep failed", shown, "Fix the cause shown.")
    return done


def _check_lines(done: pd.DataFrame, x: str, y: str, by: str | None, against: object) -> None:
    """Refuse what would not be one line per value of `by`, one point per value of `x`."""
    for name in (x, y):
        if done[name].dtype.kind not in "if":
            remedy = "Give objects and names to `by`."
            raise BadArgument("an axis needs a column of numbers", name, remedy)
    if against is not None:
        checks.finite("against", against)
        _check_partners(done, x, y, by, against)
    count = 1 if by is None else done[by].nunique(dropna=False)
    if count > len(style.SERIES):
        raise BadArgument(f"too many values of {by} to tell apart", count, "Draw 5 or fewer.")
    fields = [x] if by is None else [x, by]
    if done[[*fields, "row"]].drop_duplicates().duplicated(fields).any():
        raise BadArgument(
            "several rows of the grid would fall on one point",
            fields,
            "Name in `by` the field in which they differ, or give a part of the table.",
        )


def _check_partners(done: pd.DataFrame, x: str, y: str, by: str | None, against: object) -> None:
    """Refuse a table in which a life has no partner at the value `against`, or more than one."""
    if f"{y}_mc" in done or "run" not in done:
        remedy = "Sweep with summary=False."
        raise BadArgument("differences need one row per life", "a summary", remedy)
    if done.duplicated(["run", x, *([by] if by is not None else [])]).any():
        remedy = "Name it as by, or take a part."
        raise BadArgument(
            "another field varies as well, so lives have no partner", x, remedy, argument="x"
        )
    if against not in set(done[x]):
        remedy = f"Choose from {sorted(set(done[x]))}."
        raise BadArgument(f"{x} never has that value", against, remedy, argument="against")


def _means(
    part: pd.DataFrame, x: str, y: str, against: object
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values of x, mean of y there and its standard error, from samples or from a summary.

    With `against`, a value of x, those of the differences from it, run by run.
    """
    if f"{y}_mc" in part:
        ordered = part.sort_values(x)
        mean, error = ordered.set_index(x)[y], ordered[f"{y}_mc"]
    elif against is None:
        groups = part.groupby(x)[y]
        mean, error = groups.mean(), groups.sem()
    else:
        wide = part.pivot_table(index="run", columns=x, values=y)
        gaps = wide.sub(wide[against], axis=0)
        mean, error = gaps.mean(), gaps.sem()
    at = mean.index.to_numpy(dtype=float)
    return at, mean.to_numpy(dtype=float), error.to_numpy(dtype=float)


def life_dots(
    table: pd.DataFrame,
    *,
    y: str,
    by: str,
    axis_end: float = 0.0,
    ax: Axes | None = None,
) -> Axes:
    """Every life of a sweep as a dot, in rows by a field, with the spread and the mean's error.

    Parameters
    ----------
    table : DataFrame
        Of `edgekit.sweep`, one row per life.
    y : str
        The quantity along the axis.
    by : str
        The field of the rows.
    axis_end : float
        Upper end of the axis, so that several pictures compare; it goes further if lives do.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not the table of a sweep with these columns, or every row of it failed.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> table = ek.sweep(task, ek.full_grid({"use.strokes": [15.0, 60.0]}), runs=5, seed=1,
    ...                  progress=False)
    >>> ek.figures.life_dots(table, y="sessions", by="use.strokes").get_xlabel().splitlines()[0]
    'sessions until retired [count]'
    """
    done = _succeeded(table, y, by)
    if "run" not in done:
        remedy = "Sweep without summary."
        raise BadArgument("single lives need one row per life", "a summary", remedy)
    axis_end = checks.at_least("axis_end", axis_end, 0.0)
    parts = done.groupby(by)[y]
    names = [_shown(value) for value, _ in parts]
    groups = [np.sort(part.to_numpy(dtype=float)) for _, part in parts]
    end = max(axis_end, 1.02 * float(done[y].max())) or 1.0
    stacks = [_stack(np.round(lives / (end / STACKS))) for lives in groups]
    highest = max(float(stack.max()) for stack in stacks) or 1.0
    findings = []
    with style.canvas(ax, (6.4, 1.4 + 0.7 * len(groups))) as axes:
        for row, (name, lives, stack) in enumerate(zip(names, groups, stacks, strict=True)):
            heights = row - 0.04 - 0.6 * stack / highest
            axes.plot(lives, heights, "o", ms=2.5, color=style.GREY, mew=0)
            findings.append(f"{name}: {_draw_interval(axes, lives, row + 0.12)}")
        style.rows(axes, names)
        axes.set_xlim(0.0, end)
        dots = f"{quantity(y)}\ndot: a life; {INTERVALS}"
        style.labels(axes, dots, quantity(by).replace(" [", "\n["))
        fixed = _fixed(done, by)
        describe(
            axes,
            title="; ".join([f"{capital(quantity_name(y))}, life by life", *fixed]),
            kind="Dots in rows, one dot per life",
            shown="lives (grey dots), p10 to p90 of them (thin black), 90 % interval of the mean "
            "from the number of lives (thick blue), mean (white dot)",
            finding=capital("; ".join([*fixed, f"by {quantity_name(by)}: "])) + " ".join(findings),
        )
    return axes


def _draw_interval(ax: Axes, lives: FloatArray, height: float) -> str:
    """Mean of some lives, its 90 % interval and p10 to p90 at a height; the same in words."""
    low, high = np.percentile(lives, (10, 90))
    mean, half = lives.mean(), LEVEL_Z * standard_error(lives)
    ax.plot([low, high], [height] * 2, color=style.BLACK, lw=1.2)
    ax.plot([mean - half, mean + half], [height] * 2, color=style.BLUE, lw=5)
    ax.plot(mean, height, "o", color=style.BLACK, mfc="white", ms=4)
    style.note(ax, f"{mean:.0f} ± {half:.0f}", (mean, height), (0, -13), ha="center")
    return f"{mean:.0f} ± {half:.0f}, lives p10 {low:.0f} to p90 {high:.0f}."


def _stack(values: FloatArray) -> FloatArray:
    """How many equal values stand before each of these sorted ones."""
    _, first, group = np.unique(values, return_index=True, return_inverse=True)
    return np.asarray(np.arange(len(values)) - first[group], dtype=float)


def _fixed(table: pd.DataFrame, but: str) -> list[str]:
    """The swept fields that have one value throughout, in words."""
    fields = [name for name in map(str, table.columns) if "." in name and name != but]
    firsts = {name: table[name].iloc[0] for name in fields}
    return [
        f"{quantity_name(name)}: {first}"
        for name, first in firsts.items()
        if (table[name] == first).all()
    ]
