"""What matters most: shares of variance, swings of single inputs, number of runs needed."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from os import PathLike
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from edgekit import checks
from edgekit.checks import FloatArray, count, fraction, frozen_array, positive
from edgekit.errors import BadArgument, Cannot
from edgekit.record import Record
from edgekit.study.case import Task
from edgekit.study.grid import Grid, Inputs, input_count, list_grid, power_of_two, spread_values
from edgekit.study.outcomes import standard_error
from edgekit.study.sweep import FailedRows, RunStatus, sweep
from edgekit.units import LEVEL

__all__ = [
    "OUTPUTS",
    "Sensitivity",
    "Tornado",
    "one_at_a_time",
    "runs_needed",
    "sensitivity",
    "tornado",
    "variance_shares",
]

OUTPUTS = ("loss_um_per_session", "sessions", "minutes_per_session")
MAX_RUNS = 2**53  # beyond it whole numbers have gaps
RESAMPLES = 400  # of the bootstrap; its ends then scatter by some hundredths of their width


class Sensitivity(Record):
    """Shares of variance.

    Attributes
    ----------
    table : DataFrame
        One row per output and input: ``first`` (share of the output's variance that goes if the
        input becomes known), ``total`` (share that stays if all others do), each with ``_low`` and
        ``_high``, the ends of its interval.
    samples : DataFrame
        The sweep's summary, one row per point.
    """

    table: pd.DataFrame
    samples: pd.DataFrame

    def _repr_html_(self) -> str:
        return self.table.round(2).to_html(index=False)


class Tornado(Record):
    """One input at a time.

    Attributes
    ----------
    table : DataFrame
        One row per output and input, widest first: ``low_value, high_value`` of the input, the
        output there (``at_low, at_high``) and with all inputs at their medians (``base``), the
        ``swing`` between its ends and the Monte-Carlo standard error of that, ``swing_mc``.
    """

    table: pd.DataFrame

    def _repr_html_(self) -> str:
        return self.table.round(3).to_html(index=False)


def variance_shares(
    function: Callable[[FloatArray], FloatArray],
    inputs: Inputs,
    outputs: Sequence[str],
    *,
    points: int,
    seed: int,
    level: float = LEVEL,
) -> pd.DataFrame:
    """Sobol' indices of a function, with intervals from resampling its points.

    Parameters
    ----------
    function : callable
        From values (N, D) of the inputs to outputs (N, K); called once, N = points (D + 2).
    inputs : mapping
        Name to (low, high), or to a distribution with a `ppf`.
    outputs : sequence of str
    points : int
        A power of two.
    seed : int
    level : float
        Of the intervals: bootstrap percentiles over points. They cover the true value more often
        than `level`, since Sobol points scatter less than the resampling assumes.

    Returns
    -------
    DataFrame
        See `Sensitivity.table`. Estimator: `scipy.stats.sobol_indices` (Saltelli et al. 2010).

    Examples
    --------
    >>> shares = variance_shares(
    ...     lambda x: x[:, :1] + 2 * x[:, 1:], {"a": (0.0, 1.0), "b": (0.0, 1.0)}, ["sum"],
    ...     points=256, seed=1)
    >>> shares["first"].round(1).tolist()
    [0.2, 0.8]
    """
    from scipy.stats import qmc

    number = power_of_two(points, 8)
    fraction("level", level)
    size = input_count(inputs)
    if not outputs:
        raise BadArgument(
            "an output is needed", outputs, f"Choose from {list(OUTPUTS)}.", argument="outputs"
        )
    seed = count("seed", seed, 0)
    unit = qmc.Sobol(d=2 * size, rng=seed).random(number)
    a, b = unit[:, :size], unit[:, size:]
    mixed = np.repeat(a[None], size, axis=0)  # A with one column from B
    mixed[np.arange(size), :, np.arange(size)] = b.T
    share = np.concatenate([a, b, *mixed])
    x = np.stack([spread_values(n, inputs[n], share[:, i]) for i, n in enumerate(inputs)], axis=1)
    y = np.asarray(function(x), dtype=float).T
    if y.shape != (len(outputs), len(x)):
        raise BadArgument("the function must give one row per point", y.T.shape, "Give (N, K).")
    blocks = y.reshape(len(outputs), size + 2, number)
    best = _indices(blocks)
    rng = np.random.default_rng(seed)
    drawn = np.stack(
        [_indices(blocks[:, :, rng.integers(0, number, number)]) for _ in range(RESAMPLES)]
    )
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    table = {"output": np.repeat(list(outputs), size), "input": [*inputs] * len(outputs)}
    for j, kind in enumerate(("first", "total")):
        for end, values in (("", best), ("_low", low), ("_high", high)):
            table[kind + end] = values[j].ravel()
    return pd.DataFrame(table)


def _indices(blocks: FloatArray) -> FloatArray:
    """First and total indices (2, K, D) from values (K, D + 2, N) at A, B and A with B's columns.

    An output that does not vary has no shares: all are 0.
    """
    from scipy.stats import sobol_indices

    twice = np.concatenate(
        [blocks, blocks[:1]]
    )  # a lone output of a lone input would lose its axes
    values = {"f_A": twice[:, 0], "f_B": twice[:, 1], "f_AB": np.moveaxis(twice[:, 2:], 1, 0)}
    indices = sobol_indices(func=values, n=blocks.shape[2])  # type: ignore[arg-type]
    both = np.stack([indices.first_order, indices.total_order])
    return np.asarray(both.reshape(2, len(twice), -1)[:, : len(blocks)])


def sensitivity(
    task: Task,
    inputs: Inputs,
    *,
    points: int = 64,
    runs: int = 32,
    seed: int,
    outputs: Sequence[str] = OUTPUTS,
    level: float = LEVEL,
    executor: Executor | None = None,
    out: str | PathLike[str] | None = None,
    progress: bool = True,
) -> Sensitivity:
    """Shares of the variance of a clinic's mean loss, life and minutes due to uncertain inputs.

    Every point is simulated `runs` times on common random numbers and averaged, so the variance
    is that between cases, not between hands on one day.

    Parameters
    ----------
    task : Task
    inputs : mapping
        Field, such as ``"use.strokes"``, to (low, high) or to a distribution with a `ppf`.
    points : int
        A power of two; `points` (inputs + 2) rows are swept.
    runs, seed, executor, out, progress
        See `sweep`.
    outputs : sequence of str
        Columns of a sweep; ``"sessions"`` is the median life.
    level : float
        Of the intervals.

    Returns
    -------
    Sensitivity

    Raises
    ------
    EdgekitError
        If an argument cannot be used, or a point could not be simulated.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> result = ek.sensitivity(task, {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)},
    ...                         points=8, runs=4, seed=1, progress=False)
    >>> len(result.table), result.table["output"].nunique()
    (6, 3)
    """
    options = {"runs": runs, "seed": seed, "executor": executor, "out": out, "progress": progress}
    samples = []

    checks.items_of("outputs", outputs, str, f"Choose from {list(OUTPUTS)}.")

    def outputs_at(x: FloatArray) -> FloatArray:
        grid = Grid(names=tuple(inputs), rows=tuple(map(tuple, x.tolist())))
        table = _complete_sweep(task, grid, **options, summary=True)
        samples.append(table)
        return np.stack([_output(table, name, summary=True) for name in outputs], axis=1)

    table = variance_shares(outputs_at, inputs, outputs, points=points, seed=seed, level=level)
    return Sensitivity(table=table, samples=samples[0])


def _output(table: pd.DataFrame, name: str, *, summary: bool = False) -> FloatArray:
    """A column of numbers of a sweep."""
    column = "sessions_p50" if summary and name == "sessions" else name
    if column not in table or table[column].dtype.kind not in "if":
        raise BadArgument(
            "no such output", name, f"Choose from {list(OUTPUTS)} and the like.", argument="name"
        )
    return table[column].to_numpy(dtype=float)


def _complete_sweep(task: Task, grid: Grid, **options: Any) -> pd.DataFrame:
    """A sweep of which every row must succeed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FailedRows)  # an error follows
        table = sweep(task, grid, **options)
    bad = table[table["status"] != RunStatus.OK.value]
    if len(bad):
        raise Cannot(
            f"{bad['row'].nunique()} of {len(grid)} rows could not be simulated",
            bad["status"].iloc[0],
            "Narrow the ranges so that every value can be used; if it was interrupted, call again.",
        )
    return table


def one_at_a_time(
    task: Task,
    base: Mapping[str, object],
    ends: Sequence[tuple[str, object, object]],
    **options: Any,
) -> pd.DataFrame:
    """A sweep of the base case, then of each field in turn at its low and at its high end.

    Parameters
    ----------
    task : Task
    base : mapping
        Every field that is moved, and its value otherwise.
    ends : sequence of (field, low, high)
    **options
        Keyword arguments of `sweep`; runs and seed are needed.

    Raises
    ------
    EdgekitError
        If a case could not be simulated.
    """
    moved = [{**base, name: end} for name, low, high in ends for end in (low, high)]
    return _complete_sweep(task, list_grid([dict(base), *moved]), **options)


def tornado(
    task: Task,
    inputs: Inputs,
    *,
    share: float = 0.8,
    runs: int = 200,
    seed: int,
    outputs: Sequence[str] = OUTPUTS,
    executor: Executor | None = None,
    out: str | PathLike[str] | None = None,
    progress: bool = True,
) -> Tornado:
    """Outputs with each input at the ends of its central `share`, the others at their medians.

    Parameters
    ----------
    task : Task
    inputs : mapping
        Field, such as ``"use.strokes"``, to (low, high) or to a distribution with a `ppf`.
    share : float
        Central share of each input's probability.
    runs, seed, executor, out, progress
        See `sweep`.
    outputs : sequence of str
        Columns of a sweep with one row per life.

    Returns
    -------
    Tornado

    Raises
    ------
    EdgekitError
        If an argument cannot be used, or a case could not be simulated; with `out`, finished
        chunks are kept.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> inputs = {"use.strokes": (15.0, 60.0), "use.patch_cv": (0.1, 0.3)}
    >>> table = ek.tornado(task, inputs, runs=4, seed=1, progress=False).table
    >>> table[table["output"] == "loss_um_per_session"]["input"].iloc[0]
    'use.strokes'
    """
    fraction("share", share)
    input_count(inputs)
    quantiles = np.array([(1 - share) / 2, 0.5, (1 + share) / 2])
    values = {name: spread_values(name, item, quantiles).tolist() for name, item in inputs.items()}
    base = {name: middle for name, (_, middle, _) in values.items()}
    ends = [(name, low, high) for name, (low, _, high) in values.items()]
    options = {"runs": runs, "seed": seed, "executor": executor, "out": out, "progress": progress}
    table = one_at_a_time(task, base, ends, **options)
    parts = []
    for output in checks.items_of("outputs", outputs, str, f"Choose from {list(OUTPUTS)}."):
        lives = _output(table, output).reshape(-1, runs)
        low, high = lives[1::2], lives[2::2]
        gap = high - low
        part = pd.DataFrame(
            {
                "output": output,
                "input": [*inputs],
                "low_value": [low for low, _, _ in values.values()],
                "high_value": [high for _, _, high in values.values()],
                "at_low": low.mean(axis=1),
                "base": lives[0].mean(),
                "at_high": high.mean(axis=1),
                "swing": gap.mean(axis=1),
                "swing_mc": standard_error(gap),
            }
        )
        parts.append(part.sort_values("swing", key=abs, ascending=False, kind="stable"))
    return Tornado(table=pd.concat(parts, ignore_index=True))


def runs_needed(pilot: ArrayLike, *, error: float, level: float = LEVEL) -> int:
    """The fewest runs whose mean is within `error` of the truth with probability `level`.

    Stein's rule: with a pilot of n₀ runs of variance s², n = max(n₀, ⌈(t s / error)²⌉), t the
    two-sided quantile of Student's law with n₀ - 1 degrees of freedom. With the pilot among the n
    runs, the interval mean ± error covers at least `level` for normal values, however small the
    pilot.
    Source: C. Stein 1945, Ann. Math. Stat. 16:243 (from memory).

    Parameters
    ----------
    pilot : array (n₀,)
        Values of a few runs, or their paired differences.
    error : float
        Wanted half-width, in the unit of the values.
    level : float

    Returns
    -------
    int

    Raises
    ------
    EdgekitError
        Fewer than two values, an error not above 0, a level outside (0, 1).

    Examples
    --------
    >>> runs_needed([1.0, 2.0, 3.0, 4.0, 5.0], error=0.5)
    46
    """
    from scipy.stats import t

    values = frozen_array("pilot", pilot, (None,))
    if len(values) < 2:
        raise BadArgument("a pilot needs 2 runs or more", len(values), "Run a few first.")
    positive("error", error)
    if fraction("level", level) == 1:
        raise BadArgument("level must be below 1", level, "Give 0.95, say.", argument="level")
    quantile = float(t.ppf((1 + level) / 2, len(values) - 1))
    root = quantile * float(values.std(ddof=1)) / float(error)
    if not root < MAX_RUNS**0.5:
        raise BadArgument(
            "so small an error needs too many runs", error, "Allow a larger one.", argument="error"
        )
    return max(len(values), int(np.ceil(root**2)))
