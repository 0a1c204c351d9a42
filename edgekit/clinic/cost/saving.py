"""What a change of method, or of the interval between sessions, would save in a year."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.cost.budget import minutes_per_session
from edgekit.clinic.cost.prices import Prices
from edgekit.clinic.forecasting.crossing_time import two_sided_z
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.clinic.forecasting.session_rate import DAYS_PER_YEAR
from edgekit.clinic.log.history import ServiceStatus
from edgekit.clinic.log.log import Log
from edgekit.errors import Cannot
from edgekit.evidence_table import Range, entry
from edgekit.record import Record
from edgekit.units import UM_PER_MM

__all__ = ["IntervalChange", "MethodChange", "Saving", "saving"]


@dataclass(frozen=True, kw_only=True)
class MethodChange:
    """Sharpen the edges of `pattern` that go by `method` by method `to` instead."""

    pattern: str
    method: str
    to: str

    def __post_init__(self) -> None:
        for name in ("pattern", "method", "to"):
            checks.instance(name, getattr(self, name), str, "Give a name as the log has it.")


@dataclass(frozen=True, kw_only=True)
class IntervalChange:
    """Multiply the time between sessions of `pattern` and `method`; 2 means half as often."""

    pattern: str
    method: str
    factor: float

    def __post_init__(self) -> None:
        for name in ("pattern", "method"):
            checks.instance(name, getattr(self, name), str, "Give a name as the log has it.")
        checks.keep_numbers(self, factor=checks.positive("factor", self.factor))


class Saving(Record):
    """Saving in a year, negative where the change costs more.

    Attributes
    ----------
    per_year, per_year_low, per_year_high : float
        In the currency of the prices.
    chance : float
        Probability that it saves at all.
    edges : int
        Edges it concerns.
    currency, message : str
    """

    per_year: float
    per_year_low: float
    per_year_high: float
    chance: float
    edges: int
    currency: str
    message: str

    def __repr__(self) -> str:
        return (
            f"{self.per_year:.0f} {self.currency} saved in a year ({self.per_year_low:.0f} to "
            f"{self.per_year_high:.0f}), {self.edges} edges; chance to save {self.chance:.0%}. "
            f"{self.message}"
        )


def saving(result: Forecast, *, prices: Prices, change: MethodChange | IntervalChange) -> Saving:
    """Compare the running cost of a year before and after a change.

    An edge costs, in a year of ρ sessions, ρ (b p / (A n) + s + c m): loss per session b over the
    width A from new to limit uses up an instrument of price p, shared among its n edges; a session
    costs s and m minutes at c. A change of method replaces b, s and m by those of the other method
    on the same pattern. A change of interval by a factor f divides ρ by f and takes b to b f^e,
    with e the dulling exponent of the evidence table (0.5; a quarter of its range as sd).
    Losses of two methods are taken as independent.

    Parameters
    ----------
    result : Forecast
        It knows the log it was made from.
    prices : Prices
    change : MethodChange or IntervalChange

    Returns
    -------
    Saving

    Raises
    ------
    EdgekitError
        The log has no edge of the pattern with the method, or with the method to change to.

    Examples
    --------
    >>> import pandas as pd, edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "pattern": "universal curette", "method": "held",
    ...     "date": ["2025-01-06", "2025-02-03", "2025-02-03", "2025-03-03", "2025-03-03"],
    ...     "event": ["measured", "sharpened", "measured", "sharpened", "measured"],
    ...     "width_mm": [0.860, None, 0.852, None, 0.846]}))
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    >>> prices = ek.read_prices(pd.DataFrame({
    ...     "item": ["instrument", "session"], "name": "", "price": [40.0, 0.1],
    ...     "currency": "EUR"}))
    >>> rarer = ek.clinic.IntervalChange(pattern="universal curette", method="held", factor=2.0)
    >>> ek.saving(result, prices=prices, change=rarer).currency
    'EUR'
    """
    checks.instance("result", result, Forecast, "Give what ek.forecast(log, retire=…) returns.")
    checks.instance("prices", prices, Prices, "Give what ek.read_prices(path) returns.")
    remedy = "Give MethodChange(…) or IntervalChange(…)."
    checks.instance("change", change, (MethodChange, IntervalChange), remedy)
    rate, rate_sd, per_um = _edges(result, prices, change.pattern, change.method)
    before, before_sd = _loss(result, change.pattern, change.method)
    unit = _session_cost(result.log, prices, change.method)
    k = float((rate * per_um).sum())
    message = ""
    if isinstance(change, MethodChange):
        after, after_sd = _loss(result, change.pattern, change.to)
        unit_after = _session_cost(result.log, prices, change.to)
        each = (before - after) * per_um + unit - unit_after
        variance = k**2 * (before_sd**2 + after_sd**2)
    else:
        law = entry("dull_exponent")
        bounds = law.spread if isinstance(law.spread, Range) else Range(law.value, law.value)
        grown = change.factor ** (law.value - 1)
        each = before * per_um * (1 - grown) + unit * (1 - 1 / change.factor)
        exponent_sd = (bounds.high - bounds.low) / 4
        slope = k * before * grown * np.log(change.factor)
        variance = (k * (1 - grown) * before_sd) ** 2 + (slope * exponent_sd) ** 2
        message = "the loss at another interval follows an assumed dulling exponent"
    total = float((rate * each).sum())
    spread = float(np.sqrt(variance + ((rate_sd * each) ** 2).sum()))
    z = two_sided_z(result.level)
    return Saving(
        per_year=total,
        per_year_low=total - z * spread,
        per_year_high=total + z * spread,
        chance=float(ndtr(total / spread) if spread > 0 else np.heaviside(total, 0.5)),
        edges=len(rate),
        currency=prices.currency,
        message=message,
    )


def _edges(
    result: Forecast, prices: Prices, pattern: str, method: str
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Per edge: sessions a year, their standard deviation, and the price of 1 µm of width."""
    table = result.table
    group = (table["pattern"] == pattern) & (table["method"] == method)
    rows = np.flatnonzero(group & (table["status"] == ServiceStatus.IN_USE))
    if len(rows) == 0:
        raise Cannot(
            "no edge in use has this pattern and method", (pattern, method), _known(result.groups)
        )
    chosen = table.iloc[rows]
    per_instrument = table.groupby("instrument")["edge"].transform("size").to_numpy()[rows]
    allowance_um = (chosen["first_mm"] - chosen["limit_mm"]).to_numpy() * UM_PER_MM
    if not (allowance_um > 0).all():
        bad = chosen["instrument"].to_numpy()[~(allowance_um > 0)]
        raise Cannot(
            "the first reading of an edge lies below the limit", list(bad[:5]), "Check the limit."
        )
    price = prices.of(prices.instrument, chosen["pattern"].to_numpy(), "instrument")
    rate, rate_sd = result.pace.per_day[rows], result.pace.sd[rows]
    per_um = price / (allowance_um * per_instrument)
    return rate * DAYS_PER_YEAR, rate_sd * DAYS_PER_YEAR, per_um


def _loss(result: Forecast, pattern: str, method: str) -> tuple[float, float]:
    """Mean loss per session of a group and its standard deviation."""
    groups = result.groups
    row = groups[(groups["pattern"] == pattern) & (groups["method"] == method)]
    if row.empty:
        raise Cannot("the log shows no such pattern and method", (pattern, method), _known(groups))
    width = float(row["loss_um_per_session_high"].iloc[0] - row["loss_um_per_session_low"].iloc[0])
    return float(row["loss_um_per_session"].iloc[0]), width / (2 * two_sided_z(result.level))


def _known(groups: pd.DataFrame) -> str:
    pairs = [
        f"{p or '(none)'} by {m or '(none)'}"
        for p, m in zip(groups["pattern"], groups["method"], strict=True)
    ]
    return f"The log has {', '.join(pairs)}."


def _session_cost(log: Log, prices: Prices, method: str) -> float:
    minutes = minutes_per_session(log).get(method, 0.0)
    return float(prices.of(prices.session, [method], "session")[0]) + minutes * prices.minute
