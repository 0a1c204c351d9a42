"""The edges seen in a picture as a trace, which is written and read like any digitised blade."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.digitising.file_format import FORMAT
from edgekit.digitising.pictures.one_view import (
    EdgeEnd,
    Propagated,
    ToeRule,
    angled,
    edge_from_view,
    half_difference,
    leant,
    read_off,
)
from edgekit.digitising.pictures.outlines.blade_outline import Outline
from edgekit.digitising.pictures.outlines.parts import Side, check_side
from edgekit.digitising.reader import trace_blade
from edgekit.errors import BadArgument, Cannot
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
        With its heel.
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

    Raises
    ------
    BadArgument
        For a hoe, whose edge no such picture shows, and without the thickness, where it is needed.
    Cannot
        For all that `edge_from_view` refuses.

    Examples
    --------
    >>> import edgekit as ek
    >>> P, folder = ek.pictures, "data_demo/pictures"
    >>> board = P.read_picture(f"{folder}/board.png", response=P.SRGB)
    >>> scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    >>> heel = P.EdgeLength(side=P.Side.LEFT, length_mm=6.26)
    >>> picture = P.read_picture(f"{folder}/FH-03-AS1_2026-03-02_a.png", response=P.SRGB)
    >>> line = P.outline(picture, scale, heel=heel)
    >>> blade = P.blade_from_view(line, name="FH-03-AS1", kind=ek.BladeClass.AREA_SPECIFIC,
    ...                           handle_axis=(0, 0.342, -0.940), thickness_mm=0.71)
    >>> round(blade.edges["used"].length_mm, 1)
    6.3
    """
    _check_kind(kind, thickness_mm)
    check_side(used)
    end = EdgeEnd() if end is None else end
    points = _curves(line, kind, used, handle_axis, end)
    settings: dict[str, object] = {
        "format": FORMAT,
        "name": name,
        "kind": kind.value,
        "source": "trace",
        "face": "planar",
        "handle_axis": [float(v) for v in checks.frozen_array("handle_axis", handle_axis, (3,))],
        "internal_angle_deg": checks.number("internal_angle_deg", internal_angle_deg),
        "internal_angle_sd_deg": checks.number("internal_angle_sd_deg", internal_angle_sd_deg),
        "pose_sd_deg": checks.number("pose_sd_deg", pose_sd_deg),
        "end_sd_mm": float(end.sd_mm),
        "noise_um": max(float(np.median(line.sd_um)), MIN_NOISE_UM),
    }
    checks.instance("name", name, str, "Give the instrument's name.")
    checks.instance("note", note, str, "Give text.")
    optional = {"thickness_mm": thickness_mm, "width_mm": width_mm, "note": note or None}
    settings |= {key: given for key, given in optional.items() if given is not None}
    return trace_blade(settings, points)


def _check_kind(kind: BladeClass, thickness_mm: float | None) -> None:
    checks.instance("kind", kind, BladeClass, "Give a member of ek.BladeClass.")
    if kind is BladeClass.HOE:
        raise BadArgument(
            "a hoe's edge is not seen square to its face", kind, "Digitise it.", argument="kind"
        )
    if thickness_mm is None and not kind.tapers:
        raise BadArgument(
            "thickness_mm is needed: no picture square to the face shows it",
            None,
            "Measure it and give it [mm]; sickles alone do without.",
            argument="thickness_mm",
        )


def _curves(
    line: Outline, kind: BladeClass, used: Side, handle_axis: ArrayLike, end: EdgeEnd
) -> dict[str, FloatArray]:
    """Points (N, 3) [mm] of both edges by the names that a trace has for them.

    The unused edge of an area-specific curette ends where the toe begins to turn.
    """
    points = {}
    for side in Side:
        curve, its_end = side.value, end
        if kind is BladeClass.AREA_SPECIFIC:
            curve = "used" if side is used else "unused"
            its_end = end if side is used else EdgeEnd(rule=ToeRule.TURN_BEGINS)
        seen = edge_from_view(line, side=side, handle_axis=handle_axis, end=its_end)
        points[curve] = seen.points_mm
    return points


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

    Raises
    ------
    Cannot
        For a blade that was not read from a trace, or without an edge of that name.

    Examples
    --------
    >>> import edgekit as ek
    >>> blade = ek.read_blade("data_demo/traces/FH-03-AS1.toml")
    >>> result = ek.pictures.propagate_trace(blade, "used", lambda edge: edge.length_mm)
    >>> sorted(result.parts)
    ['end at the toe', 'internal angle', 'pose about x', 'pose about y']
    """
    checks.instance("blade", blade, Blade, "Take it from ek.read_blade or blade_from_view.")
    checks.instance("name", name, str, f"Use {sorted(blade.edges)}.")
    report = None if blade.trace is None else blade.trace.edges.get(name)
    if report is None or name not in blade.edges:
        raise Cannot("the blade has no trace of that edge", name, f"Use {sorted(blade.edges)}.")
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
    return Propagated(value=read_off(measure, edge), parts=parts)
