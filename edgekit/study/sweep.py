"""Many cases at once: every row of a grid, on one machine or on many.

Runs of a row are cut into pieces at fixed numbers, pieces are gathered into chunks, and chunks are
handed to an executor. Run i of every row draws from child i of the seed, so rows share random
numbers and nothing depends on who computes what, in which order, or how it is cut.
"""

from __future__ import annotations

import enum
import warnings
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Executor, as_completed
from dataclasses import replace
from os import PathLike
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.checks import count, instance
from edgekit.citing import paragraph
from edgekit.errors import BadArgument
from edgekit.grinding.compiled.engine import engine, using
from edgekit.grinding.random_streams import SeededKeys
from edgekit.study.case import LifeCase, Task
from edgekit.study.checkpoint import Folder, Table, joined
from edgekit.study.grid import Grid, labels
from edgekit.study.manifest import check_results, sweep_manifest
from edgekit.study.outcomes import (
    GRID,
    SESSIONS,
    VALUES,
    finer,
    grid_column,
    sample_columns,
    session_percentiles,
)

__all__ = ["FailedRows", "RunStatus", "sweep"]

PIECE_RUNS = 2048  # runs simulated together, always cut at multiples of this
CHUNK_RUNS = 2048  # lives in a chunk, at some 0.1 ms each: an executor's overhead stays below 5 %
CHUNK_ROWS = 8  # rows in a chunk: each takes some 30 ms however few its runs
MAX_SAMPLES = 20_000_000  # lives of a table with one row per life
SAMPLE_BYTES = 150
MAX_LIVES = 500_000_000  # lives of a summary: half a day of one processor
MOMENTS = [name + end for name in VALUES for end in ("", "_sd", "_mc")]
SUMMARY = ["row", "status", "lives", "unfinished", *SESSIONS, *MOMENTS, GRID, f"{GRID}_mc"]


class RunStatus(enum.Enum):
    """What became of a run of a sweep; its table holds the value, with the reason of a failure."""

    OK = "ok"
    FAILED = "failed"
    INTERRUPTED = "not run: interrupted"

    def because(self, error: BaseException) -> str:
        """The status with an error in words."""
        return " ".join(f"{self.value}: {type(error).__name__}: {error}".split())


OK = RunStatus.OK.value


class FailedRows(UserWarning):
    """Rows of a sweep failed, and what was not computed is missing."""


class _Piece(NamedTuple):
    """Runs `first` to `first + runs` of one row, whose values are `fields`."""

    row: int
    fields: dict[str, object]
    first: int
    runs: int


class _Chunk(NamedTuple):
    """What is sent to a worker: everything it needs, and little of it."""

    pieces: list[_Piece]
    seed: int
    summary: bool
    grid_runs: int
    engine: str

    @property
    def runs(self) -> int:
        return sum(piece.runs for piece in self.pieces)


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
    chunk_runs : int
        Lives handed over at a time. Results do not depend on it.

    Returns
    -------
    DataFrame
        ``row``, the grid's fields, ``run``, ``status`` (the values of `RunStatus`), ``sessions``,
        ``ended_by`` and one column per measured quantity; rows in the grid's order. ``grid_um`` is
        by how much a life's loss per session grows at twice every resolution, missing (NaN) where
        that was not asked for; a summary has its mean and the standard error of that. In rows that
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
    settings = {"seed": seed, "summary": summary, "grid_runs": again, "engine": engine()}
    chunks = _chunks(grid, runs, chunk_runs, settings)
    folder, done = None, {}
    if out is not None:
        check_results(out)
        every = settings | {"runs": runs, "chunk_runs": chunk_runs}
        folder = Folder(out, sweep_manifest(task, grid, every))
        done = folder.finished(len(chunks))
    with _bar(chunks, done, shown=progress) as bar:
        try:
            for number, table, complete in _computed(task, chunks, set(done), executor):
                if folder and complete:
                    folder.write(number, table)
                done[number] = table
                bar.update(chunks[number].runs)
        except KeyboardInterrupt:
            left = f"{len(chunks) - len(done)} of {len(chunks)} chunks not run"
            warnings.warn(f"sweep interrupted: {left}", stacklevel=2)
    for number in set(range(len(chunks))) - set(done):
        done[number] = _failed(chunks[number], RunStatus.INTERRUPTED.value)
    frame = _framed(grid, joined([done[number] for number in range(len(chunks))]), summary=summary)
    return _with_words(frame, task, grid, runs, seed)


def _with_words(frame: pd.DataFrame, task: Task, grid: Grid, runs: int, seed: int) -> pd.DataFrame:
    """The table with what made it, in one paragraph; a warning counts rows that failed."""
    _warn(frame, len(grid))
    given = {"task": task, "rows": len(grid), "fields": grid.names, "runs per row": runs}
    frame.attrs["cite"] = paragraph("A sweep of simulated lives", given, seed=seed)
    return frame


def _check(task: Task, grid: Grid, executor: Executor | None) -> None:
    """Refuse arguments that cannot be used, and names in the grid that cannot be set."""
    if not callable(task):
        raise BadArgument(
            "task must be callable", task, "Give a LifeCase or a function.", argument="task"
        )
    instance("grid", grid, Grid, "Make one with full_grid or list_grid.")
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise BadArgument(
            "executor must have a submit",
            executor,
            "Give a concurrent.futures.Executor, such as ProcessPoolExecutor(2), or None.",
            argument="executor",
        )
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


def _chunks(grid: Grid, runs: int, most: int, settings: Mapping[str, Any]) -> list[_Chunk]:
    """Pieces in order, gathered into chunks of at most `CHUNK_ROWS` pieces and `most` runs."""
    pieces = [
        _Piece(row, grid.row(row), first, min(PIECE_RUNS, runs - first))
        for row in range(len(grid))
        for first in range(0, runs, PIECE_RUNS)
    ]
    size = max(1, min(CHUNK_ROWS, most // pieces[0].runs))
    return [_Chunk(pieces[i : i + size], **settings) for i in range(0, len(pieces), size)]


def _bar(chunks: list[_Chunk], done: Iterable[int], *, shown: bool):  # type: ignore[no-untyped-def]
    from tqdm.auto import tqdm

    return tqdm(
        total=sum(chunk.runs for chunk in chunks),
        initial=sum(chunks[number].runs for number in done),
        unit=" lives",
        disable=not shown,
    )


def _computed(
    task: Task, chunks: list[_Chunk], done: set[int], executor: Executor | None
) -> Iterator[tuple[int, Table, bool]]:
    """Number, table and whether it may be kept, of each other chunk as it is finished."""
    waiting = [number for number in range(len(chunks)) if number not in done]
    if executor is None:
        for number in waiting:
            yield number, _live_chunk(task, chunks[number]), True
        return
    futures = {executor.submit(_live_chunk, task, chunks[n]): n for n in waiting}
    try:
        for future in as_completed(futures):
            number = futures[future]
            try:
                yield number, future.result(), True
            except Exception as error:  # noqa: BLE001  # a worker lost is a row with a status
                yield number, _failed(chunks[number], RunStatus.FAILED.because(error)), False
    finally:
        for future in futures:
            future.cancel()


def _live_chunk(task: Task, chunk: _Chunk) -> Table:
    """The tables of a chunk's pieces; runs wherever the executor puts it."""
    tables = []
    with using(chunk.engine):
        for piece in chunk.pieces:
            try:
                columns = _lived(task(piece.fields), piece, chunk)
                tables.append(_table(piece, chunk.summary, OK, columns))
            except Exception as error:  # noqa: BLE001  # bad input in one row must not lose others
                tables.append(_table(piece, chunk.summary, RunStatus.FAILED.because(error)))
    return joined(tables)


def _lived(case: LifeCase, piece: _Piece, chunk: _Chunk) -> Table:
    """One value per life of a piece, the first of the row also at twice every resolution."""
    lives = case.live(SeededKeys(chunk.seed, first=piece.first, runs=piece.runs))
    again, refined = min(chunk.grid_runs - piece.first, piece.runs), None
    if again > 0:
        fine = replace(case, stations=finer(case.stations), depths=finer(case.depths))
        refined = fine.live(SeededKeys(chunk.seed, first=piece.first, runs=again))
    return {**sample_columns(lives), GRID: grid_column(lives, refined)}


def _failed(chunk: _Chunk, status: str) -> Table:
    """A chunk that was not computed."""
    return joined([_table(piece, chunk.summary, status) for piece in chunk.pieces])


def _table(piece: _Piece, summary: bool, status: str, columns: Table | None = None) -> Table:
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
    return _moments(table) if summary else table


def _moments(table: Table) -> Table:
    """A piece as counts of sessions and sums, one row for each number of sessions.

    ``lives`` ended after ``sessions``; of each quantity the mean over those lives and the sum of
    squared deviations from it, from which means and spreads over any pieces follow. Of the grid's
    error, which few lives have, the number of values, their sum and the sum of their squares.
    """
    sessions, group = np.unique(table["sessions"], return_inverse=True)
    lives = np.bincount(group)
    out: Table = {
        "row": np.repeat(table["row"][:1], len(sessions)),
        "status": np.repeat(table["status"][:1], len(sessions)),
        "sessions": sessions,
        "lives": lives,
        "unfinished": np.bincount(group, weights=table["ended_by"] == ""),
    }
    for name in VALUES:
        values = table[name].astype(float)
        mean = np.bincount(group, weights=values) / lives
        out[name] = mean
        out[f"{name}_ss"] = np.bincount(group, weights=(values - mean[group]) ** 2)
    gap = table[GRID].astype(float)
    known = ~np.isnan(gap)
    gap = np.where(known, gap, 0.0)
    for end, part in (("_lives", known), ("_sum", gap), ("_squares", gap**2)):
        out[f"{GRID}{end}"] = np.bincount(group, weights=part)
    return out


def _framed(grid: Grid, table: Table, *, summary: bool) -> pd.DataFrame:
    """The table with the grid's fields beside the row numbers."""
    if summary:
        frame = pd.DataFrame(_summary(table), columns=SUMMARY)
    else:
        frame = pd.DataFrame(table)
        frame["ended_by"] = frame["ended_by"].where(frame["sessions"].notna())
    for place, name in enumerate(grid.names):
        column = pd.Series(labels(grid.column(name)))
        frame.insert(1 + place, name, column.to_numpy()[frame["row"].to_numpy()])
    return frame


def _summary(table: Table) -> list[dict[str, object]]:
    """One line per row of the grid from the counts and sums of its pieces."""
    lines = []
    numbers, starts = np.unique(table["row"], return_index=True)  # a row's pieces lie together
    for row, start, end in zip(numbers, starts, [*starts[1:], None], strict=True):
        status = table["status"][start:end]
        bad = status != OK
        part = {name: column[start:end][~bad] for name, column in table.items()}
        lives = part["lives"].astype(float)
        total = lives.sum()
        line: dict[str, object]
        line = {"row": int(row), "status": status[np.argmax(bad)], "lives": int(total)}
        if total:
            line["unfinished"] = part["unfinished"].sum() / total
            line |= session_percentiles(np.repeat(part["sessions"], part["lives"].astype(int)))
            means, squares = (np.stack([part[n + end] for n in VALUES]) for end in ("", "_ss"))
            mean = (means * lives).sum(axis=1) / total
            square = (squares + lives * (means - mean[:, None]) ** 2).sum(axis=1)
            sd = np.sqrt(square / (total - 1)) if total > 1 else np.full(len(VALUES), np.nan)
            moments = np.stack([mean, sd, sd / np.sqrt(total)], axis=1)
            line |= dict(zip(MOMENTS, moments.ravel().tolist(), strict=True))
            line |= _grid_error(*(part[GRID + end].sum() for end in ("_lives", "_sum", "_squares")))
        lines.append(line)
    return lines


def _grid_error(lives: float, total: float, squares: float) -> dict[str, float]:
    """Mean of the grid's error and its standard error, from sums over the lives that have it."""
    if not lives:
        return {}
    mean = total / lives
    spread = max(squares / lives - mean**2, 0.0) / (lives - 1) if lives > 1 else np.inf
    return {GRID: mean, f"{GRID}_mc": float(np.sqrt(spread))}
