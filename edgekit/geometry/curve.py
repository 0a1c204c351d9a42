"""Parametric curves with exact derivatives: from sympy expressions, or splines through points.

A curve here is any object with a `domain` ``(u0, u1)`` and a method ``derivatives(u, order)``
that returns the value and its derivatives by the parameter, each with the shape of `u` followed
by the shape of one value. Direction fields (face normals) and scalar fields (internal angle)
along an edge follow the same protocol.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline, make_interp_spline

from edgekit.checks import FloatArray, frozen_array, worst_row
from edgekit.errors import EdgekitError
from edgekit.record import Record

if TYPE_CHECKING:
    import sympy

__all__ = ["SplineCurve", "SymbolicCurve"]

MAX_ORDER = 3  # the regression distance needs the third derivative of the edge, no more


@runtime_checkable
class Curve(Protocol):
    """A quantity along a parameter, with derivatives."""

    @property
    def domain(self) -> tuple[float, float]:
        """First and last parameter."""

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """Value and derivatives 1 to `order` by the parameter at `u`."""


class Constant(Record):
    """A quantity that does not vary along the curve, such as the normal of a planar face."""

    value: FloatArray
    domain: tuple[float, float] = (-np.inf, np.inf)

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """The value everywhere, and zero derivatives."""
        shape = np.shape(u) + np.shape(self.value)
        return (np.broadcast_to(self.value, shape), *(np.zeros(shape) for _ in range(order)))


class SymbolicCurve(Record):
    """A curve given by sympy expressions, differentiated symbolically.

    Parameters
    ----------
    expressions : sequence of sympy.Expr
        One expression a coordinate, in `parameter`.
    parameter : sympy.Symbol
        The parameter.
    domain : tuple of float
        First and last parameter.

    Examples
    --------
    >>> import numpy as np, sympy
    >>> u = sympy.Symbol("u")
    >>> circle = SymbolicCurve(
    ...     expressions=(6.7 * sympy.cos(u), 6.7 * sympy.sin(u), 0), parameter=u, domain=(0, 1))
    >>> point, velocity = circle.derivatives(np.array(0.0), 1)
    >>> (velocity + 0.0).round(3)
    array([0. , 6.7, 0. ])
    """

    expressions: Sequence[sympy.Expr | float]
    parameter: sympy.Symbol
    domain: tuple[float, float]

    def __post_init__(self) -> None:
        import sympy

        low, high = frozen_array("domain", self.domain, (2,)).tolist()
        if not low < high:
            raise EdgekitError("domain must run upwards", self.domain, "Give (first, last).")
        try:
            exact = [sympy.sympify(expression) for expression in self.expressions]
        except sympy.SympifyError as error:
            raise EdgekitError(
                "expressions must be sympy expressions or numbers",
                self.expressions,
                "Give one expression a coordinate.",
            ) from error
        unknown = set().union(*(e.free_symbols for e in exact)) - {self.parameter}
        if unknown:
            raise EdgekitError(
                "expressions may hold no symbol but the parameter",
                sorted(map(str, unknown)),
                "Substitute numbers for the others.",
            )
        functions = []
        for order in range(MAX_ORDER + 1):
            rows = [sympy.diff(e, self.parameter, order) for e in exact]
            functions.append(sympy.lambdify(self.parameter, rows, modules="numpy", cse=True))
        object.__setattr__(self, "domain", (low, high))
        object.__setattr__(self, "_functions", tuple(functions))

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """Value and derivatives 1 to `order` (3 at most) at `u`, coordinates on the last axis."""
        u = np.asarray(u, dtype=float)
        rows = [f(u) for f in self._functions[: order + 1]]  # type: ignore[attr-defined]
        return tuple(
            np.stack([np.broadcast_to(np.asarray(c, dtype=float), u.shape) for c in row], axis=-1)
            for row in rows
        )


class SplineCurve(Record):
    """A B-spline curve, normally quintic so that its third derivative is continuous."""

    spline: BSpline[np.float64]

    @cached_property
    def _chain(self) -> tuple[BSpline[np.float64], ...]:
        """The spline and its derivatives."""
        chain = [self.spline]
        for _ in range(MAX_ORDER):
            chain.append(chain[-1].derivative())
        return tuple(chain)

    @property
    def domain(self) -> tuple[float, float]:
        """First and last parameter."""
        t, k = self.spline.t, self.spline.k
        return float(t[k]), float(t[-k - 1])

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """Value and derivatives 1 to `order` (3 at most) at `u`."""
        return tuple(np.asarray(spline(u)) for spline in self._chain[: order + 1])

    @classmethod
    def through(cls, parameter: ArrayLike, values: ArrayLike) -> SplineCurve:
        """Interpolate `values` (N, ...) at increasing `parameter` (N,), quintic where N allows.

        Examples
        --------
        >>> import numpy as np
        >>> u = np.linspace(0, 1, 40)
        >>> arc = SplineCurve.through(u, np.stack([np.cos(u), np.sin(u), 0 * u], axis=1))
        >>> arc.derivatives(np.array(0.3), 2)[2].round(5)
        array([-0.95534, -0.29552,  0.     ])
        """
        u = frozen_array("parameter", parameter, (None,))
        rows = frozen_array("values", values)
        if not (len(u) > MAX_ORDER and rows.shape[:1] == u.shape):
            raise EdgekitError(
                f"a spline needs {MAX_ORDER + 1} values or more, one per parameter",
                (u.shape, rows.shape),
                "Give as many values as parameters.",
            )
        if (row := worst_row(np.diff(u), 0.0)) is not None:
            raise EdgekitError(
                f"parameter must increase, but its row {row + 1} does not",
                float(u[row + 1]),
                "Sort the values and remove repeats.",
            )
        degree = min(5, len(u) - 1)
        degree -= 1 - degree % 2  # odd degrees only: even ones put knots between the points
        return cls(spline=make_interp_spline(u, rows, k=degree))


def chord_parameter(points_mm: FloatArray) -> FloatArray:
    """Running length of the polyline through the points (N, 3), from 0."""
    step = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(step)])
