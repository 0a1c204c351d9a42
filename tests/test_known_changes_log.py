"""Limits of logs, prices, budgets and savings of which a change could leave every test green.

Both sides of every limit, and sums of money against loops that only use `scipy.stats`.
"""

import csv
import dataclasses
import datetime as dt
import io
import math
import zipfile
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
from edgekit.clinic.bench.by_sheet import practised
from edgekit.clinic.cost import saving as saving_module
from edgekit.clinic.cost.budget import (
    _breakage,
    _law_quantiles,
    _pace_words,
    _shifts,
    minutes_per_session,
)
from edgekit.clinic.log import files
from edgekit.clinic.log import flags as flags_module
from edgekit.clinic.log.cells import (
    is_total,
    look_alike,
    read_count,
    read_event,
    read_minutes,
    read_number,
    read_width,
)
from edgekit.clinic.log.dates import read_date
from edgekit.clinic.log.entry import check_characters, entry_code, read_entry
from edgekit.clinic.log.files import (
    _cell_text,
    _check_parts,
    _decode,
    _delimiter,
    _from_frame,
    _from_text,
    read_raw,
    shorten,
)
from edgekit.clinic.log.history import history
from edgekit.clinic.own import own_files
from edgekit.clinic.own.own_files import _advice, _due, _kind, _no_price, _said, _unlike
from edgekit.evidence_table import entry, value

COLUMNS = ["instrument", "edge", "date", "event", "width_mm", "method", "pattern", "minutes"]


def log_of(rows):
    full = [(*row, *[None, "", "", None][len(row) - 4 :]) for row in rows]
    return ek.read_log(pd.DataFrame(full, columns=COLUMNS))


# ---- cells ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("read", "cell", "number"),
    [
        (read_width, "0.1", 0.1),
        (read_width, "5", 5.0),
        (read_count, "0", 0.0),
        (read_count, "17", 17.0),
        (read_count, "12,0", 12.0),
        (read_minutes, "0", 0.0),
        (read_minutes, "480", 480.0),
        (read_minutes, "1,5", 1.5),
        (read_number, "−3,5", -3.5),
        (read_number, "+7.", 7.0),
        (read_number, ".5", 0.5),
    ],
)
def test_numbers_that_are_taken(read, cell, number):
    assert read(cell) == (number, "", "")


@pytest.mark.parametrize(
    ("read", "cell", "reason", "advice"),
    [
        (read_width, "0.0999", "outside 0.1 to 5 mm", "if this was in inches"),
        (read_width, "5.001", "outside 0.1 to 5 mm", "measure it again"),
        (read_count, "-1", "not a count", "0 or more"),
        (read_count, "1.5", "not a count", "0 or more"),
        (read_count, "1,200", "two readings", "1200 or 1.2?"),
        (read_minutes, "-0.1", "-0.1 minutes for one row", "decimal"),
        (read_minutes, "480.5", "480.5 minutes for one row", "decimal"),
        (read_minutes, "2:15", "clock", "2.25, if this is minutes:seconds?"),
        (read_minutes, "12:06", "clock", "12.1, if this is minutes:seconds?"),
        (read_number, "=B2", "a formula", "paste"),
        (read_number, "@x", "a formula", "paste"),
        (read_number, "+=B2", "a formula", "paste"),
        (read_number, "1'200", "thousands", "without"),
    ],
)
def test_numbers_that_are_refused(read, cell, reason, advice):
    number, said, suggestion = read(cell)
    assert math.isnan(number)
    assert reason in said
    assert advice in suggestion


def test_empty_cells_are_missing_and_no_fault():
    for read in (read_width, read_count, read_minutes, read_number):
        number, reason, suggestion = read("  ")
        assert math.isnan(number)
        assert (reason, suggestion) == ("", "")
    assert read_width("860", micrometres=True)[0] == pytest.approx(0.86)
    assert read_width("100", micrometres=True)[0] == 0.1
    assert read_width("99", micrometres=True)[1] != ""


def test_events_a_little_misspelt_are_suggested_and_others_listed():
    assert read_event("retird") == ("", "not an event", "retired?")
    assert read_event("xyz")[2].startswith("one of measured, used")
    assert read_event("")[1] == "no event"
    # alike by six tenths, as `difflib` counts: 2·3/(4 + 6) and 2·3/(3 + 8)
    assert read_event("brok")[2] == "broken?"


def test_lines_of_totals_and_codes_that_look_alike():
    assert is_total(" Total: ")
    assert not is_total("A-1")
    assert look_alike("Oil-1") == "0111"
    assert look_alike("A.B/C_d") == "abcd"


# ---- dates and entries ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2025-4-3", dt.datetime(2025, 4, 3)),
        ("2025-04-03T10:20", dt.datetime(2025, 4, 3, 10, 20)),
        ("2025-04-03 10:20:30.5", dt.datetime(2025, 4, 3, 10, 20, 30)),
        ("13.2.2025", dt.datetime(2025, 2, 13)),
        ("7-7-2025", dt.datetime(2025, 7, 7)),
    ],
)
def test_dates_that_are_taken(text, day):
    assert read_date(text) == (day, "", "")


@pytest.mark.parametrize(
    ("text", "reason", "advice"),
    [
        ("2/13/2025", "month first", "2025-02-13?"),
        ("31/4/2025", "no such day", "YYYY-MM-DD"),
        ("2025-02-29", "no such day", "YYYY-MM-DD"),
        ("2025/02/03", "not ISO", "2025-02-03?"),
        ("2025/13/03", "not ISO", "YYYY-MM-DD"),
        ("3/4/25", "a year of two digits", "all four digits"),
        ("45000.5", "spreadsheet serial", "2023-03-15?"),
        ("31 Feb 2025", "not a date", "YYYY-MM-DD"),
        ("31 xyz 2025", "not a date", "YYYY-MM-DD"),
    ],
)
def test_dates_that_are_refused(text, reason, advice):
    day, said, suggestion = read_date(text)
    assert day is None
    assert reason in said
    assert advice in suggestion


def test_check_characters_are_the_remainder_of_the_standard():
    # ISO/IEC 7064, MOD 1271-36: the whole in base 36 leaves 1; here by whole numbers of Python.
    for text in ("0", "Z", "A1B2C3", "FH03AS1" * 4):
        first = int(text + "00", 36) % 1271
        want = next(c for c in range(36 * 36) if (first + c) % 1271 == 1)
        digits = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
        assert check_characters(text) == digits[want // 36] + digits[want % 36]


def test_entries_have_five_parts_and_one_width():
    good = entry_code("A/1", "left") + "0.8/0.8"
    assert read_entry(good)[0] == ("A/1", "left", "0.8")
    assert "five" not in read_entry(good)[1]
    assert "an entry has instrument" in read_entry("A/left/0.8/0.8")[1]
    assert "the two widths differ" in read_entry(good[:-1] + "9")[1]
    empty = entry_code("A", "left") + "/"
    assert read_entry(empty)[1:] == ("no width", "type the width twice")


def test_entries_fill_columns_of_micrometres_and_contradictions_are_told():
    code = entry_code("A", "left")
    log = ek.read_log(
        pd.DataFrame(
            {
                "sheet_entry": [f"{code}0,842/0,842", f"{code}0.842/0.842", "", f"{code}1/1"],
                "date": "2025-01-06",
                "event": ["measured", "measured", "used", "measured"],
                "width_um": ["", "842.5", "", "1000"],
                "instrument": ["", "A", "B", "A"],
            }
        )
    )
    assert log.rows["line"].tolist() == [1, 3, 4]
    np.testing.assert_allclose(log.rows["width_mm"], [0.842, np.nan, 1.0], rtol=1e-12)
    assert log.rows["edge"].tolist() == ["left", "", "left"]
    (wrong,) = log.rejected.to_dict("records")
    assert (wrong["line"], wrong["suggestion"]) == (2, "keep one of the two")
    assert wrong["reason"] == "the entry says 842.000, the column width_mm 842.5"


# ---- files ---------------------------------------------------------------------------------

HEAD = "instrument,edge,date,event,width_mm,note"


def written(tmp_path, *lines, head=HEAD):
    file = tmp_path / "log.csv"
    file.write_text("\n".join([head, *lines]), encoding="utf-8")
    return file


def test_a_line_of_a_hundred_thousand_letters_is_read_and_a_longer_one_refused(tmp_path):
    start = "A,left,2025-01-06,used,,"
    lines = [start + "x" * (size - len(start)) for size in (100_000, 100_001)]
    log = ek.read_log(written(tmp_path, *lines))
    assert log.rows["line"].tolist() == [2]
    assert log.rejected[["line", "reason"]].to_numpy().tolist() == [
        [3, "a line of 100001 characters"]
    ]
    assert log.rejected["value"][0] == start + "x" * 176 + "… (100001 characters)"
    assert len(log.rejected_lines["text"][0]) == 10_000 + len("… (100001 characters)")


def test_a_note_may_span_twenty_lines(tmp_path):
    for lines, rows in ((20, 2), (21, 1)):
        note = "\n".join(['A,left,2025-01-06,used,,"first', *["x"] * (lines - 2), 'last"'])
        log = ek.read_log(written(tmp_path, note, "B,left,2025-01-07,used,,"))
        assert log.rows["instrument"].tolist() == ["A", "B"][2 - rows :]
        assert ("a quotation mark that is never closed" in set(log.rejected["reason"])) is (
            rows == 1
        )
    assert log.rows["line"].tolist() == [23]


def test_lines_and_cells_of_a_text_have_bounds(monkeypatch):
    def within_bounds(_):
        raise InterruptedError  # what follows takes a second

    monkeypatch.setattr(files, "_delimiter", within_bounds)
    for text in ("a\n" * 500_000, "\n".join([";" * 50_000] * 100)):
        with pytest.raises(InterruptedError):
            _from_text("log", text, [])
    for text in ("a\n" * 500_001, "\n".join([*[";" * 50_000] * 100, ";"])):
        with pytest.raises(ek.EdgekitError, match=r"500,000 lines or 5,000,000 cells"):
            _from_text("log", text, [])


def test_rows_and_columns_of_a_table_have_bounds():
    assert len(_from_frame(pd.DataFrame(index=range(500_000))).cells) >= 1
    assert len(_from_frame(pd.DataFrame(columns=range(256))).cells[0]) == 256
    for frame in (pd.DataFrame(index=range(500_001)), pd.DataFrame(columns=range(257))):
        with pytest.raises(ek.EdgekitError, match="500,000 rows or 256 columns"):
            _from_frame(frame)


def packed(**parts):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as book:
        for name, data in parts.items():
            book.writestr(name, data)
    return file.getvalue()


def test_a_workbook_is_looked_at_before_it_is_unpacked():
    half = 16_000_000
    _check_parts("log.xlsx", packed(a=b" " * half, b=b" " * half))
    with pytest.raises(ek.EdgekitError, match="unpacks to 32 MB"):
        _check_parts("log.xlsx", packed(a=b" " * half, b=b" " * (half + 1)))
    _check_parts("log.xlsx", packed(a=b"<c/>" * 300_000 + b"<row>" * 200_000))
    with pytest.raises(ek.EdgekitError, match="500,001 cells and rows in a"):
        _check_parts("log.xlsx", packed(a=b"<c/>" * 500_001))


class Sheet:
    """Stands in for a sheet of a workbook."""

    def __init__(self, rows):
        self.rows = rows

    def reset_dimensions(self):
        """Nothing to forget."""

    def iter_rows(self, *, values_only):
        assert values_only
        return iter(self.rows)


def workbook_of(monkeypatch, rows):
    import openpyxl

    book = type("Book", (), {"worksheets": [Sheet(rows)]})
    monkeypatch.setattr(openpyxl, "load_workbook", lambda *_, **__: book)
    from edgekit.clinic.log.files import _from_workbook

    return _from_workbook("log.xlsx", packed(a=b""))


def test_columns_and_cells_of_a_sheet_have_bounds(monkeypatch):
    pytest.importorskip("openpyxl")
    wide = workbook_of(monkeypatch, [("a",) * 256, (None, None), (1.0, None), (None,), ()])
    assert wide.line == [1, 2, 3]
    assert wide.cells[1:] == [["", ""], ["1", ""]]
    assert wide.notes == [(0, "sheet", "the first sheet was read")]
    with pytest.raises(ek.EdgekitError, match="has 257 columns in row 2"):
        workbook_of(monkeypatch, [("a",), ("a",) * 257])
    # a row counts as one more than its cells: 2,000 rows of 249 make half a million
    full = [("a",) * 249] * 2000
    assert len(workbook_of(monkeypatch, full).line) == 2000
    with pytest.raises(ek.EdgekitError, match="more than 500,000 cells"):
        workbook_of(monkeypatch, [*full, ()])


def test_cells_are_written_as_a_person_would():
    cells = [
        None,
        3.0,
        -0.0,
        2.5,
        999_999_999_999_999.0,
        1e15,
        dt.datetime(2025, 1, 6),
        dt.datetime(2025, 1, 6, 10, 30),
        "x",
        7,
    ]
    assert [_cell_text(cell) for cell in cells] == [
        "",
        "3",
        "0",
        "2.5",
        "999999999999999",
        "1000000000000000.0",
        "2025-01-06",
        "2025-01-06 10:30:00",
        "x",
        "7",
    ]


def test_text_of_two_hundred_letters_is_repeated_whole():
    assert shorten("x" * 200) == "x" * 200
    assert shorten("x" * 201) == "x" * 200 + "… (201 characters)"


def test_thirty_lines_vote_on_what_parts_the_cells_and_name_the_columns(tmp_path):
    assert _delimiter(["a;b"] * 30 + ["a,b,c,d"]) == ";"
    assert _delimiter(["a;b"] * 29 + ["a,b,c,d"]) == ","
    assert _delimiter(["# a,b,c,d"] * 3 + ["a;b"]) == ";"
    assert _delimiter([]) == ";"
    good = "A,left,2025-01-06,used,,"
    for above, found in ((29, True), (30, False)):
        file = written(tmp_path, HEAD, good, head="\n".join(["# title"] * above))
        if found:
            log = ek.read_log(file)
            assert (len(log.rows), log.blank_lines, log.rows["line"][0]) == (1, 29, 31)
        else:
            with pytest.raises(ek.EdgekitError, match="no header"):
                ek.read_log(file)


def test_the_nearest_line_to_a_header_is_named(tmp_path):
    file = written(tmp_path, "instrument,event,x", "a,b,c", head="date,y,z")
    with pytest.raises(ek.EdgekitError, match=r"line 2 comes nearest and lacks date"):
        ek.read_log(file)
    file.write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(ek.EdgekitError, match="lacks instrument, date, event"):
        ek.read_log(file)


def test_lines_above_the_header_and_totals_are_refused_and_blanks_counted(tmp_path):
    file = written(
        tmp_path,
        "",
        "A,left,2025-01-06,used",
        " , ,",
        "total,,,",
        HEAD,
        "a,b,c,d,e,f,g",
        "B,left,2025-01-06,used,,,,",
        head=f"My log\n# remark\n{HEAD}",
    )
    log = ek.read_log(file)
    assert log.rows["instrument"].tolist() == ["A", "B"]
    assert log.blank_lines == 3
    assert log.rejected[["line", "reason"]].to_numpy().tolist() == [
        [1, "above the header"],
        [7, "a line of totals"],
        [8, "the header again"],
        [9, "7 cells under a header of 6"],
    ]
    plain = ek.read_log(written(tmp_path, "A,2025-01-06,used,0.8", head="code,day,action,width um"))
    assert plain.rejected["column"].tolist() == ["width_mm"]


def test_a_remark_begins_with_its_mark_in_the_first_cell(tmp_path):
    log = ek.read_log(written(tmp_path, ",1,A,2025-01-06,used", head=",#,instrument,date,event"))
    assert log.rows["#"].tolist() == ["1"]
    log = ek.read_log(written(tmp_path, "A,2025-01-06,used", head=",#x\ninstrument,date,event"))
    assert log.rejected["reason"].tolist() == ["above the header"]
    assert log.blank_lines == 0


def test_notes_about_a_file_name_its_lines(tmp_path):
    log = ek.read_log(
        written(
            tmp_path, "A,2025-01-06,measured,860", head="# remark\n\ninstrument,date,event,width um"
        )
    )
    assert log.flags[["line", "reason"]].to_numpy().tolist() == [[3, "unit"]]
    assert log.rows["width_mm"].tolist() == pytest.approx([0.86])
    hidden = ek.read_log(
        written(tmp_path, "A,left,2025-01-06,used,,", "B\u200b,l,2025-01-07,used,,")
    )
    assert hidden.flags[["line", "reason"]].to_numpy().tolist() == [
        [3, "letters that cannot be seen"]
    ]


def test_columns_without_a_name_are_kept_where_they_hold_something(tmp_path):
    log = ek.read_log(written(tmp_path, "A,2025-01-06,used,,x", head="instrument,date,event,,"))
    assert log.rows["column 5"].tolist() == ["x"]
    assert "column 4" not in log.rows
    for head in ("instrument,date,event,code", "instrument,date,event,q,q"):
        with pytest.raises(ek.EdgekitError, match="two columns for"):
            ek.read_log(written(tmp_path, "A,2025-01-06,used,,", head=head))
    empty = ek.read_log(written(tmp_path, head="instrument,date,event"))
    assert (len(empty.rows), len(empty.rejected), empty.blank_lines) == (0, 0, 0)
    assert {table.columns[0] for table in (empty.rejected, empty.rejected_lines)} == {"file"}


def test_what_is_refused_says_first_in_which_file():
    rows = {"instrument": ["A"], "date": ["never"], "event": ["used"]}
    log = ek.read_log(pd.DataFrame(rows))
    names = ["file", "line", "column", "value", "reason", "suggestion"]
    assert log.rejected.columns.tolist() == names
    assert log.rejected_lines.columns.tolist() == ["file", "line", "text"]


def test_a_refused_line_is_kept_to_ten_thousand_letters():
    start = "A | never | used | "
    for letters, said in ((10_000, ""), (10_001, "… (10001 characters)")):
        note = "x" * (letters - len(start))
        rows = {"instrument": ["A"], "date": ["never"], "event": ["used"], "note": [note]}
        (text,) = ek.read_log(pd.DataFrame(rows)).rejected_lines["text"]
        assert text == (start + note)[:10_000] + said


def test_the_first_line_of_other_letters_is_counted_from_the_top():
    text, notes = _decode("f", b"\nA\xe4\n")
    assert text == "\nA\u00e4\n"
    assert notes[0][0] == 2


def test_a_frame_counts_its_rows_from_one():
    raw = read_raw(pd.DataFrame({"a": ["x", None], "b": [1.0, np.nan]}))
    assert raw.line == [0, 1, 2]
    assert raw.cells == [["a", "b"], ["x", "1"], ["", ""]]


# ---- flags ---------------------------------------------------------------------------------


def rows_of(rows):
    """Good rows of a log, without reading one: many tests reach these lines, so each is quick."""
    names = ["instrument", "edge", "date", "event", "width_mm", "method", "pattern"]
    full = [(*row, *[np.nan, "", ""][len(row) - 4 :]) for row in rows]
    frame = pd.DataFrame(full, columns=names).assign(line=range(1, len(rows) + 1))
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[s]")
    frame = frame.astype({"width_mm": float})
    return frame.astype(dict.fromkeys(["instrument", "edge", "event", "method", "pattern"], "str"))


CHECKS = {
    "grows": flags_module._widths,
    "drops": flags_module._widths,
    "end": flags_module._after_the_end,
    "twice": flags_module._twice,
    "alike": flags_module._codes,
    "patterns": flags_module._codes,
    "years": flags_module._gaps,
}


def flagged(rows, reason):
    flags = CHECKS[reason.split()[-1]](rows_of(rows))
    return flags.loc[flags["reason"] == reason, "line"].tolist()


def test_widths_may_rise_by_reading_error_and_fall_by_a_step():
    rise = value("log_rise_in_reading_sds") * value("reading_sd_um") / 1000  # 0.0425 mm
    drop = value("log_largest_drop_um") / 1000
    rows = [("A", "l", "2025-01-06", "measured", 1.0)]
    rows += [("A", "l", "2025-02-06", "measured", round(1.0 + rise - 1e-4, 4))]
    rows += [("B", "l", "2025-01-06", "measured", 1.0)]
    rows += [("B", "l", "2025-02-06", "measured", round(1.0 + rise + 1e-4, 4))]
    rows += [("C", "l", "2025-01-06", "measured", 1.0)]
    rows += [("C", "l", "2025-02-06", "measured", round(1.0 - drop + 1e-4, 4))]
    rows += [("C", "l", "2025-03-06", "measured", round(1.0 - 2 * drop, 4))]
    assert flagged(rows, "width grows") == [4]
    assert flagged(rows, "width drops") == [7]
    just = [("D", "l", "2025-01-06", "measured", 1.0), ("D", "l", "2025-02-06", "measured", 0.8)]
    assert value("log_largest_drop_um") == 1000 - 0.8 * 1000
    assert flagged(just, "width drops") == []
    detail = flags_module._widths(rows_of(rows))["detail"].tolist()
    assert detail == [
        "1 mm (line 3) to 1.043 mm, more than 42.5 µm of reading error",
        "0.8001 mm (line 6) to 0.6 mm in one step: another instrument or edge?",
    ]


def test_a_rise_of_just_the_reading_error_is_no_contradiction(monkeypatch):
    rows = [("A", "l", "2025-01-06", "measured", 1.0), ("A", "l", "2025-02-06", "measured", 1.125)]
    for sds, found in ((12.5, []), (12.4, [2])):
        given = {"log_rise_in_reading_sds": sds, "reading_sd_um": 10.0}
        monkeypatch.setattr(flags_module, "value", lambda name, given=given: given.get(name, 730.0))
        assert flagged(rows, "width grows") == found


def test_rows_after_the_end_are_flagged_by_day_and_by_line():
    rows = [
        ("A", "l", "2025-01-06", "used"),
        ("A", "l", "2025-02-06", "used"),
        ("A", "", "2025-02-06", "broken"),
        ("A", "l", "2025-02-06", "used"),
        ("A", "l", "2025-02-07", "used"),
        ("A", "l", "2025-02-05", "used"),
        ("A", "", "2025-03-06", "retired"),
        ("B", "l", "2025-03-06", "used"),
    ]
    assert sorted(flags_module._after_the_end(rows_of(rows))["line"]) == [4, 5, 7]
    assert flagged(rows, "used after the end") == [4, 5]
    assert flagged(rows, "retired after the end") == [7]
    assert set(flags_module._after_the_end(rows_of(rows))["detail"]) == {
        "broken on 2025-02-06 (line 3)"
    }


def test_the_same_row_twice_is_flagged_from_its_second_time_on():
    rows = [("A", "l", "2025-01-06", "used")] * 3 + [("A", "l", "2025-01-07", "used")]
    assert flagged(rows, "the same row twice") == [2, 3]


def test_codes_alike_and_two_patterns_of_one_code():
    rows = [
        ("AO-1", "l", "2025-01-06", "used", None, "", "hoe"),
        ("A0-1", "l", "2025-01-06", "used", None, "", "hoe"),
        ("A0-1", "l", "2025-01-07", "used", None, "", "spoon"),
        ("A0-1", "l", "2025-01-08", "used", None, "", ""),
    ]
    assert flagged(rows, "codes that look alike") == [2]
    assert flagged(rows, "one code, two patterns") == [3]


def gap_rows(*days):
    return [("A", "l", pd.Timestamp("2020-01-06") + pd.Timedelta(days=d), "used") for d in days]


@pytest.mark.parametrize(
    ("days", "line"),
    [
        ((0, 730), []),  # two years of 365 days are no gap
        ((0, 731), [1]),  # of halves of one size the earlier one
        ((0, 731, 732), [1]),
        ((0, 1, 732), [3]),
        ((0, 1, 732, 733), [2]),
        ((0, 1, 2, 733, 734), [4]),
        ((0, 800, 1600), [1, 3]),
    ],
)
def test_a_gap_of_years_is_flagged_on_its_smaller_side(days, line):
    assert flagged(gap_rows(*days), "a gap of years") == line


# ---- history -------------------------------------------------------------------------------


def test_days_between_sessions_are_counted_within_an_edge():
    rows = [
        ("A", "l", "2025-01-06", "sharpened"),
        ("A", "l", "2025-01-20", "sharpened"),
        ("A", "r", "2025-01-07", "sharpened"),
        ("A", "", "2025-02-06 12:00", "sharpened"),
        ("B", "", "2025-01-01", "sharpened"),
    ]
    past = history(log_of(rows))
    assert past.gap_days.tolist() == [14.0, 17.5, 30.5]
    assert past.as_of == np.datetime64("2025-02-06")
    assert past.edges["first"].dt.day.tolist() == [6, 7, 1]
    assert past.edges["last"].dt.strftime("%m-%d").tolist() == ["02-06", "02-06", "01-01"]


def test_the_commonest_method_and_pattern_of_an_edge():
    rows = [
        ("A", "l", f"2025-01-{d:02d}", "sharpened", None, m, p)
        for d, (m, p) in enumerate([("b", "x"), ("a", "y"), ("a", ""), ("c", "y"), ("", "")], 1)
    ]
    rows += [("A", "l", "2025-02-01", "used", None, "c", ""), ("B", "l", "2025-02-01", "used")]
    edges = history(log_of(rows)).edges
    assert edges["method"].tolist() == ["a", ""]
    assert edges["pattern"].tolist() == ["y", ""]


# ---- money ---------------------------------------------------------------------------------


def clinic_rows(code, losses, *, method, edges=("l",), gap=30, start="2024-01-06", minutes=None):
    rows, day = [], pd.Timestamp(start)
    for edge in edges:
        width = 0.9
        rows.append((code, edge, day, "measured", width, "", "spoon"))
        for k, lost in enumerate(losses, 1):
            width = round(width - lost / 1000, 4)
            at = day + pd.Timedelta(days=gap * k)
            rows.append((code, edge, at, "sharpened", None, method, "spoon", minutes))
            rows.append((code, edge, at, "measured", width, "", "spoon"))
    return rows


PRICES = ek.Prices(
    instrument={"spoon": 40.0, "": 25.0},
    session={"held": 0.3, "": 0.1},
    minute=0.5,
    currency="EUR",
)


@pytest.fixture(scope="module")
def result():
    rows = clinic_rows("A", (9, 7, 8, 11, 6), method="held", edges=("l", "r"), minutes=2.0)
    rows += clinic_rows("B", (6, 9, 9, 7, 10), method="held", minutes=3.0)
    rows += clinic_rows("C", (12, 14, 11, 10), method="free", gap=35)
    rows += clinic_rows("D", (13, 9, 12, 12), method="free")
    rows += [("D", "", "2024-06-01", "broken")]
    return ek.forecast(log_of(rows), retire=ek.MaxWidthLoss(fraction=0.15))


def written_out(result, months, nodes):
    """Chances by month and pace, of each instrument in use, and its first row."""
    first = pd.Timestamp(result.as_of)
    ends = [first + pd.DateOffset(months=m) for m in range(1, months + 1)]
    days = [(end - first).days for end in ends]
    live = result.table[result.table["status"] == "in use"]
    service = {"A": 150, "B": 150, "C": 150, "D": 147}
    breakage = (1 + 0.5) / sum(service.values())
    drift, out = result.margin_days, {}
    for code, rows in live.groupby("instrument"):
        for k, (pace, _) in enumerate(nodes):
            alive = [1.0]
            for ahead in days:
                left = np.exp(-breakage * ahead)
                for at in rows.index:
                    t = np.linspace(0, 1, 2)[1] * ahead * pace
                    sd = np.sqrt(drift.v0[at] + drift.v1[at] * t + drift.v2[at] * t**2)
                    left *= 1 - stats.norm.cdf((drift.rate[at] * t - drift.margin[at]) / sd)
                alive.append(left)
            out[code, k] = -np.diff(alive)
    return days, live, out


@pytest.mark.parametrize("gsd", [None, 1.0, 5.0])
def test_a_budget_is_the_sum_of_what_it_says_it_sums(result, gsd):
    months, level = 4, result.level
    spread = entry("pace_shift").gsd if gsd is None else gsd
    x, w = np.polynomial.hermite.hermgauss(31)  # of exp(−x²): a normal variable is √2 x
    nodes = (
        [(1.0, 1.0)]
        if spread == 1
        else list(zip(spread ** (np.sqrt(2) * x), w / np.sqrt(np.pi), strict=True))
    )
    days, live, chance = written_out(result, months, nodes)
    plan = ek.budget(result, prices=PRICES, months=months, pace_gsd=gsd)
    codes = sorted(set(live["instrument"]))
    assert codes == ["A", "B", "C"]
    z = stats.norm.ppf((1 + level) / 2)

    def quantiles(law):
        share = np.cumsum(law)
        return [int(np.argmax(share >= s - 1e-12)) for s in ((1 - level) / 2, (1 + level) / 2)]

    def money(means, variances):
        weight = [v for _, v in nodes]
        middle = np.dot(weight, means)
        var = np.dot(weight, variances) + np.dot(weight, (np.array(means) - middle) ** 2)
        return middle, max(middle - z * np.sqrt(var), 0.0), middle + z * np.sqrt(var)

    def law(ps):
        pmf = np.array([1.0])
        for p in ps:
            pmf = np.convolve(pmf, [1 - p, p])
        return pmf

    for m in range(months):
        row = plan.months.iloc[m]
        ps = [[chance[code, k][m] for code in codes] for k in range(len(nodes))]
        mixed = sum(w * law(p) for (_, w), p in zip(nodes, ps, strict=True))
        assert row["replacements"] == pytest.approx(np.arange(4) @ mixed, rel=1e-9)
        assert [row["replacements_low"], row["replacements_high"]] == quantiles(mixed)
        want = money([40 * sum(p) for p in ps], [1600 * sum(q * (1 - q) for q in p) for p in ps])
        assert (row["cost"], row["cost_low"], row["cost_high"]) == pytest.approx(want, rel=1e-9)
        assert row["month"] == pd.Timestamp(result.as_of) + pd.DateOffset(months=m)

    sizes = live["instrument"].value_counts()
    minutes = {"held": (10 * 2.0 + 5 * 3.0) / 15, "free": 0.0}
    unit = {name: PRICES.session.get(name, 0.1) + minutes[name] * 0.5 for name in minutes}
    all_means, all_vars = np.zeros(len(nodes)), np.zeros(len(nodes))
    for name in ("free", "held"):
        rows = live[live["method"] == name]
        means, variances, sessions, gone = [], [], 0.0, 0.0
        for k, (pace, weight) in enumerate(nodes):
            mean = var = 0.0
            for at, code in rows["instrument"].items():
                total = chance[code, k].sum()
                t = days[-1] * pace
                rho, sd = result.pace.per_day[at], result.pace.sd[at]
                mean += 40 * total / sizes[code] + rho * t * unit[name]
                var += 1600 * total * (1 - total) / sizes[code]
                var += unit[name] ** 2 * (result.pace.irregularity * rho * t + (sd * t) ** 2)
                sessions += weight * rho * t
                gone += weight * total / sizes[code]
            means.append(mean)
            variances.append(var)
        all_means, all_vars = all_means + means, all_vars + variances
        row = plan.costs[plan.costs["method"] == name].iloc[0]
        want = money(means, variances)
        assert (row["cost"], row["cost_low"], row["cost_high"]) == pytest.approx(want, rel=1e-9)
        assert row["edges"] == len(rows)
        assert row["sessions"] == pytest.approx(sessions, rel=1e-9)
        assert row["replacements"] == pytest.approx(gone, rel=1e-9)
        assert row["minutes"] == pytest.approx(sessions * minutes[name], rel=1e-9)
        assert row["instruments_cost"] == pytest.approx(40 * gone, rel=1e-9)
        assert row["labour_cost"] == pytest.approx(sessions * minutes[name] * 0.5, rel=1e-9)
        assert row["sessions_cost"] == pytest.approx(
            sessions * PRICES.session.get(name, 0.1), rel=1e-9
        )
    want = money(all_means, all_vars)
    names = ("cost", "cost_low", "cost_high")
    assert [plan.total[name] for name in names] == pytest.approx(want, rel=1e-9)
    ps = [[chance[code, k].sum() for code in codes] for k in range(len(nodes))]
    mixed = sum(w * law(p) for (_, w), p in zip(nodes, ps, strict=True))
    assert [plan.total["replacements_low"], plan.total["replacements_high"]] == quantiles(mixed)
    assert "breakage from 1 in the log" in plan.message
    if spread > 1:
        assert f"times or over {spread:.2g} (assumed)" in plan.message


def test_the_pace_may_shift_five_times_and_no_more(result):
    assert len(_shifts(5.0).pace) == 31
    assert _shifts(1.0).pace.tolist() == _shifts(1.0).weight.tolist() == [1.0]
    assert _shifts(1.3).weight.sum() == pytest.approx(1.0)
    assert _pace_words(_shifts(1.0)) == "the clinic keeps the pace of its log"
    assert "times or over 1.3 (assumed)" in _pace_words(_shifts(1.3))
    for wrong in (5.001, 0.999):
        with pytest.raises(ek.EdgekitError, match="pace_gsd"):
            ek.budget(result, prices=PRICES, pace_gsd=wrong)
    twelve = ek.budget(result, prices=PRICES)
    assert len(twelve.months) == 12
    assert ek.budget(result, prices=PRICES, months=1).months["month"].tolist() == [
        pd.Timestamp(result.as_of)
    ]


def test_a_log_without_an_instrument_in_use_costs_nothing():
    rows = [*clinic_rows("A", (9, 7, 8), method="held"), ("A", "", "2024-05-01", "retired")]
    gone = ek.forecast(log_of(rows), retire=ek.MaxWidthLoss())
    plan = ek.budget(gone, prices=PRICES, months=3)
    assert plan.total["cost"] == plan.total["cost_high"] == plan.total["replacements"] == 0
    assert len(plan.costs) == 0


def test_breakages_are_counted_per_day_in_service():
    rows = [
        ("A", "l", "2025-01-01", "used"),
        ("A", "r", "2025-01-06", "used"),
        ("A", "", "2025-01-11", "broken"),
        ("B", "l", "2025-01-02", "used"),
        ("B", "", "2025-01-22", "retired"),
        ("C", "l", "2025-01-11", "used"),
        ("C", "l", "2025-01-31", "used"),
    ]
    rate, breaks = _breakage(log_of(rows))
    assert breaks == 1
    # A: from its first row by any edge; the first edge listed stands for all
    assert rate == pytest.approx(1.5 / (10 + 20 + 20))
    one_day = _breakage(log_of([("A", "l", "2025-01-01", "used")]))
    assert one_day == (0.5, 0)


def test_counts_of_a_law_are_the_first_to_reach_their_share():
    law = np.array([[0.05, 0.2], [0.9, 0.2], [0.05, 0.6]])
    low, high = _law_quantiles(law, 0.9)
    assert (low.tolist(), high.tolist()) == ([0, 0], [1, 2])
    assert [q.tolist() for q in _law_quantiles(law, 0.5)] == [[1, 1], [1, 2]]
    torn = np.array([[0.5], [0.4]])  # a tenth is lost: no count lies beyond the last
    assert _law_quantiles(torn, 0.98)[1].tolist() == [1]


def test_minutes_of_a_session_are_means_of_those_that_have_any(result):
    assert minutes_per_session(result.log) == {"held": pytest.approx(35 / 15)}


def saved(result, change):
    return ek.saving(result, prices=PRICES, change=change)


def test_a_change_of_method_saves_what_the_formula_says(result):
    change = ek.clinic.MethodChange(pattern="spoon", method="free", to="held")
    found = saved(result, change)
    groups = result.groups.set_index("method")
    z = stats.norm.ppf((1 + result.level) / 2)
    before, after = groups["loss_um_per_session"]["free"], groups["loss_um_per_session"]["held"]
    sds = [
        (groups["loss_um_per_session_high"][m] - groups["loss_um_per_session_low"][m]) / (2 * z)
        for m in ("free", "held")
    ]
    row = result.table[result.table["instrument"] == "C"]
    (at,) = row.index
    rate, rate_sd = result.pace.per_day[at] * 365.25, result.pace.sd[at] * 365.25
    per_um = 40 / (1000 * (0.9 - 0.9 * 0.85))
    each = (before - after) * per_um + 0.1 - (0.3 + 35 / 15 * 0.5)
    spread = np.sqrt((rate * per_um) ** 2 * (sds[0] ** 2 + sds[1] ** 2) + (rate_sd * each) ** 2)
    assert found.per_year == pytest.approx(rate * each, rel=1e-9)
    assert found.per_year_low == pytest.approx(rate * each - z * spread, rel=1e-9)
    assert found.per_year_high == pytest.approx(rate * each + z * spread, rel=1e-9)
    assert found.chance == pytest.approx(stats.norm.cdf(rate * each / spread), rel=1e-9)
    assert (found.edges, found.message) == (1, "")


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_a_change_of_interval_saves_what_the_formula_says(result, factor):
    change = ek.clinic.IntervalChange(pattern="spoon", method="held", factor=factor)
    found = saved(result, change)
    groups = result.groups.set_index("method").loc["held"]
    z = stats.norm.ppf((1 + result.level) / 2)
    loss = groups["loss_um_per_session"]
    sd = (groups["loss_um_per_session_high"] - groups["loss_um_per_session_low"]) / (2 * z)
    law = entry("dull_exponent")
    live = result.table.index[result.table["method"] == "held"]
    total, k, own = 0.0, 0.0, 0.0
    for at in live:
        edges = 2 if result.table["instrument"][at] == "A" else 1
        rate, rate_sd = result.pace.per_day[at] * 365.25, result.pace.sd[at] * 365.25
        per_um = 40 / (135 * edges)
        unit = 0.3 + 35 / 15 * 0.5
        # ρ (b p + u) before; ρ/f (b f^e p + u) after
        each = loss * per_um + unit - (loss * factor**law.value * per_um + unit) / factor
        total, k, own = total + rate * each, k + rate * per_um, own + (rate_sd * each) ** 2
    by_loss = k * (1 - factor ** (law.value - 1)) * sd
    by_law = k * loss * factor ** (law.value - 1) * np.log(factor)
    by_law *= (law.spread.high - law.spread.low) / 4
    spread = np.sqrt(by_loss**2 + by_law**2 + own)
    assert found.edges == 3
    assert found.per_year == pytest.approx(total, rel=1e-9, abs=1e-12)
    assert found.per_year_high - found.per_year_low == pytest.approx(
        2 * z * spread, rel=1e-9, abs=1e-12
    )
    if factor == 1:  # the same interval saves nothing, surely
        assert found.chance == 0.5
    assert "assumed dulling exponent" in found.message


def test_a_saving_in_small_money_has_the_same_chance(result):
    change = ek.clinic.MethodChange(pattern="spoon", method="free", to="held")
    tenths = ek.Prices(
        instrument={"": 0.04}, session={"held": 3e-4, "": 1e-4}, minute=5e-4, currency="kEUR"
    )
    found = ek.saving(result, prices=tenths, change=change)
    assert found.chance == pytest.approx(saved(result, change).chance, rel=1e-9)
    assert 1e-3 < found.chance < 1 - 1e-3


def test_edges_below_their_limit_are_named_and_those_just_above_are_not(result):
    change = ek.clinic.IntervalChange(pattern="spoon", method="held", factor=2.0)
    table = result.table.assign(limit_mm=[0.7, 0.8995, 0.9, 0.7, 0.7])
    with pytest.raises(ek.Cannot, match=r"below the limit.*\['B'\]"):
        saved(dataclasses.replace(result, table=table), change)
    near = result.table.assign(limit_mm=0.8995)  # half a micrometre is left
    assert saved(dataclasses.replace(result, table=near), change).per_year > 0


def test_a_saving_without_any_doubt_is_sure(result, monkeypatch):
    rate = np.array([2.0])
    monkeypatch.setattr(saving_module, "_edges", lambda *_: (rate, 0 * rate, 0.5 * rate))
    monkeypatch.setattr(saving_module, "_loss", lambda _, __, method: (len(method), 0.0))
    change = ek.clinic.MethodChange(pattern="spoon", method="free", to="he")
    found = saved(result, change)
    assert found.per_year == 2.0 * (4 - 2) * 1.0
    assert (found.per_year_low, found.per_year_high, found.chance) == (4.0, 4.0, 1.0)


def test_savings_ask_for_what_the_log_has(result):
    for change, words in (
        (ek.clinic.MethodChange(pattern="spoon", method="none", to="held"), "no edge in use"),
        (ek.clinic.MethodChange(pattern="hoe", method="held", to="free"), "no edge in use"),
        (ek.clinic.MethodChange(pattern="spoon", method="held", to="none"), "no such pattern"),
    ):
        with pytest.raises(ek.Cannot, match=words):
            saved(result, change)
    at_limit = ek.forecast(result.log, retire=ek.MinWidth(width_mm=0.9))
    with pytest.raises(ek.Cannot, match="below the limit"):
        saved(at_limit, ek.clinic.MethodChange(pattern="spoon", method="free", to="held"))


def test_names_without_a_price_take_that_of_the_others_or_are_told():
    assert PRICES.of(PRICES.session, ["held", "free", "x"], "session").tolist() == [0.3, 0.1, 0.1]
    bare = dataclasses.replace(PRICES, session={"held": 0.0})
    assert bare.of(bare.session, ["held"], "session").tolist() == [0.0]
    with pytest.raises(ek.EdgekitError, match="no price of session for 2 names"):
        bare.of(bare.session, ["y", "held", "x", "x"], "session")
    with pytest.raises(ek.EdgekitError, match="minute"):
        dataclasses.replace(PRICES, minute=-1e-9)


def price_table(*rows):
    return pd.DataFrame(rows, columns=["item", "name", "price", "currency"])


def test_prices_of_nothing_are_taken_and_others_refused_by_row():
    free = ek.read_prices(
        price_table(("Instrument ", None, 0, " EUR"), ("session", "x", "1.5", "EUR"))
    )
    assert (free.instrument, free.session, free.minute) == ({"": 0.0}, {"x": 1.5}, 0.0)
    good = ("instrument", "", 4.0, "EUR")
    for bad in (
        ("instrument", "x", -0.01, "EUR"),
        ("hour", "", 1, "EUR"),
        good,
        ("session", "", "1,5", "EUR"),
        ("session", "", np.inf, "EUR"),
    ):
        with pytest.raises(ek.EdgekitError, match="row 2 of the price table"):
            ek.read_prices(price_table(good, bad))
    with pytest.raises(ek.EdgekitError, match="one currency"):
        ek.read_prices(price_table(good, ("minute", "", 1.0, "USD")))


# ---- a clinic's own files ------------------------------------------------------------------


def clinic_of(result, prices=PRICES, **more):
    given = {
        "tray": {"A": ek.patterns.hoe()},
        "log": result.log,
        "prices": prices,
        "problems": pd.DataFrame(columns=own_files.COLUMNS),
    }
    return own_files.ClinicFiles(**(given | more))


def test_what_may_reach_its_limit_within_a_session_is_due(result):
    table = result.table.assign(
        sessions_left=[5.0, 2.04, 3.0, 2.04, 0.0],
        sessions_left_low=[0.999, 0.5, 1.0, 0.4, 0.0],
        sessions_left_high=[9.0, 8.26, 9.0, np.inf, 0.0],
        retire_on_high=pd.to_datetime(["2025-01-01", "2025-02-03", None, None, None]),
    )
    due = _due(dataclasses.replace(result, table=table), PRICES)
    assert due["instrument"].tolist() == ["C", "A"]  # of A the edge with the fewer sessions
    assert due["edge"].tolist() == ["l", "r"]
    assert due["sessions left"].tolist() == [2.0, 2.0]
    assert due["at least"].tolist() == [0.4, 0.5]
    assert due["at most"].tolist() == [np.inf, 8.3]
    assert due["at its limit by"].tolist()[1] == "2025-02-03"
    assert due["price, EUR"].tolist() == [40.0, 40.0]
    other = dataclasses.replace(PRICES, instrument={"": 25.0})
    assert (
        _due(dataclasses.replace(result, table=table), other)["price, EUR"].tolist() == [25.0] * 2
    )
    none = dataclasses.replace(PRICES, instrument={"hoe": 25.0})
    assert _due(dataclasses.replace(result, table=table), none)["price, EUR"].isna().all()


def test_an_hour_says_how_many_such_trays_it_holds(result):
    answer = clinic_of(result).hour()
    middle, _, long = practised(answer.plan)
    assert answer.words[-1] == (
        f"An hour of somebody practised holds {60 / middle:.1f} such trays, to be safe "
        f"{60 / long:.1f}."
    )
    assert answer.plan.minutes_available == 60
    assert answer.words[0].startswith("In 60 minutes: 1 of 1 edges at 1 settings.")
    for name in ("tolerance_deg", "setting_error_deg"):
        want = value({"setting_error_deg": "bench_setting_error_deg"}.get(name, name))
        assert getattr(answer.plan, name) == want


def test_fifteen_kinds_of_problem_are_shown_and_the_rest_counted(result):
    def problems(count):
        return pd.DataFrame(
            [("f.csv", k, f"c{k}", "v", "wrong", "change") for k in range(count)],
            columns=own_files.COLUMNS,
        )

    for count, more in ((15, ""), (16, "And 1 kinds more."), (20, "And 5 kinds more.")):
        html = clinic_of(result, problems=problems(count))._repr_html_()
        assert ("kinds more" in html) is bool(more)
        assert more in html
        assert html.count("<tr>") == 1 + min(count, 15)
    clinic = clinic_of(result, problems=problems(2))
    assert repr(clinic) == (
        f"Read: 1 instruments of the tray, {len(result.log.rows)} lines of the log, prices in "
        "EUR. 2 things to change or to look at."
    )
    assert "things" not in repr(clinic_of(result))


def test_words_about_files():
    assert _advice("2025-01-06?") == "Did you mean 2025-01-06?"
    assert _advice("write it.") == "Write it."
    assert _advice("") == "Change it."
    assert _kind("a width of 86.5 mm, line 3") == "a width of # mm# line #"
    error = ek.EdgekitError("wrong", "x" * 50, "Mend it.")
    assert _said(error) == f"Wrong ({'x' * 40}). Mend it."
    assert _said(ek.EdgekitError("wrong", "", "Mend it.")) == "Wrong. Mend it."
    long = own_files.Answer(title="T", words=("x" * 500,))
    assert repr(long) == "T: " + "x" * 387


def test_codes_and_patterns_are_compared_between_files(result):
    log = SimpleNamespace(rows=pd.DataFrame({"instrument": ["A-1", "B 2"], "pattern": ["hoe", ""]}))
    found = _unlike({"A-1": 1, "b2": 1, "C": 1}, log, "t.csv")
    assert [row[:5] for row in found] == [
        ("t.csv", 0, "instrument", "b2", "the log writes B 2"),
        ("t.csv", 0, "instrument", "C", "no line of the log has this instrument"),
    ]
    assert _unlike({"A": 1}, SimpleNamespace(rows=log.rows.iloc[:0]), "t.csv") == []
    bare = dataclasses.replace(PRICES, instrument={"spoon": 4.0})
    assert [row[:4] for row in _no_price(log, bare, "p.csv")] == [("p.csv", 0, "name", "hoe")]
    assert _no_price(log, PRICES, "p.csv") == []


def test_an_empty_tray_and_missing_files_stand_at_line_0(tmp_path):
    (tmp_path / "tray.csv").write_text("instrument,blade\n", encoding="utf-8")
    paths = {name: tmp_path / f"{name}.csv" for name in ("tray", "log", "prices")}
    found = ek.clinic.read_clinic(**paths).problems
    assert found[["file", "line", "column"]].to_numpy().tolist() == [
        ["tray.csv", 0, ""],
        ["log.csv", 0, ""],
        ["prices.csv", 0, ""],
    ]


def test_faults_of_whole_files_stand_at_line_0_and_values_are_cut(tmp_path):
    tray, log, prices = (tmp_path / f"{name}.csv" for name in ("tray", "log", "prices"))
    tray.write_text("instrument,blade\nB-1,hoe\n", encoding="utf-8")
    rows = [
        ["A-1", "l", "2025-01-06", "measured", "9" * 60],
        ["b 1", "l", "2025-01-07", "used", ""],
    ]
    with log.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["instrument", "edge", "date", "event", "width_mm"], *rows])
    prices.write_text("item,name,price,currency\ninstrument,spoon,4,EUR\n", encoding="utf-8")
    found = ek.clinic.read_clinic(tray=tray, log=log, prices=prices)
    assert found.problems[["file", "line", "value"]].to_numpy().tolist() == [
        ["log.csv", 2, "9" * 40],
        ["tray.csv", 0, "B-1"],
    ]
    assert found.problems["problem"].tolist()[1] == "the log writes b 1"
