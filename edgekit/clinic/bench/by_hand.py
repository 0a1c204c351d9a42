"""A stone held in the hand against a blade that is held still: where it stands, what is in its way.

What a holder does not serve is not ground by the handle's angle on a stone that lies flat: the
handle would lie in the bench below some 0°, and no hand is left for a protractor. With the blade
held still, its face up and level, all that counts is what stone and face make between them, which
is the same all round the edge, and from which side the stone comes. Where the handle leans over
the stone it ends the stone's stroke; the axis of the handle is assumed to pass through the middle
of the heel.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from edgekit.checks import FloatArray
from edgekit.clinic.bench.requirements import EdgeRequirements, Tool
from edgekit.clinic.bench.steps import Step
from edgekit.contact.holder import Holder
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec

HOUR_DEG = 30.0
IntArray = NDArray[np.int64]


def heel_middle(need: EdgeRequirements) -> FloatArray:
    """Middle of the heel (3,), between the two edges where there are two [mm]."""
    heel, far = need.held.position_mm[0], need.blade.opposite(need.name)
    other = heel if far is None else far.frame(far.stations(2), order=0).position[0]
    return np.asarray((heel + other) / 2)


def axis_height_mm(need: EdgeRequirements, normal: FloatArray, stations: IntArray) -> FloatArray:
    """Height (S,) of the handle's axis over the stone, at the heel, while a station touches it.

    `normal` (S, 3) is the stone's there, out of the steel.
    """
    away = need.held.position_mm[stations] - heel_middle(need)
    return np.asarray(vec.dot(away, normal))


def stone_hours(step: Step) -> FloatArray:
    """From where the stone comes at each placement (P,), seen from above, toe at 6 [h].

    The blade lies face up with its toe towards the one who looks; the stone stands across the
    direction in which the edge faces, and an hour hand points to it.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"K": ek.patterns.area_specific_curette()}, tolerance_deg=4)
    >>> stone_hours(plan.steps[-1]).round(1).tolist()
    [4.6, 5.2, 5.9, 6.5]
    """
    need, held = step.requirements, step.requirements.held
    face = need.edge.frame(held.arc_mm, order=0).face.value
    level, toe = face[len(face) // 2], need.edge.roll_reference
    toe = toe - (toe @ level) * level
    out = held.normal - vec.dot(held.normal, face)[:, None] * face
    right = vec.cross(toe, level)
    turn = np.unwrap(np.arctan2(out @ right, out @ toe))[step.stations]
    return np.asarray(6.0 + np.degrees(step.at_placements(turn)) / HOUR_DEG)


def stone_room_mm(step: Step, holder: Holder) -> float:
    """How far from the edge, towards the handle, a stone may reach at every place of a step [mm].

    The line of the handle's axis crosses the plane of the stone where h + d sinα = r cosα, at d
    from the heel along it; infinite where neither shank nor handle ever does.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.patterns.area_specific_curette(bow_radius_mm=12, shank_bend_deg=12)
    >>> plan = ek.plan_bench({"K": blade}, tolerance_deg=3)
    >>> [round(stone_room_mm(step, ek.Holder()), 1) for step in plan.steps[-2:]]
    [inf, 15.2]
    """
    need, held, rows = step.requirements, step.requirements.held, step.stations
    height = axis_height_mm(need, held.normal[rows], rows)
    alpha = np.radians(held.elevation_deg[rows])
    along = vec.dot(held.position_mm[rows] - heel_middle(need), need.edge.handle_axis)
    sine, cosine = np.sin(alpha), np.cos(alpha)
    room = math.inf
    for radius, begin, end in (
        (holder.shank_radius_mm, holder.shank_from_mm, holder.handle_from_mm),
        (holder.handle_radius_mm, holder.handle_from_mm, math.inf),
    ):
        over = height - radius * cosine  # of the nearest side of a rod about the axis
        sinks = np.where(sine < 0, over / np.maximum(-sine, 1e-9), np.inf)
        meets = np.where(over + begin * sine < 0, begin, np.maximum(sinks, begin))
        meets = np.where(meets < end, meets, np.inf)
        away = meets * cosine + (along - sine * height) / cosine + radius * sine
        room = min(room, float(away.min()))
    return room


def can_be_marked(step: Step) -> bool:
    """Whether a strip is long enough for a pen; what is shorter is reached by strokes beside it."""
    first, last = step.span_mm
    return last - first >= value("least_strip_mm")


def can_be_ground(step: Step, holder: Holder) -> bool:
    """Whether a stone in the hand has room for its free end and a stroke at every place.

    A holder's settings are chosen so that theirs has.
    """
    return step.tool == Tool.HOLDER or stone_room_mm(step, holder) >= value("stone_end_mm") + value(
        "least_stroke_mm"
    )
