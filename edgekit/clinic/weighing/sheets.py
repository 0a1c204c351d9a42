"""Read a table of weights or of strokes cell by cell: good rows, and refused cells with reasons."""

import difflib
import math
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import pandas as pd

from edgekit import checks
from edgekit.clinic.log.cells import read_count, read_number
from edgekit.clinic.log.files import RawRows, Refusal, read_raw, shorten
from edgekit.display import visible
from edgekit.errors import EdgekitError, reading
from edgekit.evidence_table import value
from edgekit.files import file_path

MG_PER_G = 1000.0
Reading = tuple[Any, str, str]
Reader = Callable[[str], Reading]
Source = str | os.PathLike[str] | pd.DataFrame


@dataclass(frozen=True, kw_only=True)
class Form:
    """What a table must have: a name for messages, and a reader for each column it knows."""

    what: str
    needed: tuple[str, ...]
    readers: Mapping[str, Reader]
    spellings: Mapping[str, str] = field(default_factory=dict)  # other names of columns


class FilledForm(NamedTuple):
    """A table as it was read.

    ``rows``: values by column, ``line`` besides; an empty cell is what its reader makes of "".
    ``texts``: the cells as they stand, alike. ``columns``: those of the form that the header has.
    """

    file: str
    rows: list[dict[str, Any]]
    texts: list[dict[str, str]]
    columns: tuple[str, ...]
    refused: list[Refusal]
    notes: list[tuple[int, str, str]]


def read_sheet(source: Source, form: Form) -> FilledForm:
    """Read a table; lines that begin with # are remarks, the first other line is the header.

    Raises
    ------
    EdgekitError
        The source cannot be read as a table, or its header lacks a column.
    """
    remedy = f"Give the path of the {form.what}, or a DataFrame."
    checks.instance("source", source, (str, os.PathLike, pd.DataFrame), remedy)
    name = "DataFrame" if isinstance(source, pd.DataFrame) else file_path(source).name
    with reading(name):
        try:
            raw = read_raw(source)
        except EdgekitError as error:  # it speaks of logs
            raise EdgekitError(
                re.sub(r"\b(the|a) log\b", f"the {form.what}", error.what),
                error.value,
                re.sub(r"\bone log a year\b|\bthe log's\b|\bthe log\b", "the table", error.remedy),
            ) from error
        at, header = _header(raw, form)
    sheet = FilledForm(
        raw.file, [], [], tuple(n for n in form.readers if n in header), raw.refused, []
    )
    sheet.notes.extend(raw.notes)
    extra = [name for name in header if name not in form.readers]
    if extra:
        sheet.notes.append((raw.line[at], "columns not known", shorten(", ".join(extra))))
    for line, cells in zip(raw.line[at + 1 :], raw.cells[at + 1 :], strict=True):
        if _counts(cells):
            _add(sheet, form, header, line, cells)
    return sheet


def _counts(cells: list[str]) -> bool:
    """Whether a line is neither empty nor a remark."""
    return any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#")


def _header(raw: RawRows, form: Form) -> tuple[int, dict[str, int]]:
    """Which row is the header, and the position of each column."""
    row = next((at for at, cells in enumerate(raw.cells) if _counts(cells)), None)
    if row is None:
        what = f"the {form.what} {raw.file} has no header"
        raise EdgekitError(what, raw.file, f"Name the columns {', '.join(form.readers)}.")
    cells = raw.cells[row]
    position: dict[str, int] = {}
    for at, cell in enumerate(cells):
        plain = re.sub(r"[\W_]+", "_", cell).strip("_").casefold()
        key = form.spellings.get(plain, plain if plain in form.readers else cell.strip())
        if key in position:
            raise EdgekitError(
                f"two columns for {key} in {raw.file}, line {raw.line[row]}",
                cell,
                "Keep one of them, or give the other a name of its own.",
            )
        if key:
            position[key] = at
    missing = [name for name in form.needed if name not in position]
    if missing:
        raise EdgekitError(
            f"line {raw.line[row]} of {raw.file} is not the header of a {form.what}; it lacks "
            f"{', '.join(missing)}",
            [cell[:40] for cell in cells[:12]],
            f"Name the columns {', '.join(form.readers)} in one line.",
        )
    return row, position


def _add(
    sheet: FilledForm, form: Form, header: dict[str, int], line: int, cells: list[str]
) -> None:
    """Add a row, or what is wrong with it."""
    size = max(header.values()) + 1
    if any(cell.strip() for cell in cells[size:]):
        reason = f"{len(cells)} cells under a header of {size}"
        remedy = "quote cells that hold the separator, such as a decimal comma"
        sheet.refused.append(Refusal(line, "(line)", shorten(" | ".join(cells)), reason, remedy))
        return
    cells = cells + [""] * (size - len(cells))
    texts = {name: visible(cells[header[name]]).strip() for name in sheet.columns}
    read = {name: form.readers[name](texts.get(name, "")) for name in form.readers}
    wrong = [name for name in sheet.columns if read[name][1]]
    sheet.refused.extend(Refusal(line, n, shorten(texts[n]), *read[n][1:]) for n in wrong)
    if not wrong:
        sheet.rows.append({name: item[0] for name, item in read.items()} | {"line": line})
        sheet.texts.append(texts)


def free(text: str) -> Reading:
    """Text as it stands."""
    return text, "", ""


def code(text: str) -> Reading:
    """An instrument's code.

    Examples
    --------
    >>> code("")[1]
    'no instrument'
    """
    if not text:
        return "", "no instrument", "write the instrument's code"
    if text[0] in "=@":
        return "", "a formula, not its result", "paste the value in its place"
    return text, "", ""


def number_of(what: str, low: int) -> Reader:
    """Reader of a whole number from `low` on, which may not be left out.

    Examples
    --------
    >>> number_of("bout", 1)("0")[1]
    'a bout of 0'
    """

    def read(text: str) -> Reading:
        count, reason, suggestion = read_count(text)
        if reason:
            return count, reason, suggestion
        if math.isnan(count):
            return count, f"no {what}", f"write a whole number of {low} or more"
        if count < low:
            return count, f"a {what} of {count:g}", f"write a whole number of {low} or more"
        return int(count), "", ""

    return read


def optional_count(text: str) -> Reading:
    """A whole number, or 0 where none is given."""
    count, reason, suggestion = read_count(text)
    return (0 if math.isnan(count) else int(count)), reason, suggestion


def word_of(what: str, words: tuple[str, ...], default: str = "") -> Reader:
    """Reader of one of some words; an empty cell is `default`, if there is one.

    Examples
    --------
    >>> word_of("state", ("before", "after"))("befor")
    ('', 'befor is no state', 'before?')
    """

    def read(text: str) -> Reading:
        plain = text.casefold()
        if plain in words or (not plain and default):
            return plain or default, "", ""
        near = difflib.get_close_matches(plain, words, n=1)
        reason = f"{shorten(text, 40)} is no {what}" if text else f"no {what}"
        return "", reason, f"{near[0]}?" if near else f"write {' or '.join(words)}"

    return read


def amount(unit: str, high: float) -> Reader:
    """Reader of an optional number above 0 and up to `high`; NaN where none is given."""

    def read(text: str) -> Reading:
        number, reason, suggestion = read_number(text)
        if not reason and not math.isnan(number) and not 0 < number <= high:
            wrong = f"{number:g} {unit} lies outside 0 to {high:g} {unit}"
            return math.nan, wrong, "check it, or leave the cell empty"
        return number, reason, suggestion

    return read


def mass(factor: float, *, needed: bool) -> Reader:
    """Reader of the mass of an instrument [mg], written in `factor` milligrams.

    Examples
    --------
    >>> mass(1.0, needed=True)("18.23456")[1:]
    ('a mass of 18.2346 mg lies outside 200 to 500000 mg', '18234.6 mg, if this was in grams?')
    """

    def read(text: str) -> Reading:
        number, reason, suggestion = read_number(text)
        if reason or math.isnan(number):
            if needed and not reason:
                return number, "no mass", "write what the balance showed"
            return number, reason, suggestion
        low, high = value("weighing_low_mg"), value("weighing_high_mg")
        milligrams = number * factor
        if low <= milligrams <= high:
            return milligrams, "", ""
        wrong = f"a mass of {milligrams:g} mg lies outside {low:g} to {high:g} mg"
        other, unit = (MG_PER_G, "grams") if factor == 1.0 else (1 / MG_PER_G, "milligrams")
        if low <= milligrams * other <= high:
            return math.nan, wrong, f"{milligrams * other:g} mg, if this was in {unit}?"
        return math.nan, wrong, "check the decimal mark, or weigh it again"

    return read
