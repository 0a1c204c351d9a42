"""Pictures of lives and of comparisons between methods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.life.life import Life, Lives
from edgekit.life.retire import Basis, MaxWidthLoss, RetireRule
from edgekit.study.compare import Comparison

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["comparison", "differences", "life"]

UM_PER_MM = 1000.0
Z95 = 1.96  # normal quantile of a two-sided 95 % interval
TRACKS = {
    Basis.MEAN: "mean_width_um",
    Basis.DEEPEST: "deepest_width_um",
    Basis.CALIPER: "caliper_width_um",
}
LABELS = {
    "loss_um_per_session": "width lost a session, mean along the sides [µm]",
    "deepest_um_per_session": "width lost a session, deepest [µm]",
    "ridge_um": "ridge height [µm]",
    "angle_error_deg": "angle error [°]",
    "angle_rms_deg": "angle error, root mean square [°]",
    "sharp_fraction": "share of the edge sharp [1]",
    "minutes_per_session": "time a session [min]",
    "steel_mg": "steel removed a session [mg]",
    "dull_radius_um": "edge radius when dull [µm]",
    "sessions": "sessions until retired [count]",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class _Course:
    """One method's widths (runs, 1 + sessions) [mm], the new blade first."""

    name: str
    width_mm: FloatArray
    sessions: FloatArray

    def percentile(self, share: float) -> FloatArray:
        return np.asarray(np.percentile(self.width_mm, share, axis=0))


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

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> one = ek.live(ek.patterns.universal_curette(), ek.methods.held(15.0),
    ...               rng=np.random.default_rng(3))
    >>> ek.figures.life(one).get_xlabel()
    'sessions [count]'
    """
    given = lives
    items: list[Lives | Life]
    if isinstance(given, Comparison):
        items = list(given.lives)
    elif isinstance(given, Lives | Life):
        items = [given]
    else:
        items = list(given)
    if not items:
        raise EdgekitError("no life to draw", given, "Give one Lives or more.")
    first = items[0]
    basis = _basis(first.rules)
    courses = [_course(item, basis) for item in items]
    with style.canvas(ax) as axes:
        _draw_courses(axes, courses)
        line = _retirement(axes, first.rules, first.blade.width_mm)
        axes.set_xlabel("sessions [count]")
        axes.set_ylabel(f"width, {basis.value} [mm]" if basis is Basis.MEAN else "width [mm]")
        medians = [float(np.median(course.sessions)) for course in courses]
        style.title(axes, _life_title(courses, medians))
        describe(
            axes,
            kind="Line chart of width over sessions",
            shown="; ".join(c.name for c in courses)
            + (" (median; band from p10 to p90)" if len(courses[0].width_mm) > 1 else "")
            + (f"; retirement at {line:.2f} mm (dotted)" if line else ""),
            finding=" ".join(_life_words(course) for course in courses),
            caption=_life_caption(courses, line),
        )
    return axes


def _basis(rules: Sequence[RetireRule]) -> Basis:
    return next((rule.basis for rule in rules if isinstance(rule, MaxWidthLoss)), Basis.MEAN)


def _course(item: Lives | Life, basis: Basis) -> _Course:
    name = TRACKS[basis]
    track = (
        item.history[name].to_numpy(dtype=float)[None, :]
        if isinstance(item, Life)
        else item.tracks[name]
    )
    filled = np.array(track, dtype=float)
    for k in range(1, filled.shape[1]):
        gone = np.isnan(filled[:, k])
        filled[gone, k] = filled[gone, k - 1]
    lost = np.concatenate([np.zeros((len(filled), 1)), filled], axis=1)
    return _Course(
        name=item.method.name,
        width_mm=item.blade.width_mm - lost / UM_PER_MM,
        sessions=np.atleast_1d(np.asarray(item.sessions, dtype=float)),
    )


def _draw_courses(ax: Axes, courses: Sequence[_Course]) -> None:
    last = max(course.width_mm.shape[1] - 1 for course in courses)
    from matplotlib.lines import Line2D
    from matplotlib.ticker import MaxNLocator

    handles: list[tuple[float, Line2D]] = []
    for k, course in enumerate(courses):
        colour, dashes = style.SERIES[k % len(style.SERIES)]
        sessions = np.arange(course.width_mm.shape[1])
        median = course.percentile(50)
        if len(course.width_mm) > 1:
            low, high = course.percentile(10), course.percentile(90)
            ax.fill_between(sessions, low, high, color=colour, alpha=0.14, lw=0)
            for edge in (low, high):
                ax.plot(sessions, edge, color=colour, lw=0.6, ls=dashes)
        ax.plot(sessions, median, color=colour, ls=dashes, lw=2.0)
        end = float(np.median(course.sessions))
        at = float(np.interp(end, sessions, median))
        ax.plot(end, at, "o", color=colour, ms=6, mec=style.BLACK, mew=0.7, clip_on=False)
        text = f"{style.shorten(course.name)}:\n{end:.0f} sessions"
        handles.append((end, Line2D([], [], color=colour, ls=dashes, lw=2.0, label=text)))
    ax.set_xlim(0, last)
    top, bottom = courses[0].width_mm.max(), min(c.width_mm.min() for c in courses)
    ax.set_ylim(bottom - 0.12 * (top - bottom), top + 0.04 * (top - bottom))
    ax.xaxis.set_major_locator(MaxNLocator(integer=True))
    # In the order in which they wear out: the longest-lived on top.
    ordered = [handle for _, handle in sorted(handles, key=lambda pair: -pair[0])]
    ax.legend(
        handles=ordered,
        loc="upper left",
        bbox_to_anchor=(1.0, 1.03),
        frameon=False,
        fontsize=8.5,
        handlelength=2.6,
        labelcolor="linecolor",
    )


def _retirement(ax: Axes, rules: Sequence[RetireRule], new_mm: float) -> float | None:
    rule = next((rule for rule in rules if isinstance(rule, MaxWidthLoss)), None)
    if rule is None:
        return None
    line = new_mm * (1 - rule.fraction)
    ax.axhline(line, color=style.BLACK, lw=1.2, ls=":")
    ax.annotate(
        f"retire at {line:.2f} mm:\n{100 * rule.fraction:g} % of the width gone",
        (1.0, line),
        (6, 0),
        xycoords=ax.get_yaxis_transform(),
        textcoords="offset points",
        va="center",
        fontsize=8.5,
        annotation_clip=False,
    )
    return line


def _life_title(courses: Sequence[_Course], medians: Sequence[float]) -> str:
    if len(courses) > 1:
        return f"The median life runs from {min(medians):.0f} to {max(medians):.0f} sessions, by method"
    if len(courses[0].sessions) == 1:
        return f"{courses[0].name}: {medians[0]:.0f} sessions"
    low, high = np.percentile(courses[0].sessions, [10, 90])
    return f"{courses[0].name}: {medians[0]:.0f} sessions in the median, p10 to p90 {low:.0f} to {high:.0f}"


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
    """Width lost a session by each method: mean, its Monte-Carlo error, and the spread of lives.

    Thin line: from p10 to p90 of the lives. Thick line: 95 % interval of the mean, 1.96
    Monte-Carlo standard errors either way. Sorted, the least loss on top.

    Parameters
    ----------
    comparison : Comparison
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.compare(ek.patterns.universal_curette(),
    ...                     [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> ek.figures.comparison(result).get_xlabel().splitlines()[0]
    'width lost a session, mean along the sides [µm]'
    """
    column = "loss_um_per_session"
    table = comparison.table.reset_index(drop=True)
    order = np.argsort(table[column].to_numpy(), kind="stable")
    names, found = [], []
    with style.canvas(ax, _size(len(order))) as axes:
        for row, number in enumerate(order):
            lives = comparison.runs.loc[comparison.runs["number"] == number, column]
            low, high = np.percentile(lives.to_numpy(), [10, 90])
            mean = float(table[column].iloc[number])
            error = float(table[f"{column}_mc"].iloc[number])
            axes.plot([low, high], [row, row], color=style.BLACK, lw=1.1)
            axes.plot([low, high], [row, row], "|", color=style.BLACK, ms=7)
            axes.plot(
                [mean - Z95 * error, mean + Z95 * error],
                [row, row],
                color=style.BLUE,
                lw=7,
                solid_capstyle="butt",
                alpha=0.75,
            )
            axes.plot(mean, row, "o", color="white", mec=style.BLACK, ms=5.5)
            axes.annotate(
                f"{mean:.1f} ± {Z95 * error:.1f}",
                (mean, row),
                (0, 8),
                textcoords="offset points",
                ha="center",
                fontsize=8.5,
            )
            names.append(style.shorten(str(table["method"].iloc[number]), 26))
            found.append(
                f"{table['method'].iloc[number]}: {mean:.1f} ± {Z95 * error:.1f} µm a session, "
                f"lives p10 {low:.1f} to p90 {high:.1f}."
            )
        _rows(axes, names)
        axes.set_xlim(left=0.0)
        axes.set_xlabel(
            f"{LABELS[column]}\nthin: p10 to p90 of the lives; thick and ±: 95 % interval of the mean"
        )
        best, worst = names[0], names[-1]
        style.title(
            axes,
            f"Least width lost: {' '.join(best.split())}; most: {' '.join(worst.split())}",
        )
        describe(
            axes,
            kind="Chart of intervals, a row a method",
            shown="mean (white dot), 95 % interval of the mean from the number of lives run (thick "
            "blue), p10 to p90 of the lives (thin black)",
            finding=" ".join(found),
        )
    return axes


def differences(
    comparison: Comparison,
    *,
    column: str = "loss_um_per_session",
    base: int = 0,
    ax: Axes | None = None,
) -> Axes:
    """Paired differences of the methods from one of them, against zero.

    A filled dot: the 95 % interval leaves zero out. A hollow one: it does not, so these lives
    cannot tell the two apart.

    Parameters
    ----------
    comparison : Comparison
    column : str
        A column of ``comparison.runs``.
    base : int
        Number of the method the others are measured from.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.compare(ek.patterns.universal_curette(),
    ...                     [ek.methods.freehand(), ek.methods.held(15.0)], runs=8, seed=1)
    >>> bool(ek.figures.differences(result).yaxis_inverted())  # the first row is on top
    True
    """
    table = comparison.differences(column, base)
    against = comparison.methods[base].name
    table = table.drop(index=base).sort_values("difference", kind="stable")
    if not len(table):
        raise EdgekitError("one method has no difference", against, "Compare two methods or more.")
    names, found, clear = [], [], 0
    with style.canvas(ax, _size(len(table))) as axes:
        axes.axvline(0.0, color=style.BLACK, lw=1.0, ls=":")
        for row, item in enumerate(table.itertuples()):
            mean, low, high = (float(getattr(item, n)) for n in ("difference", "low", "high"))
            told = low > 0 or high < 0
            clear += told
            axes.plot([low, high], [row, row], color=style.BLUE, lw=2.2, solid_capstyle="butt")
            axes.plot([low, high], [row, row], "|", color=style.BLUE, ms=9, mew=1.6)
            axes.plot(
                mean, row, "o", ms=6.5, mec=style.BLACK, color=style.BLUE if told else "white"
            )
            text = f"{style.signed(mean)} ({style.signed(low)} to {style.signed(high)})"
            axes.annotate(
                text,
                (mean, row),
                (0, 8),
                textcoords="offset points",
                ha="center",
                fontsize=8.5,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
            )
            names.append(style.shorten(str(item.method), 26))
            found.append(f"{item.method}: {text}.")
        _rows(axes, names)
        low, high = axes.get_xlim()
        spare = 0.2 * (high - low)  # room for the numbers beside the outermost dots
        axes.set_xlim(low - spare, high + spare)
        axes.set_xlabel(f"difference: {LABELS.get(column, column)}")
        style.title(
            axes,
            f"Against {against}: {clear} of {len(table)} methods differ (95 % interval clear of zero)",
        )
        describe(
            axes,
            kind="Chart of paired differences, a row a method",
            shown=f"difference from {against} (dot, hollow where zero is inside) with its 95 % "
            "interval; dotted line at zero",
            finding=f"Against {against}: " + " ".join(found),
        )
    return axes


def _size(rows: int) -> tuple[float, float]:
    return style.SIZE_IN[0], max(1.5 + 0.6 * rows, 2.4)


def _rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.75)
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", lw=0.4, color="#CCCCCC")
    ax.set_axisbelow(True)
