"""Parts of lessons: what a question hides, what a flip book refuses, what a picture says.

Standards: the HTML elements and their roles are those of the HTML Living Standard and WAI-ARIA 1.2;
heights of ridges are the plane geometry of tangents to a circle.
"""

import math
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
import lesson
from lesson.drawing import Chart
from lesson.page import opened, page

PLANE = ek.patterns.area_specific_curette(bow_radius_mm=np.inf)
SIDE = PLANE.edges["used"].stretch(0, 5.5)  # one circle of 6.7 mm
RADIUS_MM, LENGTH_MM = 6.7, 5.5
OPTIONS = {"half": ("in step with spacing", "It is not."), "a quarter": "By the square."}
VOID = {"input", "meta", "img", "br", "path", "circle"}


class Shape(HTMLParser):
    """Which texts lie in something hidden, and whether every element is closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.stack: list[tuple[str, bool]] = []
        self.hidden, self.open, self.names = [], [], []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.names.append((tag, dict(attrs)))
        if tag not in VOID:
            self.stack.append((tag, "hidden" in dict(attrs)))

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.stack.pop()[0] == tag

    def handle_data(self, data):
        (self.hidden if any(shut for _, shut in self.stack) else self.open).append(data)


def html(part) -> str:
    return part._repr_html_()


def test_a_question_shows_its_options_and_hides_replies_and_answer():
    part = lesson.ask("Ridges?", OPTIONS, right="a quarter", then=[lesson.flats(SIDE, 4)])
    shape = Shape(html(part))
    assert not shape.stack
    shown, shut = "".join(shape.open), "".join(shape.hidden)
    assert "Ridges?" in shown
    assert "half" in shown
    for text in ("It is not.", "By the square.", "35.4", "Right", "Not quite"):
        assert text in shut
        assert text not in shown
    buttons = [attrs for tag, attrs in shape.names if tag == "button"]
    assert len(buttons) == 1
    assert "disabled" in buttons[0]


def test_right_and_wrong_replies_differ_and_a_wrong_one_names_its_idea():
    replies = re.findall(
        r'<div class="(ek-reply[^"]*)"[^>]*>(.*?)</div>',
        html(lesson.ask("Ridges?", OPTIONS, right="a quarter")),
    )
    assert [kind for kind, _ in replies] == ["ek-reply", "ek-reply ek-right"]
    assert "✗ Not quite." in replies[0][1]
    assert "The idea behind it: in step with spacing." in replies[0][1]
    assert "✓ Right." in replies[1][1]
    assert "idea" not in replies[1][1]


@pytest.mark.parametrize(
    ("options", "right", "match"),
    [
        ({"half": "x"}, "half", "two options"),
        (OPTIONS, "double", "none of the options"),
        (OPTIONS, "half", "wrong kind of reply"),
        ({"a": "no idea named", "b": "yes"}, "b", "wrong kind of reply"),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused(options, right, match):
    with pytest.raises(ek.EdgekitError, match=match):
        lesson.ask("Ridges?", options, right=right)


def test_every_control_has_a_name_and_keeps_its_keys():
    parts = [
        lesson.ask("Ridges?", OPTIONS, right="a quarter"),
        lesson.ask_number("How high?", 35.4, within=2, unit="µm", why="w", small="s", large="l"),
        lesson.flip("placements", lambda k: lesson.flats(SIDE, k), [4, 8]),
    ]
    for part in parts:
        text = html(part)
        for control in re.findall(r"<input[^>]*>", text):
            assert 'data-lm-suppress-shortcuts="true"' in control
        labels = re.findall(r"<label>(.*?)</label>", text)
        assert len(labels) == text.count("<input")
        assert all(re.sub(r"<[^>]*>", "", label).strip() for label in labels)
        assert ' id="' not in text  # a notebook shows the same part twice, and strips ids


def test_two_questions_do_not_share_their_buttons():
    one, two = (html(lesson.ask(q, OPTIONS, right="a quarter")) for q in ("One?", "Two?"))
    assert re.findall(r'name="(.*?)"', one)[0] != re.findall(r'name="(.*?)"', two)[0]


def test_text_is_escaped():
    part = html(lesson.ask("a < b?", {"<i>": ("&", "<"), "c": "d"}, right="c"))
    assert "<i>" not in part
    assert "a &lt; b?" in part


def test_a_number_box_takes_a_range_around_its_value():
    text = html(lesson.ask_number("?", 35.4, within=2, unit="µm", why="w", small="s", large="l"))
    low, high = re.search(r'data-low="(.*?)" data-high="(.*?)"', text).groups()
    assert (float(low), float(high)) == pytest.approx((33.4, 37.4))
    with pytest.raises(ek.EdgekitError, match="within"):
        lesson.ask_number("?", 35.4, within=0, unit="µm", why="w", small="s", large="l")


def test_the_key_is_the_nearest_by_ratio():
    choices = {1.0: "same", 0.5: "half", 0.25: "quarter"}
    assert lesson.nearest(0.36, choices) == "half"  # by difference it would be the quarter
    assert lesson.nearest(0.34, choices) == "quarter"


def test_a_flip_book_keeps_one_frame_open_and_all_axes_alike():
    part = lesson.flip("placements", lambda k: lesson.flats(SIDE, k), [2, 4, 8], first=1)
    shape = Shape(html(part))
    assert not shape.stack
    figures = [attrs for tag, attrs in shape.names if tag == "figure"]
    assert [attrs["data-value"] for attrs in figures] == ["2", "4", "8"]
    assert ["hidden" in attrs for attrs in figures] == [True, False, True]
    drawings = [attrs for tag, attrs in shape.names if attrs.get("role") == "img"]
    assert len({attrs["viewbox"] for attrs in drawings}) == 1
    axes = {re.search(r"x axis: .*", attrs["aria-label"]).group() for attrs in drawings}
    assert len(axes) == 1
    control = next(attrs for tag, attrs in shape.names if tag == "input")
    assert (control["min"], control["max"], control["value"]) == ("0", "2", "1")
    assert control["aria-valuetext"] == "4 placements leave ridges of 35.4 µm"


def rescaled(value):
    chart = Chart(x=(0, 1), y=(0, float(value)), x_name="x", y_name="y")
    return chart.drawn(kind="Line", title=f"{value}", numbers={})


def silent(value):
    chart = Chart(x=(0, 1), y=(0, 1), x_name="x", y_name="y")
    return chart.drawn(kind="Line", title="no value", numbers={"v": value})


def test_frames_whose_axes_rescale_are_refused():
    with pytest.raises(ek.EdgekitError, match="axes of their own"):
        lesson.flip("v", rescaled, [1, 2])


def test_frames_must_say_their_value_and_fit_on_paper():
    with pytest.raises(ek.EdgekitError, match="lacks its value"):
        lesson.flip("v", silent, [1, 2])
    with pytest.raises(ek.EdgekitError, match="1 to 9 frames"):
        lesson.flip("v", silent, range(10))


@pytest.mark.parametrize("placements", [2, 4, 9, 16])
def test_flats_are_straight_tangents_whose_corners_are_the_ridges(placements):
    """Tangents of a circle at even spacing s meet R (1/cos(s/2R) - 1) above it."""
    drawn = lesson.flats(SIDE, placements)
    ridge = RADIUS_MM * (1 / math.cos(LENGTH_MM / placements / 2 / RADIUS_MM) - 1) * 1000
    assert drawn.numbers["ridge_um"] == pytest.approx(ridge, rel=2e-3)
    assert f"{ridge:.0f}" in f"{drawn.numbers['ridge_um']:.0f}"
    path = re.findall(r'<path d="([^"]*)"[^>]*stroke-dasharray="9 4"', drawn.svg)[0]
    points = np.array(re.findall(r"([\d.]+) ([\d.]+)", path), dtype=float)
    assert len(points) == placements + 1  # so every flat is one straight line between corners
    dots = np.array(re.findall(r"M([\d.]+) ([\d.]+)h0", drawn.svg), dtype=float)
    for (one, two), touch in zip(pairwise(points), dots, strict=True):
        along = (two - one) / np.linalg.norm(two - one)
        off = along[0] * (touch - one)[1] - along[1] * (touch - one)[0]
        assert abs(off) < 0.4  # pixels: each flat touches the edge at its placement


def test_marks_beyond_the_axes_are_cut_off_not_squeezed_in():
    chart = Chart(x=(0, 1), y=(0, 1), x_name="x [1]", y_name="y [1]")
    chart.line([0, 1], [0, 5])
    inner = re.search(
        r'<svg role="presentation" x="[\d.]+" y="([\d.]+)" [^>]*height="([\d.]+)"',
        chart.drawn(kind="Line", title="t", numbers={}).svg,
    )
    assert float(inner[1]) >= 0
    assert float(chart.down(5.0)) < float(inner[1])


def test_a_picture_without_finite_numbers_is_refused():
    chart = Chart(x=(0, 1), y=(0, 1), x_name="x", y_name="y")
    with pytest.raises(ek.EdgekitError, match="finite"):
        chart.drawn(kind="Line", title="t", numbers={"loss_um": math.nan})


def test_one_setting_is_right_on_all_of_a_flat_face_square_to_the_handle():
    """There the elevation is 90° less the internal angle at every point, by plane geometry."""
    edge = ek.patterns.universal_curette().edges["left"]
    right = lesson.angle_error(edge, 90.0 - math.degrees(edge.internal_angle.value))
    assert right.numbers["right_share"] == 1.0
    assert lesson.angle_error(edge, 20.0).numbers["right_share"] < 1.0


def test_the_loss_is_drawn_with_its_numbers_on_the_axis_given():
    stroke = ek.strokes.local(placements=8)
    done = ek.sharpen(PLANE, ek.methods.freehand(stroke=stroke), dull_radius_um=4, rng=1)
    drawn = lesson.loss_along(done, "8 placements", top_um=60)
    edge = done.edges["used"]
    assert drawn.numbers["mean_um"] == edge.mean_recession_um
    assert f"{edge.mean_recession_um:.1f} µm" in drawn.title
    assert "0 to 60" in drawn.alt


def test_lines_of_a_life_end_where_the_instrument_is_retired():
    late = (ek.MaxWidthLoss(fraction=0.3), ek.MinStrength(fraction=0.4))
    blade = ek.patterns.universal_curette()
    life = ek.live(blade, ek.methods.held(15.0), retire=late, rng=3)
    drawn = lesson.left_by_session(life, "sides", sessions=40)
    end = int(drawn.numbers["sessions"])
    assert 0 < end < life.sessions
    lost = np.concatenate([[0.0], life.history["mean_width_um"]]) / 1000 / blade.width_mm
    weak = np.concatenate([[1.0], life.strength_left]) < 0.7
    assert end == np.flatnonzero(weak | (lost > 0.2))[0]
    lines = re.findall(r'<path d="([^"]*)"', drawn.svg)
    assert max(len(re.findall("[ML]", line)) for line in lines) == end + 1
    face = ek.live(blade, ek.methods.face_honing(), retire=late, rng=3)
    thin = np.concatenate([[0.0], face.history["thickness_um"]]) / 1000 / blade.thickness_mm
    drawn = lesson.left_by_session(face, "face", sessions=40)
    assert drawn.numbers["sessions"] == np.flatnonzero(thin > 0.2)[0]
    assert drawn.title.endswith("by thickness")


def test_a_table_speaks_bench_words_without_row_numbers():
    frame = pd.DataFrame({"n": [4, 8], "ridge": [35.44, -8.8], "why": ["a", "<"]})
    text = html(
        lesson.table(frame, {"n": "placements", "ridge": "ridge, µm"}, caption="C", digits=1)
    )
    assert Shape(text).stack == []
    assert re.findall(r"<td[^>]*>(.*?)</td>", text) == ["4", "35.4", "8", "−8.8"]
    assert text.count('scope="col"') == 2
    with pytest.raises(ek.EdgekitError, match="no such column"):
        lesson.table(frame, {"x": "x"}, caption="C")


def book(*cells):
    made = [{"cell_type": "markdown", "metadata": {}, "source": "# Why?\n\nText.", "outputs": []}]
    for kind, tags, source, *outputs in cells:
        made.append(
            {
                "cell_type": kind,
                "metadata": {"tags": tags},
                "source": source,
                "outputs": [{"data": {"text/html": o}} for o in outputs],
            }
        )
    return {"cells": made}


def test_a_page_leaves_out_code_and_notes_for_teachers_and_keeps_the_question():
    part = html(lesson.ask("Ridges?", OPTIONS, right="a quarter"))
    saved = book(
        ("code", ["setup"], "import x", "set-up output"),
        ("code", ["predict"], "ask()", part),
        ("markdown", ["teacher"], "*For teachers.* Aim."),
        ("markdown", [], "<details><summary>Why</summary>Because.</details>"),
    )
    student, teacher = page(saved), page(saved, teacher=True)
    assert "<title>Why?</title>" in student
    assert "Ridges?" in student
    for text in ("import x", "set-up output", "ask()"):
        assert text not in student
        assert text not in teacher
    assert "For teachers" not in student
    assert "For teachers" in teacher
    assert "By the square." in "".join(Shape(student).hidden)
    assert "By the square." in "".join(Shape(teacher).open)
    assert "<details>" in student
    assert "<details open>" in teacher
    assert opened(part).count(" hidden") == 0


def test_a_page_asks_for_nothing_outside_itself():
    made = page(book(("code", [], "x", html(lesson.flats(SIDE, 4)))))
    assert not re.findall(r"""(?:src|href)=["'](?!data:|#)|@import|url\(""", made)


def test_a_lesson_is_imported_without_the_setting_sheet():
    said = "import sys, lesson; print([name for name in sys.modules if 'clinic.sheet' in name])"
    paths = {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    done = subprocess.run(
        [sys.executable, "-c", said],
        env=os.environ | paths,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"
