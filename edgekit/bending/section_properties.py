"""Exact section properties of polygons and the bending stress in them, many outlines at once."""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray, frozen_array, matched
from edgekit.errors import BadArgument
from edgekit.record import Record

__all__ = ["SectionProperties", "bending_stress_mpa", "section_properties", "stress_in"]

# An outline whose area is below this share of its bounding box squared is a line.
_MIN_AREA = 1e-12


class SectionProperties(Record):
    """Properties of outlines ``(..., V, 2)`` in their own x, y axes.

    Attributes
    ----------
    area_mm2 : ndarray (...)
        Area A [mm²].
    centroid_mm : ndarray (..., 2)
        Centroid x̄, ȳ [mm].
    second_moment_mm4 : ndarray (..., 3)
        About axes through the centroid [mm⁴], in the order xx, yy, xy:
        ∫ (y − ȳ)² dA (bending about the x axis), ∫ (x − x̄)² dA (about the y axis),
        ∫ (x − x̄)(y − ȳ) dA.
    modulus_mm3 : ndarray (..., 2)
        Elastic section modulus [mm³] to the farthest fibre, for bending about the x axis,
        I_xx / max |y − ȳ|, and about the y axis, I_yy / max |x − x̄|. They give the stress only
        where x and y are principal axes; `bending_stress_mpa` holds in general.
    fibre_modulus_mm3 : ndarray (..., 2, 2)
        The modulus to either fibre: [axis, (low, high)] with low the fibre at the smallest y
        (bending about x) or smallest x (about y).
    """

    area_mm2: FloatArray
    centroid_mm: FloatArray
    second_moment_mm4: FloatArray
    modulus_mm3: FloatArray
    fibre_modulus_mm3: FloatArray


def section_properties(outline_mm: ArrayLike) -> SectionProperties:
    """Area, centroid, second moments and section moduli of polygons.

    By Green's theorem (theory T25), with c_i = x_i y_{i+1} − x_{i+1} y_i: A = ½ Σ c_i,
    6A x̄ = Σ (x_i + x_{i+1}) c_i, 12 I_xx = Σ (y_i² + y_i y_{i+1} + y_{i+1}²) c_i,
    24 I_xy = Σ (x_i y_{i+1} + 2 x_i y_i + 2 x_{i+1} y_{i+1} + x_{i+1} y_i) c_i, all taken about
    a point near the centroid, so that a section far from the origin loses no digits.

    Parameters
    ----------
    outline_mm : array_like (..., V, 2)
        Corners of each outline in order, either way round [mm]; the last joins the first, and
        repeated corners are allowed.

    Returns
    -------
    SectionProperties

    Raises
    ------
    EdgekitError
        For fewer than three corners, an outline without area, or one that crosses or touches
        itself.

    Notes
    -----
    Handbook: triangle of base b and height h, I = b h³/36 and Z = b h²/24 to the apex.

    Examples
    --------
    >>> from edgekit.bending.section_properties import section_properties
    >>> triangle = section_properties([[0, 0], [1, 0], [0.5, 1]])
    >>> float(triangle.area_mm2), float((triangle.modulus_mm3[0] * 24).round(9))
    (0.5, 1.0)
    """
    outline = frozen_array("outline_mm", outline_mm)
    if outline.ndim < 2 or outline.shape[-1] != 2 or outline.shape[-2] < 3:
        raise BadArgument(
            "outline_mm must have shape (..., V, 2) with V of 3 or more",
            outline.shape,
            "Give the corners of each outline, one row per corner.",
            argument="outline_mm",
        )
    return _integrals(*_checked(outline))


class _Local(NamedTuple):
    """Corners of outlines about an origin, as separate contiguous x and y: sums over the corners
    of one outline then run along memory, which is several times faster than over pairs.
    """

    x: FloatArray
    y: FloatArray
    u: FloatArray  # x and y of the corner that follows
    v: FloatArray
    c: FloatArray  # x v − u y, counter-clockwise positive
    area: FloatArray  # signed

    def centroid(self) -> tuple[FloatArray, FloatArray]:
        six = 6 * self.area
        x = np.einsum("...i,...i->...", self.x + self.u, self.c) / six
        y = np.einsum("...i,...i->...", self.y + self.v, self.c) / six
        return np.asarray(x), np.asarray(y)


def _local(x: FloatArray, y: FloatArray) -> _Local:
    u, v = np.empty_like(x), np.empty_like(y)
    u[..., :-1], u[..., -1] = x[..., 1:], x[..., 0]
    v[..., :-1], v[..., -1] = y[..., 1:], y[..., 0]
    c = x * v - u * y
    return _Local(x, y, u, v, c, np.asarray(c.sum(axis=-1) / 2))


def _checked(outline: FloatArray) -> tuple[_Local, FloatArray]:
    """Corners about the centroid, and the centroid; bad outlines are refused."""
    x, y = np.ascontiguousarray(outline[..., 0]), np.ascontiguousarray(outline[..., 1])
    # The mean of the corners lies near enough for the digits of the first pass.
    mx, my = x.mean(axis=-1), y.mean(axis=-1)
    near = _local(x - mx[..., None], y - my[..., None])
    size = np.maximum(np.ptp(x, axis=-1), np.ptp(y, axis=-1))
    thin = ~(np.abs(near.area) > _MIN_AREA * size**2)
    if thin.any():
        raise BadArgument(
            "outline_mm must enclose an area",
            float(near.area[thin].flat[0]),
            f"Outline {np.argwhere(thin)[0].tolist()} is a line, a point or a figure of eight; "
            "give its corners in order.",
            argument="outline_mm",
        )
    dx, dy = near.centroid()
    local = _local(near.x - dx[..., None], near.y - dy[..., None])
    _refuse_crossings(outline, local)
    return local, np.stack([mx + dx, my + dy], axis=-1)


def _refuse_crossings(outline: FloatArray, local: _Local) -> None:
    """Refuse outlines that cross or touch themselves.

    An outline that turns in one direction about its centroid, once round, cannot. Sections of
    blades do, and the check takes one pass. The others are searched edge against edge.
    """
    x, y, u, v, c, area = local
    forward = c * np.sign(area)[..., None]
    star = ((forward > 0) | ((x == u) & (y == v))).all(axis=-1)
    # Once round means that the outline crosses a line through the centroid twice.
    star &= np.count_nonzero((y >= 0) != (v >= 0), axis=-1) == 2
    for index in np.argwhere(~star):
        where = tuple(int(i) for i in index)
        corners = outline[where]
        corners = corners[(corners != np.roll(corners, -1, axis=0)).any(axis=1)]
        if _crosses(corners):
            raise BadArgument(
                f"outline_mm {where} must not cross or touch itself",
                corners,
                "Give its corners in order, once round.",
            )


def _crosses(corners: FloatArray) -> bool:
    """Whether any two edges of one closed polygon without repeated corners meet."""
    a, b = corners, np.roll(corners, -1, axis=0)
    along = b - a

    def side(of: FloatArray) -> FloatArray:
        """Sign of each point (columns) against each edge (rows), rounding counted as on it."""
        away = of[None] - a[:, None]
        value = along[:, None, 0] * away[..., 1] - along[:, None, 1] * away[..., 0]
        scale = np.abs(along).max(axis=1)[:, None] * np.abs(away).max(axis=-1)
        return np.asarray(np.sign(value) * (np.abs(value) > 1e-14 * scale))

    first, second = side(a), side(b)
    straddles = first * second <= 0
    low, high = np.minimum(a, b), np.maximum(a, b)
    boxes = ((low[:, None] <= high[None]) & (low[None] <= high[:, None])).all(axis=-1)
    meets = straddles & straddles.T & boxes
    n = len(corners)
    gap = (np.arange(n)[:, None] - np.arange(n)[None]) % n
    # Neighbours share a corner. Where they overlap, the outline doubles back, and then one of them
    # also meets the edge on the far side of the other.
    return bool(meets[(gap > 1) & (gap < n - 1)].any())


def _integrals(local: _Local, origin: FloatArray) -> SectionProperties:
    x, y, u, v, c, area = local
    c = c * np.sign(area)[..., None]

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("...i,...i->...", values, c))

    ixx, iyy = total(y * y + y * v + v * v) / 12, total(x * x + x * u + u * u) / 12
    ixy = total(x * v + 2 * x * y + 2 * u * v + u * y) / 24
    # [axis, (low, high)]: y for bending about x, then x for bending about y.
    ends = [-y.min(axis=-1), y.max(axis=-1), -x.min(axis=-1), x.max(axis=-1)]
    reach = np.stack(ends, axis=-1).reshape(*area.shape, 2, 2)
    moment = np.stack([ixx, iyy], axis=-1)
    moduli = moment[..., None] / reach
    return SectionProperties(
        area_mm2=np.abs(area),
        centroid_mm=origin,
        second_moment_mm4=np.stack([ixx, iyy, ixy], axis=-1),
        modulus_mm3=moduli.min(axis=-1),
        fibre_modulus_mm3=moduli,
    )


def bending_stress_mpa(outline_mm: ArrayLike, moment_nmm: ArrayLike) -> FloatArray:
    """Largest bending stress in a section under moments about x and y, for any principal axes.

    σ = [(M_x I_yy + M_y I_xy) y − (M_y I_xx + M_x I_xy) x] / (I_xx I_yy − I_xy²), x and y from
    the centroid (theory T26); the largest |σ| lies at a corner.

    Parameters
    ----------
    outline_mm : array_like (..., V, 2)
        Outlines [mm].
    moment_nmm : array_like (..., 2)
        Bending moments M_x, M_y about the x and y axes [N mm], right-handed.

    Returns
    -------
    ndarray (...)
        Largest absolute stress [N/mm² = MPa].

    Raises
    ------
    EdgekitError
        As for `section_properties`, or for moments of another shape.

    Notes
    -----
    Unsymmetric bending of an Euler-Bernoulli beam; any handbook of strength of materials.

    Examples
    --------
    >>> from edgekit.bending.section_properties import bending_stress_mpa
    >>> square = [[0, 0], [2, 0], [2, 2], [0, 2]]  # modulus 4/3 mm³
    >>> float(bending_stress_mpa(square, [4.0, 0.0]).round(9))
    3.0
    """
    section = section_properties(outline_mm)
    outline = frozen_array("outline_mm", outline_mm)
    moment = frozen_array("moment_nmm", moment_nmm)
    if moment.ndim < 1 or moment.shape[-1] != 2:
        raise BadArgument(
            "moment_nmm must have shape (..., 2)",
            moment.shape,
            "Give moments about x and y.",
            argument="moment_nmm",
        )
    return stress_in(section, outline, moment)


def stress_in(
    section: SectionProperties, outline_mm: FloatArray, moment_nmm: FloatArray
) -> FloatArray:
    """Largest |σ| as in `bending_stress_mpa`, for outlines whose properties are known."""
    ixx, iyy, ixy = np.moveaxis(section.second_moment_mm4, -1, 0)
    ixx, iyy, ixy, mx, my = matched(
        "outlines and moments", ixx, iyy, ixy, moment_nmm[..., 0], moment_nmm[..., 1]
    )
    determinant = ixx * iyy - ixy**2
    per_y = (mx * iyy + my * ixy) / determinant
    per_x = -(my * ixx + mx * ixy) / determinant
    away = outline_mm - section.centroid_mm[..., None, :]
    stress = per_y[..., None] * away[..., 1] + per_x[..., None] * away[..., 0]
    return np.asarray(np.abs(stress).max(axis=-1))
