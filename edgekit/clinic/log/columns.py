"""Which column of a log is which: the header, wherever it stands and however it is spelled."""

from __future__ import annotations

import re
from dataclasses import dataclass

from edgekit.clinic.log.files import RawRows
from edgekit.errors import EdgekitError

__all__ = ["COLUMNS", "REQUIRED", "Header", "find_header"]

COLUMNS = (
    "instrument",
    "pattern",
    "edge",
    "date",
    "event",
    "width_mm",
    "strokes",
    "minutes",
    "operator",
    "method",
    "note",
)
"""The columns of a log, in the order of `Log.rows`."""

REQUIRED = ("instrument", "date", "event")

_NAMES = {
    "instrument": "instrument",
    "instrument code": "instrument",
    "code": "instrument",
    "instrument id": "instrument",
    "pattern": "pattern",
    "edge": "edge",
    "side": "edge",
    "date": "date",
    "day": "date",
    "event": "event",
    "action": "event",
    "width": "width_mm",
    "width mm": "width_mm",
    "width in mm": "width_mm",
    "width um": "width_um",
    "width µm": "width_um",
    "width μm": "width_um",
    "strokes": "strokes",
    "minutes": "minutes",
    "min": "minutes",
    "time min": "minutes",
    "operator": "operator",
    "initials": "operator",
    "who": "operator",
    "by": "operator",
    "method": "method",
    "note": "note",
    "notes": "note",
    "remark": "note",
    "remarks": "note",
    "comment": "note",
    "comments": "note",
}

_INCHES = re.compile(r"^width (in|inch|inches|mil|mils|thou)$")
_SEARCHED_LINES = 30


@dataclass(frozen=True, kw_only=True)
class Header:
    """Where each known column stands.

    Attributes
    ----------
    row : int
        Position of the header among the rows.
    position : dict
        Column name of the log to its position.
    extra : dict
        Name of a column the log does not know, kept as text, to its position.
    micrometres : bool
        The widths are in micrometres, as the header says.
    """

    row: int
    position: dict[str, int]
    extra: dict[str, int]
    size: int
    micrometres: bool


def _plain(name: str) -> str:
    """Lower case, brackets and underscores as blanks."""
    return re.sub(r"[\s_()\[\]/.:]+", " ", name).strip().casefold()


def find_header(raw: RawRows) -> Header:
    """The first row that names an instrument, a date and an event; a named error otherwise.

    Raises
    ------
    EdgekitError
        No such row; a column named twice; widths in inches.
    """
    best: tuple[int, int] = (0, 0)
    for row, cells in enumerate(raw.cells[:_SEARCHED_LINES]):
        known = [_NAMES[_plain(cell)] for cell in cells if _plain(cell) in _NAMES]
        best = max(best, (len(set(known)), -row))
        if set(REQUIRED) <= set(known):
            return _header(raw, row)
    row = -best[1]
    found = {_NAMES.get(_plain(cell), "") for cell in raw.cells[row]} if raw.cells else set()
    missing = [name for name in REQUIRED if name not in found]
    raise EdgekitError(
        f"no header with the columns {', '.join(REQUIRED)} in {raw.file}; "
        f"line {raw.line[row] if raw.line else 0} comes nearest and lacks {', '.join(missing)}",
        [cell[:40] for cell in raw.cells[row][:12]] if raw.cells else [],
        f"Name the columns {', '.join(COLUMNS)} in one line.",
    )


def _header(raw: RawRows, row: int) -> Header:
    at: dict[str, int] = {}
    extra: dict[str, int] = {}
    for position, cell in enumerate(raw.cells[row]):
        plain = _plain(cell)
        if _INCHES.match(plain):
            raise EdgekitError(
                f"widths in inches in {raw.file}, line {raw.line[row]}",
                cell,
                "Convert them to millimetres (1 inch = 25.4 mm) and name the column width_mm.",
            )
        name = _NAMES.get(plain)
        name = "width_mm" if name == "width_um" else name
        target, key = (extra, cell.strip()) if name is None else (at, name)
        if not key and all(len(c) <= position or not c[position].strip() for c in raw.cells):
            continue
        key = key or f"column {position + 1}"
        if key in at or key in extra:
            raise EdgekitError(
                f"two columns for {key} in {raw.file}, line {raw.line[row]}",
                cell,
                "Keep one of them, or give the other a name of its own.",
            )
        target[key] = position
    plain_names = {_plain(cell) for cell in raw.cells[row]}
    micrometres = bool(plain_names & {"width um", "width µm", "width μm"})
    return Header(
        row=row, position=at, extra=extra, size=len(raw.cells[row]), micrometres=micrometres
    )
