"""Vectors in space: arrays ``(..., 3)`` in, arrays out, nothing normalised unasked."""

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import FloatArray


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """Scalar product over the last axis."""
    return np.asarray(np.einsum("...i,...i->...", a, b))


def cross(a: FloatArray, b: FloatArray) -> FloatArray:
    """Vector product over the last axis; much faster than `numpy.cross` on short arrays."""
    a0, a1, a2 = a[..., 0], a[..., 1], a[..., 2]
    b0, b1, b2 = b[..., 0], b[..., 1], b[..., 2]
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[..., 0] = a1 * b2 - a2 * b1
    out[..., 1] = a2 * b0 - a0 * b2
    out[..., 2] = a0 * b1 - a1 * b0
    return out


def norm(a: FloatArray) -> FloatArray:
    """Length over the last axis."""
    return np.sqrt(dot(a, a))


def unit(a: FloatArray) -> FloatArray:
    """Vectors of length 1 along `a`, which must have no null vector."""
    return np.asarray(a / norm(a)[..., None])


def angle(a: FloatArray, b: FloatArray) -> FloatArray:
    """Angle between vectors in radians, in [0, π].

    From ``arctan2`` of lengths, which keeps full accuracy near 0 and π where ``arccos`` loses
    half its digits.
    """
    return np.asarray(np.arctan2(norm(cross(a, b)), dot(a, b)))


def rotation(axis: ArrayLike, angle_rad: float) -> FloatArray:
    """Matrix ``(3, 3)`` of the right-handed turn by `angle_rad` about a unit `axis`.

    Rodrigues: R = I + sin(θ) K + (1 - cos θ) K², with K the cross-product matrix of the axis.
    """
    x, y, z = np.asarray(axis, dtype=float)
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle_rad) * k + (1 - np.cos(angle_rad)) * (k @ k))
