"""How long an hour at the bench takes, with its spread.

T = q s N + m M + k E + c C for N strokes, M mountings, E edges checked and C set-ups of the
holder; s, m, k and c are the seconds of each, q is the ratio of the strokes that dullness takes to
those planned. All five are uncertain and common to the whole session (one person, one stone), so
they do not average out. Each is lognormal with the median and the middle 90 % of the evidence
table. Mean and variance of T are then exact, and its quantiles are those of the lognormal with the
same two (Fenton and Wilkinson's approximation for a sum of lognormals; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.special import ndtr

from edgekit.errors import Cannot
from edgekit.evidence_table import Range, entry
from edgekit.record import Record

NORMAL_95 = 1.6448536269514722  # 95 % quantile of the standard normal distribution
NEWCOMER = (
    "newcomer_stroke_seconds",
    "newcomer_mount_seconds",
    "newcomer_check_seconds",
    "newcomer_setup_seconds",
)
PRACTISED = (
    "practised_stroke_seconds",
    "practised_mount_seconds",
    "practised_check_seconds",
    "practised_setup_seconds",
)
PARTS = ("grinding", "mounting the instrument", "checking the edge", "setting up the holder")


class Work(NamedTuple):
    """What is to be done: counts of strokes, mountings, edges to check, set-ups of the holder."""

    strokes: float
    mountings: float
    checks: float
    setups: float


class Factor(NamedTuple):
    """A lognormal quantity: its median and the standard deviation of its logarithm."""

    median: float
    log_sd: float

    @property
    def mean(self) -> float:
        """median exp(sd²/2)."""
        return float(self.median * np.exp(self.log_sd**2 / 2))

    @property
    def variance(self) -> float:
        """mean² (exp(sd²) − 1)."""
        return float(self.mean**2 * np.expm1(self.log_sd**2))

    def quantile(self, normal: float) -> float:
        """The quantile at which a standard normal variable is `normal`."""
        return float(self.median * np.exp(normal * self.log_sd))


class Duration(Record):
    """Minutes of a session: a table of its parts, and their sum as a lognormal.

    Attributes
    ----------
    table : pandas.DataFrame
        ``part, count, seconds_each, minutes, minutes_low, minutes_high``; the last row is the sum.
    total : Factor
        The sum, in minutes.
    """

    table: pd.DataFrame
    total: Factor

    def chance(self, minutes: float) -> float:
        """Probability that the session ends within a number of minutes."""
        if not minutes > 0 or self.total.median == 0:
            return float(self.total.median == 0)
        return float(ndtr(np.log(minutes / self.total.median) / max(self.total.log_sd, 1e-12)))


def _factor(name: str) -> Factor:
    """The lognormal of an entry of the evidence table."""
    item = entry(name)
    if not isinstance(item.spread, Range):
        raise Cannot(f"{name} needs a range in the evidence table", item.spread, "Add it.")
    return Factor(item.value, float(np.log(item.spread.high / item.spread.low) / (2 * NORMAL_95)))


def factors() -> dict[str, Factor]:
    """Seconds of a stroke, the demand for strokes, seconds of mounting, checking and setting up."""
    return {
        "stroke": _factor("seconds_per_stroke"),
        "demand": Factor(1.0, _factor("bench_strokes_per_edge").log_sd),
        "mounting": _factor("bench_mount_seconds"),
        "check": _factor("bench_check_seconds"),
        "setup": _factor("holder_setup_seconds"),
    }


def practised_minutes(work: Work) -> tuple[float, float, float]:
    """Minutes of somebody practised who works from the sheet; as `newcomer_minutes`.

    Unlike `duration`, with lifting, turning, reading the hour, dial, ink and card.

    Examples
    --------
    >>> practised_minutes(Work(strokes=120, mountings=8, checks=12, setups=3))
    (29.5, 14.25, 59.0)
    """
    return _by_parts(work, PRACTISED)


def newcomer_minutes(work: Work) -> tuple[float, float, float]:
    """Minutes of somebody new to it: the middle, and the ends of its assumed ranges.

    The ends take every part at its own end, since nobody knows how they go together.

    Examples
    --------
    >>> work = Work(strokes=120, mountings=8, checks=12, setups=3)
    >>> newcomer_minutes(work)
    (61.0, 27.0, 146.0)
    """
    return _by_parts(work, NEWCOMER)


def _by_parts(work: Work, names: Sequence[str]) -> tuple[float, float, float]:
    each = [entry(name) for name in names]
    ends = [item.spread for item in each if isinstance(item.spread, Range)]
    middle, low, high = (
        sum(count * seconds for count, seconds in zip(work, part, strict=True)) / 60
        for part in ([e.value for e in each], [e.low for e in ends], [e.high for e in ends])
    )
    return middle, low, high


def duration(work: Work) -> Duration:
    """Minutes that a piece of work takes.

    Examples
    --------
    >>> work = Work(strokes=120, mountings=8, checks=12, setups=3)
    >>> hour = duration(work)
    >>> round(hour.total.median, 1), hour.chance(15) > 0.9
    (7.0, True)
    """
    f = factors()
    stroke = Factor(f["stroke"].median, float(np.hypot(f["stroke"].log_sd, f["demand"].log_sd)))
    each = (stroke, f["mounting"], f["check"], f["setup"])
    parts = list(zip(PARTS, work, each, strict=True))
    mean = sum(count * each.mean for _, count, each in parts) / 60
    variance = sum(count**2 * each.variance for _, count, each in parts) / 3600
    log_sd = float(np.sqrt(np.log1p(variance / mean**2))) if mean > 0 else 0.0
    total = Factor(float(mean * np.exp(-(log_sd**2) / 2)), log_sd)
    levels = (0.0, -NORMAL_95, NORMAL_95)
    rows = [
        (name, int(count), each.median, *(count * each.quantile(at) / 60 for at in levels))
        for name, count, each in parts
    ]
    rows.append(("all", 1, 60 * total.median, *(total.quantile(at) for at in levels)))
    names = ["part", "count", "seconds_each", "minutes", "minutes_low", "minutes_high"]
    return Duration(table=pd.DataFrame(rows, columns=names), total=total)
