"""What a session took: recession profiles, their intervals, their budgets, and the traps."""

import math
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from tests.picture_scenes import (
    BLADE,
    DISTANCE_MM,
    HEEL,
    Light,
    P,
    camera,
    mounted,
    plain_scale,
    rendering,
    session_wear,
    taken,
)

WEAR = session_wear()
BOTH = P.Datum.UNUSED_EDGE_AND_SHANK
SHARP = P.Apex(radius_um=0.0, sd_um=0.0)
PROFILE_UM = {(0.0, 0.0): 0.2, (1.0, 0.05): 1.0, (3.0, 0.2): 4.0}  # tilt, height: bar


def loss(before: list, after: list, tilt: float = 1.0, height: float = 0.05, **changed: object):
    given = {"apex_before": SHARP, "apex_after": SHARP, "datum": BOTH} | changed
    mount = P.Mount(distance_mm=DISTANCE_MM, tilt_sd_deg=tilt, height_sd_mm=height)
    return P.width_loss(before, after, side=P.Side.LEFT, mount=mount, **given)


def pair(
    folder: Path,
    seed: int,
    tilt: float,
    height: float,
    um_per_px: float,
    light: Light | None = None,
) -> tuple:
    given = {"tilt_deg": tilt, "height_mm": height, "um_per_px": um_per_px, "light": light}
    before, after = (
        mounted(folder, (seed, k), worn_um=worn, **given)
        for k, worn in enumerate((None, WEAR.recession_um))
    )
    return before, after


@pytest.mark.parametrize(("tilt", "height"), PROFILE_UM)
def test_one_pair_gives_the_recession_profile(tmp_path: Path, tilt: float, height: float) -> None:
    """Truth: the facets the blade was drawn with. Root mean square over stations and mounts."""
    errors = []
    for seed in range(8):
        seen = loss(*([line] for line in pair(tmp_path, seed, tilt, height, 8.0)), tilt, height)
        errors.append((seen.recession_um - WEAR.at(seen.arc_mm))[seen.usable])
    assert np.sqrt((np.concatenate(errors) ** 2).mean()) < PROFILE_UM[tilt, height]
    if not tilt:  # every pair, not only their mean: 0.15 to 0.19
        assert max(np.sqrt((e**2).mean()) for e in errors) < PROFILE_UM[tilt, height]


def test_the_interval_covers_the_truth_as_often_as_it_says(tmp_path: Path) -> None:
    """200 pairs of mounts, tilted by 1° and lifted by 0.05 mm at random, 12 µm a pixel."""
    covered, ratios = 0, []
    for seed in range(200):
        seen = loss(
            *([line] for line in pair(tmp_path, 1000 + seed, 1.0, 0.05, 12.0, Light(blur_px=1.0)))
        )
        error = seen.mean_um - WEAR.at(seen.arc_mm[seen.usable]).mean()
        covered += abs(error) < 1.96 * seen.mean_sd_um
        ratios.append(error / seen.mean_sd_um)
    assert 186 <= covered <= 196
    assert 0.85 < np.std(ratios) < 1.15


def test_six_mounts_each_are_better_than_one(tmp_path: Path) -> None:
    before = [mounted(tmp_path, (k, 0), tilt_deg=1, height_mm=0.05) for k in range(6)]
    after = [
        mounted(tmp_path, (k, 1), tilt_deg=1, height_mm=0.05, worn_um=WEAR.recession_um)
        for k in range(6)
    ]
    one, six = loss(before[:1], after[:1]), loss(before, after)
    error = six.recession_um - WEAR.at(six.arc_mm)
    assert np.sqrt((error**2).mean()) < 0.5
    assert six.mean_sd_um < one.mean_sd_um / 1.8
    assert abs(six.mean_um - WEAR.at(six.arc_mm).mean()) < 2.5 * six.mean_sd_um
    assert 0.5 < six.scatter_ratio < 1.5
    assert one.scatter_ratio == 1.0
    assert any("taken on trust" in note for note in one.notes)


def test_mounts_worse_than_stated_are_seen_in_their_scatter(tmp_path: Path) -> None:
    before = [mounted(tmp_path, (k, 0), tilt_deg=3, height_mm=0.2) for k in range(4)]
    after = [mounted(tmp_path, (k, 1), tilt_deg=3, height_mm=0.2) for k in range(4)]
    seen = loss(before, after, 2.0, 0.13)
    honest = loss(before, after, 3.0, 0.2)
    assert seen.scatter_ratio > honest.scatter_ratio
    assert any("Two mounts differ by" in note for note in seen.notes)
    assert not any("Two mounts differ by" in note for note in honest.notes)


# ---- traps ---------------------------------------------------------------------------------


def test_a_parallel_shank_fixes_no_place_along_itself(tmp_path: Path) -> None:
    before = mounted(tmp_path, 1, parallel=True)
    after = mounted(tmp_path, 2, parallel=True, worn_um=WEAR.recession_um)
    seen = loss([before], [after], datum=P.Datum.SHANK)
    toe = seen.arc_mm > 5.9
    assert not seen.usable[toe].any()
    assert any("no recession is given" in note for note in seen.notes)
    necked = loss(
        [mounted(tmp_path, 1)],
        [mounted(tmp_path, 2, worn_um=WEAR.recession_um)],
        datum=P.Datum.SHANK,
    )
    assert necked.sd_um[-1] < seen.sd_um[-1] / 2


def test_a_face_off_the_targets_plane_is_carried_in_the_budget(tmp_path: Path) -> None:
    """7.2 µm of an 0.86 mm width a millimetre at 120 mm: 0.86/120."""
    drawn = rendering.silhouette(BLADE)
    seen = []
    for height in (0.0, 1.0):
        points = rendering.placed(drawn.polygon_mm, height_mm=height)
        cam = camera()
        picture = taken(tmp_path, [[cam.project(points)]], cam)
        line = P.outline(picture, plain_scale(picture), heel=HEEL)
        mount = P.Mount(distance_mm=DISTANCE_MM, height_sd_mm=1.0)
        seen.append(P.width(line, side=P.Side.LEFT, mount=mount))
    assert 1000 * (seen[1].width_mm - seen[0].width_mm) == pytest.approx(7.2, abs=0.25)
    (row,) = [r for r in seen[0].budget.rows if r.source == "face off the target's plane"]
    assert row.u_um == pytest.approx(7.17, rel=0.01)


def test_roll_narrows_a_blade_as_its_cosine(tmp_path: Path) -> None:
    drawn = rendering.silhouette(BLADE)
    widths = []
    for roll in (0.0, 5.0, 10.0):
        cam = camera()
        points = rendering.placed(drawn.polygon_mm, tilt_deg=(roll, 0))
        picture = taken(tmp_path, [[cam.project(points)]], cam)
        line = P.outline(picture, plain_scale(picture), heel=HEEL)
        mount = P.Mount(distance_mm=DISTANCE_MM)
        widths.append(P.width(line, side=P.Side.LEFT, mount=mount).width_mm)
    assert 1000 * (widths[1] - widths[0]) == pytest.approx(-3.2, abs=0.3)
    assert 1000 * (widths[2] - widths[0]) == pytest.approx(-12.9, abs=0.5)


def high_shank(folder: Path, height_mm: float, tilt_deg: tuple, worn_um: object = None) -> object:
    """The blade with the shank's outline over the plane of its face, tilted by known angles."""
    flat = rendering.silhouette(BLADE, worn_um=worn_um).polygon_mm
    rise = np.clip(np.arange(459) / 40, 0, 1)  # over 0.2 mm behind the heel; 459 points a side
    height = np.concatenate([rise[::-1], np.zeros(len(flat) - 918), rise]) * height_mm
    points = np.column_stack([flat, height]) @ rendering.tilted(*tilt_deg).T
    cam = camera()
    picture = taken(folder, [[cam.project(points)]], cam)
    return P.outline(picture, plain_scale(picture), heel=HEEL)


@pytest.mark.parametrize("tilt", [(1.0, 0.0), (0.0, 1.0)])
def test_a_shank_above_the_face_is_refused_or_left_to_the_unused_edge(
    tmp_path: Path, tilt: tuple
) -> None:
    """0.5 mm and 1°: 9 µm sideways. The shank alone is deceived, and its result says of what."""
    before = high_shank(tmp_path, 0.5, (0.0, 0.0))
    after = high_shank(tmp_path, 0.5, tilt, WEAR.recession_um)
    with pytest.raises(ek.Cannot, match="far more than height and tilt"):
        loss([before], [after])
    seen = {
        datum: loss([before], [after], datum=datum)
        for datum in (P.Datum.UNUSED_EDGE, P.Datum.SHANK)
    }
    off = {datum: loss_.mean_um - WEAR.at(loss_.arc_mm).mean() for datum, loss_ in seen.items()}
    sure = seen[P.Datum.UNUSED_EDGE]
    assert abs(off[P.Datum.UNUSED_EDGE]) < 2 * sure.mean_sd_um < 2.5
    assert not any("plane of the face" in note for note in sure.notes)
    assert 3 < abs(off[P.Datum.SHANK]) < 6
    assert any("plane of the face" in note for note in seen[P.Datum.SHANK].notes)


def test_the_silhouette_of_a_rounded_apex_is_short_by_its_share(tmp_path: Path) -> None:
    """cot(37.5°) - 1 = 0.3032 (derived); a dull edge before and a sharp one after read short."""
    from edgekit.digitising.pictures.widths import silhouette_share

    assert silhouette_share(75.0) == pytest.approx(0.30323, abs=1e-5)
    dull_um = 3.5
    pulled = np.full(50, silhouette_share(75.0) * dull_um)
    before = mounted(tmp_path, 1, worn_um=pulled, um_per_px=8.0)
    after = mounted(tmp_path, 2, worn_um=WEAR.recession_um, um_per_px=8.0)
    short = loss([before], [after], 0.0, 0.0)
    right = loss([before], [after], 0.0, 0.0, apex_before=P.Apex(radius_um=dull_um, sd_um=0.5))
    true = WEAR.at(short.arc_mm).mean()
    assert short.mean_um - true == pytest.approx(-1.06, abs=0.1)
    assert right.mean_um == pytest.approx(true, abs=0.1)
    (row,) = [r for r in right.budget.rows if r.source == "roundness, before"]
    assert row.u_um == pytest.approx(0.152, abs=0.002)


def test_another_blade_is_no_datum(tmp_path: Path) -> None:
    other = ek.patterns.area_specific_curette(bow_radius_mm=math.inf, width_mm=0.95)
    cam = camera(12.0)
    polygon = cam.project(rendering.silhouette(other).polygon_mm)
    picture = taken(tmp_path, [[polygon]], cam)
    line = P.outline(picture, plain_scale(picture, 12.0), heel=HEEL)
    with pytest.raises(ek.EdgekitError, match=r"does not agree|far more than height"):
        loss([mounted(tmp_path, 1)], [line])


# ---- budgets -------------------------------------------------------------------------------


def agree(budget: object, rng: np.random.Generator) -> None:
    drawn = budget.monte_carlo(rng, 100_000)
    for row in budget.rows:
        assert drawn[row.source] == pytest.approx(row.u_um, rel=0.03, abs=1e-4), row
    assert drawn["all"] == pytest.approx(budget.u_um, rel=0.03)


def test_first_order_and_monte_carlo_agree_row_by_row(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    before, after = pair(tmp_path, 3, 1.0, 0.05, 12.0)
    seen = loss([before], [after], apex_before=P.Apex(), apex_after=P.Apex())
    agree(seen.budget, rng)
    width = P.width(before, side=P.Side.LEFT, mount=P.Mount(distance_mm=DISTANCE_MM))
    agree(width.budget, rng)
    orders = {row.source: row.order for row in width.budget.rows}
    assert orders.pop("roll") == 2  # its slope vanishes at level
    assert set(orders.values()) == {1}


def test_the_budget_of_a_width(tmp_path: Path) -> None:
    """0.86 mm, levelled to 1°, 120 mm: each row by hand."""
    line = mounted(tmp_path, 1, um_per_px=8.0)
    width = P.width(line, side=P.Side.LEFT, mount=P.Mount(distance_mm=DISTANCE_MM))
    rows = {row.source: row.u_um for row in width.budget.rows}
    assert rows["face off the target's plane"] == pytest.approx(860 * 0.05 / 120, rel=0.02)
    assert rows["roll"] == pytest.approx(860 * math.radians(1) ** 2 / math.sqrt(2), rel=0.02)
    assert rows["sharpening in the camera"] == pytest.approx(1.3)
    assert rows["edge location"] < 0.1
    assert 1000 * (width.width_mm - 0.86) == pytest.approx(2 * 0.3032 * 1.5, abs=0.5)
    assert width.budget.expanded_um == pytest.approx(2 * width.u_um)
    assert width.budget.difference_u_um < math.sqrt(2) * width.u_um


def test_a_known_model_gives_the_budget_of_the_guide() -> None:
    """JCGM 100, H.2-like: f = x y with two normal inputs; slopes and totals by hand."""
    inputs = (
        P.Input(name="x", value=3.0, sd=0.1, unit="µm"),
        P.Input(name="y", value=5.0, sd=0.2, unit="µm", shape=P.Shape.RECTANGULAR),
    )
    budget = P.Budget(name="area", inputs=inputs, model=lambda at: at["x"] * at["y"])
    assert [row.u_um for row in budget.rows] == pytest.approx([0.6, 0.5])
    assert budget.u_um == pytest.approx(math.hypot(0.6, 0.5))
    assert budget.value_um == 15
    assert list(budget.table["source"]) == ["y", "x"]


def test_recession_is_read_at_the_stations_of_a_models_edge(tmp_path: Path) -> None:
    """What a worn blade is made from: recession at equal stations of the blade's own edge."""
    before, after = pair(tmp_path, 3, 0.0, 0.0, 8.0)
    seen = loss([before], [after], 0.0, 0.0)
    recession, sd = seen.recession_on(BLADE.edges["used"], 64)
    arc = BLADE.edges["used"].stations(64)
    good = sd < 1
    assert good[2:].all()
    assert recession[good] == pytest.approx(WEAR.at(arc)[good], abs=1.5)  # facets are steep
    assert np.sqrt(((recession - WEAR.at(arc))[good] ** 2).mean()) < 0.5
    assert sd[0] >= 12


# ---- the log -------------------------------------------------------------------------------


def test_rows_go_into_the_log(tmp_path: Path) -> None:
    before, after = pair(tmp_path, 3, 0.0, 0.0, 12.0)
    seen = loss([before], [after], 0.0, 0.0)
    rows = seen.to_log_rows(
        instrument="FH-03-AS1",
        pattern="area-specific curette",
        edge="used",
        before="2026-03-02",
        after="2026-03-09",
        operator="B",
    )
    log = ek.read_log(rows)
    assert len(log.rows) == 2
    assert len(log.rejected) == 0
    lost = 1000 * (log.rows["width_mm"].iloc[0] - log.rows["width_mm"].iloc[1])
    stretch = HEEL.length_mm / 2 + np.linspace(-0.25, 0.25, 51)
    assert lost == pytest.approx(WEAR.at(stretch).mean(), abs=0.4)  # rounded to 0.1 µm each
