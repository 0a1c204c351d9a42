"""The edge line that a ground facet leaves on the face: its correlation length, height and teeth.

Model, not measurement: the facet is a Gaussian random surface whose heights (rms Rq, normal to
the facet) keep a correlation exp(−(d/l)²), with a short length across the scratches and a long
one along them. The edge is its trace on the face, so heights grow by 1/sin β and the length
along the edge follows the angle ψ between scratches and edge. Real scratches are sharper than a
Gaussian correlation allows; every count here is of waves no shorter than the model's.
"""

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, array_between, frozen_array, matched, positive
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.units import UM_PER_MM

_POSITIVE = "Give lengths above 0 in micrometres."


def scratch_lengths_um(spacing_um: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Correlation lengths across and along the lay from the spacing of the scratches.

    The spacing is the mean distance between rises through the mean line across the lay,
    √2 π l⊥ by Rice's formula; l∥ = ``lay_aspect`` · l⊥, a free parameter.

    Parameters
    ----------
    spacing_um : array_like (...)
        Spacing of scratches across the lay [µm], `Abrasive.scratch_spacing_um`.

    Returns
    -------
    l_perp_um, l_par_um : ndarray (...)
        Correlation lengths [µm].

    Raises
    ------
    EdgekitError
        For a spacing not above 0.

    Examples
    --------
    >>> from edgekit.edge_finish.edge_line import scratch_lengths_um, teeth_per_mm
    >>> across, along = scratch_lengths_um(10.0)
    >>> round(float(teeth_per_mm(across))), round(float(along / across))
    (100, 20)
    """
    spacing = array_between("spacing_um", spacing_um, 0, np.inf)
    across = spacing / (np.sqrt(2) * np.pi)
    return np.asarray(across), np.asarray(across * value("lay_aspect"))


def correlation_length_um(
    lay_deg: ArrayLike, *, l_perp_um: ArrayLike, l_par_um: ArrayLike
) -> FloatArray:
    """Correlation length along the edge.

    1/l² = sin²ψ/l⊥² + cos²ψ/l∥² (theory T21): scratches along the edge (ψ = 0) give long waves of
    length l∥, scratches across it (ψ = 90°) short ones of length l⊥.

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
    >>> from edgekit.edge_finish.edge_line import correlation_length_um
    >>> correlation_length_um([0, 90], l_perp_um=2.0, l_par_um=40.0).round(6).tolist()
    [40.0, 2.0]
    """
    psi = np.asarray(np.radians(frozen_array("lay_deg", lay_deg)))
    across = array_between("l_perp_um", l_perp_um, 0, np.inf, _POSITIVE)
    along = array_between("l_par_um", l_par_um, 0, np.inf, _POSITIVE)
    psi, across, along = matched("lay_deg, l_perp_um and l_par_um", psi, across, along)
    if not (along >= across).all():
        raise BadArgument(
            "l_par_um must not be below l_perp_um",
            (across.tolist(), along.tolist()),
            "Scratches are longer along the lay: swap the two.",
            argument="l_par_um",
        )
    return np.asarray(1 / np.hypot(np.sin(psi) / across, np.cos(psi) / along))


def edge_rq_um(internal_angle_deg: ArrayLike, rq_um: ArrayLike) -> FloatArray:
    """Rms height of the edge line in the face, Rq/sin β [µm].

    A facet height h, normal to the facet, moves the line where it meets the face by h/sin β
    (theory T22).

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
    >>> from edgekit.edge_finish.edge_line import edge_rq_um
    >>> round(float(edge_rq_um(30, 0.1)), 6)
    0.2
    """
    beta = array_between("internal_angle_deg", internal_angle_deg, 0, 180)
    rq = array_between("rq_um", rq_um, 0, np.inf, ends=True)
    beta, rq = matched("internal_angle_deg and rq_um", beta, rq)
    return np.asarray(rq / np.sin(np.radians(beta)))


def min_visible_um(magnification: ArrayLike) -> FloatArray:
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
    >>> from edgekit.edge_finish.edge_line import min_visible_um
    >>> min_visible_um([1, 40, 1000]).tolist()
    [100.0, 2.5, 0.5]
    """
    power = array_between("magnification", magnification, 0, np.inf)
    return np.maximum(value("eye_resolution_um") / power, value("optical_limit_um"))


def _band(length_um: FloatArray, min_wavelength_um: float | None) -> tuple[FloatArray, FloatArray]:
    """Shares of the height and slope variance on waves not shorter than `min_wavelength_um`.

    The spectrum of exp(−(τ/l)²) is proportional to exp(−k²l²/4), so with a = k_max l/2 the
    shares are the regularised gamma functions P(1/2, a²) = erf a and P(3/2, a²).
    """
    from scipy.special import gammainc

    if min_wavelength_um is None:
        return np.ones_like(length_um), np.ones_like(length_um)
    a = np.pi * length_um / positive("min_wavelength_um", min_wavelength_um)
    return np.asarray(gammainc(0.5, a * a)), np.asarray(gammainc(1.5, a * a))


def teeth_per_mm(length_um: ArrayLike, *, min_wavelength_um: float | None = None) -> FloatArray:
    """Teeth per millimetre of edge: rises of the edge line through its mean, by Rice's formula.

    ν = (1/2π) √(m₂/m₀), where m₀ and m₂ are the variances of height and slope. For the correlation
    exp(−(τ/l)²), m₂/m₀ = 2/l² and ν = 1/(√2 π l) (theory T23); waves shorter than
    `min_wavelength_um` are left out of both variances.

    Parameters
    ----------
    length_um : array_like (...)
        Correlation length along the edge [µm].
    min_wavelength_um : float, optional
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
    >>> from edgekit.edge_finish.edge_line import teeth_per_mm
    >>> teeth_per_mm([2.0, 40.0]).round(1).tolist()
    [112.5, 5.6]
    >>> float(teeth_per_mm(2.0, min_wavelength_um=25.0).round(1))
    22.9
    """
    length = array_between("length_um", length_um, 0, np.inf, _POSITIVE)
    height, slope = _band(length, min_wavelength_um)
    return np.asarray(UM_PER_MM / (np.sqrt(2) * np.pi * length) * np.sqrt(slope / height))


def visible_rq_um(
    rq_um: ArrayLike, length_um: ArrayLike, *, min_wavelength_um: float | None = None
) -> FloatArray:
    """Rms height of the edge line on waves not shorter than `min_wavelength_um` [µm].

    Rq √(erf(π l/λ)) for the shortest wave λ (theory T23).

    Parameters
    ----------
    rq_um : array_like (...)
        Rms height of the edge line [µm].
    length_um : array_like (...)
        Correlation length along the edge [µm].
    min_wavelength_um : float, optional
        Shortest wave kept [µm].

    Returns
    -------
    ndarray (...)

    Examples
    --------
    >>> from edgekit.edge_finish.edge_line import visible_rq_um
    >>> round(float(visible_rq_um(0.2, 2.0, min_wavelength_um=25.0)), 3)
    0.105
    """
    rq = array_between("rq_um", rq_um, 0, np.inf, ends=True)
    length = array_between("length_um", length_um, 0, np.inf, _POSITIVE)
    rq, length = matched("rq_um and length_um", rq, length)
    height, _ = _band(length, min_wavelength_um)
    return np.asarray(rq * np.sqrt(height))
