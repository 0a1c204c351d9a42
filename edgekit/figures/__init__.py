"""Pictures of results; the only package that imports matplotlib.

Each function takes a result and optionally the Axes to draw on, returns the Axes, and computes
nothing but the picture. The Axes show themselves at the end of a notebook cell, with their words;
`picture` makes the same of Axes in the middle of one, and `alt_text` is the words alone.
"""

from edgekit.clinic.sheet.writing import sheet
from edgekit.figures.bending import strength, strength_and_width, worn_section
from edgekit.figures.clinic.forecast import due, readings, replacements, windows
from edgekit.figures.clinic.weighing import steel_per_stroke
from edgekit.figures.contact import orientation, setting
from edgekit.figures.edge_finish import blunting, edge_line, lay, teeth_and_strokes
from edgekit.figures.grinding import facets, profile, recession
from edgekit.figures.pictures import outline, uncertainty, width_loss
from edgekit.figures.study.comparisons import comparison, differences
from edgekit.figures.study.inputs import sensitivity, tornado
from edgekit.figures.study.lives import life
from edgekit.figures.study.mixtures import face_or_sides, slant
from edgekit.figures.study.sweeps import life_dots, sweep
from edgekit.figures.words import Picture, alt_text, picture
from edgekit.figures.working_end import blade, section
from edgekit.lazy import shown

__all__ = [
    "Picture",
    "alt_text",
    "blade",
    "blunting",
    "comparison",
    "differences",
    "due",
    "edge_line",
    "face_or_sides",
    "facets",
    "lay",
    "life",
    "life_dots",
    "orientation",
    "outline",
    "picture",
    "profile",
    "readings",
    "recession",
    "replacements",
    "section",
    "sensitivity",
    "setting",
    "sheet",
    "slant",
    "steel_per_stroke",
    "strength",
    "strength_and_width",
    "sweep",
    "teeth_and_strokes",
    "tornado",
    "uncertainty",
    "width_loss",
    "windows",
    "worn_section",
]

__dir__ = shown(__all__)

_RENAMED = {"html": "picture", "spread": "life_dots"}


def __getattr__(name: str) -> object:
    message = f"module 'edgekit.figures' has no attribute {name!r}"
    if name in _RENAMED:
        message = (
            f"edgekit.figures.{name} is now edgekit.figures.{_RENAMED[name]}. Use the new name."
        )
    raise AttributeError(message)
