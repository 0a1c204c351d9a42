"""Sessions and dates to the retirement width of every edge of a log, with prediction intervals."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.forecast.crossing_time import Drift, quantiles
from edgekit.clinic.forecast.growth import GroupGrowth, check_growth
from edgekit.clinic.forecast.kalman import Readings
from edgekit.clinic.forecast.pooling import Pooled, pool
from edgekit.clinic.forecast.session_rate import Pace, pace
from edgekit.clinic.log.history import History, history
from edgekit.clinic.log.log import Log
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    import pandas as pd

    from edgekit.clinic.forecast.limits import WidthLimit
    from edgekit.life.retire import MaxWidthLoss

__all__ = ["Forecast", "forecast"]

FURTHEST_DAYS = 100 * 365.25
"""Dates beyond a century are not dates: they are left empty and the message says so."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Forecast:
    """What a log says of the future.

    Attributes
    ----------
    table : pandas.DataFrame
        A row an edge with a reading: ``instrument, edge, pattern, method, status, readings,
        sessions, first_mm`` (first reading), ``width_mm`` (estimated, on the last date of the log),
        ``limit_mm``, then ``loss_um_per_session``, ``loss_um_per_use``,
        ``sessions_left``, ``retire_on``, each with ``…_low`` and ``…_high``, then ``growth`` (the
        verdict on the straight line) and ``message``. The loss per use shares the loss out over the
        uses the log names, and is NaN where it names none. An infinite ``…_high`` means that no loss at
        all is within the interval; the date is then empty (NaT), and the message says so.
    groups : pandas.DataFrame
        A row a pattern and method: ``pattern, method, edges, loss_um_per_session`` with low and
        high, ``growth, message``.
    reading_sd_um, edge_spread_um, session_sd_um : float
        Standard deviations of a reading, of edges about their group, of one session's loss.
    variances_assumed : bool
        True when the readings could not tell them and the evidence table did.
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
        The log it stands on; `edgekit.source_rows` finds the rows of any number.
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

    def __repr__(self) -> str:
        live = self.table[self.table["status"] == "in use"]
        soon = int((live["sessions_left"] < 3).sum())
        bent = sorted(set(self.groups.loc[self.groups["message"] != "", "message"]))
        said = "".join(f"\n  {message}" for message in [*bent, self.caution] if message)
        return (
            f"Forecast of {len(self.table)} edges as of {self.as_of}: {soon} within 3 sessions of "
            f"their limit; reading error {self.reading_sd_um:.1f} µm; {self.level:.0%} intervals{said}"
        )

    def _repr_html_(self) -> str:
        return f"<pre>{html.escape(repr(self))}</pre>"


def forecast(log: Log, *, retire: WidthLimit | MaxWidthLoss, level: float = 0.9) -> Forecast:
    """Forecast every edge of a log.

    Width falls along a straight line of sessions; edges of one pattern and method share strength
    (`edgekit.clinic.forecast.kalman` states the model). Sessions left count from the last date of the log.
    Dates follow from the pace of sharpening, whose own spread is part of the interval. Where a
    straight line does not hold, `growth` and `message` say so; the numbers are still the line's.

    Parameters
    ----------
    log : Log
    retire : WidthLimit or MaxWidthLoss
        The retirement width, or the share of the new width that may be lost.
    level : float
        Share of outcomes within low and high.

    Returns
    -------
    Forecast

    Raises
    ------
    EdgekitError
        No good rows, or no width on any edge.

    Examples
    --------
    >>> import pandas as pd
    >>> from edgekit.clinic.forecast.limits import WidthLimit
    >>> from edgekit.clinic.log.log import read_log
    >>> days = pd.date_range("2025-01-06", periods=9, freq="14D")
    >>> log = read_log(pd.DataFrame({
    ...     "instrument": "FH-01-UC", "edge": "left", "date": days,
    ...     "event": ["measured", "sharpened", "sharpened"] * 3,
    ...     "width_mm": [0.860, None, None, 0.849, None, None, 0.836, None, None]}))
    >>> result = forecast(log, retire=WidthLimit(fraction=0.2))
    >>> result.table[["sessions_left_low", "sessions_left", "sessions_left_high"]].round(0)
       sessions_left_low  sessions_left  sessions_left_high
    0               11.0           23.0                97.0
    """
    from scipy import stats

    level = checks.between("level", level, 0, 1)
    past = history(log)
    if len(past.reading_um) == 0:
        raise EdgekitError("the log has no width of any edge", log.file, "Measure the edges.")
    seen = past.edges["readings"].to_numpy() > 0
    row = np.cumsum(seen) - 1
    edges = past.edges[seen].reset_index(drop=True)
    codes, names = _groups(edges)
    edge = row[past.reading_edge]
    known = pool(
        Readings.build(
            edge=edge, sessions=past.reading_sessions, width_um=past.reading_um, group=codes
        )
    )
    growth = check_growth(edge, past.reading_sessions, -past.reading_um, codes)
    speed = _rows(pace(past), seen)
    z = float(stats.t.ppf(0.5 + level / 2, known.freedom))
    if known.assumed:
        z = float(stats.norm.ppf(0.5 + level / 2))
    first = np.flatnonzero(np.diff(edge, prepend=-1))
    if not hasattr(retire, "limit_um"):
        raise EdgekitError(
            "retire must set a width", retire, "Give MaxWidthLoss() or WidthLimit(width_mm=0.7)."
        )
    limit_um = retire.limit_um(past.reading_um[first])
    since = (
        edges["sessions"].to_numpy() - past.reading_sessions[np.append(first[1:], len(edge)) - 1]
    )
    by_session, by_day = _drifts(known, limit_um, since, speed)
    table = _table(edges, past, known, limit_um, (by_session, by_day), z)
    table.insert(7, "first_mm", past.reading_um[first] / 1e3)
    _say(table, growth, codes)
    return Forecast(
        table=table,
        groups=_group_table(names, codes, known, growth, z),
        reading_sd_um=known.reading_sd_um,
        edge_spread_um=known.group_spread_um,
        session_sd_um=known.session_var**0.5,
        variances_assumed=known.assumed,
        level=level,
        as_of=past.as_of,
        margin_sessions=by_session,
        margin_days=by_day,
        pace=speed,
        unread=past.edges.loc[~seen, ["instrument", "edge"]].reset_index(drop=True),
        log=log,
        loss_sd_um=np.sqrt(known.var_loss),
        groups_sd_um=known.group_sd_um,
        caution=_caution(log),
    )


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
    code = {name: at for at, name in enumerate(names)}
    return np.asarray([code[pair] for pair in pairs], dtype=np.int64), names


def _rows(speed: Pace, seen: NDArray[np.bool_]) -> Pace:
    return Pace(per_day=speed.per_day[seen], sd=speed.sd[seen], irregularity=speed.irregularity)


def _drifts(
    known: Pooled, limit_um: FloatArray, since: FloatArray, speed: Pace
) -> tuple[Drift, Drift]:
    """Margin against sessions and against days, both counted from the last date of the log.

    Sessions since the last reading have already been paid for. A count of sessions in t days has
    mean ρt and variance φρt + t² sd², and each session costs b with b² times that in width.
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
    past: History,
    known: Pooled,
    limit_um: FloatArray,
    drifts: tuple[Drift, Drift],
    z: float,
) -> pd.DataFrame:
    """Headline numbers of each edge, with low and high beside each."""
    table = edges[
        ["instrument", "edge", "pattern", "method", "status", "readings", "sessions"]
    ].copy()
    table["width_mm"] = (drifts[0].margin + limit_um) / 1e3
    table["limit_mm"] = limit_um / 1e3
    sd = np.sqrt(known.var_loss)
    losses = (known.loss_um, known.loss_um - z * sd, known.loss_um + z * sd)
    uses = edges["uses"].to_numpy(dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        share: Any = np.where(uses > 0, edges["sessions"].to_numpy() / uses, np.nan)
    steps = quantiles(drifts[0], z)
    days = quantiles(drifts[1], z)
    ended = (table["status"] != "in use").to_numpy()
    for at, suffix in enumerate(("", "_low", "_high")):
        table[f"loss_um_per_session{suffix}"] = losses[at]
        table[f"loss_um_per_use{suffix}"] = losses[at] * share
        table[f"sessions_left{suffix}"] = np.where(ended, 0.0, steps[at])
        date = _dates(past.as_of, days[at])
        table[f"retire_on{suffix}"] = np.where(
            ended, edges["ended"].to_numpy().astype("datetime64[s]"), date
        )
    stems = ("loss_um_per_session", "loss_um_per_use", "sessions_left", "retire_on")
    shown = [stem + suffix for stem in stems for suffix in ("", "_low", "_high")]
    return table[[name for name in table.columns if name not in shown] + shown]


def _dates(as_of: np.datetime64, days: FloatArray) -> NDArray[np.datetime64]:
    """Dates so many days on; NaT beyond a century."""
    near = days <= FURTHEST_DAYS
    whole = np.where(near, np.ceil(np.where(near, days, 0.0)), 0).astype(np.int64)
    dates = as_of.astype("datetime64[D]") + whole.astype("timedelta64[D]")
    return np.where(near, dates, np.datetime64("NaT")).astype("datetime64[s]")


def _say(table: pd.DataFrame, growth: list[GroupGrowth], codes: NDArray[np.int64]) -> None:
    """The verdict on the line, and whatever a number of the row needs said."""
    table["growth"] = [growth[code].verdict for code in codes]
    parts = {
        "few": (table["readings"] < 2, "one reading: the loss is the group's"),
        "uses": (table["loss_um_per_use"].isna(), "no uses logged: no loss per use"),
        "gone": (table["status"] != "in use", "no longer in use"),
        "below": (
            (table["status"] == "in use") & (table["width_mm"] <= table["limit_mm"]),
            "at or below the limit already",
        ),
        "open": (
            np.isinf(table["sessions_left_high"]) | table["retire_on_high"].isna(),
            "the latest date is beyond reach: no loss at all is within the interval",
        ),
    }
    said = np.asarray([growth[code].message for code in codes], dtype=object)
    for where, text in parts.values():
        hit = where.to_numpy(dtype=bool)
        joint = np.where(said == "", "", "; ")
        said[hit] = (said + joint + text)[hit]
    table["message"] = said
    table["message"] = table["message"].astype("str")


def _group_table(
    names: list[tuple[str, str]],
    codes: NDArray[np.int64],
    known: Pooled,
    growth: list[GroupGrowth],
    z: float,
) -> pd.DataFrame:
    """Mean loss of each pattern and method."""
    import pandas as pd

    return pd.DataFrame(
        {
            "pattern": [name[0] for name in names],
            "method": [name[1] for name in names],
            "edges": np.bincount(codes, minlength=len(names)),
            "loss_um_per_session": known.group_loss_um,
            "loss_um_per_session_low": known.group_loss_um - z * known.group_sd_um,
            "loss_um_per_session_high": known.group_loss_um + z * known.group_sd_um,
            "growth": [item.verdict for item in growth],
            "message": [item.message for item in growth],
        }
    )
