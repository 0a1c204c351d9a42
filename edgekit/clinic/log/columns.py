"""Find the header of a log and which column is which, in the spellings that people use."""

import re
from dataclasses import dataclass

from edgekit.clinic.log.files import RawRows
from edgekit.errors import EdgekitError

_SPELLINGS = {
    "instrument": ("instrument", "instrument code", "instrument id", "code"),
    "pattern": ("pattern",),
    "edge": ("edge", "side"),
    "date": ("date", "day"),
    "event": ("event", "action"),
    "width_mm": ("width", "width mm", "width in mm"),
    "strokes": ("strokes",),
    "minutes": ("minutes", "min", "time min"),
    "operator": ("operator", "initials", "who", "by"),
    "method": ("method",),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
}
_NAMES = {spelling: name for name, spellings in _SPELLINGS.items() for spelling in spellings}
ENTRY = "sheet_entry"
"""The column with what a setting sheet has to be typed: it fills instrument, edge and width."""

_NAMES["sheet entry"] = ENTRY
_MICROMETRES = {"width um", "width μm"}  # both characters for micro fold to this one
_INCHES = re.compile(r"^width (in|inch|inches|mil|mils|thou)$")
_SEARCHED_LINES = 30

COLUMNS = tuple(_SPELLINGS)
"""The columns of a log, in the order of `Log.rows`."""

REQUIRED = ("instrument", "date", "event")


@dataclass(frozen=True, kw_only=True)
class Header:
    """Position of each column.

    Attributes
    ----------
    row, line : int
        Position of the header among the rows, and its line in the source.
    position : dict
        Column name of the log to its position.
    extra : dict
        Name of a column the log does not know, kept as text, to its position.
    size : int
        Cells in the header.
    micrometres : bool
        The widths are in micrometres, as the header says.
    """

    row: int
    line: int
    position: dict[str, int]
    extra: dict[str, int]
    size: int
    micrometres: bool


def _plain(name: str) -> str:
    """Lower case, brackets and underscores as blanks."""
    return re.sub(r"[\s_()\[\]/.:]+", " ", name).strip().casefold()


def _known(cell: str) -> str | None:
    plain = _plain(cell)
    return "width_mm" if plain in _MICROMETRES else _NAMES.get(plain)


def find_header(raw: RawRows) -> Header:
    """The first row that names an instrument, or has entries of a sheet, a date and an event.

    Raises
    ------
    EdgekitError
        No such row; a column named twice; widths in inches.
    """
    rows = [
        set() if "".join(cells[:1]).startswith("#") else {_known(cell) for cell in cells}
        for cells in raw.cells[:_SEARCHED_LINES]
    ]
    for row, names in enumerate(rows):
        if (names | ({"instrument"} if ENTRY in names else set())).issuperset(REQUIRED):
            return _header(raw, row)
    nearest = max(range(len(rows)), key=lambda row: len(rows[row] - {None}), default=None)
    missing = [name for name in REQUIRED if nearest is None or name not in rows[nearest]]
    raise EdgekitError(
        f"no header with the columns {', '.join(REQUIRED)} in {raw.file}; "
        f"line {0 if nearest is None else raw.line[nearest]} comes nearest and lacks "
        f"{', '.join(missing)}",
        [] if nearest is None else [cell[:40] for cell in raw.cells[nearest][:12]],
        f"Name the columns {', '.join(COLUMNS)} in one line.",
    )


def _header(raw: RawRows, row: int) -> Header:
    cells = raw.cells[row]
    position: dict[str, int] = {}
    extra: dict[str, int] = {}
    for at, cell in enumerate(cells):
        if _INCHES.match(_plain(cell)):
            raise EdgekitError(
                f"widths in inches in {raw.file}, line {raw.line[row]}",
                cell,
                "Convert them to millimetres (1 inch = 25.4 mm) and name the column width_mm.",
            )
        name = _known(cell)
        key = name or cell.strip()
        if not key and all(len(c) <= at or not c[at].strip() for c in raw.cells):
            continue
        key = key or f"column {at + 1}"
        if key in position or key in extra:
            raise EdgekitError(
                f"two columns for {key} in {raw.file}, line {raw.line[row]}",
                cell,
                "Keep one of them, or give the other a name of its own.",
            )
        (extra if name is None else position)[key] = at
    return Header(
        row=row,
        line=raw.line[row],
        position=position,
        extra=extra,
        size=len(cells),
        micrometres=any(_plain(cell) in _MICROMETRES for cell in cells),
    )
