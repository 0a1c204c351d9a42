"""Results as plain JSON and arrays: only records, named tuples and choices of this package.

Nothing that a file holds is run: a class is looked up by its name among those that edgekit's own
rooms define, and is given its fields, which it checks as it checks a caller's.
"""

from __future__ import annotations

import dataclasses
import importlib
import math
import pkgutil
import re
from collections.abc import Mapping
from enum import Enum
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from edgekit.digitising.reader import blade_of_texts
from edgekit.digitising.writer import blade_texts
from edgekit.errors import Cannot
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge
from edgekit.grinding.random_streams import RunStreams

ROOMS = (
    *("contact", "grinding", "method", "edge_finish", "life", "study", "clinic"),
    "evidence_table",
)
POINTS = "points.csv"
KEEP = "Keep its table with ek.write_table, and write down what made it."


@cache
def kinds() -> dict[str, type]:
    """Records, named tuples and choices of the rooms that results come from, by room and name."""
    found: dict[str, type] = {}
    for room in ROOMS:
        package = importlib.import_module(f"edgekit.{room}")
        inside = getattr(package, "__path__", [])
        modules = [item.name for item in pkgutil.walk_packages(inside, f"edgekit.{room}.")]
        for name in (package.__name__, *modules):
            parts = vars(importlib.import_module(name)).values()
            kinds_here = [item for item in parts if isinstance(item, type) and _is_plain(item)]
            found |= {_place(item): item for item in kinds_here if item.__module__ == name}
    return found


def _is_plain(kind: type) -> bool:
    return dataclasses.is_dataclass(kind) or issubclass(kind, Enum) or hasattr(kind, "_fields")


def _place(kind: type) -> str:
    """Room and name of a class of this package."""
    return ".".join([*kind.__module__.split(".")[1:2], kind.__name__])


class Encoder:
    """Results as JSON; blades and arrays, which several parts may share, are kept once beside."""

    def __init__(self) -> None:
        self.arrays: list[np.ndarray] = []
        self.blades: list[Blade] = []

    def encode(self, value: Any) -> Any:
        """A value as JSON."""
        if isinstance(value, Enum):
            return {"choice": _place(type(value)), "name": value.name}
        if value is None or isinstance(value, bool | int | str):
            return value
        if isinstance(value, float | np.generic):
            return self._number(value)
        if isinstance(value, np.ndarray) and value.dtype != object:
            self.arrays.append(value)
            return {"array": len(self.arrays) - 1}
        if isinstance(value, pd.DataFrame):
            return self._table(value)
        if isinstance(value, Mapping):
            return {"mapping": [[self.encode(key), self.encode(value[key])] for key in value]}
        return self._parts(value)

    def _number(self, value: float | np.generic) -> Any:
        if type(value) is float and math.isfinite(value):
            return value
        if type(value) is float:
            return {"float": repr(value)}
        return {"scalar": self.encode(np.array(value))}

    def _table(self, table: pd.DataFrame) -> dict[str, Any]:
        columns = [table.iloc[:, at] for at in range(table.shape[1])]
        return {
            "table": [self.encode(name) for name in table.columns],
            "columns": [self._column(column) for column in columns],
            "index": None if _counts(table.index) else self._column(table.index.to_series()),
            "cite": table.attrs.get("cite"),
        }

    def _column(self, column: pd.Series) -> dict[str, Any]:
        values = column.to_numpy()
        if values.dtype != object:
            return {"values": self.encode(values), "kind": str(column.dtype)}
        items = [None if item is pd.NA else self.encode(item) for item in column.tolist()]
        return {"items": items, "kind": str(column.dtype)}

    def _parts(self, value: Any) -> Any:
        """What is made of other values."""
        kind = _place(type(value))
        if isinstance(value, Blade):
            return {"blade": self._blade(value)}
        if isinstance(value, Edge):
            return self._edge(value)
        if isinstance(value, RunStreams):
            return {"streams": self.encode(np.array(value.key(0)))}
        if isinstance(value, list):
            return [self.encode(item) for item in value]
        if type(value) is tuple:
            return {"tuple": [self.encode(item) for item in value]}
        if kinds().get(kind) is not type(value):
            raise Cannot("a result with a part of your own cannot be written", type(value), KEEP)
        return {"kind": kind, "fields": {n: self.encode(getattr(value, n)) for n in _names(value)}}

    def _blade(self, blade: Blade) -> int:
        for number, known in enumerate(self.blades):
            if known is blade:
                return number
        self.blades.append(blade)
        return len(self.blades) - 1

    def _edge(self, edge: Edge) -> dict[str, Any]:
        for number, blade in enumerate(self.blades):
            for name, own in blade.edges.items():
                if own is edge:
                    return {"edge": name, "of": number}
        raise Cannot("an edge without its blade cannot be written", edge, KEEP)

    def blade_texts(self) -> list[list[str | None]]:
        """Settings and points of each blade."""
        return [list(blade_texts(blade, POINTS)) for blade in self.blades]


class Decoder:
    """What `Encoder` made, as results again."""

    def __init__(self, arrays: list[np.ndarray], blades: list[list[str | None]]) -> None:
        self.arrays = arrays
        self.blades = [blade_of_texts(str(settings), points, POINTS) for settings, points in blades]

    def decode(self, value: Any) -> Any:
        """A value from JSON."""
        if isinstance(value, list):
            return [self.decode(item) for item in value]
        if not isinstance(value, dict):
            return value
        what = next(iter(value))
        return getattr(self, f"_{what}")(value) if what in FORMS else _unknown(value)

    def _choice(self, value: dict[str, Any]) -> Any:
        return kinds()[value["choice"]][value["name"]]  # type: ignore[index]

    def _float(self, value: dict[str, Any]) -> float:
        return float(value["float"])

    def _scalar(self, value: dict[str, Any]) -> Any:
        return self.decode(value["scalar"])[()]

    def _array(self, value: dict[str, Any]) -> np.ndarray:
        return self.arrays[int(value["array"])]

    def _mapping(self, value: dict[str, Any]) -> dict[Any, Any]:
        return {self.decode(key): self.decode(item) for key, item in value["mapping"]}

    def _tuple(self, value: dict[str, Any]) -> tuple[Any, ...]:
        return tuple(self.decode(item) for item in value["tuple"])

    def _blade(self, value: dict[str, Any]) -> Blade:
        return self.blades[int(value["blade"])]

    def _edge(self, value: dict[str, Any]) -> Edge:
        return self.blades[int(value["of"])].edges[value["edge"]]

    def _streams(self, value: dict[str, Any]) -> RunStreams:
        return RunStreams(self.decode(value["streams"]))

    def _table(self, value: dict[str, Any]) -> pd.DataFrame:
        columns = [self._column(column) for column in value["columns"]]
        names = [self.decode(name) for name in value["table"]]
        rows = len(columns[0]) if columns else 0
        index = range(rows) if value["index"] is None else self._column(value["index"])
        table = pd.DataFrame(dict(enumerate(columns)), index=index)
        table.columns = pd.Index(names)
        if value["cite"] is not None:
            table.attrs["cite"] = str(value["cite"])
        return table

    def _column(self, column: dict[str, Any]) -> Any:
        values = self.decode(column["values"] if "values" in column else column["items"])
        return pd.Series(values, dtype=column["kind"]).array

    def _kind(self, value: dict[str, Any]) -> Any:
        kind = kinds()[value["kind"]]
        given = {name: self.decode(item) for name, item in value["fields"].items()}
        if set(given) != set(_names(kind)):
            raise ValueError(f"{value['kind']} has other fields: {sorted(given)}")
        return kind(**given)


FORMS = {name[1:] for name in vars(Decoder) if re.fullmatch("_[a-z]+", name)} - {"column"}


def _unknown(value: dict[str, Any]) -> Any:
    raise ValueError(f"no such part: {next(iter(value), '')!r}")


def _names(value: Any) -> list[str]:
    """Fields that make a record or a named tuple."""
    if dataclasses.is_dataclass(value):
        return [item.name for item in dataclasses.fields(value) if item.init]
    return list(value._fields)


def _counts(index: pd.Index) -> bool:
    return isinstance(index, pd.RangeIndex) and index.start == 0 and index.step == 1
