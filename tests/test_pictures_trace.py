"""A picture's edge as a trace: written, read, and its pose and end carried along."""

import math
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from tests.picture_scenes import BLADE, EDGE, HEEL, P, camera, plain_scale, rendering, taken

FILE = Path(__file__).parents[1] / "data_demo" / "traces" / "FH-03-AS1.toml"


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> object:
    cam = camera()
    polygon = cam.project(rendering.silhouette(BLADE).polygon_mm)
    picture = taken(tmp_path_factory.mktemp("p"), [[polygon]], cam, 1)
    return P.outline(picture, plain_scale(picture), heel=HEEL)


def made(line: object, **changed: object) -> object:
    given = {"pose_sd_deg": 0.8, "thickness_mm": 0.71, "end": P.EdgeEnd(sd_mm=0.04)} | changed
    return P.blade_from_view(
        line,
        name="from a picture",
        kind=ek.BladeClass.AREA_SPECIFIC,
        handle_axis=EDGE.handle_axis,
        **given,
    )


def test_a_blade_from_a_picture_is_written_and_read_again(line: object, tmp_path: Path) -> None:
    blade = made(line)
    again = ek.read_blade(ek.write_blade(blade, tmp_path / "seen.toml"))
    text = (tmp_path / "seen.toml").read_text(encoding="utf-8")
    assert "pose_sd_deg = 0.8" in text
    assert "end_sd_mm = 0.04" in text
    for each in (blade, again):
        report = each.trace.edges["used"]
        assert (report.pose_sd_deg, report.end_sd_mm) == (0.8, 0.04)
        assert each.edges["used"].length_mm == pytest.approx(EDGE.length_mm, abs=0.05)
        assert each.width_mm == pytest.approx(0.86, abs=0.003)
        assert ek.best_setting(each.edges["used"]).elevation_deg == pytest.approx(
            ek.best_setting(EDGE).elevation_deg, abs=0.3
        )
    assert np.array_equal(blade.trace.points_mm["used"], again.trace.points_mm["used"])


def test_the_pose_counts_in_the_normal(line: object) -> None:
    level, leaning = (made(line, pose_sd_deg=sd).trace.edges["used"] for sd in (0.0, 1.0))
    assert leaning.normal_sd_deg == pytest.approx(np.hypot(level.normal_sd_deg, 1.0))
    assert level.normal_sd_deg == pytest.approx(np.hypot(level.swing_sd_deg, level.tilt_sd_deg))


def test_pose_and_end_are_propagated_from_a_trace(line: object) -> None:
    blade = made(line, end=P.EdgeEnd(rule=P.ToeRule.TURN_BEGINS, short_of_mm=-0.2, sd_mm=0.1))

    def setting(edge: object) -> float:
        return ek.best_setting(edge).elevation_deg

    spread = P.propagate_trace(blade, "used", setting)
    assert spread.parts["internal angle"] == pytest.approx(1.5, abs=0.1)
    both = math.hypot(*(float(spread.parts[f"pose about {axis}"]) for axis in "xy"))
    assert 0.5 < both < 0.81  # no lean of the handle counts more than itself
    assert spread.parts["end at the toe"] > 0.3
    facets = P.propagate_trace(blade, "used", lambda e: ek.facets(e, 12, depth_um=5).recession_um)
    assert facets.sd.shape == facets.value.shape
    held = P.propagate_trace(blade, "used", lambda e: ek.orient(e, stations=30).elevation_deg)
    assert held.sd.shape == (30,)


def test_files_without_the_new_keys_read_as_before() -> None:
    report = ek.read_blade(FILE).trace.edges["used"]
    assert (report.pose_sd_deg, report.end_sd_mm) == (0.0, 0.0)


@pytest.mark.parametrize("key", ["pose_sd_deg", "end_sd_mm"])
@pytest.mark.parametrize("bad", ["-1.0", "nan", '"one"', "true"])
def test_bad_values_are_named_with_their_place(tmp_path: Path, key: str, bad: str) -> None:
    text = FILE.read_text(encoding="utf-8") + f"{key} = {bad}\n"
    (tmp_path / "a.toml").write_text(text, encoding="utf-8")
    (tmp_path / "FH-03-AS1.csv").write_bytes(FILE.with_suffix(".csv").read_bytes())
    with pytest.raises(ek.EdgekitError, match=rf"a.toml, line \d+: {key}"):
        ek.read_blade(tmp_path / "a.toml")


def test_what_has_no_trace_is_refused() -> None:
    with pytest.raises(ek.EdgekitError, match="no trace of that edge"):
        P.propagate_trace(BLADE, "used", lambda e: e.length_mm)
    assert math.isfinite(BLADE.width_mm)
