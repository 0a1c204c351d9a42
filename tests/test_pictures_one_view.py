"""An edge from one view: its shape, its end, and what is not known of it carried along."""

import math
from pathlib import Path

import numpy as np
import pytest

import edgekit as ek
from tests.picture_scenes import Light, P, camera, plain_scale, rendering, taken

BLADES = {
    "area-specific": ek.patterns.area_specific_curette(bow_radius_mm=math.inf),
    "universal": ek.patterns.universal_curette(shank_bend_deg=6),
}


def seen(folder: Path, name: str, end: object = None, light: Light | None = None, **given: object):
    blade = BLADES[name]
    edge = next(iter(blade.edges.values()))
    cam = camera()
    polygon = cam.project(rendering.silhouette(blade).polygon_mm)
    picture = taken(folder, [[polygon]], cam, 1, light)
    heel = P.EdgeLength(side=P.Side.LEFT, length_mm=edge.length_mm, sd_mm=0.05)
    line = P.outline(picture, plain_scale(picture), heel=heel)
    made = P.edge_from_view(line, side=P.Side.LEFT, handle_axis=edge.handle_axis, end=end, **given)
    return made, edge, line


@pytest.mark.parametrize("name", BLADES)
@pytest.mark.parametrize("rule", list(P.ToeRule))
def test_the_edge_is_the_pattern_it_was_drawn_from(tmp_path: Path, name: str, rule: object) -> None:
    made, edge, _ = seen(tmp_path, name, P.EdgeEnd(rule=rule))
    true = edge if rule is P.ToeRule.APEX else edge.stretch(0, made.edge.length_mm)
    assert made.edge.length_mm == pytest.approx(true.length_mm, abs=0.03)
    assert ek.best_setting(made.edge).elevation_deg == pytest.approx(
        ek.best_setting(true).elevation_deg, abs=0.12
    )
    own, theirs = (ek.orient(e, stations=60).elevation_deg for e in (made.edge, true))
    assert np.abs(own - theirs)[:-3].max() < 0.25
    assert made.edge.side == edge.side
    assert made.noise_um < 0.5


def test_the_right_edge_is_the_left_ones_mirror(tmp_path: Path) -> None:
    made, edge, line = seen(tmp_path, "universal")
    right = P.edge_from_view(line, side=P.Side.RIGHT, handle_axis=edge.handle_axis)
    assert right.edge.side == -made.edge.side
    true = BLADES["universal"].edges["right"]
    assert ek.best_setting(right.edge).elevation_deg == pytest.approx(
        ek.best_setting(true).elevation_deg, abs=0.15
    )


def test_where_the_edge_is_said_to_end_moves_the_best_setting(tmp_path: Path) -> None:
    """0.2 mm of toe moves an area-specific edge's best setting by degrees: the end is
    propagated."""
    turn = P.ToeRule.TURN_BEGINS
    short, _, _ = seen(tmp_path, "area-specific", P.EdgeEnd(rule=turn, sd_mm=0.1))
    longer, _, _ = seen(tmp_path, "area-specific", P.EdgeEnd(rule=turn, short_of_mm=-0.2))
    moved = [ek.best_setting(e.edge).elevation_deg for e in (short, longer)]
    assert abs(moved[1] - moved[0]) > 2
    spread = short.propagate(lambda e: ek.best_setting(e).elevation_deg)
    # a tenth of a millimetre is half of what moved it; the slope grows as the toe begins
    assert 0.2 < spread.parts["end at the toe"] < abs(moved[1] - moved[0])


def test_pose_and_angle_are_propagated_as_their_derivatives_say(tmp_path: Path) -> None:
    """A planar face square to the handle: elevation is 90° - β everywhere, so dβ counts in full."""
    made, _, _ = seen(tmp_path, "universal", pose_sd_deg=0.5, internal_angle_sd_deg=1.0)
    spread = made.propagate(lambda e: ek.orient(e, stations=40).elevation_deg)
    assert spread.parts["internal angle"] == pytest.approx(1.0, abs=0.02)
    both = np.hypot(
        spread.parts["pose about the blade's length"], spread.parts["pose across the blade"]
    )
    assert both == pytest.approx(
        0.5, abs=0.02
    )  # whatever its direction, a lean of the handle counts once
    assert spread.sd.shape == (40,)
    assert list(spread.table["cause"])[-1] == "line"


def test_pose_by_monte_carlo(tmp_path: Path) -> None:
    import dataclasses

    from edgekit.geometry.vectors import rotation

    made, _, _ = seen(tmp_path, "area-specific", pose_sd_deg=1.0)
    rng = np.random.default_rng(2)
    drawn = []
    for _ in range(300):
        x, y = np.radians(rng.normal(0, 1, 2))
        axis = rotation((0, 1, 0), y) @ rotation((1, 0, 0), x) @ made.edge.handle_axis
        edge = dataclasses.replace(made.edge, handle_axis=axis)
        drawn.append(ek.orient(edge, stations=20).elevation_deg)
    spread = made.propagate(lambda e: ek.orient(e, stations=20).elevation_deg)
    pose = np.hypot(
        spread.parts["pose about the blade's length"], spread.parts["pose across the blade"]
    )
    assert np.std(drawn, axis=0) == pytest.approx(pose, rel=0.15)


def test_noise_of_the_line_grows_with_the_pictures(tmp_path: Path) -> None:
    quiet, _, _ = seen(tmp_path, "area-specific")
    loud, _, _ = seen(tmp_path, "area-specific", light=Light(electrons=300))
    parts = [
        e.propagate(lambda edge: ek.orient(edge, stations=30).roll_deg).parts["line"].mean()
        for e in (quiet, loud)
    ]
    assert parts[1] > 1.5 * parts[0]


def test_facets_can_be_propagated_too(tmp_path: Path) -> None:
    made, _, _ = seen(tmp_path, "universal")
    spread = made.propagate(lambda e: ek.facets(e, 10, depth_um=5).recession_um.mean())
    assert 0 < spread.sd < 2


def test_ends_and_shapes_are_checked(tmp_path: Path) -> None:
    made, edge, line = seen(tmp_path, "universal")
    with pytest.raises(ek.EdgekitError, match="begin or end outside"):
        P.edge_from_view(
            line, side=P.Side.LEFT, handle_axis=edge.handle_axis, end=P.EdgeEnd(short_of_mm=6)
        )
    with pytest.raises(ek.EdgekitError, match="same count of numbers"):
        made.propagate(lambda e: np.zeros(int(1000 * e.length_mm)))
