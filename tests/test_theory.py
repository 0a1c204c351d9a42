"""The theory notebook: its numbers, the functions it names, who cites it. The build runs it."""

import importlib
import re
from pathlib import Path

import pytest

from lesson.running import executed
from lesson.source import HERE, notebook

ROOT = Path(__file__).parents[1]
BOOK = notebook((HERE / "sources" / "theory.py").read_text("utf-8"))
TEXTS = [cell.source for cell in BOOK.cells if cell.cell_type == "markdown"]
HEADING = re.compile(r"### T(\d+)\. (.+): `([\w.]+)`\n")
FORMULAS = {int(m[1]): (m[2], m[3], text) for text in TEXTS if (m := HEADING.match(text))}
SOURCES = sorted([*(ROOT / "edgekit").rglob("*.py"), *(ROOT / "tests").rglob("*.py")])
CITATION = re.compile(r"\btheory\s+T(\d+)", re.IGNORECASE)
UNPUBLISHED = re.compile(r"\b(the|trade's)\s+brief\b|\bbrief,?\s+section", re.IGNORECASE)

each_formula = pytest.mark.parametrize("number", FORMULAS)


@pytest.fixture(scope="module")
def printed():
    """What the theory prints when executed."""
    cells = executed("theory").cells
    return "\n".join(out.get("text", "") for cell in cells for out in cell.get("outputs", []))


def home(name):
    """The module of a dotted name, and the names within it."""
    parts = name.split(".")
    size = len(parts) - 1
    while size > 1 and parts[size - 1][:1].isupper():  # a method of a class
        size -= 1
    return ".".join(parts[:size]), parts[size:]


def test_formulas_are_numbered_in_order_and_listed_in_the_contents():
    assert list(FORMULAS) == list(range(1, len(FORMULAS) + 1))
    contents = next(text for text in TEXTS if text.startswith("## Contents"))
    rows = re.findall(r"\| T(\d+) \| (.+) \| `([\w.]+)` \|", contents)
    assert rows == [(str(n), title, name) for n, (title, name, _) in FORMULAS.items()]


@pytest.mark.long
@each_formula
def test_each_formula_names_symbols_a_source_and_a_function_that_exists(number, printed):
    _, name, text = FORMULAS[number]
    assert "*Symbols*: " in text
    assert "*Source*: " in text
    module, names = home(name)
    missing = f"T{number} NOT COMPARED: {module} is not in this version"
    try:
        found = importlib.import_module(module)
    except ModuleNotFoundError:
        assert missing in printed  # the notebook says so itself
        return
    assert missing not in printed
    for part in names:
        found = getattr(found, part)


@pytest.mark.long
@each_formula
def test_each_formula_is_derived_and_compared(number, printed):
    assert re.search(rf"^T{number} (derived|checked): ", printed, re.MULTILINE)
    assert re.search(rf"^T{number} (compared|NOT COMPARED): ", printed, re.MULTILINE)


def test_every_number_cited_is_in_the_notebook():
    cited = {
        (path.name, int(number))
        for path in SOURCES
        for number in CITATION.findall(path.read_text(encoding="utf-8"))
    }
    assert len(cited) > 20
    assert {(name, n) for name, n in cited if n not in FORMULAS} == set()


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_sources_are_ones_that_a_reader_can_find(path):
    if path.name != Path(__file__).name:
        assert not UNPUBLISHED.search(path.read_text(encoding="utf-8"))
