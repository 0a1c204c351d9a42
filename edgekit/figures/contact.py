"""Pictures of how the stone is held along an edge, and of what a fixed setting does there."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import cycle

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.contact.holder import Setting
from edgekit.contact.orientation import Orientation
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.figures import style
from edgekit.figures.words import describe

__all__ = ["orientation", "setting"]

ALONG = "along the edge from the heel [mm]"
MIN_SPAN_DEG = 2.0  # a constant angle must look constant, not like magnified rounding
MAX_THIN = 3  # settings whose lines are also drawn where they do not serve; more would tangle
CLIP = 4.0  # times the larger of tolerance and worst served error; beyond, lines leave the picture


def orientation(orientation: Orientation, ax: Axes | None = None) -> Axes:
    """Elevation and roll of the stone along an edge.

    Parameters
    ----------
    orientation : Orientation
    ax : Axes, optional
        Given: roll is drawn on a second scale at the right. Not given: two panels, elevation above
        roll.

    Returns
    -------
    Axes
        That of the elevation.

    Raises
    ------
    BadArgument
        `orientation` is not what `orient` returns, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> held = ek.orient(ek.patterns.universal_curette().edges["left"])
    >>> ek.figures.orientation(held).get_ylabel()
    'elevation [°]'
    """
    checks.instance("orientation", orientation, Orientation, "Take the result of ek.orient.")
    twins = ax is not None
    with style.styled():
        top, below = _panels(ax)
        angles = ((top, orientation.elevation_deg), (below, orientation.roll_deg))
        top.plot(orientation.arc_mm, orientation.elevation_deg, color=style.BLUE)
        below.plot(orientation.arc_mm, orientation.roll_deg, color=style.BLACK, ls="--")
        for panel, angle in angles:
            _span(panel, angle)
        if twins:  # two lines on one field need their names beside them
            top.yaxis.label.set_color(style.BLUE)
            _name_twins(top, below, orientation)
        lost = _mark_unreached(top, orientation)
        hatched = "; hatched: out of the stone's reach" if lost > 0 else ""
        (top if twins else below).set_xlabel(ALONG + hatched)
        top.set_ylabel("elevation [°]")
        below.set_ylabel("roll about the handle axis [°]" if twins else "roll [°]")
        low, high = orientation.elevation_deg.min(), orientation.elevation_deg.max()
        turn = float(np.ptp(orientation.roll_deg))
        describe(
            [top, below],
            title=f"{_elevation_words(low, high)}; the handle rolls through {turn:.0f}°",
            kind="Line chart of the stone's orientation",
            shown="elevation between handle axis and stone (solid blue), roll about the handle "
            "axis (dashed black)"
            + (", places the stone cannot reach (hatched)" if lost > 0 else ""),
            finding=f"Elevation {low:.1f}° to {high:.1f}°, roll through {turn:.1f}° over "
            f"{orientation.arc_mm[-1]:.2f} mm of edge; the stone cannot reach {100 * lost:.0f} % "
            "of the stations.",
        )
    return top


def _panels(ax: Axes | None) -> tuple[Axes, Axes]:
    """Axes of elevation and of roll: two panels, or two scales on the Axes given."""
    if ax is None:
        top, below = style.new_figure().subplots(2, 1, sharex=True)
        return top, below
    checks.instance("ax", ax, Axes, "Give the Axes of a matplotlib figure.")
    below = ax.twinx()
    below.spines["right"].set_visible(True)
    ax.tick_params(labelsize=style.RC["ytick.labelsize"])
    return ax, below


def _elevation_words(low: float, high: float) -> str:
    if high - low < 0.05:
        return f"One elevation, {low:.1f}°, serves the whole edge"
    return f"The elevation runs from {low:.1f}° to {high:.1f}°".replace("-", "−")


def _span(ax: Axes, angle: FloatArray) -> None:
    low, high = float(angle.min()), float(angle.max())
    spare = max(MIN_SPAN_DEG - (high - low), 0.16 * (high - low)) / 2
    ax.set_ylim(low - spare, high + spare)


def _name_twins(top: Axes, below: Axes, held: Orientation) -> None:
    """Direct labels: each where its line is farthest from the other one."""
    arc = held.arc_mm
    lines = [(top, held.elevation_deg), (below, held.roll_deg)]
    shares = [(angle - ax.get_ylim()[0]) / np.ptp(ax.get_ylim()) for ax, angle in lines]
    inner = slice(len(arc) // 8, -len(arc) // 8)
    k = len(arc) // 8 + int(np.argmax(np.abs(shares[0] - shares[1])[inner]))
    upper = bool(shares[0][k] > shares[1][k])
    names = ("elevation", style.BLUE, upper), ("roll", style.BLACK, not upper)
    for (ax, angle), (name, colour, upper_one) in zip(lines, names, strict=True):
        # On the far side of the other line, unless the frame is too near.
        share = float(shares[0 if ax is top else 1][k])
        above = share < 0.88 if upper_one else share < 0.12
        place: style.Look = {"ha": "center", "va": "bottom" if above else "top", "color": colour}
        style.note(ax, name, (arc[k], angle[k]), (0, 12 if above else -12), patch=0.8, **place)


def _mark_unreached(ax: Axes, held: Orientation) -> float:
    """Hatch the stations the stone cannot reach; their share."""
    lost = ~held.clear
    if lost.any():
        hatch: style.Look = {"facecolor": "none", "edgecolor": style.GREY, "hatch": "///", "lw": 0}
        across = ax.get_xaxis_transform()
        ax.fill_between(held.arc_mm, 0, 1, where=lost, transform=across, **hatch)
    return float(lost.mean())


def setting(
    setting_or_list: Setting | Sequence[Setting],
    *,
    tolerance_deg: float = value("tolerance_deg"),
    ax: Axes | None = None,
) -> Axes:
    """Angle error along the edge at one elevation or several, against a tolerance.

    Parameters
    ----------
    setting_or_list : Setting or sequence of Setting
        Thick where the setting serves the edge, thin where it would not be used.
    tolerance_deg : float
        Half the height of the band [deg].
    ax : Axes, optional

    Returns
    -------
    Axes
        Drawn on; a notebook shows them at the end of a cell.

    Raises
    ------
    BadArgument
        `setting_or_list` is not a `Setting` or several, or `ax` not Axes.

    Examples
    --------
    >>> import edgekit as ek
    >>> edge = ek.patterns.area_specific_curette().edges["used"]
    >>> ek.figures.setting(ek.settings_needed(edge)).get_ylabel()
    'internal angle, ground minus true [°]'
    """
    given = [setting_or_list] if isinstance(setting_or_list, Setting) else setting_or_list
    settings = checks.items_of("setting_or_list", given, Setting, "Take it from ek.best_setting.")
    if not settings:
        raise BadArgument("no setting to draw", settings, "Give one Setting or more.")
    checks.at_least("tolerance_deg", tolerance_deg, 0.0, "Give degrees, such as 2.")
    shared = len(settings) > 1 and not any(_served(s).all() for s in settings)
    thin = not shared or len(settings) <= MAX_THIN
    with style.canvas(ax) as axes:
        _draw_tolerance(axes, tolerance_deg)
        cut = _limits(axes, settings, tolerance_deg, shared)
        axes.set_xlim(settings[0].arc_mm[0], settings[0].arc_mm[-1])
        labels = [_draw_setting(axes, s, look, thin) for s, look in style.in_series(settings)]
        if shared:
            _number(axes, settings, tolerance_deg)
        else:
            style.end_labels(axes, labels)
        style.labels(axes, ALONG, "internal angle, ground minus true [°]")
        ends = thin and (cut or any(not np.isfinite(s.error_deg).all() for s in settings))
        describe(
            axes,
            title=_setting_title(settings, tolerance_deg),
            kind="Line chart of the angle error along an edge",
            shown=f"tolerance of ±{tolerance_deg:g}° (band); "
            + "; ".join(f"elevation {s.elevation_deg:.1f}°" for s in settings)
            + "; thick where a setting serves the edge",
            finding=" ".join(_setting_words(s) for s in settings),
            caption="Lines that end are out of reach or beyond the picture." if ends else "",
        )
    return axes


def _draw_tolerance(ax: Axes, tolerance_deg: float) -> None:
    ax.axhspan(-tolerance_deg, tolerance_deg, facecolor=style.SKY, alpha=0.22)
    ax.axhline(0.0, color=style.GREY, lw=0.8)
    for edge_of_band in (-tolerance_deg, tolerance_deg):
        ax.axhline(edge_of_band, color=style.BLACK, lw=0.6, ls=":")
    below: style.Look = {"va": "top", "xycoords": ax.get_yaxis_transform()}
    at = (0.012, -tolerance_deg)
    style.note(ax, f"tolerance ±{tolerance_deg:g}°", at, (0, -4), patch=0.8, **below)


def _limits(ax: Axes, settings: Sequence[Setting], tolerance_deg: float, shared: bool) -> bool:
    """Set the limits of the error; whether some of a line lies beyond them.

    Where settings share the edge out, what each does elsewhere matters little.
    """
    worst = [s.worst_error_deg for s in settings if np.isfinite(s.worst_error_deg)]
    reach = (1.0 if shared else CLIP) * max([tolerance_deg, *worst])
    errors = np.concatenate([s.error_deg[np.isfinite(s.error_deg)] for s in settings])
    low = max(float(errors.min(initial=0.0)), -reach)
    high = min(float(errors.max(initial=0.0)), reach)
    spare = 0.06 * (high - low)
    foot = min(low - spare, -1.6 * tolerance_deg, -0.3)
    top = max(high + spare, (2.3 * reach) if shared else 1.6 * tolerance_deg, 0.3)
    ax.set_ylim(foot, top)
    return bool((errors < foot).any() or (errors > top).any())


def _number(ax: Axes, settings: Sequence[Setting], tolerance_deg: float) -> None:
    """Number each stretch served, at three heights so that short ones do not run together."""
    top = ax.get_ylim()[1]
    base = max([tolerance_deg, *(s.worst_error_deg for s in settings)])
    heights = base + (top - base) * np.array([0.2, 0.5, 0.8])
    colours = [colour for _, (colour, _) in style.in_series(settings)]
    stretches = sorted(((a + b) / 2, k) for k, s in enumerate(settings) for a, b in s.stretches_mm)
    for (middle, k), height in zip(stretches, cycle(heights), strict=False):
        ax.plot([middle, middle], [base, height], color=style.GREY, lw=0.4)
        look: style.Look = {"color": colours[k], "ha": "center", "va": "center"}
        style.note(ax, f"{k + 1}", (middle, height), patch=1.0, **look)
    gap = min(0.09, 1.0 / len(settings))
    for k, (s, colour) in enumerate(zip(settings, colours, strict=True)):
        held = f"{k + 1}: {_held_words(s)}"
        ax.text(1.03, 0.97 - gap * k, held, transform=ax.transAxes, color=colour, va="center")


def _held_words(setting: Setting) -> str:
    return f"held at {setting.elevation_deg:.1f}°".replace("-", "−")


def _served(setting: Setting) -> NDArray[np.bool_]:
    arc = setting.arc_mm
    return np.asarray(np.any([(arc >= a) & (arc <= b) for a, b in setting.stretches_mm], axis=0))


def _draw_setting(
    ax: Axes, setting: Setting, look: tuple[str, object], thin: bool
) -> tuple[float, str, str]:
    """One setting's line, thick where it serves; its label for the right edge."""
    colour, dashes = look
    error = np.where(np.isfinite(setting.error_deg), setting.error_deg, np.nan)
    served = _served(setting)
    if thin:
        ax.plot(setting.arc_mm, error, color=colour, lw=0.9, ls=dashes)
    ax.plot(setting.arc_mm, np.where(served, error, np.nan), color=colour, lw=3.0, ls=dashes)
    finite = error[np.isfinite(error)]
    last = float(finite[-1]) if len(finite) else 0.0
    return last, _held_words(setting), colour


def _setting_title(settings: Sequence[Setting], tolerance_deg: float) -> str:
    worst = max(s.worst_error_deg for s in settings)
    if not np.isfinite(worst):
        return "The setting cannot touch the whole edge"
    kept = "within" if worst <= tolerance_deg + 1e-6 else "outside"
    if len(settings) == 1:
        return (
            f"Held at {settings[0].elevation_deg:.1f}° the angle is off by {worst:.1f}° at worst, "
            f"{kept} ±{tolerance_deg:g}°"
        )
    return (
        f"{len(settings)} settings: {worst:.1f}° off at worst where each serves, {kept} "
        f"±{tolerance_deg:g}°"
    )


def _setting_words(setting: Setting) -> str:
    where = ", ".join(f"{a:.2f} to {b:.2f} mm" for a, b in setting.stretches_mm)
    worst = (
        f"worst error {setting.worst_error_deg:.1f}°"
        if np.isfinite(setting.worst_error_deg)
        else "part of the edge cannot be touched"
    )
    return f"Elevation {setting.elevation_deg:.1f}° serves {where}: {worst}."
