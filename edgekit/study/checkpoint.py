"""A folder that a killed sweep resumes from: a manifest, and files of finished chunks.

Every file is whole or absent (`edgekit.files`). A part begins with a line that holds the
manifest's hash, the part's number and its own hash, so one that was torn, edited, or copied from
another sweep or over another part is found out and computed again. Tables are CSV; the
shortest decimal of a float gives the same float back, so what is read is what was computed, to the
last bit.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from edgekit.checks import instance
from edgekit.errors import BadFile, Cannot, EdgekitError
from edgekit.files import read_file, remove_leftovers, write_file
from edgekit.study.chunks.tables import Table, joined

MANIFEST = "manifest.json"
MOST_PARTS = 2000  # files in a folder
PART_BYTES = 1_000_000_000  # of a part: chunk_runs may be large
_SHOWN = 3  # differences named in a refusal


def digest(text: str) -> str:
    """SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def _write(path: Path, text: str) -> None:
    try:
        write_file(path, text, replace=True)
    except EdgekitError as error:
        raise _unusable(path, error.__cause__ or error) from error


def _unusable(path: Path, error: BaseException) -> EdgekitError:
    return EdgekitError(
        f"the sweep's folder cannot be used: {getattr(error, 'strerror', error)}",
        str(path),
        "Give out= a folder that can be written; parts already there are kept.",
    )


def _as_csv(table: Table) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([f"{name}:{column.dtype.kind}" for name, column in table.items()])
    writer.writerows(zip(*(column.tolist() for column in table.values()), strict=True))
    return out.getvalue()


def _from_csv(text: str) -> Table:
    head, *rows = csv.reader(io.StringIO(text))
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(head)
    read: dict[str, Callable[[str], object]]
    read = {"f": float, "i": int, "O": sys.intern}  # one copy of a text, however many rows say it
    kinds = {"f": float, "i": int, "O": object}
    table: Table = {}
    for cell, column in zip(head, columns, strict=True):
        name, _, kind = cell.rpartition(":")
        table[name] = np.array([read[kind](item) for item in column], dtype=kinds[kind])
    return table


class Folder:
    """The parts of one sweep.

    Parameters
    ----------
    path : path
        Made if missing.
    manifest : mapping
        What decides the results; a folder begun with another is refused.
    """

    def __init__(self, path: str | os.PathLike[str], manifest: Mapping[str, object]) -> None:
        instance("out", path, (str, os.PathLike), "Give the path of a folder.")
        self._path = Path(path)
        try:
            self._path.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _unusable(self._path, error) from error
        text = json.dumps(manifest, indent=1, ensure_ascii=False) + "\n"
        self._hash = digest(text)
        here = self._path / MANIFEST
        if not here.exists():
            if any(self._path.glob("part-*.csv")):
                raise BadFile(
                    "the folder holds parts but no manifest",
                    str(path),
                    "Give an empty folder.",
                    file=str(path),
                )
            _write(here, text)
        try:
            before = dict(json.loads(read_file(here)))
        except (ValueError, TypeError, OSError) as error:
            raise BadFile(
                "the folder's manifest cannot be read",
                str(here),
                "Give an empty folder.",
                file=str(path),
            ) from error
        wanted = json.loads(text)
        if before != wanted:
            raise BadFile(
                "the folder belongs to another sweep: " + "; ".join(_differences(before, wanted)),
                str(path),
                "Give another folder, or the arguments it was begun with.",
                file=str(path),
            )
        remove_leftovers(self._path, (MANIFEST, "part-*.csv"))

    def _part(self, number: int) -> Path:
        return self._path / f"part-{number:06d}.csv"

    def _seal(self, number: int, body: str) -> str:
        """First line of a part: what sweep it belongs to, its number in it, and what it holds."""
        return f"# {self._hash} {number} {digest(body)}"

    def write(self, number: int, table: Table) -> None:
        """Keep the table of finished chunks."""
        body = _as_csv(table)
        _write(self._part(number), f"{self._seal(number, body)}\n{body}")

    def read(self, number: int) -> Table | None:
        """The table of a part; None if it is missing or not as it was written."""
        body = self._body(number)
        return None if body is None else _from_csv(body)

    def _body(self, number: int) -> str | None:
        try:
            text = read_file(self._part(number), PART_BYTES).decode("utf-8")
        except (OSError, UnicodeDecodeError):
            return None
        first, _, body = text.partition("\n")
        return body if first == self._seal(number, body) else None

    def holds(self, number: int) -> bool:
        """Whether a part is there as it was written."""
        return self._body(number) is not None


class Parts:
    """The parts of a sweep's folder, each with the tables of some chunks in a row, so that there
    are no more than a few thousand."""

    def __init__(self, folder: Folder, chunks: int) -> None:
        self._folder, self._chunks = folder, chunks
        self._each = -(-chunks // MOST_PARTS)
        self._done = {n for n in range(-(-chunks // self._each)) if folder.holds(n)}
        self._open: dict[int, dict[int, Table]] = {}

    def missing(self) -> list[int]:
        """The chunks that no part holds."""
        return [n for n in range(self._chunks) if n // self._each not in self._done]

    def stored(self, number: int) -> tuple[Table, int] | None:
        """Tables of the part that begins with a chunk, and the chunk after them; None if no part
        does."""
        part, place = divmod(number, self._each)
        if place or part not in self._done:
            return None
        table = self._folder.read(part)
        if table is None:
            remedy = "Start the sweep again: what is missing is computed."
            raise Cannot("a part of the sweep's folder is gone or spoiled", part, remedy)
        return table, min(number + self._each, self._chunks)

    def keep(self, number: int, table: Table) -> None:
        """Keep a finished chunk; its part is written once all of its chunks are there."""
        part = number // self._each
        tables = self._open.setdefault(part, {})
        tables[number] = dict(table)
        if len(tables) == min(self._each, self._chunks - part * self._each):
            self._folder.write(part, joined([tables[n] for n in sorted(tables)]))
            del self._open[part]


def _differences(before: object, wanted: object, where: str = "") -> list[str]:
    """What differs between two manifests, in words; at most `_SHOWN`."""
    found: list[str] = []
    if isinstance(before, dict) and isinstance(wanted, dict):
        for key in (*before, *(k for k in wanted if k not in before)):
            inner = f"{where} {key}".strip()
            found += _differences(before.get(key), wanted.get(key), inner)
    elif isinstance(before, list) and isinstance(wanted, list) and len(before) == len(wanted):
        for i, (old, new) in enumerate(zip(before, wanted, strict=True)):
            found += _differences(old, new, f"{where} {i}")
    elif isinstance(before, list) and isinstance(wanted, list):
        found.append(f"{where} had {len(before)} entries, now {len(wanted)}")
    elif before != wanted:
        found.append(f"{where} was {before!r}, is {wanted!r}")
    return found[:_SHOWN]
