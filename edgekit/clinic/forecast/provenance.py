"""From a number of a forecast back to the rows of the log that it stands on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from edgekit.clinic.log.history import events_by_edge
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    import pandas as pd

    from edgekit.clinic.forecast.forecast import Forecast

__all__ = ["source_rows"]

OWN_READING, OWN_SESSION, OWN_USE, OWN_END = "own reading", "own session", "own use", "own end"
GROUP, CLINIC, PACE, LAST = "group", "spread", "pace", "last date"
REFUSED = "refused"
_LOSS = (OWN_READING, OWN_SESSION, GROUP, CLINIC)
PARTS = {
    "readings": (OWN_READING,),
    "sessions": (OWN_SESSION,),
    "first_mm": (OWN_READING,),
    "limit_mm": (OWN_READING,),
    "status": (OWN_END,),
    "width_mm": _LOSS,
    "loss_um_per_session": _LOSS,
    "loss_um_per_use": (*_LOSS, OWN_USE),
    "sessions_left": _LOSS,
    "retire_on": (*_LOSS, OWN_END, PACE, LAST),
}
"""Which rows decide each column; ``…_low`` and ``…_high`` stand on the same ones."""


def source_rows(result: Forecast, instrument: str, edge: str, column: str) -> pd.DataFrame:
    """The rows of the log that a number of a forecast stands on.

    Parameters
    ----------
    result : Forecast
    instrument, edge : str
        A row of ``result.table``.
    column : str
        A column of it.

    Returns
    -------
    pandas.DataFrame
        ``part, line, instrument, edge, date, event, width_mm, method``: a row a line of the file and part it
        plays. *own reading, own session, own use, own end*: of the edge itself. *group*: readings and sessions of
        the other edges of its pattern and method, towards which it is drawn. *spread*: those of
        all other edges, which tell the reading error and the scatter. *pace*: other
        edges' sessions, towards whose pace its own is drawn. *last date*: the day the forecast is made on. *refused*:
        lines that name the instrument but could not be read, so they do not count.

    Raises
    ------
    EdgekitError
        No such edge or column.

    Examples
    --------
    >>> import pandas as pd
    >>> import edgekit as ek
    >>> log = ek.read_log(pd.DataFrame({
    ...     "instrument": "A", "edge": "left", "date": ["2025-01-06", "2025-02-03", "2025-02-03"],
    ...     "event": ["measured", "sharpened", "measured"], "width_mm": [0.860, None, 0.852]}))
    >>> result = ek.forecast(log, retire=ek.WidthLimit(fraction=0.2))
    >>> source_rows(result, "A", "left", "sessions_left")[["part", "line"]].to_numpy().tolist()
    [['own reading', 1], ['own reading', 3], ['own session', 2]]
    """
    import pandas as pd

    table = result.table
    mine = table[(table["instrument"] == instrument) & (table["edge"] == edge)]
    if mine.empty:
        raise EdgekitError(
            "the forecast has no such edge",
            (instrument, edge),
            "See result.table and result.unread.",
        )
    stem = column.removesuffix("_low").removesuffix("_high")
    if stem not in PARTS:
        raise EdgekitError(
            "rows are known of the numbers only", column, f"Choose from {', '.join(PARTS)}."
        )
    events, edges = events_by_edge(result.log.rows)
    own = np.flatnonzero((edges["instrument"] == instrument) & (edges["edge"] == edge))[0]
    alike = table[
        (table["pattern"] == mine["pattern"].iloc[0]) & (table["method"] == mine["method"].iloc[0])
    ]
    keys = pd.MultiIndex.from_frame(edges[["instrument", "edge"]])
    group = keys.isin(pd.MultiIndex.from_frame(alike[["instrument", "edge"]]))
    found = [_part(events, int(own), np.asarray(group), part) for part in PARTS[stem]]
    if stem in ("first_mm", "limit_mm"):
        found = [found[0].iloc[:1]]
    refused = result.log.rejected_lines
    refused = refused[refused["text"].str.contains(instrument, case=False, regex=False)]
    blank = {"part": REFUSED, "instrument": instrument, "edge": "", "event": "", "method": ""}
    found.append(refused[["line"]].assign(**blank))
    whole = pd.concat([frame for frame in found if len(frame)] or found[:1], ignore_index=True)
    names = ["part", "line", "instrument", "edge", "date", "event", "width_mm", "method"]
    return whole.reindex(columns=names).reset_index(drop=True)


def _part(events: pd.DataFrame, own: int, group: np.ndarray, part: str) -> pd.DataFrame:
    """The events that play one part."""
    at = events["at"].to_numpy()
    event = events["event"]
    mine = at == own
    read = (events["width_mm"].notna() & events["named"]).to_numpy(dtype=bool)
    session = (event == "sharpened").to_numpy()
    fits = read | session
    masks = {
        OWN_READING: mine & read,
        OWN_SESSION: mine & session,
        OWN_USE: mine & (event == "used").to_numpy(),
        OWN_END: mine & event.isin(("retired", "broken")).to_numpy(),
        GROUP: ~mine & group[at] & fits,
        CLINIC: ~group[at] & fits,
        PACE: ~mine & session,
        LAST: (events["date"] == events["date"].max()).to_numpy(),
    }
    rows = events[masks[part]]
    if part == LAST:  # a row without an edge stands once for each edge of its instrument
        rows = rows.drop_duplicates("line")
    found: pd.DataFrame = rows.assign(part=part)
    return found
