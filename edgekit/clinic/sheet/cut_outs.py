"""What is cut out of a setting sheet or held to it: dial, corner cards, a line; and the bench.

All but the bench have their true size on paper.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from edgekit.clinic.sheet.drawing import Drawing, Ink, Shape, arc, arrow, line, turned
from edgekit.contact.holder import Holder

DIAL_MM = 44.0  # across the dial: an hour is 11 mm of its rim, five minutes are 1 mm
WIDER_MM = 2.0  # of the dial's second ring, for a handle that is thicker
AIR_MM = 1.0  # between the dial's rim and the stone
FIVES = 12  # marks of five minutes in an hour
BETWEEN = 32.5 / 60  # of an hour: between two marks, and no number stands there
CARD_MM = (30.0, 12.0)  # base and height of a corner card


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
        (base / 2, 0.72 * height, f"card {angle_deg:.0f}°"),
        (0.24 * base, 0.28 * height, f"{low:g}°"),
        (0.76 * base, 0.28 * height, f"{high:g}°"),
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
    ends = -0.6 * stone_mm, 0.4 * stone_mm
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
        "you": end * along + [9.0, 0.0],
        "plates on the bench": (sum(ends) / 2, low - 4.0),
        "no fingers in the hatched room": (ends[0] / 2, 13.0),
        "towards the edge": (ends[0] + 31.0, -holder.stone_height_mm / 2),
        "away": (ends[1] - 24.0, -holder.stone_height_mm / 2),
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
