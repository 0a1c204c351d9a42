"""Pictures of sweeps: lines over a field, single lives, swings of single inputs, shares of variance."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import MaxNLocator

from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.figures import style
from edgekit.figures.lives import LABELS, Z95
from edgekit.figures.words import describe
from edgekit.study.outcomes import standard_error
from edgekit.study.sensitivity import Sensitivity, Tornado
from edgekit.study.sweep import RunStatus

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

__all__ = ["sensitivity", "spread", "sweep", "tornado"]

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
    "strokes_in_a_life": "working strokes in a life [count]",
}
PILES = 80  # along the axis, of dots that stand on one another


def _words(field: str) -> str:
    return WORDS.get(field, LABELS.get(field, field))


def _without_unit(field: str) -> str:
    return _words(field).rsplit(" [", 1)[0]


def _shown(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _column(table: pd.DataFrame, name: str) -> None:
    if name not in table.columns:
        raise EdgekitError("the sweep has no such column", name, f"Choose from {[*table.columns]}.")


def _means(
    part: pd.DataFrame, x: str, y: str, against: object
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Values of x, mean of y there and its standard error, from samples or from a summary.

    With `against`, a value of x, those of the differences from it, run by run.
    """
    error = f"{y}_mc"
    if error in part:
        ordered = part.sort_values(x)
        return tuple(ordered[name].to_numpy(dtype=float) for name in (x, y, error))  # type: ignore[return-value]
    if against is None:
        groups = part.groupby(x)[y]
        mean = groups.mean()
        return tuple(np.asarray(item, dtype=float) for item in (mean.index, mean, groups.sem()))  # type: ignore[return-value]
    wide = part.pivot_table(index="run", columns=x, values=y)
    gaps = wide.sub(wide[against], axis=0)
    return tuple(np.asarray(item, dtype=float) for item in (gaps.columns, gaps.mean(), gaps.sem()))  # type: ignore[return-value]


def _reference(table: pd.DataFrame, x: str, y: str, by: str | None, against: object) -> None:
    if f"{y}_mc" in table or "run" not in table:
        raise EdgekitError(
            "differences need a row a life", "a summary", "Sweep with summary=False."
        )
    if table.duplicated(["run", x, *([by] if by else [])]).any():
        raise EdgekitError(
            "another field varies as well, so lives have no partner",
            x,
            "Name it as by, or take a part.",
        )
    if against not in set(table[x]):
        raise EdgekitError(
            f"{x} never has that value", against, f"Choose from {sorted(set(table[x]))}."
        )


def sweep(
    table: pd.DataFrame,
    *,
    x: str,
    y: str = "loss_um_per_session",
    by: str | None = None,
    against: float | None = None,
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
    against : float, optional
        A value of `x`. What is drawn is then the difference from it, life by life: run i is the same
        instrument and hand in every row, so differences are known better than levels.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
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
    well = _well(table)
    if against is not None:
        _reference(well, x, y, by, against)
    values = [None] if by is None else list(dict.fromkeys(well[by]))
    if len(values) > len(style.SERIES):
        raise EdgekitError(
            f"too many values of {by} to tell apart", len(values), "Draw 5 or fewer."
        )
    lines = [x] if by is None else [x, by]
    if well[[*lines, "row"]].drop_duplicates().duplicated(lines).any():
        raise EdgekitError(
            "several rows of the grid would fall on one point",
            lines,
            "Name in `by` the field in which they differ, or give a part of the table.",
        )
    labels, found = [], []
    with style.canvas(ax) as axes:
        for value, (colour, dashes) in zip(values, style.SERIES, strict=False):
            part = well if by is None else well[well[by] == value]
            at, mean, error = _means(part, x, y, against)
            axes.fill_between(
                at, mean - Z95 * error, mean + Z95 * error, color=colour, alpha=0.2, lw=0
            )
            axes.plot(at, mean, color=colour, ls=dashes, marker="o", ms=3.5)
            name = "" if by is None else _shown(value)
            labels.append((float(mean[-1]), style.shorten(name, 18), colour))
            low = int(np.argmin(mean))
            digits = 1 if abs(mean).max() >= 5 else 2
            shown = [
                f"{mean[i]:.{digits}f} ± {Z95 * error[i]:.{digits}f} at {at[i]:g}"
                for i in sorted({0, low, len(at) - 1})
            ]
            found.append(f"{name + ': ' if name else ''}{', '.join(shown)}.")
        axes.set_xlabel(_words(x))
        what = _words(y) if against is None else f"difference: {_words(y)}"
        axes.set_ylabel(style.shorten(what, 48))
        if (np.asarray(well[x]) % 1 == 0).all():
            axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        if against is None:
            axes.set_ylim(bottom=0.0)
        else:
            axes.axhline(0.0, color=style.BLACK, lw=1.0, ls=":")
        if by is not None:
            style.end_labels(axes, labels)
            beside = f"; lines: {_words(by)}"
        else:
            beside = ""
        base = "" if against is None else f", less what it is at {against:g}"
        style.title(axes, f"{_capital(_without_unit(y))}{base}, over {_without_unit(x)}{beside}")
        describe(
            axes,
            kind="Line chart of a sweep",
            shown=f"means with bands of their 95 % intervals{base}{beside}",
            finding=f"By {_without_unit(by)}: {' '.join(found)}" if by else " ".join(found),
        )
    return axes


def spread(
    table: pd.DataFrame,
    *,
    y: str,
    by: str,
    most: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Every life of a sweep as a dot, in rows by a field, with what lives and runs leave open.

    Parameters
    ----------
    table : DataFrame
        Of `edgekit.sweep`, a row a life.
    y : str
        The quantity along the axis.
    by : str
        The field of the rows, which must have as many lives each.
    most : float, optional
        Upper end of the axis, so that several pictures compare; it goes further if lives do.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
    >>> table = ek.sweep(task, ek.full_grid({"use.strokes": [15.0, 60.0]}), runs=5, seed=1,
    ...                  progress=False)
    >>> ek.figures.spread(table, y="sessions", by="use.strokes").get_xlabel().splitlines()[0]
    'sessions until retired [count]'
    """
    for name in (y, by):
        _column(table, name)
    well = _well(table)
    if "run" not in well:
        raise EdgekitError("single lives need a row a life", "a summary", "Sweep without summary.")
    groups = [(value, np.sort(part.to_numpy(dtype=float))) for value, part in well.groupby(by)[y]]
    end = max(float(most or 0.0), 1.02 * float(well[y].max()))
    width = end / PILES or 1.0
    piles = [_pile(np.round(lives / width)) for _, lives in groups]
    highest = max(float(pile.max()) for pile in piles) or 1.0
    found = []
    with style.canvas(ax, (6.4, 1.4 + 0.7 * len(groups))) as axes:
        for place, ((_, lives), pile) in enumerate(zip(groups, piles, strict=True)):
            low, high = np.percentile(lives, (10, 90))
            mean, half = lives.mean(), Z95 * standard_error(lives)
            axes.plot(
                lives, place - 0.04 - 0.6 * pile / highest, "o", ms=2.5, color=style.GREY, mew=0
            )
            axes.plot([low, high], [place + 0.12] * 2, color=style.BLACK, lw=1.2)
            axes.plot([mean - half, mean + half], [place + 0.12] * 2, color=style.BLUE, lw=5)
            axes.plot(mean, place + 0.12, "o", color=style.BLACK, mfc="white", ms=4)
            axes.annotate(
                f"{mean:.0f} ± {half:.0f}",
                (mean, place + 0.12),
                (0, -13),
                textcoords="offset points",
                ha="center",
                fontsize=8.5,
            )
            found.append((mean, half, low, high))
        names = [_shown(value) for value, _ in groups]
        axes.set_yticks(range(len(groups)), names)
        axes.set_ylim(len(groups) - 0.5, -0.75)
        axes.set_xlim(0.0, end or 1.0)
        axes.set_ylabel(_words(by).replace(" [", "\n["))
        axes.set_xlabel(
            f"{_words(y)}\ndot: a life; thin: p10 to p90 of the lives; thick and ±: 95 % interval of the mean"
        )
        fixed = _fixed(well, by)
        style.title(axes, f"{_capital(_without_unit(y))}, life by life{fixed}")
        describe(
            axes,
            kind="Dots in rows, a dot a life",
            shown="lives (grey dots), p10 to p90 of them (thin black), 95 % interval of the mean from the "
            "number of lives (thick blue), mean (white dot)",
            finding=_capital(f"{fixed}; by {_without_unit(by)}: "[2:])
            + " ".join(
                f"{name}: {mean:.0f} ± {half:.0f}, lives p10 {low:.0f} to p90 {high:.0f}."
                for name, (mean, half, low, high) in zip(names, found, strict=True)
            ),
        )
    return axes


def _pile(values: FloatArray) -> FloatArray:
    """How many equal values stand before each of these sorted ones."""
    _, first, group = np.unique(values, return_index=True, return_inverse=True)
    return np.asarray(np.arange(len(values)) - first[group], dtype=float)


def _fixed(table: pd.DataFrame, but: str) -> str:
    """The swept fields that have one value throughout, in words."""
    alone = [
        name
        for name in map(str, table.columns)
        if "." in name and name != but and (table[name] == table[name].iloc[0]).all()
    ]
    return "".join(f"; {_without_unit(name)}: {table[name].iloc[0]}" for name in alone)


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
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
    >>> found = ek.tornado(task, {"use.strokes": (15.0, 60.0)}, runs=4, seed=1, progress=False)
    >>> [label.get_text() for label in ek.figures.tornado(found).get_yticklabels()]
    ['strokes between sessions']
    """
    rows = _rows_of(result.table, y)
    base = float(rows["base"].iloc[0])
    found = []
    with style.canvas(ax, (6.4, 1.6 + 0.42 * len(rows))) as axes:
        for place, row in enumerate(_records(rows)):
            ends = [(row.at_low, row.low_value), (row.at_high, row.high_value)]
            for (end, _), colour, hatch in zip(
                ends, (style.SKY, style.VERMILION), ("", "///"), strict=True
            ):
                axes.barh(
                    place,
                    end - base,
                    left=base,
                    height=0.55,
                    color=colour,
                    hatch=hatch,
                    ec=style.BLACK,
                    lw=0.8,
                )
            (left, at_left), (right, at_right) = sorted(ends)
            for end, value, side in (
                (min(left, base), at_left, -1),
                (max(right, base), at_right, 1),
            ):
                axes.annotate(
                    f"{value:.3g}",
                    (end, place),
                    (4 * side, 0),
                    va="center",
                    textcoords="offset points",
                    ha="left" if side > 0 else "right",
                    fontsize=8.5,
                )
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
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand(seatings=1))
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


def _well(table: pd.DataFrame) -> pd.DataFrame:
    """The rows that did not fail."""
    well = table[table["status"] == RunStatus.OK.value]
    if not len(well):
        cause = table["status"].iloc[0]
        raise EdgekitError("every row of the sweep failed", cause, "Fix the cause shown.")
    return well


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
