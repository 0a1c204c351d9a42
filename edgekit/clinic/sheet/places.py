"""Where along its edge a line of a setting sheet is, for a hand with a pen and a caliper."""

from __future__ import annotations

import numpy as np

from edgekit.clinic.bench.requirements import EdgeRequirements
from edgekit.clinic.bench.steps import Step
from edgekit.contact.orientation import handle_basis
from edgekit.evidence_table import value
from edgekit.geometry.blade import BladeClass


def has_toe(step: Step) -> bool:
    """Whether the blade has a toe to point with: a hoe has none."""
    return step.requirements.blade.kind is not BladeClass.HOE


def straight_mm(need: EdgeRequirements, arc_mm: float) -> tuple[float, float]:
    """Straight from the heel of the edge, and from its tip, to a place along it [mm]."""
    place = np.array(
        [np.interp(arc_mm, need.held.arc_mm, axis) for axis in need.held.position_mm.T]
    )
    heel, tip = need.held.position_mm[[0, -1]]
    return float(np.linalg.norm(place - heel)), float(np.linalg.norm(place - tip))


def strip_words(step: Step) -> str:
    """The strip of a step by its ends, or by pen marks straight from the heel.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"K": ek.patterns.half_length_curette()}, tolerance_deg=4)
    >>> [strip_words(step) for step in plan.steps]
    ['heel to a mark 0.5 mm before the tip',
    'from the mark 0.5 mm before the tip, round the toe to the tip']
    """
    return span_words(step.requirements, *step.span_mm)


def span_words(need: EdgeRequirements, first_mm: float, last_mm: float) -> str:
    """A span of an edge [mm along it], as `strip_words` says it."""
    toe = need.blade.kind is not BladeClass.HOE
    least, (low, high) = value("least_strip_mm"), need.held.arc_mm[[0, -1]]
    heel, tip = first_mm < low + least, last_mm > high - least  # what is less has no mark
    begin, end = (_mark(*straight_mm(need, place)) for place in (first_mm, last_mm))
    if heel and tip:
        return "whole edge, heel to tip" if toe else "whole edge"
    if heel:
        return f"heel to a mark {end}"
    if tip:
        return f"from the mark {begin}{', round the toe' if toe else ','} to the tip"
    return f"from a mark {begin} to a mark {end}"


def _mark(from_heel_mm: float, from_tip_mm: float) -> str:
    """A place on the edge, straight from the end that is nearer."""
    if from_tip_mm < from_heel_mm:
        return f"{from_tip_mm:.1f} mm before the tip"
    return f"{from_heel_mm:.1f} mm from the heel"


def side_words(need: EdgeRequirements) -> str:
    """On which side the only used edge of a blade lies, as one looks along the handle, toe up.

    Examples
    --------
    >>> import edgekit as ek
    >>> plan = ek.plan_bench({"K": ek.patterns.area_specific_curette()})
    >>> side_words(plan.requirements[0])
    'left as you look along the handle, toe up'
    """
    far = need.blade.opposite(need.name)
    if far is None or need.name in ("left", "right"):
        return ""
    _, right = handle_basis(need.edge)
    near, other = (
        edge.frame(edge.stations(3), order=0).position[1] @ right for edge in (need.edge, far)
    )
    return f"{'right' if near > other else 'left'} as you look along the handle, toe up"
