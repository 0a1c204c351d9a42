"""Find the rows of the log that any number of a forecast comes from."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.clinic.forecasting.forecast import Forecast
from edgekit.clinic.log.cells import Event
from edgekit.clinic.log.history import ENDS, events_by_edge
from edgekit.errors import BadArgument

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
"""Which rows decide each column; ``…_low`` and ``…_high`` come from the same ones."""


def source_rows(result: Forecast, instrument: str, edge: str, column: str) -> pd.DataFrame:
    """The rows of the log that a number of a forecast comes from.

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
        ``part, line, instrument, edge, date, event, width_mm, method``: one row per line of the
        file and part it plays. *own reading, own session, own use, own end*: of the edge itself.
        *group*: readings and sessions of the other edges of its pattern and method, towards which
        it is drawn. *spread*: those of all other edges, which tell the reading error and the
        scatter. *pace*: other edges' sessions, towards whose pace its own is drawn. *last date*:
        the day the forecast is made on. *refused*: lines that name the instrument but could not
        be read, so they do not count.

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
    >>> result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
    >>> source_rows(result, "A", "left", "sessions_left")[["part", "line"]].to_numpy().tolist()
    [['own reading', 1], ['own reading', 3], ['own session', 2]]
    """
    checks.instance("result", result, Forecast, "Give what ek.forecast(log, retire=…) returns.")
    table = result.table
    for name, given in (("instrument", instrument), ("edge", edge)):
        checks.instance(name, given, str, "Give it as the forecast's table does.")
    row = table[(table["instrument"] == instrument) & (table["edge"] == edge)]
    if row.empty:
        raise BadArgument(
            "the forecast has no such edge",
            (instrument, edge),
            "See result.table and result.unread.",
        )
    stem = str(column).removesuffix("_low").removesuffix("_high")
    if stem not in PARTS:
        raise BadArgument(
            "rows are known of the numbers only",
            column,
            f"Choose from {', '.join(PARTS)}.",
            argument="column",
        )
    events, edges = events_by_edge(result.log.rows)
    keys = ["instrument", "edge"]
    own = np.flatnonzero((edges[keys] == [instrument, edge]).all(axis=1))[0]
    alike = table.merge(row[["pattern", "method"]])[keys]
    group = pd.MultiIndex.from_frame(edges[keys]).isin(pd.MultiIndex.from_frame(alike))
    frames = [_part(events, int(own), np.asarray(group), part) for part in PARTS[stem]]
    if stem in ("first_mm", "limit_mm"):
        frames = [frames[0].iloc[:1]]
    refused = result.log.rejected_lines
    refused = refused[refused["text"].str.contains(instrument, case=False, regex=False)]
    blank = {"part": REFUSED, "instrument": instrument, "edge": "", "event": "", "method": ""}
    frames.append(refused[["line"]].assign(**blank))
    rows = pd.concat([frame for frame in frames if len(frame)] or frames[:1], ignore_index=True)
    names = ["part", "line", "instrument", "edge", "date", "event", "width_mm", "method"]
    return rows.reindex(columns=names)


def _part(events: pd.DataFrame, own: int, group: NDArray[np.bool_], part: str) -> pd.DataFrame:
    """The events that play one part."""
    at = events["at"].to_numpy()
    event = events["event"]
    own_row = at == own
    read = (events["width_mm"].notna() & events["named"]).to_numpy(dtype=bool)
    session = (event == Event.SHARPENED).to_numpy()
    masks = {
        OWN_READING: own_row & read,
        OWN_SESSION: own_row & session,
        OWN_USE: own_row & (event == Event.USED).to_numpy(),
        OWN_END: own_row & event.isin(ENDS).to_numpy(),
        GROUP: ~own_row & group[at] & (read | session),
        CLINIC: ~group[at] & (read | session),
        PACE: ~own_row & session,
        LAST: (events["date"] == events["date"].max()).to_numpy(),
    }
    rows: pd.DataFrame = events[masks[part]].assign(part=part)
    # a row without an edge is there once for each edge of its instrument
    return rows.drop_duplicates("line") if part == LAST else rows
