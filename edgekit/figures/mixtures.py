"""Pictures of grinding the face or the sides: sessions by mixture, and by how steady the stone lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.study.face_or_sides import FaceOrSides

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["face_or_sides", "slant"]

RULES = (("by_width", "width"), ("by_thickness", "thickness"), ("by_strength", "strength"))


def face_or_sides(result: FaceOrSides, ax: Axes | None = None) -> Axes:
    """Sessions against the share of them that grind the face: lives, and the case without errors.

    Parameters
    ----------
    result : FaceOrSides
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.face_or_sides(ek.patterns.universal_curette(), runs=4, seed=1)
    >>> ek.figures.face_or_sides(result).get_ylabel()
    'sessions until retired [count]'
    """
    table, ideal = result.table, result.ideal
    ends = [ideal["by_thickness"].iloc[-1], ideal["by_width"].iloc[0], ideal["sessions"].max()]
    top = 1.15 * float(max(*ends, table["sessions_p90"].max()))
    with style.canvas(ax) as axes:
        share = ideal["face_share"].to_numpy()
        for k, (name, words) in enumerate(RULES):
            colour, dashes = style.SERIES[k]
            axes.plot(
                share,
                np.minimum(ideal[name], 10 * top),
                color=colour,
                ls=dashes,
                lw=1.4,
                label=f"no errors: {words} used up",
            )
        axes.plot(
            share,
            ideal["sessions"],
            color=style.GREY,
            lw=5,
            alpha=0.35,
            label="no errors: the first of them",
        )
        middle = table["sessions_p50"].to_numpy()
        spread = np.abs(table[["sessions_p10", "sessions_p90"]].to_numpy().T - middle)
        axes.errorbar(
            table["face_share"],
            middle,
            yerr=spread,
            fmt="o",
            color=style.BLACK,
            capsize=4,
            lw=1.2,
            label="lives: median, p10 to p90",
        )
        axes.set_ylim(0, top)
        axes.set_xlim(-0.04, 1.04)
        axes.set_xlabel("share of the sessions that grind the face [1]")
        axes.set_ylabel("sessions until retired [count]")
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.03), frameon=False, fontsize=8.5)
        best = table.iloc[int(np.argmax(middle))]
        perfect = ideal.iloc[int(np.argmax(ideal["sessions"]))]
        style.title(
            axes,
            f"{result.blade.name}: with errors of the hand at most {best.sessions_p50:.0f} sessions, "
            f"without them {perfect.sessions:.0f}",
        )
        rows = " ".join(
            f"{row.method}: {row.sessions_p50:.0f} ({row.sessions_p10:.0f} to {row.sessions_p90:.0f})."
            for row in table.itertuples()
        )
        describe(
            axes,
            kind="Chart of sessions against the share of sessions on the face",
            shown="lives (dots, bars from p10 to p90); without errors the sessions until width, "
            "thickness and strength are used up (lines), and the first of them (grey)",
            finding=f"{rows} Without errors the most is {perfect.sessions:.0f} sessions at "
            f"{perfect.face_share:.0%} on the face.",
            caption=str(result.crossover),
        )
    return axes


def slant(result: FaceOrSides, ax: Axes | None = None) -> Axes:
    """Sessions of face grinding against how much the stone's slant on the face scatters.

    Parameters
    ----------
    result : FaceOrSides
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> result = ek.face_or_sides(ek.patterns.universal_curette(), runs=4, seed=1)
    >>> ek.figures.slant(result).get_ylabel()
    'sessions until retired [count]'
    """
    tilt, sides = result.by_tilt, result.table.iloc[0]
    with style.canvas(ax) as axes:
        at = tilt["tilt_sd_deg"].to_numpy()
        axes.fill_between(
            at, tilt["sessions_p10"], tilt["sessions_p90"], color=style.VERMILION, alpha=0.15, lw=0
        )
        axes.plot(
            at,
            tilt["sessions_p50"],
            color=style.VERMILION,
            lw=2.0,
            marker="o",
            ls="--",
            label="face: median, band p10 to p90",
        )
        axes.axhspan(sides.sessions_p10, sides.sessions_p90, color=style.BLUE, alpha=0.12, lw=0)
        axes.axhline(
            sides.sessions_p50, color=style.BLUE, lw=2.0, label="sides: median, band p10 to p90"
        )
        tie = result.tilt_tie_deg
        if tie is not None:
            axes.axvline(tie, color=style.BLACK, lw=1.0, ls=":")
            axes.annotate(
                f"tie at {tie:.2f}°",
                (tie, 0.03),
                (5, 0),
                xycoords=axes.get_xaxis_transform(),
                textcoords="offset points",
                fontsize=8.5,
            )
        axes.set_xlim(at[0], at[-1])
        axes.set_ylim(bottom=0)
        axes.set_xlabel("scatter of the stone's slant on the face, standard deviation [°]")
        axes.set_ylabel("sessions until retired [count]")
        axes.legend(loc="upper right", frameon=False, fontsize=8.5)
        style.title(
            axes,
            "The face pays only for who can lay the stone flat on it"
            if tie is not None
            else "Face and sides do not tie in this range of slants",
        )
        describe(
            axes,
            kind="Line chart of sessions against the scatter of the stone's slant",
            shown="face (vermilion, dashed) and sides (blue) with bands from p10 to p90",
            finding=(
                f"Face {tilt['sessions_p50'].iloc[0]:.0f} sessions with no slant, "
                f"{tilt['sessions_p50'].iloc[-1]:.0f} at {at[-1]:g}°; sides "
                f"{sides.sessions_p50:.0f}. "
                + (f"On average they tie at {tie:.2f}°." if tie is not None else "No tie.")
            ),
            caption="The bands overlap: single instruments differ more than the two ways do.",
        )
    return axes
