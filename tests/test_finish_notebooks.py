"""Shape of the notebooks on stroke direction, on face or sides, and on placements."""

import ast
import re
from pathlib import Path

import nbformat
import pytest

HERE = Path(__file__).parent.parent / "notebooks"
ALONE = ["03_stroke_direction_and_teeth", "04_face_or_sides"]  # controls that need the set-up only
BOOKS = [*ALONE, "05_how_many_placements_how_often"]
PARTS = ["## Predict", "## See", "## Play", "## Check yourself", "## At the bench"]
MAX_CELL = 12
MAX_FUNCTION = 10


@pytest.fixture(params=BOOKS)
def book(request):
    return nbformat.read(HERE / f"{request.param}.ipynb", as_version=4)


def test_it_has_one_question_and_the_five_parts_in_order(book):
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert len(re.findall(r"^# ", text, re.MULTILINE)) == 1
    assert text.splitlines()[0].endswith("?")
    places = [text.index(part) for part in PARTS]
    assert places == sorted(places)
    assert len(text.split()) <= 900
    assert "**Take away.**" in text
    assert "**What this does not tell you.**" in text


def test_cells_call_and_the_library_thinks(book):
    for cell in book.cells:
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


def test_saved_pictures_carry_words_and_no_path_of_a_machine(book):
    text = nbformat.writes(book)
    assert not re.search(r"/(home|root|tmp|work|Users)/", text)
    pictures = re.findall(r"<img[^>]*>", text)
    assert len(pictures) >= 5
    assert all(re.search(r'alt=\\"[^\\"]{40,}', picture) for picture in pictures)
    assert len(text) < 400_000


def test_cautions_and_teacher_notes_close_it(book):
    assert book.cells[-2].source.endswith("ek.cautions()")
    assert "Wear eye protection" in str(book.cells[-2].outputs)
    assert "teacher" in book.cells[-1].metadata["tags"]


@pytest.mark.parametrize("book", ALONE, indirect=True)
def test_every_value_of_the_control_draws(book):
    """A callback's error stays unseen in an executed notebook, so each value is called here."""
    asked = []
    names: dict[str, object] = {}
    cells = [cell for cell in book.cells if cell.cell_type == "code"]
    setup, play = (
        next(cell.source for cell in cells if tag in cell.metadata["tags"])
        for tag in ("setup", "play")
    )
    exec(setup, names)  # noqa: S102 - a cell of our own

    def dial(draw, _label, values):
        asked.extend((draw, value) for value in values)

    names["dial"] = dial
    exec(play, names)  # noqa: S102
    assert len(asked) >= 5
    for draw, value in asked:
        assert f"{value}" in draw(value).alt
