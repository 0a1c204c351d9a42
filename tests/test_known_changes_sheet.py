"""Drawings, sizes and numbers of the setting sheet of which a change could pass unseen.

Drawings against the geometry they show, against their own size (a blade three times as large is
drawn three times as large), and against what print needs: words inside the frame and clear of
lines. Numbers in words against sums written out.
"""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest

import edgekit as ek
from edgekit.clinic.bench.by_hand import stone_hours
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.sheet import blades, paper
from edgekit.clinic.sheet.blades import (
    _outline,
    at_the_stone,
    clock,
    clock_words,
    gauge_deg,
    hand_from_above,
    hand_from_the_side,
    seen_along_handle,
    toe_hours,
    toe_line,
)
from edgekit.clinic.sheet.cut_outs import (
    DIAL_MM,
    bench,
    card,
    check_line,
    dial,
    dial_from_mm,
    slit_hour,
)
from edgekit.clinic.sheet.drawing import Drawing, Ink, Shape, arc, arrow, placed, svg, turned
from edgekit.clinic.sheet.page import SIZES_MM
from edgekit.contact.orientation import handle_basis
from edgekit.geometry.section import Bevel, RoundBack, Triangular

STONE_MM = CLOCK_MM = SIZES_MM[2]
HOLDER = ek.Holder(pivot_height_mm=60.0, reach_mm=90.0, stone_height_mm=12.0)
ROUND = RoundBack(width_mm=0.86, thickness_mm=0.71, internal_angle_deg=75)
WEDGE = Triangular(width_mm=1.1, internal_angle_deg=60)
HOE = Bevel(width_mm=1.5, thickness_mm=0.8, internal_angle_deg=45)
SECTIONS = (ROUND, WEDGE, HOE)


def larger(section, times):
    sizes = {"width_mm": section.width_mm * times}
    if not isinstance(section, Triangular):
        sizes["thickness_mm"] = section.thickness_mm * times
    return dataclasses.replace(section, **sizes)


def shapes_of(drawing, ink):
    return [shape.points for shape in drawing.shapes if shape.ink is ink]


def same_up_to_size(one, other, times):
    """Whether one drawing is another, so many times as large."""
    for a, b in zip(one.shapes, other.shapes, strict=True):
        assert a.ink is b.ink
        np.testing.assert_allclose(b.points, times * a.points, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(other.box, times * np.array(one.box), rtol=1e-9)
    for a, b in zip(one.labels, other.labels, strict=True):
        np.testing.assert_allclose(b[:2], times * np.array(a[:2]), rtol=1e-9, atol=1e-9)
        assert a[2] == b[2]
    assert one.letters_mm == other.letters_mm


# ---- parts of drawings ---------------------------------------------------------------------


@pytest.mark.parametrize("section", SECTIONS, ids=["round", "wedge", "bevel"])
def test_an_outline_follows_its_section_from_the_edge(section):
    points = _outline(section)
    beta = math.radians(section.internal_angle_deg)
    assert points[0].tolist() == [0.0, 0.0]
    assert points[:, 1].min() == pytest.approx(-section.thickness_mm, rel=1e-12)
    assert points[:, 0].max() == pytest.approx(section.width_mm, rel=1e-12)
    flank = points[1:4]  # the flank leaves the face at the internal angle
    np.testing.assert_allclose(-flank[:, 1] / flank[:, 0], math.tan(beta), rtol=1e-9)
    depth = section.thickness_mm * np.arange(25) / 24
    np.testing.assert_allclose(points[:25, 1], -depth, rtol=1e-12)
    if section is HOE:
        assert points[25:].tolist() == [[1.5, -0.8], [1.5, 0.0]]
    else:
        np.testing.assert_allclose(points[25:, 0], section.width_mm - points[24::-1, 0], atol=1e-12)
        np.testing.assert_allclose(points[25:, 1], points[24::-1, 1], rtol=1e-12)
    x, y = points.T
    area = abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    assert area == pytest.approx(section.area_mm2, rel=0.02)  # chords of the round back


def test_arcs_and_turns_run_clockwise_from_the_top():
    bow = arc(2.0, 0.0, 90.0)
    assert len(bow) == 17  # a point every six degrees or less
    assert [len(arc(1.0, 0, end)) for end in (5.0, 6.0, -12.0)] == [2, 3, 4]
    np.testing.assert_allclose(bow[[0, -1]], [[0, 2], [2, 0]], atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(bow, axis=1), 2.0)
    angle = np.degrees(np.arctan2(bow[:, 0], bow[:, 1]))
    np.testing.assert_allclose(angle, np.linspace(0, 90, 17), atol=1e-9)
    np.testing.assert_allclose(
        turned(np.array([[0.0, 1.0], [2.0, 0.0]]), 3.0), [[1, 0], [0, -2]], atol=1e-12
    )
    np.testing.assert_allclose(turned(np.array([[0.0, 1.0]]), 1.0), [[0.5, 0.75**0.5]])


def test_hours_are_thirtieths_of_a_turn_and_told_to_five_minutes():
    rolls = np.array([-90.0, 0.0, 90.0, 180.0, -200.0, -45.0])
    np.testing.assert_allclose(toe_hours(rolls), [9, 6, 3, 0, 12 * 0 + 0.6666666667, 7.5])
    assert [clock_words(h) for h in (0.0, 0.04, 0.042, 1.0, 11.96, 12.0, 6.5)] == [
        "12:00",
        "12:00",
        "12:05",
        "1:00",
        "12:00",
        "12:00",
        "6:30",
    ]
    assert [clock_words(h) for h in (12.5, 13.0, 23.0)] == ["12:30", "1:00", "11:00"]
    assert [clock_words(h) for h in (0.99, 10.916, 11.95)] == ["1:00", "10:55", "11:55"]


@pytest.mark.parametrize(
    ("ink", "points", "path"),
    [
        (Ink.STEEL, [(0, 0), (4, 0), (4, 3)], "M0,9 4,9 4,6Z"),
        (Ink.THIN, [(0, 0), (4, 0), (4, 3)], "M0,9 4,9 4,6"),
        (Ink.THIN, [(0, 0), (4, 0), (0, 0)], "M0,9 4,9Z"),  # back where it began
        (Ink.THIN, [(0, 0), (4, 0), (0, 0.02)], "M0,9 4,9 0,8.98"),
        (Ink.THIN, [(0, 0), (0, 0)], "M0,9"),  # of two points no ring is made
        (Ink.THIN, [(0, 0), (0.001, 0), (4, 0)], "M0,9 4,9"),
    ],
)
def test_a_path_is_closed_where_its_ink_says_so_or_where_it_ends_as_it_began(ink, points, path):
    drawing = Drawing(shapes=(Shape(ink=ink, points=points),), box=(0, 0, 9, 9), alt="A line.")
    assert f'<path d="{path}" ' in svg(drawing).replace(".00", "")


def test_an_arrow_has_its_head_at_its_end_and_half_as_wide_as_long():
    shaft, head = arrow((1.0, 1.0), (4.0, 5.0), 0.5)  # three along and four up: five long
    assert shaft.points.tolist() == [[1, 1], [4, 5]]
    assert head.points[1].tolist() == [4, 5]
    along, aside = np.array([0.6, 0.8]), np.array([-0.8, 0.6])
    barbs = (head.points[[0, 2]] - [4, 5]) / 0.5
    np.testing.assert_allclose(barbs @ along, [-1, -1], atol=1e-12)
    np.testing.assert_allclose(barbs @ aside, [-0.5, 0.5], atol=1e-12)


# ---- the blade on the stone ----------------------------------------------------------------


def on_stone(section, elevation, beta=None, middle=4):
    """A step of nine stations whose middle one has an elevation and an angle to the stone."""
    beta = section.internal_angle_deg if beta is None else beta
    angles = np.full(9, 180.0 - beta)
    angles[np.arange(9) != middle] += 20.0
    elevations = np.where(np.arange(9) == middle, elevation, elevation + 30.0)
    need = SimpleNamespace(
        blade=SimpleNamespace(section=section),
        held=SimpleNamespace(stone_to_face_deg=angles),
        name="left",
        instrument="A",
    )
    return SimpleNamespace(requirements=need, stations=np.arange(9), elevation_deg=elevations)


ELEVATIONS = (0.0, 5.0, 10.0, 15.0, 30.0, 45.0, 55.0)


@pytest.mark.parametrize("elevation", ELEVATIONS)
@pytest.mark.parametrize("section", SECTIONS, ids=["round", "wedge", "bevel"])
def test_the_blade_on_the_stone_is_drawn_as_it_lies(section, elevation):
    drawing = at_the_stone(on_stone(section, elevation))
    beta, e = (math.radians(angle) for angle in (section.internal_angle_deg, elevation))
    size = max(section.width_mm, section.thickness_mm)
    (steel,), (face,), (stone,), (handle,) = (
        shapes_of(drawing, ink) for ink in (Ink.STEEL, Ink.FACE, Ink.STONE, Ink.HANDLE)
    )
    outline = _outline(section)
    lengths = [np.linalg.norm(p[:, None] - p[None], axis=2) for p in (steel, outline)]
    np.testing.assert_allclose(*lengths, atol=1e-9)  # turned as a whole
    assert steel[0].tolist() == [0.0, 0.0]
    np.testing.assert_allclose(steel[1:4, 1], 0.0, atol=1e-9)  # its flank lies on the stone
    assert (steel[1:4, 0] > 0).all()
    np.testing.assert_allclose(
        face, [[0, 0], section.width_mm * np.array([math.cos(beta), math.sin(beta)])], atol=1e-9
    )
    away = np.array([-math.cos(e), math.sin(e)])  # up and to the left, on the axis from the edge
    reach = np.linalg.norm(handle[1]) / 0.9
    np.testing.assert_allclose(handle, np.linalg.norm(handle, axis=1)[:, None] * away, atol=1e-9)
    assert size < np.linalg.norm(handle[0]) < 0.5 * reach  # it begins beside the blade
    assert 2.5 * size < reach < 3.5 * size
    x0, y0, x1, y1 = drawing.box
    assert stone.tolist() == [[x0, 0.0], [x1, 0.0]]
    at_handle, at_face = shapes_of(drawing, Ink.THIN)
    for bow, share, line in ((at_handle, 0.78, handle), (at_face, 0.33, face)):
        radius = np.linalg.norm(bow[0])
        np.testing.assert_allclose(np.linalg.norm(bow, axis=1), radius, rtol=1e-9)
        assert radius == pytest.approx(share * reach, rel=0.1)
        np.testing.assert_allclose(bow[0], [-radius, 0.0], atol=1e-9)  # from the stone
        np.testing.assert_allclose(bow[-1], radius * line[1] / np.linalg.norm(line[1]), atol=1e-9)
    top, right = max(handle[1, 1], steel[:, 1].max()), steel[:, 0].max()
    assert 1.3 * reach < -x0 < 1.8 * reach
    assert -0.3 * size < y0 < -0.05 * size
    assert 0.05 * size < x1 - right < 0.3 * size
    assert y1 >= top + 0.05 * size
    assert y1 == pytest.approx(max(1.9 * size, top + 0.1 * size), abs=0.2 * size)
    assert f"handle at {elevation:.1f} degrees" in drawing.alt
    assert f"at {180 - section.internal_angle_deg:.0f} degrees" in drawing.alt


@pytest.mark.parametrize("section", SECTIONS, ids=["round", "wedge", "bevel"])
@pytest.mark.parametrize("elevation", ELEVATIONS)
def test_a_larger_blade_is_the_same_drawing_larger(section, elevation):
    one = at_the_stone(on_stone(section, elevation))
    same_up_to_size(one, at_the_stone(on_stone(larger(section, 5.0), elevation)), 5.0)


@pytest.mark.parametrize("elevation", ELEVATIONS)
@pytest.mark.parametrize("section", SECTIONS, ids=["round", "wedge", "bevel"])
def test_angles_stand_beside_what_they_tell_and_inside_the_frame(section, elevation):
    drawing = at_the_stone(on_stone(section, elevation))
    scale, offset = placed(drawing, *STONE_MM)
    (x, y, words), (u, v, other) = drawing.labels
    assert words == f"{elevation:.3g}°"
    assert other == f"{180 - section.internal_angle_deg:.0f}°"
    half = drawing.letters_mm / 2
    one, two = (scale * np.array(at) + offset for at in ((x, y), (u, v)))
    for at in (one, two):
        assert half * 0.8 <= at[1] <= STONE_MM[1] - half * 0.8
        assert 1.5 <= at[0] <= STONE_MM[0] - 1.5
    apart = np.abs(one - two)
    assert apart[0] > 2 * drawing.letters_mm or apart[1] > drawing.letters_mm
    (handle,), (face,) = shapes_of(drawing, Ink.HANDLE), shapes_of(drawing, Ink.FACE)

    def away(at, line):
        """Millimetres of paper from a point to a line."""
        ends = scale * line + offset
        along = ends[1] - ends[0]
        share = np.clip((at - ends[0]) @ along / (along @ along), 0, 1)
        return float(np.linalg.norm(at - ends[0] - share * along))

    (stone,) = shapes_of(drawing, Ink.STONE)
    for at in (one, two):  # a stone line is 1.1 mm thick, figures some 0.72 of their letters
        assert at[1] - (scale * stone + offset)[0, 1] - 0.55 - 0.36 * drawing.letters_mm > 0.8
    # each stands clear of the lines; the handle's angle lies half-way between it and the stone
    assert half < away(one, handle) < 3 * drawing.letters_mm
    assert half < away(two, face)
    assert away(two, handle) > half * 0.8
    size = max(section.width_mm, section.thickness_mm)
    half_way = math.degrees(math.atan2(y, -x))
    if elevation >= 22:
        assert half_way == pytest.approx(elevation / 2, abs=1e-9)
        assert 3.2 < math.hypot(x, y) / size < 4.0
    else:  # no lower than its letters are high
        assert -4.0 < x / size < -3.2
        assert 0.5 < y / size < 0.8
    # the other stands over the blade, between the stone's two sides
    assert 0.2 < -u / size < 0.7
    assert 1.2 < v / size < 1.8


# ---- the clock -----------------------------------------------------------------------------


def tray_on(holder):
    """A plan of five kinds of blade at a holder."""
    tray = {
        "UC": ek.patterns.universal_curette(shank_bend_deg=6),
        "AS": ek.patterns.area_specific_curette(),
        "HL": ek.patterns.half_length_curette(),
        "CS": ek.patterns.curved_sickle(),
        "HO": ek.patterns.hoe(),
    }
    return ek.plan_bench(tray, urgent=["CS"], minutes_available=30, holder=holder)


@pytest.fixture(scope="module")
def tray_plan():
    return tray_on(ek.Holder())


def angle_of(points):
    """Hours at which points lie, clockwise from the top."""
    return np.degrees(np.arctan2(points[..., 0], points[..., 1])) / 30 % 12


def test_the_clock_has_its_ring_its_hours_and_its_stone(tray_plan):
    drawing = clock(tray_plan.steps[0])
    ring, *ticks = shapes_of(drawing, Ink.THIN)[:13]
    np.testing.assert_allclose(np.linalg.norm(ring, axis=1), 1.0)
    np.testing.assert_allclose(ring[0], ring[-1], atol=1e-12)
    for hour, tick in enumerate(ticks):
        np.testing.assert_allclose(angle_of(tick), hour, atol=1e-9)
        inner, outer = np.linalg.norm(tick, axis=1)
        assert 0.9 < inner < 0.95
        assert outer == pytest.approx(1.0)
    (stone,) = shapes_of(drawing, Ink.STONE)
    (left, low), (right, flat) = stone
    assert low == flat
    assert right == -left
    assert 0.8 < math.hypot(right, low) < 1.0  # a chord of the ring, below its middle
    assert -0.6 < low < -0.3
    x0, y0, x1, y1 = drawing.box
    assert -x0 == -y0 == x1 == y1
    assert 1.1 < x1 < 1.3
    scale, _ = placed(drawing, *CLOCK_MM)
    for x, y, words in drawing.labels:
        np.testing.assert_allclose(angle_of(np.array([x, y])) % 12, int(words) % 12, atol=1e-9)
        half = (0.36 if x == 0 else 0.28 * len(words)) * drawing.letters_mm / scale
        assert math.hypot(x, y) + half < 0.95  # within the ring, at its marks
        assert math.hypot(x, y) > 0.7
    assert [words for *_, words in drawing.labels] == ["12", "6", "9", "3"]


def centred(points):
    """Points whose box begins at 0 upward and has its middle at 0 across."""
    low, high = points.min(axis=0), points.max(axis=0)
    return points - [(low[0] + high[0]) / 2, low[1]]


def test_the_hand_of_the_clock_is_the_blade_seen_along_its_handle(tray_plan):
    for step in (s for s in tray_plan.steps if s.requirements.instrument != "HO"):
        need, drawing = step.requirements, clock(step)
        edge, far = need.edge, need.blade.opposite(need.name)
        up, right = handle_basis(edge)
        near = edge.frame(np.linspace(0, edge.length_mm, 41)).position @ np.stack(
            [right, up], axis=1
        )
        begin = 6 - step.placement_roll_deg[0] / 30
        (steel,), (ground,) = shapes_of(drawing, Ink.STEEL), shapes_of(drawing, Ink.EDGE)
        unturned, edge_seen = turned(steel, -begin), turned(ground, -begin)
        heel, far_heel = unturned[0], unturned[-1 if far is not None else 0]
        length = unturned[:, 1].max() - (heel[1] + far_heel[1]) / 2
        assert length == pytest.approx(blades.LENGTH)  # of the clock's radii, from mid-heel
        assert 0.9 < length < 1.1
        if far is not None:
            other = far.frame(np.linspace(0, far.length_mm, 41)).position
            across = other @ np.stack([right, up], axis=1)
            both = np.concatenate([near, across[::-1]])
        else:
            both = near
        size = np.ptp(unturned[:, 1]) / np.ptp(both[:, 1])
        np.testing.assert_allclose(unturned - heel, size * (both - both[0]), atol=1e-9)
        assert length == pytest.approx(
            size * (both[:, 1].max() - (both[0, 1] + both[-1 if far is not None else 0, 1]) / 2)
        )
        strip = edge.frame(np.linspace(*step.span_mm, len(ground))).position
        strip = strip @ np.stack([right, up], axis=1)
        assert len(ground) > 40 * np.ptp(step.span_mm) / edge.length_mm  # as fine as the outline
        np.testing.assert_allclose(edge_seen - heel, size * (strip - both[0]), atol=1e-9)
        # it lies on the stone: its lowest point just above, its middle over the middle
        (stone,) = shapes_of(drawing, Ink.STONE)
        assert 0 < steel[:, 1].min() - stone[0, 1] < 0.1
        assert steel[:, 0].min() == pytest.approx(-steel[:, 0].max())


def test_a_blade_of_one_edge_is_as_long_from_its_heel(tray_plan):
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    need = step.requirements
    alone = SimpleNamespace(
        edge=need.edge,
        held=need.held,
        name=need.name,
        instrument="A",
        blade=SimpleNamespace(opposite=lambda _: None),
    )
    steel = shapes_of(
        clock(
            SimpleNamespace(
                requirements=alone,
                span_mm=step.span_mm,
                placement_roll_deg=np.array([180.0]),  # the toe on top: nothing is turned
            )
        ),
        Ink.STEEL,
    )[0]
    assert len(steel) == 41
    assert steel[:, 1].max() - steel[0, 1] == pytest.approx(blades.LENGTH)


def test_the_clock_shows_where_the_blade_turns_to(tray_plan):
    turning = 0
    for step in tray_plan.steps:
        drawing = clock(step)
        begin, end = 6 - step.placement_roll_deg[[0, -1]] / 30
        later, (steel,) = shapes_of(drawing, Ink.LATER), shapes_of(drawing, Ink.STEEL)
        extra = shapes_of(drawing, Ink.THIN)[13:]
        if abs(end - begin) * 30 < 2.5:
            assert not later
            assert not extra
            assert f"stays at {clock_words(begin % 12)} of a clock" in drawing.alt
            continue
        turning += 1
        np.testing.assert_allclose(
            centred(later[0]), centred(turned(steel, end - begin)), atol=1e-9
        )
        assert later[0][:, 1].min() == pytest.approx(steel[:, 1].min())
        assert later[0][:, 0].min() == pytest.approx(-later[0][:, 0].max())
        bow, head = extra
        rim = np.linalg.norm(bow[0])
        assert 1.0 < rim < drawing.box[2]  # outside the ring, inside the frame
        np.testing.assert_allclose(np.linalg.norm(bow, axis=1), rim)
        hours = np.unwrap(angle_of(bow), period=12)
        assert hours[-1] - hours[0] == pytest.approx(end - begin, abs=1e-9)
        np.testing.assert_allclose((angle_of(bow[[0, -1]]) - [begin, end] + 6) % 12, 6, atol=1e-9)
        np.testing.assert_allclose(head[1], bow[-1], atol=1e-9)  # the arrow's tip ends the arc
        back = turned(head, -end) - [0.0, rim]
        sign = np.sign(end - begin)
        assert (sign * back[[0, 2], 0] < -0.05).all()  # its barbs point back along it
        assert (np.abs(back[[0, 2]]) < 0.15).all()
        assert back[0, 1] == pytest.approx(-back[2, 1])
        assert 0.03 < abs(back[0, 1]) < 0.1
        words = f"turns from {clock_words(begin % 12)} to {clock_words(end % 12)} of a clock"
        assert words in drawing.alt
    assert turning > 2


@pytest.mark.parametrize("limit", [2.5, 30.0])  # an hour has no rounding
def test_less_than_five_minutes_is_no_turn(monkeypatch, tray_plan, limit):
    step = tray_plan.steps[0]
    if limit == 30.0:
        monkeypatch.setattr(blades, "MIN_TURN_DEG", limit)
    for roll, turns in (
        (limit * 1.001, True),
        (-limit * 1.001, True),
        (limit, limit == 30.0),
        (limit * 0.999, False),
    ):
        still = SimpleNamespace(
            requirements=step.requirements,
            span_mm=step.span_mm,
            placement_roll_deg=np.array([180.0, 180.0 + roll]),
        )
        assert roll == 2.5 or bool(shapes_of(clock(still), Ink.LATER)) is turns


def test_a_clock_is_the_same_for_a_larger_blade(monkeypatch, tray_plan):
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    one = clock(step)
    for times in (3.0, 0.01):
        monkeypatch.setattr(
            blades, "seen_along_handle", lambda *edges, t=times: t * seen_along_handle(*edges)
        )
        same_up_to_size(one, clock(step), 1.0)


def test_a_short_strip_is_drawn_from_its_true_beginning_to_its_true_end(tray_plan):
    """At either drawing; a strip of one station reaches half-way to its neighbours."""
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    arc_mm, edge = step.requirements.held.arc_mm, step.requirements.edge
    seen = np.stack(handle_basis(edge), axis=1)

    def far(points):
        return np.linalg.norm(points[-1] - points[0])

    (whole,) = shapes_of(clock(step), Ink.EDGE)
    scale = far(whole) / far(edge.frame(np.array(step.span_mm)).position @ seen)
    for first, last in ((0, 0), (100, 100), (100, 102), (195, 200), (200, 200)):
        stations = np.arange(first, last + 1)
        level = np.full(len(stations), 20.0)
        short = dataclasses.replace(
            step, stations=stations, elevation_deg=level, roll_deg=level, placements=1
        )
        ends = [arc_mm[first], arc_mm[last]]
        ends[0] -= (arc_mm[first] - arc_mm[first - 1]) / 2 if first else 0
        ends[1] += (arc_mm[last + 1] - arc_mm[last]) / 2 if last < 200 else 0
        true = edge.frame(np.array(ends)).position
        assert far(true) > 0.01
        (ground,) = shapes_of(clock(short), Ink.EDGE)
        assert far(ground) == pytest.approx(far(true @ seen) * scale, rel=1e-9)
        strip, *_ = shapes_of(hand_from_above(short), Ink.EDGE)
        assert far(strip) == pytest.approx(far(true), rel=1e-3)  # the face is level, all but flat


# ---- the toe, the dial, the ruler ----------------------------------------------------------


def toe_steps(plan):
    return [step for step in plan.steps if step.requirements.instrument != "HO"]


def test_the_toes_arrow_runs_as_the_edge_does_at_its_middle(tray_plan):
    steps = toe_steps(tray_plan)
    drawing = toe_line(steps)

    def bent(step):
        seen = seen_along_handle(step.requirements.edge, step.requirements.edge)
        across, up = seen[-1] - seen[0]
        return abs(math.atan2(across, up))

    need = max(steps, key=bent).requirements
    assert drawing.alt.startswith(f"{need.instrument} seen from its blade along the handle")
    seen = seen_along_handle(need.edge, need.edge)
    near = np.stack([seen[:, 1], seen[:, 0]], axis=1)  # the toe to the right, from the blade's end
    (outline,), (edge,) = shapes_of(drawing, Ink.STEEL), shapes_of(drawing, Ink.EDGE)
    np.testing.assert_allclose(edge, near, atol=1e-12)
    np.testing.assert_allclose(outline[:41], near, atol=1e-12)
    size = np.ptp(outline[:, 0])
    shaft, head = shapes_of(drawing, Ink.THIN)
    np.testing.assert_allclose(shaft[0], near[20], atol=1e-12)
    assert 0.7 * size < shaft[1, 0] - shaft[0, 0] < 1.0 * size
    assert shaft[1, 1] == shaft[0, 1]
    np.testing.assert_allclose(head[1], shaft[1], atol=1e-12)
    barbs = (head[[0, 2]] - head[1]) / size
    np.testing.assert_allclose(barbs[:, 0], barbs[0, 0])
    assert -0.08 < barbs[0, 0] < -0.02
    assert barbs[0, 1] == pytest.approx(-barbs[1, 1])
    assert 0.01 < abs(barbs[0, 1]) < 0.05
    points = np.concatenate([shape.points for shape in drawing.shapes])
    x0, y0, x1, y1 = drawing.box
    (hx, hy, heel), (tx, ty, toe), (px, py, tip) = drawing.labels
    assert (heel, toe, tip) == ("heel", "TOE", "tip")
    assert py == near[-1, 1]
    assert 0.1 * size < px - near[-1, 0] < 0.2 * size
    assert hy == pytest.approx((outline[:, 1].min() + outline[:, 1].max()) / 2)
    assert ty == shaft[1, 1]
    assert 0.1 * size < outline[:, 0].min() - hx < 0.25 * size
    assert 0.1 * size < tx - shaft[1, 0] < 0.25 * size
    assert hx - x0 == pytest.approx(outline[:, 0].min() - hx, rel=1e-9)  # words in mid-margin
    assert x1 - tx == pytest.approx(tx - shaft[1, 0], rel=1e-9)
    assert 0.05 * size < points[:, 1].min() - y0 < 0.15 * size
    assert 0.05 * size < y1 - outline[:, 1].max() < 0.15 * size
    assert toe_line([]) is None


def test_the_most_curved_blade_shows_the_toe():
    plans = [
        ek.plan_bench({f"A{r}": ek.patterns.area_specific_curette(bow_radius_mm=r)})
        for r in (60.0, 9.0, 25.0)
    ]
    steps = [plan.steps[0] for plan in plans]
    assert toe_line(steps).alt.startswith("A9.0 seen")
    assert toe_line(steps[::-1]).alt.startswith("A9.0 seen")


@pytest.mark.parametrize("where", ["throughout", "at once", "at last"])
def test_of_two_blades_the_one_that_bends_is_told_wherever_it_lies(monkeypatch, where):
    ends = {"far off": ([10.0, 0.0], [10.1, 5.0]), "bent": ([0.0, 0.0], [2.0, 5.0])}
    needs = {
        name: SimpleNamespace(
            edge=name, name="left", instrument=name, blade=SimpleNamespace(opposite=lambda _: None)
        )
        for name in ends
    }

    def seen(edge, _):
        points = np.linspace(*map(np.array, ends[edge]), 41)
        if where != "throughout" and edge == "bent":
            points[1:-1, 0] = 2.0 if where == "at once" else 0.0
        return points

    monkeypatch.setattr(blades, "seen_along_handle", seen)
    steps = [SimpleNamespace(requirements=need) for need in needs.values()]
    assert toe_line(steps).alt.startswith("bent seen")


def test_the_toe_of_a_blade_of_two_edges_has_both(tray_plan):
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    need = step.requirements
    (outline,) = shapes_of(toe_line([step]), Ink.STEEL)
    seen = seen_along_handle(need.blade.opposite(need.name), need.edge)
    far = np.stack([seen[:, 1], seen[:, 0]], axis=1)
    np.testing.assert_allclose(outline[41:], far[::-1], atol=1e-12)  # round to the heel again


def test_the_toes_drawing_grows_with_its_blade(monkeypatch, tray_plan):
    step = toe_steps(tray_plan)[0]
    one = toe_line([step])
    monkeypatch.setattr(
        blades, "seen_along_handle", lambda edge, along: 5.0 * seen_along_handle(edge, along)
    )
    same_up_to_size(one, toe_line([step]), 5.0)


@pytest.mark.parametrize("handle_mm", [3.5, 8.0, 12.0])
def test_the_dial_has_a_mark_every_five_minutes_and_a_number_every_hour(handle_mm):
    drawing = dial(handle_mm, [9.0, 8.5, 6.0, 3.0])
    rim, hole, ring, slit = shapes_of(drawing, Ink.CUT)
    for circle in (rim, hole, ring):
        np.testing.assert_allclose(circle[0], circle[-1], atol=1e-12)
        np.testing.assert_allclose(circle.mean(axis=0), [0, circle[0, 1] / len(circle)], atol=1e-9)
    assert np.linalg.norm(rim, axis=1) == pytest.approx(22.0)
    assert np.linalg.norm(hole, axis=1) == pytest.approx(handle_mm / 2)
    assert np.linalg.norm(ring, axis=1) == pytest.approx((handle_mm + 2.0) / 2)
    # 11:32.5 is the farthest of all middles between marks past a half from 9:00, 3:00 and 8:30
    np.testing.assert_allclose(angle_of(slit), 18 - 11 - 32.5 / 60)
    np.testing.assert_allclose(np.linalg.norm(slit, axis=1), [22.0, handle_mm / 2])
    *marks, shaft, head = shapes_of(drawing, Ink.THIN)
    assert len(marks) == 144
    ends = np.array([np.linalg.norm(mark, axis=1) for mark in marks])
    for at, mark in enumerate(marks):  # against the clock, 6 on top
        np.testing.assert_allclose((angle_of(mark) + at / 12) % 12, 6, atol=1e-9)
    assert ends[:, 1] == pytest.approx(ends[0, 1])
    assert 0.3 < 22 - ends[0, 1] < 1.2  # the marks stop short of what the scissors cut
    length = ends[:, 1] - ends[:, 0]
    kinds = {
        "hour": length[::12],
        "half": length[6::12],
        "ten": np.delete(length, np.r_[0:144:6, 1:144:2]),
        "five": length[1::2],
    }
    for kind in kinds.values():
        assert kind == pytest.approx(kind[0])
    hour, half, ten, five = (kind[0] for kind in kinds.values())
    assert 3.5 < hour < 4.7
    assert 0.5 < hour - half < 1.9
    assert 0.5 < half - ten < 1.4
    assert 0.5 < ten - five < 1.4
    assert 0.5 < five < 1.5
    numbers = drawing.labels[:-1]
    assert [int(words) for *_, words in numbers] == [12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    radius = np.array([math.hypot(x, y) for x, y, _ in numbers])
    assert radius == pytest.approx(radius[0])
    for at, (x, y, _) in enumerate(numbers):
        np.testing.assert_allclose((angle_of(np.array([x, y])) + at) % 12, 6, atol=1e-9)
    gap = ends[0, 0] - radius[0]
    assert 0.5 * drawing.letters_mm < gap < 0.75 * drawing.letters_mm  # below their mark, clear
    x, y, words = drawing.labels[-1]
    assert (x, words) == (0.0, "TOE")
    assert drawing.letters_mm < radius[0] - y < 1.5 * drawing.letters_mm
    # an arrow from the ring to the word
    assert shaft[:, 0].tolist() == [0.0, 0.0]
    assert 0.3 < shaft[0, 1] - (handle_mm + 2.0) / 2 < 1.2
    assert 0.36 * drawing.letters_mm < y - shaft[1, 1] < 0.75 * drawing.letters_mm
    np.testing.assert_allclose(np.abs(head[0] - head[1]), [0.5, 1.0], atol=1e-12)
    x0, y0, x1, y1 = drawing.box
    assert -x0 == -y0 == x1 == y1
    assert 22.2 < x1 < 23
    assert f"{DIAL_MM:g} millimetres across, with a hole of {handle_mm:g} " in drawing.alt
    assert f"a ring for {handle_mm + 2:g}," in drawing.alt


def test_a_slit_lies_as_far_as_can_be_from_every_hour_wherever_noon_is():
    middles = [k + 32.5 / 60 for k in range(1, 13)]
    for hours in ([6.0], [12.0], [0.0, 5.9], [11.9, 6.2, 3.0, 9.0], [1.0, 4.5, 8.0]):

        def apart(place, hours=hours):
            turns = [(place - hour) % 12 for hour in hours]
            return min(min(turn, 12 - turn) for turn in turns)

        found = slit_hour(hours)
        assert found in middles
        assert apart(found) == pytest.approx(max(map(apart, middles)), abs=1e-12)
    assert slit_hour([]) == 1 + 32.5 / 60
    np.testing.assert_allclose(angle_of(shapes_of(dial(8.0), Ink.CUT)[3]), 6 - 1 - 32.5 / 60)


@pytest.mark.parametrize("angle", [0.5, 1.0, 10.0, 13.3, 30.0, 45.0, 60.0, 89.0])
def test_a_dial_stands_so_far_that_its_rim_is_a_millimetre_above_the_stone(angle):
    away, sine, cosine = (
        dial_from_mm(angle),
        *(f(math.radians(angle)) for f in (math.sin, math.cos)),
    )
    assert away % 5 == 0
    assert away * sine - 22 * cosine >= 1 - 1e-9
    assert (away - 5) * sine - 22 * cosine < 1
    assert dial_from_mm(0.0) == dial_from_mm(-5.0) == dial_from_mm(90.0) == dial_from_mm(91.0) == 0


@pytest.mark.parametrize("angle", [85.0, 90.0, 100.0, 105.0, 135.0])
@pytest.mark.parametrize("within", [0.5, 2.0, 4.0])
def test_a_card_is_a_trapezium_with_its_two_angles_and_its_height(angle, within):
    drawing = card(angle, within)
    (outline,) = shapes_of(drawing, Ink.CUT)
    assert outline[0].tolist() == outline[4].tolist() == [0.0, 0.0]
    assert outline[1].tolist() == [18.0, 0.0]  # mm of paper
    assert outline[2:4, 1].tolist() == [7.0, 7.0]
    left = math.degrees(math.atan2(7.0, outline[3, 0]))
    right = math.degrees(math.atan2(7.0, 18.0 - outline[2, 0]))
    assert (left, right) == pytest.approx((angle - within, angle + within))
    x0, y0, x1, y1 = drawing.box
    low, high = outline.min(axis=0), outline.max(axis=0)
    assert (low[0] - x0, low[1] - y0, x1 - high[0], y1 - high[1]) == pytest.approx((0.5,) * 4)


def test_the_ruler_is_a_hundred_millimetres_with_a_mark_every_ten():
    drawing = check_line()
    line, *ticks = (shape.points for shape in drawing.shapes)
    assert line.tolist() == [[0.0, 0.0], [100.0, 0.0]]
    assert [tick[0].tolist() for tick in ticks] == [[10.0 * k, 0.0] for k in range(11)]
    heights = np.array([tick[1, 1] for tick in ticks])
    assert [tick[1, 0] for tick in ticks] == [10.0 * k for k in range(11)]
    long = heights[[0, 5, 10]]
    short = np.delete(heights, [0, 5, 10])
    assert (long == long[0]).all()
    assert (short == short[0]).all()
    assert 1.5 <= short[0] < 0.7 * long[0] < 3.0
    assert [(x, words) for x, _, words in drawing.labels] == [(0, "0"), (50, "50"), (100, "100")]
    x0, y0, x1, y1 = drawing.box
    assert (-x0, x1 - 100) == (5.0, 5.0)
    for _, y, _ in drawing.labels:
        assert y - drawing.letters_mm / 2 > long[0]
        assert y + drawing.letters_mm / 2 < y1
        assert y - long[0] < 3
    assert -2 < y0 <= -0.5
    assert y1 < 9
    assert check_line(50.0).box[2] == 55.0
    assert len(check_line(50.0).shapes) == 7
    assert check_line(98.5).shapes[-1].points[0, 0] == 90.0  # no mark beyond its end


# ---- a hoe, and the stone in the hand ------------------------------------------------------


def near(found, wanted):
    """Whether places of words are where they were set, to a third of the blade."""
    np.testing.assert_allclose(found, wanted, atol=0.3)


def in_hand(section, room=math.inf):
    angle = 180.0 - section.internal_angle_deg
    need = SimpleNamespace(
        blade=SimpleNamespace(section=section),
        held=SimpleNamespace(stone_to_face_deg=np.array([angle - 20, angle - 9, angle, angle + 7])),
        name="left",
        instrument="A",
    )
    step = SimpleNamespace(
        requirements=need,
        stations=np.array([1, 2, 3]),
        placements=3,
        at_placements=lambda values: values,
    )
    return hand_from_the_side(step, room)


def test_the_angle_of_a_step_is_that_of_its_middle_placement():
    held = SimpleNamespace(stone_to_face_deg=np.arange(100.0, 110.0))
    step = SimpleNamespace(
        requirements=SimpleNamespace(held=held),
        stations=np.array([2, 3, 4, 5]),
        at_placements=lambda values: values[:3],
        placements=3,
    )
    assert gauge_deg(step) == 103.0
    step.placements = 2
    assert gauge_deg(step) == 103.0
    step.placements = 1
    assert gauge_deg(step) == 102.0


@pytest.fixture(scope="module")
def hand_steps():
    curette, bent = ek.patterns.universal_curette(), ek.patterns.area_specific_curette
    plans = [
        ek.plan_bench({"UC": curette}, tolerance_deg=0.2, setting_error_deg=0.5),
        ek.plan_bench({"AS": bent(bow_radius_mm=12, shank_bend_deg=12)}, tolerance_deg=3),
    ]
    steps = [step for plan in plans for step in plan.steps if step.tool == Tool.HAND]
    assert len(steps) >= 3
    return steps


def test_from_above_the_toe_points_down_and_the_stone_comes_from_its_hours(hand_steps):
    for step in hand_steps:
        need, held, drawing = step.requirements, step.requirements.held, hand_from_above(step)
        face = need.edge.frame(held.arc_mm).face.value[100]
        toe = need.edge.roll_reference - (need.edge.roll_reference @ face) * face
        toe /= np.linalg.norm(toe)
        right = np.cross(face, toe)  # of one towards whom the toe points
        basis = np.stack([right, -toe], axis=1)
        arc_mm = np.linspace(0, need.edge.length_mm, 41)
        edge = need.edge.frame(arc_mm).position @ basis
        places = step.at_placements(held.position_mm[step.stations] @ right)
        ups = step.at_placements(held.position_mm[step.stations] @ -toe)
        at = np.stack([places, ups], axis=1) - edge[-1]
        size = max(
            1.7 * need.blade.section.width_mm,
            np.ptp(held.position_mm[step.stations] @ toe) / 0.8,
        )
        (steel,) = shapes_of(drawing, Ink.STEEL)
        outline = edge
        if (far := need.blade.opposite(need.name)) is not None:
            other = far.frame(np.linspace(0, far.length_mm, 41)).position @ basis
            outline = np.concatenate([edge, other[::-1]])
        shown = outline[outline[:, 1] < edge[-1, 1] + size] - edge[-1]
        np.testing.assert_allclose(steel, shown, atol=1e-9)
        ground, *stones = shapes_of(drawing, Ink.EDGE)
        strip = need.edge.frame(np.linspace(*step.span_mm, len(ground))).position @ basis
        assert len(ground) > 40 * np.ptp(step.span_mm) / need.edge.length_mm
        np.testing.assert_allclose(ground, strip - edge[-1], atol=1e-9)
        assert len(stones) == step.placements
        thin = shapes_of(drawing, Ink.THIN)
        assert len(thin) == 2 * step.placements
        for n, hour in enumerate(stone_hours(step)):
            turn = math.radians(30 * hour)
            out = np.array([math.sin(turn), math.cos(turn)])
            aside = np.array([-out[1], out[0]])
            stone, (line, head) = stones[n] - at[n], (thin[2 * n] - at[n], thin[2 * n + 1] - at[n])
            np.testing.assert_allclose(stone @ out, stone[0] @ out, atol=1e-9)  # square to its way
            assert 0.25 * size < stone[0] @ out < 0.45 * size
            np.testing.assert_allclose(stone.mean(axis=0) @ aside, 0.0, atol=1e-9)
            assert 0.12 * size < np.ptp(stone @ aside) < 0.3 * size
            assert (stone @ aside)[0] < 0
            np.testing.assert_allclose(line[0], stone.mean(axis=0), atol=1e-9)
            np.testing.assert_allclose(line @ aside, 0.0, atol=1e-9)
            assert 0.04 * size < line[1] @ out < 0.09 * size  # up to the edge
            assert 0.05 < np.linalg.norm((head[0] - head[1]) / size) < 0.1
            x, y, words = drawing.labels[n]
            assert words == str(n + 1)
            beside = np.array([x, y]) - at[n]
            np.testing.assert_allclose(beside @ aside, 0.0, atol=1e-9)
            assert 0.42 * size < beside @ out < 0.6 * size
            assert clock_words(hour) in drawing.alt
        near(np.array(drawing.box) / size, (-0.9, -0.75, 0.9, 0.95))


def test_from_above_a_strip_at_the_heel_is_seen_with_its_stones(hand_steps):
    """Whatever strip it is, all that is drawn of it and of the stones lies in the frame."""
    step = max(hand_steps, key=lambda step: np.ptp(step.span_mm))
    for first, last in ((0, 8), (60, 90), (100, 104), (185, 200)):
        count = last - first + 1
        short = dataclasses.replace(
            step,
            stations=np.arange(first, last + 1),
            elevation_deg=np.full(count, 20.0),
            roll_deg=np.full(count, 20.0),
            placements=2,
        )
        drawing = hand_from_above(short)
        x0, y0, x1, y1 = drawing.box
        strip, *stones = shapes_of(drawing, Ink.EDGE)
        (steel,) = shapes_of(drawing, Ink.STEEL)
        for points in (strip, *stones, np.array([label[:2] for label in drawing.labels])):
            assert (points > [x0, y0]).all()
            assert (points < [x1, y1]).all()
        assert len(steel) > 4
        away = np.linalg.norm(steel[:, None] - strip[None], axis=2).min(axis=0)
        assert away.max() < 0.2  # mm: the strip lies on the outline


# ---- the bench -----------------------------------------------------------------------------


@pytest.mark.parametrize("angle", [12.0, 30.0, 44.0])
@pytest.mark.parametrize("reach", [60.0, 90.0])
def test_the_bench_is_drawn_with_the_holders_measures(angle, reach):
    holder = ek.Holder(
        pivot_height_mm=90.0,
        reach_mm=reach,
        stone_height_mm=14.0,
        handle_radius_mm=5.0,
        shank_radius_mm=1.5,
        handle_from_mm=30.0,
    )
    drawing = bench(holder, angle, 70.0, 100.0)
    a = math.radians(angle)
    along = np.array([-math.cos(a), math.sin(a)])  # the handle rises to the left
    aside = np.array([along[1], -along[0]])
    plates = 90 - 14 - reach * math.sin(a)
    floor = -14 - plates
    shapes = drawing.shapes
    stone, handle, shank = (s.points for s in shapes if s.ink is Ink.STEEL)
    (right, left), (top, under) = (
        f(stone)
        for f in (
            lambda p: (p[:, 0].max(), p[:, 0].min()),
            lambda p: (p[:, 1].max(), p[:, 1].min()),
        )
    )
    assert (top, under) == (0.0, -14.0)
    assert right - left == pytest.approx(100.0)
    assert right == pytest.approx(60.0, abs=15)  # more of it where the edge comes from
    (post,) = shapes_of(drawing, Ink.STONE)
    np.testing.assert_allclose(post[0], reach * along, atol=1e-9)  # the pivot
    assert post[1].tolist() == pytest.approx([post[0, 0], floor])
    assert post[0, 1] - post[1, 1] == pytest.approx(90.0)  # H, above the bench
    piles = shapes_of(drawing, Ink.CUT)
    assert len(piles) == 3
    depth = [p[0, 1] for p in piles]
    assert all(p[0, 1] == p[1, 1] for p in piles)
    assert 0 > depth[0] + 14 > depth[1] + 14 > depth[2] + 14 > -plates
    np.testing.assert_allclose(np.diff(depth), -0.3 * plates, atol=0.11 * plates)
    for pile in piles:
        assert left < pile[:, 0].min() < pile[:, 0].max() < right
        assert pile[:, 0].min() - left < 12
        assert pile[:, 0].min() - left == pytest.approx(right - pile[:, 0].max())
    table, face = shapes_of(drawing, Ink.FACE)
    np.testing.assert_allclose(table[:, 1], floor)
    (axis,) = shapes_of(drawing, Ink.HANDLE)
    np.testing.assert_allclose(axis @ aside, 0.0, atol=1e-9)
    far = axis[1] @ along
    assert axis[0].tolist() == pytest.approx([0, 0])
    assert 20 < far - max(reach, 70.0) < 45  # past dial and pivot
    assert table[:, 0].max() > right + 5
    assert table[:, 0].max() < right + 8.9
    assert table[:, 0].min() < axis[1, 0] - 2
    assert table[:, 0].min() > axis[1, 0] - 4.9
    for rod, begin, end, radius in ((handle, 30.0, far, 5.0), (shank, 1.0, 30.0, 1.5)):
        np.testing.assert_allclose(sorted(rod @ aside), [-radius] * 2 + [radius] * 2, atol=1e-9)
        found = np.sort(rod @ along)
        assert found[[0, 3]].tolist() == pytest.approx([begin, end], abs=1.5)
        assert found[0] == pytest.approx(found[1])
        assert (rod[0] - rod[1]) @ aside == pytest.approx(0.0, abs=1e-9)  # round it, not across
        assert (rod[1] - rod[2]) @ along == pytest.approx(0.0, abs=1e-9)
    # the dial stands square to the handle; its thread hangs straight down past its lower rim
    np.testing.assert_allclose(face @ along, 70.0)
    np.testing.assert_allclose(sorted(face @ aside), [-22, 22], atol=1e-9)
    *_, thread, bow = shapes_of(drawing, Ink.THIN)
    np.testing.assert_allclose((thread[:2] - thread[0]) @ along, 0.0, atol=1e-9)
    assert 0.3 < thread[0] @ along - 70 < 1.3  # in front of its face
    assert thread[1, 1] < thread[0, 1]
    assert np.linalg.norm(thread[1] - thread[0]) == pytest.approx(22.0)
    assert thread[2, 0] == thread[1, 0]
    assert 5 < thread[1, 1] - thread[2, 1] < 15
    radius = np.linalg.norm(bow[0])
    assert 20 < radius < 50
    np.testing.assert_allclose(np.linalg.norm(bow, axis=1), radius)
    np.testing.assert_allclose(bow[[0, -1]], radius * np.stack([[-1, 0], along]), atol=1e-9)


def test_the_room_that_no_finger_enters_is_on_the_stone_and_before_the_edge():
    drawing = bench(ek.Holder(), 30.0, 70.0, 100.0)
    hatched = np.array(shapes_of(drawing, Ink.DANGER))
    low, high = hatched[:, 0], hatched[:, 1]
    stone = next(s.points for s in drawing.shapes if s.ink is Ink.STEEL)
    assert (np.abs(low[:, 1] - low[0, 1]) < 1e-9).all()
    assert 0 < low[0, 1] < 1.2  # above its top
    assert 7 < high[0, 1] - low[0, 1] < 9.9
    assert 7 < low[0, 0] - high[0, 0] < 9.9
    np.testing.assert_allclose(high - low, np.tile(high[0] - low[0], (len(low), 1)), atol=1e-9)
    steps = -np.diff(low[:, 0])
    np.testing.assert_allclose(steps, steps[0])
    assert 2 < steps[0] < 6  # mm: no finger between two lines
    assert low[0, 0] == pytest.approx(stone[:, 0].max())  # from the far end
    assert -11 <= low[-1, 0] < -4  # to past the edge
    arrows = shapes_of(drawing, Ink.THIN)[:4]
    ends = stone[:, 0].max(), stone[:, 0].min()
    for (line, head), end, way in zip((arrows[:2], arrows[2:]), ends, (1, -1), strict=True):
        np.testing.assert_allclose(line[:, 1], stone[:, 1].min() / 2)  # in the stone's middle
        assert 1 < way * (end - line[1, 0]) < 3.9  # to its end
        assert 6 < way * (line[1, 0] - line[0, 0]) < 9.9
        np.testing.assert_allclose(head[1], line[1])
        assert abs(head[0, 1] - head[1, 1]) == pytest.approx(1.0, abs=0.3)


# ---- paper ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("user", "sandbox"), [(0, True), (1000, False)])
def test_a_browser_prints_within_a_minute_and_roots_without_its_sandbox(monkeypatch, user, sandbox):
    calls = []

    def run(command, **options):
        calls.append((command, options))
        target = next(c for c in command if c.startswith("--print-to-pdf="))
        with open(target.removeprefix("--print-to-pdf="), "wb") as file:  # noqa: PTH123
            file.write(b"%PDF")

    monkeypatch.setattr(paper, "browser", lambda: "/bin/browser")
    monkeypatch.setattr(paper.subprocess, "run", run)
    monkeypatch.setattr(paper.os, "geteuid", lambda: user)
    assert paper.print_pdf("<p>") == b"%PDF"
    ((command, options),) = calls
    assert ("--no-sandbox" in command) is sandbox
    assert options["timeout"] == 60
    assert options["check"] is True
