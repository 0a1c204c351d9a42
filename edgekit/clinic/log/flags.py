"""Flag rows of a log that contradict one another, each with its line; no value is changed."""

from typing import Any

import numpy as np
import pandas as pd

from edgekit.clinic.log.cells import Event, look_alike
from edgekit.evidence_table import value
from edgekit.units import UM_PER_MM

__all__ = ["flag_histories"]

FLAG_COLUMNS = ["file", "line", "instrument", "edge", "reason", "detail"]

Flag = tuple[Any, ...]
"""Line, instrument, edge, reason and detail."""


def flag_histories(
    file: str, rows: pd.DataFrame, notes: list[tuple[int, str, str]]
) -> pd.DataFrame:
    """Everything in good rows that contradicts another row.

    Widths that grow by more than the reading error allows, 3 √2 standard deviations of
    a reading; drops too large for one step; anything after retirement or breakage; the same row
    twice; codes that are easily confused; an instrument of two patterns; a width
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
    heads: list[Flag] = [(line, "", "", reason, detail) for line, reason, detail in notes]
    flags: list[Flag] = []
    if len(rows):
        for check in (_widths, _after_the_end, _twice, _codes, _edges, _gaps):
            flags += check(rows)
    flags.sort(key=lambda flag: (flag[0], flag[3]))
    table = pd.DataFrame([(file, *flag) for flag in heads + flags], columns=FLAG_COLUMNS)
    return table.astype({"line": int})


def _widths(rows: pd.DataFrame) -> list[Flag]:
    """Neighbouring widths of one edge that rise, or fall too far."""
    read = rows[rows["width_mm"].notna()]
    read = read.sort_values(["instrument", "edge", "date", "line"], kind="stable")
    before = read.groupby(["instrument", "edge"])[["width_mm", "line"]].shift()
    step_um = read["width_mm"] * UM_PER_MM - before["width_mm"] * UM_PER_MM
    max_um = value("log_rise_in_reading_sds") * value("reading_sd_um")
    grows = (step_um > max_um, "width grows", f", more than {max_um:.3g} µm of reading error")
    far = step_um < -value("log_largest_drop_um")
    drops = (far, "width drops", " in one step: another instrument or edge?")
    return [
        (
            row.line,
            row.instrument,
            row.edge,
            reason,
            f"{row.old_mm:.4g} mm (line {row.old_line:.0f}) to {row.width_mm:.4g} mm{remark}",
        )
        for where, reason, remark in (grows, drops)
        for row in read.assign(old_mm=before["width_mm"], old_line=before["line"])[
            where
        ].itertuples()
    ]


def _after_the_end(rows: pd.DataFrame) -> list[Flag]:
    """Rows after an instrument was retired or broke."""
    ends = rows[rows["event"].isin([Event.RETIRED, Event.BROKEN])]
    first = ends.sort_values(["date", "line"], kind="stable").drop_duplicates("instrument")
    end = first.set_index("instrument")[["date", "line", "event"]].add_prefix("end_")
    joined = rows.join(end, on="instrument", how="inner")
    later = joined["date"] > joined["end_date"]
    same_day = (joined["date"] == joined["end_date"]) & (joined["line"] > joined["end_line"])
    return [
        (
            row.line,
            row.instrument,
            row.edge,
            f"{row.event} after the end",
            f"{row.end_event} on {row.end_date:%Y-%m-%d} (line {row.end_line})",
        )
        for row in joined[later | same_day].itertuples()
    ]


def _twice(rows: pd.DataFrame) -> list[Flag]:
    """The same row entered more than once."""
    keys = [name for name in rows.columns if name != "line"]
    return [
        (
            row.line,
            row.instrument,
            row.edge,
            "the same row twice",
            f"{row.event} on {row.date:%Y-%m-%d}",
        )
        for row in rows[rows.duplicated(keys, keep="first")].itertuples()
    ]


def _codes(rows: pd.DataFrame) -> list[Flag]:
    """Codes that look alike, and one code on two patterns."""
    firsts = rows.drop_duplicates("instrument")
    spelled = firsts.groupby(firsts["instrument"].map(look_alike))["instrument"]
    firsts = firsts.assign(first=spelled.transform("first"))
    alike = firsts[firsts["instrument"] != firsts["first"]]
    named = rows[rows["pattern"] != ""].drop_duplicates(["instrument", "pattern"])
    second = named[named.duplicated("instrument")]
    return [
        (row.line, row.instrument, "", "codes that look alike", f"also written {row.first}")
        for row in alike.itertuples()
    ] + [
        (row.line, row.instrument, "", "one code, two patterns", f"here {row.pattern}")
        for row in second.itertuples()
    ]


def _edges(rows: pd.DataFrame) -> list[Flag]:
    """Widths that do not say which of several edges was measured."""
    named = rows.loc[rows["edge"] != "", ["instrument", "edge"]].drop_duplicates()
    several = rows["instrument"].isin(named.loc[named["instrument"].duplicated(), "instrument"])
    unnamed = rows[rows["width_mm"].notna() & (rows["edge"] == "") & several]
    return [
        (row.line, row.instrument, "", "a width without its edge", "left out of the forecast")
        for row in unnamed.itertuples()
    ]


def _gaps(rows: pd.DataFrame) -> list[Flag]:
    """A stretch without any row so long that a year may be mistyped."""
    ordered = rows.sort_values(["date", "line"], kind="stable")
    days = ordered["date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    flags = []
    for at in np.flatnonzero(np.diff(days) > value("log_longest_gap_days")):
        # the side of the gap with fewer rows holds the mistyped year
        row = ordered.iloc[at + 1 if at + 1 > len(days) / 2 else at]
        detail = f"{days[at + 1] - days[at]} days without a row beside {row['date']:%Y-%m-%d}"
        flags.append((row["line"], row["instrument"], row["edge"], "a gap of years", detail))
    return flags
