"""Follow each edge of a log through its events: sessions, readings, and how it ended."""

import enum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.log.cells import Event
from edgekit.clinic.log.log import Log
from edgekit.errors import Cannot
from edgekit.record import Record
from edgekit.units import UM_PER_MM

ENDS = (Event.RETIRED, Event.BROKEN)
ONLY_EDGE = "edge"
"""Name of the edge of an instrument whose rows name none."""


class ServiceStatus(enum.StrEnum):
    """Whether an instrument is still in use at the end of a log, or how it ended."""

    IN_USE = "in use"
    RETIRED = Event.RETIRED
    BROKEN = Event.BROKEN


class History(Record):
    """Edges of a log and their readings.

    Attributes
    ----------
    edges : pandas.DataFrame
        One row per edge: ``instrument, edge, pattern, method, sessions, uses, readings, first,
        last, status`` (the text of a `ServiceStatus`), ``ended``; pattern and method are the
        commonest of the edge's rows, the method of its sharpenings.
    reading_edge : ndarray (R,)
        Row of `edges` of each reading, readings in order of time.
    reading_sessions : ndarray (R,)
        Sessions of the edge before the reading. A width on a sharpening's row is read after it.
    reading_um : ndarray (R,)
        Width read [µm].
    gap_days : ndarray (S,)
        Days between neighbouring sessions of an edge.
    as_of : numpy.datetime64
        Last date of the log.
    """

    edges: pd.DataFrame
    reading_edge: NDArray[np.int64]
    reading_sessions: FloatArray
    reading_um: FloatArray
    gap_days: FloatArray
    as_of: np.datetime64


def history(log: Log) -> History:
    """Follow each edge of a log through its events.

    Raises
    ------
    EdgekitError
        What is given is not a log, or the log has no rows.
    """
    checks.instance("log", log, Log, "Read it first: log = ek.read_log(path).")
    if log.rows.empty:
        raise Cannot("the log has no good rows", log.file, "See log.rejected for the reasons.")
    events, edges = events_by_edge(log.rows)
    code = events["at"].to_numpy()
    sharpened = (events["event"] == Event.SHARPENED).to_numpy()
    sessions = pd.Series(sharpened).groupby(code).cumsum().to_numpy(dtype=np.float64)
    edges["sessions"] = np.bincount(code, weights=sharpened, minlength=len(edges)).astype(int)
    used = (events["event"] == Event.USED).to_numpy()
    edges["uses"] = np.bincount(code, weights=used, minlength=len(edges)).astype(int)
    width = events["width_mm"].to_numpy()
    # without its edge, a width of an instrument with several belongs to none of them
    read = np.isfinite(width) & events["named"].to_numpy(dtype=bool)
    edges["readings"] = np.bincount(code[read], minlength=len(edges))
    dates = events.groupby("at")["date"]
    edges["first"], edges["last"] = dates.min(), dates.max()
    edges["pattern"] = _commonest(events, "pattern", edges)
    edges["method"] = _commonest(events[sharpened], "method", edges)
    _add_ends(events, edges)
    days = events["date"].to_numpy()[sharpened].astype("datetime64[s]").astype(np.int64) / 86400
    return History(
        edges=edges,
        reading_edge=code[read],
        reading_sessions=sessions[read],
        reading_um=width[read] * UM_PER_MM,
        gap_days=np.diff(days)[np.diff(code[sharpened]) == 0],
        as_of=events["date"].to_numpy().max().astype("datetime64[D]"),
    )


def events_by_edge(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Events of each edge in order of time, with rows that name none repeated, and the edges."""
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


def _commonest(events: pd.DataFrame, column: str, edges: pd.DataFrame) -> NDArray[np.object_]:
    """Commonest word of a column for each edge; "" where there is none."""
    votes = events[events[column] != ""].groupby(["at", column]).size().reset_index(name="votes")
    votes = votes.sort_values(["at", "votes"], ascending=[True, False], kind="stable")
    first = votes.drop_duplicates("at").set_index("at")[column]
    return first.reindex(edges.index, fill_value="").to_numpy(dtype=object)


def _add_ends(events: pd.DataFrame, edges: pd.DataFrame) -> None:
    """Status of each edge and the date it ended; an instrument's end ends all its edges."""
    ends = events[events["event"].isin(ENDS)].sort_values("date", kind="stable")
    ends = ends.drop_duplicates("instrument").set_index("instrument")
    ends = ends.reindex(edges["instrument"])
    edges["status"] = ends["event"].fillna(ServiceStatus.IN_USE.value).to_numpy()
    edges["status"] = edges["status"].astype("str")
    edges["ended"] = ends["date"].to_numpy().astype("datetime64[s]")
