"""The text of blade files: settings read and written as TOML, points written as CSV.

What the files may hold is documented in `edgekit.digitising.reader`, which makes blades of them.
"""

from __future__ import annotations

import csv
import difflib
import enum
import io
import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path as FilePath
from typing import Any, TypeVar

from edgekit.checks import FloatArray, finite, unit_vector
from edgekit.errors import BadFile
from edgekit.files import file_path, read_file, there
from edgekit.record import Record

Check = Callable[[str, float], float]
Choice = TypeVar("Choice", bound=enum.Enum)
FORMAT = "edgekit blade 1"
MAX_BYTES = 5_000_000  # 20,000 points take two million
AXES = ("x_mm", "y_mm", "z_mm")
EXACT = ("face_x", "face_y", "face_z", "internal_angle_deg")


def line_fault(
    file: FilePath, line: int, what: str, item: object, remedy: str, column: str | None = None
) -> BadFile:
    """What is wrong in one line of a file."""
    return BadFile(
        f"{file.name}, line {line}{what}", item, remedy, file=file.name, line=line, column=column
    )


def file_text(file: FilePath) -> str:
    """The text of a file in UTF-8, its lines ended by line feeds."""
    try:
        raw = read_file(file, MAX_BYTES)
    except (OSError, ValueError) as error:
        raise BadFile(
            f"{file.name} cannot be read ({error})", str(file), "Check the path.", file=file.name
        ) from error
    if not raw.strip():
        raise BadFile(
            f"{file.name} is empty", len(raw), "Give a file with content.", file=file.name
        )
    remedy = "Save the file as UTF-8."
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, odd = raw[: error.start].count(b"\n") + 1, raw[error.start : error.start + 4]
        raise line_fault(file, line, ": not UTF-8 text", odd, remedy) from error
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise line_fault(file, line, ": holds a null character", "\0", remedy)
    return text.replace("\r\n", "\n").replace("\r", "\n")


# ---- settings ------------------------------------------------------------------------------


class Settings(Record):
    """The settings file as it is: its items, and the line each stands on."""

    file: FilePath
    items: Mapping[str, Any]
    lines: Mapping[str, int]

    def place(self, key: str) -> str:
        """The key with its file, and its line if it is there."""
        line = f", line {self.lines[key]}" if key in self.lines else ""
        return f"{self.file.name}{line}: {key}"

    def fault(self, key: str, problem: str, remedy: str) -> BadFile:
        """What is wrong with the value of a key."""
        return BadFile(
            f"{self.place(key)} {problem}",
            self.items.get(key),
            remedy,
            file=self.file.name,
            line=self.lines.get(key),
            column=key,
        )

    def only(self, known: Sequence[str]) -> None:
        """Refuse keys that are not known: they are misspelt."""
        for key in self.items:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                remedy = f"Did you mean {near[0]}?" if near else f"Use {', '.join(known)}."
                raise self.fault(key, "is an unknown key", remedy)

    def get(self, key: str, otherwise: object, example: str) -> Any:
        """The item, or what stands for it if it is not there."""
        item = self.items.get(key, otherwise)
        if item is None:
            raise self.fault(key, "is missing", f"Add a line such as {key} = {example}.")
        return item

    def text(self, key: str, allowed: Sequence[str] = (), otherwise: str | None = None) -> str:
        """A text, one of `allowed` if there are any; empty only if it need not be there."""
        item = self.get(key, otherwise, f'"{allowed[0] if allowed else "..."}"')
        empty = item == "" and otherwise is None
        if not isinstance(item, str) or empty or (allowed and item not in allowed):
            wanted = " or ".join(f'"{a}"' for a in allowed) if allowed else "some text"
            raise self.fault(key, f"must be {wanted}", "Correct that line.")
        return item

    def choice(self, key: str, kind: type[Choice], otherwise: Choice | None = None) -> Choice:
        """The member of an enum whose value the file gives."""
        values = [member.value for member in kind]
        return kind(self.text(key, values, None if otherwise is None else otherwise.value))

    def number(self, key: str, check: Check = finite, otherwise: float | None = None) -> float:
        """A number that passes a check; text that looks like one, true and false are refused."""
        item = self.get(key, otherwise, "1.0")
        if not _is_number(item):
            raise self.fault(key, "must be a number", "Write digits without quotation marks.")
        return check(self.place(key), item)

    def vector(self, key: str, otherwise: Sequence[float] | None = None) -> FloatArray:
        """A direction of three numbers, as a unit vector."""
        item = self.get(key, otherwise, "[0.0, 0.0, -1.0]")
        if not (isinstance(item, Sequence) and len(item) == 3 and all(map(_is_number, item))):
            remedy = f"Write it as {key} = [0.0, 0.0, 1.0]."
            raise self.fault(key, "must be three numbers in brackets", remedy)
        return unit_vector(self.place(key), item)


def _is_number(item: object) -> bool:
    return isinstance(item, int | float) and not isinstance(item, bool)


def read_settings(file: FilePath) -> Settings:
    """Read a settings file of this format; its items are not checked yet."""
    text = file_text(file)
    try:
        items = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # huge numbers, endless brackets
        where = re.search(r"line (\d+), column (\d+)", str(error))
        place = f", line {where[1]}, column {where[2]}" if where else ""
        raise BadFile(
            f"{file.name}{place}: not TOML",
            str(error),
            "Correct that line, or write a new file.",
            file=file.name,
            line=int(where[1]) if where else None,
        ) from error
    lines: dict[str, int] = {}
    for number, line in enumerate(text.split("\n"), 1):
        if name := re.match(r"""\s*\[?["']?([\w-]+)["']?\s*[]=]""", line):
            lines.setdefault(name[1], number)
    settings = Settings(file=file, items=items, lines=lines)
    settings.text("format", (FORMAT,))
    return settings


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
