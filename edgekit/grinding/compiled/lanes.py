"""Sixteen numbers at a time for compiled functions: arithmetic, choices, loads and stores.

numba leaves it to the compiler whether a loop becomes wide instructions, and with many arrays it
does not. Here `Lanes` are one value of the compiled text, which becomes the widest instructions of
the processor whatever surrounds it. A number beside lanes stands for sixteen of itself.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any

from llvmlite import ir  # type: ignore[import-untyped]
from numba import njit, types
from numba.core import cgutils
from numba.extending import intrinsic, models, overload, register_model

from edgekit.grinding.compiled.parts import WIDTH

_VECTOR = ir.VectorType(ir.DoubleType(), WIDTH)
_FUSED = ("contract",)  # a product and a sum may be rounded once, where the processor can


def compiled(function: Callable[..., Any], *, kept: bool = False) -> Callable[..., Any]:
    """A function compiled at its first call as a part of its caller, or `kept` on disk, if a
    folder can be written, as one that is called from outside."""
    options = {"error_model": "numpy", "nogil": True, "forceinline": not kept}
    try:
        made: Callable[..., Any] = njit(cache=kept, **options)(function)
    except RuntimeError:  # neither the folder beside this file nor the user's own
        made = njit(**options)(function)
    return made


class Lanes(types.Type):  # type: ignore[misc]
    """The type of sixteen numbers."""

    def __init__(self) -> None:
        super().__init__(name="Lanes")


LANES = Lanes()


@register_model(Lanes)
class _Model(models.PrimitiveModel):  # type: ignore[misc]
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _VECTOR)


def _wide(builder: Any, value: Any, kind: Any) -> Any:
    """Lanes as they are, or of one number."""
    if isinstance(kind, Lanes):
        return value
    if isinstance(kind, types.Integer):
        value = builder.sitofp(value, ir.DoubleType())
    nothing, first = ir.Constant(_VECTOR, ir.Undefined), ir.Constant(ir.IntType(32), 0)
    places = ir.Constant(ir.VectorType(ir.IntType(32), WIDTH), [0] * WIDTH)
    return builder.shuffle_vector(builder.insert_element(nothing, value, first), nothing, places)


def _function(made: Callable[..., Any], count: int, result: Any = LANES) -> Any:
    """A function of `count` lanes or numbers, which the builder of instructions `made`."""

    def typed(*kinds: Any) -> tuple[Any, Callable[..., Any]]:
        def code(_: Any, builder: Any, signature: Any, values: Any) -> Any:
            pairs = zip(values, signature.args, strict=True)
            return made(builder, *(_wide(builder, value, kind) for value, kind in pairs))

        return result(*kinds), code

    if count == 1:
        return intrinsic(lambda _, a: typed(a))
    if count == 2:
        return intrinsic(lambda _, a, b: typed(a, b))
    return intrinsic(lambda _, a, b, c, d: typed(a, b, c, d))


def _operate(symbol: Callable[..., Any], name: str) -> None:
    """Give an operator its meaning between lanes, and between lanes and a number."""
    does = _function(lambda builder, a, b: getattr(builder, name)(a, b, flags=_FUSED), 2)

    def between(a: Any, b: Any) -> Any:
        if isinstance(a, Lanes) or isinstance(b, Lanes):
            return lambda a, b: does(a, b)  # noqa: PLW0108 - numba compiles no intrinsic itself
        return None

    between.__annotations__.clear()  # numba compares them with those of the lambda
    overload(symbol)(between)


for _symbol, _name in (
    (operator.add, "fadd"),
    (operator.iadd, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _operate(_symbol, _name)


def _below(builder: Any, a: Any, b: Any) -> Any:
    return builder.fcmp_ordered("<", a, b)


def _one_is(builder: Any, mask: Any) -> Any:
    """Whether any lane of a mask is true."""
    bits = builder.bitcast(mask, ir.IntType(WIDTH))
    return builder.icmp_unsigned("!=", bits, ir.Constant(ir.IntType(WIDTH), 0))


def _root(builder: Any, a: Any) -> Any:
    name, kind = f"llvm.sqrt.v{WIDTH}f64", ir.FunctionType(_VECTOR, [_VECTOR])
    return builder.call(cgutils.get_or_insert_function(builder.module, kind, name), [a])


wide = _function(lambda _, a: a, 1)
root = _function(_root, 1)
least = _function(lambda b, x, y: b.select(_below(b, x, y), x, y), 2)
most = _function(lambda b, x, y: b.select(_below(b, y, x), x, y), 2)
# Where the first is below the second, the third, else the fourth.
if_below = _function(lambda b, x, y, yes, no: b.select(_below(b, x, y), yes, no), 4)
any_below = _function(lambda b, x, y: _one_is(b, _below(b, x, y)), 2, types.boolean)


def _place(context: Any, builder: Any, kind: Any, array: Any, at: Any) -> Any:
    if isinstance(kind, types.Array):
        array = context.make_array(kind)(context, builder, array).data
    return builder.gep(array, [at])


def _lanes_at(context: Any, builder: Any, kind: Any, array: Any, at: Any) -> Any:
    return builder.bitcast(_place(context, builder, kind, array, at), _VECTOR.as_pointer())


@intrinsic  # type: ignore[untyped-decorator]
def row(_: Any, array: Any, at: Any) -> Any:
    """The row that begins at a place of an array or row."""

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        return _place(context, builder, signature.args[0], *values)

    return types.CPointer(array.dtype)(array, at), code


@intrinsic  # type: ignore[untyped-decorator]
def rows(_: Any, group: Any) -> Any:
    """A named tuple of arrays as one of rows: handing on an array counts its owners, which takes
    longer than a stroke. The caller keeps the arrays."""
    kinds = [types.CPointer(k.dtype) if isinstance(k, types.Array) else k for k in group.types]

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        parts = zip(cgutils.unpack_tuple(builder, values[0]), group.types, strict=True)
        start = ir.Constant(ir.IntType(64), 0)
        bare = [
            _place(context, builder, kind, part, start) if isinstance(kind, types.Array) else part
            for part, kind in parts
        ]
        return context.make_tuple(builder, signature.return_type, bare)

    return types.NamedTuple(kinds, group.instance_class)(group), code


@intrinsic  # type: ignore[untyped-decorator]
def load(_: Any, array: Any, at: Any) -> Any:
    """Sixteen numbers of a row from a place on."""

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        return builder.load(_lanes_at(context, builder, signature.args[0], *values), align=8)

    return LANES(array, at), code


@intrinsic  # type: ignore[untyped-decorator]
def save(_: Any, array: Any, at: Any, lanes: Any) -> Any:
    """Write lanes, or one number sixteen times, into a row from a place on."""

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        place = _lanes_at(context, builder, signature.args[0], *values[:2])
        builder.store(_wide(builder, values[2], signature.args[2]), place, align=8)
        return context.get_dummy_value()

    return types.void(array, at, lanes), code


@intrinsic  # type: ignore[untyped-decorator]
def fetch(_: Any, array: Any, at: Any) -> Any:
    """Have the numbers at a place of a row brought into cache, for later."""

    def code(context: Any, builder: Any, signature: Any, values: Any) -> Any:
        byte, number = ir.IntType(8).as_pointer(), ir.IntType(32)
        kind = ir.FunctionType(ir.VoidType(), [byte, number, number, number])
        call = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0i8")
        place = builder.bitcast(_place(context, builder, signature.args[0], *values), byte)
        builder.call(call, [place, *(ir.Constant(number, n) for n in (0, 3, 1))])  # read data
        return context.get_dummy_value()

    return types.void(array, at), code


def _across(fold: Callable[..., Any]) -> Any:
    """A function of lanes that folds them into one number: half upon half until one is left."""

    def typed(_: Any, lanes: Any) -> Any:
        def code(_: Any, builder: Any, __: Any, values: Any) -> Any:
            lanes, width = values[0], WIDTH
            while width > 1:
                width //= 2
                kind = ir.VectorType(ir.IntType(32), width)
                low, high = (
                    builder.shuffle_vector(
                        lanes, lanes, ir.Constant(kind, list(range(at, at + width)))
                    )
                    for at in (0, width)
                )
                lanes = fold(builder, low, high)
            return builder.extract_element(lanes, ir.Constant(ir.IntType(32), 0))

        return types.float64(lanes), code

    return intrinsic(typed)


total = _across(lambda builder, a, b: builder.fadd(a, b))
highest = _across(lambda builder, a, b: builder.select(_below(builder, a, b), b, a))
