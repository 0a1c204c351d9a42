"""The material-ratio (Abbott-Firestone) curve of a profile, and the Rk family read from it.

The profile is taken as straight between its points, so its heights on one interval are spread
evenly between the two ends: the curve of the profile is a sum of such pieces and is exact, however
unevenly the points lie.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, array_between, frozen_array
from edgekit.record import Record

# Every interval is taken to rise by at least this share of the total height: a plateau becomes a
# slight ramp, so the curve stays a continuous function with a continuous inverse.
_MIN_RISE = 1e-7
# Points of the curve, evenly spaced in ratio, on which the 40 % secant is slid: a multiple of 5
# plus 1, so that 40 % is a whole number of steps.
_SECANT_POINTS = 2001
_SECANT_SHARE = 0.4
# Secants this close to the flattest, relative to the total height, count as equally flat.
_TIE = 1e-6


@dataclass(frozen=True, kw_only=True)
class CoreParameters:
    """The Rk family, ISO 13565-2 / ISO 21920-2.

    Attributes
    ----------
    rk_um : float
        Core height [µm]: rise of the equivalent straight line over the full length.
    rpk_um, rvk_um : float
        Reduced peak height and valley depth [µm]: heights of the right triangles with the area
        of the peaks above, and of the valleys below, the core.
    mr1, mr2 : float
        Material ratios [1] at the top and the bottom of the core.
    """

    rk_um: float
    rpk_um: float
    rvk_um: float
    mr1: float
    mr2: float


class MaterialCurve(Record):
    """Share of the length above each level.

    Attributes
    ----------
    level_um : ndarray (M,)
        Levels [µm], rising, from the lowest point of the profile to the highest.
    share : ndarray (M,)
        Share of the length above that level [1], from 1 down to 0; straight between entries.
    """

    level_um: FloatArray
    share: FloatArray

    def ratio(self, level_um: ArrayLike) -> FloatArray:
        """Share of the length above `level_um` [1]."""
        level = frozen_array("level_um", level_um)
        return np.asarray(np.interp(level, self.level_um, self.share, left=1.0, right=0.0))

    def level_at(self, ratio: ArrayLike) -> FloatArray:
        """Level [µm] above which the share `ratio` of the length lies."""
        wanted = array_between("ratio", ratio, 0, 1, "Give shares of 1.", ends=True)
        return np.asarray(np.interp(wanted, self.share[::-1], self.level_um[::-1]))

    def core(self) -> CoreParameters:
        """Rk family of the curve.

        The secant over 40 % of the ratio is slid to where it is flattest; a straight line is
        fitted there by least squares in the direction of height and drawn on to ratios 0 and 1.

        Notes
        -----
        ISO 13565-2, kept in ISO 21920-2. The curve of a sine is not S-shaped and has no such
        core; where several secants are equally flat the middle one is taken. The two-step filter
        of ISO 13565-1, which keeps deep valleys from bending the mean line, is not applied.
        """
        ratio = np.linspace(0.0, 1.0, _SECANT_POINTS)
        level = self.level_at(ratio)
        reach = round(_SECANT_SHARE * (_SECANT_POINTS - 1))
        drop = level[:-reach] - level[reach:]
        flattest = np.flatnonzero(drop <= drop.min() + _TIE * (level[0] - level[-1]))
        start = int(flattest[flattest.size // 2])
        part = slice(start, start + reach + 1)
        offset = ratio[part] - ratio[part].mean()
        slope = (offset @ level[part]) / (offset @ offset)
        top = level[part].mean() - slope * ratio[part].mean()
        bottom = top + slope
        below = 1 - self.share
        mr1, mr2 = (float(value) for value in self.ratio([top, bottom]))
        return CoreParameters(
            rk_um=float(top - bottom),
            rpk_um=_triangle(_area(self.level_um, self.share, float(top)), mr1),
            rvk_um=_triangle(_area(-self.level_um[::-1], below[::-1], -float(bottom)), 1 - mr2),
            mr1=mr1,
            mr2=mr2,
        )


def _area(level: FloatArray, share: FloatArray, start: float) -> float:
    """Exact integral of a piecewise-straight share from `start` to the highest level.

    It is the area of the profile above `start`, per length.
    """
    if start >= level[-1]:
        return 0.0
    keep = level > start
    z = np.concatenate([[start], level[keep]])
    y = np.concatenate([[np.interp(start, level, share)], share[keep]])
    return float(np.sum(np.diff(z) * (y[1:] + y[:-1])) / 2)


def _triangle(area: float, base: float) -> float:
    """Height of the right triangle with this area and base; 0 where there is no area.

    The least rise of a plateau leaves areas of its own size, which are not peaks.
    """
    return 2 * area / base if base > _MIN_RISE else 0.0


def material_curve(x_um: FloatArray, z_um: FloatArray) -> MaterialCurve:
    """Exact material-ratio curve of a profile that is straight between its points.

    An interval of length w whose heights run from a to b puts the density w/|b − a| on the
    levels between them; the share above a level is the integral of all densities above it.

    Parameters
    ----------
    x_um, z_um : ndarray (N,)
        Positions, strictly rising, and heights [µm].

    Returns
    -------
    MaterialCurve

    Examples
    --------
    >>> import numpy as np
    >>> from edgekit.edge_finish.material_curve import material_curve
    >>> curve = material_curve(np.array([0.0, 1.0, 4.0]), np.array([0.0, 2.0, 0.0]))
    >>> curve.ratio([0.0, 0.5, 1.0, 2.0]).tolist()
    [1.0, 0.75, 0.5, 0.0]
    """
    weight = np.diff(x_um) / (x_um[-1] - x_um[0])
    low, high = np.minimum(z_um[1:], z_um[:-1]), np.maximum(z_um[1:], z_um[:-1])
    span = high.max() - low.min()
    if not span > 0:
        return MaterialCurve(level_um=np.full(2, low[0]), share=np.array([1.0, 0.0]))
    high = np.maximum(high, low + _MIN_RISE * span)
    density = weight / (high - low)
    level = np.concatenate([low, high])
    order = np.argsort(level, kind="stable")
    level = level[order]
    rise = np.cumsum(np.concatenate([density, -density])[order])
    below = np.concatenate([[0.0], np.cumsum(rise[:-1] * np.diff(level))])
    # Rounding in the two running sums is divided out, so that the ends are 1 and 0 exactly.
    return MaterialCurve(level_um=level, share=1 - np.maximum.accumulate(below) / below.max())
