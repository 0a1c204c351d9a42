"""Where brightness steps: contours, and profiles across them read to a few hundredths of a pixel.

A profile is read by cubic splines along the normal of a rough contour. Its edge is where it crosses
the middle between its own dark and bright ends; the steepest place is a second opinion. Profiles
are (N, T) for N points and T offsets [px], positive towards the bright ground. How sharp a picture
is comes from a straight slanted edge in it (ISO 12233:2017, annex D; from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.reading import Picture
from edgekit.errors import BadArgument, Cannot
from edgekit.record import Record

__all__ = ["EdgeSpread", "edge_spread"]

STEP = 0.5  # px between samples of a profile
_TILE, _MARGIN = 128, 20  # px: a cubic spline's memory fades to 1e-8 within the margin
_ALONG = 15  # points over which the ends of profiles are averaged
MEDIAN_TO_SD = 1.4826  # of a normal distribution


def contours(light: NDArray[np.floating], level: float) -> list[FloatArray]:
    """Lines (N, 2) [px] where light crosses a level, by linear interpolation along the grid."""
    import contourpy

    lines = contourpy.contour_generator(z=light, name="serial").lines(level)
    return [np.asarray(line, dtype=float) for line in lines]


def levels(light: NDArray[np.floating]) -> tuple[float, float, float]:
    """Dark and bright level, and how far apart they are in scatters of their own.

    Otsu's split (1979, IEEE Trans SMC 9:62) only tells the two kinds of pixels apart; the levels
    are their medians, which do not depend on how many there are of each.
    """
    part = light[:: max(light.shape[0] // 1000, 1), :: max(light.shape[1] // 1000, 1)]
    low, high = (float(v) for v in np.percentile(part, (0.05, 99.95)))
    if not high - low > 1e-4:
        return low, high, 0.0
    count, rim = np.histogram(part, 512, (low, high))
    middle = (rim[1:] + rim[:-1]) / 2
    weight = np.cumsum(count)[:-1]
    total, mass = weight[-1] + count[-1], np.cumsum(count * middle)
    both = weight * (total - weight)  # 0 where all are of one kind: no split, rounding apart
    between = np.where(both > 0, (mass[-1] * weight / total - mass[:-1]) ** 2, 0.0)
    cut = middle[int(np.argmax(between / np.maximum(both, 1)))]
    dark, bright = part[part <= cut], part[part > cut]
    a, b = float(np.median(dark)), float(np.median(bright))
    scatter = MEDIAN_TO_SD * (np.median(np.abs(dark - a)) + np.median(np.abs(bright - b)))
    return a, b, float((b - a) / max(scatter, 1e-6))


def reduced(light: NDArray[np.floating], most_px: float) -> tuple[NDArray[np.floating], int]:
    """A picture of fewer pixels, means of k x k, and k; a pixel p of it lies at k p + (k - 1)/2."""
    k = max(int(np.sqrt(light.size / most_px)), 1)
    rows, columns = light.shape[0] // k, light.shape[1] // k
    cut = light[: rows * k, : columns * k]
    small = sum(cut[i::k, j::k] for i in range(k) for j in range(k))
    return np.asarray(small / np.float32(k * k)) if k > 1 else light, k


def resampled(line: FloatArray, step: float = 1.0) -> FloatArray:
    """The line (N, 2) at equal steps of arc."""
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    keep = np.concatenate([[True], np.diff(arc) > 0])
    at = np.linspace(0.0, arc[-1], max(round(arc[-1] / step) + 1, 2))
    return np.stack([np.interp(at, arc[keep], line[keep, k]) for k in (0, 1)], axis=1)


def nearest(tree: cKDTree, points: FloatArray, k: int = 1) -> tuple[FloatArray, NDArray[np.intp]]:
    """Distance (N,) of points from the nearest of a tree's, and which (N,); (N, k) of k nearest."""
    distance, which = tree.query(points, k=k)
    return np.asarray(distance), np.asarray(which)


def smoothed(line: FloatArray, points: float) -> FloatArray:
    """The line with each coordinate smoothed over a number of points; its ends stay in place."""
    reach = min(len(line) - 1, int(4 * points) + 1)
    head = 2 * line[0] - line[reach:0:-1]
    tail = 2 * line[-1] - line[-2 : -reach - 2 : -1]
    out = ndimage.gaussian_filter1d(np.concatenate([head, line, tail]), points, axis=0)
    return np.asarray(out[reach:-reach])


def normals_of(line: FloatArray, points: float) -> tuple[FloatArray, FloatArray]:
    """Unit normals (N, 2) and curvature (N,).

    Normals are a quarter turn left of the line's sense as y runs up. Curvature [1/px] is positive
    where the line bends away from the normal: convex steel.
    """
    smooth = smoothed(line, points)
    first = np.gradient(smooth, axis=0)
    second = np.gradient(first, axis=0)
    speed = np.linalg.norm(first, axis=1)
    tangent = first / speed[:, None]
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    curvature = -(second * normal).sum(axis=1) / speed**2
    return normal, curvature


def sample(light: NDArray[np.floating], at: FloatArray) -> FloatArray:
    """Light at pixels (..., 2) by cubic splines, worked out in the tiles that are touched."""
    flat = at.reshape(-1, 2)
    out = np.empty(len(flat))
    columns = light.shape[1] // _TILE + 1
    tile = np.clip(flat, 0, np.array(light.shape[::-1]) - 1).astype(int) // _TILE
    key = tile[:, 1] * columns + tile[:, 0]
    order = np.argsort(key, kind="stable")
    for group in np.split(order, np.nonzero(np.diff(key[order]))[0] + 1):
        column, row = tile[group[0]] * _TILE
        top, left = max(row - _MARGIN, 0), max(column - _MARGIN, 0)
        part = light[top : row + _TILE + _MARGIN, left : column + _TILE + _MARGIN]
        spline = ndimage.spline_filter(part.astype(float), 3, mode="mirror")
        place = (flat[group, ::-1] - [top, left]).T
        out[group] = ndimage.map_coordinates(spline, place, prefilter=False, mode="mirror")
    return out.reshape(at.shape[:-1])


class Crossings(NamedTuple):
    """What profiles (N, T) say.

    ``offset_px``: where they cross their own mid level; ``steepest_px``: where they are steepest;
    ``sd_px``: standard deviation of the first from noise; ``dark``, ``bright``: their ends;
    ``slope``: per pixel at the crossing; ``met``: whether there is a crossing at all; ``bump``: how
    far the profile beside the edge stands off its ends, as a share of the step (all (N,)).
    """

    offset_px: FloatArray
    steepest_px: FloatArray
    sd_px: FloatArray
    dark: FloatArray
    bright: FloatArray
    slope: FloatArray
    met: NDArray[np.bool_]
    bump: FloatArray


def crossings(offsets: FloatArray, profiles: FloatArray, step: float, blur_px: float) -> Crossings:
    """Read profiles (N, T) at even offsets (T,); `step` is one step of the file's numbers."""
    end = max(len(offsets) // 6, 2)
    dark, noise_dark = _plateau(profiles[:, :end])
    bright, noise_bright = _plateau(profiles[:, -end:])
    middle = ((dark + bright) / 2)[:, None]
    above = profiles > middle
    up = ~above[:, :-1] & above[:, 1:]
    far = np.where(up, np.abs(offsets[:-1] + STEP / 2), np.inf)
    k = np.argmin(far, axis=1)
    row = np.arange(len(profiles))
    met = np.isfinite(far[row, k])
    offset, slope = _cubic_root(profiles, middle[:, 0], np.clip(k, 1, profiles.shape[1] - 3))
    quiet = ndimage.gaussian_filter1d(profiles, blur_px / STEP, axis=1, mode="nearest")
    gradient = np.gradient(quiet, STEP, axis=1)
    near = np.abs(offsets - offsets[k][:, None]) <= offsets[-1] / 2
    top = np.clip(np.argmax(np.where(near, gradient, -np.inf), axis=1), 1, len(offsets) - 2)
    low, mid, high = (gradient[row, top + d] for d in (-1, 0, 1))
    bend = low - 2 * mid + high
    shift = np.where(np.abs(bend) > 1e-12, (low - high) / (2 * np.where(bend == 0, 1, bend)), 0.0)
    variance = (noise_dark**2 + noise_bright**2) / 2 + step**2 / 12
    sd = np.sqrt(variance) / np.maximum(slope, 1e-9)
    return Crossings(
        offset_px=offsets[0] + STEP * offset,
        steepest_px=offsets[top] + STEP * np.clip(shift, -1, 1),
        sd_px=sd,
        dark=dark,
        bright=bright,
        slope=slope,
        met=met & (slope > 0),
        bump=_bump(offsets, profiles, dark, bright, 3 * blur_px + 0.5),
    )


def _bump(
    offsets: FloatArray, profiles: FloatArray, dark: FloatArray, bright: FloatArray, clear: float
) -> FloatArray:
    """How far (N,) a profile strays from its ends, `clear` of the edge, as a share of the step."""
    even = ndimage.uniform_filter1d(profiles, _ALONG, axis=0, mode="nearest")
    ends = np.where(offsets > 0, bright[:, None], dark[:, None])
    off = np.abs(even - ends)[:, np.abs(offsets) > clear]
    if off.shape[1] == 0:
        return np.zeros(len(profiles))
    return np.asarray(off.max(axis=1) / np.maximum(bright - dark, 1e-9))


def _plateau(ends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Level (N,) of the profiles' ends, a mean along the line, and their noise about it."""
    own = ends.mean(axis=1)
    level = ndimage.uniform_filter1d(own, _ALONG, mode="nearest")
    left = ends - level[:, None]
    square = ndimage.uniform_filter1d((left**2).mean(axis=1), 4 * _ALONG, mode="nearest")
    return level, np.sqrt(np.maximum(square, 0.0))  # its running sum may fall below 0 by rounding


def _cubic_root(
    profiles: FloatArray, middle: FloatArray, k: NDArray[np.intp]
) -> tuple[FloatArray, FloatArray]:
    """Where [samples] the cubic through samples k-1 to k+2 meets the middle; its slope [1/px]."""
    row = np.arange(len(profiles))
    p, q, r, s = (profiles[row, k + d] for d in (-1, 0, 1, 2))
    a = (-p + 3 * q - 3 * r + s) / 6
    b = (p - 2 * q + r) / 2
    c = (-2 * p - 3 * q + 6 * r - s) / 6
    safe = np.where(np.abs(r - q) > 1e-12, r - q, 1.0)
    t = np.clip((middle - q) / safe, -0.5, 1.5)
    for _ in range(6):
        slope = 3 * a * t**2 + 2 * b * t + c
        slope = np.where(np.abs(slope) > 1e-12, slope, 1e-12)
        t = np.clip(t - (((a * t + b) * t + c) * t + q - middle) / slope, -0.5, 1.5)
    return k + t, (3 * a * t**2 + 2 * b * t + c) / STEP


OVERSAMPLED = 4  # bins a pixel
MIN_SLANT_DEG, MIN_ROWS = 1.0, 24
STRAIGHT_PX = 0.3  # scatter of the edge about its line
_GAUSSIAN_MTF50 = np.sqrt(np.log(2) / 2) / np.pi  # of a Gaussian of standard deviation 1: 0.1874


class EdgeSpread(Record):
    """Sharpness across one straight edge.

    Attributes
    ----------
    frequency_cy_px, mtf : array (M,)
        Modulation transfer over cycles a pixel.
    mtf50_cy_px : float
        Where it has fallen to a half.
    sigma_px : float
        Standard deviation of the Gaussian blur with that MTF50.
    slant_deg : float
        Between the edge and the nearer axis of the picture.
    """

    frequency_cy_px: FloatArray
    mtf: FloatArray
    mtf50_cy_px: float
    sigma_px: float
    slant_deg: float

    def __repr__(self) -> str:
        return f"MTF50 {self.mtf50_cy_px:.3f} cycles a pixel, as a blur of {self.sigma_px:.2f} px"


def edge_spread(picture: Picture, region_px: tuple[float, float, float, float]) -> EdgeSpread:
    """Sharpness from one straight, slanted edge that crosses a region from side to side.

    Parameters
    ----------
    picture : Picture
    region_px : (left, top, right, bottom)
        With the edge and some 10 px of even ground and metal on either side, and nothing else.

    Returns
    -------
    EdgeSpread

    Raises
    ------
    BadArgument
        For a region outside the picture or too small.
    Cannot
        Without one straight edge, or one along the picture's rows or columns.

    Examples
    --------
    >>> import edgekit as ek
    >>> P = ek.pictures
    >>> file = "data_demo/pictures/FH-03-AS1_2026-03-02_a.png"
    >>> picture = P.read_picture(file, response=P.SRGB)
    >>> P.edge_spread(picture, (20, 170, 70, 220))
    MTF50 0.270 cycles a pixel, as a blur of 0.69 px
    """
    checks.instance("picture", picture, Picture, "Read it with ek.pictures.read_picture.")
    columns, rows = picture.size_px
    left, top, right, bottom = (round(v) for v in checks.frozen_array("region_px", region_px, (4,)))
    if not (0 <= left <= right - 24 <= columns - 24 and 0 <= top <= bottom - 24 <= rows - 24):
        raise BadArgument(
            "region_px must lie in the picture and be 24 pixels wide",
            tuple(region_px),
            "Give left, top, right, bottom in pixels.",
            argument="region_px",
        )
    light = picture.light[top:bottom, left:right].astype(float)
    dark, bright, contrast = levels(light)
    lines = contours(light, (dark + bright) / 2) if contrast > 4 else []
    long = max(lines, key=len, default=np.empty((0, 2)))
    if len(long) < MIN_ROWS or sum(len(line) for line in lines) > 1.3 * len(long):
        raise Cannot(
            "the region does not hold one edge", len(lines), "Draw it round one straight edge."
        )
    distance, slant = _distances(light.shape, long)
    spread = _bins(distance, light)
    frequency, mtf = _transfer(spread)
    below = int(np.argmax(mtf < 0.5))
    if below == 0:
        raise Cannot("the edge is too sharp to be measured", 0.5, "Check the response.")
    share = (mtf[below - 1] - 0.5) / (mtf[below - 1] - mtf[below])
    half = float(frequency[below - 1] + share * (frequency[below] - frequency[below - 1]))
    return EdgeSpread(
        frequency_cy_px=frequency,
        mtf=mtf,
        mtf50_cy_px=half,
        sigma_px=float(_GAUSSIAN_MTF50 / half),
        slant_deg=slant,
    )


def _distances(shape: tuple[int, ...], line: FloatArray) -> tuple[FloatArray, float]:
    """Distance of each pixel from the straight line through a contour [px], and its slant [deg]."""
    centre = line.mean(axis=0)
    along = np.linalg.svd(line - centre, full_matrices=False)[2][0]
    normal = np.array([along[1], -along[0]])
    scatter = float(((line - centre) @ normal).std())
    slant = float(np.degrees(np.arctan2(*np.sort(np.abs(along)))))
    if not scatter < STRAIGHT_PX or not slant > MIN_SLANT_DEG:
        raise Cannot(
            "the edge is not straight, or lies along the picture's rows or columns",
            f"scatter {scatter:.2f} px, slant {slant:.1f}°",
            "Choose a straight stretch, slanted by 2 to 40°.",
        )
    y, x = np.mgrid[: shape[0], : shape[1]]
    return (x - centre[0]) * normal[0] + (y - centre[1]) * normal[1], slant


def _bins(distance: FloatArray, light: FloatArray) -> FloatArray:
    """The edge's profile in bins of a quarter pixel, as far as they are full on both sides."""
    reach = int(OVERSAMPLED * min(-distance.min(), distance.max(), 16.0))
    which = np.rint(OVERSAMPLED * distance).astype(int) + reach
    inside = (which >= 0) & (which <= 2 * reach)
    count = np.bincount(which[inside], minlength=2 * reach + 1)
    total = np.bincount(which[inside], light[inside])
    if not (count > 0).all():
        raise Cannot(
            "the edge is too short for its slant", int((count == 0).sum()), "Take a longer stretch."
        )
    return np.asarray(total / count)


def _transfer(spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Modulation transfer up to half a cycle a pixel from an oversampled edge profile."""
    slope = spread[2:] - spread[:-2]
    even = np.abs(np.convolve(slope, np.ones(5), mode="same"))
    middle = int(np.argmax(even))
    half = min(middle, len(slope) - 1 - middle)
    flat = min(2.0 * (even > even[middle] / 2).sum(), 0.6 * half)  # 4.7 standard deviations
    away = np.maximum(np.abs(np.arange(-half, half + 1)) - flat, 0.0) / (half - flat)
    window = 0.54 + 0.46 * np.cos(np.pi * away)  # Hamming's, over even light about the edge
    slope = slope[middle - half : middle + half + 1] * window
    size = 1 << int(np.ceil(np.log2(16 * len(slope))))
    mtf = np.abs(np.fft.rfft(slope, size))
    frequency = np.fft.rfftfreq(size, 1 / OVERSAMPLED)
    seen = frequency <= 0.6
    frequency, mtf = frequency[seen], mtf[seen] / mtf[0]
    central = np.sinc(2 * frequency / OVERSAMPLED)  # of the central difference
    binned = np.sinc(frequency / OVERSAMPLED)
    return np.asarray(frequency, dtype=float), np.asarray(mtf / (central * binned), dtype=float)
