"""Corners of a board to the limit of their noise: a model of four squares, fitted to the pixels.

The saddle of a quadratic uses the middle of a corner; most of what a picture knows of its place is
in the edges that run into it. A camera fitted to all corners says how those edges run, straight on
the board and bent in the picture. Every pixel belongs to one corner, so that errors stay
independent. As the model looks the same turned by half, an error in its blur, its levels or the
response curve moves no corner; light that changes evenly across it is fitted too.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from edgekit.checks import FloatArray
from edgekit.digitising.pictures.targets.plane import PlaneCamera, fit_plane_camera
from edgekit.errors import Cannot

REACH_PX = 24.0  # along each edge from its corner: further out dust and bends of the lens count
RAMP_PX = 2.0  # over which the window fades
FARTHEST_PX = 0.5  # from the saddle: further off the model has caught on something else
_ROUNDS = 6
_CLOSE_PX = 1e-4
_LEAST_BLUR_PX = 0.3  # a pixel's own
_NOISES = 2  # rounds in which the noise is measured


class _Windows(NamedTuple):
    """Pixels (N, P, 2) about N corners, their light (N, P), and which are in the picture."""

    px: FloatArray
    light: FloatArray
    inside: NDArray[np.bool_]


class _Model(NamedTuple):
    """Light (N, P) of the model, its derivatives (N, P, 7), and the share of each pixel."""

    light: FloatArray
    slopes: FloatArray
    weight: FloatArray


def refined(light: NDArray[np.floating], corners: FloatArray) -> FloatArray:
    """Corners (down, across, 2) [px] fitted to the pixels about them, from their saddles."""
    down, across = corners.shape[:2]
    index = np.stack(np.meshgrid(np.arange(across), np.arange(down)), axis=-1).astype(float)
    rows, columns = light.shape
    try:
        camera = fit_plane_camera(index.reshape(-1, 2), corners.reshape(-1, 2), (columns, rows))
        return np.stack([_row(light, camera, *row) for row in zip(index, corners, strict=True)])
    except Cannot:  # no plane: told where the scale is made
        return corners


def _row(
    light: NDArray[np.floating], camera: PlaneCamera, index: FloatArray, corners: FloatArray
) -> FloatArray:
    """One row of corners (N, 2)."""
    step = 0.5 * np.eye(2)
    sides = [camera.to_px(index + s) - camera.to_px(index - s) for s in step]
    square = np.stack([np.linalg.norm(side, axis=1) for side in sides], axis=1)
    reach = 0.5 * np.minimum(1.0, 2 * REACH_PX / square)[:, :, None] * np.abs(np.stack(sides, 1))
    windows = _windows(light, corners, int(np.ceil(reach.sum(axis=1).max() + RAMP_PX)))
    plane = camera.to_mm(windows.px) - camera.to_mm(corners)[:, None]
    to_plane = np.linalg.inv(np.stack(sides, axis=-1))  # rows: gradients of both coordinates
    normals = to_plane / np.linalg.norm(to_plane, axis=2, keepdims=True)
    away = plane / np.linalg.norm(to_plane, axis=2)[:, None]  # (N, P, 2) [px] from both edges
    share = _share(plane, square) * windows.inside
    place = _fit(windows, away, normals, share)
    moved = np.linalg.norm(place, axis=1) < FARTHEST_PX
    return np.where(moved[:, None], corners + place, corners)


def _windows(light: NDArray[np.floating], corners: FloatArray, half: int) -> _Windows:
    steps = np.arange(-half, half + 1)
    offset = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    px = np.rint(corners).astype(int)[:, None] + offset
    most = np.array(light.shape[::-1]) - 1
    inside = np.asarray(((px >= 0) & (px <= most)).all(axis=2))
    at = np.clip(px, 0, most)
    return _Windows(px.astype(float), light[at[..., 1], at[..., 0]].astype(float), inside)


def _share(plane: FloatArray, square: FloatArray) -> FloatArray:
    """Weight (N, P) of pixels by their place: 1 within half a square, fading at its border."""
    reach = np.minimum(0.5 * square, REACH_PX)[:, None]
    left = reach - np.abs(plane) * square[:, None]
    return np.asarray(np.clip(0.5 + left / RAMP_PX, 0.0, 1.0).prod(axis=2))


def _fit(windows: _Windows, away: FloatArray, normals: FloatArray, share: FloatArray) -> FloatArray:
    """Shift (N, 2) [px] of each corner: Gauss-Newton, pixels weighed by their own noise."""
    numbers = np.zeros((len(away), 7))  # shift, blur, then linear: contrast, level, two slopes
    numbers[:, 2] = 1.0
    weight, offset = share, windows.px - windows.px.mean(axis=1, keepdims=True)
    sense = np.sign((windows.light * np.sign(away.prod(axis=2)) * share).sum(axis=1))
    numbers[:, 3] = sense * 0.5 * np.ptp(windows.light, axis=1)
    for turn in range(_ROUNDS):
        model, slopes = _model(numbers, away, normals, offset)
        left = windows.light - model
        if 0 < turn <= _NOISES:
            weight = share / _variance(model, left, share)
        rows = slopes * weight[..., None]
        normal = rows.swapaxes(1, 2) @ slopes
        size = np.sqrt(np.maximum(np.diagonal(normal, axis1=1, axis2=2), 1e-30))
        normal = normal / (size[:, :, None] * size[:, None, :]) + 1e-9 * np.eye(7)
        toward = (left[:, None] @ rows)[:, 0] / size
        step = np.linalg.solve(normal, toward[..., None])[..., 0] / size
        step[:, :3] = np.clip(step[:, :3], -0.5, 0.5)
        numbers = numbers + step
        numbers[:, 2] = np.maximum(numbers[:, 2], _LEAST_BLUR_PX)
        if turn > _NOISES and not np.abs(step[:, :2]).max() > _CLOSE_PX:
            break
    return numbers[:, :2]


def _model(
    numbers: FloatArray, away: FloatArray, normals: FloatArray, offset: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Light (N, P) of four blurred squares on even light, and its derivatives (N, P, 7)."""
    shift = (normals @ numbers[:, :2, None])[..., 0]
    blur, contrast = numbers[:, 2, None], numbers[:, 3, None]
    z = (away - shift[:, None]) / blur[..., None]
    step = special.erf(z / np.sqrt(2))
    bell = np.sqrt(2 / np.pi) * np.exp(-0.5 * z**2) / blur[..., None]  # slopes of both steps
    four = step.prod(axis=2)
    across = bell * step[..., ::-1]
    place = -contrast[..., None] * (across @ normals)
    soft = -contrast * (across * z).sum(axis=2)
    slopes = np.concatenate(
        [place, np.stack([soft, four, np.ones_like(four)], axis=-1), offset], axis=-1
    )
    linear = (slopes[..., 4:] @ numbers[:, 4:, None])[..., 0]
    return contrast * four + linear, slopes


def _variance(model: FloatArray, left: FloatArray, share: FloatArray) -> FloatArray:
    """Noise variance (N, P) as a straight line over brightness, as light has it, from residuals."""
    bright = np.clip(model, 0.0, None)
    at = float(np.average(bright, weights=share))
    low = (share * (bright < at)).ravel()
    high = (share * (bright >= at)).ravel()
    place = [float(np.average(bright.ravel(), weights=w)) for w in (low, high)]
    seen = [float(np.average(left.ravel() ** 2, weights=w)) for w in (low, high)]
    slope = max((seen[1] - seen[0]) / max(place[1] - place[0], 1e-9), 0.0)
    least = 0.02 * max(seen) + 1e-12
    return np.maximum(seen[0] + slope * (bright - place[0]), least)
