"""The reference: every name has a page, questions lead to functions, links lead somewhere."""

import importlib
import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest
from matplotlib.axes import Axes

import edgekit as ek
from edgekit.figures.words import Picture
from edgekit.lazy import stub_names
from notebooks.reference import docstrings, gallery, links, names, pages, theory
from tests.results import NAMESPACES

ROOT = Path(__file__).parents[1]
HERE = ROOT / "notebooks" / "reference"
HOMES = stub_names(ek.__file__)[0]
OPEN = ("DullingLaw", "Guide", "RetireRule", "Stone", "StopRule", "Stroke")
TICKED = re.compile(r"`(ek\.[^`]+)`")
needs_sphinx = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("sphinx", "furo", "myst_parser")),
    reason="needs the extra `reference`: uv run --extra reference",
)


def text(page):
    return (HERE / page).read_text(encoding="utf-8")


def functions(space):
    return {name for name in dir(space) if inspect.isfunction(getattr(space, name))}


def test_every_public_name_has_a_page_of_its_own():
    shown = {f"ek.{name}" for name in HOMES}
    shown |= {f"ek.{space}.{name}" for space in NAMESPACES for name in dir(getattr(ek, space))}
    spaces = {f"ek.{space}" for space in names.spaces()}
    assert spaces == {f"ek.{space}" for space in NAMESPACES}
    assert shown - spaces <= set(names.lookup())
    files = [name.page.lower() for name in names.names()]  # some file systems ignore capitals
    assert len(set(files)) == len(files)


def test_a_new_name_of_a_stub_appears_by_itself(tmp_path, monkeypatch):
    folder = tmp_path / "newcomer"
    folder.mkdir()
    (folder / "inside.py").write_text("def fresh():\n    pass\n")
    (folder / "__init__.pyi").write_text("from newcomer.inside import fresh as fresh\n")
    (folder / "__init__.py").write_text("def __dir__():\n    return []\n")
    monkeypatch.syspath_prepend(tmp_path)
    package = importlib.import_module("newcomer")
    inside = importlib.import_module("newcomer.inside")
    assert list(names.members(package)) == [("fresh", "newcomer.inside", inside.fresh)]


def test_names_mean_what_the_module_around_them_means():
    by = names.lookup()
    for near, found in (("pictures.width_loss", "pictures.WidthLoss"), ("live", "WidthLoss")):
        assert names.resolve("WidthLoss", by[near]) == (by[found], "")
    assert names.resolve("ek.Life.streams") == (by["Life"], "streams")
    assert names.resolve("ek.Life.nonsense") is None


@pytest.mark.parametrize("page", pages.WRITTEN)
def test_written_pages_name_only_public_things(page):
    for cited in TICKED.findall(text(page)):
        known = names.resolve(cited) or cited.removeprefix("ek.") in names.spaces()
        assert known, f"{cited} is not public"


def test_every_public_function_answers_a_question():
    answers = " ".join(pages.questions().values())
    found = {names.resolve(cited)[0].dotted for cited in TICKED.findall(answers)}
    asked = {name.dotted for name in names.names() if name.kind == "function"}
    assert asked <= found, f"no question leads to {asked - found}"


def test_terms_of_the_glossary_are_unique_and_explained():
    blocks = re.findall(r"```\{glossary\}\n(.*?)```", text("glossary.md"), re.DOTALL)
    terms = [line for block in blocks for line in block.split("\n") if re.match(r"\S", line)]
    assert len(terms) > 80
    assert len({term.lower() for term in terms}) == len(terms)
    for block in blocks:
        assert re.fullmatch(r"(?:\S.*\n(?:  \S.*\n)+\n?)+", block)


def test_the_gallery_knows_every_figure_and_the_lines_that_make_it():
    drawn = {name.dotted.removeprefix("figures.") for name in names.figures()}
    for name in functions(ek.figures) - drawn:
        back = inspect.signature(getattr(ek.figures, name)).return_annotation
        assert back not in (Axes, "Axes"), f"{name} draws and is not in the gallery"
    for name in names.figures():
        back = inspect.signature(name.thing).return_annotation
        assert back in (Axes, "Axes", Picture, "Picture")
        before, call = gallery.example(name)
        assert call.startswith(f"ek.{name.dotted}(")
        assert "edgekit as ek\n" in before


@pytest.mark.parametrize("name", OPEN)
def test_what_users_write_says_how_it_is_checked(name):
    snake = re.sub(r"(?<!^)([A-Z])", r"_\1", name).lower()
    assert f"ek.testing.check_{snake}(" in inspect.getdoc(getattr(ek, name))
    assert f"`ek.testing.check_{snake}`" in text("own.md")
    page = "\n".join(pages.offered(names.lookup()[name]))
    assert f"`ek.testing.check_{snake}` says" in page
    assert "The package offers" in page
    for other in ("`ek.Life`", "`ek.WornBlade`"):  # they have something called `after`, as a law
        assert other not in page


def test_the_evidence_page_holds_every_entry():
    page = pages.evidence()
    assert all(f"``{name}``" in page for name in ek.evidence()["name"])


def test_the_theory_has_a_target_for_each_number_that_docstrings_cite():
    assert len(theory.numbers()) == len(set(theory.numbers()))
    cited = {
        number
        for path in (ROOT / "edgekit").rglob("*.py")
        for words in docstrings.THEORY.findall(path.read_text(encoding="utf-8"))
        for number in re.findall(r"T\d+", words)
    }
    assert cited
    assert cited <= set(theory.numbers())


FAULTS = {
    '<a href="no.html">': "no.html leads to no file",
    '<a href="#nowhere">': "#nowhere leads to no anchor",
    '<a href="other.html#nowhere">': "nowhere leads to no anchor",
    '<img src="missing.png">': "missing.png leads to no file",
    '<script src="https://example.org/x.js">': "fetches https://example.org/x.js",
    '<link rel="stylesheet" href="//example.org/x.css">': "fetches //example.org/x.css",
    "<style>@import url(https://example.org/f.css)</style>": "fetches https://example.org/f.css",
}


@pytest.mark.parametrize(("html", "says"), FAULTS.items(), ids=FAULTS.values())
def test_a_broken_link_and_an_outside_resource_are_faults(tmp_path, html, says):
    (tmp_path / "other.html").write_text('<p id="here">')
    page = tmp_path / "index.html"
    page.write_text('<a href="other.html#here"><a href="https://example.org/"><a href="#top">')
    assert links.faults(tmp_path) == []
    links.read.cache_clear()
    page.write_text(html)
    (fault,) = set(links.faults(tmp_path))
    assert says in fault


@needs_sphinx
@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:.*Check CHANGES for Sphinx")  # the theme's and parser's own
def test_warnings_are_faults_and_formulas_need_no_script(tmp_path):
    make = importlib.import_module("notebooks.reference.make")
    sources, target = tmp_path / "sources", tmp_path / "pages"
    sources.mkdir()
    target.mkdir()
    (sources / "index.md").write_text("# One\n\n`ek.orient` and $\\beta^2$.\n")
    (sources / "function").mkdir()
    (sources / "function" / "orient.md").write_text("---\norphan: true\n---\n# Two\n")
    assert make.sphinx(sources, target) == []
    html = (target / "index.html").read_text(encoding="utf-8")
    assert 'href="function/orient.html"' in html
    assert "<math" in html
    assert links.faults(target) == []
    (sources / "index.md").write_text("# One\n\n`ek.orinet` and [no page](three.md).\n")
    faults = "\n".join(make.sphinx(sources, target))
    assert "ek.orinet is no public name" in faults
    assert "three.md" in faults


@needs_sphinx
@pytest.mark.slow
def test_the_reference_is_made_without_a_warning_or_a_broken_link():
    command = [sys.executable, str(ROOT / "notebooks" / "build.py"), "reference"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    target = ROOT / "build" / "reference"
    for name in names.names():
        html = (target / f"{name.page}.html").read_text(encoding="utf-8")
        assert f"ek.{name.dotted}</h1>" in html.replace('<a class="headerlink"', "</h1>")
    assert "Open this page" in done.stdout
