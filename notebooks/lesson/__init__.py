"""Lessons: questions that ask before they answer, flip books, pages; native HTML and no network.

A notebook says ``import lesson`` and shows ``lesson.start()`` once; everything else is HTML that
works alike in JupyterLab, in the page that ``notebooks/build.py page`` leaves, and on paper.
"""

from edgekit.clinic.bench.by_sheet import practised
from lesson.drawing import Drawn
from lesson.parts import (
    answer,
    ask,
    ask_number,
    flip,
    fold,
    means,
    nearest,
    row,
    stacked,
    start,
    table,
)
from lesson.pictures import (
    angle_error,
    coarser,
    edge_line,
    flats,
    left_by_session,
    loss_along,
    readings,
    shown,
    tilt_cost,
    toe_flats,
    tray_settings,
)
from lesson.sections import reached, tip, wrong_angle
from lesson.sessions import (
    at_levels,
    dulling,
    extra_strokes,
    lives,
    one_hand,
    ranked,
    rounded,
    same_error,
    shares,
    slant,
    steady,
    strokes_share,
)

__all__ = [
    "Drawn",
    "angle_error",
    "answer",
    "ask",
    "ask_number",
    "at_levels",
    "coarser",
    "dulling",
    "edge_line",
    "extra_strokes",
    "flats",
    "flip",
    "fold",
    "left_by_session",
    "lives",
    "loss_along",
    "means",
    "nearest",
    "one_hand",
    "practised",
    "ranked",
    "reached",
    "readings",
    "rounded",
    "row",
    "same_error",
    "shares",
    "shown",
    "slant",
    "stacked",
    "start",
    "steady",
    "strokes_share",
    "table",
    "tilt_cost",
    "tip",
    "toe_flats",
    "tray_settings",
    "wrong_angle",
]
