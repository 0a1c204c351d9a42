"""Tables out to CSV and back without loss; the file proves it before it is let go.

Text cells stand in quotation marks, numbers and dates do not, so a reader can tell "12" the code
from 12 the count. Text that a spreadsheet would run as a formula (it begins with = + - @ or a
control character) gets an apostrophe in front, and so does text that begins with one; reading
takes exactly one away again. The first line is a remark with the number of rows, so that a table
that was cut is refused; a table from elsewhere needs none.
"""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from edgekit import checks
from edgekit.errors import EdgekitError, reading
from edgekit.files import file_path, read_file, write_file

__all__ = ["read_table", "rows", "write_table"]

GUARDED = ("=", "+", "-", "@", "\t", "\r", "'")
MAX_BYTES = 50_000_000
MAX_FORM_LINES = 100_000  # of a table that a person filled in
MAX_CELLS = 3_000_000  # they take 0.9 GB while they are read, at worst
MAX_COLUMNS = 1000
MISSING = "Part of it is missing: write it again."
_COUNT = re.compile(r'"?# (\d+) rows of (\d+) columns; written by edgekit"?[,;\t]*(\r?\n|$)')
_QUOTED = re.compile(r'"((?:[^"]|"")*)"')
_MARK = "\0"  # put before every text that stood in quotation marks, which `csv` takes away


_KINDS: tuple[tuple[re.Pattern[str], Callable[[list[str]], Any]], ...] = (
    (re.compile(r"True|False"), lambda words: [word == "True" for word in words]),
    (
        re.compile(r"(\d{4}-\d\d-\d\d([T ]\d\d:\d\d:\d\d(\.\d+)?)?)?"),
        lambda words: np.array([w.replace(" ", "T") or "NaT" for w in words], "datetime64[s]"),
    ),
    (re.compile(r"[+-]?\d{1,20}"), lambda words: [int(word) for word in words]),
    (re.compile(r"[^_]*"), lambda words: [float(word or "nan") for word in words]),
)
"""What the cells of a column without quotation marks may all be, and how they are read."""


def write_table(
    table: pd.DataFrame, path: str | os.PathLike[str], *, replace: bool = False
) -> None:
    """Write a table as CSV in UTF-8, after checking that it reads back the same.

    Parameters
    ----------
    table : pandas.DataFrame
        Columns of text, numbers, booleans or dates; its index is not written.
    path : path
    replace : bool
        Without it a file that exists is left alone.

    Raises
    ------
    EdgekitError
        The file exists or cannot be written, or the table would not come back the same.

    Examples
    --------
    >>> import pandas as pd, tempfile, pathlib
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "table.csv"
    >>> write_table(pd.DataFrame({"code": ["007", "=B2"], "width_mm": [0.1 + 0.2, 0.86]}), path)
    >>> read_table(path).to_dict("list")
    {'code': ['007', '=B2'], 'width_mm': [0.30000000000000004, 0.86]}
    """
    checks.instance("table", table, pd.DataFrame, "Give a DataFrame, such as a result's .table.")
    target = file_path(path)
    _check_size(target.name, *table.shape)
    columns = [_cells(table.iloc[:, at]) for at in range(table.shape[1])]
    lines = [
        f"# {len(table)} rows of {len(columns)} columns; written by edgekit",
        ",".join(_quoted(str(name)) for name in table.columns),
        *(",".join(row) for row in zip(*columns, strict=True)),
    ]
    text = "".join(f"{line}\r\n" for line in lines)
    back = _from_text(text, target.name)
    for at, name in enumerate(table.columns):
        if back.columns[at] != name or _cells(back.iloc[:, at]) != columns[at]:
            raise _lost(table.iloc[:, at])
    write_file(target, text, replace=replace)


def read_table(path: str | os.PathLike[str]) -> pd.DataFrame:
    """Read a table that `write_table` wrote, or any comma-separated table in UTF-8.

    Parameters
    ----------
    path : path

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    EdgekitError
        Not a file, not UTF-8, rows of different lengths, or fewer or more rows than its first
        line says.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "table.csv"
    >>> _ = path.write_text('code,width_mm\\n"007",0.86\\n')
    >>> read_table(path).to_dict("list")
    {'code': ['007'], 'width_mm': [0.86]}
    """
    source = file_path(path)
    with reading(source.name):
        return _from_text(_text_of(source), source.name)


def read_form(path: str | os.PathLike[str]) -> tuple[pd.DataFrame, list[int]]:
    """A table that a person filled in, and the line of each row; see `data_demo/templates`.

    Lines above the header that begin with ``#`` are remarks, empty lines are left out, and cells
    may be parted by semicolons or tabs, as some spreadsheets save them. Empty cells at the end of a
    row may be left out or left over.

    Raises
    ------
    EdgekitError
        As `read_table`.
    """
    source = file_path(path)
    text = _text_of(source)
    if _COUNT.match(text):  # written by `write_table`, whose count is checked
        frame = _from_text(text, source.name)
        return frame, list(range(3, 3 + len(frame)))
    if text.count("\n") > MAX_FORM_LINES:
        wrong = f"{source.name} has more lines than a person fills in"
        raise EdgekitError(wrong, text.count("\n"), f"Give at most {MAX_FORM_LINES:,} lines.")
    lines = text.split("\n")
    start = next((at for at, line in enumerate(lines) if _is_header(line)), 0)
    mark = max(",;\t", key=lines[start].count)
    table = [
        (start + line, row)
        for line, row in rows(_marked("\n".join(lines[start:])), source.name, mark)
        if any(map(_bare, row))
    ]
    if not table:
        raise EdgekitError(f"{source.name} is empty", "", "Give a file with a header and rows.")
    width = max((at + 1 for at, cell in enumerate(table[0][1]) if _bare(cell)), default=0)
    cut = [(line, (row + [""] * width)[:width]) for line, row in table if not any(row[width:])]
    if len(cut) < len(table):
        line, row = next(item for item in table if any(item[1][width:]))
        wrong = f"line {line} of {source.name} has more cells than the header"
        remedy = "Put cells that hold the separator in quotation marks."
        raise EdgekitError(wrong, len(row), remedy)
    return _framed([row for _, row in cut], source.name), [line for line, _ in cut[1:]]


def _is_header(line: str) -> bool:
    """Whether a line is neither empty nor a remark."""
    return not line.lstrip('"').startswith("#") and line.strip(',;\t" \r') != ""


def _text_of(source: Path) -> str:
    try:
        return read_file(source, MAX_BYTES).decode("utf-8-sig")
    except (OSError, ValueError) as error:
        raise EdgekitError(
            f"the table could not be read ({type(error).__name__})",
            str(source),
            "Check the path." if isinstance(error, OSError) else "Save it as CSV in UTF-8.",
        ) from error


def rows(
    text: str, name: str = "the table", delimiter: str = ","
) -> Iterator[tuple[int, list[str]]]:
    """Rows of cells of a CSV text, each with the line it begins on.

    Quotation marks are taken away, white space stays, an empty line is a row without cells.

    Raises
    ------
    EdgekitError
        A quotation mark that is not closed, or is followed by something else than a comma.

    Examples
    --------
    >>> list(rows('curve,x_mm\\n"left, used",0.5\\n'))
    [(1, ['curve', 'x_mm']), (2, ['left, used', '0.5'])]
    """
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=delimiter)
    line = 1
    try:
        for row in reader:
            yield line, row
            line = reader.line_num + 1
    except csv.Error as error:
        remedy = "Check its quotation marks, and that no cell has over 100,000 letters."
        raise EdgekitError(f"line {line} of {name} is not CSV", str(error), remedy) from error


def _quoted(text: str) -> str:
    guarded = "'" + text if text.startswith(GUARDED) else text
    return '"' + guarded.replace('"', '""') + '"'


def _cells(column: pd.Series) -> list[str]:
    """Cells of a column: shortest decimals that read back the same, ISO dates, quoted text."""
    kind = column.dtype.kind if isinstance(column.dtype, np.dtype) else "O"
    values = column.to_numpy()
    if kind in "iub":
        return [str(value) for value in values.tolist()]
    if kind == "f" and values.itemsize <= 8:
        return ["" if np.isnan(value) else repr(value) for value in values.tolist()]
    if kind == "M" and np.array_equal(seconds := values.astype("datetime64[s]"), values, True):
        words = np.datetime_as_string(seconds)
        return ["" if word == "NaT" else str(word).removesuffix("T00:00:00") for word in words]
    if kind == "O" and all(isinstance(value, str) for value in column):
        return [_quoted(value) for value in column]
    raise _lost(column)


def _lost(column: pd.Series) -> EdgekitError:
    return EdgekitError(
        f"column {column.name} would not come back from a file",
        str(column.dtype),
        "Give it a name in text and one kind of value: text, numbers, booleans or dates.",
    )


def _from_text(text: str, name: str) -> pd.DataFrame:
    return _framed(_marked_rows(text, name), name)


def _framed(table: list[list[str]], name: str) -> pd.DataFrame:
    """A table of a header and rows of its length."""
    header, *body = table
    columns = zip(*body, strict=True) if body else [()] * len(header)
    data = {_bare(cell): _typed(column) for cell, column in zip(header, columns, strict=True)}
    if len(data) != len(header):
        raise EdgekitError("two columns share a name", name, "Rename one.")
    return pd.DataFrame(data)


def _marked_rows(text: str, name: str) -> list[list[str]]:
    """Header and rows of one length, as many as the first line says if it says so."""
    stated = _COUNT.match(text)
    first = text[stated.end() if stated else 0 :].split("\n", 1)[0]
    _check_size(name, text.count("\n"), 1 + first.count(","))
    cut_in_first = "\n" not in text and text.lstrip('"').startswith("#")
    if cut_in_first or (stated and not text.endswith("\n")):
        raise EdgekitError(f"{name} ends in the middle of a line", text[-40:], MISSING)
    table = [(line, row or [""]) for line, row in rows(_marked(text), name)][1 if stated else 0 :]
    if not table:
        raise EdgekitError("the table is empty", name, "Give a file with a header.")
    width = len(table[0][1])
    for line, row in table:
        if len(row) != width:
            wrong = f"line {line} of {name} has not the {width} cells of the header"
            raise EdgekitError(wrong, len(row), "Correct the line.")
        if any('"' in cell and not cell.startswith(_MARK) for cell in row):
            wrong = f"line {line} of {name} has a quotation mark in the middle of a cell"
            raise EdgekitError(wrong, [_bare(cell) for cell in row], "Check its quotation marks.")
    size = len(table) - 1, width
    if stated and (int(stated[1]), int(stated[2])) != size:
        wrong = f"must have {stated[1]} rows of {stated[2]} columns, as its first line says"
        remedy = f"{MISSING} If you changed it, remove its first line."
        raise EdgekitError(f"{name} {wrong}", size, remedy)
    return [row for _, row in table]


def _marked(text: str) -> str:
    """The text with a mark before every cell in quotation marks."""
    return _QUOTED.sub(lambda cell: f'"{_MARK}{cell[1]}"', text)


def _check_size(name: str, lines: int, columns: int) -> None:
    """Refuse what would take more than a gigabyte, before it does."""
    if columns > MAX_COLUMNS or lines * columns > MAX_CELLS:
        raise EdgekitError(
            f"{name} has more than {MAX_COLUMNS:,} columns or {MAX_CELLS:,} cells",
            (lines, columns),
            "Divide it into several tables, or write a summary.",
        )


def _bare(cell: str) -> str:
    return cell[1:].removeprefix("'") if cell.startswith(_MARK) else cell


def _typed(column: Sequence[str]) -> pd.Series:
    """A column as what all its cells are, or as text where one stood in quotation marks."""
    words = [_bare(cell) for cell in column]
    plain = words and not any(cell.startswith(_MARK) for cell in column)
    for pattern, convert in _KINDS[0 if any(words) else -1 :] if plain else ():
        if all(pattern.fullmatch(word) for word in words):
            with suppress(ValueError):
                series = pd.Series(convert(words))
                if series.dtype != object:  # as whole numbers beyond 64 bits are
                    return series
    return pd.Series(words, dtype="str")
