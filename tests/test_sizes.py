"""Sizes that no computer bears are refused before they take memory or time."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

import edgekit as ek
from edgekit.clinic.log import files
from edgekit.digitising import blade_file
from edgekit.life import worn_file

PROGRAM = Path(__file__).parent / "hostile_sizes.py"
MAX_GB = 1.0
MAX_S = 60
BEARABLE = {"table at the bound", "compare again"}  # read, and measured; all lives at most


@pytest.mark.slow
def test_no_hostile_size_takes_a_gigabyte_or_a_minute(tmp_path):
    done = subprocess.run(
        [sys.executable, PROGRAM, tmp_path],
        capture_output=True,
        text=True,
        check=True,
        cwd=PROGRAM.parents[1],
        env={"PYTHONPATH": str(PROGRAM.parents[1]), "OPENBLAS_NUM_THREADS": "1"},
    )
    found = json.loads(done.stdout)
    assert len(found) >= 47
    for name, (came, seconds, peak_gb) in found.items():
        assert came == ("result" if name in BEARABLE else "refused"), name
        assert seconds < MAX_S, name
        assert peak_gb < MAX_GB, name


def test_a_log_has_as_many_lines_and_cells_as_it_may(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text("instrument,date,event\n" + "A,2025-01-06,used\n" * 3)
    monkeypatch.setattr(files, "MAX_LINES", 4)
    assert len(ek.read_log(path).rows) == 3
    monkeypatch.setattr(files, "MAX_LINES", 3)
    with pytest.raises(ek.BadFile, match="more than 3 lines"):
        ek.read_log(path)
    monkeypatch.setattr(files, "MAX_LINES", 4)
    monkeypatch.setattr(files, "MAX_TEXT_CELLS", 7)
    with pytest.raises(ek.BadFile, match="or 7 cells"):
        ek.read_log(path)


def test_a_table_has_as_many_cells_as_it_may_when_written_and_when_read(tmp_path, monkeypatch):
    import pandas as pd

    from edgekit import tables

    table = pd.DataFrame({"a": [1.0, 2.0], "b": [3.0, 4.0]})
    ek.write_table(table, tmp_path / "t.csv")
    monkeypatch.setattr(tables, "MAX_CELLS", 7)  # header, remark and two rows of two
    with pytest.raises(ek.BadFile, match="7 cells"):
        ek.read_table(tmp_path / "t.csv")
    monkeypatch.setattr(tables, "MAX_CELLS", 3)
    with pytest.raises(ek.EdgekitError, match="3 cells"):
        ek.write_table(table, tmp_path / "u.csv")


def test_a_trace_has_as_many_points_as_it_may(tmp_path, monkeypatch):
    file = Path(__file__).parents[1] / "data_demo" / "traces" / "FH-03-UC.toml"
    assert ek.read_blade(file).trace is not None
    monkeypatch.setattr(blade_file, "MAX_TRACE_POINTS", 20)
    with pytest.raises(ek.BadFile, match=r"\.csv: points of curve left are more than 20"):
        ek.read_blade(file)
    monkeypatch.setattr(blade_file, "MAX_POINTS", 20)
    with pytest.raises(ek.BadFile, match="more than 20 points"):
        ek.read_blade(file)


def test_a_worn_blade_that_could_not_be_read_is_not_written(tmp_path, monkeypatch):
    worn = ek.use(ek.patterns.hoe(), 45)
    monkeypatch.setattr(worn_file, "MAX_BYTES", 1000)
    with pytest.raises(ek.EdgekitError, match="fewer stations"):
        ek.write_worn(worn, tmp_path / "w.json")
    assert not list(tmp_path.iterdir())
