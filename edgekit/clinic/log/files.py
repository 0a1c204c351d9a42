"""Turn a file or a table into rows of text with line numbers; every line is kept and none judged.

Encodings: UTF-8 with or without its mark; UTF-16 with its mark; failing these, Windows-1252 is
read as a fallback, which the notes name. Everything else is a named error.
"""

import csv
import io
import os
import re
import zipfile
from dataclasses import dataclass, field
from itertools import islice
from typing import NamedTuple

import pandas as pd

from edgekit.errors import BadArgument, BadFile, EdgekitError
from edgekit.files import file_path, read_file

MAX_LINE = 100_000
"""Characters; a log line has some hundreds. Beyond this a line is refused unread."""

MAX_RECORD = 20
"""Lines one quoted note may span; a quote still open then is taken as a slip in its own line."""

MAX_SHOWN = 200
"""Characters of a cell that are repeated back to the user."""

MAX_UNPACKED = 32_000_000
"""Bytes of an unpacked workbook; 40,000 full lines of a log take about 20 million."""

MAX_COLUMNS = 256
"""Columns of a workbook's sheet; a log has a dozen."""

MAX_CELLS = 500_000
"""Cells and rows of a workbook's sheet: 40,000 full lines of a log."""

MAX_LINES = 500_000
"""Lines of a text or rows of a table: a log of 130 instruments has 7,000 a year."""

MAX_TEXT_CELLS = 5_000_000
"""Cells of a text."""

DELIMITERS = (";", "\t", ",")
_CELL_OR_ROW = re.compile(rb"<(?:\w+:)?(?:c|row)\b")  # elements of a worksheet (ISO/IEC 29500-1)


class Refusal(NamedTuple):
    """Why one cell, or one whole line, was not taken."""

    line: int
    column: str
    value: str
    reason: str
    suggestion: str


def first_refusal(rejected: pd.DataFrame, in_all: str) -> BadFile:
    """The first of some refusals as an error, which says how many there are ``in_all``."""
    first = rejected.iloc[0]
    remedy = str(first["suggestion"])
    return BadFile(
        f"{first['reason']} ({first['file']}, line {first['line']}, {first['column']}; {in_all})",
        first["value"],
        f"{remedy[:1].upper()}{remedy[1:]}.",
        file=str(first["file"]),
        line=int(first["line"]),
        column=str(first["column"]),
    )


@dataclass(kw_only=True)
class RawRows:
    """Rows of text as they stand in the source, with the line each began on; edited while read."""

    file: str
    cells: list[list[str]] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)
    refused_text: dict[int, str] = field(default_factory=dict)
    notes: list[tuple[int, str, str]] = field(default_factory=list)

    def add(self, line: int, cells: list[str]) -> None:
        """Add a row that began on a line."""
        self.line.append(line)
        self.cells.append(cells)

    def refuse(self, line: int, text: str, reason: str, suggestion: str) -> None:
        """Refuse a whole line."""
        self.refused.append(Refusal(line, "(line)", shorten(text), reason, suggestion))
        self.refused_text[line] = shorten(text, 10_000)


def shorten(text: str, length: int = MAX_SHOWN) -> str:
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
        path = file_path(source)
        try:
            data = read_file(path)
        except (OSError, ValueError) as error:
            raise BadFile(
                f"the log could not be opened ({getattr(error, 'strerror', error)})",
                str(path),
                "Check the path.",
                file=path.name,
            ) from error
        return _from_bytes(path.name, data)
    if isinstance(source, pd.DataFrame):
        return _from_frame(source)
    raise BadArgument(
        "a log is read from a path or a DataFrame",
        source,
        "Give one of the two.",
        argument="source",
    )


def _from_bytes(name: str, data: bytes) -> RawRows:
    """Tell an Excel file from text by its first bytes, not by its name."""
    if not data.strip():
        raise EdgekitError("the log is empty", name, "Give a file with a header and rows.")
    if data.startswith(b"PK\x03\x04"):
        return _from_workbook(name, data)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise EdgekitError(
            "this is a spreadsheet in the old binary format", name, "Save it as CSV or xlsx."
        )
    text, notes = _decode(name, data)
    if "\x00" in text:
        raise EdgekitError(
            "this is not a text file: it holds null characters", name, "Save the log as CSV."
        )
    return _from_text(name, text, notes)


def _decode(name: str, data: bytes) -> tuple[str, list[tuple[int, str, str]]]:
    """Text of the file, and a note wherever a fallback was taken."""
    marked = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = data.decode("utf-16" if marked else "utf-8-sig")
        return text, [(0, "encoding", "read as UTF-16, as its mark says")] if marked else []
    except UnicodeDecodeError as error:
        if marked:
            raise EdgekitError(
                "the file is marked UTF-16 but is not", name, "Save it again as UTF-8."
            ) from error
        line = data.count(b"\n", 0, error.start) + 1
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
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    size, cells = text.count("\n"), max(text.count(mark) for mark in DELIMITERS)
    if size > MAX_LINES or cells > MAX_TEXT_CELLS:
        what = f"the log has more than {MAX_LINES:,} lines or {MAX_TEXT_CELLS:,} cells"
        raise EdgekitError(what, name, "Give one log a year, or remove what is not a log.")
    lines = text.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    raw = RawRows(file=name, notes=notes)
    for number, line in enumerate(lines, start=1):
        if len(line) > MAX_LINE:
            raw.refuse(number, line, f"a line of {len(line)} characters", "Split the line.")
            lines[number - 1] = ""
    delimiter = _delimiter(lines)
    if '"' not in text:
        raw.cells = [line.split(delimiter) for line in lines]
        raw.line = list(range(1, len(lines) + 1))
    else:
        _quoted(raw, lines, delimiter)
    return raw


def _quoted(raw: RawRows, lines: list[str], delimiter: str) -> None:
    """Records that may hold quoted cells, some of them spanning lines."""
    at = 0
    while at < len(lines):
        size = _record_size(lines, at)
        if size:
            record = io.StringIO("\n".join(lines[at : at + size]), newline="")
            raw.add(at + 1, next(csv.reader(record, delimiter=delimiter), [""]))
        else:
            reason = "a quotation mark that is never closed"
            raw.refuse(at + 1, lines[at], reason, "Close or remove the mark.")
        at += max(size, 1)


def _record_size(lines: list[str], at: int) -> int:
    """Lines of the record that begins at `at`: until its quotation marks pair up; 0 if never."""
    marks = 0
    for size in range(1, min(MAX_RECORD, len(lines) - at) + 1):
        marks += lines[at + size - 1].count('"')
        if marks % 2 == 0:
            return size
    return 0


def _delimiter(lines: list[str]) -> str:
    """The mark that splits one of the first lines into the most cells that are words.

    Counted over cells that hold a letter, so that decimal commas do not vote.
    """

    heads = list(islice((line for line in lines if not line.lstrip('"').startswith("#")), 30))

    def words(mark: str) -> int:
        cells = [line.split(mark) for line in heads]
        counts = (sum(any(c.isalpha() for c in cell) for cell in row) for row in cells)
        return max(counts, default=0)

    return max(DELIMITERS, key=words)


def _from_workbook(name: str, data: bytes) -> RawRows:
    """First sheet of a workbook, row by row, so that a sheet beyond the bounds is never held."""
    try:
        import openpyxl  # type: ignore[import-untyped]  # optional; only workbooks need it
    except ImportError as error:
        raise EdgekitError(
            "a workbook needs the package openpyxl", name, "Install it, or save the log as CSV."
        ) from error
    raw = RawRows(file=name, notes=[(0, "sheet", "the first sheet was read")])
    try:
        _check_parts(name, data)
        sheet = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True).worksheets[
            0
        ]
        sheet.reset_dimensions()
        size = 0
        for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
            size += 1 + len(row)  # what is left out between rows and cells counts as well
            _check_size(name, len(row) <= MAX_COLUMNS, f"has {len(row)} columns in row {number}")
            _check_size(name, size <= MAX_CELLS, f"has more than {MAX_CELLS:,} cells")
            raw.add(number, [_cell_text(cell) for cell in row])
    except EdgekitError:
        raise
    except Exception as error:  # the reader raises many kinds for a damaged file
        raise EdgekitError(
            f"the workbook could not be read ({type(error).__name__})",
            name,
            "Open it in a spreadsheet program and save it as CSV.",
        ) from error
    while raw.cells and not any(raw.cells[-1]):
        raw.cells.pop()
        raw.line.pop()
    return raw


def _check_parts(name: str, data: bytes) -> None:
    """Refuse a workbook too large to unpack, or with too many cells to read, before either."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        unpacked = sum(part.file_size for part in archive.infolist())
        _check_size(name, unpacked <= MAX_UNPACKED, f"unpacks to {unpacked / 1e6:,.0f} MB")
        for part in archive.namelist():
            count = sum(1 for _ in _CELL_OR_ROW.finditer(archive.read(part)))
            _check_size(name, count <= MAX_CELLS, f"has {count:,} cells and rows in {part}")


def _check_size(name: str, fits: bool, size: str) -> None:
    if not fits:
        raise EdgekitError(
            f"the workbook {size}, more than a log takes",
            name,
            "Delete empty rows and columns that carry formats, or save the log's sheet as CSV.",
        )


def _from_frame(frame: pd.DataFrame) -> RawRows:
    """A DataFrame as text; its rows count from 1 and its header is line 0."""
    if len(frame) > MAX_LINES or frame.shape[1] > MAX_COLUMNS:
        what = f"the table has more than {MAX_LINES:,} rows or {MAX_COLUMNS} columns"
        raise EdgekitError(what, frame.shape, "Give one log a year.")
    columns = [_as_text(frame.iloc[:, at]) for at in range(frame.shape[1])]
    cells = [[str(name) for name in frame.columns], *map(list, zip(*columns, strict=True))]
    return RawRows(file="DataFrame", cells=cells, line=list(range(len(cells))))


def _as_text(column: pd.Series) -> list[str]:
    """Cells as a person would write them: ISO dates, shortest decimals, nothing for missing."""
    if str(column.dtype) in {"str", "string"}:
        return [str(cell) for cell in column.fillna("")]
    codes, uniques = pd.factorize(column, use_na_sentinel=True)
    words = [_cell_text(cell) for cell in uniques] + [""]
    return [words[code] for code in codes]


def _cell_text(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, float) and abs(cell) < 1e15 and cell == int(cell):
        return str(int(cell))
    if hasattr(cell, "isoformat"):
        return str(cell.isoformat()).replace("T", " ").removesuffix(" 00:00:00")
    return str(cell)
