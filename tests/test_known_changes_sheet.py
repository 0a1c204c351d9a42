"""Drawings, sizes and numbers of the setting sheet of which a change could pass unseen.

Drawings against the geometry they show, against their own size (a blade three times as large is
drawn three times as large), and against what print needs: words inside the frame and clear of
lines. Numbers in words against sums written out.
"""

import dataclasses
import math
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.sheet import how_to, page, paper
from edgekit.clinic.sheet.content import (
    _degrees,
    _edge_names,
    _toe,
    compose,
    riser_words,
    setting_words,
    within_words,
)
from edgekit.clinic.sheet.drawing import (
    DIAL_MM,
    Drawing,
    Ink,
    Shape,
    _arc,
    _outline,
    _seen,
    _turned,
    at_the_stone,
    check_line,
    clock,
    clock_words,
    dial,
    placed,
    svg,
    toe_hours,
    toe_line,
)
from edgekit.clinic.sheet.page import CLOCK_MM, STONE_MM, print_zoom
from edgekit.contact.orientation import handle_basis
from edgekit.evidence_table import value
from edgekit.geometry.section import Bevel, RoundBack, Triangular

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
    arc = _arc(2.0, 0.0, 90.0)
    assert len(arc) == 17  # a point every six degrees or less
    assert [len(_arc(1.0, 0, end)) for end in (5.0, 6.0, -12.0)] == [2, 3, 4]
    np.testing.assert_allclose(arc[[0, -1]], [[0, 2], [2, 0]], atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(arc, axis=1), 2.0)
    angle = np.degrees(np.arctan2(arc[:, 0], arc[:, 1]))
    np.testing.assert_allclose(angle, np.linspace(0, 90, 17), atol=1e-9)
    np.testing.assert_allclose(
        _turned(np.array([[0.0, 1.0], [2.0, 0.0]]), 3.0), [[1, 0], [0, -2]], atol=1e-12
    )
    np.testing.assert_allclose(_turned(np.array([[0.0, 1.0]]), 1.0), [[0.5, 0.75**0.5]])


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


def test_a_drawing_is_centred_in_its_frame_and_no_larger():
    drawing = Drawing(
        shapes=(Shape(ink=Ink.THIN, points=[(1.0, 2.0), (3.0, 6.0)]),),
        box=(1.0, 2.0, 3.0, 6.0),
        alt="A line.",
        labels=((2.0, 4.0, "a<b"),),
        letters_mm=3.0,
    )
    for width, height, scale, offset in (
        (20.0, 20.0, 5.0, (0.0, -10.0)),
        (20.0, 80.0, 10.0, (-10.0, 0.0)),
        (30.0, 20.0, 5.0, (5.0, -10.0)),
    ):
        found = placed(drawing, width, height)
        assert found[0] == scale
        np.testing.assert_allclose(found[1], offset)
    text = svg(drawing, width_mm=30, height_mm=20)
    assert 'points="10.00,20.00 20.00,0.00"' in text
    # letters are centred: their middle lies 0.36 of their height above the line they stand on
    assert '<text x="15.00" y="11.08" font-size="3" text-anchor="middle">a&lt;b</text>' in text
    assert svg(drawing).count('viewBox="0 0 2 4" width="2mm" height="4mm"') == 1
    assert 'points="0.00,4.00 2.00,0.00"' in svg(drawing)
    assert "<polyline" in text
    closed = dataclasses.replace(drawing, shapes=(Shape(ink=Ink.STEEL, points=[(1, 2), (3, 6)]),))
    assert "<polygon" in svg(closed)
    assert Drawing(shapes=(), box=(0, 0, 1, 1), alt="").letters_mm == 2.5


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


ELEVATIONS = (-35.0, -10.0, 0.0, 10.0, 15.0, 30.0, 45.0, 55.0, 65.0, 75.0)


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
    np.testing.assert_allclose(
        handle, [[0, 0], 2.6 * size * np.array([-math.cos(e), math.sin(e)])], atol=1e-9
    )
    x0, y0, x1, y1 = drawing.box
    assert stone.tolist() == [[x0, 0.0], [x1, 0.0]]
    at_handle, at_face = shapes_of(drawing, Ink.THIN)
    for arc, share, line in ((at_handle, 0.78, handle), (at_face, 0.3, face)):
        radius = share * 2.6 * size
        np.testing.assert_allclose(np.linalg.norm(arc, axis=1), radius, rtol=1e-9)
        np.testing.assert_allclose(arc[0], [-radius, 0.0], atol=1e-9)  # from the stone
        np.testing.assert_allclose(arc[-1], radius * line[1] / np.linalg.norm(line[1]), atol=1e-9)
    points = np.concatenate([shape.points for shape in drawing.shapes])
    low, high = points.min(axis=0), points.max(axis=0)
    reach = 2.6 * size
    assert 0.02 * reach < -reach - x0 < 0.1 * reach
    assert 0.05 * size < x1 - steel[:, 0].max() < 0.15 * size
    assert 0.1 * size < min(low[1], 0.0) - y0 < 0.2 * size
    top = max(steel[:, 1].max(), handle[1, 1])
    assert 0.4 * size < y1 - top < 0.7 * size
    assert high[1] <= y1
    assert elevation < 0 or f"handle at {elevation:.1f} degrees" in drawing.alt
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
    assert words == f"{elevation:.3g}°".replace("-", "−")
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

    # each stands clear of the lines, and near the one whose angle it tells
    assert half < away(one, handle) < 3 * drawing.letters_mm
    assert half < away(two, face) < 2.2 * drawing.letters_mm
    assert away(one, handle) < away(one, face)
    assert away(two, handle) > half * 0.8
    assert x < u


# ---- the clock -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tray_plan():
    tray = {
        "UC": ek.patterns.universal_curette(shank_bend_deg=6),
        "AS": ek.patterns.area_specific_curette(),
        "HL": ek.patterns.half_length_curette(),
        "CS": ek.patterns.curved_sickle(),
        "HO": ek.patterns.hoe(),
    }
    return ek.plan_bench(tray, urgent=["CS"], minutes_available=30, holder=ek.Holder())


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
    assert -1.2 < low < -1.0  # below the ring, and inside the frame
    assert right == -left
    assert 0.8 < right < 1.0
    x0, y0, x1, y1 = drawing.box
    assert y0 < low
    assert -x0 == x1
    assert 1.2 < x1 < 1.5
    assert 1.2 < y1 < 1.5
    assert -1.3 < y0 <= -1.15
    scale, offset = placed(drawing, *CLOCK_MM)
    for x, y, words in drawing.labels:
        hour = int(words) % 12
        np.testing.assert_allclose(angle_of(np.array([x, y])), hour, atol=1e-9)
        assert scale * (math.hypot(x, y) - 1) > 0.3 * drawing.letters_mm  # clear of the ring
        at = scale * np.array([x, y]) + offset
        assert (at > 0.36 * drawing.letters_mm).all()
        assert (at < np.array(CLOCK_MM) - 0.36 * drawing.letters_mm).all()
    assert [words for *_, words in drawing.labels] == ["12", "3", "9"]


def test_the_hand_of_the_clock_is_the_blade_seen_along_its_handle(tray_plan):
    for step in tray_plan.steps:
        need, drawing = step.requirements, clock(step)
        edge, far = need.edge, need.blade.opposite(need.name)
        up, right = handle_basis(edge)
        arc = np.linspace(0, edge.length_mm, 81)
        near = edge.frame(arc).position @ np.stack([right, up], axis=1)
        begin = 6 - step.placement_roll_deg[0] / 30
        (steel,), (ground,) = shapes_of(drawing, Ink.STEEL), shapes_of(drawing, Ink.EDGE)
        unturned, edge_seen = _turned(steel, -begin), _turned(ground, -begin)
        assert unturned[:, 1].max() == pytest.approx(0.82, rel=1e-9)  # radii of the clock
        heel = near[0]
        if far is not None:
            across = far.frame(np.zeros(1)).position[0] @ np.stack([right, up], axis=1)
            heel = (near[0] + across) / 2
            assert len(unturned) == 162
            np.testing.assert_allclose((unturned[0] + unturned[-1]) / 2, 0.0, atol=1e-9)
        size = (unturned[80, 1] - unturned[0, 1]) / (near[80, 1] - near[0, 1])
        np.testing.assert_allclose(unturned[:81], size * (near - heel), atol=1e-9)
        first, last = (round(at / 200 * 80) for at in step.stations[[0, -1]])
        np.testing.assert_allclose(
            edge_seen, size * (near[first : max(last, first + 1) + 1] - heel), atol=1e-9
        )


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
        np.testing.assert_allclose(later[0], _turned(steel, end - begin), atol=1e-9)
        arc, head = extra
        np.testing.assert_allclose(np.linalg.norm(arc, axis=1), 0.9)
        hours = np.unwrap(angle_of(arc), period=12)
        assert hours[-1] - hours[0] == pytest.approx(end - begin, abs=1e-9)
        np.testing.assert_allclose((angle_of(arc[[0, -1]]) - [begin, end] + 6) % 12, 6, atol=1e-9)
        np.testing.assert_allclose(head[1], arc[-1], atol=1e-9)  # the arrow's tip ends the arc
        back = _turned(head, -end) - [0.0, 0.9]
        sign = np.sign(end - begin)
        assert (sign * back[[0, 2], 0] < -0.05).all()  # its barbs point back along it
        assert (np.abs(back[[0, 2]]) < 0.15).all()
        assert back[0, 1] == pytest.approx(-back[2, 1])
        assert 0.03 < abs(back[0, 1]) < 0.1
        words = f"turns from {clock_words(begin % 12)} to {clock_words(end % 12)} of a clock"
        assert words in drawing.alt
    assert turning > 2


@pytest.mark.parametrize(("roll", "turns"), [(2.5, True), (2.499, False), (-2.5, True)])
def test_less_than_five_minutes_is_no_turn(tray_plan, roll, turns):
    step = tray_plan.steps[0]
    size = len(step.stations)
    # two placements, at the ends: the same roll over each half of the stretch
    rolls = np.where(np.arange(size) < size // 2, 10.0, 10.0 + roll)
    still = SimpleNamespace(
        requirements=step.requirements,
        stations=step.stations,
        placement_roll_deg=rolls[[0, -1]],
    )
    assert bool(shapes_of(clock(still), Ink.LATER)) is turns


def test_a_clock_is_the_same_for_a_larger_blade():
    plans = [
        ek.plan_bench([ek.patterns.hoe(width_mm=1.5 * k, thickness_mm=0.6 * k)]) for k in (1, 2)
    ]
    one, two = (clock(plan.steps[0]) for plan in plans)
    same_up_to_size(one, two, 1.0)


def test_a_short_stretch_is_still_drawn(tray_plan):
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    for stations, points in (([0], 2), ([100], 2), ([100, 101, 102], 2), ([198, 199, 200], 2)):
        short = SimpleNamespace(
            requirements=step.requirements,
            stations=np.array(stations),
            placement_roll_deg=np.array([0.0]),
        )
        (ground,) = shapes_of(clock(short), Ink.EDGE)
        assert len(ground) == points


# ---- the toe, the dial, the ruler ----------------------------------------------------------


def toe_steps(plan):
    return [step for step in plan.steps if step.requirements.instrument != "HO"]


def test_the_toes_arrow_runs_as_the_edge_does_at_its_middle(tray_plan):
    steps = toe_steps(tray_plan)
    drawing = toe_line(steps)

    def bent(step):
        seen = _seen(step.requirements.edge, step.requirements.edge)
        across, up = seen[-1] - seen[0]
        return abs(math.atan2(across, up))

    need = max(steps, key=bent).requirements
    assert drawing.alt.startswith(f"{need.instrument} seen along the handle")
    seen = _seen(need.edge, need.edge)
    near = np.stack([seen[:, 1], -seen[:, 0]], axis=1)  # the toe to the right
    (outline,), (edge,) = shapes_of(drawing, Ink.STEEL), shapes_of(drawing, Ink.EDGE)
    np.testing.assert_allclose(edge, near, atol=1e-12)
    np.testing.assert_allclose(outline[:81], near, atol=1e-12)
    size = np.ptp(outline[:, 0])
    shaft, head = shapes_of(drawing, Ink.THIN)
    np.testing.assert_allclose(shaft[0], near[40], atol=1e-12)
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
    (hx, hy, heel), (tx, ty, toe) = drawing.labels
    assert (heel, toe) == ("heel", "TOE")
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


def test_of_two_blades_the_one_that_bends_is_told_wherever_it_lies(monkeypatch):
    ends = {"far off": ([10.0, 0.0], [10.1, 5.0]), "bent": ([0.0, 0.0], [2.0, 5.0])}
    needs = {
        name: SimpleNamespace(
            edge=name, name="left", instrument=name, blade=SimpleNamespace(opposite=lambda _: None)
        )
        for name in ends
    }
    from edgekit.clinic.sheet import drawing as module

    monkeypatch.setattr(
        module, "_seen", lambda edge, _: np.linspace(*map(np.array, ends[edge]), 81)
    )
    steps = [SimpleNamespace(requirements=need) for need in needs.values()]
    assert toe_line(steps).alt.startswith("bent seen")


def test_the_toe_of_a_blade_of_two_edges_has_both(tray_plan):
    step = next(s for s in tray_plan.steps if s.requirements.instrument == "UC")
    need = step.requirements
    (outline,) = shapes_of(toe_line([step]), Ink.STEEL)
    seen = _seen(need.blade.opposite(need.name), need.edge)
    far = np.stack([seen[:, 1], -seen[:, 0]], axis=1)
    np.testing.assert_allclose(outline[81:], far[::-1], atol=1e-12)  # round to the heel again


def test_the_toes_drawing_grows_with_its_blade(monkeypatch, tray_plan):
    step = toe_steps(tray_plan)[0]
    one = toe_line([step])
    from edgekit.clinic.sheet import drawing as module

    monkeypatch.setattr(module, "_seen", lambda edge, along: 5.0 * _seen(edge, along))
    same_up_to_size(one, toe_line([step]), 5.0)


@pytest.mark.parametrize("handle_mm", [3.5, 8.0, 12.0])
def test_the_dial_has_a_mark_every_ten_minutes_and_a_number_every_hour(handle_mm):
    drawing = dial(handle_mm)
    rim, hole, slit = shapes_of(drawing, Ink.CUT)
    for circle in (rim, hole):
        np.testing.assert_allclose(circle[0], circle[-1], atol=1e-12)
        np.testing.assert_allclose(circle.mean(axis=0), [0, circle[0, 1] / len(circle)], atol=1e-9)
    assert np.linalg.norm(rim, axis=1) == pytest.approx(22.0)
    assert np.linalg.norm(hole, axis=1) == pytest.approx(handle_mm / 2)
    np.testing.assert_allclose(angle_of(slit), 6.5)
    np.testing.assert_allclose(np.linalg.norm(slit, axis=1), [22.0, handle_mm / 2])
    marks = shapes_of(drawing, Ink.THIN)
    assert len(marks) == 72
    ends = np.array([np.linalg.norm(mark, axis=1) for mark in marks])
    for at, mark in enumerate(marks):
        np.testing.assert_allclose((angle_of(mark) - at / 6 + 6) % 12, 6, atol=1e-9)
    assert ends[:, 1] == pytest.approx(ends[0, 1])
    assert 0.4 < 22 - ends[0, 1] < 1.2  # the marks stop short of what the scissors cut
    length = ends[:, 1] - ends[:, 0]
    hours, halves = length[::6], length[3::6]
    small = np.delete(length, np.r_[0:72:6, 3:72:6])
    for kind in (hours, halves, small):
        assert kind == pytest.approx(kind[0])
    assert 3 < hours[0] < 5
    assert halves[0] < 0.75 * hours[0]
    assert 1 < small[0] < 0.75 * halves[0]
    numbers = drawing.labels[:-1]
    assert [int(words) for *_, words in numbers] == [12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1]
    radius = np.array([math.hypot(x, y) for x, y, _ in numbers])
    assert radius == pytest.approx(radius[0])
    for at, (x, y, _) in enumerate(numbers):
        np.testing.assert_allclose((angle_of(np.array([x, y])) - at + 6) % 12, 6, atol=1e-9)
    gap = ends[0, 0] - radius[0]
    assert 0.6 * drawing.letters_mm < gap < 0.75 * drawing.letters_mm  # below their mark, clear
    x, y, words = drawing.labels[-1]
    assert (x, words) == (0.0, "TOE")
    assert drawing.letters_mm < radius[0] - y < 1.4 * drawing.letters_mm
    assert drawing.box == (-22.5, -22.5, 22.5, 22.5)
    assert 3.0 <= drawing.letters_mm <= 3.5
    assert f"{DIAL_MM:g} millimetres across, with a hole of {handle_mm:g}" in drawing.alt


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


# ---- words ---------------------------------------------------------------------------------


def test_settings_plays_and_risers_in_words():
    assert [setting_words(a) for a in (15.0, 31.04, -2.125, 0.0)] == [
        "15.0°",
        "31.04°",
        "−2.125°",
        "0.0°",
    ]
    assert [within_words(r, 0.5) for r in (0.5, 0.59, 0.6, 1.96, 0.3)] == [
        "± 0.5°",
        "± 0.5°",
        "± 0.6°",
        "± 1.9°",
        "± 0.5°",
    ]
    assert within_words(0.6 - 1e-9, 0.25) == "± 0.6°"  # a play that rounding has made less
    assert within_words(0.599, 0.25) == "± 0.5°"
    assert [riser_words(r) for r in (0.04, -0.04, 0.06, -0.06, 12.34)] == [
        "no riser",
        "no riser",
        "riser 0.1 mm",
        "raise pivot 0.1 mm",
        "riser 12.3 mm",
    ]
    assert [_degrees(d) for d in (12.6, -0.4, -1.6)] == ["13°", "0°", "−2°"]


def step_named(code, edge, run=0):
    return SimpleNamespace(requirements=SimpleNamespace(instrument=code, name=edge), run=run)


def test_edges_of_an_instrument_stand_together():
    steps = [
        step_named("A", "left"),
        step_named("B", "used"),
        step_named("A", "right"),
        step_named("A", "left"),
    ]
    assert _edge_names(steps) == "A left + right · B used"


@pytest.mark.parametrize("given", [3.001, 19.999])
def test_handles_and_titles_have_bounds(tray_plan, given):
    assert f"a handle {given:g} mm across. " in compose(tray_plan, "T", given).dial_note
    for bad in (3.0, 20.0):
        with pytest.raises(ek.EdgekitError, match="handle_diameter_mm"):
            compose(tray_plan, "T", bad)
    assert compose(tray_plan, "x" * 120).title == "x" * 120
    assert compose(tray_plan, " a \n b ").title == "a b"
    for bad in ("x" * 121, " "):
        with pytest.raises(ek.EdgekitError, match="1 to 120 letters"):
            compose(tray_plan, bad)


def test_set_ups_and_lines_carry_the_numbers_of_the_plan(tray_plan):
    sheet = compose(tray_plan, "T")
    total = tray_plan.minutes.iloc[-1]
    assert f"about {total['minutes']:.0f} min" in sheet.headline
    assert sheet.headline.startswith(f"{len(tray_plan.edges)} edges · ")
    by_run = tray_plan.order[tray_plan.order["how"] == "holder"].groupby("run")
    for run, row in zip(sheet.runs, tray_plan.settings.itertuples(), strict=False):
        assert run.number == str(row.run)
        names = dict.fromkeys(by_run.get_group(row.run)["instrument"])
        assert [part.split()[0] for part in run.edges.split(" · ")] == list(names)
        assert run.riser == riser_words(row.riser_mm)
    lines = [line for block in sheet.blocks for line in block.lines]
    rows = {}
    for row in tray_plan.order.itertuples():
        rows.setdefault((row.instrument, row.edge), []).append(row)
    flat = [row for group in rows.values() for row in group]
    for line, row in zip(lines, flat, strict=True):
        many = [
            f"{n} {word}{'' if n == 1 else 's'}"
            for n, word in ((row.rounds, "round"), (row.placements, "stroke"))
        ]
        assert line.work == " of ".join(many)
        if row.how == "by hand":
            assert line.mark == "hand"
            assert (
                line.elevation
                == f"{_degrees(row.elevation_deg)} → {_degrees(row.elevation_to_deg)}"
            )
        else:
            assert line.mark == str(row.run)
        if row.how == "holder" and row.instrument != "HO":
            roll = row.roll_from_deg - row.roll_to_deg
            assert (line.toe[-1] == "no turning") is (row.placements == 1 or abs(roll) < 2.5)
    hoe = [line for block in sheet.blocks if block.instrument == "HO" for line in block.lines]
    assert hoe[0].toe == ("bevel flat on the stone,", "no turning")


@pytest.mark.parametrize(("roll", "turns"), [(2.5, True), (2.49, False), (-2.5, True)])
def test_hours_are_listed_where_they_differ_by_five_minutes(roll, turns):
    need = SimpleNamespace(blade=SimpleNamespace(kind=None))
    step = SimpleNamespace(
        requirements=need, tool=Tool.HOLDER, placement_roll_deg=np.array([0.0, roll / 2, roll])
    )
    words = _toe(step)
    assert words[0] == "toe at 6:00,"
    assert (words[1:] == ("no turning",)) is not turns
    if turns:
        assert len(words) == 3
        assert words[1].endswith(",")
        assert not words[2].endswith(",")


def test_work_without_the_holder_is_listed_by_tool_and_comes_last(tray_plan):
    sheet = compose(tray_plan, "T")
    by_hand = tray_plan.order[tray_plan.order["how"] == "by hand"]
    (hand,) = (run for run in sheet.runs if run.number == "hand")
    assert [part.split()[0] for part in hand.edges.split(" · ")] == list(
        dict.fromkeys(by_hand["instrument"])
    )
    assert (hand.elevation, hand.riser) == ("free", "")
    words = " ".join(sheet.steps)
    assert "‘hand’ comes last, but for urgent edges, finished first" in words
    plain = " ".join(compose(ek.plan_bench([ek.patterns.hoe()]), "T").steps)
    assert "last," not in plain
    assert "‘hand’" not in plain
    kinds = {block.instrument: block.kind for block in sheet.blocks}
    assert kinds["HL"] == "half-length curette"
    bare = dataclasses.replace(ek.patterns.hoe(), pattern=None)
    assert compose(ek.plan_bench([bare]), "T").blocks[0].kind == bare.kind.value


def test_what_five_minutes_do_is_rounded_up_to_a_tenth(tray_plan):
    worst = max(
        float(
            np.abs(s.requirements.held.tangent[s.stations] @ s.requirements.edge.handle_axis).max()
        )
        for s in tray_plan.steps
    )
    assert how_to._play(tray_plan) == f"{math.ceil(25 * worst) / 10:g}°"
    assert how_to._play(SimpleNamespace(steps=())) == "0°"
    assert "one more round, 2 at most" in " ".join(compose(tray_plan, "T").steps)


def test_blades_whose_toe_lies_aside_are_those_that_run_aside_by_five_minutes():
    for bend, aside in ((2.4, False), (2.6, True)):
        a = math.radians(bend)
        edge = SimpleNamespace(
            handle_axis=np.array([0, 0, 1.0]), roll_reference=np.array([1.0, 0, 0])
        )
        tangent = np.tile([math.cos(a), math.sin(a), 0.0], (201, 1))
        tangent[:100] = [0.0, 1.0, 0.0]
        need = SimpleNamespace(
            edge=edge,
            held=SimpleNamespace(tangent=tangent),
            instrument="Q",
            blade=SimpleNamespace(kind=None),
        )
        words = how_to._toe(SimpleNamespace(steps=[SimpleNamespace(requirements=need)]))
        assert ("(of Q: as the blade's middle line runs)" in words) is aside


def test_a_toe_just_five_minutes_aside_is_not_named(monkeypatch):
    monkeypatch.setattr(how_to, "HOUR_STEP_DEG", 45.0)
    edge = SimpleNamespace(handle_axis=np.array([0, 0, 1.0]), roll_reference=np.array([1.0, 0, 0]))
    for across, aside in ((1.0, False), (1.0001, True)):
        held = SimpleNamespace(tangent=np.tile([1.0, across, 0.0], (201, 1)))
        need = SimpleNamespace(
            edge=edge, held=held, instrument="Q", blade=SimpleNamespace(kind=None)
        )
        words = how_to._toe(SimpleNamespace(steps=[SimpleNamespace(requirements=need)]))
        assert ("of Q" in words) is aside
        assert "hoe" not in words


def test_a_hoe_among_others_has_no_dial(tray_plan):
    assert how_to._toe(tray_plan).endswith("A hoe has no toe: no dial.")


def test_after_urgent_work_the_settings_rise():
    blades = {f"U{b}": ek.patterns.universal_curette(internal_angle_deg=b) for b in (70, 76, 80)}
    plan = ek.plan_bench({**blades, "HO": ek.patterns.hoe()}, tolerance_deg=1, urgent=["HO"])
    assert not plan.settings["elevation_deg"].is_monotonic_increasing
    assert "Then from the smallest angle to the largest" in how_to.order_words(plan)


def test_why_this_order_is_told_with_seconds(tray_plan):
    strokes = tray_plan.order["strokes"].sum() * value("seconds_per_stroke")
    each = strokes / tray_plan.edges["planned"].sum()
    words = how_to.order_words(tray_plan)
    assert f"a change takes about {value('holder_setup_seconds'):.0f} s" in words
    assert f"an edge's strokes about {each:.0f} s" in words
    none = SimpleNamespace(steps=(), edges=pd.DataFrame({"planned": [False]}))
    assert how_to._grinding(none, 0.8) == 0.0
    one = ek.plan_bench([ek.patterns.hoe()])
    assert how_to._grinding(one, 0.8) == pytest.approx(0.8 * one.order["strokes"].sum())


def test_minutes_in_words_are_those_of_the_plan(tray_plan):
    first, second = how_to.minutes_words(tray_plan)
    for row in tray_plan.minutes.iloc[:-1].itertuples():
        assert f"{row.part} {row.minutes:.1f}" in first
    total = tray_plan.minutes.iloc[-1]
    low, high = total["minutes_low"], total["minutes_high"]
    assert first.startswith(f"About {total['minutes']:.0f} min, {low:.0f} to {high:.0f} (90 %)")
    assert "says 45 s for a universal and 30 s for an area-specific end" in second
    ends = tray_plan.practice
    ratio = ends["seconds"].sum() / ends["practice_seconds"].sum()
    assert f"{ratio:.1f} times as long" in second
    assert f"for the {len(ends)} curettes here" in second
    long = SimpleNamespace(
        minutes=tray_plan.minutes,
        practice=pd.DataFrame({"seconds": [6000.0, 1500], "practice_seconds": [3000.0, 0.0]}),
    )
    words = how_to.minutes_words(long)[1]
    assert "50.0 min for the 2 curettes here, which this plan puts at 125.0 min, 2.5 times" in words
    one = how_to.minutes_words(ek.plan_bench([ek.patterns.universal_curette()]))
    assert "for the 1 curette here" in one[1]
    assert len(how_to.minutes_words(ek.plan_bench([ek.patterns.hoe()]))) == 1


def test_terms_are_those_that_a_sheet_needs(tray_plan):
    terms = [term for term, _ in how_to.words(tray_plan)]
    assert terms[3:5] == ["used", "left, right"]
    low = dataclasses.replace(tray_plan.steps[0], elevation_deg=np.array([-0.5, 3.0]))
    for steps, said in (
        ((low,), False),
        ((dataclasses.replace(low, elevation_deg=np.array([-0.51, 3.0])),), True),
    ):
        plan = dataclasses.replace(tray_plan, steps=(*steps, *tray_plan.steps[:1]))
        assert "rod" not in dict(how_to.words(plan))
        rod = dataclasses.replace(tray_plan.steps[1], tool=Tool.ROD)
        assert "rod" in dict(how_to.words(dataclasses.replace(plan, steps=(*plan.steps, rod))))
        assert ("below 0° (−)" in dict(how_to.words(plan))) is said


# ---- how high the front is -----------------------------------------------------------------


def front(**given):
    block = given.pop("block", {})
    line = SimpleNamespace(work="w" * block.get("work", 10), toe=("t" * 9,))
    one = SimpleNamespace(
        instrument="I" * block.get("name", 3),
        edge="used",
        kind="k" * block.get("kind", 5),
        entry="e" * block.get("entry", 4),
        lines=(line,) * block.get("lines", 1),
    )
    sheet = {
        "runs": [SimpleNamespace(edges="x" * size) for size in given.pop("runs", (10,))],
        "blocks": (one,) * given.pop("blocks", 1),
        "left": ("l" * 10,) * given.pop("left", 0),
        "title": "t" * given.pop("title", 5),
    }
    return SimpleNamespace(**(sheet | given))


def height(zoom=1.0, **given):
    return page._front_mm(front(**given), zoom)


def test_what_is_always_there_and_what_each_part_adds_to_the_front():
    # Heights measured in print, as the constants of `page` are.
    plain = 56.0 + 32.0 * (1 - 0.72) + 5.7 + 13.6 + 15.2
    assert height() == pytest.approx(plain)
    assert height(0.72) == pytest.approx(plain - 32.0 * 0.28)
    assert height(runs=(10, 10)) - height() == pytest.approx(5.7)
    for size, lines in ((49, 0), (50, 1), (99, 1), (100, 2)):  # fifty letters fill a line
        assert height(runs=(size,)) - height() == pytest.approx(4.2 * lines)
    assert height(0.8, runs=(62,)) - height(0.8) == pytest.approx(0.0)
    assert height(0.8, runs=(63,)) - height(0.8) == pytest.approx(4.2)
    assert height(left=2) - height() == pytest.approx(8.4)
    for size, lines in ((99, 1), (100, 2)):
        sheet = front()
        sheet.left = ("l" * size,)
        assert page._front_mm(sheet, 1.0) - height() == pytest.approx(4.2 * lines)
    sheet.left = ("l" * 124,)
    assert page._front_mm(sheet, 0.8) - height(0.8) == pytest.approx(4.2)
    sheet.left = ("l" * 125,)
    assert page._front_mm(sheet, 0.8) - height(0.8) == pytest.approx(8.4)
    for size, lines in ((35, 0), (36, 1), (72, 2)):
        assert height(title=size) - height() == pytest.approx(4.2 * lines)


def test_blocks_stand_in_two_columns_as_even_as_their_order_allows():
    block = 13.6 + 15.2
    for count, rows in ((0, 0), (1, 1), (2, 1), (3, 2), (4, 2), (5, 3)):
        assert height(blocks=count) - height(blocks=0) == pytest.approx(rows * block)


def test_a_block_is_as_high_as_its_steps_or_its_drawings():
    # A step is 5.1 mm and 3.9 more for each line of its words, at 1.85 mm a letter; the words
    # stand beside the drawings, in 95 − 3.1 − 38.5 mm, until 15.2 mm are filled.
    base = height(block={"lines": 0})
    letters = len(" □ ink gone, ") - 1 + 9
    for work in (5, 10, 40):
        size = work + letters
        beside, below = (math.ceil(1.85 * size / width) for width in (53.4, 91.9))
        steps, want = 0.0, {}
        for count in range(1, 6):
            steps += 5.1 + 3.9 * (beside if steps < 15.2 else below)
            want[count] = max(steps, 15.2) - 15.2
        for count, more in want.items():
            found = height(block={"lines": count, "work": work}) - base
            assert found == pytest.approx(more), (work, count)


def test_long_names_and_codes_take_a_line_more():
    # 2.7 mm a letter of the name, 1.85 of its kind, 50 mm for the gauge, in 91.9 mm
    for name, kind, lines in ((3, 5, 0), (7, 5, 0), (8, 5, 1), (3, 10, 0), (3, 11, 1), (45, 0, 2)):
        want = int((2.7 * (name + 5) + 1.85 * kind + 50) / 91.9)
        assert want == lines
        found = height(block={"name": name, "kind": kind}) - height()
        assert found == pytest.approx(4.2 * want)
    for entry, lines in ((19, 0), (20, 1), (70, 2)):
        assert int((1.85 * entry + 56) / 91.9) == lines
        assert height(block={"entry": entry}) - height() == pytest.approx(4.2 * lines)


def test_the_front_prints_as_large_as_fits_the_paper():
    assert print_zoom(front()) == 1.0
    for blocks in range(1, 40):
        sheet = front(blocks=blocks)
        fits = [z / 100 for z in range(72, 101) if page._front_mm(sheet, z / 100) * z / 100 <= 277]
        want = max(fits) if fits else 1.0  # broken in two: then at its full size
        assert print_zoom(sheet) == want
    zooms = {print_zoom(front(blocks=blocks)) for blocks in range(1, 40)}
    assert len(zooms) > 4
    exact = front(blocks=0, runs=())
    high = page._front_mm(exact, 1.0)
    least = 277 / 0.72 - 1e-9
    for mm, zoom in ((277.0, 1.0), (277.001, 0.99), (least, 0.72), (least + 0.01, 1.0)):
        given = dataclasses.make_dataclass("S", ["runs", "blocks", "left", "title"])([], (), (), "")
        page_mm = page._front_mm
        try:
            page._front_mm = lambda *_, mm=mm: mm
            assert print_zoom(given) == zoom
        finally:
            page._front_mm = page_mm
    assert high == pytest.approx(56.0 + 32 * 0.28)


def test_a_page_is_set_at_the_zoom_it_needs(tray_plan):
    sheet = compose(tray_plan, "T")
    html = page.page(sheet)
    assert f".front {{ zoom: {print_zoom(sheet):.2f};" in html
    sizes = re.findall(r'width="([\d.]+)mm" height="([\d.]+)mm"', html)
    assert sizes.count(("21", "13.5")) == sizes.count(("15.5", "14.5")) == len(sheet.blocks)
    assert ("50", "16") in sizes
    assert ("110", "9") in sizes


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


def test_hand_steps_name_the_angle_beside_each_hour(tray_plan):
    step = next(s for s in tray_plan.steps if s.tool == Tool.HAND)
    block = next(
        b for b in compose(tray_plan, "T").blocks if (b.instrument, b.edge) == step.requirements.key
    )
    line = next(line for line in block.lines if line.mark == "hand")
    assert line.within == ""
    hours = toe_hours(step.placement_roll_deg)
    first = f"toe at {clock_words(hours[0])} at {_degrees(step.placement_elevation_deg[0])},"
    assert line.toe[0] == first
