"""Replacements of the coming year, month by month, and what they and the sharpening cost."""

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.cost.prices import Prices
from edgekit.clinic.forecasting.crossing_time import bounded, passed_share, two_sided_z
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.clinic.log.cells import Event
from edgekit.clinic.log.history import ServiceStatus, history
from edgekit.clinic.log.log import Log
from edgekit.evidence_table import entry
from edgekit.record import Record

__all__ = ["Budget", "budget", "count_quantiles", "minutes_per_session"]


MAX_MONTHS = 1200
"""A century, beyond which a forecast gives no dates either."""
SHIFTS = 31
"""Paces of the clinic that the budget averages over; 61 move no low, high or mean by 1 %."""
MAX_GSD = 5.0


class Budget(Record):
    """Replacements and costs of the coming months.

    Attributes
    ----------
    months : pandas.DataFrame
        ``month`` (its first day), ``replacements`` with low and high (whole numbers), ``cost``
        with low and high; cost is of instruments only.
    costs : pandas.DataFrame
        One row per pattern and method, for all the months: ``pattern, method, edges, replacements,
        sessions, minutes, instruments_cost, sessions_cost, labour_cost, cost`` with low and high.
    total : mapping
        ``replacements`` and ``cost`` of all months, each with low and high.
    currency : str
    message : str
        What was assumed.
    """

    months: pd.DataFrame
    costs: pd.DataFrame
    total: Mapping[str, float]
    currency: str
    message: str

    def __repr__(self) -> str:
        t = self.total
        return (
            f"Budget of {len(self.months)} months: {t['replacements']:.0f} replacements "
            f"({t['replacements_low']:.0f} to {t['replacements_high']:.0f}), "
            f"{t['cost']:.0f} {self.currency} ({t['cost_low']:.0f} to {t['cost_high']:.0f})"
        )


class _Shifts(NamedTuple):
    """Paces of the clinic over that of its log (P,), and the weight of each."""

    pace: FloatArray
    weight: FloatArray


def budget(
    result: Forecast, *, prices: Prices, months: int = 12, pace_gsd: float | None = None
) -> Budget:
    """Budget of the months after the last date of the log behind a forecast.

    An instrument is replaced when the first of its edges reaches the limit or when it breaks. The
    chance of each month is that of the forecast; breakage adds the log's own rate, (breaks + ½) /
    (instrument-days) after Jeffreys. The pace of the whole clinic may change after the log, for all
    edges at once: it is lognormal about that of the log. At each pace the count of a month is a
    sum of unequal chances, whose law is exact; edges are then taken as independent.

    Parameters
    ----------
    result : Forecast
        It knows the log it was made from.
    prices : Prices
    months : int
        How many months ahead, 1200 at most.
    pace_gsd : float, optional
        Geometric standard deviation of the clinic's pace ahead over that of its log, 1 to 5;
        ``pace_shift`` of the evidence table by default, assumed. 1: the pace stays.

    Returns
    -------
    Budget

    Raises
    ------
    EdgekitError
        A pattern or method of an edge in use has no price, or `pace_gsd` is out of range.

    Examples
    --------
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "date": ["2025-01-06", "2025-02-03", "2025-02-03"],
    ...     "event": ["measured", "sharpened", "measured"], "width_mm": [0.860, None, 0.852]}))
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.05))
    >>> prices = Prices(instrument={"": 40.0}, session={"": 0.1}, minute=0.5, currency="EUR")
    >>> budget(result, prices=prices, months=6)
    Budget of 6 months: 1 replacements (1 to 1), 40 EUR (31 to 49)
    """
    checks.instance("result", result, Forecast, "Give what ek.forecast(log, retire=…) returns.")
    checks.instance("prices", prices, Prices, "Give what ek.read_prices(path) returns.")
    level, months = result.level, checks.count("months", months, most=MAX_MONTHS)
    shifts = _shifts(entry("pace_shift").gsd if pace_gsd is None else pace_gsd)
    live = np.flatnonzero(result.table["status"] == ServiceStatus.IN_USE)
    table = result.table.iloc[live].reset_index(drop=True)
    firsts = [pd.Timestamp(result.as_of) + pd.DateOffset(months=m) for m in range(months + 1)]
    days = np.asarray([(first - firsts[0]).days for first in firsts[1:]], dtype=np.float64)
    breakage, breaks = _breakage(result.log)
    codes, names = pd.factorize(table["instrument"], sort=True)
    passed = [passed_share(result.margin_days, pace * days)[live] for pace in shifts.pace]
    chance = np.stack([_chances(part, codes, len(names), breakage * days) for part in passed])
    patterns = table.groupby("instrument")["pattern"].first()
    price = prices.of(prices.instrument, patterns, "instrument")
    each = (chance.sum(axis=2), price)
    costs, groups = _costs(result, live, codes, each, prices, days[-1], shifts)
    monthly = _Money(price @ chance, price**2 @ (chance * (1 - chance)))
    total = {
        **_counts(chance.sum(axis=2, keepdims=True), shifts, level),
        **groups.sum().bounded(shifts, level),
    }
    return Budget(
        months=pd.DataFrame(
            {
                "month": np.asarray(firsts[:-1], dtype="datetime64[s]"),
                **_counts(chance, shifts, level),
                **monthly.bounded(shifts, level),
            }
        ),
        costs=costs.assign(**groups.bounded(shifts, level)),
        currency=prices.currency,
        total={name: float(np.squeeze(number)) for name, number in total.items()},
        message=(
            f"breakage from {breaks} in the log; a replacement's own replacement within the "
            f"{months} months is not counted; {_pace_words(shifts)}"
        ),
    )


def _shifts(gsd: float) -> _Shifts:
    """Lognormal paces at the nodes of Gauss-Hermite quadrature."""
    spread = float(
        checks.array_between("pace_gsd", checks.number("pace_gsd", gsd), 1, MAX_GSD, ends=True)
    )
    if spread == 1:
        return _Shifts(np.ones(1), np.ones(1))
    node, weight = np.polynomial.hermite_e.hermegauss(SHIFTS)
    return _Shifts(spread**node, weight / weight.sum())


def _pace_words(shifts: _Shifts) -> str:
    if len(shifts.pace) == 1:
        return "the clinic keeps the pace of its log"
    gsd = np.exp(np.sqrt(shifts.weight @ np.log(shifts.pace) ** 2))
    return f"the clinic's pace ahead is that of its log, times or over {gsd:.2g} (assumed)"


class _Money(NamedTuple):
    """Mean and variance of a cost (P, …) at each pace of the clinic."""

    mean: FloatArray
    variance: FloatArray

    def sum(self) -> "_Money":
        """Of all groups, independent once the pace is known."""
        return _Money(self.mean.sum(axis=1), self.variance.sum(axis=1))

    def bounded(self, shifts: _Shifts, level: float) -> dict[str, Any]:
        """Mean over the paces with low and high; the spread of the means is part of it."""
        middle = np.tensordot(shifts.weight, self.mean, 1)
        between = np.tensordot(shifts.weight, (self.mean - middle) ** 2, 1)
        variance = np.tensordot(shifts.weight, self.variance, 1) + between
        return bounded("cost", middle, two_sided_z(level) * np.sqrt(variance), floor=0.0)


def _counts(chance: FloatArray, shifts: _Shifts, level: float) -> dict[str, Any]:
    """Expected replacements of each column of chances (P, N, M) with low and high."""
    law = np.tensordot(shifts.weight, np.stack([count_law(part) for part in chance]), 1)
    low, high = _law_quantiles(law, level)
    return {
        "replacements": np.tensordot(shifts.weight, chance.sum(axis=1), 1),
        "replacements_low": low,
        "replacements_high": high,
    }


def _breakage(log: Log) -> tuple[float, int]:
    """Breakages per instrument-day, and how many the log holds."""
    past = history(log)
    one = past.edges.drop_duplicates("instrument")
    until = one["ended"].fillna(past.as_of).to_numpy().astype("datetime64[D]")
    days = (until - one["first"].to_numpy().astype("datetime64[D]")).astype(np.float64).sum()
    breaks = int((one["status"] == ServiceStatus.BROKEN).sum())
    return (breaks + 0.5) / max(float(days), 1.0), breaks


def _chances(
    passed: FloatArray, codes: NDArray[np.int64], instruments: int, breakages: FloatArray
) -> FloatArray:
    """Chance ``(instruments, months)`` that an instrument is replaced in each month."""
    alive = np.ones((instruments, len(breakages)))
    np.multiply.at(alive, codes, 1 - passed)
    return -np.diff(alive * np.exp(-breakages), axis=1, prepend=1.0)


def count_quantiles(
    chance: FloatArray, level: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Low and high count of each column of chances ``(N, M)``: exact, by convolution.

    The smallest counts with at least (1 − level)/2 and (1 + level)/2 of the probability at or below
    them.

    Examples
    --------
    >>> low, high = count_quantiles(np.full((10, 1), 0.5), 0.9)
    >>> int(low[0]), int(high[0])
    (2, 8)
    """
    return _law_quantiles(count_law(chance), level)


def count_law(chance: FloatArray) -> FloatArray:
    """Probability (N + 1, M) of each count, of each column of chances (N, M): exact."""
    size = len(chance)
    pmf = np.zeros((size + 1, chance.shape[1]))
    pmf[0] = 1.0
    for at, p in enumerate(chance, start=1):
        pmf[1 : at + 1] = pmf[1 : at + 1] * (1 - p) + pmf[:at] * p
        pmf[0] *= 1 - p
    return pmf


def _law_quantiles(law: FloatArray, level: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Low and high count (M,) of laws (N + 1, M)."""
    share = np.cumsum(law, axis=0)
    # a share that misses its target by rounding alone counts as reached
    slack = 1e-12
    low = (share < (1 - level) / 2 - slack).sum(axis=0)
    high = (share < (1 + level) / 2 - slack).sum(axis=0)
    return low.astype(np.int64), np.minimum(high, len(law) - 1).astype(np.int64)


def minutes_per_session(log: Log) -> dict[str, float]:
    """Mean minutes of a sharpening by method; methods without minutes are left out."""
    rows = log.rows[(log.rows["event"] == Event.SHARPENED) & log.rows["minutes"].notna()]
    means = rows.groupby("method")["minutes"].mean()
    return {str(method): float(mean) for method, mean in means.items()}


def _costs(
    result: Forecast,
    rows: NDArray[np.int64],
    codes: NDArray[np.int64],
    replaced: tuple[FloatArray, FloatArray],
    prices: Prices,
    days: float,
    shifts: _Shifts,
) -> tuple[pd.DataFrame, _Money]:
    """Cost by pattern and method, and its law; the edges of an instrument share its price.

    `replaced`: replacements (P, N) of each instrument at each pace of the clinic, and its price.
    """
    table = result.table.iloc[rows]
    count, price = replaced
    share = 1 / np.bincount(codes)[codes]
    rho, sd = result.pace.per_day[rows], result.pace.sd[rows]
    minutes = table["method"].map(minutes_per_session(result.log)).fillna(0.0).to_numpy(float)
    per_session = prices.of(prices.session, table["method"], "session")
    unit = per_session + minutes * prices.minute
    ahead = shifts.pace[:, None] * days  # days at the log's pace
    count_var = result.pace.irregularity * rho * ahead + (sd * ahead) ** 2
    mean_count, sessions = shifts.weight @ count, shifts.weight @ (rho * ahead)
    costs = table[["pattern", "method"]].assign(
        edges=1,
        replacements=mean_count[codes] * share,
        sessions=sessions,
        minutes=sessions * minutes,
        instruments_cost=(mean_count * price)[codes] * share,
        sessions_cost=sessions * per_session,
        labour_cost=sessions * minutes * prices.minute,
    )
    keys = ["pattern", "method"]
    group = costs.groupby(keys).ngroup().to_numpy()
    member = (group[:, None] == np.unique(group)).astype(float)
    law = _Money(
        ((count * price)[:, codes] * share + rho * ahead * unit) @ member,
        ((count * (1 - count) * price**2)[:, codes] * share + unit**2 * count_var) @ member,
    )
    costs["cost"] = costs[["instruments_cost", "sessions_cost", "labour_cost"]].sum(axis=1)
    return costs.groupby(keys, as_index=False).sum(), law
