"""The edge line that a ground facet leaves on the face: scratches seen end-on, side-on or between.

Model, not measurement: the facet is a Gaussian random surface whose heights (rms Rq, normal to
the facet) keep a correlation exp(−(d/l)²), with a short length across the scratches and a long
one along them. The edge is its trace on the face, so heights grow by 1/sin β and the length
along the edge follows the angle ψ between scratches and edge. Real scratches are sharper than a
Gaussian correlation allows; every count here is of waves no shorter than the model's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import (
    FloatArray,
    array_between,
    count,
    frozen_array,
    generator,
    matched,
    positive,
)
from edgekit.errors import EdgekitError
from edgekit.evidence import value

__all__ = [
    "EdgeProfile",
    "correlation_length_um",
    "edge_rq_um",
    "realise",
    "scratch_lengths_um",
    "shortest_visible_um",
    "teeth_per_mm",
    "visible_rq_um",
]

# Points of a realisation in the shortest correlation length; teeth counted on it are 0.3 % too
# few (arccos(exp(−h²))/(2πh) against its limit at h = 1/8, order 2), and the spline that reads
# the process between its own grid points is good to 1e-5 of Rq.
_STEPS = 8
# Correlation lengths added before the process repeats: exp(−8²) is below rounding.
_MARGIN = 8
# A longer realisation than this is a mistake in units more likely than a wish.
_MOST_POINTS = 4_000_000
_POSITIVE = "Give lengths above 0 in micrometres."


def scratch_lengths_um(ra_um: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Correlation lengths across and along the lay from Ra across it, where no better is known.

    A scratch is as wide as the mean distance between crossings of the mean line, π l⊥/√2, and
    that width is ``scratch_width_per_ra`` times Ra; l∥ = ``lay_aspect`` · l⊥. Both numbers are
    weak: one published finish and a free parameter.

    Parameters
    ----------
    ra_um : array_like (...)
        Ra across the lay [µm].

    Returns
    -------
    l_perp_um, l_par_um : ndarray (...)
        Correlation lengths [µm].

    Examples
    --------
    >>> from edgekit.contact.edge_line import scratch_lengths_um
    >>> across, along = scratch_lengths_um(0.16)
    >>> round(float(across), 3), round(float(along / across))
    (0.317, 20)
    """
    ra = array_between("ra_um", ra_um, 0, np.inf)
    across = ra * value("scratch_width_per_ra") * np.sqrt(2) / np.pi
    return np.asarray(across), np.asarray(across * value("lay_aspect"))


def correlation_length_um(
    lay_deg: ArrayLike, *, l_perp_um: ArrayLike, l_par_um: ArrayLike
) -> FloatArray:
    """Correlation length along the edge.

    1/l² = sin²ψ/l⊥² + cos²ψ/l∥²: scratches along the edge (ψ = 0) give long waves of length l∥,
    scratches across it (ψ = 90°) short ones of length l⊥.

    Parameters
    ----------
    lay_deg : array_like (S,)
        Angle ψ between scratches and edge, in the facet [deg]; any sign or turn.
    l_perp_um, l_par_um : array_like (S,) or ()
        Correlation lengths across and along the scratches [µm]: where the correlation has
        fallen to 1/e.

    Returns
    -------
    ndarray (S,)
        Correlation length along the edge [µm].

    Raises
    ------
    EdgekitError
        For lengths not above 0, or scratches shorter along than across.

    Examples
    --------
    >>> from edgekit.contact.edge_line import correlation_length_um
    >>> correlation_length_um([0, 90], l_perp_um=2.0, l_par_um=40.0).round(6).tolist()
    [40.0, 2.0]
    """
    psi = np.asarray(np.radians(frozen_array("lay_deg", lay_deg)))
    across = array_between("l_perp_um", l_perp_um, 0, np.inf, _POSITIVE)
    along = array_between("l_par_um", l_par_um, 0, np.inf, _POSITIVE)
    psi, across, along = matched("lay_deg, l_perp_um and l_par_um", psi, across, along)
    if not (along >= across).all():
        raise EdgekitError(
            "l_par_um must not be below l_perp_um",
            (across.tolist(), along.tolist()),
            "Scratches are longer along the lay: swap the two.",
        )
    return np.asarray(1 / np.hypot(np.sin(psi) / across, np.cos(psi) / along))


def edge_rq_um(internal_angle_deg: ArrayLike, rq_um: ArrayLike) -> FloatArray:
    """Rms height of the edge line in the face, Rq/sin β [µm].

    A facet height h, normal to the facet, moves the line where it meets the face by h/sin β.

    Parameters
    ----------
    internal_angle_deg : array_like (...)
        Internal angle β [deg].
    rq_um : array_like (...)
        Rms height of the facet [µm].

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> from edgekit.contact.edge_line import edge_rq_um
    >>> round(float(edge_rq_um(30, 0.1)), 6)
    0.2
    """
    beta = array_between("internal_angle_deg", internal_angle_deg, 0, 180)
    rq = array_between("rq_um", rq_um, 0, np.inf, ends=True)
    beta, rq = matched("internal_angle_deg and rq_um", beta, rq)
    return np.asarray(rq / np.sin(np.radians(beta)))


def shortest_visible_um(magnification: ArrayLike) -> FloatArray:
    """Shortest wave along the edge that a stated magnification can show [µm].

    The eye's resolution over the magnification, but never below what light itself resolves
    (``eye_resolution_um``, ``optical_limit_um``).

    Parameters
    ----------
    magnification : array_like (...)
        Magnification, 1 for the naked eye.

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> from edgekit.contact.edge_line import shortest_visible_um
    >>> shortest_visible_um([1, 40, 1000]).tolist()
    [100.0, 2.5, 0.5]
    """
    power = array_between("magnification", magnification, 0, np.inf)
    return np.maximum(value("eye_resolution_um") / power, value("optical_limit_um"))


def _band(length_um: FloatArray, shortest_um: float | None) -> tuple[FloatArray, FloatArray]:
    """Shares of the height and slope variance on waves not shorter than `shortest_um`.

    The spectrum of exp(−(τ/l)²) is proportional to exp(−k²l²/4), so with a = k_max l/2 the
    shares are the regularised gamma functions P(1/2, a²) = erf a and P(3/2, a²).
    """
    from scipy.special import gammainc

    if shortest_um is None:
        return np.ones_like(length_um), np.ones_like(length_um)
    a = np.pi * length_um / positive("shortest_um", shortest_um)
    return np.asarray(gammainc(0.5, a * a)), np.asarray(gammainc(1.5, a * a))


def teeth_per_mm(length_um: ArrayLike, *, shortest_um: float | None = None) -> FloatArray:
    """Teeth in a millimetre of edge: rises of the edge line through its mean, by Rice's formula.

    ν = (1/2π) √(m₂/m₀), where m₀ and m₂ are the variances of height and slope. For the
    correlation exp(−(τ/l)²), m₂/m₀ = 2/l² and ν = 1/(√2 π l); waves shorter than `shortest_um`
    are left out of both variances.

    Parameters
    ----------
    length_um : array_like (...)
        Correlation length along the edge [µm].
    shortest_um : float, optional
        Shortest wave counted [µm]; none is left out by default.

    Returns
    -------
    ndarray (...)
        Teeth [1/mm].

    Notes
    -----
    Rice 1945, Bell System Technical Journal 24:46, zero crossings of a Gaussian process.

    Examples
    --------
    >>> from edgekit.contact.edge_line import teeth_per_mm
    >>> teeth_per_mm([2.0, 40.0]).round(1).tolist()
    [112.5, 5.6]
    >>> float(teeth_per_mm(2.0, shortest_um=25.0).round(1))
    22.9
    """
    length = array_between("length_um", length_um, 0, np.inf, _POSITIVE)
    height, slope = _band(length, shortest_um)
    return np.asarray(1000 / (np.sqrt(2) * np.pi * length) * np.sqrt(slope / height))


def visible_rq_um(
    rq_um: ArrayLike, length_um: ArrayLike, *, shortest_um: float | None = None
) -> FloatArray:
    """Rms height of the edge line on waves not shorter than `shortest_um` [µm].

    Rq √(erf(π l/λ)) for the shortest wave λ.

    Parameters
    ----------
    rq_um : array_like (...)
        Rms height of the edge line [µm].
    length_um : array_like (...)
        Correlation length along the edge [µm].
    shortest_um : float, optional
        Shortest wave kept [µm].

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> from edgekit.contact.edge_line import visible_rq_um
    >>> round(float(visible_rq_um(0.2, 2.0, shortest_um=25.0)), 3)
    0.105
    """
    rq = array_between("rq_um", rq_um, 0, np.inf, ends=True)
    length = array_between("length_um", length_um, 0, np.inf, _POSITIVE)
    rq, length = matched("rq_um and length_um", rq, length)
    height, _ = _band(length, shortest_um)
    return np.asarray(rq * np.sqrt(height))


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgeProfile:
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
        """Rises through the mean height, counted, in a millimetre."""
        above = self.z_um > self.z_um.mean()
        rises = np.count_nonzero(above[1:] & ~above[:-1])
        return float(1000 * rises / (self.x_um[-1] - self.x_um[0]))


def realise(
    arc_um: ArrayLike,
    length_um: ArrayLike,
    rq_um: ArrayLike,
    *,
    rng: np.random.Generator,
    shortest_um: float | None = None,
    steps: int = _STEPS,
) -> EdgeProfile:
    """One random edge line with a correlation length and height that vary along the edge.

    A stationary Gaussian process g with correlation exp(−τ²) is drawn by the spectral method
    (independent Fourier amplitudes with the variance of its spectrum) and laid along the edge as
    z(x) = Rq(x) g(∫ dx/l(x)), so the correlation length is l wherever l varies slowly. Waves
    shorter than `shortest_um` are then cut off.

    Parameters
    ----------
    arc_um : array_like (S,)
        Positions of the stations along the edge [µm], strictly rising.
    length_um : array_like (S,) or ()
        Correlation length there [µm].
    rq_um : array_like (S,) or ()
        Rms height of the edge line there [µm].
    rng : numpy.random.Generator
        Source of the draw; the same state gives the same line.
    shortest_um : float, optional
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
    >>> from edgekit.contact.edge_line import realise
    >>> line = realise([0, 5650], 4.0, 0.2, rng=np.random.default_rng(1))
    >>> bool(abs(line.z_um.std() / 0.2 - 1) < 0.1)
    True
    """
    arc = frozen_array("arc_um", arc_um, (None,))
    if arc.size < 2 or not (np.diff(arc) > 0).all():
        raise EdgekitError("arc_um must rise, with 2 stations or more", arc, "Sort the stations.")
    length = _along(arc, array_between("length_um", length_um, 0, np.inf, _POSITIVE), "length_um")
    rq = _along(arc, array_between("rq_um", rq_um, 0, np.inf, ends=True), "rq_um")
    per_length = count("steps", steps, 2)
    size = int(np.ceil((arc[-1] - arc[0]) / length.min() * per_length)) + 1
    if size > _MOST_POINTS:
        raise EdgekitError(
            "the edge line would need too many points", size, "Check that all lengths are in µm."
        )
    x = np.linspace(arc[0], arc[-1], size)
    rate = 1 / np.interp(x, arc, length)
    phase = np.concatenate([[0.0], np.cumsum(np.diff(x) * (rate[1:] + rate[:-1]) / 2)])
    z = np.interp(x, arc, rq) * _unit_process(phase, generator("rng", rng))
    if shortest_um is not None:
        z = _cut_short_waves(z, float(x[1] - x[0]), positive("shortest_um", shortest_um))
    return EdgeProfile(x_um=frozen_array("x_um", x), z_um=frozen_array("z_um", z))


def _along(arc: FloatArray, values: FloatArray, name: str) -> FloatArray:
    """Values at the stations, one value standing for all."""
    if values.shape not in ((), arc.shape):
        raise EdgekitError(
            f"{name} must be one number or one a station", values.shape, "Match arc_um."
        )
    return np.broadcast_to(values, arc.shape)


def _unit_process(phase: FloatArray, rng: np.random.Generator) -> FloatArray:
    """A Gaussian process of variance 1 and correlation exp(−τ²) at rising positions ``(N,)``.

    Drawn on a periodic grid from the Fourier transform of its own correlation, so that grid values
    have exactly that correlation; read between grid points by a cubic spline.
    """
    from scipy.interpolate import CubicSpline

    # The grid does not follow the positions asked for: a finer reading of one seed is the same line.
    step = 1 / _STEPS
    size = 1 << int(np.ceil((phase[-1] + _MARGIN) / step)).bit_length()
    lag = np.minimum(np.arange(size), size - np.arange(size)) * step
    power = np.maximum(np.fft.rfft(np.exp(-(lag**2))).real, 0.0)
    amplitude = np.fft.rfft(rng.standard_normal(size)) * np.sqrt(power)
    process = np.fft.irfft(amplitude, size)
    last = int(np.ceil(phase[-1] / step)) + 2
    grid = np.arange(last + 1) * step
    return np.asarray(CubicSpline(grid, process[: last + 1])(phase))


def _cut_short_waves(z: FloatArray, step: float, shortest_um: float) -> FloatArray:
    """Drop all waves shorter than `shortest_um`, the profile mirrored so that it closes."""
    closed = np.concatenate([z, z[-2:0:-1]])
    spectrum = np.fft.rfft(closed)
    spectrum[np.fft.rfftfreq(closed.size, step) > 1 / shortest_um] = 0.0
    return np.asarray(np.fft.irfft(spectrum, closed.size)[: z.size])
