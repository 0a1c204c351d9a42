"""From the rows of a log to each edge's count of sessions, readings and fate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.log.log import Log
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["History", "events_by_edge", "history"]

ENDS = ("retired", "broken")
ONLY_EDGE = "edge"
"""Name of the edge of an instrument whose rows name none."""


@dataclass(frozen=True, kw_only=True, eq=False)
class History:
    """Edges of a log and their readings.

    Attributes
    ----------
    edges : pandas.DataFrame
        A row an edge: ``instrument, edge, pattern, method, sessions, uses, readings, first, last,
        status`` (in use, retired or broken), ``ended``; pattern and method are the commonest of
        the edge's rows, the method of its sharpenings.
    reading_edge : ndarray (R,)
        Row of `edges` of each reading, readings in order of time.
    reading_sessions : ndarray (R,)
        Sessions of the edge before the reading. A width on a sharpening's row is read after it.
    reading_um : ndarray (R,)
        Width read [µm].
    gaps_days, gap_edge : ndarray (S,)
        Days between neighbouring sessions of an edge.
    as_of : numpy.datetime64
        Last date of the log.
    """

    edges: pd.DataFrame
    reading_edge: NDArray[np.int64]
    reading_sessions: FloatArray
    reading_um: FloatArray
    gap_days: FloatArray
    gap_edge: NDArray[np.int64]
    as_of: np.datetime64


def history(log: Log) -> History:
    """Follow each edge of a log through its events.

    Raises
    ------
    EdgekitError
        The log has no rows.
    """
    if log.rows.empty:
        raise EdgekitError(
            "the log has no good rows", log.file, "See log.rejected for the reasons."
        )
    events, edges = events_by_edge(log.rows)
    code = events["at"].to_numpy()
    sharpened = (events["event"] == "sharpened").to_numpy()
    sessions = _running(code, sharpened)
    edges["sessions"] = np.bincount(code, weights=sharpened, minlength=len(edges)).astype(int)
    used = (events["event"] == "used").to_numpy()
    edges["uses"] = np.bincount(code, weights=used, minlength=len(edges)).astype(int)
    width = events["width_mm"].to_numpy()
    read = np.isfinite(width) & ~_lost(events)
    edges["readings"] = np.bincount(code[read], minlength=len(edges))
    dates = events.groupby("at")["date"]
    edges["first"], edges["last"] = dates.min(), dates.max()
    edges["pattern"] = _commonest(events, "pattern", edges)
    edges["method"] = _commonest(events[sharpened], "method", edges)
    _fates(events, edges)
    days = events["date"].to_numpy()[sharpened].astype("datetime64[s]").astype(np.int64) / 86400
    at = code[sharpened]
    same = at[1:] == at[:-1]
    return History(
        edges=edges,
        reading_edge=code[read],
        reading_sessions=sessions[read],
        reading_um=width[read] * 1e3,
        gap_days=np.diff(days)[same],
        gap_edge=at[1:][same],
        as_of=events["date"].to_numpy().max().astype("datetime64[D]"),
    )


def events_by_edge(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Rows an edge each, in order of time within an edge; rows without an edge go to every edge."""
    import pandas as pd

    keep = ["instrument", "edge", "pattern", "date", "event", "width_mm", "method", "line"]
    rows = rows[keep].assign(named=True)
    named = rows.loc[rows["edge"] != "", ["instrument", "edge"]].drop_duplicates()
    blank = rows["edge"] == ""
    alone = rows.loc[~rows["instrument"].isin(named["instrument"]), ["instrument"]]
    edges = pd.concat([named, alone.drop_duplicates().assign(edge=ONLY_EDGE)])
    edges = edges.sort_values(["instrument", "edge"], kind="stable").reset_index(drop=True)
    several = edges["instrument"].duplicated(keep=False)
    lookup = edges.assign(at=np.arange(len(edges)), named=~several)
    spread = rows[blank].drop(columns=["edge", "named"]).merge(lookup, on="instrument")
    kept = rows[~blank].merge(lookup.drop(columns="named"), on=["instrument", "edge"])
    events = pd.concat([kept, spread])
    return events.sort_values(["at", "date", "line"], kind="stable").reset_index(drop=True), edges


def _lost(events: pd.DataFrame) -> NDArray[np.bool_]:
    """Widths that belong to no one edge: no edge named on an instrument with several."""
    return ~events["named"].to_numpy(dtype=bool)


def _running(code: NDArray[np.int64], hit: NDArray[np.bool_]) -> FloatArray:
    """Count of hits so far within each run of equal codes."""
    total = np.cumsum(hit, dtype=np.float64)
    starts = np.flatnonzero(np.diff(code, prepend=-1))
    before = total[starts] - hit[starts]
    return total - np.repeat(before, np.diff(np.append(starts, len(code))))


def _commonest(events: pd.DataFrame, column: str, edges: pd.DataFrame) -> NDArray[np.object_]:
    """Commonest word of a column for each edge; "" where there is none."""
    told = events[events[column] != ""]
    out = np.full(len(edges), "", dtype=object)
    if len(told):
        votes = told.groupby(["at", column]).size().reset_index(name="votes")
        votes = votes.sort_values(["at", "votes"], ascending=[True, False], kind="stable")
        first = votes.drop_duplicates("at")
        out[first["at"].to_numpy()] = first[column].to_numpy(dtype=object)
    return out


def _fates(events: pd.DataFrame, edges: pd.DataFrame) -> None:
    """Status of each edge and the date it ended; an instrument's end ends all its edges."""
    import pandas as pd

    ends = events[events["event"].isin(ENDS)].sort_values("date", kind="stable")
    ends = ends.drop_duplicates("instrument").set_index("instrument")
    at = ends.index.get_indexer(pd.Index(edges["instrument"]))
    status = np.where(at < 0, "in use", np.append(ends["event"].to_numpy(dtype=object), "")[at])
    edges["status"] = status.astype(object)
    edges["status"] = edges["status"].astype("str")
    dates = np.append(ends["date"].to_numpy(), np.datetime64("NaT"))
    edges["ended"] = dates[np.where(at < 0, len(ends), at)].astype("datetime64[s]")
