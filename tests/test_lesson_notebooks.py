"""Lessons as they are saved: one question, five parts, answers shut, words beside pictures."""

import ast
import re
from pathlib import Path

import nbformat
import pytest

from lesson.page import page
from lesson.parts import SHUT

HERE = Path(__file__).parent.parent / "notebooks"
BOOKS = sorted(path.stem for path in HERE.glob("[0-9]*.ipynb"))
PARTS = ["## Predict", "## See", "## Play", "## Check yourself", "## At the bench"]
TAGS = {"hide-input", "setup", "predict", "see", "play", "check", "teacher"}
MAX_CELL = 12
MAX_FUNCTION = 10


@pytest.fixture(params=BOOKS)
def book(request):
    return nbformat.read(HERE / f"{request.param}.ipynb", as_version=4)


def outputs(book) -> str:
    return "\n".join(
        item.get("data", {}).get("text/html", "")
        for cell in book.cells
        for item in cell.get("outputs", [])
    )


def test_it_has_one_question_and_the_five_parts_in_order(book):
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert len(re.findall(r"^# ", text, re.MULTILINE)) == 1
    assert text.splitlines()[0].endswith("?")
    places = [text.index(part) for part in PARTS]
    assert places == sorted(places)
    assert len(text.split()) <= 800
    assert "invented" in text
    assert "**Take away.**" in text
    assert "**What this does not tell you.**" in text


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


def test_the_answer_is_saved_shut_and_the_rest_waits_for_it(book):
    saved = outputs(book)
    assert saved.count('class="ek-ask ek-gate"') == 1
    replies = re.findall(r'<div class="ek-(?:reply|answer)[^>]*>', saved)
    assert len(replies) >= 6
    assert all(reply.endswith(f" {SHUT}>") for reply in replies)
    assert saved.count("✓ Right.") == saved.count('class="ek-ask') >= 3
    assert saved.count("The idea behind it: ") == saved.count("✗ Not quite.")
    gate = next(k for k, cell in enumerate(book.cells) if "ek-gate" in str(cell.get("outputs")))
    see = next(k for k, cell in enumerate(book.cells) if "## See" in cell.source)
    assert gate < see


def test_flip_books_print_as_three_by_three_on_axes_of_their_own(book):
    books = outputs(book).split('<div class="ek-book">')[1:]
    assert len(books) == 1
    frames = re.findall(r'<figure data-value="(.*?)"( hidden)?', books[0])
    assert 5 <= len(frames) <= 9
    assert [shut for _, shut in frames].count("") == 1
    drawings = re.findall(r'aria-label="([^"]*)"', books[0].split("</figure></div>")[0])
    assert len(drawings) == len(frames)
    assert len({text.rsplit("x axis", 1)[1] for text in drawings}) == 1


def test_saved_pictures_carry_words_and_no_path_of_a_machine(book):
    saved = outputs(book)
    text = nbformat.writes(book)
    assert not re.search(r"/(home|root|tmp|work|Users)/", text)
    pictures = re.findall(r"<img[^>]*>|<svg viewBox[^>]*>", saved)
    assert len(pictures) >= 6
    words = [re.search(r'(?:alt|aria-label)="([^"]{40,})"', picture) for picture in pictures]
    assert all(words)
    assert len(text) < 400_000
    assert "widget" not in text


def test_tables_have_headings_and_no_row_numbers(book):
    for head in re.findall(r"<thead>(.*?)</thead>", outputs(book), re.DOTALL):
        assert "<th></th>" not in head
        assert "<th" in head


def test_cautions_and_teacher_notes_close_it(book):
    assert book.cells[-2].source.endswith("ek.cautions()")
    assert "Wear eye protection" in str(book.cells[-2].outputs)
    assert "teacher" in book.cells[-1].metadata["tags"]
    made = page(book)
    assert "Wear eye protection" in made
    assert "For teachers" not in made


def test_the_readmes_example_reads_its_blade_from_where_jupyterlab_starts():
    readme = (HERE.parent / "README.md").read_text(encoding="utf-8")
    assert "jupyter lab notebooks" in readme
    paths = re.findall(r'read_blade\("(.*?)"\)', readme)
    assert paths
    assert all((HERE / path).is_file() for path in paths)
