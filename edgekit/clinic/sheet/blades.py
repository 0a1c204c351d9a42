"""The drawings of a step, computed from the blade: at the stone, the clock, the stone in the hand.

*At the stone*: the blade's section where the work begins, the stone flat under it, and the handle's
axis at its true angle to the stone. The section stands in the plane of that angle, which at most
stations is square to the edge but for some degrees. *The clock*: what is seen along the handle
from its end, the stone below. *The stone in the hand*: from the side, the face level; and from
above, the toe towards the one who looks, the stone where it stands at each placement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from edgekit.checks import FloatArray
from edgekit.clinic.bench.by_hand import stone_hours
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.sheet.drawing import HOUR_DEG, Drawing, Ink, Shape, arc, arrow, line, turned
from edgekit.contact.orientation import handle_basis
from edgekit.geometry.edge import Edge
from edgekit.geometry.section import Bevel, Section

HANDLE = 2.9  # length of the handle's axis beside the stone, in widths of the blade
RIM = 1.08  # of the arrow round the clock, in its radii
LENGTH = 1.02  # of the blade in the clock, in its radii
POINTS = 41  # of an edge as drawn
MIN_TURN_DEG = 2.5  # less is not a turn: the hours are rounded to that
NEAR_TIP = 0.2  # of what is drawn: a strip so near to the tip is drawn with the toe end
TOE_END = 1.7  # of the blade seen from above, in its widths


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


def gauge_deg(step: Step) -> float:
    """What face and stone make where the middle placement touches [deg].

    Examples
    --------
    >>> import edgekit as ek
    >>> gauge_deg(ek.plan_bench({"K": ek.patterns.universal_curette()}).steps[0])
    105.0
    """
    there = step.requirements.held.stone_to_face_deg[step.stations]
    return float(step.at_placements(there)[step.placements // 2])


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


def at_the_stone(step: Step) -> Drawing:
    """The section on the stone, and the handle's axis at its angle."""
    need, middle = step.requirements, len(step.stations) // 2
    section, elevation = need.blade.section, float(step.elevation_deg[middle])
    beta = np.radians(180.0 - need.held.stone_to_face_deg[step.stations[middle]])
    # the flank d = (cosβ, −sinβ) lies on the stone: x along d, y away from the stone
    turn = np.array([[np.cos(beta), -np.sin(beta)], [np.sin(beta), np.cos(beta)]])
    steel = _outline(section) @ turn.T
    size = max(section.width_mm, section.thickness_mm)
    reach = HANDLE * size
    axis = np.stack(
        [arc(r, elevation - 90, elevation - 90)[0] for r in (0.42 * reach, 0.9 * reach)]
    )
    top, right = max(axis[1, 1], steel[:, 1].max()), steel[:, 0].max() + 0.1 * size
    box = (-1.55 * reach, -0.15 * size, right, max(top + 0.1 * size, 1.9 * size))
    shapes = [
        Shape(ink=Ink.STEEL, points=steel),
        Shape(ink=Ink.FACE, points=np.stack([np.zeros(2), turn @ [section.width_mm, 0.0]])),
        line(Ink.STONE, (box[0], 0.0), (box[2], 0.0)),
        Shape(ink=Ink.HANDLE, points=axis),
        Shape(ink=Ink.THIN, points=arc(0.78 * reach, -90.0, elevation - 90)),
        Shape(ink=Ink.THIN, points=arc(0.33 * reach, -90.0, 90 - np.degrees(beta))),
    ]
    alt = (
        f"Section of the {need.name} edge of {need.instrument} on the stone: face and stone "
        f"at {180 - np.degrees(beta):.0f} degrees, handle at {elevation:.1f} degrees to the stone."
    )
    face = (0.47 * reach * math.sin(-0.3), 0.47 * reach * math.cos(-0.3))
    beside = arc(1.25 * reach, elevation / 2 - 90, elevation / 2 - 90)[0]
    labels = (
        (float(beside[0]), max(float(beside[1]), 0.65 * size), f"{elevation:.3g}°"),
        (face[0], face[1] + 0.2 * size, f"{180 - np.degrees(beta):.0f}°"),
    )
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=labels)


def hoe_drawing(step: Step) -> Drawing:
    """A hoe's bevel flat on the stone: where the ink goes, and what its width is."""
    need, section = step.requirements, step.requirements.blade.section
    elevation = float(step.elevation_deg[0])
    beta = np.radians(180.0 - need.held.stone_to_face_deg[step.stations[0]])
    turn = np.array([[np.cos(beta), -np.sin(beta)], [np.sin(beta), np.cos(beta)]])
    steel, size = _outline(section) @ turn.T, section.width_mm
    along, up = turn @ [size, 0.0], turn @ [0.0, 0.16 * size]
    flank = section.flank_mm
    shapes = [
        Shape(ink=Ink.STEEL, points=steel),
        Shape(ink=Ink.FACE, points=np.stack([np.zeros(2), along])),
        line(Ink.STONE, (-1.6 * size, 0.0), (1.9 * size, 0.0)),
        Shape(
            ink=Ink.HANDLE, points=arc(1.0, elevation - 90, elevation - 90) * [[0.5], [1.6]] * size
        ),
        Shape(ink=Ink.THIN, points=arc(1.3 * size, -90.0, elevation - 90)),
        *arrow(tuple(up), tuple(along + up), 0.12 * size),
        *arrow(tuple(along + up), tuple(up), 0.12 * size),
        *arrow((flank / 2, -0.42 * size), (flank / 2, -0.06 * size), 0.12 * size),
    ]
    labels = (
        (-1.48 * size, 0.75 * size, f"{elevation:.3g}°"),
        (0.0, 0.6 * size, f"{180 - np.degrees(beta):.0f}°"),
        (float(along[0] + 0.15 * size), float(along[1] + 0.35 * size), "face: width"),
        (flank / 2, -0.65 * size, "bevel: ink"),
    )
    alt = (
        f"Section of the {need.name} edge of {need.instrument}, bevel flat on the stone, handle at "
        f"{elevation:.1f} degrees: ink goes on the bevel, the width is measured along the face."
    )
    box = (-1.75 * size, -0.9 * size, 1.9 * size, 1.5 * size)
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=labels)


def seen_along_handle(
    edge: Edge, along: Edge, span_mm: tuple[float, float] | None = None
) -> FloatArray:
    """Points (S, 2) of an edge, or of a span of it, seen along the handle of another: right, and
    up towards its toe."""
    up, right = handle_basis(along)
    points = edge.frame(_places(edge, span_mm), order=0).position
    return np.stack([points @ right, points @ up], axis=1)


def _places(edge: Edge, span_mm: tuple[float, float] | None = None) -> FloatArray:
    """Places along an edge, or along a span of it with its true ends, two at least [mm]."""
    first, last = (0.0, edge.length_mm) if span_mm is None else span_mm
    parts = math.ceil((POINTS - 1) * (last - first) / edge.length_mm - 1e-9)
    return np.linspace(first, last, max(parts, 1) + 1)


def _blade_outline(step: Step) -> tuple[FloatArray, FloatArray]:
    """Outline and the strip of the step seen along the handle, from the middle of the heel."""
    need = step.requirements
    near = seen_along_handle(need.edge, need.edge)
    far = need.blade.opposite(need.name)
    outline = (
        near if far is None else np.concatenate([near, seen_along_handle(far, need.edge)[::-1]])
    )
    heel = (near[0] + outline[-1]) / 2 if far is not None else near[0]
    strip = seen_along_handle(need.edge, need.edge, step.span_mm)
    scale = LENGTH / max(float((outline - heel)[:, 1].max()), 1e-6)
    return scale * (outline - heel), scale * (strip - heel)


def clock(step: Step) -> Drawing:
    """The blade on the stone, seen along the handle, at the first and (dashed) last placement."""
    need = step.requirements
    outline, ground = _blade_outline(step)
    # unwrapped, so that the arrow takes the way the toe takes
    begin, end = (6.0 - step.placement_roll_deg[[0, -1]] / HOUR_DEG).tolist()
    start = turned(outline, begin)
    middle = np.array([(start[:, 0].min() + start[:, 0].max()) / 2, start[:, 1].min() + 0.42])
    shapes = [
        Shape(ink=Ink.THIN, points=arc(1.0, 0.0, 360.0)),
        *(
            Shape(ink=Ink.THIN, points=turned(np.array([[0, 0.93], [0, 1.0]]), hour))
            for hour in range(12)
        ),
        line(Ink.STONE, (-0.88, -0.46), (0.88, -0.46)),
        Shape(ink=Ink.STEEL, points=start - middle),
        Shape(ink=Ink.EDGE, points=turned(ground, begin) - middle),
    ]
    words = f"stays at {clock_words(begin % 12)}"
    if abs(end - begin) * HOUR_DEG >= MIN_TURN_DEG:
        later = turned(outline, end)
        low = np.array([(later[:, 0].min() + later[:, 0].max()) / 2, later[:, 1].min() + 0.42])
        head = np.array([[-0.11, -0.07], [0.0, 0.0], [-0.11, 0.07]]) * np.sign(end - begin)
        shapes += [
            Shape(ink=Ink.LATER, points=later - low),
            Shape(ink=Ink.THIN, points=arc(RIM, HOUR_DEG * begin, HOUR_DEG * end)),
            Shape(ink=Ink.THIN, points=turned(head + np.array([0.0, RIM]), end)),
        ]
        words = f"turns from {clock_words(begin % 12)} to {clock_words(end % 12)}"
    alt = (
        f"{need.instrument}, {need.name} edge, seen from the end of the handle, lying on the "
        f"stone: the toe {words} of a clock."
    )
    labels = ((0.0, 0.78, "12"), (0.0, -0.78, "6"), (-0.82, 0.0, "9"), (0.82, 0.0, "3"))
    return Drawing(shapes=tuple(shapes), box=(-1.16, -1.16, 1.16, 1.16), alt=alt, labels=labels)


def hand_from_the_side(step: Step, room_mm: float) -> Drawing:
    """The face level, the stone leaning against the side of the blade."""
    need, section = step.requirements, step.requirements.blade.section
    angle = gauge_deg(step)
    steel = _outline(section) * [-1.0, 1.0]  # the edge to the right, where the stone comes
    size = max(section.width_mm, section.thickness_mm)
    flank = arc(1.0, angle - 90, angle - 90)[0]  # clockwise from up: out of the face, to the right
    ends = np.stack([-1.1 * size * flank, 1.9 * size * flank])
    shapes = [
        Shape(ink=Ink.STEEL, points=steel),
        line(Ink.FACE, (-section.width_mm, 0.0), (0.0, 0.0)),
        Shape(ink=Ink.STONE, points=ends),
        Shape(ink=Ink.THIN, points=arc(0.62 * size, -90.0, angle - 90)),
    ]
    labels = [(-1.0 * size, 0.85 * size, f"{angle:.0f}°"), (-0.6 * size, -1.5 * size, "face level")]
    words = ""
    if not math.isinf(room_mm):
        labels.append((2.15 * size, 1.1 * size, f"≤ {math.floor(room_mm)} mm"))
        words = f", its upper end at most {math.floor(room_mm)} millimetres above the edge"
    alt = (
        f"{need.instrument}, {need.name} edge, from the side: face level, the stone leaning "
        f"against the blade at {angle:.0f} degrees to the face{words}."
    )
    box = (-2.6 * size, -1.8 * size, 3.7 * size, 1.9 * size)
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=tuple(labels))


def hand_from_above(step: Step) -> Drawing:
    """The end of the blade that is ground from above, toe down, and the stone at each placement."""
    need, held = step.requirements, step.requirements.held
    edges = [need.edge]
    far = need.blade.opposite(need.name)
    edges += [] if far is None else [far]
    level = need.edge.frame(held.arc_mm, order=0).face.value[len(held.arc_mm) // 2]
    down = need.edge.roll_reference - (need.edge.roll_reference @ level) * level
    down = down / np.linalg.norm(down)
    basis = np.stack([np.cross(level, down), -down], axis=1)  # right and up, toe down
    outlines = [edge.frame(edge.stations(POINTS), order=0).position @ basis for edge in edges]
    near = outlines[0]
    outline = near if far is None else np.concatenate([near, outlines[1][::-1]])
    places = held.position_mm[step.stations] @ basis
    size = max(TOE_END * need.blade.section.width_mm, float(np.ptp(places[:, 1])) / 0.8)
    # the toe end where the strip is there, else the strip in the middle
    middle = (places.min(axis=0) + places.max(axis=0)) / 2
    tip = near[-1] if places[:, 1].min() < near[-1, 1] + NEAR_TIP * size else middle
    inside = np.abs(outline[:, 1] - tip[1]) < size
    shown = outline[inside] - tip
    strip = need.edge.frame(_places(need.edge, step.span_mm), order=0).position @ basis
    shapes = [Shape(ink=Ink.STEEL, points=shown), Shape(ink=Ink.EDGE, points=strip - tip)]
    at = np.stack([step.at_placements(places[:, axis]) for axis in (0, 1)], axis=1) - tip
    labels = []
    hours = stone_hours(step).tolist()
    for number, (place, hour) in enumerate(zip(at, hours, strict=True), 1):
        out = arc(1.0, HOUR_DEG * hour, HOUR_DEG * hour)[0]
        across, foot = np.array([-out[1], out[0]]), place + 0.34 * size * out
        ends = np.stack([foot - 0.1 * size * across, foot + 0.1 * size * across])
        near_it = tuple((place + 0.06 * size * out).tolist())
        shapes += [
            Shape(ink=Ink.EDGE, points=ends),
            *arrow(tuple(foot.tolist()), near_it, 0.06 * size),
        ]
        labels.append((*(place + 0.5 * size * out).tolist(), str(number)))
    alt = (
        f"{need.instrument}, {need.name} edge, from above, toe towards you: the stone comes from "
        f"{', '.join(clock_words(hour) for hour in hours)} of a clock."
    )
    box = (-0.9 * size, -0.75 * size, 0.9 * size, 0.95 * size)
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=tuple(labels))


def toe_line(steps: Sequence[Step]) -> Drawing | None:
    """Which way the toe points: as the edge runs at its middle, on the most curved of the blades.

    Seen from the blade's end by one who looks along the handle, heel at the left.
    """
    if not steps:
        return None

    def bent(step: Step) -> float:
        near = seen_along_handle(step.requirements.edge, step.requirements.edge)
        return abs(float(np.arctan2(*(near[-1] - near[0]))))

    need = max(steps, key=bent).requirements
    near = seen_along_handle(need.edge, need.edge)
    far = need.blade.opposite(need.name)
    outline = (
        near if far is None else np.concatenate([near, seen_along_handle(far, need.edge)[::-1]])
    )
    near, outline = (points @ np.array([[0.0, 1.0], [1.0, 0.0]]) for points in (near, outline))
    middle, size = near[len(near) // 2], float(np.ptp(outline[:, 0]))
    tip = middle + np.array([0.85 * size, 0.0])
    shapes = (
        Shape(ink=Ink.STEEL, points=outline),
        Shape(ink=Ink.EDGE, points=near),
        *arrow(tuple(middle), tuple(tip), 0.05 * size),
    )
    low, high = outline.min(axis=0), outline.max(axis=0)
    half = (low[1] + high[1]) / 2
    labels = (
        (low[0] - 0.17 * size, half, "heel"),
        (tip[0] + 0.17 * size, tip[1], "TOE"),
        (float(near[-1, 0]) + 0.14 * size, float(near[-1, 1]), "tip"),
    )
    box = (low[0] - 0.34 * size, low[1] - 0.1 * size, tip[0] + 0.34 * size, high[1] + 0.1 * size)
    alt = (
        f"{need.instrument} seen from its blade along the handle, heel at the left: an arrow, TOE, "
        f"runs as the {need.name} edge does at its middle, not to the tip, its last point."
    )
    return Drawing(shapes=shapes, box=box, alt=alt, labels=labels)
