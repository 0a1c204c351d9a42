"""Results from pictures are read-only records, and arguments that cannot be used are refused."""

from __future__ import annotations

import pickle
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek

P = ek.pictures
FOLDER = Path(__file__).parents[1] / "data_demo" / "pictures"
MOUNT = P.Mount(distance_mm=120)
AXIS = (0, 0.342, -0.940)


def line(name: str, scale: object) -> object:
    picture = P.read_picture(FOLDER / f"{name}.png", response=P.SRGB)
    return P.outline(picture, scale, heel=P.EdgeLength(side=P.Side.LEFT, length_mm=6.26))


@pytest.fixture(scope="module")
def results() -> dict[str, object]:
    board = P.read_picture(FOLDER / "board.png", response=P.SRGB)
    scale = P.calibrate(board, P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
    before, after = (line(f"FH-03-AS1_2026-03-{day}_a", scale) for day in ("02", "09"))
    seen = P.edge_from_view(before, side=P.Side.LEFT, handle_axis=AXIS)
    return {
        "picture": board,
        "scale": scale,
        "outline": before,
        "width": P.width(before, side=P.Side.LEFT, mount=MOUNT),
        "loss": P.width_loss(
            [before],
            [after],
            datum=P.Datum.UNUSED_EDGE_AND_SHANK,
            side=P.Side.LEFT,
            mount=MOUNT,
        ),
        "seen": seen,
        "propagated": seen.propagate(lambda edge: edge.length_mm),
        "spread": P.edge_spread(before.picture, (20, 170, 70, 220)),
    }


def arrays(value: object) -> list[np.ndarray]:
    """Every array in a record, also inside its tuples, mappings and records."""
    if isinstance(value, np.ndarray):
        return [value]
    inside = list(getattr(value, "values", tuple)()) if hasattr(value, "keys") else []
    if isinstance(value, tuple):
        inside = list(value)
    if hasattr(value, "__dataclass_fields__"):
        inside = [getattr(value, item.name) for item in fields(value)]
    return [array for item in inside for array in arrays(item)]


def test_arrays_are_read_only(results: dict[str, object]) -> None:
    for name, result in results.items():
        own = arrays(result)
        assert len(own) > 0 or name == "width"
        assert not any(array.flags.writeable for array in own), name
    assert not results["outline"].arc_mm.flags.writeable


def test_results_survive_pickling(results: dict[str, object]) -> None:
    for result in results.values():
        again = pickle.loads(pickle.dumps(result))
        assert repr(again) == repr(result)
        assert not any(array.flags.writeable for array in arrays(again))
    again = pickle.loads(pickle.dumps(results["loss"]))
    assert again.budget.u_um == results["loss"].budget.u_um


def test_results_show_themselves_in_a_notebook(results: dict[str, object]) -> None:
    assert results["loss"]._repr_html_().count("<tr>") == len(results["loss"].budget.rows) + 1
    assert "Fewer than three mounts" in results["loss"]._repr_html_()
    for result in results.values():
        assert result._repr_html_().startswith("<p>")
        assert len(repr(result)) < 2000


def test_a_side_in_text_is_refused_and_not_taken_for_the_other(results: dict) -> None:
    outline = results["outline"]
    for call in (
        lambda: P.width(outline, side="left", mount=MOUNT),
        lambda: P.chips(outline, side="left"),
        lambda: outline.side("left"),
        lambda: P.edge_from_view(outline, side="left", handle_axis=AXIS),
        lambda: P.EdgeLength(side="left", length_mm=6.0),
    ):
        with pytest.raises(ek.EdgekitError, match="side must be a Side"):
            call()


def test_hostile_sizes_are_refused_at_once(results: dict) -> None:
    huge = 10**9
    edge = ek.patterns.area_specific_curette().edges["used"]
    ends = {"from_px": (10.0, 10.0), "to_px": (400.0, 10.0)}
    for call in (
        lambda: results["loss"].recession_on(edge, huge),
        lambda: results["loss"].budget.monte_carlo(np.random.default_rng(1), huge),
        lambda: P.Checkerboard(pitch_mm=0.5, squares=(huge, 6)),
        lambda: P.StageMicrometer(pitch_mm=0.1, lines=huge, **ends),
        lambda: P.StageMicrometer(pitch_mm=0.1, lines=11, band_px=1e9, **ends),
        lambda: P.KnownWidth(width_mm=0.5, band_px=1e9, **ends),
    ):
        with pytest.raises(ek.EdgekitError, match=r"or less|between 0 and 1000"):
            call()


def test_points_outside_the_picture_are_refused(results: dict) -> None:
    away = {"from_px": (10.0, 10.0), "to_px": (1e9, 10.0)}
    clicks = ((10, 10), (1e9, 10), (1e9, 90), (10, 90))
    for target in (
        P.StageMicrometer(pitch_mm=0.1, lines=11, **away),
        P.KnownWidth(width_mm=0.5, **away),
        P.Checkerboard(pitch_mm=0.5, squares=(14, 6), clicks_px=clicks),
    ):
        with pytest.raises(ek.EdgekitError, match="lies outside the picture"):
            P.calibrate(results["picture"], target)


def test_wrong_objects_are_refused(results: dict) -> None:
    blade, seen = ek.patterns.area_specific_curette(), results["seen"]
    outline = results["outline"]
    axis = {"handle_axis": AXIS}
    for call, words in (
        (lambda: results["loss"].recession_on(blade, 50), "edge must be an Edge"),
        (lambda: seen.propagate(None), "measure must be callable"),
        (lambda: seen.propagate(lambda _: np.nan), "must be finite"),
        (lambda: seen.propagate(lambda _: 1.0, rng="3"), "numpy.random.Generator"),
        (lambda: P.propagate_trace(None, "used", float), "blade must be a Blade"),
        (
            lambda: P.blade_from_view(outline, name="x", kind=ek.BladeClass.AREA_SPECIFIC, **axis),
            "thickness_mm is needed",
        ),
        (lambda: P.width(outline, side=P.Side.LEFT, mount=MOUNT, apex=1.5), "must be an Apex"),
        (lambda: P.Budget(name="width", inputs=(3.0,), model=dict), "each of inputs"),
        (lambda: P.Input(name="pin", value=1.0, sd=0.1, unit="µm", shape="normal"), "a Shape"),
    ):
        with pytest.raises(ek.EdgekitError, match=words):
            call()


def test_a_seed_draws_what_its_generator_draws(results: dict) -> None:
    budget = results["loss"].budget
    assert budget.monte_carlo(7, 500) == budget.monte_carlo(np.random.default_rng(7), 500)
