"""Many cases at once: every row of a grid, on one machine or on many.

Runs of a row are cut into pieces at fixed numbers, pieces are gathered into chunks, and chunks are
handed to an executor. Run i of every row draws from child i of the seed, so rows share random
numbers and nothing depends on who computes what, in which order, or how it is cut.
"""

from __future__ import annotations

import enum
import warnings
from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from functools import partial
from os import PathLike
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.checks import FloatArray, count, instance
from edgekit.citing import paragraph
from edgekit.errors import BadArgument
from edgekit.grinding.compiled.engine import engine, using
from edgekit.grinding.random_streams import SeededKeys
from edgekit.study.case import LifeCase, Task, lived_finer
from edgekit.study.checkpoint import Folder, Parts
from edgekit.study.chunks.order import InOrder
from edgekit.study.chunks.plan import Chunk, Piece, Plan
from edgekit.study.chunks.progress import Progress
from edgekit.study.chunks.tables import OK, Samples, Sums, Table, joined, moments
from edgekit.study.chunks.window import check_executor, compute
from edgekit.study.grid import Grid, labels
from edgekit.study.ignorance import LIVES, MAX_DRAWS, drawn
from edgekit.study.manifest import check_results, sweep_manifest
from edgekit.study.outcomes import (
    GRID,
    HEADLINES,
    LOW_HIGH,
    VALUES,
    central,
    grid_column,
    sample_columns,
)
from edgekit.units import LEVEL

__all__ = ["FailedRows", "RunStatus", "sweep"]

DRAW = "ignorance.draw"
PIECE_RUNS = 2048  # runs simulated together, always cut at multiples of this
CHUNK_RUNS = 2048  # lives in a chunk, at some 0.1 ms each: an executor's overhead stays below 5 %
MAX_SAMPLES = 20_000_000  # lives of a table with one row per life
SAMPLE_BYTES = 150
MAX_LIVES = 500_000_000  # lives of a summary: half a day of one processor


class RunStatus(enum.Enum):
    """What became of a run of a sweep; its table holds the value, with the reason of a failure."""

    OK = "ok"
    FAILED = "failed"
    INTERRUPTED = "not run: interrupted"

    def because(self, error: BaseException) -> str:
        """The status with an error in words."""
        return " ".join(f"{self.value}: {type(error).__name__}: {error}".split())


class FailedRows(UserWarning):
    """Rows of a sweep failed, and what was not computed is missing."""


def sweep(
    task: Task,
    grid: Grid,
    *,
    runs: int,
    seed: int,
    executor: Executor | None = None,
    out: str | PathLike[str] | None = None,
    progress: bool = True,
    summary: bool = False,
    grid_runs: int = 0,
    ignorance_draws: int = 0,
    chunk_runs: int = CHUNK_RUNS,
) -> pd.DataFrame:
    """Simulate the lives of `runs` instruments for every row of a grid.

    Parameters
    ----------
    task : callable
        Makes the case of a row, such as `edgekit.LifeCase`. If it has a method ``check_names``,
        every row is given to that before the first is computed.
    grid : Grid
        From `full_grid`, `list_grid`, `latin_hypercube` or `sobol_points`.
    runs : int
        Lives per row. They are simulated together: a row costs at least as much as some hundred
        lives.
    seed : int
        Root of all random numbers; run i depends on the seed and i only, in every row.
    executor : concurrent.futures.Executor, optional
        Computes chunks elsewhere, through ``submit`` alone; shutting it down is left to the caller.
        None computes here. Processes must be able to import a task of your own: define it at the
        top of a module, not in a notebook's cell; a Dask cluster takes either.
    out : path, optional
        Folder that keeps finished chunks. Called again with the same arguments, the sweep
        continues from there; with others, or by another version of the model or another `engine`,
        it is refused.
    progress : bool
        Show a bar with the time left.
    summary : bool
        One row per row of the grid (mean, standard deviation, standard error; quantiles of
        sessions) instead of one per life; needs little memory at any number of runs.
    grid_runs : int
        Lives per row that are lived again at twice as many stations and depths, the first of the
        row, all at most: each then costs some four lives more. None by default.
    ignorance_draws : int
        Sets of unknown constants, the same in every row, with each of which the first eight lives
        of a row are lived again; 24 do. None by default.
    chunk_runs : int
        Lives handed over at a time. Results do not depend on it.

    Returns
    -------
    DataFrame
        ``row``, the grid's fields, ``run``, ``status`` (the values of `RunStatus`), ``sessions``,
        ``ended_by`` and one column per measured quantity; rows in the grid's order. ``grid_um`` is
        by how much a life's loss per session grows at twice every resolution, missing (NaN) where
        that was not asked for; a summary has its mean and the standard error of that. A summary has
        the 90 % intervals between lives, ``sessions_variation_low`` … and, normal,
        ``loss_um_per_session_variation_low`` …; with `ignorance_draws` tables have those of the
        means for want of measured constants, ``sessions_ignorance_low`` …. In rows that
        failed everything measured is missing (NaN), ``status`` says why, and one warning
        (`FailedRows`) counts them. Ctrl-C returns what is done, the rest with the status
        "not run: interrupted", and warns. ``table.attrs["cite"]`` says in one paragraph what made
        it: versions, seed, inputs.

    Raises
    ------
    EdgekitError
        If an argument cannot be used, a name in the grid is unknown, or `out` belongs to another
        sweep or to another version of the model; it names what differs.

    Examples
    --------
    >>> import edgekit as ek
    >>> by_steps = ek.methods.freehand(stroke=ek.strokes.local())
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=by_steps)
    >>> grid = ek.full_grid({"method.stroke.placements": [2, 6]})
    >>> table = ek.sweep(task, grid, runs=5, seed=1, progress=False)
    >>> len(table), table["status"].unique().tolist()
    (10, ['ok'])
    """
    _check(task, grid, executor)
    most, size = (MAX_LIVES, 0) if checks.flag("summary", summary) else (MAX_SAMPLES, SAMPLE_BYTES)
    runs = count("runs", runs, most=most // len(grid), bytes_each=size * len(grid))
    seed, chunk_runs = count("seed", seed, 0), count("chunk_runs", chunk_runs)
    again = count("grid_runs", grid_runs, 0)
    draws = count("ignorance_draws", ignorance_draws, 0, most=MAX_DRAWS)
    settings = {"seed": seed, "summary": summary, "grid_runs": again, "engine": engine()}
    plan = Plan(grid, runs, piece_runs=PIECE_RUNS, chunk_runs=chunk_runs, settings=settings)
    parts = None
    if out is not None:
        check_results(out)
        every = settings | {"runs": runs, "chunk_runs": chunk_runs}
        parts = Parts(Folder(out, sweep_manifest(task, grid, every)), len(plan))
    collected = Sums() if summary else Samples()
    _collect(task, plan, executor, parts, collected, shown=progress)
    frame = _framed(grid, collected)
    if draws:
        unsure = partial(sweep, executor=executor, progress=progress, chunk_runs=chunk_runs)
        frame = frame.join(_ignorance(unsure, task, grid, draws, runs, seed, out), on="row")
    return _with_words(frame, task, grid, runs, seed)


class _Unsure(NamedTuple):
    """A task whose case has its unknown constants at the quantiles that a row numbers."""

    task: Task
    draws: list[dict[str, float]]

    def __call__(self, row: Mapping[str, object]) -> LifeCase:
        fields = dict(row)
        at = self.draws[int(fields.pop(DRAW))]  # type: ignore[call-overload]
        return self.task(fields).with_constants(at)


def _ignorance(
    sweep: Callable[..., pd.DataFrame],
    task: Task,
    grid: Grid,
    draws: int,
    runs: int,
    seed: int,
    out: str | PathLike[str] | None,
) -> pd.DataFrame:
    """Intervals of means between draws of unknown constants, one line per row of the grid."""
    rows = tuple((*row, k) for row in grid.rows for k in range(draws))
    wide = Grid(names=(*grid.names, DRAW), rows=rows)
    inner = None if out is None else Path(out) / "ignorance"
    unsure = _Unsure(task, drawn(draws, seed))
    lives = sweep(unsure, wide, runs=min(runs, LIVES), seed=seed, out=inner)
    means = lives.groupby("row")[[*HEADLINES]].mean()
    columns: dict[str, FloatArray] = {}
    for name in HEADLINES:
        ends = central(means[name].to_numpy(dtype=float).reshape(len(grid), draws), LEVEL)
        columns |= {
            f"{name}_ignorance_{end}": part for end, part in zip(LOW_HIGH, ends, strict=True)
        }
    return pd.DataFrame(columns)


def _collect(
    task: Task,
    plan: Plan,
    executor: Executor | None,
    parts: Parts | None,
    collected: Samples | Sums,
    *,
    shown: bool,
) -> None:
    """Compute what is missing, and add all chunks in order to what is `collected`."""
    ready, lives = InOrder(plan, parts, collected), len(plan.grid) * plan.runs
    wanted = range(len(plan)) if parts is None else parts.missing()
    with Progress(lives, shown=shown) as progress:
        progress.begin(lives - sum(map(plan.lives, wanted)))
        try:
            for done in compute(_live_chunk, task, plan, wanted, executor):
                table, number = done.outcome, done.number
                if isinstance(table, Exception):
                    table = _failed(plan.chunk(number), RunStatus.FAILED.because(table))
                elif parts is not None:
                    parts.keep(number, table)
                ready.add(number, table)
                progress.update(plan.lives(number))
        except KeyboardInterrupt:
            left = f"{len(wanted) - ready.added} of {len(plan)} chunks not run"
            warnings.warn(f"sweep interrupted: {left}", stacklevel=3)
    ready.fill(lambda chunk: _failed(chunk, RunStatus.INTERRUPTED.value))


def _with_words(frame: pd.DataFrame, task: Task, grid: Grid, runs: int, seed: int) -> pd.DataFrame:
    """The table with what made it, in one paragraph; a warning counts rows that failed."""
    _warn(frame, len(grid))
    given = {"task": task, "rows": len(grid), "fields": grid.names, "runs per row": runs}
    given["engine"] = engine()
    frame.attrs["cite"] = paragraph("A sweep of simulated lives", given, seed=seed)
    return frame


def _check(task: Task, grid: Grid, executor: Executor | None) -> None:
    """Refuse arguments that cannot be used, and names in the grid that cannot be set."""
    if not callable(task):
        raise BadArgument(
            "task must be callable", task, "Give a LifeCase or a function.", argument="task"
        )
    instance("grid", grid, Grid, "Make one with full_grid or list_grid.")
    check_executor(executor)
    check_names = getattr(task, "check_names", None)
    if check_names is not None:
        for number in range(len(grid)):
            check_names(grid.row(number))


def _warn(frame: pd.DataFrame, rows: int) -> None:
    """Say once how many rows of the grid failed, and why the first did."""
    failed = frame[frame["status"].str.startswith(RunStatus.FAILED.value)]
    if len(failed):
        warnings.warn(
            f"{failed['row'].nunique()} of {rows} rows of the sweep failed; what was not computed "
            f"is missing (NaN). The first {failed['status'].iloc[0]}",
            FailedRows,
            stacklevel=4,
        )


def _live_chunk(task: Task, chunk: Chunk) -> Table:
    """The tables of a chunk's pieces; runs wherever the executor puts it."""
    tables, sessions = [], 0.0  # rows beside each other are likely to last as long
    with using(chunk.engine):
        for piece in chunk.pieces:
            try:
                columns = _lived(task(piece.fields), piece, chunk, sessions)
                sessions = float(columns["sessions"].mean())
                tables.append(_table(piece, chunk.summary, OK, columns))
            except Exception as error:  # noqa: BLE001  # bad input in one row must not lose others
                tables.append(_table(piece, chunk.summary, RunStatus.FAILED.because(error)))
    return joined(tables)


def _lived(case: LifeCase, piece: Piece, chunk: Chunk, expected: float) -> Table:
    """One value per life of a piece, the first of the row also at twice every resolution."""
    keys = partial(SeededKeys, chunk.seed, first=piece.first)
    lives = case.live(keys(runs=piece.runs), expected=expected)
    again = min(chunk.grid_runs - piece.first, piece.runs)
    few = keys(runs=again) if again > 0 else None
    refined = lived_finer(case, few, float(lives.sessions.mean()))
    return {**sample_columns(lives), GRID: grid_column(lives, refined)}


def _failed(chunk: Chunk, status: str) -> Table:
    """A chunk that was not computed."""
    return joined([_table(piece, chunk.summary, status) for piece in chunk.pieces])


def _table(piece: Piece, summary: bool, status: str, columns: Table | None = None) -> Table:
    """One row per run; without columns, everything that would have been measured is missing."""
    runs = piece.runs
    if columns is None:
        missing = np.full(runs, np.nan)
        columns = {"sessions": missing, "ended_by": np.full(runs, "", dtype=object)}
        columns |= dict.fromkeys((*VALUES, GRID), missing)
    table: Table = {
        "row": np.full(runs, piece.row),
        "run": np.arange(piece.first, piece.first + runs),
        "status": np.full(runs, status, dtype=object),
        **columns,
    }
    return moments(table) if summary else table


def _framed(grid: Grid, collected: Samples | Sums) -> pd.DataFrame:
    """The table with the grid's fields beside the row numbers."""
    frame = pd.DataFrame(collected.table())
    if isinstance(collected, Samples):
        frame["ended_by"] = frame["ended_by"].where(frame["sessions"].notna())
    for place, name in enumerate(grid.names):
        column = pd.Series(labels(grid.column(name)))
        frame.insert(1 + place, name, column.to_numpy()[frame["row"].to_numpy()])
    return frame
