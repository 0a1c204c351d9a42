"""Pictures of what single inputs decide: swings of one at a time, shares of the variance."""

from __future__ import annotations

from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.words import capital, describe, quantity, quantity_name
from edgekit.study.sensitivity import Sensitivity, Tornado
from edgekit.units import LEVEL_Z

__all__ = ["sensitivity", "tornado"]

TITLE_LETTERS = 52  # beside wide names of rows a title has less room


def tornado(result: Tornado, *, y: str = "loss_um_per_session", ax: Axes | None = None) -> Axes:
    """What each input alone does to a quantity, the widest swing on top.

    Parameters
    ----------
    result : Tornado
    y : str
        Which output.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not a `Tornado`, or `y` is none of its outputs.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> result = ek.tornado(task, {"use.strokes": (15.0, 60.0)}, runs=4, seed=1, progress=False)
    >>> [label.get_text() for label in ek.figures.tornado(result).get_yticklabels()]
    ['strokes between sessions']
    """
    checks.instance("result", result, Tornado, "Take the result of ek.tornado.")
    table = _output(result.table, y)
    base = float(table["base"].iloc[0])
    findings = []
    row: Any
    with style.canvas(ax, (6.4, 1.6 + 0.42 * len(table))) as axes:
        for place, row in enumerate(table.itertuples()):
            ends = [(row.at_low, row.low_value), (row.at_high, row.high_value)]
            looks = ((style.SKY, ""), (style.VERMILION, "///"))
            for (end, _), (colour, hatch) in zip(ends, looks, strict=True):
                look: style.Look = {"color": colour, "hatch": hatch, "ec": style.BLACK, "lw": 0.8}
                axes.barh(place, end - base, left=base, height=0.55, **look)
            (left, at_left), (right, at_right) = sorted(ends)
            for end, value, offset, side in (
                (min(left, base), at_left, -4, "right"),
                (max(right, base), at_right, 4, "left"),
            ):
                style.note(axes, f"{value:.3g}", (end, place), (offset, 0), va="center", ha=side)
            findings.append(
                f"{row.name} from {row.low_value:.3g} to {row.high_value:.3g}: "
                f"{row.at_low:.1f} to {row.at_high:.1f} (± {LEVEL_Z * row.swing_mc:.1f})."
            )
        axes.axvline(base, color=style.BLACK, lw=1.0)
        style.rows(axes, table["name"], 30)
        axes.margins(x=0.12)
        ends_of = "plain: input at its low end; hatched: at its high end"
        style.labels(axes, f"{quantity(y)}\n{ends_of}")
        describe(
            axes,
            title=f"{capital(table['name'].iloc[0])} moves it most; line: all inputs at medians",
            letters=TITLE_LETTERS,
            kind="Chart of bars, one row per input, the widest on top",
            shown="output with one input at its low end (plain) and at its high end (hatched), "
            f"from the value with all at their medians, {base:.1f} (line)",
            finding=" ".join(findings),
        )
    return axes


def sensitivity(
    result: Sensitivity, *, y: str = "loss_um_per_session", ax: Axes | None = None
) -> Axes:
    """Shares of a quantity's variance, with their intervals.

    Filled dot: what knowing the input would take away. Hollow square: what would stay if all others
    were known; further right than the dot where inputs act together.

    Parameters
    ----------
    result : Sensitivity
    y : str
        Which output.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    EdgekitError
        Not a `Sensitivity`, or `y` is none of its outputs.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> result = ek.sensitivity(task, {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)},
    ...                         points=8, runs=4, seed=1, progress=False)
    >>> ek.figures.sensitivity(result, y="sessions").get_xlabel().splitlines()[0]
    'share of the variance of sessions until retired [1]'
    """
    checks.instance("result", result, Sensitivity, "Take the result of ek.sensitivity.")
    table = _output(result.table, y).sort_values("total", ascending=False)
    findings = []
    row: Any
    with style.canvas(ax, (6.4, 1.5 + 0.45 * len(table))) as axes:
        for place, row in enumerate(table.itertuples()):
            alone = (row.first, row.first_low, row.first_high)
            _draw_share(axes, place - 0.13, alone, "o", style.BLUE, style.BLUE)
            in_all = (row.total, row.total_low, row.total_high)
            _draw_share(axes, place + 0.13, in_all, "s", style.BLACK, "white")
            findings.append(
                f"{row.name}: alone {row.first:.2f} ({row.first_low:.2f} to {row.first_high:.2f}), "
                f"with interactions {row.total:.2f} ({row.total_low:.2f} to {row.total_high:.2f})."
            )
        axes.axvline(0.0, color=style.GREY, lw=0.8)
        style.rows(axes, table["name"], 30)
        marks = "dot: alone; square: including interactions"
        style.labels(axes, f"share of the variance of {quantity_name(y)} [1]\n{marks}")
        describe(
            axes,
            title=f"{capital(table['name'].iloc[0])} decides most",
            letters=TITLE_LETTERS,
            kind="Chart of dots with intervals, one row per input, the largest share on top",
            shown="share of the variance by the input alone (filled dots) and including "
            "interactions (hollow squares), each with its interval",
            finding=" ".join(findings),
        )
    return axes


def _draw_share(
    ax: Axes, height: float, share: tuple[float, float, float], mark: str, colour: str, fill: str
) -> None:
    """A share with its interval: value, low and high."""
    value, low, high = share
    ax.plot([low, high], [height] * 2, color=colour, lw=1.2)
    ax.plot(value, height, mark, color=colour, mfc=fill, ms=5.5)


def _output(table: pd.DataFrame, y: str) -> pd.DataFrame:
    """The rows of one output, each with the name of its input in words."""
    checks.instance("y", y, str, "Give the name of an output.")
    part = table[table["output"] == y]
    if not len(part):
        raise BadArgument(
            "no such output", y, f"Choose from {table['output'].unique().tolist()}.", argument="y"
        )
    return part.assign(name=part["input"].map(quantity_name))
