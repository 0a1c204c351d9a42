"""A clinic's own files: templates filled in, spoiled in the ways people spoil them, and answered.

What must come out is stated beside each case; the messy demo log read straight from its file is
the reference for the same log filled into the templates.
"""

import csv
import io
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import nbformat
import pandas as pd
import pytest

import edgekit as ek
from edgekit.clinic.bench.by_sheet import practised
from edgekit.clinic.log.columns import COLUMNS, ENTRY
from lesson.running import executed
from lesson.source import SOURCES, notebook

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"
TEMPLATES = DEMO / "templates"
NAMES = ("tray", "log", "prices")
HEADS = {
    "tray": ["instrument", "blade", "note"],
    "log": [*COLUMNS, ENTRY],
    "prices": ["item", "name", "price", "currency", "note"],
    "trace": ["curve", "x_mm", "y_mm", "z_mm"],
}
TRAY = "FH-03-UC,universal curette,\nFH-03-AS1,area-specific curette,\nFH-03-HO,hoe,\n"
LOG = "".join(
    f"{code},{pattern},{edge},2025-{month:02d}-06,{event},{width},,,C,{method},,\n"
    for code, pattern, edge in (
        ("FH-03-UC", "universal curette", "left"),
        ("FH-03-AS1", "area-specific curette", "used"),
        ("FH-03-HO", "hoe", "edge"),
    )
    for month, event, width, method in (
        (1, "measured", "0.860", ""),
        (2, "sharpened", "0.852", "held"),
        (3, "sharpened", "0.846", "held"),
        (4, "sharpened", "0.838", "held"),
    )
)
PRICES = "instrument,,38,EUR,\nsession,,0.15,EUR,\nminute,,0.55,EUR,\n"
GOOD = {"tray": TRAY, "log": LOG, "prices": PRICES}


def template(name, suffix="csv"):
    return (TEMPLATES / f"{name}.{suffix}").read_text(encoding="utf-8")


def filled(folder, **lines):
    """The three templates with lines below their headers, or files with other bytes altogether."""
    for name in NAMES:
        text = lines.get(name, GOOD[name])
        if text is None:
            continue
        data = text if isinstance(text, bytes) else (template(name) + text).encode()
        (folder / f"{name}.csv").write_bytes(data)
    return {name: folder / f"{name}.csv" for name in NAMES}


def answers(clinic, folder):
    """All that the notebook shows."""
    hour = clinic.hour(tolerance_deg=4)
    return [clinic.replacement_list(), hour, hour.sheet(folder / "sheet.html", title="Tray")]


@pytest.mark.parametrize("name", HEADS)
def test_a_template_has_the_readers_columns_and_says_how_to_fill_each(name):
    remarks, header = template(name).rstrip("\n").rsplit("\n", 1)
    assert header.split(",") == HEADS[name]
    assert all(line.startswith("# ") for line in remarks.split("\n"))
    said = re.findall(r"[a-z_]+(?=[:,])", remarks)
    assert set(HEADS[name]) <= set(said)
    for column in HEADS[name]:
        assert not column.endswith("_mm") or "millimetres" in remarks


def examples(name):
    """The example lines of a template without their marks."""
    lines = template(name).split("Two examples")[-1].split("Three examples")[-1].split("\n")[1:]
    return "".join(f"{line[2:]}\n" for line in lines if line.startswith("# "))


def test_the_examples_in_the_templates_are_read_as_they_stand(tmp_path):
    files = filled(tmp_path, **{name: examples(name) for name in NAMES})
    with pytest.raises(ek.BadFile, match=r"trace\.toml"):  # the trace must be made first
        ek.read_tray(files["tray"])
    ek.write_blade(ek.patterns.area_specific_curette(), tmp_path / "trace.toml")
    assert list(ek.read_tray(files["tray"])) == ["FH-03-UC", "FH-03-AS1"]
    log = ek.read_log(files["log"], strict=True)
    assert log.rows["width_mm"].tolist() == [0.842, 0.842]
    assert set(log.rows["instrument"] + log.rows["edge"]) == {"FH-03-AS1used"}
    assert len(log.flags) == 0
    assert ek.read_prices(files["prices"]).minute == 0.55


def test_a_trace_filled_into_its_template_is_the_trace(tmp_path):
    text = template("trace", "toml")
    for key, value in {
        "name": '"FH-03-AS1"',
        "kind": '"area-specific curette"',
        "order": '"toe to heel"',
        "face": '"planar"',
        "handle_axis": "[0.0147, 0.3286, -0.9443]",
    }.items():
        text = re.sub(rf"^{key} = [^#\n]*", f"{key} = {value} ", text, flags=re.MULTILINE)
    text = re.sub(r"^# (\w+ = [\d.]+)", r"\1", text, flags=re.MULTILINE)
    (tmp_path / "trace.toml").write_text(text, encoding="utf-8")
    demo = (DEMO / "traces" / "FH-03-AS1.csv").read_text(encoding="utf-8")
    points = "\n".join(line for line in demo.split("\n") if line.startswith(("used", "unused")))
    (tmp_path / "trace.csv").write_text(template("trace") + points, encoding="utf-8")
    mine, theirs = (
        ek.read_blade(path) for path in (tmp_path / "trace.toml", DEMO / "traces/FH-03-AS1.toml")
    )
    assert mine.edges["used"].length_mm == theirs.edges["used"].length_mm
    assert mine.name == theirs.name


def messy(separator):
    """The rows of the messy log in the columns of the template."""
    raw = (DEMO / "log_messy.csv").read_text(encoding="utf-8-sig").split("\n")
    head = raw[2].split(";")
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    for row in csv.reader(raw[3:], delimiter=";"):
        cells = dict(zip(head, row, strict=False))
        writer.writerow(cells.get(name, "") for name in HEADS["log"])
    return out.getvalue()


@pytest.mark.parametrize("separator", [",", ";"])
def test_templates_filled_with_the_messy_demo_data_give_list_plan_and_sheet(tmp_path, separator):
    shutil.copytree(DEMO / "traces", tmp_path / "traces")
    tray = (DEMO / "tray_FH-03.csv").read_text(encoding="utf-8").split("\n", 1)[1]
    prices = (DEMO / "prices.csv").read_text(encoding="utf-8").split("\n", 1)[1]
    files = filled(tmp_path, tray=tray, log="", prices=prices)
    log = template("log")
    if separator == ";":  # as a spreadsheet of another country saves it
        remarks, header = log.rstrip("\n").rsplit("\n", 1)
        log = f"{remarks}\n{header.replace(',', ';')}\n"
    files["log"].write_text(log + messy(separator), encoding="utf-8-sig")
    clinic = ek.clinic.read_clinic(**files, day_first=True)
    plain = ek.read_log(DEMO / "log_messy.csv", day_first=True)
    assert len(clinic.log.rows) == len(plain.rows) == 7240
    assert len(clinic.log.rejected_lines) == len(plain.rejected_lines) - 1  # no title above
    due, hour, sheet = answers(clinic, tmp_path)
    there = ek.forecast(plain, retire=ek.MaxWidthLoss(fraction=0.2)).table
    there = there[(there["status"] == "in use") & (there["sessions_left_low"] < 1)]
    assert set(due.table["instrument"]) == set(there["instrument"])
    assert due.table["sessions left"].is_monotonic_increasing
    assert set(due.table["price, EUR"]) <= {38.0, 36.0, 39.0, 31.0, 33.0, 29.0}
    assert hour.plan.edges["planned"].sum() == 11
    assert hour.plan.order["instrument"].iloc[0] == "FH-03-AS1"  # the one due in this tray
    assert "FH-03-AS1" in sheet.html
    assert (tmp_path / "sheet.html").read_text(encoding="utf-8") == sheet.html
    middle, _, long = practised(hour.plan)
    trays = f"An hour of somebody practised holds {60 / middle:.1f} such trays, to be safe"
    assert hour.words[-1] == f"{trays} {60 / long:.1f}."
    assert middle > 40  # and not the plan's own ten minutes


@dataclass(frozen=True)
class Spoiled:
    """A slip in one of the files: which file is named, and words of what to change."""

    name: str
    file: str
    text: str | bytes | None
    change: str
    day_first: bool = False


def _cell(line, old, new):
    """Lines of the good log with one cell of one line changed."""
    lines = LOG.split("\n")
    assert old in lines[line]
    lines[line] = lines[line].replace(old, new)
    return "\n".join(lines)


_ENTRY = "FH-03-UC/left/U6/0.830/0.830"
SPOILED = [
    Spoiled("tray not there", "tray", None, "Check the path"),
    Spoiled("tray untouched", "tray", "", "Write a line for each instrument"),
    Spoiled("pattern misspelt", "tray", TRAY.replace("hoe", "hoo"), "Did you mean 'hoe'?"),
    Spoiled("code twice", "tray", TRAY + TRAY, "another code"),
    Spoiled("trace missing", "tray", TRAY.replace("hoe", "x.toml"), "Check the path"),
    Spoiled("codes of digits", "tray", "007,hoe,\n008,hoe,\n", "quotation marks"),
    Spoiled("header misspelt", "tray", b"instrumnt,blade\nA,hoe\n", "Name them instrument, blade"),
    Spoiled("too many cells", "tray", TRAY.replace("hoe,", "hoe,a, b"), "quotation marks"),
    Spoiled("tray elsewhere", "tray", TRAY.replace("hoe", "/x.toml"), "Copy that file"),
    Spoiled("log not there", "log", None, "Check the path"),
    Spoiled("log untouched", "log", "", "Write a line for each event"),
    Spoiled("no dates", "log", LOG.encode(), "Name the columns"),
    Spoiled("two readings", "log", _cell(1, "2025-02-06", "06/02/2025"), "day_first=True"),
    Spoiled("month first", "log", _cell(1, "2025-02-06", "02/26/2025"), "2025-02-26?", True),
    Spoiled("micrometres", "log", _cell(2, "0.846", "846"), "0.846 mm, if this was in micro"),
    Spoiled("a unit", "log", _cell(2, "0.846", "0.846 mm"), "0.846 mm?"),
    Spoiled("event misspelt", "log", _cell(1, "sharpened", "sharpend"), "Did you mean sharpened?"),
    Spoiled("no width", "log", _cell(0, "0.860", ""), "Write the width."),
    Spoiled("no code", "log", _cell(0, "FH-03-UC", ""), "Write the instrument's code"),
    Spoiled(
        "entry mistyped",
        "log",
        f",,,2025-05-06,checked,,,,,,,{_ENTRY[:4]}1{_ENTRY[5:]}\n",
        "Type it again as the sheet has it",
    ),
    Spoiled(
        "widths differ",
        "log",
        LOG + f",,,2025-05-06,checked,,,,,,,{_ENTRY[:-1]}1\n",
        "Look at the sheet and retype",
    ),
    Spoiled("codes unlike", "log", LOG.replace("FH-03-AS1", "FH 03 AS1"), "alike in both files"),
    Spoiled("prices not there", "prices", None, "Check the path"),
    Spoiled("not UTF-8", "prices", PRICES.encode("utf-16"), "Save it as CSV in UTF-8"),
    Spoiled("prices untouched", "prices", "", "Write a line for each item"),
    Spoiled("decimal comma", "prices", PRICES.replace("38", '"38,50"'), "a point for decimals"),
    Spoiled("negative price", "prices", PRICES.replace("38", "-38"), "a price of 0 or more"),
    Spoiled("two currencies", "prices", PRICES.replace("0.15,EUR", "0.15,GBP"), "Convert"),
    Spoiled("item unknown", "prices", PRICES.replace("session", "sesion"), "Items are instrument"),
    Spoiled("pattern without price", "prices", PRICES.replace("t,,38", "t,hoe,38"), "Add a line"),
]


def test_the_good_filling_has_no_problem_and_three_answers(tmp_path):
    clinic = ek.clinic.read_clinic(**filled(tmp_path))
    assert clinic.problems.empty
    due, hour, sheet = answers(clinic, tmp_path)
    assert len(hour.table) == len(hour.plan.settings)
    assert isinstance(sheet, ek.SheetPage)
    assert "The coming year asks for" in due.words[-1]


def test_there_are_twenty_spoiled_fillings_and_more():
    assert len({case.name for case in SPOILED}) == len(SPOILED) >= 20


@pytest.mark.parametrize("case", SPOILED, ids=lambda case: case.name)
def test_a_spoiled_filling_ends_in_a_sentence_that_says_what_to_change(case, tmp_path):
    files = filled(tmp_path, **{case.file: case.text})
    clinic = ek.clinic.read_clinic(**files, day_first=case.day_first)
    rows = clinic.problems[clinic.problems["change"].str.contains(case.change, regex=False)]
    assert len(rows) >= 1, clinic.problems.to_string()
    wanted = "tray.csv" if case.name == "codes unlike" else f"{case.file}.csv"
    assert set(rows["file"]) <= {wanted, "x.toml"}
    assert clinic.problems["change"].str.contains(r"[.?]$").all()
    assert clinic.problems["problem"].str.len().min() > 3
    shown = [clinic, *answers(clinic, tmp_path)]
    for part in shown:
        assert part._repr_html_()
    for part in shown[1:]:
        for sentence in getattr(part, "words", ()):
            assert re.match(r"[A-Z0-9]", sentence)
            assert re.search(r"[.?]$", sentence)


@pytest.mark.parametrize(
    ("case", "line"),
    [("pattern misspelt", "hoo"), ("decimal comma", "38,50"), ("micrometres", "846,,")],
)
def test_the_line_named_is_the_line_of_the_file(case, line, tmp_path):
    spoiled = next(item for item in SPOILED if item.name == case)
    files = filled(tmp_path, **{spoiled.file: spoiled.text})
    said = ek.clinic.read_clinic(**files).problems.iloc[0]["line"]
    assert line in files[spoiled.file].read_text("utf-8").split("\n")[said - 1]


def test_without_any_file_every_answer_says_why(tmp_path):
    files = {name: tmp_path / f"{name}.csv" for name in NAMES}
    clinic = ek.clinic.read_clinic(**files)
    assert len(clinic.problems) == 3
    due, hour, sheet = answers(clinic, tmp_path)
    assert due.words == ("There is no list, because the log could not be read.",)
    assert "There is no plan, because the tray list" in hour.words[0]
    assert sheet.words[0] == "There is no sheet, because there is no plan."
    assert not list(tmp_path.iterdir())


def run(cells, **names):
    """The code cells as a kernel runs them: what the last line of each is, with other files."""
    space, shown = {}, []
    for source in cells:
        *before, last = source.rstrip().split("\n")
        exec("\n".join(before), space)  # noqa: S102
        if "=" in last.split("(")[0]:
            exec(last, space)  # noqa: S102
            space |= names
        else:
            shown.append(eval(last, space))
    return shown


def test_the_notebook_answers_and_shows_sentences_where_files_are_spoiled(tmp_path, monkeypatch):
    book = notebook((SOURCES / "your_own_clinic.py").read_text("utf-8"))
    cells = [cell.source for cell in book.cells if cell.cell_type == "code"]
    monkeypatch.chdir(tmp_path)
    files = {name: str(path) for name, path in filled(tmp_path).items()}
    clinic, due, hour, sheet, _ = run(cells, **files)
    assert isinstance(sheet, ek.SheetPage)
    assert hour.plan is not None
    files = {name: str(path) for name, path in filled(tmp_path, tray="", log="").items()}
    clinic, due, hour, sheet, _ = run(cells, **files)
    assert "no instrument" in clinic._repr_html_()
    assert due.table.empty
    assert sheet.words[0].startswith("There is no sheet")


@pytest.mark.long
def test_the_notebook_is_short_and_answers():
    book = executed("your_own_clinic")
    assert len(book.cells) <= 14
    text = " ".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert len(text.split()) < 250
    saved = nbformat.writes(book)
    assert "The coming year asks for" in saved
    assert "srcdoc" in saved
    assert "Wear eye protection" in saved
    assert "Traceback" not in saved
    assert not re.search(r"/(home|root|tmp|work|Users)/", saved)


def test_remarks_have_no_vote_on_what_parts_the_cells(tmp_path):
    file = tmp_path / "log.csv"
    remark = "# " + ", ".join("abcdefghijklmnop")
    rows = "instrument;date;event;width_mm\nA-1;2025-01-06;measured;0,86\n"
    file.write_text(f"{remark}\n{rows}", encoding="utf-8")
    log = ek.read_log(file, strict=True)
    assert log.rows["width_mm"].tolist() == [0.86]
    assert (log.blank_lines, log.rows["line"].tolist()) == (1, [3])


def test_a_tray_list_written_as_a_table_and_torn_is_told(tmp_path):
    file = tmp_path / "tray.csv"
    ek.write_table(pd.DataFrame({"instrument": ["A-1", "A-2"], "blade": ["hoe", "hoe"]}), file)
    assert list(ek.read_tray(file)) == ["A-1", "A-2"]
    whole = file.read_bytes()
    file.write_bytes(whole[: whole.rindex(b'"A-2"')])
    with pytest.raises(ek.BadFile, match="must have 2 rows"):
        ek.read_tray(file)
