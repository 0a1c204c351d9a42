"""Formulas of the studies of which a change once left every test green, each against the outside.

Quantiles come from `statistics.NormalDist`, `scipy.stats` and numpy, shares of variance from the
estimators of Saltelli et al. 2010 (Comput. Phys. Commun. 181:259, table 2, from memory) written out
in numpy; everything else is elementary and stands beside its check.
"""

import dataclasses
import hashlib
import inspect
import itertools
import json
import math
import sys
from concurrent.futures import Executor, Future
from queue import SimpleQueue
from statistics import NormalDist
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.stats import qmc

import edgekit as ek
from edgekit.evidence_table import entry
from edgekit.grinding.random_streams import SeededKeys
from edgekit.life.retire import WidthLoss
from edgekit.record import UnknownField
from edgekit.study import (
    checkpoint,
    conformance,
    evidence_ranges,
    ignorance,
    outcomes,
    sensitivity,
)
from edgekit.study import face_or_sides as mixtures
from edgekit.study import grid as grid_module
from edgekit.study import manifest as manifest_module
from edgekit.study import sweep as sweep_module
from edgekit.study.chunks import progress, tables, window
from edgekit.study.chunks.order import InOrder
from edgekit.study.chunks.plan import Plan
from edgekit.study.face_or_sides import crossover, ideal_sessions
from tests.wear_blades import ideal, in_steps, steady

EXACT = 1e-12  # relative: the same arithmetic in another order
STEP = 2.0**-20  # a tolerance that binary numbers carry without rounding
HOE = ek.patterns.hoe()
UNIVERSAL, AREA = ek.patterns.universal_curette(), ek.patterns.area_specific_curette()
TASK = ek.LifeCase(
    blade=ek.patterns.hoe, method=in_steps(placements=4), stations=12, depths=3, max_sessions=12
)
FEW = {"stations": 12, "depths": 3, "grid_runs": 0}


def defaults(function):
    """Every default of a function, by name."""
    given = inspect.signature(function).parameters.values()
    return {p.name: p.default for p in given if p.default is not p.empty}


# ---- checks of objects that users write: what they are asked, and where each limit lies ----------


@dataclasses.dataclass(frozen=True)
class Asked:
    """Stands in for an object with one method, and keeps what the method is given."""

    answer: object
    kept: list

    def _asked(self, *given):
        self.kept.append(given)
        return self.answer(*given)


class AskedLaw(Asked):
    def after(self, radius_um, strokes):
        return self._asked(radius_um, strokes)


class AskedRule(Asked):
    def used_up(self, lost):
        return self._asked(lost)

    def __str__(self):
        return "a rule"


class WordlessRule(Asked):
    def used_up(self, lost):
        return self._asked(lost)

    __repr__ = object.__repr__


class AskedGuide(Asked):
    setups = 1

    def normals(self, edge, arc_mm):
        return self._asked(edge, arc_mm)


class AskedStroke(Asked):
    direction = ek.across_edge()
    within_tilt_sd_deg = 0.0
    correlation_s = 0.4

    def stretch(self, arc_mm, margin_mm):
        return self._asked(arc_mm, margin_mm)


CLEAR = ek.strokes.until_clear()


@dataclasses.dataclass
class AskedStop:
    """What `until_clear` does, but for what is given."""

    margin: object = CLEAR.margin
    least_inset: object = CLEAR.least_inset
    done: object = CLEAR.done
    strokes_between_looks: int = 2


RADII = [0.5, 1.5, 4.0, 10.0]


def test_a_law_is_asked_about_radii_from_sharp_to_dull_and_a_whole_use():
    law = AskedLaw(lambda radius, strokes: radius + 0.1 * strokes, [])
    ek.testing.check_dulling_law(law)
    (radius, strokes), (later, more) = law.kept
    assert radius.tolist() == [[r] * 4 for r in RADII]
    assert strokes.tolist() == [[0.0, 1.0, 10.0, 45.0]] * 4
    assert later.tolist() == pytest.approx([r + 1.0 for r in RADII])  # what 10 strokes leave
    assert more.tolist() == [35.0] * 4


GOOD_LAWS = {
    "grows by as much as is let pass": lambda r, _n: r * (1 + STEP),
    "falls by as much as is let pass": lambda r, n: np.where(n > 0, r * (1 - STEP), r),
}
BAD_LAWS = {
    "grows at once": (lambda r, _n: r * (1 + 2 * STEP), "after 0 strokes"),
    "sharpens": (lambda r, n: np.where(n > 0, r * (1 - 2 * STEP), r), "not sharpen"),
    "falls": (lambda r, n: r * (1 + np.where(n == 1, 4, np.where(n > 1, 2, 0)) * STEP), "not fall"),
    "goes on elsewhere": (
        lambda r, n: r * np.where(n == 35.0, 1 + 2 * STEP, 1.0),
        "go on from where",
    ),
}


@pytest.mark.parametrize("law", GOOD_LAWS)
def test_a_law_may_err_by_the_rounding_of_single_precision(law, monkeypatch):
    monkeypatch.setattr(conformance, "TOLERANCE", STEP)
    ek.testing.check_dulling_law(AskedLaw(GOOD_LAWS[law], []))


@pytest.mark.parametrize("law", BAD_LAWS)
def test_a_law_may_not_err_by_twice_that(law, monkeypatch):
    monkeypatch.setattr(conformance, "TOLERANCE", STEP)
    formula, says = BAD_LAWS[law]
    with pytest.raises(ek.BadArgument, match=says):
        ek.testing.check_dulling_law(AskedLaw(formula, []))


def test_the_tolerance_of_conformance_is_that_of_single_precision():
    # 24 bits: rounding errs by 6e-8, some operations by 1e-6 at most; a nanometre is not seen.
    assert conformance.TOLERANCE == 1e-6
    assert conformance.MARGIN_MM == 1e-6


def test_a_law_with_a_jump_is_shown_what_it_gave_after_no_strokes():
    with pytest.raises(ek.BadArgument, match="after 0 strokes") as refused:
        ek.testing.check_dulling_law(AskedLaw(lambda r, n: r + 1 + n, []))
    assert refused.value.value == [r + 1 for r in RADII]


def test_a_rule_is_asked_about_a_universal_curette_losing_six_tenths():
    rule = AskedRule(lambda lost: lost.mean_width_mm, [])
    ek.testing.check_retire_rule(rule)
    ((lost,),) = rule.kept
    share = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    width, length, thickness = 0.86, 5.65, 0.71  # mm: the pattern's new blade
    assert (UNIVERSAL.section.width_mm, UNIVERSAL.thickness_mm) == (width, thickness)
    wanted = WidthLoss(
        mean_width_mm=[width * s for s in share],
        deepest_width_mm=[1.2 * width * s for s in share],
        caliper_width_mm=[1.1 * width * s for s in share],
        length_mm=[length * s for s in share],
        thickness_mm=[thickness * s for s in share],
        new_width_mm=width,
        new_length_mm=length,
        new_thickness_mm=thickness,
        strength_left=[1 - s for s in share],
    )
    for name in WidthLoss._fields:
        got, want = getattr(lost, name), getattr(wanted, name)
        if want is None:
            assert got is None, name
        else:
            assert np.asarray(got).tolist() == pytest.approx(want, rel=EXACT), name


@pytest.mark.parametrize(
    ("used_up", "says"),
    [
        (lambda lost: np.minimum(lost.mean_width_mm / 0.05, 1.5), None),  # used up after a tenth
        (lambda lost: np.where(lost.mean_width_mm > 0, 0.5 - STEP, 0.5), None),
        (lambda lost: np.where(lost.mean_width_mm > 0, 0.5 - 2 * STEP, 0.5), "not fall"),
        (lambda lost: 1 + lost.mean_width_mm, "new blade"),
    ],
)
def test_a_rule_may_not_retire_the_new_nor_fall_beyond_rounding(used_up, says, monkeypatch):
    monkeypatch.setattr(conformance, "TOLERANCE", STEP)
    rule = AskedRule(used_up, [])
    if says is None:
        ek.testing.check_retire_rule(rule)
    else:
        with pytest.raises(ek.BadArgument, match=says):
            ek.testing.check_retire_rule(rule)


def test_a_rule_whose_words_are_an_address_is_refused():
    with pytest.raises(ek.BadArgument, match="no words for itself"):
        ek.testing.check_retire_rule(WordlessRule(lambda lost: lost.mean_width_mm, []))


def outward(edge, arc_mm):
    return edge.frame(arc_mm, order=0).outward.value


def by_axis(length):
    """Normals along the axis nearest to outward, of so great a length."""

    def normals(edge, arc_mm):
        out = outward(edge, arc_mm)
        axis = np.abs(out).argmax(axis=1)
        at = np.arange(len(out)), axis
        given = np.zeros_like(out)
        given[at] = length * np.sign(out[at])
        return given

    return normals


def leaning_back(edge, arc_mm):
    """Out of the steel, but against outward in its smallest component."""
    out = outward(edge, arc_mm)
    least = np.arange(len(out)), np.abs(out).argmin(axis=1)
    given = out.copy()
    given[least] -= 0.3 * np.where(out[least] < 0, -1.0, 1.0)
    return given / np.linalg.norm(given, axis=1)[:, None]


@pytest.mark.parametrize(
    ("normals", "says"),
    [
        (by_axis(1 + STEP), None),
        (by_axis(1 - STEP), None),
        (by_axis(1 + 2 * STEP), "unit vectors"),
        (by_axis(1 - 2 * STEP), "unit vectors"),
        (leaning_back, None),
        (lambda e, a: -leaning_back(e, a), "out of the steel"),
    ],
)
def test_a_guide_gives_unit_vectors_out_of_the_steel(normals, says, monkeypatch):
    monkeypatch.setattr(conformance, "TOLERANCE", STEP)
    guide = AskedGuide(normals, [])
    if says is None:
        ek.testing.check_guide(guide)
        assert [len(arc) for _, arc in guide.kept] == [25, 25]
        assert [edge.length_mm for edge, _ in guide.kept] == [
            UNIVERSAL.edges["left"].length_mm,
            AREA.edges["used"].length_mm,
        ]
    else:
        with pytest.raises(ek.BadArgument, match=says):
            ek.testing.check_guide(guide)


def test_a_guide_along_the_surface_does_not_point_out_of_it(monkeypatch):
    def across(edge, arc_mm):  # square to outward without rounding, and so not quite of length 1
        out = outward(edge, arc_mm)
        return np.stack([-out[:, 1], out[:, 0], 0 * out[:, 0]], axis=1)

    monkeypatch.setattr(conformance, "TOLERANCE", 1.0)
    with pytest.raises(ek.BadArgument, match="out of the steel"):
        ek.testing.check_guide(AskedGuide(across, []))


def test_a_stone_is_laid_against_both_edges_at_as_many_stations(monkeypatch):
    laid = []
    monkeypatch.setattr(conformance, "orient", lambda edge, _, number: laid.append((edge, number)))
    ek.testing.check_stone(ek.RodStone())
    assert [number for _, number in laid] == [25, 25]
    assert laid[0][0].length_mm != laid[1][0].length_mm


def whole(_arc, margin):
    return np.full(margin.shape[1], -np.inf), np.full(margin.shape[1], np.inf)


def test_a_stroke_is_asked_about_one_dull_station_in_each_run():
    stroke = AskedStroke(whole, [])
    ek.testing.check_stroke(stroke)
    for both, alone in (stroke.kept[:2], stroke.kept[2:]):
        arc, margin = both
        assert margin.shape == (25, 25) == (len(arc), len(arc))
        assert margin.tolist() == np.where(np.eye(25, dtype=bool), 0.004, -0.001).tolist()
        assert alone[1].tolist() == [[0.004 if i == 3 else -0.001] for i in range(25)]


def at_dull(before, after):
    """Ends so far before and after the only dull station."""

    def stretch(arc, margin):
        middle = arc[margin.argmax(axis=0)]
        return middle - before, middle + after

    return stretch


def alone_elsewhere(shift):
    """The whole edge from its start, but of a single run a share of its length earlier."""

    def stretch(arc, margin):
        runs = margin.shape[1]
        first = -shift * arc[-1] if runs == 1 else 0.0
        return np.full(runs, first), np.full(runs, np.inf)

    return stretch


@pytest.mark.parametrize(
    ("stretch", "says"),
    [
        (at_dull(0.0, 1.0), None),
        (at_dull(1.0, 0.0), None),
        (at_dull(0.0, 0.0), "end after it begins"),
        (alone_elsewhere(STEP), None),
        (alone_elsewhere(2 * STEP), "other runs"),
    ],
)
def test_a_stroke_covers_what_is_dull_and_looks_at_nobody_else(stretch, says, monkeypatch):
    monkeypatch.setattr(conformance, "TOLERANCE", STEP)
    if says is None:
        ek.testing.check_stroke(AskedStroke(stretch, []))
    else:
        with pytest.raises(ek.BadArgument, match=says):
            ek.testing.check_stroke(AskedStroke(stretch, []))


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_an_end_at_infinity_lies_a_millimetre_beyond_the_edge(sign):
    def nowhere(_arc, margin):
        return (np.full(margin.shape[1], sign * np.inf),) * 2

    with pytest.raises(ek.BadArgument, match="end after it begins") as refused:
        ek.testing.check_stroke(AskedStroke(nowhere, []))
    length = UNIVERSAL.edges["left"].length_mm
    assert refused.value.value == pytest.approx([sign * (length + 1.0)] * 25, rel=EXACT)


def test_a_stop_rule_is_asked_about_edges_from_fresh_to_very_dull():
    asked = []

    def margin(edge):
        asked.append(edge)
        return CLEAR.margin(edge)

    shares = []

    def done(share, strokes):
        shares.append((share.tolist(), strokes))
        return CLEAR.done(share, strokes)

    ek.testing.check_stop_rule(AskedStop(margin=margin, done=done))
    first, second = asked
    for edge in asked:
        assert edge.radius.tolist() == [[0.001, 0.002, 0.004, 0.008]] * 3
        assert edge.fresh_radius.tolist() == [0.0015] * 4
        np.testing.assert_allclose(edge.angle, np.full((3, 4), math.radians(75)), rtol=EXACT)
        assert edge.new_angle.tolist() == edge.angle.tolist()
    assert first.inset.tolist() == [[0.0] * 4] * 3
    assert second.inset.tolist() == CLEAR.least_inset(first).tolist()
    assert shares == [([0.0, 0.1, 1.0], strokes) for strokes in (1, 10, 10_000)]


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        (AskedStop(margin=lambda edge: np.full_like(edge.inset, 1e-6)), None),
        (AskedStop(margin=lambda edge: np.full_like(edge.inset, 1.01e-6)), "0 or less once"),
        (AskedStop(least_inset=lambda e: 0 * e.inset, margin=lambda e: 0 * e.inset), None),
        (AskedStop(least_inset=lambda e: 0 * e.inset - 1e-12), "not be negative"),
        (AskedStop(done=lambda share, n: (share == 0) & (n == 10_000)), None),
        (AskedStop(done=lambda share, n: (share == 0) & (n == 10)), "on a good edge"),
        (AskedStop(done=lambda share, n: np.full(share.shape, n >= 10)), None),
        (AskedStop(strokes_between_looks=10_000), None),
        (AskedStop(strokes_between_looks=10_001), "10,000 or less"),
    ],
)
def test_a_stop_rule_ends_grinding_once_and_for_good(rule, says):
    if says is None:
        ek.testing.check_stop_rule(rule)
    else:
        with pytest.raises(ek.BadArgument, match=says):
            ek.testing.check_stop_rule(rule)


def test_a_stop_rule_that_goes_on_is_shown_what_it_says_of_a_good_edge():
    done = AskedStop(done=lambda share, n: (share == 0) & (n == 10))
    with pytest.raises(ek.BadArgument, match="on a good edge") as refused:
        ek.testing.check_stop_rule(done)
    assert refused.value.value == [0.0, 1.0, 0.0]  # after 1, 10 and 10,000 strokes


# ---- values of lives, and their statistics --------------------------------------------------

LEVELS = [0.5, 0.9]


def told(rows):
    """Values each as often as they are counted, one by one."""
    return np.repeat(*rows)


@pytest.mark.parametrize("whole", [True, False])
def test_what_stands_at_a_place_is_what_numpys_quantiles_say(whole):
    chance = np.random.default_rng(7)
    for size in (1, 2, 3, 8, 30):
        values = np.sort(chance.integers(1, 40, size) if whole else chance.random(size))
        values, counts = np.unique(values, return_counts=True)
        counts = counts * chance.integers(1, 4, len(counts))
        every = told((values, counts))
        ends = [*chance.random(6).tolist(), 0.0, 0.5, 1.0]
        places = (len(every) - 1) * np.array(ends)
        found = outcomes.at_places(values, counts, places)
        np.testing.assert_array_equal(found, np.quantile(every, ends))  # to the last bit
        for level in LEVELS:
            low, high = outcomes.at_places(values, counts, outcomes.weibull(len(every), level))
            ends = [(1 - level) / 2, (1 + level) / 2]
            wanted = np.quantile(every, ends, method="weibull")
            np.testing.assert_allclose([low, high], wanted, rtol=EXACT)


def test_places_beyond_the_ends_are_the_ends():
    values, counts = np.array([2.0, 3.0, 7.0]), np.array([1, 2, 2])
    found = outcomes.at_places(values, counts, np.array([-5.0, -0.5, 4.0, 4.5, 5.0, 99.0]))
    assert found.tolist() == [2.0, 2.0, 7.0, 7.0, 7.0, 7.0]


def test_half_way_between_two_values_is_read_from_above():
    values = np.sort(np.random.default_rng(3).lognormal(0.0, 3.0, 200))
    places = np.arange(199) + 0.5
    wanted = np.quantile(values, places / 199)
    upper = values[1:] - np.diff(values) * 0.5
    assert (upper != values[:-1] + np.diff(values) * 0.5).any()  # else they would not be told apart
    found = outcomes.at_places(values, np.ones(200, dtype=int), places)
    np.testing.assert_array_equal(found, upper)
    np.testing.assert_allclose(found, wanted, rtol=EXACT)


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("size", [1, 8, 19])
def test_places_of_ends_are_those_of_weibull(size, level):
    # The k-th of n values lies above a share k/(n + 1) of what may come; places count from 0.
    found = outcomes.weibull(size, level)
    wanted = [(size + 1) * (1 - level) / 2 - 1, (size + 1) * (1 + level) / 2 - 1]
    assert found.tolist() == pytest.approx(wanted, rel=EXACT, abs=1e-12)


def test_percentiles_of_sessions_are_numpys():
    sessions, lives = np.array([3, 7, 8, 20]), np.array([2, 5, 1, 3])
    found = outcomes.session_percentiles(sessions, lives)
    every = told((sessions, lives))
    assert found == {f"sessions_p{q}": np.percentile(every, q) for q in (10, 50, 90)}


def test_errors_and_intervals_go_over_the_last_axis():
    values = np.random.default_rng(1).random((2, 3, 5))
    np.testing.assert_allclose(outcomes.standard_error(values), stats.sem(values, axis=-1))
    alone = outcomes.standard_error(values[..., :1])
    assert alone.shape == (2, 3)
    assert np.isinf(alone).all()
    pair = outcomes.standard_error(values[..., :2])
    np.testing.assert_allclose(pair, np.abs(np.diff(values[..., :2]))[..., 0] / 2, rtol=1e-9)
    for level in LEVELS:
        low, high = outcomes.central(values, level)
        for end, share in ((low, (1 - level) / 2), (high, (1 + level) / 2)):
            wanted = np.quantile(values, share, axis=2, method="weibull")
            np.testing.assert_array_equal(end, wanted)
    for end in outcomes.central(values[..., :0], 0.9):
        assert end.shape == (2, 3)
        assert np.isnan(end).all()


# ---- a summary from pieces ------------------------------------------------------------------


def lives_of(sessions, *, row=0, first=0, status=tables.OK, seed=0):
    """A table of lives that took such numbers of sessions, with values thrown for all else."""
    runs = len(sessions)
    chance = np.random.default_rng([seed, first])
    return {
        "row": np.full(runs, row),
        "run": np.arange(first, first + runs),
        "status": np.full(runs, status, dtype=object),
        "sessions": np.array(sessions, dtype=float),
        "ended_by": np.where(chance.random(runs) < 0.4, "", "a rule").astype(object),
        **{name: 5 + chance.random(runs) for name in outcomes.VALUES},
        outcomes.GRID: np.where(chance.random(runs) < 0.5, np.nan, chance.random(runs)),
    }


def summed(*groups):
    """Summary of groups of tables; each group arrives as one."""
    sums = tables.Sums()
    for group in groups:
        sums.add(tables.joined([tables.moments(dict(table)) for table in group]))
    return sums.table()


def agrees(line, lives):
    """A line of a summary is what pandas makes of the lives."""
    size = len(lives)
    assert line["lives"] == size
    assert line["unfinished"] == pytest.approx((lives["ended_by"] == "").mean())
    for name in outcomes.VALUES:
        assert line[name] == pytest.approx(lives[name].mean(), rel=EXACT)
        assert line[f"{name}_sd"] == pytest.approx(lives[name].std(), rel=1e-9, nan_ok=True)
        assert line[f"{name}_mc"] == pytest.approx(lives[name].sem(), rel=1e-9, nan_ok=True)
    for q in (10, 50, 90):
        assert line[f"sessions_p{q}"] == pytest.approx(np.percentile(lives["sessions"], q))
    for end, share in (("low", 0.05), ("high", 0.95)):
        wanted = np.quantile(lives["sessions"], share, method="weibull")
        assert line[f"sessions_variation_{end}"] == pytest.approx(wanted, rel=EXACT)
        loss = lives["loss_um_per_session"]
        wanted = loss.mean() + NormalDist().inv_cdf(share) * loss.std()
        found = line[f"loss_um_per_session_variation_{end}"]
        assert found == pytest.approx(wanted, rel=1e-9, nan_ok=True)
    gap = lives[outcomes.GRID].dropna()
    assert line["grid_um"] == pytest.approx(gap.mean(), rel=EXACT, nan_ok=True)
    if len(gap) > 1:
        assert line["grid_um_mc"] == pytest.approx(gap.sem(), rel=1e-9)
    else:
        assert line["grid_um_mc"] == (
            math.inf if len(gap) else pytest.approx(math.nan, nan_ok=True)
        )


PIECES = {
    "one life": [[7]],
    "two lives": [[7, 7]],
    "the same number in every piece": [[7, 7, 7], [7, 7], [7, 7, 7, 7]],
    "numbers that rise": [[3, 3, 4], [5, 6, 6], [9, 9]],
    "numbers that overlap": [[3, 8, 8, 5], [8, 3, 12], [5, 5, 5, 1]],
}


@pytest.mark.parametrize("apart", [True, False])
@pytest.mark.parametrize("pieces", PIECES)
def test_a_summary_of_pieces_is_that_of_all_lives(pieces, apart):
    parts = [
        lives_of(sessions, first=100 * i, row=row)
        for row in (0, 1)
        for i, sessions in enumerate(PIECES[pieces])
    ]
    table = pd.DataFrame(summed(*([part] for part in parts)) if apart else summed(parts))
    assert table["row"].tolist() == [0, 1]
    assert table["status"].tolist() == ["ok", "ok"]
    size = len(PIECES[pieces])
    for row in (0, 1):
        lives = pd.concat(map(pd.DataFrame, parts[row * size : (row + 1) * size]))
        agrees(table.iloc[row], lives)


def test_the_first_failure_of_a_row_is_named_and_its_other_lives_count():
    good = [lives_of([3, 4, 4]), lives_of([4, 9], first=50)]
    lost = [lives_of([np.nan] * 2, status=f"failed: {why}", first=70) for why in "AB"]
    order = [good[0], lost[0], lost[1], good[1]]
    for table in (summed(order), summed(*([part] for part in order))):
        line = pd.DataFrame(table).iloc[0]
        assert line["status"] == "failed: A"
        agrees(line, pd.concat(map(pd.DataFrame, good)))


def test_a_summary_can_be_asked_for_twice():
    sums = tables.Sums()
    sums.add(tables.moments(lives_of([3, 4])))
    one, two = (pd.DataFrame(sums.table()) for _ in range(2))
    pd.testing.assert_frame_equal(one, two)


@pytest.mark.parametrize("values", [[0.1] * 3, [0.3, 0.7], [0.2], [0.25, 0.5, 4.0]])
def test_the_grids_error_is_a_mean_with_the_standard_error_of_a_sample(values):
    # Variance of a few lives as their mean square less their squared mean, which n − 1 would share.
    sums = len(values), sum(values), sum(value**2 for value in values)
    found = tables._grid_error(*map(float, sums))
    size = len(values)
    mean = sum(values) / size
    between = sum((value - mean) ** 2 for value in values)
    error = math.sqrt(between / (size - 1) / size) if size > 1 else math.inf
    assert found["grid_um"] == pytest.approx(mean, rel=EXACT)
    assert found["grid_um_mc"] == pytest.approx(error, rel=1e-9, abs=1e-8)
    assert tables._grid_error(0.0, 0.0, 0.0) == {}


# ---- how a sweep is cut, and handed over -------------------------------------------------------


def planned(rows, runs, piece_runs, chunk_runs):
    grid = ek.full_grid({"use.strokes": list(range(10, 10 + rows))})
    settings = {"seed": 3, "summary": True, "grid_runs": 0, "engine": "arrays"}
    return Plan(grid, runs, piece_runs=piece_runs, chunk_runs=chunk_runs, settings=settings)


@pytest.mark.parametrize("runs", [1, 4, 9, 11])
@pytest.mark.parametrize("piece_runs", [2, 4, 100])
def test_every_run_of_every_row_is_in_one_piece_and_every_piece_in_one_chunk(runs, piece_runs):
    for rows, chunk_runs in itertools.product([1, 5, 20], [1, 7, 8, 9, 1000]):
        plan = planned(rows, runs, piece_runs, chunk_runs)
        pieces = [
            (row, {"use.strokes": 10 + row}, first, min(piece_runs, runs - first))
            for row in range(rows)
            for first in range(0, runs, piece_runs)
        ]
        size = min(8, chunk_runs // min(piece_runs, runs)) or 1  # pieces in a chunk
        wanted = [pieces[i : i + size] for i in range(0, len(pieces), size)]
        chunks = [plan.chunk(number) for number in range(len(plan))]
        assert [list(map(tuple, chunk.pieces)) for chunk in chunks] == wanted
        for number, chunk in enumerate(chunks):
            assert plan.lives(number) == sum(piece.runs for piece in chunk.pieces)
            assert chunk[1:] == (3, True, 0, "arrays")


class Kept:
    """Chunks that are there already, by the first of them: their table and the next chunk."""

    def __init__(self, **kept):
        self.kept, self.asked = {int(name[1:]): table for name, table in kept.items()}, []

    def stored(self, number):
        self.asked.append(number)
        return self.kept.get(number)


def test_chunks_are_added_in_order_from_those_kept_and_those_that_come():
    plan, got = planned(6, 1, 1, 1), []
    kept = Kept(n0=("kept 0", 1), n3=("kept 3 and 4", 5))
    order = InOrder(plan, kept, SimpleNamespace(add=got.append))
    order.add(2, "new 2")
    assert got == ["kept 0"]
    order.add(1, "new 1")
    assert got == ["kept 0", "new 1", "new 2", "kept 3 and 4"]
    assert order.added == 2
    order.fill(lambda chunk: f"made {chunk.pieces[0].row}")
    assert got[4:] == ["made 5"]
    assert order.added == 3
    order.fill(lambda _: "made again")
    assert len(got) == 5
    assert max(kept.asked) < len(plan)
    whole = InOrder(plan, None, SimpleNamespace(add=got.append))
    whole.fill(lambda chunk: chunk.pieces[0].row)
    assert got[5:] == [0, 1, 2, 3, 4, 5]


class Parked(Executor):
    """Keeps what it is given until it is told that a task took so many seconds a chunk."""

    def __init__(self, *, most=10**9, refuses=None):
        self.out, self.sizes, self.most, self.refuses = [], [], most, refuses

    def submit(self, _function, _live, _task, chunks):
        if len(self.sizes) >= self.most:
            raise self.refuses
        future = Future()
        self.out.append((future, chunks))
        self.sizes.append(len(chunks))
        return future

    def finish(self, number, seconds):
        future, chunks = self.out[number]
        future.set_result(([{"number": chunk} for chunk in chunks], seconds))


class Numbered:
    """A plan of which only the numbers matter."""

    def __init__(self, size):
        self.size = size

    def __len__(self):
        return self.size

    def chunk(self, number):
        return number


class Ready(SimpleQueue):
    """A queue that nobody waits for."""

    def get(self):
        return self.get_nowait()


def opened(size, **options):
    """A window on a plan, filled once, its executor and the numbers that are left."""
    pool, numbers = Parked(**options), iter(range(size))
    out = window._Window(None, None, Numbered(size), pool)
    out._back = Ready()
    assert out.fill(numbers)
    return out, pool, numbers


def test_a_window_begins_with_256_chunks_one_by_one():
    _, pool, _ = opened(100_000)
    assert pool.sizes == [1] * 256


@pytest.mark.parametrize(
    ("seconds", "size"),
    [(0.05, 10), (0.3, 1), (10.0, 1), (0.25, 2), (0.51 / 65, 63), (0.5 / 65, 64), (0.0, 64)],
)
def test_later_tasks_take_half_a_second_or_64_chunks_at_most(seconds, size, monkeypatch):
    out, pool, numbers = opened(1_000_000)
    monkeypatch.setattr(window, "TASKS_OUT", 300)
    pool.finish(0, seconds)
    done = out.next_done()
    assert done == [(0, {"number": 0})]
    out.fill(numbers)
    assert set(pool.sizes[256:]) == {size}


def test_no_more_than_2048_tasks_are_out():
    out, pool, numbers = opened(1_000_000)
    pool.finish(0, 1.0)
    out.next_done()
    out.fill(numbers)
    assert len(pool.sizes) == 1 + 2048


def test_chunks_run_ahead_of_a_late_one_by_8192_at_most(monkeypatch):
    monkeypatch.setattr(window, "TASKS_OUT", 10**6)
    out, pool, numbers = opened(100_000)
    pool.finish(3, 1.0)
    out.next_done()
    out.fill(numbers)
    assert len(pool.sizes) == 8192 + 2  # from the late one, number 0, to that 8,193 after it
    pool.finish(0, 1.0)
    out.next_done()
    out.fill(numbers)
    assert len(pool.sizes) == 8192 + 3


@pytest.mark.parametrize(("size", "few"), [(640, 10), (639, 9), (63, 1)])
def test_tasks_shrink_towards_the_end_so_that_all_workers_have_some(size, few, monkeypatch):
    monkeypatch.setattr(window, "FIRST_OUT", 1)
    out, pool, numbers = opened(size)
    pool.finish(0, 1e-6)
    out.next_done()
    monkeypatch.setattr(window, "TASKS_OUT", 1)
    out.fill(numbers)
    assert pool.sizes == [1, few]
    pool.finish(1, 1e-6)
    out.next_done()
    monkeypatch.setattr(window, "TASKS_OUT", 3)
    out.fill(numbers)
    left = (size - 1 - few) // 64  # of the plan after the first that is out
    assert pool.sizes[3] == max(1, left)


def test_an_executor_that_refuses_the_first_task_says_why_itself():
    with pytest.raises(ConnectionError, match="closed"):
        opened(10, most=0, refuses=ConnectionError("closed"))


def test_chunks_refused_later_are_done_with_an_error_and_the_others_go_on():
    lost = ConnectionError("closed")
    out, pool, numbers = opened(10, most=3, refuses=lost)
    assert pool.sizes == [1] * 3
    assert out.next_done() == [(3, lost)]
    assert out.fill(numbers)
    assert out.next_done() == [(4, lost)]
    for number in range(3):
        pool.finish(number, 1.0)
    assert [out.next_done()[0].number for _ in range(3)] == [0, 1, 2]
    pool.most = 0
    rest = []
    while out.fill(numbers):
        rest += out.next_done()
    assert [done.number for done in rest] == [5, 6, 7, 8, 9]
    assert {done.outcome for done in rest} == {lost}


def test_a_task_says_the_seconds_of_one_of_its_chunks(monkeypatch):
    ticks = iter([10.0, 16.0])
    monkeypatch.setattr(window.time, "perf_counter", lambda: next(ticks))
    tables_, seconds = window._live_some(lambda task, chunk: task + chunk, 1, [5, 6, 7])
    assert tables_ == [6, 7, 8]
    assert seconds == 2.0


# ---- what a sweep says of how far it is ----------------------------------------------------


@pytest.fixture
def clock(monkeypatch):
    """Seconds that a test sets."""
    now = SimpleNamespace(s=1000.0)
    monkeypatch.setattr(progress.time, "monotonic", lambda: now.s)
    return now


def test_a_line_comes_every_half_minute_and_counts_what_was_done_here(clock, capsys):
    with progress.Progress(1000, shown=True) as shown:
        shown.begin(100)
        clock.s += 29.999
        shown.update(50)
        assert capsys.readouterr().err == ""
        clock.s = 1030.0
        shown.update(10)
        said = "edgekit: 160 of 1,000 lives, 2 lives/s, 0:30 gone, 7:00 left\n"
        assert capsys.readouterr().err == said
        clock.s += 29.0
        shown.update(700)
        assert capsys.readouterr().err == ""
        clock.s += 1.5
    said = "edgekit: 860 of 1,000 lives, 13 lives/s, 1:00 gone, 0:11 left\n"
    assert capsys.readouterr().err == said


@pytest.mark.parametrize(
    ("spent", "lives", "said"),
    [
        (0.5, 10, "10 of 20 lives, 20 lives/s, 0:00 gone, 0:00 left"),
        (0.0, 10, "10 of 20 lives, 10,000,000,000 lives/s, 0:00 gone, 0:00 left"),
        (60.0, 0, "0 of 20 lives, 0 lives/s, 1:00 gone, unknown time left"),
    ],
)
def test_the_last_line_stands_whatever_the_time(spent, lives, said, clock, capsys):
    with progress.Progress(20, shown=True) as shown:
        if lives:
            shown.update(lives)
        clock.s += spent
    assert capsys.readouterr().err == f"edgekit: {said}\n"


@pytest.mark.parametrize("terminal", [True, False])
@pytest.mark.parametrize("notebook", [True, False])
@pytest.mark.parametrize("wanted", [True, False])
def test_a_bar_is_for_terminals_and_notebooks(terminal, notebook, wanted, monkeypatch, capsys):
    monkeypatch.setattr(progress.sys.stderr, "isatty", lambda: terminal, raising=False)
    if notebook:
        monkeypatch.setitem(sys.modules, "ipykernel", SimpleNamespace())
    else:
        monkeypatch.delitem(sys.modules, "ipykernel", raising=False)
    with progress.Progress(20, shown=wanted) as shown:
        shown.begin(5)
        shown.update(15)
    text = capsys.readouterr().err
    if not wanted:
        assert text == ""
    else:
        assert ("20/20" in text) == (terminal or notebook)
        assert ("20 of 20" in text) == (not terminal and not notebook)


# ---- a sweep's folder ---------------------------------------------------------------------


class Shelf:
    """Parts kept in memory."""

    def __init__(self, **parts):
        self.parts = {int(name[1:]): table for name, table in parts.items()}

    def holds(self, number):
        return number in self.parts

    def read(self, number):
        return self.parts[number]

    def write(self, number, table):
        self.parts[number] = table


def numbers_of(*lives):
    return {"run": np.array(lives)}


@pytest.mark.parametrize(
    ("chunks", "each"), [(1, 1), (2000, 1), (2001, 2), (4000, 2), (4001, 3), (100_000, 50)]
)
def test_a_folder_holds_2000_parts_at_most(chunks, each):
    shelf = Shelf()
    parts = checkpoint.Parts(shelf, chunks)
    assert parts.missing() == list(range(chunks))
    for number in range(min(each, chunks) - 1):
        parts.keep(number, numbers_of(number))
        assert shelf.parts == {}
    parts.keep(min(each, chunks) - 1, numbers_of(-1))
    assert list(shelf.parts) == [0]
    last = (chunks - 1) // each
    full = checkpoint.Parts(Shelf(**{f"p{n}": n for n in range(last + 1)}), chunks)
    assert full.missing() == []
    assert full.stored(last * each) == (last, chunks)


def test_a_part_is_written_once_all_of_its_chunks_are_there_in_order(monkeypatch):
    monkeypatch.setattr(checkpoint, "MOST_PARTS", 2)
    shelf = Shelf()
    parts = checkpoint.Parts(shelf, 5)  # of three chunks and of two
    for number in (4, 2, 0):
        parts.keep(number, numbers_of(number))
    assert shelf.parts == {}
    parts.keep(3, numbers_of(3))
    assert {n: table["run"].tolist() for n, table in shelf.parts.items()} == {1: [3, 4]}
    parts.keep(1, numbers_of(1))
    assert shelf.parts[0]["run"].tolist() == [0, 1, 2]
    again = checkpoint.Parts(Shelf(p1="second"), 5)
    assert again.missing() == [0, 1, 2]
    assert [again.stored(n) for n in range(5)] == [None, None, None, ("second", 5), None]


def test_a_part_is_sealed_by_the_sweep_its_number_and_its_text(tmp_path):
    grid = ek.full_grid({"use.strokes": [15, 45]})
    ek.sweep(TASK, grid, runs=2, seed=1, chunk_runs=2, out=tmp_path, progress=False)
    whole = (tmp_path / "manifest.json").read_text(encoding="utf-8")
    assert whole == json.dumps(json.loads(whole), indent=1, ensure_ascii=False) + "\n"
    for number in (0, 1):
        text = (tmp_path / f"part-{number:06d}.csv").read_text(encoding="utf-8")
        seal, _, body = text.partition("\n")
        hashes = [hashlib.sha256(part.encode()).hexdigest() for part in (whole, body)]
        assert seal == f"# {hashes[0]} {number} {hashes[1]}"


def test_a_part_of_a_gigabyte_is_read_and_none_larger(tmp_path, monkeypatch):
    folder, limits = checkpoint.Folder(tmp_path, {}), []

    def read(_path, most):
        limits.append(most)
        raise OSError

    monkeypatch.setattr(checkpoint, "read_file", read)
    assert folder.read(0) is None
    assert limits == [10**9]


def test_a_table_without_rows_is_read_as_one():
    table = {
        "row": np.zeros(0, dtype=int),
        "loss": np.zeros(0),
        "status": np.zeros(0, dtype=object),
    }
    again = checkpoint._from_csv(checkpoint._as_csv(table))
    assert {name: column.tolist() for name, column in again.items()} == {key: [] for key in table}


@pytest.mark.parametrize(
    ("before", "now", "said"),
    [
        ({"a": 1, "b": 2}, {"a": 1, "b": 2}, []),
        ({"a": 1}, {"a": 1, "b": 3}, ["b was None, is 3"]),
        ({"a": 1, "b": 3}, {"a": 1}, ["b was 3, is None"]),
        ({"a": [1, 2]}, {"a": [1]}, ["a had 2 entries, now 1"]),
        ({"a": [1, 2]}, {"a": [3, 4]}, ["a 0 was 1, is 3", "a 1 was 2, is 4"]),
        ({"a": {"b": 1}}, {"a": [1]}, ["a was {'b': 1}, is [1]"]),
        ({"a": [1]}, {"a": {"b": 1}}, ["a was [1], is {'b': 1}"]),
        ({"a": [1]}, {"a": "x"}, ["a was [1], is 'x'"]),
        ({"a": "x"}, {"a": [1]}, ["a was 'x', is [1]"]),
        (dict.fromkeys("abcd", 1), dict.fromkeys("abcd", 2), [f"{c} was 1, is 2" for c in "abc"]),
    ],
)
def test_differences_of_manifests_are_named_by_their_place(before, now, said):
    assert checkpoint._differences(before, now) == said


def test_a_manifest_names_functions_of_the_package_and_values_of_records():
    described = manifest_module._described
    assert described(ek.patterns.hoe) == "edgekit.geometry.patterns.hoe"
    assert described(ek.MaxWidthLoss) == "edgekit.life.retire.MaxWidthLoss"
    assert described(ek.MaxWidthLoss(fraction=0.1))["fraction"] == 0.1
    assert described(ek.MaxWidthLoss())["type"] == "MaxWidthLoss"
    assert described({"a": (1, np.float64(2.5)), 3: None}) == {"a": [1, 2.5], "3": None}
    assert described(np.arange(3)) == [0, 1, 2]


def test_a_changed_model_is_told_by_what_made_the_folder(tmp_path):
    for text, says in (('{"results": 2}', "its RESULTS is 2, here it is"), ("{}", "is none")):
        (tmp_path / "manifest.json").write_text(text)
        with pytest.raises(ek.Cannot, match=says):
            manifest_module.check_results(tmp_path)
    (tmp_path / "manifest.json").write_text(json.dumps({"results": manifest_module.RESULTS}))
    manifest_module.check_results(tmp_path)
    for text in ("[1]", "{"):
        (tmp_path / "manifest.json").write_text(text)
        manifest_module.check_results(tmp_path)  # left to the folder


# ---- face or sides ------------------------------------------------------------------------------


def narrower(make, lost_mm):
    """A blade that has lost width against its section when new."""
    blade = make()
    section = dataclasses.replace(blade.section, width_mm=blade.width_mm + lost_mm)
    worn = dataclasses.replace(blade, section=section)
    assert worn.worn_width_mm == pytest.approx(lost_mm, rel=1e-9)
    return worn


@pytest.mark.parametrize(("width", "thickness"), [(0.15, 0.25), (0.3, 0.1)])
@pytest.mark.parametrize("beta", [60.0, 80.0])
def test_a_tie_is_the_sine_over_the_edges_times_the_ratio_of_the_limits(beta, width, thickness):
    for make, edges in ((ek.patterns.universal_curette, 2), (ek.patterns.area_specific_curette, 1)):
        blade = narrower(lambda make=make: make(internal_angle_deg=beta, thickness_mm=0.6), 0.04)
        found = crossover(blade, width_fraction=width, thickness_fraction=thickness)
        wanted = math.sin(math.radians(beta)) / edges * width / thickness
        assert found.tie == pytest.approx(wanted, rel=EXACT)
        new = blade.width_mm + 0.04
        assert found.thickness_over_width == pytest.approx(0.6 / new, rel=1e-9)
        assert (found.edges, found.internal_angle_deg) == (edges, beta)
        assert (found.width_fraction, found.thickness_fraction) == (width, thickness)


def test_at_a_tie_the_face_does_not_last_longer():
    tied = mixtures.Crossover(
        edges=2,
        internal_angle_deg=75.0,
        thickness_over_width=0.5,
        tie=0.5,
        width_fraction=0.2,
        thickness_fraction=0.2,
    )
    assert not tied.face_lasts_longer
    assert "grinding the sides lasts longer" in str(tied)
    assert dataclasses.replace(tied, tie=0.499).face_lasts_longer


@pytest.mark.parametrize(
    ("make", "edges"), [(ek.patterns.universal_curette, 2), (ek.patterns.area_specific_curette, 1)]
)
def test_ideal_sessions_are_what_may_go_over_what_goes(make, edges, monkeypatch):
    # Each side costs r cot(β/2) of width a session; the face r(1 + cosβ) of thickness, and 2 cotβ
    # times that of width, since the surfaces lean to both sides.
    asked = []

    def strength(_blade, side_um, face_um, limit):
        asked.append((side_um, face_um, limit))
        return 77.0

    monkeypatch.setattr(mixtures, "_by_strength", strength)
    blade, beta, radius = narrower(make, 0.03), math.radians(75.0), 5.0
    limits = {"width_fraction": 0.3, "thickness_fraction": 0.15, "strength_fraction": 0.6}
    shares = [0.0, 0.3, 1.0]
    table = ideal_sessions(blade, face_share=shares, dull_radius_um=radius, **limits)
    side, face = radius / math.tan(beta / 2), radius * (1 + math.cos(beta))
    for i, share in enumerate(shares):
        width = edges * (1 - share) * side + share * face * 2 / math.tan(beta)
        row = table.iloc[i]
        assert row["face_share"] == share
        assert row["width_um"] == pytest.approx(width, rel=EXACT)
        assert row["thickness_um"] == pytest.approx(share * face, rel=EXACT)
        left = 1000 * (0.3 * (blade.width_mm + 0.03) - 0.03)
        assert row["by_width"] == pytest.approx(left / width, rel=1e-9)
        wanted = 1000 * 0.15 * blade.thickness_mm / (share * face) if share else math.inf
        assert row["by_thickness"] == pytest.approx(wanted, rel=EXACT)
        assert row["by_strength"] == 77.0
        assert row["sessions"] == min(row["by_width"], row["by_thickness"], 77.0)
        assert asked[i] == pytest.approx(((1 - share) * side, share * face, 0.6), rel=EXACT)


def lived_evenly(blade, method, k):
    """Strength left of one life without errors after k sessions and one more, and the radius."""
    nothing_random = {"sharp_radius_um": 0.0, "sharp_radius_gsd": 1.0, "severity_gsd": 1.0}
    lengths = [edge.length_mm for edge in blade.edges.values()]
    use = ek.Use(
        strokes=45.0 * sum(lengths) / 2, density=ek.laws.EvenUse(), contact_mm=1e4, **nothing_random
    )
    rule = ek.MinStrength(fraction=0.5)
    case = ek.LifeCase(blade=blade, method=method, use=use, retire=rule, max_sessions=k + 1)
    tracks = case.live(SeededKeys(1, runs=1), histories=1).tracks
    return tracks["strength_left"][0, k - 1 : k + 1], tracks["dull_radius_um"][0, 0]


SIDES = ideal(1)
FACE = steady(ek.methods.face_honing(), fraction=1.0)


@pytest.mark.parametrize(
    ("make", "method", "face_share", "k"),
    [
        (ek.patterns.straight_sickle, SIDES, 0.0, 50),
        (ek.patterns.area_specific_curette, FACE, 1.0, 5),
        (ek.patterns.straight_sickle, ek.mixture(SIDES, FACE, sides=2, faces=1), 1 / 3, 66),
    ],
    ids=["sides", "face", "by turns"],
)
def test_ideal_strength_is_that_of_a_life_without_errors(make, method, face_share, k):
    blade = make()
    (now, later), radius = lived_evenly(blade, method, k)
    assert 0.5 < later < now < 1
    beta = math.radians(blade.internal_angle_deg)
    side, face = radius / math.tan(beta / 2), radius * (1 + math.cos(beta))
    ground = (1 - face_share) * side, face_share * face
    assert mixtures._by_strength(blade, *ground, now) == pytest.approx(k, rel=1e-9)
    if face_share in (0, 1):  # by turns the next session is of one kind
        half = mixtures._by_strength(blade, *ground, (now + later) / 2)
        assert half == pytest.approx(k + 0.5, rel=1e-9)


def test_strength_allows_no_session_at_its_limit_and_400_at_most():
    at_limit = {"strength_fraction": 1.0, "dull_radius_um": 4.0}
    table = ideal_sessions(AREA, face_share=[0.0, 1.0], **at_limit)
    assert table["by_strength"].tolist() == [0.0, 0.0]
    face = 4.0 * (1 + math.cos(math.radians(75.0)))
    sessions = mixtures._by_strength(AREA, 0.0, face, 0.7)
    near = face * sessions / 390.0  # in 390 sessions, and then in 399.5 and 400.5
    near *= mixtures._by_strength(AREA, 0.0, near, 0.7) / 399.5
    assert mixtures._by_strength(AREA, 0.0, near, 0.7) == pytest.approx(399.5, abs=0.1)
    assert mixtures._by_strength(AREA, 0.0, near * 399.5 / 400.5, 0.7) == 400.0


def test_a_face_lowered_through_the_back_leaves_no_strength():
    # Without a taper the blade is as thick everywhere, and gone after T over a session's drop.
    blade = ek.patterns.universal_curette(thickness_taper=0.0)
    gone = 1000 * blade.thickness_mm / 50.0
    for limit in (1e-3, 1e-6):
        assert gone - 1 < mixtures._by_strength(blade, 0.0, 50.0, limit) < gone + 1
        assert gone - 1 < mixtures._by_strength(blade, 1e-9, 50.0, limit) < gone + 1


SESSIONS = ["sessions_p10", "sessions_p50", "sessions_p90"]


class Studied:
    """Stands in for `compare`: numbers made up of the method's place among its fellows."""

    def __init__(self, *sessions):
        self.sessions, self.calls = sessions, []

    def __call__(self, blade, methods, **options):
        made = self.sessions[len(self.calls)]
        self.calls.append((blade, tuple(methods), options))
        rows, lives, runs = [], [], []
        for i, (method, mean) in enumerate(zip(methods, made, strict=True)):
            quantiles = dict(zip(SESSIONS, (mean - 2, mean, mean + 3), strict=True))
            more = {"minutes_per_session": 2.0 + i, "dull_radius_um": 4.0 + i}
            rows.append({"method": method.name} | quantiles | more)
            lives.append(Lived(mean, i))
            runs.append(
                pd.DataFrame(
                    {
                        "number": i,
                        "strength_left": [0.9 - 0.1 * i, 0.8 - 0.1 * i, 0.1],
                        "ended_by": ["once", f"rule {i}", f"rule {i}"],
                    }
                )
            )
        self.made = SimpleNamespace(
            table=pd.DataFrame(rows), lives=tuple(lives), runs=pd.concat(runs, ignore_index=True)
        )
        return self.made


class Lived:
    def __init__(self, mean, number):
        self.sessions = np.array([mean - 1.0, mean, mean + 1.0])
        self.number = number

    def last(self, name):
        of = {"mean_width_um": 100.0, "thickness_um": 30.0}[name]
        return np.array([1.0, of + self.number, 500.0])


def answered(monkeypatch, mixed, tilted, **given):
    study = Studied(mixed, tilted)
    monkeypatch.setattr(mixtures, "compare", study)
    monkeypatch.setattr(mixtures, "_by_strength", lambda *_: 50.0)
    return mixtures.face_or_sides(UNIVERSAL, runs=3, seed=8, **given), study


def test_face_or_sides_puts_together_what_two_comparisons_say(monkeypatch):
    side, face = ek.methods.held(15.0), ek.methods.face_honing()
    result, study = answered(
        monkeypatch,
        [20.0, 30.4, 25.0],
        [20.0, 28.0, 23.0, 18.0],
        side=side,
        face=face,
        mixes=((1, 0), (3, 1), (0, 1)),
        tilts_deg=(0.0, 0.5, 1.5),
    )
    (_, mixed, options), (_, slanted, others) = study.calls
    rules = (ek.MaxWidthLoss(), ek.MinLength(), ek.retire.MaxThicknessLoss(), ek.MinStrength())
    assert options == others == {"runs": 3, "seed": 8, "use": None, "retire": rules, "grid_runs": 0}
    assert [m.name for m in mixed] == [
        "sides only",
        "3 on the sides, then 1 on the face",
        "face only",
    ]
    assert mixed[1].methods == (side, side, side, face)
    assert slanted[0] == side
    assert [m.name for m in slanted[1:]] == [f"face, slant ± {t}°" for t in ("0", "0.5", "1.5")]
    terms = [m.hand.tilt_deg for m in slanted[1:]]
    assert terms == [ek.ErrorTerm(session_sd=tilt) for tilt in (0.0, 0.5, 1.5)]
    assert result.table.to_dict("list") == {
        "method": [m.name for m in mixed],
        "face_share": [0.0, 0.25, 1.0],
        "sessions_p10": [18.0, 28.4, 23.0],
        "sessions_p50": [20.0, 30.4, 25.0],
        "sessions_p90": [23.0, 33.4, 28.0],
        "width_lost_um": [100.0, 101.0, 102.0],
        "thickness_lost_um": [30.0, 31.0, 32.0],
        "strength_left": pytest.approx([0.8, 0.7, 0.6]),
        "ended_by": ["rule 0", "rule 1", "rule 2"],
        "minutes_per_session": [2.0, 3.0, 4.0],
    }
    assert result.by_tilt.to_dict("list") == {
        "tilt_sd_deg": [0.0, 0.5, 1.5],
        "sessions_p10": [26.0, 21.0, 16.0],
        "sessions_p50": [28.0, 23.0, 18.0],
        "sessions_p90": [31.0, 26.0, 21.0],
    }
    assert [*result.by_tilt] == ["tilt_sd_deg", *SESSIONS]
    assert result.tilt_tie_deg == pytest.approx(np.interp(-20, [-23, -18], [0.5, 1.5]))
    wanted = ideal_sessions(UNIVERSAL, face_share=np.arange(11) / 10, dull_radius_um=4.0)
    pd.testing.assert_frame_equal(result.ideal, wanted)
    said = (
        "Sides 20 sessions (18 to 23), face 25 (23 to 28), most with 3 on the sides, then 1 on the "
        "face: 30. They tie if the stone's slant on the face scatters by 1.10°. "
    )
    assert result.finding == f"{said}{crossover(UNIVERSAL)}"
    assert repr(result) == f"universal curette: {said.strip()}"
    page = result._repr_html_()
    assert "They tie" in page
    assert "<td>0.25</td>" in page
    part = dataclasses.replace(result, table=result.table.assign(strength_left=0.12345))
    assert "<td>0.12</td>" in part._repr_html_()


def test_face_or_sides_without_a_method_takes_the_holders_best_and_honing(monkeypatch):
    result, study = answered(
        monkeypatch, [20.0, 15.0], [20.0, 18.0, 16.0], mixes=((1, 0), (0, 1)), tilts_deg=(0.25, 2.0)
    )
    side = study.calls[1][1][0]
    best = ek.best_setting(UNIVERSAL.edges["left"])
    assert side == ek.methods.held(best, stop=ek.strokes.until_clear())
    assert study.calls[0][1][1] == dataclasses.replace(ek.methods.face_honing(), name="face only")
    assert result.tilt_tie_deg is None
    assert "They do not tie at any slant up to 2°. " in result.finding


def test_limits_are_those_of_the_evidence_unless_others_are_given():
    for function in (crossover, ideal_sessions):
        given = defaults(function)
        strength = entry("retire_strength_fraction").value
        assert given.pop("strength_fraction", strength) == strength
        assert set(given.values()) == {entry("retire_width_fraction").value}


def test_mixes_and_slants_that_make_no_sense_are_refused(monkeypatch):
    for mixes, says in (((), "must hold a mixture"), (((0, 0),), "needs a session")):
        with pytest.raises(ek.BadArgument, match=says):
            mixtures.face_or_sides(UNIVERSAL, mixes=mixes, seed=1)
    with pytest.raises(ek.BadArgument, match="tilts_deg"):
        answered(monkeypatch, [3.0, 4.0], [], mixes=((1, 0), (0, 1)), tilts_deg=(-0.1,))


@pytest.mark.parametrize(
    ("tilts", "sessions", "sides", "tie"),
    [
        ([0, 1, 2], [10, 8, 4], 6, 1.5),
        ([0, 1, 3], [10, 8, 4], 5, 2.5),
        ([0, 1], [10, 6], 6, 1.0),  # as long is not longer
        ([0, 1, 2], [10, 6, 4], 6, 1.0),
        ([0, 1, 2, 3], [10, 4, 8, 2], 6, 2 / 3),  # the first
        ([0, 1], [10, 8], 6, None),
        ([0, 1], [4, 3], 6, None),
        ([0, 1, 2], [4, 8, 7], 6, None),
        ([0, 1, 2], [4, 8, 5], 6, 1 + 2 / 3),
    ],
)
def test_a_tie_of_slants_lies_straight_between_trials(tilts, sessions, sides, tie):
    found = mixtures._tie(np.array(tilts, dtype=float), np.array(sessions, dtype=float), sides)
    assert found == (None if tie is None else pytest.approx(tie, rel=EXACT))


def test_mixtures_hold_200_sessions_of_each_at_most():
    side, face = ek.methods.held(15.0), ek.methods.face_honing()
    most = ek.mixture(side, face, sides=200, faces=200)
    assert most.methods == (side,) * 200 + (face,) * 200
    for sides, faces, name in ((201, 1, "sides"), (1, 201, "faces"), (-1, 1, "sides")):
        with pytest.raises(ek.BadArgument, match=name):
            ek.mixture(side, face, sides=sides, faces=faces)
    only = ek.mixture(side, face, sides=0, faces=3)
    assert only == dataclasses.replace(face, name="face only")
    only = ek.mixture(side, face, sides=3, faces=0)
    assert only == dataclasses.replace(side, name="sides only")
    with pytest.raises(ek.BadArgument, match="needs a session"):
        ek.mixture(side, face, sides=0, faces=0)
    assert ek.mixture(side, face, sides=1, faces=2).methods == (side, face, face)


# ---- grids and cases ----------------------------------------------------------------------------


def test_a_grid_has_a_million_rows_at_most_and_says_what_more_would_take():
    many = itertools.count()
    for make, most, said in (
        (lambda: ek.full_grid({"a": many}), 1_000_000, "0.1 GB"),
        (lambda: ek.full_grid({"a": range(1000), "b": range(1001)}), 1_000_000, "0.1 GB"),
        (lambda: ek.latin_hypercube({"a": (0.0, 1.0)}, 1_000_001, seed=1), 1_000_000, "0.1 GB"),
        (lambda: ek.sobol_points({"a": (0.0, 1.0)}, 2**20, seed=1), 1_000_000, "0.105 GB"),
    ):
        with pytest.raises(
            ek.BadArgument, match=f"{most:,} or less \\(they .*{said}\\)"
        ) as refused:
            make()
        assert refused.value.value in (1_000_001, 1_001_000, 2**20)
    # A generator without end is read no further than it takes to say so.
    assert next(many) == 1_000_001
    assert grid_module.power_of_two(2**19) == 2**19


def test_grids_take_a_seed_of_0_and_a_single_point():
    inputs = {"a": (2.0, 6.0), "b": stats.norm(1.0, 2.0)}
    for make, law in ((ek.latin_hypercube, qmc.LatinHypercube), (ek.sobol_points, qmc.Sobol)):
        for points in (1, 4):
            grid = make(inputs, points, seed=0)
            unit = law(d=2, rng=0).random(points)
            np.testing.assert_allclose(grid.column("a"), 2 + 4 * unit[:, 0], rtol=EXACT)
            wanted = [NormalDist(1, 2).inv_cdf(share) for share in unit[:, 1]]
            np.testing.assert_allclose(grid.column("b"), wanted, rtol=1e-7, atol=1e-9)
    with pytest.raises(ek.BadArgument, match="points"):
        ek.sobol_points(inputs, 0, seed=0)


@pytest.mark.parametrize("item", [(1.0, 1.0), (2.0, 1.0)])
def test_a_range_that_does_not_rise_is_refused(item):
    with pytest.raises(ek.BadArgument, match="a needs a low below its high"):
        ek.latin_hypercube({"a": item}, 2, seed=1)


def test_a_list_is_no_range():
    with pytest.raises(ek.BadArgument, match="range or a distribution"):
        ek.latin_hypercube({"a": [1.0, 2.0]}, 2, seed=1)


def test_a_grid_is_read_by_row_and_by_column():
    grid = ek.list_grid([{"a": 1, "b": 2}, {"b": 4, "a": 3}])
    assert grid.rows == ((1, 2), (3, 4))
    assert [grid.row(i) for i in (0, 1)] == [{"a": 1, "b": 2}, {"a": 3, "b": 4}]
    assert [grid.column(name) for name in "ab"] == [[1, 3], [2, 4]]
    for number in (-1, 2):
        with pytest.raises(ek.BadArgument, match="number"):
            grid.row(number)
    for names, rows in (((), ((),)), (("a",), ())):
        with pytest.raises(ek.BadArgument, match="a field and a row"):
            ek.Grid(names=names, rows=rows)


def test_labels_show_plain_values_and_name_the_others():
    def a_function():
        return None

    named = SimpleNamespace(name="one")
    nameless = SimpleNamespace(name="", x=1)
    given = [None, 1, "x", 2.5, np.float64(0.5), np.True_, named, a_function, nameless, (1, 2)]
    shown = grid_module.labels(given)
    assert shown == [None, 1, "x", 2.5, 0.5, True, "one", "a_function", str(nameless), "(1, 2)"]
    assert type(shown[4]) is float
    other = SimpleNamespace(name="one")
    assert grid_module.labels([named, other, named]) == ["one (1)", "one (2)", "one (1)"]


def test_a_pattern_of_the_package_is_made_once_and_one_of_ones_own_every_time():
    made = []

    def own():
        made.append(HOE)
        return HOE

    row = {"blade.width_mm": 1.25}
    assert TASK(row).blade is TASK(row).blade
    task = dataclasses.replace(TASK, blade=own)
    assert task({}).blade is task({}).blade is HOE
    assert len(made) == 2


TWO_RULES = (ek.MaxWidthLoss(), ek.MinLength())
ODD_RULES = (ek.MaxWidthLoss(), ek.retire.MinWidth(width_mm=0.6))


def test_a_rule_is_set_by_its_number_or_by_a_field_that_some_have():
    task = dataclasses.replace(TASK, retire=TWO_RULES)
    first, second = TWO_RULES
    assert task({"rule.1.fraction": 0.5}).retire == (
        first,
        dataclasses.replace(second, fraction=0.5),
    )
    task = dataclasses.replace(TASK, retire=ODD_RULES)
    assert task({"rule.fraction": 0.25}).retire == (ek.MaxWidthLoss(fraction=0.25), ODD_RULES[1])
    assert task({"rule.width_mm": 0.5}).retire[1] == ek.retire.MinWidth(width_mm=0.5)
    for name, says in (
        ("rule.2.fraction", "no such rule"),
        ("rule.0", "no such rule"),
        ("rule.depth", "no rule has"),
    ):
        with pytest.raises(UnknownField, match=says) as refused:
            task({name: 0.5})
        assert refused.value.value == name.partition(".")[2]


def test_constants_left_out_of_a_draw_stay():
    case = TASK({})
    same = case.with_constants({})
    assert (same.method, same.use, same.blade) == (case.method, case.use, case.blade)
    moved = case.with_constants({"removal": 0.9})
    assert moved.use == case.use
    ratio = moved.method.removal_mm3_per_stroke / case.method.removal_mm3_per_stroke
    gsd = case.method.abrasive.removal.spread.gsd
    assert ratio == pytest.approx(gsd ** NormalDist().inv_cdf(0.9), rel=1e-9)
    back = dataclasses.replace(
        moved.method, removal_mm3_per_stroke=case.method.removal_mm3_per_stroke
    )
    assert back == case.method
    for share in (0.0, 1.0, 1.5, -0.5):
        with pytest.raises(ek.BadArgument, match="removal must lie between 0 and 1"):
            case.with_constants({"removal": share})
    with pytest.raises(ek.BadArgument, match="name"):
        case.with_constants({"gravity": 0.5})


def test_a_constant_of_value_0_moves_by_an_amount():
    case = dataclasses.replace(TASK, use=ek.Use(attrition_um=0.5))({})
    item = entry("attrition_um_per_use")
    assert item.value == 0
    moved = case.with_constants({"attrition_um_per_use": 0.75}).use
    wanted = 0.5 + (item.value + item.spread.high) / 2  # half of what lies above the value
    assert moved.attrition_um == pytest.approx(wanted, rel=EXACT)


def test_lives_lived_again_are_the_first_eight_with_every_draw():
    case = TASK({})
    table = case.lived_again(draws=3, runs=12, seed=2)
    assert table["draw"].tolist() == np.repeat([0, 1, 2], 8).tolist()
    assert table["run"].tolist() == [*range(8)] * 3
    assert len(case.lived_again(draws=2, runs=3, seed=2)) == 6
    assert case.lived_again(draws=0, runs=3, seed=2).empty
    columns = outcomes.sample_columns(
        case.with_constants(ignorance.drawn(3, 2)[1]).live(SeededKeys(2, runs=8))
    )
    for name in ("sessions", "loss_um_per_session"):
        assert table.loc[table["draw"] == 1, name].tolist() == columns[name].tolist()
    with pytest.raises(ek.BadArgument, match="10,000 or less"):
        case.lived_again(draws=10_001, runs=1, seed=2)
    assert ignorance.MAX_DRAWS == 10_000


def test_cases_live_without_histories_unless_asked():
    lives = TASK({}).live(SeededKeys(1, runs=3))
    assert all(track.shape[0] == 0 for track in lives.tracks.values())
    lives = TASK({}).live(SeededKeys(1, runs=3), histories=2)
    assert {track.shape[0] for track in lives.tracks.values()} == {2}


def test_intervals_of_a_case_take_two_lives_and_two_draws_or_more():
    case = TASK({})
    table = case.intervals(runs=2, draws=2, seed=0, level=0.5).set_index("outcome")
    assert (table["level"] == 0.5).all()
    row = table.loc["sessions"]
    assert row["variation_low"] <= row["value"] <= row["variation_high"]
    for options in ({"runs": 1}, {"draws": 1}, {"level": 0.0}, {"level": 1.0}, {"level": 1.5}):
        with pytest.raises(ek.BadArgument, match=next(iter(options))):
            case.intervals(**({"runs": 2, "draws": 2, "seed": 0} | options))


REFUSED = {
    ek.LifeCase.intervals: lambda: TASK.intervals(draws=1, seed=1),
    ek.compare: lambda: ek.compare(HOE, [], seed=1),
    ek.sensitivity: lambda: ek.sensitivity(TASK, {}, seed=1),
    ek.tornado: lambda: ek.tornado(TASK, {}, seed=1),
    ek.key_inputs: lambda: ek.key_inputs(3, 3, seed=1),
    ek.runs_needed: lambda: ek.runs_needed([1.0], error=1.0),
    ek.sweep: lambda: ek.sweep(3, 3, runs=1, seed=1),
    mixtures.face_or_sides: lambda: mixtures.face_or_sides(3, seed=1),
}


@pytest.mark.parametrize("function", REFUSED, ids=lambda function: function.__name__)
def test_defaults_are_those_documented_and_make_no_nonsense_pass(function):
    with pytest.raises(ek.EdgekitError):
        REFUSED[function]()
    assert defaults(function).keys() >= DEFAULTS[function].keys()
    for name, value in DEFAULTS[function].items():
        assert defaults(function)[name] == value, name


DEFAULTS = {
    ek.LifeCase.intervals: {"runs": 200, "draws": 24, "level": 0.9},
    ek.compare: {"runs": 200, "grid_runs": 32, "ignorance_draws": 0, "level": 0.9},
    ek.sensitivity: {
        "points": 64,
        "runs": 32,
        "outputs": ("loss_um_per_session", "sessions", "minutes_per_session"),
        "level": 0.9,
    },
    ek.tornado: {"share": 0.8, "runs": 200},
    ek.key_inputs: {"runs": 60},
    ek.runs_needed: {"level": 0.9},
    ek.sweep: {"summary": False, "grid_runs": 0, "ignorance_draws": 0, "chunk_runs": 2048},
    mixtures.face_or_sides: {
        "mixes": ((1, 0), (3, 1), (1, 1), (1, 3), (0, 1)),
        "tilts_deg": (0.0, 0.25, 0.5, 1.0, 2.0),
        "runs": 40,
    },
}


def test_differences_are_from_the_first_method_unless_another_is_named():
    given = defaults(ek.Comparison.differences)
    assert given == {"column": "loss_um_per_session", "base": 0, "level": 0.9}


# ---- comparisons --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def compared():
    """Three methods, five lives each, three draws."""
    methods = [in_steps(placements=n) for n in (3, 5, 8)]
    return ek.compare(HOE, methods, runs=5, seed=4, ignorance_draws=3, level=0.5, **FEW)


@pytest.mark.parametrize("base", [0, 2])
@pytest.mark.parametrize("level", [0.9, 0.5])
def test_differences_are_those_of_paired_lives(compared, base, level):
    table = compared.differences(base=base, level=level)
    lives, draws = (
        part.pivot_table(index=index, columns="number", values="loss_um_per_session")
        for part, index in ((compared.runs, "run"), (compared.draws, "draw"))
    )
    half = NormalDist().inv_cdf((1 + level) / 2)
    for i, row in table.iterrows():
        gap = lives[i] - lives[base]
        assert row["difference"] == pytest.approx(gap.mean(), rel=1e-9)
        assert row["mc"] == pytest.approx(gap.sem(), rel=1e-9)
        assert row["low"] == pytest.approx(gap.mean() - half * gap.sem(), rel=1e-9)
        assert row["high"] == pytest.approx(gap.mean() + half * gap.sem(), rel=1e-9)
        unpaired = math.sqrt(lives[i].sem() ** 2 + lives[base].sem() ** 2)
        assert row["unpaired_mc"] == pytest.approx(unpaired, rel=1e-9)
        ends = np.quantile(
            draws[i] - draws[base], [(1 - level) / 2, (1 + level) / 2], method="weibull"
        )
        assert row[["ignorance_low", "ignorance_high"]].tolist() == pytest.approx(ends.tolist())


def test_a_comparison_summarises_its_lives(compared):
    for number, row in compared.table.iterrows():
        lives = compared.runs[compared.runs["number"] == number]
        for name in outcomes.VALUES:
            assert row[name] == pytest.approx(lives[name].mean(), rel=EXACT)
            assert row[f"{name}_sd"] == pytest.approx(lives[name].std(), rel=1e-9)
            assert row[f"{name}_mc"] == pytest.approx(lives[name].sem(), rel=1e-9)
        assert row["unfinished"] == (lives["ended_by"] == "").mean() == 0
        ends = np.quantile(lives["sessions"], [0.25, 0.75], method="weibull")
        assert row["sessions_variation_low"] == pytest.approx(ends[0])
        assert row["sessions_variation_high"] == pytest.approx(ends[1])
    assert compared.level == 0.5


def test_intervals_of_a_comparison_name_the_method_first(compared):
    table = compared.intervals()
    assert [*table][:3] == ["method", "outcome", "value"]
    wider = compared.intervals(level=0.75)
    assert (wider["level"] == 0.75).all()
    assert (wider["variation_low"] <= table["variation_low"]).all()
    assert (wider["variation_low"] < table["variation_low"]).any()
    names = [method.name for method in compared.methods]
    assert table["method"].drop_duplicates().tolist() == names[:1]  # all of one name
    size = len(ignorance.OUTCOMES)
    assert len(table) == 3 * size
    for number in range(3):
        row = table.iloc[size * number : size * (number + 1)].set_index("outcome").loc["sessions"]
        lives = compared.runs.loc[compared.runs["number"] == number, "sessions"]
        assert row["value"] == pytest.approx(lives.mean())
        assert row["level"] == 0.5
        again = compared.draws[compared.draws["number"] == number]
        ends = np.quantile(again["sessions"], [0.25, 0.75], method="weibull")
        assert row[["both_low", "both_high"]].tolist() == pytest.approx(ends.tolist())
        means = again.groupby("draw")["sessions"].mean()
        ends = np.quantile(means, [0.25, 0.75], method="weibull")
        assert row[["ignorance_low", "ignorance_high"]].tolist() == pytest.approx(ends.tolist())


@pytest.mark.parametrize("level", [0.0, 1.0, 1.5, -0.5])
def test_levels_lie_between_nothing_and_all(compared, level):
    for call in (
        lambda: compared.intervals(level=level),
        lambda: compared.differences(level=level),
        lambda: ek.compare(HOE, compared.methods[:1], runs=2, seed=1, level=level, **FEW),
    ):
        with pytest.raises(ek.BadArgument, match="level"):
            call()


@pytest.mark.parametrize("base", [-1, 3, 0.5])
def test_a_base_numbers_a_method(compared, base):
    with pytest.raises(ek.BadArgument, match="base"):
        compared.differences(base=base)


def test_a_comparison_in_short(compared):
    page = compared._repr_html_()
    assert page.startswith("<")
    assert "5 lives per method" in page
    assert "sessions, p10" in page
    text = repr(compared)
    for mean in compared.table["loss_um_per_session"]:
        assert f" {mean:.1f}" in text
    assert "more" not in text
    five, four = (
        dataclasses.replace(compared, table=pd.concat([compared.table] * 2, ignore_index=True)[:n])
        for n in (5, 4)
    )
    assert repr(five).endswith(" and 1 more")
    assert repr(five).count(compared.methods[0].name) == 4
    assert "more" not in repr(four)
    words = compared.cite()
    assert "5 simulated lives per method" in words
    assert "12 stations, 3 depths" in words


def test_one_method_is_a_comparison_too():
    alone = ek.compare(
        HOE, [in_steps()], runs=2, seed=0, retire=ek.MaxWidthLoss(fraction=0.05), **FEW
    )
    assert "2 simulated lives per method" in alone.cite()
    assert "5 %" in alone.cite() or "5%" in alone.cite()
    assert alone.differences()["difference"].tolist() == [0.0]


def test_comparisons_are_bounded_and_say_what_more_would_take():
    one = in_steps()
    for methods, memory in (([one], "2.5 GB"), ([one, one], "5 GB")):
        with pytest.raises(ek.BadArgument, match=f"5,000,000 or less .*take {memory}"):
            ek.compare(HOE, methods, runs=5_000_001, seed=1)
    for options in ({"runs": 1}, {"grid_runs": -1}, {"ignorance_draws": -1}):
        with pytest.raises(ek.BadArgument, match=next(iter(options))):
            ek.compare(HOE, [one], **({"runs": 2, "seed": 1} | options))
    with pytest.raises(ek.BadArgument, match="ignorance_draws must be 10,000 or less"):
        ek.compare(HOE, [one], runs=2, seed=1, ignorance_draws=10_001)


def test_of_2000_lives_every_session_is_kept():
    brief = ek.MaxWidthLoss(fraction=1e-6)  # used up by the first session
    options = {"seed": 1, "retire": brief, **FEW}
    result = ek.compare(HOE, [in_steps(placements=1)], runs=2001, **options)
    assert result.lives[0].tracks["mean_width_um"].shape == (2000, 1)
    assert result.lives[0].sessions.tolist() == [1] * 2001


def test_all_lives_are_lived_again_on_a_finer_grid_where_more_are_asked_for():
    options = {"runs": 3, "seed": 1} | FEW
    for asked, given in ((0, 0), (1, 1), (2, 2), (7, 3)):
        result = ek.compare(HOE, [in_steps()], **(options | {"grid_runs": asked}))
        assert result.runs["grid_um"].notna().sum() == given
        error = result.table["grid_um_mc"][0]
        assert {0: math.isnan(error), 1: math.isinf(error)}.get(given, math.isfinite(error))


# ---- sweeps -------------------------------------------------------------------------------------

STROKES = ek.full_grid({"use.strokes": [15, 45]})


def swept(**options):
    return ek.sweep(TASK, STROKES, **({"runs": 2, "seed": 1, "progress": False} | options))


def test_sweeps_are_bounded_and_say_what_more_would_take():
    one = ek.full_grid({"use.strokes": [15]})
    for grid, most, memory in ((one, 20_000_000, "3 GB"), (STROKES, 10_000_000, "3 GB")):
        with pytest.raises(ek.BadArgument, match=f"{most:,} or less .*take {memory}"):
            ek.sweep(TASK, grid, runs=most + 1, seed=1, progress=False)
    for grid, most in ((one, 500_000_000), (STROKES, 250_000_000)):
        with pytest.raises(ek.BadArgument, match=f"must be {most:,} or less, got"):
            ek.sweep(TASK, grid, runs=most + 1, seed=1, summary=True, progress=False)
    with pytest.raises(ek.BadArgument, match="ignorance_draws must be 10,000 or less"):
        swept(ignorance_draws=10_001)


def test_a_seed_of_0_is_a_seed():
    zero, one = (swept(seed=seed)["loss_um_per_session"] for seed in (0, 1))
    assert (zero != one).all()


class Cut(Executor):
    """Keeps the chunks it is given, until it is stopped."""

    def __init__(self):
        self.chunks = []

    def submit(self, _function, _live, _task, chunks):
        self.chunks += chunks
        future = Future()
        future.set_exception(KeyboardInterrupt())
        return future


@pytest.mark.parametrize(
    ("runs", "pieces"),
    [(2049, [[2048], [1]]), (683, [[683, 683], [683]]), (200, [[200] * 3]), (1025, [[1025]] * 3)],
)
def test_lives_go_in_pieces_and_chunks_of_2048(runs, pieces):
    pool = Cut()
    grid = ek.full_grid({"use.strokes": [15] if runs > 2048 else [15, 30, 45]})
    with pytest.warns(UserWarning, match="chunks not run") as warned:
        ek.sweep(TASK, grid, runs=runs, seed=1, progress=False, executor=pool)
    assert [[piece.runs for piece in chunk.pieces] for chunk in pool.chunks] == pieces
    assert [item.filename for item in warned] == [__file__]


def test_a_table_begins_with_the_row_its_fields_and_the_run():
    grid = ek.full_grid({"use.strokes": [15, 45], "use.patch_cv": [0.2]})
    options = {"runs": 2, "seed": 1, "progress": False}
    table = ek.sweep(TASK, grid, **options)
    assert [*table][:5] == ["row", "use.strokes", "use.patch_cv", "run", "status"]
    assert table["run"].tolist() == [0, 1, 0, 1]
    table = ek.sweep(TASK, grid, **options, summary=True)
    assert [*table][:5] == ["row", "use.strokes", "use.patch_cv", "status", "lives"]


@pytest.mark.parametrize("piece", [2])
def test_the_first_lives_of_a_row_are_refined_whatever_the_pieces(piece, monkeypatch):
    whole = swept(runs=5, grid_runs=3)
    assert whole["grid_um"].notna().tolist() == [True, True, True, False, False] * 2
    monkeypatch.setattr(sweep_module, "PIECE_RUNS", piece)
    pd.testing.assert_frame_equal(whole, swept(runs=5, grid_runs=3))


def test_ignorance_in_a_sweep_takes_no_more_lives_than_there_are(tmp_path):
    table = swept(runs=3, ignorance_draws=2, out=tmp_path)
    assert {path.name for path in tmp_path.iterdir()} >= {"ignorance", "manifest.json"}
    again = TASK(STROKES.row(1)).lived_again(draws=2, runs=3, seed=1)
    means = again.groupby("draw")["loss_um_per_session"].mean()
    ends = np.quantile(means, [0.05, 0.95], method="weibull")
    row = table[table["row"] == 1].iloc[0]
    found = [row[f"loss_um_per_session_ignorance_{end}"] for end in ("low", "high")]
    assert found == pytest.approx(ends.tolist(), rel=EXACT)


def test_progress_begins_with_the_lives_that_are_there(tmp_path, capsys):
    swept(chunk_runs=2, out=tmp_path)
    (tmp_path / "part-000001.csv").unlink()
    swept(chunk_runs=2, out=tmp_path, progress=True)
    assert capsys.readouterr().err.startswith("edgekit: 4 of 4 lives")


def test_an_executor_needs_a_submit():
    for executor in (3, SimpleNamespace(submit=None)):
        with pytest.raises(ek.BadArgument, match="must have a submit"):
            swept(executor=executor)


# ---- sensitivity --------------------------------------------------------------------------------


def by_hand(function, inputs, number, seed, level, resamples=400):
    """Saltelli et al. 2010, table 2: (b) for the first, (f) for the total; percentiles of blocks of
    points drawn again.
    """
    size = len(inputs)
    unit = qmc.Sobol(d=2 * size, rng=seed).random(number)
    a, b = unit[:, :size], unit[:, size:]
    spread = [NormalDist(*item).inv_cdf if isinstance(item, list) else item for item in inputs]

    def values(points):
        columns = [
            np.array([item(q) for q in column])
            if callable(item)
            else item[0] + (item[1] - item[0]) * column
            for item, column in zip(spread, points.T, strict=True)
        ]
        return function(np.stack(columns, axis=1)).T

    y_a, y_b = values(a), values(b)
    y_ab = []
    for i in range(size):
        mixed = a.copy()
        mixed[:, i] = b[:, i]
        y_ab.append(values(mixed))

    def shares(rows):
        both = np.concatenate([y_a[:, rows], y_b[:, rows]], axis=1)
        mean, variance = both.mean(axis=1, keepdims=True), both.var(axis=1)
        first = [((y_b[:, rows] - mean) * (y[:, rows] - y_a[:, rows])).mean(axis=1) for y in y_ab]
        total = [((y_a[:, rows] - y[:, rows]) ** 2).mean(axis=1) / 2 for y in y_ab]
        return np.array([first, total]) / variance  # (2, D, K)

    rng = np.random.default_rng(seed)
    again = [shares(rng.integers(0, number, number)) for _ in range(resamples)]
    low, high = np.quantile(again, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return shares(np.arange(number)), low, high


def curved(x):
    return np.stack([x[:, 0] + 2 * x[:, 1] * x[:, 1], x[:, 0] * x[:, 1]], axis=1)


def line(x):
    return 3 * x[:, :1] + 1


@pytest.mark.parametrize(
    ("function", "inputs", "outputs", "level"),
    [
        (curved, {"a": (0.0, 1.0), "b": (-1.0, 3.0)}, ["p", "q"], 0.9),
        (curved, {"a": (0.0, 1.0), "b": stats.norm(0.0, 2.0)}, ["p", "q"], 0.5),
        (line, {"a": (0.0, 1.0)}, ["p"], 0.9),
        (lambda x: curved(x)[:, :1], {"a": (0.0, 1.0), "b": (2.0, 3.0)}, ["p"], 0.9),
    ],
)
def test_shares_of_variance_are_those_of_saltelli(function, inputs, outputs, level):
    table = sensitivity.variance_shares(function, inputs, outputs, points=8, seed=0, level=level)
    plain = [item if isinstance(item, tuple) else [0.0, 2.0] for item in inputs.values()]
    found = by_hand(function, plain, 8, 0, level)
    assert table["output"].tolist() == [name for name in outputs for _ in inputs]
    assert table["input"].tolist() == [*inputs] * len(outputs)
    for end, values in zip(("", "_low", "_high"), found, strict=True):
        for j, kind in enumerate(("first", "total")):
            np.testing.assert_allclose(
                table[kind + end], values[j].T.ravel(), rtol=1e-6, atol=1e-9, err_msg=kind + end
            )


def test_eight_points_are_the_fewest_for_shares():
    with pytest.raises(ek.BadArgument, match="8 or more"):
        sensitivity.variance_shares(line, {"a": (0.0, 1.0)}, ["p"], points=4, seed=1)
    with pytest.raises(ek.BadArgument, match="seed"):
        sensitivity.variance_shares(line, {"a": (0.0, 1.0)}, ["p"], points=8, seed=-1)


def test_sensitivities_show_two_decimals_and_swings_three():
    row = pd.DataFrame({"x": [0.123456]})
    assert "<td>0.12</td>" in ek.Sensitivity(table=row, samples=row)._repr_html_()
    assert "<td>0.123</td>" in ek.Tornado(table=row)._repr_html_()


def test_a_tornado_reads_lives_by_their_place(monkeypatch):
    # Lives of one output, three runs a case: the base first, then low and high of each input.
    asked = {}
    lives = {"one": [5, 6, 7, 1, 2, 6, 8, 9, 13, 4, 5, 7, 4, 4, 7], "two": [1.0] * 15}

    def one_at_a_time(task, base, ends, **options):
        asked.update(task=task, base=base, ends=ends, options=options)
        return pd.DataFrame({name: np.array(values, dtype=float) for name, values in lives.items()})

    monkeypatch.setattr(sensitivity, "one_at_a_time", one_at_a_time)
    inputs = {"b": stats.expon(scale=2.0), "a": (10.0, 20.0)}
    table = ek.tornado(TASK, inputs, runs=3, seed=1, outputs=["one", "two"]).table
    ppf = [-2 * math.log(1 - q) for q in (0.1, 0.5, 0.9)]  # of the exponential law
    assert asked["base"] == {"b": pytest.approx(ppf[1]), "a": 15.0}
    assert asked["ends"] == [
        ("b", pytest.approx(ppf[0]), pytest.approx(ppf[2])),
        ("a", pytest.approx(11.0), pytest.approx(19.0)),
    ]
    one = table[table["output"] == "one"].set_index("input")
    assert one.index.tolist() == ["b", "a"]
    assert one["base"].tolist() == [6.0, 6.0]
    assert one.loc["b", ["at_low", "at_high", "swing"]].tolist() == [3.0, 10.0, 7.0]
    assert one["low_value"].tolist() == pytest.approx([ppf[0], 11.0])
    assert one["high_value"].tolist() == pytest.approx([ppf[2], 19.0])
    gaps = [[8 - 1, 9 - 2, 13 - 6], [4 - 4, 4 - 5, 7 - 7]]
    assert one["swing"].tolist() == pytest.approx([np.mean(gap) for gap in gaps])
    assert one["swing_mc"].tolist() == pytest.approx([stats.sem(gap) for gap in gaps])


def test_an_output_is_a_column_of_numbers_of_the_summary():
    columns = {"sessions_p50": [3.5], "sessions": [9], "loss": [2], "name": ["x"]}
    table = pd.DataFrame(columns)
    assert sensitivity._output(table, "sessions", summary=True).tolist() == [3.5]
    assert sensitivity._output(table, "sessions").tolist() == [9.0]
    assert sensitivity._output(table, "loss", summary=True).tolist() == [2.0]
    for name in ("name", "width"):
        with pytest.raises(ek.BadArgument, match="no such output"):
            sensitivity._output(table, name)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
@pytest.mark.parametrize("pilot", [[2.0, 7.0], [1.0, 2.0, 4.0, 8.0]])
@pytest.mark.parametrize("error", [0.7, 3.0, 1000.0])
def test_runs_needed_are_steins(pilot, level, error):
    t = stats.t(len(pilot) - 1).isf((1 - level) / 2)
    spread = np.std(pilot) * math.sqrt(len(pilot) / (len(pilot) - 1))
    wanted = max(len(pilot), math.ceil((t * spread / error) ** 2))
    assert ek.runs_needed(pilot, error=error, level=level) == wanted


def test_runs_needed_stay_whole_numbers_without_gaps(monkeypatch):
    pilot = [-1.0, 1.0]
    spread = stats.t(1).ppf(0.95) * math.sqrt(2)
    most = 2.0**26.5  # its square is 2⁵³
    assert 0.99 < ek.runs_needed(pilot, error=spread / most * 1.001) / 2**53 < 1
    with pytest.raises(ek.BadArgument, match="too many runs"):
        ek.runs_needed(pilot, error=spread / most * 0.999)
    monkeypatch.setattr(sensitivity, "MAX_RUNS", 16)
    with pytest.raises(ek.BadArgument, match="too many runs"):
        ek.runs_needed(pilot, error=float(stats.t.ppf(0.95, 1)) * np.std(pilot, ddof=1) / 4.0)


# ---- which inputs decide a result ---------------------------------------------------------------

ROLLED = ek.methods.freehand()
STEPS = ek.methods.freehand(stroke=ek.strokes.local())
SATURATING = ek.Use(law=ek.SaturatingDulling(limit_um=4.0, strokes=20.0))


def names(method, use=None):
    case = ek.LifeCase(blade=HOE, method=method, use=use or ek.Use(), retire=(ek.MaxWidthLoss(),))
    return {item.name: field for item, field in evidence_ranges._fields(case, method).items()}


def test_inputs_are_those_that_bear_on_the_method_and_the_law():
    rolled, steps = names(ROLLED), names(STEPS)
    assert {"strokes_between_looks", ROLLED.abrasive.removal.name} <= {*rolled} - {*steps}
    assert {"placements", "depth_cv"} <= {*steps} - {*rolled}
    gone = {"dull_rate_um2_per_stroke", "dull_exponent"}
    assert gone <= {*rolled}
    assert names(ROLLED, SATURATING) == {n: f for n, f in rolled.items() if n not in gone}
    assert rolled["retire_width_fraction"] == "rule.fraction"


def test_an_input_of_the_law_moves_the_law_and_a_count_is_whole():
    use = ek.Use(strokes=45.0)
    faster = evidence_ranges._set(use, "dull_rate_um2_per_stroke", 0.7)
    assert faster == dataclasses.replace(use.law, rate=0.7)
    steeper = evidence_ranges._set(use, "dull_exponent", 0.3)
    assert steeper.exponent == 0.3
    start = use.sharp_radius_um
    once, again = (float(law.after(start, 45.0)) for law in (use.law, steeper))
    assert again == pytest.approx(once, rel=1e-9)
    assert evidence_ranges._set(use, "placements", 5.0) == 5
    assert type(evidence_ranges._set(use, "placements", 5.0)) is int
    assert evidence_ranges._set(use, "strokes_per_use", 30.0) == 30.0
    assert type(evidence_ranges._set(use, "strokes_per_use", 30.0)) is float
    for name in ("dull_rate_um2_per_stroke", "dull_exponent"):
        assert evidence_ranges._set(SATURATING, name, 0.7) == 0.7


def test_other_models_are_those_the_method_does_not_have():
    for method, wanted in ((ROLLED, ["stroke model", "stop rule"]), (STEPS, ["stroke model"])):
        models = evidence_ranges._models(method)
        assert [*models] == wanted
        own = "rolling" if method.rolls else "local"
        assert models["stroke model"][own] == method
        assert [way.rolls for way in models["stroke model"].values()] == [True, False]
    assert evidence_ranges._models(ek.methods.face_honing()) == {}


def test_default_values_are_read_from_the_case():
    case = ek.LifeCase(
        blade=HOE, method=STEPS, use=ek.Use(strokes=33.0), retire=ek.MaxWidthLoss(fraction=0.12)
    )
    assert evidence_ranges._default(case, "use.strokes") == 33.0
    assert evidence_ranges._default(case, "rule.fraction") == 0.12
    assert evidence_ranges._default(case, "method.hand.tilt_deg.sd") == STEPS.hand.tilt_deg.sd


def test_key_inputs_tabulate_what_their_cases_give(monkeypatch):
    calls = []

    def one_at_a_time(_task, base, ends, **options):
        first = 1000.0 * len(calls)
        calls.append((base, ends, options))
        place = first + np.arange(1 + 2 * len(ends))
        return pd.DataFrame({"loss_um_per_session": place**2, "sessions_p50": place + 0.5})

    monkeypatch.setattr(evidence_ranges, "one_at_a_time", one_at_a_time)
    table = ek.key_inputs(HOE, ROLLED, runs=7, seed=9)
    assert [*table] == [
        "input",
        "status",
        "low",
        "high",
        "loss_um_at_low",
        "loss_um_at_high",
        "loss_um_default",
        "sessions_at_low",
        "sessions_at_high",
        "swing_um",
    ]
    (base, ends, options), (own, ways, others) = calls
    assert options == others == {"runs": 7, "seed": 9, "progress": False, "summary": True}
    assert {name for name, _, _ in ends} == {*base}
    assert own == {"method": ROLLED}
    assert [name for name, _, _ in ways] == ["method", "method"]
    inputs = [*names(ROLLED), "stroke model", "stop rule"]
    assert {*table["input"]} == {*inputs}
    assert (np.diff(table["swing_um"]) <= 0).all()
    assert (table["loss_um_default"] == 0).all()
    for row in table.itertuples():
        at = inputs.index(row.input)
        model = at - len(ends)
        low = 1 + 2 * at if model < 0 else 1000 + 1 + 2 * model
        assert (row.loss_um_at_low, row.loss_um_at_high) == (low**2, (low + 1) ** 2)
        assert (row.sessions_at_low, row.sessions_at_high) == (low + 0.5, low + 1.5)
        assert row.swing_um == (low + 1) ** 2 - low**2
        assert row.status == ("assumed" if model >= 0 else entry(row.input).status.value)


# ---- what nobody measured -----------------------------------------------------------------------


def test_draws_cut_each_constant_into_strata():
    draws = ignorance.drawn(5, 3)
    rng = np.random.default_rng([3, len(ignorance.CONSTANTS)])
    for name in ignorance.CONSTANTS:
        wanted = (rng.permutation(5) + rng.random(5)) / 5
        assert [draw[name] for draw in draws] == wanted.tolist()
    assert sorted(math.floor(5 * draw["removal"]) for draw in draws) == [0, 1, 2, 3, 4]


def test_intervals_without_draws_are_missing():
    lives = pd.DataFrame({"sessions": [3.0, 5.0, 9.0]})
    row = ignorance.intervals(lives, pd.DataFrame(), 0.5, ["sessions"]).iloc[0]
    assert row["value"] == pytest.approx(17 / 3)
    assert [row["variation_low"], row["variation_high"]] == [3.0, 9.0]
    assert row[["ignorance_low", "ignorance_high", "both_low", "both_high"]].isna().all()
