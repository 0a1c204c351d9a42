"""Read dates, ISO or day first; a date with two readings is refused and both are named."""

import datetime as dt
import re

from edgekit.evidence_table import value

_ISO = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ](\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?)?$")
_PARTS = re.compile(r"^(\d{1,2})([./-])(\d{1,2})\2(\d{4})$")
_SHORT = re.compile(r"^(\d{1,2})([./-])(\d{1,2})\2(\d{2})$")
_YEAR_FIRST = re.compile(r"^(\d{4})([./])(\d{1,2})\2(\d{1,2})$")
_SERIAL = re.compile(r"^\d{4,6}(\.\d+)?$")
_SERIAL_ZERO = dt.datetime(1899, 12, 30)  # day 0 of spreadsheet serial dates after February 1900
_WRITE_ISO = "write the date as YYYY-MM-DD"
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMED = re.compile(r"^(\d{1,2})[ .-]*([A-Za-z]{3})[A-Za-z]*[ .,-]*(\d{4})$")

Reading = tuple[dt.datetime | None, str, str]
_NO_SUCH_DAY: Reading = (None, "no such day in the calendar", _WRITE_ISO)


def _day(year: int, month: int, day: int) -> dt.datetime | None:
    try:
        return dt.datetime(year, month, day)
    except ValueError:
        return None


def read_date(text: str, *, day_first: bool = False) -> Reading:
    """Read one date.

    Parameters
    ----------
    text : str
        ISO (``2025-04-03``, a time of day may follow) or day first (``25/12/2024``; ``.`` and
        ``-`` are read as well).
    day_first : bool
        Treat every date of the file as day first; then none is ambiguous.

    Returns
    -------
    tuple
        (date, reason, suggestion); a date comes with an empty reason, a refusal with None.

    Examples
    --------
    >>> read_date("25/12/2024")[0].date().isoformat()
    '2024-12-25'
    >>> read_date("03/04/2025")[1]
    'ambiguous date: 2025-04-03 (day first) or 2025-03-04 (month first)'
    """
    text = text.strip()
    if not text:
        return None, "no date", _WRITE_ISO
    if iso := _ISO.match(text):
        year, month, day, hour, minute, second = (int(part or 0) for part in iso.groups())
        try:
            return _plausible(dt.datetime(year, month, day, hour, minute, second), text)
        except ValueError:
            return _NO_SUCH_DAY
    if parts := _PARTS.match(text):
        return _day_first(text, int(parts[1]), int(parts[3]), int(parts[4]), day_first)
    return _other(text)


def _day_first(text: str, first: int, second: int, year: int, settled: bool) -> Reading:
    by_day, by_month = _day(year, second, first), _day(year, first, second)
    if by_day is None:
        return (None, "month first", f"{by_month:%Y-%m-%d}?") if by_month else _NO_SUCH_DAY
    if settled or by_month is None or by_day == by_month:
        return _plausible(by_day, text)
    readings = f"{by_day:%Y-%m-%d} (day first) or {by_month:%Y-%m-%d} (month first)"
    remedy = f"{_WRITE_ISO}, or read the file with day_first=True"
    return None, f"ambiguous date: {readings}", remedy


def _plausible(date: dt.datetime, text: str) -> Reading:
    low, high = int(value("log_first_year")), int(value("log_last_year"))
    if low <= date.year <= high:
        return date, "", ""
    suggestion = _WRITE_ISO
    serial = (date - _SERIAL_ZERO).days
    if low <= serial <= high:
        suggestion = f"was the year {serial} typed into a date cell?"
    return None, f"the year lies outside {low} to {high} ({text})", suggestion


def _other(text: str) -> Reading:
    """Dates that are understood well enough to suggest a reading, not to accept one."""
    if _SERIAL.match(text):
        day = _SERIAL_ZERO + dt.timedelta(days=float(text))
        if value("log_first_year") <= day.year <= value("log_last_year"):
            return None, "a spreadsheet serial number, not a date", f"{day:%Y-%m-%d}?"
        return None, "a number, not a date", _WRITE_ISO
    if _SHORT.match(text):
        return None, "a year of two digits", f"{_WRITE_ISO} with all four digits of the year"
    if parts := _YEAR_FIRST.match(text):
        date = _day(int(parts[1]), int(parts[3]), int(parts[4]))
        return None, "not ISO", f"{date:%Y-%m-%d}?" if date else _WRITE_ISO
    parts = _NAMED.match(text)
    if parts and parts[2].casefold() in _MONTHS:
        date = _day(int(parts[3]), _MONTHS.index(parts[2].casefold()) + 1, int(parts[1]))
        if date is not None:
            return None, "the month is a word", f"{date:%Y-%m-%d}?"
    return None, "not a date", _WRITE_ISO
