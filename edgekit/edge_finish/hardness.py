"""Hardness numbers into one another, and into pressure.

Conversions are approximate: ASTM E140 asks for the measured value to be reported beside the
converted one, and holds for non-austenitic steels only.
"""

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, array_between

__all__ = ["hardness_pa", "rockwell_c", "vickers"]

# ASTM E140 table 1 runs from 20 to 68 HRC; the formula is not used beyond it.
_HRC_LOW, _HRC_HIGH = 20.0, 68.0
_PA_PER_HV = 9.80665e6  # HV is kilogram-force per mm²


def vickers(hrc: ArrayLike) -> FloatArray:
    """Vickers hardness from Rockwell C.

    HV = (223 HRC + 14500) / (100 − HRC).

    Parameters
    ----------
    hrc : array_like (...)
        Rockwell C hardness, 20 to 68.

    Returns
    -------
    ndarray (...)
        Vickers hardness [HV].

    Raises
    ------
    EdgekitError
        Outside 20 to 68 HRC.

    Notes
    -----
    The rational form is a public fit to ASTM E140 table 1: within 0.6 HV of it from 50 to 62 HRC
    and within 4 HV at 65; above that it reads low (about 13 HV at 68, table from memory).

    Examples
    --------
    >>> from edgekit.edge_finish.hardness import vickers
    >>> vickers([50, 58]).round().tolist()
    [513.0, 653.0]
    """
    c = array_between("hrc", hrc, _HRC_LOW, _HRC_HIGH, "ASTM E140 runs from 20 to 68.", ends=True)
    return np.asarray((223 * c + 14500) / (100 - c))


def rockwell_c(hv: ArrayLike) -> FloatArray:
    """Rockwell C hardness from Vickers, the exact inverse of `vickers`.

    HRC = (100 HV − 14500) / (HV + 223).

    Parameters
    ----------
    hv : array_like (...)
        Vickers hardness [HV], 237 to 927 (20 to 68 HRC).

    Returns
    -------
    ndarray (...)
        Rockwell C hardness.

    Raises
    ------
    EdgekitError
        Outside that range: softer steel is not measured on the C scale.

    Examples
    --------
    >>> from edgekit.edge_finish.hardness import rockwell_c
    >>> round(float(rockwell_c(653)))
    58
    """
    low, high = vickers([_HRC_LOW, _HRC_HIGH])
    v = array_between("hv", hv, low, high, "Rockwell C spans 237 to 927 HV.", ends=True)
    return np.asarray((100 * v - 14500) / (v + 223))


def hardness_pa(hv: ArrayLike) -> FloatArray:
    """Vickers hardness as a pressure [Pa]: 9.80665e6 times the number.

    Examples
    --------
    >>> from edgekit.edge_finish.hardness import hardness_pa
    >>> round(float(hardness_pa(653)) / 1e9, 3)
    6.404
    """
    return np.asarray(_PA_PER_HV * array_between("hv", hv, 0, np.inf))
