"""Pictures of lives: widths from session to session."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.life.life import Life, Lives
from edgekit.life.retire import Basis, MaxWidthLoss
from edgekit.record import Record
from edgekit.study.compare import Comparison
from edgekit.units import UM_PER_MM

__all__ = ["life"]

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
