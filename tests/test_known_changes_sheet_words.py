"""Numbers of the setting sheet, and of the stone in the hand, of which a change could pass unseen.

Against sums written out, and against geometry that is worked out here by hand: a straight blade on
a stone, a handle's axis, H − S − R sinα. Words are asked for only where a number stands in them.
"""

import dataclasses
import math
import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import edgekit as ek
from edgekit.clinic.bench import by_hand
from edgekit.clinic.bench.by_hand import (
    axis_height_mm,
    can_be_ground,
    heel_middle,
    stone_hours,
    stone_room_mm,
)
from edgekit.clinic.bench.requirements import Tool
from edgekit.clinic.sheet import before, content, how_to, page, places, set_up
from edgekit.clinic.sheet.content import _stone, _toe, compose
from edgekit.clinic.sheet.cut_outs import dial_from_mm
from edgekit.evidence_table import value
from edgekit.geometry.blade import BladeClass
from tests.test_known_changes_sheet import tray_on

HOLDER = ek.Holder(pivot_height_mm=60.0, reach_mm=90.0, stone_height_mm=12.0)


@pytest.fixture(scope="module")
def tray_plan():
    return tray_on(HOLDER)


@pytest.fixture(scope="module")
def tray_sheet(tray_plan):
    return compose(tray_plan, "T")


@pytest.fixture(scope="module")
def hand_plan():
    """A tray of which some strips are left to the hand."""
    tray = {"AS": ek.patterns.area_specific_curette(), "UC": ek.patterns.universal_curette()}
    return ek.plan_bench(tray, tolerance_deg=4, holder=HOLDER)


def plan_of(*steps, holder=None, settings=(), **given):
    """What the sheet reads of a plan."""
    table = pd.DataFrame({"elevation_deg": np.array(settings, dtype=float)})
    return SimpleNamespace(steps=steps, holder=holder, settings=table, **given)


# ---- rows ----------------------------------------------------------------------------------


def test_settings_plays_and_plates_in_words():
    assert [set_up.setting_words(a) for a in (15.0, 31.04, -2.125, 0.0)] == [
        "15.0°",
        "31.04°",
        "−2.125°",
        "0.0°",
    ]
    assert [set_up.within_words(r, 0.5) for r in (0.5, 0.59, 0.6, 1.96, 0.3)] == [
        "± 0.5°",
        "± 0.5°",
        "± 0.6°",
        "± 1.9°",
        "± 0.5°",
    ]
    assert set_up.within_words(0.6 - 1e-9, 0.25) == "± 0.6°"  # a play that rounding has made less
    assert set_up.within_words(0.599, 0.25) == "± 0.5°"
    assert [set_up.riser_words(r, 60.0) for r in (0.04, -0.04, 0.06, -0.06, 12.34, -3.7)] == [
        "no plates",
        "no plates",
        "plates 0.1 mm",
        "none, pivot 60.1 mm high",
        "plates 12.3 mm",
        "none, pivot 63.7 mm high",
    ]
    assert set_up.riser_words(math.nan, 60.0) == "not known"


def step_named(code, edge, run=0, tool=Tool.HOLDER):
    return SimpleNamespace(
        requirements=SimpleNamespace(instrument=code, name=edge), run=run, tool=tool
    )


def test_edges_of_an_instrument_stand_together():
    steps = [
        step_named("A", "left"),
        step_named("B", "used"),
        step_named("A", "right"),
        step_named("A", "left"),
    ]
    assert set_up.edge_names(steps) == "A left + right · B used"


def test_neighbours_of_one_set_up_share_a_row_and_a_setting_may_come_twice():
    steps = [
        step_named("A", "left", 1),
        step_named("B", "left", 1),
        step_named("A", "left", -1, Tool.HAND),
        step_named("C", "left", -1, Tool.ROD),
        step_named("C", "left", 0),
        step_named("D", "left", 1),
    ]
    assert [number for _, number in set_up.numbered(steps)] == ["1", "1", "2", "3", "4", "5"]
    settings = pd.DataFrame(
        {"elevation_deg": [10.0, -30.0], "within_deg": [1.25, 2.0], "riser_mm": [np.nan, 93.0]}
    )
    plan = SimpleNamespace(steps=steps, settings=settings, setting_error_deg=0.5, holder=HOLDER)
    rows = set_up.rows(plan)
    assert [row.number for row in rows] == ["1", "2", "3", "4", "5"]
    assert [row.setting for row in rows] == [
        "−30.0°",
        "stone in the hand",
        "rod stone in the hand",
        "10.0°",
        "−30.0°",
    ]
    assert [row.plates for row in rows] == [
        "plates 93.0 mm",
        "",
        "",
        "not known",
        "as row 1: plates 93.0 mm",
    ]
    assert [row.within for row in rows] == ["± 2°", "", "", "± 1.2°", "± 2°"]
    assert [row.sine for row in rows] == ["−0.500", "", "", "0.174", "−0.500"]
    # 90 mm times sin 32° − sin 30° = 0.02992, and sin 11.2° − sin 10° = 0.02059: the lesser side
    assert [row.plates_within for row in rows] == ["± 2.6 mm", "", "", "± 1.8 mm", "± 2.6 mm"]
    bare = set_up.rows(SimpleNamespace(**(vars(plan) | {"holder": None})))
    assert {row.plates + row.plates_within for row in bare if row.number != "5"} == {""}


@pytest.mark.parametrize("reach", [25.0, 74.3, 95.0, 140.0, 400.0])
@pytest.mark.parametrize("steepest", [24.0, 33.3, 60.0])
def test_a_stroke_leaves_ten_millimetres_at_either_end_of_stone_or_post(reach, steepest):
    holder = ek.Holder(reach_mm=reach)
    plan = plan_of(holder=holder, settings=[steepest, 12.0, steepest / 2])
    stroke, room = set_up.stroke_mm(plan), reach * math.cos(math.radians(steepest))
    assert stroke % 5 == 0
    assert stroke + 20 <= min(100, room) or stroke == 0
    assert stroke + 25 > min(100, room) or stroke == 80
    assert set_up.stroke_mm(plan_of(settings=[10.0])) == 0.0
    assert set_up.stroke_mm(plan_of(holder=holder)) == 0.0


def test_a_stroke_is_shorter_where_the_handle_would_meet_the_stone():
    """At 20 degrees, 25 mm along it: 8.55 mm high, but the handle is 9 mm thick below its axis."""
    free = ek.Holder(reach_mm=90.0, handle_from_mm=25.0, stone_behind_mm=15.0)
    thick = dataclasses.replace(free, handle_radius_mm=9.6)
    a = math.radians(20.0)
    assert 25 * math.sin(a) > 4 * math.cos(a)
    assert 25 * math.sin(a) < 9.6 * math.cos(a)
    assert set_up.stroke_mm(plan_of(holder=free, settings=[20.0])) == 60.0
    short = set_up.stroke_mm(plan_of(holder=thick, settings=[20.0]))
    # the handle's lower side begins at 25 cos − 9.6 sin from the edge, along the stone
    begins = 25 * math.cos(a) - 9.6 * math.sin(a)
    assert 10 + short <= begins < 10 + short + 5


def test_the_lowest_setting_says_where_the_dial_may_be():
    assert set_up.dial_mm(plan_of(settings=[40.0, 20.0, 60.0])) == dial_from_mm(20.0) == 65.0
    assert set_up.dial_mm(plan_of()) == 0.0


def held_step(tangents, axis=(1.0, 0.0, 0.0), tool=Tool.HOLDER, rows=None):
    held = SimpleNamespace(tangent=np.array(tangents, dtype=float))
    need = SimpleNamespace(held=held, edge=SimpleNamespace(handle_axis=np.array(axis)))
    stations = np.arange(len(tangents)) if rows is None else np.array(rows)
    return SimpleNamespace(requirements=need, stations=stations, tool=tool)


def test_a_turn_of_the_handle_turns_the_blade_by_its_share_along_the_edge():
    steps = [
        held_step([[0.5, 0.0, 0.75**0.5], [-0.6, 0.8, 0.0], [1.0, 0.0, 0.0]], rows=[0, 1]),
        held_step([[1.0, 0.0, 0.0]], tool=Tool.HAND),
    ]
    plan = plan_of(*steps)
    assert set_up.turning_deg(plan, 2.5) == 1.5  # 0.6 of it, the sign apart
    assert set_up.turning_deg(plan, 2.51) == 1.6  # rounded up to a tenth
    assert set_up.turning_deg(plan, 5.0) == 3.0
    assert set_up.turning_deg(plan_of(), 5.0) == 0.0
    assert set_up.HOUR_STEP_DEG * 12 == 30.0  # twelve steps of five minutes are an hour


def test_a_millimetre_of_plates_or_of_the_reach_turns_the_handle_by_what_geometry_says():
    plates, along = set_up.per_mm_deg(plan_of(holder=HOLDER, settings=[20.0, -40.0, 30.0]))
    rise = 90 * math.sin(math.radians(40))
    turn = 1e-4
    for found, sine in ((plates, (rise + turn) / 90), (along, rise / (90 - turn))):
        assert found == pytest.approx((math.degrees(math.asin(sine)) - 40) / turn, rel=1e-4)
    default = set_up.per_mm_deg(plan_of(settings=[0.0]))
    assert default == pytest.approx((math.degrees(1 / 80), 0.0))  # the assumed reach
    assert set_up.per_mm_deg(plan_of(holder=HOLDER)) == (0.0, 0.0)


def test_how_far_the_axis_rises_is_read_over_the_stations_of_each_line(tray_plan):
    worst = 0.0
    for step in tray_plan.steps:
        if step.tool is not Tool.HOLDER:
            continue
        need, held = step.requirements, step.requirements.held
        heel, far = held.position_mm[0], need.blade.opposite(need.name)
        if far is not None:
            heel = (heel + far.frame(np.zeros(1)).position[0]) / 2
        heights = [(held.position_mm[s] - heel) @ held.normal[s] for s in step.stations]
        worst = max(worst, max(heights) - min(heights))
    assert set_up.off_axis_mm(tray_plan) == pytest.approx(worst, rel=1e-12)
    assert worst > 0.5
    assert set_up.off_axis_mm(plan_of()) == 0.0
    said = dict(how_to.steps_words(tray_plan))["Hour"]
    assert f"up to {worst:.1f} mm here" in said


# ---- the stone in the hand -----------------------------------------------------------------


def straight(places, normals, handle=(1.0, 0.0, 0.0), elevation=0.0, faces=None, toe=(1, 0, 0)):
    """A step on a blade of one edge whose stations, normals and faces are given."""
    places, normals = np.array(places, dtype=float), np.array(normals, dtype=float)
    faces = np.tile([0.0, 0.0, 1.0], (len(places), 1)) if faces is None else np.array(faces)
    frame = SimpleNamespace(face=SimpleNamespace(value=faces))
    edge = SimpleNamespace(
        handle_axis=np.array(handle),
        roll_reference=np.array(toe, dtype=float),
        frame=lambda _arc, **_: frame,
    )
    held = SimpleNamespace(
        position_mm=places,
        normal=normals,
        arc_mm=np.arange(float(len(places))),
        elevation_deg=np.broadcast_to(elevation, len(places)),
    )
    need = SimpleNamespace(
        held=held, edge=edge, name="e", blade=SimpleNamespace(opposite=lambda _: None)
    )
    return SimpleNamespace(
        requirements=need, stations=np.arange(len(places)), at_placements=lambda values: values
    )


def rods(shank=1.0, begin=5.0, ends=40.0, handle=4.0):
    return ek.Holder(
        shank_radius_mm=shank, shank_from_mm=begin, handle_from_mm=ends, handle_radius_mm=handle
    )


def walked(height, along, angle, radius, begin, end):
    """Where the near side of a rod first lies below a stone, by walking down the rod."""
    alpha = math.radians(angle)
    normal = np.array([math.sin(alpha), -math.cos(alpha)])  # the axis runs along x, away from it
    place = np.array([along, (along * normal[0] - height) / math.cos(alpha)])
    up = -(np.array([1.0, 0.0]) - normal[0] * normal) / math.cos(alpha)
    down = np.arange(begin, min(end, 120.0), 0.002)
    sides = np.stack([-down, np.full(len(down), -radius)], axis=1) - place
    below = np.flatnonzero(sides @ normal > 0)
    return float(sides[below[0]] @ up) if len(below) else math.inf


@pytest.mark.parametrize("angle", [-30.0, -10.0, 0.0, 10.0])
@pytest.mark.parametrize("height", [-0.5, 0.5, 2.0, 6.0, 15.0])
@pytest.mark.parametrize("along", [0.0, 3.0])
def test_the_room_of_a_stone_is_where_a_rod_first_dips_below_it(angle, height, along):
    alpha = math.radians(angle)
    normal = [math.sin(alpha), 0.0, -math.cos(alpha)]
    place = [along, 0.0, (along * normal[0] - height) / math.cos(alpha)]
    step = straight([[0.0, 0.0, 0.0], place], [normal, normal], elevation=angle)
    step.stations = np.array([1])
    want = min(
        walked(height, along, angle, 1.0, 5.0, 40.0),
        walked(height, along, angle, 4.0, 40.0, math.inf),
    )
    found = stone_room_mm(step, rods())
    assert found == want == math.inf or found == pytest.approx(want, abs=0.005)


def test_the_room_of_a_stone_in_numbers():
    """A handle that sinks by 30°: worked out on paper, the least over places and rods."""
    normal = [-0.5, 0.0, -(0.75**0.5)]

    def room(*heights, **given):
        at = [[0.0, 0.0, h / normal[2]] for h in (0.0, *heights)]
        step = straight(at, [normal] * len(at), elevation=-30.0)
        step.stations = np.arange(1, len(at))
        return stone_room_mm(step, rods(**given))

    cos = 0.75**0.5
    # at the beginning of the shank, 5 mm away: 5 cos − 0 + h sin/cos − r sin
    assert room(2.0) == pytest.approx(5 * cos + 2 * 0.5 / cos - 0.5)
    # past it, where 6 − d/2 = cos
    far = (6 - cos) / 0.5
    assert room(6.0) == pytest.approx(far * cos + 6 * 0.5 / cos - 0.5)
    assert room(6.0, 2.0) == pytest.approx(room(2.0))
    # the shank ends before it sinks: the handle, from where it begins
    assert room(6.0, ends=9.0) == pytest.approx(9 * cos + 6 * 0.5 / cos - 4 * 0.5)
    # where it would meet the stone, there it ends
    assert room(6.0, ends=far + 1e-9) == pytest.approx(room(6.0, ends=far))
    level = straight([[0, 0, 0.0], [0, 0, -3.0]], [[0, 0, -1.0]] * 2)
    level.stations = np.array([1])
    assert stone_room_mm(level, rods(handle=3.0)) == math.inf  # it just touches
    assert stone_room_mm(level, rods(handle=3.0 + 1e-6)) == pytest.approx(40.0)


def test_a_stroke_needs_five_millimetres_beside_the_free_end(monkeypatch):
    assert value("stone_end_mm") + value("least_stroke_mm") == 15.0
    for room, ground in ((15.0, True), (14.999, False), (math.inf, True)):
        monkeypatch.setattr(by_hand, "stone_room_mm", lambda *_, room=room: room)
        assert can_be_ground(SimpleNamespace(tool=Tool.HAND), None) is ground
        assert can_be_ground(SimpleNamespace(tool=Tool.HOLDER), None)


def test_the_middle_of_a_heel_lies_between_its_two_edges():
    step = straight([[0, 0, 0.0], [4, 0, 0.0]], [[0, 0, -1.0]] * 2)
    need = step.requirements
    assert heel_middle(need).tolist() == [0.0, 0.0, 0.0]
    far = SimpleNamespace(
        stations=lambda n: np.linspace(0, 1, n),
        frame=lambda _arc, **_: SimpleNamespace(position=np.array([[1.0, 2.0, 3.0], [9, 9, 9]])),
    )
    need.blade.opposite = lambda name: far if name == "e" else None
    assert heel_middle(need).tolist() == [0.5, 1.0, 1.5]
    normals = np.array([[0.0, 0.6, 0.8], [1.0, 0.0, 0.0]])
    np.testing.assert_allclose(
        axis_height_mm(need, normals, np.array([0, 1])), [-0.6 - 1.2, 4.0 - 0.5]
    )


def test_hours_of_a_stone_are_thirty_degrees_from_the_toe_wherever_the_face_bows():
    turns = np.radians([0.0, 45.0, 90.0, 135.0, 200.0])
    out = np.stack([np.cos(turns), -np.sin(turns), 0 * turns], axis=1)  # at the toe's right: −y
    normals = 0.8 * out + [0.0, 0.0, 0.6]
    step = straight(np.zeros((5, 3)), normals, toe=(1.0, 0.0, 0.7))
    np.testing.assert_allclose(stone_hours(step), [6.0, 7.5, 9.0, 10.5, 12 + 2 / 3])
    step.stations = np.array([1, 3])
    np.testing.assert_allclose(stone_hours(step), [7.5, 10.5])
    step.at_placements = lambda values: values[:1]
    np.testing.assert_allclose(stone_hours(step), [7.5])
    # a face that leans at one place leaves the out-of-face part of its normal out
    lean = np.tile([0.0, 0.0, 1.0], (5, 1))
    lean[0] = [0.6, 0.0, 0.8]
    normals[0] = 2 * lean[0] + [0.0, -1.0, 0.0]
    assert stone_hours(straight(np.zeros((5, 3)), normals, faces=lean))[0] == pytest.approx(9.0)
    # the middle of the edge says what is level
    lean[2] = [0.0, 0.6, 0.8]
    step = straight(np.zeros((5, 3)), out, faces=lean)
    turn = stone_hours(step)[1]
    free = out[1] - (out[1] @ lean[1]) * lean[1]
    right = np.cross([1.0, 0.0, 0.0], lean[2])
    assert turn == pytest.approx(6 + math.degrees(math.atan2(free @ right, free[0])) / 30)


# ---- places on an edge ---------------------------------------------------------------------


def test_a_place_is_straight_from_either_end():
    held = SimpleNamespace(
        arc_mm=np.array([0.0, 3.0, 7.0]),
        position_mm=np.array([[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 4.0, 0.0]]),
    )
    need = SimpleNamespace(held=held)
    assert places.straight_mm(need, 5.0) == pytest.approx((13**0.5, 2.0))
    assert places.straight_mm(need, 7.0) == pytest.approx((5.0, 0.0))


def strip(stations, span, kind=BladeClass.UNIVERSAL):
    held = SimpleNamespace(
        arc_mm=np.arange(5.0), position_mm=np.arange(5.0)[:, None] * [[2.0, 0.0, 0.0]]
    )
    need = SimpleNamespace(held=held, blade=SimpleNamespace(kind=kind))
    return SimpleNamespace(requirements=need, stations=np.array(stations), span_mm=span)


def test_a_strip_is_told_by_its_ends():
    hoe = BladeClass.HOE
    said = [
        places.strip_words(strip(*given))
        for given in (
            ([0, 4], (0.0, 4.0)),
            ([0, 4], (0.0, 4.0), hoe),
            ([0, 1], (0.0, 1.25)),
            ([3, 4], (2.5, 4.0)),
            ([3, 4], (2.5, 4.0), hoe),
            ([1, 3], (0.75, 3.25)),
            ([1, 2], (0.75, 2.0)),
        )
    ]
    numbers = [re.findall(r"([\d.]+) mm (from the heel|before the tip)", words) for words in said]
    heel, tip = "from the heel", "before the tip"
    assert numbers == [
        [],
        [],
        [("2.5", heel)],
        [("3.0", tip)],
        [("3.0", tip)],
        [("1.5", heel), ("1.5", tip)],
        [("1.5", heel), ("4.0", heel)],  # half-way counts from the heel
    ]
    assert [("toe" in words) for words in said] == [False, False, False, True, False, False, False]
    assert said[0].startswith("whole edge, ")
    assert said[1] == "whole edge"


def test_the_side_of_a_used_edge_is_seen_along_the_handle():
    blade = ek.patterns.area_specific_curette()
    need = ek.plan_bench({"K": blade}).requirements[0]
    a, edge = need.edge.handle_axis, need.edge
    toe = edge.roll_reference - (edge.roll_reference @ a) * a
    right = np.cross(a, toe)
    far = blade.opposite(need.name)
    near, other = (e.frame(np.array([e.length_mm / 2])).position[0] @ right for e in (edge, far))
    assert places.side_words(need).split()[0] == ("right" if near > other else "left")
    assert near != other
    mirrored = SimpleNamespace(blade=SimpleNamespace(opposite=lambda _: edge), name="o", edge=far)
    assert places.side_words(mirrored).split()[0] == ("left" if near > other else "right")
    two = ek.plan_bench({"K": ek.patterns.universal_curette()}).requirements
    assert [places.side_words(need) for need in two] == ["", ""]
    assert places.side_words(ek.plan_bench([ek.patterns.hoe()]).requirements[0]) == ""


# ---- what stands before the first stroke ---------------------------------------------------


def test_how_far_a_trace_leaves_the_toe_open_is_the_worst_of_its_last_places():
    def traced(*last):
        edges = {
            name: SimpleNamespace(swing_sd_deg=np.array([90.0, deg, deg]))
            for name, deg in zip("ab", last, strict=False)
        }
        trace = SimpleNamespace(edges=edges)
        return [SimpleNamespace(name=n, blade=SimpleNamespace(trace=trace)) for n in edges]

    plain = SimpleNamespace(name="a", blade=SimpleNamespace(trace=None))
    plan = SimpleNamespace(requirements=[plain, *traced(3.0, 7.0), *traced(5.0)])
    assert before._swing_deg(plan) == 7.0
    assert before._swing_deg(SimpleNamespace(requirements=[plain])) == 0.0


def test_what_the_holder_is_told_are_its_numbers(tray_plan):
    plates, along = set_up.per_mm_deg(tray_plan)
    known, _, wins = before.holder_words(tray_plan)
    assert re.findall(r"[HRS] = ([\d.]+) mm", known) == ["60", "90", "12"]
    assert re.findall(r"up to ([\d.]+)°", wins) == [f"{plates:.1f}", f"{along:.1f}"]
    assert "with R" not in wins
    none = plan_of(settings=[20.0])
    assert "(with R = 80 mm)" in before.holder_words(none)[2]


def test_who_does_what_no_holder_serves_is_asked_only_then(hand_plan):
    by_hand_rows = [n for step, n in set_up.numbered(hand_plan.steps) if step.tool != Tool.HOLDER]
    assert by_hand_rows
    said = before.decisions(hand_plan)
    assert len(said) == 9
    rows = list(dict.fromkeys(by_hand_rows))
    named = f"Rows {', '.join(rows)} (" if len(rows) > 1 else f"Row {rows[0]} ("
    assert named in " ".join(said)
    stroke = set_up.stroke_mm(hand_plan)
    assert f"{stroke:g} (or ____) mm long: 10 mm stay free" in " ".join(said)
    held = [step for step in hand_plan.steps if step.tool == Tool.HOLDER]
    plain = dataclasses.replace(hand_plan, steps=tuple(held))
    assert len(before.decisions(plain)) == 8
    assert before.tools_by_hand(hand_plan)
    assert not before.tools_by_hand(plain)
    assert "5° (one standard deviation)" in before.off_words(hand_plan)[-1]


# ---- how to work ---------------------------------------------------------------------------


def aside_step(tangent, kind=BladeClass.UNIVERSAL):
    edge = SimpleNamespace(
        handle_axis=np.array([0.0, 0.0, 1.0]), roll_reference=np.array([1.0, 0.0, 0.0])
    )
    tangents = np.tile([0.0, 1.0, 0.0], (201, 1))
    tangents[100] = tangent  # at the edge's middle
    need = SimpleNamespace(
        edge=edge,
        held=SimpleNamespace(tangent=tangents),
        instrument="Q",
        blade=SimpleNamespace(kind=kind),
    )
    return SimpleNamespace(requirements=need, tool=Tool.HOLDER)


def test_blades_whose_toe_lies_aside_are_those_that_run_aside_by_five_minutes():
    for bend, aside in ((2.4, False), (2.6, True), (-2.4, False), (-2.6, True)):
        a = math.radians(bend)
        step = aside_step([math.cos(a), math.sin(a), 0.0])
        plan = plan_of(step, settings=[30.0])
        assert ("(of Q: as" in how_to._mark(plan)) is aside
        words = how_to._dial(plan)
        assert f"{dial_from_mm(30.0):g} mm or more from the edge" in words
        assert "hoe" not in words


def test_a_toe_just_five_minutes_aside_is_not_named(monkeypatch):
    monkeypatch.setattr(how_to, "HOUR_STEP_DEG", 45.0)  # an angle without rounding
    for across, aside in ((1.0, False), (1.0001, True)):
        words = how_to._mark(plan_of(aside_step([1.0, across, 0.0]), settings=[30.0]))
        assert ("of Q" in words) is aside


def test_a_hoe_among_others_has_no_dial(tray_plan):
    assert how_to._dial(tray_plan).endswith("A hoe has no toe: no dial.")
    hoe = aside_step([1.0, 0.0, 0.0], BladeClass.HOE)
    assert how_to._dial(plan_of(hoe, settings=[30.0])) == ""
    assert how_to._mark(plan_of(hoe, settings=[30.0])) == ""
    assert places.has_toe(aside_step([1.0, 0.0, 0.0]))


def test_rows_of_hours_differ_by_more_than_a_quarter_of_an_hour():
    for one, two, apart in (
        (["9:00"], ["9:15"], False),
        (["9:00"], ["9:20"], True),
        (["12:55"], ["1:10"], False),  # over noon
        (["12:50"], ["1:10"], True),
        (["1:10"], ["12:55"], False),
        (["6:00", "3:00"], ["6:00", "3:20"], True),
        (["6:00", "3:00"], ["6:00"], True),
        (["12:00"], ["6:00"], True),
    ):
        assert how_to._apart([one, two]) is apart, (one, two)


def test_edges_whose_hours_are_no_mirror_images_are_named():
    def edge(code, name, *rolls, tool=Tool.HOLDER):
        return SimpleNamespace(
            requirements=SimpleNamespace(instrument=code, name=name),
            placement_roll_deg=np.array(rolls),
            tool=tool,
        )

    steps = [
        edge("A", "left", 90.0, 30.0),
        edge("A", "right", -90.0, -30.0),  # mirrored
        edge("B", "left", 90.0),
        edge("B", "right", -75.0),  # half an hour less
        edge("C", "left", 90.0),
        edge("C", "used", 0.0),
        edge("D", "left", 90.0),
        edge("D", "right", 0.0, tool=Tool.HAND),
    ]
    assert "(B: measured edge by edge" in how_to._unlike(plan_of(*steps))
    assert how_to._unlike(plan_of(*steps[:2])) == ""


def test_why_this_order_is_told_with_seconds(tray_plan):
    strokes = tray_plan.order["strokes"].sum() * value("seconds_per_stroke")
    each = strokes / tray_plan.edges["planned"].sum()
    words = how_to.order_words(tray_plan)
    assert f"a change takes about {value('holder_setup_seconds'):.0f} s" in words
    assert f"an edge's strokes {each:.0f} s" in words
    assert "Then what shares its setting, then from the smallest" in words
    assert words.startswith("Why this order: Urgent first (CS), ")
    none = SimpleNamespace(steps=(), edges=pd.DataFrame({"planned": [False]}))
    assert how_to._grinding(none, 0.8) == 0.0
    one = ek.plan_bench([ek.patterns.hoe()])
    assert how_to._grinding(one, 0.8) == pytest.approx(0.8 * one.order["strokes"].sum())
    assert "rgent" not in how_to.order_words(one)


def test_settings_of_urgent_edges_do_not_count_for_the_order():
    blades = {f"U{b}": ek.patterns.universal_curette(internal_angle_deg=b) for b in (70, 76, 80)}
    plan = ek.plan_bench({**blades, "HO": ek.patterns.hoe()}, tolerance_deg=1, urgent=["HO"])
    assert not plan.settings["elevation_deg"].is_monotonic_increasing
    assert "Then from the smallest angle to the largest" in how_to.order_words(plan)


# ---- the sheet -----------------------------------------------------------------------------


@pytest.mark.parametrize("given", [3.001, 15.999])
def test_handles_and_titles_have_bounds(tray_plan, given):
    note = compose(tray_plan, "T", given).dial_note
    assert f"a handle {given:g} mm across, the outer for {given + 2:g} mm." in note
    for bad in (2.999, 16.001):
        with pytest.raises(ek.EdgekitError, match="handle_diameter_mm"):
            content._handle(tray_plan, bad)
    assert content._title("x" * 120) == "x" * 120
    assert content._title(" a \n b ") == "a b"
    assert content._title("x") == "x"
    for bad in ("x" * 121, " "):
        with pytest.raises(ek.EdgekitError, match="1 to 120 letters"):
            content._title(bad)
    assert content._handle(SimpleNamespace(holder=None), None) == 8.0  # twice 4 mm, assumed
    thick = ek.Holder(handle_radius_mm=5.25)
    assert content._handle(SimpleNamespace(holder=thick), None) == 10.5


def test_set_ups_and_lines_carry_the_numbers_of_the_plan(tray_plan, tray_sheet):
    sheet = tray_sheet
    assert sheet.headline.startswith(f"{int(tray_plan.edges['planned'].sum())} edges · ")
    assert f" · {len(tray_plan.settings)} settings · " in sheet.headline
    assert [content._many(n, "edge") for n in (0, 1, 2)] == ["0 edges", "1 edge", "2 edges"]
    for run in (run for run in sheet.runs if run.sine and "row" not in run.plates):
        angle = float(run.setting[:-1])
        row = tray_plan.settings.set_index("elevation_deg").loc[angle]
        riser = 60 - 12 - 90 * math.sin(math.radians(angle))
        assert row["riser_mm"] == pytest.approx(riser)
        assert run.plates == set_up.riser_words(riser, 60.0)
    by_key = {}
    for step, number in set_up.numbered(tray_plan.steps):
        by_key.setdefault(step.requirements.key, []).append((step, number))
    pairs = [pair for group in by_key.values() for pair in group]
    lines = [line for block in sheet.blocks for line in block.lines]
    for line, (step, number) in zip(lines, pairs, strict=True):
        many = content._many
        work = [many(step.rounds, "stroke")]
        if step.placements > 1:
            work = [many(step.rounds, "round"), many(step.placements, "stroke")]
        assert line.work == " of ".join(work)
        assert line.mark == number
        hoe = step.requirements.instrument == "HO"
        assert len(line.pictures) == (1 if hoe else 2)
        if step.tool is not Tool.HOLDER:
            assert line.setting == "stone in the hand"
            continue
        roll = step.placement_roll_deg
        still = step.placements == 1 or bool(abs(roll[-1] - roll[0]) < 2.5)
        assert (line.hours[-1] == "no turning") is still
        assert hoe or len(line.hours) == (2 if still else step.placements)
        assert line.setting == set_up.setting_words(step.elevation_deg[0])
    kinds = {block.instrument: block.kind for block in sheet.blocks}
    assert kinds["HL"] == "half-length curette"
    bare = dataclasses.replace(ek.patterns.hoe(), pattern=None)
    assert compose(ek.plan_bench([bare]), "T").blocks[0].kind == bare.kind.value
    assert {block.instrument for block in sheet.blocks if block.urgent} == {"CS"}


@pytest.mark.parametrize(
    ("roll", "turns"), [(2.5, True), (2.49, False), (-2.5, True), (0.0, False)]
)
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


def test_a_hoe_lies_on_its_bevel_and_with_many_placements_its_hours_are_told():
    need = SimpleNamespace(blade=SimpleNamespace(kind=BladeClass.HOE))
    step = SimpleNamespace(requirements=need, placement_roll_deg=np.array([90.0]))
    assert _toe(step) == (
        "bevel flat on the stone:",
        "no light from front or side,",
        "no turning",
    )
    assert _stone(step) == ("stone flat on the bevel",)
    step.placement_roll_deg = np.array([90.0, 0.0])
    assert _toe(step) == ("toe at 3:00,", "6:00")
    need.blade.kind = BladeClass.UNIVERSAL
    step.placement_roll_deg = np.array([90.0])
    assert _toe(step) == ("toe at 3:00,", "no turning")


def test_the_bench_is_drawn_for_the_first_row_and_for_thirty_degrees_without_one(monkeypatch):
    seen = []
    monkeypatch.setattr(content, "bench", lambda *given: seen.append(given))
    content._bench(plan_of(holder=HOLDER, settings=[20.0, 40.0]))
    content._bench(plan_of())
    holder, *given = seen[0]
    assert holder is HOLDER
    assert given == [20.0, dial_from_mm(20.0), 100.0]
    assert seen[1] == (ek.Holder(), 30.0, 100.0, 100.0)


def test_only_strips_that_are_not_ground_are_left():
    held = SimpleNamespace(
        arc_mm=np.array([0.0, 5.0]), position_mm=np.array([[0.0, 0, 0], [5.0, 0, 0]])
    )
    needs = [
        SimpleNamespace(key=(code, "left"), held=held, blade=SimpleNamespace(kind=BladeClass.HOE))
        for code in "AB"
    ]
    step = SimpleNamespace(requirements=needs[0], span_mm=(1.0, 2.0))
    rows = [
        {"instrument": "A", "edge": "left", "from_mm": 1.0},
        {"instrument": "A", "edge": "left", "from_mm": 2.04},
        {"instrument": "B", "edge": "left", "from_mm": 1.0},
    ]
    rest = {"to_mm": 4.06, "reason": "why", "advice": "what"}
    unserved = pd.DataFrame([row | rest for row in rows])
    plan = SimpleNamespace(steps=[step], unserved=unserved, requirements=needs)
    assert content._left(plan) == {
        ("A", "left"): ("from a mark 2.0 mm from the heel to a mark 0.9 mm before the tip: what",),
        ("B", "left"): (
            "from a mark 1.0 mm from the heel to a mark 0.9 mm before the tip: why; what",
        ),
    }


def test_drawings_stand_on_the_page_at_their_sizes(tray_sheet):
    html = page.page(tray_sheet)
    sizes = re.findall(r'width="([\d.]+)mm" height="([\d.]+)mm"', html)
    lines = [line for block in tray_sheet.blocks for line in block.lines]
    alone = sum(len(line.pictures) == 1 for line in lines)
    assert alone == 1
    assert sizes.count(("46", "30")) == alone
    assert sizes.count(("25", "24")) == 2 * (len(lines) - alone)
    assert ("122", "58") in sizes
    assert ("50", "17") in sizes
    assert ("110", "9.5") in sizes
    # two of the drawings and the words fit a column of half the paper: 192 mm less what parts them
    column = (192 - 3) / 2 - 2 * (1.4 + 0.35)
    assert column > 2 * 25 + 1
    assert html.count("<dt>1. ") == 1
    assert html.count("<dt>2. ") == 1
    assert "<dt>0. " not in html


def test_under_the_stone_has_a_column_only_where_plates_are_known(tray_plan, tray_sheet):
    def columns(sheet):
        table = page._runs(sheet)
        heads = table.count("<th ")
        for row in table.split("<tr>")[2:]:
            assert row.count("<td") == heads
        return heads

    assert columns(tray_sheet) == 6
    assert columns(compose(dataclasses.replace(tray_plan, holder=None), "T")) == 5
