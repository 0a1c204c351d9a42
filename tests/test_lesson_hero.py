"""The README's picture: its parts are named, leader lines keep apart, the file is what is drawn."""

import io
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from lesson.hero import DPI, hero, leaders

FILE = Path(__file__).parent.parent / "notebooks" / "blade.png"
README = FILE.parent.parent / "README.md"
NAMES = {"toe", "heel", "face", "used edge", "stone", "shank"}


@pytest.fixture(scope="module")
def drawn():
    return hero()


def crossing(one, two) -> bool:
    """Whether two straight lines from point to point cross, by the signs of four areas."""

    def side(a, b, c):
        return np.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    (a, b), (c, d) = one, two
    return side(a, b, c) != side(a, b, d) and side(c, d, a) != side(c, d, b)


def test_every_part_is_named_inside_the_picture(drawn):
    found = leaders(drawn)
    assert set(found) == NAMES
    for ends in found.values():
        assert ((ends > 0) & (ends < 1)).all()


def test_leader_lines_do_not_cross_and_names_do_not_overlap(drawn):
    found = leaders(drawn)
    for one, two in combinations(found, 2):
        assert not crossing(found[one], found[two]), (one, two)
    drawn.figure.canvas.draw()
    boxes = {text.get_text(): text.get_window_extent() for text in drawn.texts}
    frame = drawn.figure.bbox
    for one, two in combinations(boxes, 2):
        assert not boxes[one].overlaps(boxes[two]), (one, two)
    for text in drawn.texts:
        words = text.get_bbox_patch() or text
        x, y = text.get_position()
        assert frame.contains(x * frame.width, y * frame.height) or words


def test_a_leader_ends_on_the_part_that_it_names(drawn):
    """Toe and heel are the ends of the used edge: the toe lies to the right, the shank on top."""
    ends = {name: line[1] for name, line in leaders(drawn).items()}
    order = sorted(ends, key=lambda name: ends[name][0])
    assert order == ["shank", "heel", "face", "stone", "used edge", "toe"]
    assert max(ends, key=lambda name: ends[name][1]) == "shank"


def test_the_file_is_what_is_drawn_and_the_readme_says_what_it_shows(drawn):
    held = io.BytesIO()
    drawn.figure.savefig(held, dpi=DPI, metadata={"Software": None})
    held.seek(0)
    fresh, kept = imread(held, format="png"), imread(FILE)
    assert fresh.shape == kept.shape
    assert np.abs(fresh - kept).mean() < 0.01  # of white: letters may be hinted otherwise
    line = next(row for row in README.read_text("utf-8").splitlines() if "blade.png" in row)
    assert all(name in line for name in NAMES)
