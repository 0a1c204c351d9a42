r"""Update a model's loss per session, and its uncertain inputs, by the loss that a log shows.

Both are the textbook conjugate update of a normal prior by a normal observation; with
`Scale.LOG` the same is done with logarithms, for quantities that cannot be negative.

.. math::

   \frac{1}{s^2} = \frac{1}{s_0^2} + \frac{1}{s_y^2}, \qquad
   m = s^2 \left(\frac{m_0}{s_0^2} + \frac{y}{s_y^2}\right)

Source: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5 (from memory).
"""

import enum

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray, frozen_array
from edgekit.errors import BadArgument
from edgekit.record import Record


class Scale(enum.Enum):
    """On which scale a quantity is normal."""

    LINEAR = "linear"
    LOG = "log"


class Updated(Record):
    """Posterior mean and standard deviation.

    Attributes
    ----------
    mean, sd : ndarray
        In the units of what was updated.
    pull : ndarray
        Share of the distance from prediction to observation that the mean has moved, 0 to 1.
    surprise : ndarray
        (observed − predicted) in standard deviations of that difference; beyond 2 or 3 the model,
        not only its inputs, is in doubt.
    """

    mean: FloatArray
    sd: FloatArray
    pull: FloatArray
    surprise: FloatArray


def _to_log(mean: FloatArray, sd: FloatArray, name: str) -> tuple[FloatArray, FloatArray]:
    if not (mean > 0).all():
        raise BadArgument(
            f"{name} must be above 0 on a log scale", mean, "Use Scale.LINEAR.", argument="mean"
        )
    variance = np.log1p((sd / mean) ** 2)
    return np.log(mean) - variance / 2, np.sqrt(variance)


def _from_log(mean: FloatArray, sd: FloatArray) -> tuple[FloatArray, FloatArray]:
    middle = np.exp(mean + sd**2 / 2)
    return middle, middle * np.sqrt(np.expm1(sd**2))


def _pair(name: str, mean: ArrayLike, sd: ArrayLike) -> tuple[FloatArray, FloatArray]:
    means, sds = frozen_array(f"{name} mean", mean), frozen_array(f"{name} sd", sd)
    if not (sds > 0).all():
        raise BadArgument(
            f"the sd of the {name} must be above 0", sd, "Give a positive sd.", argument="sd"
        )
    return means, sds


def update_loss(
    predicted_um: tuple[ArrayLike, ArrayLike],
    observed_um: tuple[ArrayLike, ArrayLike],
    *,
    scale: Scale = Scale.LINEAR,
) -> Updated:
    """Combine a predicted with an observed loss per session.

    Parameters
    ----------
    predicted_um, observed_um : tuple of array_like
        (mean, sd) [µm], of shapes that broadcast.
    scale : Scale
        LOG keeps the loss above 0: mean and sd are then those of a lognormal.

    Returns
    -------
    Updated

    Examples
    --------
    >>> both = update_loss((6.0, 2.0), (8.0, 2.0))
    >>> float(both.mean), float(both.pull)
    (7.0, 0.5)
    """
    checks.instance("scale", scale, Scale, "Give Scale.LINEAR or Scale.LOG.")
    m0, s0 = _pair("prediction", *predicted_um)
    y, sy = _pair("observation", *observed_um)
    if scale is Scale.LOG:
        m0, s0 = _to_log(m0, s0, "the prediction")
        y, sy = _to_log(y, sy, "the observation")
    pull = s0**2 / (s0**2 + sy**2)
    mean, sd = m0 + pull * (y - m0), np.sqrt(1 - pull) * s0
    surprise = (y - m0) / np.sqrt(s0**2 + sy**2)
    if scale is Scale.LOG:
        mean, sd = _from_log(mean, sd)
    return Updated(mean=mean, sd=sd, pull=pull, surprise=surprise)


def update_inputs(
    inputs: ArrayLike,
    predicted_um: ArrayLike,
    observed_um: tuple[float, float],
    *,
    scales: tuple[Scale, ...] | None = None,
) -> Updated:
    """Correct a model's uncertain inputs by an observed loss per session.

    Bayes linear update: from R runs of the model with inputs drawn from their prior, the slope of
    each input on the loss is K = cov(input, loss)/(var(loss) + s_y²), and the input moves by
    K (y − mean loss) and loses K cov(input, loss) of its variance. Exact for a linear model with
    normal inputs.

    Parameters
    ----------
    inputs : array_like (R, P)
        Drawn inputs of each run, such as dull radius [µm] and tilt error [deg].
    predicted_um : array_like (R,)
        Loss per session [µm] of each run.
    observed_um : tuple
        (mean, sd) [µm] of the log's loss per session.
    scales : tuple of Scale, optional
        Scale of each input; linear by default. LOG suits a radius.

    Returns
    -------
    Updated
        Of shape (P,); `pull` is here the share of each input's variance that the log removed.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> radius = rng.normal(4.0, 1.0, 4000)
    >>> after = update_inputs(radius[:, None], 1.5 * radius, (9.0, 1e-6))
    >>> round(float(after.mean[0]), 3)
    6.0
    """
    x = frozen_array("inputs", inputs, (None, None))
    loss = frozen_array("predicted_um", predicted_um, (len(x),))
    y, sy = (np.asarray(v) for v in _pair("observation", *observed_um))
    if len(x) < 10 * x.shape[1] or not loss.std() > 0:
        raise BadArgument(
            "the runs must differ and number ten per input or more", len(x), "Run the model more."
        )
    logs = np.asarray([s is Scale.LOG for s in scales or (Scale.LINEAR,) * x.shape[1]])
    if len(logs) != x.shape[1]:
        raise BadArgument(
            "each input needs a scale", scales, "Give one Scale per input.", argument="scales"
        )
    if logs.any() and not (x[:, logs] > 0).all():
        raise BadArgument("an input must be above 0 on a log scale", x, "Use Scale.LINEAR.")
    x = np.where(logs, np.log(np.where(logs, x, 1.0)), x)
    off = loss - loss.mean()
    shared = (x - x.mean(axis=0)).T @ off / (len(x) - 1)
    total = float(off @ off) / (len(x) - 1) + float(sy) ** 2
    variance = x.var(axis=0, ddof=1)
    mean = x.mean(axis=0) + shared / total * (y - loss.mean())
    left = np.maximum(variance - shared**2 / total, 0.0)
    sd = np.sqrt(left)
    log_mean, log_sd = _from_log(np.where(logs, mean, 0.0), np.where(logs, sd, 0.0))
    return Updated(
        mean=np.where(logs, log_mean, mean),
        sd=np.where(logs, log_sd, sd),
        pull=1 - left / np.where(variance > 0, variance, 1.0),
        surprise=np.full(x.shape[1], (y - loss.mean()) / total**0.5),
    )
