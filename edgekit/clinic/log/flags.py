"""Histories that cannot be true as written: flagged with their line, never put right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from edgekit.clinic.log.cells import look_alike
from edgekit.evidence_table import value

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["flag_histories"]

FLAG_COLUMNS = ["file", "line", "instrument", "edge", "reason", "detail"]


def flag_histories(
    file: str, rows: pd.DataFrame, notes: list[tuple[int, str, str]]
) -> pd.DataFrame:
    """Everything in good rows that contradicts another row.

    Widths that grow by more than the reading error allows, 3 √2 standard deviations of
    a reading; drops too large for one step; anything after retirement or breakage; the same row
    twice; codes that a person may take for one another; an instrument of two patterns; a width
    without an edge name on an instrument with several; years without any row.

    Parameters
    ----------
    file : str
        Name repeated in the table.
    rows : pandas.DataFrame
        `Log.rows`.
    notes : list
        (line, reason, detail) about the file as a whole, put first.

    Returns
    -------
    pandas.DataFrame
        ``file, line, instrument, edge, reason, detail``, by line.
    """
    import pandas as pd

    heads = [(line, "", "", reason, detail) for line, reason, detail in notes]
    found: list[tuple[Any, ...]] = []
    if len(rows):
        ordered = rows.sort_values(["instrument", "edge", "date", "line"], kind="stable")
        found += _widths(ordered)
        found += _after_the_end(rows)
        found += _twice(rows)
        found += _codes(rows)
        found += _edges(rows)
        found += _gaps(rows)
    found.sort(key=lambda flag: (flag[0], flag[3]))
    return pd.DataFrame([(file, *flag) for flag in heads + found], columns=FLAG_COLUMNS).astype(
        {"line": int}
    )


def _widths(ordered: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Neighbouring widths of one edge that rise, or fall too far."""
    read = ordered[ordered["width_mm"].notna()]
    same = (read["instrument"].to_numpy()[1:] == read["instrument"].to_numpy()[:-1]) & (
        read["edge"].to_numpy()[1:] == read["edge"].to_numpy()[:-1]
    )
    width_um = read["width_mm"].to_numpy() * 1e3
    step_um = np.diff(width_um)
    max_um = value("log_rise_in_reading_sds") * value("reading_sd_um")
    rises = np.flatnonzero(same & (step_um > max_um)) + 1
    drops = np.flatnonzero(same & (step_um < -value("log_largest_drop_um"))) + 1
    flags = []
    for at, reason in [*((i, "width grows") for i in rises), *((i, "width drops") for i in drops)]:
        now, before = read.iloc[at], read.iloc[at - 1]
        detail = (
            f"{before['width_mm']:.4g} mm (line {before['line']}) to {now['width_mm']:.4g} mm, "
            f"more than {max_um:.3g} µm of reading error"
            if reason == "width grows"
            else f"{before['width_mm']:.4g} mm (line {before['line']}) to {now['width_mm']:.4g} mm "
            "in one step: another instrument or edge?"
        )
        flags.append((now["line"], now["instrument"], now["edge"], reason, detail))
    return flags


def _after_the_end(rows: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Rows after an instrument was retired or broke."""
    ends = rows[rows["event"].isin(["retired", "broken"])]
    if ends.empty:
        return []
    first = ends.sort_values(["date", "line"], kind="stable").drop_duplicates("instrument")
    end = first.set_index("instrument")[["date", "line", "event"]].add_prefix("end_")
    joined = rows.join(end, on="instrument", how="inner")
    later = joined["date"] > joined["end_date"]
    same_day = (joined["date"] == joined["end_date"]) & (joined["line"] > joined["end_line"])
    after = joined[later | same_day]
    return [
        (line, code, edge, f"{event} after the end", f"{end} on {day:%Y-%m-%d} (line {at})")
        for line, code, edge, event, end, day, at in zip(
            after["line"],
            after["instrument"],
            after["edge"],
            after["event"],
            after["end_event"],
            after["end_date"],
            after["end_line"],
            strict=True,
        )
    ]


def _twice(rows: pd.DataFrame) -> list[tuple[Any, ...]]:
    """The same row entered more than once."""
    keys = [name for name in rows.columns if name != "line"]
    again = rows[rows.duplicated(keys, keep="first")]
    return [
        (line, code, edge, "the same row twice", f"{event} on {day:%Y-%m-%d}")
        for line, code, edge, event, day in zip(
            again["line"],
            again["instrument"],
            again["edge"],
            again["event"],
            again["date"],
            strict=True,
        )
    ]


def _codes(rows: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Codes that look alike, and one code on two patterns."""
    first_line = rows.groupby("instrument", sort=False)["line"].first()
    alike: dict[str, list[str]] = {}
    for code in first_line.index:
        alike.setdefault(look_alike(code), []).append(code)
    flags = [
        (first_line[code], code, "", "codes that look alike", f"also written {codes[0]}")
        for codes in alike.values()
        for code in codes[1:]
    ]
    named = rows[rows["pattern"] != ""].drop_duplicates(["instrument", "pattern"])
    second = named[named.duplicated("instrument")]
    flags += [
        (line, code, "", "one code, two patterns", f"here {pattern}")
        for line, code, pattern in zip(
            second["line"], second["instrument"], second["pattern"], strict=True
        )
    ]
    return flags


def _edges(rows: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Widths that do not say which of several edges was measured."""
    named = rows[rows["edge"] != ""].groupby("instrument")["edge"].nunique()
    several = named.index[named > 1]
    lost = rows[rows["width_mm"].notna() & (rows["edge"] == "") & rows["instrument"].isin(several)]
    return [
        (line, code, "", "a width without its edge", "left out of the forecast")
        for line, code in zip(lost["line"], lost["instrument"], strict=True)
    ]


def _gaps(rows: pd.DataFrame) -> list[tuple[Any, ...]]:
    """A stretch without any row so long that a year may be mistyped."""
    ordered = rows.sort_values(["date", "line"], kind="stable")
    days = ordered["date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    flags = []
    for at in np.flatnonzero(np.diff(days) > value("log_longest_gap_days")):
        # the smaller side of the gap holds the odd rows out
        row = ordered.iloc[at + 1 if at + 1 > len(days) / 2 else at]
        detail = f"{days[at + 1] - days[at]} days without a row beside {row['date']:%Y-%m-%d}"
        flags.append((row["line"], row["instrument"], row["edge"], "a gap of years", detail))
    return flags
