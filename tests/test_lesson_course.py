"""The course as a folder: every link leads somewhere, cautions on all pages, handouts of two pages.

Tagged PDF is ISO 14289's (PDF/UA) first requirement; Chromium writes the mark into the file.
"""

import re
import zipfile
from functools import cache
from html import escape

import pytest

import edgekit as ek
from lesson.course import MAX_ZIP, course, on_paper, printed, zipped
from lesson.glossary import entries, linked
from lesson.page import title_of
from lesson.running import executed, several
from lesson.source import HERE, lessons
from lesson.teachers import minutes, notes, questions
from tests.browser import chromium, offline

WORDS = (HERE / "reference" / "glossary.md").read_text("utf-8")
OWN = {"for_instructors", "glossary", "assumed_numbers"}  # pages of the course as a whole
SHEETS = {path.stem: path.read_text("utf-8") for path in HERE.glob("*.md")}
MAX_PAGES = 2  # one sheet of paper
browser = pytest.fixture(scope="module")(chromium)


@cache
def books():
    """All lessons, executed."""
    return dict(zip(lessons(), several(executed, lessons()), strict=True))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("course")
    course(books(), place, SHEETS, words=WORDS)
    return place


def test_the_list_leads_to_every_page_and_no_link_is_broken(folder):
    pages = {path.name for path in folder.glob("*.html")}
    listed = set(re.findall(r'href="([^"]*)"', (folder / "index.html").read_text("utf-8")))
    assert listed == pages - {"index.html", "assumed_numbers.html"}
    assert len(listed) == 4 * len(lessons()) + len(SHEETS) + 2
    assert {"protocol_pictures.html", "protocol_weighing.html"} <= listed
    assert {"worksheet_soap_disc.html", "worksheet_pen_marks.html"} <= listed
    no_broken_links(folder)


def no_broken_links(folder):
    pages = {path.name: path.read_text("utf-8") for path in folder.glob("*.html")}
    for text in pages.values():
        for name, place in re.findall(r'<a [^>]*href="([^"#]+)#?([^"]*)"', text):
            assert name in pages, name
            assert not place or f'id="{place}"' in pages[name], place


def test_cautions_stand_on_every_page_and_answers_are_open_for_teachers_only(folder):
    for path in folder.glob("*.html"):
        text = path.read_text("utf-8")
        assert "Retire a thin, cracked or bent tip" in text
        assert "double arrow" not in re.sub(r'<p class="ek-idle">.*?</p>', "", text)
        if path.stem in {"index", *SHEETS, *OWN}:
            continue
        replies = re.findall(r'<div class="ek-reply[^>]*>', text)
        assert replies
        teacher = "teacher" in path.stem
        assert all((" hidden " in reply) is not teacher for reply in replies)
        assert ("For teachers" in text) is teacher


def test_a_handout_keeps_question_frames_checks_and_bench_and_leaves_out_the_rest(folder):
    for stem in lessons():
        text = (folder / f"{stem}_handout.html").read_text("utf-8")
        for heading in ("Predict", "Play", "Check yourself", "At the bench"):
            assert re.search(rf"<h2[^>]*>{heading}", text)
        assert not re.search(r"<h2[^>]*>See", text)
        assert "What this does not tell you" in text
        assert "ek-book" in text


def test_the_list_says_minutes_and_needs_and_gives_no_answer_away(folder):
    text = (folder / "index.html").read_text("utf-8")
    for stem, book in books().items():
        part = text.split(f"<h2>{stem[:2]} ")[1].split("<h2>")[0]
        assert f"{minutes(book)} minutes. You need {notes(book).need}." in part
        assert "Classes" not in part
    assert f"{sum(map(minutes, books().values()))} minutes" in text


def test_the_instructor_finds_every_lesson_its_misconceptions_and_the_worksheets(folder):
    text = (folder / "for_instructors.html").read_text("utf-8")
    for stem, book in books().items():
        part = text.split(f"<h3>{stem[:2]} ")[1].split("<h3>")[0]
        for name in ("Aim", "Before the answer", "Ask aloud", "Without a computer", "Assumed"):
            assert f"<b>{name}.</b>" in part
        assert escape(notes(book).predicts) in part
        asked = questions(book)
        assert len(asked) >= 3
        assert all(len(ideas) >= 2 for _, ideas in asked)
        assert part.count("<em>") == len(asked)
    assert all(f'href="{name}.html"' in text for name in SHEETS)


def test_assumed_numbers_are_those_of_the_evidence_table(folder):
    text = (folder / "assumed_numbers.html").read_text("utf-8")
    table = ek.evidence()
    loose = table[table["status"].isin(["assumed", "memory"])]
    assert text.count("<tr>") == len(loose) + 1
    assert "freehand swing sd deg" in text
    assert "internal angle deg" not in re.sub("sickle internal angle deg", "", text)  # published


def test_the_glossary_has_every_entry_and_lessons_lead_to_it_once(folder):
    terms = [term for chapter in entries(WORDS).values() for term in chapter]
    text = (folder / "glossary.html").read_text("utf-8")
    assert (
        text.count("<dt ")
        == len(terms)
        == WORDS.count("\n  ") - sum(len(re.findall(r"\n  .*(?=\n  )", part)) for part in [WORDS])
    )
    lesson = (folder / "02_how_to_hold_the_stone.html").read_text("utf-8")
    places = re.findall(r'href="glossary.html#([^"]*)"', lesson)
    assert len(places) == len(set(places)) >= 4


def test_no_sentence_of_the_glossary_is_broken_where_code_was_taken_out():
    said = [words for chapter in entries(WORDS).values() for words in chapter.values()]
    assert not re.search(r"`|\b(an?|in|In|of) ?[.,;]|  ", " ".join(said))
    assert all(words.endswith(".") for words in said)
    with pytest.raises(ek.EdgekitError, match="code within a sentence"):
        entries("## Wear\n```{glossary}\nerror\n  It ends in `_mc`. Small.\n```")


def test_only_plain_words_of_paragraphs_are_linked():
    body = '<h2>The heel</h2><p><a href="x">heel</a> <em title="heel">the heel</em></p><p>heel</p>'
    made = linked(body, "## Blade\n```{glossary}\nheel\n  The end.\n```")
    assert made.count("glossary.html#term-heel") == 1
    assert made.startswith('<h2>The heel</h2><p><a href="x">heel</a> <em title="heel">the <a')
    assert made.endswith("<p>heel</p>")


def test_one_zip_holds_the_folder_and_its_bytes_repeat(folder, tmp_path):
    size = zipped(folder, tmp_path / "course.zip")
    assert size == (tmp_path / "course.zip").stat().st_size <= MAX_ZIP == 8_000_000
    again = tmp_path / "again.zip"
    zipped(folder, again)
    assert again.read_bytes() == (tmp_path / "course.zip").read_bytes()
    with zipfile.ZipFile(again) as archive:
        assert archive.testzip() is None
        names = {name.split("/", 1)[1] for name in archive.namelist()}
        assert names == {path.name for path in folder.iterdir()}


def test_a_course_too_large_for_a_mailbox_is_refused(tmp_path, monkeypatch):
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "index.html").write_text("x" * 2000)
    monkeypatch.setattr("lesson.course.MAX_ZIP", 100)
    with pytest.raises(ek.Cannot, match="8 MB"):
        zipped(tmp_path / "a", tmp_path / "a.zip")
    assert not (tmp_path / "a.zip").exists()


def test_pages_of_an_older_course_do_not_stay(tmp_path):
    (tmp_path / "99_gone.html").write_text("old")
    first = lessons()[0]
    made = course({first: executed(first)}, tmp_path, words=WORDS)
    assert not (tmp_path / "99_gone.html").exists()
    assert all(path.exists() for path in made)


def test_notes_that_lack_a_part_are_refused():
    book = {"cells": [{"source": "# Title?"}, {"source": "Aim: to test. 20 minutes."}]}
    with pytest.raises(ek.EdgekitError, match="lack a part"):
        notes(book)
    with pytest.raises(ek.EdgekitError, match="minutes"):
        minutes(book)
    assert title_of(book) == "Title?"


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


@pytest.mark.parametrize("name", [*sorted(OWN), *sorted(SHEETS)])
def test_pages_of_the_course_fit_a_phone_and_axe_finds_nothing(folder, browser, name):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with offline(browser, 390) as page:
        page.goto((folder / f"{name}.html").as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert axe.run(page).response["violations"] == []
        assert page.asked == []


def test_a_lesson_of_the_course_with_its_links_passes_axe(folder, browser):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with offline(browser) as page:
        page.goto((folder / "02_how_to_hold_the_stone.html").as_uri())
        form = page.locator("form.ek-gate")
        form.get_by_role("radio").first.check()
        form.get_by_role("button", name="Show me").click()
        assert axe.run(page).response["violations"] == []
        page.get_by_role("link", name="holder", exact=True).or_(
            page.locator('a[href^="glossary"]').first
        ).first.click()
        assert page.title() == "Glossary"
        assert page.asked == []


def test_the_list_is_legible_on_a_phone_and_to_axe(folder, browser):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    with offline(browser, 390) as page:
        page.goto((folder / "index.html").as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert axe.run(page).response["violations"] == []
        page.get_by_role("link", name="lesson, 03").click()
        assert page.title() == "Why does a flat stone leave facets?"
        assert page.asked == []
