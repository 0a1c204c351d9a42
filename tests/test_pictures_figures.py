"""Figures of what was measured: their data, their words, and that they close no eyes."""

from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from tests.picture_scenes import DISTANCE_MM, P, mounted, session_wear

MOUNT = P.Mount(distance_mm=DISTANCE_MM)


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> tuple:
    folder: Path = tmp_path_factory.mktemp("pictures")
    wear = session_wear()
    before = mounted(folder, 1)
    after = mounted(folder, 2, worn_um=wear.recession_um)
    both = P.Datum.UNUSED_EDGE_AND_SHANK
    loss = P.width_loss([before], [after], datum=both, side=P.Side.LEFT, mount=MOUNT)
    return before, loss, P.width(before, side=P.Side.LEFT, mount=MOUNT)


def test_the_outline_lies_on_its_picture(measured: tuple) -> None:
    line = measured[0]
    ax = ek.figures.outline(line)
    drawn = ax.lines[0].get_xydata()
    assert drawn == pytest.approx(line.scale.to_px(line.points_mm))
    assert len(ax.images) == 1
    words = ek.figures.alt_text(ax)
    assert "row [px]" in words
    assert "% good" in words


def test_doubtful_points_are_marked_and_named(measured: tuple) -> None:
    import dataclasses

    line = measured[0]
    quality = np.zeros_like(line.quality)
    quality[100:130] = P.Quality.SPLIT
    quality[300:310] = P.Quality.KINK
    ax = ek.figures.outline(dataclasses.replace(line, quality=quality))
    labels = [text.get_text() for text in ax.get_legend().get_texts()]
    assert {"two readings disagree", "sharp bend"} <= set(labels)
    assert "30 two readings disagree, 10 sharp bend" in ek.figures.alt_text(ax)


def test_the_loss_has_its_band_and_mean(measured: tuple) -> None:
    loss = measured[1]
    ax = ek.figures.width_loss(loss)
    assert ax.lines[0].get_ydata() == pytest.approx(loss.recession_um)
    band = ax.collections[0].get_paths()[0].vertices[:, 1]
    assert band.max() == pytest.approx((loss.recession_um + 2 * loss.sd_um).max())
    assert f"{loss.mean_um:.2f} µm" in ek.figures.alt_text(ax)


def test_the_budget_is_bars_of_its_rows(measured: tuple) -> None:
    for result in measured[1:]:
        ax = ek.figures.uncertainty(result)
        sizes = sorted((bar.get_width() for bar in ax.patches), reverse=True)
        rows = result.budget.rows
        assert sizes[0] == pytest.approx(rows[0].u_um)
        assert sum(s**2 for s in sizes) == pytest.approx(result.budget.u_um**2)
        assert rows[0].source in ek.figures.alt_text(ax)


def test_other_things_are_refused() -> None:
    for draw in (ek.figures.outline, ek.figures.width_loss, ek.figures.uncertainty):
        with pytest.raises(ek.EdgekitError, match="must be a"):
            draw(None)
