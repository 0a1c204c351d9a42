"""Spoiled pictures end in a named refusal, or in points and notes that say what is doubtful."""

from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from tests.picture_scenes import HEEL, P
from tests.spoiled_pictures import Spoiled, scene, spoiled

CASES = list(spoiled())


def measure(file: Path, case: Spoiled) -> object:
    picture = P.read_picture(file, response=P.SRGB)
    board = P.Checkerboard(pitch_mm=case.pitch_mm, squares=case.squares)
    return P.outline(picture, P.calibrate(picture, board), heel=HEEL)


def test_there_are_sixty_or_more() -> None:
    assert len(CASES) >= 60
    assert len({case.name for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_spoiled_picture_is_refused_or_marked(tmp_path: Path, case: Spoiled) -> None:
    file = case.write(tmp_path)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    if case.flags:
        line = measure(file, case)
        assert (line.quality != 0).any() or line.notes
    else:
        with pytest.raises(ek.EdgekitError, match=case.says) as refused:
            measure(file, case)
        assert refused.value.remedy
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


def test_the_same_scene_unspoiled_is_measured(tmp_path: Path) -> None:
    from tests.picture_scenes import Light, save

    line = measure(save(tmp_path, scene(), Light()), CASES[-1])
    assert (line.quality == 0).mean() > 0.97
    assert line.notes == ()


@pytest.mark.parametrize("turn", [0, 37, 90, 135, 180, 270])
def test_a_turned_picture_is_as_good(tmp_path: Path, turn: int) -> None:
    from tests.picture_scenes import BLADE, Camera, plain_scale, rendering, taken

    cam = Camera(um_per_px=12, size_px=(760, 760), spin_deg=turn)
    points = rendering.silhouette(BLADE).polygon_mm
    picture = taken(tmp_path, [[cam.project(points)]], cam)
    line = P.outline(picture, plain_scale(picture, 12.0), heel=HEEL)
    used = line.curvature_per_mm[line.side(P.Side.LEFT, toe=False)]
    assert np.median(used) == pytest.approx(1 / 6.7, rel=0.1)


def test_a_mirrored_picture_shows_the_other_hand(tmp_path: Path) -> None:
    """A picture cannot say that it was mirrored: the used edge comes out on the right."""
    from tests.picture_scenes import BLADE, camera, plain_scale, rendering, taken

    cam = camera(12.0)
    points = rendering.silhouette(BLADE).polygon_mm * [1, -1]
    picture = taken(tmp_path, [[cam.project(points)]], camera(12.0))
    heel = P.EdgeLength(side=P.Side.RIGHT, length_mm=HEEL.length_mm)
    line = P.outline(picture, plain_scale(picture, 12.0), heel=heel)
    used = line.curvature_per_mm[line.side(P.Side.RIGHT, toe=False)]
    assert np.median(used) == pytest.approx(1 / 6.7, rel=0.1)
