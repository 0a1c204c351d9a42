"""Derivatives along a curve by truncated Taylor arithmetic.

A `Jet` is the tuple (value, first, second derivative) of a quantity that varies along an edge, as
arrays over its stations. Products and square roots of jets follow the Leibniz and chain rules, so
everything built from exact derivatives of the curve has exact derivatives itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from edgekit.checks import FloatArray
from edgekit.geometry import vectors

__all__ = ["Jet", "cos_sin", "cross", "scale", "unit"]

Bilinear = Callable[[FloatArray, FloatArray], FloatArray]


class Jet(NamedTuple):
    """A quantity along a curve with its first two derivatives."""

    value: FloatArray
    d1: FloatArray
    d2: FloatArray

    def times(self, factor: float) -> Jet:
        """The jet of ``factor * self``."""
        return Jet(self.value * factor, self.d1 * factor, self.d2 * factor)

    def plus(self, other: Jet) -> Jet:
        """The jet of ``self + other``."""
        return Jet(self.value + other.value, self.d1 + other.d1, self.d2 + other.d2)

    def per(self, speed: FloatArray, speed_d1: FloatArray) -> Jet:
        """The same jet with derivatives by arc length, from those by a parameter of that speed."""
        if self.value.ndim > speed.ndim:
            speed, speed_d1 = speed[..., None], speed_d1[..., None]
        return Jet(self.value, self.d1 / speed, (self.d2 - self.d1 * (speed_d1 / speed)) / speed**2)


def product(op: Bilinear, a: Jet, b: Jet) -> Jet:
    """The jet of a bilinear product (Leibniz)."""
    return Jet(
        op(a.value, b.value),
        op(a.d1, b.value) + op(a.value, b.d1),
        op(a.d2, b.value) + 2 * op(a.d1, b.d1) + op(a.value, b.d2),
    )


def cross(a: Jet, b: Jet) -> Jet:
    """The jet of the vector product."""
    return product(vectors.cross, a, b)


def scale(a: Jet, b: Jet) -> Jet:
    """The jet of a scalar jet times a vector jet."""
    return product(lambda x, y: x[..., None] * y, a, b)


def unit(a: Jet) -> Jet:
    """The jet of the unit vector along `a`."""
    q = product(vectors.dot, a, a)
    w = 1 / np.sqrt(q.value)
    w1 = -0.5 * w**3 * q.d1
    w2 = 0.75 * w**5 * q.d1**2 - 0.5 * w**3 * q.d2
    return scale(Jet(w, w1, w2), a)


def cos_sin(a: Jet) -> tuple[Jet, Jet]:
    """The jets of cos(a) and sin(a)."""
    c, s = np.cos(a.value), np.sin(a.value)
    return (
        Jet(c, -s * a.d1, -c * a.d1**2 - s * a.d2),
        Jet(s, c * a.d1, -s * a.d1**2 + c * a.d2),
    )
