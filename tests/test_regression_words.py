"""What is said of every spoiled log, file and cell, and on a setting sheet, as stored.

The words were the package's own: they say that nothing moved, not that anything is right. That each
refusal is the right one is the business of `tests.spoiled_logs` and `tests.spoiled_files`.
``python -m tests.test_regression_words`` stores them again, for a change that is meant to alter
them.
"""

import dataclasses
import json
import tempfile
from pathlib import Path

import pytest

import edgekit as ek
from edgekit.clinic.log.cells import read_count, read_event, read_minutes, read_width
from edgekit.clinic.log.dates import read_date
from edgekit.clinic.sheet.content import compose
from edgekit.clinic.sheet.set_up import riser_words, setting_words, within_words
from tests.results import DEMO
from tests.spoiled_files import ERROR, spoiled
from tests.spoiled_logs import SPOILED

STORED = Path(__file__).parent / "regression_words.json"
NUMBERS = (
    "",
    "0",
    "-1",
    "1",
    "1.0",
    "1,5",
    "1.234,5",
    "1e3",
    " 7 ",
    "7.5",
    "0,86",
    "0.0999",
    "0.1",
    "5",
    "5.0001",
    "860",
    "99.9",
    "100",
    "5000",
    "0.034",
    "0.2",
    "0.1969",
    "0.86 mm",
    "860µm",
    "0.034 in",
    "8 cm",
    "481",
    "480",
    "1000000",
    "nan",
    "inf",
    "½",
    "٣",
    "abc",
    "--",
)
DATES = (
    "",
    "2025-01-06",
    "2025-1-6",
    "2025-02-29",
    "2024-02-29",
    "2025-13-01",
    "1989-12-31",
    "1990-01-01",
    "2100-12-31",
    "2101-01-01",
    "06/01/2025",
    "13/01/2025",
    "01/13/2025",
    "31/04/2025",
    "6.1.2025",
    "06-06-2025",
    "6.1.25",
    "2025/01/06",
    "2025.31.01",
    "45000",
    "45000.5",
    "32874",
    "32873",
    "73415",
    "73416",
    "7 Jan 2025",
    "7. March 2025",
    "31 Feb 2025",
    "7 Foo 2025",
    "today",
    "2025-01-06T10:30",
    "2025-01-06 10:30:15.5",
    "2025-01-06 25:00",
    "1905-07-12",
    "1905-06-12",
)
EVENTS = (
    "",
    "used",
    "Sharpened ",
    "sharpend",
    "measurd",
    "brokn",
    "retire",
    "lost",
    "x",
    "messured",
)


def cells():
    """What is said of single cells."""
    said = {}
    for text in NUMBERS:
        for read in (read_width, read_count, read_minutes):
            said[f"{read.__name__} {text}"] = read(text)
        said[f"read_width µm {text}"] = read_width(text, micrometres=True)
    for text in DATES:
        said[f"read_date {text}"] = read_date(text)
        said[f"read_date, day first {text}"] = read_date(text, day_first=True)
    return said | {f"read_event {text}": read_event(text) for text in EVENTS}


def told(log):
    """What a log says of itself, as text; of many rows some."""
    rows = log.rows.iloc[:: max(len(log.rows) // 50, 1)]
    return [table.to_csv(index=False) for table in (rows, log.rejected_lines, log.flags)]


def logs(folder):
    """What is said of spoiled logs, and the messages of their forecasts."""
    said = {"messy": told(ek.read_log(DEMO / "log_messy.csv"))}
    for case in SPOILED:
        file = folder / "log.csv"
        file.write_bytes(case.data)
        try:
            log = ek.read_log(file)
            said[case.name] = told(log)
            table = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.015)).table
            said[case.name] += table[["growth", "message"]].to_csv(index=False)
        except ek.EdgekitError as error:
            said[f"{case.name}, error"] = str(error)
    return said


def files(folder):
    """What is said of spoiled files that are refused."""
    said = {}
    for at, case in enumerate(spoiled()):
        if case.gives == ERROR:
            place = folder / f"file {at}"
            place.mkdir()
            path = case.write(place)
            try:
                case.read(path)
            except ek.EdgekitError as error:
                said[case.name] = str(error).replace(str(place), "")
    return said


def texts(value):
    """Every text in a record, in order."""
    if isinstance(value, str):
        return [value]
    if dataclasses.is_dataclass(value):
        value = [getattr(value, field.name) for field in dataclasses.fields(value)]
    return [t for item in value for t in texts(item)] if isinstance(value, list | tuple) else []


def sheets(_):
    """The words of setting sheets."""
    tray = ek.read_tray(DEMO / "tray_FH-03.csv")
    plans = (
        ek.plan_bench(tray, tolerance_deg=4.0),
        ek.plan_bench(tray, tolerance_deg=2.0, minutes_available=12, urgent=[next(iter(tray))]),
        ek.plan_bench(tray, tolerance_deg=3.0, holder=ek.Holder(pivot_height_mm=71.5)),
    )
    said = {f"plan {k}": texts(compose(plan, "T")) for k, plan in enumerate(plans)}
    said |= {f"plan {k}, short": repr(plan) for k, plan in enumerate(plans)}
    degrees = (-0.04, 0.0, 7.25, 12.34, 89.96)
    said["settings"] = [setting_words(d) for d in degrees]
    said["room"] = [within_words(a, b) for a in (0.5, 1.24) for b in (0.1, 0.5)]
    said["risers"] = [riser_words(d, 60.0) for d in (-3.2, -0.04, 0.0, 1.26, 40.0)]
    return said


PARTS = {"cells": lambda _: cells(), "logs": logs, "files": files, "sheets": sheets}


def called(name, folder):
    return json.loads(json.dumps(PARTS[name](folder), default=str))


@pytest.mark.parametrize("name", PARTS)
def test_what_is_said_is_as_stored(name, tmp_path):
    stored = json.loads(STORED.read_text(encoding="utf-8"))[name]
    got = called(name, tmp_path)
    assert got.keys() == stored.keys()
    for key, words in stored.items():
        assert str(got[key]) == str(words), key


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        everything = {name: called(name, Path(place)) for name in PARTS}
    STORED.write_text(json.dumps(everything, indent=0, ensure_ascii=False), encoding="utf-8")
