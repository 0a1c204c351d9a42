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

from edgekit.checks import FloatArray, as_array, count, finite, frozen_array, iterated, worst_row
from edgekit.errors import BadArgument
from edgekit.record import Record

if TYPE_CHECKING:
    import sympy

__all__ = ["SplineCurve", "SymbolicCurve"]

MAX_POINTS = 100_000  # that a spline passes through
MAX_ORDER = 3  # the regression distance needs the third derivative of the edge, no more


@runtime_checkable
class Curve(Protocol):
    """A quantity along a parameter, with derivatives."""

    @property
    def domain(self) -> tuple[float, float]:
        """First and last parameter."""

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """Value and derivatives 1 to `order` by the parameter at `u`."""


def _asked(u: FloatArray, order: int) -> tuple[FloatArray, int]:
    """Parameters and order of derivatives as asked for, checked."""
    return as_array("u", u), count("order", order, 0, most=MAX_ORDER)


class Constant(Record):
    """A quantity that does not vary along the curve, such as the normal of a planar face."""

    value: FloatArray
    domain: tuple[float, float] = (-np.inf, np.inf)

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """The value everywhere, and zero derivatives."""
        u, order = _asked(u, order)
        shape = u.shape + np.shape(self.value)
        return (np.broadcast_to(self.value, shape), *(np.zeros(shape) for _ in range(order)))


class SymbolicCurve(Record):
    """A curve given by sympy expressions, differentiated symbolically.

    Parameters
    ----------
    expressions : sequence of sympy.Expr or numbers
        One expression a coordinate, in `parameter`. Text is refused: it would be run as a program.
    parameter : sympy.Symbol
        The parameter.
    domain : tuple of float
        First and last parameter.

    Raises
    ------
    EdgekitError
        An entry that is neither an expression nor a finite number, a symbol besides the
        parameter, a function without a definition, or a domain that does not run upwards.

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
            raise BadArgument(
                "domain must run upwards", self.domain, "Give (first, last).", argument="domain"
            )
        _symbol(self.parameter)
        given = _listed(self.expressions)
        exact = [_expression(item, self.parameter) for item in given]
        functions = []
        for order in range(MAX_ORDER + 1):
            rows = [sympy.diff(e, self.parameter, order) for e in exact]
            functions.append(sympy.lambdify(self.parameter, rows, modules="numpy", cse=True))
        object.__setattr__(self, "domain", (low, high))
        object.__setattr__(self, "expressions", given)
        object.__setattr__(self, "_functions", tuple(functions))

    def derivatives(self, u: FloatArray, order: int) -> tuple[FloatArray, ...]:
        """Value and derivatives 1 to `order` (3 at most) at `u`, coordinates on the last axis."""
        u, order = _asked(u, order)
        rows = [f(u) for f in self._functions[: order + 1]]  # type: ignore[attr-defined]
        return tuple(
            np.stack([np.broadcast_to(np.asarray(c, dtype=float), u.shape) for c in row], axis=-1)
            for row in rows
        )


def _symbol(parameter: object) -> None:
    import sympy

    if not isinstance(parameter, sympy.Symbol):
        raise BadArgument(
            "parameter must be a sympy Symbol",
            parameter,
            'Write u = sympy.Symbol("u").',
            argument="parameter",
        )


def _listed(expressions: object) -> tuple[object, ...]:
    """The expressions, one by one; a text is not taken apart into letters."""
    remedy = "Give a list with one sympy expression or number a coordinate."
    given = tuple(iterated("expressions", expressions, remedy))
    if not given:
        raise BadArgument(
            "expressions must not be empty", expressions, remedy, argument="expressions"
        )
    return given


def _expression(item: object, parameter: sympy.Symbol) -> sympy.Expr:
    """An expression as it is, or a number as one.

    Sympy runs text as a program, whether it comes as text, through an object's own conversion or
    as the name of a symbol or function when the expression is compiled. So nothing is converted
    before its kind is known, and no name but the parameter's may occur.
    """
    import sympy
    from sympy.core.function import AppliedUndef

    if isinstance(item, int | float | np.integer | np.floating) and not isinstance(item, bool):
        finite("a number in expressions", item)
        return sympy.sympify(item, strict=True)
    if not isinstance(item, sympy.Expr):
        raise BadArgument(
            "expressions must be sympy expressions or numbers",
            item,
            "Give one expression a coordinate, built with sympy, such as sympy.cos(u).",
        )
    constants = (
        sympy.Number,
        sympy.NumberSymbol,
        type(sympy.I),
        type(sympy.true),
        type(sympy.false),
    )
    names = [leaf for leaf in item.atoms() if leaf != parameter and not isinstance(leaf, constants)]
    if names or item.free_symbols - {parameter}:
        raise BadArgument(
            "expressions may hold no symbol but the parameter",
            sorted(map(str, {*names, *(item.free_symbols - {parameter})})),
            "Substitute numbers for the others.",
        )
    if item.atoms(AppliedUndef) or item.has(sympy.nan, sympy.zoo, sympy.oo, -sympy.oo):
        raise BadArgument(
            "expressions may hold no undefined function and nothing infinite",
            str(item),
            "Write the function out, such as sympy.sin(u).",
        )
    return item


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
        u, order = _asked(u, order)
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
            raise BadArgument(
                f"a spline needs {MAX_ORDER + 1} values or more, one per parameter",
                (u.shape, rows.shape),
                "Give as many values as parameters.",
            )
        count("the number of values", len(u), most=MAX_POINTS, bytes_each=1000)
        if (row := worst_row(np.diff(u), 0.0)) is not None:
            raise BadArgument(
                f"parameter must increase, but its row {row + 1} does not",
                float(u[row + 1]),
                "Sort the values and remove repeats.",
                argument="parameter",
            )
        degree = min(5, len(u) - 1)
        degree -= 1 - degree % 2  # odd degrees only: even ones put knots between the points
        return cls(spline=make_interp_spline(u, rows, k=degree))


def chord_parameter(points_mm: FloatArray) -> FloatArray:
    """Running length of the polyline through the points (N, 3), from 0."""
    step = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(step)])
