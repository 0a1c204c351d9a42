"""Outcomes that a study takes from simulated lives, one value per life, and their statistics."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.life.life import Lives

PER_SESSION = {
    "loss_um_per_session": "mean_width_um",
    "deepest_um_per_session": "deepest_width_um",
    "heel_um_per_session": "heel_width_um",
    "middle_um_per_session": "middle_width_um",
    "toe_um_per_session": "toe_width_um",
}
OVER_LIFE = {
    "ridge_um": "ridge_um",
    "angle_error_deg": "angle_error_deg",
    "angle_rms_deg": "angle_rms_deg",
    "sharp_fraction": "sharp_fraction",
    "minutes_per_session": "minutes",
    "stone_strokes": "stone_strokes",
    "steel_mg": "steel_mg",
    "dullness_mg": "dullness_mg",
    "overshoot_mg": "overshoot_mg",
    "dull_radius_um": "dull_radius_um",
    "heel_radius_um": "heel_radius_um",
    "middle_radius_um": "middle_radius_um",
    "toe_radius_um": "toe_radius_um",
    "useful_strokes": "useful_strokes",
}
VALUES = (*PER_SESSION, *OVER_LIFE, "rebevel_mg")
GRID = "grid_um"
HEADLINES = ("loss_um_per_session", "sessions")  # whose intervals every table has
LOW_HIGH = ("low", "high")
SESSIONS = {"sessions_p10": 10, "sessions_p50": 50, "sessions_p90": 90}  # column and percentile


def sample_columns(lives: Lives) -> dict[str, NDArray[np.generic]]:
    """Arrays (R,), one value per life: ``sessions``, ``ended_by`` and every quantity in `VALUES`.

    ``ended_by`` is the rule in words, empty if none ended the life. Steel is given by its cause:
    for the dullness alone, past the need, and the rest, which is the price of a new bevel.
    """
    rules = np.array([*map(str, lives.rules), ""], dtype=object)
    columns: dict[str, NDArray[np.generic]]
    columns = {"sessions": lives.sessions, "ended_by": rules[lives.ended_by]}
    columns |= {name: lives.last(track) / lives.sessions for name, track in PER_SESSION.items()}
    columns |= {name: lives.mean(track) for name, track in OVER_LIFE.items()}
    parts = lives.mean("dullness_mg") + lives.mean("overshoot_mg")
    return columns | {"rebevel_mg": lives.mean("steel_mg") - parts}


def finer(nodes: int) -> int:
    """Twice as many intervals between nodes, the old nodes among the new.

    Examples
    --------
    >>> finer(64)
    127
    """
    return 2 * nodes - 1


def grid_column(lives: Lives, refined: Lives | None) -> FloatArray:
    """By how much (R,) [µm] the loss per session of the first lives grows at twice every
    resolution; NaN for those that were not `refined`."""
    gap = np.full(len(lives.sessions), np.nan)
    if refined is not None:
        fine = refined.last("mean_width_um") / refined.sessions
        coarse = lives.last("mean_width_um") / lives.sessions
        gap[: len(fine)] = fine - coarse[: len(fine)]
    return gap


def at_places(
    values: NDArray[np.number], counts: NDArray[np.number], places: FloatArray
) -> FloatArray:
    """What stands at `places`, from 0, in a row of rising `values` each as often as it `counts`;
    between neighbours as numpy's quantiles have it.
    """
    ends = np.cumsum(counts)
    places = np.clip(places, 0.0, ends[-1] - 1)
    below = np.floor(places)
    share = places - below
    low, high = (
        values[np.searchsorted(ends, at, side="right")]
        for at in (below, np.minimum(below + 1, ends[-1] - 1))
    )
    gap = high - low
    return np.where(share >= 0.5, high - gap * (1 - share), low + gap * share)


def weibull(size: int, level: float) -> FloatArray:
    """Places of the ends of a central interval among `size` values: at k / (size + 1), so that
    another draw falls between them with the probability stated.
    """
    ends = np.array([(1 - level) / 2, (1 + level) / 2])
    return np.asarray(size * ends + ends - 1)


def session_percentiles(
    sessions: NDArray[np.number], lives: NDArray[np.number]
) -> dict[str, float]:
    """The columns `SESSIONS` of a table, where so many `lives` (N,) took rising `sessions` (N,)."""
    places = (lives.sum() - 1) * (np.array([*SESSIONS.values()]) / 100)
    return dict(zip(SESSIONS, at_places(sessions, lives, places).tolist(), strict=True))


def standard_error(values: FloatArray) -> FloatArray:
    """Standard error of the mean over the last axis; infinite for a single value."""
    size = values.shape[-1]
    if size < 2:
        return np.full(values.shape[:-1], np.inf)
    return np.asarray(np.std(values, axis=-1, ddof=1) / np.sqrt(size))


def central(values: FloatArray, level: float) -> tuple[FloatArray, FloatArray]:
    """Ends of the central interval of a level over the last axis, as `weibull` places them; missing
    for no values.
    """
    if not values.shape[-1]:
        return np.full(values.shape[:-1], np.nan), np.full(values.shape[:-1], np.nan)
    ends = (1 - level) / 2, (1 + level) / 2
    low, high = np.quantile(values, ends, axis=-1, method="weibull")
    return np.asarray(low), np.asarray(high)
