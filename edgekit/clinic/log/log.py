"""Read the log of a clinic as it is: good rows, refused rows with the reason, and flagged histories.

Nothing is lost and nothing is put right behind the user's back. Every line of the source ends in
exactly one of four places: a row of `Log.rows`, a refused line, a blank line, the header.
"""

from __future__ import annotations

import html
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from edgekit.clinic.log.cells import is_total, read_count, read_event, read_minutes, read_width
from edgekit.clinic.log.columns import COLUMNS, REQUIRED, Header, find_header
from edgekit.clinic.log.dates import read_date
from edgekit.clinic.log.files import RawRows, Refusal, read_raw, shorten
from edgekit.clinic.log.flags import flag_histories
from edgekit.errors import EdgekitError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Log", "read_log"]

TEXT_COLUMNS = ("instrument", "pattern", "edge", "operator", "method", "note")

Reader = Callable[[str], tuple[Any, str, str]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Log:
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
        A row a refused cell: ``file, line, column, value, reason, suggestion``. The column is
        ``(line)`` when the whole line is at fault.
    rejected_lines : pandas.DataFrame
        A row a refused line, with its text: ``file, line, text``.
    flags : pandas.DataFrame
        What looks impossible but was left alone: ``file, line, instrument, edge, reason, detail``.
        Line 0 speaks of the whole file.
    blank_lines : int
        Lines without any text.
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

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>"


def read_log(
    source: str | os.PathLike[str] | pd.DataFrame,
    *,
    strict: bool = False,
    day_first: bool = False,
) -> Log:
    """Read a log of widths and sessions.

    One row an event. The columns instrument, date and event are needed; edge, pattern, width
    (``width_mm``, or ``width_um`` when the header says so), strokes, minutes, operator, method
    and note may follow in any order. Events are measured, used, sharpened, checked, retired and
    broken. An event without an edge speaks of every edge of its instrument.

    Parameters
    ----------
    source : path or pandas.DataFrame
        CSV (comma, semicolon or tab; decimal point or comma; UTF-8 with or without its mark,
        UTF-16 with its mark; failing these Windows-1252, and a flag says so), an Excel workbook
        if pandas has a reader for it, or a table.
    strict : bool
        Raise at the first refused row instead of listing it.
    day_first : bool
        Your word that every date is day first. Without it ``03/04/2025`` is refused, because it
        has two readings.

    Returns
    -------
    Log

    Raises
    ------
    EdgekitError
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
    raw = read_raw(source)
    header = find_header(raw)
    blank = _sort_lines(raw, header)
    frame, refusals = _columns(raw, header, day_first)
    bad = np.zeros(len(frame), dtype=bool)
    for positions, refusal_rows in refusals:
        bad[positions] = True
        raw.refused.extend(refusal_rows)
    for position in np.flatnonzero(bad):
        text = " | ".join(raw.cells[position])
        raw.refused_text.setdefault(raw.line[position], shorten(text, 10_000))
    rejected, lines = _refused(raw)
    if strict and len(rejected):
        first = rejected.iloc[0]
        raise EdgekitError(
            f"{first['reason']} ({first['file']}, line {first['line']}, {first['column']}; "
            f"{len(raw.refused_text)} lines refused in all)",
            first["value"],
            f"{first['suggestion'][:1].upper()}{first['suggestion'][1:]}.",
        )
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
    import pandas as pd

    cells = pd.DataFrame(
        [(raw.file, *refusal) for refusal in sorted(raw.refused)],
        columns=["file", "line", "column", "value", "reason", "suggestion"],
    )
    lines = pd.DataFrame(
        [(raw.file, line, text) for line, text in sorted(raw.refused_text.items())],
        columns=["file", "line", "text"],
    )
    return cells.astype({"line": int}), lines.astype({"line": int})


def _notes(raw: RawRows, header: Header) -> list[tuple[int, str, str]]:
    """What was done to the file as a whole, to be said among the flags."""
    notes = list(raw.notes)
    if header.micrometres:
        notes.append((raw.line[0] if raw.line else 0, "unit", "widths read in µm from the header"))
    if header.extra:
        names = ", ".join(header.extra)
        notes.append((0, "columns not known", f"kept as text: {shorten(names)}"))
    return notes


def _sort_lines(raw: RawRows, header: Header) -> int:
    """Leave in `raw` only rows of the header's size; refuse the others by name; count blanks."""
    cells, lines, blank = [], [], 0
    long_lines = set(raw.refused_text)
    title = [cell.strip() for cell in raw.cells[header.row]]
    for row, (line, record) in enumerate(zip(raw.line, raw.cells, strict=True)):
        reason = ""
        if row == header.row or line in long_lines:
            continue
        if not any(record) or not any(cell.strip() for cell in record):
            blank += 1
            continue
        if row < header.row:
            reason, suggestion = "above the header", "keep titles out of the log"
        elif len(record) > header.size and any(c.strip() for c in record[header.size :]):
            reason = f"{len(record)} cells under a header of {header.size}"
            suggestion = "quote cells that hold the separator, such as a decimal comma"
        elif [cell.strip() for cell in record] == title:
            reason, suggestion = "the header again", "remove the line"
        elif is_total(record[0]):
            reason, suggestion = "a line of totals", "keep totals out of the log"
        if reason:
            text = " | ".join(record)
            raw.refused.append(Refusal(line, "(line)", shorten(text), reason, suggestion))
            raw.refused_text[line] = shorten(text, 10_000)
            continue
        cells.append(_fit(record, header.size))
        lines.append(line)
    raw.cells[:], raw.line[:] = cells, lines
    return blank


def _fit(record: list[str], size: int) -> list[str]:
    """A row of the header's size: empty cells at its end are often left out or left over."""
    if len(record) == size:
        return record
    return record[:size] + [""] * (size - len(record))


def _columns(
    raw: RawRows, header: Header, day_first: bool
) -> tuple[pd.DataFrame, list[tuple[np.ndarray[Any, Any], list[Refusal]]]]:
    """All columns read, each distinct text once, with the refusals of each."""
    import pandas as pd

    by_position = list(zip(*raw.cells, strict=True)) if raw.cells else [()] * header.size
    readers: dict[str, Reader] = {
        "date": lambda text: read_date(text, day_first=day_first),
        "event": read_event,
        "width_mm": lambda text: read_width(text, micrometres=header.micrometres),
        "strokes": read_count,
        "minutes": read_minutes,
    }
    data: dict[str, Any] = {"line": np.asarray(raw.line, dtype=np.int64)}
    refusals = []
    for name in COLUMNS:
        if name in header.position:
            texts = by_position[header.position[name]]
            reader = readers.get(name) or (_code if name in REQUIRED else _text)
            data[name], bad = _read_column(name, texts, raw.line, reader)
            refusals.append(bad)
        else:
            data[name] = np.full(len(raw.line), np.nan if name in readers else "", dtype=object)
    for name, position in header.extra.items():
        label = name if name not in data else f"{name} (kept)"
        data[label] = np.asarray([cell.strip() for cell in by_position[position]], dtype=object)
    frame = pd.DataFrame(data)
    numeric = dict.fromkeys(("width_mm", "strokes", "minutes"), float)
    frame = frame.astype(numeric)
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[s]")
    text = [name for name in frame.columns if name not in {"line", "date", *numeric}]
    frame[text] = frame[text].astype("str")
    refusals.append(_missing_widths(frame, raw.line, header, [bad[0] for bad in refusals]))
    return frame, refusals


def _read_column(
    name: str, texts: tuple[str, ...], line: list[int], reader: Reader
) -> tuple[np.ndarray[Any, Any], tuple[np.ndarray[Any, Any], list[Refusal]]]:
    """Values of a column and (positions, refusals) of its bad cells."""
    import pandas as pd

    codes, uniques = pd.factorize(np.asarray(texts, dtype=object))
    read = [reader(text) for text in uniques]
    values = np.empty(len(read), dtype=object)
    values[:] = [item[0] for item in read]
    bad_unique = np.asarray([bool(item[1]) for item in read], dtype=bool)
    bad = np.flatnonzero(bad_unique[codes])
    refusals = [
        Refusal(line[at], name, shorten(texts[at]), read[codes[at]][1], read[codes[at]][2])
        for at in bad
    ]
    return values[codes], (bad, refusals)


def _code(text: str) -> tuple[str, str, str]:
    code = text.strip()
    if not code:
        return "", "no instrument", "write the instrument's code"
    if code[0] in "=@":
        return "", "a formula, not its result", "paste the value in its place"
    return code, "", ""


def _text(text: str) -> tuple[str, str, str]:
    return text.strip(), "", ""


def _missing_widths(
    frame: pd.DataFrame, line: list[int], header: Header, bad: list[np.ndarray[Any, Any]]
) -> tuple[np.ndarray[Any, Any], list[Refusal]]:
    """A measurement without a width says nothing; it is refused unless it already was."""
    already = np.zeros(len(frame), dtype=bool)
    for positions in bad:
        already[positions] = True
    missing = (frame["event"] == "measured") & frame["width_mm"].isna()
    at = np.flatnonzero(missing.to_numpy() & ~already)
    suggestion = "write the width" if "width_mm" in header.position else "add a column width_mm"
    return at, [Refusal(line[i], "width_mm", "", "measured, but no width", suggestion) for i in at]
