"""Early wear of teeth: which points of an edge line carry the load, and what that costs them.

What is model here: a line load presses the edge on a flat counterface along the bisector of the
wedge; points of the edge line touch in the order of their height (the material-ratio curve) until
their rounded tips, each at the contact pressure the pair can bear, carry the load; each touching
point loses section in proportion to its share of the load (Archard). Teeth do not bend, break off
or fold over, and the counterface does not follow their shape.

What is evidence: the laws' constants, with the status the evidence table gives them. The wear
coefficient and the contact length are not measurements of a blade on a root. That teeth blunt
first is a result of the model; published blunting ranges from "visible after 15 to 45 strokes" to
"none after 90", and none of the studies separates lay from steel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.edge_finish.line_contact import LineContact, default_contact
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.record import Record

# Heights this close count as one level, and a step of the integration lowers no point by more.
# The error of the recession is of order one in it (tested); it is far below any Rq of interest.
_LEVEL_UM = 0.01
_MAX_STEPS = 20_000
_MAX_POINTS = 1_000_000


def gaussian_heights(rq_um: float, points: int = 400) -> FloatArray:
    """Heights of a Gaussian edge line at equal shares of its length, highest first.

    Parameters
    ----------
    rq_um : float
        Rms height of the edge line in the face [µm]; 0 gives a smooth edge.
    points : int
        Number of shares Q.

    Returns
    -------
    ndarray (Q,)
        Heights [µm]: z_i = Rq Φ⁻¹(1 − (i + ½)/Q).

    Examples
    --------
    >>> from edgekit.edge_finish.tooth_wear import gaussian_heights
    >>> gaussian_heights(1.0, 4).round(2).tolist()
    [1.15, 0.32, -0.32, -1.15]
    """
    from scipy.special import ndtri

    size = checks.count("points", points, most=_MAX_POINTS)
    share = (np.arange(size) + 0.5) / size
    return np.asarray(-checks.at_least("rq_um", rq_um, 0) * ndtri(share))


class ToothWear(Record):
    """Wear of an edge line against strokes.

    Attributes
    ----------
    strokes : ndarray (N,)
        Strokes done.
    recession_um : ndarray (N,)
        Mean recession of the edge line along the bisector [µm].
    top_recession_um : ndarray (N,)
        How far the highest point of the line has come down, along the bisector [µm].
    radius_um : ndarray (N,)
        Edge radius, mean over the length [µm].
    contact_radius_um : ndarray (N,)
        Edge radius, mean over what bears the load [µm]: what a test stick feels.
    contact_share : ndarray (N,)
        Share of the length that bears the load [1].
    worn_area_um2 : ndarray (N,)
        Section worn away, mean over the length [µm²].
    """

    strokes: FloatArray
    recession_um: FloatArray
    top_recession_um: FloatArray
    radius_um: FloatArray
    contact_radius_um: FloatArray
    contact_share: FloatArray
    worn_area_um2: FloatArray

    @property
    def statement(self) -> str:
        """What of this is model and what is evidence, to be shown with the numbers."""
        return (
            "Model: teeth touch by height, bear the softer body's hardness, lose section by "
            "Archard's law. Evidence: hardness published; wear coefficient, contact length and "
            "stroke assumed. Published blunting contradicts itself (15-45 strokes; none in 90)."
        )


class _Wedge(NamedTuple):
    """Factors of a circle of radius r tangent to both sides of a wedge."""

    apex: float  # recession of its tip along the bisector, over r
    area: float  # section lost, over r²
    width: float  # edge width between the tangent points, over r
    height: float  # part along the bisector of a move of the edge along the face


def _wedge(internal_angle_deg: float) -> _Wedge:
    half = math.radians(checks.between("internal_angle_deg", internal_angle_deg, 0, 180)) / 2
    return _Wedge(
        apex=1 / math.sin(half) - 1,
        area=1 / math.tan(half) - (math.pi / 2 - half),
        width=2 * math.cos(half),
        height=math.cos(half),
    )


def wear_teeth(
    heights_um: ArrayLike,
    *,
    internal_angle_deg: float,
    strokes: ArrayLike,
    contact: LineContact | None = None,
    sharp_radius_um: float | None = None,
    level_um: float = _LEVEL_UM,
) -> ToothWear:
    """Wear an edge line by strokes under a line load.

    A point of the line with radius r stands r(1/sin(β/2) − 1) below its sharp apex and has lost the
    section r²(cot(β/2) − (π − β)/2) (theory T12). Of the line load q, points take p · 2r cos(β/2)
    each in the order of height, p being the softer body's hardness, until q is borne; points of one
    level share what is left for them by their widths, which wears them down together. If all touch
    and q is more than they bear, all share it by width: the edge has sunk in. A stroke takes k q_i
    s / H from a point that bears q_i, so the mean section lost is k q s / H per stroke with any
    teeth.

    Parameters
    ----------
    heights_um : array_like (Q,)
        Heights of the line in the face, outward, at equal shares of its length [µm], in any
        order: a material-ratio curve read at evenly spaced ratios. All equal: a smooth edge.
    internal_angle_deg : float
        Internal angle β [deg].
    strokes : array_like (N,)
        Strokes at which to report, not falling, 0 or more.
    contact : LineContact, optional
        The contact; `default_contact` if not given.
    sharp_radius_um : float, optional
        Edge radius of every point at the start [µm]; ``sharp_radius_um`` of the evidence table.
    level_um : float, optional
        Height difference that counts as one level, and step of the integration [µm].

    Returns
    -------
    ToothWear

    Raises
    ------
    EdgekitError
        For strokes that fall or are negative, and for levels too fine for this number of strokes.

    Notes
    -----
    Archard 1953, J Appl Phys 24:981 (V = k F s / H). For a smooth edge the result is (theory T13)
    r² = r₀² + n k q s / (H (cot(β/2) − (π − β)/2)).

    Examples
    --------
    >>> from edgekit.edge_finish.tooth_wear import gaussian_heights, wear_teeth
    >>> toothed = wear_teeth(gaussian_heights(0.6), internal_angle_deg=75, strokes=[0, 45])
    >>> smooth = wear_teeth(gaussian_heights(0.0), internal_angle_deg=75, strokes=[0, 45])
    >>> bool(toothed.worn_area_um2[1].round(6) == smooth.worn_area_um2[1].round(6))
    True
    """
    contact = default_contact() if contact is None else contact
    checks.instance("contact", contact, LineContact, "Give a LineContact, or None for the default.")
    wedge = _wedge(internal_angle_deg)
    start = value("sharp_radius_um") if sharp_radius_um is None else sharp_radius_um
    heights = checks.frozen_array("heights_um", heights_um, (None,))
    if not heights.size:
        remedy = "Give the edge line."
        raise BadArgument("heights_um must hold a height", 0, remedy, argument="heights_um")
    report = checks.array_between("strokes", np.atleast_1d(strokes), 0, np.inf, ends=True)
    if report.ndim != 1 or not report.size or not (np.diff(report) >= 0).all():
        what = "strokes must be a list that does not fall"
        raise BadArgument(what, report, "Sort the strokes.", argument="strokes")
    radius = np.full(heights.size, checks.positive("sharp_radius_um", start))
    lowered = wedge.apex * radius  # a rounded apex stands lower than the sharp one
    line = _Line(
        sharp=-np.sort(-heights) * wedge.height + lowered,
        fresh=wedge.area * radius**2,
        area=wedge.area * radius**2,
        wedge=wedge,
        contact=contact,
        level_um=checks.positive("level_um", level_um),
    )
    rows = [line.worn_to(float(target)).report() for target in report]
    columns = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    return ToothWear(strokes=report, **columns)


@dataclass(kw_only=True)
class _Line:
    """The edge line while it wears; the one object here that changes.

    Of each point: ``sharp``, the height of its sharp apex; ``fresh, area``, the section that the
    rounded apex lacks, at the start and now.
    """

    sharp: FloatArray
    fresh: FloatArray
    area: FloatArray
    wedge: _Wedge
    contact: LineContact
    level_um: float
    strokes: float = 0.0
    steps: int = 0

    @property
    def radius(self) -> FloatArray:
        """Edge radius of each point [µm]."""
        return np.asarray(np.sqrt(self.area / self.wedge.area))

    @property
    def height(self) -> FloatArray:
        """Height of each rounded tip [µm]."""
        return np.asarray(self.sharp - self.wedge.apex * self.radius)

    def load_share(self) -> FloatArray:
        """Share of the load on each point, summing to 1, the highest points loaded first."""
        width = self.wedge.width * self.radius
        height = self.height
        wanted = self.contact.contact_um * width.size
        if wanted <= 0:
            return np.zeros(width.size)
        order = np.argsort(-height, kind="stable")
        reached = np.cumsum(width[order])
        if reached[-1] <= wanted:
            return np.asarray(width / width.sum())
        last = order[np.searchsorted(reached, wanted)]
        above = height > height[last] + self.level_um
        level = np.abs(height - height[last]) <= self.level_um
        left = wanted - width[above].sum()
        load = np.where(above, width, 0.0) + np.where(level, width * left / width[level].sum(), 0.0)
        return np.asarray(load / wanted)

    def worn_to(self, strokes: float) -> _Line:
        """This line, worn up to a number of strokes, no point by more than a level in one step."""
        while self.strokes < strokes:
            self.steps += 1
            if self.steps > _MAX_STEPS:
                raise Cannot(
                    "the wear takes too many steps",
                    strokes,
                    "Give fewer strokes or a larger level_um.",
                )
            # Section lost by each point in a stroke, and how fast the fastest one comes down.
            rate = self.load_share() * self.contact.area_um2_per_stroke * self.area.size
            fall = self.wedge.apex / (2 * self.wedge.area) * float((rate / self.radius).max())
            step = min(strokes - self.strokes, self.level_um / fall if fall > 0 else math.inf)
            self.area = self.area + step * rate
            self.strokes += step
        return self

    def report(self) -> dict[str, float]:
        """Values of the fields of `ToothWear` now."""
        share = self.load_share()
        height, radius = self.height, self.radius
        first = self.sharp - self.wedge.apex * np.sqrt(self.fresh / self.wedge.area)
        loaded, mean_radius = float(share.sum()), float(radius.mean())
        return {
            "recession_um": float((first - height).mean()),
            "top_recession_um": float(first.max() - height.max()),
            "radius_um": mean_radius,
            "contact_radius_um": float((share * radius).sum()) / loaded if loaded else mean_radius,
            "contact_share": float(np.count_nonzero(share) / share.size),
            "worn_area_um2": float((self.area - self.fresh).mean()),
        }
