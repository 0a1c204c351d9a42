"""Formulas and limits of use, dulling and lives of which a change once left every test green.

By public calls alone, so that how a life is computed may change.
"""

import dataclasses
import math
import re

import numpy as np
import pytest

import edgekit as ek
from edgekit.evidence_table import value
from edgekit.geometry.section import RoundBack
from edgekit.grinding.random_streams import RunStreams, SeededKeys
from edgekit.life import worn_file
from edgekit.life.dulling import PowerDulling, SaturatingDulling, strokes_until
from edgekit.life.life import live_runs
from edgekit.life.retire import DEFAULT_RULES, WidthLoss
from edgekit.method.strokes import Advance
from tests.wear_blades import (
    constant,
    ideal,
    steady,
    straight_blade,
    touching,
)

EXACT = 1e-9
STRAIGHT = straight_blade()
AREA, UNIVERSAL = ek.patterns.area_specific_curette(), ek.patterns.universal_curette()
RATE = 0.43  # µm² a stroke of the square-root law


def lived(blade=STRAIGHT, method=None, **options):
    usual = {"rng": 1, "stations": 24, "depths": 5, "max_sessions": 2}
    return ek.live(blade, ideal(3) if method is None else method, **(usual | options))


def runs_of(number=3, blade=STRAIGHT, method=None, **options):
    usual = {"use": constant(blade), "rules": DEFAULT_RULES, "stations": 12, "depths": 4}
    usual |= {"rngs": SeededKeys(1, runs=number), "max_sessions": 2}
    return live_runs(blade, ideal(3) if method is None else method, **(usual | options))


def law(exponent=0.5, rate=RATE):
    return ek.PowerDulling(rate=rate, exponent=exponent)


def touches(worn, name, before_um):
    """How many of the law's strokes each station of a 75° edge has met, by r² = r₀² + c n."""
    return (worn.radius_um(name) ** 2 - before_um**2) / RATE


# ---- laws -----------------------------------------------------------------------------------


def test_laws_take_what_they_may():
    assert ek.PowerDulling(rate=0.0).rate == 0.0
    assert ek.PowerDulling(rate=0.4, exponent=4.99).exponent == 4.99
    assert ek.PowerDulling(exponent=0.01).exponent == 0.01
    for wrong in (0.0, 5.0, 5.5, -0.1):
        with pytest.raises(ek.BadArgument, match="exponent"):
            ek.PowerDulling(exponent=wrong)
        with pytest.raises(ek.BadArgument, match="exponent"):
            ek.PowerDulling.through(radius_um=4, strokes=9, sharp_radius_um=1, exponent=wrong)
    from_sharp = ek.PowerDulling.through(
        radius_um=4.0, strokes=32.0, sharp_radius_um=0.0, exponent=0.5
    )
    assert from_sharp.rate == pytest.approx(0.5)
    wide = ek.PowerDulling.through(radius_um=2.0, strokes=4, sharp_radius_um=0.5, exponent=4.5)
    assert wide.after(0.5, 4) == pytest.approx(2.0)
    assert float(ek.PowerDulling(rate=0.43).after(0.0, 0.5)) == pytest.approx(math.sqrt(0.215))
    assert ek.dull_edge(75, 0.0).edge_width_um == 0.0
    assert float(ek.dull_edge(75, 0.5).edge_width_um) == pytest.approx(math.cos(math.radians(37.5)))


def test_a_table_needs_two_rising_rows_and_begins_at_once():
    table = ek.TableDulling(strokes=[0, 10], radius_um=[1.0, 3.0])
    assert float(table.after(1.0, 0.5)) == pytest.approx(1.1)
    assert float(table.after(0.6, 5)) == pytest.approx(1.6)  # the first line goes on below
    radii = np.random.default_rng(1).uniform(0.5, 7.0, 60)
    uneven = ek.TableDulling(strokes=[0.3, 7.7, 19.1], radius_um=[1.1, 2.7, 4.9])
    assert (uneven.after(radii, 0.0) == radii).all()
    for strokes, radius in (
        ([0], [1.0]),
        ([0, 0], [1.0, 2.0]),
        ([0, 5], [2.0, 2.0]),
        ([0, 5, 9], [1.0, 2.0, 1.5]),
        ([0, 9, 5], [1.0, 2.0, 3.0]),
    ):
        with pytest.raises(ek.BadArgument, match="must both rise"):
            ek.TableDulling(strokes=strokes, radius_um=radius)


# ---- where strokes fall ---------------------------------------------------------------------


def laid_down(density, length, contact, cells):
    """Strokes centred at 1,500 even places, each spread over what it touches: one by one."""
    shares = np.zeros(len(cells) - 1)
    total = 0.0
    for k in range(1500):
        place = (k + 0.5) / 1500
        often = float(density.centres(np.array([place]))[0])
        low, high = (
            max(place * length - contact / 2, 0.0),
            min(place * length + contact / 2, length),
        )
        for i in range(len(shares)):
            shared = min(cells[i + 1], high) - max(cells[i], low)
            shares[i] += often * max(shared, 0.0) / (high - low)
        total += often
    return shares / total / np.diff(cells)


@pytest.mark.parametrize("contact", [0.7, 2.0, 30.0])
@pytest.mark.parametrize("density", [ek.laws.ToeThird(share=0.6), ek.laws.EvenUse()], ids=str)
def test_strokes_are_spread_over_what_they_touch(density, contact):
    use = ek.Use(strokes=40.0, law=law(), density=density, contact_mm=contact)
    new = ek.WornBlade.new(STRAIGHT, stations=8, depths=3)
    length = STRAIGHT.edges["used"].length_mm
    step = length / 7
    cells = np.concatenate([[0.0], (np.arange(7) + 0.5) * step, [length]])
    wanted = 40.0 * value("use_contact_mm") * laid_down(density, length, contact, cells)
    found = touches(ek.use(new, use), "used", new.fresh_radius_um)
    assert found == pytest.approx(wanted, rel=EXACT)


def test_the_toe_third_begins_past_two_thirds():
    density = ek.laws.ToeThird(share=0.6)
    places = np.array([0.0, 0.66, 2 / 3, 0.67, 1.0])
    assert density.centres(places).tolist() == pytest.approx([0.6, 0.6, 0.6, 1.8, 1.8])
    assert ek.laws.EvenUse().centres(places).tolist() == [1.0] * 5


@dataclasses.dataclass(frozen=True)
class Levels:
    """A level towards the heel, another towards the toe."""

    heel: float
    toe: float

    def centres(self, place):
        return np.where(place < 0.5, self.heel, self.toe)


def test_a_density_may_be_nothing_somewhere_and_small_everywhere():
    new = ek.WornBlade.new(STRAIGHT, stations=9, depths=3)

    def met(density):
        return touches(ek.use(new, ek.Use(density=density)), "used", new.fresh_radius_um)

    small, large = met(Levels(1e-4, 3e-4)), met(Levels(2.0, 6.0))
    assert small == pytest.approx(large)
    assert met(Levels(0.0, 1.0))[0] == pytest.approx(0.0, abs=EXACT)
    for wrong in (Levels(0.0, 0.0), Levels(-0.1, 1.0), Levels(1.0, np.inf), Levels(np.nan, 1.0)):
        with pytest.raises(ek.BadArgument, match="0 or more for every place"):
            met(wrong)


# ---- use ------------------------------------------------------------------------------------


def test_a_use_takes_what_it_may():
    idle = ek.Use(
        strokes=0.0,
        sharp_radius_um=0.0,
        patch_cv=0.0,
        attrition_um=0.0,
        useful_radius_um=0.0,
        sharp_radius_gsd=1.0,
        severity_gsd=1.0,
    )
    assert (idle.strokes, idle.useful_radius_um, idle.severity_gsd) == (0.0, 0.0, 1.0)
    half = dict.fromkeys(("strokes", "sharp_radius_um", "patch_cv", "attrition_um"), 0.5)
    assert ek.Use(**half).strokes == 0.5
    for name in (*half, "useful_radius_um"):
        with pytest.raises(ek.BadArgument, match=name):
            ek.Use(**{name: -0.01})
    for name in ("sharp_radius_gsd", "severity_gsd"):
        with pytest.raises(ek.BadArgument, match=name):
            ek.Use(**{name: 0.99})
    with pytest.raises(ek.BadArgument, match="use must be 0 or more"):
        ek.use(STRAIGHT, -0.1)


@pytest.mark.parametrize("seed", [3, 4])
def test_an_instrument_dulls_as_fast_as_its_numbers_say(seed):
    effects, draws = RunStreams.of(seed).session(0, edges=1, seatings=1)
    use = touching(STRAIGHT, 40.0, law=law(), severity_gsd=1.7)
    new = ek.WornBlade.new(STRAIGHT, stations=32, depths=3)
    found = touches(ek.use(new, use, rng=seed), "used", new.fresh_radius_um)
    assert found == pytest.approx(40.0 * 1.7 ** effects.severity[0])
    # Sixteen patches of two stations, log-normal with a spread of 0.8 of the mean before they are
    # made to add up to as many strokes.
    patchy = ek.use(new, dataclasses.replace(use, patch_cv=0.8), rng=seed)
    often = np.repeat(np.exp(math.sqrt(math.log(1.64)) * draws.patches[0, 0]), 2)
    share = np.full(32, 1 / 31)
    share[[0, -1]] /= 2
    often /= share @ often
    spread = touches(patchy, "used", new.fresh_radius_um)
    assert spread == pytest.approx(40.0 * 1.7 ** effects.severity[0] * often)


def test_stations_that_fill_no_patches_evenly_have_the_last_ones_too():
    use = touching(STRAIGHT, 40.0, law=law(), patch_cv=0.8, severity_gsd=1.0)
    new = ek.WornBlade.new(STRAIGHT, stations=20, depths=3)
    _, draws = RunStreams.of(5).session(0, edges=1, seatings=1)
    patch = [math.floor(i * 16 / 20) for i in range(20)]
    often = np.exp(math.sqrt(math.log(1.64)) * draws.patches[0, 0, patch])
    found = touches(ek.use(new, use, rng=5), "used", new.fresh_radius_um)
    assert found / found[3] == pytest.approx(often / often[3])


def test_a_freshly_ground_edge_has_the_radius_of_its_instrument():
    effects, _ = RunStreams.of(2).session(0, edges=1, seatings=1)
    use = ek.Use(sharp_radius_um=1.4, sharp_radius_gsd=1.6)
    life = lived(use=use, rng=2)
    fresh = 1.4 * 1.6 ** effects.sharp_radius[0]
    assert life.start.fresh_radius_um == pytest.approx(fresh)
    assert life.start.radius_um("used") == pytest.approx(fresh)
    assert life.after[0].radius_um("used") == pytest.approx(fresh)


@pytest.mark.parametrize("beta", [60.0, 85.0])
def test_another_wedge_loses_as_much_steel(beta):
    blade = straight_blade(beta_deg=beta, thickness_mm=0.6)
    new = ek.WornBlade.new(blade, radius_um=2.0, stations=5, depths=3)
    worn = ek.use(new, touching(blade, 30.0, law=law())).radius_um("used")
    area = [ek.dull_edge(angle, 1.0).worn_area_um2 for angle in (beta, 75.0)]
    assert area[0] * (worn**2 - 4.0) == pytest.approx(area[1] * RATE * 30.0)


def test_uses_add_up_and_attrition_takes_its_width():
    new = ek.WornBlade.new(AREA, stations=16, depths=4)
    use = ek.Use(strokes=45.0, attrition_um=2.5)
    worn = ek.use(ek.use(new, use), 30)
    assert (worn.use_strokes, worn.sessions) == (75.0, 0)
    assert worn.recession_um("used") == pytest.approx(2.5)
    angle = worn.internal_angle_deg("used")
    assert worn.land_um("used") == pytest.approx(
        2 * worn.radius_um("used") * np.cos(np.radians(angle / 2))
    )
    life = lived(AREA, ideal(40), use=use)
    assert [w.use_strokes for w in (life.start, *life.after)] == [0.0, 45.0, 90.0]
    assert [w.sessions for w in (life.start, *life.after)] == [0, 1, 2]


def until(limit, start, strokes, rate):
    """Strokes of `strokes` until a radius that grows by r² = r₀² + c n passes a limit."""
    return min((limit**2 - start**2) / rate, strokes)


@pytest.mark.parametrize("limit", [1.0, 1.5, 2.2, 3.7, 9.0])
@pytest.mark.parametrize("blade", [STRAIGHT, ek.patterns.straight_sickle()], ids=["one", "two"])
def test_useful_strokes_end_where_the_radius_passes_its_limit(blade, limit):
    use = touching(
        blade,
        40.0,
        law=law(),
        useful_radius_um=limit,
        sharp_radius_um=1.2,
        sharp_radius_gsd=1.0,
        severity_gsd=1.8,
    )
    severity = 1.8 ** RunStreams.of(6).session(0, edges=1, seatings=1)[0].severity[0]
    life = lived(blade, ideal(30), use=use, rng=6, max_sessions=1)
    found = life.history["useful_strokes"][0] / use.strokes
    share = until(limit, 1.2, 40.0, RATE * severity) / 40.0
    assert found == pytest.approx(share if limit > 1.2 else 0.0, rel=1e-6)


@pytest.mark.parametrize("beta", [60.0, 85.0])
def test_useful_strokes_of_another_wedge_end_at_the_same_radius(beta):
    blade = straight_blade(beta_deg=beta, thickness_mm=0.6)
    area = [float(ek.dull_edge(angle, 1.0).worn_area_um2) for angle in (beta, 75.0)]
    size = math.sqrt(area[0] / area[1])  # of the usual wedge's radius that lacks as much
    use = touching(
        blade,
        40.0,
        law=law(),
        useful_radius_um=2.2,
        sharp_radius_um=1.2,
        sharp_radius_gsd=1.0,
        severity_gsd=1.0,
    )
    life = lived(blade, use=use, max_sessions=1)
    share = until(2.2 * size, 1.2 * size, 40.0, RATE) / 40.0
    assert life.history["useful_strokes"][0] / use.strokes == pytest.approx(share, rel=1e-6)


@dataclasses.dataclass(frozen=True)
class Own:
    """A law of one's own, which says what another says but not when a limit is reached."""

    law: object

    def after(self, radius_um, strokes):
        return self.law.after(radius_um, strokes)


@pytest.mark.parametrize("limit", [1.0, 1.5, 2.2, 3.7, 9.0])
@pytest.mark.parametrize(
    "known",
    [
        PowerDulling(rate=0.5, exponent=0.3),
        SaturatingDulling(limit_um=4.0, strokes=30),
        SaturatingDulling(limit_um=2.2, strokes=30),
    ],
)
def test_useful_strokes_of_ones_own_law_are_those_of_the_same_law(known, limit):
    """Between 32 steps a radius of one's own grows evenly; known laws say when a limit is met."""
    found = []
    for law in (known, Own(known)):
        use = ek.Use(law=law, useful_radius_um=limit, sharp_radius_um=1.2)
        found.append(lived(use=use, rng=6, max_sessions=1).history["useful_strokes"][0])
    assert found[0] == pytest.approx(found[1], abs=0.005 * use.strokes)
    strokes = strokes_until(known, np.array([1.2, 9.5]), limit)
    assert strokes[1] == 0
    if limit > 1.2 and np.isfinite(strokes[0]):
        assert known.after(1.2, strokes[0]) == pytest.approx(limit)


def test_of_strokes_that_dull_nothing_all_are_useful_below_the_limit():
    use = dataclasses.replace(
        constant(STRAIGHT), law=law(rate=0.0), sharp_radius_um=1.2, useful_radius_um=1.3
    )
    for limit, share in ((1.3, 1.0), (1.1, 0.0)):
        life = lived(use=dataclasses.replace(use, useful_radius_um=limit), max_sessions=1)
        assert life.history["useful_strokes"][0] == pytest.approx(share * use.strokes)


# ---- lives ----------------------------------------------------------------------------------


def test_lives_that_no_rule_ends_say_so_run_by_run():
    lives = runs_of(3, max_sessions=2)
    assert lives.ended_by.tolist() == [-1, -1, -1]
    assert lives.sessions.tolist() == [2, 2, 2]
    assert repr(lives) == f"3 lives of {STRAIGHT.name}, ideal: median 2 sessions"


def test_the_rule_used_up_most_ends_a_life_and_ties_go_to_the_first():
    class Share:
        """A share of what may go, by number of sessions."""

        def __init__(self, each):
            self.each = each

        def used_up(self, lost):
            return self.each * lost.sessions

        def __str__(self):
            return f"{self.each}"

    lives = runs_of(2, rules=(Share(0.25), Share(0.5), Share(0.5)), max_sessions=9)
    assert lives.sessions.tolist() == [2, 2]  # at 1 exactly
    assert lives.ended_by.tolist() == [1, 1]
    assert lives.last("used_up") == pytest.approx(1.0)
    assert lives.mean("used_up") == pytest.approx(0.75)
    assert lived(retire=Share(0.51), max_sessions=9).sessions == 2


def test_as_many_lives_are_recorded_as_asked_and_as_there_are():
    for asked, kept in ((None, 3), (0, 0), (2, 2), (3, 3), (5, 3)):
        lives = runs_of(3, histories=asked)
        assert lives.tracks["mean_width_um"].shape == (kept, 2 if kept else 0)
        assert lives.final["mean_width_um"].shape == (3,)


def test_lives_take_what_they_may():
    assert runs_of(1, keep=True).states[0][0].radius_um.shape == (1, 12)
    with pytest.raises(ek.BadArgument, match="of a single run only"):
        runs_of(2, keep=True)
    for wrong in (np.int64, "float64", float, 64):
        with pytest.raises(ek.BadArgument, match="no such precision"):
            runs_of(1, precision=wrong)
    limit = ek.MaxWidthLoss(fraction=0.02)  # of 0.86 mm
    most = lived(max_sessions=100_000, retire=limit, use=constant(STRAIGHT))
    each = math.sqrt(RATE * 45) / math.tan(math.radians(37.5))
    assert most.sessions == math.ceil(17.2 / each) == 4
    with pytest.raises(ek.BadArgument, match="max_sessions must be 100,000 or less"):
        lived(max_sessions=100_001)
    assert lived(stations=2, depths=3).history["mean_width_um"].iloc[-1] > 0
    for wrong in ({"stations": 1}, {"depths": 2}):
        with pytest.raises(ek.BadArgument, match=next(iter(wrong))):
            lived(**wrong)


def test_single_precision_is_that_of_the_fields():
    runs = [runs_of(1, keep=True, precision=kind) for kind in (np.float64, np.float32)]
    assert [r.states[-1][0].inset_mm.dtype for r in runs] == [np.float64, np.float32]
    assert [r.grids[0].arc_mm.dtype for r in runs] == [np.float64, np.float64]
    assert [r.grids[0].position.dtype for r in runs] == [np.float64, np.float32]


def test_sessions_of_a_life_are_counted_from_one():
    life = lived(max_sessions=3)
    assert life.worn(0) is life.start
    assert [life.worn(k) is life.after[k - 1] for k in (1, 2, 3)] == [True] * 3
    with pytest.raises(ek.BadArgument, match="past the end"):
        life.worn(4)
    with pytest.raises(ek.BadArgument, match="session"):
        life.worn(-1)
    long = lived(max_sessions=6)
    rows = re.findall(r"<td>(\d+)</td>\s*<td>0\.", long._repr_html_())
    assert rows == ["4", "5", "6"]


def test_a_session_that_takes_something_is_not_too_dull_however_far_from_sharp():
    short = ideal(2, max_advance_um=1.0, advance=Advance.UNIFORM)
    life = lived(method=short, use=constant(STRAIGHT), max_sessions=3)
    assert life.sessions == 3
    assert (life.history["steel_mg"] > 0).all()
    assert (life.history["steel_mg"] < 1).all()
    assert (life.history["sharp_fraction"] < 0.5).all()


# ---- measures -------------------------------------------------------------------------------


def test_angle_errors_are_the_hands_on_a_planar_face():
    hand = ek.Hand(tilt_deg=ek.ErrorTerm(bias=3.0))
    row = lived(method=ideal(1, hand=hand), use=constant(STRAIGHT)).history.iloc[-1]
    assert row["angle_error_deg"] == pytest.approx(3.0)
    assert row["angle_rms_deg"] == pytest.approx(3.0)
    # One edge opened, the other closed by as much: none on average.
    sickle = ek.patterns.straight_sickle()
    lean = steady(ek.methods.face_honing(), fraction=1.0)
    lean = dataclasses.replace(lean, hand=hand)
    row = lived(sickle, lean, use=constant(sickle)).history.iloc[0]
    assert row["angle_error_deg"] == pytest.approx(0.0, abs=1e-6)
    assert 2.9 < row["angle_rms_deg"] < 3.0  # across the blade: a little less along the edges


def test_minutes_are_the_seconds_of_the_method():
    method = ideal(3, setup_seconds=30.0, mount_seconds=15.0, check_seconds=7.0)
    row = lived(method=method, use=constant(STRAIGHT)).history.iloc[0]
    seconds = row["stone_strokes"] * method.seconds_per_stroke + 30 + 15 + 7
    assert row["minutes"] == pytest.approx(seconds / 60)


def half_lowered(blade, pitch_deg=2.0):
    """A life of one session by which a stone pitched along the blade lowers a part of the face."""
    hand = ek.Hand(swing_deg=ek.ErrorTerm(bias=pitch_deg))
    method = steady(ek.methods.face_honing(), fraction=0.3)
    return lived(blade, dataclasses.replace(method, hand=hand), max_sessions=1, stations=64)


@pytest.mark.parametrize("blade", [AREA, UNIVERSAL, ek.patterns.hoe()], ids=lambda b: b.name)
def test_a_face_lowered_in_part_counts_where_it_is_lowered(blade):
    life = half_lowered(blade)
    worn, row = life.after[0], life.history.iloc[0]
    drops = [edge.drop_mm for edge in worn.edges.values()]
    assert (drops[0] == 0).any()
    assert (drops[0] > 0).any()
    lost, deepest = [], []
    for grid, edge in zip(worn.grids, worn.edges.values(), strict=True):
        inset = edge.drop_mm / math.tan(math.radians(blade.internal_angle_deg))
        assert worn.recession_um(grid.name) == pytest.approx(inset * 1000, abs=1e-6)
        lost.append(float(grid.side_weights @ inset))
        deepest.append(inset[grid.on_side].max())
    if blade.unused is not None:  # that moves in by as much
        lost, deepest = lost * 2, deepest * 2
    assert row["mean_width_um"] == pytest.approx(1000 * sum(lost))
    assert row["deepest_width_um"] == pytest.approx(1000 * sum(deepest))
    assert worn.width_mm == pytest.approx(blade.width_mm - sum(lost))
    assert row["width_mm"] == pytest.approx(worn.width_mm)
    assert row["thickness_um"] == pytest.approx(1000 * max(drop.mean() for drop in drops))


def test_thickness_is_that_of_the_edge_that_lost_more():
    hand = ek.Hand(tilt_deg=ek.ErrorTerm(bias=2.0))
    method = dataclasses.replace(steady(ek.methods.face_honing(), fraction=0.6), hand=hand)
    life = lived(UNIVERSAL, method, max_sessions=1)
    means = [1000 * edge.drop_mm.mean() for edge in life.after[0].edges.values()]
    assert max(means) > 1.5 * min(means)
    assert life.history["thickness_um"][0] == pytest.approx(max(means))


def test_a_blade_met_worn_is_judged_against_its_new_width():
    section = RoundBack(width_mm=1.0, thickness_mm=0.71, internal_angle_deg=75.0)
    narrow = dataclasses.replace(UNIVERSAL, section=section)
    worn = narrow.worn_width_mm
    assert worn == pytest.approx(1.0 - 0.86, abs=1e-3)
    for basis in ek.Basis:
        rule = ek.MaxWidthLoss(fraction=0.5, basis=basis)
        life = lived(narrow, use=constant(narrow), retire=rule, max_sessions=1)
        row, edges = life.history.iloc[0], life.after[0]
        lost = [edges.recession_um(name) for name in narrow.edges]
        on_side = [grid.on_side for grid in life.grids]
        weights = [grid.side_weights for grid in life.grids]
        wanted = {
            ek.Basis.MEAN: sum(float(w @ u) for w, u in zip(weights, lost, strict=True)),
            ek.Basis.DEEPEST: sum(u[s].max() for u, s in zip(lost, on_side, strict=True)),
            ek.Basis.CALIPER: sum(u[12] for u in lost),  # of 24
        }[basis]
        assert row[f"{basis.name.lower()}_width_um"] == pytest.approx(wanted)
        assert row["used_up"] == pytest.approx((worn + wanted / 1000) / 0.5, rel=1e-6)


# ---- rules ----------------------------------------------------------------------------------


def losses(**changes):
    arrays = {
        name: np.array([0.1, 0.2])
        for name in (
            "mean_width_mm",
            "deepest_width_mm",
            "caliper_width_mm",
            "length_mm",
            "thickness_mm",
        )
    }
    return WidthLoss(
        **(arrays | {"new_width_mm": 0.8, "new_length_mm": 6.0, "new_thickness_mm": 0.7} | changes)
    )


def test_rules_measure_shares_of_what_may_go():
    assert ek.MinWidth(width_mm=0.6).used_up(losses()) == pytest.approx([0.5, 1.0])
    assert ek.MinLength(fraction=0.9).used_up(losses()) == pytest.approx([1 / 6, 1 / 3])
    assert ek.MaxThicknessLoss(fraction=0.5).used_up(losses()) == pytest.approx([2 / 7, 4 / 7])
    left = losses(strength_left=np.array([0.95, 0.7]))
    assert ek.MinStrength(fraction=0.8).used_up(left) == pytest.approx([0.25, 1.5])
    with pytest.raises(ek.Cannot, match="strength was not measured"):
        ek.MinStrength(fraction=0.8).used_up(losses())
    first = np.array([800.0, 900.0])
    assert ek.MaxWidthLoss(fraction=0.25).limit_um(first) == pytest.approx([600.0, 675.0])
    assert ek.MinWidth(width_mm=0.65).limit_um(first) == pytest.approx([650.0, 650.0])


def test_rules_take_what_they_may():
    for wide in (0.8, 0.9):
        with pytest.raises(ek.Cannot, match=r"only 0\.8 mm wide"):
            ek.MinWidth(width_mm=wide).used_up(losses())
    for rule in (ek.MinLength, ek.MinStrength):
        assert rule(fraction=0.001).fraction == 0.001
        assert rule(fraction=0.999).fraction == 0.999
        for wrong in (0.0, 1.0, 1.5, -0.1):
            with pytest.raises(ek.BadArgument, match="fraction"):
                rule(fraction=wrong)


def test_the_rule_of_every_life_is_not_among_those_chosen():
    life = lived(retire=(ek.MaxWidthLoss(), ek.MinLength()))
    assert len(life.rules) == 3
    cited = life.cite()
    assert "20 % of the width gone (mean along the sides), only 75 % of the length left" in cited
    assert "too dull" not in cited


# ---- files ----------------------------------------------------------------------------------


def test_a_new_blade_goes_through_its_file(tmp_path):
    for fresh in (0.0, 0.5):
        new = ek.WornBlade.new(STRAIGHT, fresh_radius_um=fresh, stations=4, depths=3)
        new = ek.use(new, fresh)
        again = ek.read_worn(ek.write_worn(new, tmp_path / "new.json", replace=True))
        read = (again.fresh_radius_um, again.sessions, again.use_strokes)
        assert read == (fresh, 0, fresh)
        text = (tmp_path / "new.json").read_text(encoding="utf-8")
        for name in ("fresh_radius_um", "sessions", "use_strokes"):
            wrong = re.sub(rf'"{name}": [\d.]+', f'"{name}": -1', text, count=1)
            (tmp_path / "wrong.json").write_text(wrong, encoding="utf-8")
            with pytest.raises(ek.EdgekitError, match=name):
                ek.read_worn(tmp_path / "wrong.json")


def test_a_file_may_be_as_long_as_its_limit(tmp_path, monkeypatch):
    new = ek.WornBlade.new(ek.patterns.hoe(), stations=4, depths=3)
    file = ek.write_worn(new, tmp_path / "a.json")
    size = len(file.read_text(encoding="utf-8"))
    assert worn_file.MAX_BYTES == 30_000_000
    monkeypatch.setattr(worn_file, "MAX_BYTES", size)
    assert ek.read_worn(ek.write_worn(new, tmp_path / "b.json")).sessions == 0
    monkeypatch.setattr(worn_file, "MAX_BYTES", size - 1)
    with pytest.raises(ek.Cannot, match="would take more than"):
        ek.write_worn(new, tmp_path / "c.json")


@pytest.mark.parametrize("text", ["[]", "3", '{"format": "other"}', "{}"])
def test_another_file_is_not_a_worn_blade(tmp_path, text):
    (tmp_path / "a.json").write_text(text, encoding="utf-8")
    with pytest.raises(ek.BadFile, match="is not the file of a worn blade"):
        ek.read_worn(tmp_path / "a.json")
