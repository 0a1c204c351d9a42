"""Face or sides: the closed form of the tie, the ideal case, mixtures, and what the hand adds."""

import math
from dataclasses import replace

import numpy as np
import pytest

import edgekit as ek
from edgekit.study.face_or_sides import RULES, crossover, ideal_sessions

EXACT = 1e-9
UNIVERSAL, AREA = ek.patterns.universal_curette(), ek.patterns.area_specific_curette()
SICKLE = ek.patterns.straight_sickle()


# A face lowered by r(1 + cosβ) against a side ground back r cot(β/2): the first is sinβ times the
# second, and takes cosβ of the width that both sides take (derived identities of the trade's text).
@pytest.mark.parametrize("beta", [60.0, 75.0, 85.0])
def test_the_face_costs_the_sine_in_thickness_and_the_cosine_in_width(beta):
    blade = ek.patterns.universal_curette(internal_angle_deg=beta, thickness_mm=0.6)
    table = ideal_sessions(blade, face_share=[0.0, 1.0], dull_radius_um=4.0)
    side = 4.0 / math.tan(math.radians(beta / 2))
    assert table["width_um"][0] == pytest.approx(2 * side, rel=EXACT)
    assert table["thickness_um"][1] == pytest.approx(math.sin(math.radians(beta)) * side, rel=EXACT)
    ratio = table["width_um"][1] / table["width_um"][0]
    assert ratio == pytest.approx(math.cos(math.radians(beta)), rel=EXACT)
    dulled = ek.dull_edge(beta, 4.0)
    assert table["thickness_um"][1] == pytest.approx(float(dulled.lateral_depth_um), rel=EXACT)


@pytest.mark.parametrize("make", [ek.patterns.universal_curette, ek.patterns.area_specific_curette])
@pytest.mark.parametrize("radius", [2.0, 6.0])
def test_at_the_tie_width_and_thickness_run_out_together(make, radius):
    first = crossover(make())
    limits = {"width_fraction": 0.15, "thickness_fraction": 0.15 * first.tie / 0.8256}
    tied = crossover(make(), **limits)
    near = {**limits, "thickness_fraction": 0.15 * first.tie / tied.thickness_over_width}
    at = crossover(make(), **near)
    assert at.tie == pytest.approx(at.thickness_over_width, rel=EXACT)
    table = ideal_sessions(make(), face_share=[0.0, 1.0], dull_radius_um=radius, **near)
    # The width rule measures from the new width; the pattern's own lies within half a per cent.
    assert table["by_thickness"][1] == pytest.approx(table["by_width"][0], rel=6e-3)


def test_two_edges_favour_the_face_and_one_edge_the_sides():
    assert crossover(UNIVERSAL).face_lasts_longer
    assert not crossover(AREA).face_lasts_longer
    assert crossover(UNIVERSAL).tie == pytest.approx(crossover(AREA).tie / 2)


def test_a_mixture_can_outlast_both_where_two_limits_bind():
    table = ideal_sessions(AREA, face_share=np.linspace(0, 1, 11), dull_radius_um=4.0)
    ends = max(table["sessions"].iloc[0], table["sessions"].iloc[-1])
    assert table["sessions"].max() > ends
    assert 0 < table["face_share"].iloc[int(np.argmax(table["sessions"]))] < 1


def test_ideal_sessions_go_as_one_over_the_dullness():
    one, two = (ideal_sessions(UNIVERSAL, face_share=[0, 0.5, 1], dull_radius_um=r) for r in (3, 6))
    for name in ("by_width", "by_strength"):
        # Strength is read straight between whole sessions.
        assert two[name].to_numpy() == pytest.approx(one[name].to_numpy() / 2, rel=0.01)


@pytest.mark.parametrize("radius", [0.3, 2.4, 10.0])
def test_looking_at_few_sessions_first_changes_no_ideal_life(radius, monkeypatch):
    given = {"face_share": [0.0, 0.5, 1.0], "dull_radius_um": radius}
    found = ideal_sessions(UNIVERSAL, **given)
    monkeypatch.setattr("edgekit.study.face_or_sides.FEW_IDEAL", 400)
    assert ideal_sessions(UNIVERSAL, **given).equals(found)
    assert bool(found["by_strength"].max() > 50) is (radius < 1)  # beyond the few, and within them


def test_a_pointed_blade_runs_out_of_width_not_of_strength():
    table = ideal_sessions(SICKLE, face_share=[0.0, 1.0], dull_radius_um=4.0)
    assert (table["by_strength"] > 4 * table["by_width"]).all()


def test_mixtures_repeat_their_pattern():
    side, face = ek.methods.held(15.0), ek.methods.face_honing()
    turns = ek.mixture(side, face, sides=2, faces=1)
    assert [turns.at(i) == face for i in range(6)] == [False, False, True] * 2
    assert ek.mixture(side, face, sides=1, faces=0).name == "sides only"
    assert ek.mixture(side, face, sides=0, faces=2).target is face.target


@pytest.fixture(scope="module")
def answer():
    return ek.face_or_sides(UNIVERSAL, runs=24, seed=5)


def test_the_answer_depends_on_the_seed_only(answer):
    again = ek.face_or_sides(UNIVERSAL, runs=24, seed=5)
    assert again.table.equals(answer.table)
    assert again.tilt_tie_deg == answer.tilt_tie_deg


@pytest.mark.parametrize("mixes", [((1, 0), (0, 1)), ((1, 1), (0, 1))])
def test_slants_meet_the_instruments_of_the_sides_whichever_mixture_comes_first(mixes):
    given = {"runs": 5, "seed": 3, "tilts_deg": (0.0, 1.0, 8.0)}
    one = ek.face_or_sides(UNIVERSAL, mixes=mixes, **given)
    best = ek.best_setting(UNIVERSAL.edges["left"])
    side = ek.methods.held(best, stop=ek.strokes.until_clear())
    alone = ek.compare(UNIVERSAL, [side], runs=5, seed=3, retire=RULES, grid_runs=0).lives[0]
    faces = one.by_tilt.set_index("tilt_sd_deg")["sessions_p50"]
    assert faces.index.tolist() == [0.0, 1.0, 8.0]
    assert one.tilt_tie_deg == pytest.approx(
        _meet(UNIVERSAL, alone.sessions.mean(), given["tilts_deg"])
    )
    assert len(ek.face_or_sides(UNIVERSAL, mixes=mixes, runs=2, seed=3, tilts_deg=()).by_tilt) == 0


def _meet(blade, sides, tilts):
    """The slant at which lives on the face, one method at a time, are as long as on the sides."""
    face, long = ek.methods.face_honing(), []
    for tilt in tilts:
        hand = replace(face.hand, tilt_deg=ek.ErrorTerm(session_sd=tilt))
        one = [replace(face, hand=hand)]
        done = ek.compare(blade, one, runs=5, seed=3, retire=RULES, grid_runs=0)
        long.append(done.lives[0].sessions.mean())
    return float(np.interp(-sides, -np.array(long), tilts))


def test_a_slanted_stone_costs_sessions(answer):
    middle = answer.by_tilt["sessions_p50"].to_numpy()
    assert middle[0] > middle[-1]
    assert (np.diff(answer.by_tilt["sessions_p90"]) <= 0).all()


def test_face_takes_thickness_and_sides_take_width(answer):
    table = answer.table
    assert table["thickness_lost_um"].iloc[0] == 0
    assert (np.diff(table["thickness_lost_um"]) > 0).all()
    assert table["width_lost_um"].iloc[0] > table["width_lost_um"].iloc[-1]
    assert table["strength_left"].between(0.4, 1).all()


def test_errors_of_the_hand_cost_sessions(answer):
    ideal = np.interp(
        answer.table["face_share"], answer.ideal["face_share"], answer.ideal["sessions"]
    )
    assert (answer.table["sessions_p50"].to_numpy() < ideal).all()


def test_the_unused_edge_comes_in_as_the_face_goes_down():
    """2 d cotβ, both edges, by trigonometry; a steady hand, as pitch would vary the drop d."""
    steady = replace(ek.methods.face_honing(), hand=ek.Hand())
    life = ek.live(AREA, steady, rng=np.random.default_rng(1))
    width, thickness = life.history[["mean_width_um", "thickness_um"]].iloc[-1]
    assert width == pytest.approx(2 * thickness / math.tan(math.radians(75)), rel=1e-9)


def test_the_finding_says_its_numbers(answer):
    assert f"{answer.table['sessions_p50'].iloc[0]:.0f} sessions" in answer.finding
    assert "thickness over width" in answer.finding


def test_the_caption_says_what_the_limit_by_strength_makes_of_both(answer):
    caption = ek.figures.picture(ek.figures.face_or_sides(answer)).caption
    sides, face = answer.ideal["sessions"].iloc[[0, -1]]
    assert f"as well: sides {sides:.0f} sessions, face {face:.0f}." in caption
