"""What a setting sheet has to be typed into the log: checked codes of edges, and widths twice.

An entry is ``instrument/edge/check/width/width``. The sheet prints all of it but the width, which
is read at the bench and typed twice. The check is the number that the two check characters of
ISO/IEC 7064:2003, MOD 1271-36, stand for, whose alphabet is 0-9 and A-Z: each letter of
``instrument/edge`` is first written as the four base-36 digits of its Unicode code point. Changing
one letter changes the sum by the difference of two code points times a power of 36, and
1271 = 31 · 41 divides that only if it divides the difference: every letter of Latin, Greek or
Cyrillic typed for another is noticed, since their code points lie less than 1271 apart. That number
is printed in three letters none of which looks like another; the standard's two, which sheets
had before, are read as well.
"""

from __future__ import annotations

import string
from dataclasses import replace
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from edgekit.clinic.log.cells import read_width
from edgekit.clinic.log.columns import ENTRY, Header
from edgekit.clinic.log.files import RawRows, Refusal, shorten
from edgekit.display import visible

ALPHABET = string.digits + string.ascii_uppercase
MODULUS, RADIX = 1271, 36
DIGITS = 4  # base-36 digits of the largest code point, 10FFFF
PLAIN = "34679ACEFHKMNPRTWXY"  # no two look alike: neither 0 and O nor 1 and I, 2 and Z, 5 and S …
PLACES = 3  # of PLAIN, which hold the 1271 values five times over
RETYPE = "type it again as the sheet has it, then the width twice"


def check_characters(text: str) -> str:
    """The two check characters of a text in 0-9 and A-Z (ISO/IEC 7064, MOD 1271-36).

    Examples
    --------
    The standard's own example, in its section 8.2:

    >>> check_characters("ISO79")
    '3W'
    """
    total = 0
    for letter in text:
        total = (total + ALPHABET.index(letter)) * RADIX % MODULUS
    return "".join(ALPHABET[d] for d in divmod((1 - total * RADIX) % MODULUS, RADIX))


def entry_code(instrument: str, edge: str) -> str:
    """What a sheet prints for an edge; the width follows it twice.

    Examples
    --------
    >>> entry_code("FH-03-AS1", "used")
    'FH-03-AS1/used/4R4/'
    """
    name = visible(f"{instrument}/{edge}")
    number, plain = int(_check(name), RADIX), ""
    for _ in range(PLACES):
        number, digit = divmod(number, len(PLAIN))
        plain = PLAIN[digit] + plain
    return f"{name}/{plain}/"


def _check(name: str) -> str:
    """The standard's two check characters of a name."""
    return check_characters("".join(map(_digits, name)))


def _digits(letter: str) -> str:
    """A code point in four base-36 digits."""
    number, digits = ord(letter), ""
    for _ in range(DIGITS):
        number, digit = divmod(number, RADIX)
        digits = ALPHABET[digit] + digits
    return digits


def read_entry(text: str) -> tuple[tuple[str, str, str] | None, str, str]:
    """An entry as ((instrument, edge, width in mm), reason, suggestion), None where it is refused.

    Examples
    --------
    >>> read_entry("FH-03-AS1/used/4R4/0.842/0.842")
    (('FH-03-AS1', 'used', '0.842'), '', '')
    >>> read_entry("FH-03-AS7/used/4R4/0.842/0.842")[1]
    'the check characters 4R4 do not fit FH-03-AS7/used'

    A sheet from before:

    >>> read_entry("FH-03-AS1/used/HG/0.842/0.842")
    (('FH-03-AS1', 'used', '0.842'), '', '')
    """
    parts = text.strip().rsplit("/", 4)
    if len(parts) != 5:
        return None, "an entry has instrument, edge, check characters and the width twice", RETYPE
    instrument, edge, check, width, again = parts
    name, head = visible(f"{instrument}/{edge}"), f"{instrument}/{edge}/{check}/"
    if head not in (entry_code(instrument, edge), f"{name}/{_check(name)}/"):
        return None, f"the check characters {check} do not fit {instrument}/{edge}", RETYPE
    if width != again:
        return None, f"the two widths differ, {width} and {again}", "look at the sheet and retype"
    number, reason, suggestion = read_width(width)
    if reason or number != number:  # noqa: PLR0124 - an empty width reads as NaN
        return None, reason or "no width", suggestion or "type the width twice"
    return (instrument, edge, width), "", ""


def fill_from_entries(raw: RawRows, header: Header) -> tuple[Header, NDArray[np.bool_]]:
    """Write what entries say into their rows; the header then, and rows that are refused."""
    bad = np.zeros(len(raw.line), dtype=bool)
    if ENTRY not in header.position:
        return header, bad
    new = [n for n in ("instrument", "edge", "width_mm") if n not in header.position]
    places = {name: header.size + at for at, name in enumerate(new)}
    header = replace(header, position=header.position | places, size=header.size + len(new))
    raw.cells = [[*cells, *([""] * len(new))] for cells in raw.cells]  # the old ones stay as read
    for row, cells in enumerate(raw.cells):
        text = visible(cells[header.position[ENTRY]])
        if not text.strip():
            continue
        said, reason, suggestion = read_entry(text)
        reason = reason or _put(cells, header, said or ("", "", ""))
        if reason:
            bad[row] = True
            cells[header.position["instrument"]] += "?"  # not refused once more for having none
            remedy = suggestion or "keep one of the two"
            raw.refused.append(Refusal(raw.line[row], ENTRY, shorten(text), reason, remedy))
    return header, bad


def _put(cells: list[str], header: Header, said: tuple[str, str, str]) -> str:
    """Fill the cells of a row from its entry; why not, where one says something else."""
    instrument, edge, width = said
    if header.micrometres:
        width = f"{Decimal(width.replace(',', '.')) * 1000:f}"
    for name, text in (("instrument", instrument), ("edge", edge), ("width_mm", width)):
        at = header.position[name]
        if cells[at].strip() not in ("", text):
            return f"the entry says {text}, the column {name} {shorten(cells[at].strip(), 40)}"
        cells[at] = text
    return ""
