"""Sines, cosines and arcs of sixteen angles at a time, by series that have all digits."""

from __future__ import annotations

import math
from typing import Any

from edgekit.checks import FloatArray
from edgekit.grinding.compiled.lanes import (
    any_below,
    compiled,
    if_below,
    load,
    save,
    wide,
)
from edgekit.grinding.compiled.parts import WIDTH

_FAR = (math.pi / 4 + 1e-6) ** 2  # up to here the series have all digits
_NEAR, _TURN_NEAR = math.tan(math.pi / 16), math.pi / 16
_WIDE, _TURN_WIDE = math.tan(3 * math.pi / 16), 3 * math.pi / 16
_BETWEEN = math.tan(math.pi / 8)


@compiled
def sine_cosine(angle: Any, room: FloatArray) -> Any:
    """Sine and cosine of angles, by Taylor's series up to an eighth of a turn; `room` (32,)."""
    square = angle * angle
    if any_below(_FAR, square):
        save(room, 0, angle)
        for n in range(WIDTH):
            room[WIDTH + n], room[n] = math.cos(room[n]), math.sin(room[n])
        return load(room, 0), load(room, WIDTH)
    sine, cosine = wide(0.0), wide(0.0)
    sine = square * (1 / 6227020800.0 - square / 1307674368000.0) - 1 / 39916800.0
    sine = square * (square * sine + 1 / 362880.0) - 1 / 5040.0
    sine = square * (square * sine + 1 / 120.0) - 1 / 6.0
    cosine = square * (square / 20922789888000.0 - 1 / 87178291200.0) + 1 / 479001600.0
    cosine = square * (square * cosine - 1 / 3628800.0) + 1 / 40320.0
    cosine = square * (square * cosine - 1 / 720.0) + 1 / 24.0
    return angle + angle * square * sine, 1.0 + square * (square * cosine - 0.5)


@compiled
def arc(sine: Any, cosine: Any) -> Any:
    """Angle from 0 to half a turn, of a sine from 0 to 1 and a cosine.

    Twice the arc of a tangent, which is read from the nearer of two arcs on.
    """
    tangent = sine / (1.0 + if_below(cosine, 0.0, 0.0 - cosine, cosine))
    near = if_below(tangent, _BETWEEN, _NEAR, _WIDE)
    rest = (tangent - near) / (1.0 + tangent * near)
    square = rest * rest
    series = square * (1 / 21.0 - square / 23.0) - 1 / 19.0
    series = square * (square * series + 1 / 17.0) - 1 / 15.0
    series = square * (square * series + 1 / 13.0) - 1 / 11.0
    series = square * (square * series + 1 / 9.0) - 1 / 7.0
    series = square * (square * series + 1 / 5.0) - 1 / 3.0
    turn = if_below(tangent, _BETWEEN, _TURN_NEAR, _TURN_WIDE)
    whole = 2.0 * (turn + (rest + rest * square * series))
    return if_below(cosine, 0.0, math.pi - whole, whole)
