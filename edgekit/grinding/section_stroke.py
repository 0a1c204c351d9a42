r"""Strokes on one section of a flank, in plain scalar arithmetic: what other forms agree with.

Square to the edge, the flank is the inset u = h(v) of the steel at depth v below the face, known at
depth nodes. The stone cuts along a line u = level + slope · v with slope = cot(angle), where the
angle is between face and stone. A stroke takes a given area of steel off the section; the level
follows from it. Use has rounded the apex to a circle of radius r that touches face and flank. A
line that meets the face inside the circle's tangent point leaves a part of the circle: a land, the
chord over the arc that is left, and a missing area between that arc and the corner of the new
wedge.

Lengths in millimetres, angles in radians, here and below; areas are per unit length of edge, with
the factor 1 - κu by which the area element shrinks inward of an edge of plan curvature κ.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from edgekit.errors import Cannot

MAX_STEPS = 60  # of Newton's method; five are usual
EXACT = 1e-12  # of the area to be taken
ROUNDING = 1e-15  # of the area within the flank, what a sum of it may be off by


def void_factor(angle: float) -> float:
    """Area between a wedge's corner and a circle that touches both sides, over the circle's r²."""
    return 1 / math.tan(angle / 2) - (math.pi - angle) / 2


def missing_area(angle: float, radius: float) -> float:
    """Steel that use has taken from the apex of a wedge to round it to a radius."""
    return void_factor(angle) * radius**2


def clear_inset(angle: float, radius: float) -> float:
    """How far inward a line must meet the face to leave nothing of the rounded apex: r cot(β/2)."""
    return radius / math.tan(angle / 2)


def fresh_inset(angle: float, radius: float, fresh_radius: float) -> float:
    """How far inward a line parallel to the flank must meet the face to leave the land of a fresh
    edge.

    With the land 2 r₀ cos(β/2) of a fresh edge as the chord over an arc α of the circle, α = 2
    asin((r₀/r) cos(β/2)) and the inset is r (1 + cos(β + α)) / sin β; for r₀ = 0 it is r cot(β/2).
    """
    if radius <= fresh_radius:
        return 0.0
    arc = 2 * math.asin(fresh_radius / radius * math.cos(angle / 2))
    return radius * (1 + math.cos(angle + arc)) / math.sin(angle)


class Remains(NamedTuple):
    """What is left of a rounded apex: the land's width, and the area missing from the new
    corner.
    """

    land: float
    missing: float


def remains(radius: float, angle: float, inset: float, new_angle: float) -> Remains:
    """What a line leaves of a circle that rounds a wedge of some angle.

    The line meets the face `inset` inward of the wedge's corner, at an angle `new_angle` to the
    face.
    """
    tangent = clear_inset(angle, radius)  # where the circle leaves the face
    # The centre lies r below the face there. Its distance from the line, positive inside the steel:
    distance = (tangent - inset) * math.sin(new_angle) - radius * math.cos(new_angle)
    if distance >= radius:  # the line misses the circle, and cuts a triangle off the void at most
        opened = 1 / math.tan(angle) - 1 / math.tan(new_angle)
        void = inset**2 / (2 * opened) if opened > 0 else 0.0
        return Remains(2 * radius * math.cos(angle / 2), missing_area(angle, radius) - void)
    if distance <= -radius:
        return Remains(0.0, 0.0)
    arc = math.pi - new_angle - math.acos(distance / radius)  # from the face to where the line cuts
    if arc <= 0:
        return Remains(0.0, 0.0)
    depth = radius * (1 - math.cos(arc))
    corner = (tangent - inset) * depth / 2  # triangle: new corner, tangent point, end of the arc
    segment = radius**2 * (arc - math.sin(arc)) / 2
    return Remains(2 * radius * math.sin(arc / 2), max(corner - segment, 0.0))


def area_within(profile: Sequence[float], weights: Sequence[float], curvature: float) -> float:
    """Area between the edge's own line and the flank, Σ w (u - κu²/2) over the depth nodes."""
    return sum(w * (u - curvature * u * u / 2) for u, w in zip(profile, weights, strict=True))


def level_that_takes(
    area: float,
    profile: Sequence[float],
    slope: float,
    *,
    depths: Sequence[float],
    weights: Sequence[float],
    curvature: float,
) -> float:
    """Where a line of some slope meets the face, once it has taken an area off a flank.

    Newton's method from a line that has certainly taken too much: the area is a convex function of
    the level but for the small term of curvature.
    """
    heights = [u - slope * v for u, v in zip(profile, depths, strict=True)]
    target = area + area_within(profile, weights, curvature)
    level = (area + sum(w * g for g, w in zip(heights, weights, strict=True))) / sum(weights)
    touch = min(heights)
    level = max(level, touch)
    for _ in range(MAX_STEPS):
        cut = [max(u, level + slope * v) for u, v in zip(profile, depths, strict=True)]
        excess = area_within(cut, weights, curvature) - target
        if abs(excess) <= EXACT * area + ROUNDING * target:
            return level
        width = sum(
            w * (1 - curvature * u)
            for u, g, w in zip(cut, heights, weights, strict=True)
            if level >= g  # where it touches, it begins to cut
        )
        level = max(level - excess / width, touch)
    raise Cannot("a stroke took no definite depth", area, "Give it less steel to take.")


class WornSection(NamedTuple):
    """A section after some strokes: its `profile`, the wedge's `angle` at the edge, how far the
    edge has moved `inset`, what is left of the old apex, and how many `strokes` it took."""

    profile: list[float]
    angle: float
    inset: float
    remains: Remains
    strokes: int


def grind_section(
    profile: Sequence[float],
    angles: Sequence[float],
    *,
    area: float,
    angle: float,
    radius: float,
    land: float,
    depths: Sequence[float],
    weights: Sequence[float],
    curvature: float = 0.0,
    strokes_between_looks: int = 1,
) -> WornSection:
    """Strokes on one section until the land left of its rounded apex is no wider than `land`.

    Parameters
    ----------
    profile : sequence of float
        Inset of the flank at each of the `depths` below the face, which stand for `weights` of
        depth.
    angles : sequence of float
        Angle between face and stone of each stroke that may be made.
    area : float
        Steel that a stroke takes off the section.
    angle, radius : float
        Of the wedge at its edge, and of the circle that use has made of its apex.
    land : float
        At which grinding stops; 0 asks for an edge that is clear of the circle.
    curvature : float
        Of the edge in plan.
    strokes_between_looks : int
        Strokes made before the land is looked at again.

    Returns
    -------
    WornSection

    Raises
    ------
    EdgekitError
        The land was still wider after the last stroke.

    Examples
    --------
    Without error, in strokes of 192 µm² on 710 µm of flank, a 75° edge dulled to 4.65 µm loses 6.22
    µm where the least possible is r cot(β/2) = 6.06:

    >>> import math
    >>> beta, depths = math.radians(75), [0.71 * k / 20 for k in range(21)]
    >>> weights = [0.71 / 40, *[0.71 / 20] * 19, 0.71 / 40]
    >>> worn = grind_section([v / math.tan(beta) for v in depths], [beta] * 40, area=192e-6,
    ...     angle=beta, radius=4.65e-3, land=0.0, depths=depths, weights=weights)
    >>> round(worn.inset * 1000, 2), worn.strokes
    (6.22, 23)
    """
    start, now = profile[0], list(profile)
    new_angle = angle
    for stroke in range(len(angles) + 1):
        left = remains(radius, angle, now[0] - start, new_angle)
        if stroke % strokes_between_looks == 0 and left.land <= land:
            return WornSection(now, new_angle, now[0] - start, left, stroke)
        if stroke < len(angles):
            slope = 1 / math.tan(angles[stroke])
            level = level_that_takes(
                area, now, slope, depths=depths, weights=weights, curvature=curvature
            )
            if level > now[0]:
                new_angle = angles[stroke]
            now = [max(u, level + slope * v) for u, v in zip(now, depths, strict=True)]
    raise Cannot(
        "the section is still dull after the last stroke", len(angles), "Allow more strokes."
    )
