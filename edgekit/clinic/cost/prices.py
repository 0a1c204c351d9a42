"""A user's price table: what an instrument, a session and a minute cost."""

import os
from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError, reading
from edgekit.files import file_path
from edgekit.record import Record
from edgekit.tables import read_form

__all__ = ["Prices", "read_prices"]

ITEMS = ("instrument", "session", "minute")
COLUMNS = ("item", "name", "price", "currency")


class Prices(Record):
    """Prices in one currency.

    Attributes
    ----------
    instrument : mapping
        Price of a new instrument by pattern; ``""`` stands for patterns that are not named.
    session : mapping
        Cost of one session of one edge by method, without labour; ``""`` stands for the others.
    minute : float
        Cost of a minute of work.
    currency : str
    """

    instrument: Mapping[str, float]
    session: Mapping[str, float]
    minute: float
    currency: str

    def __post_init__(self) -> None:
        for what, table in (("instrument", self.instrument), ("session", self.session)):
            for name, price in table.items():
                checks.at_least(f"the price of {what} {name!r}", price, 0)
        checks.keep_numbers(self, minute=checks.at_least("minute", self.minute, 0))
        super().__post_init__()

    def of(self, table: Mapping[str, float], names: ArrayLike, what: str) -> FloatArray:
        """Price of each name; a name without one is an error that says which."""
        checks.instance("table", table, Mapping, "Give .instrument or .session of the prices.")
        words = [str(name) for name in np.asarray(names, dtype=object).ravel()]
        missing = sorted({name for name in words if name not in table} if "" not in table else ())
        if missing:
            raise EdgekitError(
                f"no price of {what} for {len(missing)} names",
                missing,
                f"Add them to the price table, or a line {what} with an empty name for all others.",
            )
        return np.asarray([table[name if name in table else ""] for name in words])


def read_prices(source: str | os.PathLike[str] | pd.DataFrame) -> Prices:
    """Read a price table: ``item, name, price, currency``, item one of instrument, session, minute.

    Parameters
    ----------
    source : path or pandas.DataFrame
        Columns ``item, name, price, currency``; an empty name stands for all others.

    Returns
    -------
    Prices

    Raises
    ------
    BadFile
        The file cannot be read, lacks a column, or a row is no price.
    EdgekitError
        The same of a DataFrame; more than one currency.

    Examples
    --------
    >>> prices = read_prices(pd.DataFrame({
    ...     "item": ["instrument", "session", "minute"], "name": ["", "held", ""],
    ...     "price": [40.0, 0.1, 0.5], "currency": "EUR"}))
    >>> prices.session["held"]
    0.1
    """
    if isinstance(source, str | os.PathLike):
        with reading(file_path(source).name):
            table, lines = read_form(source)
            return _from_frame(table, [f"line {line}" for line in lines])
    remedy = "Give the path of a price table, or the table itself."
    checks.instance("source", source, pd.DataFrame, remedy)
    return _from_frame(source, [f"row {row + 1}" for row in range(len(source))])


def _from_frame(frame: pd.DataFrame, places: list[str]) -> Prices:
    missing = [name for name in COLUMNS if name not in frame.columns]
    if missing:
        raise EdgekitError(
            "the price table lacks columns", missing, f"Name them {', '.join(COLUMNS)}."
        )
    tables: dict[str, dict[str, float]] = {item: {} for item in ITEMS}
    if frame.empty:
        remedy = "Write a line for each item: instrument, session and minute."
        raise EdgekitError("the price table has no prices", "", remedy)
    currencies = {str(word).strip() for word in frame["currency"]}
    for place, item, name, price in zip(
        places, frame["item"], frame["name"], frame["price"], strict=True
    ):
        kind = str(item).strip().casefold()
        key = "" if pd.isna(name) else str(name).strip()
        number = pd.to_numeric(price, errors="coerce")
        if kind not in tables or not 0 <= number < float("inf") or key in tables[kind]:
            raise EdgekitError(
                f"{place} of the price table cannot be used",
                (item, name, price),
                f"Items are {', '.join(ITEMS)}, each name once, with a price of 0 or more and "
                "a point for decimals.",
            )
        tables[kind][key] = float(number)
    if len(currencies) != 1:
        raise EdgekitError("prices need one currency", sorted(currencies), "Convert the others.")
    return Prices(
        instrument=tables["instrument"],
        session=tables["session"],
        minute=tables["minute"].get("", 0.0),
        currency=currencies.pop(),
    )
