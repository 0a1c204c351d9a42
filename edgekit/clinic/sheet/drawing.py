"""The drawings of a setting sheet, computed from the blade.

Four of them. *At the stone*: the blade's section where the work begins, the stone flat under it,
and the handle's axis at its true angle to the stone. The section stands in the plane of that
angle, which at most stations is square to the edge but for some degrees. *The clock*: what is
seen along the handle from its end, the stone at six; the blade is the hand of the clock. *The toe*:
which way the toe points there. *The dial*: to be cut out and slipped on the handle, at its true
size.
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

HANDLE = 2.6  # length of the handle's axis beside the stone, in widths of the blade
HAND = 0.82  # length of the blade as the hand of the clock, in radii of the clock
DIAL_MM = 44.0  # across the dial: an hour is 11 mm of its rim, ten minutes are 1.9 mm
HOUR_DEG = 30.0
SLIT = 6.5  # hours clockwise from the toe, where no number stands


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
    letters_mm: float = 2.5


def toe_hours(roll_deg: FloatArray) -> FloatArray:
    """Where the toe points, on a clock seen from the handle's end with the stone at six [h].

    Roll is where the stone touches, clockwise from the toe; with the stone below, the toe is as
    far the other way from six.

    Examples
    --------
    >>> toe_hours(np.array([-90.0, 0.0, 90.0, -200.0])).tolist()
    [9.0, 6.0, 3.0, 0.666...]
    """
    return np.asarray(np.mod(6.0 - np.asarray(roll_deg) / HOUR_DEG, 12.0))


def clock_words(hours: float) -> str:
    """The time at which an hour hand stands there, to five minutes (2.5 degrees).

    Examples
    --------
    >>> clock_words(9.75), clock_words(0.01), clock_words(11.99)
    ('9:45', '12:00', '12:00')
    """
    fives = round(hours * 12) % 144
    return f"{fives // 12 or 12}:{fives % 12 * 5:02d}"


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


def _arc(radius: float, start_deg: float, end_deg: float) -> FloatArray:
    """Points of an arc about the origin; angles run clockwise from straight up."""
    angle = np.radians(np.linspace(start_deg, end_deg, 2 + int(abs(end_deg - start_deg) / 6)))
    return radius * np.stack([np.sin(angle), np.cos(angle)], axis=1)


def at_the_stone(step: Step) -> Drawing:
    """The section on the stone, and the handle's axis at its angle."""
    need, middle = step.requirements, len(step.stations) // 2
    section, elevation = need.blade.section, float(step.elevation_deg[middle])
    beta = np.radians(180.0 - need.held.stone_to_face_deg[step.stations[middle]])
    # the flank d = (cosβ, −sinβ) lies on the stone: x along d, y away from the stone
    turn = np.array([[np.cos(beta), -np.sin(beta)], [np.sin(beta), np.cos(beta)]])
    steel, tip = _outline(section) @ turn.T, turn @ [section.width_mm, 0.0]
    size = max(section.width_mm, section.thickness_mm)
    reach = HANDLE * size
    end = _turned(np.array([0.0, reach]), (elevation - 90) / HOUR_DEG)
    handle = np.stack([np.zeros(2), end])
    top, low = max(handle[1, 1], steel[:, 1].max()), min(handle[1, 1], 0.0)
    box = (-1.05 * reach, low - 0.15 * size, steel[:, 0].max() + 0.1 * size, top + 0.55 * size)
    shapes = (
        Shape(ink=Ink.STEEL, points=steel),
        Shape(ink=Ink.FACE, points=np.stack([np.zeros(2), tip])),
        Shape(ink=Ink.STONE, points=np.array([[box[0], 0.0], [box[2], 0.0]])),
        Shape(ink=Ink.HANDLE, points=handle),
        Shape(ink=Ink.THIN, points=_arc(0.78 * reach, -90.0, elevation - 90)),
        Shape(ink=Ink.THIN, points=_arc(0.3 * reach, -90.0, 90 - np.degrees(beta))),
    )
    alt = (
        f"Section of the {need.name} edge of {need.instrument} on the stone: face and stone "
        f"at {180 - np.degrees(beta):.0f} degrees, handle at {elevation:.1f} degrees to the stone."
    )
    words = f"{elevation:.3g}°".replace("-", "−")
    over = max(0.78 * reach * np.tan(np.radians(elevation)), 0.0) + 0.36 * size
    face = (0.42 * reach * np.sin(-0.4), max(0.42 * reach * np.cos(-0.4), over - 0.9 * size))
    beside = (-0.7 * reach, over)
    if over > top + 0.5 * size:  # a steep handle leaves its room at the left
        beside, face = (-0.85 * reach, 0.6 * reach), (tip[0], tip[1] + 0.4 * size)
    labels = ((*beside, words), (*face, f"{180 - np.degrees(beta):.0f}°"))
    return Drawing(shapes=shapes, box=box, alt=alt, labels=labels)


def _seen(edge: Edge, along: Edge) -> FloatArray:
    """Points (S, 2) of an edge seen along the handle of another: right, and up towards its toe."""
    up, right = handle_basis(along)
    points = edge.frame(edge.stations(81), order=0).position
    return np.stack([points @ right, points @ up], axis=1)


def _turned(points: FloatArray, hours: float) -> FloatArray:
    """Points turned clockwise by hours of the clock."""
    angle = np.radians(HOUR_DEG * hours)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return np.asarray(points @ turn.T)


def _arrow(start: float, end: float) -> list[Shape]:
    """An arc just inside the clock from one hour to another, with a head."""
    head = np.array([[-0.1, -0.06], [0.0, 0.0], [-0.1, 0.06]]) * np.sign(end - start) + [0.0, 0.9]
    return [
        Shape(ink=Ink.THIN, points=_arc(0.9, HOUR_DEG * start, HOUR_DEG * end)),
        Shape(ink=Ink.THIN, points=_turned(head, end)),
    ]


def clock(step: Step) -> Drawing:
    """The blade as the hand of a clock, at the first (filled) and last (dashed) placement."""
    need = step.requirements
    near = _seen(need.edge, need.edge)
    far = need.blade.opposite(need.name)
    outline = near if far is None else np.concatenate([near, _seen(far, need.edge)[::-1]])
    share = step.stations[[0, -1]] / (len(need.held.arc_mm) - 1) * (len(near) - 1)
    first, last = np.rint(share).astype(int)
    heel = (near[0] + outline[-1]) / 2 if far is not None else near[0]
    scale = HAND / max(float((outline - heel)[:, 1].max()), 1e-6)
    hand, ground = scale * (outline - heel), scale * (near[first : max(last, first + 1) + 1] - heel)
    # unwrapped, so that the arrow takes the way the hand takes
    roll = step.placement_roll_deg[[0, -1]]
    begin, end = 6.0 - roll / HOUR_DEG
    shapes = [
        Shape(ink=Ink.THIN, points=_arc(1.0, 0.0, 360.0)),
        *(
            Shape(ink=Ink.THIN, points=_turned(np.array([[0, 0.93], [0, 1.0]]), hour))
            for hour in range(12)
        ),
        Shape(ink=Ink.STONE, points=np.array([[-0.95, -1.1], [0.95, -1.1]])),
        Shape(ink=Ink.STEEL, points=_turned(hand, begin)),
        Shape(ink=Ink.EDGE, points=_turned(ground, begin)),
    ]
    words = f"stays at {clock_words(begin % 12)}"
    if abs(roll[1] - roll[0]) >= MIN_TURN_DEG:
        shapes += [Shape(ink=Ink.LATER, points=_turned(hand, end)), *_arrow(begin, end)]
        words = f"turns from {clock_words(begin % 12)} to {clock_words(end % 12)}"
    alt = (
        f"{need.instrument}, {need.name} edge, seen from the end of the handle, stone below at "
        f"six: the toe {words} of a clock."
    )
    labels = tuple((1.2 * x, 1.17 * y, text) for x, y, text in ((0, 1, "12"), (1, 0, "3")))
    labels += ((-1.2, 0.0, "9"),)
    return Drawing(shapes=tuple(shapes), box=(-1.36, -1.2, 1.36, 1.36), alt=alt, labels=labels)


def toe_line(steps: Sequence[Step]) -> Drawing | None:
    """Which way the toe points: as the edge runs at its middle, on the most curved of the blades.

    Seen along the handle, heel at the left.
    """
    if not steps:
        return None

    def bent(step: Step) -> float:
        near = _seen(step.requirements.edge, step.requirements.edge)
        return abs(float(np.arctan2(*(near[-1] - near[0]))))

    need = max(steps, key=bent).requirements
    near = _seen(need.edge, need.edge)
    far = need.blade.opposite(need.name)
    outline = near if far is None else np.concatenate([near, _seen(far, need.edge)[::-1]])
    near, outline = (points @ np.array([[0.0, -1.0], [1.0, 0.0]]) for points in (near, outline))
    middle, size = near[len(near) // 2], float(np.ptp(outline[:, 0]))
    tip = middle + np.array([0.85 * size, 0.0])
    head = tip + 0.04 * size * np.array([[-1.0, 0.5], [0.0, 0.0], [-1.0, -0.5]])
    shapes = (
        Shape(ink=Ink.STEEL, points=outline),
        Shape(ink=Ink.EDGE, points=near),
        Shape(ink=Ink.THIN, points=np.array([middle, tip])),
        Shape(ink=Ink.THIN, points=head),
    )
    low, high = outline.min(axis=0), outline.max(axis=0)
    half = (low[1] + high[1]) / 2
    labels = ((low[0] - 0.17 * size, half, "heel"), (tip[0] + 0.17 * size, tip[1], "TOE"))
    box = (low[0] - 0.34 * size, low[1] - 0.1 * size, tip[0] + 0.34 * size, high[1] + 0.1 * size)
    alt = (
        f"{need.instrument} seen along the handle, heel at the left: an arrow, TOE, runs as the "
        f"{need.name} edge does at its middle, not to the tip."
    )
    return Drawing(shapes=shapes, box=box, alt=alt, labels=labels)


MIN_TURN_DEG = 2.5  # less is not a turn: the hours are rounded to that


def dial(handle_diameter_mm: float) -> Drawing:
    """The dial to cut out, in millimetres of paper; hours run so that its top is read.

    With its 12 at the toe, the hour that lies uppermost, away from the stone, is the hour at which
    the toe points: an hour's place is as far clockwise from the 12 as the toe has gone the other
    way.
    """
    rim, hole = DIAL_MM / 2, handle_diameter_mm / 2
    shapes = [Shape(ink=Ink.CUT, points=r * _arc(1.0, 0.0, 360.0)) for r in (rim, hole)]
    shapes.append(Shape(ink=Ink.CUT, points=_turned(np.array([[0.0, rim], [0.0, hole]]), SLIT)))
    labels: list[tuple[float, float, str]] = []
    for tick in range(72):
        long = 5.0 if tick % 6 == 0 else 3.4 if tick % 3 == 0 else 2.2
        line = np.array([[0.0, rim - long], [0.0, rim - 0.8]])
        shapes.append(Shape(ink=Ink.THIN, points=_turned(line, tick / 6)))
        if tick % 6 == 0:
            x, y = _turned(np.array([[0.0, rim - 7.2]]), tick / 6)[0].tolist()
            labels.append((x, y, str(12 - tick // 6)))
    labels.append((0.0, rim - 11.4, "TOE"))
    alt = (
        f"Dial to cut out, {DIAL_MM:g} millimetres across, with a hole of {handle_diameter_mm:g} "
        "millimetres for the handle and a slit; hours run anticlockwise from 12, the toe."
    )
    half = rim + 0.5
    box = (-half, -half, half, half)
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=tuple(labels), letters_mm=3.4)


def check_line(length_mm: float = 100.0) -> Drawing:
    """A line of true length to hold a ruler to."""
    ends = np.arange(0.0, length_mm + 1.0, 10.0)
    ticks = [
        Shape(ink=Ink.THIN, points=np.array([[x, 0.0], [x, 3.5 if x % 50 == 0 else 2.0]]))
        for x in ends
    ]
    line = Shape(ink=Ink.THIN, points=np.array([[0.0, 0.0], [length_mm, 0.0]]))
    alt = f"A line of {length_mm:g} millimetres with a mark every 10."
    labels = tuple((float(x), 6.0, f"{x:g}") for x in ends[::5])
    box = (-5.0, -1.0, length_mm + 5.0, 8.0)
    return Drawing(shapes=(line, *ticks), box=box, alt=alt, labels=labels)


STYLE = {
    Ink.STEEL: 'fill="#d9d9d9" stroke="#000" stroke-width="0.25"',
    Ink.LATER: 'fill="none" stroke="#000" stroke-width="0.25" stroke-dasharray="0.7 0.6"',
    Ink.FACE: 'fill="none" stroke="#000" stroke-width="0.7"',
    Ink.STONE: 'fill="none" stroke="#000" stroke-width="1.1"',
    Ink.HANDLE: 'fill="none" stroke="#000" stroke-width="0.45" stroke-dasharray="3 1 0.6 1"',
    Ink.EDGE: 'fill="none" stroke="#000" stroke-width="0.8"',
    Ink.THIN: 'fill="none" stroke="#000" stroke-width="0.22"',
    Ink.CUT: 'fill="none" stroke="#000" stroke-width="0.3" stroke-dasharray="2 1"',
}
"""Weights and dashes in millimetres of paper."""

CLOSED = {Ink.STEEL, Ink.LATER}


def placed(drawing: Drawing, width_mm: float, height_mm: float) -> tuple[float, FloatArray]:
    """Scale and offset that centre a drawing in a frame on paper, y upward."""
    x0, y0, x1, y1 = drawing.box
    scale = min(width_mm / (x1 - x0), height_mm / (y1 - y0))
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    return scale, np.array([width_mm / 2, height_mm / 2]) - scale * middle


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
    for shape in drawing.shapes:
        points = scale * shape.points + offset
        text = " ".join(f"{x:.2f},{height - y:.2f}" for x, y in points)
        tag = "polygon" if shape.ink in CLOSED else "polyline"
        parts.append(f'<{tag} points="{text}" {STYLE[shape.ink]}/>')
    for x, y, words in drawing.labels:
        at = scale * np.array([x, y]) + offset
        place = f'x="{at[0]:.2f}" y="{height - at[1] + 0.36 * drawing.letters_mm:.2f}"'
        font = f'font-size="{drawing.letters_mm:g}" text-anchor="middle"'
        parts.append(f"<text {place} {font}>{escaped(words)}</text>")
    return "".join([*parts, "</svg>"])
