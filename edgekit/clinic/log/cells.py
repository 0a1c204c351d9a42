"""Read one cell of a log: a number, an event or a code, with a suggestion where it is refused."""

import difflib
import enum
import math
import re
from unicodedata import normalize

from edgekit.evidence_table import value

_NUMBER = re.compile(r"^[+-]?(\d+([.,]\d*)?|[.,]\d+)$")
_GROUPED = re.compile(r"^[+-]?\d{1,3}([.,' ]\d{3})+([.,]\d+)?$")
_WITH_UNIT = re.compile(
    r"^([+-]?\d*[.,]?\d+)\s*(mm|µm|μm|um|in|inch|inches|\"|″)\.?$", re.IGNORECASE
)
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})$")
# Cyrillic and Greek letters that are drawn like Latin ones.
_ALIKE = "АВЕКМНОРСТУХІаеорсухіΑΒΕΖΗΙΚΜΝΟΡΤΥΧο", "ABEKMHOPCTYXIaeopcyxiABEZHIKMNOPTYXo"
_LATIN = str.maketrans(*_ALIKE)
_TOTALS = {"total", "totals", "sum", "mean", "average", "subtotal", "count"}
_MM_PER = {"mm": 1.0, "µm": 1e-3, "μm": 1e-3, "um": 1e-3}
_MM_PER_INCH = 25.4

Reading = tuple[float, str, str]
"""A value, the reason why it is refused (empty if it is not) and a suggestion."""


class Event(enum.StrEnum):
    """What happened to an instrument or an edge, as a row of a log says it."""

    MEASURED = "measured"
    USED = "used"
    SHARPENED = "sharpened"
    CHECKED = "checked"
    RETIRED = "retired"
    BROKEN = "broken"


def read_number(text: str) -> Reading:
    """A decimal number with point or comma; an empty cell is NaN without a reason."""
    text = text.strip().replace("\u2212", "-")
    if not text:
        return math.nan, "", ""
    if text[0] in "=@" or text.startswith("+="):
        return math.nan, "a formula, not its result", "paste the value in its place"
    if _NUMBER.match(text):
        return float(text.replace(",", ".")), "", ""
    if _GROUPED.match(text):
        return math.nan, "a number with thousands separators", "write it without them"
    return math.nan, "not a number", "write digits with one decimal mark, or leave the cell empty"


def read_width(text: str, *, micrometres: bool = False) -> Reading:
    """Width in millimetres as (value, reason, suggestion); empty is NaN, which means not measured.

    Examples
    --------
    >>> read_width("0,86")
    (0.86, '', '')
    >>> read_width("860")[1:]
    ('a width of 860 mm lies outside 0.1 to 5 mm', '0.86 mm, if this was in micrometres?')
    """
    stated = _WITH_UNIT.match(text.strip())
    if stated:
        number, unit = float(stated[1].replace(",", ".")), stated[2].casefold()
        width = number * _MM_PER.get(unit, _MM_PER_INCH)
        return math.nan, "a unit in the cell", f"{width:.4g} mm?"
    width, reason, suggestion = read_number(text)
    if reason or math.isnan(width):
        return width, reason, suggestion
    width = width * 1e-3 if micrometres else width
    low, high = value("log_width_low_mm"), value("log_width_high_mm")
    if low <= width <= high:
        return width, "", ""
    reason = f"a width of {width:g} mm lies outside {low:g} to {high:g} mm"
    if low <= width * 1e-3 <= high:
        return math.nan, reason, f"{width * 1e-3:g} mm, if this was in micrometres?"
    if low <= width * _MM_PER_INCH <= high:
        return math.nan, reason, f"{width * _MM_PER_INCH:.4g} mm, if this was in inches?"
    return math.nan, reason, "measure it again"


def read_count(text: str) -> Reading:
    """A whole number of strokes, zero or more."""
    text = text.strip()
    grouped = re.match(r"^(\d{1,3})[.,](\d{3})$", text)
    if grouped:
        readings = f"{grouped[1]}{grouped[2]} or {float(text.replace(',', '.')):g}"
        return math.nan, "a count with two readings", f"{readings}? write it without the mark"
    number, reason, suggestion = read_number(text)
    if not reason and not math.isnan(number) and (number < 0 or number != int(number)):
        return math.nan, "not a count", "write a whole number of 0 or more"
    return number, reason, suggestion


def read_minutes(text: str) -> Reading:
    """Minutes, zero or more, as a decimal number."""
    clock = _CLOCK.match(text.strip())
    if clock:
        minutes = int(clock[1]) + int(clock[2]) / 60
        return math.nan, "minutes written as a clock", f"{minutes:g}, if this is minutes:seconds?"
    number, reason, suggestion = read_number(text)
    if not reason and not math.isnan(number) and not 0 <= number <= value("log_longest_minutes"):
        return math.nan, f"{number:g} minutes for one row", "write minutes, as a decimal number"
    return number, reason, suggestion


def read_event(text: str) -> tuple[str, str, str]:
    """One of the six events, in any case and with blanks around it.

    Examples
    --------
    >>> read_event(" Sharpened ")
    ('sharpened', '', '')
    >>> read_event("sharpend")[2]
    'sharpened?'
    """
    plain = text.strip().casefold()
    names = [event.value for event in Event]
    if plain in names:
        return plain, "", ""
    near = difflib.get_close_matches(plain, names, n=1, cutoff=0.6)
    suggestion = f"{near[0]}?" if near else f"one of {', '.join(names)}"
    return "", "not an event" if plain else "no event", suggestion


def is_total(text: str) -> bool:
    """Whether the first cell of a row says that the row sums others up."""
    return text.strip().strip(":").casefold() in _TOTALS


def look_alike(code: str) -> str:
    """A key shared by codes that are easily confused: case, blanks, O and 0, l and 1, the alphabet
    of letters drawn alike do not count.

    Examples
    --------
    >>> look_alike("FH-O3-uc") == look_alike("fh 03 UC")
    True
    """
    latin = normalize("NFKC", code).translate(_LATIN)
    plain = re.sub(r"[\s_\-./]+", "", latin.casefold())
    return plain.replace("o", "0").replace("i", "1").replace("l", "1")
