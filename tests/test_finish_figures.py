"""Figures of finish and strength draw the numbers of their results and say them in words."""

import numpy as np
import pytest

import edgekit as ek

EXACT = 1e-9  # a figure may only copy the numbers
F = ek.figures
BLADE = ek.patterns.universal_curette()
EDGE = BLADE.edges["left"]
FINISH = ek.finish(
    EDGE, ek.methods.freehand().using(ek.diamond_plated_stone()), rng=np.random.default_rng(1)
)
BLUNTED = ek.blunting(FINISH)
MIXED = ek.face_or_sides(BLADE, runs=6, seed=2)


def test_lay_is_drawn_as_degrees_off_the_edge():
    slanting = ek.lay(EDGE, ek.StraightStroke(direction=[1, 0.3, 0]))
    line = F.lay({"slanting": slanting}).lines[0]
    assert line.get_ydata() == pytest.approx(slanting.off_edge_deg, abs=EXACT)
    assert line.get_xdata() == pytest.approx(slanting.arc_mm, abs=EXACT)


def test_the_edge_line_is_a_piece_of_the_profile():
    x, z = F.edge_line({"across": FINISH}, window_um=150).lines[0].get_data()
    assert x[-1] - x[0] <= 150
    heights = FINISH.profile.z_um
    start = int(np.argmin(np.abs(FINISH.profile.x_um - (FINISH.profile.x_um[-1] - 150) / 2)))
    gap = z - heights[start : start + len(z)]
    assert np.ptp(gap) < 1e-6 or np.ptp(z - heights[start + 1 : start + 1 + len(z)]) < 1e-6


def test_the_edge_line_says_which_stones_cannot_be_told_apart():
    def by(stone):
        return ek.finish(EDGE, ek.methods.freehand().using(stone, ek.across_edge()), rng=1)

    fine, coarse = by(ek.fine_natural_stone()), by(ek.diamond_plated_stone())
    caption = F.picture(F.edge_line({"a": fine, "b": by(ek.ceramic_stone()), "c": coarse})).caption
    assert caption.count("cannot be told apart") == 2
    assert fine.told_apart(coarse) in caption
    assert "told apart" not in F.picture(F.edge_line({"a": FINISH})).caption


def test_teeth_and_strokes_draws_the_bearing_share():
    lines = F.teeth_and_strokes(BLUNTED).lines
    for line, case in zip(lines, BLUNTED.cases, strict=True):
        assert line.get_ydata() == pytest.approx(case.bearing, abs=EXACT)
    words = F.alt_text(F.teeth_and_strokes(BLUNTED))
    assert f"level after {BLUNTED.cases[2].level_after():.2g} strokes" in words
    assert "sinks in" in words


def test_strength_draws_both_directions_worn_and_new():
    result = ek.strength(ek.WornBlade.from_recession(BLADE, 40), load_n=5)
    ax = F.strength(result)
    drawn = [line.get_ydata() for line in ax.lines[:4]]
    for have, want in zip(
        drawn,
        (result.stress_mpa[0], result.new_mpa[0], result.stress_mpa[1], result.new_mpa[1]),
        strict=True,
    ):
        assert have == pytest.approx(want, abs=EXACT)
    assert f"{float(result.strength_left):.0%}" in F.alt_text(ax)


def test_strength_and_width_start_at_one_and_end_as_the_life_did():
    life = ek.live(BLADE, ek.methods.held(15.0), rng=np.random.default_rng(1))
    ax = F.strength_and_width({"held": life})
    strength, width = (line.get_ydata() for line in ax.lines[:2])
    assert strength[0] == width[0] == 1
    assert strength[1:] == pytest.approx(life.strength_left, abs=EXACT)
    assert width[-1] == pytest.approx(life.history["width_mm"].iloc[-1] / BLADE.width_mm)


def test_the_section_of_a_worn_blade_lies_inside_the_new_one():
    worn = ek.strength(ek.WornBlade.from_recession(BLADE, 40, face_um=50), load_n=5)
    x, y = F.worn_section({"both": worn}).lines[0].get_data()
    new = worn.new_section_mm
    assert x.min() > new[:, 0].min()
    assert x.max() < new[:, 0].max()
    assert y.max() == pytest.approx(-0.05)


def test_face_or_sides_draws_the_medians_and_the_tie():
    ax = F.face_or_sides(MIXED)
    middle = ax.containers[0].lines[0].get_ydata()
    assert middle == pytest.approx(MIXED.table["sessions_p50"], abs=EXACT)
    assert "the tie at 0.48" in F.picture(ax).caption


@pytest.mark.parametrize("draw", [F.edge_line, F.worn_section, F.strength_and_width, F.lay])
def test_nothing_to_draw_is_refused(draw):
    with pytest.raises(ek.EdgekitError, match="to draw"):
        draw({})
