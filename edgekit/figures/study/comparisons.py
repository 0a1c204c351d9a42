"""Pictures of methods compared: what each loses, and by how much they differ."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.words import describe, quantity
from edgekit.study.compare import Comparison
from edgekit.units import LEVEL_Z

__all__ = ["comparison", "differences"]

INTERVALS = "thin: p10 to p90 of the lives; thick and ±: 90 % interval of the mean"
IGNORANCE = "dashed: the mean with other constants"


def comparison(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Width lost per session by each method: mean, its Monte-Carlo error, and the spread of lives.

    Thin line: from p10 to p90 of the lives. Thick line: 90 % interval of the mean, 1.64
    Monte-Carlo standard errors either way. Dashed, where constants were drawn: the mean's interval
    at the comparison's level for want of measured constants. Sorted, the least loss on top.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `comparison` is not a `Comparison`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.compare(ek.patterns.universal_curette(),
    ...                     [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> ek.figures.comparison(result).get_xlabel().splitlines()[0]
    'width lost per session, mean along the sides [µm]'
    """
    checks.instance("comparison", comparison, Comparison, "Take the result of ek.compare.")
    column = "loss_um_per_session"
    table = comparison.table.reset_index(drop=True).sort_values(column, kind="stable")
    findings = []
    with style.canvas(ax, _size(len(table))) as axes:
        for row, (number, name, mean, error) in enumerate(
            zip(table.index, table["method"], table[column], table[f"{column}_mc"], strict=True)
        ):
            lives = comparison.runs.loc[comparison.runs["number"] == number, column]
            drawn = _draw_loss(axes, row, lives.to_numpy(), mean, error)
            ends = table.loc[number, [f"{column}_ignorance_low", f"{column}_ignorance_high"]]
            findings.append(f"{name}: {drawn}{_draw_ignorance(axes, row, *ends)}")
        _rows(axes, table["method"])
        axes.set_xlim(left=0.0)
        style.labels(axes, f"{quantity(column)}\n{INTERVALS}{_known(comparison)}")
        describe(
            axes,
            title=f"Least width lost: {table['method'].iloc[0]}; most: {table['method'].iloc[-1]}",
            kind="Chart of intervals, one row per method",
            shown="mean (white dot), 90 % interval of the mean from the number of lives run (thick "
            "blue), p10 to p90 of the lives (thin black), interval of the mean between draws of "
            "constants that nobody measured (dashed red, where drawn)",
            finding=" ".join(findings),
        )
    return axes


def _draw_loss(ax: Axes, row: int, lives: FloatArray, mean: float, error: float) -> str:
    """Mean, its interval and p10 to p90 of the lives in a row; the same in words."""
    low, high = np.percentile(lives, [10, 90])
    half = LEVEL_Z * error
    thick: style.Look = {"lw": 7, "solid_capstyle": "butt", "alpha": 0.75}
    ax.plot([low, high], [row, row], color=style.BLACK, lw=1.1, marker="|", ms=7)
    ax.plot([mean - half, mean + half], [row, row], color=style.BLUE, **thick)
    ax.plot(mean, row, "o", color="white", mec=style.BLACK, ms=5.5)
    style.note(ax, f"{mean:.1f} ± {half:.1f}", (mean, row), (-4, 8), ha="left")
    return f"{mean:.1f} ± {half:.1f} µm per session, lives p10 {low:.1f} to p90 {high:.1f}."


def differences(
    comparison: Comparison,
    *,
    column: str = "loss_um_per_session",
    base: int = 0,
    ax: Axes | None = None,
) -> Axes:
    """Paired differences of the methods from one of them, against zero.

    A filled dot: the 90 % interval leaves zero out. A hollow one: it does not, so these lives
    cannot tell the two apart. Dashed, where constants were drawn: the interval of the mean
    difference for want of measured constants.

    Parameters
    ----------
    comparison : Comparison
    column : str
        A column of ``comparison.runs``.
    base : int
        Number of the method the others are measured from.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not a `Comparison`; `column` or `base` is none of its own.

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.compare(ek.patterns.universal_curette(),
    ...                     [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> bool(ek.figures.differences(result).yaxis_inverted())  # the first row is on top
    True
    """
    checks.instance("comparison", comparison, Comparison, "Take the result of ek.compare.")
    checks.instance("column", column, str, "Give the name of a column of comparison.runs.")
    table = comparison.differences(column, base)
    against = comparison.methods[base].name
    table = table.drop(index=base).sort_values("difference", kind="stable")
    if not len(table):
        raise BadArgument("one method has no difference", against, "Compare two methods or more.")
    findings = []
    clear = int(((table["low"] > 0) | (table["high"] < 0)).sum())
    with style.canvas(ax, _size(len(table))) as axes:
        axes.axvline(0.0, color=style.BLACK, lw=1.0, ls=":")
        columns = ["method", "difference", "low", "high", "ignorance_low", "ignorance_high"]
        for row, (name, mean, low, high, *ends) in enumerate(
            table[columns].itertuples(index=False, name=None)
        ):
            drawn = _draw_difference(axes, row, mean, low, high)
            findings.append(f"{name}: {drawn}.{_draw_ignorance(axes, row, *ends)}")
        _rows(axes, table["method"])
        low, high = axes.get_xlim()
        spare = 0.2 * (high - low)  # room for the numbers beside the outermost dots
        axes.set_xlim(low - spare, high + spare)
        style.labels(axes, f"difference: {quantity(column)}{_known(comparison)}")
        describe(
            axes,
            title=f"Against {against}: {clear} of {len(table)} methods differ (90 % interval clear "
            "of zero)",
            kind="Chart of paired differences, one row per method",
            shown=f"difference from {against} (dot, hollow where zero is inside) with its 90 % "
            "interval; dotted line at zero; dashed red, where drawn, the interval of the mean "
            "difference between draws of constants that nobody measured",
            finding=f"Against {against}: " + " ".join(findings),
        )
    return axes


def _draw_difference(ax: Axes, row: int, mean: float, low: float, high: float) -> str:
    """A difference and its interval in a row, hollow where zero is inside; the same in words."""
    text = f"{style.signed(mean)} ({style.signed(low)} to {style.signed(high)})"
    fill = style.BLUE if low > 0 or high < 0 else "white"
    ends: style.Look = {"marker": "|", "ms": 9, "mew": 1.6, "solid_capstyle": "butt"}
    ax.plot([low, high], [row, row], color=style.BLUE, lw=2.2, **ends)
    ax.plot(mean, row, "o", ms=6.5, mec=style.BLACK, color=fill)
    style.note(ax, text, (mean, row), (0, 8), patch=1.0, ha="center")
    return text


def _known(comparison: Comparison) -> str:
    return f"\n{IGNORANCE}" if len(comparison.draws) else ""


def _draw_ignorance(ax: Axes, row: int, low: float, high: float) -> str:
    """Interval of a mean between draws of unknown constants, under its row; the same in words."""
    if np.isnan(low):
        return ""
    under = row + 0.22
    ax.plot([low, high], [under, under], color=style.VERMILION, ls="--", lw=1.4, marker="|", ms=7)
    return f" With other constants the mean lies between {low:.1f} and {high:.1f}."


def _size(count: int) -> tuple[float, float]:
    return style.SIZE_IN[0], max(1.5 + 0.6 * count, 2.4)


def _rows(ax: Axes, names: Iterable[str]) -> None:
    style.rows(ax, names)
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", lw=0.4, color="#CCCCCC")
    ax.set_axisbelow(True)
