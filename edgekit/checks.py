"""Checks that public functions make on what they are given; each raises `BadArgument`.

Every comparison is written so that NaN fails it.
"""

import math
import operator
from collections.abc import Iterable, Sequence
from dataclasses import is_dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgekit.errors import BadArgument

FloatArray = NDArray[np.float64]
Item = TypeVar("Item")
Seed = np.random.Generator | np.random.BitGenerator | np.random.SeedSequence | int | Sequence[int]
"""What ``rng=`` takes: a generator, or what makes one."""
_KINDS: set[tuple[type, type | tuple[type, ...]]] = set()  # of records, as `instance` found them
SEEDS = (
    int,
    np.integer,
    Sequence,
    np.ndarray,
    np.random.SeedSequence,
    np.random.BitGenerator,
    np.random.Generator,
)
REAL = (int, float, np.integer, np.floating, Decimal, Fraction)
SMALLEST, LARGEST = 1e-30, 1e30
"""Beyond them powers and reciprocals overflow; no length, angle, force or count comes near."""
# Python and numpy derive these from whole numbers.
NOT_REAL = (bool, np.bool_, np.timedelta64)


def number(name: str, value: object, remedy: str = "Give a number.") -> float:
    """Return `value` as a float, if it is one real number, infinite and NaN included.

    Python's and numpy's real numbers, ``Decimal``, ``Fraction`` and arrays of shape () are numbers.
    Text, true and false, complex numbers, times, masked values and larger arrays are not.
    """
    if isinstance(value, np.ndarray) and value.shape == () and not np.ma.isMaskedArray(value):
        value = value[()]
    if isinstance(value, NOT_REAL) or not isinstance(value, REAL):
        raise BadArgument(f"{name} must be a number", value, remedy, argument=name)
    try:
        return float(value)
    except OverflowError as error:
        raise BadArgument(f"{name} must be finite", value, remedy, argument=name) from error


def finite(name: str, value: object, remedy: str = "Give a finite number.") -> float:
    """Return `value` as a float, or refuse anything that is not one finite number."""
    result = number(name, value, remedy)
    if not math.isfinite(result):
        raise BadArgument(f"{name} must be finite", value, remedy, argument=name)
    if not abs(result) <= LARGEST:
        raise BadArgument(f"{name} must be {LARGEST:g} at most", value, remedy, argument=name)
    return result


def positive(name: str, value: float, remedy: str = "Give a number above 0.") -> float:
    """Return `value` as a float above zero."""
    number = finite(name, value, remedy)
    if not number > 0:
        raise BadArgument(f"{name} must be above 0", value, remedy, argument=name)
    if not number >= SMALLEST:
        raise BadArgument(f"{name} must be {SMALLEST:g} or more", value, remedy, argument=name)
    return number


def at_least(name: str, value: float, low: float, remedy: str | None = None) -> float:
    """Return `value` as a float that is `low` or more."""
    remedy = remedy or f"Give a number of {low:g} or more."
    number = finite(name, value, remedy)
    if not number >= low:
        raise BadArgument(f"{name} must be {low:g} or more", value, remedy, argument=name)
    return number


def between(name: str, value: float, low: float, high: float, remedy: str | None = None) -> float:
    """Return `value` as a float strictly inside (low, high)."""
    remedy = remedy or f"Give a number between {low:g} and {high:g}."
    number = finite(name, value, remedy)
    if not low < number < high:
        raise BadArgument(
            f"{name} must lie between {low:g} and {high:g}", value, remedy, argument=name
        )
    return number


def fraction(name: str, value: float, *, zero: bool = False) -> float:
    """Return `value` as a float in (0, 1], or [0, 1] when `zero` is allowed."""
    remedy = "Give a share of 1, such as 0.2 for 20 %."
    number = finite(name, value, remedy)
    if not (0 <= number <= 1) or (number == 0 and not zero):
        raise BadArgument(f"{name} must be a share between 0 and 1", value, remedy, argument=name)
    return number


def count(
    name: str, value: object, low: int = 1, *, most: int | None = None, bytes_each: float = 0.0
) -> int:
    """Return `value` as an int from `low` to `most`; numbers with a fraction are refused.

    `bytes_each` is the memory that one more takes: the message for too large a count says how much
    it comes to.
    """
    remedy = f"Give a whole number of {low} or more."
    size = finite(name, value, remedy)
    if size != int(size) or not size >= low:
        raise BadArgument(
            f"{name} must be a whole number of {low} or more", value, remedy, argument=name
        )
    if most is not None and not size <= most:
        memory = f" (they would take {size * bytes_each / 1e9:,.3g} GB)" if bytes_each else ""
        raise BadArgument(
            f"{name} must be {most:,} or less{memory}",
            value,
            f"Give at most {most:,}.",
            argument=name,
        )
    try:
        return operator.index(value)  # type: ignore[arg-type]  # as a float it would lose digits
    except TypeError:
        return int(size)


def instance(name: str, value: object, kind: type | tuple[type, ...], remedy: str) -> None:
    """Refuse `value` unless it is of a kind.

    Whether a record has what a protocol asks for depends on its type alone: it is told once, since
    that takes as long as a session.
    """
    known = type(value), kind
    if known in _KINDS:
        return
    if isinstance(value, kind):
        if is_dataclass(type(value)):
            _KINDS.add(known)
    else:
        kinds = kind if isinstance(kind, tuple) else (kind,)
        wanted = " or ".join(item.__name__ for item in kinds)
        article = "an" if wanted[0] in "AEIO" else "a"
        raise BadArgument(f"{name} must be {article} {wanted}", value, remedy, argument=name)


def flag(name: str, value: object) -> bool:
    """Return `value`, if it is true or false."""
    if not isinstance(value, bool | np.bool_):
        raise BadArgument(
            f"{name} must be True or False", value, "Give one of the two.", argument=name
        )
    return bool(value)


def iterated(name: str, values: object, remedy: str) -> list[object]:
    """What iterating over `values` gives; text, and what is not iterable, are refused."""
    try:
        if not isinstance(values, str | bytes):
            return list(values)  # type: ignore[call-overload,no-any-return]
    except TypeError:  # not iterable: arrays of shape () only say so here
        pass
    raise BadArgument(f"{name} must be a sequence", values, remedy, argument=name)


def one_of(name: str, value: object, known: Iterable[str]) -> str:
    """Return `value`, if it is one of the `known` names."""
    names = list(known)
    if not isinstance(value, str) or value not in names:
        raise BadArgument(
            f"{name} must be one of {', '.join(names)}", value, "Choose one.", argument=name
        )
    return value


def items_of(name: str, values: object, kind: type[Item], remedy: str) -> list[Item]:
    """Return the items of a sequence, refusing what is none and items of another kind."""
    if not isinstance(values, Sequence) or isinstance(values, str | bytes):
        raise BadArgument(f"{name} must be a sequence", values, remedy, argument=name)
    for item in values:
        instance(f"each of {name}", item, kind, remedy)
    return list(values)


def keep_numbers(record: object, **checked: object) -> None:
    """Store checked numbers and arrays in a frozen record, in place of what was given."""
    for name, value in checked.items():
        object.__setattr__(record, name, value)


def _as_numbers(name: str, values: object) -> FloatArray:
    """A float64 copy of an array of real numbers, by the same rules as `number`."""
    remedy = "Give real numbers: no text, no true or false, no ragged rows."
    if np.ma.isMaskedArray(values) and np.ma.is_masked(values):
        raise BadArgument(
            f"{name} must be an array of numbers", values, "Remove masked entries.", argument=name
        )
    try:
        # What is not an array yet is looked at item by item: true and false would become 1 and 0.
        kept = hasattr(values, "dtype")
        array = np.asarray(values) if kept else np.array(values, dtype=object)
        if array.dtype == object:
            items = [number(name, item, remedy) for item in array.ravel().tolist()]
            return np.array(items, dtype=np.float64).reshape(array.shape)
    except (TypeError, ValueError, OverflowError) as error:
        raise BadArgument(
            f"{name} must be an array of numbers", values, remedy, argument=name
        ) from error
    if array.dtype.kind not in "iuf":
        raise BadArgument(f"{name} must be an array of numbers", values, remedy, argument=name)
    return np.array(array, dtype=np.float64)


def frozen_array(
    name: str, values: ArrayLike, shape: Sequence[int | None] | None = None
) -> FloatArray:
    """Return a read-only float64 copy, checked to be finite and (None = any) of the given shape."""
    array = _as_numbers(name, values)
    if shape is not None and (
        array.ndim != len(shape)
        or any(
            want is not None and want != have for want, have in zip(shape, array.shape, strict=True)
        )
    ):
        wanted = "(" + ", ".join("N" if size is None else str(size) for size in shape) + ")"
        raise BadArgument(
            f"{name} must have shape {wanted}",
            array.shape,
            "Reshape it, one row per point.",
            argument=name,
        )
    if not np.isfinite(array).all():
        where = tuple(int(i) for i in np.argwhere(~np.isfinite(array))[0])
        raise BadArgument(
            f"{name} must be finite, but its entry {where} is not",
            float(array[where]),
            "Remove or correct that entry.",
            argument=name,
        )
    if not (np.abs(array) <= LARGEST).all():
        raise BadArgument(
            f"{name} must be {LARGEST:g} at most throughout",
            float(array.flat[np.abs(array).argmax()]),
            "Check the unit.",
            argument=name,
        )
    array.setflags(write=False)
    return array


def as_array(name: str, values: ArrayLike) -> FloatArray:
    """The array itself if it holds finite float64, else a checked copy: where calls are many."""
    if type(values) is np.ndarray and values.dtype == np.float64 and np.isfinite(values).all():
        return values
    return frozen_array(name, values)


def unit_vector(name: str, values: ArrayLike) -> FloatArray:
    """Return a read-only unit vector (3,) along `values`; a null vector is refused."""
    array = frozen_array(name, values, (3,))
    return np.asarray(vectors(name, array[None])[0])


def vectors(name: str, values: ArrayLike) -> FloatArray:
    """Return read-only unit vectors (N, 3) along the rows of `values`; null rows are refused."""
    array = frozen_array(name, values, (None, 3))
    length = np.linalg.norm(array, axis=1)
    if (row := worst_row(length, 1e-12)) is not None:
        raise BadArgument(
            f"{name} has a null vector in row {row}",
            array[row].tolist(),
            "Give a direction there.",
            argument=name,
        )
    unit = array / length[:, None]
    unit.setflags(write=False)
    return np.asarray(unit)


def worst_row(measure: FloatArray, low: float) -> int | None:
    """Row of the least `measure` (N,), if not all are above `low`."""
    return None if (measure > low).all() else int(np.argmin(measure))


def array_between(
    name: str,
    values: ArrayLike,
    low: float,
    high: float,
    remedy: str | None = None,
    *,
    ends: bool = False,
) -> FloatArray:
    """Return a read-only copy with every entry in (low, high), or [low, high] if `ends`."""
    array = frozen_array(name, values)
    inside = (array >= low) & (array <= high) if ends else (array > low) & (array < high)
    if not inside.all():
        reach = f"above {low:g}" if np.isinf(high) else f"between {low:g} and {high:g}"
        if ends and np.isinf(high):
            reach = f"{low:g} or more"
        raise BadArgument(
            f"{name} must be {reach} throughout",
            float(array[~inside].flat[0]),
            remedy or f"Give numbers {reach}.",
            argument=name,
        )
    return array


def matched(names: str, *arrays: FloatArray) -> tuple[FloatArray, ...]:
    """Return the arrays broadcast to one shape; those that do not fit are refused."""
    try:
        return tuple(np.asarray(array) for array in np.broadcast_arrays(*arrays))
    except ValueError as error:
        raise BadArgument(
            f"{names} must broadcast to one shape",
            tuple(array.shape for array in arrays),
            "Give one number, or as many as the others.",
            argument=names,
        ) from error


def generator(name: str, rng: object) -> np.random.Generator:
    """Return a numpy Generator: the one given, or one made from a seed.

    A seed is a whole number of 0 or more, a sequence of them, a SeedSequence or a BitGenerator; to
    leave it out would make results that nobody can repeat.
    """
    if isinstance(rng, SEEDS) and not isinstance(rng, bool | str | bytes):
        try:
            return np.random.default_rng(rng)
        except (TypeError, ValueError, OverflowError):
            pass
    raise BadArgument(
        f"{name} must be a numpy.random.Generator or a seed",
        rng,
        "Give a whole number of 0 or more, or numpy.random.default_rng(seed).",
        argument=name,
    )
