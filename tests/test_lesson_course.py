"""The course as a folder: every link leads somewhere, cautions on all pages, handouts of two pages.

Tagged PDF is ISO 14289's (PDF/UA) first requirement; Chromium writes the mark into the file.
"""

import re
from pathlib import Path

import nbformat
import pytest

from lesson.course import course, on_paper, printed
from tests.browser import chromium, offline

HERE = Path(__file__).parent.parent / "notebooks"
BOOKS = {path.stem: nbformat.read(path, as_version=4) for path in sorted(HERE.glob("0*.ipynb"))}
SHEETS = {path.stem: path.read_text("utf-8") for path in HERE.glob("*.md")}
MAX_PAGES = 2  # one sheet of paper
browser = pytest.fixture(scope="module")(chromium)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("course")
    course(BOOKS, place, SHEETS)
    return place


def test_the_list_leads_to_every_page_and_no_link_is_broken(folder):
    pages = {path.name for path in folder.glob("*.html")}
    listed = set(re.findall(r'href="([^"]*)"', (folder / "index.html").read_text("utf-8")))
    assert listed == pages - {"index.html"}
    assert len(listed) == 4 * len(BOOKS) + len(SHEETS)
    assert {"protocol_pictures.html", "protocol_weighing.html"} <= listed
    for path in folder.glob("*.html"):
        links = re.findall(r'<a [^>]*href="([^"#]*)"', path.read_text("utf-8"))
        assert set(links) <= pages


def test_cautions_stand_on_every_page_and_answers_are_open_for_teachers_only(folder):
    for path in folder.glob("*.html"):
        text = path.read_text("utf-8")
        assert "Retire a thin, cracked or bent tip" in text
        assert "double arrow" not in re.sub(r'<p class="ek-idle">.*?</p>', "", text)
        if path.stem in ("index", *SHEETS):
            continue
        replies = re.findall(r'<div class="ek-reply[^>]*>', text)
        assert replies
        teacher = "teacher" in path.stem
        assert all((" hidden " in reply) is not teacher for reply in replies)
        assert ("For teachers" in text) is teacher


def test_a_handout_keeps_question_frames_checks_and_bench_and_leaves_out_the_rest(folder):
    for stem in BOOKS:
        text = (folder / f"{stem}_handout.html").read_text("utf-8")
        for heading in ("Predict", "Play", "Check yourself", "At the bench"):
            assert re.search(rf"<h2[^>]*>{heading}", text)
        assert not re.search(r"<h2[^>]*>See", text)
        assert "What this does not tell you" in text
        assert "ek-book" in text


def test_without_a_browser_nothing_is_printed_and_nothing_fails(folder, monkeypatch):
    monkeypatch.setattr("shutil.which", lambda _: None)
    assert printed([folder / "index.html"]) == []


@pytest.mark.slow
def test_handouts_are_one_sheet_of_tagged_paper(folder, browser):
    for made in on_paper(browser, sorted(folder.glob("*[0-9a-z]_handout.html"))):
        data = made.read_bytes()
        pages = len(re.findall(rb"/Type\s*/Page\b", data))
        teacher = "teacher" in made.stem
        assert 1 <= pages <= (2 * MAX_PAGES if teacher else MAX_PAGES), made.name
        assert re.search(rb"/Marked\s+true", data)
        assert (folder / made.name).exists()


def test_the_list_is_legible_on_a_phone_and_to_axe(folder, browser):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with offline(browser, 390) as page:
        page.goto((folder / "index.html").as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert axe.run(page).response["violations"] == []
        page.get_by_role("link", name="lesson, 02").click()
        assert page.title() == "Why does a flat stone leave facets?"
        assert page.asked == []
