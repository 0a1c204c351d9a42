"""Rolling against local strokes: the steel of a session each way, and how many blades tell them."""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import gammaincinv, ndtr, stdtrit

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.weighing.means import Estimate, combined, mean_of
from edgekit.clinic.weighing.steel import of_stone
from edgekit.clinic.weighing.weighings import ROUNDED_SD, Ending, Way, Weighings
from edgekit.display import html_list
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.record import Record
from edgekit.units import LEVEL

__all__ = ["WaysCompared", "blades_to_weigh", "compare_ways"]

MAX_BLADES = 10_000
DIGITS_MG = (0.001, 0.01, 0.1, 1.0)
MAX_BALANCES = 1000
POWER = 0.9
QUANTILES = (np.arange(2000) + 0.5) / 2000


class WaysCompared(Record):
    """Steel of a session by local and by rolling strokes, each until the edge was sharp.

    Attributes
    ----------
    rolling_mg, local_mg : float
        Mean steel of a session [mg], over blades.
    difference_mg, u_mg, dof : float
        Local less rolling [mg], its standard uncertainty and the degrees of freedom of that.
    paired : bool
        Whether each blade was sharpened both ways.
    table : pandas.DataFrame
        One row per blade and way: ``instrument, way, bouts, strokes, lost_mg``, means over bouts.
    notes : tuple of str
        What to know before using it.
    """

    rolling_mg: float
    local_mg: float
    difference_mg: float
    u_mg: float
    dof: float
    paired: bool
    table: pd.DataFrame
    notes: tuple[str, ...]

    def interval_mg(self, level: float = LEVEL) -> tuple[float, float]:
        """Interval of the difference [mg] by Student's t with `dof` degrees of freedom."""
        level = checks.between("level", level, 0.0, 1.0)
        return Estimate(self.difference_mg, self.u_mg, self.dof).interval(level)

    @property
    def _headline(self) -> str:
        low, high = self.interval_mg()
        told = "told apart" if low > 0 or high < 0 else "not told apart"
        return (
            f"a session takes {self.rolling_mg:.3g} mg rolling and {self.local_mg:.3g} mg local: "
            f"{self.difference_mg:+.3g} mg ({low:.3g} to {high:.3g}, {LEVEL:.0%}), {told}"
        )

    def __repr__(self) -> str:
        return "\n  ".join((self._headline, *self.notes))

    def _repr_html_(self) -> str:
        return html_list(self.notes, bold=self._headline)


def compare_ways(weighings: Weighings, *, stone: str | None = None) -> WaysCompared:
    """What a session takes by local strokes more than by rolling ones.

    Only bouts that ended when the edge was sharp count: ten strokes take ten strokes' steel either
    way. Where blades were sharpened both ways, the difference is taken blade by blade; else the
    two groups are compared by Welch's t (JCGM 100:2008, G.4.1). What blanks show cancels.

    Parameters
    ----------
    weighings : Weighings
    stone : str, optional
        Which stone; needed where there are several.

    Returns
    -------
    WaysCompared

    Raises
    ------
    Cannot
        A way with fewer than two blades; several stones and none named.
    BadArgument
        A stone that no bout names.

    Examples
    --------
    >>> import edgekit as ek
    >>> folder = "data_demo/weighings"
    >>> seen = ek.clinic.read_weighings(f"{folder}/weights.csv", f"{folder}/strokes.csv")
    >>> both = ek.clinic.compare_ways(seen, stone="bench stone")
    >>> both.paired, both.local_mg > both.rolling_mg
    (False, True)
    """
    checks.instance("weighings", weighings, Weighings, "Take them from ek.clinic.read_weighings.")
    bouts = weighings.bouts
    chosen, _ = of_stone(bouts[bouts["strokes"] > 0], stone)
    chosen = chosen[chosen["ended"] == Ending.SHARP.value]
    by = chosen.groupby(["instrument", "way"], sort=False)
    table = by.agg(
        bouts=("lost_mg", "size"), strokes=("strokes", "mean"), lost_mg=("lost_mg", "mean")
    ).reset_index()
    wide = table.pivot_table("lost_mg", "instrument", "way", sort=False).reindex(columns=[*Way])
    both = wide.dropna()
    rolling, local = (wide[way].dropna().to_numpy(float) for way in (Way.ROLLING, Way.LOCAL))
    if min(len(rolling), len(local)) < 2:
        raise Cannot(
            "each way needs two blades or more that were sharpened until sharp",
            {"rolling": len(rolling), "local": len(local)},
            "Weigh more blades, and write sharp in the column ended.",
        )
    notes = ["a session of each way before the weighed one keeps the other way's facets out of it"]
    paired = len(both) >= 2
    if paired:
        rolling, local = (both[way].to_numpy(float) for way in (Way.ROLLING, Way.LOCAL))
        found = mean_of(local - rolling)
        if len(both) < len(wide):
            notes.append(f"{len(wide) - len(both)} blades sharpened one way only were left out")
    else:
        ends = [mean_of(each) for each in (local, rolling)]
        u, dof = combined((end.u, end.dof) for end in ends)
        found = Estimate(ends[0].mean - ends[1].mean, u, min(dof, 1e9))
    return WaysCompared(
        rolling_mg=float(rolling.mean()),
        local_mg=float(local.mean()),
        difference_mg=found.mean,
        u_mg=found.u,
        dof=found.dof,
        paired=paired,
        table=table.astype({"instrument": "str", "way": "str"}),
        notes=tuple(notes),
    )


def blades_to_weigh(
    steel_mg: tuple[float, float] = (0.15, 0.5),
    *,
    cv: float = value("session_steel_cv"),
    digits_mg: Sequence[float] = DIGITS_MG,
    repeats: int = 3,
    power: float = POWER,
    level: float = 0.95,
) -> pd.DataFrame:
    """How many blades a way tell two amounts of steel apart, for balances of some last digits.

    Parameters
    ----------
    steel_mg : tuple of float
        Mean steel of a session each way [mg].
    cv : float
        Standard deviation between blades over the mean [1]; assumed.
    digits_mg : sequence of float
        Last digits of balances [mg]; a reading scatters by ``balance_sd_per_digit`` of them.
    repeats : int
        Readings before, and as many after.
    power : float
        Chance that the interval of the difference leaves out 0.
    level : float
        Of that interval.

    Returns
    -------
    DataFrame
        One row per balance: ``digit_mg, balance_sd_mg`` of one loss, ``blades_per_way`` (0 for
        more than ten thousand), ``power`` reached, ``half_width_mg`` of the interval expected.

    Raises
    ------
    BadArgument
        A number outside its range; two amounts alike.

    Notes
    -----
    Two groups of one size, by the noncentral t distribution with Welch's degrees of freedom at the
    true variances; where these are alike that is exact (Cohen 1988, ch. 2, from memory).

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.clinic.blades_to_weigh()["blades_per_way"].tolist()[:2]
    [6, 6]
    """
    first, second = _two(steel_mg)
    cv = checks.at_least("cv", cv, 0.0)
    digits = checks.array_between("digits_mg", np.atleast_1d(digits_mg), 0.0, np.inf)
    checks.count("the number of digits_mg", digits.size, 1, most=MAX_BALANCES)
    repeats = checks.count("repeats", repeats, 1)
    power = checks.between("power", power, 0.0, 1.0)
    level = checks.between("level", level, 0.0, 1.0)
    rows = []
    for digit in digits.ravel().tolist():
        reading = digit * math.hypot(value("balance_sd_per_digit"), ROUNDED_SD)
        balance = reading * math.sqrt(2 / repeats)
        sds = np.hypot(cv * np.array([first, second]), balance)
        count = _fewest(second - first, sds, power, level)
        size = count or MAX_BLADES
        u, dof = _welch(sds, size)
        rows.append(
            {
                "digit_mg": digit,
                "balance_sd_mg": balance,
                "blades_per_way": count,
                "power": _power(second - first, sds, size, level),
                "half_width_mg": float(stdtrit(dof, (1 + level) / 2)) * u,
            }
        )
    return pd.DataFrame(rows)


def _two(steel_mg: tuple[float, float]) -> tuple[float, float]:
    first, second = checks.frozen_array("steel_mg", steel_mg, (2,)).tolist()
    for one in (first, second):
        checks.positive("steel_mg", one)
    if first == second:
        raise BadArgument("the two amounts must differ", steel_mg, "Give two.", argument="steel_mg")
    return first, second


def _welch(sds: FloatArray, size: int) -> tuple[float, float]:
    """Standard uncertainty of a difference of two means of `size`, and its degrees of freedom."""
    return combined((float(sd) / math.sqrt(size), size - 1.0) for sd in sds)


def _power(difference: float, sds: FloatArray, size: int, level: float) -> float:
    """Chance that the interval of a difference leaves out 0."""
    u, dof = _welch(sds, size)
    if u == 0:
        return 1.0
    limit, off = float(stdtrit(dof, (1 + level) / 2)), abs(difference) / u
    spread = np.sqrt(2 / dof * gammaincinv(dof / 2, QUANTILES))  # of the standard deviation seen
    return float((ndtr(off - limit * spread) + ndtr(-off - limit * spread)).mean())


def _fewest(difference: float, sds: FloatArray, power: float, level: float) -> int:
    """The fewest blades a way that reach a power; 0 where the most allowed do not."""
    low, high = 2, MAX_BLADES
    if _power(difference, sds, high, level) < power:
        return 0
    while low < high:
        middle = (low + high) // 2
        enough = _power(difference, sds, middle, level) >= power
        low, high = (low, middle) if enough else (middle + 1, high)
    return low
