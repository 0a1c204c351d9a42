"""The outline of a backlit blade, each point with its standard deviation and its quality.

Light decides, not the algorithm: against a bright, unclipped ground an edge is found to a few
hundredths of a pixel; metal lit from the front is refused. Seen square to the face the flanks are
hidden under it, so the outline is the cutting edges, as long as the face is tilted by less than 90°
- β.
"""

from __future__ import annotations

import enum
from dataclasses import field

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.outlines.line_reading import (
    LineReading,
    disagreeing,
    refuse_bad_light,
    soft,
)
from edgekit.digitising.pictures.outlines.parts import (
    EdgeLength,
    HeelAt,
    Parts,
    Side,
    arc_of,
    tell_apart,
)
from edgekit.digitising.pictures.outlines.silhouette import blade_line
from edgekit.digitising.pictures.profiles import MEDIAN_TO_SD, nearest
from edgekit.digitising.pictures.reading import Picture
from edgekit.digitising.pictures.targets.calibrating import Scale
from edgekit.display import html_list, html_text
from edgekit.errors import Cannot
from edgekit.record import Record, read_only
from edgekit.units import UM_PER_MM

__all__ = ["Outline", "Quality", "outline"]

GRID_PX = 0.01  # what the pixel grid leaves at 0.6 px of blur: measured on exact renderings
# Shift of an edge under sRGB read as linear (derived: a normal integral to the 1/2.2).
SHIFT_PER_SKEW = 16.0
UNSTATED_SHIFT = 0.57  # of the blur, by the same
ALONG_PX = 1.0  # Gaussian over which points are averaged along the line
_OWN_PX = 0.4  # over which cubic interpolation has averaged them already
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


class Outline(Record):
    """A blade's outline in the target's plane, shank to shank along the left side and the right.

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
        Where the toe is; where the heel is, if that was given.
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

    @property
    def arc_mm(self) -> FloatArray:
        """Arc length (N,) [mm] from the shank's end of the left side.

        That of the smoothed line: noise has length too.
        """
        return read_only(arc_of(self.points_mm))

    def side(self, side: Side, *, toe: bool = True) -> NDArray[np.intp]:
        """Indices of the points of one edge, heel to toe.

        Parameters
        ----------
        side : Side
        toe : bool
            With its half of the toe's turn.

        Returns
        -------
        array (K,), int

        Raises
        ------
        Cannot
            If no heel was given.
        """
        return self.parts.side(side, toe=toe)

    def __repr__(self) -> str:
        return "\n".join((self._headline, *self.notes))

    @property
    def _headline(self) -> str:
        good = float((self.quality == 0).mean())
        heel = "given" if self.parts.heel is not None else "not given"
        return (
            f"{self.picture.file}: outline of {len(self.points_mm)} points, noise "
            f"{float(np.median(self.sd_um)):.2f} µm, blur {self.edge_spread_um:.1f} µm, {good:.0%} "
            f"good, heel {heel}"
        )

    def _repr_html_(self) -> str:
        return html_text(self._headline) + (html_list(self.notes) if self.notes else "")


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
    Cannot
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
    checks.instance("picture", picture, Picture, "Read it with ek.pictures.read_picture.")
    checks.instance("scale", scale, Scale, "Make one with ek.pictures.calibrate.")
    checks.instance("view", view, View, "Give ek.pictures.View.PLAN.")
    if scale.size_px != picture.size_px:
        raise Cannot(
            "the scale belongs to a picture of another size",
            (scale.size_px, picture.size_px),
            "Take target and blade with one setting of the camera.",
        )
    rough = blade_line(picture, scale, region_px)
    line = LineReading.first(picture, rough.line_px)
    for _ in range(2):
        line = line.again(picture)
    refuse_bad_light(picture, line)
    return _measured(picture, scale, line, heel, rough.notes)


def _measured(
    picture: Picture,
    scale: Scale,
    line: LineReading,
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
    um_per_px = UM_PER_MM * np.linalg.norm(ahead, axis=1)
    mean_scale = float(np.median(um_per_px))
    bend = UM_PER_MM * line.bend / um_per_px
    _check_size("long", float(np.linalg.norm(np.ptp(points, axis=0))), _LENGTHS_MM)
    parts, more = tell_apart(points, heel, scale, line.blur_px * mean_scale / UM_PER_MM)
    _check_size("wide", _width(points, parts), _WIDTHS_MM)
    return Outline(
        points_mm=points,
        normals=ahead / np.linalg.norm(ahead, axis=1)[:, None],
        sd_um=noise * um_per_px,
        quality=_quality(line, noise, bend, parts),
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


def _quality(
    line: LineReading, noise: FloatArray, bend: FloatArray, parts: Parts
) -> NDArray[np.uint8]:
    """Flags (N,) of what is wrong with each point."""
    step = line.seen.bright - line.seen.dark
    kink = np.abs(bend) > KINK_PER_MM
    kink[max(parts.cap[0] - 12, 0) : parts.cap[1] + 13] = False
    wrong = {
        Quality.SPLIT: disagreeing(line),
        Quality.SOFT: soft(line),
        Quality.CLIPPED: line.clipped,
        Quality.WEAK: ~line.seen.met | (step < 0.5 * np.median(step)),
        Quality.NOISY: noise > 0.5,
        Quality.KINK: kink,
    }
    quality = np.zeros(len(noise), dtype=np.uint8)
    for flag, where in wrong.items():
        quality[where] |= np.uint8(flag)
    return quality


def _response(picture: Picture, line: LineReading) -> float:
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
        raise Cannot(
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
