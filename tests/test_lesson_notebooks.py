"""Lessons as they are executed: what they say, answers shut, words beside pictures."""

import json
import re
from html import unescape
from pathlib import Path

import nbformat
import pytest

from lesson.drawing import BLUE, GREY, INK, VERMILION
from lesson.page import page
from lesson.parts import SHUT
from lesson.running import executed, said
from lesson.source import stems
from lesson.teachers import minutes
from tests.test_lesson_sources import BOOKS, prose

STORED = json.loads((Path(__file__).parent / "regression_lessons.json").read_text("utf-8"))
# Reading and answering, assumed: 130 words of plain text a minute (English prose is read at some
# 240, Brysbaert 2019, from memory; a learner stops to think), a minute for each thing to look at,
# one and a half for each question. What a lesson states lies within a factor of 1.5 of that.
WORDS_A_MINUTE = 130
GONE = [  # said once, and wrong, or at odds with another lesson
    "hundredth of a red blood cell",
    "40 times enlarged",
    r"\b450 times",
    "(week|patient|month)[^.]{0,40} 45 strokes",
    "45 strokes[^.]{0,40}(week|patient|month)",
    "angle too large by, °",  # two opposite meanings
    "blunter each time you",
    "bands of single instruments overlap",
]


GOES_WRONG = {  # by lesson: what the title says at an end of its control, and not where it opens
    "01": r"radius 10 µm: .* go back 13\.0 µm",
    "02": r"on 0 % of the edge",
    "03": r"ridges of 1\d\d\.\d µm",
    "04": r"has not reached the edge",
    "05": r"^6 places: 2[0-9] to 2[0-9] µm",
    "06": r"(1[5-9]|2[0-9]) in 100 take a fifth of the width",
    "07": r"^90° .* [23]\d teeth per mm",
    "08": r"^face: .* to 1[01] sessions",
    "09": r"5\d of 56 mm left to the hand",
    "10": r"by thickness",
    "11": r"edges on the list, [1-9]\d of them wrongly",
    "12": r"looks 1\d\.\d µm too narrow",
    "13": r"lives of each: [1-9]\d of \d+ studies rank the two the wrong way",
}


@pytest.fixture(params=BOOKS)
def book(request):
    return executed(request.param)


@pytest.mark.parametrize("stem", stems())
def test_it_says_when_executed_what_it_said_before(stem):
    """Words of the package's own: that they are right is the business of the other tests."""
    assert said(executed(stem)) == STORED[stem]


def outputs(book) -> str:
    return "\n".join(
        item.get("data", {}).get("text/html", "")
        for cell in book.cells
        for item in cell.get("outputs", [])
    )


def test_its_minutes_are_stated_once_and_plausible(book):
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    stated = minutes(book)
    assert f"{stated} minutes" in book.cells[-1].source
    saved = outputs(book)
    things = saved.count("<figure") - saved.count("<figure data-value")
    things += sum(saved.count(f'class="{part}') for part in ("ek-book", "ek-table", "ek-box"))
    needed = len(text.split()) / WORDS_A_MINUTE + things + 1.5 * saved.count('class="ek-ask')
    assert needed / 1.5 <= stated <= 1.5 * needed, needed


def test_a_choice_has_three_options_or_more_and_each_wrong_one_an_idea_of_its_own(book):
    for form in re.findall(r'<form class="ek-ask.*?</form>', outputs(book), re.DOTALL):
        if 'type="number"' in form:
            continue
        assert form.count('type="radio"') >= 3, form[:200]
        ideas = re.findall(r"The idea behind it: (.*?)\. ", form)
        assert len(set(ideas)) == len(ideas) >= 2


def test_every_control_saved_stands_in_a_label_with_words(book):
    saved = outputs(book)
    labels = re.findall(r"<label>(.*?)</label>", saved, re.DOTALL)
    assert sum(label.count("<input") for label in labels) == saved.count("<input") >= 9
    assert all(re.sub(r"<[^>]*>", "", label).strip() for label in labels)


def test_numbers_in_drawings_stand_in_their_titles(book):
    titles = re.findall(r"<figcaption>(.*?)</figcaption>", outputs(book))
    assert len(titles) >= 5
    assert all(re.search(r"\d", title) for title in titles)


def test_what_was_wrong_once_is_not_said_again(book):
    text = " ".join([*(cell.source for cell in book.cells), outputs(book)])
    for wrong in GONE:
        assert not re.search(wrong, text), wrong


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


def frames_of(book) -> list[tuple[str, str]]:
    """Value and title of each frame of the control, the open one marked by an empty third."""
    shown = re.findall(
        r'<figure data-value="(.*?)"( hidden)?.*?<figcaption>(.*?)</figcaption>',
        outputs(book),
        re.DOTALL,
    )
    return [(shut, unescape(title).replace("\u00a0", " ")) for _, shut, title in shown]


@pytest.mark.parametrize("stem", BOOKS)
def test_one_thing_is_changed_until_it_goes_wrong_and_the_reason_is_asked_and_told(stem):
    """Rule 5: at an end of the control, on fixed axes; then "What happened?"; then the formula."""
    book = executed(stem)
    frames, wrong = frames_of(book), re.compile(GOES_WRONG[stem[:2]])
    assert any(wrong.search(title) for _, title in (frames[0], frames[-1]))
    (opened,) = [title for shut, title in frames if not shut]
    assert not wrong.search(opened)
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert "**What happened?**" not in text
    folds = re.findall(
        r"<details><summary>What happened\?.*?</summary>\n\n(.*?)</details>", text, re.DOTALL
    )
    assert [len(fold.split()) > 15 for fold in folds] == [True]
    assert f"What happened? {folds[0].split()[0]}" not in text
    told = text.split("<summary>What happened?")[1].split("## Check yourself")[0]
    assert re.search(r"<details><summary>.*\(for teachers\)</summary>", told)


def test_what_five_lessons_say_of_the_wrong_end_is_what_their_frames_show():
    titles = {stem[:2]: [t for _, t in frames_of(executed(stem))] for stem in BOOKS}
    numbers = {
        n: [[float(x) for x in re.findall(r"\d+\.?\d*", t)] for t in titles[n]] for n in titles
    }
    degrees = titles["04"]  # from one degree too much on; five too little: several times the width
    assert all(("not reached" in title) is title.startswith("+") for title in degrees)
    assert numbers["04"][0][2] > 4 * numbers["04"][4][2]
    assert 15 <= numbers["06"][-1][-2] <= 25  # one session in five
    assert numbers["06"][0][-2] < 5
    alts = re.findall(r"12 places × 1: (\d+) on average", outputs(executed(BOOKS[5])))
    assert int(alts[-1]) > 2 * int(alts[0])  # twelve places lose more than twice
    for (within, settings, edges, hand, *_), title in zip(numbers["09"], titles["09"], strict=True):
        assert (settings > edges) is (0.5 < within <= 2), title
        assert (hand > 50) is (within == 0.5), title
    coarse = dict(zip((row[0] for row in numbers["11"]), numbers["11"], strict=True))
    assert coarse[0.1][5] > coarse[0.1][4] / 2  # most of the list is wrong
    assert coarse[0.2][1] == 0
    assert coarse[0.2][3] > 50
    assert coarse[0.01][5] == 0
    two, last = numbers["13"][0], numbers["13"][-1]
    assert two[1] / two[2] > 0.25  # more than one study in four
    assert two[3] / two[2] < 0.05
    assert last[1] == last[3] == 0


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


def test_drawings_keep_to_the_colours_that_have_a_meaning(book):
    for drawing in re.findall(r"<svg viewBox.*?</svg></svg>|<svg viewBox.*?</svg>", outputs(book)):
        lines = set(re.findall(r'stroke="(#\w+|none)"', drawing))
        assert lines <= {BLUE, VERMILION, INK, GREY, "#fff", "none"}
        if {BLUE, VERMILION} <= lines:  # never told apart by colour alone
            assert "dash" in drawing or 'stroke-width="5"' in drawing or "<text" in drawing


def test_what_is_assumed_and_what_is_published_is_said(book):
    text = " ".join([*(cell.source for cell in book.cells), outputs(book)])
    assert re.search(r"\bassumed\b|\binvented\b", prose(book))
    assert "Assumed" in book.cells[-1].source
    assert re.search(r"[Pp]ublished|common practice|\((19|20)\d\d\)|[A-Z]\w+ (19|20)\d\d", text)
