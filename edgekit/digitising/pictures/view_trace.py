"""The edges seen in a picture as a trace, which is written and read like any digitised blade."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from edgekit.checks import frozen_array, instance
from edgekit.digitising.file_format import FORMAT
from edgekit.digitising.pictures.one_view import (
    EdgeEnd,
    Propagated,
    ToeRule,
    angled,
    edge_from_view,
    half_difference,
    leant,
)
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side
from edgekit.digitising.reader import trace_blade
from edgekit.errors import EdgekitError
from edgekit.evidence_table import value
from edgekit.geometry.blade import Blade, BladeClass
from edgekit.geometry.edge import Edge

__all__ = ["blade_from_view", "propagate_trace"]

MIN_NOISE_UM = 0.1  # that a trace is said to have


def blade_from_view(
    line: Outline,
    *,
    name: str,
    kind: BladeClass,
    used: Side = Side.LEFT,
    handle_axis: ArrayLike,
    thickness_mm: float | None = None,
    width_mm: float | None = None,
    internal_angle_deg: float = value("internal_angle_deg"),
    internal_angle_sd_deg: float = value("trace_angle_sd_deg"),
    pose_sd_deg: float = value("picture_tilt_sd_deg"),
    end: EdgeEnd | None = None,
    note: str = "",
) -> Blade:
    """A blade with a planar face from one outline, as a trace that `write_blade` writes.

    Parameters
    ----------
    line : Outline
        With its heel told.
    name : str
    kind : BladeClass
        Not a hoe.
    used : Side
        The used edge of an area-specific curette.
    handle_axis, internal_angle_deg, internal_angle_sd_deg, pose_sd_deg, end
        As in `edge_from_view`.
    thickness_mm, width_mm : float, optional
        Thickness, except of sickles, and width when new [mm].
    note : str

    Returns
    -------
    Blade
        ``blade.trace.edges[name]`` holds the standard deviations.
    """
    instance("kind", kind, BladeClass, "Give a member of ek.BladeClass.")
    if kind is BladeClass.HOE:
        raise EdgekitError("a hoe's edge is not seen square to its face", kind, "Digitise it.")
    end = end or EdgeEnd()
    points = {}
    for side in Side:
        seen = edge_from_view(line, side=side, handle_axis=handle_axis, end=end)
        if kind is BladeClass.AREA_SPECIFIC and side is not used:
            turn = EdgeEnd(rule=ToeRule.TURN_BEGINS)
            seen = edge_from_view(line, side=side, handle_axis=handle_axis, end=turn)
        curve = (
            ("used" if side is used else "unused")
            if kind is BladeClass.AREA_SPECIFIC
            else side.value
        )
        points[curve] = seen.points_mm
    settings: dict[str, object] = {
        "format": FORMAT,
        "name": name,
        "kind": kind.value,
        "source": "trace",
        "face": "planar",
        "handle_axis": [float(v) for v in frozen_array("handle_axis", handle_axis, (3,))],
        "internal_angle_deg": float(internal_angle_deg),
        "internal_angle_sd_deg": float(internal_angle_sd_deg),
        "pose_sd_deg": float(pose_sd_deg),
        "end_sd_mm": float(end.sd_mm),
        "noise_um": max(float(np.median(line.sd_um)), MIN_NOISE_UM),
    }
    optional = {"thickness_mm": thickness_mm, "width_mm": width_mm, "note": note or None}
    settings |= {key: given for key, given in optional.items() if given is not None}
    return trace_blade(settings, points)


def propagate_trace(blade: Blade, name: str, measure: Callable[[Edge], ArrayLike]) -> Propagated:
    """What pose, end and internal angle of a traced blade do to anything read off one of its edges.

    The noise of the points is not drawn again: ``blade.trace.edges[name].swing_sd_deg`` states what
    it does to the normal.

    Parameters
    ----------
    blade : Blade
        Read from a trace, or from `blade_from_view`.
    name : str
        Of the edge.
    measure : callable
        From an edge to a number or to an array of fixed size.

    Returns
    -------
    Propagated
    """
    report = None if blade.trace is None else blade.trace.edges.get(name)
    if report is None or name not in blade.edges:
        raise EdgekitError("there is no trace of that edge", name, f"Use {sorted(blade.edges)}.")
    edge = blade.edges[name]
    pose, beta = report.pose_sd_deg, report.internal_angle_sd_deg
    x, y = (1, 0, 0), (0, 1, 0)
    shorter = edge.stretch(0.0, edge.length_mm - report.end_sd_mm)  # beyond nothing is known
    parts = {
        "pose about x": half_difference(measure, leant(edge, x, pose), leant(edge, x, -pose)),
        "pose about y": half_difference(measure, leant(edge, y, pose), leant(edge, y, -pose)),
        "internal angle": half_difference(measure, angled(edge, beta), angled(edge, -beta)),
        "end at the toe": 2 * half_difference(measure, edge, shorter),
    }
    return Propagated(np.asarray(measure(edge), dtype=float), parts)
