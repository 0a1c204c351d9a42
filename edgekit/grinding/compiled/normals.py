"""Random numbers in compiled functions, with the bits of numpy's generator for the same seed.

numpy draws a normal number by the ziggurat of Marsaglia & Tsang (2000) from SFC64; numba has its
tables.
"""

from __future__ import annotations

import math

import numpy as np
from numba.np.random._constants import (
    fi_double,
    ki_double,
    wi_double,
    ziggurat_nor_inv_r,
    ziggurat_nor_r,
)
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import compiled

_INSIDE, _WIDTH, _HEIGHT = np.array(ki_double), np.array(wi_double), np.array(fi_double)
_TAIL, _SCALE = float(ziggurat_nor_r), float(ziggurat_nor_inv_r)
_U11, _U3, _U24, _U40, _U8, _U1 = map(np.uint64, (11, 3, 24, 40, 8, 1))
_U255, _U52 = np.uint64(0xFF), np.uint64(0x000FFFFFFFFFFFFF)
_STEP = 1 / 9007199254740992  # 2^-53


@compiled
def _word(a: np.uint64, b: np.uint64, c: np.uint64, d: np.uint64) -> tuple[np.uint64, ...]:
    """The next 64 bits, and the state after them."""
    made: np.uint64 = a + b + d
    return made, b ^ (b >> _U11), c + (c << _U3), ((c << _U24) | (c >> _U40)) + made, d + _U1


@compiled
def _uniform(state: NDArray[np.uint64]) -> float:
    word, state[0], state[1], state[2], state[3] = _word(state[0], state[1], state[2], state[3])
    return float((word >> _U11) * _STEP)


@compiled
def _outside(state: NDArray[np.uint64], layer: int, size: np.uint64, x: float) -> float:
    """A number of a layer past its inner part; not a number where it is to be drawn again."""
    if layer == 0:
        while True:
            beyond = -_SCALE * math.log1p(-_uniform(state))
            other = -math.log1p(-_uniform(state))
            if other + other > beyond * beyond:
                return -(_TAIL + beyond) if (size >> _U8) & _U1 else _TAIL + beyond
    step = _HEIGHT[layer - 1] - _HEIGHT[layer]
    if step * _uniform(state) + _HEIGHT[layer] < math.exp(-0.5 * x * x):
        return x
    return math.nan


@compiled
def seed(key: NDArray[np.uint64], block: np.uint64, state: NDArray[np.uint64]) -> None:
    """The `state` (4,) from which the numbers of a block of a key (2,) follow."""
    a, b, c, d = key[0], key[1], block, _U1
    for _ in range(12):
        _, a, b, c, d = _word(a, b, c, d)
    state[0], state[1], state[2], state[3] = a, b, c, d


@compiled
def spread(state: NDArray[np.uint64], out: FloatArray, count: int) -> None:
    """The next `count` numbers, even from 0 to 1."""
    for i in range(count):
        out[i] = _uniform(state)


@compiled
def draw(state: NDArray[np.uint64], out: FloatArray, count: int) -> None:
    """The next `count` normals."""
    a, b, c, d, n = state[0], state[1], state[2], state[3], 0
    while n < count:
        word, a, b, c, d = _word(a, b, c, d)
        layer = np.int64(word & _U255)
        word >>= _U8
        size = (word >> _U1) & _U52
        sign = 1.0 - 2.0 * np.float64(np.int64(word & _U1))  # a branch would be guessed
        x = sign * np.float64(np.int64(size)) * _WIDTH[layer]
        if size >= _INSIDE[layer]:
            state[0], state[1], state[2], state[3] = a, b, c, d
            x = _outside(state, layer, size, x)
            a, b, c, d = state[0], state[1], state[2], state[3]
        if not math.isnan(x):
            out[n] = x
            n += 1
    state[0], state[1], state[2], state[3] = a, b, c, d
