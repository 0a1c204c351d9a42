"""Pictures of the finish: lay along the edge, the edge line as seen, teeth against strokes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from edgekit.checks import positive
from edgekit.edge_finish.blunting import Blunting, OnCounterface
from edgekit.edge_finish.report import Finish
from edgekit.errors import EdgekitError
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.method.lay import Lay

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["blunting", "edge_line", "lay", "teeth_and_strokes"]


def lay(lays: Mapping[str, Lay] | Lay | Finish, ax: Axes | None = None) -> Axes:
    """How far the scratches are from following the edge, heel to toe.

    Parameters
    ----------
    lays : mapping of name to Lay, Lay or Finish
    ax : Axes, optional

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.figures.lay(ek.lay(edge, ek.along_edge())).get_xlabel()
    'along the edge from the heel [mm]'
    """
    named = _named(lays)
    with style.canvas(ax) as axes:
        words = []
        for k, (name, item) in enumerate(named.items()):
            colour, dashes = style.SERIES[k % len(style.SERIES)]
            off = item.off_edge_deg
            axes.plot(item.arc_mm, off, color=colour, ls=dashes, lw=2.0, label=name)
            words.append(f"{name}: {off.min():.0f}° to {off.max():.0f}°.")
        axes.set_ylim(-4, 94)
        axes.set_yticks([0, 30, 60, 90], ["0 along", "30", "60", "90 across"])
        axes.set_xlabel("along the edge from the heel [mm]")
        axes.set_ylabel("scratches to the edge [°]")
        axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.03), frameon=False, fontsize=8.5)
        follows = [name for name, item in named.items() if item.off_edge_deg.max() < 10]
        style.title(
            axes,
            f"Follows the curve all along: {', '.join(follows)}; the rest do not"
            if len(follows) < len(named)
            else "These strokes follow the curve all along"
            if follows
            else "None of these strokes follows the edge all along",
        )
        describe(
            axes,
            kind="Line chart of scratch direction along the edge",
            shown="; ".join(named) + "; 0 is along the edge, 90 across it",
            finding=" ".join(words),
        )
    return axes


def _named(given: Mapping[str, Lay] | Lay | Finish) -> dict[str, Lay]:
    if isinstance(given, Finish):
        return {str(given.stroke): given.lay}
    named = {"this stroke": given} if isinstance(given, Lay) else dict(given)
    if not named:
        raise EdgekitError("no lay to draw", given, "Give one or more.")
    return named


def edge_line(
    finishes: Mapping[str, Finish], ax: Axes | None = None, *, window_um: float = 200.0
) -> Axes:
    """Edge lines as the magnification shows them, one above the other at one scale.

    Parameters
    ----------
    finishes : mapping of name to Finish
        At one magnification.
    ax : Axes, optional
    window_um : float
        Length shown, from the middle of the edge.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.freehand(), rng=np.random.default_rng(1))
    >>> ek.figures.edge_line({"across": made}).get_xlabel()
    'along the edge [µm]'
    """
    if not finishes:
        raise EdgekitError("no finish to draw", dict(finishes), "Give one or more.")
    window = positive("window_um", window_um, "Give micrometres.")
    cut = {name: _window(item, window) for name, item in finishes.items()}
    step = 1.25 * max(float(np.ptp(z)) for _, z in cut.values())
    words = []
    with style.canvas(ax, (6.4, 1.3 + 1.1 * len(cut))) as axes:
        for k, (name, (x, z)) in enumerate(cut.items()):
            item, colour = finishes[name], style.SERIES[k % len(style.SERIES)][0]
            base = -k * step
            axes.fill_between(x, z + base, base - step / 2, color="#DDDDDD", lw=0)
            axes.plot(x, z + base, color=colour, lw=1.2)
            low, high = item.teeth_range_per_mm
            text = f"{item.teeth_per_mm:.0f} teeth per mm ({low:.0f} to {high:.0f})"
            axes.annotate(
                f"{name}:\n{text}",
                (1.0, base),
                (6, 0),
                xycoords=axes.get_yaxis_transform(),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
                color=colour,
                annotation_clip=False,
            )
            words.append(f"{name}: {text}, Ra {item.roughness.ra_um:.2g} µm.")
        axes.set_xlim(0, window)
        axes.set_ylim(-(len(cut) - 0.5) * step, 0.6 * step)
        axes.set_xlabel("along the edge [µm]")
        axes.set_ylabel("out of the steel [µm]")
        first = next(iter(finishes.values()))
        style.title(axes, f"The edge line at {first.magnification:g} times, heights drawn enlarged")
        describe(
            axes,
            kind="Drawing of the edge line seen square to the face, steel below",
            shown=f"{window:g} µm of each edge: {'; '.join(cut)}",
            finding=" ".join(words),
            caption=f"In brackets the 80 % range. Waves below {first.min_wavelength_um:.2g} µm do not show. "
            "The line is one random draw.",
        )
    return axes


def _window(item: Finish, window_um: float) -> tuple[np.ndarray, np.ndarray]:
    x, z = item.profile.x_um, item.profile.z_um
    start = max((x[-1] - window_um) / 2, 0.0)
    inside = (x >= start) & (x <= start + window_um)
    return x[inside] - start, z[inside] - z[inside].mean()


def teeth_and_strokes(blunting: Blunting, ax: Axes | None = None) -> Axes:
    """Share of the edge that bears the load against strokes, on each counterface.

    Parameters
    ----------
    blunting : Blunting
    ax : Axes, optional

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.powered(), rng=np.random.default_rng(1))
    >>> ek.figures.teeth_and_strokes(ek.blunting(made)).get_xlabel()
    'strokes of use [count]'
    """
    with style.canvas(ax) as axes:
        words, latest = [], 4.0
        for k, case in enumerate(blunting.cases):
            colour, dashes = style.SERIES[k % len(style.SERIES)]
            hard = f"{case.name} ({case.contact.counterface_hv:g} HV)"
            axes.plot(
                case.toothed.strokes,
                case.bearing,
                color=colour,
                ls=dashes,
                lw=2.0,
                marker="o",
                ms=3,
                label=hard,
            )
            words.append(_level_words(hard, case))
            latest = max(latest, case.level_after() or 0.0)
        axes.set_xlim(0, 3 * latest)
        axes.set_ylim(0, 1.04)
        axes.set_xlabel("strokes of use [count]")
        axes.set_ylabel("share of the edge that bears the load [1]")
        axes.legend(loc="lower right", frameon=False, fontsize=8.5)
        title = f"Teeth {blunting.tooth_rq_um:.2f} µm high stand proud only on hard surfaces, and not for long"
        if all(case.sunk_in for case in blunting.cases):
            title = "On surfaces this soft the whole edge sinks in: teeth bear no more than valleys"
        style.title(axes, title)
        describe(
            axes,
            kind="Line chart of the share of the edge that bears the load against strokes",
            shown="; ".join(case.name for case in blunting.cases) + "; 1 is a smooth edge",
            finding=" ".join(words),
            caption=blunting.statement,
        )
    return axes


def _level_words(name: str, case: OnCounterface) -> str:
    if case.sunk_in:
        return f"{name}: the whole edge sinks in from the first stroke."
    span = case.level_range()
    if span is None:
        return f"{name}: teeth not level after {case.toothed.strokes[-1]:g} strokes."
    return f"{name}: level after {case.level_after():.2g} strokes (80 % range {span[0]:.1g} to {span[1]:.2g})."


def blunting(case: OnCounterface, ax: Axes | None = None) -> Axes:
    """Recession of a toothed and a smooth edge of one angle against strokes, on one counterface.

    Parameters
    ----------
    case : OnCounterface
        One of ``Blunting.cases``.
    ax : Axes, optional

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.powered(), rng=np.random.default_rng(1))
    >>> ek.figures.blunting(ek.blunting(made).cases[2]).get_ylabel()
    'recession along the bisector [µm]'
    """
    strokes = case.toothed.strokes
    rows = (
        ("highest tooth", case.toothed.top_recession_um, style.VERMILION, "-"),
        ("smooth edge", case.smooth.recession_um, style.BLUE, "-"),
        ("toothed edge, mean", case.toothed.recession_um, style.VERMILION, "--"),
    )
    with style.canvas(ax) as axes:
        for name, values, colour, dashes in rows:
            axes.plot(strokes, values, color=colour, ls=dashes, lw=2.0, label=name)
        axes.set_xlim(0, strokes[-1])
        axes.set_ylim(bottom=0)
        axes.set_xlabel("strokes of use [count]")
        axes.set_ylabel("recession along the bisector [µm]")
        axes.legend(loc="lower right", frameon=False, fontsize=8.5)
        gap = case.toothed.top_recession_um[-1] - case.smooth.recession_um[-1]
        style.title(
            axes,
            f"Against {case.name}, the teeth lose {gap:.2f} µm more than a smooth edge, early on",
        )
        describe(
            axes,
            kind="Line chart of recession against strokes",
            shown="; ".join(name for name, *_ in rows),
            finding=f"After {strokes[-1]:g} strokes the highest tooth has gone back "
            f"{case.toothed.top_recession_um[-1]:.2f} µm, a smooth edge "
            f"{case.smooth.recession_um[-1]:.2f} µm; edge radius then "
            f"{case.toothed.contact_radius_um[-1]:.1f} and {case.smooth.contact_radius_um[-1]:.1f} µm.",
            caption=case.toothed.statement,
        )
    return axes
