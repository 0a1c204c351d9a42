"""A user's price table: what an instrument, a session and a minute cost."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.tables import read_table

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Prices", "read_prices"]

ITEMS = ("instrument", "session", "minute")
COLUMNS = ("item", "name", "price", "currency")


@dataclass(frozen=True, kw_only=True)
class Prices:
    """Prices in one currency.

    Attributes
    ----------
    instrument : dict
        Price of a new instrument by pattern; ``""`` serves patterns that are not named.
    session : dict
        Cost of one session of one edge by method, without labour; ``""`` serves the others.
    minute : float
        Cost of a minute of work.
    currency : str
    """

    instrument: dict[str, float]
    session: dict[str, float]
    minute: float
    currency: str

    def of(self, table: dict[str, float], names: ArrayLike, what: str) -> FloatArray:
        """Price of each name; a name without one is an error that says which."""
        words = [str(name) for name in np.asarray(names, dtype=object)]
        missing = sorted({name for name in words if name not in table} if "" not in table else ())
        if missing:
            raise EdgekitError(
                f"no price of {what} for {len(missing)} names",
                missing,
                f"Add them to the price table, or a line {what} with an empty name for all others.",
            )
        return np.asarray([table.get(name, table.get("", 0.0)) for name in words])


def read_prices(source: str | os.PathLike[str] | pd.DataFrame) -> Prices:
    """Read a price table: ``item, name, price, currency``, item one of instrument, session, minute.

    Examples
    --------
    >>> import pandas as pd
    >>> prices = read_prices(pd.DataFrame({
    ...     "item": ["instrument", "session", "minute"], "name": ["", "held", ""],
    ...     "price": [40.0, 0.1, 0.5], "currency": "EUR"}))
    >>> prices.session
    {'held': 0.1}
    """
    frame = read_table(source) if isinstance(source, str | os.PathLike) else source
    missing = [name for name in COLUMNS if name not in frame.columns]
    if missing:
        raise EdgekitError(
            "the price table lacks columns", missing, f"Name them {', '.join(COLUMNS)}."
        )
    tables: dict[str, dict[str, float]] = {item: {} for item in ITEMS}
    currencies = {str(word).strip() for word in frame["currency"]}
    for row, (item, name, price) in enumerate(
        zip(frame["item"], frame["name"], frame["price"], strict=True), start=1
    ):
        kind = str(item).strip().casefold()
        key = "" if name is None or name != name else str(name).strip()  # noqa: PLR0124
        try:
            number = float(price)
        except (TypeError, ValueError):
            number = float("nan")
        if kind not in tables or not 0 <= number < float("inf") or key in tables[kind]:
            raise EdgekitError(
                f"row {row} of the price table cannot be used",
                (item, name, price),
                f"Items are {', '.join(ITEMS)}, each name once, with a price of 0 or more.",
            )
        tables[kind][key] = number
    if len(currencies) != 1:
        raise EdgekitError("prices need one currency", sorted(currencies), "Convert the others.")
    return Prices(
        instrument=tables["instrument"],
        session=tables["session"],
        minute=tables["minute"].get("", 0.0),
        currency=currencies.pop(),
    )
