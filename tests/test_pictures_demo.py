"""The demo pictures: what their script makes, small, marked invented, and measured right."""

import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

import edgekit as ek
from tests.picture_scenes import P

DEMO = Path(__file__).parents[1] / "data_demo"
FOLDER = DEMO / "pictures"
DAYS = ("2026-03-02", "2026-03-09", "2026-03-16")
LENGTH_MM = (
    ek.patterns.area_specific_curette(plan_radius_mm=7.4, bow_radius_mm=np.inf)
    .edges["used"]
    .length_mm
)
HEEL = P.EdgeLength(side=P.Side.LEFT, length_mm=LENGTH_MM)
MOUNT = P.Mount(distance_mm=120, sharpening_known_off=True)
STRICT = P.Mount(distance_mm=120, tilt_sd_deg=0.5, height_sd_mm=0.03)


def scale() -> object:
    board = P.read_picture(FOLDER / "board.png", response=P.SRGB)
    return P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))


def lines(day: str) -> list:
    files = sorted(FOLDER.glob(f"FH-03-AS1_{day}_*.png"))
    return [P.outline(P.read_picture(f, response=P.SRGB), scale(), heel=HEEL) for f in files]


def test_demo_pictures_are_what_their_script_makes(tmp_path: Path) -> None:
    """Pixel by pixel: how a PNG is packed depends on the library that packs it."""
    runpy.run_path(str(DEMO / "make_pictures.py"))["make"](tmp_path)
    assert sorted(f.name for f in tmp_path.iterdir()) == sorted(f.name for f in FOLDER.iterdir())
    for file in tmp_path.glob("*.png"):
        with Image.open(file) as made, Image.open(FOLDER / file.name) as kept:
            assert np.array_equal(np.asarray(made), np.asarray(kept)), file.name
    assert (tmp_path / "truth.csv").read_bytes() == (FOLDER / "truth.csv").read_bytes()


def test_demo_pictures_are_small_and_marked_invented() -> None:
    pictures = sorted(FOLDER.glob("*.png"))
    assert len(pictures) == 14
    for file in pictures:
        assert file.stat().st_size <= 100_000
        with Image.open(file) as image:
            assert "INVENTED" in image.info["Comment"]
    assert "INVENTED" in (FOLDER / "truth.csv").read_text(encoding="utf-8").splitlines()[0]


@pytest.mark.parametrize(("first", "last"), [(0, 1), (1, 2), (0, 2)])
def test_two_sessions_are_measured_as_they_were_drawn(first: int, last: int) -> None:
    truth = pd.read_csv(FOLDER / "truth.csv", comment="#")
    before, after = lines(DAYS[first]), lines(DAYS[last])
    loss = P.width_loss(
        before,
        after,
        datum=P.Datum.UNUSED_EDGE_AND_SHANK,
        side=P.Side.LEFT,
        mount=MOUNT,
        apex_before=P.Apex(radius_um=0, sd_um=0),
        apex_after=P.Apex(radius_um=0, sd_um=0),
    )
    taken = truth[f"recession_um_{DAYS[last]}"] - truth[f"recession_um_{DAYS[first]}"]
    true = np.interp(loss.arc_mm, truth["arc_mm"], taken)
    error = (loss.recession_um - true)[loss.usable]
    assert np.sqrt((error**2).mean()) < 0.6
    assert abs(error.mean()) < 2.5 * loss.mean_sd_um
    assert loss.usable.mean() > 0.95


def test_a_worn_blade_is_made_from_the_pictures_of_a_session() -> None:
    """Truth: the recession that the script drew, laid on the same blade by `from_recession`."""
    blade = runpy.run_path(str(DEMO / "make_pictures.py"))["BLADE"]
    truth = pd.read_csv(FOLDER / "truth.csv", comment="#")
    sharp = P.Apex(radius_um=0, sd_um=0)
    loss = P.width_loss(
        lines(DAYS[0]),
        lines(DAYS[1]),
        datum=P.Datum.UNUSED_EDGE_AND_SHANK,
        side=P.Side.LEFT,
        mount=MOUNT,
        apex_before=sharp,
        apex_after=sharp,
    )
    drawn = np.interp(
        blade.edges["used"].stations(64), truth["arc_mm"], truth[f"recession_um_{DAYS[1]}"]
    )
    true = ek.WornBlade.from_recession(blade, {"used": drawn})
    low, best, high = (ek.WornBlade.from_pictures(blade, {"used": loss}, sds=k) for k in (-2, 0, 2))
    far = np.arange(64) > 1  # the first tenth of a millimetre from the heel is not read
    off = (best.recession_um("used") - drawn)[far]
    assert np.sqrt((off**2).mean()) < 0.35  # measured: 0.26
    assert best.width_mm == pytest.approx(true.width_mm, abs=0.0003)
    assert low.width_mm > true.width_mm > high.width_mm
    assert (low.recession_um("used") <= best.recession_um("used")).all()
    inside = (low.recession_um("used") <= drawn + 1e-9) & (drawn <= high.recession_um("used"))
    assert inside.mean() > 0.88  # 58 of 64: ridges narrower than a station read low
    other = ek.patterns.area_specific_curette(length_mm=8.0)
    with pytest.raises(ek.Cannot, match="another length"):
        ek.WornBlade.from_pictures(other, {"used": loss})
    with pytest.raises(ek.BadArgument, match="no such edge"):
        ek.WornBlade.from_pictures(blade, {"left": loss})


@pytest.mark.parametrize("name", ["clipped", "glare", "front_light"])
def test_the_traps_are_refused(name: str) -> None:
    picture = P.read_picture(FOLDER / f"trap_{name}.png", response=P.SRGB)
    with pytest.raises(ek.EdgekitError, match=r"clipped|glare|front|no blade"):
        P.outline(picture, scale(), heel=HEEL)


def test_the_tilted_trap_is_seen_against_the_level_ones() -> None:
    tilted = P.read_picture(FOLDER / "trap_tilted.png", response=P.SRGB)
    line = P.outline(tilted, scale(), heel=HEEL)
    level = lines(DAYS[0])[0]
    wide, narrow = (P.width(x, side=P.Side.LEFT, mount=MOUNT).width_mm for x in (level, line))
    assert 1000 * (wide - narrow) == pytest.approx(860 * (1 - np.cos(np.radians(8))), abs=1.5)
    with pytest.raises(ek.EdgekitError, match="far more than height and tilt"):
        P.width_loss(
            [level], [line], datum=P.Datum.UNUSED_EDGE_AND_SHANK, side=P.Side.LEFT, mount=STRICT
        )
