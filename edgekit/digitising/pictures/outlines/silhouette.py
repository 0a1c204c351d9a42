"""Find the blade in a picture: the one dark shape that enters over the border and ends inside."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from edgekit.checks import FloatArray, frozen_array
from edgekit.digitising.pictures.profiles import contours, levels, reduced, resampled
from edgekit.digitising.pictures.reading import Picture
from edgekit.digitising.pictures.targets.calibrating import Scale
from edgekit.errors import BadArgument, Cannot

MIN_STEP = 0.08  # of full scale between ground and blade
MIN_CONTRAST = 6.0  # in scatters of the two levels
SEARCHED_PX = 1.5e6  # a larger picture is searched at a half or a third of its size
_SMALL = 0.02  # of the blade's line: dust, scratches in the ground
_MIN_PX = 80  # a shorter line is too short for a blade
_ROUGH_BLUR_PX = 1.0


class BladeLine(NamedTuple):
    """The rough outline (N, 2) [px], shank to shank along the left side and the right; remarks."""

    line_px: FloatArray
    notes: tuple[str, ...]


def blade_line(
    picture: Picture, scale: Scale, region_px: tuple[float, float, float, float] | None
) -> BladeLine:
    """Find the blade, or say what is in its place."""
    light, corner = _region(picture, region_px)
    own = scale.sha256 == picture.sha256
    light = _masked(light, scale.target_px - corner) if own else light
    dark, bright, contrast = levels(light)
    if not (bright - dark > MIN_STEP and contrast > MIN_CONTRAST):
        raise Cannot(
            "no blade stands out from the ground",
            f"brightness {dark:.3f} to {bright:.3f}",
            "Light it from behind, evenly, and focus on its edges.",
        )
    level = (dark + bright) / 2
    small, k = reduced(light, SEARCHED_PX)
    smooth = ndimage.gaussian_filter(small, _ROUGH_BLUR_PX)
    rim = _border(smooth)
    if not np.mean(rim > level) > 0.5:
        raise Cannot(
            "the ground is darker than what lies on it, or the blade fills the frame",
            f"{np.mean(rim < level):.0%} of the border is dark",
            "Light it from behind; leave bright ground on all sides.",
        )
    lines = [line for line in contours(smooth, level) if len(line) > _MIN_PX / 2]
    chosen, notes = _choose(lines, smooth < level)
    line = resampled(k * chosen + (k - 1) / 2)
    if not _steel_on_the_right(light, line):
        line = line[::-1]
    return BladeLine(line + corner, notes)


def _border(light: NDArray[np.floating]) -> NDArray[np.floating]:
    """The outermost pixels of a picture, side by side."""
    return np.concatenate([light[0], light[-1], light[:, 0], light[:, -1]])


def _region(
    picture: Picture, region: tuple[float, float, float, float] | None
) -> tuple[NDArray[np.float32], FloatArray]:
    if region is None:
        return picture.light, np.zeros(2)
    columns, rows = picture.size_px
    left, top, right, bottom = (round(v) for v in frozen_array("region_px", region, (4,)))
    if not (
        0 <= left < right - 60 and 0 <= top < bottom - 60 and right <= columns and bottom <= rows
    ):
        raise BadArgument(
            "region_px must lie in the picture and be 60 pixels wide",
            tuple(region),
            "Give left, top, right, bottom in pixels.",
            argument="region_px",
        )
    return picture.light[top:bottom, left:right], np.array([left, top], dtype=float)


def _masked(light: NDArray[np.float32], polygon: FloatArray) -> NDArray[np.float32]:
    """The picture with the target (a convex polygon) painted over with the ground about it."""
    rows, columns = light.shape
    low = np.clip(np.floor(polygon.min(axis=0)).astype(int), 0, [columns, rows])
    high = np.clip(np.ceil(polygon.max(axis=0)).astype(int) + 1, 0, [columns, rows])
    if not (high > low).all():
        return light
    y, x = np.mgrid[low[1] : high[1], low[0] : high[0]]
    inside = np.ones(x.shape, dtype=bool)
    middle = polygon.mean(axis=0)
    for a, b in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        out = np.array([b[1] - a[1], a[0] - b[0]])
        out = -out if out @ (middle - a) > 0 else out
        inside &= (x - a[0]) * out[0] + (y - a[1]) * out[1] <= 0
    painted = light.copy()
    part = painted[low[1] : high[1], low[0] : high[0]]
    part[inside] = np.float32(np.percentile(light[:: max(rows // 500, 1)], 90))
    return painted


def _choose(lines: list[FloatArray], dark: NDArray[np.bool_]) -> tuple[FloatArray, tuple[str, ...]]:
    """The one long line that begins and ends on the border."""
    length = np.array([np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines])
    closed = np.array([np.linalg.norm(line[0] - line[-1]) < 1e-6 for line in lines], dtype=bool)
    if not len(lines) or not length.max() > _MIN_PX:
        raise Cannot("no blade is to be seen", 0, "Show one blade, dark on a bright ground.")
    large = length > max(_MIN_PX, _SMALL * float(length.max()))
    long = length > 0.2 * length.max()
    opened = [
        line
        for line, is_closed, fits in zip(lines, closed, large, strict=True)
        if fits and not is_closed
    ]
    if not opened:
        raise Cannot(
            "the shank does not run out over the border",
            f"{int(closed.sum())} closed shapes",
            "Show the terminal shank at the border, the toe inside.",
        )
    if len(opened) > 1:
        raise _more_than_one(opened, dark[::2, ::2])
    others = int((closed & long).sum())
    if others:
        raise Cannot(
            "another shape lies beside the blade, or a bright patch on it",
            others,
            "Show one blade lit from behind only, or give region_px; calibrate a target in the "
            "picture first.",
        )
    specks = int((closed & ~long).sum())
    notes = (
        (f"{specks} small closed shapes were left out: dust, or glare on the blade.",)
        if specks
        else ()
    )
    return opened[0], notes


def _more_than_one(opened: list[FloatArray], dark: NDArray[np.bool_]) -> Cannot:
    """What to say of several lines from border to border, over every second pixel's darkness."""
    label, _ = ndimage.label(dark)
    pieces = {_piece(label, line / 2, dark) for line in opened}
    if len(pieces) == 1:
        return Cannot(
            "the blade reaches over the border at both ends: the toe is not in the picture",
            len(opened),
            "Show the whole blade; a frame shorter than it gives plausible nonsense.",
        )
    return Cannot(
        "more than one dark thing comes in over the border",
        len(pieces),
        "Show one blade, or give region_px.",
    )


def _piece(label: NDArray[np.integer], line: FloatArray, dark: NDArray[np.bool_]) -> int:
    """The number of the dark piece along a line."""
    at = np.rint(line[:: max(len(line) // 50, 1)]).astype(int)
    rows, columns = dark.shape
    votes: list[int] = []
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            x = np.clip(at[:, 0] + dx, 0, columns - 1)
            y = np.clip(at[:, 1] + dy, 0, rows - 1)
            votes += label[y, x].tolist()
    marks = [v for v in votes if v]
    return max(set(marks), key=marks.count) if marks else 0


def _steel_on_the_right(light: NDArray[np.float32], line: FloatArray) -> bool:
    """Whether the dark side lies to the right of the line's sense, as y runs up."""
    step = line[4:] - line[:-4]
    normal = np.stack([step[:, 1], -step[:, 0]], axis=1)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
    middle = line[2:-2]
    outer, inner = (
        ndimage.map_coordinates(light, (middle + d * normal)[:, ::-1].T, order=1, mode="nearest")
        for d in (3, -3)
    )
    return bool((outer - inner).mean() > 0)
