"""Estimate each edge's present width and loss per session from all readings, with covariances."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.forecasting.kalman import Nodes, Readings, likelihood, sweep
from edgekit.evidence_table import entry, value
from edgekit.record import Record

MAX_RATIO = 10.0
"""Bound of τ/σ and √q/σ: no clinic's losses differ by ten reading errors per session."""

NODES = 9
"""Nodes along each side of the grid of ratios."""

DROP = 7.0
"""Log-likelihood below the best at which a node no longer counts (a weight under 0.001)."""

MIN_FREEDOM = 3
"""Degrees of freedom below which variances come from the evidence table."""


class Pooled(Record):
    """Estimates from the readings of a log.

    Attributes
    ----------
    width_um, loss_um : ndarray (E,)
        True width at the last reading [µm] and loss per session [µm] of each edge.
    var_width, cov, var_loss : ndarray (E,)
        Their covariance.
    group_loss_um, group_sd_um : ndarray (G,)
        Mean loss per session of each group and its standard deviation.
    group_spread_um : float
        Standard deviation of edges about their group's mean, τ.
    session_var : float
        Variance of one session's loss about the edge's mean, q [µm²].
    reading_sd_um : float
        Standard deviation of a reading, σ.
    freedom : int
        Degrees of freedom behind σ.
    assumed : bool
        The readings were too few to tell the variances, which come from the evidence table.
    """

    width_um: FloatArray
    loss_um: FloatArray
    var_width: FloatArray
    cov: FloatArray
    var_loss: FloatArray
    group_loss_um: FloatArray
    group_sd_um: FloatArray
    group_spread_um: float
    session_var: float
    reading_sd_um: float
    freedom: int
    assumed: bool


def pool(data: Readings, *, weigh_reading_sd: bool = True) -> Pooled:
    """Pool the edges of a log.

    Parameters
    ----------
    data : Readings
    weigh_reading_sd : bool
        Weigh the ratios by how plausible the reading error is that they imply (evidence entry
        ``reading_sd_um``); matters only where readings are too few to tell.

    Returns
    -------
    Pooled

    Examples
    --------
    >>> data = Readings.build(edge=[0, 0, 0, 1, 1, 1], sessions=[0, 5, 10] * 2,
    ...                       width_um=[860, 829, 801, 870, 838, 811], group=[0, 0])
    >>> pool(data).loss_um.round(1)
    array([5.9, 5.9])
    """
    if data.freedom < MIN_FREEDOM or not _slopes_can_differ(data):
        return _from_evidence(data)
    slope, session, weight = _ratios(data, weigh_reading_sd)
    nodes = sweep(data, slope**2, session**2)
    variance = likelihood(nodes, data.freedom)[1]
    return _mix(data, nodes, variance, slope**2 * variance, session**2 * variance, weight, False)


def _slopes_can_differ(data: Readings) -> bool:
    """Some group has two edges that both show a loss."""
    shown = np.bincount(data.group, weights=data.step.sum(axis=1) > 0, minlength=data.groups)
    return bool(shown.max() >= 2)


def _from_evidence(data: Readings) -> Pooled:
    """One node, with the variances of the evidence table."""
    sd = value("reading_sd_um")
    loss = value("loss_um_per_session")
    tau2 = np.atleast_1d((value("loss_between_edges_cv") * loss) ** 2)
    q = np.atleast_1d((value("session_loss_cv") * loss) ** 2)
    nodes = sweep(data, tau2 / sd**2, q / sd**2)
    return _mix(data, nodes, np.atleast_1d(sd**2), tau2, q, np.ones(1), True)


def _ratios(data: Readings, weigh: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Grid of τ/σ and √q/σ over where the likelihood lies, and the weight of each node."""
    axes = [np.concatenate([[0.0], np.geomspace(1e-3, MAX_RATIO, NODES + 2)])] * 2
    for _ in range(2):
        table = _log_likelihood(data, axes, weigh)
        axes = [_closer(axes[0], table.max(axis=1)), _closer(axes[1], table.max(axis=0))]
    weight = np.exp(_log_likelihood(data, axes, weigh))
    slope, session = np.meshgrid(*axes, indexing="ij")
    keep = weight > np.exp(-DROP)
    return slope[keep], session[keep], weight[keep] / weight[keep].sum()


def _log_likelihood(data: Readings, axes: list[FloatArray], weigh: bool) -> FloatArray:
    """Log-likelihood on the grid of two axes, less its maximum."""
    slope, session = np.meshgrid(*axes, indexing="ij")
    log_l, variance = likelihood(sweep(data, slope**2, session**2), data.freedom)
    if weigh:
        prior = entry("reading_sd_um")
        off = 0.5 * np.log(variance / prior.value**2) / np.log(prior.gsd)
        log_l = log_l - 0.5 * off**2
    return np.asarray(log_l.reshape(slope.shape) - log_l.max())


def _closer(axis: FloatArray, profile: FloatArray) -> FloatArray:
    """Evenly spaced nodes over the stretch of `axis` where the profile counts."""
    counts = np.flatnonzero(profile > -DROP)
    low = axis[max(counts[0] - 1, 0)]
    high = axis[min(counts[-1] + 1, len(axis) - 1)]
    return np.linspace(low, high, NODES)


def _groups(nodes: Nodes, variance: FloatArray, assumed: bool) -> tuple[FloatArray, FloatArray]:
    """Mean and variance ``(G, K)`` of each group's loss, drawn towards the mean of all groups.

    ω² is the moment estimate of DerSimonian and Laird 1986 (Control Clin Trials 7:177), but no
    less than the evidence entry ``loss_between_groups_cv`` gives: two groups that happen to
    agree do not prove that all groups do. The common mean has a flat prior, or, in a log too
    small for its own variances or without any loss, the evidence entry ``loss_um_per_session``
    with half of it as standard deviation.
    """
    precision = nodes.xx / variance
    with np.errstate(divide="ignore", invalid="ignore"):
        own: Any = np.where(nodes.xx > 0, nodes.xy / nodes.xx, 0.0)
    total = precision.sum(axis=0)
    prior = value("loss_um_per_session")
    prior_precision = 4 / prior**2 if assumed or not (total > 0).all() else 0.0
    some = np.maximum(total, np.finfo(float).tiny)
    mean = ((precision * own).sum(axis=0) + prior * prior_precision) / (some + prior_precision)
    shown = np.count_nonzero(nodes.xx > 0, axis=0)
    pooled = (precision * own).sum(axis=0) / some
    excess = (precision * (own - pooled) ** 2).sum(axis=0) - (shown - 1)
    scale = total - (precision**2).sum(axis=0) / some
    moment = np.maximum(excess, 0.0) / np.maximum(scale, np.finfo(float).tiny)
    smallest = np.maximum((value("loss_between_groups_cv") * mean) ** 2, np.finfo(float).tiny)
    omega2: Any = np.maximum(np.where((shown > 1) & (scale > 0), moment, 0.0), smallest)
    share = 1 / (1 + omega2 * precision)
    weight = precision * share
    known = weight.sum(axis=0) + prior_precision
    centre = ((weight * own).sum(axis=0) + prior * prior_precision) / known
    return (1 - share) * own + share * centre, omega2 * share + share**2 / known


def _mix(
    data: Readings,
    nodes: Nodes,
    variance: FloatArray,
    tau2: FloatArray,
    q: FloatArray,
    weight: FloatArray,
    assumed: bool,
) -> Pooled:
    """Mean and covariance over the nodes: within each node, and between them."""
    beta, beta_var = _groups(nodes, variance, assumed)
    b_edge, v_edge = beta[data.group], beta_var[data.group]
    width = nodes.width[0] + nodes.width[1] * b_edge
    loss = nodes.loss[0] + nodes.loss[1] * b_edge
    inside = (
        variance * nodes.cov[0] + nodes.width[1] ** 2 * v_edge,
        variance * nodes.cov[1] + nodes.width[1] * nodes.loss[1] * v_edge,
        variance * nodes.cov[2] + nodes.loss[1] ** 2 * v_edge,
    )
    mean_w, mean_b = width @ weight, loss @ weight
    dw, db = width - mean_w[:, None], loss - mean_b[:, None]
    spread = (dw * dw, dw * db, db * db)
    cov = [(i + s) @ weight for i, s in zip(inside, spread, strict=True)]
    group_mean = beta @ weight
    group_var = (beta_var + (beta - group_mean[:, None]) ** 2) @ weight
    back: NDArray[np.int64] = np.argsort(data.edge)
    return Pooled(
        width_um=mean_w[back],
        loss_um=mean_b[back],
        var_width=cov[0][back],
        cov=cov[1][back],
        var_loss=cov[2][back],
        group_loss_um=group_mean,
        group_sd_um=np.sqrt(group_var),
        group_spread_um=float(np.sqrt(tau2 @ weight)),
        session_var=float(q @ weight),
        reading_sd_um=float(np.sqrt(variance @ weight)),
        freedom=max(data.freedom, 1),
        assumed=assumed,
    )
