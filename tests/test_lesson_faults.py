"""Faults put into a lesson or the course on purpose: each is caught by the test named for it."""

import re
import shutil

import pytest

import edgekit as ek
import lesson
from lesson.course import course
from lesson.parts import SHUT
from lesson.running import cell_faults, executed
from tests import test_lesson_course as courses
from tests import test_lesson_notebooks as books
from tests import test_lesson_sources as sources
from tests.browser import chromium

STEM = "03_why_facets_form"
browser = pytest.fixture(scope="module")(chromium)


@pytest.fixture
def book():
    return executed(STEM)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    place = tmp_path_factory.mktemp("whole")
    course(courses.books(), place, courses.SHEETS, words=courses.WORDS)
    return place


@pytest.fixture
def folder(whole, tmp_path):
    return shutil.copytree(whole, tmp_path / "course")


def change(book, old, new, count=1):
    """Put new text in place of old in the first output that has it."""
    for cell in book.cells:
        for output in cell.get("outputs", []):
            html = output.get("data", {}).get("text/html", "")
            if re.search(old, html):
                output["data"]["text/html"] = re.sub(old, new, html, count=count)
                return
    pytest.fail(f"nothing to spoil: {old}")


def caught_by(check, spoiled):
    """The sound thing passes, or the fault would prove nothing; the spoiled one does not."""
    check(executed(STEM))
    with pytest.raises(AssertionError):
        check(spoiled)


def test_a_misspelt_tag(book):
    book.cells[2].metadata["tags"] = ["hide-input", "pedict"]
    caught_by(sources.test_cells_call_and_the_library_thinks, book)


def test_a_figure_without_words(book):
    change(book, r'aria-label="Plan[^"]*"', "")
    caught_by(books.test_saved_pictures_carry_words_and_no_path_of_a_machine, book)
    assert any("without alt text" in fault for fault in cell_faults(book))


def test_a_broken_callback():
    """Frames are drawn when the lesson is built: none is left to fail in front of a class."""

    def broken(value):
        return lesson.flats(None, value)

    with pytest.raises(ek.EdgekitError):
        lesson.flip("placements", broken, [2, 4])


def test_a_control_without_a_name(book):
    change(book, r"<label><span>[^<]*</span>(<input[^>]*>)<output>.*?</output></label>", r"\1")
    caught_by(books.test_every_control_saved_stands_in_a_label_with_words, book)


def test_an_answer_left_open(book):
    change(book, f" {re.escape(SHUT)}>", ">")
    caught_by(books.test_the_answer_is_saved_shut_and_the_rest_waits_for_it, book)


def test_axes_that_rescale(book):
    change(book, r"(ek-book.*?x axis: [^,]*, )-?[\d.]+ to", r"\g<1>-9 to")
    caught_by(books.test_flip_books_print_as_three_by_three_on_axes_of_their_own, book)


def test_a_wrong_key():
    """The right option has one text, wrong ones an idea as well: a key moved by hand is refused."""
    options = {"half": ("in step", "No."), "a quarter": "By the square."}
    lesson.ask("Ridges?", options, right="a quarter")
    with pytest.raises(ek.BadArgument, match="wrong kind of reply"):
        lesson.ask("Ridges?", options, right="half")


def test_a_broken_link(folder):
    courses.no_broken_links(folder)
    (folder / "03_why_facets_form_handout.html").unlink()
    with pytest.raises(AssertionError):
        courses.no_broken_links(folder)


def test_a_link_to_no_entry_of_the_glossary(folder):
    page = folder / "glossary.html"
    page.write_text(page.read_text("utf-8").replace('id="term-', 'id="word-'), encoding="utf-8")
    with pytest.raises(AssertionError):
        courses.no_broken_links(folder)


def test_a_missing_caution(folder):
    check = courses.test_cautions_stand_on_every_page_and_answers_are_open_for_teachers_only
    check(folder)
    page = folder / "03_why_facets_form.html"
    page.write_text(page.read_text("utf-8").replace("Retire a thin", "Keep a thin"), "utf-8")
    with pytest.raises(AssertionError):
        check(folder)


@pytest.mark.slow
def test_a_handout_of_three_pages(folder, browser):
    page = folder / f"{STEM}_handout.html"
    others = [path for path in folder.glob("*handout.html") if path != page]
    for path in others:
        path.unlink()
    courses.test_handouts_are_one_sheet_of_tagged_paper(folder, browser)
    text = page.read_text("utf-8")
    page.write_text(text.replace("</main>", "<p>More and more.</p>" * 150 + "</main>"), "utf-8")
    with pytest.raises(AssertionError):
        courses.test_handouts_are_one_sheet_of_tagged_paper(folder, browser)
