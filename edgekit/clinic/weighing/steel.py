r"""Own steel per stroke from weighings, with its budget, ready for a method or a sweep.

Blade i loses :math:`y_i` milligrams in :math:`x_i` strokes over :math:`B_i` bouts; with what a bout
without strokes takes, :math:`b`, and the density :math:`\varrho`,

.. math:: k = \frac{1}{\varrho} \sum_i w_i \frac{y_i - B_i b}{x_i}.

The blades' weights :math:`w_i` and scatter are those of `edgekit.clinic.weighing.means`; a blade,
not a bout, is what varies, so that bouts of one blade need not be independent. The budget is that
of JCGM 100:2008, 5.1.2.
"""

from __future__ import annotations

import enum
import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.weighing.means import Estimate, mean_of, pooled, reach
from edgekit.clinic.weighing.weighings import ROUNDED_SD, Ending, Way, Weighings
from edgekit.display import html_list
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import Evidence, Gsd, Status, entry, value
from edgekit.method.abrasive import Abrasive
from edgekit.method.method import Method
from edgekit.record import Record
from edgekit.units import LEVEL

__all__ = ["Proportion", "SteelPerStroke", "steel_per_stroke"]

FEW_BLADES = 5
MIN_DITHER = 0.5  # noise, in digits, above which rounding averages out: F.2.2.1 and its reason


class Proportion(enum.Enum):
    """What the steel is in proportion to."""

    STROKES = "strokes"
    FORCE = "strokes and their force"
    FORCE_AND_TRAVEL = "strokes, their force and their travel"


COLUMNS = {
    Proportion.STROKES: (),
    Proportion.FORCE: ("force_n",),
    Proportion.FORCE_AND_TRAVEL: ("force_n", "travel_mm"),
}


class SteelPerStroke(Record):
    """What one stroke takes, as weighed.

    Attributes
    ----------
    stone : str
        The stone, as the table of strokes calls it.
    way : Way or None
        Way of the strokes; None for both.
    steel_per_stroke_mm3 : float
        Mean over blades of the steel that a stroke takes [mm³].
    u_mm3 : float
        Its combined standard uncertainty [mm³].
    blade_sd_mm3 : float
        Standard deviation between blades, the balance's share taken away [mm³].
    blades, bouts, blanks : int
        How many of each were used.
    force_n, travel_mm : float
        Force [N] and travel [mm] of the stroke that the number stands for; 0 where the steel was
        not taken as in proportion to them.
    budget : pandas.DataFrame
        One row per source of uncertainty: ``source, u_mm3, dof, basis``.
    table : pandas.DataFrame
        One row per blade: ``instrument, bouts, strokes, lost_mg, mm3_per_stroke, u_balance_mm3,
        weight``.
    notes : tuple of str
        What to know before using it.
    """

    stone: str
    way: Way | None
    steel_per_stroke_mm3: float
    u_mm3: float
    blade_sd_mm3: float
    blades: int
    bouts: int
    blanks: int
    force_n: float
    travel_mm: float
    budget: pd.DataFrame
    table: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def steel_per_stroke_mg(self) -> float:
        """The same in milligrams."""
        return self.steel_per_stroke_mm3 * value("steel_density_mg_per_mm3")

    def interval_mm3(self, level: float = LEVEL) -> tuple[float, float]:
        """Interval of the mean [mm³], each row of the budget with its own Student's t.

        Its low end may lie below 0: then the weighings do not tell the steel from nothing.
        """
        level = checks.between("level", level, 0.0, 1.0)
        off = float(self._reach((1 + level) / 2))
        return self.steel_per_stroke_mm3 - off, self.steel_per_stroke_mm3 + off

    def _reach(self, share: ArrayLike) -> FloatArray:
        return reach(zip(self.budget["u_mm3"], self.budget["dof"], strict=True), share)

    @property
    def blade_gsd(self) -> float:
        """Geometric standard deviation between blades: variation, of which weighing more takes
        nothing away.
        """
        return _gsd(self.blade_sd_mm3 / self._resolved())

    @property
    def evidence(self) -> Evidence:
        """An entry as of the evidence table; its spread is the uncertainty of the mean.

        The mean is taken as the median of blades, which lies lower by half the square of their
        relative scatter: 1 % where blades differ by 14 %.
        """
        return Evidence(
            "removal_own_mm3_per_stroke",
            self.steel_per_stroke_mm3,
            Gsd(_gsd(self.u_mm3 / self._resolved())),
            "mm³",
            Status.DERIVED,
            f"own weighings: {self.blades} blades, {self.bouts} bouts on {self.stone or 'a stone'}",
        )

    def abrasive(self, like: Abrasive) -> Abrasive:
        """A stone that takes what was weighed, else like another.

        Parameters
        ----------
        like : Abrasive
            Gives grain, lubricant and form.

        Raises
        ------
        Cannot
            The 90 % interval reaches 0.

        Examples
        --------
        >>> import edgekit as ek
        >>> folder = "data_demo/weighings"
        >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
        >>> steel = ek.clinic.steel_per_stroke(seen, stone="bench stone")
        >>> stone = steel.abrasive(ek.ceramic_stone())
        >>> stone.name, stone.removal.spread.gsd < ek.ceramic_stone().removal.spread.gsd
        ('ceramic, weighed', True)
        """
        checks.instance("like", like, Abrasive, "Give one, such as ek.ceramic_stone().")
        return replace(like, name=f"{like.name}, weighed", removal=self.evidence)

    def for_method(self, method: Method) -> Method:
        """The same method with what was weighed: the mean, and the scatter between blades.

        A study of it is one of the hands that were weighed, no longer of people at large.

        Parameters
        ----------
        method : Method
            Its stone keeps grain, lubricant and form.

        Raises
        ------
        Cannot
            The 90 % interval reaches 0.

        Examples
        --------
        >>> import edgekit as ek
        >>> folder = "data_demo/weighings"
        >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
        >>> steel = ek.clinic.steel_per_stroke(seen, stone="bench stone")
        >>> own = steel.for_method(ek.methods.freehand())
        >>> own.removal_mm3_per_stroke == steel.steel_per_stroke_mm3
        True
        """
        checks.instance("method", method, Method, "Give one, such as ek.methods.freehand().")
        stone = self.abrasive(method.abrasive)
        return replace(method.using(stone), removal_gsd=self.blade_gsd)

    def ppf(self, q: ArrayLike) -> FloatArray:
        """Mean [mm³] at cumulative probability `q`: an uncertain input of a sensitivity or grid.

        On the logarithm, so that all values lie above 0:
        ``ek.sensitivity(case, {"method.removal_mm3_per_stroke": steel, …})``.

        Raises
        ------
        BadArgument
            Probabilities outside 0 to 1, or at an end.
        Cannot
            The 90 % interval reaches 0.
        """
        share = checks.array_between("q", q, 0.0, 1.0)
        return np.asarray(self._resolved() * np.exp(self._reach(share) / self._resolved()))

    def _resolved(self) -> float:
        """The mean, if it is told from nothing."""
        low, _ = self.interval_mm3()
        if not low > 0:
            raise Cannot(
                "the weighings do not tell the steel of a stroke from nothing",
                f"{self.steel_per_stroke_mm3:.2g} ± {self.u_mm3:.2g} mm³",
                "Weigh more blades, or more strokes between two weighings.",
            )
        return self.steel_per_stroke_mm3

    @property
    def _headline(self) -> str:
        low, high = self.interval_mm3()
        density = value("steel_density_mg_per_mm3")
        return (
            f"{self.stone or 'stone'}{f', {self.way}' if self.way else ''}: a stroke takes "
            f"{self.steel_per_stroke_mm3:.3g} mm³ ({low:.3g} to {high:.3g}, {LEVEL:.0%}), "
            f"{self.steel_per_stroke_mg:.3g} mg ({low * density:.3g} to {high * density:.3g})"
        )

    def __repr__(self) -> str:
        return "\n  ".join((self._headline, *self._lines))

    @property
    def _lines(self) -> tuple[str, ...]:
        rows = self.budget.itertuples()
        parts = ", ".join(f"{row.source} {row.u_mm3:.2g}" for row in rows)
        of = f"{self.blades} blades, {self.bouts} bouts, {self.blanks} blanks"
        return (of, f"standard uncertainties [mm³]: {parts}", *self.notes)

    def _repr_html_(self) -> str:
        return html_list(self._lines, bold=self._headline)


def _gsd(relative_sd: float) -> float:
    """Geometric standard deviation of a lognormal with some standard deviation over its mean."""
    return math.exp(math.sqrt(math.log1p(relative_sd**2)))


class _Part(NamedTuple):
    source: str
    u_mm3: float
    dof: float
    basis: str


def steel_per_stroke(
    weighings: Weighings,
    *,
    stone: str | None = None,
    way: Way | None = None,
    proportion: Proportion = Proportion.STROKES,
) -> SteelPerStroke:
    """Steel that one stroke takes, from bouts of a counted number of strokes.

    Bouts that ended when the edge was sharp are left out: there a stroke that takes little is
    followed by more of them, and their ratio is biased.

    Parameters
    ----------
    weighings : Weighings
    stone : str, optional
        Which stone; needed where there are several.
    way : Way, optional
        Only bouts of this way; by default of both.
    proportion : Proportion
        What the steel is in proportion to. With force, or force and travel (Preston's law), the
        number stands for the mean stroke of these bouts.

    Returns
    -------
    SteelPerStroke

    Raises
    ------
    Cannot
        Fewer than two blades; several stones and none named; force or travel not measured.
    BadArgument
        A stone that no bout names.

    Examples
    --------
    >>> import edgekit as ek
    >>> folder = "data_demo/weighings"
    >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
    >>> steel = ek.clinic.steel_per_stroke(seen, stone="bench stone")
    >>> steel.blades, steel.blanks
    (10, 10)
    """
    checks.instance("weighings", weighings, Weighings, "Take them from ek.clinic.read_weighings.")
    checks.instance("way", way, (Way, type(None)), "Give ek.clinic.Way.ROLLING, LOCAL or None.")
    checks.instance("proportion", proportion, Proportion, "Give a member of ek.clinic.Proportion.")
    table = weighings.bouts
    chosen, left_out = of_stone(table[table["strokes"] > 0], stone)
    if way is not None:
        chosen = chosen[chosen["way"] == way.value]
    counted = chosen[chosen["ended"] == Ending.COUNTED.value]
    left_out += [f"{len(chosen) - len(counted)} that ended sharp"] * (len(counted) < len(chosen))
    names = counted["instrument"].unique()
    if len(names) < 2:
        raise Cannot(
            "the scatter between blades needs two blades or more with counted strokes",
            names.tolist(),
            "Weigh more blades: ten tell a steel per stroke well.",
        )
    exposure, force, travel = _exposure(counted, proportion)
    return _estimate(
        weighings, counted.assign(exposure=exposure), way, (force, travel), tuple(left_out)
    )


def of_stone(bouts: pd.DataFrame, stone: str | None) -> tuple[pd.DataFrame, list[str]]:
    """Bouts on one stone, and in words how many were on others."""
    known = sorted(bouts["stone"].unique())
    if stone is None:
        if len(known) > 1:
            raise Cannot("the bouts were on several stones", known, "Name one with stone=.")
        return bouts, []
    checks.instance("stone", stone, str, f"Give one of {known}.")
    if stone not in known:
        raise BadArgument("no bout was on this stone", stone, f"Use {known}.", argument="stone")
    chosen = bouts[bouts["stone"] == stone]
    others = len(bouts) - len(chosen)
    return chosen, [f"{others} on other stones"] * (others > 0)


def _exposure(bouts: pd.DataFrame, proportion: Proportion) -> tuple[FloatArray, float, float]:
    """Strokes of each bout, each counted by its force and travel over the mean's; and those."""
    strokes = bouts["strokes"].to_numpy(float)
    means = []
    weight = strokes.copy()
    for column in ("force_n", "travel_mm"):
        each = bouts[column].to_numpy(float)
        if column not in COLUMNS[proportion]:
            means.append(0.0)
            continue
        if np.isnan(each).any():
            raise Cannot(
                f"{int(np.isnan(each).sum())} bouts have no {column}",
                proportion.value,
                "Measure it in every bout, or use proportion=ek.clinic.Proportion.STROKES.",
            )
        mean = float(strokes @ each / strokes.sum())
        means.append(mean)
        weight = weight * each / mean
    return weight, means[0], means[1]


def _estimate(
    weighings: Weighings,
    bouts: pd.DataFrame,
    way: Way | None,
    stroke: tuple[float, float],
    left_out: tuple[str, ...],
) -> SteelPerStroke:
    """The mean over blades, corrected for blanks, and its budget."""
    density, blanks = entry("steel_density_mg_per_mm3"), _blanks(weighings)
    table = _by_blade(bouts, 0.0 if blanks is None else blanks.mean)
    mean, between, weights = pooled(
        table["mm3_per_stroke"].to_numpy(), table["u_balance_mm3"].to_numpy() ** 2
    )
    per_bout = float(weights @ table.pop("mm3_per_mg_a_bout"))
    parts = _parts(mean, per_bout, blanks, weighings)
    parts.append(
        _Part("density", abs(mean.mean) * (density.sd / density.value), math.inf, density.source)
    )
    return SteelPerStroke(
        stone=str(bouts["stone"].iloc[0]),
        way=way,
        steel_per_stroke_mm3=mean.mean,
        u_mm3=math.hypot(*(part.u_mm3 for part in parts)),
        blade_sd_mm3=between,
        blades=len(table),
        bouts=len(bouts),
        blanks=int((weighings.bouts["strokes"] == 0).sum()),
        force_n=stroke[0],
        travel_mm=stroke[1],
        budget=pd.DataFrame(parts).sort_values("u_mm3", ascending=False, ignore_index=True),
        table=table.assign(weight=weights),
        notes=(*_beside_published(mean.mean), *_notes(weighings, bouts, blanks, left_out)),
    )


def _by_blade(bouts: pd.DataFrame, blank_mg: float) -> pd.DataFrame:
    """One row per blade; ``mm3_per_mg_a_bout`` is what a milligram in every bout comes to."""
    by = bouts.groupby("instrument", sort=False)
    count, lost = by.size().to_numpy(float), by["lost_mg"].sum()
    per_mg = 1 / (by["exposure"].sum().to_numpy() * value("steel_density_mg_per_mm3"))
    u_mg = np.sqrt((bouts["u_mg"] ** 2).groupby(bouts["instrument"], sort=False).sum().to_numpy())
    return pd.DataFrame(
        {
            "instrument": lost.index.to_numpy(),
            "bouts": count.astype(int),
            "strokes": by["strokes"].sum().to_numpy(),
            "lost_mg": lost.to_numpy(),
            "mm3_per_stroke": (lost.to_numpy() - count * blank_mg) * per_mg,
            "u_balance_mm3": u_mg * per_mg,
            "mm3_per_mg_a_bout": count * per_mg,
        }
    )


def _blanks(weighings: Weighings) -> Estimate | None:
    """What a bout without strokes takes [mg], blade by blade; None for fewer than two blades."""
    table = weighings.bouts[weighings.bouts["strokes"] == 0]
    losses = table.groupby("instrument", sort=False)["lost_mg"].mean().to_numpy()
    return mean_of(losses) if len(losses) > 1 else None


def _coarse(weighings: Weighings) -> bool:
    """Whether the noise is too small beside the last digit for its rounding to average out."""
    return weighings.balance_sd_mg < MIN_DITHER * weighings.digit_mg


def _parts(
    mean: Estimate, per_bout: float, blanks: Estimate | None, weighings: Weighings
) -> list[_Part]:
    """The budget but for the density."""
    made = [_Part("blades and balance", mean.u, mean.dof, "scatter between blades")]
    if blanks is None:
        cleaning = entry("cleaning_bias_mg")
        u = cleaning.sd * per_bout
        made.append(_Part("cleaning", u, math.inf, f"assumed: {cleaning.source}"))
    else:
        u = blanks.u * per_bout
        made.append(_Part("blanks", u, blanks.dof, "scatter between blanks, taken off as a mean"))
    left = entry("left_on_blade_mg")
    u = left.sd * per_bout
    made.append(_Part("left on the blade", u, math.inf, f"assumed: {left.source}"))
    if _coarse(weighings):
        u = math.sqrt(2) * ROUNDED_SD * weighings.digit_mg * per_bout
        made.append(_Part("last digit", u, math.inf, "rounding that repeats alike"))
    return made


def _beside_published(steel_mm3: float) -> tuple[str, ...]:
    """A warning where the mean lies outside what two stones took elsewhere, with their spread."""
    low, high = (entry(f"removal_{stone}_mm3_per_stroke") for stone in ("ceramic", "diamond"))
    ends = low.value / low.gsd, high.value * high.gsd
    if ends[0] <= steel_mm3 <= ends[1]:
        return ()
    span = f"{ends[0]:.2g} to {ends[1]:.2g} mm³ ({low.source.split(':')[0]})"
    return (f"outside what was weighed elsewhere, {span}: check units and counts",)


def _notes(
    weighings: Weighings,
    bouts: pd.DataFrame,
    blanks: Estimate | None,
    left_out: tuple[str, ...],
) -> tuple[str, ...]:
    notes = []
    if bouts["instrument"].nunique() < FEW_BLADES:
        notes.append("few blades: the interval is wide, and the scatter between blades a guess")
    if blanks is None:
        notes.append("no blanks on two blades or more: what cleaning takes is assumed to be small")
    if not weighings.controlled:
        notes.append("no control blade: drift of the balance and of the air is not taken away")
    if _coarse(weighings):
        notes.append("the balance's last digit is coarser than its noise")
    if bouts["operator"].nunique() < 2:
        notes.append("one operator, or none named: the number holds for that hand")
    if left_out:
        notes.append(f"bouts left out: {', '.join(left_out)}")
    if len(weighings.rejected):
        notes.append(f"{len(weighings.rejected)} refused: see .rejected of the weighings")
    gained = weighings.flags["detail"][weighings.flags["reason"].str.startswith("before and")]
    return (*notes, *gained)
