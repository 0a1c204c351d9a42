"""The drawings of a setting sheet, computed from the blade: shapes that SVG and paper share.

Two views of each step. *Across the edge*: the blade's section where the work begins, turned so that
the stone lies flat under it, and the handle's axis as it appears in that plane. *From the
handle*: the face seen along the handle's axis, toe up, with the stone's line at both ends
of the stretch; the angle at which a line touches is the roll of the tables.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence

import numpy as np

from edgekit.checks import FloatArray, frozen_array
from edgekit.clinic.bench.steps import Step
from edgekit.contact.orientation import handle_basis
from edgekit.display import escaped
from edgekit.geometry.edge import Edge
from edgekit.geometry.section import Bevel, Section
from edgekit.record import Record

HANDLE = 1.9  # length of the handle's axis in the view across the edge, in widths of the blade


class Ink(enum.Enum):
    """How a shape is drawn: by form and weight, never by colour alone."""

    STEEL = "steel"
    FACE = "face"
    STONE = "stone"
    STONE_LATER = "stone later"
    HANDLE = "handle"
    EDGE = "edge"


class Shape(Record):
    """A line through points (N, 2), closed and filled where its ink says so."""

    ink: Ink
    points: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points", frozen_array("points", self.points, (None, 2)))
        super().__post_init__()


class Drawing(Record):
    """Shapes in a box (x and y upward), and what they show in words."""

    shapes: tuple[Shape, ...]
    box: tuple[float, float, float, float]
    alt: str


def _outline(section: Section) -> FloatArray:
    """Section (V, 2) from its edge: inward, and up along the face normal [mm]."""
    depth = np.linspace(0.0, section.thickness_mm, 25)
    inset = section.inset_mm(depth)
    if isinstance(section, Bevel):
        back = np.full(2, section.width_mm)
        across, up = np.append(inset, back), np.append(-depth, [-depth[-1], 0.0])
    else:
        across = np.concatenate([inset, section.width_mm - inset[::-1]])
        up = np.concatenate([-depth, -depth[::-1]])
    return np.stack([across, up], axis=1)


def _box(
    points: FloatArray, margin: float, under: float = 0.0
) -> tuple[float, float, float, float]:
    """The box about points (N, 2), with a margin around and more room under them."""
    (x0, y0), (x1, y1) = points.min(axis=0) - margin, points.max(axis=0) + margin
    return float(x0), float(y0 - under), float(x1), float(y1)


def across_the_edge(step: Step) -> Drawing:
    """The section on the stone, and the handle's axis."""
    need, middle = step.requirements, len(step.stations) // 2
    edge, section = need.edge, need.blade.section
    frame = edge.frame(need.held.arc_mm[step.stations[[middle]]], order=0)
    beta = float(np.ravel(frame.angle.value)[0])
    inward, face = frame.inward.value[0], frame.face.value[0]
    # the flank d = (cosβ, −sinβ) lies on the stone: x along d, y away from the stone
    turn = np.array([[np.cos(beta), -np.sin(beta)], [np.sin(beta), np.cos(beta)]])
    steel = _outline(section) @ turn.T
    axis = -turn @ np.array([edge.handle_axis @ inward, edge.handle_axis @ face])
    size = max(section.width_mm, section.thickness_mm)
    centre = steel.mean(axis=0)
    reach = HANDLE * size * axis / max(float(np.hypot(*axis)), 1e-9)
    handle = np.stack([centre, centre + reach])
    box = _box(np.concatenate([steel, handle]), 0.12 * size, 0.1 * size)
    stone = np.array([[box[0], 0.0], [box[2], 0.0]])
    face_line = np.stack([np.zeros(2), turn @ np.array([section.width_mm, 0.0])])
    shapes = (
        Shape(ink=Ink.STEEL, points=steel),
        Shape(ink=Ink.FACE, points=face_line),
        Shape(ink=Ink.STONE, points=stone),
        Shape(ink=Ink.HANDLE, points=handle),
    )
    alt = (
        f"Section of the {need.name} edge of {need.instrument} on the stone: face and stone "
        f"at {180 - np.degrees(beta):.0f} degrees, handle at {step.elevation_deg[middle]:.1f} "
        "degrees to the stone."
    )
    return Drawing(shapes=shapes, box=box, alt=alt)


def _seen(edge: Edge, along: Edge) -> FloatArray:
    """Points (S, 2) of an edge seen along the handle of another: right, and up towards its toe."""
    up, right = handle_basis(along)
    points = edge.frame(edge.stations(81), order=0).position
    return np.stack([points @ right, points @ up], axis=1)


def from_the_handle(step: Step) -> Drawing:
    """The face along the handle's axis, toe up, and the stone at both ends of the stretch."""
    need = step.requirements
    near = _seen(need.edge, need.edge)
    far = need.blade.opposite(need.name)
    outline = near if far is None else np.concatenate([near, _seen(far, need.edge)[::-1]])
    size = float(np.ptp(outline, axis=0).max())
    share = step.stations[[0, -1]] / (len(need.held.arc_mm) - 1) * (len(near) - 1)
    first, last = np.rint(share).astype(int)
    shapes = [
        Shape(ink=Ink.STEEL, points=outline),
        Shape(ink=Ink.EDGE, points=near[first : last + 1] if last > first else near[first:][:2]),
    ]
    for ink, at, roll in (
        (Ink.STONE, first, step.roll_deg[0]),
        (Ink.STONE_LATER, last, step.roll_deg[-1]),
    ):
        sine, cosine = np.sin(np.radians(roll)), np.cos(np.radians(roll))
        centre = near[at] + 0.02 * size * np.array([sine, cosine])
        half = 0.32 * size * np.array([cosine, -sine])
        shapes.append(Shape(ink=ink, points=np.stack([centre - half, centre + half])))
    box = _box(np.concatenate([shape.points for shape in shapes]), 0.06 * size)
    alt = (
        f"{need.instrument}, {need.name} edge, seen from the handle, toe up: the stone "
        f"touches from roll {step.roll_deg[0]:.0f} to {step.roll_deg[-1]:.0f} degrees."
    )
    return Drawing(shapes=tuple(shapes), box=box, alt=alt)


STYLE = {
    Ink.STEEL: 'fill="#d9d9d9" stroke="#000" stroke-width="0.25"',
    Ink.FACE: 'fill="none" stroke="#000" stroke-width="0.7"',
    Ink.STONE: 'fill="none" stroke="#000" stroke-width="1"',
    Ink.STONE_LATER: 'fill="none" stroke="#000" stroke-width="1" stroke-dasharray="1.6 1.2"',
    Ink.HANDLE: 'fill="none" stroke="#000" stroke-width="0.45" stroke-dasharray="3 1 0.6 1"',
    Ink.EDGE: 'fill="none" stroke="#000" stroke-width="0.9"',
}
"""Weights and dashes in millimetres of paper."""


def placed(drawing: Drawing, width_mm: float, height_mm: float) -> tuple[float, FloatArray]:
    """Scale and offset that centre a drawing in a frame on paper, y upward."""
    x0, y0, x1, y1 = drawing.box
    scale = min(width_mm / (x1 - x0), height_mm / (y1 - y0))
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return scale, np.array([width_mm / 2, height_mm / 2]) - scale * middle


def svg(drawing: Drawing, *, width_mm: float, height_mm: float) -> str:
    """The drawing as SVG of a size on paper, with its words for whoever cannot see it.

    Examples
    --------
    >>> square = Drawing(shapes=(Shape(ink=Ink.STEEL, points=[(0, 0), (1, 0), (1, 1)]),),
    ...                  box=(0, 0, 1, 1), alt="A <corner>.")
    >>> svg(square, width_mm=10, height_mm=10)[:66]
    '<svg role="img" aria-label="A &lt;corner&gt;." viewBox="0 0 10 10"'
    """
    scale, offset = placed(drawing, width_mm, height_mm)
    size = f'width="{width_mm:g}mm" height="{height_mm:g}mm"'
    box = f'viewBox="0 0 {width_mm:g} {height_mm:g}"'
    parts = [f'<svg role="img" aria-label="{escaped(drawing.alt)}" {box} {size}>']
    for shape in drawing.shapes:
        points = scale * shape.points + offset
        text = " ".join(f"{x:.2f},{height_mm - y:.2f}" for x, y in points)
        tag = "polygon" if shape.ink is Ink.STEEL else "polyline"
        parts.append(f'<{tag} points="{text}" {STYLE[shape.ink]}/>')
    return "".join([*parts, "</svg>"])


def drawings(steps: Sequence[Step]) -> tuple[Drawing, Drawing]:
    """Both views of the longest of the steps of one edge."""
    longest = max(steps, key=lambda step: len(step.stations))
    return across_the_edge(longest), from_the_handle(longest)
