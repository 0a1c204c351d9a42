"""A camera over a plane: a homography and one radial term, fitted to points of a known grid.

A point of the plane goes to d = H (x, y, 1) about the picture's centre, and from there to centre +
d (1 + k |d|²/s²), with s half the longer side. A lens's decentring and higher terms are left out;
the residual says whether that was enough.
"""

from __future__ import annotations

import numpy as np

from edgekit.checks import FloatArray
from edgekit.errors import Cannot
from edgekit.record import Record

_ROUNDS = 30


class PlaneCamera(Record):
    """Nine numbers, and their covariance (9, 9) from the scatter about the fit [px²].

    ``numbers``: the first eight entries of H (with H33 = 1), and k. ``centre_px`` (2,),
    ``reach_px``: the centre of the field and s. ``residual_px``: standard deviation of a
    coordinate.
    """

    numbers: FloatArray
    covariance: FloatArray
    centre_px: FloatArray
    reach_px: float
    residual_px: float

    def to_px(self, plane_mm: FloatArray) -> FloatArray:
        """Pixels (..., 2) of points of the plane (..., 2) [mm]."""
        return project(self.numbers, plane_mm, self.reach_px) + self.centre_px

    def to_mm(self, px: FloatArray) -> FloatArray:
        """Points of the plane (..., 2) [mm] of pixels (..., 2)."""
        bent = np.asarray(px, dtype=float) - self.centre_px
        size = np.linalg.norm(bent, axis=-1, keepdims=True)
        straight = size.copy()
        k = self.numbers[8] / self.reach_px**2
        for _ in range(_ROUNDS):  # Newton on r (1 + k r²) = |d|
            step = (straight * (1 + k * straight**2) - size) / (1 + 3 * k * straight**2)
            straight = straight - step
            if not (np.abs(step) > 1e-12 * self.reach_px).any():
                break
        else:
            raise Cannot(
                "the radial term cannot be undone this far from the centre",
                float(self.numbers[8]),
                "Measure nearer to the middle of the field, or let the target reach further out.",
            )
        flat = bent * np.where(size > 0, straight / np.where(size > 0, size, 1.0), 1.0)
        inverse = np.linalg.inv(np.append(self.numbers[:8], 1.0).reshape(3, 3))
        out = np.concatenate([flat, np.ones((*flat.shape[:-1], 1))], axis=-1) @ inverse.T
        return np.asarray(out[..., :2] / out[..., 2:])

    def sd_px(self, plane_mm: FloatArray) -> FloatArray:
        """Standard deviation (...,) [px] of a coordinate of where points of the plane are seen."""
        slope = _slopes(self.numbers, np.asarray(plane_mm, dtype=float), self.reach_px)
        spread = np.einsum("...ij,jk,...ik->...i", slope, self.covariance, slope)
        return np.asarray(np.sqrt(spread.mean(axis=-1)))


def homography(plane: FloatArray, px: FloatArray) -> FloatArray:
    """The homography (3, 3) from plane (N, 2) to px (N, 2), N >= 4, by normalised linear equations.

    Hartley, R., Zisserman, A. Multiple View Geometry in Computer Vision, 2nd ed., algorithm 4.2
    (cited from memory).
    """
    to_a, a = _normalised(plane)
    to_b, b = _normalised(px)
    x, y = a.T
    u, v = b.T
    one, nil = np.ones_like(x), np.zeros_like(x)
    rows = np.concatenate(
        [
            np.stack([x, y, one, nil, nil, nil, -u * x, -u * y, -u], axis=1),
            np.stack([nil, nil, nil, x, y, one, -v * x, -v * y, -v], axis=1),
        ]
    )
    h = np.linalg.eigh(rows.T @ rows)[1][:, 0].reshape(3, 3)
    out = np.linalg.inv(to_b) @ h @ to_a
    return np.asarray(out / out[2, 2])


def _normalised(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    centre = points.mean(axis=0)
    size = np.sqrt(((points - centre) ** 2).sum(axis=1).mean() / 2)
    turn = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, size]]) / size
    return turn, (points - centre) / size


def project(numbers: FloatArray, plane: FloatArray, reach_px: float) -> FloatArray:
    """Pixels (..., 2) about the centre of the field, of points of the plane (..., 2)."""
    h = np.append(numbers[:8], 1.0).reshape(3, 3)
    out = np.concatenate([plane, np.ones((*plane.shape[:-1], 1))], axis=-1) @ h.T
    flat = out[..., :2] / out[..., 2:]
    reach = (flat**2).sum(axis=-1, keepdims=True) / reach_px**2
    return np.asarray(flat * (1 + numbers[8] * reach))


def _slopes(numbers: FloatArray, plane: FloatArray, reach_px: float) -> FloatArray:
    """Derivatives (..., 2, 9) of `project` by the nine numbers."""
    out = np.empty((*plane.shape[:-1], 2, 9))
    for k in range(9):
        step = np.zeros(9)
        step[k] = 1e-6 * max(abs(numbers[k]), 1e-3 if k in (6, 7, 8) else 1.0)
        high = project(numbers + step, plane, reach_px)
        low = project(numbers - step, plane, reach_px)
        out[..., k] = (high - low) / (2 * step[k])
    return out


def fit_plane_camera(
    plane_mm: FloatArray, px: FloatArray, size_px: tuple[int, int], *, radial: bool = True
) -> PlaneCamera:
    """Fit to points (N, 2) seen at px (N, 2), by Gauss-Newton from the linear solution."""
    centre = (np.array(size_px, dtype=float) - 1) / 2
    reach = max(size_px) / 2
    free = 9 if radial else 8
    numbers = np.append(homography(plane_mm, px - centre).ravel()[:8], 0.0)
    for _ in range(_ROUNDS):
        left = (px - centre - project(numbers, plane_mm, reach)).ravel()
        slope = _slopes(numbers, plane_mm, reach).reshape(-1, 9)[:, :free]
        size = np.linalg.norm(slope, axis=0)
        step = np.linalg.lstsq(slope / size, left, rcond=None)[0] / size
        numbers[:free] += step
        if not np.abs(slope @ step).max() > 1e-6:
            break
    else:
        raise Cannot(
            "the corners do not fit a plane seen by a camera",
            f"{float(np.abs(left).max()):.3g} px",
            "Check that the board is flat and the corners are its own.",
        )
    spare = max(left.size - free, 1)
    noise = float(np.sqrt((left**2).sum() / spare))
    covariance = np.zeros((9, 9))
    inverse = np.linalg.inv((slope / size).T @ (slope / size)) / np.outer(size, size)
    covariance[:free, :free] = noise**2 * inverse
    return PlaneCamera(
        numbers=numbers, covariance=covariance, centre_px=centre, reach_px=reach, residual_px=noise
    )
