"""Pictures of strength: sections, stress along a blade, and what a life leaves of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from edgekit.bending.beam import Direction
from edgekit.checks import fraction
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.life.life import Life
from edgekit.life.strength import Strength

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["strength", "strength_and_width", "worn_section"]


def worn_section(worn: Mapping[str, Strength], ax: Axes | None = None) -> Axes:
    """Sections at mid-blade, new and worn, over one another at one scale.

    Parameters
    ----------
    worn : mapping of name to Strength
        Of one blade.
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> ek.figures.worn_section({"sides": ek.strength(blade, load_n=5, recession=80)}).get_xlabel()
    'across the face [mm]'
    """
    first = _some(worn)
    with style.canvas(ax, (6.4, 3.6)) as axes:
        new = first.new_section_mm
        axes.fill(*new.T, facecolor="#E6E6E6", edgecolor=style.BLACK, lw=1.2, label="new")
        words = []
        for k, (name, item) in enumerate(worn.items()):
            colour, dashes = style.SERIES[k % len(style.SERIES)]
            outline = item.section_mm.reshape(-1, *new.shape)[-1]
            closed = np.concatenate([outline, outline[:1]])
            left = float(np.atleast_1d(item.strength_left)[-1])
            axes.plot(*closed.T, color=colour, ls=dashes, lw=1.8, label=f"{name}: {left:.0%} left")
            words.append(f"{name}: {left:.0%} of the new strength left.")
        axes.set_aspect("equal", adjustable="datalim")
        axes.set_xlabel("across the face [mm]")
        axes.set_ylabel("out of the face [mm]")
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.03), frameon=False, fontsize=8.5)
        style.title(axes, "What is left of the section, and how strong the blade still is")
        describe(
            axes,
            kind="Cross-sections at mid-blade",
            shown="new (grey); " + "; ".join(worn),
            finding=" ".join(words),
            caption=_CAPTION,
        )
    return axes


_CAPTION = "Bending only; notches, twist and fatigue are left out. A model result is an estimate."


def _some(worn: Mapping[str, Strength]) -> Strength:
    if not worn:
        raise EdgekitError("no strength to draw", dict(worn), "Give one or more.")
    return next(iter(worn.values()))


def strength(result: Strength, ax: Axes | None = None) -> Axes:
    """Bending stress along the blade, new and worn, for both directions of the load.

    Parameters
    ----------
    result : Strength
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> ek.figures.strength(ek.strength(blade, load_n=5, recession=80)).get_ylabel()
    'bending stress [MPa]'
    """
    now = result.stress_mpa.reshape(-1, *result.new_mpa.shape)[-1]
    risk = result.most_at_risk
    left = float(np.atleast_1d(result.strength_left)[-1])
    where = "at the heel" if risk.arc_mm < 0.05 else f"{risk.arc_mm:.1f} mm from the heel"
    with style.canvas(ax) as axes:
        for i, (way, colour) in enumerate(
            zip(Direction, (style.BLUE, style.VERMILION), strict=True)
        ):
            axes.plot(
                result.arc_mm,
                now[i],
                color=colour,
                lw=2.0,
                ls=("-", "--")[i],
                label=f"worn, load {way.value}",
            )
            axes.plot(
                result.arc_mm,
                result.new_mpa[i],
                color=colour,
                lw=1.0,
                ls=("-", "--")[i],
                alpha=0.6,
                label=f"new, load {way.value}",
            )
        axes.plot(risk.arc_mm, risk.stress_mpa, "o", color=style.BLACK, ms=6, clip_on=False)
        axes.set_ylim(0, 1.15 * risk.stress_mpa)
        axes.set_xlabel("along the edge from the heel [mm]")
        axes.set_ylabel("bending stress [MPa]")
        axes.legend(loc="upper right", frameon=False, fontsize=8.5)
        style.title(
            axes,
            f"With {result.load_n:g} N at the toe the risk is highest {where}; {left:.0%} of the "
            "strength is left",
        )
        describe(
            axes,
            kind="Line chart of bending stress along the blade",
            shown="worn (thick) and new (thin), load square to the face (solid) and in it (dashed); "
            "dot: most at risk",
            finding=f"Most at risk: {risk}. {left:.0%} of the new blade's strength is left.",
            caption=_CAPTION,
        )
    return axes


def strength_and_width(
    lives: Mapping[str, Life],
    ax: Axes | None = None,
    *,
    width_fraction: float = value("retire_width_fraction"),
    strength_fraction: float = value("retire_strength_fraction"),
) -> Axes:
    """Strength and width left against sessions, with a limit for each.

    Parameters
    ----------
    lives : mapping of name to Life
        Of one blade; a life that went on past the limits shows both being crossed.
    ax : Axes, optional
    width_fraction, strength_fraction : float
        Share of the width that may go, and share of the strength that must be left.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> life = ek.live(blade, ek.methods.held(15.0), rng=np.random.default_rng(1))
    >>> ek.figures.strength_and_width({"held": life}).get_xlabel()
    'sessions [count]'
    """
    if not lives:
        raise EdgekitError("no life to draw", dict(lives), "Give one or more.")
    from matplotlib.ticker import MaxNLocator

    narrow = fraction("width_fraction", width_fraction)
    weak = fraction("strength_fraction", strength_fraction)
    words = []
    with style.canvas(ax) as axes:
        for k, (name, life) in enumerate(lives.items()):
            colour = style.SERIES[k % len(style.SERIES)][0]
            turns = np.arange(life.sessions + 1)
            width = 1 - np.concatenate([[0], life.history["mean_width_um"]]) / 1000 / (
                life.blade.width_mm
            )
            left = np.concatenate([[1], life.strength_left])
            axes.plot(turns, left, color=colour, lw=2.0, label=f"{name}: strength left")
            axes.plot(turns, width, color=colour, lw=1.4, ls="--", label=f"{name}: width left")
            words.append(
                f"{name}: strength below {weak:.0%} {_when(left, weak)}, width below "
                f"{1 - narrow:.0%} {_when(width, 1 - narrow)}."
            )
        for at, text in (
            (1 - narrow, f"{1 - narrow:.0%} of width"),
            (weak, f"{weak:.0%} of strength"),
        ):
            axes.axhline(at, color=style.BLACK, lw=1.0, ls=":")
            axes.annotate(
                text,
                (1.0, at),
                (6, 0),
                xycoords=axes.get_yaxis_transform(),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
                annotation_clip=False,
            )
        axes.set_xlim(left=0)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("sessions [count]")
        axes.set_ylabel("left of the new blade [1]")
        axes.legend(loc="lower left", frameon=False, fontsize=8.5)
        style.title(axes, "Which limit comes first, width or strength")
        describe(
            axes,
            kind="Line chart of strength and width left against sessions",
            shown="strength (solid), width (dashed), their limits (dotted)",
            finding=" ".join(words),
            caption="The limit by width is published (Murray et al. 1984); the limit by strength is "
            "assumed. " + _CAPTION,
        )
    return axes


def _when(left: np.ndarray, limit: float) -> str:
    below = np.flatnonzero(left < limit)
    return f"at session {below[0]}" if len(below) else "not yet"
