"""What the profiles across a blade's outline say of its place, its blur and the light on it.

A line is read by profiles along its normals, moved to where they cross their mid level, and read
again. Light that moves an edge by micrometres is refused.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import erfinv

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.profiles import (
    MEDIAN_TO_SD,
    STEP,
    Crossings,
    crossings,
    normals_of,
    resampled,
    sample,
    smoothed,
)
from edgekit.digitising.pictures.reading import Picture
from edgekit.errors import Cannot

PROFILE_PX = 6.0  # least reach of a profile to either side
SPLIT_PX = 0.15  # between the two readings of an edge: a rim of glare gives as much
BUMP = 0.12  # of the step: a rim of glare beside the edge
SOFT_SHARE = 0.65
SKEW_SHARE = 0.12  # of the blur: what a wrong response curve or front light leaves of asymmetry
CLIPPED_PROFILE = 0.12  # of a profile: a pixel or two may be dark by chance
CLIPPED_SHARE = 0.02  # of the points: beyond that the levels mean nothing
FLAGGED_SHARE = 0.25
_RUNS = 20  # stretches of an outline that are held against one another
_ALONG = 15  # points over which the two readings are compared
DARK_RUN, BRIGHT_RUN = 0.05, 0.25  # scatter of the two ends along the line: front light, shadows


class LineReading(NamedTuple):
    """A line (N, 2) [px] and what its profiles say; blur and skew are the mean profile's."""

    line: FloatArray
    normals: FloatArray
    bend: FloatArray
    seen: Crossings
    clipped: NDArray[np.bool_]
    blur_px: float
    skew_px: float
    skew_sd_px: float

    @classmethod
    def first(cls, picture: Picture, line: FloatArray) -> LineReading:
        """Read a rough line."""
        return cls._read(picture, line, PROFILE_PX + 2, 1.0)

    def again(self, picture: Picture) -> LineReading:
        """Move the line to where its profiles cross their mid level, and read it there."""
        met = self.seen.met
        moved = self.line[met] + self.seen.offset_px[met, None] * self.normals[met]
        if len(moved) < 40:
            raise Cannot("hardly any edge is to be seen", len(moved), "Light it from behind.")
        reach = max(PROFILE_PX, 4 * self.blur_px + 2)
        return self._read(picture, resampled(smoothed(moved, 1.0)), reach, self.blur_px)

    @classmethod
    def _read(cls, picture: Picture, line: FloatArray, reach: float, blur_px: float) -> LineReading:
        reach = float(np.ceil(reach))
        line = _inside(line, picture.size_px, reach)
        offsets = np.arange(-reach, reach + STEP / 2, STEP)
        normals, bend = normals_of(line, 4.0)
        at = line[:, None] + offsets[None, :, None] * normals[:, None]
        profiles = sample(picture.light, at)
        seen = crossings(offsets, profiles, picture.step, blur_px)
        near = np.rint(at).astype(int)
        hit = picture.clipped[near[..., 1], near[..., 0]]
        blur, skew, skew_sd = _spread(offsets, profiles, seen)
        _, bend = normals_of(line, 10.0)
        return cls(
            line, normals, bend, seen, hit.mean(axis=1) > CLIPPED_PROFILE, blur, skew, skew_sd
        )


def _inside(line: FloatArray, size: tuple[int, int], reach: float) -> FloatArray:
    """The stretch of the line whose profiles stay inside the picture."""
    inside = np.asarray(((line > reach + 1) & (line < np.array(size) - reach - 2)).all(axis=1))
    if not inside.any():
        raise Cannot("the blade lies along the border", line[0].tolist(), "Leave room around it.")
    first, last = np.nonzero(inside)[0][[0, -1]]
    part = inside[first : last + 1]
    if not part.all():
        where = line[first : last + 1][~part][0]
        raise Cannot(
            "the blade touches the border elsewhere than at its shank",
            np.round(where).tolist(),
            "Move the picture so that the edges and the toe lie well inside.",
        )
    return line[first : last + 1]


def _spread(
    offsets: FloatArray, profiles: FloatArray, seen: Crossings
) -> tuple[float, float, float]:
    """Blur, one-sidedness and the error of that [px]: from slope at the crossing and area under it.

    A symmetric blur of any shape leaves the area on either side of the edge equal.
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


def refuse_bad_light(picture: Picture, line: LineReading) -> None:
    """Refuse what the light has moved: clipped, lit from the front, read with a wrong response."""
    _refuse_clipped(line)
    _refuse_uneven(line.seen)
    if abs(line.skew_px) > max(SKEW_SHARE * line.blur_px, 0.05):
        raise Cannot(
            "the blur is one-sided: the response curve is not the picture's, or light comes from "
            "the front",
            f"{line.skew_px:+.2f} px of skew with {line.blur_px:.2f} px of blur, read as "
            f"{picture.response}",
            "Read it with the response it was written with (cameras: ek.pictures.SRGB).",
        )
    split = float((disagreeing(line) | soft(line)).mean())
    if split > FLAGGED_SHARE:
        raise Cannot(
            "along much of the outline two readings of the edge disagree, or it is far less sharp "
            "than elsewhere: glare, light from the front, a tilted blade",
            f"{split:.0%} of it",
            "Light it from behind only, and level it.",
        )


def _refuse_clipped(line: LineReading) -> None:
    clipped = float(line.clipped.mean())
    if clipped > CLIPPED_SHARE:
        bright = float((line.seen.bright > line.seen.dark).mean())
        raise Cannot(
            "the ground or the blade is clipped beside the edge, which moves it by micrometres",
            f"{clipped:.0%} of the outline, {bright:.0%} of it on a bright ground",
            "Expose less, until no pixel is at the end of the scale.",
        )


def _refuse_uneven(seen: Crossings) -> None:
    step = np.median(seen.bright - seen.dark)
    run, uneven = (float(_scatter(v) / max(step, 1e-9)) for v in (seen.dark, seen.bright))
    if run > DARK_RUN or uneven > BRIGHT_RUN:
        raise Cannot(
            "the blade is not an even dark silhouette: it is lit from the front, or its ground is "
            "uneven",
            f"brightness inside the edge varies by {run:.0%} of the step",
            "Light it from behind and shade it from the front.",
        )


def _scatter(values: FloatArray) -> float:
    """Scatter from the range of the middle four fifths: a tip or a speck does not count."""
    low, high = np.percentile(values, (10, 90))
    return float(high - low) / 2.563


def disagreeing(line: LineReading) -> NDArray[np.bool_]:
    """Where the two readings differ (N,) by more than noise along the line, or a rim shows."""
    apart = np.where(line.seen.met, line.seen.steepest_px - line.seen.offset_px, 0.0)
    mean = ndimage.uniform_filter1d(apart, _ALONG, mode="nearest")
    noise = MEDIAN_TO_SD * float(np.median(np.abs(apart - mean))) / np.sqrt(_ALONG / 2)
    return np.asarray((np.abs(mean) > max(SPLIT_PX, 4 * noise)) | (line.seen.bump > BUMP))


def soft(line: LineReading) -> NDArray[np.bool_]:
    """Where the step is far less steep (N,) than along the sharpest quarter of the outline."""
    steep = line.seen.slope / np.maximum(line.seen.bright - line.seen.dark, 1e-9)
    even = ndimage.uniform_filter1d(steep, 2 * _ALONG, mode="nearest")
    return np.asarray(even < SOFT_SHARE * np.percentile(even, 75))
