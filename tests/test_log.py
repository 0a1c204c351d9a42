"""Reading logs: every line accounted for, nothing guessed, nothing written over.

Sources: the forms of dates are ISO 8601 and the day-first habit; the rest is the package's own
contract, so most checks here are of bookkeeping, which needs no outside source.
"""

import io
import resource
import warnings
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgekit.clinic.log.dates import read_date
from edgekit.clinic.log.log import read_log
from edgekit.errors import EdgekitError
from tests.spoiled_logs import GOOD, HEAD, SPOILED

CORPUS_LEAST = 60
KILOBYTES_PER_MB = 1000


def _write(tmp_path, text, name="log.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def _good(tmp_path, change=lambda text: text, encoding="utf-8"):
    return read_log(_write(tmp_path, change("\n".join([HEAD, *GOOD]) + "\n"), encoding=encoding))


def test_corpus_of_spoiled_logs_is_large_and_its_names_differ():
    assert len({case.name for case in SPOILED}) == len(SPOILED) >= CORPUS_LEAST


@pytest.mark.parametrize("case", SPOILED, ids=lambda case: case.name)
def test_spoiled_log_ends_in_a_named_row_or_a_named_error_and_is_left_as_it_was(case, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(case.data)
    before = path.stat().st_mtime_ns
    if case.error:
        with pytest.raises(EdgekitError, match=case.error):
            read_log(path)
    else:
        log = read_log(path)
        if case.refused:
            assert log.rejected["reason"].str.contains(case.refused, regex=False).any()
            assert (log.rejected["suggestion"] != "").all()
            assert set(log.rejected["line"]) == set(log.rejected_lines["line"])
        if case.flagged:
            assert log.flags["reason"].str.contains(case.flagged, regex=False).any()
        _all_lines_accounted_for(log, case.data)
    assert path.read_bytes() == case.data
    assert path.stat().st_mtime_ns == before
    assert [p.name for p in tmp_path.iterdir()] == ["log.csv"]


def _all_lines_accounted_for(log, data):
    encoding = "utf-16" if data[:2] == b"\xff\xfe" else "utf-8"
    lines = len(data.decode(encoding, errors="replace").rstrip("\n").split("\n"))
    header = 1
    assert len(log.rows) + len(log.rejected_lines) + log.blank_lines + header == lines
    assert not set(log.rows["line"]) & set(log.rejected_lines["line"])


@pytest.mark.parametrize("case", [c for c in SPOILED if c.refused], ids=lambda c: c.name)
def test_strict_reading_raises_what_lenient_reading_lists(case, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(case.data)
    with pytest.raises(EdgekitError, match=r"line \d+"):
        read_log(path, strict=True)


@pytest.mark.parametrize(
    ("change", "encoding"),
    [
        (lambda t: t, "utf-8"),
        (lambda t: t, "utf-8-sig"),
        (lambda t: t.replace("\n", "\r\n"), "utf-8"),
        (lambda t: t.replace("\n", "\r"), "utf-8"),
        (lambda t: t.rstrip("\n"), "utf-8"),
        (lambda t: t.replace(",", ";"), "utf-8"),
        (lambda t: t.replace(",", "\t"), "utf-8"),
        (lambda t: t.replace(",", ";").replace("0.8", "0,8"), "utf-8"),
        (lambda t: t.replace("0.860", '"0,860"'), "utf-8"),
        (lambda t: t.replace("left", '"left"'), "utf-8"),
        (lambda t: t.replace("width_mm", "Width (mm)").replace("note", "Notes"), "utf-8"),
        (lambda t: t.replace("2025-01-20", "20/01/2025"), "utf-8"),
        (lambda t: t.replace("measured", " MEASURED "), "utf-8"),
    ],
)
def test_one_log_in_many_spellings_reads_the_same(change, encoding, tmp_path):
    plain = _good(tmp_path)
    other = _good(tmp_path, change, encoding)
    assert len(other.rejected) == 0
    pd.testing.assert_frame_equal(plain.rows, other.rows)


def test_dataframe_and_workbook_read_as_the_file_does(tmp_path):
    text = "\n".join([HEAD, *GOOD])
    from_file = _good(tmp_path).rows.drop(columns="line")
    frame = pd.read_csv(io.StringIO(text), parse_dates=["date"])
    untouched = frame.copy(deep=True)
    pd.testing.assert_frame_equal(read_log(frame).rows.drop(columns="line"), from_file)
    pd.testing.assert_frame_equal(frame, untouched)
    pytest.importorskip("openpyxl")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the workbook writer has deprecations of its own
        frame.to_excel(tmp_path / "log.xlsx", index=False)
        book = read_log(tmp_path / "log.xlsx")
    pd.testing.assert_frame_equal(book.rows.drop(columns="line"), from_file)


SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    "{}</sheetData></worksheet>"
)
"""A worksheet as ISO/IEC 29500-1 writes it."""


def _workbook(path, rows):
    """A workbook of a general library whose sheet is replaced by another."""
    openpyxl = pytest.importorskip("openpyxl")
    book = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the workbook writer has deprecations of its own
        openpyxl.Workbook().save(book)
    with zipfile.ZipFile(book) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            sheet = name == "xl/worksheets/sheet1.xml"
            new.writestr(name, SHEET.format(rows) if sheet else old.read(name))
    return path


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ('<row r="3"><c r="XFD3"><v>1</v></c></row>', "16384 columns in row 3"),
        ('<row r="1048576"><c r="A1048576"><v>1</v></c></row>', "more than 500,000 cells"),
        ('<row r="99999999999"><c r="A99999999999"/></row>', "more than 500,000 cells"),
        ("".join(f'<row r="{n}"><c r="IV{n}"/></row>' for n in range(2, 3000)), "500,000 cells"),
        ('<row r="2">' + '<c r="A2"/>' * 600_000 + "</row>", "600,001 cells and rows"),
        ("<x:row/>" * 600_000, "600,000 cells and rows"),
        (" " * 40_000_000, "unpacks to 40 MB"),
    ],
    ids=[
        "far right",
        "far down",
        "beyond any row",
        "wide gaps",
        "one cell often",
        "rows",
        "blanks",
    ],
)
def test_a_small_workbook_that_would_fill_the_memory_is_refused(rows, reason, tmp_path):
    path = _workbook(tmp_path / "log.xlsx", rows)
    assert path.stat().st_size < 100_000
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(EdgekitError, match=reason):
        read_log(path)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 250 * KILOBYTES_PER_MB


def test_a_workbook_within_the_bounds_keeps_every_row_and_its_number(tmp_path):
    cells = '<c r="{1}{0}" t="inlineStr"><is><t>{2}</t></is></c>'
    words = {
        1: ("instrument", "date", "event", "width"),
        4: ("A", "2025-01-06", "measured", "#VALUE!"),
        5: ("A", "2025-01-06", "used", ""),
    }
    rows = "".join(
        f'<row r="{n}">'
        + "".join(cells.format(n, c, w) for c, w in zip("ABCD", row, strict=True))
        + "</row>"
        for n, row in words.items()
    )
    log = read_log(_workbook(tmp_path / "log.xlsx", rows))
    assert log.rows["line"].tolist() == [5]
    assert log.rejected[["line", "reason"]].to_numpy().tolist() == [[4, "not a number"]]
    assert log.blank_lines == 2


def test_a_log_is_what_read_log_gives_and_shows_itself_escaped(tmp_path):
    log = _good(tmp_path)
    assert repr(log) == "Log('log.csv': 4 rows of 1 instruments, 0 lines refused, 0 flags)"
    assert "&#x27;log.csv&#x27;" in log._repr_html_()
    with pytest.raises(EdgekitError, match="a path or a DataFrame"):
        read_log([GOOD])


def test_note_of_several_lines_is_one_row_with_the_line_it_begins_on(tmp_path):
    log = _good(tmp_path, lambda t: t.replace("A,,invented", 'A,,"thin; ""look""\nagain"'))
    assert log.rows["note"].iloc[0] == 'thin; "look"\nagain'
    assert log.rows["line"].tolist() == [2, 4, 5, 6]


def test_unknown_columns_are_kept_as_text(tmp_path):
    log = _good(tmp_path, lambda t: t.replace("operator", "cassette"))
    assert log.rows["cassette"].tolist() == ["A", "B", "B", "A"]


def test_ambiguous_date_shows_both_readings_and_is_settled_by_day_first():
    _, reason, suggestion = read_date("03/04/2025")
    assert "2025-04-03" in reason
    assert "2025-03-04" in reason
    assert "day_first=True" in suggestion
    assert read_date("03/04/2025", day_first=True)[0].isoformat() == "2025-04-03T00:00:00"
    assert read_date("04/04/2025")[0].isoformat() == "2025-04-04T00:00:00"


@settings(max_examples=200, deadline=None)
@given(
    st.dates(
        min_value=pd.Timestamp("1990-01-01").date(), max_value=pd.Timestamp("2100-12-31").date()
    )
)
def test_date_reads_back_from_iso_and_from_day_first(day):
    assert read_date(f"{day:%Y-%m-%d}")[0].date() == day
    written = f"{day:%d/%m/%Y}"
    assert read_date(written, day_first=True)[0].date() == day
    assert (read_date(written)[0] is None) == (day.day <= 12 and day.day != day.month)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.lists(
            st.text(
                st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=12
            ),
            min_size=3,
            max_size=3,
        ),
        max_size=8,
    )
)
def test_any_text_in_a_table_ends_in_rows_refusals_or_blanks(cells):
    frame = pd.DataFrame(cells, columns=["instrument", "date", "event"], dtype="str")
    log = read_log(frame)
    assert len(log.rows) + len(log.rejected_lines) + log.blank_lines == len(frame)


def test_large_log_has_the_same_rows_as_its_halves(tmp_path):
    days = pd.date_range("2024-01-01", periods=400, freq="D").strftime("%Y-%m-%d")
    rows = [f"K-{i % 20:02d},left,{days[i]},used,,,,A,held," for i in range(400)]
    complete = read_log(_write(tmp_path, "\n".join([HEAD, *rows]))).rows
    parts = [
        read_log(_write(tmp_path, "\n".join([HEAD, *rows[s]]))).rows
        for s in (slice(200), slice(200, 400))
    ]
    joined = pd.concat(parts, ignore_index=True)
    assert np.array_equal(complete["date"], joined["date"])
    assert complete.drop(columns="line").equals(joined.drop(columns="line"))
