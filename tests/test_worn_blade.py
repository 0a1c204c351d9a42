"""A worn blade as a value: chained sessions are a life, files keep the bits, readings make one.

Sources: the life itself (the fold must be bit-equal), closed forms of grinding parallel to a plain
flank.
"""

import dataclasses
import json

import numpy as np
import pytest

import edgekit as ek
from edgekit.grinding.worn_blade import WornEdge
from tests.wear_blades import touching

FIELDS = [item.name for item in dataclasses.fields(WornEdge)]
CASES = {
    "area-specific, rolling": (ek.patterns.area_specific_curette(), ek.methods.freehand()),
    "universal, local": (
        ek.patterns.universal_curette(),
        ek.methods.freehand(stroke=ek.strokes.local(placements=5)),
    ),
    "universal, face": (ek.patterns.universal_curette(), ek.methods.face_honing()),
    "hoe, powered": (ek.patterns.hoe(), ek.methods.powered()),
    "universal, in turn": (
        ek.patterns.universal_curette(),
        ek.mixture(ek.methods.freehand(), ek.methods.face_honing(), sides=2, faces=1),
    ),
}


def same(one, other):
    return all(
        np.array_equal(getattr(one.edges[name], field), getattr(other.edges[name], field))
        for name in one.edges
        for field in FIELDS
    )


@pytest.mark.parametrize("case", CASES)
def test_ten_uses_and_sessions_by_hand_are_the_life_bit_for_bit(case, tmp_path):
    blade, method = CASES[case]
    life = ek.live(blade, method, rng=7, stations=32)
    worn = life.start
    for session in range(1, min(10, life.sessions) + 1):
        if session == 4:  # read back from its file it goes on to the same bits
            worn = ek.read_worn(ek.write_worn(worn, tmp_path / "worn.json"))
        worn = ek.use(worn, life.use, rng=life.streams)
        worn = ek.sharpen(worn, method.at(session - 1), rng=life.streams).worn
        assert same(worn, life.worn(session)), session
        assert worn.sessions == session
        row = life.history.iloc[session - 1]
        assert worn.width_mm == pytest.approx(row["width_mm"], abs=1e-12)


def test_steel_lost_is_what_the_sessions_removed():
    worn, steel = ek.patterns.area_specific_curette(), 0.0
    for seed in range(3):
        done = ek.sharpen(ek.use(worn, 45), ek.methods.freehand(), rng=seed)
        worn, steel = done.worn, steel + done.steel_mg
    assert worn.steel_lost_mg == pytest.approx(steel, rel=1e-9)


def test_a_reading_makes_a_worn_blade():
    """Ground parallel to the flank, both edges alike: the width falls by their recessions."""
    blade = ek.patterns.universal_curette()
    by_caliper = ek.WornBlade.from_width(blade, blade.width_mm - 0.08)
    assert by_caliper.recession_um("left") == pytest.approx(40.0, abs=1e-9)
    assert by_caliper.width_mm == pytest.approx(blade.width_mm - 0.08, abs=1e-12)
    assert by_caliper.internal_angle_deg("left") == pytest.approx(75.0)
    by_picture = ek.WornBlade.from_recession(blade, {"right": [10.0, 30.0]})
    assert by_picture.recession_um("left") == pytest.approx(0.0)
    assert by_picture.recession_um("right")[[0, -1]] == pytest.approx([10.0, 30.0])
    outline = by_picture.outline_mm("right", 0.0)
    assert outline[0] == pytest.approx([0.010, 0.0])
    flank = outline[outline[:, 1] < 0.4]
    assert flank[:, 0] - 0.010 == pytest.approx(flank[:, 1] / np.tan(np.radians(75.0)))


def test_use_without_a_generator_is_the_median_instruments():
    blade = ek.patterns.area_specific_curette()
    evenly = touching(blade, 45)
    worn = ek.use(blade, evenly)
    expected = evenly.law.after(np.array(worn.fresh_radius_um), np.array(45.0))
    assert worn.radius_um("used") == pytest.approx(float(expected))
    assert ek.use(blade, 0).radius_um("used") == pytest.approx(worn.fresh_radius_um)
    one, two = (ek.use(blade, 45, rng=seed).radius_um("used").mean() for seed in (1, 2))
    assert one != two


def test_a_lowered_face_moves_the_edge():
    blade = ek.patterns.universal_curette()
    worn = ek.WornBlade.from_recession(blade, 0.0, face_um=100.0)
    assert worn.recession_um("left") == pytest.approx(100.0 / np.tan(np.radians(75.0)), rel=1e-6)


BAD = {
    "blade": (lambda: ek.use("blade", 45), "must be a Blade"),
    "strokes": (lambda: ek.use(ek.patterns.hoe(), -1), "use must be"),
    "new without a radius": (
        lambda: ek.sharpen(ek.patterns.hoe(), ek.methods.freehand(), rng=1),
        "needs dull_radius_um",
    ),
    "worn with a radius": (
        lambda: ek.sharpen(
            ek.use(ek.patterns.hoe(), 9), ek.methods.freehand(), rng=1, dull_radius_um=4.0
        ),
        "has its own radius",
    ),
    "edge": (lambda: ek.use(ek.patterns.hoe(), 9).radius_um("left"), "no such edge"),
    "recession": (lambda: ek.WornBlade.from_recession(ek.patterns.hoe(), -1.0), "recession_um"),
    "recession of": (
        lambda: ek.WornBlade.from_recession(ek.patterns.hoe(), {"left": 1.0}),
        "no such edge",
    ),
    "width": (lambda: ek.WornBlade.from_width(ek.patterns.hoe(), 99.0), "width_mm"),
    "session": (lambda: ek.live(ek.patterns.hoe(), ek.methods.powered(), rng=1).worn(999), "past"),
    "rng": (lambda: ek.use(ek.patterns.hoe(), 9, rng="1"), "Generator or a seed"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused(case):
    call, what = BAD[case]
    with pytest.raises(ek.EdgekitError, match=what):
        call()


SPOILS = {
    "cut": lambda text: text[: len(text) // 2],
    "empty": lambda text: text[:0],
    "other": lambda text: text.replace("worn blade 1", "worn blade 9"),
    "an edge less": lambda text: json.dumps(json.loads(text) | {"edges": {}}),
    "not numbers": lambda text: text.replace('"sessions": 0', '"sessions": "no"'),
    "short array": lambda text: json.dumps(shortened(json.loads(text))),
    "blade": lambda text: text.replace("hoe", "spade"),
}


def shortened(content):
    content["edges"]["edge"]["radius_um"] = content["edges"]["edge"]["radius_um"][:-1]
    return content


@pytest.mark.parametrize("spoil", SPOILS)
def test_a_spoiled_file_is_refused_by_name(spoil, tmp_path):
    file = ek.write_worn(ek.use(ek.patterns.hoe(), 9), tmp_path / "worn.json")
    with pytest.raises(ek.EdgekitError, match="exists"):
        ek.write_worn(ek.use(ek.patterns.hoe(), 9), file)
    file.write_text(SPOILS[spoil](file.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(ek.EdgekitError):
        ek.read_worn(file)


def test_a_blade_too_dull_to_be_ground_ends_its_life_with_that_reason():
    """Past the largest advance local strokes take nothing; such a life used to go on with no
    loss.
    """
    method = dataclasses.replace(
        ek.methods.freehand(stroke=ek.strokes.local(placements=4)), max_advance_um=5.0
    )
    life = ek.live(ek.patterns.area_specific_curette(), method, use=ek.Use(strokes=1500), rng=1)
    assert life.sessions == 1
    assert "too dull" in life.status
    assert life.history["mean_width_um"].iloc[-1] == 0.0


def test_a_rule_can_count_sessions():
    class ThreeSessions:
        def used_up(self, lost):
            return lost.sessions / 3

        def __str__(self):
            return "three sessions"

    life = ek.live(ek.patterns.hoe(), ek.methods.powered(), retire=ThreeSessions(), rng=1)
    assert life.sessions == 3
    assert "three sessions" in life.status
