"""From a file or a table to rows of text with line numbers; nothing is judged and nothing dropped.

Encodings: UTF-8 with or without its mark; UTF-16 with its mark and, failing both, Windows-1252
are read as a stated fallback, named in the notes. Everything else is a named error.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["LogSource", "RawRows", "Refusal", "read_raw", "shorten"]

LogSource = "str | os.PathLike[str] | pd.DataFrame"

MAX_LINE = 100_000
"""Characters; a log line has some hundreds. Beyond this a line is refused unread."""

MAX_RECORD = 20
"""Lines one quoted note may span; a quote still open then is taken as a slip in its own line."""

SHOWN = 200
"""Characters of a cell that are repeated back to the user."""

DELIMITERS = (";", "\t", ",")


class Refusal(NamedTuple):
    """Why one cell, or one whole line, was not taken."""

    line: int
    column: str
    value: str
    reason: str
    suggestion: str


@dataclass(frozen=True, kw_only=True, eq=False)
class RawRows:
    """Rows of text as they stand in the source, with the line each began on."""

    file: str
    cells: list[list[str]]
    line: list[int]
    refused: list[Refusal] = field(default_factory=list)
    refused_text: dict[int, str] = field(default_factory=dict)
    notes: list[tuple[int, str, str]] = field(default_factory=list)


def shorten(text: str, length: int = SHOWN) -> str:
    """`text`, or its beginning and its length when it is too long to repeat.

    Examples
    --------
    >>> shorten("x" * 1000, 4)
    'xxxx… (1000 characters)'
    """
    return text if len(text) <= length else f"{text[:length]}… ({len(text)} characters)"


def read_raw(source: str | os.PathLike[str] | pd.DataFrame) -> RawRows:
    """Rows of text of a CSV file, an Excel sheet or a DataFrame; the first row is not special."""
    if isinstance(source, str | os.PathLike):
        path = Path(source)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise EdgekitError(
                f"the log could not be opened ({error.strerror})", str(path), "Check the path."
            ) from error
        return _from_bytes(path, data)
    if hasattr(source, "columns") and hasattr(source, "iloc"):
        return _from_frame(source)
    raise EdgekitError("a log is read from a path or a DataFrame", source, "Give one of the two.")


def _from_bytes(path: Path, data: bytes) -> RawRows:
    """Tell an Excel file from text by its first bytes, not by its name."""
    if not data.strip():
        raise EdgekitError("the log is empty", path.name, "Give a file with a header and rows.")
    if data.startswith(b"PK\x03\x04"):
        return _from_excel(path)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise EdgekitError(
            "this is a spreadsheet in the old binary format", path.name, "Save it as CSV or xlsx."
        )
    text, notes = _decode(path.name, data)
    if "\x00" in text:
        raise EdgekitError(
            "this is not a text file: it holds null characters", path.name, "Save the log as CSV."
        )
    return _from_text(path.name, text, notes)


def _decode(name: str, data: bytes) -> tuple[str, list[tuple[int, str, str]]]:
    """Text of the file, and a note wherever a fallback was taken."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16"), [(0, "encoding", "read as UTF-16, as its mark says")]
        except UnicodeDecodeError as error:
            raise EdgekitError(
                "the file is marked UTF-16 but is not", name, "Save it again as UTF-8."
            ) from error
    try:
        return data.decode("utf-8-sig"), []
    except UnicodeDecodeError as first:
        line = data.count(b"\n", 0, first.start) + 1
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError as error:
            raise EdgekitError(
                f"the encoding is neither UTF-8 (line {line}) nor Windows-1252",
                name,
                "Save the log as CSV in UTF-8.",
            ) from error
        note = "not UTF-8; read as Windows-1252: check the accented letters, or save as UTF-8"
        return text, [(line, "encoding", note)]


def _from_text(name: str, text: str, notes: list[tuple[int, str, str]]) -> RawRows:
    """Split text into lines, lines into records, records into cells."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if lines and not lines[-1]:
        lines.pop()
    raw = RawRows(file=name, cells=[], line=[], notes=notes)
    for number, line in enumerate(lines, start=1):
        if len(line) > MAX_LINE:
            _refuse_line(raw, number, line, f"a line of {len(line)} characters", "Split the line.")
            lines[number - 1] = ""
    delimiter = _delimiter(lines)
    if '"' not in text:
        raw.cells.extend(line.split(delimiter) for line in lines)
        raw.line.extend(range(1, len(lines) + 1))
    else:
        _quoted(raw, lines, delimiter)
    return raw


def _quoted(raw: RawRows, lines: list[str], delimiter: str) -> None:
    """Records that may hold quoted cells, some of them spanning lines."""
    at = 0
    while at < len(lines):
        size = _record_size(lines, at)
        if size == 0:
            _refuse_line(
                raw,
                at + 1,
                lines[at],
                "a quotation mark that is never closed",
                "Close or remove the mark.",
            )
            size = 1
        else:
            record = [line + "\n" for line in lines[at : at + size - 1]] + [lines[at + size - 1]]
            raw.cells.append(next(csv.reader(record, delimiter=delimiter), [""]))
            raw.line.append(at + 1)
        at += size


def _record_size(lines: list[str], at: int) -> int:
    """Lines of the record that begins at `at`: until its quotation marks pair up; 0 if never."""
    marks = 0
    for size in range(1, min(MAX_RECORD, len(lines) - at) + 1):
        marks += lines[at + size - 1].count('"')
        if marks % 2 == 0:
            return size
    return 0


def _refuse_line(raw: RawRows, number: int, text: str, reason: str, suggestion: str) -> None:
    raw.refused.append(Refusal(number, "(line)", shorten(text), reason, suggestion))
    raw.refused_text[number] = shorten(text, 10_000)


def _delimiter(lines: list[str]) -> str:
    """The mark that splits one of the first lines into the most cells that are words.

    Counted over cells that hold a letter, so that decimal commas do not vote.
    """

    def words(mark: str) -> int:
        return max(
            (
                sum(any(c.isalpha() for c in cell) for cell in line.split(mark))
                for line in lines[:30]
            ),
            default=0,
        )

    return max(DELIMITERS, key=words)


def _from_excel(path: Path) -> RawRows:
    """First sheet of a workbook, through pandas and whichever reader it finds."""
    import pandas as pd

    try:
        sheet = pd.read_excel(path, header=None, dtype=object)
    except ImportError as error:
        raise EdgekitError(
            "pandas has no reader for this workbook", path.name, "Install one or save as CSV."
        ) from error
    except Exception as error:  # the readers raise many kinds for a damaged file
        raise EdgekitError(
            f"the workbook could not be read ({type(error).__name__})",
            path.name,
            "Open it in a spreadsheet program and save it as CSV.",
        ) from error
    columns = [_as_text(sheet.iloc[:, at]) for at in range(sheet.shape[1])]
    cells = [list(row) for row in zip(*columns, strict=True)]
    notes = [(0, "sheet", "the first sheet was read")]
    return RawRows(file=path.name, cells=cells, line=list(range(1, len(cells) + 1)), notes=notes)


def _from_frame(frame: pd.DataFrame) -> RawRows:
    """A DataFrame as text; its rows count from 1 and its header is line 0."""
    header = [str(name) for name in frame.columns]
    columns = [_as_text(frame.iloc[:, at]) for at in range(frame.shape[1])]
    cells = [header, *(list(row) for row in zip(*columns, strict=True))]
    return RawRows(file="DataFrame", cells=cells, line=list(range(len(cells))))


def _as_text(column: pd.Series) -> list[str]:
    """Cells as a person would write them: ISO dates, shortest decimals, nothing for missing."""
    import pandas as pd

    if str(column.dtype) in {"str", "string"}:
        return [str(cell) for cell in column.fillna("")]
    codes, uniques = pd.factorize(column, use_na_sentinel=True)
    words = [_cell_text(cell) for cell in uniques] + [""]
    return [words[code] for code in codes]


def _cell_text(cell: object) -> str:
    import pandas as pd

    if isinstance(cell, float) and abs(cell) < 1e15 and cell == int(cell):
        return str(int(cell))
    if isinstance(cell, pd.Timestamp):
        return cell.isoformat(sep=" ").removesuffix(" 00:00:00")
    if hasattr(cell, "isoformat"):
        return str(cell.isoformat()).replace("T", " ").removesuffix(" 00:00:00")
    return str(cell)
