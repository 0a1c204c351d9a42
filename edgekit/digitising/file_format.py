"""The text of blade files: settings in TOML, points in CSV; every fault names file, line, column.

What the files may hold is documented in `edgekit.digitising.reader`, which makes blades of them.
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, NamedTuple

import numpy as np

from edgekit.checks import FloatArray, finite, unit_vector
from edgekit.errors import EdgekitError
from edgekit.files import file_path, there

__all__ = [
    "AXES",
    "EXACT",
    "BladeFile",
    "FileFault",
    "Rows",
    "faults_in",
    "read_settings",
    "read_table",
    "settings_file",
    "settings_file_there",
    "table_text",
    "toml",
]

FORMAT = "edgekit blade 1"
AXES = ("x_mm", "y_mm", "z_mm")
EXACT = ("face_x", "face_y", "face_z", "internal_angle_deg")
KEYS = (
    "format",
    "name",
    "kind",
    "source",
    "points",
    "order",
    "face",
    "face_up",
    "handle_axis",
    "internal_angle_deg",
    "internal_angle_sd_deg",
    "thickness_mm",
    "width_mm",
    "noise_um",
    "note",
    "pattern",
)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)


class FileFault(EdgekitError):
    """A fault whose message already names the file, and line and column where there is one."""


@contextmanager
def faults_in(file: FilePath) -> Iterator[None]:
    """Put the file's name before any fault that does not name its place itself."""
    try:
        yield
    except FileFault:
        raise
    except EdgekitError as error:
        raise FileFault(f"{file.name}: {error.what}", error.value, error.remedy) from error


def _decode(file: FilePath) -> str:
    try:
        raw = file.read_bytes()
    except (OSError, ValueError) as error:
        raise FileFault(
            f"{file.name} cannot be read ({error})", str(file), "Check the path."
        ) from error
    if not raw.strip():
        raise FileFault(f"{file.name} is empty", len(raw), "Give a file with content.")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise FileFault(
            f"{file.name}, line {line}: not UTF-8 text",
            raw[error.start : error.start + 4],
            "Save the file as UTF-8.",
        ) from error
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise FileFault(
            f"{file.name}, line {line}: holds a null character", "\0", "Save the file as UTF-8."
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


# ---- settings ------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class BladeFile:
    """The settings file: its items, and the line each stands on."""

    file: FilePath
    items: Mapping[str, Any]
    lines: Mapping[str, int]

    def place(self, key: str) -> str:
        """The key with its file, and its line if it is there."""
        line = f", line {self.lines[key]}" if key in self.lines else ""
        return f"{self.file.name}{line}: {key}"

    def _missing(self, key: str, example: str) -> FileFault:
        return FileFault(f"{self.place(key)} is missing", None, f"Add a line such as {example}.")

    def text(self, key: str, allowed: Sequence[str] = ()) -> str:
        """A text that is not empty, one of `allowed` if there are any."""
        item = self.items.get(key)
        if item is None:
            raise self._missing(key, f'{key} = "{allowed[0] if allowed else "..."}"')
        if not isinstance(item, str) or not item or (allowed and item not in allowed):
            wanted = " or ".join(f'"{a}"' for a in allowed) if allowed else "some text"
            raise FileFault(f"{self.place(key)} must be {wanted}", item, f"Mend {key} = ….")
        return item

    def number(self, key: str, otherwise: float | None = None) -> float:
        """A finite number; text that looks like one, and true or false, are refused."""
        item = self.items.get(key, otherwise)
        if item is None:
            raise self._missing(key, f"{key} = 1.0")
        if not _is_number(item):
            raise FileFault(
                f"{self.place(key)} must be a number", item, "Write digits without quotation marks."
            )
        with self.named():
            return finite(self.place(key), item)

    def vector(self, key: str, otherwise: Sequence[float] | None = None) -> FloatArray:
        """A direction of three numbers, as a unit vector."""
        item = self.items.get(key, otherwise)
        if item is None:
            raise self._missing(key, f"{key} = [0.0, 0.0, -1.0]")
        if not (isinstance(item, Sequence) and len(item) == 3 and all(map(_is_number, item))):
            raise FileFault(
                f"{self.place(key)} must be three numbers in brackets",
                item,
                f"Write it as {key} = [0.0, 0.0, 1.0].",
            )
        with self.named():
            return unit_vector(self.place(key), item)

    @contextmanager
    def named(self) -> Iterator[None]:
        """For checks of a value that were given its `place` for a name."""
        try:
            yield
        except EdgekitError as error:
            raise FileFault(error.what, error.value, error.remedy) from error


def _is_number(item: object) -> bool:
    return isinstance(item, int | float) and not isinstance(item, bool)


def read_settings(file: FilePath) -> BladeFile:
    """Read a settings file, and refuse keys it does not know: they are misspelt."""
    text = _decode(file)
    try:
        items = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # huge numbers, endless brackets
        where = re.search(r"line (\d+), column (\d+)", str(error))
        place = f", line {where[1]}, column {where[2]}" if where else ""
        raise FileFault(
            f"{file.name}{place}: not TOML", str(error), "Mend that line, or write a new file."
        ) from error
    lines: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        name = re.match(r"""\s*\[?["']?([\w-]+)["']?\s*[]=]""", line)
        if name:
            lines.setdefault(name[1], number)
    settings = BladeFile(file=file, items=items, lines=lines)
    settings.text("format", (FORMAT,))
    for key in items:
        if key not in KEYS:
            near = difflib.get_close_matches(key, KEYS, 1)
            remedy = f"Did you mean {near[0]}?" if near else f"Use {', '.join(KEYS)}."
            raise FileFault(f"{settings.place(key)} is no setting", items[key], remedy)
    for key in {"name", "note"} & set(items):
        if not isinstance(items[key], str):
            raise FileFault(f"{settings.place(key)} must be text", items[key], "Put it in quotes.")
    return settings


# ---- tables of points ----------------------------------------------------------------------


class Rows(NamedTuple):
    """The points of one curve: the lines they stand on (N,) and their numbers (N, C)."""

    lines: tuple[int, ...]
    values: FloatArray

    def reversed(self) -> Rows:
        """The same points from the other end."""
        return Rows(self.lines[::-1], self.values[::-1])


def read_table(table: FilePath, names: Sequence[str], columns: Sequence[str]) -> dict[str, Rows]:
    """Read the numbers under `columns` by curve, of the curves `names`."""
    text = _decode(table).split("\n")
    body = [(i, line) for i, line in enumerate(text, 1) if line.strip() and line.lstrip()[0] != "#"]
    if not body:
        raise FileFault(f"{table.name} holds no table", len(text), "Add a header and points.")
    header = _cells(table, *body[0])
    wanted = ("curve", *columns)
    for name in wanted:
        if header.count(name) != 1:
            raise FileFault(
                f"{table.name}, line {body[0][0]}: "
                f"{'repeated' if name in header else 'missing'} column {name}",
                header,
                f"The first line must name {', '.join(wanted)}, once each, separated by commas.",
            )
    found: dict[str, tuple[list[int], list[list[float]]]] = {}
    for number, line in body[1:]:
        cells = _cells(table, number, line)
        if len(cells) != len(header):
            raise FileFault(
                f"{table.name}, line {number}: {len(cells)} cells under {len(header)} columns",
                line,
                "Use a comma between cells and a point in decimals.",
            )
        row = dict(zip(header, cells, strict=True))
        if row["curve"] not in names:
            raise FileFault(
                f"{table.name}, line {number}, column curve: must be one of {', '.join(names)}",
                row["curve"],
                "Name the curve the point lies on.",
            )
        lines, values = found.setdefault(row["curve"], ([], []))
        lines.append(number)
        values.append([_number(table, number, column, row[column]) for column in columns])
    return {name: Rows(tuple(lines), np.array(rows)) for name, (lines, rows) in found.items()}


def _cells(table: FilePath, number: int, line: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], strict=True))]
    except csv.Error as error:  # a quotation mark left open, a cell beyond all bounds
        raise FileFault(
            f"{table.name}, line {number}: not CSV ({error})", line, "Mend or remove the line."
        ) from error


def _number(table: FilePath, line: int, column: str, cell: str) -> float:
    number = float(cell) if _NUMBER.fullmatch(cell) else math.nan
    if not math.isfinite(number):
        raise FileFault(
            f"{table.name}, line {line}, column {column}: not a finite number",
            cell,
            "Use a point in decimals: correct the cell or remove the line.",
        )
    return number


# ---- writing -------------------------------------------------------------------------------


def table_text(columns: Sequence[str], points: Mapping[str, FloatArray]) -> str:
    """The CSV of points (N, C) by curve, in as many digits as they need to come back bit by bit."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("curve", *columns))
    for name, rows in points.items():
        writer.writerows([name, *(repr(float(item)) for item in row)] for row in rows)
    return out.getvalue()


def toml(settings: Mapping[str, Any], pattern: Mapping[str, Any] | None = None) -> str:
    """The few kinds of value the format has, as TOML."""
    lines = [f"{key} = {_toml_value(item)}" for key, item in settings.items()]
    if pattern is not None:
        lines += ["", "[pattern]", *(f"{k} = {_toml_value(v)}" for k, v in pattern.items())]
    return "\n".join(lines) + "\n"


def _toml_value(item: object) -> str:
    if isinstance(item, str):
        body = item.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in body) + '"'
    if isinstance(item, list | tuple):
        return "[" + ", ".join(_toml_value(part) for part in item) + "]"
    if isinstance(item, bool):
        return str(item).lower()
    number = finite("a setting", item) if item != math.inf else math.inf
    return repr(number)


def settings_file(path: str | FilePath) -> FilePath:
    """The settings file a path names: dots are part of a name, only ``.toml`` is a suffix.

    Examples
    --------
    >>> [settings_file(name).name for name in ("FH-03.1", "FH-03.1.toml")]
    ['FH-03.1.toml', 'FH-03.1.toml']
    """
    file = file_path(path)
    return file if file.suffix == ".toml" else file.with_name(file.name + ".toml")


def settings_file_there(path: str | FilePath) -> FilePath:
    """The settings file to read: a file that is there as it is given, a table's by its stem."""
    file = file_path(path)
    named = settings_file(file)
    if file.suffix == ".csv" and not there(named):
        return file.with_suffix(".toml")
    return named if there(named) or not there(file) or file.is_dir() else file
