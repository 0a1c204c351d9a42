"""Pictures of the finish: lay along the edge, the edge line as seen, teeth against strokes."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.edge_finish.blunting import Blunting, OnCounterface
from edgekit.edge_finish.report import Finish
from edgekit.figures import style
from edgekit.figures.contact import ALONG
from edgekit.figures.words import describe
from edgekit.method.lay import Lay

__all__ = ["blunting", "edge_line", "lay", "teeth_and_strokes"]


def lay(lays: Mapping[str, Lay] | Lay | Finish, ax: Axes | None = None) -> Axes:
    """How far the scratches are from following the edge, heel to toe.

    Parameters
    ----------
    lays : mapping of name to Lay, Lay or Finish
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `lays` is not a `Lay`, a `Finish` or a mapping of `Lay`, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> ek.figures.lay(ek.lay(edge, ek.along_edge())).get_xlabel()
    'along the edge from the heel [mm]'
    """
    given = _by_name(lays)
    off = {name: item.off_edge_deg for name, item in given.items()}
    with style.canvas(ax) as axes:
        for (name, item), (colour, dashes) in style.in_series(given.items()):
            axes.plot(item.arc_mm, off[name], color=colour, ls=dashes, lw=2.0, label=name)
        axes.set_ylim(-4, 94)
        axes.set_yticks([0, 30, 60, 90], ["0 along", "30", "60", "90 across"])
        style.labels(axes, ALONG, "scratches to the edge [°]")
        style.legend(axes)
        describe(
            axes,
            title=_lay_title(off),
            kind="Line chart of scratch direction along the edge",
            shown="; ".join(off) + "; 0 is along the edge, 90 across it",
            finding=" ".join(
                f"{n}: {deg.min():.0f}° to {deg.max():.0f}°." for n, deg in off.items()
            ),
        )
    return axes


def _lay_title(off_deg: Mapping[str, FloatArray]) -> str:
    follows = [name for name, off in off_deg.items() if off.max() < 10]
    if not follows:
        return "None of these strokes follows the edge all along"
    if len(follows) == len(off_deg):
        return "These strokes follow the curve all along"
    return f"Follows the curve all along: {', '.join(follows)}; the rest do not"


def _by_name(given: Mapping[str, Lay] | Lay | Finish) -> dict[str, Lay]:
    if isinstance(given, Finish):
        return {str(given.stroke): given.lay}
    lays = {"this stroke": given} if isinstance(given, Lay) else given
    style.named("lays", lays, Lay, 'Give {"name": ek.lay(...)}.')
    return dict(lays)


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

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `finishes` is not a mapping of `Finish`, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.freehand(), rng=np.random.default_rng(1))
    >>> ek.figures.edge_line({"across": made}).get_xlabel()
    'along the edge [µm]'
    """
    style.named("finishes", finishes, Finish, 'Give {"name": ek.finish(...)}.')
    window = checks.positive("window_um", window_um, "Give micrometres.")
    cut = {name: _window(item, window) for name, item in finishes.items()}
    teeth = {name: _teeth_words(item) for name, item in finishes.items()}
    step = 1.25 * max(float(np.ptp(z)) for _, z in cut.values())
    with style.canvas(ax, (6.4, 1.3 + 1.1 * len(cut))) as axes:
        for k, ((name, (x, z)), (colour, _)) in enumerate(style.in_series(cut.items())):
            base = -k * step
            axes.fill_between(x, z + base, base - step / 2, color="#DDDDDD", lw=0)
            axes.plot(x, z + base, color=colour, lw=1.2)
            style.margin_note(axes, f"{style.shorten(name)}:\n{teeth[name]}", base, color=colour)
        axes.set_xlim(0, window)
        axes.set_ylim(-(len(cut) - 0.5) * step, 0.6 * step)
        style.labels(axes, "along the edge [µm]", "out of the steel [µm]")
        first = next(iter(finishes.values()))
        describe(
            axes,
            title=f"The edge line at {first.magnification:g} times, heights drawn enlarged",
            kind="Drawing of the edge line seen square to the face, steel below",
            shown=f"{window:g} µm of each edge: {'; '.join(cut)}",
            finding=" ".join(
                f"{name}: {teeth[name]}, Ra {item.roughness.ra_um:.2g} µm."
                for name, item in finishes.items()
            ),
            caption="In brackets the 80 % range. Waves below "
            f"{first.min_wavelength_um:.2g} µm do not show. The line is one random draw."
            + _stones_words(list(finishes.values())),
        )
    return axes


def _stones_words(finishes: list[Finish]) -> str:
    """Which stones of those shown can be told apart by their teeth."""
    pairs = itertools.combinations(finishes, 2)
    return "".join(f" {a.told_apart(b)}." for a, b in pairs if a.abrasive.name != b.abrasive.name)


def _teeth_words(item: Finish) -> str:
    low, high = item.teeth_range_per_mm
    return f"{item.teeth_per_mm:.0f} teeth per mm ({low:.0f} to {high:.0f})"


def _window(item: Finish, window_um: float) -> tuple[FloatArray, FloatArray]:
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

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `blunting` is not a `Blunting`, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.powered(), rng=np.random.default_rng(1))
    >>> ek.figures.teeth_and_strokes(ek.blunting(made)).get_xlabel()
    'strokes of use [count]'
    """
    checks.instance("blunting", blunting, Blunting, "Take the result of ek.blunting.")
    hard = [f"{case.name} ({case.contact.counterface_hv:g} HV)" for case in blunting.cases]
    latest = max(4.0, *(case.level_after() or 0.0 for case in blunting.cases))
    with style.canvas(ax) as axes:
        lines = style.in_series(zip(hard, blunting.cases, strict=True))
        for (name, case), (colour, dashes) in lines:
            look: style.Look = {"color": colour, "ls": dashes, "lw": 2.0, "marker": "o", "ms": 3}
            axes.plot(case.toothed.strokes, case.bearing, label=name, **look)
        axes.set_xlim(0, 3 * latest)
        axes.set_ylim(0, 1.04)
        style.labels(axes, "strokes of use [count]", "share of the edge that bears the load [1]")
        style.legend(axes, "lower right")
        describe(
            axes,
            title="On surfaces this soft the whole edge sinks in: teeth bear no more than valleys"
            if all(case.sunk_in for case in blunting.cases)
            else f"Teeth {blunting.tooth_rq_um:.2f} µm high stand proud only on hard surfaces, and "
            "not for long",
            kind="Line chart of the share of the edge that bears the load against strokes",
            shown="; ".join(case.name for case in blunting.cases) + "; 1 is a smooth edge",
            finding=" ".join(map(_level_words, hard, blunting.cases)),
            caption=blunting.statement,
        )
    return axes


def _level_words(name: str, case: OnCounterface) -> str:
    if case.sunk_in:
        return f"{name}: the whole edge sinks in from the first stroke."
    span = case.level_range()
    if span is None:
        return f"{name}: teeth not level after {case.toothed.strokes[-1]:g} strokes."
    low, high = span
    after = case.level_after()
    return f"{name}: level after {after:.2g} strokes (80 % range {low:.1g} to {high:.2g})."


def blunting(case: OnCounterface, ax: Axes | None = None) -> Axes:
    """Recession of a toothed and a smooth edge of one angle against strokes, on one counterface.

    Parameters
    ----------
    case : OnCounterface
        One of ``Blunting.cases``.
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `case` is not one case of a `Blunting`, or `ax` not Axes.

    Examples
    --------
    >>> import numpy as np, edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> made = ek.finish(edge, ek.methods.powered(), rng=np.random.default_rng(1))
    >>> ek.figures.blunting(ek.blunting(made).cases[2]).get_ylabel()
    'recession along the bisector [µm]'
    """
    checks.instance("case", case, OnCounterface, "Give one of ek.blunting(...).cases.")
    strokes, toothed, smooth = case.toothed.strokes, case.toothed, case.smooth
    lines = (
        ("highest tooth", toothed.top_recession_um, style.VERMILION, "-"),
        ("smooth edge", smooth.recession_um, style.BLUE, "-"),
        ("toothed edge, mean", toothed.recession_um, style.VERMILION, "--"),
    )
    top_um, smooth_um = toothed.top_recession_um[-1], smooth.recession_um[-1]
    with style.canvas(ax) as axes:
        for name, values, colour, dashes in lines:
            axes.plot(strokes, values, color=colour, ls=dashes, lw=2.0, label=name)
        axes.set_xlim(0, strokes[-1])
        axes.set_ylim(bottom=0)
        style.labels(axes, "strokes of use [count]", "recession along the bisector [µm]")
        style.legend(axes, "lower right")
        describe(
            axes,
            title=f"Against {case.name}, the teeth lose {top_um - smooth_um:.2f} µm more than a "
            "smooth edge, early on",
            kind="Line chart of recession against strokes",
            shown="; ".join(name for name, *_ in lines),
            finding=f"After {strokes[-1]:g} strokes the highest tooth has gone back {top_um:.2f} "
            f"µm, a smooth edge {smooth_um:.2f} µm; edge radius then "
            f"{toothed.contact_radius_um[-1]:.1f} and {smooth.contact_radius_um[-1]:.1f} µm.",
            caption=toothed.statement,
        )
    return axes
