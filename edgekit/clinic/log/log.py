"""Read the log of a clinic: good rows, refused rows with the reason, and flagged histories.

Nothing is lost and no value is silently corrected. Every line of the source ends in exactly one of
four places: a row of `Log.rows`, a refused line, a blank line, the header.
"""

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from edgekit import checks
from edgekit.clinic.log import cells
from edgekit.clinic.log.columns import COLUMNS, ENTRY, Header, find_header
from edgekit.clinic.log.dates import read_date
from edgekit.clinic.log.entry import fill_from_entries
from edgekit.clinic.log.files import RawRows, Refusal, first_refusal, read_raw, shorten
from edgekit.clinic.log.flags import flag_histories
from edgekit.display import hidden, visible
from edgekit.errors import reading
from edgekit.record import Record

__all__ = ["Log", "read_log"]

NUMBERS = ("width_mm", "strokes", "minutes")

Reader = Callable[[str], tuple[Any, str, str]]


class Log(Record):
    """A log as it was read.

    Attributes
    ----------
    file : str
        Name of the file, or ``"DataFrame"``.
    rows : pandas.DataFrame
        The good rows in the order of the source: ``line, instrument, pattern, edge, date, event,
        width_mm [mm], strokes, minutes [min], operator, method, note``, then the columns the log
        does not know, as text. An empty cell is ``""``, or NaN in the three numeric columns.
    rejected : pandas.DataFrame
        One row per refused cell: ``file, line, column, value, reason, suggestion``. The column is
        ``(line)`` when the whole line is at fault.
    rejected_lines : pandas.DataFrame
        One row per refused line, with its text: ``file, line, text``.
    flags : pandas.DataFrame
        What looks impossible but was left alone: ``file, line, instrument, edge, reason, detail``.
        Line 0 stands for the whole file.
    blank_lines : int
        Lines without any text, and remarks: lines above the header that begin with ``#``.
    """

    file: str
    rows: pd.DataFrame
    rejected: pd.DataFrame
    rejected_lines: pd.DataFrame
    flags: pd.DataFrame
    blank_lines: int

    def __repr__(self) -> str:
        return (
            f"Log({self.file!r}: {len(self.rows)} rows of "
            f"{self.rows['instrument'].nunique()} instruments, "
            f"{len(self.rejected_lines)} lines refused, {len(self.flags)} flags)"
        )


def read_log(
    source: str | os.PathLike[str] | pd.DataFrame,
    *,
    strict: bool = False,
    day_first: bool = False,
) -> Log:
    """Read a log of widths and sessions.

    One row per event. The columns instrument, date and event are needed; edge, pattern, width
    (``width_mm``, or ``width_um`` when the header says so), strokes, minutes, operator, method
    and note may follow in any order. A column ``sheet_entry`` takes what a setting sheet prints
    for an edge and behind it the width, twice: ``FH-03-AS1/used/4R4/0.842/0.842``. It stands for
    instrument, edge and width, and a letter typed wrong is refused. Events are measured, used,
    sharpened, checked, retired and broken. An event without an edge counts for every edge of its
    instrument.

    Parameters
    ----------
    source : path or pandas.DataFrame
        CSV (comma, semicolon or tab; decimal point or comma; UTF-8 with or without its mark,
        UTF-16 with its mark; failing these Windows-1252, and a flag says so), a workbook (xlsx,
        where openpyxl is installed), or a table.
    strict : bool
        Raise at the first refused row instead of listing it.
    day_first : bool
        Treat every date as day first. Without it ``03/04/2025`` is refused, because it has two
        readings.

    Returns
    -------
    Log

    Raises
    ------
    BadFile
        The file cannot be read as a table at all, or, with `strict`, a row is refused.

    Examples
    --------
    >>> import pandas as pd
    >>> log = read_log(pd.DataFrame({
    ...     "instrument": ["FH-01-UC", "FH-01-UC"], "date": ["2025-02-03", "03/04/2025"],
    ...     "event": ["measured", "measured"], "width": ["0,86", "0.84"]}))
    >>> log
    Log('DataFrame': 1 rows of 1 instruments, 1 lines refused, 0 flags)
    >>> log.rejected.loc[0, "reason"]
    'ambiguous date: 2025-04-03 (day first) or 2025-03-04 (month first)'
    """
    checks.flag("strict", strict)
    checks.flag("day_first", day_first)
    with reading(Path(source).name if isinstance(source, str | os.PathLike) else "DataFrame"):
        raw = read_raw(source)
        header = find_header(raw)
    blank = _sort_lines(raw, header)
    cells_read = list(raw.cells)
    header, bad = fill_from_entries(raw, header)
    frame = _columns(raw, header, day_first, bad)
    for row in np.flatnonzero(bad):
        raw.refused_text.setdefault(raw.line[row], shorten(" | ".join(cells_read[row]), 10_000))
    rejected, lines = _refused(raw)
    if strict and len(rejected):
        raise first_refusal(rejected, f"{len(raw.refused_text)} lines refused in all")
    rows = frame[~bad].reset_index(drop=True)
    return Log(
        file=raw.file,
        rows=rows,
        rejected=rejected,
        rejected_lines=lines,
        flags=flag_histories(raw.file, rows, _notes(raw, header)),
        blank_lines=blank,
    )


def _refused(raw: RawRows) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tables of refused cells and of refused lines, by line."""
    rejected = pd.DataFrame(sorted(raw.refused), columns=Refusal._fields)
    lines = pd.DataFrame(sorted(raw.refused_text.items()), columns=["line", "text"])
    for table in (rejected, lines):
        table.insert(0, "file", raw.file)
        table["line"] = table["line"].astype(int)
    return rejected, lines


def _notes(raw: RawRows, header: Header) -> list[tuple[int, str, str]]:
    """What was done to the file as a whole, as flags."""
    notes = list(raw.notes)
    if header.micrometres:
        notes.append((header.line, "unit", "widths read in µm from the header"))
    if header.extra:
        names = ", ".join(header.extra)
        notes.append((0, "columns not known", f"kept as text: {shorten(names)}"))
    return notes


def _sort_lines(raw: RawRows, header: Header) -> int:
    """Leave in `raw` only rows of the header's size; refuse the others by name; count blanks."""
    title = [cell.strip() for cell in raw.cells[header.row]]
    rows = list(enumerate(zip(raw.line, raw.cells, strict=True)))
    raw.line, raw.cells, blank = [], [], 0
    for row, (line, record) in rows:
        if row == header.row or line in raw.refused_text:
            continue
        remark = row < header.row and "".join(record[:1]).startswith("#")
        if remark or not any(cell.strip() for cell in record):
            blank += 1
        elif fault := _fault(record, header, title, above=row < header.row):
            raw.refuse(line, " | ".join(record), *fault)
        else:
            # empty cells at the end of a row are often left out or left over
            raw.add(line, (record + [""] * header.size)[: header.size])
    return blank


def _fault(
    record: list[str], header: Header, title: list[str], *, above: bool
) -> tuple[str, str] | None:
    """Why a whole line is refused, and what to do about it."""
    if above:
        return "above the header", "keep titles out of the log"
    if any(cell.strip() for cell in record[header.size :]):
        return (
            f"{len(record)} cells under a header of {header.size}",
            "quote cells that hold the separator, such as a decimal comma",
        )
    if [cell.strip() for cell in record] == title:
        return "the header again", "remove the line"
    return ("a line of totals", "keep totals out of the log") if cells.is_total(record[0]) else None


def _columns(raw: RawRows, header: Header, day_first: bool, bad: NDArray[np.bool_]) -> pd.DataFrame:
    """All columns read, each distinct text once; rows with a refused cell are marked in `bad`."""
    by_position = list(zip(*raw.cells, strict=True)) if raw.cells else [()] * header.size
    readers: dict[str, Reader] = {
        **dict.fromkeys(COLUMNS, lambda text: (text.strip(), "", "")),
        "instrument": _code,
        "date": lambda text: read_date(text, day_first=day_first),
        "event": cells.read_event,
        "width_mm": lambda text: cells.read_width(text, micrometres=header.micrometres),
        "strokes": cells.read_count,
        "minutes": cells.read_minutes,
    }
    data: dict[str, Any] = {"line": np.asarray(raw.line, dtype=np.int64)}
    for name in COLUMNS:
        if name in header.position:
            texts = by_position[header.position[name]]
            data[name] = _read_column(raw, name, texts, readers[name], bad)
        else:
            data[name] = np.full(len(bad), np.nan if name in NUMBERS else "", dtype=object)
    kept = {ENTRY: header.position[ENTRY]} if ENTRY in header.position else {}
    for name, position in (kept | header.extra).items():
        label = name if name not in data else f"{name} (kept)"
        data[label] = np.asarray([cell.strip() for cell in by_position[position]], dtype=object)
    frame = pd.DataFrame(data).astype(dict.fromkeys(NUMBERS, float))
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[s]")
    text = [name for name in frame.columns if name not in {"line", "date", *NUMBERS}]
    frame[text] = frame[text].astype("str")
    _refuse_missing_widths(raw, frame, header, bad)
    return frame


def _read_column(
    raw: RawRows, name: str, texts: tuple[str, ...], reader: Reader, bad: NDArray[np.bool_]
) -> NDArray[np.object_]:
    """Values of a column; its refused cells are added to `raw` and marked in `bad`."""
    codes, uniques = pd.factorize(np.asarray(texts, dtype=object))
    free = name == "note"  # kept as it is, line ends and all
    read = [reader(text if free else visible(text)) for text in uniques]
    for text in () if free else filter(hidden, uniques):
        line = raw.line[texts.index(text)]
        detail = f"{', '.join(sorted(set(hidden(text))))} taken out of {name}"
        raw.notes.append((line, "letters that cannot be seen", detail))
    values = np.empty(len(read), dtype=object)
    values[:] = [item[0] for item in read]
    refused = np.asarray([bool(item[1]) for item in read], dtype=bool)[codes]
    bad |= refused
    raw.refused += [
        Refusal(raw.line[at], name, shorten(texts[at]), *read[codes[at]][1:])
        for at in np.flatnonzero(refused)
    ]
    return values[codes]


def _code(text: str) -> tuple[str, str, str]:
    code = text.strip()
    if not code:
        return "", "no instrument", "write the instrument's code"
    if code[0] in "=@":
        return "", "a formula, not its result", "paste the value in its place"
    return code, "", ""


def _refuse_missing_widths(
    raw: RawRows, frame: pd.DataFrame, header: Header, bad: NDArray[np.bool_]
) -> None:
    """Refuse measurements without a width, which say nothing, unless they are refused already."""
    without = (frame["event"] == cells.Event.MEASURED) & frame["width_mm"].isna()
    missing = without.to_numpy() & ~bad
    bad |= missing
    suggestion = "write the width" if "width_mm" in header.position else "add a column width_mm"
    raw.refused += [
        Refusal(raw.line[at], "width_mm", "", "measured, but no width", suggestion)
        for at in np.flatnonzero(missing)
    ]
