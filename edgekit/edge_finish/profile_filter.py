"""The Gaussian profile filter of ISO 16610-21, for points at any spacing."""

import math

import numpy as np

from edgekit.checks import FloatArray

# ISO 16610-21: with this constant the filter passes half of a sine at the cut-off wavelength.
ALPHA = math.sqrt(math.log(2) / math.pi)
# Cells per cut-off on which the profile is averaged before weighting. Averaging over a cell of
# width h dims a wave of length λ by (π h/λ)²/6, and reading between cells by (2π h/λ)²/8: at the
# cut-off below 3e-5 together.
_CELLS = 500
# The weight is cut at this many cut-offs from its centre, where 1e-5 of it is left.
_REACH = 1.0


def mean_line(x_um: FloatArray, z_um: FloatArray, cutoff_um: float) -> FloatArray:
    """Gaussian mean line of a profile at its own points.

    m(x) = ∫ s(x − u) z(u) du with s(t) = exp(−π (t/(α λc))²)/(α λc), α = √(ln 2/π) (theory T24).

    The profile, straight between its points, is averaged exactly over equal cells, so its own
    spacing does not matter. Near the ends, where part of the weight hangs over, the rest is
    scaled up to 1: the line is biased there over about half a cut-off, which callers drop.

    Parameters
    ----------
    x_um, z_um : ndarray (N,)
        Positions, strictly rising, and heights [µm].
    cutoff_um : float
        Cut-off wavelength λc [µm].

    Returns
    -------
    ndarray (N,)
        The mean line [µm]; the roughness profile is z minus it.

    Notes
    -----
    ISO 16610-21 (profile filter, Gaussian). A constant is returned unchanged everywhere.

    Examples
    --------
    >>> import numpy as np
    >>> from edgekit.edge_finish.profile_filter import mean_line
    >>> x = np.linspace(0, 4000, 4001)
    >>> wave = np.sin(2 * np.pi * x / 800)
    >>> round(float(mean_line(x, wave, 800.0)[1800]), 3)  # half of the peak
    0.5
    """
    length = float(x_um[-1] - x_um[0])
    cells = math.ceil(length / cutoff_um * _CELLS)
    edges = np.linspace(x_um[0], x_um[-1], cells + 1)
    # The integral of a piecewise-straight profile is quadratic between its points: it is taken
    # exactly at the cell edges from the point before.
    total = np.concatenate([[0.0], np.cumsum(np.diff(x_um) * (z_um[1:] + z_um[:-1]) / 2)])
    before = np.clip(np.searchsorted(x_um, edges, side="right") - 1, 0, x_um.size - 2)
    step = edges - x_um[before]
    slope = (z_um[before + 1] - z_um[before]) / (x_um[before + 1] - x_um[before])
    area = total[before] + step * (z_um[before] + slope * step / 2)
    width = length / cells
    smooth = _convolve(np.diff(area) / width, width, cutoff_um)
    centres = (edges[1:] + edges[:-1]) / 2
    return np.asarray(np.interp(x_um, centres, smooth))


def _convolve(cell: FloatArray, width: float, cutoff_um: float) -> FloatArray:
    """Weighted mean of cell averages, the weights scaled to 1 where they hang over an end."""
    reach = math.ceil(_REACH * cutoff_um / width)
    offset = np.arange(-reach, reach + 1) * width
    weight = np.exp(-math.pi * (offset / (ALPHA * cutoff_um)) ** 2)
    weight /= weight.sum()
    size = 1 << (cell.size + weight.size - 1).bit_length()
    spectrum = np.fft.rfft(weight, size)
    both = np.fft.irfft(np.fft.rfft(np.stack([cell, np.ones_like(cell)]), size) * spectrum, size)
    kept = both[:, reach : reach + cell.size]
    return np.asarray(kept[0] / kept[1])
