"""Pictures of lives and of comparisons between methods."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.words import describe, quantity
from edgekit.life.life import Life, Lives
from edgekit.life.retire import Basis, MaxWidthLoss
from edgekit.record import Record
from edgekit.study.compare import Comparison
from edgekit.units import LEVEL_Z, UM_PER_MM

__all__ = ["comparison", "differences", "life"]

INTERVALS = "thin: p10 to p90 of the lives; thick and ±: 90 % interval of the mean"
TRACKS = {
    Basis.MEAN: "mean_width_um",
    Basis.DEEPEST: "deepest_width_um",
    Basis.CALIPER: "caliper_width_um",
}


class _Course(Record):
    """One method's widths (runs, 1 + sessions) [mm], the new blade first."""

    name: str
    width_mm: FloatArray
    sessions: FloatArray


def life(
    lives: Lives | Life | Comparison | Sequence[Lives],
    ax: Axes | None = None,
) -> Axes:
    """Width against sessions: the median life, the band from p10 to p90, the retirement line.

    A retired instrument keeps its last width, so that the band is over all lives at every session
    and not only over the hardiest.

    Parameters
    ----------
    lives : Lives, Life, Comparison or sequence of Lives
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `lives` is not a `Life`, a `Comparison` or lives, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> one = ek.live(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...               rng=np.random.default_rng(3))
    >>> ek.figures.life(one).get_xlabel()
    'sessions [count]'
    """
    items = _items(lives)
    rule = next((rule for rule in items[0].rules if isinstance(rule, MaxWidthLoss)), None)
    basis = rule.basis if rule else Basis.MEAN
    courses = [_course(item, basis) for item in items]
    medians = [float(np.median(course.sessions)) for course in courses]
    with style.canvas(ax) as axes:
        _draw_courses(axes, courses, medians)
        line = _retirement(axes, rule, items[0].blade.width_mm) if rule else None
        width = f"width, {basis.value} [mm]" if basis is Basis.MEAN else "width [mm]"
        style.labels(axes, "sessions [count]", width)
        describe(
            axes,
            title=_life_title(courses, medians),
            kind="Line chart of width over sessions",
            shown="; ".join(course.name for course in courses)
            + (" (median; band from p10 to p90)" if len(courses[0].width_mm) > 1 else "")
            + (f"; retirement at {line:.2f} mm (dotted)" if line else ""),
            finding=" ".join(map(_life_words, courses)),
            caption=_life_caption(courses, line),
        )
    return axes


def _items(lives: Lives | Life | Comparison | Sequence[Lives]) -> list[Lives | Life]:
    if isinstance(lives, Comparison):
        return list(lives.lives)
    remedy = "Give the result of ek.live or ek.compare, or several Lives."
    checks.instance("lives", lives, (Lives, Life, Comparison, list, tuple), remedy)
    items: list[Lives | Life] = [lives] if isinstance(lives, Lives | Life) else [*lives]
    if not items:
        raise BadArgument("no life to draw", lives, remedy, argument="lives")
    for item in items:
        checks.instance("lives", item, (Lives, Life), remedy)
    return items


def _course(item: Lives | Life, basis: Basis) -> _Course:
    name = TRACKS[basis]
    track = item.history[name] if isinstance(item, Life) else item.tracks[name]
    filled = pd.DataFrame(np.atleast_2d(track)).ffill(axis=1).to_numpy(dtype=float)
    lost = np.concatenate([np.zeros((len(filled), 1)), filled], axis=1)
    return _Course(
        name=item.method.name,
        width_mm=item.blade.width_mm - lost / UM_PER_MM,
        sessions=np.atleast_1d(np.asarray(item.sessions, dtype=float)),
    )


def _draw_courses(ax: Axes, courses: Sequence[_Course], medians: Sequence[float]) -> None:
    lines = []
    for (course, end), (colour, dashes) in style.in_series(zip(courses, medians, strict=True)):
        low, median, high = np.percentile(course.width_mm, [10, 50, 90], axis=0)
        sessions = np.arange(len(median))
        if len(course.width_mm) > 1:
            ax.fill_between(sessions, low, high, color=colour, alpha=0.14, lw=0)
            for edge in (low, high):
                ax.plot(sessions, edge, color=colour, lw=0.6, ls=dashes)
        text = f"{style.shorten(course.name)}:\n{end:.0f} sessions"
        lines += ax.plot(sessions, median, color=colour, ls=dashes, lw=2.0, label=text)
        at = float(np.interp(end, sessions, median))
        ax.plot(end, at, "o", color=colour, ms=6, mec=style.BLACK, mew=0.7, clip_on=False)
    ax.set_xlim(0, max(course.width_mm.shape[1] for course in courses) - 1)
    top, bottom = courses[0].width_mm.max(), min(c.width_mm.min() for c in courses)
    ax.set_ylim(bottom - 0.12 * (top - bottom), top + 0.04 * (top - bottom))
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    # In the order in which they wear out: the longest-lived on top.
    ordered = [lines[k] for k in np.argsort([-end for end in medians], kind="stable")]
    style.legend(ax, handles=ordered, handlelength=2.6, labelcolor="linecolor")


def _retirement(ax: Axes, rule: MaxWidthLoss, new_mm: float) -> float:
    line = new_mm * (1 - rule.fraction)
    ax.axhline(line, color=style.BLACK, lw=1.2, ls=":")
    gone = f"{100 * rule.fraction:g} % of the width gone"
    style.margin_note(ax, f"retire at {line:.2f} mm:\n{gone}", line)
    return line


def _life_title(courses: Sequence[_Course], medians: Sequence[float]) -> str:
    if len(courses) > 1:
        low, high = min(medians), max(medians)
        return f"The median life runs from {low:.0f} to {high:.0f} sessions, by method"
    title = f"{courses[0].name}: {medians[0]:.0f} sessions"
    if len(courses[0].sessions) == 1:
        return title
    low, high = np.percentile(courses[0].sessions, [10, 90])
    return f"{title} in the median, p10 to p90 {low:.0f} to {high:.0f}"


def _life_caption(courses: Sequence[_Course], line: float | None) -> str:
    if len(courses[0].width_mm) == 1:
        return ""
    text = "A retired instrument keeps its last width; the dot stands at the median life."
    if line is not None and any(np.median(c.width_mm[:, -1]) > line for c in courses):
        text += " Lives that level off above the dotted line were ended by another rule."
    return text


def _life_words(course: _Course) -> str:
    low, middle, high = np.percentile(course.sessions, [10, 50, 90])
    if len(course.sessions) == 1:
        return f"{course.name}: {middle:.0f} sessions."
    return f"{course.name}: {middle:.0f} sessions in the median (p10 {low:.0f}, p90 {high:.0f})."


def comparison(comparison: Comparison, ax: Axes | None = None) -> Axes:
    """Width lost per session by each method: mean, its Monte-Carlo error, and the spread of lives.

    Thin line: from p10 to p90 of the lives. Thick line: 90 % interval of the mean, 1.64
    Monte-Carlo standard errors either way. Sorted, the least loss on top.

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
            findings.append(f"{name}: {_draw_loss(axes, row, lives.to_numpy(), mean, error)}")
        _rows(axes, table["method"])
        axes.set_xlim(left=0.0)
        style.labels(axes, f"{quantity(column)}\n{INTERVALS}")
        describe(
            axes,
            title=f"Least width lost: {table['method'].iloc[0]}; most: {table['method'].iloc[-1]}",
            kind="Chart of intervals, one row per method",
            shown="mean (white dot), 90 % interval of the mean from the number of lives run (thick "
            "blue), p10 to p90 of the lives (thin black)",
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
    cannot tell the two apart.

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
        for row, (name, mean, low, high) in enumerate(
            table[["method", "difference", "low", "high"]].itertuples(index=False, name=None)
        ):
            findings.append(f"{name}: {_draw_difference(axes, row, mean, low, high)}.")
        _rows(axes, table["method"])
        low, high = axes.get_xlim()
        spare = 0.2 * (high - low)  # room for the numbers beside the outermost dots
        axes.set_xlim(low - spare, high + spare)
        style.labels(axes, f"difference: {quantity(column)}")
        describe(
            axes,
            title=f"Against {against}: {clear} of {len(table)} methods differ (90 % interval clear "
            "of zero)",
            kind="Chart of paired differences, one row per method",
            shown=f"difference from {against} (dot, hollow where zero is inside) with its 90 % "
            "interval; dotted line at zero",
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


def _size(count: int) -> tuple[float, float]:
    return style.SIZE_IN[0], max(1.5 + 0.6 * count, 2.4)


def _rows(ax: Axes, names: Iterable[str]) -> None:
    style.rows(ax, names)
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", lw=0.4, color="#CCCCCC")
    ax.set_axisbelow(True)
