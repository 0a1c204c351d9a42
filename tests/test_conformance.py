"""Checks of users' own objects: good ones pass and run in a life, each kind of fault is named."""

from dataclasses import dataclass

import numpy as np
import pytest

import edgekit as ek
from tests.user_script import Stepwise, Worst


@dataclass(frozen=True)
class Law:
    """A law with the fault of a formula given."""

    formula: object

    def after(self, radius_um, strokes):
        return self.formula(radius_um, strokes)


@dataclass(frozen=True)
class Rule:
    """A rule with the fault of a formula given."""

    formula: object
    words: str = "a rule"

    def used_up(self, lost):
        return self.formula(lost)

    def __str__(self):
        return self.words


@dataclass(frozen=True)
class Guide:
    """A guide with the fault of a formula given."""

    formula: object
    setups: int = 1

    def normals(self, edge, arc_mm):
        return self.formula(edge, arc_mm)


@dataclass(frozen=True)
class Stone:
    """A stone of any length and curvature."""

    length_mm: float = 30.0
    curvature_per_mm: float = 0.2


@dataclass(frozen=True)
class Stroke:
    """A stroke with the fault of a formula given."""

    formula: object
    direction: object = ek.across_edge()
    within_tilt_sd_deg: float = 1.0
    correlation_s: float = 0.4

    def stretch(self, arc_mm, margin_mm):
        return self.formula(arc_mm, margin_mm)


@dataclass(frozen=True)
class Stop:
    """A stop rule that does what `until_clear` does, but for what is given."""

    margin: object = ek.strokes.until_clear().margin
    least_inset: object = ek.strokes.until_clear().least_inset
    done: object = ek.strokes.until_clear().done
    strokes_between_looks: int = 2


USE = ek.Use(law=Stepwise(), strokes=45.0)


def about_dullest(arc_mm, margin_mm, reach=1.0):
    middle = arc_mm[margin_mm.argmax(axis=0)]
    return middle - reach, middle + reach


def after_best(arc_mm, margin_mm):
    """As the dullest run asks, for all of them."""
    first, last = about_dullest(arc_mm, margin_mm)
    return np.full_like(first, first.min()), np.full_like(last, last.max())


def outward(edge, arc_mm):
    return edge.frame(arc_mm, order=0).outward.value


def test_what_the_package_offers_passes():
    for law in (
        ek.PowerDulling(),
        ek.PowerDulling(exponent=0.2, rate=1.0),
        ek.SaturatingDulling(limit_um=6.0, strokes=20.0),
        ek.TableDulling(strokes=[0, 15, 45], radius_um=[1.5, 3, 5]),
    ):
        ek.testing.check_dulling_law(law)
    for rule in (ek.MaxWidthLoss(), ek.MinWidth(width_mm=0.7), ek.MinLength(), ek.MinStrength()):
        ek.testing.check_retire_rule(rule)
    ek.testing.check_retire_rule(ek.MaxThicknessLoss())
    for guide in (ek.FollowEdge(), ek.HoldElevation(elevations_deg=(10.0, 30.0))):
        ek.testing.check_guide(guide)
    for stone in (ek.FlatStone(length_mm=np.inf), ek.RodStone(), ek.DiscStone()):
        ek.testing.check_stone(stone)
    for stroke in (ek.strokes.rolling(), ek.strokes.rolling(stretch_mm=0.3)):
        ek.testing.check_stroke(stroke)
    for stop in (ek.strokes.counted(), ek.strokes.until_clear(), ek.strokes.until_fresh()):
        ek.testing.check_stop_rule(stop)


def test_a_persons_own_pass_and_run_in_compare():
    ek.testing.check_dulling_law(Stepwise())
    ek.testing.check_retire_rule(Worst())
    ek.testing.check_guide(Guide(outward))
    ek.testing.check_stone(Stone())
    ek.testing.check_stroke(Stroke(about_dullest))
    ek.testing.check_stop_rule(Stop())
    lives = ek.compare(
        ek.patterns.universal_curette(),
        [ek.methods.freehand()],
        runs=2,
        seed=1,
        use=ek.Use(law=Stepwise()),
        retire=Worst(),
        stations=16,
        depths=4,
    )
    assert lives.table["sessions_p50"].iloc[0] >= 1
    method = ek.methods.freehand(stroke=Stroke(about_dullest), stop=Stop())
    small = {"runs": 2, "seed": 1, "grid_runs": 0}
    nodes = {"stations": 16, "depths": 4}
    mine = ek.compare(ek.patterns.universal_curette(), [method], use=USE, **small, **nodes)
    assert (mine.runs["sharp_fraction"] > 0.9).all()
    case = ek.LifeCase(blade=ek.patterns.universal_curette, method=method, use=USE, **nodes)
    grid = ek.full_grid({"use.strokes": [15.0, 45.0]})
    table = ek.sweep(case, grid, progress=False, **small)
    assert (table["status"] == "ok").all()
    swept = table.loc[table["use.strokes"] == 45.0, "loss_um_per_session"]
    assert swept.tolist() == mine.runs["loss_um_per_session"].tolist()
    session = ek.sharpen(ek.patterns.hoe(), method, dull_radius_um=4.0, rng=1, stations=16)
    assert session.edges["edge"].sharp_fraction >= 0.98


FAULTS = {
    "a law without a method": ("check_dulling_law", 3.0, "not a DullingLaw"),
    "a law's class": ("check_dulling_law", ek.PowerDulling, "not a DullingLaw"),
    "a law that fails": ("check_dulling_law", Law(lambda r, _n: r.nonsense), "failed"),
    "a law of scalars": ("check_dulling_law", Law(lambda _r, _n: 4.0), "shape"),
    "a law that gives NaN": ("check_dulling_law", Law(lambda r, _n: r * np.nan), "finite"),
    "a law that sharpens": ("check_dulling_law", Law(lambda r, n: r / (1 + n)), "not sharpen"),
    "a law with a jump": ("check_dulling_law", Law(lambda r, _n: r + 1), "after 0 strokes"),
    "a law that falls": (
        "check_dulling_law",
        Law(lambda r, n: r + np.where(n > 20, 0.1, n)),
        "not fall",
    ),
    "a law that begins again": (
        "check_dulling_law",
        Law(lambda r, n: r + np.sqrt(n)),
        "go on from where",
    ),
    "a rule that is a number": ("check_retire_rule", 0.2, "not a RetireRule"),
    "a rule of a scalar": ("check_retire_rule", Rule(lambda _lost: 0.5), "shape"),
    "a rule that retires the new": (
        "check_retire_rule",
        Rule(lambda lost: 1 + lost.mean_width_mm),
        "new blade",
    ),
    "a rule that falls": (
        "check_retire_rule",
        Rule(lambda lost: 0.5 - lost.mean_width_mm),
        "not fall",
    ),
    "a rule without words": (
        "check_retire_rule",
        Rule(lambda lost: lost.mean_width_mm, words=" "),
        "no words",
    ),
    "a guide that is no guide": ("check_guide", "left", "not a Guide"),
    "a guide set up never": ("check_guide", Guide(outward, setups=0), "setups"),
    "a guide of long vectors": (
        "check_guide",
        Guide(lambda e, a: 2 * outward(e, a)),
        "unit vectors",
    ),
    "a guide into the steel": ("check_guide", Guide(lambda e, a: -outward(e, a)), "out of the"),
    "a stone that is a word": ("check_stone", "flat", "not a Stone"),
    "a stone without length": ("check_stone", Stone(length_mm=0.0), "length_mm"),
    "a hollow stone": ("check_stone", Stone(curvature_per_mm=-1.0), "curvature_per_mm"),
    "a stroke that is a word": ("check_stroke", "rolling", "not a Stroke"),
    "a stroke of planes": ("check_stroke", ek.strokes.local(), "not a Stroke"),
    "a stroke without direction": ("check_stroke", Stroke(about_dullest, direction=90), "direct"),
    "a stroke of no time": ("check_stroke", Stroke(about_dullest, correlation_s=0), "correlation"),
    "a stroke with a negative scatter": (
        "check_stroke",
        Stroke(about_dullest, within_tilt_sd_deg=-1.0),
        "within_tilt_sd_deg",
    ),
    "a stroke that fails": ("check_stroke", Stroke(lambda _a, m: m.nonsense), "failed"),
    "a stroke for one run": ("check_stroke", Stroke(lambda _a, _m: (0.0, 9.0)), "shape"),
    "a stroke that gives NaN": (
        "check_stroke",
        Stroke(lambda a, m: about_dullest(a, m, np.nan)),
        "finite",
    ),
    "a stroke backwards": (
        "check_stroke",
        Stroke(lambda a, m: about_dullest(a, m, -0.1)),
        "end after",
    ),
    "a stroke that misses": (
        "check_stroke",
        Stroke(lambda _a, m: (np.zeros(m.shape[1]), np.ones(m.shape[1]))),
        "dull station",
    ),
    "a stroke by the others": ("check_stroke", Stroke(after_best), "other runs"),
    "a stop that is a number": ("check_stop_rule", 10, "not a StopRule"),
    "a stop without looks": ("check_stop_rule", Stop(strokes_between_looks=0), "looks"),
    "a stop of one number": ("check_stop_rule", Stop(margin=lambda _edge: 0.0), "shape"),
    "a stop to the outside": (
        "check_stop_rule",
        Stop(least_inset=lambda edge: -edge.radius),
        "negative",
    ),
    "a stop out of reach": ("check_stop_rule", Stop(margin=lambda edge: edge.radius), "reached"),
    "a stop in numbers": ("check_stop_rule", Stop(done=lambda share, _n: share), "true or false"),
    "a stop that never comes": (
        "check_stop_rule",
        Stop(done=lambda share, _n: share < 0),
        "on a good edge",
    ),
    "a stop that is taken back": (
        "check_stop_rule",
        Stop(done=lambda share, n: (share == 0) & (n != 10)),
        "stay done",
    ),
    "a stop at the dull": (
        "check_stop_rule",
        Stop(done=lambda share, _n: (share == 0) | (share == 1)),
        "duller",
    ),
}


@pytest.mark.parametrize(("check", "thing", "says"), FAULTS.values(), ids=FAULTS)
def test_each_fault_is_named(check, thing, says):
    with pytest.raises(ek.BadArgument, match=says):
        getattr(ek.testing, check)(thing)
