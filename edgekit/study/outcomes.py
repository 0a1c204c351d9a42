"""What a study reads off a number of lives: one value a life, and their summary."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.life.life import Lives

__all__ = ["OVER_LIFE", "PER_SESSION", "VALUES", "sample_columns", "standard_error"]

PER_SESSION = {
    "loss_um_per_session": "mean_width_um",
    "deepest_um_per_session": "deepest_width_um",
}
OVER_LIFE = {
    "ridge_um": "ridge_um",
    "angle_error_deg": "angle_error_deg",
    "angle_rms_deg": "angle_rms_deg",
    "sharp_fraction": "sharp_fraction",
    "minutes_per_session": "minutes",
    "steel_mg": "steel_mg",
    "dull_radius_um": "dull_radius_um",
}
VALUES = (*PER_SESSION, *OVER_LIFE)


def sample_columns(lives: Lives) -> dict[str, NDArray[np.generic]]:
    """``sessions`` and ``ended_by`` (the rule in words, empty if none ended it) of each life, and one value
    (R,) of each quantity in `VALUES`."""
    rules = np.array([*map(str, lives.rules), ""], dtype=object)
    columns: dict[str, NDArray[np.generic]]
    columns = {"sessions": lives.sessions, "ended_by": rules[lives.ended_by]}
    columns |= {name: lives.last(track) / lives.sessions for name, track in PER_SESSION.items()}
    return columns | {name: lives.mean(track) for name, track in OVER_LIFE.items()}


def standard_error(values: FloatArray) -> float:
    """Standard error of the mean."""
    return float(np.std(values, ddof=1) / np.sqrt(len(values))) if len(values) > 1 else float("inf")
