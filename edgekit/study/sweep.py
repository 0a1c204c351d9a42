"""Many studies at once: every row of a grid, on one machine or on many.

Runs of a row are cut into pieces at fixed numbers, pieces are gathered into chunks, and chunks are handed to
an executor. Run i of every row draws from child i of the seed, so rows share random numbers and nothing depends
on who computes what, in which order, or how it is cut.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import Executor, as_completed
from os import PathLike
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from edgekit.checks import count
from edgekit.errors import EdgekitError
from edgekit.grinding.random_streams import SeededKeys
from edgekit.study.case import Task
from edgekit.study.checkpoint import Folder, Table, digest, joined
from edgekit.study.grid import Grid, labels
from edgekit.study.outcomes import VALUES, sample_columns

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["sweep"]

PIECE_RUNS = 2048  # runs lived together, always cut at multiples of this
CHUNK_RUNS = 2048  # lives in a chunk, at some 0.1 ms each: an executor's overhead stays below 5 %
CHUNK_ROWS = 8  # rows in a chunk: each takes some 30 ms however few its runs
OK = "ok"
INTERRUPTED = "not run: interrupted"


class _Piece(NamedTuple):
    """Runs `first` to `first + runs` of one row."""

    row: int
    first: int
    runs: int


class _Chunk(NamedTuple):
    """What is handed to a worker; everything it needs, and small."""

    pieces: tuple[_Piece, ...]
    rows: tuple[dict[str, object], ...]
    seed: int
    summary: bool


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
    chunk_runs: int = CHUNK_RUNS,
) -> pd.DataFrame:
    """Live `runs` instruments for every row of a grid.

    Parameters
    ----------
    task : callable
        Makes the study of a row, such as `edgekit.LifeCase`.
    grid : Grid
        From `full_grid`, `list_grid`, `latin_hypercube` or `sobol_points`.
    runs : int
        Lives a row. They are lived side by side: a row costs at least what some hundred lives cost.
    seed : int
        Root of all random numbers; run i depends on the seed and i only, in every row.
    executor : concurrent.futures.Executor, optional
        Computes chunks elsewhere, through ``submit`` alone; it stays the caller's to shut down. None
        computes here. Processes must be able to import a task of your own: define it at the top of
        a module, not in a notebook's cell; a Dask cluster takes either.
    out : path, optional
        Folder that keeps finished chunks. Called again with the same arguments, the sweep goes on
        from there; with others it is refused.
    progress : bool
        Show a bar with the time left.
    summary : bool
        A row a grid row (mean, standard deviation, standard error; quantiles of sessions) instead of a
        row a life; needs little memory at any number of runs.
    chunk_runs : int
        Lives handed over at a time. Results do not depend on it.

    Returns
    -------
    DataFrame
        ``row``, the grid's fields, ``run``, ``status`` ("ok", or what went wrong), ``sessions``,
        ``ended_by`` and a column a measured quantity; rows in the grid's order. What a row that
        failed would have measured is NaN, its sessions are 0, and ``status`` says why. Ctrl-C returns what is done, the rest with the
        status "not run: interrupted", and warns.

    Raises
    ------
    EdgekitError
        If an argument cannot be used, or `out` belongs to another sweep; it names what differs.

    Examples
    --------
    >>> import edgekit as ek
    >>> task = ek.LifeCase(blade=ek.patterns.hoe, method=ek.methods.freehand())
    >>> grid = ek.full_grid({"method.placements": [2, 6], "method.seatings": [1]})
    >>> table = ek.sweep(task, grid, runs=5, seed=1, progress=False)
    >>> len(table), table["status"].unique().tolist()
    (10, ['ok'])
    """
    if not callable(task):
        raise EdgekitError("task must be callable", task, "Give a LifeCase or a function.")
    if not isinstance(grid, Grid):
        raise EdgekitError("grid must be a Grid", grid, "Make one with full_grid or list_grid.")
    if executor is not None and not callable(getattr(executor, "submit", None)):
        raise EdgekitError(
            "executor must have a submit",
            executor,
            "Give a concurrent.futures.Executor, such as ProcessPoolExecutor(2), or None.",
        )
    runs = count("runs", runs)
    chunks = list(
        _chunks(grid, runs, count("seed", seed, 0), summary, count("chunk_runs", chunk_runs))
    )
    folder, done = None, {}
    if out is not None:
        folder = Folder(out, _manifest(task, grid, runs, seed, summary, chunk_runs))
        kept = {number: folder.read(number) for number in range(len(chunks))}
        done = {number: table for number, table in kept.items() if table is not None}
    waiting = [number for number in range(len(chunks)) if number not in done]
    with _bar(chunks, done, shown=progress) as bar:
        try:
            for number, table, whole in _computed(task, chunks, waiting, executor):
                if folder and whole:
                    folder.write(number, table)
                done[number] = table
                bar.update(_runs_of(chunks[number]))
        except KeyboardInterrupt:
            warnings.warn(
                f"sweep interrupted: {len(chunks) - len(done)} of {len(chunks)} chunks not run",
                stacklevel=2,
            )
    tables = [
        done.pop(n) if n in done else _failed(chunk, INTERRUPTED) for n, chunk in enumerate(chunks)
    ]
    return _framed(grid, joined(tables), summary=summary)


def _chunks(grid: Grid, runs: int, seed: int, summary: bool, most: int) -> Iterator[_Chunk]:
    """Pieces in order, gathered while they stay below `most` runs and `CHUNK_ROWS` rows."""

    def chunk(pieces: list[_Piece]) -> _Chunk:
        return _Chunk(tuple(pieces), tuple(grid.row(p.row) for p in pieces), seed, summary)

    held: list[_Piece] = []
    for row in range(len(grid)):
        for first in range(0, runs, PIECE_RUNS):
            piece = _Piece(row, first, min(PIECE_RUNS, runs - first))
            full = sum(p.runs for p in held) + piece.runs > most or len(held) == CHUNK_ROWS
            if held and full:
                yield chunk(held)
                held = []
            held.append(piece)
    yield chunk(held)


def _runs_of(chunk: _Chunk) -> int:
    return sum(piece.runs for piece in chunk.pieces)


def _bar(chunks: list[_Chunk], done: Iterable[int], *, shown: bool):  # type: ignore[no-untyped-def]
    from tqdm.auto import tqdm

    return tqdm(
        total=sum(map(_runs_of, chunks)),
        initial=sum(_runs_of(chunks[n]) for n in done),
        unit=" lives",
        disable=not shown,
    )


def _computed(
    task: Task, chunks: list[_Chunk], waiting: list[int], executor: Executor | None
) -> Iterator[tuple[int, Table, bool]]:
    """Number, table and whether it may be kept, of each chunk as it is finished."""
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
                yield number, _failed(chunks[number], f"failed: {_words(error)}"), False
    finally:
        for future in futures:
            future.cancel()


def _live_chunk(task: Task, chunk: _Chunk) -> Table:
    """The tables of a chunk's pieces; runs wherever the executor puts it."""
    tables = []
    for piece, row in zip(chunk.pieces, chunk.rows, strict=True):
        try:
            lives = task(row).live(SeededKeys(chunk.seed, first=piece.first, runs=piece.runs))
        except Exception as error:  # noqa: BLE001  # bad input in one row must not lose the others
            status = f"failed: {_words(error)}"
            tables.append(_failed(chunk._replace(pieces=(piece,)), status))
            continue
        table: Table = {
            "row": np.full(piece.runs, piece.row),
            "run": np.arange(piece.first, piece.first + piece.runs),
            "status": np.full(piece.runs, OK, dtype=object),
            **sample_columns(lives),
        }
        tables.append(_moments(table) if chunk.summary else table)
    return joined(tables)


def _words(error: BaseException) -> str:
    return " ".join(f"{type(error).__name__}: {error}".split())


def _failed(chunk: _Chunk, status: str) -> Table:
    """Rows of runs that were not lived."""
    tables = []
    for row, first, runs in chunk.pieces:
        nothing = np.full(runs, np.nan)
        table: Table = {
            "row": np.full(runs, row),
            "run": np.arange(first, first + runs),
            "status": np.full(runs, status, dtype=object),
            "sessions": np.zeros(runs, dtype=int),
            "ended_by": np.full(runs, "", dtype=object),
            **dict.fromkeys(VALUES, nothing),
        }
        tables.append(_moments(table) if chunk.summary else table)
    return joined(tables)


def _moments(table: Table) -> Table:
    """A piece as counts of sessions and sums, in one row a number of sessions.

    ``lives`` ended after ``sessions``; of each quantity the mean over those lives and the sum of
    squared deviations from it, from which means and spreads over any pieces follow.
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
    return out


def _framed(grid: Grid, table: Table, *, summary: bool) -> pd.DataFrame:
    """The table with the grid's fields beside the row numbers."""
    import pandas as pd

    frame = pd.DataFrame(_summary(table) if summary else table)
    for place, name in enumerate(grid.names):
        column = pd.Series(labels(grid.column(name)))
        frame.insert(1 + place, name, column.to_numpy()[frame["row"].to_numpy()])
    return frame


def _summary(table: Table) -> Table:
    """One row a grid row from the counts and sums of its pieces."""
    rows = []
    numbers, starts = np.unique(table["row"], return_index=True)  # a row's pieces lie together
    for row, start, end in zip(numbers, starts, [*starts[1:], None], strict=True):
        part = {name: column[start:end] for name, column in table.items()}
        bad = part["status"] != OK
        status = str(part["status"][np.argmax(bad)])  # the first that failed, or ok
        part = {name: column[~bad] for name, column in part.items()} if not bad.all() else part
        lives = part["lives"].astype(float)
        total = lives.sum()
        line: dict[str, object] = {
            "row": int(row),
            "status": status,
            "lives": 0 if bad.all() else int(total),
            "unfinished": np.nan if bad.all() else part["unfinished"].sum() / total,
        }
        for share in (10, 50, 90):
            quantile = _quantile(part["sessions"], lives, share / 100)
            line[f"sessions_p{share}"] = np.nan if bad.all() else quantile
        for name in VALUES:
            means = part[name].astype(float)
            mean = float((means * lives).sum() / total)
            square = (part[f"{name}_ss"].astype(float) + lives * (means - mean) ** 2).sum()
            sd = float(np.sqrt(square / (total - 1))) if total > 1 else np.nan
            line |= {name: mean, f"{name}_sd": sd, f"{name}_mc": sd / np.sqrt(total)}
        rows.append(line)
    return {name: np.array([line[name] for line in rows]) for name in rows[0]}


def _quantile(values: np.ndarray, lives: np.ndarray, share: float) -> float:
    """Quantile of `values` that occur `lives` times, as `numpy.percentile` interpolates it."""
    order = np.argsort(values, kind="stable")
    upto = np.cumsum(lives[order])
    at = share * (upto[-1] - 1)
    low, high = (
        float(values[order][np.searchsorted(upto, place, side="right")])
        for place in (np.floor(at), np.ceil(at))
    )
    return low + (high - low) * float(at - np.floor(at))


def _manifest(
    task: Task,
    grid: Grid,
    runs: int,
    seed: int,
    summary: bool,
    chunk_runs: int,
) -> dict[str, object]:
    """Everything that decides the results, in a form that can be compared entry by entry."""
    from edgekit import __version__

    return {
        "edgekit": __version__,
        "seed": seed,
        "runs": runs,
        "rows": "summary" if summary else "samples",
        "chunk_runs": chunk_runs,
        "task": _described(task),
        "grid": {
            "fields": list(grid.names),
            "row": [[_described(value) for value in row] for row in grid.rows],
        },
    }


def _described(value: object) -> object:
    """A value as text that is the same in every process."""
    import dataclasses

    from scipy.interpolate import BSpline

    if isinstance(value, np.generic):
        value = value.item()
    if value is None or isinstance(value, str | int | float | bool):
        return value
    if isinstance(value, np.ndarray | tuple | list):
        return [
            _described(item) for item in (value.tolist() if hasattr(value, "tolist") else value)
        ]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: _described(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {"type": type(value).__qualname__, **fields}
    if isinstance(value, BSpline):
        return _described((value.t, value.c, value.k))
    if isinstance(value, Mapping):
        return {str(key): _described(item) for key, item in value.items()}
    name = getattr(value, "__qualname__", None)
    return _named(value, name) if name else _repr(value)


def _named(value: object, name: str) -> str:
    """A function or class by its name, and by its text where the package's version does not cover it."""
    import inspect

    place = f"{value.__module__}.{name}"
    if place.split(".", maxsplit=1)[0] in ("edgekit", "numpy", "scipy"):
        return place
    try:
        text = "" if "<" in name else inspect.getsource(value)  # type: ignore[arg-type]
    except (OSError, TypeError):
        text = ""
    # A lambda, or made within a function, where many share one name; or typed at a prompt.
    if not text:
        raise EdgekitError(
            "a sweep with a folder must be told apart from others, but this cannot be",
            place,
            "Define it at the top of a module or of a notebook's cell.",
        )
    return f"{place} ({digest(text)[:12]})"


def _repr(value: object) -> str:
    text = repr(value)
    if " at 0x" in text:
        kind = type(value)
        raise EdgekitError(
            "a sweep with a folder must be told apart from others, but this has no description",
            text,
            f"Make {kind.__qualname__} a dataclass, or give it a __repr__ of its values.",
        )
    return text
