"""Text from files and arguments neither runs, nor leaves its folder, nor alters a page."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import edgekit as ek
from edgekit.figures.style import spoken
from tests.results import DEMO, QUICK

HIDDEN = ("\u200b", "\u202e", "\u2066", "\u200f", "\ufeff", "\u00ad", "\x07")
POINTED = """format = "edgekit blade 1"
name = "b"
kind = "hoe"
source = "points"
points = {points}
order = "heel to toe"
handle_axis = [0.0, 0.0, -1.0]
thickness_mm = 0.6
width_mm = 2.0
"""
SECRET = "root:x:0:0\nanother line\n"
NAMES = ("cost $5 to $6", "$$", "$", r"\$x$", r"$\frac{1}{2}$", "<b>bold</b>", "a & b", "% {x} \\")


@pytest.fixture
def folder(tmp_path):
    """A folder with a blade whose points are to be named, beside a file that it must not read."""
    (tmp_path / "secret.csv").write_text(SECRET)
    (tmp_path / "inside").mkdir()
    (tmp_path / "inside" / "link.csv").symlink_to(tmp_path / "secret.csv")
    return tmp_path / "inside"


@pytest.mark.parametrize(
    "points",
    ["../secret.csv", "./../secret.csv", "link.csv", "{outside}", "..", "/etc/passwd", "."],
)
def test_a_blade_reads_points_from_its_own_folder_alone(points, folder):
    name = points.format(outside=folder.parent / "secret.csv")
    (folder / "b.toml").write_text(POINTED.format(points=f'"{name}"'))
    with pytest.raises(ek.BadFile, match="points is no file in the same folder") as caught:
        ek.read_blade(folder / "b.toml")
    assert "root:x" not in str(caught.value)
    assert (caught.value.line, caught.value.column) == (5, "points")


def test_a_tray_reads_blades_from_its_own_folder_and_below_alone(folder):
    tray = folder / "tray.csv"
    (folder / "below").mkdir()
    ek.write_blade(ek.patterns.hoe(), folder / "below" / "hoe.toml")
    ek.write_blade(ek.patterns.hoe(), folder.parent / "hoe.toml")
    tray.write_text("instrument,blade\nA-1,below/hoe.toml\n")
    assert list(ek.read_tray(tray)) == ["A-1"]
    tray.write_text("instrument,blade\nA-1,../hoe.toml\n")
    with pytest.raises(ek.BadFile, match="outside its folder"):
        ek.read_tray(tray)


READERS = ("read_blade", "read_log", "read_tray", "read_prices", "read_table", "read_worn")


def test_a_pipe_is_refused_by_every_reader_and_waited_for_by_none(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "b.toml").write_text(POINTED.format(points='"pipe"'))
    calls = [f"ek.{name}('pipe')" for name in READERS]
    calls += ["ek.read_blade('b.toml')", "ek.write_blade(ek.patterns.hoe(), 'pipe.toml')"]
    calls += ["ek.pictures.read_picture('pipe', response=ek.pictures.SRGB)"]
    os.mkfifo(tmp_path / "pipe.toml")
    tries = [
        f"try:\n {call}\n print('taken')\nexcept ek.EdgekitError:\n print('refused')"
        for call in calls
    ]
    done = subprocess.run(
        [sys.executable, "-c", "import edgekit as ek\n" + "\n".join(tries)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        cwd=tmp_path,
        env={"PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert done.stdout.split() == ["refused"] * len(calls)


def test_text_is_no_expression_of_a_curve(tmp_path):
    import sympy

    u = sympy.Symbol("u")
    text = f"__import__('pathlib').Path({str(tmp_path / 'ran')!r}).touch()"
    for given in ((text, u, 0), (u, text, 0), text):
        with pytest.raises(ek.EdgekitError, match="expressions"):
            ek.SymbolicCurve(expressions=given, parameter=u, domain=(0, 1))
    with pytest.raises(ek.EdgekitError, match=r"symbol|Symbol|name"):
        ek.SymbolicCurve(expressions=(sympy.Symbol(text), u, 0), parameter=u, domain=(0, 1))
    assert not list(tmp_path.iterdir())


# ---- letters that cannot be seen -----------------------------------------------------------


@pytest.mark.parametrize("letter", HIDDEN)
def test_a_letter_that_cannot_be_seen_makes_no_second_instrument_of_a_log(letter):
    rows = {
        "instrument": ["A1", f"A{letter}1"],
        "edge": ["left", f"{letter}left"],
        "date": ["2025-01-06", f"2025-02-03{letter}"],
        "event": ["measured", f"meas{letter}ured"],
        "width_mm": ["0.86", f"{letter}0.84"],
    }
    log = ek.read_log(pd.DataFrame(rows))
    assert log.rows["instrument"].tolist() == ["A1", "A1"]
    assert log.rows["edge"].tolist() == ["left", "left"]
    assert log.rows["width_mm"].tolist() == [0.86, 0.84]
    said = log.flags[log.flags["reason"] == "letters that cannot be seen"]
    assert said["line"].tolist() == [2] * 5
    assert f"U+{ord(letter):04X} taken out of instrument" in said["detail"].tolist()


def test_two_spellings_of_one_letter_and_two_blanks_are_one_instrument():
    names = ["Bühler 1", "Bu\u0308hler 1", "Bühler\u00a01", "Bühler\u20071"]
    rows = {"instrument": names, "date": "2025-01-06", "event": "used"}
    log = ek.read_log(pd.DataFrame(rows))
    assert log.rows["instrument"].unique().tolist() == ["Bühler 1"]
    assert not (log.flags["reason"] == "letters that cannot be seen").any()


def test_codes_in_two_alphabets_are_flagged():
    rows = {"instrument": ["AB-1", "АВ-1"], "date": "2025-01-06", "event": "used"}
    flags = ek.read_log(pd.DataFrame(rows)).flags
    assert flags["reason"].str.contains("look alike").any()


@pytest.mark.parametrize("letter", HIDDEN)
def test_a_tray_and_a_plan_name_the_letter_that_cannot_be_seen(letter, tmp_path):
    says = f"U\\+{ord(letter):04X}"
    with pytest.raises(ek.EdgekitError, match=says):
        ek.plan_bench({f"A{letter}1": ek.patterns.hoe()})
    (tmp_path / "tray.csv").write_text(f'instrument,blade\n"A{letter}1",hoe\n', encoding="utf-8")
    with pytest.raises(ek.BadFile, match=says):
        ek.read_tray(tmp_path / "tray.csv")


def test_direction_marks_of_a_name_reach_no_page(tmp_path):
    method = replace(QUICK, name="held \u202eat 15\u2066")
    session = ek.sharpen(ek.patterns.hoe(), method, dull_radius_um=4.0, rng=1, stations=8)
    pages = [session._repr_html_(), method._repr_html_()]
    plan = ek.plan_bench({"A-1": ek.patterns.hoe()})
    ek.setting_sheet(plan, tmp_path / "s.html", title="Tray \u202e1")
    pages.append((tmp_path / "s.html").read_text(encoding="utf-8"))
    for page in pages:
        assert not set(page) & {"\u202e", "\u2066"}
    assert "<h1>Tray 1</h1>" in pages[-1]


# ---- names in pictures and pages -----------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_a_name_is_drawn_as_it_is(name):
    method = replace(QUICK, name=name)
    compared = ek.compare(
        ek.patterns.hoe(),
        [method, replace(method, name=name + " 2")],
        runs=3,
        seed=1,
        stations=8,
        depths=4,
    )
    ax = ek.figures.differences(compared)
    ax.figure.canvas.draw()  # mathematics that is none raises here
    texts = [text.get_text() for text in (*ax.texts, *ax.get_yticklabels(), ax.title)]
    texts += [text.get_text() for text in (ax.legend_.get_texts() if ax.legend_ else ())]
    assert any(" ".join(name.split()) in spoken(text) for text in texts)
    assert all(text.count("$") == text.count(r"\$") for text in texts)
    picture = ek.figures.picture(ax, dpi=40.0)._repr_html_()
    assert "<b>bold</b>" not in picture


def test_a_long_word_in_a_title_is_refused_and_in_a_code_drawn(tmp_path):
    plan = ek.plan_bench({"W" * 80: ek.patterns.hoe()})
    ek.setting_sheet(plan, tmp_path / "s.html", title="W" * 120)
    with pytest.raises(ek.EdgekitError, match="a title has 1 to 120 letters"):
        ek.setting_sheet(plan, tmp_path / "t.html", title="W" * 2000)
    with pytest.raises(ek.EdgekitError, match="a code has over 80 letters"):
        ek.plan_bench({"W" * 81: ek.patterns.hoe()})


def test_a_messy_log_is_read_where_it_lies():
    assert ek.read_log(DEMO / "log_messy.csv").rows["instrument"].nunique() > 10
