"""Stone in the hand: what is in its way, worked out by walking along the stone.

Source: the geometry again, with points on rods and no formula for where lines and planes meet.
"""

import numpy as np
import pytest

import edgekit as ek
from edgekit.clinic.bench.by_hand import (
    axis_height_mm,
    can_be_ground,
    heel_middle,
    stone_hours,
    stone_room_mm,
)
from edgekit.clinic.bench.on_the_stone import (
    AIR_MM,
    axis_at_placements_mm,
    card_placement,
    pile_changes,
)
from edgekit.clinic.bench.requirements import Tool
from edgekit.evidence_table import value

STEP_MM = 0.05
"""Distance of neighbouring points on a rod: a room is found to that."""


def by_points(step, holder):
    """Least distance along the stone, towards the handle, at which a rod's surface dips below."""
    need, held = step.requirements, step.requirements.held
    a, heel = need.edge.handle_axis, heel_middle(need)
    turn = np.linspace(0, 2 * np.pi, 73)
    side = np.cross(a, np.eye(3)[np.argmin(np.abs(a))])
    side /= np.linalg.norm(side)
    ring = np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * np.cross(a, side)
    least = np.inf
    for at in step.stations:
        n, place = held.normal[at], held.position_mm[at]
        up_stone = -(a - (a @ n) * n) / np.linalg.norm(a - (a @ n) * n)
        for radius, begin, end in (
            (holder.shank_radius_mm, holder.shank_from_mm, holder.handle_from_mm),
            (holder.handle_radius_mm, holder.handle_from_mm, 150.0),
        ):
            along = np.arange(begin, end, STEP_MM)
            points = heel - along[:, None, None] * a + radius * ring[None]
            into = (points - place) @ n > 0  # the stone is where its normal points
            if into.any():
                first = int(np.argmax(into.any(axis=1)))
                least = min(least, float(((points[first] - place) @ up_stone)[into[first]].min()))
    return least


@pytest.mark.parametrize(
    "blade",
    [
        ek.patterns.area_specific_curette(bow_radius_mm=12, shank_bend_deg=15),
        ek.patterns.area_specific_curette(),
        ek.patterns.universal_curette(internal_angle_deg=84),
    ],
    ids=["below 0°", "round a toe", "flat"],
)
def test_the_room_of_a_stone_ends_where_a_rod_meets_it(blade):
    plan = ek.plan_bench({"K": blade}, tolerance_deg=3)
    found = 0
    for need in plan.requirements:
        for step in (step for step in plan.steps if step.requirements.key == need.key):
            room, walked = stone_room_mm(step, ek.Holder()), by_points(step, ek.Holder())
            if np.isinf(walked):
                assert room > 100
            else:
                assert room == pytest.approx(walked, abs=0.2)
                found += 1
    assert found or not plan.steps or blade.name == "area-specific curette"


def test_a_strip_is_ordered_only_where_the_stone_has_room_for_a_stroke():
    tray = {
        f"K-{angle}": ek.patterns.universal_curette(internal_angle_deg=angle)
        for angle in (76, 80, 82, 84, 86)
    }
    plan = ek.plan_bench(tray, tolerance_deg=1)
    by_hand = [step for step in plan.steps if step.tool != Tool.HOLDER]
    assert all(can_be_ground(step, ek.Holder()) for step in by_hand)
    needed = value("stone_end_mm") + value("least_stroke_mm")
    assert all(stone_room_mm(step, ek.Holder()) >= needed for step in by_hand)
    left = plan.unserved[plan.unserved["advice"].str.contains("cannot be ground at this bench")]
    assert {"K-84", "K-86"} <= set(left["instrument"])
    ordered = set(zip(plan.order["instrument"], plan.order["from_mm"], strict=True))
    assert not ordered & set(zip(left["instrument"], left["from_mm"], strict=True))
    strokes = plan.minutes.set_index("part").loc["grinding", "count"]
    assert strokes == plan.order["strokes"].sum()
    thin = ek.Holder(shank_radius_mm=0.3)
    assert len(ek.plan_bench(tray, tolerance_deg=1, holder=thin).order) > len(plan.order)


def test_the_axis_rises_over_the_stone_by_what_lies_beside_it():
    """A universal blade whose toe points down: the heel stands a blade's length above."""
    blade = ek.patterns.universal_curette()
    step = ek.plan_bench({"K": blade}).steps[0]
    need, held = step.requirements, step.requirements.held
    height = axis_height_mm(need, held.normal, np.arange(len(held.arc_mm)))
    sine = np.cos(np.radians(15.0))  # of the flat of the face to the stone's normal
    # half a width, less what the blade narrows towards the heel
    assert height[0] == pytest.approx(blade.section.width_mm / 2 * sine, abs=0.1)
    down = int(np.argmin(np.abs(held.roll_deg)))
    length = np.ptp(held.position_mm @ need.edge.roll_reference)
    assert height[down] == pytest.approx(length * sine, abs=0.1)


def test_hours_of_a_stone_turn_as_the_edge_does():
    blade = ek.patterns.universal_curette()
    for name, sign in (("left", 1), ("right", -1)):
        plan = ek.plan_bench({"K": blade}, tolerance_deg=0.2, setting_error_deg=0.5)
        step = next(s for s in plan.steps if s.requirements.name == name)
        hours = stone_hours(step)
        assert (np.diff(np.abs(hours - 6)) < 0).all()  # from the side round to the toe
        assert (sign * (hours - 6) < 0.1).all()  # toe towards you: its left is on your right


def test_a_handle_stays_within_its_play_when_the_pile_follows_and_leaves_it_otherwise():
    """The angle from lengths: sin(angle) = (pivot above the stone − axis above the stone)/R."""
    holder, found = ek.Holder(), 0
    for make in (ek.patterns.universal_curette, ek.patterns.area_specific_curette):
        for step in ek.plan_bench([make()], tolerance_deg=4, holder=holder).steps:
            if step.tool != Tool.HOLDER:
                continue
            slack, reach = 0.7, holder.reach_mm
            rises, changes = axis_at_placements_mm(step), dict(pile_changes(step, slack))
            sine = np.sin(np.radians(step.elevation_deg[0]))
            pivot, lowered, before = reach * sine + rises[0], 0.0, 0.0
            for at, rise in enumerate(rises):
                before, lowered = lowered, changes.get(at, lowered)
                off = np.abs((pivot + np.array([before, lowered]) - rise) / reach - sine)
                assert off[1] <= slack / reach + 1e-12
                assert at not in changes or off[0] > slack / reach
            found += len(changes)
    assert found >= 4


def test_a_card_stands_where_no_rod_meets_it():
    """Points on the rods' surfaces, in the frame of the card: along, across and above the stone."""
    holder, size, judged, nowhere = ek.Holder(), (18.0, 7.0), set(), False
    blades = [
        ek.patterns.universal_curette(),
        ek.read_tray("data_demo/tray_FH-03.csv")["FH-03-AS2"],
        ek.patterns.half_length_curette(),
        ek.patterns.curved_sickle(),
    ]
    steps = [step for blade in blades for step in ek.plan_bench([blade], tolerance_deg=4).steps]
    for step in (step for step in steps if step.tool == Tool.HOLDER and step.placements > 1):
        free = [_free(step, at, holder, size) for at in range(step.placements)]
        middle = step.placements // 2
        near = sorted(range(step.placements), key=lambda at: (abs(at - middle), at))
        place = card_placement(step, holder, size)
        assert place == next((at for at in near if free[at]), None)
        judged |= set(free)
        nowhere = nowhere or place is None
    assert judged == {True, False}
    assert nowhere


def _free(step, at, holder, size):
    need, held, rows = step.requirements, step.requirements.held, step.stations
    p, n, t = (
        np.array([step.at_placements(field[rows, axis])[at] for axis in range(3)])
        for field in (held.position_mm, held.normal, held.tangent)
    )
    n, t = n / np.linalg.norm(n), t / np.linalg.norm(t)
    a = need.edge.handle_axis
    u = np.cross(n, t)
    u = u if u @ a < 0 else -u
    for along in np.arange(0.0, 60.0, STEP_MM):
        q = heel_middle(need) - along * a - p
        radius = (
            holder.shank_radius_mm if along < holder.handle_from_mm else holder.handle_radius_mm
        )
        x, y, z = q @ u, q @ t, -q @ n
        if abs(y) <= radius + AIR_MM and -radius <= x <= size[0] + radius and z <= size[1] + radius:
            return False
    return True
