"""Pictures of lessons: what is drawn are the numbers that are said, on axes that were given.

Numbers drawn are checked against closed forms (the cosine, plain means) or, where a picture shows a
result of the library, against that result: the picture must not compute its own.
"""

import base64
import math
import re

import numpy as np
import pytest

import edgekit as ek
import lesson

DATA = "data_demo"
PLANE = ek.patterns.area_specific_curette(bow_radius_mm=np.inf)


def dashed(drawn, dashes):
    return re.findall(rf'<path d="([^"]*)"[^>]*stroke-dasharray="{dashes}"', drawn.svg)


def dots(drawn):
    return len(re.findall(r"M[\d.-]+ [\d.-]+h0", drawn.svg))


@pytest.fixture(scope="module")
def tray(request):
    return ek.read_tray(request.config.rootpath / DATA / "tray_FH-03.csv")


@pytest.fixture(scope="module")
def log(request):
    return ek.read_log(request.config.rootpath / DATA / "log.csv", day_first=True)


@pytest.mark.parametrize("degrees", [0, 1, 4, 8])
def test_a_tilted_blade_is_short_by_the_cosine(degrees):
    drawn = lesson.tilt_cost(0.86, degrees, 9.0)
    short = 860 * (1 - math.cos(math.radians(degrees)))
    assert drawn.numbers["short_um"] == pytest.approx(short)
    assert f"{short:.1f} µm" in drawn.title
    assert drawn.title in drawn.alt


def test_a_setting_is_right_where_its_error_is_within_the_tolerance():
    edge = ek.patterns.area_specific_curette().edges["used"]
    held = ek.setting_at(edge, 33.0)
    for tolerance in (1.0, 2.0, 4.0):
        drawn = lesson.angle_error(edge, 33.0, tolerance_deg=tolerance)
        share = (np.abs(held.error_deg) <= tolerance).mean()
        assert 0 < share < 1
        assert drawn.numbers["right_share"] == pytest.approx(share)
        assert f"within {tolerance:g}° on {100 * share:.0f} % of the edge" in drawn.title


def test_lives_are_dots_with_their_plain_mean():
    groups = {"few": [4, 5, 6, 9], "many": [10, 20, 30]}
    drawn = lesson.lives(groups, "Ways", quantity="sessions", end=40)
    assert drawn.numbers == {"few": 6.0, "many": 20.0}
    assert dots(drawn) == 7
    assert "rows: few, many" in drawn.alt
    assert "6 to 20 sessions on average" in drawn.title


def test_the_toe_is_drawn_in_true_proportion_with_the_librarys_ridge():
    used = PLANE.edges["used"]
    places = ek.placed_by_curvature(used, 12)
    drawn = lesson.toe_flats(used, places, "closer at the toe")
    assert drawn.numbers["ridge_um"] == ek.facets(used, places).ridge_um
    near = (np.asarray(places) >= used.length_mm - 1.3).sum()
    assert drawn.numbers["at_toe"] == near
    x, y = (
        [
            float(v)
            for v in re.search(rf"{name} axis: [^,]*, (\S+) to ([^;.]+\.?\d*)", drawn.alt).groups()
        ]
        for name in "xy"
    )
    height = float(re.search(r'viewBox="0 0 480 ([\d.]+)"', drawn.svg)[1])
    wide, tall = 480 - 72 - 22, height - 12 - 46
    assert wide / (x[1] - x[0]) == pytest.approx(tall / (y[1] - y[0]), rel=0.02)


def test_the_edge_line_says_the_teeth_of_the_finish():
    stroke = ek.methods.freehand().using(ek.diamond_plated_stone(), ek.Oblique(angle_deg=90))
    made = ek.finish(PLANE.edges["used"].stretch(2.5, 3.5), stroke, rng=5)
    drawn = lesson.edge_line(made, "Across", half_um=0.9)
    assert drawn.numbers["teeth_per_mm"] == made.teeth_per_mm
    low, high = made.teeth_range_per_mm
    assert f"{made.teeth_per_mm:.0f} teeth per mm (80 % range {low:.0f} to {high:.0f})" in drawn.alt
    assert "-0.9 to 0.9" in drawn.alt


def test_a_tray_shows_one_dashed_line_for_each_setting_and_one_row_for_each_edge(tray):
    plan = ek.plan_bench(tray, tolerance_deg=4)
    drawn = lesson.tray_settings(plan, "Within 4°")
    assert len(dashed(drawn, "6 4")) == drawn.numbers["settings"] == len(plan.settings)
    assert len(re.search(r"rows: (.*?)\.", drawn.alt)[1].split(", ")) == len(plan.requirements)
    wider = lesson.tray_settings(ek.plan_bench(tray, tolerance_deg=6), "Within 6°")
    assert wider.alt.split("x axis")[1] == drawn.alt.split("x axis")[1]


def test_readings_are_dots_and_the_limit_is_the_forecasts(log):
    axes = set()
    for share in (0.1, 0.2):
        result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=share))
        live = result.table[result.table["status"] == "in use"].iloc[0]
        drawn = lesson.readings(result, live.instrument, live.edge, f"Limit {share}")
        assert dots(drawn) == live.readings
        assert drawn.numbers["limit_mm"] == live.limit_mm
        gone = result.table.query("status == 'in use' and width_mm <= limit_mm")
        assert drawn.numbers["edges_at_limit"] == len(gone)
        axes.add(drawn.alt.split("x axis")[1])
    assert len(axes) == 1


@pytest.mark.parametrize("step", [0.01, 0.05, 0.2])
def test_a_coarse_caliper_reads_whole_steps_and_changes_nothing_else(log, step):
    coarse = lesson.coarser(log, step).rows
    steps = coarse["width_mm"].dropna() / step
    assert np.allclose(steps, steps.round())
    assert np.abs(coarse["width_mm"] - log.rows["width_mm"]).max() <= step / 2 + 1e-9
    others = [name for name in coarse if name != "width_mm"]
    assert coarse[others].equals(log.rows[others])
    with pytest.raises(ek.BadArgument, match="step_mm"):
        lesson.coarser(log, 0)


def test_readings_beside_a_better_caliper_count_what_the_list_names_wrongly(log):
    rule = ek.MaxWidthLoss(fraction=0.2)
    fine, rough = (ek.forecast(one, retire=rule) for one in (log, lesson.coarser(log, 0.2)))
    lists = []
    for result in (fine, rough):
        rows = result.table.query("status == 'in use' and sessions_left_low < 1")
        lists.append(rows[["instrument", "edge"]].apply(tuple, axis=1).tolist())
    live = fine.table.query("status == 'in use'").iloc[0]
    drawn = lesson.readings(rough, live.instrument, live.edge, "Read to 0.2 mm", beside=fine)
    wrong = [edge for edge in lists[1] if edge not in lists[0]]
    missed = [edge for edge in lists[0] if edge not in lists[1]]
    assert (drawn.numbers["wrong"], drawn.numbers["missed"]) == (len(wrong), len(missed))
    assert wrong
    assert f"{len(lists[1])} edges on the list, {len(wrong)} of them wrongly" in drawn.title
    same = lesson.readings(fine, live.instrument, live.edge, "Read to 0.001 mm", beside=fine)
    assert (same.numbers["wrong"], same.numbers["missed"]) == (0, 0)


def test_a_holder_that_must_be_as_exact_as_it_is_leaves_the_tray_to_the_hand(tray):
    """Half a degree of the holder's own is taken off both ends: at 0.5° next to nothing is left."""
    whole = sum(edge.length_mm for blade in tray.values() for edge in blade.edges.values())
    drawn = lesson.tray_settings(ek.plan_bench(tray, tolerance_deg=0.5), "Within 0.5°")
    assert drawn.numbers["edges_mm"] == pytest.approx(whole)
    assert drawn.numbers["hand_mm"] > 0.9 * whole
    assert f"of {whole:.0f} mm left to the hand" in drawn.title


def test_a_picture_of_the_library_keeps_its_words_at_twice_the_pixels():
    ax = ek.figures.section(PLANE)
    text = lesson.shown(ax)._repr_html_()
    assert re.search(r'alt="Cross-section[^"]{40,}"', text)
    width = int(re.search(r'width="(\d+)"', text)[1])
    assert width == ek.figures.picture(ek.figures.section(PLANE)).width_px
    data = re.search(r"base64,([^\"]*)", text)[1]
    head = base64.b64decode(data[:64])
    assert int.from_bytes(head[16:20], "big") == 2 * width  # the PNG standard: width at byte 16
