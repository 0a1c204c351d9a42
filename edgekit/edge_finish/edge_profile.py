"""One random edge line, with a correlation length and a height that vary along the edge."""

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument, Cannot
from edgekit.record import Record
from edgekit.units import UM_PER_MM

# Points of a realisation in the shortest correlation length; teeth counted on it are 0.3 % too
# few (arccos(exp(−h²))/(2πh) against its limit at h = 1/8, order 2).
_STEPS = 8
# Points in the shortest wave that is kept; at 16 a flat band loses 0.2 % of its teeth.
_STEPS_PER_WAVE = 16
# Grid points of the process itself in a correlation length. The spectrum has fallen to e^(−4π²)
# at half their rate, and the spline between them is good to 1e-4 of Rq.
_GRID = 4
# Correlation lengths added before the process repeats: exp(−8²) is below rounding.
_MARGIN = 8
# A line of more points than this is more likely a mistake in units.
_MAX_POINTS = 4_000_000


class EdgeProfile(Record):
    """One realised edge line.

    Attributes
    ----------
    x_um : ndarray (N,)
        Position along the edge [µm], evenly spaced from the first station to the last.
    z_um : ndarray (N,)
        Height in the face, outward [µm].
    """

    x_um: FloatArray
    z_um: FloatArray

    @property
    def teeth_per_mm(self) -> float:
        """Rises through the mean height per millimetre, counted."""
        above = self.z_um > self.z_um.mean()
        rises = np.count_nonzero(above[1:] & ~above[:-1])
        return float(UM_PER_MM * rises / (self.x_um[-1] - self.x_um[0]))


def realise(
    arc_um: ArrayLike,
    length_um: ArrayLike,
    rq_um: ArrayLike,
    *,
    rng: checks.Seed,
    min_wavelength_um: float | None = None,
    steps: int = _STEPS,
) -> EdgeProfile:
    """One random edge line with a correlation length and height that vary along the edge.

    A stationary Gaussian process g with correlation exp(−τ²) is drawn by the spectral method
    (independent Fourier amplitudes with the variance of its spectrum) and laid along the edge as
    z(x) = Rq(x) g(∫ dx/l(x)), so the correlation length is l wherever l varies slowly. Waves
    shorter than `min_wavelength_um` are then cut off.

    Parameters
    ----------
    arc_um : array_like (S,)
        Positions of the stations along the edge [µm], strictly rising.
    length_um : array_like (S,) or ()
        Correlation length there [µm].
    rq_um : array_like (S,) or ()
        Rms height of the edge line there [µm].
    rng : numpy.random.Generator, or a seed of one
        Source of the draw; the same state gives the same line.
    min_wavelength_um : float, optional
        Shortest wave kept [µm].
    steps : int, optional
        Points in the shortest correlation length.

    Returns
    -------
    EdgeProfile

    Raises
    ------
    EdgekitError
        For bad stations or lengths, or a line of more than four million points.

    Examples
    --------
    >>> import numpy as np
    >>> from edgekit.edge_finish.edge_profile import realise
    >>> line = realise([0, 5650], 4.0, 0.2, rng=np.random.default_rng(1))
    >>> bool(abs(line.z_um.std() / 0.2 - 1) < 0.1)
    True
    """
    arc, length, rq = checks.matched(
        "arc_um, length_um and rq_um",
        checks.frozen_array("arc_um", arc_um, (None,)),
        checks.array_between("length_um", length_um, 0, np.inf),
        checks.array_between("rq_um", rq_um, 0, np.inf, ends=True),
    )
    if arc.ndim != 1 or arc.size < 2 or not (np.diff(arc) > 0).all():
        raise BadArgument(
            "arc_um must rise, with 2 stations or more",
            arc,
            "Sort the stations.",
            argument="arc_um",
        )
    step = float(length.min()) / checks.count("steps", steps, 2)
    rng = checks.generator("rng", rng)
    if min_wavelength_um is None:
        x = _grid(arc, step)
        z = _draw(x, arc, length, rq, rng)
    else:
        # Every wave of the process must be present before it is cut; then the points are reduced.
        fine = _grid(arc, float(length.min()) / _GRID)
        wave = checks.positive("min_wavelength_um", min_wavelength_um)
        x = _grid(arc, max(step, wave / _STEPS_PER_WAVE))
        z = _cut_short_waves(_draw(fine, arc, length, rq, rng), fine, wave, x.size)
    return EdgeProfile(x_um=x, z_um=checks.frozen_array("z_um", z))


def _grid(arc: FloatArray, step: float) -> FloatArray:
    """Even positions from the first station to the last, no farther apart than `step`.

    Their number is rounded up to one that Fourier transforms quickly.
    """
    from scipy.fft import next_fast_len

    steps = np.ceil((arc[-1] - arc[0]) / step)
    if not steps < _MAX_POINTS:
        raise Cannot(
            "the edge line would need too many points",
            float(steps),
            "Check that all lengths are in µm.",
        )
    return np.linspace(arc[0], arc[-1], next_fast_len(max(int(steps), 1), real=True) + 1)


def _draw(
    x: FloatArray, arc: FloatArray, length: FloatArray, rq: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Heights of a new random line at evenly spaced positions."""
    rate = 1 / np.interp(x, arc, length)
    phase = np.concatenate([[0.0], np.cumsum(np.diff(x) * (rate[1:] + rate[:-1]) / 2)])
    return np.asarray(np.interp(x, arc, rq) * _unit_process(phase, rng))


def _unit_process(phase: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A Gaussian process of variance 1 and correlation exp(−τ²) at rising positions ``(N,)``.

    Drawn on a periodic grid from the Fourier transform of its own correlation, so that grid values
    have exactly that correlation; read between grid points by a cubic spline.
    """
    from scipy.interpolate import CubicSpline

    # The grid does not depend on the positions, so one seed gives one line at any resolution.
    size = 1 << int(np.ceil((phase[-1] + _MARGIN) * _GRID)).bit_length()
    k = 2 * np.pi * np.fft.rfftfreq(size, 1 / _GRID)
    # Spectrum of exp(−τ²), √π exp(−k²/4), at the grid's rate; half to each part of an amplitude,
    # all of it to the one real amplitude of the mean.
    deviation = np.sqrt(size * _GRID * np.sqrt(np.pi) / 2) * np.exp(-(k**2) / 8)
    deviation[0] *= np.sqrt(2)
    parts = rng.standard_normal((2, k.size))
    process = np.fft.irfft(deviation * (parts[0] + 1j * parts[1]), size)
    last = int(np.ceil(phase[-1] * _GRID)) + 2
    return np.asarray(CubicSpline(np.arange(last + 1) / _GRID, process[: last + 1])(phase))


def _cut_short_waves(
    z: FloatArray, x: FloatArray, min_wavelength_um: float, points: int
) -> FloatArray:
    """Drop all waves shorter than `min_wavelength_um` and read the rest at `points` even positions.

    The line is mirrored so that it closes; cutting or extending its spectrum reads it between
    its points without error.
    """
    closed = np.concatenate([z, z[-2:0:-1]])
    spectrum = np.fft.rfft(closed)
    kept = np.fft.rfftfreq(closed.size, float(x[1] - x[0])) <= 1 / min_wavelength_um
    size = 2 * (points - 1)
    part = spectrum[kept][: size // 2 + 1]
    return np.asarray(np.fft.irfft(part, size)[:points] * (size / closed.size))
