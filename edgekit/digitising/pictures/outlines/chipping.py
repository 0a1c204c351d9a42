"""Chips: short dents of an edge that its own smooth run does not explain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.pictures.outlines.blade_outline import ALONG_PX, Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.pictures.profiles import MEDIAN_TO_SD
from edgekit.units import UM_PER_MM

__all__ = ["Chip", "chips"]

HEEL_OUT_MM = 0.25  # there the outline bends into the shank, which is not a chip
NARROWEST = 0.6  # of the width as read: a chip narrower than the blur is not made up for further
CLEAR_MM = 0.08  # about a chip nothing else is looked for
MAX_MM = 0.20  # a wider dent is shape, not a chip
STEP_MM = 0.004
SEARCHED_MM = (0.008, 0.016, 0.030)  # half-widths of the dents looked for
SURE = 6.0  # standard deviations of the matched reading: none false in a hundred edges
MIN_UM = 0.6  # in the matched reading: the outline's own waves stay below
RUN_MM = 0.25  # over which the edge's smooth run is a parabola


@dataclass(frozen=True, kw_only=True)
class Chip:
    """One chip.

    Attributes
    ----------
    at_mm : float
        From the heel [mm].
    depth_um : float
        As read [µm]: blur makes it too small, so the chip is at least as deep.
    corrected_um : float
        Depth with the picture's own blur taken out [µm].
    width_um : float
        At half depth, blur taken out [µm].
    sd_um : float
        Standard deviation of the depth from noise [µm].
    """

    at_mm: float
    depth_um: float
    corrected_um: float
    width_um: float
    sd_um: float

    def __repr__(self) -> str:
        return (
            f"chip {self.at_mm:.2f} mm from the heel: at least {self.depth_um:.1f} µm deep, "
            f"{self.corrected_um:.1f} µm with the blur taken out, {self.width_um:.0f} µm wide"
        )


def chips(line: Outline, *, side: Side) -> tuple[Chip, ...]:
    """Chips of one edge, heel to toe.

    A chip's area is what blur leaves alone: along the edge the outline is read through the
    picture's spread, so a dent of half-width s is read with √(s² + σ²), and its depth is made up
    for by that ratio. The first quarter of a millimetre beside the heel is left out.

    Parameters
    ----------
    line : Outline
        With its heel.
    side : Side

    Returns
    -------
    tuple of Chip
        Empty where none stands out from noise.

    Raises
    ------
    Cannot
        For an outline without its heel.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> blade = P.read_picture(f"{folder}/FH-03-AS1_2026-03-02_a.png", response=P.SRGB)
    >>> line = P.outline(blade, scale, heel=heel)
    >>> P.chips(line, side=P.Side.LEFT)
    ()
    """
    checks.instance("line", line, Outline, "Make one with ek.pictures.outline.")
    arc, dent, noise = _dents(line, side)
    result: list[Chip] = []
    taken = np.zeros(len(arc), dtype=bool)
    score = np.stack([_matched(dent, half / STEP_MM) for half in SEARCHED_MM])
    sds = np.array([_matched_sd(dent, half / STEP_MM, noise, line) for half in SEARCHED_MM])
    sure = (score / sds[:, None]).max(axis=0)
    height = score.max(axis=0)
    edge = int(0.06 / STEP_MM)
    taken[:edge] = taken[-edge:] = True
    while True:
        best = int(np.argmax(np.where(taken, -np.inf, sure)))
        if taken[best] or not (sure[best] > SURE and height[best] > MIN_UM):
            break
        chip = _measured(arc, dent, best, line, noise)
        reach = int(max(2 * chip.width_um / UM_PER_MM, CLEAR_MM) / STEP_MM)
        taken[max(best - reach, 0) : best + reach + 1] = True
        if chip.width_um < UM_PER_MM * MAX_MM and chip.depth_um > 0:
            result.append(chip)
    return tuple(sorted(result, key=lambda chip: chip.at_mm))


def _dents(line: Outline, side: Side) -> tuple[FloatArray, FloatArray, float]:
    """Arc [mm] at even steps along an edge up to its toe, depth below the smooth run and noise."""
    own = line.parts.side(side, toe=False)
    along = np.abs(line.arc_mm[own] - line.arc_mm[own[0]])
    arc = np.arange(along[0] + HEEL_OUT_MM, along[-1], STEP_MM)
    xy = np.stack([np.interp(arc, along, line.points_mm[own, k]) for k in (0, 1)], axis=1)
    normal = np.stack([np.interp(arc, along, line.normals[own, k]) for k in (0, 1)], axis=1)
    normal = ndimage.gaussian_filter1d(normal, 10, axis=0)
    half = int(RUN_MM / STEP_MM)
    t = np.arange(-half, half + 1) / half
    design = np.stack([np.ones_like(t), t, t * t], axis=1)
    run = xy.copy()
    weight = np.ones(len(arc))
    for _ in range(3):  # dents weigh less and less
        run = _local(xy, weight, design, half)
        left = ((xy - run) * normal).sum(axis=1)
        scale = MEDIAN_TO_SD * float(np.median(np.abs(left))) + 1e-6
        weight = 1 / (1 + (np.maximum(-left, 0) / (2 * scale)) ** 4)
    dent = -UM_PER_MM * ((xy - run) * normal).sum(axis=1)
    return arc, dent, float(UM_PER_MM * scale)


def _local(xy: FloatArray, weight: FloatArray, design: FloatArray, half: int) -> FloatArray:
    """Value (N, 2) at each point of the weighted parabola through its neighbours."""
    pad = np.pad(np.arange(len(xy)), half, mode="edge")
    window = np.lib.stride_tricks.sliding_window_view(pad, 2 * half + 1)
    inside = np.abs(window - np.arange(len(xy))[:, None]) == np.abs(np.arange(-half, half + 1))
    w = weight[window] * inside
    gram = np.einsum("nk,ki,kj->nij", w, design, design)
    data = np.einsum("nk,ki,nkc->nic", w, design, xy[window])
    gram = gram + 1e-9 * np.eye(3)
    return np.asarray(np.linalg.solve(gram, data)[:, 0])


def _kernel(half: float) -> FloatArray:
    """A dent of half-width `half` steps less its wide surroundings, scaled to find itself as 1."""
    reach = int(5 * half) + 1
    t = np.arange(-reach, reach + 1) / half
    kernel = np.exp(-(t**2) / 2)
    kernel = kernel - kernel.mean()
    return np.asarray(kernel / (kernel * np.exp(-(t**2) / 2)).sum())


def _matched(dent: FloatArray, half: float) -> FloatArray:
    return np.asarray(ndimage.correlate1d(dent, _kernel(half), mode="nearest"))


def _matched_sd(dent: FloatArray, half: float, noise: float, line: Outline) -> float:
    """Scatter of the matched reading where there is nothing, not below what noise makes of it."""
    seen = _matched(dent, half)
    robust = MEDIAN_TO_SD * float(np.median(np.abs(seen - np.median(seen))))
    return max(robust, 0.02 * noise, 1e-3 * line.edge_spread_um)


def _measured(arc: FloatArray, dent: FloatArray, at: int, line: Outline, noise: float) -> Chip:
    """Depth, area and width of the dent about a place."""
    blur = float(np.hypot(line.edge_spread_um, ALONG_PX * line.scale.um_per_px)) / UM_PER_MM
    reach = int((2.5 * blur + 0.06) / STEP_MM)
    part = slice(max(at - reach, 0), at + reach + 1)
    x, y = arc[part], dent[part]
    depth = float(y.max())
    top = float(x[np.argmax(y)])
    shallow = np.concatenate([[-1], np.flatnonzero(dent <= depth / 2), [len(dent)]])
    beyond = np.searchsorted(shallow, part.start + np.argmax(y))
    wide = float((shallow[beyond] - shallow[beyond - 1] - 1) * STEP_MM)
    half_width = 2 * np.sqrt(2 * np.log(2))
    true = np.sqrt(max(wide**2 - (half_width * blur) ** 2, (NARROWEST * wide) ** 2))
    return Chip(
        at_mm=top,
        depth_um=depth,
        corrected_um=float(depth * wide / true),
        width_um=UM_PER_MM * true,
        sd_um=noise,
    )
