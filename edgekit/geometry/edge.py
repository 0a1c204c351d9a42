"""A cutting edge: its path, the steel's side, the internal angle and the handle axis."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import (
    FloatArray,
    frozen_array,
    keep_numbers,
    unit_vector,
    vectors,
)
from edgekit.errors import BadArgument
from edgekit.geometry import jet
from edgekit.geometry import vectors as vec
from edgekit.geometry.curve import Constant, Curve, SplineCurve, chord_parameter
from edgekit.geometry.jet import Jet
from edgekit.geometry.path import CurvePath, MovedPath, Path, StretchPath
from edgekit.record import Record, read_only

__all__ = ["Edge"]

MIN_POINTS = 4  # a cubic; the regression distance needs a third derivative
MAX_STATIONS = 100_000  # 2 µm apart on the longest edge
FRAME_BYTES = 400  # a frame at one station: five vectors and an angle, each with two derivatives
MIN_INWARD = 0.1  # cosine between `inward` and the direction across the edge
MIN_MM, MAX_MM = 0.1, 200.0  # outside this a length is surely in another unit


class EdgeFrame(NamedTuple):
    """The frame t, f, b, n (theory T1) of an edge at stations, with derivatives by arc length.

    ``position`` (S, 3) [mm]; ``tangent``, ``face``, ``inward``, ``outward`` are jets of unit
    vectors (S, 3), derivatives in 1/mm and 1/mm²; ``angle`` is the jet of the internal angle
    [rad].
    """

    position: FloatArray
    tangent: Jet
    face: Jet
    inward: Jet
    outward: Jet
    angle: Jet

    @property
    def flank(self) -> FloatArray:
        """Direction d = cosβ b - sinβ f (S, 3) in which the lateral surface leaves the edge."""
        beta = self.angle.value[..., None]
        return np.asarray(np.cos(beta) * self.inward.value - np.sin(beta) * self.face.value)

    @property
    def plan_curvature(self) -> FloatArray:
        """Geodesic curvature t'·b in the face [1/mm]; positive where the edge is convex."""
        return vec.dot(self.tangent.d1, self.inward.value)

    @property
    def relative_curvature(self) -> FloatArray:
        """n'·t [1/mm]: how fast the edge falls away from a flat stone; negative where it is hollow.

        Equals sinβ (κ_g + κ_n cotβ): theory T5.
        """
        return vec.dot(self.outward.d1, self.tangent.value)


class Edge(Record):
    """One cutting edge of a blade, heel to toe.

    Parameters
    ----------
    path : Path
        Curve and face normals by arc length.
    internal_angle : Curve
        Internal angle β [rad] over arc length, as a scalar curve.
    handle_axis : array (3,)
        Unit vector from handle to working end.
    side : int
        +1 where the steel lies along f x t, -1 where it lies along -(f x t).
    roll_reference : array (3,)
        Direction of roll 0 about the handle axis; the toe-ward direction of the blade.
    """

    path: Path
    internal_angle: Curve
    handle_axis: FloatArray
    side: int
    roll_reference: FloatArray

    def __post_init__(self) -> None:
        if self.side not in (1, -1):
            raise BadArgument(
                "side must be 1 or -1", self.side, "Say where the steel lies.", argument="side"
            )
        for name in ("handle_axis", "roll_reference"):
            keep_numbers(self, **{name: unit_vector(name, getattr(self, name))})
        super().__post_init__()

    @property
    def length_mm(self) -> float:
        """Arc length from heel to toe [mm]."""
        return self.path.length_mm

    @property
    def nominal_angle_deg(self) -> float:
        """Internal angle at mid-length [deg]."""
        return float(np.degrees(self.frame(np.array(self.length_mm / 2)).angle.value))

    def stations(self, count: int) -> FloatArray:
        """Arc lengths [mm] of `count` equally spaced stations, both ends included."""
        size = checks.count("stations", count, 2, most=MAX_STATIONS, bytes_each=FRAME_BYTES)
        return np.linspace(0.0, self.length_mm, size)

    @cached_property
    def _frames(self) -> dict[int, tuple[FloatArray, EdgeFrame]]:
        return {}

    def at_stations(self, count: int, order: int = 0) -> tuple[FloatArray, EdgeFrame]:
        """Equally spaced stations and the frame there, with derivatives to `order`.

        An edge never changes, so what has no derivatives is computed once for each count and kept,
        read-only.
        """
        size = len(arc := read_only(self.stations(count)))
        if order == 0 and size in self._frames:
            return self._frames[size]
        frame = self.frame(arc, order)
        values = [read_only(jet_.value) for jet_ in frame[1:]]
        kept = EdgeFrame(read_only(frame.position), *map(Jet, values))
        arc, kept = self._frames.setdefault(size, (arc, kept))
        return arc, frame if order else kept

    def frame(self, arc_mm: ArrayLike, order: int = 2) -> EdgeFrame:
        """The frame at arc lengths of any shape [mm], with derivatives to `order` (2 at most)."""
        order = checks.count("order", order, 0, most=2)
        plain = isinstance(arc_mm, np.ndarray) and arc_mm.dtype == np.float64
        arc = np.asarray(arc_mm if plain else frozen_array("arc_mm", arc_mm))
        if not np.isfinite(arc).all():
            raise BadArgument(
                "arc_mm must be finite", arc, "Give arc lengths in millimetres.", argument="arc_mm"
            )
        if order == 0 and arc.size in self._frames:
            stations, frame = self._frames[arc.size]
            if np.array_equal(arc, stations):
                return frame
        position, tangent, face = self.path.at(arc, order)
        angle = Jet(*self.internal_angle.derivatives(arc, order))
        inward = jet.cross(face, tangent)
        if self.side < 0:
            inward = inward.times(-1)
        if isinstance(self.internal_angle, Constant):
            sin, cos = math.sin(self.internal_angle.value), math.cos(self.internal_angle.value)
            outward = inward.times(-sin).plus(face.times(-cos))
        else:
            cosine, sine = jet.cos_sin(angle)
            outward = jet.scale(sine, inward).plus(jet.scale(cosine, face)).times(-1)
        return EdgeFrame(position, tangent, face, inward, outward, angle)

    def stretch(self, from_mm: float, to_mm: float) -> Edge:
        """The part of the edge between two arc lengths [mm].

        Examples
        --------
        >>> import edgekit as ek
        >>> edge = ek.patterns.universal_curette().edges["left"]
        >>> round(edge.stretch(1.0, 3.5).length_mm, 6)
        2.5
        """
        from_mm, to_mm = checks.finite("from_mm", from_mm), checks.finite("to_mm", to_mm)
        if not 0 <= from_mm < to_mm <= self.length_mm * (1 + 1e-12):
            raise BadArgument(
                f"a stretch must run upwards within 0 to {self.length_mm:.4g} mm",
                (from_mm, to_mm),
                "Give arc lengths in millimetres from the heel.",
            )
        path = StretchPath(path=self.path, from_mm=from_mm, to_mm=to_mm)
        angle = self.internal_angle
        if not isinstance(angle, Constant):
            angle = _Shifted(curve=angle, by=from_mm)
        return dataclasses.replace(self, path=path, internal_angle=angle)

    def moved(self, matrix: ArrayLike, offset_mm: ArrayLike = (0.0, 0.0, 0.0)) -> Edge:
        """The edge carried by x -> `matrix` x + `offset_mm`, handle and all.

        `matrix` (3, 3) must be orthogonal; with determinant -1 it mirrors the edge, which swaps
        the side of the steel.
        """
        turn = frozen_array("matrix", matrix, (3, 3))
        if not np.allclose(turn @ turn.T, np.eye(3), atol=1e-9):
            raise BadArgument(
                "matrix must be orthogonal",
                turn.tolist(),
                "Give a rotation or a reflection.",
                argument="matrix",
            )
        offset = frozen_array("offset_mm", offset_mm, (3,))
        return dataclasses.replace(
            self,
            path=MovedPath(path=self.path, matrix=turn, offset_mm=offset),
            handle_axis=turn @ self.handle_axis,
            side=self.side * (1 if np.linalg.det(turn) > 0 else -1),
            roll_reference=turn @ self.roll_reference,
        )

    def mirrored(self) -> Edge:
        """The edge mirrored in the plane y = 0, as on the other hand of a pair."""
        return self.moved(np.diag([1.0, -1.0, 1.0]))

    @classmethod
    def from_points(
        cls,
        points_mm: ArrayLike,
        *,
        face_normals: ArrayLike,
        internal_angle_deg: ArrayLike,
        handle_axis: ArrayLike,
        inward: ArrayLike | None = None,
    ) -> Edge:
        """An edge through exact points, by a quintic spline over chord length.

        Parameters
        ----------
        points_mm : array (N, 3)
            Points from heel to toe [mm], N >= 4.
        face_normals : array (N, 3) or (3,)
            Normal of the face, out of the steel, at each point or everywhere.
        internal_angle_deg : float or array (N,)
            Internal angle [deg].
        handle_axis : array (3,)
            Direction from handle to working end.
        inward : array (3,), optional
            A vector at mid-edge that points into the steel; default f x t.

        Raises
        ------
        EdgekitError
            For points that are not finite, too few, repeated or out of order, for sizes that are
            not millimetres, angles that are not degrees, or normals along the edge.

        Examples
        --------
        >>> import numpy as np, edgekit as ek
        >>> u = np.linspace(-0.4, 0.4, 41)
        >>> arc = np.stack([6.7 * np.sin(u), 6.7 * np.cos(u), 0 * u], axis=1)
        >>> edge = ek.Edge.from_points(arc, face_normals=(0, 0, 1), internal_angle_deg=75,
        ...                            handle_axis=(0, 0, -1), inward=(0, -1, 0))
        >>> round(edge.length_mm, 4)
        5.36
        """
        points = check_points("points_mm", points_mm)
        u = chord_parameter(points)
        normals = _normal_field(face_normals, points, u)
        path = CurvePath(
            curve=SplineCurve.through(u, points), normals=normals, panels=max(256, 2 * len(u))
        )
        return cls.along(path, _angle_field(internal_angle_deg, path, u), handle_axis, inward)

    @classmethod
    def from_curve(
        cls,
        curve: Curve,
        *,
        face_normals: Curve | ArrayLike,
        internal_angle_deg: float,
        handle_axis: ArrayLike,
        inward: ArrayLike | None = None,
    ) -> Edge:
        """An edge along a parametric curve, such as a `SymbolicCurve`, with its exact derivatives.

        Parameters
        ----------
        curve : Curve
            Position [mm] over a parameter that runs heel to toe.
        face_normals : Curve or array (3,)
            Normal of the face over the same parameter, or everywhere; need not be unit.
        internal_angle_deg : float
            Internal angle [deg].
        handle_axis, inward : array (3,)
            As in `from_points`.

        Examples
        --------
        >>> import sympy, edgekit as ek
        >>> u = sympy.Symbol("u")
        >>> arc = ek.SymbolicCurve(
        ...     expressions=(6.7 * sympy.sin(u), 6.7 * sympy.cos(u), 0),
        ...     parameter=u, domain=(-0.4, 0.4))
        >>> edge = ek.Edge.from_curve(arc, face_normals=(0, 0, 1), internal_angle_deg=75,
        ...                           handle_axis=(0, 0, -1), inward=(0, -1, 0))
        >>> round(edge.length_mm, 6)
        5.36
        """
        checks.instance("curve", curve, Curve, "Give a curve, such as a SymbolicCurve.")
        if not isinstance(face_normals, Curve):
            face_normals = Constant(value=unit_vector("face_normals", face_normals))
        path = CurvePath(curve=curve, normals=face_normals)
        _check_length("the curve", path.length_mm)
        return cls.along(path, fixed_angle(internal_angle_deg), handle_axis, inward)

    @classmethod
    def along(
        cls, path: Path, angle: Curve, handle_axis: ArrayLike, inward: ArrayLike | None
    ) -> Edge:
        """An edge on a path, the side of its steel from a vector."""
        middle = path.at(np.array(path.length_mm / 2), order=0)
        across = vec.cross(middle.face.value, middle.tangent.value)
        side = 1
        if inward is not None:
            lean = float(vec.dot(unit_vector("inward", inward), across))
            if not abs(lean) >= MIN_INWARD:
                raise BadArgument(
                    "inward must point across the edge into the steel",
                    np.asarray(inward).tolist(),
                    "Give a vector in the face, from the edge at mid-length towards the mid-line.",
                    argument="inward",
                )
            side = 1 if lean > 0 else -1
        return cls(
            path=path,
            internal_angle=angle,
            handle_axis=unit_vector("handle_axis", handle_axis),
            side=side,
            roll_reference=middle.tangent.value,
        )


class _Shifted(Record):
    """A curve whose parameter starts `by` later."""

    curve: Curve
    by: float

    @property
    def domain(self) -> tuple[float, float]:
        low, high = self.curve.domain
        return low - self.by, high - self.by

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        return self.curve.derivatives(np.asarray(u) + self.by, order)


def check_angle_deg(name: str, value: object) -> float:
    """Return an internal angle in degrees, or explain what is wrong with it."""
    remedy = "Give the internal angle in degrees, such as 75."
    angle = checks.finite(name, value, remedy)
    if 0 < angle < math.pi:
        remedy = f"It looks like radians: did you mean {math.degrees(angle):.1f}? " + remedy
    return checks.between(name, angle, 10.0, 170.0, remedy)


def fixed_angle(internal_angle_deg: object) -> Constant:
    """An internal angle [rad] that is the same all along an edge."""
    return Constant(value=np.radians(check_angle_deg("internal_angle_deg", internal_angle_deg)))


def check_edge(edge: object) -> None:
    """Refuse what is not an edge, most often the blade it belongs to."""
    remedy = "Give one of a blade's edges: blade.edges['left']."
    if isinstance(edges := getattr(edge, "edges", None), Mapping):
        remedy = f"Give one of its edges: blade.edges[{next(iter(edges))!r}]."
    checks.instance("edge", edge, Edge, remedy)


def check_points(
    name: str,
    points_mm: ArrayLike,
    least: int = MIN_POINTS,
    *,
    blur_mm: float = 0.0,
    lines: Sequence[int] | None = None,
) -> FloatArray:
    """Return points (N, 3) of a curve in order, or explain what is wrong with them.

    Steps shorter than `blur_mm` are not asked for their direction: between two clicks closer than
    the noise it means nothing. `lines` are the lines of a file the points stand on, to be named.
    """
    points = frozen_array(name, points_mm, (None, 3))
    if not len(points) >= least:
        raise BadArgument(
            f"{name} must hold {least} points or more",
            len(points),
            "Digitise more points.",
            argument=name,
        )
    step = np.diff(points, axis=0)
    length = vec.norm(step)
    total = float(length.sum())
    _check_length(name, total)
    word, at = ("row", range(len(points))) if lines is None else ("line", lines)
    if (row := checks.worst_row(length, 1e-7 * total)) is not None:
        raise BadArgument(
            f"{name} repeats a point in {word}s {at[row]} and {at[row + 1]}",
            points[row].tolist(),
            "Remove one of the two.",
            argument=name,
        )
    direction = step / length[:, None]
    turn = vec.dot(direction[1:], direction[:-1])
    turn = np.where(np.minimum(length[1:], length[:-1]) > blur_mm, turn, 1.0)
    if (row := checks.worst_row(turn, -0.5)) is not None:
        raise BadArgument(
            f"{name} turns back on itself at {word} {at[row + 1]}",
            points[row + 1].tolist(),
            "Put the points in order along the edge, heel to toe.",
            argument=name,
        )
    return points


def _check_length(name: str, length_mm: float) -> None:
    remedy = "Check the unit: lengths are millimetres, not metres, micrometres or pixels."
    checks.between(f"{name}: its length in mm", length_mm, MIN_MM, MAX_MM, remedy)


def station_weights_mm(arc_mm: FloatArray) -> FloatArray:
    """Length of edge (S,) [mm] that each station (S,) stands for; half as much at the two ends."""
    share = np.gradient(arc_mm)
    share[[0, -1]] /= 2
    return np.asarray(share)


def _normal_field(face_normals: ArrayLike, points: FloatArray, u: FloatArray) -> Curve:
    if np.asarray(face_normals, dtype=object).ndim == 1:
        field: Curve = Constant(value=unit_vector("face_normals", face_normals))
        rows = field.derivatives(u, 0)[0]
    else:
        rows = vectors("face_normals", frozen_array("face_normals", face_normals, points.shape))
        if (row := checks.worst_row(vec.dot(rows[1:], rows[:-1]), 0.0)) is not None:
            raise BadArgument(
                f"face_normals turn over between rows {row} and {row + 1}",
                rows[row + 1].tolist(),
                "Give normals that all point out of the steel.",
            )
        field = SplineCurve.through(u, rows)
    tangent = vec.unit(np.gradient(points, u, axis=0))
    if (row := checks.worst_row(-np.abs(vec.dot(tangent, rows)), -0.5)) is not None:
        raise BadArgument(
            f"face_normals must be square to the edge, but row {row} leans along it",
            rows[row].tolist(),
            "Give the normal of the face, not the direction of the edge.",
            argument="face_normals",
        )
    return field


def _angle_field(internal_angle_deg: ArrayLike, path: CurvePath, u: FloatArray) -> Curve:
    name = "internal_angle_deg"
    if np.array(internal_angle_deg, dtype=object).ndim == 0:
        return fixed_angle(internal_angle_deg)
    degrees = frozen_array(name, internal_angle_deg, u.shape)
    for item in degrees.tolist():
        check_angle_deg(name, item)
    return SplineCurve.through(path.arc_of(u), np.radians(degrees))
