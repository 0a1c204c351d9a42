"""Pictures of sections and sessions, and tables of lives: geometry and sums done here by hand.

Plane geometry: a circle of radius r in a wedge β touches its sides r cot(β/2) from the corner and
spans 2 r cos(β/2); a plane turned by δ about one end of a length L stands L tan δ off at the other.
"""

import itertools
import math
import re
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import edgekit as ek
import lesson
from lesson.drawing import BLUE, INK
from lesson.parts import Z90, means

BLADE = ek.patterns.area_specific_curette()


def path(drawn, colour, width):
    found = re.search(rf'<path d="([^"]*)"[^>]*stroke="{colour}" stroke-width="{width}"', drawn.svg)
    return np.array(re.findall(r"([\d.-]+) ([\d.-]+)", found[1]), dtype=float)


@pytest.mark.parametrize("radius", [1.0, 4.0, 10.0])
@pytest.mark.parametrize("angle", [65.0, 75.0, 85.0])
def test_a_tip_goes_back_to_where_its_circle_touches_the_face(radius, angle):
    drawn = lesson.tip(radius, angle)
    half = math.radians(angle) / 2
    assert drawn.numbers["along_face_um"] == pytest.approx(radius / math.tan(half))
    assert drawn.numbers["land_um"] == pytest.approx(2 * radius * math.cos(half))
    assert f"{radius / math.tan(half):.1f} µm" in drawn.title
    assert f"{angle:g}°" in drawn.title
    old, new = path(drawn, BLUE, 1.5), path(drawn, INK, 2.5)
    per_um = (480 - 72 - 22) / 30
    assert new[0][0] - old[1][0] == pytest.approx(per_um * radius / math.tan(half), abs=0.2)
    one, two = (line[-1] - line[-2] for line in (old, new))  # the flanks are parallel
    slopes = [math.degrees(math.atan2(y, x)) for x, y in (one, two)]
    assert slopes == pytest.approx([angle, angle], abs=0.2)  # true proportion: an angle is itself


def test_tips_share_their_axes_and_one_that_does_not_fit_is_refused():
    axes = {lesson.tip(r, b).alt.split("x axis")[1] for r in (1, 10) for b in (65, 85)}
    assert len(axes) == 1
    for radius in (0, 11, math.nan):
        with pytest.raises(ek.BadArgument):
            lesson.tip(radius)


@pytest.mark.parametrize("off", [-5.0, -1.0, 1.0, 3.0])
def test_a_wrong_angle_is_a_length_at_the_back(off):
    drawn = lesson.wrong_angle(BLADE, off)
    thick = 1000 * BLADE.section.flank_mm * math.tan(math.radians(off))
    assert drawn.numbers["at_back_um"] == pytest.approx(thick)
    assert (f"{thick:.0f} µm of steel" in drawn.title) is (off > 0)
    assert (f"{-off:g}° blunter" in drawn.title) is (off < 0)
    with pytest.raises(ek.BadArgument, match="fits the picture"):
        lesson.wrong_angle(BLADE, 7)


FLANK_MM = BLADE.section.flank_mm


@pytest.mark.parametrize(("off", "strokes"), [(5.0, 8), (2.0, 8), (3.0, 16), (1.5, 8)])
def test_a_stone_held_too_large_takes_strokes_from_the_back_and_not_the_edge(off, strokes):
    """A triangle at the back: its area is what the strokes took, and the edge is as it was."""
    drawn = lesson.reached(BLADE, off, strokes=strokes, dull_radius_um=4.0)
    assert drawn.numbers["moved_um"] < 0.05  # µm: a little at the toe, where the flank is short
    assert "has not reached the edge" in drawn.title
    assert "edge not reached" in drawn.svg
    # The flank runs on into a round back: more steel stands in the way than the triangle's, so the
    # stone stands further out than behind a corner, and nearer than before its first stroke.
    area = strokes * ek.methods.freehand().removal_mm3_per_stroke / BLADE.edges["used"].length_mm
    slope = math.tan(math.radians(off))
    corner = 1000 * (FLANK_MM * slope - math.sqrt(2 * area * slope))
    first = lesson.reached(BLADE, off, strokes=1, dull_radius_um=4.0).numbers["stands_um"]
    stands = drawn.numbers["stands_um"]
    assert 0 < corner < stands < first
    line = path(drawn, INK, 3)  # the stone lies at its angle where it stands
    per_um = (300 - 12 - 46) / 180
    ends = [300 - 46 - per_um * (90 + stands - 1000 * slope * x) for x in (-0.05, 0.8)]
    assert line[:, 1] == pytest.approx(ends, abs=0.2)


@pytest.mark.parametrize("off", [-5.0, -2.0, -1.0])
def test_a_stone_held_too_small_moves_the_edge_by_the_triangle_that_it_takes(off):
    """The strokes' steel is a triangle at the edge, of the angle by which the stone is off."""
    beta, delta = math.radians(BLADE.section.internal_angle_deg), math.radians(-off)
    area = 8 * ek.methods.freehand().removal_mm3_per_stroke / BLADE.edges["used"].length_mm
    sides = 2 * area * math.sin(beta + delta) / math.sin(beta) / math.sin(delta)
    drawn = lesson.reached(BLADE, off, strokes=8, dull_radius_um=0.1)
    assert drawn.numbers["moved_um"] == pytest.approx(
        1000 * math.sqrt(sides) * math.sin(delta) / math.sin(beta + delta), rel=0.02
    )
    assert f"{drawn.numbers['moved_um']:.1f} µm and is {-off:g}° blunter" in drawn.title
    assert "not reached" not in drawn.svg


def test_all_angles_share_their_axes_and_the_right_one_reaches_the_edge():
    frames = [lesson.reached(BLADE, off, strokes=8, dull_radius_um=4.0) for off in (-5, 0, 5)]
    assert len({frame.alt.split("x axis")[1] for frame in frames}) == 1
    assert frames[0].numbers["moved_um"] > 2 * frames[1].numbers["moved_um"] > 0
    assert frames[1].title.startswith("0°: ")
    with pytest.raises(ek.BadArgument, match="fits the picture"):
        lesson.reached(BLADE, 7, strokes=8, dull_radius_um=4.0)


def test_a_repeated_error_stays_what_it_is_and_a_large_angle_costs_strokes_once():
    found = lesson.same_error(BLADE, [-2.0, 0.0, 2.0]).set_index("off_deg")
    for off in (-2.0, 0.0, 2.0):
        # A session may leave places as they were, dull ones or such whose land goes unnoticed:
        # 4.5 % of the edge at 96 depths, 5.6 % at 12.
        assert found.loc[off, "first_off_deg"] == pytest.approx(-off, abs=0.06 * abs(off))
        assert found.loc[off, "last_off_deg"] == pytest.approx(-off, abs=1e-6)
    assert found.loc[2.0, "first_strokes"] > 2 * found.loc[0.0, "first_strokes"]
    assert found.loc[2.0, "last_strokes"] < 2 * found.loc[0.0, "last_strokes"]
    assert found.loc[-2.0, "first_strokes"] < found.loc[0.0, "first_strokes"]
    assert "-0" not in found.to_string()


def test_a_hand_begins_alike_however_many_strokes_follow_and_never_gives_back():
    method = ek.methods.freehand()
    counts = [2, 6, 12, 20]
    worn = lesson.rounded(BLADE, 4.65)
    loss, sharp = lesson.one_hand(worn, method, counts, rng=5)
    alone = lesson.one_hand(worn, method, [6], rng=5)
    new = replace(method, stop=ek.strokes.counted(strokes=6))
    whole = ek.sharpen(BLADE, new, dull_radius_um=4.65, rng=5, stations=100)
    assert whole.edges["used"].mean_recession_um == pytest.approx(loss[1], rel=1e-12)
    assert alone[0][0] == loss[1]
    assert (np.diff(loss) >= 0).all()
    assert ((sharp >= 0) & (sharp <= 1)).all()


def test_the_mean_of_hands_is_counted_from_where_each_edge_was_good():
    method = ek.methods.freehand()
    rows = lesson.extra_strokes(BLADE, method, extra=3, dull_radius_um=4.0, hands=4)
    assert rows["strokes"].max() > rows["strokes"].min()
    drawn = lesson.strokes_share(BLADE, method, rows, extra=3, dull_radius_um=4.0)
    assert drawn.numbers["needed_um"] == pytest.approx(rows["needed_um"].mean())
    assert drawn.numbers["extra_um"] == pytest.approx(rows["more_um"].mean())
    assert drawn.numbers["before"] == rows["strokes"].max()
    assert f"{rows['needed_um'].mean():.1f} µm until" in drawn.title


def test_laws_of_dulling_are_drawn_to_their_own_ends():
    slow = ek.SaturatingDulling(limit_um=2.0, strokes=30)
    drawn = lesson.dulling({"root": ek.PowerDulling(), "slow": slow}, sharp_um=1.5, strokes=90)
    assert drawn.numbers["slow"] == pytest.approx(2.0 - 0.5 * math.exp(-3))
    rate = ek.PowerDulling().rate
    assert drawn.numbers["root"] == pytest.approx(math.sqrt(1.5**2 + 90 * rate))
    with pytest.raises(ek.BadArgument, match="no law"):
        lesson.dulling({}, sharp_um=1.5, strokes=90)


def test_a_slant_puts_the_face_behind_where_its_median_is_the_lower_one():
    blade = ek.patterns.universal_curette()
    found = ek.face_or_sides(blade, runs=6, seed=1, tilts_deg=(0.0, 8.0))
    drawn = lesson.slant(found, "Six lives")
    sides = found.table["sessions_p50"].iloc[0]
    below = found.by_tilt[found.by_tilt["sessions_p50"] < sides]["tilt_sd_deg"]
    assert drawn.numbers.get("behind_from_deg") == (below.iloc[0] if len(below) else None)
    assert len(below) == 1
    meet = drawn.numbers["meet_deg"]
    faces = found.by_tilt.set_index("tilt_sd_deg")["sessions_p50"]
    assert np.interp(meet, faces.index, faces) == pytest.approx(sides)
    assert f"meet at a slant of {meet:.1f}°" in drawn.title
    low = found.by_tilt.assign(sessions_p50=0.0)  # slants of another result are taken as they are
    behind = lesson.slant(found, "Six lives", low)
    assert behind.numbers["behind_from_deg"] == 0
    assert "behind even at a slant of 0°" in behind.title


def test_means_carry_the_ninety_percent_interval_of_a_normal_mean():
    assert pytest.approx(NormalDist().inv_cdf(0.95), abs=1e-3) == Z90
    values = [3.0, 5.0, 10.0, 2.0]
    lives = pd.DataFrame({"way": ["a"] * 4, "use": [15] * 4, "loss": values})
    half = Z90 * np.std(values, ddof=1) / 2
    assert means(lives, by=("way", "use"), column="loss")[15].tolist() == [f"5.0 ± {half:.1f}"]
    many = lesson.stacked(lives, lives.assign(way="rolled"))
    assert means(many, by=("way", "use"), column="loss")["way"].tolist() == ["a", "rolled"]


def test_a_picture_of_lives_shows_the_interval_of_each_mean_where_asked():
    groups = {"few": [4.0, 5.0, 6.0, 9.0], "many": [10.0, 20.0, 30.0]}
    plain = lesson.lives(groups, "Ways", quantity="sessions", end=40)
    shown = lesson.lives(groups, "Ways", quantity="sessions", end=40, interval=True)
    assert plain.svg.count('stroke-width="5"') == 0
    bars = re.findall(r'<path d="M([\d.]+) [\d.]+L([\d.]+) [^"]*"[^>]*stroke-width="5"', shown.svg)
    wide = [float(b) - float(a) for a, b in bars]
    left = 14 + 9 * 4
    scale = (480 - left - 22) / 40
    halves = [Z90 * np.std(v, ddof=1) / len(v) ** 0.5 for v in groups.values()]
    assert wide == pytest.approx([2 * scale * half for half in halves], abs=0.2)
    said = re.findall(r'text-anchor="end"[^>]*>(\d+ ± \d+)<', shown.svg)
    assert said == [
        f"{np.mean(v):.0f} ± {h:.0f}" for v, h in zip(groups.values(), halves, strict=True)
    ]
    assert "±" not in plain.svg


def test_a_limit_counts_the_lives_of_the_first_row_that_reach_it():
    groups = {"few": [100.0, 172.0, 200.0, 50.0], "many": [10.0, 300.0]}
    drawn = lesson.lives(groups, "Swing 2°", quantity="µm", end=280, limit=(172.0, "a fifth"))
    assert drawn.numbers["over_limit"] == 50
    assert "few, 130 µm on average, and 50 in 100 take a fifth" in drawn.title
    at = 14 + 9 * 4 + (480 - 14 - 9 * 4 - 22) * 172 / 280
    assert f'd="M{at:.1f} ' in drawn.svg


@pytest.mark.parametrize("count", [2, 4, 8])
def test_small_studies_rank_two_means_wrongly_as_often_as_a_normal_difference_does(count):
    """Of means of n lives each, the difference is normal with 2 sd²/n, or with what is not shared.

    The chance of the wrong sign is that of a standard normal below -Δ over its standard deviation.
    """
    rng = np.random.default_rng(11)
    shared, runs = rng.normal(0, 4, 40_000), (2, 40_000)
    one, two = shared + rng.normal(0, 1, runs) + np.array([[17.0], [15.0]])
    drawn = lesson.ranked(one, two, count)
    studies = 40_000 // count
    assert drawn.numbers["studies"] == studies
    for name, variance in (("other instruments", 16 + 1), ("same instruments", 1)):
        chance = NormalDist().cdf(-2 / math.sqrt(2 * variance / count))
        error = math.sqrt(chance * (1 - chance) / studies)
        assert drawn.numbers[name] / studies == pytest.approx(chance, abs=4 * error)
    assert f"{drawn.numbers['other instruments']} of {studies} studies" in drawn.title


def test_shares_of_a_polynomial_are_those_of_its_integrals():
    """Uniform inputs: 4a + 2b + 6(a - 1/2)(c - 1/2) has variance 16/12 + 4/12 + 3/12."""
    levels = lesson.at_levels({"a": (0.0, 1.0), "b": (0.0, 1.0), "c": (0.0, 1.0)})
    rows = pd.DataFrame(itertools.product(*levels.values()), columns=list(levels))
    lives = pd.concat([rows.assign(run=run, person=10.0 * run) for run in range(5)])
    a, b, c = (lives[name] for name in "abc")
    lives["loss"] = lives["person"] + 4 * a + 2 * b + 6 * (a - 0.5) * (c - 0.5)
    drawn = lesson.shares(lives, {"c": "third", "a": "first", "b": "second"}, "loss")
    wanted = {"first, first": 16, "second, first": 4, "third, first": 0}
    wanted |= {"first, total": 19, "second, total": 4, "third, total": 3}
    for name, twelfths in wanted.items():
        assert drawn.numbers[name] == pytest.approx(twelfths / 23, abs=1e-9)
    assert "first 83 %" in drawn.title


def test_levels_are_points_of_equal_probability_steps_of_a_distribution():
    """Gauss's rule of three points integrates x to the fifth exactly: 1/6 between 0 and 1."""
    (at,) = lesson.at_levels({"x": (0.0, 1.0)}).values()
    assert np.array([5, 8, 5]) @ np.array(at) ** 5 / 18 == pytest.approx(1 / 6)
    (wide,) = lesson.at_levels({"x": (2.0, 6.0)}).values()
    (normal,) = lesson.at_levels({"x": stats.norm(1.0, 2.0)}).values()
    assert wide == pytest.approx([2 + 4 * x for x in at])
    assert normal == pytest.approx([NormalDist(1.0, 2.0).inv_cdf(x) for x in at])


def test_a_ranking_needs_two_studies_of_the_same_runs():
    with pytest.raises(ek.BadArgument, match="studies"):
        lesson.ranked(np.ones(10), np.zeros(10), 6)
    with pytest.raises(ek.BadArgument, match="studies"):
        lesson.ranked(np.ones(10), np.zeros(9), 2)


def test_extra_strokes_are_those_after_the_hand_stopped_and_only_add():
    method = ek.methods.freehand()
    rows = lesson.extra_strokes(BLADE, method, extra=6, dull_radius_um=4.0, hands=4)
    assert rows["hand"].tolist() == [1, 2, 3, 4]
    for row in rows.itertuples():
        done = ek.sharpen(BLADE, method, dull_radius_um=4.0, rng=row.hand, stations=100)
        edge = next(iter(done.edges.values()))
        assert row.strokes == done.stone_strokes
        assert row.needed_um == pytest.approx(edge.mean_recession_um)
    assert (rows["more_um"] >= 0).all()
    assert rows["more_um"].sum() > 0
    with pytest.raises(ek.BadArgument, match="hands"):
        lesson.extra_strokes(BLADE, method, extra=6, dull_radius_um=4.0, hands=0)
