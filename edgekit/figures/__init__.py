"""Pictures of results; the only package that imports matplotlib.

Each function takes a result and optionally the Axes to draw on, returns the Axes, and computes
nothing but the picture. `alt_text` says in words what a picture shows; `picture` is how a notebook
should show it.
"""

from edgekit.figures.bending import strength, strength_and_width, worn_section
from edgekit.figures.clinic.forecast import due, readings, replacements, windows
from edgekit.figures.clinic.setting_sheet import sheet
from edgekit.figures.contact import orientation, setting
from edgekit.figures.edge_finish import blunting, edge_line, lay, teeth_and_strokes
from edgekit.figures.grinding import facets, profile, recession
from edgekit.figures.inputs import sensitivity, tornado
from edgekit.figures.lives import comparison, differences, life
from edgekit.figures.mixtures import face_or_sides, slant
from edgekit.figures.sweeps import life_dots, sweep
from edgekit.figures.words import Picture, alt_text, picture
from edgekit.figures.working_end import blade, section

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
    "strength",
    "strength_and_width",
    "sweep",
    "teeth_and_strokes",
    "tornado",
    "windows",
    "worn_section",
]

_RENAMED = {"html": "picture", "spread": "life_dots"}


def __getattr__(name: str) -> object:
    message = f"module 'edgekit.figures' has no attribute {name!r}"
    if name in _RENAMED:
        message = (
            f"edgekit.figures.{name} is now edgekit.figures.{_RENAMED[name]}. Use the new name."
        )
    raise AttributeError(message)
