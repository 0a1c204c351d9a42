"""Lay: which way the scratches run against the edge, at every station, for a stroke of the stone.

In the plane of the ground surface at a station, let t be the edge's tangent and e the unit vector
square to it, into the steel. A stroke with direction w in that plane leaves scratches at the lay

    ψ = atan2(w·e, w·t), taken modulo 180° into (−90°, 90°]:

0° along the edge, 90° square across it. |ψ| then measures how far strokes are from following the
curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

import numpy as np

from edgekit.checks import FloatArray, count, finite, fraction, instance, keep_numbers, unit_vector
from edgekit.errors import Cannot
from edgekit.evidence_table import value
from edgekit.geometry import vectors as vec
from edgekit.geometry.edge import Edge, station_weights_mm
from edgekit.method.wire_edge import StrokeSense
from edgekit.record import Record, freeze

__all__ = [
    "GroundPlanes",
    "HolderStroke",
    "Lay",
    "Oblique",
    "StraightStroke",
    "StrokeDirection",
    "across_edge",
    "along_edge",
    "face_planes",
    "flank_planes",
    "lay",
    "lay_on",
    "wrapped_lay_deg",
]

MAX_STATIONS = 1_000_000
_HALF_TURN = 180.0
_ROUNDING_DEG = 1e-9  # 90° and −90° are one lay; rounding must not make it jump between them
_MIN_IN_PLANE = 1e-6  # a stroke this nearly perpendicular to the stone has no direction on it


class GroundPlanes(NamedTuple):
    """The ground surface at the stations: ``arc_mm`` (S,) and the unit vectors (S, 3) ``tangent``
    t, ``into`` e and outward ``normal``, with the edge's handle axis (3,)."""

    arc_mm: FloatArray
    tangent: FloatArray
    into: FloatArray
    normal: FloatArray
    handle_axis: FloatArray


def flank_planes(edge: Edge, arc_mm: FloatArray, normals: FloatArray | None = None) -> GroundPlanes:
    """Stone planes on the lateral surface: the true ones, or those of stone `normals` (S, 3)."""
    frame = edge.frame(arc_mm, order=0)
    normal = frame.outward.value if normals is None else normals
    tangent = frame.tangent.value
    into = vec.unit(vec.cross(normal, tangent))
    into = into * np.where(vec.dot(into, frame.flank) < 0, -1.0, 1.0)[:, None]
    return GroundPlanes(arc_mm, tangent, into, normal, edge.handle_axis)


def face_planes(edge: Edge, arc_mm: FloatArray) -> GroundPlanes:
    """Planes of a stone on the face."""
    frame = edge.frame(arc_mm, order=0)
    return GroundPlanes(
        arc_mm, frame.tangent.value, frame.inward.value, frame.face.value, edge.handle_axis
    )


def wrapped_lay_deg(angle_deg: FloatArray) -> FloatArray:
    """Angles modulo 180° in (−90°, 90°].

    Examples
    --------
    >>> import numpy as np
    >>> from edgekit.method.lay import wrapped_lay_deg
    >>> wrapped_lay_deg(np.array([0.0, 90.0, -90.0, 100.0, 270.0])).tolist()
    [0.0, 90.0, 90.0, -80.0, 90.0]
    """
    turns = np.ceil((angle_deg - 90.0 - _ROUNDING_DEG) / _HALF_TURN)
    return np.asarray(np.minimum(angle_deg - _HALF_TURN * turns, 90.0))


@runtime_checkable
class StrokeDirection(Protocol):
    """How the stone and the edge slide on each other."""

    @property
    def sense(self) -> StrokeSense:
        """Which way the last strokes ran, for the wire edge."""
        ...

    def angle_deg_on(self, planes: GroundPlanes) -> FloatArray:
        """Lay (S,) on the planes, any turn [deg]."""
        ...

    def __str__(self) -> str: ...


def _check_sense(sense: object) -> None:
    instance("sense", sense, StrokeSense, "Use StrokeSense.AWAY or another member.")


def _check_stroke(stroke: Oblique | HolderStroke, remedy: str) -> None:
    keep_numbers(stroke, angle_deg=finite("angle_deg", stroke.angle_deg, remedy))
    _check_sense(stroke.sense)


@dataclass(frozen=True, kw_only=True)
class Oblique:
    """Strokes at one stated lay everywhere: the hand follows the curve, turned by `angle_deg`.

    Parameters
    ----------
    angle_deg : float
        Lay ψ [deg]: 0 along the edge, 90 across it.
    sense : StrokeSense
        Which way the last strokes ran.
    """

    angle_deg: float = value("stroke_lay_deg")
    sense: StrokeSense = StrokeSense.TO_AND_FRO

    def __post_init__(self) -> None:
        _check_stroke(self, "Give degrees from the edge.")

    def angle_deg_on(self, planes: GroundPlanes) -> FloatArray:
        """The stated angle at every station."""
        return np.full(len(planes.arc_mm), self.angle_deg)

    def __str__(self) -> str:
        return f"strokes at {self.angle_deg:g}° to the edge, {self.sense.value}"


def along_edge() -> Oblique:
    """Strokes along the edge, following its curve: ψ = 0.

    Returns
    -------
    Oblique

    Examples
    --------
    >>> from edgekit.method.lay import along_edge
    >>> print(along_edge())
    strokes at 0° to the edge, along the edge
    """
    return Oblique(angle_deg=0.0, sense=StrokeSense.ALONG)


def across_edge(sense: StrokeSense = StrokeSense.TO_AND_FRO) -> Oblique:
    """Strokes square across the edge: ψ = 90°.

    Parameters
    ----------
    sense : StrokeSense
        Which way the stone is drawn.

    Returns
    -------
    Oblique

    Raises
    ------
    BadArgument
        Not a `StrokeSense`.

    Examples
    --------
    >>> import edgekit as ek
    >>> ek.across_edge().angle_deg
    90.0
    """
    return Oblique(angle_deg=90.0, sense=sense)


class StraightStroke(Record):
    """A stone drawn in one straight direction, the blade held still: it does not follow the curve.

    Parameters
    ----------
    direction : array (3,)
        Direction in the blade frame (x from heel to toe, z out of the face), any length; it is
        projected on the stone's plane at each station.
    sense : StrokeSense
        Which way the last strokes ran.
    """

    direction: FloatArray
    sense: StrokeSense = StrokeSense.TO_AND_FRO

    def __post_init__(self) -> None:
        object.__setattr__(self, "direction", unit_vector("direction", self.direction))
        _check_sense(self.sense)
        super().__post_init__()

    def angle_deg_on(self, planes: GroundPlanes) -> FloatArray:
        """Angle of the projected direction."""
        return _angle_deg(planes, np.broadcast_to(self.direction, planes.normal.shape))

    def __str__(self) -> str:
        x, y, z = self.direction
        return f"straight strokes along ({x:.2f}, {y:.2f}, {z:.2f}), {self.sense.value}"


@dataclass(frozen=True, kw_only=True)
class HolderStroke:
    """The stone slides in one direction under a holder while the handle only rolls.

    On the stone the handle's own line is h = a − (n·a) n, and the stroke runs at `angle_deg` from
    it about n; rolling carries each station's edge past it. On a planar face square to the handle h
    is square to the edge everywhere, so the lay is 90° − `angle_deg` all along, at any roll.

    Parameters
    ----------
    angle_deg : float
        Angle on the stone from the handle's line to the stroke [deg].
    sense : StrokeSense
        Which way the last strokes ran.
    """

    angle_deg: float = value("holder_slide_deg")
    sense: StrokeSense = StrokeSense.TO_AND_FRO

    def __post_init__(self) -> None:
        _check_stroke(self, "Give degrees from the handle's line on the stone.")

    def angle_deg_on(self, planes: GroundPlanes) -> FloatArray:
        """Angle of the stroke from the handle's line, at each station's roll."""
        a, n = planes.handle_axis, planes.normal
        ahead = a - (n @ a)[:, None] * n
        if not (vec.norm(ahead) > _MIN_IN_PLANE).all():
            raise Cannot(
                "the handle is perpendicular to the stone and has no direction on it",
                float(planes.arc_mm[np.argmin(vec.norm(ahead))]),
                "Use a StraightStroke or an Oblique one for this surface.",
            )
        ahead = vec.unit(ahead)
        turn = np.radians(self.angle_deg)
        return _angle_deg(planes, np.cos(turn) * ahead + np.sin(turn) * vec.cross(n, ahead))

    def __str__(self) -> str:
        return f"the stone slides at {self.angle_deg:g}° to the handle's line, {self.sense.value}"


def _angle_deg(planes: GroundPlanes, direction: FloatArray) -> FloatArray:
    """Lay of directions (S, 3), projected on the planes."""
    along, into = vec.dot(direction, planes.tangent), vec.dot(direction, planes.into)
    size = np.hypot(along, into)
    if not (size > _MIN_IN_PLANE).all():
        raise Cannot(
            "the stroke is perpendicular to the stone at a station",
            float(planes.arc_mm[np.argmin(size)]),
            "Choose a direction that lies more nearly in the ground surface.",
        )
    return np.asarray(np.degrees(np.arctan2(into, along)))


class Lay(Record):
    """Lay along an edge.

    Attributes
    ----------
    arc_mm : array (S,)
        Stations.
    lay_deg : array (S,)
        Scratch direction ψ in (−90, 90]; 0 along the edge, 90 across it.
    """

    arc_mm: FloatArray
    lay_deg: FloatArray

    @property
    def off_edge_deg(self) -> FloatArray:
        """|ψ| (S,): how far the scratches are from following the edge, 0 to 90."""
        return np.asarray(freeze(np.abs(self.lay_deg)))

    @property
    def span_deg(self) -> float:
        """How much the lay turns along the edge, the half turn unwrapped."""
        return float(np.ptp(np.unwrap(self.lay_deg, period=_HALF_TURN)))

    def follows(self, share: float = 0.5) -> float:
        """Share of the edge where the lay is below `share` of a right angle."""
        limit = 90.0 * fraction("share", share)
        weight = station_weights_mm(self.arc_mm)
        return float(weight @ (self.off_edge_deg <= limit) / weight.sum())


def lay(edge: Edge, stroke: StrokeDirection, *, stations: int = 400) -> Lay:
    """Lay of a stroke on the true lateral surface of an edge.

    Parameters
    ----------
    edge : Edge
    stroke : StrokeDirection
        `along_edge`, `across_edge`, `Oblique`, `StraightStroke` or `HolderStroke`.
    stations : int
        Equally spaced, both ends included.

    Returns
    -------
    Lay

    Raises
    ------
    EdgekitError
        Where a stroke has no direction on the surface.

    Examples
    --------
    Strokes straight along the blade follow its sides, but run across its toe:

    >>> import edgekit as ek
    >>> edge = ek.patterns.universal_curette().edges["left"]
    >>> off = ek.lay(edge, ek.StraightStroke(direction=[1, 0, 0])).off_edge_deg
    >>> bool(off[200] < 5), round(float(off[-1]))
    (True, 90)
    """
    instance("edge", edge, Edge, "Give one edge of a blade: blade.edges['left'].")
    instance("stroke", stroke, StrokeDirection, "Give a stroke, such as along_edge().")
    size = count("stations", stations, 2, most=MAX_STATIONS, bytes_each=500)
    return lay_on(flank_planes(edge, edge.stations(size)), stroke)


def lay_on(planes: GroundPlanes, stroke: StrokeDirection) -> Lay:
    """Lay of a stroke on given planes."""
    return Lay(arc_mm=planes.arc_mm, lay_deg=wrapped_lay_deg(stroke.angle_deg_on(planes)))
