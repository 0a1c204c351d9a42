"""How long instruments last, with those still in use counted as censored, not left out."""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.clinic.log.history import ServiceStatus, history
from edgekit.clinic.log.log import Log
from edgekit.errors import BadArgument, Cannot
from edgekit.record import Record
from edgekit.units import LEVEL

__all__ = ["Survival", "Weibull", "fit_weibull", "kaplan_meier", "survival"]


@dataclass(frozen=True, kw_only=True)
class Weibull:
    """S(t) = exp(−(t/scale)^shape); shape above 1 means that wear, not chance, ends instruments."""

    shape: float
    scale: float

    def quantile(self, share: float) -> float:
        """Life that this share of instruments does not exceed."""
        share = checks.between("share", share, 0, 1)
        return float(self.scale * (-np.log1p(-share)) ** (1 / self.shape))


class Survival(Record):
    """Lives of the instruments of a log, in sessions.

    Attributes
    ----------
    lives : pandas.DataFrame
        One row per instrument: ``instrument, pattern, sessions, status, ended`` (bool: retired or
        broken; otherwise the life is censored).
    curve : pandas.DataFrame
        Kaplan-Meier: ``sessions, at_risk, ends, survival, survival_low, survival_high``.
    weibull : Weibull or None
        Fit to the same lives; None with fewer than two ends at different lives.
    message : str
        What the numbers cannot say.
    """

    lives: pd.DataFrame
    curve: pd.DataFrame
    weibull: Weibull | None
    message: str

    def __repr__(self) -> str:
        ends = int(self.lives["ended"].sum())
        text = f"Survival of {len(self.lives)} instruments, {ends} ended"
        if self.weibull is None:
            return text
        median = self.weibull.quantile(0.5)
        return f"{text}; Weibull shape {self.weibull.shape:.2f}, median {median:.1f} sessions"


def survival(log: Log, *, level: float = LEVEL) -> Survival:
    """Lives of instruments in sessions, from their first row to retirement, breakage or today.

    The life of an instrument is the most sessions of any of its edges. An instrument that was not
    new when the log began has lived longer than this says; the first row is taken as its start.

    Parameters
    ----------
    log : Log
    level : float
        Level of the band about the curve (on the log-log scale, which keeps it between 0 and 1).

    Returns
    -------
    Survival

    Raises
    ------
    EdgekitError
        Not a log; one without good rows; a level outside (0, 1).

    Examples
    --------
    >>> import pandas as pd
    >>> from edgekit.clinic.log.log import read_log
    >>> log = read_log(pd.DataFrame({
    ...     "instrument": ["A"] * 3 + ["B"] * 2, "edge": "used", "date": "2025-01-06",
    ...     "event": ["sharpened", "sharpened", "retired", "sharpened", "used"]}))
    >>> survival(log).curve["survival"].tolist()
    [1.0, 0.0]
    """
    edges = history(log).edges
    lives = (
        edges.sort_values("sessions", ascending=False, kind="stable")
        .drop_duplicates("instrument")
        .sort_values("instrument")[["instrument", "pattern", "sessions", "status"]]
        .reset_index(drop=True)
    )
    lives["ended"] = lives["status"] != ServiceStatus.IN_USE
    time = lives["sessions"].to_numpy(dtype=np.float64)
    ended = lives["ended"].to_numpy(dtype=bool)
    message = "an instrument's life is counted from its first row in the log"
    fit = None
    if len(np.unique(time[ended & (time > 0)])) >= 2:
        fit = fit_weibull(time[time > 0], ended[time > 0])
    else:
        message += "; too few ends at different lives for a Weibull fit"
    return Survival(
        lives=lives, curve=kaplan_meier(time, ended, level=level), weibull=fit, message=message
    )


def _censored(time: ArrayLike, ended: ArrayLike) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Lives and whether they ended, checked."""
    times = checks.frozen_array("time", time, (None,))
    done = np.asarray(ended, dtype=bool)
    if done.shape != times.shape or len(times) == 0 or not (times >= 0).all():
        raise BadArgument(
            "each life needs a time of 0 or more and whether it ended", times, "Check the lives."
        )
    return times, done


def kaplan_meier(time: ArrayLike, ended: ArrayLike, *, level: float = LEVEL) -> pd.DataFrame:
    """Kaplan-Meier curve: S(t) = Π (1 − ends/at risk), from `scipy.stats.ecdf`.

    Parameters
    ----------
    time : array_like (N,)
        Lives.
    ended : array_like (N,)
        True where the life ended, False where it was still going on.
    level : float
        Level of the log-log band.

    Returns
    -------
    pandas.DataFrame
        ``sessions, at_risk, ends, survival, survival_low, survival_high`` at every distinct life.
        Where every instrument, or none, has ended the variance formula says nothing: the band
        there runs from 0 to the curve, or from the curve to 1.
    """
    from scipy import stats  # takes longer than the rest of the package

    level = checks.between("level", level, 0, 1)
    times, done = _censored(time, ended)
    curve = stats.ecdf(stats.CensoredData(uncensored=times[done], right=times[~done])).sf
    estimate = np.asarray(curve.probabilities, dtype=np.float64)
    low, high = _band(curve, level) if done.any() else np.full((2, len(estimate)), np.nan)
    at = np.asarray(curve.quantiles, dtype=np.float64)
    return pd.DataFrame(
        {
            "sessions": at,
            "at_risk": [int((times >= t).sum()) for t in at],
            "ends": [int(((times == t) & done).sum()) for t in at],
            "survival": estimate,
            "survival_low": np.where(np.isnan(low), np.where(estimate < 1, 0.0, 1.0), low),
            "survival_high": np.where(np.isnan(high), estimate, high),
        }
    )


def _band(curve: Any, level: float) -> tuple[Any, Any]:
    """Greenwood's band on the scale of log(−log S); undefined entries are NaN."""
    with warnings.catch_warnings(), np.errstate(divide="ignore", invalid="ignore"):
        # the caller replaces each entry warned of, which is NaN
        warnings.simplefilter("ignore", RuntimeWarning)
        interval = curve.confidence_interval(confidence_level=level, method="log-log")
    return interval.low.probabilities, interval.high.probabilities


def fit_weibull(time: ArrayLike, ended: ArrayLike) -> Weibull:
    """Maximum likelihood of a Weibull life with right-censored lives.

    The scale is closed form given the shape, scale^k = Σ t^k / ends, and the shape is the one root
    of Σ t^k ln t / Σ t^k − 1/k = mean of ln t over the ends (Lawless, Statistical Models and
    Methods for Lifetime Data, section on the Weibull; from memory). `scipy.stats.weibull_min.fit`
    agrees and is the test's second opinion; the root needs no starting value.

    Examples
    --------
    >>> fit = fit_weibull([5, 9, 14, 20, 20], [True, True, True, False, False])
    >>> round(fit.shape, 2), round(fit.scale, 1)
    (1.55, 19.9)
    """
    times, done = _censored(time, ended)
    if not (times > 0).all() or len(np.unique(times[done])) < 2:
        raise Cannot(
            "a Weibull fit needs lives above 0 and two ends at different lives",
            len(np.unique(times[done])),
            "Wait for more ends.",
        )
    log_t = np.log(times / times.max())
    mean = float(log_t[done].mean())

    def lost(log_shape: float) -> float:
        shape = np.exp(log_shape)
        weight = np.exp(shape * log_t)
        return float((weight * log_t).sum() / weight.sum() - 1 / shape - mean)

    high = next(end for end in (9.0, 40.0) if lost(end) > 0)  # the far one for lives all but alike
    shape = float(np.exp(brentq(lost, -7.0, high, xtol=1e-13)))
    scale = float(times.max() * (np.exp(shape * log_t).sum() / done.sum()) ** (1 / shape))
    return Weibull(shape=shape, scale=scale)
