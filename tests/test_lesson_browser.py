"""Lessons in a real browser: answers shut, keyboard, names and states, no network, phone, paper.

What must hold stands outside the project: WCAG 2.2 as axe-core checks it, the roles and states of
WAI-ARIA 1.2 and the HTML Living Standard as Chromium's accessibility tree gives them.
"""

import re
from functools import cache

import pytest

from lesson.page import page as lesson_page
from lesson.running import executed
from lesson.source import lessons
from tests.browser import chromium, offline

QUICK = {"01_how_dull_is_dull", "03_why_facets_form"}  # the rest of them only CI opens
CASES = [pytest.param(stem, marks=[pytest.mark.slow] * (stem not in QUICK)) for stem in lessons()]
PHONE = 390  # CSS pixels across
browser = pytest.fixture(scope="module")(chromium)


@cache
def made(stem: str, teacher: bool) -> str:
    """A lesson's page."""
    return lesson_page(executed(stem), teacher=teacher)


@pytest.fixture(params=CASES)
def lesson(request, browser, tmp_path):
    """Opens the page of a lesson from a file, and checks that it asked nobody for anything."""
    pages = []

    def opened(*, width=1200, teacher=False):
        file = tmp_path / f"{request.param}{teacher:d}.html"
        file.write_text(made(request.param, teacher), encoding="utf-8")
        manager = offline(browser, width)
        page = manager.__enter__()
        pages.append((manager, page))
        page.goto(file.as_uri())
        return page

    yield opened
    for manager, page in pages:
        assert page.asked == []
        manager.__exit__(None, None, None)


def gate(page):
    return page.locator("form.ek-gate")


def answer(page, option=0):
    form = gate(page)
    form.get_by_role("radio").nth(option).check()
    form.get_by_role("button", name="Show me").click()
    return form


def violations(page):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    found = axe.run(page).response["violations"]
    return [(item["id"], item["nodes"][0]["html"][:200]) for item in found]


def test_the_question_shows_and_the_answer_is_shut_until_an_option_is_chosen(lesson):
    page = lesson()
    form = gate(page)
    assert form.locator("legend").is_visible()
    assert form.get_by_role("button", name="Show me").is_disabled()
    assert form.get_by_role("status").inner_text().strip() == ""
    shut = [*form.locator(".ek-reply").all(), *form.locator(".ek-answer").all()]
    assert len(shut) >= 3
    assert not any(part.is_visible() for part in shut)
    assert not page.get_by_role("heading", name="See", exact=True).is_visible()
    assert page.get_by_text("Wear eye protection").is_visible()  # cautions are never shut
    form.get_by_role("radio").first.check()
    assert form.get_by_role("button", name="Show me").is_enabled()
    assert not form.locator(".ek-answer").is_visible()
    form.get_by_role("button", name="Show me").click()
    assert form.locator(".ek-answer").is_visible()
    assert page.get_by_role("heading", name="See", exact=True).is_visible()


def test_right_and_wrong_replies_sound_and_look_different(lesson):
    page = lesson()
    options = gate(page).get_by_role("radio").count()
    heard = []
    for k in range(options):
        form = answer(page, k)
        said = form.get_by_role("status").inner_text()
        shown = [reply for reply in form.locator(".ek-reply").all() if reply.is_visible()]
        assert len(shown) == 1
        edge = shown[0].evaluate("part => getComputedStyle(part).borderLeftStyle")
        right = said.startswith("✓ Right.")
        assert right or said.startswith("✗ Not quite.")
        assert right or "The idea behind it: " in said
        assert edge == ("solid" if right else "dashed")
        heard.append((right, said))
    assert sum(right for right, _ in heard) == 1
    assert len({said for _, said in heard}) == options


def test_names_roles_and_states_are_in_the_accessibility_tree(lesson):
    page = lesson()
    form = gate(page)
    question = form.locator("legend").inner_text()
    assert form.get_by_role("group", name=question).count() == 1
    tree = form.aria_snapshot()
    assert '- button "Show me" [disabled]' in tree
    options = [label.inner_text().strip() for label in form.locator("label").all()]
    assert len(options) >= 3
    for option in options:
        assert form.get_by_role("radio", name=option, exact=True).count() == 1
    assert "[checked]" not in tree
    answer(page)
    assert "[checked]" in form.aria_snapshot()
    slider = page.get_by_role("slider")
    assert slider.count() == 1
    assert re.search(r'- slider ".+"', page.locator(".ek-book").aria_snapshot())
    for picture in page.get_by_role("img").all():
        name = picture.get_attribute("aria-label") or picture.get_attribute("alt")
        assert len(name) >= 40


def test_the_keyboard_alone_completes_the_lesson(lesson):
    page = lesson()
    keys = page.keyboard

    def tab_to(selector):
        for _ in range(60):
            keys.press("Tab")
            if page.evaluate(f"document.activeElement.matches({selector!r})"):
                return
        pytest.fail(f"the Tab key does not reach {selector}")

    last = gate(page).get_by_role("radio").last
    tab_to("form.ek-gate input")
    keys.press("ArrowUp")  # from the first option round to the last
    assert last.is_checked()
    tab_to("form.ek-gate button")
    keys.press("Enter")
    assert gate(page).locator(".ek-answer").is_visible()
    tab_to(".ek-book input")
    slider, title = page.get_by_role("slider"), page.locator(".ek-book figure:visible figcaption")
    keys.press("End")
    end = title.inner_text()
    assert slider.get_attribute("aria-valuetext") == end
    keys.press("Home")
    assert title.inner_text() != end
    keys.press("ArrowRight")
    assert page.locator(".ek-book output").inner_text() in title.inner_text()
    assert page.locator(".ek-book figure:visible").count() == 1


def test_a_number_box_answers_in_words(browser, tmp_path):
    with offline(browser) as page:
        file = tmp_path / "page.html"
        file.write_text(made("03_why_facets_form", False), encoding="utf-8")
        page.goto(file.as_uri())
        answer(page)
        box = page.get_by_role("spinbutton")
        form = page.locator("form.ek-ask").filter(has=box)
        said = form.get_by_role("status")
        for value, begins in (("2.2", "✓ Right."), ("0.5", "✗ Not quite."), ("9", "✗ Not quite.")):
            box.fill(value)
            box.press("Enter")
            assert said.inner_text().startswith(begins)
        box.fill("")
        assert form.get_by_role("button", name="Show me").is_disabled()


def test_nothing_hangs_over_the_edge_of_a_phone(lesson):
    page = lesson(width=PHONE)
    for _ in range(2):
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE
        answer(page)
    small = page.evaluate(
        "[...document.querySelectorAll('.ek-figure text')].filter(t => t.getClientRects().length)"
        ".map(t => t.getBoundingClientRect().height)"
    )
    assert min(small) > 9  # pixels: words in pictures stay legible


def test_paper_shows_the_frames_three_by_three_and_keeps_the_answers(lesson):
    page = lesson()
    page.emulate_media(media="print")
    frames = page.locator(".ek-frames figure")
    boxes = [frame.bounding_box() for frame in frames.all()]
    assert all(boxes)
    assert len({round(box["x"]) for box in boxes}) == 3
    assert len({round(box["y"]) for box in boxes}) == -(-len(boxes) // 3)
    assert page.get_by_role("heading", name="See", exact=True).is_visible()
    assert not any(part.is_visible() for part in page.locator(".ek-reply, .ek-answer").all())
    assert not any(part.is_visible() for part in page.locator("button").all())
    assert page.get_by_text("Wear eye protection").is_visible()
    for fieldset in page.locator("fieldset").all():  # circles and boxes to tick lie within it
        left = fieldset.bounding_box()["x"]
        assert all(box.bounding_box()["x"] > left for box in fieldset.locator("input").all())
    folds = page.locator(".text details")
    assert folds.count() >= 1
    assert not any(fold.is_visible() for fold in folds.all())  # paper cannot open them


def test_the_teachers_copy_has_every_answer_open(lesson):
    page = lesson(teacher=True)
    headings = page.locator("h2").all()
    assert len(headings) >= 5
    assert all(heading.is_visible() for heading in headings)
    page.emulate_media(media="print")
    parts = page.locator(".ek-reply, .ek-answer, .teacher").all()
    assert len(parts) >= 8
    assert all(part.is_visible() for part in parts)
    assert page.locator("details:not([open])").count() == 0
    assert page.title().endswith("(teacher's copy)")


def test_axe_finds_no_violation_before_and_after_the_answer(lesson):
    page = lesson()
    assert violations(page) == []
    answer(page)
    assert violations(page) == []
