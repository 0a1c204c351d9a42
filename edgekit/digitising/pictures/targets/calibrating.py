"""From pixels to millimetres: a checkerboard, a stage micrometer, or one width that is known.

Only the board sees tilt and distortion. Each scale says what it cannot see.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.reading import Picture
from edgekit.digitising.pictures.targets.corners import find_grid, grid_from_clicks
from edgekit.digitising.pictures.targets.plane import PlaneCamera, fit_plane_camera
from edgekit.errors import BadArgument, Cannot
from edgekit.evidence_table import value
from edgekit.record import Record
from edgekit.units import UM_PER_MM

READ = "Give what ek.pictures.read_picture returns."

__all__ = ["Checkerboard", "KnownWidth", "Scale", "StageMicrometer", "calibrate"]

WORST_RESIDUAL_PX = 0.7  # of a board's corners: above this they are not a plane's
MOST_SQUARES = 500  # along one side
MOST_BAND_PX = 1000.0
MOST_LINES = 10_000
_NEVER = (
    "a wrong pitch or width: the blade would simply come out too large or too small",
    "a face that does not lie in the target's plane",
)


class Scale(Record):
    """Pixels to millimetres in the target's plane, x to the right and y upwards.

    Attributes
    ----------
    camera : PlaneCamera
        The fit. `StageMicrometer` and `KnownWidth` fill it with one scale for all.
    um_per_px : float
        At the centre of the target [µm].
    residual_um : float
        Standard deviation of the target's points about the fit, a coordinate [µm].
    relative_sd : float
        Standard uncertainty of every length, as a share: what the target itself is good for.
    fit_sd : float
        Standard uncertainty of a length in the target's middle from the scatter of its points, as a
        share.
    cannot_see : tuple of str
        Errors this target does not show.
    target_px : array (4, 2)
        Outline of the target in the picture.
    size_px : tuple
        Columns and rows of its picture; a scale serves pictures of that size alone.
    """

    camera: PlaneCamera
    um_per_px: float
    residual_um: float
    relative_sd: float
    fit_sd: float
    cannot_see: tuple[str, ...]
    target_px: FloatArray
    size_px: tuple[int, int]
    sha256: str = field(repr=False)

    def to_mm(self, px: ArrayLike) -> FloatArray:
        """Millimetres (..., 2) of pixels (..., 2)."""
        return self.camera.to_mm(_pairs("px", px))

    def to_px(self, points_mm: ArrayLike) -> FloatArray:
        """Pixels (..., 2) of millimetres (..., 2)."""
        return self.camera.to_px(_pairs("points_mm", points_mm))

    def __repr__(self) -> str:
        return (
            f"{self.um_per_px:.3f} µm a pixel, target's points within {self.residual_um:.2f} µm, "
            f"lengths to {100 * np.hypot(self.relative_sd, self.fit_sd):.3f} % (sd). Not seen: "
            f"{'; '.join(self.cannot_see)}"
        )


@dataclass(frozen=True, kw_only=True)
class Checkerboard:
    """A flat board of dark and bright squares.

    Parameters
    ----------
    pitch_mm : float
        Side of a square [mm].
    squares : (int, int)
        How many along and across.
    error_um_per_mm : float
        Half-width of the certificate's bounds [µm in 1 mm]; a board printed on paper is ten times
        worse.
    clicks_px : array (4, 2), optional
        The four outermost inner corners, in turn, as good as half a square; without them it is
        searched for.
    """

    pitch_mm: float
    squares: tuple[int, int]
    error_um_per_mm: float = value("target_error_um_per_mm")
    clicks_px: Sequence[Sequence[float]] | None = None

    def __post_init__(self) -> None:
        remedy = "Give two counts, say, (14, 6)."
        checks.instance("squares", self.squares, (tuple, list), remedy)
        if len(self.squares) != 2:
            raise BadArgument(
                "squares must be two counts", self.squares, remedy, argument="squares"
            )
        across, down = (
            checks.count("squares", number, 4, most=MOST_SQUARES) for number in self.squares
        )
        checks.keep_numbers(
            self,
            pitch_mm=checks.positive("pitch_mm", self.pitch_mm),
            squares=(across, down),
            error_um_per_mm=checks.at_least("error_um_per_mm", self.error_um_per_mm, 0.0),
        )
        if self.clicks_px is not None:
            clicks = checks.frozen_array("clicks_px", self.clicks_px, (4, 2))
            checks.keep_numbers(self, clicks_px=tuple(tuple(row) for row in clicks.tolist()))

    def scale(self, picture: Picture) -> Scale:
        """Find the corners, fit the plane and its radial term."""
        across, down = (int(n) - 1 for n in self.squares)
        checks.instance("picture", picture, Picture, READ)
        light = picture.light
        if self.clicks_px is None:
            corners = find_grid(light, across, down)
        else:
            clicks = _in_picture(picture, "a click", *self.clicks_px)
            corners = grid_from_clicks(light, clicks, across, down)
        index = np.stack(np.meshgrid(np.arange(across), np.arange(down)), axis=-1)
        plane: FloatArray = np.asarray(index * self.pitch_mm, dtype=np.float64)
        if _turn(corners) > 0:  # y of the picture runs down: seen from above the turn is negative
            corners = corners[::-1]
        camera = fit_plane_camera(plane.reshape(-1, 2), corners.reshape(-1, 2), picture.size_px)
        if not camera.residual_px < WORST_RESIDUAL_PX:
            raise Cannot(
                "the board's corners stand off a plane",
                f"{camera.residual_px:.2f} px",
                "Use a flat board and a sharp picture without movement.",
            )
        rim = np.array([-1, -1, across, across, -1, down, down, -1]).reshape(2, 4).T
        ends = camera.to_px(self.pitch_mm * (rim + np.copysign(0.3, rim)))
        return _scale(picture, camera, plane.reshape(-1, 2), self.error_um_per_mm, ends, _NEVER)


def _pairs(name: str, values: ArrayLike) -> FloatArray:
    array = checks.as_array(name, values)
    if array.ndim == 0 or array.shape[-1] != 2:
        remedy = "Give x and y of each point."
        raise BadArgument(f"{name} must have shape (..., 2)", array.shape, remedy, argument=name)
    return array


def _in_picture(picture: Picture, name: str, *points: Sequence[float]) -> FloatArray:
    """Points (N, 2) [px], refused outside a picture."""
    at = checks.frozen_array(name, points, (None, 2))
    outside = ((at < 0) | (at > np.array(picture.size_px) - 1)).any(axis=1)
    if outside.any():
        raise Cannot(
            f"{name} lies outside the picture",
            at[outside][0].tolist(),
            "Give column and row in pixels.",
        )
    return at


def _turn(corners: FloatArray) -> float:
    """Sense of a board's corners: positive where rows follow columns clockwise as seen."""
    a, b = corners[0, -1] - corners[0, 0], corners[-1, 0] - corners[0, 0]
    return float(a[0] * b[1] - a[1] * b[0])


def _scale(
    picture: Picture,
    camera: PlaneCamera,
    plane: FloatArray,
    error: float,
    ends: FloatArray,
    unseen: tuple[str, ...],
    fit_sd: float | None = None,
) -> Scale:
    """The scale in the middle of a target, and what it is good for."""
    middle, size = plane.mean(axis=0), float(np.linalg.norm(np.ptp(plane, axis=0)))
    step = 1e-3 * size
    ring = camera.to_px(middle + step * np.array([[1, 0], [0, 1], [-1, 0], [0, -1]]))
    px_per_mm = np.sqrt(np.linalg.norm(ring[0] - ring[2]) * np.linalg.norm(ring[1] - ring[3])) / (
        2 * step
    )
    if fit_sd is None:
        fit_sd = float(camera.sd_px(middle) * np.sqrt(2) / (px_per_mm * size / 2))
    return Scale(
        camera=camera,
        um_per_px=float(UM_PER_MM / px_per_mm),
        residual_um=float(UM_PER_MM * camera.residual_px / px_per_mm),
        relative_sd=float(error / UM_PER_MM / np.sqrt(3)),
        fit_sd=fit_sd,
        cannot_see=unseen,
        target_px=np.asarray(ends, dtype=float),
        size_px=picture.size_px,
        sha256=picture.sha256,
    )


@dataclass(frozen=True, kw_only=True)
class StageMicrometer:
    """Ruled lines at a known pitch.

    Parameters
    ----------
    pitch_mm : float
        From line to line [mm].
    from_px, to_px : (float, float)
        A point on the first line and one on the last, on a path across them all.
    lines : int
        How many lines that path crosses.
    band_px : float
        Width over which each line is averaged [px].
    error_um_per_mm : float
        As for `Checkerboard`.
    """

    pitch_mm: float
    from_px: tuple[float, float]
    to_px: tuple[float, float]
    lines: int
    band_px: float = 20.0
    error_um_per_mm: float = value("target_error_um_per_mm")

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            pitch_mm=checks.positive("pitch_mm", self.pitch_mm),
            from_px=_point("from_px", self.from_px),
            to_px=_point("to_px", self.to_px),
            lines=checks.count("lines", self.lines, 3, most=MOST_LINES),
            band_px=checks.between("band_px", self.band_px, 0.0, MOST_BAND_PX),
            error_um_per_mm=checks.at_least("error_um_per_mm", self.error_um_per_mm, 0.0),
        )

    def scale(self, picture: Picture) -> Scale:
        """Centre of each line, and a straight line through them."""
        checks.instance("picture", picture, Picture, READ)
        start, stop = _in_picture(picture, "an end of the path", self.from_px, self.to_px)
        length = float(np.linalg.norm(stop - start))
        step = length / (self.lines - 1)
        if not step > 4:
            raise Cannot("the lines are too close", step, "Let them stand 5 pixels apart.")
        along = np.arange(-0.5 * step, length + 0.5 * step, 0.25)
        profile = _profile(picture, start, (stop - start) / length, along, self.band_px)
        place = np.array([_line_centre(along, profile, k * step, step) for k in range(self.lines)])
        k = np.arange(self.lines)
        slope, first = np.polyfit(k, place, 1)
        left = place - first - slope * k
        noise = float(np.sqrt((left**2).sum() / (self.lines - 2)))
        if not noise < 0.1 * step:
            raise Cannot(
                "the lines found do not stand evenly",
                f"{noise:.2f} px",
                "Check their number and the two ends.",
            )
        sd = noise / np.sqrt(((k - k.mean()) ** 2).sum()) / slope
        return _one_scale(
            picture, slope / self.pitch_mm, np.stack([start, stop]), noise, self.error_um_per_mm, sd
        )


def _point(name: str, point: tuple[float, float]) -> tuple[float, float]:
    x, y = checks.frozen_array(name, point, (2,)).tolist()
    return x, y


def _profile(
    picture: Picture, start: FloatArray, direction: FloatArray, along: FloatArray, band: float
) -> FloatArray:
    """Mean light along a straight path, over a band across it."""
    across = np.arange(-band / 2, band / 2 + 0.5)
    side = np.array([-direction[1], direction[0]])
    path = start + along[:, None, None] * direction
    at = path + across[None, :, None] * side
    columns, rows = picture.size_px
    if not ((at >= 0).all() and (at[..., 0] < columns - 1).all() and (at[..., 1] < rows - 1).all()):
        raise Cannot(
            "the path leaves the picture",
            start.tolist(),
            "Keep half a pitch and half a band inside.",
        )
    values = ndimage.map_coordinates(picture.light, [at[..., 1], at[..., 0]], order=3)
    return np.asarray(values.mean(axis=1), dtype=float)


def _line_centre(along: FloatArray, profile: FloatArray, near: float, step: float) -> float:
    """Centre of the dark or bright line next to `near`: centroid of what stands out by half."""
    part = np.abs(along - near) < 0.5 * step
    seen = profile[part]
    ground = float(np.median(seen))
    out = np.abs(seen - ground)
    if not out.max() > 5 * np.median(out) + 1e-3:
        raise Cannot("no line is to be seen", near, "Check the ends and the number of lines.")
    weight = np.maximum(out - 0.5 * out.max(), 0.0)
    return float((weight * along[part]).sum() / weight.sum())


def _one_scale(
    picture: Picture, px_per_mm: float, ends: FloatArray, noise_px: float, error: float, sd: float
) -> Scale:
    """One scale for all directions and places."""
    centre = (np.array(picture.size_px, dtype=float) - 1) / 2
    numbers = np.array([px_per_mm, 0, 0, 0, -px_per_mm, 0, 0, 0, 0.0])
    camera = PlaneCamera(
        numbers=numbers,
        covariance=np.zeros((9, 9)),
        centre_px=centre,
        reach_px=max(picture.size_px) / 2,
        residual_px=noise_px,
    )
    unseen = (
        *_NEVER,
        "tilt of the target or the camera",
        "distortion of the lens",
        "different scales along the two axes, as a flatbed scanner has",
    )
    side = (ends[1] - ends[0])[::-1] * [-1, 1] * 0.1
    box = np.stack([ends[0] - side, ends[1] - side, ends[1] + side, ends[0] + side])
    return _scale(picture, camera, camera.to_mm(ends), error, box, unseen, fit_sd=float(sd))


@dataclass(frozen=True, kw_only=True)
class KnownWidth:
    """A pin, gauge or wire of known width, seen as a dark bar on a bright ground.

    Parameters
    ----------
    width_mm, sd_um : float
        Its width [mm] and how well that is known [µm].
    from_px, to_px : (float, float)
        Two points on the ground, on either side of it; the path between crosses it squarely.
    band_px : float
        Width over which its edges are averaged [px].
    """

    width_mm: float
    from_px: tuple[float, float]
    to_px: tuple[float, float]
    sd_um: float = 1.0
    band_px: float = 20.0

    def __post_init__(self) -> None:
        checks.keep_numbers(
            self,
            width_mm=checks.positive("width_mm", self.width_mm),
            from_px=_point("from_px", self.from_px),
            to_px=_point("to_px", self.to_px),
            sd_um=checks.at_least("sd_um", self.sd_um, 0.0),
            band_px=checks.between("band_px", self.band_px, 0.0, MOST_BAND_PX),
        )

    def scale(self, picture: Picture) -> Scale:
        """Both edges at half brightness; the bar's own lean is found and taken out."""
        checks.instance("picture", picture, Picture, READ)
        start, stop = _in_picture(picture, "an end of the path", self.from_px, self.to_px)
        length = float(np.linalg.norm(stop - start))
        if not length > 12:
            raise Cannot("the path is too short", length, "Start further out on the ground.")
        direction = (stop - start) / length
        side = np.array([-direction[1], direction[0]])
        along = np.arange(0.0, length, 0.25)
        shifts = np.linspace(-self.band_px / 2, self.band_px / 2, 9)
        edges = np.array(
            [
                _bar(along, _profile(picture, start + shift * side, direction, along, 2.0))
                for shift in shifts
            ]
        )
        lean = np.polyfit(shifts, edges.mean(axis=1), 1)[0]
        widths = (edges[:, 1] - edges[:, 0]) / np.hypot(1, lean)
        width = float(widths.mean())
        noise = float(widths.std(ddof=1))
        share = self.sd_um / (UM_PER_MM * self.width_mm)
        return _one_scale(
            picture,
            width / self.width_mm,
            np.stack([start, stop]),
            noise,
            UM_PER_MM * np.sqrt(3) * share,
            noise / np.sqrt(len(shifts)) / width,
        )


def _bar(along: FloatArray, profile: FloatArray) -> FloatArray:
    """Where a dark bar begins and ends (2,), at the mid level of its ground and itself."""
    ground = float(np.median(np.concatenate([profile[:8], profile[-8:]])))
    dark = float(np.percentile(profile, 5))
    if not dark < 0.7 * ground:
        raise Cannot("no dark bar on a bright ground", ground - dark, "Light it from behind.")
    below = profile < (ground + dark) / 2
    turns = np.nonzero(np.diff(below.astype(int)))[0]
    if len(turns) != 2 or below[0]:
        raise Cannot("the path does not cross one bar", len(turns), "Move both ends.")
    i = turns
    part = ((ground + dark) / 2 - profile[i]) / (profile[i + 1] - profile[i])
    return np.asarray(along[i] + part * (along[i + 1] - along[i]))


def calibrate(picture: Picture, target: Checkerboard | StageMicrometer | KnownWidth) -> Scale:
    """The scale of a picture, from a target in it.

    Parameters
    ----------
    picture : Picture
    target : Checkerboard, StageMicrometer or KnownWidth

    Returns
    -------
    Scale

    Raises
    ------
    Cannot
        If the target is not found, or is not what it is said to be.

    Examples
    --------
    >>> import edgekit as ek
    >>> P = ek.pictures
    >>> picture = P.read_picture("data_demo/pictures/board.png", response=P.SRGB)
    >>> scale = P.calibrate(picture, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> round(scale.um_per_px, 1)
    12.0
    """
    checks.instance("picture", picture, Picture, "Read it with ek.pictures.read_picture.")
    checks.instance(
        "target",
        target,
        (Checkerboard, StageMicrometer, KnownWidth),
        "Give a Checkerboard, StageMicrometer or KnownWidth.",
    )
    return target.scale(picture)
