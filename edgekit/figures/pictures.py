"""Pictures of what was measured in pictures: the outline, the loss along an edge, the budget."""

import numpy as np
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.digitising.pictures.budget import COVERAGE, Budget
from edgekit.digitising.pictures.loss import WidthLoss
from edgekit.digitising.pictures.outlines.blade_outline import Outline, Quality
from edgekit.digitising.pictures.widths import Width
from edgekit.figures import style
from edgekit.figures.words import describe

__all__ = ["outline", "uncertainty", "width_loss"]

SHOWN_PX = 1600  # of a picture's longer side: more is thinned out
BARS = 10  # of a budget; the rest is summed
_CAPTION = "From a picture: check with a pin of known width, and mount the blade again."
_WORDS = {
    Quality.SPLIT: "two readings disagree",
    Quality.CLIPPED: "clipped",
    Quality.WEAK: "weak",
    Quality.NOISY: "noisy",
    Quality.SOFT: "soft",
    Quality.KINK: "sharp bend",
}


def outline(line: Outline, ax: Axes | None = None) -> Axes:
    """A picture with the outline found in it, doubtful points marked.

    Parameters
    ----------
    line : Outline
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    EdgekitError
        For what is not an outline.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> file = f"{folder}/FH-03-AS1_2026-03-02_a.png"
    >>> line = P.outline(P.read_picture(file, response=P.SRGB), scale)
    >>> ek.figures.outline(line).get_xlabel()
    'column [px]'
    """
    checks.instance("line", line, Outline, "Make one with ek.pictures.outline.")
    with style.canvas(ax) as axes:
        light = line.picture.light
        step = max(1, max(light.shape) // SHOWN_PX)
        axes.imshow(
            light[::step, ::step] ** (1 / 2.2),
            cmap="gray",
            vmin=0,
            vmax=1,
            extent=(-0.5, light.shape[1] - 0.5, light.shape[0] - 0.5, -0.5),
        )
        px = line.scale.to_px(line.points_mm)
        axes.plot(*px.T, color=style.VERMILION, lw=1.0, label="outline")
        _mark_ends(line, axes, px)
        flags = _doubtful(line, axes, px)
        good = float((line.quality == 0).mean())
        axes.set_xlabel("column [px]")
        axes.set_ylabel("row [px]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, frameon=False)
        noise = float(np.median(line.sd_um))
        style.title(
            axes,
            f"The outline is known to {noise:.2f} µm a point; {good:.0%} of its points are beyond "
            "doubt",
        )
        describe(
            axes,
            kind="Picture of a backlit blade with its outline",
            shown="outline (line), toe and heel (rings), doubtful points (crosses)",
            finding=f"{len(px)} points, {good:.0%} good{flags}. Blur {line.edge_spread_um:.1f} µm.",
            caption=" ".join((*line.notes, _CAPTION)),
        )
    return axes


def _mark_ends(line: Outline, axes: Axes, px: np.ndarray) -> None:
    """Rings at the toe, and at both ends of the heel where it was given."""
    heel = line.parts.heel
    ends = [line.scale.to_px(np.array(line.parts.toe_mm)), *(px[k] for k in heel or ())]
    axes.plot(
        *np.array(ends).T,
        "o",
        mfc="white",
        mec=style.VERMILION,
        ms=6,
        label="toe" if heel is None else "toe and heel",
    )


def _doubtful(line: Outline, axes: Axes, px: np.ndarray) -> str:
    """Mark points by what is wrong with them; say how many of each."""
    words = []
    for (flag, word), marker in zip(_WORDS.items(), "x+s^vD", strict=True):
        bad = (line.quality & int(flag)) > 0
        if bad.any():
            axes.plot(*px[bad][::3].T, marker, color=style.BLUE, ms=6, ls="none", label=word)
            words.append(f"{int(bad.sum())} {word}")
    return f" ({', '.join(words)})" if words else ""


def width_loss(loss: WidthLoss, ax: Axes | None = None) -> Axes:
    """Recession along an edge with its band of about 95 %.

    Parameters
    ----------
    loss : WidthLoss
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    EdgekitError
        For what is not a loss from pictures.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> lines = [P.outline(P.read_picture(f"{folder}/FH-03-AS1_{day}_a.png", response=P.SRGB),
    ...                    scale, heel=heel) for day in ("2026-03-02", "2026-03-09")]
    >>> loss = P.width_loss(lines[:1], lines[1:], datum=P.Datum.UNUSED_EDGE_AND_SHANK,
    ...                     side=P.Side.LEFT, mount=P.Mount(distance_mm=120))
    >>> ek.figures.width_loss(loss).get_ylabel()
    'recession [µm]'
    """
    checks.instance("loss", loss, WidthLoss, "Make one with ek.pictures.width_loss.")
    low, high = loss.interval_um()
    with style.canvas(ax) as axes:
        _draw_recession(loss, axes)
        axes.set_xlabel("along the edge from the heel [mm]")
        axes.set_ylabel("recession [µm]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3, frameon=False)
        style.title(
            axes,
            f"Between the pictures the edge went back by {loss.mean_um:.1f} µm in the mean, by "
            f"{loss.deepest_um:.1f} µm at the deepest",
        )
        describe(
            axes,
            kind="Line chart of recession along an edge",
            shown="recession with its band, mean (dashed); grey: stations left out",
            finding=(
                f"Mean {loss.mean_um:.2f} µm ({low:.2f} to {high:.2f}), deepest "
                f"{loss.deepest_um:.1f} µm at {loss.deepest_at_mm:.2f} mm; "
                f"{int(loss.usable.sum())} of {len(loss.usable)} stations."
            ),
            caption=" ".join((*loss.notes, _CAPTION)),
        )
    return axes


def _draw_recession(loss: WidthLoss, axes: Axes) -> None:
    """The recession with its band and mean, stations left out in grey."""
    reach = COVERAGE * loss.sd_um
    shown = np.where(loss.usable, loss.recession_um, np.nan)
    axes.fill_between(
        loss.arc_mm,
        shown - reach,
        shown + reach,
        color=style.SKY,
        alpha=0.5,
        lw=0,
        label="about 95 %",
    )
    axes.plot(loss.arc_mm, shown, color=style.BLUE, label="recession")
    axes.axhline(loss.mean_um, color=style.VERMILION, ls="--", label=f"mean {loss.mean_um:.1f} µm")
    axes.axhline(0, color=style.GREY, lw=0.8)
    for at in loss.arc_mm[~loss.usable]:
        axes.axvspan(at - 0.025, at + 0.025, color="#E6E6E6", lw=0)


def uncertainty(result: WidthLoss | Width | Budget, ax: Axes | None = None) -> Axes:
    """A budget as bars: what each source adds to the standard uncertainty.

    Parameters
    ----------
    result : WidthLoss, Width or Budget
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    EdgekitError
        For what holds no budget.

    Examples
    --------
    >>> import edgekit as ek
    >>> inputs = (ek.pictures.Input(name="pin", value=500.0, sd=0.5, unit="µm"),)
    >>> budget = ek.pictures.Budget(name="width", inputs=inputs, model=lambda at: at["pin"])
    >>> ek.figures.uncertainty(budget).get_xlabel()
    'standard uncertainty [µm]'
    """
    budget = result.budget if isinstance(result, WidthLoss | Width) else result
    checks.instance("result", budget, Budget, "Give a WidthLoss, a Width or a Budget.")
    rows, rest = budget.rows[:BARS], budget.rows[BARS:]
    names = [row.source for row in rows]
    sizes = [row.u_um for row in rows]
    if rest:
        names.append(f"{len(rest)} others")
        sizes.append(float(np.sqrt(sum(row.u_um**2 for row in rest))))
    stays = [row.stays for row in rows] + [True] * bool(rest)
    with style.canvas(ax, (6.4, 1.4 + 0.28 * len(names))) as axes:
        place = np.arange(len(names))[::-1]
        _draw_bars(place, np.array(sizes), np.array(stays), axes)
        axes.set_yticks(place, names)
        for row, at in zip(rows, place, strict=False):
            mark = " (second order)" if row.order == 2 and row.u_um > 0.005 else ""
            axes.text(row.u_um, at, f" {row.u_um:.2f}{mark}", va="center", fontsize=8.5)
        axes.set_xlim(0, 1.25 * max(*sizes, 1e-6))
        axes.set_xlabel("standard uncertainty [µm]")
        if not all(stays):
            axes.legend(loc="lower right", frameon=False, fontsize=8.5)
        style.title(
            axes,
            f"The {budget.name} is uncertain by U = {budget.expanded_um:.1f} µm (k = 2)",
            55,
        )
        describe(
            axes,
            kind="Bar chart of an uncertainty budget",
            shown="; ".join(f"{n} {s:.2f} µm" for n, s in zip(names, sizes, strict=True)),
            finding=f"Combined {budget.u_um:.2f} µm, expanded {budget.expanded_um:.2f} µm.",
            caption=_CAPTION,
        )
    return axes


def _draw_bars(place: np.ndarray, sizes: np.ndarray, stays: np.ndarray, axes: Axes) -> None:
    """One bar per source, hatched where it cancels in a difference."""
    kinds = (
        (stays, style.BLUE, "", "stays in a difference"),
        (~stays, "white", "////", "cancels in a difference of two pictures"),
    )
    for at, colour, hatch, label in kinds:
        if at.any():
            axes.barh(
                place[at],
                sizes[at],
                color=colour,
                edgecolor=style.BLUE,
                hatch=hatch,
                label=label,
            )
