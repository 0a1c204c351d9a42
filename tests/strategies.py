"""Edges, parameters and rigid motions to draw from, shared by the property tests.

`Polynomial` is exact and cheap, so one family covers arcs, bows, tilt, torsion, inflections and
straight lines without the cost of symbolic differentiation and without the error of a spline.
"""

from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import edgekit as ek
from edgekit.geometry.curve import Constant
from edgekit.geometry.path import CurvePath

UP = np.array([0.0, 0.0, 1.0])
DOWN = -UP


@dataclass(frozen=True, kw_only=True, eq=False)
class Polynomial:
    """A vector polynomial over [0, 1]; `rows` (degree + 1, 3), lowest power first."""

    rows: np.ndarray
    domain: tuple[float, float] = (0.0, 1.0)

    def derivatives(self, u, order):
        poly = np.polynomial.polynomial
        u = np.asarray(u, dtype=float)
        return tuple(
            np.moveaxis(poly.polyval(u, poly.polyder(self.rows, k) if k else self.rows), 0, -1)
            for k in range(order + 1)
        )

    def slowed(self, share):
        """The same curve over v with u = (1 - share) v + share v²."""
        poly = np.polynomial.polynomial
        inner = np.array([0.0, 1 - share, share])
        power, total = np.ones(1), np.zeros((2 * len(self.rows) - 1, 3))
        for row in self.rows:
            total[: len(power)] += power[:, None] * row
            power = poly.polymul(power, inner)
        return Polynomial(rows=total)


@dataclass(frozen=True, kw_only=True, eq=False)
class Shape:
    """What an edge is made of; `edge()` makes it."""

    curve: Polynomial
    normals: Polynomial
    beta_deg: float
    axis: np.ndarray
    side: int = -1

    def edge(self, *, scale=1.0, slowed=0.0):
        curve = Polynomial(rows=self.curve.rows * scale).slowed(slowed)
        path = CurvePath(curve=curve, normals=self.normals.slowed(slowed))
        return ek.Edge(
            path=path,
            internal_angle=Constant(value=np.radians(np.asarray(self.beta_deg))),
            handle_axis=self.axis,
            side=self.side,
            roll_reference=np.array([1.0, 0.0, 0.0]),
        )


def shape(
    *,
    length=5.65,
    plan=0.0,
    swerve=0.0,
    bow=0.0,
    torsion=0.0,
    tilt=0.0,
    twist=0.0,
    beta_deg=75.0,
    axis=DOWN,
):
    """x runs along; `plan` and `swerve` bend in the face, `bow` and `torsion` out of it.

    `tilt` leans the face across the edge, `twist` turns it along the edge. The steel lies at -y.
    """
    curve = [[0, 0, 0], [length, swerve, 0], [0, plan - 3 * swerve, bow], [0, 2 * swerve, torsion]]
    normals = [[0, tilt, 1], [-2 * bow / length, twist, 0], [-3 * torsion / length, 0, 0]]
    return Shape(
        curve=Polynomial(rows=np.array(curve, dtype=float)),
        normals=Polynomial(rows=np.array(normals, dtype=float)),
        beta_deg=beta_deg,
        axis=np.asarray(axis, dtype=float),
    )


def reals(low, high):
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


# One hand-made edge of each kind; none but the last is degenerate in any way.
NAMED = {
    "arc in a tilted, bowed face": shape(plan=-1.2, bow=0.5, tilt=0.3),
    "torsion and twist": shape(
        plan=-0.9, bow=0.4, torsion=0.5, tilt=-0.2, twist=0.3, axis=[0.2, 0.3, -1]
    ),
    "inflection": shape(swerve=0.6, bow=0.2, tilt=0.1),
    "straight": shape(),
}


@st.composite
def axes(draw):
    """Handle axes within some 40 degrees of square to the face."""
    return np.array([draw(reals(-0.6, 0.6)), draw(reals(-0.6, 0.6)), -1.0])


@st.composite
def shapes(draw):
    """Any of arcs, S-curves, bows, torsion, twist; straight when all come out 0."""
    return shape(
        length=draw(reals(2.0, 9.0)),
        plan=draw(reals(-1.5, 1.0)),
        swerve=draw(reals(-0.6, 0.6)),
        bow=draw(reals(-0.5, 0.7)),
        torsion=draw(reals(-0.4, 0.4)),
        tilt=draw(reals(-0.4, 0.4)),
        twist=draw(reals(-0.3, 0.3)),
        beta_deg=draw(reals(50.0, 85.0)),
        axis=draw(axes()),
    )


@st.composite
def motions(draw):
    """A rotation matrix and an offset in millimetres."""
    vector = [draw(reals(-3, 3)) for _ in range(3)]
    offset = np.array([draw(reals(-20, 20)) for _ in range(3)])
    return Rotation.from_rotvec(vector).as_matrix(), offset


@st.composite
def uneven(draw, least=60, most=90):
    """Increasing parameters over [0, 1] whose neighbouring steps differ by up to 3 to 1."""
    count = draw(st.integers(least, most))
    seed = draw(st.integers(0, 2**32 - 1))
    steps = np.random.default_rng(seed).uniform(1.0, 3.0, count)
    return np.concatenate([[0.0], np.cumsum(steps) / steps.sum()])
