"""Pictures of grinding the face or the sides: sessions by mixture and by the slant of the stone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.figures import style
from edgekit.figures.words import describe, quantity
from edgekit.study.face_or_sides import FaceOrSides

__all__ = ["face_or_sides", "slant"]

RULES = (("by_width", "width"), ("by_thickness", "thickness"), ("by_strength", "strength"))


def face_or_sides(result: FaceOrSides, ax: Axes | None = None) -> Axes:
    """Sessions against the share of them that grind the face: lives, and the case without errors.

    Parameters
    ----------
    result : FaceOrSides
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `result` is not a `FaceOrSides`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.face_or_sides(ek.patterns.universal_curette(), runs=4, seed=1)
    >>> ek.figures.face_or_sides(result).get_ylabel()
    'sessions until retired [count]'
    """
    checks.instance("result", result, FaceOrSides, "Take the result of ek.face_or_sides.")
    table, ideal = result.table, result.ideal
    ends = [ideal["by_thickness"].iloc[-1], ideal["by_width"].iloc[0], ideal["sessions"].max()]
    top = 1.15 * float(max(*ends, table["sessions_p90"].max()))
    middle = table["sessions_p50"].to_numpy()
    best = table.iloc[int(np.argmax(middle))]
    perfect = ideal.iloc[int(np.argmax(ideal["sessions"]))]
    with style.canvas(ax) as axes:
        _draw_ideal(axes, ideal, 10 * top)
        bars = np.abs(table[["sessions_p10", "sessions_p90"]].to_numpy().T - middle)
        dots: style.Look = {"fmt": "o", "color": style.BLACK, "capsize": 4, "lw": 1.2}
        label = "lives: median, p10 to p90"
        axes.errorbar(table["face_share"], middle, yerr=bars, label=label, **dots)
        axes.set(xlim=(-0.04, 1.04), ylim=(0, top))
        style.labels(axes, "share of the sessions that grind the face [1]", quantity("sessions"))
        style.legend(axes)
        describe(
            axes,
            title=f"{result.blade.name}: with errors of the hand at most {best.sessions_p50:.0f} "
            f"sessions, without them {perfect.sessions:.0f}",
            kind="Chart of sessions against the share of sessions on the face",
            shown="lives (dots, bars from p10 to p90); without errors the sessions until width, "
            "thickness and strength are used up (lines), and the first of them (grey)",
            finding=" ".join(map(_row_words, table.itertuples()))
            + f" Without errors the most is {perfect.sessions:.0f} sessions at "
            f"{perfect.face_share:.0%} on the face.",
            caption=f"{result.crossover} With the limit of strength as well: sides "
            f"{ideal['sessions'].iloc[0]:.0f} sessions, face {ideal['sessions'].iloc[-1]:.0f}.",
        )
    return axes


def _draw_ideal(ax: Axes, ideal: pd.DataFrame, most: float) -> None:
    """Sessions of a hand without errors: until each limit, and until the first of them."""
    share = ideal["face_share"].to_numpy()
    for (column, limit), (colour, dashes) in style.in_series(RULES):
        label = f"no errors: {limit} used up"
        ax.plot(
            share, np.minimum(ideal[column], most), color=colour, ls=dashes, lw=1.4, label=label
        )
    label = "no errors: the first of them"
    ax.plot(share, ideal["sessions"], color=style.GREY, lw=5, alpha=0.35, label=label)


def _row_words(row: Any) -> str:
    low, middle, high = row.sessions_p10, row.sessions_p50, row.sessions_p90
    return f"{row.method}: {middle:.0f} ({low:.0f} to {high:.0f})."


def slant(result: FaceOrSides, ax: Axes | None = None) -> Axes:
    """Sessions of face grinding against how much the stone's slant on the face scatters.

    Parameters
    ----------
    result : FaceOrSides
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `result` is not a `FaceOrSides`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.face_or_sides(ek.patterns.universal_curette(), runs=4, seed=1)
    >>> ek.figures.slant(result).get_ylabel()
    'sessions until retired [count]'
    """
    checks.instance("result", result, FaceOrSides, "Take the result of ek.face_or_sides.")
    sides, tie = result.table.iloc[0], result.tilt_tie_deg
    low, middle, high = (result.by_tilt[f"sessions_p{n}"].to_numpy() for n in (10, 50, 90))
    at = result.by_tilt["tilt_sd_deg"].to_numpy()
    with style.canvas(ax) as axes:
        axes.fill_between(at, low, high, color=style.VERMILION, alpha=0.15, lw=0)
        face: style.Look = {"color": style.VERMILION, "lw": 2.0, "marker": "o", "ls": "--"}
        axes.plot(at, middle, label="face: median, band p10 to p90", **face)
        axes.axhspan(sides.sessions_p10, sides.sessions_p90, color=style.BLUE, alpha=0.12, lw=0)
        label = "sides: median, band p10 to p90"
        axes.axhline(sides.sessions_p50, color=style.BLUE, lw=2.0, label=label)
        if tie is not None:
            axes.axvline(tie, color=style.BLACK, lw=1.0, ls=":")
            foot = axes.get_xaxis_transform()
            style.note(axes, f"means tie at {tie:.2f}°", (tie, 0.03), (5, 0), xycoords=foot)
        axes.set_xlim(at[0], at[-1])
        axes.set_ylim(bottom=0)
        style.labels(
            axes,
            "scatter of the stone's slant on the face, standard deviation [°]",
            quantity("sessions"),
        )
        style.legend(axes, "upper right")
        ties = "No tie." if tie is None else f"On average they tie at {tie:.2f}°."
        describe(
            axes,
            title="Face and sides do not tie in this range of slants"
            if tie is None
            else "The face pays only for those who can lay the stone flat on it",
            kind="Line chart of sessions against the scatter of the stone's slant",
            shown="face (vermilion, dashed) and sides (blue) with bands from p10 to p90",
            finding=f"Face {middle[0]:.0f} sessions with no slant, {middle[-1]:.0f} at "
            f"{at[-1]:g}°; sides {sides.sessions_p50:.0f}. {ties}",
            caption="The bands overlap: single instruments differ more than the two ways do.",
        )
    return axes
