"""A path: an edge's curve with the face normal along it, by arc length.

`Path` is the one protocol between curves and everything that follows. `BentArcs` is exact (circle
arcs in the plan of a face that is rolled to a bow); `CurvePath` serves any parametric curve.
The frame comes from the face, never from the curve's own curvature, so straight stretches and
inflections are nothing special.
"""

from __future__ import annotations

from dataclasses import field
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from edgekit.checks import FloatArray, finite, frozen_array, keep_numbers, worst_row
from edgekit.errors import BadArgument
from edgekit.geometry import jet, vectors
from edgekit.geometry.curve import Curve
from edgekit.geometry.jet import Jet
from edgekit.record import Record, read_only


class PathFrame(NamedTuple):
    """Position [mm], unit tangent and unit face normal, with derivatives by arc length [1/mm]."""

    position: FloatArray
    tangent: Jet
    face: Jet


class Path(Protocol):
    """A curve by arc length with the unit face normal along it."""

    @property
    def length_mm(self) -> float:
        """Arc length from end to end."""

    def at(self, arc_mm: FloatArray, order: int = 2) -> PathFrame:
        """The frame at arc lengths of any shape, with derivatives to `order` (2 at most)."""


class BentArcs(Record):
    """Circle arcs, tangent to each other, drawn on a face that is then rolled to a bow.

    Rolling a plane to a cylinder keeps lengths and plan curvatures, so the path is known exactly
    by arc length: plan heading ψ(s) with ψ' = κ, and face slope θ = X / bow radius.

    Parameters
    ----------
    start_mm : array (2,)
        Plan position (X, Y) of the heel [mm].
    heading_rad : float
        Plan heading of the tangent at the heel, from x towards y.
    lengths_mm, curvatures_per_mm : array (A,)
        Length and signed plan curvature of each arc; positive turns left, seen from outside.
    bow_per_mm : float
        Curvature of the bow about y; positive lifts heel and toe towards the face normal.
    """

    start_mm: FloatArray
    heading_rad: float
    lengths_mm: FloatArray
    curvatures_per_mm: FloatArray
    bow_per_mm: float = 0.0

    def __post_init__(self) -> None:
        lengths = frozen_array("lengths_mm", self.lengths_mm, (None,))
        if not (len(lengths) and (lengths > 0).all()):
            raise BadArgument(
                "lengths_mm must be above 0",
                lengths.tolist(),
                "Give one length per arc.",
                argument="lengths_mm",
            )
        keep_numbers(
            self,
            start_mm=frozen_array("start_mm", self.start_mm, (2,)),
            heading_rad=finite("heading_rad", self.heading_rad),
            lengths_mm=lengths,
            curvatures_per_mm=frozen_array(
                "curvatures_per_mm", self.curvatures_per_mm, lengths.shape
            ),
            bow_per_mm=finite("bow_per_mm", self.bow_per_mm),
        )
        super().__post_init__()

    @cached_property
    def _starts(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Arc length (A + 1,), heading (A + 1,) and plan position (A + 1, 2) where arcs begin."""
        lengths, curvature = self.lengths_mm, self.curvatures_per_mm
        knots = np.concatenate([[0.0], np.cumsum(lengths)])
        turn = np.concatenate([[0.0], np.cumsum(curvature * lengths)]) + self.heading_rad
        steps = np.concatenate([[self.start_mm], _chord(lengths, curvature, turn[:-1])])
        return read_only(knots), read_only(turn), read_only(np.cumsum(steps, axis=0))

    @property
    def length_mm(self) -> float:
        """Arc length from end to end."""
        return float(self.lengths_mm.sum())

    def at(self, arc_mm: FloatArray, order: int = 2) -> PathFrame:
        """The frame at arc lengths of any shape; past the ends the last arcs go on."""
        knots, turn, corners = self._starts
        i = np.clip(np.searchsorted(knots, arc_mm, side="right") - 1, 0, len(self.lengths_mm) - 1)
        rest = np.asarray(arc_mm - knots[i])
        kappa = self.curvatures_per_mm[i]
        plan = corners[i] + _chord(rest, kappa, turn[i])
        heading = Jet(*(turn[i] + kappa * rest, kappa, np.zeros_like(rest))[: order + 1])
        cos_psi, sin_psi = jet.cos_sin(heading)
        x, k = plan[..., 0], self.bow_per_mm
        slope = Jet(*(k * part for part in (x, *cos_psi[:order])))
        cos_theta, sin_theta = jet.cos_sin(slope)
        none = Jet(*(np.zeros_like(rest) for _ in range(order + 1)))
        half = k * x / 2
        position = np.stack(
            [x * np.sinc(k * x / np.pi), plan[..., 1], x * np.sin(half) * np.sinc(half / np.pi)], -1
        )
        level, rise = (jet.product(np.multiply, cos_psi, part) for part in (cos_theta, sin_theta))
        face = _stack(sin_theta.times(-1), none, cos_theta)
        return PathFrame(position, _stack(level, sin_psi, rise), face)


def _chord(length: FloatArray, kappa: FloatArray, heading: FloatArray) -> FloatArray:
    """Plan vector (..., 2) along an arc; `sinc` serves straight stretches without a branch."""
    half = kappa * length / 2
    reach = length * np.sinc(half / np.pi)
    return np.stack([reach * np.cos(heading + half), reach * np.sin(heading + half)], axis=-1)


def _stack(x: Jet, y: Jet, z: Jet) -> Jet:
    return Jet(*(np.stack(parts, axis=-1) for parts in zip(x, y, z, strict=True)))


_GAUSS_NODES, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(5)
_MIN_PANELS = 256  # 5-point panels: arc length good to rounding on any curve of this trade


class CurvePath(Record):
    """Any parametric curve with a field of face normals over the same parameter.

    The normals need not be unit or square to the curve; what lies along the tangent is removed.
    """

    curve: Curve
    normals: Curve
    panels: int = _MIN_PANELS
    _parameter: CubicHermiteSpline = field(init=False, repr=False)

    def __post_init__(self) -> None:
        u = np.linspace(*self.curve.domain, self.panels + 1)
        arc = self.arc_of(u)
        _, velocity = self.curve.derivatives(u, 1)
        speed = vectors.norm(velocity)
        if (row := worst_row(speed, 1e-9 * arc[-1] / (u[-1] - u[0]))) is not None:
            raise BadArgument(
                "the curve has zero speed at a parameter",
                float(u[row]),
                "Choose a parameter along which the point always moves.",
            )
        keep_numbers(self, _parameter=CubicHermiteSpline(arc, u, 1 / speed))
        super().__post_init__()

    @property
    def length_mm(self) -> float:
        """Arc length from end to end."""
        return float(self._parameter.x[-1])

    def arc_of(self, parameter: FloatArray) -> FloatArray:
        """Arc length [mm] of increasing parameters (N,)."""
        half = np.diff(parameter)[:, None] / 2
        nodes = (parameter[:-1, None] + half) + half * _GAUSS_NODES
        _, velocity = self.curve.derivatives(nodes, 1)
        return np.concatenate([[0.0], np.cumsum((half * vectors.norm(velocity)) @ _GAUSS_WEIGHTS)])

    def at(self, arc_mm: FloatArray, order: int = 2) -> PathFrame:
        """The frame at arc lengths of any shape."""
        u = np.clip(np.asarray(self._parameter(arc_mm)), *self.curve.domain)
        position, *velocity = self.curve.derivatives(u, order + 1)
        speed = vectors.norm(velocity[0])
        speed_d1 = vectors.dot(velocity[0], velocity[1]) / speed if order > 0 else speed
        tangent = jet.unit(Jet(*velocity))
        raw = Jet(*self.normals.derivatives(u, order))
        along = jet.product(vectors.dot, raw, tangent)
        face = jet.unit(raw.plus(jet.scale(along, tangent).times(-1)))
        return PathFrame(position, tangent.per(speed, speed_d1), face.per(speed, speed_d1))


class MovedPath(Record):
    """A path carried by a rigid motion or a mirroring, x -> `matrix` x + `offset_mm`."""

    path: Path
    matrix: FloatArray
    offset_mm: FloatArray

    @property
    def length_mm(self) -> float:
        """Arc length from end to end."""
        return self.path.length_mm

    def at(self, arc_mm: FloatArray, order: int = 2) -> PathFrame:
        """The frame at arc lengths of any shape."""
        frame = self.path.at(arc_mm, order)
        turn = self.matrix.T
        return PathFrame(
            frame.position @ turn + self.offset_mm,
            Jet(*(part @ turn for part in frame.tangent)),
            Jet(*(part @ turn for part in frame.face)),
        )


class StretchPath(Record):
    """The part of a path between two arc lengths."""

    path: Path
    from_mm: float
    to_mm: float

    @property
    def length_mm(self) -> float:
        """Arc length of the part."""
        return self.to_mm - self.from_mm

    def at(self, arc_mm: FloatArray, order: int = 2) -> PathFrame:
        """The frame at arc lengths of any shape, measured from the start of the part."""
        return self.path.at(np.asarray(arc_mm) + self.from_mm, order)
