"""Pictures of strength: sections, stress along a blade, and what a life leaves of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from edgekit import checks
from edgekit.bending.beam import Direction
from edgekit.bending.strength import Strength
from edgekit.checks import FloatArray
from edgekit.evidence_table import value
from edgekit.figures import style
from edgekit.figures.contact import ALONG
from edgekit.figures.words import describe
from edgekit.life.life import Life
from edgekit.units import UM_PER_MM

__all__ = ["strength", "strength_and_width", "worn_section"]

LEFT_OUT = "Bending only; notches, twist and fatigue are left out. A model result is an estimate."
LIMITS = (
    "The limit by width is derived from Murray et al. 1984, the limit by strength is assumed. "
    + LEFT_OUT
)


def worn_section(worn: Mapping[str, Strength], ax: Axes | None = None) -> Axes:
    """Sections at mid-blade, new and worn, over one another at one scale.

    Parameters
    ----------
    worn : mapping of name to Strength
        Of one blade.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `worn` is not a mapping of `Strength`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> worn = ek.strength(ek.WornBlade.from_recession(blade, 80), load_n=5)
    >>> ek.figures.worn_section({"sides": worn}).get_xlabel()
    'across the face [mm]'
    """
    style.named("worn", worn, Strength, 'Give {"name": ek.strength(...)}.')
    left = {name: float(np.atleast_1d(item.strength_left)[-1]) for name, item in worn.items()}
    with style.canvas(ax, (6.4, 3.6)) as axes:
        new = next(iter(worn.values())).new_section_mm
        axes.fill(*new.T, facecolor="#E6E6E6", edgecolor=style.BLACK, lw=1.2, label="new")
        for (name, item), (colour, dashes) in style.in_series(worn.items()):
            outline = item.section_mm.reshape(-1, *new.shape)[-1]
            closed = np.concatenate([outline, outline[:1]])
            label = f"{name}: {left[name]:.0%} left"
            axes.plot(*closed.T, color=colour, ls=dashes, lw=1.8, label=label)
        axes.set_aspect("equal", adjustable="datalim")
        style.labels(axes, "across the face [mm]", "out of the face [mm]")
        style.legend(axes)
        describe(
            axes,
            title="What is left of the section, and how strong the blade still is",
            kind="Cross-sections at mid-blade",
            shown="new (grey); " + "; ".join(worn),
            finding=" ".join(
                f"{n}: {share:.0%} of the new strength left." for n, share in left.items()
            ),
            caption=LEFT_OUT,
        )
    return axes


def strength(result: Strength, ax: Axes | None = None) -> Axes:
    """Bending stress along the blade, new and worn, for both directions of the load.

    Parameters
    ----------
    result : Strength
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `result` is not a `Strength`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> worn = ek.strength(ek.WornBlade.from_recession(blade, 80), load_n=5)
    >>> ek.figures.strength(worn).get_ylabel()
    'bending stress [MPa]'
    """
    checks.instance("result", result, Strength, "Take the result of ek.strength.")
    worn = result.stress_mpa.reshape(-1, *result.new_mpa.shape)[-1]
    risk = result.most_at_risk
    left = float(np.atleast_1d(result.strength_left)[-1])
    where = "at the heel" if risk.arc_mm < 0.05 else f"{risk.arc_mm:.1f} mm from the heel"
    looks = ((style.BLUE, "-"), (style.VERMILION, "--"))
    with style.canvas(ax) as axes:
        for load, now, new, (colour, dashes) in zip(
            Direction, worn, result.new_mpa, looks, strict=True
        ):
            look: style.Look = {"color": colour, "ls": dashes}
            axes.plot(result.arc_mm, now, lw=2.0, label=f"worn, load {load.value}", **look)
            axes.plot(
                result.arc_mm, new, lw=1.0, alpha=0.6, label=f"new, load {load.value}", **look
            )
        axes.plot(risk.arc_mm, risk.stress_mpa, "o", color=style.BLACK, ms=6, clip_on=False)
        axes.set_ylim(0, 1.15 * risk.stress_mpa)
        style.labels(axes, ALONG, "bending stress [MPa]")
        style.legend(axes, "upper right")
        describe(
            axes,
            title=f"With {result.load_n:g} N at the toe the risk is highest {where}; {left:.0%} of "
            "the strength is left",
            kind="Line chart of bending stress along the blade",
            shown="worn (thick) and new (thin), load square to the face (solid) and in it "
            "(dashed); dot: most at risk",
            finding=f"Most at risk: {risk}. {left:.0%} of the new blade's strength is left.",
            caption=LEFT_OUT,
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

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `lives` is not a mapping of `Life`, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> blade = ek.patterns.universal_curette()
    >>> life = ek.live(blade, ek.methods.held(15.0), rng=np.random.default_rng(1))
    >>> ek.figures.strength_and_width({"held": life}).get_xlabel()
    'sessions [count]'
    """
    style.named("lives", lives, Life, 'Give {"name": ek.live(...)}.')
    narrow = 1 - checks.fraction("width_fraction", width_fraction)
    weak = checks.fraction("strength_fraction", strength_fraction)
    crossings = []
    with style.canvas(ax) as axes:
        for (name, life), (colour, _) in style.in_series(lives.items()):
            left, width = _left_by_session(life)
            axes.plot(left, color=colour, lw=2.0, label=f"{name}: strength left")
            axes.plot(width, color=colour, lw=1.4, ls="--", label=f"{name}: width left")
            crossings.append(
                f"{name}: strength below {weak:.0%} {_when(left, weak)}, width below "
                f"{narrow:.0%} {_when(width, narrow)}."
            )
        for limit, of in ((narrow, "width"), (weak, "strength")):
            axes.axhline(limit, color=style.BLACK, lw=1.0, ls=":")
            style.margin_note(axes, f"{limit:.0%} of {of}", limit)
        axes.set_xlim(left=0)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        style.labels(axes, "sessions [count]", "left of the new blade [1]")
        style.legend(axes, "lower left")
        describe(
            axes,
            title="Which limit comes first, width or strength",
            kind="Line chart of strength and width left against sessions",
            shown="strength (solid), width (dashed), their limits (dotted)",
            finding=" ".join(crossings),
            caption=LIMITS,
        )
    return axes


def _left_by_session(life: Life) -> tuple[FloatArray, FloatArray]:
    """Shares of strength and of width left, from the new blade on."""
    lost_mm = np.concatenate([[0], life.history["mean_width_um"]]) / UM_PER_MM
    return np.concatenate([[1], life.strength_left]), 1 - lost_mm / life.blade.width_mm


def _when(left: FloatArray, limit: float) -> str:
    below = np.flatnonzero(left < limit)
    return f"at session {below[0]}" if len(below) else "not yet"
