"""Lessons as they are written: one source each, one question, five parts, cells that only call.

No kernel runs here; what the lessons show when executed is in `test_lesson_notebooks`.
"""

import ast
import json
import re
from itertools import pairwise

import pytest

from lesson.source import HERE, SOURCES, lessons, notebook, saved, stems
from lesson.teachers import notes

BOOKS = lessons()
PARTS = ["## Predict", "## See", "## Play", "## Check yourself", "## At the bench"]
TAGS = {"hide-input", "setup", "predict", "see", "play", "check", "teacher"}
MAX_CELL = 12
MAX_FUNCTION = 10
CELLS = range(8, 15)
WORDS = range(400, 801)


def written(stem):
    """A lesson without its outputs, from its source."""
    return notebook((SOURCES / f"{stem}.py").read_text("utf-8"))


@pytest.fixture(params=BOOKS)
def book(request):
    return written(request.param)


def is_its_sources(path):
    assert path.read_text("utf-8") == saved(path.stem), "run notebooks/build.py build"


@pytest.mark.parametrize("stem", stems())
def test_a_committed_notebook_is_its_sources_and_has_no_output(stem):
    is_its_sources(HERE / f"{stem}.ipynb")
    cells = json.loads((HERE / f"{stem}.ipynb").read_text("utf-8"))["cells"]
    assert not any(cell.get("outputs") for cell in cells)


def test_every_notebook_has_a_source():
    assert sorted(path.stem for path in HERE.glob("*.ipynb")) == stems()


def test_an_edited_notebook_is_caught(tmp_path):
    spoiled = tmp_path / f"{BOOKS[0]}.ipynb"
    spoiled.write_text(saved(BOOKS[0]).replace("invented", "real", 1), "utf-8")
    with pytest.raises(AssertionError, match="build"):
        is_its_sources(spoiled)


def test_it_has_one_question_and_the_five_parts_in_order(book):
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert len(re.findall(r"^# ", text, re.MULTILINE)) == 1
    assert text.splitlines()[0].endswith("?")
    places = [text.index(part) for part in PARTS]
    assert places == sorted(places)
    assert len(text.split()) in WORDS
    assert len(book.cells) in CELLS
    assert "invented" in text
    assert "**Take away.**" in text
    assert "**What this does not tell you.**" in text


def test_its_notes_tell_a_teacher_what_a_class_needs(book):
    told = notes(book)
    assert all(len(part) >= 5 for part in told)
    assert told.ask.endswith("?")


def test_the_key_of_the_first_question_is_computed(book):
    """No option is marked right by hand where the library can say which one is."""
    keys = []
    for cell in book.cells:
        if cell.cell_type == "code":
            for node in ast.walk(ast.parse(cell.source)):
                if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "ask":
                    keys += [word.value for word in node.keywords if word.arg == "right"]
    assert not isinstance(keys[0], ast.Constant)
    assert sum(isinstance(key, ast.Constant) for key in keys) <= 2  # matters of judgement


def test_cells_call_and_the_library_thinks(book):
    for cell in book.cells:
        assert set(cell.metadata.get("tags", [])) <= TAGS
        if cell.cell_type != "code":
            continue
        lines = cell.source.splitlines()
        assert len(lines) <= MAX_CELL
        assert re.fullmatch(r"# .*\(code hidden\)", lines[0])
        assert cell.metadata["jupyter"]["source_hidden"]
        assert "hide-input" in cell.metadata["tags"]
        for node in ast.walk(ast.parse(cell.source)):
            assert not isinstance(node, ast.For | ast.While)
            if isinstance(node, ast.FunctionDef):
                assert node.end_lineno - node.lineno < MAX_FUNCTION


def test_the_readmes_example_reads_its_blade_from_where_jupyterlab_starts():
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    assert "jupyter lab notebooks" in readme
    paths = re.findall(r'read_blade\("(.*?)"\)', readme)
    assert paths
    assert all((HERE / path).is_file() for path in paths)


def test_what_happened_is_shut_until_the_reader_opens_it():
    told = "# Why?\n\n**What happened?** It slid.\nAnd stopped.\n\nMore."
    (cell,) = notebook(f'# %% [markdown]\n"""\n{told}\n"""\n').cells
    head, _, told = cell.source.partition("<details>")
    fold, _, rest = told.partition("</details>")
    assert head == "# Why?\n\n"
    assert fold.startswith("<summary>What happened?")
    assert "It slid.\nAnd stopped." in fold
    assert rest == "\n\nMore."
    assert "It slid" not in head + rest


def prose(book) -> str:
    """The text of a lesson for its readers: no folds, tables, headings or notes for teachers."""
    cells = [c.source for c in book.cells[:-1] if c.cell_type == "markdown"]
    text = re.sub(r"<details><summary>What happened.*?</summary>", "", "\n".join(cells))
    text = re.sub(r"<details>.*?</details>", "", text, flags=re.DOTALL).replace("</details>", "")
    return re.sub(r"^(#|\|).*$", "", text, flags=re.MULTILINE)


def test_it_starts_from_a_bench_decision_with_a_name_and_an_instrument(book):
    start = "\n".join(cell.source for cell in book.cells[:2])
    assert "Fernhollow" in start
    assert re.search(r"Operator [A-F]|Student [A-F]|[Mm]anager|reviewer|photographed", start)
    assert re.search(r"FH-\d\d", start)
    assert re.search(r"\*\*[^*]+\?\*\*", book.cells[0].source)


def test_the_main_text_has_no_formula_and_folds_have(book):
    assert not re.search(r"[=√∫Σ]|\w²", prose(book))
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    for fold in re.findall(r"<details>(.*?)</details>", text, re.DOTALL):
        assert "for teachers" in fold or "<summary>What happened?" in fold


def test_sentences_are_short_and_headings_do_not_skip_a_level(book):
    sentences = [s for s in re.split(r"(?<=[.?!:])\s+", prose(book)) if len(s.split()) > 1]
    assert sum(len(s.split()) for s in sentences) / len(sentences) < 20
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    levels = [len(found) for found in re.findall(r"^(#+) ", text, re.MULTILINE)]
    assert all(two - one <= 1 for one, two in pairwise(levels))
    seen = text.split("## See")[1].split("## Play")[0]
    assert not re.search(r"^### .*\?$", seen, re.MULTILINE)  # a heading there says what is found
