"""Tables to CSV and back without loss, and the invented demo logs.

Sources: `csv` and `pandas.read_csv` as second readers of what is written.
"""

import csv
import importlib.util
import pathlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgekit.clinic.cost.budget import budget
from edgekit.clinic.cost.prices import read_prices
from edgekit.clinic.forecasting.forecast import forecast
from edgekit.clinic.forecasting.survival import survival
from edgekit.clinic.log.log import read_log
from edgekit.errors import EdgekitError
from edgekit.life.retire import MaxWidthLoss
from edgekit.tables import read_table, rows, write_table

DEMO = pathlib.Path(__file__).parents[1] / "data_demo"
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.tuples(
            TEXT,
            st.floats(allow_nan=True),
            st.integers(-(2**53), 2**53),
            st.booleans(),
            st.dates(min_value=pd.Timestamp("1900-01-01").date()),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_any_table_comes_back_the_same(tmp_path_factory, rows):
    frame = pd.DataFrame(rows, columns=["text", "number", "count", "yes", "day"])
    frame["day"] = frame["day"].to_numpy(dtype="datetime64[s]")
    frame["text"] = frame["text"].astype("str")
    path = tmp_path_factory.mktemp("t") / "table.csv"
    write_table(frame, path)
    back = read_table(path)
    assert list(back["text"]) == [row[0] for row in rows]
    assert np.array_equal(back["number"].to_numpy(), frame["number"].to_numpy(), equal_nan=True)
    pd.testing.assert_frame_equal(back[["count", "yes", "day"]], frame[["count", "yes", "day"]])


def test_text_that_a_spreadsheet_would_run_is_guarded_and_comes_back(tmp_path):
    words = ["=1+1", "+A1", "-2", "@x", "'quoted", "plain", "007", "", "2025-01-06", "True"]
    write_table(pd.DataFrame({"note": words}), tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(encoding="utf-8", newline="") as file:
        seen = [row[0] for row in list(csv.reader(file))[2:]]
    assert not any(word[:1] in {"=", "+", "-", "@"} for word in seen)
    assert read_table(tmp_path / "t.csv")["note"].tolist() == words


def test_file_that_exists_is_left_alone_unless_told(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("mine")
    with pytest.raises(EdgekitError, match="exists already"):
        write_table(pd.DataFrame({"a": [1]}), path)
    assert path.read_text() == "mine"
    write_table(pd.DataFrame({"a": [1]}), path, replace=True)
    assert read_table(path)["a"].tolist() == [1]


def test_table_that_would_lose_something_is_not_written(tmp_path):
    fine = pd.DataFrame({"when": pd.to_datetime(["2025-01-06 10:00:00.5"])})
    mixed = pd.DataFrame({"cell": ["a", 1.5]}, dtype=object)
    for frame in (fine, mixed):
        with pytest.raises(EdgekitError, match="would not come back"):
            write_table(frame, tmp_path / "t.csv")
    assert not (tmp_path / "t.csv").exists()


def test_whole_numbers_keep_every_digit(tmp_path):
    """Limits of 64 bits, and neighbours that one float would stand for: (2^53 + 1, 2^53)."""
    ends = [np.iinfo(np.int64).min, np.iinfo(np.int64).max, 2**53, 2**53 + 1, 10**18 + 1]
    large = [0, 2**63, np.iinfo(np.uint64).max, 2**63 + 1, 10**19 + 1]
    frame = pd.DataFrame({"signed": np.array(ends), "large": np.array(large, dtype=np.uint64)})
    write_table(frame, tmp_path / "t.csv")
    back = read_table(tmp_path / "t.csv")
    assert back["signed"].tolist() == ends
    assert back["large"].tolist() == large
    pd.testing.assert_frame_equal(back, frame)


@pytest.mark.parametrize(
    "column",
    [
        pytest.param(np.array([1, 2], dtype=np.longdouble) / 3, id="long floats"),
        pytest.param(pd.Series([2**64, 1], dtype=object), id="beyond 64 bits"),
        pytest.param(pd.Series([1, None], dtype="Int64"), id="gaps among whole numbers"),
        pytest.param(np.array([1j, 2]), id="complex"),
        pytest.param(pd.to_timedelta([1, 2], unit="s"), id="time spans"),
    ],
)
def test_numbers_that_would_not_come_back_are_refused_by_name(tmp_path, column):
    with pytest.raises(EdgekitError, match="column width would not come back"):
        write_table(pd.DataFrame({"code": ["a", "b"], "width": column}), tmp_path / "t.csv")
    assert not list(tmp_path.iterdir())


def test_names_of_columns_that_are_no_text_are_refused(tmp_path):
    with pytest.raises(EdgekitError, match="column 0 would not come back"):
        write_table(pd.DataFrame({0: [1.5]}), tmp_path / "t.csv")


def test_a_table_cut_anywhere_is_refused(tmp_path):
    """At a row's end most of all, where what is left is a sound CSV file."""
    path = tmp_path / "t.csv"
    frame = pd.DataFrame({"code": ["007", "a\r\nb", "c"], "width_mm": [0.9, 0.8, 0.725]})
    write_table(frame, path)
    whole = path.read_bytes()
    for size in range(len(whole)):
        path.write_bytes(whole[:size])
        with pytest.raises(EdgekitError):
            read_table(path)
    path.write_bytes(whole + b'"d",0.7\r\n')
    with pytest.raises(EdgekitError, match="must have 3 rows of 2 columns"):
        read_table(path)


def test_a_spreadsheet_may_save_the_first_line_its_own_way(tmp_path):
    frame = pd.DataFrame({"code": ["x", "y"], "width_mm": [0.9, 0.8]})
    write_table(frame, tmp_path / "t.csv")
    first, *rest = (tmp_path / "t.csv").read_text().splitlines()
    assert first == "# 2 rows of 2 columns; written by edgekit"
    for line in (f"{first},", f'"{first}",', f"{first},,,"):
        (tmp_path / "s.csv").write_text("\n".join([line, *rest]) + "\n")
        assert read_table(tmp_path / "s.csv").equals(frame)
    (tmp_path / "s.csv").write_text("\n".join(rest))
    assert read_table(tmp_path / "s.csv").equals(frame)


def test_a_log_written_as_a_table_is_read_as_a_log(tmp_path):
    log = read_log(DEMO / "log.csv")
    write_table(log.rows, tmp_path / "log.csv")
    again = read_log(tmp_path / "log.csv")
    assert len(again.rows) == len(log.rows)


def test_rows_of_any_csv_text_come_with_their_lines():
    """Against `csv`, which knows no lines; a quotation mark left open names its line."""
    text = 'curve,x_mm\n"a\nb",0.5\n\n"c ""d""",7\n'
    assert [row for _, row in rows(text)] == list(csv.reader(text.splitlines(keepends=True)))
    assert [line for line, _ in rows(text)] == [1, 2, 4, 5]
    with pytest.raises(EdgekitError, match="line 2 of points is not CSV"):
        list(rows('a,b\n"c,d\n', "points"))


def test_marks_in_the_middle_of_a_cell_and_odd_words_of_other_tables(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text('size,day\n5" long,1\n')
    with pytest.raises(EdgekitError, match=r"line 2 of t\.csv has a quotation mark in the middle"):
        read_table(path)
    path.write_text("size,day\n1_0,2025-13-01\n2_0,2025-01-06\n")
    assert read_table(path).to_dict("list") == {
        "size": ["1_0", "2_0"],
        "day": ["2025-13-01", "2025-01-06"],
    }


@pytest.mark.parametrize("text", ["", '"a","b"\r\n1\r\n', '"a\r\n1', '"a","a"\r\n1,2\r\n'])
def test_table_that_is_none_is_a_named_error(tmp_path, text):
    (tmp_path / "t.csv").write_bytes(text.encode())
    with pytest.raises(EdgekitError):
        read_table(tmp_path / "t.csv")


@pytest.fixture(scope="module")
def logs():
    return {name: read_log(DEMO / name) for name in ("log.csv", "log_messy.csv")}


def test_every_table_of_the_demo_comes_back_the_same(logs, tmp_path):
    log = logs["log_messy.csv"]
    result = forecast(log, retire=MaxWidthLoss(fraction=0.2))
    plan = budget(result, prices=read_prices(DEMO / "prices.csv"))
    lives = survival(log)
    tables = [
        log.rows,
        log.rejected,
        log.rejected_lines,
        log.flags,
        result.table,
        result.groups,
        result.unread,
        plan.months,
        plan.costs,
        lives.lives,
        lives.curve,
    ]
    for at, table in enumerate(tables):
        path = tmp_path / f"{at}.csv"
        write_table(table, path)
        back = read_table(path)
        assert list(back) == list(table)
        for name in table:
            if len(table) and table[name].notna().any():
                pd.testing.assert_series_equal(
                    table[name], back[name], check_dtype=False, check_index=False, check_exact=True
                )


def test_clean_demo_log_is_clean_and_of_the_stated_size(logs):
    log = logs["log.csv"]
    assert len(log.rejected) == len(log.flags) == 0
    assert log.rows["instrument"].nunique() == 96
    assert sorted(log.rows["operator"].unique()) == list("ABCDEF")
    months = (log.rows["date"].max() - log.rows["date"].min()).days / 30.44
    assert 13 < months < 14.5


def test_messy_demo_log_loses_no_line_and_most_of_it_with_the_users_word_on_dates(logs):
    log = logs["log_messy.csv"]
    with (DEMO / "log_messy.csv").open(encoding="utf-8-sig", newline="") as file:
        lines = len(list(csv.reader(file, delimiter=";")))
    assert len(log.rows) + len(log.rejected_lines) + log.blank_lines + 1 == lines
    settled = read_log(DEMO / "log_messy.csv", day_first=True)
    assert len(settled.rejected_lines) < 0.02 * lines < len(log.rejected_lines)
    assert forecast(log, retire=MaxWidthLoss(fraction=0.2)).caution != ""


def test_every_row_of_every_demo_file_is_marked_invented():
    for name in ("log.csv", "log_truth.csv", "prices.csv"):
        assert (pd.read_csv(DEMO / name)["note"] == "invented").all()
    text = (DEMO / "log_messy.csv").read_text(encoding="utf-8-sig")
    assert "invented" in text.splitlines()[0]


def test_loss_of_the_demo_is_found_within_its_intervals(logs):
    truth = pd.read_csv(DEMO / "log_truth.csv")
    table = forecast(logs["log.csv"], retire=MaxWidthLoss(fraction=0.2)).table
    both = table.merge(truth, on=["instrument", "edge"], suffixes=("", "_true"))
    true = both["loss_um_per_session_true"]
    inside = (both["loss_um_per_session_low"] <= true) & (true <= both["loss_um_per_session_high"])
    # 132 edges: the share of a 90 % interval has a standard error of 2.6 %
    assert 0.82 <= inside.mean() <= 0.98


def test_demo_script_makes_the_committed_files_again(tmp_path):
    spec = importlib.util.spec_from_file_location("make_logs", DEMO / "make_logs.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.main(tmp_path)
    for path in tmp_path.iterdir():
        assert path.read_bytes() == (DEMO / path.name).read_bytes()
