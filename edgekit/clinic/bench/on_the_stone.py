"""A blade turned on the stone: room for a stroke, when plates must follow, room for a card.

The last two need to know where the handle's axis runs beside the blade. Nobody has measured it; it
is assumed to pass through the middle of the heel, as in `edgekit.clinic.bench.by_hand`.
"""

from __future__ import annotations

import math

import numpy as np

from edgekit.checks import FloatArray
from edgekit.clinic.bench.by_hand import axis_height_mm, heel_middle
from edgekit.clinic.bench.requirements import EdgeRequirements
from edgekit.clinic.bench.steps import Step
from edgekit.contact.holder import Holder
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec

AIR_MM = 0.2  # beside a card, to either side
ROD_STEP_MM = 0.25  # along the handle's axis


def stroke_room_mm(holder: Holder, elevation_deg: float) -> float:
    """How long a stroke can be at a setting [mm]; less than 0 where there is no room at all.

    The edge leaves neither end of the stone, and the stone stays clear of the holder's post, which
    is taken to stand under the pivot.

    Examples
    --------
    >>> stroke_room_mm(Holder(reach_mm=80), 0.0), round(stroke_room_mm(Holder(reach_mm=80), 60), 6)
    (60.0, 20.0)
    """
    before = holder.reach_mm * math.cos(math.radians(elevation_deg))
    return min(value("stone_length_mm"), before) - 2 * value("stone_end_mm")


def max_stroke_deg(holder: Holder) -> float:
    """The highest elevation at which a stroke has room before the holder's post [deg].

    Examples
    --------
    >>> round(max_stroke_deg(Holder(reach_mm=50)), 6)
    60.0
    """
    needed = 2 * value("stone_end_mm") + value("least_stroke_mm")
    if holder.reach_mm < needed:
        raise Cannot(
            f"before the holder's post no stroke of {value('least_stroke_mm'):g} mm has room",
            holder,
            f"Give a reach_mm of {needed:g} or more.",
        )
    return math.degrees(math.acos(needed / holder.reach_mm))


def axis_at_placements_mm(step: Step) -> FloatArray:
    """Height (P,) of the handle's axis over the stone, at the heel, at every placement [mm]."""
    need, rows = step.requirements, step.stations
    return step.at_placements(axis_height_mm(need, need.held.normal[rows], rows))


def pile_changes(step: Step, slack_mm: float) -> tuple[tuple[int, float], ...]:
    """Placements at which the pile must change, each with how much lower the stone then lies [mm].

    In all, against the pile of the first placement: the stone may stand `slack_mm` from where it
    should. Where the axis rises the handle grows too flat, so the stone is lowered as much.

    Examples
    --------
    >>> import edgekit as ek
    >>> step = ek.plan_bench({"K": ek.patterns.universal_curette()}).steps[0]
    >>> [(at, round(low, 1)) for at, low in pile_changes(step, 1.5)]
    [(4, 3.0), (6, 5.0)]
    """
    rises = axis_at_placements_mm(step)
    rises = rises - rises[0]
    found, pile = [], 0.0
    for at, rise in enumerate(rises.tolist()):
        if abs(rise - pile) > slack_mm:
            pile = rise
            found.append((at, pile))
    return tuple(found)


def card_placement(
    step: Step, holder: Holder, card_mm: tuple[float, float], before: int | None = None
) -> int | None:
    """The placement nearest to the middle at which a card (base, height) clears shank and handle.

    The card stands on the stone square to the edge, its corner at the place that touches, its base
    towards the handle; None where it clears them nowhere. Placements from `before` on, where the
    plates have changed, are taken only if no other will do.

    Examples
    --------
    >>> import edgekit as ek
    >>> step = ek.plan_bench({"K": ek.patterns.universal_curette()}).steps[0]
    >>> card_placement(step, ek.Holder(), (30.0, 12.0)), step.placements
    (3, 7)
    """
    middle, last = step.placements // 2, step.placements if before is None else before
    order = sorted(
        range(step.placements), key=lambda place: (place >= last, abs(place - middle), place)
    )
    for at in order:
        if _has_room(step, at, holder, card_mm):
            return at
    return None


def touching(step: Step, at: int) -> FloatArray:
    """Position [mm], normal and tangent of the edge where the stone touches it, rows (3, 3), at a
    placement of several."""
    held, rows = step.requirements.held, step.stations
    fields = (held.position_mm, held.normal, held.tangent)
    return np.array([[step.at_placements(axis[rows])[at] for axis in f.T] for f in fields])


def _has_room(step: Step, at: int, holder: Holder, card_mm: tuple[float, float]) -> bool:
    """Whether the card clears; at an edge of one placement, at either end or in the middle."""
    if step.placements > 1:
        return _clears(step.requirements, touching(step, at), holder, card_mm)
    held, rows = step.requirements.held, step.stations
    fields = (held.position_mm, held.normal, held.tangent)
    places = [np.array([field[row] for field in fields]) for row in rows[[0, len(rows) // 2, -1]]]
    return any(_clears(step.requirements, place, holder, card_mm) for place in places)


def _clears(
    need: EdgeRequirements, where: FloatArray, holder: Holder, card_mm: tuple[float, float]
) -> bool:
    """Whether a card at a place clears; `where` (3, 3) is the place, its normal and its tangent."""
    out = -need.edge.handle_axis
    place, normal, tangent = where[0], vec.unit(where[1]), vec.unit(where[2])
    away = vec.cross(tangent, normal)
    away = away * np.sign(away @ out)
    along = np.arange(0.0, 3 * card_mm[0], ROD_STEP_MM)
    points = heel_middle(need) + along[:, None] * out - place
    thick = along >= holder.handle_from_mm
    radius = np.where(thick, holder.handle_radius_mm, holder.shank_radius_mm)
    beside = np.abs(points @ tangent) > radius + AIR_MM
    behind = points @ away > card_mm[0] + radius
    above = -points @ normal > card_mm[1] + radius
    before = points @ away < -radius
    return bool((beside | behind | above | before).all())
