"""Pictures of sweeps: lines over a field, swings of single inputs, shares of variance."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.figures import _style as style
from edgekit.figures._words import describe
from edgekit.figures.study import LABELS, Z95
from edgekit.study.sensitivity import Sensitivity, Tornado

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["sensitivity", "sweep", "tornado"]

WORDS = {
    "method.placements": "placements along one edge [count]",
    "method.seatings": "seatings a placement [count]",
    "method.sharp_target": "share of the edge to be sharp [1]",
    "method.hand.tilt_deg.sd": "tilt, scatter [°]",
    "method.hand.tilt_deg.person_sd": "tilt, between people [°]",
    "method.hand.swing_deg.sd": "swing, scatter [°]",
    "method.hand.position_mm.sd": "position, scatter [mm]",
    "method.hand.depth.sd": "advance, relative scatter [1]",
    "use.strokes": "strokes between sessions [count]",
    "use.law.rate": "rate of dulling [µm² a stroke]",
    "use.attrition_um": "width lost in use [µm a session]",
    "use.sharp_radius_um": "edge radius when sharp [µm]",
    "use.patch_cv": "patchiness of dulling [1]",
    "rule.fraction": "limit of the retirement rule [1]",
    "rule.0.fraction": "limit of the first rule [1]",
}


def _words(field: str) -> str:
    return WORDS.get(field, LABELS.get(field, field))


def _without_unit(field: str) -> str:
    return _words(field).rsplit(" [", 1)[0]


def _column(table: pd.DataFrame, name: str) -> None:
    if name not in table.columns:
        raise EdgekitError("the sweep has no such column", name, f"Choose from {[*table.columns]}.")


def _means(part: pd.DataFrame, x: str, y: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values of x, mean of y there and its standard error, from samples or from a summary."""
    error = f"{y}_mc"
    if error in part:
        ordered = part.sort_values(x)
        return tuple(ordered[name].to_numpy(dtype=float) for name in (x, y, error))  # type: ignore[return-value]
    groups = part.groupby(x)[y]
    mean = groups.mean()
    return tuple(np.asarray(item, dtype=float) for item in (mean.index, mean, groups.sem()))  # type: ignore[return-value]


def sweep(
    table: pd.DataFrame,
    *,
    x: str,
    y: str = "loss_um_per_session",
    by: str | None = None,
    ax: Axes | None = None,
) -> Axes:
    """A quantity over a swept field: means, with the 95 % interval of each mean as a band.

    Parameters
    ----------
    table : DataFrame
        Of `edgekit.sweep`, a row a life or a summary.
    x, y : str
        The field along the axis, and the quantity.
    by : str, optional
        Another field, one line a value; five at most.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeTask(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
    >>> table = ek.sweep(task, ek.full_grid({"method.placements": [2, 6]}), runs=5, seed=1,
    ...                  progress=False)
    >>> ek.figures.sweep(table, x="method.placements").get_xlabel()
    'placements along one edge [count]'
    """
    for name in (x, y, *([by] if by else [])):
        _column(table, name)
    for name in (x, y):
        if table[name].dtype.kind not in "if":
            raise EdgekitError(
                "an axis needs a column of numbers", name, "Give objects and names to `by`."
            )
    well = table[table["status"] == "ok"]
    if not len(well):
        raise EdgekitError("no row of the sweep was lived", table["status"].iloc[0], "Mend that.")
    values = [None] if by is None else list(dict.fromkeys(well[by]))
    if len(values) > len(style.SERIES):
        raise EdgekitError(
            f"too many values of {by} to tell apart", len(values), "Draw 5 or fewer."
        )
    lines = [x] if by is None else [x, by]
    if well[[*lines, "row"]].drop_duplicates().duplicated(lines).any():
        raise EdgekitError(
            "several rows of the grid would fall on one point", lines,
            "Name in `by` the field in which they differ, or give a part of the table.",
        )  # fmt: skip
    labels, found = [], []
    with style.canvas(ax) as axes:
        for value, (colour, dashes) in zip(values, style.SERIES, strict=False):
            part = well if by is None else well[well[by] == value]
            at, mean, error = _means(part, x, y)
            axes.fill_between(at, mean - Z95 * error, mean + Z95 * error, color=colour, alpha=0.2,
                              lw=0)  # fmt: skip
            axes.plot(at, mean, color=colour, ls=dashes, marker="o", ms=3.5)
            name = "" if by is None else f"{value:g}" if isinstance(value, float) else str(value)
            labels.append((float(mean[-1]), style.shorten(name, 18), colour))
            low = int(np.argmin(mean))
            found.append(
                f"{name + ': ' if name else ''}{mean[0]:.1f} at {at[0]:g} to {mean[-1]:.1f} at "
                f"{at[-1]:g}, least {mean[low]:.1f} at {at[low]:g}."
            )
        axes.set_xlabel(_words(x))
        axes.set_ylabel(_words(y))
        axes.set_ylim(bottom=0.0)
        if by is not None:
            style.end_labels(axes, labels)
            beside = f"; lines: {_words(by)}"
        else:
            beside = ""
        style.title(axes, f"{_capital(_without_unit(y))}, over {_without_unit(x)}{beside}")
        describe(
            axes,
            kind="Line chart of a sweep",
            shown=f"means with bands of their 95 % intervals{beside}",
            finding=" ".join(found),
        )
    return axes


def tornado(result: Tornado, *, y: str = "loss_um_per_session", ax: Axes | None = None) -> Axes:
    """What each input alone does to a quantity, the widest swing on top.

    Parameters
    ----------
    result : Tornado
    y : str
        Which output.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeTask(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
    >>> found = ek.tornado(task, {"use.strokes": (15.0, 60.0)}, runs=4, seed=1, progress=False)
    >>> [label.get_text() for label in ek.figures.tornado(found).get_yticklabels()]
    ['strokes between sessions']
    """
    rows = _rows_of(result.table, y)
    base = float(rows["base"].iloc[0])
    found = []
    with style.canvas(ax, (6.4, 1.6 + 0.42 * len(rows))) as axes:
        for place, row in enumerate(_records(rows)):
            for end, value, colour, hatch in (
                (row.at_low, row.low_value, style.SKY, ""),
                (row.at_high, row.high_value, style.VERMILION, "///"),
            ):
                axes.barh(place, end - base, left=base, height=0.55, color=colour, hatch=hatch,
                          ec=style.BLACK, lw=0.8)  # fmt: skip
                side = 1 if end > base or (end == base and value == row.high_value) else -1
                axes.annotate(f"{value:.3g}", (end, place), (4 * side, 0), va="center",
                              textcoords="offset points", ha="left" if side > 0 else "right",
                              fontsize=8.5)  # fmt: skip
            found.append(
                f"{_without_unit(row.input)} from {row.low_value:.3g} to {row.high_value:.3g}: "
                f"{row.at_low:.1f} to {row.at_high:.1f} (± {Z95 * row.swing_mc:.1f})."
            )
        axes.axvline(base, color=style.BLACK, lw=1.0)
        axes.set_yticks(
            range(len(rows)), [style.shorten(_without_unit(n), 30) for n in rows["input"]]
        )
        axes.invert_yaxis()
        axes.margins(x=0.12)
        axes.set_xlabel(f"{_words(y)}\nplain: input at its low end; hatched: at its high end")
        style.title(
            axes,
            f"{_capital(_without_unit(rows['input'].iloc[0]))} moves it most; line: all inputs at medians",
            52,
        )
        describe(
            axes,
            kind="Chart of bars, a row an input, the widest on top",
            shown="output with one input at its low end (plain) and at its high end (hatched), from "
            f"the value with all at their medians, {base:.1f} (line)",
            finding=" ".join(found),
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

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeTask(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
    >>> found = ek.sensitivity(task, {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)},
    ...                        points=8, runs=4, seed=1, progress=False)
    >>> ek.figures.sensitivity(found, y="sessions").get_xlabel().splitlines()[0]
    'share of the variance of sessions until retired [1]'
    """
    rows = _rows_of(result.table, y).sort_values("total", ascending=False)
    found = []
    with style.canvas(ax, (6.4, 1.5 + 0.45 * len(rows))) as axes:
        for place, row in enumerate(_records(rows)):
            for up, value, low, high, colour, mark, fill in (
                (-0.13, row.first, row.first_low, row.first_high, style.BLUE, "o", style.BLUE),
                (0.13, row.total, row.total_low, row.total_high, style.BLACK, "s", "white"),
            ):
                axes.plot([low, high], [place + up] * 2, color=colour, lw=1.2)
                axes.plot(value, place + up, mark, color=colour, mfc=fill, ms=5.5)
            found.append(
                f"{_without_unit(row.input)}: alone {row.first:.2f} ({row.first_low:.2f} to "
                f"{row.first_high:.2f}), with others {row.total:.2f} ({row.total_low:.2f} to "
                f"{row.total_high:.2f})."
            )
        axes.axvline(0.0, color=style.GREY, lw=0.8)
        axes.set_yticks(
            range(len(rows)), [style.shorten(_without_unit(n), 30) for n in rows["input"]]
        )
        axes.invert_yaxis()
        axes.set_xlabel(
            f"share of the variance of {_without_unit(y)} [1]\n"
            "dot: alone; square: with what it acts together with"
        )
        style.title(axes, f"{_capital(_without_unit(rows['input'].iloc[0]))} decides most", 52)
        describe(
            axes,
            kind="Chart of dots with intervals, a row an input, the largest share on top",
            shown="share of the variance by the input alone (filled dots) and with all it acts together with "
            "(hollow squares), each with its interval",
            finding=" ".join(found),
        )
    return axes


def _rows_of(table: pd.DataFrame, y: str) -> pd.DataFrame:
    rows = table[table["output"] == y]
    if not len(rows):
        raise EdgekitError("no such output", y, f"Choose from {table['output'].unique().tolist()}.")
    return rows


def _records(rows: pd.DataFrame) -> list[SimpleNamespace]:
    names = [str(name) for name in rows.columns]
    lines = zip(*(rows[name].tolist() for name in names), strict=True)
    return [SimpleNamespace(**dict(zip(names, line, strict=True))) for line in lines]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
