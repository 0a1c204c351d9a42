"""Sessions and dates to the retirement width of every edge of a log, with prediction intervals."""

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.citing import paragraph
from edgekit.clinic.forecasting.crossing_time import Drift, bounded, quantiles, two_sided_z
from edgekit.clinic.forecasting.growth import GroupGrowth, check_growth
from edgekit.clinic.forecasting.kalman import Readings
from edgekit.clinic.forecasting.pooling import Pooled, pool
from edgekit.clinic.forecasting.session_rate import Pace, pace
from edgekit.clinic.log.history import History, ServiceStatus, history
from edgekit.clinic.log.log import Log
from edgekit.display import html_list
from edgekit.errors import Cannot
from edgekit.life.retire import MaxWidthLoss, MinWidth
from edgekit.record import Record
from edgekit.units import LEVEL, UM_PER_MM

__all__ = ["Forecast", "forecast"]

MAX_DAYS = 100 * 365.25
"""Dates beyond a century are left empty, and the message says so."""

LIMITS = "Give MaxWidthLoss(fraction=0.2) or MinWidth(width_mm=0.7)."


class Forecast(Record):
    """Loss, sessions left and retirement date of every edge of a log.

    Attributes
    ----------
    table : pandas.DataFrame
        One row per edge with a reading: ``instrument, edge, pattern, method, status, readings,
        sessions, first_mm`` (first reading), ``width_mm`` (estimated, on the last date of the log),
        ``limit_mm``, then ``loss_um_per_session``, ``loss_um_per_use``,
        ``sessions_left``, ``retire_on``, each with ``…_low`` and ``…_high``, then ``growth`` (the
        verdict on the straight line) and ``message``. The loss per use shares the loss out over
        the uses the log names, and is NaN where it names none. An infinite ``…_high`` means that
        a loss of zero is within the interval. A date without an upper bound, or beyond a century,
        is empty (NaT), and the message says so.
    groups : pandas.DataFrame
        One row per pattern and method: ``pattern, method, edges, loss_um_per_session`` with low
        and high, ``growth, message``.
    reading_sd_um, edge_spread_um, session_sd_um : float
        Standard deviations of a reading, of edges about their group, of one session's loss.
    variances_assumed : bool
        True when the readings were too few to tell them, so that they come from the evidence table.
    retire : MinWidth or MaxWidthLoss
        The limit.
    level : float
        Share of outcomes within low and high.
    as_of : numpy.datetime64
        Last date of the log: the day the forecast is made on.
    margin_days, margin_sessions : Drift
        Margin above the limit of each row against days and sessions from `as_of`.
    pace : Pace
        Sessions per day of each row.
    unread : pandas.DataFrame
        Edges without any usable width, which cannot be forecast: ``instrument, edge``.
    log : Log
        The log it was made from; `edgekit.source_rows` finds the rows behind any number.
    loss_sd_um, groups_sd_um : ndarray
        Standard deviation of the loss per session of each row of `table` and of `groups`.
    caution : str
        What the refused lines of the log do to the numbers; empty when there are none.
    """

    table: pd.DataFrame
    groups: pd.DataFrame
    reading_sd_um: float
    edge_spread_um: float
    session_sd_um: float
    variances_assumed: bool
    retire: MinWidth | MaxWidthLoss
    level: float
    as_of: np.datetime64
    margin_sessions: Drift
    margin_days: Drift
    pace: Pace
    unread: pd.DataFrame
    log: Log
    loss_sd_um: FloatArray
    groups_sd_um: FloatArray
    caution: str

    def cite(self) -> str:
        """What made the forecast, in one paragraph: versions, the log, the limit."""
        rows = f"{self.log.file}, {len(self.log.rows)} rows up to {self.as_of}"
        refused = f"{len(self.log.rejected_lines)} lines refused"
        given = {"log": f"{rows}, {refused}", "retired at": self.retire}
        what = f"Forecast of {len(self.table)} edges, {self.level:.0%} intervals"
        return paragraph(what, given, of=self)

    def _headline(self) -> str:
        live = self.table[self.table["status"] == ServiceStatus.IN_USE]
        soon = int((live["sessions_left"] < 3).sum())
        return (
            f"Forecast of {len(self.table)} edges as of {self.as_of}: {soon} within 3 sessions of "
            f"their limit; reading error {self.reading_sd_um:.1f} µm; {self.level:.0%} intervals"
        )

    def _cautions(self) -> list[str]:
        messages = [*sorted(set(self.groups["message"])), self.caution]
        return [message for message in messages if message]

    def __repr__(self) -> str:
        return "\n  ".join([self._headline(), *self._cautions()])

    def _repr_html_(self) -> str:
        return html_list(self._cautions(), bold=self._headline())


def forecast(log: Log, *, retire: MinWidth | MaxWidthLoss, level: float = LEVEL) -> Forecast:
    """Forecast every edge of a log.

    Width falls along a straight line of sessions; edges of one pattern and method borrow strength
    from one another (theory: `edgekit.clinic.forecasting.kalman`). Sessions left count from
    the last date of the log.
    Dates follow from the pace of sharpening, whose own spread is part of the interval. Where a
    straight line does not hold, `growth` and `message` say so; the numbers are still the line's.

    Parameters
    ----------
    log : Log
    retire : MinWidth or MaxWidthLoss
        The retirement width, or the share of the first reading that may be lost.
    level : float
        Share of outcomes within low and high.

    Returns
    -------
    Forecast

    Raises
    ------
    EdgekitError
        No good rows, no width on any edge, or a rule that does not set a width.

    Examples
    --------
    >>> import pandas as pd
    >>> from edgekit.clinic.log.log import read_log
    >>> days = pd.date_range("2025-01-06", periods=9, freq="14D")
    >>> log = read_log(pd.DataFrame({
    ...     "instrument": "FH-01-UC", "edge": "left", "date": days,
    ...     "event": ["measured", "sharpened", "sharpened"] * 3,
    ...     "width_mm": [0.860, None, None, 0.849, None, None, 0.836, None, None]}))
    >>> result = forecast(log, retire=MaxWidthLoss(fraction=0.2))
    >>> result.table[["sessions_left_low", "sessions_left", "sessions_left_high"]].round(0)
       sessions_left_low  sessions_left  sessions_left_high
    0               11.0           23.0                97.0
    """
    level = checks.between("level", level, 0, 1)
    checks.instance("retire", retire, (MinWidth, MaxWidthLoss), LIMITS)
    past = history(log)
    seen = _measured(past, log.file)
    edges = past.edges[seen].reset_index(drop=True)
    edge = (np.cumsum(seen) - 1)[past.reading_edge]
    codes, names = _groups(edges)
    sessions, width_um = past.reading_sessions, past.reading_um
    known = pool(Readings.build(edge=edge, sessions=sessions, width_um=width_um, group=codes))
    growth = check_growth(edge, sessions, -width_um, codes)
    clinic = pace(past)
    speed = replace(clinic, per_day=clinic.per_day[seen], sd=clinic.sd[seen])
    z = two_sided_z(level) if known.assumed else float(stdtrit(known.freedom, 0.5 + level / 2))
    first = np.flatnonzero(np.diff(edge, prepend=-1))
    last = np.append(first[1:], len(edge)) - 1
    limit_um = retire.limit_um(width_um[first])
    drifts = _drifts(known, limit_um, edges["sessions"].to_numpy() - sessions[last], speed)
    edges["first_mm"] = width_um[first] / UM_PER_MM
    table = _table(edges, past.as_of, known, limit_um, drifts, z)
    _add_messages(table, growth, codes)
    return Forecast(
        table=table,
        groups=_group_table(names, codes, known, growth, z),
        reading_sd_um=known.reading_sd_um,
        edge_spread_um=known.group_spread_um,
        session_sd_um=known.session_var**0.5,
        variances_assumed=known.assumed,
        retire=retire,
        level=level,
        as_of=past.as_of,
        margin_sessions=drifts[0],
        margin_days=drifts[1],
        pace=speed,
        unread=past.edges.loc[~seen, ["instrument", "edge"]].reset_index(drop=True),
        log=log,
        loss_sd_um=np.sqrt(known.var_loss),
        groups_sd_um=known.group_sd_um,
        caution=_caution(log),
    )


def _measured(past: History, file: str) -> NDArray[np.bool_]:
    """Which edges have a reading."""
    if len(past.reading_um) == 0:
        raise Cannot("the log has no width of any edge", file, "Measure the edges.")
    return past.edges["readings"].to_numpy() > 0


def _caution(log: Log) -> str:
    """Refused lines may hold sessions: with them uncounted, each session seems to cost more."""
    refused = len(log.rejected_lines)
    if refused == 0:
        return ""
    share = refused / (refused + len(log.rows))
    return (
        f"{refused} lines of the log ({share:.1%}) were refused; sessions among them are not "
        "counted, which makes the loss per session look larger"
    )


def _groups(edges: pd.DataFrame) -> tuple[NDArray[np.int64], list[tuple[str, str]]]:
    """Code of each edge's pattern and method, and the groups by code."""
    pairs = list(zip(edges["pattern"].astype(str), edges["method"].astype(str), strict=True))
    names = sorted(set(pairs))
    return np.asarray([names.index(pair) for pair in pairs], dtype=np.int64), names


def _drifts(
    known: Pooled, limit_um: FloatArray, since: FloatArray, speed: Pace
) -> tuple[Drift, Drift]:
    """Margin against sessions and against days, both counted from the last date of the log.

    Sessions since the last reading have already taken their width. A count of sessions in t days
    has mean ρt and variance φρt + t² sd², and the width they take b² times that variance.
    """
    loss, q = known.loss_um, known.session_var
    by_session = Drift(
        margin=known.width_um - since * loss - limit_um,
        rate=loss,
        v0=known.var_width - 2 * since * known.cov + since**2 * known.var_loss + since * q,
        v1=2 * since * known.var_loss - 2 * known.cov + q,
        v2=known.var_loss,
    )
    rho = speed.per_day
    by_day = Drift(
        margin=by_session.margin,
        rate=loss * rho,
        v0=by_session.v0,
        v1=by_session.v1 * rho + loss**2 * speed.irregularity * rho,
        v2=known.var_loss * (rho**2 + speed.sd**2) + loss**2 * speed.sd**2,
    )
    return by_session, by_day


def _table(
    edges: pd.DataFrame,
    as_of: np.datetime64,
    known: Pooled,
    limit_um: FloatArray,
    drifts: tuple[Drift, Drift],
    z: float,
) -> pd.DataFrame:
    """Headline numbers of each edge, with low and high beside each."""
    names = ["instrument", "edge", "pattern", "method", "status", "readings", "sessions"]
    table = edges[[*names, "first_mm"]].copy()
    table["width_mm"] = (drifts[0].margin + limit_um) / UM_PER_MM
    table["limit_mm"] = limit_um / UM_PER_MM
    losses = bounded("", known.loss_um, z * np.sqrt(known.var_loss)).values()
    uses = edges["uses"].to_numpy(dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share: Any = np.where(uses > 0, edges["sessions"].to_numpy() / uses, np.nan)
    ended = (table["status"] != ServiceStatus.IN_USE).to_numpy()
    end = edges["ended"].to_numpy()
    columns = {
        "loss_um_per_session": losses,
        "loss_um_per_use": [loss * share for loss in losses],
        "sessions_left": [np.where(ended, 0.0, steps) for steps in quantiles(drifts[0], z)],
        "retire_on": [
            np.where(ended, end, _dates(as_of, days)) for days in quantiles(drifts[1], z)
        ],
    }
    for stem, values in columns.items():
        for suffix, column in zip(("", "_low", "_high"), values, strict=True):
            table[stem + suffix] = column
    return table


def _dates(as_of: np.datetime64, days: FloatArray) -> NDArray[np.datetime64]:
    """Dates after a number of days, rounded up; NaT beyond a century."""
    near = days <= MAX_DAYS
    count = np.where(near, np.ceil(np.where(near, days, 0.0)), 0).astype(np.int64)
    dates = as_of.astype("datetime64[D]") + count.astype("timedelta64[D]")
    return np.where(near, dates, np.datetime64("NaT")).astype("datetime64[s]")


def _add_messages(table: pd.DataFrame, growth: list[GroupGrowth], codes: NDArray[np.int64]) -> None:
    """The verdict on the straight line, and notes for each row."""
    in_use = table["status"] == ServiceStatus.IN_USE
    unbounded = np.isinf(table["sessions_left_high"]) | table["retire_on_high"].isna()
    below = in_use & (table["width_mm"] <= table["limit_mm"])
    notes = {
        "one reading: the loss is the group's": table["readings"] < 2,
        "no uses logged: no loss per use": table["loss_um_per_use"].isna(),
        "no longer in use": ~in_use,
        "at or below the limit already": below,
        "no upper bound: a loss of zero, or a date beyond a century, is in the interval": unbounded,
    }
    parts = [[growth[code].message] for code in codes]
    for note, where in notes.items():
        for row in np.flatnonzero(where):
            parts[row].append(note)
    table["growth"] = [growth[code].verdict.value for code in codes]
    table["message"] = pd.Series(["; ".join(filter(None, part)) for part in parts], dtype="str")


def _group_table(
    names: list[tuple[str, str]],
    codes: NDArray[np.int64],
    known: Pooled,
    growth: list[GroupGrowth],
    z: float,
) -> pd.DataFrame:
    """Mean loss of each pattern and method."""
    return pd.DataFrame(
        {
            "pattern": [name[0] for name in names],
            "method": [name[1] for name in names],
            "edges": np.bincount(codes, minlength=len(names)),
            **bounded("loss_um_per_session", known.group_loss_um, z * known.group_sd_um),
            "growth": [item.verdict.value for item in growth],
            "message": [item.message for item in growth],
        }
    )
