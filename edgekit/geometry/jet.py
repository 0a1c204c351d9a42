"""Derivatives along a curve by truncated Taylor arithmetic.

A `Jet` is the tuple (value, first, second derivative) of a quantity that varies along an edge, as
arrays over its stations, or only the start of it where no one needs the rest. Products and square
roots of jets follow the Leibniz and chain rules, so everything built from exact derivatives of the
curve has exact derivatives itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Self

import numpy as np

from edgekit.checks import FloatArray
from edgekit.geometry import vectors

Bilinear = Callable[[FloatArray, FloatArray], FloatArray]


class Jet(tuple[FloatArray, ...]):
    """A quantity along a curve with its derivatives, to order 2 or less."""

    __slots__ = ()

    def __new__(cls, *parts: FloatArray) -> Self:
        """From the value and as many derivatives as are wanted."""
        return super().__new__(cls, parts)

    @property
    def value(self) -> FloatArray:
        """The quantity."""
        return self[0]

    @property
    def d1(self) -> FloatArray:
        """Its first derivative."""
        return self[1]

    @property
    def d2(self) -> FloatArray:
        """Its second derivative."""
        return self[2]

    def times(self, factor: float) -> Jet:
        """The jet of ``factor * self``."""
        return Jet(*(part * factor for part in self))

    def plus(self, other: Jet) -> Jet:
        """The jet of ``self + other``, to the order both have."""
        return Jet(*(a + b for a, b in zip(self, other, strict=False)))

    def per(self, speed: FloatArray, speed_d1: FloatArray) -> Jet:
        """The same jet with derivatives by arc length, from those by a parameter of that speed."""
        if self.value.ndim > speed.ndim:
            speed, speed_d1 = speed[..., None], speed_d1[..., None]
        parts = [self.value]
        if len(self) > 1:
            parts.append(self.d1 / speed)
        if len(self) > 2:
            parts.append((self.d2 - self.d1 * (speed_d1 / speed)) / speed**2)
        return Jet(*parts)


def product(op: Bilinear, a: Jet, b: Jet) -> Jet:
    """The jet of a bilinear product (Leibniz), to the order both have."""
    order = min(len(a), len(b)) - 1
    terms = [[math.comb(n, k) * op(a[n - k], b[k]) for k in range(n + 1)] for n in range(order + 1)]
    return Jet(*(sum(parts[1:], start=parts[0]) for parts in terms))


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
    return scale(_composed(w, -0.5 * w**3, 0.75 * w**5, q), a)


def cos_sin(a: Jet) -> tuple[Jet, Jet]:
    """The jets of cos(a) and sin(a)."""
    c, s = np.cos(a.value), np.sin(a.value)
    return _composed(c, -s, -c, a), _composed(s, c, -s, a)


def _composed(value: FloatArray, d1: FloatArray, d2: FloatArray, a: Jet) -> Jet:
    """The jet of f(a) from f and its derivatives at `a` (chain rule)."""
    parts = [value]
    if len(a) > 1:
        parts.append(d1 * a.d1)
    if len(a) > 2:
        parts.append(d2 * a.d1**2 + d1 * a.d2)
    return Jet(*parts)
