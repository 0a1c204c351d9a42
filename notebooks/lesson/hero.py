"""The README's picture: a working end with its parts named, and one stone laid against its edge."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation
from mpl_toolkits.mplot3d import proj3d
from mpl_toolkits.mplot3d.axes3d import Axes3D

import edgekit as ek
from edgekit.checks import FloatArray
from lesson.drawing import GREY, INK

__all__ = ["hero", "leaders"]

DPI = 160.0
SHANK_MM = 2.4  # of it that is drawn
SHANK_RADIUS_MM = (0.30, 0.40)  # at the heel, and where the drawing ends
# Where each name stands, as a share of the picture's width and height.
NAMES = {
    "shank": (0.07, 0.62),
    "heel": (0.34, 0.84),
    "face": (0.50, 0.87),
    "used edge": (0.72, 0.80),
    "stone": (0.60, 0.15),
    "toe": (0.90, 0.62),
}


def hero() -> Axes3D:
    """An area-specific curette in space: toe, heel, face, used edge, shank and stone by name.

    Examples
    --------
    >>> sorted(leaders(hero()))
    ['face', 'heel', 'shank', 'stone', 'toe', 'used edge']
    """
    blade = ek.patterns.area_specific_curette()
    space = ek.figures.blade(blade, placements=1)
    assert isinstance(space, Axes3D)
    for text in list(space.texts):
        text.remove()
    for old in [part for part in space.collections if type(part).__name__ == "Line3DCollection"]:
        old.remove()  # the arrow along the handle axis: here the shank says it
    _shank(space, blade)
    space.set_axis_off()
    space.set_title("")
    figure = space.figure
    figure.set_size_inches(7.2, 4.0)
    space.set_position((-0.12, -0.22, 1.24, 1.44))
    figure.canvas.draw()
    spots = _spots(blade)
    for name, point in spots.items():
        space.annotate(
            name,
            _seen(space, point),
            NAMES[name],
            xycoords="figure fraction",
            textcoords="figure fraction",
            ha="center",
            va="center",
            fontsize=13,
            color=INK,
            arrowprops={"arrowstyle": "-", "color": INK, "lw": 1.1, "shrinkA": 4, "shrinkB": 0},
        )
    return space


def leaders(space: Axes) -> dict[str, FloatArray]:
    """From each name to the point that it names, (2, 2) as shares of the picture."""
    notes = [text for text in space.texts if isinstance(text, Annotation)]
    return {note.get_text(): np.array([note.xyann, note.xy]) for note in notes}


def _spots(blade: ek.Blade) -> dict[str, FloatArray]:
    """The point in space that each name stands for."""
    edge = next(iter(blade.edges.values()))
    length = edge.length_mm
    here = edge.frame(np.array([0.0, 0.35, 0.62, 0.5, 0.97]) * length)
    inward, down = here.inward.value, -here.face.value
    width = blade.section.width_mm
    heel, face, used, stone, toe = here.position
    return {
        "heel": heel + 0.15 * inward[0],
        "face": face + 0.5 * width * inward[1],
        "used edge": used,
        "stone": stone + 0.42 * down[3] - 0.05 * inward[3],
        "toe": toe,
        "shank": _middle_of_shank(blade)[28],
    }


def _middle_of_shank(blade: ek.Blade) -> FloatArray:
    """Points (N, 3) along the middle of the shank, from the blade's heel up towards the handle."""
    edge = next(iter(blade.edges.values()))
    heel = edge.frame(np.array(0.0))
    inside = 0.5 * blade.section.width_mm * heel.inward.value
    start = heel.position + inside - 0.4 * blade.thickness_mm * heel.face.value
    bend = start - 0.8 * heel.tangent.value
    end = bend - SHANK_MM * edge.handle_axis
    t = np.linspace(0.0, 1.0, 40)[:, None]
    return np.asarray((1 - t) ** 2 * start + 2 * t * (1 - t) * bend + t**2 * end)


def _shank(space: Axes3D, blade: ek.Blade) -> None:
    """A tube that bends from the heel towards the handle."""
    middle = _middle_of_shank(blade)
    tangent = np.gradient(middle, axis=0)
    tangent /= np.linalg.norm(tangent, axis=-1, keepdims=True)
    plane = np.cross(tangent[0], tangent[-1])
    side = np.broadcast_to(plane / np.linalg.norm(plane), tangent.shape)
    other = np.cross(tangent, side)
    turn = np.linspace(0.0, 2 * np.pi, 40)[None, :, None]
    radius = np.linspace(*SHANK_RADIUS_MM, len(middle))[:, None, None]
    ring = np.cos(turn) * side[:, None] + np.sin(turn) * other[:, None]
    tube = middle[:, None] + radius * ring
    space.plot_surface(*np.moveaxis(tube, -1, 0), color=GREY, alpha=0.3, linewidth=0, shade=True)
    space.plot(*tube[-1].T, color=GREY, lw=0.9)


def _seen(space: Axes3D, point: FloatArray) -> tuple[float, float]:
    """Where a point in space is seen, as shares of the picture's width and height."""
    flat = proj3d.proj_transform(*point, space.get_proj())[:2]
    pixels = space.transData.transform(flat)
    x, y = space.figure.transFigure.inverted().transform(pixels)
    return float(x), float(y)
