"""Smooth curves and faces through noisy digitised points, with their uncertainty.

The stated rule: a penalised quintic spline, a knot for every second point or so. The penalty is the
integral of the squared third derivative, which leaves circles nearly alone; a last fit makes it
stiffer where the curve is quiet than where its curvature changes, as at a toe. Its weight is chosen
by generalised cross-validation. Uncertainty is the posterior covariance of Wahba (1983, J R Stat
Soc B 45:133), which carries the smoothing bias on average; its weight is the likeliest (restricted
maximum likelihood, Wahba 1985, Ann Stat 13:1378), and the distance of the curve from that fit is
added. Faces are fitted by least squares, as a plane or as a polynomial of the coordinates in their
best plane.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import scipy.linalg
from numpy.typing import NDArray
from scipy.interpolate import BSpline
from scipy.optimize import brentq

from edgekit.checks import FloatArray
from edgekit.errors import EdgekitError
from edgekit.geometry import vectors as vec
from edgekit.geometry.curve import SplineCurve, chord_parameter
from edgekit.record import Record
from edgekit.units import UM_PER_MM

DEGREE = 5
POINTS_PER_KNOT = 2
_WEIGHTS = 121  # tried, from following the data to a parabola
_PARABOLA = 3  # modes the penalty does not see
_CAUTION = 1.4  # generalised cross-validation with 1.4 x the trace: guards against undersmoothing
_MIN_COSINE = 1e-6  # modes that the data hardly show set no bound to the weights
_MIN_FREEDOM = 1e-3  # of the points: what the score takes as left when no freedom is
_STIFFENINGS = 1  # fits with local stiffness, after those; a second one loses coverage on waves
_WINDOWS = 20  # local means along the curve are taken over a twentieth of it
_MIN_ROUGHNESS = 0.1  # of the mean: bounds how much stiffer a quiet stretch may be
_REFITS = 2  # the chord parameter of noisy points is too long; re-measured on the smooth curve


class SmoothedCurve(Record):
    """A smooth curve through points (N, 3).

    ``freedom``: effective number of coefficients of each coordinate. ``factor`` (K, K): matrix L
    with noise² L Lᵀ the covariance of a coordinate's coefficients about the likeliest fit;
    ``doubt_mm`` (K, 3): that fit less the curve. ``residual_mm``, ``tangent`` (N, 3): what of each
    point's distance from the curve lies across it, and the curve's direction there. Noise along
    the curve moves a point's parameter instead, and leaves no residual to measure.
    """

    curve: SplineCurve
    parameter: FloatArray
    freedom: float
    factor: FloatArray
    doubt_mm: FloatArray
    residual_mm: FloatArray
    tangent: FloatArray

    @property
    def noise_um(self) -> float:
        """Standard deviation of one coordinate across the curve [µm]."""
        spare = max(len(self.residual_mm) - self.freedom, 1.0)
        return float(UM_PER_MM * np.sqrt((self.residual_mm**2).sum() / (2 * spare)))

    def noise_towards_mm(self, directions: FloatArray) -> FloatArray:
        """Noise (S,) along unit vectors (S, 3), from the points whose curve runs across them.

        Pictures give depth less well than the two directions across, so the noise has a direction.
        """
        n = len(self.residual_mm)
        total = ((directions @ self.residual_mm.T) ** 2).sum(axis=1)
        across = (1 - (directions @ self.tangent.T) ** 2).sum(axis=1)
        return np.asarray(np.sqrt(total / across * (n / max(n - self.freedom, 1.0))))

    def direction_sd_rad(self, u: FloatArray, towards: FloatArray) -> FloatArray:
        """Standard deviation (S,) of the tangent's lean towards unit vectors (S, 3) across it."""
        slopes = _basis(self.curve.spline.t).derivative()(u)
        noise = self.noise_towards_mm(towards) * np.linalg.norm(slopes @ self.factor, axis=1)
        _, velocity = self.curve.derivatives(u, 1)
        return np.asarray(
            np.hypot(noise, vec.dot(slopes @ self.doubt_mm, towards)) / vec.norm(velocity)
        )


def _basis(knots: FloatArray) -> BSpline[np.float64]:
    """All splines of the basis at once."""
    return BSpline(knots, np.eye(len(knots) - DEGREE - 1), DEGREE)


def _roughness(knots: FloatArray, stiffness: FloatArray | None) -> FloatArray:
    """Matrix R whose RᵀR is that of ∫ w (C''')² over the coefficients, by Gauss quadrature.

    `stiffness` holds w at evenly spaced parameters; without it w = 1 and the integral is exact.
    """
    breaks = np.unique(knots)
    nodes, weights = np.polynomial.legendre.leggauss(3)  # C''' squared has degree 4
    half = np.diff(breaks)[:, None] / 2
    at = ((breaks[:-1, None] + half) + half * nodes).ravel()
    value = _basis(knots).derivative(3)(at)
    share = (half * weights).ravel()
    if stiffness is not None:
        along = np.linspace(knots[0], knots[-1], len(stiffness))
        share = share * np.interp(at, along, stiffness)
    return np.asarray(value * np.sqrt(share)[:, None])


def _stiffness(third: FloatArray) -> FloatArray:
    """Local weight (S,) of the penalty from C''' (S, 3) of the last fit, 1 where it is stiffest.

    Where the curve turned out to change its curvature, as where a side runs into a toe, it may go
    on doing so; elsewhere it is held stiffer. Weights are inverse to the local mean square of
    C'''; the floor keeps them within a factor of ten or so.
    """
    square = (third**2).sum(axis=1)
    window = max(len(square) // _WINDOWS, 1) | 1
    padded = np.pad(square, window // 2, mode="edge")
    local = np.convolve(padded, np.full(window, 1 / window), mode="valid")
    weight = 1 / (local + _MIN_ROUGHNESS * max(float(local.mean()), 1e-300))
    return np.asarray(weight / weight.max())


class _Modes(NamedTuple):
    """Modes of the coefficients in which the data and the penalty are both diagonal.

    ``cosine, sine, power`` (K,): what each shows in the data and in the penalty, and how much of
    the data it holds; ``pull`` (K, 3), ``back`` (K, K): the data in the modes, and from modes to
    coefficients; ``outside``: sum of squares that no mode holds; ``n`` points.
    """

    cosine: FloatArray
    sine: FloatArray
    power: FloatArray
    pull: FloatArray
    back: FloatArray
    outside: float
    n: int

    @property
    def seen(self) -> NDArray[np.bool_]:
        return self.cosine > _MIN_COSINE

    def lost(self, log_weight: float) -> FloatArray:
        """Share (K,) of each mode that the penalty takes."""
        rough = np.exp(log_weight) * self.sine**2
        return np.asarray(rough / (self.cosine**2 + rough))

    def fit(self, weight: float) -> tuple[FloatArray, float, FloatArray]:
        """Coefficients (K, 3), freedom and factor (K, K) under a weight of the penalty."""
        both_squared = self.cosine**2 + weight * self.sine**2
        heights = self.back @ (self.pull / both_squared[:, None])
        freedom = float((self.cosine**2 / both_squared).sum())
        return heights, freedom, self.back / np.sqrt(both_squared)


def _modes(basis: FloatArray, roughness: FloatArray, points: FloatArray) -> _Modes:
    """The modes, which make every weight cheap to try.

    They come from the penalty's own matrix, smoothest last: products would square its condition,
    and the cosines of smooth modes are all 1 but for the last bits, so that the fit would move with
    these.
    """
    scale = np.linalg.norm(basis) / np.linalg.norm(roughness)
    both, triangle = scipy.linalg.qr(np.concatenate([basis, scale * roughness]), mode="economic")
    seen, bent = both[: len(basis)], both[len(basis) :]
    _, sine, modes = scipy.linalg.svd(bent, full_matrices=False)
    cosine = np.linalg.norm(seen @ modes.T, axis=0)
    shown = cosine > _MIN_COSINE
    pull = modes @ (seen.T @ points)
    power = np.where(shown, (pull**2).sum(axis=1) / np.where(shown, cosine, 1.0) ** 2, 0.0)
    span, *_ = scipy.linalg.svd(seen, full_matrices=False)
    span = span[:, : int(shown.sum())]
    outside = float(((points - span @ (span.T @ points)) ** 2).sum())
    back = scipy.linalg.solve_triangular(triangle, modes.T)
    return _Modes(cosine, sine, power, pull, back, outside, len(basis))


def _cross_validated(modes: _Modes) -> float:
    """Weight of least generalised cross-validation."""
    n = modes.n

    def parts(log_weight: float) -> tuple[float, float, float, float]:
        """Residual and freedom left, and their slopes by the logarithm of the weight."""
        lost = modes.lost(log_weight)
        slope = lost * (1 - lost)
        residual = modes.outside + (modes.power * lost**2).sum()
        freedom = n - _CAUTION * (1 - lost).sum()
        return residual, freedom, 2 * (modes.power * lost * slope).sum(), _CAUTION * slope.sum()

    def score(log_weight: float) -> float:
        residual, freedom, *_ = parts(log_weight)
        return residual / max(freedom, _MIN_FREEDOM * n) ** 2

    def slope(log_weight: float) -> float:
        residual, freedom, more_residual, more_freedom = parts(log_weight)
        held = freedom <= _MIN_FREEDOM * n
        return more_residual / residual - (0.0 if held else 2 * more_freedom / freedom)

    return _least(modes, score, slope)


def _likeliest(modes: _Modes) -> float:
    """Weight of the largest restricted likelihood (Wahba 1985), one noise for all coordinates."""
    bent = modes.seen & (np.arange(len(modes.sine)) < len(modes.sine) - _PARABOLA)

    def score(log_weight: float) -> float:
        lost = modes.lost(log_weight)
        square = modes.outside + (modes.power * lost).sum()
        left = np.log(max(square, 1e-300))
        return float((modes.n - _PARABOLA) * left - np.log(lost[bent]).sum())

    def slope(log_weight: float) -> float:
        lost = modes.lost(log_weight)
        square = modes.outside + (modes.power * lost).sum()
        more = (modes.power * lost * (1 - lost)).sum()
        return float((modes.n - _PARABOLA) * more / square - (1 - lost[bent]).sum())

    return _least(modes, score, slope)


def _least(
    modes: _Modes, score: Callable[[float], float], slope: Callable[[float], float]
) -> float:
    """Weight of the least score, by its logarithm.

    The best of a row of weights, then the root of the score's slope beside it: the row alone would
    move with the rounding of the least roughness, and all that follows with it.
    """
    cosine, sine = modes.cosine, modes.sine
    stiffest = float((sine[modes.seen] / cosine[modes.seen]).max()) ** 2
    softest = float(sine[-1 - _PARABOLA] / cosine[-1 - _PARABOLA]) ** 2
    logs = np.linspace(np.log(0.1 / stiffest), np.log(1e3 / softest), _WEIGHTS)
    at = int(np.argmin([score(item) for item in logs]))
    low, high = logs[max(at - 1, 0)], logs[min(at + 1, _WEIGHTS - 1)]
    if 0 < at < _WEIGHTS - 1 and modes.outside > 0 and slope(low) < 0 < slope(high):
        return float(np.exp(brentq(slope, low, high, xtol=1e-14)))
    return float(np.exp(logs[at]))


def smooth_curve(points_mm: FloatArray) -> SmoothedCurve:
    """Smooth curve through ordered noisy points (N, 3), N >= 8."""
    u = chord_parameter(points_mm)
    curve, freedom = _fit_curve(points_mm, u, None)
    for turn in range(_REFITS + _STIFFENINGS):
        fine = np.linspace(u[0], u[-1], 8 * len(u))
        place, *_, third = curve.derivatives(fine, 3)
        u = np.interp(u, fine, chord_parameter(place))
        stiffness = _stiffness(third) if turn >= _REFITS else None
        curve, freedom = _fit_curve(points_mm, u, stiffness)
    centre, _, modes = _prepared(points_mm, u, None)  # a stiffness read from the points is no prior
    likeliest, _, factor = modes.fit(_likeliest(modes))
    point, along = curve.derivatives(u, 1)
    tangent = vec.unit(along)
    left = points_mm - point
    return SmoothedCurve(
        curve=curve,
        parameter=u,
        freedom=freedom,
        factor=factor,
        doubt_mm=likeliest + centre - curve.spline.c,
        residual_mm=left - vec.dot(left, tangent)[:, None] * tangent,
        tangent=tangent,
    )


def _fit_curve(
    points_mm: FloatArray, u: FloatArray, stiffness: FloatArray | None
) -> tuple[SplineCurve, float]:
    """The penalised spline through points at parameters `u`, and its freedom."""
    centre, knots, modes = _prepared(points_mm, u, stiffness)
    heights, freedom, _ = modes.fit(_cross_validated(modes))
    return SplineCurve(spline=BSpline(knots, heights + centre, DEGREE)), freedom


def _prepared(
    points_mm: FloatArray, u: FloatArray, stiffness: FloatArray | None
) -> tuple[FloatArray, FloatArray, _Modes]:
    """Middle of the points, knots, and the modes of the spline about that middle."""
    inner = np.linspace(u[0], u[-1], max(4, len(u) // POINTS_PER_KNOT) + 1)
    knots = np.pad(inner, DEGREE, mode="edge")
    basis = BSpline.design_matrix(u, knots, DEGREE).toarray()
    centre = points_mm.mean(axis=0)
    return centre, knots, _modes(basis, _roughness(knots, stiffness), points_mm - centre)


class FaceFit(Record):
    """A face fitted to points.

    ``axes`` (3, 3): rows e1, e2 in the best plane and e3 its normal; ``centre`` (3,); ``terms``
    (T, 2) exponents of the polynomial height above that plane; ``heights`` (T,); ``factor`` (T, N)
    with factor factorᵀ the covariance of the heights; ``noise_um`` residual standard deviation.
    """

    axes: FloatArray
    centre: FloatArray
    terms: NDArray[np.int_]
    heights: FloatArray
    factor: FloatArray
    noise_um: float

    def normals(self, points: FloatArray) -> FloatArray:
        """Unit normals (S, 3) of the face nearest to points."""
        e1, e2, e3 = self.axes
        gx, gy = self._slopes(points) @ self.heights
        return vec.unit(e3 - gx[:, None] * e1 - gy[:, None] * e2)

    def tilt_sd_rad(self, points: FloatArray, tangents: FloatArray) -> FloatArray:
        """Standard deviation (S,) of the face's turn about an edge's tangent at points."""
        sx, sy = self._slopes(points)
        across = vec.unit(vec.cross(np.broadcast_to(self.axes[2], tangents.shape), tangents))
        slope = (across @ self.axes[0])[:, None] * sx + (across @ self.axes[1])[:, None] * sy
        return np.asarray(np.linalg.norm(slope @ self.factor, axis=1))

    def _slopes(self, points: FloatArray) -> FloatArray:
        """Rows (2, S, T): slopes of each term along e1 and e2."""
        x, y = np.moveaxis((points - self.centre) @ self.axes[:2].T, -1, 0)[..., None]
        p, q = self.terms[:, 0], self.terms[:, 1]
        along = p * x ** np.maximum(p - 1, 0) * y**q
        across = q * x**p * y ** np.maximum(q - 1, 0)
        return np.stack([along, across])


# Exponents of a face's height over its best plane: none above the plane's own, or degree 4 along
# the blade and 2 across it.
PLANAR = np.array([[0, 0], [1, 0], [0, 1]])
BOWED = np.array([[0, 0], [1, 0], [0, 1], [2, 0], [1, 1], [0, 2], [3, 0], [4, 0]])
MIN_FACE_WIDTH = 0.02  # of the length: points nearly on one line do not fix a plane


def fit_face(points: FloatArray, outward: FloatArray, terms: NDArray[np.int_]) -> FaceFit:
    """The face of `terms` through points (N, 3), its normal on the side of `outward`."""
    centre = points.mean(axis=0)
    _, extent, axes = np.linalg.svd(points - centre, full_matrices=False)
    if not extent[1] > MIN_FACE_WIDTH * extent[0] or len(points) < 2 * len(terms):
        raise EdgekitError(
            "the points do not fix the face",
            f"{len(points)} points, {extent[1] / extent[0]:.1%} as wide as long",
            "Digitise the other edge too, or points on the face (curve 'face').",
        )
    if axes[2] @ outward < 0:
        axes = np.stack([axes[0], -axes[1], -axes[2]])
    if np.linalg.det(axes) < 0:
        axes[1] = -axes[1]
    local = (points - centre) @ axes.T
    design = local[:, :1] ** terms[:, 0] * local[:, 1:2] ** terms[:, 1]
    heights, *_ = np.linalg.lstsq(design, local[:, 2], rcond=None)
    left = local[:, 2] - design @ heights
    noise = float(np.sqrt((left**2).sum() / max(len(points) - len(terms), 1)))
    return FaceFit(
        axes=axes,
        centre=centre,
        terms=terms,
        heights=heights,
        factor=noise * np.linalg.pinv(design),
        noise_um=noise * UM_PER_MM,
    )
