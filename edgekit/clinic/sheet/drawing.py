"""Drawings of a setting sheet as shapes in a box, and their SVG in millimetres of paper."""

from __future__ import annotations

import enum
from itertools import groupby

import numpy as np

from edgekit.checks import FloatArray, frozen_array
from edgekit.display import escaped
from edgekit.record import Record

HOUR_DEG = 30.0
LETTERS_MM = 3.2  # nine points


class Ink(enum.Enum):
    """How a shape is drawn: by form and weight, never by colour alone."""

    STEEL = "steel"
    LATER = "steel later"
    FACE = "face"
    STONE = "stone"
    HANDLE = "handle"
    EDGE = "edge"
    THIN = "thin"
    CUT = "cut"
    DANGER = "danger"


class Shape(Record):
    """A line through points (N, 2), closed where its ink says so."""

    ink: Ink
    points: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", frozen_array("points", self.points, (None, 2)))
        super().__post_init__()


class Drawing(Record):
    """Shapes in a box (x and y upward), words beside them, and what they show in words.

    ``labels`` are ``(x, y, text)``, centred there; ``letters_mm`` is their height on paper.
    """

    shapes: tuple[Shape, ...]
    box: tuple[float, float, float, float]
    alt: str
    labels: tuple[tuple[float, float, str], ...] = ()
    letters_mm: float = LETTERS_MM


def arc(radius: float, start_deg: float, end_deg: float) -> FloatArray:
    """Points of an arc about the origin; angles run clockwise from straight up."""
    angle = np.radians(np.linspace(start_deg, end_deg, 2 + int(abs(end_deg - start_deg) / 6)))
    return radius * np.stack([np.sin(angle), np.cos(angle)], axis=1)


def turned(points: FloatArray, hours: float) -> FloatArray:
    """Points turned clockwise by hours of the clock."""
    angle = np.radians(HOUR_DEG * hours)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.asarray(points @ turn.T)


def line(ink: Ink, *points: tuple[float, float]) -> Shape:
    """A shape through points."""
    return Shape(ink=ink, points=np.array(points))


def arrow(start: tuple[float, float], end: tuple[float, float], size: float) -> tuple[Shape, Shape]:
    """A thin line with a head of a size at its end."""
    tip, back = np.array(end), np.array(start)
    along = (tip - back) / np.hypot(*(tip - back))
    aside = np.array([-along[1], along[0]]) / 2
    head = np.array([tip - size * (along + aside), tip, tip - size * (along - aside)])
    return line(Ink.THIN, start, end), Shape(ink=Ink.THIN, points=head)


STYLE = {
    Ink.STEEL: 'fill="#d9d9d9" stroke-width=".25"',
    Ink.LATER: 'stroke-width=".25" stroke-dasharray=".7 .6"',
    Ink.FACE: 'stroke-width=".7"',
    Ink.STONE: 'stroke-width="1.1"',
    Ink.HANDLE: 'stroke-width=".45" stroke-dasharray="3 1 .6 1"',
    Ink.EDGE: 'stroke-width=".8"',
    Ink.THIN: 'stroke-width=".22"',
    Ink.CUT: 'stroke-width=".3" stroke-dasharray="2 1"',
    Ink.DANGER: 'stroke-width=".15"',
}
"""Weights and dashes in millimetres of paper; black lines without a filling, but for steel."""

CLOSED = {Ink.STEEL, Ink.LATER}


def placed(drawing: Drawing, width_mm: float, height_mm: float) -> tuple[float, FloatArray]:
    """Scale and offset that centre a drawing in a frame on paper, y upward."""
    x0, y0, x1, y1 = drawing.box
    scale = min(width_mm / (x1 - x0), height_mm / (y1 - y0))
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return scale, np.array([width_mm / 2, height_mm / 2]) - scale * middle


def _path(points: FloatArray, height: float, *, closed: bool) -> str:
    """A line through points on paper, y downward; a point where the last one stands is left out."""
    places = dict.fromkeys(f"{round(x, 2):g},{round(height - y, 2):g}" for x, y in points.tolist())
    if not closed and len(points) > 2 and np.allclose(points[0], points[-1], atol=0.01):
        return f"M{' '.join(places)}Z"
    return f"M{' '.join(places)}{'Z' if closed else ''}"


def svg(drawing: Drawing, *, width_mm: float | None = None, height_mm: float | None = None) -> str:
    """The drawing as SVG of a size on paper, by default its own, with its words.

    Examples
    --------
    >>> square = Drawing(shapes=(Shape(ink=Ink.STEEL, points=[(0, 0), (1, 0), (1, 1)]),),
    ...                  box=(0, 0, 1, 1), alt="A <corner>.")
    >>> svg(square, width_mm=10, height_mm=10)[:66]
    '<svg role="img" aria-label="A &lt;corner&gt;." viewBox="0 0 10 10"'
    """
    x0, y0, x1, y1 = drawing.box
    width, height = width_mm or x1 - x0, height_mm or y1 - y0
    scale, offset = placed(drawing, width, height)
    size = f'width="{width:g}mm" height="{height:g}mm"'
    box = f'viewBox="0 0 {width:g} {height:g}"'
    parts = [f'<svg role="img" aria-label="{escaped(drawing.alt)}" {box} {size}>']
    parts.append('<g fill="none" stroke="#000">')
    for ink, shapes in groupby(drawing.shapes, key=lambda shape: shape.ink):
        lines = (scale * shape.points + offset for shape in shapes)
        path = "".join(_path(points, height, closed=ink in CLOSED) for points in lines)
        parts.append(f'<path d="{path}" {STYLE[ink]}/>')
    font = f'font-size="{drawing.letters_mm:g}" text-anchor="middle"'
    parts.append(f"</g><g {font}>" if drawing.labels else "</g><g>")
    for x, y, words in drawing.labels:
        at = scale * np.array([x, y]) + offset
        place = f'x="{at[0]:.2f}" y="{height - at[1] + 0.36 * drawing.letters_mm:.2f}"'
        parts.append(f"<text {place}>{escaped(words)}</text>")
    return "".join([*parts, "</g></svg>"])
