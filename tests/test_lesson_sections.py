"""Pictures of sections and sessions, and tables of lives: geometry and sums done here by hand.

Plane geometry: a circle of radius r in a wedge β touches its sides r cot(β/2) from the corner and
spans 2 r cos(β/2); a plane turned by δ about one end of a length L stands L tan δ off at the other.
"""

import math
import re
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest

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


def test_a_repeated_error_stays_what_it_is_and_a_large_angle_costs_strokes_once():
    found = lesson.same_error(BLADE, [-2.0, 0.0, 2.0]).set_index("off_deg")
    for off in (-2.0, 0.0, 2.0):
        # A session may leave 2 % of the edge as it was, 2° off the new angle at most.
        assert found.loc[off, "first_off_deg"] == pytest.approx(-off, abs=0.02 * abs(off) * 2.1)
        assert found.loc[off, "last_off_deg"] == pytest.approx(-off, abs=1e-6)
    assert found.loc[2.0, "first_strokes"] > 2 * found.loc[0.0, "first_strokes"]
    assert found.loc[2.0, "last_strokes"] < 2 * found.loc[0.0, "last_strokes"]
    assert found.loc[-2.0, "first_strokes"] < found.loc[0.0, "first_strokes"]
    assert "-0" not in found.to_string()


def test_a_hand_begins_alike_however_many_strokes_follow_and_never_gives_back():
    method = ek.methods.freehand()
    counts = [2, 6, 12, 20]
    loss, sharp = lesson.one_hand(BLADE, method, counts, dull_radius_um=4.65, rng=5)
    alone = lesson.one_hand(BLADE, method, [6], dull_radius_um=4.65, rng=5)
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
