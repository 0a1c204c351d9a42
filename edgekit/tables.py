"""Tables out to CSV and back without loss; the file proves it before it is let go.

Text cells stand in quotation marks, numbers and dates do not, so a reader can tell "12" the code
from 12 the count. Text that a spreadsheet would run as a formula (it begins with = + - @ or a
control character) gets an apostrophe in front, and so does text that begins with one; reading
takes exactly one away again. The first line is a remark with the number of rows, so that a table
that was cut is refused; a table from elsewhere needs none.
"""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING, Any

import numpy as np

from edgekit.errors import EdgekitError
from edgekit.files import file_path, write_file

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["read_table", "write_table"]

_GUARDED = ("=", "+", "-", "@", "\t", "\r", "'")
_CELL = re.compile(r'"((?:[^"]|"")*)"(,|\r\n|\n|$)|([^,"\r\n]*)(,|\r\n|\n|$)')
_DATE = re.compile(r"\d{4}-\d\d-\d\d([T ]\d\d:\d\d:\d\d(\.\d+)?)?")
_COUNT = re.compile(r'"?# (\d+) rows of (\d+) columns; written by edgekit"?[,;\t]*(\r?\n|$)')
_CUT_COUNT = re.compile(r'"?#( (\d[^\n]*)?)?')
_WHOLE = re.compile(r"[+-]?\d{1,20}")
_WORDS = {"True": True, "False": False}


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
    target = file_path(path)
    text = _to_text(table)
    lost = _lost(table, _from_text(text, target.name))
    if lost is not None:
        raise EdgekitError(
            f"column {table.columns[lost]} would not come back from {target.name}",
            str(table.dtypes.iloc[lost]),
            "Give it one kind of value: text, numbers, booleans or dates.",
        )
    write_file(target, text, replace=replace)


def read_table(path: str | os.PathLike[str]) -> pd.DataFrame:
    """Read a table that `write_table` wrote, or any comma-separated table in UTF-8.

    Raises
    ------
    EdgekitError
        Not a file, not UTF-8, rows of different lengths, or fewer or more rows than its first
        line says.
    """
    source = file_path(path)
    try:
        text = source.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise EdgekitError(
            f"the table could not be read ({type(error).__name__})",
            str(source),
            "Give a CSV file in UTF-8.",
        ) from error
    return _from_text(text, source.name)


def _to_text(table: pd.DataFrame) -> str:
    columns = [_cells(table.iloc[:, at]) for at in range(table.shape[1])]
    lines = [f"# {len(table)} rows of {table.shape[1]} columns; written by edgekit"]
    lines += [",".join(_quoted(str(name)) for name in table.columns)]
    lines += [",".join(row) for row in zip(*columns, strict=True)]
    return "\r\n".join(lines) + "\r\n"


def _quoted(text: str) -> str:
    guarded = "'" + text if text.startswith(_GUARDED) else text
    return '"' + guarded.replace('"', '""') + '"'


def _cells(column: pd.Series) -> list[str]:
    """Cells of a column: shortest decimals that read back the same, ISO dates, quoted text."""
    kind = column.dtype.kind if isinstance(column.dtype, np.dtype) else "O"
    if kind == "M":
        words = np.datetime_as_string(column.to_numpy().astype("datetime64[s]"))
        return ["" if word == "NaT" else str(word).removesuffix("T00:00:00") for word in words]
    if kind == "f":
        return ["" if np.isnan(x) else repr(float(x)) for x in column.to_numpy()]
    if kind in "iub":
        return [str(x) for x in column.to_numpy().tolist()]
    return [_quoted(str(x)) for x in column]


def _from_text(text: str, name: str) -> pd.DataFrame:
    import pandas as pd

    header, *body = _rows(text, name)
    ragged = [at for at, row in enumerate(body, start=2) if len(row) != len(header)]
    if ragged:
        raise EdgekitError(
            f"row {ragged[0]} of {name} has not the {len(header)} cells of the header",
            len(body[ragged[0] - 2]),
            "Correct the row.",
        )
    columns = list(zip(*body, strict=True)) if body else [()] * len(header)
    data = {cell[0]: _typed(column) for cell, column in zip(header, columns, strict=True)}
    if len(data) != len(header):
        raise EdgekitError("two columns share a name", name, "Rename one.")
    return pd.DataFrame(data)


def _rows(text: str, name: str) -> list[list[tuple[str, bool]]]:
    """Header and rows, as many as the first line says if it says so."""
    stated = _COUNT.match(text)
    cut_in_stated = stated is not None and not text.endswith("\n")
    if cut_in_stated or (stated is None and _CUT_COUNT.fullmatch(text)):
        remedy = "Part of it is missing: write it again."
        raise EdgekitError(f"{name} ends in the middle of a line", text[-40:], remedy)
    rows = _parse(text[stated.end() :] if stated else text, name)
    if not rows:
        raise EdgekitError("the table is empty", name, "Give a file with a header.")
    size = len(rows) - 1, len(rows[0])
    if stated and (int(stated[1]), int(stated[2])) != size:
        raise EdgekitError(
            f"{name} must have {stated[1]} rows of {stated[2]} columns, as its first line says",
            size,
            "Part of it is missing: write it again. If you changed it, remove its first line.",
        )
    return rows


def _parse(text: str, name: str) -> list[list[tuple[str, bool]]]:
    """Rows of (text, was quoted)."""
    rows: list[list[tuple[str, bool]]] = []
    row: list[tuple[str, bool]] = []
    at = 0
    while at < len(text):
        found = _CELL.match(text, at)
        if found is None:
            raise EdgekitError(
                f"row {len(rows) + 1} of {name} is not CSV", text[at : at + 40], "Check its quotes."
            )
        inner, end = found[1], found[2] if found[1] is not None else found[4]
        if inner is not None:
            cell = inner.replace('""', '"')
            row.append((cell.removeprefix("'"), True))
        else:
            row.append((found[3], False))
        at = found.end()
        if end != ",":
            rows.append(row)
            row = []
    if row:
        rows.append([*row, ("", False)])
    return rows


def _typed(column: tuple[tuple[str, bool], ...]) -> Any:
    """A column as what all its unquoted cells are: whole numbers, numbers, booleans, dates, text."""
    import pandas as pd

    words = [cell for cell, _ in column]
    full = [cell for cell in words if cell]
    text = pd.Series(words, dtype="str")
    if not column or any(quoted for _, quoted in column):
        return text
    if full and all(cell in _WORDS for cell in words):
        return pd.Series([_WORDS[cell] for cell in words])
    if full and all(_DATE.fullmatch(cell) for cell in full):
        return pd.Series(
            np.asarray([cell.replace(" ", "T") or "NaT" for cell in words], dtype="datetime64[s]")
        )
    if full and all(_WHOLE.fullmatch(cell) for cell in words):
        whole = [int(cell) for cell in words]
        for kind in (np.int64, np.uint64):
            if np.iinfo(kind).min <= min(whole) and max(whole) <= np.iinfo(kind).max:
                return pd.Series(whole, dtype=kind)
    try:
        return pd.Series([float(cell) if cell else float("nan") for cell in words])
    except ValueError:
        return text


def _lost(table: pd.DataFrame, back: pd.DataFrame) -> int | None:
    """The first column that came back with another name or other values."""
    for at, name in enumerate(table.columns):
        if back.columns[at] != name:
            return at
        if not table.empty and not _same(table.iloc[:, at], back.iloc[:, at]):
            return at
    return None


def _same(given: pd.Series, read: pd.Series) -> bool:
    kind = given.dtype.kind if isinstance(given.dtype, np.dtype) else "O"
    if kind in "iub":  # not as arrays, where whole numbers of two kinds meet as floats
        return given.tolist() == read.tolist()
    if kind == "f":
        return read.dtype.kind in "fiub" and np.array_equal(
            given.to_numpy(), read.to_numpy(), equal_nan=True
        )
    if kind == "M":
        if given.isna().all():
            return True
        values, back = given.to_numpy(), read.to_numpy()
        return back.dtype.kind == "M" and np.array_equal(
            values, back.astype(values.dtype), equal_nan=True
        )
    return all(isinstance(x, str) for x in given) and list(given) == list(read)
