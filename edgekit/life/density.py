"""Where along an edge working strokes fall: densities, and how often each place is touched."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol, runtime_checkable

import numpy as np

from edgekit.checks import FloatArray, fraction, keep_numbers
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.grinding.recession_field import EdgeGrid
from edgekit.lazy import shown
from edgekit.record import read_only

__all__ = ["EvenUse", "ToeThird", "UseDensity"]

__dir__ = shown(__all__)

CENTRES = 1500  # places along an edge at which strokes are centred, the same on every grid


@runtime_checkable
class UseDensity(Protocol):
    """Where along an edge working strokes are centred.

    Examples
    --------
    More and more often towards the toe:

    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class Rising:
    ...     def centres(self, place):
    ...         return place
    >>> worn = ek.use(ek.patterns.area_specific_curette(), ek.Use(density=Rising()))
    >>> radius = worn.radius_um("used")
    >>> bool(radius[-1] > radius[32] > radius[0])
    True
    """

    def centres(self, place: FloatArray) -> FloatArray:
        """Relative frequency (N,), 0 or more, of strokes centred at `place` (N,), which runs from 0
        at the heel to 1 at the end of the toe.
        """
        ...


@dataclass(frozen=True)
class EvenUse:
    """The same everywhere along the edge.

    Examples
    --------
    >>> EvenUse().centres(np.array([0.1, 0.9]))
    array([1., 1.])
    """

    def centres(self, place: FloatArray) -> FloatArray:
        """See the class."""
        return np.ones_like(place)


@dataclass(frozen=True, kw_only=True)
class ToeThird:
    """A share of the strokes on the third of the edge next to the toe, the rest on the others.

    An edge that strokes touch over most of its length, such as a hoe's, is worn evenly all the
    same: see `Use.contact_mm`.

    Examples
    --------
    >>> ToeThird(share=0.5).centres(np.array([0.1, 0.9])).tolist()
    [0.75, 1.5]
    """

    share: float = value("toe_third_share")

    def __post_init__(self) -> None:
        keep_numbers(self, share=fraction("share", self.share))

    def centres(self, place: FloatArray) -> FloatArray:
        """See the class."""
        return np.where(place > 2 / 3, 3 * self.share, 1.5 * (1 - self.share))


def touch_density(grid: EdgeGrid, density: UseDensity, contact_mm: float) -> FloatArray:
    """Share (S,) of a stroke's steel per millimetre of edge [1/mm]; its integral is 1.

    A stroke touches `contact_mm` of the edge about its centre, less where the edge ends, and wears
    evenly what it touches.
    """
    if type(density) in (EvenUse, ToeThird):
        return _known(grid, density, contact_mm)  # type: ignore[arg-type]
    return _touched(grid, density, contact_mm)  # it may give other numbers the next time


@lru_cache(maxsize=4)
def _known(grid: EdgeGrid, density: UseDensity, contact_mm: float) -> FloatArray:
    """The same of the package's densities, which rows of a sweep share."""
    return read_only(_touched(grid, density, contact_mm))


def _touched(grid: EdgeGrid, density: UseDensity, contact_mm: float) -> FloatArray:
    cells = np.concatenate([[0.0], np.cumsum(grid.station_weights_mm, dtype=float)])
    length = cells[-1]
    place = (np.arange(CENTRES) + 0.5) / CENTRES
    often = np.asarray(density.centres(place), dtype=float)
    if often.shape != place.shape or not ((often >= 0).all() and 0 < often.sum() < np.inf):
        raise BadArgument(
            "a density must give a number of 0 or more for every place, and not 0 everywhere",
            density,
            "See ek.UseDensity for an example.",
            argument="density",
        )
    ends = place * length + np.array([-0.5, 0.5])[:, None] * contact_mm
    low, high = np.clip(ends, 0.0, length)
    each = often / (high - low)
    worn = _ramps(cells, low, each) - _ramps(cells, high, each)
    return np.asarray(np.maximum(np.diff(worn), 0.0) / (often.sum() * np.diff(cells)))


def _ramps(at: FloatArray, starts: FloatArray, slopes: FloatArray) -> FloatArray:
    """Sum (N,) at some places of ramps that rise from `starts` (C,), in order, by `slopes` (C,)."""
    begun = np.searchsorted(starts, at)
    slope, level = (np.append(0.0, np.cumsum(part)) for part in (slopes, slopes * starts))
    return np.asarray(at * slope[begun] - level[begun])
