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


def session_percentiles(sessions: NDArray[np.int_]) -> dict[str, float]:
    """The columns `SESSIONS` of a table, from the sessions of each life."""
    return {name: float(np.percentile(sessions, at)) for name, at in SESSIONS.items()}


def standard_error(values: FloatArray) -> FloatArray:
    """Standard error of the mean over the last axis; infinite for a single value."""
    size = values.shape[-1]
    if size < 2:
        return np.full(values.shape[:-1], np.inf)
    return np.asarray(np.std(values, axis=-1, ddof=1) / np.sqrt(size))
