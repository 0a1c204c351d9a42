"""The outline of a backlit blade, each point with its standard deviation and its quality.

Light decides, not the algorithm: against a bright, unclipped ground an edge is found to a few
hundredths of a pixel; metal lit from the front is refused. Seen square to the face the flanks are
hidden under it, so the outline is the cutting edges, as long as the face is tilted by less than 90°
- β.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.special import erfinv

from edgekit.checks import FloatArray, instance
from edgekit.digitising.pictures.outlines.parts import (
    EdgeLength,
    HeelAt,
    Parts,
    Side,
    arc_of,
    tell_apart,
)
from edgekit.digitising.pictures.outlines.silhouette import blade_line
from edgekit.digitising.pictures.profiles import (
    MEDIAN_TO_SD,
    STEP,
    Crossings,
    crossings,
    nearest,
    normals_of,
    resampled,
    sample,
    smoothed,
)
from edgekit.digitising.pictures.reading import Picture
from edgekit.digitising.pictures.targets.calibrating import Scale
from edgekit.errors import EdgekitError

__all__ = ["Outline", "Quality", "outline"]

PROFILE_PX = 6.0  # least reach of a profile to either side
SPLIT_PX = 0.15  # between the two readings of an edge: a rim of glare gives as much
BUMP = 0.12  # of the step: a rim of glare beside the edge
SOFT_SHARE = 0.65
GRID_PX = 0.01  # what the pixel grid leaves at 0.6 px of blur: measured on exact renderings
SKEW_SHARE = 0.12  # of the blur: what a wrong response curve or front light leaves of asymmetry
SHIFT_PER_SKEW = (
    16.0  # of an edge under sRGB read as linear (derived: a normal integral to the 1/2.2)
)
UNSTATED_SHIFT = 0.57  # of the blur, by the same
CLIPPED_PROFILE = 0.12  # of a profile: a pixel or two may be dark by chance
CLIPPED_SHARE = 0.02  # of the points: beyond that the levels mean nothing
FLAGGED_SHARE = 0.25
ALONG_PX = 1.0  # Gaussian over which points are averaged along the line
_OWN_PX = 0.4  # over which cubic interpolation has averaged them already
_RUNS = 20  # stretches of an outline that are held against one another
_ALONG = 15  # points over which the two readings are compared
DARK_RUN, BRIGHT_RUN = 0.05, 0.25  # scatter of the two ends along the line: front light, shadows
KINK_PER_MM = 5.0  # a radius of 0.2 mm, away from the toe
_LENGTHS_MM = (1.5, 40.0)  # of a blade with what is seen of its shank
_WIDTHS_MM = (0.2, 4.0)  # of blades this package deals with: anything else is a wrong scale


class Quality(enum.IntFlag):
    """What is wrong with a point of an outline; 0 is nothing."""

    GOOD = 0
    SPLIT = 1  # two readings of the edge disagree: glare, a burr, a second edge
    KINK = 32  # a bend sharper than edges have: dust, a burr, a chip
    SOFT = 16  # the step is far less steep than elsewhere: out of focus, or a rim of glare
    CLIPPED = 2  # a pixel of its profile is at an end of the scale
    WEAK = 4  # hardly any step in brightness
    NOISY = 8  # its standard deviation is above half a pixel


@dataclass(frozen=True, kw_only=True, eq=False)
class Outline:
    """A blade's outline in the target's plane, from the shank along the left side round to the
    right.

    Left and right are seen from the face's side, looking from the heel to the toe.

    Attributes
    ----------
    points_mm : array (N, 2)
        x to the right, y upwards, about a pixel apart.
    normals : array (N, 2)
        Unit vectors away from the steel.
    sd_um : array (N,)
        Standard deviation of each point along its normal from noise [µm]. Neighbours share some: a
        mean of n points is good to sd / sqrt(n / 1.5).
    quality : array (N,)
        Flags of `Quality`.
    edge_spread_um : float
        Blur of the picture as the standard deviation of a Gaussian, measured on the blade [µm].
    skew_um, skew_sd_um : float
        How much of the blur is one-sided [µm], and how well that is known.
    response_um : float
        What the response curve may have moved each edge by, as a standard deviation [µm]: what the
        skew would mean if a wrong curve made it, and, where the file does not state its curve, what
        sRGB read as linear does at this blur.
    curvature_per_mm : array (N,)
        Of the outline, positive where the steel is convex.
    parts : Parts
        Where the toe is; where the heel is, if that was told.
    notes : tuple of str
        What one should know before using it.
    scale, picture
        What it was measured with.
    """

    points_mm: FloatArray
    normals: FloatArray
    sd_um: FloatArray
    quality: NDArray[np.uint8]
    edge_spread_um: float
    skew_um: float
    skew_sd_um: float
    response_um: float
    curvature_per_mm: FloatArray
    parts: Parts
    notes: tuple[str, ...]
    scale: Scale = field(repr=False)
    picture: Picture = field(repr=False)

    def __post_init__(self) -> None:
        for name in ("points_mm", "normals", "sd_um", "quality", "curvature_per_mm"):
            getattr(self, name).setflags(write=False)

    @property
    def arc_mm(self) -> FloatArray:
        """Arc length (N,) from the shank's end of the left side, of the smoothed line: noise has
        length."""
        return arc_of(self.points_mm)

    def side(self, side: Side, *, toe: bool = True) -> NDArray[np.intp]:
        """Indices of the points of one edge, heel to toe; with `toe` its half of the toe as
        well."""
        return self.parts.side(side, toe=toe)

    def __repr__(self) -> str:
        good = float((self.quality == 0).mean())
        heel = "told" if self.parts.heel is not None else "not told"
        head = (
            f"{self.picture.file}: outline of {len(self.points_mm)} points, noise "
            f"{float(np.median(self.sd_um)):.2f} µm, blur {self.edge_spread_um:.1f} µm, {good:.0%} "
            f"good, heel {heel}"
        )
        return "\n".join((head, *self.notes))


class View(enum.Enum):
    """From where the blade is seen."""

    PLAN = "square to the face, from the face's side"


def outline(
    picture: Picture,
    scale: Scale,
    *,
    view: View = View.PLAN,
    heel: EdgeLength | HeelAt | None = None,
    region_px: tuple[float, float, float, float] | None = None,
) -> Outline:
    """The outline of a blade lit from behind.

    Parameters
    ----------
    picture : Picture
        One blade, dark on a bright ground that is not clipped; the shank runs out over the border,
        the toe lies inside.
    scale : Scale
        From the same picture, or from one taken without moving the camera.
    view : View
        Only the plan view is measured so far.
    heel : EdgeLength or HeelAt, optional
        Where the edge begins. A silhouette has no mark there: give the edge's length or a click.
    region_px : (left, top, right, bottom), optional
        The part of the picture to look at. A target in the picture is masked without being asked.

    Returns
    -------
    Outline

    Raises
    ------
    EdgekitError
        No blade, more than one, the shank not in view, the toe outside the frame; a blade brighter
        than its ground, a clipped ground, light from the front, a response curve that is not the
        picture's.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> blade = P.read_picture(f"{folder}/FH-03-AS1_2026-03-02_a.png", response=P.SRGB)
    >>> line = P.outline(blade, scale, heel=heel)
    >>> bool((line.quality == 0).mean() > 0.99)
    True

    Notes
    -----
    Profiles along the normals of a rough contour, read where they cross the middle between their
    own dark and bright ends; once more from the line found. On a curve the blurred mid level lies
    inside by σ²κ/2 (derived: expansion of a blurred disc), which is put back with the blur measured
    on the blade itself.
    """
    instance("picture", picture, Picture, "Read it with ek.pictures.read_picture.")
    instance("scale", scale, Scale, "Make one with ek.pictures.calibrate.")
    instance("view", view, View, "Give ek.pictures.View.PLAN.")
    if scale.size_px != picture.size_px:
        raise EdgekitError(
            "the scale belongs to a picture of another size",
            (scale.size_px, picture.size_px),
            "Take target and blade with one setting of the camera.",
        )
    found = blade_line(picture, scale, region_px)
    line = _Reading.first(picture, found.line_px)
    for _ in range(2):
        line = line.again(picture)
    _refuse_bad_light(picture, line)
    return _measured(picture, scale, line, heel, found.notes)


class _Reading(NamedTuple):
    """A line (N, 2) [px] with what its profiles say; ``blur_px``, ``skew_px`` of the mean
    profile."""

    line: FloatArray
    normals: FloatArray
    bend: FloatArray
    seen: Crossings
    clipped: NDArray[np.bool_]
    blur_px: float
    skew_px: float
    skew_sd_px: float

    @classmethod
    def first(cls, picture: Picture, line: FloatArray) -> _Reading:
        return cls._read(picture, line, PROFILE_PX + 2, 1.0)

    def again(self, picture: Picture) -> _Reading:
        moved = (
            self.line + np.where(self.seen.met, self.seen.offset_px, 0.0)[:, None] * self.normals
        )
        moved = moved[self.seen.met]
        if len(moved) < 40:
            raise EdgekitError("hardly any edge is to be seen", len(moved), "Light it from behind.")
        reach = max(PROFILE_PX, 4 * self.blur_px + 2)
        return self._read(picture, resampled(smoothed(moved, 1.0)), reach, self.blur_px)

    @classmethod
    def _read(cls, picture: Picture, line: FloatArray, reach: float, blur_px: float) -> _Reading:
        reach = float(np.ceil(reach))
        line = _inside(line, picture.size_px, reach)
        offsets = np.arange(-reach, reach + STEP / 2, STEP)
        normals, bend = normals_of(line, 4.0)
        at = line[:, None] + offsets[None, :, None] * normals[:, None]
        profiles = sample(picture.light, at)
        seen = crossings(offsets, profiles, picture.step, blur_px)
        columns, rows = picture.size_px
        near = np.rint(at).astype(int)
        hit = picture.clipped[
            np.clip(near[..., 1], 0, rows - 1), np.clip(near[..., 0], 0, columns - 1)
        ]
        blur, skew, skew_sd = _spread(offsets, profiles, seen)
        _, bend = normals_of(line, 10.0)
        return cls(
            line, normals, bend, seen, hit.mean(axis=1) > CLIPPED_PROFILE, blur, skew, skew_sd
        )


def _inside(line: FloatArray, size: tuple[int, int], reach: float) -> FloatArray:
    """The stretch of the line whose profiles stay inside the picture."""
    inside = np.all((line > reach + 1) & (line < np.array(size) - reach - 2), axis=-1).reshape(-1)
    if not inside.any():
        raise EdgekitError(
            "the blade lies along the border", line[0].tolist(), "Leave room around it."
        )
    first, last = np.nonzero(inside)[0][[0, -1]]
    part = inside[first : last + 1]
    if not part.all():
        where = line[first : last + 1][~part][0]
        raise EdgekitError(
            "the blade touches the border elsewhere than at its shank",
            np.round(where).tolist(),
            "Move the picture so that the edges and the toe lie well inside.",
        )
    return line[first : last + 1]


def _spread(
    offsets: FloatArray, profiles: FloatArray, seen: Crossings
) -> tuple[float, float, float]:
    """Blur, one-sidedness and the error of that [px]: from slope at the crossing and area under it.

    A symmetric blur of whatever shape leaves the area on either side of the edge equal.
    """
    good = seen.met & (np.abs(seen.offset_px) < 1.5)
    if good.sum() < 20:
        return 1.0, 0.0, 0.0
    step = np.maximum(seen.bright - seen.dark, 1e-9)[good]
    share = (profiles[good] - seen.dark[good, None]) / step[:, None]
    area = STEP * (share.sum(axis=1) - (share[:, 0] + share[:, -1]) / 2)
    mean = np.median(share, axis=0)
    middle = int(np.argmin(np.abs(mean - 0.5)))
    rise = float(np.clip(mean[middle + 1] - mean[middle - 1], 1e-3, 0.9999))
    seen_blur = STEP / (np.sqrt(2) * float(erfinv(rise)))  # of a normal integral that rises so much
    wander = float(ndimage.gaussian_filter1d(seen.offset_px[good], 4.0).std())
    blur = np.sqrt(max(seen_blur**2 - wander**2, 0.04))
    skew = offsets[-1] - area - seen.offset_px[good]
    runs = [run.mean() for run in np.array_split(skew, _RUNS)]  # neighbours share their noise
    middle_run = float(np.median(runs))  # a tip, a speck spoil one or two
    spread = MEDIAN_TO_SD * float(np.median(np.abs(np.array(runs) - middle_run)))
    return float(blur), middle_run, 1.25 * spread / np.sqrt(_RUNS)


def _refuse_bad_light(picture: Picture, line: _Reading) -> None:
    seen = line.seen
    clipped = float(line.clipped.mean())
    if clipped > CLIPPED_SHARE:
        bright = float((seen.bright > seen.dark).mean())
        raise EdgekitError(
            "the ground or the blade is clipped beside the edge, which moves it by micrometres",
            f"{clipped:.0%} of the outline, {bright:.0%} of it on a bright ground",
            "Expose less, until no pixel is at the end of the scale.",
        )
    step = np.median(seen.bright - seen.dark)
    run, uneven = (float(_scatter(v) / max(step, 1e-9)) for v in (seen.dark, seen.bright))
    if run > DARK_RUN or uneven > BRIGHT_RUN:
        raise EdgekitError(
            (
                "the blade is no even dark silhouette: it is lit from the front, or its ground "
                "is uneven"
            ),
            f"brightness inside the edge varies by {run:.0%} of the step",
            "Light it from behind and shade it from the front.",
        )
    if abs(line.skew_px) > max(SKEW_SHARE * line.blur_px, 0.05):
        raise EdgekitError(
            "the blur is one-sided: the response curve is not the picture's, or light "
            "comes from the "
            "front",
            (
                f"{line.skew_px:+.2f} px of skew with {line.blur_px:.2f} px of blur, read as "
                f"{picture.response}"
            ),
            "Read it with the response it was written with (cameras: ek.pictures.SRGB).",
        )
    split = float((_split(line) | _soft(line)).mean())
    if split > FLAGGED_SHARE:
        raise EdgekitError(
            "along much of the outline two readings of the edge disagree, or it is far "
            "less sharp than "
            "elsewhere: glare, light from the front, a tilted blade",
            f"{split:.0%} of it",
            "Light it from behind only, and level it.",
        )


def _scatter(values: FloatArray) -> float:
    """Scatter as the reach of the middle four fifths tells it: a tip or a speck does not count."""
    low, high = np.percentile(values, (10, 90))
    return float(high - low) / 2.563


def _split(line: _Reading) -> NDArray[np.bool_]:
    """Where the two readings differ (N,), as a mean along the line, beyond noise; or a rim
    shows."""
    apart = np.where(line.seen.met, line.seen.steepest_px - line.seen.offset_px, 0.0)
    mean = ndimage.uniform_filter1d(apart, _ALONG, mode="nearest")
    noise = MEDIAN_TO_SD * float(np.median(np.abs(apart - mean))) / np.sqrt(_ALONG / 2)
    return np.asarray((np.abs(mean) > max(SPLIT_PX, 4 * noise)) | (line.seen.bump > BUMP))


def _soft(line: _Reading) -> NDArray[np.bool_]:
    """Where the step is far less steep (N,) than along the sharpest quarter of the outline."""
    steep = line.seen.slope / np.maximum(line.seen.bright - line.seen.dark, 1e-9)
    even = ndimage.uniform_filter1d(steep, 2 * _ALONG, mode="nearest")
    return np.asarray(even < SOFT_SHARE * np.percentile(even, 75))


def _measured(
    picture: Picture,
    scale: Scale,
    line: _Reading,
    heel: EdgeLength | HeelAt | None,
    notes: tuple[str, ...],
) -> Outline:
    seen = line.seen
    back = line.blur_px**2 * line.bend / 2
    offset = np.where(seen.met, seen.offset_px, 0.0)
    even = ndimage.gaussian_filter1d(offset, ALONG_PX, mode="nearest")
    px = line.line + (even + back)[:, None] * line.normals
    noise = _noise(offset, even, seen.sd_px)
    points = scale.to_mm(px)
    ahead = scale.to_mm(px + 0.5 * line.normals) - scale.to_mm(px - 0.5 * line.normals)
    um_per_px = 1000 * np.linalg.norm(ahead, axis=1)
    step = seen.bright - seen.dark
    quality = np.zeros(len(px), dtype=np.uint8)
    quality |= np.where(_split(line), Quality.SPLIT, 0).astype(np.uint8)
    quality |= np.where(_soft(line), Quality.SOFT, 0).astype(np.uint8)
    quality |= np.where(line.clipped, Quality.CLIPPED, 0).astype(np.uint8)
    weak = ~seen.met | (step < 0.5 * np.median(step))
    quality |= np.where(weak, Quality.WEAK, 0).astype(np.uint8)
    quality |= np.where(noise > 0.5, Quality.NOISY, 0).astype(np.uint8)
    mean_scale = float(np.median(um_per_px))
    bend = 1000 * line.bend / um_per_px
    _check_size("long", float(np.linalg.norm(np.ptp(points, axis=0))), _LENGTHS_MM)
    parts, more = tell_apart(points, heel, scale, line.blur_px * mean_scale / 1000)
    _check_size("wide", _width(points, parts), _WIDTHS_MM)
    kink = np.abs(bend) > KINK_PER_MM
    kink[max(parts.cap[0] - 12, 0) : parts.cap[1] + 13] = False
    quality |= np.where(kink, Quality.KINK, 0).astype(np.uint8)
    return Outline(
        points_mm=points,
        normals=ahead / np.linalg.norm(ahead, axis=1)[:, None],
        sd_um=noise * um_per_px,
        quality=quality,
        edge_spread_um=line.blur_px * mean_scale,
        skew_um=line.skew_px * mean_scale,
        skew_sd_um=line.skew_sd_px * mean_scale,
        response_um=_response(picture, line) * mean_scale,
        curvature_per_mm=bend,
        parts=parts,
        notes=(*notes, *more),
        scale=scale,
        picture=picture,
    )


def _response(picture: Picture, line: _Reading) -> float:
    """Standard deviation [px] of an edge's place for the sake of the response curve."""
    unstated = 0.0 if picture.response_stated else UNSTATED_SHIFT * line.blur_px
    sure = np.sqrt(max(line.skew_px**2 - line.skew_sd_px**2, 0.0))
    return float(np.hypot(SHIFT_PER_SKEW * sure, unstated))


def _noise(offset: FloatArray, even: FloatArray, sd: FloatArray) -> FloatArray:
    """Standard deviation (N,) [px] of the averaged offsets, the pixel grid's own share included.

    Noise already even over c points and averaged over a Gaussian of s keeps c/√(c² + s²) of its
    variance; what scatters beyond the noise of light is the grid's, the same everywhere.
    """
    left = _OWN_PX / np.hypot(ALONG_PX, _OWN_PX)
    seen = MEDIAN_TO_SD * float(np.median(np.abs(offset - even)))
    grid = max(seen**2 - float(np.median(sd**2)) * (1 - left), 0.0)
    return np.asarray(np.sqrt(left * sd**2 + grid + GRID_PX**2))


def _check_size(word: str, size_mm: float, limits_mm: tuple[float, float]) -> None:
    if not limits_mm[0] < size_mm < limits_mm[1]:
        raise EdgekitError(
            "the blade would be of no size that blades have",
            f"{size_mm:.3g} mm {word}",
            "Check the pitch or the known width of the target.",
        )


def _width(points: FloatArray, parts: Parts) -> float:
    """A width [mm] a little behind the toe."""
    toe = parts.toe
    left, right = points[:toe], points[toe + 1 :]
    arc = arc_of(points)
    reach = min(arc[toe], arc[-1] - arc[toe]) * 0.5
    k = int(np.searchsorted(arc, arc[toe] - reach))
    return float(nearest(cKDTree(right), left[min(k, len(left) - 1)])[0])
