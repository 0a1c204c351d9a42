"""A smooth random error along an edge, as a few fixed functions with random weights.

A hand's power lies below 2 Hz (98.9 %; Riviere, Rader & Khosla 1997): within a stroke, its error is
a smooth function of the way travelled. It is taken as stationary with the Matérn-3/2 correlation
(1 + √3 d/ℓ) exp(-√3 d/ℓ), and drawn by its Karhunen-Loève modes, which do not depend on how many
stations look at it (theory T20). Of an Ornstein-Uhlenbeck process, whose paths are rough,
neighbouring planes cut the deeper the nearer they lie, and the error of a grid falls only as the
root of its spacing.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from edgekit.checks import FloatArray
from edgekit.record import freeze

MODES = 12
POINTS = 240  # at which the modes are computed


@lru_cache(maxsize=64)
def modes(length_mm: float, correlation_mm: float, stations: int) -> FloatArray:
    """Modes (M, S) at even stations, heel to toe, each scaled so that unit normal weights give unit
    variance.

    Examples
    --------
    >>> shapes = modes(6.0, 1.5, 32)
    >>> (shapes**2).sum(axis=0).min() > 0.98  # what twelve modes keep of the variance
    np.True_
    """
    at = (np.arange(POINTS) + 0.5) * length_mm / POINTS
    distance = np.sqrt(3) * np.abs(at[:, None] - at) / correlation_mm
    size, shape = np.linalg.eigh((1 + distance) * np.exp(-distance))
    size, shape = size[::-1][:MODES], shape[:, ::-1][:, :MODES]
    shape = shape * np.where(shape.sum(axis=0) + shape[0] >= 0, 1.0, -1.0)
    station = np.linspace(0.0, length_mm, stations)
    rows = [
        np.sqrt(s) * np.interp(station, at, column) for s, column in zip(size, shape.T, strict=True)
    ]
    result: FloatArray = freeze(np.array(rows))
    return result
