"""How often each edge is sharpened: sessions per day, drawn towards the pace of the clinic."""

import numpy as np

from edgekit.checks import FloatArray
from edgekit.clinic.log.history import History
from edgekit.evidence_table import value
from edgekit.record import Record

DAYS_PER_YEAR = 365.25


class Pace(Record):
    """Sessions per day of each edge, their standard deviation, and how irregular sessions are.

    `irregularity` is the variance of a count of sessions over its mean, for a renewal process the
    squared coefficient of variation of the gaps: 1 for sessions at random, 0 for clockwork.
    """

    per_day: FloatArray
    sd: FloatArray
    irregularity: float


def pace(past: History) -> Pace:
    """Gamma-Poisson shrinkage: each edge's sessions over its days, with a prior fitted by moments.

    The prior of the pace is a gamma with the clinic's mean and the excess of the edges' spread
    over what counting alone gives; each edge then has (a + sessions)/(b + days), where a/b is the
    mean. A log without sessions takes the pace of the evidence table.
    """
    edges = past.edges
    until = edges["ended"].fillna(past.as_of).to_numpy().astype("datetime64[D]")
    first = edges["first"].to_numpy().astype("datetime64[D]")
    days = np.maximum((until - first).astype(np.float64), 1.0)
    sessions = edges["sessions"].to_numpy(dtype=np.float64)
    gaps = past.gap_days[past.gap_days > 0]
    irregularity = 1.0
    if len(gaps) > 2:
        irregularity = float(np.clip(gaps.var(ddof=1) / gaps.mean() ** 2, 0.05, 5.0))
    if not sessions.sum() > 0:
        per_day = np.full(len(days), value("sessions_per_year") / DAYS_PER_YEAR)
        return Pace(per_day=per_day, sd=per_day / 2, irregularity=irregularity)
    mean = float(sessions.sum() / days.sum())
    excess = ((sessions - mean * days) ** 2 - irregularity * mean * days).sum()
    spread = max(float(excess / (days**2).sum()), (0.05 * mean) ** 2)
    b = mean * irregularity / spread
    per_day = (mean * b + sessions) / (b + days)
    sd = np.sqrt(irregularity * per_day / (b + days))
    return Pace(per_day=per_day, sd=sd, irregularity=irregularity)
