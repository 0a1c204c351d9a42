"""What is cut out of a setting sheet or held to it: dial, corner cards, a line; and the bench.

All but the bench have their true size on paper.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from edgekit.checks import FloatArray
from edgekit.clinic.bench.by_hand import heel_middle
from edgekit.clinic.bench.on_the_stone import touching
from edgekit.clinic.bench.steps import Step
from edgekit.clinic.sheet.drawing import Drawing, Ink, Shape, arc, arrow, line, turned
from edgekit.contact.holder import Holder

DIAL_MM = 44.0  # across the dial: an hour is 11 mm of its rim, five minutes are 1 mm
WIDER_MM = 2.0  # of the dial's second ring, for a handle that is thicker
AIR_MM = 1.0  # between the dial's rim and the stone
FIVES = 12  # marks of five minutes in an hour
BETWEEN = 32.5 / 60  # of an hour: between two marks, and no number stands there
POINTS = 21  # of an edge beside a card
KNOT = 2.0  # below the middle of the handle, in its radii
CARD_MM = (18.0, 7.0)  # base and height of a corner card: it stands beside a shank


def slit_hour(hours: Sequence[float]) -> float:
    """Where the dial is slit: between two marks, as far as can be from every hour that is read.

    Examples
    --------
    >>> round(slit_hour([9.0, 8.5, 6.0, 3.0]), 2)
    11.54
    """
    places = np.arange(1, 13) + BETWEEN
    if not len(hours):
        return float(places[0])
    apart = np.abs((places[:, None] - np.asarray(hours)[None] + 6) % 12 - 6)
    return float(places[int(np.argmax(apart.min(axis=1)))])


def dial_from_mm(lowest_deg: float) -> float:
    """How far from the edge a dial must be to clear the stone, in fives [mm]; 0 if it always does.

    Its rim stands d sinα − r cosα above a stone as long as one likes.

    Examples
    --------
    >>> dial_from_mm(13.3)
    100.0
    """
    if not 0 < lowest_deg < 90:
        return 0.0
    away = (DIAL_MM / 2 / math.tan(math.radians(lowest_deg))) + AIR_MM / math.sin(
        math.radians(lowest_deg)
    )
    return 5.0 * math.ceil(away / 5.0)


def dial(handle_diameter_mm: float, hours: Sequence[float] = ()) -> Drawing:
    """The dial to cut out, in millimetres of paper; a thread that hangs over it shows the hour.

    With its TOE at the toe, the hour that lies lowest is the hour at which the toe points: an
    hour's place is as far clockwise from the 6 as the toe has gone the other way.
    """
    rim, hole, slit = DIAL_MM / 2, handle_diameter_mm / 2, slit_hour(hours)
    shapes = [
        Shape(ink=Ink.CUT, points=r * arc(1.0, 0.0, 360.0))
        for r in (rim, hole, hole + WIDER_MM / 2)
    ]
    cut = np.array([[0.0, rim], [0.0, hole]])
    shapes.append(Shape(ink=Ink.CUT, points=turned(cut, 6.0 - slit)))
    labels: list[tuple[float, float, str]] = []
    for tick in range(12 * FIVES):
        long = 4.6 if tick % FIVES == 0 else 3.2 if tick % 6 == 0 else 2.3 if tick % 2 == 0 else 1.3
        mark = np.array([[0.0, rim - long], [0.0, rim - 0.5]])
        shapes.append(Shape(ink=Ink.THIN, points=turned(mark, 6.0 - tick / FIVES)))
        if tick % FIVES == 0:
            hour = tick // FIVES
            x, y = turned(np.array([[0.0, rim - 6.6]]), 6.0 - hour)[0].tolist()
            labels.append((x, y, str(hour or 12)))
    labels.append((0.0, rim - 10.6, "TOE"))
    shapes += arrow((0.0, hole + WIDER_MM / 2 + 0.6), (0.0, rim - 12.4), 1.0)
    alt = (
        f"Dial to cut out, {DIAL_MM:g} millimetres across, with a hole of {handle_diameter_mm:g} "
        f"millimetres for the handle, a ring for {handle_diameter_mm + WIDER_MM:g}, and a slit; "
        "hours run anticlockwise, every five minutes has a mark, TOE stands at 6."
    )
    half = rim + 0.5
    box = (-half, -half, half, half)
    return Drawing(shapes=tuple(shapes), box=box, alt=alt, labels=tuple(labels))


def loop(handle_diameter_mm: float) -> Drawing:
    """The thread's loop round the handle, seen from its end: the knot hangs below the middle."""
    rim, handle = DIAL_MM / 2, handle_diameter_mm / 2
    knot, clip = (0.0, -KNOT * handle), (0.0, -1.2 * rim)
    leaves = 180.0 - math.degrees(math.acos(1 / KNOT))  # where the thread leaves the handle
    shapes = (
        Shape(ink=Ink.CUT, points=rim * arc(1.0, 0.0, 360.0)),
        Shape(ink=Ink.STEEL, points=handle * arc(1.0, 0.0, 354.0)),
        Shape(ink=Ink.FACE, points=np.array([knot, *handle * arc(1.0, -leaves, leaves), knot])),
        line(Ink.FACE, knot, clip),
        line(Ink.STONE, clip, (0.0, -1.4 * rim)),
    )
    labels = (
        (0.0, 0.55 * rim, "loop"),
        (0.5 * rim, -KNOT * handle, "knot"),
        (0.4 * rim, -1.3 * rim, "clip"),
    )
    alt = (
        "The dial from your side: the thread is a loop round the handle, its knot hangs below the "
        "middle, and from the knot the clip draws the thread straight down across the rim."
    )
    return Drawing(shapes=shapes, box=(-rim, -1.45 * rim, rim, rim), alt=alt, labels=labels)


def card(angle_deg: float, within_deg: float) -> Drawing:
    """A card whose two corners are the least and the most that face and stone may make."""
    base, height = CARD_MM
    low, high = angle_deg - within_deg, angle_deg + within_deg
    left = -height / math.tan(math.radians(low))
    right = -height / math.tan(math.radians(high))
    outline = [(0.0, 0.0), (base, 0.0), (base + right, height), (-left, height), (0.0, 0.0)]
    alt = (
        f"Corner card {angle_deg:.0f} degrees to cut out: its left corner is {low:g} degrees, its "
        f"right corner {high:g}."
    )
    labels = (
        (base / 2, 0.75 * height, f"card {angle_deg:.0f}°"),
        (0.24 * base, 0.31 * height, f"{low:g}°"),
        (0.76 * base, 0.31 * height, f"{high:g}°"),
    )
    box = (min(-left, 0.0) - 0.5, -0.5, base + max(right, 0.0) + 0.5, height + 0.5)
    return Drawing(shapes=(line(Ink.CUT, *outline),), box=box, alt=alt, labels=labels)


def check_line(length_mm: float = 100.0) -> Drawing:
    """A line of true length to hold a ruler to."""
    ends = np.arange(0.0, length_mm + 1.0, 10.0)
    ticks = [line(Ink.THIN, (x, 0.0), (x, 3.5 if x % 50 == 0 else 2.0)) for x in ends.tolist()]
    whole = line(Ink.THIN, (0.0, 0.0), (length_mm, 0.0))
    alt = f"A line of {length_mm:g} millimetres with a mark every 10."
    labels = tuple((float(x), 6.0, f"{x:g}") for x in ends[::5])
    box = (-5.0, -1.0, length_mm + 5.0, 8.5)
    return Drawing(shapes=(whole, *ticks), box=box, alt=alt, labels=labels)


def _rod(start_mm: float, end_mm: float, radius_mm: float, angle_deg: float) -> Shape:
    """A rod on the handle's axis, which rises from the edge."""
    along = arc(1.0, 90 - angle_deg, 90 - angle_deg)[0]
    aside = radius_mm * np.array([-along[1], along[0]])
    ends = np.stack([start_mm * along, end_mm * along])
    return Shape(ink=Ink.STEEL, points=np.concatenate([ends + aside, ends[::-1] - aside]))


def bench(holder: Holder, angle_deg: float, dial_mm: float, stone_mm: float) -> Drawing:
    """The bench from the side: stone and plates, handle, pivot, and where no finger must be.

    Drawn with the handle to the right and shown mirrored: to the left, as beside every line.
    """
    riser = max(holder.fit(elevation_deg=angle_deg).riser_mm, 3.0)
    low, along = -holder.stone_height_mm - riser, arc(1.0, 90 - angle_deg, 90 - angle_deg)[0]
    at, down = dial_mm * along, DIAL_MM / 2 * np.array([along[1], -along[0]])
    thread = np.stack([at, at + down, at + down - [0.0, 9.0]]) + 0.8 * along
    end = max(dial_mm, holder.reach_mm) + 30.0
    pivot = holder.reach_mm * along
    ends = -0.65 * stone_mm, 0.35 * stone_mm
    drawn = (
        *_stone_on_plates(*ends, holder.stone_height_mm, riser),
        line(Ink.FACE, (ends[0] - 8.0, low), (end * float(along[0]) + 4.0, low)),
        _rod(holder.handle_from_mm, end, holder.handle_radius_mm, angle_deg),
        _rod(1.0, holder.handle_from_mm, holder.shank_radius_mm, angle_deg),
        Shape(ink=Ink.HANDLE, points=np.stack([0 * along, end * along])),
        Shape(ink=Ink.STONE, points=np.array([pivot, [pivot[0], low]])),
        Shape(ink=Ink.FACE, points=np.stack([at - down, at + down])),
        Shape(ink=Ink.THIN, points=thread),
        Shape(ink=Ink.THIN, points=arc(34.0, 90.0, 90.0 - angle_deg)),
    )
    words = {
        "H": (pivot[0] + 4.0, low / 2),
        "R": 0.6 * pivot + [-4.0, 7.0],
        "S": (ends[0] - 5.0, -holder.stone_height_mm / 2),
        "angle": 39.0 * arc(1.0, 90 - angle_deg / 2, 90 - angle_deg / 2)[0],
        "dial": at - 1.15 * down,
        "thread": thread[2] + [8.0, -1.0],
        "hand": end * along + [9.0, 0.0],
        "plates on the bench": (sum(ends) / 2, low - 4.0),
        "no fingers in the hatched room": (ends[0] / 2, 13.0),
        "towards the edge": (ends[0] + 37.0, -holder.stone_height_mm / 2),
        "away": (ends[1] - 22.0, -holder.stone_height_mm / 2),
    }
    return _mirrored(drawn, {text: (float(x), float(y)) for text, (x, y) in words.items()})


def _stone_on_plates(left: float, right: float, thick: float, riser: float) -> tuple[Shape, ...]:
    """The stone with the room above it that no finger enters, its two ways, and the plates."""
    block = np.array([(left, 0.0), (right, 0.0), (right, -thick), (left, -thick)])
    piles = [-thick - riser * share for share in (0.2, 0.5, 0.8)]
    return (
        *(line(Ink.DANGER, (x, 0.6), (x + 9, 9.6)) for x in np.arange(left, 12.0, 4.0).tolist()),
        Shape(ink=Ink.STEEL, points=block),
        *(line(Ink.CUT, (left + 8, height), (right - 8, height)) for height in piles),
        *arrow((left + 12, -0.5 * thick), (left + 3, -0.5 * thick), 2.0),
        *arrow((right - 12, -0.5 * thick), (right - 3, -0.5 * thick), 2.0),
    )


def _mirrored(shapes: Sequence[Shape], words: Mapping[str, tuple[float, float]]) -> Drawing:
    """The bench with left and right exchanged, in a box that holds it."""
    mirror = np.array([-1.0, 1.0])
    seen = tuple(Shape(ink=shape.ink, points=shape.points * mirror) for shape in shapes)
    points = np.concatenate([shape.points for shape in seen])
    (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    labels = tuple((-x, y, text) for text, (x, y) in words.items())
    box = (x0 - 14.0, y0 - 7.0, x1 + 8.0, y1 + 5.0)
    return Drawing(shapes=seen, box=box, alt=BENCH_ALT, labels=labels)


BENCH_ALT = (
    "The bench from the side: the stone on plates, the handle rising from the edge to the left "
    "through the pivot, H high, R from the edge; the dial behind it with a thread over its face. "
    "On top of the stone and in front of the edge the room is hatched: no fingers there."
)


def hands(lean_deg: float = 105.0) -> Drawing:
    """The stone in the hand as one sees it who looks along the edge at its level: a level face has
    the handle upright above it, within the slant of an area-specific blade."""
    up = arc(1.0, lean_deg - 90, lean_deg - 90)[0]
    aside = np.array([up[1], -up[0]])
    slab = np.array([-36 * up, 20 * up, 20 * up + 5 * aside, -36 * up + 5 * aside])
    blade = np.array([(0.0, 0.0), (-7.0, 0.0), (-6.2, -3.0), (-3.5, -4.6), (-0.8, -3.0)])
    high = (slab[2] + 9 * aside)[0]
    shapes = (
        line(Ink.STEEL, (-74.0, 24.0), (-28.0, 24.0), (-28.0, -4.0), (-74.0, -4.0)),
        _oval((-20.0, 34.0), (18.0, 10.0)),
        _oval(tuple((-19 * up + 9.5 * aside).tolist()), (4.5, 3.0)),
        _oval(tuple((-12 * up + 9.5 * aside).tolist()), (4.5, 3.0)),
        _oval(tuple((-26 * up + 9.5 * aside).tolist()), (4.5, 3.0)),
        Shape(ink=Ink.STEEL, points=blade),
        line(Ink.HANDLE, (-5.0, -2.0), (-12.0, 50.0)),
        line(Ink.CUT, (-18.0, 0.0), (0.0, 0.0), (14 * up[0], 14 * up[1]), (-22.0, 14 * up[1])),
        line(Ink.CUT, (-22.0, 14 * up[1]), (-18.0, 0.0)),
        line(Ink.FACE, (-7.0, 0.0), (0.0, 0.0)),
        Shape(ink=Ink.STEEL, points=slab),
        line(Ink.FACE, (-28.0, -4.0), (-74.0, -4.0)),
        *arrow((high, 18.0), (high, 2.0), 2.0),
    )
    labels = (
        (-18.0, 7.0, "card"),
        (-30.0, 34.0, "hand"),
        (-53.0, 10.0, "rest"),
        (6.0, 46.0, "handle up"),
        (high + 21.0, 13.0, "down: towards"),
        (high + 21.0, 7.0, "the edge"),
        (29.0, -20.0, "fingers behind"),
        (-25.0, -28.0, "free"),
        (-19.0, -10.0, "face level"),
        (8.0, -42.0, "grip: common practice, no source"),
    )
    alt = (
        "The stone in the hand, as you look along the edge at its level: the handle up in a hand "
        "on a rest, face level, the card behind; the stone leans outwards to the right, fingers "
        "behind its lower half; going down is towards the edge. Common practice, no source."
    )
    return Drawing(shapes=shapes, box=(-76.0, -45.0, 58.0, 51.0), alt=alt, labels=labels)


def _oval(middle: tuple[float, float], half: tuple[float, float]) -> Shape:
    return Shape(
        ink=Ink.LATER, points=np.array(middle) + arc(1.0, 0.0, 354.0)[::5] * np.array(half)
    )


def card_beside(step: Step, at: int, holder: Holder) -> Drawing:
    """A card at the edge, seen from above on the stone: where it stands beside the shank."""
    need, (place, normal, along) = step.requirements, touching(step, at)
    out = -need.edge.handle_axis
    up = out - (out @ normal) * normal
    up = up - (up @ along) * along
    basis = np.stack([along / np.linalg.norm(along), up / np.linalg.norm(up)], axis=1)
    edges = [edge for edge in (need.edge, need.blade.opposite(need.name)) if edge is not None]
    near, *far = (
        (edge.frame(edge.stations(POINTS), order=0).position - place) @ basis for edge in edges
    )
    heel = (heel_middle(need) - place) @ basis
    axis = heel + np.array([[0.0], [1.15 * CARD_MM[0]]]) * (out @ basis)
    alt = (
        f"{need.instrument}, {need.name} edge on the stone, from above: the card stands square to "
        "the edge beside the shank, its base towards the handle; you look along the edge."
    )
    return _beside(near, np.concatenate([near, *(side[::-1] for side in far)]), axis, holder, alt)


def _beside(
    near: FloatArray, outline: FloatArray, axis: FloatArray, holder: Holder, alt: str
) -> Drawing:
    """Blade, shank and card from above; the card's corner at 0, its base upwards."""
    base, r, (heel, end) = CARD_MM[0], holder.shank_radius_mm, axis.tolist()
    side = np.array([[r, 0.0]])
    rod = np.concatenate([axis[:1] - side, axis[1:] - side, axis[1:] + side, axis[:1] + side])
    right = max(float(near[:, 0].max()), 0.0)
    shapes = (
        Shape(ink=Ink.STEEL, points=rod),
        Shape(ink=Ink.STEEL, points=outline),
        Shape(ink=Ink.EDGE, points=near),
        Shape(ink=Ink.HANDLE, points=axis),
        line(Ink.STONE, (0.0, 0.0), (0.0, base)),
        *arrow((right + 9.0, 0.0), (right + 1.5, 0.0), 1.2),
    )
    labels = (
        (4.2, 0.6 * base, "card"),
        (end[0] - r - 5.0, 0.9 * end[1], "shank"),
        (right + 16.0, 0.0, "you look"),
        (heel[0] - 5.0, 0.0, "edge"),
    )
    points = np.concatenate([rod, outline])
    left, low = float(points[:, 0].min()), float(points[:, 1].min())
    box = (min(left, heel[0] - 5.0) - 5.0, min(low, -1.0) - 1.0, right + 23.0, end[1] + 0.5)
    return Drawing(shapes=shapes, box=box, alt=alt, labels=labels)
