"""Dull edges: the geometry of a rounded apex, and laws by which its radius grows in use.

A law is an object with one method, `after(radius_um, strokes)`: the radius at a place of an edge
after more strokes there, on a wedge of 75°; another wedge loses as much steel. Laws depend on the
present radius alone, so an edge that is not sharpened continues from there. The published evidence
conflicts (see the evidence table), so none of them is "the" law.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.errors import BadArgument
from edgekit.evidence_table import value
from edgekit.geometry.edge import check_angle_deg
from edgekit.record import Record

__all__ = [
    "DullEdge",
    "DullingLaw",
    "PowerDulling",
    "SaturatingDulling",
    "TableDulling",
    "dull_edge",
]


class DullEdge(Record):
    """A wedge of internal angle β whose apex is rounded to radius r; see `dull_edge`."""

    edge_width_um: FloatArray
    apex_recession_um: FloatArray
    along_face_um: FloatArray
    lateral_depth_um: FloatArray
    worn_area_um2: FloatArray


def dull_edge(internal_angle_deg: float, radius_um: ArrayLike) -> DullEdge:
    """Dimensions of an apex rounded to a circle tangent to face and flank (theory T12).

    Parameters
    ----------
    internal_angle_deg : float
        β [deg].
    radius_um : array
        Radius r of any shape [µm].

    Returns
    -------
    DullEdge
        ``edge_width_um`` between the points of tangency, 2 r cos(β/2); ``apex_recession_um``
        r (1/sin(β/2) - 1); ``along_face_um`` from the lost apex to the face's point of tangency,
        r cot(β/2); ``lateral_depth_um`` normal to the flank that clears it, r (1 + cosβ);
        ``worn_area_um2`` r² (cot(β/2) - (π - β)/2).

    Raises
    ------
    BadArgument
        An angle outside 10° to 170°, a radius below 0, or not numbers.

    Examples
    --------
    >>> import edgekit as ek
    >>> worn = ek.dull_edge(75, 4.0)
    >>> round(float(worn.along_face_um), 3), round(float(worn.lateral_depth_um), 3)
    (5.213, 5.035)
    """
    angle = checks.finite("internal_angle_deg", internal_angle_deg, "Give degrees, such as 75.")
    beta = np.radians(check_angle_deg("internal_angle_deg", angle))
    r = checks.array_between("radius_um", radius_um, 0, np.inf, "Give micrometres.", ends=True)
    half = beta / 2
    return DullEdge(
        edge_width_um=2 * r * np.cos(half),
        apex_recession_um=r * (1 / np.sin(half) - 1),
        along_face_um=r / np.tan(half),
        lateral_depth_um=r * (1 + np.cos(beta)),
        worn_area_um2=r**2 * (1 / np.tan(half) - (np.pi - beta) / 2),
    )


@runtime_checkable
class DullingLaw(Protocol):
    """How the edge radius grows with strokes.

    Examples
    --------
    A step at every fifth stroke:

    >>> from dataclasses import dataclass
    >>> import edgekit as ek
    >>> @dataclass(frozen=True)
    ... class Stepwise:
    ...     step_um: float = 0.4
    ...
    ...     def after(self, radius_um, strokes):
    ...         return radius_um + self.step_um * strokes / 5
    >>> ek.testing.check_dulling_law(Stepwise())
    >>> worn = ek.use(ek.patterns.area_specific_curette(), ek.Use(strokes=10.0, law=Stepwise()))
    >>> bool((worn.radius_um("used") > ek.Use().sharp_radius_um).all())
    True
    """

    def after(self, radius_um: FloatArray, strokes: FloatArray) -> FloatArray:
        """Radius after `strokes` more at a place, from `radius_um`; both broadcast."""
        ...


def _checked(radius_um: ArrayLike, strokes: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Radii and numbers of strokes of 0 or more."""
    radius = checks.array_between("radius_um", radius_um, 0, np.inf, "Give micrometres.", ends=True)
    return radius, checks.array_between("strokes", strokes, 0, np.inf, "Give a count.", ends=True)


@dataclass(frozen=True, kw_only=True)
class PowerDulling:
    """r^(1/b) grows by `rate` per stroke: r = (r₀^(1/b) + rate n)^b.

    With b = 1/2 each stroke wears away the same area, r² = r₀² + c n, which is Archard's law for a
    rounded wedge at constant load (theory T13). `rate` is in µm^(1/b) per stroke.

    Examples
    --------
    >>> from edgekit.life.dulling import PowerDulling
    >>> round(float(PowerDulling().after(1.5, 45)), 2)
    4.65
    """

    rate: float = value("dull_rate_um2_per_stroke")
    exponent: float = value("dull_exponent")

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            rate=checks.at_least("rate", self.rate, 0.0),
            exponent=checks.between("exponent", self.exponent, 0.0, 5.0, "Give b, such as 0.5."),
        )

    @classmethod
    def through(
        cls, *, radius_um: float, strokes: float, sharp_radius_um: float, exponent: float
    ) -> PowerDulling:
        """The law of a given exponent by which a sharp radius grows to `radius_um` in `strokes`.

        Examples
        --------
        >>> from edgekit.life.dulling import PowerDulling
        >>> law = PowerDulling.through(
        ...     radius_um=4.65, strokes=45, sharp_radius_um=1.5, exponent=0.2)
        >>> round(float(law.after(1.5, 45)), 2)
        4.65
        """
        power = 1 / checks.between("exponent", exponent, 0.0, 5.0)
        grown = (
            checks.positive("radius_um", radius_um) ** power
            - checks.at_least("sharp_radius_um", sharp_radius_um, 0.0) ** power
        )
        return cls(rate=grown / checks.positive("strokes", strokes), exponent=exponent)

    def after(self, radius_um: FloatArray, strokes: FloatArray) -> FloatArray:
        """See the class."""
        radius, count = _checked(radius_um, strokes)
        return np.asarray((radius ** (1 / self.exponent) + self.rate * count) ** self.exponent)


@dataclass(frozen=True, kw_only=True)
class SaturatingDulling:
    """The radius approaches a limit: r = limit - (limit - r₀) exp(-n / strokes).

    A radius already above the limit does not change.

    Examples
    --------
    >>> from edgekit.life.dulling import SaturatingDulling
    >>> round(float(SaturatingDulling(limit_um=6.0, strokes=30).after(1.5, 30)), 2)
    4.34
    """

    limit_um: float
    strokes: float

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            limit_um=checks.positive("limit_um", self.limit_um),
            strokes=checks.positive("strokes", self.strokes),
        )

    def after(self, radius_um: FloatArray, strokes: FloatArray) -> FloatArray:
        """See the class."""
        radius, count = _checked(radius_um, strokes)
        missing = np.maximum(self.limit_um - radius, 0.0)
        return np.asarray(radius + missing * -np.expm1(-count / self.strokes))


class TableDulling(Record):
    """Measured radii at numbers of strokes, with straight lines between and beyond them.

    Examples
    --------
    >>> from edgekit.life.dulling import TableDulling
    >>> law = TableDulling(strokes=[0, 15, 45], radius_um=[1.5, 3, 5])
    >>> float(law.after(3.0, 15))
    4.0
    """

    strokes: FloatArray
    radius_um: FloatArray

    def __post_init__(self) -> None:
        strokes = checks.frozen_array("strokes", self.strokes, (None,))
        radius = checks.frozen_array("radius_um", self.radius_um, strokes.shape)
        if len(strokes) < 2 or not ((np.diff(strokes) > 0) & (np.diff(radius) > 0)).all():
            raise BadArgument(
                "strokes and radius_um must both rise, over two rows or more",
                radius.tolist(),
                "Sort the table by strokes; average neighbouring readings where the radius falls.",
            )
        object.__setattr__(self, "strokes", strokes)
        object.__setattr__(self, "radius_um", radius)
        super().__post_init__()

    def after(self, radius_um: FloatArray, strokes: FloatArray) -> FloatArray:
        """See the class."""
        radius, count = _checked(radius_um, strokes)
        worn = _line(radius, self.radius_um, self.strokes)
        grown = _line(worn + count, self.strokes, self.radius_um)
        return np.asarray(np.where(count > 0, grown, radius))


def strokes_until(law: DullingLaw, radius_um: FloatArray, limit_um: float) -> FloatArray | None:
    """Strokes (R,) until radii have grown to a limit, where the law tells."""
    if type(law) is PowerDulling:
        power = 1 / law.exponent
        left = np.maximum(limit_um**power - radius_um**power, 0.0)
        return left / law.rate if law.rate > 0 else np.where(left > 0, np.inf, 0.0)
    if type(law) is SaturatingDulling:
        missing, left = law.limit_um - np.minimum(radius_um, limit_um), law.limit_um - limit_um
        never = np.where(radius_um < limit_um, np.inf, 0.0)
        return law.strokes * np.log(np.maximum(missing / left, 1.0)) if left > 0 else never
    return None


def _line(x: FloatArray, xs: FloatArray, ys: FloatArray) -> FloatArray:
    """Straight lines through (xs, ys), the first and last extended."""
    i = np.clip(np.searchsorted(xs, x) - 1, 0, len(xs) - 2)
    return np.asarray(ys[i] + (x - xs[i]) * (ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i]))
