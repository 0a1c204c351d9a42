"""Unit normals in compiled functions, with the bits of numpy's generator for the same seed.

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
def _word(state: NDArray[np.uint64]) -> np.uint64:
    """The next 64 bits."""
    made: np.uint64 = state[0] + state[1] + state[3]
    state[3] += _U1
    state[0] = state[1] ^ (state[1] >> _U11)
    state[1] = state[2] + (state[2] << _U3)
    state[2] = ((state[2] << _U24) | (state[2] >> _U40)) + made
    return made


@compiled
def _uniform(state: NDArray[np.uint64]) -> float:
    return float((_word(state) >> _U11) * _STEP)


@compiled
def _normal(state: NDArray[np.uint64]) -> float:
    while True:
        word = _word(state)
        layer = np.int64(word & _U255)
        word >>= _U8
        sign = -1.0 if word & _U1 else 1.0
        size = (word >> _U1) & _U52
        x = sign * (np.float64(size) * _WIDTH[layer])
        if size < _INSIDE[layer]:
            return float(x)
        if layer == 0:
            while True:
                beyond = -_SCALE * math.log1p(-_uniform(state))
                other = -math.log1p(-_uniform(state))
                if other + other > beyond * beyond:
                    return -(_TAIL + beyond) if (size >> _U8) & _U1 else _TAIL + beyond
        step = _HEIGHT[layer - 1] - _HEIGHT[layer]
        if step * _uniform(state) + _HEIGHT[layer] < math.exp(-0.5 * x * x):
            return float(x)


@compiled
def draw(
    key: NDArray[np.uint64],
    block: np.uint64,
    state: NDArray[np.uint64],
    out: FloatArray,
    count: int,
) -> None:
    """The first `count` normals of a block of the numbers of a key (2,)."""
    state[0], state[1], state[2], state[3] = key[0], key[1], block, _U1
    for _ in range(12):
        _word(state)
    for n in range(count):
        out[n] = _normal(state)
