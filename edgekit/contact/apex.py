"""What is left of a rounded apex after grinding: land and missing area, over stations and runs.

The same closed forms as `edgekit.grinding.section_stroke`, one array at a time.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray

ROUNDING = 1e-9  # relative: a law that adds nothing may still differ by rounding


def void_factor(angle: FloatArray) -> FloatArray:
    """Area between a wedge's corner and a circle that touches both sides, over the circle's r²."""
    return np.asarray(1 / np.tan(angle / 2) - (np.pi - angle) / 2)


def is_blunt(radius: FloatArray, fresh: FloatArray) -> NDArray[np.bool_]:
    """Where an apex is blunter than grinding leaves it; elsewhere it needs no grinding."""
    return np.asarray(radius > fresh * (1 + ROUNDING))


def whole_land(radius: FloatArray, angle: FloatArray) -> FloatArray:
    """Land of a whole circle of some radius in a wedge: 2 r cos(β/2)."""
    return np.asarray(2 * radius * np.cos(angle / 2))


def clear_inset(angle: FloatArray, radius: FloatArray) -> FloatArray:
    """How far inward a line must meet the face to leave nothing of the apex: r cot(β/2)."""
    return np.asarray(radius / np.tan(angle / 2))


def fresh_inset(angle: FloatArray, radius: FloatArray, land: FloatArray) -> FloatArray:
    """How far inward a line parallel to the flank must meet the face to leave a land of some width.

    r (1 + cos(β + α)) / sin β with the arc α = 2 asin(land / 2r); 0 where the land is no wider yet.
    """
    half = np.minimum(land / (2 * np.maximum(radius, 1e-300)), np.cos(angle / 2))
    arc = 2 * np.arcsin(half)
    return np.asarray(radius * (1 + np.cos(angle + arc)) / np.sin(angle))


class Remains(NamedTuple):
    """The land's width, and the area missing from the new corner."""

    land: FloatArray
    missing: FloatArray


def _left(
    radius: FloatArray, angle: FloatArray, inset: FloatArray, new_angle: FloatArray
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """The arc of a circle that a line leaves: all of it where the line misses the circle; from the
    line along the face to where the arc begins; and where the line misses."""
    tangent = clear_inset(angle, radius) - inset
    distance = tangent * np.sin(new_angle) - radius * np.cos(new_angle)
    missed, whole = distance >= radius, np.pi - angle
    cosine = np.minimum(np.maximum(distance / np.maximum(radius, 1e-300), -1.0), 1.0)
    arc = np.minimum(np.maximum(np.pi - new_angle - np.arccos(cosine), 0.0), whole)
    return np.where(missed, whole, arc), tangent, missed


def remaining_land(
    radius: FloatArray, angle: FloatArray, inset: FloatArray, new_angle: FloatArray
) -> FloatArray:
    """Width of the land that lines leave, as `remains` has it."""
    arc, _, _ = _left(radius, angle, inset, new_angle)
    return np.asarray(2 * radius * np.sin(arc / 2))


def remains(
    radius: FloatArray, angle: FloatArray, inset: FloatArray, new_angle: FloatArray
) -> Remains:
    """What lines leave of circles that round wedges of some angle.

    A line meets the face `inset` inward of the wedge's corner, at an angle `new_angle` to the face.
    """
    arc, tangent, missed = _left(radius, angle, inset, new_angle)
    depth = radius * (1 - np.cos(arc))
    corner = np.maximum(tangent * depth / 2 - radius**2 * (arc - np.sin(arc)) / 2, 0.0)
    # A line that misses the circle cuts a triangle off the void, down to where it crosses the
    # flank.
    opened = 1 / np.tan(angle) - 1 / np.tan(new_angle)
    void = np.divide(inset**2, 2 * opened, out=np.zeros_like(opened), where=opened > 0)
    return Remains(
        land=np.asarray(2 * radius * np.sin(arc / 2)),
        missing=np.where(
            missed, void_factor(angle) * radius**2 - void, np.where(arc > 0, corner, 0.0)
        ),
    )


def dull_share(margin: FloatArray) -> FloatArray:
    """Share (R,) of the edge where a margin (S, R) is above 0, read linearly between even stations.

    Counting stations instead would make the share jump, and 98 % mean 100 % below fifty of them.
    """
    here, there = margin[:-1], margin[1:]
    span = np.maximum(np.abs(here) + np.abs(there), 1e-300)
    share = (np.maximum(here, 0.0) + np.maximum(there, 0.0)) / span
    # A running sum adds one station after another, whatever the number of runs.
    return np.asarray(share.cumsum(axis=0)[-1] / len(share))
