"""What use takes: the steel that Archard's law has it take, wherever strokes fall."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import edgekit as ek
from edgekit.evidence_table import value
from edgekit.grinding.random_streams import PATCHES, RunEffects
from edgekit.grinding.recession_field import prepare_edge
from edgekit.life.density import touch_density
from edgekit.life.use import EdgeUse
from tests.wear_blades import touching

FEW = settings(max_examples=25, deadline=None)
CLASSES = [
    ek.patterns.area_specific_curette(),
    ek.patterns.half_length_curette(),
    ek.patterns.universal_curette(),
    ek.patterns.straight_sickle(),
    ek.patterns.curved_sickle(),
    ek.patterns.hoe(),
    ek.patterns.universal_curette(internal_angle_deg=60.0, name="60°"),
]


@dataclass(frozen=True)
class AtOnePlace:
    """All strokes centred at one place."""

    place: float

    def centres(self, place):
        return np.exp(-(((place - self.place) / 0.003) ** 2))


DENSITIES = [
    ek.laws.EvenUse(),
    ek.laws.ToeThird(),
    ek.laws.ToeThird(share=1.0),
    AtOnePlace(0.0),
    AtOnePlace(0.4),
]


def archard_um3(strokes):
    """Steel that strokes wear by V = k F s / H: Archard 1953, J Appl Phys 24:981; constants from
    the evidence table, hardness 6 GPa.
    """
    newtons, millimetres = value("use_force_n"), value("use_stroke_mm")
    return strokes * value("use_wear_coefficient") * newtons * millimetres / 6000.0 * 1e9


def missing_um3(worn):
    """Steel between the rounded apexes and sharp ones; `ek.dull_edge` has its own formula."""
    total = 0.0
    for name, edge in worn.edges.items():
        grid = worn.grids[[*worn.edges].index(name)]
        angle = worn.internal_angle_deg(name)
        area = [
            float(ek.dull_edge(float(a), float(r)).worn_area_um2)
            for a, r in zip(angle, edge.radius_um, strict=True)
        ]
        total += float(grid.station_weights_mm @ np.array(area)) * 1000.0
    return total


def law_um3(use):
    """What a law of the square root says its strokes wear, each along 2 mm, on the wedge of 75° of
    which the law speaks."""
    factor = 1 / np.tan(np.radians(37.5)) - np.radians(105.0) / 2
    return use.strokes * use.law.rate * factor * value("use_contact_mm") * 1000.0


@pytest.mark.parametrize("density", DENSITIES, ids=str)
@pytest.mark.parametrize("blade", CLASSES, ids=lambda b: b.name)
def test_the_steel_worn_is_the_laws_wherever_strokes_fall(blade, density):
    use = ek.Use(density=density)
    new = ek.WornBlade.new(blade)
    once = ek.use(new, use)
    worn = missing_um3(once) - missing_um3(new)
    assert worn == pytest.approx(law_um3(use), rel=1e-9)
    assert worn == pytest.approx(archard_um3(use.strokes), rel=0.01)  # 0.43 is rounded
    twice = ek.use(once, use)
    assert missing_um3(twice) - missing_um3(once) == pytest.approx(worn, rel=1e-9)


@FEW
@given(contact=st.floats(0.01, 50.0), patchy=st.floats(0.0, 2.0), seed=st.integers(0, 99))
def test_neither_the_length_touched_nor_patches_change_the_steel_worn(contact, patchy, seed):
    use = ek.Use(contact_mm=contact, patch_cv=patchy, severity_gsd=1.0)
    new = ek.WornBlade.new(ek.patterns.area_specific_curette())
    worn = missing_um3(ek.use(new, use, rng=seed)) - missing_um3(new)
    assert worn == pytest.approx(law_um3(use), rel=1e-9)
    assert worn == pytest.approx(archard_um3(use.strokes), rel=0.01)  # 0.43 is rounded


def test_two_edges_share_the_strokes():
    one, two = ek.patterns.area_specific_curette(), ek.patterns.straight_sickle()
    for blade, each in ((one, 1.0), (two, 0.5)):
        worn = ek.use(ek.WornBlade.new(blade), touching(blade, 45))
        for name in blade.edges:
            law = ek.PowerDulling().after(np.array(worn.fresh_radius_um), np.array(45.0))
            assert worn.radius_um(name) == pytest.approx(float(law), rel=1e-9)
        grid = prepare_edge(blade, next(iter(blade.edges)), stations=64, depths=3)
        made = EdgeUse(ek.Use(), grid, len(blade.edges))
        assert float(made.share.sum()) == pytest.approx(1.0, rel=1e-12)
        touched = float(made.strokes @ grid.station_weights_mm) / value("use_contact_mm")
        assert touched == pytest.approx(45.0 * each, rel=1e-9)


@pytest.mark.parametrize("density", DENSITIES, ids=str)
@pytest.mark.parametrize("stations", [9, 64, 500])
def test_a_density_is_that_of_strokes_laid_down_one_by_one(density, stations):
    """Source: 20,001 strokes, each spread by hand over the stretch that it touches."""
    grid = prepare_edge(CLASSES[0], "used", stations=stations, depths=3)
    found = touch_density(grid, density, 2.0) * grid.station_weights_mm
    length = grid.arc_mm[-1]
    place = np.linspace(0.0, 1.0, 20_001)
    often = density.centres(place)
    low, high = np.maximum(place * length - 1, 0), np.minimum(place * length + 1, length)
    ends = np.append(0.0, np.cumsum(grid.station_weights_mm))
    reached = np.clip((ends[:, None] - low) / (high - low), 0, 1) @ often / often.sum()
    np.testing.assert_allclose(np.cumsum(found), reached[1:], atol=1e-3)


def test_by_default_most_strokes_fall_on_the_toe_third():
    """Source: common practice, no number; the radius there is of Tal's blunt edges, below 5 µm."""
    worn = ek.use(ek.patterns.area_specific_curette(), ek.Use())
    heel, middle, toe = worn.thirds()["radius_um"]
    assert heel < middle < toe < 5.0


def test_a_long_contact_wears_an_edge_evenly():
    blade = ek.patterns.area_specific_curette()
    toe = replace(touching(blade, 45), density=ek.laws.ToeThird())
    np.testing.assert_allclose(
        ek.use(blade, toe).radius_um("used"),
        ek.use(blade, touching(blade, 45)).radius_um("used"),
        rtol=1e-9,
    )


def test_an_open_wedge_dulls_less():
    """Archard: the same steel from a wedge that has more of it near the apex."""
    blades = [ek.patterns.universal_curette(internal_angle_deg=a) for a in (60.0, 75.0, 80.0)]
    radii = [ek.use(blade, touching(blade, 45)).radius_um("left").mean() for blade in blades]
    assert radii[0] < radii[1] < radii[2]  # a sharper wedge lacks more at the same radius


def test_thirds_are_means_along_the_edge():
    """Source: the trapezoidal rule on 3,001 stations, a radius that rises evenly by 1 µm a mm."""
    blade = ek.patterns.hoe(length_mm=3.0)
    worn = ek.WornBlade.new(blade, stations=3001, depths=3)
    edge = worn.edges["edge"]
    rising = dict(edge.__dict__) | {"radius_um": edge.arc_mm}
    worn = replace(worn, edges={"edge": type(edge)(**{k: rising[k] for k in edge.__dict__})})
    table = worn.thirds()
    assert table["third"].tolist() == ["heel", "middle", "toe"]
    assert table["radius_um"].tolist() == pytest.approx([0.5, 1.5, 2.5], abs=1e-6)
    assert table["width_mm"].tolist() == pytest.approx([2.0, 2.0, 2.0], rel=1e-9)


def test_thirds_lose_their_own_width():
    blade = ek.patterns.universal_curette()
    lost = np.repeat([10.0, 20.0, 30.0], 300)
    worn = ek.WornBlade.from_recession(blade, {"left": lost}, stations=301)
    new = ek.WornBlade.from_recession(blade, 0.0, stations=301)
    got = worn.thirds().set_index(["edge", "third"])
    assert got.loc["left", "recession_um"].tolist() == pytest.approx([10, 20, 30], abs=0.2)
    assert got.loc["right", "recession_um"].tolist() == [0, 0, 0]
    gone = (new.thirds()["width_mm"] - worn.thirds()["width_mm"]).to_numpy() * 1000
    assert (np.diff(gone[:3]) > 0).all()  # the sides end before the toe does
    np.testing.assert_allclose(gone[:3], gone[3:], rtol=1e-12)  # one width, whichever the edge


@pytest.mark.parametrize(
    ("blade", "how"),
    [(blade, "freehand") for blade in CLASSES] + [(blade, "face_honing") for blade in CLASSES[:5]],
    ids=lambda item: getattr(item, "name", item),
)
def test_thirds_of_the_sides_average_to_the_whole(blade, how):
    """Also where the face is lowered, so that an unused edge moves in as well."""
    life = ek.live(blade, getattr(ek.methods, how)(), rng=3, max_sessions=3, stations=32)
    row, worn = life.history.iloc[-1], life.after[-1]
    thirds = [row[f"{third}_width_um"] for third in ("heel", "middle", "toe")]
    assert np.mean(thirds) == pytest.approx(row["mean_width_um"], rel=1e-9)
    assert row["mean_width_um"] > 0
    new = ek.WornBlade.new(blade, stations=32).thirds()["width_mm"]
    gone = (new - worn.thirds()["width_mm"])[:3].mean()
    assert gone * 1000 == pytest.approx(row["mean_width_um"], rel=1e-9)


def test_useful_strokes_are_counted_where_strokes_fall():
    """All at the toe, the useful ones end sooner than spread along the edge."""
    blade = ek.patterns.area_specific_curette()
    options = {"rng": 4, "max_sessions": 1}
    toe, even = (
        ek.live(blade, ek.methods.powered(), use=ek.Use(density=d), **options).history
        for d in (ek.laws.ToeThird(share=1.0), ek.laws.EvenUse())
    )
    assert toe["useful_strokes"][0] < even["useful_strokes"][0] <= 45


BAD = {
    "density": (lambda: ek.Use(density="toe"), "density"),
    "share": (lambda: ek.laws.ToeThird(share=1.5), "share"),
    "no contact": (lambda: ek.Use(contact_mm=0.0), "contact_mm"),
    "nowhere": (lambda: ek.use(CLASSES[0], ek.Use(density=Flat(0.0))), "not 0 everywhere"),
    "below 0": (lambda: ek.use(CLASSES[0], ek.Use(density=Flat(-1.0))), "0 or more"),
    "not a number": (lambda: ek.use(CLASSES[0], ek.Use(density=Flat(np.nan))), "0 or more"),
    "one number": (lambda: ek.use(CLASSES[0], ek.Use(density=Single())), "for every place"),
}


@dataclass(frozen=True)
class Flat:
    """The same everywhere."""

    level: float

    def centres(self, place):
        return np.full_like(place, self.level)


class Single:
    """One number for all places."""

    def centres(self, _place):
        return 1.0


@pytest.mark.parametrize("case", BAD)
def test_a_use_that_makes_no_sense_is_refused(case):
    call, words = BAD[case]
    with pytest.raises(ek.BadArgument, match=words):
        call()


def test_patches_scatter_strokes_by_their_own_spread():
    """Source: lognormal numbers of that spread, 16 an edge, over their mean; 4,000 edges."""
    grid = prepare_edge(ek.patterns.hoe(), "edge", stations=160, depths=3)
    patchy = EdgeUse(ek.Use(patch_cv=0.5, contact_mm=1e4), grid, 1)
    normals = np.random.default_rng(1).normal(size=(4000, PATCHES))
    effects = RunEffects(np.zeros((4000, 4)), *np.zeros((4, 4000)))
    flat = np.zeros((4000, 160))
    squares = patchy.dull(flat, grid.angle_rad + flat, effects, normals) ** 2
    each = squares[:, 5::10]
    drawn = np.random.default_rng(2).lognormal(sigma=np.sqrt(np.log(1.25)), size=(4000, PATCHES))
    spread = (drawn / drawn.mean(axis=1, keepdims=True)).std()
    assert each.std() / each.mean() == pytest.approx(spread, rel=0.02)
