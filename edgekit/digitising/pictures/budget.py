"""The budget of a measurement, row by row, as the GUM asks, and its check by Monte Carlo.

A measurement is a model of its inputs. Each input adds c u to the result's standard uncertainty, c
the slope there (JCGM 100:2008, 5.1.2), and in square the term of second order (note to 5.1.2): at
the top of a cosine the slope vanishes and only that is left. A row says which of the two is larger.
Monte Carlo draws the inputs instead (JCGM 101:2008, 7).
"""

from __future__ import annotations

import enum
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgekit import checks
from edgekit.checks import FloatArray
from edgekit.display import html_table, html_text
from edgekit.errors import BadArgument
from edgekit.record import Record

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Budget", "Input", "Shape"]

COVERAGE = 2.0  # k of the expanded uncertainty: about 95 % of a normal distribution
MOST_DRAWS = 10_000_000


class Shape(enum.Enum):
    """How an input is distributed about its value."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True, kw_only=True)
class Input:
    """One thing the result depends on.

    Parameters
    ----------
    name : str
        What it is.
    value, sd : float
        Best estimate and standard uncertainty, in its own unit.
    unit : str
        That unit.
    shape : Shape
        Distribution.
    stays : bool
        Whether it stays in a difference of two pictures taken alike; what both share cancels.
    basis : str
        Where the numbers come from: measured here, given, or assumed.
    """

    name: str
    value: float
    sd: float
    unit: str
    shape: Shape = Shape.NORMAL
    stays: bool = True
    basis: str = "given"

    def __post_init__(self) -> None:
        checks.instance("name", self.name, str, "Say in words what the input is.")
        checks.instance("unit", self.unit, str, "Say in words what one of it is.")
        checks.instance("basis", self.basis, str, "Say in words where its spread comes from.")
        checks.instance("shape", self.shape, Shape, "Give a member of ek.pictures.Shape.")
        checks.keep_numbers(
            self,
            value=checks.finite(self.name, self.value),
            sd=checks.at_least(f"sd of {self.name}", self.sd, 0.0),
        )

    def draw(self, rng: np.random.Generator, size: int) -> FloatArray:
        """Random values (size,)."""
        rng, size = checks.generator("rng", rng), checks.count("size", size, 0, most=MOST_DRAWS)
        if self.shape is Shape.NORMAL:
            unit = rng.standard_normal(size)
        else:
            unit = rng.uniform(-np.sqrt(3), np.sqrt(3), size)
        return np.asarray(self.value + self.sd * unit)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of a budget: an input and what it adds [µm].

    ``order`` is 2 where the second-order term is the larger one.
    """

    source: str
    value: float
    sd: float
    unit: str
    u_um: float
    order: int
    stays: bool
    basis: str

    @property
    def remarks(self) -> str:
        """Where the number comes from, and what is special about it."""
        second = ", second order" if self.order == 2 else ""
        return f"{self.basis}{second}{'' if self.stays else ', cancels in a difference'}"


Model = Callable[[Mapping[str, FloatArray]], FloatArray]


class Budget(Record):
    """A result [µm] with its budget.

    Parameters
    ----------
    name : str
        What was measured.
    inputs : tuple of Input
        What it depends on.
    model : callable
        The result (N,) [µm] from arrays (N,) by input name.

    Raises
    ------
    BadArgument
        Without inputs, or with two of one name.

    Examples
    --------
    >>> import edgekit as ek
    >>> pin = ek.pictures.Input(name="pin", value=500.0, sd=0.5, unit="µm")
    >>> ek.pictures.Budget(name="width", inputs=(pin,), model=lambda at: at["pin"])
    width: 500.00 µm, U = 1.00 µm (k = 2)
      0.50 µm  pin (sd 0.5 µm, given)
    """

    name: str
    inputs: tuple[Input, ...]
    model: Model

    def __post_init__(self) -> None:
        checks.instance("name", self.name, str, "Say what was measured.")
        if not callable(self.model):
            remedy = "Give a function, such as a lambda."
            raise BadArgument("model must be callable", self.model, remedy, argument="model")
        made = checks.items_of("inputs", self.inputs, Input, "Make them with ek.pictures.Input.")
        checks.keep_numbers(self, inputs=tuple(made))
        names = [item.name for item in self.inputs]
        if len(set(names)) < len(names) or not names:
            raise BadArgument(
                "a budget's inputs need names of their own", names, "Rename one.", argument="inputs"
            )
        super().__post_init__()

    def _at(self, **changed: FloatArray) -> FloatArray:
        size = max((len(v) for v in changed.values()), default=1)
        values = {item.name: np.full(size, item.value) for item in self.inputs} | changed
        try:
            return np.asarray(self.model(values), dtype=float)
        except (TypeError, ValueError) as error:
            remedy = (
                "Give a function of a dictionary, name of input to array, that returns an array."
            )
            raise BadArgument(
                f"the budget's model fails: {error}", self.model, remedy, argument="model"
            ) from error

    @property
    def value_um(self) -> float:
        """The result at the inputs' best estimates [µm]."""
        return float(self._at()[0])

    @property
    def rows(self) -> tuple[Row, ...]:
        """One row per input, the largest first."""
        rows = [self._row(item) for item in self.inputs]
        return tuple(sorted(rows, key=lambda row: -row.u_um))

    def _row(self, item: Input) -> Row:
        steps = item.value + item.sd * np.array([-1.0, 0.0, 1.0])
        low, middle, high = self._at(**{item.name: steps})
        first = abs(high - low) / 2
        # variance of x² about its mean: 2 sd⁴ when normal, 0.8 sd⁴ when rectangular
        spread = np.sqrt(2.0 if item.shape is Shape.NORMAL else 0.8)
        second = abs(high - 2 * middle + low) / 2 * spread
        return Row(
            source=item.name,
            value=item.value,
            sd=item.sd,
            unit=item.unit,
            u_um=float(np.hypot(first, second)),
            order=2 if second > first else 1,
            stays=item.stays,
            basis=item.basis,
        )

    @property
    def u_um(self) -> float:
        """Combined standard uncertainty [µm], inputs taken as independent."""
        return float(np.sqrt(sum(row.u_um**2 for row in self.rows)))

    @property
    def expanded_um(self) -> float:
        """Expanded uncertainty [µm] with k = 2."""
        return COVERAGE * self.u_um

    @property
    def difference_u_um(self) -> float:
        """Standard uncertainty of a difference of two such results: what stays, twice over [µm]."""
        return float(np.sqrt(2 * sum(row.u_um**2 for row in self.rows if row.stays)))

    def monte_carlo(self, rng: checks.Seed, draws: int = 20_000) -> dict[str, float]:
        """Standard deviation of the result [µm] by draws, input by input and for ``"all"``.

        Parameters
        ----------
        rng : numpy.random.Generator, or a seed of one
        draws : int
            From 100 to ten million.

        Returns
        -------
        dict
            By the inputs' names, and ``"all"`` together.

        Raises
        ------
        BadArgument
            For a bare seed in place of a generator, or too few or too many draws.
        """
        source = checks.generator("rng", rng)
        bytes_each = 16.0 * len(self.inputs)
        size = checks.count("draws", draws, 100, most=MOST_DRAWS, bytes_each=bytes_each)
        drawn = {item.name: item.draw(source, size) for item in self.inputs}
        alone = {name: float(self._at(**{name: v}).std()) for name, v in drawn.items()}
        return alone | {"all": float(self._at(**drawn).std())}

    @property
    def table(self) -> pd.DataFrame:
        """One row per input: ``source, value, sd, unit, u_um, order, stays, basis``."""
        import pandas as pd

        return pd.DataFrame([vars(row) for row in self.rows])

    def __repr__(self) -> str:
        rows = [
            f"  {row.u_um:.2f} µm  {row.source} (sd {row.sd:g} {row.unit}, {row.remarks})"
            for row in self.rows
        ]
        return "\n".join((self._headline, *rows))

    @property
    def _headline(self) -> str:
        return f"{self.name}: {self.value_um:.2f} µm, U = {self.expanded_um:.2f} µm (k = 2)"

    def _repr_html_(self) -> str:
        rows = [
            (f"{row.u_um:.2f}", row.source, f"{row.sd:g} {row.unit}", row.remarks)
            for row in self.rows
        ]
        return html_text(self._headline) + html_table(("u [µm]", "source", "sd", "basis"), rows)
