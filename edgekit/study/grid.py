"""Grids of a sweep: which values of which fields, row by row.

A field is named from its owner down, ``"method.stroke.placements"`` or
``"method.hand.tilt_deg.sd"``; see `edgekit.study.case.LifeCase` for the owners. Values are numbers,
or objects such as methods.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

import numpy as np

from edgekit.checks import FloatArray, count, finite, frozen_array, instance, one_of
from edgekit.errors import BadArgument
from edgekit.lazy import shown
from edgekit.record import Record

__all__ = [
    "Grid",
    "full_grid",
    "latin_hypercube",
    "list_grid",
    "sobol_points",
]

__dir__ = shown(__all__)


MAX_ROWS = 1_000_000
ROW_BYTES = 100  # and more, where a row holds large objects


class Distribution(Protocol):
    """Distribution of an uncertain input; every frozen distribution of `scipy.stats` is one."""

    def ppf(self, q: FloatArray) -> FloatArray:
        """Value at cumulative probability `q`."""


Inputs = Mapping[str, tuple[float, float] | Distribution]


class Grid(Record):
    """Rows of values for named fields.

    Attributes
    ----------
    names : tuple of str
        Fields, such as ``"method.stroke.placements"``.
    rows : tuple of tuples
        One value for each field in each row.
    """

    names: tuple[str, ...]
    rows: tuple[tuple[object, ...], ...]

    def __post_init__(self) -> None:
        if not self.names or not self.rows:
            raise BadArgument(
                "a grid needs a field and a row", self.names, "Name one or more.", argument="names"
            )
        if len(set(self.names)) < len(self.names):
            raise BadArgument(
                "a grid names a field twice", self.names, "Name each once.", argument="names"
            )
        for row in self.rows:
            if len(row) != len(self.names):
                raise BadArgument(
                    f"a row needs {len(self.names)} values", row, "Give one for each field."
                )
        super().__post_init__()

    def __len__(self) -> int:
        return len(self.rows)

    def row(self, number: int) -> dict[str, object]:
        """One row by name."""
        at = count("number", number, 0, most=len(self.rows) - 1)
        return dict(zip(self.names, self.rows[at], strict=True))

    def column(self, name: str) -> list[object]:
        """Values of one field."""
        at = self.names.index(one_of("name", name, self.names))
        return [row[at] for row in self.rows]


def labels(values: Sequence[object]) -> list[object]:
    """A column as a table shows it: plain values as they are, objects by name.

    Names that several objects share are numbered.

    Examples
    --------
    >>> import edgekit as ek
    >>> one, two = ek.methods.freehand(), ek.methods.freehand(stop=ek.strokes.counted())
    >>> labels([one, two, one, 7])[1:]
    ['freehand, moving stone (2)', 'freehand, moving stone (1)', 7]
    """
    alike: dict[str, dict[int, None]] = {}  # by name, the different objects in order
    for value in values:
        if not _is_plain(value):
            alike.setdefault(_name(value), {})[id(value)] = None
    shown: dict[int, object] = {
        key: f"{name} ({number})" if len(keys) > 1 else name
        for name, keys in alike.items()
        for number, key in enumerate(keys, 1)
    }
    plain = (value.item() if isinstance(value, np.generic) else value for value in values)
    return [shown.get(id(value), cell) for value, cell in zip(values, plain, strict=True)]


def _is_plain(value: object) -> bool:
    return value is None or isinstance(value, np.generic | str | int | float)


def _name(value: object) -> str:
    return str(getattr(value, "name", None) or getattr(value, "__name__", None) or value)


def full_grid(axes: Mapping[str, Sequence[object]]) -> Grid:
    """Every combination of the values, the last field changing fastest.

    Parameters
    ----------
    axes : mapping of str to sequence
        Values of each field, by its dotted name.

    Returns
    -------
    Grid
        Every combination, the last field fastest.

    Raises
    ------
    EdgekitError
        No field, a field without values, or more rows than memory holds.

    Examples
    --------
    >>> full_grid({"method.stroke.placements": [4, 8], "use.strokes": [15, 45]}).rows
    ((4, 15), (4, 45), (8, 15), (8, 45))
    """
    instance("axes", axes, Mapping, "Give a dictionary of field to values.")
    columns = []
    for name, values in axes.items():
        if isinstance(values, str) or not isinstance(values, Iterable):
            raise BadArgument(
                f"{name} needs a list of values", values, "Put a single one in a list."
            )
        columns.append(tuple(itertools.islice(values, MAX_ROWS + 1)))
    size = math.prod(map(len, columns))
    count("rows of the grid", size, 0, most=MAX_ROWS, bytes_each=ROW_BYTES)
    return Grid(names=tuple(axes), rows=tuple(itertools.product(*columns)))


def list_grid(rows: Sequence[Mapping[str, object]]) -> Grid:
    """The rows as given; all must name the same fields.

    Parameters
    ----------
    rows : sequence of mapping
        Values by dotted name; every row sets the same fields.

    Returns
    -------
    Grid

    Raises
    ------
    EdgekitError
        No rows, or rows of different fields.

    Examples
    --------
    >>> len(list_grid([{"method.stroke.placements": 4}, {"method.stroke.placements": 12}]))
    2
    """
    instance("rows", rows, (list, tuple), "Give a list of dictionaries, one per row.")
    if not rows:
        raise BadArgument("a grid needs a row", rows, "Give one or more.", argument="rows")
    for row in rows:
        instance("row", row, Mapping, "Give a dictionary of field to value.")
    names = tuple(rows[0])
    for row in rows:
        if set(row) != set(names):
            raise BadArgument("rows name different fields", tuple(row), f"Name {names} in each.")
    return Grid(names=names, rows=tuple(tuple(row[name] for name in names) for row in rows))


def latin_hypercube(inputs: Inputs, points: int, *, seed: int) -> Grid:
    """A Latin hypercube: each input's range cut into as many strata as points, one point in each.

    Parameters
    ----------
    inputs : mapping
        Field to (low, high), or to a distribution with a `ppf`.
    points : int
    seed : int

    Returns
    -------
    Grid

    Raises
    ------
    EdgekitError
        No input, a range that does not rise, or fewer than one point.

    Examples
    --------
    >>> grid = latin_hypercube({"use.strokes": (10.0, 60.0)}, 5, seed=1)
    >>> sorted(int((value - 10) // 10) for value in grid.column("use.strokes"))
    [0, 1, 2, 3, 4]
    """
    from scipy.stats import qmc

    number = count("points", points, most=MAX_ROWS, bytes_each=ROW_BYTES)
    unit = qmc.LatinHypercube(d=input_count(inputs), rng=count("seed", seed, 0)).random(number)
    return _spread(inputs, unit)


def sobol_points(inputs: Inputs, points: int, *, seed: int) -> Grid:
    """Points of a scrambled Sobol sequence; a power of two keeps it balanced.

    Parameters
    ----------
    inputs : mapping
        Ranges ``(low, high)`` or distributions, by dotted name.
    points : int
        A power of two.
    seed : int

    Returns
    -------
    Grid

    Raises
    ------
    EdgekitError
        No input, a range that does not rise, or points that are no power of two.

    Examples
    --------
    >>> inputs = {"use.strokes": (10.0, 60.0), "method.stop.fraction": (0.9, 1.0)}
    >>> len(sobol_points(inputs, 8, seed=1))
    8
    """
    from scipy.stats import qmc

    number = power_of_two(points)
    unit = qmc.Sobol(d=input_count(inputs), rng=count("seed", seed, 0)).random(number)
    return _spread(inputs, unit)


def power_of_two(points: int, low: int = 1) -> int:
    """Points of a Sobol sequence, `low` or more; only powers of two are accepted."""
    number = count("points", points, low, most=MAX_ROWS, bytes_each=ROW_BYTES)
    if number & (number - 1):
        raise BadArgument(
            "points of a Sobol sequence must be a power of two",
            points,
            "Give 64, 128, 256, ...",
            argument="points",
        )
    return number


def input_count(inputs: Inputs) -> int:
    """Number of inputs, at least one."""
    instance("inputs", inputs, Mapping, "Give a dictionary of field to (low, high).")
    if not inputs:
        raise BadArgument("an input is needed", inputs, "Name one or more.", argument="inputs")
    return len(inputs)


def _spread(inputs: Inputs, unit: FloatArray) -> Grid:
    columns = (
        spread_values(name, item, share).tolist()
        for (name, item), share in zip(inputs.items(), unit.T, strict=True)
    )
    return Grid(names=tuple(inputs), rows=tuple(zip(*columns, strict=True)))


def spread_values(
    name: str, item: tuple[float, float] | Distribution, share: FloatArray
) -> FloatArray:
    """Values of an input at cumulative probabilities `share`."""
    if isinstance(item, tuple) and len(item) == 2:
        low, high = (finite(name, end) for end in item)
        if not low < high:
            raise BadArgument(
                f"{name} needs a low below its high", item, "Give (low, high).", argument=name
            )
        return low + (high - low) * share
    if not hasattr(item, "ppf"):
        raise BadArgument(
            f"{name} needs a range or a distribution",
            item,
            "Give (low, high), or a frozen distribution of scipy.stats.",
            argument=name,
        )
    return frozen_array(f"values of {name}", item.ppf(share), share.shape)
