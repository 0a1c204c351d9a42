"""Make the invented logs of an invented clinic; nothing here was measured on a real instrument.

The Fernhollow College teaching clinic: twelve cassettes of eight instruments, operators A to F,
fourteen months. Run it from anywhere; it writes beside itself:

* ``log.csv``        a clean log
* ``log_messy.csv``  the same events with the mess of a real spreadsheet
* ``log_truth.csv``  the loss per session each edge was given, to judge forecasts by
* ``prices.csv``     an invented price table

Every row's note says that it is invented. The same seed gives the same files, byte for byte.
"""

import argparse
import csv
import dataclasses
import io
import pathlib

import numpy as np

from edgekit.files import write_file

SEED = 20250106
START = np.datetime64("2024-11-04")
DAYS = 14 * 30
MARK = "invented"
READING_SD_MM = 0.008
OPERATORS = "ABCDEF"


@dataclasses.dataclass(frozen=True)
class Kind:
    """One place in a cassette."""

    suffix: str
    pattern: str
    edges: tuple[str, ...]
    width_mm: float
    loss_um: float


CASSETTE = (
    Kind("UC", "universal curette", ("left", "right"), 0.86, 5.5),
    Kind("AS1", "area-specific curette", ("used",), 0.86, 7.0),
    Kind("AS2", "area-specific curette", ("used",), 0.86, 7.0),
    Kind("AS3", "area-specific curette", ("used",), 0.86, 7.0),
    Kind("HL", "half-length curette", ("used",), 0.77, 6.5),
    Kind("SS", "straight sickle", ("left", "right"), 0.80, 5.0),
    Kind("CS", "curved sickle", ("left", "right"), 0.80, 6.0),
    Kind("HO", "hoe", ("edge",), 1.50, 8.0),
)
METHODS = {"held": 1.0, "freehand": 1.7, "powered": 2.3}
HEADER = (
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


def instrument_rows(cassette, kind, rng):
    """Events of one instrument, and the truth behind them."""
    code = f"FH-{cassette:02d}-{kind.suffix}"
    method = list(METHODS)[(cassette - 1) % 3]
    width = {edge: kind.width_mm * rng.normal(1, 0.015) for edge in kind.edges}
    loss = {
        edge: 1e-3 * kind.loss_um * METHODS[method] * rng.lognormal(0, 0.2) for edge in kind.edges
    }
    limit = {edge: 0.8 * width[edge] for edge in kind.edges}
    truth = [(code, kind.pattern, edge, method, round(loss[edge] * 1e3, 3)) for edge in kind.edges]
    rows = []

    def add(day, edge, event, width_mm="", strokes="", minutes="", by=""):
        date = str(START + np.timedelta64(int(day), "D"))
        rows.append(
            (
                code,
                kind.pattern,
                edge,
                date,
                event,
                width_mm,
                strokes,
                minutes,
                str(rng.choice(list(OPERATORS))),
                by,
                MARK,
            )
        )

    def measure(day):
        for edge in kind.edges:
            add(day, edge, "measured", f"{width[edge] + rng.normal(0, READING_SD_MM):.3f}")

    day, session = float(rng.integers(0, 7)), 0
    measure(day)
    while True:
        gap = rng.gamma(16, 30 / 16)
        for at in np.sort(rng.uniform(0.05, 0.95, rng.integers(2, 6))):
            if day + at * gap < DAYS:
                add(day + at * gap, "", "used", strokes=int(rng.integers(20, 70)))
        day += gap
        if day >= DAYS:
            return rows, truth
        if rng.random() < 0.003:
            add(day, "", "broken")
            return rows, truth
        for edge in kind.edges:
            add(
                day,
                edge,
                "sharpened",
                strokes=int(rng.integers(6, 16)),
                minutes=f"{rng.gamma(9, 0.1) + 0.3:.1f}",
                by=method,
            )
            width[edge] -= loss[edge] * rng.gamma(8, 1 / 8)
        session += 1
        if session % 2 == 0:
            measure(day)
            if min(width[edge] - limit[edge] for edge in kind.edges) <= 0:
                add(day, "", "retired")
                return rows, truth
        elif rng.random() < 0.3:
            add(day, "", "checked")


def mess(rows, rng):
    """Lines of the messy file: the same events as people type them, and slips among them."""
    lines = [["Fernhollow College teaching clinic - invented demo log"], [], list(HEADER)]
    for number, row in enumerate(rows):
        cells = dict(zip(HEADER, row, strict=True))
        date = cells["date"]
        year, month, day = date.split("-")
        draw = rng.random()
        if rng.random() < 0.25:
            cells["date"] = f"{day}/{month}/{year}"
        if rng.random() < 0.3:
            cells["width_mm"] = cells["width_mm"].replace(".", ",")
        if draw < 0.004:
            cells["event"] = {"sharpened": "sharpend", "measured": "mesured"}.get(
                cells["event"], cells["event"].upper()
            )
        elif draw < 0.007 and cells["width_mm"]:
            cells["width_mm"] = f"{float(cells['width_mm'].replace(',', '.')) * 1e3:.0f}"
        elif draw < 0.009:
            cells["date"] = f"{int(day)}.{int(month)}.{year[2:]}"
        elif draw < 0.011:
            cells["instrument"] = cells["instrument"].replace("-0", "-O")
        elif draw < 0.013:
            cells["instrument"] = cells["instrument"].lower()
        elif draw < 0.015 and cells["width_mm"]:
            cells["width_mm"] = "-" + cells["width_mm"]
        elif draw < 0.017:
            cells["note"] = f'{MARK}; tip looks thin; ask "B"'
        elif draw < 0.019 and cells["width_mm"]:
            cells["width_mm"] = f"=F{number}-0,01"
        lines.append([str(cells[name]) for name in HEADER])
        if draw > 0.997:
            lines.append(lines[-1])
        if number % 2500 == 2499:
            lines += [[], list(HEADER)]
    lines += [[], ["Total", "", "", "", "", "", str(len(rows))]]
    return lines


def prices():
    """The invented price table."""
    table = [("instrument", kind.pattern, "", "") for kind in CASSETTE]
    per_pattern = dict(
        zip(dict.fromkeys(row[1] for row in table), (38, 36, 39, 31, 33, 29), strict=True)
    )
    rows = [("instrument", name, price, "EUR", MARK) for name, price in per_pattern.items()]
    rows += [
        ("session", "held", 0.15, "EUR", MARK),
        ("session", "freehand", 0.10, "EUR", MARK),
        ("session", "powered", 0.25, "EUR", MARK),
        ("session", "", 0.15, "EUR", MARK),
        ("minute", "", 0.55, "EUR", MARK),
    ]
    return [("item", "name", "price", "currency", "note"), *rows]


def write(path, lines, delimiter=",", encoding="utf-8"):
    """Write lines as CSV with the same bytes on every system."""
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(lines)
    write_file(path, text.getvalue().encode(encoding), replace=True)


def main(folder):
    """Write the four files into `folder`."""
    rng = np.random.default_rng(SEED)
    rows, truth = [], []
    for cassette in range(1, 13):
        for kind in CASSETTE:
            more, behind = instrument_rows(cassette, kind, rng)
            rows += more
            truth += behind
    rows.sort(key=lambda row: row[3])
    write(folder / "log.csv", [HEADER, *rows])
    write(folder / "log_messy.csv", mess(rows, rng), delimiter=";", encoding="utf-8-sig")
    head = ("instrument", "pattern", "edge", "method", "loss_um_per_session", "note")
    write(folder / "log_truth.csv", [head, *((*row, MARK) for row in truth)])
    write(folder / "prices.csv", prices())


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument(
        "folder", nargs="?", type=pathlib.Path, default=pathlib.Path(__file__).parent
    )
    main(options.parse_args().folder)
