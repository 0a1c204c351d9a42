"""Replacements of the coming year, month by month, and what they and the sharpening cost."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.cost.prices import Prices
from edgekit.clinic.forecast.crossing_time import passed_share, two_sided_z
from edgekit.clinic.forecast.forecast import Forecast
from edgekit.clinic.log.cells import Event
from edgekit.clinic.log.history import ServiceStatus, history
from edgekit.clinic.log.log import Log
from edgekit.record import Record

__all__ = ["Budget", "budget", "count_quantiles", "minutes_per_session"]


MAX_MONTHS = 1200
"""A century, beyond which a forecast gives no dates either."""


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


def budget(result: Forecast, *, prices: Prices, months: int = 12) -> Budget:
    """Budget of the months after the last date of the log behind a forecast.

    An instrument is replaced when the first of its edges reaches the limit or when it breaks. The
    chance of each month is that of the forecast; breakage adds the log's own rate, (breaks + ½) /
    (instrument-days) after Jeffreys. The count of a month is a sum of unequal chances, whose
    quantiles are exact. Edges are taken as independent once their group is known.

    Parameters
    ----------
    result : Forecast
        It knows the log it was made from.
    prices : Prices
    months : int
        How many months ahead, 1200 at most.

    Returns
    -------
    Budget

    Raises
    ------
    EdgekitError
        A pattern or method of an edge in use has no price.

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
    months = checks.count("months", months, most=MAX_MONTHS)
    z = two_sided_z(result.level)
    live = np.flatnonzero((result.table["status"] == ServiceStatus.IN_USE).to_numpy())
    table = result.table.iloc[live].reset_index(drop=True)
    start = pd.Timestamp(result.as_of)
    ends = [start + pd.DateOffset(months=m) for m in range(1, months + 1)]
    days = np.asarray([(end - start).days for end in ends], dtype=np.float64)
    rate, breaks = _breakage(result.log)
    codes, names = pd.factorize(table["instrument"], sort=True)
    chance = _chances(result, live, np.asarray(codes), len(names), days, rate)
    owner = table.drop_duplicates("instrument").set_index("instrument").loc[list(names)]
    price = prices.of(prices.instrument, owner["pattern"].to_numpy(), "instrument")
    monthly = _months(chance, price, ends, start, result.level, z)
    costs = _costs(result, (live, table), (chance, price, np.asarray(codes)), prices, days[-1])
    replaced = chance.sum(axis=1)
    low, high = count_quantiles(replaced[:, None], result.level)
    cost, spread = float(costs["cost"].sum()), float(np.sqrt((costs["_var"]).sum()))
    costs = _banded(costs, z)
    return Budget(
        months=monthly,
        costs=costs,
        currency=prices.currency,
        total={
            "replacements": float(replaced.sum()),
            "replacements_low": float(low[0]),
            "replacements_high": float(high[0]),
            "cost": cost,
            "cost_low": max(cost - z * spread, 0.0),
            "cost_high": cost + z * spread,
        },
        message=(
            f"breakage from {breaks} in the log; a replacement's own replacement within the "
            f"{months} months is not counted; edges independent once their group is known"
        ),
    )


def _breakage(log: Log) -> tuple[float, int]:
    """Breakages per instrument-day, and how many the log holds."""
    past = history(log)
    one = past.edges.drop_duplicates("instrument")
    until = one["ended"].fillna(past.as_of).to_numpy().astype("datetime64[D]")
    days = (until - one["first"].to_numpy().astype("datetime64[D]")).astype(np.float64).sum()
    breaks = int((one["status"] == ServiceStatus.BROKEN).sum())
    return (breaks + 0.5) / max(float(days), 1.0), breaks


def _chances(
    result: Forecast,
    live: NDArray[np.int64],
    codes: NDArray[np.int64],
    instruments: int,
    days: FloatArray,
    rate: float,
) -> FloatArray:
    """Chance ``(instruments, months)`` that an instrument is replaced in each month."""
    passed = passed_share(result.margin_days, days)[live]
    alive = np.ones((instruments, len(days)))
    np.multiply.at(alive, codes, 1 - passed)
    alive *= np.exp(-rate * days)
    return -np.diff(np.concatenate([np.ones((instruments, 1)), alive], axis=1), axis=1)


def count_quantiles(
    chance: FloatArray, level: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Low and high count of each column of chances ``(N, M)``: exact, by convolution.

    The smallest counts with at least (1 − level)/2 and (1 + level)/2 of the probability at or below.

    Examples
    --------
    >>> low, high = count_quantiles(np.full((10, 1), 0.5), 0.9)
    >>> int(low[0]), int(high[0])
    (2, 8)
    """
    size, columns = chance.shape
    pmf = np.zeros((size + 1, columns))
    pmf[0] = 1.0
    for at, p in enumerate(chance, start=1):
        pmf[1 : at + 1] = pmf[1 : at + 1] * (1 - p) + pmf[:at] * p
        pmf[0] *= 1 - p
    share = np.cumsum(pmf, axis=0)
    # a share that misses its target by rounding alone counts as reached
    slack = 1e-12
    low = (share < (1 - level) / 2 - slack).sum(axis=0)
    high = (share < (1 + level) / 2 - slack).sum(axis=0)
    return low.astype(np.int64), np.minimum(high, size).astype(np.int64)


def _months(
    chance: FloatArray, price: FloatArray, ends: list[Any], start: Any, level: float, z: float
) -> pd.DataFrame:
    """Replacements and costs of each month."""
    low, high = count_quantiles(chance, level)
    cost = price @ chance
    spread = np.sqrt(price**2 @ (chance * (1 - chance)))
    return pd.DataFrame(
        {
            "month": np.asarray([start, *ends[:-1]], dtype="datetime64[s]"),
            "replacements": chance.sum(axis=0),
            "replacements_low": low,
            "replacements_high": high,
            "cost": cost,
            "cost_low": np.maximum(cost - z * spread, 0.0),
            "cost_high": cost + z * spread,
        }
    )


def minutes_per_session(log: Log) -> dict[str, float]:
    """Mean minutes of a sharpening by method; methods without minutes are left out."""
    rows = log.rows[(log.rows["event"] == Event.SHARPENED) & log.rows["minutes"].notna()]
    means = rows.groupby("method")["minutes"].mean()
    return {str(method): float(mean) for method, mean in means.items()}


def _costs(
    result: Forecast,
    live: tuple[NDArray[np.int64], pd.DataFrame],
    replaced: tuple[FloatArray, FloatArray, NDArray[np.int64]],
    prices: Prices,
    days: float,
) -> pd.DataFrame:
    """Cost by pattern and method; an instrument's replacement is shared among its edges."""
    rows, table = live
    chance, price, codes = replaced
    share = 1 / np.bincount(codes)[codes]
    count = chance.sum(axis=1)
    rho, sd = result.pace.per_day[rows], result.pace.sd[rows]
    minutes = minutes_per_session(result.log)
    each = np.asarray([minutes.get(str(name), 0.0) for name in table["method"]])
    per_session = prices.of(prices.session, table["method"].to_numpy(), "session")
    unit = per_session + each * prices.minute
    count_var = result.pace.irregularity * rho * days + (sd * days) ** 2
    spread = (count * (1 - count) * price**2)[codes] * share + unit**2 * count_var
    costs = table[["pattern", "method"]].assign(
        edges=1,
        replacements=count[codes] * share,
        sessions=rho * days,
        minutes=rho * days * each,
        instruments_cost=(count * price)[codes] * share,
        sessions_cost=rho * days * per_session,
        labour_cost=rho * days * each * prices.minute,
    )
    costs["cost"] = costs[["instruments_cost", "sessions_cost", "labour_cost"]].sum(axis=1)
    costs["_var"] = spread
    return costs.groupby(["pattern", "method"], as_index=False).sum()


def _banded(costs: pd.DataFrame, z: float) -> pd.DataFrame:
    spread = z * np.sqrt(costs["_var"])
    low = (costs["cost"] - spread).clip(lower=0.0)
    return costs.drop(columns="_var").assign(cost_low=low, cost_high=costs["cost"] + spread)
