"""The base of every result: named fields, read-only arrays, a short form to show."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import Field, dataclass, field, fields, replace
from functools import partial
from types import MappingProxyType
from typing import Any, ClassVar, TypeVar, dataclass_transform

import numpy as np
from numpy.typing import NDArray

from edgekit.display import escaped
from edgekit.errors import EdgekitError

T = TypeVar("T")
Scalar = TypeVar("Scalar", bound=np.generic)
MAX_SHOWN = 6  # fields in a short form; five lines hold no more
MAX_TEXT = 40  # characters of one field


@dataclass_transform(
    kw_only_default=True, frozen_default=True, eq_default=False, field_specifiers=(Field, field)
)
class Record:
    """A frozen, keyword-only dataclass whose arrays are copies of its own and read-only.

    A subclass needs no decorator. One with a ``__post_init__`` of its own ends it with
    ``super().__post_init__()``. Arrays in tuples and mappings are frozen as well, and all of them
    stay so in another process.

    Examples
    --------
    >>> import numpy as np
    >>> class Reading(Record):
    ...     width_mm: np.ndarray
    >>> reading = Reading(width_mm=np.array([0.86, 0.84]))
    >>> reading
    Reading(width_mm=2 numbers from 0.84 to 0.86)
    >>> reading.width_mm[0] = 0.9
    Traceback (most recent call last):
    ValueError: assignment destination is read-only
    """

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        dataclass(frozen=True, kw_only=True, eq=False, repr=False)(cls)

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            frozen = freeze(value)
            if frozen is not value:
                object.__setattr__(self, item.name, frozen)

    def __reduce__(self) -> tuple[object, ...]:
        return by_fields(self)

    def __repr__(self) -> str:
        shown = [item.name for item in fields(self) if item.repr]
        parts = [f"{name}={_short(getattr(self, name))}" for name in shown]
        more = ", …" if len(parts) > MAX_SHOWN else ""
        return f"{type(self).__name__}({', '.join(parts[:MAX_SHOWN])}{more})"

    def _repr_html_(self) -> str:
        return f"<p>{escaped(repr(self))}</p>"


def freeze(value: Any) -> Any:
    """A read-only form of a value: arrays are copied unless nobody else can write to them.

    Tuples (named ones included) and mappings are gone through; what holds nothing to freeze is
    returned as it is.
    """
    if isinstance(value, np.ndarray):
        if value.flags.writeable or value.base is not None:
            value = value.copy()
            value.setflags(write=False)
        return value
    if isinstance(value, tuple):
        items = [freeze(item) for item in value]
        if all(new is old for new, old in zip(items, value, strict=True)):
            return value
        make: Callable[[list[Any]], Any] = getattr(value, "_make", tuple)
        return make(items)
    if isinstance(value, dict):
        return MappingProxyType({key: freeze(item) for key, item in value.items()})
    return value


def read_only(array: NDArray[Scalar]) -> NDArray[Scalar]:
    """The array itself, made read-only: for one just computed, which nobody else holds."""
    array.setflags(write=False)
    return array


def by_fields(record: Any, **given: object) -> tuple[partial[object], tuple[()]]:
    """For ``__reduce__``: how to make a record again, from its fields and what is `given`."""
    own = {item.name: getattr(record, item.name) for item in fields(record) if item.init} | given
    plain = {
        name: dict(value) if isinstance(value, MappingProxyType) else value
        for name, value in own.items()
    }
    kind: type[object] = type(record)
    return partial(kind, **plain), ()


def _short(value: object) -> str:
    if isinstance(value, np.ndarray) and not np.ma.isMaskedArray(value):
        return _short_array(value)
    if isinstance(value, Record):
        return f"{type(value).__name__}(…)"
    if isinstance(value, Mapping):
        return "{" + ", ".join(map(str, value)) + "}"
    text = f"{value:.6g}" if isinstance(value, float) else " ".join(repr(value).split())
    return text if len(text) <= MAX_TEXT else text[: MAX_TEXT - 1] + "…"


def _short_array(value: np.ndarray) -> str:
    size = " x ".join(map(str, value.shape)) or "one"
    if value.size == 0 or value.dtype.kind not in "iuf":
        return f"{size} of {value.dtype}"
    low, high = np.nanmin(value), np.nanmax(value)
    return f"{size} numbers from {low:.4g} to {high:.4g}" if value.ndim else f"{float(value):.6g}"


class UnknownField(EdgekitError):
    """A name in a grid for which there is nothing to set."""


def set_fields(owner: T, changes: Mapping[str, object], *, within: str = "") -> T:
    """A copy of a frozen record with the fields at some dotted paths changed, all at once.

    Fields that only fit together, such as a method's stroke and its stop rule, may so be changed
    in one row. Names of fields within a field that is itself replaced are looked for in the new
    one.
    """
    inner: dict[str, dict[str, object]] = {}
    for path, new in changes.items():
        name, _, rest = path.partition(".")
        inner.setdefault(name, {})[rest] = new
    fields = {}
    for name, parts in inner.items():
        check_known(owner, name, within=within)
        field_now = parts.pop("", getattr(owner, name))
        place = f"{within}.{name}".strip(".")
        fields[name] = set_fields(field_now, parts, within=place) if parts else field_now
    return replace(owner, **fields)  # type: ignore[type-var]


def check_known(record: object, name: str, *, within: str) -> None:
    """Raise `UnknownField` unless a record has a field that can be set."""
    known = [f.name for f in getattr(record, "__dataclass_fields__", {}).values() if f.init]
    if name not in known:
        raise UnknownField(
            f"{within or type(record).__name__} has no such field",
            name,
            f"Choose from {known}." if known else "It has no fields.",
        )
