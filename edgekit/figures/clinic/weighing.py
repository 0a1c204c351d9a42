"""A picture of weighings: the steel a stroke takes blade by blade, beside what others weighed."""

import numpy as np
from matplotlib.axes import Axes

from edgekit import checks
from edgekit.clinic.weighing.steel import SteelPerStroke
from edgekit.evidence_table import value
from edgekit.figures import style
from edgekit.figures.words import describe
from edgekit.units import LEVEL

__all__ = ["steel_per_stroke"]

MAX_NAMED = 20  # blades that are named on the axis
SCALE = 1000.0  # 10⁻³ mm³
ELSEWHERE = {"diamond": "diamond-plated, 400 strokes", "ceramic": "ceramic, 400 strokes"}


def steel_per_stroke(steel: SteelPerStroke, ax: Axes | None = None) -> Axes:
    """The steel a stroke takes on each blade, the mean with its interval, and two published stones.

    Parameters
    ----------
    steel : SteelPerStroke
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    EdgekitError
        For what is not a steel per stroke.

    Examples
    --------
    >>> import edgekit as ek
    >>> folder = "data_demo/weighings"
    >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
    >>> steel = ek.clinic.steel_per_stroke(seen, stone="bench stone")
    >>> ek.figures.steel_per_stroke(steel).get_ylabel()
    'steel a stroke takes [0.001 mm³]'
    """
    remedy = "Make one with ek.clinic.steel_per_stroke."
    checks.instance("steel", steel, SteelPerStroke, remedy)
    low, high = (SCALE * end for end in steel.interval_mm3())
    mean = SCALE * steel.steel_per_stroke_mm3
    with style.canvas(ax) as axes:
        axes.axhspan(low, high, color=style.SKY, alpha=0.5, lw=0)
        axes.axhline(mean, color=style.BLUE, label=f"mean and its {LEVEL:.0%} interval")
        _draw_blades(steel, axes)
        for (name, label), dashes in zip(ELSEWHERE.items(), ("--", ":"), strict=True):
            height = SCALE * value(f"removal_{name}_mm3_per_stroke")
            axes.axhline(height, color=style.VERMILION, ls=dashes, lw=1.2, label=label)
        axes.axhline(0, color=style.GREY, lw=0.8)
        axes.set_ylabel("steel a stroke takes [0.001 mm³]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=2, frameon=False)
        describe(
            axes,
            title=f"A stroke takes {mean:.2f} ({low:.2f} to {high:.2f}) thousandths of a cubic "
            f"millimetre, as weighed on {steel.blades} blades",
            kind="Dots of blades with a mean",
            shown="each blade (rings, with bars of the balance), mean (blue line) and its interval "
            "(band), two stones weighed elsewhere (vermilion; Hessheimer et al. 2017)",
            finding=f"Mean {mean:.3g}, {LEVEL:.0%} interval {low:.3g} to {high:.3g}; standard "
            f"deviation between blades {SCALE * steel.blade_sd_mm3:.2g}, all in 0.001 mm³.",
            caption=" ".join(f"{note[:1].upper()}{note[1:]}." for note in steel.notes),
        )
    return axes


def _draw_blades(steel: SteelPerStroke, axes: Axes) -> None:
    """A ring for each blade, with a bar of two standard deviations of the balance."""
    table = steel.table
    rates, u = (SCALE * table[name].to_numpy() for name in ("mm3_per_stroke", "u_balance_mm3"))
    places = np.arange(len(table))
    label = "one blade, ± 2 sd of the balance"
    ring: style.Look = {"fmt": "o", "color": style.BLACK, "mfc": "white", "ms": 5, "lw": 1}
    axes.errorbar(places, rates, yerr=2 * u, label=label, **ring)
    if len(table) <= MAX_NAMED:
        names = [style.brief(str(name), 14) for name in table["instrument"]]
        axes.set_xticks(places, names, rotation=45, ha="right")
    else:
        axes.set_xlabel("blade, in the order of the table [count]")
