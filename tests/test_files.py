"""Every writer leaves the old file or the new one: after kills, on a full disk, without a folder.

What is promised is what POSIX promises of rename and link: the name stands for one file or the
other at every moment (IEEE Std 1003.1, `rename`, `link`).
"""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import edgekit as ek
from edgekit import files
from edgekit.files import write_file

SCRIPT = Path(__file__).with_name("kill_writers.py")
TURN = [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
PLAN = ek.plan_bench([ek.patterns.hoe()])
WRITERS = {
    "write_file": lambda path, **how: write_file(path, "new", **how),
    "write_table": lambda path, **how: ek.write_table(pd.DataFrame({"a": [1]}), path, **how),
    "write_blade": lambda path, **how: ek.write_blade(ek.patterns.hoe(), path, **how),
    "write_blade, points": lambda path, **how: ek.write_blade(
        ek.patterns.hoe().moved(TURN), path, **how
    ),
    "setting_sheet": lambda path, **how: ek.setting_sheet(PLAN, path, **how),
}
ENDS = {"write_blade": ".toml", "write_blade, points": ".toml", "setting_sheet": ".html"}


@pytest.fixture(params=WRITERS, ids=lambda name: name.replace(", ", "-"))
def writer(request):
    """How to write, and the suffix the file takes."""
    return WRITERS[request.param], ENDS.get(request.param, ".csv")


def script(tmp_path: Path, kind: str) -> dict:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(tmp_path), kind],
        check=True,
        capture_output=True,
        text=True,
        env={"PYTHONPATH": str(SCRIPT.parents[1]), "OPENBLAS_NUM_THREADS": "1"},
    )
    return json.loads(done.stdout)


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills need fork")


@needs_fork
@pytest.mark.slow
def test_no_kill_loses_a_file(tmp_path):
    counts = script(tmp_path, "random")
    assert len(counts) == 5
    assert sum(count["kills"] for count in counts.values()) >= 116  # of 125
    for name, count in counts.items():
        lost = {what for what in count if what not in ("kills", "a", "b", "leftovers")}
        assert not lost, (name, count)
        assert count["leftovers"] == 0  # the next write removed them


@needs_fork
@pytest.mark.slow
def test_no_line_of_the_writers_is_one_at_which_a_kill_loses_a_file(tmp_path):
    counts = script(tmp_path, "lines")
    for count in counts.values():
        assert set(count) == {"kills", "a", "b"}, count
        assert count["kills"] == count["a"] + count["b"] - 1 > 30  # the last was not killed


@needs_fork
def test_a_full_disk_leaves_the_old_file_and_no_half_one(tmp_path):
    for count in script(tmp_path, "full").values():
        assert count == {"refused": 2, "as before": True, "a": 1, "new files": 0}


@needs_fork
def test_of_several_that_write_one_new_file_one_is_the_first(tmp_path):
    assert script(tmp_path, "race") == {"one first": 40, "leftovers": 0}


def test_a_missing_folder_is_refused_and_not_made(writer, tmp_path):
    write, end = writer
    for replace in (False, True):
        with pytest.raises(ek.EdgekitError, match="cannot be written") as caught:
            write(tmp_path / "none" / f"x{end}", replace=replace)
        assert caught.value.remedy == "Make the folder first."
    (tmp_path / "file").write_text("x")
    with pytest.raises(ek.EdgekitError, match="cannot be written"):
        write(tmp_path / "file" / f"x{end}")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_folder_or_a_device_is_not_replaced(writer, tmp_path):
    write, end = writer
    (tmp_path / f"x{end}").mkdir()
    with pytest.raises(ek.EdgekitError):
        write(tmp_path / f"x{end}", replace=True)
    (tmp_path / f"y{end}").symlink_to(os.devnull)
    with pytest.raises(ek.EdgekitError, match="a device"):
        write(tmp_path / f"y{end}", replace=True)
    assert Path(os.devnull).is_char_device()
    assert sorted(path.name for path in tmp_path.iterdir()) == [f"x{end}", f"y{end}"]


def test_a_file_that_exists_is_left_alone_unless_told(writer, tmp_path):
    write, end = writer
    path = tmp_path / f"x{end}"
    path.write_bytes(b"old")
    with pytest.raises(ek.EdgekitError, match="exists already") as caught:
        write(path)
    assert "replace=True" in caught.value.remedy
    assert {item.name: item.read_bytes() for item in tmp_path.iterdir()} == {path.name: b"old"}
    write(path, replace=True)
    assert path.read_bytes() != b"old"


@pytest.mark.parametrize(
    "path", ["a\0b.pdf", "\ud800.pdf", "", ".", "..", b"x.pdf", 3, None, "x" * 300 + ".pdf"]
)
def test_what_is_no_path_of_a_file_is_refused(writer, path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ek.EdgekitError) as caught:
        writer[0](path)
    assert caught.value.remedy
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EDQUOT])
@pytest.mark.parametrize(
    ("where", "call"), [(files.os, "fsync"), (files.os, "link"), (files.Path, "open")], ids=str
)
def test_a_disk_that_fails_is_a_named_error(number, where, call, writer, tmp_path, monkeypatch):
    write, end = writer
    works = getattr(where, call)

    def fails(*given, **named):
        if call == "open" and "xb" not in given:  # reading works
            return works(*given, **named)
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(where, call, fails)
    with pytest.raises(ek.EdgekitError, match="cannot be written"):
        write(tmp_path / f"x{end}")
    monkeypatch.undo()
    assert not list(tmp_path.iterdir())


def test_a_file_system_without_links_still_refuses_what_exists(tmp_path, monkeypatch):
    def no_links(*_):
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(files.os, "link", no_links)
    write_file(tmp_path / "x", "old")
    with pytest.raises(ek.EdgekitError, match="exists already"):
        write_file(tmp_path / "x", "new")
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("x", "old")]


def test_a_link_and_the_rights_of_a_file_stay(tmp_path):
    write_file(tmp_path / "real", "old")
    (tmp_path / "real").chmod(0o640)
    (tmp_path / "link").symlink_to("real")
    write_file(tmp_path / "link", "new", replace=True)
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"
    assert (tmp_path / "real").stat().st_mode & 0o777 == 0o640
    with pytest.raises(ek.EdgekitError, match="exists already"):
        write_file(tmp_path / "link", "third")


def test_text_that_utf8_cannot_write_is_refused(tmp_path):
    with pytest.raises(ek.EdgekitError, match="UTF-8"):
        write_file(tmp_path / "x", "half a letter: \ud800")
    with pytest.raises(ek.EdgekitError, match="UTF-8"):
        ek.write_table(pd.DataFrame({"a": pd.Series(["\ud800"], dtype=object)}), tmp_path / "t")
    assert not list(tmp_path.iterdir())


def test_leftovers_of_the_dead_go_at_the_next_write_and_others_stay(tmp_path):
    names = [
        ".x.csv.0123abcd.999999999.tmp",
        ".x.csv.0123abcd.1.tmp",
        "x.csv.999999999.tmp",
        ".x.csv.tmp",
        ".y.csv.0123abcd.999999999.tmp",
    ]
    for name in names:
        (tmp_path / name).write_text("half")
    write_file(tmp_path / "x.csv", "new")
    assert {path.name for path in tmp_path.iterdir()} == {"x.csv", *names[1:]}


# ---- the two files of a blade -------------------------------------------------------------------


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_dots_in_the_names_of_blades_stay(tmp_path):
    blades = {"FH-03.1": ek.patterns.hoe(), "FH-03.2": ek.patterns.straight_sickle()}
    for name, blade in blades.items():
        ek.write_blade(blade, tmp_path / name)
        ek.write_blade(blade.moved(TURN), tmp_path / f"{name}.moved.toml")
    assert names(tmp_path) == sorted(
        f"{name}{end}" for name in blades for end in (".toml", ".moved.toml", ".moved.csv")
    )
    for name, blade in blades.items():
        for given in (name, f"{name}.toml", f"{name}.moved", f"{name}.moved.csv"):
            assert ek.read_blade(tmp_path / given).kind is blade.kind
    (tmp_path / "FH-03.1.toml").rename(tmp_path / "old.settings")
    assert ek.read_blade(tmp_path / "old.settings").kind is blades["FH-03.1"].kind


def test_the_points_of_a_blade_are_written_over_no_other_file(tmp_path):
    (tmp_path / "log.csv").write_text("a log")
    blade = ek.patterns.hoe().moved(TURN)
    for _ in range(3):
        ek.write_blade(blade, tmp_path / "log.toml", replace=True)
        assert (tmp_path / "log.csv").read_text() == "a log"
        assert len(names(tmp_path)) == 3  # the points of the blade before are gone
        assert ek.read_blade(tmp_path / "log").kind is blade.kind


def test_replacing_a_blade_leaves_one_pair(tmp_path):
    hoe, sickle = ek.patterns.hoe().moved(TURN), ek.patterns.straight_sickle().moved(TURN)
    ek.write_blade(hoe, tmp_path / "x")
    assert names(tmp_path) == ["x.csv", "x.toml"]
    ek.write_blade(sickle, tmp_path / "x", replace=True)
    assert len(names(tmp_path)) == 2
    assert ek.read_blade(tmp_path / "x").kind is sickle.kind
    ek.write_blade(ek.patterns.hoe(), tmp_path / "x", replace=True)
    assert names(tmp_path) == ["x.toml"]


def test_points_that_another_blade_reads_stay(tmp_path):
    hoe = ek.patterns.hoe().moved(TURN)
    ek.write_blade(hoe, tmp_path / "x")
    (tmp_path / "y.toml").write_bytes((tmp_path / "x.toml").read_bytes())
    ek.write_blade(ek.patterns.straight_sickle().moved(TURN), tmp_path / "x", replace=True)
    assert ek.read_blade(tmp_path / "y").kind is hoe.kind


def test_a_file_beyond_its_bound_is_not_read(tmp_path):
    from edgekit.files import read_file

    path = tmp_path / "note.txt"
    path.write_bytes(b"12345")
    assert read_file(path, 5) == b"12345"
    with pytest.raises(OSError, match="more than 0 MB"):
        read_file(path, 4)
