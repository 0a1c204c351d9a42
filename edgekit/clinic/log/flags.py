"""Flag rows of a log that contradict one another, each with its line; no value is changed."""

import numpy as np
import pandas as pd

from edgekit.clinic.log.cells import Event, look_alike
from edgekit.evidence_table import value
from edgekit.units import UM_PER_MM

FLAG_COLUMNS = ["file", "line", "instrument", "edge", "reason", "detail"]

Text = str | list[str] | pd.Series


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
        (line, reason, detail) about the file as a whole, which come first.

    Returns
    -------
    pandas.DataFrame
        ``file, line, instrument, edge, reason, detail``, by line.
    """
    checks = (_widths, _after_the_end, _twice, _codes, _edges, _gaps) if len(rows) else ()
    heads = pd.DataFrame(notes, columns=["line", "reason", "detail"]).assign(instrument="", edge="")
    flags = pd.concat([heads.iloc[:0], *(check(rows) for check in checks)])
    flags = flags.sort_values(["line", "reason"], kind="stable")
    table = pd.concat([heads, flags], ignore_index=True).assign(file=file)[FLAG_COLUMNS]
    return table.astype({name: int if name == "line" else "str" for name in FLAG_COLUMNS})


def _flags(rows: pd.DataFrame, reason: Text, detail: Text) -> pd.DataFrame:
    return rows[["line", "instrument", "edge"]].assign(reason=reason, detail=detail)


def _on_day(dates: pd.Series) -> pd.Series:
    text: pd.Series = dates.dt.strftime(" on %Y-%m-%d")
    return text


def _widths(rows: pd.DataFrame) -> pd.DataFrame:
    """Neighbouring widths of one edge that rise, or fall too far."""
    read = rows[rows["width_mm"].notna()]
    read = read.sort_values(["instrument", "edge", "date", "line"], kind="stable")
    before = read.groupby(["instrument", "edge"])[["width_mm", "line"]].shift()
    step_um = read["width_mm"] * UM_PER_MM - before["width_mm"] * UM_PER_MM
    max_um = value("log_rise_in_reading_sds") * value("reading_sd_um")
    grows, drops = step_um > max_um, step_um < -value("log_largest_drop_um")
    old, new = (table["width_mm"].map("{:.4g} mm".format) for table in (before, read))
    line = before["line"].map(" (line {:.0f}) to ".format)
    detail = (old + line + new).astype("str")
    risen = f", more than {max_um:.3g} µm of reading error"
    fallen = " in one step: another instrument or edge?"
    return pd.concat(
        [
            _flags(read[grows], "width grows", detail[grows] + risen),
            _flags(read[drops], "width drops", detail[drops] + fallen),
        ]
    )


def _after_the_end(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows after an instrument was retired or broke."""
    ends = rows[rows["event"].isin([Event.RETIRED, Event.BROKEN])]
    first = ends.sort_values(["date", "line"], kind="stable").drop_duplicates("instrument")
    end = first.set_index("instrument")[["date", "line", "event"]].add_prefix("end_")
    joined = rows.join(end, on="instrument", how="inner")
    later = joined["date"] > joined["end_date"]
    same_day = (joined["date"] == joined["end_date"]) & (joined["line"] > joined["end_line"])
    after = joined[later | same_day]
    detail = after["end_event"] + _on_day(after["end_date"])
    line = " (line " + after["end_line"].astype(int).astype("str") + ")"
    return _flags(after, after["event"] + " after the end", detail + line)


def _twice(rows: pd.DataFrame) -> pd.DataFrame:
    """The same row entered more than once."""
    again = rows[rows.duplicated([name for name in rows.columns if name != "line"])]
    return _flags(again, "the same row twice", again["event"] + _on_day(again["date"]))


def _codes(rows: pd.DataFrame) -> pd.DataFrame:
    """Codes that look alike, and one code on two patterns."""
    first = rows.drop_duplicates("instrument").assign(edge="")
    spelled = first.groupby(first["instrument"].map(look_alike))["instrument"].transform("first")
    alike = first["instrument"] != spelled
    named = rows[rows["pattern"] != ""].drop_duplicates(["instrument", "pattern"]).assign(edge="")
    second = named[named.duplicated("instrument")]
    return pd.concat(
        [
            _flags(first[alike], "codes that look alike", "also written " + spelled[alike]),
            _flags(second, "one code, two patterns", "here " + second["pattern"]),
        ]
    )


def _edges(rows: pd.DataFrame) -> pd.DataFrame:
    """Widths that do not say which of several edges was measured."""
    named = rows.loc[rows["edge"] != "", ["instrument", "edge"]].drop_duplicates()
    several = rows["instrument"].isin(named.loc[named["instrument"].duplicated(), "instrument"])
    unnamed = rows[rows["width_mm"].notna() & (rows["edge"] == "") & several]
    return _flags(unnamed, "a width without its edge", "left out of the forecast")


def _gaps(rows: pd.DataFrame) -> pd.DataFrame:
    """A stretch without any row so long that a year may be mistyped."""
    ordered = rows.sort_values(["date", "line"], kind="stable")
    days = np.diff(ordered["date"].to_numpy().astype("datetime64[D]")).astype(np.int64)
    at = np.flatnonzero(days > value("log_longest_gap_days"))
    # the side of the gap with fewer rows holds the mistyped year
    odd = ordered.iloc[at + (at + 1 > len(rows) / 2)]
    detail = [
        f"{gap} days without a row beside {date:%Y-%m-%d}"
        for gap, date in zip(days[at], odd["date"], strict=True)
    ]
    return _flags(odd, "a gap of years", detail)
